//! Where a blade is.

/// The state of a blade, in the order in which it is decided.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Place {
    /// Sent out and not returned.
    Shipped,
    /// Came back, and quality has not decided since.
    Returned,
    /// Last disposition scrap.
    Scrapped,
    /// An open hold on it, its lot or anything upstream; or last disposition hold.
    Held,
    /// Last disposition concession.
    Concession,
    /// Last disposition accept.
    Accepted,
    /// No disposition, or rework or repair.
    InProcess,
}

impl Place {
    /// Every state, in order.
    pub const ALL: [Place; 7] = [
        Self::Shipped,
        Self::Returned,
        Self::Scrapped,
        Self::Held,
        Self::Concession,
        Self::Accepted,
        Self::InProcess,
    ];

    /// Decides the state. `sent`: the first two where they hold; none where it was never sent, or was
    /// decided on after its return.
    pub fn of(sent: Option<Self>, last_decision: Option<&str>, held: bool) -> Self {
        match last_decision {
            _ if sent.is_some() => sent.unwrap_or(Self::Shipped),
            Some("scrap") => Self::Scrapped,
            _ if held => Self::Held,
            Some("hold") => Self::Held,
            Some("concession") => Self::Concession,
            Some("accept") => Self::Accepted,
            _ => Self::InProcess,
        }
    }

    pub fn word(self) -> &'static str {
        match self {
            Self::Shipped => "shipped",
            Self::Returned => "returned",
            Self::Scrapped => "scrapped",
            Self::Held => "held",
            Self::Concession => "concession",
            Self::Accepted => "accepted",
            Self::InProcess => "in process",
        }
    }
}

#[cfg(test)]
mod tests {
    use super::Place;

    #[test]
    fn the_first_that_holds_decides() {
        let shipped = Some(Place::Shipped);
        assert_eq!(Place::of(shipped, Some("scrap"), true), Place::Shipped);
        assert_eq!(Place::of(Some(Place::Returned), Some("scrap"), true), Place::Returned);
        assert_eq!(Place::of(None, Some("scrap"), true), Place::Scrapped);
        assert_eq!(Place::of(None, Some("accept"), true), Place::Held);
        assert_eq!(Place::of(None, Some("hold"), false), Place::Held);
        assert_eq!(Place::of(None, Some("rework"), false), Place::InProcess);
        assert_eq!(Place::of(None, None, false), Place::InProcess);
    }
}
