//! Writes of a trial: arms that belong together, and looks at a result before its time.

use crate::Record;
use crate::catalogue::Trials;
use crate::error::Result;
use crate::write;
use crate::write::Written;
use crate::write::amend;
use crate::write::journal;
use crate::write::journal::Entry;
use crate::{Store, Who};

/// The journal's word for a look at a trial's result before its planned size.
const LOOK: &str = "look";

/// Fields of one record to be changed together with new records.
pub struct Change<'a> {
    /// Tag or address.
    pub text: &'a str,
    /// Field and value.
    pub fields: &'a [(String, String)],
    /// Why.
    pub reason: &'a str,
}

impl Store {
    /// Writes records that belong together, and changes one they hang on: all or none.
    ///
    /// # Errors
    /// As [`Store::log`], for any of them.
    pub fn log_together(
        &mut self,
        who: &Who,
        change: Option<&Change>,
        records: Vec<Record>,
        reason: &str,
    ) -> Result<Vec<Written>> {
        self.write(who, |db, who| {
            if let Some(change) = change {
                amend::correct(db, who, change.text, change.fields, change.reason, "correct")?;
            }
            records.into_iter().map(|r| write::log(db, who, r, Some(reason), "log")).collect()
        })
    }

    /// Journals that somebody looked at a trial's result before its planned size.
    pub fn note_look(&mut self, who: &Who, trial: &str, sentence: &str) -> Result<i64> {
        self.write(who, |db, who| {
            let entry = Entry {
                action: LOOK.into(),
                kind: Trials::NAME.into(),
                reason: Some(format!("{trial}: {sentence}")),
                ..Entry::default()
            };
            journal::append(db, who, entry)
        })
    }

    /// The looks at a trial's result before its planned size, oldest first.
    pub fn looks(&self, trial: &str) -> Result<Vec<Entry>> {
        let mut q = self.db.prepare_cached("SELECT * FROM journal WHERE action = ?1 ORDER BY seq")?;
        let rows = q.query_map([LOOK], journal::from_row)?;
        let start = format!("{trial}: ");
        let mut all = Vec::new();
        for entry in rows {
            let entry = entry?;
            if entry.reason.as_deref().is_some_and(|r| r.starts_with(&start)) {
                all.push(entry);
            }
        }
        Ok(all)
    }
}
