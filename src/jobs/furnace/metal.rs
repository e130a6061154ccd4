//! What comes with a pour: the instruments in use, the heat, its charge and chemistry, and whether they fit the mould.

use crate::jobs::chemistry::ask;
use crate::jobs::furnace::charge;
use crate::jobs::furnace::readiness::Card;
use records::catalogue::typed::{Key, Recorded};
use records::catalogue::{Blades, Heats, Moulds, Pours};
use records::graph::fit::{InUse, Misfit, What};
use records::value::words::counted;
use records::{Result, Stamp};

/// A heat that a mould was poured from, or would be.
type KeyedHeat = (Key<Heats>, Recorded<Heats>);

impl Card<'_> {
    /// Suspect readings upstream, and the pyrometer that is in use.
    pub(super) fn instruments(&mut self, at: Stamp) -> Result<()> {
        let mut bad = Vec::new();
        if self.store.suspect_fence(None)?.has(Moulds::NAME, self.key.id) {
            bad.push("a reading upstream is suspect".to_string());
        }
        let pyrometer = match self.pour.as_ref().and_then(|p| p.get(Pours::pyrometer)) {
            Some(p) => Some(p.to_string()),
            None => self.store.last_pyrometer()?,
        };
        let mut open = Vec::new();
        let mut said = String::new();
        if let Some(p) = pyrometer {
            let checks = self.store.checks_of(&p)?;
            if let Some(overdue) = checks.overdue(at) {
                bad.push(format!("{p} is overdue for its check since {overdue}"));
            }
            if checks.last(at).is_some_and(|c| c.failed) {
                bad.push(format!("{p} failed its last check"));
            }
            match checks.last_good(at) {
                Some(c) => {
                    said = format!("{p} last good check {}", c.at);
                    if let Some(due) = c.due {
                        said.push_str(&format!(", due {due}"));
                    }
                }
                None => open.push(format!("{p} has no good check on record")),
            }
        } else {
            open.push("no pour on record names a pyrometer".into());
        }
        self.weighed("instruments", bad, open, said);
        Ok(())
    }

    /// The heat that the mould was poured from, or would be.
    pub(super) fn heat(&mut self, asked: Option<&str>) -> Result<Option<KeyedHeat>> {
        let asked: Option<KeyedHeat> = asked.map(|text| self.store.named(text)).transpose()?;
        if let Some(heat) = self.pour.as_ref().and_then(|p| p.get(Pours::heat)) {
            let heat: KeyedHeat = self.store.named(heat)?;
            if let Some(at) = heat.1.get(Heats::melted_at).filter(|at| self.after_pour(Some(*at))) {
                self.put(
                    "heat",
                    false,
                    format!("{} was melted only after the pour, at {at}", heat.1.address()),
                );
            }
            return Ok(Some(heat));
        }
        if let Some((_, heat)) = &asked {
            if let Some(at) = heat.get(Heats::closed_at) {
                self.put("heat", false, format!("{} was closed at {at}", heat.address()));
            }
            return Ok(asked);
        }
        match self.store.heat_in_use(self.key.id)? {
            InUse::One(id, _) => self.store.row(Key::new(id)).map(|heat| Some((Key::new(id), heat))),
            InUse::CannotTell(why) => {
                self.put("heat", None, why);
                Ok(None)
            }
        }
    }

    pub(super) fn metal(&mut self, heat: Option<&KeyedHeat>) -> Result<()> {
        let of_mould = self.store.mould_fit(self.key.id, heat.map(|(key, _)| key.id))?;
        let patterns: Vec<&Misfit> = of_mould.iter().filter(|m| m.what == What::OtherPatterns).collect();
        let blades = self.store.rows_of(Blades::mould, self.key)?;
        if patterns.is_empty() && blades.iter().all(|b| b.get(Blades::pattern_run).is_none()) {
            self.put("patterns", None, "no pattern run is on record");
        } else {
            self.judged("patterns", &patterns, "of the mould's part".into());
        }
        let Some((key, heat)) = heat else { return Ok(()) };
        let tag = heat.address();
        let of_heat = self.store.heat_fit(key.id)?;
        let of = |wanted: &[What]| -> Vec<&Misfit> {
            of_heat.iter().chain(&of_mould).filter(|m| wanted.contains(&m.what)).collect()
        };
        let items = charge::items(self.store, *key, None)?;
        if items.is_empty() {
            self.put("charge", false, format!("{tag}: no charge is recorded"));
        } else {
            let (total, share) = charge::total_and_share(&items);
            let said = format!("{tag}: {}, {total:.3} kg, {share:.0} % revert", counted(items.len(), "item"));
            self.judged("charge", &of(&[What::RevertLimit, What::BeyondWhatIsLeft]), said);
        }
        let said = format!("{tag} is of {}, as is the part", heat.cell(Heats::alloy).to_text());
        self.judged("alloy", &of(&[What::OtherAlloy, What::OtherPart]), said);
        if !items.is_empty() {
            // The heat's own analysis speaks for its metal; without one, each thing that was charged must.
            let mut asked: Vec<String> = match self.store.has_analysis(Heats::NAME, key.id)? {
                true => vec![tag],
                false => items.into_iter().map(|i| i.source).collect(),
            };
            asked.dedup();
            self.chemistry(&asked, &of(&[What::NotAnalysed]))?;
        }
        Ok(())
    }

    /// The chemistry of these. What was never analysed is named either way.
    fn chemistry(&mut self, asked: &[String], misfits: &[&Misfit]) -> Result<()> {
        let (mut outside, mut untold) = (Vec::new(), Vec::new());
        for tag in asked {
            let checked = ask::check(self.store, tag)?;
            if checked.analysis.is_none() {
                continue;
            }
            outside.extend(checked.outside().into_iter().map(|o| format!("{tag} {o}")));
            let limited = |e: &&ask::Element| e.min.is_some() || e.max.is_some();
            if !checked.elements.iter().any(|e| limited(&e)) {
                untold.push(format!("{tag}: its alloy has no limits on record"));
            }
            let open: Vec<_> = checked.elements.iter().filter(|e| e.ok.is_none()).filter(limited).collect();
            for (analysed, words) in [(false, "not analysed"), (true, "cannot be judged")] {
                let of = open.iter().filter(|e| e.value.is_some() == analysed);
                let names: Vec<&str> = of.map(|e| e.element.as_str()).collect();
                if !names.is_empty() {
                    untold.push(format!("{tag}: {} {words}", names.join(", ")));
                }
            }
        }
        outside.extend(reasons(misfits, true));
        untold.extend(reasons(misfits, false));
        self.weighed("chemistry", outside, untold, format!("{} within limits", asked.join(", ")));
        Ok(())
    }

    /// What was found not to fit, else what is right about it.
    fn judged(&mut self, check: &'static str, misfits: &[&Misfit], right: String) {
        self.weighed(check, reasons(misfits, true), reasons(misfits, false), right);
    }
}

fn reasons(misfits: &[&Misfit], certain: bool) -> Vec<String> {
    misfits.iter().filter(|m| m.certain == certain).map(|m| m.reason.clone()).collect()
}
