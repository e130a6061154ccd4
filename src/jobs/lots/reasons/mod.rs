//! Every reason why a lot may not go, each with the blade or record and the station.

pub(crate) mod chemistry;
pub(crate) mod lifting;
pub(crate) mod making;
pub(crate) mod readings;
pub(crate) mod results;
pub(crate) mod samples;
pub(crate) mod shipping;

use std::collections::{BTreeMap, HashMap};

use crate::jobs::lots::cover::Objection;
use crate::jobs::lots::facts::{Facts, tagged};
use crate::jobs::lots::reasons::readings::InstrumentLapses;
use crate::jobs::lots::summary::Block;
use crate::jobs::records::attached;
use records::catalogue::{
    Alloys, Attachments, Heats, IngotLots, Lots, Parts, Pours, RevertLots, RunningSystems, ShellRecipes,
};
use records::value::place::Place;
use records::value::tag::in_order;
use records::{Link, Record, Result, Stamp, Store};

pub fn all(store: &Store, facts: &Facts, making: Vec<Block>) -> Result<Vec<Block>> {
    let mut out = Vec::new();
    totals(facts, &mut out);
    let mut lapses = InstrumentLapses::new(store, facts);
    results::against(store, facts, &mut lapses, &mut out)?;
    out.extend(making);
    broken(facts, &mut out);
    genealogy(store, facts, &mut out)?;
    chemistry::against(store, facts, &mut out)?;
    lapses.against(&mut out)?;
    results::older_than_metal(store, facts, &mut out)?;
    definitions(facts, &mut out);
    out.extend(facts.permits.faults.iter().cloned());
    files(facts, &mut out)?;
    superseded(store, facts, &mut out)?;
    shipping::against(facts, &mut out)?;
    Ok(out)
}

fn totals(facts: &Facts, out: &mut Vec<Block>) {
    let lot = facts.lot.address();
    if facts.blades.is_empty() {
        out.push(Block::shared(&lot, "lot", "totals", "the lot has no blades on record".into(), Vec::new()));
    }
    for b in facts.alive().filter(|b| !b.counts) {
        let reason = "its mould has no pour on record: it does not count as made";
        out.push(Block::of_blade(&b.tag, "pour", "totals", reason.into()));
    }
    for (mould, stray) in &facts.strays {
        let tag = facts.moulds.get(mould).map_or("", |m| m.tag.as_str());
        let reason = format!("totals do not reconcile: {stray} of mould {tag} is in no lot");
        out.push(Block::shared(tag, "lot", "totals", reason, Vec::new()));
    }
    let shipped = facts.blades.iter().filter(|b| b.place == Place::Shipped).count() as i64;
    if let Some(ordered) = facts.ordered().filter(|o| shipped > *o) {
        let reason = format!("totals do not reconcile: {shipped} shipped, {ordered} ordered");
        out.push(Block::shared(&lot, "ship", "totals", reason, Vec::new()));
    }
}

fn genealogy(store: &Store, facts: &Facts, out: &mut Vec<Block>) -> Result<()> {
    let mut block =
        |tag: &str, reason, blades| out.push(Block::shared(tag, "charge", "genealogy", reason, blades));
    let mut poured: HashMap<&str, f64> = HashMap::new();
    for p in facts.behind.each::<Pours>() {
        *poured.entry(p.need(Pours::heat)?).or_default() += p.get(Pours::mass_kg).unwrap_or(0.0);
    }
    for (heat, tag) in tagged::<Heats>(store, facts.metal.charged.keys().copied())? {
        let Some(charged) = facts.metal.charged.get(&heat.id) else { continue };
        let direct = facts.alive_of_heat(heat);
        let reason = match charged.mass_kg {
            _ if charged.items == 0 => format!("genealogy broken: heat {tag} has no charge on record"),
            None => format!("a charge item of heat {tag} has no mass"),
            Some(kg) => match poured.get(tag.as_str()) {
                Some(out) if *out > kg + 0.05 => {
                    format!("masses do not agree: heat {tag} {kg:.3} kg charged, {out:.3} kg poured")
                }
                _ => continue,
            },
        };
        if facts.alive().next().is_some() && (!direct.is_empty() || charged.items == 0) {
            block(&tag, reason, direct);
        }
    }
    for (_, tag) in tagged::<RevertLots>(store, facts.metal.sourceless.iter().copied())? {
        let reason = format!("genealogy broken: revert lot {tag} has no source on record");
        block(&tag, reason, Vec::new());
    }
    let ingots = tagged::<IngotLots>(store, facts.metal.ingots.iter().copied())?;
    let reverts = tagged::<RevertLots>(store, facts.metal.reverts.iter().copied())?;
    let lots = ingots.into_iter().map(|(key, tag)| (Link::from(key), tag));
    for (link, tag) in lots.chain(reverts.into_iter().map(|(key, tag)| (Link::from(key), tag))) {
        if let Some((Some(received), _, used)) = store.stock(link.kind, link.id)? {
            if used > received + 0.05 {
                let reason =
                    format!("masses do not agree: {tag} {received:.3} kg received, {used:.3} kg charged");
                block(&tag, reason, Vec::new());
            }
        }
    }
    Ok(())
}

fn broken(facts: &Facts, out: &mut Vec<Block>) {
    for b in facts.alive() {
        let reason = match facts.mould_of(b) {
            None if b.mould.is_none() => "genealogy broken: no mould",
            mould if mould.is_none_or(|m| m.heat.is_none()) => "genealogy broken: no heat",
            _ => continue,
        };
        out.push(Block::of_blade(&b.tag, "genealogy", "genealogy", reason.into()));
    }
}

fn definitions(facts: &Facts, out: &mut Vec<Block>) {
    let everything: Vec<String> = facts.alive().map(|b| b.tag.clone()).collect();
    if everything.is_empty() {
        return;
    }
    let mut used: BTreeMap<(&str, i64), Vec<String>> = BTreeMap::new();
    used.insert((Parts::NAME, facts.part.id), everything.clone());
    for alloy in facts.alloys().filter_map(|row| row.key()) {
        used.insert((Alloys::NAME, alloy.id), everything.clone());
    }
    for b in facts.alive() {
        let Some(made_to) = b.mould.and_then(|m| facts.made_to.get(&m.id)) else { continue };
        if made_to.part != facts.part.id {
            let reason = "its mould was made for another part or revision than the lot".to_string();
            out.push(Block::of_blade(&b.tag, "assembly", "definition", reason));
        }
        let system = (RunningSystems::NAME, made_to.running_system);
        let recipe = made_to.recipe.map(|id| (ShellRecipes::NAME, id));
        for definition in [Some(system), recipe].into_iter().flatten() {
            used.entry(definition).or_default().push(b.tag.clone());
        }
    }
    let mut unapproved: Vec<(&Record, Vec<String>)> = Vec::new();
    for ((kind, id), blades) in used {
        let record = facts.behind.row(kind, id).map(|r| &r.record).filter(|r| !r.approved());
        unapproved.extend(record.map(|r| (r, blades)));
    }
    unapproved.sort_by_cached_key(|(r, _)| (r.kind.name, in_order(&r.address())));
    for (record, blades) in unapproved {
        let named = format!("{}@{}", record.tag().unwrap_or_default(), record.revision().unwrap_or_default());
        let mut left: BTreeMap<String, Vec<String>> = BTreeMap::new();
        for b in blades {
            if let Err(missing) = facts.permits.lifts(&b, &Objection::Definition(named.clone()), &[]) {
                left.entry(missing).or_default().push(b);
            }
        }
        for (missing, blades) in left {
            let reason = format!("{} {} is not approved{missing}", record.kind.noun, record.address());
            out.push(Block::shared(&record.address(), "definition", "definition", reason, blades));
        }
    }
}

fn files(facts: &Facts, out: &mut Vec<Block>) -> Result<()> {
    for a in facts.behind.each::<Attachments>() {
        let Err(why) = attached::check(&facts.folder, &a) else { continue };
        let (path, of) = (a.need(Attachments::path)?, a.need(Attachments::subject)?);
        let reason = format!("attached file {path} of {of} {why}");
        out.push(Block::shared(&a.address(), "attachment", "attachment", reason, Vec::new()));
    }
    Ok(())
}

/// A record behind the lot that was changed after somebody had signed it. The lot's own release is
/// judged apart: it becomes void.
fn superseded(store: &Store, facts: &Facts, out: &mut Vec<Block>) -> Result<()> {
    let mut signed = Vec::new();
    for (kind, id) in store.signed_records()? {
        let row = facts.behind.row(&kind, id).filter(|r| r.kind != Lots::NAME);
        signed.extend(row.map(|row| (id, row)));
    }
    signed.sort_by_cached_key(|(_, row)| (row.kind, in_order(&row.record.address())));
    for (id, row) in signed {
        let Some(entry) = store
            .entry(row.entry)?
            .filter(|e| matches!(e.action.as_str(), "correct" | "undo" | "replace" | "lift"))
        else {
            continue;
        };
        let Some(signed) = store.signatures_on(row.kind, id)?.pop() else { continue };
        if Stamp::parse(&entry.at).is_ok_and(|at| at.ms() > signed.at.ms()) {
            let tag = row.record.address();
            let reason = format!(
                "{} {tag} was changed at {} after {} had signed it; it must be signed again",
                row.record.kind.noun, entry.at, signed.person
            );
            let since = Stamp::parse(&entry.at).ok();
            out.push(
                Block::shared(&tag, "signature", "superseded", reason, Vec::new()).found_at(&tag, since),
            );
        }
    }
    Ok(())
}
