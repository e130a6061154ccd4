//! The store as a file: bundles in and out, the demo foundry, copies and their return.

pub mod bundle;
pub(crate) mod command;
pub mod demo;
mod load;
pub mod output;
pub mod restore;
pub mod show;
pub mod verified;
