//! The score of a set of moulds under several time models, and its Bayes factor.

use crate::causes::smoother::Series;
use crate::stats::dist::normal_ln_sf;
use crate::stats::dist::normal_scaled_sf;

/// The prior sds of the log rate ratio of a level, or across a threshold; their Bayes factors are averaged
/// (chosen by simulation).
pub(crate) const EFFECT_SDS: [f64; 3] = [0.4, 1.0, 1.6];

/// The same per standard deviation of a trend.
pub(crate) const TREND_SDS: [f64; 3] = [0.15, 0.3, 0.6];

/// The prior variance behind the scale of a tail (see [`crate::causes::pvalue`]).
const TAIL_PRIOR: f64 = 0.64;

/// How fast the tail of a level's Bayes factor falls where nothing is the matter: 0.64e/(1 + 0.64e).
pub(crate) fn tail_scale(e: f64) -> f64 {
    TAIL_PRIOR * e / (1.0 + TAIL_PRIOR * e)
}

/// A level counts when its effective expected number is at least this.
pub(crate) const ELIGIBLE: f64 = 0.3;

/// Running sums of one set of moulds. With c = gΣxa of a heat:
/// U = Σs + Σ c d, C = Σ c(1−t), I = Σ[Σx²a − f(Σxa)²] − Σ V c(c + 2z), z the covariance with the heats
/// of the set before.
#[derive(Clone, Copy)]
pub(crate) struct Sums<const K: usize> {
    pub s: f64,
    pub own: f64,
    pub u: [f64; K],
    pub c: [f64; K],
    pub iv: [f64; K],
    pub behind: [f64; K],
    pub block: u32,
}

impl<const K: usize> Sums<K> {
    pub const ZERO: Self =
        Self { s: 0.0, own: 0.0, u: [0.0; K], c: [0.0; K], iv: [0.0; K], behind: [0.0; K], block: 0 };

    /// Adds the set's part of the heat in slot j: s = Σ x(s − a x_h), c = gΣxa, own = Σx²a − f(Σxa)².
    #[inline]
    pub fn add(&mut self, series: &Series<K>, j: usize, s: f64, c: f64, own: f64) {
        self.enter(series, series.block[j]);
        let slot = &series.slots[j];
        self.s += s;
        self.own += own;
        for k in 0..K {
            self.u[k] += c * slot.d[k];
            self.c[k] += c * slot.open[k];
            let z = slot.e[k] * self.behind[k];
            self.iv[k] += slot.v[k] * c * (c + 2.0 * z);
            self.behind[k] += c * slot.inverse[k];
        }
    }

    /// Carries the running covariance into a block of the running product.
    #[inline]
    pub fn enter(&mut self, series: &Series<K>, block: u32) {
        if self.block != block {
            let next = self.block + 1 == block;
            for k in 0..K {
                self.behind[k] = if next { self.behind[k] * series.bridge[block as usize][k] } else { 0.0 };
            }
            self.block = block;
        }
    }
}

/// R of a set: the signed root of twice the log likelihood ratio of o = e + U out of T = e/s, and e.
/// `None` where V < 1e-9 or s is outside (0, 0.999].
#[inline]
pub(crate) fn signed_root(u: f64, v: f64, s: f64) -> Option<(f64, f64)> {
    if !(v >= 1e-9 && s > 0.0 && s <= 0.999) {
        return None;
    }
    let e = v / (1.0 - s);
    let total = e / s;
    let o = (e + u).clamp(0.0, total);
    let part = |seen: f64, expected: f64| if seen > 0.0 { seen * (seen / expected).ln() } else { 0.0 };
    let twice = 2.0 * (part(o, e) + part(total - o, total - e));
    Some((twice.max(0.0).sqrt().copysign(u), e))
}

/// ln of the one-sided Bayes factor of a level (form of Wakefield 2009), log rate ratio ~ N(0, s²), averaged
/// over the sds s: −½ln(1+s²e) + ½R²k + ln 2 + lnΦ(R√k), k = s²e/(1+s²e).
pub(crate) fn one_sided(r: f64, e: f64) -> f64 {
    let of = |sd: f64| {
        let ratio = sd * sd * e;
        let k = ratio / (1.0 + ratio);
        -0.5 * (1.0 + ratio).ln() + 0.5 * r * r * k + std::f64::consts::LN_2 + normal_ln_sf(-r * k.sqrt())
    };
    ln_mix(EFFECT_SDS.into_iter().map(|sd| (1.0 / 3.0, of(sd))))
}

/// The one-sided Bayes factor itself, without a logarithm: with x = R√k it is
/// 2Φ(x)exp(½x²)/√(1+s²e). Infinite where it is beyond a double.
#[inline]
fn one_sided_plain(r: f64, e: f64) -> f64 {
    let of = |sd: f64| {
        let ratio = sd * sd * e;
        let x = r * (ratio / (1.0 + ratio)).sqrt();
        let tail = normal_scaled_sf(x.abs());
        let mass = if x > 0.0 { (0.5 * x * x).exp() - tail } else { tail };
        2.0 * mass / (1.0 + ratio).sqrt()
    };
    EFFECT_SDS.into_iter().map(of).sum::<f64>() / 3.0
}

/// ln of the two-sided form averaged over prior sds s: −½ln(1+s²e) + ½R²k, k = s²e/(1+s²e).
#[inline]
pub(crate) fn two_sided(r: f64, e: f64, sds: [f64; 3]) -> f64 {
    let of = |sd: f64| {
        let ratio = sd * sd * e;
        -0.5 * (1.0 + ratio).ln() + 0.5 * r * r * ratio / (1.0 + ratio)
    };
    ln_mix(sds.into_iter().map(|sd| (1.0 / 3.0, of(sd))))
}

/// ln Σ w exp(l), without overflow.
pub(crate) fn ln_mix(pairs: impl Iterator<Item = (f64, f64)> + Clone) -> f64 {
    let most = pairs.clone().map(|(_, l)| l).fold(f64::NEG_INFINITY, f64::max);
    let sum: f64 = pairs.map(|(w, l)| w * (l - most).exp()).sum();
    most + sum.max(1e-300).ln()
}

/// U, C, I of a level under each model, with the part from inside moulds where there is one.
#[derive(Clone, Copy)]
pub(crate) struct ScoredLevel<'a, const K: usize> {
    pub sums: &'a Sums<K>,
    /// U_w and V_w of a factor that varies inside moulds.
    pub inside: Option<(f64, f64)>,
}

impl<const K: usize> ScoredLevel<'_, K> {
    /// U, V and s under model k.
    pub fn uvs(&self, series: &Series<K>, k: usize) -> (f64, f64, f64) {
        let (c, w) = (self.sums.c[k], series.total[k]);
        let u = self.sums.s + self.sums.u[k];
        let v = self.sums.own - self.sums.iv[k] - c * c / w;
        match self.inside {
            None => (u, v, c / w),
            Some((more, variance)) => (u + more, v.max(0.0) + variance, (c / w).min(0.99)),
        }
    }

    /// The Bayes factor, averaged over the models, where the effective expected number, averaged too, is
    /// large enough for the level to count; infinite where it is beyond a double.
    #[inline]
    pub fn bf(&self, series: &Series<K>) -> Option<f64> {
        let mut scores = [(0.0, 0.0, 0.0); K];
        let mut expected = 0.0;
        for k in 0..K {
            let (u, v, s) = self.uvs(series, k);
            if series.weight[k] > 0.0 && v >= 1e-9 && s > 0.0 && s <= 0.999 {
                expected += series.weight[k] * v / (1.0 - s);
                scores[k] = (u, v, s);
            }
        }
        if expected < ELIGIBLE {
            return None;
        }
        let mut sum = 0.0;
        for (k, (u, v, s)) in scores.into_iter().enumerate() {
            if series.weight[k] > 0.0 {
                sum += series.weight[k] * signed_root(u, v, s).map_or(1.0, |(r, e)| one_sided_plain(r, e));
            }
        }
        Some(sum)
    }

    /// ln of the Bayes factor, averaged over the models, of any size.
    pub fn ln_bf(&self, series: &Series<K>) -> f64 {
        let mut logs = [f64::NEG_INFINITY; K];
        for k in 0..K {
            let (u, v, s) = self.uvs(series, k);
            logs[k] = signed_root(u, v, s).map_or(0.0, |(r, e)| one_sided(r, e));
        }
        ln_mix(series.weight.into_iter().zip(logs).filter(|(w, _)| *w > 0.0))
    }
}
