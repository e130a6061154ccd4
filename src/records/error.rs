//! What can go wrong with the store, in the ways that matter to the caller.

use std::borrow::Cow;
use std::fmt;

use crate::exchange::unread::SheetHint;

/// An error of the store, as data: what it is, whose fault, what would help. The face that shows it phrases the hints:
/// the command line names options, a screen its keys.
#[derive(Clone, Debug, PartialEq)]
pub struct Error {
    /// In which of the ways that matter to the caller.
    pub kind: ErrorKind,
    /// What is wrong, where, and why, in words.
    pub sentence: String,
    /// The field that is at fault, where it is one.
    pub field: Option<Cow<'static, str>>,
    /// What would help.
    pub hints: Vec<Hint>,
}

/// The ways that matter to the caller.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum ErrorKind {
    /// The file cannot be opened or written as it stands.
    Untrusted,
    /// The file is damaged, or is no store at all.
    Damaged,
    /// The input is at fault; nothing was written.
    Input,
    /// The person may not do this; nothing was written but the refusal. The roles that may, or what is missing.
    Refused(Vec<&'static str>),
}

/// What would help, as data.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Hint {
    /// Say why.
    Reason,
    /// It looks wrong; if it is right, say why.
    ReasonIfRight,
    /// Say who you are.
    Person,
    /// The person's PIN.
    Pin,
    /// This person sets a PIN first.
    SetPin(String),
    /// What a tag that is not recorded yet needs.
    Ahead,
    /// To go back to an older copy all the same.
    Older,
    /// To look at this copy, restore it in another place.
    Elsewhere(String),
    /// Which kind of record a file holds; or take it over by a mapping.
    NameKind,
    /// A mapping is made first.
    MakeMapping,
    /// The record at this address can be corrected.
    Correct(String),
    /// This field of the record at this address is emptied first.
    EmptyFirst(String, &'static str),
    /// What would help with a shop's own sheet.
    Sheet(SheetHint),
    /// A new label is a re-tag: from this tag to that.
    Retag(String, String),
}

/// Result with the store's error.
pub type Result<T> = std::result::Result<T, Error>;

impl fmt::Display for Error {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.sentence)
    }
}

impl std::error::Error for Error {}

impl Error {
    fn new(kind: ErrorKind, sentence: impl Into<String>) -> Self {
        Self { kind, sentence: sentence.into(), field: None, hints: Vec::new() }
    }

    /// The input is at fault.
    pub fn input(sentence: impl Into<String>) -> Self {
        Self::new(ErrorKind::Input, sentence)
    }

    /// The file cannot be opened, written or trusted.
    pub fn untrusted(sentence: impl Into<String>) -> Self {
        Self::new(ErrorKind::Untrusted, sentence)
    }

    /// The file is damaged, or is no store at all.
    pub fn damaged(sentence: impl Into<String>) -> Self {
        Self::new(ErrorKind::Damaged, sentence)
    }

    /// The person may not do this; these roles may, or this is missing.
    pub fn refused(sentence: impl Into<String>, needs: Vec<&'static str>) -> Self {
        Self::new(ErrorKind::Refused(needs), sentence)
    }

    /// The same, with what would help.
    pub fn hint(mut self, hint: Hint) -> Self {
        self.hints.push(hint);
        self
    }

    /// The same, of a field.
    pub fn at(mut self, field: impl Into<Cow<'static, str>>) -> Self {
        self.field = Some(field.into());
        self
    }

    /// The same, with another sentence.
    pub fn said(mut self, sentence: impl Into<String>) -> Self {
        self.sentence = sentence.into();
        self
    }

    /// The input is at fault.
    pub fn is_input(&self) -> bool {
        self.kind == ErrorKind::Input
    }

    /// The person may not do this.
    pub fn is_refused(&self) -> bool {
        matches!(self.kind, ErrorKind::Refused(_))
    }

    /// The file is at fault.
    pub fn is_untrusted(&self) -> bool {
        matches!(self.kind, ErrorKind::Untrusted | ErrorKind::Damaged)
    }

    /// Nothing but the person's PIN is missing.
    pub fn wants_pin(&self) -> bool {
        matches!(&self.kind, ErrorKind::Refused(needs) if needs.as_slice() == [crate::write::pins::PIN])
    }
}

impl From<rusqlite::Error> for Error {
    fn from(e: rusqlite::Error) -> Self {
        use rusqlite::ErrorCode as Code;
        let damaged = matches!(e.sqlite_error_code(), Some(Code::DatabaseCorrupt | Code::NotADatabase));
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
            Some(Code::NotADatabase) => "the file is not a SQLite file".into(),
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
        if damaged { Self::damaged(what) } else { Self::untrusted(what) }
    }
}
