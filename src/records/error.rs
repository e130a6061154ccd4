//! What can go wrong with the store, in the four ways that matter to the caller.

use std::fmt;

/// An error of the store.
#[derive(Debug)]
pub enum Error {
    /// The file cannot be opened, written or trusted.
    Untrusted(String),
    /// The input is at fault; nothing was written.
    Input(String),
    /// The person may not do this; nothing was written but the refusal.
    Refused {
        /// The sentence.
        sentence: String,
        /// Roles that may.
        needs: Vec<&'static str>,
    },
}

/// Result with the store's error.
pub type Result<T> = std::result::Result<T, Error>;

impl fmt::Display for Error {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Untrusted(s) | Self::Input(s) => f.write_str(s),
            Self::Refused { sentence, .. } => f.write_str(sentence),
        }
    }
}

impl std::error::Error for Error {}

impl Error {
    /// The input is at fault.
    pub fn input(sentence: impl Into<String>) -> Self {
        Self::Input(sentence.into())
    }

    /// Nothing but the person's PIN is missing.
    #[must_use]
    pub fn wants_pin(&self) -> bool {
        matches!(self, Self::Refused { needs, .. } if needs.as_slice() == [crate::write::pins::PIN])
    }
}

impl From<rusqlite::Error> for Error {
    fn from(e: rusqlite::Error) -> Self {
        use rusqlite::ErrorCode as Code;
        let what = match e.sqlite_error_code() {
            Some(Code::DiskFull) => {
                "the disk is full; nothing was written. Make room, then do it again".into()
            }
            Some(Code::ReadOnly) => {
                "the store is read-only here; nothing was written. Check the file's and folder's permissions"
                    .into()
            }
            Some(Code::DatabaseBusy | Code::DatabaseLocked) => {
                "another program has been writing to the store for too long; nothing was written. Do it again"
                    .into()
            }
            Some(Code::DatabaseCorrupt) => {
                format!(
                    "the file is damaged ({e}); nothing was written. Restore a backup: meltkin restore FILE"
                )
            }
            // A store that may only be read is not migrated; else somebody took the table away.
            _ if e.to_string().starts_with("no such table") => format!(
                "the file has not every table ({e}). Was it written by an older meltkin and may only be read here? Then open \
                 it once where it may be written; else meltkin verify names what is wrong"
            ),
            Some(Code::NotADatabase) => "the file is no SQLite file".into(),
            Some(Code::CannotOpen) => format!("the file cannot be opened ({e})"),
            Some(Code::FileLockingProtocolFailed) => {
                "the locks of the file do not work; nothing was written. Keep the store on a disk of this machine, \
                 not in a network folder"
                    .into()
            }
            Some(Code::OutOfMemory) => {
                "memory ran out; nothing was written. Close other programs, then do it again".into()
            }
            Some(Code::SystemIoFailure) => format!("the disk does not answer ({e}); nothing was written"),
            _ => format!("the store: {e}"),
        };
        Self::Untrusted(what)
    }
}
