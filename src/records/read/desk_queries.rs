//! What waits for quality: blades that were rejected or came back, and on which nobody has decided since.

use rusqlite::OptionalExtension;

use crate::Store;
use crate::error::Result;
use crate::read;
use crate::value::stamp::Stamp;

/// A blade that came back.
#[derive(Clone, Debug)]
pub struct CameBack {
    pub blade: String,
    pub at: Stamp,
    /// Why, as it was typed.
    pub reason: Option<String>,
}

impl Store {
    /// Blades with a rejecting inspection of product that no disposition is later than: ids.
    pub fn rejected_since(&self) -> Result<Vec<i64>> {
        let sql = "SELECT DISTINCT i.blade FROM inspections i WHERE i.result = 'reject' AND (i.purpose IS NULL OR i.purpose = 'product')
             AND NOT EXISTS (SELECT 1 FROM dispositions d WHERE d.blade = i.blade AND d.decided_at >= i.inspected_at)";
        read::list(&self.db, sql, [], |r| r.get(0))
    }

    /// Blades that came back, are here, and that no disposition is later than, the last to come first.
    pub fn came_back(&self) -> Result<Vec<CameBack>> {
        let sql = "SELECT b.blade, s.returned_at, s.return_reason FROM shipments s CROSS JOIN blades b ON b.id = s.blade
             WHERE s.returned_at IS NOT NULL
             AND NOT EXISTS (SELECT 1 FROM dispositions d WHERE d.blade = s.blade AND d.decided_at >= s.returned_at)
             AND NOT EXISTS (SELECT 1 FROM shipments o WHERE o.blade = s.blade AND o.shipped_at >= s.returned_at)
             ORDER BY s.returned_at DESC, b.blade COLLATE NOCASE";
        read::list(&self.db, sql, [], |r| {
            Ok(CameBack { blade: r.get(0)?, at: Stamp::from_packed(r.get(1)?), reason: r.get(2)? })
        })
    }

    /// The lot that a blade came into last.
    pub fn lot_of(&self, blade: i64) -> Result<Option<String>> {
        let sql = "SELECT m.lot FROM lot_blades l CROSS JOIN lots m ON m.id = l.lot WHERE l.blade = ?1
             ORDER BY m.opened_at DESC, m.lot COLLATE NOCASE LIMIT 1";
        Ok(self.db.prepare_cached(sql)?.query_row([blade], |r| r.get(0)).optional()?)
    }
}
