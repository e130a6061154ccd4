//! Ranked causes from three tables: blades, moulds, heats.

use std::collections::HashMap;

use serde_json::Map;

use crate::calc::answer::Answer;
use crate::calc::table::Table;
use knowledge::causes;
use knowledge::causes::random::SEED;
use knowledge::causes::{At, Column, History, MISSING, Records, Settings, Values};
use records::value::tag::{hint, near};

/// Commands that rank causes.
#[derive(clap::Subcommand)]
pub enum Causes {
    /// Ranked causes of a defect, from three CSVs: blades, moulds in pour order, heats
    #[command(
        after_help = "The ranking of `causes` on tables of your own, without a store.\n\n  meltkin calc causes --blades blades.csv --moulds moulds.csv --heats heats.csv"
    )]
    Causes(Box<ThreeTables>),
}

/// What `calc causes` takes. The first column of each file is its tag; every other column is a factor.
#[derive(clap::Args)]
pub struct ThreeTables {
    /// CSV of inspected blades: tag, `mould_id`, `defect` (0 or 1; blank is not inspected), factors
    #[arg(long, value_name = "FILE")]
    blades: String,
    /// CSV of moulds in pour order: tag, `heat_id`, factors
    #[arg(long, value_name = "FILE")]
    moulds: String,
    /// CSV of heats: tag, factors
    #[arg(long, value_name = "FILE")]
    heats: String,
    /// Columns that hold numbers (`<x` enters as x/2); all others hold words
    #[arg(long, value_name = "COLUMN,…", value_delimiter = ',')]
    numeric: Vec<String>,
    /// A column to compare within, such as the part; never a cause
    #[arg(long, value_name = "COLUMN")]
    stratify: Option<String>,
    /// The column that stands for defect
    #[arg(long, value_name = "NAME", default_value = "defect")]
    y: String,
    /// Two factors to be looked at together: what they do beyond what each does singly
    #[arg(long, value_name = "COLUMN,COLUMN", value_delimiter = ',')]
    pair: Vec<String>,
    /// The seed of the draws
    #[arg(long, default_value_t = SEED)]
    seed: u64,
    /// Threads to work on; the answer is the same on any number
    #[arg(long)]
    threads: Option<usize>,
}

/// Runs a command that ranks causes.
///
/// # Errors
/// A file that cannot be read, an unknown or doubled column, a link that leads nowhere, a cell that does
/// not hold what it should: file, line and column are named.
pub fn run(what: &Causes) -> Result<Answer, String> {
    let Causes::Causes(args) = what;
    let records = Files::read(args)?.records(args)?;
    let threads = args
        .threads
        .unwrap_or_else(|| std::thread::available_parallelism().map_or(1, std::num::NonZero::get));
    let pair = match args.pair.as_slice() {
        [] => None,
        [a, b] => Some([a.as_str(), b.as_str()]),
        _ => return Err("a pair is two columns with a comma between them".into()),
    };
    let settings = Settings { seed: args.seed, threads, pair, ..Settings::default() };
    for name in pair.iter().flatten() {
        if !records.columns.iter().any(|c| c.name == *name) {
            let close = near(name, records.columns.iter().map(|c| c.name.as_str()));
            return Err(format!("no factor is named {name:?}{}", hint(&close)));
        }
    }
    if pair.is_some_and(|[a, b]| a == b) {
        return Err("a pair is two columns, and these are one".into());
    }
    let ranking = causes::rank(&History::new(records)?, settings);
    if let Some(refused) = ranking.pair_refused {
        return Err(refused);
    }
    let mut question = Map::new();
    question.insert("defect".into(), args.y.clone().into());
    question.insert("numeric".into(), args.numeric.clone().into());
    question.insert("stratify".into(), args.stratify.clone().into());
    question.insert("seed".into(), args.seed.into());
    let page = crate::jobs::causes::show::text(&args.y, &ranking, None);
    let mut answer = Answer::new(
        "mean Bayes factor of each factor's levels over 21 models of drift, held against permuted heats; Benjamini-Hochberg q",
        "Wakefield 2009; Winkler et al. 2014; Benjamini and Hochberg 1995; the combination is our own, chosen by simulation",
    );
    for (key, value) in crate::jobs::causes::show::json(question, &ranking, None) {
        answer = answer.put(&key, value);
    }
    Ok(answer.page(page))
}

struct Files {
    blades: Table,
    moulds: Table,
    heats: Table,
}

/// One factor column: its file and place there.
struct FactorPlace {
    at: At,
    column: usize,
}

impl Files {
    fn read(args: &ThreeTables) -> Result<Self, String> {
        Ok(Self {
            blades: Table::read(&args.blades)?,
            moulds: Table::read(&args.moulds)?,
            heats: Table::read(&args.heats)?,
        })
    }

    fn table(&self, at: At) -> &Table {
        match at {
            At::Blade => &self.blades,
            At::Mould => &self.moulds,
            At::Heat => &self.heats,
        }
    }

    /// Every column that is no tag, link or outcome, by name.
    fn factors(&self, args: &ThreeTables) -> Result<Vec<(String, FactorPlace)>, String> {
        let mut all: Vec<(String, FactorPlace)> = Vec::new();
        for (at, links) in [
            (At::Blade, vec!["mould_id", args.y.as_str()]),
            (At::Mould, vec!["heat_id"]),
            (At::Heat, Vec::new()),
        ] {
            for (column, name) in self.table(at).header().iter().enumerate().skip(1) {
                if links.contains(&name.as_str()) {
                    continue;
                }
                if let Some((_, twin)) = all.iter().find(|(n, _)| n == name) {
                    let (one, two) = (file(args, twin.at), file(args, at));
                    return Err(format!(
                        "the column {name:?} is in {one} and in {two}; a factor is named by its column, so it may \
                         be in one file only"
                    ));
                }
                all.push((name.clone(), FactorPlace { at, column }));
            }
        }
        let unknown =
            args.numeric.iter().chain(&args.stratify).find(|n| all.iter().all(|(name, _)| name != *n));
        if let Some(name) = unknown {
            let near = near(name, all.iter().map(|(n, _)| n.as_str()));
            return Err(format!("no file has a column {name:?}{}", hint(&near)));
        }
        Ok(all)
    }

    fn records(&self, args: &ThreeTables) -> Result<Records, String> {
        let factors = self.factors(args)?;
        let (mould_tags, moulds) = tags(&self.moulds)?;
        let (heat_tags, heats) = tags(&self.heats)?;
        tags(&self.blades)?;
        let outcome = self.blades.column(&args.y)?;
        let mut rows = Vec::new();
        let mut defective = Vec::new();
        for (row, cell) in self.blades.cells(outcome).enumerate() {
            match cell {
                "" | "n/a" | "illegible" => continue,
                "0" | "1" => defective.push(u32::from(cell == "1")),
                _ => {
                    let what = format!("holds {cell:?}; must be 0, 1 or blank (not inspected)");
                    return Err(self.blades.fault(row, outcome, &what));
                }
            }
            rows.push(row);
        }
        let blade_mould = links(&self.blades, "mould_id", &moulds, &args.moulds, &rows)?;
        let all: Vec<usize> = (0..self.moulds.len()).collect();
        let mould_heat = links(&self.moulds, "heat_id", &heats, &args.heats, &all)?;
        let mut records =
            Records { made: self.blades.len(), defective, mould_tags, heat_tags, ..Records::default() };
        for (name, place) in factors {
            let table = self.table(place.at);
            let all: Vec<usize> = match place.at {
                At::Blade => rows.clone(),
                _ => (0..table.len()).collect(),
            };
            let cells: Vec<&str> = table.cells(place.column).collect();
            if args.stratify.as_ref() == Some(&name) {
                let blank = |cell: &&str| cell.is_empty();
                let cells: Vec<&str> = match place.at {
                    At::Blade => rows.iter().map(|&r| cells[r]).collect(),
                    At::Mould => blade_mould.iter().map(|&m| cells[m as usize]).collect(),
                    At::Heat => blade_mould.iter().map(|&m| cells[mould_heat[m as usize] as usize]).collect(),
                };
                let named: Vec<String> = cells
                    .iter()
                    .map(|c| if blank(c) { format!("{name} not recorded") } else { format!("{name} {c}") })
                    .collect();
                let (codes, levels) = words(named.iter().map(String::as_str));
                records.stratum = codes;
                records.strata = levels;
                continue;
            }
            let (values, below_detection) = if args.numeric.contains(&name) {
                numbers(table, place.column, &all)?
            } else {
                let (codes, levels) = words(all.iter().map(|&r| cells[r]));
                (Values::Words { codes, levels }, 0)
            };
            records.columns.push(Column { below_detection, ..Column::new(&name, place.at, values) });
        }
        records.blade_mould = blade_mould;
        records.mould_heat = mould_heat;
        Ok(records)
    }
}

fn file(args: &ThreeTables, at: At) -> &str {
    match at {
        At::Blade => &args.blades,
        At::Mould => &args.moulds,
        At::Heat => &args.heats,
    }
}

/// The tags of a file and where each stands.
fn tags(table: &Table) -> Result<(Vec<String>, HashMap<String, u32>), String> {
    let mut place = HashMap::with_capacity(table.len());
    let mut list = Vec::with_capacity(table.len());
    for (row, tag) in table.cells(0).enumerate() {
        if tag.is_empty() {
            return Err(table.fault(row, 0, "is blank; give the tag of the record"));
        }
        if place.insert(tag.to_string(), row as u32).is_some() {
            return Err(table.fault(row, 0, &format!("holds {tag:?} a second time")));
        }
        list.push(tag.to_string());
    }
    Ok((list, place))
}

/// The place of the record that each row leads to.
fn links(
    table: &Table,
    column: &str,
    known: &HashMap<String, u32>,
    in_file: &str,
    rows: &[usize],
) -> Result<Vec<u32>, String> {
    let c = table.column(column)?;
    let cells: Vec<&str> = table.cells(c).collect();
    let lead = |&row: &usize| {
        known.get(cells[row]).copied().ok_or_else(|| {
            let near = near(cells[row], known.keys().map(String::as_str));
            table.fault(row, c, &format!("holds {:?}, which is not in {in_file}{}", cells[row], hint(&near)))
        })
    };
    rows.iter().map(lead).collect()
}

/// Codes of words, and the words; blank, `n/a` and `illegible` are not recorded.
fn words<'a>(cells: impl Iterator<Item = &'a str>) -> (Vec<u32>, Vec<String>) {
    let mut known: HashMap<&str, u32> = HashMap::new();
    let mut levels = Vec::new();
    let codes = cells
        .map(|cell| match cell {
            "" | "n/a" | "illegible" => MISSING,
            _ => *known.entry(cell).or_insert_with(|| {
                levels.push(cell.to_string());
                levels.len() as u32 - 1
            }),
        })
        .collect();
    (codes, levels)
}

/// Numbers, and how many were below detection: `<x` enters as x/2.
fn numbers(table: &Table, column: usize, rows: &[usize]) -> Result<(Values, usize), String> {
    let cells: Vec<&str> = table.cells(column).collect();
    let mut below = 0;
    let mut number = |&row: &usize| {
        let cell = cells[row];
        if matches!(cell, "" | "n/a" | "illegible") {
            return Ok(f64::NAN);
        }
        let (text, scale) = match cell.strip_prefix('<') {
            Some(limit) => (limit.trim(), 0.5),
            None => (cell, 1.0),
        };
        match text.parse::<f64>() {
            Ok(v) if v.abs() > crate::calc::table::LARGEST => {
                Err(table.fault(row, column, &format!("holds {cell:?}, too large to reckon with")))
            }
            Ok(v) if v.is_finite() => {
                below += usize::from(scale < 1.0);
                Ok(v * scale)
            }
            _ => {
                let what =
                    format!("holds {cell:?}, which is not a number, and the column is named in --numeric");
                Err(table.fault(row, column, &what))
            }
        }
    };
    let x = rows.iter().map(&mut number).collect::<Result<Vec<f64>, String>>()?;
    Ok((Values::Numbers(x), below))
}
