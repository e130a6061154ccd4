//! Opening stores: settings and numbered migrations. What is ours tells `known`, new ones `making`.

use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Duration;

use rusqlite::config::DbConfig;
use rusqlite::{Connection, OpenFlags};

use crate::error::{Error, ErrorKind, Result};
use crate::file::paths;
pub use crate::file::paths::APPLICATION_ID;
use crate::file::paths::with_end;
use crate::file::{making, recognise, views};

/// The migrations, oldest first. Only ever added to.
pub const MIGRATIONS: &[&str] = &[
    include_str!("../../../schema/0001_records.sql"),
    include_str!("../../../schema/0002_pins.sql"),
    include_str!("../../../schema/0003_times.sql"),
    include_str!("../../../schema/0004_gate.sql"),
    include_str!("../../../schema/0005_known.sql"),
    include_str!("../../../schema/0006_shift.sql"),
    include_str!("../../../schema/0007_organisations.sql"),
];

/// 16 MB of pages.
const PAGES_KEPT: &str = "PRAGMA cache_size = -16384";

/// An open store.
pub struct Store {
    pub(crate) db: Connection,
    /// Said until the connection is closed.
    pub(crate) _open: Option<paths::Open>,
    pub(crate) path: PathBuf,
    /// The name that its file has until it is whole.
    pub(crate) part: Option<making::Part>,
    pub(crate) read_only: bool,
    /// A write waits for another one's end.
    pub(crate) waits: Arc<AtomicBool>,
}

impl Store {
    /// Opens a store that is there. What is none is told from its first bytes and left as it is.
    ///
    /// # Errors
    /// No such file, no store, a newer one, a damaged one.
    pub fn open(path: &Path) -> Result<Self> {
        recognise::ours(path)?;
        making::sweep_after_a_stop(path);
        let named = |e: Error| {
            if e.is_untrusted() {
                let s = format!("{}: {e}", paths::named(path));
                e.said(s)
            } else {
                e
            }
        };
        let mut store = Self::connect(path).map_err(named)?;
        store.recognise().map_err(named)?;
        Ok(store)
    }

    fn connect(path: &Path) -> Result<Self> {
        let open = Some(paths::Open::at(path));
        let plain = OpenFlags::SQLITE_OPEN_READ_WRITE | OpenFlags::SQLITE_OPEN_NO_MUTEX;
        let writable = std::fs::metadata(path).is_ok_and(|m| !m.permissions().readonly());
        if writable {
            let tried = Connection::open_with_flags(path, plain).map_err(Error::from).and_then(|mut db| {
                let waits = settings(&mut db)?;
                db.query_row("SELECT count(*) FROM sqlite_schema", [], |r| r.get::<_, i64>(0))?;
                Ok((db, waits))
            });
            match tried {
                Ok((db, waits)) => {
                    return Ok(Self {
                        db,
                        _open: open,
                        path: path.into(),
                        part: None,
                        read_only: false,
                        waits,
                    });
                }
                Err(e) if e.kind == ErrorKind::Damaged => {
                    return Err(e);
                }
                Err(_) => {}
            }
        }
        // A read-only copy, a read-only folder or a full disk: the file as it stands, if no log
        // waits beside it.
        let db = Self::read_only_connection(path)?;
        Ok(Self { db, _open: open, path: path.into(), part: None, read_only: true, waits: Arc::default() })
    }

    pub(crate) fn read_only_connection(path: &Path) -> Result<Connection> {
        let flags = OpenFlags::SQLITE_OPEN_READ_ONLY | OpenFlags::SQLITE_OPEN_NO_MUTEX;
        let ordinary = Connection::open_with_flags(path, flags).map_err(Error::from).and_then(looked_at);
        if ordinary.is_ok() || std::fs::metadata(with_end(path, "-wal")).is_ok_and(|m| m.len() > 0) {
            return ordinary;
        }
        Self::still_connection(path)
    }

    /// To a file that nobody writes to: nothing is made beside it.
    pub(crate) fn still_connection(path: &Path) -> Result<Connection> {
        let flags = OpenFlags::SQLITE_OPEN_READ_ONLY | OpenFlags::SQLITE_OPEN_NO_MUTEX;
        let full = std::path::absolute(path).map_err(|e| Error::untrusted(e.to_string()))?;
        let mut address = String::from("file:");
        for b in full.as_os_str().as_encoded_bytes() {
            if b.is_ascii_alphanumeric() || b"/-_.".contains(b) {
                address.push(char::from(*b));
            } else {
                address.push_str(&format!("%{b:02X}"));
            }
        }
        address.push_str("?immutable=1");
        looked_at(Connection::open_with_flags(address, flags | OpenFlags::SQLITE_OPEN_URI)?)
    }

    /// The marks again, by SQLite: the log beside the file may know more than its first bytes.
    fn recognise(&mut self) -> Result<()> {
        let id: i32 = self.db.query_row("PRAGMA application_id", [], |r| r.get(0))?;
        let version: i32 = self.db.query_row("PRAGMA user_version", [], |r| r.get(0))?;
        if let Some(why) = recognise::not_ours(id, version) {
            // The log of such a file is left beside it too.
            self.db.set_db_config(DbConfig::SQLITE_DBCONFIG_NO_CKPT_ON_CLOSE, true)?;
            return Err(Error::untrusted(why));
        }
        if version < recognise::NEWEST {
            if self.read_only {
                self.db = upgraded_copy(&self.db, version)?;
            } else {
                migrate(&self.db)?;
            }
        }
        Ok(())
    }

    /// A store in memory, for tests and for checks that write nothing.
    ///
    /// # Errors
    /// Memory is short.
    pub fn memory() -> Result<Self> {
        let mut db = Connection::open_in_memory()?;
        let waits = settings(&mut db)?;
        migrate(&db)?;
        Ok(Self { db, _open: None, path: PathBuf::from(":memory:"), part: None, read_only: false, waits })
    }

    /// Closes the file: its log is folded into it.
    pub fn close(self) -> Result<()> {
        self.db.close().map_err(|(_, e)| e.into())
    }

    /// Where the file is.
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// The file can only be read here.
    pub fn read_only(&self) -> bool {
        self.read_only
    }

    /// The steps by which SQLite answers a query, in its own words.
    ///
    /// # Errors
    /// The query cannot be read.
    pub fn plan(&self, sql: &str) -> Result<Vec<String>> {
        let mut q = self.db.prepare(&format!("EXPLAIN QUERY PLAN {sql}"))?;
        let mut rows = q.raw_query();
        let mut out = Vec::new();
        while let Some(row) = rows.next()? {
            out.push(row.get(3)?);
        }
        Ok(out)
    }

    /// How often SQLite prepares a query again when it is asked with other values: it does where the
    /// values could bear on the plan, and that costs more than the query.
    ///
    /// # Errors
    /// The query cannot be run.
    pub fn prepared_again(&self, sql: &str) -> Result<i32> {
        let mut q = self.db.prepare(sql)?;
        for value in 1..=3_i64 {
            for at in 1..=q.parameter_count() {
                q.raw_bind_parameter(at, value)?;
            }
            let mut rows = q.raw_query();
            while rows.next()?.is_some() {}
        }
        Ok(q.get_status(rusqlite::StatementStatus::RePrepare))
    }

    /// A number that is another after any other connection wrote to the file; what this one wrote does not count.
    ///
    /// # Errors
    /// SQLite refuses.
    pub fn written_elsewhere(&self) -> Result<i64> {
        Ok(self.db.query_row("PRAGMA data_version", [], |r| r.get(0))?)
    }

    /// Gives back the memory of pages and queries that were read: before work that needs much itself.
    ///
    /// # Errors
    /// SQLite refuses.
    pub fn shrink(&self) -> Result<()> {
        self.db.flush_prepared_statement_cache();
        Ok(self.db.execute_batch("PRAGMA shrink_memory")?)
    }

    /// As [`Store::snapshot`], for a read that goes once through whole tables: pages kept for it would
    /// take memory for nothing.
    pub fn snapshot_of_tables<T>(&self, read: impl FnOnce() -> Result<T>) -> Result<T> {
        self.db.execute_batch("PRAGMA cache_size = -2048")?;
        let out = self.snapshot(read);
        self.db.execute_batch(PAGES_KEPT)?;
        out
    }

    /// Runs a read as one snapshot.
    pub fn snapshot<T>(&self, read: impl FnOnce() -> Result<T>) -> Result<T> {
        if !self.db.is_autocommit() {
            return read();
        }
        self.db.execute_batch("BEGIN")?;
        let out = read();
        self.db.execute_batch("COMMIT")?;
        out
    }
}

/// The largest older store that is read from a copy in memory.
const LARGEST_COPIED: i64 = 500_000_000;

/// A store of an earlier schema that may only be read: a copy of it in memory is brought up, and the
/// file stays as it is.
fn upgraded_copy(db: &Connection, version: i32) -> Result<Connection> {
    let size: i64 =
        db.query_row("SELECT page_count * page_size FROM pragma_page_count, pragma_page_size", [], |r| {
            r.get(0)
        })?;
    if size > LARGEST_COPIED {
        return Err(Error::untrusted(format!(
            "was written by an earlier meltkin (schema {version}) and may only be read here; copy it to a place where \
             it may be written, and open the copy"
        )));
    }
    let mut copy = Connection::open_in_memory()?;
    rusqlite::backup::Backup::new(db, &mut copy)?.run_to_completion(1_000, Duration::ZERO, None)?;
    settings(&mut copy)?;
    migrate(&copy)?;
    Ok(copy)
}

/// A connection that can read its file, and runs nothing that stands in it.
fn looked_at(db: Connection) -> Result<Connection> {
    db.busy_timeout(Duration::from_secs(30))?;
    inert(&db)?;
    db.query_row("SELECT count(*) FROM sqlite_schema", [], |r| r.get::<_, i64>(0))?;
    Ok(db)
}

/// Views are for other programs, and no schema of ours has a trigger: what somebody put into the file is never run.
fn inert(db: &Connection) -> Result<()> {
    db.set_db_config(DbConfig::SQLITE_DBCONFIG_ENABLE_TRIGGER, false)?;
    db.set_db_config(DbConfig::SQLITE_DBCONFIG_ENABLE_VIEW, false)?;
    Ok(())
}

/// What every connection is set to. FULL: when the screen says saved, it is on the disk.
pub(crate) fn settings(db: &mut Connection) -> Result<Arc<AtomicBool>> {
    inert(db)?;
    let waits = Arc::new(AtomicBool::new(true));
    let asked = Arc::clone(&waits);
    db.busy_handler(Some(move |tries| asked.load(Ordering::Relaxed) && wait(tries)))?;
    db.set_prepared_statement_cache_capacity(256);
    db.execute_batch(
        "PRAGMA foreign_keys = ON; PRAGMA trusted_schema = OFF; PRAGMA mmap_size = 0;
         PRAGMA journal_mode = WAL; PRAGMA synchronous = FULL; PRAGMA cell_size_check = ON;",
    )?;
    db.execute_batch(PAGES_KEPT)?;
    Ok(waits)
}

/// Waits for the end of another's write; false after half a minute. SQLite's own way of waiting sleeps
/// longer each time, up to a tenth of a second: beside somebody who writes one record after the other
/// it sleeps through the gaps for seconds. Here who has waited longer looks more often.
fn wait(tries: i32) -> bool {
    let (pause_us, go_on) = match tries {
        ..30 => (1_000, true),
        30..2_000 => (250, true),
        2_000..4_000 => (1_000, true),
        _ => (10_000, tries < 6_600),
    };
    std::thread::sleep(Duration::from_micros(pause_us));
    go_on
}

/// Brings a file to the newest schema. The version is read again inside the transaction: two
/// programs that start at once do it once.
pub(crate) fn migrate(db: &Connection) -> Result<()> {
    db.execute_batch("BEGIN IMMEDIATE")?;
    let step = || -> Result<()> {
        let version: i64 = db.query_row("PRAGMA user_version", [], |r| r.get(0))?;
        for (i, sql) in MIGRATIONS.iter().enumerate().skip(usize::try_from(version).unwrap_or(usize::MAX)) {
            db.execute_batch(sql)?;
            if i == 3 {
                crate::file::upgrade::to_4(db)?;
            }
            db.execute_batch(&format!("PRAGMA user_version = {}", i + 1))?;
        }
        if version < i64::from(recognise::NEWEST) {
            views::make(db)?;
        }
        db.execute_batch(&format!("PRAGMA application_id = {APPLICATION_ID}"))?;
        Ok(())
    };
    match step() {
        Ok(()) => Ok(db.execute_batch("COMMIT")?),
        Err(e) => {
            let _ = db.execute_batch("ROLLBACK");
            Err(e)
        }
    }
}
