//! What stands at a path, told before anything is opened as a database or read to its end: a pipe would
//! never answer, a device never end, and a file of another program must not be touched.

use std::fs::{File, FileType};
use std::io::{ErrorKind, Read};
use std::path::{Path, PathBuf};
use std::sync::{Mutex, MutexGuard, PoisonError};

use crate::value::tag::shown;

/// "mkin": says that a SQLite file is a meltkin store.
pub const APPLICATION_ID: i32 = 0x6d6b_696e;

/// The first bytes of every SQLite file.
const MAGIC: &[u8; 16] = b"SQLite format 3\0";

/// A path as it may stand in a sentence or in JSON: what is no text, and what nobody sees, escaped.
pub fn named(path: &Path) -> String {
    let mut out = String::new();
    for chunk in path.as_os_str().as_encoded_bytes().utf8_chunks() {
        out.push_str(&shown(chunk.valid()));
        chunk.invalid().iter().for_each(|b| out.push_str(&format!("\\x{b:02x}")));
    }
    out
}

/// In words, what is no plain file.
pub fn odd(what: FileType) -> Option<&'static str> {
    if what.is_file() {
        return None;
    }
    #[cfg(unix)]
    {
        use std::os::unix::fs::FileTypeExt;
        if what.is_fifo() {
            return Some("a pipe");
        }
        if what.is_socket() {
            return Some("a socket");
        }
        if what.is_char_device() || what.is_block_device() {
            return Some("a device");
        }
    }
    Some(if what.is_dir() { "a folder" } else { "no plain file" })
}

/// Opens a plain file to read it; anything else is named without being opened.
///
/// # Errors
/// It cannot be opened, or is a folder, a pipe, a socket or a device.
pub fn open_plain(path: &Path) -> std::io::Result<File> {
    if let Some(what) = odd(std::fs::metadata(path)?.file_type()) {
        return Err(refusal(what));
    }
    // Held until the file is open: nobody takes it as a store in between.
    let held = held();
    if numbers(path).is_some_and(|n| held.contains(&n)) {
        return Err(std::io::Error::other("is the store itself; another file belongs here"));
    }
    let file = File::open(path)?;
    match odd(file.metadata()?.file_type()) {
        Some(what) => Err(refusal(what)),
        None => Ok(file),
    }
}

fn refusal(what: &str) -> std::io::Error {
    std::io::Error::other(format!("is {what}; a plain file belongs here"))
}

/// The stores that this process has open. A file's locks go with the first handle to it that the process closes, whoever
/// took them: such a file is opened by SQLite alone, which knows that.
static OPEN: Mutex<Vec<(u64, u64)>> = Mutex::new(Vec::new());

fn held() -> MutexGuard<'static, Vec<(u64, u64)>> {
    OPEN.lock().unwrap_or_else(PoisonError::into_inner)
}

/// Says, as long as it lives, that a file is open as a store. Made before SQLite opens it, dropped after.
#[derive(Debug)]
pub(crate) struct Open(Option<(u64, u64)>);

impl Open {
    /// Of the file at a path.
    pub(crate) fn at(path: &Path) -> Self {
        let mut held = held();
        let numbers = numbers(path);
        held.extend(numbers);
        Self(numbers)
    }
}

impl Drop for Open {
    fn drop(&mut self) {
        let mut held = held();
        if let Some(at) = self.0.and_then(|own| held.iter().position(|n| *n == own)) {
            held.swap_remove(at);
        }
    }
}

/// What the first bytes of a file say.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Marks {
    /// There are none: the file is empty.
    Empty,
    /// It is no SQLite file.
    Other,
    /// A SQLite file, with the marks that its program put into it.
    Sqlite {
        /// Of which program it is.
        application: i32,
        /// The version of its schema.
        version: i32,
    },
}

/// Reads the marks of a plain file, and nothing else of it. A newer header may stand in the log beside it.
pub fn marks(path: &Path) -> std::io::Result<Marks> {
    let held = held();
    if numbers(path).is_some_and(|n| held.contains(&n)) {
        return Ok(Marks::Sqlite { application: APPLICATION_ID, version: 1 });
    }
    if let Some(what) = odd(std::fs::metadata(path)?.file_type()) {
        return Err(refusal(what));
    }
    let mut head = Vec::with_capacity(100);
    File::open(path)?.take(100).read_to_end(&mut head)?;
    drop(held);
    let number = |at: usize| {
        let bytes = head.get(at..at + 4).and_then(|b| b.try_into().ok());
        bytes.map_or(0, i32::from_be_bytes)
    };
    Ok(match head.len() {
        0 => Marks::Empty,
        100 if head.starts_with(MAGIC) => Marks::Sqlite { application: number(68), version: number(60) },
        _ => Marks::Other,
    })
}

/// A path with letters put behind its name.
pub fn with_end(path: &Path, end: &str) -> PathBuf {
    let mut name = path.as_os_str().to_owned();
    name.push(end);
    name.into()
}

/// The path before these letters, where its name ends in them.
pub fn without_end(path: &Path, end: &str) -> Option<PathBuf> {
    let name = path.file_name()?.as_encoded_bytes();
    let before = name.strip_suffix(end.as_bytes()).filter(|b| !b.is_empty())?;
    #[cfg(unix)]
    {
        use std::os::unix::ffi::OsStrExt;
        Some(path.with_file_name(std::ffi::OsStr::from_bytes(before)))
    }
    #[cfg(not(unix))]
    {
        Some(path.with_file_name(std::str::from_utf8(before).ok()?))
    }
}

/// What SQLite keeps beside a store.
pub const BESIDE: &[&str] = &["-wal", "-shm", "-journal"];

/// Both paths lead to one file, by whatever names.
pub fn same(a: &Path, b: &Path) -> bool {
    let both = |f: fn(&Path) -> Option<PathBuf>| f(a).is_some_and(|a| f(b).is_some_and(|b| a == b));
    both(whole) || numbers(a).is_some_and(|a| numbers(b) == Some(a))
}

/// The path without links and detours; its last part need not be there.
fn whole(path: &Path) -> Option<PathBuf> {
    if let Ok(full) = path.canonicalize() {
        return Some(full);
    }
    let folder = path.parent().filter(|f| !f.as_os_str().is_empty()).unwrap_or(Path::new("."));
    Some(folder.canonicalize().ok()?.join(path.file_name()?))
}

/// Device and number of a file: the same for all its hard links.
#[cfg(unix)]
fn numbers(path: &Path) -> Option<(u64, u64)> {
    use std::os::unix::fs::MetadataExt;
    std::fs::metadata(path).ok().map(|m| (m.dev(), m.ino()))
}

#[cfg(not(unix))]
fn numbers(_: &Path) -> Option<(u64, u64)> {
    None
}

/// Gives a file another name, unless there is one of that name: a rename would replace it.
///
/// # Errors
/// The name is taken, or the folder cannot be written.
pub fn take_name(part: &Path, place: &Path) -> std::io::Result<()> {
    match std::fs::hard_link(part, place) {
        Ok(()) => {
            let _ = std::fs::remove_file(part);
            Ok(())
        }
        // Not every file system has links: the name is taken first, and what stands there is our own.
        Err(e)
            if matches!(
                e.kind(),
                ErrorKind::PermissionDenied | ErrorKind::Unsupported | ErrorKind::TooManyLinks
            ) =>
        {
            File::options().write(true).create_new(true).open(place)?;
            std::fs::rename(part, place).inspect_err(|_| {
                let _ = std::fs::remove_file(place);
            })
        }
        Err(e) => Err(e),
    }
}

/// A number that nobody guesses beforehand, for names of files that are not finished.
pub fn chance() -> u64 {
    use std::hash::{BuildHasher, Hasher};
    std::hash::RandomState::new().build_hasher().finish()
}

/// A new name is on the disk once its folder is.
///
/// # Errors
/// The disk is full or does not answer. That a file system cannot sync a folder is none.
pub fn sync_folder(path: &Path) -> std::io::Result<()> {
    match File::open(folder_of(path)).and_then(|f| f.sync_all()) {
        // Not every file system can sync a folder; an error of the disk, and a full one, count.
        Err(e) if !matches!(e.raw_os_error(), Some(5 | 28)) => Ok(()),
        other => other,
    }
}

/// The folder that a path stands in.
pub fn folder_of(path: &Path) -> &Path {
    path.parent().filter(|f| !f.as_os_str().is_empty()).unwrap_or(Path::new("."))
}
