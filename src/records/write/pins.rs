//! PINs: kept apart from the records, never exported; the journal holds the digest of what is kept, so that one that was
//! taken away, exchanged or put in with SQL is found.
//!
//! What is kept is an Argon2id string with its own salt. Whoever can copy the file can try PINs against it elsewhere, as
//! long as they like; the count of tries protects against whoever has the program, not against whoever has the file.

use std::collections::BTreeMap;

use rusqlite::{Connection, OptionalExtension, TransactionBehavior, params};
use sha2::{Digest, Sha256};

use crate::catalogue::{People, Role};
use crate::error::{Error, Hint, Result};
use crate::file::verify;
use crate::file::verify::Fault;
use crate::read::tags::Tags;
use crate::value::tag::{folded, shown};
use crate::write::authority;
use crate::write::journal;
use crate::write::journal::Entry;
use crate::{Store, Who};

/// What a refusal for want of a PIN needs.
pub const PIN: &str = "the person's PIN";

/// What a refusal for want of somebody else's PIN needs.
const ANOTHERS: &str = "another quality person's PIN";

/// The kind under which the journal speaks of PINs: none of the catalogue.
const PINS: &str = "pins";

/// Longer than this nobody waits in line for a try: it is refused, and not counted.
const LONGEST_WAIT_MS: i64 = 40_000;

/// A PIN that was given and found right; good as long as it is the one that is kept.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Proof {
    person: String,
    hash: String,
}

impl Proof {
    /// Whose PIN it is.
    pub fn person(&self) -> &str {
        &self.person
    }
}

/// A try that may be made.
#[derive(Clone, Debug)]
pub struct Try {
    /// The Argon2id string to hold the PIN against.
    pub hash: String,
    /// How long to wait before, in milliseconds.
    pub wait_ms: u64,
}

/// Seconds between tries: none for the first two, then 1, 2, 4 … at most 30.
pub fn wait_s(failures_before: i64) -> u64 {
    match failures_before {
        ..2 => 0,
        2..7 => 1 << (failures_before - 2),
        _ => 30,
    }
}

fn kept(db: &Connection, person: &str) -> Result<Option<String>> {
    let mut q = db.prepare_cached(
        "SELECT n.hash FROM pins n JOIN people p ON p.id = n.person WHERE p.person = ?1 COLLATE NOCASE",
    )?;
    Ok(q.query_row([person], |r| r.get(0)).optional()?)
}

/// Some quality person has a PIN, whoever it is: the one whom an act is about counts too. Else whoever claims to be
/// another would take the role from the only one who can prove who they are.
fn quality_has_one(db: &Connection) -> Result<bool> {
    let sql =
        "SELECT EXISTS (SELECT 1 FROM pins n JOIN people p ON p.id = n.person WHERE p.role = 'quality')";
    Ok(db.prepare_cached(sql)?.query_row([], |r| r.get(0))?)
}

/// A proof is of this person and of the PIN that is kept now.
fn holds(db: &Connection, proof: Option<&Proof>, person: &str) -> Result<bool> {
    let Some(proof) = proof.filter(|p| p.person.eq_ignore_ascii_case(person)) else { return Ok(false) };
    Ok(kept(db, person)?.is_some_and(|hash| hash == proof.hash))
}

/// Whoever has a PIN gives it for what only quality does.
pub(crate) fn require_given(db: &Connection, who: &Who, person: &str, what: &str) -> Result<()> {
    if kept(db, person)?.is_none() || holds(db, who.proof.as_ref(), person)? {
        return Ok(());
    }
    Err(Error::refused(format!("{what} needs the PIN of {}", shown(person)), vec![PIN]).hint(Hint::Pin))
}

/// The PIN of a quality person other than the one whom the act is about, once any quality person has one.
pub(crate) fn require_another(
    db: &Connection,
    proof: Option<&Proof>,
    subject: &str,
    act: &str,
) -> Result<()> {
    if !quality_has_one(db)? {
        return Ok(());
    }
    let by = proof.map_or("", |p| p.person.as_str());
    let other = !by.is_empty() && !by.eq_ignore_ascii_case(subject);
    if other && authority::role(db, by)? == Some(Role::Quality) && holds(db, proof, by)? {
        return Ok(());
    }
    Err(Error::refused(
        format!("{act} needs the PIN of a quality person other than {}", shown(subject)),
        vec![ANOTHERS],
    ))
}

fn digest(hash: &str) -> String {
    journal::hex32(&Sha256::digest(hash.as_bytes()))
}

/// What the journal says of a PIN that is kept.
fn sealed(hash: &str) -> String {
    format!("{PINS} {{\"sha256\":\"{}\"}}", digest(hash))
}

impl Store {
    fn person_id(&self, person: &str) -> Result<i64> {
        let tags = Tags::new(&self.db)?;
        match tags.find(person, &[People::NAME])? {
            Some((link, _)) => Ok(link.id),
            None => Err(Error::input(tags.unknown(person, &[People::NAME])?)),
        }
    }

    /// The role of a person, where the store knows them, by whatever label.
    pub fn role_of(&self, person: &str) -> Result<Option<Role>> {
        match Tags::new(&self.db)?.find(person, &[People::NAME])? {
            Some((_, primary)) => authority::role(&self.db, primary.as_deref().unwrap_or(person)),
            None => Ok(None),
        }
    }

    /// A person's tag as their record has it.
    fn own_tag(&self, id: i64) -> Result<String> {
        let mut q = self.db.prepare_cached("SELECT person FROM people WHERE id = ?1")?;
        Ok(q.query_row([id], |r| r.get(0))?)
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

    /// Some quality person has a PIN: from then on nobody signs without one.
    pub fn quality_has_pins(&self) -> Result<bool> {
        quality_has_one(&self.db)
    }

    /// Setting this person's first PIN needs another quality person's.
    ///
    /// # Errors
    /// An unknown person, or the store cannot be read.
    pub fn first_pin_needs_another(&self, person: &str) -> Result<bool> {
        let quality = self.role_of(person)? == Some(Role::Quality);
        Ok(quality && !self.has_pin(person)? && quality_has_one(&self.db)?)
    }

    /// Begins a try: it counts as failed until [`Store::pin_right`], and takes the next free place in line. The line
    /// stands in the file, so that a hundred programs beside each other get no more tries than one. `now_ms` is the
    /// machine's own clock. None: the person has no PIN.
    ///
    /// # Errors
    /// An unknown person; too many tries wait already; or the store cannot be written.
    pub fn pin_try(&mut self, person: &str, now_ms: i64) -> Result<Option<Try>> {
        let id = self.person_id(person)?;
        let tx = self.db.transaction_with_behavior(TransactionBehavior::Immediate)?;
        let row = tx
            .query_row("SELECT hash, failures, free_at FROM pins WHERE person = ?1", [id], |r| {
                Ok((r.get::<_, String>(0)?, r.get::<_, i64>(1)?, r.get::<_, Option<i64>>(2)?))
            })
            .optional()?;
        let Some((hash, failures, free_at)) = row else { return Ok(None) };
        // A clock that was set back must not shut the door for long.
        let longest = now_ms + 2 * LONGEST_WAIT_MS;
        let free_at = free_at.map_or(now_ms, |at| at.clamp(now_ms, longest));
        if free_at - now_ms > LONGEST_WAIT_MS {
            return Err(Error::refused(
                format!(
                    "too many PINs of {} are being tried; the next may be in {} s",
                    shown(person),
                    (free_at - now_ms) / 1000
                ),
                vec![PIN],
            ));
        }
        let next = free_at + i64::try_from(wait_s(failures + 1)).unwrap_or(30) * 1000;
        tx.execute("UPDATE pins SET failures = failures + 1, free_at = ?2 WHERE person = ?1", [id, next])?;
        tx.commit()?;
        Ok(Some(Try { hash, wait_ms: u64::try_from(free_at - now_ms).unwrap_or(0) }))
    }

    /// The PIN was right: the next try is not slowed down. Gives what a write is allowed by.
    ///
    /// # Errors
    /// An unknown person, or the store cannot be written.
    pub fn pin_right(&mut self, person: &str, tried: &Try) -> Result<Proof> {
        let id = self.person_id(person)?;
        self.db.execute("UPDATE pins SET failures = 0, free_at = NULL WHERE person = ?1", [id])?;
        Ok(Proof { person: self.own_tag(id)?, hash: tried.hash.clone() })
    }

    /// Sets a person's PIN (its hash), or takes it away. `old` is proof of the PIN that is there, `by` of another
    /// quality person's. The journal keeps the digest of the string.
    ///
    /// # Errors
    /// An unknown person; a proof is missing; or the store cannot be written.
    pub fn set_pin(
        &mut self,
        who: &Who,
        person: &str,
        hash: Option<&str>,
        old: Option<&Proof>,
        by: Option<&Proof>,
    ) -> Result<i64> {
        let id = self.person_id(person)?;
        let name = self.own_tag(id)?;
        self.write(who, |db, who| {
            let there = kept(db, &name)?;
            let quality = authority::role(db, &name)? == Some(Role::Quality);
            let said = match (&there, hash) {
                (_, None) => {
                    authority::require(db, who, "taking a PIN away", authority::Need::Decision)?;
                    require_another(db, by, &name, "taking a PIN away")?;
                    format!("PIN of {name} taken away")
                }
                (Some(_), Some(_)) => {
                    if !holds(db, old, &name)? {
                        return Err(Error::refused(format!("{} has a PIN; changing it needs the old one", shown(&name)), vec![PIN]));
                    }
                    format!("PIN of {name} changed")
                }
                (None, Some(_)) => {
                    if quality {
                        require_another(db, by, &name, "a quality person's first PIN")?;
                    }
                    format!("first PIN of {name}{}", if quality { ", who is quality" } else { "" })
                }
            };
            let by = by.map_or(String::new(), |p| format!(", by {}", p.person));
            let seq = journal::append(
                db,
                who,
                Entry {
                    action: "pin".into(),
                    kind: PINS.into(),
                    tag: Some(name.clone()),
                    old: there.as_deref().map(sealed),
                    new: hash.map(sealed),
                    reason: Some(format!("{said}{by}")),
                    ..Entry::default()
                },
            )?;
            match hash {
                Some(hash) => db.execute(
                    "INSERT OR REPLACE INTO pins (person, hash, failures, entry, free_at) VALUES (?1, ?2, 0, ?3, NULL)",
                    params![id, hash, seq],
                )?,
                None => db.execute("DELETE FROM pins WHERE person = ?1", [id])?,
            };
            Ok(seq)
        })
    }
}

/// What the file keeps of PINs: the person, the string, the entry that wrote it.
fn all_kept(db: &Connection) -> Result<BTreeMap<String, (String, String, i64)>> {
    let mut q = db.prepare(
        "SELECT ifnull(p.person, 'person number ' || n.person), n.hash, n.entry
         FROM pins n LEFT JOIN people p ON p.id = n.person",
    )?;
    let rows = q.query_map([], |r| Ok((r.get::<_, String>(0)?, r.get(1)?, r.get(2)?)))?;
    let mut out = BTreeMap::new();
    for row in rows {
        let (person, hash, entry) = row?;
        out.insert(folded(&person), (person, hash, entry));
    }
    Ok(out)
}

/// PINs that are not as the journal says: taken away, exchanged or put in outside the program.
pub(crate) fn faults(db: &Connection) -> Result<Vec<Fault>> {
    let mut said: BTreeMap<String, (String, i64, Option<String>)> = BTreeMap::new();
    let mut q =
        db.prepare("SELECT seq, tag, new FROM journal WHERE action = 'pin' AND kind = 'pins' ORDER BY seq")?;
    let mut entries = q.query([])?;
    while let Some(row) = entries.next()? {
        let Some(person) = row.get::<_, Option<String>>(1)? else { continue };
        said.insert(folded(&person), (person, row.get(0)?, row.get(2)?));
    }
    let there = all_kept(db)?;
    let mut out = Vec::new();
    let mut fault =
        |person: &str, message: &str| out.push(verify::fault(PINS, Some(person.to_string()), message));
    for (key, (person, hash, entry)) in &there {
        match said.get(key) {
            Some((_, seq, Some(new))) if *new == sealed(hash) && seq == entry => {}
            Some((_, _, Some(_))) => fault(person, "the PIN is not the one that the journal says was set"),
            Some((_, _, None)) => {
                fault(person, "a PIN is there though the journal says that it was taken away")
            }
            None => fault(person, "the PIN was put in outside meltkin: no journal entry brought it"),
        }
    }
    for (key, (person, _, new)) in &said {
        if new.is_some() && !there.contains_key(key) {
            fault(person, "the PIN is missing, though the journal says that it was set");
        }
    }
    Ok(out)
}

/// Brings the PINs of a store of an earlier schema under the journal's seal.
pub(crate) fn seal_pins(db: &Connection, who: &Who) -> Result<()> {
    for (person, hash, _) in all_kept(db)?.into_values() {
        let seq = journal::append(
            db,
            who,
            Entry {
                action: "pin".into(),
                kind: PINS.into(),
                tag: Some(person.clone()),
                new: Some(sealed(&hash)),
                reason: Some(format!("PIN of {person}: its digest is kept from here on")),
                ..Entry::default()
            },
        )?;
        db.execute(
            "UPDATE pins SET entry = ?1 WHERE person = (SELECT id FROM people WHERE person = ?2)",
            params![seq, person],
        )?;
    }
    Ok(())
}
