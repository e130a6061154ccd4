//! Sheets of cells from files that others made: XLSX and CSV, read with bounds on everything.

use std::collections::BTreeMap;
use std::io::{Cursor, Read};

use calamine::{DataRef, Reader as _, SheetVisible, Xlsx};

use crate::domain::tag::{hint, near, shown};

/// The largest file.
pub const MOST_BYTES: u64 = 16 << 20;
/// The most that a spreadsheet may unpack to.
const MOST_UNPACKED: u64 = 32 << 20;
const MOST_CELLS: usize = 50_000;
const MOST_ROWS: u32 = 10_000;
const MOST_COLUMNS: u32 = 1_000;

/// What stands in a cell.
#[derive(Debug, Clone, PartialEq)]
pub enum Held {
    /// Text.
    Text(String),
    /// A number.
    Number(f64),
    /// Something that no value is: what it is, in words.
    Odd(String),
}

impl Held {
    /// As a person would read it.
    #[must_use]
    pub fn text(&self) -> String {
        match self {
            Self::Text(t) | Self::Odd(t) => t.clone(),
            Self::Number(v) => v.to_string(),
        }
    }
}

/// A sheet.
#[derive(Debug, Default)]
pub struct Grid {
    /// Its name; empty for a CSV.
    pub sheet: String,
    /// Cells that hold something, by row and column from 0.
    pub cells: BTreeMap<(u32, u32), Held>,
    /// Merged cells: corners.
    pub merged: Vec<((u32, u32), (u32, u32))>,
    /// What was left out.
    pub remarks: Vec<String>,
}

impl Grid {
    /// A cell.
    #[must_use]
    pub fn at(&self, row: u32, column: u32) -> Option<&Held> {
        self.cells.get(&(row, column))
    }

    /// The last row that holds something.
    #[must_use]
    pub fn last_row(&self) -> u32 {
        self.cells.keys().next_back().map_or(0, |k| k.0)
    }

    /// The merged cells that a cell belongs to, by name.
    #[must_use]
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
#[must_use]
pub fn address(row: u32, column: u32) -> String {
    let (mut n, mut letters) = (column + 1, Vec::new());
    while n > 0 {
        letters.push(char::from(b'A' + ((n - 1) % 26) as u8));
        n = (n - 1) / 26;
    }
    letters.iter().rev().collect::<String>() + &(row + 1).to_string()
}

/// Row and column of `B3`.
#[must_use]
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
pub fn read(bytes: &[u8], sheet: Option<&str>) -> Result<Grid, String> {
    if bytes.len() as u64 > MOST_BYTES {
        return Err("is larger than 16 MB; no certificate is".into());
    }
    if bytes.starts_with(b"PK") {
        measure(bytes)?;
        // A reader of other people's files should never panic; if it does, that is an answer too.
        let work = std::panic::AssertUnwindSafe(|| workbook(bytes, sheet));
        return std::panic::catch_unwind(work)
            .unwrap_or_else(|_| Err("is a damaged spreadsheet: it cannot be read".into()));
    }
    if bytes.starts_with(&[0xd0, 0xcf, 0x11, 0xe0]) {
        return Err("is an old or a locked spreadsheet; save it as XLSX without a password, or as CSV".into());
    }
    if bytes.starts_with(b"%PDF") {
        return Err("is a PDF; values come from XLSX or CSV. Attach the PDF as it is".into());
    }
    delimited(bytes)
}

/// Unpacks every part once without keeping it, so that nothing can grow past the bound later.
fn measure(bytes: &[u8]) -> Result<(), String> {
    let damaged =
        |e: &dyn std::fmt::Display| format!("is a damaged or cut-off spreadsheet ({e}); get it again");
    let mut zip = zip::ZipArchive::new(Cursor::new(bytes)).map_err(|e| damaged(&e))?;
    let mut total = 0;
    for i in 0..zip.len() {
        let part = zip.by_index(i).map_err(|e| damaged(&e))?;
        let left = MOST_UNPACKED - total;
        total += std::io::copy(&mut part.take(left + 1), &mut std::io::sink()).map_err(|e| damaged(&e))?;
        if total > MOST_UNPACKED {
            return Err(
                "unpacks to more than 32 MB; no certificate does. Copy its values into a sheet alone".into(),
            );
        }
    }
    Ok(())
}

fn workbook(bytes: &[u8], wanted: Option<&str>) -> Result<Grid, String> {
    let broken = |e: calamine::XlsxError| format!("is no spreadsheet that can be read ({e})");
    let mut book = Xlsx::new(Cursor::new(bytes)).map_err(broken)?;
    let all: Vec<(String, bool)> =
        book.sheets_metadata().iter().map(|s| (s.name.clone(), s.visible == SheetVisible::Visible)).collect();
    let visible: Vec<&str> = all.iter().filter(|s| s.1).map(|s| s.0.as_str()).collect();
    let mut grid = Grid::default();
    let name = match (wanted, visible.as_slice()) {
        (Some(name), _) => match all.iter().find(|s| s.0.eq_ignore_ascii_case(name)) {
            Some((name, true)) => name.clone(),
            Some((name, false)) => {
                return Err(format!("the sheet {} is hidden; show it and look at it first", shown(name)));
            }
            None => {
                let close = near(name, visible.iter().copied());
                return Err(format!(
                    "has no sheet {}{}; there are {}",
                    shown(name),
                    hint(&close),
                    visible.iter().map(|s| shown(s)).collect::<Vec<_>>().join(", ")
                ));
            }
        },
        (None, [one]) => (*one).to_string(),
        (None, []) => return Err("has no sheet to be seen".into()),
        (None, many) => {
            let many: Vec<_> = many.iter().map(|s| shown(s)).collect();
            return Err(format!("has several sheets; say which: --sheet {}", many.join(" or --sheet ")));
        }
    };
    for (hidden, _) in all.iter().filter(|s| !s.1) {
        grid.remarks.push(format!("hidden sheet {} was not read", shown(hidden)));
    }
    let merged = book.merge_cells_by_sheet_name(&name).map_err(broken)?;
    grid.merged = merged.iter().map(|d| (d.start, d.end)).collect();
    let mut cells = book.worksheet_cells_reader(&name).map_err(broken)?;
    while let Some(cell) = cells.next_cell_with_formula().map_err(broken)? {
        let held = match (cell.formula, cell.value) {
            (Some(f), value) if !f.is_empty() => {
                let f: String = f.chars().take(60).collect();
                Held::Odd(format!("the formula ={f} (last {value:?}); a certificate holds values"))
            }
            (_, DataRef::Empty) => continue,
            (_, DataRef::Int(v)) => Held::Number(v as f64),
            (_, DataRef::Float(v)) if v.is_finite() => Held::Number(v),
            (_, DataRef::String(t)) => Held::Text(t),
            (_, DataRef::SharedString(t)) => Held::Text(t.to_string()),
            (_, DataRef::DateTime(d)) => Held::Odd(format!("a date (day {} of the spreadsheet)", d.as_f64())),
            (_, DataRef::DateTimeIso(t) | DataRef::DurationIso(t)) => Held::Odd(format!("a date ({t})")),
            (_, DataRef::Bool(b)) => Held::Odd(format!("{b}, a yes or no")),
            (_, DataRef::Error(e)) => Held::Odd(format!("the error {e}")),
            (_, DataRef::Float(_)) => Held::Odd("no number".into()),
        };
        put(&mut grid, cell.pos, held)?;
    }
    grid.sheet = name;
    Ok(grid)
}

fn put(grid: &mut Grid, pos: (u32, u32), held: Held) -> Result<(), String> {
    if matches!(&held, Held::Text(t) if t.trim().is_empty()) {
        return Ok(());
    }
    if pos.0 >= MOST_ROWS || pos.1 >= MOST_COLUMNS || grid.cells.len() >= MOST_CELLS {
        return Err(format!(
            "goes on at {} beyond {MOST_ROWS} rows, {MOST_COLUMNS} columns or {MOST_CELLS} filled cells; no \
             certificate is that long",
            address(pos.0, pos.1)
        ));
    }
    grid.cells.insert(pos, held);
    Ok(())
}

fn delimited(bytes: &[u8]) -> Result<Grid, String> {
    let text = std::str::from_utf8(bytes)
        .map_err(|_| "is neither XLSX nor a CSV in UTF-8; save it again as one of them".to_string())?;
    let text = text.strip_prefix('\u{feff}').unwrap_or(text);
    if text.trim().is_empty() {
        return Err("is empty".into());
    }
    if text.contains('\0') {
        return Err("is neither XLSX nor a CSV: it holds bytes that are no text".into());
    }
    let head: String = text.lines().take(20).collect();
    let count = |c: char| head.matches(c).count();
    let delimiter = [';', '\t', ','].into_iter().max_by_key(|c| count(*c)).unwrap_or(',');
    let mut reader = csv::ReaderBuilder::new()
        .has_headers(false)
        .flexible(true)
        .delimiter(delimiter as u8)
        .from_reader(text.as_bytes());
    let mut grid = Grid::default();
    let mut row = csv::StringRecord::new();
    while reader.read_record(&mut row).map_err(|e| format!("cannot be read: {e}"))? {
        // Blank lines count, so that a cell's name is the one a spreadsheet shows.
        let r = row.position().map_or(0, |p| p.line() as u32 - 1);
        for (c, cell) in (0..).zip(&row) {
            put(&mut grid, (r, c), Held::Text(cell.trim().to_string()))?;
        }
    }
    Ok(grid)
}
