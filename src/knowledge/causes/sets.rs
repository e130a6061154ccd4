//! The moulds, or blades, that a factor names, and how many of them were with the defect.

use crate::causes::factors::Factor;
use crate::causes::factors::FactorKind;
use crate::causes::factors::Labels;
use crate::causes::factors::NO_BIN;
use crate::causes::history::History;
use crate::causes::records::MISSING;
use crate::causes::scan::NamedSet;

/// How many of how many, and what stands behind it.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, serde::Serialize)]
pub struct BladeGroup {
    /// Inspected blades.
    pub blades: usize,
    /// Moulds they come from.
    pub moulds: usize,
    /// Heats they come from.
    pub heats: usize,
    /// Blades with the defect (or findings, where those are counted).
    pub with: usize,
}

impl BladeGroup {
    /// The share with the defect; none without blades.
    #[must_use]
    pub fn rate(&self) -> Option<f64> {
        (self.blades > 0).then(|| self.with as f64 / self.blades as f64)
    }
}

/// Whether each mould is in the named set, out of it, or unknown; for a level inside moulds, whether it
/// holds a blade of it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Membership {
    In,
    Out,
    Unknown,
}

/// The side of each mould. A trend has no set: its riskier third is in, the opposite third out.
pub(crate) fn sides(history: &History, factor: &Factor, what: NamedSet) -> Vec<Membership> {
    let pick = |inside: bool| if inside { Membership::In } else { Membership::Out };
    let by_heat = |of_heat: &dyn Fn(usize) -> Membership| -> Vec<Membership> {
        history.heat_of.iter().map(|&h| of_heat(h as usize)).collect()
    };
    match (&factor.labels, what) {
        (_, NamedSet::Nothing) => vec![Membership::Unknown; history.moulds()],
        (Labels::Heat(codes), NamedSet::Level(level)) => by_heat(&|h| match codes[h] {
            MISSING => Membership::Unknown,
            code => pick(code == level),
        }),
        (Labels::Lots(lots), NamedSet::Level(level)) => by_heat(&|h| {
            let sources = &lots.level[lots.start[h] as usize..lots.start[h + 1] as usize];
            if lots.known[h] { pick(sources.contains(&level)) } else { Membership::Unknown }
        }),
        (Labels::Mould(runs), NamedSet::Level(level)) => {
            let mut all = vec![Membership::Unknown; history.moulds()];
            for (moulds, code) in runs.iter().filter(|(_, code)| *code != MISSING) {
                all[moulds].fill(pick(code == level));
            }
            all
        }
        (Labels::Cell(cell), NamedSet::Level(level)) => (0..history.moulds())
            .map(|m| {
                let held = &cell.level[cell.start[m] as usize..cell.start[m + 1] as usize];
                if held.is_empty() { Membership::Unknown } else { pick(held.contains(&level)) }
            })
            .collect(),
        (Labels::Number(number), what) => {
            let thirds = thirds(&number.raw);
            let of = |i: usize| {
                let x = number.raw[i];
                match what {
                    _ if number.bin[i] == NO_BIN => Membership::Unknown,
                    NamedSet::Threshold { cut, above } => pick((x >= number.cuts[cut]) == above),
                    NamedSet::Trend { rising } if x >= thirds.1 => pick(rising),
                    NamedSet::Trend { rising } if x <= thirds.0 => pick(!rising),
                    _ => Membership::Unknown,
                }
            };
            if factor.kind == FactorKind::Heat {
                by_heat(&of)
            } else {
                (0..history.moulds()).map(of).collect()
            }
        }
        _ => vec![Membership::Unknown; history.moulds()],
    }
}

/// The values below and above which a third of the known ones lie.
pub(crate) fn thirds(raw: &[f64]) -> (f64, f64) {
    let mut sorted: Vec<f64> = raw.iter().copied().filter(|x| !x.is_nan()).collect();
    sorted.sort_by(f64::total_cmp);
    let at = |i: usize| sorted.get(i).copied().unwrap_or(0.0);
    (at((sorted.len() / 3).saturating_sub(1)), at(sorted.len() - sorted.len() / 3))
}

/// How many of how many in the named set and outside it; what is not known is in neither.
pub(crate) fn groups(
    history: &History,
    factor: &Factor,
    what: NamedSet,
    sides: &[Membership],
) -> (BladeGroup, BladeGroup) {
    if let (Some(cell), NamedSet::Level(level)) = (factor.blades(), what) {
        let mut both = [BladeGroup::default(); 2];
        let mut last_heat = [u32::MAX; 2];
        for m in 0..history.moulds() {
            let mut here = [(0usize, 0usize); 2];
            for entry in cell.start[m] as usize..cell.start[m + 1] as usize {
                let side = usize::from(cell.level[entry] != level);
                here[side].0 += usize::from(cell.count[entry]);
                here[side].1 += usize::from(cell.with[entry]);
            }
            for side in 0..2 {
                add(&mut both[side], &mut last_heat[side], history.heat_of[m], here[side]);
            }
        }
        return (both[0], both[1]);
    }
    let count = |wanted: Membership| {
        let (mut group, mut last) = (BladeGroup::default(), u32::MAX);
        for m in (0..history.moulds()).filter(|&m| sides[m] == wanted) {
            let here = (history.n[m] as usize, history.y[m] as usize);
            add(&mut group, &mut last, history.heat_of[m], here);
        }
        group
    };
    (count(Membership::In), count(Membership::Out))
}

fn add(group: &mut BladeGroup, last_heat: &mut u32, heat: u32, (blades, with): (usize, usize)) {
    if blades == 0 {
        return;
    }
    group.blades += blades;
    group.with += with;
    group.moulds += 1;
    if *last_heat != heat {
        group.heats += 1;
        *last_heat = heat;
    }
}

/// Moulds of the named set with at least one defective blade (of the level, inside moulds).
pub(crate) fn defective_moulds(
    history: &History,
    factor: &Factor,
    what: NamedSet,
    sides: &[Membership],
) -> usize {
    if let (Some(cell), NamedSet::Level(level)) = (factor.blades(), what) {
        let hit = |m: &usize| {
            (cell.start[*m] as usize..cell.start[m + 1] as usize)
                .any(|entry| cell.level[entry] == level && cell.with[entry] > 0)
        };
        return (0..history.moulds()).filter(hit).count();
    }
    (0..history.moulds()).filter(|&m| sides[m] == Membership::In && history.y[m] > 0.0).count()
}

/// The text of what is named: a level, `>= 9.4`, `< 9.4`; none for a trend.
pub(crate) fn text(factor: &Factor, what: NamedSet) -> Option<String> {
    match (&factor.labels, what) {
        (Labels::Number(number), NamedSet::Threshold { cut, above }) => {
            let sign = if above { ">=" } else { "<" };
            // what is printed is what was used: a cut is the shortest number that parts the readings
            Some(format!("{sign} {}", number.cuts[cut]))
        }
        (_, NamedSet::Level(level)) => factor.levels.get(level as usize).cloned(),
        _ => None,
    }
}

/// A number as recorded, or to six significant digits where it is an average.
pub(crate) fn short(x: f64) -> String {
    let plain = x.to_string();
    if plain.len() <= 9 {
        return plain;
    }
    let places = (5 - x.abs().log10().floor() as i32).clamp(0, 12) as usize;
    let rounded = format!("{x:.places$}");
    if rounded.contains('.') { rounded.trim_end_matches('0').trim_end_matches('.').into() } else { rounded }
}
