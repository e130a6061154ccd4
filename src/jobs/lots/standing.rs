//! Which results stand: of a method all product inspections since the last rework or repair, not the last of them.

use std::collections::BTreeSet;

use crate::jobs::lots::readers::{day, qualified};
use records::catalogue::{
    Analyses, AnalysisValues, As, Blades, Calibrations, Decision, Dispositions, Findings, InspectionPurpose,
    Inspections, Key, Measurements, Qualifications, Recorded, Verdict,
};
use records::{Record, Result, Stamp, Store};

/// The record is an inspection of product.
pub fn product(r: &Record) -> bool {
    let purpose = r.of::<Inspections>().map(|i| i.get(Inspections::purpose));
    matches!(purpose, Some(None | Some(InspectionPurpose::Product)))
}

/// When a blade was last sent to rework or repair, by its dispositions.
fn last_rework<'a>(dispositions: impl Iterator<Item = &'a Recorded<Dispositions>>) -> Option<Stamp> {
    dispositions
        .filter(|d| matches!(d.get(Dispositions::decision), Some(Decision::Rework | Decision::Repair)))
        .filter_map(|d| d.own_time())
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
    const INSPECTION: &[&str] = &[
        Inspections::blade.name,
        Inspections::purpose.name,
        Inspections::method.name,
        Inspections::round.name,
        Inspections::result.name,
        Inspections::person.name,
        Inspections::inspected_at.name,
    ];
    match kind {
        Inspections::NAME => INSPECTION,
        Findings::NAME => &[Findings::inspection.name],
        Measurements::NAME => &[Measurements::inspection.name],
        Analyses::NAME => &[Analyses::subject.name, Analyses::set_aside_by.name],
        AnalysisValues::NAME => &[AnalysisValues::analysis.name],
        Calibrations::NAME => &[Calibrations::instrument.name, Calibrations::result.name],
        _ => &[],
    }
}

/// The accept closes the reject that its `closes` names. `ever` are those who ever stood as the reader of the reject,
/// lower case.
///
/// # Errors
/// Why it does not.
pub fn closes(
    accept: As<Inspections>,
    reject: As<Inspections>,
    ever: &BTreeSet<String>,
    qualifications: &[Recorded<Qualifications>],
) -> std::result::Result<(), String> {
    if accept.get(Inspections::result) != Some(Verdict::Accept) || !product(&accept) {
        return Err("it is not an accept of product".into());
    }
    let method = accept.get(Inspections::method);
    if accept.get(Inspections::blade) != reject.get(Inspections::blade)
        || method != reject.get(Inspections::method)
    {
        return Err("it is of another blade or method".into());
    }
    let (Some(at), Some(before), Some(method)) = (accept.own_time(), reject.own_time(), method) else {
        return Err("its time is not recorded".into());
    };
    if at.ms() <= before.ms() {
        return Err("it is not later".into());
    }
    if accept.note().is_none_or(|n| n.trim().is_empty()) {
        return Err("it has no note that says why".into());
    }
    let Some(person) = accept.get(Inspections::person) else { return Err("it names no person".into()) };
    match reject.get(Inspections::person) {
        None => return Err("who rejected is not recorded".into()),
        Some(first) if first.eq_ignore_ascii_case(person) => {
            return Err(format!("{person} rejected it; another person is needed"));
        }
        Some(_) if ever.contains(&person.to_ascii_lowercase()) => {
            return Err(format!("{person} stood as its reader before; another person is needed"));
        }
        Some(_) => {}
    }
    qualified(qualifications, person, method, &day(at)).map(|_| ())
}

/// The accept names this reject as the one that it closes.
pub fn names(accept: As<Inspections>, reject: &str) -> bool {
    accept.get(Inspections::closes).is_some_and(|c| c.eq_ignore_ascii_case(reject))
}

/// Of the results that stand on a blade the rejects that no accept closes.
fn open_rejects<'r>(
    store: &Store,
    standing: &'r [Recorded<Inspections>],
    qualifications: &[Recorded<Qualifications>],
) -> Result<Vec<&'r Recorded<Inspections>>> {
    let mut out = Vec::new();
    for reject in standing.iter().filter(|i| i.get(Inspections::result) == Some(Verdict::Reject)) {
        let tag = reject.address();
        let ever = store.ever_read(&tag, store.find(&tag)?.entry)?;
        let mut closing = standing.iter().map(Recorded::view).filter(|a| names(*a, &tag));
        if !closing.any(|a| closes(a, reject.view(), &ever, qualifications).is_ok()) {
            out.push(reject);
        }
    }
    Ok(out)
}

/// The rejects of a blade that stand and that no disposition is later than.
pub fn undecided_rejects(
    store: &Store,
    blade: Key<Blades>,
    qualifications: &[Recorded<Qualifications>],
) -> Result<Vec<Recorded<Inspections>>> {
    let dispositions = store.rows_of(Dispositions::blade, blade)?;
    let decided = dispositions.iter().filter_map(|d| d.own_time()).map(Stamp::ms).max();
    let rework = last_rework(dispositions.iter());
    let mut standing = store.rows_of(Inspections::blade, blade)?;
    standing.retain(|i| stands(i, rework));
    let open: Vec<String> =
        open_rejects(store, &standing, qualifications)?.into_iter().map(|r| r.address()).collect();
    standing.retain(|i| open.contains(&i.address()) && i.own_time().map(Stamp::ms) > decided);
    Ok(standing)
}

/// What is to be known of a blade's results beside the list of them: a reject that still stands, a decision that is
/// older than what was seen since.
pub fn remarks(store: &Store, blade: Key<Blades>) -> Result<Vec<String>> {
    let qualifications = store.rows::<Qualifications>()?;
    let dispositions = store.rows_of(Dispositions::blade, blade)?;
    let mut standing = store.rows_of(Inspections::blade, blade)?;
    let rework = last_rework(dispositions.iter());
    standing.retain(|i| stands(i, rework));
    let mut out = Vec::new();
    for reject in open_rejects(store, &standing, &qualifications)? {
        let (tag, method) = (reject.address(), reject.need(Inspections::method)?.word());
        out.push(format!("rejected in {tag} by {method}, and that stands: no later round hides it"));
    }
    let mut last: Option<(Option<i64>, i64, Decision)> = None;
    for d in &dispositions {
        let decision = d.need(Dispositions::decision)?;
        let entry = store.find(&d.address())?.entry;
        let since = store.named_since(entry, Dispositions::decision.name, decision.word())?;
        let this = (d.own_time().map(Stamp::ms), since, decision);
        if last.is_none_or(|l| (l.0, l.1) <= (this.0, this.1)) {
            last = Some(this);
        }
    }
    let Some((at, since, Decision::Accept | Decision::Concession)) = last else { return Ok(out) };
    for i in &standing {
        let entry = store.find(&i.address())?.entry;
        let came = store.said_since(entry, bearing(Inspections::NAME))?;
        if i.own_time().map(Stamp::ms) > at || came > since {
            out.push(format!(
                "the last disposition is older than {} and does not accept it: decide again",
                i.address()
            ));
        }
    }
    Ok(out)
}
