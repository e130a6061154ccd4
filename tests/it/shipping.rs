//! Blades that go out and come back: what asks for a reason, what stays open, and the second lot.

use serde_json::Value;

use crate::lots::{foundry, reasons};
use crate::support::Foundry;

fn counts(f: &Foundry, lot: &str) -> Value {
    let json = f.run(&format!("lot summary {lot} --json")).json();
    let n = |k: &str| json["counts"][k].as_i64().unwrap();
    let sum: i64 = ["accepted", "concession", "shipped", "returned", "held", "scrapped", "in_process"]
        .iter()
        .map(|k| n(k))
        .sum();
    assert_eq!(n("made"), sum, "{}", json["counts"]);
    json
}

fn shift(f: &Foundry) -> String {
    f.json("shift")["shipping"].to_string()
}

const SEND: &str = "log shipments blade=M31-001-1 shipped_at=2031-03-20T00:00:00Z --as OP-01";

#[test]
fn what_nothing_lets_go_is_sent_with_a_reason_and_stays_open() {
    let scrap =
        ("dispositions.csv", "M31-001-1,2031-03-12T00:00:00Z,accept", "M31-001-1,2031-03-12T00:00:00Z,scrap");
    let rework = (
        "dispositions.csv",
        "M31-001-1,2031-03-12T00:00:00Z,accept",
        "M31-001-1,2031-03-12T00:00:00Z,rework",
    );
    let none = ("dispositions.csv", "M31-001-1,2031-03-12T00:00:00Z,accept,QL-01\n", "");
    for (change, why, word) in [
        (Some(scrap), "it is scrapped", "scrapped"),
        (Some(rework), "it is not decided: its last disposition is rework", "undecided"),
        (Some(none), "it is not decided: it has no disposition", "undecided"),
        (None, "its lot L31-01 is not released", "unreleased"),
    ] {
        let f = foundry(&change.into_iter().collect::<Vec<_>>(), &[]);
        f.run(SEND).fails(2, why);
        assert_eq!(shift(&f), "[]");
        f.run_with(&[&SEND.split(' ').collect::<Vec<_>>()[..], &["--reason", "customer waits"]].concat())
            .done();
        assert!(shift(&f).contains(&format!("L31-01: 1 blade shipped {word}: M31-001-1")), "{}", shift(&f));
        assert!(
            f.json("show M31-001-1")["remarks"].to_string().contains(&format!("it is out, although {why}"))
        );
        let json = counts(&f, "L31-01");
        assert_eq!(json["counts"]["shipped"], 1);
        let said = reasons(&json) + &json["open_actions"].to_string();
        let line =
            if word == "unreleased" { "the lot is not released" } else { "shipped without acceptance" };
        assert!(said.contains(line), "{word}: {said}");
        // In a file the note is asked for.
        std::fs::write(f.path("shipments.csv"), "blade,shipped_at\nM31-001-2,2031-03-20T00:00:00Z\n")
            .unwrap();
        let refused = f.run("import shipments.csv --as QL-01");
        assert!(
            refused.code == 2 && refused.out.clone().contains("say why in the note")
                || refused.err.contains("say why in the note"),
            "{}{}",
            refused.out,
            refused.err
        );
        std::fs::write(
            f.path("shipments.csv"),
            "blade,shipped_at,note\nM31-001-2,2031-03-20T00:00:00Z,urgent\n",
        )
        .unwrap();
        f.run("import shipments.csv --as QL-01").done();
        // It came back: nothing is open any more for it.
        let address = "shipments:M31-001-1/2031-03-20T00:00:00+00:00";
        f.run(&format!("correct {address} returned_at=2031-03-25T00:00:00Z --reason back --as OP-01")).done();
        assert!(!shift(&f).contains("M31-001-1"), "{}", shift(&f));
        assert_eq!(counts(&f, "L31-01")["counts"]["returned"], 1);
    }
}

#[test]
fn a_held_blade_is_sent_with_a_reason_and_a_hold_that_comes_later_is_a_recall() {
    let f = foundry(&[], &[]);
    f.run("lot summary L31-01 --final --as QL-01").done();
    f.run(SEND).done();
    assert_eq!((shift(&f).as_str(), &counts(&f, "L31-01")["state"]), ("[]", &"final".into()));
    f.run("hold M31-001 --reason slag --as OP-01").done();
    assert_eq!(shift(&f), "[]");
    let second = "log shipments blade=M31-001-2 shipped_at=2031-03-21T00:00:00Z --as OP-01";
    f.run(second).fails(2, "it is held");
    f.run(&format!("{second} --reason urgent")).done();
    assert!(shift(&f).contains("1 blade shipped held: M31-001-2"), "{}", shift(&f));
}

#[test]
fn a_scrapped_blade_that_is_sent_makes_the_release_void_until_it_is_back() {
    let f = foundry(
        &[(
            "dispositions.csv",
            "M31-001-1,2031-03-12T00:00:00Z,accept",
            "M31-001-1,2031-03-12T00:00:00Z,scrap",
        )],
        &[],
    );
    f.run("lot summary L31-01 --final --as QL-01").done();
    f.run(&format!("{SEND} --reason mix-up")).done();
    let void = counts(&f, "L31-01");
    assert_eq!(void["state"], "void");
    assert!(reasons(&void).contains("shipped without acceptance"), "{}", reasons(&void));
    let address = "shipments:M31-001-1/2031-03-20T00:00:00+00:00";
    f.run(&format!("correct {address} returned_at=2031-03-25T00:00:00Z --reason back --as OP-01")).done();
    let json = counts(&f, "L31-01");
    assert_eq!((&json["state"], &json["counts"]["returned"]), (&"final".into(), &1.into()));
}

#[test]
fn what_came_back_stays_returned_in_the_signed_lot_and_goes_into_a_new_one() {
    let f = foundry(&[], &[]);
    f.run("lot summary L31-01 --final --as QL-01").done();
    let new = "log lot_blades lot=L31-02 blade=M31-001-1 --as QL-01";
    f.run("log lots lot=L31-02 part=QB-2207@C opened_at=2031-03-26T00:00:00Z --as QL-01").done();
    f.run(new).fails(2, "is in lot L31-01");
    f.run(SEND).done();
    f.run(new).fails(2, "is in lot L31-01");
    let address = "shipments:M31-001-1/2031-03-20T00:00:00+00:00";
    f.run(&format!(
        "correct {address} returned_at=2031-03-25T00:00:00Z return_reason=crack --reason back --as OP-01"
    ))
    .done();
    let json = counts(&f, "L31-01");
    assert_eq!(
        (&json["state"], &json["counts"]["returned"]),
        (&"final".into(), &1.into()),
        "{}",
        json["signed"]
    );
    assert_eq!(f.json("contain M31-001")["totals"]["returned"], 1);
    // It is not sent again as it is.
    let again = "log shipments blade=M31-001-1 shipped_at=2031-03-28T00:00:00Z --as OP-01";
    f.run(again).fails(2, "quality has not decided since");
    // What is recorded on it from now on does not touch the release; what is put in from before does.
    f.run("log inspections inspection=I9 blade=M31-001-1 method=penetrant round=2 technique=PT-1 inspected_at=2031-03-26T00:00:00Z person=IN-01 result=accept --as IN-01").done();
    f.run("log findings inspection=I9 defect=inclusion zone=AF --as IN-01").done();
    f.run("log dispositions blade=M31-001-1 decided_at=2031-03-27T00:00:00Z decision=accept --as QL-01")
        .done();
    let json = counts(&f, "L31-01");
    assert_eq!(
        (&json["state"], &json["counts"]["returned"]),
        (&"final".into(), &1.into()),
        "{}",
        json["signed"]
    );
    assert_eq!(json["after_shipment"].as_array().unwrap().len(), 3, "{}", json["after_shipment"]);
    // Nor does what only those refer to: an instrument that came later, and failed its check.
    f.run("log instruments instrument=FV-9 kind=viewer --as QL-01").done();
    f.run("log inspections inspection=I11 blade=M31-001-1 method=visual round=2 inspected_at=2031-03-26T12:00:00Z person=IN-01 instrument=FV-9 result=accept --as IN-01").done();
    f.run("log calibrations instrument=FV-9 checked_at=2031-03-26T00:00:00Z check=calibration result=good --as QL-01").done();
    f.run("correct FV-9 description=x --reason y --as QL-01").done();
    assert_eq!(counts(&f, "L31-01")["state"], "final", "{}", counts(&f, "L31-01")["signed"]);
    // Accepted again after it was read again, it is not released again: the old lot has it as returned.
    f.run("log dispositions blade=M31-001-1 decided_at=2031-03-28T00:00:00Z decision=accept --as QL-01")
        .done();
    assert_eq!(f.json("contain M31-001")["totals"]["accepted"], 2);
    f.run(new).done();
    let json = counts(&f, "L31-02");
    assert_eq!(
        (&json["state"], &json["counts"]["accepted"]),
        (&"draft".into(), &1.into()),
        "{}",
        json["blocked"]
    );
    f.run(again).fails(2, "its lot L31-02 is not released");
    assert_eq!(f.json("lot summary L31-02 --final --as QL-01")["state"], "final");
    f.run(again).done();
    assert_eq!(shift(&f), "[]");
    let (old, new) = (counts(&f, "L31-01"), counts(&f, "L31-02"));
    assert_eq!(
        (&old["state"], &old["counts"]["returned"], &old["counts"]["shipped"]),
        (&"final".into(), &1.into(), &0.into())
    );
    assert_eq!((&new["state"], &new["counts"]["shipped"]), (&"final".into(), &1.into()));
    // Both lots go out and come into another store.
    f.run("export out").done();
    let other = Foundry::new();
    other.run_with(&["import", f.path("out").to_str().unwrap()]).done();
    other.run("export out").done();
    for name in ["lot_blades", "shipments"] {
        let read = |f: &Foundry| std::fs::read_to_string(f.path(&format!("out/{name}.csv"))).unwrap();
        assert_eq!(read(&f), read(&other), "{name}");
    }
    // A film that was read before it went out, and is entered now, is behind the release.
    f.run("log inspections inspection=I10 blade=M31-001-1 method=visual round=1 inspected_at=2031-03-10T00:00:00Z person=IN-01 result=reject --reason found --as IN-01").done();
    assert_eq!(counts(&f, "L31-01")["state"], "void");
}

/// A signed lot of which one blade went out, came back and was accepted (or not) again.
fn back_again(decision: &str) -> Foundry {
    let f = foundry(&[], &[]);
    f.run("lot summary L31-01 --final --as QL-01").done();
    f.run(SEND).done();
    let address = "shipments:M31-001-1/2031-03-20T00:00:00+00:00";
    f.run(&format!("correct {address} returned_at=2031-03-25T00:00:00Z --reason back --as OP-01")).done();
    f.run(&format!(
        "log dispositions blade=M31-001-1 decided_at=2031-03-27T00:00:00Z decision={decision} --as QL-01"
    ))
    .done();
    f
}

const AGAIN: &str = "log shipments blade=M31-001-1 shipped_at=2031-03-28T00:00:00Z --as OP-01";

fn import_shipments(f: &Foundry, text: &str) -> String {
    std::fs::write(f.path("shipments.csv"), text).unwrap();
    let answer = f.run("import shipments.csv --as QL-01");
    format!("{} {}{}", answer.code, answer.out, answer.err)
}

#[test]
fn accepted_again_without_a_new_lot_is_not_released_again() {
    let f = back_again("accept");
    f.run(AGAIN).fails(2, "it came back after its lot L31-01 was released, and is in no new lot");
    let said = import_shipments(
        &f,
        "blade,shipped_at,note\nM31-001-1,2031-03-28T00:00:00Z,\nM31-001-2,2031-03-28T00:00:00Z,\n",
    );
    assert!(said.starts_with('2') && said.contains("say why in the note"), "{said}");
    assert!(said.contains("M31-001-1") && !said.contains("M31-001-2"), "{said}");
    assert_eq!(shift(&f), "[]");
    let said = import_shipments(&f, "blade,shipped_at,note\nM31-001-1,2031-03-28T00:00:00Z,they wait\n");
    assert!(said.starts_with('0'), "{said}");
    let line = "L31-01: 1 blade shipped again after its return, in no new lot: M31-001-1";
    assert!(shift(&f).contains(line), "{}", shift(&f));
    let open = "shipped again after its return, in no new lot: M31-001-1";
    let later = "M31-001-1: shipped again at 2031-03-28T00:00:00+00:00, after its return and in no new lot";
    let json = counts(&f, "L31-01");
    assert!(json["open_actions"].to_string().contains(open), "{}", json["open_actions"]);
    assert!(json["after_shipment"].to_string().contains(later), "{}", json["after_shipment"]);
    assert_eq!((&json["state"], &json["counts"]["returned"]), (&"final".into(), &1.into()));
    assert!(f.json("show M31-001-1")["remarks"].to_string().contains("in no new lot"));
    // It is open until it is back, or quality decides after that.
    let closed = |f: &Foundry| {
        let json = counts(f, "L31-01");
        assert_eq!(shift(f), "[]");
        assert!(!json["open_actions"].to_string().contains(open), "{}", json["open_actions"]);
        assert!(json["after_shipment"].to_string().contains(later), "{}", json["after_shipment"]);
    };
    f.run("log dispositions blade=M31-001-1 decided_at=2031-03-29T00:00:00Z decision=accept --as QL-01")
        .done();
    closed(&f);
    let f = back_again("accept");
    f.run_with(&[&AGAIN.split(' ').collect::<Vec<_>>()[..], &["--reason", "they wait"]].concat()).done();
    assert!(shift(&f).contains(line), "{}", shift(&f));
    let address = "shipments:M31-001-1/2031-03-28T00:00:00+00:00";
    f.run(&format!("correct {address} returned_at=2031-03-30T00:00:00Z --reason back --as OP-01")).done();
    closed(&f);
}

#[test]
fn sent_again_after_it_was_scrapped_stands_in_the_old_lot() {
    let f = back_again("scrap");
    f.run(&format!("{AGAIN} --reason mix-up")).done();
    assert!(shift(&f).contains("1 blade shipped scrapped: M31-001-1"), "{}", shift(&f));
    let json = counts(&f, "L31-01");
    assert!(
        json["after_shipment"].to_string().contains("M31-001-1: shipped again at 2031-03-28"),
        "{}",
        json["after_shipment"]
    );
    assert!(json["open_actions"].to_string().contains("shipped again"), "{}", json["open_actions"]);
}

#[test]
fn a_blade_that_is_out_is_sent_again_with_a_reason() {
    let f = foundry(&[], &[]);
    f.run("lot summary L31-01 --final --as QL-01").done();
    f.run(SEND).done();
    let second = "log shipments blade=M31-001-1 shipped_at=2031-03-21T00:00:00Z --as OP-01";
    f.run(second).fails(2, "it is out by the shipment of 2031-03-20T00:00:00+00:00");
    let said = import_shipments(&f, "blade,shipped_at\nM31-001-1,2031-03-21T00:00:00Z\n");
    assert!(said.starts_with('2') && said.contains("it is out by the shipment of 2031-03-20"), "{said}");
    // Twice in one file.
    let said = import_shipments(
        &f,
        "blade,shipped_at\nM31-001-2,2031-03-20T00:00:00Z\nM31-001-2,2031-03-21T00:00:00Z\n",
    );
    assert!(said.starts_with('2') && said.contains("it is out by the shipment of 2031-03-20"), "{said}");
    f.run(&format!("{second} --reason box")).done();
}

#[test]
fn nothing_comes_back_before_it_was_sent() {
    let f = foundry(&[], &[]);
    f.run("lot summary L31-01 --final --as QL-01").done();
    let why = "returned_at is before shipped_at";
    f.run(&format!("{SEND} returned_at=2031-03-19T23:59:59Z")).fails(2, why);
    let said = import_shipments(
        &f,
        "blade,shipped_at,returned_at\nM31-001-1,2031-03-20T00:00:00Z,2031-03-19T00:00:00Z\n",
    );
    assert!(said.starts_with('2') && said.contains(why), "{said}");
    f.run(SEND).done();
    let address = "shipments:M31-001-1/2031-03-20T00:00:00+00:00";
    // An hour of another zone is no matter: this is a quarter of an hour later.
    f.run(&format!("correct {address} returned_at=2031-03-20T01:10:00+02:00 --reason back --as OP-01"))
        .fails(2, why);
    f.run(&format!("correct {address} returned_at=2031-03-20T02:15:00+02:00 --reason back --as OP-01"))
        .done();
}
