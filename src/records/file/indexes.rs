//! Partial indexes against their tables. SQLite's own check sees that every row is in its indexes; it
//! counts the entries of an index too, but not of a partial one (`WHERE` in its definition), where an entry
//! too many would lead to a row that does not belong there.

use std::collections::BTreeMap;

use rusqlite::Connection;

use crate::error::Result;

/// Partial indexes that hold another number of entries than their table has rows for them: table,
/// sentence.
pub(crate) fn wrong(db: &Connection) -> Result<Vec<(String, String)>> {
    let mut by_table: BTreeMap<String, Vec<(String, String)>> = BTreeMap::new();
    let mut q = db.prepare(
        "SELECT tbl_name, name, sql FROM sqlite_schema WHERE type = 'index' AND sql LIKE '% WHERE %'",
    )?;
    let mut found = q.query([])?;
    while let Some(row) = found.next()? {
        let (table, name, sql): (String, String, String) = (row.get(0)?, row.get(1)?, row.get(2)?);
        if let Some((_, condition)) = sql.split_once(" WHERE ") {
            by_table.entry(table).or_default().push((name, condition.to_string()));
        }
    }
    let mut out = Vec::new();
    for (table, indexes) in by_table {
        // One walk through the table for all its indexes; without a condition of its own it uses none.
        let counts: Vec<String> =
            indexes.iter().map(|(_, condition)| format!("count(*) FILTER (WHERE {condition})")).collect();
        let sql = format!("SELECT {} FROM \"{table}\" NOT INDEXED", counts.join(", "));
        let rows: Vec<i64> = db.query_row(&sql, [], |r| (0..indexes.len()).map(|i| r.get(i)).collect())?;
        for ((name, condition), rows) in indexes.iter().zip(rows) {
            let sql = format!("SELECT count(*) FROM \"{table}\" INDEXED BY \"{name}\" WHERE {condition}");
            let entries: i64 = db.query_row(&sql, [], |r| r.get(0))?;
            if entries != rows {
                out.push((table.clone(), format!("the index {name} has {entries} entries for {rows} rows")));
            }
        }
    }
    Ok(out)
}
