//! Held and suspect for one record and its ancestors, asked upwards: a trace must not walk
//! everything that ever came out of a held lot.

use rusqlite::params;

use crate::domain::Stamp;
use crate::domain::place::Place;
use crate::store::Store;
use crate::store::error::Result;
use crate::store::lineage::Lineage;
use crate::store::rows::Link;

/// What holds and suspect readings say of a trace.
#[derive(Clone, Debug, Default)]
pub struct Judged {
    /// Open holds on each node.
    pub holds: Vec<usize>,
    /// A reading on the node is suspect.
    pub suspect: Vec<bool>,
    /// The asked record stands behind a suspect reading.
    pub behind_suspect: bool,
    /// The asked record is fenced by an open hold.
    pub held: bool,
}

/// Readings of a record: instrument's tag or id, and time. The flag says that suspicion descends
/// from the record by this reading: a heat's pours name the mould, which carries it alone.
const READINGS: &[(&str, &str, bool)] = &[
    ("moulds", "SELECT pyrometer, poured_at FROM pours WHERE mould = ?1 AND pyrometer IS NOT NULL", true),
    ("heats", "SELECT pyrometer, poured_at FROM pours WHERE heat = ?1 AND pyrometer IS NOT NULL", false),
    (
        "heats",
        "SELECT instrument, taken_at FROM analyses WHERE subject_heat = ?1 AND instrument IS NOT NULL",
        true,
    ),
    (
        "ingot_lots",
        "SELECT instrument, taken_at FROM analyses WHERE subject_ingot_lot = ?1 AND instrument IS NOT NULL",
        true,
    ),
    (
        "revert_lots",
        "SELECT instrument, taken_at FROM analyses WHERE subject_revert_lot = ?1 AND instrument IS NOT NULL",
        true,
    ),
    (
        "slurry_batches",
        "SELECT instrument, occurred_at FROM slurry_checks WHERE slurry_batch = ?1 AND instrument IS NOT NULL",
        true,
    ),
    (
        "oven_runs",
        "SELECT instrument, started_at FROM oven_runs WHERE id = ?1 AND instrument IS NOT NULL",
        true,
    ),
    (
        "treatments",
        "SELECT instrument, started_at FROM treatments WHERE id = ?1 AND instrument IS NOT NULL",
        true,
    ),
    (
        "blades",
        "SELECT instrument, inspected_at FROM inspections WHERE blade = ?1 AND instrument IS NOT NULL",
        true,
    ),
    (
        "heats",
        "SELECT instrument, recorded_at FROM test_bars WHERE heat = ?1 AND instrument IS NOT NULL AND recorded_at IS NOT NULL",
        true,
    ),
];

/// The queries of this file, for the test that reads their plans.
pub fn queries() -> Vec<String> {
    READINGS
        .iter()
        .map(|(_, sql, _)| (*sql).to_string())
        .chain([HOLDS_ON.into(), CHECK_BEFORE.into()])
        .collect()
}

const HOLDS_ON: &str =
    "SELECT count(*) FROM holds WHERE subject_kind = ?1 AND subject_id = ?2 AND lifted_at IS NULL";
const CHECK_BEFORE: &str = "SELECT result = 'failed' FROM calibrations
     WHERE instrument = ?1 AND checked_at < ?2 AND result <> 'not_done' ORDER BY checked_at DESC LIMIT 1";
const CHECK_AFTER: &str = "SELECT result = 'failed' FROM calibrations
     WHERE instrument = ?1 AND checked_at >= ?2 AND result <> 'not_done' ORDER BY checked_at LIMIT 1";

/// An instrument that failed some check.
struct Failing {
    id: i64,
    tag: String,
    held: bool,
}

impl Store {
    /// Holds and suspect readings on every node of a trace, and what they mean for the asked record.
    ///
    /// # Errors
    /// The store cannot be read.
    pub fn judge(&self, lineage: &Lineage) -> Result<Judged> {
        let any_hold: bool = self
            .db
            .prepare_cached("SELECT EXISTS (SELECT 1 FROM holds WHERE lifted_at IS NULL)")?
            .query_row([], |r| r.get(0))?;
        let failing = self.failing(any_hold)?;
        let mut out = Judged::default();
        for node in &lineage.nodes {
            let holds = if any_hold { self.holds_on(node.link)? } else { 0 };
            let (own, carried, by_held) = self.suspect_at(node.link, &failing)?;
            out.holds.push(holds);
            out.suspect.push(own);
            out.behind_suspect |= carried;
            out.held |= holds > 0 || by_held;
        }
        if any_hold && !out.held {
            out.held = self.held_sideways(lineage)?;
        }
        Ok(out)
    }

    fn holds_on(&self, link: Link) -> Result<usize> {
        let n: i64 =
            self.db.prepare_cached(HOLDS_ON)?.query_row(params![link.kind, link.id], |r| r.get(0))?;
        Ok(n as usize)
    }

    fn failing(&self, any_hold: bool) -> Result<Vec<Failing>> {
        let mut q = self.db.prepare_cached(
            "SELECT DISTINCT c.instrument, i.instrument FROM calibrations c CROSS JOIN instruments i ON i.id = c.instrument
             WHERE c.result = 'failed'",
        )?;
        let mut out = Vec::new();
        let mut rows = q.query([])?;
        while let Some(row) = rows.next()? {
            let id = row.get(0)?;
            let held = any_hold && self.holds_on(Link { kind: "instruments", id })? > 0;
            out.push(Failing { id, tag: row.get(1)?, held });
        }
        Ok(out)
    }

    /// A reading on the record is suspect; one is that descends; one by a held instrument.
    fn suspect_at(&self, link: Link, failing: &[Failing]) -> Result<(bool, bool, bool)> {
        let (mut own, mut carried, mut by_held) = (false, false, false);
        if failing.is_empty() {
            return Ok((own, carried, by_held));
        }
        for (_, sql, descends) in READINGS.iter().filter(|(k, _, _)| *k == link.kind) {
            let mut q = self.db.prepare_cached(sql)?;
            let mut rows = q.query([link.id])?;
            while let Some(row) = rows.next()? {
                use rusqlite::types::ValueRef;
                let named = match row.get_ref(0)? {
                    ValueRef::Integer(id) => failing.iter().find(|f| f.id == id),
                    ValueRef::Text(t) => failing.iter().find(|f| f.tag.as_bytes().eq_ignore_ascii_case(t)),
                    _ => None,
                };
                let Some(f) = named else { continue };
                if self.reading_is_suspect(f.id, Stamp::from_packed(row.get(1)?))? {
                    own = true;
                    carried |= descends;
                    by_held |= *descends && f.held;
                }
            }
        }
        Ok((own, carried, by_held))
    }

    /// The check before a reading, or the one after it, failed. A reading at the very time of a check
    /// counts as after it.
    fn reading_is_suspect(&self, instrument: i64, at: Stamp) -> Result<bool> {
        use rusqlite::OptionalExtension;
        let next_instant = Stamp::new(at.ms() + 1, -2048).packed();
        for sql in [CHECK_BEFORE, CHECK_AFTER] {
            let failed: Option<bool> = self
                .db
                .prepare_cached(sql)?
                .query_row([instrument, next_instant], |r| r.get(0))
                .optional()?;
            if failed == Some(true) {
                return Ok(true);
            }
        }
        Ok(false)
    }

    /// Holds that reach a blade or mould by another way than its own parents: the lot, and the wax
    /// and cores of the other blades of its mould.
    fn held_sideways(&self, lineage: &Lineage) -> Result<bool> {
        let asked = lineage.nodes[0].link;
        if asked.kind == "blades" {
            let mut q = self.db.prepare_cached("SELECT lot FROM lot_blades WHERE blade = ?1")?;
            let mut rows = q.query([asked.id])?;
            while let Some(row) = rows.next()? {
                if self.holds_on(Link { kind: "lots", id: row.get(0)? })? > 0 {
                    return Ok(true);
                }
            }
        }
        for mould in lineage.nodes.iter().filter(|n| n.link.kind == "moulds") {
            let mut q = self
                .db
                .prepare_cached("SELECT DISTINCT pattern_run, core_lot FROM blades WHERE mould = ?1")?;
            let mut rows = q.query([mould.link.id])?;
            while let Some(row) = rows.next()? {
                for (kind, column) in [("pattern_runs", 0), ("core_lots", 1)] {
                    let Some(id) = row.get::<_, Option<i64>>(column)? else { continue };
                    let link = Link { kind, id };
                    let above = self.ancestry(link, "")?;
                    for node in above.nodes {
                        if self.holds_on(node.link)? > 0 {
                            return Ok(true);
                        }
                    }
                }
            }
        }
        Ok(false)
    }

    /// Where one blade is, when it is known whether a hold fences it.
    ///
    /// # Errors
    /// The store cannot be read.
    pub fn place_of(&self, blade: i64, held: bool) -> Result<Place> {
        use rusqlite::OptionalExtension;
        let decision: Option<String> = self
            .db
            .prepare_cached(
                "SELECT decision FROM dispositions WHERE blade = ?1 ORDER BY decided_at DESC LIMIT 1",
            )?
            .query_row([blade], |r| r.get(0))
            .optional()?;
        let out: Option<bool> = self
            .db
            .prepare_cached(
                "SELECT returned_at IS NULL FROM shipments WHERE blade = ?1 ORDER BY shipped_at DESC LIMIT 1",
            )?
            .query_row([blade], |r| r.get(0))
            .optional()?;
        Ok(Place::of(out == Some(true), decision.as_deref(), held))
    }
}
