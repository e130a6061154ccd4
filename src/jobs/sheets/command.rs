//! A shop's own sheets.

use std::path::PathBuf;
use std::process::ExitCode;

use clap::Subcommand;

use crate::cli::context::Global;
use crate::cli::examples::example;
use crate::jobs::sheets::ask;
use crate::jobs::sheets::ask::SheetLook;
use crate::jobs::sheets::options::{SheetOptions, TitleRows, title_rows};
use crate::jobs::sheets::show;
use records::Result;

/// Commands on a shop's own sheets.
#[derive(Subcommand)]
#[allow(clippy::large_enum_variant, reason = "made once, from the command line")]
pub enum SheetCommand {
    /// See what columns a sheet has, and which fields they may be
    #[command(after_help = example(
        "Before a sheet of your own is taken over: its columns, and what a kind of record asks for.",
        "sheet look pourbook.xlsx --kind pours",
    ))]
    Look {
        /// The file: XLSX, XLS, ODS or CSV
        file: PathBuf,
        /// The kind of record that it holds
        #[arg(long)]
        kind: Option<String>,
        /// The row of the titles, from 1, or the rows as 2-3; else the first with more than one cell
        #[arg(long, value_name = "ROW", value_parser = title_rows)]
        header: Option<TitleRows>,
        /// The sheet; else the only visible one
        #[arg(long)]
        sheet: Option<String>,
    },
    /// Learn which column of a sheet is which field; then: meltkin import FILE --mapping NAME
    ///
    /// A column is named by its title, or by its letter as #C; FIELD=DATE+TIME joins two columns. A sheet
    /// that holds several kinds of record (moulds, their heats, their pours) gets a mapping for each, and is
    /// imported once with each. With the name alone the mapping is printed.
    #[command(after_help = example(
        "Once for each layout and each kind that stands in it. Whatever the sheet writes in its own way is \
         said here.",
        "sheet map pourbook pours mould=Form heat=Melt poured_at=Date+Time indicated_c=Temp --dates \
         day-first --offset +01:00 --decimal-comma",
    ))]
    Map {
        /// A name for this mapping
        name: String,
        /// The kind of record
        kind: Option<String>,
        /// Which column is which field
        #[arg(value_name = "FIELD=COLUMN")]
        columns: Vec<String>,
        #[command(flatten)]
        of: SheetOptions,
    },
}

/// Runs a command.
pub fn run(what: &SheetCommand, global: &Global) -> Result<ExitCode> {
    match what {
        SheetCommand::Look { file, kind, header, sheet } => {
            let looked = ask::look(file, sheet.as_deref(), *header, kind.as_deref())?;
            global.say(&looked, SheetLook::text);
        }
        SheetCommand::Map { name, kind: None, .. } => {
            let mapping = ask::mapping(&global.open()?, name)?;
            global.say(&mapping, |m| show::as_command(name, m));
        }
        SheetCommand::Map { name, kind: Some(kind), columns, of } => {
            let mapping = of.mapping(kind, columns)?;
            let mut store = global.open()?;
            global.acting(&mut store, |store, who| ask::learn(store, who, name, &mapping))?;
            let answer = serde_json::json!({"mapping": name, "is": mapping});
            global.say(&answer, |_| {
                format!("learnt {name}; now: meltkin import FILE --mapping {name} --check")
            });
        }
    }
    Ok(ExitCode::SUCCESS)
}
