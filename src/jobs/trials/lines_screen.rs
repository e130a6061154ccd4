//! Lines to type about trials, on the desk of lots and trials: how large one must be, which mould has which arm.

use crate::jobs::lots::screen::Paper;
use crate::jobs::trials::ask;
use crate::ui::kit::*;
use knowledge::stats::sample_size::Aim;

/// How a trial stands.
pub fn read(tag: String) -> Effect {
    Effect::ask(
        Read::new(tag, |store, tag| Ok(Paper(tag.clone(), ask::show(store, tag, false)?.text()))).slow(),
    )
}

/// The title of the page of a size.
pub const SIZE: &str = "the size of a trial";

/// How many moulds a trial needs.
pub fn size() -> Effect {
    let question = "Rate now, rate worth having, blades a mould, correlation in a mould";
    let hint = "Such as 0.06 0.03 8 0.05 (power 80 %, two-sided 5 %)";
    Effect::open(Prompt::new("Size of a trial", question, hint, |text, _| {
        let about = aim(&text)?;
        Ok(vec![Effect::read(about, |_, (aim, per_mould, icc)| {
            Ok(Paper(SIZE.into(), ask::plan(*aim, *per_mould, *icc)?.text()))
        })])
    }))
}

/// Four numbers of a planned trial: what it is for, blades a mould, correlation in a mould.
fn aim(text: &str) -> Result<(Aim, f64, f64), String> {
    let numbers: Vec<f64> = text
        .split(|c: char| c.is_whitespace() || c == ';')
        .filter(|w| !w.is_empty())
        .map(|w| w.parse::<f64>().map_err(|_| format!("{w} is no number; such as 0.06 0.03 8 0.05")))
        .collect::<Result<_, _>>()?;
    match numbers.as_slice() {
        [rate, worth_having, per_mould, icc] => {
            let aim = Aim { rate: *rate, worth_having: *worth_having, alpha: 0.05, power: 0.8 };
            Ok((aim, *per_mould, *icc))
        }
        other => Err(format!("{} numbers; four are needed, such as 0.06 0.03 8 0.05", other.len())),
    }
}

/// Gives moulds their arms: words with a comma are arms, the others moulds.
pub fn assign(trial: String) -> Effect {
    let (title, question) =
        (format!("Arms of {trial}"), format!("Moulds of {trial}, before they are poured"));
    let hint = "MOULD or MOULD=BLOCK, one after the other; arms first where there are none yet: B,C";
    let line = Prompt::new(title, question, hint, move |text, now| {
        Ok(vec![Effect::write(now, (trial.clone(), text), |store, who, (trial, text)| {
            let (arms, moulds): (Vec<&str>, Vec<&str>) =
                text.split_whitespace().partition(|word| word.contains(','));
            let arms = arms.iter().flat_map(|word| word.split(',')).filter(|a| !a.is_empty());
            let (arms, moulds): (Vec<String>, Vec<String>) =
                (arms.map(String::from).collect(), moulds.into_iter().map(String::from).collect());
            // A seed that nobody chose: the moment at which it was asked for.
            let fresh = who.now.ms().unsigned_abs();
            let dealt = ask::assign(store, who, trial, &arms, &moulds, None, fresh)?;
            Ok(Paper(trial.clone(), dealt.text()))
        })])
    });
    Effect::open(line.of_tags().saves())
}
