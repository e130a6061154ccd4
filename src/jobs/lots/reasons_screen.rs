//! What blocks a lot, reason by reason, and what can be done about one: decide on its blades, hold, trace.

use ratatui::Frame;
use ratatui::layout::Rect;
use ratatui::text::Line;

use crate::jobs::lots::show::Reason;
use crate::ui::effect::{Ask, Effect, Open, Told};
use crate::ui::keys;
use crate::ui::keys::{Key, Press, Shown};
use crate::ui::line::Purpose;
use crate::ui::screen::{Screen, Situation};
use crate::ui::theme::Role;
use crate::ui::view::{View, caution, clocks, fit, lines, window, wrap};
use records::value::words::counted;

/// The screen.
pub struct Reasons {
    lot: String,
    all: Option<Vec<Reason>>,
    at: usize,
}

#[derive(Clone, Copy)]
enum Msg {
    Back,
    Trace,
    Decide,
    Hold,
    Concession,
    Item,
    Move(isize),
}

fn touches(s: &Reasons) -> bool {
    s.reason().is_some_and(|r| !r.blades.is_empty())
}

fn traceable(s: &Reasons) -> bool {
    s.reason().is_some_and(|r| r.record.is_some() || !r.blades.is_empty())
}

const KEYS: &[Key<Reasons, Msg>] = &[
    Key {
        on: &[Press::Enter],
        msg: Msg::Trace,
        label: "trace",
        help: "Trace the record that the reason lies in, or its first blade",
        when: traceable,
    },
    Key {
        on: &[Press::Char('d')],
        msg: Msg::Decide,
        label: "decide",
        help: "One decision on every blade that the reason touches: for quality",
        when: touches,
    },
    Key {
        on: &[Press::Char('n')],
        msg: Msg::Concession,
        label: "new concession",
        help: "The form of a concession or deviation: for quality",
        when: keys::always,
    },
    Key {
        on: &[Press::Char('i')],
        msg: Msg::Item,
        label: "its items",
        help: "The form of a concession's item: what it covers. Words in its limits lift nothing. For quality",
        when: keys::always,
    },
    Key {
        on: &[Press::Char('h')],
        msg: Msg::Hold,
        label: "hold",
        help: "Place a hold on the record that the reason lies in, or on its first blade",
        when: traceable,
    },
    Key { on: &[Press::Up], msg: Msg::Move(-1), label: "", help: "The reason above", when: keys::always },
    Key { on: &[Press::Down], msg: Msg::Move(1), label: "", help: "The reason below", when: keys::always },
    Key { on: &[Press::PageUp], msg: Msg::Move(-10), label: "", help: "Ten above", when: keys::always },
    Key { on: &[Press::PageDown], msg: Msg::Move(10), label: "", help: "Ten below", when: keys::always },
    Key { on: &[Press::Esc], msg: Msg::Back, label: "back", help: "Back to the lots", when: keys::always },
];

impl Reasons {
    /// For a lot.
    #[must_use]
    pub fn new(lot: String) -> Self {
        Self { lot, all: None, at: 0 }
    }

    fn reason(&self) -> Option<&Reason> {
        self.all.as_ref()?.get(self.at)
    }

    /// The record that a reason lies in, or its first blade.
    fn subject(&self) -> Option<String> {
        let reason = self.reason()?;
        reason.record.clone().or_else(|| reason.blades.first().cloned())
    }

    fn read(&self, now: &Situation) -> Vec<Effect> {
        vec![Effect::Ask(Ask::Reasons(now.who.clone(), self.lot.clone()))]
    }
}

impl Screen for Reasons {
    fn title(&self) -> String {
        format!("What blocks {}", self.lot)
    }

    fn keys(&self) -> Vec<Shown> {
        keys::shown(KEYS, self)
    }

    fn begin(&mut self, now: &Situation) -> Vec<Effect> {
        self.read(now)
    }

    fn press(&mut self, press: Press, _now: &Situation) -> Vec<Effect> {
        match keys::dispatch(KEYS, self, press) {
            Some(Msg::Back) => return vec![Effect::Close],
            Some(Msg::Trace) => {
                return self.subject().map(|s| Effect::Open(Open::Trace(s))).into_iter().collect();
            }
            Some(Msg::Hold) => {
                let line = |s| Effect::Open(Open::Line(Purpose::Hold(s)));
                return self.subject().map(line).into_iter().collect();
            }
            Some(Msg::Decide) => {
                let blades = self.reason().map(|r| r.blades.clone()).unwrap_or_default();
                return vec![Effect::Open(Open::Line(Purpose::Decide(blades)))];
            }
            Some(msg @ (Msg::Concession | Msg::Item)) => {
                let name = if matches!(msg, Msg::Item) { "concession_items" } else { "concessions" };
                let form = records::catalogue::kind(name).map(|k| Effect::Open(Open::Form(k, Vec::new())));
                return form.into_iter().collect();
            }
            Some(Msg::Move(by)) => {
                let last = self.all.as_ref().map_or(0, |a| a.len().saturating_sub(1));
                self.at = self.at.saturating_add_signed(by).min(last);
            }
            None => {}
        }
        Vec::new()
    }

    fn told(&mut self, told: &Told, mine: bool, now: &Situation) -> Vec<Effect> {
        match told {
            Told::Reasons(lot, all) if mine && *lot == self.lot => {
                self.at = self.at.min(all.len().saturating_sub(1));
                self.all = Some(all.clone());
            }
            Told::Logged(_) | Told::Undone(_) => return self.read(now),
            _ => {}
        }
        Vec::new()
    }

    fn draw(&self, frame: &mut Frame, area: Rect, view: &View) {
        let (width, height) = (usize::from(area.width), usize::from(area.height));
        let mut rows = caution(view, width);
        let Some(all) = &self.all else {
            rows.push(view.line(Role::Quiet, "reading everything behind it …"));
            return lines(frame, area, rows);
        };
        if all.is_empty() {
            rows.push(view.line(Role::Good, format!("✓ nothing on record blocks {}", self.lot)));
            return lines(frame, area, rows);
        }
        // The chosen reason stands in full below the list.
        let detail = self.reason().map_or_else(Vec::new, |r| detail(r, width));
        let below = (detail.len() + 1).min(height / 2);
        let room = height.saturating_sub(rows.len() + below).max(1);
        let first = window(self.at, all.len(), room);
        for (i, r) in all.iter().enumerate().skip(first).take(room) {
            let (mark, role) = if i == self.at { ("▸", Role::Strong) } else { (" ", Role::Text) };
            let n = match r.blades.len() {
                0 => "the lot".to_string(),
                n => counted(n, "blade"),
            };
            let station = fit(&r.station, 12);
            let reason = clocks(&r.reason);
            rows.push(view.line(role, fit(&format!("{mark} ✗ {station} {n:>10}  {reason}"), width)));
        }
        while rows.len() < height.saturating_sub(below) {
            rows.push(Line::default());
        }
        rows.push(view.line(Role::Quiet, "─".repeat(width)));
        rows.extend(detail.into_iter().map(|l| view.line(Role::Text, l)));
        rows.truncate(height);
        lines(frame, area, rows);
    }
}

fn detail(reason: &Reason, width: usize) -> Vec<String> {
    let mut out = wrap(&format!("{}: {}", reason.station, clocks(&reason.reason)), width);
    if let Some(record) = &reason.record {
        out.push(format!("lies in {record}"));
    }
    if !reason.blades.is_empty() {
        out.extend(wrap(&format!("touches {}", reason.blades.join(" ")), width));
    }
    out
}
