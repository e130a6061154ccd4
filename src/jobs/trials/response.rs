//! What a trial looks at, and what it says of every blade.

use std::collections::{BTreeSet, HashMap};

use crate::jobs::trace::siblings::question;
use knowledge::causes::Better;
use records::catalogue::{Decision, DefectTerms, InspectionPurpose};
use records::read::yield_queries::Measured;
use records::value::tag::{hint, near, shown};
use records::{Error, Result, Store};

/// What a trial (or a comparison) looks at.
#[derive(Clone, Debug)]
pub enum Response {
    /// The last disposition is scrap; blades without a final one are not counted.
    Scrap,
    /// Any reject of a first product inspection.
    Reject,
    /// A finding of a defect, in a zone where one is named.
    Defect {
        defect: String,
        zone: Option<String>,
    },
    Characteristic(String),
}

/// Reads a response: a defect term (with a zone after it: `inclusion RT`), a characteristic, `scrap`, `reject`.
pub fn response(store: &Store, text: &str) -> Result<Response> {
    let terms = store.rows::<DefectTerms>()?;
    let defects: Vec<&str> = terms.iter().filter_map(|t| t.tag()).collect();
    let known = |t: &str| defects.iter().find(|d| d.eq_ignore_ascii_case(t)).map(|d| (*d).to_string());
    if let Some(defect) = known(text) {
        return Ok(Response::Defect { defect, zone: None });
    }
    let characteristics = store.characteristics()?;
    if let Some(found) = characteristics.iter().find(|c| c.eq_ignore_ascii_case(text)) {
        return Ok(Response::Characteristic(found.clone()));
    }
    match text.to_ascii_lowercase().as_str() {
        "scrap" | "scrapped" => return Ok(Response::Scrap),
        "reject" | "rejected" => return Ok(Response::Reject),
        _ => {}
    }
    if let Some((first, zone)) = text.rsplit_once(' ') {
        let first = first.strip_suffix(" in").unwrap_or(first).trim();
        if let Some(defect) = known(first) {
            return Ok(Response::Defect { defect, zone: Some(zone.to_string()) });
        }
    }
    let all = defects.iter().copied().chain(characteristics.iter().map(String::as_str));
    let close = near(text, all.chain(["scrap", "reject"]));
    Err(Error::input(format!(
        "the response {} is not a defect term, measured characteristic, scrap or reject{}",
        shown(text),
        hint(&close)
    )))
}

/// The response of the blades that count.
pub enum ByBlade {
    /// Blade → is with the response.
    Counts(HashMap<i64, bool>),
    /// Blade → its value.
    Values(HashMap<i64, f64>),
}

/// The response of every blade, and what to say of it.
pub struct ResponseOf {
    pub outcome: ByBlade,
    /// The inspection method behind a defect.
    pub method: Option<String>,
    pub unit: Option<String>,
    pub better: Better,
    pub notes: Vec<String>,
}

impl ResponseOf {
    /// Whether a blade counts.
    pub fn has(&self, blade: i64) -> bool {
        match &self.outcome {
            ByBlade::Counts(all) => all.contains_key(&blade),
            ByBlade::Values(all) => all.contains_key(&blade),
        }
    }
}

/// Reads a response for every blade of the store.
pub fn seen(store: &Store, response: &Response) -> Result<ResponseOf> {
    let mut out = ResponseOf {
        outcome: ByBlade::Counts(HashMap::new()),
        method: None,
        unit: None,
        better: Better::Unknown,
        notes: Vec::new(),
    };
    match response {
        Response::Scrap => {
            let last = store.last_dispositions()?;
            let finished = last.into_iter().filter_map(|(blade, (word, _))| match Decision::of(&word)? {
                Decision::Scrap => Some((blade, true)),
                Decision::Accept | Decision::Concession => Some((blade, false)),
                Decision::Rework | Decision::Repair | Decision::Hold => None,
            });
            out.outcome = ByBlade::Counts(finished.collect());
            out.notes.push(
                "Scrap is a last disposition of scrap; blades without a final disposition are not counted."
                    .into(),
            );
        }
        Response::Reject => {
            let outcomes = store.outcomes(&question(store, None, None, None)?)?;
            out.outcome = ByBlade::Counts(outcomes.blades);
            out.notes.push("A reject is any rejecting product inspection of the first round.".into());
        }
        Response::Defect { defect, zone } => {
            let asked = question(store, Some(defect), zone.as_deref(), None)?;
            let outcomes = store.outcomes(&asked)?;
            if outcomes.rejected_without_finding > 0 {
                out.notes.push(format!(
                    "{} inspections of that method rejected without a finding.",
                    outcomes.rejected_without_finding
                ));
            }
            out.method = asked.method;
            out.outcome = ByBlade::Counts(outcomes.blades);
        }
        Response::Characteristic(name) => {
            let measured = store.measured(name)?;
            values(measured, &mut out)?;
        }
    }
    Ok(out)
}

/// A blank purpose is the product.
pub(crate) fn product(purpose: Option<&str>) -> bool {
    purpose.is_none_or(|p| p == InspectionPurpose::Product.word())
}

fn values(measured: Vec<Measured>, out: &mut ResponseOf) -> Result<()> {
    let first = |m: &&Measured| m.round == 1 && product(m.purpose.as_deref());
    let mut found = HashMap::new();
    let mut units: BTreeSet<&str> = BTreeSet::new();
    let mut without = 0;
    let mut limits = (None, None);
    for m in measured.iter().filter(first) {
        units.insert(&m.unit);
        limits = (m.lower, m.upper);
        match m.value {
            Some(v) => {
                found.entry(m.blade).or_insert(v);
            }
            None => without += 1,
        }
    }
    if units.len() > 1 {
        let all: Vec<&str> = units.into_iter().collect();
        return Err(Error::input(format!("the values are in several units: {}", shown(&all.join(", ")))));
    }
    out.unit = units.first().map(|u| (*u).to_string());
    if without > 0 {
        out.notes.push(format!(
            "{without} measurements are blank, illegible or below detection and enter no mean."
        ));
    }
    out.better = match limits {
        (Some(low), Some(high)) => Better::Nearer(0.5 * (low + high)),
        (None, Some(_)) => Better::Lower,
        (Some(_), None) => Better::Higher,
        (None, None) => Better::Unknown,
    };
    let words = match out.better {
        Better::Nearer(aim) => format!("the mean nearer to the middle of the limits, {aim}"),
        Better::Lower => "the lower mean, as there is an upper limit alone".into(),
        Better::Higher => "the higher mean, as there is a lower limit alone".into(),
        Better::Unknown => "unknown, as no limit was recorded".into(),
    };
    out.notes.push(format!("Measured values: difference of means by mould; the better one is {words}."));
    out.outcome = ByBlade::Values(found);
    Ok(())
}
