//! What is said once for the run: filled in, begun, left, gone back to.

use crate::jobs::bench::run::head::Head;
use crate::jobs::bench::run::record;
use crate::jobs::bench::run::record::Begin;
use crate::jobs::bench::run::screen::RunScreen;
use crate::ui::form::Origin;
use crate::ui::kit::*;
use records::catalogue::Inspections;
use records::value::tag::folded;
use records::value::words::articled;

impl RunScreen {
    pub(crate) fn begin_run(&mut self, now: &Context) -> Vec<Effect> {
        if self.beginning {
            return Vec::new();
        }
        match self.head.accept(now.now) {
            Ok(texts) => {
                self.beginning = true;
                let begin = Begin { run: self.run, head: texts, now: now.now };
                vec![Effect::read(begin, record::begin)]
            }
            Err(sentence) => self.say(Role::Bad, sentence),
        }
    }

    pub(crate) fn edit(&mut self, act: impl FnOnce(&mut Head)) -> Vec<Effect> {
        self.leaving = false;
        self.last = None;
        act(&mut self.head);
        self.head.follow();
        Vec::new()
    }

    pub(crate) fn next(&mut self) -> Vec<Effect> {
        // A line end may be the end of a code: it begins nothing with what was only proposed.
        if self.head.form.chosen().is_none() {
            return self.say(Role::Look, "F2 begins the run");
        }
        self.edit(|h| h.form.at = h.next_blank(h.form.at + 1))
    }

    pub(crate) fn leave_head(&mut self) -> Vec<Effect> {
        if self.head.form.touched() && !self.leaving {
            self.leaving = true;
            return self.say(Role::Look, "what is typed here is dropped: Esc again leaves");
        }
        self.end_run()
    }

    pub(crate) fn back_to_head(&mut self) -> Vec<Effect> {
        if self.busy() {
            return self.say(Role::Look, "it is being saved");
        }
        self.begun = None;
        self.stopped = None;
        self.rejecting = None;
        self.loud = false;
        self.leaving = false;
        self.head.form.at = 0;
        self.last = None;
        Vec::new()
    }

    /// Somebody else's badge was scanned: what follows is not of the person who stands in the head.
    pub(super) fn other_person(&mut self, now: &Context) -> bool {
        let runs = self.begun.is_some() || self.stopped.is_some();
        let other = runs && self.person.as_deref().map(folded) != now.who.person.as_deref().map(folded);
        if other {
            self.begun = None;
            self.stopped.get_or_insert_default();
            self.last = None;
            self.rejecting = None;
            let person = now.who.person.clone().unwrap_or_default();
            self.head.form.set(Inspections::person.name, &person, Origin::Given);
            self.person = now.who.person.clone();
        }
        other
    }

    /// Each code of a burst is named: none of them is recorded.
    pub(super) fn not_of(&mut self, code: &str) -> Vec<Effect> {
        let codes = self.stopped.get_or_insert_default();
        codes.push(code.to_string());
        let (are, all) = (if codes.len() == 1 { "is" } else { "are" }, codes.join(", "));
        let who = self.person.clone().unwrap_or_else(|| "nobody".into());
        self.refuse(format!("{all} {are} NOT recorded: {who} works here now. F2 goes on as {who}"))
    }

    /// A code while the head is filled in goes to the field that takes it.
    pub(super) fn head_code(&mut self, code: &str, found: Lead) -> Vec<Effect> {
        let (kind, text) = match &found {
            Some((kind, tag)) => (Some(*kind), tag.as_str()),
            None => (None, code),
        };
        if kind == Some(self.run.scans().name) {
            let text = format!("{text} is NOT recorded: F2 begins the run, then it is scanned");
            return self.say(Role::Look, text);
        }
        let Some(place) = self.head.form.place_of(text, kind) else {
            return match kind.and_then(records::catalogue::kind) {
                Some(k) => unused(&format!("{text}, {}", articled(k.noun)), "no field here takes it"),
                None => unknown(code),
            };
        };
        let label = self.head.form.rows[place].label();
        let text = text.to_string();
        let mut out = self.edit(|h| {
            h.form.scan_into(place, &text);
            h.form.at = h.next_blank(0);
        });
        out.extend(self.say(Role::Good, format!("scanned {text} into {label}")));
        out
    }
}
