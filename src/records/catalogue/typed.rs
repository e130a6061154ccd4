//! Kinds and fields that the compiler knows: a kind is a type, a field a constant of its kind and of what it holds.
//!
//! The tables beside this file are the only description of a kind. From a table come the run-time description
//! ([`Kind`], [`FieldInfo`]) that forms, files and checks read, and a constant for each field
//! (`Pours::indicated_c`), by which the program asks.

use std::cmp::Ordering;
use std::hash::{Hash, Hasher};
use std::marker::PhantomData;

pub use crate::catalogue::field::{FieldInfo, Hand, Type};
pub use crate::catalogue::kind::{Kind, Writer};
use crate::error::Error;
use crate::record::Record;
use crate::value::Value;
use crate::value::stamp::Stamp;

/// A kind of record, as a type.
pub trait KindType: Copy + 'static {
    /// Its name: the file of a bundle, the table of the store.
    const NAME: &'static str;
    /// What forms, files and checks know of it.
    const KIND: &'static Kind;
}

/// One kind, or one of several: where a reference may lead.
pub trait Kinds: 'static {
    /// Their names.
    const NAMES: &'static [&'static str];
}

impl<K: KindType> Kinds for K {
    const NAMES: &'static [&'static str] = &[K::NAME];
}

impl<A: KindType, B: KindType> Kinds for (A, B) {
    const NAMES: &'static [&'static str] = &[A::NAME, B::NAME];
}

impl<A: KindType, B: KindType, C: KindType> Kinds for (A, B, C) {
    const NAMES: &'static [&'static str] = &[A::NAME, B::NAME, C::NAME];
}

/// What a field holds, as a type.
pub trait Content: 'static {
    /// What the program gets.
    type Value<'r>;
    /// The same for forms, files and checks.
    const TYPE: Type;
    /// The value of a cell, where one was given: blanks and marks have none.
    fn of<'r>(cell: &'r Value<'_>) -> Option<Self::Value<'r>>;
}

macro_rules! contents {
    ($( $(#[$doc:meta])* $name:ident: $type:expr, $value:ty, $read:expr; )*) => { $(
        $(#[$doc])*
        #[derive(Debug)]
        pub struct $name;
        impl Content for $name {
            type Value<'r> = $value;
            const TYPE: Type = $type;
            fn of<'r>(cell: &'r Value<'_>) -> Option<$value> {
                let read: fn(&'r Value<'_>) -> Option<$value> = $read;
                read(cell)
            }
        }
    )* };
}

contents! {
    /// The record's own tag.
    Own: Type::Tag, &'r str, |v| v.text();
    /// Words, or a name that is not a tag of a record.
    Text: Type::Text, &'r str, |v| v.text();
    /// A measured number, in the unit that the field's name says.
    Number: Type::Number, f64, |v| v.number();
    /// A whole number, not negative.
    Count: Type::Count, i64, |v| v.count();
    /// A time with its offset.
    Time: Type::Time, Stamp, |v| v.time();
    /// A date, as `2031-03-04`.
    Date: Type::Date, &'r str, |v| v.text();
    /// A date or a time, as written.
    Moment: Type::Moment, &'r str, |v| v.text();
    /// A reference to a record of any kind: its tag or address.
    Any: Type::AnyTag, &'r str, |v| v.text();
}

/// A reference to a record of kind `S`, or of one of several: its tag, for a definition perhaps with the revision.
#[derive(Debug)]
pub struct Ref<S>(PhantomData<S>);

impl<S: Kinds> Content for Ref<S> {
    type Value<'r> = &'r str;
    const TYPE: Type = Type::Ref(S::NAMES);
    fn of<'r>(cell: &'r Value<'_>) -> Option<&'r str> {
        cell.text()
    }
}

/// Words of which a field takes one.
pub trait Choice: Copy + PartialEq + 'static {
    /// The words, in the order of the forms.
    const WORDS: &'static [&'static str];
    /// What they stand for, in the same order.
    const ALL: &'static [Self];
    /// The choice behind a word.
    fn of(word: &str) -> Option<Self> {
        Self::WORDS.iter().position(|w| *w == word).map(|i| Self::ALL[i])
    }
}

/// One of a few words.
#[derive(Debug)]
pub struct One<C>(PhantomData<C>);

impl<C: Choice> Content for One<C> {
    type Value<'r> = C;
    const TYPE: Type = Type::Choice(C::WORDS);
    fn of(cell: &Value<'_>) -> Option<C> {
        cell.text().and_then(C::of)
    }
}

/// A field that is filled in every record.
#[derive(Clone, Copy, Debug)]
pub struct Must;
/// A field that may be blank.
#[derive(Clone, Copy, Debug)]
pub struct May;

/// [`Must`] or [`May`].
pub trait Presence: 'static {
    /// May be blank.
    const OPTIONAL: bool;
}
impl Presence for Must {
    const OPTIONAL: bool = false;
}
impl Presence for May {
    const OPTIONAL: bool = true;
}

/// A field of kind `K` that holds `T`.
#[derive(Debug)]
pub struct Field<K, T, P> {
    /// Its place among the fields of its kind, the common three last.
    pub index: usize,
    /// Its name in bundles and tables.
    pub name: &'static str,
    of: PhantomData<fn() -> (K, T, P)>,
}

impl<K, T, P> Clone for Field<K, T, P> {
    fn clone(&self) -> Self {
        *self
    }
}

impl<K, T, P> Copy for Field<K, T, P> {}

impl<K, T, P> Field<K, T, P> {
    /// Made by the tables only.
    pub(crate) const fn new(index: usize, name: &'static str) -> Self {
        Self { index, name, of: PhantomData }
    }

    /// The field whatever it holds.
    pub const fn any(self) -> AnyField<K> {
        AnyField { index: self.index, name: self.name, to: None, of: PhantomData }
    }
}

impl<K, S: Kinds, P> Field<K, Ref<S>, P> {
    /// Of a reference that may lead to several kinds, what leads to this one.
    pub const fn to<T: KindType>(self) -> AnyField<K> {
        const { assert!(leads::<S, T>(), "the field does not refer to that kind") };
        AnyField { index: self.index, name: self.name, to: Some(T::NAME), of: PhantomData }
    }
}

/// Whether a reference to one of `S` may lead to a `T`.
pub(crate) const fn leads<S: Kinds, T: KindType>() -> bool {
    let mut i = 0;
    while i < S::NAMES.len() {
        if same(S::NAMES[i], T::NAME) {
            return true;
        }
        i += 1;
    }
    false
}

const fn same(a: &str, b: &str) -> bool {
    let (a, b) = (a.as_bytes(), b.as_bytes());
    let mut i = 0;
    while i < a.len() && i < b.len() {
        if a[i] != b[i] {
            return false;
        }
        i += 1;
    }
    a.len() == b.len()
}

/// A field of kind `K` whatever it holds: for lists of fields.
#[derive(Debug)]
pub struct AnyField<K> {
    /// Its place among the fields of its kind.
    pub index: usize,
    /// Its name in bundles and tables.
    pub name: &'static str,
    /// Of a reference that may lead to several kinds, the one that is meant.
    pub to: Option<&'static str>,
    of: PhantomData<fn() -> K>,
}

impl<K, T, P> From<Field<K, T, P>> for AnyField<K> {
    fn from(field: Field<K, T, P>) -> Self {
        field.any()
    }
}

impl<K: KindType> AnyField<K> {
    /// The name of its column in the table of its kind.
    #[must_use]
    pub fn column(&self) -> String {
        match (self.to, K::KIND.fields.get(self.index)) {
            (Some(kind), Some(info)) => info.column_to(kind),
            _ => self.name.to_string(),
        }
    }
}

impl<K> Clone for AnyField<K> {
    fn clone(&self) -> Self {
        *self
    }
}

impl<K> Copy for AnyField<K> {}

/// Describes kind `K`, its own fields by constant.
pub(crate) struct Described<K>(pub(crate) Kind, PhantomData<K>);

impl<K> Described<K> {
    pub(crate) const fn new(kind: Kind) -> Self {
        Self(kind, PhantomData)
    }

    /// The record's own time stands in this field.
    pub(crate) const fn time<T, P>(mut self, field: Field<K, T, P>) -> Self {
        self.0.time = Some(field.name);
        self
    }

    /// A link: parents went into the record that this field names.
    pub(crate) const fn child<T, P>(mut self, field: Field<K, T, P>) -> Self {
        self.0.child = Some(field.name);
        self
    }

    /// A reading taken with the instrument that this field names.
    pub(crate) const fn instrument<T, P>(mut self, field: Field<K, T, P>) -> Self {
        self.0.instrument = Some(field.name);
        self
    }

    /// A definition with revisions.
    pub(crate) const fn revisioned(mut self) -> Self {
        self.0.revisioned = true;
        self
    }

    /// Names of its own, outside the space of tags.
    pub(crate) const fn own_names(mut self) -> Self {
        self.0.own_names = true;
        self
    }

    /// Who may write it.
    pub(crate) const fn writer(mut self, writer: Writer) -> Self {
        self.0.writer = writer;
        self
    }

    /// Late after so many minutes.
    pub(crate) const fn late(mut self, minutes: f64) -> Self {
        self.0.late_min = Some(minutes);
        self
    }
}

/// A doc comment as a sentence.
pub(crate) const fn sentence(doc: &'static str) -> &'static str {
    match doc.as_bytes() {
        [b' ', ..] => doc.split_at(1).1,
        _ => doc,
    }
}

macro_rules! field_name {
    ($field:ident) => {
        stringify!($field)
    };
    ($field:ident $name:literal) => {
        $name
    };
}

/// Tables of kinds: `Kind "table" "one such record" STATION [facts] { field: Must|May What, mark, mark(…); }`.
/// The doc comment is the sentence about the kind; `as` gives the name where Rust keeps the word for itself.
macro_rules! kinds {
    ($( #[doc = $about:literal] $kind:ident $table:literal $noun:literal $station:ident [$($fact:tt)*] {
        $( $field:ident $(as $name:literal)? : $presence:ident $content:ty
           $(, $mark:ident $(($($arg:expr),*))? )* ; )*
    } )*) => { $(
        #[doc = $about]
        #[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
        pub struct $kind;
        const _: () = {
            #[allow(non_camel_case_types)]
            enum At { $( $field, )* recorded_at, recorded_by, note }
            static FIELDS: &[FieldInfo] = &[$(
                FieldInfo::of::<$content, $presence>(field_name!($field $($name)?))
                    $( .$mark($($($arg),*)?) )*
            ),*];
            static TABLE: Kind = Described::<$kind>::new(
                Kind::new($table, $noun, $station, sentence($about), FIELDS))
                $($fact)*.0;
            impl KindType for $kind {
                const NAME: &'static str = $table;
                const KIND: &'static Kind = &TABLE;
            }
            #[allow(non_upper_case_globals, missing_docs, reason = "the table says what they hold")]
            impl $kind {
                pub const NAME: &'static str = $table;
                pub const KIND: &'static Kind = &TABLE;
                $( pub const $field: Field<$kind, $content, $presence> =
                    Field::new(At::$field as usize, field_name!($field $($name)?)); )*
                pub const recorded_at: Field<$kind, Time, May> =
                    Field::new(At::recorded_at as usize, "recorded_at");
                pub const recorded_by: Field<$kind, Text, May> =
                    Field::new(At::recorded_by as usize, "recorded_by");
                pub const note: Field<$kind, Text, May> = Field::new(At::note as usize, "note");
            }
        };
    )* };
}

/// The integer key of a record of kind `K`. It never leaves the file.
#[derive(Debug)]
pub struct Key<K> {
    /// The number of its row.
    pub id: i64,
    of: PhantomData<fn() -> K>,
}

impl<K> Key<K> {
    /// A number that a query of the kind's own table, or of a column that refers to it, gave.
    pub const fn new(id: i64) -> Self {
        Self { id, of: PhantomData }
    }
}

impl<K> Clone for Key<K> {
    fn clone(&self) -> Self {
        *self
    }
}

impl<K> Copy for Key<K> {}

impl<K> PartialEq for Key<K> {
    fn eq(&self, other: &Self) -> bool {
        self.id == other.id
    }
}

impl<K> Eq for Key<K> {}

impl<K> Hash for Key<K> {
    fn hash<H: Hasher>(&self, state: &mut H) {
        self.id.hash(state);
    }
}

impl<K> PartialOrd for Key<K> {
    fn partial_cmp(&self, other: &Self) -> Option<Ordering> {
        Some(self.cmp(other))
    }
}

impl<K> Ord for Key<K> {
    fn cmp(&self, other: &Self) -> Ordering {
        self.id.cmp(&other.id)
    }
}

/// A record of kind `K`, looked at.
#[derive(Debug)]
pub struct As<'r, K> {
    /// The record.
    pub record: &'r Record<'r>,
    of: PhantomData<fn() -> K>,
}

impl<K> Clone for As<'_, K> {
    fn clone(&self) -> Self {
        *self
    }
}

impl<K> Copy for As<'_, K> {}

impl<'r, K: KindType> As<'r, K> {
    /// A field's value; none where it is blank or marked.
    pub fn get<T: Content, P>(self, field: Field<K, T, P>) -> Option<T::Value<'r>> {
        T::of(&self.record.values[field.index])
    }

    /// The value of a field that is filled in every record.
    ///
    /// # Errors
    /// It is blank: the file was altered.
    pub fn need<T: Content>(self, field: Field<K, T, Must>) -> Result<T::Value<'r>, Error> {
        self.get(field).ok_or_else(|| {
            Error::untrusted(format!(
                "{}: {} is blank, and must be filled",
                self.record.address(),
                field.name
            ))
        })
    }

    /// The cell with its marks.
    pub fn cell<T, P>(self, field: Field<K, T, P>) -> &'r Value<'r> {
        &self.record.values[field.index]
    }

    /// The cell of any of its fields.
    pub fn at(self, field: AnyField<K>) -> &'r Value<'r> {
        &self.record.values[field.index]
    }

    /// The text of a cell, marks too; empty where it is blank.
    pub fn text<T, P>(self, field: Field<K, T, P>) -> String {
        self.cell(field).to_text()
    }
}

impl<'r, K> std::ops::Deref for As<'r, K> {
    type Target = Record<'r>;
    fn deref(&self) -> &Record<'r> {
        self.record
    }
}

impl Record<'_> {
    /// The record as one of kind `K`, where it is one.
    pub fn of<K: KindType>(&self) -> Option<As<'_, K>> {
        self.kind.is::<K>().then_some(As { record: self, of: PhantomData })
    }
}

/// A record of kind `K` that is being filled.
#[derive(Debug)]
pub struct AsMut<'a, 'r, K> {
    record: &'a mut Record<'r>,
    of: PhantomData<fn() -> K>,
}

impl<'r, K: KindType> AsMut<'_, 'r, K> {
    /// The cell with its marks.
    pub fn cell<T, P>(&self, field: Field<K, T, P>) -> &Value<'r> {
        &self.record.values[field.index]
    }

    /// Sets a field; there is none that it could miss.
    pub fn set<T, P>(&mut self, field: Field<K, T, P>, value: Value<'r>) -> &mut Self {
        self.record.values[field.index] = value;
        self
    }
}

impl<'r> Record<'r> {
    /// The record to be filled, where it is one of kind `K`.
    pub fn of_mut<K: KindType>(&mut self) -> Option<AsMut<'_, 'r, K>> {
        self.kind.is::<K>().then_some(AsMut { record: self, of: PhantomData })
    }
}

/// A record of kind `K`.
#[derive(Clone, Debug)]
pub struct Recorded<K> {
    record: Record<'static>,
    of: PhantomData<fn() -> K>,
}

impl<K: KindType> Default for Recorded<K> {
    fn default() -> Self {
        Self::blank()
    }
}

impl<K: KindType> Recorded<K> {
    /// A record with every field blank.
    pub fn blank() -> Self {
        Self { record: Record::blank(K::KIND), of: PhantomData }
    }

    /// The record as one of kind `K`, where it is one.
    pub fn of(record: Record<'static>) -> Option<Self> {
        record.kind.is::<K>().then_some(Self { record, of: PhantomData })
    }

    /// A field's value; none where it is blank or marked.
    pub fn get<T: Content, P>(&self, field: Field<K, T, P>) -> Option<T::Value<'_>> {
        T::of(&self.record.values[field.index])
    }

    /// The value of a field that is filled in every record.
    ///
    /// # Errors
    /// It is blank: the file was altered.
    pub fn need<T: Content>(&self, field: Field<K, T, Must>) -> Result<T::Value<'_>, Error> {
        self.view().need(field)
    }

    /// The cell with its marks.
    pub fn cell<T, P>(&self, field: Field<K, T, P>) -> &Value<'static> {
        &self.record.values[field.index]
    }

    /// Sets a field; there is none that it could miss.
    pub fn set<T, P>(&mut self, field: Field<K, T, P>, value: Value<'static>) -> &mut Self {
        self.record.values[field.index] = value;
        self
    }

    /// The record, looked at.
    pub fn view(&self) -> As<'_, K> {
        As { record: &self.record, of: PhantomData }
    }

    /// The record, whatever its kind.
    pub fn into_record(self) -> Record<'static> {
        self.record
    }
}

impl<K> std::ops::Deref for Recorded<K> {
    type Target = Record<'static>;
    fn deref(&self) -> &Record<'static> {
        &self.record
    }
}
