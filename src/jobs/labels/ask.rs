//! Labels of records, and of tags that are printed before there is a record.

use std::path::{Path, PathBuf};

use crate::jobs::file::output::{Output, Pending, named};
use crate::jobs::labels::show::{Label, Labels, Layout, matrix, pages};
use records::catalogue::{Blades, Heats, IngotLots, Moulds, PatternRuns, RevertLots};
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

/// The name of a further sheet.
fn numbered(file: &Path, n: usize) -> PathBuf {
    let mut name = file.file_stem().unwrap_or_default().to_owned();
    name.push(format!("-{n}."));
    name.push(file.extension().unwrap_or("svg".as_ref()));
    file.with_file_name(name)
}
