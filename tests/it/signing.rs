//! Signing: one transaction from asking to sealing, the page that belongs to it, again after a void, and releases that
//! earlier programs signed.

use std::time::{Duration, Instant};

use serde_json::Value;

use crate::lots::{foundry, piped, reasons};
use crate::released::old;
use crate::support::Foundry;

fn sql(f: &Foundry, query: &str) -> String {
    let out = std::process::Command::new("sqlite3").arg(f.store()).arg(query).output().unwrap();
    assert!(out.status.success(), "{}", String::from_utf8_lossy(&out.stderr));
    String::from_utf8(out.stdout).unwrap().trim().to_string()
}

fn signatures(f: &Foundry) -> String {
    sql(f, "SELECT count(*) FROM journal WHERE action = 'sign'")
}

#[test]
fn where_the_page_cannot_be_written_nothing_is_signed() {
    let f = foundry(&[], &[]);
    f.run("lot summary L31-01 --final --as QL-01 --html nowhere/page.html")
        .fails(2, "there is no folder nowhere");
    f.run("lot summary L31-01 --final --as QL-01 --html store.db").fails(2, "store");
    assert_eq!(signatures(&f), "0");
    // Its place is free, and yet no file can be made there.
    f.run("lot summary L31-01 --final --as QL-01 --html /sys/page.html").fails(3, "nothing was written");
    assert_eq!(signatures(&f), "0");
    assert_eq!(f.json("lot summary L31-01")["state"], "draft");
    f.run("lot summary L31-01 --final --as QL-01 --html page.html").done();
    // The head on the page is one that the store has, and nothing is left beside it.
    let page = std::fs::read_to_string(f.path("page.html")).unwrap();
    let at = page.find("journal head ").unwrap() + "journal head ".len();
    assert!(page.contains("FINAL"));
    assert_eq!(f.json(&format!("verify --anchor {}", &page[at..at + 64]))["ok"], true);
    assert_eq!(sql(&f, "SELECT hash FROM journal ORDER BY seq DESC LIMIT 1"), page[at..at + 64]);
    assert!(
        std::fs::read_dir(f.path(".")).unwrap().all(|e| !e
            .unwrap()
            .file_name()
            .to_string_lossy()
            .contains("part"))
    );
}

#[test]
fn a_void_release_says_so_and_is_signed_again_on_a_clock_that_stands_still() {
    let f = foundry(&[], &[]);
    let code = |arguments: &str| f.run(arguments).code;
    assert_eq!((code("lot summary L31-01"), code("lot summary L31-01 --require-final")), (0, 1));
    f.run("lot summary L31-01 --final --as QL-01").done();
    assert_eq!((code("lot summary L31-01"), code("lot summary L31-01 --require-final")), (0, 0));
    let mut times = Vec::new();
    for n in 1..=3 {
        f.run(&format!("correct I3 technique=RT-{n}x --reason misread")).done();
        let void = f.run("lot summary L31-01 --json");
        assert_eq!((void.code, &void.json()["state"]), (1, &Value::from("void")));
        assert_eq!(code("lot summary L31-01 --require-final"), 1);
        let again = f.json("lot summary L31-01 --final --as QL-01");
        assert_eq!((&again["state"], &again["signed"]["rules"]), (&"final".into(), &3.into()));
        times.push(again["signed"]["at"].as_str().unwrap().to_string());
    }
    // The store's clock stands at one instant: each signature takes the next millisecond, and says so.
    times.sort();
    times.dedup();
    assert_eq!(times.len(), 3);
    let notes = sql(&f, "SELECT note FROM signatures ORDER BY signed_at");
    assert_eq!(notes.matches("rules 3; content ").count(), 4, "{notes}");
    assert_eq!(notes.matches("moved on by").count(), 3, "{notes}");
    assert_eq!(f.json("verify")["ok"], true);
}

#[test]
fn only_a_signature_that_was_signed_here_releases() {
    let f = foundry(&[], &[]);
    f.run("lot summary L31-01 --final --as QL-01").done();
    let note = sql(&f, "SELECT note FROM signatures");
    // What was signed is not edited into something else.
    f.run("correct signatures:L31-01/QL-01/2031-04-01T00:00:00+00:00 role=engineer --reason x --as QL-01")
        .fails(2, "is not changed");
    assert_eq!(f.json("lot summary L31-01")["state"], "final");
    f.run("export out").done();
    // In another store the same signature is history.
    let other = Foundry::new();
    other.run_with(&["import", f.path("out").to_str().unwrap()]).done();
    let there = other.json("lot summary L31-01");
    assert_eq!((&there["state"], &there["signed"]), (&"draft".into(), &Value::Null));
    assert!(there["signatures"][0]["proof"].as_str().unwrap().contains("not signed here"));
    // Typed in with the very note of a true one: history too.
    let typed = foundry(&[], &[]);
    let words = format!("note={note}");
    typed
        .run_with(&[
            "log",
            "signatures",
            "subject=L31-01",
            "role=quality",
            "person=QL-01",
            "meaning=released",
            "signed_at=2031-03-20T00:00:00Z",
            &words,
        ])
        .done();
    assert_eq!(typed.json("lot summary L31-01")["state"], "draft");
}

#[test]
fn a_pour_without_a_person_blocks_and_nobody_who_ever_stood_for_one_signs() {
    let f = foundry(&[("pours.csv", "1480,5,OP-01", "1480,5,")], &[]);
    let blocked = f.run("lot summary L31-01 --final --as QL-01 --json");
    assert_eq!(blocked.code, 1);
    assert!(reasons(&blocked.json()).contains("the pour of M31-001 names no person"), "{}", blocked.out);
    // It was QL-02 for a while.
    f.run("correct pours:M31-001 person=QL-02 --reason remembered --as OP-01").done();
    f.run("correct pours:M31-001 person=OP-01 --reason asked --as OP-01").done();
    f.run("lot summary L31-01 --final --as QL-02").fails(1, "stood so in a record of it");
    assert_eq!(f.json("lot summary L31-01 --final --as QL-01")["state"], "final");
    // A blade that hung on another mould before: who poured that one.
    let f = foundry(
        &[
            ("moulds.csv", "M31-001,QB-2207", "M31-009,QB-2207,RS-1,2031-02-10T00:00:00Z\nM31-001,QB-2207"),
            (
                "pours.csv",
                "M31-001,H31-001",
                "M31-009,H31-001,2031-03-04T10:30:00Z,PYR-02,1480,5,QL-02\nM31-001,H31-001",
            ),
            ("blades.csv", "M31-001-2,M31-001,2", "M31-001-2,M31-009,2"),
        ],
        &[],
    );
    f.run("correct M31-001-2 mould=M31-001 --reason misread --as QL-01").done();
    f.run("lot summary L31-01 --final --as QL-02").fails(1, "M31-009");
    assert_eq!(f.json("lot summary L31-01 --final --as QL-01")["state"], "final");
}

#[test]
fn a_wrong_pin_signs_nothing_and_a_right_one_does() {
    let f = foundry(&[], &[]);
    assert_eq!(piped(&f, "pin set --as QL-02", "tin-roof\n").code, 0);
    assert_eq!(piped(&f, "lot summary L31-01 --final --as QL-02 --pin-file -", "tin-rood\n").code, 1);
    assert_eq!(signatures(&f), "0");
    assert_eq!(piped(&f, "lot summary L31-01 --final --as QL-02 --pin-file -", "tin-roof\n").code, 0);
    assert_eq!(signatures(&f), "1");
}

/// Holds are placed while a lot is being signed: each stands before the signature and blocks it, or after it. In the first
/// round the hold is placed before, in the second after it; then at any time between, as long as that one took here.
#[test]
fn a_hold_placed_while_it_is_signed_blocks_or_makes_it_void() {
    let f = foundry(&[], &[]);
    let sign = || f.run("lot summary L31-01 --final --as QL-01 --json");
    let hold = || f.run("hold M31-001 --reason slag --as OP-01 --json");
    let mut met = (0, 0);
    let mut whole = Duration::ZERO;
    for round in 0..8_u32 {
        let (signing, hold) = match round {
            0 => {
                let first = hold();
                (sign(), first)
            }
            1 => {
                let began = Instant::now();
                let first = sign();
                whole = began.elapsed();
                (first, hold())
            }
            _ => std::thread::scope(|s| {
                let signing = s.spawn(sign);
                let hold = s.spawn(|| {
                    std::thread::sleep(whole * (round - 2) / 5);
                    hold()
                });
                (signing.join().unwrap(), hold.join().unwrap())
            }),
        };
        assert_eq!(hold.code, 0, "{}", hold.err);
        let last = |action: &str| -> i64 {
            sql(&f, &format!("SELECT ifnull(max(seq), 0) FROM journal WHERE action = '{action}'"))
                .parse()
                .unwrap()
        };
        let (signed_at, held_at) = (last("sign"), last("hold"));
        let was_final = signing.json()["state"] == "final";
        // Final was said only with a signature older than the hold; else there is no newer signature.
        let before = held_at > signed_at && signed_at > last("lift");
        assert_eq!(was_final, before, "round {round}: signed {signed_at}, held {held_at}: {}", signing.out);
        let now = f.run("lot summary L31-01 --json");
        assert_eq!(now.code, 1, "{}", now.out);
        assert_eq!(now.json()["state"], if signed_at > 0 { "void" } else { "draft" });
        if was_final {
            met.0 += 1
        } else {
            met.1 += 1
        }
        let tag = hold.json()["tag"].as_str().unwrap().to_string();
        f.run(&format!("lift {tag} --reason cleared --as QL-01")).done();
    }
    assert!(met.0 > 0 && met.1 > 0, "{met:?}");
    assert_eq!(f.json("verify")["ok"], true);
}

#[test]
fn what_earlier_programs_signed_is_judged_by_the_rules_of_then() {
    let f = old(3);
    for lot in ["L91-01", "L91-02"] {
        let answer = f.run(&format!("lot summary {lot} --json"));
        let json = answer.json();
        assert_eq!((answer.code, &json["state"]), (0, &Value::from("final")), "{lot}: {}", json["signed"]);
        assert_eq!((&json["signed"]["rules"], &json["signed"]["earlier_rules"]), (&1.into(), &true.into()));
        assert_eq!(json["blocked"].to_string(), "[]");
        assert!(f.run(&format!("lot summary {lot}")).out.contains("signed under earlier rules"));
    }
    // The one that stood on the words of a concession is listed for quality, once.
    let shift = f.json("shift");
    let listed: Vec<&str> =
        shift["releases"].as_array().unwrap().iter().map(|l| l.as_str().unwrap()).collect();
    assert_eq!(listed.len(), 1, "{listed:?}");
    assert!(listed[0].starts_with("L91-02, signed by QL-91"), "{listed:?}");
    // A change of a record of the list of then voids it; a re-tag was not in that list.
    f.run("log retags old_tag=M91-001-1 new_tag=B-X9 changed_at=2031-03-30T00:00:00Z --as QL-91").done();
    assert_eq!(f.json("lot summary L91-01")["state"], "final");
    f.run("correct H91-001 crucible=C-7 --reason misread --as QL-91").done();
    let void = f.run("lot summary L91-01 --json");
    assert_eq!((void.code, &void.json()["state"]), (1, &Value::from("void")));
}
