//! What made these blades bad.

pub mod answers;
pub mod answers_screen;
pub mod ask;
pub(crate) mod columns;
pub(crate) mod command;
pub(crate) mod derived;
pub(crate) mod duplicate_columns;
pub(crate) mod equipment;
pub mod explained;
pub mod foundry;
pub(crate) mod groups;
pub mod hunt;
pub(crate) mod instruments;
pub mod known;
pub mod known_show;
pub(crate) mod metal;
pub(crate) mod outlier_heat;
pub mod page;
pub mod screen;
pub(crate) mod select;
pub mod show;
pub(crate) mod snapshot;
pub mod what_to_check;
