//! The rows of the two trees: what went into a record, what came out of it.

use std::collections::{HashMap, HashSet};

use crate::jobs::trace::show::{Contain, Edge, Trace};

/// A row of the tree of what went into a record.
#[derive(Debug, Clone, PartialEq)]
pub struct Row {
    /// The record, as its place among the nodes.
    pub node: usize,
    /// Steps from the top.
    pub depth: usize,
    /// How it went in: several ways into the same record stand in one row.
    pub via: Vec<String>,
    /// Mass in kg, for metal.
    pub mass_kg: Option<f64>,
    /// It has parents of its own: shown, or folded.
    pub open: Option<bool>,
    /// Its parents stand further up already.
    pub above: bool,
    /// It stands further up itself; its share is told there.
    pub again: bool,
    /// It went in on more than one way.
    pub ways: bool,
}

/// The rows that are not folded away.
pub fn rows(trace: &Trace, folded: &HashSet<String>) -> Vec<Row> {
    let place: HashMap<&str, usize> =
        trace.nodes.iter().enumerate().map(|(i, n)| (n.tag.as_str(), i)).collect();
    let mut parents: HashMap<&str, Vec<(usize, Vec<&Edge>)>> = HashMap::new();
    for edge in &trace.edges {
        let Some(&parent) = place.get(edge.parent.as_str()) else { continue };
        let all = parents.entry(&edge.child).or_default();
        match all.iter_mut().find(|(p, _)| *p == parent) {
            Some((_, edges)) => edges.push(edge),
            None => all.push((parent, vec![edge])),
        }
    }
    let mut out = Vec::new();
    if trace.nodes.is_empty() {
        return out;
    }
    let mut into: HashMap<&str, HashSet<&str>> = HashMap::new();
    for edge in &trace.edges {
        into.entry(&edge.parent).or_default().insert(&edge.child);
    }
    let mut seen = HashSet::new();
    let mut stack = vec![(0, 0, Vec::<&Edge>::new())];
    while let Some((node, depth, edges)) = stack.pop() {
        let tag = trace.nodes[node].tag.as_str();
        let again = !seen.insert(node);
        let above = again && parents.contains_key(tag);
        let open = (parents.contains_key(tag) && !above).then(|| !folded.contains(tag));
        let masses: Vec<f64> = edges.iter().filter_map(|e| e.mass_kg).collect();
        out.push(Row {
            node,
            depth,
            via: edges.iter().map(|e| e.via.clone()).collect(),
            mass_kg: (!masses.is_empty()).then(|| masses.iter().sum()),
            open,
            above,
            again,
            ways: into.get(tag).is_some_and(|children| children.len() > 1),
        });
        if open == Some(true) {
            for (parent, edges) in parents[tag].iter().rev() {
                stack.push((*parent, depth + 1, edges.clone()));
            }
        }
    }
    out
}

/// A row of the tree of what came out.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Below {
    /// A mould: its first blade, how many blades, whether they are shown.
    Mould(usize, usize, bool),
    Blade(usize),
}

/// Moulds with their blades; blades of one mould stand together.
pub fn below(contain: &Contain, opened: &HashSet<usize>, all: bool) -> Vec<Below> {
    let blades = &contain.blades;
    let mut out = Vec::new();
    let mut from = 0;
    while from < blades.len() {
        let len = blades[from..].iter().take_while(|b| b.mould == blades[from].mould).count();
        let open = all != opened.contains(&from);
        out.push(Below::Mould(from, len, open));
        if open {
            out.extend((from..from + len).map(Below::Blade));
        }
        from += len;
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::jobs::trace::show::{Blade, Node};

    fn node(tag: &str, depth: usize) -> Node {
        Node { tag: tag.into(), kind: "heats", depth, share: None, holds: 0, suspect: false }
    }

    fn edge(child: &str, parent: &str, mass: f64) -> Edge {
        let via = "source".into();
        Edge { child: child.into(), parent: parent.into(), via, mass_kg: Some(mass), share: None }
    }

    #[test]
    fn rows_fold_merge_and_end_where_parents_go_round() {
        let trace = Trace {
            tag: "A".into(),
            kind: "heats",
            nodes: vec![node("A", 0), node("B", 1), node("C", 2)],
            edges: vec![edge("A", "B", 1.0), edge("A", "B", 2.0), edge("B", "C", 1.0), edge("C", "A", 1.0)],
            place: None,
        };
        let all = rows(&trace, &HashSet::new());
        assert_eq!(
            all.iter().map(|r| (r.node, r.depth)).collect::<Vec<_>>(),
            [(0, 0), (1, 1), (2, 2), (0, 3)]
        );
        assert_eq!((all[1].mass_kg, all[1].via.len(), all[3].above), (Some(3.0), 2, true));
        assert_eq!(rows(&trace, &HashSet::from(["B".to_string()])).len(), 2);
    }

    #[test]
    fn a_hundred_thousand_blades_stand_below_their_moulds() {
        let blades: Vec<Blade> = (0..100_000)
            .map(|i| Blade {
                tag: format!("B{i}"),
                mould: Some(format!("M{}", i / 10).into()),
                heat: None,
                share: None,
                place: "in process",
                held: false,
                suspect: false,
                shipped_at: None,
                certificate: None,
            })
            .collect();
        let totals = Contain::count(&blades);
        let contain = Contain {
            tag: "H".into(),
            kind: "heats",
            blades,
            totals,
            stock: None,
            not_poured: 0,
            bands: Vec::new(),
            at_least: None,
        };
        assert_eq!(below(&contain, &HashSet::new(), false).len(), 10_000);
        assert_eq!(below(&contain, &HashSet::new(), true).len(), 110_000);
        assert_eq!(below(&contain, &HashSet::from([10]), false)[2], Below::Blade(10));
    }
}
