//! The lead's desk as lines: those of its lists on a screen, and all of them as text.

use crate::jobs::lots::desk::{ConcessionLine, Desk, LotLine, RejectedBlade, ReturnedBlade};
use crate::jobs::records::show::HoldLine;
use crate::show::{cell, columns};

/// How long ago, as a person says it.
pub fn age(hours: f64) -> String {
    if hours < 48.0 { format!("{hours:.0} h") } else { format!("{:.0} d", hours / 24.0) }
}

fn lot(lot: &Option<String>) -> String {
    lot.as_deref().map_or("no lot".into(), cell)
}

impl LotLine {
    /// `✗ 12 reasons`: the sign says it too.
    pub fn marked(&self) -> String {
        format!("{} {}", if self.good() { "✓" } else { "✗" }, self.word())
    }

    pub fn cells(&self) -> Vec<String> {
        let h = &self.head;
        vec![cell(&h.lot), self.marked(), self.places(), cell(&h.part), cell(&h.order), cell(&h.purchaser)]
    }
}

impl RejectedBlade {
    pub fn cells(&self) -> Vec<String> {
        let named = |f: &crate::jobs::lots::desk::Found| match &f.zone {
            Some(zone) => format!("{} in {}", cell(&f.defect), cell(zone)),
            None => cell(&f.defect),
        };
        let found = self.found.iter().map(named).collect::<Vec<_>>().join("; ");
        let found = if found.is_empty() { "no finding named".into() } else { found };
        vec![cell(&self.blade), age(self.age_h), self.method.into(), found, lot(&self.lot)]
    }
}

impl ReturnedBlade {
    pub fn cells(&self) -> Vec<String> {
        let why = self.reason.as_deref().map_or("no reason recorded".into(), cell);
        vec![cell(&self.blade), age(self.age_h), why, lot(&self.lot)]
    }
}

impl ConcessionLine {
    /// `14 of 114 left`.
    pub fn rest(&self) -> String {
        match (self.left, self.quantity) {
            (Some(left), Some(of)) => format!("{left} of {of} left"),
            _ => format!("{} used, for no number", self.used),
        }
    }

    pub fn cells(&self) -> Vec<String> {
        let until = match (&self.expires_on, self.expired) {
            (Some(day), true) => format!("! expired {day}"),
            (Some(day), false) => format!("until {day}"),
            (None, _) => "without an end".into(),
        };
        vec![cell(&self.concession), self.rest(), until, self.kind.into(), cell(&self.part)]
    }
}

pub fn hold_cells(hold: &HoldLine) -> Vec<String> {
    let since = hold.placed_at.get(..10).unwrap_or(&hold.placed_at).to_string();
    vec![cell(&hold.hold), cell(&hold.subject), since, cell(&hold.reason)]
}

impl Desk {
    pub fn text(&self) -> String {
        let mut out = String::new();
        let mut list = |title: &str, rows: Vec<Vec<String>>| {
            let n = if rows.is_empty() { "none".into() } else { rows.len().to_string() };
            out.push_str(&format!("{title}: {n}\n"));
            let indented = |mut row: Vec<String>| {
                if let Some(first) = row.first_mut() {
                    first.insert_str(0, "  ");
                }
                row
            };
            out.push_str(&columns(&rows.into_iter().map(indented).collect::<Vec<_>>()));
        };
        list("lots", self.lots.iter().map(LotLine::cells).collect());
        let waits = &self.waits;
        list("rejected, and not decided on", waits.rejected.iter().map(RejectedBlade::cells).collect());
        list("open holds", waits.holds.iter().map(hold_cells).collect());
        list("came back, and not decided on", waits.returned.iter().map(ReturnedBlade::cells).collect());
        list("concessions", waits.concessions.iter().map(ConcessionLine::cells).collect());
        out
    }
}
