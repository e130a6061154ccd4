//! What the targets share: a foundry with one record of every kind, a scratch folder in memory, and
//! the checks that every accepted or refused input must pass.

use std::path::{Path, PathBuf};
use std::sync::Once;

use records::catalogue::field::{FieldInfo, Type};
use records::catalogue::kind::Kind;
use records::{Stamp, catalogue};
use records::{Store, Who};
use meltkin::jobs::file::bundle;
use meltkin::jobs::trace::ask;
use meltkin::jobs::furnace::shift;
use meltkin::jobs::yields::ask;

/// A panic that the program catches itself (a damaged spreadsheet) is an answer; any other ends the run.
pub fn begin() {
    static ONCE: Once = Once::new();
    ONCE.call_once(|| std::panic::set_hook(Box::new(|info| eprintln!("{info}"))));
}

/// Who writes, at a fixed time.
pub fn who(person: Option<&str>) -> Who {
    let now = Stamp::parse("2031-04-01T00:00:00Z").expect("a time");
    Who::new(person.map(String::from), now)
}

/// A folder of this process in memory, emptied.
pub fn scratch(name: &str) -> PathBuf {
    let base = if Path::new("/dev/shm").is_dir() { PathBuf::from("/dev/shm") } else { std::env::temp_dir() };
    let folder = base.join(format!("meltkin-fuzz-{}", std::process::id())).join(name);
    let _ = std::fs::remove_dir_all(&folder);
    std::fs::create_dir_all(&folder).expect("a scratch folder");
    folder
}

/// A bundle with one record of every kind and every field filled; tags are `T-` and the kind.
pub fn every_kind() -> Vec<(String, String)> {
    catalogue::all()
        .map(|kind| {
            let mut names = Vec::new();
            let mut values = Vec::new();
            for field in kind.fields {
                let value = value(kind, field);
                if !value.is_empty() {
                    names.push(field.name);
                    values.push(value);
                }
            }
            if kind.name == "moulds" {
                names.push("tilt_deg");
                values.push("<0.5".into());
            }
            names.extend(["recorded_at", "recorded_by", "note"]);
            values.extend(["2031-03-05T00:00:00+00:00", "T-people", "noted"].map(String::from));
            (format!("{}.csv", kind.name), format!("{}\n{}\n", names.join(","), values.join(",")))
        })
        .collect()
}

fn value(kind: &Kind, field: &FieldInfo) -> String {
    let given = match (kind.name, field.name) {
        ("own_fields", "record") => "moulds",
        ("own_fields", "field") => "tilt_deg",
        ("process_limits", "record") => "pours",
        ("process_limits", "field") => "indicated_c",
        ("process_limits", "scope") => "T-parts",
        ("people", "role") => "quality",
        ("retags", "old_tag") => "T-blades",
        ("retags", "new_tag") => "N-1",
        ("wax_lots", "split_from") => return String::new(),
        ("alloys" | "parts" | "shell_recipes" | "running_systems", "revision") => "R1",
        _ => "",
    };
    if !given.is_empty() {
        return given.into();
    }
    match field.ty {
        Type::Tag => format!("T-{}", kind.name),
        Type::Ref(kinds) => format!("T-{}", kinds[0]),
        Type::AnyTag => "T-moulds".into(),
        Type::RevisionOf(_) => "R1".into(),
        Type::Number => field.guard.map_or(1.5, |(low, high)| (low + high) / 2.0).to_string(),
        Type::Count => "2".into(),
        Type::Time => "2031-03-04T09:05:00+00:00".into(),
        Type::Date | Type::Moment => "2031-03-04".into(),
        Type::Choice(words) => words[0].into(),
        Type::Text => "words".into(),
    }
}

/// Imports texts as files of a folder, as the command does.
pub fn import(store: &mut Store, files: &[(String, String)], who: &Who) -> bundle::Imported {
    let folder = scratch("made");
    for (name, text) in files {
        std::fs::write(folder.join(name), text).expect("a file in memory");
    }
    bundle::import(store, who, &folder, None, false, &mut |_, _, _| {}).expect("our own bundle")
}

/// A store in memory with one record of every kind.
pub fn foundry() -> Store {
    let mut store = Store::memory().expect("a store in memory");
    let done = import(&mut store, &every_kind(), &who(None));
    assert!(done.faults.is_empty(), "{:?}", done.faults);
    store
}

/// Everything exported: names and texts.
pub fn exported(store: &Store) -> Vec<(String, String)> {
    let folder = scratch("out");
    bundle::export(store, &folder, &mut |_, _, _| {}).expect("an export");
    let mut out: Vec<(String, String)> = std::fs::read_dir(&folder)
        .expect("the export")
        .map(|e| e.expect("a file").path())
        .map(|p| {
            let name = p.file_name().expect("a name").to_string_lossy().into_owned();
            (name, std::fs::read_to_string(p).expect("text"))
        })
        .collect();
    out.sort();
    out
}

/// Head of the journal and number of rows; the file must be sound.
pub fn sound(store: &Store) -> (String, u64) {
    let found = store.verify(None, &mut |_| {}).expect("a check");
    assert!(found.faults.is_empty(), "{:?}", found.faults);
    (found.head, found.rows)
}

/// A refused input has left the store as it was: the journal's head each time, everything every sixteenth
/// time (it takes longer than all the rest), when the store is checked in full.
pub fn unchanged(store: &Store, before: &(String, u64)) {
    use std::sync::atomic::{AtomicU32, Ordering};
    static TIMES: AtomicU32 = AtomicU32::new(0);
    assert_eq!(store.head().expect("a head").1, before.0, "refused and yet written");
    if TIMES.fetch_add(1, Ordering::Relaxed) % 16 == 0 {
        assert_eq!(&sound(store), before, "refused and yet written");
    }
}

/// What was taken in comes out, goes into another store, and comes out the same.
pub fn comes_round(store: &Store) {
    let first = exported(store);
    let mut second = Store::memory().expect("a store in memory");
    let done = import(&mut second, &first, &who(None));
    assert!(done.faults.is_empty(), "the export is refused: {:?}", done.faults);
    let again = exported(&second);
    for (a, b) in first.iter().zip(&again) {
        assert_eq!(a, b, "not the same after export and import");
    }
    assert_eq!(first.len(), again.len());
}

/// Asks what people ask; no answer may hold a number that is none. `typed` is what was imported: a text
/// may say NaN.
pub fn answers_are_finite(store: &Store, typed: &[u8]) {
    let says = |needle: &[u8]| typed.windows(needle.len()).any(|w| w == needle);
    if says(b"NaN") || says(b"inf") {
        return;
    }
    let mut all = String::new();
    for tag in ["T-blades", "B-1", "M31-001-1", "M31-070-1"] {
        if let Ok(answer) = ask::trace(store, tag) {
            all.push_str(&format!("{answer:?}"));
        }
    }
    for tag in ["T-heats", "T-ingot_lots", "T-revert_lots", "T-slurry_batches", "H-1", "I-1", "R-1"] {
        if let Ok(answer) = ask::contain(store, tag) {
            all.push_str(&format!("{answer:?}"));
        }
    }
    if let Ok(answer) = shift::shift(store, who(None).now) {
        all.push_str(&format!("{answer:?}"));
    }
    if let Ok(answer) = ask::yields(store, &ask::BladesAsked::default()) {
        all.push_str(&format!("{answer:?}"));
    }
    finite(&all);
}

/// A text (of `Debug` or for a person) without numbers that are none.
pub fn finite(text: &str) {
    for word in text.split(|c: char| !(c.is_ascii_alphanumeric() || c == '_')) {
        assert!(!matches!(word, "NaN" | "inf"), "a number that is none: {text}");
    }
}
