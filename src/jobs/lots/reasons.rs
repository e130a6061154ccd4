//! Every reason why a lot may not go, each with the blade or record and the station.

use std::collections::{BTreeMap, HashMap};

use crate::jobs::lots::cover::What;
use crate::jobs::lots::facts::Facts;
use crate::jobs::lots::readings::Readings;
use crate::jobs::lots::shipping;
use crate::jobs::lots::show::Block;
use crate::jobs::lots::{chemistry, results};
use crate::jobs::records::attached;
use records::value::tag::in_order;
use records::{Record, Stamp};
use records::{Result, Store};

/// A reason that lies in one blade.
pub(crate) fn blade(tag: &str, station: &str, code: &'static str, reason: String) -> Block {
    Block { blade: Some(tag.into()), station: station.into(), reason, record: None, blades: Vec::new(), code }
}

/// A reason that lies in a record which blades share.
pub(crate) fn shared(
    record: &str,
    station: &str,
    code: &'static str,
    reason: String,
    blades: Vec<String>,
) -> Block {
    Block { blade: None, station: station.into(), reason, record: Some(record.into()), blades, code }
}

/// All of them.
pub fn all(store: &Store, facts: &Facts, making: Vec<Block>) -> Result<Vec<Block>> {
    let mut out = Vec::new();
    totals(facts, &mut out);
    let mut readings = Readings::new(store, facts);
    results::against(store, facts, &mut readings, &mut out)?;
    out.extend(making);
    genealogy(store, facts, &mut out)?;
    chemistry::against(store, facts, &mut out)?;
    readings.against(&mut out)?;
    results::older_than_metal(store, facts, &mut out)?;
    definitions(facts, &mut out);
    out.extend(facts.permits.faults.iter().cloned());
    files(facts, &mut out);
    superseded(store, facts, &mut out)?;
    shipping::against(facts, &mut out);
    Ok(out)
}

fn totals(facts: &Facts, out: &mut Vec<Block>) {
    let lot = facts.lot.record.address();
    if facts.blades.is_empty() {
        out.push(shared(&lot, "lot", "totals", "the lot has no blades on record".into(), Vec::new()));
    }
    for b in facts.alive().filter(|b| !b.counts) {
        out.push(blade(
            &b.tag,
            "pour",
            "totals",
            "its mould has no pour on record: it does not count as made".into(),
        ));
    }
    for (mould, stray) in &facts.strays {
        let tag = facts.moulds.get(mould).map_or("", |m| m.0.as_str());
        let reason = format!("totals do not reconcile: {stray} of mould {tag} is in no lot");
        out.push(shared(tag, "lot", "totals", reason, Vec::new()));
    }
    let shipped = facts.blades.iter().filter(|b| b.place == "shipped").count() as i64;
    if let Some(ordered) = facts.ordered().filter(|o| shipped > *o) {
        let reason = format!("totals do not reconcile: {shipped} shipped, {ordered} ordered");
        out.push(shared(&lot, "ship", "totals", reason, Vec::new()));
    }
}

fn genealogy(store: &Store, facts: &Facts, out: &mut Vec<Block>) -> Result<()> {
    for b in facts.alive() {
        let reason = match b.mould.map(|m| facts.moulds.get(&m)) {
            None => "genealogy broken: no mould",
            Some(m) if m.is_none_or(|m| m.1.is_none()) => "genealogy broken: no heat",
            _ => continue,
        };
        out.push(blade(&b.tag, "genealogy", "genealogy", reason.into()));
    }
    let mut poured: HashMap<String, f64> = HashMap::new();
    for p in facts.behind.of("pours") {
        *poured.entry(p.record.get("heat").to_text()).or_default() +=
            p.record.get("mass_kg").number().unwrap_or(0.0);
    }
    for (heat, tag) in Facts::tagged_in_order(store, "heats", facts.metal.charged.keys().copied())? {
        let Some(charged) = facts.metal.charged.get(&heat) else { continue };
        let direct = facts.alive_of_heat(heat);
        let reason = match charged.mass_kg {
            _ if charged.items == 0 => format!("genealogy broken: heat {tag} has no charge on record"),
            None => format!("a charge item of heat {tag} has no mass"),
            Some(kg) => match poured.get(&tag) {
                Some(out) if *out > kg + 0.05 => {
                    format!("masses do not agree: heat {tag} {kg:.3} kg charged, {out:.3} kg poured")
                }
                _ => continue,
            },
        };
        if facts.alive().next().is_some() && (!direct.is_empty() || charged.items == 0) {
            out.push(shared(&tag, "charge", "genealogy", reason, direct));
        }
    }
    let sourceless = facts.metal.sourceless.iter().copied();
    for (_, tag) in Facts::tagged_in_order(store, "revert_lots", sourceless)? {
        out.push(shared(
            &tag,
            "charge",
            "genealogy",
            format!("genealogy broken: revert lot {tag} has no source on record"),
            Vec::new(),
        ));
    }
    let ingots = Facts::tagged_in_order(store, "ingot_lots", facts.metal.ingots.iter().copied())?;
    let reverts = Facts::tagged_in_order(store, "revert_lots", facts.metal.reverts.iter().copied())?;
    let lots = ingots.into_iter().map(|i| ("ingot_lots", i));
    for (kind, (id, tag)) in lots.chain(reverts.into_iter().map(|r| ("revert_lots", r))) {
        if let Some((Some(received), _, used)) = store.stock(kind, id)? {
            if used > received + 0.05 {
                let reason =
                    format!("masses do not agree: {tag} {received:.3} kg received, {used:.3} kg charged");
                out.push(shared(&tag, "charge", "genealogy", reason, Vec::new()));
            }
        }
    }
    Ok(())
}

fn definitions(facts: &Facts, out: &mut Vec<Block>) {
    let mut used: BTreeMap<(&str, i64), Vec<String>> = BTreeMap::new();
    let everything: Vec<String> = facts.alive().map(|b| b.tag.clone()).collect();
    if everything.is_empty() {
        return;
    }
    used.insert(("parts", facts.part), everything.clone());
    for row in facts.alloys() {
        used.insert(("alloys", row.id.unwrap_or(-1)), everything.clone());
    }
    for b in facts.alive() {
        let Some(made_to) = b.mould.and_then(|m| facts.made_to.get(&m)) else { continue };
        if made_to.part != facts.part {
            let reason = "its mould was made for another part or revision than the lot".to_string();
            out.push(blade(&b.tag, "assembly", "definition", reason));
        }
        let own = [("running_systems", Some(made_to.running_system)), ("shell_recipes", made_to.recipe)];
        for (kind, id) in own {
            if let Some(id) = id {
                used.entry((kind, id)).or_default().push(b.tag.clone());
            }
        }
    }
    let mut unapproved: Vec<(&Record, Vec<String>)> = Vec::new();
    for ((kind, id), blades) in used {
        let record = facts.definition(kind, id).filter(|r| r.get("approved_at").is_blank());
        unapproved.extend(record.map(|r| (r, blades)));
    }
    unapproved.sort_by_cached_key(|(r, _)| (r.kind.name, in_order(&r.address())));
    for (record, blades) in unapproved {
        let named = format!(
            "{}@{}",
            record.tag().unwrap_or_default(),
            record.get("revision").text().unwrap_or_default()
        );
        let mut left: BTreeMap<String, Vec<String>> = BTreeMap::new();
        for b in blades {
            if let Err(missing) = facts.permits.lifts(&b, &What::Definition(named.clone()), &[]) {
                left.entry(missing).or_default().push(b);
            }
        }
        for (missing, blades) in left {
            let reason = format!("{} {} is not approved{missing}", record.kind.noun, record.address());
            out.push(shared(&record.address(), "definition", "definition", reason, blades));
        }
    }
}

fn files(facts: &Facts, out: &mut Vec<Block>) {
    for a in facts.behind.of("attachments").map(|r| &r.record) {
        let Err(why) = attached::check(&facts.folder, a) else { continue };
        let reason =
            format!("attached file {} of {} {why}", a.get("path").to_text(), a.get("subject").to_text());
        out.push(shared(&a.address(), "attachment", "attachment", reason, Vec::new()));
    }
}

/// A record behind the lot that was changed after somebody had signed it. The lot's own release is
/// judged apart: it becomes void.
fn superseded(store: &Store, facts: &Facts, out: &mut Vec<Block>) -> Result<()> {
    let mut signed = Vec::new();
    for (kind, id) in store.signed_records()? {
        let row = facts.behind.row(&kind, id).filter(|_| kind != "lots");
        signed.extend(row.map(|row| (kind, id, row)));
    }
    signed.sort_by_cached_key(|(kind, _, row)| (kind.clone(), in_order(&row.record.address())));
    for (kind, id, row) in signed {
        let Some(entry) = store
            .entry(row.entry)?
            .filter(|e| matches!(e.action.as_str(), "correct" | "undo" | "replace" | "lift"))
        else {
            continue;
        };
        let Some(signed) = store.signatures_on(&kind, id)?.pop() else { continue };
        if Stamp::parse(&entry.at).is_ok_and(|at| at.ms() > signed.at.ms()) {
            let tag = row.record.address();
            let reason = format!(
                "{} {tag} was changed at {} after {} had signed it; it must be signed again",
                row.record.kind.noun, entry.at, signed.person
            );
            out.push(shared(&tag, "signature", "superseded", reason, Vec::new()));
        }
    }
    Ok(())
}
