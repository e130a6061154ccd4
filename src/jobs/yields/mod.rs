//! First-pass yield, cost of scrap, agreement of readers, capability.

pub mod agreement;
pub mod ask;
pub mod capability;
pub(crate) mod command;
pub mod gauge;
pub(crate) mod show;
