//! A copy in the place of a store. It is checked in a file of our own first; a store that is there is not renamed over but
//! takes the pages of the copy in one transaction of its own, with nobody else in it, so that links, rights and whoever opens
//! it next stay with one file.

use std::path::{Path, PathBuf};
use std::time::Duration;

use rusqlite::{Connection, TransactionBehavior};

use crate::error::{Error, Result};
use crate::file::backup::{Progress, at_rest, copy, rights, whole};
use crate::file::making;
use crate::file::making::Part;
use crate::file::paths;
use crate::file::paths::{folder_of, named, with_end};
use crate::file::recognise;
use crate::write::journal;
use crate::write::journal::Entry;
use crate::{Store, Who};

/// How a copy stands to a store, by their journals.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Kinship {
    /// It is the store, or the store is its beginning.
    GoesOn,
    /// It is a beginning of the store: so many entries came later.
    Older(i64),
    /// Neither.
    Other,
}

/// A checked copy that waits for its place.
pub struct Copy {
    /// Closed before its file goes.
    store: Store,
    part: Part,
    asked: PathBuf,
    place: PathBuf,
    /// Entries and head as the copy came.
    came: (i64, String),
}

/// What a restore came to.
#[derive(Clone, Debug)]
pub struct Restored {
    /// Entries of the journal.
    pub entries: i64,
    pub head: String,
    /// The head that was replaced, where there was a store.
    pub replaced: Option<String>,
    /// Entries of that store which the copy has not.
    pub dropped: i64,
    /// Where that store was kept.
    pub kept: Option<PathBuf>,
}

impl Copy {
    /// Takes a copy beside the place that it is meant for, and checks it. The copy itself is only read.
    ///
    /// # Errors
    /// It is no store, damaged, newer, or the store itself; the place is taken, or its folder cannot be written.
    pub fn of(file: &Path, place: &Path, replace: bool, progress: Progress) -> Result<Self> {
        recognise::ours(file)?;
        if paths::same(file, place) {
            return Err(Error::input(format!("{}: is the store itself, no copy of it", named(file))));
        }
        // Links are followed once, here: there is one store, whatever it is called.
        let place = match std::fs::symlink_metadata(place) {
            Ok(_) => {
                recognise::ours(place)?;
                if !replace {
                    return Err(Error::input(format!(
                        "{}: already exists; to put the copy in its place: --replace",
                        named(place)
                    )));
                }
                place.canonicalize().map_err(|e| failed(place, &e))?
            }
            Err(_) => place.to_path_buf(),
        };
        std::fs::create_dir_all(folder_of(&place)).map_err(|e| failed(folder_of(&place), &e))?;
        let part = Part::begin(&place, true).map_err(|e| failed(&place, &e))?;
        let at_fault = |e: Error| Error::untrusted(format!("{}: {e}", named(file)));
        let source = at_rest(file).map_err(at_fault)?;
        let came = journal::head(&source).map_err(at_fault)?;
        copy(&source, &mut making::connection(part.path())?, progress).map_err(at_fault)?;
        drop(source);
        let (store, _) = whole(&part, file)?;
        Ok(Self { store, part, asked: file.to_path_buf(), place, came })
    }

    /// How the copy stands to a store.
    ///
    /// # Errors
    /// One of them cannot be read.
    pub fn kinship(&self, store: &Store) -> Result<Kinship> {
        let ((n, head), (mine, my_head)) = (store.head()?, &self.came);
        let same = if n <= *mine {
            self.store.hash_at(n)? == Some(head)
        } else {
            store.hash_at(*mine)?.as_ref() == Some(my_head)
        };
        Ok(match (n.min(*mine) == 0 || same, n - mine) {
            (false, _) => Kinship::Other,
            (true, later) if later > 0 => Kinship::Older(later),
            _ => Kinship::GoesOn,
        })
    }

    /// Gives the copy a place where no store is.
    ///
    /// # Errors
    /// Something else has taken it meanwhile; it cannot be written.
    pub fn put(self) -> Result<Restored> {
        let Self { store, part, asked, place, .. } = self;
        let (entries, head) = store.head()?;
        store.close()?;
        rights(&asked, part.path()).map_err(|e| failed(&place, &e))?;
        match part.settle(&place)? {
            true => Ok(Restored { entries, head, replaced: None, dropped: 0, kept: None }),
            false => Err(Error::input(format!("{}: another store was made there meanwhile", named(&place)))),
        }
    }

    /// Puts the copy into the store that is there, which is kept beside it under another name. `judged` is the head of that
    /// store when it was decided that this may be done.
    ///
    /// # Errors
    /// Somebody has the store open or wrote to it; it cannot be written. Then it is as it was.
    pub fn replace(self, who: &Who, judged: &(i64, String), progress: Progress) -> Result<Restored> {
        let place = self.place.as_path();
        let _open = paths::Open::at(place);
        let mut db = alone(place)?;
        let there = journal::head(&db)?;
        if there != *judged {
            return Err(Error::untrusted(format!(
                "{}: somebody wrote to it meanwhile; nothing was replaced. Do it again",
                named(place)
            )));
        }
        let kept = keep(&db, place, who)?;
        let dropped = (there.0 - self.came.0).max(0);
        let mut from = self.store;
        let (entries, head) = say(&mut from, who, &self.came, &there, dropped)?;
        let pages = |db: &Connection| db.query_row("PRAGMA page_size", [], |r| r.get::<_, i64>(0));
        if pages(&db)? != pages(&from.db)? {
            // With a log beside it a file keeps the size of its pages.
            db.query_row("PRAGMA journal_mode = DELETE", [], |_| Ok(()))?;
        }
        copy(&from.db, &mut db, progress)?;
        db.close().map_err(|(_, e)| Error::from(e))?;
        from.close()?;
        Ok(Restored { entries, head, replaced: Some(there.1), dropped, kept: Some(kept) })
    }
}

/// Writes into the journal of the copy what it replaces.
fn say(
    store: &mut Store,
    who: &Who,
    came: &(i64, String),
    there: &(i64, String),
    dropped: i64,
) -> Result<(i64, String)> {
    let reason = format!(
        "a copy of {} entries, head {}, took the place of the store with {} entries, head {}; {dropped} entries were dropped",
        came.0, came.1, there.0, there.1
    );
    let tx = store.db.transaction_with_behavior(TransactionBehavior::Immediate)?;
    journal::append(&tx, who, Entry { action: "restore".into(), reason: Some(reason), ..Entry::default() })?;
    tx.commit()?;
    store.head()
}

/// A connection that keeps everybody else out until it is closed.
fn alone(place: &Path) -> Result<Connection> {
    let in_use = |e: rusqlite::Error| match e.sqlite_error_code() {
        Some(rusqlite::ErrorCode::DatabaseBusy | rusqlite::ErrorCode::DatabaseLocked) => {
            Error::untrusted(format!(
                "{}: another program has it open; nothing was replaced. Close it, then restore again",
                named(place)
            ))
        }
        _ => Error::from(e),
    };
    let db = making::connection(place)?;
    db.busy_timeout(Duration::from_secs(2))?;
    // Asked for before the first look at the file: then no log can be shared with anybody.
    db.execute_batch("PRAGMA locking_mode = EXCLUSIVE")
        .and_then(|()| db.query_row("SELECT count(*) FROM sqlite_schema", [], |_| Ok(())))
        .and_then(|()| db.execute_batch("PRAGMA synchronous = FULL; BEGIN EXCLUSIVE; COMMIT"))
        .map_err(in_use)?;
    Ok(db)
}

/// Keeps the store under a name of its own, which never takes another's place.
fn keep(db: &Connection, place: &Path, who: &Who) -> Result<PathBuf> {
    let time: String = who.now.to_string().chars().take(19).map(|c| if c == ':' { '-' } else { c }).collect();
    let part = Part::begin(place, true).map_err(|e| failed(place, &e))?;
    copy(db, &mut making::connection(part.path())?, &mut |_, _| {})?;
    rights(place, part.path()).map_err(|e| failed(place, &e))?;
    part.sync().map_err(|e| failed(place, &e))?;
    for n in 1..1000 {
        let more = if n == 1 { String::new() } else { format!("-{n}") };
        let name = with_end(place, &format!(".replaced-{time}{more}"));
        match paths::take_name(part.path(), &name) {
            Err(e) if e.kind() == std::io::ErrorKind::AlreadyExists => {}
            Err(e) => return Err(failed(&name, &e)),
            Ok(()) => {
                paths::sync_folder(&name).map_err(|e| failed(&name, &e))?;
                return Ok(name);
            }
        }
    }
    Err(Error::untrusted(format!(
        "{}: a thousand replaced stores lie beside it; move them away",
        named(place)
    )))
}

fn failed(path: &Path, e: &std::io::Error) -> Error {
    Error::untrusted(format!("{}: {e}", named(path)))
}
