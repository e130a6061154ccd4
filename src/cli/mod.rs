//! The command line: clap types and printing; nothing else knows clap.

pub mod calc;
mod causes;
mod certificate;
mod chart;
mod context;
mod evidence;
pub mod examples;
mod help;
mod keep;
mod label;
mod lots;
mod page;
mod page_file;
mod screens;
mod sheet;
mod trace;
mod trials;

use std::process::ExitCode;

use clap::{CommandFactory, FromArgMatches, Parser, Subcommand};

use context::Global;

const ABOUT: &str = "Parentage, causes and release of investment-cast turbine blades, in one file";

/// The whole command line.
#[derive(Parser)]
#[command(name = "meltkin", version, about = ABOUT, max_term_width = 100, disable_help_subcommand = true)]
struct Cli {
    #[command(flatten)]
    global: Global,
    #[command(subcommand)]
    command: Option<Command>,
}

#[derive(Subcommand)]
enum Command {
    #[command(flatten)]
    Explain(help::Explain),
    #[command(flatten)]
    Keep(keep::Keep),
    #[command(flatten)]
    Marks(label::Marks),
    /// Chemistry from a maker's certificate, XLSX or CSV
    Certificate {
        #[command(subcommand)]
        what: certificate::Certificate,
    },
    /// A shop's own sheets (XLSX, CSV): which column is which field
    Sheet {
        #[command(subcommand)]
        what: sheet::Sheet,
    },
    #[command(flatten)]
    Ask(trace::Ask),
    #[command(flatten)]
    Evidence(evidence::Evidence),
    /// Trials of a change: how many moulds, which get it, how it stands
    Trial {
        #[command(subcommand)]
        what: trials::Trials,
    },
    #[command(flatten)]
    Why(causes::Why),
    #[command(flatten)]
    Drawn(chart::Drawn),
    #[command(flatten)]
    Lots(lots::Release),
    /// The same functions at the desk, on figures typed in or a CSV
    ///
    /// Each prints its figures, the formula's name and its source. No store is needed. CSVs have a header
    /// row; `-` reads standard input; columns of other names are chosen with --y, --x, --n, --group, --value.
    Calc {
        #[command(subcommand)]
        what: calc::Calc,
    },
}

/// Runs the program and gives its exit code: 0 done, 1 the answer is no, 2 usage or input at fault,
/// 3 the store cannot be opened or trusted.
pub fn main() -> ExitCode {
    let cli = match Cli::from_arg_matches(&program().get_matches()) {
        Ok(cli) => cli,
        Err(e) => e.exit(),
    };
    let outcome = match &cli.command {
        Some(Command::Explain(what)) => help::run(what, program()),
        Some(Command::Keep(what)) => keep::run(what, &cli.global),
        Some(Command::Certificate { what }) => certificate::run(what, &cli.global),
        Some(Command::Sheet { what }) => sheet::run(what, &cli.global),
        Some(Command::Marks(what)) => label::run(what, &cli.global),
        Some(Command::Ask(what)) => trace::run(what, &cli.global),
        Some(Command::Evidence(what)) => evidence::run(what, &cli.global),
        Some(Command::Trial { what }) => trials::run(what, &cli.global),
        Some(Command::Why(what)) => causes::run(what, &cli.global),
        Some(Command::Drawn(what)) => chart::run(what, &cli.global),
        Some(Command::Lots(what)) => lots::run(what, &cli.global),
        Some(Command::Calc { what }) => {
            return match calc::run(what) {
                Ok(answer) => {
                    answer.print(cli.global.json);
                    ExitCode::SUCCESS
                }
                Err(message) => context::fail(&crate::ops::Error::Input(message), cli.global.json),
            };
        }
        None => {
            if !screens::on_a_terminal() {
                let _ = program().print_help();
                return ExitCode::SUCCESS;
            }
            screens::open(&cli.global)
        }
    };
    outcome.unwrap_or_else(|e| context::fail(&e, cli.global.json))
}

/// The definition of the whole command line.
fn program() -> clap::Command {
    page::grouped(examples::with_examples(Cli::command()))
}

/// The command reference as Markdown, from the definitions of the commands.
#[must_use]
pub fn command_reference() -> String {
    page::command_reference(program())
}
