//! PINs of people who sign: kept apart from the records, never exported.

use rusqlite::{OptionalExtension, TransactionBehavior, params};

use crate::store::error::{Error, Result};
use crate::store::journal::{self, Entry};
use crate::store::tags::Tags;
use crate::store::{Store, Who};

/// What is kept of a person's PIN.
#[derive(Clone, Debug)]
pub struct Kept {
    /// The Argon2id string.
    pub hash: String,
    /// Wrong PINs since the last right one, this try included.
    pub failures: i64,
}

impl Store {
    fn person_id(&self, person: &str) -> Result<i64> {
        let tags = Tags::new(&self.db)?;
        match tags.find(person, &["people"])? {
            Some((link, _)) => Ok(link.id),
            None => Err(Error::input(tags.unknown(person, &["people"])?)),
        }
    }

    /// The role of a person, where the store knows them.
    ///
    /// # Errors
    /// The store cannot be read.
    pub fn role_of(&self, person: &str) -> Result<Option<String>> {
        crate::store::authority::role(&self.db, person)
    }

    /// The person has a PIN.
    ///
    /// # Errors
    /// An unknown person, or the store cannot be read.
    pub fn has_pin(&self, person: &str) -> Result<bool> {
        let id = self.person_id(person)?;
        Ok(self.db.prepare_cached("SELECT 1 FROM pins WHERE person = ?1")?.exists([id])?)
    }

    /// What is kept of a person's PIN, to be compared with what it was when it was checked.
    ///
    /// # Errors
    /// An unknown person, or the store cannot be read.
    pub fn pin_kept(&self, person: &str) -> Result<Option<String>> {
        let id = self.person_id(person)?;
        let mut q = self.db.prepare_cached("SELECT hash FROM pins WHERE person = ?1")?;
        Ok(q.query_row([id], |r| r.get(0)).optional()?)
    }

    /// Begins a try: it counts as failed until [`Store::pin_right`], so that tries side by side are
    /// slowed down too. None: the person has no PIN.
    ///
    /// # Errors
    /// An unknown person, or the store cannot be written.
    pub fn pin_try(&mut self, person: &str) -> Result<Option<Kept>> {
        let id = self.person_id(person)?;
        let tx = self.db.transaction_with_behavior(TransactionBehavior::Immediate)?;
        tx.execute("UPDATE pins SET failures = failures + 1 WHERE person = ?1", [id])?;
        let kept = tx
            .query_row("SELECT hash, failures FROM pins WHERE person = ?1", [id], |r| {
                Ok(Kept { hash: r.get(0)?, failures: r.get(1)? })
            })
            .optional()?;
        tx.commit()?;
        Ok(kept)
    }

    /// The PIN was right: the next try is not slowed down.
    ///
    /// # Errors
    /// An unknown person, or the store cannot be written.
    pub fn pin_right(&mut self, person: &str) -> Result<()> {
        let id = self.person_id(person)?;
        self.db.execute("UPDATE pins SET failures = 0 WHERE person = ?1", [id])?;
        Ok(())
    }

    /// Sets a person's PIN (its hash), or takes it away. The journal says that, and not the hash.
    ///
    /// # Errors
    /// An unknown person, or the store cannot be written.
    pub fn set_pin(&mut self, who: &Who, person: &str, hash: Option<&str>) -> Result<i64> {
        let id = self.person_id(person)?;
        let person = person.to_string();
        self.write(who, |db, who| {
            let said = if hash.is_some() { "set" } else { "taken away" };
            let entry = Entry {
                action: "pin".into(),
                reason: Some(format!("PIN of {person} {said}")),
                ..Entry::default()
            };
            let seq = journal::append(db, who, entry)?;
            match hash {
                Some(hash) => db.execute(
                    "INSERT OR REPLACE INTO pins (person, hash, failures, entry) VALUES (?1, ?2, 0, ?3)",
                    params![id, hash, seq],
                )?,
                None => db.execute("DELETE FROM pins WHERE person = ?1", [id])?,
            };
            Ok(seq)
        })
    }
}
