//! The views of the store, read as another program reads them, against the bundle that the program exports.
#![allow(clippy::disallowed_types, reason = "the store is read as another program reads it")]

use std::collections::BTreeMap;
use std::path::Path;

use records::catalogue;
use records::catalogue::field::Type;
use records::catalogue::kind::Kind;
use records::file::views;
use rusqlite::types::Value;
use rusqlite::{Connection, OpenFlags};

use crate::every_kind;
use crate::released::old;
use crate::support::Foundry;

fn outside(store: &Path) -> Connection {
    Connection::open_with_flags(store, OpenFlags::SQLITE_OPEN_READ_ONLY).unwrap()
}

type Row = BTreeMap<String, Value>;

fn rows(db: &Connection, kind: &Kind) -> Vec<Row> {
    let mut q = db.prepare(&format!("SELECT * FROM {}", views::name(kind))).unwrap();
    let names: Vec<String> = q.column_names().map(String::from).collect();
    q.query_map([], |r| names.iter().enumerate().map(|(i, n)| Ok((n.clone(), r.get(i)?))).collect())
        .unwrap()
        .collect::<Result<_, _>>()
        .unwrap()
}

/// What a view must say of a row of the bundle.
fn wanted(kind: &Kind, cells: &BTreeMap<String, String>) -> Row {
    let mut out = Row::new();
    let mut extra = serde_json::Map::new();
    let text = |t: &str| if t.is_empty() { Value::Null } else { Value::Text(t.into()) };
    let mut apart: BTreeMap<&str, &str> = BTreeMap::new();
    for field in kind.all_fields() {
        let cell = cells.get(field.name).map_or("", String::as_str);
        let mut beside = || {
            if !cell.is_empty() {
                extra.insert(field.name.into(), cell.into());
            }
            Value::Null
        };
        let marked = matches!(cell, "n/a" | "illegible");
        let value = match field.ty {
            Type::Text | Type::Moment | Type::Tag => text(cell),
            _ if marked => beside(),
            Type::Number => cell.parse().map_or_else(|_| beside(), Value::Real),
            Type::Count => cell.parse().map_or_else(|_| beside(), Value::Integer),
            Type::RevisionOf(of) => {
                apart.insert(of, field.name);
                continue;
            }
            _ => text(cell),
        };
        out.insert(field.name.into(), value);
    }
    for field in kind.fields {
        let cell = cells.get(field.name).map_or("", String::as_str);
        let to = match field.ty {
            Type::Ref([one]) if catalogue::kind(one).unwrap().revisioned => {
                let (tag, revision) = match apart.get(field.name) {
                    Some(name) => (cell, cells.get(*name).map_or("", String::as_str)),
                    None => cell.rsplit_once('@').unwrap_or((cell, "")),
                };
                out.insert(field.name.into(), text(tag));
                let name = apart
                    .get(field.name)
                    .map_or_else(|| format!("{}_revision", field.name), |n| n.to_string());
                let revision = if tag.is_empty() { Value::Null } else { Value::Text(revision.into()) };
                out.insert(name, revision);
                continue;
            }
            Type::Ref(kinds) if kinds.len() > 1 => kinds.to_vec(),
            Type::AnyTag => catalogue::all().filter(|k| k.tagged()).map(|k| k.name).collect(),
            _ => continue,
        };
        // Which of them has a record of this tag is looked up in the bundle by who asks.
        out.insert(format!("{}_kind", field.name), Value::Text(to.join(" ")));
    }
    for (name, cell) in cells.iter().filter(|(n, c)| kind.field(n).is_none() && !c.is_empty()) {
        extra.insert(name.clone(), cell.as_str().into());
    }
    let extra = (!extra.is_empty()).then(|| serde_json::Value::Object(extra).to_string());
    out.insert("extra".into(), extra.map_or(Value::Null, Value::Text));
    out
}

/// Holds every view of a store against its export; how many rows that were.
fn as_exported(foundry: &Foundry) -> usize {
    foundry.run("export out").done();
    let db = outside(&foundry.store());
    let mut bundle: BTreeMap<&str, Vec<BTreeMap<String, String>>> = BTreeMap::new();
    for kind in catalogue::all() {
        let file = foundry.path("out").join(format!("{}.csv", kind.name));
        let mut read = csv::Reader::from_path(file).unwrap();
        bundle.insert(kind.name, read.deserialize().collect::<Result<_, _>>().unwrap());
    }
    let mut n = 0;
    for kind in catalogue::all() {
        let (mut found, mut expected) = (rows(&db, kind), Vec::new());
        for cells in &bundle[kind.name] {
            let mut row = wanted(kind, cells);
            for (name, value) in &mut row {
                let (Value::Text(kinds), Some(field)) = (value.clone(), name.strip_suffix("_kind")) else {
                    continue;
                };
                if kind.field(name).is_some() {
                    continue;
                }
                let tag = cells.get(field).map_or("", String::as_str);
                let is = |k: &&str| {
                    let kind = catalogue::kind(k).unwrap();
                    let own = kind.tag_field().unwrap().name;
                    bundle[k].iter().any(|r| match kind.revisioned {
                        true => format!("{}@{}", r[own], r["revision"]) == tag,
                        false => r[own] == tag,
                    })
                };
                let there: Vec<&str> = kinds.split(' ').filter(is).collect();
                assert!(there.len() <= 1, "{}: {tag} is {there:?}", kind.name);
                *value = there.first().map_or(Value::Null, |k| Value::Text((*k).into()));
            }
            expected.push(row);
        }
        n += expected.len();
        // Of a JSON object the order does not count.
        for row in &mut found {
            if let Some(Value::Text(extra)) = row.get_mut("extra") {
                *extra = serde_json::from_str::<serde_json::Value>(extra).unwrap().to_string();
            }
        }
        let by = |r: &Row| format!("{r:?}");
        found.sort_by_key(by);
        expected.sort_by_key(by);
        for (found, expected) in found.iter().zip(&expected) {
            assert_eq!(found, expected, "{}", kind.name);
        }
        assert_eq!(found.len(), expected.len(), "{}", kind.name);
    }
    n
}

#[test]
fn a_view_says_what_an_export_says() {
    assert!(as_exported(&every_kind::imported("noted")) >= catalogue::all().count());
    let demo = Foundry::new();
    demo.run("demo --no-screen").done();
    assert!(as_exported(&demo) > 5_000);
}

#[test]
fn times_of_every_offset_stand_in_a_view_as_they_were_written() {
    let foundry = Foundry::small();
    let times = [
        "2031-02-28T23:59:59+14:00",
        "2028-02-29T00:00:00-00:30",
        "1969-12-31T23:59:59.999+00:00",
        "2031-03-01T00:00:00.001-11:45",
        "2031-03-01T12:00:00.5+05:30",
    ];
    for (i, time) in times.iter().enumerate() {
        foundry
            .run_with(&["log", "core_lots", &format!("core_lot=C-{i}"), &format!("fired_at={time}")])
            .done();
    }
    let said: Vec<String> = outside(&foundry.store())
        .prepare("SELECT fired_at FROM v_core_lots WHERE core_lot LIKE 'C-_' ORDER BY core_lot")
        .unwrap()
        .query_map([], |r| r.get(0))
        .unwrap()
        .collect::<Result<_, _>>()
        .unwrap();
    let full: Vec<String> = times.iter().map(|t| t.replace(".5+", ".500+")).collect();
    assert_eq!(said, full);
}

#[test]
fn what_is_done_to_a_view_is_named() {
    let foundry = Foundry::small();
    let whole = std::fs::read(foundry.store()).unwrap();
    let pours: String = Connection::open(foundry.store())
        .unwrap()
        .query_row("SELECT sql FROM sqlite_schema WHERE name = 'v_pours'", [], |r| r.get(0))
        .unwrap();
    for (sql, said) in [
        ("DROP VIEW v_blades".to_string(), "the view v_blades is missing"),
        (format!("DROP VIEW v_pours; {pours} WHERE 0"), "the view v_pours was altered"),
        (
            "CREATE VIEW v_held AS SELECT * FROM holds".into(),
            "the file has a view v_held that meltkin did not make",
        ),
        ("CREATE TRIGGER t INSTEAD OF INSERT ON v_pours BEGIN DELETE FROM journal; END".into(), "trigger t"),
    ] {
        std::fs::write(foundry.store(), &whole).unwrap();
        Connection::open(foundry.store()).unwrap().execute_batch(&sql).unwrap();
        let got = foundry.run("verify --json");
        assert_eq!(got.code, 1, "{sql}: {}", got.err);
        let faults = got.json()["faults"].to_string();
        assert!(faults.contains(said), "{sql}: {faults}");
    }
}

#[test]
fn a_store_of_an_earlier_program_gets_its_views_and_one_that_may_only_be_read_is_read() {
    let views = |store: &Path| -> i64 {
        outside(store)
            .query_row("SELECT count(*) FROM sqlite_schema WHERE type = 'view'", [], |r| r.get(0))
            .unwrap()
    };
    let still = old(6);
    let mut rights = std::fs::metadata(still.store()).unwrap().permissions();
    rights.set_readonly(true);
    std::fs::set_permissions(still.store(), rights).unwrap();
    // Root may write what is read-only: only then the file was brought up.
    still.run("verify").done();

    let foundry = old(6);
    assert_eq!(views(&foundry.store()), 0);
    foundry.run("verify").done();
    assert_eq!(views(&foundry.store()), catalogue::all().count() as i64);
    // What somebody had put there under such a name makes way.
    let foundry = old(5);
    Connection::open(foundry.store())
        .unwrap()
        .execute_batch("CREATE VIEW v_pours AS SELECT 1 AS mine")
        .unwrap();
    foundry.run("verify").done();
    let n: i64 =
        outside(&foundry.store()).query_row("SELECT count(mould) FROM v_pours", [], |r| r.get(0)).unwrap();
    assert!(n > 0);
}
