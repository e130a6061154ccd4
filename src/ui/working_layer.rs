//! Show the working: a layer over any desk that explains its figures. Esc goes back.

use ratatui::Frame;
use ratatui::layout::Rect;

use crate::show::working::Working;
use crate::ui::effect::Effect;
use crate::ui::keys;
use crate::ui::keys::Key;
use crate::ui::keys::Press;
use crate::ui::keys::Shown;
use crate::ui::screen::Screen;
use crate::ui::screen::Situation;
use crate::ui::theme::Role;
use crate::ui::view::View;
use crate::ui::view::clocks;
use crate::ui::view::lines;
use crate::ui::view::wrap;

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
        Self { title: title.into(), text: text.lines().map(clocks).collect(), from: 0 }
    }

    /// The working of these figures.
    #[must_use]
    pub fn working(all: &[Working]) -> Self {
        let mut text: Vec<String> = Vec::new();
        for w in all {
            text.extend(w.lines().iter().map(|l| clocks(l)));
            text.push(String::new());
        }
        if all.is_empty() {
            text.push("There is no figure to explain yet: nothing that it needs is typed.".into());
        }
        Self { title: "The working".into(), text, from: 0 }
    }
}

/// A line broken to a width; what goes on stands below the first word behind its label (`  with     n = 3`),
/// else a little further in than the line began.
fn hanging(text: &str, width: usize) -> Vec<String> {
    let indent = text.len() - text.trim_start().len();
    let label = text.get(..11).filter(|head| indent == 2 && head.ends_with("  ")).map(|_| 11);
    let under = label.unwrap_or(if indent == 0 { 0 } else { indent + 2 }).min(width / 3);
    let parts = wrap(text, width);
    let Some((first, rest)) = parts.split_first().filter(|(_, rest)| !rest.is_empty()) else { return parts };
    let rest = rest.join(" ");
    let rest = wrap(&rest, width.saturating_sub(under));
    std::iter::once(first.clone()).chain(rest.into_iter().map(|p| " ".repeat(under) + &p)).collect()
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
            rows.extend(hanging(text, width).into_iter().map(|part| view.line(role, part)));
        }
        lines(frame, area, rows);
    }
}

#[cfg(test)]
mod tests {
    use super::hanging;

    #[test]
    fn lines_of_a_page_keep_their_blanks() {
        let review = "  pours:M31-075: filled in afterwards by OP-11: M31-075, M31-076";
        assert_eq!(
            hanging(review, 32),
            ["  pours:M31-075: filled in", "    afterwards by OP-11:", "    M31-075, M31-076"]
        );
        let with = "  with     inspected = 12 blades of 16 made";
        assert_eq!(hanging(with, 34), ["  with     inspected = 12 blades", "           of 16 made"]);
        // Nothing that was said is lost at any width.
        for width in 12..60 {
            let words = |lines: Vec<String>| lines.join(" ").split_whitespace().collect::<Vec<_>>().join(" ");
            if width >= 18 {
                assert_eq!(words(hanging(review, width)), words(vec![review.into()]), "{width}");
            }
        }
    }
}
