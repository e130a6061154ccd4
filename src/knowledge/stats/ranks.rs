//! Kruskal and Wallis's test: groups compared by ranks.

use crate::stats::dist::chi2_sf;
use crate::stats::finite;

/// A test statistic with its degrees of freedom and p value.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Test {
    /// The statistic; none where the values do not determine it.
    pub statistic: Option<f64>,
    /// Degrees of freedom.
    pub df: usize,
    /// The upper tail.
    pub p: Option<f64>,
}

impl Test {
    /// A statistic that is chi-square on `df` degrees of freedom.
    pub(crate) fn chi_square(statistic: Option<f64>, df: usize) -> Self {
        Self { statistic, df, p: statistic.and_then(|s| chi2_sf(s, df as f64)) }
    }
}

/// Kruskal and Wallis's test: H = 12/(N(N+1)) Σ R²/n - 3(N+1), over 1 - Σ(t³-t)/(N³-N) for ties; chi-square on
/// k-1 degrees of freedom. No statistic where all values are the same.
///
/// Source: Kruskal and Wallis 1952.
///
/// # Errors
/// Fewer than two groups, or an empty one.
///
/// ```
/// let g = [vec![2.9, 3.0, 2.5, 2.6, 3.2], vec![3.8, 2.7, 4.0, 2.4], vec![2.8, 3.4, 3.7, 2.2, 2.0]];
/// let t = knowledge::stats::ranks::kruskal_wallis(&g).unwrap();
/// assert!((t.statistic.unwrap() - 0.77143).abs() < 5e-6);
/// ```
pub fn kruskal_wallis(groups: &[Vec<f64>]) -> Result<Test, String> {
    if groups.len() < 2 {
        return Err(format!("{} group; the test needs at least two", groups.len()));
    }
    if let Some(i) = groups.iter().position(Vec::is_empty) {
        return Err(format!("group {} is empty", i + 1));
    }
    let mut all: Vec<(f64, usize)> =
        groups.iter().enumerate().flat_map(|(g, values)| values.iter().map(move |&v| (v, g))).collect();
    all.sort_by(|a, b| a.0.total_cmp(&b.0));
    let n = all.len() as f64;
    let middle = 0.5 * (n + 1.0);
    let (mut sums, mut ties) = (vec![0.0; groups.len()], 0.0);
    let mut start = 0;
    for run in all.chunk_by(|a, b| a.0 == b.0) {
        let t = run.len() as f64;
        // ranks from their middle: no large squares to take from each other
        let rank = start as f64 + 0.5 * (t + 1.0) - middle;
        for (_, g) in run {
            sums[*g] += rank;
        }
        ties += t * (t * t - 1.0);
        start += run.len();
    }
    let spread: f64 = sums.iter().zip(groups).map(|(s, g)| s * s / g.len() as f64).sum();
    let h = 12.0 / (n * (n + 1.0)) * spread / (1.0 - ties / (n * (n * n - 1.0)));
    Ok(Test::chi_square(if ties == n * (n * n - 1.0) { None } else { finite(h) }, groups.len() - 1))
}
