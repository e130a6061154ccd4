//! What does not fit among the rows of an import: asked about once all files are in, as the rows speak of each other.
//!
//! A note in the row says why: of the charge, the pour, the blade. What was never analysed is not asked about here: the
//! analysis may come later.

use std::collections::BTreeMap;

use rusqlite::{Connection, Row};

use crate::Record;
use crate::catalogue::{Blades, Charges, Field, KindType, Pours};
use crate::check::Fault;
use crate::error::Result;
use crate::graph::fit::{
    MetalLot, ROUNDING_KG, Stock, beyond, mass_of, other_alloy, other_part, other_patterns, too_much_revert,
};
use crate::write::draft::Draft;

/// A fault of a row that is already written in this load, found again in its file by some of its fields.
#[derive(Clone, Debug)]
pub struct Late {
    pub kind: &'static str,
    /// Fields and values of the row; of several, the first that stands in the file.
    pub rows: Vec<Vec<(String, String)>>,
    /// What is wrong.
    pub fault: Fault,
}

impl Late {
    /// The row is meant.
    pub fn means(&self, record: &Record) -> bool {
        let is = |(field, value): &(String, String)| record.get(field).to_text().eq_ignore_ascii_case(value);
        self.rows.iter().any(|row| row.iter().all(is))
    }
}

const WHY: &str = "if it is right, say why in the note";

/// The row with these texts, at fault in one field.
fn late<K: KindType, T, P>(row: &Draft<K>, field: Field<K, T, P>, value: &str, message: &str) -> Late {
    let fault = Fault::new(field.name, value, format!("{message}; {WHY}"));
    Late { kind: K::NAME, rows: vec![row.texts().to_vec()], fault }
}

/// What does not fit among the rows written by entry `from` and later; sums only where all rows are in.
pub(crate) fn misfits(db: &Connection, from: i64, whole: bool) -> Result<Vec<Late>> {
    let mut out = Vec::new();
    let several = |sql: &str| -> Result<bool> { Ok(db.query_row(sql, [], |r| r.get(0))?) };
    if several("SELECT count(DISTINCT lower(alloy)) > 1 FROM alloys")? {
        alloys(db, from, &mut out)?;
        pours(db, from, &mut out)?;
    }
    if several("SELECT count(DISTINCT lower(part)) > 1 FROM parts")? {
        patterns(db, from, &mut out)?;
    }
    if whole {
        left(db, from, &mut out)?;
        revert(db, from, &mut out)?;
    }
    Ok(out)
}

fn each(db: &Connection, sql: &str, from: i64, mut f: impl FnMut(&Row) -> Result<()>) -> Result<()> {
    let mut q = db.prepare(sql)?;
    let mut rows = q.query([from])?;
    while let Some(row) = rows.next()? {
        f(row)?;
    }
    Ok(())
}

fn charge(heat: &str, source: &str, item: i64) -> Draft<Charges> {
    Draft::default()
        .with(Charges::heat, heat)
        .with(Charges::source, source)
        .with(Charges::item, item.to_string())
}

fn alloys(db: &Connection, from: i64, out: &mut Vec<Late>) -> Result<()> {
    let sql = "SELECT h.heat, coalesce(i.ingot_lot, r.revert_lot), c.item, l.alloy, a.alloy
         FROM charges c JOIN heats h ON h.id = c.heat JOIN alloys a ON a.id = h.alloy
         LEFT JOIN ingot_lots i ON i.id = c.source_ingot_lot LEFT JOIN revert_lots r ON r.id = c.source_revert_lot
         JOIN alloys l ON l.id = coalesce(i.alloy, r.alloy)
         WHERE c.entry >= ?1 AND l.alloy <> a.alloy COLLATE NOCASE AND ifnull(i.\"use\", '') <> 'addition'
           AND c.note IS NULL";
    each(db, sql, from, |r| {
        let (heat, lot, item): (String, String, i64) = (r.get(0)?, r.get(1)?, r.get(2)?);
        let (of, alloy): (String, String) = (r.get(3)?, r.get(4)?);
        let message = other_alloy(&lot, &of, &heat, &alloy);
        out.push(late(&charge(&heat, &lot, item), Charges::source, &lot, &message));
        Ok(())
    })
}

fn pours(db: &Connection, from: i64, out: &mut Vec<Late>) -> Result<()> {
    let sql = "SELECT m.mould, p.part, b.alloy, h.heat, a.alloy FROM pours o JOIN moulds m ON m.id = o.mould
         JOIN parts p ON p.id = m.part JOIN alloys b ON b.id = p.alloy JOIN heats h ON h.id = o.heat
         JOIN alloys a ON a.id = h.alloy
         WHERE o.entry >= ?1 AND b.alloy <> a.alloy COLLATE NOCASE AND o.note IS NULL";
    each(db, sql, from, |r| {
        let (mould, part, alloy): (String, String, String) = (r.get(0)?, r.get(1)?, r.get(2)?);
        let (heat, of): (String, String) = (r.get(3)?, r.get(4)?);
        let message = other_part(&mould, &part, &alloy, &heat, &of);
        out.push(late(&Draft::default().with(Pours::mould, mould), Pours::heat, &heat, &message));
        Ok(())
    })
}

fn patterns(db: &Connection, from: i64, out: &mut Vec<Late>) -> Result<()> {
    let sql = "SELECT b.blade, r.pattern_run, q.part, m.mould, p.part FROM blades b JOIN moulds m ON m.id = b.mould
         JOIN pattern_runs r ON r.id = b.pattern_run JOIN parts p ON p.id = m.part JOIN parts q ON q.id = r.part
         WHERE b.entry >= ?1 AND p.id <> q.id AND p.part <> q.part COLLATE NOCASE
           AND b.note IS NULL";
    each(db, sql, from, |r| {
        let (blade, run, of): (String, String, String) = (r.get(0)?, r.get(1)?, r.get(2)?);
        let (mould, part): (String, String) = (r.get(3)?, r.get(4)?);
        let message = other_patterns(&run, &of, &mould, &part);
        out.push(late(&Draft::default().with(Blades::blade, blade), Blades::pattern_run, &run, &message));
        Ok(())
    })
}

/// Lots that were charged beyond what is left of them. Where only an earlier row went beyond, by a charge that is melted
/// before it, the last row of this load is named.
fn left(db: &Connection, from: i64, out: &mut Vec<Late>) -> Result<()> {
    let mut sums: BTreeMap<MetalLot, f64> = BTreeMap::new();
    let sql =
        "SELECT source_ingot_lot, source_revert_lot, total(mass_kg) FROM charges WHERE ?1 = ?1 GROUP BY 1, 2";
    each(db, sql, from, |r| {
        if let Some(source) = MetalLot::new(r.get(0)?, r.get(1)?) {
            sums.insert(source, r.get(2)?);
        }
        Ok(())
    })?;
    let mut of_load = db.prepare(
        "SELECT h.heat, coalesce(i.ingot_lot, r.revert_lot), c.item, c.mass_kg, c.entry >= ?2,
             c.note IS NOT NULL
         FROM charges c JOIN heats h ON h.id = c.heat LEFT JOIN ingot_lots i ON i.id = c.source_ingot_lot
         LEFT JOIN revert_lots r ON r.id = c.source_revert_lot WHERE c.id = ?1",
    )?;
    for (source, sum) in sums {
        let over = mass_of(db, source)?.is_some_and(|mass| sum > mass + ROUNDING_KG);
        let Stock::Known { beyond } = (if over { beyond(db, source)? } else { Stock::Unknown }) else {
            continue;
        };
        let mut newest: Option<i64> = None;
        let mut new = false;
        for over in &beyond {
            new |= is_new(db, over.charge, from)?;
        }
        if !new {
            let sql = format!("SELECT max(id) FROM charges WHERE {} = ?1 AND entry >= ?2", source.column());
            newest = db.query_row(&sql, (source.id, from), |r| r.get(0))?;
        }
        for over in &beyond {
            let id = newest.take().unwrap_or(over.charge);
            of_load.query_row((id, from), |r| {
                let (heat, lot, item): (String, String, i64) = (r.get(0)?, r.get(1)?, r.get(2)?);
                let mass = r.get::<_, Option<f64>>(3)?.map(|m| m.to_string()).unwrap_or_default();
                let (new, noted): (bool, bool) = (r.get(4)?, r.get(5)?);
                if new && !noted {
                    let row = charge(&heat, &lot, item);
                    out.push(late(&row, Charges::mass_kg, &mass, &over.sentence(&lot)));
                }
                Ok(())
            })?;
        }
    }
    Ok(())
}

fn is_new(db: &Connection, charge: i64, from: i64) -> Result<bool> {
    Ok(db.query_row("SELECT entry >= ?2 FROM charges WHERE id = ?1", (charge, from), |r| r.get(0))?)
}

/// Heats over the revert limit of their alloy; the last revert of the load is named.
fn revert(db: &Connection, from: i64, out: &mut Vec<Late>) -> Result<()> {
    let sql = "SELECT c.heat, 100.0 * total(CASE WHEN c.source_revert_lot IS NOT NULL THEN c.mass_kg END) / total(c.mass_kg),
             max(CASE WHEN c.source_revert_lot IS NOT NULL AND c.entry >= ?1 THEN c.id END), h.heat, a.alloy, a.revert_max_pct
         FROM charges c JOIN heats h ON h.id = c.heat JOIN alloys a ON a.id = h.alloy
         WHERE a.revert_max_pct IS NOT NULL GROUP BY c.heat
         HAVING total(CASE WHEN c.source_revert_lot IS NOT NULL THEN c.mass_kg END)
                > (a.revert_max_pct + 1e-9) / 100 * total(c.mass_kg)
            AND max(c.entry) >= ?1 AND max(CASE WHEN c.source_revert_lot IS NOT NULL THEN c.note END) IS NULL";
    let mut of = db.prepare(
        "SELECT r.revert_lot, c.item, c.mass_kg FROM charges c JOIN revert_lots r ON r.id = c.source_revert_lot WHERE c.id = ?1",
    )?;
    each(db, sql, from, |r| {
        let Some(id) = r.get::<_, Option<i64>>(2)? else { return Ok(()) };
        let (share, heat, alloy, limit): (f64, String, String, f64) =
            (r.get(1)?, r.get(3)?, r.get(4)?, r.get(5)?);
        let (lot, item, mass): (String, i64, Option<f64>) =
            of.query_row([id], |r| Ok((r.get(0)?, r.get(1)?, r.get(2)?)))?;
        let mass = mass.map(|m| m.to_string()).unwrap_or_default();
        let message = too_much_revert(&heat, share, &alloy, limit);
        out.push(late(&charge(&heat, &lot, item), Charges::mass_kg, &mass, &message));
        Ok(())
    })
}
