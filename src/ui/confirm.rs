//! A question over the screen: what is meant stands there; Enter says yes, Esc says no.

use ratatui::Frame;
use ratatui::layout::Rect;

use crate::ui::effect::Effect;
use crate::ui::keys;
use crate::ui::keys::{Key, Press, Shown};
use crate::ui::screen::{Screen, Situation};
use crate::ui::theme::Role;
use crate::ui::view::{View, dialog, wrap};
use records::value::words::counted;

/// The question.
pub struct Question {
    title: String,
    body: Vec<String>,
    yes: Vec<Effect>,
    from: usize,
}

#[derive(Clone, Copy)]
enum Msg {
    Yes,
    No,
    Up,
    Down,
}

const KEYS: &[Key<Question, Msg>] = &[
    Key {
        on: &[Press::Enter, Press::Char('y')],
        msg: Msg::Yes,
        label: "yes",
        help: "Do it",
        when: keys::always,
    },
    Key {
        on: &[Press::Esc, Press::Char('n')],
        msg: Msg::No,
        label: "no",
        help: "Leave it",
        when: keys::always,
    },
    Key { on: &[Press::Up], msg: Msg::Up, label: "", help: "A line up", when: keys::always },
    Key { on: &[Press::Down], msg: Msg::Down, label: "", help: "A line down", when: keys::always },
];

impl Question {
    /// With what follows a yes.
    #[must_use]
    pub fn new(title: String, body: Vec<String>, yes: Vec<Effect>) -> Self {
        Self { title, body, yes, from: 0 }
    }
}

impl Screen for Question {
    fn title(&self) -> String {
        "A question".into()
    }

    fn keys(&self) -> Vec<Shown> {
        keys::shown(KEYS, self)
    }

    fn press(&mut self, press: Press, _now: &Situation) -> Vec<Effect> {
        match keys::dispatch(KEYS, self, press) {
            Some(Msg::Yes) => {
                let mut effects = vec![Effect::Close];
                effects.append(&mut self.yes);
                effects
            }
            Some(Msg::No) => vec![Effect::Close],
            Some(Msg::Up) => {
                self.from = self.from.saturating_sub(1);
                Vec::new()
            }
            Some(Msg::Down) => {
                self.from = (self.from + 1).min(200);
                Vec::new()
            }
            None => Vec::new(),
        }
    }

    fn code(&mut self, code: &str, _found: Option<(&'static str, String)>, _now: &Situation) -> Vec<Effect> {
        vec![Effect::Say(Role::Look, format!("scanned {code}: a question is open; nothing was changed"))]
    }

    fn takes_text(&self) -> bool {
        true
    }

    fn is_dialog(&self) -> bool {
        true
    }

    fn draw(&self, frame: &mut Frame, area: Rect, view: &View) {
        let width = usize::from(area.width).saturating_sub(4);
        let mut body = Vec::new();
        for text in &self.body {
            let role = if text.starts_with('✗') { Role::Bad } else { Role::Text };
            body.extend(wrap(text, width).into_iter().map(|l| view.line(role, format!("  {l}"))));
        }
        // What does not fit is counted, never dropped in silence.
        let room = usize::from(area.height).saturating_sub(3 + wrap(&self.title, width).len()).max(2);
        if body.len() > room {
            let from = self.from.min(body.len() - (room - 1));
            let below = body.len() - (room - 1) - from;
            body = body.into_iter().skip(from).take(room - 1).collect();
            let said = match below {
                0 => "  ↑ the end of it".to_string(),
                n => format!("  ↓ {} below", counted(n, "more line")),
            };
            body.push(view.line(Role::Look, said));
        }
        dialog(frame, area, view, &self.title, body);
    }
}
