//! May this lot go: the lot acceptance summary, and its release.

use std::collections::HashSet;

use crate::jobs::lots::contents;
use crate::jobs::lots::facts::{Basis, Facts};
use crate::jobs::lots::grouped;
use crate::jobs::lots::papers;
use crate::jobs::lots::readers;
use crate::jobs::lots::reasons;
use crate::jobs::lots::reasons::{making, samples, shipping};
use crate::jobs::lots::summary::{Counts, LotSummary, Papers, Released, Signature};
use crate::jobs::lots::tables;
use records::file::clock;
use records::graph::release_basis::{Changes, ITEMS_RULES, Signed};
use records::value::place::Place;
use records::{Result, Store, Who};

pub use crate::jobs::lots::signing::finalise;
pub use crate::jobs::lots::standing::product;

/// The lot acceptance summary of this moment.
pub fn summary(store: &Store, who: &Who, tag: &str) -> Result<LotSummary> {
    store.snapshot(|| {
        let basis = Basis::read(store, tag)?;
        make(store, who, &Facts::of(store, &basis)?)
    })
}

pub(crate) fn make(store: &Store, who: &Who, facts: &Facts) -> Result<LotSummary> {
    let making = making::of(store, facts)?;
    let blocked = reasons::all(store, facts, making.blocked)?;
    let (entries, head) = store.head()?;
    let actuals = contents::actuals(facts)?;
    let mut open_actions = contents::open_actions(facts, &actuals)?;
    open_actions.extend(making.open);
    let mut out = LotSummary {
        lot: facts.lot.address(),
        state: "draft",
        reasons: Vec::new(),
        blocked,
        counts: counts(facts),
        journal_head: head,
        journal_entries: entries,
        content: facts.behind.content.clone(),
        made_at: who.now.to_string(),
        signed: None,
        heading: contents::heading(facts)?,
        papers: Papers::default(),
        reconciliation: contents::reconciliation(facts),
        serials: contents::serials(facts),
        chemistry: contents::chemistry(store, facts)?,
        methods: contents::methods(facts)?,
        readings: readers::readings(facts),
        bar_limits: tables::bar_limits(facts),
        zones: contents::zones(facts)?,
        actuals,
        permissions: facts.permits.list(facts)?,
        sampling: samples::standings(facts),
        sheets: tables::tables(facts)?,
        open_actions,
        signatures: Vec::new(),
        after_shipment: Vec::new(),
        by_todays_rules: Vec::new(),
        cautions: contents::cautions(&facts.part_name()?),
        clock_given: store.clock_given()?,
        open_shipments: 0,
    };
    let changes = signed(store, facts, &mut out)?;
    let mut open = shipping::early(store, facts, changes.as_ref())?;
    let (still, again) = shipping::again(store, facts)?;
    open.extend(still);
    out.open_shipments = open.len();
    out.open_actions.extend(open);
    out.after_shipment.extend(again);
    if out.clock_given {
        out.cautions.push(clock::SAID.into());
    }
    out.reasons = grouped::of(&out.blocked);
    Ok(out)
}

/// Fills in the release and all signatures, and what the paper bears by them. Gives what was changed since the release.
pub(crate) fn signed(store: &Store, facts: &Facts, out: &mut LotSummary) -> Result<Option<Changes>> {
    let changes = released(store, facts, out)?;
    out.papers = papers::of(store, facts, out.state == "final")?;
    Ok(changes)
}

fn released(store: &Store, facts: &Facts, out: &mut LotSummary) -> Result<Option<Changes>> {
    out.signatures = facts.signed.iter().map(printed).collect();
    out.signed = None;
    out.state = "draft";
    let last = facts.releases().next_back();
    let Some((s, b)) = last.and_then(|s| Some((s, s.bound.as_ref()?))) else { return Ok(None) };
    let changes = store.changed_since(facts.behind, b)?;
    let mut changed = Vec::new();
    if store.entry(b.seq)?.is_none_or(|e| e.hash != b.head) {
        changed.push("the journal is not the one that was signed".to_string());
    }
    changed.extend(changes.void.iter().map(|c| c.words()));
    if changes.unexplained {
        changed.push("a record behind the lot, without an entry in the journal: run meltkin verify".into());
    }
    // What was signed under earlier rules is not judged by later ones, but for blades that are out.
    let later = |code: &str| match b.rules {
        ..ITEMS_RULES => !shipping::CODES.contains(&code),
        ITEMS_RULES => code == samples::SWITCHING,
        _ => false,
    };
    // The second differ from today's where a sample is judged by the switching rules, and nowhere else.
    let earlier = b.rules < ITEMS_RULES || out.blocked.iter().any(|r| later(r.code));
    let reasons = out.blocked.iter().filter(|r| !later(r.code)).count();
    if reasons > 0 {
        changed.push(format!("{reasons} reasons block the lot now"));
    }
    let void = !changed.is_empty();
    if earlier && !void {
        out.by_todays_rules = std::mem::take(&mut out.blocked);
    }
    out.state = if void { "void" } else { "final" };
    out.after_shipment = changes.after_shipment.iter().map(|c| c.words()).collect();
    out.signed = Some(Released {
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
            Place::Accepted => &mut out.accepted,
            Place::Concession => &mut out.concession,
            Place::Shipped => &mut out.shipped,
            Place::Returned => &mut out.returned,
            Place::Held => &mut out.held,
            Place::Scrapped => &mut out.scrapped,
            Place::InProcess => &mut out.in_process,
        } += 1;
    }
    out
}
