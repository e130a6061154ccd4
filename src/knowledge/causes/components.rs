//! How much moulds, heats and slow drift move the rate, beyond chance: the variance components, on the
//! relative scale Cov(y_i, y_j) = E_i E_j c.

use crate::causes::time_models::Posterior;
use crate::causes::time_models::TimeGrid;
use crate::causes::time_models::log_likelihoods;

/// The values of τ² that are weighed, each as likely as another beforehand.
const TAU2: [f64; 5] = [0.0, 0.02, 0.06, 0.15, 0.4];

/// Outcomes of moulds in pour order, as far as the components need them.
#[derive(Clone, Copy)]
pub(crate) struct Outcomes<'a> {
    pub n: &'a [f64],
    pub y: &'a [f64],
    pub heat_start: &'a [usize],
    /// Counts of findings instead of blades with or without.
    pub counts: bool,
}

/// Moment estimates of the excess variance of moulds and of heats, before any is taken from another.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct Moments {
    pub c1: f64,
    pub c2: f64,
}

impl Outcomes<'_> {
    /// c1 = Σ[r² − y(1−2p) − n p²]/Σ n(n−1)p², c2 = Σ_h[R_h² − Σ r²]/Σ_h[E_h² − Σ E²]; 0 where the
    /// denominator is. For counts c1 = Σ[r² − y]/Σ E².
    pub fn moments(&self, e: &[f64]) -> Moments {
        let (mut up1, mut down1, mut up2, mut down2) = (0.0, 0.0, 0.0, 0.0);
        for moulds in self.heat_start.windows(2) {
            let (mut r_heat, mut e_heat) = (0.0, 0.0);
            for m in moulds[0]..moulds[1] {
                let (n, y, e) = (self.n[m], self.y[m], e[m]);
                let (r, p) = (y - e, e / n);
                if self.counts {
                    up1 += r * r - y;
                    down1 += e * e;
                } else {
                    up1 += r * r - y * (1.0 - 2.0 * p) - n * p * p;
                    down1 += n * (n - 1.0) * p * p;
                }
                r_heat += r;
                e_heat += e;
                up2 -= r * r;
                down2 -= e * e;
            }
            up2 += r_heat * r_heat;
            down2 += e_heat * e_heat;
        }
        // a heat of one mould leaves nothing but rounding
        let single = self.heat_start.windows(2).all(|w| w[1] - w[0] <= 1);
        Moments { c1: quotient(up1, down1), c2: if single { 0.0 } else { quotient(up2, down2) } }
    }

    /// a = E²/v and s = E r/v of a mould, v = E(1−p) + σ²E²(1−1/n) with p cut to [1e-9, 0.95]; for
    /// counts without the (1−p) and the (1−1/n).
    #[inline]
    pub fn weight(&self, m: usize, e: f64, sigma2: f64) -> (f64, f64) {
        let (n, y) = (self.n[m], self.y[m]);
        let v = if self.counts {
            e + sigma2 * e * e
        } else {
            let p = (e / n).clamp(1e-9, 0.95);
            e * (1.0 - p) + sigma2 * e * e * (1.0 - 1.0 / n)
        };
        let weight = e / v;
        (e * weight, weight * (y - e))
    }

    /// a and s of every mould.
    pub fn weigh(&self, e: &[f64], sigma2: f64, a: &mut Vec<f64>, s: &mut Vec<f64>) {
        a.clear();
        s.clear();
        for (m, &e) in e.iter().enumerate() {
            let (weight, score) = self.weight(m, e, sigma2);
            a.push(weight);
            s.push(score);
        }
    }
}

pub(crate) fn quotient(up: f64, down: f64) -> f64 {
    if down > 0.0 { up / down } else { 0.0 }
}

/// What the history says before any factor is looked at: expected counts, components, the time models
/// with their weights, and the relative excess of each heat.
#[derive(Clone, Debug)]
pub(crate) struct Base {
    pub sigma2: f64,
    pub tau2: f64,
    /// a and s − a x_h of each mould.
    pub a: Vec<f64>,
    pub inside: Vec<f64>,
    /// For each heat A, x, g, f, a_h = gA.
    pub heats: Vec<HeatTerms>,
    pub grid: TimeGrid,
    pub posterior: Posterior,
}

/// The terms of one heat that do not depend on the time model.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct HeatTerms {
    pub whole: f64,
    pub x: f64,
    pub g: f64,
    pub f: f64,
    pub a: f64,
}

impl Base {
    /// Components, recentred expected counts, and the posterior of the time models.
    pub fn new(outcomes: Outcomes<'_>, expected: &[f64]) -> Self {
        let mut expected = expected.to_vec();
        let Moments { c1, c2 } = outcomes.moments(&expected);
        let sigma2 = (c1 - c2.max(0.0)).max(0.0);
        let first_tau2 = c2.max(0.0);
        let (mut a, mut s) = (Vec::new(), Vec::new());
        for update in 0.. {
            outcomes.weigh(&expected, sigma2, &mut a, &mut s);
            let (mut u, mut w) = (0.0, 0.0);
            for moulds in outcomes.heat_start.windows(2) {
                let whole: f64 = a[moulds[0]..moulds[1]].iter().sum();
                let sum: f64 = s[moulds[0]..moulds[1]].iter().sum();
                let g = 1.0 / (1.0 + first_tau2 * whole);
                // Σ(s − a f S) = S(1 − fA) = S g
                u += sum * g;
                w += whole * g;
            }
            let mu = u / w;
            if update == 3 || mu.abs() < 1e-6 {
                break;
            }
            expected.iter_mut().for_each(|e| *e *= (1.0 + mu).clamp(0.5, 2.0));
        }
        Self::of(sigma2, a, s, outcomes.heat_start)
    }

    /// What follows from a and s of every mould.
    pub fn of(sigma2: f64, a: Vec<f64>, s: Vec<f64>, heat_start: &[usize]) -> Self {
        let mut inside = s;
        let mut heats: Vec<HeatTerms> = Vec::with_capacity(heat_start.len() - 1);
        for moulds in heat_start.windows(2) {
            let moulds = moulds[0]..moulds[1];
            let whole: f64 = a[moulds.clone()].iter().sum();
            let x = inside[moulds.clone()].iter().sum::<f64>() / whole;
            for m in moulds {
                inside[m] -= a[m] * x;
            }
            heats.push(HeatTerms { whole, x, ..HeatTerms::default() });
        }
        let grid = TimeGrid::of(heats.len());
        let tau2 = mean_tau2(&heats, &grid);
        for heat in &mut heats {
            heat.g = 1.0 / (1.0 + tau2 * heat.whole);
            heat.f = tau2 * heat.g;
            heat.a = heat.g * heat.whole;
        }
        let x: Vec<f64> = heats.iter().map(|h| h.x).collect();
        let weight: Vec<f64> = heats.iter().map(|h| h.a).collect();
        let posterior = Posterior::new(&log_likelihoods(&grid, &x, &weight));
        Self { sigma2, tau2, a, inside, heats, grid, posterior }
    }
}

/// The posterior mean of τ² over the grid of time models.
fn mean_tau2(heats: &[HeatTerms], grid: &TimeGrid) -> f64 {
    let x: Vec<f64> = heats.iter().map(|h| h.x).collect();
    let logs: Vec<f64> = TAU2
        .iter()
        .map(|tau2| {
            let a: Vec<f64> = heats.iter().map(|h| h.whole / (1.0 + tau2 * h.whole)).collect();
            let half_logs = 0.5 * a.iter().map(|a| a.ln()).sum::<f64>();
            half_logs + Posterior::new(&log_likelihoods(grid, &x, &a)).ln_total
        })
        .collect();
    let most = logs.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let weights: Vec<f64> = logs.iter().map(|l| (l - most).exp()).collect();
    TAU2.iter().zip(&weights).map(|(t, w)| t * w).sum::<f64>() / weights.iter().sum::<f64>()
}
