//! A copy back in the place of the store: only one that holds, never an older or another one in silence, and what was there is
//! kept.

#![allow(clippy::disallowed_types, reason = "the test does to the file what somebody else would")]

use std::os::unix::fs::{MetadataExt, PermissionsExt, symlink};
use std::path::PathBuf;
use std::process::Stdio;

use rusqlite::Connection;

use crate::support::{Answer, Foundry, answer, program};

fn heads(foundry: &Foundry) -> String {
    foundry.json("verify")["head"].as_str().unwrap().to_string()
}

fn replaced(foundry: &Foundry) -> Vec<PathBuf> {
    let mut out: Vec<PathBuf> = std::fs::read_dir(foundry.path(""))
        .unwrap()
        .map(|e| e.unwrap().path())
        .filter(|p| p.to_string_lossy().contains("store.db.replaced-"))
        .collect();
    out.sort();
    out
}

fn no_litter(foundry: &Foundry) {
    let mut names = std::fs::read_dir(foundry.path("")).unwrap().map(|e| e.unwrap().file_name());
    assert!(
        names.all(|n| !n.to_string_lossy().contains(".loading-") && !n.to_string_lossy().contains("part"))
    );
}

fn with_pin(foundry: &Foundry, line: &str, pin: &str) -> Answer {
    std::fs::write(foundry.path("pin"), format!("{pin}\n")).unwrap();
    foundry.run(&format!("{line} --pin-from pin"))
}

#[test]
fn what_is_damaged_cut_or_the_store_itself_is_no_copy() {
    let foundry = Foundry::small();
    foundry.run("backup copy.db").done();
    let head = heads(&foundry);
    let whole = std::fs::read(foundry.path("copy.db")).unwrap();
    // A byte of a record: one somewhere in the middle may lie where nothing is written.
    let at = whole.windows(6).position(|w| w == b"PYR-02").unwrap();
    let mut spoilt = whole.clone();
    spoilt[at] ^= 1;
    for (what, bytes) in
        [("cut", &whole[..8192]), ("half", &whole[..whole.len() / 2]), ("spoilt", spoilt.as_slice())]
    {
        std::fs::write(foundry.path("bad.db"), bytes).unwrap();
        for line in [
            "restore bad.db --replace",
            "restore bad.db --replace --older --as QL-01",
            "restore bad.db --store new.db",
        ] {
            let before = std::fs::read(foundry.path("bad.db")).unwrap();
            foundry.run(line).fails(3, "bad.db");
            assert_eq!(std::fs::read(foundry.path("bad.db")).unwrap(), before, "{what}");
            assert!(!foundry.path("new.db").exists() && !foundry.path("bad.db-wal").exists(), "{what}");
        }
    }
    std::fs::hard_link(foundry.store(), foundry.path("hard.db")).unwrap();
    symlink("store.db", foundry.path("link.db")).unwrap();
    for line in ["restore store.db --replace", "restore hard.db --replace", "restore link.db --replace"] {
        foundry.run(line).fails(2, "is the store itself");
    }
    assert_eq!(heads(&foundry), head);
    no_litter(&foundry);
}

#[test]
fn an_older_copy_needs_the_word_and_the_person() {
    let foundry = Foundry::small();
    foundry.run("backup copy.db").done();
    let old = heads(&foundry);
    foundry.run("hold IL31-01 --reason one").done();
    foundry.run("hold IL31-02 --reason two").done();
    let new = heads(&foundry);
    let refusals = |f: &Foundry| {
        Connection::open(f.store())
            .unwrap()
            .query_row("SELECT count(*) FROM journal WHERE action = 'refused'", [], |r| r.get::<_, i64>(0))
            .unwrap()
    };
    foundry.run("restore copy.db --replace").fails(2, "2 entries written since would be dropped");
    foundry.run("restore copy.db --older").fails(2, "--replace");
    assert_eq!(heads(&foundry), new);
    for (line, sentence) in [
        ("restore copy.db --replace --older", "say who you are"),
        ("restore copy.db --replace --older --as OP-01", "OP-01 is operator"),
        ("restore copy.db --replace --older --as XX-01", "knows no person"),
    ] {
        let got = foundry.run(&format!("{line} --json")).fails(1, sentence);
        assert_eq!(got.json()["needs"], serde_json::json!(["quality"]));
    }
    assert_eq!(refusals(&foundry), 3);
    assert!(replaced(&foundry).is_empty());
    let before = heads(&foundry);
    let done = foundry.run("restore copy.db --replace --older --as QL-01 --json").done().json();
    assert_eq!((done["replaced_head"].as_str(), done["dropped"].as_i64()), (Some(before.as_str()), Some(5)));
    // The journal of what is there now says so, and goes on from the copy.
    let entry: (String, String, String) = Connection::open(foundry.store())
        .unwrap()
        .query_row("SELECT action, person, reason FROM journal ORDER BY seq DESC LIMIT 1", [], |r| {
            Ok((r.get(0)?, r.get(1)?, r.get(2)?))
        })
        .unwrap();
    assert_eq!((entry.0.as_str(), entry.1.as_str()), ("restore", "QL-01"));
    assert!(
        entry.2.contains(&before) && entry.2.contains(&old) && entry.2.contains("5 entries were dropped"),
        "{}",
        entry.2
    );
    foundry.run(&format!("verify --anchor {old}")).done();
    assert_eq!(foundry.run(&format!("verify --anchor {new}")).code, 1);
    // What was replaced is beside it, whole.
    let kept = replaced(&foundry);
    assert_eq!(kept.len(), 1);
    assert_eq!(done["kept"].as_str().map(|k| foundry.path(k)), Some(kept[0].clone()));
    let got = answer(program(&foundry.path(""), &kept[0], &["verify", "--json"]).output().unwrap()).done();
    assert_eq!(got.json()["head"], before.as_str());
    // Back again: the two histories part after the copy, so neither is a beginning of the other.
    let name = kept[0].file_name().unwrap().to_str().unwrap().to_string();
    foundry.run(&format!("restore {name} --replace --older --as QL-01")).fails(2, "another history");
    foundry.run(&format!("restore {name} --store aside.db")).done();
    no_litter(&foundry);
}

#[test]
fn a_pin_stands_before_the_older_copy_once_quality_has_one() {
    let foundry = Foundry::small();
    foundry.write_bundle("more", &[("people.csv", "person,role\nQL-02,quality\n")]);
    foundry.run("import more --as QL-01").done();
    foundry.run("backup copy.db").done();
    std::fs::write(foundry.path("first"), "8642\n").unwrap();
    let set = foundry.run("pin set --as QL-01 --pin-file first");
    if set.code != 0 {
        foundry.run("pin set --as QL-01 --pin-from first").done();
    }
    let head = heads(&foundry);
    let line = "restore copy.db --replace --older --as QL-01";
    foundry.run(line).fails(1, "--pin-from");
    with_pin(&foundry, line, "1111").fails(1, "PIN");
    with_pin(&foundry, &line.replace("QL-01", "QL-02"), "8642").fails(1, "has none");
    foundry.run(&format!("verify --anchor {head}")).done();
    assert!(replaced(&foundry).is_empty());
    with_pin(&foundry, line, "8642").done();
    assert_eq!(replaced(&foundry).len(), 1);
    foundry.run("verify").done();
}

#[test]
fn a_copy_that_goes_on_replaces_and_is_named_beside() {
    let foundry = Foundry::small();
    foundry.run("backup early.db").done();
    foundry.run("hold IL31-01 --reason one").done();
    foundry.run("backup late.db").done();
    let late = heads(&foundry);
    // The store is lost to an earlier state; the later copy goes on from it.
    std::fs::copy(foundry.path("early.db"), foundry.store()).unwrap();
    for n in 1..=3 {
        let done = foundry.run("restore late.db --replace --json");
        if n == 1 {
            assert_eq!(done.done().json()["dropped"], 0);
            foundry.run(&format!("verify --anchor {late}")).done();
            // The entry of the restore is one that the copy has not.
            continue;
        }
        done.fails(2, "--older");
        foundry.run("restore late.db --replace --older --as QL-01").done();
        assert_eq!(replaced(&foundry).len(), n, "the clock stands still, the names do not meet");
    }
    foundry.run("verify").done();
}

#[test]
fn another_history_is_never_taken_for_this_one() {
    let foundry = Foundry::small();
    let other = Foundry::new();
    other.run("new").done();
    other.run("backup copy.db").done();
    std::fs::copy(other.path("copy.db"), foundry.path("other.db")).unwrap();
    let head = heads(&foundry);
    for line in ["restore other.db --replace", "restore other.db --replace --older --as QL-01"] {
        foundry.run(line).fails(2, "another history");
    }
    // A backup takes no other store's place either, nor that of a later copy.
    foundry.run("backup other.db --replace").fails(2, "another history");
    foundry.run("backup mine.db").done();
    foundry.run("hold IL31-01 --reason one").done();
    foundry.run("backup later.db").done();
    foundry.run("backup mine.db --replace").done();
    foundry.run("restore mine.db --store back.db").done();
    std::fs::copy(foundry.path("mine.db"), foundry.path("keep.db")).unwrap();
    std::fs::remove_file(foundry.store()).unwrap();
    foundry.run("import bundle").done();
    assert_ne!(head, "");
    foundry.run("backup later.db --replace").fails(2, "another history");
}

#[test]
fn through_a_link_there_is_one_store() {
    let foundry = Foundry::small();
    foundry.run("backup copy.db").done();
    std::fs::create_dir(foundry.path("far")).unwrap();
    std::fs::rename(foundry.store(), foundry.path("far/real.db")).unwrap();
    symlink("far/real.db", foundry.store()).unwrap();
    let inode = std::fs::metadata(foundry.path("far/real.db")).unwrap().ino();
    foundry.run("restore copy.db --replace").done();
    assert!(std::fs::symlink_metadata(foundry.store()).unwrap().is_symlink());
    assert_eq!(std::fs::metadata(foundry.path("far/real.db")).unwrap().ino(), inode);
    let one = foundry.json("verify")["head"].clone();
    assert_eq!(foundry.json("verify --store far/real.db")["head"], one);
    // Kept beside the file itself.
    let kept = std::fs::read_dir(foundry.path("far"))
        .unwrap()
        .filter(|e| e.as_ref().unwrap().file_name().to_string_lossy().starts_with("real.db.replaced-"));
    assert_eq!(kept.count(), 1);
    symlink("nowhere.db", foundry.path("dangling.db")).unwrap();
    foundry.run("restore copy.db --store dangling.db").fails(3, "leads to no file");
}

#[test]
fn rights_are_kept_by_backup_and_restore() {
    let foundry = Foundry::small();
    let mode = |name: &str| std::fs::metadata(foundry.path(name)).unwrap().mode() & 0o777;
    let set = |name: &str, mode| {
        std::fs::set_permissions(foundry.path(name), PermissionsExt::from_mode(mode)).unwrap()
    };
    for bits in [0o600, 0o660, 0o640] {
        set("store.db", bits);
        foundry.run("backup copy.db --replace").done();
        assert_eq!(mode("copy.db"), bits);
        foundry.run("restore copy.db --store new.db").done();
        assert_eq!(mode("new.db"), bits);
        std::fs::remove_file(foundry.path("new.db")).unwrap();
        // A store that is there keeps its own, and so does what is kept of it.
        set("copy.db", 0o644);
        foundry.run("restore copy.db --replace").done();
        assert_eq!(mode("store.db"), bits);
        let kept = replaced(&foundry);
        assert_eq!(std::fs::metadata(&kept[0]).unwrap().mode() & 0o777, bits);
        std::fs::remove_file(&kept[0]).unwrap();
    }
}

#[test]
fn a_store_in_use_is_not_replaced_and_who_waits_sees_the_new_one() {
    let foundry = Foundry::small();
    foundry.run("backup copy.db").done();
    let head = heads(&foundry);
    let held = Connection::open(foundry.store()).unwrap();
    held.query_row("SELECT count(*) FROM journal", [], |r| r.get::<_, i64>(0)).unwrap();
    foundry.run("restore copy.db --replace").fails(3, "another program has it open");
    drop(held);
    assert_eq!(heads(&foundry), head);
    assert!(replaced(&foundry).is_empty());
    // Writers beside it: each write is in the store before, in the one after, or said to have failed.
    let mut children = Vec::new();
    for n in 0..6 {
        let tag = format!("core_lot=C-{n}");
        let mut log = foundry.command(&["log", "core_lots", &tag]);
        children.push(log.stdout(Stdio::piped()).stderr(Stdio::piped()).spawn().unwrap());
    }
    let restored = foundry.run("restore copy.db --replace");
    for child in children {
        let got = answer(child.wait_with_output().unwrap());
        assert!(got.code == 0 && !got.err.contains("panicked"), "{}", got.err);
    }
    assert!([0, 2, 3].contains(&restored.code), "{}", restored.err);
    foundry.run("verify").done();
    no_litter(&foundry);
}

#[test]
fn a_copy_of_an_older_schema_comes_in_and_stays_as_it_is() {
    let foundry = Foundry::new();
    let dump = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/it/released/schema_3.sql");
    let made = std::process::Command::new("sqlite3")
        .args([foundry.path("old.db").as_os_str(), format!(".read {}", dump.display()).as_ref()])
        .output()
        .unwrap();
    assert!(made.status.success(), "{}", String::from_utf8_lossy(&made.stderr));
    let before = std::fs::read(foundry.path("old.db")).unwrap();
    foundry.run("restore old.db").done();
    assert_eq!(std::fs::read(foundry.path("old.db")).unwrap(), before);
    foundry.run("verify").done();
    foundry.run("restore old.db --store second.db").done();
    foundry.run("log core_lots core_lot=C-99").done();
    foundry.run("restore old.db --replace").fails(2, "--older");
    foundry.run("verify").done();
}

/// A process loses its locks on a file with the first handle to it that it closes, SQLite's or not: a second look at an open
/// store must not open the file besides SQLite.
#[test]
fn looking_at_an_open_store_keeps_its_locks() {
    use meltkin::jobs::file::output::Output;
    use records::Store;

    let foundry = Foundry::small();
    foundry.run("backup copy.db").done();
    let path = foundry.store();
    let store = Store::open(&path).unwrap();
    store.head().unwrap();
    let first = Store::open(&path).unwrap();
    drop(first);
    assert!(Output { file: &path, replace: true, store: Some(&path) }.admit().is_err());
    assert!(records::file::paths::open_plain(&path).is_err());
    records::file::paths::marks(&path).unwrap();
    foundry.run("restore copy.db --replace").fails(3, "another program has it open");
    drop(store);
    foundry.run("restore copy.db --replace").done();
}
