//! The pages and the schema of a file, checked beside its rows: on a connection of its own, by a second
//! thread, in the same state of the file.

use std::collections::HashMap;
use std::path::Path;

use rusqlite::Connection;

use crate::domain::catalogue;
use crate::store::error::{Error, Result};
use crate::store::verify::{Fault, Verified, fault};
use crate::store::{Store, indexes, journal, open};

/// Tables that a program which copies the log keeps in the file for itself (`guide/copies.md`). Nothing
/// here reads them; any other definition under their names is a fault.
const OF_A_COPIER: &[(&str, &str)] = &[
    ("table _litestream_lock", "CREATE TABLE _litestream_lock (id INTEGER)"),
    ("table _litestream_seq", "CREATE TABLE _litestream_seq (id INTEGER PRIMARY KEY, seq INTEGER)"),
];

/// A second connection in a read of its own.
pub struct Beside {
    db: Connection,
    head: (i64, String),
}

impl Beside {
    /// To the file of a connection, where that can be opened once more.
    #[must_use]
    pub fn of(db: &Connection) -> Option<Self> {
        let path = db.path().filter(|p| !p.is_empty())?;
        let db = Store::read_only_connection(Path::new(path)).ok()?;
        db.execute_batch("BEGIN").ok()?;
        let head = journal::head(&db).ok()?;
        Some(Self { db, head })
    }

    /// Both read the file after the same entry of the journal.
    #[must_use]
    pub fn sees_what(&self, db: &Connection) -> bool {
        journal::head(db).is_ok_and(|head| head == self.head)
    }
}

/// Checks the pages while `rows` are compared, by a second thread where there is a connection for it.
/// What is wrong with pages, schema and references comes first.
///
/// # Errors
/// The file cannot be read.
pub fn while_checked(
    db: &Connection,
    beside: Option<Beside>,
    rows: impl FnOnce() -> Result<Verified>,
) -> Result<Verified> {
    std::thread::scope(|s| {
        let check_there = |b: Beside| move || check(&b.db);
        let builder = std::thread::Builder::new;
        let other = beside.and_then(|b| builder().spawn_scoped(s, check_there(b)).ok());
        let here = if other.is_none() { check(db)? } else { Vec::new() };
        let compared = rows();
        let stopped = |_| Err(Error::Untrusted("the check of the pages stopped".into()));
        let mut faults = other.map_or(Ok(here), |o| o.join().unwrap_or_else(stopped))?;
        let mut out = compared?;
        faults.append(&mut out.faults);
        out.faults = faults;
        Ok(out)
    })
}

fn check(db: &Connection) -> Result<Vec<Fault>> {
    let mut faults = Vec::new();
    pages(db, &mut faults)?;
    schema(db, &mut faults)?;
    // The definitions of the indexes are those of the migrations, and every page can be read.
    if faults.is_empty() {
        for (table, message) in indexes::wrong(db)? {
            faults.push(fault(&table, None, message));
        }
    }
    // The references of records are looked up when their rows are read.
    let mut q = db.prepare("SELECT name FROM sqlite_schema WHERE type = 'table'")?;
    let tables = q.query_map([], |r| r.get::<_, String>(0))?.collect::<rusqlite::Result<Vec<_>>>()?;
    for table in tables.iter().filter(|t| catalogue::all().all(|k| k.name != t.as_str())) {
        references(db, Some(table), &mut faults)?;
    }
    Ok(faults)
}

fn pages(db: &Connection, faults: &mut Vec<Fault>) -> Result<()> {
    let mut q = db.prepare("PRAGMA integrity_check(50)")?;
    let mut found = q.query([])?;
    while let Some(row) = found.next()? {
        let message: String = row.get(0)?;
        if message != "ok" {
            faults.push(fault("file", None, message));
        }
    }
    Ok(())
}

/// The schema in the file against the one that the migrations make.
fn schema(db: &Connection, faults: &mut Vec<Fault>) -> Result<()> {
    let read = |db: &Connection| -> Result<HashMap<String, String>> {
        let mut q = db.prepare("SELECT type || ' ' || name, ifnull(sql, '') FROM sqlite_schema")?;
        let found = q.query_map([], |r| Ok((r.get(0)?, r.get(1)?)))?.collect::<rusqlite::Result<_>>()?;
        Ok(found)
    };
    let version: i64 = db.query_row("PRAGMA user_version", [], |r| r.get(0))?;
    let fresh = Connection::open_in_memory()?;
    for sql in open::MIGRATIONS.iter().take(usize::try_from(version).unwrap_or(0)) {
        fresh.execute_batch(sql)?;
    }
    let (here, wanted) = (read(db)?, read(&fresh)?);
    let mut names: Vec<&String> = here.keys().chain(wanted.keys()).collect();
    names.sort();
    names.dedup();
    for name in names {
        let ours = name.starts_with("table sqlite_") || name.starts_with("index sqlite_autoindex");
        let copier =
            OF_A_COPIER.iter().any(|(table, sql)| name == table && here.get(name).is_some_and(|s| s == sql));
        let message = match (here.get(name), wanted.get(name)) {
            (Some(_), None) if !ours && !copier => format!("the file has a {name} that meltkin did not make"),
            (None, Some(_)) => format!("the {name} is missing"),
            (Some(a), Some(b)) if a != b => format!("the {name} was altered"),
            _ => continue,
        };
        faults.push(fault("schema", None, message));
    }
    Ok(())
}

/// References that lead nowhere, of one table or of all.
///
/// # Errors
/// The store cannot be read.
pub fn references(db: &Connection, table: Option<&str>, faults: &mut Vec<Fault>) -> Result<()> {
    let mut q = match table {
        Some(name) => db.prepare(&format!("PRAGMA foreign_key_check(\"{}\")", name.replace('"', "\"\"")))?,
        None => db.prepare("PRAGMA foreign_key_check")?,
    };
    let mut found = q.query([])?;
    while let Some(row) = found.next()? {
        if faults.len() > 200 {
            break;
        }
        let (table, parent): (String, String) = (row.get(0)?, row.get(2)?);
        faults.push(fault(&table, None, format!("a row refers to one of {parent} that is missing")));
    }
    Ok(())
}
