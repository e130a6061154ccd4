//! Mean time to absorption of a chain whose moves are short, without subtraction: every figure is a sum
//! of positive ones, so run lengths of 1e15 keep their digits (Grassmann, Taksar and Heyman 1985,
//! Operations Research 33:1107).

use std::ops::Range;

use crate::stats::dist::normal_pdf;

/// Numbers a chain may hold, and steps its solution may take.
const LARGEST: f64 = 2e7;
const LONGEST: f64 = 1e9;

/// A chain in which state i moves to states from i-`below` to i+`above`, to state 0 from anywhere, or out.
pub(crate) struct Chain {
    below: usize,
    above: usize,
    /// Row by row, the moves to i-`below` … i+`above`; those into state 0 stand in `to_first`.
    moves: Vec<f64>,
    /// Moves into state 0.
    pub to_first: Vec<f64>,
    /// Leaving for good.
    pub exits: Vec<f64>,
}

/// The places of `nodes` within `reach` of `centre`.
pub(crate) fn near(nodes: &[(f64, f64)], centre: f64, reach: f64) -> Range<usize> {
    let from = nodes.partition_point(|n| n.0 < centre - reach);
    let to = nodes.partition_point(|n| n.0 <= centre + reach);
    from..to.max(from)
}

/// Moves rarer than the normal density at this distance are left out (1e-23 in all).
pub(crate) const REACH: f64 = 10.0;

impl Chain {
    /// A chain over quadrature nodes (and `extra` states in front of them), in which the step from state i
    /// is normal about `centres[i]` with sigma 1. `None` where it would be too large to solve.
    pub fn normal(nodes: &[(f64, f64)], extra: usize, centres: &[f64]) -> Option<Self> {
        let count = nodes.len() + extra;
        let targets: Vec<Range<usize>> = centres.iter().map(|c| near(nodes, *c, REACH)).collect();
        let (mut below, mut above) = (0, 0);
        for (i, t) in targets.iter().enumerate().filter(|(_, t)| !t.is_empty()) {
            below = below.max(i.saturating_sub(t.start + extra));
            above = above.max((t.end - 1 + extra).saturating_sub(i));
        }
        let width = below + above + 1;
        if count as f64 * width as f64 > LARGEST
            || count as f64 * (below as f64 + 1.0) * (above as f64 + 1.0) > LONGEST
        {
            return None;
        }
        let mut chain = Self {
            below,
            above,
            moves: vec![0.0; count * width],
            to_first: vec![0.0; count],
            exits: vec![0.0; count],
        };
        for (i, targets) in targets.into_iter().enumerate() {
            for node in targets {
                let j = node + extra;
                let chance = nodes[node].1 * normal_pdf(nodes[node].0 - centres[i]);
                if j == 0 {
                    chain.to_first[i] += chance;
                } else {
                    let at = chain.at(i, j);
                    chain.moves[at] = chance;
                }
            }
        }
        Some(chain)
    }

    fn at(&self, i: usize, j: usize) -> usize {
        i * (self.below + self.above + 1) + j + self.below - i
    }

    /// The mean number of steps to leave, from each state.
    pub fn mean_steps(mut self) -> Vec<f64> {
        let count = self.exits.len();
        let mut time = vec![1.0; count];
        let mut leave = vec![0.0; count];
        // states are taken out from the last on; what went through them goes where they went
        for k in (1..count).rev() {
            let first = k.saturating_sub(self.below).max(1);
            let row: Vec<f64> = (first..k).map(|j| self.moves[self.at(k, j)]).collect();
            leave[k] = self.exits[k] + self.to_first[k] + row.iter().sum::<f64>();
            for i in k.saturating_sub(self.above)..k {
                let share = self.moves[self.at(i, k)] / leave[k];
                if share == 0.0 {
                    continue;
                }
                self.exits[i] += share * self.exits[k];
                self.to_first[i] += share * self.to_first[k];
                time[i] += share * time[k];
                let at = self.at(i, first);
                for (into, from) in self.moves[at..].iter_mut().zip(&row) {
                    *into += share * from;
                }
            }
        }
        let mut steps = vec![0.0; count];
        steps[0] = time[0] / self.exits[0];
        for k in 1..count {
            let first = k.saturating_sub(self.below).max(1);
            let on: f64 = (first..k).map(|j| self.moves[self.at(k, j)] * steps[j]).sum();
            steps[k] = (time[k] + self.to_first[k] * steps[0] + on) / leave[k];
        }
        steps
    }
}
