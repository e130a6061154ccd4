//! Work that was done out of its order, from the wrong pot, or against what an inspection says. Only what is certain is
//! asked about: where a record is missing, nothing is.

use rusqlite::{Connection, OptionalExtension};

use crate::Stamp;
use crate::catalogue::{
    Coats, Covers, Decision, Dispositions, InspectionPurpose, Inspections, Pours, Route, SlurryUse, Verdict,
};
use crate::check::Guard;
use crate::error::Result;
use crate::graph::fit::made;
use crate::graph::suspect::windows;
use crate::read::rows::Resolved;
use crate::value::words::counted;

/// The recipe of a mould's shell: its name, its route, how many coats it asks for, how long each dries.
pub(super) struct Recipe {
    pub(super) name: String,
    pub(super) route: Option<Route>,
    pub(super) coats: Option<i64>,
    pub(super) min_dry_h: Option<f64>,
}

pub(super) fn recipe(db: &Connection, mould: i64) -> Result<Option<Recipe>> {
    let mut q = db.prepare_cached(
        "SELECT r.recipe || '@' || r.revision, r.coats, r.min_dry_h, r.route FROM moulds m
         JOIN shell_batches s ON s.id = m.shell_batch JOIN shell_recipes r ON r.id = s.recipe WHERE m.id = ?1",
    )?;
    let of = q.query_row([mould], |r| {
        let route = Route::of(r.get_ref(3)?.as_str()?);
        Ok(Recipe { name: r.get(0)?, route, coats: r.get(1)?, min_dry_h: r.get(2)? })
    });
    Ok(of.optional()?)
}

/// A dip: from a pot that is for another coat, onto a coat that is not dry, or where the shell is done.
pub(super) fn coat(db: &Connection, resolved: &Resolved) -> Result<Vec<Guard>> {
    let mut out = Vec::new();
    let row = resolved.record.of::<Coats>();
    let (Some(row), Some(mould)) = (row, resolved.id(Coats::mould)) else { return Ok(out) };
    let Some(number) = row.get(Coats::coat) else { return Ok(out) };
    let recipe = recipe(db, mould)?;
    out.extend(made::coat(db, mould, number, row.get(Coats::in_at), recipe.as_ref())?);
    if let Some(pot) = resolved.id(Coats::slurry_batch) {
        let mut q = db.prepare_cached("SELECT slurry_batch, \"use\" FROM slurry_batches WHERE id = ?1")?;
        let (pot, word): (String, String) = q.query_row([pot], |r| Ok((r.get(0)?, r.get(1)?)))?;
        let what = word.replace('_', " ");
        let of = SlurryUse::of(&word);
        let last = recipe.as_ref().and_then(|r| Some((r.coats?, &r.name)));
        let wrong = match (of, last) {
            (Some(SlurryUse::Backup | SlurryUse::SealCoat), _) if number == 1 => {
                Some(format!("coat 1 is a face coat, which is dipped in a prime pot; {pot} is a {what} pot"))
            }
            (Some(SlurryUse::SealCoat), Some((last, name))) if number < last => Some(format!(
                "{pot} is a {what} pot, for the last coat; {name} has {last} and this is coat {number}"
            )),
            _ => None,
        };
        out.extend(wrong.map(|message| Guard::asks(Coats::slurry_batch.name, message)));
    }
    if let Some(at) = row.get(Coats::in_at) {
        out.extend(drying(db, mould, number, at, recipe.as_ref())?);
    }
    Ok(out)
}

fn drying(
    db: &Connection,
    mould: i64,
    number: i64,
    at: Stamp,
    recipe: Option<&Recipe>,
) -> Result<Option<Guard>> {
    let mut q = db.prepare_cached("SELECT in_at, out_at FROM coats WHERE mould = ?1 AND coat = ?2")?;
    let before: Option<(i64, Option<i64>)> =
        q.query_row((mould, number - 1), |r| Ok((r.get(0)?, r.get(1)?))).optional()?;
    let Some((dipped, out)) = before else { return Ok(None) };
    let (dipped, before) = (Stamp::from_packed(dipped), number - 1);
    let asks = |message| Some(Guard::asks(Coats::in_at.name, message));
    if at.ms() < dipped.ms() {
        return Ok(asks(format!("coat {before} went in at {dipped}, after this one")));
    }
    let dry = out.map(Stamp::from_packed).filter(|out| out.ms() < at.ms()).unwrap_or(at);
    let hours = dry.minutes_since(dipped) / 60.0;
    let short = recipe.and_then(|r| Some((r.min_dry_h?, &r.name))).filter(|(least, _)| hours + 1e-9 < *least);
    Ok(short.and_then(|(least, name)| {
        asks(format!("coat {before} had dried {hours:.1} h before this dip; {name} asks for {least} h"))
    }))
}

/// A pour into a flask that was not mixed or not set, or into a mould that was still in the oven or not made yet.
pub(super) fn pour(db: &Connection, resolved: &Resolved) -> Result<Vec<Guard>> {
    let mut out = Vec::new();
    let at = resolved.record.of::<Pours>().and_then(|p| p.get(Pours::poured_at));
    let (Some(at), Some(mould)) = (at, resolved.id(Pours::mould)) else { return Ok(out) };
    let mut asks = |message| out.push(Guard::asks(Pours::poured_at.name, message));
    let mut q = db.prepare_cached(
        "SELECT mixed_at, set_min FROM investments WHERE mould = ?1 ORDER BY mixed_at DESC LIMIT 1",
    )?;
    let flask: Option<(i64, Option<f64>)> =
        q.query_row([mould], |r| Ok((r.get(0)?, r.get(1)?))).optional()?;
    if let Some((mixed, set_min)) = flask {
        let mixed = Stamp::from_packed(mixed);
        let minutes = at.minutes_since(mixed);
        match set_min {
            _ if minutes < 0.0 => asks(format!("its flask was mixed at {mixed}, after this pour")),
            Some(least) if minutes + 1e-9 < least => {
                asks(format!("its flask was mixed {minutes:.0} min before; it sets {least} min"));
            }
            _ => {}
        }
    }
    let mut q = db.prepare_cached(
        "SELECT r.oven_run, l.out_at FROM oven_loads l JOIN oven_runs r ON r.id = l.oven_run
         WHERE l.mould = ?1 AND r.started_at <= ?2 AND l.out_at > ?2 ORDER BY l.out_at DESC LIMIT 1",
    )?;
    let oven: Option<(String, i64)> =
        q.query_row((mould, at.packed()), |r| Ok((r.get(0)?, r.get(1)?))).optional()?;
    if let Some((run, left)) = oven {
        asks(format!("it came out of {run} at {}, after this pour", Stamp::from_packed(left)));
    }
    out.extend(made::pour(db, mould, resolved.id(Pours::heat), at)?);
    Ok(out)
}

/// A pour by a pyrometer whose last check failed, or that was due for another by then. One without a check on record is
/// none: the daily check says that.
pub(super) fn pyrometer(db: &Connection, resolved: &Resolved) -> Result<Option<Guard>> {
    let at = resolved.record.of::<Pours>().and_then(|p| p.get(Pours::poured_at));
    let (Some(at), Some(id)) = (at, resolved.id(Pours::pyrometer)) else { return Ok(None) };
    let checks = windows::checks(db, id)?;
    let Some(last) = checks.last(at) else { return Ok(None) };
    let mut q = db.prepare_cached(
        "SELECT i.instrument, c.difference, c.unit FROM instruments i
         LEFT JOIN calibrations c ON c.instrument = i.id AND c.checked_at = ?2 WHERE i.id = ?1",
    )?;
    let (tag, difference, unit): (String, Option<f64>, Option<String>) =
        q.query_row((id, last.at.packed()), |r| Ok((r.get(0)?, r.get(1)?, r.get(2)?)))?;
    let message = match (last.failed, checks.overdue(at)) {
        (true, _) => {
            let off = difference.map_or(String::new(), |d| {
                let unit = unit.map_or(String::new(), |u| format!(" {u}"));
                format!(", difference {d}{unit}")
            });
            format!("{tag} failed its check at {}{off}, and no check of it since is good", last.at)
        }
        (false, Some(due)) => format!("{tag}: its check was due at {due}, and none since is on record"),
        (false, None) => return Ok(None),
    };
    Ok(Some(Guard::asks(Pours::pyrometer.name, message)))
}

/// A reject that stands, and what it saw.
struct Standing {
    id: i64,
    named: String,
    method: String,
    /// Each defect with its zone.
    defects: Vec<(String, Option<String>)>,
    /// Characteristics outside their limits.
    outside: Vec<String>,
}

impl Standing {
    fn look(&mut self, db: &Connection) -> Result<()> {
        let mut q = db.prepare_cached(
            "SELECT t.defect, f.zone FROM findings f JOIN defect_terms t ON t.id = f.defect WHERE f.inspection = ?1
             ORDER BY t.defect, f.item",
        )?;
        let defects = q.query_map([self.id], |r| Ok((r.get(0)?, r.get(1)?)))?;
        self.defects = defects.collect::<rusqlite::Result<_>>()?;
        let mut q = db.prepare_cached(
            "SELECT characteristic FROM measurements WHERE inspection = ?1 AND (value < lower OR value > upper)
             ORDER BY characteristic",
        )?;
        let outside = q.query_map([self.id], |r| r.get(0))?;
        self.outside = outside.collect::<rusqlite::Result<_>>()?;
        Ok(())
    }

    fn text(&self) -> String {
        let defects = self.defects.iter().map(|(defect, zone)| match zone {
            Some(zone) => format!("{defect} in {zone}"),
            None => defect.clone(),
        });
        let outside = self.outside.iter().map(|c| format!("{c} outside its limits"));
        let seen: Vec<String> = defects.chain(outside).collect();
        if seen.is_empty() { self.named.clone() } else { format!("{} ({})", self.named, seen.join(", ")) }
    }

    /// The concession has an item on each thing that it saw. Whether the item fits is judged at the release.
    fn is_named_by(&self, db: &Connection, concession: i64) -> Result<bool> {
        let mut q = db.prepare_cached(
            "SELECT 1 FROM concession_items WHERE concession = ?1 AND covers = ?2 AND name = ?3 COLLATE NOCASE",
        )?;
        let defects = self.defects.iter().map(|(defect, _)| (Covers::Defect, defect));
        let outside = self.outside.iter().map(|c| (Covers::Characteristic, c));
        for (covers, name) in defects.chain(outside) {
            if !q.exists((concession, covers.word(), name))? {
                return Ok(false);
            }
        }
        Ok(!self.defects.is_empty() || !self.outside.is_empty())
    }
}

/// A blade that is accepted or conceded while rejects of it stand: they are named. The decision's own reason answers for
/// them; a concession that has an item on each is told of them and not asked.
pub(super) fn disposition(db: &Connection, resolved: &Resolved) -> Result<Option<Guard>> {
    let row = resolved.record.of::<Dispositions>();
    let (Some(row), Some(blade)) = (row, resolved.id(Dispositions::blade)) else { return Ok(None) };
    let decision = row.get(Dispositions::decision);
    if !matches!(decision, Some(Decision::Accept | Decision::Concession)) {
        return Ok(None);
    }
    let all = standing(db, blade, row.get(Dispositions::decided_at))?;
    if all.is_empty() {
        return Ok(None);
    }
    let mut named = false;
    if let (Some(Decision::Concession), Some(to)) = (decision, resolved.id(Dispositions::concession)) {
        named = true;
        for one in &all {
            named &= one.is_named_by(db, to)?;
        }
    }
    let texts: Vec<String> = all.iter().map(Standing::text).collect();
    let stand = if all.len() == 1 { "stands" } else { "stand" };
    let message = format!("{} {stand}: {}", counted(all.len(), "reject"), texts.join("; "));
    let reasoned = row.get(Dispositions::reason).is_some_and(|r| !r.trim().is_empty());
    let name = Dispositions::decision.name;
    Ok(Some(if named || reasoned { Guard::said(name, message) } else { Guard::asks(name, message) }))
}

/// The rejects of the product that stand at a time: seen by then, after the last rework or repair, closed by no accept.
fn standing(db: &Connection, blade: i64, at: Option<Stamp>) -> Result<Vec<Standing>> {
    let mut q = db.prepare_cached(
        "SELECT i.id, i.inspection || ', ' || i.method || ' round ' || i.round, i.method FROM inspections i
         WHERE i.blade = ?1 AND i.result = 'reject' AND ifnull(i.purpose, 'product') = 'product'
         AND (?2 IS NULL OR i.inspected_at <= ?2)
         AND NOT EXISTS (SELECT 1 FROM dispositions d WHERE d.blade = ?1 AND d.decision IN ('rework', 'repair')
             AND d.decided_at >= i.inspected_at AND (?2 IS NULL OR d.decided_at <= ?2))
         AND NOT EXISTS (SELECT 1 FROM inspections c WHERE c.closes = i.id AND c.result = 'accept')
         ORDER BY i.inspected_at, i.inspection",
    )?;
    let rows = q.query_map((blade, at.map(Stamp::packed)), |r| Ok((r.get(0)?, r.get(1)?, r.get(2)?)))?;
    let rows: Vec<(i64, String, String)> = rows.collect::<rusqlite::Result<_>>()?;
    rows.into_iter()
        .map(|(id, named, method)| {
            let mut one = Standing { id, named, method, defects: Vec::new(), outside: Vec::new() };
            one.look(db)?;
            Ok(one)
        })
        .collect()
}

/// A blade that is accepted by a method while a reject by that method stands, or after it was scrapped. An inspection that
/// names the reject which it closes has answered; readings that are none of the product are not asked.
pub(super) fn inspection(db: &Connection, resolved: &Resolved) -> Result<Vec<Guard>> {
    let row = resolved.record.of::<Inspections>();
    let (Some(row), Some(blade)) = (row, resolved.id(Inspections::blade)) else { return Ok(Vec::new()) };
    let product = row.get(Inspections::purpose).is_none_or(|p| p == InspectionPurpose::Product);
    let closes = resolved.id(Inspections::closes).is_some();
    if row.get(Inspections::result) != Some(Verdict::Accept) || !product || closes {
        return Ok(Vec::new());
    }
    let mut out = Vec::new();
    let (name, at) = (Inspections::result.name, row.get(Inspections::inspected_at));
    if let Some(method) = row.get(Inspections::method) {
        // The inspection itself, where a reject is corrected, is none that stands beside it.
        let itself = format!("{}, ", row.text(Inspections::inspection));
        let all = standing(db, blade, at)?;
        let all =
            all.into_iter().filter(|one| one.method == method.word() && !one.named.starts_with(&itself));
        let texts: Vec<String> = all.map(|one| one.text()).collect();
        if !texts.is_empty() {
            let stand = if texts.len() == 1 { "stands" } else { "stand" };
            let message = format!("{} {stand}: {}", counted(texts.len(), "reject"), texts.join("; "));
            out.push(Guard::asks(name, message));
        }
    }
    let mut q = db.prepare_cached(
        "SELECT decision, decided_at FROM dispositions WHERE blade = ?1 AND (?2 IS NULL OR decided_at <= ?2)
         ORDER BY decided_at DESC, entry DESC LIMIT 1",
    )?;
    let last: Option<(String, i64)> =
        q.query_row((blade, at.map(Stamp::packed)), |r| Ok((r.get(0)?, r.get(1)?))).optional()?;
    if let Some((_, when)) = last.filter(|(decision, _)| *decision == Decision::Scrap.word()) {
        out.push(Guard::asks(name, format!("it was scrapped at {}", Stamp::from_packed(when))));
    }
    Ok(out)
}
