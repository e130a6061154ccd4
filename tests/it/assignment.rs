//! Arms given to moulds by chance, and when that is refused. The bundles are invented.

use serde_json::Value;

use crate::support::Foundry;
use crate::trials::{M, foundry_of, m};

/// Eight moulds of four blocks, assembled and not poured, without a shell yet.
fn waiting() -> Foundry {
    let moulds: Vec<M> = [
        ("M-01", "H-1"),
        ("M-02", ""),
        ("M-03", ""),
        ("M-04", ""),
        ("M-05", ""),
        ("M-06", ""),
        ("M-07", ""),
        ("M-08", ""),
        ("M-09", ""),
    ]
    .iter()
    .map(|&(name, heat)| m(name, "", "", heat, "...."))
    .collect();
    foundry_of("pore", "open,8,", &moulds)
}

const ALL: &str = "M-02=1 M-03=1 M-04=2 M-05=2 M-06=3 M-07=3 M-08=4 M-09=4";

fn dealt(answer: &Value) -> Vec<(String, String, String)> {
    let text = |v: &Value| v.as_str().unwrap().to_string();
    answer["assigned"]
        .as_array()
        .unwrap()
        .iter()
        .map(|d| (text(&d["mould"]), text(&d["arm"]), text(&d["block"])))
        .collect()
}

#[test]
fn arms_are_dealt_at_random_within_blocks() {
    let foundry = waiting();
    let first = foundry.json(&format!("trial assign T-1 {ALL} --arms C,B --seed 77 --as EN-01"));
    let list = dealt(&first);
    for block in ["1", "2", "3", "4"] {
        let mut arms: Vec<&str> = list.iter().filter(|d| d.2 == block).map(|d| d.1.as_str()).collect();
        arms.sort_unstable();
        assert_eq!(arms, ["B", "C"], "block {block}");
    }
    // written down, with the seed, and journalled
    assert_eq!(foundry.json("show T-1")["record"]["seed"], "77");
    let one = foundry.json(&format!("show trial_moulds:T-1/{}", list[0].0));
    assert_eq!(
        (one["record"]["arm"].as_str(), one["record"]["recorded_by"].as_str()),
        (Some(list[0].1.as_str()), Some("EN-01"))
    );
    foundry.run("verify").done();
    // the same seed gives the same arms, whatever the order in which moulds are named
    let turned: Vec<&str> = ALL.split(' ').rev().collect();
    let again = waiting().json(&format!("trial assign T-1 {} --arms B,C --seed 77", turned.join(" ")));
    assert_eq!(dealt(&again), list);
    // every seed balances; over many seeds each mould comes to either arm
    let mut with_c = 0;
    for seed in 0..12 {
        let found = dealt(&waiting().json(&format!("trial assign T-1 {ALL} --arms B,C --seed {seed}")));
        with_c += usize::from(found[0].1 == "C");
    }
    assert!((1..12).contains(&with_c), "{with_c} of 12");
}

#[test]
fn what_is_left_over_goes_where_fewest_are() {
    let foundry = waiting();
    let first = dealt(&foundry.json("trial assign T-1 M-02=1 M-03=1 M-04=1 --arms B,C --seed 5"));
    let c = |list: &[(String, String, String)]| list.iter().filter(|d| d.1 == "C").count();
    // the odd one of the next block evens it out
    let second = dealt(&foundry.json("trial assign T-1 M-05=2 M-06=2 M-07=2"));
    assert_eq!(c(&first) + c(&second), 3);
    let third = foundry.json("trial assign T-1 M-08=3 M-09=3");
    assert_eq!((third["seed"].as_u64(), third["draw"].as_u64()), (Some(5), Some(6)));
}

#[test]
fn an_assignment_is_refused_where_it_would_be_none() {
    let foundry = waiting();
    let say = |arguments: &str, sentence: &str| drop(foundry.run(arguments).fails(2, sentence));
    say("trial assign T-1 M-01=1 M-02=1 --arms B,C", "was poured at");
    say("trial assign T-1 M-20=1 M-02=1 --arms B,C", "did you mean M-0");
    say("trial assign T-1 M-02=1 m-02=1 --arms B,C", "named twice");
    say("trial assign T-1 M-02 M-03 --arms B", "at least two arms");
    say("trial assign T-1 M-02 M-03 --arms B,b", "given twice");
    say("trial assign T-1 M-02 M-03 --arms B,C --as EN-02", "EN-01");
    // nothing of it was written
    assert_eq!(foundry.json("trial show T-1")["moulds"], Value::Array(vec![]));
    assert_eq!(foundry.json("show T-1")["record"]["seed"], Value::Null);
    foundry.run("trial assign T-1 M-02=1 M-03=1 --arms B,C --seed 5").done();
    say("trial assign T-1 M-02=1 M-04=1", "already has an arm");
    say("trial assign T-1 M-04=1 M-05=1 --seed 6", "drawn again until it pleases");
    say("trial assign T-1 M-04=1 M-05=1 --arms B,CC", "is not one of them");
    foundry
        .run_with(&[
            "correct",
            "T-1",
            "status=closed",
            "decision=stays B",
            "--reason",
            "over",
            "--as",
            "EN-01",
        ])
        .done();
    say("trial assign T-1 M-04=1 M-05=1", "is closed");
    assert_eq!(foundry.json("trial show T-1")["decision"], "stays B");
    // made one way already
    let made = foundry_of(
        "pore",
        "open,8,",
        &[M { recipe: "C", ..m("M-1", "", "", "", "....") }, m("M-2", "", "", "", "....")],
    );
    made.run("trial assign T-1 M-1 M-2 --arms B,C").fails(2, "already made with SR-1@C");
}
