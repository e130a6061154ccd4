//! One binary for all integration tests: it links once.

mod layering;
mod made;
mod plans;
