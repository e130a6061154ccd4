//! Compositions in mass per cent, and atomic per cent.

use crate::metallurgy::elements::atomic_weight;
use crate::metallurgy::elements::exact;

/// Contents in wt%, each element once; nickel is the balance unless it is given.
///
/// An element below its detection limit counts as 0 in every formula, but it was analysed; an
/// element that is not given was not.
#[derive(Clone, Debug, PartialEq)]
pub struct Composition {
    parts: Vec<(&'static str, f64)>,
    below: Vec<(&'static str, f64)>,
    nickel_by_difference: bool,
}

/// The least sum in wt% of an analysis that names nickel.
const LEAST_SUM: f64 = 98.0;

/// Three decimals, without zeros at the end.
fn short(wt: f64) -> f64 {
    (wt * 1e3).round() / 1e3
}

impl Composition {
    /// From symbols and wt%, with the elements that lie below a detection limit in wt%. Without Ni, nickel is
    /// taken as what is left of 100.
    ///
    /// # Errors
    /// An unknown or doubled symbol, a negative content, or a sum over 100.
    ///
    /// ```
    /// use knowledge::metallurgy::composition::Composition;
    /// let c = Composition::new(&[("Cr", 20.0), ("Al", 5.0)], &[("Ti", 0.01)]).unwrap();
    /// assert_eq!((c.wt("Ni"), c.wt("Ti")), (75.0, 0.0));
    /// assert_eq!(c.lacking(&["Cr", "Ti", "Mo"]), ["Mo"]);
    /// assert!(Composition::new(&[("Cr", 70.0), ("Al", 40.0)], &[]).is_err());
    /// ```
    pub fn new(parts: &[(&str, f64)], below: &[(&str, f64)]) -> Result<Self, String> {
        let (mut out, mut under): (Vec<(&'static str, f64)>, Vec<(&'static str, f64)>) = Default::default();
        for (i, &(symbol, wt)) in parts.iter().chain(below).enumerate() {
            let symbol = exact(symbol)?;
            if !wt.is_finite() || wt < 0.0 {
                return Err(format!("{symbol} = {wt}: a content is a number from 0"));
            }
            if out.iter().chain(&under).any(|(s, _)| *s == symbol) {
                return Err(format!("{symbol} is given twice"));
            }
            if i < parts.len() { out.push((symbol, wt)) } else { under.push((symbol, wt)) }
        }
        let sum: f64 = out.iter().map(|(_, w)| w).sum();
        let given = out.iter().chain(&under).any(|(s, _)| *s == "Ni");
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
        Ok(Self { parts: out, below: under, nickel_by_difference: !given })
    }

    /// Nickel was taken as what is left of 100.
    #[must_use]
    pub fn nickel_by_difference(&self) -> bool {
        self.nickel_by_difference
    }

    /// Refuses an analysis that names nickel and leaves a good part of the alloy open: an index of it would take the
    /// rest as not there. Certificates name all but residuals; the line is common practice, no source.
    ///
    /// # Errors
    /// Nickel is given, and the contents sum to less than 98 wt%, whatever stands below detection counted in full.
    ///
    /// ```
    /// use knowledge::metallurgy::composition::Composition;
    /// let c = |ni| Composition::new(&[("Ni", ni), ("Cr", 20.0), ("Al", 5.0)], &[]).unwrap();
    /// assert!(c(74.8).complete().is_ok());
    /// assert!(c(62.0).complete().unwrap_err().contains("87"));
    /// ```
    pub fn complete(&self) -> Result<(), String> {
        let sum: f64 = self.parts.iter().chain(&self.below).map(|(_, w)| w).sum();
        if self.nickel_by_difference || sum >= LEAST_SUM {
            return Ok(());
        }
        Err(format!(
            "the contents sum to {} wt%, nickel among them: {} wt% of the alloy is not named; give what is missing, or \
             leave nickel out and it is taken as the rest",
            short(sum),
            short(100.0 - sum)
        ))
    }

    /// Content in wt%; 0 for an element that is not given or below its detection limit.
    #[must_use]
    pub fn wt(&self, symbol: &str) -> f64 {
        self.parts.iter().find(|(s, _)| *s == symbol).map_or(0.0, |(_, w)| *w)
    }

    /// The elements with a content, and their wt%.
    #[must_use]
    pub fn parts(&self) -> &[(&'static str, f64)] {
        &self.parts
    }

    /// The elements below a detection limit, and that limit in wt%.
    #[must_use]
    pub fn below(&self) -> &[(&'static str, f64)] {
        &self.below
    }

    /// The same composition with one element at its detection limit instead of at 0.
    #[must_use]
    pub(crate) fn at_limit(&self, symbol: &str) -> Self {
        let mut out = self.clone();
        if let Some(i) = out.below.iter().position(|(s, _)| *s == symbol) {
            let (s, w) = out.below.remove(i);
            out.parts.push((s, w));
            if let Some((_, ni)) = out.parts.iter_mut().find(|(s, _)| *s == "Ni" && self.nickel_by_difference)
            {
                *ni = (*ni - w).max(0.0);
            }
        }
        out
    }

    /// Of these elements, the ones that are not given: not analysed, which is not zero.
    #[must_use]
    pub fn lacking(&self, symbols: &[&'static str]) -> Vec<&'static str> {
        let known = |s: &str| self.parts.iter().chain(&self.below).any(|(p, _)| *p == s);
        symbols.iter().copied().filter(|s| !known(s)).collect()
    }

    /// Atomic per cent, `P(i) = 100 (w(i)/A(i)) / Σ w(j)/A(j)`, every given element counted.
    ///
    /// Source: definition; atomic weights IUPAC.
    ///
    /// ```
    /// use knowledge::metallurgy::composition::Composition;
    /// let c = Composition::new(&[("Ni", 58.6934), ("Co", 58.9332 - 17.6266)], &[]).unwrap();
    /// assert!((c.atomic_percent("Ni") - 58.786).abs() < 0.01);
    /// ```
    #[must_use]
    pub fn atomic_percent(&self, symbol: &str) -> f64 {
        let moles = |s: &str, w: f64| atomic_weight(s).map_or(0.0, |a| w / a);
        let total: f64 = self.parts.iter().map(|(s, w)| moles(s, *w)).sum();
        100.0 * moles(symbol, self.wt(symbol)) / total
    }
}
