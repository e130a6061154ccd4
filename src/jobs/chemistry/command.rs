//! Certificates as spreadsheets.

use std::path::PathBuf;
use std::process::ExitCode;

use clap::Subcommand;

use crate::cli::context::Global;
use crate::cli::examples::example;
use crate::cli::voice;
use crate::jobs::chemistry::certificate;
use crate::jobs::chemistry::certificate::{CertificateTaken, Mapping, Request};
use records::{Error, Result};

/// Commands on certificates.
#[derive(Clone, Subcommand)]
pub enum Certificate {
    /// Learn where a maker's sheets hold what; columns by their header, or by letter as #C
    #[command(after_help = example(
        "Once for each maker's layout: which row holds the names, which column what.",
        "certificate map north-alloys --header 5 --element Element --value Result --unit Unit",
    ))]
    Map {
        /// A name for this layout
        name: String,
        /// The row of the columns' names, from 1
        #[arg(long, value_name = "ROW")]
        header: u32,
        /// Column of the element, where each element has a row; without it each has a column
        #[arg(long, value_name = "COLUMN", requires = "value")]
        element: Option<String>,
        /// Column of the value
        #[arg(long, value_name = "COLUMN", requires = "element")]
        value: Option<String>,
        /// Column of the unit
        #[arg(long, value_name = "COLUMN", requires = "element")]
        unit: Option<String>,
        /// Row of the units, where elements are columns
        #[arg(long, value_name = "ROW", conflicts_with = "element")]
        units_row: Option<u32>,
        /// The unit where none is written: wt% or ppm
        #[arg(long, value_name = "UNIT")]
        unit_is: Option<String>,
        /// Column of the uncertainty
        #[arg(long, value_name = "COLUMN", requires = "element")]
        uncertainty: Option<String>,
        /// Column of the maker's heat number, or its cell as B3; with --element also the row of several, as 4
        #[arg(long, value_name = "COLUMN|CELL")]
        heat: Option<String>,
        /// The sheet; else the only visible one
        #[arg(long)]
        sheet: Option<String>,
    },
    /// Read a certificate (a spreadsheet or CSV) and write analysis, values and attachment; all or nothing
    #[command(after_help = example(
        "At ingot receipt: the maker's sheet becomes an analysis, value by value, and is kept as an attachment.",
        "certificate import C-2201.csv --subject IL31-01 --mapping north-alloys --check",
    ))]
    Import {
        /// The file
        file: PathBuf,
        /// The lot or heat that it is of
        #[arg(long, value_name = "TAG")]
        subject: String,
        /// The layout, as it was named
        #[arg(long, value_name = "NAME")]
        mapping: String,
        /// The date or time of the analysis
        #[arg(long, value_name = "TIME", allow_hyphen_values = true)]
        taken_at: Option<String>,
        /// maker (the maker's certificate) or check (your own analysis)
        #[arg(long, default_value = "maker")]
        purpose: String,
        /// Tag for the analysis; without it one is given
        #[arg(long, value_name = "TAG")]
        analysis: Option<String>,
        /// The maker's heat number, where the file holds several
        #[arg(long, value_name = "NUMBER")]
        heat: Option<String>,
        /// The sheet
        #[arg(long)]
        sheet: Option<String>,
        /// The unit that is meant for an element in this file
        #[arg(long = "unit-of", value_name = "ELEMENT=UNIT")]
        units: Vec<String>,
        /// Why what is doubted is right
        #[arg(long)]
        reason: Option<String>,
        /// Only say what is wrong; nothing is written
        #[arg(long)]
        check: bool,
    },
}

/// Runs a command.
pub fn run(what: &Certificate, global: &Global) -> Result<ExitCode> {
    let mut store = global.open()?;
    match what.clone() {
        Certificate::Map {
            name,
            header,
            element,
            value,
            unit,
            units_row,
            unit_is,
            uncertainty,
            heat,
            sheet,
        } => {
            let by_element = element.is_some();
            let mapping = Mapping {
                by_element,
                header,
                sheet,
                element,
                value,
                unit,
                units_row,
                unit_is,
                uncertainty,
                heat,
            };
            global.acting(&mut store, |store, who| certificate::learn(store, who, &name, &mapping))?;
            global.say(&serde_json::json!({"mapping": name, "is": mapping}), |_| format!("learnt {name}"));
            Ok(ExitCode::SUCCESS)
        }
        Certificate::Import {
            file,
            subject,
            mapping,
            taken_at,
            purpose,
            analysis,
            heat,
            sheet,
            units,
            reason,
            check,
        } => {
            let unit = |text: &String| match text.split_once('=') {
                Some((element, unit)) => Ok((element.to_string(), unit.to_string())),
                None => Err(Error::input(format!("{text} is not ELEMENT=UNIT, as N=ppm is"))),
            };
            let units = units.iter().map(unit).collect::<Result<_>>()?;
            let taken_at = global.bound(&store, "taken-at", taken_at.as_ref())?;
            let request =
                Request { subject, mapping, sheet, analysis, purpose, taken_at, heat, units, reason, check };
            let taken =
                global.acting(&mut store, |store, who| certificate::import(store, who, &file, &request))?;
            for fault in taken.faults.iter().take(200) {
                voice::err(&fault.text());
            }
            global.say(&taken, CertificateTaken::text);
            Ok(if taken.faults.is_empty() { ExitCode::SUCCESS } else { ExitCode::from(2) })
        }
    }
}
