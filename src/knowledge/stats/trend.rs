//! Cochran and Armitage's test of a trend in proportions.

use crate::stats::dist::chi2_sf;
use crate::stats::proportion::check;

/// A trend: z rises with the share, chi-square is z².
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Trend {
    /// Signed statistic; positive where the share rises with the score.
    pub z: f64,
    /// z².
    pub chi2: f64,
    /// Two-sided p, chi-square on one degree of freedom.
    pub p: f64,
}

/// Cochran and Armitage's test: z = Σ s_i (x_i - n_i p) / √(p (1-p) Σ n_i (s_i - s̄)²), p = Σx/Σn,
/// s̄ the mean score weighted by n. `None` where every piece or none has the mark, or all scores are the
/// same: then no share can rise.
///
/// Source: Cochran 1954, Armitage 1955; the variance with N, not N-1.
///
/// # Errors
/// Lists of unequal length; a count above its total; a score that is not finite.
///
/// ```
/// let t = knowledge::stats::trend::cochran_armitage(&[1.0, 2.0, 3.0, 4.0], &[83, 90, 129, 70], &[86, 93, 136, 82]);
/// assert!((t.unwrap().unwrap().chi2 - 8.2249).abs() < 5e-5);
/// ```
pub fn cochran_armitage(scores: &[f64], x: &[u64], n: &[u64]) -> Result<Option<Trend>, String> {
    if scores.len() != x.len() || x.len() != n.len() {
        return Err("scores, counts and totals belong together one by one".into());
    }
    for (i, (&x, &n)) in x.iter().zip(n).enumerate() {
        check(x, n).map_err(|e| format!("row {}: {e}", i + 1))?;
    }
    if let Some(i) = scores.iter().position(|s| !s.is_finite()) {
        return Err(format!("row {}: the score is no finite number", i + 1));
    }
    let hits: f64 = x.iter().map(|&v| v as f64).sum();
    let total: f64 = n.iter().map(|&v| v as f64).sum();
    if hits == 0.0 || hits == total {
        return Ok(None);
    }
    let p = hits / total;
    // scores to the range -1 to 1 about their middle first: z is free of place and scale
    let low = scores.iter().copied().fold(f64::INFINITY, f64::min);
    let high = scores.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let (middle, half) = (0.5 * low + 0.5 * high, 0.5 * high - 0.5 * low);
    if half == 0.0 {
        return Ok(None);
    }
    let s: Vec<f64> = scores.iter().map(|v| (v - middle) / half).collect();
    let mean = s.iter().zip(n).map(|(s, &n)| s * n as f64).sum::<f64>() / total;
    let off: f64 =
        s.iter().zip(x.iter().zip(n)).map(|(s, (&x, &n))| (s - mean) * (x as f64 - n as f64 * p)).sum();
    let spread: f64 = s.iter().zip(n).map(|(s, &n)| n as f64 * (s - mean) * (s - mean)).sum();
    let z = off / (p * ((total - hits) / total) * spread).sqrt();
    if !z.is_finite() {
        return Ok(None);
    }
    Ok(Some(Trend { z, chi2: z * z, p: chi2_sf(z * z, 1.0).unwrap_or(1.0) }))
}
