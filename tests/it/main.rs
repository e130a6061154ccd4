//! One binary for all integration tests: it links once.

mod chart_edges;
mod checks;
mod edges;
mod layering;
