//! Candidate causes as the score reads them: kinds found from the data, levels in a fixed order.

use crate::causes::packed::Codes;
use crate::causes::records::Direction;
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
    /// See [`crate::causes::records::Column::bonus`].
    pub bonus: f64,
    /// See [`crate::causes::records::Column::expects`].
    pub expects: Option<Direction>,
    /// The blades as they were recorded, where a few moulds hold a second level that the score leaves out.
    pub counted: Option<LevelsInMould>,
}

impl Factor {
    /// The levels of the blades inside moulds, for counting.
    pub fn blades(&self) -> Option<&LevelsInMould> {
        match &self.labels {
            Labels::Cell(cell) => Some(cell),
            _ => self.counted.as_ref(),
        }
    }
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

/// The cuts tried as thresholds are fewer than this.
pub(crate) const PARTS: usize = 40;

/// The shares of the known values below the cuts: every 5 %, and where few readings may do the harm the
/// 1, 2.5, 97.5 and 99 %.
const CUTS: [f64; 23] = [
    0.01, 0.025, 0.05, 0.10, 0.15, 0.20, 0.25, 0.30, 0.35, 0.40, 0.45, 0.50, 0.55, 0.60, 0.65, 0.70, 0.75,
    0.80, 0.85, 0.90, 0.95, 0.975, 0.99,
];

/// A cut leaves at least so many moulds, and so many heats, on either side.
const FEWEST_BESIDE: usize = 2;

/// A number column with fewer distinct values is a category.
const FEWEST_VALUES: usize = 10;

impl Number {
    /// Cuts at the shares of [`CUTS`] of the sorted known values and at the shop's limits; each as the
    /// shortest number that parts the readings there. `heat_of` is the heat of each unit; none where the
    /// units are heats.
    pub fn new(raw: Vec<f64>, limits: &[f64], heat_of: Option<&[u32]>) -> Self {
        let mut sorted: Vec<f64> = raw.iter().copied().filter(|x| !x.is_nan()).collect();
        sorted.sort_by(f64::total_cmp);
        let at = |share: f64| sorted.get((sorted.len() as f64 * share + 1e-9) as usize).copied();
        let beyond = |limit: f64| {
            let first = sorted.partition_point(|x| *x < limit);
            let after = sorted.partition_point(|x| *x <= limit);
            [first, after].map(|i| sorted.get(i).copied())
        };
        // the shop's limits first: a shop with more of them than there is room for loses shares, not limits
        let wanted = limits.iter().flat_map(|&l| beyond(l)).chain(CUTS.iter().map(|&share| at(share)));
        let mut cuts: Vec<f64> = Vec::new();
        for cut in wanted.flatten() {
            if cuts.len() < PARTS - 1 && !cuts.contains(&cut) && enough_beside(&raw, cut, heat_of) {
                cuts.push(cut);
            }
        }
        cuts.sort_by(f64::total_cmp);
        for cut in &mut cuts {
            let before = sorted.partition_point(|x| x < cut);
            if let Some(before) = before.checked_sub(1).and_then(|i| sorted.get(i)) {
                *cut = shortest_between(*before, *cut);
            }
        }
        Self::at(raw, cuts)
    }

    /// A number with these cuts, in rising order.
    pub fn at(raw: Vec<f64>, cuts: Vec<f64>) -> Self {
        let known = || raw.iter().copied().filter(|x| !x.is_nan());
        let count = (known().count() as f64).max(1.0);
        let mean = known().sum::<f64>() / count;
        let sd = (known().map(|x| (x - mean) * (x - mean)).sum::<f64>() / count).sqrt();
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

/// Whether a cut leaves enough units, and heats, on either side.
fn enough_beside(raw: &[f64], cut: f64, heat_of: Option<&[u32]>) -> bool {
    let mut sides = [(0usize, 0usize, u32::MAX); 2];
    for (i, &x) in raw.iter().enumerate().filter(|(_, x)| !x.is_nan()) {
        let (units, heats, last) = &mut sides[usize::from(x >= cut)];
        let heat = heat_of.map_or(i as u32, |h| h[i]);
        *units += 1;
        if *last != heat {
            *heats += 1;
            *last = heat;
        }
    }
    sides.iter().all(|&(units, heats, _)| units >= FEWEST_BESIDE && heats >= FEWEST_BESIDE)
}

/// The number with the fewest digits above `before` and not above `cut`: it parts the same readings, and
/// what is printed is what was used.
#[must_use]
pub fn shortest_between(before: f64, cut: f64) -> f64 {
    let rounds = |places: i32, toward: fn(f64) -> f64| {
        let scale = 10f64.powi(places);
        let rounded = toward(cut * scale) / scale;
        (rounded > before && rounded <= cut).then_some(rounded)
    };
    let first = -(cut.abs().max(1e-300).log10().floor() as i32);
    (first..first + 17)
        .find_map(|places| rounds(places, f64::round).or_else(|| rounds(places, f64::floor)))
        .unwrap_or(cut)
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
    fn cuts_part_the_readings_and_leave_two_on_either_side() {
        let number = Number::new(vec![3., 9., 1., 8., 7., 2., 5., 10., 4., 6.], &[], None);
        // a tenth of ten readings is one: below 3 lie two, from 9 on two
        assert_eq!(number.cuts, [3.0, 4.0, 5.0, 6.0, 7.0, 8.0, 9.0]);
        assert_eq!(number.bin, [1, 7, 0, 6, 5, 0, 3, 7, 2, 4]);
        let flat = Number::new(vec![2.0, 2.0, 2.0, f64::NAN], &[], None);
        assert!(flat.cuts.is_empty() && flat.bin == [0, 0, 0, NO_BIN]);
        // two units of one heat are no two heats
        let heats = [0, 0, 1, 2, 3, 3];
        let number = Number::new(vec![1., 1.5, 2., 3., 4., 5.], &[], Some(&heats));
        assert_eq!(number.cuts, [3.0]);
    }

    #[test]
    fn the_rare_end_and_the_limit_of_the_shop_are_cut_too() {
        // 4 of 400 at or above 30: beyond the 99 %
        let mut raw: Vec<f64> = (0..396).map(|i| 8.0 + f64::from(i % 140) / 10.0).collect();
        raw.extend([30.2, 31.0, 33.4, 36.0]);
        let number = Number::new(raw.clone(), &[], None);
        assert!(number.cuts.contains(&30.0), "{:?}", number.cuts);
        let limited = Number::new(raw, &[19.33], None);
        assert!(limited.cuts.iter().any(|c| *c > 19.3 && *c <= 19.4), "{:?}", limited.cuts);
        // however many limits there are, none is lost to the shares
        let raw: Vec<f64> = (0..400).map(f64::from).collect();
        let many: Vec<f64> = (0..19).map(|i| 3.5 + 20.0 * f64::from(i)).collect();
        let limited = Number::new(raw, &many, None);
        assert!(
            many.iter().all(|l| limited.cuts.iter().any(|c| c > l && *c <= l + 0.5)),
            "{:?}",
            limited.cuts
        );
        assert!(limited.cuts.len() < PARTS && limited.cuts.is_sorted());
    }

    #[test]
    fn a_cut_is_the_shortest_number_that_parts() {
        assert_eq!(shortest_between(0.24, 0.241_666_666_666), 0.241);
        assert_eq!(shortest_between(9.3, 9.4), 9.4);
        assert_eq!(shortest_between(1479.0, 1481.3), 1480.0);
        assert_eq!(shortest_between(-3.0, -2.5), -2.5);
        let (before, cut) = (0.1 + 0.2, 0.300_000_000_000_000_1);
        assert!(shortest_between(before, cut) > before);
    }

    #[test]
    fn levels_are_sorted_and_unused_ones_dropped() {
        let levels = ["b", "unused", "a"].map(String::from);
        let mut codes = vec![0, 2, MISSING, 0];
        assert_eq!(sort_levels(&mut codes, &levels), ["a", "b"]);
        assert_eq!(codes, [1, 0, MISSING, 1]);
    }
}
