//! Logistic regression.

use crate::stats::design::Design;
use crate::stats::dist::ln_choose;
use crate::stats::orthogonal::Orthogonal;
use crate::stats::proportion::check;
use crate::stats::twofold::Twofold;

/// A fitted logistic regression.
#[derive(Clone, Debug, PartialEq)]
pub struct Logistic {
    /// In the order of the design, on the log odds scale.
    pub coefficients: Vec<f64>,
    /// Standard errors, from the information matrix or, with clusters, from the sandwich.
    pub std_errors: Vec<f64>,
    /// Log likelihood, binomial coefficients of grouped rows with it.
    pub loglik: f64,
    /// Deviance against the saturated model.
    pub deviance: f64,
    /// Pearson's chi-square; over the degrees of freedom it is the over-dispersion.
    pub pearson: f64,
    /// Rows less coefficients.
    pub df: usize,
}

/// Fits x of n in each row: logit p = design · coefficients, by maximum likelihood.
///
/// Newton's steps (iteratively reweighted least squares) on orthogonal columns, halved where the
/// likelihood would fall; ends when no row's log odds moves by 1e-9. `clusters` gives each row's cluster:
/// then the errors are the sandwich A⁻¹ (Σ u uᵀ) A⁻¹, u the summed scores of a cluster, without a
/// small-sample factor (Liang and Zeger 1986, independence). Accuracy about 1e-9 relative. Source: McCullagh and Nelder 1989.
///
/// # Errors
/// A count above its total; a column that depends on others; outcomes that the columns separate, for
/// which no finite estimate exists; fewer than two clusters.
///
/// ```
/// use knowledge::stats::{design::Design, logistic};
/// let design = Design::new(2).constant().column("new", &[0.0, 1.0]).unwrap();
/// let fit = logistic::fit(&[10, 20], &[40, 40], &design, None).unwrap();
/// assert!((fit.coefficients[1] - 3f64.ln()).abs() < 1e-12);
/// ```
pub fn fit(x: &[u64], n: &[u64], design: &Design, clusters: Option<&[usize]>) -> Result<Logistic, String> {
    if x.len() != design.rows() || n.len() != design.rows() {
        return Err(format!("{} outcomes for {} rows", x.len(), design.rows()));
    }
    for (i, (&x, &n)) in x.iter().zip(n).enumerate() {
        check(x, n).map_err(|e| format!("row {}: {e}", i + 1))?;
    }
    let hits: f64 = x.iter().map(|&v| v as f64).sum();
    let misses: f64 = x.iter().zip(n).map(|(&x, &n)| (n - x) as f64).sum();
    if hits == 0.0 || misses == 0.0 {
        return Err("all outcomes are the same, so no finite estimate exists".into());
    }
    let parts = design.orthogonal()?;
    let problem = Problem::new(x, n, &parts);
    let (at, information) = problem.climb().ok_or(
        "the columns tell all or some of the outcomes apart without error (separation), so no finite estimate exists; \
         leave the column out or join its levels",
    )?;
    let bread = information.inverse().ok_or("the information matrix is singular")?;
    let covariance = match clusters {
        None => bread,
        Some(ids) => {
            let meat = problem.meat(&at, ids)?;
            product(&product(&bread, &meat), &bread)
        }
    };
    let twofold: Vec<Twofold> = at.iter().map(|&v| Twofold::from(v)).collect();
    let coefficients: Vec<f64> = parts.back(&twofold).into_iter().map(Twofold::value).collect();
    let inverse = parts.inverse();
    let variance = |row: &[f64]| -> f64 {
        let mut sum = 0.0;
        for (a, line) in row.iter().zip(&covariance) {
            sum += a * line.iter().zip(row).map(|(v, b)| v * b).sum::<f64>();
        }
        sum
    };
    let std_errors: Vec<f64> = inverse.iter().map(|row| variance(row).max(0.0).sqrt()).collect();
    let (loglik, deviance, pearson) = problem.figures(&at);
    let all = coefficients.iter().chain(&std_errors).chain([&loglik, &deviance, &pearson]);
    if all.into_iter().any(|v| !v.is_finite()) {
        return Err("the numbers leave the range that can be computed with".into());
    }
    let df = x.len() - coefficients.len();
    Ok(Logistic { coefficients, std_errors, loglik, deviance, pearson, df })
}

struct Problem<'a> {
    x: &'a [u64],
    n: &'a [u64],
    /// The orthonormal columns.
    q: Vec<Vec<f64>>,
}

impl<'a> Problem<'a> {
    fn new(x: &'a [u64], n: &'a [u64], parts: &Orthogonal) -> Self {
        let q = parts.q.iter().map(|c| c.iter().map(|v| v.value()).collect()).collect();
        Self { x, n, q }
    }

    fn eta(&self, at: &[f64]) -> Vec<f64> {
        (0..self.x.len()).map(|i| self.q.iter().zip(at).map(|(q, b)| q[i] * b).sum()).collect()
    }

    /// Hits and misses of a row.
    fn counts(&self, i: usize) -> (f64, f64) {
        (self.x[i] as f64, (self.n[i] - self.x[i]) as f64)
    }

    /// What a row adds to the score: x - n p, written so that it keeps its digits where p is near 0 or 1.
    fn score(&self, i: usize, eta: f64) -> f64 {
        let (hit, miss) = self.counts(i);
        hit * share(-eta) - miss * share(eta)
    }

    fn likelihood(&self, eta: &[f64]) -> f64 {
        crate::stats::compensated::sum(eta.iter().enumerate().map(|(i, &e)| {
            let (hit, miss) = self.counts(i);
            hit * ln_share(e) + miss * ln_share(-e)
        }))
    }

    fn information(&self, eta: &[f64]) -> Symmetric {
        let p = self.q.len();
        let weights: Vec<f64> =
            eta.iter().zip(self.n).map(|(&e, &n)| n as f64 * share(e) * share(-e)).collect();
        let cell = |a: usize, b: usize| {
            weights.iter().zip(&self.q[a]).zip(&self.q[b]).map(|((w, x), y)| w * x * y).sum()
        };
        let rows = (0..p).map(|a| (0..p).map(|b| cell(a, b)).collect()).collect();
        Symmetric { rows }
    }

    /// The place of the maximum and the information there; `None` where it runs away.
    fn climb(&self) -> Option<(Vec<f64>, Symmetric)> {
        let mut at = vec![0.0; self.q.len()];
        let mut eta = self.eta(&at);
        let mut height = self.likelihood(&eta);
        for _ in 0..150 {
            let scores: Vec<f64> = eta.iter().enumerate().map(|(i, &e)| self.score(i, e)).collect();
            let gradient: Vec<f64> =
                self.q.iter().map(|q| q.iter().zip(&scores).map(|(a, b)| a * b).sum()).collect();
            let step = self.information(&eta).solve(&gradient)?;
            let mut share = 1.0;
            let mut moved = f64::INFINITY;
            for _ in 0..40 {
                let next: Vec<f64> = at.iter().zip(&step).map(|(a, s)| a + share * s).collect();
                let there = self.eta(&next);
                let now = self.likelihood(&there);
                moved = eta.iter().zip(&there).map(|(a, b)| (a - b).abs()).fold(0.0, f64::max);
                // a fall within rounding is none
                if now >= height - 1e-12 * height.abs() {
                    (at, eta, height) = (next, there, now);
                    break;
                }
                share *= 0.5;
            }
            let size = eta.iter().fold(1.0f64, |m, e| m.max(e.abs()));
            if !moved.is_finite() || size > 700.0 {
                return None;
            }
            if moved < 1e-9 * size {
                let information = self.information(&eta);
                return Some((at, information));
            }
        }
        None
    }

    /// Σ u uᵀ over clusters, u the summed scores.
    fn meat(&self, at: &[f64], ids: &[usize]) -> Result<Vec<Vec<f64>>, String> {
        let p = self.q.len();
        let groups = ids.iter().max().map_or(0, |m| m + 1);
        if ids.len() != self.x.len() || groups < 2 {
            return Err("errors by cluster need at least two clusters, and one for every row".into());
        }
        let mut sums = vec![vec![0.0; p]; groups];
        for (i, &e) in self.eta(at).iter().enumerate() {
            let score = self.score(i, e);
            for (sum, q) in sums[ids[i]].iter_mut().zip(&self.q) {
                *sum += score * q[i];
            }
        }
        let cell = |a: usize, b: usize| sums.iter().map(|u| u[a] * u[b]).sum();
        Ok((0..p).map(|a| (0..p).map(|b| cell(a, b)).collect()).collect())
    }

    fn figures(&self, at: &[f64]) -> (f64, f64, f64) {
        let eta = self.eta(at);
        let choose: f64 = self.x.iter().zip(self.n).map(|(&x, &n)| ln_choose(n, x)).sum();
        let (mut deviance, mut pearson) = (0.0, 0.0);
        for (i, &e) in eta.iter().enumerate() {
            let (hit, miss) = self.counts(i);
            let part = |v: f64, ln: f64| if v == 0.0 { 0.0 } else { v * ((v / (hit + miss)).ln() - ln) };
            deviance += 2.0 * (part(hit, ln_share(e)) + part(miss, ln_share(-e)));
            let score = self.score(i, e);
            let weight = (hit + miss) * share(e) * share(-e);
            pearson += if score == 0.0 { 0.0 } else { score * score / weight };
        }
        (self.likelihood(&eta) + choose, deviance.max(0.0), pearson)
    }
}

/// e^η/(1 + e^η).
fn share(eta: f64) -> f64 {
    1.0 / (1.0 + (-eta).exp())
}

fn ln_share(eta: f64) -> f64 {
    if eta < -700.0 { eta } else { -(-eta).exp().ln_1p() }
}

fn product(a: &[Vec<f64>], b: &[Vec<f64>]) -> Vec<Vec<f64>> {
    let p = a.len();
    let cell = |i: usize, j: usize| (0..p).map(|k| a[i][k] * b[k][j]).sum();
    (0..p).map(|i| (0..p).map(|j| cell(i, j)).collect()).collect()
}

/// A symmetric positive definite matrix.
struct Symmetric {
    rows: Vec<Vec<f64>>,
}

impl Symmetric {
    /// Solves by Cholesky's factors of the matrix scaled to a diagonal of ones; `None` where it is
    /// singular to the digits at hand.
    fn solve(&self, b: &[f64]) -> Option<Vec<f64>> {
        let p = self.rows.len();
        let scale: Vec<f64> = (0..p).map(|i| self.rows[i][i].sqrt()).collect();
        if scale.iter().any(|s| !(*s > 0.0 && s.is_finite())) {
            return None;
        }
        let mut l = vec![vec![0.0; p]; p];
        for i in 0..p {
            for j in 0..=i {
                let taken: f64 = (0..j).map(|k| l[i][k] * l[j][k]).sum();
                let rest = self.rows[i][j] / scale[i] / scale[j] - taken;
                if i == j {
                    if rest.is_nan() || rest <= 1e-14 {
                        return None;
                    }
                    l[i][i] = rest.sqrt();
                } else {
                    l[i][j] = rest / l[j][j];
                }
            }
        }
        let mut z: Vec<f64> = b.iter().zip(&scale).map(|(v, s)| v / s).collect();
        for i in 0..p {
            let taken: f64 = (0..i).map(|k| l[i][k] * z[k]).sum();
            z[i] = (z[i] - taken) / l[i][i];
        }
        for i in (0..p).rev() {
            let taken: f64 = (i + 1..p).map(|k| l[k][i] * z[k]).sum();
            z[i] = (z[i] - taken) / l[i][i];
        }
        Some(z.iter().zip(&scale).map(|(v, s)| v / s).collect())
    }

    fn inverse(&self) -> Option<Vec<Vec<f64>>> {
        let p = self.rows.len();
        (0..p)
            .map(|i| {
                let unit: Vec<f64> = (0..p).map(|j| f64::from(u8::from(i == j))).collect();
                self.solve(&unit)
            })
            .collect()
    }
}
