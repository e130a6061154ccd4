//! Trials: how large, which mould gets which arm, how one stands.

pub use crate::jobs::trials::assign::assign;
pub use crate::jobs::trials::standing::show;

use crate::jobs::trials::compare;
use crate::jobs::trials::compare::Trial;
use crate::jobs::trials::show::Planned;
use crate::jobs::trials::show_compare::HOPELESS;
use knowledge::stats::dist::normal_quantile;
use knowledge::stats::sample_size;
use knowledge::stats::sample_size::Aim;
use records::catalogue::{TrialStatus, Trials};
use records::{Error, Result, Store, Who};

/// The size of a trial of two shares, and what would take fewer moulds.
pub fn plan(aim: Aim, per_mould: f64, icc: f64) -> Result<Planned> {
    let found = sample_size::trial(aim, per_mould, icc).map_err(Error::input)?;
    let hopeless = found.moulds_per_arm > HOPELESS;
    let mut better_ways = Vec::new();
    let quantiles = normal_quantile(1.0 - 0.5 * aim.alpha).zip(normal_quantile(aim.power));
    if let Some((alpha, power)) = quantiles {
        // two means half a standard deviation apart: 2 (z + z)²/0.5² blades an arm
        let blades = 2.0 * (alpha + power).powi(2) / 0.25 * found.design_effect;
        let moulds = (blades / per_mould).ceil().max(3.0) as u64;
        if moulds < found.moulds_per_arm {
            better_ways.push(format!(
                "a measured response (mm, a grade, ppm) that moves by half its standard deviation: about {moulds} moulds an arm"
            ));
        }
    }
    let ratio = aim.worth_having / aim.rate;
    for rate in [0.15, 0.30] {
        let other = Aim { rate, worth_having: rate * ratio, ..aim };
        if rate <= aim.rate || !(0.0..1.0).contains(&other.worth_having) {
            continue;
        }
        if let Ok(size) = sample_size::trial(other, per_mould, icc) {
            if size.moulds_per_arm < found.moulds_per_arm {
                better_ways.push(format!(
                    "a fault of the same cause with a higher rate: from {:.0} % to {:.1} % takes {} moulds an arm",
                    100.0 * rate,
                    100.0 * other.worth_having,
                    size.moulds_per_arm
                ));
            }
        }
    }
    if icc > 0.0 {
        better_ways.push(
            "both arms side by side in each heat, in alternate order: what differs from heat to heat then cancels, and \
             --icc is only the correlation inside moulds of one heat"
                .into(),
        );
    }
    Ok(Planned {
        blades_per_arm: found.blades_per_arm,
        design_effect: found.design_effect,
        moulds_per_arm: found.moulds_per_arm,
        rate: aim.rate,
        worth_having: aim.worth_having,
        per_mould,
        icc,
        alpha: aim.alpha,
        power: aim.power,
        hopeless,
        better_ways,
    })
}

/// Whether a result of the trial is one before its time, and then with what behind it.
pub fn interim(store: &Store, tag: &str) -> Result<Option<(String, String)>> {
    let trial = compare::trial(store, tag)?;
    let Ok(response) = compare::response(store, trial.record.need(Trials::response)?) else {
        return Ok(None);
    };
    let seen = compare::seen(store, &response)?;
    let mut moulds = 0;
    for m in trial.moulds.iter().filter(|m| m.heat.is_some()) {
        moulds += usize::from(store.blades_of_mould(m.id)?.iter().any(|b| seen.has(*b)));
    }
    Ok(early(&trial, moulds).map(|with| (trial.tag, with)))
}

pub(crate) fn early(trial: &Trial, moulds: usize) -> Option<String> {
    let planned = trial.record.get(Trials::planned_moulds)?;
    let open = trial.record.get(Trials::status) == Some(TrialStatus::Open);
    (open && (moulds as i64) < planned && moulds > 0)
        .then(|| format!("a result was looked at with {moulds} of {planned} planned moulds"))
}

/// Journals a look at a result before its time, where it is one. Gives the sentence that must stand beside it.
pub fn look(store: &mut Store, who: &Who, tag: &str) -> Result<Option<String>> {
    let Some((tag, with)) = interim(store, tag)? else { return Ok(None) };
    if store.read_only() {
        return Ok(Some(format!(
            "An interim look ({with}); the store is read-only, so it is not journalled."
        )));
    }
    match store.note_look(who, &tag, &with) {
        Ok(_) => {}
        // A full disk does not hide a result; that the look left no trace is said.
        Err(e) if e.is_untrusted() => {
            return Ok(Some(format!("An interim look ({with}); it could not be journalled: {e}.")));
        }
        Err(e) => return Err(e),
    }
    let n = store.looks(&tag)?.len();
    let rule = if n > 1 { " At most one is allowed: the error of the verdict is no longer 5 %." } else { "" };
    Ok(Some(format!(
        "Interim look {n} ({with}); it is journalled.{rule} At an early look only p below 0.005 speaks for stopping \
         (O'Brien and Fleming 1979, two looks)."
    )))
}
