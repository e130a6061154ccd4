//! Whether metal, mould and patterns fit each other: the one place where it is judged.
//!
//! A charge of another alloy than its heat's, a lot charged beyond what is left of it, a heat over its revert limit or
//! with a lot in it that was never analysed, a mould whose part is of another alloy, a pattern run of another part. All of
//! it can be recorded, with a reason; the desk says it before the pour, and a lot with such a blade does not go.
//! Alloys and parts are compared by tag, not by revision.

pub(crate) mod guards;
pub(crate) mod in_use;
pub(crate) mod load;
pub(crate) mod made;
pub(crate) mod steps;
pub(crate) mod work;

use rusqlite::{Connection, OptionalExtension};

use crate::Store;
use crate::error::Result;

pub use crate::graph::fit::guards::asked_of;
pub(crate) use crate::graph::fit::guards::{Limits, of as guards_of};
pub use crate::graph::fit::in_use::InUse;
pub use crate::graph::fit::load::Late;
pub(crate) use crate::graph::fit::load::misfits as misfits_of_load;

/// Masses are decimals of a gram at most: so much is rounding (kg).
const ROUNDING_KG: f64 = 1e-6;

/// What does not fit.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum What {
    /// A lot of another alloy was charged.
    OtherAlloy,
    /// More was charged than there was.
    BeyondWhatIsLeft,
    /// More revert than the alloy allows.
    RevertLimit,
    /// A lot in the charge has no analysis.
    NotAnalysed,
    /// The mould's part is of another alloy than the heat.
    OtherPart,
    /// A pattern run is of another part than the mould.
    OtherPatterns,
}

impl What {
    /// The station that it belongs to.
    pub fn station(self) -> &'static str {
        match self {
            Self::OtherPart => "pour",
            Self::OtherPatterns => "assembly",
            _ => "charge",
        }
    }
}

/// One thing that does not fit, or cannot be told.
#[derive(Clone, Debug, PartialEq)]
pub struct Misfit {
    pub what: What,
    /// It is so; false: it cannot be told.
    pub certain: bool,
    /// The sentence.
    pub reason: String,
}

impl Misfit {
    fn new(what: What, reason: String) -> Self {
        Self { what, certain: true, reason }
    }

    fn untold(what: What, reason: String) -> Self {
        Self { what, certain: false, reason }
    }
}

/// A lot that metal was taken from: its columns and tables.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub(crate) struct MetalLot {
    revert: bool,
    id: i64,
}

impl MetalLot {
    fn column(self) -> &'static str {
        if self.revert { "source_revert_lot" } else { "source_ingot_lot" }
    }

    fn new(ingot: Option<i64>, revert: Option<i64>) -> Option<Self> {
        let of = |revert: bool| move |id: i64| Self { revert, id };
        ingot.map(of(false)).or(revert.map(of(true)))
    }
}

/// One thing that was charged.
struct ChargeItem {
    source: MetalLot,
    tag: String,
    alloy: String,
    addition: bool,
    mass: Option<f64>,
}

impl Store {
    /// What does not fit in the charge of a heat. Empty where all fits, and where nothing is charged.
    pub fn heat_fit(&self, heat: i64) -> Result<Vec<Misfit>> {
        of_heat(&self.db, heat)
    }

    /// What does not fit between a mould, its patterns and the heat that it is poured from.
    pub fn mould_fit(&self, mould: i64, heat: Option<i64>) -> Result<Vec<Misfit>> {
        of_mould(&self.db, mould, heat)
    }
}

fn items(db: &Connection, heat: i64) -> Result<Vec<ChargeItem>> {
    let mut q = db.prepare_cached(
        "SELECT c.source_ingot_lot, c.source_revert_lot, coalesce(i.ingot_lot, r.revert_lot), a.alloy,
             ifnull(i.\"use\" = 'addition', 0), c.mass_kg
         FROM charges c LEFT JOIN ingot_lots i ON i.id = c.source_ingot_lot
         LEFT JOIN revert_lots r ON r.id = c.source_revert_lot
         LEFT JOIN alloys a ON a.id = coalesce(i.alloy, r.alloy) WHERE c.heat = ?1
         ORDER BY 3 COLLATE NOCASE, c.item",
    )?;
    let mut rows = q.query([heat])?;
    let mut out = Vec::new();
    while let Some(r) = rows.next()? {
        let Some(source) = MetalLot::new(r.get(0)?, r.get(1)?) else { continue };
        out.push(ChargeItem {
            source,
            tag: r.get::<_, Option<String>>(2)?.unwrap_or_default(),
            alloy: r.get::<_, Option<String>>(3)?.unwrap_or_default(),
            addition: r.get(4)?,
            mass: r.get(5)?,
        });
    }
    Ok(out)
}

/// The alloy of a heat and how much revert it allows: heat, alloy, most in per cent.
fn heat_alloy(db: &Connection, heat: i64) -> Result<Option<(String, String, Option<f64>)>> {
    let mut q = db.prepare_cached(
        "SELECT h.heat, a.alloy, a.revert_max_pct FROM heats h JOIN alloys a ON a.id = h.alloy WHERE h.id = ?1",
    )?;
    Ok(q.query_row([heat], |r| Ok((r.get(0)?, r.get(1)?, r.get(2)?))).optional()?)
}

/// What a mould is made of: mould, part, alloy.
fn mould_alloy(db: &Connection, mould: i64) -> Result<Option<(String, String, String)>> {
    let mut q = db.prepare_cached(
        "SELECT m.mould, p.part, a.alloy FROM moulds m JOIN parts p ON p.id = m.part JOIN alloys a ON a.id = p.alloy
         WHERE m.id = ?1",
    )?;
    Ok(q.query_row([mould], |r| Ok((r.get(0)?, r.get(1)?, r.get(2)?))).optional()?)
}

pub(crate) fn of_heat(db: &Connection, heat: i64) -> Result<Vec<Misfit>> {
    let mut out = Vec::new();
    let Some((tag, alloy, limit)) = heat_alloy(db, heat)? else { return Ok(out) };
    let all = items(db, heat)?;
    let mut seen: Vec<MetalLot> = Vec::new();
    for item in &all {
        if seen.contains(&item.source) {
            continue;
        }
        seen.push(item.source);
        if !item.addition && !same(&item.alloy, &alloy) {
            out.push(Misfit::new(What::OtherAlloy, other_alloy(&item.tag, &item.alloy, &tag, &alloy)));
        }
        if item.source.revert {
            out.extend(relabelled(db, item, &alloy)?);
        }
        match beyond(db, item.source)? {
            Stock::Unknown => out.push(Misfit::untold(
                What::BeyondWhatIsLeft,
                format!(
                    "{}: how much of it there was is not on record, so what is left is unknown",
                    item.tag
                ),
            )),
            Stock::Known { beyond } => {
                for over in beyond.iter().filter(|o| o.heat == heat) {
                    out.push(Misfit::new(What::BeyondWhatIsLeft, over.sentence(&item.tag)));
                }
            }
        }
        if item.addition {
            if !analysed(db, "subject_heat", heat, true)? {
                let reason =
                    format!("{} was added: a check analysis of {tag} has to say what came of it", item.tag);
                out.push(Misfit::untold(What::NotAnalysed, reason));
            }
        } else if !source_analysed(db, item.source)? {
            out.push(Misfit::new(What::NotAnalysed, format!("no analysis of {}", item.tag)));
        }
    }
    out.extend(over_limit(&tag, &alloy, limit, &all));
    Ok(out)
}

/// Heats of another alloy that a revert lot came from: a label of its own makes their metal no other.
fn relabelled(db: &Connection, lot: &ChargeItem, alloy: &str) -> Result<Vec<Misfit>> {
    let mut q = db.prepare_cached(
        "SELECT h.heat, a.alloy FROM revert_sources s JOIN heats h ON h.id = s.heat JOIN alloys a ON a.id = h.alloy
         WHERE s.revert_lot = ?1 AND a.alloy <> ?2 COLLATE NOCASE ORDER BY h.heat",
    )?;
    let mut rows = q.query((lot.source.id, alloy))?;
    let mut out = Vec::new();
    while let Some(r) = rows.next()? {
        let (heat, of): (String, String) = (r.get(0)?, r.get(1)?);
        out.push(Misfit::new(What::OtherAlloy, format!("{} came from {heat}, which is of {of}", lot.tag)));
    }
    Ok(out)
}

fn over_limit(heat: &str, alloy: &str, limit: Option<f64>, items: &[ChargeItem]) -> Option<Misfit> {
    let limit = limit?;
    let total: f64 = items.iter().filter_map(|i| i.mass).sum();
    let revert: f64 = items.iter().filter(|i| i.source.revert).filter_map(|i| i.mass).sum();
    let share = if total > 0.0 { revert / total * 100.0 } else { 0.0 };
    (share > limit + 1e-9).then(|| Misfit::new(What::RevertLimit, too_much_revert(heat, share, alloy, limit)))
}

fn too_much_revert(heat: &str, share: f64, alloy: &str, limit: f64) -> String {
    format!("{heat} has {share:.1} % revert; {alloy} allows at most {limit} %")
}

fn other_alloy(lot: &str, of: &str, heat: &str, alloy: &str) -> String {
    format!("{lot} is of alloy {of}, {heat} of {alloy}")
}

fn same(a: &str, b: &str) -> bool {
    a.eq_ignore_ascii_case(b)
}

pub(crate) fn of_mould(db: &Connection, mould: i64, heat: Option<i64>) -> Result<Vec<Misfit>> {
    let mut out = Vec::new();
    let Some((tag, part, alloy)) = mould_alloy(db, mould)? else { return Ok(out) };
    if let Some(heat) = heat {
        if let Some((heat, of, _)) = heat_alloy(db, heat)?.filter(|h| !same(&h.1, &alloy)) {
            out.push(Misfit::new(What::OtherPart, other_part(&tag, &part, &alloy, &heat, &of)));
        }
    }
    let mut q = db.prepare_cached(
        "SELECT DISTINCT r.pattern_run, p.part FROM blades b JOIN pattern_runs r ON r.id = b.pattern_run
         JOIN parts p ON p.id = r.part WHERE b.mould = ?1 AND p.part <> ?2 COLLATE NOCASE",
    )?;
    let mut rows = q.query((mould, &part))?;
    while let Some(r) = rows.next()? {
        let (run, of): (String, String) = (r.get(0)?, r.get(1)?);
        out.push(Misfit::new(What::OtherPatterns, other_patterns(&run, &of, &tag, &part)));
    }
    Ok(out)
}

fn other_part(mould: &str, part: &str, alloy: &str, heat: &str, of: &str) -> String {
    format!("{mould} is of part {part}, made of {alloy}; {heat} is of {of}")
}

fn other_patterns(run: &str, of: &str, mould: &str, part: &str) -> String {
    format!("pattern run {run} is of part {of}, {mould} of {part}")
}

/// The lot has an analysis with values that nobody set aside.
fn source_analysed(db: &Connection, source: MetalLot) -> Result<bool> {
    analysed(db, if source.revert { "subject_revert_lot" } else { "subject_ingot_lot" }, source.id, false)
}

fn analysed(db: &Connection, column: &str, id: i64, check: bool) -> Result<bool> {
    let purpose = if check { " AND a.purpose = 'check'" } else { "" };
    let sql = format!(
        "SELECT 1 FROM analyses a WHERE a.{column} = ?1{purpose} AND a.set_aside_by IS NULL
         AND a.set_aside_reason IS NULL AND EXISTS (SELECT 1 FROM analysis_values v WHERE v.analysis = a.id)"
    );
    Ok(db.prepare_cached(&sql)?.exists([id])?)
}

/// What there was of a lot, and who took more than that.
enum Stock {
    /// How much there was is not on record.
    Unknown,
    Known {
        beyond: Vec<Beyond>,
    },
}

/// A charge after which more was taken than there was.
struct Beyond {
    charge: i64,
    heat: i64,
    mass: f64,
    left: f64,
    of: f64,
}

impl Beyond {
    fn sentence(&self, lot: &str) -> String {
        beyond_sentence(self.mass, lot, self.left, self.of)
    }
}

fn beyond_sentence(mass: f64, lot: &str, left: f64, of: f64) -> String {
    format!("{mass:.3} kg of {lot} charged, {left:.3} kg was left of its {of:.3} kg")
}

/// What there was of a lot: an ingot lot's mass, the sum of a revert lot's sources.
fn mass_of(db: &Connection, source: MetalLot) -> Result<Option<f64>> {
    let sql = if source.revert {
        "SELECT CASE WHEN count(*) = count(mass_kg) THEN sum(mass_kg) END FROM revert_sources WHERE revert_lot = ?1"
    } else {
        "SELECT mass_kg FROM ingot_lots WHERE id = ?1"
    };
    Ok(db.prepare_cached(sql)?.query_row([source.id], |r| r.get(0)).optional()?.flatten())
}

/// The charges of a lot in the order in which they were melted, and those beyond what was left. Charges of one time come
/// in the order of their heats' tags: two stores with the same records judge alike.
fn beyond(db: &Connection, source: MetalLot) -> Result<Stock> {
    let Some(mass) = mass_of(db, source)? else { return Ok(Stock::Unknown) };
    let sql = format!(
        "SELECT c.id, c.heat, c.mass_kg FROM charges c JOIN heats h ON h.id = c.heat WHERE c.{} = ?1
         ORDER BY coalesce(h.melted_at, c.recorded_at, 9e18), h.heat COLLATE NOCASE, c.item",
        source.column()
    );
    let mut q = db.prepare_cached(&sql)?;
    let mut rows = q.query([source.id])?;
    let (mut used, mut out) = (0.0, Vec::new());
    while let Some(r) = rows.next()? {
        let Some(taken) = r.get::<_, Option<f64>>(2)? else { continue };
        let left = f64::max(mass - used, 0.0);
        used += taken;
        if used > mass + ROUNDING_KG {
            out.push(Beyond { charge: r.get(0)?, heat: r.get(1)?, mass: taken, left, of: mass });
        }
    }
    Ok(Stock::Known { beyond: out })
}
