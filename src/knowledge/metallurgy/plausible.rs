//! Whether a content of a certificate can be meant as it stands: units that were mixed up.

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
