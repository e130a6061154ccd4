//! The daily check of the pyrometer in use: its difference is typed where there is one, F2 saves.

use crate::jobs::furnace::daily_check;
use crate::jobs::furnace::daily_check::LastCheck;
use crate::jobs::records::orders::log;
use crate::ui::form::{Form, Origin, Row};
use crate::ui::keys::{meant, plain, shown};
use crate::ui::kit::*;
use records::catalogue::{Calibrations, CheckResult, Instruments};
use records::value::words::articled;
use records::{Stamp, Store, Type};

#[derive(Default)]
pub struct DailyCheck {
    /// None while it is read; the inner one where no pour names a pyrometer.
    known: Option<Option<LastCheck>>,
    form: Option<Form>,
    reason: Option<Reason>,
    saving: bool,
    last: Option<(Role, String)>,
    leaving: bool,
    /// The form before the letters that may be a code.
    before: Option<Form>,
}

/// What is asked, in this order.
const ASKED: [&str; 7] = [
    Calibrations::difference.name,
    Calibrations::unit.name,
    Calibrations::result.name,
    Calibrations::check.name,
    Calibrations::due_at.name,
    Calibrations::person.name,
    Calibrations::note.name,
];

type K = Key<DailyCheck>;

const KEYS: &[K] = &[
    K::on(&[Press::F(2)], DailyCheck::save)
        .named("save", "Save this check")
        .when(|c| c.form.is_some() && !c.saving),
    K::on(&[Press::Enter, Press::Down, Press::Tab], |c, _| c.edit(|f| f.step(1)))
        .named("down", "The next row"),
    K::on(&[Press::Up, Press::BackTab], |c, _| c.edit(|f| f.step(-1))).help("The row above"),
    K::on(&[Press::Right], |c, _| c.edit(|f| f.turn(1))).named("choice", "The next word of a choice"),
    K::on(&[Press::Left], |c, _| c.edit(|f| f.turn(-1))).help("The word before"),
    K::on(&[Press::Backspace], |c, _| c.edit(Form::erase)).help("Take a letter back"),
    K::on(&[Press::Esc], |c, _| c.back()).named("back", "Leave it; nothing is recorded"),
];

impl DailyCheck {
    fn edit(&mut self, act: impl FnOnce(&mut Form)) -> Vec<Effect> {
        self.last = None;
        self.leaving = false;
        if let Some(form) = &mut self.form {
            act(form);
            form.at = form.at.min(form.rows.len().saturating_sub(1));
        }
        Vec::new()
    }

    fn say(&mut self, role: Role, text: impl Into<String>) -> Vec<Effect> {
        let text = text.into();
        self.last = Some((role, text.clone()));
        vec![Effect::Say(role, text)]
    }

    fn back(&mut self) -> Vec<Effect> {
        if self.form.as_ref().is_some_and(Form::touched) && !self.leaving {
            self.leaving = true;
            return self.say(Role::Look, "the check is not saved: F2 saves it, Esc again leaves");
        }
        vec![Effect::Close]
    }

    fn started(&mut self, known: Option<LastCheck>, now: &Context) {
        if let Some(known) = &known {
            let mut form = Form::new(Calibrations::KIND, &known.given);
            form.rows.sort_by_key(|r| ASKED.iter().position(|name| *name == r.name()));
            form.rows.retain(|r| ASKED.contains(&r.name()));
            if let Some(person) = &now.who.person {
                form.set(Calibrations::person.name, person, Origin::Given);
            }
            form.at = 0;
            self.form = Some(form);
        }
        self.known = Some(known);
    }

    fn save(&mut self, now: &Context) -> Vec<Effect> {
        let (Some(form), Some(Some(known))) = (&mut self.form, &self.known) else { return Vec::new() };
        if self.saving {
            return Vec::new();
        }
        let reason = self.reason.as_ref().map(|r| r.text.trim().to_string()).filter(|r| !r.is_empty());
        let mut arguments = vec![
            format!("{}={}", Calibrations::instrument.name, known.instrument),
            format!("{}={}", Calibrations::checked_at.name, now.now),
        ];
        for i in 0..form.rows.len() {
            let clock = form.clock(now.now);
            let row = &mut form.rows[i];
            let mut text = row.resolved(clock);
            row.fault = match row.understood(clock) {
                Some(Err(fault)) => Some(fault),
                _ => row.value(&text).err(),
            };
            if let Some(fault) = row.fault.clone() {
                let text = format!("{} {fault}", row.label());
                form.at = i;
                return self.say(Role::Bad, text);
            }
            // What was asked here no guard of the store asks: the note takes the answer from here.
            if let Some(reason) = reason.as_ref().filter(|_| row.name() == Calibrations::note.name) {
                text = [text.as_str(), reason]
                    .into_iter()
                    .filter(|t| !t.is_empty())
                    .collect::<Vec<_>>()
                    .join("; ");
            }
            if !text.is_empty() {
                arguments.push(format!("{}={text}", row.name()));
            }
        }
        let number = |name| form.row(name).and_then(Row::number);
        let good = form.text(Calibrations::result.name) == CheckResult::Good.word();
        let odd = match number(Calibrations::difference.name) {
            _ if !good => None,
            Some(difference) => known.odd(difference),
            None => known.no_figure(),
        };
        if let (Some(odd), None) = (odd, &self.reason) {
            self.reason = Some(Reason::new(vec![odd]));
            return Vec::new();
        }
        self.saving = true;
        vec![log(now, Calibrations::NAME, arguments, reason)]
    }

    fn row(row: &Row, here: bool, width: usize, view: &View) -> Line<'static> {
        let remark = match (&row.fault, row.ty()) {
            (Some(fault), _) => (Role::Bad, format!("✗ {fault}")),
            (None, Type::Choice(words)) if here => (Role::Quiet, words.join(" · ")),
            (None, _) if row.text == CheckResult::Failed.word() => {
                (Role::Bad, "✗ what was read with it since its last good check is suspect".into())
            }
            _ => (Role::Quiet, String::new()),
        };
        let value = if here { Role::Field } else { Role::Text };
        Line::from(vec![
            view.span(
                if here { Role::Strong } else { Role::Text },
                format!("{} {} ", mark(here), fit(&row.label(), 12)),
            ),
            view.span(value, fit(&clocks(&row.text), 20)),
            view.span(remark.0, format!(" {}", fit(&remark.1, width.saturating_sub(37)))),
        ])
    }
}

impl Screen for DailyCheck {
    fn title(&self) -> String {
        match &self.known {
            Some(Some(known)) => format!("Check of {}", known.instrument),
            _ => "Check of the pyrometer".into(),
        }
    }

    fn keys(&self) -> Vec<Shown> {
        if self.reason.is_some() {
            return vec![
                plain("F2", "save with this reason", "Save this check; the reason stands in its note"),
                plain("Esc", "change the value", "Back to the check"),
            ];
        }
        shown(KEYS, self)
    }

    fn begin(&mut self, now: &Context) -> Vec<Effect> {
        vec![Effect::read(now.now, |store, now| daily_check::of_the_pyrometer(store, *now))]
    }

    fn press(&mut self, press: Press, now: &Context) -> Vec<Effect> {
        if let Some(reason) = &mut self.reason {
            return match reason.press(press, "change the value") {
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
            Press::Char(c) => self.edit(|f| f.type_char(c)),
            _ => Vec::new(),
        }
    }

    fn code(&mut self, code: &str, found: Lead, now: &Context) -> Vec<Effect> {
        let Some((of, tag)) = found else { return unknown(code) };
        if self.reason.is_some() {
            return unused(&tag, "a question is open");
        }
        // Another instrument: its check is asked instead, where nothing was typed for this one.
        if of == Instruments::NAME && !self.form.as_ref().is_some_and(Form::touched) {
            let read =
                |store: &Store, (tag, now): &(String, Stamp)| daily_check::of(store, tag, *now).map(Some);
            return vec![Effect::read((tag, now.now), read)];
        }
        let noun = records::catalogue::kind(of).map_or("record", |k| k.noun);
        unused(&format!("{tag}, {}", articled(noun)), "no field here takes it")
    }

    fn reply(&mut self, mut reply: Reply, now: &Context) -> Vec<Effect> {
        if let Some(known) = reply.take::<Option<LastCheck>>() {
            self.started(known, now);
        }
        Vec::new()
    }

    fn person_changed(&mut self, now: &Context) -> Vec<Effect> {
        let who = now.who.person.as_deref().unwrap_or("");
        let said = self.form.as_mut().and_then(|form| form.follow_person(who));
        said.map(|said| Effect::say(Role::Look, said)).into_iter().collect()
    }

    fn letters_begin(&mut self) {
        match &mut self.reason {
            Some(reason) => reason.letters_begin(),
            None => self.before.clone_from(&self.form),
        }
    }

    fn letters_back(&mut self, _typed: &str, of: Option<&'static str>, _fast: bool) -> bool {
        if let Some(reason) = &mut self.reason {
            return reason.letters_back(of);
        }
        let (Some(before), Some(form)) = (self.before.take(), &mut self.form) else { return false };
        form.without_letters(&before);
        true
    }

    fn takes_words(&self) -> bool {
        let row = self.form.as_ref().and_then(Form::chosen);
        self.reason.is_some() || row.is_some_and(|r| r.ty() == Type::Text)
    }

    fn changed(&mut self, _change: &Change, mine: bool, _now: &Context) -> Vec<Effect> {
        mine.then_some(Effect::Close).into_iter().collect()
    }

    fn failed(&mut self, failure: &Failure, _now: &Context) -> Vec<Effect> {
        if std::mem::take(&mut self.saving) && failure.wants_reason {
            self.reason = Some(Reason::new(vec![failure.sentence.clone()]));
            return Vec::new();
        }
        if let Some(form) = &mut self.form {
            form.blame(failure);
        }
        self.last = Some((Role::Bad, failure.sentence.clone()));
        Vec::new()
    }

    fn takes_text(&self) -> bool {
        true
    }

    fn draw(&self, frame: &mut Frame, area: Rect, view: &View) {
        let width = usize::from(area.width);
        let mut rows: Vec<Line<'static>> = Vec::new();
        match &self.known {
            None => rows.push(view.line(Role::Quiet, "reading …")),
            Some(None) => {
                let text = "No pour names a pyrometer yet: the bench has the form of a calibration.";
                rows.extend(view.wrapped(Role::Look, text, width));
            }
            Some(Some(known)) => rows.extend(before(known, width, view)),
        }
        rows.push(Line::default());
        if let Some(form) = &self.form {
            for (i, row) in form.rows.iter().enumerate() {
                rows.push(Self::row(row, i == form.at, width, view));
            }
            rows.push(Line::default());
            rows.push(view.line(Role::Strong, fit("F2 saves it as checked now.", width)));
        }
        if let Some(reason) = &self.reason {
            for why in &reason.why {
                rows.extend(view.wrapped(Role::Look, &format!("! {why}"), width));
            }
            rows.push(view.line(Role::Field, fit(&format!("Why is it right? {}_", reason.text), width)));
        } else if let Some((role, text)) = &self.last {
            rows.extend(view.wrapped(*role, text, width));
        }
        lines(frame, area, rows);
    }
}

/// What the last check said, and what is due.
fn before(known: &LastCheck, width: usize, view: &View) -> Vec<Line<'static>> {
    let mut rows = view.wrapped(Role::Strong, &format!("{}: {}", known.instrument, known.about), width);
    match &known.last {
        None => rows.push(view.line(Role::Look, fit("! no check of it is on record", width))),
        Some((at, result, difference)) => {
            let (role, mark) = match result {
                CheckResult::Good => (Role::Good, "✓"),
                _ => (Role::Bad, "✗"),
            };
            let by = if difference.is_empty() { String::new() } else { format!(", difference {difference}") };
            let result = result.word().replace('_', " ");
            let text = format!("{mark} last check {}: {result}{by}", clock(&at.to_string()));
            rows.push(view.line(role, fit(&text, width)));
        }
    }
    if let Some(due) = known.due {
        let over = due.ms() < view.now.ms();
        let (role, text) = match over {
            true => (Role::Bad, format!("✗ overdue since {}", clock(&due.to_string()))),
            false => (Role::Text, format!("  next due {}", clock(&due.to_string()))),
        };
        rows.push(view.line(role, fit(&text, width)));
    }
    rows
}
