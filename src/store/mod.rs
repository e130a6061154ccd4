//! The store: one SQLite file. The only module that knows rusqlite.
//!
//! Reading goes through the queries below; writing through one door ([`door`] for a single record,
//! [`bulk`] for files), which validates, writes and journals in one transaction.
#![allow(clippy::disallowed_types, reason = "this is the module that may talk to SQLite")]

mod amend;
mod answers;
pub mod authority;
pub mod backup;
pub mod behind;
pub mod bulk;
pub mod clock;
pub mod door;
pub mod doubt;
pub mod error;
pub mod evidence;
mod export_order;
mod guard;
mod ids;
mod indexes;
pub mod journal;
pub mod keys;
pub mod limits;
pub mod lineage;
pub mod lots;
mod names;
pub mod narrow;
pub mod open;
pub mod outcomes;
pub mod overview;
mod pages;
pub mod pins;
pub mod places;
pub mod proposals;
pub mod read;
mod relief;
mod resolve;
mod rows;
mod seal;
pub mod several;
mod shape;
pub mod sheet;
pub mod suspects;
pub mod tags;
pub mod together;
mod upgrade;
pub mod verify;

pub use error::{Error, Result};
pub use open::Store;
pub use rows::{Link, UNTYPED};
pub use several::Act;

use crate::domain::Stamp;

/// Who writes, and when. The clock and the person come from outside.
#[derive(Clone, Debug)]
pub struct Who {
    /// The person's tag, as claimed; blank where nobody said.
    pub person: Option<String>,
    /// Now.
    pub now: Stamp,
    /// `now` was given in place of a running clock; this is what the machine's own clock says.
    pub given: Option<Stamp>,
    /// The PIN that was given and found right.
    pub proof: Option<pins::Proof>,
    /// Somebody sits there who is asked for a PIN where one is needed: that it was not given yet is no refusal.
    pub asks: bool,
}

impl Who {
    /// A person, as claimed, at a time of a running clock, without a PIN.
    #[must_use]
    pub fn new(person: Option<String>, now: Stamp) -> Self {
        Self { person, now, given: None, proof: None, asks: false }
    }
}
