//! A rate held against a reading: slope with its interval, and whether one heat carries it.

use std::collections::HashMap;

use crate::jobs::causes::ask;
use crate::jobs::causes::ask::{Ask, Foundry};
use crate::jobs::charts::ask::By;
use crate::jobs::charts::points;
use crate::jobs::charts::points::counted;
use crate::jobs::charts::show::short;
use crate::jobs::charts::show_against::{Against, Pair, Part, Slope};
use knowledge::causes::{At, Values};
use knowledge::stats::clustered::Cluster;
use knowledge::stats::design::Design;
use knowledge::stats::dist::t_quantile;
use knowledge::stats::proportion::wilson_inflated;
use knowledge::stats::{clustered, logistic};
use records::catalogue::AnalysisValues;
use records::value::tag::{hint, near, shown};
use records::{Error, Result, Store, catalogue};

/// Fewer points than this give no slope (common practice, no source).
const FEWEST: usize = 8;
/// Parts that the reading is told in.
const PARTS: usize = 5;
/// A point that moves the slope by more standard errors than this is marked (common practice).
const PULL: f64 = 1.0;
/// Points left out one by one at most, those first that pull the most.
const LEFT_OUT: usize = 60;

/// One point before it is fitted.
struct Raw {
    pair: Pair,
    heat: usize,
}

/// Holds the rate of a question against a reading, heats or moulds as points.
///
/// # Errors
/// What the question may not be; a reading that there is not, or that is of no mould or heat, with near
/// matches.
pub(crate) fn hold(store: &Store, foundry: &Foundry, ask: &Ask, reading: &str, by: By) -> Result<Against> {
    if !matches!(by, By::Heat | By::Mould) {
        return Err(Error::input("a rate is held against a reading by heat or by mould"));
    }
    let (name, values) = per_mould(store, foundry, reading)?;
    let counted = counted(store, foundry, ask)?;
    let mut raw: Vec<Raw> = Vec::new();
    let mut place: HashMap<usize, usize> = HashMap::new();
    let mut sums: Vec<(f64, usize)> = Vec::new();
    let mut moulds: Vec<usize> = Vec::new();
    for &(m, n, y) in counted.moulds.iter().filter(|m| m.1 > 0) {
        let heat = foundry.mould_heat[m] as usize;
        let (key, label) = match by {
            By::Mould => (m, &foundry.moulds[m]),
            _ => (heat, &foundry.heats[heat]),
        };
        let at = *place.entry(key).or_insert_with(|| {
            let pair = Pair {
                label: label.clone(),
                reading: f64::NAN,
                with: 0,
                inspected: 0,
                influence: None,
                influential: false,
            };
            raw.push(Raw { pair, heat });
            sums.push((0.0, 0));
            moulds.push(0);
            raw.len() - 1
        });
        raw[at].pair.with += y;
        raw[at].pair.inspected += n;
        moulds[at] += 1;
        if values[m].is_finite() {
            sums[at].0 += values[m];
            sums[at].1 += 1;
        }
    }
    for (r, (sum, n)) in raw.iter_mut().zip(&sums) {
        r.pair.reading = if *n > 0 { sum / *n as f64 } else { f64::NAN };
    }
    let known_moulds =
        raw.iter().zip(&moulds).filter(|(r, _)| r.pair.reading.is_finite()).map(|(_, n)| n).sum();
    let all = raw.len();
    raw.retain(|r| r.pair.reading.is_finite());
    raw.sort_by(|a, b| {
        a.pair.reading.total_cmp(&b.pair.reading).then_with(|| a.pair.label.cmp(&b.pair.label))
    });
    let mut notes = counted.notes;
    if raw.len() < all {
        notes.push(format!("{} {}s have no {name} on record and are left out.", all - raw.len(), by.word()));
    }
    let heats = number_heats(&mut raw);
    let cuts = parts(&raw);
    let effect = design_effect(&raw, &cuts);
    let told = cuts.iter().map(|&(from, to)| part(&raw[from..to], effect)).collect();
    let (with, inspected) = raw.iter().fold((0, 0), |(y, n), r| (y + r.pair.with, n + r.pair.inspected));
    let mut out = Against {
        of: format!("{}, {with} of {inspected} inspected blades", counted.ask.words()),
        unit: unit(store, &name)?,
        reading: name,
        by,
        points: Vec::new(),
        moulds: known_moulds,
        heats,
        parts: told,
        design_effect: effect,
        fit: None,
        without: None,
        step: step(&raw),
        rate: (inspected > 0).then(|| with as f64 / inspected as f64),
        words: Vec::new(),
        notes,
    };
    relation(&mut out, &mut raw, heats);
    out.points = raw.into_iter().map(|r| r.pair).collect();
    Ok(out)
}

/// Heats numbered anew from 0, in the order they come up; how many.
fn number_heats(raw: &mut [Raw]) -> usize {
    let mut seen: HashMap<usize, usize> = HashMap::new();
    for r in raw {
        let next = seen.len();
        r.heat = *seen.entry(r.heat).or_insert(next);
    }
    seen.len()
}

/// The reading of each mould, under the name that the columns give it.
fn per_mould(store: &Store, foundry: &Foundry, name: &str) -> Result<(String, Vec<f64>)> {
    let moulds = foundry.moulds.len();
    if let Some(column) = ask::number_column(foundry, name) {
        if let Values::Numbers(x) = &column.values {
            let of = |m: usize| match column.at {
                At::Mould => x[m],
                At::Heat => x[foundry.mould_heat[m] as usize],
                At::Blade => f64::NAN,
            };
            let mut all: Vec<f64> = (0..moulds).map(of).collect();
            if column.at == At::Blade {
                all = blade_means(foundry, x);
            }
            return Ok((column.name.clone(), all));
        }
    }
    let mut sums = vec![(0.0, 0_usize); moulds];
    for (mould, value) in points::of_moulds(store, foundry, name)? {
        sums[mould as usize].0 += value;
        sums[mould as usize].1 += 1;
    }
    if sums.iter().all(|s| s.1 == 0) {
        let last = name.rsplit(['.', '/']).next().unwrap_or(name);
        let numbers = foundry.columns.iter().filter(|c| c.is_number());
        let close: Vec<&str> =
            numbers.map(|c| c.name.as_str()).filter(|c| c.contains(last)).take(4).collect();
        let close = if close.is_empty() { near(name, ["heat.N", "pour.indicated_c"]) } else { close };
        return Err(Error::input(format!(
            "{} is not a reading of a mould or heat{}",
            shown(name),
            hint(&close)
        )));
    }
    Ok((name.to_string(), sums.iter().map(|(s, n)| if *n > 0 { s / *n as f64 } else { f64::NAN }).collect()))
}

fn blade_means(foundry: &Foundry, x: &[f64]) -> Vec<f64> {
    let mut sums = vec![(0.0, 0_usize); foundry.moulds.len()];
    for (v, &m) in x.iter().zip(&foundry.blade_mould).filter(|(v, _)| v.is_finite()) {
        sums[m as usize].0 += v;
        sums[m as usize].1 += 1;
    }
    sums.into_iter().map(|(s, n)| if n > 0 { s / n as f64 } else { f64::NAN }).collect()
}

/// The unit of a reading: of the element, or as it stands in the name of the field.
fn unit(store: &Store, name: &str) -> Result<String> {
    let last = name.split('/').next().and_then(|n| n.rsplit('.').next()).unwrap_or(name);
    if let Some(element) = name.strip_prefix("heat.") {
        let [elements, units] = store.columns([AnalysisValues::element.any(), AnalysisValues::unit.any()])?;
        let row = (0..elements.rows()).find(|&r| elements.word(r) == Some(element));
        if let Some(unit) = row.and_then(|r| units.word(r)) {
            return Ok(unit.replace('_', " "));
        }
    }
    let field = catalogue::all().flat_map(|k| k.fields.iter()).find(|f| f.name == last);
    Ok(field.map_or("", records::FieldInfo::unit).to_string())
}

/// Points in parts of about equal number; equal readings stay together. From and to.
fn parts(raw: &[Raw]) -> Vec<(usize, usize)> {
    let mut out = Vec::new();
    let mut from = 0;
    for k in 1..=PARTS {
        let mut to = (raw.len() * k).div_ceil(PARTS);
        while to > from && to < raw.len() && raw[to].pair.reading == raw[to - 1].pair.reading {
            to += 1;
        }
        if to > from {
            out.push((from, to));
            from = to;
        }
    }
    out
}

fn part(raw: &[Raw], effect: f64) -> Part {
    let (with, inspected) = raw.iter().fold((0, 0), |(y, n), r| (y + r.pair.with, n + r.pair.inspected));
    Part {
        span: [raw[0].pair.reading, raw[raw.len() - 1].pair.reading],
        with,
        inspected,
        points: raw.len(),
        interval: wilson_inflated(with as u64, inspected as u64, effect, 0.95).ok().map(|(a, b)| [a, b]),
    }
}

/// Rao and Scott's design effect of the parts, heats as clusters, their mean by inspected blades; 1 at least.
fn design_effect(raw: &[Raw], cuts: &[(usize, usize)]) -> f64 {
    let mut clusters: HashMap<(usize, usize), (u64, u64)> = HashMap::new();
    for (group, &(from, to)) in cuts.iter().enumerate() {
        for r in &raw[from..to] {
            let c = clusters.entry((group, r.heat)).or_default();
            c.0 += r.pair.inspected as u64;
            c.1 += r.pair.with as u64;
        }
    }
    let mut list: Vec<((usize, usize), (u64, u64))> = clusters.into_iter().collect();
    list.sort_unstable();
    let clusters: Vec<Cluster> =
        list.into_iter().map(|((group, _), (n, x))| Cluster { group, n, x }).collect();
    let names: Vec<String> = (0..cuts.len()).map(|i| i.to_string()).collect();
    let names: Vec<&str> = names.iter().map(String::as_str).collect();
    let Ok(found) = clustered::compare(&clusters, &names) else { return 1.0 };
    let (mut sum, mut weight) = (0.0, 0.0);
    for (group, effect) in found.design_effects.iter().enumerate() {
        let n: u64 = clusters.iter().filter(|c| c.group == group).map(|c| c.n).sum();
        if let Some(effect) = effect {
            sum += effect * n as f64;
            weight += n as f64;
        }
    }
    if weight > 0.0 { (sum / weight).max(1.0) } else { 1.0 }
}

/// A round step of about half the middle spread of the readings: 1, 2 or 5 times a power of ten.
fn step(raw: &[Raw]) -> f64 {
    let at = |share: f64| raw.get((raw.len() as f64 * share) as usize).map_or(0.0, |r| r.pair.reading);
    let spread = (at(0.75) - at(0.25)).abs();
    if !(spread > 0.0 && spread.is_finite()) {
        return 1.0;
    }
    let power = 10f64.powf((spread / 2.0).log10().floor());
    [10.0, 5.0, 2.0, 1.0].iter().map(|k| k * power).find(|s| *s <= spread).unwrap_or(power)
}

/// Log odds = a + b × reading over the points that are kept; heats as clusters.
fn fit(raw: &[Raw], heats: usize, leave: Option<usize>) -> std::result::Result<Slope, String> {
    let kept: Vec<&Raw> = raw.iter().enumerate().filter(|(i, _)| Some(*i) != leave).map(|(_, r)| r).collect();
    if kept.len() < FEWEST {
        return Err(format!("{} points have both rate and reading; {FEWEST} are needed", kept.len()));
    }
    let x: Vec<u64> = kept.iter().map(|r| r.pair.with as u64).collect();
    let n: Vec<u64> = kept.iter().map(|r| r.pair.inspected as u64).collect();
    let reading: Vec<f64> = kept.iter().map(|r| r.pair.reading).collect();
    let clusters: Vec<usize> = kept.iter().map(|r| r.heat).collect();
    let mut here = vec![false; heats];
    clusters.iter().for_each(|&h| here[h] = true);
    let heats = here.iter().filter(|h| **h).count();
    if heats < FEWEST {
        return Err(format!("{heats} heats stand behind the points; {FEWEST} are needed"));
    }
    let design = Design::new(kept.len()).constant().column("reading", &reading)?;
    let found = logistic::fit(&x, &n, &design, Some(&clusters))?;
    let (slope, std_error) = (found.coefficients[1], found.std_errors[1]);
    let t = t_quantile(0.975, (heats - 2) as f64).ok_or("no quantile")?;
    let interval = [slope - t * std_error, slope + t * std_error];
    Ok(Slope { intercept: found.coefficients[0], slope, std_error, interval, heats })
}

/// Fits, leaves the strong points out one by one, and puts it into words.
fn relation(out: &mut Against, raw: &mut [Raw], heats: usize) {
    let whole = match fit(raw, heats, None) {
        Ok(whole) => whole,
        Err(why) => {
            out.words.push(format!("No slope is given: {why}."));
            return;
        }
    };
    let mut most: Option<(usize, Slope)> = None;
    let mut lost = None;
    for i in strong(raw, &whole) {
        let Ok(rest) = fit(raw, heats, Some(i)) else {
            lost = lost.or(Some(i));
            continue;
        };
        let moved = (whole.slope - rest.slope) / rest.std_error;
        raw[i].pair.influence = moved.is_finite().then_some(moved);
        raw[i].pair.influential = moved.abs() > PULL;
        let further = |m: &(usize, Slope)| (whole.slope - rest.slope).abs() > (whole.slope - m.1.slope).abs();
        if most.as_ref().is_none_or(further) {
            most = Some((i, rest));
        }
    }
    let verdict = match (whole.clear(), whole.slope > 0.0) {
        (false, _) => "no relation is shown",
        (true, true) => "it rises with the reading",
        (true, false) => "it falls with the reading",
    };
    out.words.push(format!("{}: {verdict}.", upper(&out.odds(&whole))));
    if let Some(i) = lost {
        raw[i].pair.influential = true;
        out.words.push(format!(
            "Without {} there is no slope: n = 1 {}, which proves nothing.",
            raw[i].pair.label, out.by
        ));
    } else if let Some((i, rest)) = most {
        let label = &raw[i].pair.label;
        let turned = rest.slope * whole.slope < 0.0 || rest.slope.abs() < 0.5 * whole.slope.abs();
        let without = out.odds_alone(&rest);
        out.words.push(match turned || (whole.clear() && !rest.clear()) {
            true => format!("Without {label} {without}: it hangs on n = 1 {}, which proves nothing.", out.by),
            false => format!("It hangs most on {label}; without it {without}."),
        });
        out.without = Some(rest);
    }
    let low_high = [0.1, 0.9].map(|s| raw[((raw.len() - 1) as f64 * s).round() as usize].pair.reading);
    let rates = low_high.map(|v| crate::show::percent(whole.rate(v)));
    out.words.push(format!(
        "The curve gives {} at {} and {} at {}.",
        rates[0],
        short(low_high[0]),
        rates[1],
        short(low_high[1])
    ));
    out.notes.push(
        "A logistic curve by maximum likelihood; its error allows for blades of one heat being alike (heats as \
         clusters, Liang and Zeger 1986), its interval goes by Student's t on heats less 2."
            .into(),
    );
    out.notes.push("Association, not cause: what else changed with the reading is not allowed for.".into());
    out.fit = Some(whole);
}

/// The points that may move the slope most: by how far off they lie, times how far the curve misses them.
fn strong(raw: &[Raw], fit: &Slope) -> Vec<usize> {
    let total: f64 = raw.iter().map(|r| r.pair.inspected as f64).sum();
    let mean = raw.iter().map(|r| r.pair.reading * r.pair.inspected as f64).sum::<f64>() / total;
    let pull = |r: &Raw| {
        let miss = r.pair.with as f64 - r.pair.inspected as f64 * fit.rate(r.pair.reading);
        ((r.pair.reading - mean) * miss).abs()
    };
    let mut order: Vec<usize> = (0..raw.len()).collect();
    order.sort_by(|&a, &b| pull(&raw[b]).total_cmp(&pull(&raw[a])).then(a.cmp(&b)));
    order.truncate(LEFT_OUT);
    order
}

fn upper(text: &str) -> String {
    let mut all = text.chars();
    all.next().map_or_else(String::new, |c| c.to_uppercase().chain(all).collect())
}
