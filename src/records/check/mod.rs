//! What is wrong with a record by itself: cells, guards, fields that contradict each other.

pub mod content;
pub mod limit;
pub mod own_time;

use crate::catalogue::field::{FieldInfo, ORDERED, Type};
use crate::catalogue::kind::Kind;
use crate::catalogue::{
    AnalysisValues, As, ContentUnit, Field, KindType, OwnFields, OwnType, ProcessLimits, Shipments, YesNo,
};
use crate::error::Hint;
use crate::record::Record;
use crate::value::Value;
use crate::value::tag;

/// One fault of a cell.
#[derive(Clone, Debug, PartialEq)]
pub struct Fault {
    /// Column, as bundles name it; empty where the whole row is at fault.
    pub column: String,
    /// The value that stands there.
    pub value: String,
    /// What is wrong, and what would be right.
    pub message: String,
    /// What would help, where it is something to do; the face that shows the fault phrases it.
    pub hint: Option<Hint>,
}

impl Fault {
    /// A fault of one cell.
    pub fn new(column: &str, value: &str, message: impl Into<String>) -> Self {
        Self { column: column.into(), value: value.into(), message: message.into(), hint: None }
    }

    /// The same, with what would help.
    #[must_use]
    pub fn hint(self, hint: Hint) -> Self {
        Self { hint: Some(hint), ..self }
    }
}

impl<K: KindType> As<'_, K> {
    /// A fault of one of its cells.
    pub fn fault<T, P>(self, field: Field<K, T, P>, message: impl Into<String>) -> Fault {
        Fault::new(field.name, &self.text(field), message)
    }
}

/// A value outside the plausible range: a reason is asked for.
#[derive(Clone, Debug, PartialEq)]
pub struct Guard {
    pub field: String,
    /// The sentence.
    pub message: String,
    /// A reason must be given before it is written.
    pub needs_reason: bool,
}

impl Guard {
    /// One that asks for a reason.
    pub fn asks(field: &str, message: String) -> Self {
        Self { field: field.into(), message, needs_reason: true }
    }

    /// One that is said, and asks for nothing.
    pub fn said(field: &str, message: String) -> Self {
        Self { field: field.into(), message, needs_reason: false }
    }
}

/// A foundry's own field, as far as checks need it.
#[derive(Clone, Debug)]
pub struct OwnField {
    /// The kind it belongs to.
    pub record: String,
    pub name: String,
    /// number, text, time or yes_no.
    pub ty: String,
    /// Typing guard.
    pub min: Option<f64>,
    /// Typing guard.
    pub max: Option<f64>,
    /// Is a candidate cause.
    pub cause: bool,
}

impl OwnField {
    /// Reads a cell of this field.
    ///
    /// # Errors
    /// What is wrong with it and what would be right.
    pub fn read<'a>(&self, text: &'a str) -> Result<Value<'a>, String> {
        Value::read(&self.info(), text)
    }

    /// As a field of the catalogue, without its name.
    pub fn info(&self) -> FieldInfo {
        FieldInfo::new("", self.holds()).opt()
    }

    /// What it holds.
    pub fn holds(&self) -> Type {
        match OwnType::of(&self.ty) {
            Some(OwnType::Number) => Type::Number,
            Some(OwnType::Time) => Type::Time,
            Some(OwnType::YesNo) => Type::Choice(YesNo::WORDS),
            Some(OwnType::Text) | None => Type::Text,
        }
    }
}

/// The field of a mass, whatever the kind.
const MASS: &str = "mass_kg";

/// Where a kind's checks look, worked out once for a file of records.
#[derive(Debug)]
pub struct Places {
    guarded: Vec<(usize, f64, f64)>,
    ordered: Vec<(usize, usize)>,
    mass: Option<usize>,
    /// Says when something came back.
    back: Option<usize>,
    /// Has rules that are asked for every record.
    special: bool,
}

impl Places {
    pub fn of(kind: &Kind) -> Self {
        let guarded = kind.all_fields().enumerate();
        let pair = |(low, high): (&str, &str)| Some((kind.index(low)?, kind.index(high)?));
        Self {
            guarded: guarded.filter_map(|(i, f)| f.guard.map(|(low, high)| (i, low, high))).collect(),
            ordered: ORDERED.into_iter().filter_map(pair).collect(),
            mass: kind.index(MASS),
            back: kind.is::<Shipments>().then_some(Shipments::returned_at.index),
            special: matches!(kind.name, AnalysisValues::NAME | OwnFields::NAME | ProcessLimits::NAME),
        }
    }

    /// Surely [`between`] has no fault to name and [`guards`] nothing outside. False says only that
    /// they must be asked.
    pub fn clean(&self, record: &Record) -> bool {
        let value = |i: usize| record.values[i].number();
        !self.special
            && record.own.is_empty()
            && self.guarded.iter().all(|&(i, low, high)| value(i).is_none_or(|v| v >= low && v <= high))
            && self.ordered.iter().all(|&(a, b)| match (value(a), value(b)) {
                (Some(a), Some(b)) => a <= b,
                _ => true,
            })
            && self.mass.and_then(value).is_none_or(|m| m >= 0.0)
            && self.back.is_none_or(|i| record.values[i].is_blank())
    }
}

/// The typing guards that a record falls outside of.
pub fn guards(record: &Record, own: &[OwnField]) -> Vec<Guard> {
    let mut out = Vec::new();
    for (field, value) in record.kind.all_fields().zip(&record.values) {
        if let (Some((low, high)), Some(v)) = (field.guard, value.number()) {
            outside(field.name, field.unit(), v, low, high, &mut out);
        }
    }
    if let Some(line) = record.of::<AnalysisValues>() {
        let (unit, value) = (line.get(AnalysisValues::unit), line.get(AnalysisValues::value));
        // Oxygen, nitrogen and sulphur of a nickel alloy: a figure in wt% typed as ppm shows here.
        let gas = matches!(line.get(AnalysisValues::element), Some("O" | "N" | "S"));
        if let (Some(ContentUnit::Ppm), Some(v), true) = (unit, value, gas) {
            outside(AnalysisValues::value.name, ContentUnit::Ppm.word(), v, 1.0, 100.0, &mut out);
        }
    }
    for (name, value) in &record.own {
        let field = own.iter().find(|o| o.record == record.kind.name && o.name == *name);
        if let (Some(field), Some(v)) = (field, value.number()) {
            let (low, high) = (field.min.unwrap_or(f64::NEG_INFINITY), field.max.unwrap_or(f64::INFINITY));
            outside(name, "", v, low, high, &mut out);
        }
    }
    out
}

fn outside(field: &str, unit: &str, v: f64, low: f64, high: f64, out: &mut Vec<Guard>) {
    if v < low || v > high {
        let unit = if unit.is_empty() { String::new() } else { format!(" {unit}") };
        let range = match (low.is_finite(), high.is_finite()) {
            (true, true) => format!("{low} to {high}{unit}"),
            (true, false) => format!("at least {low}{unit}"),
            _ => format!("at most {high}{unit}"),
        };
        out.push(Guard::asks(field, format!("{v}{unit} is outside the plausible range {range}")));
    }
}

/// Faults that lie between the fields of one record.
pub fn between(record: &Record) -> Vec<Fault> {
    let mut out = Vec::new();
    let text = |f: &str| record.get(f).to_text();
    for (low, high) in ORDERED {
        if let (Some(a), Some(b)) = (record.get(low).number(), record.get(high).number()) {
            if a > b {
                out.push(Fault::new(low, &text(low), format!("{low} is above {high} ({b})")));
            }
        }
    }
    if record.get(MASS).number().is_some_and(|mass| mass < 0.0) {
        out.push(Fault::new(MASS, &text(MASS), "a mass is not negative"));
    }
    if let Some(shipment) = record.of::<Shipments>() {
        let (sent, back) = (shipment.get(Shipments::shipped_at), shipment.get(Shipments::returned_at));
        if let Some(sent) = sent.filter(|sent| back.is_some_and(|back| back.ms() < sent.ms())) {
            let message =
                format!("returned_at is before shipped_at ({sent}); a blade comes back after it was sent");
            out.push(shipment.fault(Shipments::returned_at, message));
        }
    }
    if let Some(field) = record.of::<OwnFields>() {
        own_field(field, &mut out);
    }
    if let Some(limit) = record.of::<ProcessLimits>() {
        let target = limit.text(ProcessLimits::record);
        if crate::catalogue::kind(&target).is_none() {
            out.push(unknown_kind(ProcessLimits::record.name, &target));
        }
    }
    out
}

fn own_field(field: As<'_, OwnFields>, out: &mut Vec<Fault>) {
    let (target, name) = (field.text(OwnFields::record), field.text(OwnFields::field));
    match crate::catalogue::kind(&target) {
        None => out.push(unknown_kind(OwnFields::record.name, &target)),
        Some(kind) if kind.field(&name).is_some() => {
            out.push(field.fault(OwnFields::field, format!("{target} has a field of that name already")));
        }
        Some(_) => {}
    }
    if !name.starts_with(|c: char| c.is_ascii_lowercase())
        || !name.chars().all(|c| c.is_ascii_lowercase() || c.is_ascii_digit() || c == '_')
    {
        out.push(field.fault(OwnFields::field, "a field's name is lower case letters, digits and _"));
    }
}

fn unknown_kind(column: &str, value: &str) -> Fault {
    let near = tag::near(value, crate::catalogue::all().map(|k| k.name));
    Fault::new(column, value, format!("there is no record kind of that name{}", tag::hint(&near)))
}

/// The sentence for a field that a kind does not have.
pub fn unknown_field(kind: &Kind, name: &str, own: &[OwnField]) -> String {
    let known = kind.all_fields().map(|f| f.name);
    let own = own.iter().filter(|o| o.record == kind.name).map(|o| o.name.as_str());
    let near = tag::near(name, known.chain(own));
    let mut out = format!("{} has no field {}{}", kind.name, tag::shown(name), tag::hint(&near));
    if near.is_empty() {
        let all: Vec<&str> = kind.fields.iter().map(|f| f.name).collect();
        out.push_str(&format!("; it has {}", all.join(", ")));
    }
    out
}
