//! The whole answer: early stops, the ranking, what it hangs on, what to pour next.

use crate::causes::aliases::aliases;
use crate::causes::history::History;
use crate::causes::judge::Extent;
use crate::causes::judge::Judged;
use crate::causes::judge::Settings;
use crate::causes::judge::judge;
use crate::causes::judge::untestable;
use crate::causes::next::next_pours;
use crate::causes::pairs::pair;
use crate::causes::parallel_map::parallel_map;
use crate::causes::ranking::BladeCounts;
use crate::causes::ranking::Cause;
use crate::causes::ranking::Clumping;
use crate::causes::ranking::NotTestable;
use crate::causes::ranking::Ranking;
use crate::causes::ranking::SHOWN;
use crate::causes::ranking::TimeRow;
use crate::causes::rescan::rescan;
use crate::causes::rows::add_note;
use crate::causes::rows::is_period;
use crate::causes::rows::row;
use crate::causes::scan::NamedSet;
use crate::causes::sets::sides;

/// Fewer than these are too few to name a cause.
const FEWEST_WITH: f64 = 5.0;
const FEWEST_HEATS: usize = 8;
const FEWEST_MOULDS: usize = 20;

/// Factors within this of the best held the true cause in 19 of 20 simulated histories of 100 moulds and
/// more, in 9 of 10 of 60.
const SHORTLIST: f64 = 3.0;

/// Ranks every factor of a history as a cause of the defect.
///
/// Moulds are compared with what their part's rate predicts; the spread between moulds, between heats
/// and over time is allowed for; each factor's mean Bayes factor is held against 199 draws of histories
/// in which it cannot matter; false discoveries are held below one in ten. Too little data gives no
/// causes and the sentence that says why.
///
/// Source: the parts are named where they stand; their combination was chosen by simulation.
#[must_use]
pub fn rank(history: &History, settings: Settings) -> Ranking {
    let with: f64 = history.y.iter().sum();
    let mut ranking = Ranking {
        blades: BladeCounts {
            made: history.made,
            inspected: history.inspected,
            with: with as usize,
            not_inspected: history.made - history.inspected,
        },
        moulds: history.moulds(),
        heats: history.heats(),
        seed: settings.seed,
        ..Ranking::default()
    };
    if let Some(sentence) = too_little(history) {
        ranking.cautions.push(sentence);
        ranking.cautions.extend(scope(history));
        return ranking;
    }
    let judged = judge(history, &history.expected, settings, Extent::Whole);
    ranking.clumping = Some(clumping(history, &judged));
    ranking.tests = judged.order.len();
    ranking.draws = judged.draws;
    ranking.not_testable = not_testable(history, &judged);
    ranking.causes = rows(history, &judged, settings.threads);
    ranking.time = time_row(history, &judged);
    let told = rescan(history, &judged, &mut ranking.causes, settings);
    let suspects = aliases(history, &judged, &mut ranking.causes, told.apart, settings.threads);
    periods(history, &judged, &mut ranking, settings);
    // the word of a row is given once, when all that decides it is known
    ranking.causes.iter_mut().for_each(|c| c.wording = c.word());
    if let Some(names) = settings.pair {
        match pair(history, names, told.expected.as_deref(), settings) {
            Ok(row) => ranking.pairs.push(row),
            Err(sentence) => {
                ranking.pair_refused = Some(sentence.clone());
                ranking.cautions.push(sentence);
            }
        }
    }
    let per_mould = history.n.iter().sum::<f64>() / history.moulds() as f64;
    ranking.next = next_pours(&judged, &ranking.causes, &suspects, per_mould);
    ranking.cautions.extend(cautions(history, &judged, &ranking));
    ranking.cautions.extend(scope(history));
    ranking
}

fn too_little(history: &History) -> Option<String> {
    let with: f64 = history.y.iter().sum();
    let blades: f64 = history.n.iter().sum();
    let few = "too few independent pours to name a cause";
    if history.inspected == 0 {
        return Some("No blade in the scope of the question was inspected for it.".into());
    }
    if with == 0.0 {
        return Some(format!(
            "None of {} inspected blades has the defect: nothing to rank.",
            history.inspected
        ));
    }
    if with < FEWEST_WITH {
        return Some(format!(
            "Only {with} of {blades} inspected blades are with the defect; a cause needs at least 5."
        ));
    }
    if !history.counts && with == blades {
        return Some(format!(
            "All {blades} inspected blades are with the defect: nothing to compare them with."
        ));
    }
    if history.heats() < FEWEST_HEATS {
        let heats = if history.heats() == 1 { "1 heat".into() } else { format!("{} heats", history.heats()) };
        return Some(format!("{heats}, and a cause needs at least 8: {few}."));
    }
    if history.moulds() < FEWEST_MOULDS {
        return Some(format!("{} moulds, and a cause needs at least 20: {few}.", history.moulds()));
    }
    None
}

fn clumping(history: &History, judged: &Judged) -> Clumping {
    let base = &judged.base;
    let blades: f64 = history.n.iter().sum();
    let rate = (history.y.iter().sum::<f64>() / blades).min(0.999);
    let drift = base.posterior.kappa2();
    let correlation = (base.sigma2 + base.tau2 + drift) * rate / (1.0 - rate);
    Clumping {
        mould: base.sigma2,
        heat: base.tau2,
        drift,
        drift_range_heats: base.posterior.range(&base.grid),
        correlation,
        design_effect: 1.0 + (blades / history.moulds() as f64 - 1.0) * correlation,
    }
}

fn not_testable(history: &History, judged: &Judged) -> Vec<NotTestable> {
    history
        .factors
        .iter()
        .zip(&judged.scores)
        .filter(|(_, score)| score.is_none())
        .map(|(factor, _)| NotTestable {
            factor: factor.name.clone(),
            reason: untestable(history, factor)
                .unwrap_or_else(|| "fewer than two levels with enough blades".into()),
        })
        .collect()
}

fn rows(history: &History, judged: &Judged, threads: usize) -> Vec<Cause> {
    let mut causes: Vec<Cause> = parallel_map(
        threads,
        judged.order.len(),
        || (),
        |(), place| {
            let f = judged.order[place];
            judged.scores[f].as_ref().map(|score| row(history, judged, f, score))
        },
    )
    .into_iter()
    .flatten()
    .collect();
    // what the shop's knowledge weighs counts in the belief as in the order
    let beliefs: Vec<f64> =
        judged.order.iter().zip(&causes).map(|(&f, c)| c.evidence + judged.ln_weight[f]).collect();
    let most = beliefs.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let total: f64 = beliefs.iter().map(|b| (b - most).exp()).sum();
    for (place, (cause, belief)) in causes.iter_mut().zip(&beliefs).enumerate() {
        let f = judged.order[place];
        cause.rank = place + 1;
        cause.rank_unweighted = judged.order_unweighted.iter().position(|&o| o == f).unwrap_or(place) + 1;
        cause.share_of_belief = (belief - most).exp() / total;
        cause.shortlisted = *belief >= most - SHORTLIST;
    }
    causes
}

fn time_row(history: &History, judged: &Judged) -> TimeRow {
    let changed_at = match judged.time.what {
        NamedSet::Threshold { cut, .. } if judged.time_p < 0.05 => {
            history.mould_tags.get(judged.time_number.cuts[cut] as usize).cloned()
        }
        _ => None,
    };
    TimeRow { p: Some(judged.time_p), changed_at }
}

/// Says of a shown set that is one stretch of time that it is one, and lowers its wording where the rate
/// moves with time anyway.
fn periods(history: &History, judged: &Judged, ranking: &mut Ranking, settings: Settings) {
    for (cause, &f) in ranking.causes.iter_mut().zip(&judged.order).filter(|(c, _)| c.flagged) {
        let Some(score) = &judged.scores[f] else { continue };
        let what = score.what;
        if settings.dated.is_some_and(|dated| dated(&cause.factor)) {
            continue;
        }
        if matches!(what, NamedSet::Trend { .. }) || cause.unit == "cell" || cause.inside.heats < 2 {
            continue;
        }
        if is_period(&sides(history, &history.factors[f], what)) {
            add_note(
                cause,
                "May be the period, not the lot: nearly all moulds poured meanwhile belong to it.",
            );
            if judged.time_p < 0.05 {
                cause.period = true;
                if cause.explained_by.is_none() {
                    add_note(
                        cause,
                        "The rate also changes with the pour order, so the wording is one step lower.",
                    );
                }
            }
        }
    }
}

fn cautions(history: &History, judged: &Judged, ranking: &Ranking) -> Vec<String> {
    let mut all = Vec::new();
    let shown = ranking.causes.iter().filter(|c| c.flagged).count();
    all.push("Association, not cause: what is shown goes along with the defect in these records.".into());
    all.push(format!(
        "{} {} tried; the number tried is allowed for (q), and nothing with q of {SHOWN} or more counts as found.",
        ranking.tests,
        if ranking.tests == 1 { "factor was" } else { "factors were" }
    ));
    if shown == 0 {
        all.push("No cause can be told from these records.".into());
    }
    if judged.time_p < 0.05 {
        let since =
            ranking.time.changed_at.as_ref().map_or(String::new(), |tag| format!(", about mould {tag}"));
        all.push(format!(
            "The rate changed over time{since}: whatever else changed then is a suspect too, recorded or not."
        ));
    }
    if let Some(clumping) = ranking.clumping.filter(|c| c.design_effect >= 1.05) {
        all.push(format!(
            "Bad blades come in clumps: {:.1} times as many are needed as if blades were independent.",
            clumping.design_effect
        ));
    }
    if ranking.moulds < 400 && shown == 0 {
        all.push(
            "With so few moulds the method is cautious: a moderate cause would often not be shown.".into(),
        );
    }
    if history.moulds() > 0 && ranking.causes.iter().any(|c| c.flagged && c.unit == "cell") {
        all.push("A ratio within moulds understates the effect where bad blades come in clumps.".into());
    }
    if history.counts {
        all.push("Findings were counted; the error rates were measured on blades with or without.".into());
    }
    all
}

/// What the question covers: not inspected, strata left out.
fn scope(history: &History) -> Vec<String> {
    let mut all = Vec::new();
    let missing = history.made - history.inspected;
    if missing > 0 {
        all.push(format!(
            "{missing} of {} blades made are not inspected for it; they are left out, not counted as good.",
            history.made
        ));
    }
    for (name, blades) in &history.silent_strata {
        all.push(format!("{name} is left out: none of its {blades} inspected blades has the defect."));
    }
    all
}
