//! What a shift leaves to the next: reasons that somebody typed.

use crate::Store;
use crate::error::Result;
use crate::read;
use crate::value::stamp::Stamp;
use crate::write::journal;
use crate::write::journal::Entry;

/// So many of the newest entries are looked through.
const NEWEST: i64 = 500;

impl Store {
    /// Entries since a time that carry a reason which somebody typed, the newest first.
    pub fn reasons_since(&self, since: Stamp) -> Result<Vec<Entry>> {
        let sql =
            "SELECT * FROM journal WHERE seq > (SELECT max(seq) FROM journal) - ?1 AND reason IS NOT NULL
             AND action IN ('log', 'correct', 'hold', 'lift') ORDER BY seq DESC";
        let mut all: Vec<Entry> = read::list(&self.db, sql, [NEWEST], journal::from_row)?;
        all.retain(|e| journal::at(e).is_some_and(|at| at.ms() >= since.ms()));
        Ok(all)
    }
}
