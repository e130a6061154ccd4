//! The terminal kit: it knows no job. The only module that knows ratatui and crossterm, besides the jobs' screens.
//!
//! [`app::App`] is the machine: plain state, woken by keys, pastes, answers and time. Screens ask for effects; what
//! they order ([`order`]) is done in the [`worker`]; [`terminal`] holds the terminal. What it must know of the jobs is
//! handed to it at the start ([`screen::House`]).

pub mod app;
pub mod big_digits;
pub mod big_letters;
pub mod blade_map;
pub mod confirm;
pub mod effect;
pub mod form;
pub mod frame;
pub mod help;
pub mod keys;
pub mod kit;
pub mod list;
pub mod order;
pub mod page;
pub mod prompt;
pub mod reason;
pub mod scan;
pub mod scan_setup;
pub mod screen;
pub mod secret;
pub mod strip;
pub mod terminal;
pub mod theme;
pub mod view;
pub mod worker;

pub use crate::ui::app::End;
pub use crate::ui::terminal::{Start, run};
