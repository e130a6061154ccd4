//! Below the long help of each command: when one wants it, and a command line that works on the demo. It stands beside the
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
        let below = command.get_after_long_help().map(ToString::to_string).unwrap_or_default();
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
