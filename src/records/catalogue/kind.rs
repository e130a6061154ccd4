//! One kind of record.

use crate::catalogue::field::{FieldInfo, Hand, Type};
use crate::catalogue::typed::KindType;

/// Who may write a kind of record. Enforced at the store's one door.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Writer {
    /// Anyone; some of its fields may say otherwise ([`crate::catalogue::field::Hand`]).
    Anyone,
    /// Quality only, once the store has a quality person: a definition.
    Quality,
    /// As [`Writer::Quality`], and never without a name: a decision.
    Decision,
    /// Quality or a metallurgist, once the store has one of them.
    QualityOrMetallurgist,
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
    pub fields: &'static [FieldInfo],
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
pub const COMMON: [FieldInfo; 3] = [
    FieldInfo::new("recorded_at", Type::Time).opt(),
    FieldInfo::new("recorded_by", Type::Text).opt(),
    FieldInfo::new("note", Type::Text).opt(),
];

impl Kind {
    /// A kind with the usual properties; its table overrides some.
    pub(crate) const fn new(
        name: &'static str,
        noun: &'static str,
        station: &'static str,
        about: &'static str,
        fields: &'static [FieldInfo],
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

    /// Fields with a hand of their own, which [`Kind::writer`] does not say.
    pub fn handed(&self) -> impl Iterator<Item = &FieldInfo> {
        self.fields.iter().filter(|f| f.hand != Hand::Anyone)
    }

    /// Is it this kind?
    pub fn is<K: KindType>(&self) -> bool {
        // A kind is one static: its place in memory names it.
        std::ptr::eq(self, K::KIND)
    }

    /// The field of its own tag, where it has one.
    pub fn tag_field(&self) -> Option<&'static FieldInfo> {
        self.fields.iter().find(|f| f.ty == Type::Tag)
    }

    /// Has a tag (else it is addressed by its parents and key).
    pub fn tagged(&self) -> bool {
        self.tag_field().is_some()
    }

    /// All fields, the common ones last.
    pub fn all_fields(&self) -> impl Iterator<Item = &FieldInfo> {
        self.fields.iter().chain(COMMON.iter())
    }

    /// Position of a field among [`Kind::all_fields`].
    pub fn index(&self, field: &str) -> Option<usize> {
        self.all_fields().position(|f| f.name == field)
    }

    /// A field by name, common ones too.
    pub fn field(&self, name: &str) -> Option<&FieldInfo> {
        self.all_fields().find(|f| f.name == name)
    }

    /// The fields of the key.
    pub fn key_fields(&self) -> impl Iterator<Item = &FieldInfo> {
        self.fields.iter().filter(|f| f.key)
    }
}
