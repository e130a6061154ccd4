//! The cause desk: a question about bad blades, the ranked causes, the evidence behind the chosen one.

pub(crate) mod draw;
pub mod question;

use std::sync::Arc;

use ratatui::Frame;
use ratatui::layout::Rect;

use crate::jobs::causes::ask::Ask as Asked;
use crate::jobs::causes::ask::Board;
use crate::jobs::causes::screen::question::{Asking, Part};
use crate::ui::effect::{Ask, Effect, Open, Told};
use crate::ui::keys;
use crate::ui::keys::{Key, Press, Shown};
use crate::ui::line::Purpose;
use crate::ui::screen::{Screen, Situation};
use crate::ui::view::View;
use knowledge::causes::Cause;
use knowledge::causes::Watch;

/// Pages of the panel.
pub(crate) const PAGES: usize = 5;

/// What the desk knows.
pub struct CauseDesk {
    question: Asking,
    board: Option<Box<Board>>,
    /// The run that goes on.
    watch: Option<Arc<Watch>>,
    /// Why there is no answer to the question as it stands.
    trouble: Option<String>,
    at: usize,
    page: usize,
    from: usize,
    in_panel: bool,
}

impl Drop for CauseDesk {
    fn drop(&mut self) {
        if let Some(watch) = &self.watch {
            watch.stop();
        }
    }
}

#[derive(Clone, Copy)]
enum Msg {
    Change(Part),
    Rejected,
    Record,
    Keep,
    Kept,
    Charts,
    Working,
    Panel,
    Page,
    PageBefore,
    Stop,
    Back,
    Move(isize),
}

fn runs(desk: &CauseDesk) -> bool {
    desk.watch.is_some()
}

fn rows(desk: &CauseDesk) -> bool {
    desk.cause().is_some()
}

const fn part(
    on: &'static [Press],
    part: Part,
    label: &'static str,
    help: &'static str,
) -> Key<CauseDesk, Msg> {
    Key { on, msg: Msg::Change(part), label, help, when: keys::always }
}

const KEYS: &[Key<CauseDesk, Msg>] = &[
    part(&[Press::Char('d')], Part::Defect, "defect", "Choose the defect"),
    part(&[Press::Char('z')], Part::Zone, "zone", "Choose the zone of the finding"),
    part(&[Press::Char('m')], Part::Method, "method", "Choose the inspection method"),
    part(&[Press::Char('p')], Part::Design, "part", "Choose the part"),
    part(&[Press::Char('s')], Part::Since, "since", "Only what was poured from a date on"),
    part(&[Press::Char('e')], Part::Until, "until", "Only what was poured until a date"),
    part(
        &[Press::Char('b')],
        Part::Below,
        "below",
        "Only what came out of a record: its tag, typed or scanned",
    ),
    Key {
        on: &[Press::Char('x')],
        msg: Msg::Rejected,
        label: "rejected",
        help: "Count findings of rejecting inspections only, or all",
        when: keys::always,
    },
    Key {
        on: &[Press::Tab],
        msg: Msg::Page,
        label: "page",
        help: "The next page of evidence behind the chosen row",
        when: rows,
    },
    Key { on: &[Press::BackTab], msg: Msg::PageBefore, label: "", help: "The page before", when: rows },
    Key {
        on: &[Press::Enter],
        msg: Msg::Panel,
        label: "scroll",
        help: "Scroll the evidence instead of the list, or go back to the list",
        when: rows,
    },
    Key {
        on: &[Press::Char('o')],
        msg: Msg::Record,
        label: "open",
        help: "The record that the chosen row names",
        when: |d| d.tag().is_some(),
    },
    Key {
        on: &[Press::Char('v')],
        msg: Msg::Charts,
        label: "chart",
        help: "The chart desk with this question; a chosen reading is what the rate is held against",
        when: keys::always,
    },
    Key {
        on: &[Press::F(9)],
        msg: Msg::Working,
        label: "",
        help: "Show the working of the chosen row: formula, inputs, records, source, assumptions",
        when: rows,
    },
    Key {
        on: &[Press::Char('n')],
        msg: Msg::Keep,
        label: "note",
        help: "Write the answer down with a note, to be found again",
        when: |d| d.board.is_some() && d.watch.is_none(),
    },
    Key {
        on: &[Press::Char('a')],
        msg: Msg::Kept,
        label: "answers",
        help: "The answers that were kept",
        when: keys::always,
    },
    Key {
        on: &[Press::Char('.'), Press::Esc],
        msg: Msg::Stop,
        label: "stop",
        help: "Stop the ranking; what was there before stays",
        when: runs,
    },
    Key { on: &[Press::Esc], msg: Msg::Back, label: "back", help: "Back", when: keys::always },
    Key { on: &[Press::Up], msg: Msg::Move(-1), label: "", help: "A line up", when: keys::always },
    Key { on: &[Press::Down], msg: Msg::Move(1), label: "", help: "A line down", when: keys::always },
    Key { on: &[Press::PageUp], msg: Msg::Move(-8), label: "", help: "Eight lines up", when: keys::always },
    Key {
        on: &[Press::PageDown],
        msg: Msg::Move(8),
        label: "",
        help: "Eight lines down",
        when: keys::always,
    },
];

impl CauseDesk {
    /// With a question.
    #[must_use]
    pub fn new(ask: Asked) -> Self {
        Self {
            question: Asking::new(ask),
            board: None,
            watch: None,
            trouble: None,
            at: 0,
            page: 0,
            from: 0,
            in_panel: false,
        }
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

    fn stop(&mut self) {
        if let Some(watch) = self.watch.take() {
            watch.stop();
        }
    }

    /// Asks the question; the run before is no longer wanted.
    fn run(&mut self) -> Vec<Effect> {
        self.stop();
        let watch = Arc::new(Watch::default());
        self.watch = Some(watch.clone());
        self.trouble = None;
        vec![Effect::Ask(Ask::Causes(Box::new(self.question.ask.clone()), watch))]
    }

    fn go(&mut self, by: isize) {
        if self.in_panel {
            self.from = self.from.saturating_add_signed(by).min(100_000);
            return;
        }
        self.at = self.at.saturating_add_signed(by).min(self.causes().len().saturating_sub(1));
        self.from = 0;
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

    fn begin(&mut self, _now: &Situation) -> Vec<Effect> {
        let mut effects = vec![Effect::Ask(Ask::CauseChoices)];
        effects.extend(self.run());
        effects
    }

    fn press(&mut self, press: Press, _now: &Situation) -> Vec<Effect> {
        if self.question.is_open() {
            return if self.question.press(press) { self.run() } else { Vec::new() };
        }
        match keys::dispatch(KEYS, self, press) {
            Some(Msg::Change(part)) => self.question.open(part),
            Some(Msg::Rejected) => {
                self.question.ask.rejected = !self.question.ask.rejected;
                return self.run();
            }
            Some(Msg::Record) => {
                return self.tag().map(|t| Effect::Open(Open::Record(t))).into_iter().collect();
            }
            Some(Msg::Charts) => {
                let reading = self.cause().filter(|c| matches!(c.kind, "threshold" | "trend"));
                let reading = reading.map(|c| c.factor.clone());
                return vec![Effect::Open(Open::Charts(self.question.ask.clone(), reading))];
            }
            Some(Msg::Working) => {
                let (Some(board), Some(cause)) = (&self.board, self.cause()) else { return Vec::new() };
                let ranking = &board.answer.ranking;
                let all = crate::jobs::causes::explained::cause(cause, board.detail(cause), ranking);
                return vec![Effect::Open(Open::Working(all))];
            }
            Some(Msg::Keep) => {
                let line = |b: &Board| Effect::Open(Open::Line(Purpose::Keep(Box::new(b.answer.clone()))));
                return self.board.as_deref().map(line).into_iter().collect();
            }
            Some(Msg::Kept) => return vec![Effect::Open(Open::Answers)],
            Some(Msg::Panel) => {
                self.in_panel = !self.in_panel;
                self.from = 0;
            }
            Some(Msg::Page) => (self.page, self.from) = ((self.page + 1) % PAGES, 0),
            Some(Msg::PageBefore) => (self.page, self.from) = ((self.page + PAGES - 1) % PAGES, 0),
            Some(Msg::Stop) => {
                self.stop();
                self.trouble = Some("stopped; any change of the question asks again".into());
            }
            Some(Msg::Back) if self.in_panel => (self.in_panel, self.from) = (false, 0),
            Some(Msg::Back) => {
                self.stop();
                return vec![Effect::Close];
            }
            Some(Msg::Move(by)) => self.go(by),
            None => {}
        }
        Vec::new()
    }

    fn code(&mut self, code: &str, found: Option<(&'static str, String)>, _now: &Situation) -> Vec<Effect> {
        match self.question.scanned(code, found.as_ref()) {
            Some(true) => self.run(),
            Some(false) => Vec::new(),
            None => crate::ui::screen::shown_record(code, found),
        }
    }

    fn paste(&mut self, pasted: &[String], _now: &Situation) -> Vec<Effect> {
        self.question.paste(&pasted.join(" "));
        Vec::new()
    }

    fn told(&mut self, told: &Told, mine: bool, _now: &Situation) -> Vec<Effect> {
        match told {
            Told::Causes(board) if mine && self.watch.is_some() => {
                self.watch = None;
                self.trouble = None;
                self.board = Some(board.clone());
                (self.at, self.from, self.in_panel) = (0, 0, false);
            }
            Told::CauseChoices(choices) if mine => self.question.fill(choices),
            Told::Failed { sentence, .. } if mine => {
                self.watch = None;
                self.trouble = Some(sentence.clone());
            }
            _ => {}
        }
        Vec::new()
    }

    fn charts(&self) -> Option<(Asked, Option<String>)> {
        None
    }

    fn takes_text(&self) -> bool {
        self.question.is_open()
    }

    fn draw(&self, frame: &mut Frame, area: Rect, view: &View) {
        self.draw_desk(frame, area, view);
    }
}
