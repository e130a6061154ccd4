//! The store as a file: bundles in and out, the demo foundry, copies and their return.

pub mod bundle;
pub mod demo;
pub mod output;
pub mod restore;
pub mod show;
