//! The candidate causes that records come to: each factor by which the trade explains a defect, and figures that
//! were worked out by hand.

use knowledge::causes::{Column, Values};
use meltkin::jobs::causes::ask::{Foundry as Columns, columns};
use records::Store;

use crate::every_kind;
use crate::support::Foundry;

/// Beside one record of every kind (whose choices are the first word each): what the other words open up.
const MORE: &[(&str, &str)] = &[
    (
        "oven_runs.csv",
        "oven_run,purpose,oven,started_at,instrument,setpoint_c,soak_min\n\
         OV-F,fire,K1,2031-03-04T09:05:00+00:00,T-instruments,1000,60\nOV-P,preheat,P1,2031-03-04T09:05:00+00:00,T-instruments,1050,60\n",
    ),
    (
        "oven_loads.csv",
        "oven_run,mould,place,out_at,crack\nOV-F,T-moulds,1,2031-03-04T10:05:00+00:00,none\nOV-P,T-moulds,1,2031-03-04T10:05:00+00:00,none\n",
    ),
    ("slurry_batches.csv", "slurry_batch,use,made_at\nPB-1,backup,2031-03-01T09:05:00+00:00\n"),
    (
        "slurry_checks.csv",
        "slurry_batch,occurred_at,instrument,sio2_pct,gel\nPB-1,2031-03-04T09:05:00+00:00,T-instruments,25,pass\n",
    ),
    (
        "coats.csv",
        "mould,coat,slurry_batch,stucco_lot,in_at,out_at,rh_pct\n\
         T-moulds,3,PB-1,T-stucco_lots,2031-03-04T09:05:00+00:00,2031-03-04T12:05:00+00:00,50\n",
    ),
    (
        "calibrations.csv",
        "instrument,checked_at,check,result\nT-instruments,2031-03-10T09:05:00+00:00,cross_check,failed\n",
    ),
    ("ingot_lots.csv", "ingot_lot,alloy,received_at,mass_kg\nIL-2,T-alloys@R1,2031-02-01T00:00:00Z,50\n"),
    (
        "revert_lots.csv",
        "revert_lot,alloy,made_at,form,condition\nRV-2,T-alloys@R1,2031-02-01T00:00:00Z,gates,clean\n",
    ),
    ("charges.csv", "heat,source,item,mass_kg\nT-heats,RV-2,3,500\n"),
    (
        "analyses.csv",
        "analysis,subject,purpose,taken_at,instrument\nAN-2,T-heats,check,2031-03-05T00:00:00Z,\n",
    ),
    (
        "analysis_values.csv",
        "analysis,element,value,unit\nAN-2,Al,5.9,wt%\nAN-2,B,0.01,wt%\nAN-2,C,0.12,wt%\nAN-2,Co,9,wt%\nAN-2,Cr,12,wt%\n\
         AN-2,Hf,1.2,wt%\nAN-2,Mo,2,wt%\nAN-2,Nb,1,wt%\nAN-2,S,5,ppm\nAN-2,Si,0.05,wt%\nAN-2,Ta,3,wt%\nAN-2,Ti,2,wt%\nAN-2,W,4,wt%\n\
         AN-2,Zr,0.05,wt%\nAN-2,N,12,ppm\nAN-2,O,8,ppm\nAN-2,H,1,ppm\n",
    ),
    (
        "alloy_limits.csv",
        "alloy,revision,element,min,max,unit\nT-alloys,R1,N,,0.0025,wt%\nT-alloys,R1,Cr,11,13,wt%\n",
    ),
    (
        "treatments.csv",
        "treatment,kind,schedule,furnace,instrument,started_at,temp_c,hold_h,pressure_mpa\n\
         TR-S,solution,S1,F1,T-instruments,2031-03-06T00:00:00Z,1200,2,\nTR-A,age,A1,F1,,2031-03-07T00:00:00Z,850,16,\n\
         TR-R,stress_relief,R1,F1,,2031-03-08T00:00:00Z,900,2,\n",
    ),
    ("treatment_loads.csv", "treatment,blade\nTR-S,T-blades\nTR-A,T-blades\nTR-R,T-blades\n"),
];

fn read(foundry: &Foundry) -> Columns {
    columns(&Store::open(&foundry.store()).unwrap()).unwrap()
}

fn column(of: &Columns, name: &str) -> Column {
    let names = || of.columns.iter().map(|c| c.name.as_str()).collect::<Vec<_>>().join(" ");
    let found = of.columns.iter().find(|c| c.name == name);
    found.unwrap_or_else(|| panic!("no {name} in {}", names())).clone().open()
}

/// `known_factors.txt` holds the factor names of the table of known mechanisms, which was written by others.
#[test]
fn every_factor_that_the_trade_names_is_made_where_it_is_recorded() {
    let foundry = every_kind::imported("noted");
    foundry.write_bundle("more", MORE);
    foundry.run("import more --as T-people").done();
    let made = read(&foundry);
    // Who read a blade, and how, is a column of each question.
    let known = include_str!("reference/causes/known_factors.txt");
    let wanted: Vec<&str> = known.lines().filter(|f| !f.starts_with("inspection.")).collect();
    assert_eq!(wanted.len(), 132);
    let never: Vec<&str> = wanted.into_iter().filter(|f| made.columns.iter().all(|c| c.name != *f)).collect();
    assert_eq!(never, [""; 0]);
    // Each instrument that a station names has its checks.
    for station in
        ["pour.pyrometer", "slurry_check.instrument", "oven_run.instrument", "treatment.instrument"]
    {
        for what in ["difference", "days_since_good_check", "reading"] {
            let begins = format!("{station}_{what}");
            assert!(made.columns.iter().any(|c| c.name.starts_with(&begins)), "{begins}");
        }
    }
    // Limits on record, in the unit of the readings: 0.0025 wt% are 25 ppm.
    assert_eq!(column(&made, "heat.N").limits, [25.0]);
    assert_eq!(column(&made, "heat.Cr").limits, [11.0, 13.0]);
    assert_eq!(column(&made, "pour.indicated_c").limits, [1.5]);
}

/// Two moulds: M-1 is as the recipe wants it, M-2 has a coat more.
const AGES: &[(&str, &str)] = &[
    ("alloys.csv", "alloy,liquidus_c,revert_max_pct\nQA-1,1300,40\n"),
    ("parts.csv", "part,revision,alloy\nP-1,A,QA-1\n"),
    ("running_systems.csv", "running_system,revision,fill,positions,filter\nRS-1,A,bottom,4,yes\n"),
    ("shell_recipes.csv", "recipe,revision,route,coats,min_dry_h\nSR-1,A,shell,1,3\n"),
    ("shell_batches.csv", "shell_batch,recipe,started_at\nSB-1,SR-1,2031-03-03T00:00:00Z\n"),
    ("wax_lots.csv", "wax_lot,grade,received_at\nWL-1,g,2031-02-19T00:00:00Z\n"),
    ("filter_lots.csv", "filter_lot,received_at\nFL-1,2031-02-20T00:00:00Z\n"),
    ("core_lots.csv", "core_lot,fired_at\nCL-1,2031-02-24T00:00:00Z\n"),
    ("stucco_lots.csv", "stucco_lot,received_at\nST-1,2031-02-01T00:00:00Z\n"),
    ("slurry_batches.csv", "slurry_batch,use,made_at\nPS-1,prime,2031-03-01T00:00:00Z\n"),
    (
        "pattern_runs.csv",
        "pattern_run,wax_lot,part,die,injected_at\nWP-1,WL-1,P-1,D-1,2031-03-01T00:00:00Z\nWP-2,WL-1,P-1,D-2,2031-03-02T00:00:00Z\n",
    ),
    (
        "moulds.csv",
        "mould,part,running_system,shell_batch,filter_lot,assembled_at\n\
         M-1,P-1,RS-1,SB-1,FL-1,2031-03-02T00:00:00Z\nM-2,P-1,RS-1,SB-1,FL-1,2031-03-02T12:00:00Z\n",
    ),
    (
        "coats.csv",
        "mould,coat,slurry_batch,stucco_lot,in_at,out_at\nM-1,1,PS-1,ST-1,2031-03-03T12:00:00Z,2031-03-03T16:00:00Z\n\
         M-2,1,PS-1,ST-1,2031-03-04T00:00:00Z,2031-03-04T04:00:00Z\nM-2,2,PS-1,ST-1,2031-03-05T00:00:00Z,2031-03-05T04:00:00Z\n",
    ),
    (
        "blades.csv",
        "blade,mould,position,pattern_run,cavity,core_lot\nM-1-1,M-1,1,WP-1,3,CL-1\nM-1-2,M-1,2,WP-2,3,\nM-2-1,M-2,1,WP-2,3,CL-1\n",
    ),
    ("heats.csv", "heat,alloy,furnace\nH-1,QA-1,VF-1\n"),
    ("own_fields.csv", "record,field,type,cause\npours,knockout_at,time,yes\n"),
    (
        "pours.csv",
        "mould,heat,poured_at,knockout_at\nM-1,H-1,2031-03-06T10:00:00Z,2031-03-06T11:30:00Z\nM-2,H-1,2031-03-06T11:00:00Z,\n",
    ),
    ("process_limits.csv", "record,field,warn_max,stop_max\npours,transfer_s,180,300\n"),
];

#[test]
fn ages_extra_coats_and_places_as_worked_out_by_hand() {
    let foundry = Foundry::new();
    foundry.write_bundle("ages", AGES);
    foundry.run("import ages").done();
    let made = read(&foundry);
    assert_eq!(made.moulds, ["M-1", "M-2"]);
    let numbers = |name: &str| match column(&made, name).values {
        Values::Numbers(x) => x,
        other => panic!("{name}: {other:?}"),
    };
    // Days on the calendar, of lots whole ones: of a mould's patterns the oldest counts.
    assert_eq!(numbers("mould.pattern_age_days"), [2.5, 2.0]);
    assert_eq!(numbers("wax_lot.age_days"), [11.0, 11.0]);
    assert_eq!(numbers("core_lot.age_days"), [5.0, 6.0]);
    assert_eq!(numbers("filter_lot.age_days"), [10.0, 10.0]);
    assert_eq!(numbers("stucco_lot.age_days/prime"), [30.0, 31.0]);
    assert_eq!((numbers("coats.missing"), numbers("coats.extra")), (vec![0.0, 0.0], vec![0.0, 1.0]));
    let knocked_out = numbers("pour.knockout_at_h");
    assert!(knocked_out[0] == 1.5 && knocked_out[1].is_nan(), "{knocked_out:?}");
    let Values::Words { codes, levels } = column(&made, "blade.die_cavity").values else { panic!("words") };
    let places: Vec<&str> = codes.iter().map(|&c| levels[c as usize].as_str()).collect();
    assert_eq!(places, ["D-1/3", "D-2/3", "D-2/3"]);
    assert_eq!(column(&made, "coat.drying_h/prime").limits, [3.0]);
}

#[test]
fn suggested_fields_come_with_the_line_that_adds_them() {
    let foundry = Foundry::new();
    foundry.run("new --bare").done();
    let told = foundry.run("field suggested").done().out;
    let lines: Vec<&str> = told.lines().filter_map(|l| l.trim().strip_prefix("meltkin ")).collect();
    assert_eq!(lines.len(), foundry.json("field suggested").as_array().unwrap().len());
    for line in lines {
        foundry.run(line).done();
    }
    assert_eq!(foundry.json("show own_fields")["total"], 23);
}
