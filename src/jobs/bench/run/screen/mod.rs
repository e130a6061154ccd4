//! A run on the screen. Whoever works there says once what is the same for all; then each scan records one line.

pub(crate) mod draw;
pub(crate) mod keys;
#[cfg(test)]
mod tests;

use std::collections::VecDeque;

use crate::jobs::bench::run::head;
use crate::jobs::bench::run::head::{Head, Proposed};
use crate::jobs::bench::run::inspect::Defect;
use crate::jobs::bench::run::record;
use crate::jobs::bench::run::record::{Back, Begin, Begun, Line, Reject, Scan, Texts, text_of};
use crate::jobs::bench::run::screen::keys::{HEAD, SCANNING};
use crate::jobs::bench::run::table::{Finds, Run};
use crate::jobs::records::ask::Logged;
use crate::jobs::records::orders::together;
use crate::ui::form::Origin;
use crate::ui::keys::{SAVES, dispatch, meant, plain, shown};
use crate::ui::kit::*;
use crate::ui::order::Undone;
use records::catalogue::Verdict;
use records::value::tag::folded;
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
    Asked(Asking, Vec<(String, String)>),
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

    // The head.

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
        self.rejecting = None;
        self.loud = false;
        self.leaving = false;
        self.head.form.at = 0;
        self.last = None;
        Vec::new()
    }

    /// Somebody else's badge was scanned: what follows is not of the person who stands in the head.
    fn other_person(&mut self, now: &Context) -> bool {
        let other = self.person.as_deref().map(folded) != now.who.person.as_deref().map(folded);
        if other {
            self.begun = None;
            self.rejecting = None;
            let person = now.who.person.clone().unwrap_or_default();
            self.head.form.set("person", &person, Origin::Given);
            self.person = now.who.person.clone();
        }
        other
    }

    // Scans.

    fn busy(&self) -> bool {
        self.writing.is_some() || !self.queue.is_empty()
    }

    /// A record of the kind that is scanned here.
    fn scanned(&mut self, tag: String, now: &Context) -> Vec<Effect> {
        let same = |t: &str| folded(t) == folded(&tag);
        if let Some(done) = self.done.iter().find(|d| same(&d.tag)) {
            let what = if done.what.is_empty() { String::new() } else { format!(" {}", done.what) };
            let stands = word(self.run, done);
            let text = format!("{tag} was scanned twice: it stands as {stands}{what}, written once");
            // It is the blade that is in somebody's hand now: a reject is meant of it.
            self.in_hand = (!self.busy()).then(|| done.address.clone());
            self.loud = false;
            return self.say(Role::Look, text);
        }
        let coming = match &self.writing {
            Some(Writing::Scan(scan)) => same(&scan.tag),
            _ => false,
        };
        if coming || self.queue.iter().any(|t| same(t)) {
            return self.say(Role::Look, format!("{tag} was scanned twice: it is written once"));
        }
        self.queue.push_back(tag);
        self.next_scan(now)
    }

    /// Writes the next of what was scanned, once nothing else is being written or asked.
    fn next_scan(&mut self, now: &Context) -> Vec<Effect> {
        if self.writing.is_some() || self.asking.is_some() || self.begun.is_none() {
            return Vec::new();
        }
        let Some(tag) = self.queue.pop_front() else { return Vec::new() };
        let scan = Scan {
            run: self.run,
            head: self.head_texts(),
            tag,
            part: self.part.clone(),
            reason: None,
            seen: None,
        };
        self.write_scan(scan, now)
    }

    fn write_scan(&mut self, scan: Scan, now: &Context) -> Vec<Effect> {
        self.writing = Some(Writing::Scan(scan.clone()));
        vec![Effect::write(now, scan, record::line)]
    }

    fn recorded(&mut self, line: Line, now: &Context) -> Vec<Effect> {
        self.writing = None;
        self.part = line.part.clone().or(self.part.take());
        self.in_hand = Some(line.address.clone());
        self.loud = false;
        let entries = line.logged.iter().map(|l| l.entry).collect();
        let notes: Vec<String> =
            line.besides.into_iter().chain(line.logged.iter().flat_map(|l| l.guards.clone())).collect();
        self.done.push(Done {
            tag: line.tag,
            address: line.address,
            what: line.what,
            verdict: if line.seen.is_empty() { Verdict::Accept } else { Verdict::Reject },
            seen: line.seen,
            unqualified: self.begun.as_ref().is_some_and(|b| b.unqualified),
            zones: line.zones,
            entries: vec![entries],
        });
        let mut out = Vec::new();
        // What was said before this scan is over, on the status line too.
        if let (Some(_), Some(done)) = (self.last.take(), self.done.last()) {
            out.push(Effect::Say(Role::Good, format!("{}: {}, recorded", done.tag, word(self.run, done))));
        }
        self.last = (!notes.is_empty()).then(|| (Role::Look, notes.join("; ")));
        out.extend(announce(line.logged, now));
        out.extend(self.next_scan(now));
        out
    }

    fn give_reason(&mut self, now: &Context) -> Vec<Effect> {
        let Some(asking) = self.asking.take() else { return Vec::new() };
        let scan = Scan { reason: Some(asking.reason.text.trim().to_string()), ..asking.scan };
        self.write_scan(scan, now)
    }

    fn reason_press(&mut self, press: Press, now: &Context) -> Vec<Effect> {
        let calm = now.at_ms.saturating_sub(self.scanned_ms) >= CALM_MS;
        self.last = None;
        let press = match press {
            press if SAVES.contains(&press) && !calm => {
                return self.say(Role::Look, "so soon after a scan no key answers: press it again");
            }
            // Enter is what a scanner ends a code with.
            Press::Enter => {
                return self.say(Role::Look, "F2 records it with this reason, Esc leaves it out");
            }
            Press::F(3) if self.inspects() => return self.reject_instead(),
            // The keys of a reject, a tag, a number: none of them says why a blade is good.
            press
                if SAVES.contains(&press)
                    && self.asking.as_ref().is_some_and(|a| no_words(&a.reason.text)) =>
            {
                let instead = if self.inspects() { "; F3 rejects it instead" } else { "" };
                return self
                    .say(Role::Look, format!("the reason is said in words, or Esc leaves it out{instead}"));
            }
            press if SAVES.contains(&press) => Press::F(2),
            press => press,
        };
        let Some(asking) = &mut self.asking else { return Vec::new() };
        match asking.reason.press(press, "leave this line out") {
            Asked::Still(effects) => {
                for effect in &effects {
                    if let Effect::Say(role, text) = effect {
                        self.last = Some((*role, text.clone()));
                    }
                }
                effects
            }
            Asked::Given => self.give_reason(now),
            Asked::Left => self.leave_reason(now),
        }
    }

    fn leave_reason(&mut self, now: &Context) -> Vec<Effect> {
        let Some(asking) = self.asking.take() else { return Vec::new() };
        let mut out = self.refuse(format!("{} is NOT recorded", asking.scan.tag));
        out.extend(self.next_scan(now));
        out
    }

    // Rejects.

    pub(crate) fn begin_reject(&mut self) -> Vec<Effect> {
        if self.busy() {
            return self.say(Role::Look, "it is being saved; press it again");
        }
        let Some(hand) = self.hand() else {
            let text = if self.done.is_empty() { "scan the blade first" } else { "scan the blade again" };
            return self.say(Role::Look, format!("{text}; then r and the number of the defect"));
        };
        self.rejecting = Some(Rejecting::of(Of::Line(hand.address.clone())));
        self.last = None;
        self.loud = false;
        Vec::new()
    }

    pub(crate) fn defects(&self) -> &[Defect] {
        self.begun.as_ref().map_or(&[], |b| b.defects.as_slice())
    }

    fn reject_press(&mut self, press: Press, now: &Context) -> Vec<Effect> {
        let zones = self.zones().len();
        let Some(rejecting) = &mut self.rejecting else { return Vec::new() };
        match press {
            Press::Esc => {
                let of = rejecting.of.clone();
                self.rejecting = None;
                self.refused_ms = None;
                let line = match of {
                    Of::Line(line) => line,
                    // Back to the question that it was asked from.
                    Of::Asked(asking, _) => {
                        self.asking = Some(asking);
                        return Vec::new();
                    }
                };
                let Some(line) = self.done.iter().rfind(|d| d.address == line) else { return Vec::new() };
                let text = format!("no reject was recorded: {} stands as {}", line.tag, word(self.run, line));
                return self.say(Role::Look, text);
            }
            Press::Backspace => {
                rejecting.defect = None;
                rejecting.page = 0;
            }
            Press::PageDown | Press::PageUp => {
                let all = match rejecting.defect {
                    None => self.begun.as_ref().map_or(0, |b| b.defects.len()),
                    Some(_) => zones,
                };
                let pages = all.div_ceil(9).max(1);
                let by = if press == Press::PageDown { 1 } else { pages - 1 };
                rejecting.page = (rejecting.page + by) % pages;
            }
            Press::Char(c) => {
                let Some(digit) = c.to_digit(10).map(|d| d as usize) else { return Vec::new() };
                return self.reject_digit(digit, now);
            }
            _ => {}
        }
        Vec::new()
    }

    /// The zones of the blade that is rejected.
    pub(crate) fn zones(&self) -> &[(String, String)] {
        match self.rejecting.as_ref().map(|r| &r.of) {
            Some(Of::Line(line)) => {
                let line = self.done.iter().rfind(|d| d.address == *line);
                line.map_or(&[], |d| d.zones.as_slice())
            }
            Some(Of::Asked(_, zones)) => zones,
            None => &[],
        }
    }

    /// The tag of the blade that is rejected.
    pub(crate) fn rejected_tag(&self) -> String {
        match self.rejecting.as_ref().map(|r| &r.of) {
            Some(Of::Line(line)) => {
                let done = self.done.iter().rfind(|d| d.address == *line);
                done.map_or_else(|| line.clone(), |d| d.tag.clone())
            }
            Some(Of::Asked(asking, _)) => asking.scan.tag.clone(),
            None => String::new(),
        }
    }

    /// What was asked about is no accept: its defect and zone are asked instead.
    fn reject_instead(&mut self) -> Vec<Effect> {
        let Some(asking) = self.asking.take() else { return Vec::new() };
        let blade = asking.scan.tag.clone();
        self.rejecting = Some(Rejecting::of(Of::Asked(asking, Vec::new())));
        self.last = None;
        vec![Effect::read(blade, |store, blade| {
            let part = crate::jobs::records::forms::part_of(store, blade)?;
            Ok(ZonesOf(blade.clone(), crate::jobs::records::forms::zones_of(store, part.as_deref())?))
        })]
    }

    fn reject_digit(&mut self, digit: usize, now: &Context) -> Vec<Effect> {
        // The number of another blade's defect, keyed after a scan that was refused.
        if self.refused_ms.is_some_and(|t| now.at_ms.saturating_sub(t) < CALM_MS) {
            let text = format!("not taken: finish the reject of {} first, or Esc", self.rejected_tag());
            return self.say(Role::Bad, text);
        }
        self.loud = false;
        self.last = None;
        let zones = self.zones().to_vec();
        let defects = self.begun.as_ref().map_or(&[][..], |b| b.defects.as_slice());
        let Some(rejecting) = &mut self.rejecting else { return Vec::new() };
        let place = digit.checked_sub(1).map(|i| rejecting.page * 9 + i);
        if rejecting.defect.is_none() {
            let Some(defect) = place.and_then(|i| defects.get(i)) else { return Vec::new() };
            rejecting.defect = Some(defect.clone());
            rejecting.page = 0;
            return if zones.is_empty() { self.write_reject(None, now) } else { Vec::new() };
        }
        let zone = place.map(|i| zones.get(i).map(|(zone, _)| zone.clone()));
        match zone {
            None => self.write_reject(None, now),
            Some(Some(zone)) => self.write_reject(Some(zone), now),
            Some(None) => Vec::new(),
        }
    }

    fn write_reject(&mut self, zone: Option<String>, now: &Context) -> Vec<Effect> {
        self.refused_ms = None;
        let Some(Rejecting { of, defect: Some(defect), .. }) = self.rejecting.take() else {
            return Vec::new();
        };
        let line = match of {
            Of::Line(line) => line,
            Of::Asked(asking, _) => {
                let typed = asking.reason.text.trim();
                let reason = if typed.is_empty() { record::READ_AS_REJECT } else { typed }.to_string();
                let seen = Some(record::Seen { defect: defect.defect, zone });
                return self.write_scan(Scan { reason: Some(reason), seen, ..asking.scan }, now);
            }
        };
        let Some(done) = self.done.iter().rfind(|d| d.address == line) else { return Vec::new() };
        let accepted = done.verdict == Verdict::Accept;
        let reject = Reject { inspection: line, accepted, defect: defect.defect, zone };
        self.writing = Some(Writing::Reject(reject.clone()));
        vec![Effect::write(now, reject, |store, who, reject| {
            Ok(Rejected(record::reject(store, who, reject)?))
        })]
    }

    /// Letters and digits that a hand typed as fast as a scanner sends: `r` and one or two digits, or digits while a
    /// reject is said, are its keys and no code. None where they are something else.
    fn reject_keys(&self, code: &str) -> Option<Vec<char>> {
        let digits = if self.rejecting.is_some() { code } else { code.strip_prefix('r')? };
        let keys = (1..=2).contains(&digits.len()) && digits.chars().all(|c| c.is_ascii_digit());
        (self.inspects() && keys).then(|| code.chars().collect())
    }

    /// Presses the keys of a reject in their order; what was not taken is said aloud.
    fn press_reject(&mut self, keys: &[char], now: &Context) -> Vec<Effect> {
        let mut out = Vec::new();
        for c in keys {
            match (&self.rejecting, c) {
                (None, 'r') => out.extend(self.begin_reject()),
                (Some(_), c) => out.extend(self.reject_press(Press::Char(*c), now)),
                _ => {}
            }
        }
        if self.rejecting.is_none() && self.writing.is_none() {
            let typed: String = keys.iter().collect();
            let why = self.last.take().map_or(String::new(), |(_, text)| format!(": {text}"));
            self.loud = true;
            out.extend(self.say(Role::Bad, format!("the reject {typed} is NOT recorded{why}")));
        }
        out
    }

    fn rejected(&mut self, all: Vec<Logged>, now: &Context) -> Vec<Effect> {
        let reject = match self.writing.take() {
            Some(Writing::Reject(reject)) => Some(reject),
            _ => None,
        };
        let line = reject.as_ref().and_then(|r| self.done.iter_mut().rfind(|d| d.address == r.inspection));
        if let (Some(line), Some(reject)) = (line, reject) {
            line.verdict = Verdict::Reject;
            let seen =
                [Some(reject.defect), reject.zone].into_iter().flatten().collect::<Vec<_>>().join(" in ");
            line.seen = [std::mem::take(&mut line.seen), seen]
                .into_iter()
                .filter(|t| !t.is_empty())
                .collect::<Vec<_>>()
                .join(", ");
            line.entries.push(all.iter().map(|l| l.entry).collect());
            self.loud = false;
        }
        let mut out = announce(all, now);
        out.extend(self.next_scan(now));
        out
    }

    // The last one taken back.

    pub(crate) fn take_back(&mut self, now: &Context) -> Vec<Effect> {
        if self.busy() {
            return self.say(Role::Look, "it is being saved; press it again");
        }
        // The latest that was written is not always of the blade that was recorded last.
        let latest = |d: &&Done| d.entries.last().and_then(|all| all.iter().max().copied());
        let Some(line) = self.done.iter().max_by_key(latest).filter(|d| !d.entries.is_empty()) else {
            return self.say(Role::Look, "this run has written nothing that could be taken back");
        };
        let entries = line.entries.last().cloned().unwrap_or_default();
        self.writing = Some(Writing::Back(line.address.clone()));
        vec![Effect::write(now, entries, |store, who, entries| record::back(store, who, entries))]
    }

    fn taken_back(&mut self, back: Back, now: &Context) -> Vec<Effect> {
        let Some(Writing::Back(address)) = self.writing.take() else { return Vec::new() };
        let Some(place) = self.done.iter().rposition(|d| d.address == address) else { return Vec::new() };
        let line = &mut self.done[place];
        let tag = line.tag.clone();
        let mut out = match back {
            Back::Done(_) => {
                line.entries.pop();
                let said = if line.entries.is_empty() {
                    self.done.remove(place);
                    format!("{tag}: taken back, it is not recorded any more")
                } else {
                    // One more finding may have been taken back: what stands then is read again.
                    line.verdict = if line.entries.len() == 1 { Verdict::Accept } else { line.verdict };
                    line.seen =
                        line.seen.rsplit_once(", ").map_or(String::new(), |(before, _)| before.into());
                    format!("{tag}: the reject is taken back, it stands as {}", word(self.run, line))
                };
                self.loud = false;
                let undone = Undone { said: said.clone(), proposed: false, freed: None };
                self.last = Some((Role::Look, said));
                vec![Effect::write(now, undone, |_, _, undone| Ok(undone.clone()))]
            }
            Back::Proposed(why) => {
                let stands = word(self.run, line);
                self.say(Role::Look, format!("{tag} stands as {stands}: {why}"))
            }
            // The run goes on: the next scan is not to go into a form.
            Back::Late(why) => {
                let text =
                    format!("{tag} is not taken back ({why}). After the run: / {address}, then e changes it");
                self.say(Role::Bad, text)
            }
        };
        out.extend(self.look_again());
        out.extend(self.next_scan(now));
        out
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

    /// Reads again what stands of the lines: somebody may have corrected one.
    fn look_again(&self) -> Vec<Effect> {
        if self.done.is_empty() {
            return Vec::new();
        }
        let addresses: Vec<String> = self.done.iter().map(|d| d.address.clone()).collect();
        vec![Effect::read(addresses, |store, all| Ok(Standing(all.clone(), record::standing(store, all)?)))]
    }

    fn stands(&mut self, Standing(addresses, found): Standing) {
        for (address, stands) in addresses.iter().zip(found) {
            let Some(place) = self.done.iter().position(|d| d.address == *address) else { continue };
            match stands {
                Some((verdict, seen)) => {
                    self.done[place].verdict = verdict;
                    self.done[place].seen = seen;
                }
                None => {
                    self.done.remove(place);
                }
            }
        }
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

/// Something is typed, and no word of letters is in it.
fn no_words(text: &str) -> bool {
    let word = |w: &str| {
        let w = w.trim_matches(|c: char| c.is_ascii_punctuation());
        w.chars().count() >= 2 && w.chars().all(|c| c.is_alphabetic() || "-'/".contains(c))
    };
    !text.trim().is_empty() && !text.split_whitespace().any(word)
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
        if self.begun.is_none() {
            return self.head_code(code, found);
        }
        if self.other_person(now) {
            let who = now.who.person.clone().unwrap_or_else(|| "nobody".into());
            let text = format!("{code} is NOT recorded: {who} works here now. F2 goes on as {who}");
            return self.refuse(text);
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
    /// A code while the head is filled in goes to the field that takes it.
    fn head_code(&mut self, code: &str, found: Lead) -> Vec<Effect> {
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
