//! The starter definitions that a new store begins with.

/// Files of a bundle: alloys with their limits and sources, defect terms.
pub const FILES: &[(&str, &str)] = &[];
