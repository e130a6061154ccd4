//! A form on the screen. Whoever logs stands here; Enter goes to the next blank field, F2 alone saves.

pub(crate) mod draw;
pub(crate) mod table;

use crate::jobs::furnace::board::PourFigures;
use crate::jobs::furnace::{board, charge, figures, readiness};
use crate::jobs::records::form_screen::table::KEYS;
use crate::jobs::records::forms;
use crate::jobs::records::forms::FormStart;
use crate::jobs::records::orders::{correct, log};
use crate::ui::form::drafts::{Draft, DropDraft, KeepDraft};
use crate::ui::form::{Form, NOW, Origin, Ready, Row, Stop};
use crate::ui::kit::*;
use records::catalogue::kind::Kind;
use records::catalogue::{Charges, Findings, Pours};
use records::check::Guard;
use records::check::limit::Limit;
use records::graph::fit::asked_of;
use records::value::tag::folded;
use records::{Stamp, Store, Type};

/// So many lines of the fields stay in sight, whatever stands below them.
const LEAST_ROWS: usize = 5;

/// How long typing must rest before it goes to the disk.
const KEEP_AFTER_MS: u64 = 100;

/// A record's fields as text: its kind, its address, field and text.
type Texts = (&'static Kind, String, Vec<(String, String)>);

/// The chosen field as it stood before letters went into it that may be a code.
#[derive(Clone, Debug)]
struct Mark {
    at: usize,
    text: String,
    origin: Origin,
}

/// Zones of the part that an inspection is about: code and name.
#[derive(Clone, Debug, Default)]
struct Zones(Vec<(String, String)>);

/// What does not fit with what is on record.
struct Doubts(Vec<Guard>);

#[derive(Default)]
pub struct Entry {
    form: Option<Form>,
    address: Option<String>,
    /// The number of its draft.
    id: u64,
    /// Why, where a reason is asked for.
    reason: Option<Reason>,
    saving: bool,
    saved: bool,
    kept: bool,
    typed_ms: Option<u64>,
    figures: PourFigures,
    /// Figures were asked for and are not told yet: saving waits for them.
    waiting: bool,
    /// The same of what does not fit.
    weighing: bool,
    /// What that was asked about: the minute, where the clock bears on it, and the texts.
    weighed: (Option<i64>, Vec<String>),
    save_then: bool,
    asked: (String, String),
    zones: Zones,
    zones_of: String,
    limits_of: Vec<(String, String)>,
    mark: Option<Mark>,
    /// The mould that a pour's form was opened for.
    opened_for: Option<String>,
    /// The form is to be thrown away, if F8 is pressed once more.
    going: bool,
}

/// What speaks against pouring a mould, in one sentence; nothing where every check is passed. A mould that is not known has
/// its sentence elsewhere.
fn unready(store: &Store, mould: &str, heat: Option<&str>, now: Stamp) -> Option<String> {
    let ready = readiness::ready(store, mould, heat, now).ok()?;
    let failing: Vec<&str> = ready.checks.iter().filter(|c| c.ok != Some(true)).map(|c| c.check).collect();
    (!failing.is_empty()).then(|| format!("{mould}: not every check is passed: {}", failing.join(", ")))
}

impl Entry {
    pub fn new(kind: &'static Kind, given: &[(String, String)]) -> Self {
        let mould = given.iter().find(|(name, _)| kind.is::<Pours>() && name == Pours::mould.name);
        let opened_for = mould.map(|(_, mould)| mould.clone());
        Self { form: Some(Form::new(kind, given)), opened_for, ..Self::default() }
    }

    /// For a change of a record; its fields come from the store.
    pub fn change(address: String) -> Self {
        Self { address: Some(address), ..Self::default() }
    }

    pub fn from_draft(draft: &Draft) -> Option<Self> {
        let form = Form::from_draft(draft)?;
        let address = draft.address.clone();
        Some(Self { form: Some(form), address, id: draft.id, kept: true, ..Self::default() })
    }

    /// After anything changed: figures, zones and doubts that depend on it.
    fn follow(&mut self, now: &Context) -> Vec<Effect> {
        let Some(form) = &self.form else { return Vec::new() };
        let mut out = Vec::new();
        if form.kind.is::<Pours>() {
            let pair = (
                form.text(Pours::mould.name).trim().to_string(),
                form.text(Pours::heat.name).trim().to_string(),
            );
            if pair != self.asked {
                self.asked.clone_from(&pair);
                let some = |t: String| (!t.is_empty()).then_some(t);
                self.waiting = true;
                // The desk asked for the mould that the form was opened for; another is asked for here.
                let other = self.opened_for.as_ref().is_some_and(|m| folded(m) != folded(&pair.0));
                let about = (some(pair.0), some(pair.1), other.then_some(now.now));
                out.push(Effect::read(about, |store, (mould, heat, asks)| {
                    let mut figures = board::pour_figures(store, mould.as_deref(), heat.as_deref())?;
                    if let Some(heat) = heat {
                        figures.charge = charge::look(store, heat, None)?;
                        figures.workings = charge::workings(store, heat, None)?;
                    }
                    if let (Some(mould), Some(now)) = (mould, asks) {
                        figures.unready = unready(store, mould, heat.as_deref(), *now);
                    }
                    Ok(figures)
                }));
            }
        }
        if form.kind.is::<Charges>() {
            let heat = form.text(Charges::heat.name).trim().to_string();
            let (source, mass) = (
                form.text(Charges::source.name).trim(),
                form.row(Charges::mass_kg.name).and_then(Row::number),
            );
            let item = mass.filter(|m| !source.is_empty() && *m > 0.0).map(|m| (source.to_string(), m));
            let pair = (heat.clone(), format!("{item:?}"));
            if pair != self.asked && !heat.is_empty() {
                self.asked = pair;
                self.waiting = true;
                out.push(Effect::read((heat, item), |store, (heat, item)| {
                    let item = item.as_ref().map(|(source, kg): &(String, f64)| (source.as_str(), *kg));
                    let mut charge = charge::look(store, heat, item)?;
                    charge.extend(charge::misfits(store, heat)?.into_iter().map(|text| (false, text)));
                    let workings = charge::workings(store, heat, item)?;
                    Ok(PourFigures { charge, workings, ..PourFigures::default() })
                }));
            }
        }
        out.extend(self.weigh(now));
        let Some(form) = &self.form else { return out };
        let refers = |r: &&Row| matches!(r.ty(), Type::Ref(_) | Type::AnyTag) && !r.text.trim().is_empty();
        let refs = form.rows.iter().filter(refers);
        let refs: Vec<(String, String)> =
            refs.map(|r| (r.name().to_string(), r.text.trim().to_string())).collect();
        if refs != self.limits_of {
            self.limits_of.clone_from(&refs);
            out.push(Effect::read((form.kind, refs), |store, (kind, refs)| forms::limits(store, kind, refs)));
        }
        if form.kind.is::<Findings>() {
            let inspection = form.text(Findings::inspection.name).trim();
            if inspection != self.zones_of {
                self.zones_of = inspection.to_string();
                out.push(Effect::read(self.zones_of.clone(), |store, inspection| {
                    forms::zones(store, inspection).map(Zones)
                }));
            }
        }
        out
    }

    /// Asks what does not fit with what is on record, where anything that it hangs on is another than it was.
    fn weigh(&mut self, now: &Context) -> Option<Effect> {
        let form = self.form.as_mut().filter(|f| f.address.is_none())?;
        let names = asked_of(form.kind);
        let typed: Vec<String> = names.iter().map(|name| form.text(name).to_string()).collect();
        // A time that is that of saving is looked at again where a minute went by.
        let minute = typed.iter().any(|t| t == NOW).then(|| now.now.ms() / 60_000);
        if self.weighed == (minute, typed.clone()) {
            return None;
        }
        let texts = form.texts_of(names, now.now);
        let kind = form.kind;
        if typed.iter().all(String::is_empty) {
            form.asks.clear();
            return None;
        }
        self.weighed = (minute, typed);
        self.weighing = true;
        Some(Effect::read((kind, texts, now.now), |store, (kind, texts, now)| {
            forms::asks(store, kind, texts, *now).map(Doubts)
        }))
    }

    fn touched(&mut self, now: &Context) -> Vec<Effect> {
        self.typed_ms = Some(now.at_ms);
        if let Some(form) = &mut self.form {
            form.mark(now.now);
        }
        self.follow(now)
    }

    fn save(&mut self, now: &Context) -> Vec<Effect> {
        if self.saving {
            return Vec::new();
        }
        if let (Some(unready), None) = (&self.figures.unready, &self.reason) {
            self.reason = Some(Reason::new(vec![unready.clone()]));
            return Vec::new();
        }
        let reason = self.reason.as_ref().map_or(String::new(), |r| r.text.trim().to_string());
        let Some(form) = &mut self.form else { return Vec::new() };
        let ready = form.accept(now.now, &reason);
        if let Err(Stop::Faults(i)) = ready {
            let row = &form.rows[i];
            let fault = row.fault.clone().unwrap_or_default();
            return vec![Effect::say(Role::Bad, format!("{} {fault}", row.label()))];
        }
        let weigh = self.weigh(now);
        self.save_then = self.waiting || self.weighing;
        if self.save_then {
            let said = Effect::say(Role::Quiet, "looking whether it fits …");
            return weigh.into_iter().chain([said]).collect();
        }
        let Some(form) = &self.form else { return Vec::new() };
        let ready = match ready {
            Ok(ready) => ready,
            Err(Stop::Faults(_)) => return Vec::new(),
            Err(Stop::Guards(guards)) => {
                let why = guards.iter().map(|g| format!("{}: {}", g.field.replace('_', " "), g.message));
                self.reason = Some(Reason::new(why.collect()));
                return Vec::new();
            }
            Err(Stop::Reason) => {
                self.reason = Some(Reason::new(vec!["what was recorded before stays visible".into()]));
                return Vec::new();
            }
            Err(Stop::Same) => return vec![Effect::say(Role::Look, "nothing was changed")],
        };
        let given = (!reason.is_empty()).then_some(reason);
        let write = match (ready, &form.address) {
            (Ready::New(arguments), _) => log(now, form.kind.name, arguments, given),
            (Ready::Changes(changes, own), Some(address)) => {
                let reason = given.or_else(|| own.map(String::from)).unwrap_or_default();
                let before = |name: &String| form.row(name).map_or(String::new(), |r| r.before.clone());
                let seen = changes.iter().map(|(name, _)| (name.clone(), before(name))).collect();
                correct(now, address.clone(), changes, seen, reason)
            }
            (Ready::Changes(..), None) => return Vec::new(),
        };
        self.saving = true;
        vec![write]
    }

    fn back(&self) -> Vec<Effect> {
        if self.saving {
            return vec![Effect::say(Role::Look, "it is being saved")];
        }
        vec![Effect::Close]
    }

    /// The record that is changed, as it stands now: somebody else may have changed it meanwhile.
    fn read_again(&self) -> Vec<Effect> {
        match self.address.clone().filter(|_| !self.saving) {
            Some(address) => vec![Effect::read(address, |store, address| forms::as_texts(store, address))],
            None => Vec::new(),
        }
    }

    fn throw_away(&mut self, now: &Context) -> Vec<Effect> {
        if self.saving {
            return self.edit(now, |_| {});
        }
        if !self.going && self.form.as_ref().is_some_and(Form::touched) {
            self.going = true;
            return vec![Effect::say(
                Role::Look,
                "F8 once more throws away what was typed; any other key keeps it",
            )];
        }
        self.saved = true;
        let said = Effect::say(Role::Look, "the form was thrown away; nothing was saved");
        vec![Effect::ask(DropDraft(self.id)), Effect::Close, said]
    }

    fn working(&self, now: &Context) -> Vec<Effect> {
        let Some(form) = &self.form else { return Vec::new() };
        let all = match form.kind.name {
            Pours::NAME => figures::pour(&form.record(now.now), &self.figures),
            _ => self.figures.workings.clone(),
        };
        vec![Effect::open(Page::working(&all))]
    }

    /// Changes the form, and asks what follows from it.
    fn edit(&mut self, now: &Context, act: impl FnOnce(&mut Form)) -> Vec<Effect> {
        let Some(form) = &mut self.form else { return Vec::new() };
        act(form);
        self.touched(now)
    }

    fn next(&mut self, now: &Context) -> Vec<Effect> {
        if self.form.as_ref().is_some_and(|f| f.chosen().is_none()) {
            return vec![Effect::say(Role::Look, "F2 saves it")];
        }
        self.edit(now, |f| f.at = f.next_blank(f.at + 1))
    }

    fn put(&mut self, text: &str, now: &Context) -> Vec<Effect> {
        let mut said = Ok(());
        let mut out = self.edit(now, |f| said = f.put(text));
        out.extend(said.err().map(|sentence| Effect::Say(Role::Bad, sentence)));
        out
    }

    /// The next word of a choice, or the next zone of the drawing.
    fn turn(&mut self, by: isize, now: &Context) -> Vec<Effect> {
        let zones = self.zones.clone().0;
        self.edit(now, |form| {
            if form.chosen().is_none_or(|r| r.name() != Findings::zone.name) || zones.is_empty() {
                return form.turn(by);
            }
            let here = zones.iter().position(|(z, _)| z == form.text(Findings::zone.name));
            let n = zones.len() as isize;
            let next = here.map_or(if by > 0 { 0 } else { n - 1 }, |i| (i as isize + by).rem_euclid(n));
            form.set(Findings::zone.name, &zones[next as usize].0, Origin::Typed);
        })
    }

    fn started(&mut self, start: &FormStart, now: &Context) -> Vec<Effect> {
        if let Some(form) = &mut self.form {
            form.type_own(&start.own);
            if self.kept {
                form.start(&start.own, &[], None);
            } else {
                form.number(start.next.as_deref());
                form.start(&start.own, &start.last, now.who.person.as_deref());
            }
        }
        self.follow(now)
    }

    /// The record that is changed is here.
    fn loaded(&mut self, (kind, address, fields): Texts, now: &Context) -> Vec<Effect> {
        let form = self.form.get_or_insert_with(|| {
            let mut form = Form::new(kind, &[]);
            if let Some(time) = kind.time {
                form.set(time, "", Origin::Blank);
            }
            form
        });
        self.address = Some(address.clone());
        form.zone = now.who.zone;
        form.load(address, &fields);
        self.follow(now)
    }

    fn figured(&mut self, figures: PourFigures, now: &Context) -> Vec<Effect> {
        self.figures = figures;
        self.waiting = false;
        self.go_on(now)
    }

    fn weighed(&mut self, doubts: Doubts, now: &Context) -> Vec<Effect> {
        self.weighing = false;
        if let Some(form) = &mut self.form {
            form.asks = doubts.0;
        }
        self.go_on(now)
    }

    /// Saves, where that waited for nothing but this.
    fn go_on(&mut self, now: &Context) -> Vec<Effect> {
        let waits = self.waiting || self.weighing;
        if !waits && std::mem::take(&mut self.save_then) { self.save(now) } else { Vec::new() }
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
            let save = "Save it; the reason stands in the record";
            return Reason::keys(save, "change the value", "Back to the form");
        }
        keys::shown(KEYS, self)
    }

    fn begin(&mut self, now: &Context) -> Vec<Effect> {
        if self.id == 0 {
            self.id = now.layer;
        }
        if let Some(form) = &mut self.form {
            form.zone = now.who.zone;
        }
        let mut out = match (&self.form, &self.address) {
            (_, Some(address)) => {
                vec![Effect::read(address.clone(), |store, address| forms::as_texts(store, address))]
            }
            (Some(form), None) => {
                vec![Effect::read(form.kind, |store, kind| forms::form_start(store, kind))]
            }
            (None, None) => Vec::new(),
        };
        out.extend(self.follow(now));
        out
    }

    fn press(&mut self, press: Press, now: &Context) -> Vec<Effect> {
        match self.reason.as_mut().map(|reason| reason.press(press, "change the value")) {
            None => {}
            Some(Asked::Still(effects)) => return effects,
            Some(Asked::Given) => return self.save(now),
            Some(Asked::Left) => {
                self.reason = None;
                return Vec::new();
            }
        }
        self.going &= press == Press::F(8);
        if let Some(act) = keys::meant(KEYS, self, press) {
            return act(self, now);
        }
        let Press::Char(c) = press else { return Vec::new() };
        // On the field of the zone a digit picks a zone of the drawing.
        let digit = c.to_digit(10).and_then(|d| (d as usize).checked_sub(1));
        let zone = digit.and_then(|i| self.zones.0.get(i)).map(|(zone, _)| zone.clone());
        self.edit(now, |form| match zone {
            Some(zone) if form.chosen().is_some_and(|r| r.name() == Findings::zone.name) => {
                form.set(Findings::zone.name, &zone, Origin::Typed);
            }
            _ => form.type_char(c),
        })
    }

    fn code(&mut self, code: &str, found: Lead, now: &Context) -> Vec<Effect> {
        let Some(form) = &mut self.form else { return unknown(code) };
        if let Some(reason) = &mut self.reason {
            reason.text.push_str(code);
            return Vec::new();
        }
        let (kind, text) = match &found {
            Some((kind, tag)) => (Some(*kind), tag.as_str()),
            None => (None, code),
        };
        let Some(place) = form.place_of(text, kind) else {
            return match kind.and_then(records::catalogue::kind) {
                Some(k) => unused(&format!("{text}, a {}", k.noun), "no field here takes it"),
                None => unknown(code),
            };
        };
        let label = form.rows[place].label();
        form.scan_into(place, text);
        let mut out = self.touched(now);
        out.push(Effect::say(Role::Good, format!("scanned {text} into {label}")));
        out
    }

    fn paste(&mut self, pasted: &[String], now: &Context) -> Vec<Effect> {
        if let Some(reason) = &mut self.reason {
            reason.text.push_str(&pasted.join(" "));
            return Vec::new();
        }
        let Some(row) = self.form.as_ref().and_then(Form::chosen) else { return Vec::new() };
        let whole = row.ty() == Type::Text || pasted.len() == 1;
        let text = if whole { pasted.join(" ") } else { pasted[0].clone() };
        let mut out = self.edit(now, |form| text.chars().for_each(|c| form.type_char(c)));
        if !whole {
            let sentence = format!("of {} pasted lines the first was taken", pasted.len());
            out.push(Effect::say(Role::Look, sentence));
        }
        out
    }

    fn reply(&mut self, mut reply: Reply, now: &Context) -> Vec<Effect> {
        if let Some(start) = reply.take::<FormStart>() {
            return self.started(&start, now);
        }
        if let Some(texts) = reply.take::<Texts>() {
            return self.loaded(texts, now);
        }
        if let Some(figures) = reply.take::<PourFigures>() {
            return self.figured(figures, now);
        }
        if let Some(doubts) = reply.take::<Doubts>() {
            return self.weighed(doubts, now);
        }
        if let (Some(limits), Some(form)) = (reply.take::<Vec<Limit>>(), &mut self.form) {
            form.limits = limits;
        }
        if let Some(zones) = reply.take() {
            self.zones = zones;
        }
        Vec::new()
    }

    fn changed(&mut self, _change: &Change, mine: bool, _now: &Context) -> Vec<Effect> {
        if !mine {
            return self.read_again();
        }
        self.saved = true;
        let mut out = vec![Effect::ask(DropDraft(self.id)), Effect::Close];
        // An inspection may see more than one thing: the form of the next stands there; Esc leaves it.
        if let Some(form) = self.form.as_ref().filter(|f| f.kind.is::<Findings>() && f.address.is_none()) {
            let given =
                [(Findings::inspection.name.to_string(), form.text(Findings::inspection.name).to_string())];
            out.push(Effect::open(Self::new(form.kind, &given)));
        }
        out
    }

    fn failed(&mut self, failure: &Failure, _now: &Context) -> Vec<Effect> {
        let Some(form) = &mut self.form else { return vec![Effect::Close] };
        if !std::mem::take(&mut self.saving) {
            (self.waiting, self.weighing, self.save_then) = (false, false, false);
        } else if failure.wants_reason {
            self.reason = Some(Reason::new(vec![failure.sentence.clone()]));
        } else {
            form.blame(failure);
            return self.read_again();
        }
        Vec::new()
    }

    fn tick(&mut self, now: &Context) -> Vec<Effect> {
        let due = self.typed_ms.is_some_and(|t| now.at_ms.saturating_sub(t) >= KEEP_AFTER_MS);
        if !due {
            return Vec::new();
        }
        self.typed_ms = None;
        self.draft(now).map(|d| Effect::ask(KeepDraft(d))).into_iter().collect()
    }

    fn draft(&self, now: &Context) -> Option<Draft> {
        let form = self.form.as_ref()?;
        let owner = now.who.person.clone();
        (!self.saved && (form.touched() || self.kept))
            .then(|| Draft { owner, ..form.to_draft(self.id, now.now) })
    }

    fn takes_text(&self) -> bool {
        true
    }

    fn takes_words(&self) -> bool {
        let row = self.form.as_ref().and_then(Form::chosen);
        self.reason.is_some() || row.is_some_and(|r| r.ty() == Type::Text)
    }

    fn person_changed(&mut self, now: &Context) -> Vec<Effect> {
        let Some(form) = self.form.as_mut().filter(|f| f.address.is_none()) else { return Vec::new() };
        let who = now.who.person.as_deref().unwrap_or("");
        form.follow_person(who).map(|said| Effect::say(Role::Look, said)).into_iter().collect()
    }

    fn letters_begin(&mut self) {
        if let Some(reason) = &mut self.reason {
            reason.letters_begin();
        }
        let form = self.form.as_ref().filter(|_| self.reason.is_none());
        self.mark = form.map(|f| {
            let (text, origin) =
                f.chosen().map_or((String::new(), Origin::Blank), |r| (r.text.clone(), r.origin));
            Mark { at: f.at, text, origin }
        });
    }

    fn letters_back(&mut self, typed: &str, of: Option<&'static str>, fast: bool) -> bool {
        if let Some(reason) = &mut self.reason {
            return reason.letters_back(of);
        }
        let (Some(mark), Some(form)) = (self.mark.take(), &mut self.form) else { return false };
        if form.at != mark.at {
            return false;
        }
        // On the line that says how to save nothing was typed.
        let Some(row) = form.rows.get_mut(mark.at) else { return true };
        let takes_it = match row.ty() {
            // A tag that is on record already is no tag of a new record.
            Type::Tag => of.is_none(),
            Type::Ref(kinds) => of.is_some_and(|kind| kinds.contains(&kind)),
            Type::AnyTag => true,
            // A word among others, or a figure: whoever typed it meant this field.
            Type::Text => !mark.text.is_empty(),
            _ => row.value(typed).is_ok(),
        };
        if takes_it && !fast {
            return false;
        }
        (row.text, row.origin, row.fault) = (mark.text, mark.origin, None);
        true
    }

    fn draw(&self, frame: &mut Frame, area: Rect, view: &View) {
        let Some(form) = &self.form else {
            return lines(frame, area, vec![view.line(Role::Quiet, "reading …")]);
        };
        let width = usize::from(area.width);
        let room = usize::from(area.height);
        let mut foot = match &self.reason {
            Some(reason) => Self::asking(reason, width, room.saturating_sub(LEAST_ROWS), view),
            None => self.computed(form, width, view),
        };
        foot.truncate(room.saturating_sub(LEAST_ROWS));
        let height = room.saturating_sub(foot.len());
        let mut rows: Vec<Vec<Line<'static>>> = Vec::with_capacity(form.rows.len() + 1);
        for (i, row) in form.rows.iter().enumerate() {
            rows.push(self.row(form, row, i == form.at, width, view));
        }
        let here = form.at == form.rows.len();
        let role = if here { Role::Chosen } else { Role::Strong };
        let text = if self.saving { "saving …" } else { "F2 saves it, here and on every field" };
        rows.push(vec![view.line(role, fit(&format!("{} {text}", mark(here)), width))]);
        let rows = about(rows, form.at, height);
        let total = rows.len();
        lines(frame, area, rows);
        let below = Rect {
            y: area.y + (total as u16).min(area.height),
            height: area.height.saturating_sub(total as u16),
            ..area
        };
        lines(frame, below, foot);
    }
}

/// The lines of rows that fit into a height, with the chosen row whole among them. Each row has one line or more.
fn about(rows: Vec<Vec<Line<'static>>>, chosen: usize, height: usize) -> Vec<Line<'static>> {
    let before: usize = rows.iter().take(chosen).map(Vec::len).sum();
    let mine = rows.get(chosen).map_or(0, Vec::len);
    let all: Vec<Line<'static>> = rows.into_iter().flatten().collect();
    // As a list does it, but from the first line of the chosen row to its last.
    let first = window(before, all.len(), height).max((before + mine).saturating_sub(height)).min(before);
    all.into_iter().skip(first).take(height).collect()
}
