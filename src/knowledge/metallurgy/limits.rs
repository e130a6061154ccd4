//! An analysis against the limits of its alloy.
//!
//! The limits are the producer's own: those of the specification as it stands. Widened check limits
//! are the buyer's allowance for the spread between laboratories and are not applied here.

/// What an analysis says of an element.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Content {
    /// A value.
    Value(f64),
    /// Below this detection limit.
    Below(f64),
    /// From the first to below the second: a sum with a part below its detection limit.
    Between(f64, f64),
    /// Not analysed, or not readable.
    Unknown,
}

impl Content {
    /// In a unit that is smaller by this factor. Twelve digits are kept: what is left of a decimal
    /// after a change of unit.
    #[must_use]
    pub fn times(self, factor: f64) -> Self {
        let scaled = |v: f64| if factor == 1.0 { v } else { decimal(v * factor) };
        match self {
            Self::Value(v) => Self::Value(scaled(v)),
            Self::Below(x) => Self::Below(scaled(x)),
            Self::Between(a, b) => Self::Between(scaled(a), scaled(b)),
            Self::Unknown => Self::Unknown,
        }
    }

    /// The content of two elements together; unknown where one of them is.
    #[must_use]
    pub(crate) fn plus(self, other: Self) -> Self {
        match (self, other) {
            (Self::Unknown, _) | (_, Self::Unknown) => Self::Unknown,
            (Self::Value(a), Self::Value(b)) => Self::Value(decimal(a + b)),
            (Self::Below(a), Self::Below(b)) => Self::Below(decimal(a + b)),
            (a, b) => {
                let ((a, c), (b, d)) = (a.ends(), b.ends());
                Self::Between(decimal(a + b), decimal(c + d))
            }
        }
    }

    /// The least and the most that it can be.
    fn ends(self) -> (f64, f64) {
        match self {
            Self::Value(v) => (v, v),
            Self::Below(x) => (0.0, x),
            Self::Between(a, b) => (a, b),
            Self::Unknown => (0.0, f64::INFINITY),
        }
    }
}

/// Twelve significant digits.
fn decimal(v: f64) -> f64 {
    format!("{v:.11e}").parse().unwrap_or(v)
}

/// Unit of a content: mass per cent or parts per million by mass; 1 wt% is 10,000 ppm.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Unit {
    /// Mass per cent.
    WtPct,
    /// Parts per million by mass.
    Ppm,
}

impl Unit {
    /// From the word that records hold.
    #[must_use]
    pub fn from_word(word: &str) -> Option<Self> {
        match word {
            "wt%" => Some(Self::WtPct),
            "ppm" => Some(Self::Ppm),
            _ => None,
        }
    }

    /// The factor from this unit to another.
    #[must_use]
    pub fn factor_to(self, other: Self) -> f64 {
        match (self, other) {
            (Self::WtPct, Self::Ppm) => 10_000.0,
            (Self::Ppm, Self::WtPct) => 1.0 / 10_000.0,
            _ => 1.0,
        }
    }
}

/// Whether a content lies within `min..=max`, both in the content's unit; none where it cannot be
/// told: not analysed, or below a detection limit that is wider than the limit.
///
/// A relative slack of 1e-9 absorbs the conversion of units.
///
/// ```
/// use knowledge::metallurgy::limits::{Content, within};
/// assert_eq!(within(Content::Value(27.0), None, Some(25.0)), Some(false));
/// assert_eq!(within(Content::Below(1.0), None, Some(5.0)), Some(true));
/// assert_eq!(within(Content::Below(10.0), None, Some(5.0)), None);
/// ```
///
/// Source: arithmetic of the definition of a detection limit; no publication needed.
#[must_use]
pub fn within(content: Content, min: Option<f64>, max: Option<f64>) -> Option<bool> {
    let slack = |x: f64| x.abs() * 1e-9;
    let (least, most) = match content {
        Content::Unknown => return None,
        other => other.ends(),
    };
    let open = !matches!(content, Content::Value(_));
    let low = min.map_or(Some(true), |m| {
        if least >= m - slack(m) {
            Some(true)
        } else if most < m - slack(m) || (open && most <= m) {
            Some(false)
        } else {
            None
        }
    });
    let high = max.map_or(Some(true), |m| {
        if most <= m + slack(m) {
            Some(true)
        } else if least > m + slack(m) {
            Some(false)
        } else {
            None
        }
    });
    match (low, high) {
        (Some(false), _) | (_, Some(false)) => Some(false),
        (Some(true), Some(true)) => Some(true),
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_cannot_be_told_is_not_told() {
        assert_eq!(within(Content::Unknown, Some(1.0), None), None);
        assert_eq!(within(Content::Below(0.5), Some(1.0), Some(2.0)), Some(false));
        assert_eq!(within(Content::Below(1.5), Some(1.0), Some(2.0)), None);
        assert_eq!(within(Content::Value(0.0035 * 10_000.0), None, Some(35.0)), Some(true));
        assert_eq!(within(Content::Value(1.0), None, None), Some(true));
        assert_eq!(within(Content::Unknown, None, None), None);
    }

    #[test]
    fn at_the_limit_is_within_and_below_the_minimum_is_not() {
        assert_eq!(within(Content::Value(5.0), Some(5.0), Some(5.0)), Some(true));
        assert_eq!(within(Content::Value(4.99), Some(5.0), None), Some(false));
        // `<x` is strictly below x: at the minimum it fails, at the maximum it passes.
        assert_eq!(within(Content::Below(5.0), Some(5.0), None), Some(false));
        assert_eq!(within(Content::Below(5.0), None, Some(5.0)), Some(true));
        assert_eq!(within(Content::Below(5.0), Some(0.0), Some(5.0)), Some(true));
        assert_eq!(within(Content::Below(9.0), Some(5.0), Some(8.0)), None);
        // A minimum of 0 with `<x` above the maximum: it cannot be told.
        assert_eq!(within(Content::Below(9.0), Some(0.0), Some(8.0)), None);
    }

    #[test]
    fn a_sum_is_as_well_known_as_its_parts() {
        let sum = Content::Value(3.4).plus(Content::Value(3.5));
        assert_eq!(sum, Content::Value(6.9));
        let open = Content::Value(6.4).plus(Content::Below(0.2));
        assert_eq!(open, Content::Between(6.4, 6.6));
        assert_eq!(within(open, Some(6.5), Some(7.2)), None);
        assert_eq!(within(open, Some(6.4), Some(7.2)), Some(true));
        assert_eq!(within(open, Some(6.6), None), Some(false));
        assert_eq!(within(open, None, Some(6.3)), Some(false));
        assert_eq!(within(Content::Value(1.0).plus(Content::Unknown), None, Some(0.5)), None);
        assert_eq!(Content::Below(1.0).times(10_000.0), Content::Below(10_000.0));
    }
}
