//! May this lot go: the acceptance summary, decisions on blades, the signature.

pub mod ask;
pub(crate) mod chemistry;
pub(crate) mod command;
pub(crate) mod contents;
pub mod cover;
pub mod dispose;
pub(crate) mod facts;
pub(crate) mod making;
pub(crate) mod permits;
pub mod readers;
pub(crate) mod readings;
pub(crate) mod reasons;
pub mod reasons_screen;
pub(crate) mod results;
pub(crate) mod samples;
pub mod sampling;
pub mod screen;
pub(crate) mod shipping;
pub mod show;
pub(crate) mod signing;
pub mod standing;
pub mod tables;
