//! Agreement of readers beyond chance.

use crate::stats::finite;

/// How two ratings that differ are held to disagree.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Weights {
    /// Any difference is full disagreement.
    None,
    /// 1 - |i-j|/(k-1).
    Linear,
    /// 1 - (i-j)²/(k-1)².
    Quadratic,
}

/// Cohen's kappa with its standard errors.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Kappa {
    /// (po - pe)/(1 - pe).
    pub kappa: f64,
    /// Standard error for an interval.
    pub std_error: Option<f64>,
    /// Standard error under no agreement beyond chance, for a test.
    pub std_error_null: Option<f64>,
}

/// Cohen's kappa of a square table, reader by reader, plain or weighted. `None` where both readers put
/// everything in one same category, or nothing was read: chance agreement is then complete.
///
/// Source: Cohen 1960 and 1968; standard errors by Fleiss, Cohen and Everitt 1969, Psychological
/// Bulletin 72:323-327.
///
/// # Errors
/// The table is not square or has fewer than two categories.
///
/// ```
/// use knowledge::stats::kappa::{Weights, cohen};
/// let k = cohen(&[vec![0, 4, 1], vec![0, 8, 0], vec![0, 1, 5]], Weights::Linear).unwrap().unwrap();
/// assert!((k.kappa - 0.4701).abs() < 5e-5);
/// ```
pub fn cohen(table: &[Vec<u64>], weights: Weights) -> Result<Option<Kappa>, String> {
    let k = table.len();
    if k < 2 {
        return Err("agreement needs at least two categories".into());
    }
    if let Some(row) = table.iter().position(|r| r.len() != k) {
        return Err(format!(
            "the table has {k} rows, but row {} has {} counts; it must be square",
            row + 1,
            table[row].len()
        ));
    }
    let n: f64 = table.iter().flatten().map(|&v| v as f64).sum();
    let rows: Vec<f64> = table.iter().map(|r| r.iter().map(|&v| v as f64).sum::<f64>() / n).collect();
    let columns: Vec<f64> = (0..k).map(|j| table.iter().map(|r| r[j] as f64).sum::<f64>() / n).collect();
    let weight = |i: usize, j: usize| {
        let apart = i.abs_diff(j) as f64 / (k as f64 - 1.0);
        match weights {
            Weights::None => f64::from(u8::from(i == j)),
            Weights::Linear => 1.0 - apart,
            Weights::Quadratic => 1.0 - apart * apart,
        }
    };
    let over = |f: &dyn Fn(usize, usize) -> f64| -> f64 { (0..k * k).map(|c| f(c / k, c % k)).sum() };
    let share = |i: usize, j: usize| table[i][j] as f64 / n;
    // disagreements, not agreements: 1 - po and 1 - pe keep their digits where agreement is near complete
    let apart = over(&|i, j| (1.0 - weight(i, j)) * share(i, j));
    let chance = over(&|i, j| (1.0 - weight(i, j)) * rows[i] * columns[j]);
    let Some(ratio) = finite(apart / chance) else { return Ok(None) };
    let kappa = 1.0 - ratio;
    let by_row: Vec<f64> = (0..k).map(|i| (0..k).map(|j| weight(i, j) * columns[j]).sum()).collect();
    let by_column: Vec<f64> = (0..k).map(|j| (0..k).map(|i| weight(i, j) * rows[i]).sum()).collect();
    let expected = 1.0 - chance;
    let spread = over(&|i, j| share(i, j) * (weight(i, j) - (by_row[i] + by_column[j]) * ratio).powi(2));
    let null = over(&|i, j| rows[i] * columns[j] * (weight(i, j) - by_row[i] - by_column[j]).powi(2));
    let error = |v: f64| finite(v.max(0.0).sqrt() / (chance * n.sqrt()));
    Ok(Some(Kappa {
        kappa,
        std_error: error(spread - (kappa - expected * ratio).powi(2)),
        std_error_null: error(null - expected * expected),
    }))
}

/// Fleiss's kappa for several readers.
#[derive(Clone, Debug, PartialEq)]
pub struct Fleiss {
    /// Over all categories.
    pub kappa: f64,
    /// For each category against the rest; none where it was used always or never.
    pub categories: Vec<Option<f64>>,
    /// Standard error under no agreement beyond chance (Fleiss, Nee and Landis 1979).
    pub std_error_null: Option<f64>,
}

/// Fleiss's kappa: a row per subject, the number of readers who chose each category. `None` where every
/// reading is the same category.
///
/// Source: Fleiss 1971, Psychological Bulletin 76:378-382.
///
/// # Errors
/// Fewer than two readers, or rows with different numbers of readers or categories.
///
/// ```
/// let k = knowledge::stats::kappa::fleiss(&[vec![3, 0], vec![0, 3]]).unwrap().unwrap();
/// assert!((k.kappa - 1.0).abs() < 1e-15);
/// // everything in one category: chance agreement is complete, whatever the number of subjects
/// assert_eq!(knowledge::stats::kappa::fleiss(&vec![vec![0, 3]; 36]), Ok(None));
/// ```
pub fn fleiss(counts: &[Vec<u64>]) -> Result<Option<Fleiss>, String> {
    let width = counts.first().map_or(0, Vec::len);
    let readers: u64 = counts.first().map_or(0, |r| r.iter().fold(0, |s, &v| s.saturating_add(v)));
    for (i, row) in counts.iter().enumerate() {
        let sum = row.iter().fold(0u64, |s, &v| s.saturating_add(v));
        if row.len() != width || sum != readers {
            return Err(format!(
                "row {} holds {sum} readings in {} categories, the first row {readers} in {width}; \
                 every subject needs the same readers",
                i + 1,
                row.len()
            ));
        }
    }
    if readers < 2 || width < 2 {
        return Err(format!("{readers} readers and {width} categories; agreement needs two of each"));
    }
    let (m, n) = (readers as f64, counts.len() as f64);
    let mut apart = vec![0.0; width];
    let mut used = vec![0.0; width];
    for row in counts {
        for (j, &v) in row.iter().enumerate() {
            used[j] += v as f64;
            // the share of ordered pairs of readings with the first, not the second, in j
            apart[j] += v as f64 / m * ((m - v as f64) / (m - 1.0)) / n;
        }
    }
    // sums of whole numbers are exact: a category that was always used has a share of 1, and no chance to differ
    let shares: Vec<f64> = used.iter().map(|u| u / (m * n)).collect();
    let chance: Vec<f64> = shares.iter().map(|p| p * (1.0 - p)).collect();
    let total: f64 = chance.iter().sum();
    let Some(ratio) = finite(apart.iter().sum::<f64>() / total) else { return Ok(None) };
    let skew: f64 = shares.iter().zip(&chance).map(|(p, c)| c * (1.0 - 2.0 * p)).sum();
    let variance = 2.0 / (n * m * (m - 1.0)) * ((total * total - skew).max(0.0) / (total * total));
    Ok(Some(Fleiss {
        kappa: 1.0 - ratio,
        categories: apart.iter().zip(&chance).map(|(a, c)| finite(1.0 - a / c)).collect(),
        std_error_null: finite(variance.sqrt()),
    }))
}
