//! What is asked of a record first, beside its fields: how much of a lot is left and whether it may go in, when an
//! instrument is due, what a run-out in a heat touched.

use crate::jobs::chemistry::ask;
use records::catalogue::typed::Key;
use records::catalogue::{
    Calibrations, CheckResult, Heats, IngotLots, Instruments, Pours, RevertLots, YesNo,
};
use records::{Result, Stamp, Store};

/// The lines of a record; none for kinds that have none.
pub fn facts(store: &Store, kind: &str, id: i64) -> Result<Vec<String>> {
    match kind {
        IngotLots::NAME => metal(store, IngotLots::NAME, id),
        RevertLots::NAME => metal(store, RevertLots::NAME, id),
        Instruments::NAME => instrument(store, Key::new(id)),
        Heats::NAME => run_outs(store, Key::new(id)),
        _ => Ok(Vec::new()),
    }
}

/// Kilograms left, and whether its analysis is within the limits of its alloy.
fn metal(store: &Store, kind: &'static str, id: i64) -> Result<Vec<String>> {
    let mut out = Vec::new();
    if let Some((received, _, used)) = store.stock(kind, id)? {
        out.push(match received {
            Some(received) => {
                format!("{:.3} kg left: {received:.3} kg there, {used:.3} kg charged", received - used)
            }
            None => format!("{used:.3} kg charged; how much there was is not on record"),
        });
    }
    let checked = ask::check(store, &store.tag_of(kind, id)?)?;
    let outside = checked.outside();
    let untold = checked.elements.iter().filter(|e| e.ok.is_none() && (e.min.is_some() || e.max.is_some()));
    let untold: Vec<&str> = untold.map(|e| e.element.as_str()).collect();
    out.push(match (&checked.analysis, outside.is_empty(), untold.is_empty()) {
        (None, ..) => "? no analysis on record".into(),
        (Some(_), false, _) => format!("✗ outside the limits of its alloy: {}", outside.join(", ")),
        (Some(a), true, false) => format!("? {a}: {} cannot be judged", untold.join(", ")),
        (Some(a), true, true) => format!("✓ within the limits of its alloy by {a}"),
    });
    Ok(out)
}

/// The last check of an instrument: how far it was off, and when the next is due.
fn instrument(store: &Store, key: Key<Instruments>) -> Result<Vec<String>> {
    Ok(last_check(store, key, None)?.into_iter().collect())
}

/// The last check of an instrument that was done, up to a time where one is given.
pub fn last_check(store: &Store, key: Key<Instruments>, until: Option<Stamp>) -> Result<Option<String>> {
    let mut all = store.rows_of(Calibrations::instrument, key)?;
    all.retain(|c| c.get(Calibrations::result) != Some(CheckResult::NotDone));
    all.retain(|c| until.is_none_or(|t| c.own_time().is_some_and(|at| at.ms() <= t.ms())));
    all.sort_by_key(|c| c.own_time());
    let Some(last) = all.last() else { return Ok(None) };
    let mut said = format!(
        "last check {}: {}",
        last.cell(Calibrations::checked_at).to_text(),
        last.cell(Calibrations::result).to_text()
    );
    if !last.cell(Calibrations::difference).is_blank() {
        let (by, unit) =
            (last.cell(Calibrations::difference).to_text(), last.cell(Calibrations::unit).to_text());
        said.push_str(format!(", off by {by} {unit}").trim_end());
    }
    match last.get(Calibrations::due_at) {
        Some(due) => said.push_str(&format!("; due {due}")),
        None => said.push_str("; when the next is due is not on record"),
    }
    Ok(Some(said))
}

/// Each run-out of a heat, and the moulds that were poured from it afterwards.
fn run_outs(store: &Store, key: Key<Heats>) -> Result<Vec<String>> {
    let mut pours = store.rows_of(Pours::heat, key)?;
    pours.sort_by_key(|p| p.get(Pours::poured_at));
    let mut out = Vec::new();
    for (i, pour) in pours.iter().enumerate().filter(|(_, p)| p.get(Pours::run_out) == Some(YesNo::Yes)) {
        let (mould, at) = (pour.cell(Pours::mould).to_text(), pour.cell(Pours::poured_at).to_text());
        let after: Vec<String> = pours[i + 1..].iter().map(|p| p.cell(Pours::mould).to_text()).collect();
        let after = if after.is_empty() { "none".into() } else { after.join(", ") };
        out.push(format!("✗ {mould} ran out at {at}; poured after it from this heat: {after}"));
    }
    Ok(out)
}
