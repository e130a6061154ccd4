//! Which severity a lot is sampled with, from the lots of its part and purchaser before it. A lot of 40 is letter D; AQL 6.5 at
//! level II asks for 8 with 1 normally, for 13 with 1 (letter E) tightened, for 3 with 0 and 2 reduced: MIL-STD-105E, Tables
//! II-A to II-C. The severities are worked out by hand from ANSI/ASQ Z1.4-2003, 8.3 and 8.4.

use serde_json::Value;

use crate::support::Foundry;

/// A foundry with lots of 40 blades: tag, purchaser, results of the blades that were inspected (`x`: rejected), a minute
/// apart, each lot a day after the one before. Lots N-… are of revision B of the part, which has the second plan.
fn foundry(plan: &str, lots: &[(&str, &str, &str)]) -> Foundry {
    revised([plan, plan], lots)
}

fn revised(plans: [&str; 2], lots: &[(&str, &str, &str)]) -> Foundry {
    let f = Foundry::new();
    let (mut moulds, mut pours) =
        (String::from("mould,part,running_system,assembled_at\n"), String::from("mould,heat,poured_at\n"));
    let mut opened = String::from("lot,part,purchaser,opened_at\n");
    let (mut blades, mut of_lot) = (String::from("blade,mould,position\n"), String::from("lot,blade\n"));
    let mut inspections = String::from("inspection,blade,method,round,inspected_at,result\n");
    for (day, (lot, purchaser, results)) in (2..).zip(lots) {
        let part = if lot.starts_with('N') { "P@B" } else { "P@A" };
        moulds += &format!("M-{lot},{part},R,2031-01-01T08:00:00Z\n");
        pours += &format!("M-{lot},H-1,2031-01-01T09:00:00Z\n");
        opened += &format!("{lot},{part},{purchaser},2031-01-{day:02}T07:00:00Z\n");
        for n in 1..=40 {
            blades += &format!("{lot}-{n},M-{lot},{n}\n");
            of_lot += &format!("{lot},{lot}-{n}\n");
        }
        for (n, result) in (1..).zip(results.chars()) {
            let result = if result == 'x' { "reject" } else { "accept" };
            inspections +=
                &format!("I-{lot}-{n},{lot}-{n},visual,1,2031-01-{day:02}T08:{n:02}:00Z,{result}\n");
        }
    }
    let [a, b] = plans.map(|p| format!("visual,yes,\"{p}\"\n"));
    let plan = format!("part,revision,method,required,sampling\nP,A,{a}P,B,{b}");
    f.write_bundle(
        "bundle",
        &[
            ("alloys.csv", "alloy\nA\n"),
            ("parts.csv", "part,revision,alloy\nP,A,A\nP,B,A\n"),
            ("running_systems.csv", "running_system,fill,positions,filter\nR,bottom,40,no\n"),
            ("moulds.csv", &moulds),
            ("heats.csv", "heat,alloy,furnace\nH-1,A,F\n"),
            ("pours.csv", &pours),
            ("inspection_plans.csv", &plan),
            ("lots.csv", &opened),
            ("blades.csv", &blades),
            ("lot_blades.csv", &of_lot),
            ("inspections.csv", &inspections),
        ],
    );
    f.run("new --bare").done();
    f.run("import bundle").done();
    f
}

fn lot(f: &Foundry, tag: &str) -> Value {
    f.run(&format!("--json lot summary {tag}")).json()
}

/// Severity, sample size, outcome of the lot's own entry; and whether sampling has ended.
fn own(f: &Foundry, tag: &str) -> (String, Option<u64>, Option<String>, bool) {
    let told = lot(f, tag)["sampling"][0].clone();
    let entry = told["lots"].as_array().unwrap().iter().find(|l| l["lot"] == tag).unwrap().clone();
    assert_eq!(entry["severity"], told["severity"], "{told}");
    (
        entry["severity"].as_str().unwrap().into(),
        entry["n"].as_u64(),
        entry["outcome"].as_str().map(String::from),
        told["ended"].as_bool().unwrap(),
    )
}

fn reasons(lot: &Value, code: &str) -> Vec<String> {
    let all = lot["blocked"].as_array().unwrap().iter();
    all.filter(|b| b["code"] == code).map(|b| b["reason"].as_str().unwrap().to_string()).collect()
}

fn is(severity: &str, n: u64, outcome: Option<&str>) -> (String, Option<u64>, Option<String>, bool) {
    (severity.into(), Some(n), outcome.map(String::from), false)
}

const GOOD: &str = "aaaaaaaa";
const BAD: &str = "axxaaaaa";

#[test]
fn two_lots_not_accepted_tighten_the_next_of_that_purchaser() {
    let screened = format!("{BAD}{}", "a".repeat(32));
    let lots = [
        ("L-1", "one", BAD),
        ("L-2", "one", &screened),
        ("L-3", "two", GOOD),
        ("L-4", "one", GOOD),
        ("L-5", "one", ""),
    ];
    let f = foundry("AQL 6.5", &lots);
    // Sorted piece by piece afterwards, the second was still not accepted by its sample.
    assert_eq!(own(&f, "L-2"), is("normal", 8, Some("not accepted")));
    assert_eq!(own(&f, "L-3"), is("normal", 8, Some("accepted")));
    assert_eq!(own(&f, "L-4"), is("tightened", 13, None));
    assert_eq!(own(&f, "L-5"), is("tightened", 13, None));
    let fourth = lot(&f, "L-4");
    let said = reasons(&fourth, "switching");
    assert!(said[0].starts_with("sample too small: 8 inspected, the plan asks for 13"), "{said:?}");
    assert!(said[0].contains("tightened inspection"), "{said:?}");
    assert!(reasons(&lot(&f, "L-3"), "sampling").is_empty());
    let text = f.run("lot summary L-4").out;
    assert!(text.contains("letter E, single tightened inspection, ISO 2859-1"), "{text}");
    assert!(text.contains("0 accepted in a row (5 lead back to normal)"), "{text}");
    // A record of an earlier lot that is corrected leads elsewhere: nothing was typed.
    f.run("correct I-L-1-2 result=accept --reason misread").done();
    assert_eq!(own(&f, "L-4"), is("normal", 8, Some("accepted")));
    assert!(reasons(&lot(&f, "L-4"), "switching").is_empty());
}

#[test]
fn a_new_revision_goes_on_with_the_series_and_another_aql_begins_a_new_one() {
    let lots = [("L-1", "", BAD), ("L-2", "", BAD), ("N-3", "", "")];
    assert_eq!(own(&revised(["AQL 6.5", "AQL 6.5 level II"], &lots), "N-3"), is("tightened", 13, None));
    assert_eq!(own(&revised(["AQL 6.5", "AQL 4.0"], &lots), "N-3").0, "normal");
    assert_eq!(own(&revised(["AQL 6.5", "AQL 6.5 level I"], &lots), "N-3").0, "normal");
}

/// Above 10 only the normal plans are kept: what cannot be looked up is no pass.
#[test]
fn a_plan_that_is_not_kept_is_no_pass() {
    let f = foundry("AQL 25", &[("L-1", "", "xxxxxxxx"), ("L-2", "", "xxxxxxxx"), ("L-3", "", GOOD)]);
    let third = lot(&f, "L-3");
    assert_eq!(third["sampling"][0]["severity"], "tightened");
    assert_eq!(third["sampling"][0]["lots"][2]["n"], Value::Null);
    assert!(reasons(&third, "switching")[0].contains("plans are not kept"), "{third}");
}

#[test]
fn ten_accepted_lots_reduce_where_the_plan_agrees() {
    let tags: Vec<String> = (1..=13).map(|n| format!("L-{n:02}")).collect();
    let results = |n: usize| match n {
        0..10 => GOOD,
        10 => "aaax",
        11 => "aax",
        _ => "",
    };
    let lots: Vec<(&str, &str, &str)> =
        tags.iter().enumerate().map(|(n, tag)| (tag.as_str(), "one", results(n))).collect();
    let f = foundry("AQL 6.5 level II, reduced", &lots);
    assert_eq!(own(&f, "L-10"), is("normal", 8, Some("accepted")));
    // The fourth blade lies behind the sample of three; it stands for itself.
    assert_eq!(own(&f, "L-11"), is("reduced", 3, Some("accepted")));
    // One of three: between 0 and 2.
    assert_eq!(own(&f, "L-12"), is("reduced", 3, Some("between")));
    assert_eq!(own(&f, "L-13"), is("normal", 8, None));
    assert!(reasons(&lot(&f, "L-12"), "switching").is_empty());
    let text = f.run("lot summary L-12").out;
    assert!(text.contains("between 0 and 2: the next lot is inspected normally"), "{text}");
    assert!(text.contains("single reduced inspection, MIL-STD-105E"), "{text}");
    let plain = foundry("AQL 6.5 level II", &lots);
    assert_eq!(own(&plain, "L-11").0, "normal");
}

#[test]
fn sampling_ends_and_goes_on_only_behind_a_lot_that_the_plan_names() {
    let tags: Vec<String> = (1..=9).map(|n| format!("L-{n}")).collect();
    let lots: Vec<(&str, &str, &str)> =
        tags.iter().map(|tag| (tag.as_str(), "one", if tag == "L-9" { "" } else { BAD })).collect();
    let f = foundry("AQL 6.5", &lots);
    // Two tighten, five more end it.
    assert_eq!(own(&f, "L-7"), is("tightened", 13, Some("not accepted")));
    let eighth = lot(&f, "L-8");
    assert_eq!((own(&f, "L-8").2, own(&f, "L-8").3), (None, true));
    assert!(reasons(&eighth, "switching")[0].starts_with("sampling has ended"), "{eighth}");
    let resumed = foundry("AQL 6.5; resumed L-8", &lots);
    assert_eq!((own(&resumed, "L-8").3, own(&resumed, "L-9")), (true, is("tightened", 13, None)));
}

/// A lot of nine: letter B, whose arrow at AQL 6.5 leads to A, 2 with 0; tightened it is B itself, 3 with 0 (Tables II-A, II-B).
/// Two were read by penetrant. What lots come to that were read later voids nothing; that an earlier one was not accepted after all does.
#[test]
fn a_release_stands_by_what_was_decided_before_it() {
    let (mut blades, mut of_lot, mut decided, mut films) = Default::default();
    let add = |to: &mut String, line: String| to.push_str(&line);
    for n in 3..=9 {
        add(&mut blades, format!("M31-001-{n},M31-001,{n}\n"));
        add(&mut of_lot, format!("L31-01,M31-001-{n}\n"));
        add(&mut decided, format!("M31-001-{n},2031-03-12T00:00:00Z,accept,QL-01\n"));
        add(
            &mut films,
            format!("R{n},M31-001-{n},radiograph,1,RT-1,2031-03-11T00:00:00Z,IN-01,FV-01,accept\n"),
        );
    }
    let (mut others, mut read) = (String::new(), String::new());
    for (lot, day, result) in [
        ("L30-01", "08", "reject"),
        ("L30-02", "09", "accept"),
        ("L32-01", "20", "reject"),
        ("L32-02", "21", "reject"),
    ] {
        let opened = if lot.starts_with("L30") { "2031-01-01" } else { "2031-02-20" };
        add(&mut others, format!("{lot},QB-2207,<script>alert(1)</script>,a & b,9,{opened}T00:00:00Z\n"));
        for n in 1..=9 {
            add(&mut blades, format!("{lot}-{n},,{n}\n"));
            add(&mut of_lot, format!("{lot},{lot}-{n}\n"));
        }
        for n in 1..=2 {
            add(
                &mut read,
                format!("P-{lot}-{n},{lot}-{n},penetrant,1,PT-1,2031-03-{day}T0{n}:00:00Z,IN-01,,{result}\n"),
            );
        }
    }
    let tail = |line: &str, more: &str| format!("{line}{more}");
    let f = crate::lots::foundry(
        &[
            ("running_systems.csv", "bottom,2,", "bottom,9,"),
            ("inspection_plans.csv", "penetrant,yes,all", "penetrant,yes,AQL 6.5"),
            ("blades.csv", "M31-001-2,M31-001,2\n", &tail("M31-001-2,M31-001,2\n", &blades)),
            ("lot_blades.csv", "L31-01,M31-001-2\n", &tail("L31-01,M31-001-2\n", &of_lot)),
            ("lots.csv", "a & b,2,2031-02-01T00:00:00Z\n", &tail("a & b,9,2031-02-01T00:00:00Z\n", &others)),
            (
                "dispositions.csv",
                "M31-001-2,2031-03-12T00:00:00Z,accept,QL-01\n",
                &tail("M31-001-2,2031-03-12T00:00:00Z,accept,QL-01\n", &decided),
            ),
            ("inspections.csv", "I1,M31-001-1,", &tail(&(films + &read), "I1,M31-001-1,")),
        ],
        &[],
    );
    f.run("lot summary L31-01 --final --as QL-01").done();
    let state = || lot(&f, "L31-01")["state"].as_str().unwrap().to_string();
    assert_eq!((state(), own(&f, "L31-01")), ("final".into(), is("normal", 2, Some("accepted"))));
    // L30-01 and L32-01, with two accepted between them: two of four.
    assert_eq!(own(&f, "L32-02").0, "tightened");
    f.run("correct P-L30-02-1 result=reject --reason misread --as QL-01").done();
    assert_eq!((state(), own(&f, "L31-01").0), ("void".into(), "tightened".into()));
    let changed = lot(&f, "L31-01")["signed"]["changed"].to_string();
    assert!(changed.contains("block the lot now"), "{changed}");
    assert!(
        reasons(&lot(&f, "L31-01"), "switching")[0]
            .starts_with("sample too small: 2 inspected, the plan asks for 3")
    );
}

#[test]
fn a_sample_is_not_filled_up_afterwards() {
    let f = foundry("AQL 6.5", &[("L-1", "one", BAD), ("L-2", "one", BAD), ("L-3", "one", "")]);
    assert_eq!(own(&f, "L-3").0, "tightened");
    // Months later somebody types in blades that are said to have been looked at before those that were rejected.
    let f = f.at("2031-12-01T08:00:00+00:00");
    for (lot, day) in [("L-1", 2), ("L-2", 3)] {
        for n in 9..=20 {
            let said = format!("inspected_at=2031-01-{day:02}T07:30:00Z result=accept round=1");
            f.run(&format!(
                "log inspections inspection=B-{lot}-{n} blade={lot}-{n} method=visual {said} --reason x"
            ))
            .done();
        }
    }
    assert_eq!(own(&f, "L-3").0, "tightened");
}
