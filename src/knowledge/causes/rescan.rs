//! What is left once the leading cause is allowed for: its aliases vanish, a second cause stays.

use crate::causes::aliases::inseparable;
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
use crate::causes::rows::effect;
use crate::causes::rows::round;
use crate::causes::sets::short;
use crate::causes::sets::sides;
use crate::causes::sets::text;

/// The word for a row that another one explains.
const EXPLAINED: &str = "explained";

/// Causes that are fitted one after another.
const ROUNDS: usize = 3;

/// A contrast of at least so many standard errors stands by itself (one-sided 5 %).
const STANDS: f64 = 1.645;

/// A contrast of which less than this part is left is gone, if it no longer stands.
const LEFT: f64 = 0.5;

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
/// is called explained. Gives the expected counts with the leading cause fitted.
pub(crate) fn rescan(
    history: &History,
    judged: &Judged,
    causes: &mut [Cause],
    settings: Settings,
) -> Option<Vec<f64>> {
    let place_of = |f: usize| judged.order.iter().position(|&o| o == f);
    let top = *judged.order.first()?;
    if judged.q[top] >= SHOWN || !fits(history, judged, top, &causes[0]) {
        return None;
    }
    let mut before = history.expected.clone();
    let mut expected = fit(history, judged, top, &before)?;
    let first = expected.clone();
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
            // what the records hold for one is said with the aliases
            if inseparable(history, judged, f, last) {
                return false;
            }
            let seen = Beside { history, judged, before: &before };
            let verdict = seen.of(f, last, &expected);
            say(causes, place, last_place, verdict, again.q[f] < SHOWN)
        });
        if again.q[last] < SHOWN {
            let level = again.scores[last].as_ref().and_then(|s| text(&history.factors[last], s.what));
            if let Some(level) = level.filter(|level| causes[last_place].level.as_ref() != Some(level)) {
                add_note(&mut causes[last_place], &format!("{level} stands out as well."));
            }
        }
        let explained = |f: usize| place_of(f).is_some_and(|place| causes[place].explained_by.is_some());
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
    Some(first)
}

/// Two contrasts, each before and after the other is allowed for.
struct Verdict {
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
    fn of(&self, f: usize, fitted: usize, with_fitted: &[f64]) -> Verdict {
        let other = self.change(f, with_fitted);
        let with_other = fit(self.history, self.judged, f, self.before);
        let fitted = with_other.and_then(|expected| self.change(fitted, &expected));
        Verdict { other, fitted }
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
fn say(causes: &mut [Cause], place: usize, fitted: usize, verdict: Verdict, shown_after: bool) -> bool {
    let fitted_name = causes[fitted].factor.clone();
    let change = verdict.other.map_or(String::new(), ratios);
    match (verdict.other.map(|c| c.fate), verdict.fitted.map(|c| c.fate)) {
        (Some(Fate::Gone), Some(Fate::Stands)) => {
            explain(causes, place, fitted, &change);
            return false;
        }
        (Some(Fate::Stands), Some(Fate::Gone)) => {
            explain(causes, fitted, place, &verdict.fitted.map_or(String::new(), ratios));
        }
        (Some(Fate::Gone), Some(Fate::Gone)) => {
            for (one, other) in [(place, fitted), (fitted, place)] {
                let named =
                    FactorLevel { factor: causes[other].factor.clone(), level: causes[other].level.clone() };
                let sentence =
                    format!("Cannot be told from {}: each goes once the other is allowed for.", named.factor);
                add_note(&mut causes[one], &sentence);
                causes[one].inseparable_from.push(named);
            }
            return false;
        }
        (Some(Fate::Stands), _) if shown_after => {}
        (Some(Fate::Stands), _) => add_note(
            &mut causes[place],
            &format!("Stands beside {fitted_name} ({change} that is allowed for)."),
        ),
        (None, _) => {}
        _ => add_note(
            &mut causes[place],
            &format!("Too few data to show it beside {fitted_name} ({change} that is allowed for)."),
        ),
    }
    true
}

/// One row's contrast goes once another is allowed for, and that other's stays.
fn explain(causes: &mut [Cause], gone: usize, by: usize, change: &str) {
    let by = causes[by].factor.clone();
    let sentence = format!(
        "Explained by {by}: its contrast goes once that is allowed for ({change}), and that of {by} stays once \
         this is."
    );
    add_note(&mut causes[gone], &sentence);
    causes[gone].explained_by = Some(by);
    causes[gone].wording = EXPLAINED;
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

fn fit(history: &History, judged: &Judged, f: usize, expected: &[f64]) -> Option<Vec<f64>> {
    let factor = &history.factors[f];
    let what = judged.scores[f].as_ref()?.what;
    let sides = sides(history, factor, what);
    Some(effect(history, factor, what, &sides, expected)?.1?.expected)
}
