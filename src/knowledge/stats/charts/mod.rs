//! Control charts: points, centre, limits, and which points lie outside.
//!
//! Limits stand three standard errors from the centre. Lower limits of counts and shares are cut at 0.

pub mod attributes;
pub mod constants;
pub mod cumulative;
pub mod rules;
pub mod variables;

/// A line of a chart: the same at every point, or one value for each.
#[derive(Clone, Debug, PartialEq)]
pub enum ChartLine {
    /// The same at every point.
    Same(f64),
    /// A value for each point.
    Each(Vec<f64>),
}

impl ChartLine {
    /// The line's value at point `i`, counted from 0.
    ///
    /// ```
    /// use knowledge::stats::charts::ChartLine;
    /// assert_eq!(ChartLine::Same(2.5).at(7), 2.5);
    /// assert_eq!(ChartLine::Each(vec![1.0, 2.0]).at(1), 2.0);
    /// ```
    #[must_use]
    pub fn at(&self, i: usize) -> f64 {
        match self {
            Self::Same(v) => *v,
            Self::Each(values) => values[i],
        }
    }
}

/// A control chart: points between limits.
#[derive(Clone, Debug, PartialEq)]
pub struct ControlChart {
    /// The centre line.
    pub centre: ChartLine,
    /// The lower limit.
    pub lower: ChartLine,
    /// The upper limit.
    pub upper: ChartLine,
    /// The plotted points.
    pub points: Vec<f64>,
}

/// How far outside, as a share of the limit, a point must lie to count; less is rounding.
const SLACK: f64 = 1e-9;

/// Whether a point lies above a limit, by more than rounding.
pub(crate) fn above(point: f64, limit: f64) -> bool {
    point > limit + SLACK * limit.abs()
}

/// Whether a point lies below a limit, by more than rounding.
pub(crate) fn below(point: f64, limit: f64) -> bool {
    point < limit - SLACK * limit.abs()
}

impl ControlChart {
    /// The points strictly outside the limits (relative slack 1e-9), counted from 1.
    ///
    /// ```
    /// use knowledge::stats::charts::attributes;
    /// // 28 lies on the upper limit 16 + 3√16, 31 beyond it (NIST/SEMATECH e-Handbook 6.3.3.1, part)
    /// let chart = attributes::c(&[16, 14, 28, 4, 31, 10, 9]).unwrap();
    /// assert_eq!(chart.beyond(), [5]);
    /// ```
    #[must_use]
    pub fn beyond(&self) -> Vec<usize> {
        let outside = |(i, p): (usize, &f64)| {
            (above(*p, self.upper.at(i)) || below(*p, self.lower.at(i))).then_some(i + 1)
        };
        self.points.iter().enumerate().filter_map(outside).collect()
    }

    /// The points in standard errors from the centre, z = 3 (point - centre)/(upper - centre), which run
    /// rules take. Rounded to 1e-9, so that points on a zone's border, on the centre, or level with each
    /// other are so here too.
    ///
    /// # Errors
    /// A point off the centre where the limits have no width.
    ///
    /// ```
    /// use knowledge::stats::charts::attributes;
    /// let chart = attributes::c(&[9, 9, 9, 18, 0]).unwrap();
    /// assert_eq!(chart.standardised().unwrap(), [0.0, 0.0, 0.0, 3.0, -3.0]);
    /// ```
    pub fn standardised(&self) -> Result<Vec<f64>, String> {
        let z = |(i, point): (usize, &f64)| {
            let (centre, upper) = (self.centre.at(i), self.upper.at(i));
            let off = point - centre;
            if off.abs() <= SLACK * centre.abs() {
                return Ok(0.0);
            }
            let z = 3.0 * off / (upper - centre);
            if !z.is_finite() {
                return Err(format!(
                    "point {}: the limits have no width there, so it has no distance in sigmas",
                    i + 1
                ));
            }
            Ok(if z.abs() < 1e6 { (z * 1e9).round() / 1e9 } else { z })
        };
        self.points.iter().enumerate().map(z).collect()
    }
}
