//! From a record to the suspect readings on it.

use rusqlite::Connection;
use rusqlite::types::ValueRef;

use crate::Stamp;
use crate::Store;
use crate::error::Result;
use crate::graph::suspect::readings::Reading;
use crate::graph::suspect::sources;
use crate::graph::suspect::sources::ReadingKind;
use crate::graph::suspect::windows::{Window, windows};
use crate::read::rows::Link;

/// What suspect readings say of a record.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Doubt {
    /// A suspect reading was taken on it.
    pub on_it: bool,
    /// The doubt descends from it to what came out of it.
    pub carries: bool,
}

/// What suspect readings say of each record, of one instrument or of all.
pub fn doubts(db: &Connection, records: impl Iterator<Item = Link>, only: Option<i64>) -> Result<Vec<Doubt>> {
    let windows = windows(db, only)?;
    if windows.is_empty() {
        return Ok(records.map(|_| Doubt::default()).collect());
    }
    let mut used: Vec<Option<bool>> = vec![None; sources::all().len()];
    let mut out = Vec::new();
    for record in records {
        let mut doubt = Doubt::default();
        for (source, used) in sources::all().iter().zip(&mut used) {
            for on in source.on.iter().filter(|on| on.kind == record.kind) {
                let read = match *used {
                    Some(read) => read,
                    None => *used.insert(any_used(db, source, &windows)?),
                };
                if read && first(db, &on.asked, record.id, &windows)?.is_some() {
                    doubt.on_it = true;
                    doubt.carries |= on.carries;
                }
            }
        }
        out.push(doubt);
    }
    Ok(out)
}

/// One of the instruments is named in this kind's table at all.
fn any_used(db: &Connection, source: &ReadingKind, windows: &[Window]) -> Result<bool> {
    let mut q = db.prepare_cached(&source.used)?;
    for w in windows {
        if source.by_id {
            if q.query_row([w.instrument], |r| r.get(0))? {
                return Ok(true);
            }
            continue;
        }
        for tag in w.tags(db)? {
            if q.query_row([tag], |r| r.get(0))? {
                return Ok(true);
            }
        }
    }
    Ok(false)
}

/// A suspect reading: position of its window, of its span in that, its time.
type Found = (usize, usize, i64);

/// The first suspect reading on a record, in the order of the rows.
fn first(db: &Connection, sql: &str, id: i64, windows: &[Window]) -> Result<Option<Found>> {
    let mut q = db.prepare_cached(sql)?;
    let mut rows = q.query([id])?;
    while let Some(row) = rows.next()? {
        if let Some(found) = suspect(db, row, windows)? {
            return Ok(Some(found));
        }
    }
    Ok(None)
}

fn suspect(db: &Connection, row: &rusqlite::Row, windows: &[Window]) -> Result<Option<Found>> {
    let at: i64 = row.get(1)?;
    for (i, w) in windows.iter().enumerate() {
        let Some(span) = w.span_of(at) else { continue };
        let mine = match row.get_ref(0)? {
            ValueRef::Integer(id) => w.instrument == id,
            ValueRef::Text(text) => w.tags(db)?.iter().any(|t| t.as_bytes().eq_ignore_ascii_case(text)),
            _ => false,
        };
        if mine {
            return Ok(Some((i, span, at)));
        }
    }
    Ok(None)
}

impl Store {
    /// The suspect readings on a record, or that it holds itself.
    pub fn suspect_readings_on(&self, record: Link) -> Result<Vec<Reading>> {
        let windows = windows(&self.db, None)?;
        let mut found: Vec<(Found, &'static str)> = Vec::new();
        for source in sources::all().iter().filter(|_| !windows.is_empty()) {
            for on in source.on.iter().filter(|on| on.kind == record.kind) {
                let mut q = self.db.prepare_cached(&on.asked)?;
                let mut rows = q.query([record.id])?;
                while let Some(row) = rows.next()? {
                    found.extend(suspect(&self.db, row, &windows)?.map(|f| (f, source.kind.name)));
                }
            }
        }
        // By instrument and time; of one span the kinds in the catalogue's order, as they were found.
        found.sort_by_key(|((window, span, _), _)| (*window, *span));
        let mut out = Vec::new();
        for ((window, _, at), kind) in found {
            let instrument = windows[window].tag(&self.db)?;
            out.push(Reading { kind, instrument, on: vec![record], at: Stamp::from_packed(at) });
        }
        Ok(out)
    }
}
