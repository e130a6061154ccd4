//! Binomial, hypergeometric and Poisson: probabilities and both tails.

use crate::stats::dist::incomplete::beta_tails;
use crate::stats::dist::incomplete::gamma_tails;
use crate::stats::dist::special::binomial_real;
use crate::stats::dist::special::poisson_real;
use crate::stats::dist::special::tail_integral;

fn share(p: f64) -> bool {
    (0.0..=1.0).contains(&p)
}

/// P(X = k) for n trials of probability p, by Loader's expansion (Loader 2000). `None` for p outside
/// [0, 1].
///
/// ```
/// let p = knowledge::stats::dist::binomial_pmf(3, 10, 0.5).unwrap();
/// assert!((p - 120.0 / 1024.0).abs() < 1e-15);
/// ```
#[must_use]
pub fn binomial_pmf(k: u64, n: u64, p: f64) -> Option<f64> {
    if !share(p) {
        return None;
    }
    Some(if k > n { 0.0 } else { binomial_real(k as f64, (n - k) as f64, p, 1.0 - p) })
}

/// (P(X ≤ k), P(X > k)).
fn binomial_tails(k: u64, n: u64, p: f64) -> Option<(f64, f64)> {
    if !share(p) {
        return None;
    }
    if k >= n {
        return Some((1.0, 0.0));
    }
    let (above, below) = beta_tails(k as f64 + 1.0, (n - k) as f64, p, 1.0 - p);
    Some((below, above))
}

/// P(X ≤ k) for n trials of probability p. `None` for p outside [0, 1].
///
/// ```
/// let p = knowledge::stats::dist::binomial_cdf(3, 52, 0.06).unwrap();
/// assert!((p / 0.6195938734016604 - 1.0).abs() < 1e-13);
/// ```
#[must_use]
pub fn binomial_cdf(k: u64, n: u64, p: f64) -> Option<f64> {
    binomial_tails(k, n, p).map(|t| t.0)
}

/// P(X > k), strictly above, for n trials of probability p. `None` for p outside [0, 1].
///
/// ```
/// assert_eq!(knowledge::stats::dist::binomial_sf(0, 4, 0.0), Some(0.0));
/// ```
#[must_use]
pub fn binomial_sf(k: u64, n: u64, p: f64) -> Option<f64> {
    binomial_tails(k, n, p).map(|t| t.1)
}

/// P(X = k) where the mean is m ≥ 0. `None` for a negative or infinite mean.
///
/// ```
/// let p = knowledge::stats::dist::poisson_pmf(0, 2.0).unwrap();
/// assert!((p - (-2f64).exp()).abs() < 1e-16);
/// ```
#[must_use]
pub fn poisson_pmf(k: u64, mean: f64) -> Option<f64> {
    (mean >= 0.0 && mean.is_finite()).then(|| poisson_real(k as f64, mean))
}

/// P(X ≤ k) where the mean is m ≥ 0. `None` for a negative or infinite mean.
///
/// ```
/// let p = knowledge::stats::dist::poisson_cdf(3, 7.2).unwrap();
/// assert!((p / 0.07191711774930876 - 1.0).abs() < 1e-13);
/// ```
#[must_use]
pub fn poisson_cdf(k: u64, mean: f64) -> Option<f64> {
    (mean >= 0.0 && mean.is_finite()).then(|| gamma_tails(k as f64 + 1.0, mean).1)
}

/// P(X > k), strictly above. `None` for a negative or infinite mean.
///
/// ```
/// assert_eq!(knowledge::stats::dist::poisson_sf(3, 0.0), Some(0.0));
/// ```
#[must_use]
pub fn poisson_sf(k: u64, mean: f64) -> Option<f64> {
    (mean >= 0.0 && mean.is_finite()).then(|| gamma_tails(k as f64 + 1.0, mean).0)
}

/// A hypergeometric distribution: `marked` of `lot` carry the mark, `drawn` are drawn.
struct Draw {
    marked: f64,
    plain: f64,
    drawn: f64,
}

impl Draw {
    fn new(lot: u64, marked: u64, drawn: u64) -> Option<Self> {
        (marked <= lot && drawn <= lot).then(|| Self {
            marked: marked as f64,
            plain: (lot - marked) as f64,
            drawn: drawn as f64,
        })
    }

    fn lowest(&self) -> f64 {
        (self.drawn - self.plain).max(0.0)
    }

    fn highest(&self) -> f64 {
        self.drawn.min(self.marked)
    }

    /// The probability of k, also between whole numbers.
    fn at(&self, k: f64) -> f64 {
        if k < self.lowest() || k > self.highest() {
            return 0.0;
        }
        let lot = self.marked + self.plain;
        if self.drawn == 0.0 || self.drawn == lot {
            return 1.0;
        }
        let (p, q) = (self.drawn / lot, (lot - self.drawn) / lot);
        let rest = self.drawn - k;
        let hit = binomial_real(k, self.marked - k, p, q);
        let miss = binomial_real(rest, self.plain - rest, p, q);
        hit / binomial_real(self.drawn, lot - self.drawn, p, q) * miss
    }

    /// P(k+1)/P(k).
    fn step(&self, k: f64) -> f64 {
        (self.marked - k) / (k + 1.0) * (self.drawn - k) / (self.plain - self.drawn + k + 1.0)
    }

    /// The sum of the probabilities from k outwards, downwards or upwards.
    fn from(&self, k: f64, down: bool) -> f64 {
        let first = self.at(k);
        let (room, ratio): (f64, Box<dyn Fn(f64) -> f64>) = if down {
            (k - self.lowest(), Box::new(|i| self.step(k - i - 1.0).recip()))
        } else {
            (self.highest() - k, Box::new(|i| self.step(k + i)))
        };
        if first == 0.0 || room < 0.0 {
            return 0.0;
        }
        let lot = self.marked + self.plain;
        let variance = self.drawn * (self.marked / lot) * (self.plain / lot) * ((lot - self.drawn) / lot);
        if variance > 1e8 && room > 1e5 {
            return self.smooth(k, down, first, room);
        }
        let (mut term, mut sum, mut i) = (1.0, 1.0, 0.0);
        while i < room {
            term *= ratio(i);
            sum += term;
            i += 1.0;
            if term < 1e-18 * sum {
                break;
            }
        }
        first * sum
    }

    /// The same sum where it has millions of terms, as an integral from half a step before k with
    /// the first term of Euler and Maclaurin's correction (the next is of the order of 1e-12).
    fn smooth(&self, k: f64, down: bool, first: f64, room: f64) -> f64 {
        let sign = if down { -1.0 } else { 1.0 };
        let before = self.at(k - sign);
        let after = self.at(k + sign);
        let slope = (after / first).ln().abs().max((before / first).ln().abs());
        let lot = self.marked + self.plain;
        let spread =
            (self.drawn * (self.marked / lot) * (self.plain / lot) * ((lot - self.drawn) / lot)).sqrt();
        let start = k - 0.5 * sign;
        let base = self.at(start);
        let fall = |s: f64| (self.at(start + sign * s) / base).ln().max(-745.0);
        let area = base * tail_integral(fall, spread.min(slope.recip()), room + 0.5);
        area + (first - before) / 24.0
    }
}

/// P(X = k) marked pieces among `drawn` from a lot of `lot` with `marked` of them marked, by Loader's
/// expansion. `None` where more are marked or drawn than there are.
///
/// ```
/// let p = knowledge::stats::dist::hypergeometric_pmf(0, 100, 10, 20).unwrap();
/// assert!((p / 0.09511627243078839 - 1.0).abs() < 1e-12);
/// ```
#[must_use]
pub fn hypergeometric_pmf(k: u64, lot: u64, marked: u64, drawn: u64) -> Option<f64> {
    Draw::new(lot, marked, drawn).map(|d| d.at(k as f64))
}

/// P(X ≤ k). `None` as for [`hypergeometric_pmf`].
///
/// Sums outwards on the side of k away from the mean, so the smaller tail keeps its digits; beyond a
/// standard deviation of 1e4 the sum is an integral with Euler and Maclaurin's correction.
///
/// ```
/// assert_eq!(knowledge::stats::dist::hypergeometric_cdf(10, 100, 10, 20), Some(1.0));
/// ```
#[must_use]
pub fn hypergeometric_cdf(k: u64, lot: u64, marked: u64, drawn: u64) -> Option<f64> {
    hypergeometric_tails(k, lot, marked, drawn).map(|t| t.0)
}

/// P(X > k), strictly above. `None` as for [`hypergeometric_pmf`].
///
/// ```
/// assert_eq!(knowledge::stats::dist::hypergeometric_sf(10, 100, 10, 20), Some(0.0));
/// ```
#[must_use]
pub fn hypergeometric_sf(k: u64, lot: u64, marked: u64, drawn: u64) -> Option<f64> {
    hypergeometric_tails(k, lot, marked, drawn).map(|t| t.1)
}

fn hypergeometric_tails(k: u64, lot: u64, marked: u64, drawn: u64) -> Option<(f64, f64)> {
    let d = Draw::new(lot, marked, drawn)?;
    let at = k as f64;
    if at >= d.highest() {
        return Some((1.0, 0.0));
    }
    if at < d.lowest() {
        return Some((0.0, 1.0));
    }
    // the side away from the mean is the smaller one, unless nearly everything lies on one count
    let mean = d.drawn * (d.marked / (d.marked + d.plain));
    if at < mean {
        let down = d.from(at, true).clamp(0.0, 1.0);
        if down <= 0.5 {
            return Some((down, 1.0 - down));
        }
    }
    let up = d.from(at + 1.0, false).clamp(0.0, 1.0);
    if up <= 0.5 {
        return Some((1.0 - up, up));
    }
    let down = d.from(at, true).clamp(0.0, 1.0);
    Some((down, 1.0 - down))
}
