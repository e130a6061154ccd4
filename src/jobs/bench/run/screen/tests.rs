//! The state of a run alone: what it asks for, and what it never asks for.

use super::*;
use crate::jobs::bench::run::screen::lines::no_words;
use crate::jobs::bench::run::table::RUNS;
use records::{Stamp, Who};

fn now(person: &str, at_ms: u64) -> Context {
    let now = Stamp::parse("2031-05-26T08:00:00+00:00").unwrap();
    Context { now, at_ms, who: Who::new(Some(person.into()), now), layer: 7 }
}

fn found(kind: &'static str, tag: &str) -> Lead {
    Some((kind, tag.to_string()))
}

/// A run whose head was accepted.
fn begun(run: &'static Run) -> RunScreen {
    let mut screen = RunScreen::new(run, &[]);
    screen.begin(&now("OP-22", 0));
    let defects = (1..=11).map(|i| Defect { defect: format!("d{i}"), name: format!("defect {i}"), found: 0 });
    let begun =
        Begun { head: Vec::new(), defects: defects.collect(), unqualified: false, warnings: Vec::new() };
    screen.reply(Reply::new(begun), &now("OP-22", 0));
    screen
}

fn line(tag: &str, entry: i64) -> Line {
    let logged = Logged {
        tag: Some(format!("I-{tag}")),
        address: None,
        kind: "inspections",
        recorded_at: "2031-05-26T08:00:00+00:00".into(),
        undo_until: String::new(),
        guards: Vec::new(),
        entry,
        proposal: false,
        frees: Vec::new(),
        read_as: Default::default(),
        late: None,
        understood: Default::default(),
    };
    Line {
        tag: tag.into(),
        address: format!("I-{tag}"),
        what: "round 1".into(),
        besides: Vec::new(),
        seen: String::new(),
        part: None,
        zones: vec![("RT".into(), "root".into()), ("PL".into(), "platform".into())],
        logged: vec![logged],
    }
}

/// Orders that write a line, a reject, or take one back: not those that only tell of it.
fn writes(effects: &[Effect]) -> Vec<String> {
    let all = effects.iter().filter_map(|e| match e {
        Effect::Ask(order) => Some(format!("{order:?}")),
        _ => None,
    });
    all.filter(|t| {
        t.starts_with("Write(") && !t.starts_with("Write(Written") && !t.starts_with("Write(Undone")
    })
    .collect()
}

#[test]
fn every_run_takes_its_own_kind_and_no_other() {
    for run in RUNS {
        let (kind, now) = (run.scans(), now("OP-22", 10));
        for other in records::catalogue::all().filter(|k| k.tagged() && k.name != kind.name) {
            let mut screen = begun(run);
            let effects = screen.code("X-1", found(other.name, "X-1"), &now);
            assert!(writes(&effects).is_empty(), "{}: a scan of a {}", run.name, other.noun);
            assert!(screen.last.as_ref().unwrap().1.contains("NOT recorded"), "{}", run.name);
        }
        let mut screen = begun(run);
        assert!(screen.records_scans() && screen.takes_text() && !screen.types(), "{}", run.name);
        assert!(writes(&screen.code("X-1", None, &now)).is_empty(), "{}: a tag that nothing has", run.name);
        let effects = screen.code("X-1", found(kind.name, "X-1"), &now);
        assert_eq!(writes(&effects).len(), 1, "{}", run.name);
    }
}

#[test]
fn before_it_is_begun_a_scan_records_nothing() {
    for run in RUNS.iter().filter(|r| !r.head.is_empty()) {
        let mut screen = RunScreen::new(run, &[]);
        screen.begin(&now("OP-22", 0));
        assert!(!screen.records_scans(), "{}", run.name);
        let effects = screen.code("X-1", found(run.scans().name, "X-1"), &now("OP-22", 10));
        assert!(writes(&effects).is_empty(), "{}", run.name);
    }
}

#[test]
fn no_key_but_those_of_the_run_asks_for_anything() {
    for run in RUNS {
        let mut screen = begun(run);
        screen.recorded(line("B-1", 1), &now("OP-22", 0));
        let letters = ('a'..='z').chain('A'..='Z').chain('0'..='9').filter(|c| !"rR".contains(*c));
        for press in letters.map(Press::Char).chain([Press::Enter, Press::Tab, Press::F(2)]) {
            let effects = screen.press(press, &now("OP-22", 5000));
            assert!(effects.is_empty(), "{}: {press:?} {effects:?}", run.name);
        }
        if !screen.inspects() {
            assert!(screen.press(Press::Char('r'), &now("OP-22", 5000)).is_empty(), "{}", run.name);
        }
    }
}

#[test]
fn scans_that_come_faster_than_they_are_written_wait_in_their_order() {
    let (mut screen, now) = (begun(crate::jobs::bench::run::table::inspection()), now("OP-22", 10));
    let scan = |screen: &mut RunScreen, tag: &str| writes(&screen.code(tag, found("blades", tag), &now));
    assert_eq!(scan(&mut screen, "B-1").len(), 1);
    assert!(scan(&mut screen, "B-2").is_empty() && scan(&mut screen, "B-3").is_empty());
    assert!(scan(&mut screen, "b-1").is_empty() && scan(&mut screen, "B-3").is_empty(), "scanned twice");
    assert_eq!(screen.queue, ["B-2", "B-3"]);
    // It does not end, nor go back, nor reject before they are written.
    assert!(!screen.press(Press::Esc, &now).iter().any(|e| matches!(e, Effect::Close)));
    screen.press(Press::Char('r'), &now);
    assert!(screen.rejecting.is_none());
    let next = writes(&screen.reply(Reply::new(line("B-1", 1)), &now));
    assert!(next.len() == 1 && next[0].contains("\"B-2\""), "{next:?}");
    let next = writes(&screen.reply(Reply::new(line("B-2", 2)), &now));
    assert!(next.len() == 1 && next[0].contains("\"B-3\""), "{next:?}");
    // One that is refused leaves the others.
    screen.failed(&Failure::new("the disk is full"), &now);
    assert_eq!(screen.last.as_ref().unwrap().1, "B-3 is NOT recorded: the disk is full");
    assert_eq!(screen.tally(), (2, 0));
}

#[test]
fn three_keys_are_a_reject_of_the_last_blade_and_a_scan_between_them_is_none() {
    let (mut screen, now) = (begun(crate::jobs::bench::run::table::inspection()), now("OP-22", 10));
    screen.press(Press::Char('r'), &now);
    assert!(screen.rejecting.is_none(), "no blade was scanned");
    screen.recorded(line("B-1", 1), &now);
    assert!(writes(&screen.press(Press::Char('r'), &now)).is_empty());
    // The second nine, the second of them; there is no third.
    screen.press(Press::PageDown, &now);
    assert!(screen.press(Press::Char('3'), &now).is_empty());
    assert!(screen.press(Press::Char('2'), &now).is_empty());
    assert_eq!(screen.rejecting.as_ref().unwrap().defect.as_ref().unwrap().defect, "d11");
    assert!(writes(&screen.code("B-2", found("blades", "B-2"), &now)).is_empty());
    // Within a second of it no number is taken, which may be meant of the other blade.
    for at_ms in [10, 500, 1009] {
        let soon = Context { at_ms, ..now.clone() };
        assert!(writes(&screen.press(Press::Char('2'), &soon)).is_empty(), "{at_ms}");
        assert!(screen.last.as_ref().unwrap().1.contains("finish the reject of B-1 first"));
    }
    let now = Context { at_ms: 1010, ..now };
    assert!(screen.press(Press::Char('3'), &now).is_empty(), "it has two zones");
    let written = writes(&screen.press(Press::Char('2'), &now));
    assert_eq!(written.len(), 1);
    for part in ["I-B-1", "d11", "PL", "accepted: true"] {
        assert!(written[0].contains(part), "{part} in {}", written[0]);
    }
    let reject = Rejected(line("B-1", 5).logged);
    screen.reply(Reply::new(reject), &now);
    assert_eq!(screen.tally(), (0, 1));
    // Refused, the accept stands, and it is said in capitals.
    screen.recorded(line("B-2", 6), &now);
    "r10".chars().for_each(|c| drop(screen.press(Press::Char(c), &now)));
    screen.failed(&Failure::new("no"), &now);
    assert_eq!(screen.last.as_ref().unwrap().1, "the REJECT of B-2 is NOT recorded: no");
    assert_eq!(screen.tally(), (1, 1));
}

#[test]
fn a_question_is_answered_by_its_own_key_alone() {
    let mut screen = begun(crate::jobs::bench::run::table::inspection());
    screen.code("B-1", found("blades", "B-1"), &now("OP-22", 10_000));
    screen
        .failed(&Failure { sentence: "why".into(), field: None, wants_reason: true }, &now("OP-22", 10_010));
    assert!(screen.types());
    for press in "so".chars().map(Press::Char).chain([Press::Enter, Press::F(2)]) {
        // A line end, and whatever comes within a second of the scan.
        assert!(writes(&screen.press(press, &now("OP-22", 10_900))).is_empty(), "{press:?}");
    }
    assert!(writes(&screen.code("B-2", found("blades", "B-2"), &now("OP-22", 10_950))).is_empty());
    assert!(writes(&screen.press(Press::Enter, &now("OP-22", 20_000))).is_empty());
    let written = writes(&screen.press(Press::F(2), &now("OP-22", 20_000)));
    assert!(written.len() == 1 && written[0].contains("Some(\"so\")"), "{written:?}");
}

#[test]
fn letters_of_a_slow_code_leave_the_head_and_the_reason_as_they_were() {
    let mut screen = RunScreen::new(&RUNS[0], &[]);
    let now = now("OP-22", 10);
    screen.begin(&now);
    screen.letters_begin();
    "PS31".chars().for_each(|c| drop(screen.press(Press::Char(c), &now)));
    assert_eq!(screen.head.form.text("slurry_batch"), "PS31");
    assert!(screen.letters_back("PS31", None, false));
    assert_eq!(screen.head.form.text("slurry_batch"), "");
}

/// The run in a window of its own, with so many lines on record.
fn drawn(lines: i64, (width, height): (u16, u16), ascii: bool) -> String {
    use crate::ui::theme::{Depth, Room, Theme};
    let (mut screen, now) = (begun(crate::jobs::bench::run::table::inspection()), now("OP-22", 10));
    (0..lines).for_each(|i| drop(screen.recorded(line(&format!("B-{i}"), i + 1), &now)));
    let mut terminal = ratatui::Terminal::new(ratatui::backend::TestBackend::new(width, height)).unwrap();
    let view = View { theme: Theme { room: Room::Light, depth: Depth::None, ascii }, now: now.now };
    terminal.draw(|f| screen.draw(f, f.area(), &view)).unwrap();
    terminal.backend().to_string()
}

#[test]
fn what_a_scan_records_and_the_tally_are_in_sight_in_every_window() {
    for size in [(78, 18), (118, 34), (198, 44), (40, 12)] {
        for ascii in [false, true] {
            for lines in [0, 1, 200] {
                let screen = drawn(lines, size, ascii);
                assert!(screen.contains("Each blade: ACCEPT"), "{size:?}\n{screen}");
                if size.1 > 12 || !ascii {
                    assert!(screen.contains(&format!("{lines} accepted, 0 rejected")), "{size:?}\n{screen}");
                    let newest =
                        if lines > 0 { format!("B-{}", lines - 1) } else { "scan the first blade".into() };
                    assert!(screen.contains(&newest), "{size:?}\n{screen}");
                }
            }
        }
    }
}

#[test]
fn the_keys_of_a_reject_are_no_code_and_a_code_is_no_reject() {
    let now = now("OP-22", 10);
    for (code, rejects) in [
        ("r12", true),
        ("r1", false),
        ("r120", false),
        ("R12", false),
        ("r1x", false),
        ("x12", false),
        ("r", false),
    ] {
        let mut screen = begun(crate::jobs::bench::run::table::inspection());
        screen.recorded(line("B-1", 1), &now);
        assert_eq!(writes(&screen.code(code, None, &now)).len(), usize::from(rejects), "{code}");
        // A record that has the name wins.
        let mut screen = begun(crate::jobs::bench::run::table::inspection());
        screen.recorded(line("B-1", 1), &now);
        assert!(writes(&screen.code(code, found("moulds", code), &now)).is_empty(), "{code}");
        assert!(screen.hand().is_none() && screen.loud, "{code}");
        // In another run it is a code.
        let mut screen = begun(&RUNS[0]);
        screen.recorded(line("B-1", 1), &now);
        assert!(writes(&screen.code(code, None, &now)).is_empty() && screen.loud, "{code}");
    }
}

#[test]
fn a_reject_is_of_the_blade_in_hand_and_of_no_other() {
    let (mut screen, now) = (begun(crate::jobs::bench::run::table::inspection()), now("OP-22", 10));
    screen.recorded(line("B-1", 1), &now);
    screen.recorded(line("B-2", 2), &now);
    // The first is scanned again: it is that which is in somebody's hand.
    screen.code("B-1", found("blades", "B-1"), &now);
    let written = writes(&screen.code("r11", None, &now));
    assert!(written.len() == 1 && written[0].contains("I-B-1"), "{written:?}");
    screen.reply(Reply::new(Rejected(line("B-1", 5).logged)), &now);
    // What is refused leaves none.
    for (code, lead) in [("X-9", None), ("M-1", found("moulds", "M-1"))] {
        screen.code("B-2", found("blades", "B-2"), &now);
        screen.code(code, lead, &now);
        screen.press(Press::Char('r'), &now);
        assert!(screen.rejecting.is_none(), "{code}");
        assert!(screen.last.as_ref().unwrap().1.starts_with("scan the blade again"), "{code}");
    }
    // The latest that was written is taken back first, of whichever blade.
    let back = writes(&screen.press(Press::Backspace, &now));
    assert!(back.len() == 1 && back[0].contains("[5]"), "{back:?}");
}

#[test]
fn a_reason_is_said_in_words() {
    for text in ["r12", "12", "M31-097-2", "I31-00017", "x", "?!", "r 1 2"] {
        assert!(no_words(text), "{text}");
    }
    for text in ["", "so", "a second look", "2nd look", "r12 is wrong", "re-read", "seen, twice."] {
        assert!(!no_words(text), "{text}");
    }
}
