//! One row of a form: its field, what stands in it, where that came from.

use records::catalogue::kind::Kind;
use records::catalogue::{Blades, Inspections, Moulds};
use records::check::OwnField;
use records::value::time_text;
use records::value::time_text::{Clock, Understood};
use records::{FieldInfo, Stamp, Type, Value};

/// The text of a time that is that of saving.
pub const NOW: &str = "now";

/// Where the text of a field came from.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Origin {
    /// Nothing stands there.
    Blank,
    /// A person typed it.
    Typed,
    Scanned,
    /// It stood in the last record of the kind.
    Carried,
    /// It follows from where the form was opened.
    Given,
    /// It stood in the record that is changed.
    Before,
}

impl Origin {
    /// As drafts keep it.
    pub fn word(self) -> &'static str {
        match self {
            Self::Blank => "",
            Self::Typed => "typed",
            Self::Scanned => "scanned",
            Self::Carried => "carried",
            Self::Given => "given",
            Self::Before => "before",
        }
    }

    pub(crate) fn from_word(word: &str) -> Self {
        match word {
            "typed" => Self::Typed,
            "scanned" => Self::Scanned,
            "carried" => Self::Carried,
            "given" => Self::Given,
            "before" => Self::Before,
            _ => Self::Blank,
        }
    }
}

/// What a row of the form stands for.
#[derive(Clone, Debug)]
pub enum FieldSource {
    /// A field of the catalogue.
    Field(FieldInfo),
    /// A field of the foundry's own.
    Own(OwnField),
}

#[derive(Clone, Debug)]
pub struct Row {
    pub of: FieldSource,
    /// What stands in it.
    pub text: String,
    /// Where that came from.
    pub origin: Origin,
    /// What stood there before, where a record is changed.
    pub before: String,
    /// What is wrong with it.
    pub fault: Option<String>,
    /// A text for a time, and when it was typed: `-10 min` is ten minutes before then, however long the form stands open.
    typed: Option<(String, Stamp)>,
}

impl Row {
    pub(crate) fn new(of: FieldSource) -> Self {
        Self {
            of,
            text: String::new(),
            origin: Origin::Blank,
            before: String::new(),
            fault: None,
            typed: None,
        }
    }

    pub fn name(&self) -> &str {
        match &self.of {
            FieldSource::Field(f) => f.name,
            FieldSource::Own(o) => &o.name,
        }
    }

    /// The name as a person reads it, without the unit.
    pub fn label(&self) -> String {
        let FieldSource::Field(f) = &self.of else { return self.name().replace('_', " ") };
        label(f)
    }

    pub fn unit(&self) -> &'static str {
        match &self.of {
            FieldSource::Field(f) => f.unit(),
            FieldSource::Own(_) => "",
        }
    }

    /// It may be blank.
    pub fn optional(&self) -> bool {
        match &self.of {
            FieldSource::Field(f) => f.optional,
            FieldSource::Own(_) => true,
        }
    }

    pub fn ty(&self) -> Type {
        match &self.of {
            FieldSource::Field(f) => f.ty,
            FieldSource::Own(o) => o.holds(),
        }
    }

    /// Its typing guard.
    pub fn guard(&self) -> Option<(f64, f64)> {
        match &self.of {
            FieldSource::Field(f) => f.guard,
            FieldSource::Own(o) => match (o.min, o.max) {
                (None, None) => None,
                (a, b) => Some((a.unwrap_or(f64::NEG_INFINITY), b.unwrap_or(f64::INFINITY))),
            },
        }
    }

    /// It holds a time or a date.
    pub fn is_time(&self) -> bool {
        matches!(self.ty(), Type::Time | Type::Date | Type::Moment)
    }

    /// The text as the store takes it: times are filled up from the clock, as far as they can be read.
    pub fn resolved(&self, clock: Clock) -> String {
        match self.understood(clock) {
            Some(Ok(read)) => read.text,
            _ if self.name() == "note" => self.text.clone(),
            _ => self.text.trim().to_string(),
        }
    }

    /// What is understood of a time that is not written in full.
    pub fn understood(&self, clock: Clock) -> Option<Result<Understood, String>> {
        if !self.is_time() {
            return None;
        }
        let typed = self.typed.as_ref().filter(|(text, _)| *text == self.text && text != NOW);
        let clock = Clock { now: typed.map_or(clock.now, |(_, at)| *at), ..clock };
        let full = time_text::in_full(&self.field(), &self.text, clock).transpose()?;
        Some(full.map(|(_, read)| read))
    }

    /// Keeps when a time was typed.
    pub(crate) fn mark(&mut self, now: Stamp) {
        if self.is_time() && self.typed.as_ref().is_none_or(|(text, _)| *text != self.text) {
            self.typed = Some((self.text.clone(), now));
        }
    }

    /// Its field of the catalogue, or what stands for one.
    fn field(&self) -> FieldInfo {
        match &self.of {
            FieldSource::Field(f) => *f,
            FieldSource::Own(o) => o.info(),
        }
    }

    /// The number that stands there, if it is one.
    pub fn number(&self) -> Option<f64> {
        self.text.trim().parse().ok().filter(|v: &f64| v.is_finite())
    }

    /// It lies outside its guard as it stands.
    pub fn outside(&self) -> Option<(f64, f64)> {
        let (low, high) = self.guard()?;
        let v = self.number()?;
        (v < low || v > high).then_some((low, high))
    }

    pub(crate) fn value(&self, text: &str) -> Result<Value<'static>, String> {
        match &self.of {
            FieldSource::Field(f) => Value::read(f, text).map(|v| v.owned()),
            FieldSource::Own(o) => o.read(text).map(|v| v.owned()),
        }
    }
}

/// A field's name as a person reads it, without the unit, which stands behind the value.
pub fn label(f: &FieldInfo) -> String {
    let unit = f.unit();
    let name = if unit.is_empty() { f.name } else { bare(f.name, unit) };
    // A mould and its temperature, a pour and its time must not read the same.
    let what = match unit {
        _ if matches!(name, "temp" | "viscosity") => "",
        "°C" => " temperature",
        "s" | "min" | "h" => " time",
        _ => "",
    };
    format!("{}{what}", name.replace('_', " "))
}

/// A field's name without the unit at its end, which the form prints behind the value.
fn bare<'a>(name: &'a str, unit: &str) -> &'a str {
    let ends: &[&str] = match unit {
        "°C" => &["_c"],
        "%" => &["_pct"],
        "mbar l/s" => &["_mbar_l_s"],
        "ml/100 g" => &["_ml_per_100g"],
        "g/cm³" => &["_g_cm3"],
        "mm²" => &["_mm2"],
        "MPa" => &["_mpa"],
        "HRC" => &["_hrc"],
        "kW" => &["_kw"],
        "s" => &["_s"],
        "h" => &["_h"],
        "g" => &["_g"],
        "kg" => &["_kg"],
        "min" => &["_min"],
        "bar" => &["_bar"],
        "mbar" => &["_mbar"],
        "mm" => &["_mm"],
        "ppm" => &["_ppm"],
        _ => &[],
    };
    ends.iter().find_map(|e| name.strip_suffix(e)).unwrap_or(name)
}

/// Fields that say something about one piece and are never carried forward, though they are text.
const OF_ONE_PIECE: &[&str] = &["note", "place", "cavity", "zone", "side", "seal_state", "maker_heat"];

/// May the text of the last record of the kind be taken over? What changes slowly may: names of
/// furnaces, lots, instruments. People, measurements, times, results and tags of single pieces never.
pub fn carried(kind: &Kind, field: &FieldInfo) -> bool {
    if field.key || field.names_person() || OF_ONE_PIECE.contains(&field.name) {
        return false;
    }
    match field.ty {
        Type::Text => {
            field.cause
                || kind.instrument == Some(field.name)
                || [Inspections::technique.name, Inspections::class.name].contains(&field.name)
        }
        Type::Ref(kinds) => {
            let one_piece = |k: &&'static str| {
                matches!(*k, Moulds::NAME | Blades::NAME | Inspections::NAME) || *k == kind.name
            };
            !kinds.iter().any(one_piece)
                && (field.parent
                    || field.cause
                    || kind.instrument == Some(field.name)
                    || field.name == Moulds::part.name)
        }
        _ => false,
    }
}
