//! A mould comes out of its oven: the blank time of its oven load is filled in, by one scan or one key.

use crate::jobs::records::ask::Logged;
use records::catalogue::typed::Recorded;
use records::catalogue::{Moulds, OvenLoads, OvenPurpose, OvenRuns, Pours};
use records::value::tag::shown;
use records::write::draft::Draft;
use records::{Error, Result, Stamp, Store, Who};

/// Why the record is changed: it was opened when the mould went in.
const REASON: &str = "out of the oven";

/// The oven run that a mould is in.
#[derive(Clone, Debug, PartialEq)]
pub struct Inside {
    pub mould: String,
    pub oven_run: String,
    /// The oven, as its run names it.
    pub oven: String,
    pub since: Stamp,
    /// Other runs that it still stands in by its records.
    pub others: Vec<String>,
    /// The address of its load.
    load: String,
}

/// The oven run that a mould is in, by its records. Of several its preheat, the one that it was put into last: from there
/// its clock runs.
///
/// # Errors
/// It is in none: the sentence says where it is, and what would be right.
pub fn inside(store: &Store, mould: &str) -> Result<Inside> {
    store.snapshot(|| {
        let (key, mould) = store.named::<Moulds>(mould)?;
        let tag = mould.address();
        if let Some(pour) = store.rows_of(Pours::mould, key)?.first() {
            let at = pour.cell(Pours::poured_at).to_text();
            return Err(Error::input(format!("{} was poured at {at}; nothing was written", shown(&tag))));
        }
        let mut loads: Vec<Load> = Vec::new();
        for load in store.rows_of(OvenLoads::mould, key)? {
            let run = store.named::<OvenRuns>(load.need(OvenLoads::oven_run)?)?.1;
            loads.push((run.need(OvenRuns::started_at)?, run, load));
        }
        loads.sort_by_key(|(since, run, _)| (*since, run.address()));
        let at = preheat(&loads).or(loads.len().checked_sub(1));
        let Some((since, run, load)) = at.map(|at| loads.remove(at)) else {
            return Err(Error::input(format!(
                "no oven run has {} on record: record its oven load first; nothing was written",
                shown(&tag)
            )));
        };
        if !load.cell(OvenLoads::out_at).is_blank() {
            let at = load.cell(OvenLoads::out_at).to_text();
            return Err(Error::input(format!(
                "{} is out of {} since {at}; to change that time, change its oven load; nothing was written",
                shown(&tag),
                run.address()
            )));
        }
        let still = loads.iter().filter(|(_, _, load)| load.cell(OvenLoads::out_at).is_blank());
        let others = still.map(|(_, run, _)| run.address()).collect();
        Ok(Inside {
            mould: tag,
            oven_run: run.address(),
            oven: run.need(OvenRuns::oven)?.to_string(),
            since,
            others,
            load: load.address(),
        })
    })
}

/// A load with its run and when that began.
type Load = (Stamp, Recorded<OvenRuns>, Recorded<OvenLoads>);

/// The preheat that a mould was put into last and is in still: where it is in the list.
fn preheat(loads: &[Load]) -> Option<usize> {
    let open = loads.iter().enumerate().filter(|(_, (_, run, load))| {
        run.get(OvenRuns::purpose) == Some(OvenPurpose::Preheat) && load.cell(OvenLoads::out_at).is_blank()
    });
    let typed = |load: &Recorded<OvenLoads>| load.view().record.recorded_at().map(Stamp::ms);
    open.max_by_key(|(_, (since, _, load))| (typed(load), *since)).map(|(at, _)| at)
}

/// Records that a mould came out of the oven that it is in, now.
///
/// # Errors
/// As [`inside`]; the file cannot be written.
pub fn out(store: &mut Store, who: &Who, mould: &str) -> Result<(Logged, Inside)> {
    let inside = inside(store, mould)?;
    let out = Draft::<OvenLoads>::default().with(OvenLoads::out_at, who.now.to_string());
    let written = store.correct(who, &inside.load, out.texts(), REASON)?;
    Ok((Logged::new(&written), inside))
}
