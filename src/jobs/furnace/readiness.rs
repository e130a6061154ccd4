//! May this mould be poured? What is asked before, as far as records answer it.

use std::collections::BTreeMap;

use serde::Serialize;

use crate::show::columns;
use records::catalogue::kind;
use records::catalogue::kind::Kind;
use records::graph::fit::{InUse, Misfit, What};
use records::read::Found;
use records::value::tag::shown;
use records::value::words::{articled, counted};
use records::{Error, Result, Store};
use records::{Record, Stamp};

/// One thing that is asked before a mould is poured.
#[derive(Serialize, Debug, Clone)]
pub struct Check {
    /// What is asked.
    pub check: &'static str,
    /// It is as it should be; null: it cannot be told.
    pub ok: Option<bool>,
    /// What was found, or why not.
    pub reason: String,
    /// It fails because a station is not on record, not because something was done otherwise than asked.
    #[serde(skip)]
    pub absent: bool,
}

/// May this mould be poured?
#[derive(Serialize, Debug, Clone)]
pub struct Ready {
    pub mould: String,
    /// Every check is passed; null: none fails, but some cannot be told.
    pub ready: Option<bool>,
    /// The heat that it was judged by.
    pub heat: Option<String>,
    pub checks: Vec<Check>,
}

impl Ready {
    /// Each check with its tick or its reason.
    pub fn text(&self) -> String {
        let mut rows = Vec::new();
        for c in &self.checks {
            rows.push(vec![
                match c.ok {
                    Some(true) => "ok",
                    Some(false) => "NO",
                    None => "?",
                }
                .to_string(),
                c.check.into(),
                shown(&c.reason).into_owned(),
            ]);
        }
        let verdict = match self.ready {
            Some(true) => "may be poured by these records",
            Some(false) => "may not be poured yet",
            None => "cannot be told to be fit for pouring",
        };
        format!(
            "mould {}: {verdict}\n{}Charge and mould dry? Inspected? Site rules and qualified people decide; take the time it needs.\n",
            shown(&self.mould),
            columns(&rows)
        )
    }
}

/// The records of one mould that its checks read.
struct Card<'s> {
    store: &'s Store,
    kind: &'static Kind,
    mould: Record<'static>,
    id: i64,
    now: Stamp,
    checks: Vec<Check>,
}

/// Looks through everything upstream of a mould. `heat` is the one that it would be poured from, where somebody says so.
///
/// # Errors
/// A tag is no mould or no heat, or the store cannot be read.
pub fn ready(store: &Store, tag: &str, heat: Option<&str>, now: Stamp) -> Result<Ready> {
    store.snapshot(|| {
        let found = store.find(tag)?;
        if found.kind.name != "moulds" {
            return Err(Error::input(format!("{} is {}, no mould", shown(tag), articled(found.kind.noun))));
        }
        let id = found.id.unwrap_or(-1);
        let mut card = Card { store, kind: found.kind, mould: found.record, id, now, checks: Vec::new() };
        let pour = card.of("pours", "mould")?.pop();
        let at = pour.as_ref().and_then(Record::own_time).unwrap_or(now);
        card.not_poured(pour.as_ref());
        card.map()?;
        card.shell()?;
        card.ovens(at)?;
        card.filter()?;
        card.lots()?;
        card.holds()?;
        card.instruments(pour.as_ref(), at)?;
        let heat = card.heat(pour.as_ref(), heat)?;
        card.metal(heat.as_ref())?;
        let any = |ok: Option<bool>| card.checks.iter().any(|c| c.ok == ok);
        let ready = if any(Some(false)) {
            Some(false)
        } else if any(None) {
            None
        } else {
            Some(true)
        };
        Ok(Ready {
            mould: card.mould.address(),
            ready,
            heat: heat.map(|h| h.record.address()),
            checks: card.checks,
        })
    })
}

/// How a mould was made, looked at without what comes with the pour: its tree, shell, ovens, filter,
/// and the lots that were past their date.
pub fn making(store: &Store, mould: i64) -> Result<Vec<Check>> {
    let Some(moulds) = kind("moulds") else { return Ok(Vec::new()) };
    let found = store.by_id(moulds, mould)?;
    let now = Stamp::new(0, 0);
    let mut card = Card { store, kind: moulds, mould: found.record, id: mould, now, checks: Vec::new() };
    let pour = card.of("pours", "mould")?.pop();
    let Some(at) = pour.as_ref().and_then(Record::own_time) else { return Ok(Vec::new()) };
    card.now = at;
    card.map()?;
    card.shell()?;
    card.ovens(at)?;
    card.filter()?;
    card.lots()?;
    Ok(card.checks)
}

/// The recipe that a mould's shell was tied to; none for a mould without a shell batch.
pub fn recipe(store: &Store, mould: &Record) -> Result<Option<Record<'static>>> {
    let Some(batch) = mould.get("shell_batch").text() else { return Ok(None) };
    let batch = store.find(batch)?;
    store.tied(batch.kind, batch.id.unwrap_or(-1), "recipe")
}

impl Card<'_> {
    fn of(&self, name: &str, field: &str) -> Result<Vec<Record<'static>>> {
        match kind(name) {
            Some(k) => self.store.referring(k, field, "moulds", self.id),
            None => Ok(Vec::new()),
        }
    }

    /// Which pattern stands where: without it no blade of the mould has parents.
    fn map(&mut self) -> Result<()> {
        let blades = self.of("blades", "mould")?;
        if blades.is_empty() {
            self.put("position map", false, "empty: no blade is on record for this mould");
            return Ok(());
        }
        let system = self.store.tied(self.kind, self.id, "running_system")?;
        let places = system.as_ref().and_then(|s| s.get("positions").number()).map(|n| n as i64);
        let mut taken: BTreeMap<i64, usize> = BTreeMap::new();
        for n in blades.iter().filter_map(|b| b.get("position").number()) {
            *taken.entry(n as i64).or_default() += 1;
        }
        let mut wrong: Vec<String> =
            taken.iter().filter(|t| *t.1 > 1).map(|(p, n)| format!("position {p} has {n} blades")).collect();
        if let (Some(places), Some(system)) = (places, &system) {
            let beyond = taken.keys().filter(|p| !(1..=places).contains(*p));
            wrong.extend(beyond.map(|p| format!("position {p} is none of {places} of {}", system.address())));
        }
        if wrong.is_empty() {
            self.put("position map", true, format!("{} on record", counted(blades.len(), "blade")));
        } else {
            self.put("position map", false, wrong.join("; "));
        }
        Ok(())
    }

    fn put(&mut self, check: &'static str, ok: bool, reason: impl Into<String>) {
        self.checks.push(Check { check, ok: Some(ok), reason: reason.into(), absent: false });
    }

    /// What cannot be told.
    fn untold(&mut self, check: &'static str, reason: impl Into<String>) {
        self.checks.push(Check { check, ok: None, reason: reason.into(), absent: false });
    }

    /// What was found not to fit, else what is right about it.
    fn judged(&mut self, check: &'static str, misfits: &[&Misfit], right: String) {
        let text = |certain: bool| -> Vec<&str> {
            misfits.iter().filter(|m| m.certain == certain).map(|m| m.reason.as_str()).collect()
        };
        let (wrong, open) = (text(true), text(false));
        if !wrong.is_empty() {
            self.put(check, false, wrong.into_iter().chain(open).collect::<Vec<_>>().join("; "));
        } else if !open.is_empty() {
            self.untold(check, open.join("; "));
        } else {
            self.put(check, true, right);
        }
    }

    /// A station that is not on record.
    fn absent(&mut self, check: &'static str, reason: String) {
        self.checks.push(Check { check, ok: Some(false), reason, absent: true });
    }

    fn not_poured(&mut self, pour: Option<&Record>) {
        match pour {
            Some(p) => {
                let reason =
                    format!("poured at {} from {}", p.get("poured_at").to_text(), p.get("heat").to_text());
                self.put("not poured yet", false, reason);
            }
            None => self.put("not poured yet", true, "no pour is recorded"),
        }
    }

    fn shell(&mut self) -> Result<()> {
        let recipe = recipe(self.store, &self.mould)?;
        let coats = self.of("coats", "mould")?;
        let investment = self.of("investments", "mould")?;
        let flask = match recipe.as_ref().and_then(|r| r.get("route").text()) {
            Some(route) => route == "flask",
            None => coats.is_empty() && !investment.is_empty(),
        };
        if flask {
            match investment.first() {
                Some(i) => self.put("investment", true, format!("mixed at {}", i.get("mixed_at").to_text())),
                None => self.put("investment", false, "no investment is recorded"),
            }
            return Ok(());
        }
        let Some(recipe) = recipe else {
            self.put("coats", false, "no shell batch, so no recipe to hold the coats against");
            return Ok(());
        };
        let name = recipe.address();
        let numbers: Vec<i64> =
            coats.iter().filter_map(|c| c.get("coat").number()).map(|n| n as i64).collect();
        match recipe.get("coats").number() {
            Some(wanted) => {
                let wanted = wanted as i64;
                let missing: Vec<String> =
                    (1..=wanted).filter(|n| !numbers.contains(n)).map(|n| n.to_string()).collect();
                let above = numbers.iter().filter(|n| **n > wanted).count();
                if !missing.is_empty() {
                    let reason = format!("coat {} missing; {name} asks for {wanted}", missing.join(", "));
                    self.absent("coats", reason);
                } else if above > 0 {
                    let reason = format!("{} recorded, {name} asks for {wanted}", numbers.len());
                    self.put("coats", false, reason);
                } else {
                    self.put("coats", true, format!("{wanted} of {wanted} by {name}"));
                }
            }
            None => self.put(
                "coats",
                !coats.is_empty(),
                format!("{} recorded; {name} names no number", coats.len()),
            ),
        }
        self.drying(&recipe, &coats);
        Ok(())
    }

    fn drying(&mut self, recipe: &Record, coats: &[Record<'static>]) {
        let Some(least) = recipe.get("min_dry_h").number() else { return };
        let mut sorted: Vec<&Record> = coats.iter().collect();
        sorted.sort_by_key(|c| c.get("coat").number().map(|n| n as i64));
        let mut short = Vec::new();
        for (i, coat) in sorted.iter().enumerate() {
            let n = coat.get("coat").to_text();
            let Some(dipped) = coat.get("in_at").time() else { continue };
            let next = sorted.get(i + 1).and_then(|c| c.get("in_at").time());
            match coat.get("out_at").time().or(next) {
                Some(out) => {
                    let hours = out.minutes_since(dipped) / 60.0;
                    if hours + 1e-9 < least {
                        short.push(format!("coat {n} dried {hours:.1} h"));
                    }
                }
                None => {
                    let hours = self.now.minutes_since(dipped) / 60.0;
                    if hours < least {
                        short.push(format!("coat {n} has dried {hours:.1} h so far"));
                    }
                }
            }
        }
        if short.is_empty() {
            self.put("drying", true, format!("each coat at least {least} h"));
        } else {
            self.put("drying", false, format!("{}; the recipe asks for {least} h", short.join(", ")));
        }
    }

    fn ovens(&mut self, at: Stamp) -> Result<()> {
        let recipe = recipe(self.store, &self.mould)?;
        let loads = self.of("oven_loads", "mould")?;
        let mut last: BTreeMap<String, (Option<Stamp>, String)> = BTreeMap::new();
        let mut cracks = Vec::new();
        for load in &loads {
            let run = self.store.find(&load.get("oven_run").to_text())?.record;
            let purpose = run.get("purpose").to_text();
            last.insert(purpose, (load.get("out_at").time(), run.address()));
            if let Some(crack @ ("patched" | "through")) = load.get("crack").text() {
                cracks.push((crack.to_string(), run.address()));
            }
        }
        for (purpose, check) in [("dewax", "dewaxed"), ("fire", "fired")] {
            match last.get(purpose) {
                Some((_, run)) => self.put(check, true, format!("in {run}")),
                None => self.absent(check, format!("no {purpose} run is recorded")),
            }
        }
        match cracks.iter().find(|(c, _)| c == "through") {
            Some((_, run)) => self.put("cracks", false, format!("through crack seen after {run}")),
            None if !cracks.is_empty() => {
                self.put("cracks", true, format!("patched after {}", cracks[0].1));
            }
            None => self.put("cracks", true, "none seen"),
        }
        let Some(most) = recipe.as_ref().and_then(|r| r.get("oven_to_pour_max_s").number()) else {
            return Ok(());
        };
        let hot = last.get("preheat").or_else(|| last.get("fire"));
        match hot {
            Some((Some(out), run)) => {
                let seconds = at.minutes_since(*out) * 60.0;
                let ok = seconds <= most;
                self.put(
                    "oven to pour",
                    ok,
                    format!("{seconds:.0} s since {run}, the recipe allows {most} s"),
                );
            }
            Some((None, run)) => self.put("oven to pour", true, format!("still in {run}")),
            None => self.put("oven to pour", false, "no preheat is recorded"),
        }
        Ok(())
    }

    fn filter(&mut self) -> Result<()> {
        let Some(system) = self.store.tied(self.kind, self.id, "running_system")? else { return Ok(()) };
        let wants = system.get("filter").text() == Some("yes");
        match self.mould.get("filter_lot").text() {
            Some(lot) => {
                let lot = lot.to_string();
                self.put("filter", true, format!("{lot} fitted"));
            }
            None if wants => {
                self.put("filter", false, format!("{} asks for a filter, none is recorded", system.address()))
            }
            None => self.put("filter", true, "none asked for"),
        }
        Ok(())
    }

    /// Lots past their date when they were used, and slurry that failed its gel test before a dip.
    fn lots(&mut self) -> Result<()> {
        let (mut dated, mut bad) = (0, Vec::new());
        let mut expired = |lot: &Record, used: Option<Stamp>| {
            let until = lot.get("expires_on").text().and_then(|d| Stamp::parse_date(d).ok());
            if let (Some(until), Some(used)) = (until, used) {
                dated += 1;
                // A lot may be used through its last day.
                if used.minutes_since(until) >= 1440.0 {
                    bad.push(format!("{} was past its date when used", lot.address()));
                }
            }
        };
        for i in self.of("investments", "mould")? {
            let lot = self.store.find(&i.get("powder_lot").to_text())?.record;
            expired(&lot, i.own_time());
        }
        let mut runs: Vec<String> = self
            .of("blades", "mould")?
            .iter()
            .filter_map(|b| b.get("pattern_run").text().map(String::from))
            .collect();
        runs.sort();
        runs.dedup();
        for run in runs {
            let run = self.store.find(&run)?.record;
            let lot = self.store.find(&run.get("wax_lot").to_text())?.record;
            expired(&lot, run.own_time());
        }
        let mut batches: BTreeMap<String, Stamp> = BTreeMap::new();
        for coat in self.of("coats", "mould")? {
            if let (Some(batch), Some(dip)) = (coat.get("slurry_batch").text(), coat.get("in_at").time()) {
                batches.entry(batch.to_string()).and_modify(|t| *t = (*t).max(dip)).or_insert(dip);
            }
        }
        for (batch, dip) in batches {
            let found = self.store.find(&batch)?;
            let Some(k) = kind("slurry_checks") else { continue };
            let mut checks =
                self.store.referring(k, "slurry_batch", "slurry_batches", found.id.unwrap_or(-1))?;
            checks.retain(|c| c.own_time().is_some_and(|t| t <= dip));
            checks.sort_by_key(Record::own_time);
            if checks.last().and_then(|c| c.get("gel").text()) == Some("fail") {
                bad.push(format!("{batch} had failed its gel test when dipped into"));
            }
        }
        if bad.is_empty() {
            self.put("lots", true, if dated == 0 { "no lot with a date" } else { "in date when used" });
        } else {
            self.put("lots", false, bad.join("; "));
        }
        Ok(())
    }

    fn holds(&mut self) -> Result<()> {
        let holds = self.store.holds_fencing("moulds", self.id)?;
        if holds.is_empty() {
            self.put("holds", true, "none open upstream");
        } else {
            let all: Vec<String> = holds
                .iter()
                .map(|h| {
                    format!(
                        "{} on {}: {}",
                        h.address(),
                        h.get("subject").to_text(),
                        h.get("reason").to_text()
                    )
                })
                .collect();
            self.put("holds", false, all.join("; "));
        }
        Ok(())
    }

    /// Suspect readings upstream, and the pyrometer that is in use.
    fn instruments(&mut self, pour: Option<&Record>, at: Stamp) -> Result<()> {
        let fence = self.store.suspect_fence(None)?;
        let mut bad = Vec::new();
        if fence.has("moulds", self.id) {
            bad.push("a reading upstream is suspect".to_string());
        }
        let pyrometer = match pour.and_then(|p| p.get("pyrometer").text()) {
            Some(p) => Some(p.to_string()),
            None => self.store.last_pyrometer()?,
        };
        let mut said = "no pyrometer in use yet".to_string();
        if let Some(p) = pyrometer {
            let checks = self.store.checks_of(&p)?;
            if let Some(overdue) = checks.overdue(at) {
                bad.push(format!("{p} is overdue for its check since {overdue}"));
            }
            if checks.last(at).is_some_and(|c| c.failed) {
                bad.push(format!("{p} failed its last check"));
            }
            said = match checks.last_good(at) {
                Some(c) => format!("{p} last good check {}", c.at),
                None => format!("{p} has no good check on record"),
            };
        }
        if bad.is_empty() {
            self.put("instruments", true, said);
        } else {
            self.put("instruments", false, bad.join("; "));
        }
        Ok(())
    }

    /// The heat that the mould was poured from, or would be.
    fn heat(&mut self, pour: Option<&Record>, asked: Option<&str>) -> Result<Option<Found>> {
        let asked = match asked {
            Some(text) => {
                let found = self.store.find(text)?;
                if found.kind.name != "heats" {
                    return Err(Error::input(format!(
                        "{} is {}, no heat",
                        shown(text),
                        articled(found.kind.noun)
                    )));
                }
                Some(found)
            }
            None => None,
        };
        if let Some(heat) = pour.and_then(|p| p.get("heat").text()) {
            return Ok(Some(self.store.find(heat)?));
        }
        if let Some(found) = asked {
            if let Some(at) = found.record.get("closed_at").time() {
                self.put("heat", false, format!("{} was closed at {at}", found.record.address()));
            }
            return Ok(Some(found));
        }
        match self.store.heat_in_use(self.id)? {
            InUse::One(id, _) => kind("heats").map(|heats| self.store.by_id(heats, id)).transpose(),
            InUse::CannotTell(why) => {
                self.untold("heat", why);
                Ok(None)
            }
        }
    }

    fn metal(&mut self, heat: Option<&Found>) -> Result<()> {
        let id = heat.and_then(|h| h.id);
        let of_mould = self.store.mould_fit(self.id, id)?;
        let patterns: Vec<&Misfit> = of_mould.iter().filter(|m| m.what == What::OtherPatterns).collect();
        self.judged("patterns", &patterns, "of the mould's part".into());
        let (Some(heat), Some(id)) = (heat, id) else { return Ok(()) };
        let tag = heat.record.address();
        let of_heat = self.store.heat_fit(id)?;
        let of = |wanted: &[What]| -> Vec<&Misfit> {
            of_heat.iter().chain(&of_mould).filter(|m| wanted.contains(&m.what)).collect()
        };
        let Some(charges) = kind("charges") else { return Ok(()) };
        let items = self.store.referring(charges, "heat", "heats", id)?;
        if items.is_empty() {
            self.put("charge", false, format!("{tag}: no charge is recorded"));
        } else {
            let (mut total, mut revert) = (0.0, 0.0);
            for item in &items {
                let mass = item.get("mass_kg").number().unwrap_or(0.0);
                total += mass;
                if self
                    .store
                    .look_up(&item.get("source").to_text())?
                    .is_some_and(|(k, ..)| k == "revert_lots")
                {
                    revert += mass;
                }
            }
            let share = if total > 0.0 { revert / total * 100.0 } else { 0.0 };
            let said = format!("{tag}: {}, {total:.3} kg, {share:.0} % revert", counted(items.len(), "item"));
            self.judged("charge", &of(&[What::RevertLimit, What::BeyondWhatIsLeft]), said);
        }
        let alloy = heat.record.get("alloy").to_text();
        self.judged(
            "alloy",
            &of(&[What::OtherAlloy, What::OtherPart]),
            format!("{tag} is of {alloy}, as is the part"),
        );
        if !items.is_empty() {
            self.chemistry(&tag, id, &items, &of(&[What::NotAnalysed]))?;
        }
        Ok(())
    }

    /// The heat's own analysis speaks for its metal; without one, each thing that was charged must. What was never
    /// analysed is named either way.
    fn chemistry(&mut self, heat: &str, id: i64, items: &[Record], misfits: &[&Misfit]) -> Result<()> {
        let own = self.store.has_analysis("heats", id)?;
        let mut asked: Vec<String> = if own {
            vec![heat.to_string()]
        } else {
            items.iter().map(|c| c.get("source").to_text()).collect()
        };
        asked.dedup();
        let (mut outside, mut untold) = (Vec::new(), Vec::new());
        for tag in &asked {
            let checked = crate::jobs::chemistry::ask::check(self.store, tag)?;
            if checked.analysis.is_none() {
                continue;
            }
            outside.extend(checked.outside().into_iter().map(|o| format!("{tag} {o}")));
            let open =
                checked.elements.iter().filter(|e| e.ok.is_none() && (e.min.is_some() || e.max.is_some()));
            let open: Vec<&str> = open.map(|e| e.element.as_str()).collect();
            if !open.is_empty() {
                untold.push(format!("{tag} cannot be told for {}", open.join(", ")));
            }
        }
        let reasons =
            |certain: bool| misfits.iter().filter(move |m| m.certain == certain).map(|m| m.reason.clone());
        outside.extend(reasons(true));
        untold.extend(reasons(false));
        if !outside.is_empty() {
            outside.extend(untold);
            self.put("chemistry", false, outside.join("; "));
        } else if !untold.is_empty() {
            self.untold("chemistry", format!("{}: {}", asked.join(", "), untold.join("; ")));
        } else {
            self.put("chemistry", true, format!("{} within limits", asked.join(", ")));
        }
        Ok(())
    }
}
