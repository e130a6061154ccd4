//! What a single record is asked about before it is written.

use rusqlite::Connection;

use crate::Store;
use crate::catalogue::kind::Kind;
use crate::catalogue::{
    AnalysisValues, As, Blades, Charges, Coats, Dispositions, FinishSteps, Inspections, OvenLoads,
    PatternRuns, Pours, RevertLots, RevertSources, TreatmentLoads,
};
use crate::check::Guard;
use crate::check::content;
use crate::check::content::Bounds;
use crate::error::Result;
use crate::graph::fit::{
    MetalLot, ROUNDING_KG, beyond_sentence, heat_alloy, mass_of, mould_alloy, of_heat, other_alloy,
    other_part, other_patterns, same, source_analysed, too_much_revert,
};
use crate::graph::fit::{made, steps, work};
use crate::read::rows::Resolved;
use crate::read::tags::Tags;
use crate::write::resolve::resolve;

impl Store {
    /// What a record is asked about, which may be half filled in.
    pub fn fit_guards(&self, record: &crate::Record) -> Result<Vec<Guard>> {
        let (resolved, _) = resolve(record.clone(), &Tags::new(&self.db)?)?;
        of(&self.db, &resolved)
    }
}

/// The fields by which a record of a kind is held against others; none where it is not.
pub fn asked_of(kind: &Kind) -> &'static [&'static str] {
    match kind.name {
        Charges::NAME => {
            const { &[Charges::heat.name, Charges::source.name, Charges::item.name, Charges::mass_kg.name] }
        }
        RevertSources::NAME => const { &[RevertSources::revert_lot.name, RevertSources::heat.name] },
        Pours::NAME => {
            const { &[Pours::mould.name, Pours::heat.name, Pours::poured_at.name, Pours::pyrometer.name] }
        }
        Blades::NAME => const { &[Blades::mould.name, Blades::pattern_run.name] },
        FinishSteps::NAME => {
            const { &[FinishSteps::subject.name, FinishSteps::step.name, FinishSteps::done_at.name] }
        }
        TreatmentLoads::NAME => const { &[TreatmentLoads::treatment.name] },
        PatternRuns::NAME => const { &[PatternRuns::made_count.name, PatternRuns::rejected_count.name] },
        Coats::NAME => {
            const { &[Coats::mould.name, Coats::coat.name, Coats::slurry_batch.name, Coats::in_at.name] }
        }
        OvenLoads::NAME => {
            const { &[OvenLoads::mould.name, OvenLoads::oven_run.name, OvenLoads::out_at.name] }
        }
        Dispositions::NAME => {
            const {
                &[
                    Dispositions::blade.name,
                    Dispositions::decided_at.name,
                    Dispositions::decision.name,
                    Dispositions::concession.name,
                    Dispositions::reason.name,
                ]
            }
        }
        Inspections::NAME => {
            const {
                &[
                    Inspections::blade.name,
                    Inspections::method.name,
                    Inspections::purpose.name,
                    Inspections::inspected_at.name,
                    Inspections::result.name,
                    Inspections::closes.name,
                ]
            }
        }
        AnalysisValues::NAME => {
            const {
                &[
                    AnalysisValues::analysis.name,
                    AnalysisValues::element.name,
                    AnalysisValues::value.name,
                    AnalysisValues::unit.name,
                ]
            }
        }
        _ => &[],
    }
}

/// What does not fit about a record, field by field.
pub(crate) fn of(db: &Connection, resolved: &Resolved) -> Result<Vec<Guard>> {
    if let Some(row) = resolved.record.of::<Charges>() {
        return charge(db, resolved, row);
    }
    match resolved.record.kind.name {
        RevertSources::NAME => {
            revert(db, resolved.id(RevertSources::revert_lot), resolved.id(RevertSources::heat))
        }
        Pours::NAME => {
            let mut out = pour(db, resolved.id(Pours::mould), resolved.id(Pours::heat))?;
            out.extend(work::pour(db, resolved)?);
            out.extend(work::pyrometer(db, resolved)?);
            Ok(out)
        }
        Coats::NAME => work::coat(db, resolved),
        OvenLoads::NAME => made::oven_load(db, resolved),
        FinishSteps::NAME => steps::finish(db, resolved),
        TreatmentLoads::NAME => Ok(steps::treatment_load(db, resolved)?.into_iter().collect()),
        PatternRuns::NAME => Ok(steps::patterns(resolved)),
        Inspections::NAME => work::inspection(db, resolved),
        Dispositions::NAME => Ok(work::disposition(db, resolved)?.into_iter().collect()),
        Blades::NAME => blade(db, resolved.id(Blades::mould), resolved.id(Blades::pattern_run)),
        AnalysisValues::NAME => {
            let Some(analysis) = resolved.id(AnalysisValues::analysis) else { return Ok(Vec::new()) };
            let limits = Limits::of_analysis(db, analysis, Limits::default())?;
            Ok(limits.guard(&resolved.record).into_iter().collect())
        }
        _ => Ok(Vec::new()),
    }
}

fn charge(db: &Connection, resolved: &Resolved, row: As<'_, Charges>) -> Result<Vec<Guard>> {
    let mut out = Vec::new();
    let (heat, from) = (resolved.id(Charges::heat), resolved.link(Charges::source));
    let (Some(heat), Some(from)) = (heat, from) else { return Ok(out) };
    let Some((tag, alloy, limit)) = heat_alloy(db, heat)? else { return Ok(out) };
    let source = MetalLot { revert: from.is::<RevertLots>(), id: from.id };
    let lot = row.text(Charges::source);
    let sql = if source.revert {
        "SELECT a.alloy, 0 FROM revert_lots l JOIN alloys a ON a.id = l.alloy WHERE l.id = ?1"
    } else {
        "SELECT a.alloy, ifnull(l.\"use\" = 'addition', 0) FROM ingot_lots l JOIN alloys a ON a.id = l.alloy WHERE l.id = ?1"
    };
    let (of, addition): (String, bool) =
        db.prepare_cached(sql)?.query_row([source.id], |r| Ok((r.get(0)?, r.get(1)?)))?;
    if !addition && !same(&of, &alloy) {
        out.push(Guard::asks(Charges::source.name, other_alloy(&lot, &of, &tag, &alloy)));
    }
    if !addition && !source_analysed(db, source)? {
        out.push(Guard::asks(Charges::source.name, format!("no analysis of {lot} is on record")));
    }
    let Some(mass) = row.get(Charges::mass_kg) else { return Ok(out) };
    // The row itself, where it is being changed, is not counted twice.
    let item = row.get(Charges::item);
    let itself = format!("NOT (c.heat = ?2 AND c.{} IS ?1 AND c.item IS ?3)", source.column());
    if let Some(there) = mass_of(db, source)? {
        let sql =
            format!("SELECT total(c.mass_kg) FROM charges c WHERE c.{} = ?1 AND {itself}", source.column());
        let used: f64 = db.prepare_cached(&sql)?.query_row((source.id, heat, item), |r| r.get(0))?;
        if used + mass > there + ROUNDING_KG {
            let left = f64::max(there - used, 0.0);
            out.push(Guard::asks(Charges::mass_kg.name, beyond_sentence(mass, &lot, left, there)));
        }
    }
    if let (Some(limit), true) = (limit, source.revert) {
        let sql = format!(
            "SELECT total(c.mass_kg), total(CASE WHEN c.source_revert_lot IS NOT NULL THEN c.mass_kg END)
             FROM charges c WHERE c.heat = ?2 AND {itself}"
        );
        let (all, revert): (f64, f64) =
            db.prepare_cached(&sql)?.query_row((source.id, heat, item), |r| Ok((r.get(0)?, r.get(1)?)))?;
        let share = if all + mass > 0.0 { (revert + mass) / (all + mass) * 100.0 } else { 0.0 };
        if share > limit + 1e-9 {
            out.push(Guard::asks(Charges::mass_kg.name, too_much_revert(&tag, share, &alloy, limit)));
        }
    }
    Ok(out)
}

/// A revert lot and the heat that it came from are of one alloy.
fn revert(db: &Connection, lot: Option<i64>, heat: Option<i64>) -> Result<Vec<Guard>> {
    let (Some(lot), Some(heat)) = (lot, heat) else { return Ok(Vec::new()) };
    let sql =
        "SELECT l.revert_lot, a.alloy FROM revert_lots l JOIN alloys a ON a.id = l.alloy WHERE l.id = ?1";
    let (tag, of): (String, String) =
        db.prepare_cached(sql)?.query_row([lot], |r| Ok((r.get(0)?, r.get(1)?)))?;
    let other = heat_alloy(db, heat)?.filter(|h| !same(&h.1, &of));
    let asks = |(heat, alloy, _): (String, String, Option<f64>)| {
        Guard::asks(RevertSources::heat.name, other_alloy(&tag, &of, &heat, &alloy))
    };
    Ok(other.map(asks).into_iter().collect())
}

/// A mould and a heat of different alloys ask why; what is wrong with the charge was asked there, and is said again.
fn pour(db: &Connection, mould: Option<i64>, heat: Option<i64>) -> Result<Vec<Guard>> {
    let mut out = Vec::new();
    let Some(heat) = heat else { return Ok(out) };
    if let Some((mould, part, alloy)) = mould.map(|m| mould_alloy(db, m)).transpose()?.flatten() {
        if let Some((heat, of, _)) = heat_alloy(db, heat)?.filter(|h| !same(&h.1, &alloy)) {
            out.push(Guard::asks(Pours::heat.name, other_part(&mould, &part, &alloy, &heat, &of)));
        }
    }
    out.extend(of_heat(db, heat)?.into_iter().map(|m| Guard::said(Pours::heat.name, m.reason)));
    Ok(out)
}

fn blade(db: &Connection, mould: Option<i64>, run: Option<i64>) -> Result<Vec<Guard>> {
    let (Some(mould), Some(run)) = (mould, run) else { return Ok(Vec::new()) };
    let mut q = db.prepare_cached(
        "SELECT r.pattern_run, q.part, m.mould, p.part FROM moulds m JOIN parts p ON p.id = m.part,
             pattern_runs r JOIN parts q ON q.id = r.part WHERE m.id = ?1 AND r.id = ?2",
    )?;
    let (run, of, mould, part): (String, String, String, String) =
        q.query_row((mould, run), |r| Ok((r.get(0)?, r.get(1)?, r.get(2)?, r.get(3)?)))?;
    let asks = || Guard::asks(Blades::pattern_run.name, other_patterns(&run, &of, &mould, &part));
    Ok((!same(&of, &part)).then(asks).into_iter().collect())
}

/// The limits of the alloy that an analysis is held against, for the guard of its values.
#[derive(Default)]
pub(crate) struct Limits {
    id: Option<i64>,
    alloy: String,
    of: Vec<(String, Bounds)>,
}

impl Limits {
    /// Of the lot or heat that was analysed. `before` is taken where it is of the same alloy.
    pub(crate) fn of_analysis(db: &Connection, analysis: i64, before: Self) -> Result<Self> {
        let mut q = db.prepare_cached(
            "SELECT coalesce(i.alloy, r.alloy, h.alloy) FROM analyses a LEFT JOIN ingot_lots i ON i.id = a.subject_ingot_lot
             LEFT JOIN revert_lots r ON r.id = a.subject_revert_lot LEFT JOIN heats h ON h.id = a.subject_heat
             WHERE a.id = ?1",
        )?;
        let alloy: Option<i64> = q.query_row([analysis], |r| r.get(0))?;
        match alloy {
            Some(alloy) if before.id == Some(alloy) => Ok(before),
            Some(alloy) => Self::of_alloy(db, alloy),
            None => Ok(Self::default()),
        }
    }

    fn of_alloy(db: &Connection, alloy: i64) -> Result<Self> {
        let mut q = db.prepare_cached("SELECT alloy FROM alloys WHERE id = ?1")?;
        let mut out = Self { id: Some(alloy), alloy: q.query_row([alloy], |r| r.get(0))?, of: Vec::new() };
        let mut q = db.prepare_cached("SELECT element, min, max, unit FROM alloy_limits WHERE alloy = ?1")?;
        let mut rows = q.query([alloy])?;
        while let Some(r) = rows.next()? {
            out.of.push((r.get(0)?, Bounds { min: r.get(1)?, max: r.get(2)?, unit: r.get(3)? }));
        }
        Ok(out)
    }

    /// The guard of one value.
    pub(crate) fn guard(&self, record: &crate::Record) -> Option<Guard> {
        let line = record.of::<AnalysisValues>()?;
        let (element, value) = (line.get(AnalysisValues::element)?, line.get(AnalysisValues::value)?);
        let limit = self.of.iter().find(|(e, _)| content::same_element(e, element)).map(|(_, b)| b);
        content::guard(element, value, line.get(AnalysisValues::unit)?.word(), limit, &self.alloy)
    }
}
