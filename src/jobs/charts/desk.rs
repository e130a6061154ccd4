//! The pictures of the chart desk: one question, one answer, with a way to stop and to see how far it is.

use crate::jobs::causes::ask;
use crate::jobs::causes::ask::Ask;
use crate::jobs::charts::ask::{By, ChartAsk};
use crate::jobs::charts::show::Chart;
use crate::jobs::charts::show_against::Against;
use crate::jobs::charts::show_places::Rates;
use knowledge::causes::{Packed, Values, Watch};
use records::{Error, Result, Store, catalogue};

/// What is to be drawn.
#[derive(Clone, Debug)]
pub enum Wanted {
    Chart(ChartAsk),
    /// The rate of a question against a reading; heats as points, or moulds.
    Against(Ask, String, By),
    Positions(Ask),
    Zones(Ask),
}

/// What was asked for.
#[derive(Clone, Debug)]
pub enum Drawn {
    Chart(Box<Chart>),
    Against(Box<Against>),
    Positions(Box<Rates>),
    Zones(Box<Rates>),
}

/// What drawing does, one after the other.
pub const STEPS: [&str; 4] = ["queued", "reads the records", "counts", "looks for what changed"];

/// The next piece begins; a sentence where nobody waits for it any more.
pub(crate) fn begins(watch: &Watch, step: usize) -> Result<()> {
    watch.at(step, STEPS.len() - 1);
    if watch.is_stopped() { Err(Error::input("stopped")) } else { Ok(()) }
}

/// Draws what is wanted.
///
/// # Errors
/// What the question may not be, with near matches; a sentence where the run was stopped.
pub fn draw(store: &Store, wanted: &Wanted, run: &Watch) -> Result<Drawn> {
    store.snapshot(|| {
        begins(run, 1)?;
        let foundry = ask::columns(store)?;
        begins(run, 2)?;
        let drawn = match wanted {
            Wanted::Chart(asked) => {
                Drawn::Chart(Box::new(crate::jobs::charts::ask::charted(store, &foundry, asked, run)?))
            }
            Wanted::Against(ask, reading, by) => Drawn::Against(Box::new(
                crate::jobs::charts::against::hold(store, &foundry, ask, reading, *by)?,
            )),
            Wanted::Positions(ask) => {
                Drawn::Positions(Box::new(crate::jobs::charts::tables::by_position(store, &foundry, ask)?))
            }
            Wanted::Zones(ask) => {
                Drawn::Zones(Box::new(crate::jobs::charts::tables::by_zone(store, &foundry, ask, run)?))
            }
        };
        begins(run, 3)?;
        Ok(drawn)
    })
}

/// What can be charted besides a rate.
#[derive(Clone, Debug, Default)]
pub struct Readings {
    /// Readings of moulds and heats: their name, and how many are known. A rate can be held against these.
    pub factors: Vec<(String, String)>,
    /// Readings of records: `KIND.FIELD`, and how many are known.
    pub fields: Vec<(String, String)>,
    pub characteristics: Vec<String>,
}

/// Everything that can be charted besides a rate.
pub fn readings(store: &Store) -> Result<Readings> {
    store.snapshot(|| {
        let foundry = ask::columns(store)?;
        let mut out = Readings::default();
        for column in foundry.columns.into_iter().filter(|c| c.is_number()).map(Packed::open) {
            let Values::Numbers(x) = &column.values else { continue };
            let known = x.iter().filter(|v| v.is_finite()).count();
            let unit = match column.at {
                knowledge::causes::At::Mould => "moulds",
                knowledge::causes::At::Heat => "heats",
                knowledge::causes::At::Blade => "blades",
            };
            if known > 0 {
                out.factors.push((column.name.clone(), format!("{known} {unit}")));
            }
        }
        out.factors.sort();
        for kind in catalogue::all().filter(|k| k.time.is_some()) {
            let fields: Vec<&str> = kind.fields.iter().filter(|f| f.is_numeric()).map(|f| f.name).collect();
            if fields.is_empty() {
                continue;
            }
            let sheet = store.sheet(kind, &fields)?;
            for (field, cells) in fields.iter().zip(&sheet.columns) {
                let known = cells.numbers().iter().filter(|v| v.is_finite()).count();
                if known > 0 {
                    out.fields.push((format!("{}.{field}", kind.name), format!("{known} records")));
                }
            }
        }
        out.characteristics = store.texts(catalogue::Measurements::characteristic)?;
        out.characteristics.sort();
        Ok(out)
    })
}
