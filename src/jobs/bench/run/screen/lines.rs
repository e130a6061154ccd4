//! Each scan a line: written one by one, asked about where it is doubtful.

use crate::jobs::bench::run::record;
use crate::jobs::bench::run::record::{Line, Scan};
use crate::jobs::bench::run::screen::{CALM_MS, Done, RunScreen, Writing, announce, word};
use crate::ui::kit::*;
use crate::ui::reason::says_why;
use records::catalogue::Verdict;
use records::value::tag::folded;

impl RunScreen {
    pub(super) fn busy(&self) -> bool {
        self.writing.is_some() || !self.queue.is_empty()
    }

    /// A record of the kind that is scanned here.
    pub(super) fn scanned(&mut self, tag: String, now: &Context) -> Vec<Effect> {
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
    pub(super) fn next_scan(&mut self, now: &Context) -> Vec<Effect> {
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

    pub(super) fn write_scan(&mut self, scan: Scan, now: &Context) -> Vec<Effect> {
        self.writing = Some(Writing::Scan(scan.clone()));
        vec![Effect::write(now, scan, record::line)]
    }

    pub(super) fn recorded(&mut self, line: Line, now: &Context) -> Vec<Effect> {
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

    pub(super) fn give_reason(&mut self, now: &Context) -> Vec<Effect> {
        let Some(asking) = self.asking.take() else { return Vec::new() };
        let scan = Scan { reason: Some(asking.reason.text.trim().to_string()), ..asking.scan };
        self.write_scan(scan, now)
    }

    pub(super) fn reason_press(&mut self, press: Press, now: &Context) -> Vec<Effect> {
        let calm = now.at_ms.saturating_sub(self.scanned_ms) >= CALM_MS;
        self.last = None;
        match press {
            Press::F(2) if !calm => {
                return self.say(Role::Look, "so soon after a scan no key answers: press it again");
            }
            // Enter is what a scanner ends a code with.
            Press::Enter => {
                return self.say(Role::Look, "F2 records it with this reason, Esc leaves it out");
            }
            Press::F(3) if self.inspects() => return self.reject_instead(),
            // The keys of a reject, a tag, a number: none of them says why a blade is good.
            Press::F(2) if self.asking.as_ref().is_some_and(|a| no_words(&a.reason.text)) => {
                let instead = if self.inspects() { "; F3 rejects it instead" } else { "" };
                return self
                    .say(Role::Look, format!("the reason is said in words, or Esc leaves it out{instead}"));
            }
            _ => {}
        }
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

    pub(super) fn leave_reason(&mut self, now: &Context) -> Vec<Effect> {
        let Some(asking) = self.asking.take() else { return Vec::new() };
        let mut out = self.refuse(format!("{} is NOT recorded", asking.scan.tag));
        out.extend(self.next_scan(now));
        out
    }
}

/// Something is typed, and no word of letters is in it.
pub(super) fn no_words(text: &str) -> bool {
    !text.trim().is_empty() && !says_why(text)
}
