//! What is known of a lot, read once.

use std::collections::{BTreeMap, HashMap, HashSet};
use std::path::PathBuf;

use crate::jobs::lots::permits::Permits;
use crate::jobs::lots::series;
use crate::jobs::lots::series::Series;
use crate::jobs::lots::standing::{bearing, product, stands};
use records::catalogue::typed::Ref;
use records::catalogue::{
    Alloys, Decision, Dispositions, Field, Heats, Inspections, Key, KindType, Lots, Meaning, Moulds, Parts,
    Qualifications, Recorded, TestBars, Verdict,
};
use records::graph::lineage::Fence;
use records::graph::release_basis::{Behind, Signed};
use records::read::lot_queries::{MadeTo, Metal};
use records::read::typed::RowOf;
use records::value::place::Place;
use records::value::tag::in_order;
use records::{Error, Result, Stamp, Store};

/// A lot and every record behind it.
pub struct Basis {
    pub key: Key<Lots>,
    pub lot: Recorded<Lots>,
    pub behind: Behind,
}

impl Basis {
    pub fn read(store: &Store, tag: &str) -> Result<Self> {
        let (key, lot) = store.named(tag)?;
        Ok(Self { key, lot, behind: store.behind_lot(key.id)? })
    }
}

pub struct LotBlade {
    pub id: i64,
    pub tag: String,
    pub mould: Option<Key<Moulds>>,
    pub place: Place,
    pub held: bool,
    /// It came back, and no disposition is later than that.
    pub undecided: bool,
    /// It is no longer the lot's: it came back after the lot was released, or is in another lot by now.
    pub gone: bool,
    /// It counts as made: poured, or found without a mould.
    pub counts: bool,
}

impl LotBlade {
    pub fn inside(&self, fence: &Fence) -> bool {
        fence.holds(self.id, self.mould.map(|m| m.id))
    }
}

/// A mould of the lot, and the heat that it was poured from.
pub struct LotMould {
    pub tag: String,
    pub heat: Option<(Key<Heats>, String)>,
}

/// The last disposition of a blade.
pub struct LastDecision<'b> {
    pub record: RowOf<'b, Dispositions>,
    pub decision: Decision,
    /// The journal entry since which it says so.
    since: i64,
}

/// Product inspections, of each blade by the name of each method.
pub type ByMethod<T> = BTreeMap<(String, &'static str), T>;

/// Everything that reasons and contents are made from.
pub struct Facts<'b> {
    pub key: Key<Lots>,
    pub lot: &'b Recorded<Lots>,
    pub part: Key<Parts>,
    pub blades: Vec<LotBlade>,
    pub moulds: BTreeMap<Key<Moulds>, LotMould>,
    pub metal: Metal,
    pub behind: &'b Behind,
    pub made_to: HashMap<i64, MadeTo>,
    /// Those that stand, in the order of time.
    pub standing: ByMethod<Vec<RowOf<'b, Inspections>>>,
    /// When a blade was last sent to rework or repair.
    pub rework: HashMap<String, Stamp>,
    /// The first presentation.
    pub first: ByMethod<RowOf<'b, Inspections>>,
    decided: HashMap<String, LastDecision<'b>>,
    pub permits: Permits<'b>,
    /// Every qualification on record: one that begins later is said, not left out.
    pub qualifications: Vec<Recorded<Qualifications>>,
    /// Signatures on the lot, in the order in which they were written.
    pub signed: Vec<Signed>,
    /// Blades of the lot's moulds that are in no lot.
    pub strays: Vec<(Key<Moulds>, String)>,
    /// The series that the lot stands in, by each method whose sample an AQL decides.
    pub series: Vec<Series>,
    /// The folder of the store, for attached files.
    pub folder: PathBuf,
}

impl<'b> Facts<'b> {
    /// Reads what the records behind a lot come to.
    pub fn of(store: &Store, basis: &'b Basis) -> Result<Self> {
        let Basis { key, lot, behind } = basis;
        let found = store.lot_blades(key.id)?;
        let mould = |(id, m): (&i64, &records::graph::places::MouldOf)| {
            let heat = m.heat.as_ref().map(|h| (Key::new(h.0), h.1.to_string()));
            (Key::new(*id), LotMould { tag: m.tag.to_string(), heat })
        };
        let moulds: BTreeMap<Key<Moulds>, LotMould> = found.moulds.iter().map(mould).collect();
        let mut heats: Vec<i64> = moulds.values().filter_map(|m| Some(m.heat.as_ref()?.0.id)).collect();
        heats.sort_unstable();
        heats.dedup();
        // No longer the lot's: back after its release, or in another lot by now.
        let mut gone = store.moved_on(key.id)?;
        gone.extend(store.returned_after_release(key.id)?.iter().map(|r| r.blade));
        let ids: Vec<i64> = moulds.keys().map(|m| m.id).collect();
        let strays = store.mould_mates_without_lot(&ids)?;
        let mut strays: Vec<_> = strays.into_iter().map(|(m, blade)| (Key::new(m), blade)).collect();
        strays.sort_by_cached_key(|s| in_order(&s.1));
        let mut blades: Vec<LotBlade> = found
            .blades
            .iter()
            .map(|b| LotBlade {
                id: b.id,
                tag: b.tag.clone(),
                mould: b.mould.map(Key::new),
                // In a lot that was released it stays returned, whatever became of it.
                place: if gone.contains(&b.id) { Place::Returned } else { b.place },
                held: b.held,
                undecided: b.undecided,
                gone: gone.contains(&b.id),
                counts: b.made || b.mould.is_none(),
            })
            .collect();
        blades.sort_by_cached_key(|b| in_order(&b.tag));
        let mut out = Self {
            key: *key,
            lot,
            part: Key::new(store.lot_part(key.id)?),
            blades,
            moulds,
            metal: store.metal_behind(&heats)?,
            behind,
            made_to: store.lot_definitions(key.id)?,
            standing: BTreeMap::new(),
            rework: HashMap::new(),
            first: BTreeMap::new(),
            decided: HashMap::new(),
            permits: Permits::default(),
            qualifications: store.rows()?,
            signed: store.signatures_on(Lots::NAME, key.id)?,
            strays,
            series: Vec::new(),
            folder: store.path().parent().map(Into::into).unwrap_or_default(),
        };
        out.decisions(store)?;
        out.results()?;
        out.permits = Permits::new(store, &out)?;
        out.series = series::read(store, &out)?;
        Ok(out)
    }

    /// Of each blade the latest decision, then the later record.
    fn decisions(&mut self, store: &Store) -> Result<()> {
        let late = |r: &RowOf<Dispositions>| (r.own_time().map(Stamp::ms), r.row.entry);
        let mut last: HashMap<&str, RowOf<Dispositions>> = HashMap::new();
        for record in self.behind.each::<Dispositions>() {
            let blade = record.need(Dispositions::blade)?;
            let again = matches!(record.need(Dispositions::decision)?, Decision::Rework | Decision::Repair);
            if let Some(at) = record.own_time().filter(|_| again) {
                let known = self.rework.entry(blade.to_string()).or_insert(at);
                *known = if at.ms() > known.ms() { at } else { *known };
            }
            if last.get(blade).is_none_or(|known| late(&record) >= late(known)) {
                last.insert(blade, record);
            }
        }
        for (blade, record) in last {
            let decision = record.need(Dispositions::decision)?;
            let since = store.named_since(record.row.entry, Dispositions::decision.name, decision.word())?;
            self.decided.insert(blade.to_string(), LastDecision { record, decision, since });
        }
        Ok(())
    }

    fn results(&mut self) -> Result<()> {
        let order = |r: &RowOf<Inspections>| (r.get(Inspections::round).unwrap_or(0), r.own_time());
        for row in self.behind.each::<Inspections>().filter(|r| product(r)) {
            let blade = row.need(Inspections::blade)?;
            let of = (blade.to_string(), row.need(Inspections::method)?.word());
            if self.first.get(&of).is_none_or(|known| order(&row) < order(known)) {
                self.first.insert(of.clone(), row);
            }
            if stands(&row, self.rework.get(blade).copied()) {
                self.standing.entry(of).or_default().push(row);
            }
        }
        for all in self.standing.values_mut() {
            all.sort_by_key(|r| (r.own_time().map(Stamp::ms), r.row.entry));
        }
        Ok(())
    }

    /// What stands on a blade, by method.
    pub fn standing_of(
        &self,
        blade: &str,
    ) -> impl Iterator<Item = (&'static str, &[RowOf<'b, Inspections>])> {
        let blade = blade.to_string();
        let mine = self.standing.range((blade.clone(), "")..).take_while(move |((tag, _), _)| *tag == blade);
        mine.map(|((_, method), all)| (*method, all.as_slice()))
    }

    /// The results of a method that stand, by blade.
    pub fn standing_by(&self, method: &str) -> impl Iterator<Item = (&str, &[RowOf<'b, Inspections>])> {
        let of = self.standing.iter().filter(move |((_, m), _)| *m == method);
        of.map(|((blade, _), all)| (blade.as_str(), all.as_slice()))
    }

    /// First presentations to a method.
    pub fn first_by(&self, method: &str) -> Vec<RowOf<'b, Inspections>> {
        self.first.iter().filter(|((_, m), _)| *m == method).map(|(_, row)| *row).collect()
    }

    /// The earliest time and journal entry of the last dispositions of some blades.
    pub fn first_decision<'a>(&self, blades: impl Iterator<Item = &'a str>) -> Option<(i64, i64)> {
        let of = |b: &str| self.decided.get(b).and_then(|d| Some((d.record.own_time()?.ms(), d.since)));
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
        let Some(LastDecision { record, since, .. }) = self.decided.get(blade) else { return Ok(false) };
        if record.own_time().is_none_or(|d| d.ms() < at.ms()) {
            return Ok(false);
        }
        for (kind, entry) in entries.iter().filter(|e| e.1 > *since) {
            if store.said_since(*entry, bearing(kind))? > *since {
                return Ok(false);
            }
        }
        Ok(true)
    }

    pub fn ordered(&self) -> Option<i64> {
        self.lot.get(Lots::ordered_count)
    }

    /// How many blades are at a place, of those that count as made.
    pub fn at(&self, place: Place) -> i64 {
        self.blades.iter().filter(|b| b.counts && b.place == place).count() as i64
    }

    /// Blades that can block: all that are neither scrapped nor gone.
    pub fn alive(&self) -> impl Iterator<Item = &LotBlade> {
        self.blades.iter().filter(|b| b.place != Place::Scrapped && !b.gone)
    }

    /// What the lot's part says of it: its zones, its inspection plan.
    pub fn of_part<K: KindType, P: 'static>(
        &self,
        part: Field<K, Ref<Parts>, P>,
    ) -> impl Iterator<Item = RowOf<'b, K>> {
        self.behind.each::<K>().filter(move |r| r.link(part) == Some(self.part))
    }

    /// The lot's part, with its revision.
    pub fn part_name(&self) -> Result<String> {
        let typed = self.lot.need(Lots::part)?;
        Ok(self.behind.at(self.part).map_or_else(|| typed.to_string(), |p| p.address()))
    }

    /// Alloys of the part and of the heats, those behind revert too.
    pub fn alloys(&self) -> impl Iterator<Item = RowOf<'b, Alloys>> {
        let part = self.behind.at(self.part).and_then(|p| p.link(Parts::alloy));
        let mut keys: HashSet<Key<Alloys>> =
            self.behind.each::<Heats>().filter_map(|h| h.link(Heats::alloy)).collect();
        keys.extend(part);
        self.behind.each::<Alloys>().filter(move |r| r.key().is_some_and(|key| keys.contains(&key)))
    }

    /// Test bars of the heats that were poured into the lot.
    pub fn test_bars(&self) -> impl Iterator<Item = RowOf<'b, TestBars>> {
        let heats = self.heats();
        let poured =
            move |r: &RowOf<TestBars>| r.link(TestBars::heat).is_some_and(|h| heats.contains_key(&h));
        self.behind.each::<TestBars>().filter(poured)
    }

    /// Tags of the blades that can block.
    pub fn alive_tags(&self) -> HashSet<&str> {
        self.alive().map(|b| b.tag.as_str()).collect()
    }

    /// Blades that can block, of some moulds.
    pub fn alive_of(&self, moulds: impl Fn(Key<Moulds>) -> bool) -> Vec<String> {
        self.alive().filter(|b| b.mould.is_some_and(&moulds)).map(|b| b.tag.clone()).collect()
    }

    /// Blades that can block, of a heat.
    pub fn alive_of_heat(&self, heat: Key<Heats>) -> Vec<String> {
        self.alive().filter(|b| self.heat_of(b) == Some(heat)).map(|b| b.tag.clone()).collect()
    }

    pub fn heats(&self) -> BTreeMap<Key<Heats>, String> {
        self.moulds.values().filter_map(|m| m.heat.clone()).collect()
    }

    /// Moulds of the lot in the order of their tags.
    pub fn moulds_in_order(&self) -> Vec<(Key<Moulds>, &LotMould)> {
        let mut out: Vec<_> = self.moulds.iter().map(|(key, mould)| (*key, mould)).collect();
        out.sort_by_cached_key(|m| in_order(&m.1.tag));
        out
    }

    /// Heats of the lot in the order of their tags.
    pub fn heats_in_order(&self) -> Vec<(Key<Heats>, String)> {
        let mut out: Vec<_> = self.heats().into_iter().collect();
        out.sort_by_cached_key(|h| in_order(&h.1));
        out
    }

    pub fn mould_of(&self, blade: &LotBlade) -> Option<&LotMould> {
        self.moulds.get(&blade.mould?)
    }

    /// The heat that a blade's mould was poured from.
    pub fn heat_of(&self, blade: &LotBlade) -> Option<Key<Heats>> {
        Some(self.mould_of(blade)?.heat.as_ref()?.0)
    }

    /// The last disposition of a blade.
    pub fn decided(&self, blade: &str) -> Option<&LastDecision<'b>> {
        self.decided.get(blade)
    }

    /// What was last decided on a blade.
    pub fn decision(&self, blade: &str) -> Option<Decision> {
        self.decided.get(blade).map(|d| d.decision)
    }

    /// The last disposition says that the blade may go.
    pub fn accepting(&self, blade: &LotBlade) -> bool {
        matches!(self.decision(&blade.tag), Some(Decision::Accept | Decision::Concession))
    }

    /// Signatures by which the lot was released here.
    pub fn releases(&self) -> impl DoubleEndedIterator<Item = &Signed> {
        self.signed.iter().filter(|s| s.genuine && s.meaning == Meaning::Released.word())
    }
}

/// All these results are accepts.
pub fn accepted(results: &[RowOf<Inspections>]) -> bool {
    results.iter().all(|r| r.get(Inspections::result) == Some(Verdict::Accept))
}

/// Records with their tags, in the order of these.
pub fn tagged<K: KindType>(
    store: &Store,
    ids: impl IntoIterator<Item = i64>,
) -> Result<Vec<(Key<K>, String)>> {
    let tagged = ids.into_iter().map(Key::new).map(|key| Ok((key, store.tag_at(key)?)));
    let mut out = tagged.collect::<Result<Vec<_>>>()?;
    out.sort_by_cached_key(|t| in_order(&t.1));
    Ok(out)
}

/// The key of a record behind a lot.
///
/// # Errors
/// Its row has no number: the file was altered.
pub fn key_of<K: KindType>(row: RowOf<K>) -> Result<Key<K>> {
    row.key().ok_or_else(|| Error::untrusted(format!("{} has no number", row.address())))
}
