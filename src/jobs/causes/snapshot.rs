//! The columns kept beside the store, so that the next question need not read a decade of records again.
//!
//! The file is made anew when a record was written since (the head of the journal differs) or the program
//! differs; what cannot be read whole is passed over, and what cannot be written is not kept. It holds
//! nothing that the store does not.

use std::fs;
use std::io::{Read, Write};
use std::path::{Path, PathBuf};

use serde::{Deserialize, Serialize};
use sha2::{Digest, Sha256};

use crate::jobs::causes::foundry;
use crate::jobs::causes::foundry::Foundry;
use records::file::paths::{chance, open_plain};
use records::{Result, Store};

/// Fewer moulds than this are read as quickly as a file.
const WORTH_KEEPING: usize = 2_000;

/// What the columns were made from, and by what.
#[derive(PartialEq, Eq, Serialize, Deserialize)]
struct MadeFrom {
    program: String,
    head: String,
}

/// The columns of a store: from the file beside it where that is still true, else read anew.
pub fn columns(store: &Store) -> Result<Foundry> {
    let made = MadeFrom { program: program(), head: store.head()?.1 };
    let place = place(store.path());
    if let Some(known) = read(&place, &made) {
        return Ok(known);
    }
    let mut foundry = foundry::read(store)?;
    // A folder that cannot be written costs time, not the answer.
    if foundry.moulds.len() < WORTH_KEEPING || write(&place, &made, &mut foundry).is_err() {
        return Ok(foundry);
    }
    // What was made from a decade of tables lies scattered over the memory that they took: it is let go
    // whole, and read again in one piece.
    drop(foundry);
    store.shrink()?;
    match read(&place, &made) {
        Some(known) => Ok(known),
        None => foundry::read(store),
    }
}

/// Another build may lay the columns out otherwise.
fn program() -> String {
    let build = std::env::current_exe().and_then(fs::metadata).ok();
    let when =
        build.and_then(|m| m.modified().ok()).and_then(|t| t.duration_since(std::time::UNIX_EPOCH).ok());
    format!("{} {}", env!("CARGO_PKG_VERSION"), when.map_or(0, |t| t.as_nanos()))
}

fn place(store: &Path) -> PathBuf {
    let mut name = store.as_os_str().to_owned();
    name.push(".columns");
    name.into()
}

// The file: what it was made from, the moulds and blades, since when columns about blades hold, the
// columns one by one; each with its length before it. At the end the SHA-256 of all that. Part by part,
// so that a decade is not held twice.

/// Longer than any part of a file of ours.
const LONGEST: u64 = 1 << 30;

struct FileParts<F> {
    file: F,
    hash: Sha256,
    part: Vec<u8>,
}

impl<F> FileParts<F> {
    fn of(file: F) -> Self {
        Self { file, hash: Sha256::new(), part: Vec::new() }
    }
}

impl<F: Read> FileParts<F> {
    fn next<T: serde::de::DeserializeOwned>(&mut self) -> Option<T> {
        let mut length = [0; 8];
        self.file.read_exact(&mut length).ok()?;
        let n = Some(u64::from_le_bytes(length)).filter(|n| *n <= LONGEST)?;
        self.part.clear();
        self.file.by_ref().take(n).read_to_end(&mut self.part).ok()?;
        self.hash.update(length);
        self.hash.update(&self.part);
        postcard::from_bytes(&self.part).ok()
    }

    fn ends_well(self) -> bool {
        let mut seal = Vec::new();
        self.file.take(64).read_to_end(&mut seal).is_ok() && self.hash.finalize().as_slice() == seal
    }
}

impl<F: Write> FileParts<F> {
    fn put<T: Serialize>(&mut self, value: &T) -> std::io::Result<()> {
        self.part.clear();
        let part = std::mem::take(&mut self.part);
        self.part = postcard::to_extend(value, part).map_err(|e| std::io::Error::other(e.to_string()))?;
        let length = (self.part.len() as u64).to_le_bytes();
        for bytes in [&length, self.part.as_slice()] {
            self.hash.update(bytes);
            self.file.write_all(bytes)?;
        }
        Ok(())
    }
}

fn read(place: &Path, wanted: &MadeFrom) -> Option<Foundry> {
    let mut parts = FileParts::of(open_plain(place).ok()?);
    if parts.next::<MadeFrom>()? != *wanted {
        return None;
    }
    let mut foundry: Foundry = parts.next()?;
    let (since, columns): (u32, u32) = parts.next()?;
    for _ in 0..since {
        foundry.since.push(parts.next()?);
    }
    for _ in 0..columns {
        foundry.columns.push(parts.next()?);
    }
    parts.ends_well().then_some(foundry)
}

fn write(place: &Path, made: &MadeFrom, foundry: &mut Foundry) -> std::io::Result<()> {
    let mut part = place.as_os_str().to_owned();
    part.push(format!(".{}-{:016x}", std::process::id(), chance()));
    let part = PathBuf::from(part);
    let (since, columns) = (std::mem::take(&mut foundry.since), std::mem::take(&mut foundry.columns));
    let written = fs::File::create_new(&part).and_then(|file| {
        let mut parts = FileParts::of(file);
        parts.put(made)?;
        parts.put(&*foundry)?;
        parts.put(&(since.len() as u32, columns.len() as u32))?;
        since.iter().try_for_each(|one| parts.put(one))?;
        columns.iter().try_for_each(|one| parts.put(one))?;
        parts.file.write_all(&parts.hash.finalize())
    });
    (foundry.since, foundry.columns) = (since, columns);
    match written.and_then(|()| fs::rename(&part, place)) {
        Ok(()) => Ok(()),
        Err(fault) => {
            let _ = fs::remove_file(&part);
            Err(fault)
        }
    }
}
