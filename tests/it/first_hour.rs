//! What a metallurgist meets in the first hour on the screens: nothing that matters is hidden, nothing that is said
//! is wrong of the record in sight.

use std::collections::HashSet;

use meltkin::jobs::furnace::readiness;
use meltkin::jobs::lots::screen::pin;
use meltkin::jobs::records::ask;
use meltkin::jobs::trace::siblings;
use meltkin::ui::theme::{Depth, Room, Theme};
use records::Store;
use records::value::words::counted;

use crate::tui::{Session, drawn_alone};

/// The bar above the screen: the first line below the head that names a stop.
fn bar(s: &Session) -> String {
    s.screen(80, 24).lines().nth(1).unwrap_or_default().trim().to_string()
}

fn pages(s: &mut Session, step: &str) -> String {
    let mut all = String::new();
    for _ in 0..40 {
        let screen = s.screen(80, 24);
        if all.ends_with(&screen) {
            break;
        }
        all.push_str(&screen);
        s.keys(step);
    }
    all
}

#[test]
fn checks_that_fail_stand_first_and_the_rest_is_counted() {
    let mut s = Session::demo();
    let ready = readiness::ready(&s.desk.store, "M31-097", None, s.app.now).unwrap();
    let failing: Vec<&str> = ready.checks.iter().filter(|c| c.ok == Some(false)).map(|c| c.check).collect();
    assert!(failing.len() > 2, "{failing:?}");
    assert!(ready.checks.iter().any(|c| c.ok == Some(true)));
    let screen = s.screen(80, 24);
    for check in &failing {
        assert!(screen.contains(&format!("✗ {check}")), "{check} in:\n{screen}");
    }
    for check in ready.checks.iter().filter(|c| c.ok == Some(true)) {
        assert!(screen.contains(check.check), "{} in:\n{screen}", check.check);
    }
    // One key shows all of them.
    s.keys("a");
    s.sees("Checks of M31-097");
    let all = pages(&mut s, "<down>");
    for check in &ready.checks {
        let mark = match check.ok {
            Some(true) => "✓",
            Some(false) => "✗",
            None => "?",
        };
        assert!(all.contains(&format!("{mark} {}", check.check)), "{all}");
    }
}

#[test]
fn every_key_that_writes_a_pour_names_the_checks_that_fail() {
    for key in ["p", "n", "o"] {
        let mut s = Session::demo();
        let ready = readiness::ready(&s.desk.store, "M31-097", None, s.app.now).unwrap();
        assert!(ready.checks.iter().any(|c| c.ok == Some(false)));
        s.keys(key);
        let screen = s.screen(80, 24);
        assert!(screen.contains("not every check is passed"), "{key}:\n{screen}");
        for check in ready.checks.iter().filter(|c| c.ok == Some(false)) {
            assert!(screen.contains(&format!("✗ {}", check.check)), "{key}: {}:\n{screen}", check.check);
        }
        s.keys("<esc>");
        assert!(s.desk.store.find("pours:M31-097").is_err(), "{key}");
    }
}

#[test]
fn nobody_stands_in_a_form_but_who_works_here() {
    let mut s = Session::demo();
    s.app.who = None;
    s.keys("p<enter>");
    s.sees("New pour");
    let form = pages(&mut s, "<down>");
    assert!(!form.contains("OP-"), "{form}");
    let mut s = Session::demo();
    s.keys("p<enter>");
    let form = pages(&mut s, "<down>");
    assert!(form.lines().any(|l| l.contains("person") && l.contains("OP-07")), "{form}");
}

#[test]
fn the_bar_says_the_same_of_a_record_wherever_it_is_looked_at() {
    let mut s = Session::demo();
    let at_furnace = bar(&s);
    assert_eq!(
        at_furnace, "wax › ✓tree › ○shell › ○fire › ○melt › ○pour › ○finish › ○inspect › ○lot",
        "a mould without map, coats and fire"
    );
    s.keys("/M31-097<enter>");
    assert_eq!(bar(&s), at_furnace, "its record");
    s.keys("k");
    s.sees("What went into mould M31-097");
    assert_eq!(bar(&s), at_furnace, "its trace");
    // A heat was not waxed: it has its own two stops.
    let mut s = Session::demo();
    s.keys("kH31-038<enter>");
    s.sees("What went into heat H31-038");
    assert_eq!(bar(&s), "✓melt › ✓pour");
    let mut s = Session::demo();
    s.keys("kH31-049<enter>");
    assert_eq!(bar(&s), "✓melt › ○pour", "charged, nothing poured from it");
    // A blade that was inspected and scrapped.
    let mut s = Session::demo();
    s.keys("kM31-033-7<enter>");
    assert!(bar(&s).ends_with("✓pour › ✓finish › ✓inspect › ✗scrapped"), "{}", bar(&s));
    // What has no way has no bar.
    let mut s = Session::demo();
    s.keys("kIL31-01<enter>");
    s.sees("What went into ingot lot");
    assert_eq!(bar(&s), "");
}

#[test]
fn the_bar_of_a_poured_mould_has_its_own_shell_and_fire() {
    let mut s = Session::demo();
    s.keys("n<f2>");
    s.sees("saved pours:M31-097");
    s.keys("kM31-097<enter>");
    // It was poured, and still no coat and no fire are on record.
    assert!(bar(&s).contains("○shell › ○fire › ✓melt › ✓pour"), "{}", bar(&s));
}

#[test]
fn a_reading_that_decides_nothing_has_a_neutral_mark() {
    let mut s = Session::demo();
    s.keys("/M31-022-2<enter>");
    s.sees("· 2031-05-21 08:42 radiograph (overlap: decides nothing): reject");
    // Over many blades: no tick before a reject.
    for blade in ["M31-022-2", "M31-033-7", "M31-075-3", "M31-076-1"] {
        let mut s = Session::demo();
        s.keys(&format!("/{blade}<enter>"));
        let all = pages(&mut s, "<down>");
        assert!(!all.lines().any(|l| l.contains('✓') && l.contains(": reject")), "{all}");
    }
}

#[test]
fn the_blades_that_explain_a_rate_are_those_that_are_counted() {
    let s = Session::demo();
    let store = &s.desk.store;
    let mut blades = 0;
    for defect in [None, Some("microporosity"), Some("misrun"), Some("inclusion")] {
        let told = siblings::siblings(store, "M31-076-1", "H31-038", defect, None, None).unwrap();
        for (with, counts) in told.with.iter().zip([told.counts_in, told.counts_same_heats, told.counts_out])
        {
            assert_eq!(with.len() as u64, counts.with.min(12), "{defect:?}");
            let distinct: HashSet<&String> = with.iter().collect();
            assert_eq!(distinct.len(), with.len());
            for blade in with {
                let shown = ask::show(store, blade, false).unwrap();
                let first =
                    shown.seen.iter().filter(|s| s.purpose.is_none() && s.round.unwrap_or(1.0) == 1.0);
                let mut first = first.filter(|s| told.method.as_ref().is_none_or(|m| *m == s.by));
                let has = match defect {
                    Some(d) => first.any(|s| s.findings.iter().any(|f| f.defect == d)),
                    None => first.any(|s| s.result == "reject"),
                };
                assert!(has, "{blade} has no {defect:?}");
                blades += 1;
            }
        }
        for working in told.workings() {
            assert!(working.records.is_empty() || !working.listed.is_empty());
        }
    }
    assert!(blades > 0, "no blade was named");
    let told = siblings::siblings(store, "M31-076-1", "H31-038", Some("microporosity"), None, None).unwrap();
    let said = told.workings()[0].text();
    assert!(
        said.contains(&format!("{}: microporosity", counted(told.counts_in.with as usize, "blade"))),
        "{said}"
    );
}

#[test]
fn an_empty_store_says_what_to_do_first() {
    let folder = tempfile::TempDir::new().unwrap();
    let path = folder.path().join("new.db");
    Store::create(&path).unwrap().close().unwrap();
    let mut s = Session::on(&path, None);
    s.sees("no mould is on record yet");
    s.sees("b  the bench");
    s.sees("meltkin help foundry");
    s.misses("every mould on record is poured");
    s.keys("y");
    s.misses("0 factors");
    s.sees("so there is nothing to compare");
    assert_eq!(bar(&s), "");
}

#[test]
fn a_record_reads_like_its_form() {
    let mut s = Session::demo();
    s.keys("/H31-038<enter>");
    let all = pages(&mut s, "<down>");
    let line = |label: &str| all.lines().position(|l| l.trim().starts_with(label));
    assert!(line("heat ") < line("alloy") && line("alloy") < line("furnace"), "{all}");
    assert!(all.lines().any(|l| l.contains("leak ") && l.trim_end().ends_with("mbar l/s")), "{all}");
    assert!(!all.contains("leak mbar l s"), "{all}");
    assert!(!all.contains("1 analyses") && !all.contains("lot_blades"), "{all}");
    s.keys("<esc>/M31-033-7<enter>");
    let all = pages(&mut s, "<down>");
    assert!(all.contains("1 disposition,") || all.contains("1 disposition\n"), "{all}");
    assert!(all.contains("1 lot blade"), "{all}");
}

#[test]
fn no_parent_looks_smaller_than_what_went_into_it() {
    let mut s = Session::demo();
    s.keys("kM31-076-1<enter>");
    let share = |line: &str| -> Option<f64> {
        line.split_once(" % of the metal")?.0.rsplit(' ').next()?.parse().ok()
    };
    let screen = s.screen(120, 40);
    let mut above: Vec<(usize, f64)> = Vec::new();
    let mut told = HashSet::new();
    for line in screen.lines() {
        let Some(percent) = share(line) else { continue };
        let depth = line.len() - line.trim_start_matches([' ', '▸']).len();
        above.retain(|(d, _)| *d < depth);
        let within = above.iter().all(|(_, p)| percent <= p + 0.05);
        assert!(within || line.contains("in all ways"), "{line}\n{screen}");
        above.push((depth, percent));
        let tag = line.split_whitespace().find(|w| w.contains("31-")).unwrap();
        assert!(told.insert(tag), "{tag} is told twice:\n{screen}");
    }
    assert!(told.len() > 2, "{screen}");
}

#[test]
fn the_cause_desk_uses_its_width() {
    let mut s = Session::demo();
    s.keys("ydmisrun<enter>");
    for (width, height) in [(80, 24), (120, 40)] {
        let screen = s.screen(width, height);
        let head = screen.lines().find(|l| l.trim_end().ends_with("worth")).expect(&screen).to_string();
        let at = head.chars().count() - "worth".len();
        let rows = screen.lines().skip_while(|l| *l != head).skip(1).take_while(|l| !l.contains("───"));
        let rows: Vec<&str> = rows.collect();
        assert!(rows.len() >= 4, "{screen}");
        for row in &rows {
            let worth: String = row.chars().skip(at).collect();
            let known = [
                "not shown",
                "worth a look",
                "worth acting on",
                "act on it",
                "period?",
                "strong",
                "explained",
            ];
            assert!(known.contains(&worth.trim()), "{worth:?} in\n{screen}");
        }
        assert!(!screen.contains("–)") && !screen.contains("(–"), "{screen}");
    }
    // Blank lines at the bottom of a large window: the list takes them.
    let screen = s.screen(120, 40);
    let blank = screen.lines().rev().skip(3).take_while(|l| l.trim().is_empty()).count();
    assert!(blank < 6, "{blank} blank lines:\n{screen}");
}

#[test]
fn what_blocks_a_lot_is_said_before_the_pin() {
    let mut s = Session::demo();
    s.app.who = Some("OP-51".into());
    s.keys("l<down>g");
    s.sees("L31-02 is blocked by ");
    s.misses("your PIN");
    // And the question for the PIN is read to its end.
    let theme = Theme { room: Room::Dark, depth: Depth::Full, ascii: false };
    let drawn = drawn_alone(&pin("L31-01".into()), 78, 18, theme);
    let words: String = drawn.replace(['"', '\n'], " ").split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(words.contains("then the page says that the name is as claimed"), "{drawn}");
}

#[test]
fn no_word_is_lost_or_glued_where_a_line_is_broken() {
    let mut s = Session::demo();
    s.keys("s");
    s.sees("For the next shift");
    let all = pages(&mut s, "<pgdn>");
    let words = all.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(words.contains("filled in afterwards by"), "{all}");
    assert!(!words.contains("inafterwards"), "{all}");
}

/// A stamp as files keep it; one in an address is part of a name.
fn stamped(text: &str) -> Option<&str> {
    text.split_whitespace().filter(|w| !w.contains('/')).find(|w| {
        let at = w.find('T').filter(|at| *at >= 10);
        at.is_some_and(|at| w[..at].ends_with(|c: char| c.is_ascii_digit()) && w[at + 1..].contains(':'))
    })
}

#[test]
fn times_have_one_form_on_screens() {
    for way in [
        "a",
        "s",
        "l<enter>",
        "l<down><enter>",
        "l<end><enter>",
        "l<down>b",
        "/M31-033-7<enter>",
        "/H31-025<enter>",
    ] {
        let mut s = Session::demo();
        s.keys(way);
        let all = pages(&mut s, "<pgdn>");
        assert_eq!(stamped(&all), None, "{way}:\n{all}");
    }
}

#[test]
fn prose_stays_where_it_is_and_tables_move() {
    let mut s = Session::demo();
    s.keys("l<end>");
    let last = s.screen(80, 24);
    assert!(last.lines().any(|l| l.contains("▸ trial")), "{last}");
    s.keys("<home>");
    assert!(s.screen(80, 24).lines().any(|l| l.contains("▸ lot")));
    s.keys("<end><enter>");
    let whole = s.screen(80, 24);
    let title = whole.lines().find(|l| l.contains("T31-01 (")).expect(&whole).to_string();
    s.keys("<right>");
    assert!(s.screen(80, 24).contains(&title), "{}", s.screen(80, 24));
    // Somewhere below, a table does move.
    let mut moved = false;
    for _ in 0..8 {
        let before = s.screen(80, 24);
        s.keys("<right>");
        moved |= s.screen(80, 24) != before;
        s.keys("<left><pgdn>");
    }
    assert!(moved);
    // A lot without a number says nothing of one.
    s.keys("<esc>");
    let list = s.screen(120, 40);
    assert!(list.contains(" ordered"), "{list}");
    for row in list.lines().filter(|l| l.contains(" ordered")) {
        let before = row.split(" ordered").next().unwrap().trim_end();
        assert!(before.ends_with(|c: char| c.is_ascii_digit()) && !before.ends_with("GB-10"), "{row}");
    }
}

#[test]
fn equal_findings_are_counted() {
    let mut s = Session::demo();
    s.keys("kM31-076-1<enter>");
    for _ in 0..60 {
        if s.screen(80, 24).lines().any(|l| l.contains('▸') && l.contains("heat H31-038")) {
            break;
        }
        s.keys("<down>");
    }
    s.keys("s");
    s.sees("M31-076-1 shares H31-038");
    let screen = s.screen(120, 40);
    for line in screen.lines() {
        assert!(line.matches("microporosity RT (radiograph)").count() < 2, "{screen}");
    }
    assert!(screen.contains(" ×"), "{screen}");
}
