//! Trace and containment walk indexes: no query of theirs scans a table.

use std::process::Command;

use meltkin::store::{lineage, upward};

#[test]
fn nothing_is_scanned() {
    let foundry = crate::support::Foundry::new();
    foundry.run("new --bare").done();
    let mut all = lineage::queries();
    all.extend(upward::queries());
    assert!(all.len() > 40, "{}", all.len());
    for sql in all {
        let out = Command::new("sqlite3")
            .arg(foundry.store())
            .arg(format!("EXPLAIN QUERY PLAN {sql}"))
            .output()
            .unwrap();
        let plan = String::from_utf8(out.stdout).unwrap();
        assert!(
            out.status.success() && plan.contains("SEARCH"),
            "{sql}\n{plan}{}",
            String::from_utf8_lossy(&out.stderr)
        );
        assert!(!plan.contains("SCAN"), "{sql}\n{plan}");
    }
}
