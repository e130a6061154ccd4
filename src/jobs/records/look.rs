//! Single records, looked at: what hangs on one, its history, the newest of a kind.

use crate::jobs::lots::standing;
use crate::jobs::records::ask::{PERSON, RECORDED_BY, sentence};
use crate::jobs::records::facts::facts;
use crate::jobs::records::show::{HistoryLine, HoldLine, Listed, OnBlade, Shown, fields};
use crate::jobs::trace::show::Finding;
use records::catalogue::typed::Key;
use records::catalogue::*;
use records::check;
use records::value::place::Place;
use records::write::journal::Entry;
use records::{Error, Kind, Link, Record, Result, Stamp, Store, catalogue};

/// A record with what hangs on it.
pub fn show(store: &Store, text: &str, history: bool) -> Result<Shown> {
    store.snapshot(|| {
        let found = match store.find(text) {
            Ok(found) => found,
            // Only what is not there was taken back: a row that cannot be trusted is no such thing.
            Err(e) if e.is_input() => return gone(store, text, e),
            Err(e) => return Err(e),
        };
        let own = store.own_fields()?;
        let address = found.record.address();
        let mut out = Shown {
            tag: address.clone(),
            kind: found.kind.name,
            asked: (!address.eq_ignore_ascii_case(text) && found.kind.tagged()).then(|| text.to_string()),
            record: fields(&found.record),
            guards: check::guards(&found.record, &own).iter().map(sentence).collect(),
            remarks: remarks(store, &found.record)?,
            ..Shown::default()
        };
        match found.id {
            Some(id) => hanging(store, found.kind.name, id, &mut out)?,
            None => out.suspect = suspect_reading(store, &found.record)?,
        }
        if history {
            let mut events: Vec<HistoryLine> = Vec::new();
            let entries = store.history(found.kind.name, &address)?;
            let first = entries.first().and_then(|e| e.came);
            let origin = first.or(entries.is_empty().then_some(found.entry));
            if let Some(file) = origin.map(|seq| store.entry(seq)).transpose()?.flatten() {
                if file.tag.is_none() {
                    events.push(event(&file));
                }
            }
            events.extend(entries.iter().map(event));
            out.history = Some(events);
        }
        Ok(out)
    })
}

/// The newest records of a kind, as many as fit on a page or two.
pub fn list(store: &Store, kind: &'static Kind) -> Result<Listed> {
    const MOST: usize = 40;
    store.snapshot(|| {
        let records = store.latest(kind, MOST)?;
        Ok(Listed {
            kind: kind.name,
            total: store.count(kind)?,
            records: records.iter().map(|r| (r.address(), fields(r))).collect(),
        })
    })
}

/// A record that was taken back still has its history.
fn gone(store: &Store, text: &str, unknown: Error) -> Result<Shown> {
    let entries = store.history_of_tag(text)?;
    let Some(last) = entries.last() else { return Err(unknown) };
    let left = if last.new.is_none() {
        "this record was undone; only its history is left"
    } else {
        "no record is here any more: its key was corrected, as its history says, or its row is missing, which verify finds"
    };
    Ok(Shown {
        tag: last.tag.clone().unwrap_or_default(),
        kind: catalogue::kind(&last.kind).map_or("", |k| k.name),
        remarks: vec![left.into()],
        history: Some(entries.iter().map(event).collect()),
        ..Shown::default()
    })
}

fn hanging(store: &Store, kind: &'static str, id: i64, out: &mut Shown) -> Result<()> {
    let fences = store.fences()?;
    out.facts = facts(store, kind, id)?;
    if kind == Blades::NAME {
        if let Some(blade) = store.locate_blade(id)? {
            out.place = Some(blade.place.word());
            out.held = blade.held;
            if blade.place == Place::Shipped {
                let although = |why: String| format!("it is out, although {why}");
                out.remarks.extend(store.out_although(id)?.into_iter().map(although));
            }
            if blade.suspect {
                out.suspect.push("a suspect reading stands behind this blade; its trace marks which".into());
            }
        }
        out.seen = seen(store, Key::new(id))?;
        out.remarks.extend(standing::remarks(store, Key::new(id))?);
    } else {
        out.held = fences.held.has(kind, id);
    }
    let readings = store.suspect_readings_on(Link { kind, id })?;
    out.suspect.extend(readings.iter().map(|r| suspicion(r.kind, r.at, &r.instrument)));
    out.holds = store.holds_fencing(kind, id)?.iter().filter_map(hold_line).collect();
    out.below = store.below(kind, id)?;
    Ok(())
}

/// A record without a tag may be a suspect reading itself, as a pour is.
fn suspect_reading(store: &Store, record: &Record) -> Result<Vec<String>> {
    let named = record.kind.instrument.and_then(|f| record.get(f).text());
    let (Some(instrument), Some(at)) = (named, record.own_time()) else { return Ok(Vec::new()) };
    let suspect = store.checks_of(instrument)?.suspect(at);
    Ok(suspect.then(|| suspicion(record.kind.name, at, instrument)).into_iter().collect())
}

fn suspicion(kind: &str, at: Stamp, instrument: &str) -> String {
    let noun = catalogue::kind(kind).map_or("reading", |k| k.noun);
    format!(
        "{noun} of {at} with {instrument} is suspect: a check of that instrument failed before or after it"
    )
}

/// What was seen on a blade and decided about it, in the order of time.
fn seen(store: &Store, blade: Key<Blades>) -> Result<Vec<OnBlade>> {
    let mut out = Vec::new();
    for r in store.rows_of(Inspections::blade, blade)? {
        let method = r.need(Inspections::method)?;
        let (key, _) = store.key_of::<Inspections>(r.need(Inspections::inspection)?)?;
        let mut findings = Vec::new();
        for f in store.rows_of(Findings::inspection, key)? {
            findings.push(Finding {
                defect: f.need(Findings::defect)?.to_string(),
                zone: f.get(Findings::zone).map(String::from),
                method: method.word().to_string(),
                size_mm: f.get(Findings::size_mm),
            });
        }
        let purpose = r.get(Inspections::purpose).filter(|p| *p != InspectionPurpose::Product);
        out.push(OnBlade {
            at: r.cell(Inspections::inspected_at).to_text(),
            by: method.word().to_string(),
            purpose: purpose.map(|p| p.word().to_string()),
            round: r.get(Inspections::round).map(|n| n as f64),
            result: r.cell(Inspections::result).to_text(),
            person: r.get(Inspections::person).map(String::from),
            findings,
            reason: None,
        });
    }
    for r in store.rows_of(Dispositions::blade, blade)? {
        out.push(OnBlade {
            at: r.cell(Dispositions::decided_at).to_text(),
            by: "decision".into(),
            purpose: None,
            round: None,
            result: r.cell(Dispositions::decision).to_text(),
            person: r.get(Dispositions::person).map(String::from),
            findings: Vec::new(),
            reason: r.get(Dispositions::reason).map(String::from),
        });
    }
    // Times as they are written may stand in several zones: their order is that of the clock.
    out.sort_by_key(|s| Stamp::parse(&s.at).ok());
    Ok(out)
}

/// A hold as lists print it.
pub fn hold_line(hold: &Record) -> Option<HoldLine> {
    let of = hold.of::<Holds>()?;
    Some(HoldLine {
        hold: hold.address(),
        subject: of.cell(Holds::subject).to_text(),
        placed_at: of.cell(Holds::placed_at).to_text(),
        reason: of.cell(Holds::reason).to_text(),
    })
}

fn remarks(store: &Store, record: &Record) -> Result<Vec<String>> {
    let mut out = Vec::new();
    if record.is_late() {
        let minutes = record.delay_min().unwrap_or(0.0);
        out.push(format!("late entry: typed in {minutes:.0} min after"));
    }
    // Where the time may be blank at first, the record was opened before and filled in when it came.
    let opened = record.kind.time.and_then(|t| record.kind.field(t)).is_some_and(|f| f.optional);
    if !opened && record.delay_min().is_some_and(|d| d < 0.0) {
        out.push("typed in before its own time".into());
    }
    if let (Some(person), Some(by)) = (record.get(PERSON).text(), record.get(RECORDED_BY).text()) {
        if !person.eq_ignore_ascii_case(by) {
            out.push(format!("entered by {by}"));
        }
    }
    if let Some(tag) = record.tag() {
        for (old, new, at, reason) in store.retags_of(tag)? {
            let why = if reason.is_empty() { String::new() } else { format!(": {reason}") };
            out.push(format!("re-tagged {old} -> {new} at {at}{why}"));
        }
    }
    Ok(out)
}

/// Fields and their values, as the journal keeps them.
type JsonFields = serde_json::Map<String, serde_json::Value>;

/// The fields that an entry changed: name, before, after.
pub(crate) fn changed(entry: &Entry) -> Vec<(String, String, String)> {
    let read = |text: &Option<String>| -> JsonFields {
        let json = text.as_deref().and_then(|t| t.split_once(' ')).map_or("{}", |(_, json)| json);
        serde_json::from_str(json).unwrap_or_default()
    };
    let (old, new) = (read(&entry.old), read(&entry.new));
    let mut names: Vec<&String> = old.keys().chain(new.keys()).collect();
    names.sort();
    names.dedup();
    let text = |m: &JsonFields, n: &str| m.get(n).and_then(|v| v.as_str()).unwrap_or_default().to_string();
    names
        .into_iter()
        .map(|n| (n.clone(), text(&old, n), text(&new, n)))
        .filter(|(name, a, b)| a != b && name != records::UNTYPED)
        .collect()
}

fn event(entry: &Entry) -> HistoryLine {
    let changed = if entry.tag.is_some() { changed(entry) } else { Vec::new() };
    HistoryLine {
        entry: entry.seq,
        at: entry.at.clone(),
        person: entry.person.clone(),
        action: entry.action.clone(),
        changed,
        reason: entry.reason.clone(),
    }
}
