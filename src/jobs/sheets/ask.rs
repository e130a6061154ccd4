//! A shop's own sheets (spreadsheets, CSV): looked at, mapped once, taken over.

use std::collections::{BTreeSet, HashSet};
use std::io::Read;
use std::path::Path;

use serde::Serialize;

use crate::jobs::file::bundle::{FileFault, ImportProgress, Imported, import_rows};
use records::catalogue;
use records::catalogue::kind::Kind;
pub use records::exchange::cells::{Habits, Order};
use records::exchange::grid;
use records::exchange::grid::{Grid, letters};
pub use records::exchange::mapped::Mapping;
use records::exchange::titles::{bare, titles};
use records::file::paths::open_plain;
use records::value::tag;
use records::value::tag::{near, shown};
use records::{Error, Hint, Result, Store, Who};

/// What a sheet holds, before it is mapped.
#[derive(Serialize, Debug, Clone)]
pub struct SheetLook {
    /// The sheet; empty for a CSV.
    pub sheet: String,
    /// Row of the titles, from 1.
    pub header: u32,
    /// The last of them, where they stand in several.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub header_to: Option<u32>,
    /// Rows below it.
    pub rows: u32,
    pub columns: Vec<SheetColumn>,
    /// The kind that was asked about.
    pub kind: Option<String>,
    /// Its fields that must be filled.
    pub must: Vec<&'static str>,
    /// Its fields that may be.
    pub may: Vec<&'static str>,
    /// What was left out.
    pub remarks: Vec<String>,
}

/// A column.
#[derive(Serialize, Debug, Clone)]
pub struct SheetColumn {
    pub letter: String,
    pub title: String,
    /// Its first values.
    pub values: Vec<String>,
    /// A field of nearly that name.
    pub field: Option<&'static str>,
}

/// Looks at a sheet: its columns, their first values, the fields that may be meant.
pub fn look(
    file: &Path,
    sheet: Option<&str>,
    header: Option<(u32, Option<u32>)>,
    kind: Option<&str>,
) -> Result<SheetLook> {
    let kind = kind.map(catalogue::find).transpose().map_err(Error::input)?;
    let grid = read(file, sheet)?;
    // The titles are the first row that is more than a heading of the whole sheet.
    let full = |row: &u32| grid.cells.range((*row, 0)..=(*row, u32::MAX)).count() > 1;
    let first = || (0..=grid.last_row()).find(full).unwrap_or(0);
    let head = header.map_or_else(first, |h| h.0.saturating_sub(1));
    let header_to = header.and_then(|h| h.1);
    let to = header_to.map_or(head, |to| to.saturating_sub(1).max(head));
    let mut columns: Vec<SheetColumn> =
        titles(&grid, head, to).into_iter().map(|(at, t)| column(&grid, to, at, t)).collect();
    // A column without a title holds something all the same.
    for at in grid.cells.range((to + 1, 0)..).map(|((_, c), _)| *c).collect::<BTreeSet<u32>>() {
        if columns.iter().all(|c| c.letter != letters(at)) {
            columns.push(column(&grid, to, at, String::new()));
        }
    }
    columns.sort_by(|a, b| (a.letter.len(), &a.letter).cmp(&(b.letter.len(), &b.letter)));
    if let Some(kind) = kind {
        let mut taken: Vec<&str> = Vec::new();
        for column in columns.iter_mut().filter(|c| !c.title.is_empty()) {
            let name = bare(&column.title).to_lowercase().replace([' ', '-', '.'], "_");
            let free = kind.all_fields().map(|f| f.name).filter(|f| !taken.contains(f));
            column.field = near(name.trim_matches('_'), free).first().and_then(|f| Some(kind.field(f)?.name));
            taken.extend(column.field);
        }
    }
    let fields = |must: bool| -> Vec<&'static str> {
        kind.map_or(Vec::new(), |k| k.fields.iter().filter(|f| f.optional != must).map(|f| f.name).collect())
    };
    Ok(SheetLook {
        sheet: grid.sheet.clone(),
        header: head + 1,
        header_to,
        rows: grid.last_row().saturating_sub(to),
        columns,
        kind: kind.map(|k| k.name.to_string()),
        must: fields(true),
        may: fields(false),
        remarks: grid.remarks,
    })
}

fn column(grid: &Grid, head: u32, at: u32, title: String) -> SheetColumn {
    let below = (head + 1..=grid.last_row()).filter_map(|r| grid.at(r, at));
    SheetColumn {
        letter: letters(at),
        title,
        values: below.take(3).map(|held| held.text().chars().take(30).collect()).collect(),
        field: None,
    }
}

fn read(file: &Path, sheet: Option<&str>) -> Result<Grid> {
    let named = |message: String| Error::input(format!("{}: {message}", shown(&file.to_string_lossy())));
    let cannot = |e: std::io::Error| named(format!("cannot be read: {e}"));
    let (mut opened, mut bytes) = (open_plain(file).map_err(cannot)?, Vec::new());
    let size = opened.metadata().map_err(cannot)?.len();
    grid::SHEET.admit(size).map_err(named)?;
    opened.by_ref().take(size).read_to_end(&mut bytes).map_err(cannot)?;
    let about = format!("{}: ", shown(&file.to_string_lossy()));
    grid::read(&bytes, sheet, &grid::SHEET).map_err(|unread| unread.error(&about))
}

fn kind_of(mapping: &Mapping) -> Result<&'static Kind> {
    catalogue::find(&mapping.kind).map_err(Error::input)
}

/// Keeps a mapping under a name in the store.
///
/// # Errors
/// A field that the kind has not or that is missing, one of that name is there and the person is not quality, or the
/// store cannot be written.
pub fn learn(store: &mut Store, who: &Who, name: &str, mapping: &Mapping) -> Result<()> {
    tag::check(name).map_err(|e| Error::input(format!("{}: {e}", shown(name))))?;
    mapping.check(kind_of(mapping)?, &store.own_fields()?).map_err(|unread| unread.error(""))?;
    let text = serde_json::to_string(mapping).map_err(|e| Error::input(e.to_string()))?;
    store.keep_setting(who, &key(name), &text).map(|_| ())
}

fn key(name: &str) -> String {
    format!("sheet mapping {}", tag::folded(name))
}

/// A mapping that was kept.
pub fn mapping(store: &Store, name: &str) -> Result<Mapping> {
    let text = store.setting(&key(name))?.ok_or_else(|| {
        Error::input(format!("there is no mapping {}", shown(name))).hint(Hint::MakeMapping)
    })?;
    serde_json::from_str(&text).map_err(|e| Error::untrusted(format!("the mapping {}: {e}", shown(name))))
}

/// Takes over the rows of a sheet by a mapping; all or nothing. Faults name the sheet's own rows and columns.
pub fn import(
    store: &mut Store,
    who: &Who,
    file: &Path,
    (name, sheet): (&str, Option<&str>),
    check: bool,
    progress: ImportProgress,
) -> Result<Imported> {
    let mapping = mapping(store, name)?;
    let kind = kind_of(&mapping)?;
    let grid = read(file, sheet.or(mapping.sheet.as_deref()))?;
    let rows = mapping.rows(&grid, kind, &store.own_fields()?);
    let called = file.file_name().map(|n| n.to_string_lossy().into_owned()).unwrap_or_default();
    let faults: Vec<FileFault> =
        rows.faults.iter().map(|(row, fault)| FileFault::new(&called, *row, fault.clone())).collect();
    let already = faults.len();
    if rows.lines.is_empty() {
        let mut out =
            Imported { faults, remarks: rows.remarks, left_out: rows.left_out, ..Imported::default() };
        if already == 0 {
            out.remarks.push("no rows below the titles".into());
        }
        return Ok(out);
    }
    let mut out = import_rows(store, who, (&called, kind, &rows.csv), faults, check, progress)?;
    (out.remarks, out.left_out) = (rows.remarks, rows.left_out);
    // A cell that could not be read stands blank in the text, and is not at fault twice.
    let broken: HashSet<(u64, &str)> =
        rows.unread.iter().map(|(row, title)| (*row, title.as_str())).collect();
    for mut fault in out.faults.split_off(already) {
        let at = rows.lines.partition_point(|l| l.0 <= fault.line);
        fault.line = at.checked_sub(1).and_then(|i| rows.lines.get(i)).map_or(fault.line, |l| l.1);
        if let Some((field, title)) = rows.titles.iter().find(|t| t.0 == fault.column) {
            fault.message = format!("{field}: {}", fault.message);
            fault.column.clone_from(title);
        }
        if !broken.contains(&(fault.line, fault.column.as_str())) {
            out.faults.push(fault);
        }
    }
    out.faults.sort_by_key(|f| f.line);
    Ok(out)
}
