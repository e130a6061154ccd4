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
}

/// Reads the cells of one field: one, or for a time its date and its time of day.
///
/// # Errors
/// What is wrong, and what would be right.
pub fn read(ty: Type, cells: &[&CellValue], habits: &Habits) -> Result<Written, String> {
    let cells: Vec<&CellValue> = cells
        .iter()
        .map(|c| if let CellValue::Formula(_, value) = c { value.as_ref() } else { *c })
        .filter(|c| !habits.is_blank(c))
        .collect();
    if let Some(CellValue::Odd(what)) = cells.iter().find(|c| matches!(c, CellValue::Odd(_))) {
        return Err(format!("is {what}"));
    }
    let plain = |text: String| Ok(Written { text, hour_given: false });
    let joined = || cells.iter().map(|c| c.text().trim().to_string()).collect::<Vec<_>>().join(" ");
    let text = joined();
    if text.is_empty() || matches!(text.as_str(), "n/a" | "illegible") {
        return plain(text);
    }
    match ty {
        Type::Time => time(&cells, habits),
        Type::Date => day(&cells, habits).and_then(plain),
        Type::Moment => match time(&cells, habits) {
            Ok(at) if !at.hour_given => Ok(at),
            _ => day(&cells, habits).and_then(plain),
        },
        _ if cells.iter().any(|c| matches!(c, CellValue::Moment(_))) => {
            Err("is a date in the sheet; format the column as text and write it again".into())
        }
        Type::Number | Type::Count => plain(number(&text, habits)?),
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

fn number(text: &str, habits: &Habits) -> Result<String, String> {
    let bare = text.replace(['\u{a0}', '\u{202f}'], " ").replace('≤', "<");
    let bare = bare.trim().to_string();
    match (bare.contains(','), bare.contains('.'), habits.decimal_comma) {
        (false, true, true) | (true, true, _) => {
            Err("has a point or a comma for thousands, or the wrong decimal mark: write it without thousands"
                .into())
        }
        (true, false, true) => Ok(bare.replacen(',', ".", 1)),
        (true, false, false) => {
            Err("has a comma; if that is the decimal mark of this sheet: --decimal-comma".into())
        }
        _ => Ok(bare),
    }
}

/// A date and a time of day with its offset.
fn time(cells: &[&CellValue], habits: &Habits) -> Result<Written, String> {
    let text = cells.iter().map(|c| c.text().trim().to_string()).collect::<Vec<_>>().join(" ");
    if Stamp::parse(&text).is_ok() {
        return Ok(Written { text, hour_given: false });
    }
    let parts = parts(cells, habits)?;
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
    Ok(Written { text, hour_given: parts.time.is_none() })
}

/// A date alone.
fn day(cells: &[&CellValue], habits: &Habits) -> Result<String, String> {
    let date = parts(cells, habits)?.date.ok_or("is a time of day; a date belongs here")?;
    Stamp::parse_date(&date).map_err(|e| e.split(';').next().unwrap_or("not a date").to_string())?;
    Ok(date)
}

#[derive(Default)]
struct Parts {
    date: Option<String>,
    time: Option<String>,
    offset: Option<String>,
}

fn parts(cells: &[&CellValue], habits: &Habits) -> Result<Parts, String> {
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
                let text = other.text().replace('\u{a0}', " ");
                // A date and its time of day may be joined by a T.
                let text = match text.split_once(['T', 't']) {
                    Some((day, rest)) if day.len() >= 8 && rest.starts_with(|c: char| c.is_ascii_digit()) => {
                        format!("{day} {rest}")
                    }
                    _ => text,
                };
                for word in text.split_whitespace() {
                    word_of(word, habits, &mut out)?;
                }
            }
        }
    }
    Ok(out)
}

fn once(slot: &mut Option<String>, value: String, what: &str) -> Result<(), String> {
    if slot.is_some() {
        return Err(format!("holds a second {what}"));
    }
    *slot = Some(value);
    Ok(())
}

/// One word of a written time: a date, a time of day with or without its offset, AM or PM.
fn word_of(word: &str, habits: &Habits, out: &mut Parts) -> Result<(), String> {
    let lower = word.trim_end_matches(',').to_ascii_lowercase();
    if let half @ ("am" | "pm" | "a.m." | "p.m.") = lower.as_str() {
        let hour = out.time.as_deref().and_then(|t| t.get(..2)?.parse::<u32>().ok());
        let (Some(hour @ 1..=12), Some(time)) = (hour, out.time.clone()) else {
            return Err(format!("has {word} beside no hour from 1 to 12"));
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
            return Err(format!("{word} is not a time of day; 7:45 or 07:45:30 is one"));
        }
        let seconds = figures.get(2).copied().unwrap_or("00");
        return once(
            &mut out.time,
            format!("{:0>2}:{:0>2}:{seconds:0>2}", figures[0], figures[1]),
            "time of day",
        );
    }
    once(&mut out.date, date_of(&lower, habits)?, "date")
}

fn date_of(word: &str, habits: &Habits) -> Result<String, String> {
    let figures: Vec<&str> = word.trim_end_matches('.').split(['.', '/', '-']).collect();
    let sound = |f: &&str| !f.is_empty() && f.len() <= 4 && f.chars().all(|c| c.is_ascii_digit());
    let [a, b, c] = figures.as_slice() else {
        return Err(format!("{word} is not a date; 2031-03-04 is one"));
    };
    if !figures.iter().all(sound) {
        return Err(format!("{word} is not a date; 2031-03-04 is one"));
    }
    let (year, month, day) = match (a.len(), c.len(), habits.dates) {
        (4, 1 | 2, _) => (a, b, c),
        (1 | 2, 4, Some(Order::DayFirst)) => (c, b, a),
        (1 | 2, 4, Some(Order::MonthFirst)) => (c, a, b),
        (1 | 2, 4, None) => {
            return Err("may be read in two ways: --dates day-first or --dates month-first says which".into());
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

    fn one(ty: Type, text: &str, habits: &Habits) -> Result<String, String> {
        read(ty, &[&CellValue::Text(text.into())], habits).map(|w| w.text)
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
            (Type::Number, "1,5", none, "--decimal-comma"),
            (Type::Number, "1.234,5", german(), "thousands"),
            (Type::Number, "1.5", german(), "decimal mark"),
        ] {
            let fault = one(ty, text, &habits).unwrap_err();
            assert!(fault.contains(part), "{text}: {fault}");
        }
    }

    #[test]
    fn cells_of_a_spreadsheet() {
        let date = CellValue::Moment(Moment { date: Some((2031, 3, 4)), time: None });
        let clock = CellValue::Moment(Moment { date: None, time: Some((7, 45, 0, 0)) });
        let both = read(Type::Time, &[&date, &clock], &german()).unwrap();
        assert_eq!(both, Written { text: "2031-03-04T07:45:00+01:00".into(), hour_given: false });
        let alone = read(Type::Time, &[&date], &Habits { hour: Some("00:00".into()), ..german() }).unwrap();
        assert_eq!(alone, Written { text: "2031-03-04T00:00:00+01:00".into(), hour_given: true });
        assert!(read(Type::Tag, &[&date], &german()).unwrap_err().contains("text"));
        let formula = CellValue::Formula("A1*2".into(), Box::new(CellValue::Number(12.0)));
        assert_eq!(read(Type::Count, &[&formula], &german()).unwrap().text, "12");
        let yes = read(Type::Choice(&["yes", "no"]), &[&CellValue::Truth(true)], &german()).unwrap();
        assert_eq!(yes.text, "yes");
        assert_eq!(one(Type::Number, "<1,5", &german()).unwrap(), "<1.5");
        assert_eq!(one(Type::Number, "-", &german()).unwrap(), "");
    }
}
