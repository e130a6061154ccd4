//! Rules of writing for what a release may rest on: an item of a concession, an accept that closes a reject, an
//! analysis set aside, a qualification. What can't mean anything is refused, with what would be right.

use std::collections::HashMap;

use rusqlite::types::Value as Sql;
use rusqlite::{Connection, OptionalExtension, params};

use crate::catalogue::kind::Kind;
use crate::catalogue::{
    Analyses, AnyField, As, ConcessionItems, Concessions, ContentUnit, Covers, Decision, DefectTerms,
    Dispositions, Heats, InspectionPlans, InspectionPurpose, Inspections, Instruments, KindType, Measure,
    Method, Moulds, People, Qualifications, Verdict, Zones,
};
use crate::check::{Fault, Guard};
use crate::error::{Error, Hint, Result};
use crate::graph::{lineage, stood};
use crate::read;
use crate::read::Found;
use crate::read::rows::Resolved;
use crate::read::shape;
use crate::read::tags::Tags;
use crate::value::tag::{folded, hint, near, shown};
use crate::{Record, Stamp, Value};

/// The symbols of the elements up to uranium, and Cb, the older one of niobium.
const SYMBOLS: &str = "H He Li Be B C N O F Ne Na Mg Al Si P S Cl Ar K Ca Sc Ti V Cr Mn Fe Co Ni Cu Zn Ga Ge As Se Br Kr \
    Rb Sr Y Zr Nb Cb Mo Tc Ru Rh Pd Ag Cd In Sn Sb Te I Xe Cs Ba La Ce Pr Nd Pm Sm Eu Gd Tb Dy Ho Er Tm Yb Lu Hf Ta W Re \
    Os Ir Pt Au Hg Tl Pb Bi Po At Rn Fr Ra Ac Th Pa U";

/// The fields of a kind that, where one is filled, ask for these rules.
pub fn asking(kind: &Kind) -> Vec<usize> {
    match kind.name {
        ConcessionItems::NAME => vec![ConcessionItems::concession.index],
        Inspections::NAME => vec![Inspections::closes.index],
        Analyses::NAME => vec![Analyses::set_aside_by.index, Analyses::set_aside_reason.index],
        Qualifications::NAME => vec![Qualifications::from_on.index],
        _ => Vec::new(),
    }
}

/// What is wrong with a record by these rules.
pub fn faults(tags: &Tags, resolved: &Resolved) -> Result<Vec<Fault>> {
    let record = &resolved.record;
    if let Some(row) = record.of::<ConcessionItems>() {
        return if is_stored(tags, record)? { Ok(Vec::new()) } else { item(tags, resolved, row) };
    }
    if let Some(accept) = record.of::<Inspections>() {
        return closing(tags, resolved, accept);
    }
    if let Some(analysis) = record.of::<Analyses>() {
        return set_aside(tags, analysis);
    }
    Ok(record.of::<Qualifications>().and_then(qualification).into_iter().collect())
}

/// The same row stands in the store: an import takes it again.
fn is_stored(tags: &Tags, record: &Record) -> Result<bool> {
    let shape = shape::of(record.kind);
    let Some(key) = read::key_of(tags, record)? else { return Ok(false) };
    let found = read::load(tags.db(), shape, &key)?;
    Ok(found.is_some_and(|f| f.record.values == record.values))
}

/// What may not be changed or taken back any more: an item of a concession that a disposition names.
pub fn may_change(db: &Connection, found: &Found) -> Result<()> {
    let Some(item) = found.record.of::<ConcessionItems>() else { return Ok(()) };
    let tag = item.text(ConcessionItems::concession);
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

fn item(tags: &Tags, resolved: &Resolved, row: As<'_, ConcessionItems>) -> Result<Vec<Fault>> {
    type Items = ConcessionItems;
    let db = tags.db();
    if let Some(why) = frozen(db, &row.text(Items::concession))? {
        return Ok(vec![row.fault(Items::concession, why)]);
    }
    let mut out = Vec::new();
    for field in [
        Items::item.any(),
        Items::measure.any(),
        Items::zone.any(),
        Items::at_least.any(),
        Items::at_most.any(),
        Items::unit.any(),
        Items::only_for.any(),
    ] {
        let value = row.at(field);
        let below = matches!(value, Value::Below(_));
        if below || matches!(value, Value::NotApplicable | Value::Illegible) {
            let right = if below { "a bound is a number" } else { "what an item leaves open is left blank" };
            out.push(Fault::new(field.name, &value.to_text(), format!("says nothing of a bound; {right}")));
        }
    }
    // What it covers is asked for where it is blank.
    let Some(covers) = row.get(Items::covers).filter(|_| out.is_empty()) else { return Ok(out) };
    fields_of(covers, row, &mut out);
    named(tags, resolved, row, covers, &mut out)?;
    only_for(resolved, row, covers, &mut out);
    rows_of_one(db, resolved, row, covers, &mut out)?;
    Ok(out)
}

/// Fields that do not belong to what is covered, and those that it needs.
fn fields_of(covers: Covers, row: As<'_, ConcessionItems>, out: &mut Vec<Fault>) {
    type Items = ConcessionItems;
    let measures: &[Measure] = match covers {
        Covers::Defect => &[Measure::SizeMm, Measure::DistanceMm, Measure::Count, Measure::Severity],
        Covers::Element | Covers::Characteristic => &[Measure::Value],
        _ => &[],
    };
    let (measure, name) = (row.get(Items::measure), covers.word());
    if measure.is_some_and(|m| !measures.contains(&m)) {
        let right = match measures {
            [] => format!("{name} has no measure; leave it blank"),
            _ => format!(
                "of {name} it is {}",
                measures.iter().map(|m| m.word()).collect::<Vec<_>>().join(", ")
            ),
        };
        out.push(row.fault(Items::measure, format!("does not belong to {name}: {right}")));
    }
    if covers != Covers::Defect && !row.cell(Items::zone).is_blank() {
        out.push(row.fault(Items::zone, "only a defect lies in a zone; leave it blank"));
    }
    if measures.is_empty() {
        for field in [Items::at_least.any(), Items::at_most.any(), Items::unit.any()] {
            let value = row.at(field);
            if !value.is_blank() {
                let wrong = format!("{name} has no bounds; leave it blank");
                out.push(Fault::new(field.name, &value.to_text(), wrong));
            }
        }
        return;
    }
    // What is counted, measured from nothing or a share of the whole is never below nothing.
    let from_nothing = match (covers, measure) {
        (Covers::Element, _) => Some("the content of an element"),
        (Covers::Defect, Some(Measure::Count)) => Some("a count"),
        (Covers::Defect, Some(Measure::Severity)) => Some("a severity"),
        (Covers::Defect, None | Some(Measure::SizeMm)) => Some("the size of a defect"),
        _ => None,
    };
    for field in [Items::at_least, Items::at_most] {
        if let Some(what) = from_nothing.filter(|_| row.get(field).is_some_and(|b| b < 0.0)) {
            out.push(row.fault(field, format!("is below 0, and {what} never is")));
        }
    }
    let (least, most) = (row.get(Items::at_least), row.get(Items::at_most));
    if let Some(most) = most.filter(|most| least.is_some_and(|least| least > *most)) {
        let wrong = format!("is above at_most ({most}): nothing lies between them");
        out.push(row.fault(Items::at_least, wrong));
    }
    let unit = row.text(Items::unit);
    let length = matches!(measure, None | Some(Measure::SizeMm | Measure::DistanceMm));
    match covers {
        Covers::Element => {
            if least.is_none() && most.is_none() {
                let right = "an element needs a bound: at_most for too much, at_least for too little";
                out.push(Fault::new(Items::at_most.name, "", right));
            }
            if ContentUnit::of(&unit).is_none() {
                out.push(row.fault(Items::unit, "is not a unit of a content; wt% or ppm"));
            }
        }
        Covers::Defect if !unit.is_empty() && (!length || unit != "mm") => {
            let right = if length { "it is mm" } else { "a count and a severity have none" };
            let measure = measure.map_or("", Measure::word);
            out.push(row.fault(Items::unit, format!("is not a unit of {measure}; {right}")));
        }
        _ => {}
    }
}

/// The name leads to something that there is.
fn named(
    tags: &Tags,
    resolved: &Resolved,
    row: As<'_, ConcessionItems>,
    covers: Covers,
    out: &mut Vec<Fault>,
) -> Result<()> {
    type Items = ConcessionItems;
    let db = tags.db();
    let name = row.text(Items::name);
    let mut fault = |message: String| out.push(row.fault(Items::name, message));
    let mut known = |kind: &'static str| -> Result<()> {
        if tags.find(&name, &[kind])?.is_none() {
            fault(tags.unknown(&name, &[kind])?);
        }
        Ok(())
    };
    match covers {
        Covers::Defect => known(DefectTerms::NAME)?,
        Covers::Instrument => known(Instruments::NAME)?,
        Covers::Element => {
            let symbol = |s: &str| SYMBOLS.split(' ').any(|known| known.eq_ignore_ascii_case(s.trim()));
            if !name.split('+').all(symbol) {
                fault("not a symbol of an element; O, Al, or a sum such as Al+Ti".into());
            }
        }
        Covers::Definition => definition(tags, &name, &mut fault)?,
        Covers::Station => station(db, resolved, &name, &mut fault)?,
        Covers::Characteristic => {
            let unit = row.text(Items::unit);
            let units = units_of(db, &name)?;
            if !unit.is_empty() && !units.is_empty() && !units.contains(&unit) {
                let wrong = format!("{} is measured in {}", shown(&name), units.join(", "));
                out.push(row.fault(Items::unit, wrong));
            }
        }
    }
    if let Some(zone) = row.get(Items::zone) {
        let zones = of_part(db, resolved, Zones::zone.any())?;
        if !zones.is_empty() && !zones.iter().any(|z| folded(z) == folded(zone)) {
            let wrong = format!("not a zone of the concession's part; it has {}", zones.join(", "));
            out.push(row.fault(Items::zone, wrong));
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
        fault(format!("not an inspection method; {}{}", Method::WORDS.join(", "), hint(&close)));
        return Ok(());
    }
    let plan = of_part(db, resolved, InspectionPlans::method.any())?;
    if plan.is_empty() {
        fault("the concession's part has no inspection plan: no inspection is asked for".into());
    } else if !plan.iter().any(|m| m == name) {
        fault(format!("is not in the plan of the concession's part; it has {}", plan.join(", ")));
    }
    Ok(())
}

/// What the rows of a definition say of the part of an item's concession, whatever its revision.
fn of_part<K: KindType>(db: &Connection, item: &Resolved, field: AnyField<K>) -> Result<Vec<String>> {
    let sql = format!(
        "SELECT DISTINCT t.{} FROM concessions c JOIN parts own ON own.id = c.part
         JOIN parts p ON p.part = own.part COLLATE NOCASE JOIN {} t ON t.part = p.id WHERE c.id = ?1 ORDER BY 1",
        field.name,
        K::NAME
    );
    read::list(db, &sql, [item.id(ConcessionItems::concession)], |r| r.get(0))
}

fn units_of(db: &Connection, characteristic: &str) -> Result<Vec<String>> {
    read::list(
        db,
        "SELECT DISTINCT unit FROM measurements WHERE characteristic = ?1 COLLATE NOCASE ORDER BY 1",
        [characteristic],
        |r| r.get(0),
    )
}

/// What an item may be only for.
fn only_for(resolved: &Resolved, row: As<'_, ConcessionItems>, covers: Covers, out: &mut Vec<Fault>) {
    let kind = resolved.link(ConcessionItems::only_for).map(|l| l.kind);
    let mut fault = |message: &str| out.push(row.fault(ConcessionItems::only_for, message));
    match (covers, kind) {
        (Covers::Instrument, None) if row.cell(ConcessionItems::only_for).is_blank() => {
            fault("must be filled: the mould, heat or inspection whose reading it is");
        }
        (_, None) => {}
        (Covers::Instrument, Some(Moulds::NAME | Heats::NAME | Inspections::NAME)) => {}
        (Covers::Instrument, Some(_)) => {
            fault("an instrument is conceded for the mould, heat or inspection whose reading it is");
        }
        (Covers::Defect | Covers::Characteristic, Some(Inspections::NAME)) => {}
        (_, Some(kind)) if kind != Instruments::NAME && lineage::can_be_held(kind) => {}
        _ => fault(
            "no blade comes out of it; a lot, heat, mould, blade, or another record that went into blades",
        ),
    }
}

/// Rows of one item must all fit: those that never could together are refused.
fn rows_of_one(
    db: &Connection,
    resolved: &Resolved,
    row: As<'_, ConcessionItems>,
    covers: Covers,
    out: &mut Vec<Fault>,
) -> Result<()> {
    type Items = ConcessionItems;
    let mut q = db.prepare_cached(
        "SELECT covers, name, zone FROM concession_items WHERE concession = ?1 AND item = ?2 AND measure <> ?3",
    )?;
    let item = row.get(Items::item).unwrap_or(0);
    let (name, zone) = (row.text(Items::name), row.get(Items::zone));
    let mut rows = q.query(params![resolved.id(Items::concession), item, row.text(Items::measure)])?;
    while let Some(other) = rows.next()? {
        let (covered, thing): (String, String) = (other.get(0)?, other.get(1)?);
        let there: Option<String> = other.get(2)?;
        let apart = there.zip(zone).is_some_and(|(there, zone)| folded(&there) != folded(zone));
        if covered != covers.word() || folded(&thing) != folded(&name) || apart {
            let is = format!("item {item} covers {covered} {}; all rows of an item must fit", shown(&thing));
            out.push(row.fault(Items::item, format!("{is}: give another thing a number of its own")));
            break;
        }
    }
    Ok(())
}

/// The number of a row that was written without one: an item of its own. Where it may be a second row of an item that
/// is there, it must be said which.
pub fn next_item(tags: &Tags, row: As<'_, ConcessionItems>) -> Result<i64> {
    type Items = ConcessionItems;
    let concession = tags.find(&row.text(Items::concession), &[Concessions::NAME])?.map(|(l, _)| l.id);
    let mut q = tags.db().prepare_cached(
        "SELECT item, covers, name, measure FROM concession_items WHERE concession = ?1 ORDER BY item",
    )?;
    let mut rows = q.query([concession])?;
    let (mut most, mut known) = (0, HashMap::new());
    while let Some(there) = rows.next()? {
        most = most.max(there.get(0)?);
        known.insert(
            thing("", &there.get::<_, String>(1)?, &there.get::<_, String>(2)?),
            there.get::<_, String>(3)?,
        );
    }
    let name = row.text(Items::name);
    let measure = known.get(&thing("", &row.text(Items::covers), &name));
    if measure.is_some_and(|m| *m != row.text(Items::measure)) {
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
pub fn count_item(
    seen: &mut HashMap<String, i64>,
    row: As<'_, ConcessionItems>,
) -> std::result::Result<i64, Fault> {
    type Items = ConcessionItems;
    let measure = row.get(Items::measure).map_or(0, |m| m as i64 + 1);
    let (concession, name) = (row.text(Items::concession), row.text(Items::name));
    let key = thing(&concession, &row.text(Items::covers), &name);
    if *seen.entry(key).or_insert(measure) != measure {
        return Err(Fault::new(Items::item.name, "", which_item(&name)));
    }
    Ok(*seen.entry(folded(&concession)).and_modify(|n| *n += 1).or_insert(1))
}

/// An accept that closes a reject: of the same blade and method, later, by another person, with a note.
fn closing(tags: &Tags, resolved: &Resolved, accept: As<'_, Inspections>) -> Result<Vec<Fault>> {
    type I = Inspections;
    let Some(id) = resolved.id(I::closes) else { return Ok(Vec::new()) };
    let Some(found) = read::load(tags.db(), shape::of(I::KIND), &[Sql::Integer(id)])? else {
        return Ok(Vec::new());
    };
    let Some(reject) = found.record.of::<I>() else { return Ok(Vec::new()) };
    let of_product = |i: As<'_, I>| matches!(i.get(I::purpose), None | Some(InspectionPurpose::Product));
    let at = |i: As<'_, I>| i.get(I::inspected_at).map(Stamp::ms);
    let (method, person) = (accept.text(I::method), accept.text(I::person));
    let wrong = if reject.get(I::result) != Some(Verdict::Reject) || !of_product(reject) {
        Some("not a reject of product: there is nothing to close".to_string())
    } else if !reject.text(I::blade).eq_ignore_ascii_case(&accept.text(I::blade)) {
        Some("is of another blade".into())
    } else if reject.get(I::method) != accept.get(I::method) {
        Some(format!("is by {}, this by {method}", reject.text(I::method)))
    } else if accept.get(I::result) != Some(Verdict::Accept) || !of_product(accept) {
        Some("is closed by an accept of product only".into())
    } else if at(accept) <= at(reject) {
        Some("is not earlier than this inspection".into())
    } else if accept.get(I::person).is_none() {
        Some("is closed by a person: fill person".into())
    } else if reject.get(I::person).is_some_and(|p| p.eq_ignore_ascii_case(&person)) {
        Some(format!("was rejected by {}; another qualified person closes it", shown(&person)))
    } else if stood::readers(tags.db(), &found.record.address(), found.entry)?
        .contains(&person.to_ascii_lowercase())
    {
        let person = shown(&person);
        Some(format!(
            "had {person} as its reader before it was corrected; another qualified person closes it"
        ))
    } else if accept.get(I::note).is_none_or(|n| n.trim().is_empty()) {
        Some("is closed with a note that says why: fill note".into())
    } else {
        None
    };
    Ok(wrong.map(|w| accept.fault(I::closes, w)).into_iter().collect())
}

/// A reject that an accept closes stays one of its kind: else the accept would close nothing, and could not be written
/// again from a bundle.
pub fn closed(db: &Connection, found: &Found, resolved: &Resolved) -> Result<Option<Fault>> {
    type I = Inspections;
    let both = found.record.of::<I>().zip(resolved.record.of::<I>());
    let (Some((before, after)), Some(id)) = (both, found.id) else { return Ok(None) };
    let fields = [
        I::blade.any(),
        I::method.any(),
        I::result.any(),
        I::purpose.any(),
        I::inspected_at.any(),
        I::person.any(),
    ];
    let Some(field) = fields.into_iter().find(|f| before.at(*f) != after.at(*f)) else { return Ok(None) };
    let mut q = db.prepare_cached("SELECT inspection FROM inspections WHERE closes = ?1 LIMIT 1")?;
    let accept: Option<String> = q.query_row([id], |r| r.get(0)).optional()?;
    Ok(accept.map(|a| {
        let message = format!("{} closes this reject", shown(&a));
        Fault::new(field.name, &after.at(field).to_text(), message)
            .hint(Hint::EmptyFirst(a, Inspections::closes.name))
    }))
}

/// An analysis is set aside by a person, with a reason.
fn set_aside(tags: &Tags, analysis: As<'_, Analyses>) -> Result<Vec<Fault>> {
    let (by, reason) = (Analyses::set_aside_by, Analyses::set_aside_reason);
    let mut out = Vec::new();
    if analysis.cell(by).is_blank() && analysis.cell(reason).is_blank() {
        return Ok(out);
    }
    let filled = |text: Option<&str>| text.is_some_and(|t| !t.trim().is_empty());
    match analysis.get(by).map(str::trim).filter(|p| !p.is_empty()) {
        None => {
            out.push(Fault::new(by.name, "", "must be filled: who in quality sets the analysis aside"));
        }
        Some(person) if tags.find(person, &[People::NAME])?.is_none() => {
            out.push(Fault::new(by.name, person, tags.unknown(person, &[People::NAME])?));
        }
        Some(_) => {}
    }
    if !filled(analysis.get(reason)) {
        out.push(Fault::new(reason.name, "", "must be filled: why the analysis is set aside"));
    }
    Ok(out)
}

fn qualification(row: As<'_, Qualifications>) -> Option<Fault> {
    let (from, until) = (row.get(Qualifications::from_on)?, row.get(Qualifications::expires_on)?);
    (from > until).then(|| row.fault(Qualifications::from_on, format!("is after expires_on ({until})")))
}

/// What is said without asking for a reason: a disposition to a concession that lifts nothing.
pub fn said(db: &Connection, resolved: &Resolved) -> Result<Option<Guard>> {
    let Some(row) = resolved.record.of::<Dispositions>() else { return Ok(None) };
    if row.get(Dispositions::decision) != Some(Decision::Concession) {
        return Ok(None);
    }
    let guard = |message: String| Guard::said(Dispositions::concession.name, message);
    let Some(id) = resolved.id(Dispositions::concession) else {
        return Ok(Some(guard("no concession is named: nothing is lifted".into())));
    };
    let sql = "SELECT EXISTS (SELECT 1 FROM concession_items WHERE concession = ?1)";
    if db.prepare_cached(sql)?.query_row([id], |r| r.get(0))? {
        return Ok(None);
    }
    Ok(Some(guard(format!(
        "{} has no concession_items, so it lifts nothing; once a blade is decided on by it, it can get none",
        shown(&row.text(Dispositions::concession))
    ))))
}
