//! New stores. One is made under another name beside its own and gets its name when it is whole: there is no half-made store,
//! and what a stopped program left is removed by the next.

use std::ffi::OsString;
use std::fs::File;
use std::io::ErrorKind;
use std::path::{Path, PathBuf};

use rusqlite::{Connection, OpenFlags};

use crate::Store;
use crate::error::{Error, Result};
use crate::file::open::{migrate, settings};
use crate::file::paths;
use crate::file::paths::{chance, folder_of, named, with_end};
use crate::file::recognise;

impl Store {
    /// Makes an empty store, without any definitions.
    ///
    /// # Errors
    /// There is a file already, or it cannot be made.
    pub fn create(path: &Path) -> Result<Self> {
        match Self::create_for_load(path)?.settle()? {
            true => Self::open(path),
            false => Err(taken(path)),
        }
    }

    /// Makes an empty store for a first load, under another name beside its own. Nothing is on the
    /// disk for sure until [`Store::settle`] gives it its name: that is what makes it all or nothing,
    /// so the log that guards an ordinary write is left out. What interrupted loads left is
    /// removed.
    ///
    /// # Errors
    /// There is a file already, or it cannot be made.
    pub fn create_for_load(path: &Path) -> Result<Self> {
        if std::fs::symlink_metadata(path).is_ok() {
            recognise::ours(path)?;
            return Err(taken(path));
        }
        std::fs::create_dir_all(folder_of(path))
            .map_err(|e| Error::untrusted(format!("{}: {e}", named(folder_of(path)))))?;
        let failed = |e: Error| Error::untrusted(format!("{}: {e}", named(path)));
        let part = Part::begin(path, false).map_err(|e| failed(Error::untrusted(e.to_string())))?;
        let open = Some(paths::Open::at(part.path()));
        let made = connection(part.path()).and_then(|mut db| {
            let waits = settings(&mut db)?;
            migrate(&db)?;
            db.execute_batch("PRAGMA journal_mode = MEMORY; PRAGMA synchronous = OFF")?;
            Ok((db, waits))
        });
        let (db, waits) = made.map_err(failed)?;
        Ok(Self { db, _open: open, path: path.into(), part: Some(part), read_only: false, waits })
    }

    /// Puts what was loaded on the disk and gives the file its name. False: another file has taken the
    /// name meanwhile, and nothing was written.
    pub fn settle(mut self) -> Result<bool> {
        let Some(part) = self.part.take() else { return Ok(true) };
        let path = self.path.clone();
        self.db.execute_batch("PRAGMA synchronous = FULL; PRAGMA journal_mode = WAL")?;
        self.close()?;
        part.settle(&path)
    }

    /// Takes a load that came to nothing away.
    pub fn abandon(self) {
        drop(self);
    }
}

fn failed(path: &Path, e: &std::io::Error) -> Error {
    Error::untrusted(format!("{}: {e}", named(path)))
}

fn taken(path: &Path) -> Error {
    Error::input(format!("{}: already exists; it was left as it is", named(path)))
}

/// A file beside the place of a store that is to become one. Dropped, it is gone, with what SQLite kept beside it.
#[derive(Debug)]
pub(crate) struct Part(PathBuf);

impl Part {
    /// A new empty one. Its name can't be guessed, and says whose it is. `private`: nobody else may read it before it gets
    /// the rights that it shall have.
    ///
    /// # Errors
    /// The folder cannot be written.
    pub(crate) fn begin(path: &Path, private: bool) -> std::io::Result<Self> {
        sweep(path);
        let mut how = File::options();
        how.write(true).create_new(true);
        #[cfg(unix)]
        if private {
            use std::os::unix::fs::OpenOptionsExt;
            how.mode(0o600);
        }
        #[cfg(not(unix))]
        let _ = private;
        for _ in 0..16 {
            let part = with_end(path, &format!(".loading-{}-{:016x}", std::process::id(), chance()));
            match how.open(&part) {
                Ok(_) => return Ok(Self(part)),
                Err(e) if e.kind() == ErrorKind::AlreadyExists => {}
                Err(e) => return Err(e),
            }
        }
        Err(ErrorKind::AlreadyExists.into())
    }

    /// Where it is.
    pub(crate) fn path(&self) -> &Path {
        &self.0
    }

    /// Puts it on the disk.
    ///
    /// # Errors
    /// The disk is full or does not answer.
    pub(crate) fn sync(&self) -> std::io::Result<()> {
        File::open(&self.0)?.sync_all()
    }

    /// Puts it on the disk and gives it its name. False: another file has taken that.
    ///
    /// # Errors
    /// The disk is full or does not answer.
    pub(crate) fn settle(self, path: &Path) -> Result<bool> {
        self.sync().map_err(|e| failed(path, &e))?;
        match paths::take_name(&self.0, path) {
            Err(e) if e.kind() == ErrorKind::AlreadyExists => Ok(false),
            Err(e) => Err(failed(path, &e)),
            // What cannot be made lasting is not left in place: nothing was written, as the refusal says.
            Ok(()) => paths::sync_folder(path).map(|()| true).map_err(|e| {
                let _ = std::fs::remove_file(path);
                failed(path, &e)
            }),
        }
    }
}

impl Drop for Part {
    fn drop(&mut self) {
        for end in std::iter::once(&"").chain(paths::BESIDE) {
            let _ = std::fs::remove_file(with_end(&self.0, end));
        }
    }
}

/// To a file that is there.
pub(crate) fn connection(path: &Path) -> Result<Connection> {
    let flags = OpenFlags::SQLITE_OPEN_READ_WRITE | OpenFlags::SQLITE_OPEN_NO_MUTEX;
    Ok(Connection::open_with_flags(path, flags)?)
}

/// A store of two names: the program was stopped between giving it its own and taking away the other.
pub(crate) fn sweep_after_a_stop(path: &Path) {
    #[cfg(unix)]
    {
        use std::os::unix::fs::MetadataExt;
        if std::fs::metadata(path).is_ok_and(|m| m.nlink() > 1) {
            sweep(path);
        }
    }
    #[cfg(not(unix))]
    let _ = path;
}

/// Removes what interrupted loads left: files named after a process that is gone. Where the system
/// does not tell which processes there are, they stay.
fn sweep(path: &Path) {
    let processes = Path::new("/proc");
    let Some(mut stem) = path.file_name().map(OsString::from) else { return };
    if !processes.join("self").exists() {
        return;
    }
    stem.push(".loading-");
    for entry in std::fs::read_dir(folder_of(path)).into_iter().flatten().flatten() {
        let name = entry.file_name();
        let Some(rest) = name.as_encoded_bytes().strip_prefix(stem.as_encoded_bytes()) else { continue };
        let process: String = rest.iter().map(|b| char::from(*b)).take_while(char::is_ascii_digit).collect();
        if !process.is_empty() && !processes.join(&process).exists() {
            let _ = std::fs::remove_file(entry.path());
        }
    }
}
