//! Single records: by tag or address, with their history.

pub(crate) mod answers;
pub mod columns;
pub mod compact_codes;
pub(crate) mod completing;
pub mod desk_queries;
pub(crate) mod export_order;
pub mod floor_queries;
pub mod id_runs;
pub(crate) mod ids;
pub mod known;
pub mod limits;
pub mod lot_queries;
pub mod organisations;
pub mod outcomes;
pub mod oven_queries;
pub(crate) mod rows;
pub mod series_queries;
pub(crate) mod shape;
pub mod shift_queries;
pub(crate) mod tag_table;
pub mod tags;
pub mod typed;
pub mod yield_queries;

use std::borrow::Cow;
use std::cell::RefCell;
use std::collections::HashMap;

use rusqlite::types::Value as Sql;
use rusqlite::{OptionalExtension, params_from_iter};

use crate::Store;
use crate::catalogue::field::Type;
use crate::catalogue::kind;
use crate::catalogue::kind::Kind;
use crate::catalogue::{Blades, Coats, Inspections, Pours};
use crate::check::OwnField;
use crate::error::{Error, Result};
use crate::file::integrity;
use crate::read::rows::{Link, Names};
use crate::read::shape::{ColumnRole, KindTable};
use crate::read::tags::Tags;
use crate::value::tag::shown;
use crate::value::words::articled;
use crate::write::journal;
use crate::write::journal::Entry;
use crate::{Record, Stamp, Value, catalogue};

/// Where a record is, and the record.
#[derive(Debug)]
pub struct Found {
    pub kind: &'static Kind,
    /// Its id, where it has one.
    pub id: Option<i64>,
    /// The values of its key columns, where it has no tag.
    pub(crate) key: Vec<Sql>,
    pub record: Record<'static>,
    /// The journal entry that wrote it last.
    pub entry: i64,
}

/// So many of the newest keys are looked through for the latest rows of a kind without an index on times.
const NEWEST_KEYS: usize = 256;

/// Tags by single lookups; those that were looked up last are kept, as the rows of a page share parents.
pub(crate) struct Lookup<'db> {
    db: &'db rusqlite::Connection,
    known: RefCell<HashMap<(&'static str, i64), String>>,
    revisions: RefCell<HashMap<(&'static str, i64), String>>,
    most: usize,
}

impl<'db> Lookup<'db> {
    const MOST_KNOWN: usize = 256;

    pub(crate) fn new(db: &'db rusqlite::Connection) -> Self {
        Self { db, known: RefCell::default(), revisions: RefCell::default(), most: Self::MOST_KNOWN }
    }

    /// For thousands of rows that share their parents: every tag is looked up once.
    pub(crate) fn of_many(db: &'db rusqlite::Connection) -> Self {
        Self { most: usize::MAX, ..Self::new(db) }
    }
}

/// The tag of a record; none where it is no longer there, or its kind has no tags.
pub(crate) fn tag_there(db: &rusqlite::Connection, link: Link) -> Result<Option<String>> {
    let Some(field) = rows::named_kind(link.kind)?.tag_field() else { return Ok(None) };
    let sql = format!("SELECT \"{}\" FROM {} WHERE id = ?1", field.name, link.kind);
    Ok(db.prepare_cached(&sql)?.query_row([link.id], |r| r.get(0)).optional()?)
}

/// The tag of a record that a row refers to.
pub(crate) fn tag_of(db: &rusqlite::Connection, link: Link) -> Result<String> {
    tag_there(db, link)?.ok_or_else(|| {
        Error::untrusted(format!("a row refers to {} number {}, which is missing", link.kind, link.id))
    })
}

impl Names for Lookup<'_> {
    fn tag(&self, kind_name: &'static str, id: i64) -> Result<Cow<'_, str>> {
        if let Some(tag) = self.known.borrow().get(&(kind_name, id)) {
            return Ok(Cow::Owned(tag.clone()));
        }
        let tag = tag_of(self.db, Link { kind: kind_name, id })?;
        let mut known = self.known.borrow_mut();
        if known.len() >= self.most {
            known.clear();
        }
        known.insert((kind_name, id), tag.clone());
        Ok(Cow::Owned(tag))
    }

    fn revision(&self, kind_name: &'static str, id: i64) -> Result<Option<Cow<'_, str>>> {
        if !kind(kind_name).is_some_and(|k| k.revisioned) {
            return Ok(None);
        }
        if let Some(revision) = self.revisions.borrow().get(&(kind_name, id)) {
            return Ok(Some(Cow::Owned(revision.clone())));
        }
        let sql = format!("SELECT revision FROM {kind_name} WHERE id = ?1");
        let found: Option<String> = self.db.prepare_cached(&sql)?.query_row([id], |r| r.get(0)).optional()?;
        let revision = found.ok_or_else(|| {
            Error::untrusted(format!("a row refers to {kind_name} number {id}, which is missing"))
        })?;
        self.revisions.borrow_mut().insert((kind_name, id), revision.clone());
        Ok(Some(Cow::Owned(revision)))
    }
}

impl Store {
    /// The record that a tag leads to.
    ///
    /// # Errors
    /// An unknown tag, with near matches.
    pub fn link(&self, tag: &str) -> Result<(Link, String)> {
        match self.look_up(tag)? {
            Some((kind, id, primary)) => Ok((Link { kind, id }, primary)),
            None => {
                let found = self.find(tag)?;
                Err(Error::input(format!(
                    "{} is {}; it has no tag, and no parentage of its own",
                    shown(tag),
                    articled(found.kind.noun)
                )))
            }
        }
    }

    /// The foundry's own fields.
    pub fn own_fields(&self) -> Result<Vec<OwnField>> {
        own_fields(&self.db)
    }

    /// Finds a record by its tag, a re-tag, or its address `KIND:PARENT/KEY`.
    ///
    /// # Errors
    /// Nothing is found (with near matches), or the store cannot be read.
    pub fn find(&self, text: &str) -> Result<Found> {
        find(&self.db, text)
    }

    /// Every entry of the journal about a record, oldest first; also of one that is no longer there.
    pub fn history(&self, kind: &str, tag: &str) -> Result<Vec<Entry>> {
        journal::of_record(&self.db, kind, tag)
    }

    /// A journal entry by its number.
    pub fn entry(&self, seq: i64) -> Result<Option<Entry>> {
        journal::by_seq(&self.db, seq)
    }

    /// The newest journal entry: its number and hash.
    pub fn head(&self) -> Result<(i64, String)> {
        journal::head(&self.db)
    }

    /// What kind of record a tag leads to, and its tag; without an error where it leads nowhere.
    pub fn look_up(&self, text: &str) -> Result<Option<(&'static str, i64, String)>> {
        Ok(Tags::new(&self.db)?.anything(text)?.map(|(l, tag)| (l.kind, l.id, tag)))
    }

    /// A record of a kind by its id.
    ///
    /// # Errors
    /// The store cannot be read, or there is no such record.
    pub fn by_id(&self, kind: &'static Kind, id: i64) -> Result<Found> {
        load(&self.db, shape::of(kind), &[Sql::Integer(id)])?
            .ok_or_else(|| Error::untrusted(format!("{} number {id} is missing", kind.name)))
    }

    /// All records of a kind that refer to another by this field.
    pub fn referring(
        &self,
        kind: &'static Kind,
        field: &str,
        to: &str,
        id: i64,
    ) -> Result<Vec<Record<'static>>> {
        let shape = shape::of(kind);
        let at =
            kind.index(field).ok_or_else(|| Error::untrusted(format!("{} has no {field}", kind.name)))?;
        let to = rows::named_kind(to)?.name;
        let column = shape.columns.iter().find(|c| c.field == at && c.role == ColumnRole::Id(to));
        let condition = match column {
            Some(c) => format!(" WHERE \"{}\" = ?1", c.name),
            None => format!(" WHERE {field}_kind = '{to}' AND {field}_id = ?1"),
        };
        select(&self.db, shape, &condition, &[Sql::Integer(id)])
    }

    /// All records of a kind, in export order.
    pub fn all_of(&self, kind: &'static Kind) -> Result<Vec<Record<'static>>> {
        let shape = shape::of(kind);
        select(&self.db, shape, shape.ordered(), &[])
    }

    /// The latest records of a kind by their own time, else by when they were written; the latest first.
    /// Blades and inspections as they were written: they are most of a file, and an index on their times
    /// would be a tenth of it.
    pub fn latest(&self, kind: &'static Kind, most: usize) -> Result<Vec<Record<'static>>> {
        let shape = shape::of(kind);
        let by = latest_by(kind, shape);
        select(&self.db, shape, &format!(" ORDER BY {by} DESC LIMIT {most}"), &[])
    }

    /// A late record of a kind, for a form to start from, in a time that does not grow with the file: the
    /// latest, and where a kind has no index on its time, the latest of the rows with the newest keys.
    pub fn recent(&self, kind: &'static Kind) -> Result<Option<Record<'static>>> {
        let shape = shape::of(kind);
        if shape.has_id || matches!(kind.name, Pours::NAME | Coats::NAME) {
            return Ok(self.latest(kind, 1)?.into_iter().next());
        }
        let by = latest_by(kind, shape);
        let keys: Vec<String> =
            shape.key.iter().map(|&c| format!("\"{}\" DESC", shape.columns[c].name)).collect();
        let newest = format!(
            "{} FROM (SELECT * FROM {name} ORDER BY {} LIMIT {NEWEST_KEYS}) ORDER BY {by} DESC LIMIT 1",
            shape.select.trim_end_matches(&format!(" FROM {}", kind.name)),
            keys.join(", "),
            name = kind.name
        );
        Ok(records(&self.db, shape, &newest, &[])?.into_iter().next())
    }

    /// The record of a kind that was written last one by one, if that was not long ago.
    pub fn written_last(&self, kind: &'static Kind) -> Result<Option<Record<'static>>> {
        let mut q = self.db.prepare_cached(
            "SELECT tag FROM journal WHERE seq > (SELECT max(seq) FROM journal) - 500 AND kind = ?1
             AND action = 'log' AND tag IS NOT NULL ORDER BY seq DESC LIMIT 1",
        )?;
        let tag: Option<String> = q.query_row([kind.name], |r| r.get(0)).optional()?;
        match tag.map(|tag| self.find(&tag)) {
            Some(Ok(found)) if found.kind.name == kind.name => Ok(Some(found.record)),
            // An entry that was taken back leads to nothing.
            None | Some(Ok(_)) => Ok(None),
            Some(Err(gone)) if gone.is_input() => Ok(None),
            Some(Err(fault)) => Err(fault),
        }
    }

    /// The number of records of a kind.
    pub fn count(&self, kind: &Kind) -> Result<i64> {
        Ok(self.db.query_row(&format!("SELECT count(*) FROM {}", kind.name), [], |r| r.get(0))?)
    }
}

/// What the rows of a kind are ordered by where the latest come first.
fn latest_by(kind: &Kind, shape: &KindTable) -> String {
    let written = matches!(kind.name, Blades::NAME | Inspections::NAME);
    match (kind.time.filter(|_| !written), shape.has_id) {
        (Some(time), _) => format!("\"{time}\""),
        (None, true) => "id".to_string(),
        (None, false) => "entry".to_string(),
    }
}

/// The foundry's own fields.
pub fn own_fields(db: &rusqlite::Connection) -> Result<Vec<OwnField>> {
    list(db, "SELECT record, field, type, min, max, cause FROM own_fields ORDER BY 1, 2", [], |r| {
        Ok(OwnField {
            record: r.get(0)?,
            name: r.get(1)?,
            ty: r.get(2)?,
            min: r.get(3)?,
            max: r.get(4)?,
            cause: r.get::<_, String>(5)? == "yes",
        })
    })
}

/// All rows of a query, each as `of` reads it.
pub(crate) fn list<T, C: FromIterator<T>>(
    db: &rusqlite::Connection,
    sql: &str,
    parameters: impl rusqlite::Params,
    of: impl FnMut(&rusqlite::Row<'_>) -> rusqlite::Result<T>,
) -> Result<C> {
    let mut q = db.prepare_cached(sql)?;
    let rows = q.query_map(parameters, of)?;
    Ok(rows.collect::<rusqlite::Result<C>>()?)
}

/// Records that a condition chooses, each held against its digest.
pub(crate) fn select(
    db: &rusqlite::Connection,
    shape: &KindTable,
    condition: &str,
    parameters: &[Sql],
) -> Result<Vec<Record<'static>>> {
    records(db, shape, &format!("{}{condition}", shape.select), parameters)
}

fn records(
    db: &rusqlite::Connection,
    shape: &KindTable,
    sql: &str,
    parameters: &[Sql],
) -> Result<Vec<Record<'static>>> {
    let own = own_fields(db)?;
    let names = Lookup::new(db);
    let mut q = db.prepare_cached(sql)?;
    let mut found = q.query(params_from_iter(parameters))?;
    let mut out = Vec::new();
    while let Some(row) = found.next()? {
        let record = rows::read(shape, row, &names, &own)?.owned();
        integrity::as_sealed(db, shape, row, &record)?;
        out.push(record);
    }
    Ok(out)
}

/// Loads a record by its id or key.
pub fn load(db: &rusqlite::Connection, shape: &'static KindTable, key: &[Sql]) -> Result<Option<Found>> {
    let own = own_fields(db)?;
    let names = Lookup::new(db);
    let mut q = db.prepare_cached(&format!("{}{}", shape.select, shape.by_key(1)))?;
    let mut found = q.query(params_from_iter(key))?;
    let Some(row) = found.next()? else { return Ok(None) };
    let record = with_revision(db, shape, rows::read(shape, row, &names, &own)?.owned(), row)?;
    integrity::as_sealed(db, shape, row, &record)?;
    let columns = shape.columns.len() + usize::from(shape.has_id);
    Ok(Some(Found {
        kind: shape.kind,
        id: if shape.has_id { Some(row.get(0)?) } else { None },
        key: if shape.kind.tagged() { Vec::new() } else { key.to_vec() },
        record,
        entry: row.get(columns + 1)?,
    }))
}

/// Fills the revision of the definition that a row belongs to, which stands in the definition.
pub fn with_revision(
    db: &rusqlite::Connection,
    shape: &KindTable,
    mut record: Record<'static>,
    row: &rusqlite::Row,
) -> Result<Record<'static>> {
    for field in shape.kind.fields {
        let Type::RevisionOf(of) = field.ty else { continue };
        let Some(c) = shape.columns.iter().position(|c| c.name == of) else { continue };
        let ColumnRole::Id(table) = shape.columns[c].role else { continue };
        let id: i64 = row.get(c + usize::from(shape.has_id))?;
        let revision: String = db
            .prepare_cached(&format!("SELECT revision FROM {table} WHERE id = ?1"))?
            .query_row([id], |r| r.get(0))?;
        if !revision.is_empty() {
            record.set(field.name, Value::Text(revision.into()));
        }
    }
    Ok(record)
}

/// Finds a record by its tag, a re-tag, or its address. What reads as an address is one: a tag of earlier rules that
/// looks the same is only meant where nothing has that address.
pub fn find(db: &rusqlite::Connection, text: &str) -> Result<Found> {
    let tags = Tags::new(db)?;
    let address = text.split_once(':').filter(|(name, _)| catalogue::find(name).is_ok());
    let there = address.map(|(name, rest)| by_address(db, &tags, name, rest));
    let not_there = match there {
        Some(Ok(found)) => return Ok(found),
        Some(Err(e)) if !e.is_input() => return Err(e),
        Some(Err(e)) => Some(e),
        None => None,
    };
    if let Some((Link { kind: name, id }, _)) = tags.anything(text)? {
        let kind = rows::named_kind(name)?;
        if let Some(found) = load(db, shape::of(kind), &[Sql::Integer(id)])? {
            return Ok(found);
        }
    }
    Err(not_there.unwrap_or_else(|| tags::unknown(&tags, text)))
}

fn by_address(db: &rusqlite::Connection, tags: &Tags, name: &str, rest: &str) -> Result<Found> {
    let kind = catalogue::find(name).map_err(Error::input)?;
    if kind.tagged() {
        let tag_kind = if kind.revisioned { None } else { tags.find(rest, &[kind.name])? };
        let id = match tag_kind {
            Some((link, _)) => Some(link.id),
            None if kind.revisioned => tags.definition(kind, rest, None)?.map(|(r, _)| r.id),
            None => None,
        };
        if let Some(id) = id {
            if let Some(found) = load(db, shape::of(kind), &[Sql::Integer(id)])? {
                return Ok(found);
            }
        }
        return Err(Error::input(tags.unknown(rest, &[kind.name])?));
    }
    let fields: Vec<_> = kind.key_fields().copied().collect();
    // A part of a key may hold a slash itself: every way to cut the address is tried.
    let pieces: Vec<&str> = rest.split('/').collect();
    for cut in cuts(&pieces, fields.len()) {
        let mut record = Record::blank(kind);
        let mut readable = true;
        for (field, text) in fields.iter().zip(&cut) {
            let revision = kind.fields.iter().find(|f| f.ty == Type::RevisionOf(field.name));
            let (text, named) = match text.rsplit_once('@') {
                Some((tag, rev)) if revision.is_some() => (tag, Some(rev)),
                _ => (text.as_str(), None),
            };
            if let (Some(f), Some(rev)) = (revision, named) {
                record.set(f.name, Value::Text(rev.into()));
            }
            match Value::stored(field, text) {
                Ok(value) => record.set(field.name, value),
                Err(_) => readable = false,
            }
        }
        if !readable {
            continue;
        }
        if let Some(key) = key_of(tags, &record)? {
            if let Some(found) = load(db, shape::of(kind), &key)? {
                return Ok(found);
            }
        }
    }
    let form = fields.iter().map(|f| f.name.to_uppercase()).collect::<Vec<_>>().join("/");
    Err(Error::input(format!(
        "there is no {} {}; its address is {}:{form}",
        kind.noun,
        crate::value::tag::shown(rest),
        kind.name
    )))
}

/// Every way to join pieces into `n` parts; the first ways take the pieces as they are.
fn cuts(pieces: &[&str], n: usize) -> Vec<Vec<String>> {
    if n == 1 {
        return vec![vec![pieces.join("/")]];
    }
    let mut out = Vec::new();
    for take in 1..pieces.len().max(1) {
        if pieces.len() - take + 1 < n {
            break;
        }
        for mut rest in cuts(&pieces[take..], n - 1) {
            rest.insert(0, pieces[..take].join("/"));
            out.push(rest);
        }
    }
    out
}

/// The key of a record without tag, its references resolved; none where one leads nowhere.
pub fn key_of(tags: &Tags, record: &Record) -> Result<Option<Vec<Sql>>> {
    let shape = shape::of(record.kind);
    let mut of_key = Record::blank(record.kind);
    for field in record.kind.key_fields() {
        of_key.set(field.name, record.get(field.name).clone());
    }
    for field in record.kind.fields {
        if matches!(field.ty, Type::RevisionOf(_)) {
            of_key.set(field.name, record.get(field.name).clone());
        }
    }
    of_key.tied.clone_from(&record.tied);
    let (resolved, faults) = crate::write::resolve::resolve(of_key, tags)?;
    if !faults.is_empty() {
        return Ok(None);
    }
    let mut key = Vec::new();
    for &c in &shape.key {
        let column = &shape.columns[c];
        let link = resolved.links[column.field];
        key.push(match column.role {
            ColumnRole::Id(kind) => link.filter(|l| l.kind == kind).map_or(Sql::Null, |l| Sql::Integer(l.id)),
            ColumnRole::SubjectKind => link.map_or(Sql::Null, |l| Sql::Text(l.kind.into())),
            ColumnRole::SubjectId => link.map_or(Sql::Null, |l| Sql::Integer(l.id)),
            ColumnRole::Plain => match &resolved.record.values[column.field] {
                Value::Count(v) => Sql::Integer(*v),
                Value::Number(v) => Sql::Real(*v),
                Value::Time(t, _) => Sql::Integer(Stamp::packed(*t)),
                other => Sql::Text(other.to_text()),
            },
        });
    }
    Ok(Some(key))
}

impl Store {
    /// Every journal entry about a tag, whatever the kind.
    pub fn history_of_tag(&self, tag: &str) -> Result<Vec<Entry>> {
        list(
            &self.db,
            "SELECT * FROM journal WHERE tag = ?1 COLLATE NOCASE ORDER BY seq",
            [tag],
            journal::from_row,
        )
    }

    /// Re-tags that bear on a tag: old, new, when, why.
    pub fn retags_of(&self, tag: &str) -> Result<Vec<(String, String, Stamp, String)>> {
        let mut q = self.db.prepare_cached(
            "SELECT old_tag, new_tag, changed_at, ifnull(reason, '') FROM retags
             WHERE old_tag = ?1 COLLATE NOCASE OR new_tag = ?1 COLLATE NOCASE ORDER BY changed_at",
        )?;
        let rows =
            q.query_map([tag], |r| Ok((r.get(0)?, r.get(1)?, Stamp::from_packed(r.get(2)?), r.get(3)?)))?;
        Ok(rows.collect::<rusqlite::Result<_>>()?)
    }

    /// How many records refer to this one, by kind.
    pub fn below(&self, kind_name: &str, id: i64) -> Result<Vec<(String, usize)>> {
        let mut out = Vec::new();
        let kind = rows::named_kind(kind_name)?.name;
        for shape in shape::all() {
            for column in shape.columns.iter().filter(|c| c.role == ColumnRole::Id(kind)) {
                let sql = format!("SELECT count(*) FROM {} WHERE \"{}\" = ?1", shape.kind.name, column.name);
                let n: i64 = self.db.prepare_cached(&sql)?.query_row([id], |r| r.get(0))?;
                if n > 0 {
                    out.push((shape.kind.name.to_string(), n as usize));
                }
            }
        }
        Ok(out)
    }
}
