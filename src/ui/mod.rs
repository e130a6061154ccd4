//! The terminal screens. The only module that knows ratatui and crossterm.
//!
//! [`app::App`] is the machine: plain state, woken by keys, pastes, answers and time. Screens ask for
//! effects; the worker in [`effect`] does them through `ops`; [`terminal`] holds the terminal.

pub mod app;
pub mod big_digits;
pub mod blade_map;
pub mod confirm;
pub mod effect;
pub mod form;
pub mod frame;
pub mod help;
pub mod keys;
pub mod line;
pub mod scan;
pub mod screen;
pub mod secret;
pub mod terminal;
pub mod theme;
pub mod view;
pub mod working_layer;

pub use crate::ui::app::End;
pub use crate::ui::terminal::{Start, run};
