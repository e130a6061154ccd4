//! One function per user task: where the store and the knowledge meet.

pub mod agreement;
pub mod alloy;
pub mod answers;
pub mod attached;
pub mod bundle;
pub mod capability;
pub mod causes;
pub mod certificate;
pub mod charge;
pub mod chart;
pub mod compare;
pub mod demo;
pub mod desk;
pub mod dispose;
pub mod drafts;
pub mod floor;
pub mod hunt;
pub mod label;
pub mod lineage;
pub mod lots;
pub mod mishap;
pub mod output;
pub mod pins;
pub mod proposals;
pub mod records;
pub mod restore;
pub mod sampling;
pub mod sheet;
pub mod shift;
pub mod shop_sheet;
pub mod siblings;
pub mod tree;
pub mod trials;
pub mod way;
pub mod working;
pub mod yields;

pub use crate::demo::maker::Plan;
pub use crate::store::clock::{CLOCK, SAID as CLOCK_SAID};
pub use crate::store::pins::Proof;
pub use crate::store::{Error, Result, Store, Who};

/// Writes the starter definitions into an empty store: alloys with their limits and sources, defect
/// terms. Gives the number of records.
///
/// # Errors
/// The store cannot be written.
pub fn starter(store: &mut Store, who: &Who) -> Result<usize> {
    let done = bundle::import_texts(store, who, crate::domain::starter::FILES, true, &mut |_, _, _| {})?;
    Ok(done.records.values().sum())
}
