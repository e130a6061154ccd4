//! Rules of writing for what a release may rest on: an item of a concession, an accept that closes a reject, an
//! analysis set aside, a qualification. What can't mean anything is refused, with what would be right.

use std::collections::HashMap;

use rusqlite::{Connection, OptionalExtension, params};

use crate::catalogue::Method;
use crate::catalogue::kind::Kind;
use crate::check::{Fault, Guard};
use crate::error::{Error, Result};
use crate::graph::{lineage, stood};
use crate::read;
use crate::read::Found;
use crate::read::rows::Resolved;
use crate::read::shape;
use crate::read::tags::Tags;
use crate::value::tag::{folded, hint, near, shown};
use crate::{Record, Value};

/// The symbols of the elements up to uranium, and Cb, the older one of niobium.
const SYMBOLS: &str = "H He Li Be B C N O F Ne Na Mg Al Si P S Cl Ar K Ca Sc Ti V Cr Mn Fe Co Ni Cu Zn Ga Ge As Se Br Kr \
    Rb Sr Y Zr Nb Cb Mo Tc Ru Rh Pd Ag Cd In Sn Sb Te I Xe Cs Ba La Ce Pr Nd Pm Sm Eu Gd Tb Dy Ho Er Tm Yb Lu Hf Ta W Re \
    Os Ir Pt Au Hg Tl Pb Bi Po At Rn Fr Ra Ac Th Pa U";

/// The fields of a kind that, where one is filled, ask for these rules.
#[must_use]
pub fn asking(kind: &Kind) -> Vec<usize> {
    let fields: &[&str] = match kind.name {
        "concession_items" => &["concession"],
        "inspections" => &["closes"],
        "analyses" => &["set_aside_by", "set_aside_reason"],
        "qualifications" => &["from_on"],
        _ => &[],
    };
    fields.iter().filter_map(|f| kind.index(f)).collect()
}

/// What is wrong with a record by these rules.
pub fn faults(tags: &Tags, resolved: &Resolved) -> Result<Vec<Fault>> {
    let record = &resolved.record;
    match record.kind.name {
        "concession_items" if !is_stored(tags, record)? => item(tags, resolved),
        "inspections" if !record.get("closes").is_blank() => closing(tags, resolved),
        "analyses" => set_aside(tags, record),
        "qualifications" => Ok(qualification(record)),
        _ => Ok(Vec::new()),
    }
}

/// The same row stands in the store: an import takes it again.
fn is_stored(tags: &Tags, record: &Record) -> Result<bool> {
    let shape = shape::of(record.kind);
    let Some(key) = read::key_of(tags, record)? else { return Ok(false) };
    let found = read::load(tags.db(), shape, &key)?;
    Ok(found.is_some_and(|f| f.record.values == record.values))
}

/// The id that a field of a record leads to.
fn link(resolved: &Resolved, field: &str) -> Option<i64> {
    resolved.record.kind.index(field).and_then(|i| resolved.links[i]).map(|l| l.id)
}

/// What may not be changed or taken back any more: an item of a concession that a disposition names.
pub fn may_change(db: &Connection, found: &Found) -> Result<()> {
    if found.kind.name != "concession_items" {
        return Ok(());
    }
    let tag = found.record.get("concession").to_text();
    match frozen(db, &tag)? {
        Some(why) => Err(Error::input(format!("concession = {}: {why}", shown(&tag)))),
        None => Ok(()),
    }
}

/// Why the items of a concession stay as they are, where a disposition names it, or named it before it was corrected.
fn frozen(db: &Connection, concession: &str) -> Result<Option<String>> {
    let mut q = db.prepare_cached(
        "SELECT b.blade FROM concessions c JOIN dispositions d ON d.concession = c.id JOIN blades b ON b.id = d.blade
         WHERE c.concession = ?1 COLLATE NOCASE LIMIT 1",
    )?;
    let mut blade: Option<String> = q.query_row([concession], |r| r.get(0)).optional()?;
    if blade.is_none() {
        let mut q = db.prepare_cached(
            "SELECT json_extract(substr(old, 14), '$.blade') FROM journal WHERE kind = 'dispositions' AND action = 'correct'
             AND json_extract(substr(old, 14), '$.concession') = ?1 COLLATE NOCASE LIMIT 1",
        )?;
        blade = q.query_row([concession], |r| r.get(0)).optional()?;
    }
    Ok(blade.map(|b| {
        format!(
            "blade {} was decided on by this concession: its items stay as they are; record a new concession with its \
             items, then decide on the blades again",
            shown(&b)
        )
    }))
}

fn item(tags: &Tags, resolved: &Resolved) -> Result<Vec<Fault>> {
    let (db, record) = (tags.db(), &resolved.record);
    let concession = record.get("concession").to_text();
    if let Some(why) = frozen(db, &concession)? {
        return Ok(vec![Fault::new("concession", &concession, why)]);
    }
    let mut out = Vec::new();
    for field in ["item", "measure", "zone", "at_least", "at_most", "unit", "only_for"] {
        let value = record.get(field);
        let below = matches!(value, Value::Below(_));
        if below || matches!(value, Value::NotApplicable | Value::Illegible) {
            let right = if below { "a bound is a number" } else { "what an item leaves open is left blank" };
            out.push(Fault::new(field, &value.to_text(), format!("says nothing of a bound; {right}")));
        }
    }
    if !out.is_empty() {
        return Ok(out);
    }
    let covers = record.get("covers").to_text();
    fields_of(&covers, record, &mut out);
    named(tags, resolved, &covers, &mut out)?;
    only_for(resolved, &covers, &mut out);
    rows_of_one(db, resolved, &mut out)?;
    Ok(out)
}

/// Fields that do not belong to what is covered, and those that it needs.
fn fields_of(covers: &str, record: &Record, out: &mut Vec<Fault>) {
    let text = |f: &str| record.get(f).to_text();
    let measures: &[&str] = match covers {
        "defect" => &["size_mm", "distance_mm", "count", "severity"],
        "element" | "characteristic" => &["value"],
        _ => &[],
    };
    let measure = text("measure");
    if !measure.is_empty() && !measures.contains(&measure.as_str()) {
        let right = match measures {
            [] => format!("{covers} has no measure; leave it blank"),
            _ => format!("of {covers} it is {}", measures.join(", ")),
        };
        out.push(Fault::new("measure", &measure, format!("does not belong to {covers}: {right}")));
    }
    if covers != "defect" && !record.get("zone").is_blank() {
        out.push(Fault::new("zone", &text("zone"), "only a defect lies in a zone; leave it blank"));
    }
    let (least, most) = (record.get("at_least").number(), record.get("at_most").number());
    if measures.is_empty() {
        for field in ["at_least", "at_most", "unit"] {
            if !record.get(field).is_blank() {
                out.push(Fault::new(field, &text(field), format!("{covers} has no bounds; leave it blank")));
            }
        }
        return;
    }
    // What is counted, measured from nothing or a share of the whole is never below nothing.
    let from_nothing = matches!(
        (covers, measure.as_str()),
        ("element", _) | ("defect", "" | "size_mm" | "count" | "severity")
    );
    for (field, bound) in [("at_least", least), ("at_most", most)] {
        if from_nothing && bound.is_some_and(|b| b < 0.0) {
            let what = match (covers, measure.as_str()) {
                ("element", _) => "the content of an element",
                (_, "count") => "a count",
                (_, "severity") => "a severity",
                _ => "the size of a defect",
            };
            out.push(Fault::new(field, &text(field), format!("is below 0, and {what} never is")));
        }
    }
    if let (Some(a), Some(b)) = (least, most) {
        if a > b {
            let wrong = format!("is above at_most ({b}): nothing lies between them");
            out.push(Fault::new("at_least", &text("at_least"), wrong));
        }
    }
    let (unit, length) = (text("unit"), matches!(measure.as_str(), "" | "size_mm" | "distance_mm"));
    match covers {
        "element" => {
            if least.is_none() && most.is_none() {
                let right = "an element needs a bound: at_most for too much, at_least for too little";
                out.push(Fault::new("at_most", "", right));
            }
            if !matches!(unit.as_str(), "wt%" | "ppm") {
                out.push(Fault::new("unit", &unit, "is no unit of a content; wt% or ppm"));
            }
        }
        "defect" if !unit.is_empty() && (!length || unit != "mm") => {
            let right = if length { "it is mm" } else { "a count and a severity have none" };
            out.push(Fault::new("unit", &unit, format!("is no unit of {measure}; {right}")));
        }
        _ => {}
    }
}

/// The name leads to something that there is.
fn named(tags: &Tags, resolved: &Resolved, covers: &str, out: &mut Vec<Fault>) -> Result<()> {
    let (db, record) = (tags.db(), &resolved.record);
    let name = record.get("name").to_text();
    let mut fault = |message: String| out.push(Fault::new("name", &name, message));
    match covers {
        "defect" => {
            if tags.find(&name, &["defect_terms"])?.is_none() {
                fault(tags.unknown(&name, &["defect_terms"])?);
            }
        }
        "instrument" => {
            if tags.find(&name, &["instruments"])?.is_none() {
                fault(tags.unknown(&name, &["instruments"])?);
            }
        }
        "element" => {
            let symbol = |s: &str| SYMBOLS.split(' ').any(|known| known.eq_ignore_ascii_case(s.trim()));
            if !name.split('+').all(symbol) {
                fault("is no symbol of an element; O, Al, or a sum such as Al+Ti".into());
            }
        }
        "definition" => definition(tags, &name, &mut fault)?,
        "station" => station(db, resolved, &name, &mut fault)?,
        _ => {
            let unit = record.get("unit").to_text();
            let units = units_of(db, &name)?;
            if !unit.is_empty() && !units.is_empty() && !units.contains(&unit) {
                let wrong = format!("{} is measured in {}", shown(&name), units.join(", "));
                out.push(Fault::new("unit", &unit, wrong));
            }
        }
    }
    if let Some(zone) = record.get("zone").text() {
        let zones = of_part(db, link(resolved, "concession"), "zones", "zone")?;
        if !zones.is_empty() && !zones.iter().any(|z| folded(z) == folded(zone)) {
            out.push(Fault::new(
                "zone",
                zone,
                format!("is no zone of the concession's part; it has {}", zones.join(", ")),
            ));
        }
    }
    Ok(())
}

fn definition(tags: &Tags, name: &str, fault: &mut impl FnMut(String)) -> Result<()> {
    let kinds = || crate::catalogue::all().filter(|k| k.revisioned);
    let Some((tag, revision)) = name.rsplit_once('@') else {
        fault("names no revision; a definition is TAG@REV, and TAG@ where the revision is blank".into());
        return Ok(());
    };
    let mut there = Vec::new();
    for kind in kinds() {
        there.extend(tags.revisions(kind, tag)?.into_iter().map(|r| r.revision));
    }
    if there.is_empty() {
        let known: Vec<String> = kinds()
            .map(|k| tags.near(tag, &[k.name]))
            .collect::<Result<Vec<_>>>()?
            .into_iter()
            .flatten()
            .collect();
        let close: Vec<&str> = known.iter().map(String::as_str).collect();
        fault(format!("there is no definition {}{}", shown(tag), hint(&close)));
    } else if !there.iter().any(|r| r == revision) {
        let all: Vec<String> = there.iter().map(|r| format!("{tag}@{r}")).collect();
        fault(format!("there is no such revision; there are {}", all.join(", ")));
    }
    Ok(())
}

fn station(db: &Connection, resolved: &Resolved, name: &str, fault: &mut impl FnMut(String)) -> Result<()> {
    if !Method::WORDS.contains(&name) {
        let close = near(name, Method::WORDS.iter().copied());
        fault(format!("is no inspection method; {}{}", Method::WORDS.join(", "), hint(&close)));
        return Ok(());
    }
    let plan = of_part(db, link(resolved, "concession"), "inspection_plans", "method")?;
    if plan.is_empty() {
        fault("the concession's part has no inspection plan: no inspection is asked for".into());
    } else if !plan.iter().any(|m| m == name) {
        fault(format!("is not in the plan of the concession's part; it has {}", plan.join(", ")));
    }
    Ok(())
}

/// What the rows of a definition say of a concession's part, whatever its revision.
fn of_part(db: &Connection, concession: Option<i64>, table: &str, column: &str) -> Result<Vec<String>> {
    let sql = format!(
        "SELECT DISTINCT t.{column} FROM concessions c JOIN parts own ON own.id = c.part
         JOIN parts p ON p.part = own.part COLLATE NOCASE JOIN {table} t ON t.part = p.id WHERE c.id = ?1 ORDER BY 1"
    );
    let mut q = db.prepare_cached(&sql)?;
    let rows = q.query_map([concession], |r| r.get(0))?;
    Ok(rows.collect::<rusqlite::Result<_>>()?)
}

fn units_of(db: &Connection, characteristic: &str) -> Result<Vec<String>> {
    let mut q = db.prepare_cached(
        "SELECT DISTINCT unit FROM measurements WHERE characteristic = ?1 COLLATE NOCASE ORDER BY 1",
    )?;
    let rows = q.query_map([characteristic], |r| r.get(0))?;
    Ok(rows.collect::<rusqlite::Result<_>>()?)
}

/// What an item may be only for.
fn only_for(resolved: &Resolved, covers: &str, out: &mut Vec<Fault>) {
    let record = &resolved.record;
    let text = record.get("only_for").to_text();
    let kind = record.kind.index("only_for").and_then(|i| resolved.links[i]).map(|l| l.kind);
    let mut fault = |message: &str| out.push(Fault::new("only_for", &text, message));
    match (covers, kind) {
        ("instrument", None) if record.get("only_for").is_blank() => {
            fault("must be filled: the mould, heat or inspection whose reading it is");
        }
        (_, None) => {}
        ("instrument", Some("moulds" | "heats" | "inspections")) => {}
        ("instrument", Some(_)) => {
            fault("an instrument is conceded for the mould, heat or inspection whose reading it is");
        }
        ("defect" | "characteristic", Some("inspections")) => {}
        (_, Some(kind)) if kind != "instruments" && lineage::can_be_held(kind) => {}
        _ => fault(
            "no blade comes out of it; a lot, heat, mould, blade, or another record that went into blades",
        ),
    }
}

/// Rows of one item must all fit: those that never could together are refused.
fn rows_of_one(db: &Connection, resolved: &Resolved, out: &mut Vec<Fault>) -> Result<()> {
    let record = &resolved.record;
    let text = |f: &str| record.get(f).to_text();
    let mut q = db.prepare_cached(
        "SELECT covers, name, zone FROM concession_items WHERE concession = ?1 AND item = ?2 AND measure <> ?3",
    )?;
    let item = record.get("item").number().unwrap_or(0.0) as i64;
    let mut rows = q.query(params![link(resolved, "concession"), item, text("measure")])?;
    while let Some(row) = rows.next()? {
        let (covers, name, zone): (String, String, Option<String>) = (row.get(0)?, row.get(1)?, row.get(2)?);
        let other = covers != text("covers") || folded(&name) != folded(&text("name"));
        let apart = zone.is_some_and(|z| !text("zone").is_empty() && folded(&z) != folded(&text("zone")));
        if other || apart {
            let is = format!("item {item} covers {covers} {}; all rows of an item must fit", shown(&name));
            out.push(Fault::new(
                "item",
                &text("item"),
                format!("{is}: give another thing a number of its own"),
            ));
            break;
        }
    }
    Ok(())
}

/// The number of a row that was written without one: an item of its own. Where it may be a second row of an item that
/// is there, it must be said which.
pub fn next_item(tags: &Tags, record: &Record) -> Result<i64> {
    let concession = tags.find(&record.get("concession").to_text(), &["concessions"])?.map(|(l, _)| l.id);
    let mut q = tags.db().prepare_cached(
        "SELECT item, covers, name, measure FROM concession_items WHERE concession = ?1 ORDER BY item",
    )?;
    let mut rows = q.query([concession])?;
    let (mut most, mut known) = (0, HashMap::new());
    while let Some(row) = rows.next()? {
        most = most.max(row.get(0)?);
        known.insert(
            thing("", &row.get::<_, String>(1)?, &row.get::<_, String>(2)?),
            row.get::<_, String>(3)?,
        );
    }
    let (covers, name) = (record.get("covers").to_text(), record.get("name").to_text());
    let measure = known.get(&thing("", &covers, &name));
    if measure.is_some_and(|m| *m != record.get("measure").to_text()) {
        return Err(Error::input(format!("item: {}", which_item(&name))));
    }
    Ok(most + 1)
}

fn thing(concession: &str, covers: &str, name: &str) -> String {
    format!("{}\n{covers}\n{}", folded(concession), folded(name))
}

fn which_item(name: &str) -> String {
    format!(
        "must be filled: an item covers {} already by another measure; give both rows one number where both must fit, \
         else each its own",
        shown(name)
    )
}

/// As [`next_item`], for the rows of a file: `seen` is kept from row to row.
///
/// # Errors
/// The fault.
pub fn count_item(seen: &mut HashMap<String, i64>, record: &Record) -> std::result::Result<i64, Fault> {
    let text = |f: &str| record.get(f).to_text();
    let measures = ["", "size_mm", "distance_mm", "count", "severity", "value"];
    let measure = measures.iter().position(|m| *m == text("measure")).map_or(-1, |i| i as i64);
    let key = thing(&text("concession"), &text("covers"), &text("name"));
    if *seen.entry(key).or_insert(measure) != measure {
        return Err(Fault::new("item", "", which_item(&text("name"))));
    }
    Ok(*seen.entry(folded(&text("concession"))).and_modify(|n| *n += 1).or_insert(1))
}

/// An accept that closes a reject: of the same blade and method, later, by another person, with a note.
fn closing(tags: &Tags, resolved: &Resolved) -> Result<Vec<Fault>> {
    let record = &resolved.record;
    let Some(id) = link(resolved, "closes") else { return Ok(Vec::new()) };
    let mut q = tags.db().prepare_cached(
        "SELECT i.blade, i.method, i.result, i.inspected_at, i.person, i.purpose, i.inspection, i.entry
         FROM inspections i WHERE i.id = ?1",
    )?;
    type Row = ((i64, String, String, i64, Option<String>, Option<String>), (String, i64));
    let row: Option<Row> = q
        .query_row([id], |r| {
            let reject = (r.get(0)?, r.get(1)?, r.get(2)?, r.get(3)?, r.get(4)?, r.get(5)?);
            Ok((reject, (r.get(6)?, r.get(7)?)))
        })
        .optional()?;
    let Some(((blade, method, result, at, person, purpose), (tag, entry))) = row else {
        return Ok(Vec::new());
    };
    let text = |f: &str| record.get(f).to_text();
    let closes = text("closes");
    let of = |p: Option<&str>| matches!(p, None | Some("product"));
    let wrong = if result != "reject" || !of(purpose.as_deref()) {
        Some("is no reject of product: there is nothing to close".to_string())
    } else if link(resolved, "blade") != Some(blade) {
        Some("is of another blade".into())
    } else if text("method") != method {
        Some(format!("is by {method}, this by {}", text("method")))
    } else if text("result") != "accept" || !of(record.get("purpose").text()) {
        Some("is closed by an accept of product only".into())
    } else if record.own_time().is_none_or(|t| t.ms() <= crate::Stamp::from_packed(at).ms()) {
        Some("is not earlier than this inspection".into())
    } else if record.get("person").text().is_none() {
        Some("is closed by a person: fill person".into())
    } else if person.is_some_and(|p| p.eq_ignore_ascii_case(&text("person"))) {
        Some(format!("was rejected by {}; another qualified person closes it", shown(&text("person"))))
    } else if stood::readers(tags.db(), &tag, entry)?.contains(&text("person").to_ascii_lowercase()) {
        let person = text("person");
        let person = shown(&person);
        Some(format!(
            "had {person} as its reader before it was corrected; another qualified person closes it"
        ))
    } else if record.get("note").text().is_none_or(|n| n.trim().is_empty()) {
        Some("is closed with a note that says why: fill note".into())
    } else {
        None
    };
    Ok(wrong.map(|w| Fault::new("closes", &closes, w)).into_iter().collect())
}

/// A reject that an accept closes stays one of its kind: else the accept would close nothing, and could not be written
/// again from a bundle.
pub fn closed(db: &Connection, found: &Found, resolved: &Resolved) -> Result<Option<Fault>> {
    let (before, after) = (&found.record, &resolved.record);
    let fields = ["blade", "method", "result", "purpose", "inspected_at", "person"];
    let changed = fields.into_iter().find(|f| before.get(f) != after.get(f));
    let (Some(field), Some(id), "inspections") = (changed, found.id, found.kind.name) else {
        return Ok(None);
    };
    let mut q = db.prepare_cached("SELECT inspection FROM inspections WHERE closes = ?1 LIMIT 1")?;
    let accept: Option<String> = q.query_row([id], |r| r.get(0)).optional()?;
    Ok(accept.map(|a| {
        let message =
            format!("{0} closes this reject; first: meltkin correct {0} closes= --reason TEXT", shown(&a));
        Fault::new(field, &after.get(field).to_text(), message)
    }))
}

/// An analysis is set aside by a person, with a reason.
fn set_aside(tags: &Tags, record: &Record) -> Result<Vec<Fault>> {
    let text = |f: &str| record.get(f).text().map(str::trim).filter(|t| !t.is_empty());
    let mut out = Vec::new();
    if record.get("set_aside_by").is_blank() && record.get("set_aside_reason").is_blank() {
        return Ok(out);
    }
    match text("set_aside_by") {
        None => {
            out.push(Fault::new("set_aside_by", "", "must be filled: who in quality sets the analysis aside"))
        }
        Some(person) if tags.find(person, &["people"])?.is_none() => {
            out.push(Fault::new("set_aside_by", person, tags.unknown(person, &["people"])?));
        }
        Some(_) => {}
    }
    if text("set_aside_reason").is_none() {
        out.push(Fault::new("set_aside_reason", "", "must be filled: why the analysis is set aside"));
    }
    Ok(out)
}

fn qualification(record: &Record) -> Vec<Fault> {
    match (record.get("from_on").text(), record.get("expires_on").text()) {
        (Some(from), Some(until)) if from > until => {
            vec![Fault::new("from_on", from, format!("is after expires_on ({until})"))]
        }
        _ => Vec::new(),
    }
}

/// What is said without asking for a reason: a disposition to a concession that lifts nothing.
pub fn said(db: &Connection, resolved: &Resolved) -> Result<Option<Guard>> {
    let record = &resolved.record;
    if record.kind.name != "dispositions" || record.get("decision").text() != Some("concession") {
        return Ok(None);
    }
    let guard = |message: String| Guard { field: "concession".into(), message, needs_reason: false };
    let Some(id) = link(resolved, "concession") else {
        return Ok(Some(guard("no concession is named: nothing is lifted".into())));
    };
    let sql = "SELECT EXISTS (SELECT 1 FROM concession_items WHERE concession = ?1)";
    if db.prepare_cached(sql)?.query_row([id], |r| r.get(0))? {
        return Ok(None);
    }
    let tag = record.get("concession").to_text();
    Ok(Some(guard(format!(
        "{} has no concession_items, so it lifts nothing; once a blade is decided on by it, it can get none",
        shown(&tag)
    ))))
}
