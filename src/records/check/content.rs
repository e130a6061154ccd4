//! Whether a content of an analysis can be meant as it stands: a typing guard by element, not a specification.

use std::collections::HashMap;
use std::sync::OnceLock;

use crate::catalogue::starter;
use crate::check::Guard;

/// A limit of an alloy on one element, as its record holds it.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Bounds {
    /// The least.
    pub min: Option<f64>,
    /// The most.
    pub max: Option<f64>,
    /// wt% or ppm.
    pub unit: String,
}

/// Gases and sulphur, in wt%: 100 ppm. No starter alloy limits nitrogen or oxygen.
const TRACE: (&[&str], f64) = (&["N", "O", "H", "S"], 0.01);
/// The most of an element that no starter alloy holds, in wt%.
const FOREIGN: f64 = 0.1;

/// How much of one unit is one wt%.
fn in_wt(unit: &str) -> Option<f64> {
    match unit {
        "wt%" => Some(1.0),
        "ppm" => Some(10_000.0),
        _ => None,
    }
}

/// The symbol that an element goes by: columbium is niobium.
fn symbol(element: &str) -> &str {
    if element.eq_ignore_ascii_case("Cb") { "Nb" } else { element }
}

/// Two names of one element, in whatever case.
pub fn same_element(a: &str, b: &str) -> bool {
    symbol(a).eq_ignore_ascii_case(symbol(b))
}

/// The range in which a content asks for no reason, in wt%.
///
/// The alloy's limits on the element, widened on each side by their own width (max - min); with a maximum alone from 0 to
/// twice that; with a minimum alone from half of it. Without limits from 0 to the highest content of the element in any
/// starter alloy; nitrogen, oxygen, hydrogen and sulphur to 100 ppm, what no starter alloy holds to 0.1 wt%.
///
/// Source: common practice, no source.
///
/// ```
/// use records::check::content::{Bounds, range};
/// let al = Bounds { min: Some(5.5), max: Some(6.5), unit: "wt%".into() };
/// assert_eq!(range("Al", Some(&al)), (4.5, 7.5));
/// ```
pub fn range(element: &str, limit: Option<&Bounds>) -> (f64, f64) {
    let limited = limit.and_then(|l| Some((l.min, l.max, in_wt(&l.unit)?)));
    match limited {
        Some((Some(min), Some(max), wt)) => {
            let width = max - min;
            (((min - width) / wt).max(0.0), (max + width) / wt)
        }
        Some((None, Some(max), wt)) => (0.0, 2.0 * max / wt),
        Some((Some(min), None, wt)) => (min / 2.0 / wt, 100.0),
        _ => (0.0, highest(element)),
    }
}

/// The highest content of an element in any starter alloy, in wt%.
fn highest(element: &str) -> f64 {
    static ALL: OnceLock<HashMap<String, f64>> = OnceLock::new();
    let all = ALL.get_or_init(|| {
        let mut all: HashMap<String, f64> = HashMap::new();
        for (name, least, most, unit) in starter::limits() {
            let (Some(most), Some(wt)) = (most.or(least), in_wt(&unit)) else { continue };
            let known = all.entry(name.to_ascii_lowercase()).or_default();
            *known = known.max(most / wt);
        }
        // The base of every one of them is what is left of 100: few state it.
        all.insert("ni".into(), 100.0);
        all
    });
    // A sum may be as high as its parts together.
    if element.contains('+') {
        return element.split('+').map(|part| highest(part.trim())).sum();
    }
    let traces = TRACE.0.iter().any(|t| t.eq_ignore_ascii_case(element)).then_some(TRACE.1);
    traces.unwrap_or_else(|| all.get(&symbol(element).to_ascii_lowercase()).copied().unwrap_or(FOREIGN))
}

/// The guard that a content falls outside of; none where it is inside, or its unit is none.
pub fn guard(element: &str, value: f64, unit: &str, limit: Option<&Bounds>, alloy: &str) -> Option<Guard> {
    let wt = in_wt(unit)?;
    let (low, high) = range(element, limit);
    // Twelve digits: what is left of a decimal after a change of unit.
    let decimal = |v: f64| format!("{v:.11e}").parse().unwrap_or(v);
    let (low, high): (f64, f64) = (decimal(low * wt), decimal(high * wt));
    let slack = 1e-9;
    if value >= low * (1.0 - slack) && value <= high * (1.0 + slack) {
        return None;
    }
    let from = match limit {
        Some(_) => format!("the limits of {alloy}, widened by their own width"),
        None => "what the starter alloys hold".to_string(),
    };
    let message =
        format!("{element} of {value} {unit} is outside the plausible range {low} to {high} {unit} ({from})");
    Some(Guard { field: "value".into(), message, needs_reason: true })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn bounds(min: Option<f64>, max: Option<f64>, unit: &str) -> Bounds {
        Bounds { min, max, unit: unit.into() }
    }

    /// Worked by hand from the rule.
    #[test]
    fn limits_widened_by_their_own_width() {
        let al = bounds(Some(5.5), Some(6.5), "wt%");
        let n = bounds(None, Some(35.0), "ppm");
        let asks = |e: &str, v: f64, u: &str, b: Option<&Bounds>| guard(e, v, u, b, "QA").is_some();
        for (value, asked) in [(4.5, false), (4.49, true), (7.5, false), (7.51, true), (61.0, true)] {
            assert_eq!(asks("Al", value, "wt%", Some(&al)), asked, "{value}");
        }
        assert!(!asks("Al", 60_500.0, "ppm", Some(&al)) && asks("Al", 6.05, "ppm", Some(&al)));
        assert!(!asks("N", 70.0, "ppm", Some(&n)) && asks("N", 71.0, "ppm", Some(&n)));
        assert!(!asks("N", 0.007, "wt%", Some(&n)) && asks("N", 14.0, "wt%", Some(&n)));
        let ni = bounds(Some(50.0), None, "wt%");
        assert!(!asks("Ni", 74.0, "wt%", Some(&ni)) && asks("Ni", 24.0, "wt%", Some(&ni)));
    }

    #[test]
    fn without_limits_the_starter_alloys_say_what_is_usual() {
        // alloy_limits.csv holds 7.0 wt% of aluminium at most, read there by eye.
        assert!(guard("Al", 7.0, "wt%", None, "").is_none());
        assert!(
            guard("al", 7.1, "wt%", None, "")
                .unwrap()
                .message
                .contains("0 to 7 wt% (what the starter alloys hold)")
        );
        assert!(guard("N", 14.0, "wt%", None, "").is_some() && guard("N", 40.0, "ppm", None, "").is_none());
        assert!(guard("Hg", 1.0, "wt%", None, "").is_some() && guard("Hg", 5.0, "ppm", None, "").is_none());
        assert!(guard("Ni", 74.0, "wt%", None, "").is_none());
        assert!(guard("CB", 0.9, "wt%", None, "").is_none() && same_element("cb", "Nb"));
        assert!(guard("Al", -1.0, "wt%", None, "").is_some());
        assert!(guard("Al", 5.0, "g", None, "").is_none());
    }
}
