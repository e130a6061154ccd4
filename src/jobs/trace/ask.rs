//! What went into a record, and what came out of it.

use crate::jobs::trace::show::{Blade, Contain, Edge, Node, Stock, Trace};
use knowledge::lineage::{Melted, edge_shares, shares_of};
use records::catalogue::{Blades, FilterLots, Heats, IngotLots, RevertLots};
use records::graph::lineage::Lineage;
use records::{Result, Store};

/// What went into a record.
pub fn trace(store: &Store, tag: &str) -> Result<Trace> {
    store.snapshot(|| {
        let (link, primary) = store.link(tag)?;
        let lineage = store.ancestry(link, &primary)?;
        let doubts = store.doubts(&lineage)?;
        let holds = store.open_hold_counts()?;
        let (share, part) = shares(&lineage);
        let mut place = None;
        let mut behind = false;
        if link.kind == Blades::NAME {
            let blade = store.locate_with(&lineage, &holds, doubts.iter().any(|d| d.carries))?;
            place = blade.as_ref().map(|b| b.place.word());
            behind = blade.is_some_and(|b| b.suspect);
        }
        let nodes = lineage
            .nodes
            .iter()
            .enumerate()
            .map(|(i, n)| Node {
                tag: n.tag.clone(),
                kind: n.link.kind,
                depth: n.depth,
                share: share[i],
                holds: holds.get(&(n.link.kind, n.link.id)).copied().unwrap_or(0),
                suspect: (i == 0 && behind) || doubts[i].on_it,
            })
            .collect();
        let edges = lineage
            .steps
            .iter()
            .zip(part)
            .map(|(s, share)| Edge {
                child: lineage.nodes[s.child].tag.clone(),
                parent: lineage.nodes[s.parent].tag.clone(),
                via: s.via.clone(),
                mass_kg: s.mass_kg,
                share,
            })
            .collect();
        Ok(Trace { tag: primary.clone(), kind: link.kind, nodes, edges, place })
    })
}

fn is_metal(kind: &str) -> bool {
    matches!(kind, Heats::NAME | IngotLots::NAME | RevertLots::NAME)
}

/// Shares of the metal: of every node in the asked record's heat, and of every step in its child.
fn shares(lineage: &Lineage) -> (Vec<Option<f64>>, Vec<Option<f64>>) {
    let n = lineage.nodes.len();
    // The nearest record of metal: the asked one itself, else the heat of its mould.
    let root = (0..n).find(|&i| is_metal(lineage.nodes[i].link.kind));
    let mut part = vec![None; lineage.steps.len()];
    let Some(root) = root else { return (vec![None; n], part) };
    let steps: Vec<usize> = (0..lineage.steps.len()).filter(|&i| lineage.steps[i].metal).collect();
    let melted: Vec<Melted> = steps
        .iter()
        .map(|&i| {
            let s = &lineage.steps[i];
            Melted { child: s.child, parent: s.parent, mass_kg: s.mass_kg }
        })
        .collect();
    for (&i, p) in steps.iter().zip(edge_shares(&melted)) {
        part[i] = p;
    }
    let share = shares_of(root, n, &melted);
    let share = (0..n).map(|i| share[i].filter(|_| is_metal(lineage.nodes[i].link.kind))).collect();
    (share, part)
}

/// [`trace`], and every row that it rests on held against its digest.
///
/// # Errors
/// As [`trace`]; or a row is not as it was written.
pub fn checked_trace(store: &Store, tag: &str) -> Result<Trace> {
    store.snapshot(|| {
        let (link, primary) = store.link(tag)?;
        store.vouch(&store.ancestry(link, &primary)?)?;
        trace(store, tag)
    })
}

/// What came out of a record, and where each blade is.
pub fn contain(store: &Store, tag: &str) -> Result<Contain> {
    store.snapshot(|| {
        let (link, primary) = store.link(tag)?;
        let mut found = store.contained(link)?;
        let metal = is_metal(link.kind);
        let mut not_poured = 0;
        // Blades of a mould are mostly sent together.
        let mut sent: (_, Option<std::sync::Arc<str>>) = (None, None);
        let blades: Vec<Blade> = std::mem::take(&mut found.blades)
            .into_iter()
            .map(|b| {
                let mould = b.mould.and_then(|m| found.moulds.get(&m));
                let heat = mould.and_then(|m| m.heat.as_ref());
                if !b.made {
                    not_poured += 1;
                }
                if sent.0 != b.shipped_at {
                    sent = (b.shipped_at, b.shipped_at.map(|t| t.text().into()));
                }
                Blade {
                    tag: b.tag,
                    mould: mould.map(|m| m.tag.clone()),
                    heat: heat.map(|h| h.1.clone()),
                    share: heat.filter(|_| metal).and_then(|h| {
                        found
                            .share_in_heat
                            .get(&h.0)
                            .copied()
                            .flatten()
                            .or_else(|| (h.0 == link.id && link.kind == Heats::NAME).then_some(1.0))
                    }),
                    place: b.place.word(),
                    held: b.held,
                    suspect: b.suspect,
                    shipped_at: sent.1.clone(),
                    certificate: b.certificate,
                }
            })
            .collect();
        let totals = Contain::count(&blades);
        let stock = stock(store, link.kind, link.id)?;
        let bands = Contain::bands(&blades);
        Ok(Contain {
            tag: primary,
            kind: link.kind,
            blades,
            totals,
            stock,
            not_poured,
            bands,
            at_least: None,
        })
    })
}

fn stock(store: &Store, kind: &'static str, id: i64) -> Result<Option<Stock>> {
    let Some((received, rejected, used)) = store.stock(kind, id)? else { return Ok(None) };
    let unit = if kind == FilterLots::NAME { "pieces" } else { "kg" };
    let left = received.map(|r| r - rejected.unwrap_or(0.0) - used);
    Ok(Some(Stock { received, used, left, unit }))
}
