//! A reject: the blade in hand, its defect by number, then its zone.

use crate::jobs::bench::run::inspect::Defect;
use crate::jobs::bench::run::record;
use crate::jobs::bench::run::record::{Reject, Scan};
use crate::jobs::bench::run::screen::{
    CALM_MS, Of, Rejected, Rejecting, RunScreen, Writing, ZonesOf, announce, word,
};
use crate::jobs::records::ask::Logged;
use crate::ui::kit::*;
use records::catalogue::Verdict;

impl RunScreen {
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

    pub(super) fn reject_press(&mut self, press: Press, now: &Context) -> Vec<Effect> {
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
                        self.asking = Some(*asking);
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
    pub(super) fn reject_instead(&mut self) -> Vec<Effect> {
        let Some(asking) = self.asking.take() else { return Vec::new() };
        let blade = asking.scan.tag.clone();
        self.rejecting = Some(Rejecting::of(Of::Asked(Box::new(asking), Vec::new())));
        self.last = None;
        vec![Effect::read(blade, |store, blade| {
            let part = crate::jobs::records::forms::part_of(store, blade)?;
            Ok(ZonesOf(blade.clone(), crate::jobs::records::forms::zones_of(store, part.as_deref())?))
        })]
    }

    pub(super) fn reject_digit(&mut self, digit: usize, now: &Context) -> Vec<Effect> {
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

    pub(super) fn write_reject(&mut self, zone: Option<String>, now: &Context) -> Vec<Effect> {
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
    pub(super) fn reject_keys(&self, code: &str) -> Option<Vec<char>> {
        let digits = if self.rejecting.is_some() { code } else { code.strip_prefix('r')? };
        let keys = (1..=2).contains(&digits.len()) && digits.chars().all(|c| c.is_ascii_digit());
        (self.inspects() && keys).then(|| code.chars().collect())
    }

    /// Presses the keys of a reject in their order; what was not taken is said aloud.
    pub(super) fn press_reject(&mut self, keys: &[char], now: &Context) -> Vec<Effect> {
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

    pub(super) fn rejected(&mut self, all: Vec<Logged>, now: &Context) -> Vec<Effect> {
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
}
