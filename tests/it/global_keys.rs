//! A key of a screen's own table must reach it: the keys that work everywhere are looked at first.

use std::collections::BTreeSet;
use std::fs;
use std::path::{Path, PathBuf};

/// Keys named in a piece of code, as `k` or `F9`.
fn keys(code: &str) -> BTreeSet<String> {
    let mut found = BTreeSet::new();
    for part in code.split("Press::Char('").skip(1) {
        found.extend(part.chars().next().map(String::from));
    }
    for part in code.split("Press::F(").skip(1) {
        let digits: String = part.chars().take_while(char::is_ascii_digit).collect();
        found.insert(format!("F{digits}"));
    }
    found
}

/// From a mark to the end after it.
fn between<'t>(text: &'t str, mark: &str, end: &str) -> Option<&'t str> {
    let from = text.find(mark)?;
    let rest = &text[from..];
    Some(&rest[..rest.find(end).unwrap_or(rest.len())])
}

fn files(folder: &Path, found: &mut Vec<PathBuf>) {
    for entry in fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() {
            files(&path, found);
        } else if path.extension().is_some_and(|e| e == "rs") {
            found.push(path);
        }
    }
}

/// The text of a screen: of its folder where it has one, else of its file.
fn screen_of(path: &Path) -> String {
    let folder = path.parent().unwrap();
    if !folder.file_name().unwrap().to_str().unwrap().ends_with("screen") {
        return fs::read_to_string(path).unwrap();
    }
    let mut all = Vec::new();
    files(folder, &mut all);
    all.iter().map(|p| fs::read_to_string(p).unwrap()).collect()
}

#[test]
fn no_screen_has_a_key_that_never_reaches_it() {
    let src = Path::new(env!("CARGO_MANIFEST_DIR")).join("src");
    let global = fs::read_to_string(src.join("ui/app/global_keys.rs")).unwrap();
    let everywhere = keys(between(&global, "const FIRST", "impl App").unwrap());
    assert!(everywhere.contains("q") && everywhere.contains("u"), "{everywhere:?}");
    let house = fs::read_to_string(src.join("jobs/desks.rs")).unwrap();
    let desks: Vec<(String, BTreeSet<String>)> = house
        .split("name: ")
        .skip(1)
        .map(|desk| (desk.split(',').next().unwrap().to_string(), keys(between(desk, "on: ", "],").unwrap())))
        .collect();
    assert_eq!(desks.len(), 2, "{desks:?}");
    let (mut all, mut tables) = (Vec::new(), 0);
    files(&src, &mut all);
    for path in &all {
        let text = fs::read_to_string(path).unwrap();
        let Some(table) = between(&text, "const KEYS: &[K] = &[", "\n];") else { continue };
        let screen = screen_of(path);
        // What always takes text gets every key; the help page is closed by the key that opens it.
        if screen.contains("fn takes_text(&self) -> bool {\n        true") || path.ends_with("ui/help.rs") {
            continue;
        }
        tables += 1;
        let mut own = keys(table);
        // The letters of a question's parts stand beside them.
        own.extend(between(&screen, "pub const fn change(", "\n}").map(keys).unwrap_or_default());
        let shadowed: Vec<&String> = own.intersection(&everywhere).collect();
        assert!(shadowed.is_empty(), "{}: {shadowed:?} works everywhere", path.display());
        let offers = between(&screen, "fn offers(", "\n    }").unwrap_or_default();
        for (desk, on) in &desks {
            let left = offers.contains(desk) && offers.contains("Offer::None");
            let shadowed: Vec<&String> = own.intersection(on).collect();
            assert!(left || shadowed.is_empty(), "{}: {shadowed:?} opens {desk}", path.display());
        }
    }
    assert!(tables >= 8, "{tables}");
}
