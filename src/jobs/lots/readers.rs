//! Whether a person was qualified for a method on a day, by the rows of their qualifications. Records in, answers out.

use records::{Record, Stamp};

/// The day of a time, as dates are written.
pub fn day(at: Stamp) -> String {
    let (y, m, d) = at.date();
    format!("{y:04}-{m:02}-{d:02}")
}

/// The method is read by qualified people only.
pub fn qualifying(method: &str) -> bool {
    matches!(method, "penetrant" | "radiograph")
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
pub fn qualified<'a>(
    rows: impl Iterator<Item = &'a Record<'static>>,
    person: &str,
    method: &str,
    that_day: &str,
) -> Result<bool, String> {
    let text = |q: &Record, f: &str| q.get(f).text().unwrap_or("").to_string();
    let mine: Vec<&Record> = rows
        .filter(|q| text(q, "person").eq_ignore_ascii_case(person) && text(q, "method") == method)
        .collect();
    if mine.is_empty() {
        return Err(format!("{person} has no {method} qualification on record"));
    }
    let begun = |q: &&&Record| text(q, "from_on").as_str() <= that_day;
    let valid: Vec<&&Record> =
        mine.iter().filter(begun).filter(|q| text(q, "expires_on").as_str() >= that_day).collect();
    if valid.is_empty() {
        let ended = mine.iter().filter(begun).map(|q| text(q, "expires_on")).max();
        let begins = mine.iter().filter(|q| !begun(q)).map(|q| text(q, "from_on")).min();
        let what = format!("{person}'s {method} qualification");
        return Err(match (ended, begins) {
            (Some(ended), Some(begins)) => format!("{what} expired on {ended} and begins again on {begins}"),
            (Some(ended), None) => format!("{what} expired on {ended}"),
            (None, begins) => format!("{what} begins on {}", begins.unwrap_or_default()),
        });
    }
    let sees = |q: &&&&Record| {
        let eyes = text(q, "eyesight_on");
        eyes.len() != 10 || year_later(&eyes).as_str() >= that_day
    };
    match valid.iter().find(sees) {
        Some(q) => Ok(!text(q, "from_on").is_empty()),
        None => {
            let eyes = valid.iter().map(|q| text(q, "eyesight_on")).max().unwrap_or_default();
            Err(format!("{person}'s eyesight was last tested on {eyes}, more than a year before"))
        }
    }
}
