//! Before a charge or a preheat: is it dry, is it inspected? Both are ticked by hand; nothing hurries.

use ratatui::Frame;
use ratatui::layout::Rect;
use ratatui::text::Line;

use crate::ui::effect::{Effect, Open};
use crate::ui::form::ANSWERED;
use crate::ui::keys;
use crate::ui::keys::{Key, Press, Shown};
use crate::ui::screen::{Screen, Situation};
use crate::ui::theme::Role;
use crate::ui::view::{View, clock, dialog};
use records::catalogue::kind::Kind;
use records::value::words::articled;

/// The two ticks, and the form that follows.
pub struct Dry {
    kind: &'static Kind,
    given: Vec<(String, String)>,
    dry: bool,
    inspected: bool,
}

#[derive(Clone, Copy)]
enum Msg {
    Dry,
    Inspected,
    On,
    Back,
}

const KEYS: &[Key<Dry, Msg>] = &[
    Key {
        on: &[Press::Char('d')],
        msg: Msg::Dry,
        label: "it is dry",
        help: "Tick: it is dry",
        when: keys::always,
    },
    Key {
        on: &[Press::Char('i')],
        msg: Msg::Inspected,
        label: "it is inspected",
        help: "Tick: it is inspected",
        when: keys::always,
    },
    Key {
        on: &[Press::Enter],
        msg: Msg::On,
        label: "to the form",
        help: "Open the form, once both are ticked",
        when: |s| s.dry && s.inspected,
    },
    Key { on: &[Press::Esc], msg: Msg::Back, label: "back", help: "Leave it", when: keys::always },
];

/// Kinds whose form is opened only after the two ticks.
#[must_use]
pub fn asks(kind: &Kind) -> bool {
    matches!(kind.name, "charges" | "oven_runs" | "oven_loads")
}

impl Dry {
    /// Before the form of this kind.
    #[must_use]
    pub fn new(kind: &'static Kind, given: Vec<(String, String)>) -> Self {
        Self { kind, given, dry: false, inspected: false }
    }
}

impl Screen for Dry {
    fn title(&self) -> String {
        "Dry? Inspected?".into()
    }

    fn keys(&self) -> Vec<Shown> {
        keys::shown(KEYS, self)
    }

    fn press(&mut self, press: Press, now: &Situation) -> Vec<Effect> {
        match keys::dispatch(KEYS, self, press) {
            Some(Msg::Dry) => self.dry = !self.dry,
            Some(Msg::Inspected) => self.inspected = !self.inspected,
            Some(Msg::On) => {
                // The answer stands in the record's note, with who gave it and when.
                let by = now.who.person.as_deref().unwrap_or("nobody named");
                let text = format!("dry: yes, inspected: yes ({by}, {})", clock(&now.now.to_string()));
                self.given.push((ANSWERED.into(), text));
                return vec![
                    Effect::Close,
                    Effect::Open(Open::Form(self.kind, std::mem::take(&mut self.given))),
                ];
            }
            Some(Msg::Back) => return vec![Effect::Close],
            None => {}
        }
        Vec::new()
    }

    fn code(&mut self, code: &str, _found: Option<(&'static str, String)>, _now: &Situation) -> Vec<Effect> {
        vec![Effect::Say(Role::Look, format!("scanned {code}: two questions are open; nothing was changed"))]
    }

    fn takes_text(&self) -> bool {
        true
    }

    fn is_dialog(&self) -> bool {
        true
    }

    fn draw(&self, frame: &mut Frame, area: Rect, view: &View) {
        let what = if self.kind.name == "charges" { "charge, crucible and tools" } else { "mould and oven" };
        let tick = |on: bool, text: &str| {
            let mark = if on { view.span(Role::Good, "✓") } else { view.span(Role::Look, "○") };
            Line::from(vec![view.span(Role::Text, "  "), mark, view.span(Role::Strong, format!(" {text}"))])
        };
        let body = vec![
            Line::default(),
            tick(self.dry, "d  dry"),
            tick(self.inspected, "i  inspected"),
            Line::default(),
            view.line(Role::Text, format!("  For {what}. Water and liquid metal explode.")),
            view.line(Role::Text, "  Site rules and qualified people decide. There is no hurry."),
        ];
        dialog(frame, area, view, &format!("Before {}: dry? inspected?", articled(self.kind.noun)), body);
    }
}
