//! What stands at the furnace: moulds, pours, coats that dry, and the figures behind a pour.

use std::collections::HashMap;

use crate::jobs::furnace::clocks;
use crate::jobs::furnace::clocks::Clock;
use crate::jobs::furnace::daily_check;
use crate::jobs::furnace::daily_check::LastCheck;
use crate::jobs::furnace::readiness;
use crate::show::working::Working;
use records::catalogue::typed::{Key, Recorded};
use records::catalogue::*;
use records::{Error, Result, Stamp, Store};

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
    /// The clocks of those that are out of their ovens.
    pub clocks: Vec<Clock>,
    /// The pyrometer of the latest pour: its offset, when it is due.
    pub pyrometer: Option<LastCheck>,
}

/// The furnace board. `go_on` is asked between steps and stops the work where it says no.
pub fn board(store: &Store, now: Stamp, go_on: &dyn Fn() -> bool) -> Result<Board> {
    store.snapshot(|| {
        let moulds = store.moulds_not_poured()?;
        stopped(go_on)?;
        let mut plans = HashMap::new();
        if !moulds.is_empty() {
            for plan in store.rows::<PourPlans>()? {
                plans.insert(plan.need(PourPlans::mould)?.to_string(), plan);
            }
        }
        stopped(go_on)?;
        let mut standing: Vec<Standing> = moulds
            .into_iter()
            .map(|mould| match plans.get(&mould) {
                Some(p) => Standing {
                    planned_on: p.cell(PourPlans::planned_on).to_text(),
                    furnace: p.cell(PourPlans::furnace).to_text(),
                    order: p.cell(PourPlans::pour_order).to_text(),
                    target_c: p.cell(PourPlans::target_c).to_text(),
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
        let latest = store.newest::<Pours>(12)?;
        let today = |p: &&Recorded<Pours>| p.own_time().is_some_and(|t| now.minutes_since(t).abs() < 720.0);
        let heat = match store.open_heat()? {
            Some(heat) => Some(heat),
            None => latest.iter().find(today).map(|p| p.cell(Pours::heat).to_text()),
        };
        let poured = latest
            .iter()
            .map(|p| Poured {
                mould: p.cell(Pours::mould).to_text(),
                heat: p.cell(Pours::heat).to_text(),
                at: p.cell(Pours::poured_at).to_text(),
                indicated_c: p.cell(Pours::indicated_c).to_text(),
                pour_s: p.cell(Pours::pour_s).to_text(),
                run_out: p.get(Pours::run_out) == Some(YesNo::Yes),
            })
            .collect();
        let clocks = clocks::clocks(store, now)?;
        let pyrometer = daily_check::of_the_pyrometer(store, now)?;
        Ok(Board { standing, poured, heat, clocks, pyrometer })
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
    /// When the mould left the oven that it is poured from, and which run it was.
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
    /// What speaks against pouring this mould, where it was not asked before the form was opened.
    pub unready: Option<String>,
}

/// The figures behind a pour of this mould from this heat; what cannot be found stays blank.
pub fn pour_figures(store: &Store, mould: Option<&str>, heat: Option<&str>) -> Result<PourFigures> {
    store.snapshot(|| {
        let mut out = PourFigures::default();
        let heat_key = heat.map(|h| store.known::<Heats>(h)).transpose()?.flatten().map(|(key, _)| key);
        if let Some(key) = heat_key {
            out.misfits.extend(store.heat_fit(key.id)?.into_iter().map(|m| m.reason));
            out.alloy = store.row(key)?.cell(Heats::alloy).to_text();
            if let Some(alloy) = store.definition(key, Heats::alloy)? {
                out.alloy_source = alloy.cell(Alloys::source).to_text();
                out.liquidus_c = alloy.get(Alloys::liquidus_c);
                out.density_g_cm3 = alloy.get(Alloys::density_g_cm3);
            }
        }
        if let Some((key, _)) = mould.map(|m| store.known::<Moulds>(m)).transpose()?.flatten() {
            of_mould(store, key, &mut out)?;
            out.misfits
                .extend(store.mould_fit(key.id, heat_key.map(|k| k.id))?.into_iter().map(|m| m.reason));
        }
        Ok(out)
    })
}

fn of_mould(store: &Store, key: Key<Moulds>, out: &mut PourFigures) -> Result<()> {
    let mould = store.row(key)?;
    out.running_system = mould.cell(Moulds::running_system).to_text();
    if let Some(system) = store.definition(key, Moulds::running_system)? {
        out.gate_area_mm2 = system.get(RunningSystems::gate_area_mm2);
    }
    if let Some(recipe) = readiness::recipe(store, &mould)? {
        out.oven_to_pour_max_s = recipe.get(ShellRecipes::oven_to_pour_max_s);
    }
    out.out_of_oven = readiness::out_of_oven(store, key)?;
    Ok(())
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
    store.snapshot(|| {
        let mut out: Vec<Drying> = Vec::new();
        for coat in store.newest::<Coats>(200)? {
            let (mould, since) = (coat.need(Coats::mould)?, coat.need(Coats::in_at)?);
            if out.iter().any(|d| d.mould == mould) || now.minutes_since(since) > 4320.0 {
                continue;
            }
            if coat.cell(Coats::out_at).is_blank() {
                let recipe = readiness::recipe(store, &store.named(mould)?.1)?;
                let least_h = recipe.and_then(|r| r.get(ShellRecipes::min_dry_h));
                let (mould, coat) = (mould.to_string(), coat.cell(Coats::coat).to_text());
                out.push(Drying { mould, coat, since, least_h });
            }
        }
        Ok(out)
    })
}

/// The last pour of the same part through the same running system, from the alloy of the heat in use: what was done then.
pub fn last_like(store: &Store, mould: &str, heat: Option<&str>) -> Result<Option<String>> {
    store.snapshot(|| {
        let Some((key, _)) = store.known::<Moulds>(mould)? else { return Ok(None) };
        let alloy = match heat {
            Some(heat) => store.named::<Heats>(heat)?.1.get(Heats::alloy).map(|a| untied(a).to_string()),
            None => None,
        };
        let Some(like) = store.pour_like(key, alloy.as_deref())? else { return Ok(None) };
        let (other, _) = store.key_of::<Moulds>(&like.mould)?;
        let Some(pour) = store.rows_of(Pours::mould, other)?.pop() else { return Ok(None) };
        let mut said = format!("last like it: {} {}", like.mould, like.poured_at);
        for (text, unit) in [
            (pour.cell(Pours::indicated_c).to_text(), "°C"),
            (pour.cell(Pours::mould_c).to_text(), "°C mould"),
            (pour.cell(Pours::pour_s).to_text(), "s"),
        ] {
            if !text.is_empty() {
                said.push_str(&format!(", {text} {unit}"));
            }
        }
        if pour.get(Pours::run_out) == Some(YesNo::Yes) {
            said.push_str(", ran out");
        }
        Ok(Some(said))
    })
}

/// The tag of a definition without the revision that somebody typed.
fn untied(tag: &str) -> &str {
    tag.split('@').next().unwrap_or(tag)
}
