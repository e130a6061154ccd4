//! The store: one SQLite file. The only module that knows rusqlite.
//!
//! Reading goes through the queries below; writing through one door ([`door`] for a single record,
//! [`bulk`] for files), which validates, writes and journals in one transaction.
#![allow(clippy::disallowed_types, reason = "this is the module that may talk to SQLite")]

mod about;
mod amend;
mod answers;
pub mod authority;
pub mod backup;
pub mod bulk;
pub mod clock;
mod concession_rules;
pub mod concessions;
pub mod door;
pub mod error;
pub mod evidence;
mod export_order;
pub mod files;
pub mod fit;
mod given;
mod guard;
mod ids;
mod indexes;
pub mod journal;
pub mod keys;
mod known;
pub mod limits;
pub mod lineage;
pub mod lots;
mod making;
mod names;
pub mod narrow;
mod odd_tags;
pub mod open;
pub mod outcomes;
pub mod output;
pub mod overview;
mod pages;
mod persons;
pub mod pins;
pub mod places;
pub mod proposals;
mod qualified;
pub mod read;
mod relabel;
pub mod release_basis;
mod relief;
mod resolve;
pub mod restore;
mod rows;
mod schema_check;
mod seal;
pub mod several;
mod shape;
pub mod sheet;
pub mod shipping;
pub mod signing;
mod stood;
pub mod suspect;
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
