//! The terminal screens. The only module that knows ratatui and crossterm.
//!
//! [`app::App`] is the machine: plain state, woken by keys, pastes, answers and time. Screens ask for
//! effects; the worker in [`effect`] does them through `ops`; [`terminal`] holds the terminal.

pub mod app;
pub mod big;
pub mod effect;
pub mod form;
pub mod frame;
pub mod keys;
pub mod scan;
pub mod screens;
pub mod secret;
pub mod terminal;
pub mod theme;
pub mod view;
pub mod working;

pub use app::End;
pub use terminal::{Start, run};
