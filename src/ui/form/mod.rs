//! The one form machine: made from the catalogue for every record kind; a screen draws it.

pub mod drafts;
pub mod drafts_screen;
pub(crate) mod row;
#[cfg(test)]
mod tests;

use crate::ui::form::drafts::Draft;
use crate::ui::list::step;
use crate::ui::order::Failure;
use records::catalogue::kind::Kind;
use records::catalogue::{Findings, Holds};
use records::check;
use records::check::limit::Limit;
use records::check::own_time;
use records::check::{Fault, Guard, OwnField};
use records::value::time_text::{Clock, TimeZone};
use records::{Record, Stamp, Type};

pub use crate::ui::form::row::{FieldSource, NOW, Origin, Row, carried, label};

/// The form of one record.
#[derive(Clone, Debug)]
pub struct Form {
    pub kind: &'static Kind,
    /// The record that is changed; none for a new one.
    pub address: Option<String>,
    /// That record was read.
    loaded: bool,
    /// The rows; the line to accept stands below them.
    pub rows: Vec<Row>,
    /// The row with the cursor; `rows.len()` is the line to accept.
    pub at: usize,
    /// The foundry's own limits for its fields.
    pub limits: Vec<Limit>,
    /// What does not fit with what is on record, as far as the form is filled in.
    pub asks: Vec<Guard>,
    /// How the place keeps its time.
    pub zone: TimeZone,
    /// What was answered before the form was opened; it goes into the note.
    pub answered: String,
    /// The letters typed into a choice, and its row.
    letters: (usize, String),
    own: Vec<OwnField>,
}

/// What a late entry is called where it is asked about.
pub const LATE: &str = "late entry";

/// The name under which an answer is handed to a form and kept in a draft.
pub const ANSWERED: &str = "answered before";

/// Why a form is not accepted yet.
#[derive(Debug, PartialEq)]
pub enum Stop {
    /// Fields are at fault; the first of them.
    Faults(usize),
    /// Values lie outside their guards: a reason is asked for.
    Guards(Vec<Guard>),
    /// A record is changed: a reason is asked for.
    Reason,
    /// Nothing was changed.
    Same,
}

/// What is to be written.
#[derive(Debug, PartialEq)]
pub enum Ready {
    /// A new record: `FIELD=VALUE`.
    New(Vec<String>),
    /// Changes: field and text, and the reason that stands for itself where only blanks were filled.
    Changes(Vec<(String, String)>, Option<&'static str>),
}

impl Form {
    /// An empty form of a kind, with what is known from where it was opened.
    pub fn new(kind: &'static Kind, given: &[(String, String)]) -> Self {
        let shown = kind.all_fields().filter(|f| !matches!(f.name, "recorded_at" | "recorded_by"));
        let rows = shown.map(|f| Row::new(FieldSource::Field(*f))).collect();
        let mut form = Self {
            kind,
            address: None,
            loaded: false,
            rows,
            at: 0,
            limits: Vec::new(),
            asks: Vec::new(),
            zone: TimeZone::default(),
            answered: String::new(),
            letters: (0, String::new()),
            own: Vec::new(),
        };
        for (name, text) in given {
            if name == ANSWERED {
                form.answered.clone_from(text);
            }
            form.set(name, text, Origin::Given);
        }
        if let Some(time) = kind.time {
            // A time that is given blank is asked.
            let asked = given.iter().any(|(n, t)| n == time && t.is_empty());
            let required = !asked && kind.field(time).is_some_and(|f| !f.optional);
            if required && form.text(time).is_empty() {
                form.set(time, NOW, Origin::Given);
            }
        }
        form.at = form.next_blank(0);
        form
    }

    pub fn text(&self, name: &str) -> &str {
        self.row(name).map_or("", |r| r.text.as_str())
    }

    /// A row by its field's name.
    pub fn row(&self, name: &str) -> Option<&Row> {
        self.rows.iter().find(|r| r.name() == name)
    }

    pub fn set(&mut self, name: &str, text: &str, origin: Origin) {
        if let Some(row) = self.rows.iter_mut().find(|r| r.name() == name) {
            row.text = text.to_string();
            row.origin = if text.is_empty() { Origin::Blank } else { origin };
            row.fault = None;
        }
    }

    /// Takes the foundry's own fields, and what changes slowly from the last record.
    pub fn start(&mut self, own: &[OwnField], last: &[(String, String)], person: Option<&str>) {
        let untouched = self.at == self.next_blank(0);
        for o in own {
            if self.row(&o.name).is_none() {
                let place = self.rows.len().saturating_sub(1);
                self.rows.insert(place, Row::new(FieldSource::Own(o.clone())));
            }
        }
        self.own = own.to_vec();
        if self.address.is_none() {
            for (name, text) in last {
                let may = self.kind.field(name).is_some_and(|f| carried(self.kind, f));
                if may && self.text(name).is_empty() && !matches!(text.as_str(), "" | "n/a" | "illegible") {
                    self.set(name, text, Origin::Carried);
                }
            }
            // Who works here did it; who granted or decided something is not known from that.
            let blank = self.row("person").is_some_and(|r| r.origin == Origin::Blank && r.ty() == Type::Text);
            if let (Some(person), true) = (person, blank) {
                self.set("person", person, Origin::Given);
            }
        }
        if untouched {
            self.at = self.next_blank(0);
        }
    }

    /// Proposes the next number as the tag of a new record.
    pub fn number(&mut self, next: Option<&str>) {
        let untouched = self.at == self.next_blank(0);
        let (Some(tag), Some(next), None) = (self.kind.tag_field(), next, &self.address) else { return };
        if self.text(tag.name).is_empty() {
            self.set(tag.name, next, Origin::Given);
            if untouched {
                self.at = self.next_blank(0);
            }
        }
    }

    /// What was typed since the form stood like this is taken out again; what came by itself meanwhile stays.
    pub fn without_letters(&mut self, before: &Self) {
        for was in &before.rows {
            let Some(row) = self.rows.iter_mut().find(|r| r.name() == was.name()) else { continue };
            if row.origin == Origin::Typed && (row.text != was.text || row.origin != was.origin) {
                (row.text, row.origin, row.fault) = (was.text.clone(), was.origin, None);
            }
        }
    }

    /// The tag stands in this row, and was only proposed.
    pub fn numbered(&self, row: &Row) -> bool {
        let tag = self.kind.tag_field().is_some_and(|f| f.name == row.name());
        tag && row.origin == Origin::Given && self.address.is_none()
    }

    /// Fills the form with a record that is to be changed.
    pub fn load(&mut self, address: String, fields: &[(String, String)]) {
        let again = std::mem::replace(&mut self.loaded, true);
        self.address = Some(address);
        for (name, text) in fields {
            if let Some(row) = self.rows.iter_mut().find(|r| r.name() == name) {
                if again && row.before != *text && matches!(row.origin, Origin::Typed | Origin::Scanned) {
                    let here = if text.is_empty() { "blank" } else { text };
                    row.fault = Some(format!("is {here} by now: somebody else wrote it"));
                }
                row.before.clone_from(text);
                if !matches!(row.origin, Origin::Typed | Origin::Scanned) {
                    row.text.clone_from(text);
                    row.origin = if text.is_empty() { Origin::Blank } else { Origin::Before };
                }
            } else if let (Some(o), false) = (self.own.iter().find(|o| o.name == *name), text.is_empty()) {
                let mut row = Row::new(FieldSource::Own(o.clone()));
                row.before.clone_from(text);
                row.text.clone_from(text);
                row.origin = Origin::Before;
                self.rows.push(row);
            }
        }
        if !again {
            self.at = self.next_blank(0);
        }
    }

    /// The next row from `from` on that is blank; a note never stops the way to the line to accept.
    pub fn next_blank(&self, from: usize) -> usize {
        (from..self.rows.len())
            .find(|&i| self.rows[i].text.is_empty() && self.rows[i].name() != "note")
            .unwrap_or(self.rows.len())
    }

    /// The chosen row; none on the line to accept.
    pub fn chosen(&self) -> Option<&Row> {
        self.rows.get(self.at)
    }

    /// A character typed into the chosen field. What was carried or given is replaced by the first.
    pub fn type_char(&mut self, c: char) {
        let Some(row) = self.rows.get_mut(self.at) else { return };
        row.fault = None;
        if let Type::Choice(words) = row.ty() {
            if c == ' ' {
                return self.turn(1);
            }
            let (of, before) = std::mem::take(&mut self.letters);
            let before = if of == self.at { before } else { String::new() };
            let letters = format!("{before}{}", c.to_ascii_lowercase());
            // The letters of a word lead to it, one by one; the same letter again leads to the next word that begins so.
            let again = before.chars().all(|b| b == c.to_ascii_lowercase()) && !before.is_empty();
            let fits =
                |begin: &str| words.iter().filter(|w| w.starts_with(begin)).copied().collect::<Vec<_>>();
            let (mut left, mut kept) = (fits(&letters), letters.clone());
            if left.is_empty() && again {
                left = fits(&before[..c.len_utf8().min(before.len())]);
                let here = left.iter().position(|w| *w == row.text).map_or(0, |i| i + 1);
                let n = left.len().max(1);
                left.rotate_left(here % n);
                kept = before.clone();
            }
            match left.first() {
                Some(word) => {
                    (row.text, row.origin) = ((*word).to_string(), Origin::Typed);
                    self.letters = (self.at, kept);
                }
                // Never another word than the one that was typed.
                None => {
                    if !before.is_empty() {
                        (row.text, row.origin) = (String::new(), Origin::Blank);
                    }
                    row.fault = Some(format!("{letters:?} begins none of: {}", words.join(", ")));
                }
            }
            return;
        }
        if !matches!(row.origin, Origin::Typed | Origin::Blank) {
            row.text.clear();
        }
        if row.text.chars().count() < 2000 {
            row.text.push(c);
        }
        row.origin = Origin::Typed;
    }

    /// Takes the last character back.
    pub fn erase(&mut self) {
        let Some(row) = self.rows.get_mut(self.at) else { return };
        row.fault = None;
        self.letters = (self.at, String::new());
        if matches!(row.ty(), Type::Choice(_)) || matches!(row.text.as_str(), "n/a" | "illegible" | "now") {
            row.text.clear();
        } else {
            row.text.pop();
        }
        row.origin = if row.text.is_empty() { Origin::Blank } else { Origin::Typed };
    }

    /// Empties the chosen field, or writes a word that stands for its absence, or `now`.
    pub fn put(&mut self, text: &str) -> Result<(), String> {
        let Some(row) = self.rows.get_mut(self.at) else { return Ok(()) };
        match text {
            "n/a" | "illegible" if !row.optional() => {
                return Err(format!("{} must be filled: it cannot be left out", row.label()));
            }
            "n/a" | "illegible" if row.name() == "note" => return Err("a note is left blank".into()),
            "now" if !matches!(row.ty(), Type::Time | Type::Date | Type::Moment) => {
                return Err(format!("{} is no time", row.label()));
            }
            _ => {}
        }
        row.text = text.to_string();
        row.fault = None;
        row.origin = if text.is_empty() { Origin::Blank } else { Origin::Typed };
        Ok(())
    }

    /// Moves the cursor; the line to accept is the last.
    pub fn step(&mut self, by: isize) {
        self.at = step(self.at, by, self.rows.len() + 1);
    }

    /// The other side of a blade.
    pub fn turn_side(&mut self) {
        const SIDES: [&str; 2] = ["concave", "convex"];
        let here = SIDES.iter().position(|s| *s == self.text(Findings::side.name));
        self.set(Findings::side.name, SIDES[here.map_or(0, |i| 1 - i)], Origin::Typed);
    }

    pub fn turn(&mut self, by: isize) {
        self.letters = (self.at, String::new());
        let Some(row) = self.rows.get_mut(self.at) else { return };
        let Type::Choice(words) = row.ty() else { return };
        let n = words.len() as isize;
        let here = words.iter().position(|w| *w == row.text);
        let next = match here {
            Some(i) => (i as isize + by).rem_euclid(n),
            None if by > 0 => 0,
            None => n - 1,
        };
        row.text = words[next as usize].to_string();
        row.origin = Origin::Typed;
        row.fault = None;
    }

    /// The field that a code belongs to. A known record goes to a field that refers to its kind: the
    /// chosen one, else a blank one, else one that was only carried. An unknown code may be the new
    /// record's own tag, or text for the chosen field.
    pub fn place_of(&self, code: &str, kind: Option<&str>) -> Option<usize> {
        let refers = |row: &Row, kind: &str| match row.ty() {
            Type::Ref(kinds) => kinds.contains(&kind),
            Type::AnyTag => true,
            _ => false,
        };
        let chosen = self.chosen();
        if let Some(kind) = kind {
            if chosen.is_some_and(|r| refers(r, kind)) {
                return Some(self.at);
            }
            let fits = |r: &&Row| refers(r, kind);
            let by = |ok: &dyn Fn(&Row) -> bool| self.rows.iter().position(|r| fits(&r) && ok(r));
            return by(&|r| r.text.is_empty())
                .or_else(|| by(&|r| r.origin == Origin::Carried))
                .or_else(|| by(&|r| r.origin == Origin::Scanned))
                .or_else(|| by(&|_| true));
        }
        let plain = |r: &Row| match r.ty() {
            Type::Text | Type::Tag => true,
            Type::Number | Type::Count => r.value(code).is_ok(),
            Type::Time | Type::Date | Type::Moment => r.value(code).is_ok(),
            _ => false,
        };
        if chosen.is_some_and(plain) {
            return Some(self.at);
        }
        self.rows.iter().position(|r| r.ty() == Type::Tag && r.text.is_empty())
    }

    /// Puts a code into a row; the cursor goes on to the next blank one.
    pub fn scan_into(&mut self, place: usize, code: &str) {
        if let Some(row) = self.rows.get_mut(place) {
            row.text = code.to_string();
            row.origin = Origin::Scanned;
            row.fault = None;
            if place == self.at {
                self.at = self.next_blank(place + 1);
            }
        }
    }

    /// The clock by which its times are read.
    pub fn clock(&self, now: Stamp) -> Clock {
        Clock { now, zone: self.zone }
    }

    /// Something was typed: times count from this moment.
    pub fn mark(&mut self, now: Stamp) {
        self.rows.iter_mut().for_each(|row| row.mark(now));
    }

    /// What stands in these fields, as the store takes it.
    pub fn texts_of(&self, names: &[&str], now: Stamp) -> Vec<(String, String)> {
        let rows = names.iter().filter_map(|name| self.row(name));
        rows.map(|r| (r.name().to_string(), r.resolved(self.clock(now)))).collect()
    }

    /// The record as it stands, as far as it can be read.
    pub fn record(&self, now: Stamp) -> Record<'static> {
        let mut record = Record::blank(self.kind);
        for row in &self.rows {
            if let Ok(value) = row.value(&row.resolved(self.clock(now))) {
                match &row.of {
                    FieldSource::Field(f) => record.set(f.name, value),
                    FieldSource::Own(o) => record.own.push((o.name.clone(), value)),
                }
            }
        }
        record
    }

    /// Checks everything, and gives what is to be written.
    pub fn accept(&mut self, now: Stamp, reason: &str) -> Result<Ready, Stop> {
        let clock = self.clock(now);
        let to_come = self.to_come(now);
        for row in &mut self.rows {
            let text = row.resolved(clock);
            // A key that the store gives by itself may stay blank.
            let given = self.kind.is::<Holds>() && row.name() == Holds::hold.name && text.is_empty();
            row.fault = match row.understood(clock) {
                Some(Err(fault)) => Some(fault),
                _ if given => None,
                _ => row.value(&text).err(),
            };
            if row.fault.is_none() {
                row.fault = to_come.iter().find(|f| f.column == row.name()).map(|f| f.message.clone());
            }
        }
        if let Some(first) = self.rows.iter().position(|row| row.fault.is_some()) {
            self.at = first;
            return Err(Stop::Faults(first));
        }
        let noted = !self.text("note").trim().is_empty();
        let guards = self.guards(now);
        let changes = self.changes(now);
        if self.address.is_some() {
            if changes.is_empty() {
                return Err(Stop::Same);
            }
            let filled = changes.iter().all(|(name, _)| self.row(name).is_some_and(|r| r.before.is_empty()));
            if !guards.is_empty() && reason.trim().is_empty() {
                return Err(Stop::Guards(guards));
            }
            if !filled && reason.trim().is_empty() {
                return Err(Stop::Reason);
            }
            return Ok(Ready::Changes(changes, filled.then_some("details added later")));
        }
        if !guards.is_empty() && reason.trim().is_empty() && !noted {
            return Err(Stop::Guards(guards));
        }
        let pairs = self.rows.iter().filter(|r| !r.text.is_empty());
        let mut pairs: Vec<(&str, String)> = pairs.map(|r| (r.name(), r.resolved(clock))).collect();
        let late = self.late(now).is_some();
        if (!self.answered.is_empty() || late) && self.kind.field("note").is_some() {
            let typed = pairs.iter().position(|(n, _)| *n == "note").map(|i| pairs.remove(i).1);
            let late = (late && !reason.trim().is_empty()).then(|| format!("late entry: {}", reason.trim()));
            // The reason for a value outside its guard stands in the note too, and must not be lost.
            let reason = (late.is_none() && !reason.trim().is_empty()).then(|| reason.trim().to_string());
            let answered = (!self.answered.is_empty()).then(|| self.answered.clone());
            let note: Vec<String> = [typed, late, reason, answered].into_iter().flatten().collect();
            if !note.is_empty() {
                pairs.push(("note", note.join("; ")));
            }
        }
        Ok(Ready::New(pairs.into_iter().map(|(n, t)| format!("{n}={t}")).collect()))
    }

    /// Times that are still to come and may not be: nobody's reason makes them right.
    pub fn to_come(&self, now: Stamp) -> Vec<Fault> {
        let clock = self.clock(now);
        let typed = |name: &str| {
            self.address.is_none() || self.row(name).is_some_and(|r| r.resolved(clock) != r.before)
        };
        own_time::faults(&self.record(now), now, typed).collect()
    }

    /// What asks for a reason: typing guards, the foundry's own limits, an entry that comes late.
    fn guards(&self, now: Stamp) -> Vec<Guard> {
        let record = self.record(now);
        let mut out: Vec<Guard> =
            check::guards(&record, &self.own).into_iter().filter(|g| g.needs_reason).collect();
        let changed = |name: &str| {
            self.address.is_none() || self.row(name).is_some_and(|r| r.resolved(self.clock(now)) != r.before)
        };
        out.extend(
            self.limits
                .iter()
                .filter(|l| changed(&l.field))
                .filter_map(|l| l.judge(record.get(&l.field).number()?)),
        );
        // A change asks for its reason by itself.
        out.extend(self.asks.iter().filter(|g| g.needs_reason && self.address.is_none()).cloned());
        if let Some(minutes) = self.late(now) {
            let message = format!("{minutes:.0} min after; it is marked as late, and reviewed at hand-over");
            out.push(Guard { field: LATE.into(), message, needs_reason: true });
        }
        out
    }

    /// Minutes that a new record comes after its own time, where that makes it late.
    pub fn late(&self, now: Stamp) -> Option<f64> {
        let mut typed = self.record(now);
        typed.set_recorded(now, None);
        (self.address.is_none() && typed.is_late()).then(|| typed.delay_min().unwrap_or(0.0))
    }

    /// What the limits of a field say beside it: that a value lies outside, else the limit itself.
    pub fn limit(&self, row: &Row) -> Option<(bool, String)> {
        let of = self.limits.iter().filter(|l| l.field == row.name());
        let mut found = None;
        for limit in of {
            if let Some(guard) = row.number().and_then(|v| limit.judge(v)) {
                return Some((true, guard.message));
            }
            found.get_or_insert((false, limit.text()));
        }
        found
    }

    fn changes(&self, now: Stamp) -> Vec<(String, String)> {
        let clock = self.clock(now);
        let changed = self.rows.iter().map(|r| (r.name().to_string(), r.resolved(clock), &r.before));
        changed.filter(|(_, text, before)| text != *before).map(|(name, text, _)| (name, text)).collect()
    }

    /// Moves the cursor to the field that is at fault.
    pub fn blame(&mut self, failure: &Failure) {
        let named = |r: &Row| failure.field.as_deref() == Some(r.name());
        if let Some(place) = self.rows.iter().position(named) {
            self.at = place;
            self.rows[place].fault = Some(failure.sentence.clone());
        }
    }

    /// Somebody else works here now: a person that was only proposed follows; one that was put in stays, and that is said.
    pub fn follow_person(&mut self, person: &str) -> Option<String> {
        let row = self.row("person").filter(|r| r.ty() == Type::Text)?;
        match row.origin {
            Origin::Given | Origin::Blank => {
                self.set("person", person, Origin::Given);
                None
            }
            _ if row.text.eq_ignore_ascii_case(person) => None,
            _ => Some(format!("the person in this form is {} still", row.text)),
        }
    }

    /// A person put something in.
    pub fn touched(&self) -> bool {
        self.rows.iter().any(|r| matches!(r.origin, Origin::Typed | Origin::Scanned))
    }

    /// As a draft. A time that counts from the clock is fixed by this one.
    pub fn to_draft(&self, id: u64, now: Stamp) -> Draft {
        let keep = |r: &Row| {
            let text = if r.is_time() { r.resolved(self.clock(now)) } else { r.text.clone() };
            (r.name().to_string(), text, r.origin.word().to_string())
        };
        Draft {
            id,
            kind: self.kind.name.to_string(),
            address: self.address.clone(),
            fields: self
                .rows
                .iter()
                .filter(|r| !r.text.is_empty())
                .map(keep)
                .chain(
                    (!self.answered.is_empty())
                        .then(|| (ANSWERED.to_string(), self.answered.clone(), "given".to_string())),
                )
                .collect(),
            at: self.at,
            touched: now.to_string(),
            owner: None,
        }
    }

    /// From a draft; nothing where the kind is not known any more.
    pub fn from_draft(draft: &Draft) -> Option<Self> {
        let kind = records::catalogue::kind(&draft.kind)?;
        let mut form = Self::new(kind, &[]);
        if let Some(time) = kind.time {
            form.set(time, "", Origin::Blank);
        }
        form.address.clone_from(&draft.address);
        for (name, text, word) in &draft.fields {
            if name == ANSWERED {
                form.answered.clone_from(text);
                continue;
            }
            if form.row(name).is_none() {
                // A field of the foundry's own: its type comes with the answer of the worker.
                let own = OwnField {
                    record: kind.name.into(),
                    name: name.clone(),
                    ty: "text".into(),
                    min: None,
                    max: None,
                    cause: false,
                };
                let place = form.rows.len().saturating_sub(1);
                form.rows.insert(place, Row::new(FieldSource::Own(own)));
            }
            form.set(name, text, Origin::from_word(word));
        }
        form.at = draft.at.min(form.rows.len());
        Some(form)
    }

    /// Own fields that came from a draft take their type.
    pub fn type_own(&mut self, own: &[OwnField]) {
        for row in &mut self.rows {
            if let FieldSource::Own(o) = &row.of {
                if let Some(full) = own.iter().find(|f| f.name == o.name) {
                    row.of = FieldSource::Own(full.clone());
                }
            }
        }
    }
}
