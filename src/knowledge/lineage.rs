//! Genealogy over edges: shares of metal through every generation. Pure.

use std::collections::HashMap;

/// A part of the metal of `child` came from `parent`.
#[derive(Clone, Copy, Debug)]
pub struct Melted {
    /// The record that was made.
    pub child: usize,
    /// What went into it.
    pub parent: usize,
    /// Mass in kg; none where it is not recorded as a number.
    pub mass_kg: Option<f64>,
}

/// The part of each edge in the metal of its child, `mass / total mass of the child's edges`; none
/// for every edge of a child of which a mass is missing or the total is not positive.
#[must_use]
pub fn edge_shares(edges: &[Melted]) -> Vec<Option<f64>> {
    let mut totals: HashMap<usize, Option<f64>> = HashMap::new();
    for e in edges {
        let total = totals.entry(e.child).or_insert(Some(0.0));
        *total = match (*total, e.mass_kg) {
            (Some(t), Some(m)) => Some(t + m),
            _ => None,
        };
    }
    edges
        .iter()
        .map(|e| match (totals.get(&e.child).copied().flatten(), e.mass_kg) {
            (Some(total), Some(mass)) if total > 0.0 => Some(mass / total),
            _ => None,
        })
        .collect()
}

/// The share of every ancestor in the metal of `root`: shares multiply along a path and add over
/// paths. None for an ancestor one of whose paths has an unknown share. Nodes count from 0 to
/// `nodes - 1`; a node that is no ancestor has no entry (NaN never stands for it: it is `None` too).
#[must_use]
pub fn shares_of(root: usize, nodes: usize, edges: &[Melted]) -> Vec<Option<f64>> {
    propagate(root, nodes, edges, |e| (e.child, e.parent))
}

/// The share of `source` in the metal of every descendant, by the same rule. `edges` must hold every
/// edge of every child that occurs, those from other sources too.
#[must_use]
pub fn shares_in(source: usize, nodes: usize, edges: &[Melted]) -> Vec<Option<f64>> {
    propagate(source, nodes, edges, |e| (e.parent, e.child))
}

/// Carries a share of 1 from `start` along the edges, each node only after all that lead to it.
fn propagate(
    start: usize,
    nodes: usize,
    edges: &[Melted],
    ends: impl Fn(&Melted) -> (usize, usize),
) -> Vec<Option<f64>> {
    let parts = edge_shares(edges);
    let mut leaving: Vec<Vec<usize>> = vec![Vec::new(); nodes];
    for (i, e) in edges.iter().enumerate() {
        leaving[ends(e).0].push(i);
    }
    // How many edges reach each node from nodes that `start` reaches.
    let mut waiting = vec![0_usize; nodes];
    let mut reached = vec![false; nodes];
    let mut stack = vec![start];
    reached[start] = true;
    while let Some(n) = stack.pop() {
        for &i in &leaving[n] {
            let to = ends(&edges[i]).1;
            waiting[to] += 1;
            if !reached[to] {
                reached[to] = true;
                stack.push(to);
            }
        }
    }
    let mut share: Vec<Option<f64>> = reached.iter().map(|&r| r.then_some(0.0)).collect();
    share[start] = Some(1.0);
    let mut ready = vec![start];
    while let Some(n) = ready.pop() {
        for &i in &leaving[n] {
            let to = ends(&edges[i]).1;
            share[to] = match (share[to], share[n], parts[i]) {
                (Some(sum), Some(s), Some(p)) => Some(sum + s * p),
                _ => None,
            };
            waiting[to] -= 1;
            if waiting[to] == 0 {
                ready.push(to);
            }
        }
    }
    share
}

#[cfg(test)]
mod tests {
    use super::*;

    fn melted(child: usize, parent: usize, mass: f64) -> Melted {
        Melted { child, parent, mass_kg: Some(mass) }
    }

    /// Worked by hand: heat 0 is 6 kg of ingot 1 and 4 kg of revert 2; revert 2 came half from heat 3,
    /// half from heat 4; heat 3 is all ingot 1, heat 4 is ingot 1 and ingot 5 in equal parts.
    fn example() -> Vec<Melted> {
        vec![
            melted(0, 1, 6.0),
            melted(0, 2, 4.0),
            melted(2, 3, 5.0),
            melted(2, 4, 5.0),
            melted(3, 1, 10.0),
            melted(4, 1, 5.0),
            melted(4, 5, 5.0),
        ]
    }

    #[test]
    fn shares_multiply_along_a_path_and_add_over_paths() {
        let s = shares_of(0, 6, &example());
        let want = [1.0, 0.6 + 0.4 * 0.5 + 0.4 * 0.5 * 0.5, 0.4, 0.2, 0.2, 0.1];
        for (i, w) in want.into_iter().enumerate() {
            assert!((s[i].unwrap() - w).abs() < 1e-12, "node {i}");
        }
        assert!((s[1].unwrap() + s[5].unwrap() - 1.0).abs() < 1e-12, "ingots sum to one");
    }

    #[test]
    fn the_way_down_gives_the_same_share_as_the_way_up() {
        let down = shares_in(5, 6, &example());
        assert!((down[0].unwrap() - 0.1).abs() < 1e-12);
        assert!((down[2].unwrap() - 0.25).abs() < 1e-12);
    }

    #[test]
    fn a_missing_mass_gives_no_share() {
        let mut edges = example();
        edges[1].mass_kg = None;
        let s = shares_of(0, 6, &edges);
        assert_eq!((s[0], s[1], s[2]), (Some(1.0), None, None));
    }
}
