//! Loading files of records: all or nothing, one journal entry per file.

use std::collections::{HashMap, HashSet};

use rusqlite::Connection;
use rusqlite::types::Value as Sql;

use crate::catalogue::field::Type;
use crate::catalogue::kind::{COMMON, Kind, Writer};
use crate::catalogue::{
    AnalysisValues, As, Calibrations, ConcessionItems, Holds, KnownCauseReviews, KnownCauses, LotBlades,
    OwnFields, People, ProcessLimits, Retags, Settings, Shipments, YesNo,
};
use crate::check;
use crate::check::own_time;
use crate::check::{Fault, OwnField};
use crate::error::{Error, Hint, Result};
use crate::file::{clock, upgrade};
use crate::graph::fit;
use crate::graph::fit::Late;
use crate::graph::lineage;
use crate::read::ids::IdSet;
use crate::read::rows;
use crate::read::rows::{Filling, Parameters, Resolved};
use crate::read::shape;
use crate::read::shape::KindTable;
use crate::read::tags::Tags;
use crate::value::unseen::readable;
use crate::write::journal;
use crate::write::journal::Entry;
use crate::write::persons;
use crate::write::persons::Everybody;
use crate::write::relief;
use crate::write::relief::{PlannedChange, Tried};
use crate::write::resolve::resolve;
use crate::write::{amend, authority, concession_rules, given, proposals, relabel, shipping};
use crate::{Record, Stamp, Value};
use crate::{Store, Who, read, write};

/// What holds for every connection outside a load.
const CHECKS_ON: &str =
    "PRAGMA foreign_keys = ON; PRAGMA ignore_check_constraints = OFF; PRAGMA cache_size = -16384";

/// What became of a row.
#[derive(Debug, PartialEq)]
pub enum Outcome {
    /// It will be written.
    Written,
    /// It equals the stored record.
    Unchanged,
    /// It would free something from a hold, and is kept as a proposal.
    Proposed,
    /// It is at fault.
    Faults(Vec<Fault>),
}

/// A load in progress: one transaction. Dropped without [`Load::finish`], nothing was written.
pub struct Load<'db> {
    db: &'db Connection,
    who: Who,
    tags: Tags<'db>,
    own: Vec<OwnField>,
    dropped: Vec<String>,
    file: Option<Box<File<'db>>>,
    trusted: bool,
    action: &'static str,
    pending: Vec<(read::Found, Record<'static>)>,
    /// The store held no blade before: what comes in is the history of elsewhere.
    first: bool,
    shipping: shipping::Asked,
    /// Rows that are kept as proposals, journalled after their file.
    proposed: Vec<proposals::Proposed>,
    /// It was asked already that the person may write what only quality may.
    allowed: bool,
    /// The clock of the store may be set: nothing was on record before.
    sets_clock: bool,
    /// Blades that have a lot by this load, where the table has no index yet: once, and more often.
    in_lots: (IdSet, HashMap<i64, usize>),
    done: bool,
    /// The first journal entry of this load.
    first_entry: i64,
    everybody: Everybody,
    /// What is wrong with rows that are written already, as other rows show.
    late: Vec<Late>,
    contents: Contents,
}

/// Limits for the guard of analysed contents: those of the analysis asked last, and of all alloys met.
#[derive(Default)]
struct Contents {
    analysis: Option<i64>,
    limits: fit::Limits,
}

impl Contents {
    fn guard(&mut self, db: &Connection, resolved: &Resolved) -> Result<Option<check::Guard>> {
        let Some(link) = resolved.links.first().copied().flatten() else { return Ok(None) };
        if self.analysis != Some(link.id) {
            self.limits = fit::Limits::of_analysis(db, link.id, std::mem::take(&mut self.limits))?;
            self.analysis = Some(link.id);
        }
        Ok(self.limits.guard(&resolved.record))
    }
}

/// The file being loaded.
struct File<'db> {
    kind: &'static Kind,
    shape: &'static KindTable,
    insert: Filling<'db>,
    entry: i64,
    next_id: i64,
    digests: Vec<u64>,
    items: HashMap<String, i64>,
    canonical: String,
    extra: String,
    fresh: bool,
    places: check::Places,
    /// Position of the item, where rows without one are counted.
    item: Option<usize>,
    /// Has rules of its own for each row: holds, re-tags.
    special: bool,
    /// Fields that ask for rules of their own where one is filled.
    asking: Vec<usize>,
    /// Fields that name a person, and fields that say when something happened.
    persons: Vec<usize>,
    times: Vec<usize>,
    /// Some of its rows may be for quality only.
    guarded: bool,
    /// Its rows may take a record out from under a hold.
    frees: bool,
    seen: std::collections::HashSet<u64>,
}

impl Store {
    /// Begins a load. With `trusted` the rules of who may write are not asked: the starter
    /// definitions, and a store that knows nobody yet.
    pub fn load(&mut self, who: &Who, starter: bool) -> Result<Load<'_>> {
        if let Err(e) = clock::timed(&self.db, who) {
            if e.is_refused() {
                self.note_refusal(who, &e.sentence)?;
            }
            return Err(e);
        }
        // Foreign keys are proved by the look-up of every reference, choices when a cell is read;
        // SQLite need not do it again (it would build a table of the choices for every row).
        self.db.execute_batch(
            "PRAGMA foreign_keys = OFF; PRAGMA ignore_check_constraints = ON;
             PRAGMA cache_size = -24576; BEGIN IMMEDIATE",
        )?;
        let begun = (|| {
            Ok(Load {
                db: &self.db,
                who: clock::timed(&self.db, who)?,
                tags: Tags::for_load(&self.db)?,
                own: read::own_fields(&self.db)?,
                dropped: Vec::new(),
                file: None,
                trusted: starter || authority::nobody(&self.db)?,
                action: if starter { "starter" } else { "import" },
                pending: Vec::new(),
                first: !self.db.query_row("SELECT EXISTS (SELECT 1 FROM blades)", [], |r| r.get(0))?,
                shipping: shipping::Asked::default(),
                proposed: Vec::new(),
                allowed: false,
                sets_clock: clock::may_be_set(&self.db)?,
                in_lots: Default::default(),
                done: false,
                first_entry: journal::head(&self.db)?.0 + 1,
                everybody: if starter { Everybody::default() } else { Everybody::new(&self.db)? },
                late: Vec::new(),
                contents: Contents::default(),
            })
        })();
        if begun.is_err() {
            let _ = self.db.execute_batch("ROLLBACK");
            let _ = self.db.execute_batch(CHECKS_ON);
        }
        begun
    }
}

impl Drop for Load<'_> {
    fn drop(&mut self) {
        self.file = None;
        if !self.done {
            let _ = self.db.execute_batch("ROLLBACK");
        }
        let _ = self.db.execute_batch(CHECKS_ON);
    }
}

impl<'db> Load<'db> {
    /// A foundry's own fields known so far, those of this load too.
    pub fn own(&self) -> &[OwnField] {
        &self.own
    }

    /// Tells the load of re-tags that stand in its files.
    pub fn alias(&mut self, new: &str, old: &str, at: Option<Stamp>) {
        self.tags.alias(new, old, at);
    }

    /// Old tags of the store's re-tags, folded.
    pub fn relabelled(&self) -> Result<HashSet<String>> {
        read::list(self.db, "SELECT DISTINCT lower(old_tag) FROM retags", [], |r| r.get(0))
    }

    /// Tells the load of a person that stands in its files.
    pub fn meet(&mut self, person: &str) {
        self.everybody.meet(person);
    }

    /// Begins a file whose header has the fields that `given` says; of about so many rows.
    pub fn begin(&mut self, kind: &'static Kind, rows: usize, given: impl Fn(&str) -> bool) -> Result<()> {
        self.tags.begin(if kind.tagged() { rows } else { 0 });
        self.everybody.begin();
        let shape = shape::of(kind);
        let fresh = !self.tags.held_rows(kind);
        if fresh {
            self.drop_indexes(kind)?;
        }
        self.file = Some(Box::new(File {
            kind,
            shape,
            insert: Filling::new(self.db, shape, given)?,
            entry: journal::head(self.db)?.0 + 1,
            next_id: if shape.has_id { write::next_id(self.db, shape)? } else { 0 },
            digests: Vec::new(),
            items: HashMap::new(),
            canonical: String::new(),
            extra: String::new(),
            fresh,
            places: check::Places::of(kind),
            item: given::item(kind),
            special: matches!(kind.name, Holds::NAME | Retags::NAME | ProcessLimits::NAME),
            asking: concession_rules::asking(kind),
            persons: persons::fields(kind).collect(),
            times: own_time::fields(kind).collect(),
            guarded: !self.trusted
                && (kind.writer != Writer::Anyone || kind.handed().next().is_some() || kind.is::<Retags>()),
            frees: !self.trusted && matches!(kind.name, Calibrations::NAME | LotBlades::NAME),
            seen: std::collections::HashSet::new(),
        }));
        Ok(())
    }

    /// An empty table is filled faster without its indexes; they are made again at the end.
    fn drop_indexes(&mut self, kind: &Kind) -> Result<()> {
        let found: Vec<(String, String)> = read::list(
            self.db,
            "SELECT name, sql FROM sqlite_schema WHERE type = 'index' AND tbl_name = ?1 AND sql IS NOT NULL",
            [kind.name],
            |r| Ok((r.get(0)?, r.get(1)?)),
        )?;
        // Definitions are few and looked up through their index while they come in.
        if kind.revisioned || kind.is::<Retags>() {
            return Ok(());
        }
        for (name, sql) in found {
            self.db.execute_batch(&format!("DROP INDEX \"{name}\""))?;
            self.dropped.push(sql);
        }
        Ok(())
    }

    /// Takes one record.
    ///
    /// # Errors
    /// The person may not write it, or the store cannot be written. Faults of the record are an [`Outcome`].
    pub fn row(&mut self, mut record: Record) -> Result<Outcome> {
        let Some(mut file) = self.file.take() else {
            return Err(Error::untrusted("no file was begun"));
        };
        let kind = file.kind;
        let mut faults = Vec::new();
        if file.special {
            if let Some(mut hold) = record.of_mut::<Holds>().filter(|h| h.cell(Holds::hold).is_blank()) {
                hold.set(Holds::hold, Value::Text(given::hold(self.db, &self.tags)?.into()));
            }
            if !self.trusted {
                faults.extend(relief::without_reason(None, &record));
            }
        }
        let (mut resolved, found) = resolve(record, &self.tags)?;
        faults.extend(found);
        // Counted once it is known which records are meant: a tag may be written in several ways.
        if let Some(item) = file.item.filter(|i| resolved.record.values[*i].is_blank()) {
            let counted = match resolved.record.of::<ConcessionItems>() {
                Some(row) => concession_rules::count_item(&mut file.items, row),
                None => Ok(*file.items.entry(resolved.record.address()).and_modify(|n| *n += 1).or_insert(1)),
            };
            match counted {
                Ok(n) => resolved.record.values[item] = Value::Count(n),
                Err(fault) => faults.push(fault),
            }
        }
        let mut asked = self.everybody.look(&mut resolved.record, &file.persons);
        if file.special {
            asked.extend(relabel::guards(&self.tags, &resolved.record)?);
        }
        if !file.places.clean(&resolved.record) {
            faults.extend(check::between(&resolved.record));
            asked.extend(check::guards(&resolved.record, &self.own));
            if kind.is::<AnalysisValues>() {
                asked.extend(self.contents.guard(self.db, &resolved)?);
            }
        }
        if resolved.record.values[file.shape.note].is_blank() {
            for guard in asked {
                let value = resolved.record.get(&guard.field).to_text();
                let message = format!("{}; if it is right, say why in the note", guard.message);
                faults.push(Fault::new(&guard.field, &value, message));
            }
        }
        let latest = self.who.now.ms() + (own_time::SLACK_MIN * 60_000.0) as i64;
        if file.times.iter().any(|i| resolved.record.values[*i].time().is_some_and(|at| at.ms() > latest)) {
            faults.extend(own_time::faults(&resolved.record, self.who.now, |_| true));
        }
        if file.special || file.asking.iter().any(|&i| !resolved.record.values[i].is_blank()) {
            faults.extend(write::extra_rules(&resolved, &self.tags, &self.own)?);
        }
        let outcome = self.put(&mut file, &resolved, faults);
        self.file = Some(file);
        outcome
    }

    fn put(&mut self, file: &mut File<'db>, resolved: &Resolved, mut faults: Vec<Fault>) -> Result<Outcome> {
        let kind = file.kind;
        file.canonical.clear();
        resolved.record.canonical(&file.shape.order, &mut file.canonical);
        if faults.iter().all(|f| f.column != kind.fields[0].name) {
            match self.known(file, resolved)? {
                Known::No => {}
                Known::Same => {
                    return Ok(if faults.is_empty() { Outcome::Unchanged } else { Outcome::Faults(faults) });
                }
                Known::Starter(found) if faults.is_empty() => {
                    self.permit(file, Some(&found.record), &resolved.record)?;
                    self.pending.push((*found, resolved.record.owned()));
                    return Ok(Outcome::Written);
                }
                Known::Starter(_) => {}
                Known::Clash(fault) => faults.push(fault),
            }
        }
        faults.extend(self.shipped(file, resolved)?);
        if !faults.is_empty() {
            return Ok(Outcome::Faults(faults));
        }
        self.permit(file, None, &resolved.record)?;
        if let Some(message) = clock::too_late(&resolved.record, self.sets_clock) {
            let value = resolved.record.values[Settings::setting.index].to_text();
            return Ok(Outcome::Faults(vec![Fault::new(Settings::setting.name, &value, message)]));
        }
        let digest = rows::digest(&file.canonical);
        if file.frees {
            match self.attempt(file, resolved, digest)? {
                Some(Outcome::Written) => {}
                Some(other) => return Ok(other),
                None => return Ok(Outcome::Faults(vec![twice(kind, &resolved.record.address())])),
            }
        } else if !insert(file, resolved, digest)? {
            return Ok(Outcome::Faults(vec![twice(kind, &resolved.record.address())]));
        }
        file.digests.push(digest as u64);
        if let Some(tag) = file.shape.tag.and_then(|i| resolved.record.values[i].text()) {
            self.tags.wrote(kind, tag, file.next_id);
        }
        if let Some(field) = resolved.record.of::<OwnFields>() {
            self.note_own(field);
        }
        file.next_id += 1;
        Ok(Outcome::Written)
    }

    /// A blade that is sent although nothing lets it go, or that comes into another lot. What was sent before the
    /// store was made is history: it is listed for the next shift, not asked for.
    fn shipped(&mut self, file: &File, resolved: &Resolved) -> Result<Vec<Fault>> {
        let mut faults = Vec::new();
        match file.kind.name {
            LotBlades::NAME if file.fresh => {
                let Some(blade) = resolved.id(LotBlades::blade) else { return Ok(faults) };
                if !self.in_lots.0.insert(blade) {
                    let lots = self.in_lots.1.entry(blade).or_insert(1);
                    faults.extend(shipping::came_back(self.db, resolved, blade, *lots)?);
                    *lots += 1;
                }
            }
            LotBlades::NAME => faults.extend(shipping::second_lot(self.db, resolved)?),
            Shipments::NAME if !self.first && resolved.record.values[file.shape.note].is_blank() => {
                for guard in self.shipping.guards(self.db, resolved)? {
                    let value = resolved.record.get(&guard.field).to_text();
                    let message =
                        format!("{}; if it was sent all the same, say why in the note", guard.message);
                    faults.push(Fault::new(&guard.field, &value, message));
                }
            }
            _ => {}
        }
        Ok(faults)
    }

    /// Asks whether the person may write a row.
    fn permit(&mut self, file: &File, old: Option<&Record>, new: &Record) -> Result<()> {
        if !file.guarded || (self.allowed && !file.kind.is::<People>()) {
            return Ok(());
        }
        authority::permit(self.db, &self.who, &format!("importing {}", file.kind.name), old, Some(new))?;
        self.allowed = authority::need(file.kind, old, Some(new)) != authority::Need::Anyone;
        Ok(())
    }

    /// Writes a row that may take a record out from under a hold; nothing where its key stands there.
    fn attempt(&mut self, file: &mut File<'db>, resolved: &Resolved, digest: i64) -> Result<Option<Outcome>> {
        let change = PlannedChange { old: None, id: None, new: Some(resolved) };
        let note = resolved.record.note();
        let mut fresh = true;
        let tried = relief::attempt(self.db, &self.who, &change, note, || {
            fresh = insert(file, resolved, digest)?;
            Ok(file.entry)
        });
        match tried {
            Err(e) if e.is_input() => {
                let why = if e.hints.contains(&Hint::Reason) { ": say it in the note" } else { "" };
                let message = format!("{e}{why}");
                let field = COMMON[2].name;
                Ok(Some(Outcome::Faults(vec![Fault::new(field, note.unwrap_or_default(), message)])))
            }
            Err(e) => Err(e),
            Ok(_) if !fresh => Ok(None),
            Ok(Tried::Written(_)) => Ok(Some(Outcome::Written)),
            Ok(Tried::Freed(_)) => {
                self.proposed.push(proposals::Proposed {
                    kind: file.kind.name,
                    tag: resolved.record.address(),
                    old: None,
                    new: Some(file.canonical.clone()),
                    reason: note.filter(|n| readable(n)).unwrap_or("imported").to_string(),
                    came: None,
                });
                Ok(Some(Outcome::Proposed))
            }
        }
    }

    fn note_own(&mut self, field: As<'_, OwnFields>) {
        self.own.push(OwnField {
            record: field.text(OwnFields::record),
            name: field.text(OwnFields::field),
            ty: field.text(OwnFields::r#type),
            min: field.get(OwnFields::min),
            max: field.get(OwnFields::max),
            cause: field.get(OwnFields::cause) == Some(YesNo::Yes),
        });
    }

    /// Whether the key of a record is known, and how the stored record compares.
    fn known(&mut self, file: &mut File<'db>, resolved: &Resolved) -> Result<Known> {
        let record = &resolved.record;
        let kind = file.kind;
        let found = if let Some(text) = file.shape.tag.and_then(|i| record.values[i].text()) {
            if kind.revisioned {
                let wanted = record.revision().unwrap_or("");
                let all = self.tags.revisions(kind, text)?;
                match all.iter().find(|r| r.revision == wanted) {
                    Some(r) => read::load(self.db, file.shape, &[Sql::Integer(r.id)])?,
                    None if all.is_empty() => {
                        if let Some(other) = self.tags.taken(text, kind)? {
                            return Ok(Known::Clash(taken(kind, text, other)));
                        }
                        return Ok(Known::No);
                    }
                    None => return Ok(Known::No),
                }
            } else {
                match self.tags.taken(text, kind)? {
                    None => return Ok(Known::No),
                    Some(other) if other != kind.name => return Ok(Known::Clash(taken(kind, text, other))),
                    Some(_) if file.fresh => return Ok(Known::Clash(twice(kind, text))),
                    Some(_) => match self.tags.find(text, &[kind.name])? {
                        Some((link, _)) => read::load(self.db, file.shape, &[Sql::Integer(link.id)])?,
                        None => return Ok(Known::No),
                    },
                }
            }
        } else if file.fresh && !file.shape.split_key {
            // The primary key finds a row that stands there twice.
            return Ok(Known::No);
        } else if file.fresh {
            let mut h = std::collections::hash_map::DefaultHasher::new();
            std::hash::Hash::hash(&record.address().to_ascii_lowercase(), &mut h);
            if !file.seen.insert(std::hash::Hasher::finish(&h)) {
                return Ok(Known::Clash(twice(kind, &record.address())));
            }
            return Ok(Known::No);
        } else {
            match read::key_of(&self.tags, record)? {
                Some(key) => read::load(self.db, file.shape, &key)?,
                None => None,
            }
        };
        let Some(found) = found else { return Ok(Known::No) };
        if found.entry == file.entry {
            return Ok(Known::Clash(twice(kind, &record.address())));
        }
        let stored = write::canonical(file.shape, &found.record);
        if stored == file.canonical {
            return Ok(Known::Same);
        }
        // A row that names no revision means the one that its record is tied to.
        let mut as_tied = record.clone();
        for tie in found.record.tied.iter().filter(|t| !resolved.named.contains(&t.field)) {
            let bare = |of: &Record| {
                let text = of.values[tie.field].to_text();
                let revision = of.tie(tie.field).filter(|t| t.typed).map_or(0, |t| t.revision.len() + 1);
                text[..text.len() - revision].to_string()
            };
            if bare(&as_tied).eq_ignore_ascii_case(&bare(&found.record)) {
                as_tied.values[tie.field] = found.record.values[tie.field].clone();
                as_tied.tied.retain(|t| t.field != tie.field);
                as_tied.tied.push(tie.clone());
            }
        }
        if write::canonical(file.shape, &as_tied) == stored {
            return Ok(Known::Same);
        }
        let starter = journal::by_seq(self.db, found.entry)?.is_some_and(|e| e.action == "starter");
        if starter && !self.is_used(&found)? {
            return Ok(Known::Starter(Box::new(found)));
        }
        let full = |of: &Record, i: usize| of.full(i).unwrap_or_else(|| of.values[i].to_text());
        let fields: Vec<String> = kind
            .all_fields()
            .enumerate()
            .filter(|(i, _)| full(&found.record, *i) != full(&as_tied, *i))
            .map(|(i, f)| {
                let stored = full(&found.record, i);
                format!("{} (stored {})", f.name, if stored.is_empty() { "blank" } else { &stored })
            })
            .collect();
        let address = record.address();
        let column = kind.key_fields().next().map_or("", |f| f.name);
        let message = format!("is stored with other values: {}", fields.join(", "));
        Ok(Known::Clash(Fault::new(column, &address, message).hint(Hint::Correct(address.clone()))))
    }

    /// A record refers to this definition.
    fn is_used(&self, found: &read::Found) -> Result<bool> {
        let Some(id) = found.id else { return Ok(false) };
        for shape in shape::all() {
            for column in &shape.columns {
                if column.role != shape::ColumnRole::Id(found.kind.name) {
                    continue;
                }
                // Limits and zones belong to their definition, what is known of a defect to its term: they are no use
                // of it.
                let part_of = matches!(shape.kind.name, KnownCauses::NAME | KnownCauseReviews::NAME)
                    || shape.kind.fields.iter().any(|f| matches!(f.ty, Type::RevisionOf(_)));
                if part_of {
                    continue;
                }
                let sql = format!(
                    "SELECT EXISTS (SELECT 1 FROM {} WHERE \"{}\" = ?1)",
                    shape.kind.name, column.name
                );
                if self.db.prepare_cached(&sql)?.query_row([id], |r| r.get(0))? {
                    return Ok(true);
                }
            }
        }
        Ok(false)
    }

    /// Writes the definitions that replace starter ones, after the file's own entry.
    fn replace_starters(&mut self) -> Result<usize> {
        let pending = std::mem::take(&mut self.pending);
        let n = pending.len();
        for (found, record) in pending {
            let shape = shape::of(found.kind);
            let (resolved, _) = resolve(record, &self.tags)?;
            let new = write::canonical(shape, &resolved.record);
            let seq = journal::append(
                self.db,
                &self.who,
                Entry {
                    action: "replace".into(),
                    kind: found.kind.name.into(),
                    tag: Some(found.record.address()),
                    old: Some(upgrade::old_text(&found)),
                    new: Some(new.clone()),
                    reason: Some("an imported definition replaces a starter one that no record uses".into()),
                    came: Some(found.entry),
                    ..Entry::default()
                },
            )?;
            amend::replace(self.db, shape, &found, &resolved, seq, rows::digest(&new))?;
        }
        Ok(n)
    }

    /// Ends the file: its journal entry, and if all is `whole` so far its indexes, while its pages are
    /// at hand. Gives the number of rows written.
    pub fn end(&mut self, whole: bool) -> Result<usize> {
        let Some(mut file) = self.file.take() else { return Ok(0) };
        let n = file.digests.len();
        if n > 0 {
            // Forty megabytes at five million rows: gone before the indexes are sorted.
            let digest = journal::fold(&mut std::mem::take(&mut file.digests));
            let seq = journal::append(
                self.db,
                &self.who,
                Entry {
                    action: self.action.into(),
                    kind: file.kind.name.into(),
                    new: Some(format!("{{\"rows\":{n},\"digest\":\"{digest}\"}}")),
                    ..Entry::default()
                },
            )?;
            debug_assert_eq!(seq, file.entry, "nothing else is journalled while a file comes in");
        }
        drop(file.insert);
        for proposed in std::mem::take(&mut self.proposed) {
            proposals::propose(self.db, &self.who, proposed)?;
        }
        if whole {
            self.make_indexes()?;
        }
        let replaced = self.replace_starters()?;
        // One that is named already is found again in the next file of its kinds.
        if let (true, Some(cycle)) = (self.late.is_empty(), lineage::cycle(self.db, file.kind.name)?) {
            self.late.push(cycle.fault(file.kind));
        }
        Ok(n + replaced)
    }

    /// What is wrong with rows that are written already, as the other rows show: cycles, and what does not fit. Asked once
    /// all files are in; sums only where they are `whole`, without rows left out for a fault. What comes into a store
    /// without a blade is the history of elsewhere: of it nothing is asked, and `ready` and the lots say what does not fit.
    pub fn late_faults(&mut self, whole: bool) -> Result<Vec<Late>> {
        let mut out = std::mem::take(&mut self.late);
        if self.action != "starter" && !self.first {
            out.extend(fit::misfits_of_load(self.db, self.first_entry, whole)?);
        }
        Ok(out)
    }

    /// A row as it was written: its references by their primary tags.
    pub fn as_written<'a>(&self, record: Record<'a>) -> Result<Record<'a>> {
        Ok(resolve(record, &self.tags)?.0.record)
    }

    fn make_indexes(&mut self) -> Result<()> {
        for sql in std::mem::take(&mut self.dropped) {
            self.db.execute_batch(&sql)?;
        }
        Ok(())
    }

    /// Ends the load: makes the indexes again and commits, or takes everything back.
    pub fn finish(mut self, keep: bool) -> Result<()> {
        self.file = None;
        if keep {
            self.make_indexes()?;
            self.db.execute_batch("COMMIT")?;
        } else {
            self.db.execute_batch("ROLLBACK")?;
        }
        self.done = true;
        Ok(())
    }
}

/// Inserts a row; false where its key stands there.
fn insert(file: &mut File, resolved: &Resolved, digest: i64) -> Result<bool> {
    let mut first = 1;
    if file.shape.has_id {
        file.insert.integer(1, file.next_id)?;
        first = 2;
    }
    rows::bind(&mut file.insert, file.shape, resolved, first, file.entry, digest, &mut file.extra)?;
    match file.insert.execute() {
        Ok(_) => Ok(true),
        Err(rusqlite::Error::SqliteFailure(e, _))
            if matches!(
                e.extended_code,
                rusqlite::ffi::SQLITE_CONSTRAINT_PRIMARYKEY | rusqlite::ffi::SQLITE_CONSTRAINT_UNIQUE
            ) =>
        {
            Ok(false)
        }
        Err(e) => Err(e.into()),
    }
}

enum Known {
    No,
    Same,
    Starter(Box<read::Found>),
    Clash(Fault),
}

fn twice(kind: &Kind, address: &str) -> Fault {
    let column = kind.key_fields().next().map_or("", |f| f.name);
    Fault::new(column, address, "duplicate in this file")
}

fn taken(kind: &Kind, text: &str, other: &str) -> Fault {
    let column = kind.tag_field().map_or("", |f| f.name);
    Fault::new(column, text, format!("the tag is taken by {}", rows::named(other, text)))
}
