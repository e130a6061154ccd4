//! Whether a few records are in doubt, asked upwards: for one blade it is cheaper to look at the
//! readings of what went into it than at everything behind every suspect reading.

use rusqlite::{Connection, OptionalExtension};

use crate::domain::Stamp;
use crate::store::error::Result;
use crate::store::rows::Link;

/// A span in which the readings of an instrument are suspect, in packed time.
struct Window {
    instrument: i64,
    tag: String,
    from: i64,
    until: i64,
}

/// What suspect readings say of a record.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Doubt {
    /// A suspect reading was taken on it.
    pub on_it: bool,
    /// The suspicion descends from it to what came out of it.
    pub carries: bool,
}

/// The queries of this module, for the test that reads their plans.
pub fn queries() -> Vec<String> {
    let on = [
        "moulds",
        "heats",
        "slurry_batches",
        "oven_runs",
        "treatments",
        "blades",
        "ingot_lots",
        "revert_lots",
    ];
    let on = on.iter().flat_map(|k| readings_on(k)).map(|r| r.1);
    let used = TABLES.iter().map(|t| any_used_sql(t).0);
    [FAILED, BEFORE, AFTER, TAG].into_iter().chain(on).chain(used).map(String::from).collect()
}

const TABLES: &[&str] =
    &["pours", "inspections", "analyses", "slurry_checks", "oven_runs", "treatments", "test_bars"];

const FAILED: &str = "SELECT instrument, checked_at FROM calibrations WHERE result = 'failed'";
const BEFORE: &str = "SELECT checked_at FROM calibrations WHERE instrument = +?1 AND checked_at < +?2
     AND result <> 'not_done' ORDER BY checked_at DESC LIMIT 1";
const AFTER: &str = "SELECT checked_at FROM calibrations WHERE instrument = +?1 AND checked_at > +?2
     AND result <> 'not_done' ORDER BY checked_at LIMIT 1";
const TAG: &str = "SELECT instrument FROM instruments WHERE id = ?1";
const POUR: &str = "SELECT pyrometer, poured_at FROM pours WHERE mould = ?1 AND pyrometer IS NOT NULL";
const POURS: &str = "SELECT pyrometer, poured_at FROM pours WHERE heat = ?1 AND pyrometer IS NOT NULL";
const SLURRY: &str =
    "SELECT instrument, occurred_at FROM slurry_checks WHERE slurry_batch = ?1 AND instrument IS NOT NULL";
const OVEN: &str = "SELECT instrument, started_at FROM oven_runs WHERE id = ?1 AND instrument IS NOT NULL";
const TREATMENT: &str =
    "SELECT instrument, started_at FROM treatments WHERE id = ?1 AND instrument IS NOT NULL";
const INSPECTED: &str =
    "SELECT instrument, inspected_at FROM inspections WHERE blade = ?1 AND instrument IS NOT NULL";
const BARS: &str = "SELECT instrument, recorded_at FROM test_bars WHERE heat = ?1
     AND instrument IS NOT NULL AND recorded_at IS NOT NULL";

/// A kind whose readings may stand on a record: its table, its query, and whether suspicion descends
/// from that record.
type Readings = (&'static str, &'static str, bool);

/// The readings that stand on a record of a kind. For a pour the mould alone carries: its heat may
/// have been poured into other moulds with another pyrometer.
fn readings_on(kind: &str) -> &'static [Readings] {
    match kind {
        "moulds" => &[("pours", POUR, true)],
        "heats" => &[
            ("pours", POURS, false),
            ("test_bars", BARS, true),
            (
                "analyses",
                "SELECT instrument, taken_at FROM analyses WHERE subject_heat = ?1 AND instrument IS NOT NULL",
                true,
            ),
        ],
        "slurry_batches" => &[("slurry_checks", SLURRY, true)],
        "oven_runs" => &[("oven_runs", OVEN, true)],
        "treatments" => &[("treatments", TREATMENT, true)],
        "blades" => &[("inspections", INSPECTED, true)],
        "ingot_lots" => &[(
            "analyses",
            "SELECT instrument, taken_at FROM analyses WHERE subject_ingot_lot = ?1 AND instrument IS NOT NULL",
            true,
        )],
        "revert_lots" => &[(
            "analyses",
            "SELECT instrument, taken_at FROM analyses WHERE subject_revert_lot = ?1 AND instrument IS NOT NULL",
            true,
        )],
        _ => &[],
    }
}

/// What suspect readings say of each record, of one instrument or of all.
///
/// # Errors
/// The store cannot be read.
pub fn doubts(db: &Connection, records: impl Iterator<Item = Link>, only: Option<i64>) -> Result<Vec<Doubt>> {
    let windows = windows(db, only)?;
    if windows.is_empty() {
        return Ok(records.map(|_| Doubt::default()).collect());
    }
    let mut used: Vec<(&'static str, bool)> = Vec::new();
    let mut out = Vec::new();
    for record in records {
        let mut doubt = Doubt::default();
        for &(table, sql, carries) in readings_on(record.kind) {
            let asked = used.iter().find(|u| u.0 == table).map(|u| u.1);
            let read = match asked {
                Some(read) => read,
                None => {
                    let read = any_used(db, table, &windows)?;
                    used.push((table, read));
                    read
                }
            };
            if read && any_suspect(db, sql, record.id, &windows)? {
                doubt.on_it = true;
                doubt.carries |= carries;
            }
        }
        out.push(doubt);
    }
    Ok(out)
}

/// From the check before a failed one to the check after it.
fn windows(db: &Connection, only: Option<i64>) -> Result<Vec<Window>> {
    let mut out = Vec::new();
    let mut q = db.prepare_cached(FAILED)?;
    let mut rows = q.query([])?;
    while let Some(row) = rows.next()? {
        let (instrument, at): (i64, i64) = (row.get(0)?, row.get(1)?);
        if only.is_some_and(|o| o != instrument) {
            continue;
        }
        let ask = |sql: &str| db.prepare_cached(sql)?.query_row([instrument, at], |r| r.get(0)).optional();
        // The offset to UTC does not count: an instant begins with its smallest stamp.
        let begin = |t: i64| Stamp::new(Stamp::from_packed(t).ms(), -2048).packed();
        let (before, after): (Option<i64>, Option<i64>) = (ask(BEFORE)?, ask(AFTER)?);
        let tag = db.prepare_cached(TAG)?.query_row([instrument], |r| r.get(0))?;
        let (from, until) = (before.map_or(i64::MIN, begin), after.map_or(i64::MAX, begin));
        out.push(Window { instrument, tag, from, until });
    }
    Ok(out)
}

/// Asks whether a table names an instrument: by its id, or by its tag.
fn any_used_sql(table: &str) -> (&'static str, bool) {
    let by_id = matches!(table, "pours" | "inspections" | "analyses");
    let sql = match table {
        "pours" => "SELECT EXISTS (SELECT 1 FROM pours WHERE pyrometer = ?1)",
        "inspections" => "SELECT EXISTS (SELECT 1 FROM inspections WHERE instrument = ?1)",
        "analyses" => "SELECT EXISTS (SELECT 1 FROM analyses WHERE instrument = ?1)",
        "slurry_checks" => "SELECT EXISTS (SELECT 1 FROM slurry_checks WHERE instrument = ?1 COLLATE NOCASE)",
        "oven_runs" => "SELECT EXISTS (SELECT 1 FROM oven_runs WHERE instrument = ?1 COLLATE NOCASE)",
        "treatments" => "SELECT EXISTS (SELECT 1 FROM treatments WHERE instrument = ?1 COLLATE NOCASE)",
        _ => "SELECT EXISTS (SELECT 1 FROM test_bars WHERE instrument = ?1 COLLATE NOCASE)",
    };
    (sql, by_id)
}

/// One of the instruments is named in this table at all.
fn any_used(db: &Connection, table: &str, windows: &[Window]) -> Result<bool> {
    let (sql, by_id) = any_used_sql(table);
    let mut q = db.prepare_cached(sql)?;
    for (i, w) in windows.iter().enumerate() {
        if windows[..i].iter().any(|known| known.instrument == w.instrument) {
            continue;
        }
        let is: bool = if by_id {
            q.query_row([w.instrument], |r| r.get(0))?
        } else {
            q.query_row([&w.tag], |r| r.get(0))?
        };
        if is {
            return Ok(true);
        }
    }
    Ok(false)
}

fn any_suspect(db: &Connection, sql: &str, id: i64, windows: &[Window]) -> Result<bool> {
    let mut q = db.prepare_cached(sql)?;
    let mut rows = q.query([id])?;
    while let Some(row) = rows.next()? {
        let at: i64 = row.get(1)?;
        let mut inside = windows.iter().filter(|w| w.from <= at && at < w.until).peekable();
        if inside.peek().is_none() {
            continue;
        }
        let found = match row.get_ref(0)? {
            rusqlite::types::ValueRef::Integer(id) => inside.any(|w| w.instrument == id),
            rusqlite::types::ValueRef::Text(text) => {
                inside.any(|w| w.tag.as_bytes().eq_ignore_ascii_case(text))
            }
            _ => false,
        };
        if found {
            return Ok(true);
        }
    }
    Ok(false)
}
