//! What the trade knows: the table that comes with the starter, the names under it, what an answer says of it.

use std::collections::BTreeSet;

use knowledge::causes::Settings;
use meltkin::jobs::causes::ask::{Ask, board};
use meltkin::jobs::causes::known::Known;
use records::Store;
use serde_json::{Value, json};

use crate::released;
use crate::support::{DEMO_NOW, Foundry};

const SIGNED: &str = "log known_cause_reviews defect=misrun reviewed_at=2031-05-26T07:00:00Z";

/// The sample data with what the trade knows, a metallurgist (OP-31) and quality (OP-51) among its people.
fn sample() -> Foundry {
    let f = Foundry::new().at(DEMO_NOW);
    let bundle = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("sample_data");
    f.run_with(&["import", bundle.to_str().unwrap()]).done();
    f.run("import --known-causes --as OP-31").done();
    f
}

fn asked(f: &Foundry) -> Value {
    f.json("causes --defect misrun")
}

fn row<'a>(answer: &'a Value, factor: &str) -> &'a Value {
    let all = answer["known"].as_array().unwrap();
    all.iter().find(|k| k["factor"] == factor).unwrap_or_else(|| panic!("{factor}: {all:?}"))
}

/// 553 rows of 51 terms: the table's own description.
#[test]
fn a_new_store_has_what_the_trade_knows_and_gives_it_back_byte_for_byte() {
    let f = Foundry::new();
    f.run("new").done();
    f.run("export out").done();
    let second = Foundry::new();
    second.run("new --bare").done();
    assert_eq!(second.json("show known_causes")["records"], json!([]));
    second.run_with(&["import", f.path("out").to_str().unwrap()]).done();
    second.run("export out").done();
    let mut terms = BTreeSet::new();
    for (kind, rows) in [("known_causes", 553), ("knowledge_sources", 79), ("known_cause_reviews", 0)] {
        let text = |f: &Foundry| std::fs::read_to_string(f.path(&format!("out/{kind}.csv"))).unwrap();
        assert_eq!(text(&f), text(&second), "{kind}");
        let text = text(&f);
        let mut reader = csv::Reader::from_reader(text.as_bytes());
        let all: Vec<csv::StringRecord> = reader.records().map(Result::unwrap).collect();
        assert_eq!(all.len(), rows, "{kind}");
        if kind == "known_causes" {
            terms.extend(all.iter().map(|r| r[0].to_string()));
        }
    }
    assert_eq!(terms.len(), 51);
    assert!(!terms.contains("handling"), "no station of the chain causes it");
    assert_eq!(second.json("verify")["ok"], true);
}

#[test]
fn only_a_metallurgist_s_own_hand_turns_weights_on_and_any_change_turns_them_off() {
    let f = sample();
    let table = |f: &Foundry| asked(f)["knowledge"].clone();
    let off = |f: &Foundry, why: &str| {
        let table = table(f);
        assert_eq!(table["weights"], false, "{table}");
        assert_eq!(table["signed_terms"], json!([]), "{table}");
        assert!(table["review"].as_str().unwrap().contains(why), "{why}: {table}");
        assert!(asked(f)["known"].as_array().unwrap().iter().all(|k| k["weight"] == 1.0));
    };
    off(&f, "not reviewed by a metallurgist of this shop");
    let version = table(&f)["version"].clone();
    // Quality may write, and is no metallurgist; nor does it sign for one.
    f.run(&format!("{SIGNED} --as OP-51")).done();
    off(&f, "OP-51 is quality, not a metallurgist");
    f.run("undo --as OP-51").done();
    f.run(&format!("{SIGNED} person=OP-31 --as OP-51")).done();
    off(&f, "written down by somebody else than OP-31");
    f.run("undo --as OP-51").done();
    f.run(&format!("{SIGNED} --as OP-02")).fails(1, "is for quality or a metallurgist");
    f.run(&format!("{SIGNED} --as OP-31")).done();
    let on = table(&f);
    assert_eq!(on["signed_terms"], json!(["misrun"]));
    assert_eq!((&on["weights"], &on["version"]), (&json!(true), &version));
    // Another defect has its own name to wait for.
    assert_eq!(f.json("causes --defect inclusion")["knowledge"]["weights"], false);
    let change = "correct known_causes:misrun/pour.mould_c strength=contributing --reason seen --as OP-31";
    f.run(change).done();
    off(&f, "a row was changed, added or taken out since");
    assert_ne!(table(&f)["version"], version);
    f.run("undo --as OP-31").done();
    assert_eq!(table(&f), on, "the rows are again what was signed");
    f.run_with(&[
        "log",
        "known_causes",
        "defect=misrun",
        "factor=mould.cup_tilt_deg",
        "direction=higher",
        "strength=contributing",
        "mechanism=m",
        "check=c",
        "source_status=practice",
        "--as",
        "OP-31",
    ])
    .done();
    off(&f, "a row was changed, added or taken out since");
    assert_eq!(f.json("verify")["ok"], true);
}

/// Primary 3, contributing 1.5, a row in doubt and a twin 1: fixed before looking, as the table's description says.
#[test]
fn weights_are_those_that_were_fixed_and_move_q() {
    let f = sample();
    let before = asked(&f);
    f.run(&format!("{SIGNED} --as OP-31")).done();
    let after = asked(&f);
    for (factor, weight) in [
        ("pour.superheat_c", 3.0),
        ("pour.mould_c", 3.0),
        ("pattern_run.wax_c", 1.5),
        // "note: twin of superheat; superheat carries the weight"
        ("pour.indicated_c", 1.0),
        ("pour.pyrometer_reading", 1.0),
    ] {
        assert_eq!(row(&after, factor)["weight"], weight, "{factor}");
    }
    let doubted = |k: &&Value| {
        k["doubtful"].as_str().is_some_and(|d| d.starts_with("doubtful:") || d.starts_with("disputed:"))
    };
    let doubted: Vec<&Value> = after["known"].as_array().unwrap().iter().filter(doubted).collect();
    assert!(doubted.iter().all(|k| k["weight"] == 1.0), "{doubted:?}");
    let q = |answer: &Value, factor: &str| {
        let causes = answer["causes"].as_array().unwrap();
        causes.iter().find(|c| c["factor"] == factor).unwrap()["q"].as_f64().unwrap()
    };
    let named = "pour.pyrometer_days_since_good_check";
    assert!(q(&after, named) < q(&before, named), "{} {}", q(&after, named), q(&before, named));
    let p = |answer: &Value| -> Vec<f64> {
        answer["causes"].as_array().unwrap().iter().map(|c| c["p"].as_f64().unwrap()).collect()
    };
    assert_eq!(p(&before).len(), p(&after).len());
}

#[test]
fn each_known_cause_is_held_against_the_records() {
    let f = sample();
    let days = "pour.pyrometer_days_since_good_check";
    let answer = asked(&f);
    assert_eq!(row(&answer, days)["records"], "supported");
    assert_eq!(row(&answer, "pour.mould_c")["records"], "not supported");
    assert_eq!(row(&answer, "running_system")["records"], "not tested");
    let order: Vec<(&str, &str)> = answer["known"]
        .as_array()
        .unwrap()
        .iter()
        .map(|k| (k["strength"].as_str().unwrap(), k["source_status"].as_str().unwrap()))
        .collect();
    let place = |&(strength, status): &(&str, &str)| {
        let at = |all: &[&str], one: &str| all.iter().position(|a| *a == one).unwrap();
        (at(&["primary", "contributing"], strength), at(&["read", "cited", "memory", "practice"], status))
    };
    assert!(order.windows(2).all(|pair| place(&pair[0]) <= place(&pair[1])), "{order:?}");
    // A row of the shop's own that says the opposite, and one of what nobody recorded.
    f.run(&format!("correct known_causes:misrun/{days} direction=lower --reason r --as OP-31")).done();
    f.run_with(&[
        "log",
        "known_causes",
        "defect=misrun",
        "factor=ladle.colour",
        "direction=level",
        "strength=primary",
        "mechanism=m",
        "check=look at the ladle",
        "source_status=practice",
        "--as",
        "OP-31",
    ])
    .done();
    let answer = asked(&f);
    assert_eq!(row(&answer, days)["records"], "against");
    let unknown = row(&answer, "ladle.colour");
    assert_eq!((&unknown["records"], &unknown["q"]), (&json!("not recorded"), &Value::Null));
    let check = answer["check"].to_string();
    // What is shown on the other side is not looked at for the reason that the row gives; where its records are, is said.
    assert!(check.contains("look at the ladle") && !check.contains("Cross-check against a dip"), "{check}");
    assert!(answer["check"][0].as_str().unwrap().starts_with(&format!("{days} (ranked first")), "{check}");
    // Beside the ranked factor stands what is known of it.
    let first = &answer["causes"][0];
    assert_eq!(first["factor"], days);
    assert!(first["known"]["mechanism"].as_str().unwrap().contains("pyrometer"), "{first}");
    assert!(first["known"]["check"].as_str().unwrap().contains("thermocouple"), "{first}");
}

#[test]
fn with_too_few_moulds_it_still_says_where_to_look() {
    let f = Foundry::small();
    f.run("import --known-causes --as QL-01").done();
    let answer = f.json("causes --defect inclusion");
    assert_eq!(answer["causes"], json!([]));
    assert_eq!(row(&answer, "heat.O")["records"], "not recorded");
    assert_eq!(answer["known"].as_array().unwrap().len(), 39, "inclusion has 39 rows");
    let text = f.run("causes --defect inclusion").done().out;
    for said in [
        "Where to look first",
        "not reviewed by a metallurgist of this shop",
        "neither support nor exclude",
        "They approve no process",
        "What to check:",
        "What to hold:\n- nothing",
        "What to pour next:",
    ] {
        assert!(text.contains(said), "{said}: {text}");
    }
    f.run("causes --defect inclusion --html page.html").done();
    let page = std::fs::read_to_string(f.path("page.html")).unwrap();
    assert!(page.contains("<h2>Where to look first</h2>") && page.contains("They approve no process"));
    // Any rejection is no defect of the table.
    let any = f.json("causes");
    assert_eq!((&any["known"], &any["check"]), (&json!([]), &json!([])));
    assert!(any["knowledge"]["rows"].as_u64().unwrap() > 0);
}

/// A store from before takes the table later; what a shop has edited stays as it is.
#[test]
fn a_store_from_before_takes_the_table_later() {
    let f = released::old(4);
    assert_eq!(f.json("show known_causes")["records"], json!([]));
    f.run("import --known-causes --as OP-02").fails(1, "is for quality or a metallurgist");
    let taken = f.json("import --known-causes --as QL-92");
    assert_eq!(taken["records"]["knowledge_sources"], 79);
    assert!(taken["records"]["known_causes"].as_u64().unwrap() > 0, "{taken}");
    assert!(taken["remarks"].to_string().contains("defect terms that the store does not have"), "{taken}");
    let defect = f.json("show known_causes")["records"][0][0].as_str().unwrap().to_string();
    f.run_with(&["correct", &defect, "check=our own", "--reason", "r", "--as", "QL-92"]).done();
    let again = f.json("import --known-causes --as QL-92");
    assert_eq!(again["records"], json!({}));
    assert_eq!(f.json(&format!("show {defect}"))["record"]["check"], "our own");
    assert_eq!(f.json("verify")["ok"], true);
}

/// Only what is shown, explained by nothing else, and a record that a hold would fence.
#[test]
fn a_hold_is_named_only_for_a_shown_record() {
    let f = sample();
    let store = Store::open(&f.store()).unwrap();
    let ask = Ask { defect: Some("misrun".into()), ..Ask::default() };
    let answer = board(&store, &ask, Settings::default()).unwrap().answer;
    let hold = |factor: &str, level: &str, flagged: bool, explained: bool| {
        let mut ranking = answer.ranking.clone();
        ranking.causes.truncate(1);
        let cause = &mut ranking.causes[0];
        (cause.factor, cause.level, cause.kind) = (factor.into(), Some(level.into()), "level");
        (cause.flagged, cause.explained_by) = (flagged, explained.then(|| "heat.N".to_string()));
        let mut known = Known::default();
        known.find_holds(&store, &ranking).unwrap();
        known.hold.iter().map(|h| h.tag.clone()).collect::<Vec<_>>()
    };
    assert_eq!(hold("filter_lot", "FL31-02", true, false), ["FL31-02"]);
    assert_eq!(hold("pour.pyrometer", "PYR-02", true, false), ["PYR-02"]);
    let none: [String; 0] = [];
    assert_eq!(hold("filter_lot", "FL31-02", false, false), none);
    assert_eq!(hold("filter_lot", "FL31-02", true, true), none);
    // A level that is spelled like some record is not that record, and a person is never held.
    assert_eq!(hold("pour.seal_state", "FL31-02", true, false), none);
    assert_eq!(hold("pour.person", "OP-31", true, false), none);
}

/// A row written after looking, with a name under it of a day before: neither is taken for knowledge.
#[test]
fn a_weight_is_not_bought_after_looking() {
    let f = sample();
    let named = "pour.pyrometer_days_since_good_check";
    let own = |factor: &str, source: &str| {
        let (factor, source) = (format!("factor={factor}"), format!("source={source}"));
        f.run_with(&[
            "log",
            "known_causes",
            "defect=misrun",
            &factor,
            "direction=level",
            "strength=primary",
            "mechanism=m",
            "check=c",
            &source,
            "source_status=practice",
            "--as",
            "OP-31",
        ])
    };
    own("filter_lot.pores", "PRACTISE").fails(2, "did you mean PRACTICE ?");
    own("filter_lot", "PRACTICE").done();
    // The clock of the sample stands at eight; the row was entered then.
    f.run(&format!("{SIGNED} --as OP-31")).fails(2, "before the row of filter_lot was entered");
    f.run("log known_cause_reviews defect=misrun reviewed_at=2031-05-26T08:00:00Z --as OP-31").done();
    let answer = asked(&f);
    assert_eq!(answer["knowledge"]["weights"], true);
    assert_eq!(row(&answer, "filter_lot")["weight"], 1.0);
    assert_eq!(row(&answer, "pour.superheat_c")["weight"], 3.0);
    let cautions = answer["cautions"].to_string();
    assert!(cautions.contains("1 row of what is known of it has no weight here"), "{cautions}");
    assert_eq!(answer["causes"][0]["factor"], named);
}

#[test]
fn a_factor_that_nobody_knows_has_its_neighbours_named() {
    let f = sample();
    f.run_with(&[
        "log",
        "known_causes",
        "defect=misrun",
        "factor=pour.superheatc",
        "direction=lower",
        "strength=primary",
        "mechanism=m",
        "check=c",
        "source_status=practice",
        "--as",
        "OP-31",
    ])
    .done();
    let said = row(&asked(&f), "pour.superheatc")["said"].clone();
    assert!(said.as_str().unwrap().contains("did you mean pour.superheat_c"), "{said}");
}

/// The story of the instrument ends in what to do: which one, what to check, and no pour on its readings.
#[test]
fn an_instrument_in_doubt_is_named_with_what_it_read() {
    let f = sample();
    let answer = f.json("causes --defect misrun --zone TE");
    let hold = answer["hold"].as_array().unwrap();
    let pyrometer = hold.iter().find(|h| h["kind"] == "instruments").unwrap_or_else(|| panic!("{hold:?}"));
    assert_eq!(pyrometer["tag"], "PYR-02");
    assert!(pyrometer["read_for"].as_u64().unwrap() >= 30, "{pyrometer}");
    let text = f.run("causes --defect misrun --zone TE").done().out;
    assert!(text.contains("hold what PYR-02 read while in doubt"), "{text}");
    assert!(answer["check"][0].as_str().unwrap().contains("PYR-02"), "{}", answer["check"]);
    assert!(
        text.contains("What to pour next:\n- nothing on a reading in doubt: check or replace PYR-02"),
        "{text}"
    );
    for next in answer["next"].as_array().unwrap() {
        let pour = next["pour"].as_str().unwrap();
        assert!(
            !next["separates"].to_string().contains("pyrometer_") || pour.contains("pour nothing"),
            "{pour}"
        );
    }
}
