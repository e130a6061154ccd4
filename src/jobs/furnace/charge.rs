//! What a charge comes to while it is put together: mass, share of revert, blended chemistry, indices.

use std::collections::BTreeMap;

use crate::jobs::chemistry::ask;
use crate::jobs::furnace::board::of_kind;
use crate::show::working::Working;
use knowledge::metallurgy::analysis::AnalysisLine;
use knowledge::metallurgy::charge::blend;
use knowledge::metallurgy::indices::{AlloyIndex, of_analysis};
use knowledge::metallurgy::limits::{Content, Unit};
use records::catalogue::kind;
use records::check::Guard;
use records::{Record, Value};
use records::{Result, Store};

/// One element over all items: mass and content pairs, and its limits.
#[derive(Default)]
struct Mixed {
    parts: Vec<(f64, f64)>,
    min: Option<f64>,
    max: Option<f64>,
}

/// What the charge of a heat comes to, with one more item (source, mass in kg) that is being typed:
/// lines of text, each with whether it is as it should be. The first is the share of revert. Empty
/// where nothing is charged.
///
/// The blend is the mean of the items' analyses weighted by mass, without losses in the melt. An
/// element that is not analysed in every item is named, not guessed.
///
/// # Errors
/// The store cannot be read.
pub fn look(store: &Store, heat: &str, item: Option<(&str, f64)>) -> Result<Vec<(bool, String)>> {
    store.snapshot(|| {
        let Some((_, id, tag)) = of_kind(store, heat, "heats")? else { return Ok(Vec::new()) };
        let (Some(charges), Some(heats)) = (kind("charges"), kind("heats")) else { return Ok(Vec::new()) };
        let mut items: Vec<(String, f64)> = store
            .referring(charges, "heat", "heats", id)?
            .iter()
            .map(|r: &Record| (r.get("source").to_text(), r.get("mass_kg").number().unwrap_or(0.0)))
            .collect();
        items.extend(item.map(|(source, mass)| (source.to_string(), mass)));
        if items.is_empty() {
            return Ok(Vec::new());
        }
        let alloy = store.tied(heats, id, "alloy")?;
        let limit = alloy.and_then(|a| a.get("revert_max_pct").number());
        let mut out = vec![share(store, &tag, &items, limit)?];
        out.extend(chemistry(store, &items)?);
        Ok(out)
    })
}

/// What does not fit in the charge of a heat, each a line that says no; and what is asked about the item that is being
/// typed.
///
/// # Errors
/// The store cannot be read.
pub fn misfits(
    store: &Store,
    heat: &str,
    item: Option<(&str, f64)>,
) -> Result<(Vec<(bool, String)>, Vec<Guard>)> {
    store.snapshot(|| {
        let Some((_, id, tag)) = of_kind(store, heat, "heats")? else { return Ok(Default::default()) };
        let mut out: Vec<String> = store.heat_fit(id)?.into_iter().map(|m| m.reason).collect();
        let mut asks = Vec::new();
        if let (Some((source, mass)), Some(charges)) = (item, kind("charges")) {
            let mut record = Record::blank(charges);
            record.set("heat", Value::Text(tag.into()));
            record.set("source", Value::Text(source.into()));
            record.set("mass_kg", Value::Number(mass));
            asks = store.fit_guards(&record)?;
            out.extend(asks.iter().map(|g| format!("{}: a reason is asked", g.message)));
        }
        Ok((out.into_iter().map(|text| (false, text)).collect(), asks))
    })
}

/// How the figures of [`look`] came about: the share of revert with what may still be added, and the
/// indices of the blend.
///
/// # Errors
/// The store cannot be read.
pub fn workings(store: &Store, heat: &str, item: Option<(&str, f64)>) -> Result<Vec<Working>> {
    let told = look(store, heat, item)?;
    store.snapshot(|| {
        let Some((_, id, tag)) = of_kind(store, heat, "heats")? else { return Ok(Vec::new()) };
        let (Some(charges), Some(heats)) = (kind("charges"), kind("heats")) else { return Ok(Vec::new()) };
        let mut inputs = Vec::new();
        let mut records = vec![tag];
        let (mut total, mut revert) = (0.0, 0.0);
        let there = store.referring(charges, "heat", "heats", id)?;
        let mut items: Vec<(String, f64, String)> = there
            .iter()
            .map(|r| (r.get("source").to_text(), r.get("mass_kg").number().unwrap_or(0.0), r.address()))
            .collect();
        items.extend(item.map(|(s, m)| (s.to_string(), m, "being typed".to_string())));
        for (source, mass, address) in items {
            let own = store.look_up(&source)?.is_some_and(|(k, ..)| k == "revert_lots");
            total += mass;
            if own {
                revert += mass;
            }
            let what = if own { "revert" } else { "not revert" };
            inputs.push((source, format!("{mass:.3} kg, {what}")));
            records.push(address);
        }
        if total <= 0.0 {
            return Ok(Vec::new());
        }
        let alloy = store.tied(heats, id, "alloy")?;
        let mut assumptions = vec!["every item weighed, nothing lost in the melt".to_string()];
        if let Some(limit) = alloy.as_ref().and_then(|a| a.get("revert_max_pct").number()) {
            inputs.push(("limit of the alloy".into(), format!("{limit} %")));
            let l = limit / 100.0;
            // (r + x) / (m + x) = l
            let more = (l * total - revert) / (1.0 - l);
            if l < 1.0 && more.is_finite() {
                let more = more.max(0.0);
                assumptions.push(format!("with nothing but revert added, {more:.3} kg more keeps the limit"));
            }
        }
        let mut out = vec![Working {
            title: format!("share of revert {:.1} %", revert / total * 100.0),
            formula: "100 × Σ mass of revert items / Σ mass of all items".into(),
            inputs: inputs.clone(),
            listed: "",
            records: records.clone(),
            source: "balance of masses".into(),
            assumptions,
        }];
        if let Some((_, text)) = told.iter().find(|(_, t)| t.starts_with("of the blend: ")) {
            out.push(Working {
                title: text.clone(),
                formula: "blend: Σ mass × content / Σ mass, element by element; then each index by the \
                          convention named beside it"
                    .into(),
                inputs,
                listed: "",
                records,
                source: "the analyses on record of each item; the conventions stand in brackets".into(),
                assumptions: vec![
                    "no losses in the melt".into(),
                    "below detection counts as the limit of detection".into(),
                ],
            });
        }
        Ok(out)
    })
}

fn share(store: &Store, heat: &str, items: &[(String, f64)], limit: Option<f64>) -> Result<(bool, String)> {
    let total: f64 = items.iter().map(|(_, m)| m).sum();
    let mut revert = 0.0;
    for (source, mass) in items {
        if store.look_up(source)?.is_some_and(|(k, ..)| k == "revert_lots") {
            revert += mass;
        }
    }
    let share = if total > 0.0 { revert / total * 100.0 } else { 0.0 };
    let within = limit.is_none_or(|l| share <= l + 1e-9);
    let limit = limit.map_or(String::new(), |l| format!(" of at most {l} %"));
    let n = items.len();
    let noun = if n == 1 { "item" } else { "items" };
    Ok((within, format!("{heat}: {n} {noun}, {total:.3} kg, revert {share:.1} %{limit}")))
}

fn chemistry(store: &Store, items: &[(String, f64)]) -> Result<Vec<(bool, String)>> {
    let mut mixed: BTreeMap<(String, String), Mixed> = BTreeMap::new();
    let mut without = Vec::new();
    for (source, mass) in items {
        let lot = store.look_up(source)?.is_some_and(|(k, ..)| matches!(k, "ingot_lots" | "revert_lots"));
        if !lot {
            continue;
        }
        let checked = ask::check(store, source)?;
        if checked.analysis.is_none() {
            without.push(source.clone());
        }
        for e in checked.elements {
            let m = mixed.entry((e.element, e.unit)).or_default();
            (m.min, m.max) = (m.min.or(e.min), m.max.or(e.max));
            // Below detection counts as the limit of detection: the most that it can be.
            let text = e.value.as_ref().and_then(|v| v.as_str()).and_then(|t| t.strip_prefix('<'));
            let content = e.value.as_ref().and_then(serde_json::Value::as_f64);
            if let Some(c) = content.or_else(|| text.and_then(|t| t.parse().ok())) {
                m.parts.push((*mass, c));
            }
        }
    }
    if !without.is_empty() {
        return Ok(vec![(false, format!("no analysis of {}: no blend can be told", without.join(", ")))]);
    }
    let (mut outside, mut unknown, mut analysis) = (Vec::new(), Vec::new(), Vec::new());
    for ((element, unit), m) in &mixed {
        let value = if m.parts.len() == items.len() { blend(&m.parts).ok() } else { None };
        match value {
            None => unknown.push(element.clone()),
            Some(v) => {
                if m.min.is_some_and(|l| v < l - 1e-9) || m.max.is_some_and(|l| v > l + 1e-9) {
                    let edge = |l: Option<f64>| l.map_or("none".to_string(), |l| l.to_string());
                    outside.push(format!("{element} {v:.3} {unit} ({} to {})", edge(m.min), edge(m.max)));
                }
                if let (Some(unit), false) = (Unit::from_word(unit), element.contains('+')) {
                    analysis.push(AnalysisLine { element, content: Content::Value(v), unit });
                }
            }
        }
    }
    if mixed.is_empty() {
        return Ok(Vec::new());
    }
    let mut out = Vec::new();
    if outside.is_empty() {
        out.push((true, "blend within the limits of the alloy, as far as it is analysed".to_string()));
    } else {
        out.push((false, format!("blend outside: {}", outside.join(", "))));
    }
    if !unknown.is_empty() {
        out.push((false, format!("not analysed in every item: {}", unknown.join(", "))));
    }
    let shown = |i: AlloyIndex| i.value.map(|v| format!("{} {v:.3} ({})", i.name, i.convention));
    let told: Vec<String> = match of_analysis(&analysis) {
        Ok(all) => all.into_iter().take(3).filter_map(shown).collect(),
        Err(why) => vec![format!("no indices: {why}")],
    };
    if !told.is_empty() {
        out.push((true, format!("of the blend: {}", told.join(", "))));
    }
    Ok(out)
}
