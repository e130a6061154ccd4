//! Analysis of variance: one way, and components of nested designs.

use crate::stats::compensated::mean;
use crate::stats::compensated::sum;
use crate::stats::dist::f_sf;
use crate::stats::finite;

/// A one-way analysis of variance.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct OneWay {
    /// Groups less one.
    pub df_between: usize,
    /// Values less groups.
    pub df_within: usize,
    /// Sum of squares between groups.
    pub ss_between: f64,
    /// Sum of squares within groups.
    pub ss_within: f64,
    /// Mean square between groups.
    pub ms_between: f64,
    /// Mean square within groups; none where every group is one value.
    pub ms_within: Option<f64>,
    /// Their ratio; none where nothing varies within the groups.
    pub f: Option<f64>,
    /// Upper tail of F.
    pub p: Option<f64>,
}

/// One-way analysis of variance: F = (SSB/(k-1))/(SSW/(N-k)).
///
/// Values are centred before anything is squared and sums are compensated; the certified values of NIST's
/// StRD sets hold to what the rounding of the data to doubles allows. Source: Fisher 1925.
///
/// # Errors
/// Fewer than two groups, an empty group, or values too large to be squared.
///
/// ```
/// let a = knowledge::stats::anova::one_way(&[vec![1.0, 2.0, 3.0], vec![3.0, 4.0, 5.0]]).unwrap();
/// assert_eq!(a.f, Some(6.0));
/// ```
pub fn one_way(groups: &[Vec<f64>]) -> Result<OneWay, String> {
    if groups.len() < 2 {
        return Err(format!("{} group; an analysis of variance needs at least two", groups.len()));
    }
    if let Some(i) = groups.iter().position(Vec::is_empty) {
        return Err(format!("group {} is empty", i + 1));
    }
    let all: Vec<f64> = groups.concat();
    let n = all.len();
    let centre = mean(&all).unwrap_or(0.0);
    let (mut between, mut within) = (Vec::new(), Vec::new());
    let rest = sum(all.iter().map(|v| v - centre)) / n as f64;
    for group in groups {
        let size = group.len() as f64;
        let own = sum(group.iter().map(|v| (v - centre) / size));
        between.push(size * (own - rest) * (own - rest));
        if group.iter().any(|v| *v != group[0]) {
            let off: Vec<f64> = group.iter().map(|v| (v - centre) - own).collect();
            let left = sum(off.iter().copied());
            within.push(sum(off.iter().map(|v| v * v)) - left * left / size);
        }
    }
    let same = all.iter().all(|v| *v == all[0]);
    let ss_between = if same { 0.0 } else { sum(between) };
    let ss_within = sum(within).max(0.0);
    if !ss_between.is_finite() || !ss_within.is_finite() {
        return Err("the values are too large to be squared".into());
    }
    let (df_between, df_within) = (groups.len() - 1, n - groups.len());
    let ms_between = ss_between / df_between as f64;
    let ms_within = if df_within == 0 { None } else { finite(ss_within / df_within as f64) };
    let f = ms_within.and_then(|w| finite(ms_between / w));
    let p = f.and_then(|f| f_sf(f, df_between as f64, df_within as f64));
    Ok(OneWay { df_between, df_within, ss_between, ss_within, ms_between, ms_within, f, p })
}

/// Components of variance of a design with one or two levels above the single value. A negative
/// estimate is cut at 0.
#[derive(Clone, Debug, PartialEq)]
pub struct Components {
    /// Between the outer groups.
    pub outer: Option<f64>,
    /// Between the inner groups of an outer one; none in a design without them.
    pub inner: Option<f64>,
    /// Between single values.
    pub residual: f64,
    /// Whether an estimate was negative and was cut.
    pub cut: bool,
}

/// Components of variance of groups of values: between = (MSB - MSW)/n0, n0 = (N - Σn²/N)/(k-1).
///
/// Source: method of moments, as in Davies 1947 and Searle, Casella and McCulloch 1992.
///
/// # Errors
/// As [`one_way`], or no group has two values.
///
/// ```
/// let c = knowledge::stats::anova::components(&[vec![1.0, 3.0], vec![5.0, 7.0]]).unwrap();
/// assert_eq!((c.outer, c.residual), (Some(7.0), 2.0));
/// ```
pub fn components(groups: &[Vec<f64>]) -> Result<Components, String> {
    let a = one_way(groups)?;
    let residual = a.ms_within.ok_or("no group has two values, so the spread within is not seen")?;
    let n: f64 = groups.iter().map(|g| g.len() as f64).sum();
    let squares: f64 = groups.iter().map(|g| (g.len() as f64).powi(2)).sum();
    let n0 = (n - squares / n) / a.df_between as f64;
    let outer = (a.ms_between - residual) / n0;
    Ok(Components { outer: Some(outer.max(0.0)), inner: None, residual, cut: outer < 0.0 })
}

/// Components of variance of a nested design, outer groups of inner groups of values (heats of moulds of
/// blades), balanced or not.
///
/// Mean squares between outer groups, between inner groups within outer, and within inner groups are set
/// equal to their expectations. Source: method of moments (Searle, Casella and McCulloch 1992).
///
/// # Errors
/// Fewer than two outer groups, an empty group, no outer group with two inner ones, or no inner group
/// with two values.
///
/// ```
/// let nest = vec![vec![vec![1.0, 3.0], vec![5.0, 7.0]], vec![vec![20.0, 22.0], vec![24.0, 26.0]]];
/// let c = knowledge::stats::anova::nested(&nest).unwrap();
/// assert_eq!((c.residual, c.inner), (2.0, Some(7.0)));
/// ```
pub fn nested(outer: &[Vec<Vec<f64>>]) -> Result<Components, String> {
    let top = one_way(&outer.iter().map(|o| o.concat()).collect::<Vec<_>>())?;
    let inner: Vec<Vec<f64>> = outer.concat();
    let bottom = one_way(&inner)?;
    let residual =
        bottom.ms_within.ok_or("no inner group has two values, so the spread within is not seen")?;
    let (a, b) = (outer.len() as f64, inner.len() as f64);
    if b <= a {
        return Err("no outer group has two inner groups, so the spread between those is not seen".into());
    }
    let n: f64 = inner.iter().map(|g| g.len() as f64).sum();
    let size = |o: &Vec<Vec<f64>>| o.iter().map(|g| g.len() as f64).sum::<f64>();
    let per_outer = |o: &Vec<Vec<f64>>| o.iter().map(|g| (g.len() as f64).powi(2)).sum::<f64>();
    let within: f64 = outer.iter().map(|o| per_outer(o) / size(o)).sum();
    let overall: f64 = outer.iter().map(|o| per_outer(o) / n).sum();
    let squares: f64 = outer.iter().map(|o| size(o).powi(2) / n).sum();
    let (k1, k2, k3) = ((n - within) / (b - a), (within - overall) / (a - 1.0), (n - squares) / (a - 1.0));
    // between inner within outer is what the outer groups leave of the spread within them
    let ms_inner = (top.ss_within - bottom.ss_within) / (b - a);
    let second = (ms_inner - residual) / k1;
    let first = (top.ms_between - residual - k2 * second) / k3;
    Ok(Components {
        outer: Some(first.max(0.0)),
        inner: Some(second.max(0.0)),
        residual,
        cut: first < 0.0 || second < 0.0,
    })
}
