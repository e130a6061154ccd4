//! The question that the cause desk and the chart desk ask, and changing it: a list to pick from, a line to type.

use ratatui::text::Line;

use crate::jobs::causes::ask::Ask;
use crate::jobs::causes::ask::Choices;
use crate::ui::keys::{Press, Shown};
use crate::ui::theme::Role;
use crate::ui::view::{View, fit, walked, window};

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
enum Done {
    /// It stays open.
    Open,
    /// It was left.
    Left,
    /// The question is changed.
    Taken,
}

/// A question, and what is open to change it.
#[derive(Default)]
pub struct Asking {
    /// As it stands.
    pub ask: Ask,
    choices: Option<Choices>,
    editor: Option<Editor>,
}

impl Asking {
    /// With a question.
    #[must_use]
    pub fn new(ask: Ask) -> Self {
        Self { ask, choices: None, editor: None }
    }

    /// A part of it is open.
    #[must_use]
    pub fn is_open(&self) -> bool {
        self.editor.is_some()
    }

    /// Opens a part of it.
    pub fn open(&mut self, part: Part) {
        self.editor = Some(Editor::new(part, &mut self.ask, self.choices.as_ref()));
    }

    /// The keys while a part is open.
    #[must_use]
    pub fn keys() -> Vec<Shown> {
        let key = |key: &str, label, help| Shown { key: key.into(), label, help, works: true };
        vec![
            key("Enter", "take", "Take it"),
            key("↓", "next", "The line below"),
            key("Esc", "leave", "Leave it as it is"),
        ]
    }

    /// Takes a press while a part is open; true where the question is another one now.
    pub fn press(&mut self, press: Press) -> bool {
        let done = self.editor.as_mut().map(|e| e.press(press, &mut self.ask));
        self.settle(done)
    }

    /// Takes a scanned code where a record is asked for: whether the question is another one now. None
    /// where no record is asked for.
    pub fn scanned(&mut self, code: &str, found: Option<&(&'static str, String)>) -> Option<bool> {
        let done = self.editor.as_mut()?.scanned(code, found, &mut self.ask)?;
        Some(self.settle(Some(done)))
    }

    fn settle(&mut self, done: Option<Done>) -> bool {
        if matches!(done, Some(Done::Left | Done::Taken)) {
            self.editor = None;
        }
        done == Some(Done::Taken)
    }

    /// Takes pasted text; false where no part is open.
    pub fn paste(&mut self, pasted: &str) -> bool {
        match &mut self.editor {
            Some(editor) => editor.text.push_str(pasted),
            None => return false,
        }
        true
    }

    /// What may be picked is known now.
    pub fn fill(&mut self, choices: &Choices) {
        if let Some(editor) = &mut self.editor {
            editor.fill(&mut self.ask, choices);
        }
        self.choices = Some(choices.clone());
    }

    /// What stands on the screen while a part is open.
    #[must_use]
    pub fn rows(&self, width: usize, height: usize, view: &View) -> Option<Vec<Line<'static>>> {
        Some(self.editor.as_ref()?.rows(width, height, view))
    }
}

/// The list or the line that is open.
#[derive(Clone, Debug)]
struct Editor {
    /// What it changes.
    part: Part,
    /// What was typed.
    text: String,
    /// What may be picked: the text and what stands behind it.
    all: Vec<(String, String)>,
    /// What may be picked is not known yet.
    waits: bool,
    at: usize,
}

impl Editor {
    /// For one part of the question.
    fn new(part: Part, ask: &mut Ask, choices: Option<&Choices>) -> Self {
        let text = if part.is_list() { None } else { part.place(ask).clone() };
        let mut editor =
            Self { part, text: text.unwrap_or_default(), all: Vec::new(), waits: part.is_list(), at: 0 };
        if let Some(choices) = choices {
            editor.fill(ask, choices);
        }
        editor
    }

    /// What may be picked is known now.
    fn fill(&mut self, ask: &mut Ask, choices: &Choices) {
        let plain = |names: &[String]| names.iter().map(|n| (n.clone(), String::new())).collect();
        self.waits = false;
        self.all = match self.part {
            Part::Defect => {
                choices.defects.iter().map(|(name, n)| (name.clone(), format!("{n} findings"))).collect()
            }
            Part::Zone => plain(&choices.zones),
            Part::Method => plain(&choices.methods),
            Part::Design => plain(&choices.parts),
            Part::Since | Part::Until | Part::Below => Vec::new(),
        };
        // Whoever typed already stands on the first that fits; else on what the question says now.
        if self.text.is_empty() {
            let now = self.part.place(ask).as_deref();
            let at = now.and_then(|n| self.all.iter().position(|(a, _)| a.eq_ignore_ascii_case(n)));
            self.at = at.map_or(0, |i| i + 1);
        }
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
    fn press(&mut self, press: Press, ask: &mut Ask) -> Done {
        let most = (self.shown().len() + self.any()).saturating_sub(1);
        if let Some(at) = walked(self.at, press, most) {
            self.at = at;
            return Done::Open;
        }
        match press {
            Press::Esc => return Done::Left,
            Press::Enter => return self.take(ask),
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

    /// Takes a scanned code where a record is asked for; none where it is not.
    fn scanned(&mut self, code: &str, found: Option<&(&'static str, String)>, ask: &mut Ask) -> Option<Done> {
        if self.part != Part::Below {
            return None;
        }
        self.text = found.map_or_else(|| code.to_string(), |(_, tag)| tag.clone());
        Some(self.take(ask))
    }

    /// Takes what is chosen or typed into the question.
    fn take(&self, ask: &mut Ask) -> Done {
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
    fn rows(&self, width: usize, height: usize, view: &View) -> Vec<Line<'static>> {
        let mut out = vec![view.line(Role::Strong, fit(self.part.title(), width))];
        out.push(Line::from(vec![
            view.span(Role::Text, if self.part.is_list() { "letters narrow the list: " } else { "  " }),
            view.span(Role::Field, format!("{} ", self.text)),
        ]));
        if !self.part.is_list() {
            return out;
        }
        if self.waits {
            out.push(view.line(Role::Look, fit("… reads what there is; Esc leaves it", width)));
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
