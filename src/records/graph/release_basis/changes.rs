//! What was changed behind a lot after a journal entry. A change counts where the record stands behind the lot after
//! it or stood there before it: each entry's old and new text is asked whether it belongs to what stands there and was
//! not changed since. That finds what was moved in, moved out or taken back as well: of the records that lead from the
//! lot to it the first one that was changed hangs on one that was not, or is referred to by it.

use std::collections::{BTreeMap, HashMap, HashSet};

use rusqlite::Connection;

use crate::catalogue::field::Type;
use crate::catalogue::kind::Kind;
use crate::catalogue::{
    Blades, Calibrations, Inspections, LotBlades, People, ProcessLimits, Qualifications, Retags, SlurryChecks,
};
use crate::error::Result;
use crate::read;
use crate::read::rows;
use crate::write::journal;
use crate::write::journal::Entry;
use crate::{Stamp, catalogue};

use crate::graph::release_basis::bounds::Check;
use crate::graph::release_basis::collect;
use crate::graph::release_basis::collect::Roots;
use crate::graph::release_basis::rules::{FIRST_RULES, HANGS, ON_ANY, Which};
use crate::graph::release_basis::{Behind, Bound, Returned, Row, returns};

/// A change of a record behind a lot.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Change {
    /// Its kind, in words.
    pub noun: &'static str,
    /// Tag or address.
    pub address: String,
    /// It is no longer there.
    pub gone: bool,
    /// The journal entry.
    pub entry: i64,
}

impl Change {
    /// As it is said.
    pub fn words(&self) -> String {
        let gone = if self.gone { " taken back" } else { "" };
        format!("{} {}{gone} (journal entry {})", self.noun, self.address, self.entry)
    }
}

/// What was changed since a signature.
#[derive(Clone, Debug, Default)]
pub struct Changes {
    /// Makes the release void.
    pub void: Vec<Change>,
    /// Of blades that came back, later than their return.
    pub after_shipment: Vec<Change>,
    /// Nothing was changed, and yet the content is another one.
    pub unexplained: bool,
}

/// Fields of a canonical text.
type Fields = HashMap<String, String>;

fn fields(text: &str) -> Fields {
    text.split_once(' ').and_then(|(_, json)| serde_json::from_str(json).ok()).unwrap_or_default()
}

const SINGLE: &str = "SELECT * FROM journal WHERE seq > ?1 AND tag IS NOT NULL ORDER BY seq";
const CHECKS: &str =
    "SELECT * FROM journal WHERE seq > ?1 AND kind = 'calibrations' AND tag IS NOT NULL ORDER BY seq";
const FILES: &str = "SELECT seq FROM journal WHERE seq > ?1 AND action IN ('import', 'starter')";

/// What was changed since a signature was made.
pub(crate) fn since(db: &Connection, behind: &Behind, bound: &Bound) -> Result<Changes> {
    let unchanged = match behind.any_after(bound.seq) {
        true => Some(crate::graph::release_basis::behind(db, behind.lot_id, bound.seq)?),
        false => None,
    };
    let then = unchanged.as_ref().unwrap_or(behind);
    let mut asked = Asked::new(db, then, behind, bound)?;
    let checks: Vec<Entry> = read::list(db, CHECKS, [bound.seq], journal::from_row)?;
    asked.checks_then(&checks)?;
    let mut q = db.prepare_cached(SINGLE)?;
    for entry in q.query_map([bound.seq], journal::from_row)? {
        asked.entry(&entry?)?;
    }
    let files: HashSet<i64> = read::list(db, FILES, [bound.seq], |r| r.get(0))?;
    asked.files(&files);
    let mut out = asked.out;
    // By the first rules it was bound to other records; what they came to is told by the journal alone.
    out.unexplained = out.void.is_empty() && bound.rules >= 2 && then.content != bound.content;
    Ok(out)
}

struct Asked<'a> {
    db: &'a Connection,
    /// What stands behind the lot and was not changed since.
    behind: &'a Behind,
    /// All checks of the instruments, as they are now.
    checks: &'a BTreeMap<String, Vec<Check>>,
    seq: i64,
    first_rules: bool,
    /// Tags of what stands behind the lot, by kind; definitions with their revision.
    tags: HashMap<&'static str, HashSet<String>>,
    /// All of them, without revisions.
    all: HashSet<String>,
    kinds: HashSet<String>,
    roots: Roots,
    /// Checks of each instrument when it was signed.
    then: BTreeMap<String, Vec<Check>>,
    /// Blades that came back after it was signed.
    back: HashMap<String, Returned>,
    /// Inspections of these blades: of which, and whether they are later than its return.
    seen: HashMap<String, (String, bool)>,
    out: Changes,
}

/// A tag as it is compared; a definition with its revision, which may be blank.
fn key(kind: &Kind, tag: &str, revision: Option<&str>) -> String {
    let tag = tag.to_ascii_lowercase();
    match (kind.revisioned, tag.contains('@')) {
        (true, false) => format!("{tag}@{}", revision.unwrap_or("").to_ascii_lowercase()),
        _ => tag,
    }
}

impl<'a> Asked<'a> {
    fn new(db: &'a Connection, behind: &'a Behind, now: &'a Behind, bound: &Bound) -> Result<Self> {
        let mut tags: HashMap<&'static str, HashSet<String>> = HashMap::new();
        let there = || behind.rows.iter().chain(&behind.late);
        for row in there().filter(|r| r.record.kind.tagged()) {
            tags.entry(row.kind).or_default().insert(key(row.record.kind, &row.record.address(), None));
        }
        let mut back: HashMap<String, Returned> = HashMap::new();
        let returned = returns::after_release(db, behind.lot_id)?;
        for r in &returned {
            let first = back.entry(r.tag.to_ascii_lowercase()).or_insert_with(|| r.clone());
            if r.entry < first.entry {
                *first = r.clone();
            }
        }
        let retags = collect::read_rows(db, Retags::KIND, "?1 IS NOT NULL", &[].into())?;
        let mut out = Self {
            db,
            behind,
            checks: &now.bounds.checks,
            seq: bound.seq,
            first_rules: bound.rules < 2,
            tags,
            all: collect::tags_of(there()),
            kinds: there().map(|r| r.kind.to_string()).collect(),
            roots: Roots::of(retags.iter().filter_map(|r| r.record.of())),
            then: BTreeMap::new(),
            back,
            seen: HashMap::new(),
            out: Changes::default(),
        };
        for row in there().filter(|r| r.kind == Inspections::NAME) {
            out.note_inspection(&of_row(row), row.entry, None);
        }
        Ok(out)
    }

    /// The checks of instruments as they were when it was signed.
    fn checks_then(&mut self, entries: &[Entry]) -> Result<()> {
        for (instrument, checks) in self.checks {
            let old = checks.iter().filter(|c| c.entry <= self.seq).cloned();
            self.then.entry(instrument.clone()).or_default().extend(old);
        }
        for entry in entries {
            if let (Some(old), true) = (&entry.old, entry.came.is_some_and(|c| c <= self.seq)) {
                let (instrument, check) = self.check(old, entry)?;
                self.then.entry(instrument).or_default().extend(check);
            }
        }
        self.then.values_mut().for_each(|c| c.sort_by_key(|c| (c.at, c.entry)));
        Ok(())
    }

    fn check(&self, text: &str, entry: &Entry) -> Result<(String, Option<Check>)> {
        let record = rows::from_canonical(text, &read::own_fields(self.db)?)?;
        let instrument = record.of::<Calibrations>().map(|c| c.text(Calibrations::instrument));
        Ok((instrument.unwrap_or_default().to_ascii_lowercase(), Check::of(&record, entry.seq, 0)))
    }

    fn counts(&self, kind: &Kind) -> bool {
        !self.first_rules || FIRST_RULES.contains(&kind.name)
    }

    fn entry(&mut self, entry: &Entry) -> Result<()> {
        let Some(kind) = catalogue::kind(&entry.kind).filter(|k| self.counts(k)) else { return Ok(()) };
        // What a migration filled in is no change that anybody made.
        if !journal::changes_a_record(&entry.action) || entry.action == journal::MIGRATE {
            return Ok(());
        }
        let address = entry.tag.clone().unwrap_or_default();
        let belongs = if kind.is::<Calibrations>() {
            self.spoiling(entry)?
        } else if !carried(kind) && !kind.is::<People>() {
            // It hangs on nothing: what it says need not be read.
            self.has(kind, &address)
        } else {
            let of = |text: &Option<String>| text.as_deref().map(fields);
            let (old, new) = (of(&entry.old), of(&entry.new));
            if kind.is::<People>() && old.as_ref().zip(new.as_ref()).is_some_and(|(a, b)| only_noted(a, b)) {
                return Ok(());
            }
            if let (Some(new), Inspections::NAME) = (&new, kind.name) {
                self.note_inspection(new, entry.seq, entry.came);
            }
            let texts: Vec<&Fields> = old.iter().chain(&new).collect();
            let inside = self.has(kind, &address) || texts.iter().any(|t| self.hangs(kind, t));
            if inside && texts.iter().all(|t| self.after_return(kind, t, entry.seq, entry.came)) {
                self.out.after_shipment.push(change(kind, address, entry.new.is_none(), entry.seq));
                return Ok(());
            }
            inside
        };
        if belongs {
            self.out.void.push(change(kind, address, entry.new.is_none(), entry.seq));
        }
        Ok(())
    }

    /// Rows of files that came in since.
    fn files(&mut self, files: &HashSet<i64>) {
        for row in self.behind.late.iter().filter(|r| files.contains(&r.entry)) {
            let kind = row.record.kind;
            if kind.is::<Calibrations>() || !self.counts(kind) {
                continue;
            }
            let found = change(kind, row.record.address(), false, row.entry);
            if self.after_return(kind, &of_row(row), row.entry, None) {
                self.out.after_shipment.push(found);
            } else {
                self.out.void.push(found);
            }
        }
        for (instrument, checks) in self.checks {
            for check in checks.iter().filter(|c| files.contains(&c.entry)) {
                if self.behind.bounds.spoils(instrument, check, checks) {
                    let address = check.address.clone();
                    self.out.void.push(change(Calibrations::KIND, address, false, check.entry));
                }
            }
        }
    }

    fn has(&self, kind: &Kind, address: &str) -> bool {
        kind.tagged() && self.tags.get(kind.name).is_some_and(|t| t.contains(&key(kind, address, None)))
    }

    /// A record with these fields hangs on what stands behind the lot.
    fn hangs(&self, kind: &'static Kind, text: &Fields) -> bool {
        let get = |f: &str| text.get(f).map_or("", String::as_str);
        match kind.name {
            Retags::NAME => return self.roots.lead_to(get(Retags::old_tag.name), &self.all),
            ProcessLimits::NAME => {
                let scope = get(ProcessLimits::scope.name);
                let scope = scope.split('@').next().unwrap_or("").to_ascii_lowercase();
                let kind = self.kinds.contains(get(ProcessLimits::record.name));
                return kind && (scope.is_empty() || self.all.contains(&scope));
            }
            _ => {}
        }
        if let Some((_, field)) = ON_ANY.iter().find(|(k, _)| *k == kind.name) {
            let subject = get(field);
            let tag = subject.split('@').next().unwrap_or("").to_ascii_lowercase();
            return self.all.contains(&tag) || self.all.contains(&subject.to_ascii_lowercase());
        }
        // The row that puts a blade into the lot leads to it, and not the other way round.
        if kind.is::<LotBlades>() {
            return get(LotBlades::lot.name).eq_ignore_ascii_case(&self.behind.lot);
        }
        HANGS.iter().filter(|h| std::ptr::eq(h.kind, kind)).any(|h| {
            let apart = kind.fields.iter().find(|f| f.ty == Type::RevisionOf(h.field));
            let named = key(h.owner, get(h.field), apart.map(|f| get(f.name)));
            if !self.tags.get(h.owner.name).is_some_and(|t| t.contains(&named)) {
                return false;
            }
            match h.which {
                Which::All | Which::ThatBoundAReading | Which::OfTheLot => true,
                Which::ToTheCheckAfterTheLastCoat => {
                    let until = self.behind.pots.get(&named);
                    let at = get(SlurryChecks::occurred_at.name);
                    let at = Stamp::parse(at).map_or(i64::MIN, Stamp::ms);
                    until.is_some_and(|until| at <= *until)
                }
                Which::OfTheMethodsRead => {
                    let method = get(Qualifications::method.name).to_string();
                    let read = self.behind.read.get(&(named, method));
                    read.is_some_and(|last| get(Qualifications::from_on.name) <= last.as_str())
                }
            }
        })
    }

    /// A check of an instrument that counts: one that bounded a reading when it was signed and was changed since, or
    /// one that came since and makes a reading suspect or overdue.
    fn spoiling(&self, entry: &Entry) -> Result<bool> {
        let there = entry.came.is_some_and(|c| c <= self.seq);
        let bounds = &self.behind.bounds;
        let others = |map: &BTreeMap<String, Vec<Check>>, i: &str| map.get(i).cloned().unwrap_or_default();
        for (text, old) in [(&entry.old, true), (&entry.new, false)] {
            let Some(text) = text else { continue };
            let (instrument, Some(check)) = self.check(text, entry)? else { continue };
            let counts = match (there, old) {
                (true, true) => bounds.bounds(&instrument, &check, &others(&self.then, &instrument)),
                (true, false) => bounds.bounds(&instrument, &check, &others(self.checks, &instrument)),
                (false, _) => bounds.spoils(&instrument, &check, &others(self.checks, &instrument)),
            };
            if counts {
                return Ok(true);
            }
        }
        Ok(false)
    }

    fn note_inspection(&mut self, text: &Fields, entry: i64, came: Option<i64>) {
        let get = |f: &str| text.get(f).cloned().unwrap_or_default().to_ascii_lowercase();
        let blade = get(Inspections::blade.name);
        if let Some(back) = self.back.get(&blade) {
            let later = later(back, text.get(Inspections::inspected_at.name), entry, came);
            self.seen.insert(get(Inspections::inspection.name), (blade, later));
        }
    }

    /// The record is of a blade that came back, and came on record after that.
    fn after_return(&self, kind: &Kind, text: &Fields, entry: i64, came: Option<i64>) -> bool {
        let get = |f: &str| text.get(f).cloned().unwrap_or_default().to_ascii_lowercase();
        let of_inspection =
            |tag: String| self.seen.get(&tag).filter(|(_, later)| *later).map(|(b, _)| b.clone());
        let blade = match after_a_return(kind) {
            Some((Of::Blade, field)) => Some(get(field)),
            Some((Of::Inspection, field)) => of_inspection(get(field)),
            Some((Of::Either, field)) => of_inspection(get(field)).or(Some(get(field))),
            None => None,
        };
        let Some(back) = blade.and_then(|b| self.back.get(&b)) else { return false };
        let time = kind.time.map(|f| text.get(f).cloned().unwrap_or_default());
        later(back, time.as_ref(), entry, came)
    }
}

/// Records of this kind can hang on others.
fn carried(kind: &Kind) -> bool {
    matches!(kind.name, Retags::NAME | ProcessLimits::NAME)
        || ON_ANY.iter().any(|(k, _)| *k == kind.name)
        || HANGS.iter().any(|h| std::ptr::eq(h.kind, kind))
}

/// Of what a record of a kind is that may come after a return and leaves the release before it as it is.
#[derive(Clone, Copy)]
enum Of {
    Blade,
    Inspection,
    /// A subject of any kind.
    Either,
}

/// Records that may come after a return: those of the blade, of its inspections, and what hangs on either; the field
/// that says of which.
fn after_a_return(kind: &Kind) -> Option<(Of, &'static str)> {
    if let Some((_, field)) = ON_ANY.iter().find(|(k, _)| *k == kind.name) {
        return Some((Of::Either, field));
    }
    let hangs = HANGS.iter().filter(|h| std::ptr::eq(h.kind, kind) && h.which == Which::All);
    hangs.clone().find_map(|h| match h.owner.name {
        Blades::NAME => Some((Of::Blade, h.field)),
        Inspections::NAME => Some((Of::Inspection, h.field)),
        _ => None,
    })
}

/// On record after the return, and by its own time not before it.
fn later(back: &Returned, time: Option<&String>, entry: i64, came: Option<i64>) -> bool {
    let at = time.is_none_or(|t| Stamp::parse(t).is_ok_and(|t| t.ms() >= back.at));
    at && entry > back.entry && came.is_none_or(|c| c > back.entry)
}

fn change(kind: &'static Kind, address: String, gone: bool, entry: i64) -> Change {
    Change { noun: kind.noun, address, gone, entry }
}

fn only_noted(old: &Fields, new: &Fields) -> bool {
    let rest = |f: &Fields| {
        f.iter()
            .filter(|(k, _)| *k != People::note.name)
            .map(|(k, v)| (k.clone(), v.clone()))
            .collect::<BTreeMap<_, _>>()
    };
    rest(old) == rest(new)
}

/// The fields of a row, as its canonical text would have them.
fn of_row(row: &Row) -> Fields {
    row.record
        .kind
        .all_fields()
        .zip(&row.record.values)
        .filter(|(_, v)| !v.is_blank())
        .map(|(f, v)| (f.name.to_string(), v.to_text()))
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Whoever binds a release to one more kind says here too whether its later rows leave a release as it is.
    #[test]
    fn what_may_come_after_a_return() {
        let free: Vec<&str> =
            catalogue::all().filter(|k| after_a_return(k).is_some()).map(|k| k.name).collect();
        let listed = [
            "finish_steps",
            "treatment_loads",
            "inspections",
            "findings",
            "measurements",
            "dispositions",
            "holds",
            "attachments",
            "samples",
        ];
        assert_eq!(free, listed);
    }
}
