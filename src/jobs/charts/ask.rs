//! Charts of rates, counts and readings over time, and tables by position and zone.

pub use crate::jobs::charts::desk::{Drawn, Readings, STEPS, Wanted, draw, readings};
pub use crate::jobs::charts::kinds::{By, ChartKind};
pub use crate::jobs::charts::tables::{positions, zones};

use crate::jobs::causes::ask;
use crate::jobs::causes::ask::Ask;
use crate::jobs::charts::kinds;
use crate::jobs::charts::kinds::{KINDS, KindLimits, Wide};
use crate::jobs::charts::show::{BEYOND_LIMITS, Beside, Change, Chart, Point, Signal};
use knowledge::causes::Watch;
use knowledge::stats::charts;
use knowledge::stats::charts::rules::Rule;
use knowledge::stats::charts::{ChartLine, rules};
use records::{Error, Result, Stamp, Store};

/// What is charted.
#[derive(Clone, Debug)]
pub enum Of {
    /// The rate of the question's defect.
    Defect,
    /// A reading: `KIND.FIELD`, or a number among the factors of the ranking.
    Field(String),
    Characteristic(String),
}

/// What a chart is asked for.
#[derive(Clone, Debug)]
pub struct ChartAsk {
    pub of: Of,
    /// The question's scope: zone, method, part, dates, and the defect.
    pub ask: Ask,
    /// What a point is; none: chosen from the data.
    pub by: Option<By>,
    /// The kind of chart; none: chosen from the data.
    pub kind: Option<&'static ChartKind>,
    /// The run rules too.
    pub rules: bool,
    /// A reading to show beside the points.
    pub against: Option<String>,
}

/// Fewer points than this make no limits worth the name (common practice, no source).
const FEWEST_POINTS: usize = 8;
/// Points that vary so many times as much as chance alone would make them get wider limits.
const OVERDISPERSED: f64 = 1.2;

/// Draws a chart, with what changed meanwhile.
///
/// # Errors
/// An unknown defect, field, characteristic (with near matches), or a kind of chart that does not suit.
pub fn chart(store: &Store, asked: &ChartAsk) -> Result<Chart> {
    store.snapshot(|| charted(store, &ask::columns(store)?, asked, &Watch::default()))
}

pub(crate) fn charted(store: &Store, foundry: &ask::Foundry, asked: &ChartAsk, run: &Watch) -> Result<Chart> {
    let found = crate::jobs::charts::points::read(store, foundry, asked)?;
    let mut chart = match asked.of {
        Of::Defect => of_rates(asked, found)?,
        _ => of_readings(asked, found)?,
    };
    if let Some(name) = &asked.against {
        let values = crate::jobs::charts::points::beside(store, foundry, name, &chart.points)?;
        chart.beside = Some(Beside { name: name.clone(), values });
        // Weeks and days have no reading of their own to be held against: heats stand for them.
        if chart.share {
            let by = if chart.by == By::Mould { By::Mould } else { By::Heat };
            match crate::jobs::charts::against::hold(store, foundry, &asked.ask, name, by) {
                Ok(found) => chart.relation = Some(Box::new(found)),
                Err(why) => chart.notes.push(format!("No slope is given: {why}.")),
            }
        }
    }
    if let (Some(first), Some(last)) = (chart.points.first(), chart.points.last()) {
        crate::jobs::charts::desk::begins(run, 3)?;
        if let (Ok(from), Ok(to)) = (Stamp::parse(&first.at), Stamp::parse(&last.at)) {
            let starts: Vec<i64> =
                chart.points.iter().map(|p| Stamp::parse(&p.at).map_or(i64::MAX, Stamp::ms)).collect();
            // A point lasts until the next begins; a little before the first matters too.
            let from = Stamp::new(from.ms() - 7 * 86_400_000, from.offset_min());
            let dated = crate::jobs::charts::changes::between(
                store,
                foundry,
                from,
                Stamp::new(to.ms() + 86_400_000, 0),
            )?;
            chart.changes = dated
                .into_iter()
                .map(|(at, lane, what)| {
                    let point = starts.partition_point(|s| *s <= at.ms());
                    let exact = point > 0 && starts[point - 1] == at.ms();
                    Change { at: at.to_string(), point, exact, lane, what }
                })
                .collect();
        }
    }
    Ok(chart)
}

fn blank(of: String, by: By, notes: Vec<String>) -> Chart {
    Chart {
        of,
        kind: None,
        why: String::new(),
        by,
        points: Vec::new(),
        centre: Vec::new(),
        lower: Vec::new(),
        upper: Vec::new(),
        sigma_z: None,
        signals: Vec::new(),
        limits_from: String::new(),
        changes: Vec::new(),
        beside: None,
        relation: None,
        share: false,
        notes,
    }
}

/// Too few points get no limits, and say so.
fn too_few(chart: &mut Chart) -> bool {
    let n = chart.points.len();
    if n >= FEWEST_POINTS {
        return false;
    }
    let each = |c: &Chart| vec![f64::NAN; c.points.len()];
    chart.limits_from =
        format!("{n} points: limits from fewer than {FEWEST_POINTS} would say nothing, so there are none.");
    (chart.centre, chart.lower, chart.upper) = (each(chart), each(chart), each(chart));
    true
}

/// The kinds of which a chart of rates, or of readings, may be one, as a list in words.
fn suited(rates: bool) -> String {
    let suits = |k: &&&ChartKind| matches!(k.limits, KindLimits::Rates(..)) == rates;
    let words: Vec<&str> = KINDS.iter().filter(suits).map(|k| k.word).collect();
    match words.split_last() {
        Some((last, others)) => format!("{} or {last}", others.join(", ")),
        None => String::new(),
    }
}

fn of_rates(asked: &ChartAsk, found: crate::jobs::charts::points::ChartPoints) -> Result<Chart> {
    let mut chart = blank(found.of, found.by, found.notes);
    chart.points = found.points;
    chart.share = true;
    if too_few(&mut chart) {
        return Ok(chart);
    }
    let x: Vec<u64> = chart.points.iter().map(|p| p.with.unwrap_or(0) as u64).collect();
    let n: Vec<u64> = chart.points.iter().map(|p| p.n as u64).collect();
    let wide = Wide::of((&x, &n));
    chart.sigma_z = wide.chart.as_ref().map(|_| wide.sigma_z);
    let usual = if wide.sigma_z > OVERDISPERSED { &kinds::P_PRIME } else { &kinds::P };
    // Limits that allow for more cannot be had where the points do not give them.
    let kind = match asked.kind.unwrap_or(usual) {
        kind if *kind == kinds::P_PRIME && wide.chart.is_none() => &kinds::P,
        kind => kind,
    };
    let KindLimits::Rates(limits, why) = &kind.limits else {
        return Err(Error::input(format!("a rate is charted as {}", suited(true))));
    };
    let drawn = limits((&x, &n), &wide).map_err(Error::input)?;
    if *kind == kinds::NP {
        chart.share = false;
        chart.points.iter_mut().for_each(|p| p.value = p.with.unwrap_or(0) as f64);
    }
    lay(&mut chart, drawn, kind, why(&wide), asked.rules);
    Ok(chart)
}

fn of_readings(asked: &ChartAsk, found: crate::jobs::charts::points::ChartPoints) -> Result<Chart> {
    let mut chart = blank(found.of, found.by, found.notes);
    chart.points = found.points;
    if too_few(&mut chart) {
        return Ok(chart);
    }
    let kind = asked.kind.unwrap_or(&kinds::INDIVIDUALS);
    let KindLimits::Readings(limits, why) = &kind.limits else {
        return Err(Error::input(format!("a reading is charted as {}", suited(false))));
    };
    let drawn = limits(&found.groups).map_err(Error::input)?;
    lay(&mut chart, drawn, kind, why(&found.groups).into(), asked.rules);
    Ok(chart)
}

fn lay(
    chart: &mut Chart,
    drawn: charts::ControlChart,
    kind: &'static ChartKind,
    why: String,
    run_rules: bool,
) {
    let n = drawn.points.len();
    let each = |line: &ChartLine| (0..n).map(|i| line.at(i)).collect::<Vec<f64>>();
    (chart.centre, chart.lower, chart.upper) = (each(&drawn.centre), each(&drawn.lower), each(&drawn.upper));
    chart.kind = Some(kind);
    chart.why = why;
    chart.limits_from = format!("Centre and limits (three standard errors) from all {n} points shown.");
    let signal = |points: &[Point], index: usize, rule: &'static str, words: &'static str| Signal {
        index,
        label: points[index - 1].label.clone(),
        rule,
        words,
    };
    for index in drawn.beyond() {
        chart.signals.push(signal(&chart.points, index, BEYOND_LIMITS, "outside the limits"));
    }
    if run_rules {
        if let Ok(z) = drawn.standardised() {
            for found in rules::signals(&z, &rules::NELSON) {
                if found.rule != Rule::Beyond3Sigma {
                    chart.signals.push(signal(
                        &chart.points,
                        found.index,
                        found.rule.name(),
                        words(found.rule),
                    ));
                }
            }
        }
        chart.signals.sort_by_key(|s| s.index);
    }
}

/// A rule in words.
fn words(rule: Rule) -> &'static str {
    match rule {
        Rule::Beyond3Sigma => "outside the limits",
        Rule::NineOnOneSide => "the ninth in a row on one side of the centre",
        Rule::EightOnOneSide => "the eighth in a row on one side of the centre",
        Rule::SixRisingOrFalling => "six in a row rising or falling",
        Rule::FourteenAlternating => "fourteen in a row up and down by turns",
        Rule::TwoOfThreeBeyond2Sigma => "two of three more than two thirds of the way to one limit",
        Rule::FourOfFiveBeyond1Sigma => "four of five more than a third of the way to one limit",
        Rule::FifteenWithin1Sigma => "fifteen in a row close to the centre: too quiet to be true",
        Rule::EightOutside1Sigma => "eight in a row away from the centre on either side",
    }
}
