//! Stations at which a lot is judged by a sample: the plan, what was inspected, whether it passes.

use crate::jobs::lots::facts::Facts;
use crate::jobs::lots::sampling::{SamplingOf, of_words};
use crate::jobs::lots::summary::{Block, TextTable};
use crate::show::percent;
use records::Result;
use records::catalogue::{InspectionPlans, Inspections, Lots, Method, Verdict, YesNo};

/// A station with its sampling plan and what the sample gave.
struct Sampled {
    method: Method,
    plan: SamplingOf,
    required: bool,
    /// Blades first presented; scrapped ones count, for they were drawn too.
    inspected: u64,
    /// Of these rejected at first presentation.
    rejected: u64,
    /// Every blade that is not scrapped has been inspected.
    whole: bool,
}

/// The stations of the lot's inspection plan, in the order of the route.
fn of(facts: &Facts) -> Result<Vec<Sampled>> {
    let made = facts.blades.iter().filter(|b| b.counts).count() as u64;
    let mut out = Vec::new();
    for row in facts.of_part(InspectionPlans::part) {
        let method = row.need(InspectionPlans::method)?;
        let required = row.get(InspectionPlans::required) == Some(YesNo::Yes);
        let says = row.text(InspectionPlans::sampling);
        let first = facts.first_by(method.word());
        let rejected = first.iter().filter(|r| r.get(Inspections::result) == Some(Verdict::Reject)).count();
        out.push(Sampled {
            method,
            inspected: first.len() as u64,
            rejected: rejected as u64,
            whole: facts.alive().all(|b| facts.standing.contains_key(&(b.tag.clone(), method.word()))),
            plan: of_words(&says, required, made),
            required,
        });
    }
    out.sort_by_key(|s| s.method);
    Ok(out)
}

impl Sampled {
    /// The plan asks for every blade.
    fn every(&self) -> bool {
        self.plan.says.is_empty() || self.plan.says.eq_ignore_ascii_case("all")
    }

    /// What the sample says of the lot, and whether that is against it.
    fn result(&self) -> (String, bool) {
        let (n, rejected) = (self.inspected, self.rejected);
        let (Some(wanted), Some(most)) = (self.plan.n, self.plan.accept) else {
            let whole = self.whole && n > 0;
            let said = if whole { "every blade inspected" } else { "whether that is enough is not known" };
            return (format!("{n} inspected; {said}: {}", self.plan.note), !whole);
        };
        if self.whole {
            return ("every blade inspected, each judged by its own result".into(), false);
        }
        if n < wanted {
            return (format!("sample too small: {n} inspected, the plan asks for {wanted}"), true);
        }
        if rejected > most {
            let sentence = format!(
                "sample not accepted: {rejected} of {n} rejected, the plan accepts with up to {most}; every blade is to be inspected"
            );
            return (sentence, true);
        }
        (format!("sample accepted: {rejected} of {n} rejected, up to {most} allowed"), false)
    }
}

/// What a required sample says against the lot. A station where every blade is asked for is judged blade by blade.
pub fn against(facts: &Facts, out: &mut Vec<Block>) -> Result<()> {
    if facts.alive().next().is_none() {
        return Ok(());
    }
    let part = facts.lot.need(Lots::part)?;
    for s in of(facts)?.into_iter().filter(|s| s.required && !s.every()) {
        let (sentence, bad) = s.result();
        if bad {
            let reason = format!("{sentence} (plan: {})", s.plan.says);
            out.push(Block::shared(part, s.method.word(), "sampling", reason, Vec::new()));
        }
    }
    Ok(())
}

/// Shares nonconforming whose chance of passing is printed.
const PRINTED: [f64; 4] = [0.01, 0.02, 0.05, 0.10];

/// The plans as a table: sample size, acceptance number, the operating curve, the result.
pub fn table(facts: &Facts) -> Result<TextTable> {
    let mut head: Vec<String> =
        ["method", "plan", "n", "accept with", "inspected", "rejected", "result"].map(String::from).to_vec();
    head.extend(PRINTED.iter().map(|p| format!("passes at {} % bad", p * 100.0)));
    head.push("from".into());
    let mut rows = vec![head];
    for s in of(facts)?.iter().filter(|s| !s.every()) {
        let number = |v: Option<u64>| v.map_or("no figure".into(), |v| format!("{v}"));
        let mut row = vec![
            s.method.word().to_string(),
            s.plan.says.clone(),
            number(s.plan.n),
            number(s.plan.accept),
            s.inspected.to_string(),
            s.rejected.to_string(),
            s.result().0,
        ];
        row.extend(PRINTED.iter().map(|p| {
            let at = s.plan.curve.iter().find(|c| (c[0] - p).abs() < 1e-9);
            at.map_or(String::new(), |c| percent(c[1]))
        }));
        row.push(s.plan.note.clone());
        rows.push(row);
    }
    Ok(TextTable {
        title: "Sampling plans".into(),
        note: "Chance that a lot of this size passes with so many bad blades in it (hypergeometric).".into(),
        rows,
    })
}
