//! What changed while something was charted: new lots, recipes, people, checks missed or failed, entries
//! filled in afterwards. Made from the columns that the ranking of causes uses, so nothing is listed twice.

use crate::jobs::causes::ask::Foundry;
use knowledge::causes::{At, MISSING, Values};
use records::Stamp;
use records::catalogue::*;
use records::read::columns::NOTHING;
use records::{Result, Store};

/// A change: when, of what sort (a lane of the picture), and what in words.
pub(crate) type Dated = (Stamp, &'static str, String);

/// A level is news where at least so many moulds follow it on average; every run of an oven is none.
const MOULDS_A_LEVEL: usize = 6;

/// What is first used within so many moulds of the first of all belongs to the start.
const START: usize = 8;

/// All changes between two times.
pub(crate) fn between(store: &Store, foundry: &Foundry, from: Stamp, to: Stamp) -> Result<Vec<Dated>> {
    let mut out = Vec::new();
    firsts(foundry, &mut out);
    checks(store, &mut out)?;
    revisions(store, &mut out)?;
    holds(store, &mut out)?;
    for (at, sentence) in store.reviewed()? {
        if let Some(at) = at {
            out.push((at, "entries", sentence));
        }
    }
    out.retain(|(at, ..)| from.ms() <= at.ms() && at.ms() <= to.ms());
    out.sort_by(|a, b| a.0.ms().cmp(&b.0.ms()).then_with(|| a.2.cmp(&b.2)));
    out.dedup();
    Ok(out)
}

/// The first mould (after the first of all) with each level of each factor.
fn firsts(foundry: &Foundry, out: &mut Vec<Dated>) {
    let moulds = foundry.moulds.len();
    // A heat begins with its first mould.
    let mut first_of_heat = vec![usize::MAX; foundry.heats.len()];
    for (m, &h) in foundry.mould_heat.iter().enumerate().rev() {
        first_of_heat[h as usize] = m;
    }
    let known: Vec<&str> = foundry.columns.iter().map(|c| c.name.as_str()).collect();
    for column in foundry.columns.iter().filter(|c| !c.is_number()) {
        if column.name.starts_with("pour.weekday") || column.name.starts_with("pour.shift") {
            continue;
        }
        // The lot that a lot was split from says the same again.
        let split = column.name.strip_suffix(WaxLots::split_from.name);
        if split.and_then(|lot| lot.strip_suffix('.')).is_some_and(|lot| known.contains(&lot)) {
            continue;
        }
        let column = column.clone().open();
        let mould_of = |unit: usize| match column.at {
            At::Mould => unit,
            At::Heat => first_of_heat.get(unit).copied().unwrap_or(usize::MAX),
            At::Blade => foundry.blade_mould.get(unit).map_or(usize::MAX, |&m| m as usize),
        };
        let (levels, seen): (&[String], Vec<(usize, u32)>) = match &column.values {
            Values::Words { codes, levels } => (
                levels,
                codes.iter().enumerate().filter(|(_, c)| **c != MISSING).map(|(u, &c)| (u, c)).collect(),
            ),
            Values::Shares { of, levels } => {
                let each = of.iter().enumerate();
                (levels, each.flat_map(|(u, mix)| mix.iter().flatten().map(move |(l, _)| (u, *l))).collect())
            }
            Values::Numbers(_) => continue,
        };
        let mut first = vec![usize::MAX; levels.len()];
        for (unit, level) in seen {
            let m = mould_of(unit);
            first[level as usize] = first[level as usize].min(m);
        }
        let used = first.iter().filter(|m| **m != usize::MAX).count();
        if used < 2 || used * MOULDS_A_LEVEL > moulds {
            continue;
        }
        let start = first.iter().copied().min().unwrap_or(0);
        for (level, &m) in levels.iter().zip(&first) {
            if m != usize::MAX && m > start + START {
                let (name, lane) = (named(&column.name), lane(&column.name, level));
                out.push((foundry.poured[m], lane, format!("{name} {level} first in {}", foundry.moulds[m])));
            }
        }
    }
}

/// The sort of change that a new level of a factor is.
fn lane(factor: &str, level: &str) -> &'static str {
    let says = |words: &[&str]| words.iter().any(|w| factor.contains(w));
    if factor.ends_with(".person") || says(&[".person/"]) {
        "people"
    } else if level.contains('@') || says(&["recipe", "schedule", "technique", "revision"]) {
        "revisions"
    } else if says(&["pyrometer", "instrument", "furnace", "crucible", ".oven", ".die", "robot", "station"]) {
        "tools"
    } else {
        "lots"
    }
}

/// A factor as a person reads it: `slurry_batch/prime` is a slurry batch (prime).
fn named(factor: &str) -> String {
    let (name, layer) = factor.split_once('/').unwrap_or((factor, ""));
    let name = name.replace(['_', '.'], " ");
    if layer.is_empty() { name } else { format!("{name} ({})", layer.replace('_', " ")) }
}

fn checks(store: &Store, out: &mut Vec<Dated>) -> Result<()> {
    let names = store.text_by_key(Instruments::instrument)?;
    let [of, at, result, difference, unit] = store.columns([
        Calibrations::instrument.any(),
        Calibrations::checked_at.any(),
        Calibrations::result.any(),
        Calibrations::difference.any(),
        Calibrations::unit.any(),
    ])?;
    for (row, instrument) in of.links().iter().enumerate() {
        let said = match result.word(row).and_then(CheckResult::of) {
            Some(CheckResult::Failed) => "check failed",
            Some(CheckResult::NotDone) => "check not done",
            Some(CheckResult::Good) | None => continue,
        };
        let name = names.get(instrument).map_or("an instrument", String::as_str);
        let by = match (difference.numbers().get(row), unit.word(row)) {
            (Some(d), unit) if d.is_finite() => format!(" by {d} {}", unit.unwrap_or_default()),
            _ => String::new(),
        };
        if at.times()[row] != NOTHING {
            out.push((Stamp::from_packed(at.times()[row]), "checks", format!("{name}: {said}{by}")));
        }
    }
    Ok(())
}

fn revisions(store: &Store, out: &mut Vec<Dated>) -> Result<()> {
    // Every definition calls these two so.
    let (revision, from) = (Parts::revision.name, Parts::effective_from.name);
    for kind in all().filter(|k| k.revisioned) {
        for record in store.all_of(kind)? {
            let from = record.get(from).to_text();
            let Ok(at) = Stamp::parse(&from).or_else(|_| Stamp::parse_date(&from)) else { continue };
            let at_revision = match record.get(revision).to_text() {
                none if none.is_empty() => String::new(),
                revision => format!(" revision {revision}"),
            };
            let name = record.tag().unwrap_or_default();
            out.push((at, "revisions", format!("{} {name}{at_revision} comes into force", kind.noun)));
        }
    }
    Ok(())
}

fn holds(store: &Store, out: &mut Vec<Dated>) -> Result<()> {
    for hold in store.rows::<Holds>()? {
        let (subject, reason) = (hold.cell(Holds::subject).to_text(), hold.cell(Holds::reason).to_text());
        if let Some(at) = hold.get(Holds::placed_at) {
            out.push((at, "holds", format!("hold on {subject}: {reason}")));
        }
    }
    Ok(())
}
