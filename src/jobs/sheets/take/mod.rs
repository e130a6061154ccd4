//! One way to take a shop's sheet: what it may hold is proposed, what is open is asked or named, then it is taken over.

pub(crate) mod command;
mod dialog;
mod open;
mod plan;
mod show;
