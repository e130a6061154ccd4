//! One record: its fields, what hangs on it, every change. Esc goes back.

use ratatui::Frame;
use ratatui::layout::Rect;
use ratatui::text::Line;
use unicode_width::UnicodeWidthStr;

use crate::jobs::bench::progress::Way;
use crate::jobs::records::show::Shown as Record;
use crate::jobs::trace::show::Finding;
use crate::ui::effect::{Ask, Effect, Open, Told};
use crate::ui::form::label;
use crate::ui::keys;
use crate::ui::keys::{Key, Press, Shown};
use crate::ui::line::Purpose;
use crate::ui::screen::{Screen, Situation};
use crate::ui::theme::Role;
use crate::ui::view::{View, clock, clocks, fit, lines, wrap};

/// The record in sight.
pub struct RecordView {
    asked: String,
    record: Option<Box<Record>>,
    way: Option<Way>,
    missing: bool,
    from: usize,
}

#[derive(Clone, Copy)]
enum Msg {
    Change,
    Hold,
    Lift,
    Trace,
    Causes,
    Back,
    Up,
    Down,
    PageUp,
    PageDown,
}

fn there(view: &RecordView) -> bool {
    view.record.as_ref().is_some_and(|r| !r.record.is_empty())
}

const KEYS: &[Key<RecordView, Msg>] = &[
    Key { on: &[Press::Esc], msg: Msg::Back, label: "back", help: "Back", when: keys::always },
    Key {
        on: &[Press::Char('e')],
        msg: Msg::Change,
        label: "change",
        help: "Change it; the old values stay visible",
        when: there,
    },
    Key {
        on: &[Press::Char('h')],
        msg: Msg::Hold,
        label: "hold",
        help: "Fence it and everything that came out of it",
        when: there,
    },
    Key {
        on: &[Press::Char('k')],
        msg: Msg::Trace,
        label: "trace",
        help: "What went into it, what came out of it",
        when: there,
    },
    Key {
        on: &[Press::Char('y')],
        msg: Msg::Causes,
        label: "causes",
        help: "Ask the cause desk what makes blades bad in this way",
        when: |v| v.found().is_some(),
    },
    Key {
        on: &[Press::Char('l')],
        msg: Msg::Lift,
        label: "lift",
        help: "Lift the hold on it (quality)",
        when: |v| v.record.as_ref().is_some_and(|r| r.holds.iter().any(|h| h.subject == r.tag)),
    },
    Key { on: &[Press::Up], msg: Msg::Up, label: "", help: "A line up", when: keys::always },
    Key { on: &[Press::Down], msg: Msg::Down, label: "", help: "A line down", when: keys::always },
    Key { on: &[Press::PageUp], msg: Msg::PageUp, label: "", help: "A page up", when: keys::always },
    Key { on: &[Press::PageDown], msg: Msg::PageDown, label: "", help: "A page down", when: keys::always },
];

impl RecordView {
    /// For a tag or an address.
    #[must_use]
    pub fn new(asked: String) -> Self {
        Self { asked, record: None, way: None, missing: false, from: 0 }
    }

    /// What a blade was rejected for last.
    fn found(&self) -> Option<&Finding> {
        let seen = &self.record.as_ref()?.seen;
        seen.iter().rev().filter(|s| s.is_bad()).find_map(|s| s.findings.first())
    }

    fn rows(&self, width: usize, view: &View) -> Vec<Line<'static>> {
        let Some(r) = &self.record else {
            let text = if self.missing { "there is no record of that tag" } else { "reading …" };
            return vec![view.line(Role::Quiet, text)];
        };
        let noun = records::catalogue::kind(r.kind).map_or(r.kind, |k| k.noun);
        let asked = r.asked.as_ref().map(|a| format!(" (asked as {a})")).unwrap_or_default();
        let mut rows = vec![view.line(Role::Strong, fit(&format!("{noun} {}{asked}", r.tag), width))];
        let mut put = |role: Role, text: &str| {
            rows.extend(wrap(text, width).into_iter().map(|l| view.line(role, l)));
        };
        if let Some(place) = r.place {
            put(Role::Text, &format!("now: {place}"));
        }
        for s in &r.seen {
            let (mark, role) = match (s.is_bad(), s.is_good()) {
                (true, _) => ("✗", Role::Bad),
                (_, true) => ("✓", Role::Text),
                // A reading that decides nothing, or a decision that leaves it open.
                _ => ("·", Role::Text),
            };
            put(role, &format!("{mark} {} {}", clock(&s.at), s.words()));
        }
        for h in &r.holds {
            put(
                Role::Bad,
                &format!("✗ {} on {} since {}: {}", h.hold, h.subject, clock(&h.placed_at), h.reason),
            );
        }
        for s in &r.suspect {
            put(Role::Bad, &format!("✗ {}", clocks(s)));
        }
        for g in &r.guards {
            put(Role::Look, &format!("! {}", clocks(g)));
        }
        for m in &r.remarks {
            put(Role::Look, &format!("! {}", clocks(m)));
        }
        let kind = records::catalogue::kind(r.kind);
        let named =
            |name: &str| kind.and_then(|k| k.field(name)).map_or_else(|| name.replace('_', " "), label);
        let wide = r.in_order().map(|(name, _)| named(name).width()).max().unwrap_or(0).clamp(18, 28);
        for (name, value) in r.in_order() {
            let text = match value {
                serde_json::Value::String(s) => clocks(s),
                other => other.to_string(),
            };
            let unit = kind.and_then(|k| k.field(name)).map_or("", |f| f.unit());
            put(Role::Text, format!("{} {text} {unit}", fit(&named(name), wide)).trim_end());
        }
        if !r.below.is_empty() {
            put(Role::Quiet, &format!("below it: {}", r.below_words().join(", ")));
        }
        if let Some(events) = r.history.as_ref().filter(|e| !e.is_empty()) {
            put(Role::Strong, "");
            put(Role::Strong, "what was done to it");
            for e in events {
                let who = e.person.as_deref().unwrap_or("nobody named");
                let why = e.reason.as_ref().map(|w| format!(": {w}")).unwrap_or_default();
                put(Role::Text, &format!("{} {who} {}{why}", clock(&e.at), e.action));
                for (field, old, new) in e.changed.iter().filter(|_| e.action != "log") {
                    let blank = |t: &str| if t.is_empty() { "blank".to_string() } else { clocks(t) };
                    put(Role::Quiet, &format!("  {}: {} → {}", named(field), blank(old), blank(new)));
                }
            }
        }
        rows
    }
}

impl Screen for RecordView {
    fn title(&self) -> String {
        format!("Record {}", self.asked)
    }

    fn keys(&self) -> Vec<Shown> {
        keys::shown(KEYS, self)
    }

    fn begin(&mut self, _now: &Situation) -> Vec<Effect> {
        vec![Effect::Ask(Ask::Record(self.asked.clone())), Effect::Ask(Ask::Way(self.asked.clone()))]
    }

    fn press(&mut self, press: Press, _now: &Situation) -> Vec<Effect> {
        match keys::dispatch(KEYS, self, press) {
            Some(Msg::Back) => return vec![Effect::Close],
            Some(Msg::Change) => {
                if let Some(r) = &self.record {
                    return vec![Effect::Open(Open::Change(r.tag.clone()))];
                }
            }
            Some(Msg::Hold) => {
                if let Some(r) = &self.record {
                    return vec![Effect::Open(Open::Line(Purpose::Hold(r.tag.clone())))];
                }
            }
            Some(Msg::Lift) => {
                if let Some(r) = &self.record {
                    return vec![Effect::Open(Open::Line(Purpose::Lift(r.tag.clone())))];
                }
            }
            Some(Msg::Trace) => {
                if let Some(r) = &self.record {
                    return vec![Effect::Open(Open::Trace(r.tag.clone()))];
                }
            }
            Some(Msg::Causes) => {
                if let Some(f) = self.found() {
                    let ask = crate::jobs::causes::ask::Ask {
                        defect: Some(f.defect.clone()),
                        zone: f.zone.clone(),
                        method: Some(f.method.clone()),
                        ..Default::default()
                    };
                    return vec![Effect::Open(Open::Causes(ask))];
                }
            }
            Some(Msg::Up) => self.from = self.from.saturating_sub(1),
            Some(Msg::Down) => self.from = self.from.saturating_add(1).min(5000),
            Some(Msg::PageUp) => self.from = self.from.saturating_sub(10),
            Some(Msg::PageDown) => self.from = self.from.saturating_add(10).min(5000),
            None => {}
        }
        Vec::new()
    }

    fn told(&mut self, told: &Told, mine: bool, _now: &Situation) -> Vec<Effect> {
        match told {
            Told::Record(record) if mine => self.record = Some(record.clone()),
            Told::Way(way) if mine => self.way.clone_from(way),
            Told::Failed { .. } if mine => self.missing = self.record.is_none(),
            Told::Logged(_) | Told::Undone(_) => {
                return vec![
                    Effect::Ask(Ask::Record(self.asked.clone())),
                    Effect::Ask(Ask::Way(self.asked.clone())),
                ];
            }
            _ => {}
        }
        Vec::new()
    }

    fn way(&self) -> Option<&Way> {
        self.way.as_ref()
    }

    fn traces(&self) -> bool {
        there(self)
    }

    fn is_record(&self) -> bool {
        true
    }

    fn draw(&self, frame: &mut Frame, area: Rect, view: &View) {
        let rows = self.rows(usize::from(area.width), view);
        let most = rows.len().saturating_sub(usize::from(area.height));
        lines(frame, area, rows.into_iter().skip(self.from.min(most)).collect());
    }
}
