//! The schema in a file against the one that the migrations make, with its views: whatever was added, dropped or changed is named.

use std::collections::BTreeMap;

use rusqlite::Connection;

use crate::error::Result;
use crate::file::open::MIGRATIONS;
use crate::file::recognise::NEWEST;
use crate::file::verify::{Fault, fault};
use crate::file::views;
use crate::read;

/// Tables that a program which copies the log keeps in the file for itself (`guide/copies.md`). Nothing
/// here reads them; any other definition under their names is a fault.
const OF_A_COPIER: &[(&str, &str)] = &[
    ("table _litestream_lock", "CREATE TABLE _litestream_lock (id INTEGER)"),
    ("table _litestream_seq", "CREATE TABLE _litestream_seq (id INTEGER PRIMARY KEY, seq INTEGER)"),
];

/// What a schema holds: sort and name, the table that it hangs on, the SQL. A name may stand there twice in a file that
/// somebody wrote into by hand.
type Schema = BTreeMap<String, Vec<(String, String)>>;

/// Names every difference.
pub fn compare(db: &Connection, faults: &mut Vec<Fault>) -> Result<()> {
    let version: i64 = db.query_row("PRAGMA user_version", [], |r| r.get(0))?;
    let fresh = Connection::open_in_memory()?;
    for sql in MIGRATIONS.iter().take(usize::try_from(version).unwrap_or(0)) {
        fresh.execute_batch(sql)?;
    }
    // Every store that is looked at was brought up, or is read from a copy that was.
    if version == i64::from(NEWEST) {
        views::make(&fresh)?;
    }
    let (here, wanted) = (read(db)?, read(&fresh)?);
    let mut names: Vec<&String> = here.keys().chain(wanted.keys()).collect();
    names.sort();
    names.dedup();
    for name in names {
        let message = match (here.get(name), wanted.get(name)) {
            (Some(found), None) if !of_a_copier(name, found) => match name.split_once(' ') {
                // It is never run by this program; another one that writes to the file would run it.
                Some(("trigger", _)) => {
                    format!("the file has a {name} that meltkin did not make; it has none at all")
                }
                _ => format!("the file has a {name} that meltkin did not make"),
            },
            (None, Some(_)) => format!("the {name} is missing"),
            (Some(a), Some(b)) if a != b => format!("the {name} was altered{}", columns(db, &fresh, name)?),
            _ => continue,
        };
        faults.push(fault("schema", None, message));
    }
    Ok(())
}

fn read(db: &Connection) -> Result<Schema> {
    let mut q = db.prepare("SELECT type || ' ' || name, ifnull(tbl_name, ''), ifnull(sql, '') FROM sqlite_schema ORDER BY 1, 2, 3")?;
    let mut rows = q.query([])?;
    let mut out = Schema::new();
    while let Some(row) = rows.next()? {
        out.entry(row.get(0)?).or_default().push((row.get(1)?, row.get(2)?));
    }
    Ok(out)
}

fn of_a_copier(name: &str, found: &[(String, String)]) -> bool {
    OF_A_COPIER.iter().any(|(table, sql)| name == *table && matches!(found, [(_, s)] if s == sql))
}

/// Which columns of a table differ, where it is a table and they do.
fn columns(db: &Connection, fresh: &Connection, name: &str) -> Result<String> {
    let Some(table) = name.strip_prefix("table ") else { return Ok(String::new()) };
    let (here, wanted) = (columns_of(db, table)?, columns_of(fresh, table)?);
    let mut said = Vec::new();
    for column in here.keys().filter(|c| !wanted.contains_key(*c)) {
        said.push(format!("column {column} was added"));
    }
    for (column, how) in &wanted {
        match here.get(column) {
            None => said.push(format!("column {column} is missing")),
            Some(found) if found != how => said.push(format!("column {column} was changed")),
            Some(_) => {}
        }
    }
    Ok(if said.is_empty() { ": its definition is another".into() } else { format!(": {}", said.join(", ")) })
}

fn columns_of(db: &Connection, table: &str) -> Result<BTreeMap<String, String>> {
    read::list(
        db,
        "SELECT name, type || ' ' || \"notnull\" || ' ' || ifnull(dflt_value, '') || ' ' || pk || ' ' || hidden FROM pragma_table_xinfo(?1)",
        [table],
        |r| Ok((r.get(0)?, r.get(1)?)),
    )
}
