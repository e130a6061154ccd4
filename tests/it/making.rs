//! What a record says of how a mould was made: revisions stay as they were, positions are those of the
//! tree, a station that is missing blocks the lot, a suspect reading says so wherever it is shown.

use serde_json::Value;

use crate::support::Foundry;

fn check(foundry: &Foundry, mould: &str, name: &str) -> Value {
    let ready = foundry.run(&format!("ready {mould} --json")).json();
    let all = ready["checks"].as_array().unwrap();
    all.iter().find(|c| c["check"] == name).unwrap_or_else(|| panic!("no {name} in {ready}")).clone()
}

#[test]
fn a_later_revision_changes_nothing_about_a_shell() {
    let foundry = Foundry::small();
    // The batch names SR-7@B; M31-001 took it. The running system is tied by its time.
    assert!(check(&foundry, "M31-001", "coats")["reason"].as_str().unwrap().contains("SR-7@B"));
    foundry.run("log shell_batches shell_batch=SB-2 recipe=SR-7 started_at=2031-02-20T00:00:00Z").done();
    foundry
        .run("log moulds mould=M31-009 part=QB-2207 running_system=RS-1 shell_batch=SB-2 assembled_at=2031-02-10T00:00:00Z")
        .done();
    let before = check(&foundry, "M31-009", "coats")["reason"].clone();
    let later = "log shell_recipes recipe=SR-7 revision=D route=shell coats=9 approved_by=OP-01 approved_at=2030-01-01 --as QL-01";
    foundry.run(later).done();
    assert_eq!(check(&foundry, "M31-009", "coats")["reason"], before);
}

#[test]
fn positions_are_those_of_the_tree() {
    let foundry = Foundry::small();
    let of = || check(&foundry, "M31-001", "position map");
    assert_eq!(of()["ok"], true, "{}", of());
    // RS-1 has two positions.
    foundry.run("log blades blade=B-X1 mould=M31-001 position=7").done();
    foundry.run("log blades blade=B-X2 mould=M31-001 position=1").done();
    let said = of();
    assert_eq!(said["ok"], false);
    let reason = said["reason"].as_str().unwrap();
    assert!(reason.contains("position 7: RS-1 has only 2 positions"), "{reason}");
    assert!(reason.contains("position 1 has 2 blades"), "{reason}");
}

/// A lot of the blades of one mould.
fn lot(foundry: &Foundry, mould: &str) -> Value {
    foundry.run("log lots lot=L-1 part=QB-2207 opened_at=2031-03-30T00:00:00Z").done();
    let made = foundry.json(&format!("contain {mould}"));
    assert!(!made["blades"].as_array().unwrap().is_empty(), "{made}");
    for blade in made["blades"].as_array().unwrap() {
        foundry.run(&format!("log lot_blades lot=L-1 blade={}", blade["tag"].as_str().unwrap())).done();
    }
    foundry.run("lot summary L-1 --json").json()
}

#[test]
fn a_mould_without_its_coats_blocks_its_lot() {
    let foundry = Foundry::small();
    // M31-002 has one coat of two.
    let summary = lot(&foundry, "M31-002");
    let reasons = summary["blocked"].to_string();
    assert!(
        reasons.contains("station missing: poured although coat 2 missing; SR-7@B asks for 2"),
        "{reasons}"
    );
    // This foundry records no oven run at all: that is said, and does not block.
    assert!(!reasons.contains("dewax"), "{reasons}");
    let open = summary["open_actions"].to_string();
    assert!(open.contains("dewaxed: no dewax run is recorded (M31-002)"), "{open}");
}

#[test]
fn where_ovens_are_recorded_a_missing_run_blocks() {
    let foundry = Foundry::small();
    foundry.run("log oven_runs oven_run=OR-1 purpose=dewax oven=A started_at=2031-02-25T00:00:00Z").done();
    foundry.run("log oven_loads oven_run=OR-1 mould=M31-002").done();
    // The bundle has a lot of this mould's blades.
    let summary = foundry.run("lot summary L31-01 --json").json();
    let reasons = summary["blocked"].to_string();
    assert!(reasons.contains("poured although no dewax run is recorded (M31-001)"), "{reasons}");
    assert!(!reasons.contains("no fire run"), "{reasons}");
}

#[test]
fn a_suspect_pour_says_so_where_it_is_shown() {
    let foundry = Foundry::small();
    let pours = foundry.json("show pours");
    assert_eq!(pours["kind"], "pours");
    // The pyrometer was good on 5 March and failed on 9 March: readings between are suspect.
    let mut seen = Vec::new();
    for pour in pours["records"].as_array().unwrap() {
        let (address, fields) = (pour[0].as_str().unwrap(), &pour[1]);
        let at = fields["poured_at"].as_str().unwrap();
        let expected = fields["pyrometer"] == "PYR-02" && ("2031-03-05".."2031-03-09").contains(&&at[..10]);
        let shown = foundry.json(&format!("show {address}"));
        assert_eq!(!shown["suspect"].as_array().unwrap().is_empty(), expected, "{shown}");
        seen.push(expected);
    }
    // One of each: 4 March lies before the span, 6 March in it.
    assert!(seen.contains(&true) && seen.contains(&false), "{seen:?}");
}

#[test]
fn slips_are_said_and_never_refused() {
    let foundry = Foundry::small();
    foundry.run("log zones part=QB-2207 revision=C zone=RT name=root --as QL-01").done();
    foundry
        .run("log inspections inspection=I-1 blade=M31-001-1 method=visual round=1 inspected_at=2031-03-20T00:00:00Z result=reject")
        .done();
    let good = foundry.json("log findings inspection=I-1 defect=misrun zone=RT");
    assert_eq!(good["guards"], serde_json::json!([]));
    let odd = foundry.json("log findings inspection=I-1 defect=misrun zone=XX");
    assert!(odd["guards"].to_string().contains("XX: not a zone of this part; it has RT"), "{odd}");
}

#[test]
fn what_there_is_is_named() {
    let foundry = Foundry::small();
    let call = "log findings inspection=I-1 defect=sandhole";
    assert!(foundry.run(call).fails(2, "defect term").err.contains("there are inclusion, misrun"));
    foundry.run("log blades blade=B-1 colour=red").fails(2, "it has blade, mould, position");
    assert!(foundry.run("help heats").done().out.contains("melted_at"));
    assert!(foundry.run("help fields pours").done().out.contains("indicated_c"));
    assert!(foundry.run("show defect_terms").done().out.contains("misrun"));
    foundry.run("help heets").fails(2, "heats");
}

#[test]
fn a_flask_is_not_blocked_for_a_dewax_that_it_needs_not() {
    let foundry = Foundry::small();
    for call in [
        "oven_runs oven_run=OR-1 purpose=dewax oven=A started_at=2031-02-25T00:00:00Z",
        "oven_loads oven_run=OR-1 mould=M31-001",
        "shell_recipes recipe=FR revision=A route=flask --as QL-01",
        "shell_batches shell_batch=SB-9 recipe=FR started_at=2031-02-20T00:00:00Z",
        "powder_lots powder_lot=P-1 grade=G received_at=2031-01-20T00:00:00Z",
        "moulds mould=M31-008 part=QB-2207 running_system=RS-1 shell_batch=SB-9 assembled_at=2031-02-10T00:00:00Z",
        "investments mould=M31-008 powder_lot=P-1 mixed_at=2031-02-21T00:00:00Z",
        "blades blade=B-8 mould=M31-008 position=1",
        "pours mould=M31-008 heat=H31-002 poured_at=2031-03-06T11:00:00Z",
    ] {
        foundry.run(&format!("log {call}")).done();
    }
    let summary = lot(&foundry, "M31-008");
    assert!(!summary["blocked"].to_string().contains("dewax"), "{summary}");
    let open = summary["open_actions"].to_string();
    assert!(open.contains("dewaxed: no dewax run is recorded (M31-008)"), "{open}");
}
