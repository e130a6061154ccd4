//! Deviations and concessions that blades of a lot were decided on by: whether each counts, and what its items lift.
//! Words lift nothing.

use std::cell::RefCell;
use std::collections::{BTreeMap, BTreeSet, HashMap};

use crate::jobs::lots::cover;
use crate::jobs::lots::cover::{Coverage, ItemRow, Objection, OfBlade};
use crate::jobs::lots::facts::{Facts, LotBlade, key_of};
use crate::jobs::lots::readers::day;
use crate::jobs::lots::summary::{Block, Covered, Permission};
use records::catalogue::{
    Blades, ConcessionItems, ConcessionType, Concessions, Decision, Dispositions, Heats, Inspections, Key,
    Lots, Parts,
};
use records::graph::lineage::Fence;
use records::read::typed::RowOf;
use records::value::tag::shown;
use records::value::words::counted;
use records::{Error, Link, Result, Stamp, Store};

/// What an item must say, for a concession that says it in words alone.
const FIELDS: &str =
    "fill concession_items: covers, name, and as needed at_most, at_least, unit, measure, zone, only_for";

/// The permissions of a lot.
#[derive(Default)]
pub struct Permits<'b> {
    known: BTreeMap<String, Permit<'b>>,
    /// Blade → what it stands under.
    under: HashMap<String, Under>,
    /// What is wrong with a permission.
    pub faults: Vec<Block>,
    /// Concession and item → what it lifts → blades.
    lifts: RefCell<BTreeMap<(String, i64), BTreeMap<String, BTreeSet<String>>>>,
}

/// A concession with its items.
struct Permit<'b> {
    record: RowOf<'b, Concessions>,
    /// Each row with the journal entry that wrote it.
    rows: Vec<(ItemRow, i64)>,
    /// What came out of the records that rows are only for.
    fences: Vec<(Link, Fence)>,
    /// Blades in the order in which they count.
    order: Vec<i64>,
    /// Of a deviation: moulds that were poured before it was on record.
    after: BTreeSet<String>,
}

/// A blade under a concession.
enum Under {
    /// The concession does not count for it: why.
    Void(String),
    /// It counts: tag, the blade, and the entry since which the disposition names it.
    Live(String, OfBlade, i64),
}

fn bare(tag: &str) -> &str {
    tag.split('@').next().unwrap_or(tag)
}

impl<'b> Permits<'b> {
    /// Reads the permissions of a lot.
    pub fn new(store: &Store, facts: &Facts<'b>) -> Result<Self> {
        let mut out = Self::default();
        for record in facts.behind.each::<Concessions>() {
            out.known.insert(record.address(), Permit::read(store, record)?);
        }
        let mut parts: HashMap<i64, String> = HashMap::new();
        for blade in facts.alive() {
            let Some(decided) = facts.decided(&blade.tag).filter(|d| d.decision == Decision::Concession)
            else {
                continue;
            };
            let tag = decided.record.get(Dispositions::concession).unwrap_or_default().to_string();
            let Some(known) = out.known.get_mut(&tag) else {
                out.void(blade, &tag, "the disposition names no concession".into());
                continue;
            };
            let since = store.named_since(decided.record.row.entry, Dispositions::concession.name, &tag)?;
            match known.faults(store, facts, blade, decided.record.own_time(), &mut parts)? {
                Some(why) => out.void(blade, &tag, format!("{tag} {why}")),
                None => {
                    let of = known.of(store, facts, blade, since)?;
                    out.under.insert(blade.tag.clone(), Under::Live(tag, of, since));
                }
            }
        }
        Ok(out)
    }

    /// A concession that does not count for a blade: nothing lifts that.
    fn void(&mut self, blade: &LotBlade, tag: &str, why: String) {
        self.faults.push(Block {
            record: Some(tag.to_string()).filter(|t| !t.is_empty()),
            ..Block::of_blade(&blade.tag, "concession", "concession", why.clone())
        });
        self.under.insert(blade.tag.clone(), Under::Void(why));
    }

    /// Whether the blade's concession covers this, and that it did; `reading` are the mould, heat or inspection that it was
    /// read on.
    ///
    /// # Errors
    /// It stands: what is missing, as the rest of a sentence; blank where the blade goes under no concession.
    pub fn lifts(&self, blade: &str, what: &Objection, reading: &[Link]) -> std::result::Result<(), String> {
        let by = self.covering(blade, what, reading)?;
        let mut lifts = self.lifts.borrow_mut();
        lifts.entry(by).or_default().entry(what.words()).or_default().insert(blade.to_string());
        Ok(())
    }

    /// The concession and its item by which this is lifted.
    ///
    /// # Errors
    /// As for `lifts`.
    pub fn covering(
        &self,
        blade: &str,
        what: &Objection,
        reading: &[Link],
    ) -> std::result::Result<(String, i64), String> {
        let (tag, of, since) = match self.under.get(blade) {
            None => return Err(String::new()),
            Some(Under::Void(why)) => return Err(format!("; {why}")),
            Some(Under::Live(tag, of, since)) => (tag, of, *since),
        };
        let Some(known) = self.known.get(tag) else { return Err(String::new()) };
        if known.rows.is_empty() {
            return Err(format!(
                "; {tag} has no items and its words lift nothing: a new concession is needed, {FIELDS}"
            ));
        }
        let rows: Vec<ItemRow> =
            known.rows.iter().filter(|(_, e)| *e < since).map(|(r, _)| r.clone()).collect();
        if rows.is_empty() {
            return Err(format!("; the items of {tag} were written after the blade was decided on by it"));
        }
        match cover::judge(&rows, what, of, reading) {
            Coverage::Open(missing) => Err(format!("; {tag}, {missing}")),
            Coverage::Lifted(item) => Ok((tag.clone(), item)),
        }
    }

    /// As the summary lists them.
    pub fn list(&self, facts: &Facts) -> Result<Vec<Permission>> {
        let mut out = Vec::new();
        for (tag, known) in &self.known {
            let r = known.record;
            let to = |b: &&LotBlade| {
                facts.decided(&b.tag).is_some_and(|d| {
                    d.decision == Decision::Concession && d.record.get(Dispositions::concession) == Some(tag)
                })
            };
            let quantity = r.get(Concessions::quantity);
            let used = known.order.len() as i64;
            let by = [r.text(Concessions::granted_by), r.text(Concessions::reference)];
            let by: Vec<&str> = by.iter().map(String::as_str).filter(|t| !t.is_empty()).collect();
            out.push(Permission {
                concession: tag.clone(),
                kind: r.need(Concessions::r#type)?.word(),
                limits: r.need(Concessions::limits)?.to_string(),
                quantity,
                used,
                left: quantity.map(|q| (q - used).max(0)),
                granted: format!("{} {}", r.cell(Concessions::granted_at).to_text(), by.join(", ")),
                expires_on: r.text(Concessions::expires_on),
                after_the_pour: known.after.iter().cloned().collect(),
                items: self.covered(tag, known),
                blades: facts.blades.iter().filter(to).map(|b| b.tag.clone()).collect(),
            });
        }
        Ok(out)
    }

    fn covered(&self, tag: &str, known: &Permit) -> Vec<Covered> {
        let lifts = self.lifts.borrow();
        let mut words: BTreeMap<i64, Vec<String>> = BTreeMap::new();
        for (row, _) in &known.rows {
            words.entry(row.item).or_default().push(row.words());
        }
        let of = |item: i64| -> Vec<String> {
            let of_item = lifts.get(&(tag.to_string(), item));
            let said = |(what, blades): (&String, &BTreeSet<String>)| {
                format!("{what} ({})", counted(blades.len(), "blade"))
            };
            of_item.map_or_else(Vec::new, |l| l.iter().map(said).collect())
        };
        words
            .into_iter()
            .map(|(item, rows)| Covered { item, covers: rows.join("; "), lifts: of(item) })
            .collect()
    }
}

impl<'b> Permit<'b> {
    fn read(store: &Store, record: RowOf<'b, Concessions>) -> Result<Self> {
        let id = key_of(record)?.id;
        let (mut rows, mut fences) = (Vec::new(), Vec::<(Link, Fence)>::new());
        for item in store.concession_items(id)? {
            let of = item.record.of::<ConcessionItems>().ok_or_else(|| Error::untrusted("not an item"))?;
            rows.push((ItemRow::of(of, item.only_for)?, item.entry));
            let by_itself = |link: &Link| {
                matches!(link.kind, Heats::NAME | Lots::NAME | Blades::NAME | Inspections::NAME)
            };
            let asked = item.only_for.filter(|link| !by_itself(link));
            if let Some(only) = asked.filter(|link| fences.iter().all(|f| f.0 != *link)) {
                fences.push((only, store.came_out_of(only)?));
            }
        }
        let order = store.counted_under(id, &record.address())?;
        Ok(Self { record, rows, fences, order, after: BTreeSet::new() })
    }

    /// Why the concession does not count for a blade.
    fn faults(
        &mut self,
        store: &Store,
        facts: &Facts,
        blade: &LotBlade,
        decided: Option<Stamp>,
        parts: &mut HashMap<i64, String>,
    ) -> Result<Option<String>> {
        let r = self.record;
        let filled = |text: Option<&'b str>| text.map(str::trim).filter(|t| !t.is_empty());
        let granted_by = filled(r.get(Concessions::granted_by));
        let by_person = granted_by.map(|p| store.knows_person(p)).transpose()? == Some(true);
        if !by_person && filled(r.get(Concessions::reference)).is_none() {
            return Ok(Some(match granted_by {
                Some(p) => format!(
                    "is not granted: the store knows no person {}, and no reference is filled",
                    shown(p)
                ),
                None => "is not granted: neither granted_by nor reference is filled".into(),
            }));
        }
        let expires = r.get(Concessions::expires_on);
        if let Some(expires) = expires.filter(|e| decided.is_some_and(|at| day(at).as_str() > *e)) {
            return Ok(Some(format!("had expired on {expires} when the blade was dispositioned to it")));
        }
        if decided.map(Stamp::ms) <= r.own_time().map(Stamp::ms) {
            return Ok(Some("was granted after the blade was dispositioned to it".into()));
        }
        let own = r.need(Concessions::part)?;
        let Some(made_to) = blade.mould.and_then(|m| facts.made_to.get(&m.id)) else {
            return Ok(Some(format!("is for part {own}, and the part of the blade is not recorded")));
        };
        let part = match parts.get(&made_to.part) {
            Some(tag) => tag,
            None => {
                let tag = store.tag_at(Key::<Parts>::new(made_to.part))?;
                parts.entry(made_to.part).or_insert(tag)
            }
        };
        if !bare(part).eq_ignore_ascii_case(bare(own)) {
            return Ok(Some(format!("is for part {own}, the blade is of {part}")));
        }
        let at = self.order.iter().position(|b| *b == blade.id);
        if let (Some(q), Some(at)) = (r.get(Concessions::quantity), at) {
            if at as i64 >= q {
                return Ok(Some(format!(
                    "is for {}; this one is number {} of those dispositioned to it",
                    counted(q as usize, "blade"),
                    at + 1
                )));
            }
        }
        self.note_pour(store, facts, blade)?;
        Ok(None)
    }

    /// A deviation must stand in the journal before the pour; else it is a concession, and that is printed.
    fn note_pour(&mut self, store: &Store, facts: &Facts, blade: &LotBlade) -> Result<()> {
        let deviation = self.record.need(Concessions::r#type)? == ConcessionType::Deviation;
        let mould = blade.mould.and_then(|m| Some((m, &facts.moulds.get(&m)?.tag)));
        let Some((mould, tag)) = mould.filter(|(_, tag)| deviation && !self.after.contains(*tag)) else {
            return Ok(());
        };
        let Some((poured, earliest)) = store.first_pour(mould.id)? else { return Ok(()) };
        let granted = self.record.cell(Concessions::granted_at).to_text();
        let since = store.named_since(self.record.row.entry, Concessions::granted_at.name, &granted)?;
        let before = since < poured
            && self.rows.iter().all(|(_, entry)| *entry < poured)
            && self.record.own_time().is_some_and(|at| at.ms() < earliest.ms());
        if !before {
            self.after.insert(tag.clone());
        }
        Ok(())
    }

    fn of(&self, store: &Store, facts: &Facts, blade: &LotBlade, since: i64) -> Result<OfBlade> {
        let of_lot = |row: &ItemRow| row.only_for.as_ref().is_some_and(|o| o.0.kind == Lots::NAME);
        let by_lot = self.rows.iter().any(|(row, _)| of_lot(row));
        Ok(OfBlade {
            blade: Key::new(blade.id),
            heat: facts.heat_of(blade),
            lot: if by_lot { store.lot_now_and_at(blade.id, since)?.map(Key::new) } else { None },
            under: self.fences.iter().filter(|f| blade.inside(&f.1)).map(|f| f.0).collect(),
        })
    }
}
