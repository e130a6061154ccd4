//! What a single record is asked about before it is written.

use rusqlite::Connection;

use crate::Store;
use crate::check::Guard;
use crate::check::content;
use crate::check::content::Bounds;
use crate::error::Result;
use crate::graph::fit::{
    Misfit, ROUNDING_KG, Source, beyond_sentence, heat_alloy, mass_of, of_heat, other_alloy, other_part,
    other_patterns, same, source_analysed, too_much_revert,
};
use crate::read::rows::{Link, Resolved};
use crate::read::tags::Tags;
use crate::write::resolve::resolve;

impl Store {
    /// What a record is asked about, which may be half filled in.
    pub fn fit_guards(&self, record: &crate::Record) -> Result<Vec<Guard>> {
        let (resolved, _) = resolve(record.clone(), &Tags::new(&self.db)?)?;
        of(&self.db, &resolved)
    }
}

/// What does not fit about a record, field by field.
pub(crate) fn of(db: &Connection, resolved: &Resolved) -> Result<Vec<Guard>> {
    let link = |field: &str| resolved.record.kind.index(field).and_then(|i| resolved.links[i]);
    match resolved.record.kind.name {
        "charges" => charge(db, resolved, link("heat"), link("source")),
        "revert_sources" => revert(db, link("revert_lot"), link("heat")),
        "pours" => pour(db, link("mould"), link("heat")),
        "blades" => blade(db, link("mould"), link("pattern_run")),
        "analysis_values" => {
            let Some(analysis) = link("analysis") else { return Ok(Vec::new()) };
            let limits = Limits::of_analysis(db, analysis.id, Limits::default())?;
            Ok(limits.guard(&resolved.record).into_iter().collect())
        }
        _ => Ok(Vec::new()),
    }
}

fn asks(field: &str, message: String) -> Guard {
    Guard { field: field.into(), message, needs_reason: true }
}

fn charge(
    db: &Connection,
    resolved: &Resolved,
    heat: Option<Link>,
    source: Option<Link>,
) -> Result<Vec<Guard>> {
    let mut out = Vec::new();
    let (Some(heat), Some(from)) = (heat, source) else { return Ok(out) };
    let Some((tag, alloy, limit)) = heat_alloy(db, heat.id)? else { return Ok(out) };
    let source = Source { revert: from.kind == "revert_lots", id: from.id };
    let lot = resolved.record.get("source").to_text();
    let sql = if source.revert {
        "SELECT a.alloy, 0 FROM revert_lots l JOIN alloys a ON a.id = l.alloy WHERE l.id = ?1"
    } else {
        "SELECT a.alloy, ifnull(l.\"use\" = 'addition', 0) FROM ingot_lots l JOIN alloys a ON a.id = l.alloy WHERE l.id = ?1"
    };
    let (of, addition): (String, bool) =
        db.prepare_cached(sql)?.query_row([source.id], |r| Ok((r.get(0)?, r.get(1)?)))?;
    if !addition && !same(&of, &alloy) {
        out.push(asks("source", other_alloy(&lot, &of, &tag, &alloy)));
    }
    if !addition && !source_analysed(db, source)? {
        out.push(asks("source", format!("no analysis of {lot} is on record")));
    }
    let Some(mass) = resolved.record.get("mass_kg").number() else { return Ok(out) };
    // The row itself, where it is being changed, is not counted twice.
    let item = resolved.record.get("item").number().map(|n| n as i64);
    let itself = format!("NOT (c.heat = ?2 AND c.{} IS ?1 AND c.item IS ?3)", source.column());
    if let Some(there) = mass_of(db, source)? {
        let sql =
            format!("SELECT total(c.mass_kg) FROM charges c WHERE c.{} = ?1 AND {itself}", source.column());
        let used: f64 = db.prepare_cached(&sql)?.query_row((source.id, heat.id, item), |r| r.get(0))?;
        if used + mass > there + ROUNDING_KG {
            out.push(asks("mass_kg", beyond_sentence(mass, &lot, f64::max(there - used, 0.0), there)));
        }
    }
    if let (Some(limit), true) = (limit, source.revert) {
        let sql = format!(
            "SELECT total(c.mass_kg), total(CASE WHEN c.source_revert_lot IS NOT NULL THEN c.mass_kg END)
             FROM charges c WHERE c.heat = ?2 AND {itself}"
        );
        let (all, revert): (f64, f64) =
            db.prepare_cached(&sql)?.query_row((source.id, heat.id, item), |r| Ok((r.get(0)?, r.get(1)?)))?;
        let share = if all + mass > 0.0 { (revert + mass) / (all + mass) * 100.0 } else { 0.0 };
        if share > limit + 1e-9 {
            out.push(asks("mass_kg", too_much_revert(&tag, share, &alloy, limit)));
        }
    }
    Ok(out)
}

/// A revert lot and the heat that it came from are of one alloy.
fn revert(db: &Connection, lot: Option<Link>, heat: Option<Link>) -> Result<Vec<Guard>> {
    let (Some(lot), Some(heat)) = (lot, heat) else { return Ok(Vec::new()) };
    let sql =
        "SELECT l.revert_lot, a.alloy FROM revert_lots l JOIN alloys a ON a.id = l.alloy WHERE l.id = ?1";
    let (tag, of): (String, String) =
        db.prepare_cached(sql)?.query_row([lot.id], |r| Ok((r.get(0)?, r.get(1)?)))?;
    let other = heat_alloy(db, heat.id)?.filter(|h| !same(&h.1, &of));
    Ok(other
        .map(|(heat, alloy, _)| asks("heat", other_alloy(&tag, &of, &heat, &alloy)))
        .into_iter()
        .collect())
}

/// A mould and a heat of different alloys ask why; what is wrong with the charge was asked there, and is said again.
fn pour(db: &Connection, mould: Option<Link>, heat: Option<Link>) -> Result<Vec<Guard>> {
    let mut out = Vec::new();
    let Some(heat) = heat else { return Ok(out) };
    if let Some(mould) = mould {
        let mut q = db.prepare_cached(
            "SELECT m.mould, p.part, a.alloy FROM moulds m JOIN parts p ON p.id = m.part
             JOIN alloys a ON a.id = p.alloy WHERE m.id = ?1",
        )?;
        let (mould, part, alloy): (String, String, String) =
            q.query_row([mould.id], |r| Ok((r.get(0)?, r.get(1)?, r.get(2)?)))?;
        if let Some((heat, of, _)) = heat_alloy(db, heat.id)?.filter(|h| !same(&h.1, &alloy)) {
            out.push(asks("heat", other_part(&mould, &part, &alloy, &heat, &of)));
        }
    }
    let said = |m: Misfit| Guard { field: "heat".into(), message: m.reason, needs_reason: false };
    out.extend(of_heat(db, heat.id)?.into_iter().map(said));
    Ok(out)
}

fn blade(db: &Connection, mould: Option<Link>, run: Option<Link>) -> Result<Vec<Guard>> {
    let (Some(mould), Some(run)) = (mould, run) else { return Ok(Vec::new()) };
    let mut q = db.prepare_cached(
        "SELECT r.pattern_run, q.part, m.mould, p.part FROM moulds m JOIN parts p ON p.id = m.part,
             pattern_runs r JOIN parts q ON q.id = r.part WHERE m.id = ?1 AND r.id = ?2",
    )?;
    let (run, of, mould, part): (String, String, String, String) =
        q.query_row((mould.id, run.id), |r| Ok((r.get(0)?, r.get(1)?, r.get(2)?, r.get(3)?)))?;
    let other = !same(&of, &part);
    Ok(other.then(|| asks("pattern_run", other_patterns(&run, &of, &mould, &part))).into_iter().collect())
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
        let (element, value) = (record.get("element").text()?, record.get("value").number()?);
        let limit = self.of.iter().find(|(e, _)| content::same_element(e, element)).map(|(_, b)| b);
        content::guard(element, value, record.get("unit").text()?, limit, &self.alloy)
    }
}
