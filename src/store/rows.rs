//! Records to rows and back.

use std::borrow::Cow;
use std::fmt::Write as _;

use rusqlite::types::ValueRef;
use rusqlite::{Row, Statement};

use crate::domain::field::{Field, Type};
use crate::domain::record::{Record, json_string};
use crate::domain::{Stamp, Value};
use crate::store::error::{Error, Result};
use crate::store::seal;
use crate::store::shape::{Role, Shape};

/// What a reference resolved to: the kind and the id.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Link {
    /// Name of the kind.
    pub kind: &'static str,
    /// Id in its table.
    pub id: i64,
}

/// A record whose references are resolved, ready to be written.
pub struct Resolved<'a> {
    /// The record; references hold the primary tag of what they refer to.
    pub record: Record<'a>,
    /// For each field, what it refers to.
    pub links: Vec<Option<Link>>,
    /// Fields (by position) whose revision was named, and so must be shown as written.
    pub named: Vec<usize>,
}

/// The digest of a canonical text: SHA-256, of which the row keeps the first eight bytes.
pub fn digest(canonical: &str) -> i64 {
    seal::digest(canonical.as_bytes())
}

/// What takes the parameters of a statement.
pub trait Parameters {
    /// Nothing.
    fn null(&mut self, at: usize) -> Result<()>;
    /// An integer.
    fn integer(&mut self, at: usize, v: i64) -> Result<()>;
    /// A number.
    fn real(&mut self, at: usize, v: f64) -> Result<()>;
    /// A text.
    fn text(&mut self, at: usize, text: &str) -> Result<()>;
}

impl Parameters for Statement<'_> {
    fn null(&mut self, at: usize) -> Result<()> {
        Ok(self.raw_bind_parameter(at, rusqlite::types::Null)?)
    }
    fn integer(&mut self, at: usize, v: i64) -> Result<()> {
        Ok(self.raw_bind_parameter(at, v)?)
    }
    fn real(&mut self, at: usize, v: f64) -> Result<()> {
        Ok(self.raw_bind_parameter(at, v)?)
    }
    fn text(&mut self, at: usize, text: &str) -> Result<()> {
        Ok(self.raw_bind_parameter(at, text)?)
    }
}

/// An insert that is run for many rows: columns that the file does not fill are left out, and what
/// the row before had bound already is not bound again.
pub struct Filling<'db> {
    statement: Statement<'db>,
    /// For each parameter of the whole insert (from 1) that of this one; 0 is left out.
    place: Vec<usize>,
    last: Vec<Last>,
}

#[derive(Clone)]
enum Last {
    Null,
    Integer(i64),
    Real(u64),
    Text(String),
}

impl<'db> Filling<'db> {
    /// For the fields of a shape that `given` names; those of the key are always filled.
    pub fn new(db: &'db rusqlite::Connection, shape: &Shape, given: impl Fn(&str) -> bool) -> Result<Self> {
        let mut names: Vec<&str> = Vec::new();
        let mut place = vec![0];
        let mut add = |name, filled: bool| {
            if filled {
                names.push(name);
            }
            place.push(if filled { names.len() } else { 0 });
        };
        if shape.has_id {
            add("id", true);
        }
        for column in &shape.columns {
            let field = field_of(shape, column.field);
            add(&column.name, field.key || !field.optional || given(field.name));
        }
        for name in ["extra", "entry", "digest"] {
            add(name, true);
        }
        let marks = vec!["?"; names.len()].join(", ");
        let list = names.iter().map(|n| format!("\"{n}\"")).collect::<Vec<_>>().join(", ");
        let sql = format!("INSERT INTO {} ({list}) VALUES ({marks})", shape.kind.name);
        let last = vec![Last::Null; names.len() + 1];
        Ok(Self { statement: db.prepare(&sql)?, place, last })
    }

    /// Runs it.
    pub fn execute(&mut self) -> rusqlite::Result<usize> {
        self.statement.raw_execute()
    }
}

impl Parameters for Filling<'_> {
    fn null(&mut self, at: usize) -> Result<()> {
        let at = self.place[at];
        if at > 0 && !matches!(self.last[at], Last::Null) {
            self.last[at] = Last::Null;
            self.statement.null(at)?;
        }
        Ok(())
    }
    fn integer(&mut self, at: usize, v: i64) -> Result<()> {
        let at = self.place[at];
        if !matches!(self.last[at], Last::Integer(old) if old == v) {
            self.last[at] = Last::Integer(v);
            self.statement.integer(at, v)?;
        }
        Ok(())
    }
    fn real(&mut self, at: usize, v: f64) -> Result<()> {
        let at = self.place[at];
        if !matches!(self.last[at], Last::Real(old) if old == v.to_bits()) {
            self.last[at] = Last::Real(v.to_bits());
            self.statement.real(at, v)?;
        }
        Ok(())
    }
    fn text(&mut self, at: usize, text: &str) -> Result<()> {
        let at = self.place[at];
        match &mut self.last[at] {
            Last::Text(old) if old == text => return Ok(()),
            Last::Text(old) => {
                old.clear();
                old.push_str(text);
            }
            other => *other = Last::Text(text.to_string()),
        }
        self.statement.text(at, text)
    }
}

/// Binds every column of a row, from parameter `first` on, and gives the next free parameter.
pub fn bind(
    statement: &mut impl Parameters,
    shape: &Shape,
    row: &Resolved,
    first: usize,
    entry: i64,
    digest: i64,
    extra: &mut String,
) -> Result<usize> {
    let mut at = first;
    extra.clear();
    for column in &shape.columns {
        let value = &row.record.values[column.field];
        let link = row.links[column.field];
        match column.role {
            Role::Id(kind) => match link.filter(|l| l.kind == kind) {
                Some(l) => statement.integer(at, l.id)?,
                None => statement.null(at)?,
            },
            Role::SubjectKind => match link {
                Some(l) => statement.text(at, l.kind)?,
                None => statement.null(at)?,
            },
            Role::SubjectId => match link {
                Some(l) => statement.integer(at, l.id)?,
                None => statement.null(at)?,
            },
            Role::Plain => plain(statement, at, field_of(shape, column.field), value)?,
        }
        at += 1;
    }
    let odd = |v: &Value| {
        matches!(v, Value::Below(_) | Value::NotApplicable | Value::Illegible | Value::Time(_, Some(_)))
    };
    if !row.named.is_empty() || row.record.values.iter().any(odd) {
        for (i, field) in shape.kind.all_fields().enumerate() {
            if beside(field, &row.record.values[i]) || row.named.contains(&i) {
                push_extra(extra, field.name, &row.record.values[i]);
            }
        }
    }
    for (name, value) in &row.record.own {
        if !value.is_blank() {
            push_extra(extra, name, value);
        }
    }
    if extra.is_empty() {
        statement.null(at)?;
    } else {
        extra.push('}');
        statement.text(at, extra)?;
    }
    statement.integer(at + 1, entry)?;
    statement.integer(at + 2, digest)?;
    Ok(at + 3)
}

fn field_of(shape: &Shape, i: usize) -> &'static Field {
    let n = shape.kind.fields.len();
    shape.kind.fields.get(i).unwrap_or_else(|| &crate::domain::kind::COMMON[i - n])
}

fn plain(statement: &mut impl Parameters, at: usize, field: &Field, value: &Value) -> Result<()> {
    let needs_text = field.key && field.optional;
    match value {
        Value::Number(v) => statement.real(at, *v)?,
        Value::Count(v) => statement.integer(at, *v)?,
        Value::Time(t, _) => statement.integer(at, t.packed())?,
        Value::Text(t) => statement.text(at, t)?,
        Value::NotApplicable | Value::Illegible if !beside(field, value) => {
            statement.text(at, &value.to_text())?;
        }
        _ if needs_text => statement.text(at, "")?,
        _ => statement.null(at)?,
    }
    Ok(())
}

/// The value cannot stand in its column, and stands in `extra` instead.
fn beside(field: &Field, value: &Value) -> bool {
    match value {
        Value::Below(_) | Value::Time(_, Some(_)) => true,
        Value::NotApplicable | Value::Illegible => !matches!(field.ty, Type::Text | Type::Moment),
        _ => false,
    }
}

fn push_extra(extra: &mut String, name: &str, value: &Value) {
    extra.push(if extra.is_empty() { '{' } else { ',' });
    json_string(name, extra);
    extra.push(':');
    json_string(&value.to_text(), extra);
}

/// Gives the tag of a record by its kind and id.
pub trait Names {
    /// The tag.
    ///
    /// # Errors
    /// The store cannot be read, or the record is missing.
    fn tag(&self, kind: &'static str, id: i64) -> Result<Cow<'_, str>>;
}

/// Reads a row selected by the shape's `select`. References become tags.
pub fn read<'r>(
    shape: &Shape,
    row: &'r Row<'_>,
    names: &'r dyn Names,
    own: &[crate::domain::check::OwnField],
) -> Result<Record<'r>> {
    let mut record = Record::blank(shape.kind);
    let mut at = usize::from(shape.has_id);
    let mut subject: Option<&'static str> = None;
    for column in &shape.columns {
        let cell = row.get_ref(at)?;
        at += 1;
        let value = match (column.role, cell) {
            (Role::SubjectKind, ValueRef::Text(t)) => {
                subject = crate::domain::kind(&String::from_utf8_lossy(t)).map(|k| k.name);
                continue;
            }
            (_, ValueRef::Null) | (Role::SubjectKind, _) => continue,
            (Role::Id(kind), ValueRef::Integer(id)) => Value::Text(names.tag(kind, id)?),
            (Role::SubjectId, ValueRef::Integer(id)) => match subject {
                Some(kind) => Value::Text(names.tag(kind, id)?),
                None => continue,
            },
            (_, cell) => cell_value(field_of(shape, column.field), cell)?,
        };
        record.values[column.field] = value;
    }
    if let ValueRef::Text(extra) = row.get_ref(at)? {
        let extra: serde_json::Map<String, serde_json::Value> = serde_json::from_slice(extra)
            .map_err(|_| Error::Untrusted(format!("{}: a row's extra is no JSON object", shape.kind.name)))?;
        for (name, value) in extra {
            let text = value.as_str().unwrap_or_default().to_string();
            set_extra(&mut record, &name, text, own)?;
        }
        record.own.sort_by(|a, b| a.0.cmp(&b.0));
    }
    Ok(record)
}

/// The tag or address of a row that cannot be read whole, as far as it goes: what is missing is a
/// question mark.
pub fn nearly(shape: &Shape, row: &Row<'_>, names: &dyn Names) -> String {
    let cell = |c: usize| -> Option<String> {
        let column = &shape.columns[c];
        let field = field_of(shape, column.field);
        match (column.role, row.get_ref(c + usize::from(shape.has_id)).ok()?) {
            (_, ValueRef::Null) => None,
            (Role::Id(kind), ValueRef::Integer(id)) => {
                Some(names.tag(kind, id).map_or_else(|_| "?".into(), Cow::into_owned))
            }
            (Role::SubjectKind, _) => None,
            (Role::SubjectId, _) => Some("?".into()),
            (_, cell) => Some(cell_value(field, cell).map_or_else(|_| "?".into(), |v| v.to_text())),
        }
    };
    let at = |field: usize| shape.columns.iter().position(|c| c.field == field);
    match shape.tag.and_then(at) {
        Some(c) => cell(c).unwrap_or_default(),
        None => {
            let parts: Vec<String> = shape.key.iter().filter_map(|c| cell(*c)).collect();
            format!("{}:{}", shape.kind.name, parts.join("/"))
        }
    }
}

fn set_extra(
    record: &mut Record<'_>,
    name: &str,
    text: String,
    own: &[crate::domain::check::OwnField],
) -> Result<()> {
    let bad = |what: String| Error::Untrusted(format!("{}: extra {name} {what}", record.kind.name));
    if let Some(i) = record.kind.index(name) {
        let field = record.kind.field(name).copied();
        let value = field.map(|f| Value::read(&f, &text).map(|v| v.owned()));
        record.values[i] = value.transpose().map_err(bad)?.unwrap_or(Value::Blank);
    } else {
        let kind = record.kind.name;
        let value = match own.iter().find(|o| o.record == kind && o.name == name) {
            Some(field) => field.read(&text).map(|v| v.owned()).map_err(bad)?,
            None => Value::Text(text.into()),
        };
        record.own.push((name.to_string(), value));
    }
    Ok(())
}

fn cell_value<'r>(field: &Field, cell: ValueRef<'r>) -> Result<Value<'r>> {
    Ok(match (field.ty, cell) {
        (Type::Time, ValueRef::Integer(v)) => Value::Time(Stamp::from_packed(v), None),
        (_, ValueRef::Integer(v)) => Value::Count(v),
        (_, ValueRef::Real(v)) => Value::Number(v),
        (ty, ValueRef::Text(t)) => {
            let text = std::str::from_utf8(t)
                .map_err(|_| Error::Untrusted(format!("field {} holds no UTF-8", field.name)))?;
            match text {
                "" => Value::Blank,
                "n/a" if field.optional && field.name != "note" && ty != Type::Tag => Value::NotApplicable,
                "illegible" if field.optional && field.name != "note" && ty != Type::Tag => Value::Illegible,
                text => Value::Text(text.into()),
            }
        }
        (_, ValueRef::Null) => Value::Blank,
        (_, ValueRef::Blob(_)) => {
            return Err(Error::Untrusted(format!("field {} holds raw bytes", field.name)));
        }
    })
}

/// Parses the canonical text of a record back into the record.
pub fn from_canonical(text: &str, own: &[crate::domain::check::OwnField]) -> Result<Record<'static>> {
    let bad = |what: &str| Error::Untrusted(format!("a journal entry {what}"));
    let (kind, json) = text.split_once(' ').ok_or_else(|| bad("has no kind"))?;
    let kind = crate::domain::kind(kind).ok_or_else(|| bad("names an unknown kind"))?;
    let map: serde_json::Map<String, serde_json::Value> =
        serde_json::from_str(json).map_err(|_| bad("holds no JSON"))?;
    let mut record = Record::blank(kind);
    for (name, value) in map {
        set_extra(&mut record, &name, value.as_str().unwrap_or_default().to_string(), own)?;
    }
    record.own.sort_by(|a, b| a.0.cmp(&b.0));
    Ok(record.owned())
}

/// A sentence part that names a kind and a tag.
pub fn named(kind: &str, tag: &str) -> String {
    let mut out = String::new();
    let _ = write!(out, "{kind} {}", crate::domain::tag::shown(tag));
    out
}
