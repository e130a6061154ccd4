//! What a mould had not been through when the next thing was done to it: asked about where a person sits, told to a script,
//! and never ticked. The expected sentences follow from the records of each test.

use meltkin::jobs::furnace::{board, readiness};
use meltkin::jobs::records::{ask, forms};
use records::catalogue::OvenLoads;
use records::{Store, Who};
use serde_json::Value;

use crate::support::Foundry;
use crate::tui::Session;

/// A person is asked, and nothing is written; a script is told, and it is.
#[track_caller]
pub fn asks_a_person_and_tells_a_script(s: &mut Session, kind: &str, fields: &str, sentence: &str) {
    let fields: Vec<String> = fields.split(' ').map(String::from).collect();
    let script = Who::new(Some("OP-51".into()), s.app.now);
    let person = Who { asks: true, ..script.clone() };
    let head = s.desk.store.head().unwrap();
    let asked = ask::log(&mut s.desk.store, &person, kind, &fields, None).unwrap_err();
    assert!(asked.sentence.contains(sentence), "wanted {sentence:?} in {}", asked.sentence);
    assert_eq!(s.desk.store.head().unwrap(), head);
    let told = ask::log(&mut s.desk.store, &script, kind, &fields, None).unwrap();
    assert!(told.guards.iter().any(|g| g.contains(sentence)), "{:?}", told.guards);
}

/// Neither is asked nor told of anything.
#[track_caller]
pub fn fits(s: &mut Session, kind: &str, fields: &str) {
    let fields: Vec<String> = fields.split(' ').map(String::from).collect();
    let who = Who { asks: true, ..Who::new(Some("OP-51".into()), s.app.now) };
    let logged = ask::log(&mut s.desk.store, &who, kind, &fields, None).unwrap();
    assert_eq!(logged.guards, Vec::<String>::new());
}

pub fn at(time: &str) -> String {
    let seconds = if time.len() > 5 { "" } else { ":00" };
    format!("2031-05-26T{time}{seconds}+00:00")
}

/// A mould of SR-7@B (seven coats, 3 h each) with the first coats, the last of them dipped at 20:00 the day before.
pub fn with_coats(n: u32) -> Session {
    let mut s = Session::demo();
    fits(&mut s, "shell_batches", "shell_batch=SB-X recipe=SR-7@B started_at=2031-05-20T06:00:00+00:00");
    let of = "part=QB-2207 running_system=RS-4 shell_batch=SB-X assembled_at=2031-05-19T08:00:00+00:00";
    fits(&mut s, "moulds", &format!("mould=M-X {of}"));
    for coat in 1..=n {
        let day = 25 - (n - coat);
        fits(
            &mut s,
            "coats",
            &format!("mould=M-X coat={coat} slurry_batch=PS31-12 in_at=2031-05-{day}T20:00:00+00:00"),
        );
    }
    s
}

pub fn run(s: &mut Session, tag: &str, purpose: &str, began: &str) {
    let began = at(began);
    fits(s, "oven_runs", &format!("oven_run={tag} purpose={purpose} oven=A started_at={began}"));
}

#[test]
fn into_an_oven_goes_what_is_made() {
    let mut s = with_coats(5);
    run(&mut s, "OV-D", "dewax", "05:00");
    run(&mut s, "OV-F", "fire", "06:00");
    run(&mut s, "OV-P", "preheat", "07:00");
    let load = |run: &str| format!("oven_run={run} mould=M-X");
    let gap = "coat 6, 7 missing; SR-7@B asks for 7";
    asks_a_person_and_tells_a_script(&mut s, "oven_loads", &load("OV-D"), gap);
    let mut s = with_coats(7);
    run(&mut s, "OV-F", "fire", "06:00");
    run(&mut s, "OV-P", "preheat", "07:00");
    let unfired = "not fired: no fire run before OV-P is on record for it";
    asks_a_person_and_tells_a_script(&mut s, "oven_loads", &load("OV-P"), unfired);
    let waxed = "not dewaxed: no dewax run before OV-F is on record for it";
    asks_a_person_and_tells_a_script(&mut s, "oven_loads", &load("OV-F"), waxed);
    // All of it in its order, and there is nothing to say.
    let mut s = with_coats(7);
    for (tag, purpose, began, out) in [
        ("OV-D", "dewax", "05:00", " out_at=2031-05-26T05:30:00Z"),
        ("OV-F", "fire", "06:00", " out_at=2031-05-26T06:30:00Z"),
        ("OV-P", "preheat", "07:00", ""),
    ] {
        run(&mut s, tag, purpose, began);
        fits(&mut s, "oven_loads", &(load(tag) + out));
    }
}

#[test]
fn a_coat_too_many_and_a_dip_after_the_oven_ask() {
    let dip = |coat: u32| format!("mould=M-X coat={coat} slurry_batch=PS31-12 in_at={}", at("07:30"));
    let mut s = with_coats(7);
    let eighth = "SR-7@B has 7 coats and this is coat 8";
    asks_a_person_and_tells_a_script(&mut s, "coats", &dip(8), eighth);
    let mut s = with_coats(6);
    run(&mut s, "OV-D", "dewax", "05:00");
    let who = Who::new(None, s.app.now);
    let load = ["oven_run=OV-D", "mould=M-X"].map(String::from);
    ask::log(&mut s.desk.store, &who, "oven_loads", &load, None).unwrap();
    let inside = "it is in dewax run OV-D since 2031-05-26T05:00:00+00:00, no oven-out on record";
    asks_a_person_and_tells_a_script(&mut s, "coats", &dip(7), inside);
    let mut s = with_coats(6);
    run(&mut s, "OV-D", "dewax", "05:00");
    let load = ["oven_run=OV-D", "mould=M-X", "out_at=2031-05-26T05:10:00Z"].map(String::from);
    ask::log(&mut s.desk.store, &who, "oven_loads", &load, None).unwrap();
    asks_a_person_and_tells_a_script(&mut s, "coats", &dip(7), "it was dewaxed in OV-D, which began at");
}

#[test]
fn the_form_asks_by_its_own_clock() {
    let mut s = with_coats(6);
    let seventh = format!("mould=M-X coat=7 slurry_batch=PS31-12 in_at={}", at("07:00"));
    fits(&mut s, "coats", &seventh);
    run(&mut s, "OV-D", "dewax", "05:00");
    let texts = [("oven_run", "OV-D"), ("mould", "M-X")].map(|(n, t)| (n.to_string(), t.to_string()));
    let asked = |now| forms::asks(&s.desk.store, OvenLoads::KIND, &texts, now).unwrap();
    let now = asked(s.app.now);
    assert!(now[0].needs_reason, "{now:?}");
    assert_eq!((now.len(), now[0].message.as_str()), (1, "coat 7 has dried 1.0 h; SR-7@B asks for 3 h"));
    assert_eq!(asked(s.app.now.later_ms(2 * 3_600_000)), []);
}

fn oven_to_pour(store: &Store, s: &Session) -> Option<(Option<bool>, String)> {
    let ready = readiness::ready(store, "M-X", None, s.app.now).unwrap();
    ready.checks.into_iter().find(|c| c.check == readiness::OVEN_TO_POUR).map(|c| (c.ok, c.reason))
}

#[test]
fn the_clock_of_the_oven_is_that_of_the_last_preheat() {
    let mut s = with_coats(7);
    let load = |s: &mut Session, run: &str, out: &str| {
        fits(s, "oven_loads", &format!("oven_run={run} mould=M-X{out}"));
    };
    run(&mut s, "OV-D", "dewax", "03:00");
    load(&mut s, "OV-D", " out_at=2031-05-26T03:30:00Z");
    run(&mut s, "OV-F", "fire", "04:00");
    load(&mut s, "OV-F", " out_at=2031-05-26T06:20:34Z");
    run(&mut s, "OV-P", "preheat", "07:00");
    load(&mut s, "OV-P", "");
    let left = |s: &Session| board::pour_figures(&s.desk.store, Some("M-X"), None).unwrap().out_of_oven;
    assert_eq!(left(&s), None, "it is in OV-P");
    assert_eq!(oven_to_pour(&s.desk.store, &s), None);
    let pour = format!("mould=M-X heat=H31-049 poured_at={}", at("07:59"));
    let still = "still in OV-P since 2031-05-26T07:00:00+00:00, no oven-out on record";
    let who = Who::new(None, s.app.now);
    let out = vec![("out_at".to_string(), at("07:58"))];
    asks_a_person_and_tells_a_script(&mut s, "pours", &pour, still);
    s.desk.store.correct(&who, "oven_loads:OV-P/M-X", &out, "out").unwrap();
    assert_eq!(left(&s).unwrap().1, "OV-P");
    let (ok, reason) = oven_to_pour(&s.desk.store, &s).unwrap();
    assert_eq!((ok, reason.as_str()), (Some(true), "60 s since OV-P, the recipe allows 180 s"));
}

fn check(f: &Foundry, name: &str) -> Value {
    let ready = f.run("ready M31-003 --json").json();
    let all = ready["checks"].as_array().unwrap();
    all.iter().find(|c| c["check"] == name).unwrap_or_else(|| panic!("no {name} in {ready}")).clone()
}

#[track_caller]
fn says(f: &Foundry, name: &str, ok: Value, sentence: &str) {
    let check = check(f, name);
    assert_eq!(check["ok"], ok, "{check}");
    assert!(check["reason"].as_str().unwrap().contains(sentence), "{check}");
}

/// A mould of SR-7@B, which asks for two coats of an hour; RS-1 has two positions.
fn mould() -> Foundry {
    let f = Foundry::small();
    let of = "part=QB-2207 running_system=RS-1 shell_batch=SB-1 assembled_at=2031-02-10T00:00:00Z";
    f.run(&format!("log moulds mould=M31-003 {of}")).done();
    f
}

#[test]
fn half_a_map_says_so() {
    let f = mould();
    f.run("log blades blade=M31-003-1 mould=M31-003 position=1").done();
    says(&f, "position map", true.into(), "1 of 2 positions of RS-1; the rest count as empty");
    f.run("log blades blade=M31-003-2 mould=M31-003 position=2").done();
    says(&f, "position map", true.into(), "2 blades on record");
}

#[test]
fn what_came_after_the_pour_made_nothing_ready() {
    let f = mould();
    let day = |day: u32, hour: u32| format!("2031-03-{day:02}T{hour:02}:00:00Z");
    let coat =
        |n: u32, at: String| format!("log coats mould=M31-003 coat={n} slurry_batch=PS31-01 in_at={at}");
    f.run(&coat(1, day(2, 0))).done();
    // H31-002 was melted on 6 March at 9:00.
    let pour = format!("log pours mould=M31-003 heat=H31-002 poured_at={}", day(4, 10));
    let told = f.run(&format!("{pour} --json")).done().json();
    assert!(
        told["guards"]
            .to_string()
            .contains("H31-002 was melted at 2031-03-06T09:00:00+00:00, after this pour")
    );
    f.run(&coat(2, day(4, 12))).done();
    for (run, purpose, at) in
        [("OV-D", "dewax", day(3, 0)), ("OV-F", "fire", day(5, 0)), ("OV-P", "preheat", day(4, 8))]
    {
        f.run(&format!("log oven_runs oven_run={run} purpose={purpose} oven=A started_at={at}")).done();
        let out = if run == "OV-P" { format!(" out_at={}", day(5, 5)) } else { String::new() };
        f.run(&format!("log oven_loads oven_run={run} mould=M31-003{out}")).done();
    }
    f.run("log shell_recipes recipe=SR-8 revision=A route=shell coats=2 oven_to_pour_max_s=100 approved_at=2030-01-01 --as QL-01").done();
    f.run("log shell_batches shell_batch=SB-8 recipe=SR-8@A started_at=2031-02-01T00:00:00Z").done();
    f.run("correct M31-003 shell_batch=SB-8 --reason misread").done();
    says(&f, "heat", false.into(), "H31-002 was melted only after the pour, at 2031-03-06T09:00:00+00:00");
    says(&f, "coats", false.into(), "coat 2 dipped only after the pour");
    says(&f, "dewaxed", true.into(), "in OV-D");
    says(
        &f,
        "fired",
        false.into(),
        "fired only after the pour: in OV-F, which began at 2031-03-05T00:00:00+00:00",
    );
    says(
        &f,
        "oven to pour",
        false.into(),
        "it came out of OV-P only after the pour, at 2031-03-05T05:00:00+00:00",
    );
}

#[test]
fn a_pour_before_its_shell_its_firing_or_its_metal_asks() {
    let mut s = with_coats(7);
    run(&mut s, "OV-F", "fire", "07:00");
    let who = Who::new(None, s.app.now);
    let load = ["oven_run=OV-F", "mould=M-X", "out_at=2031-05-26T07:10:00Z"].map(String::from);
    ask::log(&mut s.desk.store, &who, "oven_loads", &load, None).unwrap();
    let pour = |time: &str| format!("mould=M-X heat=H31-049 poured_at={time}");
    let fired = "it was fired only in OV-F, which began at 2031-05-26T07:00:00+00:00, after this pour";
    let person = Who { asks: true, ..who };
    for (time, sentence) in [
        (at("06:30"), fired),
        (at("06:30"), "H31-049 was melted at 2031-05-26T07:00:00+00:00, after this pour"),
        (
            "2031-05-25T10:00:00+00:00".into(),
            "coat 7 was dipped at 2031-05-25T20:00:00+00:00, after this pour",
        ),
    ] {
        let fields: Vec<String> = pour(&time).split(' ').map(String::from).collect();
        let asked = ask::log(&mut s.desk.store, &person, "pours", &fields, None).unwrap_err();
        assert!(asked.sentence.contains(sentence), "wanted {sentence:?} in {}", asked.sentence);
    }
}

/// The limits are those that the catalogue has: 15 min after a pour, 4 h after a check of a pot.
#[test]
fn a_script_that_comes_late_is_told_on_both_ways_out() {
    let f = mould();
    let late = |words: &[&str], after: &str| {
        let told = f.run_with(&[words, &["--json"]].concat()).done();
        let says = format!("typed in {after} after it happened");
        assert!(told.err.contains(&format!("! late: {says}")), "{}", told.err);
        assert!(told.json()["late"].as_str().unwrap().contains(&says), "{}", told.out);
        told.json()
    };
    // The clock stands at midnight, 1 April 2031.
    late(&["log", "slurry_checks", "slurry_batch=PS31-01", "occurred_at=3:00"], "21 h");
    let read = late(&["log", "slurry_checks", "slurry_batch=PS31-01", "occurred_at=31.12. 14:00"], "90 days");
    assert_eq!(read["understood"]["occurred_at"], "2030-12-31T14:00:00+00:00");
    late(&["log", "pours", "mould=M31-003", "heat=H31-001", "poured_at=23:40"], "20 min");
    let told = f.run("log slurry_checks slurry_batch=PS31-01 occurred_at=20:00 --json").done();
    assert!(told.json().get("late").is_none() && told.err.is_empty(), "{}{}", told.out, told.err);
}
