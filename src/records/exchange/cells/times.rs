//! Dates and times of day as people and spreadsheets write them.

use chrono::NaiveDateTime;

use crate::Stamp;
use crate::exchange::cells::zone::{offset_at, zone_of};
use crate::exchange::cells::{Habits, Order, Taken, Ways, Written};
use crate::exchange::grid::{CellValue, Moment};
use crate::exchange::unread::{SheetHint, Unread};

/// A date and a time of day with its offset.
pub(super) fn time(cells: &[&CellValue], ways: Ways) -> Result<Written, Unread> {
    let habits = ways.habits;
    let text = cells.iter().map(|c| c.text().trim().to_string()).collect::<Vec<_>>().join(" ");
    if Stamp::parse(&text).is_ok() {
        return Ok(Written { text, ..Written::default() });
    }
    let parts = parts(cells, ways)?;
    let date = parts.date.ok_or("is a time of day without a date")?;
    sound(&date)?;
    let hour = match (&parts.time, &habits.hour) {
        (Some(time), _) => time.clone(),
        (None, Some(hour)) => format!("{hour}:00"),
        (None, None) => {
            return Err(Unread::hint("is a date alone, and a time belongs here", SheetHint::Hour));
        }
    };
    let offset = match parts.offset {
        Some(offset) => offset,
        None => habits.offset_at(&date, &hour)?,
    };
    let text = format!("{date}T{hour}{offset}");
    Stamp::parse(&text).map_err(|e| e.split(';').next().unwrap_or("not a time").to_string())?;
    Ok(Written { text, hour_given: parts.time.is_none(), taken: parts.taken })
}

impl Habits {
    /// The offset of the shop's clock when it shows this.
    fn offset_at(&self, date: &str, hour: &str) -> Result<String, Unread> {
        if let Some(offset) = &self.offset {
            return Ok(offset.clone());
        }
        let Some(zone) = &self.zone else {
            return Err(Unread::hint("has no offset to UTC", SheetHint::Clock));
        };
        // What is no time is said where it is read whole.
        let shown = NaiveDateTime::parse_from_str(&format!("{date}T{hour}"), "%Y-%m-%dT%H:%M:%S%.f");
        shown.map_or_else(|_| Ok("+00:00".into()), |shown| offset_at(zone_of(zone)?, shown))
    }
}

/// A date is none of a foundry that stands before all that its sheets can count.
fn sound(date: &str) -> Result<(), Unread> {
    match date < FIRST_YEAR {
        true => Err(format!("is before {FIRST_YEAR}; is the year right?").into()),
        false => Ok(()),
    }
}

/// A date alone.
pub(super) fn day(cells: &[&CellValue], ways: Ways) -> Result<Written, Unread> {
    let parts = parts(cells, ways)?;
    let date = parts.date.ok_or("is a time of day; a date belongs here")?;
    sound(&date)?;
    Stamp::parse_date(&date).map_err(|e| e.split(';').next().unwrap_or("not a date").to_string())?;
    Ok(Written { text: date, hour_given: false, taken: parts.taken })
}

#[derive(Default)]
struct Parts {
    date: Option<String>,
    time: Option<String>,
    offset: Option<String>,
    taken: Vec<Taken>,
}

impl Parts {
    fn take(&mut self, how: Taken) {
        if !self.taken.contains(&how) {
            self.taken.push(how);
        }
    }
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
    out.take(Taken::DayNumber);
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

/// The first year of which a spreadsheet counts the days.
const FIRST_YEAR: &str = "1900";

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
    let date = date_of(&lower, ways, out)?;
    once(&mut out.date, date, "date")
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
            4 if figures && year.is_none() => year = Some(word.to_string()),
            2 if figures && year.is_none() => {
                year = Some(full_year(word));
                out.take(Taken::ShortYear);
            }
            _ => rest.push(word),
        }
    }
    let (Some(day), Some(year)) = (day, year) else {
        return Err(format!("{text} is not a date; 2031-03-04 is one").into());
    };
    once(&mut out.date, format!("{year}-{month:02}-{day:0>2}"), "date")?;
    Ok(Some(rest.join(" ")))
}

/// A year of two figures, filled up. Source: POSIX.1-2017, strptime, %y: 69 to 99 are years of the twentieth century.
fn full_year(two: &str) -> String {
    let century = if two.parse::<u8>().is_ok_and(|y| y >= 69) { "19" } else { "20" };
    format!("{century}{two}")
}

fn date_of(word: &str, ways: Ways, out: &mut Parts) -> Result<String, Unread> {
    let figures: Vec<&str> = word.trim_end_matches('.').split(['.', '/', '-']).collect();
    let sound = |f: &&str| !f.is_empty() && f.len() <= 4 && f.chars().all(|c| c.is_ascii_digit());
    let [a, b, c] = figures.as_slice() else {
        return Err(format!("{word} is not a date; 2031-03-04 is one").into());
    };
    if !figures.iter().all(sound) {
        return Err(format!("{word} is not a date; 2031-03-04 is one").into());
    }
    let small = |f: &str| f.parse::<u8>().is_ok_and(|n| n <= 12);
    if let (4, 1 | 2) = (a.len(), c.len()) {
        return Ok(format!("{a}-{b:0>2}-{c:0>2}"));
    }
    let (1 | 2, 1 | 2, 2 | 4) = (a.len(), b.len(), c.len()) else {
        return Err("has no year of four figures, or of two at its end".into());
    };
    let short = c.len() == 2;
    let year = if short { full_year(c) } else { (*c).to_string() };
    // Of two figures, and no points between them, the first may be the year as well.
    let year_first = short && !word.contains('.');
    if year_first && a.parse::<u8>().is_ok_and(|n| n > 31) {
        return Err("has a year of two figures in front; write it with four".into());
    }
    let (month, day) = match ways.order {
        Some(Order::DayFirst) => (b, a),
        Some(Order::MonthFirst) => (a, b),
        // One of them is no month.
        None if small(a) && !small(b) => (a, b),
        None if !year_first
            && small(b)
            && (!small(a) || a.trim_start_matches('0') == b.trim_start_matches('0')) =>
        {
            (b, a)
        }
        None => {
            let mut readings = vec![format!("{year}-{b:0>2}-{a:0>2}"), format!("{year}-{a:0>2}-{b:0>2}")];
            if year_first && a.len() == 2 {
                readings.push(format!("{}-{b:0>2}-{c:0>2}", full_year(a)));
            }
            readings.retain(|r| Stamp::parse_date(r).is_ok());
            readings.dedup();
            let ways = if readings.len() > 2 { "three ways" } else { "two ways" };
            let message = format!("may be read in {ways}, {}", readings.join(" or "));
            return Err(Unread::hint(message, SheetHint::Dates));
        }
    };
    if short {
        out.take(Taken::ShortYear);
    }
    Ok(format!("{year}-{month:0>2}-{day:0>2}"))
}
