//! Pearson's chi-square on a table of counts.

use crate::stats::dist::chi2_sf;

/// A chi-square statistic with its degrees of freedom and p value.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ChiSquare {
    /// The statistic.
    pub chi2: f64,
    /// Degrees of freedom.
    pub df: usize,
    /// The upper tail.
    pub p: f64,
    /// The smallest expected count; under 5 the chi-square approximation is rough.
    pub least_expected: f64,
}

/// Pearson's chi-square of independence on an r x c table, no continuity correction:
/// Σ (O - E)²/E, E = row total x column total / grand total, on (r-1)(c-1) degrees of freedom.
///
/// Rows and columns without counts are left out. O - E is taken from whole numbers, so that large
/// counts lose no digits. Source: Pearson 1900; Agresti 2007, An Introduction to Categorical Data
/// Analysis.
///
/// # Errors
/// Rows of unequal length; fewer than two rows or columns with counts; a sum above 2^53.
///
/// ```
/// let t = knowledge::stats::contingency::chi_square(&[vec![762, 327, 468], vec![484, 239, 477]]).unwrap();
/// assert!((t.chi2 - 30.07).abs() < 5e-3 && t.df == 2);
/// ```
pub fn chi_square(table: &[Vec<u64>]) -> Result<ChiSquare, String> {
    let width = table.first().map_or(0, Vec::len);
    if let Some(row) = table.iter().position(|r| r.len() != width) {
        return Err(format!("row {} has {} counts, the first has {width}", row + 1, table[row].len()));
    }
    let total: u128 = table.iter().flatten().map(|&v| u128::from(v)).sum();
    if total > 1 << 53 {
        return Err(format!(
            "the table sums to {total}, above 2^53 = 9007199254740992, the largest taken here"
        ));
    }
    let total = total as i128;
    let rows: Vec<i128> = table.iter().map(|r| r.iter().map(|&v| i128::from(v)).sum()).collect();
    let columns: Vec<i128> = (0..width).map(|c| table.iter().map(|r| i128::from(r[c])).sum()).collect();
    let full = |sums: &[i128]| sums.iter().filter(|&&s| s > 0).count();
    let (r, c) = (full(&rows), full(&columns));
    if r < 2 || c < 2 {
        return Err(format!("{r} rows and {c} columns of the table hold counts; the test needs two of each"));
    }
    let (mut chi2, mut least) = (0.0, f64::INFINITY);
    for (i, row) in table.iter().enumerate() {
        for (j, &seen) in row.iter().enumerate() {
            let product = rows[i] * columns[j];
            if product > 0 {
                // (O - E)²/E = (O N - R C)² / (N R C)
                let off = (i128::from(seen) * total - product) as f64 / total as f64;
                let expected = product as f64 / total as f64;
                chi2 += off * off / expected;
                least = least.min(expected);
            }
        }
    }
    let df = (r - 1) * (c - 1);
    let p = chi2_sf(chi2, df as f64).unwrap_or(1.0);
    Ok(ChiSquare { chi2, df, p, least_expected: least })
}
