//! A shop's own sheet as the rows of one record kind, by a mapping that says which column is what.

mod columns;
mod left_out;
mod lines;

use std::borrow::Cow;
use std::collections::{BTreeMap, HashMap, HashSet};

use serde::{Deserialize, Serialize};

pub use crate::exchange::mapped::left_out::LeftOut;

use crate::catalogue::Holds;
use crate::catalogue::field::Type;
use crate::catalogue::kind::Kind;
use crate::check;
use crate::check::{Fault, OwnField};
use crate::exchange::cells::{Habits, Taken};
use crate::exchange::grid::Grid;
use crate::exchange::guarded;
use crate::exchange::mapped::left_out::Sort;
use crate::exchange::mapped::lines::{Line, Question};
use crate::exchange::tables;
use crate::exchange::tag_pattern::{made_tag, names};
use crate::exchange::titles::{find, titles};
use crate::exchange::unread::{SheetHint, Unread};
use crate::value::words::counted;

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
    /// The table of the sheet, by name or number, whose own rows of titles count; none: the whole sheet is one.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub table: Option<String>,
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
    /// The row of the titles, from 1.
    pub head: u32,
    /// Row of the sheet, fault.
    pub faults: Vec<(u64, Fault)>,
    /// What was left out, or taken as meant.
    pub remarks: Vec<String>,
    /// What of the sheet stands in no record.
    pub left_out: LeftOut,
    /// Row and title of the cells that were not read: they stand blank in the text.
    pub unread: Vec<(u64, String)>,
    /// Cells that were taken as meant: how many, and of the first its row, what stands there, what it was read as.
    meant: BTreeMap<Taken, (usize, u64, String, String)>,
    /// Of which fault others ask the same.
    questions: Vec<(usize, Question)>,
}

/// The field's type, among the kind's and a foundry's own.
fn type_of(kind: &Kind, own: &[OwnField], field: &str) -> Option<Type> {
    let of_own = || own.iter().find(|o| o.record == kind.name && o.name == field).map(OwnField::holds);
    kind.field(field).map(|f| f.ty).or_else(of_own)
}

/// The fields of a kind that must be filled from a sheet.
pub fn must(kind: &Kind) -> impl Iterator<Item = &'static str> + '_ {
    let must = |f: &&crate::catalogue::field::FieldInfo| !f.optional && (!kind.is::<Holds>() || !f.key);
    kind.fields.iter().filter(must).map(|f| f.name)
}

impl Mapping {
    /// The fields that it names are the kind's, each once.
    ///
    /// # Errors
    /// What is wrong, and what would be right.
    pub fn check(&self, kind: &Kind, own: &[OwnField]) -> Result<(), Unread> {
        if self.header == 0 {
            return Err(Unread::hint("the row of the titles is counted from 1", SheetHint::Titles));
        }
        if self.header_to.is_some_and(|to| to < self.header || to - self.header > 4) {
            return Err(Unread::hint("titles stand in five rows at most", SheetHint::Titles));
        }
        self.habits.check()?;
        let mut filled: Vec<&str> = self.columns.iter().chain(&self.fill).map(|c| c.0.as_str()).collect();
        if let Some(pattern) = &self.tag {
            let Some(own_tag) = kind.tag_field() else {
                return Err(
                    format!("a {} has no tag of its own, and takes no pattern of one", kind.noun).into()
                );
            };
            for name in names(pattern)? {
                if !matches!(name, "n" | "row") && !filled.contains(&name) {
                    return Err(format!(
                        "the pattern {pattern}: {name} is no field that is filled; {{n}} counts, {{row}} is the row"
                    )
                    .into());
                }
            }
            filled.push(own_tag.name);
        }
        for (i, field) in filled.iter().enumerate() {
            if type_of(kind, own, field).is_none() {
                return Err(check::unknown_field(kind, field, own).into());
            }
            if filled[..i].contains(field) {
                return Err(format!(
                    "{field} is named twice: it has one column, or is the same in every row"
                )
                .into());
            }
        }
        let asked = self.words.iter().map(|w| &w.0).chain(&self.only);
        for field in asked {
            if !self.columns.iter().any(|c| c.0 == *field) {
                return Err(Unread::hint(format!("{field} has no column"), SheetHint::Column(field.clone())));
            }
        }
        let missing: Vec<&str> = must(kind).filter(|f| !filled.contains(f)).collect();
        if !missing.is_empty() {
            return Err(Unread::hint(format!("{} must be filled", missing.join(", ")), SheetHint::Fill));
        }
        Ok(())
    }

    /// The last row of the titles, from 1.
    fn titles_to(&self) -> u32 {
        self.header_to.unwrap_or(self.header)
    }

    /// The same on the part of the sheet that its table takes.
    ///
    /// # Errors
    /// There is no such table.
    fn placed<'g>(&self, grid: &'g Grid) -> Result<(Cow<'g, Grid>, Self, Vec<String>), Unread> {
        let Some(wanted) = self.table.as_ref().filter(|t| !t.eq_ignore_ascii_case(tables::WHOLE)) else {
            return Ok((Cow::Borrowed(grid), self.clone(), Vec::new()));
        };
        let all = tables::tables(grid);
        let table = tables::find(&all, wanted)?;
        let (from, to) = (table.head.0 + 1, table.head.1 + 1);
        let others = all.iter().filter(|t| *t != table).map(tables::Table::called).collect();
        let mapping =
            Self { table: None, header: from, header_to: (from < to).then_some(to), ..self.clone() };
        Ok((Cow::Owned(tables::part(grid, &all, table)), mapping, others))
    }

    /// The columns that a name of one means: one, or two that are joined.
    ///
    /// # Errors
    /// It means none, or which is open.
    pub fn places(&self, grid: &Grid, name: &str) -> Result<Vec<u32>, Unread> {
        let titles = titles(grid, self.header.saturating_sub(1), self.titles_to().saturating_sub(1));
        let find = |name: &str| find(&titles, name, self.titles_to() > self.header);
        match find(name) {
            Err(_) if name.contains('+') => name.split('+').map(find).collect(),
            one => one.map(|c| vec![c]),
        }
    }

    /// Each of its columns stands in this sheet, where it says that the titles are.
    pub fn fits(&self, grid: &Grid) -> bool {
        let Ok((grid, here, _)) = self.placed(grid) else { return false };
        here.header > 0 && here.columns.iter().all(|(_, name)| here.places(&grid, name).is_ok())
    }

    /// The rows of a sheet as a bundle holds them.
    pub fn rows(&self, grid: &Grid, kind: &'static Kind, own: &[OwnField]) -> Rows {
        match self.placed(grid) {
            Ok((grid, mapping, others)) => {
                let mut out = mapping.rows_of(&grid, kind, own);
                out.left_out.tables = others;
                out
            }
            Err(unread) => Rows { faults: vec![(0, unread.fault("", ""))], ..Rows::default() },
        }
    }

    fn rows_of(&self, grid: &Grid, kind: &'static Kind, own: &[OwnField]) -> Rows {
        let mut out = Rows { remarks: grid.remarks.clone(), head: self.header, ..Rows::default() };
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
        let [mut above, mut again, mut left, mut totals, mut heads] = <[Sort; 5]>::default();
        let (mut formulas, mut hours) = (0, 0);
        let mut asked: HashMap<Question, usize> = HashMap::new();
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
                Line::Titles => {
                    heads.add(grid, row);
                    out.left_out.row(at);
                    continue;
                }
                Line::Total => {
                    totals.add(grid, row);
                    out.left_out.row(at);
                    continue;
                }
            };
            let lines::Taken { mut cells, by_hour, formulas: counted } = taken;
            formulas += counted;
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
        for (fault, question) in std::mem::take(&mut out.questions) {
            out.faults[fault].1.message.push_str(&question.said(asked[&question]));
        }
        out.remarks.extend(above.said("above the titles, not taken"));
        out.remarks.extend(left.said("left out: nothing in it is asked for"));
        out.remarks.extend(heads.said("left out: the titles once more"));
        out.remarks.extend(totals.said("left out: a total of what stands above"));
        out.remarks.extend(again.said("say again what stands above; counted once"));
        let hour = self.habits.hour.as_deref().unwrap_or("");
        if hours > 0 {
            let rows = counted(hours, "row");
            out.remarks.push(format!("{rows}: have a date alone: {hour} was taken, and the note says so"));
        }
        for (how, (n, row, stands, read)) in std::mem::take(&mut out.meant) {
            let cells = counted(n, "cell");
            out.remarks.push(format!("{cells}: {} (first in row {row}: {stands} as {read})", how.words()));
        }
        if formulas > 0 {
            out.remarks.push(format!("{}: the value as last saved was taken", counted(formulas, "formula")));
        }
        out
    }
}

/// Writes a row and gives the number of lines that it takes.
fn put<T: AsRef<str>>(csv: &mut csv::Writer<Vec<u8>>, cells: &[T]) -> u64 {
    // Writing to memory does not fail.
    let _ = csv.write_record(cells.iter().map(|c| guarded(c.as_ref()).into_owned()));
    1 + cells.iter().map(|c| c.as_ref().matches('\n').count() as u64).sum::<u64>()
}

#[cfg(test)]
mod tests;
