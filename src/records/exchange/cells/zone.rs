//! The clock that a shop keeps: one offset to UTC for all the year, or a zone with summer time.

use chrono::{LocalResult, NaiveDateTime, Offset, TimeZone};
use chrono_tz::{TZ_VARIANTS, Tz};

use crate::exchange::unread::Unread;
use crate::value::tag::{hint, near, shown};

/// The zone of a name, whatever its capitals.
pub(crate) fn zone_of(name: &str) -> Result<Tz, Unread> {
    let name = name.trim();
    if let Ok(zone) = name.parse::<Tz>() {
        return Ok(zone);
    }
    let all = || TZ_VARIANTS.iter().map(|z| z.name());
    if let Some(zone) = TZ_VARIANTS.iter().find(|z| z.name().eq_ignore_ascii_case(name)) {
        return Ok(*zone);
    }
    // A city alone is no name, and names its zone all the same.
    let city = name.to_lowercase().replace(' ', "_");
    let mut close: Vec<&str> = all().filter(|z| z.to_lowercase().ends_with(&format!("/{city}"))).collect();
    if close.is_empty() {
        close = near(name, all());
    }
    let wanted = "a zone has a name such as Europe/Berlin";
    Err(format!("there is no time zone {}{}; {wanted}", shown(name), hint(&close)).into())
}

/// The offset of a zone's clock when it shows this: `+01:00`.
///
/// # Errors
/// It never shows this, or twice.
pub(crate) fn offset_at(zone: Tz, shown: NaiveDateTime) -> Result<String, Unread> {
    let text = |seconds: i32| {
        let (sign, minutes) = (if seconds < 0 { '-' } else { '+' }, seconds.abs() / 60);
        format!("{sign}{:02}:{:02}", minutes / 60, minutes % 60)
    };
    let of = |at: &chrono::DateTime<Tz>| at.offset().fix().local_minus_utc();
    match zone.from_local_datetime(&shown) {
        LocalResult::Single(at) if of(&at) % 60 == 0 => Ok(text(of(&at))),
        LocalResult::Single(_) => {
            Err(format!("is of a day on which {zone} kept no whole minutes to UTC; write the offset").into())
        }
        LocalResult::Ambiguous(a, b) => Err(format!(
            "comes twice on the clock of {zone}, which is put back that day: write it with its offset, {} or {}",
            text(of(&a)),
            text(of(&b))
        )
        .into()),
        LocalResult::None => {
            Err(format!("never comes on the clock of {zone}, which is put forward that day").into())
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(zone: &str, text: &str) -> Result<String, String> {
        let shown = NaiveDateTime::parse_from_str(text, "%Y-%m-%d %H:%M").unwrap();
        offset_at(zone_of(zone).unwrap(), shown).map_err(|e| e.message)
    }

    #[test]
    fn summer_time_is_that_of_the_zone() {
        // Directive 2000/84/EC: from 01:00 UTC on the last Sunday of March (2024-03-31) to that of October (2024-10-27).
        assert_eq!(at("Europe/Berlin", "2024-03-31 01:59").unwrap(), "+01:00");
        assert_eq!(at("europe/berlin", "2024-03-31 03:00").unwrap(), "+02:00");
        assert!(at("Europe/Berlin", "2024-03-31 02:30").unwrap_err().contains("never comes"));
        let twice = at("Europe/Berlin", "2024-10-27 02:30").unwrap_err();
        assert!(twice.contains("comes twice") && twice.contains("+02:00 or +01:00"), "{twice}");
        assert_eq!(at("Europe/Berlin", "2024-10-27 03:00").unwrap(), "+01:00");
        // 15 U.S.C. 260a: from 2 a.m. on the second Sunday of March (2024-03-10) to the first of November (2024-11-03).
        assert_eq!(at("America/New_York", "2024-03-10 03:00").unwrap(), "-04:00");
        assert!(at("America/New_York", "2024-03-10 02:30").unwrap_err().contains("never comes"));
        assert!(at("America/New_York", "2024-11-03 01:30").unwrap_err().contains("-04:00 or -05:00"));
        assert_eq!(at("Asia/Kolkata", "2024-07-01 12:00").unwrap(), "+05:30");
    }

    #[test]
    fn a_name_that_is_none_gets_those_that_may_be_meant() {
        for (name, part) in [("Berlin", "Europe/Berlin"), ("Europe/Berln", "Europe/Berlin"), ("x", "such as")]
        {
            let fault = zone_of(name).unwrap_err().message;
            assert!(fault.contains(part), "{name}: {fault}");
        }
    }
}
