//! Trace and containment look rows up; they never read a whole table. The plan of each of their
//! queries is asked from SQLite on the schema as it is made.
#![allow(clippy::unwrap_used, reason = "a test stops where it cannot go on")]

use records::Store;
use records::graph::{concessions, lineage, places, suspect};

/// The plan's steps for every query that scans a table.
fn scans(store: &Store, queries: &[String]) -> Vec<String> {
    let mut out = Vec::new();
    for sql in queries {
        for step in store.plan(sql).unwrap() {
            // A constant row, and a partial index that holds only what is wanted, are read whole by
            // their nature; a table is not.
            let partial = ["holds_open", "calibrations_failed", "journal_dispositions"]
                .iter()
                .any(|i| step.contains(i));
            if step.starts_with("SCAN") && step != "SCAN CONSTANT ROW" && !partial {
                out.push(format!("{step}: {sql}"));
            }
        }
    }
    out
}

fn all_queries() -> [(&'static str, Vec<String>); 4] {
    [
        ("steps", lineage::queries()),
        ("places", places::queries()),
        ("readings", suspect::queries()),
        ("concessions", concessions::queries()),
    ]
}

#[test]
fn trace_and_containment_scan_no_table() {
    let store = Store::memory().unwrap();
    for (what, queries) in all_queries() {
        assert!(queries.len() > 4, "{what}: {} queries", queries.len());
        let found = scans(&store, &queries);
        assert!(found.is_empty(), "{what}:\n{}", found.join("\n"));
    }
}

/// SQLite makes a new plan for every value where the value could bear on it; none of these may pay
/// for that.
#[test]
fn no_query_is_prepared_again_for_another_value() {
    let store = Store::memory().unwrap();
    let again: Vec<String> = all_queries()
        .into_iter()
        .flat_map(|(_, queries)| queries)
        .filter(|sql| store.prepared_again(sql).unwrap() > 0)
        .collect();
    assert!(again.is_empty(), "{}", again.join("\n"));
}

#[test]
fn a_scan_would_be_seen() {
    let store = Store::memory().unwrap();
    let without_index = ["SELECT id FROM heats WHERE crucible = ?1".to_string()];
    assert_eq!(scans(&store, &without_index).len(), 1);
}
