//! Plans that accept no nonconforming piece.

use crate::sampling::inner;
use crate::sampling::share;
use crate::sampling::single::LARGEST;
use crate::sampling::single::SinglePlan;

/// The number of nonconforming pieces that a quality stands for in a lot: ⌈N q⌉, at least 1. A convention.
///
/// ```
/// assert_eq!(knowledge::sampling::zero::nonconforming(100, 0.07), 7);
/// ```
#[must_use]
pub fn nonconforming(lot: u64, quality: f64) -> u64 {
    // 100 × 0.07 is a little above 7 in binary
    let exact = lot as f64 * quality;
    ((exact - 1e-9 * exact.max(1.0)).ceil() as u64).clamp(1, lot.max(1))
}

/// The smallest sample that, without a nonconforming piece in it, shows with confidence that the lot is
/// better than `quality`: the smallest n with P(0 in the sample | D in the lot) ≤ 1 - confidence,
/// hypergeometric, D = ⌈N q⌉, at least 1. Textbook method.
///
/// # Errors
/// An empty lot, a quality outside 0 to 1, a confidence outside (0, 1).
///
/// ```
/// assert_eq!(knowledge::sampling::zero::sample(500, 0.02, 0.95), Ok(129));
/// ```
pub fn sample(lot: u64, quality: f64, confidence: f64) -> Result<u64, String> {
    if lot == 0 || lot > LARGEST {
        return Err(format!("the lot is {lot}; it belongs from 1 to {LARGEST}"));
    }
    share("the quality", quality)?;
    inner("the confidence", confidence)?;
    let defectives = nonconforming(lot, quality);
    let risk = 1.0 - confidence;
    // with more than N - D drawn one of them is there for certain
    let (mut low, mut high) = (0, lot - defectives + 1);
    while high - low > 1 {
        let middle = low + (high - low) / 2;
        let pass = SinglePlan { n: middle, accept: 0 }.accepts_lot(lot, defectives)?;
        // equal up to rounding is enough: 1 - 0.9 is not quite 0.1
        if pass <= risk * (1.0 + 1e-9) { high = middle } else { low = middle }
    }
    Ok(high)
}
