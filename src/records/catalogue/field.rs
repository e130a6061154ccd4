//! One field of a record kind.

use crate::catalogue::typed::{Content, Presence};

/// Pairs of fields of which the first is not above the second.
pub(crate) const ORDERED: [(&str, &str); 4] =
    [("min", "max"), ("lower", "upper"), ("warn_min", "warn_max"), ("stop_min", "stop_max")];

/// What a field holds.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Type {
    /// The record's own tag.
    Tag,
    /// Free text, or a name that is not a tag of a record (a furnace, a die, a person's code).
    Text,
    /// A measured or given number; `<x` and the missing marks are kept beside it.
    Number,
    /// A whole number, not negative.
    Count,
    /// A time with its offset.
    Time,
    /// A date.
    Date,
    /// A date or a time.
    Moment,
    /// One of a few words.
    Choice(&'static [&'static str]),
    /// A reference by tag to a record of one of these kinds.
    Ref(&'static [&'static str]),
    /// A reference to a record of any kind.
    AnyTag,
    /// The revision of the definition that another field of this record refers to.
    RevisionOf(&'static str),
}

/// Whose hand may fill or change a field of a kind that anyone writes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Hand {
    /// Anyone.
    Anyone,
    /// Quality fills and changes it, once the store has a quality person.
    Quality,
    /// As [`Hand::Quality`], and never without a name: a decision stands in it.
    Decision,
    /// Anyone fills it, with the record; quality changes it.
    QualityChanges,
}

/// One field: its name (the unit stands in it), type, and what is known of it.
#[derive(Clone, Copy, Debug)]
pub struct FieldInfo {
    /// Column name in bundles and in the store.
    pub name: &'static str,
    /// What it holds.
    pub ty: Type,
    /// May be blank; then it also takes `n/a` and `illegible`.
    pub optional: bool,
    /// Belongs to the record's key.
    pub key: bool,
    /// Typing guard: outside it a reason is asked for. Never a specification.
    pub guard: Option<(f64, f64)>,
    /// Is a candidate cause of a defect.
    pub cause: bool,
    /// Is a genealogy edge: what it refers to went into this record (or into the record's child).
    pub parent: bool,
    /// Whose hand may fill or change it.
    pub hand: Hand,
}

impl FieldInfo {
    /// A required field.
    pub const fn new(name: &'static str, ty: Type) -> Self {
        Self {
            name,
            ty,
            optional: false,
            key: false,
            guard: None,
            cause: false,
            parent: false,
            hand: Hand::Anyone,
        }
    }

    /// A field as a table says it.
    pub(crate) const fn of<T: Content, P: Presence>(name: &'static str) -> Self {
        let field = Self::new(name, T::TYPE);
        if P::OPTIONAL { field.opt() } else { field }
    }

    /// It holds the revision of the definition that another field refers to.
    pub(crate) const fn revision_of(mut self, field: &'static str) -> Self {
        self.ty = Type::RevisionOf(field);
        self
    }

    /// May be blank.
    pub const fn opt(mut self) -> Self {
        self.optional = true;
        self
    }

    /// Belongs to the key.
    pub const fn key(mut self) -> Self {
        self.key = true;
        self
    }

    /// Has a typing guard.
    pub const fn guard(mut self, low: f64, high: f64) -> Self {
        self.guard = Some((low, high));
        self
    }

    /// Whose hand may fill or change it.
    pub const fn hand(mut self, hand: Hand) -> Self {
        self.hand = hand;
        self
    }

    /// Is a candidate cause.
    pub const fn cause(mut self) -> Self {
        self.cause = true;
        self
    }

    /// Is a genealogy edge.
    pub const fn parent(mut self) -> Self {
        self.parent = true;
        self
    }

    /// It says who did or granted something: such a field is never taken over from another record.
    pub fn names_person(&self) -> bool {
        self.name == "person" || self.name == "witness" || self.name.ends_with("_by")
    }

    /// The unit that stands at the end of the name, as it is printed; empty if there is none.
    pub fn unit(&self) -> &'static str {
        const UNITS: &[(&str, &str)] = &[
            ("_mbar_l_s", "mbar l/s"),
            ("_ml_per_100g", "ml/100 g"),
            ("_g_cm3", "g/cm³"),
            ("_mm2", "mm²"),
            ("_pct", "%"),
            ("_ppm", "ppm"),
            ("_mbar", "mbar"),
            ("_bar", "bar"),
            ("_mpa", "MPa"),
            ("_hrc", "HRC"),
            ("_min", "min"),
            ("_kw", "kW"),
            ("_kg", "kg"),
            ("_mm", "mm"),
            ("_max_s", "s"),
            ("_c", "°C"),
            ("_s", "s"),
            ("_h", "h"),
            ("_g", "g"),
        ];
        // The least and the most of something else: `_min` is no minute there.
        let bound = ORDERED.iter().any(|(low, high)| [low, high].contains(&&self.name));
        if bound || !matches!(self.ty, Type::Number) {
            return "";
        }
        UNITS.iter().find(|(end, _)| self.name.ends_with(end)).map_or("", |(_, unit)| unit)
    }

    /// The name as a person reads it: without the unit, words apart.
    pub fn label(&self) -> String {
        self.name.replace('_', " ")
    }

    /// Numbers and counts.
    pub fn is_numeric(&self) -> bool {
        matches!(self.ty, Type::Number | Type::Count)
    }

    /// Of a reference that may lead to several kinds, the column that leads to this one.
    pub fn column_to(&self, kind: &str) -> String {
        format!("{}_{}", self.name, kind.strip_suffix('s').unwrap_or(kind))
    }

    /// The columns that hold the field in the store: one, or one per kind that it may refer to.
    pub fn columns(&self) -> Vec<String> {
        match self.ty {
            Type::Ref(kinds) if kinds.len() > 1 => kinds.iter().map(|k| self.column_to(k)).collect(),
            Type::AnyTag => vec![format!("{}_kind", self.name), format!("{}_id", self.name)],
            Type::RevisionOf(_) => Vec::new(),
            _ => vec![self.name.to_string()],
        }
    }
}
