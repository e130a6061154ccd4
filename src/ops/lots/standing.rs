//! Which results stand: of a method all product inspections since the last rework or repair, not the last of them.
//! Records in, answers out.

use crate::domain::{Record, Stamp};
use crate::ops::lots::readers::{day, qualified};

/// The inspection is one of product.
#[must_use]
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
#[must_use]
pub fn stands(inspection: &Record, rework: Option<Stamp>) -> bool {
    let later = |r: Stamp| inspection.own_time().is_some_and(|at| at.ms() > r.ms());
    product(inspection) && rework.is_none_or(later)
}

/// The accept closes the reject that its `closes` names.
///
/// # Errors
/// Why it does not.
pub fn closes<'a>(
    accept: &Record,
    reject: &Record,
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
        Some(_) => {}
    }
    let method = text(accept, "method").unwrap_or_default();
    qualified(qualifications, &person, &method, &day(at)).map(|_| ())
}
