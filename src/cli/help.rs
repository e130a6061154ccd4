//! Help: the page of a command, the pages of the guide, and what a shell needs to know of the commands.

use std::io::IsTerminal;
use std::path::{Path, PathBuf};
use std::process::ExitCode;

use clap::{Command, Subcommand};
use unicode_width::UnicodeWidthStr;

use crate::cli::context::{Global, named};
use crate::cli::examples::example;
use crate::cli::voice::out as say;
use crate::cli::{complete, manual, settings, voice};
use crate::jobs::file::output::{Output, Pending};
use crate::show::guide;
use crate::show::guide::{Look, TOPICS};
use crate::ui;
use records::catalogue;
use records::value::tag::{near, shown};
use records::{Error, Result};

/// Commands that explain the program.
#[derive(Subcommand)]
pub enum Explain {
    /// A page of the guide, or a command: what it does and takes
    ///
    /// Without a word it lists both. With the name of a record kind it lists that kind's fields.
    #[command(after_help = example(
        "A topic is a page of the guide; a command may be written in full.",
        "help lot summary",
    ))]
    Help {
        /// A topic of the guide, a command in full, or a record kind (heats)
        #[arg(value_name = "TOPIC|COMMAND|KIND")]
        words: Vec<String>,
    },
    /// What is set, and where each value is from
    ///
    /// An option counts first, then the environment, then the file of settings, then what is built in. The file is written
    /// by hand: `meltkin help shell` has one to begin with.
    #[command(after_help = example(
        "When the program takes another store, person or clock than you thought.",
        "config",
    ))]
    Config,
    /// Completions for a shell: Tab knows commands, kinds, fields, tags
    ///
    /// What it prints asks the program itself at each Tab: records are looked up in the store, which is never changed by it.
    #[command(after_help = example(
        "Have your shell read what it prints when it starts: `meltkin help shell` says how.",
        "completions bash",
    ))]
    Completions {
        /// The shell
        shell: clap_complete::Shell,
    },
    /// The manual page, for man(1)
    #[command(after_help = example("With --into there is a page for every command as well.", "manpage"))]
    Manpage {
        /// An existing folder that takes a page for every command
        #[arg(long, value_name = "FOLDER")]
        into: Option<PathBuf>,
        /// Replace pages that are there
        #[arg(long, requires = "into")]
        replace: bool,
    },
}

impl Explain {
    /// It needs what is set.
    pub fn asks_settings(&self) -> bool {
        matches!(self, Self::Config)
    }
}

/// Runs a command; `program` is the whole command line's definition.
pub fn run(what: &Explain, program: Command, global: &Global) -> Result<ExitCode> {
    match what {
        Explain::Help { words } => return help(words, program),
        Explain::Config => global.say(&settings::shown_all(global)?, settings::Shown::text),
        Explain::Completions { shell } => say(&complete::script(*shell)?),
        Explain::Manpage { into: None, .. } => say(&manual::page(&program, "meltkin")?),
        Explain::Manpage { into: Some(folder), replace } => {
            let mut pages = Vec::new();
            let mut program = program.disable_help_subcommand(true);
            program.build();
            pages_of(&program, "meltkin", folder, *replace, &mut pages)?;
            pages.into_iter().try_for_each(Pending::finish)?;
            say(format!("wrote the pages to {}\n", named(folder)).as_bytes());
        }
    }
    Ok(ExitCode::SUCCESS)
}

/// A page for a command and for each below it, all of them written before the first gets its name.
fn pages_of(
    command: &Command,
    path: &str,
    folder: &Path,
    replace: bool,
    out: &mut Vec<Pending>,
) -> Result<()> {
    for below in command.get_subcommands().filter(|c| !c.is_hide_set()) {
        pages_of(below, &format!("{path}-{}", below.get_name()), folder, replace, out)?;
    }
    let file = folder.join(format!("{path}.1"));
    out.push(Pending::write(Output { file: &file, replace, store: None }, &manual::page(command, path)?)?);
    Ok(())
}

fn help(words: &[String], mut program: Command) -> Result<ExitCode> {
    program.build();
    let Some(first) = words.first() else {
        // The page of the program ends with the topics: `grouped` put them there.
        voice::heard(program.print_help());
        return Ok(ExitCode::SUCCESS);
    };
    if let (Some(topic), 1) = (guide::topic(first), words.len()) {
        say(page(topic.markdown).as_bytes());
        return Ok(ExitCode::SUCCESS);
    }
    if let [kind] | [_, kind] = words {
        let wanted = words.len() == 1 || first.eq_ignore_ascii_case("fields");
        if let Some(text) = guide::fields_of(&kind.to_lowercase()).filter(|_| wanted) {
            say(page(&text).as_bytes());
            return Ok(ExitCode::SUCCESS);
        }
    }
    let mut at = program;
    for (i, word) in words.iter().enumerate() {
        let known: Vec<String> =
            at.get_subcommands().filter(|c| !c.is_hide_set()).map(|c| c.get_name().to_string()).collect();
        if !known.contains(word) {
            let pages =
                TOPICS.iter().map(|t| t.name).chain(catalogue::all().map(|k| k.name)).filter(|_| i == 0);
            let close = near(word, known.iter().map(String::as_str).chain(pages));
            return Err(unknown(&words[..=i].join(" "), &close, &known));
        }
        let Some(next) = at.find_subcommand(word).cloned() else { break };
        at = next;
    }
    voice::heard(at.print_long_help());
    Ok(ExitCode::SUCCESS)
}

fn unknown(asked: &str, close: &[&str], known: &[String]) -> Error {
    let hint = match close {
        [] if known.is_empty() => "it has no commands below it".to_string(),
        [] => "meltkin help lists all of them".to_string(),
        close => format!("near it: {}", close.join(", ")),
    };
    Error::input(format!("{} is not a topic, a command or a record kind; {hint}", shown(asked)))
}

/// A page as wide as the terminal, at most 100; headings stand out where colours are wanted.
fn page(markdown: &str) -> String {
    let terminal = std::io::stdout().is_terminal();
    let width = if terminal { ui::terminal::columns().unwrap_or(80) } else { 80 };
    let bold = terminal && std::env::var_os("NO_COLOR").is_none_or(|v| v.is_empty());
    let mut out = String::new();
    for row in guide::rows(markdown, usize::from(width).clamp(40, 100)) {
        match row.look {
            Look::Title | Look::Heading if bold => out.push_str(&format!("\x1b[1m{}\x1b[0m", row.text)),
            _ => out.push_str(&row.text),
        }
        out.push('\n');
        if row.look == Look::Title {
            out.push_str(&"=".repeat(row.text.width()));
            out.push('\n');
        }
    }
    out
}
