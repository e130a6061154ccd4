//! Two groups of moulds held against each other: a comparison, or a trial of two arms.

use serde::Serialize;

use crate::causes::effect::FEWEST_HEATS;
use crate::causes::next::moulds_for_means;
use crate::causes::next::moulds_per_arm;
use crate::causes::permutation::MouldSum;
use crate::causes::permutation::permutation;
use crate::causes::sets::BladeGroup;
use crate::stats::compensated::mean;
use crate::stats::compensated::squares_about;
use crate::stats::dist::t_quantile;

/// One mould of a comparison.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ArmMould {
    /// Inspected blades.
    pub blades: u32,
    /// Of them with the defect.
    pub with: u32,
    /// Whether it belongs to the second arm.
    pub second: bool,
    /// Its heat, or its block where the trial has blocks.
    pub block: u32,
}

/// One mould of a comparison of measured values.
#[derive(Clone, Debug, PartialEq)]
pub struct ArmValues {
    /// A value for each measured blade.
    pub values: Vec<f64>,
    /// Whether it belongs to the second arm.
    pub second: bool,
    /// Its heat, or its block where the trial has blocks.
    pub block: u32,
}

/// Which mean is the better one.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Better {
    /// The lower.
    Lower,
    /// The higher.
    Higher,
    /// The one nearer to this value, such as the middle between two limits.
    Nearer(f64),
    /// Nobody said.
    Unknown,
}

/// One arm.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Arm {
    /// Blades, moulds, heats (or blocks), with; for measured values `with` is 0.
    #[serde(flatten)]
    pub group: BladeGroup,
    /// The share with the defect, or the mean of the values.
    pub rate: Option<f64>,
    /// Standard deviation of the values; none for a share.
    pub sd: Option<f64>,
}

/// Moulds that a trial would need.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
pub struct Needed {
    /// Moulds in each arm, one-sided 5 %, power 80 %.
    pub moulds_per_arm: u64,
}

/// The figures of two arms held against each other.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Figures {
    /// Rate (or mean) of b less that of a.
    pub difference: Option<f64>,
    /// Its 95 % interval.
    pub interval: Option<[f64; 2]>,
    /// Rate of b over rate of a; none for means.
    pub ratio: Option<f64>,
    /// Its 95 % interval.
    pub ratio_interval: Option<[f64; 2]>,
    /// Two-sided, from arms dealt anew.
    pub p: Option<f64>,
    /// How many times the variance is that of independent blades.
    pub design_effect: Option<f64>,
    /// a better, b better, or cannot tell.
    pub verdict: &'static str,
    /// What it would take to tell such arms apart.
    pub needed: Option<Needed>,
}

/// What two arms say.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Comparison {
    /// The first arm.
    pub a: Arm,
    /// The second arm.
    pub b: Arm,
    /// Difference, ratio, intervals, p.
    #[serde(flatten)]
    pub figures: Figures,
    /// What to know about the figures, as sentences.
    pub notes: Vec<String>,
}

/// An interval of a ratio whose ends are further apart than this factor says nothing and is left out. Wider
/// than that of a ranked set: two arms that were asked for may be small, and one may have none. Common
/// practice, no source.
const WIDEST_RATIO: f64 = 10_000.0;

/// Compares two arms. Moulds are the units: rate = Σy/Σn, difference ± t·s with s² = Σ_blocks(Σ d)²,
/// d = ±(y − n·rate)/Σn, and two degrees of freedom fewer than blocks (heats where there are none); the
/// ratio on the log scale. No variance is taken below that of independent blades, which few heats that are
/// alike by luck would give; no interval where an arm has fewer than three heats or blocks, and the difference
/// ends at −1 and 1. An arm without any takes ½ for its count in the ratio, and the variance 1/½ of that
/// count, since moulds without any show no spread of their own. p: arms dealt anew among the moulds of each
/// block that holds both, and among whole blocks that hold one; 9,999 deals, or all where they are fewer.
/// One arm is called better only when the interval leaves out 0 and p < 0.05.
///
/// Source: the ratio estimator with the spread between clusters (Cochran, Sampling Techniques, ch. 6 and 9);
/// randomisation test (Fisher 1935). The ½ is common practice.
///
/// ```
/// use knowledge::causes::{ArmMould, compare};
/// let mould = |with, second, block| ArmMould { blades: 8, with, second, block };
/// let moulds: Vec<_> = (0..6).flat_map(|h| [mould(1, false, h), mould(2, true, h)]).collect();
/// let answer = compare(&moulds, 1);
/// assert_eq!(answer.figures.difference, Some(0.125));
/// assert_eq!(answer.figures.p, Some(2.0 / 64.0));
/// ```
#[must_use]
pub fn compare(moulds: &[ArmMould], seed: u64) -> Comparison {
    let mut order: Vec<MouldSum> = moulds
        .iter()
        .filter(|m| m.blades > 0)
        .map(|m| MouldSum { n: f64::from(m.blades), y: f64::from(m.with), second: m.second, block: m.block })
        .collect();
    in_order(&mut order);
    let mut answer = empty(counted(&order, false), counted(&order, true));
    let (a, b) = (answer.a, answer.b);
    let (Some(rate_a), Some(rate_b)) = (a.rate, b.rate) else {
        answer.notes.push("One arm has no inspected blade.".into());
        return answer;
    };
    let (n_a, n_b) = (a.group.blades as f64, b.group.blades as f64);
    let binomial = rate_a * (1.0 - rate_a) / n_a + rate_b * (1.0 - rate_b) / n_b;
    let apart = differ(&mut answer, &order, Spread { independent: binomial, least: binomial }, seed);
    if let Some([low, high]) = &mut answer.figures.interval {
        (*low, *high) = (low.max(-1.0), high.min(1.0));
    }
    if a.group.with > 0 {
        answer.figures.ratio = Some(rate_b / rate_a);
    }
    if answer.figures.interval.is_some() && a.group.with + b.group.with > 0 {
        ratio_interval(&mut answer, &blocks_of(&order), (rate_a, n_a), (rate_b, n_b));
    }
    if apart {
        answer.figures.verdict = if rate_b > rate_a { "a better" } else { "b better" };
    }
    let per_mould = (n_a + n_b) / order.len() as f64;
    let clumping = answer.figures.design_effect.unwrap_or(1.0);
    answer.figures.needed =
        moulds_per_arm(rate_a, rate_b, per_mould, clumping).map(|k| Needed { moulds_per_arm: k });
    answer
}

/// The interval of rate of b over rate of a, on the log scale.
fn ratio_interval(answer: &mut Comparison, blocks: &[&[MouldSum]], a: (f64, f64), b: (f64, f64)) {
    let Some(t) = t_of(blocks) else { return };
    let counts = [(answer.a.group.with, a.0), (answer.b.group.with, b.0)];
    let half = |with: usize| if with == 0 { 0.5 } else { with as f64 };
    let (y_a, y_b) = (half(counts[0].0), half(counts[1].0));
    let log = ((y_b / b.1) / (y_a / a.1)).ln();
    let none: f64 = counts.iter().filter(|c| c.0 == 0).map(|_| 1.0 / 0.5).sum();
    let independent: f64 = counts.iter().filter(|c| c.0 > 0).map(|c| (1.0 - c.1) / c.0 as f64).sum();
    let variance = square(blocks, (a.0, 1.0 / y_a), (b.0, 1.0 / y_b)).max(independent) + none;
    let wide = t * variance.sqrt();
    let says_something = 2.0 * wide < WIDEST_RATIO.ln();
    answer.figures.ratio_interval = says_something.then(|| [(log - wide).exp(), (log + wide).exp()]);
    if !says_something {
        answer
            .notes
            .push("The interval of the ratio is so wide that it says nothing; it is left out.".into());
    }
    if none > 0.0 {
        answer.notes.push(
            "One arm has none with the defect: the interval of the difference rests on the spread of the \
             other arm alone."
                .into(),
        );
    }
}

/// The same for measured values: the mean of an arm's values stands in place of the rate, the variance of
/// independent values s²/n in place of the binomial one; no ratio. Blocks may take out what differs between
/// heats, so the variance may lie below s²/n, never below that of the values within moulds (pooled over both
/// arms, s_w²/n). `better` says which mean is to be preferred; where nobody said, the verdict is never more
/// than "cannot tell".
///
/// ```
/// use knowledge::causes::{ArmValues, Better, compare_means};
/// let mould = |v: f64, second, block| ArmValues { values: vec![v, v + 1.0], second, block };
/// let moulds: Vec<_> = (0..6).flat_map(|h| [mould(1.0, false, h), mould(3.0, true, h)]).collect();
/// let answer = compare_means(&moulds, Better::Lower, 1);
/// assert_eq!((answer.figures.difference, answer.figures.p), (Some(2.0), Some(2.0 / 64.0)));
/// ```
#[must_use]
pub fn compare_means(moulds: &[ArmValues], better: Better, seed: u64) -> Comparison {
    let mut order: Vec<MouldSum> = moulds
        .iter()
        .filter(|m| !m.values.is_empty())
        .map(|m| MouldSum {
            n: m.values.len() as f64,
            y: m.values.iter().sum(),
            second: m.second,
            block: m.block,
        })
        .collect();
    in_order(&mut order);
    let values = |second: bool| -> Vec<f64> {
        let mut all: Vec<f64> =
            moulds.iter().filter(|m| m.second == second).flat_map(|m| m.values.iter().copied()).collect();
        all.sort_by(f64::total_cmp);
        all
    };
    let mut answer = empty(measured(&order, false, &values(false)), measured(&order, true, &values(true)));
    let (a, b) = (answer.a, answer.b);
    let (Some(mean_a), Some(mean_b)) = (a.rate, b.rate) else {
        answer.notes.push("One arm has no measured blade.".into());
        return answer;
    };
    let (n_a, n_b) = (a.group.blades as f64, b.group.blades as f64);
    let (var_a, var_b) = (a.sd.unwrap_or(0.0).powi(2), b.sd.unwrap_or(0.0).powi(2));
    let independent = var_a / n_a + var_b / n_b;
    let least = within_moulds(moulds).map_or(independent, |v| v / n_a + v / n_b);
    let apart = differ(&mut answer, &order, Spread { independent, least }, seed);
    if apart {
        answer.figures.verdict = match better {
            Better::Unknown => {
                answer
                    .notes
                    .push("The means differ, but no limit says which of them is the better one.".into());
                "cannot tell"
            }
            Better::Lower if mean_b > mean_a => "a better",
            Better::Higher if mean_b < mean_a => "a better",
            Better::Nearer(aim) if (mean_b - aim).abs() > (mean_a - aim).abs() => "a better",
            _ => "b better",
        };
    }
    let per_mould = (n_a + n_b) / order.len() as f64;
    let clumping = answer.figures.design_effect.unwrap_or(1.0);
    answer.figures.needed = moulds_for_means(mean_b - mean_a, var_a + var_b, per_mould, clumping)
        .map(|k| Needed { moulds_per_arm: k });
    answer
}

/// The variance of values about the mean of their mould; none where no mould has two.
fn within_moulds(moulds: &[ArmValues]) -> Option<f64> {
    let spare: usize = moulds.iter().map(|m| m.values.len().saturating_sub(1)).sum();
    let squares: f64 =
        moulds.iter().filter_map(|m| mean(&m.values).map(|centre| squares_about(&m.values, centre))).sum();
    (spare > 0).then(|| squares / spare as f64)
}

fn in_order(units: &mut [MouldSum]) {
    units.sort_by(|p, q| {
        (p.block, p.second).cmp(&(q.block, q.second)).then(p.n.total_cmp(&q.n)).then(p.y.total_cmp(&q.y))
    });
}

fn empty(a: Arm, b: Arm) -> Comparison {
    Comparison {
        a,
        b,
        figures: Figures {
            difference: None,
            interval: None,
            ratio: None,
            ratio_interval: None,
            p: None,
            design_effect: None,
            verdict: "cannot tell",
            needed: None,
        },
        notes: Vec::new(),
    }
}

fn blocks_of(order: &[MouldSum]) -> Vec<&[MouldSum]> {
    order.chunk_by(|x, y| x.block == y.block).collect()
}

/// t for a 95 % interval; none with fewer than three blocks.
fn t_of(blocks: &[&[MouldSum]]) -> Option<f64> {
    blocks.len().checked_sub(2).filter(|df| *df > 0).and_then(|df| t_quantile(0.975, df as f64))
}

/// Σ_blocks(Σ ±(y − n·rate)·scale)².
fn square(blocks: &[&[MouldSum]], a: (f64, f64), b: (f64, f64)) -> f64 {
    let of_mould = |m: &MouldSum| {
        let (rate, scale) = if m.second { b } else { (a.0, -a.1) };
        (m.y - m.n * rate) * scale
    };
    blocks.iter().map(|moulds| moulds.iter().map(of_mould).sum::<f64>().powi(2)).sum()
}

/// Variances of a difference that the spread between blocks is held against.
struct Spread {
    /// That of independent blades.
    independent: f64,
    /// What no variance is taken below.
    least: f64,
}

/// Difference, interval, p, design effect; whether the arms are told apart.
fn differ(answer: &mut Comparison, order: &[MouldSum], spread: Spread, seed: u64) -> bool {
    let (Some(rate_a), Some(rate_b)) = (answer.a.rate, answer.b.rate) else { return false };
    let difference = rate_b - rate_a;
    let blocks = blocks_of(order);
    let (p, how) = permutation(&blocks, difference.abs(), seed);
    answer.figures.difference = Some(difference);
    answer.figures.p = p;
    answer.notes.push(how);
    let (n_a, n_b) = (answer.a.group.blades as f64, answer.b.group.blades as f64);
    let between = square(&blocks, (rate_a, 1.0 / n_a), (rate_b, 1.0 / n_b));
    let variance = between.max(spread.least);
    let blocks_least = answer.a.group.heats.min(answer.b.group.heats);
    // an arm of one block shows no spread between blocks
    if blocks_least > 1 && spread.independent > 0.0 && variance >= spread.independent {
        answer.figures.design_effect = Some(variance / spread.independent);
    }
    match t_of(&blocks).filter(|_| blocks_least >= FEWEST_HEATS) {
        Some(t) if variance > 0.0 => {
            let wide = t * variance.sqrt();
            answer.figures.interval = Some([difference - wide, difference + wide]);
            if between < spread.least {
                answer.notes.push(
                    "The heats (or blocks) differ by less than chance makes independent blades differ: the \
                     interval is that of independent blades."
                        .into(),
                );
            }
        }
        Some(_) => answer.notes.push("The moulds of each arm are all alike: no interval.".into()),
        None => answer.notes.push("An arm has fewer than three heats (or blocks): no interval.".into()),
    }
    let apart = answer.figures.interval.is_some_and(|[low, high]| low > 0.0 || high < 0.0);
    apart && answer.figures.p.is_some_and(|p| p < 0.05)
}

fn counted(moulds: &[MouldSum], second: bool) -> Arm {
    let mut group = BladeGroup::default();
    let mut last = None;
    for mould in moulds.iter().filter(|m| m.second == second) {
        group.blades += mould.n as usize;
        group.with += mould.y as usize;
        group.moulds += 1;
        group.heats += usize::from(last != Some(mould.block));
        last = Some(mould.block);
    }
    Arm { group, rate: group.rate(), sd: None }
}

fn measured(moulds: &[MouldSum], second: bool, values: &[f64]) -> Arm {
    let mut arm = counted(moulds, second);
    arm.group.with = 0;
    arm.rate = mean(values);
    arm.sd = arm
        .rate
        .filter(|_| values.len() > 1)
        .map(|centre| (squares_about(values, centre) / (values.len() as f64 - 1.0)).sqrt());
    arm
}

#[cfg(test)]
mod tests {
    use super::*;

    fn moulds(a: &[u32], b: &[u32], heat: impl Fn(bool, usize) -> u32) -> Vec<ArmMould> {
        let one = |second: bool, list: &[u32]| {
            list.iter()
                .enumerate()
                .map(|(i, &with)| ArmMould { blades: 8, with, second, block: heat(second, i) })
                .collect::<Vec<_>>()
        };
        [one(false, a), one(true, b)].concat()
    }

    #[test]
    fn separate_heats_are_dealt_whole() {
        let answer = compare(&moulds(&[0, 0, 0], &[1, 2, 3], |b, i| i as u32 + 3 * u32::from(b)), 1);
        // 20 ways to choose three heats of six; the observed one and its mirror reach it
        assert_eq!(answer.figures.p, Some(2.0 / 20.0));
        assert_eq!(answer.figures.verdict, "cannot tell");
        assert_eq!(answer.figures.ratio, None);
        assert!(answer.figures.ratio_interval.unwrap()[0] > 0.0);
    }

    #[test]
    fn more_ways_than_draws_are_drawn_and_repeat() {
        let a = [0, 1, 0, 0, 2, 0, 1, 0, 0, 0];
        let b = [2, 3, 1, 2, 4, 1, 2, 3, 1, 2];
        let list = moulds(&a, &b, |b, i| i as u32 + 10 * u32::from(b));
        let answer = compare(&list, 7);
        assert_eq!(answer, compare(&list, 7));
        assert_eq!(answer.figures.verdict, "a better");
        let mut turned = list.clone();
        turned.reverse();
        assert_eq!(answer, compare(&turned, 7));
        assert!(answer.figures.p.unwrap() < 0.01);
    }

    #[test]
    fn nothing_to_tell() {
        for (a, b) in [(vec![], vec![1u32]), (vec![0, 0], vec![0, 0]), (vec![8, 8, 8], vec![8, 8, 8])] {
            let answer = compare(&moulds(&a, &b, |_, i| i as u32), 1);
            assert_eq!(answer.figures.verdict, "cannot tell");
            assert_eq!(answer.figures.needed, None);
        }
    }

    #[test]
    fn measured_values_by_mould() {
        let mould = |values: &[f64], second, block| ArmValues { values: values.to_vec(), second, block };
        let list = [
            mould(&[1.0, 2.0], false, 0),
            mould(&[2.0, 3.0], false, 1),
            mould(&[3.0, 4.0], false, 2),
            mould(&[2.0, 3.0], true, 0),
            mould(&[3.0, 4.0], true, 1),
            mould(&[5.0, 6.0], true, 2),
        ];
        let answer = compare_means(&list, Better::Lower, 1);
        let (mean_a, mean_b) = (15.0 / 6.0, 23.0 / 6.0);
        assert!((answer.figures.difference.unwrap() - (mean_b - mean_a)).abs() < 1e-12);
        // (sum - 2 mean)/6 of each mould, b less a, squared over the blocks
        let d = |sum: f64, mean: f64| (sum - 2.0 * mean) / 6.0;
        let s2: f64 = [(3.0, 5.0), (5.0, 7.0), (7.0, 11.0)]
            .iter()
            .map(|&(a, b)| (d(b, mean_b) - d(a, mean_a)).powi(2))
            .sum();
        // the values within each mould vary by 0.5, which makes 0.5/6 + 0.5/6 of the difference: more than s2
        assert!(s2 < 1.0 / 6.0);
        // t with one degree of freedom at 0.975, tables: 12.7062
        let wide = 12.7062 * (1.0 / 6.0_f64).sqrt();
        let [low, high] = answer.figures.interval.unwrap();
        assert!(
            (low - (mean_b - mean_a - wide)).abs() < 1e-4 && (high - (mean_b - mean_a + wide)).abs() < 1e-4
        );
        assert_eq!(answer.figures.p, Some(2.0 / 8.0));
        assert_eq!((answer.figures.ratio, answer.figures.verdict), (None, "cannot tell"));
    }

    #[test]
    fn which_mean_is_better_must_be_said() {
        let list: Vec<ArmValues> = (0..12)
            .map(|i| ArmValues {
                values: vec![f64::from(i % 2) * 5.0 + f64::from(i % 3)],
                second: i % 2 == 1,
                block: i / 2,
            })
            .collect();
        let verdict = |better| compare_means(&list, better, 1).figures.verdict;
        assert_eq!(verdict(Better::Lower), "a better");
        assert_eq!(verdict(Better::Higher), "b better");
        assert_eq!(verdict(Better::Nearer(6.0)), "b better");
        assert_eq!(verdict(Better::Unknown), "cannot tell");
    }

    #[test]
    fn an_arm_without_any_widens_the_ratio() {
        let answer = compare(&moulds(&[0; 6], &[1, 2, 3, 1, 2, 3], |_, i| i as u32), 1);
        let [low, high] = answer.figures.ratio_interval.unwrap();
        // half a defect of 48 against 12 of 48: ratio 24; log variance at least 1/0.5
        let t = 2.7764; // four degrees of freedom
        assert!(low < 24.0 * (-t * 2f64.sqrt()).exp() && high > 24.0 * (t * 2f64.sqrt()).exp());
        assert!(answer.notes.iter().any(|n| n.contains("none with the defect")));
    }

    #[test]
    fn no_interval_is_narrower_than_that_of_independent_blades() {
        // one of eight in every mould of a, two of eight in every mould of b: the heats are too alike
        let answer = compare(&moulds(&[1; 6], &[2; 6], |_, i| i as u32), 1);
        // t with four degrees of freedom at 0.975, tables: 2.7764; p(1-p)/n by hand
        let wide = 2.7764 * (0.125 * 0.875 / 48.0 + 0.25 * 0.75 / 48.0_f64).sqrt();
        let [low, high] = answer.figures.interval.unwrap();
        assert!((low - (0.125 - wide)).abs() < 1e-4 && (high - (0.125 + wide)).abs() < 1e-4);
        assert_eq!(answer.figures.design_effect, Some(1.0));
        // the same of the ratio: log variance (1-p)/y of each arm
        let wide = 2.7764 * (0.875 / 6.0 + 0.75 / 12.0_f64).sqrt();
        let [low, high] = answer.figures.ratio_interval.unwrap();
        assert!(
            (low.ln() - (2_f64.ln() - wide)).abs() < 1e-3 && (high.ln() - (2_f64.ln() + wide)).abs() < 1e-3
        );
        assert!(answer.notes.iter().any(|n| n.contains("independent blades")));
    }

    #[test]
    fn an_arm_of_two_heats_has_no_interval() {
        for in_heats in [1, 2] {
            let heat = |b: bool, i: usize| if b { i as u32 % in_heats } else { i as u32 };
            let answer = compare(&moulds(&[0, 1, 0, 0, 1, 0], &[2, 3, 1, 2, 4, 3], heat), 1);
            assert_eq!((answer.figures.interval, answer.figures.ratio_interval), (None, None));
            assert_eq!(answer.figures.design_effect.is_some(), in_heats == 2);
            assert!(answer.notes.iter().any(|n| n.contains("fewer than three heats")));
        }
    }

    #[test]
    fn a_difference_of_shares_ends_at_one() {
        let answer = compare(&moulds(&[0, 1, 0], &[8, 1, 8], |_, i| i as u32), 1);
        let [low, high] = answer.figures.interval.unwrap();
        assert!(low >= -1.0 && high <= 1.0);
    }
}
