//! A rate or a reading in time, against a reading, and by place.

pub(crate) mod against;
pub mod ask;
pub(crate) mod changes;
pub(crate) mod command;
pub(crate) mod desk;
pub(crate) mod explained;
pub mod kinds;
pub(crate) mod points;
pub mod screen;
pub mod show;
pub mod show_against;
pub mod show_places;
pub(crate) mod tables;
