//! Ways out of what blocks a lot without any hold: each was found by trying. By anybody but quality it is a proposal, and
//! what blocked goes on blocking.

use serde_json::Value;

use crate::lots::{foundry, reasons};
use crate::support::Foundry;

const FAILED: (&str, &str, &str) = (
    "calibrations.csv",
    "FV-01,2031-03-01T00:00:00Z,calibration,good,2031-09-01T00:00:00Z\n",
    "FV-01,2031-03-01T00:00:00Z,calibration,good,2031-09-01T00:00:00Z\nFV-01,2031-03-15T00:00:00Z,cross_check,failed,\n",
);

fn blocked(f: &Foundry) -> (Value, String) {
    let lot = f.run("lot summary L31-01 --json").json();
    (lot["state"].clone(), reasons(&lot))
}

/// Each call is only a proposal for the operator, and nothing of the lot changes; quality may.
#[track_caller]
fn only_proposed(f: &Foundry, why: &str, calls: &[&str]) {
    let before = blocked(f);
    assert!(before.1.contains(why), "{}", before.1);
    for call in calls {
        let answer = f.run(&format!("{call} --as OP-01 --json")).done().json();
        assert_eq!(answer["proposal"], true, "{call}: {answer}");
    }
    assert_eq!(blocked(f), before);
    for call in calls {
        let answer = f.run(&format!("{call} --as QL-01 --json")).done().json();
        assert_ne!(answer["proposal"], true, "{call}: {answer}");
    }
    assert!(!blocked(f).1.contains(why), "{}", blocked(f).1);
    f.run("verify").done();
}

#[test]
fn a_good_check_is_not_put_in_before_a_failed_one() {
    let f = foundry(&[FAILED], &[]);
    let call = "log calibrations instrument=FV-01 checked_at=2031-03-12T00:00:00Z check=cross_check result=good --reason late";
    only_proposed(&f, "FV-01 is suspect", &[call]);
}

#[test]
fn a_failed_check_is_not_said_to_be_missed() {
    let f = foundry(&[FAILED], &[]);
    let at = "correct calibrations:FV-01/2031-03-15T00:00:00+00:00";
    only_proposed(&f, "FV-01 is suspect", &[&format!("{at} result=not_done --reason slip")]);
}

#[test]
fn a_suspect_reading_keeps_its_instrument_and_its_time() {
    let f = foundry(&[FAILED], &[]);
    let off = ["correct I3 instrument= --reason slip", "correct I4 instrument= --reason slip"];
    only_proposed(&f, "FV-01 is suspect", &off);
    let f = foundry(&[FAILED], &[]);
    let earlier =
        ["I3", "I4"].map(|i| format!("correct {i} inspected_at=2031-02-28T00:00:00Z --reason slip"));
    for call in &earlier {
        // Before its first check an instrument has none: no better than suspect, so it is only put right.
        assert_eq!(f.run(&format!("{call} --as OP-01 --json")).done().json()["proposal"], Value::Null);
    }
    assert!(blocked(&f).1.contains("FV-01 has no check on record before it was used"), "{}", blocked(&f).1);
}

#[test]
fn a_pour_does_not_change_its_heat_out_of_bad_metal() {
    let f = foundry(
        &[
            ("analysis_values.csv", "AN-2,O,14,ppm\n", "AN-2,O,40,ppm\nAN-3,O,10,ppm\n"),
            (
                "analyses.csv",
                "AN-2,H31-001,check,2031-03-04T12:00:00Z\n",
                "AN-2,H31-001,check,2031-03-04T12:00:00Z\nAN-3,H31-002,check,2031-03-04T12:00:00Z\n",
            ),
            (
                "heats.csv",
                "H31-001,QA-713/3,F1,2031-03-04T09:00:00Z\n",
                "H31-001,QA-713/3,F1,2031-03-04T09:00:00Z\nH31-002,QA-713/3,F1,2031-03-04T08:00:00Z\n",
            ),
            ("charges.csv", "H31-001,IL31-01,11\n", "H31-001,IL31-01,11\nH31-002,IL31-01,11\n"),
        ],
        &[],
    );
    only_proposed(
        &f,
        "chemistry of H31-001 outside its limits",
        &["correct pours:M31-001 heat=H31-002 --reason typed_wrong"],
    );
}

#[test]
fn an_element_outside_its_limit_keeps_its_name() {
    let f = foundry(&[("analysis_values.csv", "AN-1,O,12", "AN-1,O,40")], &[]);
    let before = blocked(&f);
    let answer =
        f.run("correct analysis_values:AN-1/O element=o2 --reason slip --as OP-01 --json").done().json();
    assert_eq!(answer["proposal"], true, "{answer}");
    assert_eq!(blocked(&f), before);
}

#[test]
fn a_film_keeps_its_reader() {
    let f = foundry(
        &[("inspections.csv", "2031-03-11T00:00:00Z,IN-01,FV-01", "2031-03-11T00:00:00Z,OP-01,FV-01")],
        &[],
    );
    let calls = ["correct I3 person=IN-01 --reason typed_for", "correct I4 person=IN-01 --reason typed_for"];
    only_proposed(&f, "reader not qualified that day", &calls);
}

#[test]
fn an_analysis_outside_its_limits_stays_that_of_its_metal() {
    let f = foundry(
        &[
            ("analysis_values.csv", "AN-2,O,14,ppm\n", "AN-2,O,14,ppm\nAN-4,O,40,ppm\n"),
            (
                "analyses.csv",
                "AN-2,H31-001,check,2031-03-04T12:00:00Z\n",
                "AN-2,H31-001,check,2031-03-04T12:00:00Z\nAN-4,H31-001,check,2031-03-04T13:00:00Z\n",
            ),
            (
                "heats.csv",
                "H31-001,QA-713/3,F1,2031-03-04T09:00:00Z\n",
                "H31-001,QA-713/3,F1,2031-03-04T09:00:00Z\nH31-002,QA-713/3,F1,2031-03-04T08:00:00Z\n",
            ),
        ],
        &[],
    );
    only_proposed(
        &f,
        "chemistry of H31-001 outside its limits",
        &["correct AN-4 subject=H31-002 --reason mixed_up"],
    );
}

#[test]
fn what_does_not_fit_is_not_made_to_fit_by_a_correction() {
    // 11 kg are charged of a lot of 5 kg; and the lot is of another alloy.
    let f = foundry(
        &[
            ("ingot_lots.csv", "2031-01-01T00:00:00Z,500", "2031-01-01T00:00:00Z,5"),
            ("ingot_lots.csv", "mass_kg\n", "mass_kg,note\n"),
            ("ingot_lots.csv", ",5\n", ",5,as weighed\n"),
            ("charges.csv", "mass_kg\nH31-001,IL31-01,11\n", "mass_kg,note\nH31-001,IL31-01,11,as weighed\n"),
        ],
        &[],
    );
    only_proposed(&f, "IL31-01", &["correct IL31-01 mass_kg=500 --reason typed_wrong"]);
    let other = (
        "alloys.csv",
        "QA-713/3,,1288,QL-01,2030-01-01\n",
        "QA-713/3,,1288,QL-01,2030-01-01\nQA-9,,1290,QL-01,2030-01-01\n",
    );
    let f = foundry(
        &[
            other,
            ("ingot_lots.csv", "mass_kg\nIL31-01,QA-713/3,", "mass_kg,note\nIL31-01,QA-9,"),
            ("ingot_lots.csv", ",500\n", ",500,as bought\n"),
            (
                "charges.csv",
                "mass_kg\nH31-001,IL31-01,11\n",
                "mass_kg,note\nH31-001,IL31-01,11,taken by mistake\n",
            ),
        ],
        &[],
    );
    let before = blocked(&f);
    assert!(before.1.contains("QA-9"), "{}", before.1);
    let answer = f.run("correct IL31-01 use=addition --reason slip --as OP-01 --json").done().json();
    assert_eq!(answer["proposal"], true, "{answer}");
    assert_eq!(blocked(&f), before);
}

#[test]
fn whoever_rejected_by_any_method_stays_so() {
    let reject = (
        "inspections.csv",
        "I1,M31-001-1,penetrant,1,PT-1,2031-03-10T00:00:00Z,IN-01,,accept",
        "I1,M31-001-1,visual,1,,2031-03-10T00:00:00Z,IN-01,,reject",
    );
    let f = foundry(&[reject], &[]);
    let calls = ["correct I1 person=OP-01 --reason typed_for", "correct I1 person= --reason typed_for"];
    for call in calls {
        let answer = f.run(&format!("{call} --as OP-01 --json")).done().json();
        assert_eq!(answer["proposal"], true, "{call}: {answer}");
    }
    assert!(f.run("show I1").out.contains("IN-01"));
    // Who rejected, where nobody was named, is said by quality too: whoever it was may not close it.
    let f = foundry(&[(reject.0, reject.1, "I1,M31-001-1,grain,1,,2031-03-10T00:00:00Z,,,reject")], &[]);
    let answer = f.run("correct I1 person=OP-01 --reason late --as OP-01 --json").done().json();
    assert_eq!(answer["proposal"], true, "{answer}");
    // An accept by eye is anybody's to put right.
    let f =
        foundry(&[(reject.0, reject.1, "I1,M31-001-1,visual,1,,2031-03-10T00:00:00Z,IN-01,,accept")], &[]);
    let answer = f.run("correct I1 person=OP-01 --reason typed_for --as OP-01 --json").done().json();
    assert_ne!(answer["proposal"], true, "{answer}");
}
