//! Numbers of twice the precision of a double, for least squares on ill-conditioned columns.

use std::ops::Add;
use std::ops::Div;
use std::ops::Mul;
use std::ops::Neg;
use std::ops::Sub;

/// An unevaluated sum of two doubles, about 31 digits (Dekker 1971; Knuth's two-sum).
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Twofold {
    high: f64,
    low: f64,
}

impl Twofold {
    /// Zero.
    pub const ZERO: Self = Self { high: 0.0, low: 0.0 };

    /// The nearest double.
    #[must_use]
    pub fn value(self) -> f64 {
        self.high + self.low
    }

    /// The square root; zero of what is not above zero.
    #[must_use]
    pub fn sqrt(self) -> Self {
        if self.high <= 0.0 {
            return Self::ZERO;
        }
        let root = Self::from(self.high.sqrt());
        // one Newton step doubles the digits
        root + (self - root * root) / (root + root)
    }

    /// A whole power.
    #[must_use]
    pub fn power(self, exponent: u32) -> Self {
        (0..exponent).fold(Self::from(1.0), |product, _| product * self)
    }

    fn quick(a: f64, b: f64) -> Self {
        let high = a + b;
        Self { high, low: b - (high - a) }
    }
}

impl From<f64> for Twofold {
    fn from(high: f64) -> Self {
        Self { high, low: 0.0 }
    }
}

impl Add for Twofold {
    type Output = Self;
    fn add(self, other: Self) -> Self {
        let high = self.high + other.high;
        let back = high - self.high;
        let error = (self.high - (high - back)) + (other.high - back);
        Self::quick(high, error + self.low + other.low)
    }
}

impl Neg for Twofold {
    type Output = Self;
    fn neg(self) -> Self {
        Self { high: -self.high, low: -self.low }
    }
}

impl Sub for Twofold {
    type Output = Self;
    fn sub(self, other: Self) -> Self {
        self + -other
    }
}

impl Mul for Twofold {
    type Output = Self;
    fn mul(self, other: Self) -> Self {
        let high = self.high * other.high;
        let error = self.high.mul_add(other.high, -high);
        Self::quick(high, error + self.high * other.low + self.low * other.high)
    }
}

impl Div for Twofold {
    type Output = Self;
    fn div(self, other: Self) -> Self {
        let first = self.high / other.high;
        let rest = self - other * Self::from(first);
        let second = rest.high / other.high;
        let rest = rest - other * Self::from(second);
        Self::quick(first, second) + Self::from(rest.high / other.high)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_third_has_twice_the_digits() {
        let third = Twofold::from(1.0) / Twofold::from(3.0);
        assert!((third * Twofold::from(3.0) - Twofold::from(1.0)).value().abs() < 1e-31);
    }
}
