//! From which heat a mould that is not poured yet would be poured.

use rusqlite::{Connection, OptionalExtension};

use crate::Store;
use crate::error::Result;
use crate::read;

/// The heat that a mould would be poured from.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum InUse {
    /// This one: id and tag.
    One(i64, String),
    /// It cannot be told; the sentence says why.
    CannotTell(String),
}

/// So many heats without a time of melting are looked through for each furnace, the newest first.
const NEWEST: usize = 256;

impl Store {
    /// The heat that an unpoured mould would be poured from: the last one charged in the furnace of its plan, while it is
    /// not closed; without such a plan the only open heat there is. Bounded: an index leads to the last heats of each
    /// furnace.
    pub fn heat_in_use(&self, mould: i64) -> Result<InUse> {
        let mut q = self.db.prepare_cached("SELECT furnace FROM pour_plans WHERE mould = ?1")?;
        let planned: Option<String> = q.query_row([mould], |r| r.get(0)).optional()?.flatten();
        if let Some(furnace) = &planned {
            if let Some((id, tag)) = open_in(&self.db, furnace)? {
                return Ok(InUse::One(id, tag));
            }
        }
        let open = self.open_heats()?;
        let at = planned.map(|f| format!("no heat is open in {f}, and ")).unwrap_or_default();
        Ok(match open.as_slice() {
            [(_, id, tag)] => InUse::One(*id, tag.clone()),
            [] => InUse::CannotTell(
                "no heat is charged and open; once one is, or a heat is named, it can be told".into(),
            ),
            many => {
                let all: Vec<String> = many.iter().map(|(f, _, h)| format!("{h} in {f}")).collect();
                InUse::CannotTell(format!(
                    "{at}{} are open ({}); say which it is",
                    many.len(),
                    all.join(", ")
                ))
            }
        })
    }

    /// The open heats: of each furnace the last one charged, while it is not closed. Furnace, id, tag.
    pub fn open_heats(&self) -> Result<Vec<(String, i64, String)>> {
        // From one furnace to the next along the index, without walking the heats between.
        let furnaces: Vec<String> = read::list(&self.db, "WITH RECURSIVE f (furnace) AS (SELECT min(furnace) FROM heats UNION ALL
                 SELECT (SELECT min(h.furnace) FROM heats h WHERE h.furnace > f.furnace) FROM f WHERE f.furnace IS NOT NULL)
             SELECT furnace FROM f WHERE furnace IS NOT NULL", [], |r| r.get(0))?;
        let mut out = Vec::new();
        for furnace in furnaces {
            if let Some((id, tag)) = open_in(&self.db, &furnace)? {
                out.push((furnace, id, tag));
            }
        }
        Ok(out)
    }
}

/// A heat with what orders it.
struct Charged {
    at: i64,
    id: i64,
    tag: String,
    closed: bool,
}

/// The last heat charged in a furnace, if it is not closed.
fn open_in(db: &Connection, furnace: &str) -> Result<Option<(i64, String)>> {
    let charged = |r: &rusqlite::Row| {
        Ok(Charged {
            at: r.get::<_, Option<i64>>(0)?.unwrap_or(i64::MIN),
            id: r.get(1)?,
            tag: r.get(2)?,
            closed: r.get(3)?,
        })
    };
    let mut melted = db.prepare_cached(
        "SELECT h.melted_at, h.id, h.heat, h.closed_at IS NOT NULL FROM heats h WHERE h.furnace = ?1
         AND h.melted_at IS NOT NULL AND EXISTS (SELECT 1 FROM charges c WHERE c.heat = h.id)
         ORDER BY h.melted_at DESC, h.id DESC LIMIT 1",
    )?;
    let mut timeless = db.prepare_cached(&format!(
        "SELECT (SELECT max(c.recorded_at) FROM charges c WHERE c.heat = h.id), h.id, h.heat, h.closed_at IS NOT NULL
         FROM (SELECT * FROM heats WHERE furnace = ?1 AND melted_at IS NULL ORDER BY id DESC LIMIT {NEWEST}) h
         WHERE EXISTS (SELECT 1 FROM charges c WHERE c.heat = h.id)"
    ))?;
    let mut all: Vec<Charged> = melted.query_map([furnace], charged)?.collect::<rusqlite::Result<_>>()?;
    all.extend(timeless.query_map([furnace], charged)?.collect::<rusqlite::Result<Vec<_>>>()?);
    let last = all.into_iter().max_by_key(|h| (h.at, h.id));
    Ok(last.filter(|h| !h.closed).map(|h| (h.id, h.tag)))
}
