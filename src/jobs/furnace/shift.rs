//! What the next shift must know.

use serde::Serialize;

use crate::jobs::furnace::clocks::minutes;
use crate::jobs::records::look::hold_line;
use crate::jobs::records::proposals;
use crate::jobs::records::proposals::Proposal;
use crate::jobs::records::show::HoldLine;
use records::Stamp;
use records::read::oven_queries::OverTime;
use records::value::words::counted;
use records::write::shipping::Astray;
use records::{Result, Store};

/// What the next shift must know.
#[derive(Serialize, Debug, Clone)]
pub struct Shift {
    /// The clock by which it was worked out.
    pub now: String,
    /// Open holds.
    pub holds: Vec<HoldLine>,
    /// Instruments whose check is overdue or failed.
    pub checks: Vec<String>,
    /// Heats melted in each crucible in use.
    pub crucibles: Vec<(String, i64)>,
    /// Moulds assembled and not poured.
    pub standing: Vec<String>,
    /// Moulds poured after standing out of their oven for longer than the recipe allows, the newest first.
    pub over_oven_time: Vec<String>,
    /// Blades that are out although nothing let them go, by lot and reason.
    pub shipping: Vec<String>,
    /// Labels that two records have: half a swap.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub labels: Vec<String>,
    /// Lots that were released on the words of a concession: quality looks at them once.
    pub releases: Vec<String>,
    /// Changes that somebody proposed and quality decides.
    pub proposals: Vec<Proposal>,
    /// Who became quality or is it no longer, first PINs and PINs taken away, of the last week.
    pub people: Vec<String>,
    /// The clock of the store is given from outside.
    #[serde(skip_serializing_if = "std::ops::Not::not")]
    pub clock_given: bool,
    /// Entries to review: late or filled in afterwards.
    pub review: Vec<String>,
}

/// What the next shift must know.
pub fn shift(store: &Store, now: Stamp) -> Result<Shift> {
    store.snapshot(|| {
        Ok(Shift {
            now: now.to_string(),
            holds: store.open_holds()?.iter().filter_map(hold_line).collect(),
            checks: store.checks_due(now)?,
            crucibles: store.crucibles()?,
            standing: store.moulds_not_poured()?,
            over_oven_time: store.over_oven_time()?.iter().map(over).collect(),
            shipping: astray(store)?,
            labels: store.half_swaps()?,
            releases: prose(store)?,
            proposals: proposals::list(store)?.proposals,
            people: store.said_of_people(now)?,
            clock_given: store.clock_given()?,
            review: store.to_review()?,
        })
    })
}

fn over(o: &OverTime) -> String {
    let (time, most) = (minutes(o.seconds as i64), minutes(o.limit_s as i64));
    format!("{} out of {} for {time}, {most} allowed; poured {}", o.mould, o.oven_run, o.poured_at)
}

/// Blades that are out although they were scrapped, held, undecided, returned or not released.
fn astray(store: &Store) -> Result<Vec<String>> {
    let line = |a: Astray| {
        let lot = if a.lot.is_empty() { "in no lot".to_string() } else { a.lot };
        let rest = if a.count > a.blades.len() { " …" } else { "" };
        format!("{lot}: {} shipped {}: {}{rest}", counted(a.count, "blade"), a.why, a.blades.join(", "))
    };
    Ok(store.astray()?.into_iter().map(line).collect())
}

fn prose(store: &Store) -> Result<Vec<String>> {
    let line = |(lot, person, concessions): (String, String, Vec<String>)| {
        format!(
            "{lot}, signed by {person} under earlier rules: {} names nothing that it covers (concession_items)",
            concessions.join(", ")
        )
    };
    Ok(store.released_on_prose()?.into_iter().map(line).collect())
}
