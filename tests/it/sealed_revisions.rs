//! The revision of a definition is part of what is sealed: in canonical texts, in bundles, through
//! corrections, and for what earlier programs wrote.

use crate::support::{Foundry, SMALL};

/// The small foundry with two approved revisions of its alloy; the heat names none, so the one in force counts.
fn two_revisions() -> Foundry {
    let mut files = SMALL.to_vec();
    files[0] = (
        "alloys.csv",
        "alloy,revision,effective_from,approved_at\nQA-713/3,,2029-01-01,2029-01-01\nQA-713/3,2,2031-03-05,2031-03-05\n",
    );
    let foundry = Foundry::new();
    foundry.write_bundle("bundle", &files);
    foundry.run("import bundle").done();
    foundry
}

fn sql(foundry: &Foundry, text: &str) -> String {
    let out = std::process::Command::new("sqlite3").arg(foundry.store()).arg(text).output().unwrap();
    assert!(out.status.success(), "{text}: {}", String::from_utf8_lossy(&out.stderr));
    String::from_utf8(out.stdout).unwrap().trim().to_string()
}

fn exported(foundry: &Foundry, kind: &str) -> String {
    let folder = format!("out{}", std::fs::read_dir(foundry.path(".")).unwrap().count());
    foundry.run(&format!("export {folder}")).done();
    std::fs::read_to_string(foundry.path(&format!("{folder}/{kind}.csv"))).unwrap()
}

#[test]
fn a_bundle_names_the_revision_in_force_and_a_row_without_it_is_the_same() {
    let foundry = two_revisions();
    let heats = exported(&foundry, "heats");
    // Heat 1 was melted on 4 March, before revision 2 was in force; heat 2 on 6 March.
    assert!(heats.contains("H31-001,QA-713/3@,") && heats.contains("H31-002,QA-713/3@2,"), "{heats}");
    let again = foundry.json("import bundle --check --as QL-01");
    assert!(again["faults"].as_array().unwrap().is_empty(), "{again}");
    assert_eq!(again["records"].as_object().unwrap().values().filter(|n| n.as_u64() != Some(0)).count(), 0);
    // A third revision that was in force all the time changes nothing about the records that are there.
    foundry.run("log alloys alloy=QA-713/3 revision=3 effective_from=2028-01-01 approved_at=2031-03-20 --as QL-01").done();
    assert_eq!(foundry.json("import bundle --check --as QL-01")["faults"].as_array().unwrap().len(), 0);
    // Another revision than the stored one is another record.
    foundry.write_bundle(
        "other",
        &[(
            "heats.csv",
            "heat,alloy,furnace,melted_at,note\nH31-001,QA-713/3@2,F1,2031-03-04T09:00:00+00:00,\"=cmd|x\"\n",
        )],
    );
    let fault = foundry.run("import other --json --as QL-01").json()["faults"][0].clone();
    assert!(fault["message"].as_str().unwrap().contains("alloy (stored QA-713/3@)"), "{fault}");
}

#[test]
fn another_revision_behind_the_record_is_found_and_named() {
    let foundry = two_revisions();
    sql(
        &foundry,
        "UPDATE heats SET alloy = (SELECT id FROM alloys WHERE revision = '2') WHERE heat = 'H31-001'",
    );
    let verified = foundry.run("verify --json");
    assert_eq!(verified.code, 1);
    let faults = verified.json()["faults"].to_string();
    assert!(faults.contains("\"heats\"") && faults.contains("H31-001"), "{faults}");
    foundry.run("show H31-001").fails(3, "was changed outside meltkin");
}

#[test]
fn a_correction_keeps_the_revision_that_a_record_is_tied_to() {
    let foundry = two_revisions();
    foundry.run("log alloys alloy=QA-713/3 revision=3 effective_from=2028-01-01 approved_at=2031-03-20 --as QL-01").done();
    foundry.run_with(&["correct", "H31-001", "crucible=C-1", "--reason", "from the card"]).done();
    assert!(exported(&foundry, "heats").contains("H31-001,QA-713/3@,"));
    foundry.run_with(&["correct", "H31-001", "alloy=QA-713/3@2", "--reason", "melted to the new one"]).done();
    assert!(exported(&foundry, "heats").contains("H31-001,QA-713/3@2,"));
    foundry.run("undo").done();
    assert!(exported(&foundry, "heats").contains("H31-001,QA-713/3@,"));
    foundry.run("verify").done();
}

#[test]
fn the_same_records_give_the_same_bytes_whatever_the_order_they_came_in() {
    let (one, two) = (two_revisions(), Foundry::new());
    let turned: Vec<(&str, String)> = SMALL
        .iter()
        .map(|(name, text)| {
            let text = if *name == "alloys.csv" {
                "alloy,revision,effective_from,approved_at\nQA-713/3,2,2031-03-05,2031-03-05\nQA-713/3,,2029-01-01,2029-01-01\n"
            } else {
                text
            };
            // Line breaks inside quotation marks stand in the heats alone; findings without a number are counted in file order.
            if matches!(*name, "heats.csv" | "findings.csv") {
                return (*name, text.to_string());
            }
            let mut lines: Vec<&str> = text.lines().collect();
            lines[1..].reverse();
            (*name, lines.join("\n") + "\n")
        })
        .collect();
    let turned: Vec<(&str, &str)> = turned.iter().map(|(n, t)| (*n, t.as_str())).collect();
    two.write_bundle("bundle", &turned);
    two.run("import bundle").done();
    for kind in records::catalogue::all() {
        assert_eq!(exported_once(&one, kind.name), exported_once(&two, kind.name), "{}", kind.name);
    }
}

fn exported_once(foundry: &Foundry, kind: &str) -> String {
    let folder = foundry.path("whole");
    if !folder.exists() {
        foundry.run("export whole").done();
    }
    std::fs::read_to_string(folder.join(format!("{kind}.csv"))).unwrap()
}

#[test]
fn a_split_lot_stands_after_the_lot_it_came_from() {
    let foundry = Foundry::new();
    let lots = "wax_lot,grade,received_at,split_from\nWL-9,A,2031-01-01T00:00:00Z,\nWL-5,A,2031-01-02T00:00:00Z,WL-9\nWL-1,A,2031-01-03T00:00:00Z,WL-5\nWL-7,A,2031-01-01T00:00:00Z,\n";
    foundry.write_bundle("bundle", &[("wax_lots.csv", lots)]);
    foundry.run("import bundle").done();
    let tags: Vec<String> = exported(&foundry, "wax_lots")
        .lines()
        .skip(1)
        .map(|l| l.split(',').next().unwrap().to_string())
        .collect();
    assert_eq!(tags, ["WL-7", "WL-9", "WL-5", "WL-1"]);
}
