//! p from the observed statistic and its draws, with an exponential tail where few draws reach it.

/// The least scale of the tail. A Bayes factor has mean at most 1 where nothing is the matter, so
/// P(T > t) falls at least as fast as exp(−t).
const LEAST_SCALE: f64 = 1.0;

/// Fewer draws than this at or above the observed value: the tail is used.
const ENOUGH: usize = 10;

/// p of an observed statistic among its draws. With c draws at or above it: c ≥ 10 gives
/// (c+1)/(B+1); else k = ⌊B/10⌋ (10 for 99 draws), θ the (k+1)-th largest, β the mean excess of the k largest over θ but
/// at least 1, and p = min[(c+1)/(B+1), (k+1)/(B+1) exp(−(T−θ)/β)] where T > θ.
#[must_use]
pub(crate) fn p_value(observed: f64, draws: &[f64]) -> f64 {
    let all = draws.len() as f64 + 1.0;
    let reached = draws.iter().filter(|&&t| t >= observed).count();
    let plain = (reached as f64 + 1.0) / all;
    let k = if draws.len() < 2 * ENOUGH { 0 } else { (draws.len() / 10).max(ENOUGH) };
    if reached >= ENOUGH || k == 0 {
        return plain.min(1.0);
    }
    let mut sorted = draws.to_vec();
    sorted.sort_by(|a, b| b.total_cmp(a));
    let threshold = sorted[k];
    if observed <= threshold {
        return plain.min(1.0);
    }
    let excess = sorted[..k].iter().map(|t| t - threshold).sum::<f64>() / k as f64;
    let scale = excess.max(LEAST_SCALE);
    plain.min((k as f64 + 1.0) / all * (-(observed - threshold) / scale).exp())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_tail_is_smoothed_only_where_draws_are_few() {
        let draws: Vec<f64> = (1..=199).map(|b| (200.0 / f64::from(b)).ln()).collect();
        assert!((p_value(5.0, &draws) - 0.006738).abs() < 5e-7);
        assert!((p_value(3.2, &draws) - 0.040762).abs() < 5e-7);
        assert_eq!(p_value(2.5, &draws), 0.085);
    }
}
