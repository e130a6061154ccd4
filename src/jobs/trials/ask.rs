//! Trials: how large, which mould gets which arm, how one stands.

use std::collections::BTreeMap;

use serde::Serialize;

pub use crate::jobs::trials::assign::assign;
pub use crate::jobs::trials::standing::show;

use crate::jobs::records::show::fields;
use crate::jobs::trials::compare;
use crate::jobs::trials::compare::ArmsCompared;
use crate::jobs::trials::compare::Trial;
use crate::jobs::trials::response;
use knowledge::stats::dist::normal_quantile;
use knowledge::stats::sample_size;
use knowledge::stats::sample_size::Aim;
use records::catalogue::{Recorded, TrialStatus, Trials};
use records::{Error, Result, Store, Value, Who};

/// More moulds an arm than this are not worth a trial (our convention, the same as for what to pour next).
pub const HOPELESS: u64 = 60;

#[derive(Serialize, Debug, Clone)]
pub struct Planned {
    pub blades_per_arm: u64,
    /// 1 + (m − 1)ρ.
    pub design_effect: f64,
    pub moulds_per_arm: u64,
    pub rate: f64,
    pub worth_having: f64,
    pub per_mould: f64,
    /// Correlation between blades of a mould.
    pub icc: f64,
    /// Two-sided significance level.
    pub alpha: f64,
    /// Chance of seeing the difference.
    pub power: f64,
    /// More moulds than a trial is worth.
    pub hopeless: bool,
    /// What would take fewer moulds.
    pub better_ways: Vec<String>,
}

/// One mould and its arm.
#[derive(Serialize, Debug, Clone)]
pub struct Dealt {
    pub mould: String,
    pub arm: String,
    pub block: Option<String>,
}

/// A random assignment, as written.
#[derive(Serialize, Debug, Clone)]
pub struct Assigned {
    pub trial: String,
    /// Seed, kept in the trial record.
    pub seed: u64,
    /// Which draw of the seed: the number of moulds that had an arm before.
    pub draw: u64,
    pub assigned: Vec<Dealt>,
    pub cautions: Vec<String>,
}

#[derive(Serialize, Debug, Clone, Default)]
pub struct ArmSoFar {
    pub arm: String,
    pub moulds: usize,
    pub poured: usize,
    /// Of them with a result on at least one blade.
    pub with_result: usize,
    pub made: usize,
    pub inspected: usize,
}

#[derive(Serialize, Debug, Clone)]
pub struct MouldShown {
    pub mould: String,
    pub arm: String,
    pub block: Option<String>,
    pub heat: Option<String>,
    pub poured_at: Option<String>,
    /// What its own records say of the factor.
    pub recorded: Vec<String>,
    /// Made to something that is not approved for production; null where nothing tells.
    pub development_only: Option<bool>,
    /// What that rests on.
    pub why: String,
    pub lots: Vec<String>,
    #[serde(rename = "where")]
    pub places: BTreeMap<&'static str, u64>,
}

/// A look at the result before the planned size.
#[derive(Serialize, Debug, Clone)]
pub struct TrialLook {
    pub at: String,
    pub person: Option<String>,
    /// With what behind it.
    pub with: String,
}

#[derive(Serialize, Debug, Clone)]
pub struct TrialShown {
    #[serde(flatten, serialize_with = "own_fields")]
    pub record: Recorded<Trials>,
    /// Arms, the control first.
    pub arms: Vec<ArmSoFar>,
    /// Which arm is the control, and why.
    pub control: String,
    pub moulds_so_far: usize,
    /// Moulds an arm that the difference worth having needs, at the control's rate and the clustering so far; two-sided
    /// 5 %, power 80 %.
    pub needed_for_worth: Option<u64>,
    /// Blocks, or heats where there are none.
    pub blocks: usize,
    /// In how many blocks each arm was poured first.
    pub poured_first: BTreeMap<String, usize>,
    /// Open, and below its planned size.
    pub interim: bool,
    /// Looks before the planned size.
    pub looks: Vec<TrialLook>,
    /// Deviations and concessions that name this trial.
    pub permissions: Vec<String>,
    pub moulds: Vec<MouldShown>,
    /// What was not done as assigned or planned.
    pub deviations: Vec<String>,
    /// The result; none before the planned size unless a look was asked for.
    pub result: Option<ArmsCompared>,
    pub cautions: Vec<String>,
}

/// The fields of the trial itself, without those that every kind has.
fn own_fields<S: serde::Serializer>(trial: &Recorded<Trials>, to: S) -> std::result::Result<S::Ok, S::Error> {
    let mut map = fields(trial);
    map.retain(|name, _| Trials::KIND.fields.iter().any(|f| f.name == name));
    // A mark is no value, and `<0.03` no number.
    for (field, value) in Trials::KIND.fields.iter().zip(&trial.values) {
        if matches!(value, Value::NotApplicable | Value::Illegible | Value::Below(_)) {
            map.insert(field.name.into(), serde_json::Value::Null);
        }
    }
    map.serialize(to)
}

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
    let Ok(response) = response::response(store, trial.record.need(Trials::response)?) else {
        return Ok(None);
    };
    let seen = response::seen(store, &response)?;
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
