//! Making up a charge: blends, revert, trims, leaks.

use crate::metallurgy::above_zero;
use crate::metallurgy::finite;
use crate::metallurgy::from_zero;

/// Content of a blend, `Σ m C / Σ m`, in the unit of the contents; masses in any one unit.
///
/// # Errors
/// No parts, a negative mass, or no mass at all.
///
/// Source: mass balance.
///
/// ```
/// # use knowledge::metallurgy::charge::blend;
/// assert!((blend(&[(8.0, 6.05), (2.0, 5.90)]).unwrap() - 6.02).abs() < 1e-12);
/// ```
pub fn blend(parts: &[(f64, f64)]) -> Result<f64, String> {
    for (m, c) in parts {
        from_zero("mass", *m)?;
        if !c.is_finite() {
            return Err(format!("{c}: a content is a number"));
        }
    }
    let mass: f64 = finite(parts.iter().map(|(m, _)| m).sum())?;
    if mass <= 0.0 {
        return Err("the masses sum to 0: there is no blend".into());
    }
    // Shares first, so that large masses do not overflow.
    finite(parts.iter().map(|(m, c)| m / mass * c).sum())
}

/// Level at which an impurity settles when every charge holds a share r of revert:
/// `C = C_virgin + d / (1 − r)`, d the pick-up per melt (negative where a melt loses some).
///
/// # Errors
/// A negative level, a loss that no level withstands, or r is not from 0 to below 1: with nothing but revert the level has no end.
///
/// Source: geometric series of the mass balance.
///
/// ```
/// # use knowledge::metallurgy::charge::revert_level;
/// assert_eq!(revert_level(8.0, 3.0, 0.5).unwrap(), 14.0);
/// ```
pub fn revert_level(virgin: f64, pick_up: f64, share: f64) -> Result<f64, String> {
    from_zero("virgin", virgin)?;
    if !pick_up.is_finite() {
        return Err(format!("pick-up = {pick_up}: a number belongs here"));
    }
    if !(0.0..1.0).contains(&share) {
        return Err(format!(
            "share = {share}: a share of revert is from 0 to below 1; at 1 the level has no end"
        ));
    }
    let level = finite(virgin + pick_up / (1.0 - share))?;
    if level < 0.0 {
        return Err(format!("a loss of {} per melt takes more than there is", -pick_up));
    }
    Ok(level)
}

/// Mass of an addition in the unit of the melt, `M (target − now) / (assay × recovery − target)`;
/// contents and assay in %, recovery from 0 to 1. An addition that holds less than the target
/// dilutes, by the same formula.
///
/// # Errors
/// A content that is no percentage, or an addition that cannot reach the target: too poor to raise
/// the melt, too rich to dilute it.
///
/// Source: mass balance with recovery.
///
/// ```
/// # use knowledge::metallurgy::charge::addition;
/// let kg = addition(10.0, 0.04, 0.10, 99.0, 0.7).unwrap();
/// assert!((kg - 0.0086705).abs() < 1e-7);
/// assert_eq!(addition(20.0, 30.0, 24.0, 0.0, 1.0), Ok(5.0)); // dilution
/// ```
pub fn addition(melt: f64, now: f64, target: f64, assay: f64, recovery: f64) -> Result<f64, String> {
    above_zero("melt", melt)?;
    for (name, v) in [("now", now), ("target", target), ("assay", assay)] {
        if !(0.0..=100.0).contains(&v) {
            return Err(format!("{name} = {v}: a percentage from 0 to 100 belongs here"));
        }
    }
    if !(recovery > 0.0 && recovery <= 1.0) {
        return Err(format!("recovery = {recovery}: the part that arrives is above 0 and at most 1"));
    }
    if target == now {
        return Ok(0.0);
    }
    let surplus = assay * recovery - target;
    if target > now && surplus <= 0.0 {
        return Err(format!("an addition of {assay} % with recovery {recovery} never reaches {target} %"));
    }
    if target < now && surplus >= 0.0 {
        return Err(format!(
            "the melt holds {now} % already: an addition of {assay} % with recovery {recovery} does not bring it down to {target} %"
        ));
    }
    finite(melt * ((target - now) / surplus))
}

/// One micron of mercury (a thousandth of a torr) in pascal.
pub const MICRON_PA: f64 = 101.325 / 760.0;
/// Gas constant in J/(mol K), exact by the SI.
const R: f64 = 8.314_462_618;
/// Mean molar mass of dry air in g/mol.
const AIR_G_MOL: f64 = 28.965;

/// Air in g that a leak lets in, `p V M / (R T)` with p the rise of pressure: rate in µm Hg/min,
/// volume in m³, time in min, gas temperature in K.
///
/// # Errors
/// A negative figure, or no temperature.
///
/// Source: ideal gas.
///
/// ```
/// # use knowledge::metallurgy::charge::leak_air_g;
/// assert!((leak_air_g(5.0, 1.5, 300.0, 20.0).unwrap() - 0.23223).abs() < 0.0005);
/// ```
pub fn leak_air_g(rate: f64, volume_m3: f64, temperature_k: f64, time_min: f64) -> Result<f64, String> {
    for (name, v) in [("rate", rate), ("volume", volume_m3), ("time", time_min)] {
        from_zero(name, v)?;
    }
    above_zero("temperature", temperature_k)?;
    finite(rate * time_min * MICRON_PA * volume_m3 / (R * temperature_k) * AIR_G_MOL)
}

/// Largest nitrogen pick-up in ppm if a melt took all nitrogen of that air (75.5 % by mass). The
/// real pick-up is far less: the figure shows that the leak-up rate must be recorded.
///
/// # Errors
/// As [`leak_air_g`]; or no melt.
///
/// Source: mass balance; composition of dry air.
///
/// ```
/// # use knowledge::metallurgy::charge::{leak_air_g, leak_nitrogen_ppm};
/// let air = leak_air_g(5.0, 1.5, 300.0, 20.0).unwrap();
/// assert!((leak_nitrogen_ppm(air, 10.0).unwrap() - 17.533).abs() < 0.02);
/// ```
pub fn leak_nitrogen_ppm(air_g: f64, melt_kg: f64) -> Result<f64, String> {
    from_zero("air", air_g)?;
    above_zero("melt", melt_kg)?;
    finite(air_g * 0.755 / (melt_kg * 1000.0) * 1e6)
}
