//! The one way by which a file leaves the program: never over the store or over what is there, written whole beside its
//! place, on the disk before it gets its name.
//!
//! [`write()`] does it in one step. A release wants two: [`Pending::write`] before the store is committed, and
//! [`Pending::finish`] after it. What is written bit by bit begins with [`Pending::begin`].

use std::fs::{File, OpenOptions};
use std::io::{ErrorKind, Write};
use std::path::{Path, PathBuf};

use crate::file::paths;
use crate::file::paths::{BESIDE, Marks, named, with_end};
use crate::{Error, Result};

/// A file that is asked for.
#[derive(Clone, Copy, Debug)]
pub struct Output<'a> {
    /// Its name.
    pub file: &'a Path,
    /// A file of that name may go.
    pub replace: bool,
    /// The store in use, which no file may take the place of.
    pub store: Option<&'a Path>,
}

impl Output<'_> {
    /// Says whether the file may be written, before work is done for it.
    ///
    /// # Errors
    /// The place is the store or belongs to one, is taken, or can hold no file.
    pub fn admit(&self) -> Result<()> {
        if is_database(self.file) && self.belongs_to_a_store().is_none() {
            return self.refuse("is a database; no page takes the place of one. Name another file");
        }
        self.admit_copy()
    }

    /// As [`Output::admit`], for a copy of the store: it may take the place of another one.
    pub fn admit_copy(&self) -> Result<()> {
        if self.file.file_name().is_none() {
            return self.refuse("not a file name");
        }
        let folder = paths::folder_of(self.file);
        match std::fs::metadata(folder) {
            Ok(m) if !m.is_dir() => return self.refuse(&format!("{} is not a folder", named(folder))),
            Err(e) if is_usage(e.kind()) => {
                return self.refuse(&format!("there is no folder {}; make it first", named(folder)));
            }
            _ => {}
        }
        if let Some(why) = self.belongs_to_a_store() {
            return self.refuse(why);
        }
        let Ok(there) = std::fs::symlink_metadata(self.file) else { return Ok(()) };
        let followed = std::fs::metadata(self.file).unwrap_or(there);
        if let Some(what) = paths::odd(followed.file_type()).filter(|_| !followed.is_symlink()) {
            return self.refuse(&format!("is {what}; name a file"));
        }
        match self.replace {
            true => Ok(()),
            false => self.refuse("already exists; name a new file, or replace it with --replace"),
        }
    }

    fn refuse(&self, why: &str) -> Result<()> {
        Err(Error::input(format!("{}: {why}", named(self.file))))
    }

    /// The store, what SQLite keeps beside one, or a link to either.
    fn belongs_to_a_store(&self) -> Option<&'static str> {
        let real = self.store.and_then(|s| s.canonicalize().ok());
        let own = self.store.into_iter().chain(real.as_deref()).flat_map(|s| {
            let beside = BESIDE.iter().map(move |end| with_end(s, end));
            std::iter::once(s.to_path_buf()).chain(beside)
        });
        if own.into_iter().any(|s| paths::same(&s, self.file)) {
            return Some("is the store or belongs to it; name another file");
        }
        if self.store.into_iter().chain(real.as_deref()).any(|s| is_kept_beside(s, self.file)) {
            return Some("is a file that belongs to the store; name another one");
        }
        let of = BESIDE.iter().find_map(|end| paths::without_end(self.file, end));
        if of.is_some_and(|store| is_database(&store)) {
            return Some("is a name that a database keeps for itself; name another file");
        }
        None
    }
}

/// What this program keeps beside a store: half-filled forms, columns for the ranking, stores in the making and replaced ones.
fn is_kept_beside(store: &Path, file: &Path) -> bool {
    let (Some(name), Some(own)) = (file.file_name(), store.file_name()) else { return false };
    let rest = name.as_encoded_bytes().strip_prefix(own.as_encoded_bytes());
    let ends = [".drafts", ".columns", ".loading-", ".replaced-"];
    rest.is_some_and(|r| ends.iter().any(|end| r.starts_with(end.as_bytes())))
        && paths::same(paths::folder_of(store), paths::folder_of(file))
}

fn is_database(path: &Path) -> bool {
    matches!(paths::marks(path), Ok(Marks::Sqlite { .. }))
}

/// A file beside its place that has not got its name. Dropped, it is gone.
#[derive(Debug)]
pub struct Pending {
    place: PathBuf,
    replace: bool,
    part: PathBuf,
    /// Locked as long as somebody means to finish it: what is not locked was left behind.
    file: File,
    synced: bool,
}

impl Pending {
    /// Begins an empty file beside its place.
    ///
    /// # Errors
    /// As [`Output::admit`]; or the folder cannot be written.
    pub fn begin(output: Output) -> Result<Self> {
        output.admit()?;
        let folder = paths::folder_of(output.file);
        sweep(folder);
        let (part, file) = fresh(folder).map_err(|e| cannot(output.file, &e))?;
        Ok(Self { place: output.file.to_path_buf(), replace: output.replace, part, file, synced: false })
    }

    /// Writes and syncs a file beside its place.
    ///
    /// # Errors
    /// As [`Output::admit`]; or it cannot be written whole.
    pub fn write(output: Output, bytes: &[u8]) -> Result<Self> {
        let mut made = Self::begin(output)?;
        made.file.write_all(bytes).map_err(|e| cannot(output.file, &e))?;
        made.sync()?;
        Ok(made)
    }

    /// Where the bytes go.
    pub fn file(&mut self) -> &mut File {
        self.synced = false;
        &mut self.file
    }

    /// Puts on the disk what was written.
    ///
    /// # Errors
    /// The disk is full or does not answer.
    pub fn sync(&mut self) -> Result<()> {
        self.file.sync_all().map_err(|e| cannot(&self.place, &e))?;
        self.synced = true;
        Ok(())
    }

    /// Gives the file its name.
    ///
    /// # Errors
    /// Another file has taken the name meanwhile, or the folder cannot be written.
    pub fn finish(mut self) -> Result<()> {
        if !self.synced {
            self.sync()?;
        }
        let failed = |e: std::io::Error| match e.kind() {
            ErrorKind::AlreadyExists => Error::input(format!(
                "{}: another file has taken this name meanwhile; it was left as it is",
                named(&self.place)
            )),
            _ => cannot(&self.place, &e),
        };
        match self.replace {
            true => std::fs::rename(&self.part, &self.place),
            false => paths::take_name(&self.part, &self.place),
        }
        .map_err(failed)?;
        paths::sync_folder(&self.place).map_err(failed)
    }
}

impl Drop for Pending {
    fn drop(&mut self) {
        // After a rename there is nothing of this name.
        let _ = std::fs::remove_file(&self.part);
    }
}

/// Writes a file in one step.
pub fn write(output: Output, bytes: &[u8]) -> Result<()> {
    Pending::write(output, bytes)?.finish()
}

const PART: &str = ".meltkin-part-";

/// A new file of a name that nobody can have prepared.
fn fresh(folder: &Path) -> std::io::Result<(PathBuf, File)> {
    for _ in 0..16 {
        let part = folder.join(format!("{PART}{:016x}", paths::chance()));
        let file = match OpenOptions::new().write(true).create_new(true).open(&part) {
            Err(e) if e.kind() == ErrorKind::AlreadyExists => continue,
            other => other?,
        };
        // Where there are no locks nothing is swept either.
        let _ = file.lock();
        // Somebody who sweeps may have come between.
        if part.exists() {
            return Ok((part, file));
        }
    }
    Err(ErrorKind::AlreadyExists.into())
}

/// Removes what programs that were stopped left behind: nobody holds its lock.
pub fn sweep(folder: &Path) {
    for entry in std::fs::read_dir(folder).into_iter().flatten().flatten() {
        let ours = entry.file_name().to_str().is_some_and(|n| n.starts_with(PART));
        if ours
            && entry.file_type().is_ok_and(|t| t.is_file())
            && File::open(entry.path()).is_ok_and(|f| f.try_lock().is_ok())
        {
            let _ = std::fs::remove_file(entry.path());
        }
    }
}

/// What is wrong with the name is the asker's to mend; the rest is the disk's.
fn is_usage(kind: ErrorKind) -> bool {
    matches!(
        kind,
        ErrorKind::NotFound
            | ErrorKind::NotADirectory
            | ErrorKind::IsADirectory
            | ErrorKind::InvalidFilename
            | ErrorKind::InvalidInput
    )
}

/// Why a file could not be written, and whose fault that is.
pub fn cannot(file: &Path, e: &std::io::Error) -> Error {
    let why = match e.kind() {
        ErrorKind::StorageFull => "the disk is full; nothing was written. Make room, then do it again".into(),
        ErrorKind::PermissionDenied => {
            "there is no right to write in this folder; nothing was written".into()
        }
        ErrorKind::FileTooLarge | ErrorKind::QuotaExceeded => {
            "a limit of this machine does not let it grow so large; nothing was written".into()
        }
        ErrorKind::ReadOnlyFilesystem => "the disk may only be read; nothing was written".into(),
        ErrorKind::InvalidFilename => {
            "the name is too long, or has letters that this disk does not take".into()
        }
        ErrorKind::NotFound => "the folder is not there; nothing was written".into(),
        _ => format!("cannot be written: {e}"),
    };
    let sentence = format!("{}: {why}", named(file));
    if is_usage(e.kind()) { Error::input(sentence) } else { Error::untrusted(sentence) }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn names(folder: &Path) -> Vec<String> {
        let mut all: Vec<String> = std::fs::read_dir(folder)
            .unwrap()
            .map(|e| e.unwrap().file_name().into_string().unwrap())
            .collect();
        all.sort();
        all
    }

    #[test]
    fn a_page_has_no_name_before_it_is_finished_and_leaves_nothing_if_it_never_is() {
        let folder = tempfile::TempDir::new().unwrap();
        let file = folder.path().join("page.html");
        let output = Output { file: &file, replace: false, store: None };
        let pending = Pending::write(output, b"whole").unwrap();
        assert!(!file.exists());
        pending.finish().unwrap();
        assert_eq!(std::fs::read(&file).unwrap(), b"whole");
        drop(Pending::write(Output { file: &folder.path().join("other"), ..output }, b"x").unwrap());
        assert_eq!(names(folder.path()), ["page.html"]);
    }

    #[test]
    fn a_name_that_is_taken_meanwhile_is_left() {
        let folder = tempfile::TempDir::new().unwrap();
        let file = folder.path().join("page.html");
        let output = Output { file: &file, replace: false, store: None };
        let pending = Pending::write(output, b"ours").unwrap();
        std::fs::write(&file, "theirs").unwrap();
        assert!(pending.finish().is_err_and(|e| e.is_input()));
        assert_eq!(std::fs::read(&file).unwrap(), b"theirs");
        assert_eq!(names(folder.path()), ["page.html"]);
    }

    #[test]
    fn what_a_stopped_program_left_is_swept_and_what_is_being_written_is_not() {
        let folder = tempfile::TempDir::new().unwrap();
        std::fs::write(folder.path().join(format!("{PART}0123456789abcdef")), "left").unwrap();
        let (one, two) = (folder.path().join("one"), folder.path().join("two"));
        let first = Pending::write(Output { file: &one, replace: false, store: None }, b"1").unwrap();
        Pending::write(Output { file: &two, replace: false, store: None }, b"2").unwrap().finish().unwrap();
        first.finish().unwrap();
        assert_eq!(names(folder.path()), ["one", "two"]);
    }
}
