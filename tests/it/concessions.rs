//! What a concession lifts: its items alone. Each rule both ways, on the judging itself and through the program. The
//! expected verdicts are worked out by hand from the rules as RECORDS.md states them.

use meltkin::jobs::lots::cover::{Coverage, ItemRow, LimitSide, Objection, OfBlade, judge};
use records::catalogue::{Covers, Key, Measure};
use records::{Link, Value};
use serde_json::Value as Json;

use crate::lots::{foundry, reasons};
use crate::support::{Answer, Foundry};

/// A row of item 1 from `covers name field=value …`.
fn row(text: &str) -> ItemRow {
    let mut words = text.split(' ');
    let covers = Covers::of(words.next().unwrap()).unwrap();
    let mut out = ItemRow { item: 1, ..ItemRow::new(covers, words.next().unwrap().into()) };
    for (field, value) in words.map(|w| w.split_once('=').unwrap()) {
        match field {
            "item" => out.item = value.parse().unwrap(),
            "measure" => out.measure = Measure::of(value),
            "zone" => out.zone = Some(value.into()),
            "least" => out.at_least = Some(value.parse().unwrap()),
            "most" => out.at_most = Some(value.parse().unwrap()),
            "unit" => out.unit = Some(value.into()),
            "for" => {
                let (kind, id) = value.split_once(':').unwrap();
                let kind = records::catalogue::kind(kind).unwrap().name;
                out.only_for = Some((Link { kind, id: id.parse().unwrap() }, format!("{kind} {id}")));
            }
            other => panic!("{other}"),
        }
    }
    out
}

fn number(text: &str) -> Value<'static> {
    match text.strip_prefix('<') {
        Some(x) => Value::Below(x.parse().unwrap()),
        None if text.is_empty() => Value::Blank,
        None if text == "n/a" => Value::NotApplicable,
        None if text == "illegible" => Value::Illegible,
        None => Value::Number(text.parse().unwrap()),
    }
}

/// `finding DEFECT ZONE size=… count=…`, `element O 32 ppm`, `measured CHORD 10 mm`, with `-` before what is too little.
fn what(text: &str) -> Objection {
    let words: Vec<&str> = text.split(' ').collect();
    let side = |w: &str| if w.starts_with('-') { LimitSide::Shortfall } else { LimitSide::Excess };
    match words[0].trim_start_matches('-') {
        "element" => Objection::Element {
            name: words[1].into(),
            value: number(words[2]),
            unit: words[3].into(),
            side: side(words[0]),
        },
        "measured" => Objection::Measurement {
            name: words[1].into(),
            value: number(words[2]),
            unit: words[3].into(),
            side: side(words[0]),
        },
        "finding" => {
            let given = |field: &str| {
                let found = words[3..].iter().find_map(|w| w.strip_prefix(field)?.strip_prefix('='));
                number(found.unwrap_or(""))
            };
            let fields = [Measure::SizeMm, Measure::DistanceMm, Measure::Count, Measure::Severity];
            Objection::Finding {
                defect: words[1].into(),
                zone: Some(words[2].to_string()).filter(|z| z != "."),
                measures: fields.into_iter().map(|m| (m, given(m.word()))).collect(),
            }
        }
        "instrument" => Objection::Instrument(words[1].into()),
        "definition" => Objection::Definition(words[1].into()),
        _ => Objection::Station(words[1].into()),
    }
}

/// Blade 1 of heat 2, in lot 3, under mould 4 and ingot lot 5.
fn blade() -> OfBlade {
    let under = vec![Link { kind: "moulds", id: 4 }, Link { kind: "ingot_lots", id: 5 }];
    OfBlade { blade: Key::new(1), heat: Some(Key::new(2)), lot: Some(Key::new(3)), under }
}

#[test]
fn an_item_fits_in_every_field_that_it_fills_or_says_what_is_missing() {
    // What stands against the blade, the rows, and what is missing; blank: lifted.
    let cases: &[(&str, &[&str], &str)] = &[
        // Elements: at the edge, beyond it, on the other side, in another unit.
        ("element O 32 ppm", &["element O most=32 unit=ppm"], ""),
        ("element O 32.0001 ppm", &["element O most=32 unit=ppm"], "above at_most 32 ppm"),
        ("element O 32 ppm", &["element O most=0.0032 unit=wt%"], ""),
        ("element O 32.001 ppm", &["element O most=0.0032 unit=wt%"], "above at_most 0.0032 wt%"),
        ("element O 0.0032 wt%", &["element O most=32 unit=ppm"], ""),
        ("element O 0.00320001 wt%", &["element O most=32 unit=ppm"], "above at_most 32 ppm"),
        ("element O 0.0029 wt%", &["element O most=29 unit=ppm"], ""),
        ("element o 32 ppm", &["element O most=32 unit=ppm"], ""),
        ("element Nb 3 wt%", &["element Cb most=3 unit=wt%"], ""),
        ("element Al+Ti 7.3 wt%", &["element Ti+Al most=7.3 unit=wt%"], ""),
        ("element O 32 ppm", &["element O least=20 unit=ppm"], "the item has no at_most"),
        ("-element Al 5.3 wt%", &["element Al most=6 unit=wt%"], "the item has no at_least"),
        ("-element Al 5.3 wt%", &["element Al least=5.3 unit=wt%"], ""),
        ("-element Al 5.29 wt%", &["element Al least=5.3 unit=wt%"], "below at_least 5.3 wt%"),
        ("element O 32 ppm", &["element O least=33 most=40 unit=ppm"], "below at_least 33"),
        ("element N 32 ppm", &["element O most=32 unit=ppm"], "no item covers element N"),
        ("element O 32 ppm", &["element O unit=ppm"], "the item has no at_most"),
        ("element O 32 ppm", &["element O most=32"], "unit is not wt% or ppm"),
        // Below detection: only where the most that it can be is allowed, and never with a least.
        ("element O <32 ppm", &["element O most=32 unit=ppm"], ""),
        ("element O <33 ppm", &["element O most=32 unit=ppm"], "reaches above at_most 32"),
        ("element O <32 ppm", &["element O least=0 most=32 unit=ppm"], "never fits an at_least"),
        ("-element Al <5 wt%", &["element Al least=1 unit=wt%"], "never fits an at_least"),
        ("element O n/a ppm", &["element O most=32 unit=ppm"], "is n/a"),
        ("element O illegible ppm", &["element O most=32 unit=ppm"], "is illegible"),
        // Characteristics.
        ("measured chord 10.2 mm", &["characteristic chord most=10.2 unit=mm"], ""),
        ("measured chord 10.2 mm", &["characteristic chord most=10.2"], ""),
        (
            "measured chord 10.2 mm",
            &["characteristic chord most=10.2 unit=um"],
            "it is in mm, the item in um",
        ),
        ("measured chord 10.3 mm", &["characteristic chord most=10.2 unit=mm"], "above at_most 10.2"),
        ("-measured chord 9.8 mm", &["characteristic chord most=10.2 unit=mm"], "has no at_least"),
        ("-measured chord 9.8 mm", &["characteristic chord least=9.8 unit=mm"], ""),
        ("measured wall 10.2 mm", &["characteristic chord most=10.2"], "no item covers characteristic wall"),
        // Findings: the measure asked for, the zone, the count.
        ("finding inclusion AF size_mm=0.5", &["defect inclusion most=0.5"], ""),
        ("finding Inclusion AF size_mm=0.5", &["defect inclusion most=0.5"], ""),
        (
            "finding inclusion AF size_mm=0.51",
            &["defect inclusion most=0.5"],
            "size_mm 0.51 is above at_most 0.5",
        ),
        ("finding inclusion AF", &["defect inclusion most=0.5"], "size_mm is not recorded"),
        ("finding inclusion AF size_mm=illegible", &["defect inclusion most=0.5"], "size_mm is illegible"),
        ("finding inclusion AF size_mm=<0.5", &["defect inclusion most=0.5"], ""),
        ("finding inclusion AF size_mm=<0.6", &["defect inclusion most=0.5"], "reaches above"),
        ("finding inclusion AF", &["defect inclusion"], ""),
        ("finding inclusion AF", &["defect inclusion zone=AF"], ""),
        ("finding inclusion RT", &["defect inclusion zone=AF"], "the zone is RT, the item is for AF"),
        ("finding inclusion .", &["defect inclusion zone=AF"], "no zone is recorded"),
        (
            "finding inclusion AF distance_mm=4",
            &["defect inclusion measure=distance_mm least=5"],
            "below at_least 5",
        ),
        ("finding inclusion AF count=1", &["defect inclusion"], ""),
        ("finding inclusion AF count=3", &["defect inclusion"], "no row of the item has measure count"),
        ("finding inclusion AF count=3", &["defect inclusion measure=count most=3"], ""),
        (
            "finding inclusion AF count=4",
            &["defect inclusion measure=count most=3"],
            "count 4 is above at_most 3",
        ),
        (
            "finding inclusion AF count=3",
            &["defect inclusion measure=count least=1"],
            "no row of the item has measure count",
        ),
        ("finding inclusion AF count=illegible", &["defect inclusion"], "the count is illegible"),
        ("finding inclusion AF severity=2", &["defect inclusion measure=severity most=2"], ""),
        // Nothing is too small, too few or too slight: a least alone lifts nothing. Where it lies may be bounded by both.
        ("finding inclusion AF size_mm=50", &["defect inclusion least=1"], "item has no at_most"),
        ("finding inclusion AF size_mm=2", &["defect inclusion least=1 most=2"], ""),
        ("finding inclusion AF count=1", &["defect inclusion measure=count least=1"], "item has no at_most"),
        (
            "finding inclusion AF severity=4",
            &["defect inclusion measure=severity least=1"],
            "severity is too much, and the item has no at_most",
        ),
        (
            "finding inclusion AF size_mm=50",
            &["defect inclusion least=1", "defect inclusion measure=distance_mm least=1"],
            "size_mm is too much",
        ),
        ("finding inclusion AF distance_mm=6", &["defect inclusion measure=distance_mm least=5"], ""),
        ("finding inclusion AF distance_mm=6", &["defect inclusion measure=distance_mm most=7"], ""),
        ("finding misrun AF", &["defect inclusion"], "no item covers defect misrun"),
        // Rows of one item must all fit; of several items one is enough.
        (
            "finding inclusion AF size_mm=0.4 count=3",
            &["defect inclusion most=0.5", "defect inclusion measure=count most=3"],
            "",
        ),
        (
            "finding inclusion AF size_mm=0.6 count=3",
            &["defect inclusion most=0.5", "defect inclusion measure=count most=3"],
            "item 1: size_mm 0.6 is above at_most 0.5",
        ),
        (
            "finding inclusion AF size_mm=0.6 count=3",
            &["defect inclusion most=0.5", "defect inclusion item=2 measure=count most=3"],
            "",
        ),
        ("element O 32 ppm", &["element O most=30 unit=ppm", "element O item=2 most=32 unit=ppm"], ""),
        // What it is only for.
        ("element O 32 ppm", &["element O most=32 unit=ppm for=heats:2"], ""),
        ("element O 32 ppm", &["element O most=32 unit=ppm for=heats:9"], "only for heats 9"),
        ("element O 32 ppm", &["element O most=32 unit=ppm for=lots:3"], ""),
        ("element O 32 ppm", &["element O most=32 unit=ppm for=lots:9"], "only for lots 9"),
        ("element O 32 ppm", &["element O most=32 unit=ppm for=blades:1"], ""),
        ("element O 32 ppm", &["element O most=32 unit=ppm for=blades:9"], "only for blades 9"),
        ("element O 32 ppm", &["element O most=32 unit=ppm for=moulds:4"], ""),
        ("element O 32 ppm", &["element O most=32 unit=ppm for=ingot_lots:5"], ""),
        ("element O 32 ppm", &["element O most=32 unit=ppm for=ingot_lots:9"], "only for ingot_lots 9"),
        ("finding inclusion AF", &["defect inclusion for=inspections:7"], ""),
        ("finding inclusion AF", &["defect inclusion for=inspections:8"], "only for inspections 8"),
        // Sorts: one lifts nothing of another.
        ("instrument PYR-02", &["instrument PYR-02 for=inspections:7"], ""),
        ("instrument PYR-02", &["instrument PYR-02"], "names no mould, heat or inspection"),
        ("instrument PYR-02", &["instrument PYR-02 for=moulds:4"], "only for moulds 4"),
        ("instrument PYR-03", &["instrument PYR-02 for=inspections:7"], "no item covers instrument PYR-03"),
        ("definition SR-7@C", &["definition SR-7@C"], ""),
        ("definition SR-7@C", &["definition SR-7@B"], "no item covers definition SR-7@C"),
        ("station radiograph", &["station radiograph"], ""),
        ("station penetrant", &["station radiograph"], "no item covers station penetrant"),
        ("finding radiograph AF", &["station radiograph"], "no item covers defect radiograph"),
    ];
    for (against, rows, missing) in cases {
        let rows: Vec<ItemRow> = rows.iter().map(|r| row(r)).collect();
        let verdict = judge(&rows, &what(against), &blade(), &[Link { kind: "inspections", id: 7 }]);
        match (&verdict, missing.is_empty()) {
            (Coverage::Lifted(_), true) => {}
            (Coverage::Open(said), false) => assert!(said.contains(missing), "{against}: {said}"),
            _ => panic!("{against} by {rows:?}: {verdict:?}, expected {missing:?}"),
        }
    }
}

/// The clean lot with 32 ppm of oxygen in its heat, where 25 are allowed.
fn oxygen() -> Foundry {
    foundry(&[("analysis_values.csv", "AN-2,O,14", "AN-2,O,32")], &[])
}

const GRANTED: &str = "granted_at=2031-03-13T00:00:00Z";

/// Logs a concession, words with blanks in `limits` too.
fn concession(f: &Foundry, tag: &str, fields: &[&str]) {
    let tag = format!("concession={tag}");
    let words = ["log", "concessions", &tag, "part=QB-2207", "--as", "QL-01"];
    f.run_with(&[&words[..], fields].concat()).done();
}

fn usual(f: &Foundry, limits: &str) {
    let limits = format!("limits={limits}");
    concession(f, "CN-1", &["type=concession", &limits, GRANTED, "granted_by=QL-01"]);
}

fn item(f: &Foundry, fields: &str) -> Answer {
    f.run(&format!("log concession_items concession=CN-1 {fields} --as QL-01"))
}

fn decide(f: &Foundry, blade: &str, at: &str, decision: &str) -> Answer {
    let to = if decision == "concession" { " concession=CN-1" } else { "" };
    f.run(&format!(
        "log dispositions blade={blade} decided_at={at} decision={decision}{to} reason=seen --as QL-01"
    ))
}

fn both(f: &Foundry) {
    for blade in ["M31-001-1", "M31-001-2"] {
        decide(f, blade, "2031-03-20T00:00:00Z", "concession").done();
    }
}

fn blocked(f: &Foundry) -> String {
    reasons(&f.run("lot summary L31-01 --json").json())
}

/// Blocked with each of these sentences; none: free.
#[track_caller]
fn says(f: &Foundry, sentences: &[&str]) -> Json {
    let answer = f.run("lot summary L31-01 --json");
    let json = answer.json();
    let all = reasons(&json);
    assert_eq!(answer.code, i32::from(!sentences.is_empty()), "{all}");
    for s in sentences {
        assert!(all.contains(s), "wanted {s:?} in\n{all}");
    }
    json
}

#[test]
fn words_lift_nothing() {
    // The sentences that made lots final once, and words that name everything.
    for limits in [
        "oxygen is not conceded",
        "hot_tear is not covered by this concession",
        "oxygen up to 32 ppm for lot L31-03 only",
        "O up to 32 ppm",
        "O 32 ppm, inclusion, AF, radiograph, PYR-02, FV-01, RS-1, everything else",
    ] {
        let f = foundry(
            &[
                ("analysis_values.csv", "AN-2,O,14", "AN-2,O,32"),
                ("inspections.csv", "IN-01,FV-01,accept\nI4", "IN-01,FV-01,reject\nI4"),
                (
                    "calibrations.csv",
                    "FV-01,2031-03-01T00:00:00Z,calibration,good,2031-09-01",
                    "FV-01,2031-03-01T00:00:00Z,calibration,good,2031-03-05",
                ),
                (
                    "calibrations.csv",
                    "PYR-02,2031-03-01T00:00:00Z,cross_check,good,2031-04-01T00:00:00Z",
                    "PYR-02,2031-03-01T00:00:00Z,cross_check,good,2031-04-01T00:00:00Z\nPYR-02,2031-03-06T00:00:00Z,cross_check,failed,",
                ),
                ("running_systems.csv", "yes,2030-01-01", "yes,"),
            ],
            &[("findings.csv", "inspection,defect,zone\nI3,inclusion,AF\n")],
        );
        usual(&f, limits);
        for blade in ["M31-001-1", "M31-001-2"] {
            let said = decide(&f, blade, "2031-03-20T00:00:00Z", "concession").done();
            assert!(said.out.contains("has no concession_items"), "{}", said.out);
        }
        let answer = says(
            &f,
            &[
                "O 32 ppm",
                "open finding: rejected in I3",
                "FV-01 was overdue",
                "PYR-02 is suspect",
                "RS-1 is not approved",
            ],
        );
        // Each says what to fill in.
        for b in answer["blocked"].as_array().unwrap() {
            let reason = b["reason"].as_str().unwrap();
            assert!(reason.contains("fill concession_items: covers, name"), "{reason}");
        }
        f.run("lot summary L31-01 --final --as QL-02").fails(1, "");
    }
}

#[test]
fn an_item_lifts_what_it_covers_at_the_exact_edge_and_no_further() {
    for (fields, missing) in [
        ("at_most=32 unit=ppm", ""),
        ("at_most=0.0032 unit=wt%", ""),
        ("at_most=0.0031 unit=wt%", "item 1: O 32 ppm is above at_most 0.0031 wt%"),
        ("at_most=32 unit=ppm only_for=H31-001", ""),
        ("at_most=32 unit=ppm only_for=M31-001", ""),
        ("at_most=32 unit=ppm only_for=IL31-01", ""),
        ("at_most=32 unit=ppm only_for=L31-01", ""),
        ("at_least=20 unit=ppm", "the item has no at_most"),
        ("at_most=32 unit=ppm only_for=M31-001-1", "the item is only for M31-001-1"),
    ] {
        let f = oxygen();
        usual(&f, "see items");
        item(&f, &format!("covers=element name=O {fields}")).done();
        both(&f);
        let sentences: Vec<&str> = [missing].into_iter().filter(|m| !m.is_empty()).collect();
        let json = says(&f, &sentences);
        let permission = &json["permissions"][0];
        assert_eq!((&permission["quantity"], &permission["used"]), (&Json::Null, &2.into()), "{permission}");
        let lifts = permission["items"][0]["lifts"].to_string();
        assert_eq!(lifts.contains("O 32 ppm (2 blades)"), missing.is_empty(), "{fields}: {lifts}");
        // One blade of two: only the other one stays.
        if fields.ends_with("M31-001-1") {
            let blades: Vec<&str> =
                json["blocked"].as_array().unwrap().iter().map(|b| b["blade"].as_str().unwrap()).collect();
            assert_eq!(blades, ["M31-001-2"]);
        }
    }
}

#[test]
fn below_detection_is_conceded_as_the_most_that_it_can_be() {
    for (value, missing) in [("<32", ""), ("<33", "O <33 ppm reaches above at_most 32 ppm")] {
        let f = foundry(&[("analysis_values.csv", "AN-2,O,14", &format!("AN-2,O,{value}"))], &[]);
        assert!(blocked(&f).contains("undecided: O <"));
        usual(&f, "-");
        item(&f, "covers=element name=O at_most=32 unit=ppm").done();
        both(&f);
        let sentences: Vec<&str> = [missing].into_iter().filter(|m| !m.is_empty()).collect();
        says(&f, &sentences);
    }
}

/// The clean lot with a rejected film of the first blade: two findings and a value outside its limits.
fn rejected() -> Foundry {
    foundry(
        &[
            ("inspections.csv", "IN-01,FV-01,accept\nI4", "IN-01,FV-01,reject\nI4"),
            ("zones.csv", "QB-2207,C,AF,aerofoil", "QB-2207,C,AF,aerofoil\nQB-2207,C,RT,root"),
        ],
        &[
            (
                "findings.csv",
                "inspection,defect,item,zone,size_mm,count\nI3,inclusion,1,AF,0.4,2\nI3,inclusion,2,RT,0.2,\n",
            ),
            (
                "measurements.csv",
                "inspection,characteristic,value,unit,lower,upper\nI3,chord,10.2,mm,9.8,10.1\nI3,wall,1.0,mm,0.9,1.1\n",
            ),
        ],
    )
}

#[test]
fn every_finding_and_every_value_outside_its_limits_needs_an_item() {
    let all = [
        "item=1 covers=defect name=inclusion zone=AF at_most=0.5",
        "item=1 measure=count covers=defect name=inclusion zone=AF at_most=2",
        "item=2 covers=defect name=inclusion zone=RT at_most=0.2 only_for=I3",
        "item=3 covers=characteristic name=chord at_most=10.2 unit=mm",
    ];
    let with = |items: &[&str]| {
        let f = rejected();
        usual(&f, "-");
        for i in items {
            item(&f, i).done();
        }
        decide(&f, "M31-001-1", "2031-03-20T00:00:00Z", "concession").done();
        f
    };
    says(&with(&all), &[]);
    says(&with(&all[..3]), &["no item covers characteristic chord"]);
    says(&with(&[all[0], all[1], all[3]]), &["inclusion RT", "the zone is RT, the item is for AF"]);
    says(&with(&[all[0], all[2], all[3]]), &["the count is 2, and no row of the item has measure count"]);
    // A rejection with neither is lifted by none; a station's item does not lift it either.
    let f = foundry(&[("inspections.csv", "IN-01,FV-01,accept\nI4", "IN-01,FV-01,reject\nI4")], &[]);
    usual(&f, "-");
    item(&f, "covers=station name=radiograph").done();
    item(&f, "covers=defect name=inclusion").done();
    decide(&f, "M31-001-1", "2031-03-20T00:00:00Z", "concession").done();
    says(&f, &["rejected in I3 (no finding named)", "no concession covers it"]);
}

#[test]
fn stations_definitions_and_readings_are_lifted_by_their_own_sort() {
    // Not inspected: one blade has no film.
    let f = foundry(
        &[(
            "inspections.csv",
            "I4,M31-001-2,radiograph,1,RT-1,2031-03-11T00:00:00Z,IN-01,FV-01,accept\n",
            "",
        )],
        &[],
    );
    usual(&f, "-");
    item(&f, "covers=station name=radiograph").done();
    says(&f, &["no radiograph inspection"]);
    decide(&f, "M31-001-2", "2031-03-20T00:00:00Z", "concession").done();
    says(&f, &[]);
    // A definition without approval.
    let f = foundry(&[("running_systems.csv", "yes,2030-01-01", "yes,")], &[]);
    usual(&f, "-");
    item(&f, "covers=definition name=RS-1@").done();
    both(&f);
    says(&f, &[]);
    // An overdue gauge of one film; then the pyrometer of the pour, overdue and then suspect.
    let overdue = (
        "calibrations.csv",
        "FV-01,2031-03-01T00:00:00Z,calibration,good,2031-09-01",
        "FV-01,2031-03-01T00:00:00Z,calibration,good,2031-03-05",
    );
    let f = foundry(&[overdue], &[]);
    usual(&f, "-");
    item(&f, "covers=instrument name=FV-01 only_for=I3").done();
    both(&f);
    let json = says(&f, &["FV-01 was overdue"]);
    let open: Vec<&str> =
        json["blocked"].as_array().unwrap().iter().map(|b| b["blade"].as_str().unwrap()).collect();
    assert_eq!(open, ["M31-001-2"], "the reading of the other blade's film is not conceded");
    for (only_for, free) in [("M31-001", true), ("H31-001", true), ("I3", false)] {
        let failed = (
            "calibrations.csv",
            "PYR-02,2031-03-01T00:00:00Z,cross_check,good,2031-04-01T00:00:00Z",
            "PYR-02,2031-03-01T00:00:00Z,cross_check,good,2031-03-02T00:00:00Z\nPYR-02,2031-03-14T00:00:00Z,cross_check,failed,",
        );
        let f = foundry(&[failed], &[]);
        usual(&f, "-");
        item(&f, &format!("covers=instrument name=PYR-02 only_for={only_for}")).done();
        both(&f);
        let sentences: &[&str] =
            if free { &[] } else { &["PYR-02 was overdue", "PYR-02 is suspect", "only for I3"] };
        says(&f, sentences);
    }
}

#[test]
fn a_decision_older_than_the_failed_check_does_not_take_the_reading() {
    let failed = (
        "calibrations.csv",
        "PYR-02,2031-03-01T00:00:00Z,cross_check,good,2031-04-01T00:00:00Z",
        "PYR-02,2031-03-01T00:00:00Z,cross_check,good,2031-04-01T00:00:00Z\nPYR-02,2031-03-25T00:00:00Z,cross_check,failed,",
    );
    let f = foundry(&[failed], &[]);
    usual(&f, "-");
    item(&f, "covers=instrument name=PYR-02 only_for=M31-001").done();
    both(&f);
    says(&f, &["older than the failed check of 2031-03-25"]);
    for blade in ["M31-001-1", "M31-001-2"] {
        decide(&f, blade, "2031-03-26T00:00:00Z", "concession").done();
    }
    says(&f, &[]);
}

#[test]
fn what_an_item_cannot_mean_is_refused_with_what_would_be_right() {
    let f = oxygen();
    f.run("log treatments treatment=HT-1 kind=hip started_at=2031-03-05T00:00:00Z").done();
    usual(&f, "-");
    let entries = f.json("verify")["entries"].clone();
    let cases = [
        ("covers=defect name=inklusion", "name = inklusion", "did you mean inclusion"),
        ("covers=defect name=inclusion zone=XX", "zone = XX", "it has AF"),
        ("covers=station name=xray", "name = xray", "not an inspection method"),
        ("covers=station name=grain", "name = grain", "it has penetrant, radiograph"),
        ("covers=definition name=RS-1", "name = RS-1", "TAG@REV"),
        ("covers=definition name=RS-1@Z", "name = RS-1@Z", "there are RS-1@"),
        ("covers=definition name=RS-9@", "name = RS-9@", "there is no definition RS-9"),
        ("covers=instrument name=PYR-09 only_for=M31-001", "name = PYR-09", "PYR-02"),
        ("covers=instrument name=PYR-02", "only_for", "the mould, heat or inspection whose reading it is"),
        (
            "covers=instrument name=PYR-02 only_for=M31-001-1",
            "only_for = M31-001-1",
            "mould, heat or inspection",
        ),
        ("covers=instrument name=PYR-02 only_for=M31-001 at_most=3", "at_most = 3", "leave it blank"),
        ("covers=element name=oxygen at_most=32 unit=ppm", "name = oxygen", "not a symbol"),
        ("covers=element name=O at_most=32 unit=ppb", "unit = ppb", "wt% or ppm"),
        ("covers=element name=O at_most=32", "unit", "wt% or ppm"),
        ("covers=element name=O unit=ppm", "at_most", "an element needs a bound"),
        ("covers=element name=O at_least=40 at_most=32 unit=ppm", "at_least = 40", "above at_most"),
        ("covers=element name=O at_most=<32 unit=ppm", "at_most = <32", "a bound is a number"),
        ("covers=element name=O at_most=n/a unit=ppm", "at_most = n/a", "left blank"),
        (
            "covers=element name=O measure=count at_most=32 unit=ppm",
            "measure = count",
            "of element it is value",
        ),
        ("covers=element name=O zone=AF at_most=32 unit=ppm", "zone = AF", "only a defect lies in a zone"),
        (
            "covers=element name=O at_most=32 unit=ppm only_for=PYR-02",
            "only_for = PYR-02",
            "no blade comes out of it",
        ),
        (
            "covers=element name=O at_most=32 unit=ppm only_for=I3",
            "only_for = I3",
            "no blade comes out of it",
        ),
        ("covers=element name=O at_most=32 unit=ppm only_for=M31-099", "only_for = M31-099", "M31-001"),
        (
            "covers=defect name=inclusion measure=value at_most=1",
            "measure = value",
            "size_mm, distance_mm, count, severity",
        ),
        ("covers=defect name=inclusion at_most=1 unit=ppm", "unit = ppm", "it is mm"),
        ("covers=defect name=inclusion measure=count at_most=1 unit=mm", "unit = mm", "have none"),
        ("covers=station name=radiograph measure=count", "measure = count", "has no measure"),
        ("covers=oxygen name=O", "covers = oxygen", "element"),
        ("covers=element name=O at_most=-1 unit=ppm", "at_most = -1", "the content of an element never is"),
        ("covers=element name=O at_least=-1 unit=ppm", "at_least = -1", "the content of an element never is"),
        ("covers=defect name=inclusion at_most=-0.1", "at_most = -0.1", "the size of a defect never is"),
        ("covers=defect name=inclusion measure=size_mm at_least=-1 at_most=2", "at_least = -1", "below 0"),
        ("covers=defect name=inclusion measure=count at_most=-1", "at_most = -1", "a count never is"),
        ("covers=defect name=inclusion measure=severity at_most=-1", "at_most = -1", "a severity never is"),
    ];
    for (fields, column, right) in cases {
        let refused = item(&f, fields).fails(2, column);
        assert!(refused.err.contains(right), "{fields}: {}", refused.err);
    }
    // The same by an import, with file, line and column; nothing was written.
    std::fs::write(
        f.path("concession_items.csv"),
        "concession,item,covers,name,at_most,unit\nCN-1,1,element,O,32,ppm\nCN-1,2,element,O,32,furlong\n",
    )
    .unwrap();
    let faults = f.run("import concession_items.csv --as QL-01 --json");
    assert_eq!(faults.code, 2);
    let fault = faults.json()["faults"][0].clone();
    assert_eq!(
        (&fault["line"], &fault["column"], &fault["value"]),
        (&3.into(), &"unit".into(), &"furlong".into())
    );
    assert_eq!(f.json("verify")["entries"], entries);
    // And by a correction.
    item(&f, "covers=element name=O at_most=32 unit=ppm").done();
    f.run("correct concession_items:CN-1/1/ at_most= --reason open --as QL-01")
        .fails(2, "an element needs a bound");
    f.run("correct concession_items:CN-1/1/ at_most=40 --reason as-granted --as QL-01").done();
    f.run("correct concession_items:CN-1/1/ at_most=-40 --reason slip --as QL-01").fails(2, "is below 0");
    item(&f, "covers=element name=O at_most=40 unit=ppm only_for=HT-1").done();
    // A distance and a characteristic may lie on either side of nothing.
    item(&f, "covers=characteristic name=bow at_least=-0.5 at_most=0.5 unit=mm").done();
    item(&f, "covers=defect name=inclusion measure=distance_mm at_least=-1").done();
}

#[test]
fn rows_without_a_number_are_items_of_their_own() {
    let f = oxygen();
    usual(&f, "-");
    for fields in [
        "covers=element name=O at_most=32 unit=ppm",
        "covers=element name=N at_most=40 unit=ppm",
        "covers=defect name=inclusion at_most=1",
    ] {
        item(&f, fields).done();
    }
    f.run("show concession_items:CN-1/3/").done();
    item(&f, "covers=defect name=inclusion measure=count at_most=2").fails(2, "give both rows one number");
    item(&f, "item=1 covers=defect name=inclusion measure=count at_most=2")
        .fails(2, "item 1 covers element O");
    item(&f, "item=3 covers=defect name=inclusion measure=count at_most=2").done();
    // In a file likewise, and taken again without a word.
    concession(&f, "CN-2", &["type=concession", "limits=-", GRANTED]);
    let write = |text: &str| std::fs::write(f.path("concession_items.csv"), text).unwrap();
    write("concession,covers,name,measure,at_most,unit\nCN-2,element,O,,32,ppm\nCN-2,element,N,,32,ppm\n");
    assert_eq!(f.json("import concession_items.csv --as QL-01")["records"]["concession_items"], 2);
    assert_eq!(f.json("import concession_items.csv --as QL-01")["unchanged"], 2);
    write(
        "concession,covers,name,measure,at_most\nCN-2,defect,inclusion,,1\nCN-2,defect,inclusion,count,3\n",
    );
    f.run("import concession_items.csv --as QL-01").fails(2, "give both rows one number");
}

#[test]
fn once_a_blade_is_decided_on_the_items_stay_as_they_are() {
    let f = oxygen();
    usual(&f, "-");
    item(&f, "covers=element name=O at_most=30 unit=ppm").done();
    // Before: added, changed, taken back.
    item(&f, "covers=element name=N at_most=40 unit=ppm").done();
    f.run("undo --as QL-01").done();
    f.run("correct concession_items:CN-1/1/ at_most=31 --reason as-granted --as QL-01").done();
    decide(&f, "M31-001-1", "2031-03-20T00:00:00Z", "concession").done();
    let why = "its items stay as they are; record a new concession";
    item(&f, "covers=element name=N at_most=40 unit=ppm").fails(2, why);
    f.run("correct concession_items:CN-1/1/ at_most=32 --reason more --as QL-01").fails(2, why);
    std::fs::write(
        f.path("concession_items.csv"),
        "concession,item,covers,name,at_most,unit\nCN-1,2,element,N,40,ppm\n",
    )
    .unwrap();
    f.run("import concession_items.csv --as QL-01").fails(2, why);
    // By another entry of the same minute, the item itself cannot be taken back either.
    let g = oxygen();
    usual(&g, "-");
    item(&g, "covers=element name=O at_most=32 unit=ppm").done();
    g.run("disposition concession M31-001-1 --concession CN-1 --as QL-02").done();
    g.run("undo --as QL-01").fails(2, why);
    // Nor after the decision was corrected to something else.
    g.run("correct dispositions:M31-001-1/2031-04-01T00:00:00+00:00 decision=accept concession= --reason slip --as QL-02").done();
    g.run("correct concession_items:CN-1/1/ at_most=40 --reason more --as QL-01").fails(2, why);
    // An operator is refused as before.
    let refused =
        g.run("log concession_items concession=CN-1 covers=element name=N at_most=40 unit=ppm --as OP-01");
    assert_eq!(refused.code, 1, "{}", refused.err);
}

#[test]
fn a_concession_that_does_not_count_lifts_nothing() {
    let with = |fields: &[&str]| {
        let f = oxygen();
        concession(&f, "CN-1", &[&["type=concession", "limits=-"], fields].concat());
        item(&f, "covers=element name=O at_most=32 unit=ppm").done();
        both(&f);
        f
    };
    says(&with(&[GRANTED, "granted_by=QL-01"]), &[]);
    says(&with(&[GRANTED, "granted_by=ql-01"]), &[]);
    says(&with(&[GRANTED, "reference=letter-7"]), &[]);
    says(&with(&[GRANTED]), &["CN-1 is not granted: neither granted_by nor reference", "O 32 ppm"]);
    says(
        &with(&[GRANTED, "granted_by=the-purchaser", "note=as the letter says"]),
        &["the store knows no person the-purchaser"],
    );
    says(&with(&[GRANTED, "granted_by=QL-01", "expires_on=2031-03-20"]), &[]);
    says(
        &with(&[GRANTED, "granted_by=QL-01", "expires_on=2031-03-19"]),
        &["had expired on 2031-03-19", "O 32 ppm"],
    );
    says(&with(&["granted_at=2031-03-21T00:00:00Z", "granted_by=QL-01"]), &["granted after the blade"]);
    // Of another part.
    let f = foundry(
        &[
            ("analysis_values.csv", "AN-2,O,14", "AN-2,O,32"),
            ("parts.csv", "QL-01,2030-01-01\n", "QL-01,2030-01-01\nQB-9,A,QA-713/3,QL-01,2030-01-01\n"),
        ],
        &[],
    );
    f.run_with(&[
        "log",
        "concessions",
        "concession=CN-1",
        "type=concession",
        "part=QB-9",
        "limits=-",
        GRANTED,
        "granted_by=QL-01",
        "--as",
        "QL-01",
    ])
    .done();
    item(&f, "covers=element name=O at_most=32 unit=ppm").done();
    both(&f);
    says(&f, &["CN-1 is for part QB-9, the blade is of QB-2207", "O 32 ppm"]);
}

#[test]
fn never_lifted_are_holds_readers_files_and_totals() {
    let f = foundry(
        &[
            ("qualifications.csv", "radiograph,2,2033-01-01", "radiograph,2,2031-03-10"),
            ("charges.csv", "H31-001,IL31-01,11", "H31-001,IL31-01,4"),
        ],
        &[],
    );
    usual(&f, "-");
    for fields in [
        "covers=station name=radiograph",
        "covers=instrument name=FV-01 only_for=I3",
        "covers=definition name=QB-2207@C",
        "covers=element name=O at_most=99 unit=ppm",
    ] {
        item(&f, fields).done();
    }
    f.run("hold M31-001 --reason odd --as OP-01").done();
    both(&f);
    says(&f, &["HOLD-", "reader not qualified", "masses do not agree"]);
}

#[test]
fn blades_beyond_the_quantity_are_not_covered_in_the_order_of_the_journal() {
    let quantity_one = || {
        let f = oxygen();
        concession(&f, "CN-1", &["type=concession", "limits=-", GRANTED, "granted_by=QL-01", "quantity=1"]);
        item(&f, "covers=element name=O at_most=32 unit=ppm").done();
        f
    };
    let touched = |json: &Json, code: &str| -> Vec<String> {
        let all = json["blocked"].as_array().unwrap().iter().filter(|b| b["code"] == code);
        all.map(|b| b["blade"].as_str().unwrap().to_string()).collect()
    };
    // The second blade comes first in the journal, though its own time is later.
    let f = quantity_one();
    decide(&f, "M31-001-2", "2031-03-21T00:00:00Z", "concession").done();
    decide(&f, "M31-001-1", "2031-03-20T00:00:00Z", "concession").done();
    let json = says(&f, &["is for 1 blade; this one is number 2", "O 32 ppm"]);
    assert_eq!(
        (touched(&json, "chemistry"), touched(&json, "concession")),
        (vec!["M31-001-1".to_string()], vec!["M31-001-1".to_string()])
    );
    let permission = &json["permissions"][0];
    assert_eq!((&permission["used"], &permission["left"]), (&2.into(), &0.into()));
    // A correction of the first one's reason does not move it to the end.
    f.run("correct dispositions:M31-001-2/2031-03-21T00:00:00+00:00 reason=as-agreed --reason typing --as QL-01").done();
    assert_eq!(touched(&says(&f, &["number 2"]), "chemistry"), ["M31-001-1"]);
    // It counts while its last disposition is to it.
    decide(&f, "M31-001-2", "2031-03-22T00:00:00Z", "scrap").done();
    says(&f, &[]);
    // And for ever once it was shipped under it: returned and scrapped, it still fills the place.
    let f = quantity_one();
    decide(&f, "M31-001-2", "2031-03-20T00:00:00Z", "concession").done();
    f.run_with(&[
        "log",
        "shipments",
        "blade=M31-001-2",
        "shipped_at=2031-03-21T00:00:00Z",
        "note=agreed",
        "--reason",
        "agreed",
        "--as",
        "QL-01",
    ])
    .done();
    f.run("correct shipments:M31-001-2/2031-03-21T00:00:00+00:00 returned_at=2031-03-22T00:00:00Z return_reason=dent --reason back --as QL-01").done();
    decide(&f, "M31-001-2", "2031-03-23T00:00:00Z", "scrap").done();
    decide(&f, "M31-001-1", "2031-03-24T00:00:00Z", "concession").done();
    let json = says(&f, &["is for 1 blade; this one is number 2"]);
    assert_eq!(touched(&json, "chemistry"), ["M31-001-1"]);
    // Correcting the shipped blade's decision to another does not free the place either.
    let f = quantity_one();
    decide(&f, "M31-001-2", "2031-03-20T00:00:00Z", "concession").done();
    f.run_with(&[
        "log",
        "shipments",
        "blade=M31-001-2",
        "shipped_at=2031-03-21T00:00:00Z",
        "note=agreed",
        "--reason",
        "agreed",
        "--as",
        "QL-01",
    ])
    .done();
    f.run("correct dispositions:M31-001-2/2031-03-20T00:00:00+00:00 decision=scrap concession= --reason slip --as QL-01").done();
    decide(&f, "M31-001-1", "2031-03-24T00:00:00Z", "concession").done();
    assert_eq!(touched(&says(&f, &["number 2"]), "concession"), ["M31-001-1"]);
}

#[test]
fn a_deviation_stands_in_the_journal_before_the_pour() {
    let bare = |added: &[(&str, &str)]| {
        foundry(
            &[
                ("analysis_values.csv", "AN-2,O,14", "AN-2,O,32"),
                ("pours.csv", "M31-001,H31-001,2031-03-04T10:00:00Z,PYR-02,1480,5,OP-01\n", ""),
            ],
            added,
        )
    };
    let pour = |f: &Foundry, at: &str| {
        f.run(&format!("log pours mould=M31-001 heat=H31-001 poured_at={at} pyrometer=PYR-02 indicated_c=1480 mass_kg=5 person=OP-01")).done();
    };
    let deviation = |f: &Foundry, granted: &str| {
        let granted = format!("granted_at={granted}");
        concession(f, "CN-1", &["type=deviation", "limits=-", &granted, "granted_by=QL-01"]);
        item(f, "covers=element name=O at_most=32 unit=ppm").done();
    };
    let after = |f: &Foundry| -> bool {
        both(f);
        let json = says(f, &[]);
        let after = json["permissions"][0]["after_the_pour"].as_array().unwrap().clone();
        let text = f.run("lot summary L31-01").out;
        assert_eq!(text.contains("deviation, entered after the pour"), !after.is_empty(), "{text}");
        assert!(after.is_empty() || after == ["M31-001"]);
        !after.is_empty()
    };
    // Granted and entered before.
    let f = bare(&[]);
    deviation(&f, "2031-03-01T00:00:00Z");
    pour(&f, "2031-03-04T10:00:00Z");
    assert!(!after(&f));
    // Entered after, with a time before: it still lifts, as a concession.
    let f = bare(&[]);
    pour(&f, "2031-03-04T10:00:00Z");
    deviation(&f, "2031-03-01T00:00:00Z");
    assert!(after(&f));
    // The pour moved to later: the earliest time ever recorded counts.
    let f = bare(&[]);
    deviation(&f, "2031-03-04T11:00:00Z");
    pour(&f, "2031-03-04T10:00:00Z");
    f.run("correct pours:M31-001 poured_at=2031-03-04T12:00:00Z --reason clock").done();
    assert!(after(&f));
    // The deviation's own time moved to earlier, after the pour.
    let f = bare(&[]);
    deviation(&f, "2031-03-04T11:00:00Z");
    pour(&f, "2031-03-04T10:00:00Z");
    f.run("correct CN-1 granted_at=2031-03-01T00:00:00Z --reason typing --as QL-01").done();
    assert!(after(&f));
    // An item that came after the pour.
    let f = bare(&[]);
    concession(
        &f,
        "CN-1",
        &["type=deviation", "limits=-", "granted_at=2031-03-01T00:00:00Z", "granted_by=QL-01"],
    );
    pour(&f, "2031-03-04T10:00:00Z");
    item(&f, "covers=element name=O at_most=32 unit=ppm").done();
    assert!(after(&f));
}

#[test]
fn what_an_item_is_only_for_is_fixed_by_its_record_not_by_its_tag() {
    // Two heats swap their tags after the item was granted: it stays with the record.
    let f = foundry(
        &[
            ("analysis_values.csv", "AN-2,O,14", "AN-2,O,32"),
            (
                "heats.csv",
                "H31-001,QA-713/3,F1,2031-03-04T09:00:00Z\n",
                "H31-001,QA-713/3,F1,2031-03-04T09:00:00Z\nH31-002,QA-713/3,F1,2031-03-05T09:00:00Z\n",
            ),
        ],
        &[],
    );
    usual(&f, "-");
    item(&f, "covers=element name=O at_most=32 unit=ppm only_for=H31-002").done();
    f.run("log retags old_tag=H31-002 new_tag=H-NEW changed_at=2031-03-15T00:00:00Z reason=torn").done();
    both(&f);
    says(&f, &["the item is only for H31-002"]);
}

#[test]
fn metal_that_came_back_as_revert_is_another_heat() {
    // H31-002 holds 4 of 10 kg of H31-001, through RV31-01; an item for the first heat does not reach the second's blades.
    let build = |only_for: &str| {
        let f = foundry(
            &[
                (
                    "heats.csv",
                    "H31-001,QA-713/3,F1,2031-03-04T09:00:00Z\n",
                    "H31-001,QA-713/3,F1,2031-03-04T09:00:00Z\nH31-002,QA-713/3,F1,2031-03-05T09:00:00Z\n",
                ),
                (
                    "charges.csv",
                    "H31-001,IL31-01,11\n",
                    "H31-001,IL31-01,11\nH31-002,IL31-01,6\nH31-002,RV31-01,4\n",
                ),
                (
                    "analyses.csv",
                    "AN-2,H31-001,check,2031-03-04T12:00:00Z\n",
                    "AN-2,H31-002,check,2031-03-05T12:00:00Z\nAN-3,RV31-01,check,2031-03-04T13:00:00Z\n",
                ),
                ("analysis_values.csv", "AN-2,O,14,ppm\n", "AN-2,O,32,ppm\nAN-3,O,12,ppm\n"),
                ("pours.csv", "M31-001,H31-001,2031-03-04T10:00:00Z", "M31-001,H31-002,2031-03-05T10:00:00Z"),
            ],
            &[
                ("revert_lots.csv", "revert_lot,alloy,made_at\nRV31-01,QA-713/3,2031-03-04T20:00:00Z\n"),
                ("revert_sources.csv", "revert_lot,heat,mass_kg\nRV31-01,H31-001,5\n"),
            ],
        );
        usual(&f, "-");
        item(&f, &format!("covers=element name=O at_most=32 unit=ppm only_for={only_for}")).done();
        both(&f);
        f
    };
    says(&build("H31-002"), &[]);
    says(&build("IL31-01"), &[]);
    says(&build("H31-001"), &["the item is only for H31-001"]);
}

#[test]
fn a_lot_is_that_of_now_and_of_the_disposition() {
    let build = |moved: bool| {
        let f = foundry(
            &[
                ("analysis_values.csv", "AN-2,O,14", "AN-2,O,32"),
                (
                    "lots.csv",
                    "2031-02-01T00:00:00Z\n",
                    "2031-02-01T00:00:00Z\nL31-02,QB-2207,,,2,2031-02-01T00:00:00Z\n",
                ),
            ],
            &[],
        );
        usual(&f, "-");
        item(&f, "covers=element name=O at_most=32 unit=ppm only_for=L31-01").done();
        if moved {
            // Decided on while in another lot, then brought back.
            f.run("correct lot_blades:L31-01/M31-001-1 lot=L31-02 --reason moved").done();
            both(&f);
            f.run("correct lot_blades:L31-02/M31-001-1 lot=L31-01 --reason back").done();
        } else {
            both(&f);
        }
        f
    };
    says(&build(false), &[]);
    let json = says(&build(true), &["the item is only for L31-01"]);
    let open: Vec<&str> =
        json["blocked"].as_array().unwrap().iter().map(|b| b["blade"].as_str().unwrap()).collect();
    assert_eq!(open, ["M31-001-1"]);
}

#[test]
fn concession_and_items_come_out_and_go_into_a_bare_store() {
    let f = oxygen();
    usual(&f, "-");
    item(&f, "covers=element name=O at_most=32 unit=ppm only_for=L31-01").done();
    f.run("disposition concession L31-01 --concession CN-1 --as QL-01").done();
    says(&f, &[]);
    f.run("export out").done();
    let g = Foundry::new();
    g.run_with(&["import", f.path("out").to_str().unwrap()]).done();
    says(&g, &[]);
    g.run("export out").done();
    for name in ["concession_items.csv", "dispositions.csv"] {
        assert_eq!(
            std::fs::read(f.path("out").join(name)).unwrap(),
            std::fs::read(g.path("out").join(name)).unwrap()
        );
    }
    // The same bundle again changes nothing, though the items are fixed by now.
    assert_eq!(
        g.json(&format!("import {} --as QL-01", f.path("out").display()))["records"],
        serde_json::json!({})
    );
    let signed = g.json("lot summary L31-01 --final --as QL-02");
    assert_eq!(signed["state"], "final");
    let page = f.run("lot summary L31-01 --html page.html");
    assert_eq!(page.code, 0);
    let html = std::fs::read_to_string(f.path("page.html")).unwrap();
    assert!(html.contains("What the concessions cover") && html.contains("O 32 ppm (2 blades)"), "{html}");
}
