//! Charts of shares and counts: p, np, c, u, and the over-dispersed p' and u' after Laney.

use crate::stats::charts::ChartLine;
use crate::stats::charts::ControlChart;
use crate::stats::charts::variables::D2_PRINTED;

/// The p chart: shares x/n about their pooled share, limits p̄ ± 3√(p̄(1-p̄)/n_i), lower cut at 0.
/// Source: Shewhart 1931, as in any textbook.
///
/// # Errors
/// Lists of unequal length, no rows, a size of 0, more nonconforming than inspected.
///
/// ```
/// let chart = knowledge::stats::charts::attributes::p(&[2, 3, 1, 12], &[50, 50, 50, 50]).unwrap();
/// assert_eq!(chart.beyond(), [4]);
/// ```
pub fn p(x: &[u64], n: &[u64]) -> Result<ControlChart, String> {
    let (centre, points) = shares(x, n)?;
    let spread = centre * (1.0 - centre);
    let (lower, upper) = limits(centre, n, |n| 3.0 * (spread / n as f64).sqrt());
    Ok(ControlChart { centre: ChartLine::Same(centre), lower, upper, points })
}

/// The np chart: counts x about n_i p̄, limits n_i p̄ ± 3√(n_i p̄(1-p̄)), lower cut at 0.
/// Source: Shewhart 1931, as in any textbook.
///
/// # Errors
/// As [`p`].
///
/// ```
/// use knowledge::stats::charts::{ChartLine, attributes};
/// let chart = attributes::np(&[2, 3, 1, 2], &[10, 10, 10, 10]).unwrap();
/// assert_eq!(chart.centre, ChartLine::Same(2.0));
/// ```
pub fn np(x: &[u64], n: &[u64]) -> Result<ControlChart, String> {
    let (share, _) = shares(x, n)?;
    let line = |f: &dyn Fn(f64) -> f64| {
        if same(n) {
            ChartLine::Same(f(n[0] as f64))
        } else {
            ChartLine::Each(n.iter().map(|&n| f(n as f64)).collect())
        }
    };
    let half = |n: f64| 3.0 * (n * share * (1.0 - share)).sqrt();
    Ok(ControlChart {
        centre: line(&|n| n * share),
        lower: line(&|n| (n * share - half(n)).max(0.0)),
        upper: line(&|n| n * share + half(n)),
        points: x.iter().map(|&x| x as f64).collect(),
    })
}

/// The c chart: counts of defects on equal areas, limits c̄ ± 3√c̄, lower cut at 0.
/// Source: Shewhart 1931, as in any textbook.
///
/// # Errors
/// No rows.
///
/// ```
/// use knowledge::stats::charts::{ChartLine, attributes};
/// let chart = attributes::c(&[16, 14, 18]).unwrap();
/// assert_eq!((chart.lower, chart.upper), (ChartLine::Same(4.0), ChartLine::Same(28.0)));
/// ```
pub fn c(x: &[u64]) -> Result<ControlChart, String> {
    if x.is_empty() {
        return Err("no rows, so no chart".into());
    }
    let centre = total(x) / x.len() as f64;
    let half = 3.0 * centre.sqrt();
    Ok(ControlChart {
        centre: ChartLine::Same(centre),
        lower: ChartLine::Same((centre - half).max(0.0)),
        upper: ChartLine::Same(centre + half),
        points: x.iter().map(|&x| x as f64).collect(),
    })
}

/// The u chart: defects per unit x/n, limits ū ± 3√(ū/n_i), lower cut at 0; n in any unit of
/// opportunity. Source: Shewhart 1931, as in any textbook.
///
/// # Errors
/// Lists of unequal length, no rows, an opportunity that is not above 0.
///
/// ```
/// let chart = knowledge::stats::charts::attributes::u(&[14, 12, 20], &[10.0, 8.0, 13.0]).unwrap();
/// let mean: f64 = 46.0 / 31.0;
/// assert!((chart.lower.at(1) - (mean - 3.0 * (mean / 8.0).sqrt())).abs() < 1e-15);
/// ```
pub fn u(x: &[u64], units: &[f64]) -> Result<ControlChart, String> {
    let (centre, points) = rates(x, units)?;
    let (lower, upper) = limits(centre, units, |n| 3.0 * (centre / n).sqrt());
    Ok(ControlChart { centre: ChartLine::Same(centre), lower, upper, points })
}

/// A chart whose limits carry the variation between the points too.
#[derive(Clone, Debug, PartialEq)]
pub struct Overdispersed {
    /// The chart, with limits centre ± 3 s_i σ_z.
    pub chart: ControlChart,
    /// σ_z, the spread of the z scores from point to point; 1 where the plain chart holds.
    pub sigma_z: f64,
    /// z_i = (point - centre)/s_i with the plain chart's standard error s_i.
    pub z: Vec<f64>,
}

/// The p' chart: limits p̄ ± 3 s_i σ_z with s_i = √(p̄(1-p̄)/n_i) and σ_z the mean moving range of
/// the z scores over 1.128; lower cut at 0. Source: Laney 2002, Quality Engineering 14:531.
///
/// # Errors
/// As [`p`]; fewer than two rows; all conforming or none, where σ_z is not determined.
///
/// ```
/// let laney = knowledge::stats::charts::attributes::p_prime(&[45, 20, 45], &[1399, 1272, 1285]).unwrap();
/// assert!(laney.sigma_z > 2.0);
/// ```
pub fn p_prime(x: &[u64], n: &[u64]) -> Result<Overdispersed, String> {
    let (centre, points) = shares(x, n)?;
    let spread = centre * (1.0 - centre);
    widened(centre, points, n, |n| (spread / n as f64).sqrt())
}

/// The u' chart: limits ū ± 3 s_i σ_z with s_i = √(ū/n_i); the rest as [`p_prime`].
///
/// # Errors
/// As [`u`]; fewer than two rows; no defect at all, where σ_z is not determined.
///
/// ```
/// let laney = knowledge::stats::charts::attributes::u_prime(&[14, 12, 20], &[10.0, 8.0, 13.0]).unwrap();
/// assert!(laney.sigma_z < 1.0);
/// ```
pub fn u_prime(x: &[u64], units: &[f64]) -> Result<Overdispersed, String> {
    let (centre, points) = rates(x, units)?;
    widened(centre, points, units, |n| (centre / n).sqrt())
}

fn widened<N: Copy + PartialEq>(
    centre: f64,
    points: Vec<f64>,
    n: &[N],
    error: impl Fn(N) -> f64,
) -> Result<Overdispersed, String> {
    if points.len() < 2 {
        return Err(
            "one row has no moving range, so sigma z is not determined; two or more are needed".into()
        );
    }
    let z: Vec<f64> = points.iter().zip(n).map(|(p, &n)| (p - centre) / error(n)).collect();
    if z.iter().any(|z| !z.is_finite()) {
        return Err(format!(
            "every point is {centre:?}, so there is no spread to measure sigma z by; the plain chart says as much"
        ));
    }
    let ranges: f64 = z.windows(2).map(|w| (w[1] - w[0]).abs()).sum();
    let sigma_z = ranges / (z.len() - 1) as f64 / D2_PRINTED;
    let (lower, upper) = limits(centre, n, |n| 3.0 * error(n) * sigma_z);
    Ok(Overdispersed {
        chart: ControlChart { centre: ChartLine::Same(centre), lower, upper, points },
        sigma_z,
        z,
    })
}

/// Limits at centre ± half, cut at 0 below.
fn limits<N: Copy + PartialEq>(centre: f64, n: &[N], half: impl Fn(N) -> f64) -> (ChartLine, ChartLine) {
    if same(n) {
        let half = half(n[0]);
        return (ChartLine::Same((centre - half).max(0.0)), ChartLine::Same(centre + half));
    }
    let mut lower = vec![0.0; n.len()];
    let mut upper = vec![0.0; n.len()];
    for ((&n, lower), upper) in n.iter().zip(&mut lower).zip(&mut upper) {
        let half = half(n);
        *lower = (centre - half).max(0.0);
        *upper = centre + half;
    }
    (ChartLine::Each(lower), ChartLine::Each(upper))
}

/// Pooled share and shares.
fn shares(x: &[u64], n: &[u64]) -> Result<(f64, Vec<f64>), String> {
    paired(x.len(), n.len())?;
    // found in one pass without a way out, which is quick; the row is named only where something is wrong
    if x.iter().zip(n).fold(false, |bad, (x, n)| bad | (*n == 0) | (x > n)) {
        for (i, (x, n)) in x.iter().zip(n).enumerate() {
            if *n == 0 {
                return Err(format!("row {}: n is 0, so there is no share; leave the row out", i + 1));
            }
            if x > n {
                return Err(format!("row {}: {x} nonconforming of {n}; x cannot be more than n", i + 1));
            }
        }
    }
    let points = x.iter().zip(n).map(|(&x, &n)| x as f64 / n as f64).collect();
    Ok((total(x) / total(n), points))
}

/// Pooled rate and rates.
fn rates(x: &[u64], units: &[f64]) -> Result<(f64, Vec<f64>), String> {
    paired(x.len(), units.len())?;
    if let Some(i) = units.iter().position(|u| !(u.is_finite() && *u > 0.0)) {
        return Err(format!("row {}: units is {}; it belongs above 0, or the row left out", i + 1, units[i]));
    }
    let sum: f64 = units.iter().sum();
    let points: Vec<f64> = x.iter().zip(units).map(|(&x, u)| x as f64 / u).collect();
    let centre = total(x) / sum;
    if !centre.is_finite() || points.iter().any(|p| !p.is_finite()) {
        return Err("the rates leave the range of numbers; choose another unit".into());
    }
    Ok((centre, points))
}

fn paired(x: usize, n: usize) -> Result<(), String> {
    if x != n {
        return Err(format!("{x} counts stand against {n} sizes; each row needs both"));
    }
    if x == 0 {
        return Err("no rows, so no chart".into());
    }
    Ok(())
}

/// Exact up to 2^64, as close as a double gets beyond.
fn total(values: &[u64]) -> f64 {
    // no sum of fewer than 2^24 values below 2^40 overflows, so it can be taken at full speed
    if values.len() < 1 << 24 && values.iter().fold(0, |all, v| all | v) < 1 << 40 {
        return values.iter().sum::<u64>() as f64;
    }
    match values.iter().try_fold(0u64, |sum, v| sum.checked_add(*v)) {
        Some(sum) => sum as f64,
        None => values.iter().map(|v| *v as f64).sum(),
    }
}

fn same<N: PartialEq>(values: &[N]) -> bool {
    values.iter().all(|v| *v == values[0])
}
