//! A shop's own sheet as the rows of one record kind, by a mapping that says which column is what.

use std::collections::{BTreeMap, HashMap, HashSet};

use serde::{Deserialize, Serialize};

use crate::catalogue::Holds;
use crate::catalogue::field::Type;
use crate::catalogue::kind::Kind;
use crate::check;
use crate::check::{Fault, OwnField};
use crate::exchange::cells;
use crate::exchange::cells::{Habits, Seen, Wanted, unit_of};
use crate::exchange::grid::{CellValue, Grid, address, letters};
use crate::exchange::guarded;
use crate::exchange::tag_pattern::{made_tag, names};
use crate::exchange::titles::{find, title_unit, titles};
use crate::value::words::counted;
use crate::{Record, Value};

/// Where a shop's sheet holds the records of one kind. Columns are named by their title, or by letter as `#C`.
#[derive(Serialize, Deserialize, Debug, Clone, Default, PartialEq)]
pub struct Mapping {
    pub kind: String,
    /// The row of the titles, from 1.
    pub header: u32,
    /// Sheet; none: the only visible one.
    pub sheet: Option<String>,
    /// Field, and its column; `DATE+TIME` joins two.
    pub columns: Vec<(String, String)>,
    /// Field, and what stands in every row.
    pub fill: Vec<(String, String)>,
    /// Field, what the sheet says, what a record says.
    pub words: Vec<(String, String, String)>,
    /// Rows in which these are blank are left out.
    pub only: Vec<String>,
    /// The last row of the titles, where they stand in several.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub header_to: Option<u32>,
    /// The tag of what has none of its own in the sheet: `{blade}-{method}-{n}`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub tag: Option<String>,
    /// How the shop writes.
    pub habits: Habits,
}

/// The rows of a sheet.
#[derive(Debug, Default)]
pub struct Rows {
    /// As a bundle holds them, with a header.
    pub csv: Vec<u8>,
    /// Line of the text on which a row begins, row of the sheet; both from 1.
    pub lines: Vec<(u64, u64)>,
    /// Field, title of its column.
    pub titles: Vec<(String, String)>,
    /// Row of the sheet, fault.
    pub faults: Vec<(u64, Fault)>,
    /// What was left out, or taken as meant.
    pub remarks: Vec<String>,
    /// What of the sheet stands in no record.
    pub left_out: LeftOut,
    /// Row and title of the cells that were not read: they stand blank in the text.
    pub unread: Vec<(u64, String)>,
}

/// Rows and columns of a sheet that stand in no record. What is in neither of them was taken, or is at fault.
#[derive(Serialize, Debug, Clone, Default, PartialEq)]
pub struct LeftOut {
    /// Rows, from 1: first and last of each run.
    pub rows: Vec<(u64, u64)>,
    /// Columns: letter, title.
    pub columns: Vec<(String, String)>,
}

impl LeftOut {
    fn row(&mut self, row: u64) {
        run(&mut self.rows, row);
    }

    /// Nothing is left out.
    pub fn is_empty(&self) -> bool {
        self.rows.is_empty() && self.columns.is_empty()
    }
}

fn run(runs: &mut Vec<(u64, u64)>, row: u64) {
    match runs.last_mut() {
        Some(last) if last.1 + 1 == row => last.1 = row,
        _ => runs.push((row, row)),
    }
}

/// Rows of one sort that are left out or taken in some way.
#[derive(Default)]
struct Sort {
    count: usize,
    runs: Vec<(u64, u64)>,
    /// What stands in the first of them.
    first: Vec<String>,
}

impl Sort {
    /// Few enough to show what stands in them.
    const SHOWN: usize = 3;
    /// So many runs of rows are named in a sentence; all of them stand in the answer as data.
    const NAMED: usize = 40;

    fn add(&mut self, grid: &Grid, row: u32) {
        self.count += 1;
        run(&mut self.runs, u64::from(row) + 1);
        if self.count <= Self::SHOWN {
            let cells = grid.cells.range((row, 0)..=(row, u32::MAX)).take(4);
            let cells: Vec<String> =
                cells.map(|(_, held)| held.text().trim().chars().take(30).collect()).collect();
            self.first.push(cells.join(" | "));
        }
    }

    fn said(&self, what: &str) -> Option<String> {
        if self.count == 0 {
            return None;
        }
        let one = |(a, b): &(u64, u64)| if a == b { a.to_string() } else { format!("{a} to {b}") };
        let rows: Vec<String> = match self.count {
            1..=Self::SHOWN => {
                let all = self.runs.iter().flat_map(|(a, b)| *a..=*b).zip(&self.first);
                all.map(|(row, text)| format!("{row}: {text}")).collect()
            }
            _ => self.runs.iter().take(Self::NAMED).map(one).collect(),
        };
        let more: u64 = self.runs.iter().skip(Self::NAMED).map(|(a, b)| b - a + 1).sum();
        let more =
            if more > 0 && self.count > Self::SHOWN { format!(" and {more} more") } else { String::new() };
        Some(format!("{}: {what} (row {}{more})", counted(self.count, "row"), rows.join(", ")))
    }
}

/// A field that is filled from the sheet.
struct Column {
    field: String,
    ty: Type,
    unit: &'static str,
    must: bool,
    at: Vec<u32>,
    title: String,
    seen: Seen,
}

/// What became of the cells of a row.
enum Line {
    /// Nothing of it is asked for.
    Out,
    /// It adds up what stands above.
    Total,
    Taken(Taken),
}

#[derive(Default)]
struct Taken {
    cells: Vec<String>,
    /// Fields whose time of day was given.
    by_hour: Vec<String>,
    formulas: usize,
    day_numbers: usize,
}

/// The field's type, among the kind's and a foundry's own.
fn type_of(kind: &Kind, own: &[OwnField], field: &str) -> Option<Type> {
    let of_own = || own.iter().find(|o| o.record == kind.name && o.name == field).map(OwnField::holds);
    kind.field(field).map(|f| f.ty).or_else(of_own)
}

impl Mapping {
    /// The fields that it names are the kind's, each once.
    ///
    /// # Errors
    /// What is wrong, and what would be right.
    pub fn check(&self, kind: &Kind, own: &[OwnField]) -> Result<(), String> {
        if self.header == 0 {
            return Err("--header is the row of the columns' titles, counted from 1".into());
        }
        if self.header_to.is_some_and(|to| to < self.header || to - self.header > 4) {
            return Err("--header 2-3 names the first and the last row of the titles, five at most".into());
        }
        self.habits.check()?;
        let mut filled: Vec<&str> = self.columns.iter().chain(&self.fill).map(|c| c.0.as_str()).collect();
        if let Some(pattern) = &self.tag {
            let Some(own_tag) = kind.tag_field() else {
                return Err(format!("a {} has no tag of its own, and takes no --tag", kind.noun));
            };
            for name in names(pattern)? {
                if !matches!(name, "n" | "row") && !filled.contains(&name) {
                    return Err(format!(
                        "--tag {pattern}: {name} is no field that is filled; {{n}} counts, {{row}} is the row"
                    ));
                }
            }
            filled.push(own_tag.name);
        }
        for (i, field) in filled.iter().enumerate() {
            if type_of(kind, own, field).is_none() {
                return Err(check::unknown_field(kind, field, own));
            }
            if filled[..i].contains(field) {
                return Err(format!("{field} is named twice: one column, or --fill"));
            }
        }
        let asked = self.words.iter().map(|w| &w.0).chain(&self.only);
        for field in asked {
            if !self.columns.iter().any(|c| c.0 == *field) {
                return Err(format!("{field} has no column: {field}=COLUMN"));
            }
        }
        let missing = |f: &&crate::catalogue::field::FieldInfo| {
            !f.optional && !filled.contains(&f.name) && (!kind.is::<Holds>() || !f.key)
        };
        let missing: Vec<&str> = kind.fields.iter().filter(missing).map(|f| f.name).collect();
        if !missing.is_empty() {
            let how = "FIELD=COLUMN, or --fill FIELD=VALUE where it is the same in every row";
            return Err(format!("{} must be filled: {how}", missing.join(", ")));
        }
        Ok(())
    }

    /// The last row of the titles, from 1.
    fn titles_to(&self) -> u32 {
        self.header_to.unwrap_or(self.header)
    }

    /// The rows of a sheet as a bundle holds them.
    pub fn rows(&self, grid: &Grid, kind: &'static Kind, own: &[OwnField]) -> Rows {
        let mut out = Rows { remarks: grid.remarks.clone(), ..Rows::default() };
        let columns = self.columns(grid, kind, own, &mut out);
        if !out.faults.is_empty() {
            return out;
        }
        self.merged(grid, &columns, &mut out);
        out.titles = columns.iter().map(|c| (c.field.clone(), c.title.clone())).collect();
        let mut fields: Vec<&str> = columns.iter().map(|c| c.field.as_str()).collect();
        fields.extend(self.fill.iter().map(|f| f.0.as_str()));
        let note = fields.iter().position(|f| *f == "note").unwrap_or_else(|| {
            fields.push("note");
            fields.len() - 1
        });
        let tag = self.tag.as_ref().zip(kind.tag_field()).map(|(pattern, field)| {
            fields.push(field.name);
            (pattern, fields.len() - 1)
        });
        let key: Vec<usize> =
            kind.key_fields().filter_map(|k| fields.iter().position(|f| *f == k.name)).collect();
        // What gets its tag from a pattern is a record of its own, however alike it looks.
        let whole_key = tag.is_none() && key.len() == kind.key_fields().count();
        let tags: Vec<bool> = fields
            .iter()
            .map(|f| matches!(type_of(kind, own, f), Some(Type::Tag | Type::Ref(_) | Type::AnyTag)))
            .collect();
        let mut csv = csv::Writer::from_writer(Vec::new());
        let mut line = 1 + put(&mut csv, &fields);
        let (mut seen, mut numbers) = (HashSet::new(), HashMap::new());
        let (mut above, mut again, mut left, mut totals) =
            (Sort::default(), Sort::default(), Sort::default(), Sort::default());
        let (mut formulas, mut hours, mut days) = (0, 0, 0);
        let mut asked: HashMap<String, usize> = HashMap::new();
        let filled = |row: u32| grid.cells.range((row, 0)..=(row, u32::MAX)).next().is_some();
        for row in (0..self.header - 1).filter(|r| filled(*r)) {
            above.add(grid, row);
            out.left_out.row(u64::from(row) + 1);
        }
        for row in self.titles_to()..=grid.last_row() {
            let at = u64::from(row) + 1;
            let taken = match self.row(grid, row, &columns, &mut asked, &mut out) {
                Line::Taken(taken) => taken,
                Line::Out if !filled(row) => continue,
                Line::Out => {
                    left.add(grid, row);
                    out.left_out.row(at);
                    continue;
                }
                Line::Total => {
                    totals.add(grid, row);
                    out.left_out.row(at);
                    continue;
                }
            };
            let Taken { mut cells, by_hour, formulas: counted, day_numbers } = taken;
            (formulas, days) = (formulas + counted, days + day_numbers);
            cells.resize(fields.len(), String::new());
            for (i, (_, value)) in self.fill.iter().enumerate() {
                cells[columns.len() + i] = value.clone();
            }
            if let Some((pattern, i)) = tag {
                cells[i] = made_tag(pattern, &fields, &cells, at, &mut numbers);
            }
            // A row that only looks the same again, as a heat beside each of its moulds.
            let keyed = whole_key && key.iter().all(|i| !cells[*i].is_empty());
            let folded =
                |(cell, tag): (&String, &bool)| if *tag { cell.to_lowercase() } else { cell.clone() };
            if keyed && !seen.insert(cells.iter().zip(&tags).map(folded).collect::<Vec<_>>().join("\u{1f}")) {
                again.add(grid, row);
                out.left_out.row(at);
                continue;
            }
            if !by_hour.is_empty() {
                hours += 1;
                if cells[note].is_empty() {
                    // The note is ours, and answers no typing guard.
                    self.unexplained(kind, own, &fields, &cells, at, &mut out);
                } else {
                    cells[note].push_str("; ");
                }
                cells[note].push_str(&format!("time of day of {} not known", by_hour.join(", ")));
            }
            out.lines.push((line, at));
            line += put(&mut csv, &cells);
        }
        out.csv = csv.into_inner().unwrap_or_default();
        for (_, fault) in &mut out.faults {
            let more = asked.get(&fault.column).copied().unwrap_or_default();
            if more > 0 && fault.message.contains(ASKED) {
                let rows = counted(more, "further row");
                let asks = if more == 1 { "asks" } else { "ask" };
                fault.message =
                    fault.message.replace(ASKED, &format!("; {rows} of this column {asks} the same"));
            }
            fault.message = fault.message.replace(ASKED, "");
        }
        out.remarks.extend(above.said("above the titles, not taken"));
        out.remarks.extend(left.said("left out: nothing in it is asked for"));
        out.remarks.extend(totals.said("left out: a total of what stands above"));
        out.remarks.extend(again.said("say again what stands above; counted once"));
        let hour = self.habits.hour.as_deref().unwrap_or("");
        if hours > 0 {
            let rows = counted(hours, "row");
            out.remarks.push(format!("{rows}: have a date alone: {hour} was taken, and the note says so"));
        }
        if days > 0 {
            let cells = counted(days, "cell");
            out.remarks
                .push(format!("{cells}: a date or time as a spreadsheet counts days (45306 is 2024-01-15)"));
        }
        if formulas > 0 {
            out.remarks.push(format!("{}: the value as last saved was taken", counted(formulas, "formula")));
        }
        out
    }

    fn columns(&self, grid: &Grid, kind: &Kind, own: &[OwnField], out: &mut Rows) -> Vec<Column> {
        let titles = titles(grid, self.header - 1, self.titles_to() - 1);
        let mut columns = Vec::new();
        for (field, name) in &self.columns {
            let Some(ty) = type_of(kind, own, field) else {
                out.faults.push((0, Fault::new(field, "", check::unknown_field(kind, field, own))));
                continue;
            };
            let several = self.titles_to() > self.header;
            let find = |name: &str| find(&titles, name, several);
            let whole = find(name);
            let parts = if whole.is_ok() { vec![whole] } else { name.split('+').map(find).collect() };
            let mut at = Vec::new();
            for part in parts {
                match part {
                    Ok(c) => at.push(c),
                    Err(message) => out.faults.push((self.header.into(), Fault::new(name, "", message))),
                }
            }
            let unit = kind.field(field).map_or("", |f| f.unit());
            for title in titles.iter().filter(|t| at.contains(&t.0)) {
                if let Some(theirs) =
                    title_unit(&title.1).filter(|u| !unit.is_empty() && unit_of(u) != unit_of(unit))
                {
                    let message = format!(
                        "{field}: the title says {theirs}; the field is in {unit}, and nothing is converted"
                    );
                    out.faults.push((self.header.into(), Fault::new(&title.1, "", message)));
                }
            }
            let below = grid.cells.range((self.titles_to(), 0)..);
            let seen = Seen::of(below.filter(|((_, c), _)| at.contains(c)).map(|(_, held)| held));
            let must = kind.field(field).is_some_and(|f| !f.optional);
            columns.push(Column { field: field.clone(), ty, unit, must, at, title: name.clone(), seen });
        }
        let used: HashSet<u32> = columns.iter().flat_map(|c| c.at.iter().copied()).collect();
        let mut unused: BTreeMap<u32, String> = BTreeMap::new();
        for ((_, c), held) in grid.cells.range((self.header - 1, 0)..).filter(|((_, c), _)| !used.contains(c))
        {
            unused.entry(*c).or_insert_with(|| {
                let first: String = held.text().trim().chars().take(30).collect();
                format!("#{} (no title; first {first})", letters(*c))
            });
        }
        for (c, title) in &titles {
            let twice = titles.iter().filter(|(_, t)| t == title).count() > 1;
            if let Some(named) = unused.get_mut(c) {
                *named = if twice { format!("{title} (#{})", letters(*c)) } else { title.clone() };
            }
        }
        if !unused.is_empty() {
            let all: Vec<&str> = unused.values().map(String::as_str).collect();
            out.remarks.push(format!("columns not taken: {}", all.join(", ")));
        }
        out.left_out.columns = unused.into_iter().map(|(c, title)| (letters(c), title)).collect();
        columns
    }

    /// Merged cells that stand in the way.
    fn merged(&self, grid: &Grid, columns: &[Column], out: &mut Rows) {
        for &((top, left), (bottom, right)) in &grid.merged {
            let touched = |c: &&Column| c.at.iter().any(|at| (left..=right).contains(at));
            if let (true, Some(column)) = (bottom >= self.titles_to(), columns.iter().find(touched)) {
                let range = format!("{}:{}", address(top, left), address(bottom, right));
                let message = format!("the cells {range} are merged: whose value is it? Unmerge them");
                out.faults.push((u64::from(top) + 1, Fault::new(&column.title, "", message)));
            }
        }
    }

    fn row(
        &self,
        grid: &Grid,
        row: u32,
        columns: &[Column],
        asked: &mut HashMap<String, usize>,
        rows: &mut Rows,
    ) -> Line {
        let blank = |c: &Column| {
            c.at.iter().filter_map(|at| grid.at(row, *at)).all(|held| self.habits.is_blank(held))
        };
        let wanted = |c: &Column| self.only.contains(&c.field);
        if columns.iter().all(blank) || columns.iter().any(|c| wanted(c) && blank(c)) {
            return Line::Out;
        }
        let total =
            |c: &Column| c.at.iter().filter_map(|at| grid.at(row, *at)).any(|held| is_total(&held.text()));
        if columns.iter().any(total) && columns.iter().any(|c| c.must && blank(c)) {
            return Line::Total;
        }
        let mut out = Taken::default();
        for column in columns {
            let held: Vec<&CellValue> = column.at.iter().filter_map(|at| grid.at(row, *at)).collect();
            out.formulas += held.iter().filter(|h| matches!(h, CellValue::Formula(..))).count();
            let shown = held.iter().map(|h| h.text()).collect::<Vec<_>>().join(" ");
            let word = self
                .words
                .iter()
                .find(|w| w.0 == column.field && w.1.trim().to_lowercase() == shown.trim().to_lowercase());
            if let Some((_, _, ours)) = word {
                out.cells.push(ours.clone());
                continue;
            }
            let wanted = Wanted { ty: column.ty, unit: column.unit };
            match cells::read(wanted, &held, &self.habits, &column.seen) {
                Ok(written) => {
                    out.by_hour.extend(written.hour_given.then(|| column.field.clone()));
                    out.day_numbers += usize::from(written.day_number);
                    out.cells.push(written.text);
                }
                Err(unread) => {
                    out.cells.push(String::new());
                    rows.unread.push((u64::from(row) + 1, column.title.clone()));
                    let mut message = format!("{}: {}", column.field, unread.message);
                    if unread.two_ways {
                        // One answer settles all of them.
                        if let Some(more) = asked.get_mut(&column.title) {
                            *more += 1;
                            continue;
                        }
                        asked.insert(column.title.clone(), 0);
                        message.push_str(ASKED);
                    }
                    rows.faults.push((u64::from(row) + 1, Fault::new(&column.title, &shown, message)));
                }
            }
        }
        Line::Taken(out)
    }

    fn unexplained(
        &self,
        kind: &'static Kind,
        own: &[OwnField],
        fields: &[&str],
        cells: &[String],
        at: u64,
        out: &mut Rows,
    ) {
        let mut record = Record::blank(kind);
        for (field, text) in fields.iter().zip(cells) {
            match (kind.field(field), own.iter().find(|o| o.record == kind.name && o.name == *field)) {
                (Some(of), _) => record.set(field, Value::read(of, text).unwrap_or(Value::Blank)),
                (None, Some(of)) => record.own.push((of.name.clone(), of.read(text).unwrap_or(Value::Blank))),
                (None, None) => {}
            }
        }
        for guard in check::guards(&record, own) {
            let message =
                format!("{}: {}; a note in this row would say why it is right", guard.field, guard.message);
            let title = out.titles.iter().find(|t| t.0 == guard.field).map_or("", |t| t.1.as_str());
            let value = record.get(&guard.field).to_text();
            out.faults.push((at, Fault::new(title, &value, message)));
        }
    }
}

/// Stands in a question of which the further rows are counted at the end.
const ASKED: &str = "\u{1}";

/// The row adds up, or averages, what stands above.
fn is_total(text: &str) -> bool {
    let word = text.trim().trim_end_matches([':', '.']).to_lowercase();
    let words = [
        "total",
        "totals",
        "sum",
        "subtotal",
        "grand total",
        "average",
        "mean",
        "summe",
        "gesamt",
        "zwischensumme",
        "mittelwert",
    ];
    words.contains(&word.as_str())
}

/// Writes a row and gives the number of lines that it takes.
fn put<T: AsRef<str>>(csv: &mut csv::Writer<Vec<u8>>, cells: &[T]) -> u64 {
    // Writing to memory does not fail.
    let _ = csv.write_record(cells.iter().map(|c| guarded(c.as_ref()).into_owned()));
    1 + cells.iter().map(|c| c.as_ref().matches('\n').count() as u64).sum::<u64>()
}

#[cfg(test)]
mod tests;
