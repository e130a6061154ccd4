//! Alloy indices, limits and melting-shop arithmetic. Pure.

pub mod analysis;
pub mod charge;
pub mod composition;
pub mod density;
pub mod elements;
pub mod fill;
pub mod freeze;
pub mod indices;
pub mod limits;
pub mod plausible;
pub mod stability;

/// A figure that came out as a number; an overflow gets a sentence.
fn finite(value: f64) -> Result<f64, String> {
    if value.is_finite() {
        Ok(value)
    } else {
        Err("the figures are too large or too small to compute with".into())
    }
}

/// An input above 0.
fn above_zero(name: &str, value: f64) -> Result<(), String> {
    if value > 0.0 && value.is_finite() {
        Ok(())
    } else {
        Err(format!("{name} = {value}: a number above 0 belongs here"))
    }
}

/// An input of 0 or more.
fn from_zero(name: &str, value: f64) -> Result<(), String> {
    if value >= 0.0 && value.is_finite() {
        Ok(())
    } else {
        Err(format!("{name} = {value}: a number from 0 belongs here"))
    }
}
