//! The one SQLite file: made, recognised, opened, checked, copied.

pub(crate) mod about;
pub mod backup;
pub mod clock;
pub(crate) mod indexes;
pub(crate) mod integrity;
pub(crate) mod making;
pub(crate) mod odd_tags;
pub mod open;
pub mod output;
pub(crate) mod pages;
pub mod paths;
pub(crate) mod recognise;
pub mod restore;
pub(crate) mod schema_check;
pub(crate) mod seal;
pub(crate) mod upgrade;
pub mod verify;
pub mod views;
