//! The blades that share a parent with one blade, and how they compare.

use std::collections::{HashMap, HashSet};

use crate::jobs::trace::show::{Finding, Rate, Sibling, Siblings};
use crate::show::working::NAMED;
use records::catalogue::{Blades, DefectTerms};
use records::read::outcomes::Question;
use records::value::tag::{hint, near, shown};
use records::{Error, Result, Store};

/// Siblings of a blade below one of its parents.
///
/// # Errors
/// The tag is no blade, the parent is none of its parents, or the defect is unknown.
pub fn siblings(
    store: &Store,
    blade: &str,
    of: &str,
    defect: Option<&str>,
    zone: Option<&str>,
    method: Option<&str>,
) -> Result<Siblings> {
    store.snapshot(|| {
        let (link, tag) = store.link(blade)?;
        if link.kind != Blades::NAME {
            return Err(Error::input(format!("{} is not a blade", shown(blade))));
        }
        let (parent, parent_tag) = store.link(of)?;
        let lineage = store.ancestry(link, &tag)?;
        if !lineage.nodes.iter().skip(1).any(|n| n.link == parent) {
            let parents: Vec<&str> = lineage.nodes.iter().skip(1).map(|n| n.tag.as_str()).collect();
            let close = near(of, parents.iter().copied());
            return Err(Error::input(format!(
                "{} did not go into {}{}; its parents are {}",
                shown(of),
                shown(&tag),
                hint(&close),
                shown(&parents.join(", "))
            )));
        }
        let question = question(store, defect, zone, method)?;
        let other_methods = match question.defect {
            Some(id) => store
                .methods_of(id, zone)?
                .into_iter()
                .filter(|(m, _)| Some(m) != question.method.as_ref())
                .collect(),
            None => Vec::new(),
        };
        let outcomes = store.outcomes(&question)?;
        let found = store.contained(parent)?;
        let inside: HashSet<i64> = found.blades.iter().map(|b| b.id).collect();
        let parents = store.blade_parents()?;
        let heats_in: HashSet<i64> = inside.iter().filter_map(|b| parents.get(b)?.1).collect();
        let counts = |choose: &dyn Fn(i64, Option<i64>) -> bool| {
            let mut rate = Rate::default();
            let (mut moulds, mut heats) = (HashSet::new(), HashSet::new());
            for (&id, &(mould, heat)) in &parents {
                if heat.is_none() || !choose(id, heat) {
                    continue;
                }
                rate.made += 1;
                if let Some(&with) = outcomes.blades.get(&id) {
                    rate.inspected += 1;
                    rate.with += u64::from(with);
                    moulds.extend(mould);
                    heats.extend(heat);
                }
            }
            rate.moulds = moulds.len() as u64;
            rate.heats = heats.len() as u64;
            rate
        };
        let counts_in = counts(&|b, _| inside.contains(&b));
        let counts_out = counts(&|b, _| !inside.contains(&b));
        let counts_same_heats =
            counts(&|b, h| !inside.contains(&b) && h.is_some_and(|h| heats_in.contains(&h)));
        // The first of those that are counted, by name.
        let named = |choose: &dyn Fn(i64, Option<i64>) -> bool| -> Result<Vec<String>> {
            let counted = |id: i64| outcomes.blades.get(&id) == Some(&true);
            let poured = parents.iter().filter(|(_, (_, heat))| heat.is_some());
            let all = poured.filter(|(id, (_, heat))| counted(**id) && choose(**id, *heat));
            let mut ids: Vec<i64> = all.map(|(id, _)| *id).collect();
            ids.sort_unstable();
            ids.into_iter().take(NAMED).map(|id| store.tag_of(Blades::NAME, id)).collect()
        };
        let with = [
            named(&|b, _| inside.contains(&b))?,
            named(&|b, h| !inside.contains(&b) && h.is_some_and(|h| heats_in.contains(&h)))?,
            named(&|b, _| !inside.contains(&b))?,
        ];
        let positions: HashMap<i64, Option<i64>> = store.column(Blades::NAME, Blades::position.name)?;
        let mut siblings = Vec::new();
        for b in found.blades.iter().filter(|b| b.id != link.id) {
            let findings = store
                .findings_of(b.id)?
                .into_iter()
                .map(|(defect, zone, method, size_mm)| Finding { defect, zone, method, size_mm })
                .collect();
            siblings.push(Sibling {
                blade: b.tag.clone(),
                position: positions.get(&b.id).copied().flatten(),
                findings,
                place: b.place.word(),
                inspected: outcomes.blades.contains_key(&b.id),
            });
        }
        Ok(Siblings {
            of: parent_tag,
            blade: tag,
            defect: defect.map(String::from),
            method: question.method,
            other_methods,
            siblings,
            rate_in: counts_in.value(),
            rate_out: counts_out.value(),
            rate_same_heats: counts_same_heats.value(),
            not_inspected: counts_in.made - counts_in.inspected,
            counts_in,
            counts_out,
            counts_same_heats,
            with,
        })
    })
}

/// Makes the question about a defect precise: without a method, the one under which it is found most.
pub fn question(
    store: &Store,
    defect: Option<&str>,
    zone: Option<&str>,
    method: Option<&str>,
) -> Result<Question> {
    let mut out =
        Question { zone: zone.map(String::from), method: method.map(String::from), ..Question::default() };
    if let Some(text) = defect {
        let terms = store.text_by_key(DefectTerms::defect)?;
        let Some((&id, _)) = terms.iter().find(|(_, known)| known.eq_ignore_ascii_case(text)) else {
            let mut known: Vec<&str> = terms.values().map(String::as_str).collect();
            known.sort_unstable();
            let close = near(text, known);
            return Err(Error::input(format!("there is no defect term {}{}", shown(text), hint(&close))));
        };
        out.defect = Some(id);
        if out.method.is_none() {
            out.method = store.methods_of(id, zone)?.first().map(|(m, _)| m.clone());
        }
    }
    Ok(out)
}
