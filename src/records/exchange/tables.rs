//! The tables of a sheet: side by side, below one another, each with its row of titles.

use std::collections::{BTreeMap, BTreeSet};

use serde::Serialize;

use crate::exchange::cells::is_unit;
use crate::exchange::grid::{CellValue, Grid, address};
use crate::exchange::unread::{SheetHint, Unread};
use crate::value::tag::{hint, near, shown};

/// A table of a sheet. Rows and columns are counted from 0.
#[derive(Serialize, Debug, Clone, PartialEq)]
pub struct Table {
    /// What stands alone above its titles; empty where nothing does.
    pub name: String,
    /// First and last row of its titles.
    pub head: (u32, u32),
    /// First and last row, what stands above its titles too.
    pub rows: (u32, u32),
    /// First and last column.
    pub columns: (u32, u32),
}

impl Table {
    /// Where it stands: `A3:D9`.
    pub fn range(&self) -> String {
        format!("{}:{}", address(self.head.0, self.columns.0), address(self.rows.1, self.columns.1))
    }

    /// Name and place.
    pub fn called(&self) -> String {
        if self.name.is_empty() { self.range() } else { format!("{} ({})", shown(&self.name), self.range()) }
    }
}

/// The whole sheet, where one of its tables is asked for.
pub const WHOLE: &str = "all";

/// A rectangle of a sheet.
#[derive(Debug, Clone, Copy)]
struct Region {
    rows: (u32, u32),
    columns: (u32, u32),
}

/// The rows of a region that hold something, each with its cells.
type Rows<'g> = BTreeMap<u32, Vec<(u32, &'g CellValue)>>;

impl Region {
    fn rows(self, grid: &Grid) -> Rows<'_> {
        let mut out = Rows::new();
        for ((row, column), held) in grid.cells.range((self.rows.0, 0)..=(self.rows.1, u32::MAX)) {
            if (self.columns.0..=self.columns.1).contains(column) {
                out.entry(*row).or_default().push((*column, held));
            }
        }
        out
    }
}

/// Every cell of a sheet stands in one of its tables. A sheet of which no row looks like titles is one table.
pub fn tables(grid: &Grid) -> Vec<Table> {
    let Some(right) = grid.cells.keys().map(|k| k.1).max() else { return Vec::new() };
    let mut out = Vec::new();
    cut(grid, Region { rows: (0, grid.last_row()), columns: (0, right) }, &mut out);
    out.sort_by_key(|t| (t.head.0, t.columns.0));
    out
}

/// The table of a number or name.
///
/// # Errors
/// There is none, or which is meant is open.
pub fn find<'t>(all: &'t [Table], wanted: &str) -> Result<&'t Table, Unread> {
    let number = wanted.trim().parse::<usize>().ok().and_then(|n| all.get(n.checked_sub(1)?));
    let named: Vec<&Table> = all.iter().filter(|t| t.name.eq_ignore_ascii_case(wanted.trim())).collect();
    match (number, named.as_slice()) {
        (Some(one), _) => Ok(one),
        (None, [one]) => Ok(*one),
        (None, []) => {
            let close = near(wanted, all.iter().map(|t| t.name.as_str()).filter(|n| !n.is_empty()));
            let message = format!("has no table {}{}; {}", shown(wanted), hint(&close), listed(all));
            Err(Unread::hint(message, SheetHint::Tables))
        }
        (None, _) => {
            let message = format!("has several tables called {}; {}", shown(wanted), listed(all));
            Err(Unread::hint(message, SheetHint::Tables))
        }
    }
}

/// `there are 1: Filters (A1:D9), 2: F1:H4`.
pub fn listed(all: &[Table]) -> String {
    let each: Vec<String> = (1..).zip(all).map(|(n, t)| format!("{n}: {}", t.called())).collect();
    format!("there are {}", each.join(", "))
}

/// The part of a sheet that one of its tables takes; cells keep their places.
pub fn part(grid: &Grid, all: &[Table], of: &Table) -> Grid {
    let inside = |(row, column): &(u32, u32)| {
        (of.rows.0..=of.rows.1).contains(row) && (of.columns.0..=of.columns.1).contains(column)
    };
    let cells = grid.cells.range((of.rows.0, 0)..=(of.rows.1, u32::MAX)).filter(|(at, _)| inside(at));
    let mut remarks = grid.remarks.clone();
    for (n, other) in (1..).zip(all).filter(|(_, t)| *t != of) {
        remarks.push(format!("table {n}, {}, was not read", other.called()));
    }
    Grid {
        sheet: grid.sheet.clone(),
        cells: cells.map(|(at, held)| (*at, held.clone())).collect(),
        merged: grid.merged.iter().filter(|m| inside(&m.0)).copied().collect(),
        remarks,
    }
}

fn cut(grid: &Grid, region: Region, out: &mut Vec<Table>) {
    let rows = region.rows(grid);
    let parts = side_by_side(grid, region, &rows).or_else(|| below_one_another(region, &rows));
    match parts {
        Some(parts) => parts.into_iter().for_each(|part| cut(grid, part, out)),
        None => out.extend(table(grid, region, &rows)),
    }
}

/// The region as one table, shrunk to what holds something.
fn table(grid: &Grid, region: Region, rows: &Rows) -> Option<Table> {
    let (first, last) = (*rows.keys().next()?, *rows.keys().next_back()?);
    let columns: BTreeSet<u32> = rows.values().flatten().map(|c| c.0).collect();
    let head = heads(grid, region, rows);
    let above = rows.range(first..head.0).next_back().filter(|(_, cells)| cells.len() == 1);
    let name = above.map_or(String::new(), |(_, cells)| cells[0].1.text().trim().chars().take(60).collect());
    Some(Table { name, head, rows: (first, last), columns: (*columns.first()?, *columns.last()?) })
}

/// So many tables stand side by side at most: more groups are the columns of one, with blank ones between them.
const MOST_BESIDE: usize = 20;

/// Groups of columns with a blank column between them, each a table of its own.
fn side_by_side(grid: &Grid, region: Region, rows: &Rows) -> Option<Vec<Region>> {
    let used: BTreeSet<u32> = rows.values().flatten().map(|c| c.0).collect();
    let mut groups: Vec<(u32, u32)> = Vec::new();
    for column in used {
        match groups.last_mut() {
            Some(last) if last.1 + 1 == column => last.1 = column,
            _ => groups.push((column, column)),
        }
    }
    if groups.len() > MOST_BESIDE {
        return None;
    }
    let mut parts: Vec<Region> = Vec::new();
    for group in groups {
        let this = Region { rows: region.rows, columns: group };
        match parts.last_mut() {
            Some(before) if !apart(grid, *before, this) => before.columns.1 = group.1,
            _ => parts.push(this),
        }
    }
    (parts.len() > 1).then_some(parts)
}

/// Two groups of columns are two tables: each has titles, and they do not keep step as columns of one table do.
fn apart(grid: &Grid, a: Region, b: Region) -> bool {
    let (rows_a, rows_b) = (a.rows(grid), b.rows(grid));
    let head = |region: Region, rows: &Rows| {
        let head = heads(grid, region, rows);
        let cells = rows.get(&head.1)?;
        (cells.len() > 1 && cells.iter().all(|c| is_label(c.1)) && rows.range(head.1 + 1..).next().is_some())
            .then_some(head)
    };
    let (Some(head_a), Some(head_b)) = (head(a, &rows_a), head(b, &rows_b)) else { return false };
    let below = |rows: &Rows, head: (u32, u32)| rows.range(head.1 + 1..).map(|r| *r.0).collect::<Vec<_>>();
    let titles = |rows: &Rows, head: (u32, u32)| -> Vec<String> {
        rows[&head.1].iter().map(|c| c.1.text().trim().to_lowercase()).collect()
    };
    let second = titles(&rows_b, head_b);
    head_a != head_b
        || titles(&rows_a, head_a).iter().any(|t| second.contains(t))
        || below(&rows_a, head_a) != below(&rows_b, head_b)
        || (rows_a.range(..head_a.0).next().is_some() && rows_b.range(..head_b.0).next().is_some())
}

/// Rows of titles below a blank row begin another table.
fn below_one_another(region: Region, rows: &Rows) -> Option<Vec<Region>> {
    let order: Vec<u32> = rows.keys().copied().collect();
    let titles =
        |row: u32| -> Vec<String> { rows[&row].iter().map(|c| c.1.text().trim().to_lowercase()).collect() };
    let mut starts: Vec<u32> = Vec::new();
    let mut head: Option<u32> = None;
    for (i, &row) in order.iter().enumerate() {
        if rows[&row].len() < 2 {
            continue;
        }
        let Some(first) = head else {
            head = Some(row);
            continue;
        };
        // What stands alone between the blank row and the titles is their heading.
        let mut top = i;
        while top > 0 && order[top - 1] + 1 == order[top] && rows[&order[top - 1]].len() == 1 {
            top -= 1;
        }
        let below_blank = top > 0 && order[top - 1] + 1 < order[top];
        if !below_blank || !is_titles(rows, row) || titles(row) == titles(first) {
            continue;
        }
        if top < i || unlike_above(rows, first, row) {
            starts.push(order[top]);
            head = Some(row);
        }
    }
    if starts.is_empty() {
        return None;
    }
    let ends = starts.iter().map(|s| s - 1).chain([region.rows.1]);
    let begins = [region.rows.0].into_iter().chain(starts.iter().copied());
    Some(begins.zip(ends).map(|rows| Region { rows, ..region }).collect())
}

/// All texts, each once, few of them with figures, and a row of values below.
fn is_titles(rows: &Rows, row: u32) -> bool {
    let cells = &rows[&row];
    let texts: BTreeSet<String> = cells.iter().map(|c| c.1.text().trim().to_lowercase()).collect();
    let figures = cells.iter().filter(|c| has_figures(c.1)).count();
    let below = rows.range(row + 1..).next();
    cells.iter().all(|c| is_label(c.1))
        && texts.len() == cells.len()
        && 2 * figures <= cells.len()
        && below.is_some_and(|(_, below)| below.iter().any(|c| has_figures(c.1)))
}

/// Where the column above holds values with figures, this row has none.
fn unlike_above(rows: &Rows, head: u32, row: u32) -> bool {
    rows[&row].iter().filter(|c| !has_figures(c.1)).any(|(column, _)| {
        let above = rows.range(head + 1..row).rev().take(50).flat_map(|r| r.1).filter(|c| c.0 == *column);
        let (mut all, mut figures) = (0, 0);
        above.for_each(|c| (all, figures) = (all + 1, figures + usize::from(has_figures(c.1))));
        all > 0 && 2 * figures > all
    })
}

fn has_figures(held: &CellValue) -> bool {
    match held {
        CellValue::Text(text) => text.bytes().any(|b| b.is_ascii_digit()),
        CellValue::Formula(_, value) => has_figures(value),
        _ => true,
    }
}

/// A text that is neither a number nor a date.
fn is_label(held: &CellValue) -> bool {
    let CellValue::Text(text) = held else { return false };
    text.chars().any(char::is_alphabetic) && !text.trim_start().starts_with(|c: char| c.is_ascii_digit())
        || text.trim() == "#"
}

/// First and last row of the titles of a region.
fn heads(grid: &Grid, region: Region, rows: &Rows) -> (u32, u32) {
    let widest = rows.values().map(Vec::len).max().unwrap_or(0);
    let several = || rows.iter().filter(|(_, cells)| cells.len() > 1).map(|(row, cells)| (*row, cells));
    let labels = |cells: &[(u32, &CellValue)]| cells.iter().all(|c| is_label(c.1));
    // A form's lines above the table are narrower than its titles.
    let wide = |quarters: usize| {
        several().take(30).find(|(_, cells)| 4 * cells.len() >= quarters * widest && labels(cells))
    };
    let first = wide(3).or_else(|| wide(2)).or_else(|| several().next()).map(|t| t.0);
    let head = first.or(rows.keys().next().copied()).unwrap_or(region.rows.0);
    let mut to = head;
    while to < head + 4 {
        let next = to + 1;
        let (Some(above), Some(cells)) = (rows.get(&to), rows.get(&next)) else { break };
        let units = cells.iter().all(|c| is_unit(c.1.text().trim().trim_matches(['[', ']', '(', ')'])));
        let merged = grid.merged.iter().any(|m| m.0.0 == to && m.1.0 == to && m.1.1 > m.0.1);
        let fills = cells.iter().any(|(c, _)| above.iter().all(|a| a.0 != *c));
        let texts = cells.iter().all(|c| is_label(c.1) && !has_figures(c.1));
        let values_below = rows.range(next + 1..).next().is_some();
        if !values_below || !(units || (texts && (merged || fills))) {
            break;
        }
        to = next;
    }
    (head, to)
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;
    use crate::exchange::grid;
    use crate::exchange::grid::SHEET;

    fn found(text: &str) -> Vec<(String, String)> {
        let grid = grid::read(text.as_bytes(), None, &SHEET).unwrap();
        let all = tables(&grid);
        // Every cell stands in one of them.
        let cells: usize = all.iter().map(|t| part(&grid, &all, t).cells.len()).sum();
        assert_eq!(cells, grid.cells.len(), "{all:?}");
        all.iter().map(|t| (t.name.clone(), t.range())).collect()
    }

    fn at(name: &str, range: &str) -> (String, String) {
        (name.into(), range.into())
    }

    #[test]
    fn a_sheet_with_one_table_has_one() {
        for (text, range) in [
            ("Box;When;Got\nF-1;2031-01-01;3\n\nF-2;2031-01-02;4\n", "A1:C4"),
            ("Book of 2031;;\n\nBox;When;Got\nF-1;2031-01-01;3\n", "A3:C4"),
            // A column without a title, one that is blank, a total, the titles again on the next page.
            (
                "Box;;When;;Got\nF-1;x;2031-01-01;;3\n;;;;\nBox;;When;;Got\nF-2;y;2031-01-02;;3\nSum;;;;6\n",
                "A1:E6",
            ),
            ("Zone;Name\nRT;root\n\nAF;aerofoil\n", "A1:B4"),
            ("only\none\ncolumn 1\n", "A1:A3"),
        ] {
            let all = found(text);
            assert_eq!(all.len(), 1, "{text}: {all:?}");
            assert_eq!(all[0].1, range, "{text}");
        }
    }

    #[test]
    fn tables_side_by_side_and_below_one_another() {
        let beside = "Filters;;;Ovens;;\nBox;Got;;Run;At\nF-1;3;;O-1;9:00\nF-2;4;;O-2;9:30\n;;;O-3;10:00\n";
        assert_eq!(found(beside), [at("Filters", "A2:B4"), at("Ovens", "D2:E5")]);
        let below = "Box;Got\nF-1;3\nF-2;4\n\nRun;Oven;At\nO-1;A;9:00\n";
        assert_eq!(found(below), [at("", "A1:B3"), at("", "A5:C6")]);
        let both =
            "Box;Got;Pores;Maker\nF-1;3;10;a\n\nOvens\nRun;At;;Zone;Name\nO-1;9:00;;1;root\nO-2;9:00;;;\n";
        assert_eq!(found(both), [at("", "A1:D2"), at("Ovens", "A5:B7"), at("", "D5:E6")]);
    }

    #[test]
    fn titles_over_two_rows_and_a_row_of_units() {
        let heads = |text: &str| tables(&grid::read(text.as_bytes(), None, &SHEET).unwrap())[0].head;
        assert_eq!(heads("Form;Temp;;Masse\n;ein;aus;\nM-1;1450;1400;12\n"), (0, 1));
        assert_eq!(heads("Form;Temp;Masse\n;[°C];[kg]\nM-1;1450;12\n"), (0, 1));
        assert_eq!(heads("Shop;X\nForm;Temp;Masse\nM-1;1450;12\n"), (1, 1));
        assert_eq!(heads("Zone;Name\nRT;root\nAF;aerofoil\n"), (0, 0));
    }

    /// A cell of a title, of a record, or of nothing.
    fn cell() -> impl Strategy<Value = String> {
        prop_oneof![
            4 => Just(String::new()),
            2 => prop::sample::select(vec!["Box", "Got", "Run", "At", "Zone", "kg", "Total"]).prop_map(str::to_string),
            3 => "[A-C]-[0-9]{1,2}",
            2 => "[0-9]{1,3}",
        ]
    }

    proptest! {
        #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::default() })]

        /// Whatever stands on a sheet, each of its cells stands in one table, and no table reaches into another.
        #[test]
        fn every_cell_stands_in_one_table(rows in prop::collection::vec(prop::collection::vec(cell(), 0..9), 1..14)) {
            let text: Vec<String> = rows.iter().map(|r| r.join(";")).collect();
            let Ok(grid) = grid::read(text.join("\n").as_bytes(), None, &SHEET) else { return Ok(()) };
            let all = tables(&grid);
            for at in grid.cells.keys() {
                let n = all.iter().filter(|t| part(&grid, &all, t).cells.contains_key(at)).count();
                prop_assert_eq!(n, 1, "{:?} {:?}", at, all);
            }
            for table in &all {
                prop_assert!(table.rows.0 <= table.head.0 && table.head.0 <= table.head.1 && table.head.1 <= table.rows.1, "{table:?}");
            }
        }
    }

    #[test]
    fn a_table_is_meant_by_number_or_name() {
        let text = "Filters;;;Ovens;\nBox;Got;;Run;At\nF-1;3;;O-1;9:00\nF-2;4;;;\n";
        let all = tables(&grid::read(text.as_bytes(), None, &SHEET).unwrap());
        assert_eq!(find(&all, "2").unwrap().name, "Ovens");
        assert_eq!(find(&all, "filters").unwrap().range(), "A2:B4");
        let fault = find(&all, "Oven").unwrap_err();
        assert!(
            fault.message.contains("did you mean Ovens") && fault.message.contains("2: Ovens (D2:E3)"),
            "{fault:?}"
        );
    }
}
