//! How far a mould, a blade or a heat has come, worked out from its records: the bar above every desk.

use crate::jobs::furnace::readiness;
use crate::jobs::lots::ask::product;
use records::catalogue::typed::{Field, Key, KindType, Kinds, Recorded, Ref};
use records::catalogue::*;
use records::value::place::Place;
use records::{Result, Store};

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
        let stops = match name {
            Moulds::NAME => {
                let key = Key::new(id);
                let mut stops = of_mould(store, key)?;
                stops.extend(after_pour(store, key)?);
                stops
            }
            Blades::NAME => of_blade(store, Key::new(id))?,
            Heats::NAME => vec![
                ("melt", done(any(store, Charges::heat, Key::<Heats>::new(id))?)),
                ("pour", done(any(store, Pours::heat, Key::<Heats>::new(id))?)),
            ],
            _ => return Ok(None),
        };
        Ok(Some(Way { of: tag, stops }))
    })
}

/// A record of a kind refers to this one.
fn any<K: KindType, S: Kinds, P, T: KindType>(
    store: &Store,
    field: Field<K, Ref<S>, P>,
    to: Key<T>,
) -> Result<bool> {
    Ok(!store.rows_of(field, to)?.is_empty())
}

/// The stops up to the pour, by the records of the mould.
fn of_mould(store: &Store, key: Key<Moulds>) -> Result<Vec<(&'static str, Stop)>> {
    let mould = store.row(key)?;
    let blades = store.rows_of(Blades::mould, key)?;
    // Without a position map nothing tells of its patterns.
    let wax = match blades.is_empty() {
        true => Stop::Unknown,
        false => done(blades.iter().all(|b| b.get(Blades::pattern_run).is_some())),
    };
    let mut fired = false;
    for load in store.rows_of(OvenLoads::mould, key)? {
        let (_, run) = store.named::<OvenRuns>(load.need(OvenLoads::oven_run)?)?;
        fired |= run.need(OvenRuns::purpose)? == OvenPurpose::Fire;
    }
    let poured = any(store, Pours::mould, key)?;
    Ok(vec![
        ("wax", wax),
        ("tree", done(mould.get(Moulds::assembled_at).is_some())),
        ("shell", shell(store, key, &mould)?),
        ("fire", done(fired)),
        // Metal is melted for a mould once it is poured; which heat is meant before is a plan.
        ("melt", done(poured)),
        ("pour", done(poured)),
    ])
}

/// Every coat that the recipe asks for, or the investment of a flask.
fn shell(store: &Store, key: Key<Moulds>, mould: &Recorded<Moulds>) -> Result<Stop> {
    if any(store, Investments::mould, key)? {
        return Ok(Stop::Done);
    }
    let coats = store.rows_of(Coats::mould, key)?;
    let wanted = readiness::recipe(store, mould)?.and_then(|r| r.get(ShellRecipes::coats));
    Ok(match (coats.is_empty(), wanted) {
        (true, _) => Stop::Open,
        (false, None) => Stop::Unknown,
        (false, Some(wanted)) => {
            let there = |n| coats.iter().any(|c| c.get(Coats::coat) == Some(n));
            done((1..=wanted).all(there))
        }
    })
}

/// What the records of one blade say after its pour.
struct AfterPour {
    finished: bool,
    inspected: bool,
    in_lot: bool,
    scrapped: bool,
}

impl AfterPour {
    fn of(store: &Store, blade: Key<Blades>) -> Result<Self> {
        let inspections = store.rows_of(Inspections::blade, blade)?;
        let inspected = inspections.iter().any(|i| product(i));
        Ok(Self {
            // What was inspected had been cut off and cleaned before.
            finished: inspected
                || any(store, FinishSteps::subject, blade)?
                || any(store, TreatmentLoads::blade, blade)?,
            inspected,
            in_lot: any(store, LotBlades::blade, blade)?,
            scrapped: store.locate_blade(blade.id)?.is_some_and(|b| b.place == Place::Scrapped),
        })
    }
}

/// The stops after the pour for a whole mould: every blade that is not scrapped has been there.
fn after_pour(store: &Store, mould: Key<Moulds>) -> Result<Vec<(&'static str, Stop)>> {
    let mut all = Vec::new();
    for blade in store.rows_of(Blades::mould, mould)? {
        all.push(AfterPour::of(store, store.key_of(blade.need(Blades::blade)?)?.0)?);
    }
    if !all.is_empty() && all.iter().all(|b| b.scrapped) {
        let inspected = done(all.iter().any(|b| b.inspected));
        return Ok(vec![("finish", inspected), ("inspect", inspected), ("scrapped", Stop::Ended)]);
    }
    all.retain(|b| !b.scrapped);
    let each = |ok: &dyn Fn(&AfterPour) -> bool| done(!all.is_empty() && all.iter().all(ok));
    Ok(vec![
        ("finish", each(&|b| b.finished)),
        ("inspect", each(&|b| b.inspected)),
        ("lot", each(&|b| b.in_lot)),
    ])
}

fn of_blade(store: &Store, key: Key<Blades>) -> Result<Vec<(&'static str, Stop)>> {
    let blade = store.row(key)?;
    let Some(mould) = blade.get(Blades::mould) else { return Ok(Vec::new()) };
    let mut stops = of_mould(store, store.key_of(mould)?.0)?;
    // Its own pattern counts, not that of its neighbours.
    if let Some(wax) = stops.first_mut() {
        wax.1 = done(blade.get(Blades::pattern_run).is_some());
    }
    let own = AfterPour::of(store, key)?;
    stops.extend([("finish", done(own.finished)), ("inspect", done(own.inspected))]);
    stops.push(if own.scrapped { ("scrapped", Stop::Ended) } else { ("lot", done(own.in_lot)) });
    Ok(stops)
}
