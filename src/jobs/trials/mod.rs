//! Trials of a change: how large, which mould gets which arm, how one stands.

pub(crate) mod ask;
pub(crate) mod assign;
pub(crate) mod command;
pub(crate) mod compare;
pub(crate) mod levels;
pub(crate) mod lines_screen;
pub(crate) mod response;
pub(crate) mod show;
pub(crate) mod standing;
