//! Who writes.

use crate::value::stamp::Stamp;
use crate::value::time_text::{Clock, TimeZone};

/// Who writes, and when. The clock and the person come from outside.
#[derive(Clone, Debug)]
pub struct Who {
    /// The person's tag, as claimed; blank where nobody said.
    pub person: Option<String>,
    pub now: Stamp,
    /// How the place keeps its time, where that is known: for times that are written without an offset.
    pub zone: TimeZone,
    /// `now` was given in place of a running clock; this is what the machine's own clock says.
    pub given: Option<Stamp>,
    /// The PIN that was given and found right.
    pub proof: Option<crate::write::pins::Proof>,
    /// Somebody sits there who is asked for a PIN where one is needed: that it was not given yet is no refusal.
    pub asks: bool,
}

impl Who {
    /// A person, as claimed, at a time of a running clock, without a PIN.
    pub fn new(person: Option<String>, now: Stamp) -> Self {
        Self { person, now, zone: TimeZone::default(), given: None, proof: None, asks: false }
    }

    /// The clock by which times as people write them are read.
    pub fn clock(&self) -> Clock {
        Clock { now: self.now, zone: self.zone }
    }
}
