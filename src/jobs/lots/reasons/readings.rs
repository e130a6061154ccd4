//! Readings behind a lot: instruments that were overdue or are suspect.

use std::collections::{BTreeMap, HashMap, HashSet};

use crate::jobs::chemistry::ask::set_aside;
use crate::jobs::lots::cover::Objection;
use crate::jobs::lots::facts::{Facts, LotBlade, key_of};
use crate::jobs::lots::summary::Block;
use records::catalogue::{
    Analyses, Calibrations, CheckResult, Heats, Inspections, Instruments, Pours, Recorded, TestBars,
    TreatmentLoads, Treatments,
};
use records::graph::lineage::Fence;
use records::graph::suspect::{Check, Checks};
use records::{Link, Result, Stamp, Store};

/// What is wrong with an instrument at a time, if anything, and since when.
fn lapse(checks: &Checks, at: Stamp) -> Option<(String, Stamp)> {
    match checks.last(at) {
        None => Some(("has no check on record before it was used".into(), at)),
        Some(_) => checks.overdue(at).map(|d| (format!("was overdue since {d}"), d)),
    }
}

/// The failed checks that make a reading of this time suspect: the one before it and the one after it.
fn failing(checks: &Checks, at: Stamp) -> impl Iterator<Item = &Check> {
    [checks.last(at), checks.next(at)].into_iter().flatten().filter(|c| c.failed)
}

/// Of a kind that is read on metal.
fn on_metal(kind: &str) -> bool {
    matches!(kind, Analyses::NAME | TestBars::NAME)
}

/// A reading: what it was taken on, and when.
type ReadingOn = (Vec<Link>, Stamp);

/// An instrument, what was wrong with it, and since when.
pub type Lapse = (String, String, Stamp);

/// Blades that a lapse stands against, and since when.
type Lapsed = (Vec<String>, Stamp);

/// What is wrong with the instruments behind a lot; each has its checks as they are asked for.
pub struct InstrumentLapses<'a> {
    store: &'a Store,
    facts: &'a Facts<'a>,
    checks: HashMap<String, Checks>,
    groups: BTreeMap<(String, String, String), Lapsed>,
}

impl<'a> InstrumentLapses<'a> {
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

    /// Where a reading was taken with an instrument that was overdue or never checked.
    pub fn lapsed(&mut self, instrument: Option<&str>, at: Option<Stamp>) -> Result<Option<Lapse>> {
        let (Some(tag), Some(at)) = (instrument, at) else { return Ok(None) };
        let found = lapse(self.checks(tag)?, at);
        Ok(found.map(|(why, since)| (tag.to_string(), format!("{tag} {why}"), since)))
    }

    /// Notes a lapse against blades, but for those whose concession covers it.
    pub fn note(&mut self, station: &str, (tag, why, since): &Lapse, blades: &[String], reading: &[Link]) {
        for blade in blades {
            let what = Objection::Instrument(tag.clone());
            if let Err(missing) = self.facts.permits.lifts(blade, &what, reading) {
                let key = (station.to_string(), tag.clone(), format!("{why}{missing}"));
                let group = self.groups.entry(key).or_insert((Vec::new(), *since));
                group.0.push(blade.clone());
                group.1 = group.1.min(*since);
            }
        }
    }

    /// Every reason that lies in an instrument, those noted before too.
    pub fn against(mut self, out: &mut Vec<Block>) -> Result<()> {
        self.overdue()?;
        for ((station, tag, reason), (blades, since)) in std::mem::take(&mut self.groups) {
            let block = Block::shared(&tag, &station, "instrument", reason, blades);
            out.push(block.found_at(&tag, Some(since)));
        }
        self.suspect(out)
    }

    /// Readings of pours, analyses and treatments; those of inspections are noted with their results.
    fn overdue(&mut self) -> Result<()> {
        let facts = self.facts;
        for p in facts.behind.each::<Pours>() {
            let Some(mould) = p.link(Pours::mould).filter(|m| facts.moulds.contains_key(m)) else { continue };
            if let Some(lapse) = self.lapsed(p.get(Pours::pyrometer), p.own_time())? {
                let mut reading = vec![Link::from(mould)];
                reading.extend(p.link::<_, _, Heats>(Pours::heat).map(Link::from));
                self.note("pour", &lapse, &facts.alive_of(|m| m == mould), &reading);
            }
        }
        let heats = facts.heats();
        for a in facts.behind.each::<Analyses>().filter(|a| set_aside(**a).is_none()) {
            let Some(heat) = a.link(Analyses::subject).filter(|h| heats.contains_key(h)) else { continue };
            if let Some(lapse) = self.lapsed(a.get(Analyses::instrument), a.own_time())? {
                self.note("analysis", &lapse, &facts.alive_of_heat(heat), &[heat.into()]);
            }
        }
        for t in facts.behind.each::<Treatments>() {
            let Some(lapse) = self.lapsed(t.get(Treatments::instrument), t.own_time())? else { continue };
            let mut loaded = HashSet::new();
            for load in
                facts.behind.each::<TreatmentLoads>().filter(|l| l.link(TreatmentLoads::treatment) == t.key())
            {
                loaded.insert(load.need(TreatmentLoads::blade)?);
            }
            let blades = facts.alive().filter(|b| loaded.contains(b.tag.as_str()));
            let blades: Vec<String> = blades.map(|b| b.tag.clone()).collect();
            self.note("treatment", &lapse, &blades, &[]);
        }
        Ok(())
    }

    fn suspect(&mut self, out: &mut Vec<Block>) -> Result<()> {
        let facts = self.facts;
        // Of readings on metal it counts whose metal: that of another heat is not conceded with the blade's own.
        let mut metal: BTreeMap<(String, &'static str), Vec<(Link, Stamp, Fence)>> = BTreeMap::new();
        for r in self.store.suspect_readings(None)?.into_iter().filter(|r| on_metal(r.kind)) {
            let Some(link) = r.on.first().copied() else { continue };
            let fence = self.store.came_out_of_with_revert(link)?;
            metal.entry((r.instrument, r.kind)).or_default().push((link, r.at, fence));
        }
        for s in self.store.suspected()? {
            let station = records::catalogue::kind(s.kind).map_or("reading", |k| k.noun);
            let what = if s.kind == Inspections::NAME { "" } else { "a reading behind it: " };
            let reason = format!(
                "{what}{} is suspect at this {station}: a check of it failed before or after",
                s.instrument
            );
            let mut open: BTreeMap<String, Vec<String>> = BTreeMap::new();
            let mut read = Vec::new();
            for b in facts.alive().filter(|b| b.inside(&s.fence)) {
                let readings = match s.kind {
                    Pours::NAME => self.of_pour(b),
                    Inspections::NAME => self.of_inspections(b, &s.instrument)?,
                    kind if on_metal(kind) => of_metal(facts, b, metal.get(&(s.instrument.clone(), s.kind))),
                    _ => None,
                };
                read.extend(readings.iter().flatten().map(|(_, at)| *at));
                if let Err(missing) = self.conceded(b, &s.instrument, readings)? {
                    open.entry(missing).or_default().push(b.tag.clone());
                }
            }
            let failed = self.first_failed(&s.instrument, &read)?;
            for (missing, blades) in open {
                let reason = format!("{reason}{missing}");
                let block = Block::shared(&s.instrument, station, "suspect", reason, blades);
                out.push(match &failed {
                    Some((check, at)) => block.found_at(check, Some(*at)),
                    None => block,
                });
            }
        }
        Ok(())
    }

    /// The first failed check that makes readings of these times suspect: its address, and when.
    fn first_failed(&mut self, instrument: &str, read: &[Stamp]) -> Result<Option<(String, Stamp)>> {
        let checks = self.checks(instrument)?;
        let first = read.iter().flat_map(|at| failing(checks, *at)).map(|c| c.at).min_by_key(|at| at.ms());
        let Some(first) = first else { return Ok(None) };
        let (key, _) = self.store.key_of::<Instruments>(instrument)?;
        let rows = self.store.rows_of(Calibrations::instrument, key)?;
        let of_then = |c: &&Recorded<Calibrations>| {
            c.own_time() == Some(first) && c.get(Calibrations::result) == Some(CheckResult::Failed)
        };
        Ok(rows.iter().find(of_then).map(|c| (c.address(), first)))
    }

    fn of_pour(&self, blade: &LotBlade) -> Option<Vec<ReadingOn>> {
        let pour = self.facts.behind.each::<Pours>().find(|p| p.link(Pours::mould) == blade.mould)?;
        let mut on = vec![Link::from(blade.mould?)];
        on.extend(self.facts.heat_of(blade).map(Link::from));
        Some(vec![(on, pour.own_time()?)])
    }

    fn of_inspections(&mut self, blade: &LotBlade, instrument: &str) -> Result<Option<Vec<ReadingOn>>> {
        let mut out = Vec::new();
        let mine = |b: Option<&str>| b == Some(blade.tag.as_str());
        let facts = self.facts;
        for row in facts.behind.each::<Inspections>().filter(|r| mine(r.get(Inspections::blade))) {
            let by = row.get(Inspections::instrument).is_some_and(|i| i.eq_ignore_ascii_case(instrument));
            let (Some(at), true) = (row.own_time(), by) else { continue };
            if failing(self.checks(instrument)?, at).next().is_some() {
                out.push((vec![key_of(row)?.into()], at));
            }
        }
        Ok(Some(out).filter(|o| !o.is_empty()))
    }

    /// The blade's concession covers each of the readings, and its disposition is later than the checks that failed.
    fn conceded(
        &mut self,
        blade: &LotBlade,
        instrument: &str,
        readings: Option<Vec<ReadingOn>>,
    ) -> Result<std::result::Result<(), String>> {
        let facts = self.facts;
        let what = Objection::Instrument(instrument.to_string());
        let Some(readings) = readings else { return Ok(facts.permits.lifts(&blade.tag, &what, &[])) };
        for (on, at) in readings {
            if let Err(missing) = facts.permits.lifts(&blade.tag, &what, &on) {
                return Ok(Err(missing));
            }
            let failed: Vec<(Stamp, i64)> =
                failing(self.checks(instrument)?, at).map(|c| (c.at, c.entry)).collect();
            for (at, entry) in failed {
                if !facts.decided_after(self.store, &blade.tag, at, &[(Calibrations::NAME, entry)])? {
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
    blade: &LotBlade,
    readings: Option<&Vec<(Link, Stamp, Fence)>>,
) -> Option<Vec<ReadingOn>> {
    let heat = Link::from(facts.heat_of(blade)?);
    let behind = readings?.iter().filter(|(_, _, fence)| blade.inside(fence));
    behind.map(|(link, at, _)| (*link == heat).then(|| (vec![heat], *at))).collect()
}
