//! Sending blades out: what asks for a reason, what stands open until it came back or quality decided, and a second
//! lot for a blade that came back.

use std::collections::{BTreeMap, HashMap, HashSet};

use rusqlite::{Connection, params};

use crate::Stamp;
use crate::Store;
use crate::catalogue::{As, Decision, Holds, LotBlades, Lots, Shipments};
use crate::check::{Fault, Guard};
use crate::error::Result;
use crate::graph::lineage::Fence;
use crate::graph::{holds, places, release_basis};
use crate::read;
use crate::read::rows::Resolved;
use crate::value::place::Place;
use crate::write::journal;

const HELD: &str = "it is held";

/// What was asked already, for the rows of a file.
#[derive(Default)]
pub struct Asked {
    held: Option<Fence>,
    /// Lots that are released, or not.
    released: HashMap<i64, bool>,
}

impl Asked {
    /// Why sending a blade asks for a reason.
    pub fn guards(&mut self, db: &Connection, resolved: &Resolved) -> Result<Vec<Guard>> {
        let Some(shipment) = resolved.record.of::<Shipments>() else { return Ok(Vec::new()) };
        let Some(id) = resolved.id(Shipments::blade) else { return Ok(Vec::new()) };
        let mut why = self.why_not(db, id)?;
        why.extend(out_already(db, id, shipment)?);
        Ok(why.into_iter().map(|message| Guard::asks(Shipments::blade.name, message)).collect())
    }

    /// Why a blade should not go out, in sentences.
    fn why_not(&mut self, db: &Connection, id: i64) -> Result<Vec<String>> {
        let held = match self.held.take() {
            Some(held) => held,
            None => holds::held(db)?,
        };
        let blade = places::one(db, id, &held)?;
        self.held = Some(held);
        let Some(blade) = blade else { return Ok(Vec::new()) };
        let mut why = Vec::new();
        let decision = blade.decision.and_then(Decision::of);
        match decision {
            _ if blade.undecided => why.push("it came back, and quality has not decided since".to_string()),
            Some(Decision::Accept | Decision::Concession | Decision::Hold) => {}
            Some(Decision::Scrap) => why.push("it is scrapped".into()),
            Some(other) => {
                why.push(format!("it is not decided: its last disposition is {}", other.word()));
            }
            None => why.push("it is not decided: it has no disposition".into()),
        }
        if blade.held || decision == Some(Decision::Hold) {
            why.push(HELD.into());
        }
        match lots_of(db, id)?.pop() {
            None => why.push("it is in no lot that was released".into()),
            Some(lot) => {
                let released = match self.released.get(&lot.id) {
                    Some(known) => *known,
                    None => release_basis::stands(db, lot.id)?,
                };
                self.released.insert(lot.id, released);
                if !released {
                    why.push(format!("its lot {} is not released", lot.tag));
                } else if sent(db, id)?.iter().any(|(back, _)| *back)
                    && release_basis::left_by_return(db, id, lot.id, lot.entry)?
                {
                    why.push(format!(
                        "it came back after its lot {} was released, and is in no new lot; that release lets it go no \
                         more",
                        lot.tag
                    ));
                }
            }
        }
        Ok(why)
    }
}

/// A lot that a blade is or was in.
#[derive(Clone, Debug)]
pub struct LotOf {
    pub id: i64,
    pub tag: String,
    /// The journal entry that put the blade there.
    pub entry: i64,
}

/// The lots of a blade, the latest last: that one is its lot.
pub fn lots_of(db: &Connection, blade: i64) -> Result<Vec<LotOf>> {
    let mut q = db.prepare_cached(
        "SELECT l.id, l.lot, x.entry, b.blade FROM lot_blades x CROSS JOIN lots l ON l.id = x.lot
         CROSS JOIN blades b ON b.id = x.blade WHERE x.blade = ?1 ORDER BY l.opened_at, l.lot COLLATE NOCASE",
    )?;
    let found = q.query_map([blade], |r| {
        let (tag, of): (String, String) = (r.get(1)?, r.get(3)?);
        Ok((LotOf { id: r.get(0)?, tag, entry: r.get(2)? }, of))
    })?;
    let found = found.collect::<rusqlite::Result<Vec<_>>>()?;
    let several = found.len() > 1;
    let mut out = Vec::new();
    for (mut lot, of) in found {
        if several {
            // A row that was corrected did not come later for that.
            let history = journal::of_record(db, LotBlades::NAME, &format!("lot_blades:{}/{of}", lot.tag))?;
            lot.entry = history.first().map_or(lot.entry, |e| e.came.unwrap_or(e.seq));
        }
        out.push(lot);
    }
    out.sort_by_key(|l| l.entry);
    Ok(out)
}

/// A blade comes into another lot only after it came back.
pub fn second_lot(db: &Connection, resolved: &Resolved) -> Result<Option<Fault>> {
    let (Some(blade), Some(lot)) = (resolved.id(LotBlades::blade), resolved.id(LotBlades::lot)) else {
        return Ok(None);
    };
    let before = lots_of(db, blade)?;
    let Some(last) = before.last().filter(|_| before.iter().all(|l| l.id != lot)) else { return Ok(None) };
    let sent = sent(db, blade)?;
    let out_now = sent.iter().any(|(back, _)| !back);
    let since = sent.iter().any(|(back, entry)| *back && (*entry > last.entry || before.len() == 1));
    Ok((out_now || !since).then(|| only_after(resolved, &last.tag)))
}

/// The same for a blade that is in so many lots already, in the first load of its lots: what came back when is not in
/// the journal. There must be a return for each lot before.
pub fn came_back(db: &Connection, resolved: &Resolved, blade: i64, lots: usize) -> Result<Option<Fault>> {
    if sent(db, blade)?.iter().filter(|(back, _)| *back).count() >= lots {
        return Ok(None);
    }
    let before = lots_of(db, blade)?;
    Ok(Some(only_after(resolved, before.last().map_or("another", |l| &l.tag))))
}

/// The shipments of a blade: whether each came back, and its journal entry.
fn sent(db: &Connection, blade: i64) -> Result<Vec<(bool, i64)>> {
    read::list(db, "SELECT returned_at IS NOT NULL, entry FROM shipments WHERE blade = ?1", [blade], |r| {
        Ok((r.get(0)?, r.get(1)?))
    })
}

/// A blade is out by one shipment at a time: the one that is out while this one is.
fn out_already(db: &Connection, blade: i64, shipment: As<'_, Shipments>) -> Result<Option<String>> {
    let Some(sent) = shipment.get(Shipments::shipped_at).map(Stamp::ms) else { return Ok(None) };
    let back = shipment.get(Shipments::returned_at).map_or(i64::MAX, Stamp::ms);
    let mut q = db.prepare_cached("SELECT shipped_at, returned_at FROM shipments WHERE blade = ?1")?;
    let mut rows = q.query([blade])?;
    while let Some(row) = rows.next()? {
        let other = Stamp::from_packed(row.get(0)?);
        let until = row.get::<_, Option<i64>>(1)?.map_or(i64::MAX, |at| Stamp::from_packed(at).ms());
        // The row itself, where it is read again.
        if other.ms() != sent && other.ms() < back && sent < until {
            return Ok(Some(format!(
                "it is out by the shipment of {other}, from which it had not come back"
            )));
        }
    }
    Ok(None)
}

fn only_after(resolved: &Resolved, lot: &str) -> Fault {
    let message = format!(
        "is in lot {lot}; a blade is in one lot at a time, and comes into another one only after it came back from a \
         shipment (returned_at)"
    );
    let blade = resolved.record.of::<LotBlades>().map(|row| row.text(LotBlades::blade));
    Fault::new(LotBlades::blade.name, &blade.unwrap_or_default(), message)
}

/// Blades of a lot that are out although nothing let them go, for one reason.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Astray {
    /// Their lot; empty: none.
    pub lot: String,
    /// Why they should not have gone.
    pub why: &'static str,
    /// How many.
    pub count: usize,
    /// The first few.
    pub blades: Vec<String>,
}

/// So many blades are named.
const NAMED: usize = 8;

/// A blade as the tables have it, read once through.
#[derive(Default)]
struct Out {
    /// The last shipment that did not come back: when, and its journal entry.
    sent: Option<(i64, i64)>,
    /// The last return.
    back: Option<(i64, i64)>,
    /// The last disposition; of two at one moment in one entry the worse, by its place in [`WORSE`].
    decided: Option<(i64, i64, usize)>,
}

/// Decisions by what they let a blade do, the worst last.
const WORSE: [Decision; 6] = [
    Decision::Accept,
    Decision::Concession,
    Decision::Scrap,
    Decision::Hold,
    Decision::Rework,
    Decision::Repair,
];

/// Why a blade that came back stands open when it was sent again.
const AGAIN: &str = "again after its return, in no new lot";

impl Store {
    /// Blades of a lot whose lot is another one by now.
    pub fn moved_on(&self, lot: i64) -> Result<HashSet<i64>> {
        let several: Vec<i64> = read::list(
            &self.db,
            "SELECT DISTINCT a.blade FROM lot_blades a CROSS JOIN lot_blades b ON b.blade = a.blade
             WHERE a.lot = ?1 AND b.lot <> ?1",
            [lot],
            |r| r.get(0),
        )?;
        let mut out = HashSet::new();
        for blade in several {
            if lots_of(&self.db, blade)?.last().is_some_and(|l| l.id != lot) {
                out.insert(blade);
            }
        }
        Ok(out)
    }

    /// Blades of a lot that are out: tag, when, the journal entry of the shipment, and whether a disposition is later.
    pub fn sent_of_lot(&self, lot: i64) -> Result<Vec<(String, Stamp, i64, bool)>> {
        read::list(&self.db, "SELECT b.blade, s.shipped_at, s.entry,
                (SELECT max(d.decided_at) FROM dispositions d WHERE d.blade = l.blade)
             FROM lot_blades l CROSS JOIN shipments s ON s.blade = l.blade CROSS JOIN blades b ON b.id = l.blade
             WHERE l.lot = ?1 AND s.returned_at IS NULL ORDER BY b.blade COLLATE NOCASE", params![lot], |r| {
            let sent = Stamp::from_packed(r.get(1)?);
            let decided = r.get::<_, Option<i64>>(3)?.map(|d| Stamp::from_packed(d).ms());
            Ok((r.get(0)?, sent, r.get(2)?, decided.is_some_and(|d| d > sent.ms())))
        })
    }

    /// Why a blade that is out should not be. That it is held now may be a recall: its holds say that.
    pub fn out_although(&self, blade: i64) -> Result<Vec<String>> {
        let mut why = Asked::default().why_not(&self.db, blade)?;
        why.retain(|w| w != HELD);
        Ok(why)
    }

    /// The blades that are out although they were scrapped, held, undecided, returned or not released, and that quality
    /// has not decided on since, by lot.
    pub fn astray(&self) -> Result<Vec<Astray>> {
        let out = self.sent_and_decided()?;
        let mut found: BTreeMap<i64, &'static str> = BTreeMap::new();
        let released = self.released_lots()?;
        let mut lots: HashMap<i64, i64> = HashMap::new();
        let mut q = self.db.prepare("SELECT blade, lot FROM lot_blades ORDER BY blade")?;
        let mut rows = q.query([])?;
        while let Some(row) = rows.next()? {
            let (blade, lot): (i64, i64) = (row.get(0)?, row.get(1)?);
            if out.get(&blade).is_some_and(|b| b.sent.is_some()) {
                lots.insert(blade, lot);
            }
        }
        // Of a blade that came back, its lot is the one that it came into last.
        for (&blade, _) in out.iter().filter(|(_, b)| b.back.is_some()) {
            if let Some(last) = lots_of(&self.db, blade)?.pop() {
                lots.insert(blade, last.id);
            }
        }
        for (&blade, b) in &out {
            let Some((sent, entry)) = b.sent else { continue };
            if b.decided.is_some_and(|(at, written, _)| at > sent || at == sent && written > entry) {
                continue;
            }
            let undecided = b.back.is_some_and(|back| b.decided.is_none_or(|(at, e, _)| (at, e) < back));
            let why = match b.decided.map(|(_, _, i)| WORSE[i]) {
                _ if undecided => "returned",
                Some(Decision::Scrap) => "scrapped",
                Some(Decision::Hold) => "held",
                None | Some(Decision::Rework | Decision::Repair) => "undecided",
                _ if !lots.get(&blade).is_some_and(|l| released.contains(l)) => "unreleased",
                _ if b.back.is_some() && self.sent_by_an_old_release(blade)? => AGAIN,
                _ => continue,
            };
            found.insert(blade, why);
        }
        self.sent_while_held(&out, &mut found)?;
        // Of each lot and reason the first few are named.
        let mut groups: BTreeMap<(Option<i64>, &'static str), (usize, Vec<i64>)> = BTreeMap::new();
        for (blade, why) in found {
            let group = groups.entry((lots.get(&blade).copied(), why)).or_default();
            group.0 += 1;
            if group.1.len() < NAMED {
                group.1.push(blade);
            }
        }
        let mut tag = self.db.prepare_cached("SELECT blade FROM blades WHERE id = ?1")?;
        let mut all = Vec::new();
        for ((lot, why), (count, blades)) in groups {
            let lot = lot.map(|id| self.tag_of(Lots::NAME, id)).transpose()?.unwrap_or_default();
            let blades = blades.iter().map(|id| tag.query_row([id], |r| r.get(0)));
            let blades = blades.collect::<rusqlite::Result<Vec<String>>>()?;
            all.push(Astray { lot, why, count, blades });
        }
        Ok(all)
    }

    /// Nothing but a release from before its return lets this blade go.
    fn sent_by_an_old_release(&self, blade: i64) -> Result<bool> {
        let Some(lot) = lots_of(&self.db, blade)?.pop() else { return Ok(false) };
        release_basis::left_by_return(&self.db, blade, lot.id, lot.entry)
    }

    /// Blades of a signed lot that came back, are in no new lot, and were sent again: tag, when, and whether that is
    /// open: not back, and no disposition later.
    pub fn sent_again(&self, lot: i64) -> Result<Vec<(String, Stamp, bool)>> {
        let moved = self.moved_on(lot)?;
        let mut back: BTreeMap<i64, (String, i64)> = BTreeMap::new();
        for r in self.returned_after_release(lot)?.into_iter().filter(|r| !moved.contains(&r.blade)) {
            let first = back.entry(r.blade).or_insert((r.tag, r.at));
            first.1 = first.1.min(r.at);
        }
        let mut sent = self.db.prepare_cached(
            "SELECT shipped_at, returned_at IS NULL FROM shipments WHERE blade = ?1 ORDER BY shipped_at",
        )?;
        let mut decided =
            self.db.prepare_cached("SELECT max(decided_at) FROM dispositions WHERE blade = ?1")?;
        let mut out = Vec::new();
        for (blade, (tag, first)) in back {
            let decided: Option<i64> = decided.query_row([blade], |r| r.get(0))?;
            let decided = decided.map_or(i64::MIN, |at| Stamp::from_packed(at).ms());
            let mut rows = sent.query([blade])?;
            while let Some(row) = rows.next()? {
                let (at, away) = (Stamp::from_packed(row.get(0)?), row.get::<_, bool>(1)?);
                if at.ms() >= first {
                    out.push((tag.clone(), at, away && decided <= at.ms()));
                }
            }
        }
        Ok(out)
    }

    fn sent_and_decided(&self) -> Result<BTreeMap<i64, Out>> {
        let mut out: BTreeMap<i64, Out> = BTreeMap::new();
        let ms = |packed: i64| Stamp::from_packed(packed).ms();
        let mut q =
            self.db.prepare("SELECT blade, shipped_at, returned_at, entry FROM shipments ORDER BY blade")?;
        let mut rows = q.query([])?;
        while let Some(row) = rows.next()? {
            let b = out.entry(row.get(0)?).or_default();
            let entry: i64 = row.get(3)?;
            match row.get::<_, Option<i64>>(2)? {
                Some(back) => b.back = b.back.max(Some((ms(back), entry))),
                None => b.sent = b.sent.max(Some((ms(row.get(1)?), entry))),
            }
        }
        out.retain(|_, b| b.sent.is_some());
        let mut q =
            self.db.prepare("SELECT blade, decided_at, entry, decision FROM dispositions ORDER BY blade")?;
        let mut rows = q.query([])?;
        while let Some(row) = rows.next()? {
            let Some(b) = out.get_mut(&row.get(0)?) else { continue };
            // A word that no decision is decides nothing.
            let word = row.get_ref(3)?.as_str().unwrap_or("");
            let decision = Decision::of(word).unwrap_or(Decision::Rework);
            let worse = WORSE.iter().position(|d| *d == decision).unwrap_or(WORSE.len() - 1);
            b.decided = b.decided.max(Some((ms(row.get(1)?), row.get(2)?, worse)));
        }
        Ok(out)
    }

    /// Sent while a hold lay on it that is still open. A hold that came later is a recall.
    fn sent_while_held(
        &self,
        out: &BTreeMap<i64, Out>,
        found: &mut BTreeMap<i64, &'static str>,
    ) -> Result<()> {
        if out.is_empty() {
            return Ok(());
        }
        for (hold, _, fence) in self.open_fences()? {
            let placed = journal::of_record(&self.db, Holds::NAME, &hold)?;
            let placed = match placed.first() {
                Some(entry) => entry.came.unwrap_or(entry.seq),
                None => self.find(&hold)?.entry,
            };
            for blade in self.locate(&fence)?.blades.iter().filter(|b| b.place == Place::Shipped) {
                if out.get(&blade.id).and_then(|b| b.sent).is_some_and(|(_, entry)| entry > placed) {
                    found.entry(blade.id).or_insert("held");
                }
            }
        }
        Ok(())
    }

    /// Lots that carry a release that was signed here, void or not.
    fn released_lots(&self) -> Result<HashSet<i64>> {
        read::list(
            &self.db,
            "SELECT DISTINCT s.subject_id FROM signatures s JOIN journal j ON j.seq = s.entry
             WHERE s.subject_kind = 'lots' AND s.meaning = 'released' AND j.action = 'sign'",
            [],
            |r| r.get(0),
        )
    }

    /// Lots whose release stands on the words of a concession, as the first rules allowed: lot, who signed, concessions.
    pub fn released_on_prose(&self) -> Result<Vec<(String, String, Vec<String>)>> {
        let mut out = Vec::new();
        let mut lots: Vec<i64> = self.released_lots()?.into_iter().collect();
        lots.sort_unstable();
        for lot in lots {
            let all = self.signatures_on(Lots::NAME, lot)?;
            let Some(last) = all.iter().rev().find(|s| s.releases()) else { continue };
            if last.bound.as_ref().is_none_or(|b| b.rules >= release_basis::ITEMS_RULES) {
                continue;
            }
            let prose: Vec<String> = read::list(&self.db, "SELECT DISTINCT c.concession FROM lot_blades l CROSS JOIN dispositions d ON d.blade = l.blade
                 CROSS JOIN concessions c ON c.id = d.concession
                 WHERE l.lot = ?1 AND d.decision = 'concession'
                 AND d.decided_at = (SELECT max(e.decided_at) FROM dispositions e WHERE e.blade = l.blade)
                 AND NOT EXISTS (SELECT 1 FROM concession_items i WHERE i.concession = c.id) ORDER BY 1", [lot], |r| r.get(0))?;
            if !prose.is_empty() {
                out.push((self.tag_of(Lots::NAME, lot)?, last.person.clone(), prose));
            }
        }
        Ok(out)
    }
}
