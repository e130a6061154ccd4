//! Suspect and overdue readings: worked out at reading from the checks of an instrument, never stored.
//!
//! [`checks`] holds the rules and knows no store; `sources` says, from the catalogue, which records
//! are readings and what they stand on; `windows` reads when instruments were in doubt; `readings`
//! goes from an instrument to its readings, `doubt` from a record to the readings on it. For a few
//! blades it is cheaper to ask upwards than to look at all that stands behind every suspect reading.

pub mod checks;
pub(crate) mod doubt;
pub(crate) mod readings;
pub(crate) mod sources;
pub(crate) mod windows;

pub use crate::graph::suspect::checks::{Check, Checks, Span};
pub use crate::graph::suspect::doubt::Doubt;
pub use crate::graph::suspect::readings::{Reading, Suspected};

pub(crate) use crate::graph::suspect::doubt::doubts;
pub(crate) use crate::graph::suspect::readings::{of_instrument, starts};
pub use crate::graph::suspect::sources::stands_on;

use rusqlite::Connection;

use crate::Stamp;
use crate::Store;
use crate::catalogue::Instruments;
use crate::error::Result;
use crate::read::tags::Tags;

/// The queries behind these answers, for the test that reads their plans.
pub fn queries() -> Vec<String> {
    windows::QUERIES.iter().map(ToString::to_string).chain(sources::queries()).collect()
}

/// The checks of an instrument that were done. An instrument that nobody knows has none.
pub(crate) fn checks_of(db: &Connection, instrument: &str) -> Result<Checks> {
    match Tags::new(db)?.find(instrument, &[Instruments::NAME])? {
        Some((link, _)) => windows::checks(db, link.id),
        None => Ok(Checks::default()),
    }
}

impl Store {
    /// The checks of an instrument that were done. An instrument that nobody knows has none.
    pub fn checks_of(&self, instrument: &str) -> Result<Checks> {
        checks_of(&self.db, instrument)
    }

    /// The last check of each instrument that has one, up to a time.
    pub fn last_checks(&self, now: Stamp) -> Result<Vec<(String, checks::Check)>> {
        let mut q = self.db.prepare("SELECT id, instrument FROM instruments ORDER BY id")?;
        let all = q.query_map([], |r| Ok((r.get::<_, i64>(0)?, r.get::<_, String>(1)?)))?;
        let mut out = Vec::new();
        for instrument in all {
            let (id, tag) = instrument?;
            out.extend(windows::checks(&self.db, id)?.last(now).map(|last| (tag, *last)));
        }
        Ok(out)
    }

    /// Instruments whose check is overdue at a time, or whose last one failed.
    pub fn checks_due(&self, now: Stamp) -> Result<Vec<String>> {
        let mut out = Vec::new();
        for (tag, last) in self.last_checks(now)? {
            if last.failed {
                out.push(format!("{tag} failed its last check"));
            } else if let Some(due) = last.due.filter(|due| due.ms() < now.ms()) {
                out.push(format!("{tag} overdue since {due}"));
            }
        }
        Ok(out)
    }
}
