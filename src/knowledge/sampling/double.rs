//! Double sampling: a second sample decides where the first one does not.

use crate::sampling::share;
use crate::sampling::single::LARGEST;
use crate::stats::dist::binomial_cdf;
use crate::stats::dist::binomial_pmf;

/// A double sampling plan. Up to `accept1` nonconforming in the first sample accept, `reject1` or more
/// reject; in between a second sample is drawn, and up to `accept2` in both together accept.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct DoublePlan {
    /// Pieces of the first sample.
    pub n1: u64,
    /// Acceptance number of the first sample.
    pub accept1: u64,
    /// Rejection number of the first sample.
    pub reject1: u64,
    /// Pieces of the second sample.
    pub n2: u64,
    /// Acceptance number of both samples together.
    pub accept2: u64,
}

/// What a double plan does to lots of one quality.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct DoubleOutcome {
    /// Chance of acceptance on the first sample.
    pub first: f64,
    /// Chance of acceptance on the second.
    pub second: f64,
    /// Chance of acceptance.
    pub accept: f64,
    /// Average sample number, pieces drawn per lot.
    pub average_sample: f64,
}

impl DoublePlan {
    /// Acceptance with a share p nonconforming (binomial): P(X1 ≤ c1) + Σ_{c1 < d < r1} P(X1 = d) P(X2 ≤
    /// c2-d). Average sample n1 + n2 P(c1 < X1 < r1), without curtailment. Textbook formula.
    ///
    /// # Errors
    /// An empty sample, numbers out of order (c1 < r1, c1 ≤ c2, r1 ≤ c2 + 1), more than 100,000 outcomes
    /// that lead to a second sample, p outside 0 to 1.
    ///
    /// ```
    /// use knowledge::sampling::double::DoublePlan;
    /// let o = DoublePlan { n1: 50, accept1: 1, reject1: 4, n2: 100, accept2: 3 }.at(0.05).unwrap();
    /// assert!((o.accept - 0.2904155).abs() < 1e-6);
    /// ```
    pub fn at(self, p: f64) -> Result<DoubleOutcome, String> {
        share("p", p)?;
        let Self { n1, accept1, reject1, n2, accept2 } = self;
        if n1 == 0 || n2 == 0 || n1 > LARGEST || n2 > LARGEST {
            return Err(format!("the samples are {n1} and {n2}; both belong from 1 to {LARGEST}"));
        }
        if reject1 <= accept1 || accept2 < accept1 || reject1 > accept2.saturating_add(1) {
            return Err(format!(
                "acceptance {accept1} and rejection {reject1} on the first sample, acceptance {accept2} on both: \
                 the first rejection number belongs above the first acceptance number and up to the second plus 1"
            ));
        }
        if reject1 - accept1 > 100_000 {
            return Err(
                "more than 100,000 outcomes of the first sample lead to a second; no plan needs that".into(),
            );
        }
        let first = binomial_cdf(accept1, n1, p).unwrap_or(0.0);
        let (mut second, mut drawn) = (0.0, 0.0);
        for d in accept1 + 1..reject1 {
            let chance = binomial_pmf(d, n1, p).unwrap_or(0.0);
            drawn += chance;
            second += chance * binomial_cdf(accept2 - d, n2, p).unwrap_or(0.0);
        }
        let average_sample = n1 as f64 + n2 as f64 * drawn;
        Ok(DoubleOutcome { first, second, accept: (first + second).min(1.0), average_sample })
    }
}
