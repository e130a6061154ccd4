//! First-pass yield, cost of scrap, agreement of readers, capability.

pub(crate) mod agreement;
pub mod ask;
pub(crate) mod capability;
pub(crate) mod command;
pub(crate) mod gauge;
pub(crate) mod show;
