//! At the benches of wax, shell and inspection: which form, the position map, how far a mould has come.

pub mod position_map;
pub mod position_map_screen;
pub mod progress;
pub mod progress_screen;
pub mod run;
pub mod screen;
