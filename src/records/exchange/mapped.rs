//! A shop's own sheet as the rows of one record kind, by a mapping that says which column is what.

use std::collections::{BTreeMap, BTreeSet, HashMap, HashSet};

use serde::{Deserialize, Serialize};

use crate::catalogue::Holds;
use crate::catalogue::field::Type;
use crate::catalogue::kind::Kind;
use crate::check;
use crate::check::{Fault, OwnField};
use crate::exchange::cells;
use crate::exchange::cells::{Habits, Seen, Wanted, is_unit, unit_of};
use crate::exchange::grid::{CellValue, Grid, address, letters, place};
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

/// The fields that a pattern of tags names.
fn names(pattern: &str) -> Result<Vec<&str>, String> {
    let mut out = Vec::new();
    let mut rest = pattern;
    while let Some((before, after)) = rest.split_once('{') {
        let Some((name, behind)) = after.split_once('}').filter(|_| !before.contains('}')) else {
            return Err(format!(
                "--tag {pattern}: a bracket is not closed; {{blade}}-{{method}}-{{n}} is a pattern"
            ));
        };
        out.push(name);
        rest = behind;
    }
    if out.is_empty() {
        return Err(format!(
            "--tag {pattern} gives every row the same tag; {{row}} is the row, {{n}} counts"
        ));
    }
    Ok(out)
}

/// A tag by its pattern. Of a time its date is taken; what a tag cannot hold becomes a hyphen.
fn made_tag(
    pattern: &str,
    fields: &[&str],
    cells: &[String],
    row: u64,
    numbers: &mut HashMap<String, u64>,
) -> String {
    let mut out = pattern.replace("{row}", &row.to_string());
    for (field, cell) in fields.iter().zip(cells) {
        let date = cell.split_once('T').map_or(cell.as_str(), |(d, _)| {
            if d.len() == 10 && d.matches('-').count() == 2 { d } else { cell }
        });
        let plain: String = date
            .chars()
            .map(|c| if c.is_whitespace() || c.is_control() || ",;:/".contains(c) { '-' } else { c })
            .collect();
        out = out.replace(&format!("{{{field}}}"), &plain);
    }
    if out.contains("{n}") {
        let n = numbers.entry(out.to_lowercase()).or_insert(0);
        *n += 1;
        out = out.replace("{n}", &n.to_string());
    }
    out
}

/// Titles of the columns, from their first row to the last; blanks and line breaks in them taken as one blank. What is
/// merged over several columns stands before the title of each.
pub fn titles(grid: &Grid, head: u32, to: u32) -> Vec<(u32, String)> {
    let columns: BTreeSet<u32> = grid
        .cells
        .range((head, 0)..=(to, u32::MAX))
        .map(|((_, c), _)| *c)
        .chain(
            grid.merged
                .iter()
                .filter(|m| (head..=to).contains(&m.0.0))
                .flat_map(|m| m.0.1..=m.1.1.min(m.0.1 + 1000)),
        )
        .collect();
    let over = |row: u32, c: u32| {
        let merged = grid.merged.iter().find(|m| m.0.0 == row && (m.0.1..=m.1.1).contains(&c) && head < to);
        grid.at(row, c).or_else(|| merged.and_then(|m| grid.at(m.0.0, m.0.1)))
    };
    let title = |c: &u32| {
        let all: Vec<String> = (head..=to).filter_map(|row| over(row, *c)).map(CellValue::text).collect();
        (*c, all.join(" ").split_whitespace().collect::<Vec<_>>().join(" "))
    };
    columns.iter().map(title).filter(|(_, t)| !t.is_empty()).collect()
}

/// The unit in a title: in brackets, or its last word.
fn title_unit(title: &str) -> Option<&str> {
    let bracket =
        title.trim_end().strip_suffix([']', ')']).and_then(|t| t.rsplit_once(['[', '('])).map(|t| t.1);
    let word = || title.rsplit_once(' ').map(|t| t.1);
    bracket.or_else(word).map(str::trim).filter(|u| is_unit(u))
}

/// A title without what stands in brackets at its end.
pub fn bare(title: &str) -> &str {
    let cut = title.strip_suffix([']', ')']).and_then(|t| t.rsplit_once(['[', '('])).map(|t| t.0.trim());
    cut.filter(|t| !t.is_empty()).unwrap_or(title)
}

/// The column that a name means: its whole title, that without its unit, or of several rows the last.
fn find(titles: &[(u32, String)], name: &str, several: bool) -> Result<u32, String> {
    let name = name.trim();
    if let Some(at) = name.strip_prefix('#').and_then(|letters| place(&format!("{letters}1"))) {
        return Ok(at.1);
    }
    let wanted = name.to_lowercase();
    let ways: [&dyn Fn(&str) -> bool; 4] = [
        &|t| t == wanted,
        &|t| bare(t) == wanted,
        &|t| several && t.strip_suffix(wanted.as_str()).is_some_and(|before| before.ends_with(' ')),
        &|t| several && bare(t).strip_suffix(wanted.as_str()).is_some_and(|before| before.ends_with(' ')),
    ];
    for way in ways {
        let mut found = titles.iter().filter(|(_, t)| !wanted.is_empty() && way(&t.to_lowercase()));
        match (found.next(), found.next()) {
            (Some((at, _)), None) => return Ok(*at),
            (Some((a, _)), Some((b, _))) => {
                return Err(format!(
                    "two columns are called {name}; say which: #{} or #{}",
                    letters(*a),
                    letters(*b)
                ));
            }
            (None, _) => {}
        }
    }
    let close = near(name, titles.iter().map(|(_, t)| t.as_str()));
    let all: Vec<&str> = titles.iter().map(|(_, t)| t.as_str()).collect();
    let all = if all.is_empty() { "nothing".to_string() } else { all.join(", ") };
    Err(format!("the row of titles has no column {name}{}; it has: {all}", hint(&close)))
}

/// Writes a row and gives the number of lines that it takes.
fn put<T: AsRef<str>>(csv: &mut csv::Writer<Vec<u8>>, cells: &[T]) -> u64 {
    // Writing to memory does not fail.
    let _ = csv.write_record(cells.iter().map(|c| guarded(c.as_ref()).into_owned()));
    1 + cells.iter().map(|c| c.as_ref().matches('\n').count() as u64).sum::<u64>()
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;
    use crate::catalogue::{FilterLots, Inspections, Pours};
    use crate::exchange::grid;
    use crate::exchange::grid::SHEET;

    fn mapping(kind: &Kind, header: u32, columns: &[(&str, &str)]) -> Mapping {
        let columns = columns.iter().map(|(f, c)| ((*f).to_string(), (*c).to_string())).collect();
        let habits =
            Habits { offset: Some("+00:00".into()), hour: Some("00:00".into()), ..Habits::default() };
        Mapping { kind: kind.name.into(), header, columns, habits, ..Mapping::default() }
    }

    fn sheet(text: &str) -> Grid {
        grid::read(text.as_bytes(), None, &SHEET).unwrap()
    }

    fn csv(rows: &Rows) -> Vec<Vec<String>> {
        let mut reader = csv::ReaderBuilder::new().has_headers(false).from_reader(rows.csv.as_slice());
        reader.records().map(|r| r.unwrap().iter().map(str::to_string).collect()).collect()
    }

    /// A cell of a filter notebook, or of nothing in particular.
    fn cell() -> impl Strategy<Value = String> {
        prop_oneof![
            3 => Just(String::new()),
            3 => "FL-[0-9]{1,2}",
            2 => "(1[3-9]|2[0-8])\\.0[1-9]\\.2031",
            2 => "[0-9]{1,3}",
            1 => Just("Total".to_string()),
            1 => Just("-".to_string()),
            1 => "[a-zA-Zäß ]{1,8}",
            1 => "\"[a-z\n;]{0,4}\"",
        ]
    }

    proptest! {
        #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::default() })]

        /// Every cell that holds something is in a record, at fault, or in a row or column that is named as left out.
        #[test]
        fn nothing_of_a_sheet_is_lost_in_silence(
            body in prop::collection::vec(prop::collection::vec(cell(), 0..7), 0..8),
            above in prop::collection::vec(cell(), 0..3),
            titles in prop::sample::subsequence(vec!["Nb+Ta", "Remark", "", "Pieces"], 0..=4),
            end in prop::sample::select(vec!["\n", "\r\n", "\r"]),
            only in any::<bool>(),
        ) {
            let head = ["Box", "Came in", "Got"].iter().chain(&titles).map(|t| (*t).to_string()).collect::<Vec<_>>();
            let rows = [vec![above], vec![head], body].concat();
            let text: Vec<String> = rows.iter().map(|r| r.join(";").replace('\n', end)).collect();
            let grid = grid::read(text.join(end).as_bytes(), None, &SHEET).unwrap();
            let columns = [("filter_lot", "Box"), ("received_at", "Came in"), ("received_count", "Got")];
            let mut by = mapping(FilterLots::KIND, 2, &columns);
            by.only = if only { vec!["filter_lot".into()] } else { Vec::new() };
            let out = by.rows(&grid, FilterLots::KIND, &[]);
            let records = csv(&out);
            for ((r, c), held) in &grid.cells {
                let row = u64::from(*r) + 1;
                let named = out.left_out.rows.iter().any(|(a, b)| (*a..=*b).contains(&row))
                    || out.left_out.columns.iter().any(|(l, _)| *l == letters(*c));
                let title = row == 2 && *c < 3;
                let at_fault = out.faults.iter().any(|f| f.0 == row && f.1.column == columns[(*c as usize).min(2)].1);
                let record = out.lines.iter().position(|l| l.1 == row).and_then(|i| records.get(i + 1));
                let taken = record.is_some_and(|cells| {
                    // A date comes in as a date, figures and texts as they stand.
                    let text = held.text();
                    let date = text.split('.').rev().collect::<Vec<_>>().join("-");
                    match c {
                        0 | 2 => crate::exchange::natural(&cells[*c as usize]) == text,
                        1 => date.len() == 10 && cells[1].starts_with(&date),
                        _ => false,
                    }
                });
                prop_assert!(named || title || at_fault || taken, "{row} {c} {held:?}\n{text:?}\n{out:?}");
            }
            // What is named in the data is said.
            for (letter, title) in &out.left_out.columns {
                let said = out.remarks.iter().any(|r| r.starts_with("columns not taken") && r.contains(title.as_str()));
                prop_assert!(said, "{letter} {title}: {:?}", out.remarks);
            }
            let rows: u64 = out.left_out.rows.iter().map(|(a, b)| b - a + 1).sum();
            let said: u64 = out.remarks.iter().filter(|r| r.contains("(row ")).filter_map(|r| r.split(' ').next()?.parse::<u64>().ok()).sum();
            prop_assert_eq!(rows, said, "{:?}", out.remarks);
        }
    }

    #[test]
    fn columns_that_are_not_taken_are_named_titled_or_not() {
        for end in ["\n", "\r\n"] {
            let text = ["Box;Came in;Nb+Ta;;Note;Note", "FL-1;15.01.2031;2;lid open;a;b"].join(end);
            let by = mapping(FilterLots::KIND, 1, &[("filter_lot", "Box"), ("received_at", "Came in")]);
            let out = by.rows(&sheet(&text), FilterLots::KIND, &[]);
            let said = "columns not taken: Nb+Ta, #D (no title; first lid open), Note (#E), Note (#F)";
            assert!(out.remarks.contains(&said.to_string()), "{:?}", out.remarks);
            assert_eq!(out.lines, [(2, 2)]);
        }
    }

    #[test]
    fn rows_that_are_left_out_are_named_with_what_stands_in_them() {
        let text = "Book 2031;;\nBox;Came in;Got\nFL-1;15.01.2031;4\n;;\nFL-2;16.01.2031;5\nTotal;;9\n;;12\nfl-2;16.01.2031;5\n";
        let mut by = mapping(
            FilterLots::KIND,
            2,
            &[("filter_lot", "Box"), ("received_at", "Came in"), ("received_count", "Got")],
        );
        by.only = vec!["filter_lot".into()];
        let out = by.rows(&sheet(text), FilterLots::KIND, &[]);
        assert_eq!(out.lines.iter().map(|l| l.1).collect::<Vec<_>>(), [3, 5]);
        for said in [
            "1 row: above the titles, not taken (row 1: Book 2031)",
            "1 row: left out: a total of what stands above (row 6: Total | 9)",
            "1 row: left out: nothing in it is asked for (row 7: 12)",
            "1 row: say again what stands above; counted once (row 8: fl-2 | 16.01.2031 | 5)",
        ] {
            assert!(out.remarks.iter().any(|r| r == said), "{said}: {:?}", out.remarks);
        }
        assert_eq!(out.left_out.rows, [(1, 1), (6, 8)]);
    }

    #[test]
    fn a_question_of_a_whole_column_is_asked_once() {
        let text = "Box;Came in\nFL-1;3.11.2031\nFL-2;4.11.2031\nFL-3;5.11.2031\n";
        let by = mapping(FilterLots::KIND, 1, &[("filter_lot", "Box"), ("received_at", "Came in")]);
        let out = by.rows(&sheet(text), FilterLots::KIND, &[]);
        assert_eq!(out.faults.len(), 1, "{:?}", out.faults);
        let (row, fault) = &out.faults[0];
        assert_eq!((*row, fault.column.as_str(), fault.value.as_str()), (2, "Came in", "3.11.2031"));
        for part in
            ["2031-11-03 or 2031-03-11", "--dates day-first", "2 further rows of this column ask the same"]
        {
            assert!(fault.message.contains(part), "{part}: {}", fault.message);
        }
    }

    #[test]
    fn titles_over_two_rows_and_units_in_them() {
        let mut grid = sheet("Form;Temp;;Masse [kg]\n;ein [°C];aus [°C];\nM-1;1450;1400;12,5 kg\n");
        grid.merged.push(((0, 1), (0, 2)));
        let by = Mapping {
            header_to: Some(2),
            fill: vec![("heat".into(), "H".into()), ("poured_at".into(), "2031-01-01T00:00:00Z".into())],
            ..mapping(
                Pours::KIND,
                1,
                &[("mould", "form"), ("indicated_c", "ein"), ("mould_c", "Temp aus"), ("mass_kg", "Masse")],
            )
        };
        by.check(Pours::KIND, &[]).unwrap();
        let out = by.rows(&grid, Pours::KIND, &[]);
        assert!(out.faults.is_empty(), "{:?}", out.faults);
        assert_eq!(csv(&out)[1][..4], ["M-1", "1450", "1400", "12.5"]);
        // A title in another unit is no field of this one.
        let other = sheet("Form;T [°F]\nM-1;2600\n");
        let by = mapping(Pours::KIND, 1, &[("mould", "Form"), ("indicated_c", "T")]);
        let fault = &by.rows(&other, Pours::KIND, &[]).faults[0];
        assert!(fault.0 == 1 && fault.1.message.contains("says °F; the field is in °C"), "{fault:?}");
    }

    #[test]
    fn what_has_no_tag_gets_one_by_a_pattern() {
        let text = "Blade;When;Res\nB-1;2031-01-15;accept\nB-1;2031-01-15;reject\nb-2;2031-01-16;accept\n";
        let by = Mapping {
            tag: Some("{blade}-VT-{inspected_at}-{n}".into()),
            fill: vec![("method".into(), "visual".into()), ("round".into(), "1".into())],
            ..mapping(
                Inspections::KIND,
                1,
                &[("blade", "Blade"), ("inspected_at", "When"), ("result", "Res")],
            )
        };
        by.check(Inspections::KIND, &[]).unwrap();
        let out = by.rows(&sheet(text), Inspections::KIND, &[]);
        let rows = csv(&out);
        let at = rows[0].iter().position(|f| f == "inspection").unwrap();
        let tags: Vec<&str> = rows[1..].iter().map(|r| r[at].as_str()).collect();
        assert_eq!(tags, ["B-1-VT-2031-01-15-1", "B-1-VT-2031-01-15-2", "b-2-VT-2031-01-16-1"]);
        for (pattern, part) in
            [("INS", "the same tag"), ("{blade", "not closed"), ("{nobody}", "nobody is no field")]
        {
            let by = Mapping { tag: Some(pattern.into()), ..by.clone() };
            assert!(by.check(Inspections::KIND, &[]).unwrap_err().contains(part), "{pattern}");
        }
        let pours = Mapping { tag: Some("{mould}".into()), ..mapping(Pours::KIND, 1, &[("mould", "x")]) };
        assert!(pours.check(Pours::KIND, &[]).unwrap_err().contains("no tag of its own"));
    }
}
