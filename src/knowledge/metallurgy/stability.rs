//! Phase stability: the electron vacancy number of the residual matrix, and the d-electron level.

use crate::metallurgy::composition::Composition;

/// The two values in use for nickel; a number without its convention cannot be compared.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum NickelVacancies {
    /// 0.61, which reproduces the published values of DOI 10.1016/j.matdes.2014.12.038.
    N061,
    /// 0.66.
    N066,
}

impl NickelVacancies {
    /// From the number.
    #[must_use]
    pub fn from_number(n: f64) -> Option<Self> {
        if n == 0.61 {
            Some(Self::N061)
        } else if n == 0.66 {
            Some(Self::N066)
        } else {
            None
        }
    }

    /// The number.
    #[must_use]
    pub fn value(self) -> f64 {
        match self {
            Self::N061 => 0.61,
            Self::N066 => 0.66,
        }
    }
}

/// The elements that must be analysed for the electron vacancy number to mean much.
pub const NV_NEEDS: &[&str] = &["C", "B", "Al", "Ti", "Cr", "Mo", "W", "Co", "Nb", "Ta", "Hf", "Zr", "Fe"];

/// Al + Ti in wt% below which the bookkeeping has no gamma prime to go by. It parts the alloys that
/// the method is not for (cast 718 with 1.5, Hastelloy X with none) from the weakest published case
/// (4.1, DOI 10.1016/j.matdes.2014.12.038); the place of the line between them is our own choice.
const NV_AL_TI_LEAST: f64 = 2.0;

/// Why the electron vacancy number is not meant for a composition, if it is not.
#[must_use]
pub fn nv_unfit(c: &Composition) -> Option<String> {
    let sum = c.wt("Al") + c.wt("Ti");
    (sum < NV_AL_TI_LEAST).then(|| {
        format!(
            "Al + Ti is {sum:.2} wt%: the method is for alloys strengthened by gamma prime, not for 718 or Hastelloy X"
        )
    })
}

/// What is left of an alloy for the gamma matrix, in atomic per cent of the whole alloy.
struct Residue {
    gamma_prime: f64,
    parts: [(&'static str, f64); 10],
}

/// Boron as M3B2 with M = Mo 0.50, Ti 0.15, Cr 0.25, Ni 0.10; half the carbon as MC, half as
/// Cr21(Mo,W)2C6, also counted with 21 Cr where there is no Mo and W; gamma prime as Ni3(Al, Ti, Nb, Ta, Hf, Zr, half of V, 3 % of Cr).
fn residue(c: &Composition) -> Residue {
    let p = |s| c.atomic_percent(s);
    let x = p("Al") + p("Ti") + p("Nb") + p("Ta") + p("Hf") + p("Zr") + 0.5 * p("V")
        - 0.5 * p("C")
        - 0.225 * p("B");
    let refractory = p("Mo") + p("W");
    let carbide = |s: &'static str| if refractory > 0.0 { p("C") / 6.0 * p(s) / refractory } else { 0.0 };
    Residue {
        gamma_prime: 4.0 * (x + 0.03 * p("Cr")),
        parts: [
            ("Cr", 0.97 * p("Cr") - 0.375 * p("B") - 1.75 * p("C")),
            ("Ni", p("Ni") - 0.15 * p("B") - 3.0 * (x + 0.03 * p("Cr"))),
            ("Mo", p("Mo") - 0.75 * p("B") - carbide("Mo")),
            ("W", p("W") - carbide("W")),
            ("V", 0.5 * p("V")),
            ("Co", p("Co")),
            ("Fe", p("Fe")),
            ("Mn", p("Mn")),
            ("Re", p("Re")),
            ("Si", p("Si")),
        ],
    }
}

/// Average electron vacancy number of the residual gamma matrix, `Nv = Σ R(i) n(i) / Σ R(i)`.
///
/// `R(i)` is what carbides, borides and gamma prime leave of element i, in at%; n(i) its electron
/// vacancies: Ni 0.61 or 0.66, Co 1.71, Fe 2.66, Mn and Re 3.66, Cr, Mo, W 4.66, V 5.66, Si 6.66.
/// Valid for cast alloys strengthened by gamma prime; not for 718 or Hastelloy X.
///
/// # Errors
/// The bookkeeping leaves a negative amount of nickel, chromium or molybdenum: the composition is
/// none that the procedure fits.
///
/// Source: procedure after Woodyatt, Sims, Beattie (1966) and Murphy, Sims, Beltran (1968), from
/// memory; confirmed by reproducing published values (DOI 10.1016/j.matdes.2014.12.038, largest miss
/// 0.005 over nine alloys with Ni 0.61). Mn, V, Re, Si from memory.
///
/// ```
/// use knowledge::metallurgy::composition::Composition;
/// use knowledge::metallurgy::stability::{NickelVacancies, electron_vacancies};
/// let a0 = [("Al", 1.66), ("W", 4.89), ("Ti", 2.48), ("Cr", 15.8), ("Mo", 3.52), ("Nb", 1.14), ("Fe", 14.8), ("C", 0.09)];
/// let nv = electron_vacancies(&Composition::new(&a0, &[]).unwrap(), NickelVacancies::N061).unwrap();
/// assert!((nv - 2.27).abs() < 0.006); // published 2.27
/// ```
pub fn electron_vacancies(c: &Composition, nickel: NickelVacancies) -> Result<f64, String> {
    let n = |s: &str| match s {
        "Ni" => nickel.value(),
        "Co" => 1.71,
        "Fe" => 2.66,
        "Mn" | "Re" => 3.66,
        "V" => 5.66,
        "Si" => 6.66,
        _ => 4.66,
    };
    let left = residue(c);
    if let Some((s, _)) = left.parts.iter().find(|(_, r)| *r < 0.0) {
        // Cast alloys without molybdenum do exist (IN-939); the procedure has no boride for them.
        let hint = if c.wt(s) == 0.0 {
            format!("; no {s} is given, and borides in this procedure hold some")
        } else {
            String::new()
        };
        return Err(format!(
            "carbides, borides and gamma prime would take more {s} than there is: the procedure does not fit this composition{hint}"
        ));
    }
    let total: f64 = left.parts.iter().map(|(_, r)| r).sum();
    if total <= 0.0 {
        return Err("nothing is left for the matrix: the procedure does not fit this composition".into());
    }
    Ok(left.parts.iter().map(|(s, r)| r * n(s)).sum::<f64>() / total)
}

/// Gamma prime from the same bookkeeping, `4 (X + 0.03 P(Cr))` in at%. An upper-bound style
/// estimate, not for acceptance: 59 for MAR-M 247, where 62 vol% was published.
///
/// Source: the procedure of [`electron_vacancies`]; comparison value Harris, Erickson, Schwer 1984.
///
/// ```
/// use knowledge::metallurgy::composition::Composition;
/// use knowledge::metallurgy::stability::gamma_prime_percent;
/// let m = [("C", 0.14), ("Co", 10.0), ("Cr", 8.3), ("Mo", 0.7), ("W", 10.0), ("Ta", 3.0), ("Al", 5.5),
///     ("Ti", 1.0), ("B", 0.015), ("Zr", 0.05), ("Hf", 1.5)];
/// let at = gamma_prime_percent(&Composition::new(&m, &[]).unwrap());
/// assert!((at - 62.0).abs() < 4.0); // published 62 vol%
/// ```
#[must_use]
pub fn gamma_prime_percent(c: &Composition) -> f64 {
    residue(c).gamma_prime
}

/// d-electron levels in eV. Ni to Al seen in DOI 10.1016/j.matdes.2017.04.062, the others from memory.
pub const MD: &[(&str, f64)] = &[
    ("Ni", 0.717),
    ("Co", 0.777),
    ("Cr", 1.142),
    ("Mo", 1.55),
    ("W", 1.655),
    ("Ta", 2.224),
    ("Ti", 2.271),
    ("Al", 1.9),
    ("Nb", 2.117),
    ("V", 1.543),
    ("Fe", 0.858),
    ("Mn", 0.957),
    ("Re", 1.267),
    ("Ru", 1.006),
    ("Hf", 3.02),
    ("Zr", 2.944),
    ("Cu", 0.615),
    ("Si", 1.9),
];

/// d-electron level of the whole alloy in eV, `Md = Σ x(i) Md(i)` over atomic fractions; elements
/// without a value (C, B) are left out and the rest is scaled to 1.
///
/// # Errors
/// No element has a value.
///
/// Source: Morinaga, Yukawa, Adachi, Ezaki, Superalloys 1984, p. 523, from memory.
///
/// ```
/// use knowledge::metallurgy::composition::Composition;
/// use knowledge::metallurgy::stability::d_electron_level;
/// let w = [("Co", 10.0), ("Al", 6.5), ("W", 9.0), ("Cr", 3.0), ("Ta", 5.0), ("Re", 3.0)];
/// let md = d_electron_level(&Composition::new(&w, &[]).unwrap()).unwrap();
/// assert!((md - 0.970).abs() < 0.0006); // published 0.970
/// ```
pub fn d_electron_level(c: &Composition) -> Result<f64, String> {
    let known = MD.iter().map(|(s, md)| (c.atomic_percent(s), md));
    let (sum, total) = known.fold((0.0, 0.0), |(a, t), (x, md)| (a + x * md, t + x));
    if total > 0.0 { Ok(sum / total) } else { Err("no element given has a d-electron level".into()) }
}
