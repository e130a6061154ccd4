//! First-pass yield, cost of scrap, agreement of readers, capability.

pub mod agreement;
pub mod ask;
pub mod capability;
pub(crate) mod command;
pub mod show;
pub mod show_agreement;
pub mod show_capability;
