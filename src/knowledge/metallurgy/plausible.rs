//! Whether a figure can be meant as it stands: contents of a certificate, quantities typed at the desk, units
//! that were mixed up.

use crate::metallurgy::limits::Unit;

/// What a nickel casting alloy holds of an element, in wt%: least and most that a certificate would
/// state. Wide on purpose: it separates factors of 10,000, not alloys.
const TYPICAL: &[(&[&str], f64, f64)] = &[
    (&["N", "O"], 1e-5, 0.03),
    (&["H"], 1e-6, 0.005),
    (&["S"], 1e-5, 0.05),
    (&["P"], 1e-4, 0.06),
    (&["Pb", "Bi", "Te", "Tl", "Ag", "Se", "Cd", "Sb", "As", "In", "Ga", "Zn", "Sn"], 1e-7, 0.02),
    (&["Mg", "Ca", "Y", "La", "Ce"], 1e-5, 0.2),
    (&["B"], 5e-4, 0.3),
    (&["C"], 5e-4, 0.6),
    (&["Zr"], 1e-3, 0.6),
    (&["Si", "Mn", "Cu", "V"], 1e-3, 5.0),
    (&["Hf"], 1e-3, 3.0),
    (&["Cr", "Co", "Fe"], 1e-2, 40.0),
    (&["Al", "Ti", "Mo", "Nb", "Ta", "W", "Re", "Ru"], 1e-2, 20.0),
    (&["Ni"], 30.0, 100.0),
];

/// Why a content is doubted as it stands, in a sentence that asks; none where it can be meant.
///
/// With w the content in wt% (1 wt% = 10,000 ppm), it is doubted where w lies outside what is typical
/// of the element or outside the limits, and w × 10,000 or w / 10,000, the other unit, lies within
/// both; or where nothing but a slip of the point explains it. `least` and `most` are the alloy's
/// limits in wt%. Nothing is converted.
///
/// Source: common practice, no source; oxygen, nitrogen and sulphur of 1 to 100 ppm are usual.
///
/// ```
/// use knowledge::metallurgy::limits::Unit;
/// use knowledge::metallurgy::plausible::doubt;
/// assert!(doubt("N", 34.0, Unit::Ppm, None, None).is_none());
/// assert!(doubt("N", 0.0034, Unit::Ppm, None, None).unwrap().contains("0.0034 wt%"));
/// assert!(doubt("N", 34.0, Unit::WtPct, None, None).unwrap().contains("34 ppm"));
/// assert!(doubt("Cr", 125000.0, Unit::Ppm, None, None).unwrap().contains("12.5 wt%"));
/// ```
#[must_use]
pub fn doubt(element: &str, value: f64, unit: Unit, least: Option<f64>, most: Option<f64>) -> Option<String> {
    if value == 0.0 {
        return Some("is zero; a content below the detection limit is written <x".into());
    }
    let (word, other, other_word) = match unit {
        Unit::WtPct => ("wt%", Unit::Ppm, "ppm"),
        Unit::Ppm => ("ppm", Unit::WtPct, "wt%"),
    };
    let w = value * unit.factor_to(Unit::WtPct);
    let swapped = value * other.factor_to(Unit::WtPct);
    let typical = TYPICAL.iter().find(|(all, _, _)| all.contains(&element)).map(|(_, a, b)| (*a, *b));
    let usual = |v: f64| typical.is_none_or(|(a, b)| v >= a && v <= b);
    let allowed = |v: f64| {
        let slack = 1.0 + 1e-9;
        least.is_none_or(|m| v * slack >= m) && most.is_none_or(|m| v <= m * slack)
    };
    if usual(swapped) && allowed(swapped) && !(usual(w) && allowed(w)) {
        return Some(format!(
            "{element} of {value} {word} is not to be expected, {value} {other_word} would be; which unit is \
             meant? Say it with --unit-of {element}={other_word}, or why it is right with --reason"
        ));
    }
    if unit == Unit::Ppm && value > 10_000.0 && usual(w) {
        return Some(format!(
            "{element} of {value} ppm is {} wt%, and a column of ppm holds traces; if it is meant, say so \
             with --reason",
            (w * 1e9).round() / 1e9
        ));
    }
    if !usual(w) {
        return Some(format!(
            "{element} of {value} {word} is far from what a nickel alloy holds; was the point or the column \
             misread? If it is right, say why with --reason"
        ));
    }
    None
}

/// Why a content in wt% is more than a nickel alloy holds of the element, and what may have been meant; none where it
/// can be meant. As [`doubt`], where nobody can be asked for a reason, and only upwards.
///
/// ```
/// use knowledge::metallurgy::plausible::too_much;
/// assert!(too_much("N", 35.0).unwrap().contains("35ppm"));
/// assert!(too_much("Cr", 12.5).is_none());
/// ```
#[must_use]
pub fn too_much(element: &str, wt: f64) -> Option<String> {
    let (_, least, most) = TYPICAL.iter().find(|(all, _, _)| all.contains(&element))?;
    if wt <= *most {
        return None;
    }
    let ppm = wt / 10_000.0;
    let meant = if ppm >= *least && ppm <= *most {
        format!("; write {element}={wt}ppm if ppm are meant")
    } else {
        String::new()
    };
    Some(format!("{element} of {wt} wt% is more than a nickel alloy holds (up to {most}){meant}"))
}

/// The most that a detection limit is taken for, in wt%: above it a content is not below detection, it was not
/// measured. Common practice, no source: certificates give limits of 0.0001 to 0.1 wt%.
pub const LARGEST_DETECTION_LIMIT: f64 = 1.0;

/// A physical quantity as the desk takes it, with the range in which it can be meant. Ranges are wide on purpose:
/// they part units, not good castings from bad. Common practice, no source.
#[derive(Clone, Copy, Debug)]
pub struct Quantity {
    name: &'static str,
    unit: &'static str,
    least: f64,
    most: f64,
    /// Other units that are typed by mistake: their name, and factor and offset to this one.
    others: &'static [(&'static str, f64, f64)],
}

const fn quantity(
    name: &'static str,
    unit: &'static str,
    (least, most): (f64, f64),
    others: &'static [(&'static str, f64, f64)],
) -> Quantity {
    Quantity { name, unit, least, most, others }
}

const FAHRENHEIT: (&str, f64, f64) = ("°F", 1.0 / 1.8, -32.0 / 1.8);
const MILLI: f64 = 1e-3;

/// Density of metal or slurry.
pub const DENSITY: Quantity = quantity("density", "kg/m3", (1_000.0, 25_000.0), &[("g/cm3", 1e3, 0.0)]);
/// Metal through a section, or a melt.
pub const MASS: Quantity = quantity("mass", "kg", (0.001, 5_000.0), &[("g", MILLI, 0.0)]);
/// A furnace charge.
pub const MELT: Quantity = quantity("melt", "kg", (0.01, 20_000.0), &[("g", MILLI, 0.0), ("t", 1e3, 0.0)]);
/// Time of a filling.
pub const FILLING_TIME: Quantity = quantity("time", "s", (0.02, 600.0), &[("ms", MILLI, 0.0)]);
/// Area of gates.
pub const GATES: Quantity = quantity("area", "mm2", (0.5, 1e6), &[("m2", 1e6, 0.0), ("cm2", 100.0, 0.0)]);
/// Velocity of metal.
pub const VELOCITY: Quantity =
    quantity("velocity", "m/s", (0.0, 20.0), &[("mm/s", MILLI, 0.0), ("cm/s", 0.01, 0.0)]);
/// Height of a fall.
pub const HEIGHT: Quantity = quantity("height", "m", (0.0, 10.0), &[("mm", MILLI, 0.0), ("cm", 0.01, 0.0)]);
/// Head above a choke, height of a casting.
pub const HEAD: Quantity = quantity("head", "m", (0.0, 10.0), &[("mm", MILLI, 0.0), ("cm", 0.01, 0.0)]);
/// Discharge coefficient.
pub const COEFFICIENT: Quantity = quantity("coefficient", "", (0.05, 1.0), &[("%", 0.01, 0.0)]);
/// Surface tension of liquid metal.
pub const SURFACE_TENSION: Quantity =
    quantity("surface tension", "N/m", (0.05, 5.0), &[("mN/m", MILLI, 0.0)]);
/// Liquid or just solid metal.
pub const METAL: Quantity = quantity("metal", "°C", (400.0, 2_000.0), &[FAHRENHEIT]);
/// Liquidus of an alloy.
pub const LIQUIDUS: Quantity = quantity("liquidus", "°C", (400.0, 2_000.0), &[FAHRENHEIT]);
/// Melting temperature of an alloy.
pub const MELTING: Quantity = quantity("melting", "°C", (400.0, 2_000.0), &[FAHRENHEIT]);
/// Mould temperature.
pub const MOULD: Quantity = quantity("mould", "°C", (-50.0, 1_700.0), &[FAHRENHEIT]);
/// Metal above its liquidus.
pub const SUPERHEAT: Quantity = quantity("superheat", "K", (0.0, 600.0), &[]);
/// Gas in a furnace.
pub const GAS: Quantity = quantity("temperature", "K", (200.0, 2_500.0), &[("°C", 1.0, 273.15)]);
/// Rise of pressure.
pub const LEAK_RATE: Quantity = quantity("rate", "µm Hg/min", (0.0, 10_000.0), &[]);
/// A furnace chamber.
pub const CHAMBER: Quantity = quantity("volume", "m3", (0.0, 200.0), &[("l", MILLI, 0.0)]);
/// Time of a melt under vacuum.
pub const MELT_TIME: Quantity = quantity("time", "min", (0.0, 10_000.0), &[("s", 1.0 / 60.0, 0.0)]);
/// Side of a casting's box.
pub const SIDE: Quantity = quantity("side", "mm", (0.05, 5_000.0), &[("m", 1e3, 0.0)]);
/// Thickness of a thin wall.
pub const THICKNESS: Quantity = quantity("thickness", "m", (5e-5, 0.1), &[("mm", MILLI, 0.0)]);
/// Latent heat of melting.
pub const LATENT: Quantity = quantity("latent heat", "J/kg", (2e4, 2e6), &[("kJ/kg", 1e3, 0.0)]);
/// Heat capacity of liquid metal.
pub const HEAT_CAPACITY: Quantity =
    quantity("heat capacity", "J/(kg K)", (100.0, 5_000.0), &[("kJ/(kg K)", 1e3, 0.0)]);
/// Heat transfer from metal to mould.
pub const TRANSFER: Quantity =
    quantity("heat transfer", "W/(m2 K)", (5.0, 100_000.0), &[("kW/(m2 K)", 1e3, 0.0)]);

impl Quantity {
    /// Refuses a value outside the range, and says what was probably meant.
    ///
    /// # Errors
    /// No number, or one outside the range.
    ///
    /// ```
    /// use knowledge::metallurgy::plausible::{DENSITY, GAS};
    /// assert!(DENSITY.check(7300.0).is_ok());
    /// assert!(DENSITY.check(7.3).unwrap_err().contains("7300 kg/m3"));
    /// assert!(GAS.check(27.0).unwrap_err().contains("300.15 K"));
    /// ```
    pub fn check(&self, value: f64) -> Result<(), String> {
        let Self { name, unit, least, most, others } = self;
        let fits = |v: f64| v >= *least && v <= *most;
        if fits(value) {
            return Ok(());
        }
        let meant = others.iter().map(|(other, factor, offset)| (other, value * factor + offset));
        let meant = meant.filter(|(_, v)| value != 0.0 && fits(*v)).map(|(other, v)| {
            format!("; was {value} {other} meant, which is {}?", with_unit(short(v), unit))
        });
        let meant = meant.into_iter().next().unwrap_or_default();
        let unit = if unit.is_empty() { String::new() } else { format!(" {unit}") };
        Err(format!(
            "{name} = {value}{unit} cannot be meant: from {least} to {most}{unit} belongs here{meant}"
        ))
    }
}

fn with_unit(value: f64, unit: &str) -> String {
    if unit.is_empty() { value.to_string() } else { format!("{value} {unit}") }
}

/// Six significant digits.
fn short(value: f64) -> f64 {
    format!("{value:.5e}").parse().unwrap_or(value)
}

/// Checks several at once.
///
/// # Errors
/// The first that cannot be meant.
pub fn all(given: &[(Quantity, f64)]) -> Result<(), String> {
    given.iter().try_for_each(|(quantity, value)| quantity.check(*value))
}
