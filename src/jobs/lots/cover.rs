//! What a concession covers: its items and what stands against a blade go in, a verdict comes out. No store, no words
//! in prose: an item lifts only where every field that it fills fits.

use std::collections::{BTreeMap, BTreeSet};

use knowledge::metallurgy::elements::canonical;
use records::catalogue::{
    As, Blades, ConcessionItems, ContentUnit, Covers, Heats, Inspections, Key, Lots, Measure,
};
use records::value::decimal::Decimal;
use records::value::tag::{folded, shown};
use records::{Link, Result, Value};

/// One row of an item.
#[derive(Clone, Debug)]
pub struct ItemRow {
    /// The item that it belongs to.
    pub item: i64,
    /// What is measured; none where nothing is.
    pub measure: Option<Measure>,
    pub covers: Covers,
    pub name: String,
    pub zone: Option<String>,
    pub at_least: Option<f64>,
    pub at_most: Option<f64>,
    pub unit: Option<String>,
    /// For which record alone, and its tag to be shown: it stays the same whatever its tag becomes.
    pub only_for: Option<(Link, String)>,
}

impl ItemRow {
    /// A row that fills nothing else.
    pub fn new(covers: Covers, name: String) -> Self {
        let measure = match covers {
            Covers::Element | Covers::Characteristic => Some(Measure::Value),
            Covers::Defect => Some(Measure::SizeMm),
            Covers::Instrument | Covers::Definition | Covers::Station => None,
        };
        Self {
            item: 0,
            measure,
            covers,
            name,
            zone: None,
            at_least: None,
            at_most: None,
            unit: None,
            only_for: None,
        }
    }

    /// From a record, and what its `only_for` leads to.
    pub fn of(record: As<ConcessionItems>, only_for: Option<Link>) -> Result<Self> {
        let usual =
            Self::new(record.need(ConcessionItems::covers)?, record.need(ConcessionItems::name)?.to_string());
        let tag = record.get(ConcessionItems::only_for).unwrap_or_default();
        Ok(Self {
            item: record.get(ConcessionItems::item).unwrap_or(0),
            measure: record.get(ConcessionItems::measure).or(usual.measure),
            zone: record.get(ConcessionItems::zone).map(String::from),
            at_least: record.get(ConcessionItems::at_least),
            at_most: record.get(ConcessionItems::at_most),
            unit: record.get(ConcessionItems::unit).map(String::from),
            only_for: only_for.map(|link| (link, tag.to_string())),
            ..usual
        })
    }

    fn bounded(&self) -> bool {
        self.at_least.is_some() || self.at_most.is_some()
    }

    pub fn words(&self) -> String {
        let mut out = format!("{} {}", self.covers.word(), self.name);
        if let Some(zone) = &self.zone {
            out.push_str(&format!(" in {zone}"));
        }
        if self.bounded() {
            if self.measure != Some(Measure::Value) {
                out.push_str(&format!(", {}", self.measure.map_or("", Measure::word)));
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
pub enum LimitSide {
    Excess,
    Shortfall,
}

/// What stands against a blade.
#[derive(Clone, Debug)]
pub enum Objection {
    /// A finding of a rejecting inspection.
    Finding {
        defect: String,
        zone: Option<String>,
        /// What was measured on it.
        measures: Vec<(Measure, Value<'static>)>,
    },
    /// A measured value outside its limits, of a rejecting inspection.
    Measurement { name: String, value: Value<'static>, unit: String, side: LimitSide },
    /// The content of an element outside its limits, or not told to be inside.
    Element {
        /// Its symbol, or a sum of them.
        name: String,
        value: Value<'static>,
        unit: String,
        side: LimitSide,
    },
    /// A reading with an instrument that was overdue or is suspect.
    Instrument(String),
    /// A definition that is not approved, `TAG@REV`.
    Definition(String),
    /// A method of the plan by which the blade was not inspected.
    Station(String),
}

impl Objection {
    fn covers(&self) -> Covers {
        match self {
            Self::Finding { .. } => Covers::Defect,
            Self::Measurement { .. } => Covers::Characteristic,
            Self::Element { .. } => Covers::Element,
            Self::Instrument(_) => Covers::Instrument,
            Self::Definition(_) => Covers::Definition,
            Self::Station(_) => Covers::Station,
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
#[derive(Clone, Debug)]
pub struct OfBlade {
    pub blade: Key<Blades>,
    /// The heat that its mould was poured from.
    pub heat: Option<Key<Heats>>,
    /// The lot that it is in now and was in at the disposition.
    pub lot: Option<Key<Lots>>,
    /// What it came out of, without what came back as revert.
    pub under: Vec<Link>,
}

/// What an item came to.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Coverage {
    /// This item covers it.
    Lifted(i64),
    /// None does; what is missing.
    Open(String),
}

/// Whether one of the items covers what stands against a blade. `reading` are the mould, the heat or the inspection
/// that it was read on.
pub fn judge(rows: &[ItemRow], what: &Objection, of: &OfBlade, reading: &[Link]) -> Coverage {
    let mut items: BTreeMap<i64, Vec<&ItemRow>> = BTreeMap::new();
    for row in rows {
        items.entry(row.item).or_default().push(row);
    }
    let mut nearest: Option<(i64, Vec<String>)> = None;
    for (item, rows) in items {
        if !rows.iter().all(|r| r.covers == what.covers() && same(r.covers, &r.name, what.name())) {
            continue;
        }
        let lacks = lacking(&rows, what, of, reading);
        if lacks.is_empty() {
            return Coverage::Lifted(item);
        }
        if nearest.as_ref().is_none_or(|(_, n)| lacks.len() < n.len()) {
            nearest = Some((item, lacks));
        }
    }
    Coverage::Open(match nearest {
        Some((item, lacks)) => format!("item {item}: {}", lacks.join(", ")),
        None => format!("no item covers {} {}", what.covers().word(), shown(what.name())),
    })
}

/// Two names of one thing.
fn same(covers: Covers, a: &str, b: &str) -> bool {
    if covers == Covers::Element {
        let parts = |name: &str| -> BTreeSet<String> {
            name.split('+').map(|n| canonical(n.trim()).map_or_else(|| folded(n), folded)).collect()
        };
        return parts(a) == parts(b);
    }
    folded(a) == folded(b)
}

fn lacking(rows: &[&ItemRow], what: &Objection, of: &OfBlade, reading: &[Link]) -> Vec<String> {
    let mut out = Vec::new();
    for row in rows {
        match what {
            Objection::Finding { zone, measures, .. } => finding(row, zone.as_deref(), measures, &mut out),
            Objection::Measurement { value, unit, side, .. } => {
                if row.unit.as_ref().is_some_and(|u| u != unit) {
                    out.push(format!("it is in {}, the item in {}", unit, row.unit.as_deref().unwrap_or("")));
                } else {
                    sided(row, what, value, 0, 0, *side, &mut out);
                }
            }
            Objection::Element { value, unit, side, .. } => {
                match (power(unit), row.unit.as_deref().map(power)) {
                    (Some(of_value), Some(Some(of_item))) => {
                        sided(row, what, value, of_value, of_item, *side, &mut out);
                    }
                    _ => out.push("the item's unit is not wt% or ppm".into()),
                }
            }
            Objection::Instrument(_) if row.only_for.is_none() => {
                out.push("the item names no mould, heat or inspection whose reading it is (only_for)".into());
            }
            Objection::Instrument(_) | Objection::Definition(_) | Objection::Station(_) => {}
        }
        if let Some((id, tag)) = &row.only_for {
            if !applies(*id, what, of, reading) {
                out.push(format!("the item is only for {tag}"));
            }
        }
    }
    // More than one of a kind is another thing than one: how many may be must be said.
    if let Objection::Finding { measures, .. } = what {
        let count = measured(measures, Some(Measure::Count));
        if matches!(count, Value::Illegible) {
            out.push("the count is illegible".into());
        }
        let count = count.number().unwrap_or(1.0);
        if count > 1.0 && !rows.iter().any(|r| r.measure == Some(Measure::Count) && r.at_most.is_some()) {
            out.push(format!("the count is {count}, and no row of the item has measure count with at_most"));
        }
    }
    out.dedup();
    out
}

/// Powers of ten from a unit of content to ppm.
fn power(unit: &str) -> Option<i32> {
    ContentUnit::of(unit).map(|unit| match unit {
        ContentUnit::WeightPercent => 4,
        ContentUnit::Ppm => 0,
    })
}

/// What was measured of a finding; blank where that was not.
fn measured<'a>(measures: &'a [(Measure, Value<'static>)], wanted: Option<Measure>) -> &'a Value<'static> {
    measures.iter().find(|(m, _)| Some(*m) == wanted).map_or(&Value::Blank, |(_, v)| v)
}

fn finding(row: &ItemRow, zone: Option<&str>, measures: &[(Measure, Value<'static>)], out: &mut Vec<String>) {
    if let Some(wanted) = &row.zone {
        match zone {
            Some(zone) if folded(zone) == folded(wanted) => {}
            Some(zone) => out.push(format!("the zone is {}, the item is for {wanted}", shown(zone))),
            None => out.push(format!("no zone is recorded, the item is for {wanted}")),
        }
    }
    if row.bounded() {
        // Nothing is too small or too few a defect; it may lie too near.
        let label = row.measure.map_or("", Measure::word);
        if row.measure != Some(Measure::DistanceMm) && row.at_most.is_none() {
            out.push(format!("{label} is too much, and the item has no at_most"));
            return;
        }
        within(row, label, measured(measures, row.measure), 0, 0, out);
    }
}

/// Only `at_most` lifts an excess, only `at_least` a shortfall.
fn sided(
    row: &ItemRow,
    what: &Objection,
    value: &Value,
    of_value: i32,
    of_item: i32,
    side: LimitSide,
    out: &mut Vec<String>,
) {
    let needed = match side {
        LimitSide::Excess => ("too much", ConcessionItems::at_most.name, row.at_most),
        LimitSide::Shortfall => ("too little", ConcessionItems::at_least.name, row.at_least),
    };
    match needed {
        (how, field, None) => out.push(format!("{} is {how}, and the item has no {field}", what.words())),
        _ => within(row, &what.words(), value, of_value, of_item, out),
    }
}

/// The value against the row's bounds, digit by digit.
fn within(row: &ItemRow, label: &str, value: &Value, of_value: i32, of_item: i32, out: &mut Vec<String>) {
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
fn applies(only: Link, what: &Objection, of: &OfBlade, reading: &[Link]) -> bool {
    if matches!(what, Objection::Instrument(_)) && !reading.contains(&only) {
        return false;
    }
    match only.kind {
        Heats::NAME => only.key() == of.heat,
        Lots::NAME => only.key() == of.lot,
        Blades::NAME => only.key() == Some(of.blade),
        Inspections::NAME => reading.contains(&only),
        _ => of.under.contains(&only),
    }
}
