//! Labels of records, and of tags that are printed before there is a record.

use std::path::Path;

use crate::domain::tag::{self, shown};
use crate::domain::words::articled;
use crate::domain::{Record, catalogue};
use crate::report::label::{Label, Labels, Layout, matrix, pages};
use crate::store::{Error, Result, Store};

/// The labels of these tags.
///
/// With `ahead` a tag need not be recorded yet: its label says the kind given, or that the record is
/// still to come.
///
/// # Errors
/// An unknown tag (with near matches), a record without a tag, a tag against the rules.
pub fn labels(store: &Store, tags: &[String], ahead: bool, kind: Option<&str>) -> Result<Labels> {
    let kind = kind.map(catalogue::find).transpose().map_err(Error::Input)?;
    store.snapshot(|| {
        let mut out = Labels { labels: Vec::new(), files: Vec::new() };
        let mut wrong = Vec::new();
        for text in tags {
            match one(store, text, ahead, kind) {
                Ok(label) => out.labels.push(label),
                Err(Error::Input(why)) => wrong.push(why),
                Err(e) => return Err(e),
            }
        }
        if wrong.is_empty() { Ok(out) } else { Err(Error::Input(wrong.join("\n"))) }
    })
}

fn one(
    store: &Store,
    text: &str,
    ahead: bool,
    kind: Option<&'static crate::domain::kind::Kind>,
) -> Result<Label> {
    let found = match store.find(text) {
        Ok(found) => found,
        Err(Error::Input(_)) if ahead => {
            tag::check(text).map_err(|e| Error::Input(format!("{}: {e}", shown(text))))?;
            let noun = kind.map_or("not yet recorded".to_string(), |k| k.noun.to_string());
            return make(text, kind.map(|k| k.name), noun, String::new(), None);
        }
        Err(Error::Input(why)) => {
            return Err(Error::Input(format!("{why}; a tag still to be recorded is printed with --new")));
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
    let of = |f: &str| record.get(f).text().unwrap_or_default().to_string();
    match record.kind.name {
        "blades" => match record.get("position").number() {
            Some(p) => format!("{} position {p:.0}", of("mould")),
            None => of("mould"),
        },
        "moulds" => of("part"),
        "pattern_runs" => format!("{} {}", of("part"), of("die")).trim().to_string(),
        "heats" | "ingot_lots" | "revert_lots" => of("alloy"),
        _ => String::new(),
    }
}

fn make(
    tag: &str,
    kind: Option<&'static str>,
    noun: String,
    line: String,
    asked: Option<String>,
) -> Result<Label> {
    let code = matrix(tag).map_err(Error::Input)?;
    Ok(Label { tag: tag.into(), kind, noun, line, asked, code })
}

/// Writes the labels as sheets: FILE, then FILE-2, FILE-3 … where they need more pages.
///
/// # Errors
/// The sizes do not work, or a file is there already or cannot be written.
pub fn sheets(labels: &mut Labels, layout: &Layout, file: &Path) -> Result<()> {
    let made = pages(&labels.labels, layout).map_err(Error::Input)?;
    let stem = file.file_stem().map(|s| s.to_string_lossy().into_owned()).unwrap_or_default();
    let end = file.extension().map_or("svg".into(), |e| e.to_string_lossy().into_owned());
    for (i, svg) in made.iter().enumerate() {
        let path =
            if i == 0 { file.to_path_buf() } else { file.with_file_name(format!("{stem}-{}.{end}", i + 1)) };
        std::fs::write(&path, svg).map_err(|e| Error::Untrusted(format!("{}: {e}", path.display())))?;
        labels.files.push(path.to_string_lossy().into_owned());
    }
    Ok(())
}
