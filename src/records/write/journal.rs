//! The journal: append-only, each entry sealed by a SHA-256 over the entry and the hash before it.
//!
//! Format, checkable with public tools: `hash` is the lower-case hex SHA-256 of the previous entry's
//! `hash` (64 zeros before the first) followed by the compact JSON array
//! `[seq, at, person, action, kind, tag, old, new, reason, came]`, which is what SQLite's `json_array`
//! makes of the row. An import is one entry per file, whose `new` holds `{"rows":n,"digest":"…"}`:
//! the SHA-256 of the sixteen-digit row digests, sorted, one per line.

use rusqlite::{Connection, OptionalExtension, params};
use sha2::{Digest, Sha256};

use crate::Stamp;
use crate::Who;
use crate::error::Result;
use crate::read;
use crate::record::json_string;

/// What stands before the first entry.
pub const BEFORE_FIRST: &str = "0000000000000000000000000000000000000000000000000000000000000000";

/// One entry, as it is read.
#[derive(Clone, Debug, Default)]
pub struct Entry {
    /// Sequence number, from 1 without gaps.
    pub seq: i64,
    /// When, RFC 3339.
    pub at: String,
    /// Who, as claimed.
    pub person: Option<String>,
    /// `log`, `import`, `correct`, `undo`, `hold`, `lift`, `replace`, `refused`, `starter`, `look`, `answer`, `sign`, `pin`,
    /// `propose`, `accept`, `decline`.
    pub action: String,
    /// Kind of the record.
    pub kind: String,
    /// Tag or address of the record.
    pub tag: Option<String>,
    /// Canonical text before.
    pub old: Option<String>,
    /// Canonical text after.
    pub new: Option<String>,
    /// Why.
    pub reason: Option<String>,
    /// The entry that had written what is old.
    pub came: Option<i64>,
    /// The seal.
    pub hash: String,
}

impl Entry {
    /// It changed no record: a refusal, a look, a proposal and what was decided of it, a PIN, an answer.
    pub fn changes_nothing(&self) -> bool {
        says_something_else(&self.action)
    }

    /// The text that is sealed together with the hash before it.
    pub fn sealed_text(&self) -> String {
        let mut out = format!("[{},", self.seq);
        json_string(&self.at, &mut out);
        let action = Some(self.action.clone());
        let kind = Some(self.kind.clone());
        for part in [&self.person, &action, &kind, &self.tag, &self.old, &self.new, &self.reason] {
            out.push(',');
            match part {
                Some(text) => json_string(text, &mut out),
                None => out.push_str("null"),
            }
        }
        match self.came {
            Some(seq) => out.push_str(&format!(",{seq}]")),
            None => out.push_str(",null]"),
        }
        out
    }

    /// The seal that belongs to this entry after the hash before it.
    pub fn seal(&self, before: &str) -> String {
        let mut hasher = Sha256::new();
        hasher.update(before.as_bytes());
        hasher.update(self.sealed_text().as_bytes());
        hex32(&hasher.finalize())
    }
}

/// Actions that change a record: the row is what the last of them says. A file of rows (`import`,
/// `starter`) has an entry of another form.
const CHANGES: [&str; 8] = ["log", "correct", "undo", "hold", "lift", "replace", "sign", MIGRATE];

/// What a migration fills in, and marks as assumed: nobody changed the record.
pub const MIGRATE: &str = "migrate";

/// Actions that say something and leave the records as they are.
const OTHERS: [&str; 8] = ["refused", "look", "pin", "answer", "propose", "accept", "decline", "restore"];

/// An action that changes the record that its entry names.
pub fn changes_a_record(action: &str) -> bool {
    CHANGES.contains(&action)
}

/// An action that leaves the records as they are.
pub fn says_something_else(action: &str) -> bool {
    OTHERS.contains(&action)
}

const HEX: &[u8; 16] = b"0123456789abcdef";

/// Hex digits of a hash.
pub fn hex32(bytes: &[u8]) -> String {
    bytes.iter().flat_map(|b| [HEX[usize::from(b >> 4)] as char, HEX[usize::from(b & 15)] as char]).collect()
}

/// Sequence and hash of the newest entry.
pub fn head(db: &Connection) -> Result<(i64, String)> {
    let mut q = db.prepare_cached("SELECT seq, hash FROM journal ORDER BY seq DESC LIMIT 1")?;
    let head = q.query_row([], |r| Ok((r.get(0)?, r.get(1)?))).optional()?;
    Ok(head.unwrap_or_else(|| (0, BEFORE_FIRST.to_string())))
}

/// Appends an entry; sequence and hash are made here, and it is no earlier than the one before. Gives the sequence.
pub fn append(db: &Connection, who: &Who, mut entry: Entry) -> Result<i64> {
    let (seq, before) = head(db)?;
    entry.seq = seq + 1;
    entry.at = crate::file::clock::later(db, who.now)?.to_string();
    entry.person.clone_from(&who.person);
    entry.hash = entry.seal(&before);
    db.prepare_cached("INSERT INTO journal VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11)")?.execute(
        params![
            entry.seq,
            entry.at,
            entry.person,
            entry.action,
            entry.kind,
            entry.tag,
            entry.old,
            entry.new,
            entry.reason,
            entry.came,
            entry.hash
        ],
    )?;
    Ok(entry.seq)
}

/// Reads an entry of `SELECT * FROM journal`.
///
/// # Errors
/// A column has the wrong type.
pub fn from_row(r: &rusqlite::Row) -> rusqlite::Result<Entry> {
    Ok(Entry {
        seq: r.get(0)?,
        at: r.get(1)?,
        person: r.get(2)?,
        action: r.get(3)?,
        kind: r.get(4)?,
        tag: r.get(5)?,
        old: r.get(6)?,
        new: r.get(7)?,
        reason: r.get(8)?,
        came: r.get(9)?,
        hash: r.get(10)?,
    })
}

/// Every entry of one record, oldest first.
pub fn of_record(db: &Connection, kind: &str, tag: &str) -> Result<Vec<Entry>> {
    let mut all: Vec<Entry> = read::list(
        db,
        "SELECT * FROM journal WHERE tag = ?1 COLLATE NOCASE AND kind = ?2 ORDER BY seq",
        [tag, kind],
        from_row,
    )?;
    // Tags are the same whatever their case; other keys are as they were written.
    if !crate::catalogue::kind(kind).is_some_and(|k| k.tagged() && !k.revisioned) {
        all.retain(|e| e.tag.as_deref() == Some(tag));
    }
    Ok(all)
}

/// An entry by its sequence.
pub fn by_seq(db: &Connection, seq: i64) -> Result<Option<Entry>> {
    Ok(db.prepare_cached("SELECT * FROM journal WHERE seq = ?1")?.query_row([seq], from_row).optional()?)
}

/// The digest of a file of rows: SHA-256 over the sorted row digests in hex, one per line.
pub fn fold(digests: &mut [u64]) -> String {
    digests.sort_unstable();
    let mut hasher = Sha256::new();
    let mut block = Vec::with_capacity(17 * 512);
    for part in digests.chunks(512) {
        block.clear();
        for &d in part {
            for shift in (0..16).rev() {
                block.push(HEX[(d >> (4 * shift)) as usize & 15]);
            }
            block.push(b'\n');
        }
        hasher.update(&block);
    }
    hex32(&hasher.finalize())
}

/// Parses the time of an entry.
pub fn at(entry: &Entry) -> Option<Stamp> {
    Stamp::parse(&entry.at).ok()
}
