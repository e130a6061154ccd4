//! What a sheet would be taken over as, by what a person has said and what titles and values show.

use std::collections::{HashMap, HashSet};

use serde::Serialize;

use crate::jobs::file::bundle::FileFault;
use crate::jobs::sheets::ask::{Mapping, SheetFile, SheetLook, fitting, part};
use crate::jobs::sheets::take::open::Open;
use crate::jobs::sheets::texts::TitleRows;
use records::catalogue::kind::Kind;
use records::check::{OwnField, unknown_field};
use records::exchange::grid::{CellValue, Grid};
use records::exchange::mapped::{LeftOut, Rows, must};
use records::exchange::natural;
use records::exchange::propose;
use records::exchange::propose::Guess;
use records::exchange::tables::WHOLE;
use records::exchange::unread::SheetHint;
use records::value::tag::shown;
use records::{Error, Hint, Result, Store, Type, catalogue};

/// What a person has said of a sheet.
#[derive(Debug, Clone, Default)]
pub(super) struct Choices {
    pub(super) kind: Option<String>,
    /// The name that the mapping is kept under.
    pub(super) name: Option<String>,
    pub(super) header: Option<TitleRows>,
    /// Everything else. A field whose column is empty is left out.
    pub(super) by: Mapping,
    /// What is not sure is taken: somebody looks at it.
    pub(super) unsure: bool,
}

/// What a sheet would be taken over as.
#[derive(Serialize, Debug, Default)]
pub struct Plan {
    /// As it was read.
    pub look: SheetLook,
    /// Mappings that are kept and fit it: name, kind.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub fits: Vec<(String, String)>,
    /// Kinds of record that it may hold, the likeliest first.
    pub kinds: Vec<&'static str>,
    /// How it would be read.
    pub mapping: Mapping,
    /// Columns that may be a field, where another reading comes near: field, column. Taken only where somebody says so.
    pub unsure: Vec<(String, String)>,
    /// What nobody has said yet.
    pub open: Vec<Open>,
    /// The first records as they would be written: field, value.
    pub first: Vec<Vec<(String, String)>>,
    /// Rows that would be records.
    pub rows: usize,
    /// All of them.
    #[serde(skip)]
    pub(crate) all: Rows,
    /// What is wrong with cells.
    pub faults: Vec<FileFault>,
    /// What was left out, or taken as meant.
    pub remarks: Vec<String>,
    /// Rows, columns and tables that would stand in no record.
    pub left_out: LeftOut,
}

/// So many records are shown before anything is written.
const FIRST: usize = 3;

/// Works out what a sheet would be taken over as.
///
/// # Errors
/// The file is no sheet, the store cannot be read, or what was said cannot be meant.
pub(super) fn plan(store: &Store, file: &SheetFile, said: &Choices) -> Result<Plan> {
    let mut out = Plan { mapping: said.by.clone(), ..Plan::default() };
    let grid = match file.grid(said.by.sheet.as_deref()) {
        Ok(grid) => grid,
        Err(e) => {
            let Some(Hint::Sheet(SheetHint::Sheets(all))) = e.hints.first() else { return Err(e) };
            out.open.push(Open::Sheet(all.clone()));
            return Ok(out);
        }
    };
    let table = said.by.table.as_deref().filter(|t| !t.eq_ignore_ascii_case(WHOLE));
    let here = part(&grid, table, said.header, &file.name)?;
    out.look = here.look();
    out.fits = fitting(store, &grid)?;
    out.remarks.clone_from(&out.look.remarks);
    if here.tables.len() > 1 && said.by.table.is_none() {
        out.open.push(Open::Table(out.look.tables.clone()));
        return Ok(out);
    }
    // By its name, where no other has the same: a number may be another one's next month.
    let alone = here.tables.iter().filter(|t| t.name.eq_ignore_ascii_case(&here.name)).count() == 1;
    let named = Some(&here.name).filter(|name| !name.is_empty() && alone);
    out.mapping.table = table.map(|wanted| named.map_or(wanted, |n| n).to_string());
    (out.mapping.header, out.mapping.header_to) = (out.look.header, out.look.header_to);
    let own = store.own_fields()?;
    let kind_of = |tag: &str| store.look_up(tag).ok().flatten().map(|found| found.0);
    let columns = propose::columns(&here.grid, here.head, &kind_of);
    let guesses = propose::kinds(&columns, &own, &[&file.name, &grid.sheet, &here.name]);
    out.kinds = guesses.iter().take(3).map(|g| g.kind.name).collect();
    let kind = match (&said.kind, guesses.first()) {
        (Some(kind), _) => catalogue::find(kind).map_err(Error::input)?,
        (None, Some(guess)) if guess.sure || said.unsure => guess.kind,
        _ => {
            out.open.push(Open::Kind(out.kinds.clone()));
            return Ok(out);
        }
    };
    out.mapping.kind = kind.name.to_string();
    out.look.kind = Some(kind.name.to_string());
    for (field, column) in said.by.columns.iter().chain(&said.by.fill) {
        if type_of(kind, &own, field).is_none() {
            return Err(Error::input(unknown_field(kind, field, &own)));
        }
        let named = !column.is_empty() && said.by.columns.iter().any(|c| c.0 == *field);
        if named {
            out.look.means(field, column);
            out.mapping.places(&here.grid, column).map_err(|unread| {
                unread.error(&format!("{} line {}, {field}: ", shown(&file.name), out.mapping.header))
            })?;
        }
    }
    let settled: Vec<(String, String)> = said
        .by
        .columns
        .iter()
        .cloned()
        .chain(said.by.fill.iter().map(|f| (f.0.clone(), String::new())))
        .collect();
    out.columns(kind, propose::guesses(&columns, kind, &own, &settled), said.unsure);
    out.mapping.columns.retain(|c| !c.1.is_empty());
    let mut columns = std::mem::take(&mut out.mapping.columns);
    columns.sort_by_cached_key(|c| out.mapping.places(&here.grid, &c.1).unwrap_or_default());
    out.mapping.columns = columns;
    if out.mapping.habits.blanks.is_empty() {
        out.mapping.habits.blanks =
            propose::blanks(typed_texts(&here.grid, &out.mapping, kind, &own).iter().map(|t| t.1.as_str()));
    }
    out.filled(kind);
    if out.open.is_empty() {
        out.mapping.check(kind, &own).map_err(|unread| unread.error(""))?;
    }
    out.words(&here.grid, kind, &own);
    let rows = out.mapping.rows(&grid, kind, &own);
    out.read(file, rows);
    out.open.sort_by_key(Open::turn);
    Ok(out)
}

impl Plan {
    /// Takes what is sure of the guesses, and of a field that must be filled asks for the rest.
    fn columns(&mut self, kind: &Kind, guesses: Vec<Guess>, unsure: bool) {
        for guess in guesses {
            self.look.means(&guess.field, &guess.column);
            let pair = (guess.field.clone(), guess.column.clone());
            if !guess.sure {
                self.unsure.push(pair.clone());
            }
            if guess.sure || unsure {
                self.mapping.columns.push(pair);
            } else if must(kind).any(|m| m == guess.field) {
                self.open.push(Open::Unsure(guess.field, guess.column));
            }
        }
    }

    /// Asks for what must be filled and nothing fills; a tag may come from a pattern.
    fn filled(&mut self, kind: &'static Kind) {
        let mapping = &self.mapping;
        let filled: Vec<&str> = mapping.columns.iter().chain(&mapping.fill).map(|c| c.0.as_str()).collect();
        let tag = kind.tag_field().filter(|_| mapping.tag.is_none()).map(|f| f.name);
        let asked = |field: &str| self.open.iter().any(|o| matches!(o, Open::Unsure(f, _) if f == field));
        let missing: Vec<&str> = must(kind).filter(|m| !filled.contains(m) && !asked(m)).collect();
        let missing =
            missing.into_iter().filter(|m| kind.tag_field().is_none_or(|t| t.name != *m || tag.is_some()));
        let mut open = Vec::new();
        for field in missing {
            open.push(match Some(field) == tag {
                true => {
                    let mut all = filled.clone();
                    must(kind).for_each(|field| all.push(field));
                    Open::Tag(field.to_string(), propose::pattern(kind, &all))
                }
                false => Open::Fill(field.to_string()),
            });
        }
        // A pattern may name what is filled before it.
        open.sort_by_key(|o| matches!(o, Open::Tag(..)));
        self.open.extend(open);
    }

    /// Asks what the words of a sheet mean that a field does not have.
    fn words(&mut self, grid: &Grid, kind: &Kind, own: &[OwnField]) {
        let habits = self.mapping.habits.clone();
        let mut seen: Vec<(String, String)> = Vec::new();
        for (field, text) in typed_texts(grid, &self.mapping, kind, own) {
            let Some(words) = words_of(kind, own, &field) else { continue };
            let folded = text.to_lowercase();
            let known = words.iter().any(|w| *w == folded)
                || ["n/a", "n.a.", "illegible", "true", "false"].contains(&folded.as_str())
                || habits.blanks.contains(&text)
                || self.mapping.columns.iter().any(|c| c.0 == field && c.1.to_lowercase() == folded)
                || self.mapping.words.iter().any(|w| w.0 == field && w.1.trim().to_lowercase() == folded);
            if !known && !seen.contains(&(field.clone(), folded.clone())) && seen.len() < 20 {
                seen.push((field.clone(), folded));
                self.open.push(Open::Word {
                    meant: propose::word(&text, words),
                    field,
                    theirs: text,
                    ours: words,
                });
            }
        }
    }

    /// The first records, and what of the cells is open or wrong.
    fn read(&mut self, file: &SheetFile, rows: Rows) {
        let mut csv = csv::ReaderBuilder::new().has_headers(false).from_reader(rows.csv.as_slice());
        let mut lines = csv.records().flatten();
        let fields: Vec<String> = lines.next().map_or(Vec::new(), |l| l.iter().map(str::to_string).collect());
        for line in lines.take(FIRST) {
            let filled = fields.iter().zip(line.iter()).filter(|(_, value)| !value.is_empty());
            self.first.push(filled.map(|(f, v)| (f.clone(), natural(v).to_string())).collect());
        }
        self.rows = rows.lines.len();
        (self.remarks, self.left_out) = (rows.remarks.clone(), rows.left_out.clone());
        for (row, fault) in &rows.faults {
            match Open::of(fault) {
                Some(open)
                    if self
                        .open
                        .iter()
                        .all(|o| std::mem::discriminant(o) != std::mem::discriminant(&open)) =>
                {
                    self.open.push(open);
                }
                Some(_) => {}
                None => self.faults.push(FileFault::new(&file.name, *row, fault.clone())),
            }
        }
        self.all = rows;
    }
}

/// The words of a field that takes a few.
fn words_of(kind: &Kind, own: &[OwnField], field: &str) -> Option<&'static [&'static str]> {
    match type_of(kind, own, field)? {
        Type::Choice(words) => Some(words),
        _ => None,
    }
}

fn type_of(kind: &Kind, own: &[OwnField], field: &str) -> Option<Type> {
    let of_own = || own.iter().find(|o| o.record == kind.name && o.name == field).map(OwnField::holds);
    kind.field(field).map(|f| f.ty).or_else(of_own)
}

/// The texts below the titles of the columns of fields that take no free text, each once: field, text. Of a field that does
/// not take a few words only those that may stand where nothing is recorded.
fn typed_texts(grid: &Grid, mapping: &Mapping, kind: &Kind, own: &[OwnField]) -> Vec<(String, String)> {
    let mut at: HashMap<u32, (&str, usize)> = HashMap::new();
    for (field, column) in &mapping.columns {
        let longest = match type_of(kind, own, field) {
            None | Some(Type::Text | Type::Tag) => continue,
            Some(Type::Choice(_)) => 40,
            Some(_) => 3,
        };
        at.extend(
            mapping
                .places(grid, column)
                .unwrap_or_default()
                .into_iter()
                .map(|c| (c, (field.as_str(), longest))),
        );
    }
    let below = mapping.header_to.unwrap_or(mapping.header);
    let (mut seen, mut out) = (HashSet::new(), Vec::new());
    for ((_, c), held) in grid.cells.range((below, 0)..) {
        let (Some((field, longest)), CellValue::Text(text)) = (at.get(c), held) else { continue };
        let text = text.trim();
        if text.chars().count() <= *longest && seen.insert((*field, text)) {
            out.push(((*field).to_string(), text.to_string()));
        }
    }
    out
}
