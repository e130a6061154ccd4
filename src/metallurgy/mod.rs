//! Alloy indices, limits and melting-shop arithmetic. Pure.

pub mod charge;
pub mod composition;
pub mod density;
pub mod fill;
pub mod freeze;
pub mod limits;
pub mod stability;
