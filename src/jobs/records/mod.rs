//! Single records: written, corrected, shown, held, signed for.

pub mod ask;
pub mod attached;
pub(crate) mod command;
pub mod facts;
pub mod form_screen;
pub mod forms;
pub(crate) mod look;
pub mod numbers;
pub mod orders;
pub mod pins;
pub mod proposals;
pub mod screen;
pub mod show;
pub mod suggested;
pub mod undo;
