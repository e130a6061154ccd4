//! One proportion: x of n.

use crate::stats::dist::beta_quantile;
use crate::stats::dist::binomial_cdf;
use crate::stats::dist::binomial_pmf;
use crate::stats::dist::binomial_sf;
use crate::stats::two_sided_z;

/// Relative slack within which two probabilities count as equal in exact two-sided tests, so that
/// rounding does not decide; the one that common software uses.
pub(crate) const SLACK: f64 = 1.0 + 1e-7;

/// Checks that x is not above n.
///
/// # Errors
/// x above n, or n above 2^53.
pub(crate) fn check(x: u64, n: u64) -> Result<(), String> {
    if x > n {
        return Err(format!("{x} of {n}: the count cannot be above the number it is out of"));
    }
    if n > 1 << 53 {
        return Err(format!("{n} is above 2^53 = 9007199254740992, the largest count taken here"));
    }
    Ok(())
}

/// Wilson's score interval for x of n at the confidence `conf`; 0 of 0 gives [0, 1].
///
/// (p + z²/2n ± z √(p(1-p)/n + z²/4n²)) / (1 + z²/n), p = x/n. The lower limit is computed as the
/// product of the limits over the upper, which keeps its digits near 0. Accuracy 1e-14.
/// Source: Wilson 1927; Newcombe 1998, Statistics in Medicine 17:857-872, method 3.
///
/// # Errors
/// x above n; a confidence not between 0 and 1.
///
/// ```
/// let (lo, hi) = knowledge::stats::proportion::wilson(81, 263, 0.95).unwrap();
/// assert!((lo - 0.2553).abs() < 5e-5 && (hi - 0.3662).abs() < 5e-5);
/// ```
pub fn wilson(x: u64, n: u64, conf: f64) -> Result<(f64, f64), String> {
    check(x, n)?;
    let z = two_sided_z(conf)?;
    if n == 0 {
        return Ok((0.0, 1.0));
    }
    let (count, rest, size) = (x as f64, (n - x) as f64, n as f64);
    let p = count / size;
    let q = rest / size;
    let t = z * z / size;
    let root = (t * (p * q + 0.25 * t)).sqrt();
    let high = ((p + 0.5 * t + root) / (1.0 + t)).min(1.0);
    let low = if x == 0 { 0.0 } else { p * p / (p + 0.5 * t + root) };
    Ok((low, if x == n { 1.0 } else { high }))
}

/// Wilson's interval for x of n pieces that come in clusters: the counts are divided by the design
/// effect d, so that the interval is that of x/d of n/d independent pieces; d below 1 counts as 1.
///
/// The formula is that of [`wilson`] with n/d for n. Source: Wilson 1927; effective counts after Rao and
/// Scott 1992, Biometrics 48:577-585. 0 of 0 gives [0, 1].
///
/// # Errors
/// x above n; a design effect that is no finite number; a confidence not between 0 and 1.
///
/// ```
/// use knowledge::stats::proportion::{wilson, wilson_inflated};
/// // 162 of 526 with a design effect of 2 say as much as 81 of 263
/// let (lo, hi) = wilson_inflated(162, 526, 2.0, 0.95).unwrap();
/// let (a, b) = wilson(81, 263, 0.95).unwrap();
/// assert!((lo - a).abs() < 1e-14 && (hi - b).abs() < 1e-14);
/// ```
pub fn wilson_inflated(x: u64, n: u64, effect: f64, conf: f64) -> Result<(f64, f64), String> {
    check(x, n)?;
    let z = two_sided_z(conf)?;
    if !effect.is_finite() {
        return Err(format!("the design effect is {effect}; a number such as 1.5 belongs there"));
    }
    if n == 0 {
        return Ok((0.0, 1.0));
    }
    let p = x as f64 / n as f64;
    let t = z * z * effect.max(1.0) / n as f64;
    let root = (t * (p * (1.0 - p) + 0.25 * t)).sqrt();
    let high = ((p + 0.5 * t + root) / (1.0 + t)).min(1.0);
    let low = if x == 0 { 0.0 } else { p * p / (p + 0.5 * t + root) };
    Ok((low, if x == n { 1.0 } else { high }))
}

/// Clopper and Pearson's exact interval for x of n; 0 of 0 gives [0, 1].
///
/// The α/2 quantile of beta(x, n-x+1) and the 1-α/2 quantile of beta(x+1, n-x). Accuracy 1e-12 up to
/// n = 1e8. Source: Clopper and Pearson 1934, Biometrika 26:404-413.
///
/// # Errors
/// x above n; a confidence not between 0 and 1.
///
/// ```
/// let (lo, hi) = knowledge::stats::proportion::clopper_pearson(0, 20, 0.95).unwrap();
/// assert!(lo == 0.0 && (hi - 0.1684).abs() < 5e-5);
/// ```
pub fn clopper_pearson(x: u64, n: u64, conf: f64) -> Result<(f64, f64), String> {
    check(x, n)?;
    two_sided_z(conf)?;
    let tail = 0.5 * (1.0 - conf);
    let (count, rest) = (x as f64, (n - x) as f64);
    let low = if x == 0 { Some(0.0) } else { beta_quantile(tail, count, rest + 1.0) };
    // the upper limit by symmetry, so that it is as good near 1 as the lower is near 0
    let high = if x == n { Some(1.0) } else { upper_limit(tail, count + 1.0, rest) };
    low.zip(high).ok_or_else(|| format!("no exact interval at the confidence {conf}"))
}

fn upper_limit(tail: f64, a: f64, b: f64) -> Option<f64> {
    // the quantile is matched on the smaller tail; 1 - tail would lose the digits of a small tail
    beta_quantile(tail, b, a).map(|below| {
        if below < 0.5 { 1.0 - below } else { beta_quantile(1.0 - tail, a, b).unwrap_or(1.0 - below) }
    })
}

/// Two-sided exact test of x of n against the probability `against`: the sum of the probabilities of
/// all counts that are no more likely than x ("method of small p-values"). 0 of 0 gives 1.
///
/// Source: common practice (Sterne 1954); ties within a relative 1e-7. Accuracy 1e-12 up to 1e8.
///
/// # Errors
/// x above n; `against` outside [0, 1].
///
/// ```
/// let p = knowledge::stats::proportion::exact_test(682, 925, 0.75).unwrap();
/// assert!((p - 0.3825).abs() < 5e-5);
/// ```
pub fn exact_test(x: u64, n: u64, against: f64) -> Result<f64, String> {
    check(x, n)?;
    let outside = || format!("the probability to test against is {against}; it belongs between 0 and 1");
    let pmf = |k: u64| binomial_pmf(k, n, against).unwrap_or(0.0);
    let seen = binomial_pmf(x, n, against).ok_or_else(outside)? * SLACK;
    let mean = n as f64 * against;
    if x as f64 == mean {
        return Ok(1.0);
    }
    let p = if (x as f64) < mean {
        // the first count above the mean that is no more likely
        let from = first(mean.ceil() as u64, n + 1, |k| pmf(k) <= seen);
        let above = if from == 0 { 1.0 } else { binomial_sf(from - 1, n, against).unwrap_or(0.0) };
        binomial_cdf(x, n, against).unwrap_or(0.0) + if from > n { 0.0 } else { above }
    } else {
        // the first count below the mean that is more likely; all below it are not
        let to = first(0, mean.floor() as u64 + 1, |k| pmf(k) > seen);
        let below = if to == 0 { 0.0 } else { binomial_cdf(to - 1, n, against).unwrap_or(0.0) };
        below + if x == 0 { 1.0 } else { binomial_sf(x - 1, n, against).unwrap_or(0.0) }
    };
    Ok(p.min(1.0))
}

/// The first k in [from, to) that `holds`, where it holds from some point on; `to` if it never does.
pub(crate) fn first(from: u64, to: u64, holds: impl Fn(u64) -> bool) -> u64 {
    let (mut low, mut high) = (from, to);
    while low < high {
        let middle = low + (high - low) / 2;
        if holds(middle) {
            high = middle;
        } else {
            low = middle + 1;
        }
    }
    low
}
