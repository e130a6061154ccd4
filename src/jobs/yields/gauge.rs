//! Gauge studies: what a measuring device and the people at it add to the spread.

use std::collections::{BTreeSet, HashSet};

use serde::Serialize;

use knowledge::stats::gauge::study;
use records::catalogue::InspectionPurpose;
use records::read::yield_queries::Measured;
use records::value::tag::{hint, near, shown};
use records::{Error, Result, Store};

#[derive(Serialize, Debug, Clone, Default)]
pub struct GaugeStudy {
    pub characteristic: String,
    pub unit: String,
    /// Parts, people, readings.
    pub parts: usize,
    pub people: usize,
    pub readings: usize,
    pub instruments: Vec<String>,
    /// Variance of readings of one part by one person.
    pub repeatability: Option<f64>,
    pub reproducibility: Option<f64>,
    /// Variance between people in how they read a part.
    pub interaction: Option<f64>,
    pub part: Option<f64>,
    /// Standard deviation of the gauge: the first three together.
    pub gauge_sd: Option<f64>,
    /// 6 gauge_sd over the width of the tolerance.
    pub of_tolerance: Option<f64>,
    /// Gauge variance over all variance of the study.
    pub of_variance: Option<f64>,
    /// Why there are no figures.
    pub refused: Option<String>,
}

/// The characteristic as it is written in the records.
pub fn characteristic(store: &Store, text: &str) -> Result<String> {
    let all = store.characteristics()?;
    if let Some(found) = all.iter().find(|c| c.eq_ignore_ascii_case(text)) {
        return Ok(found.clone());
    }
    let close = near(text, all.iter().map(String::as_str));
    let known = if close.is_empty() && !all.is_empty() {
        format!("; measured are {}", shown(&all.iter().take(12).cloned().collect::<Vec<_>>().join(", ")))
    } else {
        hint(&close)
    };
    Err(Error::input(format!("no characteristic {} was measured{known}", shown(text))))
}

/// The gauge study of a characteristic, where one is recorded: parts read by people more than once.
pub(crate) fn gauge_of(all: &[Measured], name: &str) -> Option<GaugeStudy> {
    let study_of = Some(InspectionPurpose::Study.word());
    let rows: Vec<&Measured> =
        all.iter().filter(|m| m.purpose.as_deref() == study_of && m.value.is_some()).collect();
    let first = rows.first()?;
    let parts: Vec<String> = rows.iter().map(|m| m.blade.to_string()).collect();
    let people: Vec<&str> = rows.iter().map(|m| m.person.as_deref().unwrap_or("no person given")).collect();
    let values: Vec<f64> = rows.iter().filter_map(|m| m.value).collect();
    let distinct = |list: &[&str]| list.iter().collect::<HashSet<_>>().len();
    let names: Vec<&str> = parts.iter().map(String::as_str).collect();
    let instruments: BTreeSet<String> = rows.iter().filter_map(|m| m.instrument.clone()).collect();
    let mut out = GaugeStudy {
        characteristic: name.to_string(),
        unit: first.unit.clone(),
        parts: distinct(&names),
        people: distinct(&people),
        readings: rows.len(),
        instruments: instruments.into_iter().collect(),
        ..GaugeStudy::default()
    };
    if rows.iter().any(|m| m.unit != first.unit) {
        out.refused = Some("the readings are in several units".into());
        return Some(out);
    }
    match study(&names, &people, &values) {
        Ok(g) => {
            let gauge = g.repeatability + g.reproducibility + g.interaction;
            let width = rows.iter().rev().find_map(|m| m.upper.zip(m.lower)).map(|(u, l)| u - l);
            out.repeatability = Some(g.repeatability);
            out.reproducibility = Some(g.reproducibility);
            out.interaction = Some(g.interaction);
            out.part = Some(g.part);
            out.gauge_sd = Some(gauge.sqrt());
            out.of_tolerance = width.filter(|w| *w > 0.0).map(|w| 6.0 * gauge.sqrt() / w);
            out.of_variance = (g.total > 0.0).then(|| gauge / g.total);
        }
        Err(why) => out.refused = Some(why),
    }
    Some(out)
}

/// Every gauge study that is recorded, or that of one characteristic.
pub fn gauges(store: &Store, only: Option<&str>) -> Result<Vec<GaugeStudy>> {
    let names = match only {
        Some(text) => vec![characteristic(store, text)?],
        None => store.characteristics()?,
    };
    let mut out = Vec::new();
    for name in names {
        out.extend(gauge_of(&store.measured(&name)?, &name));
    }
    Ok(out)
}
