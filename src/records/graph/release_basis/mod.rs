//! What a release stands on: every record that the lot's blades descend from or refer to, and what hangs
//! on those. It follows from the catalogue, with the few rules in [`rules`].

pub(crate) mod bounds;
pub(crate) mod changes;
pub(crate) mod collect;
pub(crate) mod pourers;
pub(crate) mod returns;
pub mod rules;
pub(crate) mod signed;

use std::collections::{BTreeSet, HashMap};
use std::ops::Range;

use rusqlite::Connection;
use sha2::{Digest, Sha256};

use crate::Store;
use crate::catalogue::{Field, KindType, People};
use crate::error::Result;
use crate::read::rows::Link;
use crate::write::journal;
use crate::{Record, catalogue};

pub use crate::graph::release_basis::bounds::{Check, Reading};
pub use crate::graph::release_basis::changes::{Change, Changes};
pub use crate::graph::release_basis::returns::{Returned, left_by_return};
pub use crate::graph::release_basis::signed::{Bound, Signed, stands};

/// The rules by which signatures are made today. 1: a list of kinds; 2: from the catalogue, concessions by their items;
/// 3: samples by the switching rules.
pub const RULES: i64 = 3;

/// The first rules under which the words of a concession lifted nothing.
pub const ITEMS_RULES: i64 = 2;

/// A record behind a lot.
#[derive(Clone, Debug)]
pub struct Row {
    pub kind: &'static str,
    /// Its id, where it has one.
    pub id: Option<i64>,
    pub record: Record<'static>,
    /// What its fields refer to, by position of the field.
    pub links: Vec<(usize, Link)>,
    /// The journal entry that wrote it last.
    pub entry: i64,
    /// First bytes of the SHA-256 of its canonical text.
    pub digest: i64,
}

impl Row {
    /// What a field refers to; none where it is blank, or the record of another kind.
    pub fn leads_to<K: KindType, T, P>(&self, field: Field<K, T, P>) -> Option<Link> {
        let mut links = self.links.iter().filter(|_| self.record.kind.is::<K>());
        links.find(|(i, _)| *i == field.index).map(|(_, l)| *l)
    }

    /// As [`Row::leads_to`], the id alone.
    pub fn id_of<K: KindType, T, P>(&self, field: Field<K, T, P>) -> Option<i64> {
        self.leads_to(field).map(|l| l.id)
    }
}

/// Everything behind a lot.
#[derive(Debug, Default)]
pub struct Behind {
    /// The records, those of a kind together.
    pub rows: Vec<Row>,
    /// Records that would stand here too, were they not later than what was asked for.
    late: Vec<Row>,
    /// SHA-256 over it all.
    pub content: String,
    /// Where the rows of each kind stand.
    of_kind: HashMap<&'static str, Range<usize>>,
    /// Where the row with an id stands.
    by_id: HashMap<(&'static str, i64), usize>,
    /// The lot: its id and its tag.
    lot_id: i64,
    lot: String,
    /// Readings by instrument, and all checks of these instruments.
    bounds: bounds::CheckBounds,
    /// Until when the checks of each pot count, by its tag.
    pots: HashMap<String, i64>,
    /// Methods that each person read, with the last day, by tags.
    read: HashMap<(String, String), String>,
}

impl Behind {
    /// The records of one kind.
    pub fn of(&self, kind: &str) -> impl Iterator<Item = &Row> {
        self.rows[self.of_kind.get(kind).cloned().unwrap_or(0..0)].iter()
    }

    /// The record of a kind with an id.
    pub fn row(&self, kind: &str, id: i64) -> Option<&Row> {
        let kind = catalogue::kind(kind)?.name;
        self.by_id.get(&(kind, id)).map(|&at| &self.rows[at])
    }

    /// Something here came on record, or was changed, after a journal entry.
    fn any_after(&self, seq: i64) -> bool {
        self.rows.iter().any(|r| r.entry > seq && r.kind != People::NAME)
    }

    fn digest(&self) -> String {
        let line = |r: &Row| match r.record.of::<People>() {
            // Who somebody is; what is noted of them has no bearing.
            Some(person) => format!("people {} {}\n", r.record.address(), person.text(People::role)),
            None => format!("{} {} {:016x}\n", r.kind, r.record.address(), r.digest),
        };
        let lines: BTreeSet<String> = self.rows.iter().map(line).collect();
        let mut hasher = Sha256::new();
        lines.iter().for_each(|l| hasher.update(l.as_bytes()));
        journal::hex32(&hasher.finalize())
    }
}

impl Store {
    /// Every record behind a lot, and the digest of it all.
    pub fn behind_lot(&self, lot: i64) -> Result<Behind> {
        behind(&self.db, lot, i64::MAX)
    }
}

/// What stands behind a lot by the records that were there at a journal entry, and were not changed since.
fn behind(db: &Connection, lot: i64, until: i64) -> Result<Behind> {
    let mut out = collect::collect(db, lot, until)?;
    out.content = out.digest();
    Ok(out)
}
