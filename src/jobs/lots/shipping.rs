//! Blades that were sent, came back, or were poured by nobody: what blocks the lot, and what is only said.

use std::collections::BTreeMap;

use crate::jobs::lots::facts::Facts;
use crate::jobs::lots::reasons::{blade, shared};
use crate::jobs::lots::show::Block;
use records::Stamp;
use records::graph::release_basis::Changes;
use records::{Result, Store};

/// Codes of reasons that make a release void by any rules: a blade is out that should not be.
pub const CODES: &[&str] = &["shipped", "returned"];

/// What blocks.
pub fn against(facts: &Facts, out: &mut Vec<Block>) {
    for b in facts.alive() {
        let decision = facts.decision(&b.tag).and_then(|d| d.get("decision").text());
        let out_now = b.place == "shipped";
        if out_now && !matches!(decision, Some("accept" | "concession")) {
            let last =
                decision.map_or("it has no disposition".into(), |d| format!("its last disposition is {d}"));
            out.push(blade(&b.tag, "ship", "shipped", format!("shipped without acceptance: {last}")));
        }
        if b.undecided {
            let reason = match out_now {
                true => "shipped again after its return, and quality has not decided between",
                false => "it came back, and quality has not decided since",
            };
            out.push(blade(&b.tag, "ship", "returned", reason.into()));
        }
    }
    let mut nobody: Vec<(String, Vec<String>)> = Vec::new();
    for p in facts.behind.of("pours").filter(|p| p.record.get("person").text().is_none()) {
        let blades = facts.alive_of(|m| Some(m) == p.link("mould"));
        if !blades.is_empty() {
            nobody.push((p.record.get("mould").to_text(), blades));
        }
    }
    for (mould, blades) in nobody {
        let reason =
            format!("the pour of {mould} names no person: whether the signatory poured cannot be told");
        out.push(shared(&mould, "pour", "pourer", reason, blades));
    }
}

/// Blades that went out before the lot was released, or after its release had become void, and that quality has not
/// decided on since. They block nothing; they are said until they came back or the lot is signed.
pub fn early(store: &Store, facts: &Facts, changes: Option<&Changes>) -> Result<Vec<String>> {
    let releases: Vec<i64> =
        facts.signed.iter().filter(|s| s.genuine && s.meaning == "released").map(|s| s.entry).collect();
    let voided = changes.and_then(|c| c.void.iter().map(|c| c.entry).min());
    let mut found: BTreeMap<&str, Vec<String>> = BTreeMap::new();
    for (tag, _, entry, decided) in store.sent_of_lot(facts.id)? {
        let why = match (releases.last(), voided) {
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
    let sent = store.sent_again(facts.id)?;
    let mut open: Vec<String> = sent.iter().filter(|s| s.2).map(|s| s.0.clone()).collect();
    open.dedup();
    let line = |(tag, at, _): &(String, Stamp, bool)| {
        format!("{tag}: shipped again at {at}, after its return and in no new lot")
    };
    let open = match open.is_empty() {
        true => Vec::new(),
        false => vec![format!("shipped again after its return, in no new lot: {}", some_of(&open))],
    };
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
