//! Open holds: what they lie on, and what they fence. Asked in this one place.

use std::collections::HashMap;

use rusqlite::Connection;

use crate::catalogue::{Blades, Holds, Instruments};
use crate::error::Result;
use crate::graph::lineage;
use crate::graph::lineage::Fence;
use crate::graph::suspect;
use crate::read::rows;
use crate::read::rows::Link;
use crate::{Record, Store};

pub(crate) const OPEN: &str =
    "SELECT subject_kind, subject_id, id, hold, placed_at, reason FROM holds WHERE lifted_at IS NULL";

/// A hold that was not lifted.
#[derive(Clone, Debug)]
pub(crate) struct OpenHold {
    /// Id of its row.
    pub id: i64,
    pub tag: String,
    /// The record that it lies on.
    pub on: Link,
    /// Since when, packed.
    placed_at: i64,
    reason: String,
}

/// All of them, in the order of their records.
pub(crate) fn open(db: &Connection) -> Result<Vec<OpenHold>> {
    let mut q = db.prepare_cached(OPEN)?;
    let mut rows = q.query([])?;
    let mut out = Vec::new();
    while let Some(row) = rows.next()? {
        let on = rows::subject(row, 0)?;
        let (id, tag, placed_at, reason) = (row.get(2)?, row.get(3)?, row.get(4)?, row.get(5)?);
        out.push(OpenHold { id, tag, on, placed_at, reason });
    }
    out.sort_by_key(|h| h.id);
    Ok(out)
}

/// What holds on these records fence: all downstream of them, the blades of a lot, and what stands behind an
/// instrument's suspect readings.
pub(crate) fn fence(db: &Connection, on: &[Link]) -> Result<Fence> {
    let mut fence = lineage::descend(db, on, true)?;
    let mut readings = Vec::new();
    for instrument in on.iter().filter(|l| l.is::<Instruments>()) {
        readings.extend(suspect::starts(&suspect::of_instrument(db, instrument.id)?));
    }
    if !readings.is_empty() {
        let behind = lineage::descend(db, &readings, false)?;
        fence.moulds.extend(behind.moulds);
        fence.blades.extend(behind.blades);
        fence.others.extend(behind.others);
    }
    Ok(fence)
}

/// What all open holds fence.
pub fn held(db: &Connection) -> Result<Fence> {
    let on: Vec<Link> = open(db)?.into_iter().map(|h| h.on).collect();
    fence(db, &on)
}

impl Store {
    /// Open holds on each record, by kind and id.
    pub fn open_hold_counts(&self) -> Result<HashMap<(&'static str, i64), usize>> {
        let mut out = HashMap::new();
        for hold in open(&self.db)? {
            *out.entry((hold.on.kind, hold.on.id)).or_default() += 1;
        }
        Ok(out)
    }

    /// Open holds, oldest first.
    pub fn open_holds(&self) -> Result<Vec<Record<'static>>> {
        open(&self.db)?.iter().map(|h| Ok(self.by_id(Holds::KIND, h.id)?.record)).collect()
    }

    /// What each open hold fences: tag, reason, fence.
    pub fn open_fences(&self) -> Result<Vec<(String, String, Fence)>> {
        let mut all = open(&self.db)?;
        all.sort_by_cached_key(|h| (h.placed_at, h.tag.to_ascii_lowercase()));
        all.into_iter().map(|h| Ok((h.tag, h.reason, fence(&self.db, &[h.on])?))).collect()
    }

    /// The open holds that fence a record.
    pub fn holds_fencing(&self, kind: &'static str, id: i64) -> Result<Vec<Record<'static>>> {
        let record = Link { kind, id };
        let mould: Option<i64> = if record.is::<Blades>() {
            self.db.prepare_cached("SELECT mould FROM blades WHERE id = ?1")?.query_row([id], |r| r.get(0))?
        } else {
            None
        };
        let mut out = Vec::new();
        for hold in open(&self.db)? {
            let fence = fence(&self.db, &[hold.on])?;
            let inside = if record.is::<Blades>() { fence.holds(id, mould) } else { fence.has(kind, id) };
            if inside {
                out.push(self.by_id(Holds::KIND, hold.id)?.record);
            }
        }
        Ok(out)
    }
}
