//! The rows of a sheet, cell by cell.

use std::collections::HashMap;

use crate::check;
use crate::check::{Fault, OwnField};
use crate::exchange::cells;
use crate::exchange::cells::Wanted;
use crate::exchange::grid::{CellValue, Grid};
use crate::exchange::mapped::columns::Column;
use crate::exchange::mapped::{Mapping, Rows};
use crate::exchange::unread::{SheetHint, Unread};
use crate::value::words::counted;
use crate::{Kind, Record, Value};

/// What became of the cells of a row.
pub(super) enum Line {
    /// Nothing of it is asked for.
    Out,
    /// It adds up what stands above.
    Total,
    /// The titles stand there once more, as on a further page.
    Titles,
    Taken(Taken),
}

#[derive(Default)]
pub(super) struct Taken {
    pub(super) cells: Vec<String>,
    /// Fields whose time of day was given.
    pub(super) by_hour: Vec<String>,
    pub(super) formulas: usize,
}

/// A question that one answer settles for many cells.
#[derive(Debug, Clone, PartialEq, Eq, Hash)]
pub(super) enum Question {
    /// Of all dates of the sheet.
    Dates,
    /// Of the numbers of a column.
    Marks(String),
}

impl Question {
    fn of(unread: &Unread, column: &Column) -> Option<Self> {
        match unread.hint {
            Some(SheetHint::Dates) => Some(Self::Dates),
            Some(SheetHint::Marks) => Some(Self::Marks(column.title.clone())),
            _ => None,
        }
    }

    /// How many more cells ask it.
    pub(super) fn said(&self, more: usize) -> String {
        let of = if *self == Self::Dates { "sheet" } else { "column" };
        let asks = if more == 1 { "asks" } else { "ask" };
        match more {
            0 => String::new(),
            _ => format!("; {} of this {of} {asks} the same", counted(more, "further cell")),
        }
    }
}

impl Mapping {
    pub(super) fn row(
        &self,
        grid: &Grid,
        row: u32,
        columns: &[Column],
        asked: &mut HashMap<Question, usize>,
        rows: &mut Rows,
    ) -> Line {
        let blank = |c: &Column| {
            c.at.iter().filter_map(|at| grid.at(row, *at)).all(|held| self.habits.is_blank(held))
        };
        let wanted = |c: &Column| self.only.contains(&c.field);
        if columns.iter().all(blank) || columns.iter().any(|c| wanted(c) && blank(c)) {
            return Line::Out;
        }
        let again = |c: &Column| {
            let text = |row: u32| {
                c.at.iter().filter_map(|at| grid.at(row, *at)).map(CellValue::text).collect::<String>()
            };
            text(row).trim().to_lowercase() == text(self.titles_to() - 1).trim().to_lowercase()
        };
        if columns.iter().all(again) {
            return Line::Titles;
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
                    for how in written.taken {
                        let first =
                            || (0, u64::from(row) + 1, shown.trim().to_string(), written.text.clone());
                        rows.meant.entry(how).or_insert_with(first).0 += 1;
                    }
                    out.cells.push(written.text);
                }
                Err(unread) => {
                    out.cells.push(String::new());
                    rows.unread.push((u64::from(row) + 1, column.title.clone()));
                    let mut fault = unread.fault(&column.title, &shown);
                    fault.message = format!("{}: {}", column.field, fault.message);
                    if let Some(whose) = Question::of(&unread, column) {
                        // One answer settles all of them.
                        if let Some(more) = asked.get_mut(&whose) {
                            *more += 1;
                            continue;
                        }
                        rows.questions.push((rows.faults.len(), whose.clone()));
                        asked.insert(whose, 0);
                    }
                    rows.faults.push((u64::from(row) + 1, fault));
                }
            }
        }
        Line::Taken(out)
    }

    pub(super) fn unexplained(
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
