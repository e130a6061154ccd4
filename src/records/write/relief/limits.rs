//! Values of an analysis outside the limits of the alloy of its subject.

use std::collections::{BTreeMap, BTreeSet};

use rusqlite::{Connection, OptionalExtension};

use crate::error::Result;
use crate::read::rows::Resolved;
use crate::write::relief::{Change, differs};
use knowledge::metallurgy::analysis::{AnalysisLine, content};
use knowledge::metallurgy::limits::{Content, Unit, within};

const ALLOY_OF: &str = "SELECT coalesce(h.alloy, i.alloy, r.alloy) FROM analyses a
    LEFT JOIN heats h ON h.id = a.subject_heat LEFT JOIN ingot_lots i ON i.id = a.subject_ingot_lot
    LEFT JOIN revert_lots r ON r.id = a.subject_revert_lot WHERE a.id = ?1";
const LIMITS: &str = "SELECT element, min, max, unit FROM alloy_limits WHERE alloy = ?1";
const VALUES: &str = "SELECT element, value, unit FROM analysis_values WHERE analysis = ?1";

/// The analyses that a change may bring inside their limits, each with the elements outside now. None of them is
/// without such an element.
pub(crate) fn touched(db: &Connection, change: &Change) -> Result<BTreeMap<i64, BTreeSet<String>>> {
    let mut out = BTreeMap::new();
    let Some(old) = change.old else { return Ok(out) };
    if !differs(&old.record, change.new) {
        return Ok(out);
    }
    for id in analyses(db, old, change.id)? {
        let elements = outside(db, id)?;
        if !elements.is_empty() {
            out.insert(id, elements);
        }
    }
    Ok(out)
}

fn analyses(db: &Connection, old: &Resolved, id: Option<i64>) -> Result<Vec<i64>> {
    let of = |column: &str| -> Result<Vec<i64>> {
        let mut q = db.prepare_cached(&format!("SELECT id FROM analyses WHERE {column} = ?1"))?;
        Ok(q.query_map([id], |r| r.get(0))?.collect::<rusqlite::Result<_>>()?)
    };
    match old.record.kind.name {
        "analysis_values" => {
            let at = old.record.kind.index("analysis");
            Ok(at.and_then(|i| old.links[i]).map(|l| l.id).into_iter().collect())
        }
        "analyses" => Ok(id.into_iter().collect()),
        "heats" => of("subject_heat"),
        "ingot_lots" => of("subject_ingot_lot"),
        "revert_lots" => of("subject_revert_lot"),
        _ => Ok(Vec::new()),
    }
}

/// The elements of an analysis that lie outside a limit for sure.
pub(crate) fn outside(db: &Connection, analysis: i64) -> Result<BTreeSet<String>> {
    let mut out = BTreeSet::new();
    let mut q = db.prepare_cached(ALLOY_OF)?;
    let alloy: Option<i64> = q.query_row([analysis], |r| r.get(0)).optional()?.flatten();
    let Some(alloy) = alloy else { return Ok(out) };
    let mut q = db.prepare_cached(VALUES)?;
    let values = q.query_map([analysis], |r| {
        Ok((r.get::<_, String>(0)?, r.get::<_, Option<f64>>(1)?, r.get::<_, String>(2)?))
    })?;
    let values: Vec<(String, Option<f64>, String)> = values.collect::<rusqlite::Result<_>>()?;
    let lines: Vec<AnalysisLine> = values
        .iter()
        .filter_map(|(element, value, unit)| {
            let content = value.map_or(Content::Unknown, Content::Value);
            Some(AnalysisLine { element, content, unit: Unit::from_word(unit)? })
        })
        .collect();
    let mut q = db.prepare_cached(LIMITS)?;
    let mut limits = q.query([alloy])?;
    while let Some(row) = limits.next()? {
        let (element, unit): (String, String) = (row.get(0)?, row.get(3)?);
        let Some(unit) = Unit::from_word(&unit) else { continue };
        let found = content(&lines, &element, unit);
        if within(found, row.get(1)?, row.get(2)?) == Some(false) {
            out.insert(element);
        }
    }
    Ok(out)
}
