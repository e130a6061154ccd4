//! Trials as JSON and as pages: their size, the assignment, how one stands.

use std::collections::BTreeMap;

use serde::Serialize;

use crate::jobs::records::show::fields;
use crate::jobs::trials::show_compare::{Compared, HOPELESS};
use crate::show::{CAUTION, bullets, cell, columns, head, list, percent};
use records::catalogue::{Recorded, TrialStatus, Trials};
use records::value::tag::shown;

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

impl Planned {
    pub fn text(&self) -> String {
        let n = self.moulds_per_arm;
        let mut out = format!(
            "To tell {} from {} takes {} blades in each arm: {n} moulds of {} (design effect {:.2}).\n\
             Two-sided {}, power {}; normal approximation, blades of a mould alike with correlation {}.\n",
            percent(self.rate),
            percent(self.worth_having),
            self.blades_per_arm,
            self.per_mould,
            self.design_effect,
            percent(self.alpha),
            percent(self.power),
            self.icc
        );
        if self.hopeless {
            out.push_str(&format!("Needs about {n} moulds an arm: hopeless this way. Better ways:\n"));
        } else if !self.better_ways.is_empty() {
            out.push_str("What would take fewer moulds:\n");
        }
        bullets(&mut out, &self.better_ways);
        out.push_str(
            "Fix size, arms, response and stop rule before the first mould; assign arms at random before assembly; \
             take at most one look before the planned size.\n",
        );
        out
    }
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

impl Assigned {
    /// The list for the assembly bench.
    pub fn text(&self) -> String {
        let mut rows = vec![head(["mould", "arm", "block"])];
        for d in &self.assigned {
            rows.push([&d.mould, &d.arm, d.block.as_deref().unwrap_or("-")].map(cell).to_vec());
        }
        let mut out = format!(
            "{}: {} moulds assigned at random, seed {} (draw {})\n{}",
            shown(&self.trial),
            self.assigned.len(),
            self.seed,
            self.draw,
            columns(&rows)
        );
        bullets(&mut out, &self.cautions);
        out
    }
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
    pub result: Option<Compared>,
    pub cautions: Vec<String>,
}

/// The fields of the trial itself, without those that every kind has.
fn own_fields<S: serde::Serializer>(trial: &Recorded<Trials>, to: S) -> Result<S::Ok, S::Error> {
    let mut map = fields(trial);
    map.retain(|name, _| Trials::KIND.fields.iter().any(|f| f.name == name));
    map.serialize(to)
}

impl TrialShown {
    pub fn text(&self) -> String {
        let trial = &self.record;
        let status = trial.get(Trials::status);
        let word = status.map_or("", TrialStatus::word);
        let question = trial.get(Trials::question).unwrap_or_default();
        let mut out = format!("{} ({word}): {}\n", shown(&trial.address()), shown(question));
        let mut rows = Vec::new();
        let mut row = |name: &str, text: String| rows.push(vec![format!("  {name}"), text]);
        row("factor", cell(trial.get(Trials::factor).unwrap_or_default()));
        row("response", cell(trial.get(Trials::response).unwrap_or_default()));
        row("control", cell(&self.control));
        for a in &self.arms {
            row(
                &format!("arm {}", shown(&a.arm)),
                format!(
                    "{} moulds, {} poured, {} with a result; {} of {} blades inspected",
                    a.moulds, a.poured, a.with_result, a.inspected, a.made
                ),
            );
        }
        let planned = trial.get(Trials::planned_moulds);
        let planned = planned.map_or("no planned size is recorded".into(), |n| format!("{n} moulds"));
        row("planned", planned);
        row("so far", format!("{} moulds with a result, in {} blocks", self.moulds_so_far, self.blocks));
        if let Some(w) = trial.get(Trials::worth_having) {
            let needs = self.needed_for_worth.map_or(String::new(), |n| {
                let word = if n > HOPELESS { ": hopeless this way" } else { "" };
                format!("; needs about {n} moulds an arm (two-sided 5 %, power 80 %){word}")
            });
            row("worth having", format!("a difference of {w}{needs}"));
        }
        for (name, field) in [
            ("held constant", Trials::held_constant),
            ("stop rule", Trials::stop_rule),
            ("seed", Trials::seed),
        ] {
            row(name, trial.get(field).map_or("not recorded".into(), cell));
        }
        let first: Vec<String> =
            self.poured_first.iter().map(|(arm, n)| format!("{} in {n}", shown(arm))).collect();
        if !first.is_empty() {
            row("poured first", format!("{} of {} blocks", first.join(", "), self.blocks));
        }
        for p in &self.permissions {
            row("permission", cell(p));
        }
        out.push_str(&columns(&rows));
        out.push_str("\nMoulds:\n");
        let mut rows =
            vec![head(["mould", "arm", "block", "heat", "record says", "status", "lots", "blades"])];
        for m in &self.moulds {
            let places: Vec<String> = m.places.iter().map(|(p, n)| format!("{n} {p}")).collect();
            rows.push(vec![
                cell(&m.mould),
                cell(&m.arm),
                cell(m.block.as_deref().unwrap_or("-")),
                cell(m.heat.as_deref().unwrap_or("not poured")),
                cell(&m.recorded.join(", ")),
                match m.development_only {
                    Some(true) => "# development only".into(),
                    Some(false) => "approved".into(),
                    None => "? not recorded".into(),
                },
                cell(&m.lots.join(", ")),
                places.join(", "),
            ]);
        }
        out.push_str(&columns(&rows));
        list(&mut out, "Deviations", &self.deviations);
        if self.deviations.is_empty() {
            out.push_str("\nDeviations: none seen in the records.\n");
        }
        if !self.looks.is_empty() {
            out.push_str("\nLooks before the planned size (at most one is allowed):\n");
            for look in &self.looks {
                let by = look.person.as_deref().unwrap_or("no person given");
                out.push_str(&format!("- {} by {}: {}\n", look.at, shown(by), shown(&look.with)));
            }
        }
        match &self.result {
            Some(result) => out.push_str(&format!("\nResult: {}", result.text())),
            None if !self.interim => out.push_str("\nNo result: see below.\n"),
            None => out.push_str(
                "\nThe result is kept back until the planned size is reached. --look takes the one interim look; it is journalled.\n",
            ),
        }
        if let Some(decision) = trial.get(Trials::decision) {
            let by = trial.get(Trials::decided_by).map_or(String::new(), |p| format!(", by {}", shown(p)));
            let at = trial.get(Trials::decided_at).map_or(String::new(), |t| format!(" at {t}"));
            out.push_str(&format!("\nDecision: {}{by}{at}\n", shown(decision)));
        } else if status == Some(TrialStatus::Closed) {
            out.push_str("\nClosed without a recorded decision.\n");
        }
        list(&mut out, "Keep in mind", &self.cautions);
        out.push_str(&format!("\n{CAUTION}\n"));
        out
    }
}
