//! The canonical text of a row straight from its cells, for a check of millions of rows.
//!
//! [`Sealer::write`] gives, for most rows, exactly what [`Record::canonical`] makes of the record that
//! [`rows::read`] reads, without making the record: a third of the time. A row with anything unusual
//! in it is left to them.
//!
//! [`Record::canonical`]: crate::Record::canonical
//! [`rows::read`]: crate::read::rows::read

use rusqlite::Row;
use rusqlite::types::ValueRef;
use sha2::{Digest, Sha256};

use crate::catalogue::field::Type;
use crate::error::Result;
use crate::read::shape::{ColumnRole, KindTable};
use crate::read::tag_table::{AllNames, TagTable};
use crate::record::json_string;
use crate::{Stamp, Value};

/// Writes the rows of one kind.
pub struct Sealer<'n> {
    /// `kind {`
    head: String,
    fields: Vec<Field<'n>>,
    extra: usize,
}

struct Field<'n> {
    /// `,"name":`
    head: String,
    /// The columns of the field, with the tags that ids stand for.
    cells: Vec<(usize, Option<&'n TagTable>)>,
    time: bool,
    /// A blank of the key is an empty text.
    may_be_empty: bool,
}

impl<'n> Sealer<'n> {
    /// For the rows of the shape's select. Nothing where a field does not stand in columns of its own:
    /// a subject of any kind, a revision beside its definition.
    pub fn new(shape: &KindTable, names: &'n AllNames) -> Option<Self> {
        let mut fields = Vec::new();
        let all: Vec<_> = shape.kind.all_fields().collect();
        for &i in &shape.order {
            if matches!(all[i].ty, Type::RevisionOf(_) | Type::AnyTag) {
                return None;
            }
            let mut cells = Vec::new();
            for (at, column) in shape.columns.iter().enumerate().filter(|(_, c)| c.field == i) {
                let tags = match column.role {
                    ColumnRole::Id(kind) => Some(names.full(kind)?),
                    _ => None,
                };
                cells.push((at + usize::from(shape.has_id), tags));
            }
            fields.push(Field {
                head: format!(",\"{}\":", all[i].name),
                cells,
                time: all[i].ty == Type::Time,
                may_be_empty: all[i].key && all[i].optional,
            });
        }
        let extra = shape.columns.len() + usize::from(shape.has_id);
        Some(Self { head: format!("{} {{", shape.kind.name), fields, extra })
    }

    /// Writes the text of a row. False: the row is unusual, and what was written is of no use.
    pub fn write(&self, row: &Row, out: &mut Vec<u8>) -> Result<bool> {
        out.clear();
        if row.get_ref(self.extra)? != ValueRef::Null {
            return Ok(false);
        }
        out.extend_from_slice(self.head.as_bytes());
        let mut first = true;
        for field in &self.fields {
            let mut written = false;
            for &(at, tags) in &field.cells {
                let cell = row.get_ref(at)?;
                if cell == ValueRef::Null || cell == ValueRef::Text(b"") && field.may_be_empty {
                    continue;
                }
                if cell == ValueRef::Text(b"") {
                    return Ok(false);
                }
                // Two sources in one record: whoever reads it says what is wrong.
                if std::mem::replace(&mut written, true) {
                    return Ok(false);
                }
                out.extend_from_slice(&field.head.as_bytes()[usize::from(first)..]);
                first = false;
                match (tags, cell) {
                    (Some(tags), ValueRef::Integer(id)) => match tags.get(id) {
                        Some(tag) => text(tag.as_bytes(), out),
                        None => return Ok(false),
                    },
                    (Some(_), _) | (None, ValueRef::Null | ValueRef::Blob(_)) => return Ok(false),
                    (None, ValueRef::Text(t)) if std::str::from_utf8(t).is_err() => return Ok(false),
                    (None, ValueRef::Text(t)) => text(t, out),
                    (None, ValueRef::Integer(v)) if field.time => {
                        let mut buffer = [0; 32];
                        let n = Stamp::from_packed(v).write(&mut buffer);
                        out.push(b'"');
                        out.extend_from_slice(&buffer[..n]);
                        out.push(b'"');
                    }
                    (None, ValueRef::Integer(v)) => number(&Value::Count(v), out),
                    (None, ValueRef::Real(v)) => number(&Value::Number(v), out),
                }
            }
        }
        out.push(b'}');
        Ok(true)
    }
}

fn number(value: &Value, out: &mut Vec<u8>) {
    let mut digits = String::new();
    value.write(&mut digits);
    out.push(b'"');
    out.extend_from_slice(digits.as_bytes());
    out.push(b'"');
}

/// A JSON string.
fn text(text: &[u8], out: &mut Vec<u8>) {
    if text.iter().all(|b| *b >= 0x20 && *b != b'"' && *b != b'\\') {
        out.push(b'"');
        out.extend_from_slice(text);
        out.push(b'"');
    } else {
        let mut quoted = String::new();
        json_string(&String::from_utf8_lossy(text), &mut quoted);
        out.extend_from_slice(quoted.as_bytes());
    }
}

/// The digest of a canonical text, as a row keeps it.
pub fn digest(canonical: &[u8]) -> i64 {
    let hash = Sha256::digest(canonical);
    let mut head = [0; 8];
    head.copy_from_slice(&hash[..8]);
    i64::from_be_bytes(head)
}
