//! Records through the command line: in, out, traced, changed, fenced. Figures are worked out by
//! hand from the small foundry in `support.rs`.

use crate::support::{Foundry, SMALL};

#[test]
fn a_blade_is_traced_through_revert_with_shares() {
    let foundry = Foundry::small();
    let trace = foundry.json("trace M31-002-1");
    let share = |tag: &str| {
        let node = trace["nodes"].as_array().unwrap().iter().find(|n| n["tag"] == tag).unwrap();
        node["share"].as_f64()
    };
    // Heat 2 is 6 kg of ingot 2 and 4 kg of revert 1, which is all heat 1, which is all ingot 1.
    assert_eq!(share("IL31-02"), Some(0.6));
    assert_eq!(share("RV31-01"), Some(0.4));
    assert_eq!(share("IL31-01"), Some(0.4));
    assert_eq!(share("PS31-01"), None);
    assert!(trace["nodes"].as_array().unwrap().iter().any(|n| n["tag"] == "SR-7@B"));
}

#[test]
fn what_came_out_of_a_lot_adds_up() {
    let foundry = Foundry::small();
    let found = foundry.json("contain IL31-01");
    let blades = found["blades"].as_array().unwrap();
    assert_eq!(blades.len(), 4);
    let total: u64 = found["totals"].as_object().unwrap().values().map(|n| n.as_u64().unwrap()).sum();
    assert_eq!(total, 4);
    assert_eq!(found["totals"]["shipped"], 1);
    assert_eq!(found["totals"]["scrapped"], 1);
    let shipped = blades.iter().find(|b| b["where"] == "shipped").unwrap();
    assert_eq!(shipped["certificate"], "C-1");
    assert_eq!(found["stock"]["used"], 11.0);
    assert_eq!(found["stock"]["left"], 489.0);
}

#[test]
fn readings_are_suspect_back_to_the_last_good_check() {
    let foundry = Foundry::small();
    // The pour of heat 1 lies before the good check, that of heat 2 between it and the failed one.
    let found = foundry.json("contain PYR-02");
    let mut tags: Vec<&str> =
        found["blades"].as_array().unwrap().iter().map(|b| b["blade"].as_str().unwrap()).collect();
    tags.sort_unstable();
    assert_eq!(tags, ["M31-002-1", "M31-002-2"]);
}

#[test]
fn a_re_tag_leads_to_the_record() {
    let foundry = Foundry::small();
    assert_eq!(foundry.json("trace b-9")["tag"], "M31-002-1");
    assert_eq!(foundry.json("show B-9")["asked"], "B-9");
}

#[test]
fn a_round_trip_gives_the_same_bytes() {
    let foundry = Foundry::small();
    foundry
        .run_with(&["log", "heats", "heat=H31-003", "alloy=QA-713/3", "furnace=@home", "note=-\t'=x\r\n"])
        .done();
    foundry.run("field add moulds.tilt_deg --type number").done();
    foundry.run("correct M31-001 tilt_deg=<0.5 --reason seen").done();
    foundry.run("export one").done();
    let other = Foundry::new();
    let one = foundry.path("one");
    other.run(&format!("import {}", one.display())).done();
    other.run("export two").done();
    let files: Vec<_> = std::fs::read_dir(&one).unwrap().map(Result::unwrap).collect();
    assert!(files.len() > 20, "{files:?}");
    for entry in files {
        let again = std::fs::read(other.path("two").join(entry.file_name())).unwrap();
        assert_eq!(std::fs::read(entry.path()).unwrap(), again, "{:?}", entry.file_name());
    }
    let heats = std::fs::read_to_string(one.join("heats.csv")).unwrap();
    assert!(heats.contains("'=cmd|x") && heats.contains("'@home"), "{heats}");
    assert_eq!(other.json("show H31-001")["record"]["note"], "=cmd|x");
    assert_eq!(other.json("show M31-001")["record"]["tilt_deg"], "<0.5");
    // The same bundle once more: nothing is new.
    let again = foundry.json(&format!("import {} --as QL-01", one.display()));
    assert!(again["records"].as_object().unwrap().is_empty(), "{again}");
}

#[test]
fn every_fault_is_named_and_nothing_is_written() {
    let foundry = Foundry::new();
    let mut files: Vec<(&str, &str)> = SMALL.iter().copied().filter(|(n, _)| *n != "pours.csv").collect();
    files.push((
        "pours.csv",
        "mould,heat,poured_at,indicated_c,seal_state\n\
         M31-01,H31-001,2031-03-04T10:00:00Z,1480,tight\n\
         M31-002,H31-002,2031-03-06 10:00,nan,tigth\n\
         M31-001,H31-001,2031-03-04T10:00:00Z,2000,\n",
    ));
    foundry.write_bundle("bad", &files);
    let answer = foundry.run("import bad --json");
    assert_eq!(answer.code, 2);
    let json = answer.json();
    let faults: Vec<String> = json["faults"]
        .as_array()
        .unwrap()
        .iter()
        .map(|f| format!("{} {} {} {} {}", f["file"], f["line"], f["column"], f["value"], f["message"]))
        .collect();
    let all = faults.join("\n");
    for wanted in [
        "\"pours.csv\" 2 \"mould\" \"M31-01\" \"there is no mould M31-01; did you mean M31-001",
        "\"pours.csv\" 3 \"poured_at\" \"2031-03-06 10:00\"",
        "\"pours.csv\" 3 \"indicated_c\" \"nan\" \"not a number",
        "\"pours.csv\" 3 \"seal_state\" \"tigth\" \"not one of tight, weep, leak; did you mean tight",
        "\"pours.csv\" 4 \"indicated_c\" \"2000\" \"2000 °C is outside the plausible range",
    ] {
        assert!(all.contains(wanted), "wanted {wanted} in\n{all}");
    }
    assert!(!foundry.store().exists(), "nothing was written");
}

#[test]
fn unknown_files_and_columns_name_the_nearest() {
    let foundry = Foundry::new();
    foundry.write_bundle("bad", &[("mould.csv", "mould\n"), ("heats.csv", "heat,aloy,furnace\nH1,A,F\n")]);
    let answer = foundry.run("import bad");
    answer.fails(2, "did you mean moulds.csv").fails(2, "did you mean alloy");
}

#[test]
fn known_keys_with_other_values_are_sent_to_correct() {
    let foundry = Foundry::small();
    foundry.write_bundle(
        "again",
        &[("heats.csv", "heat,alloy,furnace,melted_at\nH31-001,QA-713/3,F2,2031-03-04T09:00:00+00:00\n")],
    );
    foundry.run("import again").fails(2, "meltkin correct H31-001");
    assert_eq!(foundry.json("show H31-001")["record"]["furnace"], "F1");
}

#[test]
fn a_cycle_is_refused_and_named() {
    let foundry = Foundry::small();
    // No reason makes it right.
    foundry
        .run("log charges heat=H31-001 source=RV31-01 mass_kg=1 --reason weighed")
        .fails(2, "H31-001 < RV31-01 < H31-001");
    foundry.write_bundle("loop", &[("charges.csv", "heat,source,mass_kg\nH31-001,RV31-01,1\n")]);
    foundry.run("import loop").fails(2, "its own ancestor");
    foundry.run("verify").done();
}

#[test]
fn guards_ask_and_never_refuse_the_truth() {
    let foundry = Foundry::small();
    foundry
        .run("log moulds mould=M31-003 part=QB-2207 running_system=RS-1 assembled_at=2031-03-30T00:00:00Z")
        .done();
    let pour = "log pours mould=M31-003 heat=H31-002 poured_at=2031-03-31T20:00:00Z indicated_c=2000";
    foundry.run(pour).fails(2, "--reason");
    let logged = foundry.json(&format!("{pour} --reason measured --as OP-01"));
    assert_eq!(logged["address"], "pours:M31-003");
    // Of its heat it is said that nobody analysed what went in; that asks nothing here.
    let guards: Vec<&str> =
        logged["guards"].as_array().unwrap().iter().map(|g| g.as_str().unwrap()).collect();
    assert_eq!(guards.iter().filter(|g| g.starts_with("indicated_c")).count(), 1, "{guards:?}");
    assert!(guards.contains(&"heat: no analysis of IL31-02"), "{guards:?}");
    assert_eq!(logged["undo_until"], "2031-04-01T00:01:00+00:00");
    let shown = foundry.json("show pours:M31-003");
    assert!(shown["remarks"].to_string().contains("late entry: typed in 240 min after"));
}

#[test]
fn undo_takes_back_the_last_entry_of_that_person_within_a_minute() {
    let foundry = Foundry::small();
    foundry.run("log filter_lots filter_lot=FL9 received_at=2031-03-30T00:00:00Z --as op-01").done();
    foundry.run("undo").fails(2, "not taken back");
    foundry.run("undo --as OP-01").done();
    foundry.run("undo --as OP-01").fails(2, "already");
    let gone = foundry.json("show FL9");
    assert!(gone["remarks"].to_string().contains("undone"));
    foundry.run("log filter_lots filter_lot=FL9 received_at=2031-03-30T00:00:00Z --as OP-01").done();
    let late = foundry
        .command(&["undo", "--as", "OP-01"])
        .env("MELTKIN_NOW", "2031-04-01T00:01:01+00:00")
        .output()
        .unwrap();
    assert_eq!(late.status.code(), Some(2));
    foundry.run("verify").done();
}

#[test]
fn corrections_supersede_and_the_old_value_stays() {
    let foundry = Foundry::small();
    foundry.run("correct coats:M31-002/1 rh_pct=n/a --reason broken --as OP-01").done();
    let shown = foundry.json("show coats:M31-002/1 --history");
    assert_eq!(shown["record"]["rh_pct"], "n/a");
    let history = shown["history"].as_array().unwrap();
    assert_eq!(history[0]["action"], "import");
    assert_eq!(history[1]["changed"][0], serde_json::json!(["rh_pct", "50", "n/a"]));
    assert_eq!(history[1]["person"], "OP-01");
    foundry.run("verify").done();
    foundry.run("undo --as OP-01").done();
    assert_eq!(foundry.json("show coats:M31-002/1")["record"]["rh_pct"], 50.0);
    foundry.run("verify").done();
}

#[test]
fn holds_descend_and_only_quality_lifts() {
    let foundry = Foundry::small();
    foundry.run("hold IL31-01 --reason oxygen").done();
    let blade = foundry.json("show M31-002-2");
    assert_eq!((&blade["where"], &blade["held"]), (&"held".into(), &true.into()));
    // A shipped blade stays shipped, and is marked as held too.
    let shipped = foundry.json("show M31-001-2");
    assert_eq!((&shipped["where"], &shipped["held"]), (&"shipped".into(), &true.into()));
    let refused = foundry.run("lift IL31-01 --reason fine --as OP-01 --json");
    assert_eq!(refused.code, 1);
    assert_eq!(refused.json()["needs"][0], "quality");
    foundry.run("lift IL31-01 --reason fine --as QL-01").done();
    assert_eq!(foundry.json("show M31-002-2")["held"], false);
    foundry.run("hold QL-01 --reason x").fails(2, "what can be held");
}

#[test]
fn who_may_is_asked_whatever_the_way() {
    let foundry = Foundry::small();
    let disposition = "log dispositions blade=M31-002-1 decided_at=2031-04-01T00:00:00Z decision=accept";
    foundry.run(disposition).fails(1, "quality");
    foundry.run(&format!("{disposition} --as OP-01")).fails(1, "OP-01 is operator");
    foundry.run(&format!("{disposition} --as OP-02")).fails(2, "did you mean OP-01");
    foundry.run("log people person=X role=quality --as OP-01").fails(1, "quality");
    foundry.run("correct OP-01 role=quality --reason x --as OP-01").fails(1, "quality");
    foundry.write_bundle(
        "more",
        &[("dispositions.csv", "blade,decided_at,decision\nM31-002-1,2031-04-01T00:00:00Z,accept\n")],
    );
    foundry.run("import more --as OP-01").fails(1, "quality");
    foundry.run("import more --as QL-01").done();
    foundry.run("verify").done();
}

#[test]
fn starter_definitions_give_way_until_they_are_used() {
    let foundry = Foundry::new();
    foundry.run("new").done();
    foundry.run("verify").done();
    foundry.write_bundle("mine", &[("defect_terms.csv", "defect,name\nmisrun,my word for it\n")]);
    foundry.run("import mine").done();
    assert_eq!(foundry.json("show defect_terms:misrun")["record"]["name"], "my word for it");
    foundry.run("verify").done();
}

#[test]
fn a_mould_is_ready_when_everything_upstream_is() {
    let foundry = Foundry::small();
    let answer = foundry.run("ready M31-002 --json");
    assert_eq!(answer.code, 1);
    let json = answer.json();
    let check =
        |name: &str| json["checks"].as_array().unwrap().iter().find(|c| c["check"] == name).unwrap().clone();
    assert!(check("coats")["reason"].as_str().unwrap().contains("coat 2 missing"));
    assert_eq!(check("filter")["ok"], false);
    assert_eq!(check("drying")["ok"], true);
    foundry.run("ready H31-001").fails(2, "H31-001 is a heat, not a mould");
}

#[test]
fn backup_and_restore_are_checked() {
    let foundry = Foundry::small();
    foundry.run("backup copy.db").done();
    foundry.run("restore copy.db").fails(2, "--replace");
    std::fs::write(foundry.path("bad.db"), &std::fs::read(foundry.path("copy.db")).unwrap()[..8192]).unwrap();
    foundry.run("restore bad.db --replace").fails(3, "bad.db");
    foundry.run("hold IL31-01 --reason later").done();
    foundry.run("restore copy.db --replace").fails(2, "--older");
    foundry.run("restore copy.db --replace --older --as QL-01").done();
    assert_eq!(foundry.json("show M31-002-2")["held"], false);
    foundry.run("verify").done();
}

#[test]
fn a_shipment_that_came_back_hides_no_other() {
    let foundry = Foundry::small();
    foundry
        .run("log shipments blade=M31-001-2 shipped_at=2031-03-25T00:00:00Z returned_at=2031-03-26T00:00:00Z --reason mix-up")
        .done();
    let blade = &foundry.json("contain M31-001-2")["blades"][0];
    assert_eq!(blade["where"], "shipped", "the shipment of the 20th is still out");
    assert_eq!(blade["shipped_at"], "2031-03-20T00:00:00+00:00");
    assert_eq!(blade["certificate"], "C-1");
}

#[test]
fn a_hold_stays_on_the_revision_it_names() {
    let foundry = Foundry::small();
    foundry.run("hold SR-7@B --reason crazing").done();
    foundry.run("verify").done();
    foundry.run("export out").done();
    let holds = std::fs::read_to_string(foundry.path("out").join("holds.csv")).unwrap();
    assert!(holds.contains(",SR-7@B,"), "{holds}");
    assert_eq!(foundry.json("contain M31-001-1")["blades"][0]["held"], true);
}

#[test]
fn blank_items_are_counted_for_the_record_meant() {
    let foundry = Foundry::small();
    foundry.write_bundle("more", &[("findings.csv", "inspection,defect\nI2,misrun\ni2,misrun\nI2,Misrun\n")]);
    foundry.run("import more").done();
    foundry.run("show findings:I2/misrun/3").done();
    foundry.run("verify").done();
}

#[test]
fn a_key_in_another_case_is_the_same_key() {
    let foundry = Foundry::small();
    foundry
        .run("log analyses analysis=A-9 subject=H31-001 purpose=check taken_at=2031-03-05T00:00:00Z")
        .done();
    foundry.run("log analysis_values analysis=A-9 element=V value=0.1 unit=wt% --reason read").done();
    foundry
        .run("log analysis_values analysis=A-9 element=v value=0.1 unit=wt% --reason read")
        .fails(2, "analysis_values:A-9/V already exists");
    foundry
        .run("log shell_recipes recipe=SR-7 revision=b route=shell --as QL-01")
        .fails(2, "SR-7@B already exists");
    // Written in another case by a file, both stand, and both are what the journal says of them.
    foundry.write_bundle(
        "both",
        &[("measurements.csv", "inspection,characteristic,value,unit\nI1,CHORD,1,mm\n")],
    );
    foundry.run("log measurements inspection=I1 characteristic=chord value=1 unit=mm").done();
    let taken = foundry.run("import both");
    assert!(matches!(taken.code, 0 | 2), "{}{}", taken.out, taken.err);
    foundry.run("verify").done();
    foundry.run_with(&["correct", "measurements:I1/chord", "note=read twice", "--reason", "x"]).done();
    foundry.run("undo").done();
    foundry.run("verify").done();
}
