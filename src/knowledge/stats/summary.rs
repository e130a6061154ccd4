//! The figures of one list of values.

use crate::stats::compensated::mean;
use crate::stats::compensated::squares_about;
use crate::stats::compensated::sum;
use crate::stats::finite;

/// Number, mean, standard deviation, lag-1 autocorrelation.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SampleSummary {
    /// Number of values.
    pub n: usize,
    /// Arithmetic mean.
    pub mean: Option<f64>,
    /// Standard deviation with n-1; none of fewer than two values.
    pub sd: Option<f64>,
    /// Σ (y_i - ȳ)(y_{i+1} - ȳ) / Σ (y_i - ȳ)²; none where all values are the same.
    pub lag1: Option<f64>,
}

/// Summarises the values, in two passes with compensated sums: as many digits as the values themselves
/// carry (NIST StRD univariate sets to 1e-12).
///
/// ```
/// let s = knowledge::stats::summary::summarise(&[10000001.0, 10000003.0, 10000002.0]);
/// assert_eq!((s.mean, s.sd, s.lag1), (Some(10000002.0), Some(1.0), Some(-0.5)));
/// ```
#[must_use]
pub fn summarise(values: &[f64]) -> SampleSummary {
    let n = values.len();
    let Some(centre) = mean(values).and_then(finite) else {
        return SampleSummary { n, mean: None, sd: None, lag1: None };
    };
    // what the rounded centre leaves of the mean is taken off too
    let rest = sum(values.iter().map(|v| v - centre)) / n as f64;
    let squares = squares_about(values, centre);
    let off: Vec<f64> = values.iter().map(|v| (v - centre) - rest).collect();
    let next = sum(off.windows(2).map(|w| w[0] * w[1]));
    SampleSummary {
        n,
        mean: Some(centre),
        sd: if n < 2 { None } else { finite((squares / (n as f64 - 1.0)).sqrt()) },
        lag1: if values.iter().all(|v| *v == values[0]) { None } else { finite(next / squares) },
    }
}
