//! Answers about causes that were kept: the list, the page as it was read then, the question asked again.

use ratatui::Frame;
use ratatui::layout::Rect;
use ratatui::text::Line;

use crate::jobs::causes::answers::Kept;
use crate::ui::effect::{Ask, Effect, Open, Told};
use crate::ui::keys;
use crate::ui::keys::{Key, Press, Shown};
use crate::ui::screen::{Screen, Situation};
use crate::ui::theme::Role;
use crate::ui::view::{View, fit, lines, window};

/// The screen.
#[derive(Default)]
pub struct Answers {
    all: Option<Vec<Kept>>,
    at: usize,
}

#[derive(Clone, Copy)]
enum Msg {
    Back,
    Read,
    Again,
    Move(isize),
}

fn any(s: &Answers) -> bool {
    s.kept().is_some()
}

const KEYS: &[Key<Answers, Msg>] = &[
    Key {
        on: &[Press::Enter],
        msg: Msg::Read,
        label: "read",
        help: "The answer as it was read when it was kept",
        when: any,
    },
    Key {
        on: &[Press::Char('y')],
        msg: Msg::Again,
        label: "ask again",
        help: "Ask the same question on today's records",
        when: any,
    },
    Key { on: &[Press::Up], msg: Msg::Move(-1), label: "", help: "The answer above", when: keys::always },
    Key { on: &[Press::Down], msg: Msg::Move(1), label: "", help: "The answer below", when: keys::always },
    Key { on: &[Press::PageUp], msg: Msg::Move(-10), label: "", help: "Ten above", when: keys::always },
    Key { on: &[Press::PageDown], msg: Msg::Move(10), label: "", help: "Ten below", when: keys::always },
    Key { on: &[Press::Esc], msg: Msg::Back, label: "back", help: "Back", when: keys::always },
];

impl Answers {
    fn kept(&self) -> Option<&Kept> {
        self.all.as_ref()?.get(self.at)
    }
}

impl Screen for Answers {
    fn title(&self) -> String {
        "Answers kept".into()
    }

    fn keys(&self) -> Vec<Shown> {
        keys::shown(KEYS, self)
    }

    fn begin(&mut self, _now: &Situation) -> Vec<Effect> {
        vec![Effect::Ask(Ask::Answers)]
    }

    fn press(&mut self, press: Press, _now: &Situation) -> Vec<Effect> {
        match keys::dispatch(KEYS, self, press) {
            Some(Msg::Back) => return vec![Effect::Close],
            Some(Msg::Read) => {
                let page = |k: &Kept| Effect::Open(Open::Answer(format!("Answer {}", k.answer), k.text()));
                return self.kept().map(page).into_iter().collect();
            }
            Some(Msg::Again) => {
                let again = |k: &Kept| Effect::Open(Open::Causes(k.ask.clone()));
                return self.kept().map(again).into_iter().collect();
            }
            Some(Msg::Move(by)) => {
                let last = self.all.as_ref().map_or(0, |a| a.len().saturating_sub(1));
                self.at = self.at.saturating_add_signed(by).min(last);
            }
            None => {}
        }
        Vec::new()
    }

    fn told(&mut self, told: &Told, mine: bool, _now: &Situation) -> Vec<Effect> {
        if let (Told::Answers(all), true) = (told, mine) {
            self.all = Some(all.clone());
        }
        Vec::new()
    }

    fn draw(&self, frame: &mut Frame, area: Rect, view: &View) {
        let (width, height) = (usize::from(area.width), usize::from(area.height));
        let rows: Vec<Line> = match &self.all {
            None => vec![view.line(Role::Quiet, "reading …")],
            Some(all) if all.is_empty() => {
                vec![
                    view.line(
                        Role::Quiet,
                        "no answer is kept yet; n on the cause desk keeps one with a note",
                    ),
                ]
            }
            Some(all) => {
                let first = window(self.at, all.len(), height);
                let row = |(i, k): (usize, &Kept)| {
                    let (mark, role) = if i == self.at { ("▸", Role::Strong) } else { (" ", Role::Text) };
                    view.line(role, fit(&format!("{mark} {}", k.line()), width))
                };
                all.iter().enumerate().skip(first).take(height).map(row).collect()
            }
        };
        lines(frame, area, rows);
    }
}
