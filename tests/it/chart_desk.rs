//! The chart desk: its pictures on the demo, its keys, its edges.

use std::sync::OnceLock;

use knowledge::causes::Watch;
use meltkin::jobs::causes::ask::Ask as Asked;
use meltkin::jobs::charts::ask::{By, ChartAsk, Drawn, Of, Readings, Wanted, draw};
use meltkin::jobs::charts::screen::{ChartDesk, Draw};
use meltkin::ui::effect::Effect;
use meltkin::ui::frame;
use meltkin::ui::keys::Press;
use meltkin::ui::order::{Read, Reply};
use meltkin::ui::screen::Screen;
use meltkin::ui::theme::{Depth, Room, Theme};
use records::Store;

use ratatui::Terminal;
use ratatui::backend::TestBackend;

use crate::pty;
use crate::tui::{Session, drawn_alone, now};

fn misruns() -> Asked {
    Asked { defect: Some("misrun".into()), zone: Some("TE".into()), ..Asked::default() }
}

fn pores() -> Asked {
    Asked { defect: Some("microporosity".into()), ..Asked::default() }
}

/// Pictures of the demo, drawn once.
fn drawn() -> &'static [Drawn; 4] {
    static MADE: OnceLock<[Drawn; 4]> = OnceLock::new();
    MADE.get_or_init(|| {
        let folder = tempfile::TempDir::new().unwrap();
        let store = Store::open(&crate::tui::demo_copy(folder.path())).unwrap();
        let run = Watch::default();
        let of = |wanted: Wanted| draw(&store, &wanted, &run).unwrap();
        let chart =
            ChartAsk { of: Of::Defect, ask: misruns(), by: None, kind: None, rules: false, against: None };
        [
            of(Wanted::Chart(chart)),
            of(Wanted::Against(pores(), "heat.N".into(), By::Heat)),
            of(Wanted::Positions(misruns())),
            of(Wanted::Zones(Asked { zone: None, ..misruns() })),
        ]
    })
}

fn screen(desk: &ChartDesk, width: u16, height: u16, theme: Theme) -> String {
    drawn_alone(desk, width, height, theme)
}

const BARE: Theme = Theme { room: Room::Booth, depth: Depth::None, ascii: true };
const PAGES: [(char, usize); 5] = [('1', 0), ('2', 1), ('3', 1), ('4', 2), ('5', 3)];

/// A desk on a page, with its picture.
fn desk(page: char, picture: Drawn) -> ChartDesk {
    let mut desk = ChartDesk::new(Asked::default(), Some("heat.N".into()));
    desk.begin(&now());
    desk.press(Press::Char(page), &now());
    desk.reply(Reply::new(Some(picture)), &now());
    desk
}

/// The picture that is asked for.
fn asked(effects: &[Effect]) -> &Draw {
    let found = effects.iter().find_map(|e| match e {
        Effect::Ask(order) => order.as_any().downcast_ref::<Draw>(),
        _ => None,
    });
    found.expect("a picture is asked for")
}

fn run(effects: &[Effect]) -> std::sync::Arc<Watch> {
    asked(effects).run.clone()
}

/// The one screen that is opened.
fn opened(effects: &[Effect]) -> &dyn Screen {
    let [Effect::Open(screen)] = effects else { panic!("{effects:?}") };
    screen.as_ref()
}

#[test]
fn a_new_question_stops_the_old_one_and_closing_stops_the_last() {
    let mut desk = ChartDesk::new(misruns(), None);
    let first = run(&desk.begin(&now()));
    let second = run(&desk.press(Press::Char('x'), &now()));
    assert!(first.is_stopped() && !second.is_stopped());
    assert!(screen(&desk, 78, 18, BARE).contains("queued, piece 0 of 3"));
    assert!(desk.press(Press::Esc, &now()).is_empty(), "the first Esc stops");
    assert!(second.is_stopped());
    assert!(screen(&desk, 78, 18, BARE).contains("stopped; any change"));
    assert!(matches!(desk.press(Press::Esc, &now())[..], [Effect::Close]), "the second leaves");
    let mut other = ChartDesk::new(misruns(), None);
    let last = run(&other.begin(&now()));
    drop(other);
    assert!(last.is_stopped());
}

#[test]
fn a_stopped_run_draws_nothing() {
    let folder = tempfile::TempDir::new().unwrap();
    let store = Store::open(&crate::tui::demo_copy(folder.path())).unwrap();
    let run = Watch::default();
    run.stop();
    let error = draw(&store, &Wanted::Positions(misruns()), &run).unwrap_err();
    assert_eq!(error.to_string(), "stopped");
}

#[test]
fn every_page_is_drawn_at_every_size_also_without_anything() {
    for (page, picture) in PAGES {
        let full = drawn()[picture].clone();
        let empty = match full.clone() {
            Drawn::Chart(mut c) => {
                c.points.clear();
                c.signals.clear();
                Drawn::Chart(c)
            }
            Drawn::Against(mut a) => {
                (a.points, a.parts, a.fit) = (Vec::new(), Vec::new(), None);
                Drawn::Against(a)
            }
            Drawn::Positions(mut r) => {
                (r.lines, r.columns) = (Vec::new(), Vec::new());
                Drawn::Positions(r)
            }
            Drawn::Zones(mut r) => {
                r.lines.clear();
                Drawn::Zones(r)
            }
        };
        for (picture, says) in [(full, "Association, not cause"), (empty, "There is nothing to draw")] {
            let mut desk = desk(page, picture);
            let text = screen(&desk, 78, 18, BARE);
            assert!(text.contains(says), "{page}:\n{text}");
            for press in
                [Press::Left, Press::PageUp, Press::Home, Press::End, Press::Up, Press::Down, Press::PageDown]
            {
                desk.press(press, &now());
                for (width, height) in (1..=30).flat_map(|w| (1..=14).map(move |h| (w, h))).step_by(7) {
                    screen(&desk, width, height, BARE);
                }
            }
            screen(&desk, 160, 60, BARE);
        }
    }
}

#[test]
fn a_hundred_thousand_points_move_under_the_cursor() {
    let Drawn::Chart(mut chart) = drawn()[0].clone() else { panic!("a chart") };
    let one = chart.points[0].clone();
    chart.points = (0..100_000)
        .map(|i| meltkin::jobs::charts::show::Point { label: format!("H-{i}"), ..one.clone() })
        .collect();
    chart.signals.clear();
    (chart.centre, chart.lower, chart.upper) = (vec![0.05; 100_000], vec![0.0; 100_000], vec![0.2; 100_000]);
    let mut desk = desk('1', Drawn::Chart(chart));
    assert!(screen(&desk, 78, 18, BARE).contains("H-99999"), "it stands on the newest");
    desk.press(Press::Home, &now());
    assert!(screen(&desk, 78, 18, BARE).contains("> H-0 "));
}

#[test]
fn nothing_is_said_by_colour_alone() {
    // Without any colour the signal has its own mark, the cursor its own line, every fill its pattern.
    let plain = Theme { room: Room::Dark, depth: Depth::None, ascii: false };
    let text = screen(&desk('1', drawn()[0].clone()), 78, 18, plain);
    assert!(text.contains('◆') && text.contains('●') && text.contains('┊') && text.contains("breaks a rule"));
    let text = screen(&desk('2', drawn()[1].clone()), 78, 18, plain);
    assert!(text.contains('▲') && text.contains('○') && text.contains("H31-038"));
    let text = screen(&desk('4', drawn()[2].clone()), 78, 18, plain);
    assert!(text.contains('█') && text.contains('·') && text.contains("inspected, without"));
    let text = screen(&desk('5', drawn()[3].clone()), 78, 18, plain);
    assert!(text.contains("TE trailing edge: 45 of 768") && text.contains('▸'));
    // Where only ASCII may be printed, nothing is left as a question mark but the word "which ...?".
    for (page, picture) in PAGES {
        let text = screen(&desk(page, drawn()[picture].clone()), 78, 18, BARE);
        assert!(!text.contains('?') && text.is_ascii(), "{page}:\n{text}");
    }
}

#[test]
fn keys_go_where_they_say() {
    let mut time = desk('1', drawn()[0].clone());
    // It stands on the first signal; the next are one key away each, and then the first again.
    assert!(screen(&time, 78, 18, BARE).contains("> H31-018"));
    for next in ["H31-019", "H31-020", "H31-021", "H31-018"] {
        time.press(Press::Char('n'), &now());
        assert!(screen(&time, 78, 18, BARE).contains(&format!("> {next}")));
    }
    let effects = time.press(Press::Enter, &now());
    assert_eq!(opened(&effects).title(), "Trace H31-018");
    let effects = time.press(Press::F(9), &now());
    let plain = Theme { room: Room::Dark, depth: Depth::None, ascii: false };
    let working = drawn_alone(opened(&effects), 200, 60, plain);
    for text in ["H31-018: 25 %", "M31-035, M31-036", "√(c(1−c)/n)", "Shewhart"] {
        assert!(working.contains(text), "{text}:\n{working}");
    }
    // By week there is nothing to trace.
    let effects = time.press(Press::Char('g'), &now());
    assert!(matches!(&asked(&effects).wanted, Wanted::Chart(ChartAsk { by: Some(By::Mould), .. })));

    let mut heats = desk('2', drawn()[1].clone());
    let effects = heats.press(Press::Enter, &now());
    assert_eq!(opened(&effects).title(), "Trace H31-038");
    assert!(heats.press(Press::Char('3'), &now()).is_empty(), "the same answer in parts");
    assert!(screen(&heats, 78, 18, BARE).contains("Intervals allow for blades of a heat"));
    // The zones are asked for whatever the zone of the question.
    let mut zones = ChartDesk::new(misruns(), None);
    zones.begin(&now());
    let effects = zones.press(Press::Char('5'), &now());
    assert!(matches!(&asked(&effects).wanted, Wanted::Zones(ask) if ask.zone.is_none()));
    let effects = zones.press(Press::Char('2'), &now());
    let [Effect::Ask(order)] = &effects[..] else { panic!("{effects:?}") };
    assert!(order.as_any().is::<Read<(), Readings>>(), "which reading, is asked first");
    assert!(zones.takes_text());
}

#[test]
fn the_desk_looks_as_it_should() {
    let mut session = Session::demo();
    session.keys("vdmisrun<enter>zte<enter>");
    session.sees("misrun in zone TE");
    insta::assert_snapshot!("time_80x24", session.screen(80, 24));
    insta::assert_snapshot!("time_120x40", session.screen(120, 40));
    session.keys("<f9>");
    insta::assert_snapshot!("working_80x24", session.screen(80, 24));
    session.keys("<esc>4");
    insta::assert_snapshot!("tree_80x24", session.screen(80, 24));
    insta::assert_snapshot!("tree_120x40", session.screen(120, 40));
    session.keys("5");
    insta::assert_snapshot!("blade_80x24", session.screen(80, 24));
    insta::assert_snapshot!("blade_120x40", session.screen(120, 40));
    session.keys("dmicropor<enter>z<home><enter>aheat.n");
    insta::assert_snapshot!("readings_80x24", session.screen(80, 24));
    session.keys("<enter>2");
    insta::assert_snapshot!("heats_80x24", session.screen(80, 24));
    insta::assert_snapshot!("heats_120x40", session.screen(120, 40));
    session.keys("3");
    insta::assert_snapshot!("parts_80x24", session.screen(80, 24));
    insta::assert_snapshot!("parts_120x40", session.screen(120, 40));
    session.keys("1fslurry_checks.ph<enter>");
    insta::assert_snapshot!("reading_80x24", session.screen(80, 24));
    session.keys("?");
    insta::assert_snapshot!("help_80x24", session.screen(80, 24));
    session.keys("<esc><esc>");
    session.sees("To be poured");
}

#[test]
fn the_cause_desk_leads_here_with_its_question_and_its_reading() {
    let mut session = Session::demo();
    session.keys("ydmisrun<enter>zte<enter>v");
    session.sees("misrun in zone TE by visual, 45 of 768 inspected blades");
    session.sees("against pour.pyrometer_days_since_good_check");
    session.keys("<esc><f9>");
    session.sees("The working");
    assert!(session.screen(120, 40).contains("Benjamini and Hochberg 1995"));
    session.keys("<esc><esc>");
    // From the siblings of a blade their defect comes along; every rate there shows its working.
    session.keys("kM31-040-1<enter>");
    session.sees("What went into");
}

#[test]
fn the_story_of_pores_in_a_terminal() {
    let (_folder, path) = pty::store();
    let mut t = pty::Terminal::screens(&path);
    t.press("v", "any rejection");
    t.press("d", "Which defect?");
    t.picked("micropor", "▸ microporosity");
    t.wait("microporosity by radiograph");
    t.wait("H31-038");
    t.press("a", "blade.position");
    t.picked("heat.n", "▸ heat.N ");
    t.wait("against heat.N");
    t.wait("Association, not cause");
    t.press("\r", "What went into heat H31-038");
    t.press("\x1b", "against heat.N");
    t.press("\x1b", "to be poured");
    t.send("q");
    assert_eq!(t.end(), 0);
}

#[test]
fn what_is_too_small_is_told() {
    let session = Session::demo();
    let mut terminal = Terminal::new(TestBackend::new(40, 10)).unwrap();
    terminal.draw(|f| frame::draw(&session.app, f)).unwrap();
    assert!(terminal.backend().to_string().contains("need 80 by 24"));
}
