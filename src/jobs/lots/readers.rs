//! Whether a person was qualified for a method on a day, by the rows of their qualifications. Records in, answers out.

use std::collections::{BTreeMap, BTreeSet};

use crate::jobs::lots::facts::Facts;
use crate::jobs::lots::summary::Reading;
use records::Stamp;
use records::catalogue::{Inspections, Method, Qualifications, Recorded};

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

/// Whether some row of a person for a method holds on a day. True: from when the row holds is recorded.
///
/// # Errors
/// Why not, in a sentence.
pub fn qualified(
    rows: &[Recorded<Qualifications>],
    person: &str,
    method: Method,
    that_day: &str,
) -> Result<bool, String> {
    held(rows, person, method, that_day).map(|q| q.get(Qualifications::from_on).is_some())
}

/// The row of a person for a method that holds on a day. A renewal is a row of its own. Eyesight within twelve
/// months where it is recorded (common practice, no source).
///
/// # Errors
/// Why none does, in a sentence.
fn held<'q>(
    rows: &'q [Recorded<Qualifications>],
    person: &str,
    method: Method,
    that_day: &str,
) -> Result<&'q Recorded<Qualifications>, String> {
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
        Some(q) => Ok(q),
        None => {
            let tested = valid.iter().map(|q| eyes(q)).max().unwrap_or_default();
            Err(format!("{person}'s eyesight was last tested on {tested}, more than a year before"))
        }
    }
}

/// How a person stood for a method on a day, in words.
fn standing(rows: &[Recorded<Qualifications>], person: &str, method: Method, that_day: &str) -> String {
    let words = |q: &Recorded<Qualifications>| {
        let text = |part: &str, value: Option<&str>| value.map_or(String::new(), |v| format!("{part}{v}"));
        format!(
            "level {}{}{}{}",
            q.get(Qualifications::level).unwrap_or("not recorded"),
            text(", from ", q.get(Qualifications::from_on)),
            text(", to ", q.get(Qualifications::expires_on)),
            text(", eyesight ", q.get(Qualifications::eyesight_on))
        )
    };
    match held(rows, person, method, that_day) {
        Ok(q) => words(q),
        Err(_) if !qualifying(method) => "none asked for".into(),
        Err(why) => why,
    }
}

/// Who read what, of the results that stand on blades that can go: by method, technique, class and reader, apart where
/// the reader's qualification was another.
pub fn readings(facts: &Facts) -> Vec<Reading> {
    type Key = (Method, String, String, String, String);
    let alive = facts.alive_tags();
    let mut out: BTreeMap<Key, (BTreeSet<&str>, String, String)> = BTreeMap::new();
    for ((blade, _), results) in facts.standing.iter().filter(|s| alive.contains(s.0.0.as_str())) {
        for r in results {
            let (Some(method), Some(at)) = (r.get(Inspections::method), r.own_time()) else { continue };
            let person = r.text(Inspections::person);
            let words = match person.as_str() {
                "" => "no reader on record".into(),
                reader => standing(&facts.qualifications, reader, method, &day(at)),
            };
            let key = (method, r.text(Inspections::technique), r.text(Inspections::class), person, words);
            let of = out.entry(key).or_insert_with(|| (BTreeSet::new(), day(at), day(at)));
            of.0.insert(blade);
            of.1 = day(at).min(std::mem::take(&mut of.1));
            of.2 = day(at).max(std::mem::take(&mut of.2));
        }
    }
    let one = |((method, technique, class, person, qualification), (blades, from, until))| Reading {
        method: Method::word(method),
        technique,
        class,
        person,
        qualification,
        blades: BTreeSet::len(&blades),
        from,
        until,
    };
    out.into_iter().map(one).collect()
}
