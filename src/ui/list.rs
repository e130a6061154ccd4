//! Lists: where the cursor stands in one, the rows in sight, letters that narrow one.

use ratatui::text::Line;

use crate::ui::effect::Effect;
use crate::ui::keys::{Press, typed};
use crate::ui::theme::Role;
use crate::ui::view::{View, fit, window};

/// A list with a cursor; nothing is known of it until it is filled.
pub struct List<T> {
    rows: Option<Vec<T>>,
    pub at: usize,
}

impl<T> Default for List<T> {
    fn default() -> Self {
        Self { rows: None, at: 0 }
    }
}

impl<T> From<Vec<T>> for List<T> {
    fn from(rows: Vec<T>) -> Self {
        Self { rows: Some(rows), at: 0 }
    }
}

impl<T> List<T> {
    pub fn is_known(&self) -> bool {
        self.rows.is_some()
    }

    /// Empty until it is filled.
    pub fn rows(&self) -> &[T] {
        self.rows.as_deref().unwrap_or_default()
    }

    /// The cursor stays where it was, as far as it can.
    pub fn fill(&mut self, rows: Vec<T>) {
        self.at = self.at.min(rows.len().saturating_sub(1));
        self.rows = Some(rows);
    }

    pub fn chosen(&self) -> Option<&T> {
        self.rows().get(self.at)
    }

    /// Moves the cursor: an act of a key table, which asks for nothing.
    pub fn step(&mut self, by: isize) -> Vec<Effect> {
        self.at = step(self.at, by, self.rows().len());
        Vec::new()
    }

    /// The rows that fit into so many lines, the chosen one among them: each as the screen words it.
    pub fn lines(
        &self,
        height: usize,
        row: impl Fn(&T, &'static str, bool) -> Line<'static>,
    ) -> Vec<Line<'static>> {
        let seen = in_sight(self.at, self.rows().len(), height);
        seen.map(|i| row(&self.rows()[i], mark(i == self.at), i == self.at)).collect()
    }
}

/// Where a cursor in a list of so many stands after so many steps.
pub fn step(at: usize, by: isize, of: usize) -> usize {
    at.saturating_add_signed(by).min(of.saturating_sub(1))
}

/// The hand in front of the chosen row.
pub fn mark(chosen: bool) -> &'static str {
    if chosen { "▸" } else { " " }
}

/// The places of the rows in sight.
pub fn in_sight(at: usize, of: usize, height: usize) -> std::ops::Range<usize> {
    let from = window(at, of, height);
    from..of.min(from + height)
}

/// What a press did to a list that letters narrow.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Pick {
    Open,
    Left,
    /// What stands at the cursor, or what is typed, is taken.
    Taken,
}

/// The letters that narrow a list, and the cursor among what is left of it.
#[derive(Clone, Debug, Default)]
pub struct Narrowing {
    pub text: String,
    pub at: usize,
}

impl Narrowing {
    /// Takes a press, where so many rows are left.
    pub fn press(&mut self, press: Press, left: usize) -> Pick {
        let last = left.saturating_sub(1);
        match press {
            Press::Up => self.at = self.at.saturating_sub(1),
            Press::Down => self.at = (self.at + 1).min(last),
            Press::PageUp => self.at = self.at.saturating_sub(8),
            Press::PageDown => self.at = (self.at + 8).min(last),
            Press::Home => self.at = 0,
            Press::End => self.at = last,
            Press::Esc => return Pick::Left,
            Press::Enter => return Pick::Taken,
            _ => {
                if typed(&mut self.text, press, 200) {
                    self.at = 0;
                }
            }
        }
        Pick::Open
    }

    pub fn paste(&mut self, pasted: &str) {
        if self.text.chars().count() < 200 {
            self.text.push_str(pasted);
        }
        self.at = 0;
    }

    /// What is typed, as names are compared with it.
    pub fn letters(&self) -> String {
        self.text.trim().to_lowercase()
    }

    /// The question, and the line that is typed.
    pub fn head(&self, title: &str, before: &str, width: usize, view: &View) -> Vec<Line<'static>> {
        let typed = vec![view.span(Role::Text, before), view.span(Role::Field, format!("{} ", self.text))];
        vec![view.line(Role::Strong, fit(title, width)), Line::from(typed)]
    }

    /// The question, the letters, and what is left of the list: a name and what is said of it; none while it is not known
    /// yet.
    pub fn lines(
        &self,
        title: &str,
        left: Option<&[(&str, &str)]>,
        name_width: usize,
        (width, height): (usize, usize),
        view: &View,
    ) -> Vec<Line<'static>> {
        let mut out = self.head(title, "letters narrow the list: ", width, view);
        let Some(left) = left else {
            out.push(view.line(Role::Look, fit("… reads what there is; Esc leaves it", width)));
            return out;
        };
        if left.is_empty() {
            out.push(view.line(Role::Look, fit("! none has these letters", width)));
        }
        for i in in_sight(self.at, left.len(), height.saturating_sub(2)) {
            let (name, about) = left[i];
            let text = format!("{} {}  {about}", mark(i == self.at), fit(name, name_width));
            out.push(view.line(view.row(i == self.at), fit(&text, width)));
        }
        out
    }
}
