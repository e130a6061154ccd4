//! Trials: how large, which mould gets which arm, how one stands.

use std::collections::{BTreeMap, HashMap, HashSet};

use crate::causes::random::Chance;
use crate::domain::tag::{hint, near, shown};
use crate::domain::{Record, Value, catalogue};
use crate::ops::compare::{self, Trial, names};
use crate::report::compare::{Compared, HOPELESS};
use crate::report::trials::{ArmSoFar, Assigned, Dealt, Look, Planned, TrialMould, TrialShown};
use crate::stats::dist::normal_quantile;
use crate::stats::sample_size::{self, Aim};
use crate::store::evidence::TrialMould as Row;
use crate::store::journal::Entry;
use crate::store::together::Change;
use crate::store::{Error, Link, Result, Store, Who};

/// The size of a trial of two shares, and what would take fewer moulds.
///
/// # Errors
/// Figures outside their range.
pub fn plan(aim: Aim, per_mould: f64, icc: f64) -> Result<Planned> {
    let found = sample_size::trial(aim, per_mould, icc).map_err(Error::Input)?;
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
    if trial.record.get("status").text() == Some("closed") {
        return Err(Error::input(format!("{} is closed; no mould joins it", shown(&trial.tag))));
    }
    let arms = arms_of(&trial, arms)?;
    let (seed, new) = seed_of(&trial, seed, fresh)?;
    let mut cautions = Vec::new();
    let rows = candidates(store, &trial, moulds, &mut cautions)?;
    let draw = trial.moulds.len() as u64;
    let assigned = deal(&trial, &arms, rows, &mut Chance::of_draw(seed, draw));
    let kind = catalogue::find("trial_moulds").map_err(Error::Input)?;
    let records = assigned
        .iter()
        .map(|d| {
            let mut record = Record::blank(kind);
            let text = |t: &str| Value::Text(t.to_string().into());
            record.set("trial", text(&trial.tag));
            record.set("mould", text(&d.mould));
            record.set("arm", text(&d.arm));
            if let Some(block) = &d.block {
                record.set("block", text(block));
            }
            record
        })
        .collect();
    let fields = [("seed".to_string(), seed.to_string())];
    let change =
        Change { text: &trial.tag, fields: &fields, reason: "seed of the random assignment of arms" };
    let reason = format!("assigned at random, seed {seed}, draw {draw}");
    store.log_together(who, new.then_some(&change), records, &reason)?;
    let planned = trial.record.get("planned_moulds").number();
    let total = trial.moulds.len() + assigned.len();
    if planned.is_some_and(|p| total as f64 > p) {
        cautions.push(format!(
            "{total} moulds now have an arm, more than the planned {}.",
            planned.unwrap_or(0.0)
        ));
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
                "{} has the arms {}; {} is none of them{}",
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
    let Some(text) = trial.record.get("seed").text() else { return Ok((asked.unwrap_or(fresh), true)) };
    let recorded: u64 = text.trim().parse().map_err(|_| {
        Error::input(format!(
            "the seed of {} is recorded as {}, which is no whole number",
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
    let factor = trial.record.get("factor").to_text();
    let mut out: Vec<Candidate> = Vec::new();
    let mut wrong = Vec::new();
    let mut taken: HashSet<i64> = trial.moulds.iter().map(|m| m.id).collect();
    for text in moulds {
        let (tag, block) = match text.split_once('=') {
            Some((tag, block)) => (tag, Some(block.trim().to_string()).filter(|b| !b.is_empty())),
            None => (text.as_str(), None),
        };
        let (link, tag) = match store.link_of(tag, "moulds") {
            Ok(found) => found,
            Err(Error::Input(e)) => {
                wrong.push(e);
                continue;
            }
            Err(e) => return Err(e),
        };
        let name = shown(&tag).into_owned();
        if !taken.insert(link.id) {
            wrong.push(format!("{name} has an arm already, or is named twice"));
            continue;
        }
        if let Some(pour) = record_of(store, "pours", link.id)? {
            wrong.push(format!(
                "{name} was poured at {}: an arm given after the pour is no random assignment. What was done can be written \
                 down, and will stand as a deviation: meltkin log trial_moulds trial={} mould={name} arm=ARM",
                pour.get("poured_at").to_text(),
                shown(&trial.tag)
            ));
            continue;
        }
        let levels = levels(store, link, &tag, &factor)?.unwrap_or_default();
        if !levels.is_empty() {
            wrong.push(format!(
                "{name} is made with {} already: the arm must be drawn before the factor is set",
                shown(&words(&levels).join(", "))
            ));
            continue;
        }
        let planned = record_of(store, "pour_plans", link.id)?.map(|p| {
            let furnace = p.get("furnace").text().map_or(String::new(), |f| format!(" {f}"));
            format!("{}{furnace}", p.get("planned_on").to_text())
        });
        out.push(Candidate { tag, block: block.or(planned) });
    }
    if !wrong.is_empty() {
        return Err(Error::Input(wrong.join("\n")));
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

/// The record of a kind that belongs to one mould.
fn record_of(store: &Store, kind: &str, mould: i64) -> Result<Option<Record<'static>>> {
    let kind = catalogue::find(kind).map_err(Error::Input)?;
    Ok(store.referring(kind, "mould", "moulds", mould)?.into_iter().next())
}

/// What a mould's own records say of a factor.
enum Level {
    /// A record upstream of it.
    Upstream(Box<Record<'static>>),
    /// A field of it or of its pour.
    Field(String),
}

fn words(levels: &[Level]) -> Vec<String> {
    levels
        .iter()
        .map(|l| match l {
            Level::Upstream(record) => record.address(),
            Level::Field(text) => text.clone(),
        })
        .collect()
}

/// The factor's levels in a mould: records upstream of it where the factor is a kind (shell_recipes), else the
/// field of the mould or its pour. None where the factor is neither.
fn levels(store: &Store, link: Link, tag: &str, factor: &str) -> Result<Option<Vec<Level>>> {
    let wanted = factor.trim().to_lowercase().replace(' ', "_");
    let kind = catalogue::all().find(|k| k.name == wanted || k.noun.replace(' ', "_") == wanted);
    if let Some(kind) = kind {
        let lineage = store.ancestry(link, tag)?;
        let mut out = Vec::new();
        for node in lineage.nodes.iter().skip(1).filter(|n| n.link.kind == kind.name) {
            out.push(Level::Upstream(Box::new(store.by_id(kind, node.link.id)?.record)));
        }
        return Ok(Some(out));
    }
    let (of, field) = wanted.split_once('.').map_or((None, wanted.as_str()), |(k, f)| (Some(k), f));
    for name in ["moulds", "pours"].into_iter().filter(|k| of.is_none_or(|o| o == *k)) {
        let kind = catalogue::find(name).map_err(Error::Input)?;
        let own = store.own_fields()?;
        if kind.field(field).is_none() && !own.iter().any(|o| o.record == name && o.name == field) {
            continue;
        }
        let record = match name {
            "moulds" => Some(store.by_id(kind, link.id)?.record),
            _ => record_of(store, name, link.id)?,
        };
        let text = record.map(|r| r.get(field).to_text()).filter(|t| !t.is_empty());
        return Ok(Some(text.map(Level::Field).into_iter().collect()));
    }
    Ok(None)
}

fn fits(level: &Level, arm: &str) -> bool {
    match level {
        Level::Upstream(record) => names(record, arm),
        Level::Field(text) => {
            text.eq_ignore_ascii_case(arm)
                || matches!((text.parse::<f64>(), arm.parse::<f64>()), (Ok(a), Ok(b)) if a == b)
        }
    }
}

/// Whether a result of the trial is one before its time, and then with what behind it.
///
/// # Errors
/// An unknown trial, with near matches; the store cannot be read.
pub fn interim(store: &Store, tag: &str) -> Result<Option<(String, String)>> {
    let trial = compare::trial(store, tag)?;
    let seen = compare::seen(store, &compare::response(store, &trial.record.get("response").to_text())?)?;
    let mut moulds = 0;
    for m in trial.moulds.iter().filter(|m| m.heat.is_some()) {
        moulds += usize::from(store.blades_of_mould(m.id)?.iter().any(|b| seen.has(*b)));
    }
    Ok(early(&trial, moulds).map(|with| (trial.tag, with)))
}

fn early(trial: &Trial, moulds: usize) -> Option<String> {
    let planned = trial.record.get("planned_moulds").number()?;
    let open = trial.record.get("status").text() == Some("open");
    (open && (moulds as f64) < planned && moulds > 0)
        .then(|| format!("a result was looked at with {moulds} of {planned} planned moulds"))
}

/// Journals a look at a result before its time, where it is one. Gives the sentence that must stand beside it.
///
/// # Errors
/// An unknown trial; the store cannot be written.
pub fn look(store: &mut Store, who: &Who, tag: &str) -> Result<Option<String>> {
    let Some((tag, with)) = interim(store, tag)? else { return Ok(None) };
    if store.read_only() {
        return Ok(Some(format!(
            "An interim look ({with}); the store is read-only, so it is not journalled."
        )));
    }
    store.note_look(who, &tag, &with)?;
    let n = store.looks(&tag)?.len();
    let rule = if n > 1 { " At most one is allowed: the error of the verdict is no longer 5 %." } else { "" };
    Ok(Some(format!(
        "Interim look {n} ({with}); it is journalled.{rule} At an early look only p below 0.005 speaks for stopping \
         (O'Brien and Fleming 1979, two looks)."
    )))
}

/// How a trial stands. `look` shows the result of an open trial below its planned size; the caller journals that.
///
/// # Errors
/// An unknown trial, with near matches; an unknown response; the store cannot be read.
pub fn show(store: &Store, tag: &str, look: bool) -> Result<TrialShown> {
    store.snapshot(|| {
        let trial = compare::trial(store, tag)?;
        let text = |field: &str| trial.record.get(field).text().map(String::from);
        let seen = compare::seen(store, &compare::response(store, &trial.record.get("response").to_text())?)?;
        let mut arms: Vec<ArmSoFar> =
            trial.arms.iter().map(|a| ArmSoFar { arm: a.clone(), ..ArmSoFar::default() }).collect();
        for m in &trial.moulds {
            let Some(arm) = arms.iter_mut().find(|a| a.arm == m.arm) else { continue };
            arm.moulds += 1;
            if m.heat.is_some() {
                let blades = store.blades_of_mould(m.id)?;
                let inspected = blades.iter().filter(|b| seen.has(**b)).count();
                arm.poured += 1;
                arm.made += blades.len();
                arm.inspected += inspected;
                arm.with_result += usize::from(inspected > 0);
            }
        }
        let moulds_so_far = arms.iter().map(|a| a.with_result).sum();
        let interim = early(&trial, moulds_so_far).is_some();
        let result = compare::compared(store, &trial, None)?;
        let mut cautions = Vec::new();
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
        let worth_having = trial.record.get("worth_having").number();
        let needed_for_worth =
            if interim && !look { None } else { worth_having.and_then(|w| needed(&result, w)) };
        sizes(&trial, needed_for_worth, blocks < trial.moulds.len(), &arms, &mut cautions);
        Ok(TrialShown {
            trial: trial.tag.clone(),
            status: trial.record.get("status").to_text(),
            question: trial.record.get("question").to_text(),
            factor: trial.record.get("factor").to_text(),
            response: trial.record.get("response").to_text(),
            opened_at: trial.record.get("opened_at").to_text(),
            arms,
            control: trial.control.clone(),
            planned_moulds: trial.record.get("planned_moulds").number().map(|n| n as i64),
            moulds_so_far,
            worth_having,
            needed_for_worth,
            blocks,
            poured_first,
            seed: text("seed"),
            held_constant: text("held_constant"),
            stop_rule: text("stop_rule"),
            interim,
            looks: store.looks(&trial.tag)?.into_iter().map(|e| a_look(&trial.tag, e)).collect(),
            permissions,
            moulds,
            deviations,
            result: (!interim || look).then_some(result),
            decision: text("decision"),
            decided_at: trial.record.get("decided_at").time().map(|t| t.to_string()),
            decided_by: text("decided_by"),
            cautions,
        })
    })
}

fn a_look(tag: &str, entry: Entry) -> Look {
    let reason = entry.reason.unwrap_or_default();
    let with = reason.strip_prefix(&format!("{tag}: ")).unwrap_or(&reason).to_string();
    Look { at: entry.at, person: entry.person, with }
}

/// Moulds an arm for the smallest difference worth having below (or else above) the control's rate.
fn needed(result: &Compared, worth: f64) -> Option<u64> {
    let rate = result.a.rate.filter(|_| result.measure == "rate")?;
    let target = if rate > worth { rate - worth } else { rate + worth };
    let aim = Aim { rate, worth_having: target, alpha: 0.05, power: 0.8 };
    let blades = sample_size::independent(aim).ok()? * result.design_effect.unwrap_or(1.0).max(1.0);
    let per_mould = (result.a.blades + result.b.blades) as f64 / (result.a.moulds + result.b.moulds) as f64;
    let moulds = (blades / per_mould).ceil();
    moulds.is_finite().then_some(moulds as u64)
}

fn sizes(trial: &Trial, needed: Option<u64>, paired: bool, arms: &[ArmSoFar], cautions: &mut Vec<String>) {
    let planned = trial.record.get("planned_moulds").number();
    match (planned, needed) {
        (None, _) => {
            cautions.push("No planned size is recorded, so no stop rule can be held against it.".into())
        }
        (Some(planned), Some(needed)) if needed as f64 > planned / arms.len().max(2) as f64 => {
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
) -> Result<Vec<TrialMould>> {
    let factor = trial.record.get("factor").to_text();
    let contained = store.contained(Link { kind: "trials", id: trial.id })?;
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
        let link = Link { kind: "moulds", id: m.id };
        let found = levels(store, link, &m.mould, &factor)?;
        known |= found.is_some();
        let found = found.unwrap_or_default();
        let recorded = words(&found);
        if found.iter().any(|l| fits(l, &m.arm)) {
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
        let (development_only, why) = approvals.of(store, link, &m.mould)?;
        out.push(TrialMould {
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
            format!("{factor} is no record kind, and no field of a mould or a pour, so arms are not held against records.")
        });
    }
    Ok(out)
}

/// Which definitions are approved, asked once each.
#[derive(Default)]
struct Approvals {
    kinds: HashMap<&'static str, bool>,
    seen: HashMap<(&'static str, i64), (bool, String)>,
}

impl Approvals {
    /// Whether a mould stands on a definition that is not approved, where others of its kind are.
    fn of(&mut self, store: &Store, link: Link, tag: &str) -> Result<(Option<bool>, String)> {
        let mut told = false;
        let mut without = Vec::new();
        for node in store.ancestry(link, tag)?.nodes.iter().skip(1) {
            let Some(kind) = crate::domain::kind(node.link.kind).filter(|k| k.revisioned) else { continue };
            if !self.kinds.contains_key(kind.name) {
                let some = store.all_of(kind)?.iter().any(|r| !r.get("approved_at").is_blank());
                self.kinds.insert(kind.name, some);
            }
            if !self.kinds[kind.name] {
                continue;
            }
            let key = (kind.name, node.link.id);
            if !self.seen.contains_key(&key) {
                let record = store.by_id(kind, node.link.id)?.record;
                self.seen.insert(key, (!record.get("approved_at").is_blank(), record.address()));
            }
            let (approved, address) = &self.seen[&key];
            told = true;
            if !approved {
                without.push(address.clone());
            }
        }
        if !without.is_empty() {
            return Ok((Some(true), format!("{} is not approved for production", without.join(", "))));
        }
        Ok(match told {
            true => (Some(false), "every definition behind it is approved".into()),
            false => (None, "no definition behind it records an approval".into()),
        })
    }
}

/// Number of blocks, how often each arm was poured first, and what was poured otherwise than planned.
fn order(trial: &Trial, deviations: &mut Vec<String>) -> (usize, BTreeMap<String, usize>) {
    let blocked = trial.moulds.iter().any(|m| m.block.is_some());
    let mut blocks: BTreeMap<String, Vec<&Row>> = BTreeMap::new();
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
        let poured: Vec<&&Row> = moulds.iter().filter(|m| m.poured_at.is_some()).collect();
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
        value.get("arm")?.as_str().map(String::from)
    };
    for m in &trial.moulds {
        let address = format!("trial_moulds:{}/{}", trial.tag, m.mould);
        for entry in store.history("trial_moulds", &address)? {
            let (old, new) = (arm(&entry.old), arm(&entry.new));
            if let (Some(old), Some(new)) = (old, new) {
                if old != new {
                    let by = entry.person.as_deref().unwrap_or("nobody named");
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
