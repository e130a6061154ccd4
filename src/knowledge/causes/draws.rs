//! Draws of quiet histories: whole heats in another order, a fresh drift on top, labels where they were.

use crate::causes::components::Base;
use crate::causes::components::HeatTerms;
use crate::causes::factors::FactorKind;
use crate::causes::factors::Labels;
use crate::causes::factors::Number;
use crate::causes::history::History;
use crate::causes::layout::MouldLayout;
use crate::causes::random::Chance;
use crate::causes::scan::Scratch;
use crate::causes::smoother::Model;
use crate::causes::smoother::Series;
use crate::causes::time_models::KAPPA2;
use crate::causes::time_models::Posterior;
use crate::causes::time_models::log_likelihoods;

/// What the draws need besides the history.
pub(crate) struct DrawPlan<'a> {
    pub history: &'a History,
    pub base: &'a Base,
    /// ε of each heat: what neither mean nor drift explains, at its full variance.
    pub residual: Vec<f64>,
    /// 1/n of each mould.
    pub share: &'a [f64],
    /// Models with less than this ln weight are left out.
    pub floor: f64,
    pub seed: u64,
}

/// What is drawn for.
pub(crate) struct Wanted<'a> {
    pub factors: &'a [usize],
    /// The pour order itself as a number, where its statistic is wanted.
    pub time: Option<&'a Number>,
}

/// The time model without drift.
pub(crate) const STILL: Model = Model { kappa2: 0.0, phi: 1.0, weight: 1.0 };

/// The time models whose weight counts.
pub(crate) fn models(base: &Base, posterior: &Posterior, floor: f64) -> Vec<Model> {
    (0..6)
        .filter(|&k| posterior.ln_weight[k] >= floor)
        .map(|k| Model {
            kappa2: KAPPA2[k],
            phi: base.grid.phi[posterior.best[k]],
            weight: posterior.ln_weight[k].exp(),
        })
        .collect()
}

/// The history smoothed under the posterior mean of κ² and of the range.
pub(crate) fn mean_model(base: &Base) -> Series<1> {
    let range = base.posterior.range(&base.grid);
    let mut series: Series<1> = Series::new();
    series.choose(&[Model { kappa2: base.posterior.kappa2(), phi: (-1.0 / range).exp(), weight: 1.0 }]);
    let x: Vec<f64> = base.heats.iter().map(|h| h.x).collect();
    series.smooth(&x, &base.heats);
    series
}

/// ε_h = d_h/√max(1 − a_h V_h, 0.2) under the posterior mean model, less its mean.
pub(crate) fn residuals(base: &Base) -> Vec<f64> {
    standardised(&mean_model(base), &base.heats)
}

pub(crate) fn standardised(series: &Series<1>, heats: &[HeatTerms]) -> Vec<f64> {
    let mut residual: Vec<f64> = series
        .slots
        .iter()
        .zip(heats)
        .map(|(slot, heat)| slot.d[0] / (1.0 - heat.a * slot.v[0]).max(0.2).sqrt())
        .collect();
    let (mut sum, mut weight) = (0.0, 0.0);
    for (r, heat) in residual.iter().zip(heats) {
        sum += heat.a * r;
        weight += heat.a;
    }
    residual.iter_mut().for_each(|r| *r -= sum / weight);
    residual
}

/// The heats with their moulds laid out in the order of a draw.
#[derive(Default)]
struct Hand {
    x: Vec<f64>,
    plain: Vec<f64>,
    weight: Vec<f64>,
    heats: Vec<HeatTerms>,
    start: Vec<usize>,
    a: Vec<f64>,
    s: Vec<f64>,
}

impl Hand {
    fn lay(&mut self, plan: &DrawPlan<'_>, order: &[u32], moulds: &[u32], drift: &[f64]) {
        let base = plan.base;
        self.x.clear();
        self.plain.clear();
        self.weight.clear();
        self.heats.clear();
        self.start.clear();
        self.a.clear();
        self.s.clear();
        self.start.push(0);
        for (&h, drift) in order.iter().zip(drift) {
            let h = h as usize;
            let count = plan.history.heat_start[h + 1] - plan.history.heat_start[h];
            self.plain.push(plan.residual[h]);
            self.x.push(plan.residual[h] + drift);
            self.weight.push(base.heats[h].a);
            self.heats.push(base.heats[h]);
            self.start.push(self.start[self.start.len() - 1] + count);
        }
        self.a.extend(moulds.iter().map(|&m| base.a[m as usize]));
        self.s.extend(moulds.iter().map(|&m| base.inside[m as usize]));
    }
}

/// Room for one draw after another.
pub(crate) struct Drawing {
    order: Vec<u32>,
    moulds: Vec<u32>,
    drift: Vec<f64>,
    hand: Hand,
    /// For each wanted factor that varies inside moulds, U_w of its levels after the re-deal.
    dealt: Vec<Vec<f64>>,
    blades: Vec<u32>,
    one: (Series<1>, Scratch<1>),
    two: (Series<2>, Scratch<2>),
    four: (Series<4>, Scratch<4>),
    six: (Series<6>, Scratch<6>),
}

impl Drawing {
    pub fn new() -> Self {
        Self {
            order: Vec::new(),
            moulds: Vec::new(),
            drift: Vec::new(),
            hand: Hand::default(),
            dealt: Vec::new(),
            blades: Vec::new(),
            one: (Series::new(), Scratch::new()),
            two: (Series::new(), Scratch::new()),
            four: (Series::new(), Scratch::new()),
            six: (Series::new(), Scratch::new()),
        }
    }

    /// Draw b: the statistic of each wanted factor, then that of the pour order if it is wanted. One order
    /// of the heats, one drift and one deal inside the moulds serve all factors.
    pub fn draw(&mut self, plan: &DrawPlan<'_>, wanted: &Wanted<'_>, b: u64) -> Vec<f64> {
        let mut chance = Chance::of_draw(plan.seed, b);
        self.shuffle(plan, &mut chance);
        self.deal(plan.history, wanted.factors, &mut chance);
        let hand = &mut self.hand;
        hand.lay(plan, &self.order, &self.moulds, &self.drift);
        let layout =
            MouldLayout { a: &hand.a, s: &hand.s, start: &hand.start, heats: &hand.heats, share: plan.share };
        let mut all = Vec::new();
        if !wanted.factors.is_empty() {
            let posterior = Posterior::new(&log_likelihoods(&plan.base.grid, &hand.x, &hand.weight));
            let models = models(plan.base, &posterior, plan.floor);
            let of = (plan.history, wanted.factors, self.dealt.as_slice());
            all = match models.len() {
                0..=2 => statistics(&mut self.two, &models, &hand.x, layout, of),
                3..=4 => statistics(&mut self.four, &models, &hand.x, layout, of),
                _ => statistics(&mut self.six, &models, &hand.x, layout, of),
            };
        }
        if let Some(order) = wanted.time {
            let (series, scratch) = &mut self.one;
            series.choose(&[STILL]);
            series.smooth(&hand.plain, &hand.heats);
            all.push(scratch.number_statistic(order, false, layout, series));
        }
        all
    }

    /// Shuffles the heats, and the moulds inside each: where every heat holds the same levels in the same
    /// order, the order of heats alone would leave the contrast as it is. Then draws a drift.
    fn shuffle(&mut self, plan: &DrawPlan<'_>, chance: &mut Chance) {
        let heats = plan.history.heats();
        self.order.clear();
        self.order.extend(0..heats as u32);
        chance.shuffle(&mut self.order);
        self.moulds.clear();
        for &h in &self.order {
            let of_heat = plan.history.heat_start[h as usize]..plan.history.heat_start[h as usize + 1];
            let first = self.moulds.len();
            self.moulds.extend(of_heat.map(|m| m as u32));
            chance.shuffle(&mut self.moulds[first..]);
        }
        let (kappa2, phi) = plan.base.posterior.draw(&plan.base.grid, chance);
        let step = (kappa2 * (1.0 - phi * phi)).sqrt();
        let mut drift = if kappa2 > 0.0 { kappa2.sqrt() * chance.normal() } else { 0.0 };
        self.drift.clear();
        for _ in 0..heats {
            self.drift.push(drift);
            if kappa2 > 0.0 {
                drift = phi * drift + step * chance.normal();
            }
        }
    }

    /// Deals the defective blades of each mould anew among its blades, one deal for all factors.
    fn deal(&mut self, history: &History, wanted: &[usize], chance: &mut Chance) {
        let cells: Vec<_> = wanted
            .iter()
            .filter_map(|&f| match &history.factors[f].labels {
                Labels::Cell(cell) => Some(cell),
                _ => None,
            })
            .collect();
        self.dealt.clear();
        self.dealt.extend(cells.iter().map(|cell| cell.even.iter().map(|e| -e).collect::<Vec<f64>>()));
        if cells.is_empty() {
            return;
        }
        for m in 0..history.moulds() {
            let (n, y) = (history.n[m] as usize, history.y[m] as usize);
            if y == 0 || (y >= n && !history.counts) || n < 2 {
                continue;
            }
            let first = history.blade_start[m] as usize;
            self.blades.clear();
            self.blades.extend(0..n as u32);
            for taken in 0..y {
                let blade = if history.counts {
                    chance.below(n as u64) as usize
                } else {
                    let last = n - 1 - taken;
                    let pick = chance.below(last as u64 + 1) as usize;
                    self.blades.swap(pick, last);
                    self.blades[last] as usize
                };
                for (dealt, cell) in self.dealt.iter_mut().zip(&cells) {
                    if let Some(u) = dealt.get_mut(cell.code.get(first + blade) as usize) {
                        *u += 1.0;
                    }
                }
            }
        }
    }
}

fn statistics<const K: usize>(
    (series, scratch): &mut (Series<K>, Scratch<K>),
    models: &[Model],
    x: &[f64],
    layout: MouldLayout<'_>,
    (history, wanted, dealt): (&History, &[usize], &[Vec<f64>]),
) -> Vec<f64> {
    series.choose(models);
    series.smooth(x, layout.heats);
    let mut dealt = dealt.iter();
    wanted
        .iter()
        .map(|&f| {
            let factor = &history.factors[f];
            let inside = if factor.kind == FactorKind::Cell { dealt.next() } else { None };
            scratch.statistic(factor, layout, series, inside.map(Vec::as_slice))
        })
        .collect()
}
