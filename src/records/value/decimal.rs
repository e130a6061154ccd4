//! Numbers as they were written: compared digit by digit, so that 0.0032 wt% is 32 ppm and not nearly 32.

use std::cmp::Ordering;

/// A decimal: 0.DIGITS times ten to a power.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Decimal {
    negative: bool,
    /// Without zeros at either end; none: zero.
    digits: Vec<u8>,
    power: i32,
}

impl Decimal {
    /// The decimal that a number was read from: the shortest that reads back as the same number.
    pub fn of(v: f64) -> Self {
        let text = format!("{:e}", v.abs());
        let (mantissa, power) = text.split_once('e').unwrap_or((&text, "0"));
        let mut digits: Vec<u8> = mantissa.bytes().filter(u8::is_ascii_digit).collect();
        while digits.last() == Some(&b'0') {
            digits.pop();
        }
        let zero = digits.is_empty();
        Self {
            negative: v < 0.0 && !zero,
            digits,
            power: if zero { 0 } else { power.parse::<i32>().unwrap_or(0) + 1 },
        }
    }

    /// Times ten to a power: a change of unit.
    pub fn shifted(mut self, by: i32) -> Self {
        if !self.digits.is_empty() {
            self.power += by;
        }
        self
    }

    fn sign(&self) -> i8 {
        match (self.digits.is_empty(), self.negative) {
            (true, _) => 0,
            (false, true) => -1,
            (false, false) => 1,
        }
    }
}

impl Ord for Decimal {
    fn cmp(&self, other: &Self) -> Ordering {
        let size = || self.power.cmp(&other.power).then_with(|| self.digits.cmp(&other.digits));
        match self.sign().cmp(&other.sign()) {
            Ordering::Equal if self.negative => size().reverse(),
            Ordering::Equal => size(),
            unlike => unlike,
        }
    }
}

impl PartialOrd for Decimal {
    fn partial_cmp(&self, other: &Self) -> Option<Ordering> {
        Some(self.cmp(other))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_change_of_unit_loses_nothing() {
        // 1 wt% is 10,000 ppm. In binary 0.0032 * 10000 is 32 by luck, 0.0029 * 10000 is 28.999999999999996.
        for (pct, ppm) in [(0.0032, 32.0), (0.0029, 29.0), (0.0057, 57.0), (1.0, 10_000.0), (0.0, 0.0)] {
            assert_eq!(Decimal::of(pct).shifted(4), Decimal::of(ppm), "{pct}");
        }
        assert!(Decimal::of(0.00320001).shifted(4) > Decimal::of(32.0));
        assert!(Decimal::of(0.00319999).shifted(4) < Decimal::of(32.0));
    }

    #[test]
    fn decimals_are_ordered_as_numbers_are() {
        let rising =
            [-120.0, -12.0, -1.25, -1.2, -0.001, 0.0, 1e-9, 0.05, 0.5, 0.51, 5.0, 49.999, 50.0, 1e12];
        for (i, a) in rising.iter().enumerate() {
            for (j, b) in rising.iter().enumerate() {
                assert_eq!(Decimal::of(*a).cmp(&Decimal::of(*b)), i.cmp(&j), "{a} {b}");
            }
        }
        assert_eq!(Decimal::of(-0.0), Decimal::of(0.0));
    }
}
