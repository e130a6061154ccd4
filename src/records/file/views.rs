//! A view of each kind of record, for whoever reads the store with another program: tags in the place of integer keys,
//! times as texts. This program never reads them (connections of its own refuse views), and `verify` expects exactly these.
//!
//! Names stand in quotation marks throughout: DuckDB parses the text of a view by its own grammar, to which `at` is a word.
//! A column that is one of the table's stays a bare name, so that its type can be told from outside.

use rusqlite::Connection;

use crate::catalogue;
use crate::catalogue::field::{FieldInfo, Type};
use crate::catalogue::kind::Kind;
use crate::error::Result;
use crate::read::rows;

/// Before the name of a kind, that of its view.
const BEFORE: &str = "v_";

/// The table's own row in the SQL of a view.
const ROW: &str = "r";

/// A column of a view.
pub struct ViewColumn {
    pub name: String,
    /// What stands in it, in words.
    pub holds: String,
    sql: String,
}

impl ViewColumn {
    /// As it stands in the list of columns; one that is the table's own has its name already.
    fn listed(&self) -> String {
        match self.sql == of_row(&self.name) {
            true => self.sql.clone(),
            false => format!("{} AS {}", self.sql, quoted(&self.name)),
        }
    }
}

/// The name of a kind's view.
pub fn name(kind: &Kind) -> String {
    format!("{BEFORE}{}", kind.name)
}

/// The columns of a kind's view, in the order of its fields.
pub fn columns(kind: &'static Kind) -> Vec<ViewColumn> {
    let mut out: Vec<ViewColumn> = kind.all_fields().flat_map(|field| of_field(kind, field)).collect();
    let holds = "JSON of what its column cannot hold, field by field: `<5`, n/a, own fields".to_string();
    out.push(ViewColumn { name: "extra".into(), holds, sql: extra(kind) });
    out
}

/// What stands beside the columns, without the revisions that somebody typed: they have columns of their own here.
fn extra(kind: &'static Kind) -> String {
    let mut paths = String::new();
    for (_, field) in kind.fields.iter().enumerate().filter(|(i, _)| rows::may_be_tied(kind, *i)) {
        let columns: Vec<String> = field.columns().iter().map(|c| of_row(c)).collect();
        // Where the reference is blank, its text here is none of a revision: n/a.
        let blank = format!("{} IS NULL", columns.join(" IS NULL AND "));
        paths.push_str(&format!(", CASE WHEN {blank} THEN '$.\"\"' ELSE '$.\"{}\"' END", field.name));
    }
    match paths.as_str() {
        "" => of_row("extra"),
        paths => format!("nullif(json_remove({}{paths}), '{{}}')", of_row("extra")),
    }
}

/// The SQL that makes the view of a kind.
pub fn sql(kind: &'static Kind) -> String {
    let columns: Vec<String> = columns(kind).iter().map(ViewColumn::listed).collect();
    let mut out = format!(
        "CREATE VIEW {} AS SELECT\n{}\nFROM {} AS {ROW}",
        quoted(&name(kind)),
        columns.join(",\n"),
        quoted(kind.name)
    );
    for field in kind.fields {
        let Type::Ref(kinds) = field.ty else { continue };
        for (to, column) in kinds.iter().zip(field.columns()) {
            let (table, alias, key) = (quoted(to), quoted(&column), of_row(&column));
            out.push_str(&format!("\nLEFT JOIN {table} AS {alias} ON {alias}.\"id\" = {key}"));
        }
    }
    out
}

/// What the guide says of the views: each with its columns.
pub fn reference() -> String {
    let mut out = String::new();
    for kind in catalogue::all() {
        out.push_str(&format!("\n### {}\n\n{}\n\n|column|holds|\n|-|-|\n", name(kind), kind.about));
        for column in columns(kind) {
            out.push_str(&format!("|{}|{}|\n", column.name, column.holds));
        }
    }
    out
}

/// Makes the view of every kind, in the place of those that an earlier schema had.
///
/// # Errors
/// SQLite refuses.
pub(crate) fn make(db: &Connection) -> Result<()> {
    for kind in catalogue::all() {
        db.execute_batch(&format!("DROP VIEW IF EXISTS {}; {}", quoted(&name(kind)), sql(kind)))?;
    }
    Ok(())
}

fn of_field(kind: &'static Kind, field: &'static FieldInfo) -> Vec<ViewColumn> {
    let column = |name: &str, holds: &str, sql: String| ViewColumn {
        name: name.to_string(),
        holds: holds.to_string(),
        sql,
    };
    let one = |holds: &str, sql: String| vec![column(field.name, holds, sql)];
    match field.ty {
        Type::Tag => one("tag", of_row(field.name)),
        // A blank part of a key is an empty text in the table.
        Type::Text | Type::Choice(_) | Type::Date | Type::Moment if field.key && field.optional => {
            one("text", format!("nullif({}, '')", of_row(field.name)))
        }
        Type::Text => one("text", of_row(field.name)),
        Type::Choice(_) => one("word", of_row(field.name)),
        Type::Date => one("date", of_row(field.name)),
        Type::Moment => one("date or time", of_row(field.name)),
        Type::Number if field.unit().is_empty() => one("number", of_row(field.name)),
        Type::Number => one(&format!("number, {}", field.unit()), of_row(field.name)),
        Type::Count => one("whole number", of_row(field.name)),
        Type::Time => one("time", time(&of_row(field.name))),
        // It stands beside the definition that it is a revision of.
        Type::RevisionOf(_) => Vec::new(),
        Type::Ref([to]) => {
            let mut out = one(&format!("tag of {to}"), joined(field.name, to, false));
            if catalogue::kind(to).is_some_and(|k| k.revisioned) {
                let named = kind.fields.iter().find(|f| f.ty == Type::RevisionOf(field.name));
                let name = named.map_or_else(|| format!("{}_revision", field.name), |f| f.name.to_string());
                let revision = format!("{}.\"revision\"", quoted(field.name));
                out.push(column(&name, &format!("revision of {}", field.name), revision));
            }
            out
        }
        Type::Ref(kinds) => {
            let columns: Vec<String> = field.columns();
            let tags: Vec<String> = kinds.iter().zip(&columns).map(|(k, c)| joined(c, k, true)).collect();
            let words: Vec<String> = kinds
                .iter()
                .zip(&columns)
                .map(|(k, c)| format!("WHEN {} IS NOT NULL THEN '{k}'", of_row(c)))
                .collect();
            vec![
                column(
                    field.name,
                    &format!("tag of {}", kinds.join(" or ")),
                    format!("coalesce({})", tags.join(", ")),
                ),
                column(&format!("{}_kind", field.name), "its kind", format!("CASE {} END", words.join(" "))),
            ]
        }
        Type::AnyTag => {
            let columns = field.columns();
            let (kind, id) = (of_row(&columns[0]), of_row(&columns[1]));
            let any: Vec<String> = catalogue::all()
                .filter(|k| k.tagged())
                .map(|k| {
                    let (tag, table) = (joined(k.name, k.name, true), quoted(k.name));
                    format!("WHEN '{}' THEN (SELECT {tag} FROM {table} WHERE {table}.\"id\" = {id})", k.name)
                })
                .collect();
            vec![
                column(field.name, "tag of any record", format!("CASE {kind} {} END", any.join(" "))),
                column(&format!("{}_kind", field.name), "its kind", kind),
            ]
        }
    }
}

/// The tag of a record that was joined under a name; of a definition with its revision, where they stand in one column.
fn joined(alias: &str, kind: &str, whole: bool) -> String {
    let Some(kind) = catalogue::kind(kind) else { return "NULL".into() };
    let tag = format!("{}.{}", quoted(alias), quoted(kind.tag_field().map_or("id", |f| f.name)));
    match kind.revisioned && whole {
        true => format!("{tag} || '@' || {}.\"revision\"", quoted(alias)),
        false => tag,
    }
}

/// The text of a time: RFC 3339 with the offset that it was written with, milliseconds only where there are any. As short as
/// it can be said: SQLite reads the text of every view whenever a store is opened.
fn time(packed: &str) -> String {
    let offset = format!("(({packed} & 4095) - 2048)");
    format!(
        "replace(strftime('%Y-%m-%dT%H:%M:%f', ({packed} >> 12) / 1000.0, 'unixepoch', {offset} || ' minutes'), '.000', '') \
         || strftime(iif({offset} < 0, '-%H:%M', '+%H:%M'), abs{offset} * 60, 'unixepoch')"
    )
}

fn of_row(column: &str) -> String {
    format!("{ROW}.{}", quoted(column))
}

fn quoted(name: &str) -> String {
    format!("\"{name}\"")
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::Store;
    use crate::file::recognise::NEWEST;
    use crate::file::seal;

    /// A change of the views is a change of the schema: a store that is there keeps those of its version.
    #[test]
    fn the_views_of_this_schema_are_these() {
        let all: Vec<String> = catalogue::all().map(sql).collect();
        let digest = format!("{:016x}", seal::digest(all.join(";").as_bytes()));
        let (schema, pinned) = (7, "1f36d23110e49ef0");
        assert_eq!(
            (NEWEST, digest.as_str()),
            (schema, pinned),
            "the views are others than stores of schema {schema} have: they need a migration (an empty one will do), then \
             its number and their digest here"
        );
    }

    #[test]
    fn every_column_of_a_view_has_a_name_of_its_own_and_can_be_read() {
        let store = Store::memory().unwrap();
        let outside = Connection::open_in_memory().unwrap();
        let all: Vec<String> = crate::read::list(
            &store.db,
            "SELECT sql FROM sqlite_schema WHERE sql IS NOT NULL AND name NOT LIKE 'sqlite_%' ORDER BY type",
            [],
            |r| r.get(0),
        )
        .unwrap();
        for sql in all {
            let _ = outside.execute_batch(&sql);
        }
        for kind in catalogue::all() {
            let q = outside.prepare(&format!("SELECT * FROM {}", name(kind))).unwrap();
            let wanted: Vec<String> = columns(kind).into_iter().map(|c| c.name).collect();
            assert!(q.column_names().eq(&wanted), "{}", kind.name);
            let mut once = wanted.clone();
            once.sort();
            once.dedup();
            assert_eq!(once.len(), wanted.len(), "{}: a column stands there twice", kind.name);
        }
    }
}
