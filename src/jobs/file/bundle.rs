//! Bundles in and out.

use std::collections::BTreeMap;
use std::path::Path;

use serde::Serialize;

use crate::cli::context::helping;
use crate::jobs::file::load::load;
use crate::jobs::file::output;
use crate::jobs::file::output::{Output, Pending, named};
use records::catalogue::{DefectTerms, KnowledgeSources, KnownCauses, Settings};
use records::check::Fault;
use records::exchange;
use records::exchange::mapped::LeftOut;
use records::exchange::{Reader, Writer};
use records::file::clock::CLOCK;
use records::file::paths::open_plain;
use records::value::tag;
use records::{Error, Hint, Kind, Result, Stamp, Store, Who, catalogue};

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
        let message = fault.message + &fault.hint.as_ref().map(helping).unwrap_or_default();
        Self { file: file.into(), line, column: fault.column, value: fault.value, message }
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
    /// Rows and columns of a mapped sheet that stand in no record.
    #[serde(skip_serializing_if = "LeftOut::is_empty")]
    pub left_out: LeftOut,
}

#[allow(clippy::trivially_copy_pass_by_ref, reason = "serde asks so")]
fn none(n: &usize) -> bool {
    *n == 0
}

/// A file to import: its name, its kind, and how to read it.
pub(super) struct SourceFile<'a> {
    pub(super) name: String,
    pub(super) kind: &'static Kind,
    pub(super) open: Box<dyn Fn() -> std::io::Result<Box<dyn std::io::Read + 'a>> + 'a>,
    pub(super) bytes: u64,
}

/// Told how far an import is: bytes done, bytes in all, the file.
pub type ImportProgress<'a> = &'a mut dyn FnMut(u64, u64, &str);

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
    progress: ImportProgress,
) -> Result<Imported> {
    let mut faults = Vec::new();
    let sources = if path.is_dir() { folder(path, &mut faults)? } else { vec![one(path, kind)?] };
    if sources.is_empty() && faults.is_empty() {
        return Err(Error::input(format!(
            "{}: no bundle file is in it (alloys.csv, moulds.csv …)",
            path.display()
        )));
    }
    load(store, who, sources, faults, check, false, progress)
}

/// The time at which the clock of a bundle stands still, where it says so.
pub fn clock_of(folder: &Path) -> Result<Option<Stamp>> {
    let path = folder.join(format!("{}.csv", Settings::NAME));
    if !path.is_file() {
        return Ok(None);
    }
    let at_fault = |e: std::io::Error| Error::input(format!("{}: {e}", tag::shown(&path.to_string_lossy())));
    let file = open_plain(&path).map_err(at_fault)?;
    // What is wrong with the file is said by the import.
    let Ok(mut reader) = Reader::new(file, Settings::KIND, &[]) else { return Ok(None) };
    while let Ok(true) = reader.advance() {
        let record = reader.record(&mut Vec::new());
        let Some(setting) = record.of::<Settings>() else { continue };
        if setting.get(Settings::setting) == Some(CLOCK) {
            let text = setting.cell(Settings::value).to_text();
            let at = format!("{} line {}, value = {}", path.display(), reader.line(), tag::shown(&text));
            return Stamp::parse(&text).map(Some).map_err(|e| Error::input(format!("{at}: {e}")));
        }
    }
    Ok(None)
}

/// Imports texts that the program carries: the demo and the starter definitions.
pub fn import_texts(
    store: &mut Store,
    who: &Who,
    texts: &[(&'static str, &'static str)],
    starter: bool,
    progress: ImportProgress,
) -> Result<Imported> {
    let mut sources = Vec::new();
    for (name, text) in texts {
        let kind = exchange::kind_of_file(name).map_err(|e| Error::input(format!("{name} {e}")))?;
        sources.push(SourceFile {
            name: (*name).to_string(),
            kind,
            open: Box::new(|| Ok(Box::new(text.as_bytes()))),
            bytes: text.len() as u64,
        });
    }
    let done = load(store, who, sources, Vec::new(), false, starter, progress)?;
    match done.faults.first() {
        Some(fault) => Err(Error::input(format!("{} ({} faults)", fault.text(), done.faults.len()))),
        None => Ok(done),
    }
}

/// Takes in what the trade knows, as the program carries it, for a store that was made before it was there or without
/// it: only what the store does not have, of defects that it has. What a shop has edited stays.
pub fn knowledge(store: &mut Store, who: &Who, check: bool, progress: ImportProgress) -> Result<Imported> {
    carried_knowledge(store, who, check, false, progress)
}

/// The same; as part of what a store begins with where `starter` says so.
pub(super) fn carried_knowledge(
    store: &mut Store,
    who: &Who,
    check: bool,
    starter: bool,
    progress: ImportProgress,
) -> Result<Imported> {
    let (known, terms) = store.snapshot(|| Ok((store.known_causes()?, store.texts(DefectTerms::defect)?)))?;
    let causes: Vec<(&str, &str)> = known
        .causes
        .iter()
        .filter_map(|row| Some((row.get(KnownCauses::defect)?, row.get(KnownCauses::factor)?)))
        .collect();
    let sources: Vec<&str> =
        known.sources.iter().filter_map(|row| row.get(KnowledgeSources::source)).collect();
    let mut left_out = 0;
    let mut texts = Vec::new();
    for (name, text) in catalogue::starter::KNOWLEDGE {
        let kind = exchange::kind_of_file(name).map_err(|e| Error::input(format!("{name} {e}")))?;
        let mut wanted = |row: &csv::StringRecord| {
            let cell = |i: usize| row.get(i).unwrap_or_default();
            if kind.is::<KnowledgeSources>() {
                return !sources.iter().any(|s| s.eq_ignore_ascii_case(cell(0)));
            }
            let of_term = terms.iter().any(|t| t.eq_ignore_ascii_case(cell(0)));
            left_out += usize::from(!of_term);
            let same = |(defect, factor): &(&str, &str)| {
                defect.eq_ignore_ascii_case(cell(0)) && factor.eq_ignore_ascii_case(cell(1))
            };
            of_term && !causes.iter().any(same)
        };
        texts.push((name, kind, chosen_rows(text, &mut wanted)?));
    }
    let source = |(name, kind, text): &(&str, &'static Kind, Vec<u8>)| {
        let (bytes, text) = (text.len() as u64, text.clone());
        let open = Box::new(move || -> std::io::Result<Box<dyn std::io::Read>> {
            Ok(Box::new(std::io::Cursor::new(text.clone())))
        });
        SourceFile { name: (*name).to_string(), kind, open, bytes }
    };
    let mut done =
        load(store, who, texts.iter().map(source).collect(), Vec::new(), check, starter, progress)?;
    if left_out > 0 {
        done.remarks
            .push(format!("{left_out} known causes are of defect terms that the store does not have"));
    }
    Ok(done)
}

/// The rows of a CSV text that are wanted, below its head.
fn chosen_rows(text: &str, wanted: &mut dyn FnMut(&csv::StringRecord) -> bool) -> Result<Vec<u8>> {
    let failed = |e: csv::Error| Error::untrusted(e.to_string());
    let mut reader = csv::Reader::from_reader(text.as_bytes());
    let mut writer = csv::Writer::from_writer(Vec::new());
    writer.write_record(reader.headers().map_err(failed)?).map_err(failed)?;
    for row in reader.records() {
        let row = row.map_err(failed)?;
        if wanted(&row) {
            writer.write_record(&row).map_err(failed)?;
        }
    }
    writer.into_inner().map_err(|e| Error::untrusted(e.to_string()))
}

/// Imports one text of a kind that stands in memory; `faults` were found before.
pub(crate) fn import_rows(
    store: &mut Store,
    who: &Who,
    (name, kind, text): (&str, &'static Kind, &[u8]),
    faults: Vec<FileFault>,
    check: bool,
    progress: ImportProgress,
) -> Result<Imported> {
    let bytes = text.len() as u64;
    let source = SourceFile { name: name.into(), kind, open: Box::new(move || Ok(Box::new(text))), bytes };
    load(store, who, vec![source], faults, check, false, progress)
}

fn folder<'a>(path: &Path, faults: &mut Vec<FileFault>) -> Result<Vec<SourceFile<'a>>> {
    let cannot = |e: std::io::Error| Error::input(format!("{}: {e}", path.display()));
    let mut sources = Vec::new();
    for entry in std::fs::read_dir(path).map_err(cannot)? {
        let entry = entry.map_err(cannot)?;
        let name = named(Path::new(&entry.file_name()));
        if name.starts_with('.') || name.starts_with("README") {
            continue;
        }
        match exchange::kind_of_file(&name) {
            Ok(kind) => match file(&entry.path(), name.clone(), kind) {
                Ok(source) => sources.push(source),
                Err(why) => faults.push(FileFault::new(&name, 0, Fault::new("", "", &why))),
            },
            Err(_) if entry.path().is_dir() => {}
            Err(message) => faults.push(FileFault::new(&name, 0, Fault::new("", "", message))),
        }
    }
    Ok(sources)
}

fn one<'a>(path: &Path, kind: Option<&str>) -> Result<SourceFile<'a>> {
    let name = path.file_name().map(|n| n.to_string_lossy().into_owned()).unwrap_or_default();
    let kind = match kind {
        Some(kind) => catalogue::find(kind).map_err(Error::input)?,
        None => exchange::kind_of_file(&name).map_err(|e| {
            Error::input(format!("{} {e}", tag::shown(&path.to_string_lossy()))).hint(Hint::NameKind)
        })?,
    };
    file(path, name, kind).map_err(|why| Error::input(format!("{}: {why}", named(path))))
}

/// A file to read, or why it can't be one.
fn file<'a>(path: &Path, name: String, kind: &'static Kind) -> std::result::Result<SourceFile<'a>, String> {
    let bytes = open_plain(path).and_then(|f| f.metadata()).map_err(|e| e.to_string())?.len();
    let path = path.to_path_buf();
    Ok(SourceFile { name, kind, bytes, open: Box::new(move || Ok(Box::new(open_plain(&path)?))) })
}

/// Writes every kind as a bundle into a new or empty folder. Gives the number of records by kind.
pub fn export(
    store: &Store,
    folder: &Path,
    progress: ImportProgress,
) -> Result<BTreeMap<&'static str, usize>> {
    fresh_folder(folder)?;
    let own = store.own_fields()?;
    let total = catalogue::all().count() as u64;
    let mut pages = Vec::new();
    let counts = store.snapshot(|| {
        let mut out = BTreeMap::new();
        let names = store.names()?;
        for (i, kind) in catalogue::all().enumerate() {
            progress(i as u64, total, kind.name);
            let path = folder.join(format!("{}.csv", kind.name));
            let failed = |e: csv::Error| match e.into_kind() {
                csv::ErrorKind::Io(e) => output::cannot(&path, &e),
                other => Error::untrusted(format!("{}: {other:?}", named(&path))),
            };
            let mut page = Pending::begin(Output { file: &path, replace: false, store: Some(store.path()) })?;
            let mut writer = Writer::new(page.file(), kind, &own).map_err(failed)?;
            let mut n = 0;
            store.export(&names, kind, |record| {
                n += 1;
                writer.record(record).map_err(failed)
            })?;
            writer.finish().map_err(failed)?;
            pages.push(page);
            out.insert(kind.name, n);
        }
        Ok(out)
    })?;
    give_names(pages)?;
    Ok(counts)
}

/// Makes the folder of a bundle, or takes one that is empty.
pub(crate) fn fresh_folder(folder: &Path) -> Result<()> {
    let cannot = |e: std::io::Error| output::cannot(folder, &e);
    if std::fs::symlink_metadata(folder).is_ok() {
        output::sweep(folder);
        let occupied = !folder.is_dir() || std::fs::read_dir(folder).map_err(cannot)?.next().is_some();
        if occupied {
            return Err(Error::input(format!(
                "{}: a bundle is written into a new or empty folder",
                named(folder)
            )));
        }
    }
    std::fs::create_dir_all(folder).map_err(cannot)
}

/// All files of a bundle get their names when the last of them is on the disk.
pub(crate) fn give_names(mut pages: Vec<Pending>) -> Result<()> {
    pages.iter_mut().try_for_each(Pending::sync)?;
    pages.into_iter().try_for_each(Pending::finish)
}

/// Writes the starter definitions into an empty store: alloys with their limits and sources, defect
/// terms, known causes. Gives the number of records.
pub fn starter(store: &mut Store, who: &Who) -> Result<usize> {
    let done = import_texts(store, who, catalogue::starter::FILES, true, &mut |_, _, _| {})?;
    Ok(done.records.values().sum())
}
