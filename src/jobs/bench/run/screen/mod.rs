//! A run on the screen. Whoever works there says once what is the same for all; then each scan records one line.

pub(crate) mod draw;
pub(crate) mod keys;
mod lines;
mod rejects;
mod saying_once;
mod taking_back;
#[cfg(test)]
mod tests;

use std::collections::VecDeque;

use crate::jobs::bench::run::head;
use crate::jobs::bench::run::head::{Head, Proposed};
use crate::jobs::bench::run::inspect::Defect;
use crate::jobs::bench::run::record::{Back, Begun, Line, Reject, Scan, Texts, text_of};
use crate::jobs::bench::run::screen::keys::{HEAD, SCANNING};
use crate::jobs::bench::run::table::{Finds, Run};
use crate::jobs::records::ask::Logged;
use crate::jobs::records::orders::together;
use crate::ui::keys::{dispatch, meant, plain, shown};
use crate::ui::kit::*;
use records::catalogue::Verdict;
use records::value::words::articled;

/// A line of the run that stands on record.
pub(crate) struct Done {
    pub tag: String,
    pub address: String,
    pub what: String,
    pub verdict: Verdict,
    /// The defect and zone of a reject.
    pub seen: String,
    /// It was read by somebody who is not qualified for the method.
    pub unqualified: bool,
    /// The zones of its part, by number.
    pub zones: Vec<(String, String)>,
    /// What was written together, the latest last: that is taken back first.
    entries: Vec<Vec<i64>>,
}

/// What is being written.
#[derive(Clone, Debug)]
enum Writing {
    Scan(Scan),
    Reject(Reject),
    /// The line whose latest entries are taken back, by its address.
    Back(String),
}

/// What the subject of a reject is.
#[derive(Clone)]
pub(crate) enum Of {
    /// The address of a line that stands on record.
    Line(String),
    /// A scan that a question was asked about: it is recorded as a reject instead. Its zones, once they are read.
    Asked(Box<Asking>, Vec<(String, String)>),
}

/// A reject while it is said: the defect, then the zone.
pub(crate) struct Rejecting {
    pub of: Of,
    pub defect: Option<Defect>,
    /// How many nines of the list were turned over.
    pub page: usize,
}

impl Rejecting {
    fn of(of: Of) -> Self {
        Self { of, defect: None, page: 0 }
    }
}

/// A reason that is asked before one line is recorded.
#[derive(Clone)]
pub(crate) struct Asking {
    scan: Scan,
    pub reason: Reason,
}

pub struct RunScreen {
    pub(crate) run: &'static Run,
    pub(crate) head: Head,
    /// The head that scans are recorded with; none while it is filled in.
    pub(crate) begun: Option<Begun>,
    beginning: bool,
    /// Somebody else's badge stopped it: what was scanned since, not recorded.
    pub(crate) stopped: Option<Vec<String>>,
    /// Who works here since it was begun.
    person: Option<String>,
    pub(crate) done: Vec<Done>,
    pub(crate) part: Option<String>,
    /// The address of the line whose blade was scanned last; none where the last scan was refused.
    pub(crate) in_hand: Option<String>,
    /// What came last was not recorded: that stands in large letters until something is.
    pub(crate) loud: bool,
    /// When a scan was refused while a reject was said.
    refused_ms: Option<u64>,
    writing: Option<Writing>,
    /// Scanned and not written yet.
    pub(crate) queue: VecDeque<String>,
    pub(crate) asking: Option<Asking>,
    pub(crate) rejecting: Option<Rejecting>,
    /// What came of the last scan or key, in a sentence.
    pub(crate) last: Option<(Role, String)>,
    scanned_ms: u64,
    /// Esc was pressed on a head with something typed in it.
    leaving: bool,
    remembered: Option<(crate::ui::form::Form, Option<String>)>,
}

/// Milliseconds after a scan in which no key gives an answer: some scanners send two line ends.
const CALM_MS: u64 = 1000;

impl RunScreen {
    pub fn new(run: &'static Run, given: &[(String, String)]) -> Self {
        Self {
            run,
            head: Head::new(run, given),
            begun: None,
            beginning: false,
            stopped: None,
            person: None,
            done: Vec::new(),
            part: None,
            in_hand: None,
            loud: false,
            refused_ms: None,
            writing: None,
            queue: VecDeque::new(),
            asking: None,
            rejecting: None,
            last: None,
            scanned_ms: 0,
            leaving: false,
            remembered: None,
        }
    }

    pub(crate) fn inspects(&self) -> bool {
        self.run.finds == Finds::Inspection
    }

    fn say(&mut self, role: Role, text: impl Into<String>) -> Vec<Effect> {
        let text = text.into();
        self.last = Some((role, text.clone()));
        vec![Effect::Say(role, text)]
    }

    /// What was scanned or keyed is not recorded. Nobody's reject follows it before a blade is scanned again.
    fn refuse(&mut self, text: impl Into<String>) -> Vec<Effect> {
        self.loud = true;
        self.in_hand = None;
        self.say(Role::Bad, text)
    }

    /// The line of the blade that was scanned last.
    pub(crate) fn hand(&self) -> Option<&Done> {
        let address = self.in_hand.as_ref()?;
        self.done.iter().rfind(|d| d.address == *address)
    }

    fn head_texts(&self) -> Texts {
        self.begun.as_ref().map(|b| b.head.clone()).unwrap_or_default()
    }

    /// How many accepts and rejects stand.
    pub(crate) fn tally(&self) -> (usize, usize) {
        let rejects = self.done.iter().filter(|d| d.verdict == Verdict::Reject).count();
        (self.done.len() - rejects, rejects)
    }

    pub(crate) fn end_run(&mut self) -> Vec<Effect> {
        if self.busy() {
            return self.say(Role::Look, "it is being saved");
        }
        vec![Effect::Close]
    }
}

/// The entries of a reject.
struct Rejected(Vec<Logged>);

/// What stands on record of lines, by their addresses.
struct Standing(Vec<String>, Vec<Option<(Verdict, String)>>);

/// The zones of a blade that was scanned.
struct ZonesOf(String, Vec<(String, String)>);

/// Tells the kit, and every screen, what was written: it was done by an order that answers with more than that.
fn announce(all: Vec<Logged>, now: &Context) -> Vec<Effect> {
    vec![Effect::write(now, together(all), |_, _, written: &Written| Ok(written.clone()))]
}

/// How a line stands, in capitals.
pub(crate) fn word(run: &Run, done: &Done) -> &'static str {
    match (run.finds, done.verdict) {
        (Finds::Inspection, Verdict::Reject) => "REJECT",
        _ => run.large,
    }
}

impl Screen for RunScreen {
    fn title(&self) -> String {
        format!("Run: {}", self.run.name)
    }

    fn keys(&self) -> Vec<Shown> {
        match (&self.asking, &self.begun) {
            (Some(_), _) => {
                let f2 =
                    plain("F2", "record with this reason", "Record this line; the reason stands in its note");
                let f3 = plain("F3", "reject instead", "It is a reject: its defect by number, then its zone");
                let esc = plain("Esc", "don't record it", "Leave this line out; it is said");
                [Some(f2), self.inspects().then_some(f3), Some(esc)].into_iter().flatten().collect()
            }
            (None, Some(_)) if self.rejecting.is_some() => {
                let zone = self.rejecting.as_ref().is_some_and(|r| r.defect.is_some());
                let number =
                    plain("1-9", "by number", "The defect, then the zone: its number records the reject");
                let more = plain("PgDn", "more", "The next nine");
                let back = plain("Backspace", "another defect", "Back to the defects");
                let esc = plain("Esc", "no reject", "No reject; the blade stands as it was recorded");
                [Some(number), Some(more), zone.then_some(back), Some(esc)].into_iter().flatten().collect()
            }
            (None, Some(_)) => shown(SCANNING, self),
            (None, None) => shown(HEAD, self),
        }
    }

    fn begin(&mut self, now: &Context) -> Vec<Effect> {
        self.person.clone_from(&now.who.person);
        let mut out = vec![Effect::read((self.run, now.who.person.clone()), |store, (run, person)| {
            head::proposed(store, run, person.as_deref())
        })];
        // Nothing is said once: the first scan may come.
        if self.run.head.is_empty() {
            out.extend(self.begin_run(now));
        }
        out
    }

    fn press(&mut self, press: Press, now: &Context) -> Vec<Effect> {
        if self.asking.is_some() {
            return self.reason_press(press, now);
        }
        if self.begun.is_some() {
            if self.rejecting.is_some() {
                return self.reject_press(press, now);
            }
            return dispatch(SCANNING, self, press, now);
        }
        if let Some(act) = meant(HEAD, self, press) {
            return act(self, now);
        }
        match press {
            Press::Char(c) => self.edit(|h| h.form.type_char(c)),
            _ => Vec::new(),
        }
    }

    fn code(&mut self, code: &str, found: Lead, now: &Context) -> Vec<Effect> {
        self.scanned_ms = now.at_ms;
        let kind = self.run.scans();
        if let Some(asking) = &self.asking {
            let open = asking.scan.tag.clone();
            let text =
                format!("{code} is NOT recorded: the question about {open} is open; scan it again after it");
            return self.refuse(text);
        }
        if let (Some(_), None, Some(keys)) = (&self.begun, &found, self.reject_keys(code)) {
            return self.press_reject(&keys, now);
        }
        if self.rejecting.is_some() {
            self.refused_ms = Some(now.at_ms);
            let open = self.rejected_tag();
            let text = format!("{code} is NOT recorded: finish the reject of {open} first, or Esc");
            return self.refuse(text);
        }
        // What no field of the head takes was scanned for a line.
        let for_line = match &found {
            Some((of, _)) => *of == kind.name,
            None => self.head.form.place_of(code, None).is_none(),
        };
        if self.other_person(now) || (for_line && self.stopped.is_some()) {
            return self.not_of(code);
        }
        if self.begun.is_none() {
            return self.head_code(code, found);
        }
        match found {
            None => {
                let text = format!("{code} is NOT recorded: no record has that tag");
                self.refuse(text)
            }
            Some((of, tag)) if of == kind.name => self.scanned(tag, now),
            Some((of, tag)) => {
                let noun = records::catalogue::kind(of).map_or("record", |k| k.noun);
                let (is, wants) = (articled(noun), articled(kind.noun));
                self.refuse(format!("{tag} is NOT recorded: it is {is}, and {wants} is scanned here"))
            }
        }
    }

    fn paste(&mut self, pasted: &[String], _now: &Context) -> Vec<Effect> {
        let text = pasted.join(" ");
        if let Some(asking) = &mut self.asking {
            asking.reason.text.push_str(&text);
            return Vec::new();
        }
        if self.begun.is_some() {
            return self.refuse("what is pasted is not recorded: scan it");
        }
        self.edit(|h| text.chars().for_each(|c| h.form.type_char(c)))
    }

    fn reply(&mut self, mut reply: Reply, now: &Context) -> Vec<Effect> {
        if let Some(proposed) = reply.take::<Proposed>() {
            self.head.start(proposed, now.who.person.as_deref());
        }
        if let Some(begun) = reply.take::<Begun>() {
            self.beginning = false;
            (self.stopped, self.loud) = (None, false);
            self.begun = Some(begun);
            self.person.clone_from(&now.who.person);
            self.last = None;
        }
        if let Some(line) = reply.take::<Line>() {
            return self.recorded(line, now);
        }
        if let Some(Rejected(all)) = reply.take() {
            return self.rejected(all, now);
        }
        if let Some(back) = reply.take::<Back>() {
            return self.taken_back(back, now);
        }
        if let Some(ZonesOf(blade, all)) = reply.take() {
            if let Some(Rejecting { of: Of::Asked(asking, zones), .. }) = &mut self.rejecting {
                if asking.scan.tag == blade {
                    *zones = all;
                }
            }
            return Vec::new();
        }
        if let Some(standing) = reply.take::<Standing>() {
            self.stands(standing);
        }
        Vec::new()
    }

    fn failed(&mut self, failure: &Failure, now: &Context) -> Vec<Effect> {
        if std::mem::take(&mut self.beginning) {
            self.head.form.blame(failure);
            return self.say(Role::Bad, failure.sentence.clone());
        }
        match self.writing.take() {
            Some(Writing::Scan(scan)) if failure.wants_reason => {
                let reason = Reason::new(vec![failure.sentence.clone()]);
                self.asking = Some(Asking { scan, reason });
                Vec::new()
            }
            Some(Writing::Scan(scan)) => {
                let mut out = self.refuse(format!("{} is NOT recorded: {}", scan.tag, failure.sentence));
                out.extend(self.next_scan(now));
                out
            }
            Some(Writing::Reject(reject)) => {
                let tag = self.done.iter().rfind(|d| d.address == reject.inspection).map(|d| d.tag.clone());
                let tag = tag.unwrap_or(reject.inspection);
                self.loud = true;
                self.say(Role::Bad, format!("the REJECT of {tag} is NOT recorded: {}", failure.sentence))
            }
            Some(Writing::Back(_)) => self.say(Role::Bad, format!("not taken back: {}", failure.sentence)),
            None => Vec::new(),
        }
    }

    fn changed(&mut self, _change: &Change, _mine: bool, _now: &Context) -> Vec<Effect> {
        self.look_again()
    }

    fn person_changed(&mut self, now: &Context) -> Vec<Effect> {
        // What is being written or asked about is finished first; the next scan stops then.
        if self.asking.is_none() && !self.busy() {
            self.other_person(now);
        }
        Vec::new()
    }

    fn takes_text(&self) -> bool {
        true
    }

    fn types(&self) -> bool {
        self.begun.is_none() || self.asking.is_some()
    }

    fn letters_begin(&mut self) {
        let reason = self.asking.as_ref().map(|a| a.reason.text.clone());
        self.remembered = Some((self.head.form.clone(), reason));
    }

    fn letters_back(&mut self, _typed: &str, _of: Option<&'static str>, _fast: bool) -> bool {
        // A code is no reason: it is taken out of it too, and said.
        let Some((form, reason)) = self.remembered.take() else { return false };
        self.head.form = form;
        if let (Some(asking), Some(text)) = (&mut self.asking, reason) {
            asking.reason.text = text;
        }
        true
    }

    fn records_scans(&self) -> bool {
        self.begun.is_some()
    }

    fn draw(&self, frame: &mut Frame, area: Rect, view: &View) {
        match &self.begun {
            None => self.draw_head(frame, area, view),
            Some(begun) => self.draw_run(begun, frame, area, view),
        }
    }
}

impl RunScreen {
    /// What each scan records, in a sentence.
    pub(crate) fn sentence(&self, begun: &Begun) -> String {
        let of = |name: &str| text_of(&begun.head, name);
        let mut out = format!("Each {}: {}", self.run.scans().noun, self.run.large);
        if self.inspects() {
            use records::catalogue::Inspections as I;
            let round = of(I::round.name).map_or("its next round".into(), |r| format!("round {r}"));
            let by = of(I::method.name).unwrap_or_default().replace('_', " ");
            out.push_str(&format!(" by {by}, {round}"));
            let rest = [I::person.name, I::purpose.name, I::technique.name, I::instrument.name];
            rest.iter().filter_map(|name| of(name)).for_each(|t| out.push_str(&format!(", {t}")));
            return out;
        }
        match self.run.finds {
            Finds::Mark => out.push_str(" now, at the position on record"),
            Finds::Coat => out.push_str(", its next"),
            _ => {}
        }
        let note = records::catalogue::Coats::note.name;
        for (_, text) in begun.head.iter().filter(|(name, _)| *name != note) {
            out.push_str(&format!(", {text}"));
        }
        out
    }
}
