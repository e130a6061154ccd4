//! Is this file a store of ours? Told from its first bytes, and from the log beside it, before SQLite is let near it: what is
//! not ours is not changed by a bit.

use std::fs::File;
use std::io::{ErrorKind, Read, Seek, SeekFrom};
use std::path::Path;

use crate::error::{Error, Result};
use crate::file::open::MIGRATIONS;
use crate::file::paths;
use crate::file::paths::{APPLICATION_ID, Marks, named, with_end};

/// The newest schema that this program knows.
pub const NEWEST: i32 = MIGRATIONS.len() as i32;

/// A larger log beside a store is left for SQLite to read: looking through it would take longer than most answers.
const LONGEST_LOG: u64 = 8 << 20;

/// Why a SQLite file with these marks is none of ours, if it is none.
pub fn not_ours(application: i32, version: i32) -> Option<String> {
    if application != APPLICATION_ID || version < 1 {
        return Some("is a SQLite file of another program, not a meltkin store; it was left as it is".into());
    }
    (version > NEWEST).then(|| {
        format!(
            "was written by a newer meltkin (schema {version}, this one knows {NEWEST}); it was left as it is"
        )
    })
}

/// Says whether a store of ours stands there, without touching it.
///
/// # Errors
/// There is nothing, or something else: in words.
pub fn ours(path: &Path) -> Result<()> {
    let no = |why: &str| Err(Error::untrusted(format!("{}: {why}", named(path))));
    let found = match std::fs::metadata(path) {
        Ok(found) => found,
        Err(_) if std::fs::symlink_metadata(path).is_ok_and(|m| m.is_symlink()) => {
            return no("is a link that leads to no file, not a meltkin store; it was left as it is");
        }
        Err(e) if matches!(e.kind(), ErrorKind::NotFound | ErrorKind::NotADirectory) => {
            return no("there is no store. Make one with `meltkin new` or `meltkin import FOLDER`");
        }
        Err(e) => return no(&format!("cannot be looked at: {e}")),
    };
    if let Some(what) = paths::odd(found.file_type()) {
        return no(&format!("is {what}, not a meltkin store; it was left as it is"));
    }
    match paths::marks(path) {
        Ok(Marks::Empty) => no("is empty, not a meltkin store; it was left as it is"),
        Ok(Marks::Other) => no("not a SQLite file, so not a meltkin store; it was left as it is"),
        Ok(Marks::Sqlite { application, version }) => {
            let (application, version) =
                in_the_log(path, application == APPLICATION_ID).unwrap_or((application, version));
            not_ours(application, version).map_or(Ok(()), |why| no(&why))
        }
        Err(e) => no(&format!("cannot be read: {e}")),
    }
}

/// The marks in the log beside a file, where the last transaction in it wrote the first page. `marked`: the file itself has
/// ours. Checksums of the log are SQLite's to check when it reads it.
fn in_the_log(path: &Path, marked: bool) -> Option<(i32, i32)> {
    let mut log = paths::open_plain(&with_end(path, "-wal")).ok()?;
    if marked && log.metadata().ok()?.len() > LONGEST_LOG {
        return None;
    }
    let head: [u8; 32] = exactly(&mut log)?;
    let number = |bytes: &[u8], at: usize| {
        bytes.get(at..at + 4).and_then(|b| b.try_into().ok()).map(u32::from_be_bytes)
    };
    let page = number(&head, 8).filter(|p| p.is_power_of_two() && (512..=65_536).contains(p))?;
    if number(&head, 0)? | 1 != 0x377f_0683 {
        return None;
    }
    let (mut written, mut committed) = (None, None);
    // Frames of an earlier round of the log carry other salts.
    while let Some(frame) = exactly::<24>(&mut log).filter(|f| f[8..16] == head[16..24]) {
        let mut skip = i64::from(page);
        if number(&frame, 0) == Some(1) {
            let first: [u8; 100] = exactly(&mut log)?;
            written = number(&first, 68).zip(number(&first, 60));
            skip -= 100;
        }
        if number(&frame, 4).is_some_and(|pages| pages > 0) {
            committed = written.or(committed);
        }
        log.seek(SeekFrom::Current(skip)).ok()?;
    }
    committed.map(|(application, version)| (application.cast_signed(), version.cast_signed()))
}

fn exactly<const N: usize>(file: &mut File) -> Option<[u8; N]> {
    let mut out = [0; N];
    file.read_exact(&mut out).ok().map(|()| out)
}
