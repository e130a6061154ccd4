//! The drift form against worked numbers: ten moulds in five heats. Mean, weight, likelihood, scores
//! and information were checked against dense matrices by their author.

use crate::causes::components::HeatTerms;
use crate::causes::components::Outcomes;
use crate::causes::factors::Labels;
use crate::causes::factors::Number;
use crate::causes::factors::Runs;
use crate::causes::layout::MouldLayout;
use crate::causes::layout::Pieces;
use crate::causes::layout::sum_levels;
use crate::causes::numbers::NumberSums;
use crate::causes::records::MISSING;
use crate::causes::score::EFFECT_SDS;
use crate::causes::score::ScoredLevel;
use crate::causes::score::TREND_SDS;
use crate::causes::score::one_sided;
use crate::causes::score::signed_root;
use crate::causes::score::two_sided;
use crate::causes::smoother::Model;
use crate::causes::smoother::Series;
use crate::causes::time_models::Posterior;
use crate::causes::time_models::TimeGrid;
use crate::causes::time_models::log_likelihoods;

const N: [f64; 10] = [8., 8., 6., 8., 4., 8., 8., 7., 8., 8.];
const Y: [f64; 10] = [0., 2., 1., 3., 0., 0., 1., 4., 0., 1.];
const STARTS: [usize; 6] = [0, 2, 5, 7, 9, 10];

struct Small {
    a: Vec<f64>,
    s: Vec<f64>,
    heats: Vec<HeatTerms>,
    series: Series<2>,
}

fn small() -> Small {
    let outcomes = Outcomes { n: &N, y: &Y, heat_start: &STARTS, counts: false };
    let rate = Y.iter().sum::<f64>() / N.iter().sum::<f64>();
    let expected = N.map(|n| n * rate);
    let (mut a, mut s) = (Vec::new(), Vec::new());
    outcomes.weigh(&expected, 0.8, &mut a, &mut s);
    let mut heats = Vec::new();
    for w in STARTS.windows(2) {
        let whole: f64 = a[w[0]..w[1]].iter().sum();
        let x = s[w[0]..w[1]].iter().sum::<f64>() / whole;
        let g = 1.0 / (1.0 + 0.4 * whole);
        heats.push(HeatTerms { whole, x, g, f: 0.4 * g, a: g * whole });
        (w[0]..w[1]).for_each(|m| s[m] -= a[m] * x);
    }
    let mut series = Series::new();
    series.choose(&[Model { kappa2: 0.2, phi: (-1.0f64 / 2.5).exp(), weight: 1.0 }]);
    let x: Vec<f64> = heats.iter().map(|h| h.x).collect();
    series.smooth(&x, &heats);
    Small { a, s, heats, series }
}

impl Small {
    fn layout(&self) -> MouldLayout<'_> {
        MouldLayout { a: &self.a, s: &self.s, start: &STARTS, heats: &self.heats, share: &[] }
    }
}

#[track_caller]
fn near(value: f64, printed: f64) {
    assert!((value - printed).abs() < 6e-7, "{value} is not {printed}");
}

#[test]
fn weights_and_heats() {
    let small = small();
    for (a, printed) in
        small.a.iter().zip([0.748830, 0.748830, 0.660550, 0.748830, 0.534521, 0.748830, 0.748830, 0.708263])
    {
        near(*a, printed);
    }
    for (h, printed) in small.heats.iter().zip([-0.239583, 0.223309, -0.619792, 0.689705, -0.239583]) {
        near(h.x, printed);
    }
    for (h, printed) in small.heats.iter().zip([0.936585, 1.093578, 0.936585, 0.920558, 0.576230]) {
        near(h.a, printed);
    }
}

#[test]
fn smoother() {
    let Small { series, heats, .. } = small();
    near(series.mean[0], -0.016088);
    near(series.total[0], 2.905115);
    let theta = [-0.025883, -0.005728, -0.027654, 0.037054, 0.009059];
    let t = [0.322846, 0.377427, 0.381346, 0.351897, 0.281483];
    let v = [0.152432, 0.142447, 0.143465, 0.148265, 0.162468];
    let j = [0.607642, 0.576642, 0.574916, 0.575216];
    for h in 0..5 {
        let slot = &series.slots[h];
        near(1.0 - slot.open[0], t[h]);
        near(slot.v[0], v[h]);
        near(heats[h].x - slot.d[0] - series.mean[0] * slot.open[0], theta[h]);
        if h < 4 {
            near(series.slots[h + 1].e[0] / slot.e[0], j[h]);
        }
    }
}

#[test]
fn likelihood_and_posterior() {
    let Small { heats, .. } = small();
    let (x, a): (Vec<f64>, Vec<f64>) = heats.iter().map(|h| (h.x, h.a)).unzip();
    let grid = TimeGrid::of(5);
    assert_eq!(grid.range, [2.0, 2.0, 2.0, 2.5]);
    let ll = log_likelihoods(&grid, &x, &a);
    near(ll[4][3] - ll[0][3], -0.145519);
    let posterior = Posterior::new(&ll);
    for (of_k, printed) in
        posterior.weight.iter().zip([0.096304, 0.298418, 0.258249, 0.202817, 0.102616, 0.041597])
    {
        near(of_k.iter().sum(), printed);
    }
}

#[test]
fn mould_level() {
    let small = small();
    let mask = [1, 0, 0, 1, 1, 0, 0, 1, 0, 0];
    let codes: Vec<u32> = mask.iter().map(|&m| if m == 1 { 0 } else { MISSING }).collect();
    let (mut sums, mut pieces) = (Vec::new(), Pieces::default());
    sum_levels(&Labels::Mould(Runs::of(&codes)), 1, small.layout(), &small.series, &mut pieces, &mut sums);
    let level = ScoredLevel { sums: &sums[0], inside: None };
    let (u, v, s) = level.uvs(&small.series, 0);
    near(u, 1.208533);
    near(sums[0].own - sums[0].iv[0], 1.862620);
    near(sums[0].c[0], 1.056590);
    near(v, 1.478339);
    let (r, e) = signed_root(u, v, s).unwrap();
    near(e, 2.323335);
    near(r, 0.970981);
    let mixed = one_sided(r, e);
    near(level.ln_bf(&small.series), mixed);
    near(level.bf(&small.series).unwrap().ln(), mixed);
}

#[test]
fn heat_level() {
    let small = small();
    let (mut sums, mut pieces) = (Vec::new(), Pieces::default());
    let labels = Labels::Heat(vec![0, MISSING, 0, 0, MISSING]);
    sum_levels(&labels, 1, small.layout(), &small.series, &mut pieces, &mut sums);
    near(sums[0].s + sums[0].u[0], -0.124810);
    near(sums[0].own - sums[0].iv[0], 2.121850);
    near(sums[0].c[0], 1.810251);
}

#[test]
fn number() {
    let small = small();
    let number = Number::at(vec![3., 9., 1., 8., 7., 2., 5., 10., 4., 6.], vec![3.0, 6.0, 8.0]);
    let mut sums = NumberSums::new();
    sums.fill(&number, false, small.layout(), &small.series);
    let verdict = sums.verdict(0).unwrap();
    near(verdict.trend, 2.058420);
    for (cut, printed) in verdict.cuts.iter().flatten().zip([0.997544, 1.556318, 1.398940]) {
        near(cut.v, printed);
    }
    near(verdict.cuts[2].unwrap().r, 2.336294);
    near(verdict.p, 0.039550);
}

// Printed numbers: the output of the trial in which the mixture was chosen.
#[test]
fn bayes_factors_averaged_over_prior_sds() {
    near(one_sided(2.0, 3.0), 1.290502);
    near(one_sided(-1.0, 3.0), -1.084221);
    near(one_sided(3.0, 0.5), 2.140309);
    near(two_sided(2.0, 3.0, EFFECT_SDS), 0.660134);
    near(two_sided(2.0, 3.0, TREND_SDS), 0.386304);
}
