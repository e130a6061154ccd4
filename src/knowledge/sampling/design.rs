//! The smallest single plan that keeps two risks.

use crate::sampling::inner;
use crate::sampling::single::SinglePlan;
use crate::stats::dist::beta_cdf;
use crate::stats::dist::beta_sf;

/// The largest sample that a design looks for.
const LARGEST: f64 = 1e9;

/// Two points of the operating curve.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Points {
    /// Quality that should be accepted.
    pub good: f64,
    /// Quality that should be rejected.
    pub bad: f64,
    /// The largest chance of rejecting `good`, the producer's risk.
    pub alpha: f64,
    /// The largest chance of accepting `bad`, the consumer's risk.
    pub beta: f64,
}

/// The plan of the smallest n, then of the smallest c, with Pa(p1) ≥ 1-α and Pa(p2) ≤ β, binomial.
///
/// For each c the smallest n that keeps β rises with c, so the first c that keeps α too gives the smallest
/// n. The search starts at the c that would do if n could be broken (the beta integral), below which none
/// can. Source: Guenther 1969, J. Quality Technology 1:105; textbook method.
///
/// # Errors
/// A share or risk outside (0, 1), p1 not below p2, α + β of 1 or more, or more than 1e9 pieces.
///
/// ```
/// use knowledge::sampling::design::{Points, single};
/// let plan = single(Points { good: 0.01, bad: 0.05, alpha: 0.05, beta: 0.10 }).unwrap();
/// assert_eq!((plan.n, plan.accept), (132, 3));
/// ```
pub fn single(points: Points) -> Result<SinglePlan, String> {
    let Points { good, bad, alpha, beta } = points;
    for (name, value) in [("p1", good), ("p2", bad), ("alpha", alpha), ("beta", beta)] {
        inner(name, value)?;
    }
    if good >= bad {
        return Err(format!(
            "p1 = {good} is not below p2 = {bad}; p1 is the quality to accept, p2 the one to reject"
        ));
    }
    if alpha + beta >= 1.0 {
        return Err(format!("alpha {alpha} and beta {beta} add up to 1 or more; a coin does better"));
    }
    let beyond = || format!("more than {LARGEST:e} pieces would be needed to tell {good} from {bad}");
    // Pa for a broken n
    let accepts = |n: f64, c: u64, p: f64| beta_sf(p, c as f64 + 1.0, n - c as f64).unwrap_or(f64::NAN);
    let rejects = |n: f64, c: u64, p: f64| beta_cdf(p, c as f64 + 1.0, n - c as f64).unwrap_or(f64::NAN);
    let least = |c: u64| solve(c as f64, |n| accepts(n, c, bad) > beta);
    let fits = |c: u64| least(c).is_none_or(|n| rejects(n, c, good) <= alpha);
    let (mut low, mut high) = (0u64, 1u64);
    if !fits(0) {
        while !fits(high) {
            low = high;
            high = high.saturating_mul(2);
        }
        while high - low > 1 {
            let middle = low + (high - low) / 2;
            if fits(middle) { high = middle } else { low = middle }
        }
    } else {
        high = 0;
    }
    // whole n are a little worse; rounding of the integral is met by one step back
    for accept in high.saturating_sub(1)..=high.saturating_add(10_000) {
        let n = least(accept).ok_or_else(beyond)?;
        let mut plan = SinglePlan { n: (n.floor() as u64).max(accept + 1), accept };
        while plan.accepts(bad)? > beta {
            plan.n += 1;
        }
        if plan.rejects(good)? <= alpha {
            return Ok(plan);
        }
    }
    Err(beyond())
}

/// The n above c at which `too_small`, true below it, turns; `None` above [`LARGEST`].
fn solve(c: f64, too_small: impl Fn(f64) -> bool) -> Option<f64> {
    let (mut low, mut high) = (c, c + 1.0);
    while too_small(high) {
        low = high;
        high *= 2.0;
        if high > 2.0 * LARGEST {
            return None;
        }
    }
    for _ in 0..80 {
        let middle = 0.5 * (low + high);
        if middle <= low || middle >= high || high - low < 1e-6 {
            break;
        }
        if too_small(middle) { low = middle } else { high = middle }
    }
    // the lower end, so that rounding never skips a whole n
    (low <= LARGEST).then_some(low)
}
