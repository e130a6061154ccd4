//! What a write would free: a record from under an open hold, a blade from a rejection, a value from its limit.
//!
//! Such a write is a lift, by whatever command it comes. Quality does it, with a reason; anybody else proposes it, and
//! the hold or the rejection stands until quality decides.

pub(crate) mod limits;
pub(crate) mod reasons;

use std::collections::{BTreeMap, BTreeSet};

use rusqlite::{Connection, OptionalExtension};

use crate::Who;
use crate::catalogue::kind::Kind;
use crate::catalogue::{
    AnyField, As, Blades, Calibrations, CoreLots, Findings, Holds, InspectionPurpose, Inspections,
    Instruments, LotBlades, Lots, Measurements, Moulds, PatternRuns, People, Verdict,
};
use crate::check::Fault;
use crate::error::{Error, Hint, Result};
use crate::graph::holds;
use crate::graph::holds::OpenHold;
use crate::graph::lineage;
use crate::graph::lineage::Fence;
use crate::graph::suspect;
use crate::read::rows::{Link, Resolved};
use crate::value::unseen::readable;
use crate::write::authority;
use crate::write::authority::Need;
use crate::write::proposals;
use crate::{Record, read};

const PATTERNS: &str = "SELECT DISTINCT pattern_run, core_lot FROM blades WHERE mould = +?1";

/// Faults of a hold that is lifted without a reason that can be read.
pub(crate) fn without_reason(old: Option<&Record>, new: &Record) -> Option<Fault> {
    let new = new.of::<Holds>()?;
    let old = old.and_then(Record::of::<Holds>);
    let lift = [Holds::lifted_at.any(), Holds::lifted_by.any(), Holds::lifted_reason.any()];
    let same = |f: &AnyField<Holds>| old.is_some_and(|old| old.at(*f).to_text() == new.at(*f).to_text());
    if new.cell(Holds::lifted_at).is_blank() || lift.iter().all(same) {
        return None;
    }
    let unread = !readable(&new.text(Holds::lifted_reason));
    unread.then(|| new.fault(Holds::lifted_reason, "a lift has a reason that can be read"))
}

/// A change of one record that is about to be made.
pub(crate) struct PlannedChange<'a, 'r> {
    /// The record as it stands; none: it is new.
    pub old: Option<&'a Resolved<'r>>,
    /// The id of the row that is there, where it has one.
    pub id: Option<i64>,
    /// The record as it will stand; none: it is taken back.
    pub new: Option<&'a Resolved<'r>>,
}

/// What came of trying it.
pub(crate) enum Tried {
    /// It is done, by this entry.
    Written(i64),
    /// It was taken back: it would free this, and somebody else than quality did it.
    Freed(Vec<String>),
}

/// Does a write that may be a lift; where somebody else than quality does it, it is journalled as a proposal. Gives the
/// entry, and what the write would free where it is kept as a proposal.
///
/// # Errors
/// What the write says; a lift without a reason, or without the PIN of the person.
pub(crate) fn guarded(
    db: &Connection,
    who: &Who,
    change: &PlannedChange,
    reason: Option<&str>,
    write: impl FnOnce() -> Result<i64>,
    proposed: impl FnOnce() -> proposals::Proposed,
) -> Result<(i64, Vec<String>)> {
    Ok(match attempt(db, who, change, reason, write)? {
        Tried::Written(entry) => (entry, Vec::new()),
        Tried::Freed(freed) => (proposals::propose(db, who, proposed())?, freed),
    })
}

/// As [`guarded`], but nothing is journalled of what was taken back.
pub(crate) fn attempt(
    db: &Connection,
    who: &Who,
    change: &PlannedChange,
    reason: Option<&str>,
    write: impl FnOnce() -> Result<i64>,
) -> Result<Tried> {
    let before = Before::of(db, change)?;
    if before.is_idle() || !authority::has_quality(db)? {
        return write().map(Tried::Written);
    }
    db.execute_batch("SAVEPOINT lift")?;
    let outcome = write().and_then(|entry| Ok((entry, before.freed(db)?)));
    let (entry, freed) = match outcome {
        Ok(found) => found,
        Err(e) => {
            db.execute_batch("ROLLBACK TO lift; RELEASE lift")?;
            return Err(e);
        }
    };
    if !freed.is_empty() && !authority::is_quality(db, who)? {
        db.execute_batch("ROLLBACK TO lift; RELEASE lift")?;
        return Ok(Tried::Freed(freed));
    }
    db.execute_batch("RELEASE lift")?;
    if freed.is_empty() {
        return Ok(Tried::Written(entry));
    }
    authority::require(db, who, "a lift", Need::Decision)?;
    if !reason.is_some_and(readable) {
        return Err(
            Error::input(format!("this {}; a lift has a reason", freed.join(", and "))).hint(Hint::Reason)
        );
    }
    Ok(Tried::Written(entry))
}

/// How things stand before the write, as far as it could free something.
#[derive(Default)]
struct Before {
    /// The records whose holds may change, and the holds that fence each.
    fenced: Vec<(Link, BTreeSet<String>)>,
    /// Instruments whose checks change, and what their open hold fences.
    behind: Vec<(String, i64, Fence)>,
    /// Instruments whose checks change, and their suspect readings.
    doubted: Vec<(Link, BTreeSet<reasons::Reading>)>,
    /// Metal, moulds and patterns that do not fit, of a correction that bears on them.
    misfits: reasons::Misfits,
    /// Elements outside their limits, by analysis.
    outside: BTreeMap<i64, BTreeSet<String>>,
    /// What is freed whatever the tables say afterwards.
    sure: Vec<String>,
}

impl Before {
    fn of(db: &Connection, change: &PlannedChange) -> Result<Self> {
        let mut out = Self::default();
        let Some(any) = change.new.or(change.old) else { return Ok(out) };
        let kind = any.record.kind;
        if change.old.is_some() {
            out.sure = softened(db, change)?;
            out.sure.extend(reasons::taken_away(db, change)?);
            out.outside = limits::touched(db, change)?;
        }
        out.doubted = reasons::doubted(db, change)?;
        out.misfits = reasons::Misfits::of(db, change)?;
        let moves = match change.old {
            // A new row takes nothing away, but for a later check of an instrument and a blade's row in another lot.
            None => matches!(kind.name, Calibrations::NAME | LotBlades::NAME),
            Some(old) => {
                let bears = kind.instrument.is_some() || is_edge(kind);
                (bears || matches!(kind.name, Calibrations::NAME | LotBlades::NAME))
                    && differs(&old.record, change.new)
            }
        };
        if !moves {
            return Ok(out);
        }
        let holds = holds::open(db)?;
        if holds.is_empty() {
            return Ok(out);
        }
        for link in touched(kind, change) {
            let fencing = fencing(db, &holds, link)?;
            if !fencing.is_empty() {
                out.fenced.push((link, fencing));
            }
        }
        if kind.is::<Calibrations>() {
            for hold in holds.iter().filter(|h| h.on.is::<Instruments>()) {
                let named = [change.old, change.new].into_iter().flatten();
                if named.flat_map(|r| r.links.iter().flatten()).any(|l| *l == hold.on) {
                    out.behind.push((hold.tag.clone(), hold.on.id, behind(db, hold.on.id)?));
                }
            }
        }
        Ok(out)
    }

    fn is_idle(&self) -> bool {
        self.fenced.is_empty()
            && self.behind.is_empty()
            && self.doubted.is_empty()
            && self.misfits.is_empty()
            && self.sure.is_empty()
            && self.outside.is_empty()
    }

    /// What the write has freed, in words.
    fn freed(&self, db: &Connection) -> Result<Vec<String>> {
        let mut out = self.sure.clone();
        let holds = if self.fenced.is_empty() { Vec::new() } else { holds::open(db)? };
        for (link, before) in &self.fenced {
            let Some(name) = name_of(db, *link)? else {
                let all: Vec<&str> = before.iter().map(String::as_str).collect();
                out.push(format!("takes a record away that {} fences", all.join(" and ")));
                continue;
            };
            let after = fencing(db, &holds, *link)?;
            let open = |tag: &&String| holds.iter().any(|h| h.tag == **tag);
            for hold in before.difference(&after).filter(open) {
                out.push(format!("takes {name} out from under {hold}"));
            }
        }
        for (hold, instrument, before) in &self.behind {
            let after = behind(db, *instrument)?;
            let left = before.moulds.iter().any(|m| !after.moulds.contains(m))
                || before.blades.iter().any(|b| !after.blades.contains(b))
                || before.others.iter().any(|o| !after.others.contains(o));
            if left {
                out.push(format!("takes blades behind a suspect reading out from under {hold}"));
            }
        }
        out.extend(self.misfits.gone(db)?);
        for (instrument, before) in &self.doubted {
            let after = reasons::suspect_of(db, instrument.id)?;
            if before.difference(&after).next().is_some() {
                let name = name_of(db, *instrument)?.unwrap_or_default();
                out.push(format!("takes readings of {name} out of suspicion"));
            }
        }
        for (analysis, before) in &self.outside {
            let after = limits::outside(db, *analysis)?;
            for element in before.difference(&after) {
                out.push(format!("takes {element} of an analysis out from outside its limit"));
            }
        }
        out.sort();
        out.dedup();
        Ok(out)
    }
}

fn is_edge(kind: &Kind) -> bool {
    kind.fields.iter().any(|f| f.parent)
}

/// Something but the note and what says when it was typed in is another.
fn differs(old: &Record, new: Option<&Resolved>) -> bool {
    let Some(new) = new else { return true };
    let n = old.kind.fields.len();
    old.values.iter().zip(&new.record.values).take(n).any(|(a, b)| a.to_text() != b.to_text())
}

/// The records whose holds a change may alter: the one that parents went into, what a reading was taken on, the blade of
/// a lot's row, and the mould that stands below the patterns of its blades.
fn touched(kind: &Kind, change: &PlannedChange) -> Vec<Link> {
    let mut out: Vec<Link> = Vec::new();
    out.extend(change.id.filter(|_| kind.tagged()).map(|id| Link { kind: kind.name, id }));
    for resolved in [change.old, change.new].into_iter().flatten() {
        for (field, link) in kind.all_fields().zip(&resolved.links) {
            let Some(link) = link else { continue };
            let child = kind.child == Some(field.name);
            let on = kind.instrument.is_some() && !matches!(link.kind, Instruments::NAME | People::NAME);
            let mould = kind.is::<Blades>() && field.name == Blades::mould.name;
            let blade = kind.is::<LotBlades>() && field.name == LotBlades::blade.name;
            if (child || on || mould || blade) && !out.contains(link) {
                out.push(*link);
            }
        }
    }
    out
}

/// The open holds that fence a record.
fn fencing(db: &Connection, holds: &[OpenHold], link: Link) -> Result<BTreeSet<String>> {
    let mut above = lineage::up(db, link, "")?;
    let moulds: Vec<i64> = above.nodes.iter().filter(|n| n.link.is::<Moulds>()).map(|n| n.link.id).collect();
    let readings: Vec<Link> = above.nodes.iter().map(|n| n.link).collect();
    // A mould also stands below the pattern runs, wax lots and core lots of its blades.
    for mould in moulds {
        let mut q = db.prepare_cached(PATTERNS)?;
        let mut rows = q.query([mould])?;
        while let Some(row) = rows.next()? {
            for (i, kind) in [PatternRuns::NAME, CoreLots::NAME].into_iter().enumerate() {
                if let Some(id) = row.get::<_, Option<i64>>(i)? {
                    above.nodes.extend(lineage::up(db, Link { kind, id }, "")?.nodes);
                }
            }
        }
    }
    let mut out = BTreeSet::new();
    for hold in holds {
        let fences = match hold.on.kind {
            Lots::NAME if link.is::<Blades>() => {
                lineage::descend(db, &[hold.on], false)?.blades.contains(&link.id)
            }
            Instruments::NAME => {
                suspect::doubts(db, readings.iter().copied(), Some(hold.on.id))?.iter().any(|d| d.carries)
            }
            _ => above.nodes.iter().any(|n| n.link == hold.on),
        };
        if fences {
            out.insert(hold.tag.clone());
        }
    }
    Ok(out)
}

/// What a hold on an instrument fences.
fn behind(db: &Connection, instrument: i64) -> Result<Fence> {
    let readings = suspect::of_instrument(db, instrument)?;
    lineage::descend(db, &suspect::starts(&readings), false)
}

/// The tag of a record that is still there.
fn name_of(db: &Connection, link: Link) -> Result<Option<String>> {
    read::tag_there(db, link)
}

/// What softens a rejection: the inspection made into another, taken back, or its findings and values changed.
fn softened(db: &Connection, change: &PlannedChange) -> Result<Vec<String>> {
    let Some(old) = change.old else { return Ok(Vec::new()) };
    let record = &old.record;
    if let Some(inspection) = record.of::<Inspections>() {
        return softened_rejection(db, old, inspection, change.new);
    }
    let mut out = Vec::new();
    if let Some(finding) = record.of::<Findings>() {
        if differs(record, change.new) && rejecting(db, old.id(Findings::inspection))? {
            out.push(format!("changes a finding of the rejection {}", finding.text(Findings::inspection)));
        }
    }
    if let Some(value) = record.of::<Measurements>() {
        let inspection = value.text(Measurements::inspection);
        if differs(record, change.new) && rejecting(db, old.id(Measurements::inspection))? {
            out.push(format!("changes a measured value of the rejection {inspection}"));
        }
        let new = change.new.and_then(|new| new.record.of());
        if outside(value) && !new.is_some_and(outside) {
            let name = value.text(Measurements::characteristic);
            out.push(format!("takes {name} of {inspection} out from outside its limit"));
        }
    }
    if let (Some(hold), None) = (record.of::<Holds>(), change.new) {
        if hold.cell(Holds::lifted_at).is_blank() {
            out.push(format!("takes {} back", record.address()));
        }
    }
    Ok(out)
}

/// A measured value lies outside its limits.
fn outside(value: As<'_, Measurements>) -> bool {
    let (lower, upper) = (value.get(Measurements::lower), value.get(Measurements::upper));
    value
        .get(Measurements::value)
        .is_some_and(|v| lower.is_some_and(|l| v < l) || upper.is_some_and(|u| v > u))
}

/// What of a rejection is taken back, or made into another.
fn softened_rejection(
    db: &Connection,
    old: &Resolved,
    before: As<'_, Inspections>,
    new: Option<&Resolved>,
) -> Result<Vec<String>> {
    type I = Inspections;
    let mut out = Vec::new();
    if before.get(I::result) != Some(Verdict::Reject) {
        return Ok(out);
    }
    let address = before.record.address();
    let Some(after) = new.and_then(|new| new.record.of::<I>()) else {
        return Ok(vec![format!("takes the rejection {address} back")]);
    };
    let purpose = |i: As<'_, I>| match i.text(I::purpose) {
        blank if blank.is_empty() => InspectionPurpose::Product.word().to_string(),
        text => text,
    };
    for field in [I::result.any(), I::purpose.any(), I::blade.any(), I::method.any(), I::round.any()] {
        let same = if field.index == I::purpose.index {
            purpose(before) == purpose(after)
        } else {
            before.at(field).to_text() == after.at(field).to_text()
        };
        if !same {
            out.push(format!("gives the rejection {address} another {}", field.name));
        }
    }
    if moved_over_rework(db, old.id(I::blade), before, after)? {
        out.push(format!("moves the rejection {address} to before a rework"));
    }
    Ok(out)
}

/// The inspection that a finding or value belongs to rejects.
fn rejecting(db: &Connection, inspection: Option<i64>) -> Result<bool> {
    let mut q = db.prepare_cached("SELECT result = 'reject' FROM inspections WHERE id = ?1")?;
    Ok(q.query_row([inspection], |r| r.get(0)).optional()?.unwrap_or(false))
}

/// A rejection of today says nothing any more once it lies before a rework or a repair.
fn moved_over_rework(
    db: &Connection,
    blade: Option<i64>,
    before: As<'_, Inspections>,
    after: As<'_, Inspections>,
) -> Result<bool> {
    let at = Inspections::inspected_at;
    let (Some(from), Some(to)) = (before.get(at), after.get(at)) else { return Ok(false) };
    if to.ms() >= from.ms() {
        return Ok(false);
    }
    let mut q = db.prepare_cached(
        "SELECT EXISTS (SELECT 1 FROM dispositions WHERE blade = ?1 AND (decision = 'rework' OR decision = 'repair')
         AND decided_at BETWEEN ?2 AND ?3)",
    )?;
    Ok(q.query_row(rusqlite::params![blade, to.packed(), from.packed()], |r| r.get(0))?)
}
