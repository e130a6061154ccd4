//! The lead's desk: what it says of each lot is what the lot's summary says; what waits is listed until it is decided; from a
//! reason the keys lead to records, and none of them decides by itself.

use serde_json::{Value, json};

use crate::pty::{Terminal, store};
use crate::support::Foundry;
use crate::tui::Session;

/// The word of the desk for a summary, made from its JSON alone.
fn word(lot: &Value) -> &'static str {
    let count = |name: &str| lot["counts"][name].as_i64().unwrap();
    let here = count("accepted") + count("concession") + count("held") + count("in_process");
    match lot["state"].as_str().unwrap() {
        "void" => "void",
        "final" if here == 0 && count("shipped") > 0 => "shipped",
        "final" => "final",
        _ if lot["blocked"].as_array().unwrap().is_empty() => "may go",
        _ => "blocked",
    }
}

/// Station and reason of every line that blocks, each once.
fn distinct(lot: &Value) -> Vec<(&str, &str)> {
    let mut out: Vec<(&str, &str)> = lot["blocked"]
        .as_array()
        .unwrap()
        .iter()
        .map(|b| (b["station"].as_str().unwrap(), b["reason"].as_str().unwrap()))
        .collect();
    out.sort_unstable();
    out.dedup();
    out
}

/// Every lot of the store by the desk, by its summary and by the text of both. Gives the words.
#[track_caller]
fn agrees(f: &Foundry) -> Vec<String> {
    let desk = f.json("lot list");
    let text = f.run("lot list").done().out;
    let mut words = Vec::new();
    for line in desk["lots"].as_array().unwrap() {
        let tag = line["lot"].as_str().unwrap();
        let lot = f.run(&format!("lot summary {tag} --json")).json();
        assert_eq!(line["state"], word(&lot), "{tag}");
        assert_eq!(line["counts"], lot["counts"], "{tag}");
        // The table of reasons holds each once, with as many blades as have a line of their own.
        let reasons = lot["reasons"].as_array().unwrap();
        let mut table: Vec<(&str, &str)> =
            reasons.iter().map(|r| (r["station"].as_str().unwrap(), r["what"].as_str().unwrap())).collect();
        table.sort_unstable();
        assert_eq!(table, distinct(&lot), "{tag}");
        assert_eq!(line["reasons"], reasons.len(), "{tag}");
        for r in reasons {
            let of = |b: &&Value| {
                b["station"] == r["station"] && b["reason"] == r["what"] && !b["blade"].is_null()
            };
            let blades = lot["blocked"].as_array().unwrap().iter().filter(of).count();
            assert_eq!(r["blades"], blades, "{r}");
            assert_ne!(r["lifted_by"], "the record that it lies in", "a code without words: {r}");
            // Where it leads is there to be shown.
            if let Some(at) = r["leads_to"].as_str() {
                f.run_with(&["show", at]).done();
            }
        }
        let said = match line["state"].as_str().unwrap() {
            "blocked" if reasons.len() == 1 => "✗ 1 reason".into(),
            "blocked" => format!("✗ {} reasons", reasons.len()),
            "void" => "✗ void".into(),
            state => format!("✓ {state}"),
        };
        let of_lot = text.lines().find(|l| l.split_whitespace().next() == Some(tag)).unwrap();
        assert!(of_lot.contains(&said), "{said}: {of_lot}");
        words.push(line["state"].as_str().unwrap().to_string());
    }
    words
}

#[test]
fn the_desk_says_of_every_lot_of_the_demo_what_its_summary_says() {
    let f = Foundry::new();
    f.json("demo --no-screen");
    let f = f.at("2031-05-26T08:00:00+00:00");
    assert_eq!(agrees(&f), ["blocked"; 3]);
    let desk = f.json("lot list");
    let left = |tag: &str| {
        let all = desk["concessions"].as_array().unwrap();
        let of = all.iter().find(|c| c["concession"] == tag).unwrap();
        (of["quantity"].clone(), of["used"].clone(), of["left"].clone())
    };
    // sample_data: 6 are granted, 0 dispositions name it
    assert_eq!(left("CN31-01"), (json!(6), json!(0), json!(6)));
}

#[test]
fn a_lot_goes_from_blocked_to_may_go_to_final_to_shipped_to_void_on_the_desk() {
    let f = crate::lots::foundry(&[], &[]);
    assert_eq!(agrees(&f), ["may go"]);
    f.run("lot summary L31-01 --final --as QL-01").done();
    assert_eq!(agrees(&f), ["final"]);
    let blades: Vec<String> = f.run("lot summary L31-01 --json").json()["serials"]
        .as_array()
        .unwrap()
        .iter()
        .map(|s| s[0].as_str().unwrap().to_string())
        .collect();
    for blade in &blades {
        f.run(&format!(
            "log shipments blade={blade} shipped_at=2031-03-31T08:00:00Z certificate=C-1 --as QL-01"
        ))
        .done();
    }
    assert_eq!(agrees(&f), ["shipped"]);
    f.run("correct H31-001 crucible=C-9 --reason misread --as QL-01").done();
    assert_eq!(agrees(&f), ["void"]);
}

/// What was signed by earlier programs, lots of a small foundry, lots without a plan.
#[test]
fn the_desk_agrees_on_stores_of_other_tests() {
    for schema in 1..=5 {
        agrees(&crate::released::old(schema));
    }
    agrees(&Foundry::small());
    agrees(&crate::lots::foundry(
        &[
            ("inspections.csv", "FV-01,accept\n", "FV-01,reject\n"),
            ("inspection_plans.csv", "radiograph,yes,all", "grain,yes,AQL 1.0"),
        ],
        &[(
            "holds.csv",
            "hold,subject,placed_at,person,reason\nHD-1,H31-001,2031-03-20T00:00:00Z,QL-01,cards burnt\n",
        )],
    ));
}

#[test]
fn what_waits_is_listed_until_somebody_decides() {
    let f = crate::lots::foundry(&[], &[]);
    let waits = |what: &str| f.json("lot list")[what].as_array().unwrap().clone();
    assert!(waits("rejected").is_empty());
    f.run("log inspections inspection=I-X blade=M31-001-1 method=visual round=1 inspected_at=2031-03-31T12:00:00Z person=IN-01 result=reject --as IN-01").done();
    f.run("log findings inspection=I-X defect=inclusion zone=AF --as IN-01").done();
    let rejected = waits("rejected");
    let first = &rejected[0];
    assert_eq!(
        (&first["blade"], &first["lot"], &first["inspection"]),
        (&json!("M31-001-1"), &json!("L31-01"), &json!("I-X"))
    );
    assert_eq!(first["found"], json!([{"defect": "inclusion", "zone": "AF"}]));
    // From noon to the midnight of the tests' clock.
    assert_eq!(first["age_h"], json!(12.0));
    assert!(f.run("lot list").out.contains("inclusion in AF"));
    let mut s = Session::on(&f.store(), None);
    s.keys("l<tab>");
    s.sees("[rejected 1]");
    s.sees("inclusion in AF");
    s.keys("<enter>");
    s.sees("M31-001-1");
    s.misses("[rejected 1]");
    drop(s);
    f.run_with(&["hold", "M31-001-2", "--reason", "card burnt", "--as", "IN-01"]).done();
    assert_eq!(waits("holds")[0]["subject"], "M31-001-2");
    f.run_with(&["disposition", "scrap", "M31-001-1", "--reason", "inclusion", "--as", "QL-01"]).done();
    assert!(waits("rejected").is_empty(), "decided on");
    // One that came back waits too, with its reason, until quality has seen it.
    let sent = "shipments:M31-001-2/2031-03-31T13:00:00Z";
    f.run("log shipments blade=M31-001-2 shipped_at=2031-03-31T13:00:00Z --reason urgent --as QL-01").done();
    assert!(waits("returned").is_empty());
    let back = [
        "correct",
        sent,
        "returned_at=2031-03-31T18:00:00Z",
        "return_reason=crack at the root",
        "--reason",
        "came back",
        "--as",
        "QL-01",
    ];
    f.run_with(&back).done();
    let returned = waits("returned");
    assert_eq!(
        (&returned[0]["blade"], &returned[0]["reason"]),
        (&json!("M31-001-2"), &json!("crack at the root"))
    );
    assert_eq!(returned[0]["age_h"], json!(6.0));
    f.run_with(&["disposition", "scrap", "M31-001-2", "--reason", "crack", "--as", "QL-01"]).done();
    assert!(waits("returned").is_empty());
}

#[test]
fn the_lists_of_the_desk_and_the_way_from_a_reason_to_what_would_lift_it() {
    let mut s = Session::demo();
    s.app.who = Some("OP-51".into());
    s.keys("l");
    s.sees("✗ 12 reasons");
    s.sees("[lots and trials 4]");
    insta::assert_snapshot!("desk_120x40", s.screen(120, 40));
    s.keys("<tab>");
    s.sees("[rejected 0]");
    s.sees("no rejected blade waits for a decision");
    s.keys("<tab><tab><tab>");
    s.sees("[concessions 2]");
    s.sees("6 of 6 left");
    insta::assert_snapshot!("concessions_80x24", s.screen(80, 24));
    // A list that is no list of lots knows no keys of lots.
    s.keys("g");
    s.misses("blocked by");
    s.keys("<enter>");
    s.sees("DV31-01");
    s.keys("<esc><tab><down>b");
    s.sees("What blocks L31-02");
    s.keys("<enter>");
    s.sees("M31-049-1, 2, 4 to 8");
    insta::assert_snapshot!("blades_80x24", s.screen(80, 24));
    s.keys("<esc>o");
    s.sees("AN31-038");
    s.keys("<esc>");
    s.sees("What blocks L31-02");
    for _ in 0..10 {
        s.keys("<down>");
    }
    s.keys("o");
    s.sees("calibrations:PYR-02/2031-04-09");
    for (w, h) in [(1, 1), (20, 5), (200, 60)] {
        s.screen(w, h);
    }
}

/// Each key of the desk and of what blocks a lot, alone: the journal stays as long as it was.
#[test]
fn no_single_key_of_the_desk_writes() {
    for (way, keys) in [("l<down>", "gbenz"), ("l<down>b", "ofdnih")] {
        for key in keys.chars().map(String::from) {
            let mut s = Session::demo();
            s.app.who = Some("OP-51".into());
            let before = s.desk.store.head().unwrap();
            s.keys(way).keys(&key);
            assert_eq!(s.desk.store.head().unwrap(), before, "{key} after {way}");
        }
    }
}

/// In a terminal, from the first key to the record of the reading and back.
#[test]
fn from_the_desk_to_the_analysis_behind_a_reason() {
    let (_folder, path) = store();
    let mut t = Terminal::screens(&path);
    t.wait("not every check");
    t.press("l", "✗ 12 reasons");
    t.press("\t", "[rejected 0]");
    t.press("\t", "[holds 0]");
    t.press("\x1b[Z", "[rejected 0]");
    t.press("\x1b[Z", "[lots and trials 4]");
    t.press("\x1b[B", "▸ lot   L31-02");
    t.press("b", "what would lift it");
    t.press("\r", "found at: AN31-038");
    t.press("\x1b", "What blocks L31-02");
    t.press("o", "subject");
    t.wait("AN31-038");
    for gone in ["subject", "What blocks", "Lots and trials"] {
        t.send("\x1b");
        t.wait_until("the screen below", |s| !s.contains(gone));
    }
    t.send("q");
    assert_eq!(t.end(), 0);
}
