//! The order of an export: by key, so that two stores with the same records give the same bytes,
//! whatever the order they were written in. What a record refers to in its own kind stands before it,
//! as an import takes a file from the top.

use rusqlite::Connection;

use crate::catalogue;
use crate::catalogue::field::Type;
use crate::catalogue::kind::Kind;
use crate::error::Result;
use crate::read::shape::{ColumnRole, KindTable};

/// The select of a kind, ordered.
pub fn query(db: &Connection, shape: &KindTable) -> Result<String> {
    let kind = shape.kind;
    let select = shape.select.replacen(&format!(" FROM {}", kind.name), "", 1);
    let columns = select.trim_start_matches("SELECT ");
    let of_row = |c: &str| format!("r.{}", c.trim());
    let columns: Vec<String> = columns.split(", ").map(of_row).collect();
    let mut from = format!("{} r", kind.name);
    let mut by = Vec::new();
    if let Some(field) = kind.tag_field() {
        if let Some(up) = own_reference(shape).filter(|up| is_used(db, kind, up).unwrap_or(true)) {
            by.push(generations(kind, &up));
        }
        by.push(format!("r.\"{}\" COLLATE NOCASE", field.name));
        by.extend(kind.revisioned.then(|| "r.revision".to_string()));
    } else {
        for (i, &c) in shape.key.iter().enumerate() {
            let column = &shape.columns[c];
            match column.role {
                // The rows of a parent lie together: walked by the parents' tags, they need no sorting.
                ColumnRole::Id(to) if i == 0 && column.name == kind.fields[column.field].name => {
                    from = format!("{to} p CROSS JOIN {} r ON r.\"{}\" = p.id", kind.name, column.name);
                    by.extend(tag_of(to).map(|tag| format!("p.\"{tag}\" COLLATE NOCASE")));
                    by.extend(revisioned(to).then(|| "p.revision".to_string()));
                }
                ColumnRole::Id(to) => by.extend(tags(to, &format!("r.\"{}\"", column.name))),
                ColumnRole::SubjectKind => {
                    by.push("r.subject_kind".replace("subject", shape.kind.fields[column.field].name))
                }
                ColumnRole::SubjectId => by.push(subject(shape.kind.fields[column.field].name)),
                ColumnRole::Plain => by.push(format!("r.\"{}\"", column.name)),
            }
        }
    }
    Ok(format!("SELECT {} FROM {from} ORDER BY {}", columns.join(", "), by.join(", ")))
}

fn tag_of(kind: &str) -> Option<&'static str> {
    catalogue::kind(kind).and_then(Kind::tag_field).map(|f| f.name)
}

fn revisioned(kind: &str) -> bool {
    catalogue::kind(kind).is_some_and(|k| k.revisioned)
}

/// Tag and revision of a record by its id, as terms of an order.
fn tags(kind: &str, id: &str) -> Vec<String> {
    let Some(tag) = tag_of(kind) else { return Vec::new() };
    let mut out = vec![format!("(SELECT \"{tag}\" FROM {kind} WHERE id = {id}) COLLATE NOCASE")];
    if revisioned(kind) {
        out.push(format!("(SELECT revision FROM {kind} WHERE id = {id})"));
    }
    out
}

/// The tag of a subject of any kind; its kind is asked before it.
fn subject(field: &str) -> String {
    let mut out = format!("CASE r.{field}_kind");
    for kind in catalogue::all() {
        let Some(tag) = kind.tag_field() else { continue };
        let with = if kind.revisioned {
            format!("\"{}\" || '@' || revision", tag.name)
        } else {
            format!("\"{}\"", tag.name)
        };
        out.push_str(&format!(
            " WHEN '{0}' THEN (SELECT {with} FROM {0} WHERE id = r.{field}_id)",
            kind.name
        ));
    }
    out + " END COLLATE NOCASE"
}

/// The column by which a record refers to another of its own kind.
fn own_reference(shape: &KindTable) -> Option<String> {
    let own = shape.columns.iter().find(|c| {
        c.role == ColumnRole::Id(shape.kind.name) && matches!(shape.kind.fields[c.field].ty, Type::Ref(_))
    });
    own.map(|c| c.name.clone())
}

fn is_used(db: &Connection, kind: &Kind, column: &str) -> Result<bool> {
    let sql = format!("SELECT EXISTS (SELECT 1 FROM {} WHERE \"{column}\" IS NOT NULL)", kind.name);
    Ok(db.query_row(&sql, [], |r| r.get(0))?)
}

/// How many records of its own kind stand above a row.
fn generations(kind: &Kind, up: &str) -> String {
    let name = kind.name;
    format!(
        "CASE WHEN r.\"{up}\" IS NULL THEN 0 ELSE (WITH RECURSIVE above (id) AS (SELECT r.\"{up}\" UNION
         SELECT a.\"{up}\" FROM {name} a JOIN above ON a.id = above.id WHERE a.\"{up}\" IS NOT NULL)
         SELECT count(*) FROM above) END"
    )
}
