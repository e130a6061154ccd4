//! The one door for single writes: validate, write, journal, in one transaction.

pub(crate) mod amend;
pub mod authority;
pub mod batch;
pub mod bulk;
pub(crate) mod concession_rules;
pub mod draft;
pub(crate) mod given;
pub mod journal;
pub(crate) mod persons;
pub mod pins;
pub mod proposals;
pub(crate) mod relabel;
pub(crate) mod relief;
pub(crate) mod resolve;
pub mod shipping;
pub mod signing;
pub mod trial_writes;
pub mod who;

use rusqlite::types::Value as Sql;
use rusqlite::{Connection, TransactionBehavior};

use crate::catalogue::field::Type;
use crate::catalogue::kind::Kind;
use crate::catalogue::{
    Alloys, Coats, Dispositions, Findings, FinishSteps, Holds, Inspections, Instruments, OvenLoads, Parts,
    PatternRuns, People, Pours, ProcessLimits, Recorded, Retags, RunningSystems, ShellRecipes,
    TreatmentLoads,
};
use crate::check;
use crate::check::own_time;
use crate::check::{Fault, Guard, OwnField};
use crate::error::{Error, Hint, Result};
use crate::file::clock;
use crate::graph::{fit, holds, lineage};
use crate::read;
use crate::read::Found;
use crate::read::known;
use crate::read::limits;
use crate::read::rows;
use crate::read::rows::{Link, Resolved};
use crate::read::shape;
use crate::read::shape::KindTable;
use crate::read::tags::{Tags, all_plain};
use crate::value::tag;
use crate::value::unseen::readable;
use crate::write::draft::Draft;
use crate::write::journal::Entry;
use crate::write::relief::PlannedChange;
use crate::write::resolve::resolve;
use crate::{Record, Stamp, Value};
use crate::{Store, Who};

/// What a write came to.
#[derive(Clone, Debug)]
pub struct Written {
    /// Tag or address.
    pub tag: String,
    pub kind: &'static Kind,
    /// When it was typed in.
    pub recorded_at: Stamp,
    /// Guards that were passed, with or without a reason.
    pub guards: Vec<Guard>,
    /// The journal entry.
    pub entry: i64,
    /// It would free this from a hold or a limit, and is kept as a proposal: nothing is changed until quality decides.
    pub frees: Vec<String>,
    /// It comes later than its kind allows: the sentence that says by how much.
    pub late: Option<String>,
}

/// What was taken back.
#[derive(Clone, Debug)]
pub struct Undone {
    /// The entry that was taken back.
    pub entry: Entry,
    /// The entry that says so.
    pub seq: i64,
    /// It would free this from a hold or a limit, and is kept as a proposal.
    pub frees: Vec<String>,
}

/// Minutes within which an entry can be taken back.
pub const UNDO_MIN: f64 = 1.0;

impl Store {
    /// Writes one record. `recorded_at` and `recorded_by` say when and by whom it is typed in, whatever stood there; a
    /// person field that is blank takes the person who writes.
    ///
    /// # Errors
    /// The record is at fault, a guard asks for a reason, the person may not, or the file cannot be
    /// written.
    pub fn log(&mut self, who: &Who, record: Record, reason: Option<&str>) -> Result<Written> {
        self.write(who, |db, who| log(db, who, record, reason, "log"))
    }

    /// Changes fields of a record; the old values stay in the journal.
    pub fn correct(
        &mut self,
        who: &Who,
        text: &str,
        changes: &[(String, String)],
        reason: &str,
    ) -> Result<Written> {
        if !readable(reason) {
            return Err(Error::input("a correction needs a reason that can be read").hint(Hint::Reason));
        }
        self.write(who, |db, who| amend::correct(db, who, text, changes, reason, "correct"))
    }

    /// Takes back this person's last entry, if it is less than a minute old. Where that is a lift, it has a reason.
    ///
    /// # Errors
    /// There is none, or other records stand on it.
    pub fn undo(&mut self, who: &Who, reason: Option<&str>) -> Result<Undone> {
        self.write(who, |db, who| amend::undo(db, who, reason))
    }

    /// Places a hold on a record. Gives the hold's tag.
    ///
    /// # Errors
    /// As [`Store::log`]; or the record has nothing downstream.
    pub fn hold(&mut self, who: &Who, subject: &str, reason: &str) -> Result<Written> {
        self.write(who, |db, who| log(db, who, hold_record(who, subject, reason), None, "hold"))
    }

    /// Lifts a hold, named by its own tag or by the record it lies on where only one is open.
    ///
    /// # Errors
    /// No open hold, several, or the person may not.
    pub fn lift(&mut self, who: &Who, text: &str, reason: &str) -> Result<Written> {
        if !readable(reason) {
            return Err(Error::input("a lift has a reason that can be read").hint(Hint::Reason));
        }
        let found = self.find(text)?;
        let open: Vec<String> = if found.kind.is::<Holds>() {
            vec![found.record.address()]
        } else {
            let on = found.id.map(|id| Link { kind: found.kind.name, id });
            let open = holds::open(&self.db)?.into_iter().filter(|h| Some(h.on) == on);
            open.map(|h| h.tag).collect()
        };
        let hold = match open.as_slice() {
            [one] => one.clone(),
            [] => return Err(Error::input(format!("there is no open hold on {}", tag::shown(text)))),
            many => {
                return Err(Error::input(format!(
                    "{} holds are open on {}: {}; name the one to lift",
                    many.len(),
                    tag::shown(text),
                    many.join(", ")
                )));
            }
        };
        let current = self.find(&hold)?;
        if current.record.of::<Holds>().is_some_and(|h| !h.cell(Holds::lifted_at).is_blank()) {
            return Err(Error::input(format!("{hold} was lifted already")));
        }
        self.write(who, |db, who| {
            let lift = Draft::default()
                .with(Holds::lifted_at, who.now.to_string())
                .with(Holds::lifted_reason, reason)
                .with_some(Holds::lifted_by, who.person.as_deref());
            amend::correct(db, who, &hold, lift.texts(), reason, "lift")
        })
    }

    /// Journals that somebody was refused.
    pub fn note_refusal(&mut self, who: &Who, sentence: &str) -> Result<()> {
        let entry = Entry { action: "refused".into(), reason: Some(sentence.into()), ..Entry::default() };
        let tx = self.db.transaction_with_behavior(TransactionBehavior::Immediate)?;
        let who = clock::of_the_machine(&tx, who)?;
        journal::append(&tx, &who, entry)?;
        Ok(tx.commit()?)
    }

    /// Runs one write: an immediate transaction, and a refusal is journalled. That a PIN was not given yet is none
    /// where somebody can be asked for it.
    pub(crate) fn write<T>(
        &mut self,
        who: &Who,
        act: impl FnOnce(&Connection, &Who) -> Result<T>,
    ) -> Result<T> {
        let tx = self.db.transaction_with_behavior(TransactionBehavior::Immediate)?;
        let timed = clock::timed(&tx, who).and_then(|who| known_person(&tx, &who));
        match timed.and_then(|who| act(&tx, &who)) {
            Ok(done) => {
                tx.commit()?;
                Ok(done)
            }
            Err(early) if early.wants_pin() && who.asks => Err(early),
            Err(refused) if refused.is_refused() => {
                tx.rollback()?;
                self.note_refusal(who, &refused.to_string())?;
                Err(refused)
            }
            Err(e) => Err(e),
        }
    }
}

/// The person by the tag as the store has it. One that it does not know is most likely mistyped. Where it knows nobody, the
/// name is taken as claimed.
pub(crate) fn known_person(db: &Connection, who: &Who) -> Result<Who> {
    let Some(person) = &who.person else { return Ok(who.clone()) };
    let checked =
        || tag::check(person).map_err(|e| Error::input(format!("person {}: {e}", tag::shown(person))));
    if authority::nobody(db)? {
        checked()?;
        return Ok(who.clone());
    }
    let tags = Tags::new(db)?;
    if let Some((_, primary)) = tags.find(person, &[People::NAME])? {
        return Ok(Who { person: primary.or_else(|| who.person.clone()), ..who.clone() });
    }
    checked()?;
    Err(Error::input(tags.unknown(person, &[People::NAME])?))
}

/// A record whose references all lead somewhere.
///
/// # Errors
/// One of them leads nowhere.
pub(crate) fn placed<'a>(record: Record<'a>, tags: &Tags) -> Result<Resolved<'a>> {
    let (resolved, faults) = resolve(record, tags)?;
    match faults.is_empty() {
        true => Ok(resolved),
        false => Err(faults_to_error(resolved.record.kind, &faults)),
    }
}

pub(crate) fn faults_to_error(kind: &Kind, faults: &[Fault]) -> Error {
    let all: Vec<String> = faults
        .iter()
        .map(|f| match (f.column.as_str(), f.value.as_str()) {
            ("", _) => f.message.clone(),
            (column, "") => format!("{column} {}", f.message),
            (column, value) => format!("{column} = {}: {}", tag::shown(value), f.message),
        })
        .collect();
    let mut error = Error::input(format!("{}: {}", kind.noun, all.join("; ")));
    error.hints.extend(faults.iter().filter_map(|f| f.hint.clone()));
    match faults.iter().find(|f| !f.column.is_empty()) {
        Some(fault) => error.at(fault.column.clone()),
        None => error,
    }
}

pub(crate) fn hold_record(who: &Who, subject: &str, reason: &str) -> Record<'static> {
    let mut hold = Recorded::<Holds>::blank();
    hold.set(Holds::subject, Value::Text(subject.to_string().into()))
        .set(Holds::placed_at, Value::Time(who.now, None))
        .set(Holds::reason, Value::Text(reason.to_string().into()));
    hold.into_record()
}

pub(crate) fn log(
    db: &Connection,
    who: &Who,
    mut record: Record,
    reason: Option<&str>,
    action: &str,
) -> Result<Written> {
    record.set_recorded(who.now, who.person.clone());
    let person = record.kind.fields.iter().position(|f| f.name == PERSON && f.ty == Type::Text);
    if let (Some(person), Some(me)) = (person.filter(|i| record.values[*i].is_blank()), &who.person) {
        record.values[person] = Value::Text(me.clone().into());
    }
    keep(db, who, record, reason, action)
}

/// The field of the person who did it, whatever the kind.
const PERSON: &str = "person";

/// Writes a record that says already when and by whom it was typed in: a proposal that quality accepts.
pub(crate) fn keep(
    db: &Connection,
    who: &Who,
    mut record: Record,
    reason: Option<&str>,
    action: &str,
) -> Result<Written> {
    let kind = record.kind;
    given::keys(db, &mut record)?;
    let own = read::own_fields(db)?;
    required(&record)?;
    authority::permit(db, who, &format!("a {}", kind.noun), None, Some(&record))?;
    known::sound(db, &record)?;
    if let Some(message) = clock::too_late(&record, clock::may_be_set(db)?) {
        return Err(Error::input(message));
    }
    let tags = Tags::new(db)?;
    let (mut resolved, mut faults) = resolve(record, &tags)?;
    faults.extend(check::between(&resolved.record));
    faults.extend(extra_rules(&resolved, &tags, &own)?);
    faults.extend(shipping::second_lot(db, &resolved)?);
    faults.extend(own_time::faults(&resolved.record, who.now, |_| true));
    faults.extend(relief::without_reason(None, &resolved.record));
    if !faults.is_empty() {
        return Err(faults_to_error(kind, &faults));
    }
    let mut guards = check::guards(&resolved.record, &own);
    guards.extend(process_guards(db, &resolved.record)?);
    guards.extend(fit::guards_of(db, &resolved)?);
    guards.extend(persons::guards(db, &tags, &mut resolved.record, |_| true)?);
    guards.extend(slips(db, &resolved)?);
    guards.extend(concession_rules::said(db, &resolved)?);
    guards.extend(shipping::Asked::default().guards(db, &resolved)?);
    guards.extend(relabel::guards(&tags, &resolved.record)?);
    ask_reason(&asked_of(who, resolved.record.kind, &guards), reason, &mut resolved.record)?;
    let there = match existing(db, &tags, &resolved.record)? {
        None => alike(db, &tags, &resolved.record)?,
        there => there,
    };
    if let Some(there) = there {
        return Err(Error::input(on_record(&there.record)).hint(Hint::Correct(there.record.address())));
    }
    if let (Some(text), false) = (resolved.record.tag(), kind.revisioned) {
        if let Some(other) = tags.taken(text, kind)? {
            return Err(Error::input(format!("the tag {text} is taken by {}", rows::named(other, text))));
        }
    }
    let tag = resolved.record.address();
    let canonical = canonical(shape::of(kind), &resolved.record);
    let change = PlannedChange { old: None, id: None, new: Some(&resolved) };
    let write = || {
        let entry = insert(db, who, &resolved, &canonical, action, reason)?;
        lineage::refuse_cycles(db, kind.name)?;
        Ok(entry)
    };
    let noted = resolved.record.note();
    let proposed = || proposals::Proposed {
        kind: kind.name,
        tag: tag.clone(),
        old: None,
        new: Some(canonical.clone()),
        reason: reason.or(noted).unwrap_or_default().to_string(),
        came: None,
    };
    let (entry, frees) = relief::guarded(db, who, &change, reason.or(noted), write, proposed)?;
    let late = own_time::late(&resolved.record);
    Ok(Written { tag, kind, recorded_at: who.now, guards, entry, frees, late })
}

pub(crate) fn required(record: &Record) -> Result<()> {
    let missing: Vec<&'static str> = record
        .kind
        .fields
        .iter()
        .zip(&record.values)
        .filter(|(f, v)| !f.optional && v.is_blank())
        .map(|(f, _)| f.name)
        .collect();
    let Some(first) = missing.first() else { return Ok(()) };
    Err(Error::input(format!("{}: {} must be filled", record.kind.noun, missing.join(", "))).at(*first))
}

/// A foundry's own limits for the fields of this record. Outside of them a reason is asked.
pub(crate) fn process_guards(db: &Connection, record: &Record) -> Result<Vec<Guard>> {
    let limits = limits::of(db, record)?;
    Ok(limits.iter().filter_map(|l| l.judge(record.get(&l.field).number()?)).collect())
}

/// What looks like a slip, and is said without asking for a reason: a zone that the part has not.
fn slips(db: &Connection, resolved: &Resolved) -> Result<Option<Guard>> {
    let finding = resolved.record.of::<Findings>();
    let Some(zone) = finding.and_then(|f| f.get(Findings::zone)) else { return Ok(None) };
    let mut q = db.prepare_cached(
        "SELECT z.zone FROM inspections i JOIN blades b ON b.id = i.blade JOIN moulds m ON m.id = b.mould
         JOIN zones z ON z.part = m.part WHERE i.id = ?1",
    )?;
    let zones = q.query_map([resolved.id(Findings::inspection)], |r| r.get(0))?;
    let zones: Vec<String> = zones.collect::<rusqlite::Result<_>>()?;
    let known = zones.is_empty() || zones.iter().any(|z| z == zone);
    let message = || format!("{}: not a zone of this part; it has {}", tag::shown(zone), zones.join(", "));
    Ok((!known).then(|| Guard::said(Findings::zone.name, message())))
}

/// What asks the person who sits there. A verdict on a blade that was rejected, what a mould had not been through yet, and
/// what can hardly be meant (an old treatment, a pyrometer past its check, a count that is a tag) is asked about where somebody can be asked; a script is told, and the release judges it as it judges what was imported.
fn asked_of(who: &Who, kind: &Kind, guards: &[Guard]) -> Vec<Guard> {
    let told = |g: &Guard| match kind.name {
        Coats::NAME => g.field == Coats::mould.name,
        OvenLoads::NAME => g.field == OvenLoads::mould.name,
        Pours::NAME => [Pours::mould.name, Pours::pyrometer.name].contains(&g.field.as_str()),
        FinishSteps::NAME => [FinishSteps::subject.name, FinishSteps::step.name].contains(&g.field.as_str()),
        TreatmentLoads::NAME => g.field == TreatmentLoads::treatment.name,
        PatternRuns::NAME => {
            [PatternRuns::made_count.name, PatternRuns::rejected_count.name].contains(&g.field.as_str())
        }
        Inspections::NAME => g.field == Inspections::result.name,
        Dispositions::NAME => g.field == Dispositions::decision.name,
        _ => false,
    };
    guards.iter().filter(|g| who.asks || !told(g)).cloned().collect()
}

/// A guard never refuses the truth: it asks for a reason, which stands in the note.
pub(crate) fn ask_reason(guards: &[Guard], reason: Option<&str>, record: &mut Record) -> Result<()> {
    let asking: Vec<&Guard> = guards.iter().filter(|g| g.needs_reason).collect();
    if asking.is_empty() {
        return Ok(());
    }
    let noted = record.note().is_some();
    match reason.filter(|r| !r.trim().is_empty()) {
        Some(reason) if !noted => record.set_note(reason.to_string()),
        Some(_) => {}
        None if noted => {}
        None => {
            let all: Vec<String> = asking.iter().map(|g| format!("{}: {}", g.field, g.message)).collect();
            return Err(Error::input(all.join("; ")).hint(Hint::ReasonIfRight));
        }
    }
    Ok(())
}

/// What a process limit may be scoped to, mostly.
const SCOPES: &[&str] =
    &[Alloys::NAME, Parts::NAME, ShellRecipes::NAME, RunningSystems::NAME, Instruments::NAME];

/// Rules that need other records.
pub fn extra_rules(resolved: &Resolved, tags: &Tags, own: &[OwnField]) -> Result<Vec<Fault>> {
    let record = &resolved.record;
    let mut faults = concession_rules::faults(tags, resolved)?;
    if let Some(hold) = record.of::<Holds>() {
        if resolved.link(Holds::subject).is_some_and(|on| !lineage::can_be_held(on.kind)) {
            faults.push(hold.fault(Holds::subject, lineage::HOLDABLE));
        }
    }
    if let Some(retag) = record.of::<Retags>() {
        let (old, new) = (retag.text(Retags::old_tag), retag.text(Retags::new_tag));
        if let Err(e) = tag::check(&new) {
            faults.push(retag.fault(Retags::new_tag, e));
        }
        faults.extend(relabel::faults(tags, record)?);
        if tags.anything(&old)?.is_none() {
            faults.push(retag.fault(Retags::old_tag, tags.unknown(&old, all_plain())?));
        }
    }
    // A limit that names nothing would never be asked, and nobody would know.
    if let Some(limit) = record.of::<ProcessLimits>() {
        if let Some(kind) = limit.get(ProcessLimits::record).and_then(crate::catalogue::kind) {
            let field = limit.text(ProcessLimits::field);
            let its_own = own.iter().any(|o| o.record == kind.name && o.name == field);
            if kind.field(&field).is_none() && !its_own {
                faults.push(limit.fault(ProcessLimits::field, check::unknown_field(kind, &field, own)));
            }
        }
        if let Some(scope) = limit.get(ProcessLimits::scope) {
            if tags.anything(scope)?.is_none() {
                faults.push(limit.fault(ProcessLimits::scope, tags.unknown(scope, SCOPES)?));
            }
        }
    }
    Ok(faults)
}

/// What says that a record is there already: since when, and by whom, as another hand may have been quicker.
pub(crate) fn on_record(there: &Record) -> String {
    let at = there.own_time().map(|at| format!(", dated {at}")).unwrap_or_default();
    let by = there.recorded_by().map(|by| format!(", entered by {by}")).unwrap_or_default();
    format!("{} already exists{at}{by}", there.address())
}

/// A record whose key is the same but for the case of its letters: two such would be taken for one.
fn alike(db: &Connection, tags: &Tags, record: &Record) -> Result<Option<Found>> {
    let shape = shape::of(record.kind);
    if record.kind.revisioned {
        let wanted = record.revision().unwrap_or("");
        let all = tags.revisions(record.kind, record.tag().unwrap_or_default())?;
        let found = all.into_iter().find(|r| r.revision.eq_ignore_ascii_case(wanted));
        return found.map_or(Ok(None), |r| read::load(db, shape, &[Sql::Integer(r.id)]));
    }
    if record.kind.tagged() {
        return Ok(None);
    }
    let Some(key) = read::key_of(tags, record)? else { return Ok(None) };
    let mut q = db.prepare_cached(&format!("{}{}", shape.select, shape.by_key_in_any_case(1)))?;
    let mut rows = q.query(rusqlite::params_from_iter(key))?;
    let Some(row) = rows.next()? else { return Ok(None) };
    let mut there = Vec::new();
    for &c in &shape.key {
        there.push(row.get::<_, Sql>(c + usize::from(shape.has_id))?);
    }
    read::load(db, shape, &there)
}

pub(crate) fn existing(db: &Connection, tags: &Tags, record: &Record) -> Result<Option<Found>> {
    if record.kind.tagged() {
        let text = record.tag().unwrap_or_default();
        let id = if record.kind.revisioned {
            let wanted = record.revision().unwrap_or("");
            tags.revisions(record.kind, text)?.into_iter().find(|r| r.revision == wanted).map(|r| r.id)
        } else {
            tags.find(text, &[record.kind.name])?.map(|(l, _)| l.id)
        };
        return match id {
            Some(id) => read::load(db, shape::of(record.kind), &[Sql::Integer(id)]),
            None => Ok(None),
        };
    }
    match read::key_of(tags, record)? {
        Some(key) => read::load(db, shape::of(record.kind), &key),
        None => Ok(None),
    }
}

fn insert(
    db: &Connection,
    who: &Who,
    resolved: &Resolved,
    canonical: &str,
    action: &str,
    reason: Option<&str>,
) -> Result<i64> {
    let kind = resolved.record.kind;
    let entry = journal::append(
        db,
        who,
        Entry {
            action: action.into(),
            kind: kind.name.into(),
            tag: Some(resolved.record.address()),
            new: Some(canonical.to_string()),
            reason: reason.map(String::from),
            ..Entry::default()
        },
    )?;
    put(db, shape::of(kind), resolved, None, entry, rows::digest(canonical))?;
    Ok(entry)
}

/// Inserts a row. `id` keeps the id of a row that is written again.
pub fn put(
    db: &Connection,
    shape: &KindTable,
    resolved: &Resolved,
    id: Option<i64>,
    entry: i64,
    digest: i64,
) -> Result<()> {
    let mut statement = db.prepare_cached(&shape.insert)?;
    let mut first = 1;
    if shape.has_id {
        let id = match id {
            Some(id) => id,
            None => next_id(db, shape)?,
        };
        statement.raw_bind_parameter(1, id)?;
        first = 2;
    }
    rows::bind(&mut *statement, shape, resolved, first, entry, digest, &mut String::new())?;
    statement.raw_execute()?;
    Ok(())
}

/// The next id of a table.
pub fn next_id(db: &Connection, shape: &KindTable) -> Result<i64> {
    let sql = format!("SELECT ifnull(max(id), 0) + 1 FROM {}", shape.kind.name);
    Ok(db.prepare_cached(&sql)?.query_row([], |r| r.get(0))?)
}

/// The canonical text of a record.
pub fn canonical(shape: &KindTable, record: &Record) -> String {
    let mut out = String::new();
    record.canonical(&shape.order, &mut out);
    out
}
