//! The question that the cause desk and the chart desk ask, and changing it: a list to pick from, a line to type.

use std::sync::Arc;

use crate::jobs::causes::ask::{Ask, Choices, choices};
use crate::ui::keys::plain;
use crate::ui::kit::*;
use knowledge::causes::Watch;

/// Asks what a question may ask for.
pub fn ask_choices() -> Effect {
    Effect::ask(Read::new((), |store, ()| choices(store)).slow())
}

/// A part of the question.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Part {
    Defect,
    Zone,
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

/// The key that opens a part of the question, on every desk that asks it.
pub const fn change(part: Part) -> &'static [Press] {
    match part {
        Part::Defect => &[Press::Char('d')],
        Part::Zone => &[Press::Char('z')],
        Part::Method => &[Press::Char('m')],
        Part::Design => &[Press::Char('p')],
        Part::Since => &[Press::Char('s')],
        Part::Until => &[Press::Char('e')],
        Part::Below => &[Press::Char('b')],
    }
}

/// A question, what is open to change it, and the run that answers it.
#[derive(Default)]
pub struct Asking {
    /// As it stands.
    pub ask: Ask,
    choices: Option<Choices>,
    editor: Option<Editor>,
    /// The run that goes on.
    pub run: Option<Arc<Watch>>,
    /// Why there is no answer to the question as it stands.
    pub trouble: Option<String>,
}

impl Drop for Asking {
    fn drop(&mut self) {
        self.stop();
    }
}

impl Asking {
    pub fn new(ask: Ask) -> Self {
        Self { ask, choices: None, editor: None, run: None, trouble: None }
    }

    /// A new run; the one before is no longer wanted.
    pub fn start(&mut self) -> Arc<Watch> {
        self.stop();
        self.trouble = None;
        self.run.insert(Arc::default()).clone()
    }

    pub fn stop(&mut self) {
        if let Some(run) = self.run.take() {
            run.stop();
        }
    }

    /// The person does not want to wait.
    pub fn interrupt(&mut self) -> Vec<Effect> {
        self.stop();
        self.trouble = Some("stopped; any change of the question asks again".into());
        Vec::new()
    }

    pub fn runs(&self) -> bool {
        self.run.is_some()
    }

    /// The run is over; false where none was waited for.
    pub fn answered(&mut self) -> bool {
        self.trouble = self.trouble.take().filter(|_| !self.runs());
        self.run.take().is_some()
    }

    pub fn failed(&mut self, failure: &Failure) -> Vec<Effect> {
        (self.run, self.trouble) = (None, Some(failure.sentence.clone()));
        Vec::new()
    }

    /// What is shown answers the question as it stands.
    pub fn is_current(&self) -> bool {
        self.run.is_none() && self.trouble.is_none()
    }

    /// What keeps an answer from being shown, below the question in words.
    pub fn trouble_lines(&self, width: usize, view: &View) -> Vec<Line<'static>> {
        let text = self.trouble.as_ref().map(|t| format!("✗ {t}"));
        text.into_iter().flat_map(|t| view.wrapped(Role::Bad, &t, width)).take(3).collect()
    }

    /// A part of it is open.
    pub fn is_open(&self) -> bool {
        self.editor.is_some()
    }

    pub fn open(&mut self, part: Part) -> Vec<Effect> {
        self.editor = Some(Editor::new(part, &mut self.ask, self.choices.as_ref()));
        Vec::new()
    }

    /// The keys while a part is open.
    pub fn keys() -> Vec<Shown> {
        vec![
            plain("Enter", "take", "Take it"),
            plain("↓", "next", "The line below"),
            plain("Esc", "leave", "Leave it as it is"),
        ]
    }

    /// Takes a press while a part is open; true where the question is another one now.
    pub fn press(&mut self, press: Press) -> bool {
        let done = self.editor.as_mut().map(|e| e.press(press, &mut self.ask));
        self.settle(done)
    }

    /// Takes a scanned code where a record is asked for: whether the question is another one now. None
    /// where no record is asked for.
    pub fn scanned(&mut self, code: &str, found: &Lead) -> Option<bool> {
        let done = self.editor.as_mut()?.scanned(code, found, &mut self.ask)?;
        Some(self.settle(Some(done)))
    }

    fn settle(&mut self, done: Option<Pick>) -> bool {
        if matches!(done, Some(Pick::Left | Pick::Taken)) {
            self.editor = None;
        }
        done == Some(Pick::Taken)
    }

    /// Letters are about to be typed into the open part.
    pub fn letters_begin(&mut self) {
        if let Some(editor) = &mut self.editor {
            editor.before.clone_from(&editor.typed.text);
        }
    }

    /// They were a code: it is taken out again. False where the part asks for no record.
    pub fn letters_back(&mut self) -> bool {
        let below = self.editor.as_mut().filter(|e| matches!(e.part, Part::Below));
        below.map(|e| e.typed.text.clone_from(&e.before)).is_some()
    }

    /// Takes pasted text; false where no part is open.
    pub fn paste(&mut self, pasted: &str) -> bool {
        match &mut self.editor {
            Some(editor) => editor.typed.text.push_str(pasted),
            None => return false,
        }
        true
    }

    /// What may be picked is known now.
    pub fn hear(&mut self, reply: &mut Reply) {
        if reply.put(&mut self.choices) {
            if let (Some(editor), Some(choices)) = (&mut self.editor, &self.choices) {
                editor.fill(&mut self.ask, choices);
            }
        }
    }

    /// What stands on the screen while a part is open.
    pub fn rows(&self, width: usize, height: usize, view: &View) -> Option<Vec<Line<'static>>> {
        Some(self.editor.as_ref()?.rows(width, height, view))
    }
}

/// The list or the line that is open.
#[derive(Clone, Debug)]
struct Editor {
    part: Part,
    typed: Narrowing,
    /// What was typed before the letters that may be a code.
    before: String,
    /// What may be picked: the text and what stands behind it; none while it is not known yet.
    all: Option<Vec<(String, String)>>,
}

impl Editor {
    fn new(part: Part, ask: &mut Ask, choices: Option<&Choices>) -> Self {
        let text = if part.is_list() { None } else { part.place(ask).clone() };
        let typed = Narrowing { text: text.unwrap_or_default(), at: 0 };
        let mut editor = Self { part, typed, before: String::new(), all: None };
        if let Some(choices) = choices {
            editor.fill(ask, choices);
        }
        editor
    }

    /// What may be picked is known now.
    fn fill(&mut self, ask: &mut Ask, choices: &Choices) {
        let plain = |names: &[String]| names.iter().map(|n| (n.clone(), String::new())).collect();
        let all: Vec<(String, String)> = match self.part {
            Part::Defect => {
                choices.defects.iter().map(|(name, n)| (name.clone(), format!("{n} findings"))).collect()
            }
            Part::Zone => plain(&choices.zones),
            Part::Method => plain(&choices.methods),
            Part::Design => plain(&choices.parts),
            Part::Since | Part::Until | Part::Below => Vec::new(),
        };
        // Whoever typed already stands on the first that fits; else on what the question says now.
        if self.typed.text.is_empty() {
            let now = self.part.place(ask).as_deref();
            let at = now.and_then(|n| all.iter().position(|(a, _)| a.eq_ignore_ascii_case(n)));
            self.typed.at = at.map_or(0, |i| i + 1);
        }
        self.all = Some(all);
    }

    /// The lines in sight; while nothing is typed the first stands for any.
    fn shown(&self) -> Vec<(&str, &str)> {
        let typed = self.typed.letters();
        let all = self.all.iter().flatten().map(|(name, about)| (name.as_str(), about.as_str()));
        let mut out: Vec<_> = all.filter(|(name, _)| name.to_lowercase().contains(&typed)).collect();
        // What is typed in full, then what begins with it, stand first.
        let begins = |name: &str| name.to_lowercase().starts_with(&typed);
        out.sort_by_key(|(name, _)| (!name.eq_ignore_ascii_case(&typed), !begins(name)));
        if typed.is_empty() {
            out.insert(0, ("any", ""));
        }
        out
    }

    fn press(&mut self, press: Press, ask: &mut Ask) -> Pick {
        match self.typed.press(press, self.shown().len()) {
            Pick::Taken => self.take(ask),
            other => other,
        }
    }

    /// Takes a scanned code where a record is asked for; none where it is not.
    fn scanned(&mut self, code: &str, found: &Lead, ask: &mut Ask) -> Option<Pick> {
        if self.part != Part::Below {
            return None;
        }
        self.typed.text = found.as_ref().map_or_else(|| code.to_string(), |(_, tag)| tag.clone());
        Some(self.take(ask))
    }

    /// Takes what is chosen or typed into the question.
    fn take(&self, ask: &mut Ask) -> Pick {
        let any = self.typed.letters().is_empty() && self.typed.at == 0;
        let value = match (self.part.is_list(), self.shown().get(self.typed.at)) {
            (true, _) if any => None,
            (true, Some((name, _))) => Some((*name).to_string()),
            (true, None) => return Pick::Open,
            (false, _) => Some(self.typed.text.trim().to_string()).filter(|t| !t.is_empty()),
        };
        let place = self.part.place(ask);
        if *place == value {
            return Pick::Left;
        }
        *place = value;
        Pick::Taken
    }

    /// What stands on the screen while it is open.
    fn rows(&self, width: usize, height: usize, view: &View) -> Vec<Line<'static>> {
        if !self.part.is_list() {
            return self.typed.head(self.part.title(), "  ", width, view);
        }
        let shown = self.all.as_ref().map(|_| self.shown());
        self.typed.lines(self.part.title(), shown.as_deref(), 28, (width, height), view)
    }
}
