//! 2 x 2 tables in strata: Mantel and Haenszel's common odds ratio and test, Breslow and Day's test.

use crate::stats::dist::chi2_sf;
use crate::stats::finite;
use crate::stats::two_sided_z;

/// What stratified 2 x 2 tables say together. `None` where the counts do not determine it.
#[derive(Clone, Debug, PartialEq)]
pub struct Strata {
    /// Common odds ratio.
    pub odds_ratio: Option<f64>,
    /// Its interval by the Robins-Breslow-Greenland variance.
    pub interval: Option<(f64, f64)>,
    /// Cochran-Mantel-Haenszel chi-square without correction, and its p on one degree of freedom.
    pub cmh: Option<(f64, f64)>,
    /// The same with the continuity correction of ½.
    pub cmh_corrected: Option<(f64, f64)>,
    /// Breslow and Day's chi-square of equal odds ratios, and its p.
    pub breslow_day: Option<(f64, f64)>,
    /// Strata with a margin of zero, which say nothing.
    pub silent: usize,
}

/// Mantel-Haenszel over the strata [[a, b], [c, d]].
///
/// - odds ratio Σ(ad/n) / Σ(bc/n) (Mantel and Haenszel 1959); the interval takes the log variance of
///   Robins, Breslow and Greenland 1986
/// - test (Σ(a - E a))²/ΣV, V = r1 r2 c1 c2/(n²(n-1)); corrected: (max(0, |Σ| - ½))²/ΣV
/// - Breslow and Day 1980: Σ (a - A)²/V on the strata less one, A the cell fitted under the common odds
///   ratio and V = 1/(1/A + 1/B + 1/C + 1/D), without Tarone's correction
///
/// # Errors
/// No strata; a confidence not between 0 and 1.
///
/// ```
/// let tables = [[[30, 25], [12, 17]], [[4, 6], [68, 94]]];
/// let s = knowledge::stats::strata::mantel_haenszel(&tables, 0.95).unwrap();
/// assert!((s.breslow_day.unwrap().0 - 0.57493).abs() < 5e-5);
/// ```
pub fn mantel_haenszel(tables: &[[[u64; 2]; 2]], conf: f64) -> Result<Strata, String> {
    let z = two_sided_z(conf)?;
    if tables.is_empty() {
        return Err("no strata".into());
    }
    let cells: Vec<[f64; 4]> = tables
        .iter()
        .map(|t| [t[0][0], t[0][1], t[1][0], t[1][1]].map(|v| v as f64))
        .filter(|[a, b, c, d]| a + b > 0.0 && c + d > 0.0 && a + c > 0.0 && b + d > 0.0)
        .collect();
    let silent = tables.len() - cells.len();
    let (mut up, mut down) = (0.0, 0.0);
    let (mut pr, mut mixed, mut qs) = (0.0, 0.0, 0.0);
    let (mut off, mut variance) = (0.0, 0.0);
    for [a, b, c, d] in &cells {
        let n = a + b + c + d;
        let (r, s) = (a / n * d, b / n * c);
        let (p, q) = ((a + d) / n, (b + c) / n);
        up += r;
        down += s;
        pr += p * r;
        mixed += p * s + q * r;
        qs += q * s;
        // a - (a+b)(a+c)/n = (ad - bc)/n
        off += r - s;
        variance += (a + b) / n * ((c + d) / n) * (a + c) * ((b + d) / (n - 1.0));
    }
    let odds_ratio = finite(up / down);
    let spread = z * (pr / (2.0 * up * up) + mixed / (2.0 * up * down) + qs / (2.0 * down * down)).sqrt();
    let interval = odds_ratio.filter(|o| *o > 0.0).map(|o| (o * (-spread).exp(), o * spread.exp()));
    let interval = interval.filter(|i| i.0.is_finite() && i.1.is_finite());
    let test = |distance: f64| {
        let chi2 = finite(distance * distance / variance)?;
        Some((chi2, chi2_sf(chi2, 1.0)?))
    };
    Ok(Strata {
        odds_ratio,
        interval,
        cmh: test(off),
        cmh_corrected: test((off.abs() - 0.5).max(0.0)),
        breslow_day: odds_ratio.filter(|o| *o > 0.0).and_then(|o| breslow_day(&cells, o)),
        silent,
    })
}

fn breslow_day(cells: &[[f64; 4]], odds: f64) -> Option<(f64, f64)> {
    if cells.len() < 2 {
        return None;
    }
    let mut chi2 = 0.0;
    for [a, b, c, d] in cells {
        let fitted = fitted_cell(a + b, c + d, a + c, odds);
        let others = [fitted, a + b - fitted, a + c - fitted, d - a + fitted];
        let variance: f64 = others.iter().map(|v| v.recip()).sum::<f64>().recip();
        chi2 += (a - fitted) * (a - fitted) / variance;
    }
    let chi2 = finite(chi2)?;
    Some((chi2, chi2_sf(chi2, cells.len() as f64 - 1.0)?))
}

/// The A with A (r2 - c1 + A) = odds (r1 - A)(c1 - A).
fn fitted_cell(r1: f64, r2: f64, c1: f64, odds: f64) -> f64 {
    // (1 - odds) A² + (r2 - c1 + odds (r1 + c1)) A - odds r1 c1 = 0, the root by the form without cancellation
    let b = r2 - c1 + odds * (r1 + c1);
    let product = odds * r1 * c1;
    let root = (b * b + 4.0 * (1.0 - odds) * product).max(0.0).sqrt();
    if b >= 0.0 { 2.0 * product / (b + root) } else { (root - b) / (2.0 * (1.0 - odds)) }
}
