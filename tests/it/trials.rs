//! Trials: the arms against each other, size, assignment, how one stands. The bundles are invented.
//! `tests/reference/compare_trials.py` holds the figures of random trials against an outside calculation.

use serde_json::Value;

use crate::support::{Answer, Foundry};

fn demo() -> Foundry {
    let foundry = Foundry::new();
    foundry.json("demo --no-screen");
    foundry
}

fn near(value: &Value, expected: f64, room: f64) {
    let got = value.as_f64().unwrap_or_else(|| panic!("{value} instead of {expected}"));
    assert!((got - expected).abs() <= room, "{got} instead of {expected}");
}

/// A mould of an invented trial.
pub struct M {
    pub name: &'static str,
    pub arm: &'static str,
    pub block: &'static str,
    pub heat: &'static str,
    /// One letter a blade: `x` with the pore, `.` without, `?` not inspected, `s` with and scrapped.
    pub blades: &'static str,
    pub recipe: &'static str,
}

pub const fn m(
    name: &'static str,
    arm: &'static str,
    block: &'static str,
    heat: &'static str,
    blades: &'static str,
) -> M {
    M { name, arm, block, heat, blades, recipe: arm }
}

/// A foundry with a trial `T-1` of these moulds; a mould without a heat is not poured. `trial` holds the fields
/// after the factor `shell_recipes` and the response: status, planned_moulds, seed.
pub fn foundry_of(response: &str, trial: &str, moulds: &[M]) -> Foundry {
    let foundry = Foundry::new();
    let mut files: Vec<(&str, String)> = vec![
        ("alloys.csv", "alloy\nA-1\n".into()),
        ("parts.csv", "part,alloy\nP-1,A-1\n".into()),
        ("defect_terms.csv", "defect,name\npore,pore\nmisrun,misrun\n".into()),
        (
            "shell_recipes.csv",
            "recipe,revision,route,approved_at\nSR-1,B,shell,2030-01-01\nSR-1,C,shell,\nSR-1,D,shell,\n"
                .into(),
        ),
        ("running_systems.csv", "running_system,fill,positions,filter\nRS-1,bottom,8,no\n".into()),
        ("people.csv", "person,role\nQL-01,quality\nEN-01,engineer\n".into()),
    ];
    let mut heats: Vec<&str> = moulds.iter().map(|m| m.heat).filter(|h| !h.is_empty()).collect();
    heats.sort_unstable();
    heats.dedup();
    let list = |head: &str, rows: Vec<String>| format!("{head}\n{}", rows.concat());
    files.push((
        "heats.csv",
        list("heat,alloy,furnace", heats.iter().map(|h| format!("{h},A-1,F-1\n")).collect()),
    ));
    let batches = ["B", "C", "D"].map(|r| format!("SB-{r},SR-1@{r},2031-01-01T00:00:00Z\n"));
    files.push(("shell_batches.csv", list("shell_batch,recipe,started_at", batches.to_vec())));
    let batch = |m: &M| match m.recipe {
        "B" | "C" | "D" => format!("SB-{}", m.recipe),
        _ => String::new(),
    };
    let mould = |m: &M| format!("{},P-1,RS-1,{},2031-01-05T00:00:00Z\n", m.name, batch(m));
    files.push((
        "moulds.csv",
        list("mould,part,running_system,shell_batch,assembled_at", moulds.iter().map(mould).collect()),
    ));
    let (mut pours, mut blades, mut inspections, mut findings, mut decisions, mut values) =
        (vec![], vec![], vec![], vec![], vec![], vec![]);
    for (i, m) in moulds.iter().enumerate() {
        if !m.heat.is_empty() {
            pours.push(format!("{},{},2031-01-10T{:02}:{:02}:00Z\n", m.name, m.heat, i / 60, i % 60));
        }
        for (k, call) in m.blades.chars().enumerate() {
            let blade = format!("{}-{k}", m.name);
            blades.push(format!("{blade},{}\n", m.name));
            if call == '?' {
                continue;
            }
            let bad = matches!(call, 'x' | 's');
            let result = if bad { "reject" } else { "accept" };
            inspections.push(format!("I-{blade},{blade},radiograph,1,2031-01-20T00:00:00Z,{result}\n"));
            values.push(format!(
                "I-{blade},wall,{},mm,,3.4\n",
                3.0 + f64::from(u8::from(bad)) * 0.2 + k as f64 * 0.01
            ));
            if bad {
                findings.push(format!("I-{blade},pore\n"));
            }
            let decision = if call == 's' { "scrap" } else { "accept" };
            decisions.push(format!("{blade},2031-01-21T00:00:00Z,{decision}\n"));
        }
    }
    files.push(("pours.csv", list("mould,heat,poured_at", pours)));
    files.push(("blades.csv", list("blade,mould", blades)));
    files.push(("inspections.csv", list("inspection,blade,method,round,inspected_at,result", inspections)));
    files.push(("findings.csv", list("inspection,defect", findings)));
    files.push(("measurements.csv", list("inspection,characteristic,value,unit,lower,upper", values)));
    files.push(("dispositions.csv", list("blade,decided_at,decision", decisions)));
    files.push((
        "trials.csv",
        format!(
            "trial,question,factor,response,opened_at,status,planned_moulds,seed\nT-1,is C better?,shell_recipes,{response},2031-01-01T00:00:00Z,{trial}\n"
        ),
    ));
    let arms = moulds.iter().filter(|m| !m.arm.is_empty());
    files.push((
        "trial_moulds.csv",
        list(
            "trial,mould,arm,block",
            arms.map(|m| format!("T-1,{},{},{}\n", m.name, m.arm, m.block)).collect(),
        ),
    ));
    let files: Vec<(&str, &str)> = files.iter().map(|(n, t)| (*n, t.as_str())).collect();
    foundry.write_bundle("bundle", &files);
    foundry.run("import bundle --as QL-01").done();
    foundry
}

/// Six heats, arm B and C in each, four blades a mould.
fn paired(a: [&'static str; 6], b: [&'static str; 6]) -> Vec<M> {
    const NAMES: [[&str; 2]; 6] = [
        ["M-01", "M-02"],
        ["M-03", "M-04"],
        ["M-05", "M-06"],
        ["M-07", "M-08"],
        ["M-09", "M-10"],
        ["M-11", "M-12"],
    ];
    const HEATS: [&str; 6] = ["H-1", "H-2", "H-3", "H-4", "H-5", "H-6"];
    (0..6)
        .flat_map(|i| [m(NAMES[i][0], "B", "", HEATS[i], a[i]), m(NAMES[i][1], "C", "", HEATS[i], b[i])])
        .collect()
}

fn texts(list: &Value) -> String {
    list.as_array().unwrap().iter().map(|v| v.as_str().unwrap()).collect::<Vec<_>>().join("\n")
}

#[test]
fn the_trial_of_the_demo_cannot_tell() {
    let foundry = demo();
    let found = foundry.json("compare --trial T31-01");
    let (a, b) = (&found["a"], &found["b"]);
    assert_eq!((&a["arm"], &b["arm"]), (&"B".into(), &"C".into()));
    let counts =
        |s: &Value| ["with", "blades", "moulds", "heats", "not_inspected"].map(|k| s[k].as_u64().unwrap());
    assert_eq!((counts(a), counts(b)), ([6, 48, 6, 6, 0], [7, 48, 6, 6, 0]));
    assert_eq!(found["verdict"], "cannot tell");
    // By hand: C less B in the six heats is 1, 1, -1, 0, 0, 0 blades, so every one of the 64 ways to deal the arms
    // gives an odd difference, at least as far from 0 as the one seen.
    assert_eq!(found["p"], 1.0);
    // Σ((difference - 1/6)/48)² = (2 (5/6)² + (7/6)² + 3 (1/6)²)/48² is less than independent blades vary by,
    // p(1-p)/48 of each arm, which then stands; t(0.975; 4) = 2.776445 (tables)
    let s2 = (2.0 * (5.0f64 / 6.0).powi(2) + (7.0f64 / 6.0).powi(2) + 3.0 / 36.0) / 48.0f64.powi(2);
    let independent = (6.0 * 42.0 + 7.0 * 41.0) / 48.0f64.powi(3);
    assert!(s2 < independent);
    let s2 = independent;
    assert_eq!(found["design_effect"], 1.0);
    near(&found["difference"], 1.0 / 48.0, 1e-12);
    near(&found["interval"][0], 1.0 / 48.0 - 2.776_445 * s2.sqrt(), 1e-7);
    near(&found["interval"][1], 1.0 / 48.0 + 2.776_445 * s2.sqrt(), 1e-7);
    near(&found["ratio"], 7.0 / 6.0, 1e-12);
    // (1.645 + 0.842)² (p q + p' q')/(8 (1/48)²), rounded up
    let (p, q) = (6.0 / 48.0, 7.0 / 48.0);
    let k: f64 = 2.487f64.powi(2) * (p * (1.0 - p) + q * (1.0 - q)) * 48.0 * 48.0 / 8.0;
    assert_eq!(found["needed"]["moulds_per_arm"], k.ceil() as u64);
    let text = foundry.run("compare --trial t31-01").done().out;
    assert!(text.contains("Cannot tell.") && text.contains("7 of 48 blades"), "{text}");
}

#[test]
fn the_trial_of_the_demo_as_it_stands() {
    let foundry = demo();
    let found = foundry.json("trial show T31-01");
    assert_eq!((&found["status"], &found["interim"]), (&"closed".into(), &false.into()));
    assert_eq!(found["deviations"], Value::Array(vec![]));
    let moulds = found["moulds"].as_array().unwrap();
    for mould in moulds {
        assert_eq!(mould["development_only"], mould["arm"] == "C", "{mould}");
        assert_eq!(mould["lots"][0], "L31-03");
        assert_eq!(mould["block"], mould["heat"]);
    }
    assert_eq!((moulds.len(), found["blocks"].as_u64()), (12, Some(6)));
    assert!(found["permissions"][0].as_str().unwrap().contains("DV31-01"));
    // scipy: n = ((z(.975) √(2·.1·.9) + z(.8) √(.125·.875 + .075·.925))/.05)² = 563.939 blades of 8
    assert_eq!(found["needed_for_worth"], 71);
    assert_eq!(found["result"]["verdict"], "cannot tell");
    assert!(found["decision"].as_str().unwrap().starts_with("cannot tell"));
    let text = foundry.run("trial show T31-01").done().out;
    for part in
        ["hopeless this way", "# development only", "seed", "310105", "one look at the end", "Cannot tell."]
    {
        assert!(text.contains(part), "{part} in\n{text}");
    }
    foundry.run("verify").done();
}

#[test]
fn the_size_of_a_trial() {
    let foundry = Foundry::new();
    let found = foundry.json("trial plan --rate 0.06 --worth-having 0.03 --per-mould 8 --icc 0.05");
    // scipy: ((z(.975) √(2·.045·.955) + z(.8) √(.06·.94 + .03·.97))/.03)² = 748.388; times 1.35; over 8
    assert_eq!(found["blades_per_arm"], 1011);
    assert_eq!(found["moulds_per_arm"], 127);
    near(&found["design_effect"], 1.35, 1e-12);
    let text = foundry.run("trial plan --rate 0.06 --worth-having 0.03 --per-mould 8 --icc 0.05").done().out;
    assert!(
        text.contains("needs about 127 moulds an arm: hopeless this way")
            || text.contains("Needs about 127 moulds an arm: hopeless this way"),
        "{text}"
    );
    // 2 (z(.975) + z(.8))²/0.25 · 1.35/8 = 10.596
    assert!(text.contains("measured response") && text.contains("about 11 moulds an arm"), "{text}");
    let small = foundry.run("trial plan --rate 0.3 --worth-having 0.1 --per-mould 8 --icc 0.05").done().out;
    assert!(!small.contains("hopeless"), "{small}");
    let say = |arguments: &str, sentence: &str| drop(foundry.run(arguments).fails(2, sentence));
    say("trial plan --rate 0.1 --worth-having 0.1 --per-mould 8 --icc 0", "no difference to look for");
    say("trial plan --rate 1.1 --worth-having 0.1 --per-mould 8 --icc 0", "from 0 to 1");
    say("trial plan --rate 0.2 --worth-having 0.1 --per-mould 0 --icc 0", "1 or more");
    say("trial plan --rate NaN --worth-having 0.1 --per-mould 8 --icc 0", "from 0 to 1");
    say("trial plan --rate 0.2 --worth-having 0.1 --per-mould 8 --icc 2", "from 0 to 1");
    say("trial plan --rate 0.2 --worth-having 0.1 --per-mould 8 --icc 0 --power 1", "between half of alpha");
}

#[test]
fn a_difference_that_is_there_and_what_does_not_count() {
    let all = ["....", ".x..", "....", "....", "...x", "...."];
    let bad = ["xx.?", "xxx.", "x.xx", "xx..", "xxxx", ".xx?"];
    let foundry = foundry_of("pore", "closed,12,1", &paired(all, bad));
    let found = foundry.json("compare --trial T-1");
    assert_eq!((found["a"]["with"].as_u64(), found["a"]["blades"].as_u64()), (Some(2), Some(24)));
    // blades not inspected count in no rate
    assert_eq!((found["b"]["with"].as_u64(), found["b"]["blades"].as_u64()), (Some(16), Some(22)));
    assert_eq!((found["b"]["made"].as_u64(), found["b"]["not_inspected"].as_u64()), (Some(24), Some(2)));
    assert_eq!((&found["method"], &found["verdict"]), (&"radiograph".into(), &"a better".into()));
    // all six heats show it the same way: the deal seen and its mirror of 64
    near(&found["p"], 2.0 / 64.0, 1e-12);
    assert!(texts(&found["cautions"]).contains("2 blades are not inspected"));
    // scrap counts blades with a final disposition alone
    let scrap = foundry_of(
        "scrap",
        "closed,12,1",
        &paired(["..s.", "?...", "....", "....", "....", "...."], ["...."; 6]),
    );
    let found = scrap.json("compare --trial T-1");
    assert_eq!((found["a"]["with"].as_u64(), found["a"]["blades"].as_u64()), (Some(1), Some(23)));
    assert_eq!(found["ratio"], 0.0);
}

#[test]
fn measured_values_are_compared_by_their_means() {
    let foundry = foundry_of(
        "wall",
        "closed,12,1",
        &paired(["...."; 6], ["xxxx", "xxx.", "xxxx", "xxxx", "xxxx", "xxxx"]),
    );
    let found = foundry.json("compare --trial T-1");
    assert_eq!((&found["measure"], &found["unit"]), (&"mean".into(), &"mm".into()));
    assert_eq!((&found["a"]["with"], &found["ratio"]), (&Value::Null, &Value::Null));
    // values 3.00 to 3.03 in each mould, 0.2 more where marked
    near(&found["a"]["rate"], 3.015, 1e-12);
    near(&found["b"]["rate"], 3.015 + 0.2 * 23.0 / 24.0, 1e-12);
    // only an upper limit is recorded, so the lower mean is the better one
    assert_eq!(found["verdict"], "a better");
    assert!(foundry.run("compare --trial T-1").out.contains("24 blades"));
}

#[test]
fn three_arms_one_arm_no_arm() {
    let arms = [
        ("M-1", "B", "H-1"),
        ("M-2", "C", "H-1"),
        ("M-3", "D", "H-1"),
        ("M-4", "B", "H-2"),
        ("M-5", "C", "H-2"),
        ("M-6", "D", "H-2"),
    ];
    let three: Vec<M> =
        arms.iter().map(|&(n, a, h)| m(n, a, "", h, if a == "D" { "xx.." } else { "...." })).collect();
    let found = foundry_of("pore", "closed,6,1", &three).json("compare --trial T-1");
    assert_eq!((&found["a"]["arm"], &found["b"]["arm"]), (&"B".into(), &"C".into()));
    assert_eq!(
        (&found["others"][0]["a"]["arm"], &found["others"][0]["b"]["arm"]),
        (&"B".into(), &"D".into())
    );
    assert!(texts(&found["cautions"]).contains("2 arms are each held against it"), "{found}");
    let one: Vec<M> = arms.iter().map(|&(n, _, h)| m(n, "B", "", h, "x...")).collect();
    let found = foundry_of("pore", "closed,6,1", &one).json("compare --trial T-1");
    assert!(texts(&found["cautions"]).contains("nothing to compare it with"));
    assert_eq!((&found["difference"], &found["verdict"]), (&Value::Null, &"cannot tell".into()));
    let none: Vec<M> = arms.iter().map(|&(n, _, h)| m(n, "", "", h, "x...")).collect();
    let foundry = foundry_of("pore", "open,,", &none);
    assert!(texts(&foundry.json("compare --trial T-1")["cautions"]).contains("No mould is recorded"));
    let shown = foundry.json("trial show T-1");
    assert!(texts(&shown["cautions"]).contains("No planned size"));
}

#[test]
fn unknown_things_are_named_with_what_is_near() {
    let foundry = foundry_of("pore", "closed,12,1", &paired(["...."; 6], ["x..."; 6]));
    for command in ["compare --trial T-2", "trial show T-2", "trial assign T-2 M-01 --arms B,C"] {
        let answer = foundry.run(command).fails(2, "did you mean T-1");
        assert!(answer.out.is_empty());
    }
    foundry.run("compare").fails(2, "FACTOR=A");
    foundry.run("compare --trial T-1 --defect pore").fails(2, "cannot be used with");
    for (response, near) in [("pores", "pore"), ("wal", "wall"), ("scrp", "scrap")] {
        let foundry = foundry_of(response, "closed,12,1", &paired(["...."; 6], ["x..."; 6]));
        foundry.run("compare --trial T-1").fails(2, &format!("did you mean {near}"));
        let shown = foundry.json("trial show T-1");
        assert!(
            shown["result"].is_null() && texts(&shown["cautions"]).contains("is not a defect term"),
            "{shown}"
        );
    }
}

#[test]
fn what_was_not_done_as_assigned_is_listed() {
    let moulds = [
        m("M-1", "B", "1", "H-1", "...."),
        M { recipe: "B", ..m("M-2", "C", "1", "H-1", "x...") },
        m("M-3", "B", "2", "H-2", "...."),
        m("M-4", "C", "2", "H-3", "...."),
        m("M-5", "B", "3", "H-3", "...."),
        m("M-6", "C", "", "H-3", "x..."),
    ];
    let foundry = foundry_of("pore", "open,6,9", &moulds);
    foundry
        .run_with(&["correct", "trial_moulds:T-1/M-5", "arm=C", "--reason", "mixed up", "--as", "EN-01"])
        .done();
    foundry.run("log trial_moulds trial=T-1 mould=M-7 arm=C").fails(2, "M-7");
    let said = texts(&foundry.json("trial show T-1")["deviations"]);
    for part in [
        "M-2 is of arm C, but its shell_recipes is SR-1@B",
        "block 2 was poured in more than one heat: H-2, H-3",
        "block 3 holds only arm C",
        "M-6 stands in no block",
        "M-5: arm changed from B to C",
        "by EN-01: mixed up",
    ] {
        assert!(said.contains(part), "{part} in\n{said}");
    }
    // M-5 is of arm C now, but made to B
    assert!(said.contains("M-5 is of arm C, but"), "{said}");
    // an arm written down after the pour
    let late = foundry_of(
        "pore",
        "open,6,9",
        &[m("M-1", "B", "", "H-1", "...."), M { recipe: "C", ..m("M-2", "", "", "H-1", "....") }],
    );
    late.run("log trial_moulds trial=T-1 mould=M-2 arm=C").done();
    let said = texts(&late.json("trial show T-1")["deviations"]);
    assert!(
        said.contains("M-2: its arm was written down at 2031-04-01") && said.contains("after the pour"),
        "{said}"
    );
}

#[test]
fn a_pour_against_the_planned_order_is_listed() {
    let foundry =
        foundry_of("pore", "open,6,9", &[m("M-1", "B", "", "H-1", "...."), m("M-2", "C", "", "H-1", "....")]);
    for (mould, order) in [("M-1", 2), ("M-2", 1)] {
        foundry
            .run(&format!(
                "log pour_plans mould={mould} planned_on=2031-01-10 furnace=F-1 pour_order={order}"
            ))
            .done();
    }
    let found = foundry.json("trial show T-1");
    assert!(
        texts(&found["deviations"]).contains("M-1 was poured before M-2, against the planned order"),
        "{found}"
    );
    assert_eq!(found["poured_first"]["B"], 1);
}

#[test]
fn a_look_before_the_planned_size_is_journalled() {
    let foundry = foundry_of(
        "pore",
        "open,20,9",
        &paired(["...."; 6], ["xx..", "x...", "xx..", "x...", "xx..", "x..."]),
    );
    let shown = foundry.json("trial show T-1");
    assert_eq!(
        (&shown["interim"], &shown["result"], &shown["looks"]),
        (&true.into(), &Value::Null, &Value::Array(vec![]))
    );
    assert!(foundry.run("trial show T-1").out.contains("kept back"));
    let look = |answer: Answer| answer.done().err;
    assert!(look(foundry.run("trial show T-1 --look --as EN-01")).contains("Interim look 1"));
    let second = look(foundry.run("compare --trial T-1"));
    assert!(second.contains("Interim look 2") && second.contains("At most one is allowed"), "{second}");
    let shown = foundry.json("trial show T-1");
    let looks = shown["looks"].as_array().unwrap();
    assert_eq!((looks.len(), looks[0]["person"].as_str()), (2, Some("EN-01")));
    assert!(looks[0]["with"].as_str().unwrap().contains("12 of 20 planned moulds"));
    foundry.run("verify").done();
    // the last look by nobody known is no entry that could be taken back
    foundry.run("undo").fails(2, "no person given");
    // at the planned size, and when closed, a result is no look
    let full = foundry_of("pore", "open,12,9", &paired(["...."; 6], ["x..."; 6]));
    assert!(full.run("compare --trial T-1").done().err.is_empty());
    assert_eq!(full.json("trial show T-1")["interim"], false);
}
