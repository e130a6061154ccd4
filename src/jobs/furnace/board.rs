//! What the screens ask: the furnace board, the figures behind a pour form, what a form starts with.

use std::collections::HashMap;

use crate::jobs::furnace::readiness;
use crate::jobs::records::ask::Logged;
use crate::show::working::Working;
use records::catalogue::kind;
use records::catalogue::kind::Kind;
use records::check::limit::Limit;
use records::check::{Guard, OwnField};
use records::write::Undone;
use records::{Error, Result, Store, Who};
use records::{Record, Stamp, Value, catalogue};

/// A mould that is not poured yet.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Standing {
    pub mould: String,
    /// The day it is planned for; blank where it is not planned.
    pub planned_on: String,
    /// The furnace it is planned on.
    pub furnace: String,
    /// Its place in the order.
    pub order: String,
    /// The temperature asked for.
    pub target_c: String,
}

/// A pour that is on record.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Poured {
    pub mould: String,
    pub heat: String,
    /// When.
    pub at: String,
    /// The temperature that was read; blank where it is to be filled in.
    pub indicated_c: String,
    /// Pouring time.
    pub pour_s: String,
    /// It ran out.
    pub run_out: bool,
}

/// What stands at the furnace.
#[derive(Clone, Debug, Default)]
pub struct Board {
    /// Moulds without a pour: the planned first, in the order of the plan.
    pub standing: Vec<Standing>,
    /// The latest pours, the latest first.
    pub poured: Vec<Poured>,
    /// The heat that is charged and not poured, else that of the latest pour of the day.
    pub heat: Option<String>,
    /// Open holds in the store.
    pub holds: usize,
}

/// The furnace board. `go_on` is asked between steps and stops the work where it says no.
///
/// # Errors
/// The store cannot be read, or the work was stopped.
pub fn board(store: &Store, now: Stamp, go_on: &dyn Fn() -> bool) -> Result<Board> {
    store.snapshot(|| {
        let moulds = store.moulds_not_poured()?;
        stopped(go_on)?;
        let mut plans: HashMap<String, Record<'static>> = HashMap::new();
        if let (Some(k), false) = (kind("pour_plans"), moulds.is_empty()) {
            for plan in store.all_of(k)? {
                plans.insert(plan.get("mould").to_text(), plan);
            }
        }
        stopped(go_on)?;
        let mut standing: Vec<Standing> = moulds
            .into_iter()
            .map(|mould| match plans.get(&mould) {
                Some(p) => Standing {
                    planned_on: p.get("planned_on").to_text(),
                    furnace: p.get("furnace").to_text(),
                    order: p.get("pour_order").to_text(),
                    target_c: p.get("target_c").to_text(),
                    mould,
                },
                None => Standing { mould, ..Standing::default() },
            })
            .collect();
        let rank = |s: &Standing| {
            let order: i64 = s.order.parse().unwrap_or(i64::MAX);
            (s.planned_on.is_empty(), s.planned_on.clone(), order)
        };
        standing.sort_by_cached_key(rank);
        stopped(go_on)?;
        let latest = match kind("pours") {
            Some(k) => store.latest(k, 12)?,
            None => Vec::new(),
        };
        let today = |p: &&Record| p.own_time().is_some_and(|t| now.minutes_since(t).abs() < 720.0);
        let heat = match store.open_heat()? {
            Some(heat) => Some(heat),
            None => latest.iter().find(today).map(|p| p.get("heat").to_text()),
        };
        let poured = latest
            .iter()
            .map(|p| Poured {
                mould: p.get("mould").to_text(),
                heat: p.get("heat").to_text(),
                at: p.get("poured_at").to_text(),
                indicated_c: p.get("indicated_c").to_text(),
                pour_s: p.get("pour_s").to_text(),
                run_out: p.get("run_out").text() == Some("yes"),
            })
            .collect();
        Ok(Board { standing, poured, heat, holds: store.open_holds()?.len() })
    })
}

fn stopped(go_on: &dyn Fn() -> bool) -> Result<()> {
    if go_on() { Ok(()) } else { Err(Error::input("stopped")) }
}

/// The figures that a pour form computes with.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct PourFigures {
    /// The alloy, as the heat names it.
    pub alloy: String,
    pub liquidus_c: Option<f64>,
    pub density_g_cm3: Option<f64>,
    /// Gate area of the mould's running system.
    pub gate_area_mm2: Option<f64>,
    /// When the mould left its last oven, and which run it was.
    pub out_of_oven: Option<(Stamp, String)>,
    /// The longest time from oven to pour by the recipe.
    pub oven_to_pour_max_s: Option<f64>,
    /// What the charge of the heat comes to, line by line, and whether it is as it should be.
    pub charge: Vec<(bool, String)>,
    /// How the figures of the charge came about.
    pub workings: Vec<Working>,
    /// The records behind the alloy's figures, and where these come from.
    pub alloy_source: String,
    /// The running system of the mould, as its record names it.
    pub running_system: String,
    /// What does not fit between metal, mould and patterns.
    pub misfits: Vec<String>,
    /// What of it asks for a reason.
    pub asks: Vec<Guard>,
}

/// The figures behind a pour of this mould from this heat; what cannot be found stays blank.
pub fn pour_figures(store: &Store, mould: Option<&str>, heat: Option<&str>) -> Result<PourFigures> {
    store.snapshot(|| {
        let mut out = PourFigures::default();
        let mut of_heat = None;
        if let Some((_, id, _)) = heat.map(|h| of_kind(store, h, "heats")).transpose()?.flatten() {
            of_heat = Some(id);
            out.misfits.extend(store.heat_fit(id)?.into_iter().map(|m| m.reason));
            if let Some(k) = kind("heats") {
                let heat = store.by_id(k, id)?.record;
                out.alloy = heat.get("alloy").to_text();
                if let Some(alloy) = store.tied(k, id, "alloy")? {
                    out.alloy_source = alloy.get("source").to_text();
                    out.liquidus_c = alloy.get("liquidus_c").number();
                    out.density_g_cm3 = alloy.get("density_g_cm3").number();
                }
            }
        }
        if let Some((_, id, _)) = mould.map(|m| of_kind(store, m, "moulds")).transpose()?.flatten() {
            of_mould(store, id, &mut out)?;
            out.misfits.extend(store.mould_fit(id, of_heat)?.into_iter().map(|m| m.reason));
        }
        if let (Some(pours), Some(mould), Some(heat)) = (kind("pours"), mould, heat) {
            let mut record = Record::blank(pours);
            record.set("mould", Value::Text(mould.into()));
            record.set("heat", Value::Text(heat.into()));
            out.asks = store.fit_guards(&record)?;
            out.asks.retain(|g| g.needs_reason);
        }
        Ok(out)
    })
}

pub(crate) fn of_kind(store: &Store, text: &str, name: &str) -> Result<Option<(&'static str, i64, String)>> {
    Ok(store.look_up(text)?.filter(|(k, _, _)| *k == name))
}

fn of_mould(store: &Store, id: i64, out: &mut PourFigures) -> Result<()> {
    let (Some(moulds), Some(loads)) = (kind("moulds"), kind("oven_loads")) else { return Ok(()) };
    let mould = store.by_id(moulds, id)?.record;
    out.running_system = mould.get("running_system").to_text();
    if let Some(system) = store.tied(moulds, id, "running_system")? {
        out.gate_area_mm2 = system.get("gate_area_mm2").number();
    }
    if let Some(recipe) = readiness::recipe(store, &mould)? {
        out.oven_to_pour_max_s = recipe.get("oven_to_pour_max_s").number();
    }
    for load in store.referring(loads, "mould", "moulds", id)? {
        if let Some(at) = load.get("out_at").time() {
            if out.out_of_oven.as_ref().is_none_or(|(t, _)| *t < at) {
                out.out_of_oven = Some((at, load.get("oven_run").to_text()));
            }
        }
    }
    Ok(())
}

/// What a form of a kind starts with.
#[derive(Clone, Debug, Default)]
pub struct FormStart {
    /// The latest record of the kind: field and text.
    pub last: Vec<(String, String)>,
    /// The foundry's own fields of the kind.
    pub own: Vec<OwnField>,
}

/// What a form of a kind starts with: the latest record, and the foundry's own fields.
pub fn form_start(store: &Store, kind: &'static Kind) -> Result<FormStart> {
    let mut own = store.own_fields()?;
    own.retain(|o| o.record == kind.name);
    let latest = store.recent(kind)?;
    let newer = store
        .written_last(kind)?
        .filter(|written| latest.as_ref().is_none_or(|latest| written.own_time() > latest.own_time()));
    let last = newer.or(latest).as_ref().map(texts).unwrap_or_default();
    Ok(FormStart { last, own })
}

/// A record's fields as text, by its tag or address; with its own fields.
///
/// # Errors
/// There is no such record, or the store cannot be read.
pub fn as_texts(store: &Store, text: &str) -> Result<(&'static Kind, String, Vec<(String, String)>)> {
    let found = store.find(text)?;
    Ok((found.kind, found.record.address(), texts(&found.record)))
}

fn texts(record: &Record) -> Vec<(String, String)> {
    let named = record.kind.all_fields().map(|f| f.name.to_string()).zip(record.values.iter());
    let own = record.own.iter().map(|(n, v)| (n.clone(), v));
    named.chain(own).map(|(n, v): (String, &Value)| (n, v.to_text())).collect()
}

/// What kind of record a scanned or typed text leads to, and its tag.
pub fn look_up(store: &Store, text: &str) -> Result<Option<(&'static str, String)>> {
    Ok(store.look_up(text)?.map(|(kind, _, tag)| (kind, tag)))
}

/// What came of a wish to take something back, as a screen says it.
#[derive(Clone, Debug)]
pub struct TakenBack {
    /// The sentence.
    pub said: String,
    /// It is only proposed: quality decides.
    pub proposed: bool,
    /// The mould whose pour was taken back.
    pub mould: Option<String>,
}

/// Takes back the person's last entry, within a minute of it. Gives what was taken back.
///
/// # Errors
/// There is none, it is older, or other records stand on it.
pub fn undo(store: &mut Store, who: &Who) -> Result<TakenBack> {
    Ok(taken_back(&[store.undo(who, None)?]))
}

fn taken_back(all: &[Undone]) -> TakenBack {
    let name = |u: &Undone| format!("{} of {}", u.entry.action, u.entry.tag.clone().unwrap_or_default());
    let names = |of: &[&Undone]| of.iter().map(|u| name(u)).collect::<Vec<_>>().join(", ");
    let (proposed, done): (Vec<&Undone>, Vec<&Undone>) = all.iter().rev().partition(|u| !u.frees.is_empty());
    let mut said = Vec::new();
    if !done.is_empty() {
        said.push(format!("took back: {}", names(&done)));
    }
    if let Some(first) = proposed.first() {
        said.push(format!("quality decides proposal {}: to take back {}", first.seq, names(&proposed)));
    }
    let pour = done.iter().filter_map(|u| u.entry.tag.as_deref()?.strip_prefix("pours:")).next();
    TakenBack { said: said.join("; "), proposed: !proposed.is_empty(), mould: pour.map(String::from) }
}

/// Takes back what was written together. Gives what was taken back, the latest first.
///
/// # Errors
/// As for one entry.
pub fn undo_together(store: &mut Store, who: &Who, entries: &[i64]) -> Result<TakenBack> {
    Ok(taken_back(&store.undo_together(who, entries)?))
}

/// The foundry's limits that apply to a form as far as it is filled in.
pub fn limits(store: &Store, kind: &'static Kind, texts: &[(String, String)]) -> Result<Vec<Limit>> {
    let mut record = Record::blank(kind);
    for (name, text) in texts {
        record.set(name, Value::Text(text.clone().into()));
    }
    store.snapshot(|| store.limits(&record))
}

/// Changes fields of a record; the old values stay in the journal.
///
/// # Errors
/// As for a new record; a reason must be given.
pub fn correct(
    store: &mut Store,
    who: &Who,
    address: &str,
    changes: &[(String, String)],
    reason: &str,
) -> Result<Logged> {
    Ok(Logged::new(&store.correct(who, address, changes, reason)?))
}

/// A coat that is drying.
#[derive(Clone, Debug, PartialEq)]
pub struct Drying {
    pub mould: String,
    /// The coat's number.
    pub coat: String,
    /// Since when.
    pub since: Stamp,
    /// The shortest drying by the recipe, in hours.
    pub least_h: Option<f64>,
}

/// The newest coats that were not taken out of drying yet, of the last days.
pub fn drying(store: &Store, now: Stamp) -> Result<Vec<Drying>> {
    let Some(coats) = kind("coats") else { return Ok(Vec::new()) };
    store.snapshot(|| {
        let mut out: Vec<Drying> = Vec::new();
        for coat in store.latest(coats, 200)? {
            let mould = coat.get("mould").to_text();
            let Some(since) = coat.get("in_at").time() else { continue };
            if out.iter().any(|d| d.mould == mould) || now.minutes_since(since) > 4320.0 {
                continue;
            }
            let least_h = least_drying(store, &mould)?;
            if coat.get("out_at").is_blank() {
                out.push(Drying { mould, coat: coat.get("coat").to_text(), since, least_h });
            }
        }
        Ok(out)
    })
}

fn least_drying(store: &Store, mould: &str) -> Result<Option<f64>> {
    let recipe = readiness::recipe(store, &store.find(mould)?.record)?;
    Ok(recipe.and_then(|r| r.get("min_dry_h").number()))
}

/// The zones of the part that an inspected blade is: code and name, in the order of their records.
pub fn zones(store: &Store, inspection: &str) -> Result<Vec<(String, String)>> {
    store.snapshot(|| {
        let mut part = String::new();
        if let Some((found, ..)) = store.look_up(inspection)? {
            if found == "inspections" {
                let blade = store.find(inspection)?.record.get("blade").to_text();
                if let Some(mould) = store.find(&blade)?.record.get("mould").text() {
                    part = store.find(mould)?.record.get("part").to_text();
                }
            }
        }
        let Some(k) = kind("zones") else { return Ok(Vec::new()) };
        let base = |t: &str| t.split('@').next().unwrap_or("").to_ascii_lowercase();
        let mut out: Vec<(String, String)> = Vec::new();
        for zone in store.all_of(k)? {
            if !part.is_empty() && base(&zone.get("part").to_text()) != base(&part) {
                continue;
            }
            let pair = (zone.get("zone").to_text(), zone.get("name").to_text());
            if !out.contains(&pair) {
                out.push(pair);
            }
        }
        Ok(out)
    })
}

/// The kinds that people write at a station: every kind but definitions, in the order of the route.
pub fn stations() -> Vec<(&'static str, Vec<&'static Kind>)> {
    let mut out: Vec<(&'static str, Vec<&'static Kind>)> = Vec::new();
    for kind in catalogue::all() {
        match out.iter_mut().find(|(s, _)| *s == kind.station) {
            Some((_, kinds)) => kinds.push(kind),
            None => out.push((kind.station, vec![kind])),
        }
    }
    let rank = |station: &str| {
        const ROUTE: &[&str] =
            &["wax", "tree", "shell", "fire", "melt", "pour", "finish", "inspect", "laboratory", "stores"];
        ROUTE.iter().position(|r| *r == station).unwrap_or(ROUTE.len())
    };
    out.sort_by_key(|(station, _)| (*station == "definitions", rank(station)));
    out
}
