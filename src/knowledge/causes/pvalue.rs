//! p from the observed statistic and its draws, with an exponential tail where few draws reach it.

/// The least scale of the tail in histories of many moulds. A Bayes factor has mean at most 1 where nothing
/// is the matter, so P(T > t) falls at least as fast as exp(−t).
pub(crate) const LEAST_SCALE: f64 = 1.0;

/// The tail is used where fewer than this many draws, and less than this share of them, reach the observed
/// value.
const ENOUGH: usize = 10;
const ENOUGH_SHARE: f64 = 0.05;

/// What is added to the share of draws that reach the observed value: one draw of 199. It is the margin that
/// the false findings were measured with, and stays when more draws are made: these only take the
/// unsteadiness out.
const MARGIN: f64 = 1.0 / 200.0;

/// p of an observed statistic among its draws. With c draws of B at or above it the plain p is
/// (c+1)/(B+1), from 199 draws on c/(B+1) + 1/200. Where c < 10 or c < B/20 the tail speaks too: k = ⌊B/10⌋
/// (10 for 99 draws), θ the (k+1)-th largest, β the mean excess of the k largest over θ but at least
/// `least_scale`, and p = min[plain, (k+1)/(B+1) exp(−(T−θ)/β)] where T > θ.
#[must_use]
pub(crate) fn p_value(observed: f64, draws: &[f64], least_scale: f64) -> f64 {
    let all = draws.len() as f64 + 1.0;
    let reached = draws.iter().filter(|&&t| t >= observed).count();
    let plain = reached as f64 / all + MARGIN.max(1.0 / all);
    let k = if draws.len() < 2 * ENOUGH { 0 } else { (draws.len() / 10).max(ENOUGH) };
    let many = reached >= ENOUGH && reached as f64 >= ENOUGH_SHARE * draws.len() as f64;
    if many || k == 0 {
        return plain.min(1.0);
    }
    let mut sorted = draws.to_vec();
    sorted.sort_by(|a, b| b.total_cmp(a));
    let threshold = sorted[k];
    if observed <= threshold {
        return plain.min(1.0);
    }
    let excess = sorted[..k].iter().map(|t| t - threshold).sum::<f64>() / k as f64;
    let scale = excess.max(least_scale);
    plain.min((k as f64 + 1.0) / all * (-(observed - threshold) / scale).exp())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_tail_is_smoothed_only_where_draws_are_few() {
        let draws: Vec<f64> = (1..=199).map(|b| (200.0 / f64::from(b)).ln()).collect();
        assert!((p_value(5.0, &draws, LEAST_SCALE) - 0.006738).abs() < 5e-7);
        assert!((p_value(3.2, &draws, LEAST_SCALE) - 0.040762).abs() < 5e-7);
        assert_eq!(p_value(2.5, &draws, LEAST_SCALE), 0.085);
    }
}
