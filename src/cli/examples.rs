//! Below the help of each command: when one wants it, and a command line that works on the demo.

use clap::{Command, Subcommand};

use crate::calc::Calc;

/// What stands below the help of one command.
pub struct Example {
    /// The command without the program's name.
    pub of: &'static str,
    /// When one wants it.
    pub when: &'static str,
    /// A command line without the program's name.
    pub line: &'static str,
}

const fn of(of: &'static str, when: &'static str, line: &'static str) -> Example {
    Example { of, when, line }
}

/// Every command with its example, each without the program's name; those of `calc` stand beside their
/// commands.
pub fn all() -> Vec<(String, String)> {
    let mut out: Vec<(String, String)> =
        EXAMPLES.iter().map(|e| (e.of.to_string(), e.line.to_string())).collect();
    let calc = Calc::augment_subcommands(Command::new("calc"));
    out.extend(calc.get_subcommands().map(|c| {
        let below = c.get_after_help().map(ToString::to_string).unwrap_or_default();
        let line = below.split_once("\n\n  meltkin ").map_or("", |(_, line)| line);
        (format!("calc {}", c.get_name()), line.to_string())
    }));
    out
}

const EXAMPLES: &[Example] = &[
    of("demo", "To see everything before a record of your own is typed.", "demo --no-screen"),
    of("help", "A topic is a page of the guide; a command may be written in full.", "help lot summary"),
    of("completions", "Put what it prints where your shell looks for completions.", "completions bash"),
    of("manpage", "With --into there is a page for every command as well.", "manpage"),
    of(
        "shift",
        "At hand-over: open holds, checks due or failed, crucible lives, moulds that stand, late entries.",
        "shift",
    ),
    of(
        "log",
        "From a script or without the screens; `meltkin help fields` lists kinds and fields. A value outside its \
         typing guard needs --reason; it is never refused.",
        "log filter_lots filter_lot=FL31-09 material=zirconia ppi=10 received_at=2031-05-26T07:30:00+00:00 --as OP-07",
    ),
    of("show", "Before you rely on a record, or to see who changed it and why.", "show M31-041 --history"),
    of(
        "correct",
        "When something was typed in wrong and more than a minute has gone by. Nothing is overwritten.",
        "correct FL31-09 ppi=20 --reason \"read the wrong box\" --as OP-07",
    ),
    of("undo", "Right after a slip; it takes back what --as PERSON wrote last.", "undo --as OP-07"),
    of(
        "proposals",
        "To see what waits for quality: changes that would take something out from under a hold, or soften a rejection.",
        "proposals",
    ),
    of(
        "decide",
        "Quality, after looking at the record and at what was proposed.",
        "decide 1204 --decline --reason \"the film was read twice\" --as OP-51",
    ),
    of(
        "label",
        "When a tag is burnt, wet or swapped. --svg writes a sheet for the printer.",
        "label M31-041 M31-042 --svg labels.svg",
    ),
    of(
        "field add",
        "When your card has a box that no kind has. With --cause it is tried among the causes of defects.",
        "field add moulds.hook_colour --type text --as OP-51",
    ),
    of("new", "Once, before the first record of a foundry of your own.", "new --store own.db"),
    of(
        "import",
        "To take over a bundle of another site, one file of a kind, or with --mapping a sheet of your own. Try \
         --check first: it names file, line, column and what would be right.",
        "import filter_lots.csv --check",
    ),
    of(
        "export",
        "To hand records over. Without --xlsx a folder with one CSV for each kind, which import takes again.",
        "export --xlsx records.xlsx heats pours",
    ),
    of(
        "sheet look",
        "Before a sheet of your own is taken over: its columns, and what a kind of record asks for.",
        "sheet look pourbook.xlsx --kind pours",
    ),
    of(
        "sheet map",
        "Once for each layout and each kind that stands in it. Whatever the sheet writes in its own way is said here.",
        "sheet map pourbook pours mould=Form heat=Melt poured_at=Date+Time indicated_c=Temp --dates day-first \
         --offset +01:00 --decimal-comma",
    ),
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
        "hold",
        "Something is in doubt. Everything below it is fenced at once, and asks for quality to be let go.",
        "hold FL31-09 --reason \"two of ten cracked\" --as OP-07",
    ),
    of(
        "lift",
        "When the doubt is settled. Only a person whose role is quality may.",
        "lift FL31-09 --reason \"all looked at again\" --as OP-51",
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
    of(
        "verify",
        "Every morning, and whenever the machine or the disk did something odd. Exit code 1: do not trust the file.",
        "verify",
    ),
    of(
        "backup",
        "Every day, while people go on working; the copy is checked before it gets its name.",
        "backup copy.db",
    ),
    of("restore", "When the store is lost or damaged; close the screens first.", "restore copy.db --replace"),
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
    match EXAMPLES.iter().find(|e| e.of == path) {
        Some(e) => command.after_help(format!("{}\n\n  meltkin {}", e.when, e.line)),
        None => command,
    }
}

#[cfg(test)]
mod tests {
    use clap::CommandFactory;

    use super::*;
    use crate::cli::Cli;

    #[test]
    fn every_command_has_an_example_of_its_own_that_can_be_read() {
        fn leaves(command: &Command, path: &str, out: &mut Vec<String>) {
            for c in command.get_subcommands() {
                let full = format!("{path} {}", c.get_name()).trim().to_string();
                match c.has_subcommands() {
                    true => leaves(c, &full, out),
                    false => out.push(full),
                }
            }
        }
        let mut all = Vec::new();
        leaves(&Cli::command(), "", &mut all);
        let with: Vec<String> = super::all().into_iter().map(|(of, _)| of).collect();
        assert_eq!(all.iter().filter(|c| !with.contains(c)).collect::<Vec<_>>(), Vec::<&String>::new());
        assert_eq!(with.len(), all.len(), "an example of no command, or two of one");
        for (of, line) in super::all() {
            assert!(line.starts_with(&of), "{line}");
            let words = line.split('"').enumerate().flat_map(|(i, part)| match i % 2 {
                0 => part.split_whitespace().map(String::from).collect(),
                _ => vec![part.to_string()],
            });
            let words = std::iter::once("meltkin".to_string()).chain(words);
            if let Err(e) = Cli::command().try_get_matches_from(words) {
                panic!("{line}: {e}");
            }
        }
    }
}
