//! What a scanner sends, at every speed and with every end, on every kind of screen: it opens, fills or says something; it
//! never writes, answers, confirms or leaves. Times are given here, so nothing depends on the machine.

use meltkin::ui::app::Event;
use meltkin::ui::keys::Press;
use records::catalogue::Pours;

use crate::tui::Session;

/// What is pressed to come to a screen that letters, digits or a line end could act on.
const SCREENS: [(&str, &str); 16] = [
    ("", "furnace desk"),
    ("n", "poured now?"),
    ("o", "ran out?"),
    ("p", "open the pour form"),
    ("p<enter>", "new pour"),
    ("x", "which mould was really poured"),
    ("2", "two moulds carry"),
    ("c", "dry? inspected?"),
    ("h", "why?"),
    ("b", "bench"),
    ("bm", "position map"),
    ("l", "lots and trials"),
    ("l<down>b", "what blocks"),
    ("y", "causes"),
    ("k", "trace which tag?"),
    ("w", "who works here?"),
];

/// Codes that hold letters which are keys somewhere, of records that are there and of none.
const CODES: [&str; 7] = ["N26-041", "M26-012", "M31-098", "]d2M31-097", "qoxnu2", "H31-049", "PS31-05"];

const ENDS: [&str; 5] = ["", "\r", "\n", "\r\n", "\t"];

pub fn sent(s: &mut Session, text: &str, gap: u64) {
    for c in text.chars() {
        let press = match c {
            '\r' => Press::Enter,
            '\n' => Press::Ctrl('j'),
            '\t' => Press::Tab,
            c => Press::Char(c),
        };
        s.wake(gap, Event::Key(press));
        // Time goes by between the characters.
        if gap > 60 {
            s.wake(0, Event::Tick);
        }
    }
    s.wake(400, Event::Tick);
}

fn entries(s: &Session) -> i64 {
    s.desk.store.head().unwrap().0
}

#[test]
fn no_scan_writes_answers_or_leaves_on_any_screen_at_any_speed() {
    for (keys, title) in SCREENS {
        for (i, code) in CODES.iter().enumerate() {
            let mut s = Session::demo();
            s.keys(keys);
            let before = s.screen(80, 24).to_lowercase();
            assert!(before.contains(title), "{title:?} after {keys:?}:\n{before}");
            let count = entries(&s);
            for (k, gap) in [1, 36, 90, 150].into_iter().enumerate() {
                let end = ENDS[(i + k) % ENDS.len()];
                sent(&mut s, &format!("{code}{end}"), gap);
                let now = s.screen(80, 24);
                assert_eq!(entries(&s), count, "{code} {end:?} {gap} ms wrote on {title}:\n{now}");
                assert_eq!(s.app.end, None, "{code} {end:?} {gap} ms ended the program on {title}");
            }
        }
    }
}

#[test]
fn a_slow_code_fills_the_field_that_fits_it_and_leaves_the_others_as_they_were() {
    for gap in [2, 36, 90, 150] {
        for end in ENDS {
            let mut s = Session::demo();
            s.keys("p<enter>");
            s.sees("New pour");
            // The cursor stands on the temperature.
            s.sees("▸ indicated temperature");
            sent(&mut s, &format!("PYR-02{end}"), gap);
            s.sees("scanned PYR-02 into pyrometer");
            s.keys("1480");
            s.sees("superheat 192");
            // The last check of PYR-02 failed: that is asked about.
            s.keys("<f2>");
            s.sees("Why is it right?");
            s.keys("the only one there<f2>");
            assert_eq!(s.field("pours:M31-097", Pours::pyrometer.name), "PYR-02", "{gap} ms {end:?}");
            assert_eq!(s.field("pours:M31-097", Pours::indicated_c.name), "1480", "{gap} ms {end:?}");
        }
    }
}

#[test]
fn nothing_is_saved_within_a_second_of_a_scan() {
    let mut s = Session::demo();
    s.keys("n");
    sent(&mut s, "M31-098\r", 20);
    s.wake(100, Event::Key(Press::F(2)));
    s.sees("a code came a moment ago");
    assert!(s.desk.store.find("pours:M31-097").is_err());
    s.keys("<f2>");
    s.sees("saved pours:M31-097");
}

#[test]
fn ctrl_s_saves_as_f2_does_and_enter_never() {
    let mut s = Session::demo();
    s.keys("n<enter>");
    s.sees("Poured now?");
    assert!(s.desk.store.find("pours:M31-097").is_err());
    s.wake(1500, Event::Key(Press::Ctrl('s')));
    s.sees("saved pours:M31-097");
}

#[test]
fn capitals_are_no_keys() {
    let mut s = Session::demo();
    for c in "NOPXQ2B".chars().filter(|c| c.is_uppercase()) {
        s.wake(500, Event::Key(Press::Char(c)));
        s.wake(500, Event::Tick);
        s.sees("Furnace desk");
        s.sees("is caps lock on?");
    }
    assert_eq!(s.app.end, None);
}

#[test]
fn a_line_end_after_a_code_never_opens_the_mould_that_was_chosen_before() {
    let mut s = Session::demo();
    s.sees("▸ M31-097");
    sent(&mut s, "M31-098\r\n", 4);
    s.sees("▸ M31-098");
    s.misses("pour form");
    // Twice the same is the same.
    sent(&mut s, "M31-098\r\n", 4);
    s.sees("▸ M31-098");
}

#[test]
fn a_wrong_kind_is_said_where_it_is_seen() {
    let mut s = Session::demo();
    s.keys("p<enter>");
    sent(&mut s, "SB31-01\r", 90);
    s.sees("no field here takes it");
    assert_eq!(s.field("M31-097", "mould"), "M31-097");
}

#[test]
fn what_another_program_writes_is_seen_within_two_seconds() {
    let folder = tempfile::TempDir::new().unwrap();
    let path = crate::tui::demo_copy(folder.path());
    let mut s = Session::on(&path, None);
    s.sees("To be poured: 2");
    s.wake(1000, Event::Tick);
    let mut other = records::Store::open(&path).unwrap();
    let who = records::Who::new(Some("OP-05".into()), s.app.now);
    let pour = ["mould=M31-097", "heat=H31-049", "poured_at=2031-05-26T08:00:00+00:00"].map(String::from);
    meltkin::jobs::records::ask::log(&mut other, &who, Pours::NAME, &pour, None).unwrap();
    s.wake(1000, Event::Tick);
    s.sees("To be poured: 1");
    // What was written elsewhere is not this screen's to take back.
    s.keys("u");
    s.misses("Take this back?");
}

#[test]
fn a_refused_write_shows_what_is_there_now() {
    let folder = tempfile::TempDir::new().unwrap();
    let path = crate::tui::demo_copy(folder.path());
    let mut s = Session::on(&path, None);
    s.wake(1000, Event::Tick);
    s.keys("n");
    let mut other = records::Store::open(&path).unwrap();
    let who = records::Who::new(Some("OP-05".into()), s.app.now);
    let pour = ["mould=M31-097", "heat=H31-049", "poured_at=2031-05-26T08:00:00+00:00"].map(String::from);
    meltkin::jobs::records::ask::log(&mut other, &who, Pours::NAME, &pour, None).unwrap();
    s.wake(200, Event::Key(Press::F(2)));
    s.sees("already exists");
    s.sees("To be poured: 1");
}

#[test]
fn a_form_is_offered_to_its_owner_alone() {
    let mut s = Session::demo();
    s.keys("p<enter>1479<esc>");
    s.sees("r go on");
    s.scan("OP-05");
    s.keys("r");
    s.sees("OP-07's");
    s.keys("<enter>");
    s.sees("OP-07's badge opens it");
    s.keys("<esc>").scan("OP-07").keys("r");
    s.sees("1479");
}

#[test]
fn what_was_typed_comes_back_when_its_record_is_taken_back() {
    let mut s = Session::demo();
    s.keys("p<enter>1480<f2>u<f2>");
    s.sees("undid");
    s.keys("r");
    s.sees("1480");
    s.sees("New pour");
}

#[test]
fn a_half_scanned_map_is_kept() {
    let folder = tempfile::TempDir::new().unwrap();
    let path = crate::tui::demo_copy(folder.path());
    let mut s = Session::on(&path, None);
    s.keys("bm").scan("M31-098").scan("WP31-24").scan("WP31-24").keys("<esc>");
    s.sees("r go on");
    drop(s);
    // Also where the program ended.
    let mut s = Session::on(&path, None);
    s.keys("r");
    s.sees("Position map of M31-098");
    s.sees("2 of ");
    s.keys("<f2>");
    s.sees("6 positions stay empty: F2 once more saves");
    s.keys("<f2>");
    s.sees("saved");
    assert_eq!(s.field("M31-098-2", "pattern_run"), "WP31-24");
    drop(s);
    Session::on(&path, None).misses("half-filled");
}

#[test]
fn the_letters_of_a_word_lead_to_that_word_and_to_no_other() {
    let kind = records::catalogue::Dispositions::KIND;
    let words = |name: &str| match kind.field(name).map(|f| f.ty) {
        Some(records::Type::Choice(words)) => words,
        _ => &[],
    };
    for word in words("decision") {
        let mut form = meltkin::ui::form::Form::new(kind, &[]);
        form.at = form.rows.iter().position(|r| r.name() == "decision").unwrap();
        word.chars().for_each(|c| form.type_char(c));
        assert_eq!(form.text("decision"), *word);
        // A slip is said, and leaves nothing behind.
        form.type_char('x');
        assert_eq!(form.text("decision"), "");
        assert!(form.rows[form.at].fault.as_deref().unwrap_or("").contains(word));
    }
}

#[test]
fn a_scan_on_the_line_that_saves_fills_its_field_and_another_mould_is_asked_about() {
    for gap in [2, 150] {
        let mut s = Session::demo();
        s.keys("p<enter>1480<down><down><down><down><down><down><down><down><down><down><down><down>");
        s.sees("▸ F2 saves it");
        sent(&mut s, "M31-098\r", gap);
        s.sees("scanned M31-098 into mould");
        s.keys("<f2>");
        s.sees("M31-098: not every check is passed");
        assert!(s.desk.store.find("pours:M31-097").is_err() && s.desk.store.find("pours:M31-098").is_err());
    }
}

#[test]
fn whoever_works_here_when_it_is_saved_stands_in_the_record() {
    let mut s = Session::demo();
    s.keys("o").scan("OP-09");
    s.sees("ran out?");
    s.keys("<f2>");
    assert_eq!(s.field("pours:M31-097", "recorded_by"), "OP-09");
    assert_eq!(s.field("pours:M31-097", "person"), "OP-09");
    // Nobody else is offered to take it back.
    s.scan("OP-07");
    s.misses("u takes it back");
    let mut s = Session::demo();
    s.keys("p<enter>1480").scan("OP-09").keys("<f2>");
    assert_eq!(s.field("pours:M31-097", "person"), "OP-09");
}

#[test]
fn short_codes_press_nothing_either() {
    for code in ["N1\r\n", "XX\r", "NO\r", "p1\r", "n\r", "12\r\n", "O2\r"] {
        for gap in [0, 100, 150] {
            let mut s = Session::demo();
            sent(&mut s, code, gap);
            s.sees("Furnace desk");
            s.sees("no record has that tag");
        }
    }
}

#[test]
fn a_word_in_a_note_stays_a_word() {
    let mut s = Session::demo();
    s.keys("p<enter><up><up><up><up><up><up>");
    while !s.screen(80, 24).contains("▸ note") {
        s.keys("<down>");
    }
    sent(&mut s, "OP-09", 120);
    assert_eq!(s.app.who.as_deref(), Some("OP-07"));
    s.sees("▸ note                   OP-09");
}

/// What was typed is being looked up and the store does not answer: whoever leaves need not wait for it.
#[test]
fn leaving_does_not_wait_for_what_is_looked_up() {
    let mut s = Session::demo();
    s.keys("/");
    let mut at = 100_000;
    for press in "M31-098".chars().map(Press::Char).chain([Press::Enter]) {
        at += 5;
        // The orders are not carried out.
        let _ = s.app.wake(at, Event::Key(press));
    }
    let _ = s.app.wake(at + 500, Event::Key(Press::Esc));
    s.sees("Which tag?");
    let _ = s.app.wake(at + 900, Event::Key(Press::Ctrl('c')));
    assert_eq!(s.app.end, Some(meltkin::ui::app::End::Quit));
}

/// At the lead's desk a scan fills in a concession; it is no Enter, and a blade no reason.
#[test]
fn a_scan_decides_nothing_at_the_leads_desk() {
    for (gap, end) in [(0, "\r"), (2, "\t"), (90, "\r\n"), (150, "\r")] {
        let mut s = Session::demo();
        s.app.who = Some("OP-51".into());
        s.keys("l<down>bd");
        s.sees("Decision on 14 blades, and why");
        let before = entries(&s);
        for code in ["M31-049-1", "H31-025", "QQ-77"] {
            sent(&mut s, &format!("{code}{end}"), gap);
            s.misses("Write this decision?");
        }
        s.keys("<bs><bs><bs><bs><bs><bs><bs><bs><bs><bs><bs><bs><bs>");
        sent(&mut s, &format!("CN31-01{end}"), gap);
        s.misses("Write this decision?");
        s.sees("CN31-01");
        // Behind a word neither is a reason.
        s.keys("<esc>d").keys("scrap ");
        for code in ["M31-049-1", "CN31-01"] {
            sent(&mut s, &format!("{code}{end}"), gap);
            s.misses("Write this decision?");
            s.sees("no code is a reason");
            s.misses(&format!("scrap {code}"));
        }
        s.keys("<enter>");
        s.sees("nothing is decided yet");
        assert_eq!(entries(&s), before, "{gap} {end:?}");
    }
}

/// No line that Enter takes is taken by the Enter of a scanner.
#[test]
fn the_line_end_of_a_code_takes_no_line() {
    for gap in [0, 90, 150] {
        let mut s = Session::demo();
        s.keys("lz");
        s.sees("Rate now, rate worth having");
        s.keys("0.125 0.075 8 ");
        sent(&mut s, "M31-098\r", gap);
        s.sees("Rate now, rate worth having");
    }
}

/// So slowly that no character belongs to the next: nothing is recorded, and that is said.
#[test]
fn a_code_that_comes_too_slowly_in_a_run_is_said() {
    let mut s = Session::demo();
    s.keys("bn7");
    s.sees("Run: shipment");
    s.keys("<f2>");
    let before = entries(&s);
    sent(&mut s, "M31-098-3\r", 260);
    s.sees("not taken: M31-098-3: no key here, too slow for a code; scan it again");
    assert_eq!(entries(&s), before);
    // The next is another.
    s.wake(5000, Event::Tick);
    sent(&mut s, "xy", 260);
    s.sees("not taken: xy: no key");
}

/// Somebody else's badge stops a run at once, and each code behind it is named.
#[test]
fn a_badge_in_a_run_says_at_once_who_goes_on() {
    let mut s = Session::demo();
    s.keys("bn7");
    s.keys("<f2>");
    s.misses("What is the same for all");
    let before = entries(&s);
    s.scan("OP-14");
    let screen = s.screen(80, 24);
    for row in meltkin::ui::big_letters::large("F2 goes on as OP-14", 80, false, false) {
        assert!(screen.contains(row.trim()), "{row}\n{screen}");
    }
    sent(&mut s, "M31-097-3\rM31-096-2\r", 0);
    s.sees("M31-097-3, M31-096-2 are NOT recorded: OP-14 works here now. F2 goes on as");
    assert_eq!(entries(&s), before);
    s.keys("<f2>");
    s.misses("NOT recorded");
    s.misses("What is the same for all");
}
