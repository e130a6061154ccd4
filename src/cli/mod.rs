//! The command line: clap types and printing; nothing else knows clap.

mod complete;
pub(crate) mod context;
pub mod examples;
pub(crate) mod help;
mod manual;
pub(crate) mod page;
pub(crate) mod screens;
pub(crate) mod settings;
pub(crate) mod sheet_hints;
pub(crate) mod voice;

use std::process::ExitCode;

use clap::{CommandFactory, FromArgMatches, Parser, Subcommand};

use crate::cli::context::{Given, Global};
use crate::jobs;
use crate::show::laid::laid;

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
    Files(jobs::file::command::FileCommand),
    #[command(flatten)]
    Keep(jobs::records::command::RecordCommand),
    #[command(flatten)]
    AtFurnace(jobs::furnace::command::FurnaceCommand),
    #[command(flatten)]
    OnTheWall(jobs::board::command::BoardCommand),
    #[command(flatten)]
    Marks(jobs::labels::command::LabelCommand),
    /// Chemistry from a maker's certificate, XLSX or CSV
    Certificate {
        #[command(subcommand)]
        what: jobs::chemistry::command::Certificate,
    },
    /// A shop's own sheets (XLSX, XLS, ODS, CSV): take one over
    Sheet {
        #[command(subcommand)]
        what: jobs::sheets::command::SheetCommand,
    },
    #[command(flatten)]
    Ask(jobs::trace::command::Ask),
    #[command(flatten)]
    Evidence(jobs::yields::command::YieldCommand),
    /// Trials of a change: how many moulds, which get it, how it stands
    Trial {
        #[command(subcommand)]
        what: jobs::trials::command::Trials,
    },
    #[command(flatten)]
    Why(jobs::causes::command::Why),
    #[command(flatten)]
    Drawn(jobs::charts::command::ChartCommands),
    #[command(flatten)]
    Lots(jobs::lots::command::LotCommand),
    /// The same functions at the desk, on figures typed in or a CSV
    ///
    /// Each prints its figures, the formula's name and its source. No store is needed. CSVs have a header
    /// row; `-` reads standard input; columns of other names are chosen with --y, --x, --n, --group, --value.
    Calc {
        #[command(subcommand)]
        what: crate::calc::Calc,
    },
}

/// Runs the program and gives its exit code: 0 done, 1 the answer is no, 2 usage or input at fault,
/// 3 the store cannot be opened or trusted.
pub fn main() -> ExitCode {
    if let Some(code) = complete::answered() {
        return code;
    }
    let asked = program().try_get_matches().and_then(|m| {
        let mut cli = Cli::from_arg_matches(&m)?;
        let typed = |id| m.value_source(id) == Some(clap::parser::ValueSource::CommandLine);
        cli.global.given = Given { store: typed("store"), person: typed("person") };
        Ok(cli)
    });
    let mut cli = match asked.map_err(|e| e.format(&mut program())) {
        Ok(cli) => cli,
        Err(e) => return misused(&e),
    };
    // What explains the program needs no settings, and is there where a line of them is wrong.
    let settled = match &cli.command {
        Some(Command::Explain(what)) if !what.asks_settings() => Ok(()),
        _ => settings::fill(&mut cli.global),
    };
    if let Err(e) = settled {
        return voice::ending(context::fail(&e, cli.global.json));
    }
    let outcome = match &cli.command {
        Some(Command::Explain(what)) => help::run(what, program(), &cli.global),
        Some(Command::Files(what)) => jobs::file::command::run(what, &cli.global),
        Some(Command::Keep(what)) => jobs::records::command::run(what, &cli.global),
        Some(Command::AtFurnace(what)) => jobs::furnace::command::run(what, &cli.global),
        Some(Command::OnTheWall(what)) => jobs::board::command::run(what, &cli.global),
        Some(Command::Certificate { what }) => jobs::chemistry::command::run(what, &cli.global),
        Some(Command::Sheet { what }) => jobs::sheets::command::run(what, &cli.global),
        Some(Command::Marks(what)) => jobs::labels::command::run(what, &cli.global),
        Some(Command::Ask(what)) => jobs::trace::command::run(what, &cli.global),
        Some(Command::Evidence(what)) => jobs::yields::command::run(what, &cli.global),
        Some(Command::Trial { what }) => jobs::trials::command::run(what, &cli.global),
        Some(Command::Why(what)) => jobs::causes::command::run(what, &cli.global),
        Some(Command::Drawn(what)) => jobs::charts::command::run(what, &cli.global),
        Some(Command::Lots(what)) => jobs::lots::command::run(what, &cli.global),
        Some(Command::Calc { what }) => crate::calc::run(what).map_err(records::Error::input).map(|answer| {
            let text = answer.printed(cli.global.json);
            let text = if cli.global.json { text } else { laid(&text, cli.global.layout()) };
            voice::out(text.as_bytes());
            ExitCode::SUCCESS
        }),
        None => {
            if !screens::on_a_terminal() {
                voice::heard(program().print_help());
                return voice::ending(ExitCode::SUCCESS);
            }
            screens::open(&cli.global)
        }
    };
    voice::ending(outcome.unwrap_or_else(|e| context::fail(&e, cli.global.json)))
}

/// Says what the command line itself got wrong, or prints what it asked clap for.
fn misused(e: &clap::Error) -> ExitCode {
    let code = u8::try_from(e.exit_code()).unwrap_or(2);
    let printed = e.print();
    if !e.use_stderr() {
        voice::heard(printed);
    } else if std::env::args_os().skip(1).take_while(|a| a != "--").any(|a| a == "--json") {
        let said = e.render().to_string();
        let sentence = said.split("\n\n").next().unwrap_or("").trim_start_matches("error: ");
        let sentence = sentence.split_whitespace().collect::<Vec<_>>().join(" ");
        let said = crate::show::json(&context::fault(&sentence, "usage", None));
        voice::out(format!("{said}\n").as_bytes());
    }
    voice::ending(ExitCode::from(code))
}

/// The definition of the whole command line.
fn program() -> clap::Command {
    page::grouped(Cli::command())
}

/// The command reference as Markdown, from the definitions of the commands.
pub fn command_reference() -> String {
    page::command_reference(program())
}
