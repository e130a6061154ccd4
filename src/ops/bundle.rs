//! Bundles in and out.

use std::collections::BTreeMap;
use std::fs::File;
use std::path::Path;

use serde::Serialize;

use crate::domain::check::Fault;
use crate::domain::kind::Kind;
use crate::domain::{Stamp, catalogue, tag};
use crate::import::{self, Reader, Writer};
use crate::store::bulk::{Load, Outcome};
use crate::store::clock::CLOCK;
use crate::store::{Error, Result, Store, Who};

/// A fault of a file.
#[derive(Serialize, Debug, Clone, PartialEq)]
pub struct FileFault {
    /// Name of the file.
    pub file: String,
    /// Line, from 1; 0 where the whole file is meant.
    pub line: u64,
    /// Column; empty where the whole row is meant.
    pub column: String,
    /// What stands there.
    pub value: String,
    /// What is wrong, and what would be right.
    pub message: String,
}

impl FileFault {
    /// A fault of a cell, a row or a whole file.
    pub(crate) fn new(file: &str, line: u64, fault: Fault) -> Self {
        Self { file: file.into(), line, column: fault.column, value: fault.value, message: fault.message }
    }

    /// One line for a terminal.
    #[must_use]
    pub fn text(&self) -> String {
        let mut out = tag::shown(&self.file).into_owned();
        if self.line > 0 {
            out.push_str(&format!(" line {}", self.line));
        }
        if !self.column.is_empty() {
            out.push_str(&format!(", {}", tag::shown(&self.column)));
        }
        if !self.value.is_empty() {
            out.push_str(&format!(" = {}", tag::shown(&self.value)));
        }
        out.push_str(&format!(": {}", tag::shown(&self.message)));
        out
    }
}

/// What an import came to.
#[derive(Serialize, Debug, Clone, Default)]
pub struct Imported {
    /// Records written, by kind.
    pub records: BTreeMap<&'static str, usize>,
    /// Rows equal to the stored record.
    pub unchanged: usize,
    /// Everything that is wrong; then nothing was written.
    pub faults: Vec<FileFault>,
    /// Rows that would free something from a hold: kept as proposals, which quality decides.
    #[serde(skip_serializing_if = "none")]
    pub proposals: usize,
    /// There are such rows.
    #[serde(skip_serializing_if = "std::ops::Not::not")]
    pub proposal: bool,
    /// What of a mapped sheet was left out, or taken as meant.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub remarks: Vec<String>,
}

#[allow(clippy::trivially_copy_pass_by_ref, reason = "serde asks so")]
fn none(n: &usize) -> bool {
    *n == 0
}

/// A file to import: its name, its kind, and how to read it.
struct Source<'a> {
    name: String,
    kind: &'static Kind,
    open: Box<dyn Fn() -> std::io::Result<Box<dyn std::io::Read + 'a>> + 'a>,
    bytes: u64,
}

/// Told how far an import is: bytes done, bytes in all, the file.
pub type Progress<'a> = &'a mut dyn FnMut(u64, u64, &str);

/// Imports a bundle folder or one CSV. With `check` nothing is written.
///
/// # Errors
/// The store cannot be written, or the person may not; faults of the files are in the outcome.
pub fn import(
    store: &mut Store,
    who: &Who,
    path: &Path,
    kind: Option<&str>,
    check: bool,
    progress: Progress,
) -> Result<Imported> {
    let mut faults = Vec::new();
    let sources = if path.is_dir() { folder(path, &mut faults)? } else { vec![one(path, kind)?] };
    if sources.is_empty() && faults.is_empty() {
        return Err(Error::input(format!(
            "{}: holds no file of a bundle (alloys.csv, moulds.csv …)",
            path.display()
        )));
    }
    load(store, who, sources, faults, check, false, progress)
}

/// The time at which the clock of a bundle stands still, where it says so.
///
/// # Errors
/// The file cannot be read, or what stands there is no time.
pub fn clock_of(folder: &Path) -> Result<Option<Stamp>> {
    let path = folder.join(format!("{}.csv", catalogue::SETTINGS.name));
    if !path.is_file() {
        return Ok(None);
    }
    let at_fault = |e: std::io::Error| Error::input(format!("{}: {e}", tag::shown(&path.to_string_lossy())));
    let file = File::open(&path).map_err(at_fault)?;
    // What is wrong with the file is said by the import.
    let Ok(mut reader) = Reader::new(file, &catalogue::SETTINGS, &[]) else { return Ok(None) };
    while let Ok(true) = reader.advance() {
        let record = reader.record(&mut Vec::new());
        if record.get("setting").text() == Some(CLOCK) {
            let text = record.get("value").to_text();
            return Stamp::parse(&text).map(Some).map_err(|e| {
                Error::Input(format!(
                    "{} line {}, value = {}: {e}",
                    path.display(),
                    reader.line(),
                    tag::shown(&text)
                ))
            });
        }
    }
    Ok(None)
}

/// Imports texts that the program carries: the demo and the starter definitions.
///
/// # Errors
/// The store cannot be written, or a text is at fault.
pub fn import_texts(
    store: &mut Store,
    who: &Who,
    texts: &[(&'static str, &'static str)],
    starter: bool,
    progress: Progress,
) -> Result<Imported> {
    let mut sources = Vec::new();
    for (name, text) in texts {
        let kind = import::kind_of_file(name).map_err(|e| Error::Input(format!("{name} {e}")))?;
        sources.push(Source {
            name: (*name).to_string(),
            kind,
            open: Box::new(|| Ok(Box::new(text.as_bytes()))),
            bytes: text.len() as u64,
        });
    }
    let done = load(store, who, sources, Vec::new(), false, starter, progress)?;
    match done.faults.first() {
        Some(fault) => Err(Error::Input(format!("{} ({} faults)", fault.text(), done.faults.len()))),
        None => Ok(done),
    }
}

/// Imports one text of a kind that stands in memory; `faults` were found before.
pub(crate) fn import_rows(
    store: &mut Store,
    who: &Who,
    (name, kind, text): (&str, &'static Kind, &[u8]),
    faults: Vec<FileFault>,
    check: bool,
    progress: Progress,
) -> Result<Imported> {
    let bytes = text.len() as u64;
    let source = Source { name: name.into(), kind, open: Box::new(move || Ok(Box::new(text))), bytes };
    load(store, who, vec![source], faults, check, false, progress)
}

fn folder<'a>(path: &Path, faults: &mut Vec<FileFault>) -> Result<Vec<Source<'a>>> {
    let cannot = |e: std::io::Error| Error::input(format!("{}: {e}", path.display()));
    let mut sources = Vec::new();
    for entry in std::fs::read_dir(path).map_err(cannot)? {
        let entry = entry.map_err(cannot)?;
        let name = entry.file_name().to_string_lossy().into_owned();
        if entry.path().is_dir() || name.starts_with('.') || name.starts_with("README") {
            continue;
        }
        match import::kind_of_file(&name) {
            Ok(kind) => sources.push(file(&entry.path(), name, kind)?),
            Err(message) => faults.push(FileFault::new(&name, 0, Fault::new("", "", message))),
        }
    }
    Ok(sources)
}

fn one<'a>(path: &Path, kind: Option<&str>) -> Result<Source<'a>> {
    let name = path.file_name().map(|n| n.to_string_lossy().into_owned()).unwrap_or_default();
    let kind = match kind {
        Some(kind) => catalogue::find(kind).map_err(Error::Input)?,
        None => import::kind_of_file(&name).map_err(|e| {
            Error::Input(format!(
                "{} {e}; for another name: --kind KIND; a sheet of your own: meltkin sheet look FILE",
                tag::shown(&path.to_string_lossy())
            ))
        })?,
    };
    file(path, name, kind)
}

fn file<'a>(path: &Path, name: String, kind: &'static Kind) -> Result<Source<'a>> {
    let bytes = std::fs::metadata(path).map_err(|e| Error::input(format!("{}: {e}", path.display())))?.len();
    let path = path.to_path_buf();
    Ok(Source { name, kind, bytes, open: Box::new(move || Ok(Box::new(File::open(&path)?))) })
}

fn load(
    store: &mut Store,
    who: &Who,
    mut sources: Vec<Source>,
    faults: Vec<FileFault>,
    check: bool,
    starter: bool,
    progress: Progress,
) -> Result<Imported> {
    sources.sort_by_key(|s| catalogue::position(s.kind));
    let total: u64 = sources.iter().map(|s| s.bytes).sum();
    let mut out = Imported { faults, ..Imported::default() };
    let mut load = store.load(who, starter)?;
    if let Some(retags) = sources.iter().find(|s| s.kind.name == "retags") {
        aliases(&mut load, retags);
    }
    let mut done = 0;
    for source in &sources {
        progress(done, total, &source.name);
        let result = one_file(&mut load, source, done, total, &mut out, progress);
        match result {
            Ok(()) => {}
            Err(Error::Input(message)) => {
                out.faults.push(FileFault::new(&source.name, 0, Fault::new("", "", message)));
            }
            Err(e) => {
                let refusal = matches!(e, Error::Refused { .. }).then(|| e.to_string());
                let early = e.wants_pin() && who.asks;
                drop(load);
                if let Some(sentence) = refusal.filter(|_| !early) {
                    store.note_refusal(who, &sentence)?;
                }
                return Err(e);
            }
        }
        done += source.bytes;
    }
    progress(total, total, "writing");
    load.finish(!check && out.faults.is_empty())?;
    if !out.faults.is_empty() {
        out.records.clear();
    }
    Ok(out)
}

/// New tags must be known before the rows that use them.
fn aliases(load: &mut Load, source: &Source) {
    let Ok(reader) = (source.open)() else { return };
    let Ok(mut reader) = Reader::new(reader, source.kind, &[]) else { return };
    while let Ok(true) = reader.advance() {
        let record = reader.record(&mut Vec::new());
        if let (Some(old), Some(new)) = (record.get("old_tag").text(), record.get("new_tag").text()) {
            let (old, new) = (old.to_string(), new.to_string());
            load.alias(&new, &old);
        }
    }
}

fn one_file(
    load: &mut Load,
    source: &Source,
    done: u64,
    total: u64,
    out: &mut Imported,
    progress: Progress,
) -> Result<()> {
    let opened = (source.open)().map_err(|e| Error::input(format!("cannot be read: {e}")))?;
    let mut reader = match Reader::new(opened, source.kind, load.own()) {
        Ok(reader) => reader,
        Err(found) => {
            out.faults.extend(found.into_iter().map(|f| FileFault::new(&source.name, 1, f)));
            return Ok(());
        }
    };
    // A row has about so many bytes; room for too many tags would cost memory.
    load.begin(source.kind, (source.bytes / 96) as usize, |field| reader.has(field))?;
    // A lot may be split from one that stands further down: such rows wait for the end of the file.
    let refers_to_itself = source
        .kind
        .fields
        .iter()
        .any(|f| f.ty == crate::domain::Type::Ref(&["wax_lots"]) && source.kind.name == "wax_lots");
    let mut waiting = Vec::new();
    let mut rows = 0_u64;
    loop {
        match reader.advance() {
            Ok(true) => {}
            Ok(false) => break,
            Err(fault) => {
                out.faults.push(FileFault::new(&source.name, reader.line(), fault));
                break;
            }
        }
        rows += 1;
        if rows.is_multiple_of(20_000) {
            progress(done + reader.bytes(), total, &source.name);
        }
        let mut faults = Vec::new();
        let record = reader.record(&mut faults);
        if !faults.is_empty() {
            out.faults.extend(faults.into_iter().map(|f| FileFault::new(&source.name, reader.line(), f)));
            continue;
        }
        let line = reader.line();
        let later = refers_to_itself && !record.get("split_from").is_blank();
        if later {
            waiting.push((line, record.owned()));
            continue;
        }
        take(load, &source.name, line, record, out)?;
    }
    // Each pass writes what the one before made possible; what is left after them is at fault.
    let mut left = waiting.len();
    while !waiting.is_empty() {
        let known: Vec<String> = waiting.iter().filter_map(|(_, r)| r.tag().map(tag::folded)).collect();
        let (ready, rest): (Vec<_>, Vec<_>) = waiting.into_iter().partition(|(_, r)| {
            r.get("split_from").text().is_none_or(|from| !known.contains(&tag::folded(from)))
        });
        let stuck = ready.is_empty();
        waiting = rest;
        for (line, record) in if stuck { std::mem::take(&mut waiting) } else { ready } {
            if stuck {
                let fault = Fault::new(
                    "split_from",
                    &record.get("split_from").to_text(),
                    "a lot cannot be its own ancestor",
                );
                out.faults.push(FileFault::new(&source.name, line, fault));
                continue;
            }
            take(load, &source.name, line, record, out)?;
        }
        debug_assert!(waiting.len() < left, "every pass takes some");
        left = waiting.len();
    }
    let written = load.end(out.faults.is_empty())?;
    if written > 0 {
        out.records.insert(source.kind.name, written);
    }
    Ok(())
}

fn take(
    load: &mut Load,
    name: &str,
    line: u64,
    record: crate::domain::Record,
    out: &mut Imported,
) -> Result<()> {
    match load.row(record)? {
        Outcome::Written => {}
        Outcome::Unchanged => out.unchanged += 1,
        Outcome::Proposed => (out.proposals, out.proposal) = (out.proposals + 1, true),
        Outcome::Faults(faults) => {
            out.faults.extend(faults.into_iter().map(|f| FileFault::new(name, line, f)));
        }
    }
    Ok(())
}

/// Writes every kind as a bundle into a new or empty folder. Gives the number of records by kind.
///
/// # Errors
/// The folder is not empty or cannot be written, or the store cannot be read.
pub fn export(store: &Store, folder: &Path, progress: Progress) -> Result<BTreeMap<&'static str, usize>> {
    let cannot = |e: std::io::Error| Error::Untrusted(format!("{}: {e}", folder.display()));
    if folder.exists() {
        let occupied = !folder.is_dir() || std::fs::read_dir(folder).map_err(cannot)?.next().is_some();
        if occupied {
            return Err(Error::input(format!(
                "{}: export writes into a new or empty folder",
                folder.display()
            )));
        }
    }
    std::fs::create_dir_all(folder).map_err(cannot)?;
    let own = store.own_fields()?;
    let total = catalogue::all().count() as u64;
    store.snapshot(|| {
        let mut out = BTreeMap::new();
        let names = store.names()?;
        for (i, kind) in catalogue::all().enumerate() {
            progress(i as u64, total, kind.name);
            let path = folder.join(format!("{}.csv", kind.name));
            let failed = |e: csv::Error| Error::Untrusted(format!("{}: {e}", path.display()));
            let file = File::create(&path).map_err(cannot)?;
            let mut writer = Writer::new(file, kind, &own).map_err(failed)?;
            let mut n = 0;
            store.export(&names, kind, |record| {
                n += 1;
                writer.record(record).map_err(failed)
            })?;
            writer.finish().map_err(failed)?;
            out.insert(kind.name, n);
        }
        Ok(out)
    })
}
