//! Every reason why a lot may not go, each with the blade or record and the station.

use std::collections::{BTreeMap, HashMap};
use std::io::Read;

use sha2::{Digest, Sha256};

use crate::domain::{Record, Stamp};
use crate::ops::alloy;
use crate::ops::lots::facts::{Facts, day};
use crate::ops::lots::samples;
use crate::ops::lots::shipping;
use crate::report::lot::Block;
use crate::store::lots::Check;
use crate::store::{Result, Store};

/// A reason that lies in one blade.
pub(super) fn blade(tag: &str, station: &str, code: &'static str, reason: String) -> Block {
    Block { blade: Some(tag.into()), station: station.into(), reason, record: None, blades: Vec::new(), code }
}

/// A reason that lies in a record which blades share.
pub(super) fn shared(
    record: &str,
    station: &str,
    code: &'static str,
    reason: String,
    blades: Vec<String>,
) -> Block {
    Block { blade: None, station: station.into(), reason, record: Some(record.into()), blades, code }
}

/// All of them.
pub fn all(store: &Store, facts: &Facts, making: Vec<Block>) -> Result<Vec<Block>> {
    let mut out = Vec::new();
    totals(facts, &mut out);
    stations(store, facts, &mut out)?;
    out.extend(making);
    genealogy(store, facts, &mut out)?;
    chemistry(store, facts, &mut out)?;
    instruments(store, facts, &mut out)?;
    definitions(facts, &mut out);
    out.extend(facts.permits.faults.iter().cloned());
    files(facts, &mut out);
    superseded(store, facts, &mut out)?;
    shipping::against(facts, &mut out);
    Ok(out)
}

fn totals(facts: &Facts, out: &mut Vec<Block>) {
    let lot = facts.lot.record.address();
    if facts.blades.is_empty() {
        out.push(shared(&lot, "lot", "totals", "the lot has no blades on record".into(), Vec::new()));
    }
    for b in facts.alive().filter(|b| !b.counts) {
        out.push(blade(
            &b.tag,
            "pour",
            "totals",
            "its mould has no pour on record: it does not count as made".into(),
        ));
    }
    for (mould, stray) in &facts.strays {
        let tag = facts.moulds.get(mould).map_or("", |m| m.0.as_str());
        let reason = format!("totals do not reconcile: {stray} of mould {tag} is in no lot");
        out.push(shared(tag, "lot", "totals", reason, Vec::new()));
    }
    let shipped = facts.blades.iter().filter(|b| b.place == "shipped").count() as i64;
    if let Some(ordered) = facts.ordered().filter(|o| shipped > *o) {
        let reason = format!("totals do not reconcile: {shipped} shipped, {ordered} ordered");
        out.push(shared(&lot, "ship", "totals", reason, Vec::new()));
    }
}

fn stations(store: &Store, facts: &Facts, out: &mut Vec<Block>) -> Result<()> {
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
        let done = |tag: &str| facts.last.contains_key(&(tag.to_string(), method.clone()));
        for b in facts.alive().filter(|b| !done(&b.tag)) {
            let reason = format!("no {method} inspection on record; the plan asks for every blade");
            out.push(blade(&b.tag, &method, "station", reason));
        }
    }
    out.extend(samples::against(facts));
    let zone_names: HashMap<String, String> =
        facts.of_part("zones").map(|r| (r.get("zone").to_text(), r.get("name").to_text())).collect();
    let mut found: HashMap<String, Vec<&Record>> = HashMap::new();
    for f in facts.behind.of("findings") {
        found.entry(f.record.get("inspection").to_text()).or_default().push(&f.record);
    }
    let fences = store.open_fences()?;
    for b in facts.alive() {
        let decision = facts.decision(&b.tag).and_then(|d| d.get("decision").text());
        match decision {
            None => out.push(blade(&b.tag, "disposition", "in_process", "in process: no disposition".into())),
            Some(d @ ("rework" | "repair")) => {
                out.push(blade(
                    &b.tag,
                    "disposition",
                    "in_process",
                    format!("in process: the last disposition is {d}"),
                ));
            }
            Some("hold") => {
                out.push(blade(&b.tag, "disposition", "hold", "the last disposition is hold".into()))
            }
            _ => {}
        }
        if b.held {
            for (hold, why, _) in fences.iter().filter(|(_, _, f)| f.holds(b.id, b.mould)) {
                out.push(blade(&b.tag, "hold", "hold", format!("{hold} is open: {why}")));
            }
        }
        for ((_, method), &at) in
            facts.last.range((b.tag.clone(), String::new())..).take_while(|((t, _), _)| *t == b.tag)
        {
            let last = facts.record(at);
            reader(facts, &b.tag, method, last, out);
            if last.get("result").text() != Some("reject") {
                continue;
            }
            let mut words: Vec<&str> = Vec::new();
            let mut seen = Vec::new();
            for f in found.get(&last.address()).into_iter().flatten() {
                let zone = f.get("zone").text().unwrap_or("");
                words.extend(f.get("defect").text());
                words.extend([zone, zone_names.get(zone).map_or("", String::as_str)]);
                seen.push(format!("{} {zone}", f.get("defect").to_text()).trim().to_string());
            }
            if seen.is_empty() {
                words.push(method);
            }
            if !facts.permits.names(&b.tag, &words) {
                let what = if seen.is_empty() { "no finding named".into() } else { seen.join(", ") };
                let reason = format!("open finding: rejected in {} ({what})", last.address());
                out.push(blade(&b.tag, method, "finding", reason));
            }
        }
    }
    Ok(())
}

/// Penetrant and radiograph: a valid qualification that day, eyesight within twelve months where it is
/// recorded (common practice, no source); a film names its technique.
fn reader(facts: &Facts, tag: &str, method: &str, r: &Record, out: &mut Vec<Block>) {
    if !matches!(method, "penetrant" | "radiograph") {
        return;
    }
    let inspection = r.address();
    if method == "radiograph" && r.get("technique").text().is_none() {
        out.push(blade(tag, method, "technique", format!("{inspection} names no technique")));
    }
    let Some(person) = r.get("person").text() else {
        out.push(blade(tag, method, "reader", format!("{inspection} names no reader")));
        return;
    };
    let Some(at) = r.own_time() else { return };
    let that_day = day(at);
    let held = facts.behind.of("qualifications").map(|q| &q.record).find(|q| {
        q.get("person").text().is_some_and(|p| p.eq_ignore_ascii_case(person))
            && q.get("method").text() == Some(method)
    });
    let why = match held {
        None => format!("{person} has no {method} qualification on record"),
        Some(q) if q.get("expires_on").to_text() < that_day => {
            format!("{person}'s {method} qualification expired on {}", q.get("expires_on").to_text())
        }
        Some(q) => match q
            .get("eyesight_on")
            .text()
            .map(String::from)
            .or_else(|| Some(q.get("eyesight_on").to_text()))
        {
            Some(eyes) if eyes.len() == 10 && year_later(&eyes) < that_day => {
                format!("{person}'s eyesight was last tested on {eyes}, more than a year before")
            }
            _ => return,
        },
    };
    out.push(blade(tag, method, "reader", format!("reader not qualified that day: {why}")));
}

fn year_later(date: &str) -> String {
    let year: i64 = date.get(..4).and_then(|y| y.parse().ok()).unwrap_or(0);
    format!("{:04}{}", year + 1, date.get(4..).unwrap_or(""))
}

fn genealogy(store: &Store, facts: &Facts, out: &mut Vec<Block>) -> Result<()> {
    for b in facts.alive() {
        let reason = match b.mould.map(|m| facts.moulds.get(&m)) {
            None => "genealogy broken: no mould",
            Some(m) if m.is_none_or(|m| m.1.is_none()) => "genealogy broken: no heat",
            _ => continue,
        };
        out.push(blade(&b.tag, "genealogy", "genealogy", reason.into()));
    }
    let mut poured: HashMap<String, f64> = HashMap::new();
    for p in facts.behind.of("pours") {
        *poured.entry(p.record.get("heat").to_text()).or_default() +=
            p.record.get("mass_kg").number().unwrap_or(0.0);
    }
    for (heat, charged) in &facts.metal.charged {
        let direct = facts.alive_of_heat(*heat);
        let tag = store.tag_of("heats", *heat)?;
        let reason = match charged.mass_kg {
            _ if charged.items == 0 => format!("genealogy broken: heat {tag} has no charge on record"),
            None => format!("a charge item of heat {tag} has no mass"),
            Some(kg) => match poured.get(&tag) {
                Some(out) if *out > kg + 0.05 => {
                    format!("masses do not agree: heat {tag} {kg:.3} kg charged, {out:.3} kg poured")
                }
                _ => continue,
            },
        };
        if facts.alive().next().is_some() && (!direct.is_empty() || charged.items == 0) {
            out.push(shared(&tag, "charge", "genealogy", reason, direct));
        }
    }
    for revert in &facts.metal.sourceless {
        let tag = store.tag_of("revert_lots", *revert)?;
        out.push(shared(
            &tag,
            "charge",
            "genealogy",
            format!("genealogy broken: revert lot {tag} has no source on record"),
            Vec::new(),
        ));
    }
    let lots = facts
        .metal
        .ingots
        .iter()
        .map(|i| ("ingot_lots", *i))
        .chain(facts.metal.reverts.iter().map(|r| ("revert_lots", *r)));
    for (kind, id) in lots {
        if let Some((Some(received), _, used)) = store.stock(kind, id)? {
            if used > received + 0.05 {
                let tag = store.tag_of(kind, id)?;
                let reason =
                    format!("masses do not agree: {tag} {received:.3} kg received, {used:.3} kg charged");
                out.push(shared(&tag, "charge", "genealogy", reason, Vec::new()));
            }
        }
    }
    Ok(())
}

fn chemistry(store: &Store, facts: &Facts, out: &mut Vec<Block>) -> Result<()> {
    let mut subjects: Vec<(String, &str, Vec<String>)> = Vec::new();
    for (id, tag) in facts.heats() {
        subjects.push((tag, "melt", facts.alive_of_heat(id)));
    }
    for ingot in &facts.metal.ingots {
        let heats: Vec<i64> = facts
            .heats()
            .into_keys()
            .filter(|h| facts.metal.charged.get(h).is_some_and(|c| c.ingots.contains(ingot)))
            .collect();
        let blades = heats.iter().flat_map(|h| facts.alive_of_heat(*h)).collect();
        subjects.push((store.tag_of("ingot_lots", *ingot)?, "ingot receipt", blades));
    }
    for (tag, station, blades) in subjects.into_iter().filter(|s| !s.2.is_empty()) {
        let checked = alloy::check(store, &tag)?;
        if checked.analysis.is_none() || checked.elements.iter().all(|e| e.value.is_none()) {
            out.push(shared(&tag, station, "chemistry", format!("chemistry of {tag} absent"), blades));
            continue;
        }
        let mut outside = Vec::new();
        let mut open: Vec<String> = Vec::new();
        for e in checked.elements.iter().filter(|e| e.ok == Some(false)) {
            let value = e.value.as_ref().and_then(serde_json::Value::as_f64);
            let too_much = value.zip(e.max).is_none_or(|(v, m)| v > m);
            let left: Vec<String> = blades
                .iter()
                .filter(|b| !facts.permits.covers(b, &e.element, value, &e.unit, too_much))
                .cloned()
                .collect();
            if !left.is_empty() {
                open.extend(left);
                outside.push(e.element.as_str());
            }
        }
        if !outside.is_empty() {
            open.sort();
            open.dedup();
            let words: Vec<String> = checked
                .outside()
                .into_iter()
                .filter(|w| outside.iter().any(|e| w.starts_with(&format!("{e} "))))
                .collect();
            let mut reason = format!("chemistry of {tag} outside its limits: {}", words.join(", "));
            for permit in facts.permits.over(&open) {
                reason.push_str(&format!("; {permit} does not reach so far"));
            }
            out.push(shared(&tag, station, "chemistry", reason, open));
        }
        let unknown: Vec<&str> = checked
            .elements
            .iter()
            .filter(|e| e.ok.is_none() && (e.min.is_some() || e.max.is_some()))
            .map(|e| e.element.as_str())
            .collect();
        if !unknown.is_empty() && station == "melt" {
            let reason = format!("chemistry of {tag} cannot be told for {}", unknown.join(", "));
            out.push(shared(&tag, station, "chemistry", reason, blades));
        }
    }
    Ok(())
}

/// What is wrong with an instrument at a time, if anything.
fn lapse(checks: &[Check], at: Stamp) -> Option<String> {
    match checks.iter().rev().find(|c| c.at.ms() <= at.ms()) {
        None => Some("has no check on record before it was used".into()),
        Some(c) => c.due.filter(|d| d.ms() < at.ms()).map(|d| format!("was overdue since {d}")),
    }
}

fn instruments(store: &Store, facts: &Facts, out: &mut Vec<Block>) -> Result<()> {
    let mut checks: HashMap<String, Vec<Check>> = HashMap::new();
    let mut groups: BTreeMap<(String, String, String), Vec<String>> = BTreeMap::new();
    let alive = facts.alive_tags();
    let mut read = |instrument: &Record, field: &str, station: &str, blades: Vec<String>| -> Result<()> {
        let (Some(tag), Some(at)) = (instrument.get(field).text(), instrument.own_time()) else {
            return Ok(());
        };
        if !checks.contains_key(tag) {
            checks.insert(tag.to_string(), store.checks_of(tag)?);
        }
        let lapsed = checks.get(tag).and_then(|c| lapse(c, at));
        let left: Vec<String> = blades.into_iter().filter(|b| !facts.permits.names(b, &[tag])).collect();
        if let (Some(lapsed), false) = (lapsed, left.is_empty()) {
            groups.entry((station.into(), tag.into(), format!("{tag} {lapsed}"))).or_default().extend(left);
        }
        Ok(())
    };
    for ((tag, method), &at) in &facts.last {
        if alive.contains(tag.as_str()) {
            read(facts.record(at), "instrument", method, vec![tag.clone()])?;
        }
    }
    for p in facts.behind.of("pours") {
        let mould = p.record.get("mould").to_text();
        let blades = facts.alive_of(|m| facts.moulds.get(&m).is_some_and(|(t, _)| *t == mould));
        read(&p.record, "pyrometer", "pour", blades)?;
    }
    let heats = facts.heats();
    for a in facts.behind.of("analyses") {
        let subject = a.record.get("subject").to_text();
        if let Some((id, _)) = heats.iter().find(|(_, t)| **t == subject) {
            read(&a.record, "instrument", "analysis", facts.alive_of_heat(*id))?;
        }
    }
    let mut loaded: HashMap<String, Vec<String>> = HashMap::new();
    for l in facts.behind.of("treatment_loads").map(|l| &l.record) {
        let blade = l.get("blade").to_text();
        if alive.contains(blade.as_str()) {
            loaded.entry(l.get("treatment").to_text()).or_default().push(blade);
        }
    }
    for t in facts.behind.of("treatments") {
        let blades = loaded.remove(&t.record.address()).unwrap_or_default();
        read(&t.record, "instrument", "treatment", blades)?;
    }
    for ((station, tag, reason), blades) in groups {
        out.push(shared(&tag, &station, "instrument", reason, blades));
    }
    for s in store.suspected()? {
        let station = crate::domain::kind(s.kind).map_or("reading", |k| k.noun);
        let blades: Vec<String> = facts
            .alive()
            .filter(|b| s.fence.holds(b.id, b.mould) && !facts.permits.names(&b.tag, &[&s.instrument]))
            .map(|b| b.tag.clone())
            .collect();
        if blades.is_empty() {
            continue;
        }
        let what = if s.kind == "inspections" { "" } else { "a reading behind it: " };
        let reason = format!(
            "{what}{} is suspect at this {station}: a check of it failed before or after",
            s.instrument
        );
        out.push(shared(&s.instrument, station, "suspect", reason, blades));
    }
    Ok(())
}

fn definitions(facts: &Facts, out: &mut Vec<Block>) {
    let mut used: BTreeMap<(&str, i64), Vec<String>> = BTreeMap::new();
    let everything: Vec<String> = facts.alive().map(|b| b.tag.clone()).collect();
    if everything.is_empty() {
        return;
    }
    used.insert(("parts", facts.part), everything.clone());
    for row in facts.alloys() {
        used.insert(("alloys", row.id.unwrap_or(-1)), everything.clone());
    }
    for b in facts.alive() {
        let Some(made_to) = b.mould.and_then(|m| facts.made_to.get(&m)) else { continue };
        if made_to.part != facts.part {
            let reason = "its mould was made for another part or revision than the lot".to_string();
            out.push(blade(&b.tag, "assembly", "definition", reason));
        }
        let own = [("running_systems", Some(made_to.running_system)), ("shell_recipes", made_to.recipe)];
        for (kind, id) in own {
            if let Some(id) = id {
                used.entry((kind, id)).or_default().push(b.tag.clone());
            }
        }
    }
    for ((kind, id), blades) in used {
        let Some(record) = facts.definition(kind, id).filter(|r| r.get("approved_at").is_blank()) else {
            continue;
        };
        let tag = record.tag().unwrap_or_default().to_string();
        let left: Vec<String> = blades.into_iter().filter(|b| !facts.permits.names(b, &[&tag])).collect();
        if !left.is_empty() {
            let reason = format!("{} {} is not approved", record.kind.noun, record.address());
            out.push(shared(&record.address(), "definition", "definition", reason, left));
        }
    }
}

fn files(facts: &Facts, out: &mut Vec<Block>) {
    for a in facts.behind.of("attachments").map(|r| &r.record) {
        let path = facts.folder.join(a.get("path").to_text());
        let reason = match sha256(&path) {
            Err(why) => {
                format!("attached file {} of {}: {why}", a.get("path").to_text(), a.get("subject").to_text())
            }
            Ok(hash) if !hash.eq_ignore_ascii_case(&a.get("sha256").to_text()) => {
                format!(
                    "attached file {} of {} is not the one recorded",
                    a.get("path").to_text(),
                    a.get("subject").to_text()
                )
            }
            Ok(_) => continue,
        };
        out.push(shared(&a.address(), "attachment", "attachment", reason, Vec::new()));
    }
}

fn sha256(path: &std::path::Path) -> std::result::Result<String, String> {
    let mut file = std::fs::File::open(path).map_err(|e| e.to_string())?;
    let mut hasher = Sha256::new();
    let mut block = vec![0; 65_536];
    loop {
        match file.read(&mut block) {
            Ok(0) => break,
            Ok(n) => hasher.update(&block[..n]),
            Err(e) => return Err(e.to_string()),
        }
    }
    Ok(hasher.finalize().iter().map(|b| format!("{b:02x}")).collect())
}

/// A record behind the lot that was changed after somebody had signed it. The lot's own release is
/// judged apart: it becomes void.
fn superseded(store: &Store, facts: &Facts, out: &mut Vec<Block>) -> Result<()> {
    for (kind, id) in store.signed_records()? {
        let Some(row) = facts.behind.row(&kind, id).filter(|_| kind != "lots") else { continue };
        let Some(entry) = store
            .entry(row.entry)?
            .filter(|e| matches!(e.action.as_str(), "correct" | "undo" | "replace" | "lift"))
        else {
            continue;
        };
        let Some(signed) = store.signatures_on(&kind, id)?.pop() else { continue };
        if Stamp::parse(&entry.at).is_ok_and(|at| at.ms() > signed.at.ms()) {
            let tag = row.record.address();
            let reason = format!(
                "{} {tag} was changed at {} after {} had signed it; it must be signed again",
                row.record.kind.noun, entry.at, signed.person
            );
            out.push(shared(&tag, "signature", "superseded", reason, Vec::new()));
        }
    }
    Ok(())
}
