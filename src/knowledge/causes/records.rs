//! What the analysis is given: blades, moulds in pour order, heats, and columns of what was upstream.

/// The code of a value that was not recorded.
pub const MISSING: u32 = u32::MAX;

/// The smallest share of a heat's metal that makes a lot count as one of its sources (our convention).
pub const SHARE_THAT_COUNTS: f64 = 0.10;

/// Inspected blades with what was upstream of them. Any order of blades, heats and columns gives the
/// same answer; moulds stand in pour order.
#[derive(Clone, Debug, Default)]
pub struct Records {
    /// Blades made in the scope of the question, inspected or not; 0 where nobody counted.
    pub made: usize,
    /// The mould of each inspected blade, an index into `mould_tags`.
    pub blade_mould: Vec<u32>,
    /// Whether each inspected blade is with the defect (1) or not (0); with `counts` how many findings
    /// it has, but the figures were calibrated on 0 and 1.
    pub defective: Vec<u32>,
    /// Whether `defective` holds counts of findings.
    pub counts: bool,
    /// What each inspected blade is compared within, an index into `strata`; empty: one stratum.
    pub stratum: Vec<u32>,
    /// The names of the strata.
    pub strata: Vec<String>,
    /// The moulds, in pour order.
    pub mould_tags: Vec<String>,
    /// The heat of each mould, an index into `heat_tags`.
    pub mould_heat: Vec<u32>,
    /// The heats.
    pub heat_tags: Vec<String>,
    /// The candidate causes.
    pub columns: Vec<Column>,
}

/// One candidate cause.
#[derive(Clone, Debug, serde::Serialize, serde::Deserialize)]
pub struct Column {
    /// Its name, as it is to be printed.
    pub name: String,
    /// Whose value it is.
    pub at: At,
    /// The value of each blade, mould or heat, in the order of [`Records`].
    pub values: Values,
    /// How many of the values were below detection and entered as half the limit.
    pub below_detection: usize,
    /// Its weight among the tests, chosen before any outcome is looked at; 1 is the usual. Weights are
    /// scaled to a mean of 1, and each p is divided by its own (Genovese, Roeder and Wasserman 2006,
    /// Biometrika 93:509-524; from memory).
    pub weight: f64,
    /// What the shop's knowledge of the defect multiplies the weight by; 1 is the usual.
    pub bonus: f64,
    /// The side on which that knowledge expects the harm; a finding on the other side gets no bonus. None
    /// where it has no side.
    pub expects: Option<Direction>,
    /// Limits that the shop has on record for a reading: a number is cut there too.
    pub limits: Vec<f64>,
}

/// The side of a reading on which harm is expected.
#[derive(Clone, Copy, Debug, PartialEq, Eq, serde::Serialize, serde::Deserialize)]
pub enum Direction {
    /// With a higher reading.
    Higher,
    /// With a lower reading.
    Lower,
}

/// The kind of record that a column has a value for.
#[derive(Clone, Copy, Debug, PartialEq, Eq, serde::Serialize, serde::Deserialize)]
pub enum At {
    /// One value for each inspected blade.
    Blade,
    /// One value for each mould.
    Mould,
    /// One value for each heat.
    Heat,
}

/// The values of a column.
#[derive(Clone, Debug, serde::Serialize, serde::Deserialize)]
pub enum Values {
    /// One level each.
    Words {
        /// An index into `levels`, or [`MISSING`].
        codes: Vec<u32>,
        /// The level texts.
        levels: Vec<String>,
    },
    /// A number each; NaN is not recorded.
    Numbers(Vec<f64>),
    /// Several levels with their shares, such as the ingot lots in a heat through every generation of
    /// revert; at heats only. `None` is not recorded.
    Shares {
        /// (index into `levels`, share from 0 to 1).
        of: Vec<Option<Vec<(u32, f64)>>>,
        /// The level texts.
        levels: Vec<String>,
    },
}

impl Values {
    /// Number of levels or values.
    #[allow(clippy::len_without_is_empty, reason = "a column of no moulds is never made")]
    pub fn len(&self) -> usize {
        match self {
            Self::Words { codes, .. } => codes.len(),
            Self::Numbers(x) => x.len(),
            Self::Shares { of, .. } => of.len(),
        }
    }
}

impl Column {
    /// A column of the usual weight, without limits.
    #[must_use]
    pub fn new(name: &str, at: At, values: Values) -> Self {
        Self {
            name: name.to_string(),
            at,
            values,
            below_detection: 0,
            weight: 1.0,
            bonus: 1.0,
            expects: None,
            limits: Vec::new(),
        }
    }

    /// Refuses what does not fit so many blades, moulds and heats.
    pub(crate) fn check(&self, [blades, moulds, heats]: [usize; 3]) -> Result<(), String> {
        let wanted = match self.at {
            At::Blade => blades,
            At::Mould => moulds,
            At::Heat => heats,
        };
        if self.values.len() != wanted {
            let have = self.values.len();
            return Err(format!("{}: {have} values where {wanted} belong", self.name));
        }
        match &self.values {
            Values::Words { codes, levels } => {
                let known = codes.iter().filter(|&&c| c != MISSING);
                if let Some(c) = known.clone().find(|&&c| c as usize >= levels.len()) {
                    return Err(format!("{}: level {c} of {}", self.name, levels.len()));
                }
            }
            Values::Shares { of, levels } => {
                if self.at != At::Heat {
                    return Err(format!("{}: shares belong to heats", self.name));
                }
                let bad = |(level, share): &&(u32, f64)| {
                    *level as usize >= levels.len() || !(0.0..=1.0 + 1e-9).contains(share)
                };
                if let Some((level, share)) = of.iter().flatten().flatten().find(bad) {
                    return Err(format!("{}: share {share} of level {level}", self.name));
                }
            }
            Values::Numbers(x) => {
                if let Some(x) = x.iter().find(|x| x.is_infinite()) {
                    return Err(format!("{}: {x} is no number", self.name));
                }
            }
        }
        if let Some(weight) =
            [self.weight, self.bonus].into_iter().find(|weight| !(*weight > 0.0 && weight.is_finite()))
        {
            return Err(format!("{}: a weight of {weight}", self.name));
        }
        Ok(())
    }
}

impl Records {
    /// Refuses what cannot be right: lists of unequal length, indices beyond their list.
    pub(crate) fn check(&self) -> Result<(), String> {
        let (blades, moulds, heats) = (self.blade_mould.len(), self.mould_tags.len(), self.heat_tags.len());
        if self.defective.len() != blades {
            return Err(format!("{} outcomes for {blades} blades", self.defective.len()));
        }
        if !self.counts {
            if let Some(b) = self.defective.iter().position(|&y| y > 1) {
                return Err(format!("blade {} has {} where 0 or 1 belongs", b + 1, self.defective[b]));
            }
        }
        if !self.stratum.is_empty() && self.stratum.len() != blades {
            return Err(format!("{} strata for {blades} blades", self.stratum.len()));
        }
        if self.mould_heat.len() != moulds {
            return Err(format!("{} heats for {moulds} moulds", self.mould_heat.len()));
        }
        within("a blade's mould", &self.blade_mould, moulds)?;
        within("a blade's stratum", &self.stratum, self.strata.len())?;
        within("a mould's heat", &self.mould_heat, heats)?;
        Ok(())
    }

    /// The number of blades, moulds and heats.
    pub(crate) fn units(&self) -> [usize; 3] {
        [self.blade_mould.len(), self.mould_tags.len(), self.heat_tags.len()]
    }
}

fn within(what: &str, index: &[u32], count: usize) -> Result<(), String> {
    match index.iter().find(|&&i| i as usize >= count) {
        Some(i) => Err(format!("{what} is number {i} of {count}")),
        None => Ok(()),
    }
}
