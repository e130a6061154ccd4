//! How far a mould had come when the next thing was done to it: its shell, its ovens, the metal. What was not made yet is
//! asked about where a person sits who can be asked, and told where a script logs it. A station that the shop keeps no
//! records of has no gap in them.

use rusqlite::{Connection, OptionalExtension};

use crate::Stamp;
use crate::catalogue::{Coats, OvenLoads, OvenPurpose, Pours, Route};
use crate::check::Guard;
use crate::error::Result;
use crate::graph::fit::work::{Recipe, recipe};
use crate::read::rows::Resolved;
use crate::value::words::minutes;

/// A mould in an oven run.
struct Stay {
    run: String,
    purpose: Option<OvenPurpose>,
    began: Stamp,
    out: Option<Stamp>,
    /// Nothing says that it came out.
    inside: bool,
}

/// The oven runs that a mould was in, in the order in which they began.
fn stays(db: &Connection, mould: i64) -> Result<Vec<Stay>> {
    let mut q = db.prepare_cached(
        "SELECT r.oven_run, r.purpose, r.started_at,
             l.out_at IS NULL AND instr(ifnull(l.extra, ''), '\"out_at\"') = 0, l.out_at
         FROM oven_loads l JOIN oven_runs r ON r.id = l.oven_run WHERE l.mould = ?1 ORDER BY r.started_at, r.oven_run",
    )?;
    let rows = q.query_map([mould], |r| {
        Ok(Stay {
            run: r.get(0)?,
            purpose: OvenPurpose::of(r.get_ref(1)?.as_str()?),
            began: Stamp::from_packed(r.get(2)?),
            inside: r.get(3)?,
            out: r.get::<_, Option<i64>>(4)?.map(Stamp::from_packed),
        })
    })?;
    Ok(rows.collect::<rusqlite::Result<_>>()?)
}

/// What was done to a mould in an oven, as its checks name it.
fn done(purpose: OvenPurpose) -> &'static str {
    match purpose {
        OvenPurpose::Dewax => "dewaxed",
        OvenPurpose::Fire => "fired",
        OvenPurpose::Preheat => "preheated",
    }
}

fn exists(db: &Connection, sql: &str) -> Result<bool> {
    Ok(db.prepare_cached(sql)?.query_row([], |r| r.get(0))?)
}

/// A mould that goes into an oven: its shell is not complete or not dry, it is not dewaxed before it is fired, not fired
/// before it is preheated.
pub(super) fn oven_load(db: &Connection, resolved: &Resolved) -> Result<Vec<Guard>> {
    let (Some(mould), Some(run)) = (resolved.id(OvenLoads::mould), resolved.id(OvenLoads::oven_run)) else {
        return Ok(Vec::new());
    };
    let mut q = db.prepare_cached("SELECT oven_run, purpose, started_at FROM oven_runs WHERE id = ?1")?;
    let (tag, word, began): (String, String, i64) =
        q.query_row([run], |r| Ok((r.get(0)?, r.get(1)?, r.get(2)?)))?;
    let began = Stamp::from_packed(began);
    let typed = resolved.record.of::<OvenLoads>().and_then(|l| l.get(OvenLoads::out_at));
    // When it went in nobody writes down: not before the run began, and not after it came out or was typed in.
    let latest =
        typed.or(resolved.record.recorded_at().map(|at| if at.ms() < began.ms() { began } else { at }));
    let recipe = recipe(db, mould)?;
    let mut missing = shell(db, mould, recipe.as_ref(), latest)?;
    let flask = recipe.as_ref().is_some_and(|r| r.route == Some(Route::Flask));
    let before: &[OvenPurpose] = match OvenPurpose::of(&word) {
        // A flask is burnt out in its firing; not every shop dewaxes it before.
        Some(OvenPurpose::Fire) if !flask => &[OvenPurpose::Dewax],
        Some(OvenPurpose::Preheat) => &[OvenPurpose::Fire],
        _ => &[],
    };
    let all = stays(db, mould)?;
    for purpose in before {
        let mut kept = db.prepare_cached("SELECT 1 FROM oven_runs WHERE purpose = ?1 AND id <> ?2")?;
        let there = |s: &Stay| s.purpose == Some(*purpose) && s.began.ms() <= began.ms();
        if kept.exists((purpose.word(), run))? && !all.iter().any(there) {
            missing.push(format!(
                "not {}: no {} run before {tag} is on record for it",
                done(*purpose),
                purpose.word()
            ));
        }
    }
    // With its time out it is no mould that goes in now.
    if let (None, Some(now)) = (typed, latest) {
        let others: Vec<&Stay> = all.iter().filter(|s| s.run != tag).collect();
        missing.extend(elsewhere(db, mould, &others, now)?);
    }
    Ok(missing.into_iter().map(|message| Guard::asks(OvenLoads::mould.name, message)).collect())
}

/// Hours after which a mould out of its preheat is no longer on its way to the furnace, as its clock counts them.
const ON_ITS_WAY_H: i64 = 24;

/// Where a mould that goes into an oven now is by its other loads: in another, or on its way to the furnace. A shop that
/// writes down no times out of its ovens of a purpose has no gap in them.
fn elsewhere(db: &Connection, mould: i64, others: &[&Stay], now: Stamp) -> Result<Vec<String>> {
    let mut out = Vec::new();
    for stay in others.iter().filter(|s| s.inside) {
        let mut kept = db.prepare_cached(
            "SELECT 1 FROM oven_loads l JOIN oven_runs r ON r.id = l.oven_run
             WHERE r.purpose = ?1 AND l.out_at IS NOT NULL LIMIT 1",
        )?;
        if kept.exists([stay.purpose.map(OvenPurpose::word)])? {
            out.push(format!("still in {} since {}, no oven-out on record", stay.run, stay.began));
        }
    }
    let heated = others.iter().rfind(|s| s.purpose == Some(OvenPurpose::Preheat));
    if let Some((Some(left), run)) = heated.map(|s| (s.out, &s.run)) {
        let seconds = (now.ms() - left.ms()) / 1000;
        let poured = db.prepare_cached("SELECT 1 FROM pours WHERE mould = ?1")?.exists([mould])?;
        if !poured && (0..ON_ITS_WAY_H * 3600).contains(&seconds) {
            out.push(format!("out of {run} for {}; back in?", minutes(seconds)));
        }
    }
    Ok(out)
}

/// What its shell lacks, by a time where one is known.
fn shell(db: &Connection, mould: i64, recipe: Option<&Recipe>, by: Option<Stamp>) -> Result<Vec<String>> {
    let mut q = db.prepare_cached("SELECT 1 FROM investments WHERE mould = ?1")?;
    let invested = q.exists([mould])?;
    if recipe.is_some_and(|r| r.route == Some(Route::Flask)) {
        let kept = exists(db, "SELECT EXISTS (SELECT 1 FROM investments)")?;
        return Ok((kept && !invested)
            .then(|| "its flask was never filled: no investment of it is on record".into())
            .into_iter()
            .collect());
    }
    let mut q = db.prepare_cached("SELECT coat, in_at, out_at FROM coats WHERE mould = ?1 ORDER BY coat")?;
    let coats = q.query_map([mould], |r| {
        Ok((r.get(0)?, Stamp::from_packed(r.get(1)?), r.get::<_, Option<i64>>(2)?.map(Stamp::from_packed)))
    })?;
    let coats: Vec<(i64, Stamp, Option<Stamp>)> = coats.collect::<rusqlite::Result<_>>()?;
    let asked = recipe.and_then(|r| Some((r.coats?, &r.name)));
    let asks = asked.map_or(String::new(), |(n, name)| format!("; {name} asks for {n}"));
    let Some((last, dipped, out)) = coats.last() else {
        let gap = !invested && exists(db, "SELECT EXISTS (SELECT 1 FROM coats)")?;
        return Ok(gap.then(|| format!("no coat of it is on record{asks}")).into_iter().collect());
    };
    let mut missing = Vec::new();
    let wanted = asked.map_or(*last, |(n, _)| n);
    let gaps: Vec<String> =
        (1..=wanted).filter(|n| coats.iter().all(|c| c.0 != *n)).map(|n| n.to_string()).collect();
    if !gaps.is_empty() {
        missing.push(format!("coat {} missing{asks}", gaps.join(", ")));
    }
    if let (Some(least), Some(by)) = (recipe.and_then(|r| r.min_dry_h), by) {
        let until = out.filter(|out| out.ms() < by.ms()).unwrap_or(by);
        let hours = f64::max(until.minutes_since(*dipped) / 60.0, 0.0);
        if hours + 1e-9 < least {
            let name = recipe.map_or("", |r| r.name.as_str());
            missing.push(format!("coat {last} has dried {hours:.1} h; {name} asks for {least} h"));
        }
    }
    Ok(missing)
}

/// A dip beyond the last coat of the recipe, or of a mould that was in an oven before it.
pub(super) fn coat(
    db: &Connection,
    mould: i64,
    number: i64,
    at: Option<Stamp>,
    recipe: Option<&Recipe>,
) -> Result<Vec<Guard>> {
    let mut out = Vec::new();
    let mut asks = |message| out.push(Guard::asks(Coats::mould.name, message));
    if let Some((last, name)) =
        recipe.and_then(|r| Some((r.coats?, &r.name))).filter(|(last, _)| number > *last)
    {
        asks(format!("{name} has {last} coats and this is coat {number}"));
    }
    let Some(at) = at else { return Ok(out) };
    let before = stays(db, mould)?.into_iter().rfind(|s| s.began.ms() <= at.ms());
    if let Some(Stay { run, purpose, began, inside, .. }) = before {
        let word = purpose.map_or("oven", OvenPurpose::word);
        match (inside, purpose) {
            (true, _) => asks(format!("it is in {word} run {run} since {began}, no oven-out on record")),
            (false, Some(purpose)) => {
                asks(format!("it was {} in {run}, which began at {began}, before this dip", done(purpose)))
            }
            (false, None) => {}
        }
    }
    Ok(out)
}

/// A pour of a mould that is in an oven still, or before its own coat, dewax, firing or the melting of its heat.
pub(super) fn pour(db: &Connection, mould: i64, heat: Option<i64>, at: Stamp) -> Result<Vec<Guard>> {
    let mut out = Vec::new();
    let mut asks = |message| out.push(Guard::asks(Pours::mould.name, message));
    let (before, after): (Vec<Stay>, Vec<Stay>) =
        stays(db, mould)?.into_iter().partition(|s| s.began.ms() <= at.ms());
    if let Some(Stay { run, began, .. }) = before.last().filter(|s| s.inside) {
        asks(format!("still in {run} since {began}, no oven-out on record"));
    }
    for late in &after {
        let Some(purpose) = late.purpose else { continue };
        if before.iter().all(|s| s.purpose != late.purpose) {
            let (run, began) = (&late.run, late.began);
            asks(format!("it was {} only in {run}, which began at {began}, after this pour", done(purpose)));
        }
    }
    let mut q = db.prepare_cached(
        "SELECT coat, in_at FROM coats WHERE mould = ?1 AND in_at > ?2 ORDER BY in_at DESC LIMIT 1",
    )?;
    let coat: Option<(i64, i64)> =
        q.query_row((mould, at.packed()), |r| Ok((r.get(0)?, r.get(1)?))).optional()?;
    if let Some((coat, dipped)) = coat.filter(|c| Stamp::from_packed(c.1).ms() > at.ms()) {
        asks(format!("coat {coat} was dipped at {}, after this pour", Stamp::from_packed(dipped)));
    }
    let mut q = db.prepare_cached("SELECT heat, melted_at FROM heats WHERE id = ?1")?;
    let melted: Option<(String, Option<i64>)> =
        q.query_row([heat], |r| Ok((r.get(0)?, r.get(1)?))).optional()?;
    if let Some((heat, Some(melted))) = melted {
        let melted = Stamp::from_packed(melted);
        if melted.ms() > at.ms() {
            asks(format!("{heat} was melted at {melted}, after this pour"));
        }
    }
    Ok(out)
}
