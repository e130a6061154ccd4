//! What is left once the leading cause is allowed for: its aliases vanish, a second cause stays.

use crate::causes::aliases::inseparable;
use crate::causes::aliases::title;
use crate::causes::factors::FactorKind;
use crate::causes::history::History;
use crate::causes::judge::Extent;
use crate::causes::judge::Judged;
use crate::causes::judge::Settings;
use crate::causes::judge::judge;
use crate::causes::ranking::Cause;
use crate::causes::ranking::FactorLevel;
use crate::causes::ranking::SHOWN;
use crate::causes::rows::add_note;
use crate::causes::rows::counted;
use crate::causes::rows::effect;
use crate::causes::rows::round;
use crate::causes::scan::NamedSet;
use crate::causes::sets::Membership;
use crate::causes::sets::short;
use crate::causes::sets::sides;
use crate::causes::sets::text;

/// Causes that are fitted one after another.
const ROUNDS: usize = 3;

/// A contrast of at least so many standard errors stands by itself (one-sided 5 %).
const STANDS: f64 = 1.645;

/// A contrast of which less than this part is left is gone, if it no longer stands.
const LEFT: f64 = 0.5;

/// A part of a four-fold table that rests on fewer moulds, or heats, than this shows nothing.
const FEWEST: usize = 2;

/// Two rows, by their places, that these records leave together.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Apart {
    pub one: usize,
    pub other: usize,
}

/// What the passes over the shown rows found.
#[derive(Default)]
pub(crate) struct Told {
    /// Expected counts with the leading cause fitted.
    pub expected: Option<Vec<f64>>,
    pub apart: Vec<Apart>,
}

/// A row whose contrast goes once another is allowed for.
struct Explaining {
    gone: usize,
    by: usize,
    change: String,
}

/// What becomes of a contrast once another factor is allowed for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Fate {
    /// It no longer stands, and less than half of it is left.
    Gone,
    /// It stands.
    Stands,
    /// It is there, but too few data show it beside the other.
    Unclear,
}

/// Fits the leading cause where it is shown and does not vary inside moulds, scores everything again,
/// and says on each row what became of it; then the next, at most three times. Of each shown row the
/// contrast is compared before and after, in both directions: only what goes itself while the other stays
/// is called explained, by one that is shown and that no other explains.
pub(crate) fn rescan(history: &History, judged: &Judged, causes: &mut [Cause], settings: Settings) -> Told {
    let place_of = |f: usize| judged.order.iter().position(|&o| o == f);
    let mut told = Told::default();
    let Some(&top) = judged.order.first() else { return told };
    if judged.q[top] >= SHOWN || !fits(history, judged, top, &causes[0]) {
        return told;
    }
    let mut before = history.expected.clone();
    let Some(mut expected) = fit(history, judged, top, &before) else { return told };
    told.expected = Some(expected.clone());
    let mut explaining: Vec<Explaining> = Vec::new();
    let mut fitted = vec![top];
    let mut open: Vec<usize> =
        judged.order.iter().copied().filter(|&f| f != top && judged.q[f] < SHOWN).collect();
    for _ in 0..ROUNDS {
        let Some(&last) = fitted.last() else { break };
        let Some(last_place) = place_of(last) else { break };
        let names: Vec<&str> = fitted.iter().map(|&f| history.factors[f].name.as_str()).collect();
        let name = names.join(" and ");
        let again = judge(history, &expected, settings, Extent::Shown);
        open.retain(|&f| {
            let Some(place) = place_of(f) else { return true };
            // what the records hold for one is said with the aliases, of the leading one
            if inseparable(history, judged, f, last) {
                if last != top {
                    same(causes, place, last_place);
                    told.apart.push(Apart { one: last_place, other: place });
                }
                return false;
            }
            let seen = Beside { history, judged, before: &before };
            let pair = Pair { place, fitted: last_place, verdict: seen.of(f, last, &expected) };
            say(
                causes,
                pair,
                again.q[f] < SHOWN,
                || thin(history, judged, f, last),
                &mut told.apart,
                &mut explaining,
            )
        });
        if again.q[last] < SHOWN {
            let level = again.scores[last].as_ref().and_then(|s| text(&history.factors[last], s.what));
            if let Some(level) = level.filter(|level| causes[last_place].level.as_ref() != Some(level)) {
                add_note(&mut causes[last_place], &format!("{level} stands out as well."));
            }
        }
        let explained = |f: usize| explaining.iter().any(|e| place_of(f) == Some(e.gone));
        let next = again
            .order
            .iter()
            .copied()
            .find(|f| again.q[*f] < SHOWN && !fitted.contains(f) && !explained(*f));
        let Some(next) = next else { break };
        let Some(place) = place_of(next) else { break };
        if judged.q[next] < SHOWN {
            add_note(
                &mut causes[place],
                &format!("Possible further cause: it stays once {name} is allowed for."),
            );
        } else {
            add_note(
                &mut causes[place],
                &format!("Comes up only once {name} is allowed for; not shown by itself."),
            );
        }
        open.retain(|&f| f != next);
        if !fits(history, &again, next, &causes[place]) {
            break;
        }
        let Some(more) = fit(history, &again, next, &expected) else { break };
        before = std::mem::replace(&mut expected, more);
        fitted.push(next);
    }
    explain(history, judged, causes, &explaining, &mut told.apart);
    told
}

/// Says that these records hold two rows for one.
fn same(causes: &mut [Cause], place: usize, fitted: usize) {
    for (one, other) in [(place, fitted), (fitted, place)] {
        let named = causes[other].named();
        add_note(&mut causes[one], &format!("Cannot be separated from {} by these records.", title(&named)));
        causes[one].inseparable_from.push(named);
    }
}

/// Why a four-fold table of moulds cannot show two sets beside each other: a part of it that is there rests on one
/// mould or heat, or no level of the one holds both sides of the other. None where it can, and for trends.
fn thin(history: &History, judged: &Judged, f: usize, g: usize) -> Option<String> {
    let of = |f: usize| {
        let what = judged.scores[f].as_ref().map_or(NamedSet::Nothing, |s| s.what);
        (!matches!(what, NamedSet::Trend { .. })).then(|| sides(history, &history.factors[f], what))
    };
    let (one, other) = (of(f)?, of(g)?);
    let (mut moulds, mut heats, mut last) = ([0usize; 4], [0usize; 4], [u32::MAX; 4]);
    for m in 0..history.moulds() {
        let part = match (one[m], other[m]) {
            (Membership::Unknown, _) | (_, Membership::Unknown) => continue,
            (a, b) => usize::from(a == Membership::Out) * 2 + usize::from(b == Membership::Out),
        };
        moulds[part] += 1;
        heats[part] += usize::from(last[part] != history.heat_of[m]);
        last[part] = history.heat_of[m];
    }
    let name = |f: usize| {
        let level = judged.scores[f].as_ref().and_then(|s| text(&history.factors[f], s.what));
        title(&FactorLevel { factor: history.factors[f].name.clone(), level })
    };
    let words = [("with", "and"), ("with", "without"), ("without", "but with"), ("without", "and without")];
    for part in 0..4 {
        if moulds[part] > 0 && (moulds[part] < FEWEST || heats[part] < FEWEST) {
            let (of_one, of_other) = words[part];
            let (moulds, heats) = (counted(moulds[part], "mould"), counted(heats[part], "heat"));
            return Some(format!("{moulds} of {heats} {of_one} {} {of_other} {}", name(f), name(g)));
        }
    }
    let [both, only, other_only, neither] = moulds.map(|n| n > 0);
    let alone = (both && other_only || only && neither) && (both && only || other_only && neither);
    (!alone).then(|| "no mould has the one at both sides of the other".to_string())
}

/// A shown row beside a fitted one.
struct Pair {
    place: usize,
    fitted: usize,
    verdict: Contrasts,
}

/// Two contrasts, each before and after the other is allowed for.
struct Contrasts {
    /// The other factor's, once the fitted one is allowed for.
    other: Option<Change>,
    /// The fitted one's, once the other is.
    fitted: Option<Change>,
}

#[derive(Clone, Copy)]
struct Change {
    before: f64,
    after: f64,
    fate: Fate,
}

struct Beside<'a> {
    history: &'a History,
    judged: &'a Judged,
    /// Expected counts without either.
    before: &'a [f64],
}

impl Beside<'_> {
    /// Factor f beside a fitted one; `with_fitted` are the expected counts with that one.
    fn of(&self, f: usize, fitted: usize, with_fitted: &[f64]) -> Contrasts {
        let other = self.change(f, with_fitted);
        let with_other = fit(self.history, self.judged, f, self.before);
        let fitted = with_other.and_then(|expected| self.change(fitted, &expected));
        Contrasts { other, fitted }
    }

    fn change(&self, f: usize, expected: &[f64]) -> Option<Change> {
        let (before, _) = contrast(self.history, self.judged, f, self.before)?;
        let Some((after, se)) = contrast(self.history, self.judged, f, expected) else {
            return Some(Change { before, after: f64::NAN, fate: Fate::Unclear });
        };
        // in the direction that it had
        let left = after * before.signum();
        let fate = if left >= STANDS * se {
            Fate::Stands
        } else if left < LEFT * before.abs() {
            Fate::Gone
        } else {
            Fate::Unclear
        };
        Some(Change { before, after, fate })
    }
}

/// The log rate ratio of what a factor names, with its standard error.
fn contrast(history: &History, judged: &Judged, f: usize, expected: &[f64]) -> Option<(f64, f64)> {
    let factor = &history.factors[f];
    let what = judged.scores[f].as_ref()?.what;
    let sides = sides(history, factor, what);
    effect(history, factor, what, &sides, expected)?.0.contrast
}

/// Says on both rows how they stand to each other; whether the other one stays open.
fn say(
    causes: &mut [Cause],
    Pair { place, fitted, verdict }: Pair,
    shown_after: bool,
    thin: impl Fn() -> Option<String>,
    apart: &mut Vec<Apart>,
    explaining: &mut Vec<Explaining>,
) -> bool {
    let names = [causes[place].factor.clone(), causes[fitted].factor.clone()];
    let change = verdict.other.map_or(String::new(), ratios);
    let fates = (verdict.other.map(|c| c.fate), verdict.fitted.map(|c| c.fate));
    if matches!(fates, (Some(Fate::Gone), Some(Fate::Stands)) | (Some(Fate::Stands), Some(Fate::Gone))) {
        if let Some(why) = thin() {
            for (one, other) in [(place, &names[1]), (fitted, &names[0])] {
                add_note(&mut causes[one], &format!("Too few moulds to show both it and {other}: {why}."));
            }
            apart.push(Apart { one: fitted, other: place });
            return true;
        }
    }
    match fates {
        (Some(Fate::Gone), Some(Fate::Stands)) if causes[fitted].flagged => {
            explaining.push(Explaining { gone: place, by: fitted, change });
            return false;
        }
        // what is not shown explains nothing that is
        (Some(Fate::Gone), Some(Fate::Stands)) => add_note(
            &mut causes[place],
            &format!("Little of it is left beside {} ({change}), which is not shown by itself.", names[1]),
        ),
        (Some(Fate::Stands), Some(Fate::Gone)) if causes[fitted].flagged => {
            let change = verdict.fitted.map_or(String::new(), ratios);
            explaining.push(Explaining { gone: fitted, by: place, change });
        }
        (Some(Fate::Gone), Some(Fate::Gone)) => {
            cannot_be_told(causes, place, fitted);
            apart.push(Apart { one: fitted, other: place });
            return false;
        }
        (Some(Fate::Stands), _) if shown_after => {}
        (Some(Fate::Stands), _) => add_note(
            &mut causes[place],
            &format!("Stands beside {} ({change} that is allowed for).", names[1]),
        ),
        (None, _) => {}
        _ => {
            add_note(
                &mut causes[place],
                &format!("Too few data to show it beside {} ({change} that is allowed for).", names[1]),
            );
            apart.push(Apart { one: fitted, other: place });
        }
    }
    true
}

fn cannot_be_told(causes: &mut [Cause], place: usize, fitted: usize) {
    for (one, other) in [(place, fitted), (fitted, place)] {
        let named = causes[other].named();
        let sentence =
            format!("Cannot be told from {}: each goes once the other is allowed for.", named.factor);
        add_note(&mut causes[one], &sentence);
        causes[one].inseparable_from.push(named);
    }
}

/// Says which rows are explained. One that is explained itself explains nothing: the one at the end of such a chain
/// does where it was looked at by itself, and else nothing is said to.
fn explain(
    history: &History,
    judged: &Judged,
    causes: &mut [Cause],
    explaining: &[Explaining],
    apart: &mut Vec<Apart>,
) {
    let by_of = |place: usize| explaining.iter().find(|e| e.gone == place).map(|e| e.by);
    for (i, one) in explaining.iter().enumerate() {
        // of two that are said to explain a row the first counts
        if explaining[..i].iter().any(|e| e.gone == one.gone) {
            continue;
        }
        let mut root = one.by;
        for _ in 0..explaining.len() {
            root = by_of(root).unwrap_or(root);
        }
        if by_of(root).is_some() {
            // they explain each other in a ring
            if !causes[one.gone].inseparable_from.contains(&causes[one.by].named()) {
                cannot_be_told(causes, one.gone, one.by);
                apart.push(Apart { one: one.gone.min(one.by), other: one.gone.max(one.by) });
            }
            continue;
        }
        let change = if root == one.by {
            Some(one.change.clone())
        } else {
            alone(history, judged, judged.order[one.gone], judged.order[root])
        };
        let by = causes[root].factor.clone();
        match change {
            Some(change) => {
                let sentence = format!(
                    "Explained by {by}: its contrast goes once that is allowed for ({change}), and that of {by} stays \
                     once this is."
                );
                add_note(&mut causes[one.gone], &sentence);
                causes[one.gone].explained_by = Some(by);
            }
            None => {
                let between = causes[one.by].factor.clone();
                let sentence = format!(
                    "Little of it is left beside {between} ({}), which {by} explains itself; too few data to show it \
                     beside {by}.",
                    one.change
                );
                add_note(&mut causes[one.gone], &sentence);
                apart.push(Apart { one: root.min(one.gone), other: root.max(one.gone) });
            }
        }
    }
}

/// How the contrast of a factor changes where another alone explains it; none where it doesn't.
fn alone(history: &History, judged: &Judged, gone: usize, by: usize) -> Option<String> {
    let expected = fit(history, judged, by, &history.expected)?;
    let found = Beside { history, judged, before: &history.expected }.of(gone, by, &expected);
    let (other, fitted) = (found.other?, found.fitted?);
    let explains = other.fate == Fate::Gone && fitted.fate == Fate::Stands;
    (explains && thin(history, judged, gone, by).is_none()).then(|| ratios(other))
}

/// The ratios of a contrast, told from its riskier side.
fn ratios(change: Change) -> String {
    let of = |log: f64| match log * change.before.signum() {
        log if log.is_finite() => short(round(log.exp())),
        _ => "not to be told".into(),
    };
    format!("ratio {} before, {} after", of(change.before), of(change.after))
}

/// Whether a factor can be fitted: it does not vary inside moulds and names something.
fn fits(history: &History, judged: &Judged, f: usize, cause: &Cause) -> bool {
    let named = cause.level.is_some() || cause.kind == "trend";
    history.factors[f].kind != FactorKind::Cell && named && judged.scores[f].is_some()
}

pub(crate) fn fit(history: &History, judged: &Judged, f: usize, expected: &[f64]) -> Option<Vec<f64>> {
    let factor = &history.factors[f];
    let what = judged.scores[f].as_ref()?.what;
    let sides = sides(history, factor, what);
    Some(effect(history, factor, what, &sides, expected)?.1?.expected)
}
