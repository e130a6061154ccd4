//! Yield, capability, agreement. Counts of the demo are those it was invented with; figures beside a reference call
//! were computed with statsmodels 0.14 or scipy 1.15 from `sample_data/`.

use serde_json::Value;

use crate::support::Foundry;

fn demo() -> Foundry {
    let foundry = Foundry::new();
    foundry.json("demo --no-screen");
    foundry
}

fn near(value: &Value, expected: f64, room: f64) {
    let got = value.as_f64().unwrap_or_else(|| panic!("{value} instead of {expected}"));
    assert!((got - expected).abs() <= room, "{got} instead of {expected}");
}

fn pair(value: &Value, expected: (f64, f64), room: f64) {
    near(&value[0], expected.0, room);
    near(&value[1], expected.1, room);
}

#[test]
fn yield_by_station() {
    let foundry = demo();
    let found = foundry.json("yield");
    // counts as invented; Wilson: statsmodels proportion_confint(x, n, method="wilson")
    let expected = [
        ("visual", 723, 768, (0.922_495_288_455, 0.955_923_449_294)),
        ("penetrant", 696, 723, (0.946_211_163_000, 0.974_209_641_126)),
        ("radiograph", 653, 696, (0.917_814_206_625, 0.953_811_777_106)),
        ("dimensional", 640, 653, (0.966_238_950_394, 0.988_329_296_753)),
    ];
    let stations = found["stations"].as_array().unwrap();
    assert_eq!(stations.len(), 4);
    for (station, (method, accepted, presented, wilson)) in stations.iter().zip(expected) {
        assert_eq!(station["method"], method);
        assert_eq!(
            (station["accepted"].as_u64(), station["presented"].as_u64()),
            (Some(accepted), Some(presented))
        );
        near(&station["rate"], accepted as f64 / presented as f64, 1e-12);
        pair(&station["interval"], wilson, 1e-9);
        assert_eq!(station["waiting"], 0);
    }
    // numpy: ratio estimator over 96 moulds with K/(K-1), t of 95 degrees of freedom
    near(&stations[0]["design_effect"], 1.953_777_389_5, 1e-9);
    pair(&stations[0]["mould_interval"], (0.917_888_999_815, 0.964_923_500_185), 1e-9);
    near(&found["rolled"], 640.0 / 768.0, 1e-12);
    near(&found["final"], 640.0 / 768.0, 1e-12);
    pair(&found["final_interval"], (0.805_330_395_263, 0.858_018_268_052), 1e-9);
    // grain is looked at on a sample: listed, and not in the product
    assert_eq!(
        (&found["sampled"][0]["method"], found["sampled"][0]["presented"].as_u64()),
        (&"grain".into(), Some(48))
    );
    // the recorded values: 49 at visual, 55 at penetrant, 66 at X-ray, 71 at dimensional
    let cost = &found["cost"][0];
    let blades: u64 =
        cost["stations"].as_array().unwrap().iter().map(|s| s["blades"].as_u64().unwrap()).sum();
    assert_eq!((blades, cost["currency"].as_str()), (128, Some("EUR")));
    near(&cost["total"], 45.0 * 49.0 + 25.0 * 55.0 + 41.0 * 66.0 + 17.0 * 71.0, 1e-9);
    let text = foundry.run("yield").done().out;
    for part in [
        "723 of 768",
        "rolled (product of the stations) 83.3 %",
        "final 83.3 %",
        "grain (sample)",
        "revert credit",
    ] {
        assert!(text.contains(part), "{part} in\n{text}");
    }
}

#[test]
fn yield_of_a_lot_of_a_window_of_nothing() {
    let foundry = demo();
    for (lot, made, accepted) in [("L31-01", 256, 233), ("L31-02", 256, 190), ("L31-03", 256, 217)] {
        let found = foundry.json(&format!("yield --lot {lot}"));
        assert_eq!(
            (found["made"].as_u64(), found["accepted"].as_u64()),
            (Some(made), Some(accepted)),
            "{lot}"
        );
    }
    let first = foundry.json("yield --until 2031-04-01");
    let rest = foundry.json("yield --since 2031-04-02 --part qb-2207");
    assert_eq!(first["made"].as_u64().unwrap() + rest["made"].as_u64().unwrap(), 768);
    // one day: the two heats of 4 March, two moulds each
    assert_eq!(foundry.json("yield --since 2031-03-04 --until 2031-03-04")["made"], 32);
    let none = foundry.json("yield --since 2032-01-01");
    assert_eq!((&none["made"], &none["rolled"], &none["final"]), (&0.into(), &Value::Null, &Value::Null));
    assert!(foundry.run("yield --since 2032-01-01").done().out.contains("so no yield"));
    foundry.run("yield --lot L31-04").fails(2, "did you mean L31-0");
    foundry.run("yield --part QB-2208").fails(2, "did you mean QB-2207");
    foundry.run("yield --since yesterday").fails(2, "--since");
}

/// One heat, two moulds of three blades: first-pass and final yield by hand.
const REWORKED: &[(&str, &str)] = &[
    ("alloys.csv", "alloy\nA-1\n"),
    ("parts.csv", "part,alloy\nP-1,A-1\n"),
    (
        "inspection_plans.csv",
        "part,method,required,sampling\nP-1,visual,yes,all\nP-1,penetrant,yes,AQL 6.5\nP-1,radiograph,yes,\nP-1,grain,no,\n",
    ),
    ("running_systems.csv", "running_system,fill,positions,filter\nR-1,bottom,3,no\n"),
    ("heats.csv", "heat,alloy,furnace\nH-1,A-1,F\n"),
    (
        "moulds.csv",
        "mould,part,running_system,assembled_at\nM-1,P-1,R-1,2031-01-01T00:00:00Z\nM-2,P-1,R-1,2031-01-01T00:00:00Z\nM-3,P-1,R-1,2031-01-01T00:00:00Z\n",
    ),
    ("pours.csv", "mould,heat,poured_at\nM-1,H-1,2031-01-02T00:00:00Z\nM-2,H-1,2031-01-02T01:00:00Z\n"),
    ("blades.csv", "blade,mould\nA,M-1\nB,M-1\nC,M-1\nD,M-2\nE,M-2\nF,M-2\nG,M-3\n"),
    (
        "inspections.csv",
        "inspection,blade,method,round,purpose,inspected_at,result\n\
         1,A,visual,1,,2031-01-03T00:00:00Z,reject\n2,A,visual,2,,2031-01-04T00:00:00Z,accept\n\
         3,B,visual,1,,2031-01-03T00:00:00Z,accept\n4,C,visual,1,,2031-01-03T00:00:00Z,accept\n\
         5,D,visual,1,,2031-01-03T00:00:00Z,accept\n6,E,visual,1,,2031-01-03T00:00:00Z,reject\n\
         7,A,radiograph,1,,2031-01-05T00:00:00Z,accept\n8,B,radiograph,1,,2031-01-05T00:00:00Z,accept\n\
         9,C,radiograph,1,overlap,2031-01-05T00:00:00Z,reject\n10,D,radiograph,1,product,2031-01-05T00:00:00Z,reject\n",
    ),
    (
        "dispositions.csv",
        "blade,decided_at,decision\nA,2031-01-03T12:00:00Z,rework\nA,2031-01-06T00:00:00Z,accept\nB,2031-01-06T00:00:00Z,accept\n\
         D,2031-01-06T00:00:00Z,scrap\nE,2031-01-06T00:00:00Z,scrap\n",
    ),
    (
        "costs.csv",
        "part,station,value,currency,from_date\nP-1,pour,10,EUR,2030-01-01\nP-1,radiograph,20,EUR,2030-01-01\nP-1,radiograph,30,EUR,2031-06-01\n",
    ),
    ("lots.csv", "lot,part,opened_at\nL-1,P-1,2031-01-01T00:00:00Z\n"),
    ("lot_blades.csv", "lot,blade\nL-1,A\nL-1,B\nL-1,C\nL-1,D\nL-1,E\nL-1,F\nL-1,G\n"),
    ("people.csv", "person,role\nQL-01,quality\n"),
];

#[test]
fn rework_does_not_hide_the_first_presentation() {
    let foundry = Foundry::new();
    foundry.write_bundle("bundle", REWORKED);
    foundry.run("import bundle --as QL-01").done();
    let found = foundry.json("yield");
    // six blades are made: G's mould is not poured. Visual 3 of 5 (A's second round does not count), F waits.
    // Radiograph 2 of 3: C's overlap read is no presentation, so C waits; E was rejected before; F waits.
    let station =
        |i: usize| ["accepted", "presented", "waiting"].map(|k| found["stations"][i][k].as_u64().unwrap());
    assert_eq!((found["made"].as_u64(), station(0), station(1)), (Some(6), [3, 5, 1], [2, 3, 2]));
    assert_eq!(found["stations"].as_array().unwrap().len(), 2);
    near(&found["rolled"], 3.0 / 5.0 * 2.0 / 3.0, 1e-12);
    near(&found["final"], 2.0 / 6.0, 1e-12);
    assert_eq!(found["decisions"]["undecided"], 2);
    // D reached X-ray (20 on that day, not the later 30); E was scrapped at visual, whose value is not recorded,
    // so it counts as a poured blade
    near(&found["cost"][0]["total"], 20.0 + 10.0, 1e-12);
    assert_eq!(found["cost"][0]["not_priced"]["rework decisions"], 1);
    assert_eq!(found["cost"][0]["not_priced"]["inspections of later rounds"], 1);
    // without a plan every method that was used is a station
    let bare = Foundry::new();
    let without: Vec<_> = REWORKED.iter().filter(|f| f.0 != "inspection_plans.csv").copied().collect();
    bare.write_bundle("bundle", &without);
    bare.run("import bundle --as QL-01").done();
    assert_eq!(bare.json("yield")["stations"].as_array().unwrap().len(), 2);
}

#[test]
fn the_sampling_plan_of_a_lot() {
    let foundry = Foundry::new();
    foundry.write_bundle("bundle", REWORKED);
    foundry.run("import bundle --as QL-01").done();
    let lot = foundry.run("--json lot summary L-1").json();
    let plans = lot["sheets"].as_array().unwrap().iter().find(|s| s["title"] == "Sampling plans").unwrap();
    let rows = plans["rows"].as_array().unwrap();
    let at = |method: &str, head: &str| {
        let column = rows[0].as_array().unwrap().iter().position(|h| h == head).unwrap();
        let row = rows.iter().find(|r| r[0] == method)?;
        Some(row[column].as_str().unwrap().to_string())
    };
    // every blade is asked for: no sample
    assert_eq!(at("visual", "n"), None);
    // a lot of 6: letter A at level II; AQL 6.5 has n 2, Ac 0 there (ISO 2859-1 table 2-A)
    assert_eq!(at("penetrant", "n").unwrap(), "2");
    assert_eq!(at("penetrant", "accept with").unwrap(), "0");
    // one bad of six: the two drawn miss it with chance 4/6
    assert_eq!(at("penetrant", "passes at 10 % bad").unwrap(), "67 %");
    let demo = demo();
    let plans = demo.run("lot summary L31-01").out;
    assert!(plans.contains("not a plan that can be reckoned with"), "{plans}");
}

/// A lot of 40 blades. n=13 c=1: with 13 inspected and 1 rejected it passes, with 2 it does not, with 12 the sample
/// is too small; with all 40 inspected each blade stands for itself. The curve is scipy's
/// hypergeom(40, 4, 13).cdf(1) = 0.60811, and 0.90000 for 2 bad of 40.
#[test]
fn a_lot_judged_by_a_sample() {
    let lot_by = |plan: &str, inspected: usize, rejected: usize| {
        let f = Foundry::new();
        let mut blades = String::from("blade,mould,position\n");
        let mut of_lot = String::from("lot,blade\n");
        let mut inspections = String::from("inspection,blade,method,round,inspected_at,result\n");
        for n in 1..=40 {
            blades += &format!("B-{n},M-1,{n}\n");
            of_lot += &format!("L-1,B-{n}\n");
            if n <= inspected {
                let result = if n <= rejected { "reject" } else { "accept" };
                inspections += &format!("I-{n},B-{n},visual,1,2031-01-04T08:00:00Z,{result}\n");
            }
        }
        let plan = format!("part,method,required,sampling\nP,visual,yes,{plan}\n");
        let files: Vec<(&str, &str)> = vec![
            ("alloys.csv", "alloy\nA\n"),
            ("parts.csv", "part,alloy\nP,A\n"),
            ("running_systems.csv", "running_system,fill,positions,filter\nR,bottom,40,no\n"),
            ("moulds.csv", "mould,part,running_system,assembled_at\nM-1,P,R,2031-01-01T08:00:00Z\n"),
            ("heats.csv", "heat,alloy,furnace\nH-1,A,F\n"),
            ("pours.csv", "mould,heat,poured_at\nM-1,H-1,2031-01-02T08:00:00Z\n"),
            ("inspection_plans.csv", &plan),
            ("lots.csv", "lot,part,opened_at\nL-1,P,2031-01-01T08:00:00Z\n"),
            ("blades.csv", &blades),
            ("lot_blades.csv", &of_lot),
            ("inspections.csv", &inspections),
        ];
        f.write_bundle("bundle", &files);
        f.run("new --bare").done();
        f.run("import bundle").done();
        f.run("--json lot summary L-1").json()
    };
    let lot = |inspected, rejected| lot_by("n=13 c=1", inspected, rejected);
    let reasons = |lot: &Value| -> Vec<String> {
        let all = lot["blocked"].as_array().unwrap().iter();
        all.filter(|b| b["code"] == "sampling").map(|b| b["reason"].as_str().unwrap().to_string()).collect()
    };
    assert!(reasons(&lot(13, 1)).is_empty());
    let two = lot(13, 2);
    assert_eq!(reasons(&two).len(), 1);
    assert!(reasons(&two)[0].starts_with("sample not accepted: 2 of 13"), "{:?}", reasons(&two));
    assert!(reasons(&lot(12, 0))[0].starts_with("sample too small: 12 inspected"));
    assert!(reasons(&lot(40, 3)).is_empty());
    // A bare number is a sample of which none may be rejected.
    assert!(reasons(&lot_by("13 blades", 13, 0)).is_empty());
    assert!(reasons(&lot_by("13", 13, 1))[0].starts_with("sample not accepted: 1 of 13"));
    assert!(reasons(&lot_by("13", 12, 0))[0].starts_with("sample too small"));
    // What cannot be reckoned with is no pass, unless every blade was inspected.
    for plan in ["two blades of every fourth mould", "10 %"] {
        let said = reasons(&lot_by(plan, 20, 0));
        assert!(said.len() == 1 && said[0].contains("is not known"), "{plan}: {said:?}");
        assert!(reasons(&lot_by(plan, 40, 0)).is_empty(), "{plan}");
    }
    let text = two["sheets"].to_string();
    assert!(text.contains("\"61 %\"") && text.contains("\"90 %\""), "{text}");
}

#[test]
fn capability_of_the_wall() {
    let foundry = demo();
    let found = foundry.json("capability --characteristic wall");
    assert_eq!(
        (found["n"].as_u64(), found["moulds"].as_u64(), &found["stable"]),
        (Some(653), Some(96), &true.into())
    );
    // numpy: MSB/n0 + MSW (1 - 1/n0); scipy chi2 for Cp, the formula of Bissell 1990 for Cpk with n 532, df 645
    near(&found["mean"], 3.184_856_049, 1e-9);
    near(&found["sd"], 0.076_407_896_977, 1e-10);
    near(&found["df"], 645.816_556_996, 1e-6);
    near(&found["cp"], 0.872_510_163_269, 1e-9);
    near(&found["cpk"], 0.806_443_907_491, 1e-9);
    pair(&found["cp_interval"], (0.824_891_848_747, 0.920_093_470_091), 1e-8);
    pair(&found["cpk_interval"], (0.754_108_679_692, 0.858_779_135_329), 1e-7);
    assert_eq!((&found["refused"], &found["gauge"]), (&Value::Null, &Value::Null));
    // dimensional rejected 13 blades
    assert_eq!(found["outside"], 13);
    // one limit
    let grain = foundry.json("capability --characteristic grain_size");
    assert_eq!((&grain["lower"], &grain["cp"]), (&Value::Null, &Value::Null));
    assert!(grain["cpk"].as_f64().is_some());
}

#[test]
fn capability_is_refused_with_a_sentence() {
    let foundry = demo();
    let unstable = foundry.json("capability --characteristic te_thickness");
    assert_eq!((&unstable["stable"], &unstable["cpk"]), (&false.into(), &Value::Null));
    assert!(unstable["refused"].as_str().unwrap().contains("not stable"));
    assert_eq!(unstable["signals"][0]["mould"], "M31-041");
    // statsmodels anova_lm of y ~ C(part)*C(who): mean squares 1.3583e-5 within, who (1.3966e-4 - 9.965e-6)/20
    let gauge = &unstable["gauge"];
    near(&gauge["repeatability"], 1.358_333_333e-5, 1e-12);
    near(&gauge["reproducibility"], 6.484_259_259e-6, 1e-12);
    near(&gauge["part"], 1.908_722_222e-3, 1e-10);
    assert_eq!((gauge["interaction"].as_f64(), gauge["readings"].as_u64()), (Some(0.0), Some(60)));
    let few = foundry.json("capability --characteristic wall --since 2031-03-04 --until 2031-03-07");
    assert!(few["refused"].as_str().unwrap().contains("too few"), "{few}");
    assert!(few["needed_moulds"].as_u64().unwrap() >= 20);
    let none = foundry.json("capability --characteristic wall --since 2032-01-01");
    assert!(none["refused"].as_str().unwrap().contains("no blade"));
    foundry.run("capability --characteristic wal").fails(2, "did you mean wall");
    foundry.run("capability --characteristic thickness_of_it").fails(2, "measured are");
    foundry.run("capability --characteristic wall --lot L31-9").fails(2, "L31-9");
}

#[test]
fn readers_of_the_same_films() {
    let foundry = demo();
    let found = foundry.json("agreement");
    assert_eq!((&found["method"], found["films_of_all"].as_u64()), (&"radiograph".into(), Some(36)));
    // statsmodels fleiss_kappa; the interval by leaving out one film at a time, numpy, t of 35
    near(&found["kappa"], 0.694_545_454_545, 1e-11);
    pair(&found["interval"], (0.486_624_203_743, 0.902_466_705_348), 1e-9);
    assert_eq!(found["all_agree"], 29);
    let readers = found["readers"].as_array().unwrap();
    let with: Vec<u64> = readers.iter().map(|r| r["with"].as_u64().unwrap()).collect();
    assert_eq!(with, [13, 8, 12]);
    // statsmodels cohens_kappa: kappa ± 1.96 std_kappa, cut at 1
    let pairs = found["pairs"].as_array().unwrap();
    let expected = [
        (0.671_532_846_715, (0.419_183_809_072, 0.923_881_884_358)),
        (0.816_326_530_612, (0.618_004_540_333, 1.0)),
        (0.590_909_090_909, (0.306_643_674_934, 0.875_174_506_884)),
    ];
    for (p, (kappa, interval)) in pairs.iter().zip(expected) {
        near(&p["kappa"], kappa, 1e-11);
        pair(&p["interval"], interval, 1e-9);
    }
    let patterns: usize =
        found["patterns"].as_array().unwrap().iter().map(|p| p["films"].as_u64().unwrap() as usize).sum();
    assert_eq!(patterns, 36);
    // product reads by reader: all 696 blades that were X-rayed
    let product: u64 =
        found["production"].as_array().unwrap().iter().map(|r| r["read"].as_u64().unwrap()).sum();
    assert_eq!(product, 696);
    let text = foundry.run("agreement").done().out;
    assert!(text.contains("Who said what") && text.contains("gauge study of te_thickness"), "{text}");
}

#[test]
fn agreement_without_films_or_words() {
    let foundry = demo();
    let none = foundry.json("agreement --method visual");
    assert_eq!((&none["kappa"], none["films"].as_u64()), (&Value::Null, Some(0)));
    assert!(none["cautions"].to_string().contains("nothing to hold against each other"));
    let never = foundry.json("agreement --defect misrun");
    assert!(never["cautions"].to_string().contains("called every film the same"), "{never}");
    foundry.run("agreement --method radiografh").fails(2, "did you mean radiograph");
    foundry.run("agreement --defect inclsion").fails(2, "did you mean inclusion");
    foundry.run("agreement --characteristic te_thicknes").fails(2, "did you mean te_thickness");
    let small = Foundry::small();
    assert_eq!(small.json("agreement")["kappa"], Value::Null);
    small.run("capability --characteristic wall").fails(2, "no characteristic wall was measured");
    assert_eq!(small.json("yield")["made"], 4);
}

/// Four films: all three readers on two, two of them on the others, one film read twice by one reader.
#[test]
fn films_that_not_everybody_read() {
    let foundry = Foundry::new();
    let blades = ["A", "B", "C", "D"].map(|b| format!("{b},M-1\n")).concat();
    let mut reads = String::new();
    let mut n = 0;
    // reader, film, call; RD-1 reads film A again and says otherwise: the first call counts
    for (person, film, call) in [
        ("RD-1", "A", "reject"),
        ("RD-2", "A", "reject"),
        ("RD-3", "A", "reject"),
        ("RD-1", "B", "accept"),
        ("RD-2", "B", "accept"),
        ("RD-3", "B", "reject"),
        ("RD-1", "C", "accept"),
        ("RD-2", "C", "reject"),
        ("RD-1", "D", "accept"),
        ("RD-3", "D", "accept"),
        ("RD-1", "A", "accept"),
    ] {
        n += 1;
        reads.push_str(&format!(
            "{n},{film},radiograph,1,overlap,RT-1,2031-01-05T00:00:{n:02}Z,{person},{call}\n"
        ));
    }
    let mut files: Vec<(&str, &str)> = REWORKED
        .iter()
        .filter(|f| {
            !["inspections.csv", "dispositions.csv", "lot_blades.csv", "lots.csv", "blades.csv", "people.csv"]
                .contains(&f.0)
        })
        .copied()
        .collect();
    let blades = format!("blade,mould\n{blades}");
    let reads =
        format!("inspection,blade,method,round,purpose,technique,inspected_at,person,result\n{reads}");
    files.extend([
        ("blades.csv", blades.as_str()),
        ("inspections.csv", reads.as_str()),
        ("people.csv", "person,role\nRD-1,inspector\nRD-2,inspector\nRD-3,inspector\nQL-01,quality\n"),
    ]);
    foundry.write_bundle("bundle", &files);
    foundry.run("import bundle --as QL-01").done();
    let found = foundry.json("agreement");
    let n = |key: &str| found[key].as_u64().unwrap();
    assert_eq!((n("films"), n("films_of_all"), n("all_agree"), n("repeated")), (4, 2, 1, 1));
    // two films, counts (3, 0) and (1, 2): statsmodels fleiss_kappa([[3, 0], [1, 2]]) = 0.25
    near(&found["kappa"], 0.25, 1e-12);
    assert_eq!(found["interval"], Value::Null);
    let pairs = found["pairs"].as_array().unwrap();
    let of = |a: &str, b: &str| pairs.iter().find(|p| p["a"] == a && p["b"] == b).unwrap();
    assert_eq!(of("RD-1", "RD-2")["table"], serde_json::json!([[1, 0], [1, 1]]));
    assert_eq!(
        (of("RD-1", "RD-3")["films"].as_u64(), of("RD-2", "RD-3")["films"].as_u64()),
        (Some(3), Some(2))
    );
    assert!(found["cautions"].to_string().contains("few"));
}
