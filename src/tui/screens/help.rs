//! What each key does: made from the key tables.

use ratatui::Frame;
use ratatui::layout::Rect;
use ratatui::text::Line;

use crate::tui::effect::Effect;
use crate::tui::keys::{self, Key, Press, Shown};
use crate::tui::screens::{Screen, Situation};
use crate::tui::theme::Role;
use crate::tui::view::{View, fit, lines};

/// The page.
pub struct Help {
    of: String,
    own: Vec<Shown>,
    general: Vec<Shown>,
    from: usize,
}

#[derive(Clone, Copy)]
enum Msg {
    Back,
    Up,
    Down,
}

const KEYS: &[Key<Help, Msg>] = &[
    Key {
        on: &[Press::Esc, Press::Enter, Press::Char('?'), Press::F(1)],
        msg: Msg::Back,
        label: "back",
        help: "",
        when: keys::always,
    },
    Key { on: &[Press::Up, Press::PageUp], msg: Msg::Up, label: "up", help: "", when: keys::always },
    Key { on: &[Press::Down, Press::PageDown], msg: Msg::Down, label: "down", help: "", when: keys::always },
];

impl Help {
    /// For a screen, with the keys that work everywhere.
    #[must_use]
    pub fn new(of: String, own: Vec<Shown>, general: Vec<Shown>) -> Self {
        Self { of, own, general, from: 0 }
    }
}

impl Screen for Help {
    fn title(&self) -> String {
        format!("Help: {}", self.of)
    }

    fn keys(&self) -> Vec<Shown> {
        keys::shown(KEYS, self)
    }

    fn press(&mut self, press: Press, _now: &Situation) -> Vec<Effect> {
        match keys::dispatch(KEYS, self, press) {
            Some(Msg::Back) => return vec![Effect::Close],
            Some(Msg::Up) => self.from = self.from.saturating_sub(1),
            Some(Msg::Down) => self.from = (self.from + 1).min(self.own.len() + self.general.len() + 8),
            None => {}
        }
        Vec::new()
    }

    fn is_help(&self) -> bool {
        true
    }

    fn draw(&self, frame: &mut Frame, area: Rect, view: &View) {
        let width = usize::from(area.width);
        let mut rows: Vec<Line<'static>> = Vec::new();
        for (title, table) in [("Here", &self.own), ("On every screen", &self.general)] {
            if table.is_empty() {
                continue;
            }
            rows.push(view.line(Role::Strong, title));
            for k in table {
                let role = if k.works { Role::Text } else { Role::Quiet };
                let now = if k.works { "" } else { " (not now)" };
                rows.push(view.line(role, fit(&format!("  {:10} {}{now}", k.key, k.help), width)));
            }
            rows.push(Line::default());
        }
        for text in [
            "A scanner needs no key: a code goes to the field that fits it, or opens its record.",
            "A code never presses a button. A badge says who works here.",
            "✓ as it should be   ✗ not   ! look at this   ○ not yet   ▸ the chosen line",
            "Decision support: approved specifications, qualified people and local law prevail.",
        ] {
            rows.push(view.line(Role::Quiet, fit(text, width)));
        }
        let from = self.from.min(rows.len().saturating_sub(1));
        lines(frame, area, rows.into_iter().skip(from).collect());
    }
}
