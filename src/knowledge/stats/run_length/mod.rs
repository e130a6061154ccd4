//! Average run lengths: how many points a chart shows, on average, up to and with its first signal.
//! Points are independent and normal; shifts and widths in sigmas.

pub(crate) mod absorbing;
pub(crate) mod cusum;
pub(crate) mod ewma;

pub use crate::stats::run_length::cusum::Scheme;
pub use crate::stats::run_length::cusum::cusum;
pub use crate::stats::run_length::ewma::ewma;

use crate::stats::dist::normal_sf;

/// Average run lengths above this are not computed.
pub(crate) const LARGEST: f64 = 1e15;

/// The average run length of a Shewhart chart, 1/(1 - Φ(w-δ) + Φ(-w-δ)), for limits ±w and a shift δ of the
/// mean, both in sigmas of the plotted points. Good to 1e-14. Source: Shewhart 1931, as in any textbook.
///
/// # Errors
/// A width below 0, a figure that is not finite, a run length above `LARGEST`.
///
/// ```
/// let arl = knowledge::stats::run_length::shewhart(3.0, 0.0).unwrap();
/// assert!((arl - 370.3983473449564).abs() < 1e-9);
/// ```
pub fn shewhart(width: f64, shift: f64) -> Result<f64, String> {
    from_zero("the width", width)?;
    finite_shift(shift)?;
    bounded(1.0 / (normal_sf(width - shift) + normal_sf(width + shift)))
}

fn from_zero(name: &str, value: f64) -> Result<(), String> {
    if value >= 0.0 && value.is_finite() {
        return Ok(());
    }
    Err(format!("{name} is {value:?}; it belongs from 0 up, in sigmas"))
}

fn finite_shift(shift: f64) -> Result<(), String> {
    if shift.is_finite() {
        Ok(())
    } else {
        Err(format!("the shift is {shift:?}; a finite number of sigmas belongs there"))
    }
}

fn bounded(arl: f64) -> Result<f64, String> {
    if arl <= LARGEST {
        return Ok(arl.max(1.0));
    }
    Err(format!("the average run length is above {LARGEST:e}, beyond what is computed"))
}
