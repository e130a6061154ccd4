//! What hangs on what: parentage, holds, readings in doubt, what a release stands on.

pub mod concessions;
pub mod fit;
pub(crate) mod holds;
pub mod lineage;
pub mod places;
pub(crate) mod qualified;
pub mod release_basis;
pub(crate) mod stood;
pub mod suspect;
