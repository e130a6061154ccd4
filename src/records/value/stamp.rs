//! A time with its offset, packed into one integer that sorts by instant.
//!
//! `packed = milliseconds since 1970 UTC × 4096 + (offset in minutes + 2048)`. Two stamps of one
//! instant in different offsets stay distinct and sort next to each other.

use std::fmt;

/// A time with its offset to UTC, to the millisecond.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub struct Stamp(i64);

const DAY_MS: i64 = 86_400_000;
/// 9999-12-31 in days since 1970.
const LAST_DAY: i64 = 2_932_896;

impl Stamp {
    /// From milliseconds since 1970 UTC and an offset in minutes.
    pub fn new(ms: i64, offset_min: i32) -> Self {
        Self(ms * 4096 + i64::from(offset_min) + 2048)
    }

    /// The packed integer, as the store keeps it.
    pub fn packed(self) -> i64 {
        self.0
    }

    /// Back from the packed integer.
    pub fn from_packed(packed: i64) -> Self {
        Self(packed)
    }

    /// Milliseconds since 1970 UTC.
    pub fn ms(self) -> i64 {
        self.0.div_euclid(4096)
    }

    /// Offset to UTC in minutes.
    pub fn offset_min(self) -> i32 {
        (self.0.rem_euclid(4096) - 2048) as i32
    }

    /// So many milliseconds later, with the same offset.
    pub fn later_ms(self, ms: i64) -> Self {
        Self::new(self.ms() + ms, self.offset_min())
    }

    /// Minutes from `earlier` to this stamp.
    pub fn minutes_since(self, earlier: Stamp) -> f64 {
        (self.ms() - earlier.ms()) as f64 / 60_000.0
    }

    /// The local date, as year, month, day.
    pub fn date(self) -> (i64, u32, u32) {
        civil(self.local_ms().div_euclid(DAY_MS))
    }

    /// Hour of the local day, 0 to 23.
    pub fn hour(self) -> u32 {
        (self.local_ms().rem_euclid(DAY_MS) / 3_600_000) as u32
    }

    /// Day of the local week, 0 is Monday.
    pub fn weekday(self) -> u32 {
        (self.local_ms().div_euclid(DAY_MS) + 3).rem_euclid(7) as u32
    }

    fn local_ms(self) -> i64 {
        self.ms() + i64::from(self.offset_min()) * 60_000
    }

    /// Reads an RFC 3339 time. Fractions finer than a millisecond are cut in the stamp; the caller
    /// keeps the text beside it.
    ///
    /// # Errors
    /// What is wrong and what would be right.
    pub fn parse(text: &str) -> Result<Self, String> {
        parse(text.as_bytes())
            .map_err(|what| format!("{what}; a time is written 2031-03-04T09:05:00+00:00, with its offset"))
    }

    /// Midnight UTC of a date `YYYY-MM-DD`.
    ///
    /// # Errors
    /// What is wrong and what would be right.
    pub fn parse_date(text: &str) -> Result<Self, String> {
        let b = text.as_bytes();
        let fault = || "no date; a date is written 2031-03-04".to_string();
        if b.len() != 10 {
            return Err(fault());
        }
        let days = date_days(b).map_err(|what| format!("{what}; a date is written 2031-03-04"))?;
        Ok(Self::new(days * DAY_MS, 0))
    }
}

impl fmt::Display for Stamp {
    /// RFC 3339, with milliseconds only where there are any.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let mut text = [0_u8; 32];
        let n = self.write(&mut text);
        f.write_str(std::str::from_utf8(&text[..n]).unwrap_or(""))
    }
}

impl Stamp {
    /// The RFC 3339 text.
    pub fn text(self) -> String {
        let mut text = [0_u8; 32];
        let n = self.write(&mut text);
        std::str::from_utf8(&text[..n]).unwrap_or("").to_string()
    }

    /// Writes the RFC 3339 text into a buffer and gives its length. Import and export of millions
    /// of rows go through here, so it does without the formatting machinery.
    pub fn write(self, out: &mut [u8; 32]) -> usize {
        let local = self.local_ms();
        let (y, m, d) = civil(local.div_euclid(DAY_MS));
        let ms = local.rem_euclid(DAY_MS) as u32;
        two(out, 0, (y / 100) as u32);
        two(out, 2, (y % 100) as u32);
        out[4] = b'-';
        two(out, 5, m);
        out[7] = b'-';
        two(out, 8, d);
        out[10] = b'T';
        two(out, 11, ms / 3_600_000);
        out[13] = b':';
        two(out, 14, ms / 60_000 % 60);
        out[16] = b':';
        two(out, 17, ms / 1000 % 60);
        let mut n = 19;
        if !ms.is_multiple_of(1000) {
            out[19] = b'.';
            out[20] = b'0' + (ms % 1000 / 100) as u8;
            two(out, 21, ms % 100);
            n = 23;
        }
        let offset = self.offset_min();
        out[n] = if offset < 0 { b'-' } else { b'+' };
        two(out, n + 1, offset.unsigned_abs() / 60);
        out[n + 3] = b':';
        two(out, n + 4, offset.unsigned_abs() % 60);
        n + 6
    }
}

fn two(out: &mut [u8; 32], at: usize, v: u32) {
    out[at] = b'0' + (v / 10 % 10) as u8;
    out[at + 1] = b'0' + (v % 10) as u8;
}

fn digits(b: &[u8], from: usize, n: usize) -> Result<i64, &'static str> {
    let mut v = 0;
    for i in from..from + n {
        match b.get(i) {
            Some(c) if c.is_ascii_digit() => v = v * 10 + i64::from(c - b'0'),
            _ => return Err("no time"),
        }
    }
    Ok(v)
}

fn date_days(b: &[u8]) -> Result<i64, &'static str> {
    let (y, m, d) = (digits(b, 0, 4)?, digits(b, 5, 2)?, digits(b, 8, 2)?);
    if b.get(4) != Some(&b'-') || b.get(7) != Some(&b'-') {
        return Err("no date");
    }
    let leap = (y % 4 == 0 && y % 100 != 0) || y % 400 == 0;
    let last = match m {
        2 => 28 + i64::from(leap),
        4 | 6 | 9 | 11 => 30,
        1..=12 => 31,
        _ => return Err("there is no such month"),
    };
    if d < 1 || d > last {
        return Err("there is no such day");
    }
    Ok(days_from_civil(y, m, d))
}

fn parse(b: &[u8]) -> Result<Stamp, &'static str> {
    if b.len() < 10 {
        return Err("no time");
    }
    let days = date_days(b)?;
    if b.len() == 10 {
        return Err("a date without a time of day");
    }
    if !matches!(b[10], b'T' | b't' | b' ') || b.get(13) != Some(&b':') || b.get(16) != Some(&b':') {
        return Err("no time");
    }
    let (h, min, s) = (digits(b, 11, 2)?, digits(b, 14, 2)?, digits(b, 17, 2)?);
    if h > 23 || min > 59 || s > 60 {
        return Err("there is no such time of day");
    }
    let mut at = 19;
    let mut ms = 0;
    if b.get(at) == Some(&b'.') {
        at += 1;
        let from = at;
        while b.get(at).is_some_and(u8::is_ascii_digit) {
            if at - from < 3 {
                ms += i64::from(b[at] - b'0') * [100, 10, 1][at - from];
            }
            at += 1;
        }
        if at == from {
            return Err("no digits after the point");
        }
    }
    let offset = match b.get(at) {
        None => return Err("the offset is missing"),
        Some(b'Z' | b'z') if b.len() == at + 1 => 0,
        Some(sign @ (b'+' | b'-')) if b.len() == at + 6 && b[at + 3] == b':' => {
            let (oh, om) = (digits(b, at + 1, 2)?, digits(b, at + 4, 2)?);
            if oh > 23 || om > 59 {
                return Err("there is no such offset");
            }
            (oh * 60 + om) * if *sign == b'-' { -1 } else { 1 }
        }
        Some(_) => return Err("not an offset"),
    };
    let local = days * DAY_MS + ((h * 60 + min) * 60 + s) * 1000 + ms;
    // The leap second of the last day is in a year of five digits.
    if local.div_euclid(DAY_MS) > LAST_DAY {
        return Err("there is no such time of day");
    }
    Ok(Stamp::new(local - offset * 60_000, offset as i32))
}

/// Days since 1970-01-01 of a date (proleptic Gregorian; Howard Hinnant's published algorithm).
fn days_from_civil(y: i64, m: i64, d: i64) -> i64 {
    let y = if m <= 2 { y - 1 } else { y };
    let era = y.div_euclid(400);
    let yoe = y.rem_euclid(400);
    let doy = (153 * (m + if m > 2 { -3 } else { 9 }) + 2) / 5 + d - 1;
    era * 146_097 + yoe * 365 + yoe / 4 - yoe / 100 + doy - 719_468
}

/// The date of a day since 1970-01-01 (the same algorithm backwards). Within an era the figures are
/// small and counted in 32 bits, which is several times faster.
fn civil(days: i64) -> (i64, u32, u32) {
    let z = days + 719_468;
    let era = z.div_euclid(146_097);
    let doe = z.rem_euclid(146_097) as u32;
    let yoe = (doe - doe / 1460 + doe / 36_524 - doe / 146_096) / 365;
    let doy = doe - (365 * yoe + yoe / 4 - yoe / 100);
    let mp = (5 * doy + 2) / 153;
    let m = if mp < 10 { mp + 3 } else { mp - 9 };
    (i64::from(yoe) + era * 400 + i64::from(m <= 2), m, doy - (153 * mp + 2) / 5 + 1)
}

#[cfg(test)]
mod tests {
    use super::Stamp;

    #[test]
    fn reads_what_chrono_reads() {
        // The reference is chrono's RFC 3339 reader (DateTime::parse_from_rfc3339).
        for text in [
            "2031-03-04T09:05:00+00:00",
            "2028-02-29T23:59:59-05:30",
            "1969-12-31T23:59:59.250+14:00",
            "2000-01-01T00:00:00+00:00",
            "2100-12-31T12:00:00.001-12:00",
        ] {
            let ours = Stamp::parse(text).unwrap();
            let theirs = chrono::DateTime::parse_from_rfc3339(text).unwrap();
            assert_eq!(ours.ms(), theirs.timestamp_millis(), "{text}");
            assert_eq!(ours.offset_min() * 60, theirs.offset().local_minus_utc(), "{text}");
            assert_eq!(ours.to_string(), text);
            use chrono::{Datelike, Timelike};
            assert_eq!(ours.weekday(), theirs.weekday().num_days_from_monday());
            assert_eq!(ours.hour(), theirs.hour());
        }
    }

    #[test]
    fn refuses_what_is_no_time() {
        for text in [
            "",
            "2031-03-04",
            "2031-03-04T09:05:00",
            "2031-02-29T09:05:00+00:00",
            "2031-13-01T09:05:00Z",
            "2031-03-04T24:05:00Z",
            "2031-03-04T09:05+00:00",
            "04.03.2031 09:05",
            "2031-03-04T09:05:00+0000",
            "2031-03-04T09:05:00Z ",
            "9999-12-31T23:59:60+14:00",
        ] {
            assert!(Stamp::parse(text).is_err(), "{text}");
        }
        assert!(Stamp::parse_date("2031-02-30").is_err());
        assert_eq!(Stamp::parse_date("2031-03-04").unwrap().to_string(), "2031-03-04T00:00:00+00:00");
    }

    #[test]
    fn sorts_by_instant() {
        let a = Stamp::parse("2031-03-04T09:00:00+02:00").unwrap();
        let b = Stamp::parse("2031-03-04T08:00:00+00:00").unwrap();
        assert!(a < b && a.minutes_since(b) == -60.0);
        assert_eq!(Stamp::from_packed(a.packed()), a);
    }
}
