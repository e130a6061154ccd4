//! Sums that keep their digits.

/// The sum of the values, compensated (Neumaier 1974): the error is that of the last rounding, not of
/// the number of terms.
///
/// ```
/// assert_eq!(knowledge::stats::compensated::sum([1.0, 1e100, 1.0, -1e100]), 2.0);
/// ```
pub fn sum(values: impl IntoIterator<Item = f64>) -> f64 {
    let (mut total, mut lost) = (0.0f64, 0.0f64);
    for v in values {
        let next = total + v;
        lost += if total.abs() >= v.abs() { (total - next) + v } else { (v - next) + total };
        total = next;
    }
    // an overflowed total has lost nothing that could be given back
    if lost.is_finite() { total + lost } else { total }
}

/// The arithmetic mean, in two passes: the second sums what the first left. `None` of no values.
///
/// ```
/// assert_eq!(knowledge::stats::compensated::mean(&[1.0, 2.0, 6.0]), Some(3.0));
/// ```
#[must_use]
pub fn mean(values: &[f64]) -> Option<f64> {
    let n = values.len() as f64;
    if values.is_empty() {
        return None;
    }
    let first = sum(values.iter().map(|v| v / n));
    Some(first + sum(values.iter().map(|v| (v - first) / n)))
}

/// Σ (v - centre)², with the correction for a centre that is not exactly the mean
/// (Chan, Golub and LeVeque 1983).
#[must_use]
pub(crate) fn squares_about(values: &[f64], centre: f64) -> f64 {
    let squares = sum(values.iter().map(|v| (v - centre) * (v - centre)));
    let rest = sum(values.iter().map(|v| v - centre));
    (squares - rest * rest / (values.len().max(1) as f64)).max(0.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn squares_about_a_centre_that_is_a_little_off() {
        assert_eq!(squares_about(&[1.0, 2.0, 3.0], 2.0), 2.0);
        assert!((squares_about(&[1.0, 2.0, 3.0], 2.0 + 1e-9) - 2.0).abs() < 1e-15);
    }
}
