//! May this mould be poured? What is asked before, as far as records answer it.

use std::collections::{BTreeMap, BTreeSet};

use serde::Serialize;

use crate::jobs::furnace::clocks::{Clock, Limit};
use records::catalogue::typed::{Key, Recorded};
use records::catalogue::*;
use records::value::words::counted;
use records::{Record, Result, Stamp, Store};

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

/// The check of the time between oven and pour. It goes on while it is looked at: a screen says it anew each second.
pub const OVEN_TO_POUR: &str = "oven to pour";

/// A mould in an oven run.
#[derive(PartialEq)]
struct OvenStay {
    started_at: Stamp,
    run: String,
    purpose: OvenPurpose,
    out_at: Option<Stamp>,
    /// Nothing says that it came out.
    inside: bool,
    crack: Option<Crack>,
}

impl Ready {
    fn new(mould: String, heat: Option<String>, checks: Vec<Check>) -> Self {
        let any = |ok: Option<bool>| checks.iter().any(|c| c.ok == ok);
        let ready = if any(Some(false)) {
            Some(false)
        } else if any(None) {
            None
        } else {
            Some(true)
        };
        Self { mould, ready, heat, checks }
    }

    /// As it is a moment later: a clock that stands still would lie.
    #[must_use]
    pub fn at(&self, clock: &Clock, now: Stamp) -> Self {
        let mut checks = self.checks.clone();
        if let (Some(check), Some(most)) =
            (checks.iter_mut().find(|c| c.check == OVEN_TO_POUR), clock.limit_s)
        {
            check.ok = Some(clock.limit(now) != Limit::Past);
            let run = &clock.oven_run;
            check.reason = format!("{} s since {run}, the recipe allows {most} s", clock.seconds(now));
        }
        Self::new(self.mould.clone(), self.heat.clone(), checks)
    }
}

/// The records of one mould that its checks read.
pub(super) struct Card<'s> {
    pub(super) store: &'s Store,
    pub(super) key: Key<Moulds>,
    mould: Recorded<Moulds>,
    recipe: Option<Recorded<ShellRecipes>>,
    pub(super) pour: Option<Recorded<Pours>>,
    now: Stamp,
    checks: Vec<Check>,
}

/// Looks through everything upstream of a mould. `heat` is the one that it would be poured from, where somebody says so.
pub fn ready(store: &Store, tag: &str, heat: Option<&str>, now: Stamp) -> Result<Ready> {
    store.snapshot(|| {
        let mut card = Card::of(store, store.named(tag)?, now)?;
        let at = card.poured_at().unwrap_or(now);
        card.not_poured();
        card.made(at)?;
        card.holds()?;
        card.instruments(at)?;
        let heat = card.heat(heat)?;
        card.metal(heat.as_ref())?;
        Ok(Ready::new(card.mould.address(), heat.map(|(_, h)| h.address()), card.checks))
    })
}

/// How a mould was made, looked at without what comes with the pour: its tree, shell, ovens, filter,
/// and the lots that were past their date.
pub fn making(store: &Store, mould: i64) -> Result<Vec<Check>> {
    let key = Key::new(mould);
    let mut card = Card::of(store, (key, store.row(key)?), Stamp::new(0, 0))?;
    let Some(at) = card.poured_at() else { return Ok(Vec::new()) };
    card.now = at;
    card.made(at)?;
    Ok(card.checks)
}

/// The recipe that a mould's shell was tied to; none for a mould without a shell batch.
pub fn recipe(store: &Store, mould: &Recorded<Moulds>) -> Result<Option<Recorded<ShellRecipes>>> {
    let Some(batch) = mould.get(Moulds::shell_batch) else { return Ok(None) };
    store.definition(store.key_of(batch)?.0, ShellBatches::recipe)
}

/// The oven runs that a mould was in, in the order in which they began.
fn stays(store: &Store, key: Key<Moulds>) -> Result<Vec<OvenStay>> {
    let mut stays = Vec::new();
    for load in store.rows_of(OvenLoads::mould, key)? {
        let run = store.named::<OvenRuns>(load.need(OvenLoads::oven_run)?)?.1;
        stays.push(OvenStay {
            started_at: run.need(OvenRuns::started_at)?,
            run: run.address(),
            purpose: run.need(OvenRuns::purpose)?,
            out_at: load.get(OvenLoads::out_at),
            inside: load.cell(OvenLoads::out_at).is_blank(),
            crack: load.get(OvenLoads::crack),
        });
    }
    stays.sort_by(|a, b| (a.started_at, &a.run).cmp(&(b.started_at, &b.run)));
    Ok(stays)
}

/// The stay whose end starts the clock to the pour: the last preheat; where nothing is preheated, the last firing.
fn heated(stays: &[OvenStay]) -> Option<&OvenStay> {
    let of = |purpose| stays.iter().rfind(|s| s.purpose == purpose);
    of(OvenPurpose::Preheat).or_else(|| of(OvenPurpose::Fire))
}

/// When a mould came out of the oven that it is poured from, and which run that was; none while it is in an oven.
pub(super) fn out_of_oven(store: &Store, key: Key<Moulds>) -> Result<Option<(Stamp, String)>> {
    let stays = stays(store, key)?;
    let stay = heated(&stays).filter(|_| stays.last().is_some_and(|last| !last.inside));
    Ok(stay.and_then(|s| Some((s.out_at?, s.run.clone()))))
}

impl<'s> Card<'s> {
    fn of(store: &'s Store, (key, mould): (Key<Moulds>, Recorded<Moulds>), now: Stamp) -> Result<Self> {
        let pour = store.rows_of(Pours::mould, key)?.pop();
        let recipe = recipe(store, &mould)?;
        Ok(Self { store, key, mould, recipe, pour, now, checks: Vec::new() })
    }

    fn poured_at(&self) -> Option<Stamp> {
        self.pour.as_ref().and_then(|p| p.get(Pours::poured_at))
    }

    /// What is found; `None`: it cannot be told.
    pub(super) fn put(
        &mut self,
        check: &'static str,
        ok: impl Into<Option<bool>>,
        reason: impl Into<String>,
    ) {
        self.checks.push(Check { check, ok: ok.into(), reason: reason.into(), absent: false });
    }

    /// A station that is not on record.
    fn absent(&mut self, check: &'static str, reason: String) {
        self.checks.push(Check { check, ok: Some(false), reason, absent: true });
    }

    /// What is wrong and what cannot be told, else what is right.
    pub(super) fn weighed(
        &mut self,
        check: &'static str,
        wrong: Vec<String>,
        open: Vec<String>,
        right: impl Into<String>,
    ) {
        match (wrong.is_empty(), open.is_empty()) {
            (false, _) => self.put(check, false, [wrong, open].concat().join("; ")),
            (true, false) => self.put(check, None, open.join("; ")),
            (true, true) => self.put(check, true, right),
        }
    }

    fn not_poured(&mut self) {
        match &self.pour {
            Some(p) => {
                let (at, heat) = (p.cell(Pours::poured_at).to_text(), p.cell(Pours::heat).to_text());
                self.put("not poured yet", false, format!("poured at {at} from {heat}"));
            }
            None => self.put("not poured yet", true, "no pour is recorded"),
        }
    }

    /// How it was made, up to the pour.
    fn made(&mut self, at: Stamp) -> Result<()> {
        self.position_map()?;
        self.shell(at)?;
        self.ovens(at)?;
        self.filter()?;
        self.lots()
    }

    /// Which pattern stands where: without it no blade of the mould has parents.
    fn position_map(&mut self) -> Result<()> {
        let blades = self.store.rows_of(Blades::mould, self.key)?;
        if blades.is_empty() {
            self.put("position map", false, "empty: no blade is on record for this mould");
            return Ok(());
        }
        let system = self.store.definition(self.key, Moulds::running_system)?;
        let mut stand = format!("{} on record", counted(blades.len(), "blade"));
        let mut taken: BTreeMap<i64, usize> = BTreeMap::new();
        for n in blades.iter().filter_map(|b| b.get(Blades::position)) {
            *taken.entry(n).or_default() += 1;
        }
        let twice = taken.iter().filter(|t| *t.1 > 1);
        let mut wrong: Vec<String> = twice.map(|(p, n)| format!("position {p} has {n} blades")).collect();
        if let Some(system) = &system
            && let Some(places) = system.get(RunningSystems::positions)
        {
            let beyond: Vec<String> =
                taken.keys().filter(|p| !(1..=places).contains(*p)).map(i64::to_string).collect();
            if !beyond.is_empty() {
                let (name, places) = (system.address(), counted(places as usize, "position"));
                wrong.push(format!("position {}: {name} has only {places}", beyond.join(", ")));
            }
            // A shop may leave some empty, and the map asks about it when it is saved; here it is said.
            if (blades.len() as i64) < places {
                stand = format!(
                    "{} of {places} positions of {}; the rest count as empty",
                    blades.len(),
                    system.address()
                );
            }
        }
        self.weighed("position map", wrong, Vec::new(), stand);
        Ok(())
    }

    /// It was done after the mould was poured: that made nothing ready.
    pub(super) fn after_pour(&self, time: Option<Stamp>) -> bool {
        matches!((self.poured_at(), time), (Some(poured), Some(at)) if at.ms() > poured.ms())
    }

    fn shell(&mut self, at: Stamp) -> Result<()> {
        let coats = self.store.rows_of(Coats::mould, self.key)?;
        let investment = self.store.rows_of(Investments::mould, self.key)?;
        let flask = match self.recipe.as_ref().and_then(|r| r.get(ShellRecipes::route)) {
            Some(route) => route == Route::Flask,
            None => coats.is_empty() && !investment.is_empty(),
        };
        if flask {
            match investment.first() {
                Some(i) if self.after_pour(i.own_time()) => {
                    let at = i.cell(Investments::mixed_at).to_text();
                    self.put("investment", false, format!("mixed only after the pour, at {at}"));
                }
                Some(i) => {
                    let at = i.cell(Investments::mixed_at).to_text();
                    self.put("investment", true, format!("mixed at {at}"));
                }
                None => self.put("investment", false, "no investment is recorded"),
            }
            return Ok(());
        }
        let Some(recipe) = self.recipe.clone() else {
            self.put("coats", false, "no shell batch, so no recipe to hold the coats against");
            return Ok(());
        };
        let name = recipe.address();
        let (late, coats): (Vec<_>, Vec<_>) =
            coats.into_iter().partition(|c| self.after_pour(c.get(Coats::in_at)));
        let numbers: Vec<i64> = coats.iter().filter_map(|c| c.get(Coats::coat)).collect();
        match recipe.get(ShellRecipes::coats) {
            _ if !late.is_empty() => {
                let late: Vec<String> = late.iter().map(|c| c.cell(Coats::coat).to_text()).collect();
                self.put("coats", false, format!("coat {} dipped only after the pour", late.join(", ")));
            }
            Some(wanted) => {
                let missing: Vec<String> =
                    (1..=wanted).filter(|n| !numbers.contains(n)).map(|n| n.to_string()).collect();
                let above = numbers.iter().any(|n| *n > wanted);
                if !missing.is_empty() {
                    let reason = format!("coat {} missing; {name} asks for {wanted}", missing.join(", "));
                    self.absent("coats", reason);
                } else if above {
                    let reason = format!("{} recorded, {name} asks for {wanted}", numbers.len());
                    self.put("coats", false, reason);
                } else {
                    self.put("coats", true, format!("{wanted} of {wanted} by {name}"));
                }
            }
            None => {
                let reason = format!("{} recorded; {name} names no number", coats.len());
                self.put("coats", !coats.is_empty(), reason);
            }
        }
        if let Some(least) = recipe.get(ShellRecipes::min_dry_h) {
            self.drying(least, coats, at);
        }
        Ok(())
    }

    fn drying(&mut self, least: f64, mut coats: Vec<Recorded<Coats>>, at: Stamp) {
        coats.sort_by_key(|c| c.get(Coats::coat));
        let mut short = Vec::new();
        for (i, coat) in coats.iter().enumerate() {
            let n = coat.cell(Coats::coat).to_text();
            let Some(dipped) = coat.get(Coats::in_at) else { continue };
            let next = coats.get(i + 1).and_then(|c| c.get(Coats::in_at));
            let out = coat.get(Coats::out_at).or(next);
            let hours = out.unwrap_or(at).minutes_since(dipped) / 60.0;
            match out {
                Some(_) if hours + 1e-9 < least => short.push(format!("coat {n} dried {hours:.1} h")),
                None if hours < least => short.push(format!("coat {n} has dried {hours:.1} h so far")),
                _ => {}
            }
        }
        if coats.is_empty() {
            self.put("drying", None, "no coat is recorded");
        } else if short.is_empty() {
            self.put("drying", true, format!("each coat at least {least} h"));
        } else {
            self.put("drying", false, format!("{}; the recipe asks for {least} h", short.join(", ")));
        }
    }

    fn ovens(&mut self, at: Stamp) -> Result<()> {
        let (late, stays): (Vec<OvenStay>, Vec<OvenStay>) =
            stays(self.store, self.key)?.into_iter().partition(|s| self.after_pour(Some(s.started_at)));
        // Where it went on to another oven, or was poured, it came out, whether or not somebody wrote down when.
        let inside = stays.last().filter(|s| s.inside && self.pour.is_none());
        let still = inside.map(|s| format!("still in oven {} since {}", s.run, s.started_at));
        for (purpose, check) in [(OvenPurpose::Dewax, "dewaxed"), (OvenPurpose::Fire, "fired")] {
            match (stays.iter().rfind(|s| s.purpose == purpose), &still) {
                (Some(stay), Some(still)) if inside == Some(stay) => self.put(check, false, still.clone()),
                (Some(stay), _) => self.put(check, true, format!("in {}", stay.run)),
                (None, _) if late.iter().any(|s| s.purpose == purpose) => {
                    let late = late.iter().filter(|s| s.purpose == purpose);
                    let runs: Vec<String> =
                        late.map(|s| format!("in {}, which began at {}", s.run, s.started_at)).collect();
                    self.put(check, false, format!("{check} only after the pour: {}", runs.join("; ")));
                }
                (None, _) => self.absent(check, format!("no {} run is recorded", purpose.word())),
            }
        }
        self.cracks(&stays)?;
        if let Some(still) = still {
            self.put("oven", false, still);
        }
        let Some(most) = self.recipe.as_ref().and_then(|r| r.get(ShellRecipes::oven_to_pour_max_s)) else {
            return Ok(());
        };
        match heated(&stays) {
            // In an oven again: what it came out of before says nothing of this pour.
            Some(_) if inside.is_some() => {}
            Some(OvenStay { out_at: Some(out), run, .. }) if at.ms() < out.ms() => {
                self.put(OVEN_TO_POUR, false, format!("it came out of {run} only after the pour, at {out}"));
            }
            Some(OvenStay { out_at: Some(out), run, .. }) => {
                let seconds = at.minutes_since(*out) * 60.0;
                let reason = format!("{seconds:.0} s since {run}, the recipe allows {most} s");
                self.put(OVEN_TO_POUR, seconds <= most, reason);
            }
            Some(OvenStay { run, .. }) => {
                self.put(OVEN_TO_POUR, None, format!("no time out of {run} is on record"));
            }
            None => self.put(OVEN_TO_POUR, false, "no preheat is recorded"),
        }
        Ok(())
    }

    /// Nobody looked is no tick. A shop that keeps no records of cracks has no gap in them.
    fn cracks(&mut self, stays: &[OvenStay]) -> Result<()> {
        let seen = |crack| stays.iter().find(|s| s.crack == Some(crack)).map(|s| &s.run);
        match (seen(Crack::Through), seen(Crack::Patched), seen(Crack::None)) {
            (Some(run), ..) => self.put("cracks", false, format!("through crack seen after {run}")),
            (None, Some(run), _) => self.put("cracks", true, format!("patched after {run}")),
            (None, None, Some(_)) => self.put("cracks", true, "none seen"),
            (None, None, None) if self.store.keeps_cracks()? => {
                self.put("cracks", None, "no oven load says whether one was seen");
            }
            (None, None, None) => {}
        }
        Ok(())
    }

    fn filter(&mut self) -> Result<()> {
        let Some(system) = self.store.definition(self.key, Moulds::running_system)? else { return Ok(()) };
        let fitted = self.mould.get(Moulds::filter_lot).map(|lot| format!("{lot} fitted"));
        match (fitted, system.get(RunningSystems::filter)) {
            (Some(fitted), _) => self.put("filter", true, fitted),
            (None, Some(YesNo::Yes)) => {
                let reason = format!("{} asks for a filter, none is recorded", system.address());
                self.put("filter", false, reason);
            }
            (None, _) => self.put("filter", true, "none asked for"),
        }
        Ok(())
    }

    /// Lots past their date when they were used, and slurry that failed its gel test before a dip.
    fn lots(&mut self) -> Result<()> {
        let (mut dated, mut tested, mut bad) = (false, false, Vec::new());
        let mut expired = |lot: &Record, until: Option<&str>, used: Option<Stamp>| {
            let until = until.and_then(|d| Stamp::parse_date(d).ok());
            if let (Some(until), Some(used)) = (until, used) {
                dated = true;
                // A lot may be used through its last day.
                if used.minutes_since(until) >= 1440.0 {
                    bad.push(format!("{} was past its date when used", lot.address()));
                }
            }
        };
        for i in self.store.rows_of(Investments::mould, self.key)? {
            let lot = self.store.named::<PowderLots>(i.need(Investments::powder_lot)?)?.1;
            expired(&lot, lot.get(PowderLots::expires_on), i.own_time());
        }
        let blades = self.store.rows_of(Blades::mould, self.key)?;
        let runs: BTreeSet<&str> = blades.iter().filter_map(|b| b.get(Blades::pattern_run)).collect();
        for run in runs {
            let run = self.store.named::<PatternRuns>(run)?.1;
            let lot = self.store.named::<WaxLots>(run.need(PatternRuns::wax_lot)?)?.1;
            expired(&lot, lot.get(WaxLots::expires_on), run.own_time());
        }
        let mut batches: BTreeMap<String, Stamp> = BTreeMap::new();
        for coat in self.store.rows_of(Coats::mould, self.key)? {
            let (batch, dip) = (coat.need(Coats::slurry_batch)?, coat.need(Coats::in_at)?);
            batches.entry(batch.to_string()).and_modify(|t| *t = (*t).max(dip)).or_insert(dip);
        }
        for (batch, dip) in batches {
            let (key, _) = self.store.key_of::<SlurryBatches>(&batch)?;
            let mut checks = self.store.rows_of(SlurryChecks::slurry_batch, key)?;
            checks.retain(|c| c.own_time().is_some_and(|t| t <= dip));
            checks.sort_by_key(|c| c.own_time());
            let gel = checks.last().and_then(|c| c.get(SlurryChecks::gel));
            tested |= gel == Some(Gel::Pass);
            if gel == Some(Gel::Fail) {
                bad.push(format!("{batch} had failed its gel test when dipped into"));
            }
        }
        // Where no lot has a date and no pot a gel test, nothing was looked at, and there is nothing to tick.
        if dated || tested || !bad.is_empty() {
            let right = if dated { "in date when used" } else { "gel tests good when dipped into" };
            self.weighed("lots", bad, Vec::new(), right);
        }
        Ok(())
    }

    fn holds(&mut self) -> Result<()> {
        let said = |h: Record<'static>| {
            let h = Recorded::<Holds>::of(h)?;
            let (subject, reason) = (h.cell(Holds::subject).to_text(), h.cell(Holds::reason).to_text());
            Some(format!("{} on {subject}: {reason}", h.address()))
        };
        let open =
            self.store.holds_fencing(Moulds::NAME, self.key.id)?.into_iter().filter_map(said).collect();
        self.weighed("holds", open, Vec::new(), "none open upstream");
        Ok(())
    }
}
