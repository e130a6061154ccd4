//! The arms of a trial against each other.

use std::collections::{BTreeSet, HashMap, HashSet};

use serde::Serialize;

use crate::jobs::trials::response::{ByBlade, ResponseOf, response, seen};
use knowledge::causes::random::SEED;
use knowledge::causes::{Arm, ArmMould, ArmValues, Comparison, Figures, compare, compare_means};
use records::catalogue::{Key, Recorded, Trials};
use records::read::yield_queries::TrialMould;
use records::{Record, Result, Store, catalogue};

/// One arm, or one group.
#[derive(Serialize, Debug, Clone, Default)]
pub struct ArmSide {
    /// Its name: the arm, or the level of the factor.
    pub arm: String,
    /// Inspected (or measured) blades.
    pub blades: usize,
    pub moulds: usize,
    pub heats: usize,
    /// Of them with the response; null for a mean.
    pub with: Option<usize>,
    /// The share with the response, or the mean of the values.
    pub rate: Option<f64>,
    /// Standard deviation of the values; null for a share.
    pub sd: Option<f64>,
    /// Blades made; null where only inspected ones were read.
    pub made: Option<usize>,
    /// Made, and not inspected (or measured, or decided) yet.
    pub not_inspected: Option<usize>,
}

/// What belongs to both groups of a comparison, and so says nothing of how they differ.
#[derive(Serialize, Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct InBoth {
    pub blades: usize,
    /// Moulds of these blades.
    pub moulds: usize,
}

/// Two arms against each other.
#[derive(Serialize, Debug, Clone)]
pub struct ArmsCompared {
    #[serde(skip_serializing_if = "Option::is_none")]
    pub trial: Option<String>,
    pub response: String,
    /// `rate` (share of blades) or `mean` (of measured values): what the keys named rate hold.
    pub measure: &'static str,
    /// Unit of a mean.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub unit: Option<String>,
    /// Inspection method behind a rate.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub method: Option<String>,
    /// The first arm; of a trial the control.
    pub a: ArmSide,
    /// The second arm.
    pub b: ArmSide,
    /// Difference, ratio, intervals, p, verdict.
    #[serde(flatten)]
    pub figures: Figures,
    /// Blades that belong to both and are counted in neither.
    pub in_both: InBoth,
    /// What arms are compared within: `block` or `heat`.
    pub within: &'static str,
    pub seed: u64,
    /// Further arms, each against the control.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub others: Vec<ArmsCompared>,
    pub cautions: Vec<String>,
}

impl ArmsCompared {
    /// The figures of a comparison, with names and counts still to be filled in.
    pub fn new(found: &Comparison, response: &str, measure: &'static str, seed: u64) -> Self {
        let side = |arm: &Arm| ArmSide {
            blades: arm.group.blades,
            moulds: arm.group.moulds,
            heats: arm.group.heats,
            with: (measure == "rate").then_some(arm.group.with),
            rate: arm.rate,
            sd: arm.sd,
            ..ArmSide::default()
        };
        Self {
            trial: None,
            response: response.to_string(),
            measure,
            unit: None,
            method: None,
            a: side(&found.a),
            b: side(&found.b),
            figures: found.figures.clone(),
            in_both: InBoth::default(),
            within: "heat",
            seed,
            others: Vec::new(),
            cautions: found.notes.clone(),
        }
    }
}

/// One mould of a comparison, with the blades made in it.
pub struct Placed {
    /// Arm, or level.
    pub arm: String,
    /// What arms are dealt within.
    pub block: String,
    pub heat: i64,
    /// Its blades, all made.
    pub blades: Vec<i64>,
}

/// Two arms of placed moulds against each other. The door for any comparison of two groups of moulds.
pub fn two(
    moulds: &[Placed],
    a: &str,
    b: &str,
    seen: &ResponseOf,
    response: &str,
    seed: u64,
) -> ArmsCompared {
    // Codes by name, not by order of appearance: any order of rows gives the same deals.
    let blocks: BTreeSet<&str> =
        moulds.iter().filter(|m| m.arm == a || m.arm == b).map(|m| m.block.as_str()).collect();
    let codes: HashMap<&str, u32> = blocks.into_iter().zip(0..).collect();
    let mine: Vec<&Placed> = moulds.iter().filter(|m| m.arm == a || m.arm == b).collect();
    let found = match &seen.outcome {
        ByBlade::Counts(all) => {
            let list: Vec<ArmMould> = mine
                .iter()
                .map(|m| {
                    let known = m.blades.iter().filter_map(|blade| all.get(blade));
                    ArmMould {
                        blades: known.clone().count() as u32,
                        with: known.filter(|w| **w).count() as u32,
                        second: m.arm == b,
                        block: codes[m.block.as_str()],
                    }
                })
                .collect();
            compare(&list, seed)
        }
        ByBlade::Values(all) => {
            let list: Vec<ArmValues> = mine
                .iter()
                .map(|m| ArmValues {
                    values: m.blades.iter().filter_map(|blade| all.get(blade).copied()).collect(),
                    second: m.arm == b,
                    block: codes[m.block.as_str()],
                })
                .collect();
            compare_means(&list, seen.better, seed)
        }
    };
    let measure = if matches!(seen.outcome, ByBlade::Counts(_)) { "rate" } else { "mean" };
    let mut out = ArmsCompared::new(&found, response, measure, seed);
    out.method.clone_from(&seen.method);
    out.unit.clone_from(&seen.unit);
    for (name, side) in [(a, &mut out.a), (b, &mut out.b)] {
        let of_arm = || mine.iter().filter(|m| m.arm == name);
        side.arm = name.to_string();
        let made: usize = of_arm().map(|m| m.blades.len()).sum();
        side.made = Some(made);
        side.not_inspected = Some(made - side.blades);
        let heats: HashSet<i64> =
            of_arm().filter(|m| m.blades.iter().any(|b| seen.has(*b))).map(|m| m.heat).collect();
        side.heats = heats.len();
    }
    out
}

/// A trial as it is recorded, and its moulds.
pub struct Trial {
    pub key: Key<Trials>,
    pub tag: String,
    pub record: Recorded<Trials>,
    pub moulds: Vec<TrialMould>,
    /// Its arms, the control first.
    pub arms: Vec<String>,
    /// Why the first is taken as the control.
    pub control: String,
}

/// Reads a trial.
pub fn trial(store: &Store, tag: &str) -> Result<Trial> {
    let (key, tag) = store.key_of::<Trials>(tag)?;
    let record = store.row(key)?;
    let moulds = store.trial_moulds(key.id)?;
    let mut arms: Vec<String> = moulds.iter().map(|m| m.arm.clone()).collect();
    arms.sort();
    arms.dedup();
    let (arms, control) = control_first(store, record.need(Trials::factor)?, arms)?;
    Ok(Trial { key, tag, record, moulds, arms, control })
}

const CONTROL_WORDS: [&str; 7] = ["control", "now", "old", "present", "current", "standard", "reference"];

/// Puts the control first: an arm called so, else the one approved revision, else the first by name.
fn control_first(store: &Store, factor: &str, mut arms: Vec<String>) -> Result<(Vec<String>, String)> {
    let Some(first) = arms.first().cloned() else { return Ok((arms, "no arm is recorded".into())) };
    let named = arms.iter().position(|a| CONTROL_WORDS.contains(&a.to_lowercase().as_str()));
    if let Some(i) = named {
        arms[..=i].rotate_right(1);
        let why = format!("{} is taken as the control by its name", arms[0]);
        return Ok((arms, why));
    }
    if let Some(kind) = catalogue::kind(factor).filter(|k| k.revisioned) {
        let approved: Vec<Record> = store.all_of(kind)?.into_iter().filter(Record::approved).collect();
        let is = |arm: &str| approved.iter().any(|r| names(r, arm));
        let of: Vec<usize> = (0..arms.len()).filter(|&i| is(&arms[i])).collect();
        if let [i] = of[..] {
            arms[..=i].rotate_right(1);
            let why = format!("{} is taken as the control: it alone is approved", arms[0]);
            return Ok((arms, why));
        }
    }
    Ok((arms, format!("{first} is taken as the control: the first by name")))
}

/// Whether an arm's text names a definition: its tag, its revision, or both.
pub fn names(record: &Record, arm: &str) -> bool {
    record.address().eq_ignore_ascii_case(arm)
        || record.tag().is_some_and(|t| t.eq_ignore_ascii_case(arm))
        || record.revision().is_some_and(|r| !r.is_empty() && r.eq_ignore_ascii_case(arm))
}

/// The moulds of a trial that have been poured, each in its block, else its heat.
pub fn placed(store: &Store, trial: &Trial) -> Result<(Vec<Placed>, bool)> {
    let blocked = trial.moulds.iter().any(|m| m.block.is_some());
    let mut out = Vec::new();
    for m in &trial.moulds {
        let Some((heat, heat_tag)) = &m.heat else { continue };
        out.push(Placed {
            arm: m.arm.clone(),
            block: m.block.clone().unwrap_or_else(|| heat_tag.clone()),
            heat: *heat,
            blades: store.blades_of_mould(m.id)?,
        });
    }
    Ok((out, blocked))
}

/// The arms of a trial against each other: the first two, the control as a; further arms under `others`.
pub fn of_trial(store: &Store, tag: &str, seed: Option<u64>) -> Result<ArmsCompared> {
    store.snapshot(|| {
        let trial = trial(store, tag)?;
        compared(store, &trial, seed)
    })
}

/// The same for a trial that is read already.
pub fn compared(store: &Store, trial: &Trial, seed: Option<u64>) -> Result<ArmsCompared> {
    let asked = trial.record.need(Trials::response)?;
    let seen = seen(store, &response(store, asked)?)?;
    let recorded = trial.record.get(Trials::seed).and_then(|t| t.trim().parse().ok());
    let seed = seed.or(recorded).unwrap_or(SEED);
    let (moulds, blocked) = placed(store, trial)?;
    let blank = String::new();
    let name = |i: usize| trial.arms.get(i).unwrap_or(&blank);
    let mut out = two(&moulds, name(0), name(1), &seen, asked, seed);
    out.trial = Some(trial.tag.clone());
    out.within = if blocked { "block" } else { "heat" };
    for other in trial.arms.iter().skip(2) {
        let mut next = two(&moulds, name(0), other, &seen, asked, seed);
        next.within = out.within;
        out.others.push(next);
    }
    match trial.arms.len() {
        0 => out.cautions.push("No mould is recorded for this trial.".into()),
        1 => out
            .cautions
            .push(format!("All moulds are of arm {}: there is nothing to compare it with.", name(0))),
        2 => out.cautions.push(format!("{}.", trial.control)),
        n => several(&mut out, n - 1, &trial.control),
    }
    let not_poured = trial.moulds.iter().filter(|m| m.heat.is_none()).count();
    if not_poured > 0 {
        out.cautions.push(format!("{not_poured} moulds of the trial are not poured."));
    }
    let open = out.a.not_inspected.unwrap_or(0) + out.b.not_inspected.unwrap_or(0);
    if open > 0 {
        out.cautions.push(format!(
            "{open} blades are not inspected for this and are not counted; they can still change the answer."
        ));
    }
    out.cautions.extend(seen.notes);
    if recorded.is_none() {
        out.cautions.push(
            "No seed of a random assignment is recorded: a difference may be of how the arms were chosen. \
             Association, not cause."
                .into(),
        );
    }
    if out.figures.verdict == "cannot tell" {
        out.cautions.push("Cannot tell is not the same as no difference: see the interval.".into());
    }
    Ok(out)
}

/// With k comparisons against one control, each must pass 0.05/k (Bonferroni).
fn several(out: &mut ArmsCompared, comparisons: usize, control: &str) {
    let level = 0.05 / comparisons as f64;
    let luck = 1.0 - 0.95f64.powi(comparisons as i32);
    let strict = |c: &mut ArmsCompared| {
        if c.figures.verdict != "cannot tell" && c.figures.p.is_none_or(|p| p >= level) {
            c.figures.verdict = "cannot tell";
        }
    };
    strict(out);
    out.others.iter_mut().for_each(strict);
    out.cautions.push(format!(
        "{control}; {comparisons} arms are each held against it. By luck alone one of {comparisons} has p below \
         0.05 in about {:.0} of 100 trials, so each is called better only below {level:.3}.",
        100.0 * luck
    ));
}
