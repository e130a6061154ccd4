//! Where a blade came from, what else came from there, and where it all is.

pub mod ask;
pub(crate) mod command;
pub(crate) mod explained;
pub mod screen;
pub mod show;
pub mod siblings;
