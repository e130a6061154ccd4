//! Charts that remember: the exponentially weighted moving average and the cumulative sum.

use crate::stats::charts::ChartLine;
use crate::stats::charts::ControlChart;
use crate::stats::charts::above;

/// The EWMA chart: z_i = λ x_i + (1-λ) z_{i-1} from z_0 = target, limits target ± L σ √(λ/(2-λ)
/// (1-(1-λ)^{2i})), or, where `steady`, the limit they tend to. In the unit of x. Source: Roberts 1959,
/// Technometrics 1:239.
///
/// # Errors
/// No rows; λ outside (0, 1]; sigma or the width L (in sigmas) not above 0; a figure that is not finite.
///
/// ```
/// use knowledge::stats::charts::cumulative;
/// let chart = cumulative::ewma(&[52.0, 47.0], 50.0, 2.0539, 0.3, 3.0, true).unwrap();
/// assert!((chart.points[1] - 49.52).abs() < 1e-12);
/// ```
pub fn ewma(
    x: &[f64],
    target: f64,
    sigma: f64,
    lambda: f64,
    width: f64,
    steady: bool,
) -> Result<ControlChart, String> {
    checked(x, target, sigma)?;
    if !(lambda > 0.0 && lambda <= 1.0) {
        return Err(format!("lambda is {lambda:?}; it belongs above 0, up to 1 (such as 0.2)"));
    }
    if !(width > 0.0 && width.is_finite()) {
        return Err(format!("the width is {width:?}; it belongs above 0 (such as 3 sigmas)"));
    }
    let keep = 1.0 - lambda;
    let mut z = target;
    let points: Vec<f64> = x
        .iter()
        .map(|&x| {
            z = keep * z + lambda * x;
            z
        })
        .collect();
    let limit = width * sigma * (lambda / (2.0 - lambda)).sqrt();
    if !points[points.len() - 1].is_finite() || !(target.abs() + limit).is_finite() {
        return Err("the figures leave the range of numbers; choose another unit".into());
    }
    let (lower, upper) = if steady {
        (ChartLine::Same(target - limit), ChartLine::Same(target + limit))
    } else {
        growing(x.len(), target, limit, keep)
    };
    Ok(ControlChart { centre: ChartLine::Same(target), lower, upper, points })
}

/// Limits that grow to their steady value, and stay there once it is reached to the last digit.
fn growing(count: usize, target: f64, limit: f64, keep: f64) -> (ChartLine, ChartLine) {
    let mut lower = Vec::with_capacity(count);
    let mut upper = Vec::with_capacity(count);
    let square = keep * keep;
    let mut left = 1.0;
    while lower.len() < count {
        left *= square;
        if left < 1e-17 {
            break;
        }
        let half = limit * (1.0f64 - left).sqrt();
        lower.push(target - half);
        upper.push(target + half);
    }
    lower.resize(count, target - limit);
    upper.resize(count, target + limit);
    (ChartLine::Each(lower), ChartLine::Each(upper))
}

/// A two-sided cumulative sum chart, in the unit of x.
#[derive(Clone, Debug, PartialEq)]
pub struct Cusum {
    /// C⁺_i, sums of what lies above the target.
    pub upper_sums: Vec<f64>,
    /// C⁻_i, sums of what lies below the target, counted positive.
    pub lower_sums: Vec<f64>,
    /// The decision limit hσ that both stand against.
    pub limit: f64,
}

impl Cusum {
    /// The points at which the upper sum lies above the limit, counted from 1.
    ///
    /// ```
    /// let chart = knowledge::stats::charts::cumulative::cusum(&[1.0, 2.0, 3.0], 0.0, 1.0, 0.5, 1.0).unwrap();
    /// assert_eq!((chart.above(), chart.below()), (vec![2, 3], vec![]));
    /// ```
    #[must_use]
    pub fn above(&self) -> Vec<usize> {
        Self::over(&self.upper_sums, self.limit)
    }

    /// The points at which the lower sum lies above the limit: the values are too low.
    ///
    /// ```
    /// let chart = knowledge::stats::charts::cumulative::cusum(&[-1.0, -2.0], 0.0, 1.0, 0.5, 1.0).unwrap();
    /// assert_eq!((chart.above(), chart.below()), (vec![], vec![2]));
    /// ```
    #[must_use]
    pub fn below(&self) -> Vec<usize> {
        Self::over(&self.lower_sums, self.limit)
    }

    fn over(sums: &[f64], limit: f64) -> Vec<usize> {
        sums.iter().enumerate().filter_map(|(i, &s)| above(s, limit).then_some(i + 1)).collect()
    }
}

/// The tabular CUSUM from 0: C⁺_i = max(0, C⁺_{i-1} + x_i - target - kσ), C⁻_i = max(0, C⁻_{i-1} + target -
/// x_i - kσ), a signal above hσ; k and h in sigmas. Source: Page 1954, Biometrika 41:100.
///
/// # Errors
/// No rows; sigma not above 0; k or h negative; a figure that is not finite.
///
/// ```
/// let chart = knowledge::stats::charts::cumulative::cusum(&[1.0, 2.0, 3.0], 0.0, 1.0, 0.5, 4.0).unwrap();
/// assert_eq!(chart.upper_sums, [0.5, 2.0, 4.5]);
/// assert_eq!(chart.above(), [3]);
/// ```
pub fn cusum(x: &[f64], target: f64, sigma: f64, k: f64, h: f64) -> Result<Cusum, String> {
    checked(x, target, sigma)?;
    for (name, value) in [("k", k), ("h", h)] {
        if !(value >= 0.0 && value.is_finite()) {
            return Err(format!("{name} is {value:?}; it belongs from 0 up, in sigmas"));
        }
    }
    let (slack, limit) = (k * sigma, h * sigma);
    let (mut high, mut low) = (0.0f64, 0.0f64);
    let mut chart =
        Cusum { upper_sums: Vec::with_capacity(x.len()), lower_sums: Vec::with_capacity(x.len()), limit };
    for &x in x {
        high = (high + (x - target) - slack).max(0.0);
        low = (low + (target - x) - slack).max(0.0);
        chart.upper_sums.push(high);
        chart.lower_sums.push(low);
    }
    if !(high.is_finite() && low.is_finite() && slack.is_finite() && limit.is_finite()) {
        return Err("the sums leave the range of numbers; choose another unit".into());
    }
    Ok(chart)
}

fn checked(x: &[f64], target: f64, sigma: f64) -> Result<(), String> {
    if x.is_empty() {
        return Err("no rows, so no chart".into());
    }
    if let Some(i) = x.iter().position(|v| !v.is_finite()) {
        return Err(format!("row {}: {} is no finite number", i + 1, x[i]));
    }
    if !target.is_finite() {
        return Err(format!("the target is {target:?}; a finite number belongs there"));
    }
    if !(sigma > 0.0 && sigma.is_finite()) {
        return Err(format!("sigma is {sigma:?}; a standard deviation above 0 belongs there"));
    }
    Ok(())
}
