//! Finish steps, loads of treatments and counts of wax that can hardly be meant. A person is asked, a script is told.

use rusqlite::{Connection, OptionalExtension};

use crate::Stamp;
use crate::catalogue::{Blades, FinishStep, FinishSteps, PatternRuns, TreatmentLoads};
use crate::check::Guard;
use crate::error::Result;
use crate::read::rows::Resolved;

/// Hours after which nothing more is put into a treatment that began: longer than most of them take. A convention of this
/// tool.
const TREATMENT_H: f64 = 48.0;

/// Patterns beyond which a count of one run is rather a scan among figures. A convention of this tool.
const PATTERNS: i64 = 1000;

/// What a step is done on: the blade, where it is one, and the mould.
struct On {
    blade: Option<i64>,
    mould: Option<i64>,
    /// The row itself, where it is being changed.
    item: Option<i64>,
}

impl On {
    /// When a step was done before, on this or on the whole mould, the last time first.
    fn done(&self, db: &Connection, step: FinishStep) -> Result<Vec<Stamp>> {
        let mut q = db.prepare_cached(
            "SELECT done_at FROM finish_steps
             WHERE step = ?1 AND (subject_mould = ?2 OR subject_blade = ?3)
             AND NOT (item IS ?4 AND (CASE WHEN ?3 IS NULL THEN subject_mould = ?2 ELSE subject_blade = ?3 END) IS 1)
             ORDER BY done_at DESC",
        )?;
        let rows = q.query_map((step.word(), self.mould, self.blade, self.item), |r| {
            r.get(0).map(Stamp::from_packed)
        })?;
        Ok(rows.collect::<rusqlite::Result<_>>()?)
    }

    /// The pour of its mould: the mould, and when it was poured.
    fn pour(&self, db: &Connection) -> Result<Option<(String, Option<Stamp>)>> {
        let mut q = db.prepare_cached(
            "SELECT m.mould, p.poured_at FROM moulds m LEFT JOIN pours p ON p.mould = m.id WHERE m.id = ?1",
        )?;
        let row = q.query_row([self.mould], |r| {
            Ok((r.get(0)?, r.get::<_, Option<i64>>(1)?.map(Stamp::from_packed)))
        });
        Ok(row.optional()?)
    }

    /// It left and did not come back: when.
    fn shipped(&self, db: &Connection) -> Result<Option<Stamp>> {
        let mut q = db.prepare_cached(
            "SELECT shipped_at FROM shipments WHERE blade = ?1 AND returned_at IS NULL
             AND instr(ifnull(extra, ''), '\"returned_at\"') = 0 ORDER BY shipped_at DESC LIMIT 1",
        )?;
        Ok(q.query_row([self.blade], |r| r.get(0).map(Stamp::from_packed)).optional()?)
    }
}

/// A finish step before its pour, before its knock-out, for the second time, or on a blade that was shipped.
pub(super) fn finish(db: &Connection, resolved: &Resolved) -> Result<Vec<Guard>> {
    let mut out = Vec::new();
    let row = resolved.record.of::<FinishSteps>();
    let (Some(row), Some(link)) = (row, resolved.link(FinishSteps::subject)) else { return Ok(out) };
    let (blade, mould) = if link.is::<Blades>() {
        let mut q = db.prepare_cached("SELECT mould FROM blades WHERE id = ?1")?;
        (Some(link.id), q.query_row([link.id], |r| r.get(0))?)
    } else {
        (None, Some(link.id))
    };
    let on = On { blade, mould, item: row.get(FinishSteps::item) };
    let at = row.get(FinishSteps::done_at);
    let mut asks = |message| out.push(Guard::asks(FinishSteps::subject.name, message));
    match on.pour(db)? {
        Some((mould, None)) => asks(format!("no pour of {mould} is on record")),
        Some((mould, Some(poured))) if at.is_some_and(|at| at.ms() < poured.ms()) => {
            asks(format!("{mould} was poured at {poured}, after this step"));
        }
        _ => {}
    }
    if let Some(when) = on.shipped(db)?.filter(|when| at.is_none_or(|at| when.ms() <= at.ms())) {
        asks(format!("it was shipped at {when}"));
    }
    let Some(step @ (FinishStep::KnockOut | FinishStep::CutOff)) = row.get(FinishSteps::step) else {
        return Ok(out);
    };
    let words = |step: FinishStep| step.word().replace('_', " ");
    let mut asks = |message| out.push(Guard::asks(FinishSteps::step.name, message));
    if let Some(when) = on.done(db, step)?.first() {
        asks(format!("{} is on record already, at {when}", words(step)));
    }
    if step == FinishStep::CutOff {
        let knocked = on.done(db, FinishStep::KnockOut)?;
        let kept = db
            .prepare_cached("SELECT 1 FROM finish_steps WHERE step = ?1")?
            .exists([FinishStep::KnockOut.word()])?;
        match knocked.last() {
            None if kept => asks("no knock-out before this cut-off is on record".into()),
            Some(first) if at.is_some_and(|at| at.ms() < first.ms()) => {
                asks(format!("it was knocked out only at {first}, after this cut-off"));
            }
            _ => {}
        }
    }
    Ok(out)
}

/// A blade that is put into a treatment which began long ago: another may be meant.
pub(super) fn treatment_load(db: &Connection, resolved: &Resolved) -> Result<Option<Guard>> {
    let (Some(treatment), Some(now)) =
        (resolved.id(TreatmentLoads::treatment), resolved.record.recorded_at())
    else {
        return Ok(None);
    };
    let mut q = db.prepare_cached("SELECT treatment, started_at FROM treatments WHERE id = ?1")?;
    let (tag, began): (String, i64) = q.query_row([treatment], |r| Ok((r.get(0)?, r.get(1)?)))?;
    let began = Stamp::from_packed(began);
    let hours = now.minutes_since(began) / 60.0;
    Ok((hours > TREATMENT_H).then(|| {
        Guard::asks(
            TreatmentLoads::treatment.name,
            format!("{tag} began at {began}, {:.0} days ago", (hours / 24.0).floor()),
        )
    }))
}

/// More patterns rejected than made, and more than any run has.
pub(super) fn patterns(resolved: &Resolved) -> Vec<Guard> {
    let mut out = Vec::new();
    let Some(row) = resolved.record.of::<PatternRuns>() else { return out };
    let (made, rejected) = (row.get(PatternRuns::made_count), row.get(PatternRuns::rejected_count));
    let counts = [(PatternRuns::made_count.name, made), (PatternRuns::rejected_count.name, rejected)];
    for (name, count) in counts {
        if let Some(n) = count.filter(|n| *n > PATTERNS) {
            out.push(Guard::asks(
                name,
                format!("{n} patterns of one run: is that a count, or a scanned tag?"),
            ));
        }
    }
    if let (Some(made), Some(rejected)) = (made, rejected) {
        if rejected > made {
            let message = format!("{rejected} rejected of {made} made");
            out.push(Guard::asks(PatternRuns::rejected_count.name, message));
        }
    }
    out
}
