//! The pages and the schema of a file, checked beside its rows: on a connection of its own, by a second
//! thread, in the same state of the file.

use std::path::Path;

use rusqlite::Connection;

use crate::Store;
use crate::catalogue;
use crate::error::{Error, Result};
use crate::file::verify::{Fault, Verified, fault};
use crate::file::{indexes, schema_check};
use crate::read;
use crate::write::journal;

/// A second connection in a read of its own.
pub struct Beside {
    db: Connection,
    head: (i64, String),
}

impl Beside {
    /// To the file of a connection, where that can be opened once more.
    pub fn of(db: &Connection) -> Option<Self> {
        let path = db.path().filter(|p| !p.is_empty())?;
        let db = Store::read_only_connection(Path::new(path)).ok()?;
        db.execute_batch("BEGIN").ok()?;
        let head = journal::head(&db).ok()?;
        Some(Self { db, head })
    }

    /// Both read the file after the same entry of the journal.
    pub fn sees_what(&self, db: &Connection) -> bool {
        journal::head(db).is_ok_and(|head| head == self.head)
    }
}

/// Checks the pages while `rows` are compared, by a second thread where there is a connection for it.
/// What is wrong with pages, schema and references comes first.
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
        let stopped = |_| Err(Error::untrusted("the check of the pages stopped"));
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
    schema_check::compare(db, &mut faults)?;
    // The definitions of the indexes are those of the migrations, and every page can be read.
    if faults.is_empty() {
        for (table, message) in indexes::wrong(db)? {
            faults.push(fault(&table, None, message));
        }
    }
    // The references of records are looked up when their rows are read.
    let tables: Vec<_> =
        read::list(db, "SELECT name FROM sqlite_schema WHERE type = 'table'", [], |r| r.get::<_, String>(0))?;
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

/// References that lead nowhere, of one table or of all.
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
