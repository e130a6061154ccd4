//! Import directions are a test, not a hope.
//!
//! The compiler holds the crates: `knowledge` knows nothing of ours, `records` only `knowledge`. Inside the program
//! this test reads every file under `src/` and compares what it names of its own crate with the tables below. To add
//! an arrow, add a word and say why in the commit.

use std::collections::{BTreeMap, BTreeSet};
use std::{fs, path::Path};

/// (folder of the program, folders of the program that it may name). The order is the reading order, lowest first.
const PROGRAM: &[(&str, &[&str])] = &[
    ("demo", &[]),
    ("show", &[]),
    ("ui", &["show"]),
    ("calc", &["show", "cli", "jobs"]),
    ("jobs", &["demo", "show", "ui", "cli"]),
    ("cli", &["calc", "demo", "show", "jobs", "ui"]),
];

/// Names of libraries, and the files that may use them: a file's own name, or a folder on its way.
const LIBRARIES: &[(&str, &[&str])] = &[
    ("ratatui::", &["ui", "screen", "_screen"]),
    ("crossterm::", &["ui", "screen", "_screen", "cli/context.rs"]),
    ("clap::", &["cli", "calc", "command"]),
];

/// The floors of the house, drawn from the imports that the code has: `DEVELOPERS.md` holds the same picture.
#[test]
fn the_picture_in_developers_is_that_of_the_imports() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let mut arrows: BTreeMap<String, BTreeSet<String>> = BTreeMap::new();
    let mut sizes: BTreeMap<String, usize> = BTreeMap::new();
    visit(&root.join("src"), &root.join("src"), &mut |path, text| {
        if path.ends_with("/tests.rs") {
            return;
        }
        let me = room(path);
        *sizes.entry(me.clone()).or_default() += text.lines().count();
        for (_, line) in lines(text) {
            for (word, crate_of_ours) in [("records::", "records"), ("knowledge::", "knowledge")] {
                let begins =
                    |i: usize| !line[..i].ends_with(|c: char| c.is_alphanumeric() || "_:".contains(c));
                if line.match_indices(word).any(|(i, _)| begins(i)) && me != crate_of_ours {
                    arrows.entry(me.clone()).or_default().insert(crate_of_ours.into());
                }
            }
            for to in named(line).map(|path| room(&path)) {
                if to != me && (to.starts_with("jobs/") || PROGRAM.iter().any(|(name, _)| *name == to)) {
                    arrows.entry(me.clone()).or_default().insert(to);
                }
            }
        }
    });
    let mut picture = String::new();
    for (me, lines) in &sizes {
        let to: Vec<&str> = arrows.get(me).into_iter().flatten().map(String::as_str).collect();
        // A size to the nearest 500 lines: the picture is of the house, not of every change.
        picture.push_str(&format!("{me:<16}{:>6} -> {}\n", (lines + 250) / 500 * 500, to.join(" ")));
    }
    let developers = root.join("DEVELOPERS.md");
    let text = fs::read_to_string(&developers).unwrap();
    let (before, rest) = text.split_once("```rooms\n").expect("DEVELOPERS.md has the picture");
    let (drawn, after) = rest.split_once("```").unwrap();
    if std::env::var_os("MELTKIN_UPDATE").is_some() {
        fs::write(&developers, format!("{before}```rooms\n{picture}```{after}")).unwrap();
        return;
    }
    assert_eq!(drawn, picture, "draw it again: MELTKIN_UPDATE=1 cargo test the_picture_in_developers");
}

/// The modules of the program that a line names, as paths of files; `crate::jobs::{a, b}` names two.
fn named(line: &str) -> impl Iterator<Item = String> {
    line.split("crate::").skip(1).flat_map(|part| {
        let path = part.replace("::", "/");
        match path.split_once("jobs/{") {
            Some(("", jobs)) => jobs.split(',').map(|job| format!("jobs/{}", job.trim())).collect(),
            _ => vec![path],
        }
    })
}

/// The room that a file or a path of modules lies in: a job, or a folder of the program, or a crate.
fn room(path: &str) -> String {
    let mut parts =
        path.split('/').map(|p| p.split(|c: char| !(c.is_alphanumeric() || c == '_')).next().unwrap());
    let first = parts.next().unwrap_or_default();
    match (first, parts.next()) {
        ("jobs", Some(job)) if job != "mod" && !path.starts_with("jobs/desks") => format!("jobs/{job}"),
        ("lib" | "main", _) => "main".into(),
        _ => first.into(),
    }
}

#[test]
fn imports_point_downwards() {
    let src = Path::new(env!("CARGO_MANIFEST_DIR")).join("src");
    let mut bad = Vec::new();
    let mut read = 0;
    visit(&src, &src, &mut |path, text| {
        read += 1;
        folders(path, text, &mut bad);
        libraries(path, text, &mut bad);
        faces(path, text, &mut bad);
    });
    assert!(read > 100, "only {read} files were read");
    assert!(bad.is_empty(), "imports against the tables in tests/it/layering.rs:\n{}", bad.join("\n"));
}

fn visit(root: &Path, dir: &Path, seen: &mut dyn FnMut(&str, &str)) {
    for entry in fs::read_dir(dir).unwrap().map(Result::unwrap) {
        let path = entry.path();
        if path.is_dir() {
            visit(root, &path, seen);
        } else if path.extension().is_some_and(|e| e == "rs") {
            let name = path.strip_prefix(root).unwrap().display().to_string();
            seen(&name, &fs::read_to_string(&path).unwrap());
        }
    }
}

/// Lines of code with their number; comments name what they like.
fn lines(text: &str) -> impl Iterator<Item = (usize, &str)> {
    let code = text.lines().map(str::trim_start).enumerate();
    code.map(|(n, line)| (n + 1, line)).filter(|(_, line)| !line.starts_with("//"))
}

fn folders(path: &str, text: &str, bad: &mut Vec<String>) {
    let me = path.split('/').next().unwrap();
    if ["lib.rs", "main.rs", "knowledge", "records"].contains(&me) || path.ends_with("/tests.rs") {
        return;
    }
    let Some((_, allowed)) = PROGRAM.iter().find(|(name, _)| *name == me) else {
        bad.push(format!("{path}: folder `{me}` has no row in the table"));
        return;
    };
    for (n, line) in lines(text) {
        if line.starts_with("use crate::{") {
            bad.push(format!("{path}:{n}: write one `use crate::folder::…` per folder"));
        }
        for part in line.split("crate::").skip(1) {
            let name: String = part.chars().take_while(|c| c.is_alphanumeric() || *c == '_').collect();
            if !name.is_empty() && name != me && !allowed.contains(&name.as_str()) {
                bad.push(format!("{path}:{n}: `{me}` may not import `{name}`"));
            }
        }
    }
}

fn libraries(path: &str, text: &str, bad: &mut Vec<String>) {
    for (library, places) in LIBRARIES {
        let at_home = places.iter().any(|p| {
            path == *p || path.split('/').any(|part| part.strip_suffix(".rs").unwrap_or(part).ends_with(p))
        });
        if !at_home {
            let found = lines(text).filter(|(_, line)| line.contains(library));
            bad.extend(found.map(|(n, _)| format!("{path}:{n}: `{library}` has no place here")));
        }
    }
}

/// A job's screen is named by screens and by the table of desks alone, its command by commands and the command line: what
/// a job answers does not know who shows it.
fn faces(path: &str, text: &str, bad: &mut Vec<String>) {
    let is = |part: &str, face: &str| part.strip_suffix(".rs").unwrap_or(part).ends_with(face);
    let of = |path: &str, face: &str| path.split('/').any(|part| is(part, face));
    if path.starts_with("cli/")
        || path.starts_with("jobs/desks")
        || path.ends_with("mod.rs") && path.matches('/').count() < 3
    {
        return;
    }
    for (n, line) in lines(text) {
        for other in named(line).filter(|p| p.starts_with("jobs/")) {
            let parts = other
                .split('/')
                .skip(2)
                .map(|p| p.split(|c: char| !(c.is_alphanumeric() || c == '_')).next().unwrap());
            for face in ["screen", "command"] {
                if parts.clone().any(|part| is(part, face)) && !of(path, face) {
                    bad.push(format!("{path}:{n}: names a {face}: {}", line.trim()));
                }
            }
        }
    }
}
