//! The cause desk: its state, its pictures, its edges.

use std::sync::OnceLock;

use knowledge::causes::{MouldSeen, Settings};
use meltkin::jobs::causes::ask::{Ask as Asked, Board, Choices, board, choices};
use meltkin::jobs::causes::screen::{CauseDesk, Rank};
use meltkin::ui::effect::Effect;
use meltkin::ui::keys::Press;
use meltkin::ui::order::{Failure, Reply};
use meltkin::ui::screen::Screen;
use meltkin::ui::theme::{Depth, Room, Theme};
use records::Store;

use crate::tui::{Session, drawn_alone, now};

fn asked() -> Asked {
    Asked { defect: Some("misrun".into()), zone: Some("TE".into()), ..Asked::default() }
}

fn answered() -> &'static (Board, Choices) {
    static MADE: OnceLock<(Board, Choices)> = OnceLock::new();
    MADE.get_or_init(|| {
        let folder = tempfile::TempDir::new().unwrap();
        let store = Store::open(&crate::tui::demo_copy(folder.path())).unwrap();
        (board(&store, &asked(), Settings::default()).unwrap(), choices(&store).unwrap())
    })
}

fn drawn(desk: &CauseDesk, width: u16, height: u16) -> String {
    drawn_alone(desk, width, height, Theme { room: Room::Booth, depth: Depth::None, ascii: true })
}

fn desk_with(board: Board) -> CauseDesk {
    let mut desk = CauseDesk::new(asked());
    desk.begin(&now());
    desk.reply(Reply::new(answered().1.clone()), &now());
    desk.reply(Reply::new(Some(board)), &now());
    desk
}

/// The ranking that is asked for.
fn ranking(effects: &[Effect]) -> &Rank {
    let found = effects.iter().find_map(|e| match e {
        Effect::Ask(order) => order.as_any().downcast_ref::<Rank>(),
        _ => None,
    });
    found.expect("a ranking is asked for")
}

fn watch(effects: &[Effect]) -> std::sync::Arc<knowledge::causes::Watch> {
    ranking(effects).watch.clone()
}

#[test]
fn a_new_question_stops_the_old_one_and_closing_stops_the_last() {
    let mut desk = CauseDesk::new(Asked::default());
    let first = watch(&desk.begin(&now()));
    let second = watch(&desk.press(Press::Char('x'), &now()));
    assert!(first.is_stopped() && !second.is_stopped());
    assert!(drawn(&desk, 78, 18).contains("rejected only"));
    // The first Esc stops the run, the second leaves.
    assert!(desk.press(Press::Esc, &now()).is_empty());
    assert!(second.is_stopped());
    let third = watch(&desk.press(Press::Char('x'), &now()));
    desk.press(Press::Char('.'), &now());
    assert!(third.is_stopped());
    assert!(matches!(desk.press(Press::Esc, &now())[..], [Effect::Close]));
    let mut other = CauseDesk::new(Asked::default());
    let last = watch(&other.begin(&now()));
    drop(other);
    assert!(last.is_stopped());
}

#[test]
fn the_question_is_changed_by_letters_a_date_and_a_scan() {
    let mut desk = desk_with(answered().0.clone());
    desk.press(Press::Char('z'), &now());
    assert!(desk.takes_text());
    // The line above the first is "any"; Esc leaves everything as it is.
    assert!(drawn(&desk, 78, 18).contains("any"));
    desk.press(Press::Esc, &now());
    assert!(!desk.takes_text());
    desk.press(Press::Char('z'), &now());
    desk.press(Press::Home, &now());
    let effects = desk.press(Press::Enter, &now());
    assert!(effects.len() == 1 && ranking(&effects).ask.zone.is_none());
    desk.press(Press::Char('s'), &now());
    "2031-02-01".chars().for_each(|c| drop(desk.press(Press::Char(c), &now())));
    let effects = desk.press(Press::Enter, &now());
    assert!(effects.len() == 1);
    assert_eq!(ranking(&effects).ask.since.as_deref(), Some("2031-02-01"));
    desk.press(Press::Char('b'), &now());
    let effects = desk.code("IL31-01", Some(("ingot_lots", "IL31-01".into())), &now());
    assert!(effects.len() == 1);
    assert_eq!(ranking(&effects).ask.within.as_deref(), Some("IL31-01"));
    // Elsewhere a scan opens the record.
    let effects = desk.code("IL31-01", Some(("ingot_lots", "IL31-01".into())), &now());
    assert!(matches!(&effects[..], [Effect::Show(_)]));
    let failure = Failure { sentence: "there is no such zone".into(), field: None, wants_reason: false };
    desk.failed(&failure, &now());
    assert!(drawn(&desk, 78, 18).contains("no such zone"));
}

#[test]
fn it_is_drawn_at_every_size_on_every_page_whatever_the_answer() {
    let full = answered().0.clone();
    let mut empty = full.clone();
    empty.answer.ranking.causes.clear();
    empty.details.clear();
    let mut one = full.clone();
    one.answer.ranking.causes.truncate(1);
    one.answer.ranking.causes[0].flagged = false;
    let mut many = full.clone();
    let seen = |i: usize| MouldSeen {
        mould: format!("M-{i}"),
        heat: (i / 2) as u32,
        blades: 8,
        with: i % 9,
        inside: [Some(true), Some(false), None][i % 3],
    };
    many.details[0].moulds = (0..100_000).map(seen).collect();
    for (board, says) in [
        (full, "pour.pyrometer_days_since_good_check"),
        (empty, "Nothing found: no factor"),
        (one, "worth a look, not a finding"),
        (many, "pour.pyrometer_days_since_good_check"),
    ] {
        let mut desk = desk_with(board);
        for page in 0..6 {
            let screen = drawn(&desk, 78, 18);
            assert!(screen.contains(says) && screen.contains("Association, not cause"), "{page}:\n{screen}");
            for width in 1..=30 {
                for height in 1..=14 {
                    drawn(&desk, width, height);
                }
            }
            desk.press(Press::Tab, &now());
        }
        desk.press(Press::Enter, &now());
        (0..50).for_each(|_| drop(desk.press(Press::PageDown, &now())));
        drawn(&desk, 118, 34);
    }
}

/// The answer ends in what to do, and that is read first; a level is never cut, and no p is told as nothing.
#[test]
fn the_first_page_is_what_to_do_and_no_figure_is_cut() {
    let mut board = answered().0.clone();
    board.answer.ranking.time.p = Some(0.000_02);
    let first = &mut board.answer.ranking.causes[0];
    first.factor = "slurry_batch.of_a_very_long_name_that_has_no_room/prime".into();
    first.level = Some("PS31-05-OLD-POT".into());
    first.kind = "level";
    let mut desk = desk_with(board);
    let page = drawn(&desk, 78, 24);
    assert!(page.contains("What to check: ") && page.contains("= PS31-05-OLD-POT "), "{page}");
    let wide = drawn(&desk, 118, 40);
    assert!(wide.contains("What to hold: ") && wide.contains("What to pour next: "), "{wide}");
    (0..5).for_each(|_| drop(desk.press(Press::Tab, &now())));
    let cautions = drawn(&desk, 118, 40);
    assert!(cautions.contains("p 2.0e-5") && !cautions.contains("0.000"), "{cautions}");
    assert!(matches!(&desk.press(Press::Char('l'), &now())[..], [Effect::Open(_)]));
}

#[test]
fn the_desk_looks_as_it_should() {
    let mut session = Session::demo();
    session.keys("ydmisrun<enter>zte<enter>");
    session.sees("misrun in zone TE");
    session.sees("pour.pyrometer_days_since_good_check");
    insta::assert_snapshot!("causes_80x24", session.screen(80, 24));
    insta::assert_snapshot!("causes_120x40", session.screen(120, 40));
    session.keys("<tab><tab>");
    insta::assert_snapshot!("causes_moulds_80x24", session.screen(80, 24));
    session.keys("<tab>");
    insta::assert_snapshot!("causes_heats_80x24", session.screen(80, 24));
    session.keys("<tab>");
    insta::assert_snapshot!("causes_next_80x24", session.screen(80, 24));
    session.keys("<tab>");
    insta::assert_snapshot!("causes_cautions_80x24", session.screen(80, 24));
    session.keys("d");
    insta::assert_snapshot!("causes_defects_80x24", session.screen(80, 24));
    session.keys("<esc><esc>");
    session.sees("To be poured");
}

/// Whoever opens a list before it is read finds it filled under the letters typed so far.
#[test]
fn a_list_that_is_opened_early_fills_itself() {
    let mut desk = CauseDesk::new(Asked::default());
    desk.begin(&now());
    desk.press(Press::Char('d'), &now());
    for c in "misrun".chars() {
        desk.press(Press::Char(c), &now());
    }
    assert!(drawn(&desk, 80, 20).contains("reads what there is"));
    assert!(desk.press(Press::Enter, &now()).is_empty(), "nothing is taken yet");
    desk.reply(Reply::new(answered().1.clone()), &now());
    let effects = desk.press(Press::Enter, &now());
    assert_eq!(ranking(&effects).ask.defect.as_deref(), Some("misrun"));
}
