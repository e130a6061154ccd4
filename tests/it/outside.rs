//! What the file must bear from outside: an intruder with SQL, a killed program, damage.

use std::io::{BufRead, BufReader};
use std::path::Path;
use std::process::{Command, Stdio};
use std::time::Instant;

use records::{Type, catalogue};

use crate::support::{DEMO_NOW, Foundry, program};

fn sql(store: &Path, text: &str) -> String {
    let out = Command::new("sqlite3").arg(store).arg(text).output().unwrap();
    assert!(out.status.success(), "{text}: {}", String::from_utf8_lossy(&out.stderr));
    String::from_utf8(out.stdout).unwrap()
}

fn sample() -> String {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("sample_data").display().to_string()
}

/// The faults that `verify` finds, as table and tag.
fn faults(foundry: &Foundry, store: &Path) -> Vec<(String, Option<String>)> {
    let out = program(&foundry.path("."), store, &["verify", "--json"]).output().unwrap();
    let json: serde_json::Value = serde_json::from_slice(&out.stdout).unwrap();
    assert_eq!(json["ok"], out.status.code() == Some(0));
    json["faults"]
        .as_array()
        .unwrap()
        .iter()
        .map(|f| (f["table"].as_str().unwrap().to_string(), f["tag"].as_str().map(String::from)))
        .collect()
}

#[test]
fn an_intruder_is_found_in_every_table() {
    let foundry = Foundry::new().at(DEMO_NOW);
    foundry.run(&format!("import {}", sample())).done();
    // Kinds that the sample does not fill get a record each; these are logged, the others imported.
    for record in [
        "concession_items concession=CN31-01 covers=defect name=inclusion at_most=0.1 --as OP-51",
        "settings setting=words value=none --as OP-51",
        "organisations organisation=ORG-1 role=own name=x --as OP-51",
        "knowledge_sources source=S-1 status=practice reference=r --as OP-31",
        "known_causes defect=inclusion factor=heat.O direction=higher strength=primary mechanism=m check=c \
         source_status=practice --as OP-31",
        "known_cause_reviews defect=inclusion reviewed_at=2031-05-26T08:00:00Z --as OP-31",
        "powder_lots powder_lot=PW-1 grade=G received_at=2031-01-01T00:00:00Z",
        "core_lots core_lot=CL-1",
        "investments mould=M31-001 powder_lot=PW-1 mixed_at=2031-01-02T00:00:00Z",
        "treatments treatment=HT-1 kind=hip started_at=2031-05-01T00:00:00Z",
        "treatment_loads treatment=HT-1 blade=M31-001-1",
        "attachments attachment=AT-1 subject=M31-001 path=a sha256=b bytes=1",
        "finish_steps subject=M31-001 step=knock_out done_at=2031-05-23T00:00:00Z",
        "hand_overs person=OP-07 taken_at=2031-05-20T06:00:00Z",
    ] {
        foundry.run(&format!("log {record}")).done();
    }
    foundry.run("verify").done();
    sql(&foundry.store(), "PRAGMA wal_checkpoint(TRUNCATE)");
    let copy = foundry.path("touched.db");
    let fresh = || {
        for end in ["-wal", "-shm"] {
            let _ = std::fs::remove_file(foundry.path(&format!("touched.db{end}")));
        }
        std::fs::copy(foundry.store(), &copy).unwrap();
    };
    for kind in catalogue::all() {
        let table = kind.name;
        let n: u32 = sql(&foundry.store(), &format!("SELECT count(*) FROM {table}")).trim().parse().unwrap();
        assert!(n > 0, "{table} is empty: the test shows nothing for it");
        let columns: Vec<String> =
            sql(&foundry.store(), &format!("SELECT name FROM pragma_table_info('{table}')"))
                .lines()
                .map(String::from)
                .collect();
        let first = kind.key_fields().flat_map(|f| f.columns()).next().unwrap();

        fresh();
        sql(
            &copy,
            &format!(
                "UPDATE {table} SET note = 'touched' WHERE \"{first}\" = (SELECT min(\"{first}\") FROM {table})"
            ),
        );
        let found = faults(&foundry, &copy);
        assert!(found.iter().any(|(t, tag)| t == table && tag.is_some()), "edit in {table}: {found:?}");

        fresh();
        let one = if columns[0] == "id" { "id" } else { first.as_str() };
        sql(
            &copy,
            &format!(
                "PRAGMA foreign_keys = OFF; DELETE FROM {table} WHERE \"{one}\" = (SELECT max(\"{one}\") FROM {table})"
            ),
        );
        let found = faults(&foundry, &copy);
        assert!(found.iter().any(|(t, _)| t == table), "delete in {table}: {found:?}");

        // A row put in: a copy of one under another key, with the digest and entry of the original.
        fresh();
        let changed = kind.key_fields().last().unwrap();
        let target = changed.columns().pop().unwrap();
        let list: Vec<String> = columns.iter().map(|c| format!("\"{c}\"")).collect();
        let made: Vec<String> = columns
            .iter()
            .map(|c| match changed.ty {
                _ if c == "id" => format!("(SELECT max(id) + 1 FROM {table})"),
                Type::Count | Type::Time | Type::Ref(_) | Type::AnyTag if *c == target => {
                    format!("\"{c}\" + 100003")
                }
                _ if *c == target => format!("\"{c}\" || 'x'"),
                _ => format!("\"{c}\""),
            })
            .collect();
        sql(
            &copy,
            &format!(
                "PRAGMA foreign_keys = OFF; PRAGMA ignore_check_constraints = ON; INSERT INTO {table} ({}) SELECT {} FROM {table} LIMIT 1",
                list.join(", "),
                made.join(", ")
            ),
        );
        let found = faults(&foundry, &copy);
        assert!(found.iter().any(|(t, _)| t == table), "insert in {table}: {found:?}");
    }
    for (what, text) in [
        ("edit", "UPDATE journal SET person = 'OP-99' WHERE seq = 7"),
        ("delete", "DELETE FROM journal WHERE seq = 7"),
        ("last", "DELETE FROM journal WHERE seq = (SELECT max(seq) FROM journal)"),
        ("schema", "CREATE TRIGGER sly AFTER INSERT ON moulds BEGIN SELECT 1; END"),
    ] {
        fresh();
        sql(&copy, text);
        assert!(!faults(&foundry, &copy).is_empty(), "{what}");
    }
}

#[test]
fn an_anchor_shows_a_rebuilt_chain() {
    let foundry = Foundry::small();
    let head = || foundry.json("verify")["head"].as_str().unwrap().to_string();
    let first = head();
    foundry.run("hold IL31-01 --reason later").done();
    let found = foundry.json(&format!("verify --anchor {first}"));
    assert!(found["anchored_at"].as_i64().unwrap() > 0);
    // The chain from the hold on was made anew with another reason: whole in itself, and not the one that was noted.
    let noted = head();
    foundry.json(&format!("verify --anchor {noted}"));
    let other = Foundry::small();
    other.run("hold IL31-01 --reason other").done();
    other.run("verify").done();
    assert_eq!(other.run(&format!("verify --anchor {noted}")).code, 1);
    let wrong = "0123456789abcdef".repeat(4);
    assert_eq!(other.run(&format!("verify --anchor {wrong}")).code, 1);
}

/// Every second program is killed as soon as it has said that the record is saved, the others somewhere between their start
/// and the time that one takes to its end on this machine.
#[test]
fn what_was_acknowledged_survives_a_kill() {
    let foundry = Foundry::small();
    let log = |tag: &str| {
        let lot = format!("filter_lot={tag}");
        let words = ["log", "filter_lots", &lot, "received_at=2031-03-30T00:00:00Z"];
        foundry.command(&words).stdout(Stdio::piped()).stderr(Stdio::null()).spawn().unwrap()
    };
    let began = Instant::now();
    assert!(log("FL-whole").wait().unwrap().success());
    let whole = began.elapsed();
    let (mut acknowledged, mut others) = (Vec::new(), Vec::new());
    for n in 0..40_u32 {
        let tag = format!("FL-{n}");
        let mut child = log(&tag);
        let mut said = String::new();
        if n % 2 == 0 {
            BufReader::new(child.stdout.as_mut().unwrap()).read_line(&mut said).unwrap();
            assert!(said.contains("saved"), "{said}");
        } else {
            std::thread::sleep(whole * n / 40);
        }
        let _ = child.kill();
        said.push_str(&String::from_utf8_lossy(&child.wait_with_output().unwrap().stdout));
        if said.contains("saved") { acknowledged.push(tag) } else { others.push(tag) }
    }
    assert!(acknowledged.len() >= 20, "{acknowledged:?}");
    for tag in &acknowledged {
        foundry.run(&format!("show {tag}")).done();
    }
    // Without a word it is there whole, or not at all.
    for tag in &others {
        let found = foundry.run(&format!("show filter_lots:{tag}"));
        assert!(found.code == 2 || found.out.contains("2031-03-30"), "{}{}", found.out, found.err);
    }
    foundry.run("verify").done();
}

/// Into a store that is there, and where none is; the last one is left alone, and brings all.
#[test]
fn a_killed_import_leaves_nothing() {
    let new = || Foundry::new().at(DEMO_NOW);
    let path = sample();
    let began = Instant::now();
    new().run_with(&["import", &path]).done();
    let whole = began.elapsed();
    let (foundry, other) = (new(), new());
    foundry.run("new --bare").done();
    let before = foundry.json("verify")["rows"].as_u64().unwrap();
    let mut cut = 0;
    for n in 0..5_u32 {
        for at in [&foundry, &other] {
            let mut import = at.command(&["import", &path, "--as", "QL-01"]);
            let mut child = import.stdout(Stdio::null()).stderr(Stdio::null()).spawn().unwrap();
            std::thread::sleep(whole * n / 6);
            let _ = child.kill();
            cut += u32::from(child.wait().unwrap().code().is_none());
        }
        let rows = foundry.json("verify")["rows"].as_u64().unwrap();
        assert!(rows == before || rows > 9000, "{rows} rows: neither all nor nothing");
        if other.store().exists() {
            let rows = other.json("verify")["rows"].as_u64().unwrap();
            assert!(rows > 9000, "{rows} rows: a store that is there is whole");
        }
        if rows > 9000 || other.store().exists() {
            break;
        }
    }
    assert!(cut > 0, "each had come to its end before it was killed");
    other.run_with(&["import", &path, "--as", "QL-01"]).done();
    assert!(other.json("verify")["rows"].as_u64().unwrap() > 9000);
}

#[test]
fn two_writers_at_once_both_finish() {
    let foundry = Foundry::small();
    let mut children = Vec::new();
    for n in 0..8 {
        children.push(
            foundry
                .command(&[
                    "log",
                    "filter_lots",
                    &format!("filter_lot=W-{n}"),
                    "received_at=2031-03-30T00:00:00Z",
                ])
                .stdout(Stdio::null())
                .spawn()
                .unwrap(),
        );
    }
    for mut child in children {
        assert!(child.wait().unwrap().success());
    }
    for n in 0..8 {
        foundry.run(&format!("show W-{n}")).done();
    }
    foundry.run("verify").done();
}

#[test]
fn a_file_that_is_no_store_gets_a_sentence() {
    let foundry = Foundry::small();
    sql(&foundry.store(), "PRAGMA wal_checkpoint(TRUNCATE)");
    let whole = std::fs::read(foundry.store()).unwrap();
    let with = |bytes: &[u8]| {
        for end in ["", "-wal", "-shm"] {
            let _ = std::fs::remove_file(foundry.path(&format!("bad.db{end}")));
        }
        std::fs::write(foundry.path("bad.db"), bytes).unwrap();
    };
    let run = |command: &str| {
        let mut arguments: Vec<&str> = command.split(' ').collect();
        arguments.extend(["--store", "bad.db"]);
        foundry.run_with(&arguments)
    };
    with(b"hello, this is a text file and long enough to be looked at as one");
    run("trace M31-001").fails(3, "not a SQLite file");
    with(&whole);
    sql(&foundry.path("bad.db"), "PRAGMA user_version = 99");
    run("trace M31-001").fails(3, "newer meltkin");
    with(b"");
    sql(&foundry.path("bad.db"), "CREATE TABLE t (x)");
    run("trace M31-001").fails(3, "another program");
    run("hold M31-001 --reason x").fails(3, "another program");
    foundry.run("trace M31-001 --store none.db").fails(3, "there is no store");
    // Cut off anywhere, or with a page of noise: an answer or a sentence, never a panic.
    for part in [100, 4096, 20_000, whole.len() / 2, whole.len() - 5000] {
        with(&whole[..part]);
        for command in ["trace M31-002-1", "contain IL31-01", "verify", "shift", "export out-x"] {
            let answer = run(command);
            assert!(!answer.err.contains("panicked"), "{command} on {part} bytes: {}", answer.err);
            assert!(matches!(answer.code, 0..=3), "{command} on {part} bytes: {}", answer.code);
            let _ = std::fs::remove_dir_all(foundry.path("out-x"));
        }
        assert_ne!(run("verify").code, 0, "{part} bytes");
    }
    for page in 1..whole.len() / 4096 {
        let mut noisy = whole.clone();
        for (i, b) in noisy[page * 4096..(page + 1) * 4096].iter_mut().enumerate() {
            *b ^= (i * 31 + page * 7) as u8;
        }
        with(&noisy);
        let answer = run("contain IL31-01");
        assert!(
            !answer.err.contains("panicked") && matches!(answer.code, 0 | 2 | 3),
            "page {page}: {}",
            answer.err
        );
    }
}

#[test]
fn a_read_only_store_can_be_read_and_says_so_when_written() {
    let foundry = Foundry::small();
    sql(&foundry.store(), "PRAGMA wal_checkpoint(TRUNCATE)");
    let bytes = std::fs::read(foundry.store()).unwrap();
    foundry.write_bundle("more", &[("core_lots.csv", "core_lot\nCL-2\n")]);
    let mut permissions = std::fs::metadata(foundry.store()).unwrap().permissions();
    permissions.set_readonly(true);
    std::fs::set_permissions(foundry.store(), permissions).unwrap();
    foundry.run("trace M31-002-1").done();
    foundry.run("verify").done();
    foundry.run("export out").done();
    for write in [
        "hold M31-001 --reason x",
        "correct M31-001 seal=putty --reason x",
        "import more",
        "log core_lots core_lot=CL-1",
    ] {
        foundry.run(write).fails(3, "read-only");
    }
    assert_eq!(std::fs::read(foundry.store()).unwrap(), bytes);
}

#[test]
fn flipped_bytes_give_an_answer_or_a_sentence() {
    let foundry = Foundry::small();
    sql(&foundry.store(), "PRAGMA wal_checkpoint(TRUNCATE)");
    let whole = std::fs::read(foundry.store()).unwrap();
    let bad = foundry.path("bad.db");
    let mut seen = 0;
    // A fixed walk over what is not empty space.
    let dump = sql(&foundry.store(), ".dump");
    let used: Vec<usize> = (0..whole.len()).filter(|i| whole[*i] != 0).collect();
    for n in 0..80_usize {
        let mut flipped = whole.clone();
        let at = used[n * 10_007 % used.len()];
        flipped[at] ^= 1 << (n % 8);
        for end in ["-wal", "-shm"] {
            let _ = std::fs::remove_file(foundry.path(&format!("bad.db{end}")));
        }
        std::fs::write(&bad, &flipped).unwrap();
        for command in ["verify", "trace M31-002-1", "export out-x"] {
            let mut arguments: Vec<&str> = command.split(' ').collect();
            arguments.extend(["--store", "bad.db"]);
            let answer = foundry.run_with(&arguments);
            assert!(!answer.err.contains("panicked"), "{command}, byte {at}: {}", answer.err);
            assert!(matches!(answer.code, 0..=3), "{command}, byte {at}: {}", answer.code);
            assert!(answer.code == 0 || !answer.out.is_empty() || answer.err.len() > 20, "byte {at}");
            seen += u32::from(command == "verify" && answer.code != 0);
            if command == "verify" && answer.code == 0 {
                assert_eq!(sql(&bad, ".dump"), dump, "byte {at} was flipped, and verify saw nothing");
            }
            let _ = std::fs::remove_dir_all(foundry.path("out-x"));
        }
    }
    assert!(seen > 40, "only {seen} of 80 flips were in use and seen");
    // A log that belongs to another file.
    std::fs::write(&bad, &whole).unwrap();
    std::fs::write(foundry.path("bad.db-wal"), &whole[..40_000]).unwrap();
    let answer = foundry.run("trace M31-002-1 --store bad.db");
    assert!(matches!(answer.code, 0 | 3) && !answer.err.contains("panicked"), "{}", answer.err);
}

#[test]
fn two_imports_at_once_give_one_whole_result() {
    let foundry = Foundry::new().at(DEMO_NOW);
    foundry.run("new --bare").done();
    let path = sample();
    let children: Vec<_> = (0..2)
        .map(|_| {
            foundry
                .command(&["import", &path, "--as", "QL-01"])
                .stdout(Stdio::null())
                .stderr(Stdio::null())
                .spawn()
                .unwrap()
        })
        .collect();
    let codes: Vec<_> = children.into_iter().map(|mut c| c.wait().unwrap().code()).collect();
    // The second finds every row stored already, or may not write what only quality may.
    assert!(codes.contains(&Some(0)), "{codes:?}");
    assert!(foundry.json("verify")["rows"].as_u64().unwrap() > 9000);
}
