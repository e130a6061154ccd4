//! Several writes in one transaction: all of them are on record, or none.

use crate::Record;
use crate::Store;
use crate::Who;
use crate::error::Error;
use crate::error::Result;
use crate::write;
use crate::write::amend;
use crate::write::journal;
use crate::write::{Undone, Written};

/// One of the writes.
#[derive(Clone, Debug)]
pub enum Act {
    /// A new record, and why a value outside a guard is right.
    Log(Record<'static>, Option<String>),
    /// A hold: on what, why.
    Hold(String, String),
    /// A correction: of what, field and new text, why.
    Correct(String, Vec<(String, String)>, String),
}

impl Store {
    /// Does several writes in one transaction, in this order.
    ///
    /// # Errors
    /// As each write alone; then none of them is done.
    pub fn together(&mut self, who: &Who, acts: Vec<Act>) -> Result<Vec<Written>> {
        self.write(who, |db, who| {
            acts.into_iter()
                .map(|act| match act {
                    Act::Log(record, reason) => write::log(db, who, record, reason.as_deref(), "log"),
                    Act::Hold(subject, reason) => {
                        write::log(db, who, write::hold_record(who, &subject, &reason), None, "hold")
                    }
                    Act::Correct(text, changes, reason) => {
                        amend::correct(db, who, &text, &changes, &reason, "correct")
                    }
                })
                .collect()
        })
    }

    /// Takes back writes of the person that were done together, the latest first, within a minute of them, whatever the
    /// person wrote since: what stands on them, or was changed since, is refused.
    pub fn undo_together(&mut self, who: &Who, entries: &[i64]) -> Result<Vec<Undone>> {
        let mut entries = entries.to_vec();
        entries.sort_unstable_by(|a, b| b.cmp(a));
        self.write(who, |db, who| {
            let mut out = Vec::new();
            for seq in entries {
                let entry = journal::by_seq(db, seq)?
                    .ok_or_else(|| Error::untrusted(format!("journal entry {seq} is missing")))?;
                if entry.person != who.person {
                    let by = entry.person.as_deref().unwrap_or("nobody named");
                    let text = format!("{by} wrote it: it is taken back under that badge, or corrected");
                    return Err(Error::input(text));
                }
                out.push(amend::take_back(db, who, entry, None)?);
            }
            Ok(out)
        })
    }
}
