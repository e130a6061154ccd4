//! Scores, screen, draws, p and q of every factor on one set of expected counts.

use crate::causes::components::Base;
use crate::causes::draws::DrawPlan;
use crate::causes::draws::Drawing;
use crate::causes::draws::STILL;
use crate::causes::draws::Wanted;
use crate::causes::draws::models;
use crate::causes::draws::residuals;
use crate::causes::factors::Factor;
use crate::causes::factors::Labels;
use crate::causes::factors::Number;
use crate::causes::history::History;
use crate::causes::layout::MouldLayout;
use crate::causes::parallel_map::parallel_map;
use crate::causes::pvalue::LEAST_SCALE;
use crate::causes::pvalue::p_value;
use crate::causes::random::SEED;
use crate::causes::scan::NamedSet;
use crate::causes::scan::Score;
use crate::causes::scan::Scratch;
use crate::causes::scan::as_poured;
use crate::causes::score::tail_scale;
use crate::causes::smoother::Model;
use crate::causes::smoother::Series;
use crate::causes::watch::Watch;
use crate::stats::fdr::benjamini_hochberg;

/// Draws, and below which p more are worth their time.
const STAGES: [(usize, f64); 4] = [(199, 0.2), (999, 0.03), (4_999, 0.002), (19_999, 0.0)];

/// From this many moulds on more draws are for the leaders alone.
const LONG: usize = 1_000;
const OF_LEADERS: f64 = 0.02;

/// A smaller p is decided: no more draws.
const DECIDED: f64 = 1e-5;

/// Draws in large histories.
const FEWER_DRAWS: usize = 99;

/// From this many moulds on a history is large: 99 draws, and time models count only above e^−8 of the
/// weight, before that above e^−14.
const LARGE: usize = 20_000;

/// Up to this many moulds a history is short; the least scale of its tails (see [`least_scale`]).
const SHORT: usize = 300;
const OF_SHORT: f64 = 0.8;

/// The most draws times moulds.
const MOST_WORK: usize = 2_500_000;

/// A factor whose statistic is above this is drawn for; where only what would be shown
/// matters, above the second.
const CLEAR: f64 = 0.8;
const CLEAR_OF_SHOWN: f64 = 2.5;

/// How the draws are made.
#[derive(Clone, Copy, Debug)]
pub struct Settings<'a> {
    /// The seed, printed with the answer.
    pub seed: u64,
    /// Threads to work on; the answer does not depend on it.
    pub threads: usize,
    /// So many draws for every factor, where that is wanted; else none: 199, and for the leaders as many
    /// as decide, up to 19,999, fewer in long histories, 99 in those of 20,000 moulds and more.
    pub draws: Option<usize>,
    /// Two factors by name, to be looked at together.
    pub pair: Option<[&'a str; 2]>,
    /// Factors that are a stretch of time by what they are, such as a reading while its instrument had drifted: to be
    /// one is no doubt about them.
    pub dated: Option<fn(&str) -> bool>,
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

    /// The draws after which it is looked who needs more.
    fn stages(&self, history: &History) -> Vec<usize> {
        if let Some(draws) = self.draws {
            return vec![draws];
        }
        if history.moulds() >= LARGE {
            return vec![FEWER_DRAWS];
        }
        let most = (MOST_WORK / history.moulds().max(1)).max(STAGES[0].0);
        STAGES.iter().map(|(draws, _)| *draws).filter(|&draws| draws <= most).collect()
    }

    /// The draws that every factor gets.
    pub(crate) fn first_draws(&self, history: &History) -> usize {
        self.stages(history).first().copied().unwrap_or(FEWER_DRAWS)
    }
}

impl Default for Settings<'_> {
    fn default() -> Self {
        Self { seed: SEED, threads: 1, draws: None, pair: None, dated: None, watch: None }
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
    /// The same without what the shop's knowledge weighs.
    pub q_unweighted: Vec<f64>,
    /// What each p was divided by, 1 on the mean.
    pub weight: Vec<f64>,
    /// ln of what the shop's knowledge multiplies a factor's finding by, relative to the mean.
    pub ln_weight: Vec<f64>,
    /// Testable factors, best first.
    pub order: Vec<usize>,
    /// The same without what the shop's knowledge weighs.
    pub order_unweighted: Vec<usize>,
    /// The most draws behind a p.
    pub draws: usize,
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

/// How much of a ranking is wanted.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Extent {
    /// p of every factor, the leaders' exactly.
    Whole,
    /// What would be shown, from the first draws; every other p is 1.
    Shown,
}

/// Scores every factor against the expected counts and calibrates it by draws.
pub(crate) fn judge(history: &History, expected: &[f64], settings: Settings, extent: Extent) -> Judged {
    let base = Base::new(history.outcomes(), expected);
    let share: Vec<f64> = history.n.iter().map(|n| 1.0 / n).collect();
    let scores = scores(history, &base, &share, settings.threads);
    let time_number =
        Number::new((0..history.moulds()).map(|m| m as f64).collect(), &[], Some(&history.heat_of));
    let time = time_score(history, &base, &share, &time_number);
    let plan = DrawPlan {
        history,
        base: &base,
        residual: residuals(&base),
        share: &share,
        floor: floor(history),
        seed: settings.seed,
    };
    let Drawn { p, time_p, draws } = draw(&plan, &scores, (&time, &time_number), settings, extent);

    let tested: Vec<usize> = (0..scores.len()).filter(|&f| scores[f].is_some()).collect();
    // the mean over what was tried is 1, whatever was found; knowledge never speaks for a finding on the
    // side that it does not expect
    let weights = |known: bool| -> Vec<f64> {
        let of = |f: usize, agrees: bool| {
            let factor = &history.factors[f];
            if known && agrees { factor.weight * factor.bonus } else { factor.weight }
        };
        let mean = tested.iter().map(|&f| of(f, true)).sum::<f64>() / tested.len().max(1) as f64;
        let agrees = |f: usize| scores[f].as_ref().is_none_or(|s| s.what.agrees(history.factors[f].expects));
        (0..scores.len()).map(|f| of(f, agrees(f)) / mean).collect()
    };
    let q_of = |weights: &[f64]| {
        let family: Vec<f64> = tested.iter().map(|&f| (p[f] / weights[f]).clamp(0.0, 1.0)).collect();
        let adjusted = benjamini_hochberg(&family).unwrap_or_else(|_| vec![1.0; family.len()]);
        let mut q = vec![1.0; p.len()];
        tested.iter().zip(adjusted).for_each(|(&f, value)| q[f] = value);
        q
    };
    // what repeats others at less weight is tried at less, and ranked as it is found
    let order_of = |bonus: &[f64]| {
        let t = |f: usize| scores[f].as_ref().map_or(f64::NEG_INFINITY, |s| s.t + bonus[f]);
        // factors stand in the order of their names, which decides what is still tied
        let mut order = tested.clone();
        order.sort_by(|&a, &b| t(b).total_cmp(&t(a)).then(p[a].total_cmp(&p[b])));
        order
    };
    let (known, plain) = (weights(true), weights(false));
    let (q, q_unweighted) = (q_of(&known), q_of(&plain));
    let ln_weight: Vec<f64> = known.iter().zip(&plain).map(|(w, plain)| (w / plain).ln()).collect();
    let (order, order_unweighted) = (order_of(&ln_weight), order_of(&vec![0.0; scores.len()]));
    Judged {
        base,
        scores,
        p,
        q,
        q_unweighted,
        weight: known,
        ln_weight,
        order,
        order_unweighted,
        draws,
        time,
        time_number,
        time_p,
    }
}

/// p of each factor and of the pour order, and the most draws behind one.
struct Drawn {
    p: Vec<f64>,
    time_p: f64,
    draws: usize,
}

/// Draws until each p is decided well enough, the leaders longest.
fn draw(
    plan: &DrawPlan<'_>,
    scores: &[Option<Score>],
    (time, time_number): (&Score, &Number),
    settings: Settings,
    extent: Extent,
) -> Drawn {
    let history = plan.history;
    let clear = |score: &Score| match extent {
        Extent::Whole => score.screen > 0.1 && score.t <= CLEAR,
        Extent::Shown => score.t <= CLEAR_OF_SHOWN,
    };
    let screen = |s: &Score| if extent == Extent::Whole { s.screen } else { 1.0 };
    let mut p: Vec<f64> = scores.iter().map(|s| s.as_ref().map_or(1.0, screen)).collect();
    let mut wanted: Vec<usize> = (0..scores.len())
        .filter(|&f| scores[f].as_ref().is_some_and(|s| !clear(s) && s.what != NamedSet::Nothing))
        .collect();
    let mut drawn: Vec<Vec<f64>> = vec![Vec::new(); scores.len()];
    let (mut time_p, mut time_drawn) = (time.screen, Vec::new());
    let mut time_wanted = !clear(time) && extent == Extent::Whole;
    let mut done = 0;
    let mut stages = settings.stages(history);
    if extent == Extent::Shown {
        stages.truncate(1);
    }
    for stage in stages {
        if wanted.is_empty() && !time_wanted {
            break;
        }
        let asked = Wanted { factors: &wanted, time: time_wanted.then_some(time_number) };
        let more = stage - done;
        settings.more_to_do(more);
        let found = parallel_map(settings.threads, more, Drawing::new, |drawing, b| match settings.go_on() {
            true => drawing.draw(plan, &asked, (done + b) as u64 + 1),
            // Nobody reads it.
            false => vec![0.0; wanted.len() + usize::from(time_wanted)],
        });
        for of_draw in &found {
            for (&f, &t) in wanted.iter().zip(of_draw) {
                drawn[f].push(t);
            }
            if time_wanted {
                time_drawn.extend(of_draw.last());
            }
        }
        done = stage;
        if time_wanted {
            time_p = p_value(time.t, &time_drawn, LEAST_SCALE);
            // the pour order is never in the family: its first draws are enough
            time_wanted = false;
        }
        for &f in &wanted {
            if let Some(score) = &scores[f] {
                p[f] = p_value(score.t, &drawn[f], least_scale(history, f, score));
            }
        }
        wanted.retain(|&f| worth_more(p[f], done, history.moulds()));
    }
    Drawn { p, time_p, draws: done }
}

/// Whether so many draws leave a p too vague: 199 do for one of 0.2 and more, 999 for one of 0.03.
fn worth_more(p: f64, done: usize, moulds: usize) -> bool {
    let enough = STAGES.iter().rev().find(|(draws, _)| done >= *draws).map_or(1.0, |(_, enough)| *enough);
    let enough = if moulds >= LONG { enough.min(OF_LEADERS) } else { enough };
    p > DECIDED && p < enough
}

/// The least scale of a factor's tail. In long histories drift may be of another shape than any model of
/// it, and 1 keeps a margin; in short ones a Bayes factor of a level falls faster (chosen by simulation).
fn least_scale(history: &History, f: usize, score: &Score) -> f64 {
    if history.moulds() > SHORT {
        return LEAST_SCALE;
    }
    match history.factors[f].labels {
        Labels::Number(_) => OF_SHORT,
        _ => tail_scale(score.e).max(OF_SHORT),
    }
}

fn time_score(history: &History, base: &Base, share: &[f64], number: &Number) -> Score {
    let x: Vec<f64> = base.heats.iter().map(|h| h.x).collect();
    let mut still: Series<1> = Series::new();
    still.choose(&[STILL]);
    still.smooth(&x, &base.heats);
    let layout = as_poured(base, &history.heat_start, share);
    Scratch::new().score_number(number, false, layout, &still)
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
