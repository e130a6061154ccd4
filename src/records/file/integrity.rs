//! A damaged byte must not become a silent wrong answer.
//!
//! SQLite keeps no checksum of its pages, so a value that rots on the disk is read as if it had been
//! written. Two guards stand against it: every record that is read whole is held against the digest
//! in its row, and the whole file is checked before the first answer of a day and with each copy.
//! What neither sees: damage that comes after the check of the day, in a row that an answer only
//! counts or in an index by which it finds its rows.

use std::sync::atomic::Ordering;

use rusqlite::{Connection, Row};

use crate::catalogue::field::Type;
use crate::error::{Error, Result};
use crate::file::about::CHECKED;
use crate::graph::lineage;
use crate::read::rows;
use crate::read::shape::KindTable;
use crate::{Record, Stamp, catalogue};
use crate::{Store, read, write};

/// Larger files are not checked by themselves: about four seconds of work.
const LARGEST_CHECKED: u64 = 200_000_000;

/// The record is what its row's digest says.
///
/// # Errors
/// It is not: the row was damaged, or changed behind the program's back.
pub(crate) fn as_sealed(
    db: &Connection,
    shape: &KindTable,
    row: &Row,
    record: &Record<'static>,
) -> Result<()> {
    let digest: i64 = row.get(shape.columns.len() + usize::from(shape.has_id) + 2)?;
    let part_of = shape.kind.fields.iter().any(|f| matches!(f.ty, Type::RevisionOf(_)));
    let text = if part_of {
        write::canonical(shape, &read::with_revision(db, shape, record.clone(), row)?)
    } else {
        write::canonical(shape, record)
    };
    if rows::digest(&text) == digest {
        return Ok(());
    }
    Err(Error::untrusted(format!(
        "{} {}: the row is not as it was written: the file is damaged, or was changed outside meltkin. See what \
         else is: meltkin verify; then put a backup in its place: meltkin restore FILE --replace",
        shape.kind.noun,
        crate::value::tag::shown(&record.address())
    )))
}

impl Store {
    /// Reads every record of a lineage whole, with the charges, pours and coats that join them, and
    /// holds each against its digest.
    ///
    /// # Errors
    /// A row is not as it was written.
    pub fn vouch(&self, lineage: &lineage::Lineage) -> Result<()> {
        for node in &lineage.nodes {
            let kind = rows::named_kind(node.link.kind)?;
            self.by_id(kind, node.link.id)?;
            // The records that join it to its parents: those of the kinds whose child it is.
            for joins in catalogue::all() {
                let Some(child) = joins.child.and_then(|name| joins.field(name)) else { continue };
                if matches!(child.ty, Type::Ref([one]) if *one == kind.name) {
                    self.referring(joins, child.name, kind.name, node.link.id)?;
                }
            }
        }
        Ok(())
    }

    /// Checks the whole file if no check on this day found it whole. The day is noted in the file,
    /// where it can be written.
    ///
    /// # Errors
    /// Something is wrong with the file; the first fault is named.
    pub fn check_of_the_day(&self, now: Stamp) -> Result<()> {
        let day: String = now.to_string().chars().take(10).collect();
        // Another day, not a later one: a clock that went back leads to a check too.
        if self.about(CHECKED)?.is_some_and(|d| d == day) {
            return Ok(());
        }
        // A copy that cannot be written could not remember it, and a decade takes half a minute: there
        // `verify` is for whoever wants to know, and every summary and backup checks all the same.
        let size = std::fs::metadata(self.path()).map_or(0, |m| m.len());
        if self.read_only() || size > LARGEST_CHECKED {
            return Ok(());
        }
        self.must_be_whole()?;
        // Whoever writes just now is not waited for: the next opening checks again.
        self.waits.store(false, Ordering::Relaxed);
        let _ = self.set_about(CHECKED, &day);
        self.waits.store(true, Ordering::Relaxed);
        Ok(())
    }

    /// Checks the whole file, whenever it was checked last: before a summary that leaves the house.
    ///
    /// # Errors
    /// Something is wrong with the file; the first fault is named.
    pub fn must_be_whole(&self) -> Result<()> {
        let checked = self.verify(None, &mut |_| {})?;
        let Some(first) = checked.faults.first() else { return Ok(()) };
        let at = match &first.tag {
            Some(tag) => format!("{}, {}", first.table, crate::value::tag::shown(tag)),
            None => first.table.clone(),
        };
        Err(Error::untrusted(format!(
            "{}: the file cannot be trusted ({} faults, the first in {at}: {}), so nothing is answered from it. \
             All of them: meltkin verify; then put a backup in its place: meltkin restore FILE --replace",
            self.path().display(),
            checked.faults.len(),
            crate::value::tag::shown(&first.message)
        )))
    }
}
