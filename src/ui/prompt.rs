//! One line to type over a screen: a tag to find, who works here, why a hold is placed.

use ratatui::Frame;
use ratatui::layout::Rect;
use ratatui::text::Line;

use crate::ui::effect::Effect;
use crate::ui::keys;
use crate::ui::keys::{Key, Press, Shown};
use crate::ui::order::{Failure, Lead, Order, Reply};
use crate::ui::screen::{Change, Context, Screen, unused};
use crate::ui::theme::Role;
use crate::ui::view::{View, dialog, wrap};
use crate::ui::worker::Worker;
use records::catalogue::People;
use records::value::tag;
use records::{Result as Answer, Store};

/// What comes of a line: effects, or the sentence that it will not do.
pub type Taken = Result<Vec<Effect>, String>;

/// Asks whether somebody of this tag is on record.
#[derive(Clone, Debug)]
struct WhoIs(String);

/// Who it is.
enum Person {
    OnRecord(String),
    /// Nobody at all is on record yet: whoever says so is taken at their word.
    Claimed(String),
    /// What is to be said.
    Unknown(String),
}

impl Order for WhoIs {
    type Reply = Person;

    fn perform(&self, worker: &mut Worker) -> Answer<Person> {
        self.known(&worker.store)
    }
}

/// Asks whether who was named where the program was started is on record.
#[derive(Clone, Debug)]
pub(crate) struct Greet(pub(crate) String);

/// What is to be said of it; nothing where the person is known.
pub(crate) struct Greeting(pub(crate) Option<String>);

impl Order for Greet {
    type Reply = Greeting;

    fn perform(&self, worker: &mut Worker) -> Answer<Greeting> {
        Ok(Greeting(match WhoIs(self.0.clone()).known(&worker.store)? {
            Person::Unknown(sentence) => Some(sentence),
            Person::OnRecord(_) | Person::Claimed(_) => None,
        }))
    }
}

impl WhoIs {
    fn known(&self, store: &Store) -> Answer<Person> {
        match store.look_up(&self.0)? {
            Some((People::NAME, _, tag)) => return Ok(Person::OnRecord(tag)),
            Some((kind, _, tag)) => {
                let noun = records::catalogue::kind(kind).map_or("record", |k| k.noun);
                return Ok(Person::Unknown(format!("{tag} is a {noun}, no person")));
            }
            None => {}
        }
        let mut all = Vec::new();
        for person in store.rows::<People>()? {
            all.push(person.address());
        }
        if all.is_empty() {
            return Ok(Person::Claimed(self.0.clone()));
        }
        let near = tag::near(&self.0, all.iter().map(String::as_str)).join(", ");
        let near = if near.is_empty() { String::new() } else { format!("; near it: {near}") };
        Ok(Person::Unknown(format!(
            "there is no person {}{near}. Scan the badge, or type a tag on record",
            tag::shown(&self.0)
        )))
    }
}

/// Where a scanned code goes.
enum Scan {
    /// Behind what is typed, with this between it and the next.
    Text(&'static str),
    /// Of these kinds it begins the line, of others it has no place in it: why.
    First(&'static [&'static str], &'static str),
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
    /// It stays until what comes of it is on record.
    until_written: bool,
    /// It is being written: the line stays until that is done, with what was typed.
    sent: bool,
    /// Leaving was asked for once, with something typed.
    leaving: bool,
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
            until_written: false,
            sent: false,
            leaving: false,
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

    /// A scanned code of these kinds begins the line; no other is a word of it.
    pub fn begins_with(self, kinds: &'static [&'static str], else_why: &'static str) -> Self {
        Self { scan: Scan::First(kinds, else_why), ..self }
    }

    /// A PIN: it is not shown.
    pub fn secret(self) -> Self {
        Self { secret: true, ..self }
    }

    /// What comes of it is written.
    pub fn saves(self) -> Self {
        Self { saves: true, ..self }
    }

    /// What comes of it is one record: where that is refused, nothing that was typed is lost.
    pub fn until_written(self) -> Self {
        Self { until_written: true, saves: true, ..self }
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
        let line =
            Self::new("Who works here?", "Who works here?", hint, |tag, _| Ok(vec![Effect::ask(WhoIs(tag))]));
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
        if self.sent {
            return vec![Effect::say(Role::Look, "it is being saved")];
        }
        match (self.take)(text, now) {
            Ok(effects) if self.stays => effects,
            // What is refused is not lost: the line goes away when it is written.
            Ok(effects) if self.until_written => {
                self.sent = true;
                effects
            }
            Ok(effects) => std::iter::once(Effect::Close).chain(effects).collect(),
            Err(sentence) => vec![Effect::Say(Role::Bad, sentence)],
        }
    }

    fn leave(&mut self, _: &Context) -> Vec<Effect> {
        let typed = self.saves && !self.secret && !self.text.trim().is_empty();
        if typed && !self.leaving {
            self.leaving = true;
            return vec![Effect::say(
                Role::Look,
                "what was typed is not saved: F2 saves it, Esc again leaves it",
            )];
        }
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
        self.leaving &= press == Press::Esc;
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
            (Scan::First(kinds, _), Some((of, tag)))
                if kinds.contains(&of) && self.text.trim().is_empty() =>
            {
                self.text = format!("{tag} ");
                Vec::new()
            }
            (Scan::First(_, why), _) => unused(code, why),
            (Scan::Tag, found) => {
                self.text = found.map_or_else(|| code.to_string(), |(_, tag)| tag);
                self.done(now)
            }
            (Scan::Badge, None) => vec![Effect::ask(WhoIs(code.to_string()))],
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

    fn reply(&mut self, mut reply: Reply, _now: &Context) -> Vec<Effect> {
        match reply.take() {
            Some(Person::OnRecord(tag) | Person::Claimed(tag)) => vec![Effect::SetPerson(tag), Effect::Close],
            Some(Person::Unknown(sentence)) => vec![Effect::Say(Role::Bad, sentence)],
            None => Vec::new(),
        }
    }

    fn changed(&mut self, _change: &Change, mine: bool, _now: &Context) -> Vec<Effect> {
        if mine && std::mem::take(&mut self.sent) { vec![Effect::Close] } else { Vec::new() }
    }

    fn failed(&mut self, _failure: &Failure, _now: &Context) -> Vec<Effect> {
        self.sent = false;
        Vec::new()
    }

    fn takes_text(&self) -> bool {
        true
    }

    fn takes_words(&self) -> bool {
        matches!(self.scan, Scan::Text("") | Scan::First(..)) && !self.secret
    }

    fn letters_begin(&mut self) {
        self.before = Some(self.text.clone());
    }

    fn letters_back(&mut self, _typed: &str, _of: Option<&'static str>, _fast: bool) -> bool {
        // A badge is no word, and no code is a PIN. What is a word of this line comes back by `code`, without the line end
        // behind it: that is no Enter.
        let before = self.before.take();
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
