//! Stores that earlier programs wrote. `released/schema_N.sql` is a whole store of schema N: a slice of the
//! sample data imported, then single entries, corrections, an entry taken back, a hold put and lifted, from
//! schema 2 on a PIN; dumped by `sqlite3 FILE .dump`, with the file's two marks put before it.
//! `schema_N.json` holds what that program answered then; from schema 4 on a released lot too. Written by the program of the last commit that
//! knew schema 1 alone (3535692), and by one that knew schema 2 and no later one.

use std::io::{BufRead, BufReader, Write};
use std::path::Path;
use std::process::{Command, Stdio};

use records::catalogue;
use serde_json::{Value, json};

use crate::support::Foundry;

fn file(name: &str) -> String {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/it/released").join(name);
    std::fs::read_to_string(&path).unwrap_or_else(|e| {
        panic!(
            "{}: {e}; keep a store of each schema, by make.py, before a migration is added",
            path.display()
        )
    })
}

/// The schema that today's program writes: its schema files counted.
fn newest() -> usize {
    std::fs::read_dir(Path::new(env!("CARGO_MANIFEST_DIR")).join("schema")).unwrap().count()
}

/// Every schema before the newest; the newest one too where a store of it is kept already.
fn kept() -> impl Iterator<Item = usize> {
    let there = |n: &usize| {
        *n < newest()
            || Path::new(env!("CARGO_MANIFEST_DIR"))
                .join(format!("tests/it/released/schema_{n}.sql"))
                .exists()
    };
    (1..=newest()).filter(there)
}

fn answers(schema: usize) -> serde_json::Map<String, Value> {
    let answers: Value = serde_json::from_str(&file(&format!("schema_{schema}.json"))).unwrap();
    let mut answers = answers.as_object().unwrap().clone();
    assert!(answers.len() >= 8);
    // A migration is journalled: the journal is longer than the program of then left it.
    for changed in ["entries", "head"] {
        answers["verify"].as_object_mut().unwrap().remove(changed).unwrap();
    }
    answers
}

/// Entries of the journal, as the program of then left it.
fn entries(schema: usize) -> i64 {
    let answers: Value = serde_json::from_str(&file(&format!("schema_{schema}.json"))).unwrap();
    answers["verify"]["entries"].as_i64().unwrap()
}

/// A folder with the old store in it.
pub fn old(schema: usize) -> Foundry {
    let foundry = Foundry::new();
    let mut made = Command::new("sqlite3")
        .arg("-bail")
        .arg(foundry.store())
        .stdin(Stdio::piped())
        .stdout(Stdio::null())
        .spawn()
        .unwrap();
    made.stdin.take().unwrap().write_all(file(&format!("schema_{schema}.sql")).as_bytes()).unwrap();
    assert!(made.wait().unwrap().success());
    assert_eq!(version(&foundry), schema.to_string());
    foundry
}

fn version(foundry: &Foundry) -> String {
    let out = Command::new("sqlite3").arg(foundry.store()).arg("PRAGMA user_version").output().unwrap();
    String::from_utf8(out.stdout).unwrap().trim().to_string()
}

/// The parts of an answer that every later program must give too; it may say more.
fn holds(old: &Value, new: &Value, at: &str) {
    match (old, new) {
        (Value::Object(a), Value::Object(b)) => {
            for (name, v) in a {
                holds(v, b.get(name).unwrap_or(&Value::Null), &format!("{at}/{name}"));
            }
        }
        (Value::Array(a), Value::Array(b)) => {
            assert_eq!(a.len(), b.len(), "{at}");
            a.iter().zip(b).enumerate().for_each(|(i, (a, b))| holds(a, b, &format!("{at}/{i}")));
        }
        // Mappings and a clock that stood beside the records are records now.
        (Value::Number(a), Value::Number(b)) if at.ends_with("verify/rows") => {
            assert!(b.as_u64() >= a.as_u64(), "{at}: {a} {b}");
        }
        _ => assert_eq!(old, new, "{at}"),
    }
}

/// Gives every tag that would be refused today another: with that it may come into another store.
fn relabel(foundry: &Foundry) {
    for (i, odd) in foundry.json("verify")["odd_tags"].as_array().unwrap().iter().enumerate() {
        let old = format!("old_tag={}", odd["tag"].as_str().unwrap());
        let new = format!("new_tag=NEW-{i}");
        foundry.run_with(&["log", "retags", &old, &new, "changed_at=2031-03-31T00:00:00Z"]).done();
    }
}

#[test]
fn a_store_of_every_earlier_schema_opens_verifies_and_answers_as_before() {
    assert!(kept().count() >= 2);
    for schema in kept() {
        let foundry = old(schema);
        for (question, answer) in answers(schema) {
            holds(&answer, &foundry.json(&question), &format!("schema {schema}: {question}"));
        }
        assert_eq!(version(&foundry), newest().to_string());
        // A migration that seals something says so by an entry.
        let sealed = i64::from(schema < 4);
        assert!(foundry.json("verify")["entries"].as_i64().unwrap() >= entries(schema) + sealed);
        // What came later works on it, and the journal goes on where it was.
        let before = foundry.json("verify");
        foundry.run("log filter_lots filter_lot=FL-NEW received_at=2031-03-30T00:00:00Z").done();
        let after = foundry.json("verify");
        assert_eq!(after["entries"], json!(before["entries"].as_i64().unwrap() + 1));
        foundry.run(&format!("verify --anchor {}", before["head"].as_str().unwrap())).done();
    }
}

#[test]
fn a_store_of_every_earlier_schema_comes_out_and_goes_into_a_new_one() {
    for schema in kept() {
        let foundry = old(schema);
        relabel(&foundry);
        foundry.run("export out").done();
        let second = Foundry::new().at(crate::support::DEMO_NOW);
        let from = foundry.path("out");
        second.run_with(&["import", from.to_str().unwrap()]).done();
        second.run("export out").done();
        for kind in catalogue::all() {
            let read =
                |f: &Foundry| std::fs::read_to_string(f.path(&format!("out/{}.csv", kind.name))).unwrap();
            assert_eq!(read(&foundry), read(&second), "schema {schema}: {}", kind.name);
        }
    }
}

#[test]
fn a_store_of_an_earlier_schema_that_may_only_be_read_is_left_as_it_is_and_answers() {
    for schema in kept() {
        let foundry = old(schema);
        let bytes = std::fs::read(foundry.store()).unwrap();
        let mut may = std::fs::metadata(foundry.store()).unwrap().permissions();
        may.set_readonly(true);
        std::fs::set_permissions(foundry.store(), may).unwrap();
        for (question, answer) in answers(schema) {
            holds(&answer, &foundry.json(&question), &format!("schema {schema}: {question}"));
        }
        assert_eq!(std::fs::read(foundry.store()).unwrap(), bytes);
    }
}

fn sql(foundry: &Foundry, text: &str) -> String {
    let out = Command::new("sqlite3").arg(foundry.store()).arg(text).output().unwrap();
    assert!(out.status.success(), "{text}: {}", String::from_utf8_lossy(&out.stderr));
    String::from_utf8(out.stdout).unwrap().trim().to_string()
}

/// What stood beside the journal is a record under it: mappings, the clock, the digest of each PIN.
#[test]
fn what_stood_beside_the_journal_comes_under_its_seal() {
    // From schema 4 on nothing stands beside it.
    for schema in kept().filter(|schema| *schema < 4) {
        let foundry = old(schema);
        let mapping = r#"{"kind":"heats","header":1,"columns":[["heat","Charge"]]}"#;
        sql(&foundry, &format!("INSERT INTO about VALUES ('sheet mapping heats', '{mapping}')"));
        sql(&foundry, "INSERT OR REPLACE INTO about VALUES ('clock', '2031-04-01T00:00:00+00:00')");
        let pins = if schema >= 2 { sql(&foundry, "SELECT count(*) FROM pins") } else { "0".into() };
        foundry.run("verify").done();
        assert_eq!(sql(&foundry, "SELECT count(*) FROM about WHERE name <> 'checked'"), "0");
        foundry.run("export out").done();
        let settings = std::fs::read_to_string(foundry.path("out/settings.csv")).unwrap();
        assert!(settings.contains("\nclock,2031-04-01T00:00:00+00:00,"), "{settings}");
        assert!(settings.contains("\nsheet mapping heats,"), "{settings}");
        let sealed = "SELECT count(*) FROM journal WHERE action = 'pin' AND new LIKE 'pins {\"sha256\":%'";
        assert_eq!(sql(&foundry, sealed), pins, "schema {schema}");
        for touch in ["UPDATE settings SET value = 'x'", "DELETE FROM pins"] {
            if touch.contains("pins") && pins == "0" {
                continue;
            }
            sql(&foundry, touch);
            assert_eq!(foundry.run("verify").code, 1, "{touch}");
        }
    }
}

#[test]
fn the_revisions_of_what_is_there_are_sealed_by_one_entry() {
    let foundry = old(3);
    foundry.run("verify").done();
    assert_eq!(sql(&foundry, "SELECT count(*) FROM journal WHERE action = 'seal'"), "1");
    // A row of a file, a row logged by itself, one whose revision was typed, a subject of any kind.
    let corrections = [
        ("H91-001", "hold_min=3"),
        ("M91-900", "seal=weep"),
        ("M91-001", "seal=tight"),
        ("costs:QB-2207@C/wax/2031-01-01", "value=1.25"),
        ("SA-91", "kept_at=shelf 2"),
    ];
    for (tag, change) in corrections {
        let asked = foundry.run_with(&["show", tag]);
        if asked.code != 0 {
            assert!(tag.starts_with("costs"), "{}", asked.err);
            continue;
        }
        foundry.run_with(&["correct", tag, change, "--reason", "from the card", "--as", "QL-91"]).done();
        foundry.run("verify").done();
    }
    foundry.run("undo --as QL-91").done();
    foundry.run("verify").done();
}

#[test]
fn another_revision_behind_an_older_record_is_found() {
    for (table, column, tag) in [("heats", "heat", "H91-001"), ("parts", "part", "QB-91@C")] {
        let foundry = old(3);
        foundry.run("verify").done();
        let short = tag.split('@').next().unwrap();
        let other = "(SELECT id FROM alloys WHERE alloy = 'QA-91' AND revision = 'A')";
        sql(
            &foundry,
            &format!("UPDATE {table} SET alloy = {other}, extra = NULL WHERE {column} = '{short}'"),
        );
        let verified = foundry.run("verify --json");
        assert_eq!(verified.code, 1, "{table}");
        let faults = verified.json()["faults"].to_string();
        assert!(faults.contains(table) && faults.contains(tag), "{faults}");
        // With the digest made anew it is the kind that is named: one entry holds count and digest.
        sql(&foundry, &format!("UPDATE {table} SET digest = digest + 1 WHERE {column} = '{short}'"));
        assert_eq!(foundry.run("verify").code, 1);
    }
}

#[test]
fn a_pin_that_an_earlier_program_kept_is_still_the_pin() {
    let foundry = old(2);
    let pin = |lines: &str| {
        std::fs::write(foundry.path("pin"), lines).unwrap();
        foundry.run(&format!("pin set --as OP-51 --pin-file {}", foundry.path("pin").display()))
    };
    assert_ne!(pin("4711-83\n9999-11\n").code, 0);
    pin("4711-82\n9999-11\n").done();
    foundry.run("verify").done();
}

#[test]
fn a_migration_that_is_cut_short_is_made_again() {
    let foundry = old(1);
    // As after a crash in the middle: another program holds the file while this one wants to migrate.
    let mut held = Command::new("sqlite3");
    held.arg(foundry.store()).stdin(Stdio::piped()).stdout(Stdio::piped());
    let mut held = held.spawn().unwrap();
    let mut to = held.stdin.take().unwrap();
    to.write_all(b"BEGIN IMMEDIATE;\nCREATE TABLE pins (person INTEGER PRIMARY KEY) STRICT;\nPRAGMA user_version = 2;\nSELECT 'half way';\n").unwrap();
    to.flush().unwrap();
    let mut said = String::new();
    BufReader::new(held.stdout.take().unwrap()).read_line(&mut said).unwrap();
    assert_eq!(said, "half way\n");
    held.kill().unwrap();
    held.wait().unwrap();
    assert_eq!(version(&foundry), "1");
    foundry.run("verify").done();
    assert_ne!(version(&foundry), "1");
}
