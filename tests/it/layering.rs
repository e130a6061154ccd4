//! Import directions are a test, not a hope.
//!
//! The compiler holds the crates: `knowledge` knows nothing of ours, `records` only `knowledge`. Inside the program
//! this test reads every file under `src/` and compares what it names of its own crate with the tables below. To add
//! an arrow, add a word and say why in the commit.

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

#[test]
fn imports_point_downwards() {
    let src = Path::new(env!("CARGO_MANIFEST_DIR")).join("src");
    let mut bad = Vec::new();
    let mut read = 0;
    visit(&src, &src, &mut |path, text| {
        read += 1;
        folders(path, text, &mut bad);
        libraries(path, text, &mut bad);
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
