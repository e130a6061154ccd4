//! Changing what is written: corrections that supersede, and the last entry taken back.

use rusqlite::types::Value as Sql;
use rusqlite::{Connection, params_from_iter};

use crate::Who;
use crate::catalogue::Signatures;
use crate::catalogue::field::Type;
use crate::catalogue::kind::COMMON;
use crate::check;
use crate::check::OwnField;
use crate::check::own_time;
use crate::error::{Error, Hint, Result};
use crate::file::{clock, upgrade};
use crate::graph::{fit, lineage};
use crate::read;
use crate::read::Found;
use crate::read::known;
use crate::read::rows;
use crate::read::rows::Resolved;
use crate::read::shape;
use crate::read::shape::KindTable;
use crate::read::tags::Tags;
use crate::value::tag;
use crate::value::words::articled;
use crate::write;
use crate::write::journal;
use crate::write::journal::Entry;
use crate::write::relief;
use crate::write::relief::PlannedChange;
use crate::write::resolve::resolve;
use crate::write::{UNDO_MIN, Undone, Written};
use crate::write::{authority, concession_rules, persons, proposals};
use crate::{Record, Value, catalogue};

/// Applies `FIELD=VALUE` changes to a record.
///
/// # Errors
/// An unknown field or a value at fault.
pub fn apply(record: &mut Record<'static>, changes: &[(String, String)], own: &[OwnField]) -> Result<()> {
    let kind = record.kind;
    for (name, text) in changes {
        if COMMON.iter().take(2).any(|f| f.name == name) {
            return Err(Error::input(format!(
                "{name} is not corrected: it says when and by whom a record was typed in"
            )));
        }
        let named = |what: String| Error::input(format!("{name} = {}: {what}", tag::shown(text)));
        if let Some(field) = kind.field(name) {
            let value = Value::read(field, text).map_err(|what| named(what).at(field.name))?;
            record.set(name, value.owned());
            // What is said anew is tied anew.
            let at = kind.index(name);
            record.tied.retain(|t| Some(t.field) != at);
        } else if let Some(field) = own.iter().find(|o| o.record == kind.name && o.name == *name) {
            let value = field.read(text).map_err(named)?.owned();
            record.own.retain(|(n, _)| n != name);
            record.own.push((name.clone(), value));
            record.own.sort_by(|a, b| a.0.cmp(&b.0));
        } else {
            return Err(Error::input(check::unknown_field(kind, name, own)));
        }
    }
    Ok(())
}

/// Changes fields of a record.
pub(crate) fn correct(
    db: &Connection,
    who: &Who,
    text: &str,
    changes: &[(String, String)],
    reason: &str,
    action: &str,
) -> Result<Written> {
    let found = read::find(db, text)?;
    let signed = |e: Entry| e.action == "sign";
    if found.kind.is::<Signatures>() && journal::by_seq(db, found.entry)?.is_some_and(signed) {
        return Err(Error::input(format!(
            "{} was signed here, and is not changed; what was signed since stands beside it",
            found.record.address()
        )));
    }
    let own = read::own_fields(db)?;
    let shape = shape::of(found.kind);
    let old = write::canonical(shape, &found.record);
    let mut record = found.record.clone();
    apply(&mut record, changes, &own)?;
    if let (Some(before), Some(after)) = (found.record.tag(), record.tag()) {
        if before != after || found.record.address() != record.address() {
            return Err(Error::input(format!("the tag {before} is not corrected; a new label is a re-tag"))
                .hint(Hint::Retag(before.into(), after.into())));
        }
    }
    write::required(&record)?;
    known::sound(db, &record)?;
    let mut guards = check::guards(&record, &own);
    guards.extend(write::process_guards(db, &record)?);
    guards.retain(|g| changes.iter().any(|(name, _)| *name == g.field));
    write::ask_reason(&guards, Some(reason), &mut record)?;
    authority::permit(db, who, &format!("a {}", found.kind.noun), Some(&found.record), Some(&record))?;
    concession_rules::may_change(db, &found)?;
    if let Some(message) = clock::too_late(&record, clock::may_be_set(db)?) {
        return Err(Error::input(message));
    }
    let tags = Tags::new(db)?;
    let (mut resolved, mut faults) = resolve(record, &tags)?;
    let changed = |field: &str| changes.iter().any(|(name, _)| name == field);
    faults.extend(check::between(&resolved.record));
    faults.extend(write::extra_rules(&resolved, &tags, &own)?);
    faults.extend(concession_rules::closed(db, &found, &resolved)?);
    faults.extend(own_time::faults(&resolved.record, who.now, changed));
    faults.extend(relief::without_reason(Some(&found.record), &resolved.record));
    if !faults.is_empty() {
        return Err(write::faults_to_error(found.kind, &faults));
    }
    let mut about = fit::guards_of(db, &resolved)?;
    about.extend(persons::guards(db, &tags, &mut resolved.record, changed)?);
    about.retain(|g| changed(&g.field));
    write::ask_reason(&about, Some(reason), &mut resolved.record)?;
    guards.extend(about);
    let new = write::canonical(shape, &resolved.record);
    if new == old {
        return Err(Error::input(format!("{}: no change", found.record.address())));
    }
    let address = resolved.record.address();
    if address != found.record.address() {
        if let Some(there) = write::existing(db, &tags, &resolved.record)? {
            return Err(Error::input(write::on_record(&there.record)));
        }
    }
    let (before, _) = resolve(found.record.clone(), &tags)?;
    let change = PlannedChange { old: Some(&before), id: found.id, new: Some(&resolved) };
    let write = || in_place(db, who, action, &found, Some(&resolved), reason);
    let proposed = || proposals::Proposed {
        kind: found.kind.name,
        tag: found.record.address(),
        old: Some(old.clone()),
        new: Some(new.clone()),
        reason: reason.into(),
        came: Some(found.entry),
    };
    let (entry, frees) = relief::guarded(db, who, &change, Some(reason), write, proposed)?;
    Ok(Written { tag: address, kind: found.kind, recorded_at: who.now, guards, entry, frees, late: None })
}

/// Journals a change of a record that is there and does it: another text in its place, or none.
fn in_place(
    db: &Connection,
    who: &Who,
    action: &str,
    found: &Found,
    new: Option<&Resolved>,
    reason: &str,
) -> Result<i64> {
    let shape = shape::of(found.kind);
    let text = new.map(|new| write::canonical(shape, &new.record));
    let entry = journal::append(
        db,
        who,
        Entry {
            action: action.into(),
            kind: found.kind.name.into(),
            tag: Some(found.record.address()),
            old: Some(upgrade::old_text(found)),
            new: text.clone(),
            reason: Some(reason.into()),
            came: Some(found.entry),
            ..Entry::default()
        },
    )?;
    match (new, text) {
        (Some(new), Some(text)) => replace(db, shape, found, new, entry, rows::digest(&text))?,
        _ => delete(db, shape, found)?,
    }
    lineage::refuse_cycles(db, found.kind.name)?;
    Ok(entry)
}

/// Does what was proposed of a record that is there.
pub(crate) fn carry_out(
    db: &Connection,
    who: &Who,
    found: &Found,
    new: Option<&Resolved>,
    reason: &str,
) -> Result<i64> {
    let action = if new.is_some() { "correct" } else { "undo" };
    in_place(db, who, action, found, new, reason)
}

/// Writes a record again in its place: its id stays, so that what refers to it still does.
pub fn replace(
    db: &Connection,
    shape: &'static KindTable,
    found: &Found,
    resolved: &Resolved,
    entry: i64,
    digest: i64,
) -> Result<()> {
    if let (Some(id), true) = (found.id, found.kind.tagged()) {
        let columns: Vec<String> = shape
            .columns
            .iter()
            .map(|c| c.name.as_str())
            .chain(["extra", "entry", "digest"])
            .enumerate()
            .map(|(i, name)| format!("\"{name}\" = ?{}", i + 2))
            .collect();
        let sql = format!("UPDATE {} SET {} WHERE id = ?1", shape.kind.name, columns.join(", "));
        let mut statement = db.prepare_cached(&sql)?;
        statement.raw_bind_parameter(1, id)?;
        rows::bind(&mut *statement, shape, resolved, 2, entry, digest, &mut String::new())?;
        statement.raw_execute()?;
        return Ok(());
    }
    delete(db, shape, found)?;
    write::put(db, shape, resolved, found.id, entry, digest)
}

fn delete(db: &Connection, shape: &KindTable, found: &Found) -> Result<()> {
    stands_alone(db, found)?;
    let sql = format!("DELETE FROM {}{}", shape.kind.name, shape.by_key(1));
    let key = match found.id {
        Some(id) if found.kind.tagged() => vec![Sql::Integer(id)],
        _ => found.key.clone(),
    };
    match db.prepare_cached(&sql)?.execute(params_from_iter(key)) {
        Ok(_) => Ok(()),
        Err(rusqlite::Error::SqliteFailure(e, _)) if e.code == rusqlite::ErrorCode::ConstraintViolation => {
            Err(Error::input(format!(
                "{} cannot be taken back: other records stand on it; correct it instead",
                found.record.address()
            )))
        }
        Err(e) => Err(e.into()),
    }
}

/// No hold, signature, attachment or sample is on the record: SQLite sees only references to one table.
fn stands_alone(db: &Connection, found: &Found) -> Result<()> {
    let Some(id) = found.id else { return Ok(()) };
    for kind in catalogue::all() {
        for field in kind.fields.iter().filter(|f| f.ty == Type::AnyTag) {
            let sql = format!(
                "SELECT EXISTS (SELECT 1 FROM {} WHERE {1}_kind = ?1 AND {1}_id = ?2)",
                kind.name, field.name
            );
            let there =
                db.prepare_cached(&sql)?.query_row(rusqlite::params![found.kind.name, id], |r| r.get(0))?;
            if there {
                return Err(Error::input(format!(
                    "{} cannot be taken back: {} is on it; correct it instead",
                    found.record.address(),
                    articled(kind.noun)
                )));
            }
        }
    }
    Ok(())
}

/// Takes back the person's last entry.
pub(crate) fn undo(db: &Connection, who: &Who, reason: Option<&str>) -> Result<Undone> {
    let entry = last_of(db, who)?;
    take_back(db, who, entry, reason)
}

/// The person's last entry.
pub(crate) fn last_of(db: &Connection, who: &Who) -> Result<Entry> {
    let mut last: Vec<Entry> = read::list(
        db,
        "SELECT * FROM journal WHERE person IS ?1 AND action NOT IN ('refused', 'look', 'answer')
         AND ifnull(tag, '') NOT IN ('settings:clock', 'settings:clock_given') ORDER BY seq DESC LIMIT 1",
        [&who.person],
        journal::from_row,
    )?;
    last.pop().ok_or_else(|| Error::input(format!("there is no entry {} to take back", of(who))))
}

/// Whose entry it is, in a sentence.
fn of(who: &Who) -> String {
    who.person.as_ref().map_or("(no person given)".into(), |person| format!("of {person}"))
}

/// Takes back one entry of the person. A lift has a reason.
pub(crate) fn take_back(db: &Connection, who: &Who, entry: Entry, reason: Option<&str>) -> Result<Undone> {
    let mine = of(who);
    let age = journal::at(&entry).map_or(f64::INFINITY, |at| who.now.minutes_since(at));
    let about = entry.tag.clone().unwrap_or_default();
    if entry.action == "undo" {
        return Err(Error::input(format!("the last entry {mine} was taken back already")));
    }
    let decided = matches!(entry.action.as_str(), "pin" | "accept" | "decline");
    if entry.tag.is_none() || decided {
        return Err(Error::input(format!(
            "the last entry {mine} is an {}; it is not taken back",
            entry.action
        )));
    }
    // A clock that went back makes no old entry new.
    if age.abs() > UNDO_MIN {
        return Err(Error::input(format!("the last entry {mine}, {about}, is older than a minute"))
            .hint(Hint::Correct(about)));
    }
    if entry.action == proposals::PROPOSE {
        let seq = proposals::withdraw(db, who, &entry)?;
        return Ok(Undone { entry, seq, frees: Vec::new() });
    }
    let own = read::own_fields(db)?;
    let now_there = entry
        .new
        .as_ref()
        .map_or(Ok(about.clone()), |new| rows::from_canonical(new, &own).map(|r| r.address()))?;
    let found = read::find(db, &now_there)?;
    let shape = shape::of(found.kind);
    if Some(write::canonical(shape, &found.record)) != entry.new {
        return Err(Error::input(format!("{about} was changed since; correct it instead")));
    }
    concession_rules::may_change(db, &found)?;
    if let Some(message) = clock::too_late(&found.record, false) {
        return Err(Error::input(message));
    }
    let old = entry.old.as_ref().map(|old| rows::from_canonical(old, &own)).transpose()?;
    authority::permit(db, who, &format!("a {}", found.kind.noun), Some(&found.record), old.as_ref())?;
    let tags = Tags::new(db)?;
    let before = resolve(found.record.clone(), &tags)?.0;
    let after = old.map(|old| write::placed(old, &tags)).transpose()?;
    let said = format!("entry {} taken back within a minute", entry.seq);
    let why = reason.map_or(said.clone(), |r| format!("{said}: {r}"));
    let change = PlannedChange { old: Some(&before), id: found.id, new: after.as_ref() };
    let write = || in_place(db, who, "undo", &found, after.as_ref(), &why);
    let proposed = || proposals::Proposed {
        kind: found.kind.name,
        tag: now_there.clone(),
        old: entry.new.clone(),
        new: entry.old.clone(),
        reason: why.clone(),
        came: Some(found.entry),
    };
    let (seq, frees) = relief::guarded(db, who, &change, reason, write, proposed)?;
    Ok(Undone { entry, seq, frees })
}
