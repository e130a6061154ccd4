//! Stores that earlier programs wrote. `released/schema_1.sql` is a whole store of schema 1, written by
//! the program of the last commit that knew schema 1 alone (3535692): a slice of the sample data
//! imported, then single entries, corrections, an entry taken back, a hold put and lifted; dumped by
//! `sqlite3 FILE .dump`, with the file's two marks put before it. `schema_1.json` holds what that program
//! answered then.

use std::io::Write;
use std::process::{Command, Stdio};

use meltkin::domain::catalogue;
use serde_json::{Value, json};

use crate::support::Foundry;

const DUMP: &str = include_str!("released/schema_1.sql");
const ANSWERS: &str = include_str!("released/schema_1.json");

/// A folder with the old store in it.
fn old() -> Foundry {
    let foundry = Foundry::new();
    let mut made = Command::new("sqlite3")
        .arg("-bail")
        .arg(foundry.store())
        .stdin(Stdio::piped())
        .stdout(Stdio::null())
        .spawn()
        .unwrap();
    made.stdin.take().unwrap().write_all(DUMP.as_bytes()).unwrap();
    assert!(made.wait().unwrap().success());
    assert_eq!(version(&foundry), "1");
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
        _ => assert_eq!(old, new, "{at}"),
    }
}

#[test]
fn a_store_of_schema_1_opens_verifies_and_answers_as_before() {
    let foundry = old();
    let answers: Value = serde_json::from_str(ANSWERS).unwrap();
    let answers = answers.as_object().unwrap();
    assert!(answers.len() >= 8);
    for (question, answer) in answers {
        holds(answer, &foundry.json(question), question);
    }
    assert_eq!(
        version(&foundry),
        include_str!("../../src/store/open.rs").matches("/schema/").count().to_string()
    );
    // What came later works on it, and the journal goes on where it was.
    let before = foundry.json("verify");
    foundry.run("log filter_lots filter_lot=FL-NEW received_at=2031-03-30T00:00:00Z").done();
    let after = foundry.json("verify");
    assert_eq!(after["entries"], json!(before["entries"].as_i64().unwrap() + 1));
    foundry.run(&format!("verify --anchor {}", before["head"].as_str().unwrap())).done();
}

#[test]
fn a_store_of_schema_1_comes_out_and_goes_into_a_new_one() {
    let foundry = old();
    foundry.run("export out").done();
    let second = Foundry::new();
    let from = foundry.path("out");
    second.run_with(&["import", from.to_str().unwrap()]).done();
    second.run("export out").done();
    for kind in catalogue::all() {
        let read = |f: &Foundry| std::fs::read_to_string(f.path(&format!("out/{}.csv", kind.name))).unwrap();
        assert_eq!(read(&foundry), read(&second), "{}", kind.name);
    }
}

#[test]
fn a_store_of_schema_1_that_may_only_be_read_is_left_as_it_is_and_answers() {
    let foundry = old();
    let bytes = std::fs::read(foundry.store()).unwrap();
    let mut may = std::fs::metadata(foundry.store()).unwrap().permissions();
    may.set_readonly(true);
    std::fs::set_permissions(foundry.store(), may).unwrap();
    let answers: Value = serde_json::from_str(ANSWERS).unwrap();
    for (question, answer) in answers.as_object().unwrap() {
        holds(answer, &foundry.json(question), question);
    }
    assert_eq!(std::fs::read(foundry.store()).unwrap(), bytes);
}

#[test]
fn a_migration_that_is_cut_short_is_made_again() {
    let foundry = old();
    // As after a crash in the middle: another program holds the file while this one wants to migrate.
    let mut held = Command::new("sqlite3").arg(foundry.store()).stdin(Stdio::piped()).spawn().unwrap();
    let mut to = held.stdin.take().unwrap();
    to.write_all(b"BEGIN IMMEDIATE;\nCREATE TABLE pins (person INTEGER PRIMARY KEY) STRICT;\nPRAGMA user_version = 2;\n").unwrap();
    to.flush().unwrap();
    std::thread::sleep(std::time::Duration::from_millis(300));
    held.kill().unwrap();
    held.wait().unwrap();
    assert_eq!(version(&foundry), "1");
    foundry.run("verify").done();
    assert_ne!(version(&foundry), "1");
}
