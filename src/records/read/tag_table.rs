//! The tags of all records that others refer to, in memory: for whoever reads every row.

use std::borrow::Cow;
use std::collections::HashMap;

use rusqlite::Connection;

use crate::catalogue;
use crate::error::{Error, Result};
use crate::read;
use crate::read::rows::{Link, Names};
use crate::read::shape;
use crate::read::shape::ColumnRole;

/// The tags of every kind that is referred to, by id.
pub struct AllNames<'db> {
    db: &'db Connection,
    tables: HashMap<&'static str, TagTable>,
    /// Revisions of definitions, by id.
    revisions: HashMap<&'static str, TagTable>,
    /// Tags of definitions with their revisions.
    full: HashMap<&'static str, TagTable>,
}

/// The tags of one kind, by id.
#[derive(Default)]
pub struct TagTable {
    text: String,
    ends: Vec<u32>,
    gaps: bool,
    ids: HashMap<i64, (u32, u32)>,
}

impl TagTable {
    fn read(db: &Connection, table: &str, column: &str) -> Result<Self> {
        let mut out = Self::default();
        let mut q = db.prepare(&format!("SELECT id, {column} FROM {table} ORDER BY id"))?;
        let mut found = q.query([])?;
        while let Some(row) = found.next()? {
            let id: i64 = row.get(0)?;
            let start = out.text.len() as u32;
            out.text.push_str(row.get_ref(1)?.as_str().unwrap_or(""));
            // Ids mostly run from 1 without gaps: then a list of ends is all that is needed.
            if out.gaps || id != out.ends.len() as i64 + 1 {
                out.gaps = true;
                out.ids.insert(id, (start, out.text.len() as u32));
            } else {
                out.ends.push(out.text.len() as u32);
            }
        }
        Ok(out)
    }

    /// The tag of an id.
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

impl TagTable {
    /// Hands on each tag, where the text of them all is `suspicious`.
    pub fn look_through(&self, suspicious: impl Fn(&str) -> bool, mut each: impl FnMut(&str)) {
        if !suspicious(&self.text) {
            return;
        }
        let mut spans: Vec<(u32, u32)> = self.ids.values().copied().collect();
        spans.extend((0..self.ends.len()).map(|i| (if i == 0 { 0 } else { self.ends[i - 1] }, self.ends[i])));
        spans.sort_unstable();
        for (start, end) in spans {
            each(&self.text[start as usize..end as usize]);
        }
    }
}

impl<'db> AllNames<'db> {
    /// Reads the tags of all kinds that others refer to.
    pub fn new(db: &'db Connection) -> Result<Self> {
        let (mut tables, mut revisions, mut full) = (HashMap::new(), HashMap::new(), HashMap::new());
        for kind in catalogue::all() {
            let Some(field) = kind.tag_field() else { continue };
            let referred =
                shape::all().iter().any(|s| s.columns.iter().any(|c| c.role == ColumnRole::Id(kind.name)));
            if !(referred || kind.revisioned) {
                continue;
            }
            let tag = format!("\"{}\"", field.name);
            tables.insert(kind.name, TagTable::read(db, kind.name, &tag)?);
            if kind.revisioned {
                revisions.insert(kind.name, TagTable::read(db, kind.name, "revision")?);
                full.insert(kind.name, TagTable::read(db, kind.name, &format!("{tag} || '@' || revision"))?);
            }
        }
        Ok(Self { db, tables, revisions, full })
    }

    /// The tags of a kind with their revisions where it has them, where others refer to it.
    pub fn full(&self, kind: &str) -> Option<&TagTable> {
        self.full.get(kind).or_else(|| self.tables.get(kind))
    }
}

impl AllNames<'_> {
    /// The tags of a kind, where others refer to it.
    pub fn of(&self, kind: &str) -> Option<&TagTable> {
        self.tables.get(kind)
    }
}

impl Names for AllNames<'_> {
    fn tag(&self, kind: &'static str, id: i64) -> Result<Cow<'_, str>> {
        if let Some(table) = self.tables.get(kind) {
            if let Some(tag) = table.get(id) {
                return Ok(Cow::Borrowed(tag));
            }
        } else if let Some(tag) = read::tag_there(self.db, Link { kind, id })? {
            return Ok(Cow::Owned(tag));
        }
        Err(Error::untrusted(format!("it refers to {kind} number {id}, which is missing")))
    }

    fn revision(&self, kind: &'static str, id: i64) -> Result<Option<Cow<'_, str>>> {
        let missing = || Error::untrusted(format!("it refers to {kind} number {id}, which is missing"));
        let Some(table) = self.revisions.get(kind) else { return Ok(None) };
        Ok(Some(Cow::Borrowed(table.get(id).ok_or_else(missing)?)))
    }
}
