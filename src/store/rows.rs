//! Records to rows and back.

use std::borrow::Cow;
use std::fmt::Write as _;

use rusqlite::types::ValueRef;
use rusqlite::{Row, Statement};
use sha2::{Digest, Sha256};

use crate::domain::field::{Field, Type};
use crate::domain::record::{Record, json_string};
use crate::domain::{Stamp, Value};
use crate::store::error::{Error, Result};
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
    let hash = Sha256::digest(canonical.as_bytes());
    let mut head = [0; 8];
    head.copy_from_slice(&hash[..8]);
    i64::from_be_bytes(head)
}

/// Binds every column of a row, from parameter `first` on, and gives the next free parameter.
pub fn bind(
    statement: &mut Statement,
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
            Role::Id(kind) => {
                let id = link.filter(|l| l.kind == kind).map(|l| l.id);
                statement.raw_bind_parameter(at, id)?;
            }
            Role::SubjectKind => statement.raw_bind_parameter(at, link.map(|l| l.kind))?,
            Role::SubjectId => statement.raw_bind_parameter(at, link.map(|l| l.id))?,
            Role::Plain => plain(statement, at, field_of(shape, column.field), value)?,
        }
        at += 1;
    }
    for (i, field) in shape.kind.all_fields().enumerate() {
        if beside(field, &row.record.values[i]) || row.named.contains(&i) {
            push_extra(extra, field.name, &row.record.values[i]);
        }
    }
    for (name, value) in &row.record.own {
        if !value.is_blank() {
            push_extra(extra, name, value);
        }
    }
    if extra.is_empty() {
        statement.raw_bind_parameter(at, rusqlite::types::Null)?;
    } else {
        extra.push('}');
        statement.raw_bind_parameter(at, extra.as_str())?;
    }
    statement.raw_bind_parameter(at + 1, entry)?;
    statement.raw_bind_parameter(at + 2, digest)?;
    Ok(at + 3)
}

fn field_of(shape: &Shape, i: usize) -> &'static Field {
    let n = shape.kind.fields.len();
    shape.kind.fields.get(i).unwrap_or_else(|| &crate::domain::kind::COMMON[i - n])
}

fn plain(statement: &mut Statement, at: usize, field: &Field, value: &Value) -> Result<()> {
    let needs_text = field.key && field.optional;
    match value {
        Value::Number(v) => statement.raw_bind_parameter(at, v)?,
        Value::Count(v) => statement.raw_bind_parameter(at, v)?,
        Value::Time(t, _) => statement.raw_bind_parameter(at, t.packed())?,
        Value::Text(t) => statement.raw_bind_parameter(at, t.as_ref())?,
        Value::NotApplicable | Value::Illegible if !beside(field, value) => {
            statement.raw_bind_parameter(at, value.to_text())?;
        }
        _ if needs_text => statement.raw_bind_parameter(at, "")?,
        _ => statement.raw_bind_parameter(at, rusqlite::types::Null)?,
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
