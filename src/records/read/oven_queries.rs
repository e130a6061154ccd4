//! Moulds in ovens and just out of them. Only moulds that are not poured, and of each the oven run that began last: what
//! came before says nothing of where it is now.

use rusqlite::Row;

use crate::Store;
use crate::catalogue::{Key, Moulds, OvenPurpose};
use crate::error::Result;
use crate::read;
use crate::value::stamp::Stamp;

/// A mould in its last oven run.
#[derive(Clone, Debug, PartialEq)]
pub struct OvenStay {
    pub key: Key<Moulds>,
    pub mould: String,
    pub oven_run: String,
    /// The oven, as its run names it.
    pub oven: String,
    pub purpose: Option<OvenPurpose>,
    pub started_at: Stamp,
    /// When it came out; none: it is in there.
    pub out_at: Option<Stamp>,
}

impl Store {
    /// Moulds that came out of an oven between two times and are not poured, the newest first.
    pub fn out_of_ovens(&self, since: Stamp, until: Stamp) -> Result<Vec<OvenStay>> {
        let sql = "SELECT l.mould, m.mould, r.oven_run, r.oven, r.purpose, r.started_at, l.out_at
             FROM oven_loads l JOIN oven_runs r ON r.id = l.oven_run JOIN moulds m ON m.id = l.mould
             WHERE l.out_at >= ?1 AND l.out_at <= ?2
             AND NOT EXISTS (SELECT 1 FROM pours p WHERE p.mould = l.mould)
             AND NOT EXISTS (SELECT 1 FROM oven_loads x JOIN oven_runs y ON y.id = x.oven_run
                 WHERE x.mould = l.mould AND (y.started_at, y.id) > (r.started_at, r.id))
             ORDER BY l.out_at DESC, l.mould LIMIT 400";
        read::list(&self.db, sql, [since.packed(), until.packed()], stay)
    }

    /// Moulds that are in an oven and not poured, those of the newest run first.
    pub fn in_ovens(&self) -> Result<Vec<OvenStay>> {
        // A load whose time out does not apply, or cannot be read, says nothing of where its mould is.
        let sql = "SELECT l.mould, m.mould, r.oven_run, r.oven, r.purpose, r.started_at, l.out_at
             FROM oven_loads l JOIN oven_runs r ON r.id = l.oven_run JOIN moulds m ON m.id = l.mould
             WHERE l.out_at IS NULL AND instr(ifnull(l.extra, ''), '\"out_at\"') = 0
             AND NOT EXISTS (SELECT 1 FROM pours p WHERE p.mould = l.mould)
             AND NOT EXISTS (SELECT 1 FROM oven_loads x JOIN oven_runs y ON y.id = x.oven_run
                 WHERE x.mould = l.mould AND (y.started_at, y.id) > (r.started_at, r.id))
             ORDER BY r.started_at DESC, m.mould LIMIT 400";
        read::list(&self.db, sql, [], stay)
    }
}

fn stay(row: &Row<'_>) -> rusqlite::Result<OvenStay> {
    Ok(OvenStay {
        key: Key::new(row.get(0)?),
        mould: row.get(1)?,
        oven_run: row.get(2)?,
        oven: row.get(3)?,
        purpose: row.get_ref(4)?.as_str().ok().and_then(OvenPurpose::of),
        started_at: Stamp::from_packed(row.get(5)?),
        out_at: row.get::<_, Option<i64>>(6)?.map(Stamp::from_packed),
    })
}
