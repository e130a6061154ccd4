//! The records that a lot stands on: what a final summary is bound to.

use std::collections::{BTreeSet, HashSet};

use rusqlite::Connection;
use sha2::{Digest, Sha256};

use crate::domain::{Record, catalogue, kind};
use crate::store::error::Result;
use crate::store::lots::Metal;
use crate::store::read::{self, Lookup};
use crate::store::{Store, journal, rows, shape};

/// A record behind a lot.
#[derive(Clone, Debug)]
pub struct Row {
    /// Its kind.
    pub kind: &'static str,
    /// Its id, where it has one.
    pub id: Option<i64>,
    /// The record.
    pub record: Record<'static>,
    /// The journal entry that wrote it last.
    pub entry: i64,
    /// First bytes of the SHA-256 of its canonical text.
    pub digest: i64,
}

/// Everything behind a lot.
#[derive(Debug, Default)]
pub struct Behind {
    /// The records.
    pub rows: Vec<Row>,
    /// SHA-256 over the sorted lines `kind address digest`.
    pub content: String,
}

impl Behind {
    /// The records of one kind.
    pub fn of<'a>(&'a self, kind: &'a str) -> impl Iterator<Item = &'a Row> {
        self.rows.iter().filter(move |r| r.kind == kind)
    }
}

fn list<'a>(ids: impl IntoIterator<Item = &'a i64>) -> String {
    ids.into_iter().map(i64::to_string).collect::<Vec<_>>().join(",")
}

/// Kinds and the condition by which their records stand behind a lot. Shipments and signatures are
/// left out: sending a released lot does not change what was released. Checks of instruments count up
/// to the last inspection of the lot; a later one that failed makes readings suspect, which blocks.
fn conditions(lot: i64, part: i64, metal: &Metal) -> Vec<(&'static str, String)> {
    let (heats, ingots, reverts) = (list(&metal.heats), list(&metal.ingots), list(&metal.reverts));
    let b = format!("SELECT blade FROM lot_blades WHERE lot = {lot}");
    let m = format!("SELECT mould FROM blades WHERE id IN ({b})");
    let i = format!("SELECT id FROM inspections WHERE blade IN ({b})");
    let analyses = format!(
        "subject_heat IN ({heats}) OR subject_ingot_lot IN ({ingots}) OR subject_revert_lot IN ({reverts})"
    );
    let used = format!(
        "SELECT instrument FROM inspections WHERE blade IN ({b}) UNION SELECT pyrometer FROM pours WHERE mould IN ({m})
         UNION SELECT instrument FROM analyses WHERE {analyses}"
    );
    let alloys = format!(
        "SELECT alloy FROM parts WHERE id = {part} UNION SELECT alloy FROM heats WHERE id IN ({heats})"
    );
    vec![
        ("lots", format!("id = {lot}")),
        ("lot_blades", format!("lot = {lot}")),
        ("blades", format!("id IN ({b})")),
        ("moulds", format!("id IN ({m})")),
        ("pours", format!("mould IN ({m})")),
        ("coats", format!("mould IN ({m})")),
        ("investments", format!("mould IN ({m})")),
        ("oven_loads", format!("mould IN ({m})")),
        ("oven_runs", format!("id IN (SELECT oven_run FROM oven_loads WHERE mould IN ({m}))")),
        ("shell_batches", format!("id IN (SELECT shell_batch FROM moulds WHERE id IN ({m}))")),
        ("filter_lots", format!("id IN (SELECT filter_lot FROM moulds WHERE id IN ({m}))")),
        ("slurry_batches", format!("id IN (SELECT slurry_batch FROM coats WHERE mould IN ({m}))")),
        ("stucco_lots", format!("id IN (SELECT stucco_lot FROM coats WHERE mould IN ({m}))")),
        ("powder_lots", format!("id IN (SELECT powder_lot FROM investments WHERE mould IN ({m}))")),
        ("core_lots", format!("id IN (SELECT core_lot FROM blades WHERE id IN ({b}))")),
        ("pattern_runs", format!("id IN (SELECT pattern_run FROM blades WHERE id IN ({b}))")),
        (
            "wax_lots",
            format!(
                "id IN (SELECT wax_lot FROM pattern_runs WHERE id IN (SELECT pattern_run FROM blades WHERE id IN ({b})))"
            ),
        ),
        ("heats", format!("id IN ({heats})")),
        ("charges", format!("heat IN ({heats})")),
        ("ingot_lots", format!("id IN ({ingots})")),
        ("revert_lots", format!("id IN ({reverts})")),
        ("revert_sources", format!("revert_lot IN ({reverts})")),
        ("analyses", analyses.clone()),
        ("analysis_values", format!("analysis IN (SELECT id FROM analyses WHERE {analyses})")),
        ("test_bars", format!("heat IN (SELECT heat FROM pours WHERE mould IN ({m}))")),
        ("treatment_loads", format!("blade IN ({b})")),
        ("treatments", format!("id IN (SELECT treatment FROM treatment_loads WHERE blade IN ({b}))")),
        ("inspections", format!("blade IN ({b})")),
        ("findings", format!("inspection IN ({i})")),
        ("measurements", format!("inspection IN ({i})")),
        ("dispositions", format!("blade IN ({b})")),
        ("concessions", format!("id IN (SELECT concession FROM dispositions WHERE blade IN ({b}))")),
        ("parts", format!("id = {part}")),
        ("zones", format!("part = {part}")),
        ("inspection_plans", format!("part = {part}")),
        ("alloys", format!("id IN ({alloys})")),
        ("alloy_limits", format!("alloy IN ({alloys})")),
        ("running_systems", format!("id IN (SELECT running_system FROM moulds WHERE id IN ({m}))")),
        (
            "shell_recipes",
            format!(
                "id IN (SELECT recipe FROM shell_batches WHERE id IN (SELECT shell_batch FROM moulds WHERE id IN ({m})))"
            ),
        ),
        ("instruments", format!("id IN ({used})")),
        (
            "calibrations",
            format!(
                "instrument IN ({used}) AND checked_at <= (SELECT max(inspected_at) FROM inspections WHERE blade IN ({b}))"
            ),
        ),
        (
            "qualifications",
            format!(
                "person IN (SELECT p.id FROM people p WHERE p.person COLLATE NOCASE IN (SELECT person FROM inspections WHERE blade IN ({b})))"
            ),
        ),
    ]
}

fn rows_of(db: &Connection, name: &str, condition: &str) -> Result<Vec<Row>> {
    let Some(kind) = kind(name) else { return Ok(Vec::new()) };
    let shape = shape::of(kind);
    let own = read::own_fields(db)?;
    let names = Lookup::new(db);
    let mut q = db.prepare(&format!("{} WHERE {condition}", shape.select))?;
    let mut found = q.query([])?;
    let last = shape.columns.len() + usize::from(shape.has_id);
    let mut out = Vec::new();
    while let Some(row) = found.next()? {
        let record = read::with_revision(db, shape, rows::read(shape, row, &names, &own)?.owned(), row)?;
        out.push(Row {
            kind: kind.name,
            id: if shape.has_id { Some(row.get(0)?) } else { None },
            record,
            entry: row.get(last + 1)?,
            digest: row.get(last + 2)?,
        });
    }
    Ok(out)
}

impl Store {
    /// Every record behind a lot, and the digest of it all.
    ///
    /// # Errors
    /// The store cannot be read.
    pub fn behind_lot(&self, lot: i64, part: i64, metal: &Metal) -> Result<Behind> {
        let mut out = Behind::default();
        for (name, condition) in conditions(lot, part, metal) {
            out.rows.extend(rows_of(&self.db, name, &condition)?);
        }
        let there: HashSet<(&str, i64)> = out.rows.iter().filter_map(|r| Some((r.kind, r.id?))).collect();
        let mut hanging = Vec::new();
        for name in ["holds", "attachments"] {
            let mut q = self.db.prepare(&format!("SELECT id, subject_kind, subject_id FROM {name}"))?;
            let mut found = q.query([])?;
            let mut ids = Vec::new();
            while let Some(row) = found.next()? {
                if there.contains(&(row.get_ref(1)?.as_str().unwrap_or(""), row.get(2)?)) {
                    ids.push(row.get::<_, i64>(0)?);
                }
            }
            hanging.extend(rows_of(&self.db, name, &format!("id IN ({})", list(&ids)))?);
        }
        out.rows.extend(hanging);
        let lines: BTreeSet<String> = out
            .rows
            .iter()
            .map(|r| format!("{} {} {:016x}\n", r.kind, r.record.address(), r.digest))
            .collect();
        let mut hasher = Sha256::new();
        lines.iter().for_each(|l| hasher.update(l.as_bytes()));
        out.content = journal::hex32(&hasher.finalize());
        Ok(out)
    }

    /// Records that were taken back after a journal entry: kind and tag.
    ///
    /// # Errors
    /// The store cannot be read.
    pub fn taken_back_after(&self, seq: i64) -> Result<Vec<String>> {
        let mut q = self.db.prepare(
            "SELECT DISTINCT kind, tag FROM journal WHERE seq > ?1 AND action = 'undo' AND new IS NULL AND tag IS NOT NULL",
        )?;
        let found = q.query_map([seq], |r| Ok((r.get::<_, String>(0)?, r.get::<_, String>(1)?)))?;
        let mut out = Vec::new();
        for pair in found {
            let (kind, tag) = pair?;
            let noun = catalogue::find(&kind).map_or("record", |k| k.noun);
            out.push(format!("{noun} {tag} taken back"));
        }
        Ok(out)
    }
}
