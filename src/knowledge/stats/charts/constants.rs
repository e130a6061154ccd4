//! The constants of control charts, computed for any group size.

use crate::stats::dist::normal_cdf;
use crate::stats::dist::normal_sf;
use crate::stats::quadrature::panels;

/// The largest group size that constants are computed for.
pub(crate) const LARGEST: u64 = 1_000_000_000;

/// The constants for groups of n values from a normal distribution, sigma being its standard deviation.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Constants {
    /// Mean of the range over sigma.
    pub d2: f64,
    /// Standard deviation of the range over sigma.
    pub d3: f64,
    /// Mean of the standard deviation over sigma.
    pub c4: f64,
    /// Standard deviation of the standard deviation over sigma, √(1-c4²).
    pub c5: f64,
}

impl Constants {
    /// The four constants for groups of n: d2 = ∫ 1 - Φⁿ - (1-Φ)ⁿ, d3² = 2∬ P(min ≤ x, max > y) - d2²
    /// (Tippett 1925, Biometrika 17:364), c4 = √(2/(n-1)) Γ(n/2)/Γ((n-1)/2). Good to 1e-10.
    ///
    /// # Errors
    /// n below 2, or above `LARGEST`.
    ///
    /// ```
    /// let k = knowledge::stats::charts::constants::Constants::of(5).unwrap();
    /// assert!((k.d2 - 2.3259289).abs() < 1e-7);
    /// ```
    pub fn of(n: u64) -> Result<Self, String> {
        let c4 = c4(n)?;
        let (d2, d3) = range(n as f64);
        // 1 - c4², by a series where the difference would lose digits
        let v = (n - 1) as f64;
        let c5 = if n > 1_000 {
            let w = 1.0 / v;
            (w * (0.5 - w * (0.125 + w * (0.0625 - w * 0.039_062_5)))).sqrt()
        } else {
            ((1.0 - c4) * (1.0 + c4)).sqrt()
        };
        Ok(Self { d2, d3, c4, c5 })
    }

    /// A2 = 3/(d2√n), for the mean about ranges.
    ///
    /// ```
    /// // seven-place tables
    /// let k = knowledge::stats::charts::constants::Constants::of(5).unwrap();
    /// assert!((k.a2(5) - 0.5768193).abs() < 1e-7);
    /// ```
    #[must_use]
    pub fn a2(&self, n: u64) -> f64 {
        3.0 / (self.d2 * (n as f64).sqrt())
    }

    /// A3 = 3/(c4√n), for the mean about standard deviations.
    ///
    /// ```
    /// // seven-place tables
    /// let k = knowledge::stats::charts::constants::Constants::of(5).unwrap();
    /// assert!((k.a3(5) - 1.4272993).abs() < 1e-7);
    /// ```
    #[must_use]
    pub fn a3(&self, n: u64) -> f64 {
        3.0 / (self.c4 * (n as f64).sqrt())
    }

    /// B3 = 1 - 3 c5/c4, cut at 0.
    ///
    /// ```
    /// // seven-place tables
    /// let k = knowledge::stats::charts::constants::Constants::of(5).unwrap();
    /// assert!((k.b3() - 0.0).abs() < 1e-7);
    /// ```
    #[must_use]
    pub fn b3(&self) -> f64 {
        (1.0 - 3.0 * self.c5 / self.c4).max(0.0)
    }

    /// B4 = 1 + 3 c5/c4.
    ///
    /// ```
    /// // seven-place tables
    /// let k = knowledge::stats::charts::constants::Constants::of(5).unwrap();
    /// assert!((k.b4() - 2.0889979).abs() < 1e-7);
    /// ```
    #[must_use]
    pub fn b4(&self) -> f64 {
        1.0 + 3.0 * self.c5 / self.c4
    }

    /// D3 = 1 - 3 d3/d2, cut at 0.
    ///
    /// ```
    /// // seven-place tables
    /// let k = knowledge::stats::charts::constants::Constants::of(5).unwrap();
    /// assert!((k.lower_range() - 0.0).abs() < 1e-7);
    /// ```
    #[must_use]
    pub fn lower_range(&self) -> f64 {
        (1.0 - 3.0 * self.d3 / self.d2).max(0.0)
    }

    /// D4 = 1 + 3 d3/d2.
    ///
    /// ```
    /// // seven-place tables
    /// let k = knowledge::stats::charts::constants::Constants::of(5).unwrap();
    /// assert!((k.upper_range() - 2.1144991).abs() < 1e-7);
    /// ```
    #[must_use]
    pub fn upper_range(&self) -> f64 {
        1.0 + 3.0 * self.d3 / self.d2
    }
}

/// c4 alone, which is quick: the mean of the standard deviation of n values over sigma.
///
/// # Errors
/// As [`Constants::of`].
///
/// ```
/// let c4 = knowledge::stats::charts::constants::c4(2).unwrap();
/// assert!((c4 - (2.0 / std::f64::consts::PI).sqrt()).abs() < 1e-15);
/// ```
pub fn c4(n: u64) -> Result<f64, String> {
    if n < 2 {
        return Err(format!("a group of {n} has no spread; its size belongs from 2 up"));
    }
    if n > LARGEST {
        return Err(format!("a group of {n} is larger than is computed ({LARGEST})"));
    }
    // Γ(m+½)/(Γ(m)√m), shifted upwards until its asymptotic series is exact
    let start = 0.5 * (n - 1) as f64;
    let (mut m, mut ratio) = (start, 1.0);
    while m < 60.0 {
        ratio *= m / (m + 0.5);
        m += 1.0;
    }
    let w = 1.0 / m;
    let series = 1.0
        + w * (-1.0 / 8.0
            + w * (1.0 / 128.0
                + w * (5.0 / 1024.0
                    + w * (-21.0 / 32768.0 + w * (-399.0 / 262_144.0 + w * 869.0 / 4_194_304.0)))));
    Ok(ratio * series * (m / start).sqrt())
}

/// Mean and standard deviation of the range of n standard normal values.
fn range(n: f64) -> (f64, f64) {
    // beyond `end` not even the largest of n values comes (probability below 1e-18)
    let mut end = 6.0;
    while n * normal_sf(end) > 1e-18 {
        end += 0.5;
    }
    // Φ(x)ⁿ without losing what the upper tail says
    let power = |tail: f64| (n * (-tail).ln_1p()).exp();
    let mean: f64 = panels(0.0, end, 1.0)
        .iter()
        .map(|(x, w)| 2.0 * w * (1.0 - power(normal_sf(*x)) - power(normal_cdf(*x))))
        .sum();
    // P(min ≤ x, max > y) over the middle s = (x+y)/2, in which it is symmetric, and r = y - x
    let mut square = 0.0;
    for (r, wr) in panels(0.0, 2.0 * end, 1.5) {
        for (s, ws) in panels(0.0, end, 1.5) {
            let (x, y) = (s - 0.5 * r, s + 0.5 * r);
            let (low, high) = (normal_cdf(x), normal_sf(y));
            let both = 1.0 - power(high) - power(low) + power((low + high).min(1.0));
            square += 4.0 * wr * ws * both;
        }
    }
    (mean, (square - mean * mean).max(0.0).sqrt())
}
