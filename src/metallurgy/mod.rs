//! Alloy indices, limits and melting-shop arithmetic. Pure.
