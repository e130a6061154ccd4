//! The board: what stands at the furnace, to be read from across the bay, and the hand-over from shift to shift.

pub mod ask;
pub(crate) mod command;
pub mod hand_over;
pub mod hand_over_screen;
pub mod screen;
pub mod show;
