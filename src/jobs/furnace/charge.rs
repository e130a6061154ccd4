//! What a charge comes to while it is put together: mass, share of revert, blended chemistry, indices.

use std::collections::BTreeMap;

use crate::jobs::chemistry::ask;
use crate::show::working::Working;
use knowledge::metallurgy::analysis::AnalysisLine;
use knowledge::metallurgy::charge::blend;
use knowledge::metallurgy::indices::{AlloyIndex, of_analysis};
use knowledge::metallurgy::limits::{Content, Unit};
use records::catalogue::typed::{Key, Recorded};
use records::catalogue::{Alloys, Charges, Heats, IngotLots, RevertLots};
use records::value::words::counted;
use records::{Result, Store};

/// One item of a charge.
pub struct ChargeItem {
    /// The lot that it came from.
    pub source: String,
    /// Its mass in kg.
    pub mass: f64,
    /// What kind of record the lot is; none where it leads nowhere.
    kind: Option<&'static str>,
    /// The record, or that it is being typed.
    record: String,
}

impl ChargeItem {
    fn new(store: &Store, source: &str, mass: f64, record: String) -> Result<Self> {
        let kind = store.look_up(source)?.map(|(kind, ..)| kind);
        Ok(Self { source: source.into(), mass, kind, record })
    }

    fn revert(&self) -> bool {
        self.kind == Some(RevertLots::NAME)
    }
}

/// What is charged into a heat, and one more item (source, mass in kg) that is being typed.
pub fn items(store: &Store, heat: Key<Heats>, typed: Option<(&str, f64)>) -> Result<Vec<ChargeItem>> {
    let mut out = Vec::new();
    for charge in store.rows_of(Charges::heat, heat)? {
        let mass = charge.get(Charges::mass_kg).unwrap_or(0.0);
        out.push(ChargeItem::new(store, charge.need(Charges::source)?, mass, charge.address())?);
    }
    if let Some((source, mass)) = typed {
        out.push(ChargeItem::new(store, source, mass, "being typed".into())?);
    }
    Ok(out)
}

/// The mass of all items, and the share of revert in percent.
pub fn total_and_share(items: &[ChargeItem]) -> (f64, f64) {
    let (mut total, mut revert) = (0.0, 0.0);
    for item in items {
        total += item.mass;
        // A sum over no revert at all would be -0.
        if item.revert() {
            revert += item.mass;
        }
    }
    (total, if total > 0.0 { revert / total * 100.0 } else { 0.0 })
}

/// The charge of a heat, looked at.
struct ChargeLook {
    /// The heat's tag.
    heat: String,
    items: Vec<ChargeItem>,
    /// The most revert that the alloy allows, in percent.
    limit: Option<f64>,
    blend: Blend,
}

/// What the items' analyses come to when they are mixed.
#[derive(Default)]
struct Blend {
    /// Lines of text, each with whether it is as it should be.
    lines: Vec<(bool, String)>,
    /// The indices of the blend.
    indices: Option<String>,
}

/// One element over all items: mass and content pairs, and its limits.
#[derive(Default)]
struct Mixed {
    parts: Vec<(f64, f64)>,
    min: Option<f64>,
    max: Option<f64>,
}

fn looked(store: &Store, heat: &str, typed: Option<(&str, f64)>) -> Result<Option<ChargeLook>> {
    store.snapshot(|| {
        let Some((key, heat)) = store.known::<Heats>(heat)? else { return Ok(None) };
        let items = items(store, key, typed)?;
        if items.is_empty() {
            return Ok(None);
        }
        let alloy: Option<Recorded<Alloys>> = store.definition(key, Heats::alloy)?;
        let limit = alloy.and_then(|a| a.get(Alloys::revert_max_pct));
        let blend = chemistry(store, &items)?;
        Ok(Some(ChargeLook { heat, items, limit, blend }))
    })
}

/// What the charge of a heat comes to, with one more item (source, mass in kg) that is being typed:
/// lines of text, each with whether it is as it should be. The first is the share of revert. Empty
/// where nothing is charged.
///
/// The blend is the mean of the items' analyses weighted by mass, without losses in the melt. An
/// element that is not analysed in every item is named, not guessed.
pub fn look(store: &Store, heat: &str, item: Option<(&str, f64)>) -> Result<Vec<(bool, String)>> {
    let Some(ChargeLook { heat, items, limit, blend }) = looked(store, heat, item)? else {
        return Ok(Vec::new());
    };
    let (total, share) = total_and_share(&items);
    let within = limit.is_none_or(|l| share <= l + 1e-9);
    let limit = limit.map_or(String::new(), |l| format!(" of at most {l} %"));
    let n = counted(items.len(), "item");
    let mut out = vec![(within, format!("{heat}: {n}, {total:.3} kg, revert {share:.1} %{limit}"))];
    out.extend(blend.lines);
    out.extend(blend.indices.map(|said| (true, said)));
    Ok(out)
}

/// What does not fit in the charge of a heat as it is on record.
pub fn misfits(store: &Store, heat: &str) -> Result<Vec<String>> {
    store.snapshot(|| {
        let Some((key, _)) = store.known::<Heats>(heat)? else { return Ok(Vec::new()) };
        Ok(store.heat_fit(key.id)?.into_iter().map(|m| m.reason).collect())
    })
}

/// How the figures of [`look`] came about: the share of revert with what may still be added, and the
/// indices of the blend.
pub fn workings(store: &Store, heat: &str, item: Option<(&str, f64)>) -> Result<Vec<Working>> {
    let Some(ChargeLook { heat, items, limit, blend }) = looked(store, heat, item)? else {
        return Ok(Vec::new());
    };
    let (total, share) = total_and_share(&items);
    if total <= 0.0 {
        return Ok(Vec::new());
    }
    let mut inputs = Vec::new();
    let mut records = vec![heat];
    for item in items {
        let what = if item.revert() { "revert" } else { "not revert" };
        inputs.push((item.source, format!("{:.3} kg, {what}", item.mass)));
        records.push(item.record);
    }
    let mut assumptions = vec!["every item weighed, nothing lost in the melt".to_string()];
    if let Some(limit) = limit {
        inputs.push(("limit of the alloy".into(), format!("{limit} %")));
        let l = limit / 100.0;
        // (r + x) / (m + x) = l
        let more = (l - share / 100.0) * total / (1.0 - l);
        if l < 1.0 && more.is_finite() {
            let more = more.max(0.0);
            assumptions.push(format!("with nothing but revert added, {more:.3} kg more keeps the limit"));
        }
    }
    let mut out = vec![Working {
        title: format!("share of revert {share:.1} %"),
        formula: "100 × Σ mass of revert items / Σ mass of all items".into(),
        inputs: inputs.clone(),
        listed: "",
        records: records.clone(),
        source: "balance of masses".into(),
        assumptions,
    }];
    out.extend(blend.indices.map(|title| {
        Working {
            title,
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
        }
    }));
    Ok(out)
}

fn chemistry(store: &Store, items: &[ChargeItem]) -> Result<Blend> {
    let mut mixed: BTreeMap<(String, String), Mixed> = BTreeMap::new();
    let mut without = Vec::new();
    for item in items.iter().filter(|i| matches!(i.kind, Some(IngotLots::NAME | RevertLots::NAME))) {
        let checked = ask::check(store, &item.source)?;
        if checked.analysis.is_none() {
            without.push(item.source.clone());
        }
        for e in checked.elements {
            let m = mixed.entry((e.element, e.unit)).or_default();
            (m.min, m.max) = (m.min.or(e.min), m.max.or(e.max));
            // Below detection counts as the limit of detection: the most that it can be.
            let text = e.value.as_ref().and_then(|v| v.as_str()).and_then(|t| t.strip_prefix('<'));
            let content = e.value.as_ref().and_then(serde_json::Value::as_f64);
            if let Some(c) = content.or_else(|| text.and_then(|t| t.parse().ok())) {
                m.parts.push((item.mass, c));
            }
        }
    }
    if !without.is_empty() {
        let line = format!("no analysis of {}: the blend is not known", without.join(", "));
        return Ok(Blend { lines: vec![(false, line)], indices: None });
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
        return Ok(Blend::default());
    }
    let mut out = Blend::default();
    if outside.is_empty() {
        out.lines.push((true, "blend within the limits of the alloy, as far as it is analysed".to_string()));
    } else {
        out.lines.push((false, format!("blend outside: {}", outside.join(", "))));
    }
    if !unknown.is_empty() {
        out.lines.push((false, format!("not analysed in every item: {}", unknown.join(", "))));
    }
    let shown = |i: AlloyIndex| i.value.map(|v| format!("{} {v:.3} ({})", i.name, i.convention));
    let told: Vec<String> = match of_analysis(&analysis) {
        Ok(all) => all.into_iter().take(3).filter_map(shown).collect(),
        Err(why) => vec![format!("no indices: {why}")],
    };
    if !told.is_empty() {
        out.indices = Some(format!("of the blend: {}", told.join(", ")));
    }
    Ok(out)
}
