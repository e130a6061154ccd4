//! The trace desk on the demo.

use meltkin::ui::theme::{Depth, Room, Theme};

use super::Session;

fn on_blade() -> Session {
    let mut s = Session::demo();
    s.keys("k").scan("M31-033-7");
    s
}

#[test]
fn parentage_is_a_tree_that_folds() {
    let mut s = on_blade();
    s.sees("What went into blade M31-033-7");
    s.sees("slurry batch PS31-05");
    insta::assert_snapshot!("trace_80x24", s.screen(80, 24));
    insta::assert_snapshot!("trace_120x40", s.screen(120, 40));
    s.keys("<down><left>");
    s.misses("slurry batch PS31-05");
    s.keys("<right>");
    s.sees("slurry batch PS31-05");
}

#[test]
fn siblings_stand_beside_their_rates() {
    let mut s = on_blade();
    to(&mut s, "slurry batch PS31-05");
    s.keys("s");
    s.sees("M31-033-7 shares PS31-05 with");
    s.sees("rate of any reject");
    s.sees("association, not cause");
    insta::assert_snapshot!("siblings_80x24", s.screen(80, 24));
    s.keys("d");
    s.misses("rate of any reject");
    insta::assert_snapshot!("siblings_120x40", s.screen(120, 40));
    s.keys("<esc>");
    s.sees("What went into");
}

/// Goes down to the row that holds this text.
fn to(s: &mut Session, text: &str) {
    for _ in 0..80 {
        if s.screen(80, 24).lines().any(|l| l.contains('▸') && l.contains(text)) {
            return;
        }
        s.keys("<down>");
    }
    panic!("no row {text:?} in:\n{}", s.screen(80, 24));
}

#[test]
fn what_came_out_adds_up_and_opens() {
    let mut s = Session::demo();
    s.keys("k").scan("PS31-05");
    s.keys("<tab>");
    s.sees("What came out of slurry batch PS31-05");
    insta::assert_snapshot!("out_80x24", s.screen(80, 24));
    s.keys("<right><down><enter>");
    s.sees("Record M31-");
    s.keys("k");
    s.sees("What went into blade M31-");
}

#[test]
fn a_hold_is_seen_in_the_tree_and_only_quality_lifts_it() {
    let mut s = on_blade();
    to(&mut s, "slurry batch PS31-05");
    s.keys("hpH drifted<f2>");
    s.sees("✗ held");
    s.keys("lchecked again<f2>");
    s.sees("for quality");
    s.app.who = Some("OP-51".into());
    s.keys("lchecked again<f2>");
    s.misses("✗ held");
}

#[test]
fn an_unknown_tag_is_answered_with_near_ones() {
    let mut s = Session::demo();
    s.keys("kM31-0337<enter>");
    s.sees("no parentage can be shown");
    s.sees("M31-033");
}

#[test]
fn every_size_is_drawn_and_ascii_is_enough() {
    let mut s = on_blade();
    for step in ["", "<down><down><down>s", "<esc><tab>", "<home>k", "f", "<end>", "l", "<esc>?"] {
        s.keys(step);
        for width in 1..=30 {
            for height in 1..=14 {
                s.screen(width, height);
            }
        }
        s.screen(120, 40);
    }
    let mut s = on_blade();
    s.app.theme = Theme { room: Room::Dark, depth: Depth::None, ascii: true };
    for step in ["", "<down><down><down>s", "<esc><tab>"] {
        s.keys(step);
        let screen = s.screen(80, 24);
        assert!(screen.is_ascii() && !screen.contains('?'.to_string().repeat(2).as_str()), "{screen}");
    }
}
