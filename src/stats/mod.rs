//! Statistics: numbers in, numbers out. Imports nothing of ours.

pub mod dist;
