//! How a trial stands: size so far, what its moulds' records say, deviations, result.

use std::collections::{BTreeMap, HashMap, HashSet};

use crate::jobs::trials::ask::{ArmSoFar, HOPELESS, MouldShown, TrialLook, TrialShown, early};
use crate::jobs::trials::compare;
use crate::jobs::trials::compare::ArmsCompared;
use crate::jobs::trials::compare::Trial;
use crate::jobs::trials::levels::{Approvals, FactorLevel, levels};
use crate::jobs::trials::response;
use knowledge::stats::sample_size;
use knowledge::stats::sample_size::Aim;
use records::catalogue::{Key, TrialMoulds, Trials};
use records::read::yield_queries::TrialMould;
use records::write::journal::Entry;
use records::{Result, Store};

/// How a trial stands. `look` shows the result of an open trial below its planned size; the caller journals that.
pub fn show(store: &Store, tag: &str, look: bool) -> Result<TrialShown> {
    store.snapshot(|| {
        let trial = compare::trial(store, tag)?;
        // A response in words of its own keeps nobody from seeing how the trial stands.
        let mut cautions = Vec::new();
        let asked = match response::response(store, trial.record.need(Trials::response)?) {
            Ok(response) => Some(response::seen(store, &response)?),
            Err(why) if why.is_input() => {
                cautions.push(format!("No result: {why}."));
                None
            }
            Err(e) => return Err(e),
        };
        let mut arms: Vec<ArmSoFar> =
            trial.arms.iter().map(|a| ArmSoFar { arm: a.clone(), ..ArmSoFar::default() }).collect();
        for m in &trial.moulds {
            let Some(arm) = arms.iter_mut().find(|a| a.arm == m.arm) else { continue };
            arm.moulds += 1;
            if m.heat.is_some() {
                let blades = store.blades_of_mould(m.id)?;
                let inspected =
                    asked.as_ref().map_or(0, |seen| blades.iter().filter(|b| seen.has(**b)).count());
                arm.poured += 1;
                arm.made += blades.len();
                arm.inspected += inspected;
                arm.with_result += usize::from(inspected > 0);
            }
        }
        let moulds_so_far = arms.iter().map(|a| a.with_result).sum();
        let interim = early(&trial, moulds_so_far).is_some();
        let result = match asked {
            Some(_) => Some(compare::compared(store, &trial, None)?),
            None => None,
        };
        let mut deviations = Vec::new();
        let moulds = moulds_of(store, &trial, &mut deviations, &mut cautions)?;
        let (blocks, poured_first) = order(&trial, &mut deviations);
        changes(store, &trial, &mut deviations)?;
        let permissions: Vec<String> = store
            .permissions_naming(&trial.tag)?
            .into_iter()
            .map(|(tag, ty, limits)| format!("{ty} {tag}: {limits}"))
            .collect();
        let open_ended = moulds.iter().any(|m| m.development_only == Some(true)) && permissions.is_empty();
        if open_ended {
            cautions.push(
                "Moulds are made to a definition that is not approved, and no deviation or concession names this trial.".into(),
            );
        }
        let worth_having = trial.record.get(Trials::worth_having);
        let needed_for_worth =
            if interim && !look { None } else { result.as_ref().zip(worth_having).and_then(|(r, w)| needed(r, w)) };
        sizes(&trial, needed_for_worth, blocks < trial.moulds.len(), &arms, &mut cautions);
        Ok(TrialShown {
            arms,
            control: trial.control,
            moulds_so_far,
            needed_for_worth,
            blocks,
            poured_first,
            interim,
            looks: store.looks(&trial.tag)?.into_iter().map(|e| a_look(&trial.tag, e)).collect(),
            permissions,
            moulds,
            deviations,
            result: result.filter(|_| !interim || look),
            cautions,
            record: trial.record,
        })
    })
}

fn a_look(tag: &str, entry: Entry) -> TrialLook {
    let reason = entry.reason.unwrap_or_default();
    let with = reason.strip_prefix(&format!("{tag}: ")).unwrap_or(&reason).to_string();
    TrialLook { at: entry.at, person: entry.person, with }
}

/// Moulds an arm for the smallest difference worth having below (or else above) the control's rate.
fn needed(result: &ArmsCompared, worth: f64) -> Option<u64> {
    let rate = result.a.rate.filter(|_| result.measure == "rate")?;
    let target = if rate > worth { rate - worth } else { rate + worth };
    let aim = Aim { rate, worth_having: target, alpha: 0.05, power: 0.8 };
    let blades = sample_size::independent(aim).ok()? * result.figures.design_effect.unwrap_or(1.0);
    let per_mould = (result.a.blades + result.b.blades) as f64 / (result.a.moulds + result.b.moulds) as f64;
    let moulds = (blades / per_mould).ceil();
    moulds.is_finite().then_some(moulds as u64)
}

fn sizes(trial: &Trial, needed: Option<u64>, paired: bool, arms: &[ArmSoFar], cautions: &mut Vec<String>) {
    let planned = trial.record.get(Trials::planned_moulds);
    match (planned, needed) {
        (None, _) => {
            cautions.push("No planned size is recorded, so no stop rule can be held against it.".into())
        }
        (Some(planned), Some(needed)) if needed as f64 > planned as f64 / arms.len().max(2) as f64 => {
            cautions.push(format!(
                "{planned} planned moulds are too few for the smallest difference worth having, which needs about {needed} an arm{}. \
                 Better ways: a measured response, a fault of the same cause with a higher rate{}.",
                if needed > HOPELESS { ": hopeless this way" } else { "" },
                if paired { "" } else { ", both arms in each heat" }
            ));
        }
        _ => {}
    }
    let counts: Vec<usize> = arms.iter().map(|a| a.with_result).collect();
    if counts.iter().max() != counts.iter().min() {
        cautions.push("The arms have different numbers of moulds with a result.".into());
    }
    cautions
        .push("Who reads the response, and whether blind to the arm, is not recorded in the trial.".into());
}

/// The moulds with what their records say, and where their blades are.
fn moulds_of(
    store: &Store,
    trial: &Trial,
    deviations: &mut Vec<String>,
    cautions: &mut Vec<String>,
) -> Result<Vec<MouldShown>> {
    let factor = trial.record.need(Trials::factor)?;
    let contained = store.contained(trial.key.into())?;
    let mut places: HashMap<i64, BTreeMap<&'static str, u64>> = HashMap::new();
    for blade in contained.blades.iter().filter(|b| b.made) {
        if let Some(mould) = blade.mould {
            *places.entry(mould).or_default().entry(blade.place.word()).or_default() += 1;
        }
    }
    let mut approvals = Approvals::default();
    let mut out = Vec::new();
    let (mut known, mut matched, mut apart) = (false, false, Vec::new());
    for m in &trial.moulds {
        let key = Key::new(m.id);
        let found = levels(store, key, &m.mould, factor)?;
        known |= found.is_some();
        let found = found.unwrap_or_default();
        let recorded: Vec<String> = found.iter().map(FactorLevel::words).collect();
        if found.iter().any(|l| l.fits(&m.arm)) {
            matched = true;
        } else if found.is_empty() {
            apart.push(format!(
                "{}: no {factor} is recorded, so its arm {} cannot be checked",
                m.mould, m.arm
            ));
        } else {
            apart.push(format!(
                "{} is of arm {}, but its {factor} is {}",
                m.mould,
                m.arm,
                recorded.join(", ")
            ));
        }
        if let (Some(written), Some(poured)) = (m.recorded_at, m.poured_at) {
            if written.ms() > poured.ms() {
                deviations.push(format!(
                    "{}: its arm was written down at {written}, after the pour at {poured}",
                    m.mould
                ));
            }
        }
        let (development_only, why) = approvals.of(store, key, &m.mould)?;
        out.push(MouldShown {
            mould: m.mould.clone(),
            arm: m.arm.clone(),
            block: m.block.clone(),
            heat: m.heat.as_ref().map(|(_, tag)| tag.clone()),
            poured_at: m.poured_at.map(|t| t.to_string()),
            recorded,
            development_only,
            why,
            lots: store.lots_of_mould(m.id)?,
            places: places.remove(&m.id).unwrap_or_default(),
        });
    }
    if matched {
        deviations.extend(apart);
    } else if !trial.moulds.is_empty() {
        cautions.push(if known {
            format!("No arm is the name of a {factor} in the records of its moulds, so arms are not held against them.")
        } else {
            format!("{factor} is not a record kind, nor a field of a mould or a pour, so arms are not held against records.")
        });
    }
    Ok(out)
}

/// Number of blocks, how often each arm was poured first, and what was poured otherwise than planned.
fn order(trial: &Trial, deviations: &mut Vec<String>) -> (usize, BTreeMap<String, usize>) {
    let blocked = trial.moulds.iter().any(|m| m.block.is_some());
    let mut blocks: BTreeMap<String, Vec<&TrialMould>> = BTreeMap::new();
    for m in &trial.moulds {
        match (&m.block, &m.heat) {
            (Some(block), _) => blocks.entry(block.clone()).or_default().push(m),
            (None, Some((_, heat))) => {
                if blocked {
                    deviations.push(format!("{} stands in no block", m.mould));
                }
                blocks.entry(heat.clone()).or_default().push(m);
            }
            (None, None) => {}
        }
    }
    let mut first: BTreeMap<String, usize> = BTreeMap::new();
    for (block, moulds) in &blocks {
        let poured: Vec<&&TrialMould> = moulds.iter().filter(|m| m.poured_at.is_some()).collect();
        if let Some(m) = poured.first() {
            *first.entry(m.arm.clone()).or_default() += 1;
        }
        let arms: HashSet<&str> = moulds.iter().map(|m| m.arm.as_str()).collect();
        if arms.len() < trial.arms.len() && trial.arms.len() > 1 {
            let mut have: Vec<&str> = arms.into_iter().collect();
            have.sort_unstable();
            deviations.push(format!("block {block} holds only arm {}", have.join(", ")));
        }
        let mut heats: Vec<&str> =
            poured.iter().filter_map(|m| m.heat.as_ref().map(|h| h.1.as_str())).collect();
        heats.sort_unstable();
        heats.dedup();
        if blocked && heats.len() > 1 {
            deviations.push(format!("block {block} was poured in more than one heat: {}", heats.join(", ")));
        }
        for (i, m) in poured.iter().enumerate() {
            let overtaken = poured[..i].iter().find(|e| {
                e.planned_on == m.planned_on
                    && e.furnace == m.furnace
                    && e.heat.as_ref().map(|h| h.0) == m.heat.as_ref().map(|h| h.0)
                    && matches!((e.planned_order, m.planned_order), (Some(e), Some(m)) if e > m)
            });
            if let Some(earlier) = overtaken {
                deviations.push(format!(
                    "{} was poured before {}, against the planned order",
                    earlier.mould, m.mould
                ));
            }
        }
    }
    (blocks.len(), first)
}

/// Arms that were changed after they had been written down.
fn changes(store: &Store, trial: &Trial, deviations: &mut Vec<String>) -> Result<()> {
    let arm = |text: &Option<String>| -> Option<String> {
        let json = text.as_deref()?.split_once(' ')?.1;
        let value: serde_json::Value = serde_json::from_str(json).ok()?;
        value.get(TrialMoulds::arm.name)?.as_str().map(String::from)
    };
    for m in &trial.moulds {
        let address = format!("{}:{}/{}", TrialMoulds::NAME, trial.tag, m.mould);
        for entry in store.history(TrialMoulds::NAME, &address)? {
            let (old, new) = (arm(&entry.old), arm(&entry.new));
            if let (Some(old), Some(new)) = (old, new) {
                if old != new {
                    let by = entry.person.as_deref().unwrap_or("no person given");
                    let why = entry.reason.as_deref().unwrap_or("no reason");
                    deviations.push(format!(
                        "{}: arm changed from {old} to {new} at {} by {by}: {why}",
                        m.mould, entry.at
                    ));
                }
            }
        }
    }
    Ok(())
}
