//! A form on the screen. Whoever logs stands here; Enter goes to the next blank field, F2 saves.

pub(crate) mod draw;
pub(crate) mod table;

use ratatui::Frame;
use ratatui::layout::Rect;
use ratatui::text::Line;

use crate::jobs::furnace::board::PourFigures;
use crate::jobs::records::drafts::Draft;
use crate::ui::effect::{Ask, Effect, Open, Told};
use crate::ui::form::{Form, Origin, Ready, Row, Stop};
use crate::ui::keys;
use crate::ui::keys::{Press, Shown};
use crate::ui::screen::{Screen, Situation, unknown};
use crate::ui::theme::Role;
use crate::ui::view::{View, fit, lines, window};
use records::Type;
use records::catalogue::kind::Kind;

use crate::jobs::records::form_screen::table::{KEYS, Msg};

/// How long typing must rest before it goes to the disk.
const KEEP_AFTER_MS: u64 = 100;

/// A form that is open.
pub struct Entry {
    form: Option<Form>,
    address: Option<String>,
    id: u64,
    /// Why, where a reason is asked for.
    reason: Option<String>,
    why: Vec<String>,
    saving: bool,
    saved: bool,
    kept: bool,
    typed_ms: Option<u64>,
    figures: PourFigures,
    /// Figures were asked for and are not told yet: saving waits for what they ask.
    waiting: bool,
    save_then: bool,
    asked: (String, String),
    zones: Vec<(String, String)>,
    zones_of: String,
    limits_of: Vec<(String, String)>,
}

impl Entry {
    /// For a new record.
    #[must_use]
    pub fn new(kind: &'static Kind, given: &[(String, String)], id: u64) -> Self {
        Self::with(Some(Form::new(kind, given)), None, id)
    }

    /// For a change of a record; its fields come from the store.
    #[must_use]
    pub fn change(address: String, id: u64) -> Self {
        Self::with(None, Some(address), id)
    }

    /// From a draft.
    #[must_use]
    pub fn from_draft(draft: &Draft) -> Option<Self> {
        let form = Form::from_draft(draft)?;
        Some(Self { kept: true, ..Self::with(Some(form), draft.address.clone(), draft.id) })
    }

    fn with(form: Option<Form>, address: Option<String>, id: u64) -> Self {
        Self {
            form,
            address,
            id,
            reason: None,
            why: Vec::new(),
            saving: false,
            saved: false,
            kept: false,
            typed_ms: None,
            figures: PourFigures::default(),
            waiting: false,
            save_then: false,
            asked: Default::default(),
            zones: Vec::new(),
            zones_of: String::new(),
            limits_of: Vec::new(),
        }
    }

    /// After anything changed: figures and zones that depend on it.
    fn follow(&mut self) -> Vec<Effect> {
        let Some(form) = &self.form else { return Vec::new() };
        let mut out = Vec::new();
        if form.kind.name == "pours" {
            let pair = (form.text("mould").trim().to_string(), form.text("heat").trim().to_string());
            if pair != self.asked {
                self.asked.clone_from(&pair);
                let some = |t: String| (!t.is_empty()).then_some(t);
                self.waiting = true;
                out.push(Effect::Ask(Ask::Figures(some(pair.0), some(pair.1))));
            }
        }
        if form.kind.name == "charges" {
            let heat = form.text("heat").trim().to_string();
            let (source, mass) = (form.text("source").trim(), form.row("mass_kg").and_then(Row::number));
            let item = mass.filter(|m| !source.is_empty() && *m > 0.0).map(|m| (source.to_string(), m));
            let pair = (heat.clone(), format!("{item:?}"));
            if pair != self.asked && !heat.is_empty() {
                self.asked = pair;
                self.waiting = true;
                out.push(Effect::Ask(Ask::Charge(heat, item)));
            }
        }
        let refers = |r: &&Row| matches!(r.ty(), Type::Ref(_) | Type::AnyTag) && !r.text.trim().is_empty();
        let refs = form.rows.iter().filter(refers);
        let refs: Vec<(String, String)> =
            refs.map(|r| (r.name().to_string(), r.text.trim().to_string())).collect();
        if refs != self.limits_of {
            self.limits_of.clone_from(&refs);
            out.push(Effect::Ask(Ask::Limits(form.kind, refs)));
        }
        if form.kind.name == "findings" {
            let inspection = form.text("inspection").trim();
            if inspection != self.zones_of {
                self.zones_of = inspection.to_string();
                out.push(Effect::Ask(Ask::Zones(self.zones_of.clone())));
            }
        }
        out
    }

    fn touched(&mut self, now: &Situation) -> Vec<Effect> {
        self.typed_ms = Some(now.at_ms);
        self.follow()
    }

    fn save(&mut self, now: &Situation) -> Vec<Effect> {
        let Some(form) = &mut self.form else { return Vec::new() };
        if self.saving {
            return Vec::new();
        }
        self.save_then = self.waiting;
        if self.waiting {
            return vec![Effect::Say(Role::Quiet, "looking whether it fits …".into())];
        }
        let reason = self.reason.clone().unwrap_or_default();
        let ready = match form.accept(now.now, &reason) {
            Ok(ready) => ready,
            Err(Stop::Faults(i)) => {
                let row = &form.rows[i];
                let fault = row.fault.clone().unwrap_or_default();
                return vec![Effect::Say(Role::Bad, format!("{} {fault}", row.label()))];
            }
            Err(Stop::Guards(guards)) => {
                self.why =
                    guards.iter().map(|g| format!("{}: {}", g.field.replace('_', " "), g.message)).collect();
                self.reason = Some(String::new());
                return Vec::new();
            }
            Err(Stop::Reason) => {
                self.why = vec!["what was recorded before stays visible".into()];
                self.reason = Some(String::new());
                return Vec::new();
            }
            Err(Stop::Same) => return vec![Effect::Say(Role::Look, "nothing was changed".into())],
        };
        self.saving = true;
        let given = (!reason.trim().is_empty()).then(|| reason.trim().to_string());
        let ask = match (ready, &form.address) {
            (Ready::New(arguments), _) => {
                Ask::Log { who: now.who.clone(), kind: form.kind.name, arguments, reason: given }
            }
            (Ready::Changes(changes, own), Some(address)) => Ask::Correct {
                who: now.who.clone(),
                address: address.clone(),
                changes,
                reason: given.or_else(|| own.map(String::from)).unwrap_or_default(),
            },
            (Ready::Changes(..), None) => return Vec::new(),
        };
        // The draft goes to the disk before the record does: neither is lost whatever happens between.
        vec![Effect::Ask(ask)]
    }

    fn act(&mut self, msg: Msg, now: &Situation) -> Vec<Effect> {
        match msg {
            Msg::Back if self.saving => return vec![Effect::Say(Role::Look, "it is being saved".into())],
            Msg::Back => return vec![Effect::Close],
            Msg::ThrowAway if !self.saving => {
                self.saved = true;
                return vec![
                    Effect::Ask(Ask::Drop(self.id)),
                    Effect::Close,
                    Effect::Say(Role::Look, "the form was thrown away; nothing was saved".into()),
                ];
            }
            Msg::Save => return self.save(now),
            Msg::Working => {
                let Some(form) = &self.form else { return Vec::new() };
                let all = match form.kind.name {
                    "pours" => crate::jobs::furnace::figures::pour(&form.record(now.now), &self.figures),
                    _ => self.figures.workings.clone(),
                };
                return vec![Effect::Open(Open::Working(all))];
            }
            _ => {}
        }
        let zones = self.zones.clone();
        let Some(form) = &mut self.form else { return Vec::new() };
        let last = form.rows.len();
        let mut said = Ok(());
        match msg {
            Msg::Next if form.at >= last => return self.save(now),
            Msg::Next => form.at = form.next_blank(form.at + 1),
            Msg::Down => form.at = (form.at + 1).min(last),
            Msg::Up => form.at = form.at.saturating_sub(1),
            Msg::After | Msg::Before => {
                let by = if matches!(msg, Msg::After) { 1 } else { -1 };
                if form.chosen().is_some_and(|r| r.name() == "zone") && !zones.is_empty() {
                    let here = zones.iter().position(|(z, _)| z == form.text("zone"));
                    let n = zones.len() as isize;
                    let next =
                        here.map_or(if by > 0 { 0 } else { n - 1 }, |i| (i as isize + by).rem_euclid(n));
                    form.set("zone", &zones[next as usize].0, Origin::Typed);
                } else {
                    form.turn(by);
                }
            }
            Msg::Side => {
                const SIDES: [&str; 2] = ["concave", "convex"];
                let here = SIDES.iter().position(|s| *s == form.text("side"));
                form.set("side", SIDES[here.map_or(0, |i| 1 - i)], Origin::Typed);
            }
            Msg::Erase => form.erase(),
            Msg::NotApplicable => said = form.put("n/a"),
            Msg::Illegible => said = form.put("illegible"),
            Msg::Now => said = form.put("now"),
            Msg::Empty => said = form.put(""),
            _ => {}
        }
        let mut out = self.touched(now);
        if let Err(sentence) = said {
            out.push(Effect::Say(Role::Bad, sentence));
        }
        out
    }

    fn press_reason(&mut self, press: Press, now: &Situation) -> Vec<Effect> {
        let Some(reason) = &mut self.reason else { return Vec::new() };
        match press {
            Press::Char(c) if reason.chars().count() < 500 => reason.push(c),
            Press::Backspace => {
                reason.pop();
            }
            Press::Enter | Press::F(2) if reason.trim().is_empty() => {
                return vec![Effect::Say(
                    Role::Look,
                    "a reason is needed, or Esc to change the value".into(),
                )];
            }
            Press::Enter | Press::F(2) => return self.save(now),
            Press::Esc => self.reason = None,
            _ => {}
        }
        Vec::new()
    }
}

impl Screen for Entry {
    fn title(&self) -> String {
        match (&self.form, &self.address) {
            (_, Some(address)) => format!("Change {address}"),
            (Some(form), None) => format!("New {}", form.kind.noun),
            (None, None) => "Form".into(),
        }
    }

    fn keys(&self) -> Vec<Shown> {
        if self.reason.is_some() {
            let key = |key: &str, label: &'static str, help: &'static str| Shown {
                key: key.into(),
                label,
                help,
                works: true,
            };
            return vec![
                key("Enter", "save with this reason", "Save it; the reason stands in the record"),
                key("Esc", "change the value", "Back to the form"),
            ];
        }
        keys::shown(KEYS, self)
    }

    fn begin(&mut self, _now: &Situation) -> Vec<Effect> {
        let mut out = Vec::new();
        match (&self.form, &self.address) {
            (_, Some(address)) => out.push(Effect::Ask(Ask::Texts(address.clone()))),
            (Some(form), None) => out.push(Effect::Ask(Ask::FormStart(form.kind))),
            (None, None) => {}
        }
        out.extend(self.follow());
        out
    }

    fn press(&mut self, press: Press, now: &Situation) -> Vec<Effect> {
        if self.reason.is_some() {
            return self.press_reason(press, now);
        }
        if let Some(msg) = keys::dispatch(KEYS, self, press) {
            return self.act(msg, now);
        }
        match (press, &mut self.form) {
            (Press::Char(c), Some(form)) => {
                // On the field of the zone a digit picks a zone of the drawing.
                let on_zone = form.chosen().is_some_and(|r| r.name() == "zone");
                let digit = c.to_digit(10).and_then(|d| (d as usize).checked_sub(1));
                if let (true, Some((zone, _))) = (on_zone, digit.and_then(|i| self.zones.get(i))) {
                    form.set("zone", zone, Origin::Typed);
                    return self.touched(now);
                }
                form.type_char(c);
                self.touched(now)
            }
            _ => Vec::new(),
        }
    }

    fn code(&mut self, code: &str, found: Option<(&'static str, String)>, now: &Situation) -> Vec<Effect> {
        let Some(form) = &mut self.form else { return vec![unknown(code)] };
        if let Some(reason) = &mut self.reason {
            reason.push_str(code);
            return Vec::new();
        }
        let (kind, text) = match &found {
            Some((kind, tag)) => (Some(*kind), tag.as_str()),
            None => (None, code),
        };
        let Some(place) = form.place_of(text, kind) else {
            let noun = kind.and_then(records::catalogue::kind).map(|k| k.noun);
            let sentence = match noun {
                Some(noun) => {
                    format!("scanned {text}, a {noun}: no field here takes it; nothing was changed")
                }
                None => return vec![unknown(code)],
            };
            return vec![Effect::Say(Role::Look, sentence)];
        };
        let label = form.rows[place].label();
        form.scan_into(place, text);
        let mut out = self.touched(now);
        out.push(Effect::Say(Role::Good, format!("scanned {text} into {label}")));
        out
    }

    fn paste(&mut self, pasted: &[String], now: &Situation) -> Vec<Effect> {
        if let Some(reason) = &mut self.reason {
            reason.push_str(&pasted.join(" "));
            return Vec::new();
        }
        let Some(form) = &mut self.form else { return Vec::new() };
        let Some(row) = form.chosen() else { return Vec::new() };
        let whole = row.ty() == Type::Text || pasted.len() == 1;
        let text = if whole { pasted.join(" ") } else { pasted[0].clone() };
        for c in text.chars() {
            form.type_char(c);
        }
        let mut out = self.touched(now);
        if !whole {
            let sentence = format!("of {} pasted lines the first was taken", pasted.len());
            out.push(Effect::Say(Role::Look, sentence));
        }
        out
    }

    fn told(&mut self, told: &Told, mine: bool, now: &Situation) -> Vec<Effect> {
        if !mine {
            return Vec::new();
        }
        match told {
            Told::FormStart(start) => {
                if let Some(form) = &mut self.form {
                    form.type_own(&start.own);
                    if self.kept {
                        form.start(&start.own, &[], None);
                    } else {
                        form.start(&start.own, &start.last, now.who.person.as_deref());
                    }
                }
                return self.follow();
            }
            Told::Texts(kind, address, fields) => {
                let form = self.form.get_or_insert_with(|| {
                    let mut form = Form::new(kind, &[]);
                    if let Some(time) = kind.time {
                        form.set(time, "", Origin::Blank);
                    }
                    form
                });
                self.address = Some(address.clone());
                form.load(address.clone(), fields);
                return self.follow();
            }
            Told::Figures(figures) => {
                self.figures = (**figures).clone();
                self.waiting = false;
                if let Some(form) = &mut self.form {
                    form.asks.clone_from(&self.figures.asks);
                }
                if std::mem::take(&mut self.save_then) {
                    return self.save(now);
                }
            }
            Told::Limits(limits) => {
                if let Some(form) = &mut self.form {
                    form.limits.clone_from(limits);
                }
            }
            Told::Zones(zones) => self.zones.clone_from(zones),
            Told::Logged(_) => {
                self.saved = true;
                let mut out = vec![Effect::Ask(Ask::Drop(self.id)), Effect::Close];
                // An inspection may see more than one thing: the form of the next stands there; Esc leaves it.
                if let Some(form) =
                    self.form.as_ref().filter(|f| f.kind.name == "findings" && f.address.is_none())
                {
                    let given = vec![("inspection".to_string(), form.text("inspection").to_string())];
                    out.push(Effect::Open(Open::Form(form.kind, given)));
                }
                return out;
            }
            Told::Failed { sentence, wants_reason } if self.saving => {
                self.saving = false;
                if *wants_reason {
                    self.why = vec![sentence.clone()];
                    self.reason = Some(String::new());
                } else if let Some(form) = &mut self.form {
                    form.blame(sentence);
                }
            }
            Told::Failed { .. } if self.form.is_none() => return vec![Effect::Close],
            Told::Failed { .. } => (self.waiting, self.save_then) = (false, false),
            _ => {}
        }
        Vec::new()
    }

    fn tick(&mut self, now: &Situation) -> Vec<Effect> {
        let due = self.typed_ms.is_some_and(|t| now.at_ms.saturating_sub(t) >= KEEP_AFTER_MS);
        if !due {
            return Vec::new();
        }
        self.typed_ms = None;
        self.draft(now).map(|d| Effect::Ask(Ask::Keep(d))).into_iter().collect()
    }

    fn draft(&self, now: &Situation) -> Option<Draft> {
        let form = self.form.as_ref()?;
        (!self.saved && (form.touched() || self.kept)).then(|| form.to_draft(self.id, now.now))
    }

    fn takes_text(&self) -> bool {
        true
    }

    fn draw(&self, frame: &mut Frame, area: Rect, view: &View) {
        let Some(form) = &self.form else {
            return lines(frame, area, vec![view.line(Role::Quiet, "reading …")]);
        };
        let width = usize::from(area.width);
        let foot = match &self.reason {
            Some(reason) => self.asking(reason, width, view),
            None => self.computed(form, width, view),
        };
        let height = usize::from(area.height).saturating_sub(foot.len());
        let total = form.rows.len() + 1;
        let from = window(form.at, total, height);
        let mut rows: Vec<Line<'static>> = Vec::new();
        for i in (from..total).take(height) {
            rows.push(match form.rows.get(i) {
                Some(row) => self.row(form, row, i == form.at, width, view),
                None => {
                    let (mark, role) = if i == form.at { ("▸", Role::Chosen) } else { (" ", Role::Strong) };
                    let text =
                        if self.saving { "saving …" } else { "save it (Enter here, or F2 anywhere)" };
                    view.line(role, fit(&format!("{mark} {text}"), width))
                }
            });
        }
        lines(frame, area, rows);
        let below = Rect {
            y: area.y + (height.min(total) as u16).min(area.height),
            height: area.height.saturating_sub(height.min(total) as u16),
            ..area
        };
        lines(frame, below, foot);
    }
}
