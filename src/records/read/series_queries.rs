//! The series of lots that one lot stands in: those of its part for its purchaser, and what was first seen of each.

use std::collections::HashMap;

use rusqlite::{OptionalExtension, params};

use crate::Store;
use crate::error::Result;
use crate::read;
use crate::value::stamp::Stamp;

/// A lot of a series.
#[derive(Clone, Debug)]
pub struct SeriesLot {
    pub id: i64,
    pub lot: String,
    /// What the inspection plan of its own revision says of the method's sample.
    pub says: Option<String>,
    /// Blades that count as made: poured, or found without a mould.
    pub made: u64,
    /// Its blades' first presentations to the method, in the order of time, and which of them were rejected. A blade that
    /// comes from an earlier lot is no original inspection, and is left out.
    pub seen: Vec<(Stamp, bool)>,
}

const LOTS: &str = "SELECT l.id, l.lot, l.part FROM lots a CROSS JOIN parts p ON p.id = a.part CROSS JOIN parts q ON q.part = p.part COLLATE NOCASE
     CROSS JOIN lots l ON l.part = q.id
     WHERE a.id = ?1 AND ifnull(l.purchaser, '') = ifnull(a.purchaser, '') COLLATE NOCASE
     ORDER BY l.opened_at, l.lot COLLATE NOCASE";
const MADE: &str = "SELECT count(*) FROM lot_blades l CROSS JOIN blades b ON b.id = l.blade
     WHERE l.lot = ?1 AND (b.mould IS NULL OR EXISTS (SELECT 1 FROM pours p WHERE p.mould = b.mould))";
const SAYS: &str = "SELECT sampling FROM inspection_plans WHERE part = ?1 AND method = ?2";
const SEEN: &str = "SELECT i.blade, ifnull(i.round, 0), i.inspected_at, i.result = 'reject', i.recorded_at
     FROM lot_blades l CROSS JOIN inspections i ON i.blade = l.blade
     WHERE l.lot = ?1 AND i.method = ?2 AND (i.purpose IS NULL OR i.purpose = 'product')
     AND NOT EXISTS (SELECT 1 FROM lot_blades o CROSS JOIN lots e ON e.id = o.lot CROSS JOIN lots m ON m.id = l.lot
                     WHERE o.blade = l.blade AND e.opened_at < m.opened_at)";

/// Typed in later than this after its own time, and after the first of its lot was typed in, an inspection stands behind
/// the others; a history that is brought in as a whole stands as it says. (A convention of this tool: a day.)
const LATE_MIN: f64 = 1440.0;
const LATE_MS: i64 = 86_400_000;

impl Store {
    /// The lots of the same part, of any revision, for the same purchaser, in the order in which they were opened.
    pub fn series_of(&self, lot: i64, method: &str) -> Result<Vec<SeriesLot>> {
        let lots: Vec<(i64, String, i64)> =
            read::list(&self.db, LOTS, [lot], |r| Ok((r.get(0)?, r.get(1)?, r.get(2)?)))?;
        let mut out = Vec::new();
        for (id, lot, part) in lots {
            let mut says = self.db.prepare_cached(SAYS)?;
            let says = says.query_row(params![part, method], |r| r.get(0)).optional()?.flatten();
            let made: i64 = self.db.prepare_cached(MADE)?.query_row([id], |r| r.get(0))?;
            out.push(SeriesLot { id, lot, says, made: made as u64, seen: self.first_seen(id, method)? });
        }
        Ok(out)
    }

    fn first_seen(&self, lot: i64, method: &str) -> Result<Vec<(Stamp, bool)>> {
        let mut first: HashMap<i64, (i64, Stamp, bool, Option<Stamp>)> = HashMap::new();
        let mut q = self.db.prepare_cached(SEEN)?;
        let mut rows = q.query(params![lot, method])?;
        while let Some(row) = rows.next()? {
            let at = Stamp::from_packed(row.get(2)?);
            let this = (row.get(1)?, at, row.get(3)?, row.get::<_, Option<i64>>(4)?.map(Stamp::from_packed));
            let known = first.entry(row.get(0)?).or_insert(this);
            if (this.0, this.1.ms()) < (known.0, known.1.ms()) {
                *known = this;
            }
        }
        // What was typed in long after it is said to have happened was not among the first that were seen, whatever time it
        // gives: a sample that is drawn is not filled up afterwards. Of one moment the rejected first: the order of row
        // numbers, which nothing seals, decides nothing.
        // What a bundle brought without a time of typing was there before what is typed now.
        let begun = first.values().map(|f| f.3.map_or(i64::MIN, Stamp::ms)).min().unwrap_or(i64::MIN);
        let late = |at: Stamp, typed: Option<Stamp>| {
            typed.is_some_and(|t| t.minutes_since(at) > LATE_MIN && t.later_ms(-LATE_MS).ms() > begun)
        };
        let mut out: Vec<_> =
            first.into_values().map(|(_, at, bad, typed)| (late(at, typed), at, bad)).collect();
        out.sort_by_key(|(late, at, bad)| (*late, at.ms(), !bad));
        Ok(out.into_iter().map(|(_, at, bad)| (at, bad)).collect())
    }
}
