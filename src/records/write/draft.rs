//! What the program itself writes, field by field, before it is checked like anything that is typed.

use std::marker::PhantomData;

use crate::catalogue::typed::{Field, KindType};

/// The texts of a record to be.
#[derive(Clone, Debug)]
pub struct Draft<K> {
    texts: Vec<(String, String)>,
    of: PhantomData<fn() -> K>,
}

impl<K: KindType> Default for Draft<K> {
    fn default() -> Self {
        Self { texts: Vec::new(), of: PhantomData }
    }
}

impl<K: KindType> Draft<K> {
    pub fn with<T, P>(mut self, field: Field<K, T, P>, text: impl Into<String>) -> Self {
        self.texts.push((field.name.to_string(), text.into()));
        self
    }

    /// With this text in a field, where there is one.
    pub fn with_some<T, P>(self, field: Field<K, T, P>, text: Option<impl Into<String>>) -> Self {
        match text {
            Some(text) => self.with(field, text),
            None => self,
        }
    }

    /// Field names with their texts, as they are typed.
    pub fn texts(&self) -> &[(String, String)] {
        &self.texts
    }
}
