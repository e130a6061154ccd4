//! The lot acceptance summary as text, as a page for a customer, as a spreadsheet.

pub(crate) mod chemistry;
pub(crate) mod html;
pub(crate) mod pictures;
pub(crate) mod spreadsheet;
pub(crate) mod tables;
pub(crate) mod text;

use crate::jobs::lots::grouped;
use crate::jobs::lots::summary::{LotSummary, Papers};
use records::catalogue::Paper;

impl LotSummary {
    /// What stands on top of every page.
    pub fn mark(&self) -> &'static str {
        match (&self.signed, self.state) {
            (Some(s), _) if s.void => "VOID",
            (_, "final") => "FINAL",
            _ => "DRAFT",
        }
    }

    /// The paper that the shop prints on.
    pub fn paper(&self) -> Paper {
        self.papers.paper.unwrap_or(Paper::A4)
    }

    /// The document by its number and issue.
    pub fn document(&self) -> String {
        let Papers { document, issue, .. } = &self.papers;
        match (self.mark(), issue) {
            ("DRAFT", None) => format!("document {document}, not issued"),
            (_, issue) => format!("document {document}, issue {}", issue.unwrap_or(0)),
        }
    }

    /// Purchaser, order, part and so on with what the records say of them: name, value.
    pub fn heading_rows(&self) -> Vec<(String, String)> {
        let of = &self.papers;
        let with = |value: &str, more: &str, between: &str| match more {
            "" => value.to_string(),
            more => format!("{value}{between}{more}"),
        };
        let row = |(name, value): &(&'static str, String)| {
            let value = match *name {
                "purchaser" if !of.purchaser.is_empty() => of.purchaser.join(", "),
                "order" => with(value, &of.order_line, ", line "),
                "part and revision" => with(value, &of.description, ": "),
                "certificate type" if !of.certificate.is_empty() => {
                    format!("{value} (EN 10204), as ordered: {}", of.certificate)
                }
                _ => value.clone(),
            };
            ((*name).to_string(), value)
        };
        self.heading.iter().map(row).collect()
    }

    /// How it was released, and what was changed since, in sentences.
    pub fn release_lines(&self) -> Vec<String> {
        let Some(s) = &self.signed else { return Vec::new() };
        let how = if s.void { "VOID: was released" } else { "released" };
        let rules = if s.earlier_rules { ", signed under earlier rules" } else { "" };
        let mut out = vec![format!("{how} by {} at {} ({}{rules})", s.person, s.at, s.proof)];
        out.extend(s.changed.iter().map(|c| format!("changed since: {c}")));
        out
    }

    /// What is said beside the reasons: title and lines; empty ones are left out.
    pub fn said(&self) -> Vec<(&'static str, Vec<String>)> {
        let today: Vec<String> = grouped::of(&self.by_todays_rules)
            .into_iter()
            .map(|r| format!("{}: {} {}", r.station, r.reason, r.ranges().join("; ")).trim_end().to_string())
            .collect();
        let all = [
            ("Of this paper", self.papers.remarks.clone()),
            ("Open, without blocking", self.open_actions.clone()),
            ("After shipment: on blades that came back", self.after_shipment.clone()),
            ("By today's rules it would be blocked; it was signed under earlier rules", today),
        ];
        all.into_iter().filter(|(_, lines)| !lines.is_empty()).collect()
    }

    /// Counts with their names, in order.
    pub fn count_rows(&self) -> Vec<(&'static str, String)> {
        let said = |n: Option<i64>| n.map_or("not recorded".into(), |n| n.to_string());
        self.counts.named().map(|(name, n)| (name, said(n))).to_vec()
    }
}
