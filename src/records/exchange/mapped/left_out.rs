//! What of a sheet stands in no record.

use serde::Serialize;

use crate::exchange::grid::Grid;
use crate::value::words::counted;

/// Rows, columns and tables of a sheet that stand in no record. What is in none of them was taken, or is at fault.
#[derive(Serialize, Debug, Clone, Default, PartialEq)]
pub struct LeftOut {
    /// Rows, from 1: first and last of each run.
    pub rows: Vec<(u64, u64)>,
    /// Columns: letter, title.
    pub columns: Vec<(String, String)>,
    /// Other tables of the sheet.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub tables: Vec<String>,
}

impl LeftOut {
    pub(super) fn row(&mut self, row: u64) {
        run(&mut self.rows, row);
    }

    /// Nothing is left out.
    pub fn is_empty(&self) -> bool {
        self.rows.is_empty() && self.columns.is_empty() && self.tables.is_empty()
    }
}

fn run(runs: &mut Vec<(u64, u64)>, row: u64) {
    match runs.last_mut() {
        Some(last) if last.1 + 1 == row => last.1 = row,
        _ => runs.push((row, row)),
    }
}

/// Rows of one sort that are left out or taken in some way.
#[derive(Default)]
pub(super) struct Sort {
    count: usize,
    runs: Vec<(u64, u64)>,
    /// What stands in the first of them.
    first: Vec<String>,
}

impl Sort {
    /// Few enough to show what stands in them.
    const SHOWN: usize = 3;
    /// So many runs of rows are named in a sentence; all of them stand in the answer as data.
    const NAMED: usize = 40;

    pub(super) fn add(&mut self, grid: &Grid, row: u32) {
        self.count += 1;
        run(&mut self.runs, u64::from(row) + 1);
        if self.count <= Self::SHOWN {
            let cells = grid.cells.range((row, 0)..=(row, u32::MAX)).take(4);
            let cells: Vec<String> =
                cells.map(|(_, held)| held.text().trim().chars().take(30).collect()).collect();
            self.first.push(cells.join(" | "));
        }
    }

    pub(super) fn said(&self, what: &str) -> Option<String> {
        if self.count == 0 {
            return None;
        }
        let one = |(a, b): &(u64, u64)| if a == b { a.to_string() } else { format!("{a} to {b}") };
        let rows: Vec<String> = match self.count {
            1..=Self::SHOWN => {
                let all = self.runs.iter().flat_map(|(a, b)| *a..=*b).zip(&self.first);
                all.map(|(row, text)| format!("{row}: {text}")).collect()
            }
            _ => self.runs.iter().take(Self::NAMED).map(one).collect(),
        };
        let more: u64 = self.runs.iter().skip(Self::NAMED).map(|(a, b)| b - a + 1).sum();
        let more =
            if more > 0 && self.count > Self::SHOWN { format!(" and {more} more") } else { String::new() };
        Some(format!("{}: {what} (row {}{more})", counted(self.count, "row"), rows.join(", ")))
    }
}
