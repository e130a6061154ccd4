//! Rates by tree position and by zone, with what was looked at.

use std::collections::{BTreeMap, HashMap, HashSet};

use super::points::counted;
use crate::ops::causes::{self, Ask};
use crate::ops::{Error, Result, Store};
use crate::report::chart::{RateLine, Rates};
use crate::stats::proportion::wilson;

#[derive(Default)]
struct Tally {
    made: usize,
    inspected: usize,
    with: usize,
    moulds: HashSet<u32>,
    moulds_with: HashSet<u32>,
}

impl Tally {
    fn line(self, label: String) -> RateLine {
        let (x, n) = (self.with as u64, self.inspected as u64);
        RateLine {
            label,
            with: self.with,
            inspected: self.inspected,
            made: self.made,
            rate: (n > 0).then(|| x as f64 / n as f64),
            interval: wilson(x, n, 0.95).ok().map(|(a, b)| [a, b]),
            moulds_with: self.moulds_with.len(),
            moulds: self.moulds.len(),
        }
    }
}

const INDEPENDENT: &str = "Intervals take blades as independent; blades of one mould are not, so they are too narrow. `causes` allows for it.";

/// Rates by the position on the tree.
///
/// # Errors
/// What the question may not be, with near matches.
pub fn positions(store: &Store, ask: &Ask) -> Result<Rates> {
    store.snapshot(|| {
        let foundry = causes::columns(store)?;
        let scope = causes::scope(store, ask)?;
        let (records, mut notes) = causes::counts(&foundry, &scope);
        let kept: HashSet<&str> = records.mould_tags.iter().map(String::as_str).collect();
        let outcome: HashMap<i64, bool> =
            scope.outcomes.blades.iter().copied().zip(scope.outcomes.with.iter().copied()).collect();
        let mut tallies: BTreeMap<u64, Tally> = BTreeMap::new();
        for (b, id) in foundry.blades.iter().enumerate() {
            let m = foundry.blade_mould[b];
            if !kept.contains(foundry.moulds[m as usize].as_str()) {
                continue;
            }
            let position = foundry.position[b];
            let key = if position.is_finite() { position as u64 } else { u64::MAX };
            let tally = tallies.entry(key).or_default();
            tally.made += 1;
            if let Some(&with) = outcome.get(id) {
                tally.inspected += 1;
                tally.moulds.insert(m);
                if with {
                    tally.with += 1;
                    tally.moulds_with.insert(m);
                }
            }
        }
        let lines = tallies
            .into_iter()
            .map(|(key, tally)| {
                tally.line(if key == u64::MAX { "not recorded".into() } else { format!("position {key}") })
            })
            .collect();
        notes.push(INDEPENDENT.into());
        Ok(Rates {
            of: format!("{} by position on the tree", scope.ask.words()),
            by: "position",
            lines,
            notes,
        })
    })
}

/// Rates by zone of the blade: of all blades inspected by the method, those with the defect there.
///
/// # Errors
/// A question with a zone; what else a question may not be, with near matches.
pub fn zones(store: &Store, ask: &Ask) -> Result<Rates> {
    if ask.zone.is_some() {
        return Err(Error::input("the table has a line for every zone; leave --zone out"));
    }
    store.snapshot(|| {
        let foundry = causes::columns(store)?;
        let whole = causes::scope(store, ask)?;
        let mut all = causes::choices(store)?.zones;
        if let (Some(kind), true) = (crate::domain::kind("findings"), true) {
            if let Some(crate::store::sheet::Cells::Words { levels, .. }) =
                store.sheet(kind, &["zone"])?.columns.into_iter().next()
            {
                all.extend(
                    levels
                        .into_iter()
                        .filter(|l| !all.iter().any(|z| z.eq_ignore_ascii_case(l)))
                        .collect::<Vec<_>>(),
                );
            }
        }
        let mut lines = Vec::new();
        let mut notes = Vec::new();
        for zone in all {
            // The same method for every zone, or the lines could not be compared.
            let ask = Ask { zone: Some(zone.clone()), method: whole.ask.method.clone(), ..ask.clone() };
            let found = counted(store, &foundry, &ask)?;
            let mut tally = Tally { made: found.records.made, ..Tally::default() };
            for &(m, n, y) in found.moulds.iter().filter(|m| m.1 > 0) {
                tally.inspected += n;
                tally.with += y;
                tally.moulds.insert(m as u32);
                if y > 0 {
                    tally.moulds_with.insert(m as u32);
                }
            }
            notes = found.notes;
            lines.push(tally.line(zone));
        }
        notes.push(INDEPENDENT.into());
        notes.push("A blade with findings in two zones stands in both lines.".into());
        Ok(Rates { of: format!("{} by zone", whole.ask.words()), by: "zone", lines, notes })
    })
}
