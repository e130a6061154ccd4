//! What the cells of a column are, and how well they fit a field.

use std::collections::{BTreeMap, BTreeSet};

use crate::catalogue::field::{FieldInfo, Type};
use crate::catalogue::kind::Kind;
use crate::exchange::cells;
use crate::exchange::cells::{Habits, Order, Seen, Wanted, is_unit, unit_of};
use crate::exchange::grid::{CellValue, Grid, Moment};
use crate::exchange::propose::words::{TitleWords, WHEN};
use crate::exchange::titles::{title_unit, titles};

/// So many cells of a column are looked at, and so many of them looked up.
const LOOKED_AT: usize = 200;
const LOOKED_UP: usize = 12;

/// What stands where nothing was recorded.
pub(super) const BLANKS: [&str; 8] = ["-", "--", "---", "–", "—", "/", ".", "?"];

/// A column below its titles.
pub struct Column {
    pub(super) at: u32,
    pub(super) title: String,
    pub(super) words: TitleWords,
    unit: Option<String>,
    /// Cells that hold something, up to so many.
    pub(super) n: usize,
    numbers: usize,
    whole: usize,
    dates: usize,
    /// Days as a spreadsheet counts them, which are numbers as well.
    serials: usize,
    /// Times of day without a date.
    pub(super) clocks: usize,
    /// Dates without a time of day.
    pub(super) days: usize,
    /// Its different texts, folded.
    pub(super) texts: BTreeSet<String>,
    /// Of which kinds the records are whose tags stand in it.
    tags: Vec<&'static str>,
    looked_up: usize,
}

/// How the cells of a column fit a field.
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd)]
pub(super) enum Fit {
    No,
    Plain,
    Good,
    Sure,
}

/// The columns of a sheet below these rows of titles, from 0. `kind_of` says of which kind the record of a tag is.
pub fn columns(grid: &Grid, head: (u32, u32), kind_of: &dyn Fn(&str) -> Option<&'static str>) -> Vec<Column> {
    let mut below: BTreeMap<u32, Vec<&CellValue>> = BTreeMap::new();
    for ((_, at), held) in grid.cells.range((head.1 + 1, 0)..) {
        let column = below.entry(*at).or_default();
        if column.len() < LOOKED_AT {
            column.push(held);
        }
    }
    let of = |(at, title): (u32, String)| {
        Column::of(at, title, below.get(&at).map_or(&[], Vec::as_slice), kind_of)
    };
    titles(grid, head.0, head.1).into_iter().map(of).collect()
}

impl Column {
    fn of(
        at: u32,
        title: String,
        below: &[&CellValue],
        kind_of: &dyn Fn(&str) -> Option<&'static str>,
    ) -> Self {
        // A title may be a unit alone, but for a letter, which may stand for anything.
        let whole = || Some(title.trim()).filter(|t| t.len() > 1 && is_unit(t));
        let unit = title_unit(&title).or_else(whole).map(unit_of);
        let mut out = Self {
            at,
            words: TitleWords::of(&title),
            title,
            unit,
            n: 0,
            numbers: 0,
            whole: 0,
            dates: 0,
            serials: 0,
            clocks: 0,
            days: 0,
            texts: BTreeSet::new(),
            tags: Vec::new(),
            looked_up: 0,
        };
        for held in below {
            let held = if let CellValue::Formula(_, value) = held { value.as_ref() } else { *held };
            let text = held.text().trim().to_string();
            let none = ["n/a", "n.a.", "illegible"].contains(&text.to_lowercase().as_str());
            if !none && !BLANKS.contains(&text.as_str()) {
                out.cell(held, &text);
                if out.texts.insert(text.to_lowercase()) && out.looked_up < LOOKED_UP && text.len() <= 40 {
                    out.looked_up += 1;
                    out.tags.extend(kind_of(&text));
                }
            }
        }
        out
    }

    fn cell(&mut self, held: &CellValue, text: &str) {
        self.n += 1;
        let number = match held {
            CellValue::Number(v) => Some(*v),
            CellValue::Text(_) => number(text),
            _ => None,
        };
        match (held, number) {
            (_, Some(v)) => {
                self.numbers += 1;
                self.whole += usize::from(v.fract() == 0.0);
                self.serials += usize::from((20_000.0..80_000.0).contains(&v));
                self.clocks += usize::from(v > 0.0 && v < 1.0 && matches!(held, CellValue::Number(_)));
            }
            (CellValue::Moment(Moment { date, time }), _) => {
                self.dates += usize::from(date.is_some());
                self.clocks += usize::from(date.is_none());
                self.days += usize::from(time.is_none());
            }
            (CellValue::Text(_), None) => {
                if let Some(day_alone) = date(held) {
                    self.dates += 1;
                    self.days += usize::from(day_alone);
                } else {
                    let clock = |c: char| c.is_ascii_digit() || ":.apmAPM ".contains(c);
                    self.clocks += usize::from(text.contains(':') && text.chars().all(clock));
                }
            }
            _ => {}
        }
    }

    /// At least four of five.
    fn most(&self, of: usize) -> bool {
        self.n > 0 && 5 * of >= 4 * self.n
    }

    /// Times of day alone.
    pub(super) fn is_clock(&self) -> bool {
        self.most(self.clocks)
    }

    /// Dates alone, in most of its cells.
    pub(super) fn is_days(&self) -> bool {
        self.most(self.days) || self.most(self.serials)
    }

    /// How its cells fit a field.
    pub(super) fn fits(&self, kind: &Kind, field: &FieldInfo) -> Fit {
        if let Some(unit) = &self.unit {
            let numeric = matches!(field.ty, Type::Number);
            if !numeric || (!field.unit().is_empty() && unit_of(field.unit()) != *unit) {
                return Fit::No;
            }
        }
        if self.n == 0 {
            return Fit::Plain;
        }
        let when = self.most(self.dates) || self.is_clock();
        let dated = self.most(self.dates) || (self.most(self.serials) && self.words.asks(WHEN));
        let yes = |fits: bool, fit: Fit| if fits { fit } else { Fit::No };
        match field.ty {
            Type::Number => yes(self.most(self.numbers), Fit::Good),
            Type::Count => yes(self.most(self.whole), Fit::Good),
            Type::Time | Type::Date | Type::Moment => yes(dated, Fit::Good),
            Type::Choice(words) => {
                let known = self.texts.iter().filter(|t| words.contains(&t.as_str())).count();
                match 5 * known >= 4 * self.texts.len() {
                    true if words.contains(&"yes") => Fit::Good,
                    true => Fit::Sure,
                    false => yes(!when && !self.most(self.numbers) && self.texts.len() <= 12, Fit::Plain),
                }
            }
            _ if when => Fit::No,
            Type::Ref(kinds) => self.leads(&|k| kinds.contains(&k)),
            Type::AnyTag => self.leads(&|_| true),
            Type::Tag => match self.leads(&|k| k == kind.name) {
                Fit::Sure => Fit::Good,
                other => other,
            },
            Type::Text | Type::RevisionOf(_) => Fit::Plain,
        }
    }

    /// Whether the records of its tags are of a kind that may be referred to.
    fn leads(&self, admits: &dyn Fn(&str) -> bool) -> Fit {
        let (found, right) = (self.tags.len(), self.tags.iter().filter(|k| admits(k)).count());
        match () {
            () if 2 * found < self.looked_up && self.numbers > self.whole => Fit::No,
            () if 2 * found < self.looked_up || found == 0 => Fit::Plain,
            () if 2 * right > found => Fit::Sure,
            () => Fit::No,
        }
    }

    /// Its title names the unit of this field.
    pub(super) fn in_unit_of(&self, field: &FieldInfo) -> bool {
        !field.unit().is_empty() && self.unit.as_deref() == Some(unit_of(field.unit()).as_str())
    }
}

/// A number, with or without a unit.
fn number(text: &str) -> Option<f64> {
    let (_, rest) = cells::figures_and_rest(text.trim_start_matches(['<', '≤', ' ']));
    let unit = if is_unit(rest) { rest } else { "" };
    let habits = Habits { thousands: true, ..Habits::default() };
    let read = cells::number(text, unit, false, &habits, &Seen::default()).ok()?;
    read.text.trim_start_matches('<').parse().ok()
}

/// Whether a text is a date, and then whether it has no time of day.
fn date(held: &CellValue) -> Option<bool> {
    [Order::DayFirst, Order::MonthFirst].iter().find_map(|order| {
        let habits = Habits {
            dates: Some(*order),
            offset: Some("+00:00".into()),
            hour: Some("00:00".into()),
            ..Habits::default()
        };
        let of = Wanted { ty: Type::Time, unit: "" };
        let read = cells::read(of, &[held], &habits, &Seen::default()).ok()?;
        read.text.contains('T').then_some(read.hour_given)
    })
}
