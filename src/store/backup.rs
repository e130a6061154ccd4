//! Copies of a store: made while it is in use, checked before they are called good.

use std::path::Path;
use std::time::Duration;

use rusqlite::Connection;
use rusqlite::backup::Backup;

use crate::store::Store;
use crate::store::error::{Error, Result};
use crate::store::verify::Verified;

impl Store {
    /// Copies the store while it is in use, and checks the copy. `progress` is told pages done and
    /// pages in all.
    ///
    /// # Errors
    /// The target is there already or cannot be written, or the copy does not hold.
    pub fn backup(&self, target: &Path, progress: &mut dyn FnMut(u64, u64)) -> Result<Verified> {
        if target.exists() {
            return Err(Error::Input(format!(
                "{}: is there already; it was left as it is",
                target.display()
            )));
        }
        let part = beside(target);
        let _ = std::fs::remove_file(&part);
        let made = self.copy_to(&part, progress).and_then(|checked| {
            std::fs::rename(&part, target)
                .and_then(|()| sync_folder(target))
                .map_err(|e| Error::Untrusted(format!("{}: {e}", target.display())))?;
            Ok(checked)
        });
        if made.is_err() {
            let _ = std::fs::remove_file(&part);
        }
        made
    }

    fn copy_to(&self, part: &Path, progress: &mut dyn FnMut(u64, u64)) -> Result<Verified> {
        {
            let mut copy = Connection::open(part)?;
            let backup = Backup::new(&self.db, &mut copy)?;
            loop {
                let more = backup.step(2000)?;
                let p = backup.progress();
                progress((p.pagecount - p.remaining) as u64, p.pagecount as u64);
                match more {
                    rusqlite::backup::StepResult::Done => break,
                    rusqlite::backup::StepResult::More => {}
                    _ => std::thread::sleep(Duration::from_millis(50)),
                }
            }
        }
        let file = std::fs::File::open(part).map_err(|e| Error::Untrusted(e.to_string()))?;
        file.sync_all().map_err(|e| Error::Untrusted(e.to_string()))?;
        whole(part)
    }
}

/// Puts a checked copy in the place of a store. An existing one is only replaced when told to.
///
/// # Errors
/// The copy is damaged or no store, or the place is taken.
pub fn restore(copy: &Path, place: &Path, replace: bool) -> Result<Verified> {
    let checked = whole(copy)?;
    if place.exists() && !replace {
        return Err(Error::Input(format!(
            "{}: is there already; to put the copy in its place: --replace",
            place.display()
        )));
    }
    let cannot = |e: std::io::Error| Error::Untrusted(format!("{}: {e}", place.display()));
    if let Some(folder) = place.parent().filter(|f| !f.as_os_str().is_empty()) {
        std::fs::create_dir_all(folder).map_err(cannot)?;
    }
    let part = beside(place);
    std::fs::copy(copy, &part).map_err(cannot)?;
    std::fs::File::open(&part).and_then(|f| f.sync_all()).map_err(cannot)?;
    if let Err(e) = at_rest(place) {
        let _ = std::fs::remove_file(&part);
        return Err(e);
    }
    for end in ["-wal", "-shm"] {
        let _ = std::fs::remove_file(with_end(place, end));
    }
    std::fs::rename(&part, place).map_err(cannot)?;
    sync_folder(place).map_err(cannot)?;
    Ok(checked)
}

/// Folds the log of the store that is to be replaced into its file, so that a stop between here and
/// the new file leaves the old one whole. One that cannot be read has nothing to lose.
fn at_rest(place: &Path) -> Result<()> {
    if !place.exists() {
        return Ok(());
    }
    let folded = Connection::open_with_flags(place, rusqlite::OpenFlags::SQLITE_OPEN_READ_WRITE)
        .and_then(|db| db.execute_batch("PRAGMA wal_checkpoint(TRUNCATE)"));
    // The last to close a store takes its log away: one that is still there is somebody else's.
    if folded.is_ok() && with_end(place, "-wal").exists() {
        return Err(Error::Untrusted(format!(
            "{}: another program has it open; nothing was replaced. Close it, then restore again",
            place.display()
        )));
    }
    Ok(())
}

fn with_end(path: &Path, end: &str) -> std::path::PathBuf {
    let mut name = path.as_os_str().to_owned();
    name.push(end);
    name.into()
}

/// A new name is on the disk once its folder is.
pub(crate) fn sync_folder(path: &Path) -> std::io::Result<()> {
    let folder = path.parent().filter(|f| !f.as_os_str().is_empty()).unwrap_or(Path::new("."));
    match std::fs::File::open(folder).and_then(|f| f.sync_all()) {
        // Not every file system can sync a folder.
        // An error of the disk, and a full one, count.
        Err(e) if !matches!(e.raw_os_error(), Some(5 | 28)) => Ok(()),
        other => other,
    }
}

/// A copy that holds: pages, references, journal and tables.
fn whole(path: &Path) -> Result<Verified> {
    let store = Store::open(path)?;
    let checked = store.verify(None, &mut |_| {})?;
    match checked.faults.first() {
        None => Ok(checked),
        Some(f) => Err(Error::Untrusted(format!(
            "{}: is damaged ({} faults, the first in {}: {})",
            path.display(),
            checked.faults.len(),
            f.table,
            f.message
        ))),
    }
}

fn beside(path: &Path) -> std::path::PathBuf {
    with_end(path, ".part")
}
