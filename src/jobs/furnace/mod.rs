//! At the furnace: may this mould be poured, what is poured next, what went wrong.

pub mod board;
pub mod charge;
pub mod clock_screen;
pub mod clocks;
pub(crate) mod command;
pub mod daily_check;
pub mod daily_check_screen;
pub mod dry_screen;
pub mod figures;
pub mod incident;
pub mod incident_screen;
mod metal;
pub mod oven_out;
pub mod oven_screen;
pub mod readiness;
pub mod screen;
pub mod shift;
pub mod show;
