//! Scores, screen, draws, p and q of every factor on one set of expected counts.

use crate::causes::components::Base;
use crate::causes::draws::DrawPlan;
use crate::causes::draws::Drawing;
use crate::causes::draws::models;
use crate::causes::draws::residuals;
use crate::causes::factors::Factor;
use crate::causes::factors::Labels;
use crate::causes::factors::Number;
use crate::causes::history::History;
use crate::causes::layout::MouldLayout;
use crate::causes::parallel_map::parallel_map;
use crate::causes::pvalue::p_value;
use crate::causes::random::SEED;
use crate::causes::scan::NamedSet;
use crate::causes::scan::Score;
use crate::causes::scan::Scratch;
use crate::causes::scan::as_poured;
use crate::causes::smoother::Model;
use crate::causes::smoother::Series;
use crate::causes::watch::Watch;
use crate::stats::fdr::benjamini_hochberg;

/// Draws; more would undo the margin of the tail.
pub(crate) const DRAWS: usize = 199;

/// Draws in large histories.
const FEWER_DRAWS: usize = 99;

/// From this many moulds on a history is large: 99 draws, and time models count only above e^−8 of the
/// weight, before that above e^−14.
const LARGE: usize = 20_000;

/// How the draws are made.
#[derive(Clone, Copy, Debug)]
pub struct Settings<'a> {
    /// The seed, printed with the answer.
    pub seed: u64,
    /// Threads to work on; the answer does not depend on it.
    pub threads: usize,
    /// Draws where something is being measured; else none, and it is `DRAWS`, or 99 in histories of
    /// 20,000 moulds and more.
    pub draws: Option<usize>,
    /// Who waits for it.
    pub watch: Option<&'a Watch>,
}

impl Settings<'_> {
    /// More pieces of work come.
    pub(crate) fn more_to_do(&self, pieces: usize) {
        if let Some(watch) = self.watch {
            watch.more_to_do(pieces);
        }
    }

    /// Counts a piece of work; false where nobody waits for it any more.
    pub(crate) fn go_on(&self) -> bool {
        self.watch.is_none_or(|watch| {
            watch.did_one();
            !watch.is_stopped()
        })
    }

    /// The draws for a history.
    pub(crate) fn draws(&self, history: &History) -> usize {
        self.draws.unwrap_or(if history.moulds() >= LARGE { FEWER_DRAWS } else { DRAWS })
    }
}

impl Default for Settings<'_> {
    fn default() -> Self {
        Self { seed: SEED, threads: 1, draws: None, watch: None }
    }
}

/// What one pass over all factors found.
pub(crate) struct Judged {
    pub base: Base,
    /// By factor; none where it cannot be tested.
    pub scores: Vec<Option<Score>>,
    /// By factor; 1 where it cannot be tested.
    pub p: Vec<f64>,
    pub q: Vec<f64>,
    /// Testable factors, best first.
    pub order: Vec<usize>,
    /// The pour order itself.
    pub time: Score,
    pub time_number: Number,
    pub time_p: f64,
}

/// Why a factor cannot be tested, as far as its values alone tell.
pub(crate) fn untestable(history: &History, factor: &Factor) -> Option<String> {
    let moulds = history.moulds();
    if 2 * factor.known < moulds {
        return Some(format!("known for {} of {moulds} moulds only", factor.known));
    }
    match &factor.labels {
        Labels::Number(_) => None,
        _ if factor.levels.len() < 2 => Some("one level only".into()),
        _ => None,
    }
}

/// Scores every factor against the expected counts and calibrates it by draws.
pub(crate) fn judge(history: &History, expected: &[f64], settings: Settings) -> Judged {
    let base = Base::new(history.outcomes(), expected);
    let share: Vec<f64> = history.n.iter().map(|n| 1.0 / n).collect();
    let floor = floor(history);
    let x: Vec<f64> = base.heats.iter().map(|h| h.x).collect();
    let scores = scores(history, &base, &share, settings.threads);
    let time_number =
        Number::new((0..history.moulds()).map(|m| m as f64).collect(), &[], Some(&history.heat_of));
    let mut still: Series<1> = Series::new();
    still.choose(&[Model { kappa2: 0.0, phi: 1.0, weight: 1.0 }]);
    still.smooth(&x, &base.heats);
    let layout = as_poured(&base, &history.heat_start, &share);
    let time = Scratch::new().score_number(&time_number, false, layout, &still);

    let clear = |score: &Score| score.screen > 0.1 && score.t <= 1.0;
    let wanted: Vec<usize> =
        (0..scores.len()).filter(|&f| scores[f].as_ref().is_some_and(|s| !clear(s))).collect();
    let plan = DrawPlan {
        history,
        base: &base,
        residual: residuals(&base),
        share: &share,
        wanted,
        time: (!clear(&time)).then_some(&time_number),
        floor,
        seed: settings.seed,
    };
    let draws = if plan.wanted.is_empty() && plan.time.is_none() {
        Vec::new()
    } else {
        let draws = settings.draws(history);
        settings.more_to_do(draws);
        parallel_map(settings.threads, draws, Drawing::new, |drawing, b| match settings.go_on() {
            true => drawing.draw(&plan, b as u64 + 1),
            // Nobody reads it.
            false => vec![0.0; plan.wanted.len() + usize::from(plan.time.is_some())],
        })
    };
    let drawn = |place: usize| draws.iter().map(|of_draw| of_draw[place]).collect::<Vec<f64>>();
    let mut p: Vec<f64> = scores.iter().map(|s| s.as_ref().map_or(1.0, |s| s.screen)).collect();
    for (place, &f) in plan.wanted.iter().enumerate() {
        if let Some(score) = &scores[f] {
            p[f] = if score.what == NamedSet::Nothing { 1.0 } else { p_value(score.t, &drawn(place)) };
        }
    }
    let time_p = match plan.time {
        Some(_) => p_value(time.t, &drawn(plan.wanted.len())),
        None => time.screen,
    };

    let mut order: Vec<usize> = (0..scores.len()).filter(|&f| scores[f].is_some()).collect();
    let weight = |f: usize| history.factors[f].weight;
    let mean = order.iter().map(|&f| weight(f)).sum::<f64>() / order.len().max(1) as f64;
    let family: Vec<f64> = order.iter().map(|&f| (p[f] * mean / weight(f)).clamp(0.0, 1.0)).collect();
    let adjusted = benjamini_hochberg(&family).unwrap_or_else(|_| vec![1.0; family.len()]);
    let mut q = vec![1.0; scores.len()];
    order.iter().zip(adjusted).for_each(|(&f, value)| q[f] = value);
    let t = |f: usize| scores[f].as_ref().map_or(f64::NEG_INFINITY, |s| s.t);
    // factors stand in the order of their names, which decides what is still tied
    order.sort_by(|&a, &b| t(b).total_cmp(&t(a)).then(p[a].total_cmp(&p[b])));
    Judged { base, scores, p, q, order, time, time_number, time_p }
}

/// Models with less than this ln weight are left out.
fn floor(history: &History) -> f64 {
    if history.moulds() >= LARGE { -8.0 } else { -14.0 }
}

/// One score pass over all factors, without draws: how many of them say more than nothing (T > 0). For
/// benches.
#[doc(hidden)]
#[must_use]
pub fn score_pass(history: &History, threads: usize) -> usize {
    let base = Base::new(history.outcomes(), &history.expected);
    let share: Vec<f64> = history.n.iter().map(|n| 1.0 / n).collect();
    scores(history, &base, &share, threads).into_iter().flatten().filter(|s| s.t > 0.0).count()
}

fn scores(history: &History, base: &Base, share: &[f64], threads: usize) -> Vec<Option<Score>> {
    let layout = as_poured(base, &history.heat_start, share);
    let x: Vec<f64> = base.heats.iter().map(|h| h.x).collect();
    let active = models(base, &base.posterior, floor(history));
    match active.len() {
        0..=2 => score_all::<2>(history, &active, &x, layout, threads),
        3..=4 => score_all::<4>(history, &active, &x, layout, threads),
        _ => score_all::<6>(history, &active, &x, layout, threads),
    }
}

fn score_all<const K: usize>(
    history: &History,
    models: &[Model],
    x: &[f64],
    layout: MouldLayout<'_>,
    threads: usize,
) -> Vec<Option<Score>> {
    let mut series: Series<K> = Series::new();
    series.choose(models);
    series.smooth(x, layout.heats);
    parallel_map(threads, history.factors.len(), Scratch::new, |scratch, f| {
        let factor = &history.factors[f];
        if untestable(history, factor).is_some() {
            return None;
        }
        let score = scratch.score(factor, layout, &series);
        let enough = matches!(factor.labels, Labels::Number(_)) || score.eligible >= 2;
        enough.then_some(score)
    })
}
