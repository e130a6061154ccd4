//! Import directions are a test, not a hope.
//!
//! A single crate lets any module import any other, so this test reads every file under `src/`
//! and compares each `crate::<module>` it mentions with the table below.
//! To add a module, add a row. To add an arrow, add a word and say why in the commit.

use std::{fs, path::Path};

/// (module, modules it may import). The order is the reading order, lowest first.
const ALLOWED: &[(&str, &[&str])] = &[
    ("domain", &[]),
    ("stats", &[]),
    ("trace", &["domain"]),
    ("metallurgy", &["domain"]),
    ("sampling", &["stats"]),
    ("causes", &["domain", "stats", "trace"]),
    // shares of metal are worked out by `trace`, which is pure; whether a value lies outside its limit, so that a change
    // of it is a lift, by `metallurgy`, in one place
    ("store", &["domain", "trace", "metallurgy"]),
    ("import", &["domain"]),
    ("demo", &["domain", "stats"]),
    ("report", &["domain", "stats", "trace", "metallurgy", "sampling", "causes"]),
    (
        "ops",
        &[
            "domain",
            "stats",
            "trace",
            "metallurgy",
            "sampling",
            "causes",
            "store",
            "import",
            "demo",
            "report",
        ],
    ),
    ("tui", &["domain", "stats", "trace", "metallurgy", "sampling", "causes", "report", "ops"]),
    // `calc` is a thin shell over the knowledge: numbers in, numbers out, no store between.
    ("cli", &["domain", "stats", "metallurgy", "sampling", "causes", "report", "ops", "tui"]),
];

#[test]
fn imports_point_downwards() {
    let src = Path::new(env!("CARGO_MANIFEST_DIR")).join("src");
    let mut bad = Vec::new();
    visit(&src, &src, &mut bad);
    assert!(bad.is_empty(), "imports against the table in tests/it/layering.rs:\n{}", bad.join("\n"));
}

fn visit(root: &Path, dir: &Path, bad: &mut Vec<String>) {
    for entry in fs::read_dir(dir).unwrap().map(Result::unwrap) {
        let path = entry.path();
        if path.is_dir() {
            visit(root, &path, bad);
        } else if path.extension().is_some_and(|e| e == "rs") {
            check(root, &path, bad);
        }
    }
}

fn check(root: &Path, path: &Path, bad: &mut Vec<String>) {
    let rel = path.strip_prefix(root).unwrap();
    let first = rel.iter().next().unwrap().to_str().unwrap();
    let me = first.strip_suffix(".rs").unwrap_or(first);
    if me == "lib" || me == "main" {
        return;
    }
    let Some((_, allowed)) = ALLOWED.iter().find(|(name, _)| *name == me) else {
        bad.push(format!("{}: module `{me}` has no row in the table", rel.display()));
        return;
    };
    for (n, line) in fs::read_to_string(path).unwrap().lines().enumerate() {
        let line = line.trim_start();
        if line.starts_with("//") {
            continue;
        }
        if line.starts_with("use crate::{") {
            bad.push(format!("{}:{}: write one `use crate::module::…` per module", rel.display(), n + 1));
        }
        for part in line.split("crate::").skip(1) {
            let name: String = part.chars().take_while(|c| c.is_alphanumeric() || *c == '_').collect();
            if !name.is_empty() && name != me && !allowed.contains(&name.as_str()) {
                bad.push(format!("{}:{}: `{me}` may not import `{name}`", rel.display(), n + 1));
            }
        }
    }
}
