//! From an instrument to its suspect readings, and to what stands behind them.

use std::collections::BTreeMap;

use rusqlite::Connection;
use rusqlite::types::Value;

use crate::Stamp;
use crate::Store;
use crate::error::Result;
use crate::graph::lineage;
use crate::graph::lineage::Fence;
use crate::graph::suspect::sources;
use crate::graph::suspect::sources::ReadingKind;
use crate::graph::suspect::windows::{Window, begin, windows};
use crate::read::rows::Link;

/// A suspect reading.
#[derive(Clone, Debug)]
pub struct Reading {
    /// The kind of the record that holds it.
    pub kind: &'static str,
    /// The instrument's tag.
    pub instrument: String,
    /// What the reading was taken on; the first carries the doubt on. Where it can be named, the record
    /// itself stands among them.
    pub on: Vec<Link>,
    /// When.
    pub at: Stamp,
}

/// Blades behind suspect readings of one instrument, of one kind of record.
#[derive(Debug)]
pub struct Suspected {
    pub instrument: String,
    /// Kind of the readings.
    pub kind: &'static str,
    /// What stands behind them.
    pub fence: Fence,
}

impl Store {
    /// Every suspect reading, of one instrument or of all.
    pub fn suspect_readings(&self, instrument: Option<i64>) -> Result<Vec<Reading>> {
        readings(&self.db, instrument)
    }

    /// All that stands behind suspect readings.
    pub fn suspect_fence(&self, instrument: Option<i64>) -> Result<Fence> {
        let readings = readings(&self.db, instrument)?;
        lineage::descend(&self.db, &starts(&readings), false)
    }

    /// What stands behind suspect readings, by instrument and kind of record.
    pub fn suspected(&self) -> Result<Vec<Suspected>> {
        let mut groups: BTreeMap<(String, &'static str), Vec<Link>> = BTreeMap::new();
        for reading in readings(&self.db, None)? {
            let on = reading.on.first().copied();
            groups.entry((reading.instrument, reading.kind)).or_default().extend(on);
        }
        let mut out = Vec::new();
        for ((instrument, kind), starts) in groups {
            let fence = lineage::descend(&self.db, &starts, false)?;
            out.push(Suspected { instrument, kind, fence });
        }
        Ok(out)
    }
}

/// The records from which doubt descends.
pub fn starts(readings: &[Reading]) -> Vec<Link> {
    readings.iter().filter_map(|r| r.on.first().copied()).collect()
}

/// The suspect readings of one instrument.
pub fn of_instrument(db: &Connection, id: i64) -> Result<Vec<Reading>> {
    readings(db, Some(id))
}

fn readings(db: &Connection, instrument: Option<i64>) -> Result<Vec<Reading>> {
    let mut out = Vec::new();
    for window in windows(db, instrument)? {
        for span in &window.spans {
            let times = (span.from.map_or(i64::MIN, begin), span.until.map_or(i64::MAX, begin));
            for source in sources::all() {
                in_span(db, source, &window, times, &mut out)?;
            }
        }
    }
    Ok(out)
}

fn in_span(
    db: &Connection,
    source: &ReadingKind,
    window: &Window,
    (from, until): (i64, i64),
    out: &mut Vec<Reading>,
) -> Result<()> {
    let tag = window.tag(db)?;
    let names: Vec<Value> = if source.by_id {
        vec![Value::Integer(window.instrument)]
    } else {
        window.tags(db)?.iter().cloned().map(Value::Text).collect()
    };
    let mut q = db.prepare_cached(&source.in_span)?;
    for name in names {
        let mut rows = q.query((name, from, until))?;
        while let Some(row) = rows.next()? {
            let mut on = Vec::new();
            for (i, to) in source.on.iter().enumerate() {
                if let Some(id) = row.get::<_, Option<i64>>(i + 1)? {
                    on.push(Link { kind: to.kind, id });
                }
            }
            let at = Stamp::from_packed(row.get(0)?);
            out.push(Reading { kind: source.kind.name, instrument: tag.clone(), on, at });
        }
    }
    Ok(())
}
