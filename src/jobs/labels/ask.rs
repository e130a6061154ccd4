//! Labels of records, and of tags that are printed before there is a record.

use std::path::{Path, PathBuf};

use crate::jobs::file::output::{Output, Pending, named};
use crate::jobs::labels::show::{Ink, Label, Labels, Layout, matrix, pages};
use records::catalogue::{
    Blades, CoreLots, FilterLots, Heats, IngotLots, Moulds, PatternRuns, PowderLots, RevertLots, Samples,
    ShellBatches, SlurryBatches, StuccoLots, TestBars, WaxLots,
};
use records::value::tag;
use records::value::tag::shown;
use records::value::words::articled;
use records::{Error, Hint, Kind, Record, Result, Store, catalogue};

/// The labels of these tags.
///
/// With `ahead` a tag need not be recorded yet: its label says the kind given, or that the record is
/// still to come.
///
/// # Errors
/// An unknown tag (with near matches), a record without a tag, a tag against the rules.
pub fn labels(store: &Store, tags: &[String], ahead: bool, kind: Option<&str>) -> Result<Labels> {
    let kind = kind.map(catalogue::find).transpose().map_err(Error::input)?;
    store.snapshot(|| {
        let mut out = Labels { labels: Vec::new(), files: Vec::new() };
        let mut wrong = Vec::new();
        for text in tags {
            match one(store, text, ahead, kind) {
                Ok(label) => out.labels.push(label),
                Err(why) if why.is_input() => wrong.push(why),
                Err(e) => return Err(e),
            }
        }
        if wrong.is_empty() {
            return Ok(out);
        }
        let sentences: Vec<String> = wrong.iter().map(|e| e.sentence.clone()).collect();
        let mut all = Error::input(sentences.join("\n"));
        all.hints = wrong.into_iter().flat_map(|e| e.hints).collect();
        all.hints.dedup();
        Err(all)
    })
}

fn one(store: &Store, text: &str, ahead: bool, kind: Option<&'static Kind>) -> Result<Label> {
    let found = match store.find(text) {
        Ok(found) => found,
        Err(e) if e.is_input() && ahead => {
            tag::check(text).map_err(|e| Error::input(format!("{}: {e}", shown(text))))?;
            let noun = kind.map_or("not yet recorded".to_string(), |k| k.noun.to_string());
            return make(text, kind.map(|k| k.name), noun, String::new(), None);
        }
        Err(why) if why.is_input() => {
            return Err(why.hint(Hint::Ahead));
        }
        Err(e) => return Err(e),
    };
    let Some(tag) = found.record.tag() else {
        return Err(Error::input(format!(
            "{} is {} and has no tag of its own; label what it belongs to",
            shown(text),
            articled(found.kind.noun)
        )));
    };
    let asked = (!tag.eq_ignore_ascii_case(text) && !text.contains(['@', ':'])).then(|| text.to_string());
    make(tag, Some(found.kind.name), found.kind.noun.into(), second(&found.record), asked)
}

/// What tells the thing from its neighbours at a glance.
fn second(record: &Record) -> String {
    if let Some(blade) = record.of::<Blades>() {
        let mould = blade.get(Blades::mould).unwrap_or_default();
        return match blade.get(Blades::position) {
            Some(p) => format!("{mould} position {p}"),
            None => mould.to_string(),
        };
    }
    if let Some(run) = record.of::<PatternRuns>() {
        let part = run.get(PatternRuns::part).unwrap_or_default();
        return format!("{part} {}", run.get(PatternRuns::die).unwrap_or_default()).trim().to_string();
    }
    let of_mould = record.of::<Moulds>().and_then(|m| m.get(Moulds::part));
    let of_heat = || record.of::<Heats>().and_then(|h| h.get(Heats::alloy));
    let of_ingot = || record.of::<IngotLots>().and_then(|l| l.get(IngotLots::alloy));
    let of_revert = || record.of::<RevertLots>().and_then(|l| l.get(RevertLots::alloy));
    of_mould.or_else(of_heat).or_else(of_ingot).or_else(of_revert).unwrap_or_default().to_string()
}

fn make(
    tag: &str,
    kind: Option<&'static str>,
    noun: String,
    line: String,
    asked: Option<String>,
) -> Result<Label> {
    let code = matrix(tag).map_err(Error::input)?;
    Ok(Label { tag: tag.into(), kind, noun, line, asked, code })
}

/// Writes the labels as sheets: FILE, then FILE-2, FILE-3 … where they need more pages.
pub fn sheets(labels: &mut Labels, layout: &Layout, output: Output) -> Result<()> {
    let made = pages(&labels.labels, layout).map_err(Error::input)?;
    let mut sheets = Vec::new();
    for (i, svg) in made.iter().enumerate() {
        let file = if i == 0 { output.file.to_path_buf() } else { numbered(output.file, i + 1) };
        sheets.push(Pending::write(Output { file: &file, ..output }, svg.as_bytes())?);
        labels.files.push(named(&file));
    }
    // Every sheet is on the disk before the first gets its name.
    sheets.into_iter().try_for_each(Pending::finish)
}

/// The label of a record that was just saved, where one is wanted at this bench: into a folder as a sheet of one label, or
/// to a printer's device in characters with a form feed. Says what was done; nothing for a kind that carries no label.
///
/// # Errors
/// The place cannot be written; the record is saved all the same.
pub fn on_save(store: &Store, tag: &str, place: &Path) -> Result<Option<String>> {
    let mut labels = labels(store, &[tag.to_string()], false, None)?;
    let carries = |l: &Label| l.kind.is_some_and(|kind| LABELLED.contains(&kind));
    if !labels.labels.first().is_some_and(carries) {
        return Ok(None);
    }
    let failed =
        |e: std::io::Error| Error::untrusted(format!("{}: the label was not printed: {e}", place.display()));
    if std::fs::metadata(place).map_err(failed)?.is_dir() {
        let suited = Layout::suited(&labels.labels);
        let layout = Layout { page: suited.label, margin: 0.0, gap: 0.0, ..suited };
        let plain = |c: char| if c.is_ascii_alphanumeric() || "-_.".contains(c) { c } else { '_' };
        let name: String = tag.chars().map(plain).collect();
        let file = place.join(format!("{name}.svg"));
        sheets(&mut labels, &layout, Output { file: &file, replace: true, store: Some(store.path()) })?;
        return Ok(Some(format!("its label is {}", labels.files.join(", "))));
    }
    // A printer that is off must not keep anybody waiting.
    let mut printer = std::fs::OpenOptions::new().append(true).open(place).map_err(failed)?;
    let text = labels.text(Ink::Ascii, true) + "\u{c}";
    std::thread::spawn(move || {
        use std::io::Write;
        printer.write_all(text.as_bytes())
    });
    Ok(Some(format!("its label goes to {}", place.display())))
}

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

/// The name of a further sheet.
fn numbered(file: &Path, n: usize) -> PathBuf {
    let mut name = file.file_stem().unwrap_or_default().to_owned();
    name.push(format!("-{n}."));
    name.push(file.extension().unwrap_or("svg".as_ref()));
    file.with_file_name(name)
}
