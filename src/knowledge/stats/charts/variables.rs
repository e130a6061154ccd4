//! Charts of measured values: individuals with moving range, X-bar with ranges or standard deviations.

use std::collections::BTreeMap;

use crate::stats::charts::ChartLine;
use crate::stats::charts::ControlChart;
use crate::stats::charts::constants::Constants;
use crate::stats::compensated::mean;
use crate::stats::compensated::squares_about;
use crate::stats::compensated::sum;

/// d2 of two values as printed in the tables, which moving ranges are divided by.
pub(crate) const D2_PRINTED: f64 = 1.128;
/// D4 of two values as printed in the tables.
const D4_PRINTED: f64 = 3.267;

/// An individuals chart with its moving ranges.
#[derive(Clone, Debug, PartialEq)]
pub struct Individuals {
    /// The values, limits x̄ ± 3 M̄R/1.128.
    pub individual: ControlChart,
    /// |x_i - x_{i-1}| from the second value on, limits 0 and 3.267 M̄R.
    pub moving_range: ControlChart,
    /// M̄R/1.128.
    pub sigma: f64,
}

/// The individuals chart, limits x̄ ± 3 M̄R/d2, and the moving ranges below D4 M̄R, with d2 = 1.128 and D4 =
/// 3.267 as printed in the tables. In the unit of x. Source: Shewhart 1931; NIST/SEMATECH e-Handbook
/// 6.3.2.2.
///
/// # Errors
/// Fewer than two values, or values so large that their differences leave the range of numbers.
///
/// ```
/// let x = [49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1];
/// let chart = knowledge::stats::charts::variables::individuals(&x).unwrap();
/// assert!((chart.individual.upper.at(0) - 55.8041).abs() < 1e-4);
/// ```
pub fn individuals(x: &[f64]) -> Result<Individuals, String> {
    if x.len() < 2 {
        return Err(format!("{} values have no moving range; two or more are needed", x.len()));
    }
    let centre = mean(x).unwrap_or(f64::NAN);
    let ranges: Vec<f64> = x.windows(2).map(|w| (w[1] - w[0]).abs()).collect();
    let average = mean(&ranges).unwrap_or(f64::NAN);
    let sigma = average / D2_PRINTED;
    in_range(&[centre, sigma * 1e3])?;
    Ok(Individuals {
        individual: ControlChart {
            centre: ChartLine::Same(centre),
            lower: ChartLine::Same(centre - 3.0 * sigma),
            upper: ChartLine::Same(centre + 3.0 * sigma),
            points: x.to_vec(),
        },
        moving_range: ControlChart {
            centre: ChartLine::Same(average),
            lower: ChartLine::Same(0.0),
            upper: ChartLine::Same(D4_PRINTED * average),
            points: ranges,
        },
        sigma,
    })
}

/// An X-bar chart with the chart of its groups' spread.
#[derive(Clone, Debug, PartialEq)]
pub struct Grouped {
    /// The groups' means, limits x̿ ± 3σ/√n_i.
    pub mean: ControlChart,
    /// The groups' ranges or standard deviations. A group of one value has none: it stands at 0 between
    /// limits of 0.
    pub spread: ControlChart,
    /// The standard deviation within groups, estimated without bias.
    pub sigma: f64,
}

/// X-bar and R charts with exact constants. σ = R̄/d2; with unequal sizes the ranges are weighted by
/// (d2/d3)², which gives the estimate its least variance (Burr 1969, J. Quality Technology 1:163), the
/// centre is the mean of all values, and the range's lines stand at d2 σ and (d2 ± 3 d3)σ for each size.
///
/// # Errors
/// Fewer than two groups, an empty group, no group of two or more, values out of range.
///
/// ```
/// use knowledge::stats::charts::variables;
/// let chart = variables::xbar_r(&[vec![1.0, 3.0], vec![2.0, 4.0]]).unwrap();
/// assert!((chart.sigma - 2.0 / 1.1283791670955126).abs() < 1e-9);
/// ```
pub fn xbar_r(groups: &[Vec<f64>]) -> Result<Grouped, String> {
    let range = |g: &[f64]| {
        let (low, high) = g.iter().fold((f64::MAX, f64::MIN), |(l, h), &v| (l.min(v), h.max(v)));
        high - low
    };
    grouped(groups, range, |k| (k.d2, k.d3))
}

/// X-bar and S charts with exact constants. σ = s̄/c4; with unequal sizes weighted by c4²/(1-c4²), the
/// rest as [`xbar_r`] with c4 and √(1-c4²) for d2 and d3.
///
/// # Errors
/// As [`xbar_r`].
///
/// ```
/// use knowledge::stats::charts::variables;
/// let chart = variables::xbar_s(&[vec![1.0, 3.0], vec![2.0, 4.0]]).unwrap();
/// assert!((chart.spread.centre.at(0) - 2f64.sqrt()).abs() < 1e-12);
/// ```
pub fn xbar_s(groups: &[Vec<f64>]) -> Result<Grouped, String> {
    let deviation = |g: &[f64]| {
        let centre = mean(g).unwrap_or(f64::NAN);
        (squares_about(g, centre) / (g.len() as f64 - 1.0)).sqrt()
    };
    grouped(groups, deviation, |k| (k.c4, k.c5))
}

fn grouped(
    groups: &[Vec<f64>],
    spread: impl Fn(&[f64]) -> f64,
    moments: impl Fn(&Constants) -> (f64, f64),
) -> Result<Grouped, String> {
    if groups.len() < 2 {
        return Err(format!(
            "{} group(s); two or more are needed to see one against the others",
            groups.len()
        ));
    }
    if let Some(i) = groups.iter().position(Vec::is_empty) {
        return Err(format!("group {} has no values", i + 1));
    }
    if groups.iter().all(|g| g.len() == 1) {
        return Err(
            "every group is one value, so there is no spread within groups; an individuals chart (i-mr) fits"
                .into(),
        );
    }
    // mean and standard deviation of the spread, over sigma, by size; of one value both are 0
    let mut known: BTreeMap<usize, (f64, f64)> = BTreeMap::from([(1, (0.0, 0.0))]);
    for g in groups {
        if let std::collections::btree_map::Entry::Vacant(free) = known.entry(g.len()) {
            free.insert(moments(&Constants::of(g.len() as u64)?));
        }
    }
    let moments: Vec<(f64, f64)> = groups.iter().map(|g| known[&g.len()]).collect();
    let spreads: Vec<f64> = groups.iter().map(|g| if g.len() == 1 { 0.0 } else { spread(g) }).collect();
    let (mut weighted, mut weights) = (Vec::new(), Vec::new());
    for ((m, s), value) in moments.iter().zip(&spreads) {
        if *m > 0.0 {
            let weight = (m / s) * (m / s);
            weighted.push(weight * value / m);
            weights.push(weight);
        }
    }
    let sigma = sum(weighted) / sum(weights);
    let all: Vec<f64> = groups.iter().flatten().copied().collect();
    let centre = mean(&all).unwrap_or(f64::NAN);
    in_range(&[centre, sigma * 1e3])?;
    let equal = groups.iter().all(|g| g.len() == groups[0].len());
    let line = |f: &dyn Fn(usize) -> f64| {
        if equal { ChartLine::Same(f(0)) } else { ChartLine::Each((0..groups.len()).map(f).collect()) }
    };
    let half = |i: usize| 3.0 * sigma / (groups[i].len() as f64).sqrt();
    Ok(Grouped {
        mean: ControlChart {
            centre: ChartLine::Same(centre),
            lower: line(&|i| centre - half(i)),
            upper: line(&|i| centre + half(i)),
            points: groups.iter().map(|g| mean(g).unwrap_or(f64::NAN)).collect(),
        },
        spread: ControlChart {
            centre: line(&|i| moments[i].0 * sigma),
            lower: line(&|i| ((moments[i].0 - 3.0 * moments[i].1) * sigma).max(0.0)),
            upper: line(&|i| (moments[i].0 + 3.0 * moments[i].1) * sigma),
            points: spreads,
        },
        sigma,
    })
}

fn in_range(values: &[f64]) -> Result<(), String> {
    if values.iter().all(|v| v.is_finite()) {
        return Ok(());
    }
    Err("the values are not finite, or so large that their spread leaves the range of numbers; choose another unit".into())
}
