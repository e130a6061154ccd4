//! Orthogonal columns for a design matrix, and whether its columns are independent.

use crate::stats::twofold::Twofold;

/// What is left of a column, as a share of its length, once the columns before it are taken out:
/// below this it is held to be one of their combinations. Decimals rounded to doubles leave 1e-16.
const DEPENDENT: f64 = 1e-13;

/// A design X = Q R: Q with orthonormal columns, R upper triangular.
pub struct Orthogonal {
    /// The columns of Q.
    pub q: Vec<Vec<Twofold>>,
    /// R by columns: `r[j][i]` for i ≤ j.
    pub r: Vec<Vec<Twofold>>,
}

impl Orthogonal {
    /// Takes the columns apart, in their order, by Gram and Schmidt's method done twice over
    /// (Giraud, Langou, Rozložník and van den Eshof 2005: twice is enough), in double-double numbers.
    ///
    /// # Errors
    /// The place (from 0) of the first column that depends on the ones before it.
    pub fn of(columns: &[Vec<Twofold>]) -> Result<Self, usize> {
        let mut q: Vec<Vec<Twofold>> = Vec::with_capacity(columns.len());
        let mut r: Vec<Vec<Twofold>> = Vec::with_capacity(columns.len());
        for (j, column) in columns.iter().enumerate() {
            // to length about 1 first, so that no square leaves the range
            let scale = column.iter().fold(0.0f64, |m, v| m.max(v.value().abs()));
            if scale == 0.0 {
                return Err(j);
            }
            let unit = Twofold::from(scale);
            let mut rest: Vec<Twofold> = column.iter().map(|&v| v / unit).collect();
            let length = dot(&rest, &rest).sqrt();
            let mut parts = vec![Twofold::ZERO; j];
            for _ in 0..2 {
                for (part, basis) in parts.iter_mut().zip(&q) {
                    let along = dot(basis, &rest);
                    *part = *part + along;
                    for (v, &b) in rest.iter_mut().zip(basis) {
                        *v = *v - along * b;
                    }
                }
            }
            let left = dot(&rest, &rest).sqrt();
            if left.value() <= DEPENDENT * length.value() {
                return Err(j);
            }
            parts.push(left);
            r.push(parts.into_iter().map(|p| p * unit).collect());
            q.push(rest.into_iter().map(|v| v / left).collect());
        }
        Ok(Self { q, r })
    }

    /// Solves R b = c.
    #[must_use]
    pub fn back(&self, c: &[Twofold]) -> Vec<Twofold> {
        let p = self.r.len();
        let mut b = c.to_vec();
        for i in (0..p).rev() {
            for j in i + 1..p {
                b[i] = b[i] - self.r[j][i] * b[j];
            }
            b[i] = b[i] / self.r[i][i];
        }
        b
    }

    /// The inverse of R, by rows (row i holds its columns i and up, zeros before).
    #[must_use]
    pub fn inverse(&self) -> Vec<Vec<f64>> {
        let p = self.r.len();
        let mut rows = vec![vec![0.0; p]; p];
        for j in 0..p {
            let mut unit = vec![Twofold::ZERO; p];
            unit[j] = Twofold::from(1.0);
            for (i, v) in self.back(&unit).iter().enumerate() {
                rows[i][j] = v.value();
            }
        }
        rows
    }
}

/// The scalar product.
#[must_use]
pub fn dot(a: &[Twofold], b: &[Twofold]) -> Twofold {
    a.iter().zip(b).fold(Twofold::ZERO, |sum, (&x, &y)| sum + x * y)
}
