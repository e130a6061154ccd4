//! Times and dates as people write them: `9:05`, `31.12. 14:00`, `2026-11-30 16:00`, `-10 min`, `now`.
//!
//! What is left out is filled up from the clock that is handed in: the day, the year, the offset. A time lies in the past
//! where it can; only where what is to come may stand (a due date, a plan) the nearest counts, before or after. Whoever
//! asks is told what was filled up. Bundles hold times in full and are not read here.

use crate::catalogue::field::{FieldInfo, Type};
use crate::check::own_time::{SLACK_MIN, may_lie_ahead};
use crate::value::Value;
use crate::value::stamp::Stamp;

const MINUTE_MS: i64 = 60_000;
const HOUR_MS: i64 = 3_600_000;
const DAY_MS: i64 = 86_400_000;

/// What a clock on the wall that shows this has for an offset to UTC, in minutes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Offsets {
    One(i32),
    /// It shows this twice: the clocks go back.
    Twice(i32, i32),
    /// It never shows this: the clocks go forward.
    Never,
}

/// How a place keeps its time: what a wall clock that shows so many milliseconds since 1970 has for an offset. Nothing
/// where that is not known: then the offset of now counts for every day.
#[derive(Clone, Copy, Debug, Default)]
pub struct TimeZone(Option<fn(i64) -> Offsets>);

impl TimeZone {
    /// A place of which this is known.
    pub fn known(offsets: fn(i64) -> Offsets) -> Self {
        Self(Some(offsets))
    }
}

/// The clock that a text is read by.
#[derive(Clone, Copy, Debug)]
pub struct Clock {
    pub now: Stamp,
    pub zone: TimeZone,
}

impl From<Stamp> for Clock {
    /// A clock whose offset is the same on every day.
    fn from(now: Stamp) -> Self {
        Self { now, zone: TimeZone::default() }
    }
}

/// A time or date as it was understood.
#[derive(Clone, Debug, PartialEq)]
pub struct Understood {
    /// As records hold it.
    pub text: String,
    /// When; of a date its midnight UTC.
    pub at: Stamp,
    /// What was taken as meant where more than one thing could be.
    pub doubt: Option<String>,
}

impl Understood {
    fn time(at: Stamp) -> Self {
        Self { text: at.text(), at, doubt: None }
    }

    fn date(days: i64) -> Self {
        let at = Stamp::new(days * DAY_MS, 0);
        Self { text: at.text()[..10].to_string(), at, doubt: None }
    }

    /// As a person reads it, in full: `2026-11-29 09:05 +01:00`, a date as it stands.
    pub fn in_full(&self) -> String {
        let seconds = if self.at.ms() % MINUTE_MS == 0 { 16 } else { 19 };
        match (self.text.get(..10), self.text.get(11..seconds)) {
            (Some(day), Some(time)) => format!("{day} {time} {}", &self.text[self.text.len() - 6..]),
            _ => self.text.clone(),
        }
    }

    /// Beside a field, as short as it can be: `yesterday 23:50`.
    pub fn in_short(&self, now: Stamp) -> String {
        let Some(time) = self.text.get(11..16) else { return self.text.clone() };
        let day = match local_day(now) - local_day(self.at) {
            _ if self.at.offset_min() != now.offset_min() => self.text[..10].to_string(),
            0 => "today".into(),
            1 => "yesterday".into(),
            -1 => "tomorrow".into(),
            _ => self.text[..10].to_string(),
        };
        format!("{day} {time}")
    }
}

/// Reads what stands in a field that holds a time or a date; nothing where it holds something else, or a word for what is
/// missing.
///
/// # Errors
/// What is wrong and what would be right.
///
/// ```
/// use records::Stamp;
/// use records::value::time_text::{Clock, of_field};
/// let clock = Clock::from(Stamp::parse("2031-05-26T00:05:00+02:00").unwrap());
/// let poured = records::catalogue::kind("pours").unwrap().field("poured_at").unwrap();
/// let read = of_field(poured, "23:50", clock).unwrap().unwrap();
/// assert_eq!(read.text, "2031-05-25T23:50:00+02:00");
/// assert_eq!(read.in_short(clock.now), "yesterday 23:50");
/// ```
pub fn of_field(field: &FieldInfo, text: &str, clock: Clock) -> Result<Option<Understood>, String> {
    let text = text.trim();
    let word = field.optional && matches!(text, "n/a" | "illegible");
    if text.is_empty() || word {
        return Ok(None);
    }
    match field.ty {
        Type::Time => time(text, clock, may_lie_ahead(field)).map(Some),
        Type::Date => date(text, clock).map(Some),
        Type::Moment => moment(text, clock).map(Some),
        _ => Ok(None),
    }
}

/// A text for a field as the store takes it, with what was understood where it was not written in full.
///
/// # Errors
/// As [`of_field`].
pub fn in_full(field: &FieldInfo, text: &str, clock: Clock) -> Result<Option<(String, Understood)>, String> {
    // What a bundle could hold is taken as it stands, to the last digit.
    if Value::read(field, text).is_ok() {
        return Ok(None);
    }
    Ok(of_field(field, text, clock)?.map(|read| (read.text.clone(), read)))
}

/// A date, or else a time.
///
/// # Errors
/// It is neither.
pub fn moment(text: &str, clock: Clock) -> Result<Understood, String> {
    date(text, clock).or_else(|_| time(text, clock, true)).map_err(|_| {
        "neither a time nor a date; write 31.12. 14:00, 2031-03-04 09:05 or a date such as 2031-03-04".into()
    })
}

/// A date: `2031-03-04`, `4.3.2031`, `4.3.` (the nearest), `today`, `+30` (days).
///
/// # Errors
/// What is wrong and what would be right.
pub fn date(text: &str, clock: Clock) -> Result<Understood, String> {
    let fault = |what: &str| format!("{what}; a date is written 2031-03-04, or 4.3. for the nearest");
    let text = text.trim();
    let today = local_day(clock.now);
    if text.eq_ignore_ascii_case("now") || text.eq_ignore_ascii_case("today") {
        return Ok(Understood::date(today));
    }
    if let Some((n, unit)) = counted(text) {
        return match unit {
            "" | "d" | "day" | "days" if n.abs() <= 100_000.0 && n.fract() == 0.0 => {
                Ok(Understood::date(today + n as i64))
            }
            _ => Err(fault("not a number of days")),
        };
    }
    let (days, doubt) = match day(text).map_err(|what| fault(&what))? {
        Day::Of(days) => (days, None),
        Day::OfSomeYear(d, m) => {
            let days = nearest_day(d, m, today).ok_or_else(|| fault("there is no such day"))?;
            (days, Some(of_year(d, m, Stamp::new(days * DAY_MS, 0))))
        }
    };
    Ok(Understood { doubt, ..Understood::date(days) })
}

/// A time: `9:05`, `31.12. 14:00`, `31.12.2030 14:00`, `2026-11-30 16:00`, `-10` or `-10 min`, `-2 h`, `now`, or in full with
/// its offset. `ahead`: it may be one to come.
///
/// # Errors
/// What is wrong and what would be right.
pub fn time(text: &str, clock: Clock, ahead: bool) -> Result<Understood, String> {
    let fault =
        |what: &str| format!("{what}; a time is written 9:05, 31.12. 14:00, -10 min or 2031-03-04 09:05");
    let text = text.trim();
    if text.eq_ignore_ascii_case("now") {
        return Ok(Understood::time(clock.now));
    }
    if let Ok(at) = Stamp::parse(text) {
        return Ok(Understood::time(at));
    }
    if let Some((n, unit)) = counted(text) {
        let each = match unit {
            "" | "m" | "min" => MINUTE_MS,
            "h" => HOUR_MS,
            "s" => 1000,
            "d" | "day" | "days" => DAY_MS,
            _ => return Err(fault("not so many s, min, h or d")),
        };
        let by = n * each as f64;
        let most = 100_000.0 * DAY_MS as f64;
        return match by.abs() <= most {
            true => Ok(Understood::time(clock.now.later_ms(by as i64))),
            false => Err(fault("too far from now")),
        };
    }
    let (date, of_day) = match text.rsplit_once([' ', 'T', 't']) {
        Some((date, of_day)) if !date.is_empty() => (date.trim_end(), of_day),
        _ => ("", text),
    };
    let (of_day, offset) = split_offset(of_day);
    let of_day = time_of_day(of_day).map_err(|what| fault(&what))?;
    let offset = offset.map(offset_min).transpose().map_err(|what| fault(&what))?;
    if date.is_empty() {
        return clock_time(of_day, offset, clock, ahead).map_err(|what| fault(&what));
    }
    let dated = |days: i64| stamp(days * DAY_MS + of_day, offset, clock);
    match day(date).map_err(|what| fault(&what))? {
        Day::Of(days) => {
            let (at, doubt) = dated(days);
            Ok(Understood { doubt: doubt.map_err(|what| fault(&what))?, ..Understood::time(at) })
        }
        Day::OfSomeYear(d, m) => {
            let year = clock.now.date().0;
            // A 29th of February may be eight years away.
            let all = (year - 8..=year + 8).filter_map(|y| days_of(y, m, d)).map(dated);
            let (at, doubt) =
                nearest(all, clock.now, ahead).ok_or_else(|| fault("there is no such time of that day"))?;
            // The year before is not meant where this year's hour was none.
            let twice = doubt.map_err(|what| fault(&what))?.is_some();
            let doubt = of_year(d, m, at) + if twice { "; the clocks go back then" } else { "" };
            Ok(Understood { doubt: Some(doubt), ..Understood::time(at) })
        }
    }
}

/// A time of day alone: today's, yesterday's, or where it may lie ahead, tomorrow's.
fn clock_time(of_day: i64, offset: Option<i32>, clock: Clock, ahead: bool) -> Result<Understood, String> {
    let today = local_day(clock.now);
    let days = (today - 2)..=(today + 2);
    let all = days.map(|day| stamp(day * DAY_MS + of_day, offset, clock));
    let (at, doubt) = nearest(all, clock.now, ahead).ok_or("there is no such time of day")?;
    let mut out = Understood { doubt: doubt?, ..Understood::time(at) };
    if out.doubt.is_none() && (clock.now.minutes_since(at).abs() - 720.0).abs() < 1.0 {
        // Half a day away the other half of the clock's face may have been meant.
        let when = if at.ms() < clock.now.ms() { "12 h ago" } else { "12 h from now" };
        out.doubt = Some(format!("{when}; if now was meant: {}", &clock.now.text()[11..16]));
    }
    Ok(out)
}

/// The latest that is not to come; where it may be, the nearest, of two as near the earlier.
fn nearest<T>(all: impl Iterator<Item = (Stamp, T)>, now: Stamp, ahead: bool) -> Option<(Stamp, T)> {
    if ahead {
        return all.min_by_key(|(at, _)| ((at.ms() - now.ms()).abs(), at.ms()));
    }
    all.filter(|(at, _)| at.minutes_since(now) <= SLACK_MIN).max_by_key(|(at, _)| at.ms())
}

const MONTHS: [&str; 12] = [
    "January",
    "February",
    "March",
    "April",
    "May",
    "June",
    "July",
    "August",
    "September",
    "October",
    "November",
    "December",
];

/// The instant at which a clock on the wall shows so much, and what is in doubt of it. Where it never does, about when that
/// would have been, and that it was not.
fn stamp(local_ms: i64, offset: Option<i32>, clock: Clock) -> (Stamp, Result<Option<String>, String>) {
    let with = |offset: i32| Stamp::new(local_ms - i64::from(offset) * MINUTE_MS, offset);
    if let Some(offset) = offset {
        return (with(offset), Ok(None));
    }
    let offsets = clock.zone.0.map_or(Offsets::One(clock.now.offset_min()), |zone| zone(local_ms));
    match offsets {
        Offsets::One(offset) => (with(offset), Ok(None)),
        Offsets::Never => {
            let (year, month, day) = Stamp::new(local_ms, 0).date();
            let month = MONTHS[month as usize - 1];
            let why = format!("that hour did not exist on {day} {month} {year}: the clocks went forward");
            (with(clock.now.offset_min()), Err(why))
        }
        Offsets::Twice(a, b) => {
            let (first, second) = (with(a).min(with(b)), with(a).max(with(b)));
            // The second is the nearer one, unless it is still to come.
            let one = if second.minutes_since(clock.now) <= SLACK_MIN { second } else { first };
            let offset = &one.text()[19..];
            (one, Ok(Some(format!("the clocks go back then, and show it twice: taken with {offset}"))))
        }
    }
}

enum Day {
    /// Days since 1970.
    Of(i64),
    /// Day and month.
    OfSomeYear(u32, u32),
}

/// `2031-03-04`, `4.3.2031` or `4.3.`
fn day(text: &str) -> Result<Day, String> {
    if let Ok(at) = Stamp::parse_date(text) {
        return Ok(Day::Of(at.ms() / DAY_MS));
    }
    let parts: Vec<&str> = text.split('.').map(str::trim).collect();
    let small = |t: &str| (1..=2).contains(&t.len()).then(|| whole(t)).flatten();
    let (d, m, year) = match parts.as_slice() {
        [d, m, y] => (small(d), small(m), *y),
        [d, m] => (small(d), small(m), ""),
        _ => return Err(if text.contains('-') { "there is no such day".into() } else { "no day".into() }),
    };
    let (Some(d), Some(m)) = (d, m) else { return Err("no day".into()) };
    if year.is_empty() {
        // A leap year has every day.
        return days_of(2000, m, d).map(|_| Day::OfSomeYear(d, m)).ok_or("there is no such day".into());
    }
    let year = Some(year).filter(|y| y.len() == 4).and_then(whole).ok_or("a year has four digits")?;
    days_of(i64::from(year), m, d).map(Day::Of).ok_or("there is no such day".into())
}

fn days_of(year: i64, m: u32, d: u32) -> Option<i64> {
    Stamp::parse_date(&format!("{year:04}-{m:02}-{d:02}")).ok().map(|at| at.ms().div_euclid(DAY_MS))
}

/// The nearest such day; of two as near the earlier.
fn nearest_day(d: u32, m: u32, today: i64) -> Option<i64> {
    let year = Stamp::new(today * DAY_MS, 0).date().0;
    let all = (year - 8..=year + 8).filter_map(|y| days_of(y, m, d));
    all.min_by_key(|days| ((days - today).abs(), *days))
}

fn of_year(d: u32, m: u32, at: Stamp) -> String {
    format!("{d}.{m}. taken as that of {}", at.date().0)
}

/// `+5`, `-10 min`, `-2h`: the number and its unit.
fn counted(text: &str) -> Option<(f64, &str)> {
    let (sign, rest) = match text.as_bytes().first()? {
        b'+' => (1.0, &text[1..]),
        b'-' => (-1.0, &text[1..]),
        _ => return None,
    };
    let rest = rest.trim_start();
    let end = rest.find(|c: char| !c.is_ascii_digit() && c != '.').unwrap_or(rest.len());
    let n: f64 = rest[..end].parse().ok()?;
    Some((sign * n, rest[end..].trim_start()))
}

/// Milliseconds since midnight of `9:05` or `9:05:30`.
fn time_of_day(text: &str) -> Result<i64, String> {
    let mut parts = text.split(':');
    let (h, m, s, more) = (parts.next().unwrap_or(""), parts.next(), parts.next(), parts.next());
    let Some(m) = m.filter(|_| more.is_none()) else {
        return Err(if day(text).is_ok() { "a date without a time of day".into() } else { "no time".into() });
    };
    let two = |t: &str| Some(t).filter(|t| t.len() == 2).and_then(whole);
    let hour = (1..=2).contains(&h.len()).then(|| whole(h)).flatten();
    match (hour, two(m), s.map_or(Some(0), two)) {
        (Some(h), Some(m), Some(s)) if h < 24 && m < 60 && s < 60 => {
            Ok(i64::from(h) * HOUR_MS + i64::from(m) * MINUTE_MS + i64::from(s) * 1000)
        }
        (Some(_), Some(_), Some(_)) => Err("there is no such time of day".into()),
        _ => Err("no time".into()),
    }
}

/// A time of day and the offset behind it, where there is one.
fn split_offset(text: &str) -> (&str, Option<&str>) {
    match text.find(['+', '-', 'Z', 'z']) {
        Some(at) => (&text[..at], Some(&text[at..])),
        None => (text, None),
    }
}

fn offset_min(text: &str) -> Result<i32, String> {
    // The reader of full times knows what an offset is.
    let full = Stamp::parse(&format!("2031-01-01T00:00:00{text}"));
    full.map(Stamp::offset_min).map_err(|_| "not an offset".into())
}

fn whole(text: &str) -> Option<u32> {
    if text.bytes().all(|b| b.is_ascii_digit()) { text.parse().ok() } else { None }
}

/// The local day, counted from 1970.
fn local_day(at: Stamp) -> i64 {
    (at.ms() + i64::from(at.offset_min()) * MINUTE_MS).div_euclid(DAY_MS)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A place that is an hour ahead of UTC, in summer two: in 2031 the clocks went forward on 30 March at 2:00 and back on
    /// 26 October at 3:00 (the last Sundays of these months).
    fn summer(local_ms: i64) -> Offsets {
        let wall = |text: &str| Stamp::parse(&format!("{text}:00Z")).unwrap().ms();
        let (forward, back) = (wall("2031-03-30T02:00"), wall("2031-10-26T02:00"));
        match local_ms {
            t if (forward..forward + HOUR_MS).contains(&t) => Offsets::Never,
            t if (back..back + HOUR_MS).contains(&t) => Offsets::Twice(120, 60),
            t if (forward..back).contains(&t) => Offsets::One(120),
            _ => Offsets::One(60),
        }
    }

    fn at(now: &str) -> Clock {
        Clock { now: Stamp::parse(now).unwrap(), zone: TimeZone::known(summer) }
    }

    fn fixed(now: &str) -> Clock {
        Clock::from(Stamp::parse(now).unwrap())
    }

    fn past(text: &str, clock: Clock) -> String {
        time(text, clock, false).map_or_else(|e| e, |read| read.text)
    }

    /// Worked by hand with a calendar of 2031 (26 May is a Monday).
    #[test]
    fn times_as_people_write_them() {
        for (now, text, meant) in [
            ("2031-05-26T10:00:20+02:00", "9:05", "2031-05-26T09:05:00+02:00"),
            ("2031-05-26T10:00:20+02:00", "09:05", "2031-05-26T09:05:00+02:00"),
            ("2031-05-26T10:00:20+02:00", " 9:05:30 ", "2031-05-26T09:05:30+02:00"),
            // Last night.
            ("2031-05-26T00:05:00+02:00", "23:50", "2031-05-25T23:50:00+02:00"),
            ("2031-05-26T08:00:00+02:00", "9:05", "2031-05-25T09:05:00+02:00"),
            ("2031-01-01T00:05:00+01:00", "23:50", "2030-12-31T23:50:00+01:00"),
            // Two clocks differ by two minutes.
            ("2031-05-26T09:03:00+02:00", "9:05", "2031-05-26T09:05:00+02:00"),
            ("2031-05-26T09:02:59+02:00", "9:05", "2031-05-25T09:05:00+02:00"),
            ("2031-05-26T23:59:00+02:00", "0:00", "2031-05-27T00:00:00+02:00"),
            ("2031-05-26T23:30:00+02:00", "0:00", "2031-05-26T00:00:00+02:00"),
            // Day and month: the last such day.
            ("2031-01-02T08:00:00+01:00", "31.12. 14:00", "2030-12-31T14:00:00+01:00"),
            ("2031-12-31T15:00:00+01:00", "31.12. 14:00", "2031-12-31T14:00:00+01:00"),
            ("2031-12-31T13:00:00+01:00", "31.12. 14:00", "2030-12-31T14:00:00+01:00"),
            ("2031-05-26T08:00:00+02:00", "29.2. 14:00", "2028-02-29T14:00:00+01:00"),
            ("2031-01-02T08:00:00+01:00", "31.12.2029 14:00", "2029-12-31T14:00:00+01:00"),
            ("2031-01-02T08:00:00+01:00", "2026-11-30 16:00", "2026-11-30T16:00:00+01:00"),
            ("2031-01-02T08:00:00+01:00", "2026-11-30T16:00", "2026-11-30T16:00:00+01:00"),
            ("2031-01-02T08:00:00+01:00", "2026-11-30  6:00", "2026-11-30T06:00:00+01:00"),
            ("2031-01-02T08:00:00+01:00", "2026-11-30T16:00:05", "2026-11-30T16:00:05+01:00"),
            ("2031-01-02T08:00:00+01:00", "2026-11-30 16:00+05:30", "2026-11-30T16:00:00+05:30"),
            ("2031-01-02T08:00:00+01:00", "2026-11-30T16:00:00Z", "2026-11-30T16:00:00+00:00"),
            ("2031-01-02T08:00:00+01:00", "2026-11-30T16:00:00.250-03:00", "2026-11-30T16:00:00.250-03:00"),
            // From now.
            ("2031-05-26T08:00:20+02:00", "now", "2031-05-26T08:00:20+02:00"),
            ("2031-05-26T08:00:20+02:00", "+5", "2031-05-26T08:05:20+02:00"),
            ("2031-05-26T08:00:20+02:00", "-10", "2031-05-26T07:50:20+02:00"),
            ("2031-05-26T08:00:20+02:00", "-10 min", "2031-05-26T07:50:20+02:00"),
            ("2031-05-26T08:00:20+02:00", "-10min", "2031-05-26T07:50:20+02:00"),
            ("2031-05-26T08:00:20+02:00", "-2 h", "2031-05-26T06:00:20+02:00"),
            ("2031-05-26T08:00:20+02:00", "-1.5h", "2031-05-26T06:30:20+02:00"),
            ("2031-05-26T00:05:00+02:00", "-10 min", "2031-05-25T23:55:00+02:00"),
            // The offset of the day, not of now.
            ("2031-05-26T08:00:00+02:00", "4.3. 9:05", "2031-03-04T09:05:00+01:00"),
            ("2031-11-26T08:00:00+01:00", "2031-07-01 9:05", "2031-07-01T09:05:00+02:00"),
            ("2031-10-26T08:00:00+01:00", "1:30", "2031-10-26T01:30:00+02:00"),
            ("2031-10-26T08:00:00+01:00", "2:30", "2031-10-26T02:30:00+01:00"),
            ("2031-10-26T02:40:00+02:00", "2:30", "2031-10-26T02:30:00+02:00"),
            // The night after the one in which no clock showed 2:30, and the one before it.
            ("2031-03-31T08:00:00+02:00", "2:30", "2031-03-31T02:30:00+02:00"),
            ("2031-03-30T01:30:00+01:00", "2:30", "2031-03-29T02:30:00+01:00"),
            // What has an offset is an instant, whatever a clock on the wall showed.
            ("2031-03-30T08:00:00+02:00", "30.3. 2:30+01:00", "2031-03-30T02:30:00+01:00"),
        ] {
            assert_eq!(past(text, at(now)), meant, "{text} at {now}");
        }
        let alone = fixed("2031-05-26T08:00:00+02:00");
        assert_eq!(past("4.3. 9:05", alone), "2031-03-04T09:05:00+02:00", "no zone is known");
    }

    #[test]
    fn what_is_to_come_is_read_only_where_it_may_stand() {
        let clock = at("2031-05-26T08:00:00+02:00");
        let ahead = |text: &str| time(text, clock, true).unwrap().text;
        assert_eq!(ahead("9:05"), "2031-05-26T09:05:00+02:00");
        assert_eq!(ahead("23:50"), "2031-05-25T23:50:00+02:00", "8 h ago is nearer than 16 h from now");
        assert_eq!(ahead("31.12. 14:00"), "2030-12-31T14:00:00+01:00");
        assert_eq!(ahead("1.7. 14:00"), "2031-07-01T14:00:00+02:00");
        let of = |kind: &str, field: &str, text: &str| {
            let field = *crate::catalogue::kind(kind).unwrap().field(field).unwrap();
            of_field(&field, text, clock).unwrap().unwrap().text
        };
        assert_eq!(of("calibrations", "due_at", "+5 d"), "2031-05-31T08:00:00+02:00");
        assert_eq!(of("calibrations", "due_at", "9:05"), "2031-05-26T09:05:00+02:00");
        assert_eq!(of("calibrations", "checked_at", "9:05"), "2031-05-25T09:05:00+02:00");
        assert_eq!(of("pour_plans", "planned_on", "1.7."), "2031-07-01");
        assert_eq!(of("pour_plans", "planned_on", "+1"), "2031-05-27");
        assert_eq!(of("pour_plans", "planned_on", "today"), "2031-05-26");
        assert_eq!(of("wax_lots", "expires_on", "1.7.2033"), "2033-07-01");
    }

    #[test]
    fn doubt_is_said() {
        let doubt = |text: &str, clock: Clock, ahead| time(text, clock, ahead).unwrap().doubt;
        let clock = at("2031-05-26T21:05:00+02:00");
        assert_eq!(doubt("9:05", clock, false).unwrap(), "12 h ago; if now was meant: 21:05");
        assert_eq!(doubt("9:05", clock, true).unwrap(), "12 h ago; if now was meant: 21:05");
        assert_eq!(doubt("9:07", clock, false), None);
        assert_eq!(doubt("31.12. 14:00", clock, false).unwrap(), "31.12. taken as that of 2030");
        assert_eq!(doubt("31.12.2030 14:00", clock, false), None);
        assert_eq!(doubt("-10", clock, false), None);
        let night = at("2031-10-26T08:00:00+01:00");
        assert!(doubt("2:30", night, false).unwrap().contains("twice: taken with +01:00"));
        assert!(doubt("26.10.2031 2:30", night, false).unwrap().contains("twice"));
        assert_eq!(date("1.7.", clock).unwrap().doubt.unwrap(), "1.7. taken as that of 2031");
        assert_eq!(date("1.7.2031", clock).unwrap().doubt, None);
    }

    #[test]
    fn what_is_no_time_is_refused_with_what_would_be_right() {
        let clock = at("2031-05-26T21:05:00+02:00");
        for text in [
            "25:00",
            "9:60",
            "9:5",
            "905",
            "9.05",
            "31.12.",
            "31.12.2030",
            "2031-03-04",
            "32.1. 9:05",
            "30.2. 9:05",
            "31.12.30 14:00",
            "2031-02-30 9:05",
            "tomorrow",
            "-",
            "+x",
            "-10 weeks",
            "-1e9 h",
            "2031-03-04 09:05+99",
            "2031-03-30 2:30",
            "9:05 pm",
            "9:05:00:00",
            "-9999999999999 h",
            "12h",
            "T9:05",
            "1.2.3.4 9:05",
            "ä:05",
            "-10 °C",
            "2031-03-04 0905",
        ] {
            let said = time(text, clock, false);
            assert!(said.is_err_and(|said| said.contains("2031-03-04 09:05")), "{text}");
        }
        let none =
            "that hour did not exist on 30 March 2031: the clocks went forward; a time is written 9:05";
        for text in ["2031-03-30 2:30", "30.3.2031 2:30", "30.3. 2:30"] {
            assert!(past(text, clock).starts_with(none), "{text}: {}", past(text, clock));
        }
        for now in ["2031-03-30T08:00:00+02:00", "2031-03-30T03:01:00+02:00", "2031-03-31T01:00:00+02:00"] {
            assert!(past("2:30", at(now)).starts_with(none), "{now}: {}", past("2:30", at(now)));
        }
        let ahead = time("30.3. 2:30", at("2031-03-20T08:00:00+01:00"), true);
        assert!(ahead.is_err_and(|why| why.starts_with(none)));
        assert!(past("31.12.", clock).starts_with("a date without a time of day"));
        for text in ["31.12.2030 14:00", "9:05", "+5 min", "+0.5", "30.2.", "12.31.", "2031-13-01", "soon"] {
            assert!(date(text, clock).is_err(), "{text}");
        }
        assert!(moment("31.12.", clock).is_ok() && moment("31.12. 9:05", clock).is_ok());
        assert!(moment("soon", clock).is_err());
    }

    #[test]
    fn it_says_what_it_understood() {
        let clock = at("2031-05-26T00:05:00+02:00");
        let read = |text: &str| time(text, clock, true).unwrap();
        assert_eq!(read("23:50").in_full(), "2031-05-25 23:50 +02:00");
        assert_eq!(read("0:01:07").in_full(), "2031-05-26 00:01:07 +02:00");
        let short = |text: &str| read(text).in_short(clock.now);
        assert_eq!(short("23:50"), "yesterday 23:50");
        assert_eq!(short("0:04"), "today 00:04");
        assert_eq!(short("+24 h"), "tomorrow 00:05");
        assert_eq!(short("4.3. 9:05"), "2031-03-04 09:05");
        let day = date("1.7.", clock).unwrap();
        assert_eq!((day.in_full(), day.in_short(clock.now)), ("2031-07-01".into(), "2031-07-01".into()));
    }

    proptest::proptest! {
        /// What it prints is read as the same; nothing lands ahead unless that is asked for.
        #[test]
        fn what_is_understood_is_read_again_as_the_same(
            now in 0_i64..4_000_000_000_000, offset in -720_i32..840, h in 0_u32..24, m in 0_u32..60,
            d in 1_u32..32, month in 1_u32..13, back in 0_u32..100_000,
        ) {
            let clock = Clock::from(Stamp::new(now / 1000 * 1000, offset));
            let texts = [
                format!("{h}:{m:02}"), format!("{d}.{month}. {h}:{m:02}"), format!("-{back}"), format!("-{back} h"),
            ];
            for text in texts {
                for ahead in [false, true] {
                    let Ok(read) = time(&text, clock, ahead) else { continue };
                    proptest::prop_assert_eq!(time(&read.text, clock, ahead).unwrap().at, read.at);
                    proptest::prop_assert_eq!(time(&read.in_full().replace(" +", "+").replace(" -", "-"), clock, ahead).unwrap().at, read.at);
                    if !ahead {
                        proptest::prop_assert!(read.at.minutes_since(clock.now) <= SLACK_MIN, "{} {:?}", text, read);
                    }
                }
            }
        }

        #[test]
        fn no_text_is_a_panic(text in "[-+0-9:. Tmhin]{0,20}|.{0,12}") {
            let clock = at("2031-05-26T21:05:00+02:00");
            let _ = (time(&text, clock, false), date(&text, clock), moment(&text, clock));
        }
    }
}
