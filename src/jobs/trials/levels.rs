//! What a mould's own records say of a trial's factor, and whether what it stands on is approved.

use std::collections::HashMap;
use std::collections::hash_map::Entry;

use crate::jobs::trials::compare::names;
use records::{Error, Link, Result, Store};
use records::{Record, catalogue};

/// The record of a kind that belongs to one mould.
pub(crate) fn record_of(store: &Store, kind: &str, mould: i64) -> Result<Option<Record<'static>>> {
    let kind = catalogue::find(kind).map_err(Error::input)?;
    Ok(store.referring(kind, "mould", "moulds", mould)?.into_iter().next())
}

/// What a mould's own records say of a factor.
pub(crate) enum Level {
    /// A record upstream of it.
    Upstream(Box<Record<'static>>),
    /// A field of it or of its pour.
    Field(String),
}

pub(crate) fn words(levels: &[Level]) -> Vec<String> {
    levels
        .iter()
        .map(|l| match l {
            Level::Upstream(record) => record.address(),
            Level::Field(text) => text.clone(),
        })
        .collect()
}

/// The factor's levels in a mould: records upstream of it where the factor is a kind (shell_recipes), else the
/// field of the mould or its pour. None where the factor is neither.
pub(crate) fn levels(store: &Store, link: Link, tag: &str, factor: &str) -> Result<Option<Vec<Level>>> {
    let wanted = factor.trim().to_lowercase().replace(' ', "_");
    let kind = catalogue::all().find(|k| k.name == wanted || k.noun.replace(' ', "_") == wanted);
    if let Some(kind) = kind {
        let lineage = store.ancestry(link, tag)?;
        let mut out = Vec::new();
        for node in lineage.nodes.iter().skip(1).filter(|n| n.link.kind == kind.name) {
            out.push(Level::Upstream(Box::new(store.by_id(kind, node.link.id)?.record)));
        }
        return Ok(Some(out));
    }
    let (of, field) = wanted.split_once('.').map_or((None, wanted.as_str()), |(k, f)| (Some(k), f));
    for name in ["moulds", "pours"].into_iter().filter(|k| of.is_none_or(|o| o == *k)) {
        let kind = catalogue::find(name).map_err(Error::input)?;
        let own = store.own_fields()?;
        if kind.field(field).is_none() && !own.iter().any(|o| o.record == name && o.name == field) {
            continue;
        }
        let record = match name {
            "moulds" => Some(store.by_id(kind, link.id)?.record),
            _ => record_of(store, name, link.id)?,
        };
        let text = record.map(|r| r.get(field).to_text()).filter(|t| !t.is_empty());
        return Ok(Some(text.map(Level::Field).into_iter().collect()));
    }
    Ok(None)
}

pub(crate) fn fits(level: &Level, arm: &str) -> bool {
    match level {
        Level::Upstream(record) => names(record, arm),
        Level::Field(text) => {
            text.eq_ignore_ascii_case(arm)
                || matches!((text.parse::<f64>(), arm.parse::<f64>()), (Ok(a), Ok(b)) if a == b)
        }
    }
}

/// Which definitions are approved, asked once each.
#[derive(Default)]
pub(crate) struct Approvals {
    kinds: HashMap<&'static str, bool>,
    seen: HashMap<(&'static str, i64), (bool, String)>,
}

impl Approvals {
    /// Whether a mould stands on a definition that is not approved, where others of its kind are.
    pub(crate) fn of(&mut self, store: &Store, link: Link, tag: &str) -> Result<(Option<bool>, String)> {
        let mut told = false;
        let mut without = Vec::new();
        for node in store.ancestry(link, tag)?.nodes.iter().skip(1) {
            let Some(kind) = records::catalogue::kind(node.link.kind).filter(|k| k.revisioned) else {
                continue;
            };
            if !self.kinds.contains_key(kind.name) {
                let some = store.all_of(kind)?.iter().any(|r| !r.get("approved_at").is_blank());
                self.kinds.insert(kind.name, some);
            }
            if !self.kinds[kind.name] {
                continue;
            }
            let key = (kind.name, node.link.id);
            let (approved, address) = match self.seen.entry(key) {
                Entry::Occupied(known) => known.into_mut(),
                Entry::Vacant(free) => {
                    let record = store.by_id(kind, node.link.id)?.record;
                    free.insert((!record.get("approved_at").is_blank(), record.address()))
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
