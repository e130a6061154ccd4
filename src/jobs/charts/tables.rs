//! Rates by tree position and by zone, with what was looked at.

use knowledge::causes::Watch;
use std::collections::{BTreeMap, HashMap, HashSet};

use crate::jobs::causes::ask;
use crate::jobs::causes::ask::{Ask, Foundry};
use crate::jobs::charts::points::counted;
use crate::jobs::charts::show_places::{RateLine, Rates, RatesBy};
use knowledge::stats::proportion::wilson;
use records::catalogue::{Findings, Zones};
use records::{Error, Result, Store};

#[derive(Default)]
struct PlaceTally {
    made: usize,
    inspected: usize,
    with: usize,
    moulds: HashSet<u32>,
    moulds_with: HashSet<u32>,
}

impl PlaceTally {
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
            name: String::new(),
            cells: String::new(),
        }
    }
}

const INDEPENDENT: &str = "Intervals take blades as independent; blades of one mould are not, so they are too narrow. `causes` allows for it.";

/// Rates by the position on the tree.
pub fn positions(store: &Store, ask: &Ask) -> Result<Rates> {
    store.snapshot(|| by_position(store, &ask::columns(store)?, ask))
}

pub(crate) fn by_position(store: &Store, foundry: &Foundry, ask: &Ask) -> Result<Rates> {
    let scope = ask::scope(store, ask)?;
    let (records, mut notes) = ask::counts(foundry, &scope);
    let kept: HashSet<&str> = records.mould_tags.iter().map(String::as_str).collect();
    let outcome: HashMap<i64, bool> =
        scope.outcomes.blades.iter().zip(scope.outcomes.with.iter().copied()).collect();
    let mut tallies: BTreeMap<u64, PlaceTally> = BTreeMap::new();
    // Columns of the map: the moulds of the question, in pour order.
    let shown: Vec<usize> =
        (0..foundry.moulds.len()).filter(|&m| kept.contains(foundry.moulds[m].as_str())).collect();
    let column: HashMap<u32, usize> = shown.iter().enumerate().map(|(c, &m)| (m as u32, c)).collect();
    let mut states: HashMap<(u64, usize), char> = HashMap::new();
    let mut heats: HashSet<u32> = HashSet::new();
    let position = foundry.positions();
    for (b, id) in foundry.blades.iter().enumerate() {
        let m = foundry.blade_mould[b];
        if !kept.contains(foundry.moulds[m as usize].as_str()) {
            continue;
        }
        let position = position(b);
        let key = if position.is_finite() { position as u64 } else { u64::MAX };
        let tally = tallies.entry(key).or_default();
        tally.made += 1;
        let found = outcome.get(&id);
        let state = match found {
            Some(true) => 'x',
            Some(false) => '.',
            None => '?',
        };
        if let Some(&c) = column.get(&m) {
            // Several blades without a position share a place: the worst is shown.
            let worst = |a: char, b: char| {
                if [a, b].contains(&'x') {
                    'x'
                } else if [a, b].contains(&'?') {
                    '?'
                } else {
                    '.'
                }
            };
            states.entry((key, c)).and_modify(|s| *s = worst(*s, state)).or_insert(state);
        }
        if let Some(&with) = found {
            heats.insert(foundry.mould_heat[m as usize]);
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
            let label = if key == u64::MAX { "not recorded".into() } else { format!("position {key}") };
            let cells = (0..shown.len()).map(|c| states.get(&(key, c)).copied().unwrap_or(' ')).collect();
            RateLine { cells, ..tally.line(label) }
        })
        .collect();
    notes.push(INDEPENDENT.into());
    Ok(Rates {
        of: format!("{}, by position on the tree", scope.ask.words()),
        by: RatesBy::Position,
        lines,
        columns: shown.iter().map(|&m| foundry.moulds[m].clone()).collect(),
        heats: heats.len(),
        notes,
    })
}

/// Rates by zone of the blade: of all blades inspected by the method, those with the defect there.
///
/// # Errors
/// A question with a zone; what else a question may not be, with near matches.
pub fn zones(store: &Store, ask: &Ask) -> Result<Rates> {
    store.snapshot(|| by_zone(store, &ask::columns(store)?, ask, &Watch::default()))
}

pub(crate) fn by_zone(store: &Store, foundry: &Foundry, ask: &Ask, run: &Watch) -> Result<Rates> {
    if ask.defect.is_none() {
        return Err(Error::input("a finding lies in a zone, a rejection does not; choose the defect"));
    }
    if ask.zone.is_some() {
        return Err(Error::input("the table has a line for every zone; leave --zone out"));
    }
    let whole = ask::scope(store, ask)?;
    let mut all = ask::choices(store)?.zones;
    let mut found = store.texts(Findings::zone)?;
    found.retain(|f| !all.iter().any(|z| z.eq_ignore_ascii_case(f)));
    all.extend(found);
    let names = zone_names(store)?;
    let mut lines = Vec::new();
    let mut notes = Vec::new();
    let mut heats: HashSet<u32> = HashSet::new();
    for zone in all {
        crate::jobs::charts::desk::begins(run, 2)?;
        // The same method for every zone, or the lines could not be compared.
        let ask = Ask { zone: Some(zone.clone()), method: whole.ask.method.clone(), ..ask.clone() };
        let found = counted(store, foundry, &ask)?;
        let mut tally = PlaceTally { made: found.records.made, ..PlaceTally::default() };
        for &(m, n, y) in found.moulds.iter().filter(|m| m.1 > 0) {
            tally.inspected += n;
            tally.with += y;
            tally.moulds.insert(m as u32);
            heats.insert(foundry.mould_heat[m]);
            if y > 0 {
                tally.moulds_with.insert(m as u32);
            }
        }
        notes = found.notes;
        let name = names.get(&zone.to_ascii_lowercase()).cloned().unwrap_or_default();
        lines.push(RateLine { name, ..tally.line(zone) });
    }
    notes.push(INDEPENDENT.into());
    notes.push("A blade with findings in two zones stands in both lines.".into());
    Ok(Rates {
        of: format!("{}, by zone", whole.ask.words()),
        by: RatesBy::Zone,
        lines,
        columns: Vec::new(),
        heats: heats.len(),
        notes,
    })
}

/// Names of zones by their codes in small letters; where parts name a code otherwise, the first.
fn zone_names(store: &Store) -> Result<HashMap<String, String>> {
    let mut out = HashMap::new();
    let [codes, names] = store.columns([Zones::zone.any(), Zones::name.any()])?;
    for row in 0..codes.rows() {
        let code = codes.word(row).unwrap_or_default().to_ascii_lowercase();
        out.entry(code).or_insert_with(|| names.word(row).unwrap_or_default().to_string());
    }
    Ok(out)
}
