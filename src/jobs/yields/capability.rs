//! Capability of a measured characteristic, and gauge studies.

use std::collections::{BTreeMap, BTreeSet, HashMap, HashSet};

use serde::Serialize;

use crate::jobs::trials::response::product;
use crate::jobs::yields::ask::BladesAsked;
use crate::jobs::yields::gauge::{GaugeStudy, characteristic, gauge_of};
use knowledge::stats::anova;
use knowledge::stats::capability::{Process, Tolerance, capability as indices};
use knowledge::stats::charts::rules::{Rule, signals};
use knowledge::stats::charts::variables::individuals;
use knowledge::stats::dist::poisson_sf;
use records::read::yield_queries::Measured;
use records::value::tag::shown;
use records::{Error, Result, Store};

/// A signal of the chart by mould.
#[derive(Serialize, Debug, Clone)]
pub struct MouldSignal {
    /// The mould that completes it.
    pub mould: String,
    pub mean: f64,
    pub rule: &'static str,
}

#[derive(Serialize, Debug, Clone, Default)]
pub struct CapabilityShown {
    pub characteristic: String,
    pub unit: String,
    /// Part, window, lot that were asked for.
    pub question: BTreeMap<&'static str, String>,
    /// Values, one a blade.
    pub n: usize,
    pub moulds: usize,
    pub heats: usize,
    /// Blades made and not measured.
    pub not_measured: usize,
    pub lower: Option<f64>,
    pub upper: Option<f64>,
    pub outside: usize,
    pub mean: Option<f64>,
    /// Standard deviation, between and within moulds together.
    pub sd: Option<f64>,
    pub sd_within: Option<f64>,
    pub sd_between: Option<f64>,
    /// Whether the chart of the moulds' means is without signals.
    pub stable: Option<bool>,
    pub signals: Vec<MouldSignal>,
    /// Why there is no capability.
    pub refused: Option<String>,
    /// Moulds that are needed, where they are too few.
    pub needed_moulds: Option<u64>,
    /// (U − L)/6s; null with one limit.
    pub cp: Option<f64>,
    /// The smaller distance from the mean to a limit, over 3s.
    pub cpk: Option<f64>,
    pub cp_interval: Option<[f64; 2]>,
    pub cpk_interval: Option<[f64; 2]>,
    /// Degrees of freedom behind the spread, moulds allowed for.
    pub df: Option<f64>,
    /// A gauge study of this characteristic, where there is one.
    pub gauge: Option<GaugeStudy>,
    pub cautions: Vec<String>,
}

/// Moulds that a chart of their means needs before it can be called stable (common practice, no source).
const CHART_MOULDS: usize = 20;

/// Degrees of freedom that the spread must have: s is then known to within about a quarter of itself,
/// 1.96/√(2·30) (our convention).
const ENOUGH_DF: f64 = 30.0;

/// The share of points of a stable process beyond three sigmas, and of runs of nine beginning on one side (from
/// memory: 2 Φ(-3), and an average run length of 510).
const BEYOND: f64 = 0.0027;
const RUNS: f64 = 1.0 / 510.0;

/// Capability of a characteristic: first-round product values, by mould in pour order. The spread is that within
/// and between moulds together, s² = MSW (1 − 1/n₀) + MSB/n₀, with Satterthwaite's degrees of freedom, and the
/// mean is known as well as MSB/N says. Refused with a sentence where the chart of the moulds' means has a signal
/// (beyond its limits, or nine on one side), or where the moulds are too few.
pub fn capability(store: &Store, text: &str, narrow: &BladesAsked) -> Result<CapabilityShown> {
    store.snapshot(|| {
        let name = characteristic(store, text)?;
        let (scope, question) = narrow.scope(store)?;
        let made = store.made_blades(&scope)?;
        let all = store.measured(&name)?;
        let by_blade = first_of_product(&all);
        let mut out = CapabilityShown { characteristic: name.clone(), question, ..CapabilityShown::default() };
        let mut groups: Vec<(i64, Vec<f64>)> = Vec::new();
        let (mut units, mut limits, mut unread) = (BTreeSet::new(), Vec::new(), 0);
        let mut heats = HashSet::new();
        let mut parts: BTreeSet<i64> = BTreeSet::new();
        for m in &made {
            let Some(found) = by_blade.get(&m.blade) else { continue };
            let Some(value) = found.value else {
                unread += 1;
                continue;
            };
            units.insert(found.unit.clone());
            limits.push((found.at, found.lower, found.upper));
            heats.insert(m.heat);
            parts.insert(m.part);
            match groups.last_mut().filter(|g| g.0 == m.mould) {
                Some(group) => group.1.push(value),
                None => groups.push((m.mould, vec![value])),
            }
        }
        if units.len() > 1 {
            let all: Vec<String> = units.into_iter().collect();
            return Err(Error::input(format!(
                "{name} is recorded in several units: {}",
                shown(&all.join(", "))
            )));
        }
        if parts.len() > 1 {
            let tags = store.part_tags()?;
            let all: Vec<&str> = parts.iter().filter_map(|p| tags.get(p).map(String::as_str)).collect();
            return Err(Error::input(format!(
                "{name} was measured on several parts or revisions, which are not one process: {}; name one: --part",
                shown(&all.join(", "))
            )));
        }
        out.unit = units.into_iter().next().unwrap_or_default();
        out.n = groups.iter().map(|g| g.1.len()).sum();
        out.moulds = groups.len();
        out.heats = heats.len();
        out.not_measured = made.len() - out.n;
        if unread > 0 {
            out.cautions
                .push(format!("{unread} values are blank, illegible or below detection; they are left out."));
        }
        limits.sort_by_key(|l| l.0);
        if let Some(&(_, lower, upper)) = limits.last() {
            (out.lower, out.upper) = (lower, upper);
            let other = limits.iter().filter(|l| (l.1, l.2) != (lower, upper)).count();
            if other > 0 {
                out.cautions.push(format!(
                    "{other} values were measured under other limits; the latest limits are applied to all."
                ));
            }
        }
        out.gauge = gauge_of(&all, &name);
        figures(store, &groups, &mut out)?;
        Ok(out)
    })
}

/// The first product value of each blade, in round 1.
fn first_of_product(all: &[Measured]) -> HashMap<i64, &Measured> {
    let mut out = HashMap::new();
    for m in all.iter().filter(|m| m.round == 1 && product(m.purpose.as_deref())) {
        out.entry(m.blade).or_insert(m);
    }
    out
}

fn figures(store: &Store, groups: &[(i64, Vec<f64>)], out: &mut CapabilityShown) -> Result<()> {
    let values: Vec<Vec<f64>> = groups.iter().map(|g| g.1.clone()).collect();
    let flat = values.concat();
    out.outside = flat
        .iter()
        .filter(|v| out.lower.is_some_and(|l| **v < l) || out.upper.is_some_and(|u| **v > u))
        .count();
    let n = flat.len() as f64;
    let Some(mean) = knowledge::stats::compensated::mean(&flat) else {
        out.refused = Some("no blade in this scope has a value".into());
        return Ok(());
    };
    out.mean = Some(mean);
    let spread = match spread(&values) {
        Ok(spread) => spread,
        Err(why) => {
            out.refused = Some(why);
            return Ok(());
        }
    };
    out.sd = Some(spread.variance.sqrt());
    out.sd_within = spread.within.map(f64::sqrt);
    out.sd_between = spread.between.map(f64::sqrt);
    out.df = Some(spread.df);
    let means: Vec<f64> = values.iter().filter_map(|g| knowledge::stats::compensated::mean(g)).collect();
    charted(store, groups, &means, out)?;
    if out.lower.is_none() && out.upper.is_none() {
        out.refused = Some("no limit is recorded with its values".into());
        return Ok(());
    }
    if out.moulds < CHART_MOULDS || spread.df < ENOUGH_DF {
        let for_spread = (out.moulds as f64 * ENOUGH_DF / spread.df).ceil();
        let needed = for_spread.max(CHART_MOULDS as f64) as u64;
        out.needed_moulds = Some(needed);
        out.refused = Some(format!(
            "too few: {} values of {} moulds ({:.0} degrees of freedom); about {needed} moulds of this size are needed, \
             so that a chart can show whether it is stable and the spread is known to a quarter of itself",
            out.n, out.moulds, spread.df
        ));
        return Ok(());
    }
    if out.stable == Some(false) {
        let moulds: BTreeSet<&str> = out.signals.iter().map(|s| s.mould.as_str()).collect();
        let first: Vec<&str> = moulds.iter().take(3).copied().collect();
        out.refused = Some(format!(
            "not stable: the chart of the moulds' means signals at {}{}. An index promises what comes next, and an unstable \
             process promises nothing: find out what was different there, then ask again with --since. Of {} moulds in a \
             stable process about {:.1} lie beyond the limits by chance",
            shown(&first.join(", ")),
            if moulds.len() > 3 { " and elsewhere" } else { "" },
            out.moulds,
            BEYOND * out.moulds as f64
        ));
        return Ok(());
    }
    let process = Process {
        mean,
        sd: spread.variance.sqrt(),
        n: (spread.variance / (spread.ms_between / n)).floor().clamp(2.0, n) as u64,
        df: spread.df.floor().max(1.0) as u64,
    };
    match indices(process, Tolerance { lower: out.lower, upper: out.upper }, 0.95) {
        Ok(found) => {
            out.cp = found.cp;
            out.cpk = Some(found.cpk);
            out.cp_interval = found.cp_interval.map(|(l, h)| [l, h]);
            out.cpk_interval = Some([found.cpk_interval.0, found.cpk_interval.1]);
        }
        Err(why) => out.refused = Some(why),
    }
    out.cautions.push(
        "Blades that an earlier station rejected are not among the values; the index takes values as normal, and says \
         nothing of far tails."
            .into(),
    );
    if out.not_measured > 0 {
        out.cautions.push(format!("{} blades made in this scope have no value.", out.not_measured));
    }
    if let (Some(gauge), Some(sd)) = (out.gauge.as_ref().and_then(|g| g.gauge_sd), out.sd) {
        out.cautions.push(format!(
            "The gauge makes about {:.0} % of this variance; it is not taken off.",
            (100.0 * gauge * gauge / (sd * sd)).min(100.0)
        ));
    }
    Ok(())
}

/// Spread of values that come in moulds.
struct MouldSpread {
    variance: f64,
    within: Option<f64>,
    between: Option<f64>,
    ms_between: f64,
    df: f64,
}

/// s² = MSB/n₀ + MSW (1 − 1/n₀), n₀ = (N − Σn²/N)/(k−1); degrees of freedom by Satterthwaite 1946, Biometrics
/// Bulletin 2:110. Where moulds are more alike than their blades, the blades' own variance.
fn spread(groups: &[Vec<f64>]) -> std::result::Result<MouldSpread, String> {
    if groups.len() < 2 {
        return Err(
            "too few: one mould says nothing of the next; values of two or more moulds are needed".into()
        );
    }
    let a = anova::one_way(groups)?;
    let between_df = a.df_between as f64;
    let n: f64 = groups.iter().map(|g| g.len() as f64).sum();
    let squares: f64 = groups.iter().map(|g| (g.len() as f64).powi(2)).sum();
    let n0 = (n - squares / n) / between_df;
    let Some(ms_within) = a.ms_within.filter(|_| a.df_within > 0) else {
        let variance = a.ms_between;
        return Ok(MouldSpread {
            variance,
            within: None,
            between: None,
            ms_between: variance,
            df: between_df,
        });
    };
    let within_df = a.df_within as f64;
    if a.ms_between <= ms_within {
        let df = between_df + within_df;
        let variance = (a.ss_between + a.ss_within) / df;
        return Ok(MouldSpread {
            variance,
            within: Some(ms_within),
            between: Some(0.0),
            ms_between: variance,
            df,
        });
    }
    let (p, q) = (a.ms_between / n0, ms_within * (1.0 - 1.0 / n0));
    let variance = p + q;
    let df = variance * variance / (p * p / between_df + q * q / within_df);
    Ok(MouldSpread {
        variance,
        within: Some(ms_within),
        between: Some((a.ms_between - ms_within) / n0),
        ms_between: a.ms_between,
        df: if df.is_finite() { df } else { between_df },
    })
}

/// Whether signals are more than chance gives: any where less than one is expected, else more than the
/// Poisson distribution has in 99 of 100 (our convention).
fn more_than_chance(seen: usize, expected: f64) -> bool {
    if expected < 1.0 {
        return seen > 0;
    }
    seen > 0 && poisson_sf(seen as u64 - 1, expected).is_some_and(|p| p < 0.01)
}

/// The chart of the moulds' means in pour order: individuals with moving range.
fn charted(
    store: &Store,
    groups: &[(i64, Vec<f64>)],
    means: &[f64],
    out: &mut CapabilityShown,
) -> Result<()> {
    let Ok(chart) = individuals(means) else { return Ok(()) };
    let beyond = chart.individual.beyond();
    let mut found: Vec<(usize, &'static str)> = beyond.iter().map(|i| (i - 1, "beyond its limits")).collect();
    let mut runs = Vec::new();
    if let Ok(z) = chart.individual.standardised() {
        for s in signals(&z, &[Rule::NineOnOneSide]) {
            found.push((s.index - 1, "nine in a row on one side"));
            runs.push(s.index);
        }
    }
    found.sort_unstable();
    for (i, rule) in found {
        let mould = store.mould_tag(groups[i].0)?;
        out.signals.push(MouldSignal { mould, mean: means[i], rule });
    }
    // A run goes on signalling; it counts once.
    let starts = runs.iter().filter(|i| !runs.contains(&(*i - 1))).count();
    let n = means.len() as f64;
    let calm = !more_than_chance(beyond.len(), BEYOND * n) && !more_than_chance(starts, RUNS * n);
    out.stable = Some(calm);
    if calm && !out.signals.is_empty() {
        out.cautions.push(format!(
            "{} points beyond the limits and {starts} runs of nine, of {n} moulds: no more than chance gives ({:.1} and {:.1}).",
            beyond.len(),
            BEYOND * n,
            RUNS * n
        ));
    }
    Ok(())
}
