//! The cause desk: a question about bad blades, the ranked causes, the evidence behind the chosen one.

pub(crate) mod draw;
pub mod question;

use std::sync::Arc;

use crate::jobs::causes::answers;
use crate::jobs::causes::answers_screen::Answers;
use crate::jobs::causes::ask;
use crate::jobs::causes::ask::Board;
use crate::jobs::causes::explained;
use crate::jobs::causes::known_show;
use crate::jobs::causes::screen::question::{Asking, Part, ask_choices, change};
use crate::jobs::desks;
use crate::ui::kit::*;
use knowledge::causes::{Cause, Settings, Watch};
use records::Result;

pub(crate) const PAGES: usize = 6;

/// Ranks the causes behind a question; whoever asked can look at the run and stop it.
#[derive(Clone, Debug)]
pub struct Rank {
    pub ask: ask::Ask,
    pub watch: Arc<Watch>,
}

impl Order for Rank {
    /// None where it was stopped.
    type Reply = Option<Board>;

    fn sort(&self) -> Sort {
        Sort::Slow
    }

    fn perform(&self, worker: &mut Worker) -> Result<Option<Board>> {
        let settings = Settings { watch: Some(&self.watch), ..Settings::default() };
        match ask::board(&worker.store, &self.ask, settings) {
            Err(_) if self.watch.is_stopped() => Ok(None),
            ranked => ranked.map(Some),
        }
    }
}

#[derive(Default)]
pub struct CauseDesk {
    question: Asking,
    board: Option<Board>,
    at: usize,
    page: usize,
    from: usize,
    in_panel: bool,
}

fn rows(desk: &CauseDesk) -> bool {
    desk.cause().is_some()
}

type K = Key<CauseDesk>;

const KEYS: &[K] = &[
    K::on(change(Part::Defect), |d, _| d.question.open(Part::Defect)).named("defect", "Choose the defect"),
    K::on(change(Part::Zone), |d, _| d.question.open(Part::Zone))
        .named("zone", "Choose the zone of the finding"),
    K::on(change(Part::Method), |d, _| d.question.open(Part::Method))
        .named("method", "Choose the inspection method"),
    K::on(change(Part::Design), |d, _| d.question.open(Part::Design)).named("part", "Choose the part"),
    K::on(change(Part::Since), |d, _| d.question.open(Part::Since))
        .named("since", "Only what was poured from a date on"),
    K::on(change(Part::Until), |d, _| d.question.open(Part::Until))
        .named("until", "Only what was poured until a date"),
    K::on(change(Part::Below), |d, _| d.question.open(Part::Below))
        .named("below", "Only what came out of a record: its tag, typed or scanned"),
    K::on(&[Press::Char('x')], |d, _| d.reject())
        .named("rejected", "Count findings of rejecting inspections only, or all"),
    K::on(&[Press::Tab], |d, _| d.turn(1))
        .named("page", "The next page of evidence behind the chosen row")
        .when(rows),
    K::on(&[Press::BackTab], |d, _| d.turn(PAGES - 1)).help("The page before").when(rows),
    K::on(&[Press::Enter], |d, _| d.scroll(!d.in_panel))
        .named("scroll", "Scroll the evidence instead of the list, or go back to the list")
        .when(rows),
    K::on(&[Press::Char('o')], |d, _| d.tag().map(Effect::Show).into_iter().collect())
        .named("open", "The record that the chosen row names")
        .when(|d| d.tag().is_some()),
    K::on(&[Press::Char('v')], |d, _| d.chart()).named(
        "chart",
        "The chart desk with this question; a chosen reading is what the rate is held against",
    ),
    K::on(&[Press::F(9)], |d, _| d.working())
        .help("Show the working of the chosen row: formula, inputs, records, source, assumptions")
        .when(rows),
    K::on(&[Press::Char('l')], |d, _| d.known())
        .named("known", "Where to look first: the known causes, and what the records say of each")
        .when(|d| d.board.is_some()),
    K::on(&[Press::Char('n')], |d, _| d.keep())
        .named("note", "Write the answer down with a note, to be found again")
        .when(|d| d.board.is_some() && !d.question.runs()),
    K::on(&[Press::Char('a')], |_, _| vec![Effect::open(Answers::default())])
        .named("answers", "The answers that were kept"),
    K::on(&[Press::Char('.'), Press::Esc], |d, _| d.question.interrupt())
        .named("stop", "Stop the ranking; what was there before stays")
        .when(|d| d.question.runs()),
    K::on(&[Press::Esc], |d, _| d.back()).named("back", "Back"),
    K::on(&[Press::Up], |d, _| d.step(-1)).help("A line up"),
    K::on(&[Press::Down], |d, _| d.step(1)).help("A line down"),
    K::on(&[Press::PageUp], |d, _| d.step(-8)).help("Eight lines up"),
    K::on(&[Press::PageDown], |d, _| d.step(8)).help("Eight lines down"),
];

impl CauseDesk {
    pub fn new(ask: ask::Ask) -> Self {
        Self { question: Asking::new(ask), ..Self::default() }
    }

    fn causes(&self) -> &[Cause] {
        self.board.as_ref().map_or(&[], |b| &b.answer.ranking.causes)
    }

    fn cause(&self) -> Option<&Cause> {
        self.causes().get(self.at)
    }

    /// What the row names, where that can be a record.
    fn tag(&self) -> Option<String> {
        let cause = self.cause().filter(|c| c.kind == "level")?;
        cause.level.clone().filter(|l| l.chars().any(|c| c.is_ascii_digit()) && !l.contains(' '))
    }

    /// Asks the question; the run before is no longer wanted.
    fn run(&mut self) -> Vec<Effect> {
        let watch = self.question.start();
        vec![Effect::ask(Rank { ask: self.question.ask.clone(), watch })]
    }

    fn reject(&mut self) -> Vec<Effect> {
        self.question.ask.rejected = !self.question.ask.rejected;
        self.run()
    }

    fn turn(&mut self, by: usize) -> Vec<Effect> {
        (self.page, self.from) = ((self.page + by) % PAGES, 0);
        Vec::new()
    }

    fn scroll(&mut self, scrolled: bool) -> Vec<Effect> {
        (self.in_panel, self.from) = (scrolled, 0);
        Vec::new()
    }

    fn chart(&self) -> Vec<Effect> {
        let reading = self.cause().filter(|c| matches!(c.kind, "threshold" | "trend"));
        vec![desks::charts(self.question.ask.clone(), reading.map(|c| c.factor.clone()))]
    }

    fn working(&self) -> Vec<Effect> {
        let (Some(board), Some(cause)) = (&self.board, self.cause()) else { return Vec::new() };
        let all = explained::cause(cause, board.detail(cause), &board.answer.ranking);
        vec![Effect::open(Page::working(&all))]
    }

    fn known(&self) -> Vec<Effect> {
        let Some(answer) = self.board.as_ref().map(|b| &b.answer) else { return Vec::new() };
        let page = known_show::page(&answer.known, &answer.ranking);
        vec![Effect::open(Page::new(format!("Where to look first: {}", answer.ask.words()), &page))]
    }

    /// The line for the note with which the answer is kept.
    fn keep(&self) -> Vec<Effect> {
        let Some(answer) = self.board.as_ref().map(|b| b.answer.clone()) else { return Vec::new() };
        let question = format!("Keep the answer on {}: note", answer.ask.words());
        let hint = "What was made of it; the page is kept as it stands now";
        vec![Effect::open(
            Prompt::new("Keep the answer", question, hint, move |note, now| {
                Ok(vec![Effect::write(now, (answer.clone(), note), |store, who, (answer, note)| {
                    let n = answers::keep(store, who, answer, note)?;
                    Ok(Said(Role::Good, format!("kept as answer {n}; a on the cause desk finds it")))
                })])
            })
            .saves(),
        )]
    }

    fn back(&mut self) -> Vec<Effect> {
        if self.in_panel {
            return self.scroll(false);
        }
        vec![Effect::Close]
    }

    fn step(&mut self, by: isize) -> Vec<Effect> {
        if self.in_panel {
            self.from = self.from.saturating_add_signed(by).min(100_000);
            return Vec::new();
        }
        self.at = step(self.at, by, self.causes().len());
        self.from = 0;
        Vec::new()
    }
}

impl Screen for CauseDesk {
    fn title(&self) -> String {
        "Causes".into()
    }

    fn keys(&self) -> Vec<Shown> {
        if self.question.is_open() {
            return Asking::keys();
        }
        keys::shown(KEYS, self)
    }

    fn begin(&mut self, _now: &Context) -> Vec<Effect> {
        let mut effects = vec![ask_choices()];
        effects.extend(self.run());
        effects
    }

    fn press(&mut self, press: Press, now: &Context) -> Vec<Effect> {
        if self.question.is_open() {
            return if self.question.press(press) { self.run() } else { Vec::new() };
        }
        keys::dispatch(KEYS, self, press, now)
    }

    fn code(&mut self, code: &str, found: Lead, _now: &Context) -> Vec<Effect> {
        match self.question.scanned(code, &found) {
            Some(true) => self.run(),
            Some(false) => Vec::new(),
            None => shown_record(code, found),
        }
    }

    fn paste(&mut self, pasted: &[String], _now: &Context) -> Vec<Effect> {
        self.question.paste(&pasted.join(" "));
        Vec::new()
    }

    fn reply(&mut self, mut reply: Reply, _now: &Context) -> Vec<Effect> {
        match reply.take::<Option<Board>>() {
            Some(Some(board)) if self.question.answered() => {
                (self.board, self.at, self.from, self.in_panel) = (Some(board), 0, 0, false);
            }
            Some(_) => {}
            None => self.question.hear(&mut reply),
        }
        Vec::new()
    }

    fn failed(&mut self, failure: &Failure, _now: &Context) -> Vec<Effect> {
        // What a dialog over it asked for says nothing about its run.
        if self.question.runs() { self.question.failed(failure) } else { Vec::new() }
    }

    fn offers(&self, desk: &str) -> Offer {
        if desk == desks::CHARTS { Offer::None } else { Offer::Plain }
    }

    fn letters_begin(&mut self) {
        self.question.letters_begin();
    }

    fn letters_back(&mut self, _typed: &str, _of: Option<&'static str>, _fast: bool) -> bool {
        self.question.letters_back()
    }

    fn takes_text(&self) -> bool {
        self.question.is_open()
    }

    fn draw(&self, frame: &mut Frame, area: Rect, view: &View) {
        self.draw_desk(frame, area, view);
    }
}
