//! What the summary tells beside its reasons.

use std::collections::{BTreeMap, BTreeSet, HashMap};

use crate::jobs::chemistry::ask;
use crate::jobs::chemistry::ask::Checked;
use crate::jobs::lots::facts::{Facts, accepted};
use crate::jobs::lots::readers::{day, qualified, qualifying};
use crate::jobs::lots::reasons::chemistry::{Subject, objection, subjects};
use crate::jobs::lots::standing::product;
use crate::jobs::lots::summary::{Actual, Chemistry, MethodDone};
use crate::show::CAUTION;
use records::catalogue::{
    Analyses, Attachments, Blades, Findings, InspectionPlans, Inspections, Lots, Measurements, Method, Pours,
    Verdict, YesNo, Zones,
};
use records::read::typed::RowOf;
use records::value::place::Place;
use records::{Result, Stamp, Store};

pub fn heading(facts: &Facts) -> Result<Vec<(&'static str, String)>> {
    let r = facts.lot;
    let or = |text: String| if text.is_empty() { "not recorded".to_string() } else { text };
    Ok(vec![
        ("lot", r.address()),
        ("purchaser", or(r.cell(Lots::purchaser).to_text())),
        ("order", or(r.cell(Lots::purchase_order).to_text())),
        ("part and revision", facts.part_name()?),
        ("certificate type", or(r.cell(Lots::certificate_type).to_text())),
        ("opened", or(r.cell(Lots::opened_at).to_text())),
    ])
}

/// How the counts add up.
pub fn reconciliation(facts: &Facts) -> Vec<String> {
    let places = [
        Place::Accepted,
        Place::Concession,
        Place::Shipped,
        Place::Returned,
        Place::Held,
        Place::Scrapped,
        Place::InProcess,
    ];
    let made = facts.blades.iter().filter(|b| b.counts).count() as i64;
    let sum: i64 = places.iter().map(|p| facts.at(*p)).sum();
    let parts: Vec<String> = places.iter().map(|p| format!("{} {}", facts.at(*p), p.word())).collect();
    let mut out = vec![format!("{} = {sum}; made {made}; difference {}", parts.join(" + "), made - sum)];
    let good = facts.at(Place::Accepted) + facts.at(Place::Concession) + facts.at(Place::Shipped);
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
            let mould = facts.mould_of(b);
            let heat = mould.and_then(|m| m.heat.as_ref()).map_or("none".into(), |h| h.1.clone());
            (b.tag.clone(), mould.map_or("none".into(), |m| m.tag.clone()), heat, b.place.word())
        })
        .collect()
}

/// Analyses of the heats and of the ingot lots behind them, each against its limits.
pub fn chemistry(store: &Store, facts: &Facts) -> Result<Vec<Chemistry>> {
    let (heats, ingots): (Vec<_>, Vec<_>) =
        subjects(store, facts)?.into_iter().partition(|s| s.station == "melt");
    let mut out = Vec::new();
    for Subject { tag: subject, blades, .. } in ingots.into_iter().chain(heats) {
        let of_subject = |a: &RowOf<Analyses>| a.get(Analyses::subject) == Some(&subject);
        let analyses: Vec<String> =
            facts.behind.each::<Analyses>().filter(of_subject).map(|a| a.address()).collect();
        if analyses.is_empty() {
            out.push(Chemistry {
                alloy: ask::check(store, &subject)?.alloy,
                subject,
                analysis: None,
                purpose: "",
                elements: Vec::new(),
                lifted: BTreeMap::new(),
            });
            continue;
        }
        for analysis in analyses {
            out.push(row_of(facts, &subject, &blades, ask::check(store, &analysis)?));
        }
    }
    Ok(out)
}

/// By what each element outside its limits is lifted: concession and item, and for how many blades where not for all.
fn lifted(facts: &Facts, blades: &[String], checked: &Checked) -> BTreeMap<String, String> {
    let mut out = BTreeMap::new();
    for e in checked.elements.iter().filter(|e| e.ok == Some(false)) {
        let mut by: BTreeMap<(String, i64), usize> = BTreeMap::new();
        for a in e.against.iter().filter(|a| a.told) {
            let what = objection(e, a);
            for blade in blades {
                if let Ok(item) = facts.permits.covering(blade, &what, &[]) {
                    *by.entry(item).or_default() += 1;
                }
            }
        }
        let one = |((concession, item), n): (&(String, i64), &usize)| match *n == blades.len() {
            true => format!("{concession} item {item}"),
            false => format!("{concession} item {item} for {n} of {} blades", blades.len()),
        };
        let said: Vec<String> = by.iter().map(one).collect();
        out.insert(e.element.clone(), if said.is_empty() { "no concession".into() } else { said.join(", ") });
    }
    out
}

fn row_of(facts: &Facts, subject: &str, blades: &[String], checked: Checked) -> Chemistry {
    let side = |v: Option<f64>| v.map_or(String::new(), |v| v.to_string());
    let element = |e: &ask::Element| {
        let value = e
            .value
            .as_ref()
            .map_or("not analysed".into(), |v| v.as_str().map_or_else(|| v.to_string(), String::from));
        let range = match (e.min, e.max) {
            (None, Some(_)) => format!("≤ {}", side(e.max)),
            (Some(_), None) => format!("≥ {}", side(e.min)),
            _ => format!("{}–{}", side(e.min), side(e.max)),
        };
        (e.element.clone(), value, range, e.unit.clone(), e.ok)
    };
    Chemistry {
        subject: subject.to_string(),
        elements: checked.elements.iter().map(element).collect(),
        lifted: lifted(facts, blades, &checked),
        analysis: checked.set_aside.first().cloned().or(checked.analysis),
        purpose: checked.purpose.unwrap_or_default(),
        alloy: checked.alloy,
    }
}

/// Inspection by method, in the order of the route: those of the plan, and others that were done.
pub fn methods(facts: &Facts) -> Result<Vec<MethodDone>> {
    let plan: Vec<RowOf<InspectionPlans>> = facts.of_part(InspectionPlans::part).collect();
    let alive = facts.alive_tags();
    let mut out = Vec::new();
    for method in Method::ALL {
        let planned = plan.iter().rfind(|r| r.get(InspectionPlans::method) == Some(*method));
        let first = facts.first_by(method.word());
        if planned.is_none() && first.is_empty() {
            continue;
        }
        let standing: Vec<(&str, &[RowOf<Inspections>])> = facts.standing_by(method.word()).collect();
        let distinct = |text: fn(&RowOf<Inspections>) -> Option<String>| -> Vec<String> {
            let all: BTreeSet<String> =
                standing.iter().flat_map(|(_, all)| all.iter()).filter_map(text).collect();
            all.into_iter().collect()
        };
        let done = standing.iter().filter(|(b, _)| alive.contains(b)).count();
        let coverage = if done == alive.len() && done > 0 {
            format!("100 % ({done} of {done} not scrapped)")
        } else {
            format!("sampled ({done} of {} not scrapped)", alive.len())
        };
        let asked = planned.map_or("not in the plan".into(), |r| {
            let sampling = r.get(InspectionPlans::sampling).unwrap_or("all");
            let how = if sampling.eq_ignore_ascii_case("all") { "100 %" } else { sampling };
            match r.get(InspectionPlans::required) {
                Some(YesNo::Yes) => how.to_string(),
                _ => format!("not required ({how})"),
            }
        });
        let passed = first.iter().filter(|r| r.get(Inspections::result) == Some(Verdict::Accept)).count();
        out.push(MethodDone {
            method: method.word(),
            plan: asked,
            techniques: distinct(|r| r.get(Inspections::technique).map(String::from)),
            classes: distinct(|r| r.get(Inspections::class).map(String::from)),
            presented: first.len() as i64,
            accepted_first: passed as i64,
            accepted_standing: standing.iter().filter(|(_, all)| accepted(all)).count() as i64,
            coverage,
        });
    }
    Ok(out)
}

/// Blades with a finding, by zone.
pub fn zones(facts: &Facts) -> Result<Vec<(String, String, i64, i64)>> {
    let mut inspected: HashMap<String, &str> = HashMap::new();
    for r in facts.behind.each::<Inspections>().filter(|r| product(r)) {
        inspected.insert(r.address(), r.need(Inspections::blade)?);
    }
    let alive = facts.alive_tags();
    let mut out: Vec<(String, String, i64, i64)> = Vec::new();
    for zone in facts.of_part(Zones::part) {
        out.push((zone.need(Zones::zone)?.to_string(), zone.need(Zones::name)?.to_string(), 0, 0));
    }
    for f in facts.behind.each::<Findings>() {
        let Some(blade) = inspected.get(f.need(Findings::inspection)?) else { continue };
        let zone = f.get(Findings::zone).unwrap_or("not named").to_string();
        let at = match out.iter().position(|z| z.0.eq_ignore_ascii_case(&zone)) {
            Some(at) => at,
            None => {
                out.push((zone, String::new(), 0, 0));
                out.len() - 1
            }
        };
        out[at].2 += 1;
        out[at].3 += i64::from(alive.contains(blade));
    }
    Ok(out)
}

/// Measurements of the product inspections that stand.
pub fn actuals(facts: &Facts) -> Result<Vec<Actual>> {
    let standing = facts.standing.iter().flat_map(|((b, _), all)| all.iter().map(move |r| (b, r)));
    let last: HashMap<String, &str> = standing.map(|(b, r)| (r.address(), b.as_str())).collect();
    let alive = facts.alive_tags();
    let mut out: BTreeMap<(&str, &str), Actual> = BTreeMap::new();
    for m in facts.behind.each::<Measurements>() {
        let (Some(v), Some(blade)) =
            (m.get(Measurements::value), last.get(m.need(Measurements::inspection)?))
        else {
            continue;
        };
        let key = (m.need(Measurements::characteristic)?, m.need(Measurements::unit)?);
        let limits = (m.get(Measurements::lower), m.get(Measurements::upper));
        let a = out.entry(key).or_insert_with(|| Actual {
            characteristic: key.0.to_string(),
            unit: key.1.to_string(),
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
    Ok(out.into_values().collect())
}

/// What is open and does not block.
pub fn open_actions(facts: &Facts, actuals: &[Actual]) -> Result<Vec<String>> {
    let mut out = Vec::new();
    let alive = facts.alive_tags();
    let unplaced: Vec<String> = facts
        .behind
        .each::<Blades>()
        .filter(|b| b.get(Blades::position).is_none() && !b.cell(Blades::mould).is_blank())
        .map(|b| b.address())
        .filter(|tag| alive.contains(tag.as_str()))
        .collect();
    if !unplaced.is_empty() {
        out.push(format!("position in the mould not recorded: {}", unplaced.join(", ")));
    }
    for a in actuals.iter().filter(|a| a.outside > 0) {
        out.push(format!(
            "{}: {} values outside their limits on blades that were not scrapped",
            a.characteristic, a.outside
        ));
    }
    let mut poured: HashMap<&str, Stamp> = HashMap::new();
    for p in facts.behind.each::<Pours>() {
        if let Some(at) = p.own_time() {
            poured.insert(p.need(Pours::mould)?, at);
        }
    }
    let moulds: HashMap<&str, &str> =
        facts.alive().filter_map(|b| Some((b.tag.as_str(), facts.mould_of(b)?.tag.as_str()))).collect();
    for ((blade, method), all) in &facts.standing {
        let pour = moulds.get(blade.as_str()).and_then(|m| poured.get(m));
        for r in all {
            if pour.zip(r.own_time()).is_some_and(|(pour, seen)| seen.ms() < pour.ms()) {
                out.push(format!(
                    "{blade}: its {method} inspection {} is dated before its pour",
                    r.address()
                ));
            }
        }
    }
    out.extend(beginnings(facts));
    if facts.test_bars().next().is_none() {
        out.push("no test bar is on record".into());
    }
    if facts.behind.each::<Attachments>().next().is_none() {
        out.push("no file is attached: certificates and charts are not held against a digest".into());
    }
    Ok(out)
}

/// Readers whose qualification holds, without that its beginning is recorded.
fn beginnings(facts: &Facts) -> Vec<String> {
    let mut open: BTreeSet<(String, &'static str)> = BTreeSet::new();
    for r in facts.standing.values().flatten() {
        let method = r.get(Inspections::method).filter(|m| qualifying(*m));
        let (Some(method), Some(person), Some(at)) = (method, r.get(Inspections::person), r.own_time())
        else {
            continue;
        };
        if qualified(&facts.qualifications, person, method, &day(at)) == Ok(false) {
            open.insert((person.to_string(), method.word()));
        }
    }
    let line = |(person, method): (String, &str)| {
        format!(
            "{person}'s {method} qualification: its beginning is not recorded; taken as valid from the first day"
        )
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
