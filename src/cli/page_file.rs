//! A page that must be whole before something becomes final: written and synced beside its place, put there after.

use std::io::Write;
use std::path::{Path, PathBuf};

use crate::cli::context::named;
use crate::ops::{Error, Result, Store};

/// What a page is called until it is in its place. One that is left over belongs to a command that was cut short:
/// whether it counts is told by `meltkin verify --anchor HEAD` with the head printed on it.
const PART: &str = ".meltkin-part";

/// A page on its way to its place.
pub struct PageFile {
    path: PathBuf,
    part: PathBuf,
    /// It is left where it is when this goes.
    kept: bool,
}

impl Drop for PageFile {
    fn drop(&mut self) {
        if !self.kept {
            let _ = std::fs::remove_file(&self.part);
        }
    }
}

impl PageFile {
    /// For a path that a page may be written to.
    ///
    /// # Errors
    /// It is the store, a folder, or in no folder.
    pub fn at(path: &Path, store: &Store) -> Result<Self> {
        let fault = |why: &str| Err(Error::input(format!("{}: {why}; nothing was written", named(path))));
        let folder = match path.parent() {
            Some(folder) if folder.as_os_str().is_empty() => Path::new("."),
            Some(folder) => folder,
            None => return fault("is no file"),
        };
        if !folder.is_dir() {
            return fault("there is no such folder to write it to");
        }
        if path.is_dir() || path.file_name().is_none() {
            return fault("is a folder");
        }
        let same =
            |a: &Path, b: &Path| a.canonicalize().is_ok_and(|a| b.canonicalize().is_ok_and(|b| a == b));
        if same(path, store.path()) {
            return fault("is the store itself");
        }
        let mut part = path.as_os_str().to_owned();
        part.push(PART);
        Ok(Self { path: path.into(), part: part.into(), kept: false })
    }

    /// Writes it beside its place, and has it on the disk.
    ///
    /// # Errors
    /// The file cannot be written whole.
    pub fn write(&self, bytes: &[u8]) -> Result<()> {
        // A link that somebody put there is not followed: it is taken away, and a new file made.
        let _ = std::fs::remove_file(&self.part);
        std::fs::OpenOptions::new()
            .write(true)
            .create_new(true)
            .open(&self.part)
            .and_then(|mut file| file.write_all(bytes).and_then(|()| file.sync_all()))
            .map_err(|e| self.failed(&e))
    }

    /// Puts it in its place.
    ///
    /// # Errors
    /// It cannot be put there.
    pub fn settle(mut self) -> Result<()> {
        self.kept = true;
        std::fs::rename(&self.part, &self.path).map_err(|e| {
            let at = named(&self.part);
            Error::Untrusted(format!("{}: {e}; the page is whole, and stands in {at}", named(&self.path)))
        })?;
        let folder = self.path.parent().filter(|f| !f.as_os_str().is_empty()).unwrap_or(Path::new("."));
        // The page is there; that its name outlasts a loss of power cannot be promised everywhere.
        let _ = std::fs::File::open(folder).and_then(|f| f.sync_all());
        Ok(())
    }

    fn failed(&self, e: &std::io::Error) -> Error {
        let _ = std::fs::remove_file(&self.part);
        Error::Untrusted(format!("{}: {e}; the page could not be written", named(&self.path)))
    }
}
