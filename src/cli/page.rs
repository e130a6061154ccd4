//! The first page of help, its commands grouped by task, and the command reference.

use clap::builder::styling::Styles;
use clap::builder::{Resettable, StyledStr};
use clap::{Arg, Command};

use crate::show::guide::TOPICS;

/// The commands by what somebody wants to do.
const GROUPS: &[(&str, &[&str])] = &[
    ("Look around", &["demo", "help", "shift"]),
    ("Keep records", &["log", "show", "correct", "undo", "proposals", "decide", "label", "field"]),
    ("Files in and out", &["new", "import", "sheet", "certificate", "export"]),
    ("Follow a blade, fence a fault", &["trace", "contain", "siblings", "hold", "lift"]),
    ("At the furnace", &["board", "ready", "alloy"]),
    ("What made them bad", &["causes", "answers", "compare", "chart", "positions", "zones"]),
    ("How good is it", &["yield", "capability", "agreement"]),
    ("Did a change help", &["trial"]),
    ("May the lot go", &["lot", "disposition", "pin"]),
    ("Figures without records", &["calc"]),
    ("Trust the file", &["verify", "backup", "restore"]),
    ("Your shell", &["config", "completions", "manpage"]),
];

/// How every command ends; below the long help of the program.
const ENDS: &str = "Exit codes: 0 done; 1 the answer is no (verify, ready, alloy check, lot summary), or refused; 2 usage or \
    input at fault, nothing was written; 3 the store cannot be opened or trusted, or the answer could not be written whole.\n\
    Settings, completions, JSON and manual pages: meltkin help shell";

/// The definition with its first page grouped by task, and of every command a short help without the example.
pub fn grouped(program: Command) -> Command {
    first_page(program).mut_subcommands(example_below_the_long_help).after_long_help(ENDS)
}

fn example_below_the_long_help(command: Command) -> Command {
    let command = command.mut_subcommands(example_below_the_long_help);
    match command.get_after_help().cloned() {
        Some(example) => command.after_help(Resettable::<StyledStr>::Reset).after_long_help(example),
        None => command,
    }
}

fn first_page(program: Command) -> Command {
    let styles = Styles::styled();
    let (head, name) = (styles.get_header(), styles.get_literal());
    let mut page = String::from("{about}\n\n{usage-heading} {usage}\n");
    for (title, commands) in GROUPS {
        page.push_str(&format!("\n{head}{title}:{head:#}\n"));
        for command in *commands {
            let about = program.find_subcommand(command).and_then(Command::get_about);
            let about = about.map(ToString::to_string).unwrap_or_default();
            page.push_str(&format!("  {name}{command:<11}{name:#} {about}\n"));
        }
    }
    page.push_str(&format!("\n{head}The guide (meltkin help TOPIC):{head:#}\n"));
    for topic in TOPICS {
        page.push_str(&format!("  {name}{:<11}{name:#} {}\n", topic.name, topic.about));
    }
    page.push_str(&format!("\n{head}Options:{head:#}\n{{options}}\n\n{{after-help}}"));
    program.help_template(page)
}

/// The command reference as Markdown: every command with its options, a line each.
pub fn command_reference(mut program: Command) -> String {
    program.build();
    let mut out = String::from(
        "# Commands and their options\n\n\
         Made from the definitions in `src/cli/`; a test holds this page current. `meltkin help COMMAND` tells more of each.\n\n\
         Before or after any command:\n\n",
    );
    options(&program, true, &mut out);
    for (title, commands) in GROUPS {
        out.push_str(&format!("\n## {title}\n"));
        for command in *commands {
            if let Some(command) = program.find_subcommand(command) {
                told(command, &mut out);
            }
        }
    }
    out
}

fn told(command: &Command, out: &mut String) {
    if command.is_hide_set() {
        return;
    }
    let below: Vec<&Command> = command.get_subcommands().filter(|c| c.get_name() != "help").collect();
    if below.is_empty() {
        let path = command.get_bin_name().unwrap_or_else(|| command.get_name());
        let mut line = path.to_string();
        for arg in command.get_positionals() {
            let many = if arg.get_num_args().is_some_and(|n| n.max_values() > 1) { "…" } else { "" };
            let named = format!("{}{many}", value(arg));
            line.push_str(&if arg.is_required_set() { format!(" {named}") } else { format!(" [{named}]") });
        }
        let about = command.get_about().map(ToString::to_string).unwrap_or_default();
        out.push_str(&format!("\n`{line}`: {about}\n"));
        let mut listed = String::new();
        options(command, false, &mut listed);
        if !listed.is_empty() {
            out.push_str(&format!("\n{listed}"));
        }
    } else {
        below.into_iter().for_each(|c| told(c, out));
    }
}

fn options(command: &Command, global: bool, out: &mut String) {
    for arg in command.get_arguments() {
        let own = !matches!(arg.get_id().as_str(), "help" | "version") && arg.is_global_set() == global;
        if !own || arg.is_hide_set() {
            continue;
        }
        let name = match arg.get_long() {
            Some(long) if arg.get_action().takes_values() => format!("--{long} {}", value(arg)),
            Some(long) => format!("--{long}"),
            None => value(arg),
        };
        let help = arg.get_help().map(ToString::to_string).unwrap_or_default();
        let words: Vec<String> = arg.get_possible_values().iter().map(|v| v.get_name().to_string()).collect();
        let words = match words.as_slice() {
            _ if !arg.get_action().takes_values() => String::new(),
            [] => String::new(),
            words => format!(" ({})", words.join(", ")),
        };
        let usual: Vec<String> =
            arg.get_default_values().iter().map(|v| v.to_string_lossy().into_owned()).collect();
        let usual = match usual.as_slice() {
            _ if !arg.get_action().takes_values() => String::new(),
            [] => String::new(),
            usual => format!("; without it {}", usual.join(", ")),
        };
        out.push_str(&format!("- `{name}`: {help}{words}{usual}\n"));
    }
}

/// The name that the value of an argument bears in the help.
pub fn value(arg: &Arg) -> String {
    match arg.get_value_names() {
        Some([name, ..]) => name.to_string(),
        _ => arg.get_id().as_str().to_uppercase(),
    }
}

#[cfg(test)]
mod tests {
    use clap::CommandFactory;

    use super::*;

    #[test]
    fn every_command_stands_in_one_group_and_its_line_fits() {
        let program = crate::cli::Cli::command();
        for command in program.get_subcommands() {
            let name = command.get_name();
            let n = GROUPS.iter().flat_map(|g| g.1).filter(|c| **c == name).count();
            assert_eq!(n, 1, "{name} stands in {n} groups");
            let about = command.get_about().map(ToString::to_string).unwrap_or_default();
            assert!(!about.is_empty() && about.len() <= 66, "{name}: {about}");
        }
        for name in GROUPS.iter().flat_map(|g| g.1) {
            assert!(program.find_subcommand(name).is_some(), "{name} is no command");
        }
    }

    #[test]
    fn every_word_of_help_is_there() {
        fn look(command: &Command, bare: &mut Vec<String>) {
            let path = command.get_bin_name().unwrap_or_else(|| command.get_name()).to_string();
            if command.get_about().is_none() {
                bare.push(path.clone());
            }
            for arg in command.get_arguments() {
                if arg.get_help().is_none() && arg.get_id() != "help" {
                    bare.push(format!("{path} {}", arg.get_id()));
                }
            }
            command.get_subcommands().filter(|c| c.get_name() != "help").for_each(|c| look(c, bare));
        }
        let mut program = crate::cli::Cli::command();
        program.build();
        let mut bare = Vec::new();
        look(&program, &mut bare);
        assert!(bare.is_empty(), "without help: {bare:?}");
    }
}
