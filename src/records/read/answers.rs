//! Questions with their answers that were kept: entries of the journal, so that they are sealed with everything else.

use crate::error::Result;
use crate::read;
use crate::write::journal;
use crate::write::journal::Entry;
use crate::{Store, Who};

/// The journal's word for a kept answer.
const ANSWER: &str = "answer";

impl Store {
    /// Keeps an answer; `text` is what is to be found again. Gives the entry's number.
    pub fn keep_answer(&mut self, who: &Who, text: &str) -> Result<i64> {
        self.write(who, |db, who| {
            let entry = Entry { action: ANSWER.into(), reason: Some(text.into()), ..Entry::default() };
            journal::append(db, who, entry)
        })
    }

    /// The answers that were kept, the latest first.
    pub fn kept_answers(&self) -> Result<Vec<Entry>> {
        read::list(
            &self.db,
            "SELECT * FROM journal WHERE action = ?1 ORDER BY seq DESC",
            [ANSWER],
            journal::from_row,
        )
    }

    /// How many records were written, changed or taken back after an entry.
    pub fn writes_after(&self, seq: i64) -> Result<i64> {
        let sql = "SELECT count(*) FROM journal WHERE seq > ?1 AND action NOT IN ('refused', 'look', 'pin', 'answer', 'propose', 'accept', 'decline')";
        Ok(self.db.prepare_cached(sql)?.query_row([seq], |r| r.get(0))?)
    }
}
