//! Numeric factors: a trend and up to 19 thresholds, under several time models.

use crate::causes::factors::NO_BIN;
use crate::causes::factors::Number;
use crate::causes::factors::PARTS;
use crate::causes::layout::MouldLayout;
use crate::causes::score::EFFECT_SDS;
use crate::causes::score::Sums;
use crate::causes::score::TREND_SDS;
use crate::causes::score::ln_mix;
use crate::causes::score::signed_root;
use crate::causes::score::two_sided;
use crate::causes::smoother::Series;
use crate::stats::dist::normal_pdf;
use crate::stats::dist::normal_sf;

/// A threshold must leave this share of the weight on either side; moulds and heats are counted where
/// the cuts are made.
const LEAST_SIDE: f64 = 0.002;

/// Sums of the known values: of 1, of x, of their products, and of the set above each cut.
pub(crate) struct NumberSums<const K: usize> {
    one: Sums<K>,
    x: Sums<K>,
    own_cross: f64,
    cross: [f64; K],
    above: [Sums<K>; PARTS],
    cuts: usize,
}

/// What one time model says of a number.
pub(crate) struct NumberVerdict {
    pub ln_bf: f64,
    pub p: f64,
    pub trend: f64,
    /// U, V, F and R of the set above each cut; none where a side is too small.
    pub cuts: [Option<Cut>; PARTS],
}

/// One threshold under one time model.
#[derive(Clone, Copy)]
pub(crate) struct Cut {
    pub u: f64,
    #[cfg(test)]
    pub v: f64,
    pub side: f64,
    pub r: f64,
    pub e: f64,
}

impl<const K: usize> NumberSums<K> {
    pub fn new() -> Self {
        let zero = Sums::ZERO;
        Self { one: zero, x: zero, own_cross: 0.0, cross: [0.0; K], above: [zero; PARTS], cuts: 0 }
    }

    /// Sums the known values of a number of moulds, or of heats.
    pub fn fill(&mut self, number: &Number, of_heats: bool, layout: MouldLayout<'_>, series: &Series<K>) {
        *self = Self { cuts: number.cuts.len(), ..Self::new() };
        if of_heats {
            for (j, heat) in layout.heats.iter().enumerate() {
                let bin = number.bin[j];
                if bin == NO_BIN {
                    continue;
                }
                let x = number.standard(j);
                self.cross_terms(series, j, [heat.a, heat.a * x], heat.a * x);
                self.one.add(series, j, 0.0, heat.a, heat.a);
                self.x.add(series, j, 0.0, heat.a * x, heat.a * x * x);
                for above in &mut self.above[..usize::from(bin)] {
                    above.add(series, j, 0.0, heat.a, heat.a);
                }
            }
            return;
        }
        for (j, heat) in layout.heats.iter().enumerate() {
            let (mut a1, mut ax, mut axx, mut s1, mut sx) = (0.0, 0.0, 0.0, 0.0, 0.0);
            let mut bins = [(0.0, 0.0); PARTS];
            let mut most = 0;
            for place in layout.start[j]..layout.start[j + 1] {
                let bin = number.bin[place];
                if bin == NO_BIN {
                    continue;
                }
                let (a, s, x) = (layout.a[place], layout.s[place], number.standard(place));
                a1 += a;
                ax += a * x;
                axx += a * x * x;
                s1 += s;
                sx += s * x;
                let bin = usize::from(bin);
                bins[bin].0 += a;
                bins[bin].1 += s;
                most = most.max(bin);
            }
            if a1 == 0.0 {
                continue;
            }
            self.cross_terms(series, j, [heat.g * a1, heat.g * ax], ax - heat.f * a1 * ax);
            self.one.add(series, j, s1, heat.g * a1, a1 - heat.f * a1 * a1);
            self.x.add(series, j, sx, heat.g * ax, axx - heat.f * ax * ax);
            let (mut a, mut s) = (0.0, 0.0);
            for cut in (0..most).rev() {
                a += bins[cut + 1].0;
                s += bins[cut + 1].1;
                self.above[cut].add(series, j, s, heat.g * a, a - heat.f * a * a);
            }
        }
    }

    /// Σ V (c₁c_x + c₁z_x + c_x z₁), before the heat itself is added.
    fn cross_terms(&mut self, series: &Series<K>, j: usize, [c1, cx]: [f64; 2], own: f64) {
        self.one.enter(series, series.block[j]);
        self.x.enter(series, series.block[j]);
        self.own_cross += own;
        let slot = &series.slots[j];
        for k in 0..K {
            let z1 = slot.e[k] * self.one.behind[k];
            let zx = slot.e[k] * self.x.behind[k];
            self.cross[k] += slot.v[k] * (c1 * cx + c1 * zx + cx * z1);
        }
    }

    /// Trend and thresholds under model k; `None` where the known values do not vary.
    pub fn verdict(&self, k: usize) -> Option<NumberVerdict> {
        let weight = self.one.c[k];
        if weight <= 0.0 {
            return None;
        }
        let u_all = self.one.s + self.one.u[k];
        let mean_u = u_all / weight;
        let mean_x = self.x.c[k] / weight;
        let i_one = self.one.own - self.one.iv[k];
        let i_x = self.x.own - self.x.iv[k];
        let i_cross = self.own_cross - self.cross[k];
        let information = i_x - 2.0 * mean_x * i_cross + mean_x * mean_x * i_one;
        if information <= 1e-9 {
            return None;
        }
        let trend = (self.x.s + self.x.u[k] - mean_x * u_all) / information.sqrt();
        let ln_trend = two_sided(trend, information, TREND_SDS);
        let mut cuts = [None; PARTS];
        let mut logs = [f64::NEG_INFINITY; PARTS];
        let mut tried = 0;
        for (cut, above) in self.above[..self.cuts].iter().enumerate() {
            let side = above.c[k] / weight;
            if !(LEAST_SIDE..=1.0 - LEAST_SIDE).contains(&side) {
                continue;
            }
            let u = above.s + above.u[k] - mean_u * above.c[k];
            let v = above.own - above.iv[k] - above.c[k] * above.c[k] / weight;
            if let Some((r, e)) = signed_root(u, v, side) {
                cuts[cut] = Some(Cut {
                    u,
                    #[cfg(test)]
                    v,
                    side,
                    r,
                    e,
                });
                logs[tried] = two_sided(r, v, EFFECT_SDS);
                tried += 1;
            }
        }
        let share = 1.0 / tried.max(1) as f64;
        let ln_threshold = if tried == 0 { 0.0 } else { ln_mix(logs[..tried].iter().map(|&l| (share, l))) };
        let ln_bf = ln_mix([(0.5, ln_trend), (0.5, ln_threshold)].into_iter());
        let most = cuts.iter().flatten().map(|c| c.r.abs()).fold(0.0, f64::max);
        let p = (2.0 * normal_sf(trend.abs())).min(scan_p(most));
        Some(NumberVerdict { ln_bf, p, trend, cuts })
    }

    /// ln of the Bayes factor, averaged over the models; 0 where the values do not vary.
    pub fn ln_bf(&self, series: &Series<K>) -> f64 {
        let mut logs = [0.0; K];
        for k in (0..K).filter(|&k| series.weight[k] > 0.0) {
            logs[k] = self.verdict(k).map_or(0.0, |v| v.ln_bf);
        }
        ln_mix(series.weight.into_iter().zip(logs).filter(|(w, _)| *w > 0.0))
    }
}

/// The chance that the largest of many thresholds reaches z: φ(z)(z − 1/z) ln((0.95/0.05)²) + 4φ(z)/z,
/// 1 below 1.5. Source: Miller and Siegmund 1982, Biometrics 38 (from memory).
fn scan_p(z: f64) -> f64 {
    if z < 1.5 {
        return 1.0;
    }
    let density = normal_pdf(z);
    (density * (z - 1.0 / z) * (0.95f64 / 0.05).powi(2).ln() + 4.0 * density / z).min(1.0)
}
