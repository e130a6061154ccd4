//! What is recorded, and the one file that keeps it. Each kind of record is described once, in a table under
//! [`catalogue`]; forms, import and export, validation, parentage and the field reference are made from it.
//! Reading goes through [`read`] and [`graph`]; writing through one door, `write`, which checks, writes and
//! journals in one transaction. The only crate that knows SQLite.
//!
//! Whatever reads or writes the store fails where the file cannot be read or written; `# Errors` says what else.

#![allow(missing_docs, reason = "a comment that only repeats a name says nothing")]

pub mod catalogue;
pub mod check;
pub mod error;
pub mod exchange;
pub mod file;
pub mod graph;
pub mod read;
pub mod record;
pub mod value;
pub mod write;

pub use catalogue::field::{FieldInfo, Type};
pub use catalogue::kind;
pub use catalogue::kind::{Kind, Writer};
pub use error::{Error, ErrorKind, Hint, Result};
pub use file::clock::{CLOCK, SAID as CLOCK_SAID};
pub use file::open::Store;
pub use read::rows::{Link, UNTYPED};
pub use record::Record;
pub use value::Value;
pub use value::stamp::Stamp;
pub use write::batch::Act;
pub use write::pins::Proof;
pub use write::who::Who;
