//! What came out of a record, and where each blade is now.

use std::collections::HashMap;
use std::sync::Arc;

use rusqlite::Connection;

use crate::Stamp;
use crate::Store;
use crate::catalogue::{
    Blades, Concessions, CoreLots, Decision, Heats, IngotLots, Instruments, Lots, PatternRuns, RevertLots,
    Trials, WaxLots,
};
use crate::error::Result;
use crate::graph::holds;
use crate::graph::lineage;
use crate::graph::lineage::{Fence, Lineage};
use crate::graph::suspect;
use crate::graph::suspect::Doubt;
use crate::read;
use crate::read::ids::{IdMap, IdSet};
use crate::read::rows::Link;
use crate::value::place::Place;
use knowledge::lineage::{Melted, shares_in};

// A value behind a plus is not looked at when the plan is made: some plans would be made anew for
// each value otherwise, which costs more than the query.
const TRIAL_MOULDS: &str = "SELECT mould FROM trial_moulds WHERE trial = ?1";
const CONCEDED: &str = "SELECT blade FROM dispositions WHERE concession = ?1";
const BY_MOULD: &str = "SELECT id, blade, mould FROM blades WHERE mould BETWEEN ?1 AND ?2";
const BY_ID: &str = "SELECT id, blade, mould FROM blades WHERE id BETWEEN ?1 AND ?2";
const DECISIONS: &str = "SELECT blade, decision, decided_at, entry FROM dispositions WHERE blade BETWEEN ?1 AND ?2 ORDER BY blade, decided_at";
const SENT: &str =
    "SELECT blade, shipped_at, certificate, returned_at, entry FROM shipments WHERE blade BETWEEN ?1 AND ?2
         ORDER BY blade, shipped_at";
const MOULDS: &str = "SELECT id, mould FROM moulds WHERE id BETWEEN ?1 AND ?2";
const POURED: &str = "SELECT mould, heat FROM pours WHERE mould BETWEEN ?1 AND ?2";
const HEAT: &str = "SELECT heat FROM heats WHERE id = ?1";
const CHARGED: &str = "SELECT 'i', source_ingot_lot, mass_kg FROM charges WHERE heat = ?1 AND source_ingot_lot IS NOT NULL
             UNION ALL
             SELECT 'r', source_revert_lot, mass_kg FROM charges WHERE heat = ?1 AND source_revert_lot IS NOT NULL";
const REVERTED: &str = "SELECT 'h', heat, mass_kg FROM revert_sources WHERE revert_lot = ?1";
// A blade that came back keeps its row in the old lot: a hold on either lot holds it.
const LOTS_OF: &str = "SELECT lot FROM lot_blades WHERE blade = ?1";
const PATTERNS_OF: &str = "SELECT DISTINCT pattern_run, core_lot FROM blades WHERE mould = +?1";

/// Every query of this module, for the test that reads their plans.
pub fn queries() -> Vec<String> {
    [
        TRIAL_MOULDS,
        CONCEDED,
        holds::OPEN,
        BY_MOULD,
        BY_ID,
        DECISIONS,
        SENT,
        MOULDS,
        POURED,
        HEAT,
        CHARGED,
        REVERTED,
        LOTS_OF,
        PATTERNS_OF,
    ]
    .map(String::from)
    .into()
}

/// A blade and where it is.
#[derive(Clone, Debug)]
pub struct Located {
    /// Id of the blade.
    pub id: i64,
    pub tag: String,
    /// Id of its mould.
    pub mould: Option<i64>,
    /// Where it is.
    pub place: Place,
    /// It came back, and no disposition is later than that, wherever it is now.
    pub undecided: bool,
    /// An open hold fences it.
    pub held: bool,
    /// A suspect reading stands behind it.
    pub suspect: bool,
    /// Its last disposition.
    pub decision: Option<&'static str>,
    /// When it was last shipped, if it was not returned.
    pub shipped_at: Option<Stamp>,
    /// The certificate it was shipped with.
    pub certificate: Option<Arc<str>>,
    /// Its mould has been poured: it counts as made.
    pub made: bool,
}

/// The fences that decide `held` and `suspect`, read once for any number of blades.
pub struct Fences {
    /// Behind open holds.
    pub held: Fence,
    /// Behind suspect readings.
    pub suspect: Fence,
}

/// A mould, as blades are listed by it.
#[derive(Clone, Debug, Default)]
pub struct MouldOf {
    pub tag: Arc<str>,
    /// The heat poured into it.
    pub heat: Option<(i64, Arc<str>)>,
}

/// What came out of a record.
#[derive(Debug, Default)]
pub struct Contained {
    /// The blades, in the order of their records.
    pub blades: Vec<Located>,
    pub moulds: IdMap<MouldOf>,
    /// For metal: the share in each heat, by its id.
    pub share_in_heat: HashMap<i64, Option<f64>>,
}

impl Store {
    /// The fences of this moment.
    pub fn fences(&self) -> Result<Fences> {
        Ok(Fences { held: holds::held(&self.db)?, suspect: self.suspect_fence(None)? })
    }

    /// Every blade downstream of a record, and where it is. For an instrument: the blades behind its
    /// suspect readings.
    pub fn contained(&self, link: Link) -> Result<Contained> {
        let fence = match link.kind {
            Instruments::NAME => self.suspect_fence(Some(link.id))?,
            Concessions::NAME | Trials::NAME => self.listed(link)?,
            _ => lineage::descend(&self.db, &[link], false)?,
        };
        let mut out = self.locate(&fence)?;
        if matches!(link.kind, Heats::NAME | IngotLots::NAME | RevertLots::NAME) {
            out.share_in_heat = shares(&self.db, link, &fence)?;
        }
        Ok(out)
    }

    /// Blades of a concession or moulds of a trial, which are lists rather than parents.
    fn listed(&self, link: Link) -> Result<Fence> {
        let (sql, moulds) = match link.kind {
            Trials::NAME => (TRIAL_MOULDS, true),
            _ => (CONCEDED, false),
        };
        let ids: IdSet = read::list(&self.db, sql, [link.id], |r| r.get(0))?;
        let mut fence = Fence::default();
        if moulds {
            fence.moulds = ids;
        } else {
            fence.blades = ids;
        }
        Ok(fence)
    }

    /// Where every blade of a fence is.
    pub fn locate(&self, fence: &Fence) -> Result<Contained> {
        let fences = self.fences()?;
        let mut blades = blades_of(&self.db, fence)?;
        place(&self.db, &mut blades, &fences)?;
        let moulds = moulds_of(&self.db, &mut blades)?;
        Ok(Contained { blades, moulds, share_in_heat: HashMap::new() })
    }

    /// Where one blade is.
    pub fn locate_blade(&self, id: i64) -> Result<Option<Located>> {
        let lineage = self.ancestry(Link::to::<Blades>(id), "")?;
        let doubts = self.doubts(&lineage)?;
        self.locate_with(&lineage, &self.open_hold_counts()?, doubts.iter().any(|d| d.carries))
    }

    /// What suspect readings say of each record of a lineage.
    pub fn doubts(&self, lineage: &Lineage) -> Result<Vec<Doubt>> {
        suspect::doubts(&self.db, lineage.nodes.iter().map(|n| n.link), None)
    }

    /// Where the blade is with which a lineage begins. For one blade it is asked what went into it,
    /// not what all fences hold.
    pub fn locate_with(
        &self,
        lineage: &Lineage,
        holds: &HashMap<(&'static str, i64), usize>,
        suspect: bool,
    ) -> Result<Option<Located>> {
        let Some(id) = lineage.nodes.first().map(|n| n.link.id) else { return Ok(None) };
        let alone = Fence { blades: IdSet::from_iter([id]), ..Fence::default() };
        let mut blades = blades_of(&self.db, &alone)?;
        let Some(blade) = blades.first() else { return Ok(None) };
        let held = !holds.is_empty() && held_one(&self.db, lineage, blade.mould, holds)?;
        let fence = |inside: bool| if inside { alone.clone() } else { Fence::default() };
        place(&self.db, &mut blades, &Fences { held: fence(held), suspect: fence(suspect) })?;
        moulds_of(&self.db, &mut blades)?;
        Ok(blades.pop())
    }
}

/// An open hold fences the blade with which a lineage begins.
fn held_one(
    db: &Connection,
    lineage: &Lineage,
    mould: Option<i64>,
    holds: &HashMap<(&'static str, i64), usize>,
) -> Result<bool> {
    if lineage.nodes.iter().any(|n| holds.contains_key(&(n.link.kind, n.link.id))) {
        return Ok(true);
    }
    let id = lineage.nodes.first().map_or(0, |n| n.link.id);
    if holds.keys().any(|(kind, _)| *kind == Lots::NAME) {
        let mut q = db.prepare_cached(LOTS_OF)?;
        let mut rows = q.query([id])?;
        while let Some(row) = rows.next()? {
            if holds.contains_key(&(Lots::NAME, row.get(0)?)) {
                return Ok(true);
            }
        }
    }
    // A mould also stands below the pattern runs, wax lots and core lots of its other blades.
    let by_pattern = |k: &str| matches!(k, PatternRuns::NAME | WaxLots::NAME | CoreLots::NAME);
    if let Some(mould) = mould.filter(|_| holds.keys().any(|(kind, _)| by_pattern(kind))) {
        let mut q = db.prepare_cached(PATTERNS_OF)?;
        let mut rows = q.query([mould])?;
        while let Some(row) = rows.next()? {
            for (i, kind) in [PatternRuns::NAME, CoreLots::NAME].into_iter().enumerate() {
                let Some(id) = row.get::<_, Option<i64>>(i)? else { continue };
                let above = lineage::up(db, Link { kind, id }, "")?;
                if above.nodes.iter().any(|n| holds.contains_key(&(n.link.kind, n.link.id))) {
                    return Ok(true);
                }
            }
        }
    }
    for (_, instrument) in holds.keys().filter(|(kind, _)| *kind == Instruments::NAME) {
        let records = lineage.nodes.iter().map(|n| n.link);
        if suspect::doubts(db, records, Some(*instrument))?.iter().any(|d| d.carries) {
            return Ok(true);
        }
    }
    Ok(false)
}

/// Ids in runs whose gaps are small: a run is read by one scan instead of many look-ups.
fn runs(sorted: &[i64]) -> Vec<(i64, i64)> {
    let mut out: Vec<(i64, i64)> = Vec::new();
    for &id in sorted {
        match out.last_mut() {
            Some((_, end)) if id - *end <= 8 => *end = id,
            _ => out.push((id, id)),
        }
    }
    out
}

/// Where one blade is, and its last disposition, by the holds that are open; what is suspect is not asked.
pub(crate) fn one(db: &Connection, id: i64, held: &Fence) -> Result<Option<Located>> {
    let alone = Fence { blades: IdSet::from_iter([id]), ..Fence::default() };
    let mut blades = blades_of(db, &alone)?;
    let inside = blades.first().is_some_and(|b| held.holds(b.id, b.mould));
    let fences = Fences { held: if inside { alone } else { Fence::default() }, suspect: Fence::default() };
    place(db, &mut blades, &fences)?;
    Ok(blades.pop())
}

fn blades_of(db: &Connection, fence: &Fence) -> Result<Vec<Located>> {
    let mut out = Vec::new();
    let read = |row: &rusqlite::Row| -> Result<Located> {
        Ok(Located {
            id: row.get(0)?,
            tag: row.get(1)?,
            mould: row.get(2)?,
            place: Place::InProcess,
            undecided: false,
            held: false,
            suspect: false,
            decision: None,
            shipped_at: None,
            certificate: None,
            made: false,
        })
    };
    let mut moulds: Vec<i64> = fence.moulds.iter().copied().collect();
    moulds.sort_unstable();
    let mut q = db.prepare_cached(BY_MOULD)?;
    for (from, to) in runs(&moulds) {
        let mut rows = q.query([from, to])?;
        while let Some(row) = rows.next()? {
            let blade = read(row)?;
            if blade.mould.is_some_and(|m| fence.moulds.contains(&m)) {
                out.push(blade);
            }
        }
    }
    let mut alone: Vec<i64> = fence.blades.iter().copied().collect();
    alone.sort_unstable();
    let mut q = db.prepare_cached(BY_ID)?;
    for (from, to) in runs(&alone) {
        let mut rows = q.query([from, to])?;
        while let Some(row) = rows.next()? {
            let blade = read(row)?;
            let by_mould = blade.mould.is_some_and(|m| fence.moulds.contains(&m));
            if fence.blades.contains(&blade.id) && !by_mould {
                out.push(blade);
            }
        }
    }
    out.sort_unstable_by_key(|b| b.id);
    Ok(out)
}

/// When something happened to a blade: by the clock, then by the journal.
type When = (i64, i64);

/// Decides where each blade is. `blades` are sorted by id.
fn place(db: &Connection, blades: &mut [Located], fences: &Fences) -> Result<()> {
    let ids: Vec<i64> = blades.iter().map(|b| b.id).collect();
    let runs = runs(&ids);
    let mut decisions: Vec<Option<(Decision, When)>> = vec![None; blades.len()];
    let mut q = db.prepare_cached(DECISIONS)?;
    let mut at = 0;
    for &(from, to) in &runs {
        let mut rows = q.query([from, to])?;
        while let Some(row) = rows.next()? {
            let blade: i64 = row.get(0)?;
            while at < ids.len() && ids[at] < blade {
                at += 1;
            }
            if ids.get(at) == Some(&blade) {
                let word = row.get_ref(1)?.as_str().unwrap_or("");
                let when = (Stamp::from_packed(row.get(2)?).ms(), row.get(3)?);
                // The latest, then the later record.
                if decisions[at].is_none_or(|(_, before)| before <= when) {
                    decisions[at] = Decision::of(word).map(|decision| (decision, when));
                }
            }
        }
    }
    let mut q = db.prepare_cached(SENT)?;
    let mut certificate: Option<Arc<str>> = None;
    let mut back: Vec<Option<When>> = vec![None; blades.len()];
    at = 0;
    for &(from, to) in &runs {
        let mut rows = q.query([from, to])?;
        while let Some(row) = rows.next()? {
            let blade: i64 = row.get(0)?;
            while at < ids.len() && ids[at] < blade {
                at += 1;
            }
            if ids.get(at) != Some(&blade) {
                continue;
            }
            // One shipment that came back says nothing of another that did not.
            if let Some(returned) = row.get::<_, Option<i64>>(3)? {
                let when = (Stamp::from_packed(returned).ms(), row.get(4)?);
                back[at] = back[at].max(Some(when));
            } else {
                blades[at].shipped_at = row.get::<_, Option<i64>>(1)?.map(Stamp::from_packed);
                // A lot goes with one certificate.
                let text = row.get_ref(2)?.as_str_or_null().unwrap_or(None);
                if certificate.as_deref() != text {
                    certificate = text.map(Arc::from);
                }
                blades[at].certificate.clone_from(&certificate);
            }
        }
    }
    for ((blade, decision), back) in blades.iter_mut().zip(decisions).zip(back) {
        blade.held = fences.held.holds(blade.id, blade.mould);
        blade.suspect = fences.suspect.holds(blade.id, blade.mould);
        let word = decision.map(|(decision, _)| decision.word());
        blade.undecided = back.is_some_and(|back| decision.is_none_or(|(_, at)| at < back));
        let sent = match blade.shipped_at {
            Some(_) => Some(Place::Shipped),
            None => blade.undecided.then_some(Place::Returned),
        };
        blade.decision = word;
        blade.place = Place::of(sent, word, blade.held);
    }
    Ok(())
}

fn moulds_of(db: &Connection, blades: &mut [Located]) -> Result<IdMap<MouldOf>> {
    let mut ids: Vec<i64> = blades.iter().filter_map(|b| b.mould).collect();
    ids.sort_unstable();
    ids.dedup();
    let mut out: IdMap<MouldOf> = ids.iter().map(|id| (*id, MouldOf::default())).collect();
    let mut heats: IdMap<Arc<str>> = IdMap::default();
    let (mut tags, mut poured) = (db.prepare_cached(MOULDS)?, db.prepare_cached(POURED)?);
    for (from, to) in runs(&ids) {
        let mut rows = tags.query([from, to])?;
        while let Some(row) = rows.next()? {
            if let Some(mould) = out.get_mut(&row.get(0)?) {
                mould.tag = row.get(1)?;
            }
        }
        let mut rows = poured.query([from, to])?;
        while let Some(row) = rows.next()? {
            let Some(mould) = out.get_mut(&row.get(0)?) else { continue };
            let heat: i64 = row.get(1)?;
            let tag = match heats.get(&heat) {
                Some(tag) => tag.clone(),
                None => {
                    let tag: Arc<str> = db.prepare_cached(HEAT)?.query_row([heat], |r| r.get(0))?;
                    heats.entry(heat).or_insert(tag).clone()
                }
            };
            mould.heat = Some((heat, tag));
        }
    }
    let mut last = (None, false);
    for blade in blades.iter_mut().filter(|b| b.mould.is_some()) {
        if last.0 != blade.mould {
            let made = blade.mould.and_then(|m| out.get(&m)).is_some_and(|m| m.heat.is_some());
            last = (blade.mould, made);
        }
        blade.made = last.1;
    }
    Ok(out)
}

/// The share of a metal record in every heat downstream of it.
fn shares(db: &Connection, link: Link, fence: &Fence) -> Result<HashMap<i64, Option<f64>>> {
    let mut index: HashMap<(&'static str, i64), usize> = HashMap::from([((link.kind, link.id), 0)]);
    let mut nodes: Vec<(&'static str, i64)> = vec![(link.kind, link.id)];
    let mut edges: Vec<Melted> = Vec::new();
    let mut inside: Vec<(&'static str, i64)> =
        fence.others.iter().copied().filter(|(k, _)| matches!(*k, Heats::NAME | RevertLots::NAME)).collect();
    inside.sort_unstable();
    // Every source of every child: the parts are of the child's whole metal.
    for &child in &inside {
        let sql = if child.0 == Heats::NAME { CHARGED } else { REVERTED };
        let mut q = db.prepare_cached(sql)?;
        let mut rows = q.query([child.1])?;
        while let Some(row) = rows.next()? {
            let kind = match row.get_ref(0)?.as_str().unwrap_or("") {
                "i" => IngotLots::NAME,
                "r" => RevertLots::NAME,
                _ => Heats::NAME,
            };
            let mut number = |key: (&'static str, i64)| {
                *index.entry(key).or_insert_with(|| {
                    nodes.push(key);
                    nodes.len() - 1
                })
            };
            let parent = number((kind, row.get(1)?));
            edges.push(Melted { child: number(child), parent, mass_kg: row.get(2)? });
        }
    }
    // The asked record's own sources do not bear on what came out of it.
    edges.retain(|e| e.child != 0);
    let shares = shares_in(0, nodes.len(), &edges);
    Ok(nodes.iter().zip(shares).filter(|(n, _)| n.0 == Heats::NAME).map(|(n, s)| (n.1, s)).collect())
}
