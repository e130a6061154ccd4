//! Changing the question of the cause desk: a list to pick from, a line to type.

use ratatui::text::Line;

use crate::ops::causes::Ask;
use crate::ops::causes::Choices;
use crate::tui::keys::Press;
use crate::tui::theme::Role;
use crate::tui::view::{View, fit, window};

/// A part of the question.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Part {
    /// The defect term.
    Defect,
    /// The zone of the finding.
    Zone,
    /// The inspection method.
    Method,
    /// The part that is cast.
    Design,
    /// Poured from here on.
    Since,
    /// Poured until then.
    Until,
    /// Only moulds with this record above them.
    Below,
}

impl Part {
    /// It is picked from a list; otherwise it is typed.
    fn is_list(self) -> bool {
        matches!(self, Self::Defect | Self::Zone | Self::Method | Self::Design)
    }

    fn title(self) -> &'static str {
        match self {
            Self::Defect => "Which defect?",
            Self::Zone => "Found in which zone?",
            Self::Method => "Found by which method?",
            Self::Design => "Of which part?",
            Self::Since => "Poured since which date? (as 2031-04-09; nothing takes the bound away)",
            Self::Until => "Poured until which date? (as 2031-04-09; nothing takes the bound away)",
            Self::Below => "Below which record? Scan or type its tag; nothing takes the bound away",
        }
    }

    fn place(self, ask: &mut Ask) -> &mut Option<String> {
        match self {
            Self::Defect => &mut ask.defect,
            Self::Zone => &mut ask.zone,
            Self::Method => &mut ask.method,
            Self::Design => &mut ask.part,
            Self::Since => &mut ask.since,
            Self::Until => &mut ask.until,
            Self::Below => &mut ask.within,
        }
    }
}

/// What a press did to it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Done {
    /// It stays open.
    Open,
    /// It was left.
    Left,
    /// The question is changed.
    Taken,
}

/// The list or the line that is open.
#[derive(Clone, Debug)]
pub struct Editor {
    /// What it changes.
    pub part: Part,
    /// What was typed.
    pub text: String,
    /// What may be picked: the text and what stands behind it.
    all: Vec<(String, String)>,
    at: usize,
}

impl Editor {
    /// For one part of the question.
    #[must_use]
    pub fn new(part: Part, ask: &mut Ask, choices: Option<&Choices>) -> Self {
        let plain = |names: &[String]| names.iter().map(|n| (n.clone(), String::new())).collect();
        let all: Vec<(String, String)> = match (part, choices) {
            (Part::Defect, Some(c)) => {
                c.defects.iter().map(|(name, n)| (name.clone(), format!("{n} findings"))).collect()
            }
            (Part::Zone, Some(c)) => plain(&c.zones),
            (Part::Method, Some(c)) => plain(&c.methods),
            (Part::Design, Some(c)) => plain(&c.parts),
            _ => Vec::new(),
        };
        let now = part.place(ask).clone();
        let text = if part.is_list() { String::new() } else { now.clone().unwrap_or_default() };
        let at =
            now.and_then(|n| all.iter().position(|(a, _)| a.eq_ignore_ascii_case(&n))).map_or(0, |i| i + 1);
        Self { part, text, all, at }
    }

    /// The lines in sight; the first stands for any.
    fn shown(&self) -> Vec<&(String, String)> {
        let typed = self.text.trim().to_lowercase();
        let mut out: Vec<_> =
            self.all.iter().filter(|(name, _)| name.to_lowercase().contains(&typed)).collect();
        // What is typed in full, then what begins with it, stand first.
        let begins = |name: &str| name.to_lowercase().starts_with(&typed);
        out.sort_by_key(|(name, _)| (!name.eq_ignore_ascii_case(&typed), !begins(name)));
        out
    }

    /// "any" is offered while nothing is typed.
    fn any(&self) -> usize {
        usize::from(self.text.trim().is_empty())
    }

    /// Takes a press.
    pub fn press(&mut self, press: Press, ask: &mut Ask) -> Done {
        let most = (self.shown().len() + self.any()).saturating_sub(1);
        match press {
            Press::Esc => return Done::Left,
            Press::Enter => return self.take(ask),
            Press::Up => self.at = self.at.saturating_sub(1),
            Press::Down => self.at = (self.at + 1).min(most),
            Press::PageUp => self.at = self.at.saturating_sub(8),
            Press::PageDown => self.at = (self.at + 8).min(most),
            Press::Home => self.at = 0,
            Press::End => self.at = most,
            Press::Char(c) if self.text.chars().count() < 200 => {
                self.text.push(c);
                self.at = 0;
            }
            Press::Backspace => {
                self.text.pop();
                self.at = 0;
            }
            Press::Delete => {
                self.text.clear();
                self.at = 0;
            }
            _ => {}
        }
        Done::Open
    }

    /// Takes what is chosen or typed into the question.
    pub fn take(&self, ask: &mut Ask) -> Done {
        let value = if self.part.is_list() {
            if self.at < self.any() {
                None
            } else {
                match self.shown().get(self.at - self.any()) {
                    Some((name, _)) => Some(name.clone()),
                    None => return Done::Open,
                }
            }
        } else {
            Some(self.text.trim().to_string()).filter(|t| !t.is_empty())
        };
        let place = self.part.place(ask);
        if *place == value {
            return Done::Left;
        }
        *place = value;
        Done::Taken
    }

    /// What stands on the screen while it is open.
    #[must_use]
    pub fn rows(&self, width: usize, height: usize, view: &View) -> Vec<Line<'static>> {
        let mut out = vec![view.line(Role::Strong, fit(self.part.title(), width))];
        out.push(Line::from(vec![
            view.span(Role::Text, if self.part.is_list() { "letters narrow the list: " } else { "  " }),
            view.span(Role::Field, format!("{} ", self.text)),
        ]));
        if !self.part.is_list() {
            return out;
        }
        let shown = self.shown();
        let total = shown.len() + self.any();
        if total == 0 {
            out.push(view.line(Role::Look, fit("! none has these letters", width)));
        }
        let room = height.saturating_sub(2);
        let first = window(self.at, total, room);
        for i in first..total.min(first + room) {
            let any = ("any".to_string(), String::new());
            let (name, about) = if i < self.any() { &any } else { shown[i - self.any()] };
            let (mark, role) = if i == self.at { ("▸", Role::Chosen) } else { (" ", Role::Text) };
            out.push(view.line(role, fit(&format!("{mark} {}  {about}", fit(name, 28)), width)));
        }
        out
    }
}
