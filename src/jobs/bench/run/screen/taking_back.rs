//! The last line taken back, and what stands read again.

use crate::jobs::bench::run::record;
use crate::jobs::bench::run::record::Back;
use crate::jobs::bench::run::screen::{Done, RunScreen, Standing, Writing, word};
use crate::ui::kit::*;
use crate::ui::order::Undone;
use records::catalogue::Verdict;

impl RunScreen {
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

    pub(super) fn taken_back(&mut self, back: Back, now: &Context) -> Vec<Effect> {
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

    /// Reads again what stands of the lines: somebody may have corrected one.
    pub(super) fn look_again(&self) -> Vec<Effect> {
        if self.done.is_empty() {
            return Vec::new();
        }
        let addresses: Vec<String> = self.done.iter().map(|d| d.address.clone()).collect();
        vec![Effect::read(addresses, |store, all| Ok(Standing(all.clone(), record::standing(store, all)?)))]
    }

    pub(super) fn stands(&mut self, Standing(addresses, found): Standing) {
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
