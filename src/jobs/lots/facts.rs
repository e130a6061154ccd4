//! What is known of a lot, read once.

use std::collections::{BTreeMap, HashMap, HashSet};

use crate::jobs::lots::permits::Permits;
use crate::jobs::lots::standing::{bearing, product, stands};
use records::graph::release_basis::{Behind, Row, Signed};
use records::read::Found;
use records::read::lot_queries::{MadeTo, Metal};
use records::value::tag::{in_order, shown};
use records::value::words::articled;
use records::{Error, Result, Store};
use records::{Record, Stamp, catalogue};

/// A blade of the lot.
pub struct Blade {
    pub id: i64,
    pub tag: String,
    pub mould: Option<i64>,
    pub place: &'static str,
    pub held: bool,
    /// It came back, and no disposition is later than that.
    pub undecided: bool,
    /// It is no longer the lot's: it came back after the lot was released, or is in another lot by now.
    pub gone: bool,
    /// It counts as made: poured, or found without a mould.
    pub counts: bool,
}

/// Everything that reasons and contents are made from.
pub struct Facts {
    pub lot: Found,
    pub id: i64,
    pub part: i64,
    pub blades: Vec<Blade>,
    /// Mould id → tag, heat id and tag.
    pub moulds: BTreeMap<i64, (String, Option<(i64, String)>)>,
    pub metal: Metal,
    pub behind: Behind,
    pub made_to: HashMap<i64, MadeTo>,
    /// Product inspections that stand, of each blade by each method, in the order of time: positions in `behind.rows`.
    pub standing: BTreeMap<(String, String), Vec<usize>>,
    /// When a blade was last sent to rework or repair.
    pub rework: HashMap<String, Stamp>,
    /// First product inspection of each blade by each method.
    pub first: BTreeMap<(String, String), usize>,
    /// Last disposition of each blade: position in `behind.rows`.
    pub decided: HashMap<String, usize>,
    /// The journal entry since which it says so.
    since: HashMap<String, i64>,
    pub permits: Permits,
    qualifications: Vec<Record<'static>>,
    /// Signatures on the lot, in the order in which they were written.
    pub signed: Vec<Signed>,
    /// Blades of the lot's moulds that are in no lot.
    pub strays: Vec<(i64, String)>,
    /// Dates whole blades are judged by: the folder of the store, for attached files.
    pub folder: std::path::PathBuf,
}

impl Facts {
    /// Reads a lot.
    pub fn read(store: &Store, tag: &str) -> Result<Self> {
        let lot = store.find(tag)?;
        let id = lot.id.unwrap_or(-1);
        if lot.kind.name != "lots" {
            return Err(Error::input(format!("{} is {}; name a lot", shown(tag), articled(lot.kind.noun))));
        }
        let part = store.lot_part(id)?;
        let found = store.lot_blades(id)?;
        let moulds: BTreeMap<i64, (String, Option<(i64, String)>)> = found
            .moulds
            .iter()
            .map(|(id, m)| (*id, (m.tag.to_string(), m.heat.as_ref().map(|h| (h.0, h.1.to_string())))))
            .collect();
        let mut heats: Vec<i64> = moulds.values().filter_map(|m| m.1.as_ref().map(|h| h.0)).collect();
        heats.sort_unstable();
        heats.dedup();
        let metal = store.metal_behind(&heats)?;
        let behind = store.behind_lot(id)?;
        let signed = store.signatures_on("lots", id)?;
        // No longer the lot's: back after its release, or in another lot by now.
        let mut gone = store.moved_on(id)?;
        gone.extend(store.returned_after_release(id)?.iter().map(|r| r.blade));
        let ids: Vec<i64> = moulds.keys().copied().collect();
        let mut strays = store.mould_mates_without_lot(&ids)?;
        strays.sort_by_cached_key(|s| in_order(&s.1));
        let mut blades: Vec<Blade> = found
            .blades
            .iter()
            .map(|b| Blade {
                id: b.id,
                tag: b.tag.clone(),
                mould: b.mould,
                // In a lot that was released it stays returned, whatever became of it.
                place: if gone.contains(&b.id) { "returned" } else { b.place.word() },
                held: b.held,
                undecided: b.undecided,
                gone: gone.contains(&b.id),
                counts: b.made || b.mould.is_none(),
            })
            .collect();
        blades.sort_by_cached_key(|b| in_order(&b.tag));
        let mut out = Self {
            lot,
            id,
            part,
            blades,
            moulds,
            metal,
            made_to: store.lot_definitions(id)?,
            standing: BTreeMap::new(),
            rework: HashMap::new(),
            first: BTreeMap::new(),
            decided: HashMap::new(),
            since: HashMap::new(),
            permits: Permits::default(),
            qualifications: store.all_of(catalogue::Qualifications::KIND)?,
            signed,
            strays,
            folder: store.path().parent().map(Into::into).unwrap_or_default(),
            behind,
        };
        out.order();
        for (blade, &at) in &out.decided {
            let row = &out.behind.rows[at];
            let decision = row.record.get("decision").to_text();
            out.since.insert(blade.clone(), store.named_since(row.entry, "decision", &decision)?);
        }
        out.permits = Permits::new(store, &out)?;
        Ok(out)
    }

    fn order(&mut self) {
        let key = |r: &Row| (r.record.get("round").number().unwrap_or(0.0) as i64, r.record.own_time());
        for (i, row) in self.behind.rows.iter().enumerate() {
            if row.kind != "dispositions" {
                continue;
            }
            let blade = row.record.get("blade").to_text();
            let at = row.record.own_time();
            if matches!(row.record.get("decision").text(), Some("rework" | "repair")) {
                if let Some(at) = at {
                    let known = self.rework.entry(blade.clone()).or_insert(at);
                    *known = if at.ms() > known.ms() { at } else { *known };
                }
            }
            // The latest decision, then the later record.
            let late = |r: &Row| (r.record.own_time().map(Stamp::ms), r.entry);
            if self.decided.get(&blade).is_none_or(|&j| late(row) >= late(&self.behind.rows[j])) {
                self.decided.insert(blade, i);
            }
        }
        for (i, row) in self.behind.rows.iter().enumerate() {
            if row.kind != "inspections" || !product(&row.record) {
                continue;
            }
            let of = (row.record.get("blade").to_text(), row.record.get("method").to_text());
            if self.first.get(&of).is_none_or(|&j| key(row) < key(&self.behind.rows[j])) {
                self.first.insert(of.clone(), i);
            }
            if stands(&row.record, self.rework.get(&of.0).copied()) {
                self.standing.entry(of).or_default().push(i);
            }
        }
        let rows = &self.behind.rows;
        for all in self.standing.values_mut() {
            all.sort_by_key(|i| (rows[*i].record.own_time().map(Stamp::ms), rows[*i].entry));
        }
    }

    /// What stands on a blade, by method.
    pub fn standing_of<'a>(&'a self, blade: &str) -> impl Iterator<Item = (&'a str, &'a [usize])> {
        let blade = blade.to_string();
        let from = (blade.clone(), String::new());
        let mine = self.standing.range(from..).take_while(move |((tag, _), _)| *tag == blade);
        mine.map(|((_, method), all)| (method.as_str(), all.as_slice()))
    }

    /// All results that stand of a blade by a method are accepts.
    pub fn accepted(&self, stand: &[usize]) -> bool {
        stand.iter().all(|i| self.record(*i).get("result").text() == Some("accept"))
    }

    /// Every qualification on record: one that begins later is said, not left out.
    pub fn qualifications(&self) -> impl Iterator<Item = &Record<'static>> {
        self.qualifications.iter()
    }

    /// The earliest time and journal entry of the last dispositions of some blades.
    pub fn first_decision<'a>(&self, blades: impl Iterator<Item = &'a str>) -> Option<(i64, i64)> {
        let of = |b: &str| Some((self.decision(b)?.own_time()?.ms(), *self.since.get(b)?));
        blades.filter_map(of).reduce(|a, b| (a.0.min(b.0), a.1.min(b.1)))
    }

    /// The last disposition of a blade is not older than a record of this time, nor than when these records, each with
    /// its kind and last entry, came to speak of the blade: whoever decided could have seen it.
    pub fn decided_after(
        &self,
        store: &Store,
        blade: &str,
        at: Stamp,
        entries: &[(&'static str, i64)],
    ) -> Result<bool> {
        let (Some(row), Some(&since)) = (self.decision_row(blade), self.since.get(blade)) else {
            return Ok(false);
        };
        if row.record.own_time().is_none_or(|d| d.ms() < at.ms()) {
            return Ok(false);
        }
        for (kind, entry) in entries.iter().filter(|e| e.1 > since) {
            if store.said_since(*entry, bearing(kind))? > since {
                return Ok(false);
            }
        }
        Ok(true)
    }

    pub fn ordered(&self) -> Option<i64> {
        self.lot.record.get("ordered_count").number().map(|n| n as i64)
    }

    /// Blades that can block: all that are neither scrapped nor gone.
    pub fn alive(&self) -> impl Iterator<Item = &Blade> {
        self.blades.iter().filter(|b| b.place != "scrapped" && !b.gone)
    }

    /// What the lot's part says of it: its zones, its inspection plan.
    pub fn of_part<'a>(&'a self, kind: &'a str) -> impl Iterator<Item = &'a Record<'static>> {
        self.behind.of(kind).filter(|r| r.link("part") == Some(self.part)).map(|r| &r.record)
    }

    /// Alloys of the part and of the heats, those behind revert too.
    pub fn alloys(&self) -> impl Iterator<Item = &Row> {
        let part = self.behind.row("parts", self.part).and_then(|p| p.link("alloy"));
        let mut ids: HashSet<i64> = self.behind.of("heats").filter_map(|h| h.link("alloy")).collect();
        ids.extend(part);
        self.behind.of("alloys").filter(move |r| r.id.is_some_and(|id| ids.contains(&id)))
    }

    /// Test bars of the heats that were poured into the lot.
    pub fn test_bars(&self) -> impl Iterator<Item = &Record<'static>> {
        let heats = self.heats();
        let of = move |r: &&Row| r.link("heat").is_some_and(|h| heats.contains_key(&h));
        self.behind.of("test_bars").filter(of).map(|r| &r.record)
    }

    /// Tags of the blades that can block.
    pub fn alive_tags(&self) -> HashSet<&str> {
        self.alive().map(|b| b.tag.as_str()).collect()
    }

    /// Blades that can block, of some moulds.
    pub fn alive_of(&self, moulds: impl Fn(i64) -> bool) -> Vec<String> {
        self.alive().filter(|b| b.mould.is_some_and(&moulds)).map(|b| b.tag.clone()).collect()
    }

    /// Blades that can block, of a heat.
    pub fn alive_of_heat(&self, heat: i64) -> Vec<String> {
        self.alive_of(|m| self.moulds.get(&m).is_some_and(|(_, h)| h.as_ref().is_some_and(|h| h.0 == heat)))
    }

    /// Heats of the lot: id and tag.
    pub fn heats(&self) -> BTreeMap<i64, String> {
        self.moulds.values().filter_map(|m| m.1.clone()).collect()
    }

    /// Moulds of the lot in the order of their tags: id, tag, heat.
    pub fn moulds_in_order(&self) -> Vec<(i64, &str, Option<i64>)> {
        let of = self.moulds.iter().map(|(id, (tag, heat))| (*id, tag.as_str(), heat.as_ref().map(|h| h.0)));
        let mut out: Vec<_> = of.collect();
        out.sort_by_cached_key(|m| in_order(m.1));
        out
    }

    /// Heats of the lot in the order of their tags.
    pub fn heats_in_order(&self) -> Vec<(i64, String)> {
        let mut out: Vec<_> = self.heats().into_iter().collect();
        out.sort_by_cached_key(|h| in_order(&h.1));
        out
    }

    /// Records of a kind in the order of their tags.
    pub fn tagged_in_order(
        store: &Store,
        kind: &str,
        ids: impl IntoIterator<Item = i64>,
    ) -> Result<Vec<(i64, String)>> {
        let tagged = ids.into_iter().map(|id| Ok((id, store.tag_of(kind, id)?)));
        let mut out = tagged.collect::<Result<Vec<_>>>()?;
        out.sort_by_cached_key(|t| in_order(&t.1));
        Ok(out)
    }

    /// The record at a position.
    pub fn record(&self, at: usize) -> &Record<'static> {
        &self.behind.rows[at].record
    }

    /// The heat that a blade's mould was poured from.
    pub fn heat_of(&self, blade: &Blade) -> Option<i64> {
        Some(self.moulds.get(&blade.mould?)?.1.as_ref()?.0)
    }

    /// The id of the record at a position.
    pub fn id_of(&self, at: usize) -> i64 {
        self.behind.rows[at].id.unwrap_or(-1)
    }

    /// The row of the last disposition of a blade.
    pub fn decision_row(&self, blade: &str) -> Option<&Row> {
        self.decided.get(blade).map(|&i| &self.behind.rows[i])
    }

    /// The last disposition of a blade.
    pub fn decision(&self, blade: &str) -> Option<&Record<'static>> {
        self.decided.get(blade).map(|&i| self.record(i))
    }

    /// The definition with an id.
    pub fn definition(&self, kind: &str, id: i64) -> Option<&Record<'static>> {
        self.behind.row(kind, id).map(|r| &r.record)
    }
}
