//! The second score: bad blades of a mould come in clumps, so that its second to fifth reject tell less
//! than its first.
//!
//! Rejects of a mould follow a beta-binomial with a correlation ρ that is one for all moulds; s is the
//! efficient score of the log rate, a its information. They take the place of the linear score's
//! (see [`crate::causes::components`]); all that follows is the same.

use std::collections::HashMap;

use crate::causes::components::Base;
use crate::causes::components::Outcomes;
use crate::causes::smoother::Model;
use crate::causes::smoother::Series;

/// The correlations from which the search for the best one starts.
const STARTS: [f64; 17] =
    [1e-4, 0.005, 0.02, 0.06, 0.10, 0.14, 0.18, 0.22, 0.26, 0.30, 0.34, 0.38, 0.42, 0.46, 0.50, 0.54, 0.58];

/// Steps of the golden section between the neighbours of the best start.
const STEPS: usize = 14;

/// Below this correlation blades are as good as independent.
const NONE: f64 = 1e-6;

/// Rates are cut to these.
const RATES: [f64; 2] = [1e-6, 0.9];

/// Moulds with more different rates than this are one stratum.
const MOST_STRATA: usize = 12;

/// In longer histories rates that differ by less than 2 % are taken as one, to save time.
const LONG: usize = 5_000;
const ALIKE: f64 = 0.02;

/// Moulds of equal n, y and rate.
struct Alike {
    n: usize,
    y: usize,
    p: f64,
    moulds: f64,
}

/// Moulds by their n, y and rate.
struct Groups {
    kinds: Vec<Alike>,
    of: Vec<u32>,
}

impl Groups {
    fn new(outcomes: Outcomes<'_>, rate: impl Fn(usize) -> f64) -> Self {
        let long = outcomes.n.len() > LONG;
        let mut found: HashMap<(usize, usize, u64), u32> = HashMap::new();
        let (mut kinds, mut of): (Vec<Alike>, Vec<u32>) = (Vec::new(), Vec::with_capacity(outcomes.n.len()));
        for m in 0..outcomes.n.len() {
            let mut p = rate(m).clamp(RATES[0], RATES[1]);
            if long {
                p = ((p.ln() / ALIKE).round() * ALIKE).exp();
            }
            let (n, y) = (outcomes.n[m] as usize, outcomes.y[m] as usize);
            let kind = *found.entry((n, y, p.to_bits())).or_insert_with(|| {
                kinds.push(Alike { n, y, p, moulds: 0.0 });
                kinds.len() as u32 - 1
            });
            kinds[kind as usize].moulds += 1.0;
            of.push(kind);
        }
        Self { kinds, of }
    }

    /// ln of the beta-binomial likelihood, without the binomial coefficients.
    fn ln_likelihood(&self, rho: f64) -> f64 {
        self.kinds.iter().map(|kind| kind.moulds * kind.ln_likelihood(rho)).sum()
    }

    /// The correlation with the largest likelihood: the best start, then a golden section between its
    /// neighbours.
    fn best_correlation(&self) -> f64 {
        let logs = STARTS.map(|rho| self.ln_likelihood(rho));
        let best = (0..STARTS.len()).fold(0, |best, i| if logs[i] > logs[best] { i } else { best });
        let mut low = STARTS[best.saturating_sub(1)];
        let mut high = STARTS[(best + 1).min(STARTS.len() - 1)];
        let inner = |low: f64, high: f64| [low + 0.382 * (high - low), low + 0.618 * (high - low)];
        let mut at = inner(low, high);
        let mut value = at.map(|rho| self.ln_likelihood(rho));
        for _ in 0..STEPS {
            if value[0] > value[1] {
                high = at[1];
            } else {
                low = at[0];
            }
            at = inner(low, high);
            value = at.map(|rho| self.ln_likelihood(rho));
        }
        0.5 * (low + high)
    }

    /// s and a of every mould.
    fn scores(&self, rho: f64) -> (Vec<f64>, Vec<f64>) {
        let of_kind: Vec<(f64, f64)> = self.kinds.iter().map(|kind| kind.score(rho)).collect();
        self.of.iter().map(|&kind| of_kind[kind as usize]).unzip()
    }
}

impl Alike {
    fn shape(&self, rho: f64) -> (f64, f64) {
        let k = (1.0 - rho) / rho;
        (self.p * k, (1.0 - self.p) * k)
    }

    fn ln_likelihood(&self, rho: f64) -> f64 {
        let (alpha, beta) = self.shape(rho);
        let mut product = 1.0;
        for j in 0..self.n {
            let seen = if j < self.y { alpha + j as f64 } else { beta + (j - self.y) as f64 };
            product *= seen / (alpha + beta + j as f64);
        }
        f64::max(product, 1e-300).ln()
    }

    /// s = α(Σ_{j<y} 1/(α+j) − Σ_{j<n−y} 1/(β+j)), the score of the log rate, with mean 0, and a, its mean
    /// square over the beta-binomial; for independent blades (y − np)/(1 − p) and np/(1 − p).
    fn score(&self, rho: f64) -> (f64, f64) {
        let n = self.n as f64;
        if rho < NONE {
            return ((self.y as f64 - n * self.p) / (1.0 - self.p), n * self.p / (1.0 - self.p));
        }
        let (alpha, beta) = self.shape(rho);
        let sums = |from: f64| {
            let mut sums = vec![0.0; self.n + 1];
            for j in 0..self.n {
                sums[j + 1] = sums[j] + 1.0 / (from + j as f64);
            }
            sums
        };
        let (bad, good) = (sums(alpha), sums(beta));
        let score = |y: usize| alpha * (bad[y] - good[self.n - y]);
        let mut chance: f64 = (0..self.n).map(|j| (beta + j as f64) / (alpha + beta + j as f64)).product();
        let mut information = 0.0;
        for k in 0..=self.n {
            information += chance * score(k) * score(k);
            let left = (self.n - k) as f64;
            chance *= left / (k as f64 + 1.0) * (alpha + k as f64) / (beta + left - 1.0);
        }
        (score(self.y), information)
    }
}

/// Components and time models on the beta-binomial score. The correlation is found with the rate of each
/// heat let go where it goes; the score itself stands on the expected counts alone.
pub(crate) fn clumped(outcomes: Outcomes<'_>, expected: &[f64]) -> Base {
    let n = outcomes.n;
    let mut e = expected.to_vec();
    let stratum = strata(n, expected);
    for _ in 0..2 {
        let groups = Groups::new(outcomes, |m| e[m] / n[m]);
        let (s, a) = groups.scores(groups.best_correlation());
        let strata = stratum.iter().max().map_or(0, |&s| s as usize + 1);
        let mut sums = vec![(0.0, 0.0); strata];
        for (m, &stratum) in stratum.iter().enumerate() {
            sums[stratum as usize].0 += s[m];
            sums[stratum as usize].1 += a[m];
        }
        for (e, &stratum) in e.iter_mut().zip(&stratum) {
            let (s, a) = sums[stratum as usize];
            *e *= (1.0 + s / a).clamp(0.5, 2.0);
        }
    }
    let groups = Groups::new(outcomes, |m| e[m] / n[m]);
    let (s, a) = groups.scores(groups.best_correlation());
    let first = Base::of(0.0, a, s, outcomes.heat_start);
    let offset = offsets(&first);
    let mut heat_of = vec![0u32; n.len()];
    for (h, w) in outcomes.heat_start.windows(2).enumerate() {
        heat_of[w[0]..w[1]].fill(h as u32);
    }
    let moved = Groups::new(outcomes, |m| e[m] * offset[heat_of[m] as usize].exp() / n[m]);
    let (s, a) = groups.scores(moved.best_correlation());
    Base::of(0.0, a, s, outcomes.heat_start)
}

/// A stratum for each mould: those of one rate, where rates are few.
fn strata(n: &[f64], expected: &[f64]) -> Vec<u32> {
    let mut rates: Vec<u64> = Vec::new();
    let mut of = Vec::with_capacity(n.len());
    for (n, e) in n.iter().zip(expected) {
        let rate = (e / n).to_bits();
        let place = rates.iter().position(|&r| r == rate).unwrap_or_else(|| {
            rates.push(rate);
            rates.len() - 1
        });
        if place >= MOST_STRATA {
            return vec![0; expected.len()];
        }
        of.push(place as u32);
    }
    of
}

/// What the log rate of each heat departs by: drift under the mean of the time models, and what the heat
/// itself shows, both drawn towards nothing by their variances.
fn offsets(base: &Base) -> Vec<f64> {
    let mut series: Series<1> = Series::new();
    let range = base.posterior.range(&base.grid);
    series.choose(&[Model { kappa2: base.posterior.kappa2(), phi: (-1.0 / range).exp(), weight: 1.0 }]);
    let x: Vec<f64> = base.heats.iter().map(|h| h.x).collect();
    series.smooth(&x, &base.heats);
    let of = |(heat, slot): (&crate::causes::components::HeatTerms, &crate::causes::smoother::Slot<1>)| {
        let excess = heat.x - slot.d[0] + heat.f * heat.whole * slot.d[0];
        (1.0 + excess).clamp(0.3, 4.0).ln().clamp(-1.2, 1.4)
    };
    base.heats.iter().zip(&series.slots).map(of).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    const N: [f64; 10] = [8., 8., 6., 8., 4., 8., 8., 7., 8., 8.];
    const Y: [f64; 10] = [0., 2., 1., 3., 0., 0., 1., 4., 0., 1.];
    const STARTS_OF_HEATS: [usize; 6] = [0, 2, 5, 7, 9, 10];

    fn ten() -> Outcomes<'static> {
        Outcomes { n: &N, y: &Y, heat_start: &STARTS_OF_HEATS, counts: false }
    }

    #[track_caller]
    fn near(value: &[f64], printed: &[f64]) {
        for (value, printed) in value.iter().zip(printed) {
            assert!((value - printed).abs() < 6e-7, "{value} is not {printed}");
        }
    }

    // Printed numbers: the output of the trial in which the score was chosen, an implementation of its
    // own in another language.
    #[test]
    fn scores_and_likelihood_of_ten_moulds() {
        let groups = Groups::new(ten(), |_| 12.0 / 73.0);
        let (s, a) = groups.scores(0.2);
        near(
            &s,
            &[
                -0.877217, 0.653435, 0.335558, 0.979675, -0.574889, -0.877217, 0.186359, 1.352674, -0.877217,
                0.186359,
            ],
        );
        near(
            &a,
            &[
                0.736904, 0.736904, 0.647867, 0.736904, 0.524159, 0.736904, 0.736904, 0.695660, 0.736904,
                0.736904,
            ],
        );
        near(&[groups.ln_likelihood(0.2)], &[-31.784963]);
        near(&[groups.best_correlation()], &[0.117912]);
        let (s, a) = groups.scores(0.0);
        near(&s[..5], &[-1.573770, 0.819672, 0.016393, 2.016393, -0.786885]);
        near(&[a[0], a[2], a[4], a[7]], &[1.573770, 1.180328, 0.786885, 1.377049]);
    }

    #[test]
    fn the_whole_set_up_of_ten_moulds() {
        let expected = N.map(|n| n * 12.0 / 73.0);
        let base = clumped(ten(), &expected);
        // the trial's ρ is 0.107445, ours 0.10754 (0.107522 by a longer search): so much it moves the rest
        let close = |value: f64, printed: f64| assert!((value - printed).abs() < 1e-3, "{value} {printed}");
        close(base.tau2, 0.091726);
        let x = [-0.218345, 0.326356, -0.579022, 0.373022, 0.002151];
        let a = [1.609534, 1.933587, 1.609534, 1.559016, 0.868908];
        for (heat, (x, a)) in base.heats.iter().zip(x.into_iter().zip(a)) {
            close(heat.x, x);
            close(heat.a, a);
        }
    }
}
