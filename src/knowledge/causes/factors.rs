//! Candidate causes as the score reads them: kinds found from the data, levels in a fixed order.

use crate::causes::packed::Codes;
use crate::causes::records::MISSING;

/// Where a factor's value is constant.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum FactorKind {
    /// One value for a whole heat.
    Heat,
    /// One value for a mould.
    Mould,
    /// Values differ between the blades of a mould.
    Cell,
}

impl FactorKind {
    /// The word in the answer: heat, mould, cell.
    #[must_use]
    pub(crate) fn word(self) -> &'static str {
        match self {
            Self::Heat => "heat",
            Self::Mould => "mould",
            Self::Cell => "cell",
        }
    }
}

/// One candidate cause, its values laid along the moulds (or heats) in pour order.
#[derive(Clone, Debug)]
pub(crate) struct Factor {
    pub name: String,
    pub kind: FactorKind,
    pub labels: Labels,
    /// Level texts, sorted; empty for a number.
    pub levels: Vec<String>,
    /// Moulds of which the value is known.
    pub known: usize,
    pub below_detection: usize,
    /// See [`crate::causes::records::Column::weight`].
    pub weight: f64,
}

/// The values of a factor.
#[derive(Clone, Debug)]
pub(crate) enum Labels {
    /// A code for each heat.
    Heat(Vec<u32>),
    /// Several levels for each heat.
    Lots(Lots),
    /// A code for each mould, as runs.
    Mould(Runs),
    /// Codes inside moulds.
    Cell(LevelsInMould),
    /// A number for each mould or heat.
    Number(Number),
}

/// Level sets that may overlap: heat h has `level[start[h]..start[h + 1]]`.
#[derive(Clone, Debug, Default)]
pub(crate) struct Lots {
    pub start: Vec<u32>,
    pub level: Vec<u32>,
    pub known: Vec<bool>,
    /// Mean share of each level over its heats.
    pub mean_share: Vec<f64>,
}

/// Codes along the moulds, run by run; the last entry of `start` is the number of moulds.
#[derive(Clone, Debug, Default)]
pub(crate) struct Runs {
    pub start: Vec<u32>,
    pub level: Vec<u32>,
}

impl Runs {
    pub fn of(codes: &[u32]) -> Self {
        let mut runs = Self::default();
        for (i, &code) in codes.iter().enumerate() {
            if runs.level.last() != Some(&code) {
                runs.start.push(i as u32);
                runs.level.push(code);
            }
        }
        runs.start.push(codes.len() as u32);
        runs.start.shrink_to_fit();
        runs.level.shrink_to_fit();
        runs
    }

    pub fn iter(&self) -> impl Iterator<Item = (std::ops::Range<usize>, u32)> + '_ {
        self.level
            .iter()
            .enumerate()
            .map(|(r, &level)| (self.start[r] as usize..self.start[r + 1] as usize, level))
    }
}

/// Levels that differ inside moulds: mould m has entries `start[m]..start[m + 1]`.
#[derive(Clone, Debug, Default)]
pub(crate) struct LevelsInMould {
    pub start: Vec<u32>,
    pub level: Vec<u32>,
    /// Blades of the level in the mould.
    pub count: Vec<u16>,
    /// Defective blades of the level in the mould.
    pub with: Vec<u16>,
    /// The code of each blade, in the order of the history's blades.
    pub code: Codes,
    /// For each level Σ y n_ℓ/n over the moulds with some but not all blades defective.
    pub even: Vec<f64>,
    /// For each level Σ y_ℓ over the same moulds.
    pub seen: Vec<f64>,
    /// For each level the hypergeometric variance of `seen`.
    pub variance: Vec<f64>,
}

/// Numbers with the cuts that are tried as thresholds.
#[derive(Clone, Debug, Default)]
pub(crate) struct Number {
    /// For each mould, or heat where the factor is one of heats; NaN is not recorded.
    pub raw: Vec<f64>,
    /// How many cuts lie at or below each value; [`NO_BIN`] where it is not recorded.
    pub bin: Vec<u8>,
    pub cuts: Vec<f64>,
    pub mean: f64,
    pub sd: f64,
}

/// The bin of a number that was not recorded.
pub(crate) const NO_BIN: u8 = u8::MAX;

/// The cuts tried as thresholds are at most this many less one.
pub(crate) const PARTS: usize = 20;

/// A number column with fewer distinct values is a category.
const FEWEST_VALUES: usize = 10;

impl Number {
    /// Cuts at the sorted known value number ⌊N k/parts⌋, duplicates and the minimum dropped.
    pub fn new(raw: Vec<f64>, parts: usize) -> Self {
        let mut sorted: Vec<f64> = raw.iter().copied().filter(|x| !x.is_nan()).collect();
        sorted.sort_by(f64::total_cmp);
        let count = sorted.len() as f64;
        let mean = sorted.iter().sum::<f64>() / count.max(1.0);
        let sd = (sorted.iter().map(|x| (x - mean) * (x - mean)).sum::<f64>() / count.max(1.0)).sqrt();
        let mut cuts: Vec<f64> =
            (1..parts).filter_map(|k| sorted.get(sorted.len() * k / parts).copied()).collect();
        cuts.dedup();
        cuts.retain(|c| sorted.first().is_some_and(|least| c > least));
        let bin = raw
            .iter()
            .map(|x| if x.is_nan() { NO_BIN } else { cuts.partition_point(|c| c <= x) as u8 })
            .collect();
        Self { raw, bin, cuts, mean, sd }
    }

    /// The value of unit i in standard deviations from the mean, cut at 3; 0 where it is not recorded.
    pub fn standard(&self, i: usize) -> f64 {
        if self.bin[i] == NO_BIN || self.sd <= 0.0 {
            0.0
        } else {
            ((self.raw[i] - self.mean) / self.sd).clamp(-3.0, 3.0)
        }
    }
}

/// Whether numbers have too few distinct values to be more than a category.
pub(crate) fn few_values(x: &[f64]) -> bool {
    let mut distinct: Vec<f64> = Vec::with_capacity(FEWEST_VALUES);
    for &x in x.iter().filter(|x| !x.is_nan()) {
        if !distinct.contains(&x) {
            distinct.push(x);
            if distinct.len() >= FEWEST_VALUES {
                return false;
            }
        }
    }
    true
}

/// Numbers as a category, levels in rising order.
pub(crate) fn as_words(x: &[f64]) -> (Vec<u32>, Vec<String>) {
    let mut values: Vec<f64> = x.iter().copied().filter(|x| !x.is_nan()).collect();
    values.sort_by(f64::total_cmp);
    values.dedup();
    let code = |x: &f64| {
        if x.is_nan() { MISSING } else { values.partition_point(|v| v < x) as u32 }
    };
    (x.iter().map(code).collect(), values.iter().map(f64::to_string).collect())
}

/// Codes onto the levels in use, sorted by text, so that the answer does not hang on the order in
/// which levels were met.
pub(crate) fn sort_levels(codes: &mut [u32], levels: &[String]) -> Vec<String> {
    let mut used = vec![false; levels.len()];
    for &c in codes.iter().filter(|&&c| c != MISSING) {
        used[c as usize] = true;
    }
    let (map, sorted) = sorted_levels(&used, levels);
    for c in codes.iter_mut().filter(|c| **c != MISSING) {
        *c = map[*c as usize];
    }
    sorted
}

/// For each level its place among the used ones sorted by text, and those texts.
pub(crate) fn sorted_levels(used: &[bool], levels: &[String]) -> (Vec<u32>, Vec<String>) {
    let mut order: Vec<usize> = (0..levels.len()).filter(|&l| used[l]).collect();
    order.sort_by(|&a, &b| levels[a].cmp(&levels[b]));
    let mut map = vec![MISSING; levels.len()];
    let mut sorted: Vec<String> = Vec::with_capacity(order.len());
    for l in order {
        if sorted.last() != Some(&levels[l]) {
            sorted.push(levels[l].clone());
        }
        map[l] = sorted.len() as u32 - 1;
    }
    (map, sorted)
}

/// The commonest of some codes; the smaller one where two are equally common. [`MISSING`] only where
/// nothing else is.
pub(crate) fn commonest(codes: &mut [u32]) -> u32 {
    codes.sort_unstable();
    let mut best = (0, MISSING);
    for run in codes.chunk_by(|a, b| a == b) {
        if run[0] != MISSING && run.len() > best.0 {
            best = (run.len(), run[0]);
        }
    }
    best.1
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn cuts_are_the_quantiles_without_the_least() {
        let number = Number::new(vec![3., 9., 1., 8., 7., 2., 5., 10., 4., 6.], 4);
        assert_eq!(number.cuts, [3.0, 6.0, 8.0]);
        assert_eq!(number.bin, [1, 3, 0, 3, 2, 0, 1, 3, 1, 2]);
        let flat = Number::new(vec![2.0, 2.0, 2.0, f64::NAN], PARTS);
        assert!(flat.cuts.is_empty() && flat.bin == [0, 0, 0, NO_BIN]);
    }

    #[test]
    fn levels_are_sorted_and_unused_ones_dropped() {
        let levels = ["b", "unused", "a"].map(String::from);
        let mut codes = vec![0, 2, MISSING, 0];
        assert_eq!(sort_levels(&mut codes, &levels), ["a", "b"]);
        assert_eq!(codes, [1, 0, MISSING, 1]);
    }
}
