//! Show the working: a layer over any desk that explains its figures. Esc goes back.

use ratatui::Frame;
use ratatui::layout::Rect;

use crate::report::working::Working;
use crate::tui::effect::Effect;
use crate::tui::keys;
use crate::tui::keys::Key;
use crate::tui::keys::Press;
use crate::tui::keys::Shown;
use crate::tui::screens::Screen;
use crate::tui::screens::Situation;
use crate::tui::theme::Role;
use crate::tui::view::View;
use crate::tui::view::lines;
use crate::tui::view::wrap;

/// A page to read, of headings (lines that do not start with a blank) and what stands below them.
pub struct Page {
    title: String,
    text: Vec<String>,
    from: usize,
}

#[derive(Clone, Copy)]
enum Msg {
    Back,
    Move(isize),
}

const KEYS: &[Key<Page, Msg>] = &[
    Key {
        on: &[Press::Esc, Press::Enter, Press::F(9)],
        msg: Msg::Back,
        label: "back",
        help: "Back",
        when: keys::always,
    },
    Key { on: &[Press::Up], msg: Msg::Move(-1), label: "", help: "A line up", when: keys::always },
    Key { on: &[Press::Down], msg: Msg::Move(1), label: "down", help: "A line down", when: keys::always },
    Key { on: &[Press::PageUp], msg: Msg::Move(-10), label: "", help: "A page up", when: keys::always },
    Key { on: &[Press::PageDown], msg: Msg::Move(10), label: "", help: "A page down", when: keys::always },
];

impl Page {
    /// With this text.
    #[must_use]
    pub fn new(title: impl Into<String>, text: &str) -> Self {
        Self { title: title.into(), text: text.lines().map(String::from).collect(), from: 0 }
    }

    /// The working of these figures.
    #[must_use]
    pub fn working(all: &[Working]) -> Self {
        let mut text: Vec<String> = Vec::new();
        for w in all {
            text.extend(w.lines());
            text.push(String::new());
        }
        if all.is_empty() {
            text.push("There is no figure to explain yet: nothing that it needs is typed.".into());
        }
        Self { title: "The working".into(), text, from: 0 }
    }
}

impl Screen for Page {
    fn title(&self) -> String {
        self.title.clone()
    }

    fn keys(&self) -> Vec<Shown> {
        keys::shown(KEYS, self)
    }

    fn press(&mut self, press: Press, _now: &Situation) -> Vec<Effect> {
        match keys::dispatch(KEYS, self, press) {
            Some(Msg::Back) => return vec![Effect::Close],
            Some(Msg::Move(by)) => {
                self.from = self.from.saturating_add_signed(by).min(self.text.len().saturating_sub(1));
            }
            None => {}
        }
        Vec::new()
    }

    fn draw(&self, frame: &mut Frame, area: Rect, view: &View) {
        let width = usize::from(area.width);
        let mut rows = Vec::new();
        for text in self.text.iter().skip(self.from).take(usize::from(area.height)) {
            let role = if text.starts_with(' ') { Role::Text } else { Role::Strong };
            let indent = text.len() - text.trim_start().len();
            // The words of a line that goes on stand below its first word.
            let under = if indent == 2 && text.len() > 11 { 11.min(width / 3) } else { indent };
            let head: String = text.chars().take(under).collect();
            let rest: String = text.chars().skip(under).collect();
            for (k, part) in wrap(&rest, width.saturating_sub(under)).into_iter().enumerate() {
                let before = if k == 0 { head.clone() } else { " ".repeat(under) };
                rows.push(view.line(role, format!("{before}{part}")));
            }
        }
        lines(frame, area, rows);
    }
}
