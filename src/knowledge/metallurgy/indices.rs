//! The indices that stand beside a certificate, each marked with what was not analysed.

use serde::Serialize;

use crate::metallurgy::analysis::AnalysisLine;
use crate::metallurgy::analysis::composition;
use crate::metallurgy::composition::Composition;
use crate::metallurgy::stability::NV_NEEDS;
use crate::metallurgy::stability::NickelVacancies;
use crate::metallurgy::stability::d_electron_level;
use crate::metallurgy::stability::electron_vacancies;
use crate::metallurgy::stability::gamma_prime_percent;
use crate::metallurgy::stability::nv_unfit;

/// A weighted sum of contents in wt%.
#[derive(Debug)]
pub struct WeightedSum {
    /// Its name.
    pub name: &'static str,
    /// Elements and their weights.
    pub terms: &'static [(&'static str, f64)],
    /// Elements without which the sum would say nothing.
    pub carriers: &'static [&'static str],
    /// What it is a sum for, in words.
    pub convention: &'static str,
}

/// The weighted sums that have a source.
pub const SUMS: &[WeightedSum] = &[
    // Nickel Institute Publication 497 sets a range on it for IN-738
    WeightedSum {
        name: "Al+Ti",
        terms: &[("Al", 1.0), ("Ti", 1.0)],
        carriers: &["Al", "Ti"],
        convention: "wt%",
    },
    // Harris, Erickson, Schwer 1984, DOI 10.7449/1984/Superalloys_1984_221_230
    WeightedSum {
        name: "Ta+W+Mo",
        terms: &[("Ta", 1.0), ("W", 1.0), ("Mo", 1.0)],
        carriers: &[],
        convention: "wt%, refractory elements",
    },
    // WO 2019/215450, abstract
    WeightedSum {
        name: "1.29Mo+0.5W",
        terms: &[("Mo", 1.29), ("W", 0.5)],
        carriers: &[],
        convention: "wt%, solid-solution strengthening",
    },
    // WO 2019/215450, abstract
    WeightedSum {
        name: "0.6Ti+0.44Nb+0.27Ta",
        terms: &[("Ti", 0.6), ("Nb", 0.44), ("Ta", 0.27)],
        carriers: &["Ti"],
        convention: "wt%, gamma-prime strengthening",
    },
];

/// `Σ k(i) w(i)` in wt%; elements that are not given count as 0, so look at
/// [`Composition::lacking`] too.
///
/// Source: beside each of [`SUMS`].
///
/// ```
/// use knowledge::metallurgy::composition::Composition;
/// use knowledge::metallurgy::indices::{SUMS, weighted};
/// let m = Composition::new(&[("Mo", 0.7), ("W", 10.0), ("Ta", 3.0), ("Al", 5.5)], &[]).unwrap();
/// assert!((weighted(&m, SUMS[1].terms) - 13.7).abs() < 1e-12); // published 13.7 for MAR-M 247
/// ```
#[must_use]
pub fn weighted(c: &Composition, terms: &[(&str, f64)]) -> f64 {
    terms.iter().map(|(s, k)| k * c.wt(s)).sum()
}

/// An index of an analysis.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct AlloyIndex {
    /// Its name.
    pub name: &'static str,
    /// Its value, with what is below detection or not analysed counted as 0; none where that would
    /// say nothing.
    pub value: Option<f64>,
    /// The convention behind the value.
    pub convention: String,
    /// Elements that enter it and were not analysed.
    pub not_analysed: Vec<&'static str>,
    /// From the value to this when everything below detection stood at its limit, to first order;
    /// none where that changes nothing.
    pub at_detection_limits: Option<(f64, f64)>,
    /// Why there is no value.
    pub why_none: Option<String>,
}

/// The indices of an analysis: Nv by both conventions, Md, gamma prime, [`SUMS`], and Ti/Al. Nickel is what is left of
/// 100 where it was not analysed, and the convention says so.
///
/// There is no value where an element that carries the index was not analysed (Al, Ti, Cr for Nv and
/// gamma prime; Al and Cr for Md; the `carriers` of a sum; both of a quotient), and no Nv for an alloy
/// without gamma prime ([`nv_unfit`]). No such index is an acceptance limit by itself.
///
/// # Errors
/// Contents that sum to more than 100, or an element given twice.
///
/// ```
/// use knowledge::metallurgy::analysis::AnalysisLine;
/// use knowledge::metallurgy::indices::of_analysis;
/// use knowledge::metallurgy::limits::{Content, Unit};
/// let line = |element, v| AnalysisLine { element, content: Content::Value(v), unit: Unit::WtPct };
/// let found = of_analysis(&[line("Al", 3.4), line("Ti", 3.4)]).unwrap();
/// assert_eq!(found[0].name, "Nv");
/// assert_eq!(found[0].value, None); // chromium was not analysed
/// let sum = found.iter().find(|i| i.name == "Al+Ti").unwrap();
/// assert_eq!((sum.value, sum.not_analysed.len()), (Some(6.8), 0));
/// ```
pub fn of_analysis(lines: &[AnalysisLine]) -> Result<Vec<AlloyIndex>, String> {
    let (c, _) = composition(lines)?;
    let by = if c.nickel_by_difference() { ", Ni by difference" } else { "" };
    let nv = |nickel: NickelVacancies| {
        index(&c, "Nv", format!("Ni {}{by}", nickel.value()), NV_NEEDS, &["Al", "Ti", "Cr"], |c| {
            nv_unfit(c).map_or_else(|| electron_vacancies(c, nickel), Err)
        })
    };
    let mut out = vec![
        nv(NickelVacancies::N061),
        nv(NickelVacancies::N066),
        index(
            &c,
            "Md",
            format!("whole alloy, eV{by}"),
            &["Al", "Ti", "Cr", "Co", "Mo", "W", "Ta", "Nb", "Hf", "Fe"],
            &["Al", "Cr"],
            d_electron_level,
        ),
        index(
            &c,
            "gamma prime",
            format!("at%, from the Nv bookkeeping{by}"),
            &["C", "B", "Al", "Ti", "Cr", "Nb", "Ta", "Hf", "Zr"],
            &["Al", "Ti", "Cr"],
            |c| Ok(gamma_prime_percent(c)),
        ),
    ];
    for sum in SUMS {
        let elements: Vec<&'static str> = sum.terms.iter().map(|(s, _)| *s).collect();
        let mut found = index(&c, sum.name, sum.convention.into(), &elements, sum.carriers, |c| {
            Ok(weighted(c, sum.terms))
        });
        if found.not_analysed.len() == elements.len() {
            found.value = None;
            found.why_none = Some(format!("not analysed: {}", elements.join(", ")));
        }
        out.push(found);
    }
    out.push(index(&c, "Ti/Al", "quotient of wt%".into(), &["Ti", "Al"], &["Ti", "Al"], |c| {
        if c.wt("Al") > 0.0 { Ok(c.wt("Ti") / c.wt("Al")) } else { Err("there is no aluminium".into()) }
    }));
    Ok(out)
}

fn index(
    c: &Composition,
    name: &'static str,
    convention: String,
    enters: &[&'static str],
    carriers: &[&'static str],
    value: impl Fn(&Composition) -> Result<f64, String>,
) -> AlloyIndex {
    let missing = c.lacking(carriers);
    let (figure, why_none) = if missing.is_empty() {
        match value(c) {
            Ok(v) if v.is_finite() => (Some(v), None),
            Ok(_) => (None, Some("the figures are too large or too small to compute with".into())),
            Err(why) => (None, Some(why)),
        }
    } else {
        (None, Some(format!("not analysed: {}", missing.join(", "))))
    };
    let ends = figure.map(|base| at_detection_limits(c, base, &value));
    // What does not show in four decimals is not worth a word.
    let at_detection_limits = ends.filter(|ends| ends.1 - ends.0 >= 5e-5);
    AlloyIndex {
        name,
        value: figure,
        at_detection_limits,
        convention,
        not_analysed: c.lacking(enters),
        why_none,
    }
}

/// From the least to the most that a figure can be when what is below detection stands anywhere from 0 to its limit,
/// to first order: each element's shift from `base` by itself, summed.
pub fn at_detection_limits(
    c: &Composition,
    base: f64,
    value: impl Fn(&Composition) -> Result<f64, String>,
) -> (f64, f64) {
    let mut ends = (base, base);
    for (s, _) in c.below() {
        let shift = value(&c.at_limit(s)).unwrap_or(base) - base;
        ends = if shift < 0.0 { (ends.0 + shift, ends.1) } else { (ends.0, ends.1 + shift) };
    }
    ends
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::metallurgy::limits::Content;
    use crate::metallurgy::limits::Unit;

    fn lines(parts: &[(&'static str, Content)]) -> Vec<AnalysisLine<'static>> {
        parts.iter().map(|&(element, content)| AnalysisLine { element, content, unit: Unit::WtPct }).collect()
    }

    fn of(parts: &[(&'static str, Content)], name: &str) -> AlloyIndex {
        let all = of_analysis(&lines(parts)).unwrap();
        all.into_iter().find(|i| i.name == name).unwrap()
    }

    use Content::Below;
    use Content::Unknown;
    use Content::Value;

    #[test]
    fn what_was_not_analysed_is_named_and_is_not_what_is_below_detection() {
        let base = [("Cr", Value(16.0)), ("Al", Value(3.4)), ("Ti", Value(3.4)), ("Fe", Below(0.1))];
        let nv = of(&base, "Nv");
        assert!(nv.value.is_some() && nv.convention.contains("0.61") && nv.convention.contains("difference"));
        assert!(nv.not_analysed.contains(&"C") && !nv.not_analysed.contains(&"Fe"));
        let (low, high) = nv.at_detection_limits.unwrap();
        assert!(low <= nv.value.unwrap() && high > low && high - low < 0.01);
        assert_eq!(of(&base, "Al+Ti").value, Some(6.8));
        assert_eq!(of(&base, "Ti/Al").value, Some(1.0));
        assert_eq!(of(&base, "Ta+W+Mo").value, None);
        let with = [("Mo", Value(4.0)), ("W", Below(0.1))];
        let sum = of(&with, "1.29Mo+0.5W");
        assert_eq!((sum.value, sum.at_detection_limits), (Some(5.16), Some((5.16, 5.21))));
        let sum = of(&with, "Ta+W+Mo");
        assert_eq!((sum.value, sum.not_analysed), (Some(4.0), vec!["Ta"]));
        assert_eq!(of(&base, "1.29Mo+0.5W").value, None);
    }

    #[test]
    fn no_index_is_made_up_from_a_trace_certificate() {
        for parts in [&[("Pb", Below(1e-4)), ("O", Value(9e-4))][..], &[("Cr", Unknown)][..], &[][..]] {
            for i in of_analysis(&lines(parts)).unwrap() {
                assert!(i.value.is_none() && i.why_none.is_some(), "{}", i.name);
            }
        }
    }

    #[test]
    fn nickel_on_the_certificate_is_used() {
        let nv =
            of(&[("Cr", Value(16.0)), ("Al", Value(3.4)), ("Ti", Value(3.4)), ("Ni", Value(60.0))], "Nv");
        assert_eq!(nv.convention, "Ni 0.61");
    }

    #[test]
    fn alloys_without_gamma_prime_have_no_vacancy_number() {
        // Nominal cast 718 (AMS 5383 title) and Hastelloy X (0.1 Al is a residual).
        let cast = [
            ("Ni", Value(52.5)),
            ("Cr", Value(19.0)),
            ("Mo", Value(3.0)),
            ("Nb", Value(5.1)),
            ("Ti", Value(0.9)),
            ("Al", Value(0.6)),
            ("Fe", Value(18.0)),
        ];
        let nv = of(&cast, "Nv");
        assert!(nv.value.is_none() && nv.why_none.unwrap().contains("718"));
        let x = [
            ("Cr", Value(22.0)),
            ("Fe", Value(18.5)),
            ("Mo", Value(9.0)),
            ("Al", Value(0.1)),
            ("Ti", Below(0.01)),
        ];
        assert!(of(&x, "Nv").value.is_none());
    }

    #[test]
    fn a_doubled_or_overfull_analysis_is_refused() {
        assert!(of_analysis(&lines(&[("Cr", Value(60.0)), ("Co", Value(50.0))])).is_err());
        assert!(of_analysis(&lines(&[("Nb", Value(1.0)), ("Cb", Value(1.0))])).is_err());
    }
}
