//! A shop's own sheets.

use std::path::PathBuf;
use std::process::ExitCode;

use clap::Subcommand;

use crate::cli::context::Global;
use crate::cli::examples::example;
use crate::jobs::sheets::ask;
use crate::jobs::sheets::ask::{Habits, Mapping, Order, SheetLook};
use crate::jobs::sheets::show;
use records::{Error, Result};

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
        #[arg(long, value_name = "ROW", value_parser = header_rows)]
        header: Option<(u32, Option<u32>)>,
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
        /// The row of the titles, from 1, or the rows as 2-3
        #[arg(long, value_name = "ROW", default_value = "1", value_parser = header_rows)]
        header: (u32, Option<u32>),
        /// The sheet; else the only visible one
        #[arg(long)]
        sheet: Option<String>,
        /// What is the same in every row
        #[arg(long, value_name = "FIELD=VALUE")]
        fill: Vec<String>,
        /// What a word of the sheet means: result:OK=accept
        #[arg(long, value_name = "FIELD:THEIRS=OURS")]
        word: Vec<String>,
        /// Leave out rows in which this field's column is blank
        #[arg(long, value_name = "FIELD")]
        only: Vec<String>,
        /// What the sheet writes where nothing was recorded
        #[arg(long, value_name = "TEXT", allow_hyphen_values = true)]
        blank: Vec<String>,
        /// Tags for what has none of its own in the sheet: {blade}-{method}-{n}; {n} counts, {row} is the row
        #[arg(long, value_name = "PATTERN")]
        tag: Option<String>,
        /// Numbers have a decimal comma
        #[arg(long)]
        decimal_comma: bool,
        /// How 3.11.2031 is read
        #[arg(long, value_parser = ["day-first", "month-first"])]
        dates: Option<String>,
        /// The shop's clock, where a time has no offset to UTC: +01:00
        #[arg(long, value_name = "OFFSET", allow_hyphen_values = true)]
        offset: Option<String>,
        /// The time of day for a date alone: 00:00; the note says that it is not known
        #[arg(long, value_name = "TIME")]
        hour: Option<String>,
    },
}

/// `2`, or `2-3`.
fn header_rows(text: &str) -> std::result::Result<(u32, Option<u32>), String> {
    let row =
        |t: &str| t.trim().parse::<u32>().map_err(|_| "a row is a number from 1; 2-3 are two".to_string());
    match text.split_once('-') {
        Some((from, to)) => Ok((row(from)?, Some(row(to)?))),
        None => Ok((row(text)?, None)),
    }
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
        SheetCommand::Map { name, .. } => {
            let mapping = made(what)?;
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

fn made(what: &SheetCommand) -> Result<Mapping> {
    let SheetCommand::Map {
        kind,
        columns,
        header,
        sheet,
        fill,
        word,
        only,
        blank,
        decimal_comma,
        dates,
        offset,
        hour,
        tag,
        ..
    } = what
    else {
        return Ok(Mapping::default());
    };
    let pairs = |texts: &[String], like: &str| -> Result<Vec<(String, String)>> {
        let split = |t: &String| {
            let pair = t.split_once('=').map(|(a, b)| (a.trim().to_string(), b.trim().to_string()));
            pair.ok_or_else(|| Error::input(format!("{t} is not {like}")))
        };
        texts.iter().map(split).collect()
    };
    let mut words = Vec::new();
    for text in word {
        let parts = text.split_once(':').and_then(|(field, rest)| Some((field, rest.rsplit_once('=')?)));
        let Some((field, (theirs, ours))) = parts else {
            return Err(Error::input(format!("{text} is not FIELD:THEIRS=OURS, as result:OK=accept is")));
        };
        words.push((field.to_string(), theirs.to_string(), ours.to_string()));
    }
    Ok(Mapping {
        kind: kind.clone().unwrap_or_default(),
        header: header.0,
        header_to: header.1.filter(|to| *to != header.0),
        tag: tag.clone(),
        sheet: sheet.clone(),
        columns: pairs(columns, "FIELD=COLUMN")?,
        fill: pairs(fill, "FIELD=VALUE")?,
        words,
        only: only.clone(),
        habits: Habits {
            decimal_comma: *decimal_comma,
            dates: dates
                .as_deref()
                .map(|d| if d == "day-first" { Order::DayFirst } else { Order::MonthFirst }),
            offset: offset.clone(),
            hour: hour.clone(),
            blanks: blank.clone(),
        },
    })
}
