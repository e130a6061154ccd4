//! Suspect readings: derived from an instrument's checks, never stored.

use rusqlite::{Connection, params};

use crate::domain::field::Type;
use crate::domain::{Stamp, catalogue};
use crate::store::Store;
use crate::store::error::Result;
use crate::store::lineage::{self, Fence};
use crate::store::rows::Link;

/// A span in which an instrument's readings are suspect, from after one check to before the next.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Span {
    /// Readings at or after this time; none: from the beginning.
    pub from: Option<Stamp>,
    /// Readings before this time; none: until now.
    pub until: Option<Stamp>,
}

/// Spans between checks of which one failed. Checks in time order, those not done left out.
#[must_use]
pub fn spans(checks: &[(Stamp, bool)]) -> Vec<Span> {
    let mut out: Vec<Span> = Vec::new();
    let mut add = |from: Option<Stamp>, until: Option<Stamp>| match out.last_mut() {
        Some(last) if last.until == from && from.is_some() => last.until = until,
        _ => out.push(Span { from, until }),
    };
    for (i, &(at, failed)) in checks.iter().enumerate() {
        let before = i.checked_sub(1).map(|j| checks[j]);
        if failed || before.is_some_and(|(_, f)| f) {
            add(before.map(|(t, _)| t), Some(at));
        }
    }
    if let Some(&(at, true)) = checks.last() {
        add(Some(at), None);
    }
    out
}

const FAILING: &str = "SELECT DISTINCT c.instrument, i.instrument FROM calibrations c CROSS JOIN instruments i ON i.id = c.instrument
         WHERE c.result = 'failed' AND (?1 IS NULL OR c.instrument = ?1)";
const CHECKS: &str = "SELECT checked_at, result = 'failed' FROM calibrations
             WHERE instrument = +?1 AND result <> 'not_done' ORDER BY checked_at";

/// A suspect reading.
#[derive(Clone, Debug)]
pub struct Reading {
    /// The kind of the record that holds it.
    pub kind: &'static str,
    /// The instrument's tag.
    pub instrument: String,
    /// What the reading was taken on.
    pub on: Vec<Link>,
    /// When.
    pub at: Stamp,
}

impl Store {
    /// Every suspect reading, of one instrument or of all.
    ///
    /// # Errors
    /// The store cannot be read.
    pub fn suspect_readings(&self, instrument: Option<i64>) -> Result<Vec<Reading>> {
        readings(&self.db, instrument)
    }

    /// All that stands behind suspect readings.
    ///
    /// # Errors
    /// The store cannot be read.
    pub fn suspect_fence(&self, instrument: Option<i64>) -> Result<Fence> {
        let readings = readings(&self.db, instrument)?;
        lineage::descend(&self.db, &starts(&readings), false)
    }
}

/// The records from which suspicion descends: for a pour the mould alone, as its heat may have been
/// poured into other moulds with another pyrometer.
pub fn starts(readings: &[Reading]) -> Vec<Link> {
    readings.iter().filter_map(|r| r.on.first().copied()).collect()
}

/// The suspect readings of one instrument.
pub fn of_instrument(db: &Connection, id: i64) -> Result<Vec<Reading>> {
    readings(db, Some(id))
}

fn readings(db: &Connection, instrument: Option<i64>) -> Result<Vec<Reading>> {
    let mut out = Vec::new();
    let mut q = db.prepare_cached(FAILING)?;
    let failing: Vec<(i64, String)> =
        q.query_map([instrument], |r| Ok((r.get(0)?, r.get(1)?)))?.collect::<rusqlite::Result<_>>()?;
    for (id, tag) in failing {
        let mut q = db.prepare_cached(CHECKS)?;
        let checks: Vec<(Stamp, bool)> = q
            .query_map([id], |r| Ok((Stamp::from_packed(r.get(0)?), r.get(1)?)))?
            .collect::<rusqlite::Result<_>>()?;
        for span in spans(&checks) {
            for kind in catalogue::all().filter(|k| k.instrument.is_some()) {
                of_kind(db, kind, id, &tag, span, &mut out)?;
            }
        }
    }
    Ok(out)
}

/// Columns that say what a reading was taken on, and the kind of each; the first one carries the
/// suspicion on.
fn taken_on(kind: &str) -> (&'static str, &'static [&'static str]) {
    match kind {
        "pours" => ("mould, heat", &["moulds", "heats"]),
        "slurry_checks" => ("slurry_batch", &["slurry_batches"]),
        "oven_runs" => ("id", &["oven_runs"]),
        "inspections" => ("blade", &["blades"]),
        "treatments" => ("id", &["treatments"]),
        "test_bars" => ("heat", &["heats"]),
        "analyses" => {
            ("subject_ingot_lot, subject_revert_lot, subject_heat", &["ingot_lots", "revert_lots", "heats"])
        }
        _ => ("NULL", &[]),
    }
}

fn reading_sql(kind: &crate::domain::Kind) -> Option<String> {
    let field = kind.instrument.and_then(|f| kind.field(f))?;
    let (columns, _) = taken_on(kind.name);
    let time = kind.time.unwrap_or("recorded_at");
    let by_id = matches!(field.ty, Type::Ref(_));
    let condition = if by_id { "= ?1" } else { "= ?2 COLLATE NOCASE" };
    // The parameters stay the same for both forms; a comparison with NULL names the unused one.
    Some(format!(
        "SELECT {time}, {columns} FROM {} WHERE {} {condition} AND {} {time} >= ?3 AND {time} < ?4",
        kind.name,
        field.name,
        if by_id { "?2 IS NOT NULL AND" } else { "?1 IS NOT NULL AND" },
    ))
}

/// The queries of suspect readings, for the test that reads their plans.
#[must_use]
pub fn queries() -> Vec<String> {
    let readings = catalogue::all().filter_map(reading_sql);
    [FAILING, CHECKS].map(String::from).into_iter().chain(readings).collect()
}

fn of_kind(
    db: &Connection,
    kind: &'static crate::domain::Kind,
    instrument: i64,
    tag: &str,
    span: Span,
    out: &mut Vec<Reading>,
) -> Result<()> {
    let (_, kinds) = taken_on(kind.name);
    let Some(sql) = reading_sql(kind) else { return Ok(()) };
    let from = span.from.map_or(i64::MIN, |t| Stamp::new(t.ms(), -2048).packed());
    let until = span.until.map_or(i64::MAX, |t| Stamp::new(t.ms(), -2048).packed());
    let mut q = db.prepare_cached(&sql)?;
    let mut rows = q.query(params![instrument, tag, from, until])?;
    while let Some(row) = rows.next()? {
        let mut on = Vec::new();
        for (i, kind) in kinds.iter().enumerate() {
            if let Some(id) = row.get::<_, Option<i64>>(i + 1)? {
                on.push(Link { kind, id });
            }
        }
        out.push(Reading {
            kind: kind.name,
            instrument: tag.to_string(),
            on,
            at: Stamp::from_packed(row.get(0)?),
        });
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn t(h: i64) -> Stamp {
        Stamp::new(h * 3_600_000, 0)
    }

    #[test]
    fn back_to_the_last_good_check_and_on_to_the_next() {
        let checks = [(t(1), false), (t(2), true), (t(3), false), (t(4), false)];
        assert_eq!(spans(&checks), [Span { from: Some(t(1)), until: Some(t(3)) }]);
        assert_eq!(spans(&[(t(1), true)]), [Span { from: None, until: None },]);
        let ends_badly = [(t(1), false), (t(2), true)];
        assert_eq!(spans(&ends_badly), [Span { from: Some(t(1)), until: None }]);
        assert!(spans(&[(t(1), false), (t(2), false)]).is_empty());
    }
}
