//! One decision on many blades: all of them are on record, or none.

use std::collections::BTreeSet;

use serde::Serialize;

use crate::jobs::records::ask::{Logged, build};
use crate::jobs::trace::ask;
use records::catalogue::{Blades, Concessions, Decision, Dispositions, Heats, Lots, Moulds};
use records::value::place::Place;
use records::value::tag::{folded, shown};
use records::value::words::articled;
use records::value::words::counted;
use records::write::draft::Draft;
use records::{Act, Error, Result, Store, Who};

/// What is decided, as it was typed.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Disposal {
    /// A word of [`Decision`].
    pub decision: String,
    pub concession: Option<String>,
    pub reason: Option<String>,
}

#[derive(Serialize, Debug, Clone)]
pub struct Disposed {
    pub decision: String,
    pub concession: Option<String>,
    pub blades: Vec<String>,
    /// Blades below what was named that had been scrapped: nothing was decided on them.
    pub scrapped: usize,
    pub recorded_at: String,
    /// What is to be known, without that it stops anybody.
    pub said: Vec<String>,
    #[serde(skip)]
    pub written: Vec<Logged>,
}

impl Disposed {
    pub fn text(&self) -> String {
        let to = self.concession.as_deref().map_or(String::new(), |c| format!(" to {}", shown(c)));
        let (n, left) = (self.blades.len(), self.scrapped);
        let left =
            if left == 0 { String::new() } else { format!("; {left} scrapped before, left as they are") };
        let said: String = self.said.iter().map(|s| format!("\nmind: {}", shown(s))).collect();
        format!("saved {}{to} for {} at {}{left}{said}", self.decision, counted(n, "blade"), self.recorded_at)
    }
}

/// The blades that tags stand for: a blade for itself, a mould or a lot for its blades, a heat for those of its own
/// moulds. Beside them how many of those had been scrapped; a blade named itself always counts. Nothing else is taken,
/// and metal that came back as revert is not followed: a decision is on the blades that were meant, no others.
pub fn blades_of(store: &Store, tags: &[String]) -> Result<(Vec<String>, usize)> {
    let (mut out, mut seen, mut scrapped) = (Vec::new(), BTreeSet::new(), BTreeSet::new());
    for tag in tags {
        let found = store.find(tag)?;
        let own = found.record.address();
        match found.kind.name {
            Blades::NAME => {
                if seen.insert(folded(&own)) {
                    out.push(own);
                }
                continue;
            }
            Moulds::NAME | Heats::NAME | Lots::NAME => {}
            _ => {
                return Err(Error::input(format!(
                    "{} is {}; a decision is on blades: name them, or their mould, heat or lot",
                    shown(tag),
                    articled(found.kind.noun)
                )));
            }
        }
        let heat = found.is::<Heats>().then_some(own);
        for blade in ask::contain(store, tag)?.blades {
            if heat.as_deref().is_some_and(|h| blade.heat.as_deref() != Some(h)) {
                continue;
            }
            let name = folded(&blade.tag);
            if blade.place == Place::Scrapped.word() {
                scrapped.insert(name);
            } else if seen.insert(name) {
                out.push(blade.tag);
            }
        }
    }
    Ok((out, scrapped.len()))
}

/// Whether a concession is for as many blades as would go to it: how many are left of it, where they are too few. What is
/// not on record, or for no counted number, has no such limit; whether it is there the write says.
pub fn too_few(store: &Store, blades: &[String], concession: &str) -> Result<Option<i64>> {
    let (key, record) = match store.named::<Concessions>(concession) {
        Ok(found) => found,
        Err(e) if e.is_input() => return Ok(None),
        Err(e) => return Err(e),
    };
    let Some(most) = record.get(Concessions::quantity) else { return Ok(None) };
    let counted = store.counted_under(key.id, &record.address())?;
    let left = (most - counted.len() as i64).max(0);
    let mut more = 0;
    for blade in blades {
        let (key, _) = store.key_of::<Blades>(blade)?;
        more += i64::from(!counted.contains(&key.id));
    }
    Ok((more > left).then_some(left))
}

/// Writes one disposition for each blade, in one transaction.
///
/// # Errors
/// No blade, an unknown tag or decision, a concession that is missing or not on record, or the person may not.
pub fn dispose(store: &mut Store, who: &Who, tags: &[String], what: &Disposal) -> Result<Disposed> {
    let (blades, scrapped) = blades_of(store, tags)?;
    if blades.is_empty() {
        return Err(Error::input("no blade is left to decide on: name blades, moulds, heats or a lot"));
    }
    match (Decision::of(&what.decision), &what.concession) {
        (Some(Decision::Concession), None) => {
            return Err(Error::input("name the concession that the blades go to"));
        }
        (Some(Decision::Concession), Some(_)) | (_, None) => {}
        (_, Some(c)) => {
            let decision = &what.decision;
            return Err(Error::input(format!("{decision} takes no concession, and {} is named", shown(c))));
        }
    }
    let now = store.later(who.now)?;
    let mut acts = Vec::with_capacity(blades.len());
    for blade in &blades {
        let draft = Draft::<Dispositions>::default()
            .with(Dispositions::blade, blade)
            .with(Dispositions::decided_at, now.to_string())
            .with(Dispositions::decision, &what.decision)
            .with_some(Dispositions::concession, what.concession.as_ref())
            .with_some(Dispositions::reason, what.reason.as_ref());
        acts.push(Act::Log(build(store, who, Dispositions::KIND, draft.texts())?, None));
    }
    let written = store.together(who, acts)?;
    let recorded_at = written.last().map_or(who.now, |w| w.recorded_at).to_string();
    let mut said: Vec<String> =
        written.iter().flat_map(|w| w.guards.iter().map(|g| g.message.clone())).collect();
    said.sort();
    said.dedup();
    Ok(Disposed {
        said,
        decision: what.decision.clone(),
        concession: what.concession.clone(),
        blades,
        scrapped,
        recorded_at,
        written: written.iter().map(Logged::new).collect(),
    })
}
