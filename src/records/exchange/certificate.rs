//! Chemistry out of a sheet of cells, by a mapping that says where things stand.

use serde::{Deserialize, Serialize};

use crate::exchange::grid::{CellValue, Grid, address, place};
use crate::value::tag::{hint, near};

/// Where a maker's sheets hold what. Columns are named by their header, or by letter as `#C`.
#[derive(Serialize, Deserialize, Debug, Clone, Default, PartialEq)]
pub struct Mapping {
    /// A row for each element, else a row for each heat with elements as columns.
    pub by_element: bool,
    /// The row of the headers, from 1.
    pub header: u32,
    /// Sheet; none: the only visible one.
    pub sheet: Option<String>,
    /// Column of the element (a row for each element).
    pub element: Option<String>,
    /// Column of the value (a row for each element).
    pub value: Option<String>,
    /// Column of the unit (a row for each element).
    pub unit: Option<String>,
    /// Row of the units, from 1 (elements as columns).
    pub units_row: Option<u32>,
    /// The unit where none is written.
    pub unit_is: Option<String>,
    /// Column of the uncertainty (a row for each element).
    pub uncertainty: Option<String>,
    /// Column of the maker's heat number, or its cell as `B3`.
    pub heat: Option<String>,
}

/// One content.
#[derive(Debug, Clone, PartialEq)]
pub struct Content {
    /// Cell of the value.
    pub cell: String,
    /// Element as written.
    pub element: String,
    /// Value as written: a number or `<x`.
    pub value: String,
    /// `wt%`, `ppm`; empty where none is written.
    pub unit: String,
    /// Uncertainty as written.
    pub uncertainty: String,
    /// The heat it belongs to; empty where the sheet names none.
    pub heat: String,
}

/// A fault of a cell: cell, value, what is wrong and would be right.
pub type CellFault = (String, String, String);

/// Everything that a sheet states, of all its heats.
pub fn contents(grid: &Grid, mapping: &Mapping, faults: &mut Vec<CellFault>) -> Vec<Content> {
    let head = mapping.header.saturating_sub(1);
    let column = |name: &Option<String>, faults: &mut Vec<CellFault>| -> Option<u32> {
        let name = name.as_deref()?;
        if let Some(letters) = name.strip_prefix('#') {
            return place(&format!("{letters}1")).map(|p| p.1);
        }
        let titles: Vec<(u32, String)> = grid
            .cells
            .range((head, 0)..=(head, u32::MAX))
            .map(|((_, c), held)| (*c, held.text().split_whitespace().collect::<Vec<_>>().join(" ")))
            .collect();
        let found = titles.iter().find(|(_, t)| t.eq_ignore_ascii_case(name.trim())).map(|(c, _)| *c);
        if found.is_none() {
            let close = near(name, titles.iter().map(|(_, t)| t.as_str()));
            let all: Vec<&str> = titles.iter().map(|(_, t)| t.as_str()).collect();
            let message = format!(
                "the header row has no such column{}; it has: {}",
                hint(&close),
                if all.is_empty() { "nothing".into() } else { all.join(", ") }
            );
            faults.push((address(head, 0), name.to_string(), message));
        }
        found
    };
    let heat_cell = mapping.heat.as_deref().and_then(place);
    let heat_column = if heat_cell.is_some() { None } else { column(&mapping.heat, faults) };
    let whole_heat = heat_cell.and_then(|(r, c)| grid.at(r, c)).map(CellValue::text).unwrap_or_default();
    if heat_cell.is_some() && whole_heat.is_empty() {
        let cell = mapping.heat.clone().unwrap_or_default();
        faults.push((cell, String::new(), "the heat number should stand here".into()));
    }
    let heat = |r: u32| match heat_column {
        Some(c) => grid.at(r, c).map(CellValue::text).unwrap_or_default().trim().to_string(),
        None => whole_heat.trim().to_string(),
    };
    let mut out = Vec::new();
    if mapping.by_element {
        let (element, value) = (column(&mapping.element, faults), column(&mapping.value, faults));
        let (unit, spread) = (column(&mapping.unit, faults), column(&mapping.uncertainty, faults));
        let (Some(element), Some(value)) = (element, value) else { return out };
        for r in head + 1..=grid.last_row() {
            let Some(symbol) = grid.at(r, element).map(CellValue::text) else { continue };
            let text =
                |c: Option<u32>| c.and_then(|c| grid.at(r, c)).map(CellValue::text).unwrap_or_default();
            let Some(stated) = stated(grid, r, value, faults) else { continue };
            out.push(Content {
                cell: address(r, value),
                element: symbol.trim().to_string(),
                value: stated,
                unit: unit_word(&text(unit)),
                uncertainty: text(spread).trim().to_string(),
                heat: heat(r),
            });
        }
        return out;
    }
    let units = mapping.units_row.map(|r| r.saturating_sub(1));
    for (&(_, c), title) in grid.cells.range((head, 0)..=(head, u32::MAX)) {
        let title = title.text();
        let (symbol, said) = title.trim().split_once([' ', '(', '[', '/']).unwrap_or((title.trim(), ""));
        // Other columns (dates, remarks) are not chemistry; a symbol is one or two letters.
        if symbol.is_empty() || symbol.len() > 2 || Some(c) == heat_column {
            continue;
        }
        let below = units.and_then(|r| grid.at(r, c)).map(CellValue::text).unwrap_or_default();
        for r in head + 1..=grid.last_row() {
            if Some(r) == units {
                continue;
            }
            let Some(value) = stated(grid, r, c, faults) else { continue };
            let unit = unit_word(if below.is_empty() { said } else { &below });
            out.push(Content {
                cell: address(r, c),
                element: symbol.to_string(),
                value,
                unit,
                uncertainty: String::new(),
                heat: heat(r),
            });
        }
    }
    out
}

/// A value as it is stated; none where the sheet says that there is none, or where it is at fault.
fn stated(grid: &Grid, r: u32, c: u32, faults: &mut Vec<CellFault>) -> Option<String> {
    let held = grid.at(r, c)?;
    if let Some(range) = grid.merged_with(r, c) {
        let message = format!("is in the merged cells {range}: whose value is it? Unmerge them");
        faults.push((address(r, c), held.text(), message));
        return None;
    }
    if let Some(what) = held.oddity() {
        let message = "not a value; a number or <x belongs here (paste values only)".to_string();
        faults.push((address(r, c), what, message));
        return None;
    }
    match held {
        CellValue::Text(t) => {
            let t: String = t.split_whitespace().collect();
            let t = t.replace('≤', "<").replace("<=", "<");
            if matches!(t.as_str(), "-" | "–" | "—" | "n/a" | "n.a." | "/") {
                return None;
            }
            let number = t.strip_prefix('<').unwrap_or(&t);
            if number.parse::<f64>().is_ok_and(f64::is_finite) {
                return Some(t);
            }
            let right = number.replace(',', ".");
            let message = if right.parse::<f64>().is_ok() {
                format!("not a number with a point; {right}, if the comma is the decimal mark")
            } else {
                "not a number; 12.5 is one, and <5 says below a detection limit".into()
            };
            faults.push((address(r, c), t, message));
            None
        }
        number => Some(number.text()),
    }
}

/// A unit as records write it; what it is not stays as it is.
fn unit_word(text: &str) -> String {
    let plain: String = text.chars().filter(|c| !c.is_whitespace() && !"()[].".contains(*c)).collect();
    match plain.to_lowercase().as_str() {
        "%" | "wt%" | "wt-%" | "mass%" | "weight%" | "m%" | "pct" | "wtpct" => "wt%".into(),
        "ppm" | "ppmw" | "wtppm" | "mg/kg" | "µg/g" | "ug/g" => "ppm".into(),
        _ => plain,
    }
}
