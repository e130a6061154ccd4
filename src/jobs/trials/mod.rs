//! Trials of a change: how large, which mould gets which arm, how one stands.

pub mod ask;
pub(crate) mod assign;
pub(crate) mod command;
pub mod compare;
pub(crate) mod levels;
pub mod lines_screen;
pub mod show;
pub mod show_compare;
pub(crate) mod standing;
