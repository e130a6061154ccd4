//! Acceptance sampling: plans, operating curves, switching rules. Pure.

pub mod design;
pub mod double;
pub mod published;
pub mod single;
pub mod switching;
pub mod zero;

/// A share that must lie from 0 to 1.
fn share(name: &str, value: f64) -> Result<(), String> {
    if (0.0..=1.0).contains(&value) {
        return Ok(());
    }
    Err(format!("{name} is {value:?}; it belongs from 0 to 1 (a share, not per cent)"))
}

/// A share or risk that must lie strictly between 0 and 1.
fn inner(name: &str, value: f64) -> Result<(), String> {
    if value > 0.0 && value < 1.0 {
        return Ok(());
    }
    Err(format!("{name} is {value:?}; it belongs strictly between 0 and 1 (a share, not per cent)"))
}
