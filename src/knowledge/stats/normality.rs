//! Whether values can come from a normal distribution.

use crate::stats::compensated::mean;
use crate::stats::compensated::squares_about;
use crate::stats::dist::normal_cdf;

/// Values below which the test has no formula.
pub const LEAST: usize = 8;

/// Anderson and Darling's test of a normal distribution whose mean and standard deviation are estimated:
/// A² = -n - Σ (2i-1)/n (ln Φ(z_i) + ln(1-Φ(z_{n+1-i}))), z the standardised values in order, and p from
/// A² (1 + 0.75/n + 2.25/n²). None with fewer than [`LEAST`] values, or where they do not vary.
///
/// Source: Stephens in D'Agostino and Stephens, Goodness-of-Fit Techniques, 1986, section 4.8 and table 4.9.
///
/// ```
/// use knowledge::stats::normality::anderson_darling;
/// let skewed: Vec<f64> = (0..30).map(|i| (f64::from(i) / 6.0).exp()).collect();
/// assert!(anderson_darling(&skewed).unwrap().1 < 0.001);
/// ```
#[must_use]
pub fn anderson_darling(values: &[f64]) -> Option<(f64, f64)> {
    let n = values.len();
    let centre = mean(values).filter(|_| n >= LEAST)?;
    let sd = (squares_about(values, centre) / (n as f64 - 1.0)).sqrt();
    if !(sd > 0.0 && sd.is_finite()) {
        return None;
    }
    let mut z: Vec<f64> = values.iter().map(|v| (v - centre) / sd).collect();
    z.sort_by(f64::total_cmp);
    let count = n as f64;
    // 1 - Φ(z) is Φ(-z), which keeps its digits far out
    let sum: f64 = z
        .iter()
        .zip(z.iter().rev())
        .enumerate()
        .map(|(i, (low, high))| (2 * i + 1) as f64 * (normal_cdf(*low).ln() + normal_cdf(-high).ln()))
        .sum();
    let statistic = -count - sum / count;
    let a = statistic * (1.0 + 0.75 / count + 2.25 / (count * count));
    let p = if a >= 0.6 {
        // beyond 13 the fitted parabola would turn upwards
        let a = a.min(13.0);
        (1.2937 - 5.709 * a + 0.0186 * a * a).exp()
    } else if a >= 0.34 {
        (0.9177 - 4.279 * a - 1.38 * a * a).exp()
    } else if a >= 0.2 {
        1.0 - (-8.318 + 42.796 * a - 59.938 * a * a).exp()
    } else {
        1.0 - (-13.436 + 101.14 * a - 223.73 * a * a).exp()
    };
    Some((statistic, p))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// statsmodels 0.14, statsmodels.stats.diagnostic.normal_ad(x), which gives (A², p).
    #[test]
    fn as_statsmodels_has_it() {
        let cases: [(&[f64], f64, f64); 4] = [
            (
                &[3.157, 3.087, 3.267, 3.089, 3.401, 3.292, 3.164, 3.257, 3.361, 3.483, 3.108, 3.307],
                0.26906872950941363,
                0.6121845213340216,
            ),
            (
                &[
                    1.295, 0.87, 1.727, 1.288, 1.713, 0.769, 0.999, 1.218, 1.01, 1.008, 0.681, 1.065, 1.098,
                    0.97, 0.993, 1.417, 0.719, 1.417, 0.926, 1.028,
                ],
                0.5318416437530011,
                0.1524489354767919,
            ),
            (&[-1.0, -0.75, -0.5, -0.25, 0.0, 0.25, 0.5, 0.75, 1.0], 0.13676646631470213, 0.9605614887337027),
            (
                &[
                    0.837, 0.068, 0.513, 5.461, 0.054, 0.081, 2.201, 0.022, 0.016, 0.208, 2.238, 1.996,
                    3.651, 0.089, 0.408, 0.007,
                ],
                1.677239296181181,
                0.0001574581268592144,
            ),
        ];
        for (values, statistic, p) in cases {
            let (found, chance) = anderson_darling(values).unwrap();
            assert!((found - statistic).abs() < 1e-9 * statistic, "{found} {statistic}");
            assert!((chance - p).abs() < 1e-8 * p, "{chance} {p}");
        }
    }

    #[test]
    fn too_few_or_all_alike_is_no_test() {
        assert_eq!(anderson_darling(&[1.0, 2.0, 3.0]), None);
        assert_eq!(anderson_darling(&[1.0; 20]), None);
    }
}
