//! Whether groups spread alike: Bartlett's and Levene's tests.

use crate::stats::anova::OneWay;
use crate::stats::anova::one_way;
use crate::stats::compensated::mean;
use crate::stats::compensated::squares_about;
use crate::stats::finite;
use crate::stats::ranks::Test;

/// Bartlett's test of equal variances:
/// K² = ((N-k) ln s² - Σ (n-1) ln s_i²)/C, C = 1 + (Σ 1/(n-1) - 1/(N-k))/(3(k-1)), s² pooled; chi-square on k-1
/// degrees of freedom. No statistic where a group does not vary.
///
/// Source: Bartlett 1937. Leans on normal data; [`levene`] does not.
///
/// # Errors
/// Fewer than two groups, or a group of fewer than two values.
///
/// ```
/// let t = knowledge::stats::spread::bartlett(&[vec![1.0, 2.0, 3.0], vec![11.0, 12.0, 13.0]]).unwrap();
/// assert!(t.statistic.unwrap().abs() < 1e-12);
/// ```
pub fn bartlett(groups: &[Vec<f64>]) -> Result<Test, String> {
    if groups.len() < 2 {
        return Err(format!("{} group; the test needs at least two", groups.len()));
    }
    if let Some(i) = groups.iter().position(|g| g.len() < 2) {
        return Err(format!("group {} has {} value; the test needs two in each", i + 1, groups[i].len()));
    }
    let k = groups.len() as f64;
    let mut rows = Vec::new();
    for g in groups {
        let constant = g.iter().all(|v| *v == g[0]);
        let centre = mean(g).unwrap_or(0.0);
        rows.push((g.len() as f64 - 1.0, if constant { 0.0 } else { squares_about(g, centre) }));
    }
    let spare: f64 = rows.iter().map(|r| r.0).sum();
    let pooled = rows.iter().map(|r| r.1).sum::<f64>() / spare;
    let logs: f64 = rows.iter().map(|(df, squares)| df * (pooled / (squares / df)).ln()).sum();
    let c = 1.0 + (rows.iter().map(|r| r.0.recip()).sum::<f64>() - spare.recip()) / (3.0 * (k - 1.0));
    Ok(Test::chi_square(finite(logs / c).map(|v| v.max(0.0)), groups.len() - 1))
}

/// Levene's test about the median: one-way analysis of variance of |y - median of its group|.
///
/// Source: Levene 1960; the median after Brown and Forsythe 1974.
///
/// # Errors
/// As [`one_way`].
///
/// ```
/// let a = knowledge::stats::spread::levene(&[vec![1.0, 2.0, 3.0], vec![10.0, 20.0, 30.0]]).unwrap();
/// assert!((a.f.unwrap() - 3.207920792079208).abs() < 1e-12);
/// ```
pub fn levene(groups: &[Vec<f64>]) -> Result<OneWay, String> {
    let away: Vec<Vec<f64>> = groups
        .iter()
        .map(|g| {
            let middle = median(g);
            g.iter().map(|v| (v - middle).abs()).collect()
        })
        .collect();
    one_way(&away)
}

fn median(values: &[f64]) -> f64 {
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    let half = sorted.len() / 2;
    match sorted.len() {
        0 => 0.0,
        n if n % 2 == 1 => sorted[half],
        _ => 0.5 * sorted[half - 1] + 0.5 * sorted[half],
    }
}
