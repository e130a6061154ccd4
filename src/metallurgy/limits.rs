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
    /// Not analysed, or not readable.
    Unknown,
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
/// use meltkin::metallurgy::limits::{Content, within};
/// assert_eq!(within(Content::Value(27.0), None, Some(25.0)), Some(false));
/// assert_eq!(within(Content::Below(1.0), None, Some(5.0)), Some(true));
/// assert_eq!(within(Content::Below(10.0), None, Some(5.0)), None);
/// ```
///
/// Source: arithmetic of the definition of a detection limit; no publication needed.
#[must_use]
pub fn within(content: Content, min: Option<f64>, max: Option<f64>) -> Option<bool> {
    let slack = |x: f64| x.abs() * 1e-9;
    match content {
        Content::Unknown => None,
        Content::Value(v) => {
            Some(min.is_none_or(|m| v >= m - slack(m)) && max.is_none_or(|m| v <= m + slack(m)))
        }
        Content::Below(x) => {
            let low = match min {
                Some(m) if m <= 0.0 => Some(true),
                Some(m) if x <= m => Some(false),
                Some(_) => None,
                None => Some(true),
            };
            let high = match max {
                Some(m) if x <= m + slack(m) => Some(true),
                Some(_) => None,
                None => Some(true),
            };
            match (low, high) {
                (Some(false), _) => Some(false),
                (Some(true), Some(true)) => Some(true),
                _ => None,
            }
        }
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
    }
}
