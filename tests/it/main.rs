//! One binary for all integration tests: it links once.

mod checks;
mod layering;
