//! Changing what is written: corrections that supersede, and the last entry taken back.

use rusqlite::types::Value as Sql;
use rusqlite::{Connection, params_from_iter};

use crate::domain::check::{self, OwnField};
use crate::domain::{Record, Value, own_time, tag};
use crate::store::door::{self, UNDO_MIN, Written};
use crate::store::error::{Error, Result};
use crate::store::journal::{self, Entry};
use crate::store::read::{self, Found};
use crate::store::resolve::resolve;
use crate::store::rows::{self, Resolved};
use crate::store::shape::{self, Shape};
use crate::store::tags::Tags;
use crate::store::{Who, authority, fit, lineage, persons, upgrade};

/// Applies `FIELD=VALUE` changes to a record.
///
/// # Errors
/// An unknown field or a value at fault.
pub fn apply(record: &mut Record<'static>, changes: &[(String, String)], own: &[OwnField]) -> Result<()> {
    let kind = record.kind;
    for (name, text) in changes {
        if matches!(name.as_str(), "recorded_at" | "recorded_by") {
            return Err(Error::input(format!(
                "{name} is not corrected: it says when and by whom a record was typed in"
            )));
        }
        let named = |what: String| Error::Input(format!("{name} = {}: {what}", tag::shown(text)));
        if let Some(field) = kind.field(name) {
            let value = Value::read(field, text).map_err(named)?;
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
            return Err(Error::Input(check::unknown_field(kind, name, own)));
        }
    }
    Ok(())
}

/// Changes fields of a record.
pub(super) fn correct(
    db: &Connection,
    who: &Who,
    text: &str,
    changes: &[(String, String)],
    reason: &str,
    action: &str,
) -> Result<Written> {
    let found = read::find(db, text)?;
    let own = read::own_fields(db)?;
    let shape = shape::of(found.kind);
    let old = door::canonical(shape, &found.record);
    let mut record = found.record.clone();
    apply(&mut record, changes, &own)?;
    if let (Some(before), Some(after)) = (found.record.tag(), record.tag()) {
        if before != after || found.record.address() != record.address() {
            return Err(Error::input(format!(
                "the tag {before} is not corrected; a new label is a re-tag: meltkin log retags old_tag={before} new_tag={after} changed_at=TIME"
            )));
        }
    }
    door::required(&record)?;
    let mut guards = check::guards(&record, &own);
    guards.extend(door::process_guards(db, &record)?);
    guards.retain(|g| changes.iter().any(|(name, _)| *name == g.field));
    door::ask_reason(&guards, Some(reason), &mut record)?;
    authority::permit(db, who, found.kind, &format!("a {}", found.kind.noun), |f| {
        changes.iter().any(|(name, _)| name == f)
    })?;
    let tags = Tags::new(db)?;
    let (mut resolved, mut faults) = resolve(record, &tags)?;
    let changed = |field: &str| changes.iter().any(|(name, _)| name == field);
    faults.extend(check::between(&resolved.record));
    faults.extend(door::extra_rules(&resolved, &tags, &own)?);
    faults.extend(own_time::faults(&resolved.record, who.now, changed));
    if !faults.is_empty() {
        return Err(door::faults_to_error(found.kind, &faults));
    }
    let mut about = fit::guards_of(db, &resolved)?;
    about.extend(persons::guards(db, &tags, &mut resolved.record, changed)?);
    about.retain(|g| changed(&g.field));
    door::ask_reason(&about, Some(reason), &mut resolved.record)?;
    guards.extend(about);
    let new = door::canonical(shape, &resolved.record);
    if new == old {
        return Err(Error::input(format!(
            "{} says that already; nothing was changed",
            found.record.address()
        )));
    }
    let address = resolved.record.address();
    if address != found.record.address() {
        if let Some(there) = door::existing(db, &tags, &resolved.record)? {
            return Err(Error::input(format!("{} is there already", there.record.address())));
        }
    }
    let entry = journal::append(
        db,
        who,
        Entry {
            action: action.into(),
            kind: found.kind.name.into(),
            tag: Some(found.record.address()),
            old: Some(upgrade::old_text(&found)),
            new: Some(new.clone()),
            reason: Some(reason.into()),
            came: Some(found.entry),
            ..Entry::default()
        },
    )?;
    replace(db, shape, &found, &resolved, entry, rows::digest(&new))?;
    lineage::refuse_cycles(db, found.kind.name)?;
    Ok(Written { tag: address, kind: found.kind, recorded_at: who.now, guards, entry })
}

/// Writes a record again in its place: its id stays, so that what refers to it still does.
pub fn replace(
    db: &Connection,
    shape: &'static Shape,
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
    door::put(db, shape, resolved, found.id, entry, digest)
}

fn delete(db: &Connection, shape: &Shape, found: &Found) -> Result<()> {
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

/// Takes back the person's last entry.
pub(super) fn undo(db: &Connection, who: &Who) -> Result<(Entry, i64)> {
    let entry = last_of(db, who)?;
    take_back(db, who, entry)
}

/// The person's last entry.
pub(super) fn last_of(db: &Connection, who: &Who) -> Result<Entry> {
    let mut q = db.prepare_cached(
        "SELECT * FROM journal WHERE person IS ?1 AND action NOT IN ('refused', 'look', 'answer') ORDER BY seq DESC LIMIT 1",
    )?;
    let mut last: Vec<Entry> =
        q.query_map([&who.person], journal::from_row)?.collect::<rusqlite::Result<_>>()?;
    let mine = who.person.clone().unwrap_or_else(|| "nobody named".into());
    last.pop().ok_or_else(|| Error::input(format!("there is no entry of {mine} to take back")))
}

/// Takes back one entry of the person.
pub(super) fn take_back(db: &Connection, who: &Who, entry: Entry) -> Result<(Entry, i64)> {
    let mine = who.person.clone().unwrap_or_else(|| "nobody named".into());
    let age = journal::at(&entry).map_or(f64::INFINITY, |at| who.now.minutes_since(at));
    let about = entry.tag.clone().unwrap_or_default();
    if entry.action == "undo" {
        return Err(Error::input(format!("the last entry of {mine} was taken back already")));
    }
    if entry.tag.is_none() {
        return Err(Error::input(format!(
            "the last entry of {mine} is an {}; it is not taken back",
            entry.action
        )));
    }
    // A clock that went back makes no old entry new.
    if age.abs() > UNDO_MIN {
        return Err(Error::input(format!(
            "the last entry of {mine}, {about}, is older than a minute; to change it: meltkin correct {about} FIELD=VALUE --reason TEXT"
        )));
    }
    let own = read::own_fields(db)?;
    let now_there = entry
        .new
        .as_ref()
        .map_or(Ok(about.clone()), |new| rows::from_canonical(new, &own).map(|r| r.address()))?;
    let found = read::find(db, &now_there)?;
    let shape = shape::of(found.kind);
    if Some(door::canonical(shape, &found.record)) != entry.new {
        return Err(Error::input(format!("{about} was changed since; correct it instead")));
    }
    let back = match &entry.old {
        None => None,
        Some(old) => {
            let (resolved, faults) = resolve(rows::from_canonical(old, &own)?, &Tags::new(db)?)?;
            if !faults.is_empty() {
                return Err(door::faults_to_error(found.kind, &faults));
            }
            Some(resolved)
        }
    };
    let new = back.as_ref().map(|b| door::canonical(shape, &b.record));
    let seq = journal::append(
        db,
        who,
        Entry {
            action: "undo".into(),
            kind: entry.kind.clone(),
            tag: Some(now_there),
            old: Some(upgrade::old_text(&found)),
            new: new.clone(),
            reason: Some(format!("entry {} taken back within a minute", entry.seq)),
            came: Some(found.entry),
            ..Entry::default()
        },
    )?;
    match (back, new) {
        (Some(resolved), Some(new)) => replace(db, shape, &found, &resolved, seq, rows::digest(&new))?,
        _ => delete(db, shape, &found)?,
    }
    Ok((entry, seq))
}
