//! Linear least squares.

use crate::stats::compensated::mean;
use crate::stats::compensated::squares_about;
use crate::stats::compensated::sum;
use crate::stats::design::Design;
use crate::stats::finite;
use crate::stats::orthogonal::dot;
use crate::stats::twofold::Twofold;

/// A fitted line, plane or polynomial.
#[derive(Clone, Debug, PartialEq)]
pub struct Linear {
    /// In the order of the design.
    pub coefficients: Vec<f64>,
    /// Their standard errors; none where there are as many coefficients as rows.
    pub std_errors: Option<Vec<f64>>,
    /// √(RSS/(n-p)).
    pub residual_sd: Option<f64>,
    /// n - p.
    pub df: usize,
    /// 1 - RSS/TSS, TSS about the mean with a constant in the design and about 0 without; none where y does
    /// not vary.
    pub r2: Option<f64>,
}

/// Fits y by least squares: b = (XᵀX)⁻¹Xᵀy through X = QR, Var b = s²(XᵀX)⁻¹.
///
/// Columns are made orthogonal twice over in double-double numbers, so the coefficients have the digits
/// that the data determine (NIST StRD Wampler and Norris sets to 1e-9 and better), and a column that is a
/// combination of others is told, not fitted. Source: Gauss; Golub and Van Loan, Matrix Computations.
///
/// # Errors
/// A column that depends on others; fewer rows than coefficients; y of another length, or numbers out of
/// range.
///
/// ```
/// use knowledge::stats::{design::Design, linear};
/// let design = Design::new(3).constant().column("x", &[0.0, 1.0, 2.0]).unwrap();
/// let fit = linear::fit(&[1.0, 3.0, 5.0], &design).unwrap();
/// assert!((fit.coefficients[1] - 2.0).abs() < 1e-15);
/// ```
pub fn fit(y: &[f64], design: &Design) -> Result<Linear, String> {
    if y.len() != design.rows() {
        return Err(format!("y has {} rows, the columns {}", y.len(), design.rows()));
    }
    let parts = design.orthogonal()?;
    let mut rest: Vec<Twofold> = y.iter().map(|&v| Twofold::from(v)).collect();
    let mut along = vec![Twofold::ZERO; parts.q.len()];
    for _ in 0..2 {
        for (c, q) in along.iter_mut().zip(&parts.q) {
            let more = dot(q, &rest);
            *c = *c + more;
            for (v, &b) in rest.iter_mut().zip(q) {
                *v = *v - more * b;
            }
        }
    }
    let coefficients: Vec<f64> = parts.back(&along).into_iter().map(Twofold::value).collect();
    let rss = dot(&rest, &rest).value();
    if coefficients.iter().any(|c| !c.is_finite()) || !rss.is_finite() {
        return Err("the numbers leave the range in which squares can be taken".into());
    }
    let df = y.len() - coefficients.len();
    let residual_sd = if df == 0 { None } else { finite((rss / df as f64).sqrt()) };
    let inverse = parts.inverse();
    let length = |row: &Vec<f64>| row.iter().fold(0.0f64, |h, v| h.hypot(*v));
    let std_errors = residual_sd.map(|s| inverse.iter().map(|row| s * length(row)).collect::<Vec<f64>>());
    let total = if design.names().iter().any(|n| n == "constant") {
        if y.iter().all(|v| *v == y[0]) { 0.0 } else { squares_about(y, mean(y).unwrap_or(0.0)) }
    } else {
        sum(y.iter().map(|v| v * v))
    };
    Ok(Linear {
        coefficients,
        std_errors: std_errors.filter(|s| s.iter().all(|v| v.is_finite())),
        residual_sd,
        df,
        r2: finite(1.0 - rss / total),
    })
}
