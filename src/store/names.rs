//! The tags of all records that others refer to, in memory: for whoever reads every row.

use std::borrow::Cow;
use std::collections::HashMap;

use rusqlite::Connection;

use crate::domain::catalogue;
use crate::store::error::{Error, Result};
use crate::store::rows::Names;
use crate::store::shape::{self, Role};

/// The tags of every kind that is referred to, by id.
pub struct AllNames<'db> {
    db: &'db Connection,
    tables: HashMap<&'static str, Tags>,
}

/// The tags of one kind, by id.
#[derive(Default)]
pub struct Tags {
    text: String,
    ends: Vec<u32>,
    gaps: bool,
    ids: HashMap<i64, (u32, u32)>,
}

impl Tags {
    /// The tag of an id.
    #[must_use]
    pub fn get(&self, id: i64) -> Option<&str> {
        let at = usize::try_from(id.wrapping_sub(1)).unwrap_or(usize::MAX);
        if let Some(&end) = self.ends.get(at) {
            let start = if at == 0 { 0 } else { self.ends[at - 1] };
            return Some(&self.text[start as usize..end as usize]);
        }
        let &(start, end) = self.ids.get(&id)?;
        Some(&self.text[start as usize..end as usize])
    }
}

impl<'db> AllNames<'db> {
    /// Reads the tags of all kinds that others refer to.
    ///
    /// # Errors
    /// The store cannot be read.
    pub fn new(db: &'db Connection) -> Result<Self> {
        let mut tables = HashMap::new();
        for kind in catalogue::all() {
            let Some(field) = kind.tag_field() else { continue };
            let referred =
                shape::all().iter().any(|s| s.columns.iter().any(|c| c.role == Role::Id(kind.name)));
            if !referred {
                continue;
            }
            let mut table = Tags::default();
            let mut q =
                db.prepare(&format!("SELECT id, \"{}\" FROM {} ORDER BY id", field.name, kind.name))?;
            let mut found = q.query([])?;
            while let Some(row) = found.next()? {
                let id: i64 = row.get(0)?;
                let start = table.text.len() as u32;
                table.text.push_str(row.get_ref(1)?.as_str().unwrap_or(""));
                // Ids mostly run from 1 without gaps: then a list of ends is all that is needed.
                if table.gaps || id != table.ends.len() as i64 + 1 {
                    table.gaps = true;
                    table.ids.insert(id, (start, table.text.len() as u32));
                } else {
                    table.ends.push(table.text.len() as u32);
                }
            }
            tables.insert(kind.name, table);
        }
        Ok(Self { db, tables })
    }

    /// The tags of a kind, where others refer to it.
    #[must_use]
    pub fn of(&self, kind: &str) -> Option<&Tags> {
        self.tables.get(kind)
    }
}

impl Names for AllNames<'_> {
    fn tag(&self, kind: &'static str, id: i64) -> Result<Cow<'_, str>> {
        if let Some(table) = self.tables.get(kind) {
            if let Some(tag) = table.get(id) {
                return Ok(Cow::Borrowed(tag));
            }
        } else if let Some(k) = crate::domain::kind(kind) {
            if let Some(field) = k.tag_field() {
                use rusqlite::OptionalExtension;
                let sql = format!("SELECT \"{}\" FROM {} WHERE id = ?1", field.name, k.name);
                let tag: Option<String> =
                    self.db.prepare_cached(&sql)?.query_row([id], |r| r.get(0)).optional()?;
                if let Some(tag) = tag {
                    return Ok(Cow::Owned(tag));
                }
            }
        }
        Err(Error::Untrusted(format!("it refers to {kind} number {id}, which is missing")))
    }
}
