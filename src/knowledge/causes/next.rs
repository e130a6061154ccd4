//! What to pour next, so that suspects come apart.

use crate::causes::aliases::Suspects;
use crate::causes::aliases::title;
use crate::causes::judge::Judged;
use crate::causes::ranking::Cause;
use crate::causes::ranking::NextPour;

/// One-sided 5 % and 80 % power, as normal quantiles.
const ALPHA: f64 = 1.645;
const POWER: f64 = 0.842;

/// More moulds an arm than this are not worth a trial.
const MOST: f64 = 60.0;

/// An interval's lower limit at or below this says too little to plan with.
const WEAK_LIMIT: f64 = 1.1;

/// Moulds in each arm to tell rates p0 and p1 of blades that come in clumps:
/// k = ⌈(1.645+0.842)²[p0(1−p0)+p1(1−p1)] D/(n̄(p1−p0)²)⌉, at least 3; one-sided 5 %, power 80 %.
/// None where the rates are equal.
///
/// Source: design effect of Donner and Klar 2000, Design and Analysis of Cluster Randomization Trials.
///
/// ```
/// assert_eq!(knowledge::causes::moulds_per_arm(0.06, 0.03, 8.0, 1.35), Some(100));
/// assert_eq!(knowledge::causes::moulds_per_arm(0.06, 0.06, 8.0, 1.35), None);
/// ```
#[must_use]
pub fn moulds_per_arm(p0: f64, p1: f64, blades_per_mould: f64, design_effect: f64) -> Option<u64> {
    let spread = p0 * (1.0 - p0) + p1 * (1.0 - p1);
    let gap = p1 - p0;
    let k = (ALPHA + POWER).powi(2) * spread * design_effect / (blades_per_mould * gap * gap);
    k.is_finite().then(|| k.ceil().max(3.0) as u64)
}

/// Moulds in each arm to tell two means apart that differ by `gap`, with `variances` the sum of the two
/// variances of single values: k = ⌈(1.645+0.842)² (s₁²+s₂²) D/(n̄ gap²)⌉, at least 3; one-sided 5 %, power 80 %.
/// None where the means are equal. Textbook formula with the design effect of [`moulds_per_arm`].
pub(crate) fn moulds_for_means(
    gap: f64,
    variances: f64,
    values_per_mould: f64,
    design_effect: f64,
) -> Option<u64> {
    let k = (ALPHA + POWER).powi(2) * variances * design_effect / (values_per_mould * gap * gap);
    k.is_finite().then(|| k.ceil().max(3.0) as u64)
}

/// Pairs of suspects that an answer has room for.
const PAIRS: usize = 6;

/// Arms for each pair of suspects that the records do not separate, or why there are none.
pub(crate) fn next_pours(
    judged: &Judged,
    causes: &[Cause],
    suspects: &[Suspects],
    blades_per_mould: f64,
) -> Vec<NextPour> {
    suspects
        .iter()
        .take(PAIRS)
        .map(|suspect| {
            let first = &causes[suspect.one];
            let (a, b) = (first.named(), suspect.named.clone());
            let trend = [&a, &b].into_iter().find(|named| named.level.is_none()).map(|t| t.factor.clone());
            if let Some(trend) = trend {
                let pour = format!(
                    "{} and {}: no arms, since {trend} is a trend and no level. Change one of the two alone, and compare \
                     before and after.",
                    title(&a),
                    title(&b),
                );
                return NextPour { pour, separates: [a, b], moulds: None };
            }
            let paired = first.unit != "heat" && causes[suspect.other].unit != "heat";
            let (moulds, guess) = arm(judged, first, paired, blades_per_mould);
            let (one, two) = (title(&a), title(&b));
            let place = if paired { "side by side in the same heats" } else { "in different heats, in turn" };
            let mut pour = format!(
                "{one} without {two}, and {two} without {one}, {place}; where one of them is used up, the other \
                 against neither."
            );
            if guess {
                pour.push_str(" The size is a guess: the effect is poorly known.");
            }
            match moulds.filter(|&k| k as f64 <= MOST) {
                Some(k) => pour.push_str(&format!(" {k} moulds of each (one-sided 5 %, power 80 %).")),
                None => pour.push_str(
                    " A trial is not worth it: it takes more than 60 moulds of each; watch production.",
                ),
            }
            NextPour { pour, separates: [a, b], moulds: moulds.filter(|&k| k as f64 <= MOST) }
        })
        .collect()
}

/// Moulds in an arm for the suspected effect, and whether that is a guess. The ratio planned with is
/// √(RR·lower limit), which guards against the winner's curse.
fn arm(judged: &Judged, cause: &Cause, paired: bool, blades_per_mould: f64) -> (Option<u64>, bool) {
    let low = cause.interval[0].filter(|&l| l > WEAK_LIMIT);
    let ratio = cause.ratio.or(low).unwrap_or(2.0).max(1.0);
    let plan = low.map_or(ratio.sqrt(), |l| (ratio * l).sqrt());
    let none = 0.5 / cause.outside.blades.max(1) as f64;
    let p0 = cause.rate_out.unwrap_or(0.0).max(none);
    let p1 = (p0 * plan).min(0.9);
    let excess = judged.base.sigma2 + if paired { 0.0 } else { judged.base.tau2 };
    let correlation = excess * p0 / (1.0 - p0).max(1e-9);
    (moulds_per_arm(p0, p1, blades_per_mould, 1.0 + (blades_per_mould - 1.0) * correlation), low.is_none())
}
