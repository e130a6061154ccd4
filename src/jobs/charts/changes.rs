//! What changed while something was charted: new lots, recipes, people, checks missed or failed, entries
//! filled in afterwards. Made from the columns that the ranking of causes uses, so nothing is listed twice.

use crate::jobs::causes::ask::Foundry;
use knowledge::causes::{At, MISSING, Values};
use records::Stamp;
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
        if column.name.strip_suffix(".split_from").is_some_and(|lot| known.contains(&lot)) {
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
    let (Some(checks), Some(instruments)) =
        (records::catalogue::kind("calibrations"), records::catalogue::kind("instruments"))
    else {
        return Ok(());
    };
    let names = store.sheet(instruments, &["instrument"])?;
    let sheet = store.sheet(checks, &["instrument", "checked_at", "result", "difference", "unit"])?;
    let [of, at, result, difference, unit] = &sheet.columns[..] else { return Ok(()) };
    for row in 0..sheet.rows {
        let said = match result.word(row) {
            Some("failed") => "check failed",
            Some("not_done") => "check not done",
            _ => continue,
        };
        let place = names.ids.iter().position(|id| *id == of.links()[row]);
        let name = place.and_then(|p| names.columns[0].word(p)).unwrap_or("an instrument");
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
    for kind in records::catalogue::all().filter(|k| k.revisioned) {
        let Some(tag) = kind.tag_field() else { continue };
        for record in store.all_of(kind)? {
            let from = record.get("effective_from").to_text();
            let Ok(at) = Stamp::parse(&from).or_else(|_| Stamp::parse_date(&from)) else { continue };
            let revision = record.get("revision").to_text();
            let name = record.get(tag.name).to_text();
            let at_revision =
                if revision.is_empty() { String::new() } else { format!(" revision {revision}") };
            out.push((at, "revisions", format!("{} {name}{at_revision} comes into force", kind.noun)));
        }
    }
    Ok(())
}

fn holds(store: &Store, out: &mut Vec<Dated>) -> Result<()> {
    let Some(kind) = records::catalogue::kind("holds") else { return Ok(()) };
    for hold in store.all_of(kind)? {
        let (subject, reason) = (hold.get("subject").to_text(), hold.get("reason").to_text());
        if let Some(at) = hold.get("placed_at").time() {
            out.push((at, "holds", format!("hold on {subject}: {reason}")));
        }
    }
    Ok(())
}
