//! Quantiles by bisection. Halving the bit patterns of positive doubles takes at most 64 steps to
//! the last bit, at any magnitude, and cannot run away; speed is not what these need.

/// The x in [0, `end`] where `f`, falling, comes down to `target`.
pub(crate) fn solve_falling(f: impl Fn(f64) -> f64, target: f64, end: f64) -> f64 {
    let (mut low, mut high) = (0u64, end.to_bits());
    while high - low > 1 {
        let middle = low + (high - low) / 2;
        if f(f64::from_bits(middle)) > target {
            low = middle;
        } else {
            high = middle;
        }
    }
    let (a, b) = (f64::from_bits(low), f64::from_bits(high));
    // of the two neighbours the better one
    if (f(a) - target).abs() < (f(b) - target).abs() { a } else { b }
}

/// The x in [0, `end`] where the share below x is p, from both tails as a pair (below, above); the
/// smaller tail is the one matched.
pub(crate) fn solve(tails: impl Fn(f64) -> (f64, f64), p: f64, end: f64) -> f64 {
    if p <= 0.5 {
        solve_falling(|x| -tails(x).0, -p, end)
    } else {
        solve_falling(|x| tails(x).1, 1.0 - p, end)
    }
}
