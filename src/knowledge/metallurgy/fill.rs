//! Filling a mould: falls, gates, the velocity above which a surface folds in.

use crate::metallurgy::above_zero;
use crate::metallurgy::finite;
use crate::metallurgy::from_zero;

/// Standard gravity in m/s².
pub const G: f64 = 9.806_65;

/// Velocity after a free fall in m/s, `√(2 g h)`, h in m.
///
/// # Errors
/// A negative height.
///
/// Source: free fall.
///
/// ```
/// # use knowledge::metallurgy::fill::fall_velocity;
/// assert!((fall_velocity(0.1).unwrap() - 1.4005).abs() < 0.0005);
/// ```
pub fn fall_velocity(height_m: f64) -> Result<f64, String> {
    from_zero("height", height_m)?;
    finite((2.0 * G * height_m).sqrt())
}

/// Height of a fall in m that gives a velocity, `v²/(2 g)`.
///
/// # Errors
/// A negative velocity.
///
/// Source: free fall.
///
/// ```
/// # use knowledge::metallurgy::fill::fall_height;
/// assert!((fall_height(0.5).unwrap() - 0.01275).abs() < 1e-5);
/// ```
pub fn fall_height(velocity: f64) -> Result<f64, String> {
    from_zero("velocity", velocity)?;
    finite(velocity * velocity / (2.0 * G))
}

/// Mean velocity in the gates in m/s, `m / (ρ t A)`: mass in kg that passes them, density in kg/m³,
/// time in s, area in mm². A lower bound on the peak at first entry.
///
/// # Errors
/// A figure that is not above 0.
///
/// Source: continuity.
///
/// ```
/// # use knowledge::metallurgy::fill::gate_velocity;
/// assert!((gate_velocity(6.0, 7600.0, 2.5, 288.0).unwrap() - 1.0965).abs() < 0.0005);
/// ```
pub fn gate_velocity(mass_kg: f64, density: f64, time_s: f64, area_mm2: f64) -> Result<f64, String> {
    for (name, v) in [("mass", mass_kg), ("density", density), ("time", time_s), ("area", area_mm2)] {
        above_zero(name, v)?;
    }
    finite(mass_kg / (density * time_s * area_mm2 * 1e-6))
}

/// Gate area in mm² for a mean velocity in m/s, `m / (ρ t v)`.
///
/// # Errors
/// A figure that is not above 0.
///
/// Source: continuity.
///
/// ```
/// # use knowledge::metallurgy::fill::gate_area;
/// assert!((gate_area(6.0, 7600.0, 2.5, 0.5).unwrap() - 631.58).abs() < 0.05);
/// ```
pub fn gate_area(mass_kg: f64, density: f64, time_s: f64, velocity: f64) -> Result<f64, String> {
    for (name, v) in [("mass", mass_kg), ("density", density), ("time", time_s), ("velocity", velocity)] {
        above_zero(name, v)?;
    }
    finite(mass_kg / (density * time_s * velocity) * 1e6)
}

/// Velocity in m/s above which inertia folds a liquid surface in, `2 (γ g / ρ)^¼`: surface tension
/// in N/m, density in kg/m³.
///
/// # Errors
/// A figure that is not above 0.
///
/// Source: balance ρV²/2 = 2γ/r with r half the height of a sessile drop (Campbell's argument,
/// read in secondary form).
///
/// ```
/// # use knowledge::metallurgy::fill::critical_velocity;
/// assert!((critical_velocity(1.970, 7754.0).unwrap() - 0.4469).abs() < 0.0005);
/// ```
pub fn critical_velocity(surface_tension: f64, density: f64) -> Result<f64, String> {
    above_zero("surface tension", surface_tension)?;
    above_zero("density", density)?;
    finite(2.0 * (surface_tension * G / density).powf(0.25))
}

/// Effective head in m, `H − P²/(2C)`: H from the surface in the cup to the choke, P the part of the
/// casting above the gate, C its whole height.
///
/// # Errors
/// A negative figure, no casting height, a P above C, or nothing left of the head.
///
/// Source: foundry handbooks, from memory.
///
/// ```
/// # use knowledge::metallurgy::fill::effective_head;
/// assert!((effective_head(0.2, 0.1, 0.12).unwrap() - 0.15833).abs() < 1e-5);
/// ```
pub fn effective_head(head: f64, above: f64, casting: f64) -> Result<f64, String> {
    above_zero("H", head)?;
    above_zero("C", casting)?;
    from_zero("P", above)?;
    if above > casting {
        return Err(format!(
            "P = {above}: the part above the gate is no higher than the casting, C = {casting}"
        ));
    }
    let effective = head - above * above / (2.0 * casting);
    if effective <= 0.0 {
        return Err("nothing is left of the head: the casting stands higher than the cup".into());
    }
    Ok(effective)
}

/// Choke area in mm², `m / (ρ t Cd √(2 g H))`: mass in kg, density in kg/m³, time in s, discharge
/// coefficient, head in m.
///
/// # Errors
/// A figure that is not above 0.
///
/// Source: Bernoulli with a discharge coefficient; foundry handbooks, from memory.
///
/// ```
/// # use knowledge::metallurgy::fill::choke_area;
/// assert!((choke_area(6.0, 7600.0, 2.5, 0.8, 0.15833).unwrap() - 223.96).abs() < 0.1);
/// ```
pub fn choke_area(
    mass_kg: f64,
    density: f64,
    time_s: f64,
    coefficient: f64,
    head_m: f64,
) -> Result<f64, String> {
    for (name, v) in [
        ("mass", mass_kg),
        ("density", density),
        ("time", time_s),
        ("coefficient", coefficient),
        ("head", head_m),
    ] {
        above_zero(name, v)?;
    }
    finite(mass_kg / (density * time_s * coefficient * (2.0 * G * head_m).sqrt()) * 1e6)
}

/// Superheat in °C or K, metal temperature minus liquidus. Meaningless without the liquidus used:
/// sources differ by 50 °C for one alloy.
///
/// # Errors
/// A temperature below absolute zero, or none.
///
/// Source: definition.
///
/// ```
/// # use knowledge::metallurgy::fill::superheat;
/// assert_eq!(superheat(1480.0, 1288.0), Ok(192.0));
/// ```
pub fn superheat(metal_c: f64, liquidus_c: f64) -> Result<f64, String> {
    for (name, v) in [("metal", metal_c), ("liquidus", liquidus_c)] {
        if !(v > -273.15 && v.is_finite()) {
            return Err(format!("{name} = {v}: a temperature above -273.15 °C belongs here"));
        }
    }
    Ok(metal_c - liquidus_c)
}
