//! Items put down while a picture is laid out.

use crate::show::picture::{Anchor, Canvas, Fill, Item, Role, Shape};
use unicode_width::UnicodeWidthStr;

/// The plane with its items.
pub(crate) struct Plane {
    pub items: Vec<Item>,
    pub canvas: Canvas,
}

/// Where the values are drawn.
#[derive(Clone, Copy)]
pub(crate) struct Area {
    pub left: f64,
    pub right: f64,
    pub top: f64,
    pub bottom: f64,
}

impl Plane {
    pub fn new(canvas: Canvas) -> Self {
        Self { items: Vec::new(), canvas }
    }

    /// The plane is one of characters.
    pub fn is_cells(&self) -> bool {
        self.canvas.letter == (1.0, 1.0)
    }

    /// Width of a text in letters.
    pub fn wide(text: &str) -> f64 {
        text.width() as f64
    }

    /// Title above, cautions below; the room that is left between.
    pub fn frame(&mut self, title: &str, caution: &str) -> Area {
        let (w, h) = self.canvas.size;
        let (lw, lh) = self.canvas.letter;
        let mut top = 0.0;
        if !title.is_empty() {
            self.text((0.0, lh * 0.5), Anchor::Start, &self.fit(title, w), Role::Ink);
            top = lh * 1.5;
        }
        let mut bottom = h;
        if !caution.is_empty() {
            self.text((0.0, h - lh * 0.5), Anchor::Start, &self.fit(caution, w), Role::Caution);
            bottom -= lh;
        }
        Area { left: 0.0, right: w - lw * 0.5, top, bottom }
    }

    /// The text cut to a width of the plane, with a mark where something was cut off.
    pub fn fit(&self, text: &str, width: f64) -> String {
        let most = (width / self.canvas.letter.0).floor() as usize;
        if text.width() <= most {
            return text.to_string();
        }
        let mut out = String::new();
        for c in text.chars() {
            if out.width() + 2 > most {
                break;
            }
            out.push(c);
        }
        out.push('~');
        out
    }

    pub fn rule(&mut self, from: (f64, f64), to: (f64, f64), role: Role) {
        self.items.push(Item::Rule { from, to, role });
    }

    pub fn text(&mut self, at: (f64, f64), anchor: Anchor, text: &str, role: Role) {
        if !text.is_empty() {
            self.items.push(Item::Text { at, anchor, text: text.to_string(), role });
        }
    }

    pub fn mark(&mut self, at: (f64, f64), shape: Shape, role: Role, words: String) {
        self.items.push(Item::Mark { at, shape, role, words });
    }

    pub fn fill(&mut self, at: (f64, f64), size: (f64, f64), fill: Fill, border: bool, words: String) {
        self.items.push(Item::Box { at, size, fill, border, role: Role::Data, words });
    }

    /// The left and lower edge of an area.
    pub fn edges(&mut self, area: Area) {
        self.rule((area.left, area.top), (area.left, area.bottom), Role::Axis);
        self.rule((area.left, area.bottom), (area.right, area.bottom), Role::Axis);
    }
}
