//! Out of the oven by one scan or one key, and the clock that runs from then on. The limit of 180 s is that of recipe SR-7 in
//! the sample data.

use meltkin::jobs::file::demo;
use meltkin::jobs::furnace::clocks;
use meltkin::jobs::furnace::readiness;
use meltkin::jobs::records::ask;
use meltkin::ui::app::Event;
use records::{Stamp, Store, Who};
use tempfile::TempDir;

use crate::tui::{Session, demo_copy};

const MOULDS: [&str; 3] = ["M31-201", "M31-202", "M31-203"];

/// Three moulds of one shell batch that are in a preheat oven, the first planned before all others.
pub fn in_the_oven() -> Session {
    let folder = TempDir::new().unwrap();
    let path = demo_copy(folder.path());
    let mut store = Store::open(&path).unwrap();
    let who = Who::new(Some("OP-07".into()), Stamp::parse(demo::CLOCK).unwrap());
    let mut log = |kind: &str, fields: String| {
        let fields: Vec<String> = fields.split(' ').map(String::from).collect();
        ask::log(&mut store, &who, kind, &fields, None).unwrap();
    };
    let at = "2031-05-26T05:00:00+00:00";
    log("oven_runs", format!("oven_run=OV-12 purpose=preheat oven=P2 started_at={at}"));
    for (i, mould) in MOULDS.iter().enumerate() {
        let part = "part=QB-2207 running_system=RS-4 shell_batch=SB31-03";
        log("moulds", format!("mould={mould} {part} assembled_at=2031-05-20T08:00:00+00:00"));
        log("pour_plans", format!("mould={mould} planned_on=2031-05-2{} furnace=VF-1", i + 3));
        log("oven_loads", format!("oven_run=OV-12 mould={mould}"));
    }
    drop(store);
    Session::on(&path, Some(folder))
}

fn out_at(s: &Session, mould: &str) -> String {
    s.field(&format!("oven_loads:OV-12/{mould}"), "out_at")
}

fn check(s: &Session, mould: &str, name: &str) -> Option<(Option<bool>, String)> {
    let ready = readiness::ready(&s.desk.store, mould, None, s.app.now).unwrap();
    ready.checks.into_iter().find(|c| c.check == name).map(|c| (c.ok, c.reason))
}

/// Time goes by, second by second.
pub fn seconds(s: &mut Session, n: i64) {
    for _ in 0..n {
        s.app.now = s.app.now.later_ms(1000);
        s.wake(1000, Event::Tick);
    }
}

#[test]
fn one_scan_at_the_oven_starts_the_clock_of_a_mould() {
    let mut s = in_the_oven();
    s.keys("e");
    s.sees("OUT OF THE OVEN: scan each mould as it comes out");
    s.sees("In ovens by their records: 3");
    s.scan(MOULDS[0]);
    s.sees("M31-201 out of OV-12 (P2) at 08:00:00");
    assert_eq!(out_at(&s, MOULDS[0]), "2031-05-26T08:00:00+00:00");
    seconds(&mut s, 30);
    // A code without an end, and small letters.
    s.scan(&MOULDS[1].to_lowercase());
    assert_eq!(out_at(&s, MOULDS[1]), "2031-05-26T08:00:30+00:00");
    seconds(&mut s, 41);
    let screen = s.screen(80, 24);
    assert!(
        screen.contains("M31-201 out of OV-12 for 1:11 of 3:00 by its recipe: within the limit"),
        "{screen}"
    );
    assert!(
        screen.contains("M31-202 out of OV-12 for 0:41 of 3:00 by its recipe: within the limit"),
        "{screen}"
    );
    s.sees("In ovens by their records: 1");
    // It is neither late nor early, and the reason stands there without a question.
    let shown = ask::show(&s.desk.store, "oven_loads:OV-12/M31-202", true).unwrap();
    assert_eq!(shown.remarks, Vec::<String>::new());
    assert_eq!(shown.history.unwrap().last().unwrap().reason.as_deref(), Some("out of the oven"));
    // The last one is taken back by one key.
    s.keys("<bs>");
    assert_eq!(out_at(&s, MOULDS[1]), "");
    assert_ne!(out_at(&s, MOULDS[0]), "");
    s.sees("In ovens by their records: 2");
}

#[test]
fn a_scan_that_is_no_mould_in_an_oven_writes_nothing_and_says_why() {
    let mut s = in_the_oven();
    s.keys("e").scan(MOULDS[0]);
    let before = s.desk.store.head().unwrap();
    for (code, said) in [
        (MOULDS[0], "M31-201 is out of OV-12 since"),
        ("M31-097", "no oven run has M31-097 on record"),
        ("M31-001", "M31-001 was poured at"),
        ("H31-049", "it is no mould but a heat"),
        ("NOTHING-9", "no record has that tag"),
    ] {
        s.scan(code);
        let screen = s.screen(200, 50);
        assert!(screen.contains(said), "{code}: wanted {said:?} in:\n{screen}");
        assert_eq!(s.desk.store.head().unwrap(), before, "{code}");
    }
    // Letters do nothing here.
    s.keys("npom");
    assert_eq!(s.desk.store.head().unwrap(), before);
    s.sees("OUT OF THE OVEN");
}

#[test]
fn the_chosen_mould_comes_out_by_a_key_and_f2() {
    let mut s = in_the_oven();
    s.keys("m");
    s.sees("M31-201: out of the oven?");
    s.sees("in OV-12 (P2) since 2031-05-26 05:00");
    // A scan answers nothing.
    s.scan(MOULDS[0]);
    assert_eq!(out_at(&s, MOULDS[0]), "");
    s.keys("<f2>");
    assert_eq!(out_at(&s, MOULDS[0]), "2031-05-26T08:00:00+00:00");
    s.sees("Furnace desk");
    s.sees("0:00 of 3:00: within the limit");
    s.keys("u<f2>");
    assert_eq!(out_at(&s, MOULDS[0]), "");
    s.misses("out of OV-12 for");
}

#[test]
fn the_clock_stands_on_every_screen_and_the_pour_says_what_is_over() {
    let mut s = in_the_oven();
    s.keys("m<f2>");
    seconds(&mut s, 179);
    assert_eq!(clocks::over_time(&s.desk.store, MOULDS[0], s.app.now).unwrap(), None);
    for screen in ["b", "<enter>", "<esc><esc>l", "<esc>y", "<esc>?", "<esc>"] {
        s.keys(screen);
        s.sees("M31-201 out of OV-12 for 2:59 of 3:00 by its recipe: within the limit");
    }
    s.app.bell = true;
    seconds(&mut s, 2);
    assert!(s.app.rings);
    s.sees("M31-201 out of OV-12 for 3:01 of 3:00 by its recipe: past the limit");
    s.sees("181 s since OV-12");
    s.keys("n");
    s.sees("✗ oven to pour: 181 s since OV-12, the recipe allows 180 s");
    let said = clocks::over_time(&s.desk.store, &MOULDS[0].to_lowercase(), s.app.now).unwrap();
    assert_eq!(said.unwrap(), "M31-201 is out of OV-12 for 3:01; its recipe allows 3:00: 0:01 over");
    let said = clocks::over_time(&s.desk.store, MOULDS[1], s.app.now).unwrap();
    assert_eq!(said.unwrap(), "M31-202 is still in oven OV-12 by its records");
    // A poured mould has no clock.
    s.keys("<esc>");
    let fields = ["mould=M31-201", "heat=H31-049", "poured_at=2031-05-26T08:03:00+00:00"].map(String::from);
    let who = Who::new(None, s.app.now);
    ask::log(&mut s.desk.store, &who, "pours", &fields, None).unwrap();
    assert_eq!(clocks::clocks(&s.desk.store, s.app.now).unwrap(), []);
    assert_eq!(clocks::over_time(&s.desk.store, MOULDS[0], s.app.now).unwrap(), None);
}

#[test]
fn the_digits_of_the_chosen_mould_grow_with_the_window() {
    let mut s = in_the_oven();
    s.keys("m<f2>");
    seconds(&mut s, 83);
    let rows = |s: &Session, w, h| s.screen(w, h).lines().filter(|l| l.contains("██")).count();
    // In the smallest window what fails needs the room; larger ones have it for both.
    let sizes = [(120, 40), (200, 50)].map(|(w, h)| rows(&s, w, h));
    assert_eq!(sizes, [10, 15], "\n{}", s.screen(200, 50));
    // Every check that fails stands there with its reason.
    let ready = readiness::ready(&s.desk.store, MOULDS[0], None, s.app.now).unwrap();
    for (width, height) in [(80, 24), (120, 40), (200, 50)] {
        let screen = s.screen(width, height);
        assert!(screen.contains(" 1:23 of 3:00: within the limit"), "{screen}");
        for c in ready.checks.iter().filter(|c| c.ok == Some(false)) {
            assert!(screen.contains(&format!("✗ {}: ", c.check)), "{} in:\n{screen}", c.check);
        }
    }
}

#[test]
fn nothing_on_record_is_no_tick() {
    let mut s = in_the_oven();
    let still = "still in oven OV-12 since 2031-05-26T05:00:00+00:00";
    assert_eq!(check(&s, MOULDS[0], "oven"), Some((Some(false), still.into())));
    assert_eq!(check(&s, MOULDS[0], "oven to pour"), None);
    assert_eq!(check(&s, MOULDS[0], "drying"), Some((None, "no coat is recorded".into())));
    assert_eq!(check(&s, MOULDS[0], "coats").unwrap().0, Some(false));
    assert_eq!(check(&s, MOULDS[0], "fired").unwrap().0, Some(false));
    assert_eq!(check(&s, MOULDS[0], "cracks").unwrap().0, None);
    assert_eq!(check(&s, MOULDS[0], "patterns").unwrap().0, None);
    // In the kiln it is not fired yet; it is, once it went on from there.
    let who = Who::new(Some("OP-07".into()), s.app.now);
    let mut log = |kind: &str, fields: &str| {
        let fields: Vec<String> = fields.split(' ').map(String::from).collect();
        ask::log(&mut s.desk.store, &who, kind, &fields, None).unwrap();
    };
    log("moulds", "mould=M31-204 part=QB-2207 running_system=RS-4 assembled_at=2031-05-20T08:00:00+00:00");
    log("oven_runs", "oven_run=OV-20 purpose=fire oven=K1 started_at=2031-05-26T04:00:00+00:00");
    log("oven_loads", "oven_run=OV-20 mould=M31-204");
    let fired = check(&s, "M31-204", "fired").unwrap();
    assert_eq!(fired, (Some(false), "still in oven OV-20 since 2031-05-26T04:00:00+00:00".into()));
    let fields = ["oven_run=OV-12", "mould=M31-204", "crack=none"].map(String::from);
    ask::log(&mut s.desk.store, &who, "oven_loads", &fields, None).unwrap();
    assert_eq!(check(&s, "M31-204", "fired"), Some((Some(true), "in OV-20".into())));
    assert_eq!(check(&s, "M31-204", "oven").unwrap().0, Some(false));
    assert_eq!(check(&s, "M31-204", "cracks"), Some((Some(true), "none seen".into())));
}
