//! A picture as a grid of characters, each with its role: what a terminal draws.

use unicode_width::{UnicodeWidthChar, UnicodeWidthStr};

use crate::show::picture::{Anchor, Canvas, Fill, Item, Picture, Role, Shape};
use records::value::tag::shown;

/// A character with what it is for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Cell {
    /// The character; NUL behind one that is two columns wide.
    pub glyph: char,
    pub role: Role,
}

/// Rows of cells.
#[derive(Clone, Debug)]
pub struct Grid {
    /// The rows, all of one length.
    pub rows: Vec<Vec<Cell>>,
}

impl Grid {
    /// The grid as text, blanks at the ends cut off.
    pub fn text(&self) -> String {
        let mut out = String::new();
        for row in &self.rows {
            let line: String = row.iter().map(|c| c.glyph).filter(|c| *c != '\0').collect();
            out.push_str(line.trim_end());
            out.push('\n');
        }
        out
    }

    fn put(&mut self, x: f64, y: f64, glyph: char, role: Role) {
        let (c, r) = (x.floor(), y.floor());
        if c < 0.0 || r < 0.0 {
            return;
        }
        if let Some(cell) = self.rows.get_mut(r as usize).and_then(|row| row.get_mut(c as usize)) {
            *cell = Cell { glyph, role };
        }
    }
}

/// Glyphs of a drawing: for terminals with line characters, and for those without.
struct Glyphs {
    across: [char; 3],
    down: [char; 2],
    corner: char,
    corners: [char; 4],
    shapes: [char; 4],
    fills: [char; 4],
}

const LINES: Glyphs = Glyphs {
    across: ['─', '┄', '·'],
    down: ['│', '┊'],
    corner: '└',
    corners: ['┌', '┐', '└', '┘'],
    shapes: ['●', '○', '▲', '◆'],
    fills: [' ', '█', '▒', '·'],
};

const ASCII: Glyphs = Glyphs {
    across: ['-', '=', '.'],
    down: ['|', ':'],
    corner: '+',
    corners: ['+'; 4],
    shapes: ['*', 'o', '^', 'X'],
    fills: [' ', '#', '/', '.'],
};

/// The picture on `width` × `height` characters; `ascii` for terminals without line characters.
pub fn cells(picture: &Picture, width: u16, height: u16, ascii: bool) -> Grid {
    let blank = Cell { glyph: ' ', role: Role::Faint };
    let mut grid = Grid { rows: vec![vec![blank; width.into()]; height.into()] };
    let canvas = Canvas { size: (width.into(), height.into()), letter: (1.0, 1.0) };
    let glyphs = if ascii { ASCII } else { LINES };
    for item in picture.items(canvas) {
        put(&mut grid, &item, &glyphs);
    }
    grid
}

fn put(grid: &mut Grid, item: &Item, glyphs: &Glyphs) {
    match item {
        // a slanted line has no good shape in characters: the marks carry the message
        Item::Path { points, role: Role::Centre } => {
            for p in points {
                grid.put(p.0, p.1, glyphs.across[2], Role::Centre);
            }
        }
        Item::Path { .. } => {}
        Item::Rule { from, to, role } if from.1.floor() == to.1.floor() => {
            let glyph = match role {
                Role::Axis => glyphs.across[0],
                Role::Centre => glyphs.across[2],
                _ => glyphs.across[1],
            };
            let (a, b) = (from.0.min(to.0).floor() as i64, from.0.max(to.0).ceil() as i64);
            for x in a..b.max(a + 1) {
                grid.put(x as f64, from.1, glyph, *role);
            }
            if *role == Role::Axis {
                grid.put(from.0, from.1, glyphs.corner, *role);
            }
        }
        Item::Rule { from, to, role } => {
            let glyph = if *role == Role::Axis { glyphs.down[0] } else { glyphs.down[1] };
            let (a, b) = (from.1.min(to.1).floor() as i64, from.1.max(to.1).floor() as i64);
            for y in a..b {
                grid.put(from.0, y as f64, glyph, *role);
            }
        }
        Item::Mark { at, shape, role, .. } => {
            let glyph = match shape {
                Shape::Dot => glyphs.shapes[0],
                Shape::Ring => glyphs.shapes[1],
                Shape::Triangle => glyphs.shapes[2],
                Shape::Diamond => glyphs.shapes[3],
            };
            grid.put(at.0, at.1, glyph, *role);
        }
        Item::Box { at, size, fill, border, role, .. } => {
            let glyph = match fill {
                Fill::Empty => glyphs.fills[0],
                Fill::Solid => glyphs.fills[1],
                Fill::Hatch => glyphs.fills[2],
                Fill::Dots => glyphs.fills[3],
            };
            let (x0, y0) = ((at.0 + 0.3).floor(), (at.1 + 0.3).floor());
            let (x1, y1) =
                ((at.0 + size.0 + 0.1).floor().max(x0 + 1.0), (at.1 + size.1 + 0.1).floor().max(y0 + 1.0));
            // A box of two lines has room for its upper edge only, one of a single line for its ends.
            let high = y1 - y0;
            let mut y = y0;
            while y < y1 {
                let mut x = x0;
                while x < x1 {
                    let (top, bottom) = (high >= 2.0 && y == y0, high >= 3.0 && y + 1.0 >= y1);
                    let (left, right) = (x == x0, x + 1.0 >= x1);
                    let (glyph, role) = match (top, bottom, left, right) {
                        _ if !*border => (glyph, *role),
                        (true, _, true, _) => (glyphs.corners[0], Role::Axis),
                        (true, _, _, true) => (glyphs.corners[1], Role::Axis),
                        (_, true, true, _) => (glyphs.corners[2], Role::Axis),
                        (_, true, _, true) => (glyphs.corners[3], Role::Axis),
                        (true, ..) | (_, true, ..) => (glyphs.across[0], Role::Axis),
                        (_, _, true, _) | (.., true) => (glyphs.down[0], Role::Axis),
                        _ => (glyph, *role),
                    };
                    grid.put(x, y, glyph, role);
                    x += 1.0;
                }
                y += 1.0;
            }
        }
        Item::Text { at, anchor, text, role } => {
            let text = shown(text);
            let wide = text.width() as f64;
            let mut x = match anchor {
                Anchor::Start => at.0,
                Anchor::Middle => at.0 - ((wide - 1.0) * 0.5).floor(),
                Anchor::End => at.0 - wide + 1.0,
            }
            .floor()
            .max(0.0);
            for c in text.chars() {
                grid.put(x, at.1, c, *role);
                let wide = c.width().unwrap_or(0);
                if wide == 2 {
                    grid.put(x + 1.0, at.1, '\0', *role);
                }
                x += wide as f64;
            }
        }
    }
}
