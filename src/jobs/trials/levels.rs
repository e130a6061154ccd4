//! What a mould's own records say of a trial's factor, and whether what it stands on is approved.

use std::collections::HashMap;
use std::collections::hash_map::Entry;

use crate::jobs::trials::compare::names;
use records::catalogue::{Key, Moulds, Pours};
use records::{Record, Result, Store, catalogue};

/// What a mould's own records say of a factor.
pub(crate) enum FactorLevel {
    /// A record upstream of it.
    Upstream(Box<Record<'static>>),
    /// A field of it or of its pour.
    Field(String),
}

impl FactorLevel {
    pub(crate) fn words(&self) -> String {
        match self {
            Self::Upstream(record) => record.address(),
            Self::Field(text) => text.clone(),
        }
    }

    /// It is what an arm is called.
    pub(crate) fn fits(&self, arm: &str) -> bool {
        match self {
            Self::Upstream(record) => names(record, arm),
            Self::Field(text) => {
                text.eq_ignore_ascii_case(arm)
                    || matches!((text.parse::<f64>(), arm.parse::<f64>()), (Ok(a), Ok(b)) if a == b)
            }
        }
    }
}

/// The factor's levels in a mould: records upstream of it where the factor is a kind (shell_recipes), else the
/// field of the mould or its pour. None where the factor is neither.
pub(crate) fn levels(
    store: &Store,
    mould: Key<Moulds>,
    tag: &str,
    factor: &str,
) -> Result<Option<Vec<FactorLevel>>> {
    let wanted = factor.trim().to_lowercase().replace(' ', "_");
    let kind = catalogue::all().find(|k| k.name == wanted || k.noun.replace(' ', "_") == wanted);
    if let Some(kind) = kind {
        let lineage = store.ancestry(mould.into(), tag)?;
        let mut out = Vec::new();
        for node in lineage.nodes.iter().skip(1).filter(|n| n.link.kind == kind.name) {
            out.push(FactorLevel::Upstream(Box::new(store.by_id(kind, node.link.id)?.record)));
        }
        return Ok(Some(out));
    }
    let (of, field) = wanted.split_once('.').map_or((None, wanted.as_str()), |(k, f)| (Some(k), f));
    let own = store.own_fields()?;
    for kind in [Moulds::KIND, Pours::KIND].into_iter().filter(|k| of.is_none_or(|o| o == k.name)) {
        if kind.field(field).is_none() && !own.iter().any(|o| o.record == kind.name && o.name == field) {
            continue;
        }
        let record = match kind.is::<Moulds>() {
            true => Some(store.row(mould)?.into_record()),
            false => store.rows_of(Pours::mould, mould)?.into_iter().next().map(|p| p.into_record()),
        };
        let text = record.map(|r| r.get(field).to_text()).filter(|t| !t.is_empty());
        return Ok(Some(text.map(FactorLevel::Field).into_iter().collect()));
    }
    Ok(None)
}

/// Which definitions are approved, asked once each.
#[derive(Default)]
pub(crate) struct Approvals {
    kinds: HashMap<&'static str, bool>,
    seen: HashMap<(&'static str, i64), (bool, String)>,
}

impl Approvals {
    /// Whether a mould stands on a definition that is not approved, where others of its kind are.
    pub(crate) fn of(
        &mut self,
        store: &Store,
        mould: Key<Moulds>,
        tag: &str,
    ) -> Result<(Option<bool>, String)> {
        let mut told = false;
        let mut without = Vec::new();
        for node in store.ancestry(mould.into(), tag)?.nodes.iter().skip(1) {
            let Some(kind) = catalogue::kind(node.link.kind).filter(|k| k.revisioned) else { continue };
            if !self.kinds.contains_key(kind.name) {
                let some = store.all_of(kind)?.iter().any(Record::approved);
                self.kinds.insert(kind.name, some);
            }
            if !self.kinds[kind.name] {
                continue;
            }
            let (approved, address) = match self.seen.entry((kind.name, node.link.id)) {
                Entry::Occupied(known) => known.into_mut(),
                Entry::Vacant(free) => {
                    let record = store.by_id(kind, node.link.id)?.record;
                    free.insert((record.approved(), record.address()))
                }
            };
            told = true;
            if !*approved {
                without.push(address.clone());
            }
        }
        if !without.is_empty() {
            return Ok((Some(true), format!("{} is not approved for production", without.join(", "))));
        }
        Ok(match told {
            true => (Some(false), "every definition behind it is approved".into()),
            false => (None, "no definition behind it records an approval".into()),
        })
    }
}
