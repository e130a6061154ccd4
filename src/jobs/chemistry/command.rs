//! Certificates as spreadsheets.

use std::path::PathBuf;
use std::process::ExitCode;

use clap::Subcommand;

use crate::cli::context::Global;
use crate::cli::voice;
use crate::jobs::chemistry::certificate;
use crate::jobs::chemistry::certificate::{Mapping, Request, Taken};
use records::{Error, Result};

/// Commands on certificates.
#[derive(Subcommand)]
pub enum Certificate {
    /// Learn where a maker's sheets hold what; columns by their header, or by letter as #C
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
        /// Column of the maker's heat number, or its cell as B3
        #[arg(long, value_name = "COLUMN|CELL")]
        heat: Option<String>,
        /// The sheet; else the only visible one
        #[arg(long)]
        sheet: Option<String>,
    },
    /// Read a certificate (XLSX or CSV) and write analysis, values and attachment; all or nothing
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
        #[arg(long, value_name = "TIME")]
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
    match what.clone_parts() {
        Parts::Map(name, mapping) => {
            global.acting(&mut store, |store, who| certificate::learn(store, who, &name, &mapping))?;
            global.say(&serde_json::json!({"mapping": name, "is": mapping}), |_| format!("learnt {name}"));
            Ok(ExitCode::SUCCESS)
        }
        Parts::Import(file, request, units) => {
            let mut request = *request;
            for text in units {
                let Some((element, unit)) = text.split_once('=') else {
                    return Err(Error::input(format!("{text} is no ELEMENT=UNIT, as N=ppm is")));
                };
                request.units.push((element.into(), unit.into()));
            }
            let taken =
                global.acting(&mut store, |store, who| certificate::import(store, who, &file, &request))?;
            for fault in taken.faults.iter().take(200) {
                voice::err(&fault.text());
            }
            global.say(&taken, Taken::text);
            Ok(if taken.faults.is_empty() { ExitCode::SUCCESS } else { ExitCode::from(2) })
        }
    }
}

enum Parts {
    Map(String, Mapping),
    Import(PathBuf, Box<Request>, Vec<String>),
}

impl Certificate {
    fn clone_parts(&self) -> Parts {
        match self {
            Self::Map {
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
                let mapping = Mapping {
                    by_element: element.is_some(),
                    header: *header,
                    sheet: sheet.clone(),
                    element: element.clone(),
                    value: value.clone(),
                    unit: unit.clone(),
                    units_row: *units_row,
                    unit_is: unit_is.clone(),
                    uncertainty: uncertainty.clone(),
                    heat: heat.clone(),
                };
                Parts::Map(name.clone(), mapping)
            }
            Self::Import {
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
                let request = Request {
                    subject: subject.clone(),
                    mapping: mapping.clone(),
                    sheet: sheet.clone(),
                    analysis: analysis.clone(),
                    purpose: purpose.clone(),
                    taken_at: taken_at.clone(),
                    heat: heat.clone(),
                    units: Vec::new(),
                    reason: reason.clone(),
                    check: *check,
                };
                Parts::Import(file.clone(), Box::new(request), units.clone())
            }
        }
    }
}
