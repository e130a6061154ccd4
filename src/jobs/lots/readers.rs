//! Whether a person was qualified for a method on a day, by the rows of their qualifications. Records in, answers out.

use records::Stamp;
use records::catalogue::{Method, Qualifications, Recorded};

/// The day of a time, as dates are written.
pub fn day(at: Stamp) -> String {
    let (y, m, d) = at.date();
    format!("{y:04}-{m:02}-{d:02}")
}

/// The method is read by qualified people only.
pub fn qualifying(method: Method) -> bool {
    matches!(method, Method::Penetrant | Method::Radiograph)
}

fn year_later(date: &str) -> String {
    let year: i64 = date.get(..4).and_then(|y| y.parse().ok()).unwrap_or(0);
    format!("{:04}{}", year + 1, date.get(4..).unwrap_or(""))
}

/// Whether some row of a person for a method holds on a day. A renewal is a row of its own. Eyesight within twelve
/// months where it is recorded (common practice, no source). True: from when the row holds is recorded.
///
/// # Errors
/// Why not, in a sentence.
pub fn qualified(
    rows: &[Recorded<Qualifications>],
    person: &str,
    method: Method,
    that_day: &str,
) -> Result<bool, String> {
    let from = |q: &&Recorded<Qualifications>| q.get(Qualifications::from_on).unwrap_or("").to_string();
    let until = |q: &&Recorded<Qualifications>| q.get(Qualifications::expires_on).unwrap_or("").to_string();
    let eyes = |q: &&Recorded<Qualifications>| q.get(Qualifications::eyesight_on).unwrap_or("").to_string();
    let of_person = |q: &Recorded<Qualifications>| {
        q.get(Qualifications::person).is_some_and(|p| p.eq_ignore_ascii_case(person))
            && q.get(Qualifications::method) == Some(method)
    };
    let mine: Vec<&Recorded<Qualifications>> = rows.iter().filter(|q| of_person(q)).collect();
    let what = format!("{} qualification", method.word());
    if mine.is_empty() {
        return Err(format!("{person} has no {what} on record"));
    }
    let (begun, later): (Vec<_>, Vec<_>) = mine.into_iter().partition(|q| from(q).as_str() <= that_day);
    let valid: Vec<_> = begun.iter().filter(|q| until(q).as_str() >= that_day).collect();
    if valid.is_empty() {
        let ended = begun.iter().map(until).max();
        let begins = later.iter().map(from).min();
        return Err(match (ended, begins) {
            (Some(ended), Some(begins)) => {
                format!("{person}'s {what} expired on {ended} and begins again on {begins}")
            }
            (Some(ended), None) => format!("{person}'s {what} expired on {ended}"),
            (None, begins) => format!("{person}'s {what} begins on {}", begins.unwrap_or_default()),
        });
    }
    let sees = |q: &&&&Recorded<Qualifications>| {
        let tested = eyes(q);
        tested.len() != 10 || year_later(&tested).as_str() >= that_day
    };
    match valid.iter().find(sees) {
        Some(q) => Ok(!from(q).is_empty()),
        None => {
            let tested = valid.iter().map(|q| eyes(q)).max().unwrap_or_default();
            Err(format!("{person}'s eyesight was last tested on {tested}, more than a year before"))
        }
    }
}
