//! The metal of a lot against the limits of its alloy.

use std::collections::BTreeMap;

use crate::jobs::chemistry::ask;
use crate::jobs::chemistry::ask::{Against, Element};
use crate::jobs::lots::cover::What;
use crate::jobs::lots::facts::Facts;
use crate::jobs::lots::reasons::shared;
use crate::jobs::lots::show::Block;
use records::Value;
use records::{Result, Store};

/// Reasons that lie in an analysis, or in none being there.
pub fn against(store: &Store, facts: &Facts, out: &mut Vec<Block>) -> Result<()> {
    let mut subjects: Vec<(String, &str, Vec<String>)> = Vec::new();
    for (id, tag) in facts.heats_in_order() {
        subjects.push((tag, "melt", facts.alive_of_heat(id)));
    }
    for (ingot, tag) in Facts::tagged_in_order(store, "ingot_lots", facts.metal.ingots.iter().copied())? {
        let heats: Vec<i64> = facts
            .heats_in_order()
            .into_iter()
            .map(|h| h.0)
            .filter(|h| facts.metal.charged.get(h).is_some_and(|c| c.ingots.contains(&ingot)))
            .collect();
        let blades = heats.iter().flat_map(|h| facts.alive_of_heat(*h)).collect();
        subjects.push((tag, "ingot receipt", blades));
    }
    for (tag, station, blades) in subjects.into_iter().filter(|s| !s.2.is_empty()) {
        let checked = ask::check(store, &tag)?;
        if checked.analysis.is_none() || checked.elements.iter().all(|e| e.value.is_none()) {
            let aside = match checked.set_aside.is_empty() {
                true => String::new(),
                false => format!(" ({})", checked.set_aside.join("; ")),
            };
            out.push(shared(&tag, station, "chemistry", format!("chemistry of {tag} absent{aside}"), blades));
            continue;
        }
        // By what is missing: blades under another concession may stand differently.
        let mut outside: BTreeMap<(Vec<String>, String), Vec<String>> = BTreeMap::new();
        let mut untold: BTreeMap<(Vec<String>, String), Vec<String>> = BTreeMap::new();
        for blade in &blades {
            let (mut out_of, mut open) = ((Vec::new(), String::new()), (Vec::new(), String::new()));
            for e in checked.elements.iter().filter(|e| e.min.is_some() || e.max.is_some()) {
                if e.ok.is_none() && e.against.is_empty() {
                    open.0.push(e.element.clone());
                }
                for a in &e.against {
                    let Err(missing) = facts.permits.lifts(blade, &what(e, a), &[]) else { continue };
                    let (said, into) = match a.told {
                        true => (ask::words_of(e, a), &mut out_of),
                        false => (e.element.clone(), &mut open),
                    };
                    if !into.0.contains(&said) {
                        into.0.push(said);
                    }
                    if !into.1.contains(&missing) {
                        into.1.push_str(&missing);
                    }
                }
            }
            for (kind, into) in [(out_of, &mut outside), (open, &mut untold)] {
                if !kind.0.is_empty() {
                    into.entry(kind).or_default().push(blade.clone());
                }
            }
        }
        for ((words, missing), blades) in outside {
            let reason = format!("chemistry of {tag} outside its limits: {}{missing}", words.join(", "));
            out.push(shared(&tag, station, "chemistry", reason, blades));
        }
        // The heat's own analysis must tell; that of an ingot need not name every element.
        for ((elements, missing), blades) in untold.into_iter().filter(|_| station == "melt") {
            let reason = format!("chemistry of {tag} cannot be told for {}{missing}", elements.join(", "));
            out.push(shared(&tag, station, "chemistry", reason, blades));
        }
    }
    Ok(())
}

fn what(element: &Element, a: &Against) -> What {
    let value = match &a.value {
        Value::Count(n) => Value::Number(*n as f64),
        other => other.clone(),
    };
    What::Element { name: element.element.clone(), value, unit: a.unit.clone(), side: a.side }
}
