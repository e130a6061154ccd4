//! Records to rows and back.

use std::borrow::Cow;
use std::fmt::Write as _;

use rusqlite::types::ValueRef;
use rusqlite::{Row, Statement};

use crate::catalogue::field::{FieldInfo, Type};
use crate::catalogue::kind::Kind;
use crate::error::{Error, Result};
use crate::file::seal;
use crate::read::shape::{ColumnRole, KindTable};
use crate::record::{Record, Tie, json_string};
use crate::{Stamp, Value};

/// What a reference resolved to: the kind and the id.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Link {
    /// Name of the kind.
    pub kind: &'static str,
    /// Id in its table.
    pub id: i64,
}

/// The subject of a row: the name of its kind in this column, its id in the next.
///
/// # Errors
/// No kind has this name: the file was altered.
pub(crate) fn subject(row: &Row<'_>, at: usize) -> Result<Link> {
    let name = row.get_ref(at)?.as_str().map_err(rusqlite::Error::from)?;
    Ok(Link { kind: named_kind(name)?.name, id: row.get(at + 1)? })
}

/// A kind whose name stands in the file.
///
/// # Errors
/// There is none of this name.
pub(crate) fn named_kind(name: &str) -> Result<&'static Kind> {
    crate::catalogue::kind(name).ok_or_else(|| Error::untrusted(format!("unknown kind {name}")))
}

/// A record whose references are resolved, ready to be written.
pub struct Resolved<'a> {
    /// The record; references hold the primary tag of what they refer to.
    pub record: Record<'a>,
    /// For each field, what it refers to.
    pub links: Vec<Option<Link>>,
    /// Fields (by position) whose revision was named, and not chosen by what is in force.
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
    fn integer(&mut self, at: usize, v: i64) -> Result<()>;
    /// A number.
    fn real(&mut self, at: usize, v: f64) -> Result<()>;
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
    pub fn new(
        db: &'db rusqlite::Connection,
        shape: &KindTable,
        given: impl Fn(&str) -> bool,
    ) -> Result<Self> {
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
    shape: &KindTable,
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
            ColumnRole::Id(kind) => match link.filter(|l| l.kind == kind) {
                Some(l) => statement.integer(at, l.id)?,
                None => statement.null(at)?,
            },
            ColumnRole::SubjectKind => match link {
                Some(l) => statement.text(at, l.kind)?,
                None => statement.null(at)?,
            },
            ColumnRole::SubjectId => match link {
                Some(l) => statement.integer(at, l.id)?,
                None => statement.null(at)?,
            },
            ColumnRole::Plain => plain(statement, at, field_of(shape, column.field), value)?,
        }
        at += 1;
    }
    for (i, field) in shape.kind.all_fields().enumerate() {
        if beside(field, &row.record.values[i]) || row.record.tie(i).is_some_and(|t| t.typed) {
            push_extra(extra, field.name, &row.record.values[i]);
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

fn field_of(shape: &KindTable, i: usize) -> &'static FieldInfo {
    let n = shape.kind.fields.len();
    shape.kind.fields.get(i).unwrap_or_else(|| &crate::catalogue::kind::COMMON[i - n])
}

fn plain(statement: &mut impl Parameters, at: usize, field: &FieldInfo, value: &Value) -> Result<()> {
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
fn beside(field: &FieldInfo, value: &Value) -> bool {
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

    /// The revision of a definition; nothing for a kind without revisions.
    fn revision(&self, kind: &'static str, id: i64) -> Result<Option<Cow<'_, str>>>;
}

/// Reads a row selected by the shape's `select`. References become tags, and the revisions of
/// definitions stand beside them.
///
/// # Errors
/// The store cannot be read, or the row holds what no write of the program makes: two texts for one
/// field, a text where nothing belongs.
pub fn read<'r>(
    shape: &KindTable,
    row: &'r Row<'_>,
    names: &'r dyn Names,
    own: &[crate::check::OwnField],
) -> Result<Record<'r>> {
    let mut record = Record::blank(shape.kind);
    let mut at = usize::from(shape.has_id);
    let mut subject: Option<&'static str> = None;
    for column in &shape.columns {
        let cell = row.get_ref(at)?;
        at += 1;
        let field = field_of(shape, column.field);
        let odd = |what: &str| Error::untrusted(format!("{} {what}", column.name));
        let (kind, id) = match (column.role, cell) {
            (ColumnRole::SubjectKind, ValueRef::Text(t)) => {
                let kind = std::str::from_utf8(t).ok().and_then(crate::catalogue::kind);
                subject = Some(kind.ok_or_else(|| odd("names no record kind"))?.name);
                continue;
            }
            (ColumnRole::SubjectKind, ValueRef::Null) => continue,
            (ColumnRole::SubjectId, ValueRef::Null) if subject.is_some() => return Err(odd("is missing")),
            (_, ValueRef::Null) => continue,
            (ColumnRole::Id(kind), ValueRef::Integer(id)) => (kind, id),
            (ColumnRole::SubjectId, ValueRef::Integer(id)) => {
                (subject.ok_or_else(|| odd("stands there without its kind"))?, id)
            }
            (ColumnRole::Plain, ValueRef::Text(b"")) if !(field.key && field.optional) => {
                return Err(odd("holds an empty text where nothing belongs"));
            }
            (ColumnRole::Plain, cell) => {
                record.values[column.field] = cell_value(field, cell)?;
                continue;
            }
            _ => return Err(odd("holds no number of a record")),
        };
        if !record.values[column.field].is_blank() {
            return Err(odd("is a second record where one belongs"));
        }
        let tag = names.tag(kind, id)?;
        // Where a field of the record itself says which revision, it is read with it.
        let apart = shape.kind.fields.iter().any(|f| f.ty == Type::RevisionOf(field.name));
        match names.revision(kind, id)?.filter(|_| !apart) {
            None => record.values[column.field] = Value::Text(tag),
            Some(revision) => {
                record.values[column.field] = Value::Text(tag);
                record.tied.push(Tie { field: column.field, revision, typed: false });
            }
        }
    }
    if let ValueRef::Text(extra) = row.get_ref(at)? {
        let extra = Extra::parse(extra)
            .map_err(|_| Error::untrusted("extra is not an object of field names and texts"))?;
        for (name, text) in extra.0 {
            set_extra(&mut record, &name, text, own)?;
        }
        record.own.sort_by(|a, b| a.0.cmp(&b.0));
    }
    Ok(record)
}

/// The tag or address of a row that cannot be read whole, as far as it goes: what is missing is a
/// question mark.
pub fn nearly(shape: &KindTable, row: &Row<'_>, names: &dyn Names) -> String {
    let raw = |c: usize| row.get_ref(c + usize::from(shape.has_id)).ok();
    let cell = |c: usize| -> Option<String> {
        let column = &shape.columns[c];
        let field = field_of(shape, column.field);
        let tag = |kind, id| names.tag(kind, id).map_or_else(|_| "?".into(), Cow::into_owned);
        match (column.role, raw(c)?) {
            (_, ValueRef::Null) => None,
            (ColumnRole::Id(kind), ValueRef::Integer(id)) => {
                let apart = shape.kind.fields.iter().any(|f| f.ty == Type::RevisionOf(field.name));
                let revision = names.revision(kind, id).ok().flatten().filter(|r| !(apart && r.is_empty()));
                Some(revision.map_or_else(|| tag(kind, id), |r| format!("{}@{r}", tag(kind, id))))
            }
            (ColumnRole::SubjectKind, _) => None,
            (ColumnRole::SubjectId, ValueRef::Integer(id)) => {
                let kind = match c.checked_sub(1).and_then(raw) {
                    Some(ValueRef::Text(t)) => std::str::from_utf8(t).ok().and_then(crate::catalogue::kind),
                    _ => None,
                };
                Some(kind.map_or_else(|| "?".into(), |k| tag(k.name, id)))
            }
            (ColumnRole::SubjectId, _) => Some("?".into()),
            (_, cell) => Some(cell_value(field, cell).map_or_else(|_| "?".into(), |v| v.to_text())),
        }
    };
    let at = |field: usize| shape.columns.iter().position(|c| c.field == field);
    match shape.tag.and_then(at) {
        Some(c) => {
            let revision = shape.columns.iter().position(|c| c.name == "revision" && shape.kind.revisioned);
            let revision = revision.and_then(cell).filter(|r| !r.is_empty());
            cell(c).unwrap_or_default() + &revision.map_or_else(String::new, |r| format!("@{r}"))
        }
        None => {
            let parts: Vec<String> = shape.key.iter().filter_map(|c| cell(*c)).collect();
            format!("{}:{}", shape.kind.name, parts.join("/"))
        }
    }
}

/// What stands beside the columns, in the order of the text.
struct Extra(Vec<(String, String)>);

impl Extra {
    fn parse(text: &[u8]) -> serde_json::Result<Self> {
        serde_json::from_slice(text)
    }
}

impl<'de> serde::Deserialize<'de> for Extra {
    fn deserialize<D: serde::Deserializer<'de>>(from: D) -> std::result::Result<Self, D::Error> {
        struct Pairs;
        impl<'de> serde::de::Visitor<'de> for Pairs {
            type Value = Extra;
            fn expecting(&self, f: &mut std::fmt::Formatter) -> std::fmt::Result {
                f.write_str("an object of texts")
            }
            fn visit_map<M: serde::de::MapAccess<'de>>(
                self,
                mut map: M,
            ) -> std::result::Result<Extra, M::Error> {
                let mut out: Vec<(String, String)> = Vec::new();
                while let Some((name, text)) = map.next_entry::<String, String>()? {
                    if out.iter().any(|(n, _)| *n == name) {
                        return Err(serde::de::Error::custom("a field stands there twice"));
                    }
                    out.push((name, text));
                }
                Ok(Extra(out))
            }
        }
        from.deserialize_map(Pairs)
    }
}

/// Takes over what stands in `extra`. It may speak only where the column holds nothing, and only with
/// what the column could not hold; for times, and for revisions that were typed before every text
/// named them, both must say the same.
fn set_extra(
    record: &mut Record<'_>,
    name: &str,
    text: String,
    own: &[crate::check::OwnField],
) -> Result<()> {
    let bad = |what: String| Error::untrusted(format!("extra {name} {what}"));
    let Some(i) = record.kind.index(name) else {
        let kind = record.kind.name;
        let value = match own.iter().find(|o| o.record == kind && o.name == name) {
            Some(field) => field.read(&text).map(|v| v.owned()).map_err(bad)?,
            None => Value::Text(text.into()),
        };
        record.own.push((name.to_string(), value));
        return Ok(());
    };
    let both = || bad("does not belong beside its column".into());
    if let Some(t) = record.tied.iter().position(|t| t.field == i) {
        let full = record.full(i).unwrap_or_else(|| record.values[i].to_text());
        if full != text {
            return Err(both());
        }
        record.tied[t].typed = true;
        record.values[i] = Value::Text(text.into());
        return Ok(());
    }
    let field = record.kind.all_fields().nth(i).copied().ok_or_else(both)?;
    let value = Value::stored(&field, &text).map_err(bad)?.owned();
    let fits = match (&record.values[i], &value) {
        (Value::Time(column, None), Value::Time(finer, Some(_))) => column == finer,
        (Value::Blank, Value::Time(..)) => false,
        (Value::Blank, value) => beside(&field, value),
        _ => false,
    };
    if !fits {
        return Err(both());
    }
    record.values[i] = value;
    Ok(())
}

fn cell_value<'r>(field: &FieldInfo, cell: ValueRef<'r>) -> Result<Value<'r>> {
    Ok(match (field.ty, cell) {
        (Type::Time, ValueRef::Integer(v)) => Value::Time(Stamp::from_packed(v), None),
        (_, ValueRef::Integer(v)) => Value::Count(v),
        (_, ValueRef::Real(v)) => Value::Number(v),
        (ty, ValueRef::Text(t)) => {
            let text = std::str::from_utf8(t)
                .map_err(|_| Error::untrusted(format!("field {} holds no UTF-8", field.name)))?;
            match text {
                "" => Value::Blank,
                "n/a" if field.optional && field.name != "note" && ty != Type::Tag => Value::NotApplicable,
                "illegible" if field.optional && field.name != "note" && ty != Type::Tag => Value::Illegible,
                text => Value::Text(text.into()),
            }
        }
        (_, ValueRef::Null) => Value::Blank,
        (_, ValueRef::Blob(_)) => {
            return Err(Error::untrusted(format!("field {} holds raw bytes", field.name)));
        }
    })
}

/// Under this name a journal entry's `old` says which revisions nobody had typed. The digest of a row
/// from before every text named every revision is that of the text without them.
pub const UNTYPED: &str = "@";

/// Parses the canonical text of a record back into the record.
///
/// # Errors
/// The text is none.
pub fn from_canonical(text: &str, own: &[crate::check::OwnField]) -> Result<Record<'static>> {
    let bad = |what: &str| Error::untrusted(format!("a journal entry {what}"));
    let (kind, json) = text.split_once(' ').ok_or_else(|| bad("has no kind"))?;
    let kind = crate::catalogue::kind(kind).ok_or_else(|| bad("names an unknown kind"))?;
    let fields = Extra::parse(json.as_bytes()).map_err(|_| bad("holds no texts of fields"))?;
    let mut record = Record::blank(kind);
    let mut untyped = String::new();
    for (name, text) in fields.0 {
        if name == UNTYPED {
            untyped = text;
            continue;
        }
        let Some(i) = kind.index(&name) else {
            set_extra(&mut record, &name, text, own)?;
            continue;
        };
        let named = |what: String| bad(&format!("has {name} = {text}: {what}"));
        let field = kind.all_fields().nth(i).copied().ok_or_else(|| bad("names an unknown field"))?;
        record.values[i] = Value::stored(&field, &text).map_err(named)?.owned();
        if let (true, Some((_, revision))) = (may_be_tied(kind, i), text.rsplit_once('@')) {
            record.tied.push(Tie { field: i, revision: revision.to_string().into(), typed: true });
        }
    }
    for name in untyped.split(' ') {
        let Some(tie) = record.tied.iter_mut().find(|t| kind.fields[t.field].name == name) else { continue };
        tie.typed = false;
        let text = record.values[tie.field].to_text();
        let tag = &text[..text.len() - tie.revision.len() - 1];
        record.values[tie.field] = Value::Text(tag.to_string().into());
    }
    record.own.sort_by(|a, b| a.0.cmp(&b.0));
    Ok(record)
}

/// The field may refer to a definition whose revision stands with it in its text.
pub fn may_be_tied(kind: &Kind, i: usize) -> bool {
    let Some(field) = kind.fields.get(i) else { return false };
    match field.ty {
        Type::AnyTag => true,
        Type::Ref([one]) => {
            let apart = kind.fields.iter().any(|f| f.ty == Type::RevisionOf(field.name));
            !apart && crate::catalogue::kind(one).is_some_and(|k| k.revisioned)
        }
        _ => false,
    }
}

/// A sentence part that names a kind and a tag.
pub fn named(kind: &str, tag: &str) -> String {
    let mut out = String::new();
    let _ = write!(out, "{kind} {}", crate::value::tag::shown(tag));
    out
}
