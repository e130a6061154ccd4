//! Blades of a lot that came back: when, by the clock and by the journal.

use std::collections::BTreeSet;

use rusqlite::Connection;

use crate::Store;
use crate::catalogue::{Lots, Shipments};
use crate::error::Result;
use crate::write::journal;

use crate::graph::release_basis::{collect, signed};

/// A blade that came back.
#[derive(Clone, Debug)]
pub struct Returned {
    /// Id of the blade.
    pub blade: i64,
    pub tag: String,
    /// When, in milliseconds.
    pub at: i64,
    /// The journal entry that said so first.
    pub entry: i64,
}

const OF_LOT: &str = "returned_at IS NOT NULL AND blade IN
    (SELECT blade FROM lot_blades WHERE lot IN (SELECT value FROM json_each(?1)))";
const OF_BLADE: &str = "returned_at IS NOT NULL AND blade IN (SELECT value FROM json_each(?1))";

/// The returns of the blades of a lot, or of one blade.
fn returns(db: &Connection, condition: &str, of: i64) -> Result<Vec<Returned>> {
    let mut out = Vec::new();
    for row in collect::read_rows(db, Shipments::KIND, condition, &BTreeSet::from([of]))? {
        let Some(shipment) = row.record.of::<Shipments>() else { continue };
        let (blade, at) = (row.id_of(Shipments::blade), shipment.get(Shipments::returned_at));
        let Some((blade, at)) = blade.zip(at) else { continue };
        let entry = first_said(db, &row.record.address(), row.entry)?;
        out.push(Returned { blade, tag: shipment.text(Shipments::blade), at: at.ms(), entry });
    }
    Ok(out)
}

/// The entry that wrote first that a shipment came back, and was not taken back.
fn first_said(db: &Connection, address: &str, last: i64) -> Result<i64> {
    let said_back = format!("\"{}\"", Shipments::returned_at.name);
    let back = |text: &Option<String>| text.as_deref().is_some_and(|t| t.contains(&said_back));
    let mut said = None;
    for entry in journal::of_record(db, Shipments::NAME, address)? {
        said = match (back(&entry.old), back(&entry.new)) {
            (_, false) => None,
            (true, true) => said.or(entry.came),
            (false, true) => Some(entry.seq),
        };
    }
    Ok(said.unwrap_or(last))
}

/// The returns of the blades of a lot that came after it was first released: those blades stay returned in it.
pub(crate) fn after_release(db: &Connection, lot: i64) -> Result<Vec<Returned>> {
    let Some(first) = signed::first_release(&signed::on(db, Lots::NAME, lot)?) else { return Ok(Vec::new()) };
    let mut all = returns(db, OF_LOT, lot)?;
    all.retain(|r| r.entry > first);
    Ok(all)
}

/// A blade came back after its lot was first released, and after `since`, the journal entry that put it there: that
/// release lets it go no more.
pub fn left_by_return(db: &Connection, blade: i64, lot: i64, since: i64) -> Result<bool> {
    let Some(first) = signed::first_release(&signed::on(db, Lots::NAME, lot)?) else { return Ok(false) };
    Ok(returns(db, OF_BLADE, blade)?.iter().any(|r| r.entry > first && r.entry > since))
}

impl Store {
    /// The returns of the blades of a lot that came after it was first released.
    pub fn returned_after_release(&self, lot: i64) -> Result<Vec<Returned>> {
        after_release(&self.db, lot)
    }
}
