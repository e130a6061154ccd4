//! Invented foundry histories: the demo and the maker of large ones.

pub mod maker;

/// The files of the demo foundry, as they stand in `sample_data/`. All of it is invented.
pub const SAMPLE: &[(&str, &str)] = &[];
