//! A cell of a shop's own sheet as the text that a bundle holds: its dates, decimal marks and words.

use serde::{Deserialize, Serialize};

use crate::Stamp;
use crate::catalogue::field::Type;
use crate::exchange::grid::{CellValue, Moment};

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
}

/// What a cell came to.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Written {
    /// As a bundle holds it.
    pub text: String,
    /// The time of day is not the sheet's own.
    pub hour_given: bool,
    /// It stood there as a spreadsheet counts days.
    pub day_number: bool,
}

/// Why a cell was not read.
#[derive(Debug, Clone, PartialEq)]
pub struct Unread {
    /// What is wrong, and what would be right.
    pub message: String,
    /// It can be read in two ways: to be asked once for all cells of its column.
    pub two_ways: bool,
}

impl From<String> for Unread {
    fn from(message: String) -> Self {
        Self { message, two_ways: false }
    }
}

impl From<&str> for Unread {
    fn from(message: &str) -> Self {
        message.to_string().into()
    }
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
    /// A date that can only have its day first stands there, and one that can only have its month first.
    pub day_first: bool,
    pub month_first: bool,
}

impl Seen {
    /// Looks through the cells of a column.
    pub fn of<'c>(cells: impl Iterator<Item = &'c CellValue>) -> Self {
        let mut out = Self::default();
        for cell in cells {
            let CellValue::Text(text) = cell else { continue };
            let (figures, _) = figures_and_rest(text.trim().trim_start_matches(['<', '≤', '=']).trim_start());
            let (comma, point) = (figures.matches(',').count(), figures.matches('.').count());
            let last = figures.rfind(',') > figures.rfind('.');
            out.comma |= comma == 1 && last && (point > 0 || !maybe_thousands(figures));
            out.point |= point == 1 && !last && (comma > 0 || !maybe_thousands(figures));
            for word in text.split_whitespace() {
                let parts: Vec<&str> = word.trim_end_matches([',', '.']).split(['.', '/', '-']).collect();
                let [a, b, year] = parts.as_slice() else { continue };
                let (Ok(a), Ok(b), 4) = (a.parse::<u8>(), b.parse::<u8>(), year.len()) else { continue };
                out.day_first |= (13..=31).contains(&a) && (1..=12).contains(&b);
                out.month_first |= (1..=12).contains(&a) && (13..=31).contains(&b);
            }
        }
        out
    }

    /// The order of its dates, where all that show one agree.
    fn order(self) -> Option<Order> {
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
        _ => {}
    }
    let ways = Ways { habits, order: habits.dates.or_else(|| seen.order()) };
    match of.ty {
        Type::Time => time(&cells, ways),
        Type::Date => day(&cells, ways),
        Type::Moment => match time(&cells, ways) {
            Ok(at) if !at.hour_given => Ok(at),
            _ => day(&cells, ways),
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
            plain(number(&text, of.unit, counted, habits, seen)?)
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

    /// Offset and hour are what they should be.
    ///
    /// # Errors
    /// What would be right.
    pub fn check(&self) -> Result<(), String> {
        let whole = |hour: &str, offset: &str| Stamp::parse(&format!("2031-01-01T{hour}:00{offset}"));
        if let Some(offset) = self.offset.as_deref().filter(|o| whole("00:00", o).is_err()) {
            return Err(format!("--offset {offset}: an offset to UTC is written +01:00"));
        }
        if let Some(hour) = self.hour.as_deref().filter(|h| whole(h, "+00:00").is_err()) {
            return Err(format!("--hour {hour}: a time of day is written 00:00"));
        }
        Ok(())
    }
}

/// The figures with which a text begins, and what stands behind them.
pub(crate) fn figures_and_rest(text: &str) -> (&str, &str) {
    let end = text.find(|c: char| !(c.is_ascii_digit() || ".,-+".contains(c))).unwrap_or(text.len());
    let (figures, rest) = text.split_at(end);
    // 1.2e-3
    if let Some(power) = rest.strip_prefix(['e', 'E']) {
        let sign = usize::from(power.starts_with(['+', '-']));
        let digits = power[sign..].bytes().take_while(u8::is_ascii_digit).count();
        if digits > 0 {
            let end = end + 1 + sign + digits;
            return (&text[..end], text[end..].trim());
        }
    }
    (figures, rest.trim())
}

/// One mark with three figures behind it and one to three before: 1.450 may be a thousand and more.
fn maybe_thousands(figures: &str) -> bool {
    let bare = figures.trim_start_matches(['-', '+']);
    let Some((before, after)) = bare.split_once([',', '.']) else { return false };
    (1..=3).contains(&before.len()) && !before.starts_with('0') && after.len() == 3
}

pub(crate) fn number(
    text: &str,
    unit: &str,
    counted: bool,
    habits: &Habits,
    seen: &Seen,
) -> Result<String, Unread> {
    let bare = text.replace(['\u{a0}', '\u{202f}'], " ").replace('≤', "<").replace('−', "-");
    let bare = bare.trim();
    let (below, bare) = match bare.strip_prefix('<') {
        Some(rest) => ("<", rest.trim_start_matches('=').trim_start()),
        None => ("", bare),
    };
    let (figures, rest) = figures_and_rest(bare);
    if figures.is_empty() {
        return Ok(text.to_string());
    }
    let pieces = ["pcs", "pc", "pieces", "stk", "stück", "ea"];
    let known = counted && pieces.contains(&rest.trim_end_matches('.').to_lowercase().as_str());
    if !rest.is_empty() && !known {
        if unit.is_empty() {
            return Err(format!("has {rest:?} beside the number; the field takes the number alone").into());
        }
        if unit_of(rest) != unit_of(unit) {
            return Err(format!("is in {rest}; the field is in {unit}, and nothing is converted").into());
        }
    }
    let decimal = match (figures.matches(',').count(), figures.matches('.').count()) {
        (0, 0) => figures.to_string(),
        (1, 0) | (0, 1) => {
            let comma = figures.contains(',');
            // A mark that the sheet is not known to write, where it may part thousands as well.
            let commas = habits.decimal_comma || (seen.comma && !seen.point);
            let undecided = if comma { !commas } else { habits.decimal_comma || seen.comma };
            if undecided && maybe_thousands(figures) {
                let how = match habits.decimal_comma {
                    true => "write it without thousands",
                    false if comma => {
                        "--decimal-comma, if that is the decimal mark of this sheet; else write it without"
                    }
                    false => "decimal commas stand in this column too; write it without thousands",
                };
                let (a, b) = (figures.replace([',', '.'], ""), figures.replace(',', "."));
                return Err(Unread { message: format!("may be {a} or {b}: {how}"), two_ways: true });
            }
            figures.replace(',', ".")
        }
        _ => {
            return Err("has a point or a comma for thousands: write it without".into());
        }
    };
    let whole = decimal.split_once('.').filter(|(_, rest)| counted && rest.bytes().all(|b| b == b'0'));
    Ok(format!("{below}{}", whole.map_or(decimal.as_str(), |(whole, _)| whole)))
}

/// A unit as people write it, in one spelling; what is no unit of a field stays as it is.
pub(crate) fn unit_of(text: &str) -> String {
    let plain: String = text.to_lowercase().chars().filter(|c| !c.is_whitespace() && *c != '.').collect();
    match plain.as_str() {
        "°c" | "c" | "degc" | "grad" | "gradc" | "℃" => "°c",
        "%" | "pct" | "percent" | "prozent" | "%rh" | "%rf" => "%",
        "s" | "sec" | "secs" | "sek" | "seconds" => "s",
        "min" | "mins" | "minutes" => "min",
        "h" | "hr" | "hrs" | "std" | "hours" => "h",
        "g/cm3" | "g/cm³" | "g/cc" => "g/cm³",
        "mm2" | "mm²" => "mm²",
        "mpa" | "n/mm2" | "n/mm²" => "mpa",
        "mbarl/s" | "mbar·l/s" | "mbar*l/s" => "mbarl/s",
        other => other,
    }
    .to_string()
}

/// It is a unit that a field may have, or one that is often written where a field has another.
pub(crate) fn is_unit(text: &str) -> bool {
    const ALL: [&str; 26] = [
        "°c", "%", "s", "min", "h", "g/cm³", "mm²", "mpa", "mbarl/s", "kg", "g", "mm", "ppm", "bar", "mbar",
        "hrc", "kw", "°f", "cm", "m", "µm", "lb", "lbs", "pa", "hpa", "ml/100g",
    ];
    ALL.contains(&unit_of(text).as_str())
}

/// A date and a time of day with its offset.
fn time(cells: &[&CellValue], ways: Ways) -> Result<Written, Unread> {
    let habits = ways.habits;
    let text = cells.iter().map(|c| c.text().trim().to_string()).collect::<Vec<_>>().join(" ");
    if Stamp::parse(&text).is_ok() {
        return Ok(Written { text, ..Written::default() });
    }
    let parts = parts(cells, ways)?;
    let date = parts.date.ok_or("is a time of day without a date")?;
    let hour = match (&parts.time, &habits.hour) {
        (Some(time), _) => time.clone(),
        (None, Some(hour)) => format!("{hour}:00"),
        (None, None) => {
            return Err(
                "is a date alone. --hour 00:00 takes the start of the day, and says so in the note; \
                        COLUMN+COLUMN joins a date and a time of day"
                    .into(),
            );
        }
    };
    let offset = parts.offset.or_else(|| habits.offset.clone()).ok_or(
        "has no offset to UTC; --offset +01:00 says which clock the shop keeps (summer and winter time apart)",
    )?;
    let text = format!("{date}T{hour}{offset}");
    Stamp::parse(&text).map_err(|e| e.split(';').next().unwrap_or("not a time").to_string())?;
    Ok(Written { text, hour_given: parts.time.is_none(), day_number: parts.day_number })
}

/// A date alone.
fn day(cells: &[&CellValue], ways: Ways) -> Result<Written, Unread> {
    let parts = parts(cells, ways)?;
    let date = parts.date.ok_or("is a time of day; a date belongs here")?;
    Stamp::parse_date(&date).map_err(|e| e.split(';').next().unwrap_or("not a date").to_string())?;
    Ok(Written { text: date, hour_given: false, day_number: parts.day_number })
}

#[derive(Default)]
struct Parts {
    date: Option<String>,
    time: Option<String>,
    offset: Option<String>,
    day_number: bool,
}

/// A date and a time of day as a spreadsheet counts them: days since the end of 1899.
///
/// Source: the 1900 date system, ECMA-376-1, 18.17.4.1; day 45306 is 2024-01-15.
fn counted_days(v: f64, out: &mut Parts) -> Result<(), Unread> {
    const DAY: f64 = 86_400.0;
    let seconds = (v * DAY).round();
    let (day, clock) = ((seconds / DAY).floor() as i64, (seconds % DAY) as u32);
    if day > 0 {
        let zero = chrono::NaiveDate::from_ymd_opt(1899, 12, 30);
        let date = zero.and_then(|z| z.checked_add_signed(chrono::TimeDelta::days(day)));
        let date = date.ok_or("is no day that a spreadsheet counts")?;
        once(&mut out.date, date.format("%Y-%m-%d").to_string(), "date")?;
    }
    if clock > 0 || day == 0 {
        let text = format!("{:02}:{:02}:{:02}", clock / 3600, clock / 60 % 60, clock % 60);
        once(&mut out.time, text, "time of day")?;
    }
    out.day_number = true;
    Ok(())
}

/// A number that is a day as a spreadsheet counts them (1954 to 2118), or a part of one.
fn day_number(cell: &CellValue) -> Option<f64> {
    let v = match cell {
        CellValue::Number(v) => *v,
        CellValue::Text(t) => {
            let t = t.trim();
            let plain = t.bytes().all(|b| b.is_ascii_digit() || matches!(b, b'.' | b','));
            t.replacen(',', ".", 1).parse().ok().filter(|_| plain)?
        }
        _ => return None,
    };
    ((20_000.0..80_000.0).contains(&v) || (0.0..1.0).contains(&v)).then_some(v)
}

fn parts(cells: &[&CellValue], ways: Ways) -> Result<Parts, Unread> {
    let mut out = Parts::default();
    for cell in cells {
        match cell {
            CellValue::Moment(Moment { date, time }) => {
                if let Some((y, m, d)) = date {
                    once(&mut out.date, format!("{y:04}-{m:02}-{d:02}"), "date")?;
                }
                if let Some((h, m, s, ms)) = time {
                    let fine = if *ms == 0 { String::new() } else { format!(".{ms:03}") };
                    once(&mut out.time, format!("{h:02}:{m:02}:{s:02}{fine}"), "time of day")?;
                }
            }
            other => {
                if let Some(v) = day_number(other) {
                    counted_days(v, &mut out)?;
                    continue;
                }
                let text = other.text().replace('\u{a0}', " ");
                if let Some(rest) = named_month(&text, &mut out)? {
                    for word in rest.split_whitespace() {
                        word_of(word, ways, &mut out)?;
                    }
                    continue;
                }
                // A date and its time of day may be joined by a T.
                let text = match text.split_once(['T', 't']) {
                    Some((day, rest)) if day.len() >= 8 && rest.starts_with(|c: char| c.is_ascii_digit()) => {
                        format!("{day} {rest}")
                    }
                    _ => text,
                };
                for word in text.split_whitespace() {
                    word_of(word, ways, &mut out)?;
                }
            }
        }
    }
    Ok(out)
}

fn once(slot: &mut Option<String>, value: String, what: &str) -> Result<(), Unread> {
    if slot.is_some() {
        return Err(format!("holds a second {what}").into());
    }
    *slot = Some(value);
    Ok(())
}

/// One word of a written time: a date, a time of day with or without its offset, AM or PM.
fn word_of(word: &str, ways: Ways, out: &mut Parts) -> Result<(), Unread> {
    let lower = word.trim_end_matches(',').to_ascii_lowercase();
    if let half @ ("am" | "pm" | "a.m." | "p.m.") = lower.as_str() {
        let hour = out.time.as_deref().and_then(|t| t.get(..2)?.parse::<u32>().ok());
        let (Some(hour @ 1..=12), Some(time)) = (hour, out.time.clone()) else {
            return Err(format!("has {word} beside no hour from 1 to 12").into());
        };
        let hour = hour % 12 + if half.starts_with('p') { 12 } else { 0 };
        out.time = Some(format!("{hour:02}{}", &time[2..]));
        return Ok(());
    }
    if lower.contains(':') {
        let end = lower.find(['+', '-', 'z']).unwrap_or(lower.len());
        let (clock, offset) = lower.split_at(end);
        if !offset.is_empty() {
            once(&mut out.offset, offset.to_uppercase(), "offset")?;
        }
        let figures: Vec<&str> = clock.split(':').collect();
        let sound = |f: &&str| !f.is_empty() && f.chars().all(|c| c.is_ascii_digit() || c == '.');
        if !(2..=3).contains(&figures.len()) || !figures.iter().all(sound) {
            return Err(format!("{word} is not a time of day; 7:45 or 07:45:30 is one").into());
        }
        let seconds = figures.get(2).copied().unwrap_or("00");
        return once(
            &mut out.time,
            format!("{:0>2}:{:0>2}:{seconds:0>2}", figures[0], figures[1]),
            "time of day",
        );
    }
    once(&mut out.date, date_of(&lower, ways)?, "date")
}

/// A date with the name of its month, whatever the order of day and month; what else stands there is given back.
fn named_month(text: &str, out: &mut Parts) -> Result<Option<String>, Unread> {
    const MONTHS: [&[&str]; 12] = [
        &["jan"],
        &["feb", "fév"],
        &["mar", "mär", "mrz"],
        &["apr", "avr"],
        &["may", "mai"],
        &["jun", "juin"],
        &["jul", "juil"],
        &["aug", "août"],
        &["sep"],
        &["oct", "okt"],
        &["nov"],
        &["dec", "dez", "déc"],
    ];
    let month_of = |word: &str| {
        let lower = word.to_lowercase();
        let letters = lower.chars().count() >= 3 && lower.chars().all(char::is_alphabetic);
        MONTHS.iter().position(|names| letters && names.iter().any(|n| lower.starts_with(n)))
    };
    let words: Vec<&str> = text.split([' ', '.', ',', '-', '/']).filter(|w| !w.is_empty()).collect();
    let Some(at) = words.iter().position(|w| month_of(w).is_some()) else { return Ok(None) };
    let month = month_of(words[at]).unwrap_or(0) + 1;
    let mut rest: Vec<&str> = Vec::new();
    let (mut day, mut year) = (None, None);
    for word in words.iter().enumerate().filter(|(i, _)| *i != at).map(|(_, w)| *w) {
        let figures = word.bytes().all(|b| b.is_ascii_digit());
        match word.len() {
            1 | 2 if figures && day.is_none() => day = Some(word),
            4 if figures && year.is_none() => year = Some(word),
            _ => rest.push(word),
        }
    }
    let (Some(day), Some(year)) = (day, year) else {
        return Err(format!("{text} is not a date; 2031-03-04 is one, and a year has four figures").into());
    };
    once(&mut out.date, format!("{year}-{month:02}-{day:0>2}"), "date")?;
    Ok(Some(rest.join(" ")))
}

fn date_of(word: &str, ways: Ways) -> Result<String, Unread> {
    let figures: Vec<&str> = word.trim_end_matches('.').split(['.', '/', '-']).collect();
    let sound = |f: &&str| !f.is_empty() && f.len() <= 4 && f.chars().all(|c| c.is_ascii_digit());
    let [a, b, c] = figures.as_slice() else {
        return Err(format!("{word} is not a date; 2031-03-04 is one").into());
    };
    if !figures.iter().all(sound) {
        return Err(format!("{word} is not a date; 2031-03-04 is one").into());
    }
    let small = |f: &str| f.parse::<u8>().is_ok_and(|n| n <= 12);
    let (year, month, day) = match (a.len(), c.len(), ways.order) {
        (4, 1 | 2, _) => (a, b, c),
        (1 | 2, 4, Some(Order::DayFirst)) => (c, b, a),
        (1 | 2, 4, Some(Order::MonthFirst)) => (c, a, b),
        // One of them is no month.
        (1 | 2, 4, None)
            if small(b) && (!small(a) || a.trim_start_matches('0') == b.trim_start_matches('0')) =>
        {
            (c, b, a)
        }
        (1 | 2, 4, None) if small(a) && !small(b) => (c, a, b),
        (1 | 2, 4, None) => {
            let message = format!(
                "may be read in two ways, {c}-{b:0>2}-{a:0>2} or {c}-{a:0>2}-{b:0>2}: --dates day-first or --dates \
                 month-first says which"
            );
            return Err(Unread { message, two_ways: true });
        }
        _ => return Err("has a year of two figures; a year is written with four".into()),
    };
    Ok(format!("{year}-{month:0>2}-{day:0>2}"))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn german() -> Habits {
        let given = |t: &str| Some(t.to_string());
        Habits {
            decimal_comma: true,
            dates: Some(Order::DayFirst),
            offset: given("+01:00"),
            hour: None,
            blanks: vec!["-".into()],
        }
    }

    fn in_field(ty: Type, cells: &[&CellValue], habits: &Habits) -> Result<Written, String> {
        read(Wanted { ty, unit: "" }, cells, habits, &Seen::default()).map_err(|e| e.message)
    }

    fn one(ty: Type, text: &str, habits: &Habits) -> Result<String, String> {
        in_field(ty, &[&CellValue::Text(text.into())], habits).map(|w| w.text)
    }

    /// A column of numbers in kg.
    fn column(texts: &[&str], habits: &Habits) -> Vec<Result<String, Unread>> {
        let cells: Vec<CellValue> = texts.iter().map(|t| CellValue::Text((*t).into())).collect();
        let (seen, of) = (Seen::of(cells.iter()), Wanted { ty: Type::Number, unit: "kg" });
        cells.iter().map(|c| read(of, &[c], habits, &seen).map(|w| w.text)).collect()
    }

    #[test]
    fn numbers_with_either_mark_and_their_unit() {
        let none = Habits::default();
        for (text, wanted) in [
            ("12,5", "12.5"),
            ("12.5", "12.5"),
            ("12,5 kg", "12.5"),
            ("12.5kg", "12.5"),
            ("0,125", "0.125"),
            ("1450,125", "1450.125"),
            ("-0.5", "-0.5"),
            ("−0.5", "-0.5"),
            ("<5", "<5"),
            ("< 0,02 kg", "<0.02"),
            ("1.2e-3", "1.2e-3"),
            ("1.250", "1.250"),
            ("N/A", "n/a"),
            ("12.5 \u{a0}", "12.5"),
        ] {
            for habits in [&none, &german()] {
                let read = &column(&[text], habits)[0];
                // With decimal commas 1.250 may be a thousand and a quarter of one.
                if text == "1.250" && habits.decimal_comma {
                    assert!(read.as_ref().unwrap_err().message.contains("1250 or 1.250"), "{read:?}");
                    continue;
                }
                assert_eq!(read.as_deref().ok(), Some(wanted), "{text}: {read:?}");
            }
        }
        for (text, part) in [
            ("1,250", "may be 1250 or 1.250"),
            ("1.250,5", "thousands"),
            ("12.5 g", "is in g; the field is in kg"),
            ("12.5 lbs", "is in lbs"),
        ] {
            let read = column(&[text], &none);
            assert!(read[0].as_ref().unwrap_err().message.contains(part), "{read:?}");
        }
        assert_eq!(column(&["1,250"], &german())[0].as_deref().ok(), Some("1.250"));
        let pct = Wanted { ty: Type::Number, unit: "%" };
        let share = read(pct, &[&CellValue::Text("0.02 %".into())], &none, &Seen::default()).unwrap();
        assert_eq!(share.text, "0.02");
        assert!(one(Type::Number, "0.02 %", &none).unwrap_err().contains("\"%\" beside the number"));
        assert_eq!(one(Type::Count, "24 pcs", &none).unwrap(), "24");
        assert_eq!(one(Type::Count, "24,0", &none).unwrap(), "24");
    }

    #[test]
    fn a_column_that_mixes_both_marks_says_what_it_does_not_decide() {
        let mixed = column(&["12,5", "12.5", "1.450"], &Habits::default());
        assert_eq!(mixed[..2], [Ok("12.5".to_string()), Ok("12.5".to_string())]);
        let asked = mixed[2].as_ref().unwrap_err();
        assert!(asked.two_ways && asked.message.contains("1450 or 1.450"), "{asked:?}");
    }

    #[test]
    fn a_column_of_dates_shows_its_order_where_one_of_them_does() {
        let none = Habits::default();
        let dates = |texts: &[&str]| -> Vec<Result<String, Unread>> {
            let cells: Vec<CellValue> = texts.iter().map(|t| CellValue::Text((*t).into())).collect();
            let (seen, of) = (Seen::of(cells.iter()), Wanted { ty: Type::Date, unit: "" });
            cells.iter().map(|c| read(of, &[c], &none, &seen).map(|w| w.text)).collect()
        };
        let texts = |d: Vec<Result<String, Unread>>| d.into_iter().map(Result::unwrap).collect::<Vec<_>>();
        assert_eq!(texts(dates(&["3.11.2031", "15.11.2031"])), ["2031-11-03", "2031-11-15"]);
        assert_eq!(texts(dates(&["3/11/2031", "11/15/2031"])), ["2031-03-11", "2031-11-15"]);
        assert_eq!(texts(dates(&["3.3.2031"])), ["2031-03-03"]);
        for undecided in [dates(&["3.11.2031"]), dates(&["3.11.2031", "15.11.2031", "11.15.2031"])] {
            let asked = undecided[0].as_ref().unwrap_err();
            assert!(asked.two_ways && asked.message.contains("2031-11-03 or 2031-03-11"), "{asked:?}");
            assert!(undecided[1..].iter().all(Result::is_ok));
        }
        let named = ["3 Nov 2031", "3. November 2031", "Nov 3, 2031", "3-nov-2031", "2031-Nov-03"];
        assert_eq!(texts(dates(&named)), ["2031-11-03"; 5]);
        assert_eq!(texts(dates(&["4. März 2031", "4 Dez 2031"])), ["2031-03-04", "2031-12-04"]);
    }

    #[test]
    fn days_as_a_spreadsheet_counts_them() {
        // 45306 is 2024-01-15 by the table of any spreadsheet; a third of a day is eight o'clock.
        for cell in [CellValue::Number(45306.0), CellValue::Text("45306".into())] {
            let day = in_field(Type::Date, &[&cell], &german()).unwrap();
            assert_eq!((day.text.as_str(), day.day_number), ("2024-01-15", true));
        }
        assert_eq!(one(Type::Time, "45306,333333333", &german()).unwrap(), "2024-01-15T08:00:00+01:00");
        assert!(one(Type::Time, "45306.999999999", &german()).unwrap_err().contains("date alone"));
        let (day, clock) = (CellValue::Text("15.1.2024".into()), CellValue::Number(0.375));
        let joined = in_field(Type::Time, &[&day, &clock], &german()).unwrap();
        assert_eq!(joined.text, "2024-01-15T09:00:00+01:00");
        assert!(one(Type::Date, "4530", &german()).is_err());
    }

    #[test]
    fn midnight_is_a_time_where_the_cell_shows_hours() {
        let midnight = CellValue::Moment(Moment { date: Some((2031, 3, 4)), time: Some((0, 0, 0, 0)) });
        let at = in_field(Type::Time, &[&midnight], &german()).unwrap();
        assert_eq!((at.text.as_str(), at.hour_given), ("2031-03-04T00:00:00+01:00", false));
    }

    #[test]
    fn times_as_people_write_them() {
        // By hand: 12 AM is midnight, 12 PM noon; a time with its own offset keeps it.
        let american =
            Habits { dates: Some(Order::MonthFirst), offset: Some("-05:00".into()), ..Habits::default() };
        for (text, habits, wanted) in [
            ("3.11.2031 7:45", german(), "2031-11-03T07:45:00+01:00"),
            ("03-11-2031, 07:45:30", german(), "2031-11-03T07:45:30+01:00"),
            ("2031/3/4 7:45", german(), "2031-03-04T07:45:00+01:00"),
            ("2031-03-04T07:45", german(), "2031-03-04T07:45:00+01:00"),
            ("2031-03-04T07:45:00Z", german(), "2031-03-04T07:45:00Z"),
            ("4.3.2031 7:45+02:00", german(), "2031-03-04T07:45:00+02:00"),
            ("3/4/2031 12:05 AM", american.clone(), "2031-03-04T00:05:00-05:00"),
            ("3/4/2031 12:05 PM", american.clone(), "2031-03-04T12:05:00-05:00"),
            ("3/4/2031 1:05 pm", american, "2031-03-04T13:05:00-05:00"),
        ] {
            assert_eq!(one(Type::Time, text, &habits).as_deref(), Ok(wanted), "{text}");
        }
    }

    #[test]
    fn what_may_be_read_in_two_ways_is_asked() {
        let none = Habits::default();
        for (ty, text, habits, part) in [
            (Type::Date, "3.11.2031", none.clone(), "two ways"),
            (Type::Date, "3.11.31", german(), "four"),
            (Type::Date, "31.2.2031", german(), "no such day"),
            (Type::Time, "3.11.2031", german(), "--hour"),
            (Type::Time, "2031-11-03 7:45", none.clone(), "--offset"),
            (Type::Time, "7:45", german(), "without a date"),
            (Type::Time, "3.11.2031 13:05 PM", german(), "1 to 12"),
            (Type::Time, "3.11.2031 4.11.2031", german(), "second date"),
            (Type::Number, "1,500", none, "--decimal-comma"),
            (Type::Number, "1.234,5", german(), "thousands"),
            (Type::Number, "1.500", german(), "1500 or 1.500"),
        ] {
            let fault = one(ty, text, &habits).unwrap_err();
            assert!(fault.contains(part), "{text}: {fault}");
        }
    }

    #[test]
    fn cells_of_a_spreadsheet() {
        let date = CellValue::Moment(Moment { date: Some((2031, 3, 4)), time: None });
        let clock = CellValue::Moment(Moment { date: None, time: Some((7, 45, 0, 0)) });
        let both = in_field(Type::Time, &[&date, &clock], &german()).unwrap();
        assert_eq!(both, Written { text: "2031-03-04T07:45:00+01:00".into(), ..Written::default() });
        let alone =
            in_field(Type::Time, &[&date], &Habits { hour: Some("00:00".into()), ..german() }).unwrap();
        assert_eq!(
            alone,
            Written { text: "2031-03-04T00:00:00+01:00".into(), hour_given: true, day_number: false }
        );
        assert!(in_field(Type::Tag, &[&date], &german()).unwrap_err().contains("text"));
        let formula = CellValue::Formula("A1*2".into(), Box::new(CellValue::Number(12.0)));
        assert_eq!(in_field(Type::Count, &[&formula], &german()).unwrap().text, "12");
        let yes = in_field(Type::Choice(&["yes", "no"]), &[&CellValue::Truth(true)], &german()).unwrap();
        assert_eq!(yes.text, "yes");
        assert_eq!(one(Type::Number, "<1,5", &german()).unwrap(), "<1.5");
        assert_eq!(one(Type::Number, "-", &german()).unwrap(), "");
    }
}
