//! Metal: which lots are in a heat through every generation of revert, and what its analysis says.

use std::collections::{BTreeMap, HashMap, HashSet};

use crate::jobs::causes::columns::{Loaded, Maker, stem};
use crate::jobs::causes::foundry::Units;
use knowledge::causes::SHARE_THAT_COUNTS;
use knowledge::causes::{At, MISSING, Values};
use knowledge::metallurgy::analysis::{AnalysisLine, content};
use knowledge::metallurgy::indices::of_analysis;
use knowledge::metallurgy::limits::{Content, Unit};
use records::catalogue::*;
use records::read::columns::{Cells, NOTHING};
use records::{Error, Result, Stamp};

/// Shares below this are let go on the way through the generations: a lot counts from a tenth on.
const LEAST_SHARE: f64 = 1e-4;

/// The makings of one piece of metal: (lot, share), or nothing where a mass is not recorded.
type Mix = Option<Vec<(u32, f64)>>;

/// A node of the metal's parentage.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
enum MetalNode {
    Ingot(i64),
    Revert(i64),
    Heat(i64),
}

/// Ingot and revert lots of each heat, with their shares; how much of the charge is revert, and in
/// what condition.
pub(crate) fn lots(maker: &mut Maker, units: &Units) -> Result<()> {
    let (charges, sources) = (maker.table::<Charges>()?, maker.table::<RevertSources>()?);
    let (ingots, reverts) = (maker.table::<IngotLots>()?, maker.table::<RevertLots>()?);
    let mut into: HashMap<MetalNode, Vec<(MetalNode, f64)>> = HashMap::new();
    let (heat, mass) = (charges.links(Charges::heat)?, charges.numbers(Charges::mass_kg)?);
    let ingot = charges.links(Charges::source.to::<IngotLots>())?;
    let revert = charges.links(Charges::source.to::<RevertLots>())?;
    for r in 0..charges.sheet.rows {
        let from =
            if ingot[r] == NOTHING { MetalNode::Revert(revert[r]) } else { MetalNode::Ingot(ingot[r]) };
        into.entry(MetalNode::Heat(heat[r])).or_default().push((from, mass[r]));
    }
    let (lot, from) = (sources.links(RevertSources::revert_lot)?, sources.links(RevertSources::heat)?);
    for (r, &m) in sources.numbers(RevertSources::mass_kg)?.iter().enumerate() {
        into.entry(MetalNode::Revert(lot[r])).or_default().push((MetalNode::Heat(from[r]), m));
    }
    let mixes = mixes(&into);
    let mut heat_ids = vec![NOTHING; units.heat.len()];
    for (&id, &h) in &units.of_heat {
        heat_ids[h as usize] = id;
    }
    type Of = fn(&MetalNode) -> Option<i64>;
    let ingot: Of = |m| if let MetalNode::Ingot(id) = m { Some(*id) } else { None };
    let revert: Of = |m| if let MetalNode::Revert(id) = m { Some(*id) } else { None };
    let kinds: [(&str, &Loaded, Of); 2] =
        [(IngotLots::ingot_lot.name, &ingots, ingot), (RevertLots::revert_lot.name, &reverts, revert)];
    for (name, loaded, of) in kinds {
        let tags = loaded.column(name)?;
        let levels: Vec<String> =
            (0..loaded.sheet.rows).map(|r| tags.word(r).unwrap_or_default().to_string()).collect();
        let shares = |id: &i64| -> Mix {
            let mix = mixes.get(&MetalNode::Heat(*id))?.as_ref()?;
            let row = |(metal, share): &(MetalNode, f64)| of(metal).map(|id| (loaded.row(id), *share));
            Some(mix.iter().filter_map(row).collect())
        };
        push(maker, name.into(), heat_ids.iter().map(shares).collect(), levels);
    }
    let charge = |id: &i64| into.get(&MetalNode::Heat(*id)).filter(|c| c.iter().all(|(_, m)| m.is_finite()));
    let share = |id: &i64| {
        let charge = charge(id)?;
        let total: f64 = charge.iter().map(|(_, m)| m).sum();
        let own: f64 = charge.iter().filter(|(m, _)| matches!(m, MetalNode::Revert(_))).map(|(_, m)| m).sum();
        (total > 0.0).then(|| own / total)
    };
    let values = heat_ids.iter().map(|id| share(id).unwrap_or(f64::NAN)).collect();
    maker.numbers("heat.revert_share".into(), values, 0, At::Heat);
    let heats = maker.table()?;
    let (alloys, alloy) = maker.along(&heats, Heats::alloy, &units.heat)?;
    let most = alloys.numbers(Alloys::revert_max_pct)?;
    let allowed: Vec<f64> =
        alloy.iter().filter_map(|&r| most.get(r as usize)).map(|pct| pct / 100.0).collect();
    maker.limit("heat.revert_share", &allowed);
    for field in [RevertLots::condition.any(), RevertLots::form.any()] {
        let (words, field) = (reverts.cells(field)?, field.name);
        let mut levels: Vec<String> = Vec::new();
        let mut of: Vec<Mix> = Vec::new();
        for id in &heat_ids {
            let Some(charge) = charge(id) else {
                of.push(None);
                continue;
            };
            let total: f64 = charge.iter().map(|(_, m)| m).sum();
            let mut mix: BTreeMap<u32, f64> = BTreeMap::new();
            for (metal, mass) in charge {
                let MetalNode::Revert(lot) = metal else { continue };
                let Some(word) = words.word(reverts.row(*lot) as usize) else { continue };
                let code = levels.iter().position(|l| l == word).unwrap_or_else(|| {
                    levels.push(word.to_string());
                    levels.len() - 1
                });
                *mix.entry(code as u32).or_default() += mass / total;
            }
            of.push(Some(mix.into_iter().collect()));
        }
        push(maker, format!("{}.{field}", RevertLots::revert_lot.name), of, levels);
    }
    Ok(())
}

fn push(maker: &mut Maker, name: String, mut of: Vec<Mix>, levels: Vec<String>) {
    // What counts for nothing in the ranking need not be carried.
    of.iter_mut().flatten().for_each(|mix| mix.retain(|(_, share)| *share >= SHARE_THAT_COUNTS));
    if of.iter().flatten().any(|mix| !mix.is_empty()) {
        maker.push(name, At::Heat, Values::Shares { of, levels }, 0);
    }
}

/// What is in each piece of metal, all generations: shares multiply along a path and add over paths.
fn mixes(
    into: &HashMap<MetalNode, Vec<(MetalNode, f64)>>,
) -> HashMap<MetalNode, Option<Vec<(MetalNode, f64)>>> {
    let mut waiting: HashMap<MetalNode, usize> = HashMap::new();
    let mut out_of: HashMap<MetalNode, Vec<MetalNode>> = HashMap::new();
    for (child, parts) in into {
        let parents: HashSet<&MetalNode> = parts.iter().map(|(p, _)| p).collect();
        waiting.insert(*child, parents.iter().filter(|p| into.contains_key(p)).count());
        for parent in parents {
            out_of.entry(*parent).or_default().push(*child);
        }
    }
    let mut ready: Vec<MetalNode> = waiting.iter().filter(|(_, n)| **n == 0).map(|(m, _)| *m).collect();
    let mut done: HashMap<MetalNode, Option<Vec<(MetalNode, f64)>>> = HashMap::new();
    while let Some(metal) = ready.pop() {
        let parts = &into[&metal];
        let total: f64 = parts.iter().map(|(_, m)| m).sum();
        let known = total > 0.0 && total.is_finite();
        let mut mix: HashMap<MetalNode, f64> = HashMap::new();
        let mut whole = known;
        if known {
            for (parent, mass) in parts {
                let share = mass / total;
                if !matches!(parent, MetalNode::Heat(_)) {
                    *mix.entry(*parent).or_default() += share;
                }
                match done.get(parent) {
                    Some(Some(of)) => of.iter().for_each(|(m, s)| *mix.entry(*m).or_default() += s * share),
                    Some(None) => whole = false,
                    None => {}
                }
            }
        }
        let mut mix: Vec<(MetalNode, f64)> = mix.into_iter().filter(|(_, s)| *s >= LEAST_SHARE).collect();
        mix.sort_by_key(|(m, _)| match m {
            MetalNode::Ingot(id) => (0, *id),
            MetalNode::Revert(id) => (1, *id),
            MetalNode::Heat(id) => (2, *id),
        });
        // Rounding may carry a sum past one by a hair.
        mix.iter_mut().for_each(|(_, s)| *s = s.min(1.0));
        done.insert(metal, whole.then_some(mix));
        for child in out_of.get(&metal).into_iter().flatten() {
            if let Some(n) = waiting.get_mut(child) {
                *n -= 1;
                if *n == 0 {
                    ready.push(*child);
                }
            }
        }
    }
    done
}

/// What the alloys of the heats may hold: element, least or most, unit.
fn alloy_limits(maker: &Maker, units: &Units) -> Result<Vec<(String, f64, Unit)>> {
    let [of, element, min, max, unit] = maker.store.columns([
        AlloyLimits::alloy.any(),
        AlloyLimits::element.any(),
        AlloyLimits::min.any(),
        AlloyLimits::max.any(),
        AlloyLimits::unit.any(),
    ])?;
    let heats = maker.some([Heats::alloy.any()])?;
    let alloys = heats.links(Heats::alloy)?;
    let used: HashSet<i64> = units
        .heat
        .iter()
        .filter_map(|&r| alloys.get(r as usize))
        .copied()
        .filter(|id| *id != NOTHING)
        .collect();
    let mut out = Vec::new();
    for (r, alloy) in of.links().iter().enumerate().filter(|(_, id)| used.contains(id)) {
        let (Some(element), Some(unit)) = (element.word(r), unit.word(r).and_then(Unit::from_word)) else {
            return Err(Error::untrusted(format!(
                "a limit of the alloy with key {alloy} has no element or unit"
            )));
        };
        let both = [min.numbers()[r], max.numbers()[r]];
        out.extend(both.into_iter().filter(|x| x.is_finite()).map(|x| (element.to_string(), x, unit)));
    }
    Ok(out)
}

/// The heat's own chemistry: the latest check analysis that is not suspect, else the latest of the
/// maker's; with the indices of the composition.
pub(crate) fn chemistry(maker: &mut Maker, units: &Units) -> Result<()> {
    let (analyses, values) = (maker.table::<Analyses>()?, maker.table::<AnalysisValues>()?);
    let suspect: HashSet<i64> = maker
        .store
        .suspect_readings(None)?
        .iter()
        .flat_map(|r| &r.on)
        .filter(|l| l.kind == Analyses::NAME)
        .map(|l| l.id)
        .collect();
    let of = analyses.links(Analyses::subject.to::<Heats>())?;
    let (taken, purpose) = (analyses.times(Analyses::taken_at)?, analyses.choices(Analyses::purpose)?);
    let mut chosen: Vec<Option<(bool, i64, i64)>> = vec![None; units.heat.len()];
    for r in 0..analyses.sheet.rows {
        let Some(&h) = units.of_heat.get(&of[r]) else { continue };
        let ms = Stamp::from_packed(taken[r].max(0)).ms();
        if suspect.contains(&analyses.sheet.ids[r]) {
            continue;
        }
        let check = purpose(r as u32) == Some(AnalysisPurpose::Check);
        let this = Some((check, ms, analyses.sheet.ids[r]));
        if chosen[h as usize] < this {
            chosen[h as usize] = this;
        }
    }
    let rows: Vec<u32> = chosen.iter().map(|c| c.map_or(MISSING, |(.., id)| analyses.row(id))).collect();
    maker.checks((Analyses::KIND, &analyses), &rows, At::Heat, (&stem(Analyses::KIND), ""))?;
    let limits = alloy_limits(maker, units)?;
    let heat_of: HashMap<i64, usize> =
        chosen.iter().enumerate().filter_map(|(h, c)| Some((c.as_ref()?.2, h))).collect();
    let mut lines: Vec<Vec<AnalysisLine>> = vec![Vec::new(); units.heat.len()];
    let mut unit_of: BTreeMap<&str, Unit> = BTreeMap::new();
    let (elements, unit) = (values.cells(AnalysisValues::element)?, values.cells(AnalysisValues::unit)?);
    let (analysis, number) =
        (values.links(AnalysisValues::analysis)?, values.numbers(AnalysisValues::value)?);
    let below: HashSet<u32> = match values.cells(AnalysisValues::value)? {
        Cells::Numbers { below, .. } => below.iter().copied().collect(),
        _ => HashSet::new(),
    };
    for r in 0..values.sheet.rows {
        let Some(&h) = heat_of.get(&analysis[r]) else { continue };
        let (Some(element), Some(unit)) = (elements.word(r), unit.word(r).and_then(Unit::from_word)) else {
            continue;
        };
        let content = match number[r] {
            v if v.is_nan() => Content::Unknown,
            v if below.contains(&(r as u32)) => Content::Below(2.0 * v),
            v => Content::Value(v),
        };
        unit_of.entry(element).or_insert(unit);
        lines[h].push(AnalysisLine { element, content, unit });
    }
    for (element, unit) in unit_of {
        let mut under = 0;
        let column: Vec<f64> = lines
            .iter()
            .map(|of| match content(of, element, unit) {
                Content::Value(v) => v,
                Content::Below(x) => {
                    under += 1;
                    x / 2.0
                }
                _ => f64::NAN,
            })
            .collect();
        let name = format!("heat.{element}");
        maker.numbers(name.clone(), column, under, At::Heat);
        let own = limits.iter().filter(|(of, ..)| of.eq_ignore_ascii_case(element));
        let own: Vec<f64> = own.map(|(_, limit, of)| limit * of.factor_to(unit)).collect();
        maker.limit(&name, &own);
    }
    let mut indices: BTreeMap<String, Vec<f64>> = BTreeMap::new();
    for (h, of) in lines.iter().enumerate() {
        let Ok(found) = of_analysis(of) else { continue };
        for (i, index) in found.iter().enumerate() {
            // Of two conventions of one index the first: they rank heats alike.
            if found[..i].iter().all(|other| other.name != index.name) {
                let name = format!("heat.{}", index.name.replace(' ', "_"));
                let column = indices.entry(name).or_insert_with(|| vec![f64::NAN; lines.len()]);
                column[h] = index.value.unwrap_or(f64::NAN);
            }
        }
    }
    // An index says again what its elements say.
    maker.weight = crate::jobs::causes::ask::REPEATED;
    for (name, column) in indices {
        maker.numbers(name, column, 0, At::Heat);
    }
    maker.weight = 1.0;
    Ok(())
}
