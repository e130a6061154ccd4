//! How much worse a named set is: rate ratio with an interval that allows for moulds, heats and time.

use crate::causes::block::Variances;
use crate::causes::block::block_score;
use crate::causes::block::blocks;
use crate::causes::block::variances;
use crate::causes::components::Outcomes;
use crate::causes::factors::LevelsInMould;
use crate::causes::history::History;
use crate::causes::sets::Membership;
use crate::stats::dist::t_quantile;

/// The widest interval that says something: upper over lower limit. Common practice, no source.
pub(crate) const WIDEST: f64 = 1_000.0;

/// Sets, and arms, that touch fewer heats have no interval: what differs between one or two heats is not
/// known. Common practice, no source.
pub(crate) const FEWEST_HEATS: usize = 3;

/// Moulds that must hold blades of a level beside others, some good and some bad, before a ratio inside
/// moulds is told.
const FEWEST_MIXED: usize = 3;

/// Newton steps at most.
const STEPS: usize = 12;

/// The largest log rate ratio that is looked for; a fit that ends there has found none.
const LARGEST: f64 = 6.9;

/// A rate ratio with its interval; a limit or ratio that the data do not determine is none.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(crate) struct Effect {
    pub ratio: Option<f64>,
    pub low: Option<f64>,
    pub high: Option<f64>,
    /// Why there is no interval, or no ratio.
    pub absent: Option<Absent>,
    /// The log of the ratio with its standard error, where both are determined.
    pub contrast: Option<(f64, f64)>,
}

/// Why a figure is absent.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Absent {
    /// One heat only on one side.
    OneHeat,
    /// Two heats only on one side.
    TwoHeats,
    /// The interval is so wide that it says nothing.
    TooWide,
    /// Too few moulds hold the level beside others.
    FewMixed,
    /// The fit ran away.
    NoFit,
    /// The fitted ratio and the rates that stand beside it point different ways.
    Contrary,
}

impl Absent {
    /// What the row says of it.
    pub fn sentence(self) -> &'static str {
        match self {
            Self::OneHeat => "One heat only, no interval.",
            Self::TwoHeats => "Two heats only, no interval.",
            Self::TooWide => "The data leave nearly every ratio open: no interval.",
            Self::FewMixed => "Hardly a mould holds it beside others: no ratio within moulds.",
            Self::NoFit => "No ratio can be fitted.",
            Self::Contrary => {
                "Once moulds, heats and time are allowed for it points the other way than the rates: no ratio."
            }
        }
    }
}

impl Effect {
    fn of(beta: f64, se: f64, heats: usize) -> Self {
        if beta.abs() >= LARGEST || !se.is_finite() {
            return Self { absent: Some(Absent::NoFit), ..Self::default() };
        }
        let (ratio, contrast) = (Some(beta.exp()), Some((beta, se)));
        if heats < FEWEST_HEATS {
            let absent = Some(if heats < 2 { Absent::OneHeat } else { Absent::TwoHeats });
            return Self { ratio, contrast, absent, ..Self::default() };
        }
        let t = t_quantile(0.975, heats as f64 - 1.0).unwrap_or(f64::INFINITY);
        let (low, high) = ((beta - t * se).exp(), (beta + t * se).exp());
        if high / low <= WIDEST {
            Self { ratio, low: Some(low), high: Some(high), contrast, absent: None }
        } else {
            Self { ratio, contrast, absent: Some(Absent::TooWide), ..Self::default() }
        }
    }

    /// The same where the ratio agrees with the rates beside it; else without ratio and interval.
    pub fn beside(self, inside: Option<f64>, outside: Option<f64>) -> Self {
        let (Some(ratio), Some(inside), Some(outside)) = (self.ratio, inside, outside) else { return self };
        if (ratio > 1.0) == (inside > outside) || ratio == 1.0 || inside == outside {
            return self;
        }
        Self { absent: Some(Absent::Contrary), ..Self::default() }
    }

    /// The same read the other way round.
    pub fn inverse(self) -> Self {
        Self {
            ratio: self.ratio.map(|r| 1.0 / r),
            low: self.high.map(|r| 1.0 / r),
            high: self.low.map(|r| 1.0 / r),
            absent: self.absent,
            contrast: self.contrast.map(|(beta, se)| (-beta, se)),
        }
    }
}

/// A fitted effect, and the expected counts with it.
pub(crate) struct Fitted {
    pub effect: Effect,
    pub expected: Vec<f64>,
}

/// The moulds that a fit goes over: those of which the factor is known.
struct Known {
    n: Vec<f64>,
    y: Vec<f64>,
    expected: Vec<f64>,
    heat_start: Vec<usize>,
    inside: Vec<bool>,
    counts: bool,
}

impl Known {
    fn new(history: &History, expected: &[f64], sides: &[Membership]) -> Self {
        let mut known = Self {
            n: Vec::new(),
            y: Vec::new(),
            expected: Vec::new(),
            heat_start: vec![0],
            inside: Vec::new(),
            counts: history.counts,
        };
        for w in history.heat_start.windows(2) {
            for m in (w[0]..w[1]).filter(|&m| sides[m] != Membership::Unknown) {
                known.n.push(history.n[m]);
                known.y.push(history.y[m]);
                known.expected.push(expected[m]);
                known.inside.push(sides[m] == Membership::In);
            }
            if known.heat_start.last() != Some(&known.n.len()) {
                known.heat_start.push(known.n.len());
            }
        }
        known
    }

    fn outcomes(&self) -> Outcomes<'_> {
        Outcomes { n: &self.n, y: &self.y, heat_start: &self.heat_start, counts: self.counts }
    }

    /// Heats on the side that touches fewer.
    fn heats(&self) -> usize {
        let touched = |side: bool| {
            self.heat_start.windows(2).filter(|w| self.inside[w[0]..w[1]].contains(&side)).count()
        };
        touched(true).min(touched(false))
    }

    /// Σ inside and Σ outside.
    fn split(&self, values: &[f64]) -> (f64, f64) {
        let of =
            |side: bool| values.iter().zip(&self.inside).filter(|(_, i)| **i == side).map(|(v, _)| v).sum();
        (of(true), of(false))
    }
}

/// Fits E ∝ E exp(βx) over the moulds of which the set is known, rescaled to Σy, by Newton steps on the block
/// form's score of at most 1; then the variances once more with that E, and β again.
/// SE = max(1/√V, SE_rob), SE_rob² = Σ_heats(Σ d)², d = (y−E)/y_in inside, −(y−E)/y_out outside; interval
/// exp(β ± t_{0.975,K−1} SE), K the heats of the side that touches fewer. The expected counts of all moulds
/// carry the effect of the set.
pub(crate) fn fit_set(history: &History, expected: &[f64], sides: &[Membership]) -> Fitted {
    let known = Known::new(history, expected, sides);
    let (y_in, y_out) = known.split(&known.y);
    let heats = known.heats();
    if heats == 0 {
        return Fitted { effect: Effect::default(), expected: expected.to_vec() };
    }
    let Newton { beta, v, e, variances } =
        newton(known.outcomes(), &known.expected, |m| f64::from(known.inside[m]));
    let effect = if y_in <= 0.0 || y_out <= 0.0 {
        one_sided_limit(&known, variances, heats)
    } else {
        let mut robust = 0.0;
        for w in known.heat_start.windows(2) {
            let of_mould = |m: usize| {
                let r = known.y[m] - e[m];
                if known.inside[m] { r / y_in } else { -r / y_out }
            };
            robust += (w[0]..w[1]).map(of_mould).sum::<f64>().powi(2);
        }
        let model = if v > 0.0 { 1.0 / v.sqrt() } else { f64::INFINITY };
        Effect::of(beta, model.max(robust.sqrt()), heats)
    };
    let mut all = expected.to_vec();
    tilt(expected, beta, |m| f64::from(sides[m] == Membership::In), history.y.iter().sum(), &mut all);
    Fitted { effect, expected: all }
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
        for _ in 0..STEPS {
            let score = block_score(outcomes, &e, found, &block_of, x);
            v = score.v();
            if v <= 1e-9 {
                break;
            }
            // the score of β with the mean fitted beside it
            let u = score.u - score.c * score.u_all / score.w;
            let next = (beta + (u / v).clamp(-1.0, 1.0)).clamp(-LARGEST, LARGEST);
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
fn one_sided_limit(known: &Known, variances: Variances, heats: usize) -> Effect {
    let (y_in, y_out) = known.split(&known.y);
    let (e_in, e_out) = known.split(&known.expected);
    let none_inside = if y_in <= 0.0 { Some(0.0) } else { None };
    let t = if heats < FEWEST_HEATS { None } else { t_quantile(0.975, heats as f64 - 1.0) };
    let Some(t) = t else {
        let absent = Some(if heats < 2 { Absent::OneHeat } else { Absent::TwoHeats });
        return Effect { ratio: none_inside, absent, ..Effect::default() };
    };
    let blades: f64 = known.n.iter().sum();
    let rate = known.y.iter().sum::<f64>() / blades;
    let per_mould = blades / known.n.len() as f64;
    let together = variances.mould + variances.heat + variances.block;
    let design = 1.0 + (per_mould - 1.0).max(0.0) * together * rate / (1.0 - rate).max(1e-9);
    let (a, b) = (y_in.max(0.5), y_out.max(0.5));
    let beta = (a / e_in).ln() - (b / e_out).ln();
    let se = (design * (1.0 / a + 1.0 / b)).sqrt();
    // a limit beyond this says nothing
    let told = |v: f64| Some(v.exp()).filter(|v| (1.0 / WIDEST..=WIDEST).contains(v));
    let (low, high) = match none_inside {
        Some(_) => (None, told(beta + t * se)),
        None => (told(beta - t * se), None),
    };
    let absent = (low.is_none() && high.is_none()).then_some(Absent::TooWide);
    Effect { ratio: none_inside, low, high, absent, contrast: None }
}

/// A level inside moulds: the Mantel-Haenszel ratio of rates with each mould a stratum, variance of
/// Greenland and Robins 1985, Biometrics 41:55-68; normal limits.
pub(crate) fn fit_cell(history: &History, cell: &LevelsInMould, level: u32) -> Effect {
    let (mut in_sum, mut out_sum, mut spread, mut mixed) = (0.0, 0.0, 0.0, 0usize);
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
            mixed += usize::from(y > 0.0 && y < n);
            in_sum += a * n0 / n;
            out_sum += b * n1 / n;
            spread += (y * n1 * n0 - a * b * n) / (n * n);
        }
    }
    if mixed < FEWEST_MIXED || in_sum <= 0.0 || out_sum <= 0.0 {
        let absent = if mixed < FEWEST_MIXED { Absent::FewMixed } else { Absent::NoFit };
        return Effect { absent: Some(absent), ..Effect::default() };
    }
    let (beta, se) = ((in_sum / out_sum).ln(), (spread.max(0.0) / (in_sum * out_sum)).sqrt());
    const Z: f64 = 1.959_963_984_540_054;
    let (low, high) = ((beta - Z * se).exp(), (beta + Z * se).exp());
    let wide = high / low > WIDEST;
    Effect {
        ratio: Some(beta.exp()),
        low: (!wide).then_some(low),
        high: (!wide).then_some(high),
        absent: wide.then_some(Absent::TooWide),
        contrast: Some((beta, se)),
    }
}
