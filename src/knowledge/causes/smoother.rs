//! The drift that the heats themselves show, under several time models side by side.

use crate::causes::components::HeatTerms;

/// Correlations of two heats smaller than this start a new block of the running product.
const SMALLEST: f64 = 1e-200;

/// The least step of the running product.
const LEAST_STEP: f64 = 1e-12;

/// What K time models say at one heat.
#[derive(Clone, Copy)]
pub(crate) struct Slot<const K: usize> {
    /// The heat's excess over mean and drift: d = x − μ − (θ − μt).
    pub d: [f64; K],
    /// 1 − t: what the drift leaves of the heat's weight.
    pub open: [f64; K],
    /// Posterior variance of the drift.
    pub v: [f64; K],
    /// The product of the smoother's steps J from the start of the block to this heat, and its inverse:
    /// the posterior covariance of two heats i < j is (e_j/e_i) V_j.
    pub e: [f64; K],
    pub inverse: [f64; K],
}

/// K time models along the heats. Lanes with weight 0 are padding.
pub(crate) struct Series<const K: usize> {
    pub slots: Vec<Slot<K>>,
    pub block: Vec<u32>,
    /// From the start of block b − 1 to the start of block b.
    pub bridge: Vec<[f64; K]>,
    /// W = Σ a(1 − t).
    pub total: [f64; K],
    pub mean: [f64; K],
    pub weight: [f64; K],
    pub kappa2: [f64; K],
    pub phi: [f64; K],
}

impl<const K: usize> Series<K> {
    pub fn new() -> Self {
        Self {
            slots: Vec::new(),
            block: Vec::new(),
            bridge: Vec::new(),
            total: [0.0; K],
            mean: [0.0; K],
            weight: [0.0; K],
            kappa2: [0.0; K],
            phi: [0.0; K],
        }
    }

    /// Chooses the models; further lanes are padding without drift.
    pub fn choose(&mut self, models: &[Model]) {
        for k in 0..K {
            let model = models.get(k).copied().unwrap_or_default();
            self.kappa2[k] = model.kappa2;
            self.phi[k] = model.phi;
            self.weight[k] = model.weight;
        }
    }

    /// Filters forwards, smooths backwards, and takes mean and drift out of x.
    pub fn smooth(&mut self, x: &[f64], heats: &[HeatTerms]) {
        let (kappa2, phi) = (self.kappa2, self.phi);
        let square = phi.map(|f| f * f);
        let fresh: [f64; K] = std::array::from_fn(|k| kappa2[k] * (1.0 - square[k]));
        let (mut m, mut m1, mut p) = ([0.0; K], [0.0; K], kappa2);
        let zero = Slot { d: [0.0; K], open: [0.0; K], v: [0.0; K], e: [0.0; K], inverse: [0.0; K] };
        self.slots.clear();
        self.slots.resize(x.len(), zero);
        // forwards: d, open, v, e hold m^f, m1^f, P^f, P^p until the way back
        for ((slot, &x), heat) in self.slots.iter_mut().zip(x).zip(heats) {
            for k in 0..K {
                let pa = p[k] * heat.a;
                let inverse = 1.0 / (1.0 + pa);
                let gain = pa * inverse;
                slot.e[k] = p[k];
                slot.d[k] = m[k] + gain * (x - m[k]);
                slot.open[k] = m1[k] + gain * (1.0 - m1[k]);
                slot.v[k] = p[k] * inverse;
                m[k] = phi[k] * slot.d[k];
                m1[k] = phi[k] * slot.open[k];
                p[k] = square[k] * slot.v[k] + fresh[k];
            }
        }
        // backwards: θ, t, V, J
        let drifts: [bool; K] = std::array::from_fn(|k| kappa2[k] > 0.0);
        let (mut theta, mut t, mut v, mut prior) = ([0.0; K], [0.0; K], [0.0; K], [0.0; K]);
        let (mut up, mut down) = ([0.0; K], [0.0; K]);
        for (back, ((slot, &x), heat)) in self.slots.iter_mut().zip(x).zip(heats).rev().enumerate() {
            for k in 0..K {
                if back == 0 {
                    (theta[k], t[k], v[k]) = (slot.d[k], slot.open[k], slot.v[k]);
                    prior[k] = slot.e[k];
                    slot.e[k] = 1.0;
                } else {
                    let step = if drifts[k] { phi[k] * slot.v[k] / prior[k] } else { 0.0 };
                    theta[k] = slot.d[k] + step * (theta[k] - phi[k] * slot.d[k]);
                    t[k] = slot.open[k] + step * (t[k] - phi[k] * slot.open[k]);
                    v[k] = slot.v[k] + step * step * (v[k] - prior[k]);
                    prior[k] = slot.e[k];
                    slot.e[k] = if drifts[k] { step.max(LEAST_STEP) } else { 1.0 };
                }
                slot.d[k] = theta[k];
                slot.open[k] = 1.0 - t[k];
                slot.v[k] = v[k];
                up[k] += heat.a * (x - theta[k]);
                down[k] += heat.a * (1.0 - t[k]);
            }
        }
        self.total = down;
        self.mean = std::array::from_fn(|k| up[k] / down[k]);
        self.finish(x);
    }

    /// Turns θ into d, and steps into running products.
    fn finish(&mut self, x: &[f64]) {
        let mean = self.mean;
        self.block.clear();
        self.bridge.clear();
        self.bridge.push([1.0; K]);
        let mut product = [1.0; K];
        for (slot, &x) in self.slots.iter_mut().zip(x) {
            if product.iter().any(|p| *p < SMALLEST) {
                self.bridge.push(product);
                product = [1.0; K];
            }
            self.block.push(self.bridge.len() as u32 - 1);
            for k in 0..K {
                let step = slot.e[k];
                slot.d[k] = x - mean[k] - (slot.d[k] - mean[k] * (1.0 - slot.open[k]));
                slot.e[k] = product[k];
                slot.inverse[k] = 1.0 / product[k];
                product[k] *= step;
            }
        }
    }
}

/// A time model with its weight.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct Model {
    pub kappa2: f64,
    pub phi: f64,
    pub weight: f64,
}
