//! One record: its fields, what hangs on it, every change. Esc goes back.

use unicode_width::UnicodeWidthStr;

use crate::jobs::bench::progress::Way;
use crate::jobs::bench::progress_screen;
use crate::jobs::causes::ask::Ask;
use crate::jobs::desks;
use crate::jobs::records::ask;
use crate::jobs::records::orders::{hold, lift};
use crate::jobs::records::show::Shown as Record;
use crate::jobs::trace::show::Finding;
use crate::ui::form::label;
use crate::ui::kit::*;

pub struct RecordView {
    asked: String,
    record: Option<Record>,
    way: Option<Way>,
    missing: bool,
    from: usize,
}

fn there(view: &RecordView) -> bool {
    view.record.as_ref().is_some_and(|r| !r.record.is_empty())
}

type K = Key<RecordView>;

const KEYS: &[K] = &[
    K::on(&[Press::Esc], close).named("back", "Back"),
    K::on(&[Press::Char('e')], |v, _| v.act(desks::change))
        .named("change", "Change it; the old values stay visible")
        .when(there),
    K::on(&[Press::Char('h')], |v, _| v.act(hold))
        .named("hold", "Fence it and everything that came out of it")
        .when(there),
    K::on(&[Press::Char('k')], |v, _| v.act(desks::trace))
        .named("trace", "What went into it, what came out of it")
        .when(there),
    K::on(&[Press::Char('y')], |v, _| v.causes())
        .named("causes", "Ask the cause desk what makes blades bad in this way")
        .when(|v| v.found().is_some()),
    K::on(&[Press::Char('l')], |v, _| v.act(lift))
        .named("lift", "Lift the hold on it (quality)")
        .when(|v| v.record.as_ref().is_some_and(|r| r.holds.iter().any(|h| h.subject == r.tag))),
    K::on(&[Press::Up], |v, _| v.step(-1)).help("A line up"),
    K::on(&[Press::Down], |v, _| v.step(1)).help("A line down"),
    K::on(&[Press::PageUp], |v, _| v.step(-10)).help("A page up"),
    K::on(&[Press::PageDown], |v, _| v.step(10)).help("A page down"),
];

impl RecordView {
    /// For a tag or an address.
    pub fn new(asked: String) -> Self {
        Self { asked, record: None, way: None, missing: false, from: 0 }
    }

    fn act(&self, act: fn(String) -> Effect) -> Vec<Effect> {
        self.record.as_ref().map(|r| act(r.tag.clone())).into_iter().collect()
    }

    fn causes(&self) -> Vec<Effect> {
        let ask = |f: &Finding| Ask {
            defect: Some(f.defect.clone()),
            zone: f.zone.clone(),
            method: Some(f.method.clone()),
            ..Ask::default()
        };
        self.found().map(|f| desks::causes(ask(f))).into_iter().collect()
    }

    fn step(&mut self, by: isize) -> Vec<Effect> {
        self.from = self.from.saturating_add_signed(by).min(5000);
        Vec::new()
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
        let mut put = |role: Role, text: &str| rows.extend(view.wrapped(role, text, width));
        if let Some(place) = r.place {
            put(Role::Text, &format!("now: {place}"));
        }
        for f in &r.facts {
            let role = if f.starts_with('✗') { Role::Bad } else { Role::Strong };
            put(role, &clocks(f));
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
                let who = e.person.as_deref().unwrap_or("no person given");
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

    fn begin(&mut self, _now: &Context) -> Vec<Effect> {
        let record = Effect::read(self.asked.clone(), |store, tag| ask::show(store, tag, true));
        vec![record, progress_screen::ask(&self.asked)]
    }

    fn press(&mut self, press: Press, now: &Context) -> Vec<Effect> {
        keys::dispatch(KEYS, self, press, now)
    }

    fn reply(&mut self, mut reply: Reply, _now: &Context) -> Vec<Effect> {
        if let Some(way) = reply.take() {
            self.way = way;
        }
        reply.put(&mut self.record);
        Vec::new()
    }

    fn failed(&mut self, _failure: &Failure, _now: &Context) -> Vec<Effect> {
        self.missing = self.record.is_none();
        Vec::new()
    }

    fn changed(&mut self, _change: &Change, _mine: bool, now: &Context) -> Vec<Effect> {
        self.begin(now)
    }

    fn bar(&self, view: &View) -> Option<Line<'static>> {
        self.way.as_ref().map(|w| progress_screen::bar(w, view))
    }

    fn offers(&self, desk: &str) -> Offer {
        if desk == desks::TRACE && there(self) { Offer::None } else { Offer::Plain }
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
