//! One binary for all integration tests: it links once.

mod checks;
mod edges;
mod layering;
