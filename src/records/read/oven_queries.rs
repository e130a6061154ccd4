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

/// A poured mould that stood out of its last oven for longer than its recipe allows.
#[derive(Clone, Debug, PartialEq)]
pub struct OverTime {
    pub mould: String,
    pub oven_run: String,
    pub poured_at: Stamp,
    pub seconds: f64,
    /// What the recipe allows.
    pub limit_s: f64,
}

/// A pour of the same part through the same running system, of the same alloy.
#[derive(Clone, Debug, PartialEq)]
pub struct PourLike {
    pub mould: String,
    pub poured_at: Stamp,
}

impl Store {
    /// Of the newest pours those of moulds that had stood out of their last oven for too long, the newest first.
    pub fn over_oven_time(&self) -> Result<Vec<OverTime>> {
        let sql = "SELECT m.mould, r.oven_run, l.out_at, p.poured_at, s.oven_to_pour_max_s
             FROM (SELECT mould, poured_at FROM pours ORDER BY poured_at DESC LIMIT 2000) p
             JOIN moulds m ON m.id = p.mould JOIN shell_batches b ON b.id = m.shell_batch
             JOIN shell_recipes s ON s.id = b.recipe AND s.oven_to_pour_max_s IS NOT NULL
             JOIN oven_loads l ON l.mould = p.mould AND l.out_at IS NOT NULL
             JOIN oven_runs r ON r.id = l.oven_run AND r.purpose <> 'dewax'
             WHERE NOT EXISTS (SELECT 1 FROM oven_loads x JOIN oven_runs y ON y.id = x.oven_run
                 WHERE x.mould = l.mould AND (y.started_at, y.id) > (r.started_at, r.id))
             ORDER BY p.poured_at DESC, m.mould";
        let all: Vec<OverTime> = read::list(&self.db, sql, [], |r| {
            let (out, poured) = (Stamp::from_packed(r.get(2)?), Stamp::from_packed(r.get(3)?));
            Ok(OverTime {
                mould: r.get(0)?,
                oven_run: r.get(1)?,
                poured_at: poured,
                seconds: (poured.ms() - out.ms()) as f64 / 1000.0,
                limit_s: r.get(4)?,
            })
        })?;
        Ok(all.into_iter().filter(|o| o.seconds > o.limit_s).collect())
    }

    /// The last pour of a mould of this one's part and running system (any revision), of an alloy of this name where one is
    /// given.
    pub fn pour_like(&self, mould: Key<Moulds>, alloy: Option<&str>) -> Result<Option<PourLike>> {
        let sql = "SELECT n.mould, p.poured_at FROM moulds m JOIN parts a ON a.id = m.part
             JOIN running_systems s ON s.id = m.running_system
             JOIN parts b ON b.part = a.part COLLATE NOCASE
             JOIN running_systems t ON t.running_system = s.running_system COLLATE NOCASE
             CROSS JOIN pours p JOIN moulds n ON n.id = p.mould AND n.part = b.id AND n.running_system = t.id
             JOIN heats h ON h.id = p.heat JOIN alloys c ON c.id = h.alloy
             WHERE m.id = ?1 AND p.mould <> ?1 AND (?2 IS NULL OR c.alloy = ?2 COLLATE NOCASE)
             ORDER BY p.poured_at DESC LIMIT 1";
        let found: Vec<PourLike> = read::list(&self.db, sql, rusqlite::params![mould.id, alloy], |r| {
            Ok(PourLike { mould: r.get(0)?, poured_at: Stamp::from_packed(r.get(1)?) })
        })?;
        Ok(found.into_iter().next())
    }

    /// Moulds that came out of an oven between two times and are not poured, the newest first.
    pub fn out_of_ovens(&self, since: Stamp, until: Stamp) -> Result<Vec<OvenStay>> {
        // A run that began later, into which it was typed before it came out of its preheat, hides no clock: it left both.
        let sql = "SELECT l.mould, m.mould, r.oven_run, r.oven, r.purpose, r.started_at, l.out_at
             FROM oven_loads l JOIN oven_runs r ON r.id = l.oven_run JOIN moulds m ON m.id = l.mould
             WHERE l.out_at >= ?1 AND l.out_at <= ?2
             AND NOT EXISTS (SELECT 1 FROM pours p WHERE p.mould = l.mould)
             AND NOT EXISTS (SELECT 1 FROM oven_loads x JOIN oven_runs y ON y.id = x.oven_run
                 WHERE x.mould = l.mould AND (y.started_at, y.id) > (r.started_at, r.id)
                 AND NOT (r.purpose = 'preheat' AND ifnull(x.recorded_at, 9e18) <= l.out_at
                     AND (y.purpose <> 'preheat' OR x.recorded_at < l.recorded_at)))
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
