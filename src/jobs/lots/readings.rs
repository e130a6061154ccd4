//! Readings behind a lot: instruments that were overdue or are suspect.

use std::collections::{BTreeMap, HashMap, HashSet};

use crate::jobs::lots::cover::{Id, What};
use crate::jobs::lots::facts::{Blade, Facts};
use crate::jobs::lots::reasons::shared;
use crate::jobs::lots::show::Block;
use records::graph::lineage::Fence;
use records::graph::suspect::{Check, Checks};
use records::{Link, Result, Store};
use records::{Record, Stamp};

/// What is wrong with an instrument at a time, if anything.
fn lapse(checks: &Checks, at: Stamp) -> Option<String> {
    match checks.last(at) {
        None => Some("has no check on record before it was used".into()),
        Some(_) => checks.overdue(at).map(|d| format!("was overdue since {d}")),
    }
}

/// The failed checks that make a reading of this time suspect: the one before it and the one after it.
fn failing(checks: &Checks, at: Stamp) -> impl Iterator<Item = &Check> {
    [checks.last(at), checks.next(at)].into_iter().flatten().filter(|c| c.failed)
}

/// The instruments behind a lot, each with its checks as they are asked for.
pub struct Readings<'a> {
    store: &'a Store,
    facts: &'a Facts,
    checks: HashMap<String, Checks>,
    groups: BTreeMap<(String, String, String), Vec<String>>,
}

impl<'a> Readings<'a> {
    /// None were asked yet.
    pub fn new(store: &'a Store, facts: &'a Facts) -> Self {
        Self { store, facts, checks: HashMap::new(), groups: BTreeMap::new() }
    }

    fn checks(&mut self, instrument: &str) -> Result<&Checks> {
        if !self.checks.contains_key(instrument) {
            let checks = self.store.checks_of(instrument)?;
            self.checks.insert(instrument.to_string(), checks);
        }
        Ok(&self.checks[instrument])
    }

    /// Instrument and sentence, where a reading was taken with one that was overdue or never checked.
    pub fn lapsed(&mut self, record: &Record, field: &str) -> Result<Option<(String, String)>> {
        let (Some(tag), Some(at)) = (record.get(field).text(), record.own_time()) else { return Ok(None) };
        Ok(lapse(self.checks(tag)?, at).map(|why| (tag.to_string(), format!("{tag} {why}"))))
    }

    /// Notes a lapse against blades, but for those whose concession covers it.
    pub fn note(&mut self, station: &str, (tag, why): &(String, String), blades: &[String], reading: &[Id]) {
        for blade in blades {
            let what = What::Instrument(tag.clone());
            if let Err(missing) = self.facts.permits.lifts(blade, &what, reading) {
                let key = (station.to_string(), tag.clone(), format!("{why}{missing}"));
                self.groups.entry(key).or_default().push(blade.clone());
            }
        }
    }

    /// Every reason that lies in an instrument, those noted before too.
    pub fn against(mut self, out: &mut Vec<Block>) -> Result<()> {
        self.overdue()?;
        for ((station, tag, reason), blades) in std::mem::take(&mut self.groups) {
            out.push(shared(&tag, &station, "instrument", reason, blades));
        }
        self.suspect(out)
    }

    /// Readings of pours, analyses and treatments; those of inspections are noted with their results.
    fn overdue(&mut self) -> Result<()> {
        let facts = self.facts;
        for p in facts.behind.of("pours") {
            let mould = p.record.get("mould").to_text();
            let Some((&id, (_, heat))) = facts.moulds.iter().find(|(_, (t, _))| *t == mould) else {
                continue;
            };
            if let Some(lapse) = self.lapsed(&p.record, "pyrometer")? {
                let mut reading: Vec<Id> = vec![("moulds", id)];
                reading.extend(heat.as_ref().map(|h| ("heats", h.0)));
                self.note("pour", &lapse, &facts.alive_of(|m| m == id), &reading);
            }
        }
        let heats = facts.heats();
        for a in facts.behind.of("analyses") {
            let subject = a.record.get("subject").to_text();
            let Some((&id, _)) = heats.iter().find(|(_, t)| **t == subject) else { continue };
            if crate::jobs::chemistry::ask::set_aside(&a.record).is_some() {
                continue;
            }
            if let Some(lapse) = self.lapsed(&a.record, "instrument")? {
                self.note("analysis", &lapse, &facts.alive_of_heat(id), &[("heats", id)]);
            }
        }
        for t in facts.behind.of("treatments") {
            let Some(lapse) = self.lapsed(&t.record, "instrument")? else { continue };
            let tag = t.record.address();
            let loads = facts.behind.of("treatment_loads").map(|l| &l.record);
            let loaded: HashSet<String> = loads
                .filter(|l| l.get("treatment").to_text() == tag)
                .map(|l| l.get("blade").to_text())
                .collect();
            let blades: Vec<String> =
                facts.alive().filter(|b| loaded.contains(&b.tag)).map(|b| b.tag.clone()).collect();
            self.note("treatment", &lapse, &blades, &[]);
        }
        Ok(())
    }

    fn suspect(&mut self, out: &mut Vec<Block>) -> Result<()> {
        let facts = self.facts;
        // Of readings on metal it counts whose metal: that of another heat is not conceded with the blade's own.
        let mut on_metal: BTreeMap<(String, &'static str), Vec<(Link, Stamp, Fence)>> = BTreeMap::new();
        let metal = |k: &str| matches!(k, "analyses" | "test_bars");
        for r in self.store.suspect_readings(None)?.into_iter().filter(|r| metal(r.kind)) {
            let Some(link) = r.on.first().copied() else { continue };
            let fence = self.store.came_out_of_with_revert(link)?;
            on_metal.entry((r.instrument, r.kind)).or_default().push((link, r.at, fence));
        }
        for s in self.store.suspected()? {
            let station = records::catalogue::kind(s.kind).map_or("reading", |k| k.noun);
            let what = if s.kind == "inspections" { "" } else { "a reading behind it: " };
            let reason = format!(
                "{what}{} is suspect at this {station}: a check of it failed before or after",
                s.instrument
            );
            let mut open: BTreeMap<String, Vec<String>> = BTreeMap::new();
            for b in facts.alive().filter(|b| s.fence.holds(b.id, b.mould)) {
                let readings = match s.kind {
                    "pours" => self.of_pour(b),
                    "inspections" => self.of_inspections(b, &s.instrument)?,
                    kind if metal(kind) => of_metal(facts, b, on_metal.get(&(s.instrument.clone(), s.kind))),
                    _ => None,
                };
                if let Err(missing) = self.conceded(b, &s.instrument, readings)? {
                    open.entry(missing).or_default().push(b.tag.clone());
                }
            }
            for (missing, blades) in open {
                let reason = format!("{reason}{missing}");
                out.push(shared(&s.instrument, station, "suspect", reason, blades));
            }
        }
        Ok(())
    }

    fn of_pour(&self, blade: &Blade) -> Option<Vec<(Vec<Id>, Stamp)>> {
        let id = blade.mould?;
        let (tag, heat) = self.facts.moulds.get(&id)?;
        let mut pours = self.facts.behind.of("pours").map(|p| &p.record);
        let at = pours.find(|p| p.get("mould").text() == Some(tag))?.own_time()?;
        let mut on: Vec<Id> = vec![("moulds", id)];
        on.extend(heat.as_ref().map(|h| ("heats", h.0)));
        Some(vec![(on, at)])
    }

    fn of_inspections(&mut self, blade: &Blade, instrument: &str) -> Result<Option<Vec<(Vec<Id>, Stamp)>>> {
        let facts = self.facts;
        let mut out = Vec::new();
        for row in facts.behind.of("inspections").filter(|r| r.record.get("blade").text() == Some(&blade.tag))
        {
            let by = row.record.get("instrument").text().is_some_and(|i| i.eq_ignore_ascii_case(instrument));
            let (Some(at), true) = (row.record.own_time(), by) else { continue };
            if failing(self.checks(instrument)?, at).next().is_some() {
                out.push((vec![("inspections", row.id.unwrap_or(-1))], at));
            }
        }
        Ok(Some(out).filter(|o| !o.is_empty()))
    }

    /// The blade's concession covers each of the readings, and its disposition is later than the checks that failed.
    fn conceded(
        &mut self,
        blade: &Blade,
        instrument: &str,
        readings: Option<Vec<(Vec<Id>, Stamp)>>,
    ) -> Result<std::result::Result<(), String>> {
        let facts = self.facts;
        let what = What::Instrument(instrument.to_string());
        let Some(readings) = readings else { return Ok(facts.permits.lifts(&blade.tag, &what, &[])) };
        for (on, at) in readings {
            if let Err(missing) = facts.permits.lifts(&blade.tag, &what, &on) {
                return Ok(Err(missing));
            }
            let failed: Vec<(Stamp, i64)> =
                failing(self.checks(instrument)?, at).map(|c| (c.at, c.entry)).collect();
            for (at, entry) in failed {
                if !facts.decided_after(self.store, &blade.tag, at, &[("calibrations", entry)])? {
                    return Ok(Err(format!(
                        "; the disposition is older than the failed check of {at}: decide on the blade again"
                    )));
                }
            }
        }
        Ok(Ok(()))
    }
}

/// The readings on the metal of a blade, where all of them are on its own heat.
fn of_metal(
    facts: &Facts,
    blade: &Blade,
    readings: Option<&Vec<(Link, Stamp, Fence)>>,
) -> Option<Vec<(Vec<Id>, Stamp)>> {
    let heat = facts.moulds.get(&blade.mould?)?.1.as_ref()?.0;
    let behind = readings?.iter().filter(|(_, _, fence)| fence.holds(blade.id, blade.mould));
    behind
        .map(|(link, at, _)| (link.kind == "heats" && link.id == heat).then(|| (vec![("heats", heat)], *at)))
        .collect()
}
