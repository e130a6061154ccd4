//! Reasons that block without any hold, and that a change would take away: a suspect reading, metal outside its limits, a
//! reader who was not qualified. Whoever put them right may be right; quality says so.

use std::collections::BTreeSet;

use rusqlite::{Connection, OptionalExtension};

use crate::Record;
use crate::catalogue::{
    Analyses, Blades, Calibrations, Charges, Heats, IngotLots, Inspections, Instruments, Method, Moulds,
    PatternRuns, Pours, RevertLots, RevertSources, Verdict,
};
use crate::error::Result;
use crate::graph::fit;
use crate::graph::suspect;
use crate::read;
use crate::read::rows::{Link, Resolved};
use crate::write::relief::{PlannedChange, limits};

/// A suspect reading of an instrument: the kind of its record, what it was taken on, when.
pub(crate) type Reading = (&'static str, Vec<(&'static str, i64)>, i64);

pub(crate) fn suspect_of(db: &Connection, instrument: i64) -> Result<BTreeSet<Reading>> {
    let found = suspect::of_instrument(db, instrument)?.into_iter();
    Ok(found.map(|r| (r.kind, r.on.iter().map(|l| (l.kind, l.id)).collect(), r.at.ms())).collect())
}

/// The instruments whose checks a change touches, each with its suspect readings. None of them is without one.
pub(crate) fn doubted(db: &Connection, change: &PlannedChange) -> Result<Vec<(Link, BTreeSet<Reading>)>> {
    let mut out: Vec<(Link, BTreeSet<Reading>)> = Vec::new();
    for resolved in [change.old, change.new].into_iter().flatten() {
        if !resolved.record.kind.is::<Calibrations>() {
            return Ok(out);
        }
        for link in resolved.links.iter().flatten().filter(|l| l.is::<Instruments>()) {
            let known = out.iter().any(|(l, _)| l == link);
            let readings = if known { BTreeSet::new() } else { suspect_of(db, link.id)? };
            if !readings.is_empty() {
                out.push((*link, readings));
            }
        }
    }
    Ok(out)
}

/// What a correction takes away for sure.
pub(crate) fn taken_away(db: &Connection, change: &PlannedChange) -> Result<Vec<String>> {
    let (Some(old), Some(new)) = (change.old, change.new) else { return Ok(Vec::new()) };
    let mut out = Vec::new();
    out.extend(reading(db, &old.record, &new.record)?);
    out.extend(reader(&old.record, &new.record));
    out.extend(metal(db, old, new)?);
    out.extend(analysis(db, change, old, new)?);
    Ok(out)
}

/// A reading with an instrument that was suspect or overdue then becomes one with another, or of another time.
fn reading(db: &Connection, old: &Record, new: &Record) -> Result<Option<String>> {
    let Some(field) = old.kind.instrument else { return Ok(None) };
    let Some(before) = old.get(field).text() else { return Ok(None) };
    let same = new.get(field).text().is_some_and(|now| now.eq_ignore_ascii_case(before));
    if same && old.own_time() == new.own_time() {
        return Ok(None);
    }
    let doubtful = |record: &Record| -> Result<bool> {
        let (Some(tag), Some(at)) = (record.get(field).text(), record.own_time()) else { return Ok(false) };
        let checks = suspect::checks_of(db, tag)?;
        Ok(checks.suspect(at) || checks.overdue(at).is_some() || checks.last(at).is_none())
    };
    if !doubtful(old)? || doubtful(new)? {
        return Ok(None);
    }
    Ok(Some(format!("takes a reading with {before} that is suspect or overdue out of {}", old.address())))
}

/// The reader of a film or of penetrant becomes another, or whoever rejected, by any method: they may not close it.
fn reader(old: &Record, new: &Record) -> Option<String> {
    type I = Inspections;
    let (of, new) = (old.of::<I>()?, new.of::<I>()?);
    let rejected = of.get(I::result) == Some(Verdict::Reject);
    let film = matches!(of.get(I::method), Some(Method::Penetrant | Method::Radiograph));
    if !(rejected || film) {
        return None;
    }
    let Some(before) = of.get(I::person) else {
        let named = rejected && !new.cell(I::person).is_blank();
        return named.then(|| format!("names who rejected in {}, which was not recorded", old.address()));
    };
    let same = new.get(I::person).is_some_and(|now| now.eq_ignore_ascii_case(before));
    (!same).then(|| format!("gives {} another reader than {before}", old.address()))
}

/// An analysis that lies outside a limit becomes one of something else.
fn analysis(
    db: &Connection,
    change: &PlannedChange,
    old: &Resolved,
    new: &Resolved,
) -> Result<Option<String>> {
    let (Some(id), Some(before)) = (change.id, old.record.of::<Analyses>()) else { return Ok(None) };
    let same = old.link(Analyses::subject) == new.link(Analyses::subject);
    if same || limits::outside(db, id)?.is_empty() {
        return Ok(None);
    }
    let of = before.text(Analyses::subject);
    Ok(Some(format!("takes {}, which lies outside a limit, away from {of}", old.record.address())))
}

/// What came out of metal outside its limits is said to have come out of other metal.
fn metal(db: &Connection, old: &Resolved, new: &Resolved) -> Result<Option<String>> {
    let (before, after) = (metal_of(db, old)?, metal_of(db, new)?);
    for &(kind, id) in before.difference(&after) {
        for (id, analysis) in limits::analyses_of(db, Link { kind, id })? {
            if !limits::outside(db, id)?.is_empty() {
                return Ok(Some(format!(
                    "takes {} out of metal that {analysis} found outside its limits",
                    old.record.address()
                )));
            }
        }
    }
    Ok(None)
}

/// The metal that a record says something came out of: itself, and what was charged into it.
fn metal_of(db: &Connection, resolved: &Resolved) -> Result<BTreeSet<(&'static str, i64)>> {
    let link = match resolved.record.kind.name {
        Pours::NAME => resolved.link(Pours::heat),
        RevertSources::NAME => resolved.link(RevertSources::heat),
        Charges::NAME => resolved.link(Charges::source),
        Blades::NAME => resolved.link(Blades::mould),
        _ => None,
    };
    let mut out = BTreeSet::new();
    let Some(link) = link else { return Ok(out) };
    let mut heats: Vec<i64> = Vec::new();
    match link.kind {
        Heats::NAME => heats.push(link.id),
        Moulds::NAME => {
            let mut q = db.prepare_cached("SELECT heat FROM pours WHERE mould = ?1")?;
            heats.extend(q.query_row([link.id], |r| r.get::<_, i64>(0)).optional()?);
        }
        _ => {
            out.insert((link.kind, link.id));
        }
    }
    for heat in heats {
        out.insert((Heats::NAME, heat));
        let mut q =
            db.prepare_cached("SELECT source_ingot_lot, source_revert_lot FROM charges WHERE heat = ?1")?;
        let mut rows = q.query([heat])?;
        while let Some(row) = rows.next()? {
            out.extend(row.get::<_, Option<i64>>(0)?.map(|id| (IngotLots::NAME, id)));
            out.extend(row.get::<_, Option<i64>>(1)?.map(|id| (RevertLots::NAME, id)));
        }
    }
    Ok(out)
}

/// What does not fit, as it stands before a correction: heats and moulds that it bears on, each with the reasons. None of
/// them is without one.
#[derive(Default)]
pub(crate) struct Misfits {
    heats: Vec<(i64, BTreeSet<String>)>,
    moulds: Vec<(i64, BTreeSet<String>)>,
}

impl Misfits {
    /// Those that a correction bears on.
    pub(crate) fn of(db: &Connection, change: &PlannedChange) -> Result<Self> {
        let mut out = Self::default();
        let (Some(old), Some(new)) = (change.old, change.new) else { return Ok(out) };
        // The fields that bear on it, by their places.
        let asked: &[usize] = match old.record.kind.name {
            IngotLots::NAME => &[IngotLots::alloy.index, IngotLots::r#use.index, IngotLots::mass_kg.index],
            RevertLots::NAME => &[RevertLots::alloy.index],
            Heats::NAME => &[Heats::alloy.index],
            RevertSources::NAME => {
                &[RevertSources::revert_lot.index, RevertSources::heat.index, RevertSources::mass_kg.index]
            }
            Charges::NAME => &[Charges::heat.index, Charges::source.index, Charges::mass_kg.index],
            Moulds::NAME => &[Moulds::part.index],
            PatternRuns::NAME => &[PatternRuns::part.index],
            _ => return Ok(out),
        };
        let same = |i: &usize| old.record.values[*i].to_text() == new.record.values[*i].to_text();
        if asked.iter().all(same) {
            return Ok(out);
        }
        let list =
            |sql: &str, id: Option<i64>| -> Result<Vec<i64>> { read::list(db, sql, [id], |r| r.get(0)) };
        let heats = match old.record.kind.name {
            IngotLots::NAME => {
                list("SELECT DISTINCT heat FROM charges WHERE source_ingot_lot = ?1", change.id)?
            }
            RevertLots::NAME => {
                list("SELECT DISTINCT heat FROM charges WHERE source_revert_lot = ?1", change.id)?
            }
            RevertSources::NAME => {
                let lot = old.id(RevertSources::revert_lot);
                list("SELECT DISTINCT heat FROM charges WHERE source_revert_lot = ?1", lot)?
            }
            Charges::NAME => old.id(Charges::heat).into_iter().collect(),
            Heats::NAME => change.id.into_iter().collect(),
            _ => Vec::new(),
        };
        let moulds = match old.record.kind.name {
            Moulds::NAME => change.id.into_iter().collect(),
            PatternRuns::NAME => list(
                "SELECT DISTINCT mould FROM blades WHERE pattern_run = ?1 AND mould IS NOT NULL",
                change.id,
            )?,
            Heats::NAME => list("SELECT mould FROM pours WHERE heat = ?1", change.id)?,
            _ => Vec::new(),
        };
        for heat in heats {
            let found = of_heat(db, heat)?;
            out.heats.extend((!found.is_empty()).then_some((heat, found)));
        }
        for mould in moulds {
            let found = of_mould(db, mould)?;
            out.moulds.extend((!found.is_empty()).then_some((mould, found)));
        }
        Ok(out)
    }

    pub(crate) fn is_empty(&self) -> bool {
        self.heats.is_empty() && self.moulds.is_empty()
    }

    /// What fits after the write, and did not before it.
    pub(crate) fn gone(&self, db: &Connection) -> Result<Vec<String>> {
        let mut out = Vec::new();
        for (heat, before) in &self.heats {
            out.extend(before.difference(&of_heat(db, *heat)?).cloned());
        }
        for (mould, before) in &self.moulds {
            out.extend(before.difference(&of_mould(db, *mould)?).cloned());
        }
        Ok(out.into_iter().map(|reason| format!("makes away with a misfit ({reason})")).collect())
    }
}

fn of_heat(db: &Connection, heat: i64) -> Result<BTreeSet<String>> {
    Ok(fit::of_heat(db, heat)?.into_iter().map(|m| m.reason).collect())
}

fn of_mould(db: &Connection, mould: i64) -> Result<BTreeSet<String>> {
    let mut q = db.prepare_cached("SELECT heat FROM pours WHERE mould = ?1")?;
    let heat = q.query_row([mould], |r| r.get(0)).optional()?;
    Ok(fit::of_mould(db, mould, heat)?.into_iter().map(|m| m.reason).collect())
}
