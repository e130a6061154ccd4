//! The catalogue against the schema and the field reference.

use std::collections::BTreeMap;
use std::process::Command;

use records::catalogue::reference;
use records::file::views;
use records::{Type, catalogue};

/// Columns of a table in the file that the migrations make: name → (type, not null, key).
fn columns(store: &std::path::Path, table: &str) -> BTreeMap<String, (String, bool, bool)> {
    let out = Command::new("sqlite3")
        .arg(store)
        .arg(format!("SELECT name, type, \"notnull\", pk FROM pragma_table_info('{table}')"))
        .output()
        .unwrap();
    String::from_utf8(out.stdout)
        .unwrap()
        .lines()
        .map(|line| {
            let cells: Vec<&str> = line.split('|').collect();
            (cells[0].to_string(), (cells[1].to_string(), cells[2] == "1", cells[3] != "0"))
        })
        .collect()
}

#[test]
fn every_kind_has_its_table_and_nothing_else_stands_in_it() {
    let foundry = crate::support::Foundry::new();
    foundry.run("new --bare").done();
    for kind in catalogue::all() {
        let mut there = columns(&foundry.store(), kind.name);
        assert!(!there.is_empty(), "{} has no table", kind.name);
        for field in kind.all_fields() {
            for name in field.columns() {
                let (ty, not_null, key) =
                    there.remove(&name).unwrap_or_else(|| panic!("{}.{name} has no column", kind.name));
                let wanted = match field.ty {
                    Type::Number => "REAL",
                    Type::Count | Type::Time | Type::Ref(_) => "INTEGER",
                    Type::AnyTag if name.ends_with("_id") => "INTEGER",
                    _ => "TEXT",
                };
                assert_eq!(ty, wanted, "{}.{name}", kind.name);
                let one_of_many = matches!(field.ty, Type::Ref(kinds) if kinds.len() > 1);
                // A required number may be `<x`, which stands beside it.
                let filled = (!field.optional || field.key) && !one_of_many && field.ty != Type::Number;
                assert_eq!(not_null, filled, "{}.{name}", kind.name);
                if !kind.tagged() && !["charges", "finish_steps"].contains(&kind.name) {
                    assert_eq!(key, field.key, "{}.{name} in the key", kind.name);
                }
            }
        }
        let left: Vec<_> =
            there.keys().filter(|n| !["id", "extra", "entry", "digest"].contains(&n.as_str())).collect();
        assert!(left.is_empty(), "{}: columns without a field: {left:?}", kind.name);
    }
}

#[test]
fn references_are_foreign_keys_to_the_kinds_they_name() {
    let foundry = crate::support::Foundry::new();
    foundry.run("new --bare").done();
    for kind in catalogue::all() {
        let out = Command::new("sqlite3")
            .arg(foundry.store())
            .arg(format!("SELECT \"from\" || '>' || \"table\" FROM pragma_foreign_key_list('{}')", kind.name))
            .output()
            .unwrap();
        let mut there: Vec<String> =
            String::from_utf8(out.stdout).unwrap().lines().map(String::from).collect();
        there.sort();
        let mut wanted = Vec::new();
        for field in kind.fields {
            if let Type::Ref(kinds) = field.ty {
                wanted.extend(field.columns().iter().zip(kinds).map(|(c, k)| format!("{c}>{k}")));
            }
        }
        wanted.sort();
        assert_eq!(there, wanted, "{}", kind.name);
    }
}

#[test]
fn the_field_reference_is_current() {
    let path = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("src/guide/fields.md");
    let made = reference::field_reference();
    if std::env::var_os("MELTKIN_UPDATE").is_some() {
        std::fs::write(&path, &made).unwrap();
    }
    let there = std::fs::read_to_string(&path).unwrap_or_default();
    assert!(there == made, "src/guide/fields.md is stale: MELTKIN_UPDATE=1 cargo test the_field_reference");
}

#[test]
fn the_list_of_views_is_current() {
    let path = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("src/guide/views.md");
    let page = std::fs::read_to_string(&path).unwrap();
    let (told, there) = page.split_once("\n### ").unwrap();
    let made = views::reference();
    if std::env::var_os("MELTKIN_UPDATE").is_some() {
        std::fs::write(&path, format!("{told}{made}")).unwrap();
        return;
    }
    assert!(
        made.strip_prefix("\n### ") == Some(there),
        "src/guide/views.md is stale: MELTKIN_UPDATE=1 cargo test the_list_of_views"
    );
}
