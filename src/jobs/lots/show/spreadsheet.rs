//! The summary as tables, for a spreadsheet.

use crate::jobs::lots::summary::LotSummary;
use crate::show::xlsx::{Cell, Table};

/// A number stands as a number, everything else as text.
fn cell(text: &str) -> Cell {
    match text.parse::<f64>() {
        Ok(v) if v.is_finite() && !text.starts_with('+') => Cell::Number(v),
        _ => Cell::Text(text.to_string()),
    }
}

fn table(name: &str, header: &[&str], rows: impl Iterator<Item = Vec<Cell>>) -> Table {
    Table {
        name: name.into(),
        header: header.iter().map(|h| (*h).to_string()).collect(),
        rows: rows.collect(),
    }
}

impl LotSummary {
    /// The tables of the summary for a spreadsheet, what blocks it first.
    pub fn spreadsheet(&self) -> Vec<Table> {
        let standing = [
            ("lot", self.lot.clone()),
            ("state", self.state.to_string()),
            ("reasons that block", self.blocked.len().to_string()),
            ("made at", self.made_at.clone()),
            ("journal", self.journal_head.clone()),
            ("content", self.content.clone()),
        ];
        let mut out = vec![table(
            "standing",
            &["what", "value"],
            standing.iter().map(|(k, v)| vec![Cell::Text((*k).to_string()), Cell::Text(v.clone())]),
        )];
        out.push(table(
            "blocked",
            &["station", "reason", "record", "blades"],
            self.blocked.iter().map(|b| {
                let blades = b.blade.clone().unwrap_or_else(|| b.blades.join(" "));
                let record = b.record.clone().unwrap_or_default();
                [b.station.clone(), b.reason.clone(), record, blades].map(Cell::Text).into()
            }),
        ));
        let number = |n: Option<i64>| n.map_or(Cell::Blank, |n| Cell::Number(n as f64));
        out.push(table(
            "counts",
            &["blades", "number"],
            self.counts.named().into_iter().map(|(name, n)| vec![Cell::Text(name.into()), number(n)]),
        ));
        for sheet in &self.tables() {
            let Some((head, rows)) = sheet.rows.split_first() else { continue };
            let header: Vec<&str> = head.iter().map(String::as_str).collect();
            let cells = rows.iter().map(|r| r.iter().map(|c| cell(c)).collect());
            out.push(table(&name(&sheet.title, out.len()), &header, cells));
        }
        out
    }
}

/// A sheet's name: at most 31 characters, none that spreadsheets refuse, and its own.
fn name(title: &str, place: usize) -> String {
    let plain: String = title.chars().filter(|c| c.is_alphanumeric() || *c == ' ').take(26).collect();
    format!("{place} {}", plain.trim())
}
