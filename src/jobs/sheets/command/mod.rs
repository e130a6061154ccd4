//! A shop's own sheets.

pub(crate) mod options;

use std::path::PathBuf;
use std::process::ExitCode;

use clap::Subcommand;

use crate::cli::context::Global;
use crate::cli::examples::example;
use crate::jobs::sheets::ask;
use crate::jobs::sheets::ask::SheetLook;
use crate::jobs::sheets::command::options::SheetOptions;
use crate::jobs::sheets::show;
use crate::jobs::sheets::take;
use crate::jobs::sheets::take::command::TakeRequest;
use crate::jobs::sheets::texts::{TitleRows, title_rows};
use records::Result;

/// Commands on a shop's own sheets.
#[derive(Subcommand)]
#[allow(clippy::large_enum_variant, reason = "made once, from the command line")]
pub enum SheetCommand {
    /// Take over a sheet: asks on a terminal, else goes by its options
    ///
    /// Shows the sheet as it is read, proposes which kind of record it holds, which column is which field and how it
    /// is written, shows the first records, keeps all that as a mapping, and writes the records. Without a terminal
    /// only what is sure is proposed; what is open is named with the option that says it, and nothing is written.
    #[command(after_help = example(
        "For the first sheet of its sort; the next one then needs only: import FILE --mapping NAME.",
        "sheet take pourbook.xlsx --kind pours --zone Europe/Berlin --check",
    ))]
    Take {
        /// The file: XLSX, XLS, ODS or CSV
        file: PathBuf,
        /// Which column is which field, where it is not as proposed; FIELD= leaves one out
        #[arg(value_name = "FIELD=COLUMN")]
        columns: Vec<String>,
        /// The kind of record that it holds
        #[arg(long)]
        kind: Option<String>,
        /// The name under which the mapping is kept; else that of the file
        #[arg(long)]
        name: Option<String>,
        /// Only say what would come of it; nothing is written
        #[arg(long)]
        check: bool,
        #[command(flatten)]
        of: SheetOptions,
    },
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
        /// The table, where several stand on the sheet: its name or number
        #[arg(long)]
        table: Option<String>,
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
        SheetCommand::Take { file, columns, kind, name, check, of } => {
            let (kind, name) = (kind.as_deref(), name.as_deref());
            let request = TakeRequest { file, columns, kind, name, check: *check, of };
            return take::command::run(&request, global);
        }
        SheetCommand::Look { file, kind, header, sheet, table } => {
            let looked = ask::look(file, (sheet.as_deref(), table.as_deref()), *header, kind.as_deref())?;
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
