//! Which result stands: no later round, no second analysis, no earlier decision hides a reject. Expected answers are
//! worked out by hand from the rules as RECORDS.md states them.

use serde_json::Value;

use crate::lots::{foundry, reasons};
use crate::support::Foundry;

#[track_caller]
fn says(f: &Foundry, sentences: &[&str]) -> Value {
    let answer = f.run("lot summary L31-01 --json");
    let json = answer.json();
    let all = reasons(&json);
    assert_eq!(answer.code, i32::from(!sentences.is_empty()), "{all}");
    for s in sentences {
        assert!(all.contains(s), "wanted {s:?} in\n{all}");
    }
    json
}

/// The clean lot with a rejected film of the first blade, and a second reader who is qualified.
fn rejected() -> Foundry {
    foundry(
        &[
            ("inspections.csv", "IN-01,FV-01,accept\nI4", "IN-01,FV-01,reject\nI4"),
            ("people.csv", "IN-01,inspector\n", "IN-01,inspector\nIN-02,inspector\nIN-03,inspector\n"),
            (
                "qualifications.csv",
                "IN-01,radiograph,2,2033-01-01,2031-01-01\n",
                "IN-01,radiograph,2,2033-01-01,2031-01-01\nIN-02,radiograph,2,2033-01-01,2031-01-01\n",
            ),
        ],
        &[("findings.csv", "inspection,defect,zone\nI3,inclusion,AF\n")],
    )
}

fn read(f: &Foundry, fields: &[&str]) -> crate::support::Answer {
    let words =
        ["log", "inspections", "blade=M31-001-1", "method=radiograph", "technique=RT-1", "instrument=FV-01"];
    f.run_with(&[&words[..], fields].concat())
}

fn accept(f: &Foundry, blade: &str, at: &str) {
    f.run(&format!("log dispositions blade={blade} decided_at={at} decision=accept reason=seen --as QL-01"))
        .done();
}

const LATER: &str = "inspected_at=2031-03-15T00:00:00Z";

#[test]
fn a_later_round_does_not_hide_a_reject() {
    let f = rejected();
    says(&f, &["open finding: rejected in I3 (inclusion AF)"]);
    for (tag, round, person, at) in [("I8", 2, "IN-02", "13"), ("I9", 9, "IN-01", "14")] {
        read(
            &f,
            &[
                &format!("inspection={tag}"),
                &format!("round={round}"),
                &format!("inspected_at=2031-03-{at}T00:00:00Z"),
                &format!("person={person}"),
                "result=accept",
                "--reason",
                "second film",
            ],
        )
        .done();
    }
    let remarks = || f.json("show M31-001-1")["remarks"].to_string();
    assert!(remarks().contains("rejected in I3 by radiograph, and that stands"), "{}", remarks());
    assert!(remarks().contains("older than I9 and does not accept it"), "{}", remarks());
    accept(&f, "M31-001-1", "2031-03-20T00:00:00Z");
    assert!(!remarks().contains("older than"), "{}", remarks());
    assert_eq!(f.json("show M31-001-2")["remarks"], serde_json::json!([]));
    let json = says(&f, &["open finding: rejected in I3"]);
    let films = json["methods"].as_array().unwrap().iter().find(|m| m["method"] == "radiograph").unwrap();
    assert_eq!((&films["accepted_first"], &films["accepted_standing"]), (&1.into(), &1.into()));
    // A reading to compare readers is none of product: it neither rejects nor accepts.
    let f = foundry(&[], &[]);
    read(&f, &["inspection=I8", "round=2", LATER, "person=IN-01", "result=reject", "purpose=overlap"]).done();
    says(&f, &[]);
    // Two rejects of one round: both stand.
    let f = rejected();
    read(&f, &["inspection=I8", "round=1", LATER, "person=IN-02", "result=reject"]).done();
    says(&f, &["rejected in I3", "rejected in I8 (no finding named)"]);
}

#[test]
fn an_accept_of_another_qualified_person_closes_a_reject() {
    let close = [
        "inspection=I8",
        "round=2",
        "closes=I3",
        LATER,
        "person=IN-02",
        "result=accept",
        "note=scratch on the film",
    ];
    let f = rejected();
    read(&f, &close).done();
    // The decision is older than the accept: another one is needed.
    says(&f, &["is older than radiograph inspection I8"]);
    accept(&f, "M31-001-1", "2031-03-16T00:00:00Z");
    says(&f, &[]);
    // What cannot close it is refused where it is written.
    let exchanged = |from: &str, to: &'static str| -> Vec<&str> {
        close.iter().map(|w| if *w == from { to } else { w }).filter(|w| !w.is_empty()).collect()
    };
    let f = rejected();
    for (from, to, why) in [
        (LATER, "inspected_at=2031-03-11T00:00:00Z", "is not earlier than this inspection"),
        ("person=IN-02", "person=IN-01", "another qualified person closes it"),
        ("person=IN-02", "", "fill person"),
        ("note=scratch on the film", "", "fill note"),
        ("result=accept", "result=reject", "is closed by an accept"),
        ("closes=I3", "closes=I4", "not a reject of product"),
        ("closes=I3", "closes=I99", "I99"),
    ] {
        let words = exchanged(from, to);
        let refused = read(&f, &words).fails(2, "closes = ");
        assert!(refused.err.contains(why), "{why}: {}", refused.err);
    }
    let other = f.run_with(&[
        "log",
        "inspections",
        "inspection=I8",
        "blade=M31-001-2",
        "method=radiograph",
        "technique=RT-1",
        "round=2",
        "closes=I3",
        LATER,
        "person=IN-02",
        "result=accept",
        "note=x",
    ]);
    other.fails(2, "is of another blade");
    let other = f.run_with(&[
        "log",
        "inspections",
        "inspection=I8",
        "blade=M31-001-1",
        "method=penetrant",
        "round=2",
        "closes=I3",
        LATER,
        "person=IN-02",
        "result=accept",
        "note=x",
    ]);
    other.fails(2, "is by radiograph, this by penetrant");
    // One who is not qualified is recorded, and does not close it.
    read(&f, &exchanged("person=IN-02", "person=IN-03")).done();
    accept(&f, "M31-001-1", "2031-03-16T00:00:00Z");
    says(&f, &["rejected in I3", "I8 does not close it: IN-03 has no radiograph qualification"]);
    // A correction that closes nothing is refused, and the reject that is closed stays a reject.
    f.run("correct I8 closes=I4 --reason slip").fails(2, "not a reject");
    let f = rejected();
    read(&f, &close).done();
    f.run("correct I3 result=accept --reason misread --as QL-01").fails(2, "I8 closes this reject");
    // By an import too, with its line.
    let f = rejected();
    std::fs::write(
        f.path("inspections.csv"),
        "inspection,blade,method,round,technique,inspected_at,person,instrument,result,closes,note\n\
         I8,M31-001-1,radiograph,2,RT-1,2031-03-15T00:00:00Z,IN-01,FV-01,accept,I3,seen again\n",
    )
    .unwrap();
    let refused = f.run("import inspections.csv --json");
    let fault = &refused.json()["faults"][0];
    assert_eq!((refused.code, &fault["line"], &fault["column"]), (2, &2.into(), &"closes".into()));
}

#[test]
fn rework_sets_the_results_before_it_aside() {
    let f = rejected();
    let rework =
        "log dispositions blade=M31-001-1 decided_at=2031-03-13T00:00:00Z decision=rework --as QL-01";
    f.run(rework).done();
    says(&f, &["in process: the last disposition is rework"]);
    read(&f, &["inspection=I8", "round=2", LATER, "person=IN-01", "result=accept"]).done();
    accept(&f, "M31-001-1", "2031-03-16T00:00:00Z");
    // The film is new; the penetrant of before the rework does not stand.
    let json = says(&f, &["no penetrant inspection since the rework or repair of 2031-03-13"]);
    assert!(!reasons(&json).contains("rejected in I3"));
    // How many were inspected is counted as ever.
    assert_eq!(json["counts"]["inspected"], 2);
    f.run("log inspections inspection=I9 blade=M31-001-1 method=penetrant round=2 technique=PT-1 inspected_at=2031-03-15T01:00:00Z person=IN-01 result=accept").done();
    accept(&f, "M31-001-1", "2031-03-17T00:00:00Z");
    says(&f, &[]);
}

#[test]
fn a_reading_that_was_not_in_order_is_made_good_by_one_that_is() {
    // The first reader is not qualified; a second film by one who is.
    let f = foundry(&[("qualifications.csv", "radiograph,2,2033-01-01", "radiograph,2,2031-03-10")], &[]);
    says(&f, &["reader not qualified that day"]);
    f.run("log people person=IN-02 role=inspector --as QL-01").done();
    f.run("log qualifications person=IN-02 method=radiograph level=2 from_on=2030-01-01 expires_on=2033-01-01 --as QL-01").done();
    for (tag, blade) in [("I8", "M31-001-1"), ("I9", "M31-001-2")] {
        f.run(&format!("log inspections inspection={tag} blade={blade} method=radiograph round=2 technique=RT-1 {LATER} person=IN-02 instrument=FV-01 result=accept")).done();
        accept(&f, blade, "2031-03-16T00:00:00Z");
    }
    says(&f, &[]);
}

#[test]
fn of_several_analyses_the_worst_of_each_element_stands_but_for_those_set_aside() {
    let f = foundry(&[("analysis_values.csv", "AN-2,O,14", "AN-2,O,32")], &[]);
    f.run("log analyses analysis=AN-3 subject=H31-001 purpose=check taken_at=2031-03-05T00:00:00Z").done();
    f.run("log analysis_values analysis=AN-3 element=O value=0.0012 unit=wt%").done();
    says(&f, &["chemistry of H31-001 outside its limits: O 32 ppm"]);
    // Of the subject the worst, of one analysis its own.
    let element = |tag: &str| {
        let answer = f.run(&format!("alloy check {tag} --json"));
        (answer.code, answer.json())
    };
    let (code, worst) = element("H31-001");
    let o = &worst["elements"][0];
    assert_eq!(
        (code, &o["value"], &o["ok"], &o["analysis"]),
        (1, &32.0.into(), &false.into(), &"AN-2".into())
    );
    assert_eq!(
        (&worst["subject"], &worst["analyses"]),
        (&"H31-001".into(), &serde_json::json!(["AN-2", "AN-3"]))
    );
    let (code, own) = element("AN-3");
    assert_eq!((code, &own["elements"][0]["value"], &own["analysis"]), (0, &12.0.into(), &"AN-3".into()));
    // Setting aside: quality only, by a person, with a reason.
    f.run("correct AN-2 set_aside_by=OP-01 set_aside_reason=burnt --reason burnt --as OP-01")
        .fails(1, "quality");
    f.run("correct AN-2 set_aside_by=QL-01 --reason burnt --as QL-01").fails(2, "set_aside_reason");
    f.run("correct AN-2 set_aside_reason=burnt --reason burnt --as QL-01").fails(2, "set_aside_by");
    f.run("correct AN-2 set_aside_by=QL-09 set_aside_reason=burnt --reason burnt --as QL-01")
        .fails(2, "QL-09");
    says(&f, &["O 32 ppm"]);
    f.run_with(&[
        "correct",
        "AN-2",
        "set_aside_by=QL-01",
        "set_aside_reason=sample was burnt",
        "--reason",
        "sample was burnt",
        "--as",
        "QL-01",
    ])
    .done();
    assert_eq!(element("H31-001").1["elements"][0]["value"], 12.0);
    let text = f.run("alloy check H31-001").done().out;
    assert!(text.contains("AN-2 set aside by QL-01: sample was burnt"), "{text}");
    // The analysis that stands is younger in the journal than the decisions: they are made again.
    says(
        &f,
        &["older than analysis AN-3 of H31-001, taken 2031-03-05", "which came into the journal after it"],
    );
    for blade in ["M31-001-1", "M31-001-2"] {
        accept(&f, blade, "2031-03-20T00:00:00Z");
    }
    let json = says(&f, &[]);
    assert!(json["chemistry"].to_string().contains("AN-2 set aside by QL-01"), "{}", json["chemistry"]);
    // All set aside: there is none.
    f.run_with(&[
        "correct",
        "AN-3",
        "set_aside_by=QL-01",
        "set_aside_reason=same sample",
        "--reason",
        "same",
        "--as",
        "QL-01",
    ])
    .done();
    says(&f, &["chemistry of H31-001 absent (AN-2 set aside by QL-01"]);
    // An import may set aside only for quality, and needs both.
    let csv = |fields: &str| {
        std::fs::write(f.path("analyses.csv"), format!("analysis,subject,purpose,taken_at,set_aside_by,set_aside_reason\nAN-9,H31-001,check,2031-03-05T00:00:00Z,{fields}\n")).unwrap();
    };
    csv("QL-01,");
    f.run("import analyses.csv --as QL-01").fails(2, "set_aside_reason");
    csv("QL-01,burnt");
    assert_eq!(f.run("import analyses.csv --as OP-01").code, 1);
    f.run("import analyses.csv --as QL-01").done();
}

#[test]
fn a_decision_older_than_what_came_since_does_not_accept() {
    // By the times of the records: accepted on the 12th, rejected on the 15th. The concession would cover the finding.
    let f = rejected();
    f.run("log concessions concession=CN-1 type=concession part=QB-2207 limits=- granted_at=2031-03-01T00:00:00Z granted_by=QL-01 --as QL-01").done();
    f.run("log concession_items concession=CN-1 covers=defect name=inclusion zone=AF --as QL-01").done();
    let conceded = |at: &str| {
        f.run(&format!(
            "log dispositions blade=M31-001-1 decided_at={at} decision=concession concession=CN-1 --as QL-01"
        ))
        .done();
    };
    conceded("2031-03-13T00:00:00Z");
    says(&f, &[]);
    let reject = |tag: &str, at: &str| {
        read(
            &f,
            &[
                &format!("inspection={tag}"),
                "round=2",
                &format!("inspected_at={at}"),
                "person=IN-02",
                "result=reject",
            ],
        )
        .done();
        f.run(&format!("log findings inspection={tag} defect=inclusion zone=AF")).done();
    };
    reject("I8", "2031-03-15T00:00:00Z");
    let json = says(
        &f,
        &[
            "the disposition of 2031-03-13T00:00:00+00:00 is older than radiograph inspection I8 of 2031-03-15",
        ],
    );
    assert!(!reasons(&json).contains("open finding"));
    conceded("2031-03-16T00:00:00Z");
    says(&f, &[]);
    // By the journal: typed in after the decision with a time before it.
    reject("I9", "2031-03-15T12:00:00Z");
    says(&f, &["is older than radiograph inspection I9", "which came into the journal after it"]);
    conceded("2031-03-17T00:00:00Z");
    says(&f, &[]);
    // A finding that is added to an old inspection is as young as it is.
    f.run("log findings inspection=I3 defect=inclusion item=2 zone=AF").done();
    says(&f, &["is older than radiograph inspection I3"]);
    conceded("2031-03-18T00:00:00Z");
    says(&f, &[]);
    // A correction makes no old record young.
    f.run("correct I8 class=A --reason typing").done();
    says(&f, &[]);
    // Nor does a correction of the decision's reason make it young.
    reject("I10", "2031-03-17T12:00:00Z");
    f.run("correct dispositions:M31-001-1/2031-03-18T00:00:00+00:00 reason=seen --reason typing --as QL-01")
        .done();
    says(&f, &["is older than radiograph inspection I10"]);
}

#[test]
fn an_analysis_of_the_metal_taken_after_the_decision_asks_for_another_one() {
    let f = foundry(&[], &[]);
    f.run("log analyses analysis=AN-3 subject=IL31-01 purpose=check taken_at=2031-03-20T00:00:00Z").done();
    f.run("log analysis_values analysis=AN-3 element=O value=12 unit=ppm").done();
    let json = says(&f, &["the disposition is older than analysis AN-3 of IL31-01, taken 2031-03-20"]);
    assert_eq!(json["blocked"].as_array().unwrap().len(), 2, "a line for each blade");
    accept(&f, "M31-001-1", "2031-03-21T00:00:00Z");
    accept(&f, "M31-001-2", "2031-03-21T00:00:00Z");
    says(&f, &[]);
}

#[test]
fn a_reader_is_qualified_on_a_day_by_some_row_of_theirs() {
    let rows = |text: &str| {
        let f = foundry(
            &[(
                "qualifications.csv",
                "person,method,level,expires_on,eyesight_on\nIN-01,penetrant,2,2033-01-01,2031-01-01\nIN-01,radiograph,2,2033-01-01,2031-01-01\n",
                "person,method,level,from_on,expires_on,eyesight_on\nIN-01,penetrant,2,2030-01-01,2033-01-01,2031-01-01\n",
            )],
            &[],
        );
        for row in text.split('\n').filter(|r| !r.is_empty()) {
            f.run(&format!("log qualifications person=IN-01 method=radiograph level=2 {row} --as QL-01"))
                .done();
        }
        f
    };
    // The films are of 2031-03-11.
    for (text, missing) in [
        ("from_on=2031-03-11 expires_on=2031-03-11", ""),
        ("from_on=2031-03-12 expires_on=2033-01-01", "IN-01's radiograph qualification begins on 2031-03-12"),
        ("from_on=2029-01-01 expires_on=2031-03-10", "expired on 2031-03-10"),
        ("from_on=2025-01-01 expires_on=2030-01-01\nfrom_on=2030-01-02 expires_on=2033-01-01", ""),
        (
            "from_on=2025-01-01 expires_on=2031-03-10\nfrom_on=2031-03-12 expires_on=2033-01-01",
            "expired on 2031-03-10 and begins again on 2031-03-12",
        ),
        (
            "from_on=2030-01-01 expires_on=2033-01-01 eyesight_on=2030-03-10",
            "eyesight was last tested on 2030-03-10",
        ),
        (
            "from_on=2030-01-01 expires_on=2033-01-01 eyesight_on=2030-03-10\nfrom_on=2031-01-01 expires_on=2033-01-01 eyesight_on=2031-01-01",
            "",
        ),
        ("", "has no radiograph qualification on record"),
    ] {
        let sentences: Vec<&str> = [missing].into_iter().filter(|m| !m.is_empty()).collect();
        let json = says(&rows(text), &sentences);
        assert!(!json["open_actions"].to_string().contains("is not recorded; taken"), "{text}");
    }
    // Without a beginning it is taken as since ever, and that is said.
    let json = says(&rows("expires_on=2033-01-01"), &[]);
    let open = json["open_actions"].to_string();
    assert!(open.contains("IN-01's radiograph qualification: its beginning is not recorded"), "{open}");
    rows("").run("log qualifications person=IN-01 method=radiograph level=2 from_on=2033-01-02 expires_on=2033-01-01 --as QL-01").fails(2, "from_on = 2033-01-02");
}

/// The store of schema 3 knows no beginning of a qualification: IN-91's film of 2031-03-10 is the earliest on record.
#[test]
fn a_migrated_qualification_begins_with_the_earliest_inspection_and_says_so() {
    let f = crate::released::old(3);
    let sqlite = |sql: &str| {
        let out = std::process::Command::new("sqlite3").arg(f.store()).arg(sql).output().unwrap();
        String::from_utf8(out.stdout).unwrap()
    };
    let earliest = sqlite(
        "SELECT method || ' ' || date(min(inspected_at >> 12) / 1000, 'unixepoch') FROM inspections WHERE person = 'IN-91' GROUP BY method",
    );
    assert!(!earliest.is_empty());
    f.run("verify").done();
    for method in ["penetrant", "radiograph", "visual"] {
        let day = earliest.lines().find_map(|l| l.strip_prefix(&format!("{method} "))).unwrap_or("");
        let shown = f.json(&format!("show qualifications:IN-91/{method}/{day} --history"));
        let text = shown.to_string();
        let assumed = "from_on assumed: the earliest inspection on record";
        assert_eq!(text.contains(assumed), !day.is_empty(), "{method} {day}: {text}");
    }
    assert_eq!(f.json("verify")["ok"], true);
}
