//! The clock of a store: no entry is earlier than the one before it, and a clock that was given from outside is said.
//!
//! A clock is given by `MELTKIN_NOW`, or by the store itself, as the demo's is. Only a store that was made that way is
//! written to that way: else anybody could take back a record of last week, or date one into last year.

use rusqlite::types::Value as Sql;
use rusqlite::{Connection, OptionalExtension};

use crate::catalogue::{Recorded, Settings};
use crate::error::{Error, Result};
use crate::read::tags::Tags;
use crate::read::{rows, shape};
use crate::write::amend;
use crate::write::draft::Draft;
use crate::write::journal;
use crate::write::journal::Entry;
use crate::write::resolve::resolve;
use crate::{Record, Stamp, Value};
use crate::{Store, Who, read, write};

/// The setting that holds the time at which a store's clock stands still.
pub const CLOCK: &str = "clock";

/// The setting that says that a store was made under a clock given from outside.
pub const GIVEN: &str = "clock_given";

/// The sentence that goes with whatever such a store prints.
pub const SAID: &str = "clock given: the times of this store are not those of a running clock";

/// When the newest entry was written.
pub(crate) fn last(db: &Connection) -> Result<Option<Stamp>> {
    let mut q = db.prepare_cached("SELECT at FROM journal ORDER BY seq DESC LIMIT 1")?;
    let at: Option<String> = q.query_row([], |r| r.get(0)).optional()?;
    Ok(at.and_then(|at| Stamp::parse(&at).ok()))
}

/// The later of a time and the newest entry's.
pub(crate) fn later(db: &Connection, now: Stamp) -> Result<Stamp> {
    Ok(last(db)?.filter(|last| last.ms() > now.ms()).unwrap_or(now))
}

/// The store's clock is given from outside.
pub(crate) fn given(db: &Connection) -> Result<bool> {
    let sql = "SELECT EXISTS (SELECT 1 FROM settings WHERE setting = ?1 OR setting = ?2)";
    Ok(db.prepare_cached(sql)?.query_row([CLOCK, GIVEN], |r| r.get(0))?)
}

/// Who writes, at the time that counts.
///
/// # Errors
/// Refused: the clock is given from outside, and the store was made by a running one.
pub(crate) fn timed(db: &Connection, who: &Who) -> Result<Who> {
    if who.given.is_some() && !given(db)? {
        return Err(Error::refused(
            "this store was made by a running clock, and MELTKIN_NOW gives another: nothing is written under it",
            vec!["the machine's own clock"],
        ));
    }
    Ok(Who { now: later(db, who.now)?, ..who.clone() })
}

/// Who was refused, at the time of the machine's own clock: a time that was given must not push the journal on.
pub(crate) fn of_the_machine(db: &Connection, who: &Who) -> Result<Who> {
    let now = match who.given {
        Some(machine) if !given(db)? => machine,
        _ => who.now,
    };
    Ok(Who { now, ..who.clone() })
}

/// Nothing but settings is on record yet.
pub(crate) fn may_be_set(db: &Connection) -> Result<bool> {
    Ok(!db.query_row("SELECT EXISTS (SELECT 1 FROM journal WHERE kind <> 'settings')", [], |r| {
        r.get::<_, bool>(0)
    })?)
}

/// A record that would give the store a clock, where that cannot be any more.
pub(crate) fn too_late(record: &Record, may_be_set: bool) -> Option<String> {
    let name = record.of::<Settings>()?.get(Settings::setting)?;
    ([CLOCK, GIVEN].contains(&name) && !may_be_set)
        .then(|| format!("{name} is set when a store is made, and not later"))
}

impl Store {
    /// A setting of this store.
    pub fn setting(&self, name: &str) -> Result<Option<String>> {
        let shape = shape::of(Settings::KIND);
        if !self.db.table_exists(None, Settings::NAME)? {
            // A store of an earlier schema that may only be read.
            return self.about(name);
        }
        let found = read::load(&self.db, shape, &[Sql::Text(name.into())])?;
        Ok(found.and_then(|f| f.record.of::<Settings>().map(|s| s.text(Settings::value))))
    }

    /// The clock of this store is given from outside.
    pub fn clock_given(&self) -> Result<bool> {
        Ok(self.setting(CLOCK)?.is_some() || self.setting(GIVEN)?.is_some())
    }

    /// Nothing is on record yet: the store may be given a clock.
    pub fn takes_a_clock(&self) -> Result<bool> {
        may_be_set(&self.db)
    }

    /// The later of a time and the newest entry's: what counts for undo, expiry and waits.
    pub fn later(&self, now: Stamp) -> Result<Stamp> {
        later(&self.db, now)
    }

    /// Keeps a setting; the old value stays in the journal. Gives the entry.
    ///
    /// # Errors
    /// As [`Store::log`]: who changes one that is there must be allowed to.
    pub fn keep_setting(&mut self, who: &Who, name: &str, value: &str) -> Result<i64> {
        self.write(who, |db, who| {
            if let Some(there) = read::load(db, shape::of(Settings::KIND), &[Sql::Text(name.into())])? {
                let said = there.record.of::<Settings>().and_then(|s| s.get(Settings::value));
                if said == Some(value) {
                    return Ok(there.entry);
                }
                let changes = Draft::default().with(Settings::value, value);
                let address = there.record.address();
                let done = amend::correct(db, who, &address, changes.texts(), "learnt anew", "correct")?;
                return Ok(done.entry);
            }
            let record = of(name, value);
            Ok(write::log(db, who, record, None, "log")?.entry)
        })
    }

    /// Marks a store that was made just now, under a clock given from outside, before anybody else sees it. Nothing is
    /// done where a bundle has brought a clock.
    pub fn mark_clock_given(&mut self, now: Stamp) -> Result<()> {
        let tx = self.db.transaction()?;
        if !given(&tx)? {
            place(&tx, &Who::new(None, now), GIVEN, "yes", "made under a clock given from outside")?;
        }
        Ok(tx.commit()?)
    }
}

fn of(name: &str, value: &str) -> Record<'static> {
    let mut setting = Recorded::<Settings>::blank();
    setting
        .set(Settings::setting, Value::Text(name.to_string().into()))
        .set(Settings::value, Value::Text(value.to_string().into()));
    setting.into_record()
}

/// Writes a setting as the program's own act: without the time it was typed in, so that two stores of one sort agree.
fn place(db: &Connection, who: &Who, name: &str, value: &str, why: &str) -> Result<()> {
    let (resolved, _) = resolve(of(name, value), &Tags::new(db)?)?;
    let shape = shape::of(Settings::KIND);
    let canonical = write::canonical(shape, &resolved.record);
    let entry = Entry {
        action: "log".into(),
        kind: Settings::NAME.into(),
        tag: Some(resolved.record.address()),
        new: Some(canonical.clone()),
        reason: Some(why.into()),
        ..Entry::default()
    };
    let seq = journal::append(db, who, entry)?;
    write::put(db, shape, &resolved, None, seq, rows::digest(&canonical))
}

/// What the machine's own clock says, in milliseconds since 1970: a migration is given none.
pub(crate) fn machine_ms(db: &Connection) -> Result<i64> {
    Ok(db.query_row("SELECT CAST(strftime('%s', 'now') AS INTEGER) * 1000", [], |r| r.get(0))?)
}

/// Makes records of what a store of an earlier schema kept beside its journal: the clock, and mappings of sheets and
/// certificates. A journal that lies in the machine's future was written under a given clock.
pub(crate) fn settings_from_about(db: &Connection, who: &Who) -> Result<()> {
    let kept: Vec<(String, String)> = read::list(
        db,
        "SELECT name, value FROM about WHERE name = 'clock' OR name LIKE 'sheet mapping %'
         OR name LIKE 'certificate mapping %' ORDER BY name",
        [],
        |r| Ok((r.get(0)?, r.get(1)?)),
    )?;
    for (name, value) in &kept {
        place(db, who, name, value, "kept outside the journal until now")?;
        db.execute("DELETE FROM about WHERE name = ?1", [name])?;
    }
    if !given(db)? && last(db)?.is_some_and(|last| last.ms() > machine_ms(db).unwrap_or(i64::MAX)) {
        place(db, who, GIVEN, "yes", "assumed: its entries are later than this machine's clock")?;
    }
    Ok(())
}
