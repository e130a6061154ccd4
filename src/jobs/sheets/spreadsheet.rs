//! Records as a spreadsheet.

use std::collections::BTreeMap;

use crate::jobs::file::output;
use crate::jobs::file::output::Output;
use crate::show::xlsx::{Cell, Table, xlsx};
use records::catalogue::kind::Kind;
use records::check::OwnField;
use records::{Error, Result, Store};
use records::{Record, Stamp, Type, Value, catalogue};

/// Writes the current records of these kinds, or of all that have any, a sheet for each. Gives the
/// number of records by kind.
///
/// A time stands twice: as a local date and time to reckon with, and as its full text with the
/// offset.
///
/// # Errors
/// An unknown kind, a kind with more records than a sheet holds, a file that is there already or
/// cannot be written.
pub fn export(
    store: &Store,
    now: Stamp,
    output: Output,
    kinds: &[String],
) -> Result<BTreeMap<&'static str, usize>> {
    output.admit()?;
    let asked: Vec<&'static Kind> =
        kinds.iter().map(|k| catalogue::find(k).map_err(Error::input)).collect::<Result<_>>()?;
    let (tables, counts) = store.snapshot(|| tables(store, &asked))?;
    let bytes = xlsx(&tables, now, store.own_organisation()?.paper()).map_err(Error::input)?;
    output::write(output, &bytes)?;
    Ok(counts)
}

fn tables(store: &Store, asked: &[&'static Kind]) -> Result<(Vec<Table>, BTreeMap<&'static str, usize>)> {
    let (own, names) = (store.own_fields()?, store.names()?);
    let all: Vec<&'static Kind> = if asked.is_empty() { catalogue::all().collect() } else { asked.to_vec() };
    let (mut out, mut counts) = (Vec::new(), BTreeMap::new());
    for kind in all {
        let n = usize::try_from(store.count(kind)?).unwrap_or(0);
        if (n == 0 && asked.is_empty()) || counts.contains_key(kind.name) {
            continue;
        }
        if n >= 1_048_576 {
            return Err(Error::input(format!(
                "{} has {n} records; a sheet holds 1,048,575: export a bundle instead",
                kind.name
            )));
        }
        let mut records = Vec::with_capacity(n);
        store.export(&names, kind, |record| {
            records.push(record.owned());
            Ok(())
        })?;
        out.push(table(kind, &records, &own));
        counts.insert(kind.name, n);
    }
    if out.is_empty() {
        return Err(Error::input("there are no records to write"));
    }
    Ok((out, counts))
}

/// Records of one kind as a table: every field, own fields too.
pub fn table(kind: &'static Kind, records: &[Record], own: &[OwnField]) -> Table {
    let own: Vec<&OwnField> = own.iter().filter(|o| o.record == kind.name).collect();
    let mut columns: Vec<(&str, Type)> = kind.all_fields().map(|f| (f.name, f.ty)).collect();
    columns.extend(
        own.iter().map(|o| (o.name.as_str(), if o.holds() == Type::Time { Type::Time } else { Type::Text })),
    );
    let mut header = Vec::new();
    for (name, ty) in &columns {
        header.push((*name).to_string());
        if *ty == Type::Time {
            header.push(format!("{name} (text)"));
        }
    }
    let row = |record: &Record| {
        let mut cells = Vec::new();
        for (name, ty) in &columns {
            // A definition that is referred to stands with its revision, as in a bundle.
            match record.kind.index(name).and_then(|i| record.full(i)) {
                Some(full) => cells.push(full.as_str().into()),
                None => cells.push(cell(record.get(name), *ty)),
            }
            if *ty == Type::Time {
                cells.push(record.get(name).to_text().as_str().into());
            }
        }
        cells
    };
    Table { name: kind.name.into(), header, rows: records.iter().map(row).collect() }
}

fn cell(value: &Value, ty: Type) -> Cell {
    match value {
        Value::Blank => Cell::Blank,
        Value::Number(v) => Cell::Number(*v),
        Value::Count(v) => Cell::Number(*v as f64),
        Value::Time(t, _) => Cell::Time(*t),
        Value::Text(t) if matches!(ty, Type::Date | Type::Moment) => {
            date(t).unwrap_or_else(|| t.as_ref().into())
        }
        other => other.to_text().as_str().into(),
    }
}

fn date(text: &str) -> Option<Cell> {
    let (y, m, d) = Stamp::parse_date(text).ok()?.date();
    (1901..=9999).contains(&y).then_some(Cell::Date(y as u16, m as u8, d as u8))
}
