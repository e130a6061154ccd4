//! Alloy indices, limits and melting-shop arithmetic. Pure.

pub mod limits;
