//! The label of a record that was just saved, where one is wanted at this bench. A printer that is off keeps nobody waiting,
//! and what it did not print is said.

use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex, PoisonError, mpsc};
use std::time::Duration;

use crate::jobs::file::output::Output;
use crate::jobs::labels::ask::{labels, sheets};
use crate::jobs::labels::show::{Ink, Labels, Layout};
use records::catalogue::{
    Blades, CoreLots, FilterLots, Heats, IngotLots, Moulds, PatternRuns, PowderLots, RevertLots, Samples,
    ShellBatches, SlurryBatches, StuccoLots, TestBars, WaxLots,
};
use records::{Error, Result, Store};

/// How long a label may take until it is given up.
const LIMIT: Duration = Duration::from_secs(4);

/// One label after the other: two at once would be mixed at the printer.
static PRINTER: Mutex<()> = Mutex::new(());

/// Kinds of what is in hand: a hook, a bag, a pot, a pallet.
const LABELLED: [&str; 15] = [
    Blades::NAME,
    CoreLots::NAME,
    FilterLots::NAME,
    Heats::NAME,
    IngotLots::NAME,
    Moulds::NAME,
    PatternRuns::NAME,
    PowderLots::NAME,
    RevertLots::NAME,
    Samples::NAME,
    ShellBatches::NAME,
    SlurryBatches::NAME,
    StuccoLots::NAME,
    TestBars::NAME,
    WaxLots::NAME,
];

/// Whether a record of this kind carries a label.
pub fn carries(kind: &str) -> bool {
    LABELLED.contains(&kind)
}

/// Prints the label of a record: into a folder as a sheet of one label, or to a printer's device in characters with a form
/// feed. Says what was done.
///
/// # Errors
/// The place is neither, cannot be written, or took nothing in time; the record is saved all the same.
pub fn on_save(store: &Store, tag: &str, place: &Path) -> Result<String> {
    let labels = labels(store, &[tag.to_string()], false, None)?;
    let (what, place, store) = (tag.to_string(), place.to_path_buf(), store.path().to_path_buf());
    let (tell, told) = mpsc::channel();
    let given_up = Arc::new(AtomicBool::new(false));
    let (late, to) = (given_up.clone(), place.clone());
    // A folder on another machine can hang as well as a printer.
    std::thread::spawn(move || {
        let _one = PRINTER.lock().unwrap_or_else(PoisonError::into_inner);
        let _ = tell.send(put(labels, &what, &to, &store, &late));
    });
    told.recv_timeout(LIMIT).unwrap_or_else(|_| {
        given_up.store(true, Ordering::Relaxed);
        let (place, s) = (place.display(), LIMIT.as_secs());
        Err(Error::untrusted(format!("{place} took it not within {s} s; is the printer on?")))
    })
}

fn put(mut labels: Labels, tag: &str, place: &PathBuf, store: &Path, late: &AtomicBool) -> Result<String> {
    let shown = place.display();
    let failed = |e: std::io::Error| Error::untrusted(format!("{shown}: {e}"));
    let is = std::fs::metadata(place).map_err(failed)?;
    if is.is_file() {
        return Err(Error::input(format!(
            "{shown} is a plain file; labels go to a folder or a printer's device"
        )));
    }
    if is.is_dir() {
        let suited = Layout::suited(&labels.labels);
        let layout = Layout { page: suited.label, margin: 0.0, gap: 0.0, ..suited };
        let plain = |c: char| if c.is_ascii_alphanumeric() || "-_.".contains(c) { c } else { '_' };
        let name: String = tag.chars().map(plain).collect();
        let file = place.join(format!("{name}.svg"));
        sheets(&mut labels, &layout, Output { file: &file, replace: true, store: Some(store) })?;
        return Ok(format!("its label is {}", labels.files.join(", ")));
    }
    let mut printer = std::fs::OpenOptions::new().append(true).open(place).map_err(failed)?;
    // What was said not to be printed is not printed an hour later.
    if !late.load(Ordering::Relaxed) {
        let text = labels.text(Ink::Ascii, true) + "\u{c}";
        std::io::Write::write_all(&mut printer, text.as_bytes()).map_err(failed)?;
    }
    Ok(format!("its label went to {shown}"))
}
