//! The command line: clap types and printing; nothing else knows clap.

pub mod calc;
mod causes;
mod chart;
mod context;
mod evidence;
mod keep;
mod screens;
mod trace;
mod trials;

use std::process::ExitCode;

use clap::{CommandFactory, Parser, Subcommand};

use context::Global;

/// Parentage, causes and release of investment-cast turbine blades.
#[derive(Parser)]
#[command(name = "meltkin", version, about, max_term_width = 100)]
struct Cli {
    #[command(flatten)]
    global: Global,
    #[command(subcommand)]
    command: Option<Command>,
}

#[derive(Subcommand)]
enum Command {
    #[command(flatten)]
    Keep(keep::Keep),
    #[command(flatten)]
    Ask(trace::Ask),
    #[command(flatten)]
    Evidence(evidence::Evidence),
    /// Trials of a change: size, random assignment, how one stands
    Trial {
        #[command(subcommand)]
        what: trials::Trials,
    },
    #[command(flatten)]
    Why(causes::Why),
    #[command(flatten)]
    Drawn(chart::Drawn),
    /// The same functions at the desk, on numbers typed in or a CSV
    Calc {
        #[command(subcommand)]
        what: calc::Calc,
    },
}

/// Runs the program and gives its exit code: 0 done, 1 the answer is no, 2 usage or input at fault,
/// 3 the store cannot be opened or trusted.
pub fn main() -> ExitCode {
    let cli = Cli::parse();
    let outcome = match &cli.command {
        Some(Command::Keep(what)) => keep::run(what, &cli.global),
        Some(Command::Ask(what)) => trace::run(what, &cli.global),
        Some(Command::Evidence(what)) => evidence::run(what, &cli.global),
        Some(Command::Trial { what }) => trials::run(what, &cli.global),
        Some(Command::Why(what)) => causes::run(what, &cli.global),
        Some(Command::Drawn(what)) => chart::run(what, &cli.global),
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
                let _ = Cli::command().print_help();
                return ExitCode::SUCCESS;
            }
            screens::open(&cli.global)
        }
    };
    outcome.unwrap_or_else(|e| context::fail(&e, cli.global.json))
}
