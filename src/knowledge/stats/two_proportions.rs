//! Two proportions: x1 of n1 against x2 of n2.

use crate::stats::dist::chi2_sf;
use crate::stats::finite;
use crate::stats::fisher;
use crate::stats::proportion::check;
use crate::stats::proportion::wilson;
use crate::stats::two_sided_z;

/// What two proportions say against each other. `None` where the counts do not determine it.
#[derive(Clone, Debug, PartialEq)]
pub struct TwoProportions {
    /// p1 - p2.
    pub difference: Option<f64>,
    /// Newcombe's hybrid score interval of the difference.
    pub newcombe: Option<(f64, f64)>,
    /// p1 / p2.
    pub ratio: Option<f64>,
    /// The log interval of the ratio.
    pub ratio_interval: Option<(f64, f64)>,
    /// (x1 (n2-x2)) / (x2 (n1-x1)).
    pub odds_ratio: Option<f64>,
    /// Two-sided p of Fisher's exact test.
    pub fisher_p: f64,
    /// The pooled z statistic.
    pub z: Option<f64>,
    /// Pearson's chi-square, z².
    pub chi2: Option<f64>,
    /// Its p value on one degree of freedom.
    pub chi2_p: Option<f64>,
}

/// Compares x1 of n1 with x2 of n2.
///
/// - difference: Newcombe's interval d - √((p1-l1)² + (u2-p2)²), d + √((u1-p1)² + (p2-l2)²) from the
///   Wilson limits (Newcombe 1998, Statistics in Medicine 17:873-890, method 10)
/// - ratio: exp(ln(p1/p2) ± z √(1/x1 - 1/n1 + 1/x2 - 1/n2)) (Katz and others 1978)
/// - z = (p1 - p2)/√(p(1-p)(1/n1 + 1/n2)), p pooled, and chi-square z², no continuity correction
/// - Fisher's exact test, two-sided ([`fisher::two_sided`])
///
/// Cross products are taken in whole numbers, so that large counts lose no digits.
///
/// # Errors
/// A count above its total; a confidence not between 0 and 1.
///
/// ```
/// let t = knowledge::stats::two_proportions::compare((56, 70), (48, 80), 0.95).unwrap();
/// let (lo, hi) = t.newcombe.unwrap();
/// assert!((lo - 0.0524).abs() < 5e-5 && (hi - 0.3339).abs() < 5e-5);
/// ```
pub fn compare((x1, n1): (u64, u64), (x2, n2): (u64, u64), conf: f64) -> Result<TwoProportions, String> {
    check(x1, n1)?;
    check(x2, n2)?;
    let z = two_sided_z(conf)?;
    let (y1, y2) = (n1 - x1, n2 - x2);
    // x1 n2 - x2 n1 = x1 y2 - x2 y1, exactly
    let cross = (i128::from(x1) * i128::from(y2) - i128::from(x2) * i128::from(y1)) as f64;
    let [a, b, c, d] = [x1, y1, x2, y2].map(|v| v as f64);
    let (s1, s2) = (n1 as f64, n2 as f64);
    let difference = finite(cross / (u128::from(n1) * u128::from(n2)) as f64);
    let newcombe = difference.map(|diff| newcombe(diff, (x1, n1), (x2, n2), conf)).transpose()?;
    let ratio = finite(a / s1 * (s2 / c));
    let spread = z * ((b / a) / s1 + (d / c) / s2).sqrt();
    let ratio_interval = ratio.filter(|r| *r > 0.0 && spread.is_finite());
    let ratio_interval = ratio_interval.map(|r| (r * (-spread).exp(), r * spread.exp()));
    let statistic =
        finite(cross / ((a + c).sqrt() * (b + d).sqrt() * s1.sqrt() * s2.sqrt()) * (s1 + s2).sqrt());
    let chi2 = statistic.map(|v| v * v);
    Ok(TwoProportions {
        difference,
        newcombe,
        ratio,
        ratio_interval: ratio_interval.filter(|i| i.1.is_finite()),
        odds_ratio: finite((a / b) * (d / c)),
        fisher_p: fisher::two_sided([[x1, y1], [x2, y2]])?,
        z: statistic,
        chi2,
        chi2_p: chi2.and_then(|v| chi2_sf(v, 1.0)),
    })
}

fn newcombe(d: f64, one: (u64, u64), two: (u64, u64), conf: f64) -> Result<(f64, f64), String> {
    let (l1, u1) = wilson(one.0, one.1, conf)?;
    let (l2, u2) = wilson(two.0, two.1, conf)?;
    let (p1, p2) = (one.0 as f64 / one.1 as f64, two.0 as f64 / two.1 as f64);
    Ok(((d - (p1 - l1).hypot(u2 - p2)).max(-1.0), (d + (u1 - p1).hypot(p2 - l2)).min(1.0)))
}
