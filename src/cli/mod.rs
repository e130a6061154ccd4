//! The command line: clap types and printing; nothing else knows clap.

pub mod calc;

use std::process::ExitCode;

use clap::{Parser, Subcommand};

/// Parentage, causes and release of investment-cast turbine blades.
#[derive(Parser)]
#[command(name = "meltkin", version, about, max_term_width = 100)]
struct Cli {
    /// Print JSON on standard output
    #[arg(long, global = true)]
    json: bool,
    #[command(subcommand)]
    command: Command,
}

#[derive(Subcommand)]
enum Command {
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
    let Command::Calc { what } = cli.command;
    match calc::run(&what) {
        Ok(answer) => {
            answer.print(cli.json);
            ExitCode::SUCCESS
        }
        Err(message) => {
            eprintln!("meltkin: {message}");
            ExitCode::from(2)
        }
    }
}
