//! Records asked for by the type of their kind: what comes back is of that kind, or a sentence says what it is instead.

use std::collections::HashMap;
use std::ops::Deref;

use crate::catalogue::Parts;
use crate::catalogue::typed::{AnyField, As, Field, Key, KindType, Kinds, Recorded, Ref, leads};
use crate::error::{Error, Result};
use crate::graph::release_basis::{Behind, Row};
use crate::read::Found;
use crate::read::columns::Cells;
use crate::read::rows::Resolved;
use crate::value::tag::shown;
use crate::value::words::articled;
use crate::{Link, Record, Store};

impl Record<'_> {
    /// A definition that was approved. Definitions of every kind have the same field for it.
    #[must_use]
    pub fn approved(&self) -> bool {
        !self.get(Parts::approved_at.name).is_blank()
    }
}

impl Link {
    /// To a record of kind `K`.
    pub const fn to<K: KindType>(id: i64) -> Self {
        Self { kind: K::NAME, id }
    }

    /// It leads to a record of kind `K`.
    pub fn is<K: KindType>(&self) -> bool {
        self.kind == K::NAME
    }

    /// The key, where it is one of kind `K`.
    pub fn key<K: KindType>(&self) -> Option<Key<K>> {
        (self.kind == K::NAME).then(|| Key::new(self.id))
    }
}

impl<K: KindType> From<Key<K>> for Link {
    fn from(key: Key<K>) -> Self {
        Self { kind: K::NAME, id: key.id }
    }
}

impl Resolved<'_> {
    /// What a field of a record of kind `K` leads to; none where it is blank, or the record of another kind.
    pub fn link<K: KindType, T, P>(&self, field: Field<K, T, P>) -> Option<Link> {
        self.links[field.index].filter(|_| self.record.kind.is::<K>())
    }

    /// As [`Resolved::link`], the id alone.
    pub fn id<K: KindType, T, P>(&self, field: Field<K, T, P>) -> Option<i64> {
        self.link(field).map(|l| l.id)
    }
}

impl Found {
    /// It is of kind `K`.
    pub fn is<K: KindType>(&self) -> bool {
        self.kind.is::<K>()
    }

    /// The record with its key, where it is one of kind `K`.
    pub fn of<K: KindType>(self) -> Option<(Key<K>, Recorded<K>)> {
        let key = Key::new(self.id?);
        Recorded::of(self.record).map(|record| (key, record))
    }

    /// The key, where it is a record of kind `K`.
    pub fn key<K: KindType>(&self) -> Option<Key<K>> {
        self.id.filter(|_| self.is::<K>()).map(Key::new)
    }

    /// The record with its key.
    ///
    /// # Errors
    /// It is of another kind.
    pub fn must_be<K: KindType>(self) -> Result<(Key<K>, Recorded<K>)> {
        let (name, noun) = (self.record.address(), self.kind.noun);
        self.of().ok_or_else(|| {
            Error::input(format!("{} is {}, not {}", shown(&name), articled(noun), articled(K::KIND.noun)))
        })
    }
}

/// A record of kind `K` behind a lot.
#[derive(Debug)]
pub struct RowOf<'r, K> {
    /// The row with what it refers to and the entry that wrote it.
    pub row: &'r Row,
    record: As<'r, K>,
}

impl<K> Clone for RowOf<'_, K> {
    fn clone(&self) -> Self {
        *self
    }
}

impl<K> Copy for RowOf<'_, K> {}

impl<'r, K> Deref for RowOf<'r, K> {
    type Target = As<'r, K>;
    fn deref(&self) -> &As<'r, K> {
        &self.record
    }
}

impl<'r, K: KindType> RowOf<'r, K> {
    /// The row as one of kind `K`, where it is one.
    #[must_use]
    pub fn of(row: &'r Row) -> Option<Self> {
        row.record.of().map(|record| Self { row, record })
    }

    /// Its key, where the kind has keys of its own.
    #[must_use]
    pub fn key(&self) -> Option<Key<K>> {
        self.row.id.map(Key::new)
    }

    /// What a field refers to, where that is a record of kind `T`.
    #[must_use]
    pub fn link<S: Kinds, P, T: KindType>(&self, field: Field<K, Ref<S>, P>) -> Option<Key<T>> {
        const { assert!(leads::<S, T>(), "the field does not refer to that kind") };
        self.row.links.iter().find(|(at, _)| *at == field.index).and_then(|(_, link)| link.key())
    }
}

impl Behind {
    /// The records of kind `K`.
    pub fn each<K: KindType>(&self) -> impl Iterator<Item = RowOf<'_, K>> {
        self.of(K::NAME).filter_map(RowOf::of)
    }

    /// The record with a key.
    #[must_use]
    pub fn at<K: KindType>(&self, key: Key<K>) -> Option<RowOf<'_, K>> {
        self.row(K::NAME, key.id).and_then(RowOf::of)
    }
}

impl Cells {
    /// How many rows it has.
    #[must_use]
    pub fn rows(&self) -> usize {
        match self {
            Self::Words { codes, .. } => codes.len(),
            Self::Numbers { values, .. } => values.len(),
            Self::Links { ids, .. } => ids.len(),
            Self::Times(times) => times.len(),
        }
    }
}

fn typed<K: KindType>(records: Vec<Record<'static>>) -> Result<Vec<Recorded<K>>> {
    records.into_iter().map(one).collect()
}

/// A query of the table of a kind gives records of that kind; that it gave another is never passed over.
fn one<K: KindType>(record: Record<'static>) -> Result<Recorded<K>> {
    let name = (!record.kind.is::<K>()).then(|| record.address());
    Recorded::of(record).ok_or_else(|| {
        Error::untrusted(format!("{} is not of the kind {}", name.unwrap_or_default(), K::NAME))
    })
}

impl Store {
    /// The record of a kind that a tag leads to, with its key.
    ///
    /// # Errors
    /// An unknown tag (with near matches), one of another kind, or the store cannot be read.
    pub fn named<K: KindType>(&self, tag: &str) -> Result<(Key<K>, Recorded<K>)> {
        self.find(tag)?.must_be()
    }

    /// The key of a record of a kind by its tag, and the tag that it has now. Names of its kind only are looked at.
    ///
    /// # Errors
    /// An unknown tag, with near matches.
    pub fn key_of<K: KindType>(&self, tag: &str) -> Result<(Key<K>, String)> {
        let (link, tag) = self.link_of(tag, K::NAME)?;
        Ok((Key::new(link.id), tag))
    }

    /// The key of a record of a kind and the tag that it has now, where a text leads to one.
    pub fn known<K: KindType>(&self, text: &str) -> Result<Option<(Key<K>, String)>> {
        let found = self.look_up(text)?.filter(|(kind, ..)| *kind == K::NAME);
        Ok(found.map(|(_, id, tag)| (Key::new(id), tag)))
    }

    /// A record by its key.
    ///
    /// # Errors
    /// The store cannot be read, or there is no such record.
    pub fn row<K: KindType>(&self, key: Key<K>) -> Result<Recorded<K>> {
        one(self.by_id(K::KIND, key.id)?.record)
    }

    /// The tag of a record.
    pub fn tag_at<K: KindType>(&self, key: Key<K>) -> Result<String> {
        self.tag_of(K::NAME, key.id)
    }

    /// All records of a kind, in export order.
    pub fn rows<K: KindType>(&self) -> Result<Vec<Recorded<K>>> {
        self.all_of(K::KIND).and_then(typed)
    }

    /// The newest records of a kind by their own time, the newest first.
    pub fn newest<K: KindType>(&self, most: usize) -> Result<Vec<Recorded<K>>> {
        self.latest(K::KIND, most).and_then(typed)
    }

    /// All records of a kind that refer to another by this field.
    pub fn rows_of<K: KindType, S: Kinds, P, T: KindType>(
        &self,
        field: Field<K, Ref<S>, P>,
        to: Key<T>,
    ) -> Result<Vec<Recorded<K>>> {
        const { assert!(leads::<S, T>(), "the field does not refer to that kind") };
        self.referring(K::KIND, field.name, T::NAME, to.id).and_then(typed)
    }

    /// All records of a kind that refer by this field to one of several kinds.
    pub fn rows_to<K: KindType, S: Kinds, P>(
        &self,
        field: Field<K, Ref<S>, P>,
        to: Link,
    ) -> Result<Vec<Recorded<K>>> {
        self.referring(K::KIND, field.name, to.kind, to.id).and_then(typed)
    }

    /// The definition that a field of a record was tied to when it was written; none where the field is blank.
    pub fn definition<K: KindType, D: KindType, P>(
        &self,
        key: Key<K>,
        field: Field<K, Ref<D>, P>,
    ) -> Result<Option<Recorded<D>>> {
        self.tied(K::KIND, key.id, field.name)?.map(one).transpose()
    }

    /// The texts that stand in a field, each once, in the order in which they come up.
    pub fn texts<K: KindType>(&self, field: impl Into<AnyField<K>>) -> Result<Vec<String>> {
        let [cells] = self.columns([field.into()])?;
        match cells {
            Cells::Words { levels, .. } => Ok(levels),
            _ => Err(Error::untrusted(format!("{}: the field holds no texts", K::NAME))),
        }
    }

    /// The text in a field of every record, by its key.
    pub fn text_by_key<K: KindType>(&self, field: impl Into<AnyField<K>>) -> Result<HashMap<i64, String>> {
        let (keys, [cells]) = self.keyed_columns([field.into()])?;
        let text = |row: usize| cells.word(row).unwrap_or_default().to_string();
        Ok(keys.into_iter().enumerate().map(|(row, key)| (key, text(row))).collect())
    }

    /// Columns of a kind, rows in the order of the keys.
    pub fn columns<K: KindType, const N: usize>(&self, fields: [AnyField<K>; N]) -> Result<[Cells; N]> {
        self.keyed_columns(fields).map(|(_, columns)| columns)
    }

    /// The keys of all rows of a kind, and columns beside them. A kind without keys of its own has none.
    pub fn keyed_columns<K: KindType, const N: usize>(
        &self,
        fields: [AnyField<K>; N],
    ) -> Result<(Vec<i64>, [Cells; N])> {
        let names = fields.map(|f| f.column());
        let names: Vec<&str> = names.iter().map(String::as_str).collect();
        let sheet = self.sheet(K::KIND, &names)?;
        let fewer = |_| Error::untrusted(format!("{}: fewer columns than were asked for", K::NAME));
        Ok((sheet.ids, sheet.columns.try_into().map_err(fewer)?))
    }
}
