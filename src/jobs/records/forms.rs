//! What a form starts with and is held against while it is filled in.

use crate::jobs::records::numbers;
use records::catalogue::{Blades, Inspections, Moulds, Zones};
use records::check::limit::Limit;
use records::check::{Guard, OwnField};
use records::{Kind, Record, Result, Stamp, Store, Value, catalogue};

/// What a form of a kind starts with.
#[derive(Clone, Debug, Default)]
pub struct FormStart {
    /// The latest record of the kind: field and text.
    pub last: Vec<(String, String)>,
    /// The foundry's own fields of the kind.
    pub own: Vec<OwnField>,
    /// The tag that comes next, where the shop numbers such records itself.
    pub next: Option<String>,
}

/// What a form of a kind starts with: the latest record, and the foundry's own fields.
pub fn form_start(store: &Store, kind: &'static Kind) -> Result<FormStart> {
    let mut own = store.own_fields()?;
    own.retain(|o| o.record == kind.name);
    let latest = store.recent(kind)?;
    let newer = store
        .written_last(kind)?
        .filter(|written| latest.as_ref().is_none_or(|latest| written.own_time() > latest.own_time()));
    let last = newer.or(latest).as_ref().map(texts).unwrap_or_default();
    Ok(FormStart { last, own, next: numbers::proposed(store, kind)? })
}

/// A record's fields as text, by its tag or address; with its own fields.
pub fn as_texts(store: &Store, text: &str) -> Result<(&'static Kind, String, Vec<(String, String)>)> {
    let found = store.find(text)?;
    Ok((found.kind, found.record.address(), texts(&found.record)))
}

fn texts(record: &Record) -> Vec<(String, String)> {
    let named = record.kind.all_fields().map(|f| f.name.to_string()).zip(record.values.iter());
    let own = record.own.iter().map(|(n, v)| (n.clone(), v));
    named.chain(own).map(|(n, v): (String, &Value)| (n, v.to_text())).collect()
}

/// The foundry's limits that apply to a form as far as it is filled in.
pub fn limits(store: &Store, kind: &'static Kind, texts: &[(String, String)]) -> Result<Vec<Limit>> {
    let mut record = Record::blank(kind);
    for (name, text) in texts {
        record.set(name, Value::Text(text.clone().into()));
    }
    store.snapshot(|| store.limits(&record))
}

/// What does not fit with what is on record, as far as a form is filled in by now.
pub fn asks(
    store: &Store,
    kind: &'static Kind,
    texts: &[(String, String)],
    now: Stamp,
) -> Result<Vec<Guard>> {
    let mut record = Record::blank(kind);
    record.set_recorded(now, None);
    for (name, text) in texts {
        if let Some(Ok(value)) = kind.field(name).map(|field| Value::read(field, text)) {
            record.set(name, value.owned());
        }
    }
    store.snapshot(|| store.fit_guards(&record))
}

/// The zones of the part that an inspected blade is: code and name, in the order of their records.
pub fn zones(store: &Store, inspection: &str) -> Result<Vec<(String, String)>> {
    store.snapshot(|| {
        let part = match store.known::<Inspections>(inspection)? {
            Some((key, _)) => part_of(store, store.row(key)?.need(Inspections::blade)?)?,
            None => None,
        };
        zones_of(store, part.as_deref())
    })
}

/// The zones of a part; those of every part where it is not known.
pub fn zones_of(store: &Store, part: Option<&str>) -> Result<Vec<(String, String)>> {
    store.snapshot(|| {
        let base = |t: &str| t.split('@').next().unwrap_or("").to_ascii_lowercase();
        let mut out: Vec<(String, String)> = Vec::new();
        for zone in store.rows::<Zones>()? {
            let of = base(zone.need(Zones::part)?);
            if part.is_some_and(|part| of != base(part)) {
                continue;
            }
            let pair = (zone.need(Zones::zone)?.to_string(), zone.need(Zones::name)?.to_string());
            if !out.contains(&pair) {
                out.push(pair);
            }
        }
        Ok(out)
    })
}

/// The part that a blade is; none where no mould is on record for it.
pub fn part_of(store: &Store, blade: &str) -> Result<Option<String>> {
    let (_, blade) = store.named::<Blades>(blade)?;
    let Some(mould) = blade.get(Blades::mould) else { return Ok(None) };
    Ok(Some(store.named::<Moulds>(mould)?.1.need(Moulds::part)?.to_string()))
}

/// The kinds that people write at a station: every kind but definitions, in the order of the route.
pub fn stations() -> Vec<(&'static str, Vec<&'static Kind>)> {
    let mut out: Vec<(&'static str, Vec<&'static Kind>)> = Vec::new();
    for kind in catalogue::all() {
        match out.iter_mut().find(|(s, _)| *s == kind.station) {
            Some((_, kinds)) => kinds.push(kind),
            None => out.push((kind.station, vec![kind])),
        }
    }
    let rank = |station: &str| {
        const ROUTE: &[&str] =
            &["wax", "tree", "shell", "fire", "melt", "pour", "finish", "inspect", "laboratory", "stores"];
        ROUTE.iter().position(|r| *r == station).unwrap_or(ROUTE.len())
    };
    out.sort_by_key(|(station, _)| (*station == "definitions", rank(station)));
    out
}
