//! Colours by role, never the only sign of anything: every coloured mark has its own symbol.

use ratatui::buffer::Buffer;
use ratatui::style::{Color, Modifier, Style};

/// What a piece of text is, as far as its look goes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Role {
    /// Ordinary text.
    Text,
    /// Of less weight.
    Quiet,
    /// Headings and what must be read first.
    Strong,
    /// As it should be.
    Good,
    /// Not as it should be.
    Bad,
    Look,
    /// The chosen line.
    Chosen,
    /// The field that takes what is typed.
    Field,
}

pub const ROLES: [Role; 8] =
    [Role::Text, Role::Quiet, Role::Strong, Role::Good, Role::Bad, Role::Look, Role::Chosen, Role::Field];

/// The surroundings that the screen is made for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Room {
    /// Dark ground: the hot bay.
    Dark,
    /// Light ground: the office.
    Light,
    /// The dark booth: two dim colours on black.
    Booth,
}

/// How many colours the terminal has.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Depth {
    /// None, or `NO_COLOR`.
    None,
    Sixteen,
    Full,
}

/// A look: room, depth, and whether only ASCII may be printed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Theme {
    pub room: Room,
    pub depth: Depth,
    pub ascii: bool,
}

impl Theme {
    /// From the environment, read through `get`.
    pub fn from_environment(get: impl Fn(&str) -> Option<String>) -> Self {
        let set = |name: &str| get(name).filter(|v| !v.is_empty());
        let room = match set("MELTKIN_THEME").as_deref() {
            Some("light") => Room::Light,
            Some("booth") => Room::Booth,
            _ => Room::Dark,
        };
        let depth = if set("NO_COLOR").is_some() || set("TERM").as_deref() == Some("dumb") {
            Depth::None
        } else if set("COLORTERM").is_some_and(|v| v == "truecolor" || v == "24bit") {
            Depth::Full
        } else {
            Depth::Sixteen
        };
        let locale = set("LC_ALL").or_else(|| set("LC_CTYPE")).or_else(|| set("LANG"));
        let utf8 = locale.is_none_or(|l| {
            let l = l.to_ascii_lowercase();
            l.contains("utf-8") || l.contains("utf8")
        });
        Self { room, depth, ascii: set("MELTKIN_ASCII").is_some() || !utf8 }
    }

    /// The next room, for the key that changes it.
    pub fn next(self) -> Self {
        let room = match self.room {
            Room::Dark => Room::Light,
            Room::Light => Room::Booth,
            Room::Booth => Room::Dark,
        };
        Self { room, ..self }
    }

    /// Letter and ground of a role.
    fn pair(self, role: Role) -> (Color, Color) {
        let rgb = Color::Rgb;
        match (self.depth, self.room) {
            (Depth::None, _) => (Color::Reset, Color::Reset),
            (Depth::Full, Room::Dark) => {
                let ground = rgb(20, 22, 26);
                match role {
                    Role::Text => (rgb(214, 216, 218), ground),
                    Role::Quiet => (rgb(150, 156, 164), ground),
                    Role::Strong => (rgb(250, 250, 246), ground),
                    Role::Good => (rgb(126, 200, 132), ground),
                    Role::Bad => (rgb(244, 130, 112), ground),
                    Role::Look => (rgb(236, 190, 96), ground),
                    Role::Chosen => (rgb(250, 250, 246), rgb(52, 66, 84)),
                    Role::Field => (rgb(20, 22, 26), rgb(214, 216, 218)),
                }
            }
            (Depth::Full, Room::Light) => {
                let ground = rgb(246, 245, 240);
                match role {
                    Role::Text => (rgb(40, 42, 46), ground),
                    Role::Quiet => (rgb(92, 96, 102), ground),
                    Role::Strong => (rgb(8, 8, 10), ground),
                    Role::Good => (rgb(22, 104, 46), ground),
                    Role::Bad => (rgb(166, 34, 24), ground),
                    Role::Look => (rgb(124, 84, 0), ground),
                    Role::Chosen => (rgb(8, 8, 10), rgb(202, 214, 228)),
                    Role::Field => (rgb(246, 245, 240), rgb(40, 42, 46)),
                }
            }
            (Depth::Full, Room::Booth) => {
                let (ground, amber, red) = (rgb(0, 0, 0), rgb(170, 110, 40), rgb(216, 72, 60));
                match role {
                    Role::Bad | Role::Look => (red, ground),
                    Role::Chosen | Role::Field => (ground, amber),
                    _ => (amber, ground),
                }
            }
            (Depth::Sixteen, Room::Dark) => match role {
                Role::Text | Role::Quiet => (Color::Gray, Color::Black),
                Role::Strong => (Color::White, Color::Black),
                Role::Good => (Color::LightGreen, Color::Black),
                Role::Bad => (Color::LightRed, Color::Black),
                Role::Look => (Color::LightYellow, Color::Black),
                Role::Chosen => (Color::White, Color::Blue),
                Role::Field => (Color::Black, Color::Gray),
            },
            (Depth::Sixteen, Room::Light) => match role {
                Role::Text | Role::Quiet | Role::Strong | Role::Good => (Color::Black, Color::White),
                Role::Bad => (Color::Red, Color::White),
                Role::Look => (Color::Magenta, Color::White),
                Role::Chosen => (Color::White, Color::Blue),
                Role::Field => (Color::White, Color::Black),
            },
            (Depth::Sixteen, Room::Booth) => match role {
                Role::Bad | Role::Look => (Color::LightRed, Color::Black),
                Role::Chosen | Role::Field => (Color::Black, Color::Yellow),
                _ => (Color::Yellow, Color::Black),
            },
        }
    }

    pub fn style(self, role: Role) -> Style {
        let (letter, ground) = self.pair(role);
        let style = Style::new().fg(letter).bg(ground);
        match role {
            Role::Strong => style.add_modifier(Modifier::BOLD),
            Role::Chosen if self.depth == Depth::None => style.add_modifier(Modifier::BOLD),
            Role::Field if self.depth == Depth::None => style.add_modifier(Modifier::REVERSED),
            _ => style,
        }
    }

    /// Replaces what is not ASCII, where only that may be printed.
    pub fn finish(self, buffer: &mut Buffer) {
        if !self.ascii {
            return;
        }
        for cell in &mut buffer.content {
            if !cell.symbol().is_ascii() {
                let plain = plain(cell.symbol());
                cell.set_symbol(plain);
            }
        }
    }
}

fn plain(symbol: &str) -> &'static str {
    match symbol {
        "✓" => "+",
        "✗" => "x",
        "▸" | "›" | "→" => ">",
        "←" => "<",
        "↑" => "^",
        "↓" => "v",
        "·" | "•" => "-",
        "─" | "–" | "—" => "-",
        "│" => "|",
        "°" => "o",
        "…" => "~",
        "≥" => ">",
        "²" => "2",
        "³" => "3",
        "█" => "#",
        "○" => "o",
        "▲" => "^",
        "├" => "[",
        "┤" => "]",
        "≤" => "<",
        "×" => "x",
        "−" => "-",
        "±" => "+",
        "√" => "V",
        "Σ" => "S",
        "σ" => "s",
        "β" => "b",
        "◆" => "X",
        "●" => "*",
        _ => "?",
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Relative luminance by WCAG 2.1, of sRGB.
    fn luminance((r, g, b): (u8, u8, u8)) -> f64 {
        let lin = |v: u8| {
            let c = f64::from(v) / 255.0;
            if c <= 0.03928 { c / 12.92 } else { ((c + 0.055) / 1.055).powf(2.4) }
        };
        0.2126 * lin(r) + 0.7152 * lin(g) + 0.0722 * lin(b)
    }

    /// The sixteen as xterm ships them (its `XTerm-col.ad`); other terminals differ a little.
    fn rgb(c: Color) -> (u8, u8, u8) {
        match c {
            Color::Rgb(r, g, b) => (r, g, b),
            Color::Black => (0, 0, 0),
            Color::Red => (205, 0, 0),
            Color::Yellow => (205, 205, 0),
            Color::Blue => (0, 0, 238),
            Color::Magenta => (205, 0, 205),
            Color::Gray => (229, 229, 229),
            Color::LightRed => (255, 0, 0),
            Color::LightGreen => (0, 255, 0),
            Color::LightYellow => (255, 255, 0),
            Color::White => (255, 255, 255),
            other => panic!("{other:?} is not among the colours in use"),
        }
    }

    #[test]
    fn every_role_can_be_read() {
        for room in [Room::Dark, Room::Light, Room::Booth] {
            for depth in [Depth::Sixteen, Depth::Full] {
                let theme = Theme { room, depth, ascii: false };
                for role in ROLES {
                    let (letter, ground) = theme.pair(role);
                    let (a, b) = (luminance(rgb(letter)), luminance(rgb(ground)));
                    let contrast = (a.max(b) + 0.05) / (a.min(b) + 0.05);
                    assert!(contrast >= 4.5, "{room:?} {depth:?} {role:?}: {contrast:.2}");
                }
            }
        }
    }

    #[test]
    fn the_environment_is_heard() {
        let with = |pairs: &'static [(&str, &str)]| {
            Theme::from_environment(|n| pairs.iter().find(|(k, _)| *k == n).map(|(_, v)| (*v).to_string()))
        };
        assert_eq!(with(&[("NO_COLOR", "1"), ("COLORTERM", "truecolor")]).depth, Depth::None);
        assert_eq!(with(&[("COLORTERM", "truecolor")]).depth, Depth::Full);
        assert_eq!(with(&[]).depth, Depth::Sixteen);
        assert!(with(&[("LANG", "C")]).ascii);
        assert!(!with(&[("LANG", "en_GB.UTF-8")]).ascii);
        assert_eq!(with(&[("MELTKIN_THEME", "booth")]).room, Room::Booth);
    }

    #[test]
    fn the_booth_has_two_colours() {
        let theme = Theme { room: Room::Booth, depth: Depth::Full, ascii: false };
        let mut seen: Vec<Color> = ROLES.iter().map(|r| theme.pair(*r)).flat_map(|(a, b)| [a, b]).collect();
        seen.sort_by_key(|c| rgb(*c));
        seen.dedup();
        assert_eq!(seen.len(), 3, "two colours and black");
    }
}
