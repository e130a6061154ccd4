//! The runs to choose from, each by its number.

use crate::jobs::bench::run::screen::RunScreen;
use crate::jobs::bench::run::table::{RUNS, Run};
use crate::jobs::furnace::dry_screen::Dry;
use crate::ui::kit::*;

/// Opens a run; where it goes into the fire, dry and inspected are asked first.
pub fn open(run: &'static Run) -> Effect {
    match run.dry {
        true => Effect::open(Dry::before_a_run(
            run.line,
            Box::new(move |given| Effect::open(RunScreen::new(run, given))),
        )),
        false => Effect::open(RunScreen::new(run, &[])),
    }
}

/// The list.
#[derive(Default)]
pub struct Runs {
    at: usize,
}

type K = Key<Runs>;

const NUMBER: &str = "The run with this number";

const KEYS: &[K] = &[
    K::on(&[Press::Enter], |r, _| r.choose(r.at)).named("begin", "Open the chosen run"),
    K::on(&[Press::Char('1')], |r, _| r.choose(0)).help(NUMBER),
    K::on(&[Press::Char('2')], |r, _| r.choose(1)).help(NUMBER),
    K::on(&[Press::Char('3')], |r, _| r.choose(2)).help(NUMBER),
    K::on(&[Press::Char('4')], |r, _| r.choose(3)).help(NUMBER),
    K::on(&[Press::Char('5')], |r, _| r.choose(4)).help(NUMBER),
    K::on(&[Press::Char('6')], |r, _| r.choose(5)).help(NUMBER),
    K::on(&[Press::Char('7')], |r, _| r.choose(6)).help(NUMBER),
    K::on(&[Press::Up], |r, _| r.step(-1)).help("The run above"),
    K::on(&[Press::Down], |r, _| r.step(1)).help("The run below"),
    K::on(&[Press::Esc], close).named("back", "Back to the bench"),
];

impl Runs {
    fn choose(&mut self, i: usize) -> Vec<Effect> {
        let Some(run) = RUNS.get(i) else { return Vec::new() };
        vec![Effect::Close, open(run)]
    }

    fn step(&mut self, by: isize) -> Vec<Effect> {
        self.at = step(self.at, by, RUNS.len());
        Vec::new()
    }
}

impl Screen for Runs {
    fn title(&self) -> String {
        "Runs: said once, then each scan records".into()
    }

    fn keys(&self) -> Vec<Shown> {
        keys::shown(KEYS, self)
    }

    fn press(&mut self, press: Press, now: &Context) -> Vec<Effect> {
        keys::dispatch(KEYS, self, press, now)
    }

    fn code(&mut self, code: &str, _found: Lead, _now: &Context) -> Vec<Effect> {
        unused(code, "no run is begun yet")
    }

    fn is_dialog(&self) -> bool {
        true
    }

    fn takes_text(&self) -> bool {
        true
    }

    fn draw(&self, frame: &mut Frame, area: Rect, view: &View) {
        let width = usize::from(area.width).saturating_sub(4);
        let row = |(i, run): (usize, &Run)| {
            let here = i == self.at;
            let text = format!(
                "  {} {}  {} · {} is scanned",
                mark(here),
                i + 1,
                fit(run.name, 22),
                run.scans().noun
            );
            view.line(view.row(here), fit(&text, width))
        };
        let body = RUNS.iter().enumerate().map(row).collect();
        dialog(frame, area, view, "Which run?", body);
    }
}
