//! Copies of a store: made while it is in use, checked before they are called good, with its rights.

use std::path::Path;
use std::time::Duration;

use rusqlite::Connection;
use rusqlite::backup::{Backup, StepResult};

use crate::Store;
use crate::error::{Error, Result};
use crate::file::making;
use crate::file::making::Part;
use crate::file::output::{Output, cannot};
use crate::file::paths;
use crate::file::paths::{Marks, named};
use crate::file::recognise;
use crate::file::verify::Verified;
use crate::write::journal;

/// Told how far a copy is: pages done, pages in all.
pub type Progress<'a> = &'a mut dyn FnMut(u64, u64);

impl Store {
    /// Copies the store while it is in use, and checks the copy. An earlier copy of this store may be replaced.
    ///
    /// # Errors
    /// The place is taken or cannot be written, or the copy does not hold.
    pub fn backup(&self, target: Output, progress: Progress) -> Result<Verified> {
        target.admit_copy()?;
        self.may_go(target.file)?;
        let failed = |e: std::io::Error| cannot(target.file, &e);
        let part = Part::begin(target.file, true).map_err(failed)?;
        copy(&self.db, &mut making::connection(part.path())?, progress)?;
        let (store, checked) = whole(&part, target.file)?;
        store.close()?;
        rights(self.path(), part.path()).map_err(failed)?;
        if target.replace {
            part.sync()
                .and_then(|()| std::fs::rename(part.path(), target.file))
                .and_then(|()| paths::sync_folder(target.file))
                .map_err(failed)?;
        } else if !part.settle(target.file)? {
            return Err(Error::input(format!(
                "{}: another file has taken this name meanwhile; it was left as it is",
                named(target.file)
            )));
        }
        Ok(checked)
    }

    /// A database in the place of a copy goes only if it is an earlier copy of this store.
    fn may_go(&self, there: &Path) -> Result<()> {
        if !matches!(paths::marks(there), Ok(Marks::Sqlite { .. })) {
            return Ok(());
        }
        let no = |why: &str| Err(Error::input(format!("{}: {why}; name a new file", named(there))));
        if recognise::ours(there).is_err() {
            return no("is a database, and no copy of this store");
        }
        let earlier = at_rest(there).and_then(|db| journal::head(&db));
        match earlier {
            Ok((n, head)) if n == 0 || self.hash_at(n)?.as_ref() == Some(&head) => Ok(()),
            Ok(_) => no("is a store with another history, and no earlier copy of this one"),
            Err(_) => no("cannot be read, so nobody can tell whether it is an earlier copy of this store"),
        }
    }

    /// The seal of an entry of the journal.
    pub(crate) fn hash_at(&self, seq: i64) -> Result<Option<String>> {
        Ok(journal::by_seq(&self.db, seq)?.map(|e| e.hash))
    }
}

/// To a copy, so that nothing is made beside it where nobody has it open.
pub(crate) fn at_rest(file: &Path) -> Result<Connection> {
    match paths::with_end(file, "-wal").exists() {
        true => Store::read_only_connection(file),
        false => Store::still_connection(file),
    }
}

/// Copies every page, as one transaction.
pub(crate) fn copy(from: &Connection, to: &mut Connection, progress: Progress) -> Result<()> {
    let backup = Backup::new(from, to)?;
    loop {
        let more = backup.step(2000)?;
        let p = backup.progress();
        progress((p.pagecount - p.remaining) as u64, p.pagecount as u64);
        match more {
            StepResult::Done => return Ok(()),
            StepResult::More => {}
            _ => std::thread::sleep(Duration::from_millis(50)),
        }
    }
}

/// A copy that holds: pages, references, journal and tables. It is named as the one who asked knows it.
pub(crate) fn whole(part: &Part, asked: &Path) -> Result<(Store, Verified)> {
    let as_asked = |e: Error| {
        let s = e.sentence.replace(&named(part.path()), &named(asked));
        if e.is_untrusted() { e.said(s) } else { e }
    };
    let store = Store::open(part.path()).map_err(as_asked)?;
    let unread = |e: Error| Error::untrusted(format!("{}: {e}", named(asked)));
    let checked = store.verify(None, &mut |_| {}).map_err(unread)?;
    match checked.faults.first() {
        None => Ok((store, checked)),
        Some(f) => Err(Error::untrusted(format!(
            "{}: is damaged ({} faults, the first in {}: {})",
            named(asked),
            checked.faults.len(),
            f.table,
            f.message
        ))),
    }
}

/// Gives a file the rights of another: its bits, and its owner and group where we may give them. Where the group is not
/// that of the other, no group gets any right.
#[cfg(unix)]
pub(crate) fn rights(of: &Path, to: &Path) -> std::io::Result<()> {
    use std::os::unix::fs::{MetadataExt, PermissionsExt, chown};
    let wanted = std::fs::metadata(of)?;
    let (owner, group) = (Some(wanted.uid()), Some(wanted.gid()));
    let _ = chown(to, owner, group).or_else(|_| chown(to, None, group));
    let mut bits = wanted.mode() & 0o777;
    if std::fs::metadata(to)?.gid() != wanted.gid() {
        bits &= !0o070;
    }
    std::fs::set_permissions(to, std::fs::Permissions::from_mode(bits))
}

#[cfg(not(unix))]
pub(crate) fn rights(of: &Path, to: &Path) -> std::io::Result<()> {
    std::fs::set_permissions(to, std::fs::metadata(of)?.permissions())
}
