//! What a release stands on: one record of every kind behind a signed lot is changed, and the release is void or, for
//! the kinds that RECORDS names, stands. Then the ways in which a record can be moved in and out of sight.

use records::catalogue;
use serde_json::Value;

use crate::lots::CLEAN;
use crate::support::Foundry;

/// Beside the clean lot: a record of every other kind behind it.
const MORE: &[(&str, &str)] = &[
    ("shell_recipes.csv", "recipe,route,coats,approved_by,approved_at\nSR-7,shell,1,QL-01,2030-01-01\n"),
    ("wax_lots.csv", "wax_lot,grade,received_at\nWL-0,W,2031-01-01T00:00:00Z\nWL-1,W,2031-01-02T00:00:00Z\n"),
    (
        "pattern_runs.csv",
        "pattern_run,wax_lot,part,die,injected_at,person\nPR-1,WL-1,QB-2207@C,D1,2031-02-01T00:00:00Z,OP-01\n",
    ),
    ("core_lots.csv", "core_lot,material\nCL-1,silica\n"),
    ("filter_lots.csv", "filter_lot,received_at\nFL-1,2031-01-01T00:00:00Z\n"),
    ("powder_lots.csv", "powder_lot,grade,received_at\nPL-1,G,2031-01-01T00:00:00Z\n"),
    ("slurry_batches.csv", "slurry_batch,use,made_at\nPS-1,prime,2031-02-01T00:00:00Z\n"),
    (
        "slurry_checks.csv",
        "slurry_batch,occurred_at,person,ph\nPS-1,2031-02-20T00:00:00Z,OP-01,9.5\nPS-1,2031-02-23T00:00:00Z,OP-01,9.5\nPS-1,2031-02-25T00:00:00Z,OP-01,9.5\n",
    ),
    ("stucco_lots.csv", "stucco_lot,received_at\nST-1,2031-01-01T00:00:00Z\n"),
    ("shell_batches.csv", "shell_batch,recipe,started_at\nSB-1,SR-7,2031-02-20T00:00:00Z\n"),
    (
        "coats.csv",
        "mould,coat,slurry_batch,stucco_lot,in_at,out_at\nM31-001,1,PS-1,ST-1,2031-02-21T00:00:00Z,2031-02-21T03:00:00Z\n",
    ),
    ("investments.csv", "mould,powder_lot,mixed_at\nM31-001,PL-1,2031-02-22T00:00:00Z\n"),
    (
        "oven_runs.csv",
        "oven_run,purpose,oven,started_at\nOR-1,dewax,O1,2031-02-26T00:00:00Z\nOR-2,fire,O2,2031-02-27T00:00:00Z\n",
    ),
    ("oven_loads.csv", "oven_run,mould,crack\nOR-1,M31-001,none\nOR-2,M31-001,none\n"),
    ("pour_plans.csv", "mould,planned_on,target_c\nM31-001,2031-03-04,1480\n"),
    ("revert_lots.csv", "revert_lot,alloy,made_at\nRV31-01,QA-713/3,2031-01-20T00:00:00Z\n"),
    ("revert_sources.csv", "revert_lot,heat,mass_kg\nRV31-01,H31-000,5\n"),
    ("test_bars.csv", "test_bar,heat,uts_mpa\nTB-1,H31-001,900\n"),
    ("treatments.csv", "treatment,kind,started_at\nTR-1,age,2031-03-06T00:00:00Z\n"),
    ("treatment_loads.csv", "treatment,blade\nTR-1,M31-001-1\nTR-1,M31-001-2\n"),
    ("findings.csv", "inspection,defect,item,zone,size_mm\nI3,inclusion,1,AF,0.1\n"),
    ("measurements.csv", "inspection,characteristic,value,unit,lower,upper\nI3,chord,20,mm,19,21\n"),
    (
        "concessions.csv",
        "concession,type,part,limits,granted_at,granted_by\nCN-1,concession,QB-2207@C,marks,2031-03-11T00:00:00Z,QL-01\n",
    ),
    (
        "concession_items.csv",
        "concession,item,measure,covers,name,zone,at_most,unit\nCN-1,1,size_mm,defect,inclusion,AF,1,mm\n",
    ),
    (
        "trials.csv",
        "trial,question,factor,response,opened_at,status\nT-1,q,seal,inclusion,2031-01-01T00:00:00Z,open\n",
    ),
    ("trial_moulds.csv", "trial,mould,arm\nT-1,M31-001,a\n"),
    (
        "holds.csv",
        "hold,subject,placed_at,person,reason,lifted_at,lifted_by,lifted_reason\nHD-1,M31-001,2031-03-05T00:00:00Z,OP-01,why,2031-03-06T00:00:00Z,QL-01,seen\n",
    ),
    ("retags.csv", "old_tag,new_tag,changed_at\nM31-001-2,B-2,2031-03-02T00:00:00Z\n"),
    // printf film | sha256sum
    (
        "attachments.csv",
        "attachment,subject,path,sha256,bytes\nA-1,I3,film.txt,9e8f6ea5c5b29e7b5e9b3fef44ec3c0fb1f5b8c64c4f4b2a4b8e8d59bff8ab1c,4\n",
    ),
    ("samples.csv", "sample,subject,kind\nSA-1,I3,film\n"),
    ("process_limits.csv", "record,field,scope,warn_max\npours,indicated_c,QB-2207,1520\n"),
    ("costs.csv", "part,station,value,currency,from_date\nQB-2207@C,pour,10,EUR,2031-01-01\n"),
    (
        "finish_steps.csv",
        "subject,step,done_at,person\nM31-001,knock_out,2031-03-04T12:00:00Z,OP-01\nM31-001-1,cut_off,2031-03-05T00:00:00Z,OP-01\n",
    ),
    ("hand_overs.csv", "person,taken_at\nOP-01,2031-03-01T06:00:00Z\n"),
    ("own_fields.csv", "record,field,type,cause\nmoulds,cup_tilt_deg,number,no\n"),
    ("settings.csv", "setting,value\nsheet boxes,{}\n"),
    ("organisations.csv", "organisation,role,name\nORG-1,own,a foundry (invented)\n"),
];

/// Changes of the clean lot's own files, so that it stands on the rest.
const CHANGED: &[(&str, &str, &str)] = &[
    (
        "moulds.csv",
        "mould,part,running_system,assembled_at\nM31-001,QB-2207,RS-1,",
        "mould,part,running_system,shell_batch,filter_lot,assembled_at\nM31-001,QB-2207,RS-1,SB-1,FL-1,",
    ),
    (
        "blades.csv",
        "blade,mould,position\nM31-001-1,M31-001,1\nM31-001-2,M31-001,2\n",
        "blade,mould,position,pattern_run,core_lot\nM31-001-1,M31-001,1,PR-1,CL-1\nM31-001-2,M31-001,2,PR-1,CL-1\n",
    ),
    ("heats.csv", "H31-001,QA-713/3", "H31-000,QA-713/3,F1,2031-01-10T09:00:00Z\nH31-001,QA-713/3"),
    ("charges.csv", "H31-001,IL31-01,11\n", "H31-000,IL31-01,11\nH31-001,IL31-01,8\nH31-001,RV31-01,3\n"),
    (
        "analyses.csv",
        "AN-2,H31-001",
        "AN-3,H31-000,check,2031-01-10T12:00:00Z\nAN-4,RV31-01,check,2031-01-21T12:00:00Z\nAN-2,H31-001",
    ),
    ("analysis_values.csv", "AN-2,O,14,ppm\n", "AN-2,O,14,ppm\nAN-3,O,13,ppm\nAN-4,O,13,ppm\n"),
    (
        "dispositions.csv",
        "blade,decided_at,decision,person\nM31-001-1,2031-03-12T00:00:00Z,accept,QL-01\n",
        "blade,decided_at,decision,person,concession\nM31-001-1,2031-03-12T00:00:00Z,concession,QL-01,CN-1\n",
    ),
    (
        "dispositions.csv",
        "M31-001-2,2031-03-12T00:00:00Z,accept,QL-01",
        "M31-001-2,2031-03-12T00:00:00Z,accept,QL-01,",
    ),
    (
        "qualifications.csv",
        "person,method,level,expires_on,eyesight_on\nIN-01,penetrant,2,2033-01-01,2031-01-01\nIN-01,radiograph,2,2033-01-01,2031-01-01\n",
        "person,method,level,from_on,expires_on,eyesight_on\nIN-01,penetrant,2,2030-01-01,2033-01-01,2031-01-01\nIN-01,radiograph,2,2030-01-01,2033-01-01,2031-01-01\n",
    ),
    (
        "running_systems.csv",
        "running_system,fill,positions,filter,approved_at\nRS-1,bottom,2,yes,2030-01-01",
        "running_system,fill,positions,filter,approved_at\nRS-1,bottom,2,no,2030-01-01",
    ),
];

/// A record of each kind, and a change of it.
const CHANGES: &[(&str, &str)] = &[
    ("alloys", "correct QA-713/3 density_g_cm3=8"),
    ("alloy_limits", "correct alloy_limits:QA-713/3/O source=x"),
    ("parts", "correct QB-2207@C mass_g=100"),
    ("zones", "correct zones:QB-2207@C/AF name=foil"),
    ("inspection_plans", "correct inspection_plans:QB-2207@C/radiograph note=x"),
    ("defect_terms", "correct defect_terms:inclusion description=x"),
    ("shell_recipes", "correct SR-7 preheat_c=1000"),
    ("running_systems", "correct RS-1 head_mm=100"),
    ("instruments", "correct PYR-02 description=x"),
    ("calibrations", "correct calibrations:PYR-02/2031-03-01T00:00:00+00:00 difference=1"),
    ("people", "correct OP-01 role=metallurgist"),
    ("qualifications", "correct qualifications:IN-01/radiograph/2030-01-01 level=3"),
    ("process_limits", "correct process_limits:pours/indicated_c/QB-2207 warn_max=1530"),
    ("ingot_lots", "correct IL31-01 certificate=x"),
    ("revert_lots", "correct RV31-01 form=x"),
    ("heats", "correct H31-000 crucible=C-1"),
    ("revert_sources", "correct revert_sources:RV31-01/H31-000 mass_kg=6"),
    ("charges", "correct charges:H31-000/IL31-01/1 note=x"),
    ("analyses", "correct AN-3 method=x"),
    ("analysis_values", "correct analysis_values:AN-4/O uncertainty=1"),
    ("wax_lots", "correct WL-1 grade=V"),
    ("pattern_runs", "correct PR-1 die=D2"),
    ("core_lots", "correct CL-1 material=x"),
    ("filter_lots", "correct FL-1 material=x"),
    ("powder_lots", "correct PL-1 grade=H"),
    ("slurry_batches", "correct PS-1 binder=x"),
    ("slurry_checks", "correct slurry_checks:PS-1/2031-02-23T00:00:00+00:00 ph=9.6"),
    ("stucco_lots", "correct ST-1 mesh=80"),
    ("shell_batches", "correct SB-1 room=2"),
    ("moulds", "correct M31-001 seal=ring"),
    ("coats", "correct coats:M31-001/1 room_c=21"),
    ("investments", "correct investments:M31-001 mix_s=10"),
    ("oven_runs", "correct OR-1 soak_min=60"),
    ("oven_loads", "correct oven_loads:OR-1/M31-001 place=2"),
    ("pour_plans", "correct pour_plans:M31-001 target_c=1481"),
    ("pours", "correct pours:M31-001 mould_c=1000"),
    ("test_bars", "correct TB-1 uts_mpa=901"),
    ("blades", "correct M31-001-1 cavity=2"),
    ("finish_steps", "correct finish_steps:M31-001-1/1 damage=nick"),
    ("treatments", "correct TR-1 schedule=x"),
    ("treatment_loads", "correct treatment_loads:TR-1/M31-001-1 note=x"),
    ("inspections", "correct I3 technique=RT-2"),
    ("findings", "correct findings:I3/inclusion/1 size_mm=0.2"),
    ("measurements", "correct measurements:I3/chord value=20.1"),
    ("concessions", "correct CN-1 note=x"),
    ("concession_items", "correct concession_items:CN-1/1/size_mm at_most=2"),
    ("dispositions", "correct dispositions:M31-001-1/2031-03-12T00:00:00+00:00 reason=x"),
    ("lots", "correct L31-01 purchaser=x"),
    ("lot_blades", "correct lot_blades:L31-01/M31-001-1 note=x"),
    ("trial_moulds", "correct trial_moulds:T-1/M31-001 arm=b"),
    ("holds", "correct HD-1 note=x"),
    ("retags", "correct retags:M31-001-2/2031-03-02T00:00:00+00:00 reason=x"),
    ("attachments", "correct A-1 title=x"),
    ("samples", "correct SA-1 kept_at=shelf"),
];

/// Kinds that RECORDS, *What a release stands on*, names as not standing behind one; settings are how the program reads
/// a shop's sheets, and no record refers to them.
const STAND: &[(&str, &str)] = &[
    ("shipments", "log shipments blade=M31-001-1 shipped_at=2031-03-20T00:00:00Z"),
    (
        "signatures",
        "log signatures subject=I3 role=inspector person=IN-01 signed_at=2031-03-20T00:00:00Z meaning=checked",
    ),
    ("costs", "correct costs:QB-2207@C/pour/2031-01-01 value=11"),
    ("hand_overs", "correct hand_overs:OP-01/2031-03-01T06:00:00+00:00 given_by=OP-02"),
    ("own_fields", "correct own_fields:moulds/cup_tilt_deg cause=yes"),
    ("trials", "correct T-1 decision=x"),
    ("knowledge_sources", "log knowledge_sources source=S-9 status=practice reference=x"),
    (
        "known_causes",
        "log known_causes defect=inclusion factor=pour.person direction=level strength=primary mechanism=m check=c \
         source_status=practice",
    ),
    ("known_cause_reviews", "log known_cause_reviews defect=inclusion reviewed_at=now"),
    ("settings", "correct settings:sheet\u{a0}boxes note=x"),
    ("organisations", "correct ORG-1 address=x"),
];

/// The whole lot, signed.
fn signed() -> Foundry {
    let f = Foundry::new();
    let mut files: Vec<(&str, String)> = CLEAN.iter().map(|(n, t)| (*n, (*t).to_string())).collect();
    for (name, from, to) in CHANGED {
        let file = files.iter_mut().find(|(n, _)| n == name).unwrap();
        assert!(file.1.contains(from), "{name} holds no {from}");
        file.1 = file.1.replace(from, to);
    }
    std::fs::write(f.path("film.txt"), "film").unwrap();
    let digest = std::process::Command::new("sha256sum").arg(f.path("film.txt")).output().unwrap();
    let digest = String::from_utf8(digest.stdout).unwrap()[..64].to_string();
    for (name, text) in MORE {
        let made = "9e8f6ea5c5b29e7b5e9b3fef44ec3c0fb1f5b8c64c4f4b2a4b8e8d59bff8ab1c";
        files.push((name, text.replace(made, &digest)));
    }
    let files: Vec<(&str, &str)> = files.iter().map(|(n, t)| (*n, t.as_str())).collect();
    f.write_bundle("bundle", &files);
    f.run("import bundle --as QL-01").done();
    let draft = f.run("lot summary L31-01 --json").json();
    assert_eq!(draft["blocked"].to_string(), "[]");
    assert_eq!(f.json("lot summary L31-01 --final --as QL-02")["state"], "final");
    f
}

fn state(f: &Foundry) -> (String, Value) {
    let answer = f.run("lot summary L31-01 --json");
    let json = answer.json();
    let state = json["state"].as_str().unwrap().to_string();
    assert_eq!(answer.code, i32::from(state == "void"), "{json}");
    (state, json["signed"]["changed"].clone())
}

/// Puts the signed store back.
fn again(f: &Foundry, bytes: &[u8]) {
    for end in ["-wal", "-shm"] {
        let _ = std::fs::remove_file(f.path(&format!("store.db{end}")));
    }
    std::fs::write(f.store(), bytes).unwrap();
}

#[test]
fn a_change_of_any_kind_behind_a_signed_lot_makes_it_void() {
    let f = signed();
    let bytes = std::fs::read(f.store()).unwrap();
    for kind in catalogue::all() {
        let void = CHANGES.iter().find(|(k, _)| *k == kind.name);
        let stands = STAND.iter().find(|(k, _)| *k == kind.name);
        assert!(void.is_some() != stands.is_some(), "{} has a place in one of the two lists", kind.name);
        again(&f, &bytes);
        // There is something to sign only where a cause is on record.
        if kind.name == "known_cause_reviews" {
            f.run(
                "log known_causes defect=inclusion factor=pour.person direction=level strength=primary mechanism=m \
                 check=c source_status=practice --as QL-01",
            )
            .done();
        }
        let (_, change) = void.or(stands).unwrap();
        let words: Vec<String> = change.split(' ').map(|w| w.replace('\u{a0}', " ")).collect();
        let mut words: Vec<&str> = words.iter().map(String::as_str).collect();
        words.extend(["--as", "QL-01"]);
        if words[0] == "correct" {
            words.extend(["--reason", "seen"]);
        }
        let done = f.run_with(&words);
        // Items of a concession that a disposition names cannot be changed at all.
        if kind.name == "concession_items" && done.code == 2 {
            assert_eq!(state(&f).0, "final");
            continue;
        }
        assert_eq!(done.code, 0, "{change}: {}", done.err);
        let (now, changed) = state(&f);
        let wanted = if void.is_some() { "void" } else { "final" };
        assert_eq!(now, wanted, "{}: {change}: {changed}", kind.name);
        if void.is_some() {
            assert!(changed.to_string().contains(kind.noun), "{}: {changed}", kind.name);
        }
    }
}

#[test]
fn what_is_moved_out_taken_back_or_added_counts_and_what_has_no_bearing_does_not() {
    let f = signed();
    let bytes = std::fs::read(f.store()).unwrap();
    let calibration = |result: &str, at: &str| {
        format!(
            "log calibrations instrument=PYR-02 checked_at={at} check=cross_check result={result} --as QL-01"
        )
    };
    let cases: &[(&str, &[&str])] = &[
        // Done and undone.
        ("void", &["log test_bars test_bar=TB-9 heat=H31-001 --as OP-01", "undo --as OP-01"]),
        ("void", &["hold IL31-01 --reason x --as OP-01", "undo --as OP-01"]),
        ("void", &["correct coats:M31-001/1 room_c=22 --reason x --as OP-01", "undo --as OP-01"]),
        // Moved out of the set: it is not there any more, and was.
        ("void", &["correct treatment_loads:TR-1/M31-001-1 treatment=TR-2 --reason x --as QL-01"]),
        ("void", &["correct lot_blades:L31-01/M31-001-2 lot=L31-02 --reason x --as QL-01"]),
        ("void", &["correct findings:I3/inclusion/1 inspection=I8 --reason x --as QL-01"]),
        ("void", &["log lot_blades lot=L31-01 blade=B-9 --as QL-01", "undo --as QL-01"]),
        // Added to it.
        (
            "void",
            &["log dispositions blade=M31-001-2 decided_at=2031-03-30T00:00:00Z decision=accept --as QL-01"],
        ),
        ("void", &["log retags old_tag=B-2 new_tag=B-3 changed_at=2031-03-30T00:00:00Z --as OP-01"]),
        ("void", &["log process_limits record=coats field=room_c warn_max=25 --as QL-01"]),
        ("void", &["log charges heat=H31-000 source=IL31-01 mass_kg=0.1 --as OP-01"]),
        // Nothing to do with it.
        ("final", &["log process_limits record=coats field=room_c scope=QB-9 warn_max=25 --as QL-01"]),
        ("final", &["log wax_lots wax_lot=WL-9 grade=W received_at=2031-03-01T00:00:00Z --as OP-01"]),
        ("final", &["correct WL-0 grade=V --reason x --as OP-01"]),
        ("final", &["correct OP-01 note=left-handed --reason x --as QL-01"]),
        // A pot: the first check after the last coat counts, a later one does not.
        ("final", &["correct slurry_checks:PS-1/2031-02-25T00:00:00+00:00 ph=9.7 --reason x --as OP-01"]),
        (
            "final",
            &[
                "log slurry_checks slurry_batch=PS-1 occurred_at=2031-02-26T00:00:00Z ph=9.5 --reason late --as OP-01",
            ],
        ),
        (
            "void",
            &[
                "log slurry_checks slurry_batch=PS-1 occurred_at=2031-02-22T00:00:00Z ph=9.5 --reason late --as OP-01",
            ],
        ),
        // An instrument: the next check voids only where it failed next to a reading.
        ("final", &[&calibration("good", "2031-03-08T00:00:00Z")]),
        ("final", &[&calibration("not_done", "2031-03-08T00:00:00Z")]),
        ("void", &[&calibration("failed", "2031-03-08T00:00:00Z")]),
        ("void", &[&calibration("failed", "2031-03-08T00:00:00Z"), "undo --as QL-01"]),
        (
            "final",
            &[&calibration("good", "2031-03-08T00:00:00Z"), &calibration("failed", "2031-03-09T00:00:00Z")],
        ),
        // A renewal that begins after the last film was read.
        (
            "final",
            &[
                "log qualifications person=IN-01 method=radiograph level=2 from_on=2031-03-25 expires_on=2035-01-01 --as QL-01",
            ],
        ),
        (
            "void",
            &[
                "log qualifications person=IN-01 method=radiograph level=3 from_on=2031-02-01 expires_on=2035-01-01 --as QL-01",
            ],
        ),
        (
            "final",
            &[
                "log qualifications person=IN-01 method=visual level=3 from_on=2031-02-01 expires_on=2035-01-01 --as QL-01",
            ],
        ),
    ];
    for (wanted, acts) in cases {
        again(&f, &bytes);
        f.run("log treatments treatment=TR-2 kind=age started_at=2031-03-06T00:00:00Z --as OP-01").done();
        f.run("log parts part=QB-9 alloy=QA-713/3 --as QL-01").done();
        f.run("log lots lot=L31-02 part=QB-2207@C opened_at=2031-03-20T00:00:00Z --as QL-01").done();
        f.run("log blades blade=B-9 --as OP-01").done();
        f.run("log inspections inspection=I8 blade=B-9 method=visual round=1 inspected_at=2031-03-20T00:00:00Z result=accept --as IN-01").done();
        assert_eq!(state(&f).0, "final");
        for act in *acts {
            let done = f.run(act);
            assert!(done.code == 0 || act.starts_with("undo"), "{act}: {}", done.err);
        }
        let (now, changed) = state(&f);
        assert_eq!(now, *wanted, "{acts:?}: {changed}");
    }
}

#[test]
fn a_file_that_comes_in_later_counts_and_so_does_a_row_that_vanished() {
    let f = signed();
    let bytes = std::fs::read(f.store()).unwrap();
    std::fs::write(f.path("findings.csv"), "inspection,defect,item,zone\nI4,inclusion,1,AF\n").unwrap();
    f.run("import findings.csv --as QL-01").done();
    let (now, changed) = state(&f);
    assert_eq!(
        (now.as_str(), changed.to_string().contains("finding findings:I4/inclusion/1")),
        ("void", true),
        "{changed}"
    );
    again(&f, &bytes);
    let sql = "DELETE FROM samples";
    assert!(std::process::Command::new("sqlite3").arg(f.store()).arg(sql).status().unwrap().success());
    let (now, changed) = state(&f);
    assert_eq!(
        (now.as_str(), changed.to_string().contains("run meltkin verify")),
        ("void", true),
        "{changed}"
    );
}
