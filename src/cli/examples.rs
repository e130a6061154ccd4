//! Below the help of each command: when one wants it, and a command line that works on the demo. It stands beside the
//! command: `#[command(after_help = example("When.", "trace M31-041-6"))]`.

use clap::Command;

/// What stands below the help of one command.
pub struct Example {
    /// The command without the program's name.
    pub of: String,
    /// A command line without the program's name.
    pub line: String,
}

/// Between when one wants a command and the line that works.
const LINE: &str = "\n\n  meltkin ";

/// What stands below the help of a command: when one wants it, and a command line without the program's name.
pub(crate) fn example(when: &str, line: &str) -> String {
    format!("{when}{LINE}{line}")
}

/// Every command's example, in the order of the commands.
pub fn all() -> Vec<Example> {
    let mut out = Vec::new();
    leaves(&crate::cli::program(), "", &mut |of, command| {
        let below = command.get_after_help().map(ToString::to_string).unwrap_or_default();
        if let Some((_, line)) = below.split_once(LINE) {
            out.push(Example { of: of.into(), line: line.into() });
        }
    });
    out
}

/// Every command that has none below it, with its full name.
fn leaves(command: &Command, path: &str, each: &mut dyn FnMut(&str, &Command)) {
    for below in command.get_subcommands() {
        let full = format!("{path} {}", below.get_name());
        match below.has_subcommands() {
            true => leaves(below, full.trim(), each),
            false => each(full.trim(), below),
        }
    }
}

/// An example that does not stand beside its command yet: command, when, line.
type Apart = (&'static str, &'static str, &'static str);

const fn of(of: &'static str, when: &'static str, line: &'static str) -> Apart {
    (of, when, line)
}

/// Examples that do not stand beside their commands yet.
const APART: &[Apart] = &[
    of(
        "certificate map",
        "Once for each maker's layout: which row holds the names, which column what.",
        "certificate map north-alloys --header 5 --element Element --value Result --unit Unit",
    ),
    of(
        "certificate import",
        "At ingot receipt: the maker's sheet becomes an analysis, value by value, and is kept as an attachment.",
        "certificate import C-2201.csv --subject IL31-01 --mapping north-alloys --check",
    ),
    of(
        "trace",
        "A blade is bad: what was it made of? The share is the part of its heat's metal, through all revert.",
        "trace M31-041-6",
    ),
    of(
        "contain",
        "A lot of ingot, filter or slurry is bad, or an instrument lied: which blades, and where are they now?",
        "contain FL31-03",
    ),
    of(
        "siblings",
        "Is it this slurry batch? The blades that share it, against all others and against those of the same heats.",
        "siblings M31-041-6 --of FL31-02 --defect misrun --zone TE",
    ),
    of(
        "ready",
        "Before the pour: coats, drying, firing, cracks, filter, holds, instruments, charge, chemistry. Exit code 1: no.",
        "ready M31-041",
    ),
    of(
        "alloy check",
        "Chemistry before the melt or before release. Exit code 1: an element is outside.",
        "alloy check H31-021",
    ),
    of(
        "causes",
        "A defect is too frequent, and everybody blames something else. `meltkin help evidence` explains each figure.",
        "causes --defect misrun --zone TE",
    ),
    of(
        "answers",
        "What was asked before, and what was known then; keep one with `causes --keep NOTE`.",
        "answers",
    ),
    of(
        "compare",
        "Two filter lots, two dies, two operators: is one better? Names of factors are those that `causes` prints.",
        "compare --defect misrun filter_lot=FL31-02 filter_lot=FL31-03",
    ),
    of(
        "chart",
        "Since when? Points, limits, signals; below them what changed in those days.",
        "chart --defect misrun --zone TE --against pours.indicated_c",
    ),
    of("positions", "Is it always the same place on the tree?", "positions --defect misrun"),
    of("zones", "Where on the blade is it?", "zones --defect inclusion"),
    of("yield", "Where are blades lost, and what does it cost?", "yield --lot L31-02"),
    of(
        "capability",
        "Will the wall hold its drawing? It refuses where the process is not stable or too little is measured.",
        "capability --characteristic wall",
    ),
    of(
        "agreement",
        "Before you trust a rate: would another reader have called the same films the same?",
        "agreement --method radiograph",
    ),
    of(
        "trial plan",
        "Before a trial: how many moulds would show the difference that is worth having?",
        "trial plan --rate 0.06 --worth-having 0.03 --per-mould 8 --icc 0.05",
    ),
    of(
        "trial assign",
        "After the trial is recorded and before assembly: chance decides which mould gets the change.",
        "trial assign T31-09 M31-201=d1 M31-202=d1 M31-203=d2 M31-204=d2 --arms control,filter --as OP-31",
    ),
    of("trial show", "How far it is, and at its planned size what it says.", "trial show T31-01"),
    of(
        "lot summary",
        "Lot day. `meltkin help lotday` goes through it; `meltkin help signing` says what a signature proves.",
        "lot summary L31-02 --html lot.html",
    ),
    of(
        "disposition",
        "After inspection, or once a concession is granted; a mould stands for those of its blades that are not scrapped.",
        "disposition accept M31-041-6 --reason \"looked at again\" --as OP-51",
    ),
    of("pin set", "Before you sign for the first time; have somebody stand by.", "pin set --as OP-51"),
    of("pin clear", "When another quality person has forgotten theirs.", "pin clear OP-52 --as OP-51"),
];

/// The definition with each command's example below its help.
pub fn with_examples(program: Command) -> Command {
    below(program, "")
}

fn below(mut command: Command, path: &str) -> Command {
    let names: Vec<String> = command.get_subcommands().map(|c| c.get_name().to_string()).collect();
    for name in names {
        let full = if path.is_empty() { name.clone() } else { format!("{path} {name}") };
        command = command.mut_subcommand(name, |c| below(c, &full));
    }
    match APART.iter().find(|(of, ..)| *of == path) {
        Some((_, when, line)) => command.after_help(example(when, line)),
        None => command,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_command_has_an_example_of_its_own_that_can_be_read() {
        let mut commands = Vec::new();
        leaves(&crate::cli::program(), "", &mut |of, _| commands.push(of.to_string()));
        let examples = all();
        let with: Vec<&str> = examples.iter().map(|e| e.of.as_str()).collect();
        assert_eq!(commands, with, "a command without an example");
        for (of, ..) in APART {
            assert_eq!(commands.iter().filter(|c| c == of).count(), 1, "{of} is no command");
        }
        for example in examples {
            assert!(example.line.starts_with(&example.of), "{}", example.line);
            let words = example.line.split('"').enumerate().flat_map(|(i, part)| match i % 2 {
                0 => part.split_whitespace().map(String::from).collect(),
                _ => vec![part.to_string()],
            });
            let words = std::iter::once("meltkin".to_string()).chain(words);
            if let Err(e) = crate::cli::program().try_get_matches_from(words) {
                panic!("{}: {e}", example.line);
            }
        }
    }
}
