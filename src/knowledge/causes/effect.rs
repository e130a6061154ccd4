//! How much worse a named set is: rate ratio with an interval that allows for moulds, heats and time.

use crate::causes::block::Variances;
use crate::causes::block::block_score;
use crate::causes::block::blocks;
use crate::causes::block::variances;
use crate::causes::components::Outcomes;
use crate::causes::factors::LevelsInMould;
use crate::causes::history::History;
use crate::stats::dist::t_quantile;

/// A rate ratio with its interval; a limit or ratio that the data do not determine is none.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(crate) struct Effect {
    pub ratio: Option<f64>,
    pub low: Option<f64>,
    pub high: Option<f64>,
    /// A set within one heat has no interval.
    pub one_heat: bool,
}

impl Effect {
    fn of(beta: f64, se: f64, heats: usize) -> Self {
        let ratio = Some(beta.exp());
        let Some(t) = heats.checked_sub(1).filter(|df| *df > 0).and_then(|df| t_quantile(0.975, df as f64))
        else {
            return Self { ratio, one_heat: true, ..Self::default() };
        };
        let finite = |v: f64| Some(v.exp()).filter(|v| v.is_finite());
        Self { ratio, low: finite(beta - t * se), high: finite(beta + t * se), one_heat: false }
    }
}

/// A fitted effect, and the expected counts with it.
pub(crate) struct Fitted {
    pub effect: Effect,
    pub expected: Vec<f64>,
}

/// Fits E ∝ E exp(βx), rescaled to Σy, by Newton steps on the block form's score: at most six of at most
/// 1, |β| ≤ 3; then the variances once more with that E, and β again.
/// SE = max(1/√V, SE_rob), SE_rob² = Σ_heats(Σ d)², d = (y−E)/y_in inside, −(y−E)/y_out outside; interval
/// exp(β ± t_{0.975,K−1} SE), K the heats that the set touches.
pub(crate) fn fit_set(history: &History, expected: &[f64], inside: impl Fn(usize) -> bool + Copy) -> Fitted {
    let x = |m: usize| f64::from(inside(m));
    let (y_in, y_out) = split(&history.y, inside);
    let heats = heats_touched(history, inside);
    let outcomes = history.outcomes();
    let Newton { beta, v, e, variances } = newton(outcomes, expected, x);
    let effect = if y_in <= 0.0 || y_out <= 0.0 {
        one_sided_limit(history, expected, variances, inside, heats)
    } else {
        let mut robust = 0.0;
        for w in history.heat_start.windows(2) {
            let of_heat = |m: usize| {
                let r = history.y[m] - e[m];
                if inside(m) { r / y_in } else { -r / y_out }
            };
            robust += (w[0]..w[1]).map(of_heat).sum::<f64>().powi(2);
        }
        let model = if v > 0.0 { 1.0 / v.sqrt() } else { f64::INFINITY };
        Effect::of(beta, model.max(robust.sqrt()), heats)
    };
    Fitted { effect, expected: e }
}

/// The same for a number x: the ratio is per standard deviation.
/// SE_rob² = Σ_heats(Σ x(y−E))²/(Σ x²E)².
pub(crate) fn fit_trend(history: &History, expected: &[f64], x: &[f64], heats: usize) -> Fitted {
    let Newton { beta, v, e, .. } = newton(history.outcomes(), expected, |m| x[m]);
    let (mut robust, mut information) = (0.0, 0.0);
    for w in history.heat_start.windows(2) {
        robust += (w[0]..w[1]).map(|m| x[m] * (history.y[m] - e[m])).sum::<f64>().powi(2);
        information += (w[0]..w[1]).map(|m| x[m] * x[m] * e[m]).sum::<f64>();
    }
    let model = if v > 0.0 { 1.0 / v.sqrt() } else { f64::INFINITY };
    let robust = if information > 0.0 { robust.sqrt() / information } else { 0.0 };
    Fitted { effect: Effect::of(beta, model.max(robust), heats), expected: e }
}

struct Newton {
    beta: f64,
    v: f64,
    e: Vec<f64>,
    variances: Variances,
}

fn newton(outcomes: Outcomes<'_>, expected: &[f64], x: impl Fn(usize) -> f64 + Copy) -> Newton {
    let block_of = blocks(outcomes.heat_start.len() - 1);
    let total: f64 = outcomes.y.iter().sum();
    let mut e = expected.to_vec();
    let mut found = variances(outcomes, &e, &block_of);
    let (mut beta, mut v) = (0.0f64, 0.0);
    for _ in 0..2 {
        for _ in 0..6 {
            let score = block_score(outcomes, &e, found, &block_of, x);
            v = score.v();
            if v <= 1e-9 {
                break;
            }
            // the score of β with the mean fitted beside it
            let u = score.u - score.c * score.u_all / score.w;
            let next = (beta + (u / v).clamp(-1.0, 1.0)).clamp(-3.0, 3.0);
            let step = next - beta;
            beta = next;
            tilt(expected, beta, x, total, &mut e);
            if step.abs() < 1e-7 {
                break;
            }
        }
        found = variances(outcomes, &e, &block_of);
    }
    Newton { beta, v, e, variances: found }
}

fn tilt(expected: &[f64], beta: f64, x: impl Fn(usize) -> f64, total: f64, e: &mut [f64]) {
    for (m, e) in e.iter_mut().enumerate() {
        *e = expected[m] * (beta * x(m)).exp();
    }
    let scale = total / e.iter().sum::<f64>();
    e.iter_mut().for_each(|e| *e *= scale);
}

/// No reject on one side: a half stands in for none, and one limit follows from it.
fn one_sided_limit(
    history: &History,
    expected: &[f64],
    variances: Variances,
    inside: impl Fn(usize) -> bool + Copy,
    heats: usize,
) -> Effect {
    let (y_in, y_out) = split(&history.y, inside);
    let (e_in, e_out) = split(expected, inside);
    let Some(t) = heats.checked_sub(1).filter(|df| *df > 0).and_then(|df| t_quantile(0.975, df as f64))
    else {
        return Effect { one_heat: true, ..Effect::default() };
    };
    let blades: f64 = history.n.iter().sum();
    let rate = history.y.iter().sum::<f64>() / blades;
    let per_mould = blades / history.moulds() as f64;
    let together = variances.mould + variances.heat + variances.block;
    let design = 1.0 + (per_mould - 1.0) * together * rate / (1.0 - rate).max(1e-9);
    let (a, b) = (y_in.max(0.5), y_out.max(0.5));
    let beta = (a / e_in).ln() - (b / e_out).ln();
    let se = (design * (1.0 / a + 1.0 / b)).sqrt();
    let limit = |v: f64| Some(v.exp()).filter(|v| v.is_finite());
    if y_in <= 0.0 {
        Effect { ratio: Some(0.0), low: None, high: limit(beta + t * se), one_heat: false }
    } else {
        Effect { ratio: None, low: limit(beta - t * se), high: None, one_heat: false }
    }
}

/// Σ inside and Σ outside.
pub(crate) fn split(values: &[f64], inside: impl Fn(usize) -> bool) -> (f64, f64) {
    let mut sums = (0.0, 0.0);
    for (m, v) in values.iter().enumerate() {
        if inside(m) {
            sums.0 += v;
        } else {
            sums.1 += v;
        }
    }
    sums
}

pub(crate) fn heats_touched(history: &History, inside: impl Fn(usize) -> bool) -> usize {
    history.heat_start.windows(2).filter(|w| (w[0]..w[1]).any(&inside)).count()
}

/// A level inside moulds: the Mantel-Haenszel ratio of rates with each mould a stratum, variance of
/// Greenland and Robins 1985, Biometrics 41:55-68; normal limits.
pub(crate) fn fit_cell(history: &History, cell: &LevelsInMould, level: u32) -> Effect {
    let (mut in_sum, mut out_sum, mut spread) = (0.0, 0.0, 0.0);
    for m in 0..history.moulds() {
        let (mut n1, mut a, mut n, mut y) = (0.0, 0.0, 0.0, 0.0);
        for entry in cell.start[m] as usize..cell.start[m + 1] as usize {
            let (count, with) = (f64::from(cell.count[entry]), f64::from(cell.with[entry]));
            n += count;
            y += with;
            if cell.level[entry] == level {
                (n1, a) = (count, with);
            }
        }
        if n1 > 0.0 && n1 < n {
            let (n0, b) = (n - n1, y - a);
            in_sum += a * n0 / n;
            out_sum += b * n1 / n;
            spread += (y * n1 * n0 - a * b * n) / (n * n);
        }
    }
    if in_sum <= 0.0 && out_sum <= 0.0 {
        return Effect::default();
    }
    if in_sum <= 0.0 || out_sum <= 0.0 {
        return Effect { ratio: if in_sum <= 0.0 { Some(0.0) } else { None }, ..Effect::default() };
    }
    let beta = (in_sum / out_sum).ln();
    let se = (spread.max(0.0) / (in_sum * out_sum)).sqrt();
    const Z: f64 = 1.959_963_984_540_054;
    Effect {
        ratio: Some(beta.exp()),
        low: Some((beta - Z * se).exp()),
        high: Some((beta + Z * se).exp()),
        one_heat: false,
    }
}
