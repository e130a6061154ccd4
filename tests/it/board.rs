//! The board that is read from three metres, and the hand-over on it.

use meltkin::jobs::desks::BOARD;
use meltkin::jobs::records::ask;
use meltkin::ui::app::Event;
use meltkin::ui::keys::Press;
use records::Who;

use crate::oven_out::{in_the_oven, seconds};
use crate::support::{Foundry, SMALL};
use crate::tui::Session;

/// The windows that it must be read in.
const SIZES: [(u16, u16); 4] = [(40, 12), (80, 24), (120, 40), (200, 50)];

fn with_a_clock() -> Session {
    let mut s = in_the_oven();
    s.keys("m<f2>g");
    s
}

#[test]
fn it_says_at_every_size_what_stands_why_not_and_how_long() {
    let mut s = with_a_clock();
    seconds(&mut s, 83);
    for (width, height) in SIZES {
        let screen = s.screen(width, height);
        println!("{screen}\n");
        assert!(screen.contains("5 to pour"), "{screen}");
        assert!(screen.contains("✗ M31-201"), "{screen}");
        assert!(!screen.contains("✓ M31-201"), "a clock within its limit is no leave to pour:\n{screen}");
        assert!(screen.starts_with(" Board "), "{screen}");
        assert!(screen.contains("1:23"), "the clock of M31-201 runs:\n{screen}");
        assert!(screen.contains("o hand-over"), "{screen}");
        assert!(screen.lines().all(|l| l.chars().count() <= usize::from(width)), "{screen}");
    }
    // Digits of several lines where there is room; they grow with it.
    let rows = |w, h| s.screen(w, h).lines().filter(|l| l.contains("██")).count();
    assert_eq!(SIZES.map(|(w, h)| rows(w, h)), [5, 5, 10, 15]);
    assert!(s.screen(200, 50).contains("position map: empty: no blade is on record for this mould"));
    seconds(&mut s, 98);
    let screen = s.screen(80, 24);
    assert!(screen.contains("✗ M31-201 3:01 of 3:00 past the limit"), "{screen}");
}

#[test]
fn what_does_not_fit_is_counted_and_reached() {
    let mut s = in_the_oven();
    let who = Who::new(Some("OP-07".into()), s.app.now);
    for mould in ["M31-201", "M31-202", "M31-097"] {
        ask::hold(&mut s.desk.store, &who, mould, "slag seen").unwrap();
    }
    s.keys("m<f2>g");
    let screen = s.screen(40, 12);
    assert!(screen.contains("more lines below"), "{screen}");
    let mut all = String::new();
    for _ in 0..30 {
        all.push_str(&s.screen(40, 12));
        s.keys("<down>");
    }
    let holds = s.desk.store.open_holds().unwrap();
    assert!(!holds.is_empty());
    for hold in holds {
        assert!(all.contains(&hold.address()), "{} in:\n{all}", hold.address());
    }
    // Smaller than that nothing can be read, and it says so.
    let small = s.screen(39, 12);
    assert!(small.replace('\n', " ").contains("need 40 by 12"), "{small}");
    s.keys("<esc>");
    assert!(s.screen(79, 24).contains("the screens need 80 by 24"));
}

#[test]
fn a_change_by_somebody_else_is_seen() {
    let mut s = with_a_clock();
    let who = Who::new(Some("OP-07".into()), s.app.now);
    let fields = ["mould=M31-201", "heat=H31-049", "poured_at=2031-05-26T08:00:00+00:00"].map(String::from);
    ask::log(&mut s.desk.store, &who, "pours", &fields, None).unwrap();
    assert!(s.screen(80, 24).contains("5 to pour"));
    s.wake(2_000, Event::Tick);
    let screen = s.screen(80, 24);
    assert!(screen.contains("4 to pour") && !screen.contains("✗ M31-201"), "{screen}");
}

fn read_to_its_end(s: &mut Session) {
    for _ in 0..100 {
        if !s.screen(80, 24).contains("more below") {
            return;
        }
        s.keys("<down>");
    }
    panic!("no end:\n{}", s.screen(80, 24));
}

/// Somebody saves while the page stands open: before this terminal has heard of it, and after.
#[test]
fn what_came_since_the_page_was_read_is_not_taken_over_unread() {
    for heard in [false, true] {
        let mut s = with_a_clock();
        // The file's own count of what others wrote is asked for once before.
        s.wake(1_500, Event::Tick);
        s.keys("o").scan("OP-14");
        read_to_its_end(&mut s);
        let who = Who::new(Some("OP-11".into()), s.app.now);
        let mut other = records::Store::open(s.desk.store.path()).unwrap();
        ask::hold(&mut other, &who, "M31-201", "dropped in the night").unwrap();
        drop(other);
        let before = s.desk.store.head().unwrap().0;
        if heard {
            s.wake(1_500, Event::Tick);
            s.wake(1_500, Event::Tick);
            s.sees("Something came since: F2 leads to it.");
            s.wake(1_500, Event::Key(Press::F(2)));
        } else {
            s.wake(200, Event::Key(Press::F(2)));
        }
        s.sees("something came since: read it, then F2");
        s.keys("<f2>");
        assert_eq!(s.desk.store.head().unwrap().0, before, "{heard}: {}", s.screen(80, 24));
        read_to_its_end(&mut s);
        s.keys("<f2>");
        assert_eq!(s.desk.store.head().unwrap().0, before + 1, "{heard}: {}", s.screen(80, 24));
    }
}

#[test]
fn it_is_taken_over_with_a_badge_and_f2() {
    let mut s = with_a_clock();
    s.keys("o");
    s.sees("Hand-over");
    s.sees("To take over from OP-07: scan your badge, read it, then F2.");
    // Whoever has it cannot take it over.
    s.keys("<f2>");
    assert!(s.desk.store.find("hand_overs:OP-07/2031-05-26T08:00:00+00:00").is_err());
    for heading in ["run-outs since yesterday", "pours with details missing", "reasons typed since yesterday"]
    {
        assert!(s.screen(120, 40).contains(heading), "{heading}");
    }
    seconds(&mut s, 60);
    s.scan("OP-14");
    s.sees("OP-14 takes over from OP-07: read it, then F2.");
    // What was never in sight is not taken over.
    s.sees("↓ there is more below");
    s.keys("<f2>");
    s.sees("not taken over: there is more below, read it to its end");
    read_to_its_end(&mut s);
    s.keys("<f2>");
    assert_eq!(s.field("hand_overs:OP-14/2031-05-26T08:01:00+00:00", "given_by"), "OP-07");
    for (width, height) in SIZES {
        let screen = s.screen(width, height);
        assert!(screen.contains("taken over by OP-14 08:01 from OP-07"), "{screen}");
    }
    // The next one takes it over from there.
    s.keys("o").scan("OP-11");
    s.sees("OP-11 takes over from OP-14");
}

#[test]
fn the_program_begins_on_it_and_is_not_left_by_esc() {
    assert_eq!((BOARD.first)().title(), "Board");
    assert!((BOARD.first)().is_wall());
}

#[test]
fn without_a_terminal_it_is_printed() {
    let foundry = Foundry::new();
    foundry.write_bundle("bundle", SMALL);
    foundry.run("import bundle").done();
    foundry.run("log oven_runs oven_run=OV-1 purpose=preheat oven=P2 started_at=2031-03-04T07:00:00Z").done();
    foundry.run("log moulds mould=M-9 part=QB-2207 running_system=RS-1 shell_batch=SB-1 assembled_at=2031-03-03T07:00:00Z").done();
    foundry.run("log oven_loads oven_run=OV-1 mould=M-9").done();
    let said = foundry.json("board");
    assert_eq!(said["standing"], 1, "{said}");
    assert_eq!(said["moulds"][0]["mould"], "M-9");
    assert_eq!(said["moulds"][0]["ready"], false);
    assert!(said["moulds"][0]["out_of_oven"].is_null());
    let text = foundry.run("board").done().out;
    assert!(text.contains("to be poured: 1") && text.contains("✗  M-9"), "{text}");
    assert!(said["hand_over"].is_null());
    foundry
        .run("log hand_overs person=OP-01 taken_at=2031-03-04T06:02:00Z given_by=OP-02 --reason elsewhere")
        .done();
    assert_eq!(foundry.json("board")["hand_over"]["given_by"], "OP-02");
    assert!(foundry.run("board").done().out.contains("taken over by OP-01 2031-03-04T06:02:00"), "{text}");
}
