//! One line to type over a screen: a tag to find, who works here, why a hold is placed.

use ratatui::Frame;
use ratatui::layout::Rect;
use ratatui::text::Line;

use crate::ui::effect::Effect;
use crate::ui::keys;
use crate::ui::keys::{Key, Press, Shown};
use crate::ui::order::{Lead, LookUp};
use crate::ui::screen::{Context, Screen, unused};
use crate::ui::theme::Role;
use crate::ui::view::{View, dialog, wrap};
use records::catalogue::People;

/// What comes of a line: effects, or the sentence that it will not do.
pub type Taken = Result<Vec<Effect>, String>;

/// Where a scanned code goes.
enum Scan {
    /// Behind what is typed, with this between it and the next.
    Text(&'static str),
    /// It is the line.
    Tag,
    Badge,
}

pub struct Prompt {
    title: String,
    question: String,
    hint: &'static str,
    text: String,
    scan: Scan,
    /// What is typed is not shown.
    secret: bool,
    /// Enter alone is an answer.
    blank: bool,
    /// It leads to something that is written: F2 alone takes it.
    saves: bool,
    /// What was typed before the letters that may be a code.
    before: Option<String>,
    stays: bool,
    left: fn() -> Vec<Effect>,
    take: Box<dyn Fn(String, &Context) -> Taken>,
}

type K = Key<Prompt>;

const KEYS: &[K] = &[
    K::on(&[Press::F(2)], Prompt::done).named("save", "Save it").when(|l| l.saves && l.is_answer()),
    K::on(&[Press::Enter, Press::F(2)], Prompt::done)
        .named("done", "Take the line")
        .when(|l| !l.saves && l.is_answer()),
    K::on(&[Press::Enter], |_, _| vec![Effect::say(Role::Look, "F2 saves it")]).when(|l| l.saves),
    K::on(&[Press::Esc], Prompt::leave).named("back", "Leave it"),
];

impl Prompt {
    /// With its title, its question and a hint; what is typed is taken when it is done, and the line goes away.
    pub fn new(
        title: impl Into<String>,
        question: impl Into<String>,
        hint: &'static str,
        take: impl Fn(String, &Context) -> Taken + 'static,
    ) -> Self {
        Self {
            title: title.into(),
            question: question.into(),
            hint,
            text: String::new(),
            scan: Scan::Text(""),
            secret: false,
            blank: false,
            saves: false,
            before: None,
            stays: false,
            left: Vec::new,
            take: Box::new(take),
        }
    }

    /// A scanned code is the line.
    pub fn of_a_tag(self) -> Self {
        Self { scan: Scan::Tag, ..self }
    }

    /// Codes are scanned one after the other.
    pub fn of_tags(self) -> Self {
        Self { scan: Scan::Text(" "), ..self }
    }

    /// A PIN: it is not shown.
    pub fn secret(self) -> Self {
        Self { secret: true, ..self }
    }

    /// What comes of it is written.
    pub fn saves(self) -> Self {
        Self { saves: true, ..self }
    }

    fn is_answer(&self) -> bool {
        self.blank || !self.text.trim().is_empty()
    }

    /// Enter alone is an answer too.
    pub fn or_blank(self) -> Self {
        Self { blank: true, ..self }
    }

    /// Any tag, to open its record.
    pub(crate) fn find() -> Self {
        let hint = "A tag, a label put on later, or an address like coats:M31-070/4";
        Self::new("Find", "Which tag?", hint, |tag, _| Ok(vec![Effect::Show(tag)])).of_a_tag()
    }

    /// Who works here: the store says whether it knows the person.
    pub(crate) fn who() -> Self {
        let hint = "Scan the badge, or type the tag of a person";
        let line = Self::new("Who works here?", "Who works here?", hint, |tag, _| {
            Ok(vec![Effect::ask(LookUp(tag))])
        });
        Self { scan: Scan::Badge, stays: true, ..line }
    }

    /// The PIN that what was ordered needs.
    pub(crate) fn pin() -> Self {
        let hint = "It lasts five minutes without a key, and ends when the badge changes";
        let line =
            Self::new("PIN", "Your PIN", hint, |pin, _| Ok(vec![Effect::Prove(Some(pin))])).secret().saves();
        Self { left: || vec![Effect::Prove(None)], ..line }
    }

    fn done(&mut self, now: &Context) -> Vec<Effect> {
        let text = if self.secret { self.text.clone() } else { self.text.trim().to_string() };
        match (self.take)(text, now) {
            Ok(effects) if self.stays => effects,
            Ok(effects) => std::iter::once(Effect::Close).chain(effects).collect(),
            Err(sentence) => vec![Effect::Say(Role::Bad, sentence)],
        }
    }

    fn leave(&mut self, _: &Context) -> Vec<Effect> {
        std::iter::once(Effect::Close).chain((self.left)()).collect()
    }
}

impl Screen for Prompt {
    fn title(&self) -> String {
        self.title.clone()
    }

    fn keys(&self) -> Vec<Shown> {
        keys::shown(KEYS, self)
    }

    fn press(&mut self, press: Press, now: &Context) -> Vec<Effect> {
        if let Some(act) = keys::meant(KEYS, self, press) {
            return act(self, now);
        }
        keys::typed(&mut self.text, press, 500);
        Vec::new()
    }

    fn code(&mut self, code: &str, found: Lead, now: &Context) -> Vec<Effect> {
        match (&self.scan, found) {
            _ if self.secret => unused(code, "a PIN is asked; Esc leaves it"),
            (Scan::Text(end), _) => {
                self.text.push_str(code);
                self.text.push_str(end);
                Vec::new()
            }
            (Scan::Tag, found) => {
                self.text = found.map_or_else(|| code.to_string(), |(_, tag)| tag);
                self.done(now)
            }
            // No badge of that name: where the store knows nobody, it is taken as claimed when it writes.
            (Scan::Badge, None) => vec![Effect::SetPerson(code.to_string()), Effect::Close],
            (Scan::Badge, Some((of, tag))) => {
                let noun = records::catalogue::kind(of).map_or("record", |k| k.noun);
                vec![Effect::say(Role::Bad, format!("{tag} is a {noun}, no person"))]
            }
        }
    }

    fn paste(&mut self, pasted: &[String], _now: &Context) -> Vec<Effect> {
        self.text.push_str(&pasted.join(" "));
        Vec::new()
    }

    fn takes_text(&self) -> bool {
        true
    }

    fn letters_begin(&mut self) {
        self.before = Some(self.text.clone());
    }

    fn letters_back(&mut self, _typed: &str, of: Option<&'static str>, fast: bool) -> bool {
        // Words that are typed stay where they are; a badge is no word, and no code is a PIN.
        let no_word = self.secret || (of == Some(People::NAME) && fast);
        let before = self.before.take().filter(|_| no_word || !matches!(self.scan, Scan::Text("")));
        before.map(|before| self.text = before).is_some()
    }

    fn is_dialog(&self) -> bool {
        true
    }

    fn wants_person(&self) -> bool {
        matches!(self.scan, Scan::Badge)
    }

    fn draw(&self, frame: &mut Frame, area: Rect, view: &View) {
        let seen = if self.secret { "*".repeat(self.text.chars().count()) } else { self.text.clone() };
        let mut body =
            vec![Line::from(vec![view.span(Role::Text, "  "), view.span(Role::Field, format!("{seen} "))])];
        let parts = wrap(self.hint, usize::from(area.width).saturating_sub(4));
        body.extend(parts.into_iter().map(|l| view.line(Role::Quiet, format!("  {l}"))));
        dialog(frame, area, view, &self.question, body);
    }
}
