//! What a concession covers: its items and what stands against a blade go in, a verdict comes out. No store, no words
//! in prose: an item lifts only where every field that it fills fits.

use std::collections::{BTreeMap, BTreeSet};

use knowledge::metallurgy::elements::canonical;
use records::value::decimal::Decimal;
use records::value::tag::{folded, shown};
use records::{Record, Value};

/// Kind and id of a record: what an item is only for stays the same whatever its tag becomes.
pub type Id = (&'static str, i64);

/// One row of an item.
#[derive(Clone, Debug, Default)]
pub struct Row {
    /// The item that it belongs to.
    pub item: i64,
    /// What is measured; blank where nothing is.
    pub measure: String,
    /// defect, element, characteristic, instrument, definition or station.
    pub covers: String,
    /// Which one.
    pub name: String,
    /// In which zone alone.
    pub zone: Option<String>,
    pub at_least: Option<f64>,
    pub at_most: Option<f64>,
    /// Unit of both.
    pub unit: Option<String>,
    /// For which record alone: its id, and its tag to be shown.
    pub only_for: Option<(Id, String)>,
}

impl Row {
    /// From a record of `concession_items`, and what its `only_for` leads to.
    pub fn of(record: &Record, only_for: Option<Id>) -> Self {
        let text = |f: &str| record.get(f).text().map(String::from);
        let covers = record.get("covers").to_text();
        let usual = match covers.as_str() {
            "element" | "characteristic" => "value",
            "defect" => "size_mm",
            _ => "",
        };
        Self {
            item: record.get("item").number().unwrap_or(0.0) as i64,
            measure: text("measure").unwrap_or_else(|| usual.into()),
            covers,
            name: record.get("name").to_text(),
            zone: text("zone"),
            at_least: record.get("at_least").number(),
            at_most: record.get("at_most").number(),
            unit: text("unit"),
            only_for: only_for.map(|id| (id, record.get("only_for").to_text())),
        }
    }

    fn bounded(&self) -> bool {
        self.at_least.is_some() || self.at_most.is_some()
    }

    /// What it covers, in words.
    pub fn words(&self) -> String {
        let mut out = format!("{} {}", self.covers, self.name);
        if let Some(zone) = &self.zone {
            out.push_str(&format!(" in {zone}"));
        }
        if self.bounded() {
            if self.measure != "value" {
                out.push_str(&format!(", {}", self.measure));
            }
            let unit = self.unit.as_ref().map_or(String::new(), |u| format!(" {u}"));
            for (word, bound) in [("at least", self.at_least), ("at most", self.at_most)] {
                if let Some(v) = bound {
                    out.push_str(&format!(" {word} {v}{unit}"));
                }
            }
        }
        if let Some((_, tag)) = &self.only_for {
            out.push_str(&format!(", only for {tag}"));
        }
        out
    }
}

/// On which side of its limits a value lies.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Side {
    /// Too much.
    Excess,
    /// Too little.
    Shortfall,
}

/// What stands against a blade.
#[derive(Clone, Debug)]
pub enum What {
    /// A finding of a rejecting inspection.
    Finding {
        /// The defect term.
        defect: String,
        /// Where.
        zone: Option<String>,
        /// What was measured on it: name of the field, value.
        measures: Vec<(&'static str, Value<'static>)>,
    },
    /// A measured value outside its limits, of a rejecting inspection.
    Measurement {
        /// The characteristic.
        name: String,
        value: Value<'static>,
        unit: String,
        /// Outside on which side.
        side: Side,
    },
    /// The content of an element outside its limits, or not told to be inside.
    Element {
        /// Its symbol, or a sum of them.
        name: String,
        /// The content.
        value: Value<'static>,
        /// wt% or ppm.
        unit: String,
        /// Outside on which side.
        side: Side,
    },
    /// A reading with an instrument that was overdue or is suspect.
    Instrument(String),
    /// A definition that is not approved, `TAG@REV`.
    Definition(String),
    /// A method of the plan by which the blade was not inspected.
    Station(String),
}

impl What {
    fn covers(&self) -> &'static str {
        match self {
            Self::Finding { .. } => "defect",
            Self::Measurement { .. } => "characteristic",
            Self::Element { .. } => "element",
            Self::Instrument(_) => "instrument",
            Self::Definition(_) => "definition",
            Self::Station(_) => "station",
        }
    }

    fn name(&self) -> &str {
        match self {
            Self::Finding { defect: name, .. }
            | Self::Measurement { name, .. }
            | Self::Element { name, .. }
            | Self::Instrument(name)
            | Self::Definition(name)
            | Self::Station(name) => name,
        }
    }

    /// In words: `inclusion in AF`, `O 32 ppm`.
    pub fn words(&self) -> String {
        match self {
            Self::Finding { defect, zone: Some(zone), .. } => format!("{defect} in {zone}"),
            Self::Measurement { name, value, unit, .. } | Self::Element { name, value, unit, .. } => {
                format!("{name} {} {unit}", value.to_text())
            }
            _ => self.name().to_string(),
        }
    }
}

/// The blade, as far as an item asks for it.
#[derive(Clone, Debug, Default)]
pub struct Of {
    /// Its id.
    pub blade: i64,
    /// The heat that its mould was poured from.
    pub heat: Option<i64>,
    /// The lot that it is in now and was in at the disposition.
    pub lot: Option<i64>,
    /// What it came out of, without what came back as revert.
    pub under: BTreeSet<Id>,
}

/// What an item came to.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Verdict {
    /// This item covers it.
    Lifted(i64),
    /// None does; what is missing.
    Open(String),
}

/// Whether one of the items covers what stands against a blade. `reading` are the mould, the heat or the inspection
/// that it was read on.
pub fn judge(rows: &[Row], what: &What, of: &Of, reading: &[Id]) -> Verdict {
    let mut items: BTreeMap<i64, Vec<&Row>> = BTreeMap::new();
    for row in rows {
        items.entry(row.item).or_default().push(row);
    }
    let mut nearest: Option<(i64, Vec<String>)> = None;
    for (item, rows) in items {
        if !rows.iter().all(|r| r.covers == what.covers() && same(&r.covers, &r.name, what.name())) {
            continue;
        }
        let lacks = lacking(&rows, what, of, reading);
        if lacks.is_empty() {
            return Verdict::Lifted(item);
        }
        if nearest.as_ref().is_none_or(|(_, n)| lacks.len() < n.len()) {
            nearest = Some((item, lacks));
        }
    }
    Verdict::Open(match nearest {
        Some((item, lacks)) => format!("item {item}: {}", lacks.join(", ")),
        None => format!("no item covers {} {}", what.covers(), shown(what.name())),
    })
}

/// Two names of one thing.
fn same(covers: &str, a: &str, b: &str) -> bool {
    if covers == "element" {
        let parts = |name: &str| -> BTreeSet<String> {
            name.split('+').map(|n| canonical(n.trim()).map_or_else(|| folded(n), folded)).collect()
        };
        return parts(a) == parts(b);
    }
    folded(a) == folded(b)
}

fn lacking(rows: &[&Row], what: &What, of: &Of, reading: &[Id]) -> Vec<String> {
    let mut out = Vec::new();
    for row in rows {
        match what {
            What::Finding { zone, measures, .. } => finding(row, zone.as_deref(), measures, &mut out),
            What::Measurement { value, unit, side, .. } => {
                if row.unit.as_ref().is_some_and(|u| u != unit) {
                    out.push(format!("it is in {}, the item in {}", unit, row.unit.as_deref().unwrap_or("")));
                } else {
                    sided(row, what, value, 0, 0, *side, &mut out);
                }
            }
            What::Element { value, unit, side, .. } => match (power(unit), row.unit.as_deref().map(power)) {
                (Some(of_value), Some(Some(of_item))) => {
                    sided(row, what, value, of_value, of_item, *side, &mut out);
                }
                _ => out.push("the item's unit is not wt% or ppm".into()),
            },
            What::Instrument(_) if row.only_for.is_none() => {
                out.push("the item names no mould, heat or inspection whose reading it is (only_for)".into());
            }
            What::Instrument(_) | What::Definition(_) | What::Station(_) => {}
        }
        if let Some((id, tag)) = &row.only_for {
            if !applies(*id, what, of, reading) {
                out.push(format!("the item is only for {tag}"));
            }
        }
    }
    // More than one of a kind is another thing than one: how many may be must be said.
    if let What::Finding { measures, .. } = what {
        let count = measures.iter().find(|(m, _)| *m == "count").map_or(&Value::Blank, |(_, v)| v);
        if matches!(count, Value::Illegible) {
            out.push("the count is illegible".into());
        }
        let count = count.number().unwrap_or(1.0);
        if count > 1.0 && !rows.iter().any(|r| r.measure == "count" && r.at_most.is_some()) {
            out.push(format!("the count is {count}, and no row of the item has measure count with at_most"));
        }
    }
    out.dedup();
    out
}

/// Powers of ten from a unit of content to ppm.
fn power(unit: &str) -> Option<i32> {
    match unit {
        "wt%" => Some(4),
        "ppm" => Some(0),
        _ => None,
    }
}

fn finding(row: &Row, zone: Option<&str>, measures: &[(&str, Value)], out: &mut Vec<String>) {
    if let Some(wanted) = &row.zone {
        match zone {
            Some(zone) if folded(zone) == folded(wanted) => {}
            Some(zone) => out.push(format!("the zone is {}, the item is for {wanted}", shown(zone))),
            None => out.push(format!("no zone is recorded, the item is for {wanted}")),
        }
    }
    if row.bounded() {
        // Nothing is too small or too few a defect; it may lie too near.
        if row.measure != "distance_mm" && row.at_most.is_none() {
            out.push(format!("{} is too much, and the item has no at_most", row.measure));
            return;
        }
        let value = measures.iter().find(|(m, _)| *m == row.measure).map_or(&Value::Blank, |(_, v)| v);
        within(row, &row.measure, value, 0, 0, out);
    }
}

/// Only `at_most` lifts an excess, only `at_least` a shortfall.
fn sided(
    row: &Row,
    what: &What,
    value: &Value,
    of_value: i32,
    of_item: i32,
    side: Side,
    out: &mut Vec<String>,
) {
    let needed = match side {
        Side::Excess => ("too much", "at_most", row.at_most),
        Side::Shortfall => ("too little", "at_least", row.at_least),
    };
    match needed {
        (how, field, None) => out.push(format!("{} is {how}, and the item has no {field}", what.words())),
        _ => within(row, &what.words(), value, of_value, of_item, out),
    }
}

/// The value against the row's bounds, digit by digit.
fn within(row: &Row, label: &str, value: &Value, of_value: i32, of_item: i32, out: &mut Vec<String>) {
    let unit = row.unit.as_ref().map_or(String::new(), |u| format!(" {u}"));
    let said = |v: f64| if label.contains(' ') { label.to_string() } else { format!("{label} {v}") };
    let bound = |b: Option<f64>| b.map(|b| (b, Decimal::of(b).shifted(of_item)));
    let (least, most) = (bound(row.at_least), bound(row.at_most));
    match value {
        Value::Number(_) | Value::Count(_) => {
            let v = value.number().unwrap_or(0.0);
            let exact = Decimal::of(v).shifted(of_value);
            if let Some((b, _)) = least.filter(|(_, b)| exact < *b) {
                out.push(format!("{} is below at_least {b}{unit}", said(v)));
            }
            if let Some((b, _)) = most.filter(|(_, b)| exact > *b) {
                out.push(format!("{} is above at_most {b}{unit}", said(v)));
            }
        }
        Value::Below(x) => {
            let exact = Decimal::of(*x).shifted(of_value);
            let shown = if label.contains(' ') { label.to_string() } else { format!("{label} <{x}") };
            if least.is_some() {
                out.push(format!("{shown}: below detection never fits an at_least"));
            }
            if let Some((b, _)) = most.filter(|(_, b)| exact > *b) {
                out.push(format!("{shown} reaches above at_most {b}{unit}"));
            }
        }
        Value::NotApplicable | Value::Illegible => out.push(format!("{label} is {}", value.to_text())),
        _ => out.push(format!("{label} is not recorded")),
    }
}

/// The record that an item is only for is one that the blade, or the reading, stands under.
fn applies(id: Id, what: &What, of: &Of, reading: &[Id]) -> bool {
    if matches!(what, What::Instrument(_)) && !reading.contains(&id) {
        return false;
    }
    match id.0 {
        "heats" => of.heat == Some(id.1),
        "lots" => of.lot == Some(id.1),
        "blades" => of.blade == id.1,
        "inspections" => reading.contains(&id),
        _ => of.under.contains(&id),
    }
}
