//! What fuzzing has found, each once.

use std::process::Command;

use crate::support::Foundry;

fn sql(foundry: &Foundry, text: &str) -> String {
    let out = Command::new("sqlite3").arg(foundry.store()).arg(text).output().unwrap();
    assert!(out.status.success(), "{}", String::from_utf8_lossy(&out.stderr));
    String::from_utf8(out.stdout).unwrap().trim().to_string()
}

#[test]
fn swapped_tags_of_records_that_are_nowhere_are_refused() {
    let foundry = Foundry::new();
    let head = "old_tag,new_tag,changed_at\n";
    let rows = "M-1,M-2,2031-03-30T00:00:00Z\nM-2,M-1,2031-03-30T00:00:00Z\n";
    foundry.write_bundle("bad", &[("retags.csv", &format!("{head}{rows}"))]);
    foundry.run("import bad").fails(2, "M-1");
    foundry.run("show M-1").fails(3, "no store");
}

/// The leap second at the end of the year 9999 was read, and shown as of the year 0.
#[test]
fn a_time_in_a_year_of_five_digits_is_refused() {
    let foundry = Foundry::new().at("9999-12-31T12:00:00+00:00");
    foundry.run("new --bare").done();
    foundry
        .run("log filter_lots filter_lot=A received_at=9999-12-31T23:59:60+14:00")
        .fails(2, "no such time");
    foundry.run("log filter_lots filter_lot=A received_at=9999-12-31T23:59:59+14:00").done();
    assert_eq!(foundry.json("show A")["record"]["received_at"], "9999-12-31T23:59:59+14:00");
    // A leap second elsewhere is the first of the next minute.
    foundry.run("log filter_lots filter_lot=B received_at=2030-12-31T23:59:60+00:00").done();
    assert_eq!(foundry.json("show B")["record"]["received_at"], "2031-01-01T00:00:00+00:00");
}

/// SQLite's check does not count the entries of a partial index: one too many made a good check of an
/// instrument a failed one, and verified.
#[test]
fn an_entry_too_many_in_a_partial_index_is_found() {
    let foundry = Foundry::new();
    let rows = "PYR-02,2031-03-05T00:00:00Z,cross_check,good\nPYR-02,2031-03-09T00:00:00Z,cross_check,good\n";
    let files = [
        ("instruments.csv", "instrument,kind\nPYR-02,pyrometer\n".to_string()),
        ("calibrations.csv", format!("instrument,checked_at,check,result\n{rows}")),
    ];
    foundry.write_bundle("bundle", &files.each_ref().map(|(n, t)| (*n, t.as_str())));
    foundry.run("import bundle").done();
    foundry.run("verify").done();
    sql(&foundry, "PRAGMA wal_checkpoint(TRUNCATE)");
    // A page of another index with as many columns in the place of this one: here that of the same rows
    // without the condition.
    sql(
        &foundry,
        "CREATE INDEX whole ON calibrations (instrument, checked_at);
         PRAGMA wal_checkpoint(TRUNCATE); PRAGMA journal_mode = DELETE;",
    );
    let page = |name: &str| -> usize {
        sql(&foundry, &format!("SELECT rootpage FROM sqlite_schema WHERE name = '{name}'")).parse().unwrap()
    };
    let (from, to) = (page("whole"), page("calibrations_failed"));
    let bytes = std::fs::read(foundry.store()).unwrap();
    let copy = bytes[(from - 1) * 4096..from * 4096].to_vec();
    sql(&foundry, "DROP INDEX whole; PRAGMA journal_mode = WAL;");
    sql(&foundry, "PRAGMA wal_checkpoint(TRUNCATE)");
    let mut bytes = std::fs::read(foundry.store()).unwrap();
    bytes[(to - 1) * 4096..to * 4096].copy_from_slice(&copy);
    std::fs::write(foundry.store(), bytes).unwrap();
    let verdict = foundry.run("verify").fails(1, "");
    let said = format!("{}{}", verdict.out, verdict.err);
    assert!(said.contains("the index calibrations_failed has 2 entries for 0 rows"), "{said}");
}
