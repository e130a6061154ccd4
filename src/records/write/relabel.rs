//! A new label that another record has: refused between kinds, asked for within one, and open until the other half of the
//! swap is there.

use std::collections::{BTreeMap, HashMap};

use rusqlite::Connection;

use crate::Store;
use crate::catalogue::{AnyField, Retags};
use crate::check::{Fault, Guard};
use crate::error::Result;
use crate::read;
use crate::read::rows;
use crate::read::tags::Tags;
use crate::value::tag::folded;
use crate::{Record, Stamp, catalogue};

/// A record by its kind and its own tag: all revisions of a definition are one.
type Named = (&'static str, String);

/// One re-tag, as far as labels go.
#[derive(Clone, Debug)]
pub struct Relabelled {
    /// The tag or label before.
    pub old: String,
    /// The new label.
    pub new: String,
    /// When.
    pub at: Stamp,
}

/// A record that has the new label of another one.
struct Owner {
    record: Named,
    /// It is its own tag, or a label that it was given.
    own_tag: bool,
}

impl Owner {
    fn sentence(&self, label: &str) -> String {
        let what = if self.own_tag { "tag" } else { "label" };
        format!("{label} is the {what} of {}", said(&self.record))
    }
}

fn said((kind, tag): &Named) -> String {
    rows::named(catalogue::kind(kind).map_or("record", |k| k.noun), tag)
}

/// The record that a tag leads to.
fn record_of(tags: &Tags, text: &str) -> Result<Option<Named>> {
    let found = tags.anything(text)?;
    Ok(found.map(|(link, primary)| match primary.rsplit_once('@') {
        Some((tag, _)) if catalogue::kind(link.kind).is_some_and(|k| k.revisioned) => (link.kind, tag.into()),
        _ => (link.kind, primary),
    }))
}

/// The records that have this label now, other than the one that gets it.
fn owners(tags: &Tags, label: &str, of: &Named) -> Result<Vec<Owner>> {
    let mut out = Vec::new();
    if let Some(record) = tags.owner(label, of.0)?.filter(|r| r != of) {
        out.push(Owner { record, own_tag: true });
    }
    let mut given = read(tags.db(), Retags::new_tag.any(), label)?;
    given.extend_from_slice(tags.ahead(label, false));
    for row in given {
        let Some(record) = record_of(tags, &row.old)?.filter(|r| r != of) else { continue };
        let later = |r: &Relabelled| r.at.ms() > row.at.ms() && folded(&r.new) != folded(label);
        let gone = by_old(tags, &record.1)?.iter().any(later) || by_old(tags, label)?.iter().any(later);
        if !gone && out.iter().all(|o| o.record != record) {
            out.push(Owner { record, own_tag: false });
        }
    }
    Ok(out)
}

/// The re-tags whose old tag this is, on record and in the files being read.
fn by_old(tags: &Tags, old: &str) -> Result<Vec<Relabelled>> {
    let mut all = read(tags.db(), Retags::old_tag.any(), old)?;
    all.extend_from_slice(tags.ahead(old, true));
    Ok(all)
}

fn read(db: &Connection, by: AnyField<Retags>, tag: &str) -> Result<Vec<Relabelled>> {
    let sql =
        format!("SELECT old_tag, new_tag, changed_at FROM retags WHERE \"{}\" = ?1 COLLATE NOCASE", by.name);
    read::list(db, &sql, [tag], relabelled)
}

fn relabelled(r: &rusqlite::Row) -> rusqlite::Result<Relabelled> {
    Ok(Relabelled { old: r.get(0)?, new: r.get(1)?, at: Stamp::from_packed(r.get(2)?) })
}

/// The owners of a new label that a re-tag would take, but for the other halves of its swap.
fn clashes(tags: &Tags, record: &Record) -> Result<Vec<(Named, Owner)>> {
    let Some(retag) = record.of::<Retags>() else { return Ok(Vec::new()) };
    let (old, new) = (retag.text(Retags::old_tag), retag.text(Retags::new_tag));
    let Some(of) = record_of(tags, &old)? else { return Ok(Vec::new()) };
    let at = retag.get(Retags::changed_at).map(Stamp::ms);
    let mut out = Vec::new();
    for owner in owners(tags, &new, &of)? {
        let half = |r: &Relabelled| Some(r.at.ms()) == at && folded(&r.new) != folded(&new);
        let swapped = owner.record.0 == of.0
            && (by_old(tags, &owner.record.1)?.iter().any(half) || by_old(tags, &new)?.iter().any(half));
        if !swapped {
            out.push((of.clone(), owner));
        }
    }
    Ok(out)
}

fn new_tag(record: &Record) -> String {
    record.of::<Retags>().map_or(String::new(), |retag| retag.text(Retags::new_tag))
}

/// A label of another kind is refused.
pub fn faults(tags: &Tags, record: &Record) -> Result<Vec<Fault>> {
    let new = new_tag(record);
    let other = clashes(tags, record)?.into_iter().filter(|(of, owner)| of.0 != owner.record.0);
    let fault = |(of, owner): (Named, Owner)| {
        let message = format!(
            "{}; a label leads to one kind of record, and {} is another",
            owner.sentence(&new),
            said(&of)
        );
        Fault::new(Retags::new_tag.name, &new, message)
    };
    Ok(other.map(fault).collect())
}

/// A label that a record of the same kind has is given with a reason only.
pub fn guards(tags: &Tags, record: &Record) -> Result<Vec<Guard>> {
    let new = new_tag(record);
    let same = clashes(tags, record)?.into_iter().filter(|(of, owner)| of.0 == owner.record.0);
    let guard = |(_, owner): (Named, Owner)| {
        let message = format!(
            "{}; in a swap the other half is a re-tag of {} at the same time",
            owner.sentence(&new),
            owner.record.1
        );
        Guard::asks(Retags::new_tag.name, message)
    };
    Ok(same.map(guard).collect())
}

impl Store {
    /// Labels that two records have now: half a swap of which the other half is not there.
    pub fn half_swaps(&self) -> Result<Vec<String>> {
        let mut all: Vec<_> =
            read::list(&self.db, "SELECT old_tag, new_tag, changed_at FROM retags", [], relabelled)?;
        all.sort_by_key(|r| r.at.ms());
        let tags = Tags::new(&self.db)?;
        let mut of: BTreeMap<Named, Vec<Relabelled>> = BTreeMap::new();
        for row in all {
            if let Some(record) = record_of(&tags, &row.old)? {
                of.entry(record).or_default().push(row);
            }
        }
        // The records that have a label now, by the label.
        let mut holders: HashMap<String, Vec<&Named>> = HashMap::new();
        for (record, rows) in &of {
            if let Some(last) = rows.last() {
                holders.entry(folded(&last.new)).or_default().push(record);
            }
        }
        let mut out = Vec::new();
        for (record, rows) in &of {
            let Some(last) = rows.last() else { continue };
            let label = folded(&last.new);
            let mut others: Vec<Named> = Vec::new();
            // Its own tag is still the label of the other one where it was given none.
            let own = tags.owner(&last.new, record.0)?;
            others.extend(own.filter(|o| o != record && !of.contains_key(o)));
            // Of two that were given it, the later one is named.
            let when = |r: &Named| of.get(r).and_then(|rows| rows.last()).map(|r| r.at.ms());
            let rest = holders.get(&label).into_iter().flatten().copied();
            others.extend(rest.filter(|o| (when(o), *o) < (Some(last.at.ms()), record)).cloned());
            let at_that_time = |o: &Named| {
                let half = |r: &Relabelled| r.at.ms() == last.at.ms() && folded(&r.new) != label;
                of.get(o).is_some_and(|rows| rows.iter().any(half))
            };
            for other in others.iter().filter(|o| !at_that_time(o)) {
                out.push(format!(
                    "{} has the label {} since {}, and so has {}: the other half of the swap is not on record",
                    said(record),
                    last.new,
                    last.at,
                    said(other)
                ));
            }
        }
        Ok(out)
    }
}
