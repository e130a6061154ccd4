//! Gauss-Legendre quadrature: nodes and weights for smooth integrands.

use std::f64::consts::PI;
use std::sync::OnceLock;

/// Points of the rule that panels are built of.
pub(crate) const POINTS: usize = 16;

/// Nodes and weights of the 16-point Gauss-Legendre rule on [0, 1] (Newton's iteration on the Legendre
/// polynomial; textbook method).
pub(crate) fn rule() -> &'static [(f64, f64); POINTS] {
    static RULE: OnceLock<[(f64, f64); POINTS]> = OnceLock::new();
    RULE.get_or_init(|| {
        let n = POINTS as f64;
        std::array::from_fn(|i| {
            let mut z = (PI * (i as f64 + 0.75) / (n + 0.5)).cos();
            let mut slope = 1.0;
            for _ in 0..10 {
                let (mut now, mut before) = (1.0, 0.0);
                for j in 1..=POINTS {
                    let j = j as f64;
                    (now, before) = (((2.0 * j - 1.0) * z * now - (j - 1.0) * before) / j, now);
                }
                slope = n * (z * now - before) / (z * z - 1.0);
                z -= now / slope;
            }
            (0.5 * (1.0 - z), 1.0 / ((1.0 - z * z) * slope * slope))
        })
    })
}

/// Nodes and weights over [`from`, `to`], rising, in equal panels no wider than `widest`.
pub(crate) fn panels(from: f64, to: f64, widest: f64) -> Vec<(f64, f64)> {
    let count = ((to - from) / widest).ceil().max(1.0) as usize;
    let width = (to - from) / count as f64;
    let mut nodes = Vec::with_capacity(count * POINTS);
    for panel in 0..count {
        let start = from + width * panel as f64;
        nodes.extend(rule().iter().map(|&(node, weight)| (start + width * node, width * weight)));
    }
    nodes
}

#[cfg(test)]
mod tests {
    use super::panels;

    #[test]
    fn integrates_what_is_known() {
        // ∫ exp from 0 to 3 is e³ - 1
        let nodes = panels(0.0, 3.0, 2.0);
        assert_eq!(nodes.len(), 32);
        assert!(nodes.windows(2).all(|w| w[0].0 < w[1].0));
        let sum: f64 = nodes.iter().map(|(x, w)| w * x.exp()).sum();
        assert!((sum - (3.0f64.exp() - 1.0)).abs() < 1e-13);
    }
}
