//! Opening and making stores: settings, numbered migrations, and files that are not ours.

use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Duration;

use rusqlite::{Connection, OpenFlags};

use crate::store::error::{Error, Result};

pub use crate::store::files::APPLICATION_ID;

/// The migrations, oldest first. Only ever added to.
pub const MIGRATIONS: &[&str] = &[
    include_str!("../../schema/0001_records.sql"),
    include_str!("../../schema/0002_pins.sql"),
    include_str!("../../schema/0003_times.sql"),
    include_str!("../../schema/0004_gate.sql"),
];

/// 16 MB of pages.
const PAGES_KEPT: &str = "PRAGMA cache_size = -16384";

/// An open store.
pub struct Store {
    pub(crate) db: Connection,
    path: PathBuf,
    read_only: bool,
    /// A write waits for another one's end.
    pub(crate) waits: Arc<AtomicBool>,
}

impl Store {
    /// Opens a store that is there.
    ///
    /// # Errors
    /// No such file, no store, a newer one, a damaged one.
    pub fn open(path: &Path) -> Result<Self> {
        if !path.exists() {
            return Err(Error::Untrusted(format!(
                "{}: there is no store. Make one with `meltkin new` or `meltkin import FOLDER`",
                path.display()
            )));
        }
        if path.is_dir() {
            return Err(Error::Untrusted(format!("{}: is a folder, no store", path.display())));
        }
        let named = |e: Error| match e {
            Error::Untrusted(s) => Error::Untrusted(format!("{}: {s}", path.display())),
            other => other,
        };
        let mut store = Self::connect(path).map_err(named)?;
        store.recognise().map_err(named)?;
        Ok(store)
    }

    fn connect(path: &Path) -> Result<Self> {
        let plain = OpenFlags::SQLITE_OPEN_READ_WRITE | OpenFlags::SQLITE_OPEN_NO_MUTEX;
        let writable = std::fs::metadata(path).is_ok_and(|m| !m.permissions().readonly());
        if writable {
            let tried = Connection::open_with_flags(path, plain).map_err(Error::from).and_then(|mut db| {
                let waits = settings(&mut db)?;
                db.query_row("SELECT count(*) FROM sqlite_schema", [], |r| r.get::<_, i64>(0))?;
                Ok((db, waits))
            });
            match tried {
                Ok((db, waits)) => return Ok(Self { db, path: path.into(), read_only: false, waits }),
                Err(Error::Untrusted(s)) if s.contains("no SQLite file") || s.contains("damaged") => {
                    return Err(Error::Untrusted(s));
                }
                Err(_) => {}
            }
        }
        // A read-only copy, a read-only folder or a full disk: the file as it stands, if no log
        // waits beside it.
        let db = Self::read_only_connection(path)?;
        Ok(Self { db, path: path.into(), read_only: true, waits: Arc::default() })
    }

    pub(crate) fn read_only_connection(path: &Path) -> Result<Connection> {
        let flags = OpenFlags::SQLITE_OPEN_READ_ONLY | OpenFlags::SQLITE_OPEN_NO_MUTEX;
        let look = |db: Connection| -> Result<Connection> {
            db.busy_timeout(Duration::from_secs(30))?;
            db.query_row("SELECT count(*) FROM sqlite_schema", [], |r| r.get::<_, i64>(0))?;
            Ok(db)
        };
        let ordinary = Connection::open_with_flags(path, flags).map_err(Error::from).and_then(look);
        let mut log = path.as_os_str().to_owned();
        log.push("-wal");
        if ordinary.is_ok() || std::fs::metadata(&log).is_ok_and(|m| m.len() > 0) {
            return ordinary;
        }
        let full = std::path::absolute(path).map_err(|e| Error::Untrusted(e.to_string()))?;
        let mut address = String::from("file:");
        for b in full.to_string_lossy().bytes() {
            if b.is_ascii_alphanumeric() || b"/-_.".contains(&b) {
                address.push(b as char);
            } else {
                address.push_str(&format!("%{b:02X}"));
            }
        }
        address.push_str("?immutable=1");
        look(Connection::open_with_flags(address, flags | OpenFlags::SQLITE_OPEN_URI)?)
    }

    fn recognise(&mut self) -> Result<()> {
        let id: i32 = self.db.query_row("PRAGMA application_id", [], |r| r.get(0))?;
        let version: i64 = self.db.query_row("PRAGMA user_version", [], |r| r.get(0))?;
        if id == 0 && version == 0 && !self.read_only {
            // A file without a single table: the program was stopped while it made the store.
            let tables: i64 = self.db.query_row("SELECT count(*) FROM sqlite_schema", [], |r| r.get(0))?;
            if tables == 0 {
                return migrate(&self.db);
            }
        }
        if id != APPLICATION_ID {
            return Err(Error::Untrusted(
                "is a SQLite file of another program, not a meltkin store; it was left as it is".into(),
            ));
        }
        if version > MIGRATIONS.len() as i64 {
            return Err(Error::Untrusted(format!(
                "was written by a newer meltkin (schema {version}, this one knows {}); it was left as it is",
                MIGRATIONS.len()
            )));
        }
        if version < MIGRATIONS.len() as i64 {
            if self.read_only {
                self.db = upgraded_copy(&self.db, version)?;
            } else {
                migrate(&self.db)?;
            }
        }
        Ok(())
    }

    /// Makes an empty store, without any definitions.
    ///
    /// # Errors
    /// There is a file already, or it cannot be made.
    pub fn create(path: &Path) -> Result<Self> {
        if path.exists() {
            return Err(Error::Input(format!("{}: is there already; it was left as it is", path.display())));
        }
        if let Some(folder) = path.parent().filter(|f| !f.as_os_str().is_empty()) {
            std::fs::create_dir_all(folder)
                .map_err(|e| Error::Untrusted(format!("{}: {e}", folder.display())))?;
        }
        let flags = OpenFlags::SQLITE_OPEN_READ_WRITE
            | OpenFlags::SQLITE_OPEN_CREATE
            | OpenFlags::SQLITE_OPEN_NO_MUTEX;
        let mut db = Connection::open_with_flags(path, flags)
            .map_err(|e| Error::Untrusted(format!("{}: {}", path.display(), Error::from(e))))?;
        let made = settings(&mut db).and_then(|waits| migrate(&db).map(|()| waits));
        let waits = match made {
            Ok(waits) => waits,
            Err(e) => {
                drop(db);
                let _ = std::fs::remove_file(path);
                return Err(Error::Untrusted(format!("{}: {e}", path.display())));
            }
        };
        Ok(Self { db, path: path.into(), read_only: false, waits })
    }

    /// Makes an empty store for a first load, under another name beside its own. Nothing is on the
    /// disk for sure until [`Store::settle`] gives it its name: that is what makes it all or nothing,
    /// so the log that guards an ordinary write is left out. What interrupted loads left is
    /// removed.
    ///
    /// # Errors
    /// There is a file already, or it cannot be made.
    pub fn create_for_load(path: &Path) -> Result<Self> {
        if path.exists() {
            return Err(Error::Input(format!("{}: is there already; it was left as it is", path.display())));
        }
        sweep(path);
        let part = loading(path);
        let _ = std::fs::remove_file(&part);
        let store = Self::create(&part)?;
        store.db.execute_batch("PRAGMA journal_mode = MEMORY; PRAGMA synchronous = OFF")?;
        Ok(Self { path: path.into(), ..store })
    }

    /// Puts what was loaded on the disk and gives the file its name.
    ///
    /// # Errors
    /// The file cannot be written, or another one has taken the name meanwhile.
    pub fn settle(self) -> Result<()> {
        let path = self.path.clone();
        let part = loading(&path);
        let failed = |e: std::io::Error| Error::Untrusted(format!("{}: {e}", path.display()));
        self.db.execute_batch("PRAGMA synchronous = FULL; PRAGMA journal_mode = WAL")?;
        self.close()?;
        std::fs::File::open(&part).and_then(|f| f.sync_all()).map_err(failed)?;
        // A link, as a rename would replace a store that somebody made meanwhile.
        std::fs::hard_link(&part, &path)
            .or_else(|e| match e.kind() {
                std::io::ErrorKind::AlreadyExists => Err(e),
                _ => std::fs::rename(&part, &path),
            })
            .map_err(failed)?;
        let _ = std::fs::remove_file(&part);
        // What cannot be made lasting is not left in place: nothing was written, as the refusal says.
        crate::store::backup::sync_folder(&path).map_err(|e| {
            let _ = std::fs::remove_file(&path);
            failed(e)
        })
    }

    /// Takes a load that came to nothing away.
    pub fn abandon(self) {
        let part = loading(&self.path);
        drop(self);
        for end in ["", "-wal", "-shm"] {
            let mut name = part.as_os_str().to_owned();
            name.push(end);
            let _ = std::fs::remove_file(name);
        }
    }

    /// A store in memory, for tests and for checks that write nothing.
    ///
    /// # Errors
    /// Memory is short.
    pub fn memory() -> Result<Self> {
        let mut db = Connection::open_in_memory()?;
        let waits = settings(&mut db)?;
        migrate(&db)?;
        Ok(Self { db, path: PathBuf::from(":memory:"), read_only: false, waits })
    }

    /// Closes the file: its log is folded into it.
    ///
    /// # Errors
    /// The file cannot be written.
    pub fn close(self) -> Result<()> {
        self.db.close().map_err(|(_, e)| e.into())
    }

    /// Where the file is.
    #[must_use]
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// The file can only be read here.
    #[must_use]
    pub fn read_only(&self) -> bool {
        self.read_only
    }

    /// A line that the file says of itself (`clock`, `name`).
    ///
    /// # Errors
    /// The file cannot be read.
    pub fn about(&self, name: &str) -> Result<Option<String>> {
        use rusqlite::OptionalExtension;
        let mut q = self.db.prepare_cached("SELECT value FROM about WHERE name = ?1")?;
        Ok(q.query_row([name], |r| r.get(0)).optional()?)
    }

    /// Sets a line that the file says of itself.
    ///
    /// # Errors
    /// The file cannot be written.
    pub fn set_about(&self, name: &str, value: &str) -> Result<()> {
        self.db.execute("INSERT OR REPLACE INTO about VALUES (?1, ?2)", [name, value])?;
        Ok(())
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
    ///
    /// # Errors
    /// What the read says.
    pub fn snapshot_of_tables<T>(&self, read: impl FnOnce() -> Result<T>) -> Result<T> {
        self.db.execute_batch("PRAGMA cache_size = -2048")?;
        let out = self.snapshot(read);
        self.db.execute_batch(PAGES_KEPT)?;
        out
    }

    /// Runs a read as one snapshot.
    ///
    /// # Errors
    /// What the read says.
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
fn upgraded_copy(db: &Connection, version: i64) -> Result<Connection> {
    let size: i64 =
        db.query_row("SELECT page_count * page_size FROM pragma_page_count, pragma_page_size", [], |r| {
            r.get(0)
        })?;
    if size > LARGEST_COPIED {
        return Err(Error::Untrusted(format!(
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

/// The name of a store while its first load lasts.
fn loading(path: &Path) -> PathBuf {
    let mut part = path.as_os_str().to_owned();
    part.push(format!(".loading-{}", std::process::id()));
    part.into()
}

/// Removes what interrupted loads left: files named after a process that is gone. Where the system
/// does not tell which processes there are, they stay.
fn sweep(path: &Path) {
    let processes = Path::new("/proc");
    let (Some(folder), Some(name)) = (path.parent(), path.file_name()) else { return };
    if !processes.join("self").exists() {
        return;
    }
    let folder = if folder.as_os_str().is_empty() { Path::new(".") } else { folder };
    let stem = format!("{}.loading-", name.to_string_lossy());
    for entry in std::fs::read_dir(folder).into_iter().flatten().flatten() {
        let name = entry.file_name().to_string_lossy().into_owned();
        let Some(rest) = name.strip_prefix(&stem) else { continue };
        let process: String = rest.chars().take_while(char::is_ascii_digit).collect();
        if !process.is_empty() && !processes.join(&process).exists() {
            let _ = std::fs::remove_file(entry.path());
        }
    }
}

/// What every connection is set to. FULL: when the screen says saved, it is on the disk.
fn settings(db: &mut Connection) -> Result<Arc<AtomicBool>> {
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
fn migrate(db: &Connection) -> Result<()> {
    db.execute_batch("BEGIN IMMEDIATE")?;
    let step = || -> Result<()> {
        let version: i64 = db.query_row("PRAGMA user_version", [], |r| r.get(0))?;
        for (i, sql) in MIGRATIONS.iter().enumerate().skip(usize::try_from(version).unwrap_or(usize::MAX)) {
            db.execute_batch(sql)?;
            if i == 3 {
                crate::store::upgrade::to_4(db)?;
            }
            db.execute_batch(&format!("PRAGMA user_version = {}", i + 1))?;
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
