//! Spreadsheets as cells: XLSX, XLS and ODS.

use std::collections::{BTreeSet, HashSet};
use std::io::Cursor;

use calamine::{Data, ExcelDateTime, Ods, Range, Reader, SheetVisible, Xls, Xlsx};

use crate::exchange::grid::{CellValue, Grid, GridBounds, Moment, letters, put};
use crate::exchange::hidden::Hidden;
use crate::exchange::unread::{SheetHint, Unread};
use crate::exchange::{hidden, old_extent};
use crate::value::tag::{hint, near, shown};

/// Reads a sheet of a spreadsheet: the one named, else the only visible one.
pub(crate) fn read(bytes: &[u8], wanted: Option<&str>, bounds: &GridBounds) -> Result<Grid, Unread> {
    if !bytes.starts_with(b"PK") {
        return old(bytes, wanted, bounds);
    }
    // The first part of an ODS says what it is, unpacked.
    let head = &bytes[..bytes.len().min(128)];
    if head.windows(8).any(|w| w == b"mimetype") {
        return open_document(bytes, wanted, bounds);
    }
    modern(bytes, wanted, bounds)
}

/// XLSX and XLSM.
fn modern(bytes: &[u8], wanted: Option<&str>, bounds: &GridBounds) -> Result<Grid, Unread> {
    let broken = |e: calamine::XlsxError| format!("is not a readable spreadsheet ({e})");
    let mut book = Xlsx::new(Cursor::new(bytes)).map_err(broken)?;
    let mut grid = Grid::default();
    let name = choose(&sheets(&book), wanted, &mut grid)?;
    let merged = book.merge_cells_by_sheet_name(&name).map_err(broken)?;
    grid.merged = merged.iter().map(|d| (d.start, d.end)).collect();
    let mut cells = book.worksheet_cells_reader(&name).map_err(broken)?;
    let mut midnights = HashSet::new();
    while let Some(cell) = cells.next_cell_with_formula().map_err(broken)? {
        let Some(held) = held(cell.value.into()) else { continue };
        if matches!(held, CellValue::Moment(Moment { date: Some(_), time: None })) {
            midnights.insert(cell.pos);
        }
        let held = match cell.formula {
            Some(f) if !f.is_empty() => CellValue::Formula(f, Box::new(held)),
            _ => held,
        };
        put(&mut grid, cell.pos, held, bounds)?;
    }
    drop(cells);
    if !midnights.is_empty() {
        // A cell that shows hours holds a time, at midnight too; one that shows none holds a date.
        let mut styles = book.worksheet_cells_reader(&name).map_err(broken)?;
        while let Some((row, column, style)) = styles.next_style_id().map_err(broken)? {
            let format = styles.styles().get(style).and_then(|s| s.number_format.as_ref());
            if midnights.contains(&(row, column)) && format.is_some_and(|f| shows_hours(&f.format_code)) {
                if let Some(held) = grid.cells.get_mut(&(row, column)) {
                    at_midnight(held);
                }
            }
        }
    }
    match hidden::of_xlsx(bytes, &name) {
        Some(hidden) => say_hidden(&mut grid, &hidden),
        None => grid.remarks.push("whether it has hidden rows or columns could not be told".into()),
    }
    grid.sheet = name;
    Ok(grid)
}

/// XLS.
fn old(bytes: &[u8], wanted: Option<&str>, bounds: &GridBounds) -> Result<Grid, Unread> {
    let locked: Vec<u8> = "EncryptedPackage".encode_utf16().flat_map(u16::to_le_bytes).collect();
    if bytes.windows(locked.len()).any(|w| w == locked) {
        return Err("is locked with a password; save it as XLSX without one".into());
    }
    let broken = |e: calamine::XlsError| {
        format!(
            "is an old or a locked spreadsheet that cannot be read ({e}); save it as XLSX without a password, or as CSV"
        )
    };
    // The reader lays out every sheet whole.
    let Some(cells) = old_extent::extent(bytes) else {
        return Err("is an old or a locked spreadsheet that cannot be read; save it as XLSX without a password, or as CSV".into());
    };
    if cells > 8 * bounds.cells as u64 {
        return Err(format!(
            "spans {cells} cells; no {} is that long. Save the sheet alone, as XLSX",
            bounds.what
        )
        .into());
    }
    let mut book = Xls::new(Cursor::new(bytes)).map_err(broken)?;
    let mut grid = Grid::default();
    let name = choose(&sheets(&book), wanted, &mut grid)?;
    let merged = book.merge_cells_by_sheet_name(&name).map_err(broken)?;
    grid.merged = merged.iter().map(|d| (d.start, d.end)).collect();
    let (cells, formulas) =
        (book.worksheet_range(&name).map_err(broken)?, book.worksheet_formula(&name).map_err(broken)?);
    fill(&mut grid, &cells, &formulas, bounds)?;
    grid.remarks
        .push("hidden rows and columns of an XLS cannot be told; they were read like any other".into());
    grid.sheet = name;
    Ok(grid)
}

/// ODS.
fn open_document(bytes: &[u8], wanted: Option<&str>, bounds: &GridBounds) -> Result<Grid, Unread> {
    let tables = hidden::of_ods(bytes).ok_or("is a damaged spreadsheet: its content cannot be followed")?;
    // The reader lays out every table whole, and every cell as often as it says.
    for table in &tables {
        let (rows, columns) = table.extent;
        let most = bounds.cells as u64;
        if rows > bounds.rows.into()
            || columns > bounds.columns.into()
            || table.filled > most
            || rows * columns > 8 * most
        {
            return Err(format!(
                "has in sheet {} {rows} rows and {columns} columns; no {} is that long",
                shown(&table.name),
                bounds.what
            )
            .into());
        }
    }
    let broken = |e: calamine::OdsError| format!("is not a readable spreadsheet ({e})");
    let mut book = Ods::new(Cursor::new(bytes)).map_err(broken)?;
    let mut grid = Grid::default();
    let name = choose(&sheets(&book), wanted, &mut grid)?;
    let (cells, formulas) =
        (book.worksheet_range(&name).map_err(broken)?, book.worksheet_formula(&name).map_err(broken)?);
    fill(&mut grid, &cells, &formulas, bounds)?;
    if let Some(table) = tables.into_iter().find(|t| t.name == name) {
        grid.merged = table.merged;
        say_hidden(&mut grid, &table.hidden);
    }
    grid.sheet = name;
    Ok(grid)
}

/// Names of sheets, and whether each is to be seen.
fn sheets<T: std::io::Read + std::io::Seek, R: Reader<T>>(book: &R) -> Vec<(String, bool)> {
    book.sheets_metadata().iter().map(|s| (s.name.clone(), s.visible == SheetVisible::Visible)).collect()
}

fn choose(all: &[(String, bool)], wanted: Option<&str>, grid: &mut Grid) -> Result<String, Unread> {
    let visible: Vec<&str> = all.iter().filter(|s| s.1).map(|s| s.0.as_str()).collect();
    let name = match (wanted, visible.as_slice()) {
        (Some(name), _) => match all.iter().find(|s| s.0.eq_ignore_ascii_case(name)) {
            Some((name, true)) => name.clone(),
            Some((name, false)) => {
                return Err(
                    format!("the sheet {} is hidden; show it and look at it first", shown(name)).into()
                );
            }
            None => {
                let close = near(name, visible.iter().copied());
                return Err(format!(
                    "has no sheet {}{}; there are {}",
                    shown(name),
                    hint(&close),
                    visible.iter().map(|s| shown(s)).collect::<Vec<_>>().join(", ")
                )
                .into());
            }
        },
        (None, [one]) => (*one).to_string(),
        (None, []) => return Err("has no sheet to be seen".into()),
        (None, many) => {
            let names: Vec<_> = many.iter().map(|s| shown(s)).collect();
            let all = many.iter().map(|s| (*s).to_string()).collect();
            let message = format!("has several sheets, {}; which one", names.join(", "));
            return Err(Unread::hint(message, SheetHint::Sheets(all)));
        }
    };
    for (other, visible) in all.iter().filter(|s| s.0 != name) {
        let hidden = if *visible { "" } else { "hidden " };
        grid.remarks.push(format!("{hidden}sheet {} was not read", shown(other)));
    }
    Ok(name)
}

fn fill(
    grid: &mut Grid,
    cells: &Range<Data>,
    formulas: &Range<String>,
    bounds: &GridBounds,
) -> Result<(), String> {
    let (top, left) = cells.start().unwrap_or_default();
    for (row, column, data) in cells.used_cells() {
        let pos = (top + row as u32, left + column as u32);
        let Some(held) = held(data.clone()) else { continue };
        let held = match formulas.get_value(pos) {
            Some(f) if !f.is_empty() => CellValue::Formula(f.clone(), Box::new(held)),
            _ => held,
        };
        put(grid, pos, held, bounds)?;
    }
    Ok(())
}

fn held(value: Data) -> Option<CellValue> {
    Some(match value {
        Data::Empty => return None,
        Data::Int(v) => CellValue::Number(v as f64),
        Data::Float(v) if v.is_finite() => CellValue::Number(v),
        Data::Float(_) => CellValue::Odd("no number".into()),
        Data::String(t) => CellValue::Text(t),
        Data::DateTime(d) => CellValue::Moment(moment(&d)),
        Data::DateTimeIso(t) => iso(&t).map_or_else(|| CellValue::Text(t), CellValue::Moment),
        Data::DurationIso(t) => duration(&t).map_or_else(|| CellValue::Text(t), CellValue::Moment),
        Data::Bool(b) => CellValue::Truth(b),
        Data::Error(e) => CellValue::Odd(format!("the error {e}")),
    })
}

fn moment(d: &ExcelDateTime) -> Moment {
    let (y, mo, day, h, mi, s, ms) = d.to_ymd_hms_milli();
    // Below one day there is no date; a whole number of days is a date alone, unless the cell shows hours.
    let date = (!d.is_duration() && d.as_f64() >= 1.0).then_some((y, mo, day));
    let time = (date.is_none() || (h, mi, s, ms) != (0, 0, 0, 0)).then_some((h, mi, s, ms));
    Moment { date, time }
}

/// `2031-03-04`, or `2031-03-04T07:45:00`.
fn iso(text: &str) -> Option<Moment> {
    let (date, time) = text.split_once('T').map_or((text, None), |(d, t)| (d, Some(t)));
    let mut figures = date.split('-');
    let date = (figures.next()?.parse().ok()?, figures.next()?.parse().ok()?, figures.next()?.parse().ok()?);
    let time = match time {
        None => None,
        Some(time) => {
            let mut figures = time.split(':');
            let (h, m) = (figures.next()?.parse().ok()?, figures.next()?.parse().ok()?);
            let seconds: f64 = figures.next().unwrap_or("0").parse().ok()?;
            Some(clock(h, m, seconds)?)
        }
    };
    Some(Moment { date: Some(date), time })
}

/// `PT07H45M00S`, a time of day.
fn duration(text: &str) -> Option<Moment> {
    let (hours, rest) = text.strip_prefix("PT")?.split_once('H')?;
    let (minutes, rest) = rest.split_once('M')?;
    let seconds: f64 = rest.strip_suffix('S')?.parse().ok()?;
    Some(Moment { date: None, time: Some(clock(hours.parse().ok()?, minutes.parse().ok()?, seconds)?) })
}

fn clock(h: u8, m: u8, seconds: f64) -> Option<(u8, u8, u8, u16)> {
    let ms = (seconds * 1000.0).round();
    ((0.0..60_000.0).contains(&ms) && h < 24 && m < 60).then_some((
        h,
        m,
        (ms / 1000.0) as u8,
        (ms % 1000.0) as u16,
    ))
}

/// The format of a cell shows a time of day.
fn shows_hours(code: &str) -> bool {
    let (mut quoted, mut bracket, mut escaped) = (false, false, false);
    code.chars().any(|c| {
        if std::mem::take(&mut escaped) {
            return false;
        }
        match c {
            '\\' => escaped = true,
            '"' => quoted = !quoted,
            '[' => bracket = !quoted,
            ']' => bracket = false,
            'h' | 'H' => return !quoted && !bracket,
            _ => {}
        }
        false
    })
}

fn at_midnight(held: &mut CellValue) {
    match held {
        CellValue::Formula(_, value) => at_midnight(value),
        CellValue::Moment(moment) => moment.time = Some((0, 0, 0, 0)),
        _ => {}
    }
}

/// Hidden rows and columns that hold something are said. They are read like any other: a filter hides rows, too.
fn say_hidden(grid: &mut Grid, hidden: &Hidden) {
    let rows = |runs: &[(u32, u32)], one: &dyn Fn(u32) -> String, held: &dyn Fn(u32, u32) -> bool| {
        let runs = runs.iter().filter(|(a, b)| held(*a, *b));
        let text = |(a, b): &(u32, u32)| if a == b { one(*a) } else { format!("{} to {}", one(*a), one(*b)) };
        runs.map(text).collect::<Vec<_>>().join(", ")
    };
    let in_rows = |a: u32, b: u32| grid.cells.range((a, 0)..=(b, u32::MAX)).next().is_some();
    let used: BTreeSet<u32> = grid.cells.keys().map(|k| k.1).collect();
    let in_columns = |a: u32, b: u32| used.range(a..=b).next().is_some();
    let row = |r: u32| (u64::from(r) + 1).to_string();
    let said = [
        ("rows", rows(&hidden.rows, &row, &in_rows)),
        ("columns", rows(&hidden.columns, &letters, &in_columns)),
    ];
    for (what, runs) in said {
        if !runs.is_empty() {
            grid.remarks.push(format!("hidden {what}, read like any other: {runs}"));
        }
    }
}
