//! The position map of a tree: which pattern stands at which position, written at assembly.

use crate::jobs::records::ask::Logged;
use crate::jobs::records::ask::build;
use records::Act;
use records::Error;
use records::Result;
use records::Store;
use records::Who;
use records::catalogue::kind;
use records::value::tag::shown;
use records::value::words::articled;

/// What a position map starts from.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Tree {
    pub mould: String,
    /// Positions of its running system.
    pub positions: usize,
    /// The map of the tree before, of the same running system: pattern run by position.
    pub before: Vec<Option<String>>,
    /// Positions that are on record already.
    pub taken: Vec<(usize, String)>,
}

/// The positions of a mould, what is on them already, and the map of the tree before.
///
/// # Errors
/// The tag is no mould, or the store cannot be read.
pub fn of(store: &Store, text: &str) -> Result<Tree> {
    store.snapshot(|| {
        let found = store.find(text)?;
        if found.kind.name != "moulds" {
            return Err(Error::input(format!("{} is {}, no mould", shown(text), articled(found.kind.noun))));
        }
        let system = found.record.get("running_system").to_text();
        let definition = store.tied(found.kind, found.id.unwrap_or(-1), "running_system")?;
        let positions = definition.and_then(|d| d.get("positions").number()).unwrap_or(0.0).max(0.0) as usize;
        let mut out =
            Tree { mould: found.record.address(), positions: positions.min(200), ..Tree::default() };
        out.taken = map(store, found.id.unwrap_or(-1))?;
        let Some(moulds) = kind("moulds") else { return Ok(out) };
        for mould in store.latest(moulds, 12)? {
            if mould.address() == out.mould || mould.get("running_system").to_text() != system {
                continue;
            }
            let id = store.find(&mould.address())?.id.unwrap_or(-1);
            let there = map(store, id)?;
            if !there.is_empty() {
                out.before = vec![None; out.positions];
                for (p, run) in there {
                    if let Some(slot) = p.checked_sub(1).and_then(|i| out.before.get_mut(i)) {
                        *slot = Some(run);
                    }
                }
                break;
            }
        }
        Ok(out)
    })
}

fn map(store: &Store, id: i64) -> Result<Vec<(usize, String)>> {
    let Some(blades) = kind("blades") else { return Ok(Vec::new()) };
    let there = store.referring(blades, "mould", "moulds", id)?;
    let at = |b: &records::Record| b.get("position").number().map(|p| p as usize);
    Ok(there.iter().filter_map(|b| Some((at(b)?, b.get("pattern_run").to_text()))).collect())
}

/// A map that is the one before read the other way round, and is not the same both ways.
pub fn mirrored(now: &[Option<String>], before: &[Option<String>]) -> bool {
    let turned: Vec<&Option<String>> = before.iter().rev().collect();
    now.len() == before.len()
        && now.iter().any(Option::is_some)
        && now.iter().zip(&turned).all(|(a, b)| a == *b)
        && now.iter().zip(before).any(|(a, b)| a != b)
}

/// Opens the blade records of a tree, all in one transaction. A blade's tag is the mould's with the
/// position behind it. `why` says why a pattern run of another part is right.
///
/// # Errors
/// The map is empty, a position is taken, a pattern run is unknown.
pub fn write(
    store: &mut Store,
    who: &Who,
    mould: &str,
    runs: &[Option<String>],
    why: Option<&str>,
) -> Result<Vec<Logged>> {
    let Some(blades) = kind("blades") else { return Ok(Vec::new()) };
    let mut acts = Vec::new();
    for (i, run) in runs.iter().enumerate() {
        let Some(run) = run else { continue };
        let pairs = [
            ("blade".to_string(), format!("{mould}-{}", i + 1)),
            ("mould".to_string(), mould.to_string()),
            ("position".to_string(), (i + 1).to_string()),
            ("pattern_run".to_string(), run.clone()),
        ];
        acts.push(Act::Log(build(store, blades, &pairs)?, why.map(String::from)));
    }
    if acts.is_empty() {
        return Err(Error::input(format!("STOP: the position map of {} is empty", shown(mould))));
    }
    let written = store.together(who, acts)?;
    Ok(written.iter().map(Logged::new).collect())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_map_read_the_other_way_round_is_noticed() {
        let map = |t: &str| t.chars().map(|c| (c != '.').then(|| c.to_string())).collect::<Vec<_>>();
        assert!(mirrored(&map("AABB"), &map("BBAA")));
        assert!(!mirrored(&map("AABB"), &map("AABB")));
        assert!(!mirrored(&map("ABBA"), &map("ABBA")), "the same both ways says nothing");
        assert!(!mirrored(&map("...."), &map("....")));
        assert!(!mirrored(&map("AAB"), &map("BAAA")));
    }
}
