//! Metal and fit: what is asked about where it is typed, what `ready` says of it, and that it blocks the lot.
//! Figures are worked out by hand beside them.

use serde_json::Value;

use crate::support::{Foundry, SMALL};

/// The small foundry with a second alloy and part, analyses of what was charged, and a mould that is not poured.
fn foundry() -> Foundry {
    let foundry = Foundry::new();
    let more: &[(&str, &str)] = &[
        ("alloys.csv", "QB-100,,,\n"),
        ("alloy_limits.csv", "alloy,element,min,max,unit\nQA-713/3,Al,5.5,6.5,wt%\nQA-713/3,N,,35,ppm\n"),
        ("parts.csv", "QB-9999,A,QB-100\n"),
        ("ingot_lots.csv", "IL-30,QA-713/3,2031-01-01T00:00:00Z,30\nIL-B,QB-100,2031-01-01T00:00:00Z,500\n"),
        ("wax_lots.csv", "wax_lot,grade,received_at\nWL-1,G,2031-01-01T00:00:00Z\n"),
        (
            "pattern_runs.csv",
            "pattern_run,wax_lot,part,die,injected_at\nWP-A,WL-1,QB-2207,D,2031-02-01T00:00:00Z\nWP-B,WL-1,QB-9999,D,2031-02-01T00:00:00Z\n",
        ),
        (
            "moulds.csv",
            "M31-003,QB-2207,RS-1,SB-1,FL31-01,2031-02-10T00:00:00Z\nM31-B,QB-9999,RS-1,SB-1,FL31-01,2031-02-10T00:00:00Z\n",
        ),
        ("pour_plans.csv", "mould,planned_on,furnace\nM31-003,2031-04-01,F1\n"),
        (
            "analyses.csv",
            "analysis,subject,purpose,taken_at\nA-1,IL31-01,maker,2031-01-02T00:00:00Z\nA-2,IL31-02,maker,2031-01-02T00:00:00Z\nA-3,RV31-01,check,2031-03-05T01:00:00Z\nA-4,IL-B,maker,2031-01-02T00:00:00Z\nA-5,IL-30,maker,2031-01-02T00:00:00Z\n",
        ),
        (
            "analysis_values.csv",
            "analysis,element,value,unit\nA-1,Al,6,wt%\nA-1,N,20,ppm\nA-2,Al,6,wt%\nA-2,N,20,ppm\nA-3,Al,6,wt%\nA-3,N,20,ppm\nA-4,Al,6,wt%\nA-4,N,20,ppm\nA-5,Al,6,wt%\nA-5,N,20,ppm\n",
        ),
    ];
    let mut files: Vec<(String, String)> =
        SMALL.iter().map(|(n, t)| (n.to_string(), t.to_string())).collect();
    for (name, text) in more {
        match files.iter_mut().find(|(n, _)| n == name) {
            Some((_, there)) => there.push_str(text),
            None => files.push((name.to_string(), text.to_string())),
        }
    }
    let files: Vec<(&str, &str)> = files.iter().map(|(n, t)| (n.as_str(), t.as_str())).collect();
    foundry.write_bundle("bundle", &files);
    foundry.run("import bundle").done();
    foundry
}

fn check(ready: &Value, name: &str) -> (Option<bool>, String) {
    let all = ready["checks"].as_array().unwrap();
    let found = all.iter().find(|c| c["check"] == name).unwrap_or_else(|| panic!("no {name} in {ready}"));
    (found["ok"].as_bool(), found["reason"].as_str().unwrap().to_string())
}

fn ready(foundry: &Foundry, arguments: &str) -> Value {
    let answer = foundry.run(&format!("ready {arguments} --json"));
    let json = answer.json();
    assert_eq!(answer.code == 0, json["ready"] == true, "false and null exit 1: {json}");
    assert_eq!(answer.code, i32::from(json["ready"] != true));
    json
}

/// A charge, what is asked about it, and what `ready` says of it: the check and the words.
const CHARGES: &[(&str, &str, &str)] = &[
    ("IL-B 5", "IL-B is of alloy QB-100, H31-009 of QA-713/3", "alloy"),
    // 400 kg of 30.
    ("IL-30 400", "400.000 kg of IL-30 charged, 30.000 kg was left of its 30.000 kg", "charge"),
    // A revert lot is as much as its sources: 5 kg of H31-001, of which H31-002 took 4.
    ("RV31-01 1.5", "1.500 kg of RV31-01 charged, 1.000 kg was left of its 5.000 kg", "charge"),
    // 1 of 1 kg.
    ("RV31-01 1", "H31-009 has 100.0 % revert; QA-713/3 allows at most 50 %", "charge"),
];

#[test]
fn a_charge_that_does_not_fit_asks_and_is_named_by_ready_for_every_mould() {
    for (charge, sentence, named) in CHARGES {
        let foundry = foundry();
        foundry.run("log heats heat=H31-009 alloy=QA-713/3 furnace=F1").done();
        let (source, mass) = charge.split_once(' ').unwrap();
        let log = format!("log charges heat=H31-009 source={source} mass_kg={mass}");
        foundry.run(&log).fails(2, sentence).fails(2, "--reason");
        let logged = foundry.json(&format!("{log} --reason that_is_how_it_was"));
        assert!(logged["guards"].to_string().contains(sentence), "{logged}");
        let (ok, reason) = check(&ready(&foundry, "M31-003"), named);
        assert!(ok == Some(false) && reason.contains(sentence), "{charge}: {reason}");
        // A mould that is poured from it says so too, and the pour is told.
        let pour = foundry.json("log pours mould=M31-003 heat=H31-009 poured_at=2031-03-31T23:50:00Z");
        assert!(pour["guards"].to_string().contains(sentence), "{pour}");
        let (ok, reason) = check(&ready(&foundry, "M31-003"), named);
        assert!(ok == Some(false) && reason.contains(sentence), "{charge}: {reason}");
        assert_eq!(check(&ready(&foundry, "M31-003"), "not poured yet").0, Some(false));
        // It blocks the lot of its blades.
        let blocked = lot(&foundry, "M31-003");
        assert!(blocked.contains(sentence), "{charge}: {blocked}");
        // The round trip asks nothing anew: the reason stands in the note.
        foundry.run("export out").done();
        let second = Foundry::new();
        second.run(&format!("import {}", foundry.path("out").display())).done();
    }
}

fn lot(foundry: &Foundry, mould: &str) -> String {
    foundry.run("log lots lot=L-1 part=QB-2207 opened_at=2031-03-30T00:00:00Z").done();
    foundry.run(&format!("log blades blade={mould}-1 mould={mould} position=1")).done();
    foundry.run(&format!("log lot_blades lot=L-1 blade={mould}-1")).done();
    foundry.run("lot summary L-1 --json").json()["blocked"].to_string()
}

#[test]
fn what_fits_is_not_asked_about() {
    let foundry = foundry();
    foundry.run("log heats heat=H31-009 alloy=QA-713/3 furnace=F1").done();
    // 1 kg of revert in 11.
    foundry.run("log charges heat=H31-009 source=IL-30 mass_kg=10").done();
    foundry.run("log charges heat=H31-009 source=RV31-01 mass_kg=1").done();
    foundry.run("log blades blade=M31-003-2 mould=M31-003 position=2 pattern_run=WP-A").done();
    let said = ready(&foundry, "M31-003");
    assert_eq!(said["heat"], "H31-009");
    for name in ["charge", "alloy", "chemistry", "patterns"] {
        assert_eq!(check(&said, name).0, Some(true), "{said}");
    }
    let blocked = lot(&foundry, "M31-003");
    assert!(!blocked.contains("\"fit\""), "{blocked}");
}

#[test]
fn a_second_mould_of_a_heat_whose_charge_was_never_checked_is_not_ready() {
    let foundry = foundry();
    foundry
        .run("log ingot_lots ingot_lot=IL-X alloy=QA-713/3 received_at=2031-03-01T00:00:00Z mass_kg=50")
        .done();
    foundry.run("log heats heat=H31-009 alloy=QA-713/3 furnace=F1").done();
    let log = "log charges heat=H31-009 source=IL-X mass_kg=10";
    foundry.run(log).fails(2, "no analysis of IL-X");
    foundry.run(&format!("{log} --reason none_yet")).done();
    foundry
        .run("log pours mould=M31-B heat=H31-009 poured_at=2031-03-31T23:50:00Z --reason wrong_alloy")
        .done();
    // H31-009 was poured once; the second mould is still to be poured from it.
    let said = ready(&foundry, "M31-003");
    assert_eq!(
        (&said["heat"], check(&said, "chemistry")),
        (&"H31-009".into(), (Some(false), "no analysis of IL-X".into()))
    );
    // Its own analysis makes it good; a revert lot needs one of its own too.
    foundry.run("log analyses analysis=A-X subject=IL-X purpose=maker taken_at=2031-03-02T00:00:00Z").done();
    for value in ["element=Al value=6 unit=wt%", "element=N value=20 unit=ppm"] {
        foundry.run(&format!("log analysis_values analysis=A-X {value}")).done();
    }
    assert_eq!(check(&ready(&foundry, "M31-003"), "chemistry").0, Some(true));
    foundry.run("log revert_lots revert_lot=RV-X alloy=QA-713/3 made_at=2031-03-20T00:00:00Z").done();
    foundry.run("log revert_sources revert_lot=RV-X heat=H31-002 mass_kg=5").done();
    foundry.run("log charges heat=H31-009 source=RV-X mass_kg=1 --reason not_analysed").done();
    assert_eq!(check(&ready(&foundry, "M31-003"), "chemistry"), (Some(false), "no analysis of RV-X".into()));
}

/// A label of its own makes revert no other metal.
#[test]
fn revert_of_another_alloy_is_seen_through_its_label() {
    let foundry = foundry();
    foundry.run("log heats heat=H-B alloy=QB-100 furnace=F2").done();
    foundry.run("log revert_lots revert_lot=RV-B alloy=QA-713/3 made_at=2031-03-20T00:00:00Z").done();
    let log = "log revert_sources revert_lot=RV-B heat=H-B mass_kg=5";
    foundry.run(log).fails(2, "RV-B is of alloy QA-713/3, H-B of QB-100");
    foundry.run(&format!("{log} --reason one_box")).done();
    foundry.run("log heats heat=H31-009 alloy=QA-713/3 furnace=F1").done();
    foundry.run("log charges heat=H31-009 source=IL-30 mass_kg=10").done();
    foundry.run("log charges heat=H31-009 source=RV-B mass_kg=1 --reason not_analysed").done();
    let sentence = "RV-B came from H-B, which is of QB-100";
    assert_eq!(check(&ready(&foundry, "M31-003"), "alloy"), (Some(false), sentence.into()));
    foundry.run("log pours mould=M31-003 heat=H31-009 poured_at=2031-03-31T23:50:00Z").done();
    assert!(lot(&foundry, "M31-003").contains(sentence));
}

#[test]
fn an_addition_is_judged_by_the_check_analysis_of_the_heat() {
    let foundry = foundry();
    foundry.run("log alloys alloy=AL-99 revert_max_pct=0 --as QL-01").done();
    foundry
        .run("log ingot_lots ingot_lot=IL-AL alloy=AL-99 use=addition received_at=2031-03-01T00:00:00Z mass_kg=5")
        .done();
    foundry.run("log heats heat=H31-009 alloy=QA-713/3 furnace=F1").done();
    foundry.run("log charges heat=H31-009 source=IL-30 mass_kg=10").done();
    // Of another alloy, and not asked about.
    foundry.run("log charges heat=H31-009 source=IL-AL mass_kg=0.1").done();
    let said = ready(&foundry, "M31-003");
    assert_eq!(check(&said, "alloy").0, Some(true), "{said}");
    let (ok, reason) = check(&said, "chemistry");
    assert!(ok.is_none() && reason.contains("a check analysis of H31-009 has to say"), "{reason}");
    foundry
        .run("log analyses analysis=A-H subject=H31-009 purpose=check taken_at=2031-03-31T00:00:00Z")
        .done();
    foundry.run("log analysis_values analysis=A-H element=N value=20 unit=ppm").done();
    foundry.run("log analysis_values analysis=A-H element=Al value=7 unit=wt%").done();
    // 7 wt% of at most 6.5.
    let (ok, reason) = check(&ready(&foundry, "M31-003"), "chemistry");
    assert!(ok == Some(false) && reason.contains("Al 7 wt% (allowed 5.5 to 6.5)"), "{reason}");
}

#[test]
fn a_mould_of_another_alloy_and_patterns_of_another_part_ask_and_block() {
    let foundry = foundry();
    let sentence = "M31-B is of part QB-9999, made of QB-100; H31-001 is of QA-713/3";
    let pour = "log pours mould=M31-B heat=H31-001 poured_at=2031-03-04T11:00:00Z";
    foundry.run(pour).fails(2, sentence).fails(2, "--reason");
    foundry.run(&format!("{pour} --reason mixed_up")).done();
    assert_eq!(check(&ready(&foundry, "M31-B"), "alloy"), (Some(false), sentence.into()));
    // Before the pour as well, of the heat that is asked about.
    let said = ready(&foundry, "M31-003 --heat H31-001");
    assert_eq!(check(&said, "alloy").0, Some(true), "{said}");
    let patterns = "pattern run WP-B is of part QB-9999, M31-003 of QB-2207";
    let blade = "log blades blade=M31-003-2 mould=M31-003 position=2 pattern_run=WP-B";
    foundry.run(blade).fails(2, patterns).fails(2, "--reason");
    foundry.run(&format!("{blade} --reason the_tray_was_empty")).done();
    assert_eq!(check(&ready(&foundry, "M31-003"), "patterns"), (Some(false), patterns.into()));
    foundry.run("log pours mould=M31-003 heat=H31-002 poured_at=2031-03-06T11:00:00Z").done();
    let blocked = lot(&foundry, "M31-003");
    assert!(blocked.contains(patterns) && blocked.contains("\"assembly\""), "{blocked}");
    // A run of the same part is not asked about.
    foundry.run("log blades blade=M31-002-9 mould=M31-002 position=9 pattern_run=WP-A").done();
}

#[test]
fn the_heat_of_a_mould_is_the_last_charged_in_the_furnace_of_its_plan() {
    let foundry = foundry();
    // H31-002 was melted last in F1.
    assert_eq!(ready(&foundry, "M31-003")["heat"], "H31-002");
    foundry.run("correct H31-002 closed_at=2031-03-06T12:00:00Z --reason emptied").done();
    let said = ready(&foundry, "M31-003");
    assert_eq!((&said["heat"], check(&said, "heat").0), (&Value::Null, None), "{said}");
    assert!(check(&said, "heat").1.contains("a heat is named"), "{said}");
    let of = |heat: &str, furnace: &str| {
        foundry.run(&format!("log heats heat={heat} alloy=QA-713/3 furnace={furnace}")).done();
        foundry.run(&format!("log charges heat={heat} source=IL-30 mass_kg=1")).done();
    };
    // The only one open, in another furnace than planned.
    of("H-F2", "F2");
    assert_eq!(ready(&foundry, "M31-003")["heat"], "H-F2");
    // Two are open and neither is in F1: it cannot be told.
    of("H-F3", "F3");
    let said = ready(&foundry, "M31-003");
    let (ok, reason) = check(&said, "heat");
    assert!(ok.is_none() && reason.contains("H-F2 in F2, H-F3 in F3"), "{reason}");
    assert_eq!(ready(&foundry, "M31-003 --heat H-F3")["heat"], "H-F3");
    // A heat in F1 is that of its plan; one that is not charged is not meant.
    of("H-F1", "F1");
    foundry.run("log heats heat=H-EMPTY alloy=QA-713/3 furnace=F1").done();
    assert_eq!(ready(&foundry, "M31-003")["heat"], "H-F1");
    foundry.run("ready M31-003 --heat M31-001").fails(2, "is a mould, not a heat");
    let closed = ready(&foundry, "M31-003 --heat H31-002");
    assert!(check(&closed, "heat").1.contains("H31-002 was closed at 2031-03-06"), "{closed}");
}

#[test]
fn ready_is_null_where_nothing_fails_but_something_cannot_be_told() {
    let foundry = foundry();
    for call in [
        "shell_recipes recipe=FK revision=A route=flask approved_at=2030-01-01",
        "running_systems running_system=RS-2 fill=bottom positions=2 filter=no",
        "shell_batches shell_batch=SB-F recipe=FK started_at=2031-03-01T00:00:00Z",
        "powder_lots powder_lot=P-1 grade=G received_at=2031-01-20T00:00:00Z",
        "moulds mould=FK-1 part=QB-2207 running_system=RS-2 shell_batch=SB-F assembled_at=2031-03-01T00:00:00Z",
        "investments mould=FK-1 powder_lot=P-1 mixed_at=2031-03-02T00:00:00Z",
        "blades blade=FK-1-1 mould=FK-1 position=1 pattern_run=WP-A",
        "oven_runs oven_run=OR-1 purpose=dewax oven=A started_at=2031-03-03T00:00:00Z",
        "oven_runs oven_run=OR-2 purpose=fire oven=A started_at=2031-03-04T00:00:00Z",
        "oven_loads oven_run=OR-1 mould=FK-1",
        "oven_loads oven_run=OR-2 mould=FK-1 out_at=2031-03-04T10:00:00Z",
        "calibrations instrument=PYR-02 checked_at=2031-03-10T00:00:00Z check=calibration result=good",
        "heats heat=H-9 alloy=QA-713/3 furnace=F9",
        "charges heat=H-9 source=IL-30 mass_kg=5",
    ] {
        foundry.run(&format!("log {call} --as QL-01")).done();
    }
    // Heats are open in F1 and F9, and the mould is not planned.
    let said = ready(&foundry, "FK-1");
    assert_eq!(said["ready"], Value::Null, "{said}");
    assert!(foundry.run("ready FK-1").out.contains("not clear yet whether it may be poured"));
    assert_eq!(ready(&foundry, "FK-1 --heat H-9")["ready"], true);
    // A limit on an element that nobody analysed.
    foundry.run("log alloy_limits alloy=QA-713/3 element=O max=25 unit=ppm --as QL-01").done();
    let said = ready(&foundry, "FK-1 --heat H-9");
    assert_eq!((&said["ready"], check(&said, "chemistry").0), (&Value::Null, None), "{said}");
    assert!(check(&said, "chemistry").1.contains("IL-30: O not analysed"), "{said}");
}

/// An import, the kind and line at fault, its column, and the sentence.
#[rustfmt::skip]
const IMPORTS: &[(&[(&str, &str)], &str, u64, &str, &str)] = &[
    (&[("charges", "heat,source,mass_kg,note\nH31-002,IL31-01,1,\nH31-001,IL-B,5,\n")], "charges", 3, "source", "IL-B is of alloy QB-100, H31-001 of QA-713/3"),
    // 20 and 20 of 30 kg: the second goes beyond.
    (&[("charges", "heat,source,mass_kg,note\nH31-001,IL-30,20,\nH31-002,il-30,20,\n")], "charges", 3, "mass_kg", "20.000 kg of IL-30 charged, 10.000 kg was left of its 30.000 kg"),
    (&[("charges", "heat,source,mass_kg,note\nH31-009,IL-30,1,\nH31-009,RV31-01,1,\nH31-009,RV31-01,0.5,\n"), ("heats", "heat,alloy,furnace\nH31-009,QA-713/3,F1\nH31-008,QA-713/3,F1\n"), ("revert_sources", "revert_lot,heat,mass_kg\nRV31-01,H31-008,50\n")], "charges", 4, "mass_kg", "H31-009 has 60.0 % revert; QA-713/3 allows at most 50 %"),
    (&[("pours", "mould,heat,poured_at,note\nM31-B,H31-001,2031-03-04T11:00:00Z,\n")], "pours", 2, "heat", "M31-B is of part QB-9999, made of QB-100; H31-001 is of QA-713/3"),
    (&[("blades", "blade,mould,pattern_run,note\nX-1,M31-003,WP-A,\nX-2,M31-003,WP-B,\n")], "blades", 3, "pattern_run", "pattern run WP-B is of part QB-9999, M31-003 of QB-2207"),
    // 61 wt% and 14 wt%; a figure in ppm of the same alloy passes.
    (&[("analysis_values", "analysis,element,value,unit,note\nA-9,Al,61,wt%,\n"), ("analyses", "analysis,subject,purpose,taken_at\nA-9,H31-001,check,2031-03-05T00:00:00Z\n")], "analysis_values", 2, "value", "Al of 61 wt% is outside the plausible range 4.5 to 7.5 wt%"),
    (&[("analysis_values", "analysis,element,value,unit,note\nA-9,Al,60500,ppm,\nA-9,N,14,wt%,\n"), ("analyses", "analysis,subject,purpose,taken_at\nA-9,H31-001,check,2031-03-05T00:00:00Z\n")], "analysis_values", 3, "value", "N of 14 wt% is outside the plausible range 0 to 0.007 wt%"),
];

#[test]
fn an_import_of_what_does_not_fit_asks_for_a_note() {
    for (files, kind, line, column, sentence) in IMPORTS {
        let foundry = foundry();
        let named: Vec<(String, &str)> = files.iter().map(|(k, t)| (format!("{k}.csv"), *t)).collect();
        let written: Vec<(&str, &str)> = named.iter().map(|(k, t)| (k.as_str(), *t)).collect();
        foundry.write_bundle("bad", &written);
        let answer = foundry.run("import bad --json");
        assert_eq!(answer.code, 2, "{kind}: {}", answer.err);
        let json = answer.json();
        let all = json["faults"].as_array().unwrap();
        assert_eq!(all.len(), 1, "{kind}: {json}");
        assert_eq!(
            (&all[0]["file"], &all[0]["line"], &all[0]["column"]),
            (&format!("{kind}.csv").into(), &(*line).into(), &(*column).into()),
            "{json}"
        );
        let message = all[0]["message"].as_str().unwrap();
        assert!(message.contains(sentence) && message.contains("say why in the note"), "{message}");
        // With a note in that row it comes in.
        let noted: Vec<(String, String)> = named
            .iter()
            .map(|(name, text)| {
                let mine = *name == format!("{kind}.csv");
                let lines = text.lines().enumerate().map(|(i, l)| {
                    if mine && i as u64 + 1 == *line { format!("{l}it was so") } else { l.into() }
                });
                (name.clone(), lines.collect::<Vec<_>>().join("\n") + "\n")
            })
            .collect();
        let written: Vec<(&str, &str)> = noted.iter().map(|(k, t)| (k.as_str(), t.as_str())).collect();
        foundry.write_bundle("good", &written);
        foundry.run("import good").done();
    }
}

#[test]
fn the_history_of_elsewhere_comes_in_and_is_named_afterwards() {
    let foundry = Foundry::new();
    let mut files = crate::support::SMALL.to_vec();
    for file in &mut files {
        if file.0 == "ingot_lots.csv" {
            file.1 = "ingot_lot,alloy,received_at,mass_kg\nIL31-01,QA-713/3,2031-01-01T00:00:00Z,5\nIL31-02,QA-713/3,2031-01-01T00:00:00Z,500\n";
        }
    }
    foundry.write_bundle("bundle", &files);
    foundry.run("import bundle").done();
    let ready = foundry.run("ready M31-001 --json");
    assert_eq!(ready.code, 1);
    assert!(ready.out.contains("11.000 kg of IL31-01 charged, 5.000 kg was left"), "{}", ready.out);
}

#[test]
fn contents_that_cannot_be_meant_ask_why() {
    let foundry = foundry();
    // An analysis for each: what lies outside its limits is not taken back without quality.
    let n = std::cell::Cell::new(0);
    let log = |value: &str| {
        n.set(n.get() + 1);
        let analysis = format!("A-9{}", n.get());
        let made = "subject=H31-001 purpose=check taken_at=2031-03-05T00:00:00Z";
        foundry.run(&format!("log analyses analysis={analysis} {made}")).done();
        format!("log analysis_values analysis={analysis} {value}")
    };
    for value in [
        "element=Al value=61 unit=wt%",
        "element=N value=14 unit=wt%",
        "element=N value=71 unit=ppm",
        "element=Cr value=90 unit=wt%",
    ] {
        let log = log(value);
        foundry.run(&log).fails(2, "is outside the plausible range").fails(2, "--reason");
        foundry.run(&format!("{log} --reason measured_twice")).done();
    }
    for value in
        ["element=Al value=7.5 unit=wt%", "element=N value=0.007 unit=wt%", "element=Cr value=12.5 unit=wt%"]
    {
        foundry.run(&log(value)).done();
    }
}

#[test]
fn persons_written_another_way_are_asked_about() {
    let foundry = Foundry::small();
    let log = |person: &str| {
        vec![
            "log".to_string(),
            "heats".into(),
            "heat=H-P".into(),
            "alloy=QA-713/3".into(),
            "furnace=F1".into(),
            format!("person={person}"),
        ]
    };
    let run = |words: &[String]| foundry.run_with(&words.iter().map(String::as_str).collect::<Vec<_>>());
    for typed in ["Op 1", "OP-1", "op1", "OP_001"] {
        run(&log(typed)).fails(2, "did you mean OP-01").fails(2, "--reason");
    }
    run(&log("J. Doe")).fails(2, "there is no person J. Doe");
    // In another case it is the one that is known.
    run(&log("op-01")).done();
    assert_eq!(foundry.json("show H-P")["record"]["person"], "OP-01");
    let mut with = log("J. Doe");
    with[2] = "heat=H-Q".into();
    with.extend(["--reason".into(), "a guest".into()]);
    run(&with).done();
    foundry.run("correct H-P person=OP-1 --reason x").done();
    // An import: the row and its column; in another case it is written as known.
    foundry.write_bundle(
        "bad",
        &[("heats.csv", "heat,alloy,furnace,person,note\nH-1,QA-713/3,F1,op-01,\nH-2,QA-713/3,F1,Op 1,\n")],
    );
    let json = foundry.run("import bad --json").json();
    let fault = &json["faults"][0];
    assert_eq!(
        (&fault["line"], &fault["column"], &fault["value"]),
        (&3.into(), &"person".into(), &"Op 1".into()),
        "{json}"
    );
    assert!(fault["message"].as_str().unwrap().contains("did you mean OP-01"), "{json}");
    foundry.write_bundle(
        "good",
        &[(
            "heats.csv",
            "heat,alloy,furnace,person,note\nH-1,QA-713/3,F1,op-01,\nH-2,QA-713/3,F1,Op 1,a guest\n",
        )],
    );
    foundry.run("import good").done();
    assert_eq!(foundry.json("show H-1")["record"]["person"], "OP-01");
    // A store that knows nobody asks nothing.
    let bare = Foundry::new();
    bare.run("new --bare").done();
    bare.run("log calibrations instrument=X checked_at=2031-03-30T00:00:00Z check=cross_check result=good person=anybody").fails(2, "no instrument X");
    bare.run("log instruments instrument=X kind=gauge").done();
    bare.run("log calibrations instrument=X checked_at=2031-03-30T00:00:00Z check=cross_check result=good person=anybody").done();
}

#[test]
fn a_cycle_of_an_import_has_its_row() {
    let foundry = foundry();
    // H31-002 came from RV31-01, that from H31-001; so H31-001 cannot come from revert of H31-002.
    foundry.write_bundle(
        "bad",
        &[
            ("revert_lots.csv", "revert_lot,alloy,made_at\nRV-9,QA-713/3,2031-03-10T00:00:00Z\n"),
            ("revert_sources.csv", "revert_lot,heat,mass_kg\nRV-9,H31-002,5\n"),
            ("charges.csv", "heat,source,mass_kg\nH31-002,IL31-01,1\nh31-001,RV-9,1\n"),
        ],
    );
    let json = foundry.run("import bad --json").json();
    let fault = &json["faults"][0];
    assert_eq!(
        (&fault["file"], &fault["line"], &fault["column"]),
        (&"charges.csv".into(), &3.into(), &"source".into()),
        "{json}"
    );
    let message = fault["message"].as_str().unwrap();
    for step in ["H31-001 < RV-9", "RV-9 < H31-002", "H31-002 < RV31-01", "RV31-01 < H31-001"] {
        assert!(message.contains(step), "{message}");
    }
    // The other file at fault: a source.
    foundry.run("log revert_lots revert_lot=RV-8 alloy=QA-713/3 made_at=2031-03-10T00:00:00Z").done();
    foundry.run("log revert_sources revert_lot=RV-8 heat=H31-001 mass_kg=1").done();
    foundry.run("log charges heat=H31-002 source=RV-8 mass_kg=0.5 --reason x").done();
    foundry.write_bundle("worse", &[("revert_sources.csv", "revert_lot,heat,mass_kg\nRV31-01,H31-002,1\n")]);
    let json = foundry.run("import worse --json").json();
    let fault = &json["faults"][0];
    assert_eq!(
        (&fault["file"], &fault["line"], &fault["column"]),
        (&"revert_sources.csv".into(), &2.into(), &"heat".into()),
        "{json}"
    );
}
