//! What a lot acceptance summary asks the store.

use std::collections::{BTreeMap, BTreeSet, HashMap};

use crate::Store;
use crate::error::Result;
use crate::graph::lineage::Fence;
use crate::graph::places::Contained;
use crate::read;
use crate::read::ids::IdSet;
use crate::read::rows;
use crate::read::rows::Link;

/// The metal of a lot, through all generations of revert: ids.
#[derive(Clone, Debug, Default)]
pub struct Metal {
    /// Heats, those behind revert included.
    pub heats: BTreeSet<i64>,
    /// Ingot lots.
    pub ingots: BTreeSet<i64>,
    /// Revert lots.
    pub reverts: BTreeSet<i64>,
    /// Of each heat: ingot lots charged into it directly, revert lots, and the mass where every item has one.
    pub charged: BTreeMap<i64, Charged>,
    /// Of each revert lot: the heats that it came from.
    pub sources: BTreeMap<i64, Vec<i64>>,
    /// Revert lots without a recorded source.
    pub sourceless: BTreeSet<i64>,
}

/// What was charged into a heat.
#[derive(Clone, Debug, Default)]
pub struct Charged {
    /// Ingot lots.
    pub ingots: BTreeSet<i64>,
    /// Revert lots.
    pub reverts: BTreeSet<i64>,
    /// The sum; none where an item has no mass.
    pub mass_kg: Option<f64>,
    /// Number of items.
    pub items: usize,
}

impl Store {
    /// Every blade of a lot, and where it is.
    pub fn lot_blades(&self, lot: i64) -> Result<Contained> {
        let blades: IdSet =
            read::list(&self.db, "SELECT blade FROM lot_blades WHERE lot = ?1", [lot], |r| r.get(0))?;
        self.locate(&Fence { blades, ..Fence::default() })
    }

    pub fn lot_part(&self, lot: i64) -> Result<i64> {
        Ok(self.db.query_row("SELECT part FROM lots WHERE id = ?1", [lot], |r| r.get(0))?)
    }

    /// Blades of these moulds that are in no lot or in another one: mould id, blade.
    pub fn mould_mates_without_lot(&self, moulds: &[i64]) -> Result<Vec<(i64, String)>> {
        let mut q = self.db.prepare_cached(
            "SELECT b.blade FROM blades b WHERE b.mould = ?1 AND NOT EXISTS (SELECT 1 FROM lot_blades l WHERE l.blade = b.id)
             ORDER BY b.blade COLLATE NOCASE",
        )?;
        let mut out = Vec::new();
        for &mould in moulds {
            for blade in q.query_map([mould], |r| r.get(0))? {
                out.push((mould, blade?));
            }
        }
        Ok(out)
    }

    /// The metal behind some heats.
    pub fn metal_behind(&self, heats: &[i64]) -> Result<Metal> {
        let mut out = Metal::default();
        let mut charges = self.db.prepare_cached(
            "SELECT source_ingot_lot, source_revert_lot, mass_kg FROM charges WHERE heat = ?1",
        )?;
        let mut sources = self.db.prepare_cached("SELECT heat FROM revert_sources WHERE revert_lot = ?1")?;
        let mut todo: Vec<i64> = heats.to_vec();
        while let Some(heat) = todo.pop() {
            if !out.heats.insert(heat) {
                continue;
            }
            let mut charged = Charged { mass_kg: Some(0.0), ..Charged::default() };
            let mut rows = charges.query([heat])?;
            while let Some(row) = rows.next()? {
                charged.items += 1;
                charged.mass_kg = charged.mass_kg.zip(row.get::<_, Option<f64>>(2)?).map(|(a, b)| a + b);
                if let Some(ingot) = row.get::<_, Option<i64>>(0)? {
                    charged.ingots.insert(ingot);
                    out.ingots.insert(ingot);
                }
                if let Some(revert) = row.get::<_, Option<i64>>(1)? {
                    charged.reverts.insert(revert);
                    if out.reverts.insert(revert) {
                        let from = sources
                            .query_map([revert], |r| r.get(0))?
                            .collect::<rusqlite::Result<Vec<i64>>>()?;
                        if from.is_empty() {
                            out.sourceless.insert(revert);
                        }
                        todo.extend(&from);
                        out.sources.insert(revert, from);
                    }
                }
            }
            out.charged.insert(heat, charged);
        }
        Ok(out)
    }

    /// The tag of a record.
    pub fn tag_of(&self, kind: &str, id: i64) -> Result<String> {
        read::tag_of(&self.db, Link { kind: rows::named_kind(kind)?.name, id })
    }

    /// Records that carry a signature: kind and id.
    pub fn signed_records(&self) -> Result<BTreeSet<(String, i64)>> {
        read::list(&self.db, "SELECT DISTINCT subject_kind, subject_id FROM signatures", [], |r| {
            Ok((r.get(0)?, r.get(1)?))
        })
    }
}

/// What a mould was made to.
#[derive(Clone, Copy, Debug)]
pub struct MadeTo {
    /// Part revision.
    pub part: i64,
    /// Running system revision.
    pub running_system: i64,
    /// Shell recipe revision.
    pub recipe: Option<i64>,
}

impl Store {
    /// The definitions that the moulds of a lot were made to, by mould.
    pub fn lot_definitions(&self, lot: i64) -> Result<HashMap<i64, MadeTo>> {
        read::list(&self.db, "SELECT m.id, m.part, m.running_system, s.recipe FROM moulds m LEFT JOIN shell_batches s ON s.id = m.shell_batch
             WHERE m.id IN (SELECT b.mould FROM lot_blades l JOIN blades b ON b.id = l.blade WHERE l.lot = ?1)", [lot], |r| {
            Ok((r.get(0)?, MadeTo { part: r.get(1)?, running_system: r.get(2)?, recipe: r.get(3)? }))
        })
    }
}
