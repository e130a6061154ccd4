//! What can hardly be meant at the furnace and the bench: a person is asked, a script is told. The expected sentences follow
//! from the records of each test.

use meltkin::jobs::furnace::{clocks, daily_check};
use meltkin::jobs::records::ask;
use records::Who;

use crate::not_made_yet::{asks_a_person_and_tells_a_script, at, fits, run, with_coats};
use crate::oven_out::{in_the_oven, seconds};
use crate::tui::Session;

fn log(s: &mut Session, kind: &str, fields: &str) {
    let who = Who::new(Some("OP-51".into()), s.app.now);
    let fields: Vec<String> = fields.split(' ').map(String::from).collect();
    ask::log(&mut s.desk.store, &who, kind, &fields, None).unwrap();
}

fn hold(s: &mut Session, on: &str) {
    let who = Who::new(Some("OP-51".into()), s.app.now);
    ask::hold(&mut s.desk.store, &who, on, "dropped").unwrap();
}

fn whole(s: &Session) -> String {
    s.screen(80, 24).split_whitespace().collect::<Vec<_>>().join(" ")
}

/// F2 asks with this sentence and writes nothing; with a reason it is saved.
#[track_caller]
fn f2_asks(s: &mut Session, sentence: &str) {
    let before = s.desk.store.head().unwrap();
    s.keys("<f2>");
    assert!(whole(s).contains(sentence), "wanted {sentence:?} in:\n{}", s.screen(80, 24));
    s.sees("Why is it right?");
    assert_eq!(s.desk.store.head().unwrap(), before);
}

fn failed_check(s: &mut Session, of: &str) {
    let rest = "check=cross_check result=failed difference=36 unit=°C person=OP-51";
    log(s, "calibrations", &format!("instrument={of} checked_at={} {rest}", at("07:00")));
}

#[test]
fn a_good_check_without_a_figure_asks() {
    let mut s = Session::demo();
    s.keys("i");
    f2_asks(&mut s, "no figure, and good: earlier good checks of PYR-04 gave one");
    s.keys("read by eye<f2>");
    s.sees("saved calibrations:PYR-04/2031-05-26T08:00:00");
    assert_eq!(s.field("calibrations:PYR-04/2031-05-26T08:00:00+00:00", "note"), "read by eye");
    // After a check that failed it is asked whatever the others gave; a figure answers.
    let mut s = Session::demo();
    failed_check(&mut s, "PYR-04");
    s.keys("i");
    f2_asks(&mut s, "no figure, and good: PYR-04 failed its last check 05-26 07:00, difference 36 °C");
    s.keys("<esc>1<f2>");
    s.sees("saved calibrations:PYR-04/2031-05-26T08:00:00");
    // A check that says it failed, or where none ever had a figure, asks nothing.
    let known = |s: &Session, tag: &str| daily_check::of(&s.desk.store, tag, s.app.now).unwrap();
    let mut s = Session::demo();
    log(&mut s, "instruments", "instrument=PYR-X kind=pyrometer");
    assert_eq!(known(&s, "PYR-X").no_figure(), None);
    let plain = format!("instrument=PYR-X checked_at={} check=cross_check result=good", at("06:00"));
    log(&mut s, "calibrations", &plain);
    assert_eq!(known(&s, "PYR-X").no_figure(), None);
}

#[test]
fn a_pour_by_a_pyrometer_that_failed_or_is_overdue_asks() {
    let pour = |by: &str| format!("mould=M31-097 heat=H31-049 poured_at={} pyrometer={by}", at("07:59"));
    let mut s = Session::demo();
    failed_check(&mut s, "PYR-02");
    let failed = "PYR-02 failed its check at 2031-05-26T07:00:00+00:00, difference 36 °C";
    asks_a_person_and_tells_a_script(&mut s, "pours", &pour("PYR-02"), failed);
    let mut s = Session::demo();
    let due = at("07:30");
    let check = format!("checked_at={} check=cross_check result=good due_at={due}", at("07:00"));
    log(&mut s, "calibrations", &format!("instrument=PYR-02 {check}"));
    let over = format!("PYR-02: its check was due at {due}, and none since is on record");
    asks_a_person_and_tells_a_script(&mut s, "pours", &pour("PYR-02"), &over);
    // In the form: the pyrometer is scanned, and saving asks.
    let mut s = Session::demo();
    failed_check(&mut s, "PYR-02");
    s.keys("p<enter>1480").scan("PYR-02");
    f2_asks(&mut s, "PYR-02 failed its check at 2031-05-26 07:00, difference 36 °C");
    // One that was set right since fits.
    let mut s = Session::demo();
    failed_check(&mut s, "PYR-02");
    let right = format!("checked_at={} check=cross_check result=good difference=1", at("07:20"));
    log(&mut s, "calibrations", &format!("instrument=PYR-02 {right}"));
    fits(&mut s, "pours", &pour("PYR-02"));
}

/// A mould of seven coats that was dewaxed and fired, and a preheat that began at 7:00.
fn fired() -> Session {
    let mut s = with_coats(7);
    for (tag, purpose, began, out) in
        [("OV-D", "dewax", "05:00", "05:30"), ("OV-F", "fire", "06:00", "06:40")]
    {
        run(&mut s, tag, purpose, began);
        fits(&mut s, "oven_loads", &format!("oven_run={tag} mould=M-X out_at={}", at(out)));
    }
    run(&mut s, "OV-P", "preheat", "07:00");
    s
}

#[test]
fn what_is_out_of_its_preheat_or_in_another_oven_asks_before_it_goes_in() {
    for (again, purpose) in [("OV-Q", "preheat"), ("OV-R", "fire"), ("OV-S", "dewax")] {
        let mut s = fired();
        fits(&mut s, "oven_loads", "oven_run=OV-P mould=M-X");
        run(&mut s, again, purpose, "07:40");
        let load = format!("oven_run={again} mould=M-X");
        let still = "still in OV-P since 2031-05-26T07:00:00+00:00, no oven-out on record";
        asks_a_person_and_tells_a_script(&mut s, "oven_loads", &load, still);
        let mut s = fired();
        fits(&mut s, "oven_loads", &format!("oven_run=OV-P mould=M-X out_at={}", at("07:48")));
        run(&mut s, again, purpose, "07:40");
        asks_a_person_and_tells_a_script(&mut s, "oven_loads", &load, "out of OV-P for 12:00; back in?");
    }
}

#[test]
fn a_mould_in_two_ovens_leaves_its_preheat() {
    // Typed into a dewax run that began after its preheat.
    let mut s = in_the_oven();
    run(&mut s, "OV-13", "dewax", "06:00");
    log(&mut s, "oven_loads", "oven_run=OV-13 mould=M31-201");
    let out = |s: &Session, run: &str| s.field(&format!("oven_loads:{run}/M31-201"), "out_at");
    s.keys("e").scan("M31-201");
    let said = s.screen(200, 50);
    assert!(
        said.contains("saved M31-201 out of OV-12 (P2) at 08:00:00; by its records still in OV-13"),
        "{said}"
    );
    assert_eq!((out(&s, "OV-12").as_str(), out(&s, "OV-13").as_str()), (at("08:00:00").as_str(), ""));
    let clock = |s: &Session| clocks::clocks(&s.desk.store, s.app.now).unwrap();
    assert_eq!(clock(&s)[0].oven_run, "OV-12");
    // A second scan takes it out of the other, and its clock runs on.
    seconds(&mut s, 30);
    s.scan("M31-201");
    assert_eq!((out(&s, "OV-12"), out(&s, "OV-13")), (at("08:00:00"), at("08:00:30")));
    assert_eq!((clock(&s)[0].oven_run.as_str(), clock(&s)[0].seconds(s.app.now)), ("OV-12", 30));
    // A dewax before its preheat, that nobody wrote a time out of, takes nothing.
    let mut s = in_the_oven();
    run(&mut s, "OV-11", "dewax", "04:00");
    log(&mut s, "oven_loads", "oven_run=OV-11 mould=M31-201");
    s.keys("e").scan("M31-201");
    seconds(&mut s, 30);
    s.scan("M31-201");
    assert_eq!((out(&s, "OV-11"), out(&s, "OV-12")), (String::new(), at("08:00:00")));
    s.sees("M31-201 is out of OV-12 since");
    // Of two preheats it is the one that it was put into last, and its clock runs.
    let mut s = in_the_oven();
    run(&mut s, "OV-10", "preheat", "04:30");
    seconds(&mut s, 60);
    log(&mut s, "oven_loads", "oven_run=OV-10 mould=M31-201");
    s.keys("e").scan("M31-201");
    assert_eq!((out(&s, "OV-10"), out(&s, "OV-12")), (at("08:01:00"), String::new()));
    assert_eq!(clock(&s)[0].oven_run, "OV-10");
}

#[test]
fn the_oven_says_that_a_mould_is_held() {
    let mut s = in_the_oven();
    hold(&mut s, "SB31-03");
    s.keys("e").scan("M31-201");
    s.sees("✗ HELD: M31-201 by HOLD-");
    s.sees("dropped");
    s.misses("HELD: M31-202");
}

#[test]
fn a_finish_step_out_of_its_order_asks() {
    let step = |on: &str, step: &str, time: &str| format!("subject={on} step={step} done_at={}", at(time));
    let mut s = Session::demo();
    log(&mut s, "blades", "blade=M31-097-1 mould=M31-097 position=1");
    for on in ["M31-097", "M31-097-1"] {
        let no_pour = "no pour of M31-097 is on record";
        asks_a_person_and_tells_a_script(&mut s, "finish_steps", &step(on, "grind", "07:50"), no_pour);
    }
    let poured = || {
        let mut s = Session::demo();
        for i in [1, 2] {
            log(&mut s, "blades", &format!("blade=M31-097-{i} mould=M31-097 position={i}"));
        }
        log(&mut s, "pours", &format!("mould=M31-097 heat=H31-049 poured_at={}", at("07:20")));
        s
    };
    let mut s = poured();
    let early = "M31-097 was poured at 2031-05-26T07:20:00+00:00, after this step";
    asks_a_person_and_tells_a_script(&mut s, "finish_steps", &step("M31-097", "knock_out", "07:10"), early);
    let mut s = poured();
    log(&mut s, "finish_steps", &step("M31-042", "knock_out", "07:00"));
    let cut = step("M31-097", "cut_off", "07:40");
    let no_knock = "no knock-out before this cut-off is on record";
    asks_a_person_and_tells_a_script(&mut s, "finish_steps", &cut, no_knock);
    let mut s = poured();
    fits(&mut s, "finish_steps", &step("M31-097", "knock_out", "07:30"));
    let late = "it was knocked out only at 2031-05-26T07:30:00+00:00, after this cut-off";
    let cut_early = step("M31-097-2", "cut_off", "07:25");
    asks_a_person_and_tells_a_script(&mut s, "finish_steps", &cut_early, late);
    // In its order; the other blades of the mould have their own steps; grinding is done as often as it takes.
    fits(&mut s, "finish_steps", &step("M31-097-1", "cut_off", "07:40"));
    fits(&mut s, "finish_steps", &step("M31-097-1", "grind", "07:45"));
    fits(&mut s, "finish_steps", &step("M31-097-1", "grind", "07:46"));
    let twice = "cut off is on record already, at 2031-05-26T07:40:00+00:00";
    asks_a_person_and_tells_a_script(&mut s, "finish_steps", &step("M31-097-1", "cut_off", "07:50"), twice);
    let mould = step("M31-097", "knock_out", "07:50");
    let twice = "knock out is on record already, at 2031-05-26T07:30:00+00:00";
    asks_a_person_and_tells_a_script(&mut s, "finish_steps", &mould, twice);
    // A blade that left.
    let left = s.desk.store.rows::<records::catalogue::Shipments>().unwrap();
    let blade = left.iter().find(|r| r.cell(records::catalogue::Shipments::returned_at).is_blank()).unwrap();
    let blade = blade.need(records::catalogue::Shipments::blade).unwrap().to_string();
    asks_a_person_and_tells_a_script(
        &mut s,
        "finish_steps",
        &step(&blade, "grind", "07:50"),
        "it was shipped at",
    );
}

#[test]
fn a_treatment_that_began_days_ago_asks() {
    let mut s = Session::demo();
    log(&mut s, "blades", "blade=M31-041-X position=60 mould=M31-041");
    log(&mut s, "treatments", "treatment=TR-OLD kind=hip started_at=2031-05-24T07:59:00+00:00");
    log(&mut s, "treatments", "treatment=TR-NEW kind=age started_at=2031-05-24T08:00:00+00:00");
    let old = "TR-OLD began at 2031-05-24T07:59:00+00:00, 2 days ago";
    let load = |of: &str| format!("treatment={of} blade=M31-041-X");
    asks_a_person_and_tells_a_script(&mut s, "treatment_loads", &load("TR-OLD"), old);
    fits(&mut s, "treatment_loads", &load("TR-NEW"));
}

#[test]
fn counts_of_wax_that_cannot_be_ask() {
    let wax = |tag: &str, counts: &str| {
        format!("pattern_run={tag} wax_lot=WL31-01 part=QB-2207 die=D-1 injected_at={} {counts}", at("07:00"))
    };
    let mut s = Session::demo();
    for (tag, counts, sentence) in [
        ("PR-A", "made_count=12 rejected_count=13", "13 rejected of 12 made"),
        ("PR-B", "made_count=2207", "2207 patterns of one run: is that a count, or a scanned tag?"),
        ("PR-C", "made_count=9 rejected_count=1001", "1001 patterns of one run"),
    ] {
        asks_a_person_and_tells_a_script(&mut s, "pattern_runs", &wax(tag, counts), sentence);
    }
    fits(&mut s, "pattern_runs", &wax("PR-D", "made_count=1000 rejected_count=1000"));
}

/// What is held, or of a mould without a pour, is asked about in every run; the reason answers for all that was said.
#[test]
fn runs_ask_about_what_is_held_and_what_was_not_poured() {
    let blades = || {
        let mut s = Session::demo();
        for i in [1, 2] {
            log(&mut s, "blades", &format!("blade=M31-097-{i} mould=M31-097 position={i}"));
        }
        log(&mut s, "treatments", &format!("treatment=TR31-900 kind=hip started_at={}", at("07:00")));
        log(&mut s, "lots", "lot=L31-90 part=QB-2207 opened_at=2031-05-20T08:00:00+00:00");
        log(
            &mut s,
            "oven_runs",
            &format!("oven_run=OR31-900 purpose=preheat oven=P2 started_at={}", at("07:00")),
        );
        s
    };
    let of_blades = ["n3", "n4", "n6"].into_iter().zip(["", "TR31-900", "L31-90"]);
    let begin = |s: &mut Session, key: &str, head: &str| {
        s.keys("b").keys(key);
        if !head.is_empty() {
            s.scan(head).keys("<f2>");
        }
    };
    for (key, head) in of_blades {
        let mut s = blades();
        begin(&mut s, key, head);
        let before = s.desk.store.head().unwrap();
        s.scan("M31-097-1");
        s.sees("M31-097-1: no pour of M31-097 is on record");
        assert_eq!(s.desk.store.head().unwrap(), before, "{key}");
        let mut s = blades();
        log(&mut s, "pours", &format!("mould=M31-097 heat=H31-049 poured_at={}", at("07:40")));
        hold(&mut s, "M31-097-2");
        begin(&mut s, key, head);
        s.scan("M31-097-1");
        let before = s.desk.store.head().unwrap();
        s.scan("M31-097-2");
        s.sees("M31-097-2 is held by HOLD-");
        s.sees("dropped");
        assert_eq!(s.desk.store.head().unwrap(), before, "{key}");
        s.keys("quality saw it<f2>");
        assert_ne!(s.desk.store.head().unwrap(), before, "{key}");
    }
    // Coat and oven of a mould; all that is asked is said in one question.
    let mut s = blades();
    hold(&mut s, "M31-097");
    begin(&mut s, "n1", "PS31-05");
    s.scan("M31-097");
    s.sees("M31-097 is held by HOLD-");
    assert!(s.desk.store.find("coats:M31-097/1").is_err());
    s.keys("<esc><esc>n2di<enter>").scan("OR31-900").keys("<f2>").scan("M31-097");
    s.sees("M31-097 is held by HOLD-");
    assert!(whole(&s).contains("not fired: no fire run before OR31-900"), "{}", s.screen(80, 24));
    assert!(s.desk.store.find("oven_loads:OR31-900/M31-097").is_err());
}
