//! What several `calc` families take: counts and a confidence typed in, and a CSV with its columns chosen.

use crate::calc::table::Table;

/// A CSV and the columns to take from it.
#[derive(clap::Args)]
pub struct CsvFile {
    /// CSV with a header row; `-` reads standard input
    pub file: String,
    /// The column that stands for y
    #[arg(long, value_name = "NAME")]
    y: Option<String>,
    /// The column that stands for x
    #[arg(long, value_name = "NAME")]
    x: Option<String>,
    /// The column that stands for n
    #[arg(long, value_name = "NAME")]
    pub n: Option<String>,
    /// The column that stands for group
    #[arg(long, value_name = "NAME")]
    group: Option<String>,
    /// The column that stands for value
    #[arg(long, value_name = "NAME")]
    value: Option<String>,
}

impl CsvFile {
    /// Reads the table.
    pub fn read(&self) -> Result<Table, String> {
        Table::read(&self.file)
    }

    pub fn y(&self) -> &str {
        self.y.as_deref().unwrap_or("y")
    }

    pub fn x(&self) -> &str {
        self.x.as_deref().unwrap_or("x")
    }

    pub fn group(&self) -> &str {
        self.group.as_deref().unwrap_or("group")
    }

    pub fn value(&self) -> &str {
        self.value.as_deref().unwrap_or("value")
    }

    /// The counts x out of n of each row.
    ///
    /// # Errors
    /// No such columns, no counts, or an x above its n.
    pub fn shares(&self, table: &Table) -> Result<(Vec<u64>, Vec<u64>), String> {
        let n = self.n.as_deref().unwrap_or("n");
        let (x, n) = (table.counts(self.x())?, table.counts(n)?);
        above(table, self.x(), &x, &n)?;
        Ok((x, n))
    }

    /// The labels and values of the groups, in the order in which the labels appear.
    ///
    /// # Errors
    /// No such columns, or cells that are blank or no numbers.
    pub fn groups(&self, table: &Table) -> Result<(Vec<String>, Vec<Vec<f64>>), String> {
        let (labels, values) = (table.texts(self.group())?, table.numbers(self.value())?);
        let (names, places) = places(&labels);
        let mut groups = vec![Vec::new(); names.len()];
        for (place, value) in places.into_iter().zip(values) {
            groups[place].push(value);
        }
        Ok((names, groups))
    }
}

/// The distinct labels in the order in which they appear, and where each row's label stands in them.
pub fn places(labels: &[&str]) -> (Vec<String>, Vec<usize>) {
    let mut names = Vec::new();
    let mut known = std::collections::HashMap::new();
    let places = labels.iter().map(|label| {
        *known.entry(*label).or_insert_with(|| {
            names.push((*label).to_string());
            names.len() - 1
        })
    });
    let places = places.collect();
    (names, places)
}

/// Refuses a count above the number it is out of.
pub fn above(table: &Table, name: &str, x: &[u64], n: &[u64]) -> Result<(), String> {
    match x.iter().zip(n).position(|(x, n)| x > n) {
        Some(r) => {
            let what = format!("holds {}, more than the {} it is out of", x[r], n[r]);
            Err(table.fault(r, table.column(name)?, &what))
        }
        None => Ok(()),
    }
}

/// All columns as counts, a row each; a first column of words alone is taken as labels and left out.
pub fn count_rows(table: &Table) -> Result<Vec<Vec<u64>>, String> {
    let width = table.header().len();
    let labelled = width > 1 && !numeric(table, 0)?;
    let columns: Vec<Vec<u64>> =
        (usize::from(labelled)..width).map(|c| table.counts_at(c)).collect::<Result<_, _>>()?;
    Ok((0..table.len()).map(|r| columns.iter().map(|c| c[r]).collect()).collect())
}

/// Whether any cell of a column is a number.
fn numeric(table: &Table, c: usize) -> Result<bool, String> {
    let cells = table.texts(&table.header()[c])?;
    Ok(cells.iter().any(|t| t.parse::<f64>().is_ok()))
}

/// Parses a count typed in: a whole number from 0 to 2^53.
pub fn count(text: &str) -> Result<u64, String> {
    let whole = |v: &f64| *v >= 0.0 && v.trunc() == *v && *v <= 9_007_199_254_740_992.0;
    text.parse::<f64>()
        .ok()
        .filter(whole)
        .map(|v| v as u64)
        .ok_or_else(|| format!("{text:?} is not a count: give a whole number from 0 to 2^53"))
}

/// Parses an exposure typed in: a finite number above 0.
pub fn exposure(text: &str) -> Result<f64, String> {
    let right = |v: &f64| v.is_finite() && *v > 0.0;
    text.parse().ok().filter(right).ok_or_else(|| format!("{text:?} must be above 0"))
}

/// Parses a probability typed in, from 0 to 1.
pub fn probability(text: &str) -> Result<f64, String> {
    let right = |v: &f64| (0.0..=1.0).contains(v);
    text.parse().ok().filter(right).ok_or_else(|| format!("{text:?} must be from 0 to 1"))
}

/// Parses a confidence typed in, strictly between 0 and 1.
pub fn confidence(text: &str) -> Result<f64, String> {
    let right = |v: &f64| *v > 0.0 && *v < 1.0;
    text.parse()
        .ok()
        .filter(right)
        .ok_or_else(|| format!("{text:?} is not a confidence: give a number between 0 and 1, such as 0.95"))
}
