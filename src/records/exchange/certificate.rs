//! Chemistry out of a sheet of cells, by a mapping that says where things stand.

use serde::{Deserialize, Serialize};

use knowledge::metallurgy::elements::canonical;

use crate::exchange::cells;
use crate::exchange::cells::{Habits, Seen, figures_and_rest};
use crate::exchange::grid::{CellValue, Grid, address, letters, place};
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
    /// Column of the maker's heat number, or its cell as `B3`; with a row for each element also the row of the heat
    /// numbers, each above its own column of values.
    pub heat: Option<String>,
}

/// One content.
#[derive(Debug, Clone, PartialEq)]
pub struct Content {
    /// Cell of the value.
    pub cell: String,
    /// Symbol of the element, or of a sum as `Nb+Ta`; what is none stands as it is written.
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

/// What a sheet states, and what of it was left out.
#[derive(Debug, Default)]
pub struct Contents {
    pub lines: Vec<Content>,
    /// What was left out, and by which rule.
    pub remarks: Vec<String>,
}

/// A part of a sheet below one row of headers.
struct Block {
    /// Its row of headers, from 0.
    head: u32,
    /// The row behind its last.
    end: u32,
}

/// A column of values.
struct ValueColumn {
    at: u32,
    symbol: String,
    unit: String,
}

/// A sheet at work.
struct Reading<'a> {
    grid: &'a Grid,
    mapping: &'a Mapping,
    /// How the numbers of the sheet are written.
    seen: Seen,
    faults: &'a mut Vec<CellFault>,
    out: Contents,
    /// Rows that hold nothing that is asked for, and columns, by their titles.
    rows: Vec<u32>,
    columns: Vec<String>,
    /// No value is stated: element and cell.
    blank: Vec<String>,
    /// Rows of the cells of heat numbers.
    heat_rows: Vec<u32>,
}

/// Everything that a sheet states, of all its heats.
pub fn contents(grid: &Grid, mapping: &Mapping, faults: &mut Vec<CellFault>) -> Contents {
    let texts = grid.cells.values().filter(|held| matches!(held, CellValue::Text(_)));
    let seen = Seen::of(texts);
    let mut reading = Reading {
        grid,
        mapping,
        seen,
        faults,
        out: Contents::default(),
        rows: Vec::new(),
        columns: Vec::new(),
        blank: Vec::new(),
        heat_rows: Vec::new(),
    };
    if mapping.by_element {
        reading.down();
    } else {
        reading.across();
    }
    reading.remarks();
    reading.out
}

impl Reading<'_> {
    fn text(&self, row: u32, column: u32) -> String {
        let text = self.grid.at(row, column).map(CellValue::text).unwrap_or_default();
        text.split_whitespace().collect::<Vec<_>>().join(" ")
    }

    fn row(&self, row: u32) -> Vec<(u32, String)> {
        let cells = self.grid.cells.range((row, 0)..=(row, u32::MAX));
        cells.map(|((_, c), _)| (*c, self.text(row, *c))).collect()
    }

    fn fault(&mut self, row: u32, column: u32, value: &str, message: impl Into<String>) {
        self.faults.push((address(row, column), value.into(), message.into()));
    }

    /// A column by its header, or by its letter.
    fn column(&mut self, name: Option<&String>) -> Option<u32> {
        let name = name?;
        if let Some(letters) = name.strip_prefix('#') {
            return place(&format!("{letters}1")).map(|p| p.1);
        }
        let head = self.mapping.header.saturating_sub(1);
        let titles = self.row(head);
        let found = titles.iter().find(|(_, t)| t.eq_ignore_ascii_case(name.trim())).map(|(c, _)| *c);
        if found.is_none() {
            let close = near(name, titles.iter().map(|(_, t)| t.as_str()));
            let all: Vec<&str> = titles.iter().map(|(_, t)| t.as_str()).collect();
            let message = format!(
                "the header row has no such column{}; it has: {}",
                hint(&close),
                if all.is_empty() { "nothing".into() } else { all.join(", ") }
            );
            self.fault(head, 0, name, message);
        }
        found
    }

    /// The blocks of the sheet: below the row of headers, and below each further row that `again` says is one.
    fn blocks(&self, again: impl Fn(u32) -> bool) -> Vec<Block> {
        let head = self.mapping.header.saturating_sub(1);
        let end = self.grid.last_row() + 1;
        let heads = std::iter::once(head).chain((head + 1..end).filter(|r| again(*r))).collect::<Vec<_>>();
        let ends = heads.iter().skip(1).copied().chain([end.max(head + 1)]);
        heads.iter().copied().zip(ends).map(|(head, end)| Block { head, end }).collect()
    }

    /// The cell of a block's heat number: as far from the headers as that of the first.
    fn heat_cell(&self, block: &Block) -> Option<(u32, u32)> {
        let (row, column) = self.mapping.heat.as_deref().and_then(place)?;
        let first = self.mapping.header.saturating_sub(1);
        let row = i64::from(row) + i64::from(block.head) - i64::from(first);
        Some((u32::try_from(row).ok()?, column))
    }

    fn heat_of(&mut self, block: &Block) -> Option<String> {
        let (row, column) = self.heat_cell(block)?;
        let heat = self.text(row, column);
        if heat.is_empty() {
            self.fault(row, column, "", "the heat number should stand here");
        }
        Some(heat)
    }

    /// A row for each element.
    fn down(&mut self) {
        let mapping = self.mapping;
        let head = mapping.header.saturating_sub(1);
        // A row of heat numbers, each above its own column.
        let heat_row = mapping.heat.as_deref().and_then(|h| h.trim().parse::<u32>().ok());
        let heat_column = match mapping.heat.as_deref() {
            Some(h) if heat_row.is_none() && place(h).is_none() => self.column(mapping.heat.as_ref()),
            _ => None,
        };
        let (element, value) = (self.column(mapping.element.as_ref()), self.column(mapping.value.as_ref()));
        let (unit, spread) = (self.column(mapping.unit.as_ref()), self.column(mapping.uncertainty.as_ref()));
        let (Some(element), Some(value)) = (element, value) else { return };
        let titles = (self.text(head, element).to_lowercase(), self.text(head, value).to_lowercase());
        let again = |r: u32| {
            !titles.0.is_empty()
                && self.text(r, element).to_lowercase() == titles.0
                && self.text(r, value).to_lowercase() == titles.1
        };
        let blocks = self.blocks(again);
        self.heat_rows = blocks.iter().filter_map(|b| self.heat_cell(b)).map(|c| c.0).collect();
        for block in blocks {
            let whole = self.heat_of(&block).unwrap_or_default();
            let own = [Some(element), unit, spread, heat_column];
            let values: Vec<(u32, String)> = match heat_row.map(|r| r.saturating_sub(1)) {
                Some(r) => {
                    let heats = self.row(r).into_iter();
                    heats.filter(|(c, t)| *c >= value && !own.contains(&Some(*c)) && !is_limit(t)).collect()
                }
                None => vec![(value, whole)],
            };
            self.untaken(&block, |c| own.contains(&Some(c)) || values.iter().any(|v| v.0 == c));
            for r in block.head + 1..block.end {
                let symbol = self.text(r, element);
                if self.row(r).is_empty() || self.is_heat(r) {
                    continue;
                }
                let stated = values.iter().any(|(c, _)| self.grid.at(r, *c).is_some());
                match symbol_of(&symbol) {
                    Some((name, _)) if !stated => {
                        self.blank.push(format!("{name} (row {})", r + 1));
                        continue;
                    }
                    None if !stated || symbol.is_empty() || is_rest(&symbol) => {
                        self.rows.push(r);
                        continue;
                    }
                    _ => {}
                }
                let (name, said) = symbol_of(&symbol).unwrap_or((symbol, String::new()));
                let below = unit.map(|c| self.text(r, c)).unwrap_or_default();
                let spread = spread.map(|c| self.text(r, c)).unwrap_or_default();
                for (c, heat) in &values {
                    let heat = heat_column.map_or(heat.clone(), |c| self.text(r, c));
                    let unit = unit_word(if below.is_empty() { &said } else { &below });
                    self.take(r, &ValueColumn { at: *c, symbol: name.clone(), unit }, &spread, heat);
                }
            }
        }
    }

    /// A column for each element.
    fn across(&mut self) {
        let mapping = self.mapping;
        let heat_column = match mapping.heat.as_deref() {
            Some(h) if place(h).is_none() => self.column(mapping.heat.as_ref()),
            _ => None,
        };
        let units_row = mapping.units_row.map(|r| r.saturating_sub(1));
        // Further down the page other elements may stand as headers.
        let again = |r: u32| {
            let cells = self.row(r);
            let symbols = cells.iter().filter(|(_, t)| symbol_of(t).is_some()).count();
            symbols >= 2 && cells.iter().all(|(_, t)| t.parse::<f64>().is_err())
        };
        let blocks = self.blocks(again);
        self.heat_rows = blocks.iter().filter_map(|b| self.heat_cell(b)).map(|c| c.0).collect();
        for (i, block) in blocks.iter().enumerate() {
            let whole = self.heat_of(block).unwrap_or_default();
            let units_at = match units_row {
                Some(r) if i == 0 => Some(r),
                _ => (block.head + 1..block.end).find(|r| {
                    let cells = self.row(*r);
                    let units =
                        cells.iter().filter(|(_, t)| matches!(unit_word(t).as_str(), "wt%" | "ppm")).count();
                    units >= 1 && cells.iter().all(|(_, t)| t.parse::<f64>().is_err())
                }),
            };
            let mut values: Vec<ValueColumn> = Vec::new();
            for (c, title) in self.row(block.head) {
                if let Some((symbol, said)) = symbol_of(&title).filter(|_| Some(c) != heat_column) {
                    let below = units_at.map(|r| self.text(r, c)).unwrap_or_default();
                    values.push(ValueColumn {
                        at: c,
                        symbol,
                        unit: unit_word(if below.is_empty() { &said } else { &below }),
                    });
                }
            }
            self.untaken(block, |c| Some(c) == heat_column || values.iter().any(|v| v.at == c));
            for r in (block.head + 1..block.end).filter(|r| Some(*r) != units_at) {
                let cells = self.row(r);
                let chemistry: Vec<&(u32, String)> =
                    cells.iter().filter(|(c, _)| values.iter().any(|v| v.at == *c)).collect();
                let label = cells.iter().find(|(c, t)| values.iter().all(|v| v.at != *c) && is_limit(t));
                let bounds = !chemistry.is_empty() && chemistry.iter().all(|(_, t)| is_range(t));
                match label {
                    Some((_, label)) if !chemistry.is_empty() => {
                        self.out.remarks.push(format!("row {} ({label}) holds limits, not taken", r + 1));
                    }
                    _ if bounds => {
                        self.out.remarks.push(format!("row {} holds ranges, not taken", r + 1));
                    }
                    _ if chemistry.is_empty() => {
                        self.rows.extend((!cells.is_empty() && !self.is_heat(r)).then_some(r))
                    }
                    _ => {
                        let heat = heat_column.map_or(whole.clone(), |c| self.text(r, c));
                        for value in &values {
                            self.take(r, value, "", heat.clone());
                        }
                    }
                }
            }
        }
    }

    /// The row holds the heat number and its label alone.
    fn is_heat(&self, row: u32) -> bool {
        self.heat_rows.contains(&row) && self.row(row).len() <= 2
    }

    /// Columns of a block that are not taken.
    fn untaken(&mut self, block: &Block, taken: impl Fn(u32) -> bool) {
        let mut columns: Vec<u32> = self
            .grid
            .cells
            .range((block.head, 0)..(block.end, 0))
            .map(|((_, c), _)| *c)
            .filter(|c| !taken(*c))
            .collect();
        columns.sort_unstable();
        columns.dedup();
        for c in columns {
            let title = self.text(block.head, c);
            let name = if title.is_empty() { format!("#{}", letters(c)) } else { title };
            if !self.columns.contains(&name) {
                self.columns.push(name);
            }
        }
    }

    /// Takes a value as it is stated.
    fn take(&mut self, r: u32, column: &ValueColumn, uncertainty: &str, heat: String) {
        let c = column.at;
        let Some(held) = self.grid.at(r, c) else { return };
        if let Some(range) = self.grid.merged_with(r, c) {
            let text = held.text();
            return self.fault(
                r,
                c,
                &text,
                format!("is in the merged cells {range}: whose value is it? Unmerge them"),
            );
        }
        if let Some(what) = held.oddity() {
            return self.fault(r, c, &what, "not a value; a number or <x belongs here (paste values only)");
        }
        let (mut value, mut unit) = (held.text(), column.unit.clone());
        if let CellValue::Text(text) = held {
            let text = text.split_whitespace().collect::<Vec<_>>().join(" ");
            match text.to_lowercase().trim_end_matches('.') {
                "-" | "–" | "—" | "n/a" | "n.a" | "n.d" | "nd" | "/" | "not analysed" | "not analyzed" => {
                    self.blank.push(format!("{} ({}: {text})", column.symbol, address(r, c)));
                    return;
                }
                "bal" | "balance" | "base" | "basis" | "rest" | "rem" | "remainder" => {
                    let said = format!(
                        "{} is stated as the balance ({}: {text}); no value is taken",
                        column.symbol,
                        address(r, c)
                    );
                    self.out.remarks.push(said);
                    return;
                }
                _ => {}
            }
            match self.number(&text) {
                Ok((number, said)) => {
                    if !said.is_empty() && !unit.is_empty() && said != unit {
                        let message = format!("is in {said}, but its column or row says {unit}");
                        return self.fault(r, c, &text, message);
                    }
                    value = number;
                    unit = if said.is_empty() { unit } else { said };
                }
                Err(message) => return self.fault(r, c, &text, message),
            }
        }
        self.out.lines.push(Content {
            cell: address(r, c),
            element: column.symbol.clone(),
            value,
            unit,
            uncertainty: uncertainty.to_string(),
            heat,
        });
    }

    /// A number or `<x`, and the unit beside it.
    fn number(&self, text: &str) -> Result<(String, String), String> {
        if is_range(text) {
            return Err(
                "is a range or a limit; one value belongs here, and <5 says below a detection limit".into()
            );
        }
        let plain: String =
            text.replace('≤', "<").replace("<=", "<").chars().filter(|c| !c.is_whitespace()).collect();
        let (below, rest) = plain.strip_prefix('<').map_or(("", plain.as_str()), |rest| ("<", rest));
        let (figures, said) = figures_and_rest(rest);
        let unit = unit_word(said);
        let wrong = || "not a number; 12.5 is one, and <5 says below a detection limit".to_string();
        if !unit.is_empty() && !matches!(unit.as_str(), "wt%" | "ppm") {
            return Err(wrong());
        }
        let read =
            cells::number(figures, "", false, &Habits::default(), &self.seen).map_err(|e| e.message)?.text;
        if !read.parse::<f64>().is_ok_and(f64::is_finite) {
            return Err(wrong());
        }
        Ok((format!("{below}{read}"), unit))
    }

    /// Says what was left out.
    fn remarks(&mut self) {
        let first = self.mapping.header.saturating_sub(1);
        let above: Vec<u32> = (0..first).filter(|r| !self.row(*r).is_empty() && !self.is_heat(*r)).collect();
        for (rows, what) in [
            (above, "above the headers"),
            (std::mem::take(&mut self.rows), "without a value that is asked for"),
        ] {
            if !rows.is_empty() {
                self.out.remarks.push(format!("rows not taken, {what}: {}", runs(&rows)));
            }
        }
        if !self.columns.is_empty() {
            self.out.remarks.push(format!("columns not taken: {}", self.columns.join(", ")));
        }
        if !self.blank.is_empty() {
            self.out.remarks.push(format!("no value is stated of {}", self.blank.join(", ")));
        }
    }
}

/// Rows from 0 as a person counts them: `1, 4 to 6`.
fn runs(rows: &[u32]) -> String {
    let mut out: Vec<(u32, u32)> = Vec::new();
    for &row in rows {
        match out.last_mut() {
            Some(last) if last.1 + 1 == row => last.1 = row,
            _ => out.push((row, row)),
        }
    }
    let one =
        |(a, b): &(u32, u32)| if a == b { (a + 1).to_string() } else { format!("{} to {}", a + 1, b + 1) };
    out.iter().map(one).collect::<Vec<_>>().join(", ")
}

/// A label of a row or column of limits: `min.`, `Spec. max`.
fn is_limit(text: &str) -> bool {
    let words = [
        "min",
        "minimum",
        "max",
        "maximum",
        "spec",
        "specification",
        "limit",
        "limits",
        "lower",
        "upper",
        "aim",
        "target",
        "nominal",
        "soll",
        "sollwert",
        "from",
        "to",
    ];
    let mut parts = text.split([' ', '.', ':', '/', '(', ')']).filter(|w| !w.is_empty()).peekable();
    parts.peek().is_some() && parts.all(|w| words.contains(&w.to_lowercase().as_str()))
}

/// A label of a row that adds up what stands above, or stands for no element.
fn is_rest(text: &str) -> bool {
    let word = text.to_lowercase();
    let words = ["total", "sum", "others", "other", "others each", "others total", "summe", "sonstige"];
    words.contains(&word.trim_end_matches([':', '.']))
}

/// `0.02-0.04`, `12.0 to 14.0`, `max. 0.02`.
fn is_range(text: &str) -> bool {
    let lower = text.to_lowercase().replace('–', "-");
    let number = |t: &str| t.trim().replace(',', ".").parse::<f64>().is_ok();
    let two = ["-", " to ", " bis ", "/"]
        .iter()
        .any(|mark| lower.split_once(mark).is_some_and(|(a, b)| number(a) && number(b)));
    let one = ["max.", "max", "min.", "min"]
        .iter()
        .find_map(|word| lower.strip_prefix(word).or(lower.strip_suffix(word)));
    two || one.is_some_and(number)
}

/// The symbol that a header names, and what stands behind it; of a sum `Nb+Ta`. None where it names no element.
fn symbol_of(text: &str) -> Option<(String, String)> {
    let mut rest = text.trim();
    let (mut symbols, mut open): (Vec<&'static str>, bool) = (Vec::new(), false);
    loop {
        let end = rest.find(|c: char| !c.is_alphabetic()).unwrap_or(rest.len());
        symbols.push(element(&rest[..end])?);
        rest = rest[end..].trim_start();
        let more = rest.strip_prefix("(+").inspect(|_| open = true).or_else(|| rest.strip_prefix('+'));
        match more {
            Some(after) => rest = after.trim_start(),
            None => break,
        }
    }
    if open {
        rest = rest.strip_prefix(')')?.trim_start();
    }
    // As received, In stock: words, and no unit.
    let word = rest.chars().take_while(|c| c.is_alphabetic()).count();
    let known = matches!(unit_word(rest).as_str(), "wt%" | "ppm" | "");
    if !known && (word > 0 || !rest.starts_with(['(', '[', '/', ','])) {
        return None;
    }
    Some((symbols.join("+"), rest.trim_start_matches([',', '/']).trim().to_string()))
}

/// An element by its symbol or its name.
fn element(text: &str) -> Option<&'static str> {
    const NAMES: [(&str, &str); 26] = [
        ("carbon", "C"),
        ("chromium", "Cr"),
        ("nickel", "Ni"),
        ("cobalt", "Co"),
        ("molybdenum", "Mo"),
        ("aluminium", "Al"),
        ("aluminum", "Al"),
        ("titanium", "Ti"),
        ("tungsten", "W"),
        ("tantalum", "Ta"),
        ("niobium", "Nb"),
        ("columbium", "Nb"),
        ("iron", "Fe"),
        ("manganese", "Mn"),
        ("silicon", "Si"),
        ("copper", "Cu"),
        ("boron", "B"),
        ("zirconium", "Zr"),
        ("hafnium", "Hf"),
        ("rhenium", "Re"),
        ("sulphur", "S"),
        ("sulfur", "S"),
        ("phosphorus", "P"),
        ("nitrogen", "N"),
        ("oxygen", "O"),
        ("hydrogen", "H"),
    ];
    let named = || NAMES.iter().find(|(name, _)| name.eq_ignore_ascii_case(text)).map(|(_, s)| *s);
    canonical(text).or_else(named)
}

/// A unit as records write it; what it is not stays as it is.
fn unit_word(text: &str) -> String {
    let plain: String = text.chars().filter(|c| !c.is_whitespace() && !"()[].,".contains(*c)).collect();
    match plain.to_lowercase().trim_start_matches('/') {
        "%" | "wt%" | "wt-%" | "mass%" | "weight%" | "m%" | "m-%" | "gew%" | "gew-%" | "pct" | "wtpct" => {
            "wt%".into()
        }
        "ppm" | "ppmw" | "wtppm" | "mg/kg" | "µg/g" | "ug/g" => "ppm".into(),
        _ => plain,
    }
}
