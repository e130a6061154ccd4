//! The keys of the furnace desk.

use crate::jobs::bench::screen::Bench;
use crate::jobs::board::screen::Board;
use crate::jobs::causes::ask::Ask;
use crate::jobs::desks;
use crate::jobs::furnace::daily_check_screen::DailyCheck;
use crate::jobs::furnace::oven_screen::OvenRun;
use crate::jobs::furnace::screen::Furnace;
use crate::jobs::furnace::shift;
use crate::jobs::records::orders::hold;
use crate::ui::kit::*;

fn stands(desk: &Furnace) -> bool {
    desk.standing().is_some()
}

fn is_poured(desk: &Furnace) -> bool {
    desk.poured().is_some()
}

fn has_mould(desk: &Furnace) -> bool {
    desk.mould().is_some()
}

type K = Key<Furnace>;

pub(crate) const KEYS: &[K] = &[
    K::on(&[Press::Char('p'), Press::Enter], |d, now| d.pour(now.now))
        .named("pour", "Open the pour form for the chosen mould")
        .when(stands),
    K::on(&[Press::Char('n')], |d, now| d.poured_now(false, now))
        .named("poured", "Record that the chosen mould was poured just now; its details come later")
        .when(stands),
    K::on(&[Press::Char('o')], |d, now| d.poured_now(true, now))
        .named("ran out", "Record that the chosen mould was poured just now and ran out")
        .when(stands),
    K::on(&[Press::Char('e')], |_, _| vec![Effect::open(OvenRun::default())]).named(
        "oven out",
        "Moulds come out of the oven: scan each as it comes; its seconds run from then on",
    ),
    K::on(&[Press::Char('m')], |d, _| d.out())
        .help("The chosen mould comes out of the oven now: mould and oven are shown, F2 records it")
        .when(stands),
    K::on(&[Press::Char('d'), Press::Enter], |d, _| d.details())
        .named("details", "Fill in or change the details of the chosen pour")
        .when(is_poured),
    K::on(&[Press::Char('x')], |d, _| d.wrong())
        .named(
            "wrong",
            "Another mould was poured than the chosen one: its pour and a hold are recorded in one step",
        )
        .when(has_mould),
    K::on(&[Press::Char('2')], |d, _| d.double())
        .named(
            "twice",
            "Two moulds carry the tag of the chosen one: both are fenced, and what tells them apart is shown",
        )
        .when(has_mould),
    K::on(&[Press::Char('f')], |d, _| d.earlier())
        .help("A pour that was forgotten: its time is asked, and why it comes late")
        .when(stands),
    K::on(&[Press::Char('a')], |d, now| d.all_checks(now.now))
        .named("checks", "Every check of the chosen mould in full, those that fail first")
        .when(|d| d.checks().is_some()),
    K::on(&[Press::Char('s')], |_, now| {
        vec![Effect::read(now.now, |store, now| Ok(shift::shift(store, *now)?.text()))]
    })
    .help("What the next shift must know: holds, checks due, crucibles, entries to review"),
    K::on(&[Press::Char('h')], |d, _| d.mould().map(|m| hold(m.into())).into_iter().collect())
        .named("hold", "Fence the chosen mould and everything that comes out of it")
        .when(has_mould),
    K::on(&[Press::Char('c')], |d, _| d.charge())
        .named("charge", "Record what is put into a heat; dry and inspected are asked first"),
    K::on(&[Press::Char('i')], |_, _| vec![Effect::open(DailyCheck::default())])
        .named("check", "The daily check of the pyrometer in use: what its last said, and today's"),
    K::on(&[Press::Char('b')], |_, _| vec![Effect::open(Bench::default())])
        .named("bench", "The forms of every other station"),
    K::on(&[Press::Char('l')], |_, _| vec![desks::releases()])
        .named("lots", "Lots and trials: what may go, what blocks the rest; what a trial says"),
    K::on(&[Press::Char('y')], |_, _| vec![desks::causes(Ask::default())])
        .named("causes", "What made blades bad: the cause desk"),
    K::on(&[Press::Char('g')], |_, _| vec![Effect::open(Board::default())])
        .help("The board: what stands, dries, is due and is held, to be read from afar; the hand-over"),
    K::on(&[Press::Up], |d, now| d.step(-1, now)).help("The line above"),
    K::on(&[Press::Down], |d, now| d.step(1, now)).help("The line below"),
    K::on(&[Press::PageUp], |d, now| d.step(-10, now)).help("A page up"),
    K::on(&[Press::PageDown], |d, now| d.step(10, now)).help("A page down"),
];
