//! What a chart is made of: moulds, heats, days, or single readings in time order.

use std::collections::HashMap;

use crate::jobs::causes::ask;
use crate::jobs::causes::ask::{Ask, Foundry};
use crate::jobs::charts::ask::{By, ChartAsk, Of};
use crate::jobs::charts::show::Point;
use knowledge::causes::{At, Column, Records, Values};
use records::catalogue::field::Type;
use records::catalogue::{InspectionPurpose, Inspections, Measurements, Moulds, OwnType};
use records::read::columns::{Cells, NOTHING, Sheet};
use records::value::tag::{hint, near, shown};
use records::{Error, Kind, Result, Stamp, Store, catalogue};

/// The points of a chart, and the single values behind each.
pub(crate) struct ChartPoints {
    pub of: String,
    pub by: By,
    pub points: Vec<Point>,
    pub groups: Vec<Vec<f64>>,
    pub notes: Vec<String>,
}

struct TimedValue {
    at: Stamp,
    label: String,
    value: f64,
    mould: Option<u32>,
}

/// More points than this are drawn by the next longer span.
const MANY: usize = 120;

/// Records of a point that are kept by name.
const RECORDS: usize = 12;

const DAY_MS: i64 = 86_400_000;

pub(crate) fn read(store: &Store, foundry: &Foundry, asked: &ChartAsk) -> Result<ChartPoints> {
    match &asked.of {
        Of::Defect => rates(store, foundry, asked),
        Of::Field(name) => readings(field(store, foundry, name)?, name, foundry, asked),
        Of::Characteristic(name) => readings(characteristic(store, foundry, name)?, name, foundry, asked),
    }
}

/// The day of a stamp where it was written, as days since 1970.
fn day(at: Stamp) -> i64 {
    (at.ms() + i64::from(at.offset_min()) * 60_000).div_euclid(DAY_MS)
}

/// What a time belongs to, and its name.
fn span(at: Stamp, by: By) -> (i64, String) {
    let first = match by {
        By::Week => (day(at) + 3).div_euclid(7) * 7 - 3,
        _ => day(at),
    };
    let text = Stamp::new(first * DAY_MS, 0).to_string();
    match by {
        By::Month => {
            let (year, month, _) = at.date();
            (year * 12 + i64::from(month), format!("{year}-{month:02}"))
        }
        By::Week => (first, format!("week of {}", text.get(..10).unwrap_or(&text))),
        _ => (first, text.get(..10).unwrap_or(&text).to_string()),
    }
}

/// The key and name of the group that a mould belongs to.
fn group(foundry: &Foundry, m: usize, by: By) -> (i64, String) {
    match by {
        By::Mould | By::Reading => (m as i64, foundry.moulds[m].clone()),
        By::Heat => {
            let h = foundry.mould_heat[m];
            (i64::from(h), foundry.heats[h as usize].clone())
        }
        by => span(foundry.poured[m], by),
    }
}

/// The moulds of a question, each with its inspected blades and those with the defect.
pub(crate) struct Counted {
    pub ask: Ask,
    /// (mould of the foundry, inspected, with).
    pub moulds: Vec<(usize, usize, usize)>,
    pub records: Records,
    pub notes: Vec<String>,
}

pub(crate) fn counted(store: &Store, foundry: &Foundry, ask: &Ask) -> Result<Counted> {
    let scope = ask::scope(store, ask)?;
    let (records, mut notes) = ask::counts(foundry, &scope);
    let place: HashMap<&str, usize> =
        foundry.moulds.iter().enumerate().map(|(m, tag)| (tag.as_str(), m)).collect();
    let mut counts = vec![(0, 0); records.mould_tags.len()];
    for (&m, &y) in records.blade_mould.iter().zip(&records.defective) {
        counts[m as usize].0 += 1;
        counts[m as usize].1 += usize::from(y > 0);
    }
    let moulds = records
        .mould_tags
        .iter()
        .zip(counts)
        .filter_map(|(tag, (n, y))| place.get(tag.as_str()).map(|&m| (m, n, y)))
        .collect();
    let (inspected, made) = (records.blade_mould.len(), records.made);
    if made > inspected {
        notes.push(format!(
            "{} of {made} blades made are not inspected for it; they are left out, not counted as good.",
            made - inspected
        ));
    }
    Ok(Counted { ask: scope.ask, moulds, records, notes })
}

fn rates(store: &Store, foundry: &Foundry, asked: &ChartAsk) -> Result<ChartPoints> {
    let counted = counted(store, foundry, &asked.ask)?;
    let with: usize = counted.moulds.iter().map(|m| m.2).sum();
    let by = asked.by.unwrap_or_else(|| {
        let distinct = |by: By| {
            let mut keys: Vec<i64> = counted.moulds.iter().map(|m| group(foundry, m.0, by).0).collect();
            keys.sort_unstable();
            keys.dedup();
            keys.len()
        };
        [By::Heat, By::Week].into_iter().find(|by| distinct(*by) <= MANY).unwrap_or(By::Month)
    });
    if by == By::Reading {
        return Err(Error::input("a rate is charted by mould, heat, day, week or month"));
    }
    let mut points: Vec<Point> = Vec::new();
    let mut place: HashMap<i64, usize> = HashMap::new();
    for &(m, n, y) in counted.moulds.iter().filter(|m| m.1 > 0) {
        let (key, label) = group(foundry, m, by);
        let at = *place.entry(key).or_insert_with(|| {
            points.push(Point {
                label,
                at: foundry.poured[m].to_string(),
                value: 0.0,
                n: 0,
                with: Some(0),
                moulds: Some(0),
                records: Vec::new(),
            });
            points.len() - 1
        });
        let point = &mut points[at];
        point.n += n;
        point.with = point.with.map(|w| w + y);
        point.moulds = point.moulds.map(|w| w + 1);
        if point.records.len() < RECORDS {
            point.records.push(foundry.moulds[m].clone());
        }
    }
    points.iter_mut().for_each(|p| p.value = p.with.unwrap_or(0) as f64 / p.n as f64);
    let mut notes = counted.notes;
    if with == 0 {
        notes.push("No inspected blade has it: every point is zero.".into());
    }
    notes.push("Association, not cause: what changed at the same time is a suspect, no more.".into());
    let inspected: usize = counted.moulds.iter().map(|m| m.1).sum();
    let of = format!("{}, {with} of {inspected} inspected blades", counted.ask.words());
    Ok(ChartPoints { of, by, groups: Vec::new(), points, notes })
}

fn readings(
    mut found: Vec<TimedValue>,
    name: &str,
    foundry: &Foundry,
    asked: &ChartAsk,
) -> Result<ChartPoints> {
    let inside = ask::within_dates(&asked.ask)?;
    found.retain(|r| r.value.is_finite() && inside(r.at));
    found.sort_by(|a, b| a.at.ms().cmp(&b.at.ms()).then_with(|| a.label.cmp(&b.label)));
    let by = asked.by.unwrap_or_else(|| usual(&found, foundry));
    let mut notes = Vec::new();
    if found.is_empty() {
        notes.push(format!("No reading of {name} is recorded in this scope."));
    }
    let mut points: Vec<Point> = Vec::new();
    let mut groups: Vec<Vec<f64>> = Vec::new();
    let mut place: HashMap<i64, usize> = HashMap::new();
    for (i, r) in found.iter().enumerate() {
        let (key, label) = match (by, r.mould) {
            (By::Reading, _) => (i as i64, r.label.clone()),
            (By::Mould | By::Heat, Some(m)) => group(foundry, m as usize, by),
            (By::Mould | By::Heat, None) => {
                return Err(Error::input(format!(
                    "{name} is not a reading of one {}; chart it by reading, day, week or month",
                    by.word()
                )));
            }
            (by, _) => span(r.at, by),
        };
        let at = *place.entry(key).or_insert_with(|| {
            groups.push(Vec::new());
            points.push(Point {
                label,
                at: r.at.to_string(),
                value: 0.0,
                n: 0,
                with: None,
                moulds: None,
                records: Vec::new(),
            });
            points.len() - 1
        });
        groups[at].push(r.value);
        let records = &mut points[at].records;
        if records.len() < RECORDS && records.last() != Some(&r.label) {
            records.push(r.label.clone());
        }
    }
    for (point, values) in points.iter_mut().zip(&groups) {
        point.n = values.len();
        point.value = values.iter().sum::<f64>() / values.len() as f64;
    }
    Ok(ChartPoints { of: name.to_string(), by, points, groups, notes })
}

/// Moulds of one heat are poured from one melt, and blades of one mould share all: their readings are no
/// steps from one to the next, and a chart of single readings would take them for such.
fn usual(found: &[TimedValue], foundry: &Foundry) -> By {
    let distinct = |of: &dyn Fn(u32) -> i64| {
        let mut keys: Vec<i64> = found.iter().filter_map(|r| r.mould).map(of).collect();
        keys.sort_unstable();
        keys.dedup();
        keys.len()
    };
    let (moulds, heats) = (distinct(&i64::from), distinct(&|m| i64::from(foundry.mould_heat[m as usize])));
    match found.iter().filter(|r| r.mould.is_some()).count() {
        n if n < found.len() || n == 0 => By::Reading,
        n if 5 * n > 6 * moulds => By::Mould,
        n if 5 * n > 6 * heats => By::Heat,
        _ => By::Reading,
    }
}

/// The tags of a kind by key.
fn tags(store: &Store, kind: &'static Kind) -> Result<HashMap<i64, String>> {
    let Some(tag) = kind.tag_field() else { return Ok(HashMap::new()) };
    let sheet = store.sheet(kind, &[tag.name])?;
    let name = |r: usize| sheet.columns[0].word(r).unwrap_or_default().to_string();
    Ok(sheet.ids.iter().enumerate().map(|(r, &id)| (id, name(r))).collect())
}

fn field(store: &Store, foundry: &Foundry, name: &str) -> Result<Vec<TimedValue>> {
    if let Some((kind, field)) = name.split_once('.') {
        if let Ok(kind) = catalogue::find(kind) {
            let numeric = kind.field(field).is_some_and(records::FieldInfo::is_numeric)
                || store
                    .own_fields()?
                    .iter()
                    .any(|o| o.record == kind.name && o.name == field && o.ty == OwnType::Number.word());
            if let (true, Some(time)) = (numeric, kind.time) {
                return of_kind(store, foundry, kind, field, time);
            }
        }
    }
    if let Some(column) = ask::number_column(foundry, name) {
        return Ok(of_column(foundry, &column));
    }
    let all: Vec<String> = catalogue::all()
        .filter(|k| k.time.is_some())
        .flat_map(|k| {
            k.fields.iter().filter(|f| f.is_numeric()).map(move |f| format!("{}.{}", k.name, f.name))
        })
        .chain(foundry.columns.iter().filter(|c| c.is_number()).map(|c| c.name.clone()))
        .collect();
    let close = near(name, all.iter().map(String::as_str));
    Err(Error::input(format!("there is no reading {}{}; give KIND.FIELD", shown(name), hint(&close))))
}

/// Readings of moulds: the mould, the value.
pub(crate) fn of_moulds(store: &Store, foundry: &Foundry, name: &str) -> Result<Vec<(u32, f64)>> {
    let found = match field(store, foundry, name) {
        Ok(found) => found,
        // A characteristic is measured on blades; it has a mean for each mould too.
        Err(error) => characteristic(store, foundry, name).map_err(|_| error)?,
    };
    let known = found.into_iter().filter(|r| r.value.is_finite());
    Ok(known.filter_map(|r| Some((r.mould?, r.value))).collect())
}

fn of_kind(
    store: &Store,
    foundry: &Foundry,
    kind: &'static Kind,
    field: &str,
    time: &'static str,
) -> Result<Vec<TimedValue>> {
    let date = kind.field(time).is_some_and(|f| f.ty == Type::Date);
    // What the record is of: its own tag, else the first record of its key.
    let key = kind.key_fields().find(|f| matches!(f.ty, Type::Ref([_])));
    let mut wanted = vec![field, time];
    wanted.extend(kind.tag_field().map(|f| f.name).or(key.map(|f| f.name)));
    let sheet: Sheet = store.sheet(kind, &wanted)?;
    let names = match key.map(|f| f.ty) {
        Some(Type::Ref([target])) if !kind.tagged() => {
            tags(store, catalogue::find(target).map_err(Error::untrusted)?)?
        }
        _ => HashMap::new(),
    };
    let of_moulds = matches!(key.map(|f| f.ty), Some(Type::Ref([Moulds::NAME])));
    let place: HashMap<&str, u32> = match of_moulds || kind.is::<Moulds>() {
        true => foundry.moulds.iter().enumerate().map(|(m, t)| (t.as_str(), m as u32)).collect(),
        false => HashMap::new(),
    };
    let mut out = Vec::new();
    for row in 0..sheet.rows {
        let at = match (&sheet.columns[1], date) {
            (Cells::Times(t), _) if t[row] != NOTHING => Stamp::from_packed(t[row]),
            (cells, true) => match cells.word(row).map(Stamp::parse_date) {
                Some(Ok(at)) => at,
                _ => continue,
            },
            _ => continue,
        };
        let label = match sheet.columns.get(2) {
            Some(Cells::Links { ids, .. }) => names.get(&ids[row]).cloned().unwrap_or_default(),
            Some(cells) => cells.word(row).unwrap_or_default().to_string(),
            None => at.to_string(),
        };
        let value = sheet.columns[0].numbers().get(row).copied().unwrap_or(f64::NAN);
        out.push(TimedValue { at, mould: place.get(label.as_str()).copied(), label, value });
    }
    Ok(out)
}

fn of_column(foundry: &Foundry, column: &Column) -> Vec<TimedValue> {
    let Values::Numbers(x) = &column.values else { return Vec::new() };
    let mut seen = vec![false; foundry.heats.len()];
    let mut out = Vec::new();
    for m in 0..foundry.moulds.len() {
        let heat = foundry.mould_heat[m] as usize;
        let (value, label) = match column.at {
            At::Mould => (x[m], &foundry.moulds[m]),
            At::Heat if !std::mem::replace(&mut seen[heat], true) => (x[heat], &foundry.heats[heat]),
            _ => continue,
        };
        out.push(TimedValue { at: foundry.poured[m], label: label.clone(), value, mould: Some(m as u32) });
    }
    out
}

fn characteristic(store: &Store, foundry: &Foundry, name: &str) -> Result<Vec<TimedValue>> {
    let [inspection, characteristic, value] = store.columns([
        Measurements::inspection.any(),
        Measurements::characteristic.any(),
        Measurements::value.any(),
    ])?;
    let Cells::Words { levels, codes } = &characteristic else { return Ok(Vec::new()) };
    let Some(code) = levels.iter().position(|l| l.eq_ignore_ascii_case(name)) else {
        let close = near(name, levels.iter().map(String::as_str));
        let all = if levels.is_empty() {
            String::new()
        } else {
            format!("; measured are {}", shown(&levels.join(", ")))
        };
        return Err(Error::input(format!("there is no characteristic {}{}{all}", shown(name), hint(&close))));
    };
    let (keys, [blades, inspected_at, purpose]) = store.keyed_columns([
        Inspections::blade.any(),
        Inspections::inspected_at.any(),
        Inspections::purpose.any(),
    ])?;
    let row: HashMap<i64, usize> = keys.iter().enumerate().map(|(r, &id)| (id, r)).collect();
    let product = InspectionPurpose::Product.word();
    let blade: HashMap<i64, u32> = foundry.blades.iter().zip(foundry.blade_mould.iter().copied()).collect();
    let mut out = Vec::new();
    for (r, _) in codes.iter().enumerate().filter(|(_, c)| **c == code as u32) {
        let Some(&i) = row.get(&inspection.links()[r]) else { continue };
        let at = inspected_at.times()[i];
        if purpose.word(i).is_some_and(|p| p != product) || at == NOTHING {
            continue;
        }
        let mould = blade.get(&blades.links()[i]).copied();
        out.push(TimedValue {
            at: Stamp::from_packed(at),
            label: mould.map_or_else(String::new, |m| foundry.moulds[m as usize].clone()),
            value: value.numbers()[r],
            mould,
        });
    }
    Ok(out)
}

/// The mean of a reading over what each point stands for: the same mould or heat, else the time until the
/// next point.
pub(crate) fn beside(
    store: &Store,
    foundry: &Foundry,
    name: &str,
    points: &[Point],
) -> Result<Vec<Option<f64>>> {
    let found = field(store, foundry, name)?;
    let mut sums = vec![(0.0, 0_usize); points.len()];
    let by_label: HashMap<&str, usize> =
        points.iter().enumerate().map(|(i, p)| (p.label.as_str(), i)).collect();
    let starts: Vec<i64> = points.iter().map(|p| Stamp::parse(&p.at).map_or(i64::MAX, Stamp::ms)).collect();
    for r in found.iter().filter(|r| r.value.is_finite()) {
        let of_mould = r.mould.and_then(|m| {
            let heat = &foundry.heats[foundry.mould_heat[m as usize] as usize];
            by_label.get(foundry.moulds[m as usize].as_str()).or_else(|| by_label.get(heat.as_str())).copied()
        });
        let place = of_mould.or_else(|| starts.partition_point(|s| *s <= r.at.ms()).checked_sub(1));
        if let Some(sum) = place.and_then(|p| sums.get_mut(p)) {
            sum.0 += r.value;
            sum.1 += 1;
        }
    }
    Ok(sums.into_iter().map(|(sum, n)| (n > 0).then(|| sum / n as f64)).collect())
}
