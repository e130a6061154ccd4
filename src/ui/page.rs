//! A page to read over any desk, such as the working of its figures. Esc goes back.

use ratatui::Frame;
use ratatui::layout::Rect;

use crate::show::working::Working;
use crate::ui::effect::Effect;
use crate::ui::keys;
use crate::ui::keys::{Key, Press, Shown, close};
use crate::ui::list::step;
use crate::ui::screen::{Context, Screen};
use crate::ui::theme::Role;
use crate::ui::view::{View, clocks, lines, wrap};

/// A page to read, of headings (lines that do not start with a blank) and what stands below them.
pub struct Page {
    title: String,
    text: Vec<String>,
    from: usize,
}

type K = Key<Page>;

const KEYS: &[K] = &[
    K::on(&[Press::Esc, Press::Enter, Press::F(9)], close).named("back", "Back"),
    K::on(&[Press::Up], |p, _| p.step(-1)).help("A line up"),
    K::on(&[Press::Down], |p, _| p.step(1)).named("down", "A line down"),
    K::on(&[Press::PageUp], |p, _| p.step(-10)).help("A page up"),
    K::on(&[Press::PageDown], |p, _| p.step(10)).help("A page down"),
];

impl Page {
    pub fn new(title: impl Into<String>, text: &str) -> Self {
        Self { title: title.into(), text: text.lines().map(clocks).collect(), from: 0 }
    }

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

    fn step(&mut self, by: isize) -> Vec<Effect> {
        self.from = step(self.from, by, self.text.len());
        Vec::new()
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

    fn press(&mut self, press: Press, now: &Context) -> Vec<Effect> {
        keys::dispatch(KEYS, self, press, now)
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
