//! A hold or a rejection is lifted by quality, with a reason; by whatever way somebody else would, it is a proposal.

use serde_json::{Value, json};

use crate::support::{Answer, Foundry};

fn small() -> Foundry {
    let f = Foundry::small();
    f.run("log inspections inspection=I9 blade=M31-002-2 method=dimensional round=1 inspected_at=2031-03-10T00:00:00Z result=reject --as OP-01").done();
    f.run("log measurements inspection=I9 characteristic=chord value=10.4 unit=mm lower=10 upper=10.2 --as OP-01").done();
    f.run("log measurements inspection=I2 characteristic=chord value=10.4 unit=mm lower=10 upper=10.2 --as OP-01").done();
    f
}

/// Kept as a proposal: exit 0, said in JSON, and the record is as it was. Gives its number.
#[track_caller]
fn proposed(f: &Foundry, words: &str, record: &str) -> i64 {
    let before = f.json(&format!("show {record}"));
    let answer = f.run(&format!("{words} --json")).done().json();
    assert_eq!(answer["proposal"], json!(true), "{words}: {answer}");
    assert!(answer["frees"].as_array().is_some_and(|a| !a.is_empty()), "{words}: {answer}");
    assert_eq!(f.json(&format!("show {record}"))["record"], before["record"], "{words}");
    let entry = answer["entry"].as_i64().unwrap();
    let listed = f.json("proposals");
    let last = listed["proposals"].as_array().unwrap().last().unwrap().clone();
    assert_eq!(last["entry"], json!(entry), "{words}: {listed}");
    assert!(f.json("shift")["proposals"].as_array().unwrap().contains(&last), "{words}");
    entry
}

fn held(f: &Foundry, blade: &str) -> Value {
    f.json(&format!("show {blade}"))["held"].clone()
}

#[test]
fn a_rejection_is_not_softened_by_anybody() {
    let f = small();
    for change in
        ["result=accept", "purpose=study", "blade=M31-001-2", "method=visual", "round=2", "purpose=overlap"]
    {
        proposed(&f, &format!("correct I1 {change} --reason slip --as OP-01"), "I1");
    }
    // Nobody named proposes too. A note, a person, a class is anybody's.
    proposed(&f, "correct I1 result=accept --reason slip", "I1");
    f.run("correct I1 note=seen class=2 --reason r --as OP-01").done();
    assert_eq!(f.json("show I1")["record"]["class"], "2");
    // Blank is product: to say so changes nothing about it.
    f.run("correct I1 purpose=product --reason r --as OP-01").done();
    // An accepting one is corrected by anybody, also into a rejection.
    f.run("correct I3 result=reject --reason r --as OP-01").done();
    for (address, change) in [
        ("findings:I1/inclusion/1", "zone=RT"),
        ("findings:I1/inclusion/1", "inspection=I2"),
        ("findings:I1/inclusion/1", "defect=misrun"),
        ("measurements:I9/chord", "value=10.41"),
        ("measurements:I9/chord", "upper=11"),
    ] {
        proposed(&f, &format!("correct {address} {change} --reason slip --as OP-01"), address);
    }
    f.run("correct findings:I1/inclusion/1 note=seen --reason r --as OP-01").done();
    // A value from outside its limit to inside it, on an accepting inspection too; from outside to outside not.
    let at = "measurements:I2/chord";
    for change in ["value=10.1", "upper=10.5", "value=<10"] {
        proposed(&f, &format!("correct {at} {change} --reason slip --as OP-01"), at);
    }
    f.run(&format!("correct {at} value=10.5 --reason r --as OP-01")).done();
    // Quality does it.
    f.run("correct I1 result=accept --reason mistyped --as QL-01").done();
    assert_eq!(f.json("show I1")["record"]["result"], "accept");
    assert_eq!(f.json("verify")["ok"], true);
}

#[test]
fn a_value_of_an_analysis_is_not_brought_inside_its_limit_by_anybody() {
    let f = small();
    std::fs::write(
        f.path("alloy_limits.csv"),
        "alloy,element,max,unit\nQA-713/3,O,30,ppm\nQA-713/3,Al,6.2,wt%\n",
    )
    .unwrap();
    f.run("import alloy_limits.csv --as QL-01").done();
    f.run(
        "log analyses analysis=AN-1 subject=H31-001 purpose=check taken_at=2031-03-05T00:00:00Z --as OP-01",
    )
    .done();
    f.run("log analysis_values analysis=AN-1 element=O value=45 unit=ppm --as OP-01").done();
    f.run("log analysis_values analysis=AN-1 element=Al value=6 unit=wt% --as OP-01").done();
    let o = "analysis_values:AN-1/O";
    // 45 ppm is 0.0045 wt%: the unit alone brings it inside too.
    for change in ["value=15", "value=<15", "value=0.002 unit=wt%"] {
        proposed(&f, &format!("correct {o} {change} --reason slip --as OP-01"), o);
    }
    f.run(&format!("correct {o} value=46 --reason r --as OP-01")).done();
    f.run(&format!("correct {o} value=0.0044 unit=wt% --reason r --as OP-01")).done();
    f.run("correct analysis_values:AN-1/Al value=6.1 --reason r --as OP-01").done();
    // The analysis moved to another heat, the heat made of another alloy.
    f.run("log alloys alloy=OTHER --as QL-01").done();
    proposed(&f, "correct H31-001 alloy=OTHER --reason slip --as OP-01", "H31-001");
    // Limits are quality's.
    f.run("correct alloy_limits:QA-713/3/O max=99 --reason r --as OP-01").fails(1, "is for quality");
    assert_eq!(f.json("verify")["ok"], true);
}

#[test]
fn nothing_leaves_an_open_hold_by_a_correction() {
    let f = small();
    f.run("hold H31-001 --reason crack --as OP-01").done();
    assert_eq!(held(&f, "M31-001-2"), json!(true));
    // The pour to another heat; the blade to another mould. (H31-002 took revert of H31-001 and is held too.)
    f.run("log heats heat=H31-003 alloy=QA-713/3 furnace=F1 --as OP-01").done();
    f.run("log moulds mould=M31-009 part=QB-2207 running_system=RS-1 assembled_at=2031-02-10T00:00:00Z --as OP-01").done();
    f.run("correct pours:M31-001 heat=H31-002 --reason r --as OP-01").done();
    f.run("correct pours:M31-001 heat=H31-001 --reason r --as OP-01").done();
    proposed(&f, "correct pours:M31-001 heat=H31-003 --reason slip --as OP-01", "pours:M31-001");
    proposed(&f, "correct M31-001-2 mould=M31-009 --reason slip --as OP-01", "M31-001-2");
    assert_eq!(held(&f, "M31-001-2"), json!(true));
    // H31-002 took revert of it: the source of the revert, the charge of the revert.
    assert_eq!(held(&f, "M31-002-2"), json!(true));
    proposed(
        &f,
        "correct revert_sources:RV31-01/H31-001 heat=H31-003 --reason slip --as OP-01",
        "revert_sources:RV31-01/H31-001",
    );
    proposed(
        &f,
        "correct charges:H31-002/RV31-01/1 source=IL31-01 --reason slip --as OP-01",
        "charges:H31-002/RV31-01/1",
    );
    // What moves nothing out is done.
    f.run("correct pours:M31-001 indicated_c=1481 --reason r --as OP-01").done();
    f.run("correct charges:H31-002/IL31-02/1 source=IL31-01 --reason r --as OP-01").done();
    // A wax lot: its pattern run's blades, and so their mould whole.
    f.run("log wax_lots wax_lot=WX-1 grade=g received_at=2031-01-01T00:00:00Z --as OP-01").done();
    f.run("log wax_lots wax_lot=WX-2 grade=g received_at=2031-01-01T00:00:00Z --as OP-01").done();
    f.run("log pattern_runs pattern_run=PR-1 wax_lot=WX-1 part=QB-2207 die=D injected_at=2031-02-01T00:00:00Z --as OP-01").done();
    f.run("correct M31-002-1 pattern_run=PR-1 --reason r --as OP-01").done();
    f.run("lift H31-001 --reason seen --as QL-01").done();
    f.run("hold WX-1 --reason stones --as OP-01").done();
    assert_eq!(held(&f, "M31-002-2"), json!(true), "the mould stands below the wax of its other blade");
    proposed(&f, "correct PR-1 wax_lot=WX-2 --reason slip --as OP-01", "PR-1");
    proposed(&f, "correct M31-002-1 mould=M31-009 --reason slip --as OP-01", "M31-002-1");
    proposed(&f, "correct M31-002-1 pattern_run= --reason slip --as OP-01", "M31-002-1");
    // Quality does it, and the blade is free.
    f.run("correct PR-1 wax_lot=WX-2 --reason mistyped --as QL-01").done();
    assert_eq!(held(&f, "M31-002-2"), json!(false));
    assert_eq!(f.json("verify")["ok"], true);
}

#[test]
fn a_blade_does_not_leave_a_held_lot() {
    let f = small();
    f.run("log lots lot=L-2 part=QB-2207 opened_at=2031-03-01T00:00:00Z --as OP-01").done();
    f.run("hold L31-01 --reason wait --as OP-01").done();
    let row = "lot_blades:L31-01/M31-001-2";
    proposed(&f, &format!("correct {row} lot=L-2 --reason slip --as OP-01"), row);
    f.run("log lot_blades lot=L31-01 blade=M31-002-2 --as OP-01").done();
    assert_eq!(held(&f, "M31-002-2"), json!(true));
    proposed(&f, "undo --as OP-01", "lot_blades:L31-01/M31-002-2");
    f.run(&format!("correct {row} lot=L-2 --reason mistyped --as QL-01")).done();
    assert_eq!(held(&f, "M31-001-2"), json!(false));
}

#[test]
fn a_hold_on_an_instrument_is_not_left_by_a_check() {
    let f = small();
    f.run("hold PYR-02 --reason drifts --as OP-01").done();
    assert_eq!(held(&f, "M31-002-2"), json!(true));
    let failed = "calibrations:PYR-02/2031-03-09T00:00:00+00:00";
    proposed(&f, &format!("correct {failed} result=good --reason slip --as OP-01"), failed);
    proposed(&f, "correct pours:M31-002 pyrometer= --reason slip --as OP-01", "pours:M31-002");
    proposed(
        &f,
        "correct pours:M31-002 poured_at=2031-03-04T10:00:00Z --reason slip --as OP-01",
        "pours:M31-002",
    );
    // A later entry of an earlier check would free it as well: logged or imported.
    let good = "calibrations instrument=PYR-02 checked_at=2031-03-07T00:00:00Z check=cross_check result=good";
    let answer = f.run(&format!("log {good} --as OP-01 --json")).done().json();
    assert_eq!(answer["proposal"], json!(true), "{answer}");
    std::fs::write(
        f.path("calibrations.csv"),
        "instrument,checked_at,check,result\nPYR-02,2031-03-07T00:00:00Z,cross_check,good\nPYR-02,2031-03-20T00:00:00Z,cross_check,good\n",
    )
    .unwrap();
    let imported = f.json("import calibrations.csv --as OP-01");
    assert_eq!((&imported["proposal"], &imported["proposals"]), (&json!(true), &json!(1)), "{imported}");
    assert_eq!(imported["records"], json!({"calibrations": 1}));
    assert_eq!(held(&f, "M31-002-2"), json!(true));
    assert_eq!(f.json("verify")["ok"], true);
}

#[test]
fn taking_a_hold_or_a_rejection_back_is_a_lift() {
    let f = small();
    f.run("hold H31-001 --reason crack --as OP-01").done();
    let hold = f.json("shift")["holds"][0]["hold"].as_str().unwrap().to_string();
    // The placer too.
    let answer = f.json("undo --as OP-01");
    assert_eq!((&answer["proposal"], answer["undone"].as_str()), (&json!(true), Some(hold.as_str())));
    assert_eq!(held(&f, "M31-001-2"), json!(true));
    // The proposal is their last entry now, and may be withdrawn.
    f.run("undo --as OP-01").done();
    assert_eq!(f.json("proposals")["proposals"], json!([]));
    for (log, record) in [
        (
            "inspections inspection=I7 blade=M31-001-2 method=visual round=1 inspected_at=2031-03-10T00:00:00Z result=reject",
            "I7",
        ),
        ("findings inspection=I1 defect=misrun", "findings:I1/misrun/1"),
        ("measurements inspection=I1 characteristic=span value=3 unit=mm", "measurements:I1/span"),
    ] {
        f.run(&format!("log {log} --as OP-01")).done();
        proposed(&f, "undo --as OP-01", record);
        f.run("undo --as OP-01").done();
    }
    // Quality: with a reason, that can be read.
    f.run("hold H31-002 --reason crack --as QL-01").done();
    f.run("undo --as QL-01").fails(2, "a lift has a reason");
    f.run_with(&["undo", "--reason", "\u{200b} ", "--as", "QL-01"]).fails(2, "a lift has a reason");
    f.run("undo --reason mistaken --as QL-01").done();
    assert_eq!(f.json("shift")["holds"].as_array().unwrap().len(), 1);
    assert_eq!(f.json("verify")["ok"], true);
}

#[test]
fn a_lift_has_a_reason_that_can_be_read() {
    let f = small();
    f.run("hold H31-001 --reason crack --as OP-01").done();
    let hold = f.json("shift")["holds"][0]["hold"].as_str().unwrap().to_string();
    for blank in ["", "  ", "\t", "\u{200b}", "\u{200d}\u{2060}", "\u{3164}", "\u{00ad}", "\u{e0041}"] {
        f.run_with(&["lift", &hold, "--reason", blank, "--as", "QL-01"]).fails(2, "can be read");
        f.run_with(&["hold", "H31-002", "--reason", blank]).fails(2, "can be read");
        let change = format!("lifted_reason={blank}");
        f.run_with(&[
            "correct",
            &hold,
            "lifted_at=2031-04-01T00:00:00Z",
            &change,
            "--reason",
            "r",
            "--as",
            "QL-01",
        ])
        .fails(2, "can be read");
        let log = ["log", "holds", "subject=H31-002", "placed_at=2031-03-30T00:00:00Z", "reason=r"];
        let lifted = ["lifted_at=2031-03-31T00:00:00Z", &change, "--as", "QL-01"];
        f.run_with(&[&log[..], &lifted[..]].concat()).fails(2, "can be read");
    }
    f.run_with(&["lift", &hold, "--reason", "gesehen ✓", "--as", "QL-01"]).done();
    assert_eq!(held(&f, "M31-001-2"), json!(false));
}

#[test]
fn a_proposal_is_decided_by_quality_and_only_while_the_record_is_as_it_was() {
    let f = small();
    let first = proposed(&f, "correct I1 result=accept --reason slip --as OP-01", "I1");
    let second = proposed(&f, "correct I1 round=2 --reason slip --as OP-01", "I1");
    let refused = |answer: Answer| answer.fails(1, "deciding a proposal is for quality");
    refused(f.run(&format!("decide {first} --accept --reason ok --as OP-01")));
    refused(f.run(&format!("decide {first} --accept --reason ok")));
    f.run(&format!("decide {first} --accept --reason  --as QL-01")).fails(2, "has a reason");
    f.run("decide 1 --accept --reason ok --as QL-01").fails(2, "is not an open proposal");
    assert_eq!(f.run(&format!("decide {first} --reason ok --as QL-01")).code, 2);
    let done = f.json(&format!("decide {first} --accept --reason mistyped --as QL-01"));
    assert_eq!(done["accepted"], json!(true));
    assert_eq!(f.json("show I1")["record"]["result"], "accept");
    // The other one was made of another record.
    f.run(&format!("decide {second} --accept --reason ok --as QL-01")).fails(2, "was changed since");
    f.run(&format!("decide {second} --decline --reason no --as QL-01")).done();
    f.run(&format!("decide {second} --decline --reason no --as QL-01")).fails(2, "is not an open proposal");
    assert_eq!(f.json("proposals")["proposals"], json!([]));
    // A record that is taken back by proposal.
    f.run("log findings inspection=I9 defect=misrun --as OP-01").done();
    let third = proposed(&f, "undo --as OP-01", "findings:I9/misrun/1");
    f.run(&format!("decide {third} --accept --reason doubled --as QL-01")).done();
    assert!(f.run("show findings:I9/misrun/1").done().out.contains("this record was undone"));
    let history = f.json("show I1 --history")["history"].to_string();
    for action in ["propose", "accept", "decline", "correct"] {
        assert!(history.contains(&format!("\"{action}\"")), "{action}: {history}");
    }
    assert_eq!(f.json("verify")["ok"], true);
}

/// What a hold lies on cannot vanish from under it.
#[test]
fn a_held_record_is_not_taken_back() {
    let f = small();
    f.run("log heats heat=H31-009 alloy=QA-713/3 furnace=F1 --as QL-01").done();
    f.run("hold H31-009 --reason look --as OP-01").done();
    f.run("undo --reason mistaken --as QL-01").fails(2, "cannot be taken back");
    assert_eq!(f.json("verify")["ok"], true);
}
