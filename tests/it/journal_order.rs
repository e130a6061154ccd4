//! What came after a decision, by the journal, and what nothing seals: corrections that bring evidence to a blade, who
//! once stood as a reader, and row numbers. Each was found by trying; the answers follow from RECORDS.md.

use std::process::Command;

use crate::lots::{foundry, reasons};
use crate::support::Foundry;

fn blocked(f: &Foundry, lot: &str) -> String {
    reasons(&f.run(&format!("lot summary {lot} --json")).json())
}

/// The clean lot; `I8` is typed in as given, read before the decision. Decided again, then corrected.
#[track_caller]
fn brought(changes: &[(&str, &str, &str)], i8: &str, correction: &str, before: &str) -> Foundry {
    let f = foundry(changes, &[]);
    let own = "technique=RT-1 inspected_at=2031-03-11T12:00:00Z instrument=FV-01 result=accept";
    f.run(&format!("log inspections inspection=I8 method=radiograph {own} {i8}")).done();
    f.run("log dispositions blade=M31-001-1 decided_at=2031-03-13T00:00:00Z decision=accept --as QL-01")
        .done();
    let was = blocked(&f, "L31-01");
    assert_eq!((was.is_empty(), was.contains(before)), (before.is_empty(), true), "{was}");
    f.run(&format!("correct {correction} --reason typing --as QL-01")).done();
    f
}

/// The first film, of another blade; the second blade is out of the way.
const FILM: (&str, &str, &str) =
    ("inspections.csv", "I3,M31-001-1,radiograph,1,RT-1,2031-03-11T00:00:00Z,IN-01,FV-01,accept\n", "");

#[test]
fn a_correction_that_brings_evidence_to_a_blade_asks_for_another_decision() {
    let late = "is older than radiograph inspection I8";
    let cases = [
        ("blade=M31-001-2 round=2 person=IN-01", "I8 blade=M31-001-1", "no radiograph"),
        ("blade=M31-001-1 round=1 person=IN-01 purpose=study", "I8 purpose=product", "no radiograph"),
        ("blade=M31-001-1 round=1 person=OP-01", "I8 person=IN-01", "reader not qualified"),
        ("blade=M31-001-1 round=3 person=IN-01", "I8 round=1", ""),
    ];
    for (i8, correction, before) in cases {
        let f = brought(&[FILM], i8, correction, before);
        let now = blocked(&f, "L31-01");
        assert!(now.contains(late), "{correction}: {now}");
        let remarks = f.json("show M31-001-1")["remarks"].to_string();
        assert!(remarks.contains("older than I8"), "{correction}: {remarks}");
        f.run("log dispositions blade=M31-001-1 decided_at=2031-03-14T00:00:00Z decision=accept --as QL-01")
            .done();
        let now = blocked(&f, "L31-01");
        assert!(!now.contains("M31-001-1\",\"blades"), "{now}");
        assert!(!now.contains(late), "{now}");
    }
    // What says nothing of the blade makes nothing younger.
    for correction in ["I8 note=seen", "I8 technique=RT-2", "I8 class=A"] {
        let f = brought(&[FILM], "blade=M31-001-1 round=1 person=IN-01", correction, "");
        assert_eq!(blocked(&f, "L31-01"), "", "{correction}");
    }
}

#[test]
fn an_analysis_that_is_moved_to_the_metal_asks_for_another_decision() {
    let other = (
        "heats.csv",
        "H31-001,QA-713/3,F1,2031-03-04T09:00:00Z\n",
        "H31-001,QA-713/3,F1,2031-03-04T09:00:00Z\nH31-002,QA-713/3,F1,2031-03-05T09:00:00Z\n",
    );
    let third = (
        "analyses.csv",
        "AN-2,H31-001,check,2031-03-04T12:00:00Z\n",
        "AN-2,H31-001,check,2031-03-04T12:00:00Z\nAN-3,H31-002,check,2031-03-05T12:00:00Z\n",
    );
    let values = ("analysis_values.csv", "AN-2,O,14,ppm\n", "AN-2,O,14,ppm\nAN-3,O,13,ppm\n");
    let f = foundry(&[other, third, values], &[]);
    assert_eq!(blocked(&f, "L31-01"), "");
    f.run("correct AN-3 note=seen --reason typing --as QL-01").done();
    assert_eq!(blocked(&f, "L31-01"), "");
    f.run("correct AN-3 subject=H31-001 --reason typing --as QL-01").done();
    let now = blocked(&f, "L31-01");
    assert!(now.contains("older than analysis AN-3 of H31-001"), "{now}");
    // One that was set aside, and counts again.
    let f = foundry(&[], &[]);
    f.run("correct AN-1 set_aside_by=QL-01 set_aside_reason=burnt --reason burnt --as QL-01").done();
    f.run("log analyses analysis=AN-4 subject=IL31-01 purpose=maker taken_at=2031-01-02T00:00:00Z").done();
    f.run("log analysis_values analysis=AN-4 element=O value=11 unit=ppm").done();
    for blade in ["M31-001-1", "M31-001-2"] {
        f.run(&format!(
            "log dispositions blade={blade} decided_at=2031-03-13T00:00:00Z decision=accept --as QL-01"
        ))
        .done();
    }
    assert_eq!(blocked(&f, "L31-01"), "");
    f.run("correct AN-1 set_aside_by= set_aside_reason= --reason good --as QL-01").done();
    assert!(blocked(&f, "L31-01").contains("older than analysis AN-1"), "{}", blocked(&f, "L31-01"));
}

#[test]
fn who_ever_stood_as_the_reader_of_a_reject_does_not_close_it() {
    let f = foundry(
        &[
            ("inspections.csv", "IN-01,FV-01,accept\nI4", "IN-01,FV-01,reject\nI4"),
            ("people.csv", "IN-01,inspector\n", "IN-01,inspector\nIN-02,inspector\nIN-03,inspector\n"),
            (
                "qualifications.csv",
                "IN-01,radiograph,2,2033-01-01,2031-01-01\n",
                "IN-01,radiograph,2,2033-01-01,2031-01-01\nIN-02,radiograph,2,2033-01-01,2031-01-01\n\
                 IN-03,radiograph,2,2033-01-01,2031-01-01\n",
            ),
        ],
        &[],
    );
    let close = |tag: &str, person: &str| {
        f.run_with(&[
            "log",
            "inspections",
            &format!("inspection={tag}"),
            "blade=M31-001-1",
            "method=radiograph",
            "round=2",
            "technique=RT-1",
            "inspected_at=2031-03-15T00:00:00Z",
            &format!("person={person}"),
            "instrument=FV-01",
            "result=accept",
            "closes=I3",
            "note=a mark on the film",
        ])
    };
    // Quality says that the name was misread, twice.
    f.run("correct I3 person=IN-03 --reason misread --as QL-01").done();
    f.run("correct I3 person=IN-02 --reason misread --as QL-01").done();
    for person in ["IN-01", "IN-03", "IN-02"] {
        let refused = close("I8", person).fails(2, "closes = ");
        assert!(refused.err.contains("another qualified person closes it"), "{person}: {}", refused.err);
    }
    // Nor by a correction of the one who closes it.
    f.run("log people person=IN-04 role=inspector --as QL-01").done();
    f.run("log qualifications person=IN-04 method=radiograph level=2 from_on=2030-01-01 expires_on=2033-01-01 --as QL-01").done();
    close("I8", "IN-04").done();
    f.run("correct I8 person=IN-01 --reason slip --as QL-01").fails(2, "another qualified person closes it");
    f.run("log dispositions blade=M31-001-1 decided_at=2031-03-16T00:00:00Z decision=accept --as QL-01")
        .done();
    assert_eq!(blocked(&f, "L31-01"), "");
}

fn sql(f: &Foundry, text: &str) -> String {
    let out = Command::new("sqlite3").arg(f.path("store.db")).arg(text).output().unwrap();
    assert!(out.status.success(), "{}", String::from_utf8_lossy(&out.stderr));
    String::from_utf8(out.stdout).unwrap()
}

/// The row numbers of a kind in reverse, in its table and wherever something refers to it.
fn reversed(f: &Foundry, kind: &str) {
    let references = sql(
        f,
        &format!(
            "SELECT m.name || ' ' || r.\"from\" FROM sqlite_master m, pragma_foreign_key_list(m.name) r
             WHERE m.type = 'table' AND r.\"table\" = '{kind}'"
        ),
    );
    let on_any = sql(
        f,
        "SELECT m.name || ' ' || substr(c.name, 1, length(c.name) - 5) FROM sqlite_master m, pragma_table_info(m.name) c
         WHERE m.type = 'table' AND c.name IN ('subject_kind', 'only_for_kind')",
    );
    let most: i64 = sql(f, &format!("SELECT ifnull(max(id), 0) FROM {kind}")).trim().parse().unwrap();
    let mut all = String::from("PRAGMA foreign_keys = OFF; BEGIN;");
    let columns = references.lines().map(|l| l.split_once(' ').unwrap());
    for (table, column) in columns.chain([(kind, "id")]) {
        all += &format!("UPDATE {table} SET \"{column}\" = -\"{column}\" WHERE \"{column}\" IS NOT NULL;");
        all +=
            &format!("UPDATE {table} SET \"{column}\" = {most} + 1 + \"{column}\" WHERE \"{column}\" < 0;");
    }
    for (table, stem) in on_any.lines().map(|l| l.split_once(' ').unwrap()) {
        all += &format!(
            "UPDATE {table} SET {stem}_id = -{stem}_id WHERE {stem}_kind = '{kind}';
             UPDATE {table} SET {stem}_id = {most} + 1 + {stem}_id WHERE {stem}_kind = '{kind}';"
        );
    }
    sql(f, &(all + "COMMIT;"));
}

#[test]
fn row_numbers_decide_nothing() {
    let f = foundry(
        &[
            ("analysis_values.csv", "AN-2,O,14", "AN-2,O,32"),
            (
                "ingot_lots.csv",
                "2031-01-01T00:00:00Z,500\n",
                "2031-01-01T00:00:00Z,500\nIL31-02,QA-713/3,2031-01-01T00:00:00Z,50\n",
            ),
            ("charges.csv", "H31-001,IL31-01,11\n", "H31-001,IL31-01,9\nH31-001,IL31-02,2\n"),
            ("instruments.csv", "FV-01,film viewer\n", "FV-01,film viewer\nUT-02,tester\n"),
            (
                "moulds.csv",
                "2031-02-10T00:00:00Z\n",
                "2031-02-10T00:00:00Z\nM31-002,QB-2207,RS-1,2031-02-10T00:00:00Z\n",
            ),
            (
                "heats.csv",
                "2031-03-04T09:00:00Z\n",
                "2031-03-04T09:00:00Z\nH31-002,QA-713/3,F1,2031-03-05T09:00:00Z\n",
            ),
            (
                "pours.csv",
                "1480,5,OP-01\n",
                "1480,5,OP-01\nM31-002,H31-002,2031-03-05T10:00:00Z,PYR-02,1480,5,OP-01\n",
            ),
            (
                "blades.csv",
                "M31-001-2,M31-001,2\n",
                "M31-001-2,M31-001,2\nM31-002-1,M31-002,1\nM31-002-2,M31-002,2\n",
            ),
            ("lot_blades.csv", "L31-01,M31-001-2\n", "L31-01,M31-001-2\nL31-01,M31-002-1\n"),
            (
                "dispositions.csv",
                "M31-001-1,2031-03-12T00:00:00Z,accept,QL-01\nM31-001-2,2031-03-12T00:00:00Z,accept,QL-01\n",
                "M31-001-1,2031-03-11T00:00:00Z,accept,QL-01\nM31-001-2,2031-03-11T00:00:00Z,accept,QL-01\n",
            ),
        ],
        &[
            ("test_bars.csv", "test_bar,heat,uts_mpa\nTB1,H31-001,500\nTB2,H31-001,900\nTB3,H31-002,700\n"),
            (
                "concessions.csv",
                "concession,type,part,limits,quantity,granted_at,granted_by\nCN-1,concession,QB-2207,-,1,2031-03-09T00:00:00Z,QL-01\n",
            ),
            ("concession_items.csv", "concession,item,covers,name,at_most,unit\nCN-1,1,element,O,32,ppm\n"),
        ],
    );
    let both = "blade,decided_at,decision,person,concession\nM31-001-2,2031-03-20T00:00:00Z,concession,QL-01,CN-1\nM31-001-1,2031-03-20T00:00:00Z,concession,QL-01,CN-1\n";
    std::fs::write(f.path("dispositions.csv"), both).unwrap();
    f.run("import dispositions.csv --as QL-01").done();
    f.run("hold M31-001 --reason one --as OP-01").done();
    f.run("hold H31-001 --reason two --as OP-01").done();
    let summary = || {
        let json = f.run("lot summary L31-01 --json").json();
        serde_json::to_string_pretty(&json).unwrap()
    };
    let before = summary();
    // One entry brought both in: the first by its tag has the place.
    assert!(before.contains("this one is number 2"), "{before}");
    let json: serde_json::Value = serde_json::from_str(&before).unwrap();
    let at = |b: &&serde_json::Value| b["code"] == "concession";
    let second: Vec<&serde_json::Value> = json["blocked"].as_array().unwrap().iter().filter(at).collect();
    assert_eq!((second.len(), &second[0]["blade"]), (1, &"M31-001-2".into()));
    let kinds = sql(
        &f,
        "SELECT m.name FROM sqlite_master m, pragma_table_info(m.name) c WHERE m.type = 'table' AND c.name = 'id'
         AND c.pk = 1 AND m.name NOT LIKE 'sqlite%'",
    );
    let kinds: Vec<&str> = kinds.lines().filter(|k| records::catalogue::kind(k).is_some()).collect();
    assert!(kinds.len() > 15, "{kinds:?}");
    for kind in kinds {
        reversed(&f, kind);
        let now = summary();
        let differs = before.lines().zip(now.lines()).find(|(a, b)| a != b);
        assert!(before == now, "{kind}: {differs:?}");
        reversed(&f, kind);
    }
}
