//! t, chi-square, F, beta and gamma: tails and quantiles.

use crate::stats::dist::incomplete::beta_tails;
use crate::stats::dist::incomplete::gamma_tails;
use crate::stats::dist::quantile::solve;
use crate::stats::dist::quantile::solve_falling;

/// The largest quantile looked for.
const FAR: f64 = 1e300;

/// Whether a parameter is one that can be computed with.
fn positive(v: f64) -> bool {
    (1e-100..=1e100).contains(&v)
}

/// The tail, unless an argument so far out that products leave the range made it no number.
fn number(v: f64) -> Option<f64> {
    (!v.is_nan()).then_some(v)
}

fn inside(p: f64) -> bool {
    p > 0.0 && p < 1.0
}

/// P(T > t) for t ≥ 0.
fn t_above(t: f64, df: f64) -> f64 {
    // x = df/(df + t²), without a square that overflows
    let r = t / df.sqrt();
    let square = r * r;
    if square == f64::INFINITY {
        // far out on a heavy tail: x^(df/2) / (df B(df/2, 1/2)) with x = 1/r²
        return (-df * r.ln() - df.ln() - crate::stats::dist::special::ln_beta(0.5 * df, 0.5)).exp();
    }
    let x = 1.0 / (1.0 + square);
    0.5 * beta_tails(0.5 * df, 0.5, x, square * x).0
}

/// Student's t, share above t, df > 0 real. `None` for df not above 0 or t NaN.
///
/// Through the incomplete beta function, P(T > t) = ½ I_{df/(df+t²)}(df/2, ½).
///
/// ```
/// assert_eq!(knowledge::stats::dist::t_sf(0.0, 3.0), Some(0.5));
/// ```
#[must_use]
pub fn t_sf(t: f64, df: f64) -> Option<f64> {
    if t.is_nan() || !positive(df) {
        return None;
    }
    let above = t_above(t.abs(), df);
    number(if t >= 0.0 { above } else { 1.0 - above })
}

/// The point below which a share p of Student's t lies. `None` unless 0 < p < 1 and df > 0.
///
/// ```
/// let t = knowledge::stats::dist::t_quantile(0.975, 7.0).unwrap();
/// assert!((t - 2.364624251592784).abs() < 1e-13);
/// ```
#[must_use]
pub fn t_quantile(p: f64, df: f64) -> Option<f64> {
    if !inside(p) || !positive(df) {
        return None;
    }
    if p == 0.5 {
        return Some(0.0);
    }
    let tail = p.min(1.0 - p);
    let t = solve_falling(|t| t_above(t, df), tail, FAR);
    Some(if p < 0.5 { -t } else { t })
}

/// Chi-square, share above x, df > 0 real: the gamma distribution of shape df/2 at x/2.
///
/// ```
/// let p = knowledge::stats::dist::chi2_sf(60.0, 9.0).unwrap();
/// assert!((p / 1.3406780483959625e-09 - 1.0).abs() < 1e-13);
/// ```
#[must_use]
pub fn chi2_sf(x: f64, df: f64) -> Option<f64> {
    gamma_sf(0.5 * x, 0.5 * df)
}

/// The point below which a share p of chi-square lies. `None` unless 0 < p < 1 and df > 0.
///
/// ```
/// let x = knowledge::stats::dist::chi2_quantile(0.95, 9.0).unwrap();
/// assert!((x - 16.918977604620448).abs() < 1e-12);
/// ```
#[must_use]
pub fn chi2_quantile(p: f64, df: f64) -> Option<f64> {
    gamma_quantile(p, 0.5 * df).map(|x| 2.0 * x)
}

fn f_tails(x: f64, df1: f64, df2: f64) -> (f64, f64) {
    if x <= 0.0 {
        return (0.0, 1.0);
    }
    let r = df1 / df2 * x;
    // r/(1+r) and 1/(1+r)
    let y = 1.0 / (1.0 + r);
    let share = if r.is_finite() { r * y } else { 1.0 };
    beta_tails(0.5 * df1, 0.5 * df2, share, y)
}

/// F, share above x, with df1, df2 > 0 real. `None` for a df not above 0 or x NaN.
///
/// ```
/// assert_eq!(knowledge::stats::dist::f_sf(0.0, 2.0, 5.0), Some(1.0));
/// ```
#[must_use]
pub fn f_sf(x: f64, df1: f64, df2: f64) -> Option<f64> {
    (!x.is_nan() && positive(df1) && positive(df2)).then(|| f_tails(x, df1, df2).1).and_then(number)
}

/// The point below which a share p of F lies. `None` unless 0 < p < 1 and both df > 0.
///
/// ```
/// let x = knowledge::stats::dist::f_quantile(0.95, 9.0, 90.0).unwrap();
/// assert!((x - 1.985594963730501).abs() < 1e-12);
/// ```
#[must_use]
pub fn f_quantile(p: f64, df1: f64, df2: f64) -> Option<f64> {
    (inside(p) && positive(df1) && positive(df2)).then(|| solve(|x| f_tails(x, df1, df2), p, FAR))
}

/// Beta, share below x, shapes a, b > 0. `None` for a shape not above 0 or x NaN.
///
/// ```
/// let p = knowledge::stats::dist::beta_cdf(0.05733399705003277, 4.0, 17.0).unwrap();
/// assert!((p - 0.025).abs() < 1e-14);
/// ```
#[must_use]
pub fn beta_cdf(x: f64, a: f64, b: f64) -> Option<f64> {
    (!x.is_nan() && positive(a) && positive(b)).then(|| beta_tails(a, b, x, 1.0 - x).0).and_then(number)
}

/// Beta, share above x. `None` as for [`beta_cdf`].
///
/// ```
/// assert_eq!(knowledge::stats::dist::beta_sf(1.0, 4.0, 17.0), Some(0.0));
/// ```
#[must_use]
pub fn beta_sf(x: f64, a: f64, b: f64) -> Option<f64> {
    (!x.is_nan() && positive(a) && positive(b)).then(|| beta_tails(a, b, x, 1.0 - x).1).and_then(number)
}

/// The point below which a share p of beta lies. `None` unless 0 < p < 1 and both shapes > 0.
///
/// ```
/// let x = knowledge::stats::dist::beta_quantile(0.025, 4.0, 17.0).unwrap();
/// assert!((x - 0.05733399705003277).abs() < 1e-14);
/// ```
#[must_use]
pub fn beta_quantile(p: f64, a: f64, b: f64) -> Option<f64> {
    if !inside(p) || !positive(a) || !positive(b) {
        return None;
    }
    Some(solve(|x| beta_tails(a, b, x, 1.0 - x), p, 1.0))
}

/// Gamma of rate 1, share above x, shape > 0. `None` for a shape not above 0 or x NaN.
///
/// ```
/// let p = knowledge::stats::dist::gamma_sf(30.0, 1.0).unwrap();
/// assert!((p / (-30f64).exp() - 1.0).abs() < 1e-14);
/// ```
#[must_use]
pub fn gamma_sf(x: f64, shape: f64) -> Option<f64> {
    (!x.is_nan() && positive(shape)).then(|| gamma_tails(shape, x).1).and_then(number)
}

/// The point below which a share p of gamma (rate 1) lies. `None` unless 0 < p < 1 and shape > 0.
///
/// ```
/// let x = knowledge::stats::dist::gamma_quantile(0.5, 1.0).unwrap();
/// assert!((x - 2f64.ln()).abs() < 1e-15);
/// ```
#[must_use]
pub fn gamma_quantile(p: f64, shape: f64) -> Option<f64> {
    (inside(p) && positive(shape)).then(|| solve(|x| gamma_tails(shape, x), p, FAR))
}
