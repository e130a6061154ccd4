//! One line to type: a tag to find, who works here, why a hold is placed.

use ratatui::Frame;
use ratatui::layout::Rect;
use ratatui::text::Line as Text;

use crate::jobs::causes::ask::Answer;
use crate::jobs::lots::dispose::Disposal;
use crate::ui::effect::{Ask, Effect, Open, Told};
use crate::ui::keys;
use crate::ui::keys::{Key, Press, Shown};
use crate::ui::screen::{Screen, Situation};
use crate::ui::theme::Role;
use crate::ui::view::{View, dialog, wrap};
use knowledge::stats::sample_size::Aim;
use records::value::words::counted;

/// What the line is for.
#[derive(Clone, Debug)]
pub enum Purpose {
    /// Open the record of a tag.
    Find,
    /// Say who works here.
    Who,
    /// Trace a tag.
    Trace,
    /// Place a hold on this.
    Hold(String),
    /// Lift the hold on this.
    Lift(String),
    /// One decision on these blades.
    Decide(Vec<String>),
    /// Keep this answer: the note.
    Keep(Box<Answer>),
    /// How many moulds a trial needs.
    Size,
    /// Give moulds their arms in this trial.
    Assign(String),
    /// Sign the summary of this lot: the person's PIN, where one is set.
    Pin(String),
    /// What was ordered needs the person's PIN.
    Prove,
}

/// The line.
pub struct Line {
    purpose: Purpose,
    text: String,
    asked: bool,
}

#[derive(Clone, Copy)]
enum Msg {
    Done,
    Back,
}

const KEYS: &[Key<Line, Msg>] = &[
    Key {
        on: &[Press::Enter],
        msg: Msg::Done,
        label: "done",
        help: "Take the line",
        when: |l| !l.text.trim().is_empty() || matches!(l.purpose, Purpose::Pin(_)),
    },
    Key { on: &[Press::Esc], msg: Msg::Back, label: "back", help: "Leave it", when: keys::always },
];

impl Line {
    /// An empty line.
    #[must_use]
    pub fn new(purpose: Purpose) -> Self {
        Self { purpose, text: String::new(), asked: false }
    }

    /// What is typed, a PIN not.
    fn seen(&self) -> String {
        match self.purpose {
            Purpose::Pin(_) | Purpose::Prove => "*".repeat(self.text.chars().count()),
            _ => self.text.clone(),
        }
    }

    fn done(&mut self, now: &Situation) -> Vec<Effect> {
        let text = self.text.trim().to_string();
        match &self.purpose {
            Purpose::Find => vec![Effect::Close, Effect::Open(Open::Record(text))],
            Purpose::Trace => vec![Effect::Close, Effect::Open(Open::Trace(text))],
            // The store says whether it knows the person.
            Purpose::Who => {
                self.asked = true;
                vec![Effect::Ask(Ask::LookUp(text))]
            }
            Purpose::Pin(lot) => {
                let pin = (!self.text.is_empty()).then(|| self.text.clone());
                vec![Effect::Close, Effect::Ask(Ask::SignLot(now.who.clone(), lot.clone(), pin))]
            }
            Purpose::Prove => vec![Effect::Close, Effect::Prove(Some(self.text.clone()))],
            Purpose::Decide(blades) => decide(blades, &text, now),
            Purpose::Keep(answer) => {
                vec![Effect::Close, Effect::Ask(Ask::KeepAnswer(now.who.clone(), answer.clone(), text))]
            }
            Purpose::Size => match aim(&text) {
                Ok(ask) => vec![Effect::Close, Effect::Ask(ask)],
                Err(sentence) => vec![Effect::Say(Role::Bad, sentence)],
            },
            Purpose::Assign(trial) => {
                vec![Effect::Close, Effect::Ask(Ask::Assign(now.who.clone(), trial.clone(), text))]
            }
            Purpose::Lift(tag) => {
                vec![Effect::Close, Effect::Ask(Ask::Lift(now.who.clone(), tag.clone(), text))]
            }
            Purpose::Hold(tag) => {
                vec![Effect::Close, Effect::Ask(Ask::Hold(now.who.clone(), tag.clone(), text))]
            }
        }
    }
}

const DECISIONS: [&str; 5] = ["accept", "rework", "repair", "scrap", "hold"];

/// The first word is the decision or a concession, the rest the reason; asked once more, for it is on many blades.
fn decide(blades: &[String], text: &str, now: &Situation) -> Vec<Effect> {
    let text = text.strip_prefix("concession ").unwrap_or(text).trim_start();
    let (first, rest) = text.split_once(' ').unwrap_or((text, ""));
    let word = first.to_ascii_lowercase();
    let (decision, concession) = match DECISIONS.iter().find(|d| **d == word) {
        Some(d) => ((*d).to_string(), None),
        None => ("concession".to_string(), Some(first.to_string())),
    };
    let reason = (!rest.trim().is_empty()).then(|| rest.trim().to_string());
    let to = concession.as_deref().map_or(String::new(), |c| format!(" {c}"));
    let body = vec![
        format!("{decision}{to} for {}: {}", counted(blades.len(), "blade"), blades.join(" ")),
        format!("reason: {}", reason.as_deref().unwrap_or("none given")),
    ];
    let ask = Ask::Dispose(now.who.clone(), blades.to_vec(), Disposal { decision, concession, reason });
    vec![
        Effect::Close,
        Effect::Open(Open::Question {
            title: "Write this decision?".into(),
            body,
            yes: vec![Effect::Ask(ask)],
        }),
    ]
}

/// Four numbers of a planned trial.
fn aim(text: &str) -> Result<Ask, String> {
    let numbers: Vec<f64> = text
        .split(|c: char| c.is_whitespace() || c == ';')
        .filter(|w| !w.is_empty())
        .map(|w| w.parse::<f64>().map_err(|_| format!("{w} is no number; such as 0.06 0.03 8 0.05")))
        .collect::<Result<_, _>>()?;
    match numbers.as_slice() {
        [rate, worth_having, per_mould, icc] => Ok(Ask::Size(
            Aim { rate: *rate, worth_having: *worth_having, alpha: 0.05, power: 0.8 },
            *per_mould,
            *icc,
        )),
        other => Err(format!("{} numbers; four are needed, such as 0.06 0.03 8 0.05", other.len())),
    }
}

impl Screen for Line {
    fn title(&self) -> String {
        match &self.purpose {
            Purpose::Find => "Find".into(),
            Purpose::Who => "Who works here?".into(),
            Purpose::Trace => "Trace".into(),
            Purpose::Hold(tag) => format!("Hold {tag}"),
            Purpose::Lift(tag) => format!("Lift the hold on {tag}"),
            Purpose::Pin(lot) => format!("Sign {lot}"),
            Purpose::Prove => "PIN".into(),
            Purpose::Decide(_) => "Disposition".into(),
            Purpose::Keep(_) => "Keep the answer".into(),
            Purpose::Size => "Size of a trial".into(),
            Purpose::Assign(trial) => format!("Arms of {trial}"),
        }
    }

    fn keys(&self) -> Vec<Shown> {
        keys::shown(KEYS, self)
    }

    fn press(&mut self, press: Press, now: &Situation) -> Vec<Effect> {
        match keys::dispatch(KEYS, self, press) {
            Some(Msg::Done) => return self.done(now),
            Some(Msg::Back) if matches!(self.purpose, Purpose::Prove) => {
                return vec![Effect::Close, Effect::Prove(None)];
            }
            Some(Msg::Back) => return vec![Effect::Close],
            None => {}
        }
        match press {
            Press::Char(c) if self.text.chars().count() < 500 => self.text.push(c),
            Press::Backspace => {
                self.text.pop();
            }
            Press::Delete => self.text.clear(),
            _ => {}
        }
        Vec::new()
    }

    fn code(&mut self, code: &str, found: Option<(&'static str, String)>, now: &Situation) -> Vec<Effect> {
        match (&self.purpose, found) {
            (Purpose::Find, Some((_, tag))) => vec![Effect::Close, Effect::Open(Open::Record(tag))],
            (Purpose::Trace, Some((_, tag))) => vec![Effect::Close, Effect::Open(Open::Trace(tag))],
            (Purpose::Find | Purpose::Trace, None) => {
                self.text = code.to_string();
                self.done(now)
            }
            // No badge of that name: where the store knows nobody, it is taken as claimed when it writes.
            (Purpose::Who, None) => vec![Effect::Be(code.to_string()), Effect::Close],
            (Purpose::Who, Some((of, tag))) => {
                let noun = records::catalogue::kind(of).map_or("record", |k| k.noun);
                vec![Effect::Say(Role::Bad, format!("{tag} is a {noun}, no person"))]
            }
            (Purpose::Assign(_), _) => {
                self.text.push_str(&format!("{code} "));
                Vec::new()
            }
            (
                Purpose::Hold(_)
                | Purpose::Lift(_)
                | Purpose::Pin(_)
                | Purpose::Prove
                | Purpose::Decide(_)
                | Purpose::Size
                | Purpose::Keep(_),
                _,
            ) => {
                self.text.push_str(code);
                Vec::new()
            }
        }
    }

    fn paste(&mut self, pasted: &[String], _now: &Situation) -> Vec<Effect> {
        self.text.push_str(&pasted.join(" "));
        Vec::new()
    }

    fn told(&mut self, told: &Told, mine: bool, _now: &Situation) -> Vec<Effect> {
        if matches!(told, Told::Failed { .. }) && mine {
            self.asked = false;
        }
        Vec::new()
    }

    fn takes_text(&self) -> bool {
        true
    }

    fn is_dialog(&self) -> bool {
        true
    }

    fn wants_person(&self) -> bool {
        matches!(self.purpose, Purpose::Who)
    }

    fn draw(&self, frame: &mut Frame, area: Rect, view: &View) {
        let (title, hint) = match &self.purpose {
            Purpose::Find => {
                ("Which tag?".to_string(), "A tag, a label put on later, or an address like coats:M31-070/4")
            }
            Purpose::Trace => ("Trace which tag?".to_string(), "A blade, a mould, a heat, a lot or batch"),
            Purpose::Lift(tag) => (
                format!("Lift the hold on {tag}: why?"),
                "Quality lifts holds; the reason stays in its history",
            ),
            Purpose::Pin(lot) => (
                format!("Sign the summary of {lot}: your PIN"),
                "Enter alone where no PIN is set: then the page says that the name is as claimed",
            ),
            Purpose::Prove => (
                "Your PIN".to_string(),
                "It lasts five minutes without a key, and ends when the badge changes",
            ),
            Purpose::Decide(blades) => (
                format!("Decision on {}, and why", counted(blades.len(), "blade")),
                "accept, rework, repair, scrap, hold, or a concession's tag; then why",
            ),
            Purpose::Keep(answer) => (
                format!("Keep the answer on {}: note", answer.ask.words()),
                "What was made of it; the page is kept as it stands now",
            ),
            Purpose::Size => (
                "Rate now, rate worth having, blades a mould, correlation in a mould".to_string(),
                "Such as 0.06 0.03 8 0.05 (power 80 %, two-sided 5 %)",
            ),
            Purpose::Assign(trial) => (
                format!("Moulds of {trial}, before they are poured"),
                "MOULD or MOULD=BLOCK, one after the other; arms first where there are none yet: B,C",
            ),
            Purpose::Who => ("Who works here?".to_string(), "Scan the badge, or type the tag of a person"),
            Purpose::Hold(tag) => {
                (format!("Hold on {tag}: why?"), "It fences everything that came or comes out of it")
            }
        };
        let mut body = vec![Text::from(vec![
            view.span(Role::Text, "  "),
            view.span(Role::Field, format!("{} ", self.seen())),
        ])];
        let parts = wrap(hint, usize::from(area.width).saturating_sub(4));
        body.extend(parts.into_iter().map(|l| view.line(Role::Quiet, format!("  {l}"))));
        dialog(frame, area, view, &title, body);
    }
}
