//! What stands on a blade: stations of the plan, results that stand, dispositions and whether they are late enough.

use std::collections::{BTreeMap, BTreeSet, HashMap};

use crate::jobs::chemistry::ask;
use crate::jobs::lots::cover::{LimitSide, Objection};
use crate::jobs::lots::facts::{Facts, LotBlade, key_of};
use crate::jobs::lots::readers::{day, qualified, qualifying};
use crate::jobs::lots::reasons::readings::InstrumentLapses;
use crate::jobs::lots::reasons::samples;
use crate::jobs::lots::standing;
use crate::jobs::lots::summary::Block;
use records::catalogue::{
    Analyses, AnalysisValues, As, Decision, Dispositions, Findings, Heats, IngotLots, InspectionPlans,
    Inspections, Lots, Measure, Measurements, Method, RevertLots, Verdict, YesNo,
};
use records::read::typed::RowOf;
use records::value::decimal::Decimal;
use records::{Link, Record, Result, Stamp, Store, Value};

/// What each inspection saw: findings and measurements.
struct SeenIn<'a> {
    findings: HashMap<&'a str, Vec<RowOf<'a, Findings>>>,
    measured: HashMap<&'a str, Vec<RowOf<'a, Measurements>>>,
}

impl<'a> SeenIn<'a> {
    fn of(facts: &Facts<'a>) -> Result<Self> {
        let mut out = Self { findings: HashMap::new(), measured: HashMap::new() };
        for row in facts.behind.each::<Findings>() {
            out.findings.entry(row.need(Findings::inspection)?).or_default().push(row);
        }
        for row in facts.behind.each::<Measurements>() {
            out.measured.entry(row.need(Measurements::inspection)?).or_default().push(row);
        }
        Ok(out)
    }

    /// Kind and last journal entry of all that an inspection saw.
    fn entries(&self, inspection: &str) -> impl Iterator<Item = (&'static str, i64)> {
        let found = self.findings.get(inspection).into_iter().flatten().map(|r| r.row);
        let measured = self.measured.get(inspection).into_iter().flatten().map(|r| r.row);
        found.chain(measured).map(|r| (r.kind, r.entry))
    }

    /// What a rejecting inspection holds against the blade: findings, and values that are not inside their limits.
    fn against(&self, inspection: &str) -> Result<(Vec<Objection>, Vec<String>)> {
        let (mut whats, mut said) = (Vec::new(), Vec::new());
        for f in self.findings.get(inspection).into_iter().flatten() {
            let (defect, zone) = (f.need(Findings::defect)?, f.get(Findings::zone));
            let measures = vec![
                (Measure::SizeMm, f.cell(Findings::size_mm).owned()),
                (Measure::DistanceMm, f.cell(Findings::distance_mm).owned()),
                (Measure::Count, f.cell(Findings::count).owned()),
                (Measure::Severity, f.cell(Findings::severity).owned()),
            ];
            said.push(format!("{defect} {}", zone.unwrap_or("")).trim().to_string());
            whats.push(Objection::Finding { defect: defect.into(), zone: zone.map(String::from), measures });
        }
        for m in self.measured.get(inspection).into_iter().flatten() {
            let name = m.need(Measurements::characteristic)?.to_string();
            let unit = m.need(Measurements::unit)?.to_string();
            let value = m.cell(Measurements::value).owned();
            for side in sides(**m) {
                said.push(format!("{name} {} {unit}", value.to_text()));
                whats.push(Objection::Measurement {
                    name: name.clone(),
                    value: value.clone(),
                    unit: unit.clone(),
                    side,
                });
            }
        }
        said.dedup();
        Ok((whats, said))
    }
}

/// Everything that stands on the blades themselves.
pub fn against(
    store: &Store,
    facts: &Facts,
    lapses: &mut InstrumentLapses,
    out: &mut Vec<Block>,
) -> Result<()> {
    plan(facts, out)?;
    samples::against(facts, out)?;
    let seen = SeenIn::of(facts)?;
    let (fences, holds) = (store.open_fences()?, store.open_holds()?);
    for b in facts.alive() {
        decision(facts, b, out);
        if b.held {
            for (hold, why, _) in fences.iter().filter(|(_, _, f)| b.inside(f)) {
                let placed = holds.iter().find(|h| h.address() == *hold).and_then(Record::own_time);
                let reason = format!("{hold} is open: {why}");
                out.push(Block::of_blade(&b.tag, "hold", "hold", reason).found_at(hold, placed));
            }
        }
        for (method, stand) in facts.standing_of(&b.tag) {
            flaws(facts, b, method, stand, lapses, out)?;
            for r in stand.iter().filter(|r| r.get(Inspections::result) == Some(Verdict::Reject)) {
                reject(store, facts, b, *r, (stand, &seen), out)?;
            }
        }
        older(store, facts, b, &seen, out)?;
    }
    Ok(())
}

/// Stations where the plan asks for every blade.
fn plan(facts: &Facts, out: &mut Vec<Block>) -> Result<()> {
    let plan: Vec<RowOf<InspectionPlans>> = facts.of_part(InspectionPlans::part).collect();
    let part = facts.lot.need(Lots::part)?;
    if plan.is_empty() {
        let reason =
            format!("{part} has no inspection plan on record: which stations are needed is not known");
        out.push(Block::shared(part, "inspection plan", "plan", reason, Vec::new()));
    }
    let asked = |r: &&RowOf<InspectionPlans>| {
        r.get(InspectionPlans::required) == Some(YesNo::Yes)
            && r.get(InspectionPlans::sampling).is_none_or(|s| s.eq_ignore_ascii_case("all"))
    };
    for row in plan.iter().filter(asked) {
        let method = row.need(InspectionPlans::method)?.word();
        for b in facts.alive() {
            let key = (b.tag.clone(), method);
            if facts.standing.contains_key(&key) {
                continue;
            }
            let missing = match facts.permits.lifts(&b.tag, &Objection::Station(method.into()), &[]) {
                Ok(()) => continue,
                Err(missing) => missing,
            };
            let since = match (facts.first.contains_key(&key), facts.rework.get(&b.tag)) {
                (true, Some(at)) => format!("since the rework or repair of {at}"),
                _ => "on record".into(),
            };
            let reason = format!("no {method} inspection {since}; the plan asks for every blade{missing}");
            out.push(Block::of_blade(&b.tag, method, "station", reason));
        }
    }
    Ok(())
}

/// The last disposition by itself.
fn decision(facts: &Facts, b: &LotBlade, out: &mut Vec<Block>) {
    let (code, reason) = match facts.decision(&b.tag) {
        None => ("in_process", "in process: no disposition".to_string()),
        Some(d @ (Decision::Rework | Decision::Repair)) => {
            ("in_process", format!("in process: the last disposition is {}", d.word()))
        }
        Some(Decision::Hold) => ("hold", "the last disposition is hold".into()),
        Some(Decision::Accept | Decision::Scrap | Decision::Concession) => return,
    };
    let block = Block::of_blade(&b.tag, "disposition", code, reason);
    out.push(match facts.decided(&b.tag) {
        Some(d) => block.found_at(&d.record.address(), d.record.own_time()),
        None => block,
    });
}

/// A reading that nothing is wrong with is enough; where there is none, everything that is wrong with the others stands.
fn flaws(
    facts: &Facts,
    b: &LotBlade,
    method: &str,
    stand: &[RowOf<Inspections>],
    lapses: &mut InstrumentLapses,
    out: &mut Vec<Block>,
) -> Result<()> {
    let mut all = Vec::new();
    for r in stand {
        let read = reader(facts, &b.tag, **r)?;
        let on = [key_of(*r)?.into()];
        let lapse = lapses.lapsed(r.get(Inspections::instrument), r.own_time())?;
        let covered =
            |tag: &str| facts.permits.lifts(&b.tag, &Objection::Instrument(tag.into()), &on).is_ok();
        let lapse = lapse.filter(|(tag, ..)| !covered(tag));
        if read.is_empty() && lapse.is_none() {
            return Ok(());
        }
        all.push((read, lapse, on));
    }
    for (read, lapse, on) in all {
        out.extend(read);
        if let Some(lapse) = lapse {
            lapses.note(method, &lapse, std::slice::from_ref(&b.tag), &on);
        }
    }
    Ok(())
}

/// Penetrant and radiograph: a qualified reader; a film names its technique.
fn reader(facts: &Facts, tag: &str, r: As<Inspections>) -> Result<Vec<Block>> {
    let method = r.need(Inspections::method)?;
    let mut out = Vec::new();
    if !qualifying(method) {
        return Ok(out);
    }
    let inspection = r.address();
    let mut block = |code, reason, leads_to: &str| {
        out.push(Block::of_blade(tag, method.word(), code, reason).found_at(leads_to, r.own_time()));
    };
    if method == Method::Radiograph && r.get(Inspections::technique).is_none() {
        block("technique", format!("{inspection} names no technique"), &inspection);
    }
    match (r.get(Inspections::person), r.own_time()) {
        (None, _) => block("reader", format!("{inspection} names no reader"), &inspection),
        (Some(_), None) => {}
        (Some(person), Some(at)) => {
            if let Err(why) = qualified(&facts.qualifications, person, method, &day(at)) {
                block("reader", format!("reader not qualified that day: {why}"), person);
            }
        }
    }
    Ok(out)
}

/// A reject that stands: closed by an accept, covered by a concession, or against the blade.
fn reject(
    store: &Store,
    facts: &Facts,
    b: &LotBlade,
    r: RowOf<Inspections>,
    (stand, seen): (&[RowOf<Inspections>], &SeenIn),
    out: &mut Vec<Block>,
) -> Result<()> {
    let tag = r.address();
    let mut why = String::new();
    for accept in stand.iter().filter(|a| standing::names(***a, &tag)) {
        let ever = store.ever_read(&tag, r.row.entry)?;
        match standing::closes(**accept, *r, &ever, &facts.qualifications) {
            Ok(()) => return Ok(()),
            Err(not) => why.push_str(&format!("; {} does not close it: {not}", accept.address())),
        }
    }
    let (whats, said) = seen.against(&tag)?;
    let named = if said.is_empty() { "no finding named".into() } else { said.join(", ") };
    let on = [key_of(r)?.into()];
    let mut open = whats.is_empty();
    for what in &whats {
        if let Err(missing) = facts.permits.lifts(&b.tag, what, &on) {
            open = true;
            if !why.contains(&missing) {
                why.push_str(&missing);
            }
        }
    }
    if whats.is_empty() && facts.decision(&b.tag) == Some(Decision::Concession) {
        why.push_str("; without a finding or a value outside its limits no concession covers it");
    }
    if open {
        let reason = format!("open finding: rejected in {tag} ({named}){why}");
        let block = Block::of_blade(&b.tag, r.need(Inspections::method)?.word(), "finding", reason);
        out.push(block.found_at(&tag, r.own_time()));
    }
    Ok(())
}

/// On which sides a measured value is not inside its limits; below detection it is inside an upper one only.
fn sides(m: As<Measurements>) -> Vec<LimitSide> {
    let lower = m.get(Measurements::lower).map(Decimal::of);
    let upper = m.get(Measurements::upper).map(Decimal::of);
    let (least, most) = match m.cell(Measurements::value) {
        Value::Number(v) => (Some(Decimal::of(*v)), Some(Decimal::of(*v))),
        Value::Below(x) => (None, Some(Decimal::of(*x))),
        _ => (None, None),
    };
    let mut out = Vec::new();
    if upper.is_some_and(|u| most.as_ref().is_none_or(|v| *v > u)) {
        out.push(LimitSide::Excess);
    }
    if lower.is_some_and(|l| least.as_ref().is_none_or(|v| *v < l)) {
        out.push(LimitSide::Shortfall);
    }
    out
}

/// A disposition older than an inspection of the blade does not accept it.
fn older(store: &Store, facts: &Facts, b: &LotBlade, seen: &SeenIn, out: &mut Vec<Block>) -> Result<()> {
    let Some(d) = facts.decided(&b.tag).filter(|_| facts.accepting(b)) else { return Ok(()) };
    let decided = d.record.cell(Dispositions::decided_at).to_text();
    for (method, stand) in facts.standing_of(&b.tag) {
        for r in stand {
            let (Some(at), tag) = (r.own_time(), r.address()) else { continue };
            let entries: Vec<(&'static str, i64)> =
                std::iter::once((r.row.kind, r.row.entry)).chain(seen.entries(&tag)).collect();
            if !facts.decided_after(store, &b.tag, at, &entries)? {
                let reason = format!(
                    "the disposition of {decided} is older than {method} inspection {tag} of {at}{}: decide on the blade again",
                    journalled(d.record.own_time(), at)
                );
                out.push(Block::of_blade(&b.tag, "disposition", "older", reason).found_at(&tag, Some(at)));
            }
        }
    }
    Ok(())
}

/// A disposition older than an analysis of the blade's metal, through every generation, does not accept it either.
pub fn older_than_metal(store: &Store, facts: &Facts, out: &mut Vec<Block>) -> Result<()> {
    let alive: Vec<&LotBlade> = facts.alive().filter(|b| facts.accepting(b)).collect();
    let Some(first) = facts.first_decision(alive.iter().map(|b| b.tag.as_str())) else { return Ok(()) };
    let mut values: HashMap<&str, Vec<(&'static str, i64)>> = HashMap::new();
    for v in facts.behind.each::<AnalysisValues>() {
        values.entry(v.need(AnalysisValues::analysis)?).or_default().push((v.row.kind, v.row.entry));
    }
    for a in facts.behind.each::<Analyses>().filter(|a| ask::set_aside(**a).is_none()) {
        let (Some(at), tag) = (a.own_time(), a.address()) else { continue };
        let mut entries = values.remove(tag.as_str()).unwrap_or_default();
        entries.push((a.row.kind, a.row.entry));
        // Most analyses are older than the first decision: nothing need be asked of each blade.
        if at.ms() <= first.0 && entries.iter().all(|e| e.1 <= first.1) {
            continue;
        }
        let mut late: BTreeMap<&'static str, Vec<&LotBlade>> = BTreeMap::new();
        for b in &alive {
            if !facts.decided_after(store, &b.tag, at, &entries)? {
                let decided = facts.decided(&b.tag).and_then(|d| d.record.own_time());
                late.entry(journalled(decided, at)).or_default().push(b);
            }
        }
        if late.is_empty() {
            continue;
        }
        let subject = a.need(Analyses::subject)?;
        let Some((kind, id, _)) = store.look_up(subject)? else { continue };
        let heats = heats_of(facts, Link { kind, id });
        for (how, blades) in late {
            let of = |b: &&&LotBlade| facts.heat_of(b).is_some_and(|h| heats.contains(&h.id));
            let blades: Vec<String> = blades.iter().filter(of).map(|b| b.tag.clone()).collect();
            if !blades.is_empty() {
                let reason = format!(
                    "the disposition is older than analysis {tag} of {subject}, taken {at}{how}: decide on the blade again"
                );
                let block = Block::shared(&tag, "disposition", "older", reason, blades);
                out.push(block.found_at(&tag, Some(at)));
            }
        }
    }
    Ok(())
}

/// The heats that hold metal of a heat, an ingot lot or a revert lot, through revert too.
fn heats_of(facts: &Facts, metal: Link) -> BTreeSet<i64> {
    let (mut heats, mut reverts) = (BTreeSet::new(), BTreeSet::new());
    let mut todo = vec![(metal.kind, metal.id)];
    while let Some((kind, id)) = todo.pop() {
        match kind {
            Heats::NAME if heats.insert(id) => {
                let from = facts.metal.sources.iter().filter(|(_, of)| of.contains(&id));
                todo.extend(from.map(|(revert, _)| (RevertLots::NAME, *revert)));
            }
            RevertLots::NAME if reverts.insert(id) => {
                let into = facts.metal.charged.iter().filter(|(_, c)| c.reverts.contains(&id));
                todo.extend(into.map(|(heat, _)| (Heats::NAME, *heat)));
            }
            IngotLots::NAME => {
                let into = facts.metal.charged.iter().filter(|(_, c)| c.ingots.contains(&id));
                todo.extend(into.map(|(heat, _)| (Heats::NAME, *heat)));
            }
            _ => {}
        }
    }
    heats
}

/// Says that the order of the journal is meant, where the times alone would not show it.
fn journalled(decided: Option<Stamp>, at: Stamp) -> &'static str {
    match decided {
        Some(decided) if decided.ms() >= at.ms() => ", which came into the journal after it",
        _ => "",
    }
}
