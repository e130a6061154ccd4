//! What a form says is read whole in the smallest window, and in words of the screen.

use meltkin::jobs::records::form_screen::Entry;
use meltkin::ui::form::Form;
use meltkin::ui::keys::Press;
use meltkin::ui::screen::Screen;
use meltkin::ui::theme::{Depth, Room, Theme};
use records::catalogue;
use records::{Stamp, Type};

use crate::tui::{Session, drawn_alone, now};

const PLAIN: Theme = Theme { room: Room::Dark, depth: Depth::Full, ascii: false };

/// Words of the command line and of bundles.
const FOREIGN: [&str; 4] = ["--", "meltkin", "RFC 3339", "KIND"];

fn joined(text: &str) -> String {
    let lines = text.lines().map(|l| l.trim_matches('"'));
    lines.flat_map(str::split_whitespace).collect::<Vec<_>>().join(" ")
}

#[track_caller]
fn plain_words(screen: &str, what: &str) {
    for word in FOREIGN {
        assert!(!screen.contains(word), "{what}: {word:?} in:\n{screen}");
    }
}

/// Every kind's form with something wrong in every field: each fault is found whole where the cursor stands on it.
#[test]
fn every_fault_of_every_form_is_read_whole() {
    let clock: Stamp = now().now;
    let mut seen = 0;
    for kind in catalogue::all() {
        for wrong in ["", "x,", "25:61", "+5 h", "99.99.2031 9:05", "12,5"] {
            let fields =
                || kind.all_fields().filter(|f| !matches!(f.name, "recorded_at" | "recorded_by" | "note"));
            let given: Vec<(String, String)> = fields()
                .map(|f| (f.name.to_string(), wrong.to_string()))
                .filter(|(name, _)| kind.field(name).is_some_and(|f| !matches!(f.ty, Type::Choice(_))))
                .collect();
            let mut form = Form::new(kind, &given);
            let mut entry = Entry::new(kind, &given);
            let _ = form.accept(clock, "");
            entry.press(Press::F(2), &now());
            if form.rows.iter().all(|r| r.fault.is_none()) {
                continue;
            }
            // From the line that is chosen up to the first, and down to the last.
            let mut screens = String::new();
            for press in [Press::Up, Press::Down] {
                for _ in 0..=form.rows.len() {
                    screens.push_str(&joined(&drawn_alone(&entry, 78, 18, PLAIN)));
                    screens.push('\n');
                    entry.press(press, &now());
                }
            }
            plain_words(&screens, kind.name);
            for row in &form.rows {
                let Some(fault) = &row.fault else { continue };
                let fault = joined(&meltkin::ui::view::clocks(fault));
                assert!(screens.contains(&fault), "{}.{}: {fault:?} in:\n{screens}", kind.name, row.name());
                seen += 1;
            }
        }
    }
    assert!(seen > 500, "{seen}");
}

/// The words of a choice, all of them.
#[test]
fn choices_are_read_whole() {
    for kind in catalogue::all() {
        let form = Form::new(kind, &[]);
        for (place, row) in form.rows.iter().enumerate() {
            let Type::Choice(words) = row.ty() else { continue };
            let mut entry = Entry::new(kind, &[]);
            for _ in 0..form.rows.len() {
                entry.press(Press::Up, &now());
            }
            for _ in 0..place {
                entry.press(Press::Down, &now());
            }
            let screen = joined(&drawn_alone(&entry, 78, 18, PLAIN));
            let all = words.join(" · ");
            assert!(screen.contains(&all), "{}.{}: {all:?} in:\n{screen}", kind.name, row.name());
        }
    }
}

fn whole(s: &Session) -> String {
    joined(&s.screen(80, 24))
}

#[track_caller]
fn says(s: &Session, sentence: &str) {
    assert!(whole(s).contains(sentence), "wanted {sentence:?} in:\n{}", s.screen(80, 24));
    plain_words(&s.screen(80, 24), sentence);
}

#[track_caller]
fn to(s: &mut Session, label: &str) {
    for _ in 0..60 {
        s.keys("<up>");
    }
    for _ in 0..120 {
        let chosen = |line: &str| format!("{line} ").contains(&format!("▸ {label} "));
        if s.screen(80, 24).lines().any(chosen) {
            return;
        }
        s.keys("<down>");
    }
    panic!("no {label:?} in:\n{}", s.screen(80, 24));
}

#[test]
fn the_row_of_a_time_says_what_is_understood() {
    let mut s = Session::demo();
    // The clock of the demo stands at 8:00 on 26 May 2031.
    s.keys("p<enter>1480");
    to(&mut s, "poured at");
    for (text, understood) in [
        ("7:05", "→ today 07:05"),
        ("23:50", "→ yesterday 23:50"),
        ("-10 min", "→ today 07:50"),
        ("31.12. 14:00", "→ 2030-12-31 14:00 (31.12. taken as that of 2030)"),
        ("20:00", "→ yesterday 20:00 (12 h ago; if now was meant: 08:00)"),
        (
            "+5",
            "→ today 08:05: is 5 min in the future by the clock (2031-05-26 08:00); if the clock is wrong, set it right",
        ),
    ] {
        s.keys("<f6>").keys(text);
        says(&s, understood);
    }
    // It is not saved, whatever is said about it.
    s.keys("<f2>");
    says(
        &s,
        "poured at is 5 min in the future by the clock (2031-05-26 08:00); if the clock is wrong, set it right",
    );
    assert!(s.desk.store.find("pours:M31-097").is_err());
    s.keys("<f6>7:55<f2>");
    s.sees("saved pours:M31-097");
    assert_eq!(s.field("pours:M31-097", "poured_at"), "2031-05-26T07:55:00+00:00");
}

/// Letters that are keys elsewhere are letters where it is asked why.
#[test]
fn a_late_slurry_check_asks_why_in_a_line_of_text() {
    let mut s = Session::demo();
    s.keys("b");
    to(&mut s, "slurry check");
    s.keys("<enter>");
    s.scan("PS31-12");
    to(&mut s, "occurred at");
    s.keys("<f6>3:30<f2>");
    says(&s, "late entry: 270 min after; it is marked as late, and reviewed at hand-over");
    s.sees("Why is it late?");
    s.keys("<f2>");
    s.sees("a reason is needed");
    s.keys("nq2ux the cup was lent<f2>");
    s.sees("saved slurry_checks:PS31-12/");
    let address = "slurry_checks:PS31-12/2031-05-26T03:30:00+00:00";
    assert_eq!(s.field(address, "note"), "late entry: nq2ux the cup was lent");
}

#[test]
fn faults_that_the_store_finds_are_read_whole() {
    let mut s = Session::demo();
    s.keys("b");
    to(&mut s, "pour");
    s.keys("<enter>");
    // A mould that nobody knows.
    s.keys("M31-099999<enter>H31-049999<f2>");
    let screen = whole(&s);
    assert!(screen.contains("there is no") || screen.contains("not on record"), "{}", s.screen(80, 24));
    assert!(!s.screen(80, 24).contains('…'), "{}", s.screen(80, 24));
    plain_words(&s.screen(80, 24), "an unknown mould");
    // A code of a kind that no field here takes.
    s.keys("<esc>").keys("<enter>").scan("SR-7");
    let screen = whole(&s);
    assert!(screen.contains("SR-7") && screen.contains("no field here takes it"), "{}", s.screen(80, 24));
}

/// A sentence that is longer than two lines of the window is still read to its end.
#[test]
fn a_long_sentence_takes_the_lines_that_it_needs() {
    let mut s = Session::demo();
    s.keys("p<enter>");
    let place = s.screen(80, 24).lines().count();
    let sentence = "one two three four five six seven eight nine ten ".repeat(4) + "eleven";
    s.app.notice = Some((meltkin::ui::theme::Role::Bad, sentence.clone()));
    let screen = s.screen(80, 24);
    assert!(joined(&screen).contains(&sentence), "{screen}");
    assert_eq!(screen.lines().count(), place);
    // The keys still stand below it, and the form above.
    assert!(screen.lines().last().unwrap().contains("F1 help") && screen.contains("F2 save"), "{screen}");
    assert!(screen.contains("▸ "), "{screen}");
}
