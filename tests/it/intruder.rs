//! Whoever changes the file with SQL is found: every column of every table, imported or logged.

use std::io::Write;
use std::path::Path;
use std::process::{Command, Stdio};

use records::catalogue;
use records::catalogue::field::{FieldInfo, Type};
use records::catalogue::kind::{COMMON, Kind};

use crate::every_kind;
use crate::support::{Foundry, program};

fn sql(store: &Path, text: &str) -> String {
    let out = Command::new("sqlite3").arg(store).arg(text).output().unwrap();
    assert!(out.status.success(), "{text}: {}", String::from_utf8_lossy(&out.stderr));
    String::from_utf8(out.stdout).unwrap()
}

/// A store at rest, to be touched many times.
struct AtRest {
    foundry: Foundry,
    bytes: Vec<u8>,
    name: &'static str,
}

/// A fault as `verify` names it.
#[derive(Debug)]
struct Found {
    table: String,
    tag: Option<String>,
    #[allow(dead_code, reason = "shown when an assertion fails")]
    message: String,
}

impl AtRest {
    fn new(foundry: Foundry, name: &'static str) -> Self {
        foundry.run("verify").done();
        sql(&foundry.store(), "PRAGMA wal_checkpoint(TRUNCATE)");
        let bytes = std::fs::read(foundry.store()).unwrap();
        Self { foundry, bytes, name }
    }

    /// Runs SQL on a copy and asks `verify`.
    fn touched(&self, text: &str, anchor: Option<&str>) -> Vec<Found> {
        let copy = self.foundry.path("touched.db");
        for end in ["-wal", "-shm"] {
            let _ = std::fs::remove_file(self.foundry.path(&format!("touched.db{end}")));
        }
        std::fs::write(&copy, &self.bytes).unwrap();
        sql(&copy, &format!("PRAGMA ignore_check_constraints = ON; {text}"));
        let mut arguments = vec!["verify", "--json"];
        arguments.extend(anchor.iter().flat_map(|a| ["--anchor", a]));
        let out = program(&self.foundry.path("."), &copy, &arguments).output().unwrap();
        let json: serde_json::Value = serde_json::from_slice(&out.stdout)
            .unwrap_or_else(|e| panic!("{text}: {e}: {}", String::from_utf8_lossy(&out.stderr)));
        let faults = json["faults"].as_array().unwrap();
        assert_eq!(json["ok"], faults.is_empty());
        assert_eq!(out.status.code(), Some(i32::from(!faults.is_empty())));
        let text = |v: &serde_json::Value| v.as_str().map(String::from);
        faults
            .iter()
            .map(|f| Found {
                table: text(&f["table"]).unwrap(),
                tag: text(&f["tag"]),
                message: text(&f["message"]).unwrap(),
            })
            .collect()
    }

    #[track_caller]
    fn names(&self, table: &str, text: &str) {
        let found = self.touched(text, None);
        let named = found.iter().any(|f| f.table == table && f.tag.is_some());
        assert!(named, "{} {table}: {text}: {found:#?}", self.name);
    }
}

fn both() -> [AtRest; 2] {
    [AtRest::new(every_kind::imported("noted"), "imported"), AtRest::new(every_kind::logged(), "logged")]
}

/// Another value of a column.
fn other(store: &Path, table: &str, column: &str) -> String {
    let ty = sql(store, &format!("SELECT type FROM pragma_table_info('{table}') WHERE name = '{column}'"));
    match ty.trim() {
        "INTEGER" => format!("ifnull(\"{column}\", 0) + 1"),
        "REAL" => format!("ifnull(\"{column}\", 0) + 0.5"),
        "TEXT" => format!("ifnull(\"{column}\", '') || 'x'"),
        other => panic!("{table}.{column} is {other:?}"),
    }
}

/// A column beside the text that stood in it: the column says one thing, `extra` another.
fn masks(file: &Path, kind: &Kind, field: &FieldInfo, column: &str) -> Vec<String> {
    let recorded = every_kind::record(kind);
    let common =
        [("recorded_at", "2031-03-05T00:00:00+00:00"), ("recorded_by", "T-people"), ("note", "noted")];
    let given = recorded.iter().find(|(name, _)| name == field.name).map(|(_, v)| v.as_str());
    let text = given.or_else(|| common.iter().find(|c| c.0 == field.name).map(|c| c.1)).unwrap_or("words");
    let extra = |text: &str| format!("extra = json_set(ifnull(extra, '{{}}'), '$.{}', '{text}')", field.name);
    let set = other(file, kind.name, column);
    let update = |what: &str, with: &str| format!("UPDATE {} SET \"{column}\" = {what}, {with};", kind.name);
    let mut out = vec![update(&set, &extra(text)), update(&format!("\"{column}\""), &extra("<7"))];
    let filled = sql(
        file,
        &format!("SELECT \"notnull\" FROM pragma_table_info('{}') WHERE name = '{column}'", kind.name),
    );
    let holds = sql(file, &format!("SELECT \"{column}\" IS NOT NULL FROM {}", kind.name));
    if filled.trim() == "0" && holds.trim() == "1" {
        out.push(update("NULL", &extra(text)));
    }
    out
}

#[test]
fn a_text_beside_its_column_never_speaks_for_it() {
    for store in both() {
        let file = store.foundry.store();
        let mut rounds: Vec<Vec<(&str, String)>> = Vec::new();
        for kind in catalogue::all() {
            let mut at = 0;
            for field in kind.fields.iter().chain(&COMMON) {
                let hangs = field.key || matches!(field.ty, Type::Tag | Type::Ref(_) | Type::AnyTag);
                for column in field.columns() {
                    for edit in masks(&file, kind, field, &column) {
                        if hangs {
                            store.names(kind.name, &edit);
                            continue;
                        }
                        if rounds.len() <= at {
                            rounds.push(Vec::new());
                        }
                        rounds[at].push((kind.name, edit));
                        at += 1;
                    }
                }
            }
        }
        for round in rounds {
            let all: String = round.iter().map(|(_, edit)| edit.as_str()).collect();
            let found = store.touched(&all, None);
            for (table, edit) in round {
                let named = found.iter().any(|f| f.table == table && f.tag.is_some());
                assert!(named, "{} {table}: {edit}: {found:#?}", store.name);
            }
        }
    }
}

/// A record whose row was changed is not shown, and not called taken back: also where it has a history, and where the
/// check of the day was done before.
#[test]
fn a_changed_row_is_not_called_taken_back() {
    let f = every_kind::logged();
    for address in ["pours:T-moulds", "T-moulds"] {
        f.run_with(&["correct", address, "note=again", "--reason", "a slip", "--as", "T-people"]).done();
    }
    f.run("shift").done();
    sql(&f.store(), "UPDATE pours SET mass_kg = mass_kg + 1; UPDATE moulds SET seal = 'x'");
    for address in ["pours:T-moulds", "T-moulds"] {
        f.run(&format!("show {address}")).fails(3, "not as it was written");
    }
    // A row that is gone was not taken back either.
    sql(&f.store(), "DELETE FROM pours");
    let shown = f.json("show pours:T-moulds")["remarks"].to_string();
    assert!(!shown.contains("taken back") && shown.contains("verify"), "{shown}");
}

#[test]
fn an_edit_of_any_column_is_found_and_the_record_named() {
    for store in both() {
        let file = store.foundry.store();
        // Columns that nothing else hangs on are edited in all tables at once, one of each.
        let mut rounds: Vec<Vec<(&str, String)>> = Vec::new();
        for kind in catalogue::all() {
            let mut at = 0;
            for field in kind.fields.iter().chain(&COMMON) {
                let hangs = field.key || matches!(field.ty, Type::Tag | Type::Ref(_) | Type::AnyTag);
                for column in field.columns() {
                    let set = other(&file, kind.name, &column);
                    let edit = format!("UPDATE {} SET \"{column}\" = {set};", kind.name);
                    if hangs {
                        store.names(kind.name, &edit);
                        continue;
                    }
                    rounds.resize_with(rounds.len().max(at + 1), Vec::new);
                    rounds[at].push((kind.name, edit));
                    at += 1;
                }
            }
        }
        for edit in [
            "extra = json_set(ifnull(extra, '{}'), '$.put_in', 'x')",
            "extra = '{'",
            "entry = entry + 1",
            "entry = 0",
            "digest = digest + 1",
        ] {
            let of = |k: &'static Kind| (k.name, format!("UPDATE {} SET {edit};", k.name));
            rounds.push(catalogue::all().map(of).collect());
        }
        for round in rounds {
            let all: String = round.iter().map(|(_, edit)| edit.as_str()).collect();
            let found = store.touched(&all, None);
            for (table, edit) in round {
                let named = found.iter().any(|f| f.table == table && f.tag.is_some());
                assert!(named, "{} {edit}: {found:#?}", store.name);
            }
        }
    }
}

#[test]
fn a_row_put_in_or_taken_out_is_found() {
    for store in both() {
        let file = store.foundry.store();
        for kind in catalogue::all() {
            let table = kind.name;
            let gone = format!("DELETE FROM {table}");
            if store.name == "logged" {
                store.names(table, &gone);
            } else {
                let found = store.touched(&gone, None);
                assert!(found.iter().any(|f| f.table == table), "{gone}: {found:?}");
            }
            // A copy under another key, with the entry and digest of the original.
            let key = kind.key_fields().last().unwrap().columns().pop().unwrap();
            let columns: Vec<String> = sql(&file, &format!("SELECT name FROM pragma_table_info('{table}')"))
                .lines()
                .map(String::from)
                .collect();
            let made: Vec<String> = columns
                .iter()
                .map(|c| match c.as_str() {
                    "id" => "id + 1".into(),
                    c if c == key => other(&file, table, c),
                    c => format!("\"{c}\""),
                })
                .collect();
            store.names(table, &format!("INSERT INTO {table} SELECT {} FROM {table}", made.join(", ")));
        }
    }
}

#[test]
fn the_journal_cannot_be_changed_unseen() {
    for store in both() {
        let file = store.foundry.store();
        let last: i64 = sql(&file, "SELECT max(seq) FROM journal").trim().parse().unwrap();
        assert!(last > 50, "every kind has an entry");
        let columns = sql(&file, "SELECT name FROM pragma_table_info('journal')");
        for seq in [1, last / 2, last] {
            for column in columns.lines() {
                let set = if column == "seq" { "-seq".into() } else { other(&file, "journal", column) };
                let text = format!("UPDATE journal SET \"{column}\" = {set} WHERE seq = {seq}");
                let found = store.touched(&text, None);
                assert!(found.iter().any(|f| f.table == "journal"), "{} {text}: {found:?}", store.name);
            }
            let cut = format!("DELETE FROM journal WHERE seq >= {seq}");
            let found = store.touched(&cut, None);
            assert!(!found.is_empty(), "{} {cut}", store.name);
            let one = format!("DELETE FROM journal WHERE seq = {seq}");
            assert!(!store.touched(&one, None).is_empty(), "{} {one}", store.name);
        }
        let swap = "UPDATE journal SET seq = -seq WHERE seq IN (7, 8); UPDATE journal SET seq = 15 + seq WHERE seq < 0";
        assert!(store.touched(swap, None).iter().any(|f| f.table == "journal"));
        let again =
            "INSERT INTO journal SELECT seq + 1, at, person, action, kind, tag, old, new, reason, came, hash
                     FROM journal ORDER BY seq DESC LIMIT 1";
        assert!(store.touched(again, None).iter().any(|f| f.table == "journal"));
    }
}

/// The row of another store whose record differs in its note: its digest is right for what it says.
#[test]
fn a_line_about_the_file_that_nobody_wrote_is_found() {
    for store in both() {
        // The day of the last check may stand there, and is no fault; the clock is a record since it has a seal.
        assert!(
            store.touched("INSERT OR REPLACE INTO about VALUES ('checked', '2031-03-31')", None).is_empty()
        );
        for name in ["planted", "Checked", "clock", "sheet mapping heats", ""] {
            let found = store.touched(&format!("INSERT INTO about VALUES ('{name}', 'x')"), None);
            assert!(
                found.iter().any(|f| f.table == "about" && f.tag.as_deref() == Some(name)),
                "{}: {name}: {found:?}",
                store.name
            );
        }
    }
}

#[test]
fn a_row_with_a_right_digest_is_found_too() {
    let [imported, logged] = both();
    let forged = every_kind::imported("forged");
    for kind in catalogue::all() {
        let table = kind.name;
        let digest = sql(&forged.store(), &format!("SELECT digest FROM {table}"));
        let text = format!("UPDATE {table} SET note = 'forged', digest = {digest}");
        let found = imported.touched(&text, None);
        assert!(found.iter().any(|f| f.table == table), "{text}: {found:?}");
        let new = sql(
            &logged.foundry.store(),
            &format!("SELECT replace(new, '\"noted\"', '\"forged\"') FROM journal WHERE kind = '{table}'"),
        );
        let digest = u64::from_str_radix(&sha256(new.trim_end_matches('\n'))[..16], 16).unwrap() as i64;
        logged.names(table, &format!("UPDATE {table} SET note = 'forged', digest = {digest}"));
    }
}

fn sha256(text: &str) -> String {
    let mut child = Command::new("sha256sum").stdin(Stdio::piped()).stdout(Stdio::piped()).spawn().unwrap();
    child.stdin.take().unwrap().write_all(text.as_bytes()).unwrap();
    String::from_utf8(child.wait_with_output().unwrap().stdout).unwrap()[..64].to_string()
}

/// Whoever can compute can seal the whole journal anew; a hash printed before shows it.
#[test]
fn a_journal_sealed_anew_is_shown_by_an_anchor() {
    let store = AtRest::new(every_kind::logged(), "logged");
    let file = store.foundry.store();
    let hash =
        |seq: i64| sql(&file, &format!("SELECT hash FROM journal WHERE seq = {seq}")).trim().to_string();
    let last: i64 = sql(&file, "SELECT max(seq) FROM journal").trim().parse().unwrap();
    let (early, late) = (hash(4), hash(last));
    let mut edits = String::from("UPDATE journal SET reason = 'never said' WHERE seq = 5;");
    let mut before = early.clone();
    for seq in 5..=last {
        let reason = if seq == 5 { "'never said'" } else { "reason" };
        let sealed = sql(
            &file,
            &format!(
                "SELECT json_array(seq, at, person, action, kind, tag, old, new, {reason}, came) FROM journal WHERE seq = {seq}"
            ),
        );
        before = sha256(&format!("{before}{}", sealed.trim_end_matches('\n')));
        edits.push_str(&format!("UPDATE journal SET hash = '{before}' WHERE seq = {seq};"));
    }
    assert!(store.touched(&edits, None).is_empty(), "the chain is whole in itself");
    assert!(store.touched(&edits, Some(&early)).is_empty(), "up to there nothing was changed");
    assert!(store.touched(&edits, Some(&late)).iter().any(|f| f.table == "journal"));
    assert!(store.touched("SELECT 1", Some(&late)).is_empty());
}
