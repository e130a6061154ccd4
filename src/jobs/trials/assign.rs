//! Which mould gets which arm: by chance, balanced within blocks, before it is poured.

use std::collections::{BTreeMap, HashSet};

use crate::jobs::trials::ask::{Assigned, Dealt};
use crate::jobs::trials::compare;
use crate::jobs::trials::compare::Trial;
use crate::jobs::trials::levels::{FactorLevel, levels};
use knowledge::causes::random::Chance;
use records::catalogue::{Key, Moulds, PourPlans, Pours, Recorded, TrialMoulds, TrialStatus, Trials};
use records::value::tag::{hint, near, shown};
use records::write::draft::Draft;
use records::write::trial_writes::Change;
use records::{Error, Result, Store, Value, Who};

/// Assigns arms to moulds at random, balanced within blocks, and writes them down, all or none. A mould is
/// `TAG` or `TAG=BLOCK`; without a block it stands in that of its pour plan (day and furnace), if it has one.
/// The seed is that of the trial record, else `seed`, else `fresh`, and is kept in the trial record.
///
/// # Errors
/// An unknown trial or mould (with near matches); a closed trial; a mould that is poured, has an arm, or is
/// already made one way of the factor; another seed than the recorded one; fewer than two arms.
pub fn assign(
    store: &mut Store,
    who: &Who,
    tag: &str,
    arms: &[String],
    moulds: &[String],
    seed: Option<u64>,
    fresh: u64,
) -> Result<Assigned> {
    let trial = compare::trial(store, tag)?;
    if trial.record.need(Trials::status)? == TrialStatus::Closed {
        return Err(Error::input(format!("{} is closed; no mould joins it", shown(&trial.tag))));
    }
    let arms = arms_of(&trial, arms)?;
    let (seed, new) = seed_of(&trial, seed, fresh)?;
    let mut cautions = Vec::new();
    let rows = candidates(store, &trial, moulds, &mut cautions)?;
    let draw = trial.moulds.len() as u64;
    let assigned = deal(&trial, &arms, rows, &mut Chance::of_draw(seed, draw));
    let record = |d: &Dealt| {
        let text = |t: &str| Value::Text(t.to_string().into());
        let mut record = Recorded::<TrialMoulds>::blank();
        record
            .set(TrialMoulds::trial, text(&trial.tag))
            .set(TrialMoulds::mould, text(&d.mould))
            .set(TrialMoulds::arm, text(&d.arm));
        if let Some(block) = &d.block {
            record.set(TrialMoulds::block, text(block));
        }
        record.into_record()
    };
    let records = assigned.iter().map(record).collect();
    let fields = Draft::<Trials>::default().with(Trials::seed, seed.to_string());
    let change =
        Change { text: &trial.tag, fields: fields.texts(), reason: "seed of the random assignment of arms" };
    let reason = format!("assigned at random, seed {seed}, draw {draw}");
    store.log_together(who, new.then_some(&change), records, &reason)?;
    let total = trial.moulds.len() + assigned.len();
    if let Some(planned) = trial.record.get(Trials::planned_moulds).filter(|p| total as i64 > *p) {
        cautions.push(format!("{total} moulds now have an arm, more than the planned {planned}."));
    }
    cautions.push("Pour the arms of a block side by side in one heat, in alternate order.".into());
    Ok(Assigned { trial: trial.tag, seed, draw, assigned, cautions })
}

fn arms_of(trial: &Trial, arms: &[String]) -> Result<Vec<String>> {
    let mut out: Vec<String> = Vec::new();
    for arm in arms.iter().map(|a| a.trim()).filter(|a| !a.is_empty()) {
        let known = trial.arms.iter().find(|a| a.eq_ignore_ascii_case(arm));
        if known.is_none() && trial.arms.len() > 1 {
            let close = near(arm, trial.arms.iter().map(String::as_str));
            return Err(Error::input(format!(
                "{} has the arms {}; {} is not one of them{}",
                shown(&trial.tag),
                shown(&trial.arms.join(", ")),
                shown(arm),
                hint(&close)
            )));
        }
        let arm = known.cloned().unwrap_or_else(|| arm.to_string());
        if out.iter().any(|a| a.eq_ignore_ascii_case(&arm)) {
            return Err(Error::input(format!("the arm {} is given twice", shown(&arm))));
        }
        out.push(arm);
    }
    if out.is_empty() && trial.arms.len() > 1 {
        out.clone_from(&trial.arms);
    }
    if out.len() < 2 {
        return Err(Error::input("a trial has at least two arms, the control one of them: --arms B,C"));
    }
    out.sort();
    Ok(out)
}

/// The seed, and whether it has still to be written down.
fn seed_of(trial: &Trial, asked: Option<u64>, fresh: u64) -> Result<(u64, bool)> {
    let Some(text) = trial.record.get(Trials::seed) else { return Ok((asked.unwrap_or(fresh), true)) };
    let recorded: u64 = text.trim().parse().map_err(|_| {
        Error::input(format!(
            "the seed of {} is recorded as {}, which is not a whole number",
            shown(&trial.tag),
            shown(text)
        ))
    })?;
    match asked.filter(|a| *a != recorded) {
        Some(asked) => Err(Error::input(format!(
            "the seed of {} is recorded as {recorded}, not {asked}; an assignment is not drawn again until it pleases",
            shown(&trial.tag)
        ))),
        None => Ok((recorded, false)),
    }
}

/// A mould that can get an arm.
struct Candidate {
    tag: String,
    block: Option<String>,
}

fn candidates(
    store: &Store,
    trial: &Trial,
    moulds: &[String],
    cautions: &mut Vec<String>,
) -> Result<Vec<Candidate>> {
    let factor = trial.record.need(Trials::factor)?;
    let mut out: Vec<Candidate> = Vec::new();
    let mut wrong = Vec::new();
    let mut taken: HashSet<Key<Moulds>> = trial.moulds.iter().map(|m| Key::new(m.id)).collect();
    for text in moulds {
        let (tag, block) = match text.split_once('=') {
            Some((tag, block)) => (tag, Some(block.trim().to_string()).filter(|b| !b.is_empty())),
            None => (text.as_str(), None),
        };
        let (mould, tag) = match store.key_of::<Moulds>(tag) {
            Ok(found) => found,
            Err(e) if e.is_input() => {
                wrong.push(e.sentence);
                continue;
            }
            Err(e) => return Err(e),
        };
        let name = shown(&tag).into_owned();
        if !taken.insert(mould) {
            wrong.push(format!("{name} already has an arm, or is named twice"));
            continue;
        }
        if let Some(pour) = store.rows_of(Pours::mould, mould)?.first() {
            wrong.push(format!(
                "{name} was poured at {}: an arm given after the pour is not a random assignment. What was done can be written \
                 down, and will stand as a deviation: meltkin log trial_moulds trial={} mould={name} arm=ARM",
                pour.cell(Pours::poured_at).to_text(),
                shown(&trial.tag)
            ));
            continue;
        }
        let levels = levels(store, mould, &tag, factor)?.unwrap_or_default();
        if !levels.is_empty() {
            let made: Vec<String> = levels.iter().map(FactorLevel::words).collect();
            wrong.push(format!(
                "{name} is already made with {}: the arm must be drawn before the factor is set",
                shown(&made.join(", "))
            ));
            continue;
        }
        let planned = store.rows_of(PourPlans::mould, mould)?.into_iter().next().map(|p| {
            let furnace = p.get(PourPlans::furnace).map_or(String::new(), |f| format!(" {f}"));
            format!("{}{furnace}", p.cell(PourPlans::planned_on).to_text())
        });
        out.push(Candidate { tag, block: block.or(planned) });
    }
    if !wrong.is_empty() {
        return Err(Error::input(wrong.join("\n")));
    }
    if out.is_empty() {
        return Err(Error::input("no mould is named: meltkin trial assign TRIAL MOULD[=BLOCK]… --arms B,C"));
    }
    let loose = out.iter().filter(|c| c.block.is_none()).count();
    if loose > 0 {
        cautions.push(format!(
            "{loose} moulds have neither a block nor a pour plan; they are balanced among themselves only. \
             Blocks by heat make the comparison sharper: MOULD=BLOCK."
        ));
    }
    Ok(out)
}

/// Deals arms within blocks: each arm equally often; what is left over goes to the arms that have the fewest
/// moulds so far, ties by chance.
fn deal(trial: &Trial, arms: &[String], moulds: Vec<Candidate>, chance: &mut Chance) -> Vec<Dealt> {
    let mut blocks: BTreeMap<Option<String>, Vec<String>> = BTreeMap::new();
    for m in moulds {
        blocks.entry(m.block).or_default().push(m.tag);
    }
    let mut have: Vec<usize> =
        arms.iter().map(|a| trial.moulds.iter().filter(|m| m.arm == *a).count()).collect();
    let mut out = Vec::new();
    for (block, mut tags) in blocks {
        tags.sort();
        let mut list: Vec<usize> = (0..arms.len()).flat_map(|a| vec![a; tags.len() / arms.len()]).collect();
        let mut order: Vec<usize> = (0..arms.len()).collect();
        chance.shuffle(&mut order);
        order.sort_by_key(|&a| have[a]);
        list.extend(order.into_iter().take(tags.len() % arms.len()));
        chance.shuffle(&mut list);
        for (tag, arm) in tags.into_iter().zip(list) {
            have[arm] += 1;
            out.push(Dealt { mould: tag, arm: arms[arm].clone(), block: block.clone() });
        }
    }
    out.sort_by(|a, b| a.mould.cmp(&b.mould));
    out
}
