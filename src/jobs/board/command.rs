//! The command that opens the board.

use std::process::ExitCode;

use clap::Subcommand;

use crate::cli::context::Global;
use crate::cli::examples::example;
use crate::cli::screens;
use crate::jobs::board::ask;
use crate::jobs::board::ask::Wall;
use crate::jobs::desks;
use records::Result;

/// Commands of the board.
#[derive(Subcommand)]
pub enum BoardCommand {
    /// What stands at the furnace, for a wall or a tablet
    ///
    /// Each standing mould with its first reason, the seconds since its oven, what dries until when, checks due, holds,
    /// and who took over. It draws itself again as the records change; without a terminal it is printed once.
    #[command(after_help = example(
        "On a screen that everybody sees; as JSON for anything else that shows it.",
        "board --json",
    ))]
    Board,
}

/// Runs a command.
pub fn run(what: &BoardCommand, global: &Global) -> Result<ExitCode> {
    let BoardCommand::Board = what;
    if screens::on_a_terminal() && !global.json {
        return screens::open_on(global, &desks::BOARD);
    }
    let store = global.open()?;
    let now = global.who(Some(&store))?.now;
    global.say(&ask::wall(&store, now, &|| true)?, Wall::text);
    Ok(ExitCode::SUCCESS)
}
