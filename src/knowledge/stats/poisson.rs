//! Counts over an exposure: Poisson rates, one and two.

use crate::stats::dist::gamma_quantile;
use crate::stats::finite;
use crate::stats::proportion::clopper_pearson;
use crate::stats::proportion::exact_test;
use crate::stats::two_sided_z;

fn exposure(t: f64) -> Result<(), String> {
    if t > 0.0 && t.is_finite() { Ok(()) } else { Err(format!("the exposure is {t}; it belongs above 0")) }
}

/// The exact interval of the rate of x events in the exposure t.
///
/// The α/2 quantile of gamma(x) and the 1-α/2 quantile of gamma(x+1), over t; from 0 where x = 0.
/// Source: Garwood 1936, Biometrika 28:437-442. Accuracy 1e-12.
///
/// # Errors
/// An exposure not above 0; a confidence not between 0 and 1.
///
/// ```
/// let (lo, hi) = knowledge::stats::poisson::interval(137, 24.19893, 0.95).unwrap();
/// assert!((lo - 4.753125).abs() < 1e-6 && (hi - 6.692709).abs() < 1e-6);
/// ```
pub fn interval(x: u64, t: f64, conf: f64) -> Result<(f64, f64), String> {
    exposure(t)?;
    two_sided_z(conf)?;
    let tail = 0.5 * (1.0 - conf);
    let low = if x == 0 { Some(0.0) } else { gamma_quantile(tail, x as f64) };
    let high = gamma_quantile(1.0 - tail, x as f64 + 1.0);
    low.zip(high)
        .map(|(l, h)| (l / t, h / t))
        .filter(|(_, h)| h.is_finite())
        .ok_or_else(|| format!("no exact interval for {x} events in {t} at the confidence {conf}"))
}

/// Two rates against each other.
#[derive(Clone, Debug, PartialEq)]
pub struct TwoRates {
    /// (x1/t1)/(x2/t2); none without events in the second.
    pub ratio: Option<f64>,
    /// The exact conditional interval of the ratio; an open end is none.
    pub interval: (Option<f64>, Option<f64>),
    /// Two-sided p of the exact conditional test that the rates are equal.
    pub p: f64,
}

/// Compares x1 events in t1 with x2 events in t2, given x1 + x2: x1 is binomial with probability
/// r t1/(r t1 + t2), r the ratio of the rates.
///
/// The interval is Clopper and Pearson's, carried over to r; the test is the exact binomial one against
/// t1/(t1+t2), two-sided by small p-values. Source: Przyborowski and Wilenski 1940, Biometrika 31:313.
///
/// # Errors
/// An exposure not above 0; a confidence not between 0 and 1.
///
/// ```
/// let two = knowledge::stats::poisson::compare((11, 800.0), (21, 3011.0), 0.95).unwrap();
/// assert!((two.p - 0.07967).abs() < 5e-6);
/// ```
pub fn compare((x1, t1): (u64, f64), (x2, t2): (u64, f64), conf: f64) -> Result<TwoRates, String> {
    exposure(t1)?;
    exposure(t2)?;
    let n = x1.checked_add(x2).ok_or("the two counts together are too large")?;
    let (low, high) = clopper_pearson(x1, n, conf)?;
    let over = |p: f64| finite(p / (1.0 - p) * (t2 / t1));
    Ok(TwoRates {
        ratio: finite((x1 as f64 / x2 as f64) * (t2 / t1)),
        interval: (over(low), over(high)),
        // the smaller part over the larger, so that neither sum leaves the range
        p: exact_test(x1, n, 1.0 / (1.0 + t2 / t1))?,
    })
}
