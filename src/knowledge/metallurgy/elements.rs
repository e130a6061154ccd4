//! The elements that a certificate of a nickel alloy names.

/// Symbols and atomic weights, IUPAC conventional values.
pub const ATOMIC_WEIGHTS: &[(&str, f64)] = &[
    ("H", 1.008),
    ("B", 10.81),
    ("C", 12.011),
    ("N", 14.007),
    ("O", 15.999),
    ("Na", 22.9898),
    ("Mg", 24.305),
    ("Al", 26.9815),
    ("Si", 28.085),
    ("P", 30.9738),
    ("S", 32.06),
    ("K", 39.0983),
    ("Ca", 40.078),
    ("Ti", 47.867),
    ("V", 50.9415),
    ("Cr", 51.9961),
    ("Mn", 54.938),
    ("Fe", 55.845),
    ("Co", 58.9332),
    ("Ni", 58.6934),
    ("Cu", 63.546),
    ("Zn", 65.38),
    ("Ga", 69.723),
    ("Ge", 72.63),
    ("As", 74.9216),
    ("Se", 78.971),
    ("Y", 88.9058),
    ("Zr", 91.224),
    ("Nb", 92.9064),
    ("Mo", 95.95),
    ("Ru", 101.07),
    ("Ag", 107.868),
    ("Cd", 112.414),
    ("In", 114.818),
    ("Sn", 118.71),
    ("Sb", 121.76),
    ("Te", 127.6),
    ("La", 138.905),
    ("Ce", 140.116),
    ("Hf", 178.49),
    ("Ta", 180.948),
    ("W", 183.84),
    ("Re", 186.207),
    ("Pt", 195.084),
    ("Au", 196.967),
    ("Hg", 200.592),
    ("Tl", 204.38),
    ("Pb", 207.2),
    ("Bi", 208.98),
    ("Th", 232.038),
    ("U", 238.029),
];

/// Atomic weight of an element by its symbol.
#[must_use]
pub fn atomic_weight(symbol: &str) -> Option<f64> {
    ATOMIC_WEIGHTS.iter().find(|(s, _)| *s == symbol).map(|(_, a)| *a)
}

/// The symbol as it is written, whatever the case; Cb is the older name of niobium.
///
/// ```
/// use knowledge::metallurgy::elements::canonical;
/// assert_eq!(canonical("CR"), Some("Cr"));
/// assert_eq!(canonical("Cb"), Some("Nb"));
/// assert_eq!(canonical("Xx"), None);
/// ```
#[must_use]
pub fn canonical(symbol: &str) -> Option<&'static str> {
    let symbol = if symbol.eq_ignore_ascii_case("cb") { "Nb" } else { symbol };
    ATOMIC_WEIGHTS.iter().map(|(s, _)| *s).find(|s| s.eq_ignore_ascii_case(symbol))
}

/// The element that a symbol names, spelled exactly.
///
/// # Errors
/// No such element here; the sentence offers what may have been meant.
pub fn exact(symbol: &str) -> Result<&'static str, String> {
    match canonical(symbol) {
        Some(s) if s == symbol => Ok(s),
        Some(s) => Err(format!("{symbol} is no element; did you mean {s}?")),
        None => {
            let first = symbol.chars().next().map(|c| c.to_ascii_uppercase());
            let near: Vec<&str> =
                ATOMIC_WEIGHTS.iter().map(|(s, _)| *s).filter(|s| s.chars().next() == first).collect();
            let hint = if near.is_empty() { "W or Ni, say".into() } else { near.join(", ") };
            Err(format!("{symbol:?} is no element that a nickel alloy is analysed for; there are {hint}"))
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_wrong_symbol_is_answered_with_near_ones() {
        assert_eq!(exact("Cr"), Ok("Cr"));
        assert!(exact("CR").unwrap_err().contains("did you mean Cr"));
        assert!(exact("Cb").unwrap_err().contains("did you mean Nb"));
        assert!(exact("Mq").unwrap_err().contains("Mo"));
        assert!(exact("").is_err() && exact("é").is_err());
    }

    #[test]
    fn symbols_are_unique_and_in_the_order_of_their_weights_but_for_two() {
        for (i, (s, a)) in ATOMIC_WEIGHTS.iter().enumerate() {
            assert!(*a > 0.0 && !ATOMIC_WEIGHTS[..i].iter().any(|(t, _)| t == s), "{s}");
        }
        // The periodic table has cobalt before nickel and tellurium before iodine.
        let falls: Vec<&str> =
            ATOMIC_WEIGHTS.windows(2).filter(|w| w[1].1 < w[0].1).map(|w| w[1].0).collect();
        assert_eq!(falls, ["Ni"]);
    }
}
