//! Records asked for by the type of their kind: what comes back is of that kind, or a sentence says what it is instead.

use std::array;

use crate::catalogue::typed::{Any, AnyField, Field, Key, KindType, Kinds, Recorded, Ref, leads};
use crate::error::{Error, Result};
use crate::read::Found;
use crate::read::columns::Cells;
use crate::read::rows::Resolved;
use crate::value::tag::shown;
use crate::value::words::articled;
use crate::{Link, Record, Store};

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

fn typed<K: KindType>(records: Vec<Record<'static>>) -> Vec<Recorded<K>> {
    records.into_iter().filter_map(Recorded::of).collect()
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

    /// A record by its key.
    ///
    /// # Errors
    /// The store cannot be read, or there is no such record.
    pub fn row<K: KindType>(&self, key: Key<K>) -> Result<Recorded<K>> {
        let found = self.by_id(K::KIND, key.id)?;
        Recorded::of(found.record)
            .ok_or_else(|| Error::untrusted(format!("{} number {} is of another kind", K::NAME, key.id)))
    }

    /// All records of a kind, in export order.
    pub fn rows<K: KindType>(&self) -> Result<Vec<Recorded<K>>> {
        self.all_of(K::KIND).map(typed)
    }

    /// All records of a kind that refer to another by this field.
    pub fn rows_of<K: KindType, S: Kinds, P, T: KindType>(
        &self,
        field: Field<K, Ref<S>, P>,
        to: Key<T>,
    ) -> Result<Vec<Recorded<K>>> {
        const { assert!(leads::<S, T>(), "the field does not refer to that kind") };
        self.referring(K::KIND, field.name, T::NAME, to.id).map(typed)
    }

    /// All records of a kind that are about another, of whatever kind.
    pub fn rows_about<K: KindType, P>(&self, field: Field<K, Any, P>, to: Link) -> Result<Vec<Recorded<K>>> {
        self.referring(K::KIND, field.name, to.kind, to.id).map(typed)
    }

    /// The definition that a field of a record was tied to when it was written; none where the field is blank.
    pub fn definition<K: KindType, D: KindType, P>(
        &self,
        key: Key<K>,
        field: Field<K, Ref<D>, P>,
    ) -> Result<Option<Recorded<D>>> {
        Ok(self.tied(K::KIND, key.id, field.name)?.and_then(Recorded::of))
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
        let names = fields.map(|f| column::<K>(&f));
        let names: Vec<&str> = names.iter().map(String::as_str).collect();
        let sheet = self.sheet(K::KIND, &names)?;
        let mut columns = sheet.columns.into_iter();
        // As many columns come as were asked for.
        Ok((sheet.ids, array::from_fn(|_| columns.next().unwrap_or(Cells::Times(Vec::new())))))
    }
}

/// The name of a field's column in the table of its kind.
fn column<K: KindType>(field: &AnyField<K>) -> String {
    match (field.to, K::KIND.fields.get(field.index)) {
        (Some(kind), Some(info)) => info.column_to(kind),
        _ => field.name.to_string(),
    }
}
