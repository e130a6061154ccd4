//! The non-central t distribution, which tolerance factors need.

use crate::stats::dist::normal::normal_cdf;
use crate::stats::dist::special::gauss;
use crate::stats::dist::special::ln_1p_minus;
use crate::stats::dist::special::poisson_real;

/// P(T ≤ t) where T = (Z + ncp)/√(χ²/df). `None` for df below 0.001 or an
/// argument beyond 1e100.
///
/// The integral of Φ(t s - ncp) over the density of s = √(χ²_df/df), by Gauss-Legendre panels that are
/// fine where either factor turns. Absolute error about 1e-13 (from df = 1; below that about 1e-8).
///
/// ```
/// let p = knowledge::stats::dist::noncentral_t_cdf(2.0, 10.0, 1.0).unwrap();
/// assert!((p - 0.8076115625303758).abs() < 1e-10);
/// ```
#[must_use]
pub fn noncentral_t_cdf(t: f64, df: f64, ncp: f64) -> Option<f64> {
    if !(t.abs() <= 1e100 && ncp.abs() <= 1e100 && (1e-3..=1e100).contains(&df)) {
        return None;
    }
    let mode = ((df - 1.0).max(0.0) / df).sqrt();
    let spread = (2.0 * df).sqrt().recip();
    let half = 0.5 * df;
    // the density of s, with half^half/Γ(half) taken from the Poisson probability
    let front = df * poisson_real(half, half);
    let density = |s: f64| {
        // near 0 the square would drown in the 1
        let fall = if s < 0.7 { 2.0 * s.ln() - s * s + 1.0 } else { ln_1p_minus(s * s - 1.0) };
        front * (half * fall).exp() / s
    };
    let end = mode + 13.0 * spread.min(1.0).max(spread);
    let mut cuts = vec![0.0, end];
    for i in -24..=24 {
        cuts.push(mode + 0.5 * f64::from(i) * spread);
        if t != 0.0 {
            cuts.push((ncp + 0.5 * f64::from(i)) / t);
        }
    }
    // towards zero, where a broken power of s may stand
    for i in 1..30 {
        cuts.push(mode.max(spread) * 0.5f64.powi(i));
    }
    cuts.retain(|s| (0.0..=end).contains(s));
    cuts.sort_by(f64::total_cmp);
    let mut sum = 0.0;
    for pair in cuts.windows(2) {
        let width = pair[1] - pair[0];
        if width > 0.0 {
            let panel: f64 = gauss()
                .iter()
                .map(|&(node, weight)| {
                    let s = pair[0] + width * node;
                    weight * density(s) * normal_cdf(t * s - ncp)
                })
                .sum();
            sum += panel * width;
        }
    }
    (!sum.is_nan()).then(|| sum.clamp(0.0, 1.0))
}
