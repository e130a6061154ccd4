//! What the board says: may each standing mould be poured, what dries, what is due, what is held.

use serde::Serialize;

use crate::jobs::board::hand_over;
use crate::jobs::board::hand_over::HandOver;
use crate::jobs::furnace::board;
use crate::jobs::furnace::clocks::Clock;
use crate::jobs::furnace::readiness;
use crate::jobs::furnace::readiness::Ready;
use crate::jobs::records::look::hold_line;
use crate::jobs::records::show::HoldLine;
use records::catalogue::{Coats, SlurryBatches, SlurryChecks};
use records::{Error, Result, Stamp, Store};

/// So many standing moulds are held against their records: the first that are planned. The rest are counted.
pub const MOST: usize = 40;

/// A check that comes due within so many hours is named.
const AHEAD_H: f64 = 8.0;

/// A pot that was dipped into within so many hours is in use.
const IN_USE_H: f64 = 72.0;

/// A pot in use is read once a shift: after so many hours without a reading it is due. (A convention of this tool.)
const POT_H: f64 = 12.0;

/// A mould that stands at the furnace.
#[derive(Clone, Debug)]
pub struct MouldOnBoard {
    pub mould: String,
    /// The day it is planned for, and the furnace; blank where it is not planned.
    pub planned_on: String,
    pub furnace: String,
    pub ready: Ready,
    pub clock: Option<Clock>,
}

impl MouldOnBoard {
    /// Its checks as they are at this moment.
    pub fn at(&self, now: Stamp) -> Ready {
        self.clock.as_ref().map_or_else(|| self.ready.clone(), |clock| self.ready.at(clock, now))
    }
}

/// What speaks against pouring: what fails before what cannot be told.
pub fn reasons(ready: &Ready) -> Vec<String> {
    let of = |ok: Option<bool>| ready.checks.iter().filter(move |c| c.ok == ok);
    let mut all: Vec<_> = of(Some(false)).chain(of(None)).collect();
    // What the clock says stands before what has been so all day.
    all.sort_by_key(|c| !(c.ok == Some(false) && c.check == readiness::OVEN_TO_POUR));
    all.into_iter().map(|c| format!("{}: {}", c.check, c.reason)).collect()
}

/// The first of them.
pub fn first_reason(ready: &Ready) -> Option<String> {
    reasons(ready).into_iter().next()
}

/// A coat that dries.
#[derive(Clone, Debug, Serialize)]
pub struct Dries {
    pub mould: String,
    pub coat: String,
    pub since: String,
    /// Until when by its recipe; none where the recipe asks for no time.
    pub until: Option<String>,
    /// By its recipe it was dry by then.
    pub dry: bool,
}

/// A pot or an instrument whose reading or check is due, overdue or failed.
#[derive(Clone, Debug, Serialize)]
pub struct Due {
    pub tag: String,
    /// When it is, or was, due; none where it failed.
    pub due_at: Option<String>,
    /// It is past, or failed.
    pub overdue: bool,
    pub said: String,
}

/// What the board says.
#[derive(Clone, Debug)]
pub struct Wall {
    pub now: Stamp,
    /// The first standing moulds, the planned first.
    pub moulds: Vec<MouldOnBoard>,
    /// How many stand in all.
    pub standing: usize,
    pub drying: Vec<Dries>,
    pub due: Vec<Due>,
    pub holds: Vec<HoldLine>,
    pub hand_over: Option<HandOver>,
}

/// The board. `go_on` is asked between steps and stops the work where it says no.
pub fn wall(store: &Store, now: Stamp, go_on: &dyn Fn() -> bool) -> Result<Wall> {
    store.snapshot(|| {
        let board = board::board(store, now, go_on)?;
        let mut moulds = Vec::new();
        for s in board.standing.iter().take(MOST) {
            if !go_on() {
                return Err(Error::input("stopped"));
            }
            moulds.push(MouldOnBoard {
                mould: s.mould.clone(),
                planned_on: s.planned_on.clone(),
                furnace: s.furnace.clone(),
                ready: readiness::ready(store, &s.mould, None, now)?,
                clock: board.clocks.iter().find(|c| c.mould == s.mould).cloned(),
            });
        }
        // What is out of its oven comes first, whatever was planned.
        let rank = |m: &MouldOnBoard| board.clocks.iter().position(|c| c.mould == m.mould);
        moulds.sort_by_key(|m| rank(m).unwrap_or(usize::MAX));
        let mut due = pots(store, now)?;
        due.extend(instruments(store, now)?);
        due.sort_by_key(|d| !d.overdue);
        Ok(Wall {
            now,
            moulds,
            standing: board.standing.len(),
            drying: drying(store, now)?,
            due,
            holds: store.open_holds()?.iter().filter_map(hold_line).collect(),
            hand_over: hand_over::last(store)?,
        })
    })
}

fn drying(store: &Store, now: Stamp) -> Result<Vec<Dries>> {
    let mut all = board::drying(store, now)?;
    all.sort_by_key(|d| d.since);
    let dries = |d: board::Drying| {
        let until = d.least_h.map(|h| d.since.later_ms((h * 3_600_000.0) as i64));
        Dries {
            dry: until.is_some_and(|t| t <= now),
            until: until.map(|t| t.to_string()),
            mould: d.mould,
            coat: d.coat,
            since: d.since.to_string(),
        }
    };
    Ok(all.into_iter().map(dries).collect())
}

/// Pots that were dipped into lately, and whose last reading is older than a shift.
fn pots(store: &Store, now: Stamp) -> Result<Vec<Due>> {
    let mut seen: Vec<String> = Vec::new();
    for coat in store.newest::<Coats>(200)? {
        let pot = coat.need(Coats::slurry_batch)?;
        if now.minutes_since(coat.need(Coats::in_at)?) <= IN_USE_H * 60.0 && !seen.iter().any(|s| s == pot) {
            seen.push(pot.to_string());
        }
    }
    let mut out = Vec::new();
    for pot in seen {
        let (key, tag) = store.key_of::<SlurryBatches>(&pot)?;
        let checks = store.rows_of(SlurryChecks::slurry_batch, key)?;
        let last = checks.iter().filter_map(|c| c.own_time()).max();
        let due = last.map(|at| at.later_ms((POT_H * 3_600_000.0) as i64));
        let said = match last {
            Some(at) if due.is_some_and(|due| due.ms() < now.ms()) => format!("pot {tag}: last read {at}"),
            Some(_) => continue,
            None => format!("pot {tag}: no reading on record"),
        };
        out.push(Due { tag, due_at: due.map(|d| d.to_string()), overdue: true, said });
    }
    Ok(out)
}

fn instruments(store: &Store, now: Stamp) -> Result<Vec<Due>> {
    let mut out = Vec::new();
    for (tag, last) in store.last_checks(now)? {
        let due = last.due;
        let left_h = due.map(|due| due.minutes_since(now) / 60.0);
        let (overdue, said) = match (last.failed, due, left_h) {
            (true, ..) => (true, format!("{tag} failed its last check")),
            (_, Some(due), Some(left)) if left < 0.0 => (true, format!("{tag} overdue since {due}")),
            (_, Some(due), Some(left)) if left <= AHEAD_H => (false, format!("{tag} due {due}")),
            _ => continue,
        };
        out.push(Due { tag, due_at: due.map(|d| d.to_string()), overdue, said });
    }
    Ok(out)
}
