//! What is left once the leading cause is allowed for: its aliases vanish, a second cause stays.

use crate::causes::factors::FactorKind;
use crate::causes::history::History;
use crate::causes::judge::Judged;
use crate::causes::judge::Settings;
use crate::causes::judge::judge;
use crate::causes::ranking::Cause;
use crate::causes::ranking::SHOWN;
use crate::causes::rows::add_note;
use crate::causes::rows::effect;
use crate::causes::sets::sides;
use crate::causes::sets::text;

/// Causes that are fitted one after another.
const ROUNDS: usize = 3;

/// Fits the leading cause where it is shown and does not vary inside moulds, scores everything again,
/// and says on each row what became of it; then the next, at most three times. Gives the expected
/// counts with the leading cause fitted.
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
    let mut expected = fit(history, judged, top, &history.expected)?;
    let first = expected.clone();
    let mut fitted = vec![top];
    let mut open: Vec<usize> =
        judged.order.iter().copied().filter(|&f| f != top && judged.q[f] < SHOWN).collect();
    for _ in 0..ROUNDS {
        let Some(&last) = fitted.last() else { break };
        let names: Vec<&str> = fitted.iter().map(|&f| history.factors[f].name.as_str()).collect();
        let name = names.join(" and ");
        let last_name = history.factors[last].name.clone();
        let again = judge(history, &expected, settings);
        open.retain(|&f| {
            let gone = again.q[f] >= SHOWN;
            if let Some(place) = place_of(f).filter(|_| gone) {
                causes[place].explained_by = Some(last_name.clone());
                let sentence = format!(
                    "Explained by {last_name} or its alias: nothing is shown of it once that is allowed for."
                );
                add_note(&mut causes[place], &sentence);
            }
            !gone
        });
        if again.q[last] < SHOWN {
            let level = again.scores[last].as_ref().and_then(|s| text(&history.factors[last], s.what));
            if let (Some(place), Some(level)) = (place_of(last), level) {
                if causes[place].level.as_ref() != Some(&level) {
                    add_note(&mut causes[place], &format!("{level} stands out as well."));
                }
            }
        }
        let next = again.order.iter().copied().find(|f| again.q[*f] < SHOWN && !fitted.contains(f));
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
        expected = more;
        fitted.push(next);
    }
    Some(first)
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
