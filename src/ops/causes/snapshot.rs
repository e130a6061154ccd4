//! The columns kept beside the store, so that the next question need not read a decade of records again.
//!
//! The file is made anew when a record was written since (the head of the journal differs) or the program
//! differs; what cannot be read whole is passed over, and what cannot be written is not kept. It holds
//! nothing that the store does not.

use std::fs;
use std::io::Write;
use std::path::{Path, PathBuf};

use serde::{Deserialize, Serialize};
use sha2::{Digest, Sha256};

use super::foundry::{self, Foundry};
use crate::ops::{Result, Store};

/// Fewer moulds than this are read as quickly as a file.
const WORTH_KEEPING: usize = 2_000;

/// What the columns were made from, and by what.
#[derive(PartialEq, Eq, Serialize, Deserialize)]
struct Made {
    program: String,
    head: String,
}

/// The columns of a store: from the file beside it where that is still true, else read anew.
///
/// # Errors
/// The store cannot be read.
pub fn columns(store: &Store) -> Result<Foundry> {
    let made = Made { program: program(), head: store.head()?.1 };
    let place = place(store.path());
    if let Some(known) = read(&place, &made) {
        return Ok(known);
    }
    let foundry = foundry::read(store)?;
    if foundry.moulds.len() >= WORTH_KEEPING {
        // A folder that cannot be written costs time, not the answer.
        let _ = write(&place, &made, &foundry);
    }
    Ok(foundry)
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

/// The file: SHA-256 of the rest, what it was made from, the columns.
fn read(place: &Path, wanted: &Made) -> Option<Foundry> {
    let bytes = fs::read(place).ok()?;
    let (seal, rest) = bytes.split_at_checked(32)?;
    let (made, rest_of) = postcard::take_from_bytes::<Made>(rest).ok()?;
    if made != *wanted || Sha256::digest(rest).as_slice() != seal {
        return None;
    }
    postcard::from_bytes(rest_of).ok()
}

fn write(place: &Path, made: &Made, foundry: &Foundry) -> std::io::Result<()> {
    let fault = |e: postcard::Error| std::io::Error::other(e.to_string());
    let mut rest = postcard::to_stdvec(made).map_err(fault)?;
    rest = postcard::to_extend(foundry, rest).map_err(fault)?;
    let mut part = place.as_os_str().to_owned();
    part.push(format!(".{}", std::process::id()));
    let part = PathBuf::from(part);
    let written = fs::File::create(&part).and_then(|mut file| {
        file.write_all(&Sha256::digest(&rest))?;
        file.write_all(&rest)
    });
    match written.and_then(|()| fs::rename(&part, place)) {
        Ok(()) => Ok(()),
        Err(fault) => {
            let _ = fs::remove_file(&part);
            Err(fault)
        }
    }
}
