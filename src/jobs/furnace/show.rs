//! What the furnace is told, as text.

use crate::jobs::furnace::readiness::Ready;
use crate::jobs::furnace::shift::Shift;
use crate::jobs::records::proposals::Proposal;
use crate::jobs::records::show::HoldLine;
use crate::show::columns;
use records::file::clock;
use records::value::tag::shown;

impl Ready {
    /// Each check with its tick or its reason.
    pub fn text(&self) -> String {
        let tick = |ok: Option<bool>| match ok {
            Some(true) => "ok",
            Some(false) => "NO",
            None => "?",
        };
        let row = |c: &crate::jobs::furnace::readiness::Check| {
            vec![tick(c.ok).to_string(), c.check.into(), shown(&c.reason).into_owned()]
        };
        let rows: Vec<Vec<String>> = self.checks.iter().map(row).collect();
        let verdict = match self.ready {
            Some(true) => "may be poured by these records",
            Some(false) => "may not be poured yet",
            None => "not clear yet whether it may be poured",
        };
        format!(
            "mould {}: {verdict}\n{}Charge and mould dry? Inspected? Site rules and qualified people decide; take the time it needs.\n",
            shown(&self.mould),
            columns(&rows)
        )
    }
}

impl Shift {
    /// As a page to read at hand-over.
    pub fn text(&self) -> String {
        let mut out = format!("hand-over at {}\n", self.now);
        let mut list = |title: &str, lines: Vec<String>| {
            out.push_str(&format!(
                "\n{title}: {}\n",
                if lines.is_empty() { "none".into() } else { lines.len().to_string() }
            ));
            for l in lines {
                out.push_str(&format!("  {}\n", shown(&l)));
            }
        };
        let held = |h: &HoldLine| format!("{} on {} since {}: {}", h.hold, h.subject, h.placed_at, h.reason);
        list("open holds", self.holds.iter().map(held).collect());
        list("checks overdue or failed", self.checks.clone());
        list("crucibles, heats melted", self.crucibles.iter().map(|(c, n)| format!("{c}: {n}")).collect());
        list("moulds not poured", self.standing.clone());
        list("poured past the time from oven to pour", self.over_oven_time.clone());
        list("shipped, and open until they came back or quality decides", self.shipping.clone());
        if !self.labels.is_empty() {
            list("labels that two records have", self.labels.clone());
        }
        if !self.releases.is_empty() {
            list("released on the words of a concession, for quality", self.releases.clone());
        }
        list("proposals for quality to decide", self.proposals.iter().map(Proposal::line).collect());
        list("roles and PINs", self.people.clone());
        list("entries to review", self.review.clone());
        if self.clock_given {
            out.push_str(&format!("\n{}\n", clock::SAID));
        }
        out
    }
}
