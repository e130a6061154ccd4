//! Which results stand: of a method all product inspections since the last rework or repair, not the last of them.
//! Records in, answers out.

use std::collections::BTreeSet;

use crate::jobs::lots::readers::{day, qualified};
use records::{Record, Stamp};

/// The inspection is one of product.
pub fn product(r: &Record) -> bool {
    matches!(r.get("purpose").text(), None | Some("product"))
}

/// When a blade was last sent to rework or repair, by its dispositions.
pub fn last_rework<'a>(dispositions: impl Iterator<Item = &'a Record<'static>>) -> Option<Stamp> {
    dispositions
        .filter(|d| matches!(d.get("decision").text(), Some("rework" | "repair")))
        .filter_map(Record::own_time)
        .max_by_key(|t| t.ms())
}

/// The inspection stands: of product, and later than the last rework.
pub fn stands(inspection: &Record, rework: Option<Stamp>) -> bool {
    let later = |r: Stamp| inspection.own_time().is_some_and(|at| at.ms() > r.ms());
    product(inspection) && rework.is_none_or(later)
}

/// The fields by which a record bears on a blade, or on what is decided of it. One of them changed after a decision makes
/// it evidence that whoever decided had not; a note or a technique does not.
pub fn bearing(kind: &str) -> &'static [&'static str] {
    match kind {
        "inspections" => &["blade", "purpose", "method", "round", "result", "person", "inspected_at"],
        "findings" | "measurements" => &["inspection"],
        "analyses" => &["subject", "set_aside_by"],
        "analysis_values" => &["analysis"],
        "calibrations" => &["instrument", "result"],
        _ => &[],
    }
}

/// The accept closes the reject that its `closes` names. `ever` are those who ever stood as the reader of the reject,
/// lower case.
///
/// # Errors
/// Why it does not.
pub fn closes<'a>(
    accept: &Record,
    reject: &Record,
    ever: &BTreeSet<String>,
    qualifications: impl Iterator<Item = &'a Record<'static>>,
) -> Result<(), String> {
    let text = |r: &Record, f: &str| r.get(f).text().map(String::from);
    if text(accept, "result").as_deref() != Some("accept") || !product(accept) {
        return Err("it is no accept of product".into());
    }
    if text(accept, "blade") != text(reject, "blade") || text(accept, "method") != text(reject, "method") {
        return Err("it is of another blade or method".into());
    }
    let (Some(at), Some(before)) = (accept.own_time(), reject.own_time()) else {
        return Err("its time is not recorded".into());
    };
    if at.ms() <= before.ms() {
        return Err("it is not later".into());
    }
    if accept.get("note").text().is_none_or(|n| n.trim().is_empty()) {
        return Err("it has no note that says why".into());
    }
    let Some(person) = text(accept, "person") else { return Err("it names no person".into()) };
    match text(reject, "person") {
        None => return Err("who rejected is not recorded".into()),
        Some(first) if first.eq_ignore_ascii_case(&person) => {
            return Err(format!("{person} rejected it; another person is needed"));
        }
        Some(_) if ever.contains(&person.to_ascii_lowercase()) => {
            return Err(format!("{person} stood as its reader before; another person is needed"));
        }
        Some(_) => {}
    }
    let method = text(accept, "method").unwrap_or_default();
    qualified(qualifications, &person, &method, &day(at)).map(|_| ())
}

/// A record with the journal entry since which it bears on the blade, and those who ever stood as its reader.
pub type Came = (Record<'static>, i64, BTreeSet<String>);

/// What is to be known of a blade's results beside the list of them: a reject that still stands, a decision that is
/// older than what was seen since.
pub fn remarks(
    inspections: &[Came],
    dispositions: &[Came],
    qualifications: &[Record<'static>],
) -> Vec<String> {
    let rework = last_rework(dispositions.iter().map(|d| &d.0));
    let standing: Vec<&Came> = inspections.iter().filter(|i| stands(&i.0, rework)).collect();
    let mut out = Vec::new();
    for (reject, _, ever) in standing.iter().filter(|i| i.0.get("result").text() == Some("reject")) {
        let tag = reject.address();
        let mut closing = standing
            .iter()
            .map(|i| &i.0)
            .filter(|a| a.get("closes").text().is_some_and(|c| c.eq_ignore_ascii_case(&tag)));
        if !closing.any(|a| closes(a, reject, ever, qualifications.iter()).is_ok()) {
            out.push(format!(
                "rejected in {tag} by {}, and that stands: no later round hides it",
                reject.get("method").to_text()
            ));
        }
    }
    let last = dispositions.iter().max_by_key(|d| (d.0.own_time().map(Stamp::ms), d.1));
    let Some((d, entry, _)) =
        last.filter(|d| matches!(d.0.get("decision").text(), Some("accept" | "concession")))
    else {
        return out;
    };
    for (i, came, _) in standing {
        if i.own_time().map(Stamp::ms) > d.own_time().map(Stamp::ms) || came > entry {
            out.push(format!(
                "the last disposition is older than {} and does not accept it: decide again",
                i.address()
            ));
        }
    }
    out
}
