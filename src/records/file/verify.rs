//! Can the file be trusted: its pages, references, journal, and every table against the journal.

use std::borrow::Cow;
use std::collections::HashMap;

use rusqlite::{Connection, Row, Statement};

use crate::catalogue::field::Type;
use crate::catalogue::kind::Kind;
use crate::check::OwnField;
use crate::error::{Error, Result};
use crate::file::odd_tags;
use crate::file::odd_tags::OddTag;
use crate::file::pages;
use crate::file::seal;
use crate::file::seal::Sealer;
use crate::file::upgrade;
use crate::read::export_order;
use crate::read::rows;
use crate::read::shape;
use crate::read::shape::{ColumnRole, KindTable};
pub use crate::read::tag_table::AllNames;
use crate::write::journal;
use crate::write::journal::Entry;
use crate::{Record, Value, catalogue};
use crate::{Store, read, write};

/// Something that is not as the journal says.
#[derive(Clone, Debug, PartialEq)]
pub struct Fault {
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
    /// Tags that would be refused today.
    pub odd_tags: Vec<OddTag>,
}

/// In which order the rows of a kind are read.
#[derive(Clone, Copy)]
pub enum Order {
    /// As they lie in the file.
    Stored,
    /// By key, whatever they were written in: two stores with the same records give the same bytes.
    Key,
}

/// Walks every record of a kind, with the journal entry and digest of its row. A row
/// that cannot be read goes to `broken` with its tag, as far as it can be told, and the message.
///
/// # Errors
/// The store cannot be read, or what `each` says.
pub fn walk(
    db: &Connection,
    names: &AllNames,
    kind: &'static Kind,
    order: Order,
    mut each: impl FnMut(&Record, i64, i64) -> Result<()>,
    mut broken: impl FnMut(String, String),
) -> Result<()> {
    let walker = Walker::new(db, kind)?;
    let mut q = walker.query(order)?;
    let mut found = q.query([])?;
    while let Some(row) = found.next()? {
        walker.row(names, row, &mut each, &mut broken)?;
    }
    Ok(())
}

/// Reads the rows of one kind as records.
struct Walker<'db> {
    db: &'db Connection,
    shape: &'static KindTable,
    own: Vec<OwnField>,
    revisions: Revisions,
    /// Columns before the entry and the digest.
    last: usize,
}

impl<'db> Walker<'db> {
    fn new(db: &'db Connection, kind: &'static Kind) -> Result<Self> {
        let shape = shape::of(kind);
        let last = shape.columns.len() + usize::from(shape.has_id);
        Ok(Self { db, shape, own: read::own_fields(db)?, revisions: revisions(db, shape)?, last })
    }

    fn query(&self, order: Order) -> Result<Statement<'db>> {
        let sql = match order {
            Order::Stored => format!("{}{}", self.shape.select, self.shape.ordered()),
            Order::Key => export_order::query(self.db, self.shape)?,
        };
        Ok(self.db.prepare(&sql)?)
    }

    fn row(
        &self,
        names: &AllNames,
        row: &Row,
        each: &mut impl FnMut(&Record, i64, i64) -> Result<()>,
        broken: &mut impl FnMut(String, String),
    ) -> Result<()> {
        match rows::read(self.shape, row, names, &self.own) {
            Ok(mut record) => {
                if let Some((column, field, by_id)) = &self.revisions {
                    let id: i64 = row.get(*column)?;
                    if let Some(r) = by_id.get(&id).filter(|r| !r.is_empty()) {
                        record.set(field, Value::Text(Cow::Borrowed(r)));
                    }
                }
                each(&record, row.get(self.last + 1)?, row.get(self.last + 2)?)
            }
            Err(e) if e.is_untrusted() => {
                broken(rows::nearly(self.shape, row, names), e.sentence);
                Ok(())
            }
            Err(e) => Err(e),
        }
    }
}

type Revisions = Option<(usize, &'static str, HashMap<i64, String>)>;

fn revisions(db: &Connection, shape: &KindTable) -> Result<Revisions> {
    for field in shape.kind.fields {
        let Type::RevisionOf(of) = field.ty else { continue };
        let Some(c) = shape.columns.iter().position(|c| c.name == of) else { continue };
        let ColumnRole::Id(table) = shape.columns[c].role else { continue };
        let by_id =
            read::list(db, &format!("SELECT id, revision FROM {table}"), [], |r| Ok((r.get(0)?, r.get(1)?)))?;
        return Ok(Some((c + usize::from(shape.has_id), field.name, by_id)));
    }
    Ok(None)
}

impl Store {
    /// The tags of every record that others refer to, for [`Store::export`].
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
        walk(
            &self.db,
            names,
            kind,
            Order::Key,
            |r, _, _| each(r),
            |tag, m| bad = Some(format!("{tag}: {m}")),
        )?;
        match bad {
            Some(message) => Err(Error::untrusted(format!("{}: {message}", kind.name))),
            None => Ok(()),
        }
    }

    /// Checks the whole file in one read transaction. `anchor` is a hash of the journal that was
    /// printed earlier.
    ///
    /// # Errors
    /// The file cannot be read at all; what is wrong inside it is in the outcome.
    pub fn verify(&self, anchor: Option<&str>, progress: &mut dyn FnMut(&str)) -> Result<Verified> {
        let beside = pages::Beside::of(&self.db);
        self.snapshot(|| {
            progress("pages");
            let beside = beside.filter(|b| b.sees_what(&self.db));
            pages::while_checked(&self.db, beside, || verify(&self.db, anchor, progress))
        })
    }
}

impl Store {
    /// As [`Store::verify`], without SQLite's own check of the pages, by this thread alone.
    ///
    /// # Errors
    /// The file cannot be read at all.
    pub fn verify_records(&self) -> Result<Verified> {
        self.snapshot(|| verify(&self.db, None, &mut |_| {}))
    }
}

/// The journal, and the rows against it.
fn verify(db: &Connection, anchor: Option<&str>, progress: &mut dyn FnMut(&str)) -> Result<Verified> {
    let mut out = Verified::default();
    progress("journal");
    let state = chain(db, anchor, &mut out)?;
    out.faults.extend(crate::write::pins::faults(db)?);
    out.faults.extend(crate::file::about::faults(db)?);
    let names = AllNames::new(db)?;
    out.odd_tags = odd_tags::of(db, &names)?;
    let mut readable = true;
    for kind in catalogue::all() {
        progress(kind.name);
        readable &= table(db, &names, kind, &state, &mut out)?;
    }
    if !readable {
        // Every reference was looked up when its row was read; SQLite counts them by table.
        let mut found = Vec::new();
        pages::references(db, None, &mut found)?;
        out.faults.splice(0..0, found);
    }
    Ok(out)
}

pub(crate) fn fault(table: &str, tag: Option<String>, message: impl Into<String>) -> Fault {
    Fault { table: table.into(), tag, message: message.into() }
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
    /// The entry that sealed the revisions of older rows; 0 where there are none.
    sealed_at: i64,
    /// What it says of each kind: rows, digest.
    sealed: HashMap<String, (u64, String)>,
    /// Rows that it sealed and that were changed later: their digest as sealed.
    moved_on: HashMap<String, Vec<u64>>,
}

/// A record by its address: tags are the same whatever their case; revisions and other keys are as they were written.
fn key_of(kind: &str, address: String) -> String {
    match catalogue::kind(kind) {
        Some(k) if k.tagged() && !k.revisioned => address.to_ascii_lowercase(),
        _ => address,
    }
}

impl Said {
    /// An entry that changes a row: what was there, and what is there now.
    fn takes_over(&mut self, entry: Entry, tag: String) {
        let came = entry.came.unwrap_or(0);
        let old = entry.old.as_deref().and_then(|old| rows::from_canonical(old, &[]).ok());
        let older = came <= self.sealed_at && self.sealed.contains_key(&entry.kind);
        if let Some(record) = &old {
            let shape = shape::of(record.kind);
            let now = rows::digest(&write::canonical(shape, record)) as u64;
            let mut then = now;
            if older {
                self.moved_on.entry(entry.kind.clone()).or_default().push(now);
                then = rows::digest(&upgrade::as_typed(shape, record)) as u64;
            }
            if self.files.contains_key(&came) {
                self.moved.entry(came).or_default().push(then);
            }
        }
        // An address is made anew from the text: how a kind is addressed may have changed since.
        let named = |address: String| (entry.kind.clone(), key_of(&entry.kind, address));
        let key = match old {
            Some(record) if older => named(record.address_as_typed()),
            Some(record) => named(record.address()),
            None => named(tag),
        };
        let after = entry.new.as_deref().and_then(|new| rows::from_canonical(new, &[]).ok());
        let new_key = after.map_or_else(|| key.clone(), |record| named(record.address()));
        if new_key != key {
            self.single.insert(key, (entry.seq, None));
        }
        self.single.insert(new_key, (entry.seq, entry.new));
    }
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
                "no entry has the hash {}: the history before it differs",
                crate::value::tag::shown(anchor)
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
        if entry.action == upgrade::SEAL {
            said.sealed_at = entry.seq;
            said.sealed = entry.new.as_deref().map(of_kinds).unwrap_or_default();
            continue;
        }
        if !journal::changes_a_record(&entry.action) {
            if !journal::says_something_else(&entry.action) {
                let message =
                    format!("entry {} is a {}, which this program does not know", entry.seq, entry.action);
                out.faults.push(fault("journal", entry.tag, message));
            }
            continue;
        }
        let Some(tag) = entry.tag.clone() else { continue };
        said.takes_over(entry, tag);
    }
    Ok(said)
}

fn of_file(new: &str) -> Option<(u64, String)> {
    let value: serde_json::Value = serde_json::from_str(new).ok()?;
    Some((value.get("rows")?.as_u64()?, value.get("digest")?.as_str()?.to_string()))
}

/// What the entry that sealed the revisions says of each kind: rows, digest.
fn of_kinds(new: &str) -> HashMap<String, (u64, String)> {
    let value: serde_json::Value = serde_json::from_str(new).unwrap_or_default();
    let kinds = value.as_object().into_iter().flatten();
    kinds.filter_map(|(kind, said)| Some((kind.clone(), of_file(&said.to_string())?))).collect()
}

/// The rows of one kind. False: some could not be read.
fn table(
    db: &Connection,
    names: &AllNames,
    kind: &'static Kind,
    said: &Said,
    out: &mut Verified,
) -> Result<bool> {
    let shape = shape::of(kind);
    let mut text = String::new();
    let mut of_entry = OfEntry::default();
    let mut seen: HashMap<String, i64> = HashMap::new();
    let mut faults = Vec::new();
    let mut broken = Vec::new();
    let mut count = 0;
    let singles: HashMap<&str, &(i64, Option<String>)> =
        said.single.iter().filter(|((k, _), _)| k == kind.name).map(|((_, t), v)| (t.as_str(), v)).collect();
    let walker = Walker::new(db, kind)?;
    let sealer = Sealer::new(shape, names).filter(|_| singles.is_empty());
    let mut sealed = Vec::new();
    // Rows up to this entry are sealed twice: as they were written, and with every revision.
    let older_until = if said.sealed.contains_key(kind.name) { said.sealed_at } else { 0 };
    let (mut then, mut older) = (String::new(), Vec::new());
    let mut q = walker.query(Order::Stored)?;
    let mut found = q.query([])?;
    while let Some(row) = found.next()? {
        // A row of a file whose digest fits: there is no more to say of it.
        if let Some(sealer) = &sealer
            && let (Ok(entry), Ok(digest)) = (row.get(walker.last + 1), row.get::<_, i64>(walker.last + 2))
            && entry > older_until
            && of_entry.is_file(entry, || said.files.get(&entry).is_some_and(|f| f.0 == kind.name))
            && sealer.write(row, &mut sealed)?
            && seal::digest(&sealed) == digest
        {
            count += 1;
            of_entry.push(entry, digest as u64);
            continue;
        }
        let mut each = |record: &Record, entry: i64, digest: i64| {
            count += 1;
            text.clear();
            record.canonical(&shape.order, &mut text);
            let real = rows::digest(&text);
            if real != digest {
                faults.push(fault(kind.name, Some(record.address()), "the row was changed outside meltkin"));
            }
            then.clear();
            if entry > older_until {
                then.push_str(&text);
            } else {
                record.canonical_as_typed(&shape.order, &mut then);
                older.push(real as u64);
            }
            let file = said.files.get(&entry).filter(|f| f.0 == kind.name);
            if file.is_some() {
                let as_written = if entry > older_until { digest } else { rows::digest(&then) };
                of_entry.push(entry, as_written as u64);
            }
            if !singles.is_empty() || file.is_none() {
                let address = if entry > older_until { record.address() } else { record.address_as_typed() };
                let key = key_of(kind.name, address);
                match singles.get(key.as_str()) {
                    Some((seq, Some(_))) if *seq != entry => {
                        let message = "the row names another journal entry than the one that wrote it";
                        faults.push(fault(kind.name, Some(record.address()), message));
                    }
                    Some((_, Some(new))) => {
                        if *new != then && real == digest {
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
        };
        walker.row(names, row, &mut each, &mut |tag, message| broken.push((tag, message)))?;
    }
    let readable = broken.is_empty();
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
    if let Some((n, wanted)) = said.sealed.get(kind.name) {
        older.extend(said.moved_on.get(kind.name).into_iter().flatten());
        let have = older.len() as u64;
        let named = faults.iter().any(|f: &Fault| f.tag.is_some());
        if journal::fold(&mut older) != *wanted && !(named && have == *n) {
            let message = format!(
                "entry {} sealed {n} rows with the revisions they refer to; what is there of them ({have}) is not that",
                said.sealed_at
            );
            faults.push(fault(kind.name, None, message));
        }
    }
    for (seq, (_, n, wanted)) in said.files.iter().filter(|(_, f)| f.0 == kind.name) {
        let mut digests = of_entry.take(*seq);
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
    Ok(readable)
}

/// The digests of rows by the entry that brought them; the rows of one file mostly follow one another.
#[derive(Default)]
struct OfEntry {
    /// Entry, digests.
    runs: Vec<(i64, Vec<u64>)>,
    last: usize,
}

impl OfEntry {
    fn at(&mut self, entry: i64) -> Option<&mut (i64, Vec<u64>)> {
        if self.runs.get(self.last).is_none_or(|r| r.0 != entry) {
            self.last = self.runs.iter().position(|r| r.0 == entry)?;
        }
        self.runs.get_mut(self.last)
    }

    fn is_file(&mut self, entry: i64, ask: impl FnOnce() -> bool) -> bool {
        // Rows written by themselves have an entry each: only files are kept here.
        self.at(entry).is_some() || ask()
    }

    fn push(&mut self, entry: i64, digest: u64) {
        match self.at(entry) {
            Some(run) => run.1.push(digest),
            None => self.runs.push((entry, vec![digest])),
        }
    }

    fn take(&mut self, entry: i64) -> Vec<u64> {
        self.at(entry).map(|run| std::mem::take(&mut run.1)).unwrap_or_default()
    }
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
    let found: Vec<(String, Option<String>)> = read::list(db, &sql, [], |r| Ok((r.get(0)?, r.get(1)?)))?;
    if found.is_empty() {
        return Ok(format!("{missing} missing, the last or first ones"));
    }
    let between: Vec<String> = found
        .into_iter()
        .map(|(a, b)| format!("between {a} and {}", b.unwrap_or_else(|| "the end".into())))
        .collect();
    Ok(format!("{missing} missing, {}", between.join(", ")))
}
