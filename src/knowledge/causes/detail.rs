//! What a person looks at behind one row of the ranking: every level, the moulds in pour order, the heats
//! that hold both sides.

use serde::Serialize;

use crate::causes::factors::Factor;
use crate::causes::factors::FactorKind;
use crate::causes::factors::Labels;
use crate::causes::factors::NO_BIN;
use crate::causes::history::History;
use crate::causes::ranking::Cause;
use crate::causes::records::MISSING;
use crate::causes::scan::NamedSet;
use crate::causes::sets::BladeGroup;
use crate::causes::sets::Membership;
use crate::causes::sets::short;
use crate::causes::sets::sides;
use crate::causes::sets::text;
use crate::stats::dist::normal_quantile;

/// A number is shown in so many groups of about equal size.
const PARTS: usize = 5;

/// One level of a factor.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct LevelRate {
    /// The level, or the span of a number.
    pub level: String,
    /// How many of how many, and what stands behind it.
    pub group: BladeGroup,
    /// The share with the defect.
    pub rate: Option<f64>,
    /// 95 % limits: Wilson's, on counts divided by the design effect of the whole history.
    pub interval: Option<[f64; 2]>,
    /// It is the named level, or part of the named set.
    pub named: bool,
}

/// One mould, in pour order.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct MouldSeen {
    /// Its tag.
    pub mould: String,
    /// Its heat, counted from 0 in pour order.
    pub heat: u32,
    /// Inspected blades.
    pub blades: usize,
    /// Of them with the defect.
    pub with: usize,
    /// In the named set, out of it, or not known.
    pub inside: Option<bool>,
}

/// The evidence behind one row.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Detail {
    /// The factor.
    pub factor: String,
    /// What the row names.
    pub level: Option<String>,
    /// Every level that was seen, in the order of their names, or of their size for a number.
    pub levels: Vec<LevelRate>,
    /// Every mould.
    pub moulds: Vec<MouldSeen>,
    /// Of a trend: which of them lie in the middle third, which is on neither side.
    pub middle: Vec<bool>,
    /// Within the heats that hold moulds of both sides: the named set, and the rest.
    pub same_heats: Option<[BladeGroup; 2]>,
}

/// The evidence behind a row of the ranking; none where the factor is not of this history (a pair).
/// `design_effect` is the ranking's.
#[must_use]
pub fn detail(history: &History, cause: &Cause, design_effect: f64) -> Option<Detail> {
    let factor = history.factors.iter().find(|f| f.name == cause.factor)?;
    let what = what(factor, cause);
    let sides = sides(history, factor, what);
    let moulds = (0..history.moulds())
        .map(|m| MouldSeen {
            mould: history.mould_tags[m].clone(),
            heat: history.heat_of[m],
            blades: history.n[m] as usize,
            with: history.y[m] as usize,
            inside: match sides[m] {
                Membership::In => Some(true),
                Membership::Out => Some(false),
                Membership::Unknown => None,
            },
        })
        .collect();
    let known = known(history, factor);
    let trend = matches!(what, NamedSet::Trend { .. });
    let middle =
        (0..history.moulds()).map(|m| trend && sides[m] == Membership::Unknown && known(m)).collect();
    let named = |level: usize| match what {
        NamedSet::Level(l) => l as usize == level,
        _ => false,
    };
    let mut levels: Vec<LevelRate> = level_groups(history, factor)
        .into_iter()
        .enumerate()
        .map(|(i, (level, group))| LevelRate {
            level,
            group,
            rate: group.rate(),
            interval: wilson(group, design_effect),
            named: named(i),
        })
        .collect();
    levels.retain(|l| l.group.blades > 0);
    Some(Detail {
        factor: factor.name.clone(),
        level: cause.level.clone(),
        levels,
        moulds,
        middle,
        same_heats: same_heats(history, &sides),
    })
}

/// Whether a number is known of a mould.
fn known<'a>(history: &'a History, factor: &'a Factor) -> impl Fn(usize) -> bool + 'a {
    move |m| match &factor.labels {
        Labels::Number(number) => {
            let i = if factor.kind == FactorKind::Heat { history.heat_of[m] as usize } else { m };
            number.bin[i] != NO_BIN
        }
        _ => false,
    }
}

/// What the row names, found again from its text.
fn what(factor: &Factor, cause: &Cause) -> NamedSet {
    if let Labels::Number(number) = &factor.labels {
        let cuts = (0..number.cuts.len())
            .flat_map(|cut| [true, false].map(|above| NamedSet::Threshold { cut, above }));
        let named = |w: &NamedSet| cause.level.is_some() && text(factor, *w) == cause.level;
        return match { cuts }.find(named) {
            Some(found) => found,
            None if cause.kind == "trend" => NamedSet::Trend { rising: cause.ratio.is_none_or(|r| r >= 1.0) },
            None => NamedSet::Nothing,
        };
    }
    match factor.levels.iter().position(|l| Some(l) == cause.level.as_ref()) {
        Some(level) => NamedSet::Level(level as u32),
        None => NamedSet::Nothing,
    }
}

/// Wilson 1927 on `with / design effect` of `blades / design effect`.
fn wilson(group: BladeGroup, design_effect: f64) -> Option<[f64; 2]> {
    let scale = design_effect.max(1.0);
    let (n, p) = (group.blades as f64 / scale, group.rate()?);
    let z = normal_quantile(0.975)?;
    let middle = (p + z * z / (2.0 * n)) / (1.0 + z * z / n);
    let half = z * (p * (1.0 - p) / n + z * z / (4.0 * n * n)).sqrt() / (1.0 + z * z / n);
    Some([(middle - half).max(0.0), (middle + half).min(1.0)])
}

/// Counts a mould's blades into a group.
struct Tally {
    group: BladeGroup,
    heat: u32,
}

impl Tally {
    fn add(&mut self, heat: u32, blades: usize, with: usize) {
        if blades == 0 {
            return;
        }
        self.group.blades += blades;
        self.group.with += with;
        self.group.moulds += 1;
        if self.heat != heat {
            self.group.heats += 1;
            self.heat = heat;
        }
    }
}

fn level_groups(history: &History, factor: &Factor) -> Vec<(String, BladeGroup)> {
    let count = match &factor.labels {
        Labels::Number(_) => PARTS,
        _ => factor.levels.len(),
    };
    let mut tallies: Vec<Tally> =
        (0..count).map(|_| Tally { group: BladeGroup::default(), heat: u32::MAX }).collect();
    let mut add = |level: usize, m: usize| {
        if let Some(tally) = tallies.get_mut(level) {
            tally.add(history.heat_of[m], history.n[m] as usize, history.y[m] as usize);
        }
    };
    let mut names = factor.levels.clone();
    if let Some(cell) = factor.blades() {
        for m in 0..history.moulds() {
            for entry in cell.start[m] as usize..cell.start[m + 1] as usize {
                if let Some(tally) = tallies.get_mut(cell.level[entry] as usize) {
                    let (blades, with) = (cell.count[entry], cell.with[entry]);
                    tally.add(history.heat_of[m], usize::from(blades), usize::from(with));
                }
            }
        }
        return names.into_iter().zip(tallies.into_iter().map(|t| t.group)).collect();
    }
    match &factor.labels {
        Labels::Heat(codes) => {
            for m in 0..history.moulds() {
                add(codes[history.heat_of[m] as usize] as usize, m);
            }
        }
        Labels::Lots(lots) => {
            for m in 0..history.moulds() {
                let h = history.heat_of[m] as usize;
                for &level in &lots.level[lots.start[h] as usize..lots.start[h + 1] as usize] {
                    add(level as usize, m);
                }
            }
        }
        Labels::Mould(runs) => {
            for (moulds, code) in runs.iter().filter(|(_, code)| *code != MISSING) {
                moulds.for_each(|m| add(code as usize, m));
            }
        }
        Labels::Cell(_) => {}
        Labels::Number(number) => {
            let ends = parts(&number.raw);
            let of_heat = number.raw.len() == history.heats() && number.raw.len() != history.moulds();
            for m in 0..history.moulds() {
                let i = if of_heat { history.heat_of[m] as usize } else { m };
                if number.bin[i] != NO_BIN {
                    add(ends.iter().filter(|&&e| number.raw[i] >= e).count(), m);
                }
            }
            names = (0..PARTS).map(|part| span(&ends, part)).collect();
        }
    }
    names.into_iter().zip(tallies.into_iter().map(|t| t.group)).collect()
}

/// The values that part the known ones into groups of about equal size.
fn parts(raw: &[f64]) -> Vec<f64> {
    let mut sorted: Vec<f64> = raw.iter().copied().filter(|x| !x.is_nan()).collect();
    sorted.sort_by(f64::total_cmp);
    let mut ends: Vec<f64> =
        (1..PARTS).filter_map(|k| sorted.get(sorted.len() * k / PARTS).copied()).collect();
    ends.dedup();
    ends
}

fn span(ends: &[f64], part: usize) -> String {
    match (part.checked_sub(1).and_then(|p| ends.get(p)), ends.get(part)) {
        (None, Some(end)) => format!("below {}", short(*end)),
        (Some(start), Some(end)) => format!("{} to {}", short(*start), short(*end)),
        (Some(start), None) => format!("from {}", short(*start)),
        (None, None) => "all".into(),
    }
}

fn same_heats(history: &History, sides: &[Membership]) -> Option<[BladeGroup; 2]> {
    let mut both = [
        Tally { group: BladeGroup::default(), heat: u32::MAX },
        Tally { group: BladeGroup::default(), heat: u32::MAX },
    ];
    for h in 0..history.heats() {
        let moulds = history.heat_start[h]..history.heat_start[h + 1];
        let holds = |side: Membership| moulds.clone().any(|m| sides[m] == side && history.n[m] > 0.0);
        if !(holds(Membership::In) && holds(Membership::Out)) {
            continue;
        }
        for m in moulds.clone() {
            let place = match sides[m] {
                Membership::In => 0,
                Membership::Out => 1,
                Membership::Unknown => continue,
            };
            both[place].add(h as u32, history.n[m] as usize, history.y[m] as usize);
        }
    }
    let [a, b] = both.map(|t| t.group);
    (a.blades > 0).then_some([a, b])
}
