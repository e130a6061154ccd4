//! Compositions in mass per cent, and atomic per cent.

/// Atomic weights, IUPAC conventional values; the elements that a nickel alloy is analysed for.
pub const ATOMIC_WEIGHTS: &[(&str, f64)] = &[
    ("B", 10.81),
    ("C", 12.011),
    ("Al", 26.9815),
    ("Si", 28.085),
    ("Ti", 47.867),
    ("V", 50.9415),
    ("Cr", 51.9961),
    ("Mn", 54.938),
    ("Fe", 55.845),
    ("Co", 58.9332),
    ("Ni", 58.6934),
    ("Cu", 63.546),
    ("Zr", 91.224),
    ("Nb", 92.9064),
    ("Mo", 95.95),
    ("Ru", 101.07),
    ("Hf", 178.49),
    ("Ta", 180.948),
    ("W", 183.84),
    ("Re", 186.207),
];

/// Contents in wt%, each element once; nickel is the balance unless it is given.
#[derive(Clone, Debug, PartialEq)]
pub struct Composition {
    parts: Vec<(&'static str, f64)>,
    nickel_by_difference: bool,
}

impl Composition {
    /// From symbols and wt%. Without Ni, nickel is taken as what is left of 100.
    ///
    /// # Errors
    /// An unknown or doubled symbol, a negative content, or a sum over 100.
    ///
    /// ```
    /// use meltkin::metallurgy::composition::Composition;
    /// let c = Composition::new(&[("Cr", 20.0), ("Al", 5.0)]).unwrap();
    /// assert_eq!(c.wt("Ni"), 75.0);
    /// assert!(Composition::new(&[("Cr", 70.0), ("Al", 40.0)]).is_err());
    /// ```
    pub fn new(parts: &[(&str, f64)]) -> Result<Self, String> {
        let mut out: Vec<(&'static str, f64)> = Vec::new();
        for &(symbol, wt) in parts {
            let known = ATOMIC_WEIGHTS.iter().find(|(s, _)| *s == symbol).ok_or_else(|| {
                let near: Vec<&str> = ATOMIC_WEIGHTS
                    .iter()
                    .map(|(s, _)| *s)
                    .filter(|s| s.eq_ignore_ascii_case(symbol))
                    .collect();
                let hint = near.first().map_or(String::new(), |s| format!("; did you mean {s} ?"));
                format!("{symbol} is no element that this index knows{hint}")
            })?;
            if !wt.is_finite() || wt < 0.0 {
                return Err(format!("{symbol} = {wt}: a content is a number from 0"));
            }
            if out.iter().any(|(s, _)| *s == known.0) {
                return Err(format!("{symbol} is given twice"));
            }
            out.push((known.0, wt));
        }
        let sum: f64 = out.iter().map(|(_, w)| w).sum();
        let given = out.iter().any(|(s, _)| *s == "Ni");
        // With nickel given, rounding of a certificate may pass 100 by a little.
        if sum > if given { 101.0 } else { 100.0 } {
            return Err(format!("the contents sum to {sum:.3} wt%, more than 100"));
        }
        if !given {
            out.push(("Ni", 100.0 - sum));
        }
        if out.iter().all(|(_, w)| *w == 0.0) {
            return Err("every content is 0".into());
        }
        Ok(Self { parts: out, nickel_by_difference: !given })
    }

    /// Nickel was taken as what is left of 100.
    #[must_use]
    pub fn nickel_by_difference(&self) -> bool {
        self.nickel_by_difference
    }

    /// Content in wt%; 0 for an element that is not given.
    #[must_use]
    pub fn wt(&self, symbol: &str) -> f64 {
        self.parts.iter().find(|(s, _)| *s == symbol).map_or(0.0, |(_, w)| *w)
    }

    /// The elements and their wt%.
    #[must_use]
    pub fn parts(&self) -> &[(&'static str, f64)] {
        &self.parts
    }

    /// Of these elements, the ones that are not given: not analysed, which is not zero.
    #[must_use]
    pub fn lacking(&self, symbols: &[&'static str]) -> Vec<&'static str> {
        symbols.iter().copied().filter(|s| !self.parts.iter().any(|(p, _)| p == s)).collect()
    }

    /// Atomic per cent, `P(i) = 100 (w(i)/A(i)) / Σ w(j)/A(j)`, every given element counted.
    ///
    /// Source: definition; atomic weights IUPAC.
    ///
    /// ```
    /// use meltkin::metallurgy::composition::Composition;
    /// let c = Composition::new(&[("Ni", 58.6934), ("Co", 58.9332 - 17.6266)]).unwrap();
    /// assert!((c.atomic_percent("Ni") - 58.786).abs() < 0.01);
    /// ```
    #[must_use]
    pub fn atomic_percent(&self, symbol: &str) -> f64 {
        let moles = |s: &str, w: f64| {
            ATOMIC_WEIGHTS.iter().find(|(known, _)| *known == s).map_or(0.0, |(_, a)| w / a)
        };
        let total: f64 = self.parts.iter().map(|(s, w)| moles(s, *w)).sum();
        100.0 * moles(symbol, self.wt(symbol)) / total
    }
}
