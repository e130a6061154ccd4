//! One decision on many blades: all of them are on record, or none.

use std::collections::BTreeSet;

use serde::Serialize;

use crate::jobs::records::ask::{Logged, build};
use crate::jobs::trace::ask;
use records::catalogue::kind;
use records::value::tag::{folded, shown};
use records::value::words::articled;
use records::{Act, Error, Result, Store, Who};

/// What was decided.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Decision {
    /// accept, rework, repair, scrap, hold, concession.
    pub decision: String,
    /// The concession, where it is one.
    pub concession: Option<String>,
    /// Why.
    pub reason: Option<String>,
}

/// What came of it.
#[derive(Serialize, Debug, Clone)]
pub struct Decided {
    pub decision: String,
    pub concession: Option<String>,
    /// The blades, one record each.
    pub blades: Vec<String>,
    /// Blades below what was named that had been scrapped: nothing was decided on them.
    pub scrapped: usize,
    /// When it was typed in.
    pub recorded_at: String,
    /// What is to be known, without that it stops anybody.
    pub said: Vec<String>,
    /// The records that were written.
    #[serde(skip)]
    pub written: Vec<Logged>,
}

impl Decided {
    /// One line for a terminal.
    pub fn text(&self) -> String {
        let to = self.concession.as_deref().map_or(String::new(), |c| format!(" to {}", shown(c)));
        let (n, left) = (self.blades.len(), self.scrapped);
        let left =
            if left == 0 { String::new() } else { format!("; {left} scrapped before, left as they are") };
        let blades = if n == 1 { "blade" } else { "blades" };
        let said: String = self.said.iter().map(|s| format!("\nmind: {}", shown(s))).collect();
        format!("saved {}{to} for {n} {blades} at {}{left}{said}", self.decision, self.recorded_at)
    }
}

/// The blades that tags stand for: a blade for itself, a mould or a lot for its blades, a heat for those of its own
/// moulds. Beside them how many of those had been scrapped; a blade named itself always counts. Nothing else is taken,
/// and metal that came back as revert is not followed: a decision is on the blades that were meant, no others.
///
/// # Errors
/// An unknown tag, with near matches; a tag of another kind.
pub fn blades_of(store: &Store, tags: &[String]) -> Result<(Vec<String>, usize)> {
    let (mut out, mut seen, mut scrapped) = (Vec::new(), BTreeSet::new(), BTreeSet::new());
    for tag in tags {
        let found = store.find(tag)?;
        let own = found.record.address();
        match found.kind.name {
            "blades" => {
                if seen.insert(folded(&own)) {
                    out.push(own);
                }
                continue;
            }
            "moulds" | "heats" | "lots" => {}
            _ => {
                return Err(Error::input(format!(
                    "{} is {}; a decision is on blades: name them, or their mould, heat or lot",
                    shown(tag),
                    articled(found.kind.noun)
                )));
            }
        }
        let heat = (found.kind.name == "heats").then_some(own);
        for blade in ask::contain(store, tag)?.blades {
            if heat.as_deref().is_some_and(|h| blade.heat.as_deref() != Some(h)) {
                continue;
            }
            let name = folded(&blade.tag);
            if blade.place == "scrapped" {
                scrapped.insert(name);
            } else if seen.insert(name) {
                out.push(blade.tag);
            }
        }
    }
    Ok((out, scrapped.len()))
}

/// Writes one disposition for each blade, in one transaction.
///
/// # Errors
/// No blade, an unknown tag or decision, a concession that is missing or not on record, or the person may not.
pub fn dispose(store: &mut Store, who: &Who, tags: &[String], what: &Decision) -> Result<Decided> {
    let Some(dispositions) = kind("dispositions") else { return Err(Error::input("no dispositions")) };
    let (blades, scrapped) = blades_of(store, tags)?;
    if blades.is_empty() {
        return Err(Error::input("no blade is left to decide on: name blades, moulds, heats or a lot"));
    }
    match (what.decision.as_str(), &what.concession) {
        ("concession", None) => return Err(Error::input("name the concession that the blades go to")),
        ("concession", Some(_)) | (_, None) => {}
        (other, Some(c)) => {
            return Err(Error::input(format!("{other} goes with no concession, and {} is named", shown(c))));
        }
    }
    let now = store.later(who.now)?;
    let mut acts = Vec::with_capacity(blades.len());
    for blade in &blades {
        let mut pairs = vec![
            ("blade".to_string(), blade.clone()),
            ("decided_at".into(), now.to_string()),
            ("decision".into(), what.decision.clone()),
        ];
        pairs.extend(what.concession.clone().map(|c| ("concession".to_string(), c)));
        pairs.extend(what.reason.clone().map(|r| ("reason".to_string(), r)));
        acts.push(Act::Log(build(store, dispositions, &pairs)?, None));
    }
    let written = store.together(who, acts)?;
    let recorded_at = written.last().map_or(who.now, |w| w.recorded_at).to_string();
    let mut said: Vec<String> =
        written.iter().flat_map(|w| w.guards.iter().map(|g| g.message.clone())).collect();
    said.sort();
    said.dedup();
    Ok(Decided {
        said,
        decision: what.decision.clone(),
        concession: what.concession.clone(),
        blades,
        scrapped,
        recorded_at,
        written: written.iter().map(Logged::new).collect(),
    })
}
