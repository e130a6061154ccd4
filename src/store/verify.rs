//! Can the file be trusted: its pages, references, journal, and every table against the journal.

use std::borrow::Cow;
use std::collections::HashMap;

use rusqlite::Connection;

use crate::domain::field::Type;
use crate::domain::kind::Kind;
use crate::domain::{Record, Value, catalogue};
use crate::store::error::{Error, Result};
use crate::store::journal::{self, Entry};
use crate::store::rows::{self, Names};
use crate::store::shape::{self, Role, Shape};
use crate::store::{Store, indexes, open, read};

/// Something that is not as the journal says.
#[derive(Clone, Debug, PartialEq)]
pub struct Fault {
    /// The table.
    pub table: String,
    /// The record, where it can be named.
    pub tag: Option<String>,
    /// What is wrong.
    pub message: String,
}

/// The outcome of a check.
#[derive(Clone, Debug, Default)]
pub struct Verified {
    /// Entries of the journal.
    pub entries: i64,
    /// Hash of the newest entry.
    pub head: String,
    /// Rows compared with the journal.
    pub rows: u64,
    /// The entry that the anchor names, where one was asked for and found.
    pub anchored_at: Option<i64>,
    /// What is wrong.
    pub faults: Vec<Fault>,
}

/// The tags of every kind that is referred to, by id.
pub struct AllNames<'db> {
    db: &'db Connection,
    tables: HashMap<&'static str, Table>,
}

struct Table {
    text: String,
    ends: Vec<u32>,
    gaps: bool,
    ids: HashMap<i64, (u32, u32)>,
}

impl<'db> AllNames<'db> {
    /// Reads the tags of all kinds that others refer to.
    ///
    /// # Errors
    /// The store cannot be read.
    pub fn new(db: &'db Connection) -> Result<Self> {
        let mut tables = HashMap::new();
        for kind in catalogue::all() {
            let Some(field) = kind.tag_field() else { continue };
            let referred =
                shape::all().iter().any(|s| s.columns.iter().any(|c| c.role == Role::Id(kind.name)));
            if !referred {
                continue;
            }
            let mut table = Table { text: String::new(), ends: Vec::new(), gaps: false, ids: HashMap::new() };
            let mut q =
                db.prepare(&format!("SELECT id, \"{}\" FROM {} ORDER BY id", field.name, kind.name))?;
            let mut found = q.query([])?;
            while let Some(row) = found.next()? {
                let id: i64 = row.get(0)?;
                let start = table.text.len() as u32;
                table.text.push_str(row.get_ref(1)?.as_str().unwrap_or(""));
                // Ids mostly run from 1 without gaps: then a list of ends is all that is needed.
                if table.gaps || id != table.ends.len() as i64 + 1 {
                    table.gaps = true;
                    table.ids.insert(id, (start, table.text.len() as u32));
                } else {
                    table.ends.push(table.text.len() as u32);
                }
            }
            tables.insert(kind.name, table);
        }
        Ok(Self { db, tables })
    }
}

impl Names for AllNames<'_> {
    fn tag(&self, kind: &'static str, id: i64) -> Result<Cow<'_, str>> {
        if let Some(table) = self.tables.get(kind) {
            let at = usize::try_from(id - 1).unwrap_or(usize::MAX);
            if let Some(&end) = table.ends.get(at) {
                let start = if at == 0 { 0 } else { table.ends[at - 1] };
                return Ok(Cow::Borrowed(&table.text[start as usize..end as usize]));
            }
            if let Some(&(start, end)) = table.ids.get(&id) {
                return Ok(Cow::Borrowed(&table.text[start as usize..end as usize]));
            }
        } else if let Some(k) = crate::domain::kind(kind) {
            if let Some(field) = k.tag_field() {
                use rusqlite::OptionalExtension;
                let sql = format!("SELECT \"{}\" FROM {} WHERE id = ?1", field.name, k.name);
                let tag: Option<String> =
                    self.db.prepare_cached(&sql)?.query_row([id], |r| r.get(0)).optional()?;
                if let Some(tag) = tag {
                    return Ok(Cow::Owned(tag));
                }
            }
        }
        Err(Error::Untrusted(format!("it refers to {kind} number {id}, which is missing")))
    }
}

/// Walks every record of a kind in export order, with the journal entry and digest of its row. A row
/// that cannot be read goes to `broken` with its tag, as far as it can be told, and the message.
///
/// # Errors
/// The store cannot be read, or what `each` says.
pub fn walk(
    db: &Connection,
    names: &AllNames,
    kind: &'static Kind,
    mut each: impl FnMut(&Record, i64, i64) -> Result<()>,
    mut broken: impl FnMut(String, String),
) -> Result<()> {
    let shape = shape::of(kind);
    let own = read::own_fields(db)?;
    let mut q = db.prepare(&format!("{}{}", shape.select, shape.ordered()))?;
    let mut found = q.query([])?;
    let last = shape.columns.len() + usize::from(shape.has_id);
    let revisions = revisions(db, shape)?;
    while let Some(row) = found.next()? {
        match rows::read(shape, row, names, &own) {
            Ok(mut record) => {
                if let Some((column, field, by_id)) = &revisions {
                    let id: i64 = row.get(*column)?;
                    if let Some(r) = by_id.get(&id).filter(|r| !r.is_empty()) {
                        record.set(field, Value::Text(Cow::Borrowed(r)));
                    }
                }
                each(&record, row.get(last + 1)?, row.get(last + 2)?)?;
            }
            Err(Error::Untrusted(message)) => broken(rows::nearly(shape, row, names), message),
            Err(e) => return Err(e),
        }
    }
    Ok(())
}

type Revisions = Option<(usize, &'static str, HashMap<i64, String>)>;

fn revisions(db: &Connection, shape: &Shape) -> Result<Revisions> {
    for field in shape.kind.fields {
        let Type::RevisionOf(of) = field.ty else { continue };
        let Some(c) = shape.columns.iter().position(|c| c.name == of) else { continue };
        let Role::Id(table) = shape.columns[c].role else { continue };
        let mut q = db.prepare(&format!("SELECT id, revision FROM {table}"))?;
        let by_id = q.query_map([], |r| Ok((r.get(0)?, r.get(1)?)))?.collect::<rusqlite::Result<_>>()?;
        return Ok(Some((c + usize::from(shape.has_id), field.name, by_id)));
    }
    Ok(None)
}

impl Store {
    /// The tags of every record that others refer to, for [`Store::export`].
    ///
    /// # Errors
    /// The store cannot be read.
    pub fn names(&self) -> Result<AllNames<'_>> {
        AllNames::new(&self.db)
    }

    /// Walks every record of a kind in export order. `names` is read once for all kinds.
    ///
    /// # Errors
    /// The store cannot be read, a row is damaged, or what `each` says.
    pub fn export(
        &self,
        names: &AllNames,
        kind: &'static Kind,
        mut each: impl FnMut(&Record) -> Result<()>,
    ) -> Result<()> {
        let mut bad = None;
        walk(&self.db, names, kind, |r, _, _| each(r), |tag, m| bad = Some(format!("{tag}: {m}")))?;
        match bad {
            Some(message) => Err(Error::Untrusted(format!("{}: {message}", kind.name))),
            None => Ok(()),
        }
    }

    /// Checks the whole file in one read transaction. `anchor` is a hash of the journal that was
    /// printed earlier.
    ///
    /// # Errors
    /// The file cannot be read at all; what is wrong inside it is in the outcome.
    pub fn verify(&self, anchor: Option<&str>, progress: &mut dyn FnMut(&str)) -> Result<Verified> {
        self.snapshot(|| verify(&self.db, anchor, progress))
    }
}

fn verify(db: &Connection, anchor: Option<&str>, progress: &mut dyn FnMut(&str)) -> Result<Verified> {
    let mut out = Verified::default();
    progress("pages");
    pages(db, &mut out.faults)?;
    schema(db, &mut out.faults)?;
    if out.faults.is_empty() {
        for (table, message) in indexes::wrong(db)? {
            out.faults.push(fault(&table, None, message));
        }
    }
    progress("references");
    references(db, &mut out.faults)?;
    progress("journal");
    let state = chain(db, anchor, &mut out)?;
    let names = AllNames::new(db)?;
    for kind in catalogue::all() {
        progress(kind.name);
        table(db, &names, kind, &state, &mut out)?;
    }
    Ok(out)
}

fn fault(table: &str, tag: Option<String>, message: impl Into<String>) -> Fault {
    Fault { table: table.into(), tag, message: message.into() }
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
        let message = match (here.get(name), wanted.get(name)) {
            (Some(_), None) if !ours => format!("the file has a {name} that meltkin did not make"),
            (None, Some(_)) => format!("the {name} is missing"),
            (Some(a), Some(b)) if a != b => format!("the {name} was altered"),
            _ => continue,
        };
        faults.push(fault("schema", None, message));
    }
    Ok(())
}

fn references(db: &Connection, faults: &mut Vec<Fault>) -> Result<()> {
    let mut q = db.prepare("PRAGMA foreign_key_check")?;
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

/// What the journal says of the tables.
#[derive(Default)]
struct Said {
    /// Last word on each record written by itself: its canonical text, or that it is gone.
    single: HashMap<(String, String), (i64, Option<String>)>,
    /// Files: entry → (kind, rows, digest).
    files: HashMap<i64, (String, u64, String)>,
    /// Rows of a file that were changed later: their digest as imported.
    moved: HashMap<i64, Vec<u64>>,
}

fn chain(db: &Connection, anchor: Option<&str>, out: &mut Verified) -> Result<Said> {
    let mut said = Said::default();
    let mut before = journal::BEFORE_FIRST.to_string();
    let mut next = 1;
    let mut q = db.prepare("SELECT * FROM journal ORDER BY seq")?;
    let mut found = q.query([])?;
    let mut all: Vec<Entry> = Vec::new();
    while let Some(row) = found.next()? {
        let entry = journal::from_row(row)?;
        if entry.seq != next {
            let missing =
                if entry.seq == next + 1 { next.to_string() } else { format!("{next} to {}", entry.seq - 1) };
            out.faults.push(fault("journal", None, format!("entry {missing} is missing")));
        } else if entry.seal(&before) != entry.hash {
            let about = entry.tag.clone();
            out.faults.push(fault("journal", about, format!("entry {} is not as it was sealed", entry.seq)));
        }
        if anchor.is_some_and(|a| a.eq_ignore_ascii_case(&entry.hash)) {
            out.anchored_at = Some(entry.seq);
        }
        next = entry.seq + 1;
        before.clone_from(&entry.hash);
        all.push(entry);
    }
    out.entries = all.len() as i64;
    out.head = before;
    if let (Some(anchor), None) = (anchor, out.anchored_at) {
        out.faults.push(fault(
            "journal",
            None,
            format!(
                "no entry has the hash {}: what was before it is not what is here",
                crate::domain::tag::shown(anchor)
            ),
        ));
    }
    for entry in all {
        if matches!(entry.action.as_str(), "import" | "starter") {
            if let Some((n, digest)) = entry.new.as_deref().and_then(of_file) {
                said.files.insert(entry.seq, (entry.kind, n, digest));
            }
            continue;
        }
        let Some(tag) = entry.tag else { continue };
        let key = (entry.kind.clone(), tag.to_ascii_lowercase());
        if let (Some(old), Some(came)) = (&entry.old, entry.came) {
            if said.files.contains_key(&came) {
                said.moved.entry(came).or_default().push(rows::digest(old) as u64);
            }
        }
        let after = entry.new.as_deref().map(|new| rows::from_canonical(new, &[]).map(|r| r.address()));
        let new_key = match after {
            Some(Ok(address)) => (entry.kind.clone(), address.to_ascii_lowercase()),
            _ => key.clone(),
        };
        if new_key != key {
            said.single.insert(key, (entry.seq, None));
        }
        said.single.insert(new_key, (entry.seq, entry.new));
    }
    Ok(said)
}

fn of_file(new: &str) -> Option<(u64, String)> {
    let value: serde_json::Value = serde_json::from_str(new).ok()?;
    Some((value.get("rows")?.as_u64()?, value.get("digest")?.as_str()?.to_string()))
}

fn table(
    db: &Connection,
    names: &AllNames,
    kind: &'static Kind,
    said: &Said,
    out: &mut Verified,
) -> Result<()> {
    let shape = shape::of(kind);
    let mut text = String::new();
    let mut of_entry: HashMap<i64, Vec<u64>> = HashMap::new();
    let mut seen: HashMap<String, i64> = HashMap::new();
    let mut faults = Vec::new();
    let mut broken = Vec::new();
    let mut count = 0;
    let singles: HashMap<&str, &(i64, Option<String>)> =
        said.single.iter().filter(|((k, _), _)| k == kind.name).map(|((_, t), v)| (t.as_str(), v)).collect();
    walk(
        db,
        names,
        kind,
        |record, entry, digest| {
            count += 1;
            text.clear();
            record.canonical(&shape.order, &mut text);
            let real = rows::digest(&text);
            if real != digest {
                faults.push(fault(kind.name, Some(record.address()), "the row was changed outside meltkin"));
            }
            let file = said.files.get(&entry).filter(|f| f.0 == kind.name);
            if file.is_some() {
                of_entry.entry(entry).or_default().push(digest as u64);
            }
            if !singles.is_empty() || file.is_none() {
                let key = record.address().to_ascii_lowercase();
                match singles.get(key.as_str()) {
                    Some((seq, Some(_))) if *seq != entry => {
                        let message = "the row names another journal entry than the one that wrote it";
                        faults.push(fault(kind.name, Some(record.address()), message));
                    }
                    Some((_, Some(new))) => {
                        if *new != text && real == digest {
                            let message = "the row is not what the journal says of it";
                            faults.push(fault(kind.name, Some(record.address()), message));
                        }
                    }
                    Some((_, None)) => {
                        let message = "the row is there though the journal says that it was taken back";
                        faults.push(fault(kind.name, Some(record.address()), message));
                    }
                    None if file.is_none() => {
                        let message = "the row was put in outside meltkin: no journal entry brought it";
                        faults.push(fault(kind.name, Some(record.address()), message));
                    }
                    None => {}
                }
                if singles.contains_key(key.as_str()) {
                    seen.insert(key, entry);
                }
            }
            Ok(())
        },
        |tag, message| broken.push((tag, message)),
    )?;
    out.rows += count;
    for (tag, message) in broken {
        faults.push(fault(kind.name, Some(tag), message));
    }
    for (key, (_, new)) in &singles {
        if new.is_some() && !seen.contains_key(*key) {
            let tag = new.as_deref().and_then(|n| rows::from_canonical(n, &[]).ok()).map(|r| r.address());
            faults.push(fault(
                kind.name,
                tag,
                "the row is missing, though the journal says that it is there",
            ));
        }
    }
    for (seq, (_, n, wanted)) in said.files.iter().filter(|(_, f)| f.0 == kind.name) {
        let mut digests = of_entry.remove(seq).unwrap_or_default();
        digests.extend(said.moved.get(seq).into_iter().flatten());
        if journal::fold(&mut digests) != *wanted {
            let message = match digests.len() as u64 {
                have if have < *n => {
                    format!("entry {seq} brought {n} rows, {have} are there: {}", gaps(db, kind, *n - have)?)
                }
                have if have > *n => format!("entry {seq} brought {n} rows, {have} claim to be of it"),
                _ => format!("the rows of entry {seq} are not those it brought"),
            };
            let at_row = faults.iter().any(|f: &Fault| f.message.starts_with("the row was changed"));
            if !at_row || digests.len() as u64 != *n {
                faults.push(fault(kind.name, None, message));
            }
        }
    }
    out.faults.extend(faults);
    Ok(())
}

/// Names the neighbours of rows that are gone, where ids tell.
fn gaps(db: &Connection, kind: &Kind, missing: u64) -> Result<String> {
    let Some(field) = kind.tag_field() else { return Ok(format!("{missing} missing")) };
    let sql = format!(
        "SELECT \"{0}\", (SELECT b.\"{0}\" FROM {1} b WHERE b.id > a.id ORDER BY b.id LIMIT 1)
         FROM {1} a WHERE NOT EXISTS (SELECT 1 FROM {1} c WHERE c.id = a.id + 1)
         AND a.id < (SELECT max(id) FROM {1}) ORDER BY a.id LIMIT 5",
        field.name, kind.name
    );
    let mut q = db.prepare(&sql)?;
    let found: Vec<(String, Option<String>)> =
        q.query_map([], |r| Ok((r.get(0)?, r.get(1)?)))?.collect::<rusqlite::Result<_>>()?;
    if found.is_empty() {
        return Ok(format!("{missing} missing, the last or first ones"));
    }
    let between: Vec<String> = found
        .into_iter()
        .map(|(a, b)| format!("between {a} and {}", b.unwrap_or_else(|| "the end".into())))
        .collect();
    Ok(format!("{missing} missing, {}", between.join(", ")))
}
