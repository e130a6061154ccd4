//! The row of a factor in the ranking: counts, rates, effect, notes.

use crate::causes::effect::Effect;
use crate::causes::effect::Fitted;
use crate::causes::effect::WIDEST;
use crate::causes::effect::fit_cell;
use crate::causes::effect::fit_set;
use crate::causes::effect::fit_trend;
use crate::causes::factors::Factor;
use crate::causes::factors::FactorKind;
use crate::causes::factors::Labels;
use crate::causes::history::History;
use crate::causes::judge::Judged;
use crate::causes::ranking::Cause;
use crate::causes::ranking::SHOWN;
use crate::causes::scan::NamedSet;
use crate::causes::scan::Score;
use crate::causes::sets::Membership;
use crate::causes::sets::defective_moulds;
use crate::causes::sets::groups;
use crate::causes::sets::short;
use crate::causes::sets::sides;
use crate::causes::sets::text;
use crate::causes::sets::thirds;

/// A named set must hold at least this many moulds with a defective blade.
const FEWEST_DEFECTIVE: usize = 2;

/// More than this share of the moulds between the first and the last of a set makes it a period.
const PERIOD: f64 = 0.8;

/// The row of factor f, without what other rows are needed for.
pub(crate) fn row(history: &History, judged: &Judged, f: usize, score: &Score) -> Cause {
    let factor = &history.factors[f];
    let sides = sides(history, factor, score.what);
    let (inside, outside) = groups(history, factor, score.what, &sides);
    let trend = matches!(score.what, NamedSet::Trend { .. });
    let mut notes = Vec::new();
    let named = trend || defective_moulds(history, factor, score.what, &sides) >= FEWEST_DEFECTIVE;
    if !named {
        notes.push("One mould only: no level is named.".to_string());
    }
    let mut effect = effect(history, factor, score.what, &sides, &history.expected)
        .map_or_else(Effect::default, |fitted| fitted.0);
    if let NamedSet::Trend { rising: false } = score.what {
        effect = effect.inverse();
    }
    effect = effect.beside(inside.rate(), outside.rate());
    if !named {
        effect = Effect::default();
    }
    if trend {
        notes.extend(trend_notes(factor, score.what, &effect));
    }
    if let Some(absent) = effect.absent {
        notes.push(absent.sentence().into());
    } else if effect.low.is_some() && effect.ratio.is_none() {
        notes.push("No reject outside: lower limit only.".into());
    } else if effect.high.is_some() && effect.ratio == Some(0.0) {
        notes.push("No reject inside: upper limit only.".into());
    }
    if named && (effect.low.is_some() || effect.high.is_some()) && factor.levels.len() != 2 {
        notes.push("The interval was picked after looking.".into());
    }
    if matches!(factor.labels, Labels::Cell(_)) && effect.ratio.is_some() {
        notes.push(
            "The ratio is within moulds that hold it beside others; the counts are over all moulds.".into(),
        );
    }
    if let (Labels::Lots(lots), NamedSet::Level(level)) = (&factor.labels, score.what) {
        let share = 100.0 * lots.mean_share[level as usize];
        notes.push(format!("Its heats hold {share:.0} % of it on average, through all revert."));
    }
    if factor.known < history.moulds() {
        notes.push(format!("Known for {} of {} moulds.", factor.known, history.moulds()));
    }
    if factor.below_detection > 0 {
        let count = factor.below_detection;
        let (values, enter) = if count == 1 { ("value", "enters") } else { ("values", "enter") };
        notes.push(format!("{count} {values} below detection {enter} as half the limit."));
    }
    let (explained, limits) = explained(&effect, &inside, trend);
    let mut cause = Cause {
        rank: 0,
        rank_unweighted: 0,
        factor: factor.name.clone(),
        level: if named { text(factor, score.what) } else { None },
        unit: factor.kind.word(),
        kind: match score.what {
            NamedSet::Trend { .. } => "trend",
            NamedSet::Threshold { .. } => "threshold",
            NamedSet::Level(_) | NamedSet::Nothing => "level",
        },
        side: score.what.higher().map(|higher| if higher { "higher" } else { "lower" }),
        rate_in: inside.rate(),
        rate_out: outside.rate(),
        inside,
        outside,
        ratio: effect.ratio,
        interval: [effect.low, effect.high],
        p: judged.p[f],
        q: judged.q[f],
        weight: judged.weight[f],
        q_unweighted: judged.q_unweighted[f],
        explained,
        explained_interval: limits,
        share_of_belief: 0.0,
        inseparable_from: Vec::new(),
        flagged: judged.q[f] < SHOWN,
        shortlisted: false,
        explained_by: None,
        wording: "",
        period: false,
        effective_expected: (!trend).then_some(score.e),
        effective_observed: (!trend).then_some(score.o),
        evidence: score.t,
        known_moulds: factor.known,
        note: (!notes.is_empty()).then(|| notes.join(" ")),
    };
    cause.wording = cause.word();
    cause
}

/// The effect of what a factor names; with the fit where the factor does not vary inside moulds.
pub(crate) fn effect(
    history: &History,
    factor: &Factor,
    what: NamedSet,
    sides: &[Membership],
    expected: &[f64],
) -> Option<(Effect, Option<Fitted>)> {
    match (&factor.labels, what) {
        (_, NamedSet::Nothing) => None,
        (Labels::Cell(cell), NamedSet::Level(level)) => Some((fit_cell(history, cell, level), None)),
        (Labels::Number(number), NamedSet::Trend { .. }) => {
            let of_heats = factor.kind == FactorKind::Heat;
            let x: Vec<f64> = (0..history.moulds())
                .map(|m| number.standard(if of_heats { history.heat_of[m] as usize } else { m }))
                .collect();
            let fitted = fit_trend(history, expected, &x, history.heats());
            Some((fitted.effect, Some(fitted)))
        }
        _ => {
            let fitted = fit_set(history, expected, sides);
            Some((fitted.effect, Some(fitted)))
        }
    }
}

fn trend_notes(factor: &Factor, what: NamedSet, effect: &Effect) -> Vec<String> {
    let Labels::Number(number) = &factor.labels else { return Vec::new() };
    let NamedSet::Trend { rising } = what else { return Vec::new() };
    let (low, high) = thirds(&number.raw);
    let highest = format!("highest third (from {})", short(high));
    let lowest = format!("lowest third (up to {})", short(low));
    let (inside, outside, way) = if rising { (highest, lowest, "more") } else { (lowest, highest, "less") };
    let mut notes = vec![format!(
        "Trend: the ratio is for one standard deviation ({}) {way}; the rates are those of the {inside} and of the \
         {outside}.",
        short(round(number.sd)),
    )];
    // Ten units are of use where the readings range that far.
    let spans = number.raw.iter().copied().filter(|x| x.is_finite());
    let range = spans.clone().fold(f64::NEG_INFINITY, f64::max) - spans.fold(f64::INFINITY, f64::min);
    let per_ten = effect.ratio.map(|r| r.powf(10.0 / number.sd)).filter(|r| (1.0..=WIDEST).contains(r));
    if let (Some(per_ten), true) = (per_ten, range >= 10.0) {
        notes.push(format!("For 10 units {way} the ratio is {}.", short(round(per_ten))));
    }
    notes
}

/// A number of things in words that fit it.
pub(crate) fn counted(n: usize, one: &str) -> String {
    format!("{n} {one}{}", if n == 1 { "" } else { "s" })
}

/// Three significant digits.
pub(crate) fn round(x: f64) -> f64 {
    if x == 0.0 || !x.is_finite() {
        return x;
    }
    let scale = 10f64.powi(2 - x.abs().log10().floor() as i32);
    (x * scale).round() / scale
}

/// y_in(1 − 1/RR), not below 0, and the same at the limits of RR.
fn explained(
    effect: &Effect,
    inside: &crate::causes::sets::BladeGroup,
    trend: bool,
) -> (Option<f64>, [Option<f64>; 2]) {
    if trend {
        return (None, [None; 2]);
    }
    let y = inside.with as f64;
    let of = |ratio: f64| if ratio > 1.0 { y * (1.0 - 1.0 / ratio) } else { 0.0 };
    // no reject outside: all of those inside
    let none_outside = effect.ratio.is_none() && effect.low.is_some();
    let value = if none_outside { Some(y) } else { effect.ratio.map(of) };
    (value, [effect.low.map(of), effect.high.map(of)])
}

/// Whether nearly all moulds poured between the first and the last of a set belong to it.
pub(crate) fn is_period(sides: &[Membership]) -> bool {
    let inside = |s: &Membership| *s == Membership::In;
    let (Some(first), Some(last)) = (sides.iter().position(inside), sides.iter().rposition(inside)) else {
        return false;
    };
    let count = sides[first..=last].iter().filter(|s| inside(s)).count();
    count > 1 && count < sides.len() && count as f64 >= PERIOD * (last - first + 1) as f64
}

/// Adds a sentence to a row's note.
pub(crate) fn add_note(cause: &mut Cause, sentence: &str) {
    cause.note = Some(match cause.note.take() {
        Some(note) => format!("{note} {sentence}"),
        None => sentence.to_string(),
    });
}
