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
const SEEN: &str = "SELECT i.blade, ifnull(i.round, 0), i.inspected_at, i.result = 'reject'
     FROM lot_blades l CROSS JOIN inspections i ON i.blade = l.blade
     WHERE l.lot = ?1 AND i.method = ?2 AND (i.purpose IS NULL OR i.purpose = 'product')
     AND NOT EXISTS (SELECT 1 FROM lot_blades o CROSS JOIN lots e ON e.id = o.lot CROSS JOIN lots m ON m.id = l.lot
                     WHERE o.blade = l.blade AND e.opened_at < m.opened_at)";

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
        let mut first: HashMap<i64, (i64, Stamp, bool)> = HashMap::new();
        let mut q = self.db.prepare_cached(SEEN)?;
        let mut rows = q.query(params![lot, method])?;
        while let Some(row) = rows.next()? {
            let this = (row.get(1)?, Stamp::from_packed(row.get(2)?), row.get(3)?);
            let known = first.entry(row.get(0)?).or_insert(this);
            if (this.0, this.1.ms()) < (known.0, known.1.ms()) {
                *known = this;
            }
        }
        let mut out: Vec<(Stamp, bool)> = first.into_values().map(|(_, at, bad)| (at, bad)).collect();
        // Of one moment the rejected first: the order of row numbers, which nothing seals, decides nothing.
        out.sort_by_key(|(at, bad)| (at.ms(), !bad));
        Ok(out)
    }
}
