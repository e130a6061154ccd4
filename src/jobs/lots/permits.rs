//! Deviations and concessions that blades of a lot were decided on by: whether each counts, and what its items lift.
//! Words lift nothing.

use std::cell::RefCell;
use std::collections::{BTreeMap, BTreeSet, HashMap, HashSet};

use crate::jobs::lots::cover;
use crate::jobs::lots::cover::{Id, Of, Row, Verdict, What};
use crate::jobs::lots::facts::{Blade, Facts};
use crate::jobs::lots::readers::day;
use crate::jobs::lots::show::{Block, Covered, Permission};
use records::graph::lineage::Fence;
use records::value::tag::shown;
use records::value::words::counted;
use records::{Link, Result, Store};
use records::{Record, Stamp};

/// What an item must say, for a concession that says it in words alone.
const FIELDS: &str =
    "fill concession_items: covers, name, and as needed at_most, at_least, unit, measure, zone, only_for";

/// The permissions of a lot.
#[derive(Default)]
pub struct Permits {
    known: BTreeMap<String, Known>,
    /// Blade → what it stands under.
    under: HashMap<String, Under>,
    /// What is wrong with a permission.
    pub faults: Vec<Block>,
    /// Concession and item → what it lifts → blades.
    lifts: RefCell<BTreeMap<(String, i64), BTreeMap<String, BTreeSet<String>>>>,
}

/// A concession with its items.
struct Known {
    record: Record<'static>,
    entry: i64,
    /// Each row with the journal entry that wrote it.
    rows: Vec<(Row, i64)>,
    /// What came out of the records that rows are only for.
    fences: Vec<(Id, Fence)>,
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
    Live(String, Of, i64),
}

fn bare(tag: &str) -> &str {
    tag.split('@').next().unwrap_or(tag)
}

impl Permits {
    /// Reads the permissions of a lot.
    pub fn new(store: &Store, facts: &Facts) -> Result<Self> {
        let mut out = Self::default();
        for row in facts.behind.of("concessions") {
            let known = Known::read(store, row.id.unwrap_or(-1), row.record.clone(), row.entry)?;
            out.known.insert(row.record.address(), known);
        }
        let mut parts: HashMap<i64, String> = HashMap::new();
        for blade in facts.alive() {
            let Some(row) = facts.decision_row(&blade.tag) else { continue };
            let d = &row.record;
            if d.get("decision").text() != Some("concession") {
                continue;
            }
            let tag = d.get("concession").to_text();
            let Some(known) = out.known.get_mut(&tag) else {
                out.void(blade, &tag, "the disposition names no concession".into());
                continue;
            };
            let since = store.named_since(row.entry, "concession", &tag)?;
            match known.faults(store, facts, blade, d, &mut parts)? {
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
    fn void(&mut self, blade: &Blade, tag: &str, why: String) {
        self.faults.push(Block {
            blade: Some(blade.tag.clone()),
            station: "concession".into(),
            reason: why.clone(),
            record: Some(tag.to_string()).filter(|t| !t.is_empty()),
            blades: Vec::new(),
            code: "concession",
        });
        self.under.insert(blade.tag.clone(), Under::Void(why));
    }

    /// Whether the blade's concession covers this; `reading` are the mould, heat or inspection that it was read on.
    ///
    /// # Errors
    /// It stands: what is missing, as the rest of a sentence; blank where the blade goes under no concession.
    pub fn lifts(&self, blade: &str, what: &What, reading: &[Id]) -> std::result::Result<(), String> {
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
        let rows: Vec<Row> = known.rows.iter().filter(|(_, e)| *e < since).map(|(r, _)| r.clone()).collect();
        if rows.is_empty() {
            return Err(format!("; the items of {tag} were written after the blade was decided on by it"));
        }
        match cover::judge(&rows, what, of, reading) {
            Verdict::Open(missing) => Err(format!("; {tag}, {missing}")),
            Verdict::Lifted(item) => {
                let mut lifts = self.lifts.borrow_mut();
                let of_item = lifts.entry((tag.clone(), item)).or_default();
                of_item.entry(what.words()).or_default().insert(blade.to_string());
                Ok(())
            }
        }
    }

    /// As the summary lists them.
    pub fn list(&self, facts: &Facts) -> Vec<Permission> {
        let mut out = Vec::new();
        for (tag, known) in &self.known {
            let r = &known.record;
            let to = |b: &&Blade| {
                facts.decision(&b.tag).is_some_and(|d| {
                    d.get("decision").text() == Some("concession") && d.get("concession").text() == Some(tag)
                })
            };
            let quantity = r.get("quantity").number().map(|q| q as i64);
            let used = known.order.len() as i64;
            let by = [r.get("granted_by").to_text(), r.get("reference").to_text()];
            let by: Vec<String> = by.into_iter().filter(|b| !b.is_empty()).collect();
            out.push(Permission {
                concession: tag.clone(),
                kind: r.get("type").to_text(),
                limits: r.get("limits").to_text(),
                quantity,
                used,
                left: quantity.map(|q| (q - used).max(0)),
                granted: format!("{} {}", r.get("granted_at").to_text(), by.join(", ")),
                expires_on: r.get("expires_on").to_text(),
                after_the_pour: known.after.iter().cloned().collect(),
                items: self.covered(tag, known),
                blades: facts.blades.iter().filter(to).map(|b| b.tag.clone()).collect(),
            });
        }
        out
    }

    fn covered(&self, tag: &str, known: &Known) -> Vec<Covered> {
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

impl Known {
    fn read(store: &Store, id: i64, record: Record<'static>, entry: i64) -> Result<Self> {
        let tag = record.address();
        let (mut rows, mut fences) = (Vec::new(), Vec::new());
        let mut seen: HashSet<Id> = HashSet::new();
        for item in store.concession_items(id)? {
            let only = item.only_for.map(|l: Link| (l.kind, l.id));
            rows.push((Row::of(&item.record, only), item.entry));
            let asked = only.filter(|o| !matches!(o.0, "heats" | "lots" | "blades" | "inspections"));
            if let Some(only) = asked.filter(|o| seen.insert(*o)) {
                fences.push((only, store.came_out_of(Link { kind: only.0, id: only.1 })?));
            }
        }
        let order = store.counted_under(id, &tag)?;
        Ok(Self { record, entry, rows, fences, order, after: BTreeSet::new() })
    }

    /// Why the concession does not count for a blade.
    fn faults(
        &mut self,
        store: &Store,
        facts: &Facts,
        blade: &Blade,
        disposition: &Record,
        parts: &mut HashMap<i64, String>,
    ) -> Result<Option<String>> {
        let r = &self.record;
        let text = |f: &str| r.get(f).text().map(str::trim).filter(|t| !t.is_empty());
        let by_person = text("granted_by").map(|p| store.knows_person(p)).transpose()? == Some(true);
        if !by_person && text("reference").is_none() {
            return Ok(Some(match text("granted_by") {
                Some(p) => format!(
                    "is not granted: the store knows no person {}, and no reference is filled",
                    shown(p)
                ),
                None => "is not granted: neither granted_by nor reference is filled".into(),
            }));
        }
        let decided = disposition.own_time();
        let expires = r.get("expires_on").to_text();
        if decided.is_some_and(|at| r.get("expires_on").text().is_some() && day(at) > expires) {
            return Ok(Some(format!("had expired on {expires} when the blade was dispositioned to it")));
        }
        if decided.map(Stamp::ms) <= r.own_time().map(Stamp::ms) {
            return Ok(Some("was granted after the blade was dispositioned to it".into()));
        }
        let part = match blade.mould.and_then(|m| facts.made_to.get(&m)) {
            Some(made_to) => match parts.get(&made_to.part) {
                Some(tag) => Some(tag.clone()),
                None => {
                    let tag = store.tag_of("parts", made_to.part)?;
                    parts.insert(made_to.part, tag.clone());
                    Some(tag)
                }
            },
            None => None,
        };
        let own = r.get("part").to_text();
        match part {
            Some(part) if bare(&part).eq_ignore_ascii_case(bare(&own)) => {}
            Some(part) => return Ok(Some(format!("is for part {own}, the blade is of {part}"))),
            None => {
                return Ok(Some(format!(
                    "is for part {own}, and of which part the blade is is not recorded"
                )));
            }
        }
        let at = self.order.iter().position(|b| *b == blade.id);
        if let (Some(q), Some(at)) = (r.get("quantity").number(), at) {
            if at as f64 >= q {
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
    fn note_pour(&mut self, store: &Store, facts: &Facts, blade: &Blade) -> Result<()> {
        let mould = blade.mould.and_then(|m| Some((m, facts.moulds.get(&m)?)));
        let (Some((mould, (tag, _))), Some("deviation")) = (mould, self.record.get("type").text()) else {
            return Ok(());
        };
        if self.after.contains(tag) {
            return Ok(());
        }
        let Some((poured, earliest)) = store.first_pour(mould)? else { return Ok(()) };
        let granted = self.record.get("granted_at").to_text();
        let before = store.named_since(self.entry, "granted_at", &granted)? < poured
            && self.rows.iter().all(|(_, entry)| *entry < poured)
            && self.record.own_time().is_some_and(|at| at.ms() < earliest.ms());
        if !before {
            self.after.insert(tag.clone());
        }
        Ok(())
    }

    fn of(&self, store: &Store, facts: &Facts, blade: &Blade, since: i64) -> Result<Of> {
        let by_lot = self.rows.iter().any(|(r, _)| r.only_for.as_ref().is_some_and(|o| o.0.0 == "lots"));
        let inside = |f: &&(Id, Fence)| f.1.holds(blade.id, blade.mould);
        Ok(Of {
            blade: blade.id,
            heat: facts.heat_of(blade),
            lot: if by_lot { store.lot_now_and_at(blade.id, since)? } else { None },
            under: self.fences.iter().filter(inside).map(|f| f.0).collect(),
        })
    }
}
