//! Rows of a kind as columns, for the analyses: read once, without making a record of each.

use std::collections::HashMap;

use rusqlite::types::ValueRef;

use crate::Store;
use crate::catalogue::field::Type;
use crate::catalogue::kind::Kind;
use crate::error::{Error, Result};
use crate::read::shape;
use crate::read::shape::ColumnRole;

/// A word that was not recorded.
pub const NO_WORD: u32 = u32::MAX;

/// A reference or time that was not recorded.
pub const NOTHING: i64 = i64::MIN;

/// The rows of a kind, column by column.
#[derive(Clone, Debug, Default)]
pub struct Sheet {
    /// The integer keys; empty for a kind that has none, or where they were not wanted.
    pub ids: Vec<i64>,
    /// Number of rows.
    pub rows: usize,
    /// The columns that were asked for, in that order; then those that were glanced at, empty but for
    /// their words.
    pub columns: Vec<Cells>,
}

/// One column.
#[derive(Clone, Debug)]
pub enum Cells {
    /// Texts: an index into `levels`, or [`NO_WORD`].
    Words {
        /// One for each row.
        codes: Vec<u32>,
        /// The texts.
        levels: Vec<String>,
    },
    /// Numbers; NaN is not recorded, `<x` is x/2.
    Numbers {
        /// One for each row.
        values: Vec<f64>,
        /// The rows that were below detection.
        below: Vec<u32>,
    },
    /// Integer keys of other records, or [`NOTHING`].
    Links {
        /// One for each row.
        ids: Vec<i64>,
        /// Some row named the revision it means.
        named: bool,
    },
    /// Packed times, or [`NOTHING`].
    Times(Vec<i64>),
}

impl Cells {
    /// The keys of a column of references; empty for any other.
    pub fn links(&self) -> &[i64] {
        match self {
            Self::Links { ids, .. } => ids,
            _ => &[],
        }
    }

    /// The packed times of a column of times; empty for any other.
    pub fn times(&self) -> &[i64] {
        match self {
            Self::Times(t) => t,
            _ => &[],
        }
    }

    /// The numbers of a column of numbers; empty for any other.
    pub fn numbers(&self) -> &[f64] {
        match self {
            Self::Numbers { values, .. } => values,
            _ => &[],
        }
    }

    /// The word in a row, where it has one.
    pub fn word(&self, row: usize) -> Option<&str> {
        match self {
            Self::Words { codes, levels } => levels.get(*codes.get(row)? as usize).map(String::as_str),
            _ => None,
        }
    }
}

/// Fills a column row by row.
struct Filler {
    cells: Cells,
    known: HashMap<String, u32>,
    /// The text of the row before and its code: files have runs.
    last: (String, u32),
    /// Only the newest row is held.
    glance: bool,
}

impl Filler {
    fn new(ty: Type, role: ColumnRole) -> Self {
        let cells = match (role, ty) {
            (ColumnRole::Id(_) | ColumnRole::SubjectId, _) => Cells::Links { ids: Vec::new(), named: false },
            (ColumnRole::Plain, Type::Time) => Cells::Times(Vec::new()),
            (ColumnRole::Plain, Type::Number | Type::Count) => {
                Cells::Numbers { values: Vec::new(), below: Vec::new() }
            }
            _ => Cells::Words { codes: Vec::new(), levels: Vec::new() },
        };
        Self { cells, known: HashMap::new(), last: (String::new(), NO_WORD), glance: false }
    }

    fn word(&mut self, text: &str) -> u32 {
        if self.last.1 != NO_WORD && self.last.0 == text {
            return self.last.1;
        }
        let code = match self.known.get(text) {
            Some(&code) => code,
            None => {
                let code = self.known.len() as u32;
                self.known.insert(text.to_string(), code);
                if let Cells::Words { levels, .. } = &mut self.cells {
                    levels.push(text.to_string());
                }
                code
            }
        };
        self.last.0.clear();
        self.last.0.push_str(text);
        self.last.1 = code;
        code
    }

    fn push(&mut self, cell: ValueRef<'_>) {
        if self.glance {
            self.clear();
        }
        let word = match (&self.cells, cell) {
            (Cells::Words { .. }, ValueRef::Text(t)) => {
                std::str::from_utf8(t).map_or(NO_WORD, |t| self.word(t))
            }
            (Cells::Words { .. }, ValueRef::Integer(i)) => self.word(&i.to_string()),
            _ => NO_WORD,
        };
        match (&mut self.cells, cell) {
            (Cells::Words { codes, .. }, _) => codes.push(word),
            (Cells::Numbers { values, .. }, ValueRef::Real(v)) => values.push(v),
            (Cells::Numbers { values, .. }, ValueRef::Integer(v)) => values.push(v as f64),
            (Cells::Numbers { values, .. }, _) => values.push(f64::NAN),
            (Cells::Links { ids, .. }, ValueRef::Integer(v)) => ids.push(v),
            (Cells::Links { ids, .. }, _) => ids.push(NOTHING),
            (Cells::Times(times), ValueRef::Integer(v)) => times.push(v),
            (Cells::Times(times), _) => times.push(NOTHING),
        }
    }

    fn reserve(&mut self, rows: usize) {
        match &mut self.cells {
            Cells::Words { codes, .. } => codes.reserve_exact(rows),
            Cells::Links { ids, .. } => ids.reserve_exact(rows),
            Cells::Times(times) => times.reserve_exact(rows),
            Cells::Numbers { values, .. } => values.reserve_exact(rows),
        }
    }

    /// Lets go of what was pushed so far.
    fn clear(&mut self) {
        match &mut self.cells {
            Cells::Words { codes, .. } => codes.clear(),
            Cells::Links { ids, .. } => ids.clear(),
            Cells::Times(times) => times.clear(),
            Cells::Numbers { values, below } => {
                values.clear();
                below.clear();
            }
        }
    }

    /// Takes the row that was pushed last back, or puts it in the place of another.
    fn take_back(&mut self, place: Option<usize>) {
        match &mut self.cells {
            Cells::Words { codes, .. } => take_back(codes, place),
            Cells::Links { ids, .. } => take_back(ids, place),
            Cells::Times(times) => take_back(times, place),
            Cells::Numbers { values, below } => {
                take_back(values, place);
                let under = below.pop_if(|row| *row as usize == values.len()).is_some();
                if let Some(place) = place {
                    below.retain(|row| *row as usize != place);
                    below.extend(under.then_some(place as u32));
                }
            }
        }
    }

    /// A column of which `extra` may say more: a time finer than it, a revision that was named.
    fn keeps_both(&self) -> bool {
        matches!(self.cells, Cells::Times(_) | Cells::Links { .. })
    }

    /// What stands in `extra` for the field, in the row that was pushed last.
    fn add_extra(&mut self, text: &str) {
        match &mut self.cells {
            Cells::Links { named, .. } => *named = true,
            Cells::Numbers { values, below } => {
                let half = text.strip_prefix('<').and_then(|t| t.trim().parse::<f64>().ok());
                let row = values.len().saturating_sub(1) as u32;
                if let (Some(v), Some(last)) = (half, values.last_mut()) {
                    *last = v / 2.0;
                    below.push(row);
                } else if let (Ok(v), Some(last)) = (text.parse::<f64>(), values.last_mut()) {
                    *last = v;
                }
            }
            // A time finer than the column holds: the column's is near enough. Marks are no words.
            Cells::Times(_) => {}
            Cells::Words { .. } if matches!(text, "" | "n/a" | "illegible") => {}
            Cells::Words { .. } => {
                let code = self.word(text);
                if let Cells::Words { codes, .. } = &mut self.cells {
                    if let Some(last) = codes.last_mut() {
                        *last = code;
                    }
                }
            }
        }
    }
}

/// What is read of a kind, and what of it is kept.
#[derive(Clone, Copy, Debug, Default)]
pub struct Wanted<'a> {
    /// Fields by name, each a column.
    pub fields: &'a [&'a str],
    /// Fields that the choice looks at, numbered after the columns: they are not kept, their words are.
    pub glances: &'a [&'a str],
    /// Whether the integer keys are kept.
    pub keys: bool,
    /// What the rows must meet.
    pub condition: &'a str,
    /// Room for so many rows is made at once: columns that grow leave holes.
    pub room: usize,
}

/// What becomes of a row that was read.
pub enum Choice {
    /// It is kept.
    Take,
    /// It is not kept.
    Leave,
    /// It stands where this one stood.
    InsteadOf(usize),
}

/// The row that was read last.
pub struct Newest<'a> {
    /// Its integer key; 0 where the kind has none.
    pub id: i64,
    fillers: &'a [Filler],
}

impl Newest<'_> {
    pub fn word(&self, column: usize) -> Option<&str> {
        let cells = &self.fillers.get(column)?.cells;
        let Cells::Words { codes, .. } = cells else { return None };
        cells.word(codes.len().checked_sub(1)?)
    }

    /// The code of the word in a column, or [`NO_WORD`].
    pub fn code(&self, column: usize) -> u32 {
        match self.fillers.get(column).map(|f| &f.cells) {
            Some(Cells::Words { codes, .. }) => codes.last().copied().unwrap_or(NO_WORD),
            _ => NO_WORD,
        }
    }

    /// The key in a column of references, or [`NOTHING`].
    pub fn link(&self, column: usize) -> i64 {
        self.last(column, Cells::links).unwrap_or(NOTHING)
    }

    /// The packed time in a column, or [`NOTHING`].
    pub fn time(&self, column: usize) -> i64 {
        self.last(column, Cells::times).unwrap_or(NOTHING)
    }

    /// The number in a column; NaN is not recorded.
    pub fn number(&self, column: usize) -> f64 {
        self.last(column, Cells::numbers).unwrap_or(f64::NAN)
    }

    fn last<T: Copy>(&self, column: usize, of: fn(&Cells) -> &[T]) -> Option<T> {
        self.fillers.get(column).and_then(|f| of(&f.cells).last().copied())
    }
}

/// Takes the last off a list, and puts it where it belongs if it belongs anywhere.
fn take_back<T>(list: &mut Vec<T>, place: Option<usize>) {
    if let (Some(last), Some(place)) = (list.pop(), place.and_then(|p| list.get_mut(p))) {
        *place = last;
    }
}

impl Store {
    /// Columns of a kind: fields by name (a field that may refer to several kinds by the name of its
    /// column), the foundry's own fields too. Rows in the order of the keys.
    ///
    /// # Errors
    /// The store cannot be read, or there is no such field.
    pub fn sheet(&self, kind: &'static Kind, fields: &[&str]) -> Result<Sheet> {
        let wanted = Wanted { fields, keys: true, ..Wanted::default() };
        self.sheet_chosen(kind, wanted, [], |_| Ok(Choice::Take))
    }

    /// As [`Store::sheet`], of the rows that meet a condition and are then chosen one by one.
    ///
    /// # Errors
    /// As [`Store::sheet`], and what the choice says.
    pub fn sheet_chosen<P: rusqlite::Params>(
        &self,
        kind: &'static Kind,
        wanted: Wanted<'_>,
        parameters: P,
        mut choose: impl FnMut(&Newest) -> Result<Choice>,
    ) -> Result<Sheet> {
        let shape = shape::of(kind);
        let own = self.own_fields()?;
        let mut names = Vec::new();
        let mut fillers = Vec::new();
        // Where the field's value stands in the row, and its name in `extra`.
        let mut place: Vec<(Option<usize>, &str)> = Vec::new();
        let Wanted { fields, glances, keys, condition, room } = wanted;
        for &wanted in fields.iter().chain(glances) {
            if let Some(column) = shape.columns.iter().find(|c| c.name == wanted) {
                let field = kind.all_fields().nth(column.field);
                let Some(field) = field else {
                    return Err(Error::untrusted(format!("{} has no field {wanted}", kind.name)));
                };
                place.push((Some(names.len()), field.name));
                names.push(format!("\"{}\"", column.name));
                fillers.push(Filler::new(field.ty, column.role));
            } else if let Some(own) = own.iter().find(|o| o.record == kind.name && o.name == wanted) {
                let ty = if own.ty == "number" { Type::Number } else { Type::Text };
                place.push((None, wanted));
                fillers.push(Filler::new(ty, ColumnRole::Plain));
            } else {
                return Err(Error::untrusted(format!("{} has no field {wanted}", kind.name)));
            }
        }
        fillers.iter_mut().skip(fields.len()).for_each(|f: &mut Filler| f.glance = true);
        fillers.iter_mut().take(fields.len()).for_each(|f| f.reserve(room));
        if shape.has_id {
            names.push("id".into());
        }
        names.push("extra".into());
        let order = if shape.has_id { " ORDER BY id" } else { "" };
        let sql = format!("SELECT {} FROM {}{condition}{order}", names.join(", "), kind.name);
        let mut sheet = Sheet::default();
        let mut query = self.db.prepare_cached(&sql)?;
        let mut rows = query.query(parameters)?;
        let extra_at = names.len() - 1;
        while let Some(row) = rows.next()? {
            for (filler, (at, _)) in fillers.iter_mut().zip(&place) {
                match at {
                    Some(at) => filler.push(row.get_ref(*at)?),
                    None => filler.push(ValueRef::Null),
                }
            }
            let id = if shape.has_id { row.get(extra_at - 1)? } else { 0 };
            if let ValueRef::Text(extra) = row.get_ref(extra_at)? {
                let extra: serde_json::Map<String, serde_json::Value> = serde_json::from_slice(extra)
                    .map_err(|_| {
                        Error::untrusted(format!("{}: a row's extra is no JSON object", kind.name))
                    })?;
                for (filler, (at, name)) in fillers.iter_mut().zip(&place) {
                    let Some(text) = extra.get(*name).and_then(|v| v.as_str()) else { continue };
                    let beside = at.is_some_and(|at| {
                        !matches!(row.get_ref(at), Ok(ValueRef::Null | ValueRef::Text(b"")))
                    });
                    if beside && !filler.keeps_both() {
                        return Err(Error::untrusted(format!(
                            "{}: a row's extra speaks for {name}, which its column holds; see which: meltkin verify",
                            kind.name
                        )));
                    }
                    filler.add_extra(text);
                }
            }
            let place = match choose(&Newest { id, fillers: &fillers })? {
                Choice::Take => {
                    sheet.rows += 1;
                    if shape.has_id && keys {
                        sheet.ids.push(id);
                    }
                    continue;
                }
                Choice::Leave => None,
                Choice::InsteadOf(place) => Some(place),
            };
            fillers.iter_mut().for_each(|f| f.take_back(place));
            if let Some(kept) = place.and_then(|p| sheet.ids.get_mut(p)) {
                *kept = id;
            }
        }
        fillers.iter_mut().skip(fields.len()).for_each(Filler::clear);
        sheet.columns = fillers.into_iter().map(|f| f.cells).collect();
        Ok(sheet)
    }
}
