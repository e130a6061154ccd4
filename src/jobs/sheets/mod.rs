//! A shop's own sheets taken over, and records as a spreadsheet.

pub mod ask;
pub(crate) mod command;
pub mod show;
pub mod spreadsheet;
mod take;
pub mod texts;
