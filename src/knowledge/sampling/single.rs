//! Single sampling: n pieces are drawn, and the lot is accepted with up to c nonconforming among them.

use crate::sampling::share;
use crate::stats::dist::binomial_cdf;
use crate::stats::dist::binomial_sf;
use crate::stats::dist::hypergeometric_cdf;

/// A single sampling plan.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct SinglePlan {
    /// Pieces drawn.
    pub n: u64,
    /// The largest number of nonconforming pieces with which the lot is accepted.
    pub accept: u64,
}

/// The largest sample or lot that is computed with.
pub(crate) const LARGEST: u64 = 1_000_000_000_000;

impl SinglePlan {
    fn checked(self) -> Result<(), String> {
        if self.n == 0 {
            return Err("the sample size is 0; nothing can be told from no pieces".into());
        }
        if self.n > LARGEST {
            return Err(format!("the sample size {} is beyond what is computed ({LARGEST})", self.n));
        }
        Ok(())
    }

    /// The chance of accepting lots from a process with a share p nonconforming: P(X ≤ c), X binomial (n,
    /// p). Type B; textbook formula.
    ///
    /// # Errors
    /// n of 0, p outside 0 to 1.
    ///
    /// ```
    /// use knowledge::sampling::single::SinglePlan;
    /// // NIST/SEMATECH e-Handbook 6.2.3.2
    /// let pa = SinglePlan { n: 52, accept: 3 }.accepts(0.10).unwrap();
    /// assert!((pa - 0.223).abs() < 1e-3);
    /// ```
    pub fn accepts(self, p: f64) -> Result<f64, String> {
        self.checked()?;
        share("p", p)?;
        binomial_cdf(self.accept, self.n, p)
            .ok_or_else(|| format!("no binomial probability for n {} and p {p}", self.n))
    }

    /// The chance of rejecting such lots, 1 - Pa, with all its digits however small it is.
    ///
    /// # Errors
    /// As [`SinglePlan::accepts`].
    ///
    /// ```
    /// use knowledge::sampling::single::SinglePlan;
    /// let plan = SinglePlan { n: 52, accept: 3 };
    /// assert!((plan.rejects(0.05).unwrap() + plan.accepts(0.05).unwrap() - 1.0).abs() < 1e-14);
    /// ```
    pub fn rejects(self, p: f64) -> Result<f64, String> {
        self.checked()?;
        share("p", p)?;
        binomial_sf(self.accept, self.n, p)
            .ok_or_else(|| format!("no binomial probability for n {} and p {p}", self.n))
    }

    /// The chance of accepting a lot of `lot` pieces of which `defectives` are nonconforming: P(X ≤ c), X
    /// hypergeometric. Type A; textbook formula.
    ///
    /// # Errors
    /// n of 0 or above the lot, more nonconforming than the lot has.
    ///
    /// ```
    /// use knowledge::sampling::single::SinglePlan;
    /// let pa = SinglePlan { n: 20, accept: 0 }.accepts_lot(100, 10).unwrap();
    /// assert!((pa - 0.0951162724).abs() < 1e-9);
    /// ```
    pub fn accepts_lot(self, lot: u64, defectives: u64) -> Result<f64, String> {
        self.checked()?;
        self.within(lot)?;
        if defectives > lot {
            return Err(format!(
                "{defectives} nonconforming in a lot of {lot}; there cannot be more than the lot has"
            ));
        }
        hypergeometric_cdf(self.accept, lot, defectives, self.n)
            .ok_or_else(|| format!("no hypergeometric probability for a lot of {lot}"))
    }

    fn within(self, lot: u64) -> Result<(), String> {
        if self.n > lot {
            return Err(format!("the sample of {} is larger than the lot of {lot}", self.n));
        }
        if lot > LARGEST {
            return Err(format!("the lot of {lot} is beyond what is computed ({LARGEST})"));
        }
        Ok(())
    }

    /// The average outgoing quality p Pa (N-n)/N: the share nonconforming behind the inspection where
    /// rejected lots are sorted and what is found is replaced. Textbook formula (Dodge and Romig 1959).
    ///
    /// # Errors
    /// As [`SinglePlan::accepts`]; a sample larger than the lot.
    ///
    /// ```
    /// use knowledge::sampling::single::SinglePlan;
    /// let aoq = SinglePlan { n: 52, accept: 3 }.outgoing(10_000, 0.06).unwrap();
    /// assert!((aoq - 0.0369823191).abs() < 1e-9);
    /// ```
    pub fn outgoing(self, lot: u64, p: f64) -> Result<f64, String> {
        self.within(lot)?;
        Ok(p * self.accepts(p)? * ((lot - self.n) as f64 / lot as f64))
    }

    /// The average total inspection n + (1-Pa)(N-n): pieces looked at per lot, sorted lots included.
    /// Textbook formula (Dodge and Romig 1959).
    ///
    /// # Errors
    /// As [`SinglePlan::outgoing`].
    ///
    /// ```
    /// use knowledge::sampling::single::SinglePlan;
    /// let ati = SinglePlan { n: 52, accept: 3 }.inspected(10_000, 0.05).unwrap();
    /// assert!((ati - 2655.2).abs() < 0.1);
    /// ```
    pub fn inspected(self, lot: u64, p: f64) -> Result<f64, String> {
        self.within(lot)?;
        Ok(self.n as f64 + self.rejects(p)? * (lot - self.n) as f64)
    }

    /// The average outgoing quality limit, the largest average outgoing quality over all p, and the p that
    /// gives it. Found by golden section; p Pa has one hump.
    ///
    /// # Errors
    /// As [`SinglePlan::outgoing`].
    ///
    /// ```
    /// use knowledge::sampling::single::SinglePlan;
    /// let (aoql, _) = SinglePlan { n: 52, accept: 3 }.outgoing_limit(10_000).unwrap();
    /// assert!((aoql - 0.0371901).abs() < 1e-6);
    /// ```
    pub fn outgoing_limit(self, lot: u64) -> Result<(f64, f64), String> {
        self.within(lot)?;
        if self.accept >= self.n {
            // everything is accepted
            return Ok((self.outgoing(lot, 1.0)?, 1.0));
        }
        // the hump lies about c/n; all that is beyond a few times that is downhill
        let golden = 0.5 * (5f64.sqrt() - 1.0);
        let reach = ((self.accept as f64 + 1.0) * 4.0 / self.n as f64).min(1.0);
        let (mut low, mut high) = (0.0, reach);
        for _ in 0..100 {
            let (a, b) = (high - golden * (high - low), low + golden * (high - low));
            if self.outgoing(lot, a)? < self.outgoing(lot, b)? {
                low = a;
            } else {
                high = b;
            }
        }
        let p = 0.5 * (low + high);
        Ok((self.outgoing(lot, p)?, p))
    }
}
