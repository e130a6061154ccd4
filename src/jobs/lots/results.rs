//! What stands on a blade: stations of the plan, results that stand, dispositions and whether they are late enough.

use std::collections::{BTreeMap, BTreeSet, HashMap};

use crate::jobs::chemistry::ask;
use crate::jobs::lots::cover::{Side, What};
use crate::jobs::lots::facts::{Blade, Facts};
use crate::jobs::lots::readers::{day, qualified, qualifying};
use crate::jobs::lots::readings::Readings;
use crate::jobs::lots::reasons::{blade, shared};
use crate::jobs::lots::show::Block;
use crate::jobs::lots::{samples, standing};
use records::graph::release_basis::Row;
use records::value::decimal::Decimal;
use records::{Record, Stamp, Value};
use records::{Result, Store};

/// Findings and measurements by inspection.
struct Seen<'a> {
    findings: HashMap<String, Vec<&'a Row>>,
    measured: HashMap<String, Vec<&'a Row>>,
}

impl<'a> Seen<'a> {
    fn of(facts: &'a Facts) -> Self {
        let by = |kind: &'static str| {
            let mut out: HashMap<String, Vec<&'a Row>> = HashMap::new();
            for row in facts.behind.of(kind) {
                out.entry(row.record.get("inspection").to_text()).or_default().push(row);
            }
            out
        };
        Self { findings: by("findings"), measured: by("measurements") }
    }

    fn rows(&self, inspection: &str) -> impl Iterator<Item = &'a Row> {
        let of = |m: &HashMap<String, Vec<&'a Row>>| m.get(inspection).cloned().unwrap_or_default();
        of(&self.findings).into_iter().chain(of(&self.measured))
    }
}

/// Everything that stands on the blades themselves.
pub fn against(store: &Store, facts: &Facts, readings: &mut Readings, out: &mut Vec<Block>) -> Result<()> {
    plan(facts, out);
    out.extend(samples::against(facts));
    let seen = Seen::of(facts);
    let fences = store.open_fences()?;
    for b in facts.alive() {
        decision(facts, b, out);
        if b.held {
            for (hold, why, _) in fences.iter().filter(|(_, _, f)| f.holds(b.id, b.mould)) {
                out.push(blade(&b.tag, "hold", "hold", format!("{hold} is open: {why}")));
            }
        }
        for (method, stand) in facts.standing_of(&b.tag) {
            flaws(facts, b, method, stand, readings, out)?;
            for &at in stand {
                if facts.record(at).get("result").text() == Some("reject") {
                    reject(store, facts, b, method, at, (stand, &seen), out)?;
                }
            }
        }
        older(store, facts, b, &seen, out)?;
    }
    Ok(())
}

/// Stations where the plan asks for every blade.
fn plan(facts: &Facts, out: &mut Vec<Block>) {
    let plan: Vec<&Record> = facts.of_part("inspection_plans").collect();
    let part = facts.lot.record.get("part").to_text();
    if plan.is_empty() {
        let reason =
            format!("{part} has no inspection plan on record: which stations are needed cannot be told");
        out.push(shared(&part, "inspection plan", "plan", reason, Vec::new()));
    }
    for row in plan.iter().filter(|r| r.get("required").text() == Some("yes")) {
        let method = row.get("method").to_text();
        if !row.get("sampling").text().unwrap_or("all").eq_ignore_ascii_case("all") {
            continue;
        }
        for b in facts.alive() {
            let key = (b.tag.clone(), method.clone());
            if facts.standing.contains_key(&key) {
                continue;
            }
            let missing = match facts.permits.lifts(&b.tag, &What::Station(method.clone()), &[]) {
                Ok(()) => continue,
                Err(missing) => missing,
            };
            let since = match (facts.first.contains_key(&key), facts.rework.get(&b.tag)) {
                (true, Some(at)) => format!("since the rework or repair of {at}"),
                _ => "on record".into(),
            };
            let reason = format!("no {method} inspection {since}; the plan asks for every blade{missing}");
            out.push(blade(&b.tag, &method, "station", reason));
        }
    }
}

/// The last disposition by itself.
fn decision(facts: &Facts, b: &Blade, out: &mut Vec<Block>) {
    let decision = facts.decision(&b.tag).and_then(|d| d.get("decision").text());
    let found = match decision {
        None => Some(("in_process", "in process: no disposition".to_string())),
        Some(d @ ("rework" | "repair")) => {
            Some(("in_process", format!("in process: the last disposition is {d}")))
        }
        Some("hold") => Some(("hold", "the last disposition is hold".into())),
        _ => None,
    };
    if let Some((code, reason)) = found {
        out.push(blade(&b.tag, "disposition", code, reason));
    }
}

/// A reading that nothing is wrong with is enough; where there is none, everything that is wrong with the others stands.
fn flaws(
    facts: &Facts,
    b: &Blade,
    method: &str,
    stand: &[usize],
    readings: &mut Readings,
    out: &mut Vec<Block>,
) -> Result<()> {
    let mut all = Vec::new();
    for &at in stand {
        let r = facts.record(at);
        let read = reader(facts, &b.tag, method, r);
        let on = [("inspections", facts.behind.rows[at].id.unwrap_or(-1))];
        let lapse = readings.lapsed(r, "instrument")?;
        let covered = |tag: &str| facts.permits.lifts(&b.tag, &What::Instrument(tag.into()), &on).is_ok();
        let lapse = lapse.filter(|(tag, _)| !covered(tag));
        if read.is_empty() && lapse.is_none() {
            return Ok(());
        }
        all.push((read, lapse, on));
    }
    for (read, lapse, on) in all {
        out.extend(read);
        if let Some(lapse) = lapse {
            readings.note(method, &lapse, std::slice::from_ref(&b.tag), &on);
        }
    }
    Ok(())
}

/// Penetrant and radiograph: a qualified reader; a film names its technique.
fn reader(facts: &Facts, tag: &str, method: &str, r: &Record) -> Vec<Block> {
    let mut out = Vec::new();
    if !qualifying(method) {
        return out;
    }
    let inspection = r.address();
    if method == "radiograph" && r.get("technique").text().is_none() {
        out.push(blade(tag, method, "technique", format!("{inspection} names no technique")));
    }
    let Some(person) = r.get("person").text() else {
        out.push(blade(tag, method, "reader", format!("{inspection} names no reader")));
        return out;
    };
    let Some(at) = r.own_time() else { return out };
    if let Err(why) = qualified(facts.qualifications(), person, method, &day(at)) {
        out.push(blade(tag, method, "reader", format!("reader not qualified that day: {why}")));
    }
    out
}

/// A reject that stands: closed by an accept, covered by a concession, or against the blade.
fn reject(
    store: &Store,
    facts: &Facts,
    b: &Blade,
    method: &str,
    at: usize,
    (stand, seen): (&[usize], &Seen),
    out: &mut Vec<Block>,
) -> Result<()> {
    let r = facts.record(at);
    let tag = r.address();
    let mut why = String::new();
    for accept in stand.iter().map(|i| facts.record(*i)) {
        if accept.get("closes").text().is_none_or(|c| !c.eq_ignore_ascii_case(&tag)) {
            continue;
        }
        let ever = store.ever_read(&tag, facts.behind.rows[at].entry)?;
        match standing::closes(accept, r, &ever, facts.qualifications()) {
            Ok(()) => return Ok(()),
            Err(not) => why.push_str(&format!("; {} does not close it: {not}", accept.address())),
        }
    }
    let (whats, said) = against_it(&tag, seen);
    let named = if said.is_empty() { "no finding named".into() } else { said.join(", ") };
    let mut open = whats.is_empty();
    for what in &whats {
        if let Err(missing) = facts.permits.lifts(&b.tag, what, &[("inspections", facts.id_of(at))]) {
            open = true;
            if !why.contains(&missing) {
                why.push_str(&missing);
            }
        }
    }
    if whats.is_empty()
        && facts.decision(&b.tag).is_some_and(|d| d.get("decision").text() == Some("concession"))
    {
        why.push_str("; without a finding or a value outside its limits no concession covers it");
    }
    if open {
        let reason = format!("open finding: rejected in {tag} ({named}){why}");
        out.push(blade(&b.tag, method, "finding", reason));
    }
    Ok(())
}

/// What a rejecting inspection holds against the blade: findings, and values that are not inside their limits.
fn against_it(inspection: &str, seen: &Seen) -> (Vec<What>, Vec<String>) {
    let (mut whats, mut said) = (Vec::new(), Vec::new());
    for f in seen.findings.get(inspection).into_iter().flatten().map(|r| &r.record) {
        let zone = f.get("zone").text().map(String::from);
        let fields = ["size_mm", "distance_mm", "count", "severity"];
        let measures = fields.into_iter().map(|m| (m, f.get(m).clone())).collect();
        said.push(
            format!("{} {}", f.get("defect").to_text(), zone.as_deref().unwrap_or("")).trim().to_string(),
        );
        whats.push(What::Finding { defect: f.get("defect").to_text(), zone, measures });
    }
    for m in seen.measured.get(inspection).into_iter().flatten().map(|r| &r.record) {
        for side in sides(m) {
            let (name, unit) = (m.get("characteristic").to_text(), m.get("unit").to_text());
            let value = m.get("value").clone();
            said.push(format!("{name} {} {unit}", value.to_text()));
            whats.push(What::Measurement { name, value, unit, side });
        }
    }
    said.dedup();
    (whats, said)
}

/// On which sides a measured value is not inside its limits; below detection it is inside an upper one only.
fn sides(m: &Record) -> Vec<Side> {
    let limit = |f: &str| m.get(f).number().map(Decimal::of);
    let (lower, upper) = (limit("lower"), limit("upper"));
    let (least, most) = match m.get("value") {
        Value::Number(v) => (Some(Decimal::of(*v)), Some(Decimal::of(*v))),
        Value::Below(x) => (None, Some(Decimal::of(*x))),
        _ => (None, None),
    };
    let mut out = Vec::new();
    if upper.is_some_and(|u| most.as_ref().is_none_or(|v| *v > u)) {
        out.push(Side::Excess);
    }
    if lower.is_some_and(|l| least.as_ref().is_none_or(|v| *v < l)) {
        out.push(Side::Shortfall);
    }
    out
}

/// The last disposition says that the blade may go.
fn accepting(facts: &Facts, b: &Blade) -> bool {
    let decision = facts.decision(&b.tag).and_then(|d| d.get("decision").text());
    matches!(decision, Some("accept" | "concession"))
}

/// A disposition older than an inspection of the blade does not accept it.
fn older(store: &Store, facts: &Facts, b: &Blade, seen: &Seen, out: &mut Vec<Block>) -> Result<()> {
    let Some(d) = facts.decision(&b.tag).filter(|_| accepting(facts, b)) else { return Ok(()) };
    let decided = d.get("decided_at").to_text();
    for (method, stand) in facts.standing_of(&b.tag) {
        for row in stand.iter().map(|at| &facts.behind.rows[*at]) {
            let (Some(at), tag) = (row.record.own_time(), row.record.address()) else { continue };
            let entries: Vec<(&'static str, i64)> =
                std::iter::once(row).chain(seen.rows(&tag)).map(|r| (r.kind, r.entry)).collect();
            if !facts.decided_after(store, &b.tag, at, &entries)? {
                let reason = format!(
                    "the disposition of {decided} is older than {method} inspection {tag} of {at}{}: decide on the blade again",
                    journalled(d, at)
                );
                out.push(blade(&b.tag, "disposition", "older", reason));
            }
        }
    }
    Ok(())
}

/// A disposition older than an analysis of the blade's metal, through every generation, does not accept it either.
pub fn older_than_metal(store: &Store, facts: &Facts, out: &mut Vec<Block>) -> Result<()> {
    let alive: Vec<&Blade> = facts.alive().filter(|b| accepting(facts, b)).collect();
    let Some(first) = facts.first_decision(alive.iter().map(|b| b.tag.as_str())) else { return Ok(()) };
    let mut values: HashMap<String, Vec<(&'static str, i64)>> = HashMap::new();
    for v in facts.behind.of("analysis_values") {
        values.entry(v.record.get("analysis").to_text()).or_default().push((v.kind, v.entry));
    }
    for row in facts.behind.of("analyses").filter(|r| ask::set_aside(&r.record).is_none()) {
        let (Some(at), tag) = (row.record.own_time(), row.record.address()) else { continue };
        let mut entries = values.remove(&tag).unwrap_or_default();
        entries.push((row.kind, row.entry));
        // Most analyses are older than the first decision: nothing need be asked of each blade.
        if at.ms() <= first.0 && entries.iter().all(|e| e.1 <= first.1) {
            continue;
        }
        let mut late: BTreeMap<&'static str, Vec<&Blade>> = BTreeMap::new();
        for b in &alive {
            if !facts.decided_after(store, &b.tag, at, &entries)? {
                let how = facts.decision(&b.tag).map_or("", |d| journalled(d, at));
                late.entry(how).or_default().push(b);
            }
        }
        if late.is_empty() {
            continue;
        }
        let subject = row.record.get("subject").to_text();
        let Some((kind, id, _)) = store.look_up(&subject)? else { continue };
        let heats = heats_of(facts, (kind, id));
        for (how, blades) in late {
            let of = |b: &&&Blade| facts.heat_of(b).is_some_and(|h| heats.contains(&h));
            let blades: Vec<String> = blades.iter().filter(of).map(|b| b.tag.clone()).collect();
            if !blades.is_empty() {
                let reason = format!(
                    "the disposition is older than analysis {tag} of {subject}, taken {at}{how}: decide on the blade again"
                );
                out.push(shared(&tag, "disposition", "older", reason, blades));
            }
        }
    }
    Ok(())
}

/// The heats that hold metal of a heat, an ingot lot or a revert lot, through revert too.
fn heats_of(facts: &Facts, metal: (&'static str, i64)) -> BTreeSet<i64> {
    let mut heats = BTreeSet::new();
    let mut todo = vec![metal];
    let mut reverts = BTreeSet::new();
    while let Some((kind, id)) = todo.pop() {
        match kind {
            "heats" if heats.insert(id) => {
                let from = facts.metal.sources.iter().filter(|(_, of)| of.contains(&id));
                todo.extend(from.map(|(revert, _)| ("revert_lots", *revert)));
            }
            "revert_lots" if reverts.insert(id) => {
                let into = facts.metal.charged.iter().filter(|(_, c)| c.reverts.contains(&id));
                todo.extend(into.map(|(heat, _)| ("heats", *heat)));
            }
            "ingot_lots" => {
                let into = facts.metal.charged.iter().filter(|(_, c)| c.ingots.contains(&id));
                todo.extend(into.map(|(heat, _)| ("heats", *heat)));
            }
            _ => {}
        }
    }
    heats
}

/// Says that the order of the journal is meant, where the times alone would not show it.
fn journalled(disposition: &Record, at: Stamp) -> &'static str {
    match disposition.own_time() {
        Some(decided) if decided.ms() >= at.ms() => ", which came into the journal after it",
        _ => "",
    }
}
