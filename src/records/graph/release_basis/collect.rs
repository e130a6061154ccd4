//! Collects what stands behind a lot: a few queries a kind, none for single records.

use std::collections::{BTreeMap, BTreeSet, HashMap, HashSet};

use rusqlite::{Connection, Row as Sql};

use crate::catalogue::field::Type;
use crate::catalogue::kind::Kind;
use crate::catalogue::{
    As, Blades, Calibrations, Coats, Inspections, Instruments, LotBlades, Lots, People, ProcessLimits,
    Qualifications, Retags, SlurryBatches, SlurryChecks,
};
use crate::error::Result;
use crate::file::integrity;
use crate::read;
use crate::read::Lookup;
use crate::read::rows;
use crate::read::rows::Link;
use crate::read::shape;
use crate::read::shape::ColumnRole;
use crate::read::tags::Tags;
use crate::value::tag::in_order;
use crate::{Record, Stamp, Value, catalogue};

use crate::graph::release_basis::bounds::Check;
use crate::graph::release_basis::rules::{HANGS, NOT_FOLLOWED, ON_ANY, Which};
use crate::graph::release_basis::{Behind, Row};

type Ids = BTreeSet<i64>;

/// Reads the rows of a kind that a condition takes; `?1` in it is a JSON list of ids.
pub(crate) fn read_rows(
    db: &Connection,
    kind: &'static Kind,
    condition: &str,
    ids: &Ids,
) -> Result<Vec<Row>> {
    Reader::new(db)?.rows(kind, condition, ids)
}

struct Reader<'db> {
    db: &'db Connection,
    names: Lookup<'db>,
    own: Vec<crate::check::OwnField>,
}

impl<'db> Reader<'db> {
    fn new(db: &'db Connection) -> Result<Self> {
        Ok(Self { db, names: Lookup::of_many(db), own: read::own_fields(db)? })
    }

    fn rows(&self, kind: &'static Kind, condition: &str, ids: &Ids) -> Result<Vec<Row>> {
        let shape = shape::of(kind);
        let mut q = self.db.prepare(&format!("{} WHERE {condition}", shape.select))?;
        let mut found = q.query([list(ids)])?;
        let mut out = Vec::new();
        while let Some(row) = found.next()? {
            let record = rows::read(shape, row, &self.names, &self.own)?.owned();
            let record = read::with_revision(self.db, shape, record, row)?;
            integrity::as_sealed(self.db, shape, row, &record)?;
            let last = shape.columns.len() + usize::from(shape.has_id);
            out.push(Row {
                kind: kind.name,
                id: if shape.has_id { Some(row.get(0)?) } else { None },
                record,
                links: links(shape, row)?,
                entry: row.get(last + 1)?,
                digest: row.get(last + 2)?,
            });
        }
        Ok(out)
    }
}

fn list(ids: &Ids) -> String {
    let all: Vec<String> = ids.iter().map(i64::to_string).collect();
    format!("[{}]", all.join(","))
}

fn links(shape: &shape::KindTable, row: &Sql) -> Result<Vec<(usize, Link)>> {
    let mut out = Vec::new();
    let mut subject = None;
    for (i, column) in shape.columns.iter().enumerate() {
        let at = i + usize::from(shape.has_id);
        match column.role {
            ColumnRole::Plain => {}
            ColumnRole::SubjectKind => {
                subject = row.get_ref(at)?.as_str_or_null().unwrap_or(None).and_then(catalogue::kind);
            }
            ColumnRole::SubjectId => {
                if let (Some(kind), Some(id)) = (subject, row.get::<_, Option<i64>>(at)?) {
                    out.push((column.field, Link { kind: kind.name, id }));
                }
            }
            ColumnRole::Id(kind) => {
                if let Some(id) = row.get::<_, Option<i64>>(at)? {
                    out.push((column.field, Link { kind, id }));
                }
            }
        }
    }
    Ok(out)
}

/// The condition that a column of a row leads to one of some records.
fn leads_to(column: &str) -> String {
    format!("\"{column}\" IN (SELECT value FROM json_each(?1))")
}

/// The work in progress.
struct Collector<'db> {
    db: &'db Connection,
    reader: Reader<'db>,
    lot: i64,
    /// Rows that were written later are left out.
    until: i64,
    rows: Vec<Row>,
    /// Those: what they refer to or carry is not followed.
    late: Vec<Row>,
    /// Records with a tag that are in, or wait to be read.
    inside: HashMap<&'static str, Ids>,
    waiting: BTreeMap<&'static str, Ids>,
    /// Names in text fields that were looked up: of people, of instruments.
    named: HashSet<(&'static str, String)>,
    unread: Vec<(&'static str, String)>,
    /// Holds, attachments, samples: kind, id, subject.
    hanging: Vec<(&'static str, i64, Link)>,
}

/// Collects everything behind a lot.
pub(crate) fn collect(db: &Connection, lot: i64, until: i64) -> Result<Behind> {
    let mut c = Collector {
        db,
        reader: Reader::new(db)?,
        lot,
        until,
        rows: Vec::new(),
        late: Vec::new(),
        inside: HashMap::new(),
        waiting: BTreeMap::new(),
        named: HashSet::new(),
        unread: Vec::new(),
        hanging: hanging(db)?,
    };
    c.add(Lots::NAME, lot);
    let mut q = db.prepare_cached("SELECT blade FROM lot_blades WHERE lot = ?1 AND entry <= ?2")?;
    for blade in q.query_map([lot, until], |r| r.get(0))? {
        c.add(Blades::NAME, blade?);
    }
    let later = format!("entry > {until} AND {}", leads_to(LotBlades::lot.name));
    let later = c.reader.rows(LotBlades::KIND, &later, &Ids::from([lot]))?;
    c.late.extend(later);
    c.follow()?;
    let mut out = Behind::default();
    c.pots(&mut out)?;
    c.follow()?;
    c.readers(&mut out)?;
    c.instruments(&mut out)?;
    c.follow()?;
    c.limits()?;
    c.retags()?;
    c.follow()?;
    Ok(c.done(out))
}

/// Everything that hangs on any record.
fn hanging(db: &Connection) -> Result<Vec<(&'static str, i64, Link)>> {
    let mut out = Vec::new();
    for (name, field) in ON_ANY {
        let mut q = db.prepare_cached(&format!("SELECT id, {field}_kind, {field}_id FROM {name}"))?;
        let mut rows = q.query([])?;
        while let Some(row) = rows.next()? {
            out.push((*name, row.get(0)?, rows::subject(row, 1)?));
        }
    }
    Ok(out)
}

impl Collector<'_> {
    fn add(&mut self, kind: &'static str, id: i64) {
        if self.inside.entry(kind).or_default().insert(id) {
            self.waiting.entry(kind).or_default().insert(id);
        }
    }

    /// Reads what waits, and what that refers to or carries, until nothing new comes.
    fn follow(&mut self) -> Result<()> {
        loop {
            while let Some((kind, ids)) = self.waiting.pop_first() {
                self.take(rows::named_kind(kind)?, &ids)?;
            }
            self.look_up()?;
            let inside = |l: &Link| self.inside.get(l.kind).is_some_and(|ids| ids.contains(&l.id));
            let more: Vec<(&str, i64)> =
                self.hanging.iter().filter(|(_, _, on)| inside(on)).map(|(k, id, _)| (*k, *id)).collect();
            more.into_iter().for_each(|(kind, id)| self.add(kind, id));
            if self.waiting.is_empty() {
                return Ok(());
            }
        }
    }

    /// Reads records by their ids, and what hangs on them.
    fn take(&mut self, kind: &'static Kind, ids: &Ids) -> Result<()> {
        let rows = self.reader.rows(kind, "id IN (SELECT value FROM json_each(?1))", ids)?;
        self.push(rows);
        for hangs in HANGS.iter().filter(|h| std::ptr::eq(h.owner, kind)) {
            let below = hangs.kind;
            let mut condition = leads_to(&hangs.column());
            match hangs.which {
                Which::All => {}
                Which::OfTheLot => condition.push_str(&format!(" AND lot = {}", self.lot)),
                _ => continue,
            }
            if below.tagged() {
                let found: Vec<i64> = read::list(
                    self.db,
                    &format!("SELECT id FROM {} WHERE {condition}", below.name),
                    [list(ids)],
                    |r| r.get(0),
                )?;
                found.into_iter().for_each(|id| self.add(below.name, id));
            } else {
                let rows = self.reader.rows(below, &condition, ids)?;
                self.push(rows);
            }
        }
        Ok(())
    }

    fn push(&mut self, rows: Vec<Row>) {
        for row in rows {
            // Whoever somebody is, they are; a note of them may be later.
            if row.entry > self.until && row.kind != People::NAME {
                self.late.push(row);
                continue;
            }
            for &(field, link) in &row.links {
                if !NOT_FOLLOWED.contains(&(row.kind, field)) {
                    self.add(link.kind, link.id);
                }
            }
            for (kind, text) in names_in(&row.record) {
                if self.named.insert((kind, text.to_ascii_lowercase())) {
                    self.unread.push((kind, text));
                }
            }
            self.rows.push(row);
        }
    }

    /// People and instruments that stand in text fields.
    fn look_up(&mut self) -> Result<()> {
        let tags = Tags::new(self.db)?;
        for (kind, text) in std::mem::take(&mut self.unread) {
            if let Some((link, _)) = tags.find(&text, &[kind])? {
                self.add(link.kind, link.id);
            }
        }
        Ok(())
    }

    /// The checks of each pot up to the first after the lot's last coat.
    fn pots(&mut self, out: &mut Behind) -> Result<()> {
        let mut last: BTreeMap<i64, i64> = BTreeMap::new();
        for row in self.rows.iter().filter(|r| r.kind == Coats::NAME) {
            if let (Some(pot), Some(at)) = (row.id_of(Coats::slurry_batch), row.record.own_time()) {
                let latest = last.entry(pot).or_insert(i64::MIN);
                *latest = (*latest).max(at.ms());
            }
        }
        let pots: Ids = last.keys().copied().collect();
        let of = SlurryChecks::slurry_batch;
        let mut rows = self.reader.rows(SlurryChecks::KIND, &leads_to(of.name), &pots)?;
        let at = |r: &Row| r.record.own_time().map_or(i64::MIN, Stamp::ms);
        let mut until: BTreeMap<i64, i64> = pots.iter().map(|p| (*p, i64::MAX)).collect();
        for row in rows.iter().filter(|r| r.entry <= self.until) {
            let Some(pot) = row.id_of(of) else { continue };
            if last.get(&pot).is_some_and(|last| at(row) > *last) {
                until.entry(pot).and_modify(|u| *u = (*u).min(at(row)));
            }
        }
        rows.retain(|r| r.id_of(of).and_then(|p| until.get(&p)).is_some_and(|u| at(r) <= *u));
        for row in self.rows.iter().filter(|r| r.kind == SlurryBatches::NAME) {
            if let Some(until) = row.id.and_then(|id| until.get(&id)) {
                out.pots.insert(row.record.address().to_ascii_lowercase(), *until);
            }
        }
        self.push(rows);
        Ok(())
    }

    /// Qualifications of those who inspected, for the methods that they read.
    fn readers(&mut self, out: &mut Behind) -> Result<()> {
        for inspection in self.rows.iter().filter_map(|r| r.record.of::<Inspections>()) {
            let Some(person) = inspection.get(Inspections::person) else { continue };
            let key = (person.to_ascii_lowercase(), inspection.text(Inspections::method));
            let at = inspection.need(Inspections::inspected_at)?;
            let day = at.to_string().chars().take(10).collect::<String>();
            let last = out.read.entry(key).or_default();
            if *last < day {
                *last = day;
            }
        }
        let people = self.inside.get(People::NAME).cloned().unwrap_or_default();
        let of_them = leads_to(Qualifications::person.name);
        let mut rows = self.reader.rows(Qualifications::KIND, &of_them, &people)?;
        rows.retain(|r| r.record.of().is_some_and(|q| may_have_held(&out.read, q)));
        self.push(rows);
        Ok(())
    }

    /// The checks that bound a reading.
    fn instruments(&mut self, out: &mut Behind) -> Result<()> {
        for row in &self.rows {
            let field = row.record.kind.instrument;
            let (Some(tag), Some(at)) = (field.and_then(|f| row.record.get(f).text()), row.record.own_time())
            else {
                continue;
            };
            out.bounds.readings.entry(tag.to_ascii_lowercase()).or_default().insert(at.ms());
        }
        let used = self.inside.get(Instruments::NAME).cloned().unwrap_or_default();
        let of_them = leads_to(Calibrations::instrument.name);
        let rows = self.reader.rows(Calibrations::KIND, &of_them, &used)?;
        for row in rows.iter().filter(|r| r.entry <= self.until) {
            let Some(record) = row.record.of::<Calibrations>() else { continue };
            let instrument = record.text(Calibrations::instrument).to_ascii_lowercase();
            if let Some(check) = Check::of(&row.record, row.entry, row.digest) {
                out.bounds.checks.entry(instrument).or_default().push(check);
            }
        }
        out.bounds.checks.values_mut().for_each(|c| c.sort_by_key(|c| (c.at, c.entry)));
        let bounding: HashSet<String> =
            out.bounds.bounding(|_| true).iter().map(|c| c.address.clone()).collect();
        self.push(rows.into_iter().filter(|r| bounding.contains(&r.record.address())).collect());
        Ok(())
    }

    /// The foundry's own limits for these kinds: without a scope, or with one that stands behind the lot.
    fn limits(&mut self) -> Result<()> {
        let (kinds, tags) = (self.kinds(), self.tags());
        let mut rows = self.reader.rows(ProcessLimits::KIND, "?1 IS NOT NULL", &Ids::new())?;
        rows.retain(|r| r.record.of().is_some_and(|limit| in_force(limit, &kinds, &tags)));
        self.push(rows);
        Ok(())
    }

    fn retags(&mut self) -> Result<()> {
        let tags = self.tags();
        let mut rows = self.reader.rows(Retags::KIND, "?1 IS NOT NULL", &Ids::new())?;
        let roots = Roots::of(rows.iter().filter_map(|r| r.record.of()));
        rows.retain(|r| {
            r.record.of::<Retags>().is_some_and(|r| roots.lead_to(&r.text(Retags::old_tag), &tags))
        });
        self.push(rows);
        Ok(())
    }

    fn kinds(&self) -> HashSet<String> {
        self.rows.iter().map(|r| r.kind.to_string()).collect()
    }

    /// The tags of all records inside, lower case, without revisions.
    fn tags(&self) -> HashSet<String> {
        tags_of(self.rows.iter())
    }

    fn done(mut self, mut out: Behind) -> Behind {
        let place: HashMap<&str, usize> = catalogue::all().enumerate().map(|(i, k)| (k.name, i)).collect();
        self.rows.sort_by_cached_key(|r| {
            (place.get(r.kind).copied(), in_order(&r.record.address()), r.entry, r.digest)
        });
        for (at, row) in self.rows.iter().enumerate() {
            out.of_kind.entry(row.kind).or_insert(at..at).end = at + 1;
            if let (Some(id), true) = (row.id, row.record.kind.tagged()) {
                out.by_id.insert((row.kind, id), at);
            }
        }
        out.lot_id = self.lot;
        out.lot = self
            .rows
            .iter()
            .chain(&self.late)
            .find(|r| r.kind == Lots::NAME && r.id == Some(self.lot))
            .map_or_else(String::new, |r| r.record.address().to_ascii_lowercase());
        out.rows = self.rows;
        out.late = self.late;
        out
    }
}

/// People and instruments that a record names in text.
fn names_in(record: &Record) -> Vec<(&'static str, String)> {
    let kind = record.kind;
    let mut out = Vec::new();
    for (field, value) in kind.all_fields().zip(&record.values) {
        let (Type::Text, Value::Text(text)) = (field.ty, value) else { continue };
        if field.names_person() {
            out.push((People::NAME, text.to_string()));
        } else if kind.instrument == Some(field.name) {
            out.push((Instruments::NAME, text.to_string()));
        }
    }
    out
}

/// The tags of some records, lower case, without revisions.
pub(crate) fn tags_of<'a>(rows: impl Iterator<Item = &'a Row>) -> HashSet<String> {
    rows.filter_map(|r| r.record.tag()).map(str::to_ascii_lowercase).collect()
}

/// The qualification is of a method that the person read, and not one that began after the last reading.
fn may_have_held(read: &HashMap<(String, String), String>, r: As<'_, Qualifications>) -> bool {
    let key = (r.text(Qualifications::person).to_ascii_lowercase(), r.text(Qualifications::method));
    let began = |last: &String| r.get(Qualifications::from_on).is_none_or(|from| from <= last.as_str());
    read.get(&key).is_some_and(began)
}

/// A process limit bears on these kinds and tags.
fn in_force(r: As<'_, ProcessLimits>, kinds: &HashSet<String>, tags: &HashSet<String>) -> bool {
    let scope = r.get(ProcessLimits::scope).map(|s| s.split('@').next().unwrap_or(s).to_ascii_lowercase());
    kinds.contains(&r.text(ProcessLimits::record)) && scope.is_none_or(|s| tags.contains(&s))
}

/// Where re-tags lead: new tag to old, lower case.
pub(crate) struct Roots(HashMap<String, String>);

impl Roots {
    pub(crate) fn of<'a>(retags: impl Iterator<Item = As<'a, Retags>>) -> Self {
        let low = |text: String| text.to_ascii_lowercase();
        Self(retags.map(|r| (low(r.text(Retags::new_tag)), low(r.text(Retags::old_tag)))).collect())
    }

    /// A re-tag of this tag is of one of these records, through any chain of labels.
    pub(crate) fn lead_to(&self, old_tag: &str, tags: &HashSet<String>) -> bool {
        let mut at = old_tag.to_ascii_lowercase();
        // Two tags that were swapped lead to each other: the walk must end.
        for _ in 0..20 {
            if tags.contains(&at) {
                return true;
            }
            match self.0.get(&at) {
                Some(old) => at.clone_from(old),
                None => return false,
            }
        }
        false
    }
}
