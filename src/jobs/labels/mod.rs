//! Labels of records, on screens and sheets.

pub mod ask;
pub(crate) mod command;
pub mod on_save;
pub mod show;
