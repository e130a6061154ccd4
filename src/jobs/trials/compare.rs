//! The arms of a trial against each other.

use std::collections::{BTreeSet, HashMap, HashSet};

use crate::jobs::trace::siblings::question;
use crate::jobs::trials::show_compare::Compared;
use knowledge::causes::random::SEED;
use knowledge::causes::{ArmMould, ArmValues, Better, compare, compare_means};
use records::catalogue::{Decision, DefectTerms, InspectionPurpose, Key, Recorded, Trials};
use records::read::yield_queries::{Measured, TrialMould};
use records::value::tag::{hint, near, shown};
use records::{Error, Record, Result, Store, catalogue};

/// What a trial (or a comparison) looks at.
#[derive(Clone, Debug)]
pub enum Response {
    /// The last disposition is scrap; blades without a final one are not counted.
    Scrap,
    /// Any reject of a first product inspection.
    Reject,
    /// A finding of a defect, in a zone where one is named.
    Defect {
        defect: String,
        zone: Option<String>,
    },
    Characteristic(String),
}

/// Reads a response: a defect term (with a zone after it: `inclusion RT`), a characteristic, `scrap`, `reject`.
pub fn response(store: &Store, text: &str) -> Result<Response> {
    let terms = store.rows::<DefectTerms>()?;
    let defects: Vec<&str> = terms.iter().filter_map(|t| t.tag()).collect();
    let known = |t: &str| defects.iter().find(|d| d.eq_ignore_ascii_case(t)).map(|d| (*d).to_string());
    if let Some(defect) = known(text) {
        return Ok(Response::Defect { defect, zone: None });
    }
    let characteristics = store.characteristics()?;
    if let Some(found) = characteristics.iter().find(|c| c.eq_ignore_ascii_case(text)) {
        return Ok(Response::Characteristic(found.clone()));
    }
    match text.to_ascii_lowercase().as_str() {
        "scrap" | "scrapped" => return Ok(Response::Scrap),
        "reject" | "rejected" => return Ok(Response::Reject),
        _ => {}
    }
    if let Some((first, zone)) = text.rsplit_once(' ') {
        let first = first.strip_suffix(" in").unwrap_or(first).trim();
        if let Some(defect) = known(first) {
            return Ok(Response::Defect { defect, zone: Some(zone.to_string()) });
        }
    }
    let all = defects.iter().copied().chain(characteristics.iter().map(String::as_str));
    let close = near(text, all.chain(["scrap", "reject"]));
    Err(Error::input(format!(
        "the response {} is not a defect term, measured characteristic, scrap or reject{}",
        shown(text),
        hint(&close)
    )))
}

/// The response of the blades that count.
pub enum ByBlade {
    /// Blade → is with the response.
    Counts(HashMap<i64, bool>),
    /// Blade → its value.
    Values(HashMap<i64, f64>),
}

/// The response of every blade, and what to say of it.
pub struct ResponseOf {
    pub outcome: ByBlade,
    /// The inspection method behind a defect.
    pub method: Option<String>,
    pub unit: Option<String>,
    pub better: Better,
    pub notes: Vec<String>,
}

impl ResponseOf {
    /// Whether a blade counts.
    pub fn has(&self, blade: i64) -> bool {
        match &self.outcome {
            ByBlade::Counts(all) => all.contains_key(&blade),
            ByBlade::Values(all) => all.contains_key(&blade),
        }
    }
}

/// Reads a response for every blade of the store.
pub fn seen(store: &Store, response: &Response) -> Result<ResponseOf> {
    let mut out = ResponseOf {
        outcome: ByBlade::Counts(HashMap::new()),
        method: None,
        unit: None,
        better: Better::Unknown,
        notes: Vec::new(),
    };
    match response {
        Response::Scrap => {
            let last = store.last_dispositions()?;
            let finished = last.into_iter().filter_map(|(blade, (word, _))| match Decision::of(&word)? {
                Decision::Scrap => Some((blade, true)),
                Decision::Accept | Decision::Concession => Some((blade, false)),
                Decision::Rework | Decision::Repair | Decision::Hold => None,
            });
            out.outcome = ByBlade::Counts(finished.collect());
            out.notes.push(
                "Scrap is a last disposition of scrap; blades without a final disposition are not counted."
                    .into(),
            );
        }
        Response::Reject => {
            let outcomes = store.outcomes(&question(store, None, None, None)?)?;
            out.outcome = ByBlade::Counts(outcomes.blades);
            out.notes.push("A reject is any rejecting product inspection of the first round.".into());
        }
        Response::Defect { defect, zone } => {
            let asked = question(store, Some(defect), zone.as_deref(), None)?;
            let outcomes = store.outcomes(&asked)?;
            if outcomes.rejected_without_finding > 0 {
                out.notes.push(format!(
                    "{} inspections of that method rejected without a finding.",
                    outcomes.rejected_without_finding
                ));
            }
            out.method = asked.method;
            out.outcome = ByBlade::Counts(outcomes.blades);
        }
        Response::Characteristic(name) => {
            let measured = store.measured(name)?;
            values(measured, &mut out)?;
        }
    }
    Ok(out)
}

/// A blank purpose is the product.
pub(crate) fn product(purpose: Option<&str>) -> bool {
    purpose.is_none_or(|p| p == InspectionPurpose::Product.word())
}

fn values(measured: Vec<Measured>, out: &mut ResponseOf) -> Result<()> {
    let first = |m: &&Measured| m.round == 1 && product(m.purpose.as_deref());
    let mut found = HashMap::new();
    let mut units: BTreeSet<&str> = BTreeSet::new();
    let mut without = 0;
    let mut limits = (None, None);
    for m in measured.iter().filter(first) {
        units.insert(&m.unit);
        limits = (m.lower, m.upper);
        match m.value {
            Some(v) => {
                found.entry(m.blade).or_insert(v);
            }
            None => without += 1,
        }
    }
    if units.len() > 1 {
        let all: Vec<&str> = units.into_iter().collect();
        return Err(Error::input(format!("the values are in several units: {}", shown(&all.join(", ")))));
    }
    out.unit = units.first().map(|u| (*u).to_string());
    if without > 0 {
        out.notes.push(format!(
            "{without} measurements are blank, illegible or below detection and enter no mean."
        ));
    }
    out.better = match limits {
        (Some(low), Some(high)) => Better::Nearer(0.5 * (low + high)),
        (None, Some(_)) => Better::Lower,
        (Some(_), None) => Better::Higher,
        (None, None) => Better::Unknown,
    };
    let words = match out.better {
        Better::Nearer(aim) => format!("the mean nearer to the middle of the limits, {aim}"),
        Better::Lower => "the lower mean, as there is an upper limit alone".into(),
        Better::Higher => "the higher mean, as there is a lower limit alone".into(),
        Better::Unknown => "unknown, as no limit was recorded".into(),
    };
    out.notes.push(format!("Measured values: difference of means by mould; the better one is {words}."));
    out.outcome = ByBlade::Values(found);
    Ok(())
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
pub fn two(moulds: &[Placed], a: &str, b: &str, seen: &ResponseOf, response: &str, seed: u64) -> Compared {
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
    let mut out = Compared::new(&found, response, measure, seed);
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
pub fn of_trial(store: &Store, tag: &str, seed: Option<u64>) -> Result<Compared> {
    store.snapshot(|| {
        let trial = trial(store, tag)?;
        compared(store, &trial, seed)
    })
}

/// The same for a trial that is read already.
pub fn compared(store: &Store, trial: &Trial, seed: Option<u64>) -> Result<Compared> {
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
    if out.verdict == "cannot tell" {
        out.cautions.push("Cannot tell is not the same as no difference: see the interval.".into());
    }
    Ok(out)
}

/// With k comparisons against one control, each must pass 0.05/k (Bonferroni).
fn several(out: &mut Compared, comparisons: usize, control: &str) {
    let level = 0.05 / comparisons as f64;
    let luck = 1.0 - 0.95f64.powi(comparisons as i32);
    let strict = |c: &mut Compared| {
        if c.verdict != "cannot tell" && c.p.is_none_or(|p| p >= level) {
            c.verdict = "cannot tell";
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
