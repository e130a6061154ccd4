//! Factors that say the same of every mould, such as the melter and the pourer who are one person: one
//! test, and a row for each.

use std::collections::HashMap;
use std::collections::hash_map::DefaultHasher;
use std::hash::{Hash, Hasher};

use crate::causes::ranking::Named;
use crate::causes::{At, Cause, Column, MISSING, Ranking, Records, Values};

/// Numbers with fewer distinct values than this count as words, as in the ranking.
const FEWEST_VALUES: usize = 10;

/// A factor that was left out of the tests because another says the same.
pub(super) struct Twin {
    name: String,
    of: String,
    /// Level of the one that was tested to level of this one.
    levels: HashMap<String, String>,
}

/// Takes out of the records every column that says the same of every inspected blade as one before it.
pub(super) fn take(records: &mut Records) -> Vec<Twin> {
    let mut first: HashMap<(bool, u64, u64), Vec<usize>> = HashMap::new();
    let mut twins = Vec::new();
    let mut keep = vec![true; records.columns.len()];
    for (c, column) in records.columns.iter().enumerate() {
        let Some(pattern) = pattern(records, column) else { continue };
        let inside = column.at == At::Blade;
        let mut hash = [DefaultHasher::new(), DefaultHasher::new()];
        hash[1].write_u8(1);
        hash.iter_mut().for_each(|h| pattern.hash(h));
        let same = first.entry((inside, hash[0].finish(), hash[1].finish())).or_default();
        match same.first() {
            Some(&kept) => {
                keep[c] = false;
                let (one, two) = (&records.columns[kept], &records.columns[c]);
                twins.push(Twin {
                    name: two.name.clone(),
                    of: one.name.clone(),
                    levels: levels(records, one, two),
                });
            }
            None => same.push(c),
        }
    }
    let mut keep = keep.iter();
    records.columns.retain(|_| keep.next().copied().unwrap_or(true));
    twins
}

/// A number for the value of a column at each mould (or blade): the code of a word, the bits of a number.
fn keys(records: &Records, column: &Column) -> Vec<u64> {
    let of: Vec<u64> = match &column.values {
        Values::Words { codes, .. } => codes.iter().map(|&c| u64::from(c)).collect(),
        Values::Numbers(x) => x.iter().map(|x| x.to_bits()).collect(),
        Values::Shares { .. } => Vec::new(),
    };
    along(records, column.at, &of)
}

fn text(column: &Column, key: u64) -> Option<String> {
    match &column.values {
        Values::Words { levels, .. } => levels.get(key as usize).cloned(),
        Values::Numbers(_) => Some(f64::from_bits(key)).filter(|x| x.is_finite()).map(|x| x.to_string()),
        Values::Shares { .. } => None,
    }
}

fn along<T: Clone>(records: &Records, at: At, of: &[T]) -> Vec<T> {
    match at {
        At::Heat => records.mould_heat.iter().map(|&h| of[h as usize].clone()).collect(),
        At::Mould | At::Blade => of.to_vec(),
    }
}

/// What is the same for two columns that say the same: numbers with many values standardised, all else
/// numbered by first appearance. Only moulds with inspected blades count.
fn pattern(records: &Records, column: &Column) -> Option<Vec<i64>> {
    let mut inspected = vec![false; records.mould_tags.len()];
    records.blade_mould.iter().for_each(|&m| inspected[m as usize] = true);
    let counts = |i: usize| column.at == At::Blade || inspected[i];
    let partition = |keys: Vec<u64>| {
        let mut number: HashMap<u64, i64> = HashMap::new();
        let next = |key: &u64| match *key {
            u64::MAX => -1,
            key => {
                let n = number.len() as i64;
                *number.entry(key).or_insert(n)
            }
        };
        keys.iter().enumerate().filter(|(i, _)| counts(*i)).map(|(_, k)| k).map(next).collect::<Vec<i64>>()
    };
    match &column.values {
        Values::Words { codes, .. } => {
            let codes = along(records, column.at, codes);
            Some(partition(
                codes.iter().map(|&c| if c == MISSING { u64::MAX } else { u64::from(c) }).collect(),
            ))
        }
        Values::Numbers(x) => {
            let x = along(records, column.at, x);
            let known: Vec<f64> =
                x.iter().enumerate().filter(|(i, v)| counts(*i) && v.is_finite()).map(|(_, v)| *v).collect();
            let mut distinct: Vec<u64> = known.iter().map(|v| v.to_bits()).collect();
            distinct.sort_unstable();
            distinct.dedup();
            if distinct.len() < FEWEST_VALUES {
                return Some(partition(
                    x.iter().map(|v| if v.is_finite() { v.to_bits() } else { u64::MAX }).collect(),
                ));
            }
            let n = known.len() as f64;
            let mean = known.iter().sum::<f64>() / n;
            let sd = (known.iter().map(|v| (v - mean).powi(2)).sum::<f64>() / n).sqrt();
            if sd <= 0.0 {
                return None;
            }
            // Nine digits: a constant that was added or a factor leaves no more than rounding.
            let z = |v: f64| if v.is_finite() { ((v - mean) / sd * 1e9).round() as i64 } else { i64::MIN };
            Some(x.iter().enumerate().filter(|(i, _)| counts(*i)).map(|(_, v)| z(*v)).collect())
        }
        Values::Shares { .. } => None,
    }
}

fn levels(records: &Records, one: &Column, two: &Column) -> HashMap<String, String> {
    let both: HashMap<u64, u64> = keys(records, one).into_iter().zip(keys(records, two)).collect();
    both.into_iter().filter_map(|(a, b)| Some((text(one, a)?, text(two, b)?))).collect()
}

/// Adds a row for each twin of a tested factor, and names them to each other.
pub(super) fn tell(ranking: &mut Ranking, twins: &[Twin]) {
    if ranking.causes.is_empty() || twins.is_empty() {
        return;
    }
    let mut rows: Vec<Cause> = Vec::with_capacity(ranking.causes.len() + twins.len());
    for mut cause in std::mem::take(&mut ranking.causes) {
        let mine: Vec<&Twin> = twins.iter().filter(|t| t.of == cause.factor).collect();
        let named: Vec<Named> =
            mine.iter().map(|t| Named { factor: t.name.clone(), level: translate(&cause, t) }).collect();
        let copies: Vec<Cause> = named
            .iter()
            .map(|name| {
                let mut copy = cause.clone();
                copy.factor.clone_from(&name.factor);
                copy.level.clone_from(&name.level);
                copy.inseparable_from =
                    vec![Named { factor: cause.factor.clone(), level: cause.level.clone() }];
                copy.share_of_belief = 0.0;
                copy.note =
                    Some(format!("Says the same as {} in these records: one test for both.", cause.factor));
                copy
            })
            .collect();
        cause.inseparable_from.extend(named);
        rows.push(cause);
        rows.extend(copies);
    }
    rows.iter_mut().enumerate().for_each(|(i, row)| row.rank = i + 1);
    ranking.causes = rows;
}

/// The level of the twin that is the level of the tested one.
fn translate(cause: &Cause, twin: &Twin) -> Option<String> {
    let level = cause.level.as_ref()?;
    for sign in [">= ", "< "] {
        if let Some(cut) = level.strip_prefix(sign).and_then(|c| c.parse::<f64>().ok()) {
            let near =
                |(a, _): &(&String, &String)| a.parse::<f64>().map_or(f64::INFINITY, |a| (a - cut).abs());
            let found = twin.levels.iter().min_by(|x, y| near(x).total_cmp(&near(y)))?;
            return Some(format!("{sign}{}", found.1));
        }
    }
    twin.levels.get(level).cloned()
}
