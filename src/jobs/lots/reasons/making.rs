//! How the moulds of a lot were made: a station that the shop keeps records of, and that is missing, blocks;
//! what was done but not as asked is open, without blocking.

use std::collections::{BTreeMap, HashSet};

use crate::jobs::furnace::readiness;
use crate::jobs::lots::facts::Facts;
use crate::jobs::lots::summary::Block;
use records::catalogue::OvenPurpose;
use records::{Result, Store};

/// What the making of the lot's moulds came to.
#[derive(Default)]
pub struct Making {
    /// Stations that are missing.
    pub blocked: Vec<Block>,
    /// What was not as asked.
    pub open: Vec<String>,
}

/// Looks through the moulds of blades that are not scrapped.
pub fn of(store: &Store, facts: &Facts) -> Result<Making> {
    // A shop that keeps no records of its ovens has no gap in them.
    let mut kept = HashSet::new();
    for (purpose, check) in [(OvenPurpose::Dewax, "dewaxed"), (OvenPurpose::Fire, "fired")] {
        if store.keeps_ovens(purpose.word())? {
            kept.insert(check);
        }
    }
    let mut gaps: BTreeMap<(String, String), (Vec<String>, Vec<String>)> = BTreeMap::new();
    let mut open: BTreeMap<String, Vec<String>> = BTreeMap::new();
    let mut out = Making::default();
    for (key, mould) in facts.moulds_in_order() {
        let blades = facts.alive_of(|m| m == key);
        if blades.is_empty() {
            continue;
        }
        let checks = readiness::making(store, key.id)?;
        // A flask is burnt out in its firing; not every shop dewaxes it before.
        let flask = checks.iter().any(|c| c.check == "investment");
        for check in checks.into_iter().filter(|c| c.ok == Some(false)) {
            let missing = check.absent
                && match check.check {
                    "dewaxed" if flask => false,
                    "dewaxed" | "fired" => kept.contains(check.check),
                    _ => true,
                };
            if missing {
                let gap = gaps.entry((check.check.to_string(), check.reason)).or_default();
                gap.0.push(mould.tag.clone());
                gap.1.extend(blades.iter().cloned());
            } else {
                open.entry(format!("{}: {}", check.check, check.reason)).or_default().push(mould.tag.clone());
            }
        }
    }
    for ((station, reason), (moulds, blades)) in gaps {
        let reason = format!("station missing: poured although {reason} ({})", moulds.join(", "));
        let first = moulds.first().map_or("", String::as_str);
        out.blocked.push(Block::shared(first, &station, "station", reason, blades));
    }
    for (what, moulds) in open {
        out.open.push(format!("{what} ({})", moulds.join(", ")));
    }
    fit(store, facts, &mut out.blocked)?;
    Ok(out)
}

/// What does not fit: the metal of each heat, and between heat, mould and patterns. The same that is said before the pour.
fn fit(store: &Store, facts: &Facts, out: &mut Vec<Block>) -> Result<()> {
    for (heat, tag) in facts.heats_in_order() {
        let blades = facts.alive_of_heat(heat);
        if blades.is_empty() {
            continue;
        }
        for m in store.heat_fit(heat.id)? {
            let reason = if m.reason.contains(&tag) { m.reason } else { format!("{tag}: {}", m.reason) };
            out.push(Block::shared(&tag, m.what.station(), "fit", reason, blades.clone()));
        }
    }
    for (key, mould) in facts.moulds_in_order() {
        let blades = facts.alive_of(|m| m == key);
        if blades.is_empty() {
            continue;
        }
        for m in store.mould_fit(key.id, mould.heat.as_ref().map(|h| h.0.id))? {
            out.push(Block::shared(&mould.tag, m.what.station(), "fit", m.reason, blades.clone()));
        }
    }
    Ok(())
}
