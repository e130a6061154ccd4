//! What has not happened yet is not recorded, whatever is said about it.

use crate::support::Foundry;

/// The clock of these tests stands at 2031-04-01T00:00:00+00:00.
const LATER: &str = "2031-04-01T00:02:01Z";
const STILL_NOW: &str = "2031-04-01T00:02:00Z";

/// A record and the field with its time.
const TIMES: &[(&str, &str)] = &[
    ("filter_lots filter_lot=F-1", "received_at"),
    ("heats heat=H-1 alloy=QA-713/3 furnace=F1", "melted_at"),
    ("heats heat=H-1 alloy=QA-713/3 furnace=F1", "closed_at"),
    ("pours mould=M31-003 heat=H31-001", "poured_at"),
    ("coats mould=M31-003 coat=1 slurry_batch=PS31-01", "in_at"),
    ("coats mould=M31-003 coat=1 slurry_batch=PS31-01 in_at=2031-03-30T00:00:00Z", "out_at"),
    ("inspections inspection=I-9 blade=M31-002-2 method=visual round=1 result=accept", "inspected_at"),
    ("calibrations instrument=PYR-02 check=cross_check result=good", "checked_at"),
    ("shipments blade=M31-002-2", "shipped_at"),
    ("shipments blade=M31-002-2 shipped_at=2031-03-30T00:00:00Z", "returned_at"),
    ("dispositions blade=M31-002-2 decision=accept", "decided_at"),
    ("concessions concession=C-1 type=deviation part=QB-2207 limits=x", "granted_at"),
    ("holds subject=M31-001 reason=x", "placed_at"),
    ("retags old_tag=M31-001 new_tag=M-1", "changed_at"),
];

fn with_mould() -> Foundry {
    let foundry = Foundry::small();
    foundry
        .run("log moulds mould=M31-003 part=QB-2207 running_system=RS-1 assembled_at=2031-03-30T00:00:00Z")
        .done();
    foundry
}

#[test]
fn a_time_that_is_to_come_is_a_fault_with_a_reason_too() {
    let foundry = with_mould();
    let head = foundry.json("verify")["head"].clone();
    for (record, field) in TIMES {
        let call = format!("log {record} {field}={LATER} note=planned --reason planned --as QL-01");
        let answer = foundry.run(&call).fails(2, &format!("{field} = 2031-04-01T00:02:01+00:00: is 2 min"));
        assert!(answer.err.contains("in the future by the clock"), "{}", answer.err);
        assert!(!answer.err.contains("--reason"), "{}", answer.err);
    }
    assert_eq!(foundry.json("verify")["head"], head);
    // Two minutes are the difference of two clocks.
    for (record, field) in TIMES {
        let call = format!("log {record} {field}={STILL_NOW} --reason x --as QL-01");
        foundry.run(&call).done();
        foundry.run("undo --as QL-01 --reason tried").done();
    }
}

#[test]
fn a_correction_and_an_import_may_not_either() {
    let foundry = with_mould();
    let call = format!("correct pours:M31-001 poured_at={LATER} --reason misread");
    foundry.run(&call).fails(2, "poured_at = 2031-04-01T00:02:01+00:00: is 2 min in the future by the clock");
    for (record, field) in TIMES {
        let (kind, fields) = record.split_once(' ').unwrap();
        let pairs: Vec<(&str, &str)> = fields.split(' ').map(|f| f.split_once('=').unwrap()).collect();
        let names: Vec<&str> = pairs.iter().map(|p| p.0).chain([*field, "note"]).collect();
        let values: Vec<&str> =
            pairs.iter().map(|p| p.1).chain(["2032-01-01T00:00:00Z", "planned"]).collect();
        let text = format!("{}\n{}\n", names.join(","), values.join(","));
        foundry.write_bundle("bad", &[(&format!("{kind}.csv"), &text)]);
        let answer = foundry.run("import bad --json --as QL-01");
        assert_eq!(answer.code, 2, "{kind}.{field}");
        let json = answer.json();
        let mine = json["faults"].as_array().unwrap().iter().find(|f| f["column"] == *field);
        let fault = mine.unwrap_or_else(|| panic!("{kind}.{field}: {json}"));
        assert_eq!((&fault["line"], &fault["value"]), (&2.into(), &"2032-01-01T00:00:00+00:00".into()));
        assert!(
            fault["message"].as_str().unwrap().contains("is 275 days in the future by the clock"),
            "{fault}"
        );
        std::fs::remove_dir_all(foundry.path("bad")).unwrap();
    }
}

#[test]
fn what_is_due_expires_takes_effect_or_is_planned_lies_ahead() {
    let foundry = with_mould();
    for record in [
        "calibrations instrument=PYR-02 checked_at=2031-03-31T00:00:00Z check=cross_check result=good due_at=2031-05-01T00:00:00Z",
        "wax_lots wax_lot=W-1 grade=G received_at=2031-03-31T00:00:00Z expires_on=2032-01-01",
        "pour_plans mould=M31-003 planned_on=2031-04-20",
        "shell_recipes recipe=SR-9 route=flask effective_from=2031-06-01",
        "qualifications person=OP-01 method=visual level=2 from_on=2031-05-01 expires_on=2033-01-01",
        "concessions concession=C-1 type=deviation part=QB-2207 limits=x granted_at=2031-03-31T00:00:00Z granted_by=QL-01 expires_on=2032-01-01",
    ] {
        foundry.run(&format!("log {record} --as QL-01")).done();
    }
}
