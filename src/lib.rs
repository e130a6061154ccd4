//! meltkin keeps the parentage of every cast blade, tells what made a blade bad, what else is in
//! danger, and whether a lot may go. The code map stands in DEVELOPERS.md; the modules below are in
//! reading order, and imports only point upwards in this list (held by `tests/it/layering.rs`).

pub mod domain;
pub mod stats;

pub mod trace;

pub mod metallurgy;

pub mod sampling;

pub mod causes;

pub mod store;

pub mod import;

pub mod demo;

pub mod report;

pub mod ops;

pub mod cli;

pub mod tui;
