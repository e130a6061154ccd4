//! Factors of normal tolerance intervals: x̄ ± ks covers a share of all values with a confidence.

use crate::stats::dist::chi2_quantile;
use crate::stats::dist::noncentral_t_cdf;
use crate::stats::dist::normal_quantile;

/// k of a one-sided tolerance limit x̄ + ks (or x̄ - ks), exact: the quantile of the non-central t with n-1
/// degrees of freedom and non-centrality z_P √n, over √n. Good to 1e-9.
/// Source: NIST/SEMATECH e-Handbook 7.2.6.3; Owen 1963.
///
/// # Errors
/// n below 2; coverage or confidence outside (0, 1); a factor beyond what is computed.
///
/// ```
/// let k = knowledge::stats::tolerance::one_sided(43, 0.90, 0.99).unwrap();
/// assert!((k - 1.8739536).abs() < 1e-6);
/// ```
pub fn one_sided(n: u64, coverage: f64, confidence: f64) -> Result<f64, String> {
    let z = checked(n, coverage, confidence)?;
    let root = (n as f64).sqrt();
    let df = (n - 1) as f64;
    let share = |k: f64| noncentral_t_cdf(k * root, df, z * root).unwrap_or(f64::NAN);
    // widen about z until the factor lies between
    let (mut low, mut high, mut step) = (z, z, 4.0 / root);
    while share(low) > confidence && low > -1e9 {
        low -= step;
        step *= 2.0;
    }
    step = 4.0 / root;
    while share(high) < confidence && high < 1e9 {
        high += step;
        step *= 2.0;
    }
    for _ in 0..200 {
        let middle = 0.5 * (low + high);
        if middle <= low || middle >= high {
            break;
        }
        if share(middle) < confidence {
            low = middle;
        } else {
            high = middle;
        }
    }
    let k = 0.5 * (low + high);
    if k.abs() < 1e9 && (share(k) - confidence).abs() < 1e-9 {
        return Ok(k);
    }
    Err(format!(
        "the factor for n = {n}, coverage {coverage:?}, confidence {confidence:?} is beyond what is computed"
    ))
}

/// k of the two-sided tolerance interval x̄ ± ks, √((n-1)(1+1/n) z²_{(1+P)/2} / χ²_{1-γ,n-1}): an
/// approximation. Source: Howe 1969, J. American Statistical Association 64:610. Held against the exact
/// factor (the integral over the mean, scipy.integrate.quad with scipy.stats.chi2 and ncx2; 36.5192 at n = 2,
/// 95/95, where this gives 38.28) for coverages 0.9 to 0.99 and confidences 0.5 to 0.99: up to 7 % too high
/// below n = 6, within 1 % from there on, mostly too low by less than that.
///
/// # Errors
/// As [`one_sided`].
///
/// ```
/// let k = knowledge::stats::tolerance::two_sided(43, 0.90, 0.99).unwrap();
/// assert!((k - 2.2173159).abs() < 1e-6);
/// ```
pub fn two_sided(n: u64, coverage: f64, confidence: f64) -> Result<f64, String> {
    checked(n, coverage, confidence)?;
    let df = (n - 1) as f64;
    let beyond = || {
        format!(
            "the factor for n = {n}, coverage {coverage:?}, confidence {confidence:?} is beyond what is computed"
        )
    };
    let z = normal_quantile(0.5 + 0.5 * coverage).ok_or_else(beyond)?;
    let chi2 = chi2_quantile(1.0 - confidence, df).ok_or_else(beyond)?;
    let k = z * (df * (1.0 + 1.0 / n as f64) / chi2).sqrt();
    if k.is_finite() { Ok(k) } else { Err(beyond()) }
}

/// z of the coverage, where everything is in range.
fn checked(n: u64, coverage: f64, confidence: f64) -> Result<f64, String> {
    if n < 2 {
        return Err(format!("n is {n}; one value says nothing of the spread, two or more are needed"));
    }
    for (name, value) in [("coverage", coverage), ("confidence", confidence)] {
        if !(value > 0.0 && value < 1.0) {
            return Err(format!("the {name} is {value:?}; it belongs strictly between 0 and 1"));
        }
    }
    normal_quantile(coverage)
        .ok_or_else(|| format!("the coverage is {coverage:?}; it belongs strictly between 0 and 1"))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Exact factors for n, coverage, confidence: scipy 1.17, brentq over k of quad over z of
    /// 2 norm.pdf(z) chi2.sf((n-1) ncx2.ppf(P, 1, z*z/n)/k**2, n-1), from 0 to 8.
    #[test]
    fn howe_is_high_for_few_values_and_hardly_low_for_more() {
        for (n, coverage, exact) in [(2, 0.95, 36.519_214_6), (5, 0.95, 5.076_874_5), (10, 0.95, 3.393_429_5)]
        {
            let off = two_sided(n, coverage, 0.95).unwrap() / exact - 1.0;
            let (least, most) = if n < 6 { (0.0, 0.07) } else { (-0.01, 0.0) };
            assert!(off > least && off < most, "n {n}: {off}");
        }
    }
}
