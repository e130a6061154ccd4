//! The table of an analysis. Enter goes down, F2 saves all of it at once.

use crate::jobs::bench::run::analysis;
use crate::jobs::bench::run::analysis::{Element, New, Subject};
use crate::jobs::bench::run::record::Texts;
use crate::jobs::records::orders::together;
use crate::ui::form::drafts::{Draft, DropDraft, KeepDraft};
use crate::ui::form::{Form, Origin};
use crate::ui::keys::{meant, plain, shown};
use crate::ui::kit::*;
use records::Type;
use records::catalogue::{Analyses, People};
use records::value::words::{articled, counted};

/// What is said once.
const HEAD: [&str; 5] = [
    Analyses::subject.name,
    Analyses::purpose.name,
    Analyses::taken_at.name,
    Analyses::method.name,
    Analyses::instrument.name,
];

/// The name of an element among the fields of a draft.
const IN_A_DRAFT: &str = "value/";

/// How long typing must rest before it goes to the disk.
const KEEP_AFTER_MS: u64 = 100;

pub struct Table {
    form: Form,
    alloy: String,
    elements: Vec<Element>,
    /// A further element as it is typed.
    another: String,
    /// The row: those of the head, the elements, a further element.
    at: usize,
    /// The subject that the elements were asked for.
    asked: String,
    /// The cursor goes on to the elements when they are known.
    jumps: bool,
    reason: Option<Reason>,
    saving: bool,
    saved: bool,
    id: u64,
    kept: bool,
    typed_ms: Option<u64>,
    last: Option<(Role, String)>,
    remembered: Option<(Form, Vec<Element>, String, Option<Reason>)>,
}

impl Default for Table {
    fn default() -> Self {
        let mut form = Form::new(Analyses::KIND, &[]);
        form.rows.retain(|row| HEAD.contains(&row.name()));
        form.at = 0;
        Self {
            form,
            alloy: String::new(),
            elements: Vec::new(),
            another: String::new(),
            at: 0,
            asked: String::new(),
            jumps: false,
            reason: None,
            saving: false,
            saved: false,
            id: 0,
            kept: false,
            typed_ms: None,
            last: None,
            remembered: None,
        }
    }
}

type K = Key<Table>;

const KEYS: &[K] = &[
    K::on(&[Press::Enter, Press::Down, Press::Tab], |t, _| t.next()).named("down", "The next row"),
    K::on(&[Press::Up, Press::BackTab], |t, _| t.go(t.at.saturating_sub(1))).help("The row above"),
    K::on(&[Press::F(2)], Table::save).named("save", "Save the analysis with all its contents"),
    K::on(&[Press::Right], |t, _| t.turn(1)).help("The next word of a choice"),
    K::on(&[Press::Left], |t, _| t.turn(-1)).help("The word before"),
    K::on(&[Press::Backspace], |t, now| t.erase(now)).help("Take a letter back"),
    K::on(&[Press::F(6), Press::Delete], |t, now| t.empty(now)).named("empty", "Empty the row"),
    K::on(&[Press::F(8)], |t, _| t.throw_away()).named("throw away", "Throw the table away"),
    K::on(&[Press::Esc], |t, _| t.back()).named("back", "Back; what is typed is kept"),
];

impl Table {
    /// From what was kept of one; none where the draft is of something else.
    pub fn from_draft(draft: &Draft) -> Option<Self> {
        let of_table = |name: &str| name.starts_with(IN_A_DRAFT);
        if draft.kind != Analyses::NAME || !draft.fields.iter().any(|(name, ..)| of_table(name)) {
            return None;
        }
        let mut table = Self { id: draft.id, kept: true, ..Self::default() };
        for (name, text, _) in &draft.fields {
            match name.strip_prefix(IN_A_DRAFT).and_then(|rest| rest.rsplit_once('/')) {
                Some((element, unit)) => table.elements.push(Element {
                    element: element.into(),
                    unit: unit.into(),
                    text: text.clone(),
                    ..Element::default()
                }),
                None if of_table(name) => table.another.clone_from(text),
                None => table.form.set(name, text, Origin::Typed),
            }
        }
        table.at = draft.at;
        Some(table)
    }

    fn rows(&self) -> usize {
        self.form.rows.len() + self.elements.len() + 1
    }

    /// The element at the cursor.
    fn element(&mut self) -> Option<&mut Element> {
        let place = self.at.checked_sub(self.form.rows.len())?;
        self.elements.get_mut(place)
    }

    fn on_head(&self) -> bool {
        self.at < self.form.rows.len()
    }

    /// Moves the cursor; a subject that was left is looked up, a further element is taken in.
    fn go(&mut self, to: usize) -> Vec<Effect> {
        self.last = None;
        let mut out = self.ask_subject();
        if self.at + 1 == self.rows() && !self.another.trim().is_empty() {
            match Element::read(&self.another) {
                Ok(element) => {
                    self.elements.push(element);
                    self.another.clear();
                    self.at = self.rows() - 1;
                    return out;
                }
                Err(right) => out.extend(self.say(Role::Bad, right)),
            }
        }
        self.at = to.min(self.rows() - 1);
        self.form.at = self.at.min(self.form.rows.len());
        out
    }

    fn next(&mut self) -> Vec<Effect> {
        self.go(self.at + 1)
    }

    fn say(&mut self, role: Role, text: impl Into<String>) -> Vec<Effect> {
        let text = text.into();
        self.last = Some((role, text.clone()));
        vec![Effect::Say(role, text)]
    }

    fn ask_subject(&mut self) -> Vec<Effect> {
        let subject = self.form.text(Analyses::subject.name).trim().to_string();
        if subject.is_empty() || subject == self.asked {
            return Vec::new();
        }
        self.asked.clone_from(&subject);
        self.jumps = self.on_head();
        vec![Effect::read(subject, |store, text| analysis::subject(store, text))]
    }

    fn touched(&mut self, now: &Context) -> Vec<Effect> {
        self.typed_ms = Some(now.at_ms);
        self.last = None;
        Vec::new()
    }

    fn type_char(&mut self, c: char, now: &Context) -> Vec<Effect> {
        if self.on_head() {
            self.form.at = self.at;
            self.form.type_char(c);
        } else if let Some(element) = self.element() {
            // The comma of many keypads is a decimal point here.
            let c = if c == ',' { '.' } else { c };
            if element.text.chars().count() < 40 && !c.is_control() {
                element.text.push(c);
            }
        } else if self.another.chars().count() < 80 {
            self.another.push(c);
        }
        self.touched(now)
    }

    fn turn(&mut self, by: isize) -> Vec<Effect> {
        if self.on_head() {
            self.form.at = self.at;
            self.form.turn(by);
        }
        Vec::new()
    }

    fn erase(&mut self, now: &Context) -> Vec<Effect> {
        if self.on_head() {
            self.form.at = self.at;
            self.form.erase();
        } else if let Some(element) = self.element() {
            element.text.pop();
        } else {
            self.another.pop();
        }
        self.touched(now)
    }

    fn empty(&mut self, now: &Context) -> Vec<Effect> {
        if self.on_head() {
            self.form.at = self.at;
            let said = self.form.put("");
            return match said {
                Ok(()) => self.touched(now),
                Err(text) => self.say(Role::Bad, text),
            };
        }
        match self.element() {
            Some(element) => element.text.clear(),
            None => self.another.clear(),
        }
        self.touched(now)
    }

    fn save(&mut self, now: &Context) -> Vec<Effect> {
        if self.saving {
            return Vec::new();
        }
        let clock = self.form.clock(now.now);
        if let Some((i, fault)) = self.form.rows.iter_mut().enumerate().find_map(|(i, row)| {
            row.fault = match row.understood(clock) {
                Some(Err(fault)) => Some(fault),
                _ => row.value(&row.resolved(clock)).err(),
            };
            row.fault.clone().map(|fault| (i, format!("{} {fault}", row.label())))
        }) {
            self.at = i;
            return self.say(Role::Bad, fault);
        }
        let mut out = self.ask_subject();
        if !self.another.trim().is_empty() {
            match Element::read(&self.another) {
                Ok(element) => {
                    self.elements.push(element);
                    self.another.clear();
                }
                Err(right) => {
                    self.at = self.rows() - 1;
                    return self.say(Role::Bad, right);
                }
            }
        }
        let faulty = self.elements.iter().enumerate().find_map(|(i, e)| Some((i, e.value().err()?)));
        if let Some((i, fault)) = faulty {
            self.at = self.form.rows.len() + i;
            let text = format!("{}: {fault}", self.elements[i].element);
            return self.say(Role::Bad, text);
        }
        let rows = self.form.rows.iter().filter(|r| !r.text.is_empty());
        let head: Texts = rows.map(|r| (r.name().to_string(), r.resolved(clock))).collect();
        let reason = self.reason.as_ref().map(|r| r.text.trim().to_string()).filter(|r| !r.is_empty());
        self.saving = true;
        let new = New { head, elements: self.elements.clone(), reason };
        out.push(Effect::write(now, new, |store, who, new| {
            let all = analysis::write(store, who, new)?;
            let tag = all.first().and_then(|l| l.tag.clone()).unwrap_or_default();
            let said = format!("saved {tag} with {}", counted(all.len() - 1, "content"));
            Ok(Written { said, ..together(all) })
        }));
        out
    }

    fn throw_away(&mut self) -> Vec<Effect> {
        if self.saving {
            return Vec::new();
        }
        self.saved = true;
        let said = Effect::say(Role::Look, "the table was thrown away; nothing was saved");
        vec![Effect::ask(DropDraft(self.id)), Effect::Close, said]
    }

    fn back(&mut self) -> Vec<Effect> {
        if self.saving {
            return self.say(Role::Look, "it is being saved");
        }
        vec![Effect::Close]
    }

    fn started(&mut self, last: &Texts) {
        if self.kept {
            return;
        }
        self.form.start(&[], last, None);
        for name in [Analyses::purpose.name, Analyses::method.name] {
            let text = last.iter().find(|(n, _)| n == name).map_or("", |(_, t)| t.as_str());
            if self.form.text(name).is_empty() && !matches!(text, "n/a" | "illegible") {
                self.form.set(name, text, Origin::Carried);
            }
        }
        // The elements may have come first: the cursor goes where it would have gone with both.
        if self.on_head() && !self.elements.is_empty() {
            self.at = self.first_open();
        }
    }

    /// The first row of the head that must be filled, else the first element.
    fn first_open(&self) -> usize {
        let open = self.form.rows.iter().position(|r| r.text.is_empty() && !r.optional());
        open.unwrap_or(self.form.rows.len())
    }

    fn got(&mut self, subject: Subject) {
        let open = self.first_open();
        self.form.set(Analyses::subject.name, &subject.subject, Origin::Scanned);
        self.asked.clone_from(&subject.subject);
        self.alloy = subject.alloy;
        self.elements = analysis::merged(subject.elements, &self.elements);
        if std::mem::take(&mut self.jumps) {
            self.at = open;
        }
    }
}

impl Screen for Table {
    fn title(&self) -> String {
        match self.form.text(Analyses::subject.name) {
            "" => "Analysis".into(),
            subject => format!("Analysis of {subject}"),
        }
    }

    fn keys(&self) -> Vec<Shown> {
        if self.reason.is_some() {
            return vec![
                plain(
                    "F2",
                    "save with this reason",
                    "Save the analysis; the reason stands with the content that asked",
                ),
                plain("Esc", "change the content", "Back to the table"),
            ];
        }
        shown(KEYS, self)
    }

    fn begin(&mut self, now: &Context) -> Vec<Effect> {
        if self.id == 0 {
            self.id = now.layer;
        }
        let mut out = vec![Effect::read((), |store, ()| analysis::last(store))];
        out.extend(self.ask_subject());
        out
    }

    fn press(&mut self, press: Press, now: &Context) -> Vec<Effect> {
        if let Some(reason) = &mut self.reason {
            return match reason.press(press, "change the content") {
                Asked::Still(effects) => effects,
                Asked::Given => self.save(now),
                Asked::Left => {
                    self.reason = None;
                    Vec::new()
                }
            };
        }
        if let Some(act) = meant(KEYS, self, press) {
            return act(self, now);
        }
        match press {
            Press::Char(c) => self.type_char(c, now),
            _ => Vec::new(),
        }
    }

    fn code(&mut self, code: &str, found: Lead, now: &Context) -> Vec<Effect> {
        if self.reason.is_some() {
            return unused(code, "a question is open");
        }
        let (kind, text) = match &found {
            Some((kind, tag)) => (Some(*kind), tag.as_str()),
            None => {
                // A figure that came as fast as a code, and is none.
                let figure = |e: &Element| Element { text: code.into(), ..e.clone() }.value().is_ok();
                return match self.element().filter(|e| figure(e)) {
                    Some(element) => {
                        element.text = code.into();
                        self.typed_ms = Some(now.at_ms);
                        self.next()
                    }
                    None => unknown(code),
                };
            }
        };
        let Some(place) = self.form.place_of(text, kind) else {
            let noun = kind.and_then(records::catalogue::kind).map_or("record", |k| k.noun);
            return unused(&format!("{text}, {}", articled(noun)), "no field here takes it");
        };
        let subject = self.form.rows[place].name() == Analyses::subject.name;
        let typed = self.elements.iter().any(|e| !e.text.trim().is_empty());
        if subject && typed && self.at != place && self.form.rows[place].text != text {
            let text = format!("{text}: this table is that of {}", self.form.rows[place].text);
            return unused(&text, "go to the subject to change it");
        }
        let label = self.form.rows[place].label();
        self.form.at = self.at.min(self.form.rows.len());
        self.form.scan_into(place, text);
        if self.on_head() {
            self.at = self.form.at.min(self.form.rows.len());
        }
        let mut out = self.touched(now);
        out.extend(self.ask_subject());
        out.extend(self.say(Role::Good, format!("scanned {text} into {label}")));
        out
    }

    fn paste(&mut self, pasted: &[String], now: &Context) -> Vec<Effect> {
        let text = pasted.join(" ");
        if let Some(reason) = &mut self.reason {
            reason.text.push_str(&text);
            return Vec::new();
        }
        text.chars().for_each(|c| drop(self.type_char(c, now)));
        Vec::new()
    }

    fn reply(&mut self, mut reply: Reply, _now: &Context) -> Vec<Effect> {
        if let Some(last) = reply.take::<Texts>() {
            self.started(&last);
        }
        if let Some(subject) = reply.take::<Subject>() {
            self.got(subject);
        }
        Vec::new()
    }

    fn changed(&mut self, _change: &Change, mine: bool, _now: &Context) -> Vec<Effect> {
        if !mine {
            return Vec::new();
        }
        self.saved = true;
        vec![Effect::ask(DropDraft(self.id)), Effect::Close]
    }

    fn failed(&mut self, failure: &Failure, _now: &Context) -> Vec<Effect> {
        self.last = Some((Role::Bad, failure.sentence.clone()));
        if !std::mem::take(&mut self.saving) {
            // The subject leads nowhere: it is asked again when it is another.
            self.alloy.clear();
            self.form.blame(failure);
        } else if failure.wants_reason {
            self.reason = Some(Reason::new(vec![failure.sentence.clone()]));
        } else {
            self.form.blame(failure);
        }
        Vec::new()
    }

    fn tick(&mut self, now: &Context) -> Vec<Effect> {
        if self.typed_ms.is_none_or(|t| now.at_ms.saturating_sub(t) < KEEP_AFTER_MS) {
            return Vec::new();
        }
        self.typed_ms = None;
        self.draft(now).map(|d| Effect::ask(KeepDraft(d))).into_iter().collect()
    }

    fn draft(&self, now: &Context) -> Option<Draft> {
        let typed = self.elements.iter().any(|e| !e.text.is_empty()) || !self.another.is_empty();
        if self.saved || !(self.form.touched() || typed || self.kept) {
            return None;
        }
        let mut draft = self.form.to_draft(self.id, now.now);
        let word = Origin::Typed.word();
        for e in self.elements.iter().filter(|e| !e.text.is_empty()) {
            draft.fields.push((format!("{IN_A_DRAFT}{}/{}", e.element, e.unit), e.text.clone(), word.into()));
        }
        // Also tells a table from a form of the same kind.
        draft.fields.push((IN_A_DRAFT.into(), self.another.clone(), word.into()));
        draft.at = self.at;
        Some(draft)
    }

    fn takes_text(&self) -> bool {
        true
    }

    fn letters_begin(&mut self) {
        let (form, elements) = (self.form.clone(), self.elements.clone());
        self.remembered = Some((form, elements, self.another.clone(), self.reason.clone()));
    }

    fn letters_back(&mut self, _typed: &str, of: Option<&'static str>, fast: bool) -> bool {
        // A badge is no word of a reason; another tag may be one.
        if self.reason.is_some() && !fast && of != Some(People::NAME) {
            return false;
        }
        let Some((form, elements, another, reason)) = self.remembered.take() else { return false };
        // Letters alone: the elements and what is proposed may have come while they were sent.
        self.form.without_letters(&form);
        for was in elements {
            if let Some(element) = self.elements.iter_mut().find(|e| e.element == was.element) {
                element.text = was.text;
            }
        }
        (self.another, self.reason) = (another, reason);
        true
    }

    fn draw(&self, frame: &mut Frame, area: Rect, view: &View) {
        let (left, right) = split(area, (area.width * 2 / 5).clamp(1, 44), 1);
        self.draw_head(frame, left, view);
        self.draw_elements(frame, right, view);
    }
}

impl Table {
    fn draw_head(&self, frame: &mut Frame, area: Rect, view: &View) {
        let width = usize::from(area.width);
        let mut rows = Vec::new();
        for (i, row) in self.form.rows.iter().enumerate() {
            let here = i == self.at;
            let value = if here { Role::Field } else { Role::Text };
            let label = format!("{} {} ", mark(here), fit(&row.label(), 11));
            let wide = width.saturating_sub(15);
            let shown = clocks(&row.text);
            // The end of a long text is what the person is typing.
            let tail = if here { shown.chars().count().saturating_sub(wide.saturating_sub(1)) } else { 0 };
            let text: String = shown.chars().skip(tail).collect();
            rows.push(Line::from(vec![
                view.span(if here { Role::Strong } else { Role::Text }, label),
                view.span(value, fit(&text, wide)),
            ]));
            if let Type::Choice(words) = row.ty()
                && here
            {
                rows.push(view.line(Role::Quiet, fit(&format!("    {}", words.join(" · ")), width)));
            }
        }
        rows.push(Line::default());
        if !self.alloy.is_empty() {
            rows.extend(view.wrapped(Role::Strong, &format!("Elements of {}", self.alloy), width));
        } else {
            rows.extend(view.wrapped(Role::Look, "! Scan or type the lot or heat first.", width));
        }
        let outside = self.elements.iter().filter(|e| e.inside() == Some(false)).count();
        if outside > 0 {
            rows.push(view.line(Role::Bad, fit(&format!("✗ {outside} outside the limits"), width)));
        }
        if let Some(reason) = &self.reason {
            for why in &reason.why {
                rows.extend(view.wrapped(Role::Look, &format!("! {why}"), width));
            }
            rows.push(view.line(Role::Strong, fit("Why is it right?", width)));
            rows.extend(
                wrap(&format!("{}_", reason.text), width).into_iter().map(|l| view.line(Role::Field, l)),
            );
        } else if let Some((role, text)) = &self.last {
            rows.extend(view.wrapped(*role, text, width));
        }
        lines(frame, area, rows);
    }

    fn draw_elements(&self, frame: &mut Frame, area: Rect, view: &View) {
        let width = usize::from(area.width);
        let total = self.elements.len() + 1;
        let place = self.at.saturating_sub(self.form.rows.len());
        let mut rows = Vec::new();
        for i in in_sight(place, total, usize::from(area.height)) {
            let here = !self.on_head() && i == place;
            let role = if here { Role::Field } else { Role::Text };
            let Some(e) = self.elements.get(i) else {
                let label = format!("{} other ", mark(here));
                let text =
                    if self.another.is_empty() && !here { "an element: Mn 0.02 wt%" } else { &self.another };
                let role = if here { role } else { Role::Quiet };
                rows.push(Line::from(vec![
                    view.span(Role::Text, label),
                    view.span(role, fit(text, width.saturating_sub(10))),
                ]));
                continue;
            };
            let (remark_role, remark) = match (e.value(), e.inside()) {
                (Err(fault), _) => (Role::Bad, format!("✗ {fault}")),
                (Ok(_), Some(false)) => (Role::Bad, format!("✗ OUTSIDE {}", e.limits())),
                (Ok(_), Some(true)) => (Role::Good, format!("✓ {}", e.limits())),
                (Ok(v), None) if !v.is_blank() && (e.min.is_some() || e.max.is_some()) => {
                    (Role::Look, format!("? not told: {}", e.limits()))
                }
                _ => (Role::Quiet, e.limits()),
            };
            rows.push(Line::from(vec![
                view.span(
                    if here { Role::Strong } else { Role::Text },
                    format!("{} {} ", mark(here), fit(&e.element, 3)),
                ),
                view.span(role, fit(&e.text, 9)),
                view.span(Role::Text, format!(" {} ", fit(&e.unit, 4))),
                view.span(remark_role, fit(&remark, width.saturating_sub(22))),
            ]));
        }
        lines(frame, area, rows);
    }
}
