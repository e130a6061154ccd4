//! A shop's own sheet as the rows of one record kind, by a mapping that says which column is what.

use std::collections::HashSet;

use serde::{Deserialize, Serialize};

use crate::catalogue::Holds;
use crate::catalogue::field::Type;
use crate::catalogue::kind::Kind;
use crate::check;
use crate::check::{Fault, OwnField};
use crate::exchange::cells;
use crate::exchange::cells::Habits;
use crate::exchange::grid::{CellValue, Grid, address, place};
use crate::exchange::guarded;
use crate::value::tag::{hint, near};
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
}

/// A field that is filled from the sheet.
struct Column {
    field: String,
    ty: Type,
    at: Vec<u32>,
    title: String,
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
        self.habits.check()?;
        let filled: Vec<&str> = self.columns.iter().chain(&self.fill).map(|c| c.0.as_str()).collect();
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
        let key: Vec<usize> =
            kind.key_fields().filter_map(|k| fields.iter().position(|f| *f == k.name)).collect();
        let whole_key = key.len() == kind.key_fields().count();
        let mut csv = csv::Writer::from_writer(Vec::new());
        let mut line = 1 + put(&mut csv, &fields);
        let mut seen = HashSet::new();
        let (mut again, mut left, mut formulas, mut hours) = (0, 0, 0, 0);
        for row in self.header..=grid.last_row() {
            let at = u64::from(row) + 1;
            let Some((mut cells, by_hour, counted)) = self.row(grid, row, &columns, &mut out.faults) else {
                left += usize::from(grid.cells.range((row, 0)..=(row, u32::MAX)).next().is_some());
                continue;
            };
            formulas += counted;
            cells.resize(fields.len(), String::new());
            for (i, (_, value)) in self.fill.iter().enumerate() {
                cells[columns.len() + i] = value.clone();
            }
            // A row that only looks the same again, as a heat beside each of its moulds.
            let keyed = whole_key && key.iter().all(|i| !cells[*i].is_empty());
            if keyed && !seen.insert(cells.join("\u{1f}")) {
                again += 1;
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
        let hour = self.habits.hour.as_deref().unwrap_or("");
        for (n, what) in [
            (left, "left out: nothing in it is asked for".to_string()),
            (again, "say again what stands above; counted once".into()),
            (hours, format!("have a date alone: {hour} was taken, and the note says so")),
        ] {
            out.remarks.extend((n > 0).then(|| format!("{}: {what}", counted(n, "row"))));
        }
        if formulas > 0 {
            out.remarks.push(format!("{}: the value as last saved was taken", counted(formulas, "formula")));
        }
        out
    }

    fn columns(&self, grid: &Grid, kind: &Kind, own: &[OwnField], out: &mut Rows) -> Vec<Column> {
        let head = self.header - 1;
        let titles = titles(grid, head);
        let mut columns = Vec::new();
        for (field, name) in &self.columns {
            let Some(ty) = type_of(kind, own, field) else {
                out.faults.push((0, Fault::new(field, "", check::unknown_field(kind, field, own))));
                continue;
            };
            let whole = find(&titles, name);
            let parts =
                if whole.is_ok() { vec![whole] } else { name.split('+').map(|n| find(&titles, n)).collect() };
            let mut at = Vec::new();
            for part in parts {
                match part {
                    Ok(c) => at.push(c),
                    Err(message) => out.faults.push((self.header.into(), Fault::new(name, "", message))),
                }
            }
            columns.push(Column { field: field.clone(), ty, at, title: name.clone() });
        }
        let used: HashSet<u32> = columns.iter().flat_map(|c| c.at.iter().copied()).collect();
        let unused: Vec<&str> =
            titles.iter().filter(|(c, _)| !used.contains(c)).map(|(_, t)| t.as_str()).collect();
        if !unused.is_empty() {
            out.remarks.push(format!("columns not taken: {}", unused.join(", ")));
        }
        columns
    }

    /// Merged cells that stand in the way.
    fn merged(&self, grid: &Grid, columns: &[Column], out: &mut Rows) {
        for &((top, left), (bottom, right)) in &grid.merged {
            let touched = |c: &&Column| c.at.iter().any(|at| (left..=right).contains(at));
            if let (true, Some(column)) = (bottom >= self.header, columns.iter().find(touched)) {
                let range = format!("{}:{}", address(top, left), address(bottom, right));
                let message = format!("the cells {range} are merged: whose value is it? Unmerge them");
                out.faults.push((u64::from(top) + 1, Fault::new(&column.title, "", message)));
            }
        }
    }

    /// The cells of a row, the fields whose time of day was given, how many formulas; none for a row that is left out.
    fn row(
        &self,
        grid: &Grid,
        row: u32,
        columns: &[Column],
        faults: &mut Vec<(u64, Fault)>,
    ) -> Option<(Vec<String>, Vec<String>, usize)> {
        let blank = |c: &Column| {
            c.at.iter().filter_map(|at| grid.at(row, *at)).all(|held| self.habits.is_blank(held))
        };
        let wanted = |c: &Column| self.only.contains(&c.field);
        if columns.iter().all(blank) || columns.iter().any(|c| wanted(c) && blank(c)) {
            return None;
        }
        let (mut cells, mut by_hour, mut formulas) = (Vec::new(), Vec::new(), 0);
        for column in columns {
            let held: Vec<&CellValue> = column.at.iter().filter_map(|at| grid.at(row, *at)).collect();
            formulas += held.iter().filter(|h| matches!(h, CellValue::Formula(..))).count();
            let shown = held.iter().map(|h| h.text()).collect::<Vec<_>>().join(" ");
            let word = self
                .words
                .iter()
                .find(|w| w.0 == column.field && w.1.trim().to_lowercase() == shown.trim().to_lowercase());
            match word {
                Some((_, _, ours)) => cells.push(ours.clone()),
                None => match cells::read(column.ty, &held, &self.habits) {
                    Ok(written) => {
                        by_hour.extend(written.hour_given.then(|| column.field.clone()));
                        cells.push(written.text);
                    }
                    Err(message) => {
                        let message = format!("{}: {message}", column.field);
                        faults.push((u64::from(row) + 1, Fault::new(&column.title, &shown, message)));
                        cells.push(String::new());
                    }
                },
            }
        }
        Some((cells, by_hour, formulas))
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

/// Titles of the columns, blanks and line breaks in them taken as one blank.
pub fn titles(grid: &Grid, head: u32) -> Vec<(u32, String)> {
    let row = grid.cells.range((head, 0)..=(head, u32::MAX));
    row.map(|((_, c), held)| (*c, held.text().split_whitespace().collect::<Vec<_>>().join(" "))).collect()
}

fn find(titles: &[(u32, String)], name: &str) -> Result<u32, String> {
    let name = name.trim();
    if let Some(at) = name.strip_prefix('#').and_then(|letters| place(&format!("{letters}1"))) {
        return Ok(at.1);
    }
    let mut found = titles.iter().filter(|(_, t)| t.to_lowercase() == name.to_lowercase());
    match (found.next(), found.next()) {
        (Some((at, _)), None) => Ok(*at),
        (Some((a, _)), Some((b, _))) => {
            let letters = |c: u32| address(0, c).trim_end_matches('1').to_string();
            Err(format!("two columns are called {name}; say which: #{} or #{}", letters(*a), letters(*b)))
        }
        (None, _) => {
            let close = near(name, titles.iter().map(|(_, t)| t.as_str()));
            let all: Vec<&str> = titles.iter().map(|(_, t)| t.as_str()).collect();
            let all = if all.is_empty() { "nothing".to_string() } else { all.join(", ") };
            Err(format!("the row of titles has no column {name}{}; it has: {all}", hint(&close)))
        }
    }
}

/// Writes a row and gives the number of lines that it takes.
fn put<T: AsRef<str>>(csv: &mut csv::Writer<Vec<u8>>, cells: &[T]) -> u64 {
    // Writing to memory does not fail.
    let _ = csv.write_record(cells.iter().map(|c| guarded(c.as_ref()).into_owned()));
    1 + cells.iter().map(|c| c.as_ref().matches('\n').count() as u64).sum::<u64>()
}
