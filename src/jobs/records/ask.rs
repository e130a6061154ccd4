//! Single records: written and held.

use std::collections::BTreeMap;

use serde::Serialize;

use crate::jobs::records::attached;
pub use crate::jobs::records::look::show;
use records::catalogue::{Attachments, Holds, Pours};
use records::check;
use records::check::{Guard, OwnField};
use records::graph::lineage;
use records::value::tag::shown;
use records::value::time_text;
use records::value::time_text::Understood;
use records::value::unseen::readable;
use records::write::{UNDO_MIN, Written};
use records::{Error, FieldInfo, Hint, Kind, Record, Result, Stamp, Store, Value, Who, catalogue};

/// Fields that have one name in every kind.
pub(super) const PERSON: &str = Pours::person.name;
pub(super) const RECORDED_BY: &str = Pours::recorded_by.name;
const RECORDED_AT: &str = Pours::recorded_at.name;

/// What a write came to, as JSON gives it.
#[derive(Serialize, Debug, Clone)]
pub struct Logged {
    /// The tag, where the record has one.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub tag: Option<String>,
    /// The address, where it has none.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub address: Option<String>,
    pub kind: &'static str,
    /// When it was typed in.
    pub recorded_at: String,
    /// Until when it can be taken back.
    pub undo_until: String,
    /// Guards that it lies outside of.
    pub guards: Vec<String>,
    /// The journal entry.
    pub entry: i64,
    /// It is kept as a proposal: nothing is changed until quality decides.
    #[serde(skip_serializing_if = "std::ops::Not::not")]
    pub proposal: bool,
    /// What it would free.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub frees: Vec<String>,
    /// Times that were not written in full, as they were understood: by field.
    #[serde(skip_serializing_if = "BTreeMap::is_empty")]
    pub understood: BTreeMap<String, String>,
    /// The same as sentences.
    #[serde(skip)]
    pub read_as: Vec<String>,
    /// It comes later than its kind allows: by how much.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub late: Option<String>,
}

/// Times that were not written in full: the field, its text, and as what it was read.
pub type TimesRead = Vec<(String, String, Understood)>;

impl Logged {
    /// From what the store says.
    pub fn new(written: &Written) -> Self {
        let address = written.tag.clone();
        let tagged = written.kind.tagged();
        let until = Stamp::new(
            written.recorded_at.ms() + (UNDO_MIN * 60_000.0) as i64,
            written.recorded_at.offset_min(),
        );
        Self {
            tag: tagged.then(|| address.clone()),
            address: (!tagged).then_some(address),
            kind: written.kind.name,
            recorded_at: written.recorded_at.to_string(),
            undo_until: until.to_string(),
            guards: written.guards.iter().map(sentence).collect(),
            entry: written.entry,
            proposal: !written.frees.is_empty(),
            frees: written.frees.clone(),
            understood: BTreeMap::new(),
            read_as: Vec::new(),
            late: written.late.clone(),
        }
    }

    /// The same, with the times that were filled up.
    fn with_times(mut self, times: TimesRead) -> Self {
        for (field, typed, read) in times {
            self.read_as.push(read_as(&field, &typed, &read));
            self.understood.insert(field, read.text);
        }
        self
    }
}

/// What was understood of a time or date that was not written in full, as a sentence.
pub fn read_as(what: &str, typed: &str, read: &Understood) -> String {
    let doubt = read.doubt.as_ref().map_or(String::new(), |d| format!(" ({d})"));
    format!("{what}: {} read as {}{doubt}", shown(typed), read.in_full())
}

pub(super) fn sentence(guard: &Guard) -> String {
    format!("{}: {}", guard.field, guard.message)
}

/// Splits `FIELD=VALUE`.
pub fn pairs(arguments: &[String]) -> Result<Vec<(String, String)>> {
    arguments
        .iter()
        .map(|a| match a.split_once('=') {
            Some((name, value)) => Ok((name.trim().to_string(), value.to_string())),
            None => Err(Error::input(format!("{} is not FIELD=VALUE", shown(a)))),
        })
        .collect()
}

/// Where a field is filled by the program and by nobody else: why, and what to give instead.
fn filled(kind: &Kind, name: &str) -> Option<String> {
    match name {
        RECORDED_BY => {
            let other = kind.field(PERSON).map_or("", |_| "who did it is person=PERSON; ");
            Some(format!("{other}who types it in is who you say you are"))
        }
        RECORDED_AT => {
            let own = kind.time.map_or(String::new(), |t| format!("; when it happened is {t}=TIME"));
            Some(format!("it is when the record is typed in, and taken from the clock{own}"))
        }
        _ => None,
    }
}

/// Makes a record of a kind from `FIELD=VALUE` pairs.
///
/// # Errors
/// Unknown fields, values at fault; all of them in one sentence.
pub fn build(
    store: &Store,
    who: &Who,
    kind: &'static Kind,
    pairs: &[(String, String)],
) -> Result<Record<'static>> {
    Ok(built(store, who, kind, pairs)?.0)
}

/// The record, and its times that were not written in full.
fn built(
    store: &Store,
    who: &Who,
    kind: &'static Kind,
    pairs: &[(String, String)],
) -> Result<(Record<'static>, TimesRead)> {
    let own = store.own_fields()?;
    let mut times = TimesRead::new();
    let mut full = |field: &FieldInfo, name: &str, text: &str| -> std::result::Result<String, String> {
        let Some((full, read)) = time_text::in_full(field, text, who.clock())? else {
            return Ok(text.into());
        };
        times.push((name.into(), text.into(), read));
        Ok(full)
    };
    let mut record = Record::blank(kind);
    let mut wrong = Vec::new();
    let mut seen: Vec<&str> = Vec::new();
    for (name, text) in pairs {
        if seen.contains(&name.as_str()) {
            wrong.push((name.clone(), format!("{name} is given twice")));
        }
        seen.push(name);
        let read = if let Some(why) = filled(kind, name) {
            Err(format!("{name} cannot be given: {why}"))
        } else if let Some(field) = kind.field(name) {
            // A hold without a name gets one when it is written.
            if text.is_empty() && kind.is::<Holds>() && field.name == Holds::hold.name {
                continue;
            }
            full(field, name, text)
                .and_then(|text| Value::read(field, &text).map(|value| record.set(name, value.owned())))
                .map_err(|e| format!("{name} = {}: {e}", shown(text)))
        } else if let Some(field) = own.iter().find(|o| o.record == kind.name && o.name == *name) {
            full(&field.info(), name, text)
                .and_then(|text| {
                    field.read(&text).map(|value| record.own.push((name.clone(), value.owned())))
                })
                .map_err(|e| format!("{name} = {}: {e}", shown(text)))
        } else {
            Err(check::unknown_field(kind, name, &own))
        };
        wrong.extend(read.err().map(|why| (name.clone(), why)));
    }
    record.own.sort_by(|a, b| a.0.cmp(&b.0));
    if wrong.is_empty() {
        return Ok((record, times));
    }
    let error = Error::input(wrong.iter().map(|(_, why)| why.as_str()).collect::<Vec<_>>().join("; "));
    let error = error.at(wrong[0].0.clone());
    // Behind other faults the option would be taken for theirs.
    Err(if wrong.len() == 1 && wrong[0].0 == RECORDED_BY { error.hint(Hint::Person) } else { error })
}

/// Writes one record.
///
/// # Errors
/// As [`build`]; a guard without a reason; a person who may not.
pub fn log(
    store: &mut Store,
    who: &Who,
    kind: &str,
    arguments: &[String],
    reason: Option<&str>,
) -> Result<Logged> {
    let kind = catalogue::find(kind).map_err(Error::input)?;
    log_texts(store, who, kind, &pairs(arguments)?, reason)
}

/// Writes one record from the texts of its fields.
pub(crate) fn log_texts(
    store: &mut Store,
    who: &Who,
    kind: &'static Kind,
    texts: &[(String, String)],
    reason: Option<&str>,
) -> Result<Logged> {
    let (record, times) = built(store, who, kind, texts)?;
    let remark = match record.of::<Attachments>().and_then(|a| a.get(Attachments::path)) {
        Some(path) => {
            let folder = store.path().parent().map(std::path::PathBuf::from).unwrap_or_default();
            attached::look(&folder, path).map_err(|why| {
                Error::input(format!("path = {}: {why}", shown(path))).at(Attachments::path.name)
            })?
        }
        None => None,
    };
    let mut logged = Logged::new(&store.log(who, record, reason)?).with_times(times);
    logged.guards.extend(remark.map(|r| format!("path: {r}")));
    Ok(logged)
}

/// Changes fields of a record; the old values stay in the journal.
///
/// # Errors
/// As [`build`]; a person who may not.
pub fn correct(
    store: &mut Store,
    who: &Who,
    tag: &str,
    changes: &[(String, String)],
    reason: &str,
) -> Result<Logged> {
    let kind = store.find(tag)?.kind;
    let own = store.own_fields()?;
    let (mut times, mut in_full) = (TimesRead::new(), Vec::with_capacity(changes.len()));
    for (name, text) in changes {
        let own = own.iter().find(|o| o.record == kind.name && o.name == *name).map(OwnField::info);
        let read = match kind.field(name).copied().or(own) {
            Some(field) => time_text::in_full(&field, text, who.clock()),
            None => Ok(None),
        };
        let named = |what| Error::input(format!("{name} = {}: {what}", shown(text))).at(name.clone());
        in_full.push((
            name.clone(),
            match read.map_err(named)? {
                Some((full, read)) => {
                    times.push((name.clone(), text.clone(), read));
                    full
                }
                None => text.clone(),
            },
        ));
    }
    Ok(Logged::new(&store.correct(who, tag, &in_full, reason)?).with_times(times))
}

/// Places a hold.
pub fn hold(store: &mut Store, who: &Who, tag: &str, reason: &str) -> Result<Logged> {
    if !readable(reason) {
        return Err(Error::input("a hold needs a reason that can be read").hint(Hint::Reason));
    }
    let found = store.find(tag)?;
    if !lineage::can_be_held(found.kind.name) {
        return Err(Error::input(format!("{} {}", shown(tag), lineage::HOLDABLE)));
    }
    Ok(Logged::new(&store.hold(who, tag, reason)?))
}
