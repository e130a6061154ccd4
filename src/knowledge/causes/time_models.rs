//! Slow drift of the rate over the heats: 21 Ornstein-Uhlenbeck models, their likelihoods and weights.
//!
//! A model has a variance κ² and a range L in heats; the drift of two heats Δ apart correlates by
//! φ^Δ, φ = exp(−1/L). No single estimate is taken: each model keeps its posterior weight.

use crate::causes::random::Chance;

/// κ² of the models, with their prior: no drift, and drift of sd 0.1 to 0.7 on the log rate (our choice).
pub(crate) const KAPPA2: [f64; 6] = [0.0, 0.01, 0.03, 0.08, 0.2, 0.5];
const PRIOR: [f64; 6] = [0.08, 0.25, 0.22, 0.18, 0.10, 0.05];

/// The ranges as parts of the history.
const RANGE: [f64; 4] = [0.02, 0.06, 0.18, 0.5];

/// Models with drift: every κ² above 0 with every range.
const DRIFTING: usize = 20;

/// The ranges of the models in heats, and their φ.
#[derive(Clone, Debug)]
pub(crate) struct TimeGrid {
    pub range: [f64; 4],
    pub phi: [f64; 4],
}

impl TimeGrid {
    /// The grid for a history of so many heats; no range is shorter than two.
    pub fn of(heats: usize) -> Self {
        let range = RANGE.map(|r| (r * heats as f64).max(2.0));
        Self { range, phi: range.map(|l| (-1.0 / l).exp()) }
    }
}

/// Log likelihoods, κ² by range. Without drift the range does not matter.
pub(crate) type Likelihoods = [[f64; 4]; 6];

/// The restricted log likelihood of every model, up to a constant that they share: one Kalman filter
/// over the heats for the columns x and 1,
/// ll = −½[Σ ln(F a) + ln S11 + Sxx − Sx1²/S11].
///
/// The filters run side by side: state in arrays, one division a heat and model.
pub(crate) fn log_likelihoods(grid: &TimeGrid, x: &[f64], a: &[f64]) -> Likelihoods {
    let (mut all, mut xx, mut x1) = (0.0, 0.0, 0.0);
    for (&x, &a) in x.iter().zip(a) {
        all += a;
        x1 += a * x;
        xx += a * x * x;
    }
    let still = -0.5 * (all.ln() + xx - x1 * x1 / all);
    let mut ll = [[still; 4]; 6];
    const WIDTH: usize = 4;
    for first in (0..DRIFTING).step_by(WIDTH) {
        let of = |i: usize| (1 + (first + i) / 4, (first + i) % 4);
        let kappa2: [f64; WIDTH] = std::array::from_fn(|i| KAPPA2[of(i).0]);
        let phi: [f64; WIDTH] = std::array::from_fn(|i| grid.phi[of(i).1]);
        let some = filter_likelihoods(x, a, kappa2, phi);
        for (i, value) in some.into_iter().enumerate() {
            ll[of(i).0][of(i).1] = value;
        }
    }
    ll
}

fn filter_likelihoods<const N: usize>(x: &[f64], a: &[f64], kappa2: [f64; N], phi: [f64; N]) -> [f64; N] {
    let square = phi.map(|f| f * f);
    let fresh: [f64; N] = std::array::from_fn(|i| kappa2[i] * (1.0 - square[i]));
    let (mut m, mut m1, mut p) = ([0.0; N], [0.0; N], kappa2);
    let (mut logs, mut product) = ([0.0; N], [1.0; N]);
    let (mut xx, mut x1, mut s11) = ([0.0; N], [0.0; N], [0.0; N]);
    for (x, a) in x.chunks(16).zip(a.chunks(16)) {
        for (&x, &a) in x.iter().zip(a) {
            for i in 0..N {
                // F a = 1 + P a, K = P a/(F a), 1/F = a/(F a)
                let pa = p[i] * a;
                let fa = 1.0 + pa;
                let inverse = 1.0 / fa;
                let gain = pa * inverse;
                let weight = a * inverse;
                let (e, e1) = (x - m[i], 1.0 - m1[i]);
                product[i] *= fa;
                xx[i] += e * e * weight;
                x1[i] += e * e1 * weight;
                s11[i] += e1 * e1 * weight;
                m[i] = phi[i] * (m[i] + gain * e);
                m1[i] = phi[i] * (m1[i] + gain * e1);
                p[i] = square[i] * p[i] * inverse + fresh[i];
            }
        }
        for i in 0..N {
            logs[i] += product[i].ln();
            product[i] = 1.0;
        }
    }
    std::array::from_fn(|i| -0.5 * (logs[i] + s11[i].ln() + xx[i] - x1[i] * x1[i] / s11[i]))
}

/// The posterior weights of the models.
#[derive(Clone, Debug)]
pub(crate) struct Posterior {
    /// The weight of each model; they sum to 1.
    pub weight: Likelihoods,
    /// ln of the weight of each κ², summed over the ranges.
    pub ln_weight: [f64; 6],
    /// The range of each κ² with the best likelihood, an index into the grid; the shorter one in ties.
    pub best: [usize; 6],
    /// ln Σ prior·likelihood, for the weight of a whole grid.
    pub ln_total: f64,
}

impl Posterior {
    pub fn new(ll: &Likelihoods) -> Self {
        let most = ll.iter().flatten().copied().fold(f64::NEG_INFINITY, f64::max);
        let mut weight = [[0.0; 4]; 6];
        let mut total = 0.0;
        for k in 0..6 {
            for l in 0..4 {
                weight[k][l] = PRIOR[k] * (ll[k][l] - most).exp();
                total += weight[k][l];
            }
        }
        let mut best = [0; 6];
        for k in 0..6 {
            for l in 1..4 {
                if ll[k][l] > ll[k][best[k]] {
                    best[k] = l;
                }
            }
        }
        weight.iter_mut().flatten().for_each(|w| *w /= total);
        let ln_weight = weight.map(|of_k| of_k.iter().sum::<f64>().max(1e-300).ln());
        Self { weight, ln_weight, best, ln_total: most + f64::max(total, 1e-300).ln() }
    }

    /// Σ w κ².
    pub fn kappa2(&self) -> f64 {
        self.weight.iter().zip(KAPPA2).map(|(w, k)| k * w.iter().sum::<f64>()).sum()
    }

    /// The mean range over the models with drift, in heats.
    pub fn range(&self, grid: &TimeGrid) -> f64 {
        let (mut sum, mut weight) = (0.0, 0.0);
        for of_k in &self.weight[1..] {
            for (w, l) in of_k.iter().zip(grid.range) {
                sum += w * l;
                weight += w;
            }
        }
        if weight > 0.0 { sum / weight } else { grid.range[0] }
    }

    /// A model drawn by its weight: κ² and φ.
    pub fn draw(&self, grid: &TimeGrid, chance: &mut Chance) -> (f64, f64) {
        let mut left = chance.uniform();
        for (k, of_k) in self.weight.iter().enumerate() {
            for (l, w) in of_k.iter().enumerate() {
                left -= w;
                if left < 0.0 {
                    return (KAPPA2[k], grid.phi[l]);
                }
            }
        }
        (0.0, grid.phi[0])
    }
}
