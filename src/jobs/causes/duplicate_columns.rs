//! Factors that say the same of every mould, such as the melter and the pourer who are one person: one
//! test, and a row for each.

use std::collections::HashMap;
use std::collections::hash_map::DefaultHasher;
use std::hash::{Hash, Hasher};

use knowledge::causes::ranking::{FactorLevel, NextPour};
use knowledge::causes::{At, Cause, Column, MISSING, Packed, Ranking, Records, Values};

/// Numbers with fewer distinct values than this count as words, as in the ranking.
const FEWEST_VALUES: usize = 10;

/// A factor that was left out of the tests because another says the same.
pub(crate) struct Twin {
    name: String,
    of: String,
    /// Level of the one that was tested to level of this one.
    levels: HashMap<String, String>,
}

/// Takes out every column that says the same of every inspected blade as one before it.
pub(crate) fn take(records: &Records, columns: &mut Vec<Packed>) -> Vec<Twin> {
    let mut first: HashMap<(bool, u64, u64), Vec<usize>> = HashMap::new();
    let mut twins = Vec::new();
    let mut keep = vec![true; columns.len()];
    for (c, packed) in columns.iter().enumerate() {
        let column = &packed.clone().open();
        let Some(pattern) = pattern(records, column) else { continue };
        // What has one level only is no test: each is said by its own name, none is the other's twin.
        if pattern.iter().all(|&level| level <= 0) {
            continue;
        }
        let inside = column.at == At::Blade;
        let mut hash = [DefaultHasher::new(), DefaultHasher::new()];
        hash[1].write_u8(1);
        hash.iter_mut().for_each(|h| pattern.hash(h));
        let same = first.entry((inside, hash[0].finish(), hash[1].finish())).or_default();
        match same.first() {
            Some(&kept) => {
                keep[c] = false;
                let one = columns[kept].clone().open();
                let levels = levels(records, &one, column);
                twins.push(Twin { name: column.name.clone(), of: one.name, levels });
            }
            None => same.push(c),
        }
    }
    let mut keep = keep.iter();
    columns.retain(|_| keep.next().copied().unwrap_or(true));
    twins
}

/// A number for the value of a column at each mould (or blade): the code of a word, the bits of a number.
fn keys<'c>(records: &'c Records, column: &'c Column) -> impl Iterator<Item = u64> + 'c {
    let key = move |i: usize| match &column.values {
        Values::Words { codes, .. } => u64::from(codes[i]),
        Values::Numbers(x) => x[i].to_bits(),
        Values::Shares { .. } => 0,
    };
    places(records, column).map(key)
}

/// Where the value of each mould (or blade) stands in a column.
fn places<'c>(records: &'c Records, column: &'c Column) -> impl Iterator<Item = usize> + 'c {
    let of_heat = column.at == At::Heat;
    let units = if of_heat { records.mould_heat.len() } else { column.values.len() };
    (0..units).map(move |i| if of_heat { records.mould_heat[i] as usize } else { i })
}

fn text(column: &Column, key: u64) -> Option<String> {
    match &column.values {
        Values::Words { levels, .. } => levels.get(key as usize).cloned(),
        Values::Numbers(_) => Some(f64::from_bits(key)).filter(|x| x.is_finite()).map(|x| x.to_string()),
        Values::Shares { .. } => None,
    }
}

/// What is the same for two columns that say the same: numbers with many values standardised, all else
/// numbered by first appearance. Only moulds with inspected blades count.
fn pattern(records: &Records, column: &Column) -> Option<Vec<i64>> {
    let mut inspected = vec![false; records.mould_tags.len()];
    records.blade_mould.iter().for_each(|&m| inspected[m as usize] = true);
    let counts = |i: usize| column.at == At::Blade || inspected[i];
    let partition = || {
        let mut number: HashMap<u64, i64> = HashMap::new();
        let next = |(_, key): (usize, u64)| {
            let n = number.len() as i64;
            match &column.values {
                Values::Words { .. } if key == u64::from(MISSING) => -1,
                Values::Numbers(_) if !f64::from_bits(key).is_finite() => -1,
                _ => *number.entry(key).or_insert(n),
            }
        };
        keys(records, column).enumerate().filter(|(i, _)| counts(*i)).map(next).collect::<Vec<i64>>()
    };
    match &column.values {
        Values::Words { .. } => Some(partition()),
        Values::Numbers(x) => {
            let of_units =
                || places(records, column).enumerate().filter(|(i, _)| counts(*i)).map(|(_, p)| x[p]);
            let known: Vec<f64> = of_units().filter(|v| v.is_finite()).collect();
            let mut distinct: Vec<u64> = known.iter().map(|v| v.to_bits()).collect();
            distinct.sort_unstable();
            distinct.dedup();
            if distinct.len() < FEWEST_VALUES {
                return Some(partition());
            }
            let n = known.len() as f64;
            let mean = known.iter().sum::<f64>() / n;
            let sd = (known.iter().map(|v| (v - mean).powi(2)).sum::<f64>() / n).sqrt();
            if sd <= 0.0 {
                return None;
            }
            // Nine digits: a constant that was added or a factor leaves no more than rounding.
            let z = |v: f64| if v.is_finite() { ((v - mean) / sd * 1e9).round() as i64 } else { i64::MIN };
            Some(of_units().map(z).collect())
        }
        Values::Shares { .. } => None,
    }
}

fn levels(records: &Records, one: &Column, two: &Column) -> HashMap<String, String> {
    let mut both: HashMap<u64, u64> = HashMap::new();
    for (a, b) in keys(records, one).zip(keys(records, two)) {
        both.insert(a, b);
    }
    both.into_iter().filter_map(|(a, b)| Some((text(one, a)?, text(two, b)?))).collect()
}

/// The factor that was tested for one of this name.
pub(crate) fn tested<'n>(twins: &'n [Twin], name: &'n str) -> &'n str {
    twins.iter().find(|t| t.name == name).map_or(name, |t| t.of.as_str())
}

/// Twins of what is shown first that are named among what to pour.
const TOLD: usize = 3;

/// Adds a row for each twin of a tested factor, and names them to each other.
pub(crate) fn tell(ranking: &mut Ranking, twins: &[Twin]) {
    if ranking.causes.is_empty() || twins.is_empty() {
        return;
    }
    let mut rows: Vec<Cause> = Vec::with_capacity(ranking.causes.len() + twins.len());
    for mut cause in std::mem::take(&mut ranking.causes) {
        let mine: Vec<&Twin> = twins.iter().filter(|t| t.of == cause.factor).collect();
        let named: Vec<FactorLevel> = mine
            .iter()
            .map(|t| FactorLevel { factor: t.name.clone(), level: translate(&cause, t) })
            .collect();
        let copies: Vec<Cause> = named
            .iter()
            .map(|name| {
                let mut copy = cause.clone();
                copy.factor.clone_from(&name.factor);
                copy.level.clone_from(&name.level);
                copy.inseparable_from =
                    vec![FactorLevel { factor: cause.factor.clone(), level: cause.level.clone() }];
                copy.share_of_belief = 0.0;
                copy.note = Some(format!("Same as {} in these records: one test for both.", cause.factor));
                copy
            })
            .collect();
        cause.inseparable_from.extend(named);
        rows.push(cause);
        rows.extend(copies);
    }
    rows.iter_mut().enumerate().for_each(|(i, row)| row.rank = i + 1);
    let shown = rows.iter().find(|c| c.verdict().is_shown() && twins.iter().any(|t| t.of == c.factor));
    if let Some(shown) = shown {
        for twin in twins.iter().filter(|t| t.of == shown.factor).take(TOLD) {
            let (a, b) =
                (shown.named(), FactorLevel { factor: twin.name.clone(), level: translate(shown, twin) });
            ranking.next.push(NextPour {
                pour: format!(
                    "{} and {} say the same of every mould: change one of them alone, and compare before and after.",
                    a.factor, b.factor
                ),
                separates: [a, b],
                moulds: None,
            });
        }
    }
    ranking.causes = rows;
}

/// The level of the twin that is the level of the tested one.
fn translate(cause: &Cause, twin: &Twin) -> Option<String> {
    let level = cause.level.as_ref()?;
    for sign in [">= ", "< "] {
        if let Some(cut) = level.strip_prefix(sign).and_then(|c| c.parse::<f64>().ok()) {
            let both = |(a, b): (&String, &String)| Some((a.parse::<f64>().ok()?, b.parse::<f64>().ok()?));
            let (mut below, mut from) = (f64::NEG_INFINITY, f64::INFINITY);
            for (a, b) in twin.levels.iter().filter_map(both) {
                if a < cut { below = below.max(b) } else { from = from.min(b) }
            }
            // the shortest number that parts the twin's own readings as the tested one's are parted
            let cut = match below < from && below.is_finite() && from.is_finite() {
                true => knowledge::causes::shortest_between(below, from),
                false => from,
            };
            return cut.is_finite().then(|| format!("{sign}{cut}"));
        }
    }
    twin.levels.get(level).cloned()
}
