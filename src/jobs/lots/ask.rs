//! May this lot go: the lot acceptance summary, and its release.

use std::collections::HashSet;

use crate::jobs::lots::show::{Counts, Release, Signature, Summary};
use records::file::clock;
use records::graph::release_basis::{Changes, RULES, Signed};
use records::{Result, Store, Who};

use crate::jobs::lots::facts::Facts;
pub use crate::jobs::lots::signing::finalise;
pub use crate::jobs::lots::standing::product;

/// The lot acceptance summary of this moment.
///
/// # Errors
/// An unknown lot, or a store that cannot be read.
pub fn summary(store: &Store, who: &Who, tag: &str) -> Result<Summary> {
    store.snapshot(|| {
        let facts = Facts::read(store, tag)?;
        make(store, who, &facts)
    })
}

pub(crate) fn make(store: &Store, who: &Who, facts: &Facts) -> Result<Summary> {
    let making = crate::jobs::lots::making::of(store, facts)?;
    let blocked = crate::jobs::lots::reasons::all(store, facts, making.blocked)?;
    let (entries, head) = store.head()?;
    let (part, heading) = crate::jobs::lots::contents::heading(facts);
    let mut out = Summary {
        lot: facts.lot.record.address(),
        state: "draft",
        blocked,
        counts: counts(facts),
        journal_head: head,
        journal_entries: entries,
        content: facts.behind.content.clone(),
        made_at: who.now.to_string(),
        signed: None,
        heading,
        reconciliation: crate::jobs::lots::contents::reconciliation(facts),
        serials: crate::jobs::lots::contents::serials(facts),
        chemistry: crate::jobs::lots::contents::chemistry(store, facts)?,
        methods: crate::jobs::lots::contents::methods(facts),
        zones: crate::jobs::lots::contents::zones(facts),
        actuals: crate::jobs::lots::contents::actuals(facts),
        permissions: facts.permits.list(facts),
        sheets: crate::jobs::lots::tables::sheets(facts),
        open_actions: crate::jobs::lots::contents::open_actions(facts)
            .into_iter()
            .chain(making.open)
            .collect(),
        signatures: Vec::new(),
        after_shipment: Vec::new(),
        by_todays_rules: Vec::new(),
        cautions: crate::jobs::lots::contents::cautions(&part),
        clock_given: store.clock_given()?,
    };
    let changes = signed(store, facts, &mut out)?;
    out.open_actions.extend(crate::jobs::lots::shipping::early(store, facts, changes.as_ref())?);
    let (open, again) = crate::jobs::lots::shipping::again(store, facts)?;
    out.open_actions.extend(open);
    out.after_shipment.extend(again);
    if out.clock_given {
        out.cautions.push(clock::SAID.into());
    }
    Ok(out)
}

/// Fills in the release and all signatures. Gives what was changed since the release.
pub(crate) fn signed(store: &Store, facts: &Facts, out: &mut Summary) -> Result<Option<Changes>> {
    out.signatures = facts.signed.iter().map(printed).collect();
    out.signed = None;
    out.state = "draft";
    let last = facts.signed.iter().rev().find(|s| s.genuine && s.meaning == "released");
    let Some((s, b)) = last.and_then(|s| Some((s, s.bound.as_ref()?))) else { return Ok(None) };
    let changes = store.changed_since(&facts.behind, b)?;
    let mut changed = Vec::new();
    if store.entry(b.seq)?.is_none_or(|e| e.hash != b.head) {
        changed.push("the journal is not the one that was signed".to_string());
    }
    changed.extend(changes.void.iter().map(|c| c.words()));
    if changes.unexplained {
        changed.push("a record behind the lot, without an entry in the journal: run meltkin verify".into());
    }
    let earlier = b.rules < RULES;
    // What was signed under earlier rules is not judged by later ones, but for blades that are out.
    let against = |code: &str| !earlier || crate::jobs::lots::shipping::CODES.contains(&code);
    let reasons = out.blocked.iter().filter(|r| against(r.code)).count();
    if reasons > 0 {
        changed.push(format!("{reasons} reasons block the lot now"));
    }
    let void = !changed.is_empty();
    if earlier && !void {
        out.by_todays_rules = std::mem::take(&mut out.blocked);
    }
    out.state = if void { "void" } else { "final" };
    out.after_shipment = changes.after_shipment.iter().map(|c| c.words()).collect();
    out.signed = Some(Release {
        person: s.person.clone(),
        at: s.at.to_string(),
        proof: b.proof.clone(),
        rules: b.rules,
        earlier_rules: earlier,
        content: b.content.clone(),
        journal_head: b.head.clone(),
        void,
        changed,
    });
    Ok(Some(changes))
}

fn printed(s: &Signed) -> Signature {
    let proof = match (s.genuine, &s.bound) {
        (true, Some(b)) => b.proof.clone(),
        _ => "recorded, not signed here; name as claimed".into(),
    };
    Signature {
        role: s.role.clone(),
        person: s.person.clone(),
        meaning: s.meaning.clone(),
        at: s.at.to_string(),
        proof,
    }
}

fn counts(facts: &Facts) -> Counts {
    let mut out = Counts { ordered: facts.ordered(), ..Counts::default() };
    let inspected: HashSet<&str> = facts.first.keys().map(|(b, _)| b.as_str()).collect();
    for blade in facts.blades.iter().filter(|b| b.counts) {
        out.made += 1;
        out.inspected += i64::from(inspected.contains(blade.tag.as_str()));
        *match blade.place {
            "accepted" => &mut out.accepted,
            "concession" => &mut out.concession,
            "shipped" => &mut out.shipped,
            "returned" => &mut out.returned,
            "held" => &mut out.held,
            "scrapped" => &mut out.scrapped,
            _ => &mut out.in_process,
        } += 1;
    }
    out
}
