//! Chemistry: a lot or heat against the limits of its alloy, and certificates of makers.

pub(crate) mod ask;
pub mod certificate;
pub(crate) mod command;
pub(crate) mod show;
