//! Asking, signing and sealing as one write: what blocks a lot came before it and blocks, or comes after it and makes
//! the release void. Nothing comes between.

use crate::catalogue::Signatures;
use crate::error::{Error, Result};
use crate::read::tags::Tags;
use crate::write;
use crate::write::Written;
use crate::{Record, Value};
use crate::{Store, Who};

/// The open transaction in which somebody signs.
pub struct Signing<'a> {
    store: &'a Store,
    who: &'a Who,
}

impl Signing<'_> {
    /// The store, as it stands in this transaction.
    pub fn store(&self) -> &Store {
        self.store
    }

    /// Who signs, by the tag as the store has it.
    pub fn who(&self) -> &Who {
        self.who
    }

    /// Writes a signature. The journal says that it was signed here, which no typed-in or imported one can claim. On a
    /// clock that stands still the next free millisecond is taken, and the note says so.
    ///
    /// # Errors
    /// The record is at fault, the person may not, or the file cannot be written.
    pub fn sign(&self, mut record: Record<'static>) -> Result<Written> {
        let tags = Tags::new(&self.store.db)?;
        let mut moved = 0;
        while write::existing(&self.store.db, &tags, &record)?.is_some() {
            let Some(mut signature) = record.of_mut::<Signatures>() else { break };
            let Some(at) = signature.cell(Signatures::signed_at).time() else { break };
            moved += 1;
            signature.set(Signatures::signed_at, Value::Time(at.later_ms(1), None));
        }
        if moved > 0 {
            let note = record.note().unwrap_or_default();
            let said = format!("{note}; signed_at moved on by {moved} ms, as the clock stood still");
            record.set_note(said);
        }
        write::log(&self.store.db, self.who, record, None, "sign")
    }
}

impl Store {
    /// Runs one write that first reads: an immediate transaction. What `act` refuses is journalled, and nothing
    /// that it wrote stays.
    ///
    /// # Errors
    /// What `act` says, or the file cannot be written.
    pub fn in_one<T>(&mut self, who: &Who, act: impl FnOnce(&Signing) -> Result<T>) -> Result<T> {
        self.db.execute_batch("BEGIN IMMEDIATE")?;
        let done = write::known_person(&self.db, who)
            .and_then(|who| act(&Signing { store: self, who: &who }))
            .and_then(|done| self.db.execute_batch("COMMIT").map(|()| done).map_err(Error::from));
        if let Err(fault) = &done {
            let _ = self.db.execute_batch("ROLLBACK");
            if fault.is_refused() {
                self.note_refusal(who, &fault.sentence.clone())?;
            }
        }
        done
    }
}
