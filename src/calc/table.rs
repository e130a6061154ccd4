//! A CSV for a `calc` command: header row, columns by name, faults that name row and column.

use std::io::Read;

use crate::jobs::file::output::odd;
use records::value::tag::{hint, near};

/// A number beyond this is refused: its square is no number any more.
pub const LARGEST: f64 = 1e150;

/// Columns that a command lets be chosen by an option of their own name.
const CHOSEN: [&str; 5] = ["y", "x", "n", "group", "value"];

/// A table read from a file (`-` is standard input). Rows count from 1 below the header, and faults
/// give the line of the file too.
pub struct Table {
    path: String,
    header: Vec<String>,
    rows: Vec<Vec<String>>,
    lines: Vec<u64>,
}

impl Table {
    /// Reads a whole table.
    ///
    /// # Errors
    /// The file cannot be read, is not UTF-8, has rows of unequal length, or has no rows.
    pub fn read(path: &str) -> Result<Self, String> {
        let mut text = String::new();
        if path == "-" {
            std::io::stdin().read_to_string(&mut text).map_err(|e| format!("standard input: {e}"))?;
        } else {
            // A pipe is read like a file (`<(…)` of a shell is one); a device has no end.
            let kind = std::fs::metadata(path).map_err(|e| format!("{path}: {e}"))?.file_type();
            if let Some(what) = odd(kind).filter(|what| *what != "a pipe") {
                return Err(format!("{path}: is {what}; give a CSV"));
            }
            text = std::fs::read_to_string(path).map_err(|e| format!("{path}: {e}"))?;
        }
        let text = text.strip_prefix('\u{feff}').unwrap_or(&text);
        let mut reader = csv::ReaderBuilder::new().trim(csv::Trim::All).from_reader(text.as_bytes());
        let header = reader.headers().map_err(|e| format!("{path}: {e}"))?;
        let header: Vec<String> = header.iter().map(str::to_string).collect();
        if let Some(twice) = header.iter().enumerate().find(|(i, h)| header[..*i].contains(h)) {
            return Err(format!("{path} line 1: duplicate column {:?}", twice.1));
        }
        let (mut rows, mut lines) = (Vec::new(), Vec::new());
        // The reader's own count stands still at the line ends of Windows.
        let (mut counted, mut line) = (0, 1);
        for record in reader.records() {
            let record = record.map_err(|e| format!("{path}: {e}"))?;
            let mut at = record.position().map_or(0, |p| p.byte() as usize).min(text.len());
            while text.as_bytes().get(at).is_some_and(|b| matches!(b, b'\r' | b'\n')) {
                at += 1;
            }
            line += text.as_bytes()[counted..at].iter().filter(|b| **b == b'\n').count() as u64;
            counted = at;
            lines.push(line);
            rows.push(record.iter().map(str::to_string).collect());
        }
        if rows.is_empty() {
            return Err(format!("{path}: no rows below the header"));
        }
        Ok(Self { path: path.to_string(), header, rows, lines })
    }

    pub fn path(&self) -> &str {
        &self.path
    }

    /// The column names, in file order.
    pub fn header(&self) -> &[String] {
        &self.header
    }

    /// The number of rows below the header.
    pub fn len(&self) -> usize {
        self.rows.len()
    }

    /// Never true: a table without rows is not read.
    pub fn is_empty(&self) -> bool {
        self.rows.is_empty()
    }

    /// Where a column stands.
    ///
    /// # Errors
    /// No such column; the sentence lists the ones there are.
    pub fn column(&self, name: &str) -> Result<usize, String> {
        self.header.iter().position(|h| h == name).ok_or_else(|| {
            let choose = match CHOSEN.contains(&name) {
                true => format!(" (choose with --{name} NAME)"),
                false => hint(&near(name, self.header.iter().map(String::as_str))),
            };
            format!("{}: no column {name:?}; there are {}{choose}", self.path, self.header.join(", "))
        })
    }

    /// The cells of the column that stands at `c`, blank ones too.
    pub fn cells(&self, c: usize) -> impl Iterator<Item = &str> {
        self.rows.iter().map(move |row| row[c].as_str())
    }

    /// The text of a column.
    ///
    /// # Errors
    /// No such column, or a blank cell.
    pub fn texts(&self, name: &str) -> Result<Vec<&str>, String> {
        let c = self.column(name)?;
        (0..self.rows.len())
            .map(|r| match self.rows[r][c].as_str() {
                "" => Err(self.fault(r, c, "is blank")),
                text => Ok(text),
            })
            .collect()
    }

    /// The numbers of a column.
    ///
    /// # Errors
    /// No such column, or a cell that is blank or no finite number.
    pub fn numbers(&self, name: &str) -> Result<Vec<f64>, String> {
        let c = self.column(name)?;
        self.numbers_at(c)
    }

    /// The numbers of the column that stands at `c`.
    pub fn numbers_at(&self, c: usize) -> Result<Vec<f64>, String> {
        (0..self.rows.len())
            .map(|r| {
                let text = &self.rows[r][c];
                match text.parse::<f64>() {
                    Ok(v) if v.is_finite() && v.abs() > LARGEST => {
                        Err(self.fault(r, c, &format!("holds {text:?}, too large to reckon with")))
                    }
                    Ok(v) if v.is_finite() => Ok(v),
                    _ if text.is_empty() => Err(self.fault(r, c, "is blank; give a number")),
                    _ => Err(self.fault(r, c, &format!("holds {text:?}, which is not a number"))),
                }
            })
            .collect()
    }

    /// The whole, non-negative numbers of a column, as counts are.
    ///
    /// # Errors
    /// As [`Table::numbers`], or a number that is negative, broken, or above 2^53.
    pub fn counts(&self, name: &str) -> Result<Vec<u64>, String> {
        let c = self.column(name)?;
        self.counts_at(c)
    }

    /// The counts of the column that stands at `c`.
    pub fn counts_at(&self, c: usize) -> Result<Vec<u64>, String> {
        let numbers = self.numbers_at(c)?;
        let whole = |(r, v): (usize, f64)| {
            if v >= 0.0 && v == v.trunc() && v <= 9_007_199_254_740_992.0 {
                Ok(v as u64)
            } else {
                Err(self.fault(r, c, &format!("holds {v}; must be a count from 0")))
            }
        };
        numbers.into_iter().enumerate().map(whole).collect()
    }

    /// A sentence about one cell: file, line, row, column.
    pub fn fault(&self, row: usize, column: usize, what: &str) -> String {
        format!(
            "{} line {} (row {}), column {}: {what}",
            self.path,
            self.lines[row],
            row + 1,
            self.header[column]
        )
    }
}
