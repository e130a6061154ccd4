//! Stations at which a lot is judged by a sample: the plan, what was inspected, whether it passes.

use crate::jobs::lots::facts::Facts;
use crate::jobs::lots::sampling::{SamplingOf, of_words};
use crate::jobs::lots::series::Series;
use crate::jobs::lots::summary::{Block, SeriesEntry, SeriesStanding, TextTable};
use crate::show::percent;
use knowledge::sampling::published::Severity;
use knowledge::sampling::switching::Outcome;
use records::Result;
use records::catalogue::{InspectionPlans, Inspections, Lots, Method, Verdict, YesNo};

/// The code of reasons that the switching rules make: what was signed before them is not judged by them.
pub const SWITCHING: &str = "switching";

/// A station with its sampling plan and what the sample gave.
struct Sampled<'a> {
    method: Method,
    /// The series that gives the severity, where an AQL is asked for.
    series: Option<&'a Series>,
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
fn of<'a>(facts: &'a Facts) -> Result<Vec<Sampled<'a>>> {
    let made = facts.blades.iter().filter(|b| b.counts).count() as u64;
    let mut out = Vec::new();
    for row in facts.of_part(InspectionPlans::part) {
        let method = row.need(InspectionPlans::method)?;
        let required = row.get(InspectionPlans::required) == Some(YesNo::Yes);
        let says = row.text(InspectionPlans::sampling);
        let first = facts.first_by(method.word());
        let rejected = first.iter().filter(|r| r.get(Inspections::result) == Some(Verdict::Reject)).count();
        let series = facts.series.iter().find(|s| s.method == method);
        out.push(Sampled {
            method,
            series,
            inspected: first.len() as u64,
            rejected: rejected as u64,
            whole: facts.alive().all(|b| facts.standing.contains_key(&(b.tag.clone(), method.word()))),
            plan: of_words(&says, required, made, series.and_then(Series::own)),
            required,
        });
    }
    out.sort_by_key(|s| s.method);
    Ok(out)
}

impl Sampled<'_> {
    /// The plan asks for every blade.
    fn every(&self) -> bool {
        self.plan.says.is_empty() || self.plan.says.eq_ignore_ascii_case("all")
    }

    /// What the sample says of the lot, and whether that is against it.
    fn result(&self) -> (String, bool) {
        let (n, rejected) = (self.inspected, self.rejected);
        let (Some(wanted), Some(most), Some(reject)) = (self.plan.n, self.plan.accept, self.plan.reject)
        else {
            let whole = self.whole && n > 0;
            let said = if whole { "every blade inspected" } else { "whether that is enough is not known" };
            return (format!("{n} inspected; {said}: {}", self.plan.note), !whole);
        };
        if self.whole {
            return ("every blade inspected, each judged by its own result".into(), false);
        }
        if let Some(ended) = self.series.and_then(Series::own).filter(|f| f.standing.ended) {
            return (ended.standing.words(), true);
        }
        if n < wanted {
            return (format!("sample too small: {n} inspected, the plan asks for {wanted}"), true);
        }
        if rejected >= reject {
            let most = reject - 1;
            let sentence = format!(
                "sample not accepted: {rejected} of {n} rejected, the plan accepts with up to {most}; every blade is to be inspected"
            );
            return (sentence, true);
        }
        if rejected > most {
            let sentence = format!(
                "sample accepted: {rejected} of {n} rejected, between {most} and {reject}: the next lot is inspected normally"
            );
            return (sentence, false);
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
            let standing = s.series.and_then(Series::own).map(|f| &f.standing);
            let switched = standing.filter(|s| s.ended || s.severity != Severity::Normal);
            let (code, how) = match switched {
                Some(standing) => (SWITCHING, format!(", {} inspection", standing.severity.word())),
                None => ("sampling", String::new()),
            };
            let reason = format!("{sentence} (plan: {}{how})", s.plan.says);
            out.push(Block::shared(part, s.method.word(), code, reason, Vec::new()));
        }
    }
    Ok(())
}

/// Where the lot stands in its series, method by method.
pub fn standings(facts: &Facts) -> Vec<SeriesStanding> {
    facts.series.iter().filter_map(|s| standing(facts, s)).collect()
}

fn standing(facts: &Facts, series: &Series) -> Option<SeriesStanding> {
    let own = &series.own()?.standing;
    let rows = facts.of_part(InspectionPlans::part);
    let plan = rows.into_iter().find(|r| r.get(InspectionPlans::method) == Some(series.method));
    let word = |outcome: Outcome| match outcome {
        Outcome::Accepted => "accepted",
        Outcome::Between => "between",
        Outcome::NotAccepted => "not accepted",
    };
    let entries = series.lots.iter().map(|(lot, f)| SeriesEntry {
        lot: lot.lot.clone(),
        severity: f.standing.severity.word(),
        n: f.plan.as_ref().ok().map(|p| p.n),
        nonconforming: f.nonconforming,
        outcome: f.outcome.map(word),
    });
    Some(SeriesStanding {
        method: series.method.word(),
        plan: plan.map(|r| r.text(InspectionPlans::sampling)).unwrap_or_default(),
        severity: own.severity.word(),
        ended: own.ended,
        why: own.words(),
        lots: entries.collect(),
    })
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
        let why =
            s.series.and_then(Series::own).map_or(String::new(), |f| format!("; {}", f.standing.words()));
        row.push(format!("{}{why}", s.plan.note));
        rows.push(row);
    }
    Ok(TextTable {
        title: "Sampling plans".into(),
        note: "Chance that a lot of this size passes with so many bad blades in it (hypergeometric).".into(),
        rows,
    })
}
