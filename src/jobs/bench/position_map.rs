//! The position map of a tree: which pattern stands at which position, written at assembly.

use crate::jobs::records::ask::{Logged, build};
use records::catalogue::typed::{Key, Recorded};
use records::catalogue::{Blades, Moulds, RunningSystems};
use records::value::tag::shown;
use records::write::draft::Draft;
use records::{Act, Error, Result, Store, Who};

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
pub fn of(store: &Store, text: &str) -> Result<Tree> {
    store.snapshot(|| {
        let (key, mould) = store.named::<Moulds>(text)?;
        let system = mould.cell(Moulds::running_system).to_text();
        let definition = store.definition(key, Moulds::running_system)?;
        let positions = definition.and_then(|d| d.get(RunningSystems::positions)).unwrap_or(0).clamp(0, 200);
        let mut out = Tree { mould: mould.address(), positions: positions as usize, ..Tree::default() };
        out.taken = map(store, key)?;
        for other in store.newest::<Moulds>(12)? {
            if other.address() == out.mould || other.cell(Moulds::running_system).to_text() != system {
                continue;
            }
            let there = map(store, store.key_of(&other.address())?.0)?;
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

fn map(store: &Store, mould: Key<Moulds>) -> Result<Vec<(usize, String)>> {
    let blades = store.rows_of(Blades::mould, mould)?;
    let at = |b: &Recorded<Blades>| {
        Some((b.get(Blades::position)? as usize, b.cell(Blades::pattern_run).to_text()))
    };
    Ok(blades.iter().filter_map(at).collect())
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
pub fn write(
    store: &mut Store,
    who: &Who,
    mould: &str,
    runs: &[Option<String>],
    why: Option<&str>,
) -> Result<Vec<Logged>> {
    let mut acts = Vec::new();
    for (i, run) in runs.iter().enumerate() {
        let Some(run) = run else { continue };
        let draft = Draft::<Blades>::default()
            .with(Blades::blade, format!("{mould}-{}", i + 1))
            .with(Blades::mould, mould)
            .with(Blades::position, (i + 1).to_string())
            .with(Blades::pattern_run, run);
        acts.push(Act::Log(build(store, who, Blades::KIND, draft.texts())?, why.map(String::from)));
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
