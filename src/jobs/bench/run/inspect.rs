//! What a run of inspections finds by itself: the round, a free tag, the defects by number.

use std::collections::HashMap;

use crate::jobs::bench::run::record::{Texts, text_of};
use crate::jobs::lots::readers::{day, qualified, qualifying};
use crate::jobs::records::numbers::free_tag;
use records::catalogue::typed::{Key, Recorded};
use records::catalogue::{Blades, DefectTerms, Findings, Inspections, Method, Qualifications, Verdict};
use records::value::tag;
use records::write::draft::Draft;
use records::{Result, Stamp, Store};

/// A defect as it is numbered on the screen.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Defect {
    pub defect: String,
    pub name: String,
    /// How often it was found lately by this method.
    pub found: usize,
}

/// So many of the newest inspections say what a shop finds most.
const LATELY: usize = 2000;

/// The defects of the catalogue, those that were found most by this method of late first.
pub fn defects(store: &Store, method: &str) -> Result<Vec<Defect>> {
    let mut found: HashMap<String, usize> = HashMap::new();
    for inspection in store.newest::<Inspections>(LATELY)? {
        let of_method = inspection.get(Inspections::method).is_some_and(|m| m.word() == method);
        if !of_method || inspection.get(Inspections::result) != Some(Verdict::Reject) {
            continue;
        }
        let (key, _) = store.key_of::<Inspections>(&inspection.address())?;
        for finding in store.rows_of(Findings::inspection, key)? {
            let finding: Recorded<Findings> = finding;
            *found.entry(tag::folded(finding.need(Findings::defect)?)).or_default() += 1;
        }
    }
    let mut out = Vec::new();
    for term in store.rows::<DefectTerms>()? {
        let defect = term.need(DefectTerms::defect)?.to_string();
        let name = term.need(DefectTerms::name)?.to_string();
        let found = found.get(&tag::folded(&defect)).copied().unwrap_or(0);
        out.push(Defect { defect, name, found });
    }
    // Those that were never found keep the order of the catalogue.
    out.sort_by_key(|d| std::cmp::Reverse(d.found));
    Ok(out)
}

/// Why a release will not count a reading by this person: nobody is given, or no valid qualification for the method.
pub fn unqualified(store: &Store, head: &Texts, now: Stamp) -> Result<Option<String>> {
    let method = text_of(head, Inspections::method.name).and_then(Method::of);
    let Some(method) = method.filter(|m| qualifying(*m)) else { return Ok(None) };
    let Some(person) = text_of(head, Inspections::person.name) else {
        return Ok(Some("no person is given: nobody read it".to_string()));
    };
    let rows = store.rows::<Qualifications>()?;
    Ok(qualified(&rows, person, method, &day(now)).err())
}

/// What a release will say of the instrument: its check failed or is overdue.
pub fn instrument_warnings(store: &Store, head: &Texts, now: Stamp) -> Result<Vec<String>> {
    let Some(instrument) = text_of(head, Inspections::instrument.name) else { return Ok(Vec::new()) };
    let begins = format!("{} ", tag::folded(instrument));
    Ok(store.checks_due(now)?.into_iter().filter(|said| tag::folded(said).starts_with(&begins)).collect())
}

/// What the next inspection of a blade is called, and its round.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Next {
    pub tag: String,
    pub round: i64,
}

/// The round after the last of this blade by the method, and a tag that no record has.
pub fn next(store: &Store, blade: &str, head: &Texts) -> Result<Next> {
    let method = text_of(head, Inspections::method.name).unwrap_or_default();
    let (key, blade) = store.key_of::<Blades>(blade)?;
    let round = match text_of(head, Inspections::round.name).and_then(|r| r.parse().ok()) {
        Some(said) => said,
        None => next_round(store, key, method)?,
    };
    let initial = method.chars().next().map_or(String::new(), |c| c.to_uppercase().to_string());
    let tag = free_tag(store, Inspections::KIND, &format!("I-{blade}-{initial}{round}"))?;
    Ok(Next { tag, round })
}

/// The round after the last of a blade by a method.
pub fn next_round(store: &Store, blade: Key<Blades>, method: &str) -> Result<i64> {
    let of_method =
        |i: &Recorded<Inspections>| i.get(Inspections::method).is_some_and(|m| m.word() == method);
    let all = store.rows_of(Inspections::blade, blade)?;
    let last = all.iter().filter(|i| of_method(i)).filter_map(|i| i.get(Inspections::round)).max();
    Ok(last.unwrap_or(0) + 1)
}

/// The finding of a reject.
pub fn finding(inspection: &str, defect: &str, zone: Option<&String>) -> Draft<Findings> {
    Draft::default()
        .with(Findings::inspection, inspection)
        .with(Findings::defect, defect)
        .with_some(Findings::zone, zone)
}
