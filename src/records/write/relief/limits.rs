//! Values of an analysis outside the limits of the alloy of its subject.

use std::collections::{BTreeMap, BTreeSet};

use rusqlite::{Connection, OptionalExtension};

use crate::catalogue::{Analyses, AnalysisValues};
use crate::error::Result;
use crate::read;
use crate::read::rows::{Link, Resolved};
use crate::read::shape;
use crate::write::relief::{PlannedChange, differs};
use knowledge::metallurgy::analysis::{AnalysisLine, content};
use knowledge::metallurgy::limits::{Content, Unit, within};

const ALLOY_OF: &str = "SELECT coalesce(h.alloy, i.alloy, r.alloy) FROM analyses a
    LEFT JOIN heats h ON h.id = a.subject_heat LEFT JOIN ingot_lots i ON i.id = a.subject_ingot_lot
    LEFT JOIN revert_lots r ON r.id = a.subject_revert_lot WHERE a.id = ?1";
const LIMITS: &str = "SELECT element, min, max, unit FROM alloy_limits WHERE alloy = ?1";
const VALUES: &str = "SELECT element, value, unit FROM analysis_values WHERE analysis = ?1";

/// The analyses that a change may bring inside their limits, each with the elements outside now. None of them is
/// without such an element.
pub(crate) fn touched(db: &Connection, change: &PlannedChange) -> Result<BTreeMap<i64, BTreeSet<String>>> {
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
    match (old.record.kind.name, id) {
        (AnalysisValues::NAME, _) => Ok(old.id(AnalysisValues::analysis).into_iter().collect()),
        (Analyses::NAME, id) => Ok(id.into_iter().collect()),
        (kind, Some(id)) => {
            Ok(analyses_of(db, Link { kind, id })?.into_iter().map(|(analysis, _)| analysis).collect())
        }
        _ => Ok(Vec::new()),
    }
}

/// The analyses of metal, by id and tag; none of anything else.
pub(crate) fn analyses_of(db: &Connection, subject: Link) -> Result<Vec<(i64, String)>> {
    let Some(column) = shape::column_to(Analyses::subject, subject.kind) else { return Ok(Vec::new()) };
    read::list(db, &format!("SELECT id, analysis FROM analyses WHERE {column} = ?1"), [subject.id], |r| {
        Ok((r.get(0)?, r.get(1)?))
    })
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
