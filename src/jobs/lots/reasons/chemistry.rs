//! The metal of a lot against the limits of its alloy.

use std::collections::BTreeMap;

use crate::jobs::chemistry::ask;
use crate::jobs::chemistry::ask::{Element, OffLimit};
use crate::jobs::lots::cover::Objection;
use crate::jobs::lots::facts::{Facts, tagged};
use crate::jobs::lots::summary::Block;
use records::catalogue::IngotLots;
use records::{Result, Store, Value};

/// What is said of elements, and what the blade's concession lacks.
type ElementsSaid = (Vec<String>, String);

/// A heat or ingot lot whose analyses bear on blades of a lot that can block.
pub struct Subject {
    pub tag: String,
    pub station: &'static str,
    pub blades: Vec<String>,
}

/// The heats of a lot, then the ingot lots behind it: those of an ingot lot are the blades of heats that it went into.
pub fn subjects(store: &Store, facts: &Facts) -> Result<Vec<Subject>> {
    let heats = facts.heats_in_order();
    let heat = |(key, tag): &(_, String)| Subject {
        tag: tag.clone(),
        station: "melt",
        blades: facts.alive_of_heat(*key),
    };
    let mut out: Vec<Subject> = heats.iter().map(heat).collect();
    for (ingot, tag) in tagged::<IngotLots>(store, facts.metal.ingots.iter().copied())? {
        let into = |heat: i64| facts.metal.charged.get(&heat).is_some_and(|c| c.ingots.contains(&ingot.id));
        let from = heats.iter().filter(|h| into(h.0.id));
        let blades = from.flat_map(|h| facts.alive_of_heat(h.0)).collect();
        out.push(Subject { tag, station: "ingot receipt", blades });
    }
    Ok(out)
}

/// Reasons that lie in an analysis, or in none being there.
pub fn against(store: &Store, facts: &Facts, out: &mut Vec<Block>) -> Result<()> {
    let all = subjects(store, facts)?;
    for Subject { tag, station, blades } in all.into_iter().filter(|s| !s.blades.is_empty()) {
        let checked = ask::check(store, &tag)?;
        let taken = match &checked.analysis {
            Some(analysis) => Some((analysis.clone(), store.find(analysis)?.record.own_time())),
            None => None,
        };
        let mut block = |reason, blades| {
            let block = Block::shared(&tag, station, "chemistry", reason, blades);
            out.push(match &taken {
                Some((analysis, at)) => block.found_at(analysis, *at),
                None => block,
            });
        };
        if checked.analysis.is_none() || checked.elements.iter().all(|e| e.value.is_none()) {
            let aside = match checked.set_aside.is_empty() {
                true => String::new(),
                false => format!(" ({})", checked.set_aside.join("; ")),
            };
            block(format!("chemistry of {tag} absent{aside}"), blades);
            continue;
        }
        // By what is missing: blades under another concession may stand differently.
        let mut outside: BTreeMap<ElementsSaid, Vec<String>> = BTreeMap::new();
        let mut untold: BTreeMap<ElementsSaid, Vec<String>> = BTreeMap::new();
        for blade in &blades {
            let (mut out_of, mut open) = (ElementsSaid::default(), ElementsSaid::default());
            for e in checked.elements.iter().filter(|e| e.min.is_some() || e.max.is_some()) {
                if e.ok.is_none() && e.against.is_empty() {
                    open.0.push(e.untold());
                }
                for a in &e.against {
                    let Err(missing) = facts.permits.lifts(blade, &objection(e, a), &[]) else { continue };
                    let (said, into) = match a.told {
                        true => (ask::words_of(e, a), &mut out_of),
                        false => (ask::words_of(e, a), &mut open),
                    };
                    if !into.0.contains(&said) {
                        into.0.push(said);
                    }
                    if !into.1.contains(&missing) {
                        into.1.push_str(&missing);
                    }
                }
            }
            for (told, into) in [(out_of, &mut outside), (open, &mut untold)] {
                if !told.0.is_empty() {
                    into.entry(told).or_default().push(blade.clone());
                }
            }
        }
        for ((words, missing), blades) in outside {
            block(format!("chemistry of {tag} outside its limits: {}{missing}", words.join(", ")), blades);
        }
        // The heat's own analysis must tell; that of an ingot need not name every element.
        for ((words, missing), blades) in untold.into_iter().filter(|_| station == "melt") {
            block(format!("chemistry of {tag} undecided: {}{missing}", words.join(", ")), blades);
        }
    }
    Ok(())
}

/// As a concession may cover it.
pub fn objection(element: &Element, a: &OffLimit) -> Objection {
    let value = match &a.value {
        Value::Count(n) => Value::Number(*n as f64),
        other => other.clone(),
    };
    Objection::Element { name: element.element.clone(), value, unit: a.unit.clone(), side: a.side }
}
