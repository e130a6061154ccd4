//! A maker's certificate as a spreadsheet: read by a saved mapping, doubted, written all or nothing.

pub(crate) mod work;

use std::collections::BTreeMap;
use std::io::Read;
use std::path::Path;

use serde::Serialize;
use sha2::{Digest, Sha256};

use crate::cli::context::helping;
use crate::jobs::chemistry::ask::MetalSubject;
use crate::jobs::chemistry::certificate::work::Work;
use knowledge::metallurgy::limits::Unit;
use records::Record;
use records::catalogue::kind::Kind;
pub use records::exchange::certificate::Mapping;
use records::exchange::certificate::contents;
use records::exchange::grid;
use records::file::paths::open_plain;
use records::value::tag;
use records::value::tag::shown;
use records::write::bulk::Outcome;
use records::{Error, Result, Store, Who};

/// What to read, for which record.
#[derive(Debug, Clone, Default)]
pub struct Request {
    /// The lot or heat that the certificate is of.
    pub subject: String,
    pub mapping: String,
    /// Sheet, in place of the mapping's.
    pub sheet: Option<String>,
    /// Tag of the analysis; else made from the subject's.
    pub analysis: Option<String>,
    /// maker or check.
    pub purpose: String,
    /// When the analysis was made.
    pub taken_at: Option<String>,
    /// Heat number in the file, in place of the lot's own.
    pub heat: Option<String>,
    /// Units that a person states: element, unit.
    pub units: Vec<(String, String)>,
    /// Why what is doubted is right.
    pub reason: Option<String>,
    /// Only say what is wrong.
    pub check: bool,
}

/// A fault of a certificate.
#[derive(Serialize, Debug, Clone, PartialEq)]
pub struct CertificateFault {
    /// Sheet; empty for a CSV.
    pub sheet: String,
    /// Cell; empty where the whole file is meant.
    pub cell: String,
    pub value: String,
    /// What is wrong, and what would be right.
    pub message: String,
    /// A reason answers it.
    pub doubt: bool,
}

/// What reading a certificate came to.
#[derive(Serialize, Debug, Clone, Default)]
pub struct CertificateTaken {
    pub analysis: String,
    /// Records written, by kind; with check those that would be.
    pub records: BTreeMap<&'static str, usize>,
    /// What was read: element, value, unit, cell.
    pub contents: Vec<(String, String, String, String)>,
    /// What was left out or accepted.
    pub remarks: Vec<String>,
    /// Everything that is wrong; then nothing was written.
    pub faults: Vec<CertificateFault>,
    /// Nothing was to be written.
    pub checked_only: bool,
}

/// Keeps a mapping under a name in the store.
///
/// # Errors
/// Fields that the layout needs are missing, one of that name is there and the person is not quality, or the store
/// cannot be written.
pub fn learn(store: &mut Store, who: &Who, name: &str, mapping: &Mapping) -> Result<()> {
    tag::check(name).map_err(|e| Error::input(format!("{}: {e}", shown(name))))?;
    if mapping.header == 0 {
        return Err(Error::input("--header is the row of the columns' names, counted from 1"));
    }
    if mapping.by_element && (mapping.element.is_none() || mapping.value.is_none()) {
        return Err(Error::input("a row for each element needs --element COLUMN and --value COLUMN"));
    }
    if mapping.unit_is.as_deref().is_some_and(|u| Unit::from_word(u).is_none()) {
        return Err(Error::input("--unit-is takes wt% or ppm"));
    }
    let text = serde_json::to_string(mapping).map_err(|e| Error::input(e.to_string()))?;
    store.keep_setting(who, &format!("certificate mapping {}", tag::folded(name)), &text).map(|_| ())
}

fn mapping(store: &Store, name: &str) -> Result<Mapping> {
    let found = store.setting(&format!("certificate mapping {}", tag::folded(name)))?;
    let text = found.ok_or_else(|| {
        Error::input(format!(
            "there is no mapping {}; make it once: meltkin certificate map {0} --help",
            shown(name)
        ))
    })?;
    serde_json::from_str(&text).map_err(|e| Error::untrusted(format!("the mapping {}: {e}", shown(name))))
}

/// Reads a certificate and writes its analysis, values and attachment, or nothing.
///
/// # Errors
/// An unknown subject or mapping, a file that cannot be read, a store that cannot be written. What is
/// wrong in the file is in the outcome.
pub fn import(store: &mut Store, who: &Who, file: &Path, request: &Request) -> Result<CertificateTaken> {
    let mapping = mapping(store, &request.mapping)?;
    let named = |e: String| Error::input(format!("{} {e}", shown(&file.to_string_lossy())));
    let cannot = |e: std::io::Error| named(format!("cannot be read: {e}"));
    let (mut opened, mut bytes) = (open_plain(file).map_err(cannot)?, Vec::new());
    let size = opened.metadata().map_err(cannot)?.len();
    grid::CERTIFICATE.admit(size).map_err(named)?;
    opened.by_ref().take(size).read_to_end(&mut bytes).map_err(cannot)?;
    let sheet = request.sheet.as_deref().or(mapping.sheet.as_deref());
    let about = format!("{}: ", shown(&file.to_string_lossy()));
    let grid = grid::read(&bytes, sheet, &grid::CERTIFICATE).map_err(|unread| unread.error(&about))?;
    let sha: String = Sha256::digest(&bytes).iter().map(|b| format!("{b:02x}")).collect();
    let found = store.find(&request.subject)?;
    let metal = MetalSubject::of(store, &found, "an ingot lot, revert lot or heat has a certificate")?;
    let mut work = Work { grid: &grid, request, out: CertificateTaken::default() };
    work.out.checked_only = request.check;
    work.out.remarks.extend(grid.remarks.iter().cloned());
    let mut faults = Vec::new();
    let all = contents(&grid, &mapping, &mut faults);
    for (cell, value, message) in faults {
        work.fault(&cell, &value, message, false);
    }
    work.out.remarks.extend(all.remarks);
    let ours = work.of_our_heat(store, &found.record, all.lines)?;
    work.known_file(store, &found.record, &sha)?;
    let limits = metal.limits(store)?;
    let lines = work.lines(&mapping, &ours, &limits);
    work.judge(&metal, &limits, &lines);
    let records = work.records(store, who, &metal.address, &lines, (file, &sha, bytes.len()))?;
    let mut out = work.out;
    if let Some(reason) = request.reason.as_deref().filter(|r| !r.trim().is_empty()) {
        let (accepted, left): (Vec<_>, Vec<_>) = out.faults.into_iter().partition(|f| f.doubt);
        out.faults = left;
        out.remarks.extend(accepted.iter().map(|f| format!("accepted ({reason}): {}", f.text())));
    }
    write(store, who, records, request.check, &mut out)?;
    Ok(out)
}

fn write(
    store: &mut Store,
    who: &Who,
    sets: Vec<(&'static Kind, Vec<Record<'static>>)>,
    check: bool,
    out: &mut CertificateTaken,
) -> Result<()> {
    if !out.faults.is_empty() {
        return Ok(());
    }
    let mut load = store.load(who, false)?;
    for (kind, records) in sets {
        load.begin(kind, records.len(), |_| true)?;
        for record in records {
            match load.row(record)? {
                Outcome::Written => *out.records.entry(kind.name).or_insert(0) += 1,
                Outcome::Unchanged | Outcome::Proposed => {}
                Outcome::Faults(faults) => out.faults.extend(faults.into_iter().map(|f| CertificateFault {
                    sheet: String::new(),
                    cell: String::new(),
                    value: f.value,
                    message: format!(
                        "{} {}{}",
                        f.column,
                        f.message,
                        f.hint.as_ref().map(helping).unwrap_or_default()
                    ),
                    doubt: false,
                })),
            }
        }
        load.end(out.faults.is_empty())?;
    }
    load.finish(!check && out.faults.is_empty())?;
    if !out.faults.is_empty() {
        out.records.clear();
    }
    Ok(())
}
