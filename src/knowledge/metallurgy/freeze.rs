//! Freezing: moduli and the time of a thin wall.

use crate::metallurgy::above_zero;
use crate::metallurgy::finite;
use crate::metallurgy::from_zero;

/// Modulus of a box in the unit of its sides, volume over surface: `abc / (2 (ab + bc + ca))`.
///
/// # Errors
/// A side that is not above 0.
///
/// Source: Chvorinov's definition.
///
/// ```
/// # use knowledge::metallurgy::freeze::box_modulus;
/// assert!((box_modulus(40.0, 20.0, 12.0).unwrap() - 3.1579).abs() < 0.0005);
/// ```
pub fn box_modulus(a: f64, b: f64, c: f64) -> Result<f64, String> {
    for (name, v) in [("first side", a), ("second side", b), ("third side", c)] {
        above_zero(name, v)?;
    }
    // V/A with each product divided out, so that very long sides do not overflow.
    finite(0.5 / (1.0 / a + 1.0 / b + 1.0 / c))
}

/// What a thin wall is and what cools it.
#[derive(Clone, Copy, Debug)]
pub struct Wall {
    /// Density in kg/m³.
    pub density: f64,
    /// Full thickness in m, cooled from both sides.
    pub thickness: f64,
    /// Latent heat in J/kg.
    pub latent: f64,
    /// Heat capacity of the liquid in J/(kg K).
    pub heat_capacity: f64,
    /// Superheat in K.
    pub superheat: f64,
    /// Heat transfer coefficient in W/(m² K).
    pub transfer: f64,
    /// Melting temperature in °C.
    pub melting: f64,
    /// Mould temperature in °C.
    pub mould: f64,
}

/// Time in s until a thin wall is frozen, `ρ d (L + c ΔT) / (2 h (Tm − T0))`.
///
/// # Errors
/// A mould that is not colder than the metal, or a property that is not above 0.
///
/// Source: heat balance with the interface in control; the properties come from the user.
///
/// ```
/// # use knowledge::metallurgy::freeze::{Wall, freeze_time};
/// let wall = Wall { density: 7500.0, thickness: 0.001, latent: 240_000.0, heat_capacity: 720.0,
///     superheat: 130.0, transfer: 1000.0, melting: 1340.0, mould: 1000.0 };
/// assert!((freeze_time(&wall).unwrap() - 3.679).abs() < 0.005);
/// ```
pub fn freeze_time(wall: &Wall) -> Result<f64, String> {
    let w = wall;
    for (name, v) in [
        ("density", w.density),
        ("thickness", w.thickness),
        ("latent", w.latent),
        ("heat capacity", w.heat_capacity),
        ("transfer", w.transfer),
    ] {
        above_zero(name, v)?;
    }
    from_zero("superheat", w.superheat)?;
    for (name, v) in [("melting", w.melting), ("mould", w.mould)] {
        if !(v > -273.15 && v.is_finite()) {
            return Err(format!("{name} = {v}: a temperature above -273.15 °C belongs here"));
        }
    }
    let difference = w.melting - w.mould;
    if difference <= 0.0 {
        return Err("the mould is not colder than the melting temperature: the wall does not freeze".into());
    }
    finite(
        w.density * w.thickness * (w.latent + w.heat_capacity * w.superheat)
            / (2.0 * w.transfer * difference),
    )
}
