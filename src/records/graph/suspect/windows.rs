//! When instruments were in doubt, read from the store.

use std::cell::OnceCell;

use rusqlite::{Connection, OptionalExtension, Row};

use crate::Stamp;
use crate::catalogue::{CheckResult, Instruments};
use crate::error::Result;
use crate::graph::suspect::checks::{Checks, Span, joined};
use crate::read::tags::Tags;

const FAILED: &str = "SELECT instrument, checked_at FROM calibrations WHERE result = 'failed'
     ORDER BY instrument, checked_at";
const BEFORE: &str = "SELECT checked_at FROM calibrations WHERE instrument = +?1 AND checked_at < +?2
     AND result <> 'not_done' ORDER BY checked_at DESC LIMIT 1";
const AFTER: &str = "SELECT checked_at FROM calibrations WHERE instrument = +?1 AND checked_at >= +?2
     AND result <> 'not_done' ORDER BY checked_at LIMIT 1";
const CHECKS: &str =
    "SELECT checked_at, result, due_at, entry FROM calibrations WHERE instrument = +?1 ORDER BY checked_at";
const TAG: &str = "SELECT instrument FROM instruments WHERE id = ?1";
const RELABELLED: &str = "SELECT new_tag FROM retags WHERE old_tag = ?1 COLLATE NOCASE ORDER BY changed_at";

/// The queries of this module, for the test that reads their plans.
pub(crate) const QUERIES: [&str; 6] = [FAILED, BEFORE, AFTER, CHECKS, TAG, RELABELLED];

/// The smallest packed time of an instant: the offset to UTC does not count.
pub(crate) fn begin(at: Stamp) -> i64 {
    Stamp::new(at.ms(), -2048).packed()
}

/// An instrument some check of which failed, and when its readings are suspect.
pub(crate) struct Window {
    pub instrument: i64,
    /// When, in the order of time.
    pub spans: Vec<Span>,
    tags: OnceCell<Vec<String>>,
}

impl Window {
    /// The tags that lead to it, its own first: a text may name it by a later label.
    pub fn tags(&self, db: &Connection) -> Result<&[String]> {
        if let Some(known) = self.tags.get() {
            return Ok(known);
        }
        let found = tags(db, self.instrument)?;
        Ok(self.tags.get_or_init(|| found))
    }

    /// Its own tag.
    pub fn tag(&self, db: &Connection) -> Result<String> {
        Ok(self.tags(db)?.first().cloned().unwrap_or_default())
    }

    /// The span in which a packed time lies.
    pub fn span_of(&self, at: i64) -> Option<usize> {
        let at = Stamp::from_packed(at);
        self.spans.iter().position(|s| s.holds(at))
    }
}

/// Every instrument some check of which failed, or one of them.
///
/// A failed check and its two neighbours are enough: an instrument has years of good ones.
pub(crate) fn windows(db: &Connection, only: Option<i64>) -> Result<Vec<Window>> {
    let mut found: Vec<(i64, Vec<Span>)> = Vec::new();
    let mut q = db.prepare_cached(FAILED)?;
    let mut rows = q.query([])?;
    while let Some(row) = rows.next()? {
        let (instrument, at): (i64, i64) = (row.get(0)?, row.get(1)?);
        if only.is_some_and(|o| o != instrument) {
            continue;
        }
        let from = begin(Stamp::from_packed(at));
        let until = from + 4096;
        let ask = |sql: &str, at: i64| -> Result<Option<Stamp>> {
            let found = db.prepare_cached(sql)?.query_row([instrument, at], |r| r.get(0)).optional()?;
            Ok(found.map(Stamp::from_packed))
        };
        let span = Span { from: ask(BEFORE, from)?, until: ask(AFTER, until)? };
        match found.last_mut() {
            Some((last, spans)) if *last == instrument => spans.push(span),
            _ => found.push((instrument, vec![span])),
        }
    }
    let window = |(instrument, spans)| Window { instrument, spans: joined(spans), tags: OnceCell::new() };
    Ok(found.into_iter().map(window).collect())
}

/// The checks of an instrument that were done.
pub(crate) fn checks(db: &Connection, instrument: i64) -> Result<Checks> {
    let mut q = db.prepare_cached(CHECKS)?;
    let read = |r: &Row| -> rusqlite::Result<(Stamp, CheckResult, Option<Stamp>, i64)> {
        // The schema knows no other words.
        let outcome = CheckResult::of(r.get_ref(1)?.as_str()?).unwrap_or(CheckResult::NotDone);
        let due = r.get::<_, Option<i64>>(2)?.map(Stamp::from_packed);
        Ok((Stamp::from_packed(r.get(0)?), outcome, due, r.get(3)?))
    };
    let records = q.query_map([instrument], read)?.collect::<rusqlite::Result<Vec<_>>>()?;
    Ok(Checks::new(records))
}

fn tags(db: &Connection, instrument: i64) -> Result<Vec<String>> {
    let mut out: Vec<String> = vec![db.prepare_cached(TAG)?.query_row([instrument], |r| r.get(0))?];
    let mut q = db.prepare_cached(RELABELLED)?;
    let mut at = 0;
    while at < out.len() {
        let later: Vec<String> = q.query_map([&out[at]], |r| r.get(0))?.collect::<rusqlite::Result<_>>()?;
        for new in later {
            // A label may have gone to another instrument since: the tag decides.
            let mine =
                Tags::new(db)?.find(&new, &[Instruments::NAME])?.is_some_and(|(l, _)| l.id == instrument);
            if mine && !out.iter().any(|t| t.eq_ignore_ascii_case(&new)) {
                out.push(new);
            }
        }
        at += 1;
    }
    Ok(out)
}
