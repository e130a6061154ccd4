//! The catalogue of record kinds and the values in them. Imports nothing of ours.
//!
//! Each kind is described once, in one of the tables under `catalogue/`. Forms, import and export,
//! `log`, validation, genealogy edges, candidate causes and the field reference are made from it.

pub mod catalogue;
pub mod check;
pub mod content;
pub mod decimal;
pub mod field;
pub mod guide;
pub mod kind;
pub mod limit;
pub mod own_time;
pub mod place;
pub mod record;
pub mod stamp;
pub mod starter;
pub mod tag;
pub mod unseen;
pub mod value;
pub mod words;

pub use catalogue::kind;
pub use field::{Field, Type};
pub use kind::{Kind, Writer};
pub use record::Record;
pub use stamp::Stamp;
pub use value::Value;
