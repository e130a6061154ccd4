//! What the summary tells beside its reasons.

use std::collections::{BTreeMap, BTreeSet, HashMap};

use crate::jobs::chemistry::ask;
use crate::jobs::lots::facts::Facts;
use crate::jobs::lots::readers::{day, qualified, qualifying};
use crate::jobs::lots::show::{Actual, Chemistry, Method};
use crate::jobs::lots::standing::product;
use crate::show::CAUTION;
use records::{Record, Stamp};
use records::{Result, Store};

/// Part with its revision, and the lines on top.
pub fn heading(facts: &Facts) -> (String, Vec<(&'static str, String)>) {
    let r = &facts.lot.record;
    let part = facts.definition("parts", facts.part).map_or_else(|| r.get("part").to_text(), Record::address);
    let or = |field: &str| {
        let text = r.get(field).to_text();
        if text.is_empty() { "not recorded".to_string() } else { text }
    };
    let heading = vec![
        ("lot", r.address()),
        ("purchaser", or("purchaser")),
        ("order", or("purchase_order")),
        ("part and revision", part.clone()),
        ("certificate type", or("certificate_type")),
        ("opened", or("opened_at")),
    ];
    (part, heading)
}

/// How the counts add up.
pub fn reconciliation(facts: &Facts) -> Vec<String> {
    let at = |place: &str| facts.blades.iter().filter(|b| b.counts && b.place == place).count() as i64;
    let words = ["accepted", "concession", "shipped", "returned", "held", "scrapped", "in process"];
    let made = facts.blades.iter().filter(|b| b.counts).count() as i64;
    let sum: i64 = words.iter().map(|w| at(w)).sum();
    let parts: Vec<String> = words.iter().map(|w| format!("{} {w}", at(w))).collect();
    let mut out = vec![format!("{} = {sum}; made {made}; difference {}", parts.join(" + "), made - sum)];
    let good = at("accepted") + at("concession") + at("shipped");
    if let Some(ordered) = facts.ordered() {
        out.push(match good - ordered {
            0 => format!("{good} good, {ordered} ordered: as ordered"),
            d if d < 0 => format!("{good} good, {ordered} ordered: {} short", -d),
            d => format!("{good} good, {ordered} ordered: {d} over"),
        });
    } else {
        out.push(format!("{good} good; how many were ordered is not recorded"));
    }
    let not_poured = facts.blades.len() as i64 - made;
    if not_poured > 0 {
        let (have, count) = if not_poured == 1 { (" has", "does") } else { ("s have", "do") };
        out.push(format!(
            "{not_poured} blade{have} no pour on record and {count} not count as made, of those put into the lot"
        ));
    }
    let (moulds, heats) = (facts.moulds.len(), facts.heats().len());
    out.push(format!("{moulds} moulds, {heats} heats"));
    out
}

/// Every blade with its parents.
pub fn serials(facts: &Facts) -> Vec<(String, String, String, &'static str)> {
    facts
        .blades
        .iter()
        .map(|b| {
            let mould = b.mould.and_then(|m| facts.moulds.get(&m));
            let heat = mould.and_then(|m| m.1.as_ref()).map_or("none".into(), |h| h.1.clone());
            (b.tag.clone(), mould.map_or("none".into(), |m| m.0.clone()), heat, b.place)
        })
        .collect()
}

/// Analyses of the heats and of the ingot lots behind them, each against its limits.
pub fn chemistry(store: &Store, facts: &Facts) -> Result<Vec<Chemistry>> {
    let mut subjects: Vec<String> = Vec::new();
    let ingots = Facts::tagged_in_order(store, "ingot_lots", facts.metal.ingots.iter().copied())?;
    subjects.extend(ingots.into_iter().map(|i| i.1));
    subjects.extend(facts.heats_in_order().into_iter().map(|h| h.1));
    let mut out = Vec::new();
    for subject in subjects {
        let of: Vec<String> = facts
            .behind
            .of("analyses")
            .filter(|a| a.record.get("subject").to_text() == subject)
            .map(|a| a.record.address())
            .collect();
        if of.is_empty() {
            let alloy = ask::check(store, &subject)?.alloy;
            let purpose = String::new();
            out.push(Chemistry { subject, analysis: None, purpose, alloy, elements: Vec::new() });
            continue;
        }
        for analysis in of {
            let checked = ask::check(store, &analysis)?;
            let side = |v: Option<f64>| v.map_or(String::new(), |v| v.to_string());
            let elements = checked
                .elements
                .iter()
                .map(|e| {
                    let value = e.value.as_ref().map_or("not analysed".into(), |v| {
                        v.as_str().map_or_else(|| v.to_string(), String::from)
                    });
                    (
                        e.element.clone(),
                        value,
                        match (e.min, e.max) {
                            (None, Some(_)) => format!("≤ {}", side(e.max)),
                            (Some(_), None) => format!("≥ {}", side(e.min)),
                            _ => format!("{}–{}", side(e.min), side(e.max)),
                        },
                        e.unit.clone(),
                        e.ok,
                    )
                })
                .collect();
            let aside = checked.set_aside.first().cloned();
            out.push(Chemistry {
                subject: subject.clone(),
                analysis: aside.or(checked.analysis),
                purpose: checked.purpose.unwrap_or_default(),
                alloy: checked.alloy,
                elements,
            });
        }
    }
    Ok(out)
}

/// Inspection by method, in the order of the plan, then others that were done.
pub fn methods(facts: &Facts) -> Vec<Method> {
    let plan: BTreeMap<String, &Record> =
        facts.of_part("inspection_plans").map(|r| (r.get("method").to_text(), r)).collect();
    let mut names: Vec<String> =
        ["visual", "penetrant", "radiograph", "dimensional", "grain", "wall_thickness"]
            .map(String::from)
            .to_vec();
    names.retain(|n| plan.contains_key(n) || facts.first.keys().any(|(_, m)| m == n));
    let accepted = |at: &usize| facts.record(*at).get("result").text() == Some("accept");
    let alive = facts.alive_tags();
    names
        .into_iter()
        .map(|method| {
            let first: Vec<usize> =
                facts.first.iter().filter(|((_, m), _)| *m == method).map(|(_, i)| *i).collect();
            let standing: Vec<(&String, &Vec<usize>)> = facts
                .standing
                .iter()
                .filter(|((_, m), _)| *m == method)
                .map(|((b, _), all)| (b, all))
                .collect();
            let words = |field: &str| -> Vec<String> {
                let all = standing.iter().flat_map(|(_, all)| all.iter());
                let all: BTreeSet<String> =
                    all.filter_map(|i| facts.record(*i).get(field).text().map(String::from)).collect();
                all.into_iter().collect()
            };
            let done = standing.iter().filter(|(b, _)| alive.contains(b.as_str())).count();
            let coverage = if done == alive.len() && done > 0 {
                format!("100 % ({done} of {done} not scrapped)")
            } else {
                format!("sampled ({done} of {} not scrapped)", alive.len())
            };
            let asked = plan.get(&method).map_or("not in the plan".into(), |r| {
                let sampling = r.get("sampling").text().unwrap_or("all").to_string();
                let how = if sampling.eq_ignore_ascii_case("all") { "100 %".into() } else { sampling };
                if r.get("required").text() == Some("yes") { how } else { format!("not required ({how})") }
            });
            Method {
                plan: asked,
                techniques: words("technique"),
                classes: words("class"),
                presented: first.len() as i64,
                accepted_first: first.iter().filter(|i| accepted(i)).count() as i64,
                accepted_standing: standing.iter().filter(|(_, all)| facts.accepted(all)).count() as i64,
                coverage,
                method,
            }
        })
        .collect()
}

/// Blades with a finding, by zone.
pub fn zones(facts: &Facts) -> Vec<(String, String, i64, i64)> {
    let inspected: BTreeMap<String, String> = facts
        .behind
        .of("inspections")
        .filter(|r| product(&r.record))
        .map(|r| (r.record.address(), r.record.get("blade").to_text()))
        .collect();
    let alive = facts.alive_tags();
    let mut out: Vec<(String, String, i64, i64)> =
        facts.of_part("zones").map(|r| (r.get("zone").to_text(), r.get("name").to_text(), 0, 0)).collect();
    for f in facts.behind.of("findings").map(|r| &r.record) {
        let Some(blade) = inspected.get(&f.get("inspection").to_text()) else { continue };
        let zone = f.get("zone").text().unwrap_or("not named").to_string();
        let at = match out.iter().position(|z| z.0.eq_ignore_ascii_case(&zone)) {
            Some(at) => at,
            None => {
                out.push((zone, String::new(), 0, 0));
                out.len() - 1
            }
        };
        out[at].2 += 1;
        out[at].3 += i64::from(alive.contains(blade.as_str()));
    }
    out
}

/// Measurements of the product inspections that stand.
pub fn actuals(facts: &Facts) -> Vec<Actual> {
    let standing = facts.standing.iter().flat_map(|((b, _), all)| all.iter().map(move |i| (b, i)));
    let last: BTreeMap<String, &str> =
        standing.map(|(b, i)| (facts.record(*i).address(), b.as_str())).collect();
    let alive = facts.alive_tags();
    let mut out: BTreeMap<(String, String), Actual> = BTreeMap::new();
    for m in facts.behind.of("measurements").map(|r| &r.record) {
        let (Some(v), Some(blade)) = (m.get("value").number(), last.get(&m.get("inspection").to_text()))
        else {
            continue;
        };
        let key = (m.get("characteristic").to_text(), m.get("unit").to_text());
        let limits = (m.get("lower").number(), m.get("upper").number());
        let a = out.entry(key.clone()).or_insert_with(|| Actual {
            characteristic: key.0,
            unit: key.1,
            n: 0,
            least: v,
            mean: 0.0,
            greatest: v,
            limits,
            outside: 0,
            values: Vec::new(),
        });
        if a.limits != limits {
            a.limits = (None, None);
        }
        (a.least, a.greatest) = (a.least.min(v), a.greatest.max(v));
        let outside = limits.0.is_some_and(|l| v < l) || limits.1.is_some_and(|u| v > u);
        a.outside += usize::from(outside && alive.contains(*blade));
        a.values.push(v);
    }
    for a in out.values_mut() {
        a.n = a.values.len();
        a.mean = a.values.iter().sum::<f64>() / a.n.max(1) as f64;
    }
    out.into_values().collect()
}

/// What is open and does not block.
pub fn open_actions(facts: &Facts) -> Vec<String> {
    let mut out = Vec::new();
    let alive = facts.alive_tags();
    let mut unplaced = Vec::new();
    for b in facts.behind.of("blades").map(|r| &r.record) {
        if alive.contains(b.address().as_str())
            && b.get("position").number().is_none()
            && !b.get("mould").is_blank()
        {
            unplaced.push(b.address());
        }
    }
    if !unplaced.is_empty() {
        out.push(format!("position in the mould not recorded: {}", unplaced.join(", ")));
    }
    for a in actuals(facts).iter().filter(|a| a.outside > 0) {
        out.push(format!(
            "{}: {} values outside their limits on blades that were not scrapped",
            a.characteristic, a.outside
        ));
    }
    let poured: HashMap<String, Stamp> = facts
        .behind
        .of("pours")
        .filter_map(|p| Some((p.record.get("mould").to_text(), p.record.own_time()?)))
        .collect();
    let moulds: HashMap<&str, &str> = facts
        .alive()
        .filter_map(|b| Some((b.tag.as_str(), facts.moulds.get(&b.mould?)?.0.as_str())))
        .collect();
    let standing = facts.standing.iter().flat_map(|(of, all)| all.iter().map(move |i| (of, *i)));
    for ((blade, method), at) in standing {
        let pour = moulds.get(blade.as_str()).and_then(|m| poured.get(*m));
        let inspection = facts.record(at);
        if let (Some(pour), Some(seen)) = (pour, inspection.own_time()) {
            if seen.ms() < pour.ms() {
                out.push(format!(
                    "{blade}: its {method} inspection {} is dated before its pour",
                    inspection.address()
                ));
            }
        }
    }
    out.extend(beginnings(facts));
    if facts.test_bars().next().is_none() {
        out.push("no test bar is on record".into());
    }
    if facts.behind.of("attachments").next().is_none() {
        out.push("no file is attached: certificates and charts are not held against a digest".into());
    }
    out
}

/// Readers whose qualification holds, without that its beginning is recorded.
fn beginnings(facts: &Facts) -> Vec<String> {
    let mut open: BTreeSet<(String, String)> = BTreeSet::new();
    for ((_, method), all) in facts.standing.iter().filter(|((_, m), _)| qualifying(m)) {
        for r in all.iter().map(|i| facts.record(*i)) {
            let (Some(person), Some(at)) = (r.get("person").text(), r.own_time()) else { continue };
            if qualified(facts.qualifications(), person, method, &day(at)) == Ok(false) {
                open.insert((person.to_string(), method.clone()));
            }
        }
    }
    let line = |(person, method): (String, String)| {
        format!("{person}'s {method} qualification: from when it holds is not recorded; taken as since ever")
    };
    open.into_iter().map(line).collect()
}

/// What must be borne in mind.
pub fn cautions(part: &str) -> Vec<String> {
    vec![
        CAUTION.into(),
        "Not valid if altered. Names as claimed, unless it says that a PIN was given.".into(),
        format!(
            "Whether {part} may be used is decided by its design authority and the people who sign, not by this list."
        ),
        "Every record stands as it was typed in: the list cannot know what was never recorded.".into(),
        "Check the file against the printed head: meltkin verify --anchor HEAD.".into(),
    ]
}
