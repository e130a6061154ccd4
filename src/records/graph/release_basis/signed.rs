//! Signatures on a record: which were made by signing here, what they are bound to, and whether they stand.

use rusqlite::Connection;

use crate::Stamp;
use crate::catalogue::{Lots, Meaning, Signatures};
use crate::error::Result;
use crate::read::{rows, shape};
use crate::value::tag::in_order;
use crate::write::journal;
use crate::{Store, write};

use crate::graph::release_basis::{Changes, behind, changes, collect};

/// A signature on a record.
#[derive(Clone, Debug)]
pub struct Signed {
    /// Who.
    pub person: String,
    /// As what.
    pub role: String,
    /// For what.
    pub meaning: String,
    /// When.
    pub at: Stamp,
    /// It was made by signing in this store: its journal entry says so, for exactly this text. One that was
    /// typed in, imported or changed is history.
    pub genuine: bool,
    /// The journal entry that wrote it.
    pub entry: i64,
    /// What it is bound to.
    pub bound: Option<Bound>,
}

/// What a signature is bound to, as its note says.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Bound {
    /// The rules that it was made under.
    pub rules: i64,
    /// SHA-256 of what was signed.
    pub content: String,
    /// The newest journal entry when it was signed.
    pub seq: i64,
    /// Its hash.
    pub head: String,
    /// `PIN given` or `name as claimed`.
    pub proof: String,
}

impl Bound {
    /// As it stands in a note.
    pub fn note(&self) -> String {
        let Self { rules, content, seq, head, proof } = self;
        format!("rules {rules}; content {content}; journal entry {seq} {head}; {proof}")
    }

    /// Reads a note. One that names no rules was made under the first.
    pub fn read(note: &str) -> Option<Self> {
        let (rules, rest) = match note.strip_prefix("rules ") {
            Some(rest) => rest.split_once("; ").and_then(|(n, rest)| Some((n.parse().ok()?, rest)))?,
            None => (1, note),
        };
        let mut parts = rest.splitn(3, "; ");
        let content = parts.next()?.strip_prefix("content ")?.to_string();
        let (seq, head) = parts.next()?.strip_prefix("journal entry ")?.split_once(' ')?;
        let seq = seq.parse().ok()?;
        Some(Self { rules, content, seq, head: head.into(), proof: parts.next()?.into() })
    }
}

/// Signatures on a record, in the order in which they were written.
pub(crate) fn on(db: &Connection, kind: &str, id: i64) -> Result<Vec<Signed>> {
    let subject = rows::named_kind(kind)?;
    let condition =
        format!("subject_kind = '{}' AND subject_id IN (SELECT value FROM json_each(?1))", subject.name);
    let mut rows = collect::read_rows(db, Signatures::KIND, &condition, &[id].into())?;
    rows.sort_by_cached_key(|r| (r.entry, r.record.own_time().map(Stamp::ms), in_order(&r.record.address())));
    let mut out = Vec::new();
    for row in &rows {
        let Some(r) = row.record.of::<Signatures>() else { continue };
        let text = write::canonical(shape::of(Signatures::KIND), &row.record);
        let wrote = journal::by_seq(db, row.entry)?;
        let signed = |e: &journal::Entry| e.action == "sign" && e.new.as_deref() == Some(text.as_str());
        out.push(Signed {
            person: r.text(Signatures::person),
            role: r.text(Signatures::role),
            meaning: r.text(Signatures::meaning),
            at: r.need(Signatures::signed_at)?,
            genuine: wrote.as_ref().is_some_and(signed),
            entry: row.entry,
            bound: row.record.note().and_then(Bound::read),
        });
    }
    Ok(out)
}

impl Signed {
    /// A release that was signed here.
    pub fn releases(&self) -> bool {
        self.genuine && self.meaning == Meaning::Released.word()
    }
}

/// The last release of a lot that was signed here.
pub(crate) fn release(all: &[Signed]) -> Option<(&Signed, &Bound)> {
    let last = all.iter().rev().find(|s| s.releases())?;
    Some((last, last.bound.as_ref()?))
}

/// The journal entry of the first release of a lot that was signed here.
pub(crate) fn first_release(all: &[Signed]) -> Option<i64> {
    all.iter().find(|s| s.releases()).map(|s| s.entry)
}

/// A lot was released here, and nothing that it stands on was changed since. What blocks it by other reasons
/// (a file that is gone, a blade that was shipped though scrapped) is for its summary.
pub fn stands(db: &Connection, lot: i64) -> Result<bool> {
    let all = on(db, Lots::NAME, lot)?;
    let Some((_, bound)) = release(&all) else { return Ok(false) };
    if journal::by_seq(db, bound.seq)?.is_none_or(|e| e.hash != bound.head) {
        return Ok(false);
    }
    let behind = behind(db, lot, i64::MAX)?;
    Ok(changes::since(db, &behind, bound)?.void.is_empty())
}

impl Store {
    /// Signatures on a record, in the order in which they were written.
    pub fn signatures_on(&self, kind: &str, id: i64) -> Result<Vec<Signed>> {
        on(&self.db, kind, id)
    }

    /// What was changed behind a lot since a signature.
    pub fn changed_since(
        &self,
        behind: &crate::graph::release_basis::Behind,
        bound: &Bound,
    ) -> Result<Changes> {
        changes::since(&self.db, behind, bound)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_note_says_the_rules_and_one_without_them_is_of_the_first() {
        let bound =
            Bound { rules: 2, content: "ab".into(), seq: 7, head: "cd".into(), proof: "PIN given".into() };
        assert_eq!(bound.note(), "rules 2; content ab; journal entry 7 cd; PIN given");
        assert_eq!(Bound::read(&bound.note()), Some(bound.clone()));
        let old = Bound::read("content ab; journal entry 7 cd; PIN given");
        assert_eq!(old, Some(Bound { rules: 1, ..bound }));
        assert_eq!(Bound::read("seen at the bench"), None);
        assert_eq!(Bound::read("rules x; content ab; journal entry 7 cd; y"), None);
    }
}
