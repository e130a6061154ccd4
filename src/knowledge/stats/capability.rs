//! Process capability: how the tolerance compares with the spread.

use crate::stats::compensated::mean;
use crate::stats::compensated::squares_about;
use crate::stats::dist::chi2_quantile;
use crate::stats::two_sided_z;

/// What capability is computed from, all in one unit.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Process {
    /// Mean of the values.
    pub mean: f64,
    /// Standard deviation.
    pub sd: f64,
    /// Number of values.
    pub n: u64,
    /// Degrees of freedom of the standard deviation: n-1, or n less the groups.
    pub df: u64,
}

/// The limits of a drawing; one of them may be absent.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Tolerance {
    /// The lower limit.
    pub lower: Option<f64>,
    /// The upper limit.
    pub upper: Option<f64>,
}

/// Capability with intervals.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Capability {
    /// (U-L)/6s; none with one limit.
    pub cp: Option<f64>,
    /// The smaller of (U-x̄)/3s and (x̄-L)/3s.
    pub cpk: f64,
    /// Interval of Cp.
    pub cp_interval: Option<(f64, f64)>,
    /// Interval of Cpk.
    pub cpk_interval: (f64, f64),
}

/// Cp = (U-L)/6s with the interval Cp √(χ²_{α/2,df}/df) … Cp √(χ²_{1-α/2,df}/df) (exact for normal values);
/// Cpk = min((U-x̄), (x̄-L))/3s with Cpk ± z √(1/9n + Cpk²/2df) (Bissell 1990, Applied Statistics 39:331).
///
/// # Errors
/// No limit, limits in the wrong order, no variation, fewer than two values, a confidence outside (0, 1).
///
/// ```
/// use knowledge::stats::capability::{Process, Tolerance, capability};
/// // NIST/SEMATECH e-Handbook 6.1.6
/// let process = Process { mean: 16.0, sd: 2.0, n: 50, df: 49 };
/// let c = capability(process, Tolerance { lower: Some(8.0), upper: Some(20.0) }, 0.95).unwrap();
/// assert_eq!(c.cp, Some(1.0));
/// assert!((c.cpk - 0.6667).abs() < 1e-4);
/// ```
pub fn capability(process: Process, tolerance: Tolerance, conf: f64) -> Result<Capability, String> {
    let Process { mean, sd, n, df } = process;
    let z = two_sided_z(conf)?;
    if !mean.is_finite() || [tolerance.lower, tolerance.upper].iter().flatten().any(|l| !l.is_finite()) {
        return Err("the mean and the limits must be finite numbers".into());
    }
    if n < 2 || df == 0 {
        return Err(format!(
            "{n} value(s) with {df} degrees of freedom have no spread to measure; more are needed"
        ));
    }
    if sd == 0.0 {
        return Err(
            "the values do not vary (sd 0), so capability is not determined; look at the gauge's resolution"
                .into(),
        );
    }
    if !(sd > 0.0 && sd.is_finite()) {
        return Err(format!("the sd is {sd:?}; a standard deviation above 0 belongs there"));
    }
    if let (Some(lower), Some(upper)) = (tolerance.lower, tolerance.upper)
        && lower >= upper
    {
        return Err(format!("the lower limit {lower:?} is not below the upper limit {upper:?}"));
    }
    let sides =
        [tolerance.upper.map(|u| (u - mean) / (3.0 * sd)), tolerance.lower.map(|l| (mean - l) / (3.0 * sd))];
    let Some(cpk) = sides.into_iter().flatten().reduce(f64::min) else {
        return Err("no limit is given; a lower or an upper one (or both) is needed".into());
    };
    let cp = tolerance.lower.zip(tolerance.upper).map(|(l, u)| (u - l) / (6.0 * sd));
    let v = df as f64;
    let edge = |p: f64| chi2_quantile(p, v).map(|q| (q / v).sqrt());
    let ends = edge(0.5 - 0.5 * conf).zip(edge(0.5 + 0.5 * conf));
    let half = z * (1.0 / (9.0 * n as f64) + cpk * cpk / (2.0 * v)).sqrt();
    let figures = [cpk, cp.unwrap_or(0.0), half];
    if figures.iter().any(|f| !f.is_finite()) {
        return Err(format!(
            "the sd {sd:?} is so small against the limits that the ratio leaves the range of numbers"
        ));
    }
    Ok(Capability {
        cp,
        cpk,
        cp_interval: cp.zip(ends).map(|(c, (lo, hi))| (c * lo, c * hi)),
        cpk_interval: (cpk - half, cpk + half),
    })
}

/// The pooled standard deviation within groups and its degrees of freedom, √(Σ Σ (x-x̄_i)²/(N-k)). In the
/// unit of the values. Textbook formula.
///
/// # Errors
/// No group of two or more values.
///
/// ```
/// let (sd, df) = knowledge::stats::capability::within(&[vec![1.0, 3.0], vec![11.0, 13.0]]).unwrap();
/// assert_eq!((sd, df), (2f64.sqrt(), 2));
/// ```
pub fn within(groups: &[Vec<f64>]) -> Result<(f64, u64), String> {
    let df: usize = groups.iter().map(|g| g.len().saturating_sub(1)).sum();
    if df == 0 {
        return Err(
            "no group has two values, so there is no spread within groups; leave the groups out".into()
        );
    }
    let squares: f64 = groups.iter().filter_map(|g| mean(g).map(|m| squares_about(g, m))).sum();
    Ok(((squares / df as f64).sqrt(), df as u64))
}

/// What is left of each value beyond the mean of its group, times √(m/(m-1)) of its size m, so that small groups
/// show the same spread as large ones. Groups of one value say nothing and are left out. Textbook formula.
///
/// ```
/// let rest = knowledge::stats::capability::about_groups(&[vec![1.0, 3.0], vec![5.0]]);
/// assert_eq!(rest, [-2f64.sqrt(), 2f64.sqrt()]);
/// ```
#[must_use]
pub fn about_groups(groups: &[Vec<f64>]) -> Vec<f64> {
    let of_group = |g: &Vec<f64>| -> Vec<f64> {
        let m = g.len() as f64;
        let centre = mean(g).unwrap_or(f64::NAN);
        g.iter().map(|v| (v - centre) * (m / (m - 1.0)).sqrt()).collect()
    };
    groups.iter().filter(|g| g.len() > 1).flat_map(of_group).collect()
}
