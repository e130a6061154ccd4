//! The series that a lot stands in, and the severity that the switching rules give it: from the records, never typed.

use knowledge::sampling::published;
use knowledge::sampling::switching;
use knowledge::sampling::switching::{Followed, SampledLot};

use crate::jobs::lots::facts::Facts;
use crate::jobs::lots::sampling::Asked;
use records::catalogue::{InspectionPlans, Method};
use records::read::series_queries::SeriesLot;
use records::value::tag::folded;
use records::{Result, Store};

/// The lots of the same part and purchaser, inspected by one method by the same AQL and level.
pub struct Series {
    pub method: Method,
    pub lots: Vec<(SeriesLot, Followed)>,
    /// The place of the lot that was asked about.
    at: usize,
}

impl Series {
    /// What the rules come to for the lot that was asked about.
    pub fn own(&self) -> Option<&Followed> {
        self.lots.get(self.at).map(|(_, followed)| followed)
    }
}

/// A series for each method of the lot's plan whose sample an AQL decides. Another AQL or level begins a new one.
pub fn read(store: &Store, facts: &Facts) -> Result<Vec<Series>> {
    let mut out = Vec::new();
    for row in facts.of_part(InspectionPlans::part) {
        let Some(Ok(own)) = Asked::of(&row.text(InspectionPlans::sampling)) else { continue };
        let method = row.need(InspectionPlans::method)?;
        let all = store.series_of(facts.key.id, method.word())?;
        let Some(at) = all.iter().position(|l| l.id == facts.key.id) else { continue };
        let alike = |lot: &SeriesLot| asked(lot).is_some_and(|a| (a.aql, a.level) == (own.aql, own.level));
        let from = all[..at].iter().rposition(|l| !alike(l)).map_or(0, |i| i + 1);
        let to = all[at..].iter().position(|l| !alike(l)).map_or(all.len(), |i| at + i);
        let lots = &all[from..to];
        // Whatever revision says it: behind that lot what was wrong was put right.
        let resumed: Vec<String> =
            lots.iter().filter_map(|l| asked(l)?.resumed).map(|t| folded(&t)).collect();
        let told = |lot: &SeriesLot| SampledLot {
            size: lot.made,
            seen: lot.seen.iter().map(|(at, bad)| (at.ms(), *bad)).collect(),
            reduced: asked(lot).is_some_and(|a| a.reduced),
            resumes: resumed.contains(&folded(&lot.lot)),
        };
        let sampled: Vec<SampledLot> = lots.iter().map(told).collect();
        let followed = switching::follow(&sampled, |severity, size| {
            published::plan_under(severity, size, own.level, own.aql)
        });
        let lots = lots.iter().cloned().zip(followed).collect();
        out.push(Series { method, lots, at: at - from });
    }
    Ok(out)
}

fn asked(lot: &SeriesLot) -> Option<Asked> {
    Asked::of(lot.says.as_deref()?)?.ok()
}
