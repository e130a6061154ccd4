//! Arms dealt anew among moulds, inside blocks where both arms occur in them, else among whole blocks.

use crate::causes::random::Chance;

/// Draws of the permutation test, or every arrangement where there are no more.
const DRAWS: usize = 9_999;

/// A mould as both comparisons see it: n blades, and their sum of defects or values.
#[derive(Clone, Copy)]
pub(crate) struct MouldSum {
    pub(crate) n: f64,
    pub(crate) y: f64,
    pub(crate) second: bool,
    pub(crate) block: u32,
}

/// A group of units among which arms are dealt: (blades, with) of each, and how many go to arm b.
struct Deal {
    units: Vec<(f64, f64)>,
    second: usize,
}

/// p of a difference at least as large, two-sided, and how it was found.
pub(crate) fn permutation(blocks: &[&[MouldSum]], observed: f64, seed: u64) -> (Option<f64>, String) {
    let mut deals = Vec::new();
    let mut whole = Deal { units: Vec::new(), second: 0 };
    for moulds in blocks {
        let second = moulds.iter().filter(|m| m.second).count();
        let units: Vec<(f64, f64)> = moulds.iter().map(|m| (m.n, m.y)).collect();
        if second > 0 && second < moulds.len() {
            deals.push(Deal { units, second });
        } else {
            let sum = units.iter().fold((0.0, 0.0), |s, u| (s.0 + u.0, s.1 + u.1));
            whole.units.push(sum);
            whole.second += usize::from(second > 0);
        }
    }
    let inside = !deals.is_empty();
    if whole.second > 0 && whole.second < whole.units.len() {
        deals.push(whole);
    } else if !inside {
        return (None, "Each arm is one heat (or block): arms cannot be dealt anew.".into());
    } else if !whole.units.is_empty() {
        deals.push(Deal { second: whole.second, units: whole.units });
    }
    let place =
        if inside { "among the moulds of each heat (or block) that holds both" } else { "among heats" };
    let arrangements: f64 = deals.iter().map(|d| choose(d.units.len(), d.second)).product();
    let slack = observed * (1.0 - 1e-9) - 1e-12;
    if arrangements <= DRAWS as f64 {
        let (mut reached, mut all) = (0u64, 0u64);
        every(&deals, 0, [0.0; 4], &mut |[n_a, y_a, n_b, y_b]| {
            all += 1;
            reached += u64::from((y_b / n_b - y_a / n_a).abs() >= slack);
        });
        return (
            Some(reached as f64 / all as f64),
            format!("p from all {all} ways to deal the arms {place}."),
        );
    }
    let mut reached = 0usize;
    for b in 1..=DRAWS as u64 {
        let mut chance = Chance::of_draw(seed, b);
        let mut sums = [0.0; 4];
        for deal in &mut deals {
            chance.shuffle(&mut deal.units);
            for (i, (n, y)) in deal.units.iter().enumerate() {
                let arm = if i < deal.second { 2 } else { 0 };
                sums[arm] += n;
                sums[arm + 1] += y;
            }
        }
        let [n_a, y_a, n_b, y_b] = sums;
        reached += usize::from((y_b / n_b - y_a / n_a).abs() >= slack);
    }
    let p = (reached as f64 + 1.0) / (DRAWS as f64 + 1.0);
    (Some(p), format!("p from {DRAWS} deals of the arms {place}, seed {seed}."))
}

/// Every way to deal every group, one after another.
fn every(deals: &[Deal], unit: usize, sums: [f64; 4], give: &mut impl FnMut([f64; 4])) {
    fn within(deals: &[Deal], unit: usize, left: usize, mut sums: [f64; 4], give: &mut dyn FnMut([f64; 4])) {
        let Some(deal) = deals.first() else { return give(sums) };
        let Some(&(n, y)) = deal.units.get(unit) else {
            let next = deals.get(1).map_or(0, |d| d.second);
            return within(&deals[1..], 0, next, sums, give);
        };
        let rest = deal.units.len() - unit;
        if left > 0 {
            let mut with = sums;
            with[2] += n;
            with[3] += y;
            within(deals, unit + 1, left - 1, with, give);
        }
        if left < rest {
            sums[0] += n;
            sums[1] += y;
            within(deals, unit + 1, left, sums, give);
        }
    }
    within(deals, unit, deals.first().map_or(0, |d| d.second), sums, give);
}

fn choose(n: usize, k: usize) -> f64 {
    (0..k.min(n - k)).map(|i| (n - i) as f64 / (i + 1) as f64).product()
}
