//! One kind of record.

use crate::catalogue::field::{Field, Hand, Type};

/// Who may write a kind of record. Enforced at the store's one door.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Writer {
    /// Anyone; some of its fields may say otherwise ([`crate::catalogue::field::Hand`]).
    Anyone,
    /// Quality only, once the store has a quality person: a definition.
    Quality,
    /// As [`Writer::Quality`], and never without a name: a decision.
    Decision,
    /// As [`Writer::Quality`], but anyone where this field says this word.
    QualityUnless(&'static str, &'static str),
}

/// A record kind: a CSV of a bundle, a table of the store, a form.
#[derive(Debug)]
pub struct Kind {
    /// Name of the file, the table, and the kind in commands and JSON.
    pub name: &'static str,
    /// One such record, in words.
    pub noun: &'static str,
    /// Where it is written: the station.
    pub station: &'static str,
    /// One sentence.
    pub about: &'static str,
    /// The fields, in bundle order, without `recorded_at`, `recorded_by` and `note`.
    pub fields: &'static [Field],
    /// Field that holds the record's own time.
    pub time: Option<&'static str>,
    /// For a record that links two others: the field of the one that the parents went into.
    pub child: Option<&'static str>,
    /// A definition has a tag and a revision.
    pub revisioned: bool,
    /// Its tags are unique in the kind only (defect terms).
    pub own_names: bool,
    /// Who may write it.
    pub writer: Writer,
    /// Recorded later than this many minutes after its own time, it is late.
    pub late_min: Option<f64>,
    /// The field that names the instrument a reading was taken with.
    pub instrument: Option<&'static str>,
}

/// The three fields that every kind takes.
pub const COMMON: [Field; 3] = [
    Field::new("recorded_at", Type::Time).opt(),
    Field::new("recorded_by", Type::Text).opt(),
    Field::new("note", Type::Text).opt(),
];

impl Kind {
    /// A kind with the usual properties; the tables in `catalogue/` override some.
    #[must_use]
    pub const fn new(
        name: &'static str,
        noun: &'static str,
        station: &'static str,
        about: &'static str,
        fields: &'static [Field],
    ) -> Self {
        Self {
            name,
            noun,
            station,
            about,
            fields,
            time: None,
            child: None,
            revisioned: false,
            own_names: false,
            writer: Writer::Anyone,
            late_min: None,
            instrument: None,
        }
    }

    /// The record's own time stands in this field.
    #[must_use]
    pub const fn time(mut self, field: &'static str) -> Self {
        self.time = Some(field);
        self
    }

    /// A link: parents went into the record that this field names.
    #[must_use]
    pub const fn child(mut self, field: &'static str) -> Self {
        self.child = Some(field);
        self
    }

    /// A definition with revisions.
    #[must_use]
    pub const fn revisioned(mut self) -> Self {
        self.revisioned = true;
        self
    }

    /// Names of its own, outside the space of tags.
    #[must_use]
    pub const fn own_names(mut self) -> Self {
        self.own_names = true;
        self
    }

    /// Who may write it.
    #[must_use]
    pub const fn writer(mut self, writer: Writer) -> Self {
        self.writer = writer;
        self
    }

    /// Fields with a hand of their own, which [`Kind::writer`] does not say.
    pub fn handed(&self) -> impl Iterator<Item = &Field> {
        self.fields.iter().filter(|f| f.hand != Hand::Anyone)
    }

    /// Late after so many minutes.
    #[must_use]
    pub const fn late(mut self, minutes: f64) -> Self {
        self.late_min = Some(minutes);
        self
    }

    /// A reading taken with the instrument that this field names.
    #[must_use]
    pub const fn instrument(mut self, field: &'static str) -> Self {
        self.instrument = Some(field);
        self
    }

    /// The field of its own tag, where it has one.
    #[must_use]
    pub fn tag_field(&self) -> Option<&'static Field> {
        self.fields.iter().find(|f| f.ty == Type::Tag)
    }

    /// Has a tag (else it is addressed by its parents and key).
    #[must_use]
    pub fn tagged(&self) -> bool {
        self.tag_field().is_some()
    }

    /// All fields, the common ones last.
    pub fn all_fields(&self) -> impl Iterator<Item = &Field> {
        self.fields.iter().chain(COMMON.iter())
    }

    /// Position of a field among [`Kind::all_fields`].
    #[must_use]
    pub fn index(&self, field: &str) -> Option<usize> {
        self.all_fields().position(|f| f.name == field)
    }

    /// A field by name, common ones too.
    #[must_use]
    pub fn field(&self, name: &str) -> Option<&Field> {
        self.all_fields().find(|f| f.name == name)
    }

    /// The fields of the key.
    pub fn key_fields(&self) -> impl Iterator<Item = &Field> {
        self.fields.iter().filter(|f| f.key)
    }
}
