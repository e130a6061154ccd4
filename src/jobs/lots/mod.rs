//! May this lot go: the acceptance summary, decisions on blades, the signature.

pub mod ask;
pub(crate) mod command;
pub(crate) mod contents;
pub mod cover;
pub mod desk;
pub(crate) mod desk_lists;
pub(crate) mod desk_show;
pub(crate) mod dispose;
pub(crate) mod facts;
pub mod grouped;
pub(crate) mod papers;
pub(crate) mod permits;
pub(crate) mod readers;
pub(crate) mod reasons;
pub(crate) mod reasons_screen;
pub(crate) mod sampling;
pub mod screen;
pub(crate) mod series;
pub(crate) mod show;
pub(crate) mod signing;
pub(crate) mod standing;
pub(crate) mod summary;
pub(crate) mod tables;
