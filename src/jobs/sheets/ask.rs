//! A shop's own sheets (spreadsheets, CSV): looked at, mapped once, taken over.

use std::collections::{BTreeMap, HashSet};
use std::io::Read;
use std::path::Path;

use serde::Serialize;

use crate::jobs::file::bundle::{FileFault, ImportProgress, Imported, import_rows};
use crate::jobs::sheets::texts::TitleRows;
use records::catalogue;
use records::catalogue::Settings;
use records::catalogue::kind::Kind;
use records::check::Fault;
pub use records::exchange::cells::{Habits, Order};
use records::exchange::grid;
use records::exchange::grid::{Grid, letters};
pub use records::exchange::mapped::Mapping;
use records::exchange::mapped::Rows;
use records::exchange::propose;
use records::exchange::tables;
use records::exchange::tables::Table;
use records::exchange::titles::titles;
use records::exchange::unread::{SheetHint, Unread};
use records::file::paths::open_plain;
use records::value::tag;
use records::value::tag::shown;
use records::{Error, Hint, Result, Store, Who};

/// What a sheet holds, before it is mapped.
#[derive(Serialize, Debug, Clone, Default)]
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
    /// Its tables, where it has several: name and place.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub tables: Vec<String>,
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
    /// The field that it may be.
    pub field: Option<String>,
}

/// Looks at a sheet: its columns, their first values, the fields that may be meant.
pub fn look(
    file: &Path,
    (sheet, table): (Option<&str>, Option<&str>),
    header: Option<TitleRows>,
    kind: Option<&str>,
) -> Result<SheetLook> {
    let kind = kind.map(catalogue::find).transpose().map_err(Error::input)?;
    let file = SheetFile::read(file)?;
    let part = part(&file.grid(sheet)?, table, header, &file.name)?;
    let mut out = part.look();
    if let Some(kind) = kind {
        let columns = propose::columns(&part.grid, part.head, &|_| None);
        for guess in propose::guesses(&columns, kind, &[], &[]) {
            out.means(&guess.field, &guess.column);
        }
        out.kind = Some(kind.name.to_string());
        let fields = |must: bool| kind.fields.iter().filter(|f| f.optional != must).map(|f| f.name).collect();
        (out.must, out.may) = (fields(true), fields(false));
    }
    Ok(out)
}

/// A sheet without anything on it.
const EMPTY: &str = "is empty: no cell of the sheet holds anything";

/// The part of a sheet that is meant: a table of it, or all of it.
pub(crate) struct Part {
    pub(crate) grid: Grid,
    /// First and last row of its titles, from 0.
    pub(crate) head: (u32, u32),
    /// All tables of the sheet.
    pub(crate) tables: Vec<Table>,
    /// What stands above it alone.
    pub(crate) name: String,
}

/// The table that is asked for, else the whole sheet; its titles where the person says, else where they seem to be.
pub(crate) fn part(
    grid: &Grid,
    table: Option<&str>,
    header: Option<TitleRows>,
    called: &str,
) -> Result<Part> {
    let named = |unread: Unread| unread.error(&format!("{}: ", shown(called)));
    if grid.cells.is_empty() {
        return Err(named(EMPTY.into()));
    }
    let all = tables::tables(grid);
    let (grid, head, name) = match table {
        Some(wanted) => {
            let one = tables::find(&all, wanted).map_err(named)?;
            (tables::part(grid, &all, one), one.head, one.name.clone())
        }
        None => {
            let first = all.first().map_or(((0, 0), String::new()), |t| (t.head, t.name.clone()));
            (grid.clone(), first.0, first.1)
        }
    };
    if header.is_some_and(|(from, to)| from == 0 || to.is_some_and(|to| to < from)) {
        let message = "the rows of the titles are counted from 1, the first of them first";
        return Err(named(Unread::hint(message, SheetHint::Titles)));
    }
    let given = header.map(|(from, to)| {
        let from = from.saturating_sub(1);
        (from, to.map_or(from, |to| to.saturating_sub(1).max(from)))
    });
    Ok(Part { grid, head: given.unwrap_or(head), tables: all, name })
}

impl Part {
    /// Its columns and their first values.
    pub(crate) fn look(&self) -> SheetLook {
        let (head, to) = self.head;
        let titles: BTreeMap<u32, String> = titles(&self.grid, head, to).into_iter().collect();
        // A column without a title holds something all the same.
        let mut columns: BTreeMap<u32, SheetColumn> =
            titles.into_iter().map(|(at, title)| (at, SheetColumn::of(at, title))).collect();
        for ((_, at), held) in self.grid.cells.range((to + 1, 0)..) {
            let column = columns.entry(*at).or_insert_with(|| SheetColumn::of(*at, String::new()));
            if column.values.len() < 3 {
                column.values.push(held.text().chars().take(30).collect());
            }
        }
        SheetLook {
            sheet: self.grid.sheet.clone(),
            header: head + 1,
            header_to: (to > head).then_some(to + 1),
            rows: self.grid.last_row().saturating_sub(to),
            columns: columns.into_values().collect(),
            tables: if self.tables.len() > 1 {
                self.tables.iter().map(Table::called).collect()
            } else {
                Vec::new()
            },
            remarks: self.grid.remarks.clone(),
            ..SheetLook::default()
        }
    }
}

impl SheetLook {
    /// Writes a field beside its column, or its two columns.
    pub(crate) fn means(&mut self, field: &str, name: &str) {
        let is = |c: &SheetColumn, n: &str| {
            c.title.eq_ignore_ascii_case(n)
                || n.strip_prefix('#').is_some_and(|l| c.letter.eq_ignore_ascii_case(l))
        };
        let named: Vec<&str> = match self.columns.iter().any(|c| is(c, name)) {
            true => vec![name],
            false => name.split('+').collect(),
        };
        for column in &mut self.columns {
            if named.iter().any(|n| is(column, n)) {
                column.field = Some(field.to_string());
            }
        }
    }
}

impl SheetColumn {
    fn of(at: u32, title: String) -> Self {
        Self { letter: letters(at), title, values: Vec::new(), field: None }
    }
}

/// A file of one or several sheets.
pub(crate) struct SheetFile {
    /// As the person wrote it.
    path: String,
    /// Its name without the folder.
    pub(crate) name: String,
    bytes: Vec<u8>,
}

impl SheetFile {
    pub(crate) fn read(file: &Path) -> Result<Self> {
        let path = shown(&file.to_string_lossy()).into_owned();
        let named = |message: String| Error::input(format!("{path}: {message}"));
        let cannot = |e: std::io::Error| named(format!("cannot be read: {e}"));
        let (mut opened, mut bytes) = (open_plain(file).map_err(cannot)?, Vec::new());
        let size = opened.metadata().map_err(cannot)?.len();
        grid::SHEET.admit(size).map_err(named)?;
        opened.by_ref().take(size).read_to_end(&mut bytes).map_err(cannot)?;
        let name = file.file_name().map(|n| n.to_string_lossy().into_owned()).unwrap_or_default();
        Ok(Self { path, name, bytes })
    }

    /// The sheet of a name, else the only visible one.
    pub(crate) fn grid(&self, sheet: Option<&str>) -> Result<Grid> {
        grid::read(&self.bytes, sheet, &grid::SHEET)
            .map_err(|unread| unread.error(&format!("{}: ", self.path)))
    }
}

pub(crate) fn kind_of(mapping: &Mapping) -> Result<&'static Kind> {
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

/// The name of a mapping's setting begins so.
const KEPT: &str = "sheet mapping ";

fn key(name: &str) -> String {
    format!("{KEPT}{}", tag::folded(name))
}

/// The kept mappings whose columns all stand in a sheet: name, kind.
pub(crate) fn fitting(store: &Store, grid: &Grid) -> Result<Vec<(String, String)>> {
    let mut out = Vec::new();
    for setting in store.rows::<Settings>()? {
        let named = setting.get(Settings::setting).and_then(|s| s.strip_prefix(KEPT));
        let (Some(name), Some(text)) = (named, setting.get(Settings::value)) else { continue };
        if let Some(mapping) = serde_json::from_str::<Mapping>(text).ok().filter(|m| m.fits(grid)) {
            out.push((name.to_string(), mapping.kind));
        }
    }
    Ok(out)
}

/// A mapping that was kept.
pub fn mapping(store: &Store, name: &str) -> Result<Mapping> {
    let text = store.setting(&key(name))?.ok_or_else(|| {
        Error::input(format!("there is no mapping {}", shown(name))).hint(Hint::MakeMapping)
    })?;
    serde_json::from_str(&text).map_err(|e| Error::untrusted(format!("the mapping {}: {e}", shown(name))))
}

/// A mapping by its name, and what stands in place of its own.
#[derive(Debug, Clone, Copy)]
pub struct KeptMapping<'a> {
    pub name: &'a str,
    /// The sheet.
    pub sheet: Option<&'a str>,
    /// The table of the sheet.
    pub table: Option<&'a str>,
}

/// Takes over the rows of a sheet by a mapping; all or nothing. Faults name the sheet's own rows and columns.
pub fn import(
    store: &mut Store,
    who: &Who,
    file: &Path,
    by: KeptMapping,
    check: bool,
    progress: ImportProgress,
) -> Result<Imported> {
    let mut mapping = mapping(store, by.name)?;
    mapping.table = by.table.map(str::to_string).or(mapping.table);
    let file = SheetFile::read(file)?;
    let grid = file.grid(by.sheet.or(mapping.sheet.as_deref()))?;
    if grid.cells.is_empty() {
        return Err(Error::input(format!("{}: {EMPTY}", shown(&file.name))));
    }
    let rows = mapping.rows(&grid, kind_of(&mapping)?, &store.own_fields()?);
    take_over(store, who, (&file.name, kind_of(&mapping)?, &rows), check, progress)
}

/// The same of rows that were read.
pub(crate) fn take_over(
    store: &mut Store,
    who: &Who,
    (called, kind, rows): (&str, &'static Kind, &Rows),
    check: bool,
    progress: ImportProgress,
) -> Result<Imported> {
    let faults: Vec<FileFault> =
        rows.faults.iter().map(|(row, fault)| FileFault::new(called, *row, fault.clone())).collect();
    let already = faults.len();
    if rows.lines.is_empty() {
        let (remarks, left_out) = (rows.remarks.clone(), rows.left_out.clone());
        let mut out = Imported { faults, remarks, left_out, ..Imported::default() };
        if already == 0 {
            let fault = Fault::new("", "", "no row stands below the titles that would be a record");
            out.faults.push(FileFault::new(called, rows.head.into(), fault));
        }
        return Ok(out);
    }
    let mut out = import_rows(store, who, (called, kind, &rows.csv), faults, check, progress)?;
    (out.remarks, out.left_out) = (rows.remarks.clone(), rows.left_out.clone());
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
