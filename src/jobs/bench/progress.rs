//! How far a mould, a blade or a heat has come, worked out from its records: the bar above every desk.

use crate::jobs::furnace::readiness;
use crate::jobs::lots::ask::product;
use records::Record;
use records::catalogue::kind;
use records::{Error, Result, Store};

/// The stops of a blade's way.
pub const STOPS: [&str; 9] = ["wax", "tree", "shell", "fire", "melt", "pour", "finish", "inspect", "lot"];

/// A stop of a way.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Stop {
    /// The records say that it has been there.
    Done,
    /// No record says so.
    Open,
    /// The records cannot tell.
    Unknown,
    /// It ended here.
    Ended,
}

/// The way of one record.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Way {
    /// The tag of the record.
    pub of: String,
    /// Stops in order.
    pub stops: Vec<(&'static str, Stop)>,
}

fn done(yes: bool) -> Stop {
    if yes { Stop::Done } else { Stop::Open }
}

/// How far a mould, a blade or a heat has come; none for records of other kinds, and for tags that lead nowhere.
pub fn way(store: &Store, tag: &str) -> Result<Option<Way>> {
    store.snapshot(|| {
        let Some((name, id, tag)) = store.look_up(tag)? else { return Ok(None) };
        let Some(k) = kind(name) else { return Ok(None) };
        let stops = match name {
            "moulds" => {
                let mut stops = of_mould(store, &store.by_id(k, id)?.record, id)?;
                let blades = of(store, "blades", "mould", "moulds", id)?;
                stops.extend(after_pour(store, &blades)?);
                stops
            }
            "blades" => of_blade(store, &store.by_id(k, id)?.record, id)?,
            "heats" => vec![
                ("melt", done(!of(store, "charges", "heat", "heats", id)?.is_empty())),
                ("pour", done(!of(store, "pours", "heat", "heats", id)?.is_empty())),
            ],
            _ => return Ok(None),
        };
        Ok(Some(Way { of: tag, stops }))
    })
}

fn of(store: &Store, name: &str, field: &str, to: &str, id: i64) -> Result<Vec<Record<'static>>> {
    kind(name).map_or(Ok(Vec::new()), |k| store.referring(k, field, to, id))
}

/// The stops up to the pour, by the records of the mould.
fn of_mould(store: &Store, mould: &Record, id: i64) -> Result<Vec<(&'static str, Stop)>> {
    let blades = of(store, "blades", "mould", "moulds", id)?;
    // Without a position map nothing tells of its patterns.
    let wax = match blades.is_empty() {
        true => Stop::Unknown,
        false => done(blades.iter().all(|b| b.get("pattern_run").text().is_some())),
    };
    let fired = of(store, "oven_loads", "mould", "moulds", id)?.iter().try_fold(false, |yes, load| {
        let run = store.find(&load.get("oven_run").to_text())?.record;
        Ok::<bool, Error>(yes || run.get("purpose").text() == Some("fire"))
    })?;
    let pours = of(store, "pours", "mould", "moulds", id)?;
    let poured = !pours.is_empty();
    Ok(vec![
        ("wax", wax),
        ("tree", done(mould.get("assembled_at").time().is_some())),
        ("shell", shell(store, mould, id)?),
        ("fire", done(fired)),
        // Metal is melted for a mould once it is poured; which heat is meant before is a plan.
        ("melt", done(poured)),
        ("pour", done(poured)),
    ])
}

/// Every coat that the recipe asks for, or the investment of a flask.
fn shell(store: &Store, mould: &Record, id: i64) -> Result<Stop> {
    if !of(store, "investments", "mould", "moulds", id)?.is_empty() {
        return Ok(Stop::Done);
    }
    let coats = of(store, "coats", "mould", "moulds", id)?;
    let wanted = readiness::recipe(store, mould)?.and_then(|r| r.get("coats").number()).map(|n| n as i64);
    Ok(match (coats.is_empty(), wanted) {
        (true, _) => Stop::Open,
        (false, None) => Stop::Unknown,
        (false, Some(wanted)) => {
            let there = |n| coats.iter().any(|c| c.get("coat").number().is_some_and(|x| x as i64 == n));
            done((1..=wanted).all(there))
        }
    })
}

/// What the records of one blade say after its pour.
struct Seen {
    finished: bool,
    inspected: bool,
    in_lot: bool,
    scrapped: bool,
}

fn seen(store: &Store, id: i64) -> Result<Seen> {
    let inspections = of(store, "inspections", "blade", "blades", id)?;
    let inspected = inspections.iter().any(product);
    let place = store.locate_blade(id)?.map(|b| b.place);
    Ok(Seen {
        // What was inspected had been cut off and cleaned before.
        finished: inspected || !of(store, "treatment_loads", "blade", "blades", id)?.is_empty(),
        inspected,
        in_lot: !of(store, "lot_blades", "blade", "blades", id)?.is_empty(),
        scrapped: place == Some(records::value::place::Place::Scrapped),
    })
}

/// The stops after the pour for a whole mould: every blade that is not scrapped has been there.
fn after_pour(store: &Store, blades: &[Record]) -> Result<Vec<(&'static str, Stop)>> {
    let mut all = Vec::new();
    for blade in blades {
        if let Some((_, id, _)) = blade.tag().map(|t| store.look_up(t)).transpose()?.flatten() {
            all.push(seen(store, id)?);
        }
    }
    if !all.is_empty() && all.iter().all(|b| b.scrapped) {
        let inspected = done(all.iter().any(|b| b.inspected));
        return Ok(vec![("finish", inspected), ("inspect", inspected), ("scrapped", Stop::Ended)]);
    }
    all.retain(|b| !b.scrapped);
    let each = |ok: &dyn Fn(&Seen) -> bool| done(!all.is_empty() && all.iter().all(ok));
    Ok(vec![
        ("finish", each(&|b| b.finished)),
        ("inspect", each(&|b| b.inspected)),
        ("lot", each(&|b| b.in_lot)),
    ])
}

fn of_blade(store: &Store, blade: &Record, id: i64) -> Result<Vec<(&'static str, Stop)>> {
    let (Some(mould), Some(k)) = (blade.get("mould").text(), kind("moulds")) else {
        return Ok(Vec::new());
    };
    let Some((_, mould, _)) = store.look_up(mould)?.filter(|(name, ..)| *name == "moulds") else {
        return Ok(Vec::new());
    };
    let mut stops = of_mould(store, &store.by_id(k, mould)?.record, mould)?;
    // Its own pattern counts, not that of its neighbours.
    if let Some(wax) = stops.first_mut() {
        wax.1 = done(blade.get("pattern_run").text().is_some());
    }
    let own = seen(store, id)?;
    stops.extend([("finish", done(own.finished)), ("inspect", done(own.inspected))]);
    stops.push(if own.scrapped { ("scrapped", Stop::Ended) } else { ("lot", done(own.in_lot)) });
    Ok(stops)
}
