//! One record of every kind with every field filled, made from the catalogue.

use records::catalogue;
use records::catalogue::field::{FieldInfo, Type};
use records::catalogue::kind::Kind;

use crate::support::Foundry;

fn tag(kind: &str) -> String {
    format!("T-{kind}")
}

fn value(kind: &Kind, field: &FieldInfo) -> String {
    let given = match (kind.name, field.name) {
        ("own_fields", "record") => "moulds",
        ("own_fields", "field") => "tilt_deg",
        ("process_limits", "record") => "pours",
        ("process_limits", "field") => "indicated_c",
        ("process_limits", "scope") => "T-parts",
        ("people", "role") => "quality",
        ("retags", "old_tag") => "T-blades",
        ("retags", "new_tag") => "N-1",
        ("wax_lots", "split_from") | ("inspections", "closes") => return String::new(),
        ("analyses", "set_aside_by") => "T-people",
        ("concession_items", "name") => "T-defect_terms",
        ("concession_items", "measure") => "size_mm",
        ("concession_items", "zone") => "words",
        ("concession_items", "unit") => "mm",
        ("alloys" | "parts" | "shell_recipes" | "running_systems", "revision") => "R1",
        _ => "",
    };
    if !given.is_empty() {
        return given.into();
    }
    match field.ty {
        Type::Tag => tag(kind.name),
        Type::Ref(kinds) => tag(kinds[0]),
        Type::AnyTag => tag("moulds"),
        Type::RevisionOf(_) => "R1".into(),
        Type::Number => field.guard.map_or(1.5, |(low, high)| (low + high) / 2.0).to_string(),
        Type::Count => "2".into(),
        Type::Time => "2031-03-04T09:05:00+00:00".into(),
        Type::Date | Type::Moment => "2031-03-04".into(),
        Type::Choice(words) => words[0].into(),
        Type::Text => "words".into(),
    }
}

/// The fields of the one record, as names and values.
pub fn record(kind: &Kind) -> Vec<(String, String)> {
    let mut out: Vec<(String, String)> = kind
        .fields
        .iter()
        .map(|f| (f.name.to_string(), value(kind, f)))
        .filter(|(_, v)| !v.is_empty())
        .collect();
    out.push(("note".into(), "noted".into()));
    if kind.name == "moulds" {
        // Stands in no column of its own.
        out.push(("tilt_deg".into(), "<0.5".into()));
    }
    out
}

/// A foundry with one record of every kind, from one bundle. `note` stands in every record.
pub fn imported(note: &str) -> Foundry {
    let foundry = Foundry::new();
    let files: Vec<(String, String)> = catalogue::all()
        .map(|kind| {
            let mut fields = record(kind);
            fields.push(("recorded_at".into(), "2031-03-05T00:00:00+00:00".into()));
            fields.push(("recorded_by".into(), "T-people".into()));
            let names: Vec<&str> = fields.iter().map(|(n, _)| n.as_str()).collect();
            let values: Vec<&str> =
                fields.iter().map(|(n, v)| if n == "note" { note } else { v.as_str() }).collect();
            (format!("{}.csv", kind.name), format!("{}\n{}\n", names.join(","), values.join(",")))
        })
        .collect();
    let files: Vec<(&str, &str)> = files.iter().map(|(n, t)| (n.as_str(), t.as_str())).collect();
    foundry.write_bundle("every", &files);
    foundry.run("import every").done();
    foundry
}

/// The same records, logged one by one.
pub fn logged() -> Foundry {
    let foundry = Foundry::new();
    foundry.run("new --bare").done();
    for kind in catalogue::all() {
        let mut arguments: Vec<String> = ["log", kind.name].map(String::from).into();
        // A review is no older than the rows that it covers.
        let at = |n: String, v: String| {
            if n == "reviewed_at" { "reviewed_at=now".into() } else { format!("{n}={v}") }
        };
        arguments.extend(record(kind).into_iter().map(|(n, v)| at(n, v)));
        arguments.extend(["--reason", "read twice", "--as", "T-people"].map(String::from));
        let arguments: Vec<&str> = arguments.iter().map(String::as_str).collect();
        foundry.run_with(&arguments).done();
    }
    foundry
}
