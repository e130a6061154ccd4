//! Runs: what is the same for a whole tray is said once, then each scan records one line.

pub mod analysis;
pub mod analysis_screen;
pub mod head;
pub mod inspect;
pub mod menu_screen;
pub mod record;
pub mod screen;
pub mod table;
