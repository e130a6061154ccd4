//! Every factor scored once on the history as it was.

use crate::causes::components::Base;
use crate::causes::factors::Factor;
use crate::causes::factors::FactorKind;
use crate::causes::factors::Labels;
use crate::causes::factors::Number;
use crate::causes::factors::PARTS;
use crate::causes::layout::MouldLayout;
use crate::causes::layout::Pieces;
use crate::causes::layout::sum_levels;
use crate::causes::numbers::NumberSums;
use crate::causes::records::Direction;
use crate::causes::score::ELIGIBLE;
use crate::causes::score::ScoredLevel;
use crate::causes::score::Sums;
use crate::causes::score::ln_mix;
use crate::causes::score::signed_root;
use crate::causes::smoother::Series;
use crate::stats::dist::chi2_sf;
use crate::stats::dist::normal_sf;

/// A threshold is reported instead of a trend when its score is larger by this.
const THRESHOLD_LEAD: f64 = 0.7;

/// More levels than this are too many for a test of all of them at once.
const MOST_FOR_GLOBAL: usize = 12;

/// What a factor scored.
#[derive(Clone, Debug, Default)]
pub(crate) struct Score {
    /// ln of the mean Bayes factor.
    pub t: f64,
    /// p of the analytic screen.
    pub screen: f64,
    /// Levels with enough effective expected blades; 1 for a number.
    pub eligible: usize,
    pub what: NamedSet,
    /// The score R of what is named, averaged over the time models.
    pub r: f64,
    /// The effective expected number of the named level, and the observed one on the same scale.
    pub e: f64,
    pub o: f64,
}

impl NamedSet {
    /// Whether a finding lies on the side that was expected; so it does where none was.
    pub fn agrees(self, expected: Option<Direction>) -> bool {
        match (self.higher(), expected) {
            (Some(higher), Some(side)) => (side == Direction::Higher) == higher,
            _ => true,
        }
    }

    /// Whether the higher side of a number does harm; none for a category.
    pub fn higher(self) -> Option<bool> {
        match self {
            Self::Threshold { above, .. } => Some(above),
            Self::Trend { rising } => Some(rising),
            Self::Nothing | Self::Level(_) => None,
        }
    }
}

/// What a factor names.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(crate) enum NamedSet {
    #[default]
    Nothing,
    Level(u32),
    /// The side of a cut with more defects than expected.
    Threshold {
        cut: usize,
        above: bool,
    },
    /// Upwards or downwards.
    Trend {
        rising: bool,
    },
}

/// Room for one factor after another.
pub(crate) struct Scratch<const K: usize> {
    pub sums: Vec<Sums<K>>,
    pub pieces: Pieces,
    pub number: NumberSums<K>,
    pub logs: Vec<Option<f64>>,
}

impl<const K: usize> Scratch<K> {
    pub fn new() -> Self {
        Self { sums: Vec::new(), pieces: Pieces::default(), number: NumberSums::new(), logs: Vec::new() }
    }

    /// T of a factor on a layout: ln of the mean Bayes factor of its eligible levels, or of its number.
    /// `inside` holds U_w of each level where the factor varies inside moulds.
    pub fn statistic(
        &mut self,
        factor: &Factor,
        layout: MouldLayout<'_>,
        series: &Series<K>,
        inside: Option<&[f64]>,
    ) -> f64 {
        if let Labels::Number(number) = &factor.labels {
            return self.number_statistic(number, factor.kind == FactorKind::Heat, layout, series);
        }
        sum_levels(&factor.labels, factor.levels.len(), layout, series, &mut self.pieces, &mut self.sums);
        let (mut sum, mut count) = (0.0, 0usize);
        for l in 0..self.sums.len() {
            let level = ScoredLevel { sums: &self.sums[l], inside: within(factor, inside, l) };
            if let Some(bf) = level.bf(series) {
                sum += bf;
                count += 1;
            }
        }
        if count == 0 {
            0.0
        } else if sum < f64::INFINITY {
            (sum / count as f64).max(1e-300).ln()
        } else {
            self.log_levels(factor, series, inside);
            ln_mean(&self.logs)
        }
    }

    /// ln of the Bayes factor of each eligible level; none for the others.
    fn log_levels(&mut self, factor: &Factor, series: &Series<K>, inside: Option<&[f64]>) {
        self.logs.clear();
        for l in 0..self.sums.len() {
            let level = ScoredLevel { sums: &self.sums[l], inside: within(factor, inside, l) };
            self.logs.push(level.bf(series).map(|_| level.ln_bf(series)));
        }
    }

    pub fn number_statistic(
        &mut self,
        number: &Number,
        of_heats: bool,
        layout: MouldLayout<'_>,
        series: &Series<K>,
    ) -> f64 {
        self.number.fill(number, of_heats, layout, series);
        self.number.ln_bf(series)
    }

    /// The whole score of a factor.
    pub fn score(&mut self, factor: &Factor, layout: MouldLayout<'_>, series: &Series<K>) -> Score {
        match &factor.labels {
            Labels::Number(number) => {
                self.score_number(number, factor.kind == FactorKind::Heat, layout, series)
            }
            Labels::Cell(cell) => {
                let inside: Vec<f64> = cell.seen.iter().zip(&cell.even).map(|(s, e)| s - e).collect();
                self.score_levels(factor, layout, series, Some(&inside))
            }
            _ => self.score_levels(factor, layout, series, None),
        }
    }

    fn score_levels(
        &mut self,
        factor: &Factor,
        layout: MouldLayout<'_>,
        series: &Series<K>,
        inside: Option<&[f64]>,
    ) -> Score {
        let t = self.statistic(factor, layout, series, inside);
        self.log_levels(factor, series, inside);
        let mut best: Option<(f64, u32)> = None;
        for (l, ln_bf) in self.logs.iter().enumerate() {
            let Some(ln_bf) = *ln_bf else { continue };
            if best.is_none_or(|(most, _)| ln_bf > most) {
                best = Some((ln_bf, l as u32));
            }
        }
        let (mut r, mut e, mut o, mut screen) = (0.0, 0.0, 0.0, 0.0);
        for k in (0..K).filter(|&k| series.weight[k] > 0.0) {
            let (mut most, mut square, mut count) = (f64::NEG_INFINITY, 0.0, 0usize);
            for l in 0..self.sums.len() {
                let level = ScoredLevel { sums: &self.sums[l], inside: within(factor, inside, l) };
                let (u, v, s) = level.uvs(series, k);
                let Some((root, expected)) = signed_root(u, v, s) else { continue };
                if best.is_some_and(|(_, named)| named as usize == l) {
                    r += series.weight[k] * root;
                    e += series.weight[k] * expected;
                    o += series.weight[k] * (expected + u).clamp(0.0, expected / s);
                }
                if expected >= ELIGIBLE {
                    most = most.max(root);
                    square += root * root * (1.0 - s);
                    count += 1;
                }
            }
            screen += series.weight[k] * screen_p(most, square, count);
        }
        let what = best.map_or(NamedSet::Nothing, |(_, level)| NamedSet::Level(level));
        Score { t, screen: screen.min(1.0), eligible: self.logs.iter().flatten().count(), what, r, e, o }
    }

    /// The whole score of a number.
    pub fn score_number(
        &mut self,
        number: &Number,
        of_heats: bool,
        layout: MouldLayout<'_>,
        series: &Series<K>,
    ) -> Score {
        let t = self.number_statistic(number, of_heats, layout, series);
        let (mut screen, mut trend) = (0.0, 0.0);
        let mut cuts = [[0.0; 4]; PARTS];
        for k in (0..K).filter(|&k| series.weight[k] > 0.0) {
            let weight = series.weight[k];
            let Some(verdict) = self.number.verdict(k) else {
                screen += weight;
                continue;
            };
            screen += weight * verdict.p;
            trend += weight * verdict.trend;
            for (sum, cut) in cuts.iter_mut().zip(&verdict.cuts) {
                if let Some(cut) = cut {
                    let seen = (cut.e + cut.u).clamp(0.0, cut.e / cut.side);
                    // the set is the side with more than expected
                    let (e, o) = if cut.r > 0.0 {
                        (cut.e, seen)
                    } else {
                        (cut.e / cut.side - cut.e, cut.e / cut.side - seen)
                    };
                    for (sum, term) in sum.iter_mut().zip([1.0, cut.r, e, o]) {
                        *sum += weight * term;
                    }
                }
            }
        }
        let mut what = NamedSet::Trend { rising: trend > 0.0 };
        let (mut r, mut e, mut o) = (trend.abs(), 0.0, 0.0);
        for (cut, [weight, root, expected, seen]) in cuts.into_iter().enumerate() {
            let bar = if matches!(what, NamedSet::Trend { .. }) { r + THRESHOLD_LEAD } else { r };
            if weight > 0.5 && root.abs() > bar {
                what = NamedSet::Threshold { cut, above: root > 0.0 };
                (r, e, o) = (root.abs(), expected, seen);
            }
        }
        Score { t, screen: screen.min(1.0), eligible: 1, what, r, e, o }
    }
}

/// U_w and V_w of a level.
fn within(factor: &Factor, inside: Option<&[f64]>, level: usize) -> Option<(f64, f64)> {
    match (&factor.labels, inside) {
        (Labels::Cell(cell), Some(u)) => Some((u[level], cell.variance[level])),
        _ => None,
    }
}

fn ln_mean(logs: &[Option<f64>]) -> f64 {
    let count = logs.iter().flatten().count();
    if count == 0 {
        return 0.0;
    }
    let share = 1.0 / count as f64;
    ln_mix(logs.iter().flatten().map(|&l| (share, l)))
}

/// The chance that the largest of so many independent scores reaches this.
pub(crate) fn largest_p(most: f64, count: usize) -> f64 {
    if count == 0 { 1.0 } else { -(count as f64 * (-normal_sf(most)).ln_1p()).exp_m1() }
}

/// The smaller of the chance of the largest score among independent levels, and of the sum of squares.
fn screen_p(most: f64, square: f64, count: usize) -> f64 {
    let largest = largest_p(most, count);
    if (2..=MOST_FOR_GLOBAL).contains(&count) {
        largest.min(chi2_sf(square, count as f64 - 1.0).unwrap_or(1.0))
    } else {
        largest
    }
}

/// The history as it was poured.
pub(crate) fn as_poured<'a>(base: &'a Base, start: &'a [usize], share: &'a [f64]) -> MouldLayout<'a> {
    MouldLayout { a: &base.a, s: &base.inside, start, heats: &base.heats, share }
}
