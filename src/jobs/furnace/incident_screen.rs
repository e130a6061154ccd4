//! A mishap at the furnace. The melter says which mould it really was; Enter records it in one step.

use ratatui::Frame;
use ratatui::layout::Rect;

use crate::jobs::furnace::incident::Evidence;
use crate::jobs::furnace::incident::WrongMould;
use crate::ui::effect::Ask;
use crate::ui::effect::Effect;
use crate::ui::effect::Told;
use crate::ui::keys;
use crate::ui::keys::Key;
use crate::ui::keys::Press;
use crate::ui::keys::Shown;
use crate::ui::screen::Screen;
use crate::ui::screen::Situation;
use crate::ui::theme::Role;
use crate::ui::view::View;
use crate::ui::view::clock;
use crate::ui::view::clocks;
use crate::ui::view::fit;
use crate::ui::view::lines;
use crate::ui::view::window;
use crate::ui::view::wrap;
use records::value::tag::folded;

/// What happened.
#[derive(Clone, Debug)]
pub enum What {
    /// Another mould was poured than the one that was meant.
    Wrong(WrongMould),
    /// Two moulds carry this tag.
    Double(String),
}

/// The mishap, and the moulds that it may be about.
pub struct Mishap {
    what: What,
    moulds: Vec<String>,
    /// The chosen one; `moulds.len()` is "not known", for a tag on two moulds.
    at: usize,
    evidence: Vec<Evidence>,
    saving: bool,
}

#[derive(Clone, Copy)]
enum Msg {
    Record,
    Back,
    Move(isize),
}

const KEYS: &[Key<Mishap, Msg>] = &[
    Key {
        on: &[Press::Enter],
        msg: Msg::Record,
        label: "record it",
        help: "Record what happened, all in one step",
        when: |m| !m.saving && (m.at < m.moulds.len() || matches!(m.what, What::Double(_))),
    },
    Key {
        on: &[Press::Down],
        msg: Msg::Move(1),
        label: "next mould",
        help: "The mould below",
        when: keys::always,
    },
    Key { on: &[Press::Up], msg: Msg::Move(-1), label: "", help: "The mould above", when: keys::always },
    Key {
        on: &[Press::PageDown],
        msg: Msg::Move(10),
        label: "",
        help: "Ten further down",
        when: keys::always,
    },
    Key { on: &[Press::PageUp], msg: Msg::Move(-10), label: "", help: "Ten further up", when: keys::always },
    Key {
        on: &[Press::Esc],
        msg: Msg::Back,
        label: "back",
        help: "Leave it; nothing is recorded",
        when: keys::always,
    },
];

impl Mishap {
    /// With the moulds that stand there; the one that it is about is left out.
    #[must_use]
    pub fn new(what: What, mut moulds: Vec<String>) -> Self {
        let about = folded(match &what {
            What::Wrong(w) => &w.planned,
            What::Double(tag) => tag,
        });
        moulds.retain(|m| folded(m) != about);
        Self { what, moulds, at: 0, evidence: Vec::new(), saving: false }
    }

    fn ask_evidence(&mut self) -> Vec<Effect> {
        self.evidence.clear();
        match (&self.what, self.moulds.get(self.at)) {
            (What::Double(tag), Some(other)) => vec![Effect::Ask(Ask::Evidence(tag.clone(), other.clone()))],
            _ => Vec::new(),
        }
    }

    fn record(&mut self, now: &Situation) -> Vec<Effect> {
        let other = self.moulds.get(self.at).cloned();
        self.saving = true;
        match (&self.what, other) {
            (What::Wrong(w), Some(really)) => {
                let what = WrongMould { really, ..w.clone() };
                vec![Effect::Ask(Ask::WrongMould(now.who.clone(), what))]
            }
            (What::Double(tag), other) => {
                vec![Effect::Ask(Ask::DoubleTag(now.who.clone(), tag.clone(), other))]
            }
            (What::Wrong(_), None) => {
                self.saving = false;
                Vec::new()
            }
        }
    }
}

impl Screen for Mishap {
    fn title(&self) -> String {
        match &self.what {
            What::Wrong(w) => format!("Wrong mould poured, not {}", w.planned),
            What::Double(tag) => format!("Two moulds carry {tag}"),
        }
    }

    fn keys(&self) -> Vec<Shown> {
        keys::shown(KEYS, self)
    }

    fn begin(&mut self, _now: &Situation) -> Vec<Effect> {
        self.ask_evidence()
    }

    fn press(&mut self, press: Press, now: &Situation) -> Vec<Effect> {
        match keys::dispatch(KEYS, self, press) {
            Some(Msg::Record) => self.record(now),
            Some(Msg::Back) => vec![Effect::Close],
            Some(Msg::Move(by)) => {
                let last = match self.what {
                    What::Wrong(_) => self.moulds.len().saturating_sub(1),
                    What::Double(_) => self.moulds.len(),
                };
                self.at = self.at.saturating_add_signed(by).min(last);
                self.ask_evidence()
            }
            None => Vec::new(),
        }
    }

    fn code(&mut self, code: &str, found: Option<(&'static str, String)>, _now: &Situation) -> Vec<Effect> {
        match found {
            Some(("moulds", tag)) => {
                let place = self.moulds.iter().position(|m| folded(m) == folded(&tag));
                self.at = place.unwrap_or_else(|| {
                    self.moulds.insert(0, tag.clone());
                    0
                });
                let mut out = self.ask_evidence();
                out.push(Effect::Say(Role::Good, format!("scanned {tag}")));
                out
            }
            Some((_, tag)) => {
                vec![Effect::Say(Role::Look, format!("{tag} is no mould; nothing was changed"))]
            }
            None => vec![crate::ui::screen::unknown(code)],
        }
    }

    fn told(&mut self, told: &Told, mine: bool, _now: &Situation) -> Vec<Effect> {
        match told {
            Told::Evidence(evidence) if mine => self.evidence.clone_from(evidence),
            Told::Logged(_) if mine => return vec![Effect::Close],
            Told::Failed { .. } if mine => self.saving = false,
            _ => {}
        }
        Vec::new()
    }

    fn takes_text(&self) -> bool {
        true
    }

    fn draw(&self, frame: &mut Frame, area: Rect, view: &View) {
        let width = usize::from(area.width);
        let mut rows = Vec::new();
        let mut put =
            |role: Role, text: &str| rows.extend(wrap(text, width).into_iter().map(|l| view.line(role, l)));
        let chosen = self.moulds.get(self.at);
        match (&self.what, chosen) {
            (What::Wrong(w), _) => {
                put(Role::Strong, "Which mould was really poured? Scan it, or choose it below.");
                let heat = w.heat.as_deref().map_or(String::new(), |h| format!(" from heat {h}"));
                let really = chosen.map_or("the mould really poured", String::as_str);
                let at = w.at.map_or_else(|| view.now.to_string(), |t| t.to_string());
                let pour = if w.logged { "the pour on record moves to" } else { "the pour stands on" };
                put(Role::Text, &format!("Recorded in one step: {pour} {really}{heat}, {};", clock(&at)));
                put(Role::Text, &format!("a hold on {really} with the reason; {} stays planned.", w.planned));
            }
            (What::Double(tag), _) => {
                put(Role::Strong, &format!("Which other mould may it be? Both are fenced: {tag} and"));
                put(
                    Role::Text,
                    chosen.map_or(
                        "the one that is not known yet; the hold on the tag fences it",
                        String::as_str,
                    ),
                );
            }
        }
        rows.push(ratatui::text::Line::default());
        let extra = usize::from(matches!(self.what, What::Double(_)));
        let total = self.moulds.len() + extra;
        let height =
            if self.evidence.is_empty() { usize::from(area.height).saturating_sub(rows.len()) } else { 5 };
        let from = window(self.at, total, height);
        if total == 0 {
            rows.push(view.line(Role::Quiet, fit("no other mould stands there; scan it", width)));
        }
        for i in (from..total).take(height) {
            let name = self.moulds.get(i).map_or("not known yet", String::as_str);
            let (mark, role) = if i == self.at { ("▸", Role::Chosen) } else { (" ", Role::Text) };
            rows.push(view.line(role, fit(&format!("{mark} {name}"), width)));
        }
        if !self.evidence.is_empty() {
            rows.push(ratatui::text::Line::default());
            rows.push(
                view.line(Role::Strong, fit("What the records say of both; ! tells them apart", width)),
            );
            for e in &self.evidence {
                let (mark, role) = if e.separates() { ("!", Role::Look) } else { (" ", Role::Quiet) };
                let blank = |t: &str| if t.is_empty() { "not recorded".to_string() } else { clocks(t) };
                let half = width.saturating_sub(25) / 2;
                let text = format!(
                    "{mark} {} {} {}",
                    fit(&e.what, 20),
                    fit(&blank(&e.a), half),
                    fit(&blank(&e.b), half)
                );
                rows.push(view.line(role, fit(&text, width)));
            }
        }
        lines(frame, area, rows);
    }
}
