//! Blades that were sent, came back, or were poured by nobody: what blocks the lot, and what is only said.

use std::collections::BTreeMap;

use crate::jobs::lots::facts::Facts;
use crate::jobs::lots::summary::Block;
use records::catalogue::Pours;
use records::graph::release_basis::Changes;
use records::value::place::Place;
use records::{Result, Stamp, Store};

/// Codes of reasons that make a release void by any rules: a blade is out that should not be.
pub const CODES: &[&str] = &["shipped", "returned"];

/// What blocks.
pub fn against(facts: &Facts, out: &mut Vec<Block>) -> Result<()> {
    for b in facts.alive() {
        let out_now = b.place == Place::Shipped;
        if out_now && !facts.accepting(b) {
            let last = match facts.decision(&b.tag) {
                None => "it has no disposition".into(),
                Some(d) => format!("its last disposition is {}", d.word()),
            };
            let reason = format!("shipped without acceptance: {last}");
            out.push(Block::of_blade(&b.tag, "ship", "shipped", reason));
        }
        if b.undecided {
            let reason = match out_now {
                true => "shipped again after its return, and quality has not decided between",
                false => "it came back, and quality has not decided since",
            };
            out.push(Block::of_blade(&b.tag, "ship", "returned", reason.into()));
        }
    }
    for p in facts.behind.each::<Pours>().filter(|p| p.get(Pours::person).is_none()) {
        let blades = facts.alive_of(|m| Some(m) == p.link(Pours::mould));
        if !blades.is_empty() {
            let mould = p.need(Pours::mould)?;
            let reason =
                format!("the pour of {mould} names no person: whether the signatory poured is not known");
            let block = Block::shared(mould, "pour", "pourer", reason, blades);
            out.push(block.found_at(&p.address(), p.own_time()));
        }
    }
    Ok(())
}

/// Blades that went out before the lot was released, or after its release had become void, and that quality has not
/// decided on since. They block nothing; they are said until they came back or the lot is signed.
pub fn early(store: &Store, facts: &Facts, changes: Option<&Changes>) -> Result<Vec<String>> {
    let voided = changes.and_then(|c| c.void.iter().map(|c| c.entry).min());
    let mut found: BTreeMap<&str, Vec<String>> = BTreeMap::new();
    for (tag, _, entry, decided) in store.sent_of_lot(facts.key.id)? {
        let why = match (facts.releases().last(), voided) {
            (None, _) => "shipped, and the lot is not released",
            (Some(_), Some(void)) if entry > void => "shipped after the release had become void",
            _ => continue,
        };
        if !decided {
            found.entry(why).or_default().push(tag);
        }
    }
    Ok(found.into_iter().map(|(why, tags)| format!("{why}: {}", some_of(&tags))).collect())
}

/// Blades that came back and went out again without a new lot: what is open of it, and all of it for what happened after
/// the shipment.
pub fn again(store: &Store, facts: &Facts) -> Result<(Vec<String>, Vec<String>)> {
    let sent = store.sent_again(facts.key.id)?;
    let mut open: Vec<String> = sent.iter().filter(|s| s.2).map(|s| s.0.clone()).collect();
    open.dedup();
    let line = |(tag, at, _): &(String, Stamp, bool)| {
        format!("{tag}: shipped again at {at}, after its return and in no new lot")
    };
    let said = format!("shipped again after its return, in no new lot: {}", some_of(&open));
    let open = if open.is_empty() { Vec::new() } else { vec![said] };
    Ok((open, sent.iter().map(line).collect()))
}

/// A few tags and how many there are.
fn some_of(tags: &[String]) -> String {
    let mut out = tags.iter().take(8).cloned().collect::<Vec<_>>().join(", ");
    if tags.len() > 8 {
        out.push_str(&format!(" … {} in all", tags.len()));
    }
    out
}
