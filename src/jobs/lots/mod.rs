//! May this lot go: the acceptance summary, decisions on blades, the signature.

pub mod ask;
pub(crate) mod command;
pub(crate) mod contents;
pub mod cover;
pub mod dispose;
pub(crate) mod facts;
pub(crate) mod permits;
pub mod readers;
pub(crate) mod reasons;
pub mod reasons_screen;
pub mod sampling;
pub mod screen;
pub mod show;
pub(crate) mod signing;
pub mod standing;
pub(crate) mod summary;
pub mod tables;
