//! Sheets of cells from files that others made: XLSX, XLS, ODS and CSV, read with bounds on everything.

use std::collections::BTreeMap;
use std::io::{Cursor, Read};

use crate::exchange::unread::Unread;
use crate::exchange::{delimited, workbook};

/// How large a file may be, and what it is.
#[derive(Debug, Clone, Copy)]
pub struct GridBounds {
    /// What the file is, in words.
    pub what: &'static str,
    /// Megabytes of the file.
    pub file_mb: u64,
    /// Megabytes that a spreadsheet may unpack to.
    pub unpacked_mb: u64,
    pub(crate) rows: u32,
    pub(crate) columns: u32,
    pub(crate) cells: usize,
}

/// A maker's certificate.
pub const CERTIFICATE: GridBounds = GridBounds {
    what: "certificate",
    file_mb: 16,
    unpacked_mb: 32,
    rows: 10_000,
    columns: 1_000,
    cells: 50_000,
};

/// A shop's own sheet of records.
pub const SHEET: GridBounds = GridBounds {
    what: "sheet of one kind of record",
    file_mb: 64,
    unpacked_mb: 256,
    rows: 200_000,
    columns: 1_000,
    cells: 1_000_000,
};

impl GridBounds {
    /// The bytes of a file are within the bound.
    ///
    /// # Errors
    /// The sentence that says that they are not.
    pub fn admit(&self, bytes: u64) -> Result<(), String> {
        if bytes > self.file_mb << 20 {
            return Err(format!("is larger than {} MB; no {} is", self.file_mb, self.what));
        }
        Ok(())
    }
}

/// What stands in a cell.
#[derive(Debug, Clone, PartialEq)]
pub enum CellValue {
    Text(String),
    Number(f64),
    /// A yes or no.
    Truth(bool),
    /// A date, a time of day, or both, as a spreadsheet keeps them: without an offset.
    Moment(Moment),
    /// A formula, and the value that it had when the file was saved.
    Formula(String, Box<CellValue>),
    /// Something that no value is: what it is, in words.
    Odd(String),
}

/// A date, a time of day, or both.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Moment {
    /// Year, month, day; none for a time of day alone.
    pub date: Option<(u16, u8, u8)>,
    /// Hour, minute, second, millisecond; none for a date alone.
    pub time: Option<(u8, u8, u8, u16)>,
}

impl CellValue {
    /// As a person would read it.
    pub fn text(&self) -> String {
        match self {
            Self::Text(t) | Self::Odd(t) => t.clone(),
            Self::Number(v) => v.to_string(),
            Self::Truth(v) => if *v { "TRUE" } else { "FALSE" }.into(),
            Self::Formula(_, value) => value.text(),
            Self::Moment(m) => {
                let date = m.date.map(|(y, mo, d)| format!("{y:04}-{mo:02}-{d:02}"));
                let time = m.time.map(|(h, mi, s, ms)| match ms {
                    0 => format!("{h:02}:{mi:02}:{s:02}"),
                    _ => format!("{h:02}:{mi:02}:{s:02}.{ms:03}"),
                });
                [date, time].into_iter().flatten().collect::<Vec<_>>().join(" ")
            }
        }
    }

    /// What it is, where it is neither text nor a number.
    pub fn oddity(&self) -> Option<String> {
        match self {
            Self::Text(_) | Self::Number(_) => None,
            Self::Truth(_) => Some(format!("{}, a yes or no", self.text())),
            Self::Moment(_) => Some(format!("the date or time {}", self.text())),
            Self::Formula(f, value) => {
                let f: String = f.chars().take(60).collect();
                Some(format!("the formula ={f} (last {})", value.text()))
            }
            Self::Odd(what) => Some(what.clone()),
        }
    }
}

/// A sheet.
#[derive(Debug, Default, Clone)]
pub struct Grid {
    /// Its name; empty for a CSV.
    pub sheet: String,
    /// Cells that hold something, by row and column from 0.
    pub cells: BTreeMap<(u32, u32), CellValue>,
    /// Merged cells: corners.
    pub merged: Vec<((u32, u32), (u32, u32))>,
    /// What was left out.
    pub remarks: Vec<String>,
}

impl Grid {
    /// A cell.
    pub fn at(&self, row: u32, column: u32) -> Option<&CellValue> {
        self.cells.get(&(row, column))
    }

    /// The last row that holds something.
    pub fn last_row(&self) -> u32 {
        self.cells.keys().next_back().map_or(0, |k| k.0)
    }

    /// The merged cells that a cell belongs to, by name.
    pub fn merged_with(&self, row: u32, column: u32) -> Option<String> {
        let inside = |m: &&((u32, u32), (u32, u32))| {
            (m.0.0..=m.1.0).contains(&row) && (m.0.1..=m.1.1).contains(&column)
        };
        self.merged
            .iter()
            .find(inside)
            .map(|m| format!("{}:{}", address(m.0.0, m.0.1), address(m.1.0, m.1.1)))
    }
}

/// `B3`.
pub fn address(row: u32, column: u32) -> String {
    letters(column) + &(u64::from(row) + 1).to_string()
}

/// A column from 0 as a spreadsheet names it: `B`.
pub fn letters(column: u32) -> String {
    let (mut n, mut letters) = (u64::from(column) + 1, Vec::new());
    while n > 0 {
        letters.push(char::from(b'A' + ((n - 1) % 26) as u8));
        n = (n - 1) / 26;
    }
    letters.iter().rev().collect()
}

/// Row and column of `B3`.
pub fn place(text: &str) -> Option<(u32, u32)> {
    let letters = text.chars().take_while(char::is_ascii_alphabetic).count();
    let row: u32 = text.get(letters..)?.parse().ok()?;
    if letters == 0 || letters > 3 || row == 0 {
        return None;
    }
    let column =
        text[..letters].bytes().fold(0, |n, b| n * 26 + u32::from(b.to_ascii_uppercase() - b'A') + 1);
    Some((row - 1, column - 1))
}

/// Reads a sheet of a file: the one named, else the only visible one. A CSV is one sheet.
///
/// # Errors
/// What is wrong with the file, in a sentence.
pub fn read(bytes: &[u8], sheet: Option<&str>, bounds: &GridBounds) -> Result<Grid, Unread> {
    bounds.admit(bytes.len() as u64)?;
    let packed = bytes.starts_with(b"PK");
    if packed {
        measure(bytes, bounds)?;
    }
    if packed || bytes.starts_with(&[0xd0, 0xcf, 0x11, 0xe0]) {
        // A reader of other people's files should never panic; if it does, that is an answer too.
        let work = std::panic::AssertUnwindSafe(|| workbook::read(bytes, sheet, bounds));
        return std::panic::catch_unwind(work)
            .unwrap_or_else(|_| Err("is a damaged spreadsheet: it cannot be read".into()));
    }
    if bytes.starts_with(b"%PDF") {
        return Err("is a PDF; values come from a spreadsheet or a CSV".into());
    }
    Ok(delimited::read(bytes, bounds)?)
}

/// Unpacks every part once without keeping it, so that nothing can grow past the bound later.
fn measure(bytes: &[u8], bounds: &GridBounds) -> Result<(), String> {
    let damaged =
        |e: &dyn std::fmt::Display| format!("is a damaged or cut-off spreadsheet ({e}); get it again");
    let too_large = || {
        format!(
            "unpacks to more than {} MB; no {} does. Copy its values into a sheet alone",
            bounds.unpacked_mb, bounds.what
        )
    };
    let mut zip = zip::ZipArchive::new(Cursor::new(bytes)).map_err(|e| damaged(&e))?;
    let (mut total, most) = (0, bounds.unpacked_mb << 20);
    for i in 0..zip.len() {
        let part = zip.by_index(i).map_err(|e| damaged(&e))?;
        let left = most - total;
        // What it says is believed where it is too much; else it is measured.
        if part.size() > left {
            return Err(too_large());
        }
        total += std::io::copy(&mut part.take(left + 1), &mut std::io::sink()).map_err(|e| damaged(&e))?;
        if total > most {
            return Err(too_large());
        }
    }
    Ok(())
}

pub(crate) fn put(
    grid: &mut Grid,
    pos: (u32, u32),
    held: CellValue,
    bounds: &GridBounds,
) -> Result<(), String> {
    if matches!(&held, CellValue::Text(t) if t.trim().is_empty()) {
        return Ok(());
    }
    if pos.0 >= bounds.rows || pos.1 >= bounds.columns || grid.cells.len() >= bounds.cells {
        return Err(format!(
            "goes on at {} beyond {} rows, {} columns or {} filled cells; no {} is that long",
            address(pos.0, pos.1),
            bounds.rows,
            bounds.columns,
            bounds.cells,
            bounds.what
        ));
    }
    grid.cells.insert(pos, held);
    Ok(())
}
