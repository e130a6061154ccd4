//! Commands at the furnace.

use std::process::ExitCode;

use clap::Subcommand;

use crate::cli::context::Global;
use crate::cli::examples::example;
use crate::jobs::furnace::shift;
use records::Result;

/// Commands at the furnace.
#[derive(Subcommand)]
pub enum FurnaceCommand {
    /// What the next shift must know
    ///
    /// Open holds, checks of instruments that are due or failed, how many heats each crucible has seen, moulds not
    /// poured, and entries that came late or were filled in afterwards.
    #[command(after_help = example(
        "At hand-over: open holds, checks due or failed, crucible lives, moulds that stand, late entries.",
        "shift",
    ))]
    Shift,
}

/// Runs a command.
pub fn run(what: &FurnaceCommand, global: &Global) -> Result<ExitCode> {
    let FurnaceCommand::Shift = what;
    let store = global.open()?;
    let now = global.who(Some(&store))?.now;
    global.say(&shift::shift(&store, now)?, shift::Shift::text);
    Ok(ExitCode::SUCCESS)
}
