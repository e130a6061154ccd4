//! A cell of a shop's own sheet as the text that a bundle holds: its dates, decimal marks and words.

mod numbers;
mod times;
mod units;
mod zone;

pub(crate) use crate::exchange::cells::numbers::{figures_and_rest, number};
pub(crate) use crate::exchange::cells::units::{is_bracketed_unit, is_unit, unit_of};

use serde::{Deserialize, Serialize};

use crate::Stamp;
use crate::catalogue::field::Type;
use crate::exchange::cells::numbers::{maybe_thousands, plain_marks, without_gaps};
use crate::exchange::cells::zone::zone_of;
use crate::exchange::grid::CellValue;
use crate::exchange::unread::Unread;

/// Which part of a date written with figures alone comes first.
#[derive(Serialize, Deserialize, Debug, Clone, Copy, PartialEq, Eq)]
#[serde(rename_all = "kebab-case")]
pub enum Order {
    /// 3.11.2031 is a day of November.
    DayFirst,
    /// 3/11/2031 is a day of March.
    MonthFirst,
}

/// How a shop writes.
#[derive(Serialize, Deserialize, Debug, Clone, Default, PartialEq)]
pub struct Habits {
    /// 1,5 is one and a half.
    pub decimal_comma: bool,
    /// Dates with the year last.
    pub dates: Option<Order>,
    /// Offset of its clock to UTC, where none is written: `+01:00`.
    pub offset: Option<String>,
    /// Time of day for a date alone: `00:00`.
    pub hour: Option<String>,
    /// What it writes where nothing is recorded.
    pub blanks: Vec<String>,
    /// The mark that parts no decimals parts thousands: 1.450 is one with decimal commas, 1,450 without.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub thousands: bool,
    /// The zone of its clock, with summer time, in place of an offset: `Europe/Berlin`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub zone: Option<String>,
}

impl Habits {
    /// The offset of its clock in minutes, where that is one that never changes.
    pub(crate) fn minutes(&self) -> Option<i32> {
        let offset = self.offset.as_deref().filter(|_| self.zone.is_none())?;
        let (sign, figures) = match offset.split_at_checked(1)? {
            ("+", figures) => (1, figures),
            ("-", figures) => (-1, figures),
            _ => return matches!(offset, "Z" | "z").then_some(0),
        };
        let (h, m) = figures.split_once(':')?;
        Some(sign * (60 * h.parse::<i32>().ok()? + m.parse::<i32>().ok()?))
    }
}

/// A way in which a cell was taken as meant, to be said once with the first of them.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Taken {
    /// It stood there as a spreadsheet counts days.
    DayNumber,
    /// A year of two figures was filled up.
    ShortYear,
    /// A mark parted thousands.
    Thousands,
}

impl Taken {
    /// In words, behind the number of cells.
    pub fn words(self) -> &'static str {
        match self {
            Self::DayNumber => "a date or time as a spreadsheet counts days",
            Self::ShortYear => "a year of two figures, 00 to 68 taken as 2000 to 2068",
            Self::Thousands => "a mark between thousands",
        }
    }
}

/// What a cell came to.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Written {
    /// As a bundle holds it.
    pub text: String,
    /// The time of day is not the sheet's own.
    pub hour_given: bool,
    /// Taken as meant in these ways.
    pub taken: Vec<Taken>,
}

/// The field that a cell is read for.
#[derive(Debug, Clone, Copy)]
pub struct Wanted<'a> {
    pub ty: Type,
    /// Its unit; empty where it has none.
    pub unit: &'a str,
}

/// What the cells of a column show together of the way in which they are written.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Seen {
    /// A number with a decimal comma stands there, and one with a decimal point.
    pub comma: bool,
    pub point: bool,
    /// A number stands there whose thousands can only be parted by commas, or by points.
    pub thousands_comma: bool,
    pub thousands_point: bool,
    /// A date that can only have its day first stands there, and one that can only have its month first.
    pub day_first: bool,
    pub month_first: bool,
}

impl Seen {
    /// Looks through the cells of a column.
    pub fn of<'c>(cells: impl Iterator<Item = &'c CellValue>) -> Self {
        let mut out = Self::default();
        cells.for_each(|cell| out.look(cell));
        out
    }

    /// Looks at one more cell.
    pub(crate) fn look(&mut self, cell: &CellValue) {
        if let CellValue::Text(text) = cell {
            self.marks(text.trim().trim_start_matches(['<', '≤', '=']).trim_start());
            self.dates(text);
        }
    }

    fn marks(&mut self, text: &str) {
        let (text, gaps) = without_gaps(text);
        let (figures, _) = figures_and_rest(&text);
        let (comma, point) = (figures.matches(',').count(), figures.matches('.').count());
        match plain_marks(figures) {
            Some((_, ',')) => (self.thousands_comma, self.point) = (true, self.point | (point == 1)),
            Some(_) => (self.thousands_point, self.comma) = (true, self.comma | (comma == 1)),
            None if comma + point == 1 && (gaps || !maybe_thousands(figures)) => {
                self.comma |= comma == 1;
                self.point |= point == 1;
            }
            None => {}
        }
    }

    fn dates(&mut self, text: &str) {
        for word in text.split_whitespace() {
            let parts: Vec<&str> = word.trim_end_matches([',', '.']).split(['.', '/', '-']).collect();
            let [a, b, year] = parts.as_slice() else { continue };
            let (Ok(a), Ok(b)) = (a.parse::<u8>(), b.parse::<u8>()) else { continue };
            // Of two figures the first may be the year, where the last may be a day.
            let last = match (year.len(), year.parse::<u16>()) {
                (4, Ok(_)) => true,
                (2, Ok(y)) => word.contains('.') || !(1..=31).contains(&y),
                _ => continue,
            };
            self.day_first |= last && (13..=31).contains(&a) && (1..=12).contains(&b);
            self.month_first |= (1..=12).contains(&a) && (13..=31).contains(&b);
        }
    }

    /// What the marks of both show.
    pub(crate) fn with_marks(self, other: Self) -> Self {
        Self {
            comma: self.comma | other.comma,
            point: self.point | other.point,
            thousands_comma: self.thousands_comma | other.thousands_comma,
            thousands_point: self.thousands_point | other.thousands_point,
            ..self
        }
    }

    /// What the dates of both show.
    pub(crate) fn with_dates(self, other: Self) -> Self {
        Self {
            day_first: self.day_first | other.day_first,
            month_first: self.month_first | other.month_first,
            ..self
        }
    }

    /// The order of its dates, where all that show one agree.
    pub(crate) fn order(self) -> Option<Order> {
        match (self.day_first, self.month_first) {
            (true, false) => Some(Order::DayFirst),
            (false, true) => Some(Order::MonthFirst),
            _ => None,
        }
    }
}

/// Reads the cells of one field: one, or for a time its date and its time of day.
///
/// # Errors
/// What is wrong, and what would be right.
pub fn read(of: Wanted, cells: &[&CellValue], habits: &Habits, seen: &Seen) -> Result<Written, Unread> {
    let cells: Vec<&CellValue> = cells
        .iter()
        .map(|c| if let CellValue::Formula(_, value) = c { value.as_ref() } else { *c })
        .filter(|c| !habits.is_blank(c))
        .collect();
    if let Some(CellValue::Odd(what)) = cells.iter().find(|c| matches!(c, CellValue::Odd(_))) {
        return Err(format!("is {what}").into());
    }
    let plain = |text: String| Ok(Written { text, ..Written::default() });
    let joined = || cells.iter().map(|c| c.text().trim().to_string()).collect::<Vec<_>>().join(" ");
    let text = joined();
    match text.to_lowercase().as_str() {
        "" => return plain(text),
        "n/a" | "n.a." => return plain("n/a".into()),
        "illegible" => return plain("illegible".into()),
        // ECMA-376-1, 18.17.3: what a formula gives that fails.
        "#div/0!" | "#n/a" | "#name?" | "#null!" | "#num!" | "#ref!" | "#value!" => {
            return Err(format!("is the error {text} of a formula").into());
        }
        _ => {}
    }
    let ways = Ways { habits, order: habits.dates.or_else(|| seen.order()) };
    match of.ty {
        Type::Time => times::time(&cells, ways),
        Type::Date => times::day(&cells, ways),
        Type::Moment => match times::time(&cells, ways) {
            Ok(at) if !at.hour_given => Ok(at),
            _ => times::day(&cells, ways),
        },
        _ if cells.iter().any(|c| matches!(c, CellValue::Moment(_))) => {
            Err("is a date in the sheet; format the column as text and write it again".into())
        }
        Type::Number | Type::Count => {
            let counted = matches!(of.ty, Type::Count);
            // A number of the spreadsheet itself has no mark to be in doubt of.
            if let [CellValue::Number(_)] = cells.as_slice() {
                return plain(text);
            }
            let read = number(&text, of.unit, counted, habits, seen)?;
            let taken = if read.thousands { vec![Taken::Thousands] } else { Vec::new() };
            Ok(Written { text: read.text, taken, ..Written::default() })
        }
        Type::Choice(words) => {
            let yes_no = match cells.as_slice() {
                [CellValue::Truth(true)] => "yes",
                [CellValue::Truth(false)] => "no",
                _ => &text,
            };
            plain(words.iter().find(|w| w.eq_ignore_ascii_case(yes_no)).map_or(text.clone(), |w| (*w).into()))
        }
        _ => plain(text),
    }
}

/// How a shop writes times, and the order of the dates in this column.
#[derive(Clone, Copy)]
struct Ways<'h> {
    habits: &'h Habits,
    order: Option<Order>,
}

impl Habits {
    /// Nothing is recorded there.
    pub fn is_blank(&self, cell: &CellValue) -> bool {
        matches!(cell, CellValue::Text(t) if t.trim().is_empty() || self.blanks.iter().any(|b| b == t.trim()))
    }

    /// Clock and hour are what they should be.
    ///
    /// # Errors
    /// What would be right.
    pub fn check(&self) -> Result<(), Unread> {
        let whole = |hour: &str, offset: &str| Stamp::parse(&format!("2031-01-01T{hour}:00{offset}"));
        if let Some(offset) = self.offset.as_deref().filter(|o| whole("00:00", o).is_err()) {
            return Err(format!("{offset} is no offset to UTC; +01:00 is one").into());
        }
        if let Some(zone) = &self.zone {
            zone_of(zone)?;
            if self.offset.is_some() {
                return Err("a clock has a zone or an offset that never changes, not both".into());
            }
        }
        if let Some(hour) = self.hour.as_deref().filter(|h| whole(h, "+00:00").is_err()) {
            return Err(format!("{hour} is no time of day; 00:00 is one").into());
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests;
