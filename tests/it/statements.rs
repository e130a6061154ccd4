//! Every SQL statement of the program is prepared against the schema as it is made, and each column that it reads or
//! writes is one that the catalogue gives. SQLite says itself which columns a statement touches.
#![allow(clippy::disallowed_types, reason = "the statements are prepared on a connection of the test's own")]

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::path::Path;
use std::sync::{Arc, Mutex};

use records::Store;
use records::catalogue;
use records::catalogue::kind::Kind;
use records::graph::{concessions, lineage, places, suspect};
use rusqlite::Connection;
use rusqlite::hooks::{AuthAction, AuthContext, Authorization};

/// Columns of every table of records that no field holds.
const BESIDE_THE_FIELDS: [&str; 4] = ["id", "extra", "entry", "digest"];

/// What is read besides the tables of records.
const OTHER_TABLES: [&str; 9] = [
    "journal",
    "pins",
    "about",
    "sqlite_master",
    "sqlite_schema",
    "json_each",
    "pragma_page_count",
    "pragma_page_size",
    "pragma_table_xinfo",
];

/// Statements of named tables with something left open, and all that may stand there.
const LEFT_OPEN: &[(&str, &[&[&str]])] = &[
    (
        "SELECT total(c.mass_kg) FROM charges",
        &[&["source_ingot_lot", "c.item IS ?3"], &["source_revert_lot", "c.item IS ?3"]],
    ),
    ("SELECT total(c.mass_kg), total(CASE", &[&["c.source_ingot_lot IS ?1"], &["c.source_revert_lot IS ?1"]]),
    ("SELECT (SELECT max(c.recorded_at)", &[&["256"]]),
    ("SELECT max(id) FROM charges", &[&["source_ingot_lot"], &["source_revert_lot"]]),
    ("SELECT c.id, c.heat, c.mass_kg FROM charges", &[&["source_ingot_lot"], &["source_revert_lot"]]),
    (
        "SELECT 1 FROM analyses",
        &[
            &["subject_heat", " AND a.purpose = 'check'"],
            &["subject_ingot_lot", ""],
            &["subject_revert_lot", ""],
        ],
    ),
    (
        "SELECT id, analysis FROM analyses",
        &[&["subject_heat"], &["subject_ingot_lot"], &["subject_revert_lot"]],
    ),
    ("SELECT DISTINCT t.{} FROM concessions", &[&["zone", "zones"], &["method", "inspection_plans"]]),
    ("SELECT old_tag, new_tag, changed_at FROM retags", &[&["old_tag"], &["new_tag"]]),
];

/// Files with statements whose table itself is left open, and how many: table and columns come from the catalogue, or
/// from the schema of the file that is looked at.
const MADE_FROM_THE_CATALOGUE: [(&str, usize); 20] = [
    ("records/file/indexes.rs", 2),
    ("records/file/odd_tags.rs", 1),
    ("records/file/upgrade.rs", 1),
    ("records/file/verify.rs", 2),
    ("records/graph/lineage.rs", 1),
    ("records/graph/release_basis/collect.rs", 2),
    ("records/graph/suspect/sources.rs", 3),
    ("records/read/columns.rs", 1),
    ("records/read/completing.rs", 1),
    ("records/read/export_order.rs", 2),
    ("records/read/floor_queries.rs", 1),
    ("records/read/mod.rs", 5),
    ("records/read/outcomes.rs", 1),
    ("records/read/rows.rs", 1),
    ("records/read/shape.rs", 2),
    ("records/read/tag_table.rs", 1),
    ("records/read/tags/mod.rs", 7),
    ("records/write/amend.rs", 3),
    ("records/write/bulk.rs", 1),
    ("records/write/mod.rs", 1),
];

/// The texts between quotes in a source, as the compiler reads them.
fn literals(source: &str) -> Vec<String> {
    let chars: Vec<char> = source.chars().collect();
    let (mut out, mut i) = (Vec::new(), 0);
    let find = |from: usize, end: &str| {
        let end: Vec<char> = end.chars().collect();
        (from..chars.len()).find(|&at| chars[at..].starts_with(&end)).unwrap_or(chars.len())
    };
    while i < chars.len() {
        let rest = &chars[i..];
        if rest.starts_with(&['/', '/']) {
            i = find(i, "\n");
        } else if rest.starts_with(&['\'', '\\']) {
            i = find(i + 3, "'") + 1;
        } else if rest.len() > 2 && rest[0] == '\'' && rest[2] == '\'' {
            i += 3;
        } else if rest.starts_with(&['r', '#', '"']) {
            let end = find(i + 3, "\"#");
            out.push(chars[i + 3..end].iter().collect());
            i = end + 2;
        } else if rest[0] == '"' {
            let mut text = String::new();
            i += 1;
            while chars.get(i).is_some_and(|c| *c != '"') {
                match (chars[i], chars.get(i + 1)) {
                    ('\\', Some('\n')) => {
                        i += 1;
                        while chars[i].is_whitespace() {
                            i += 1;
                        }
                        continue;
                    }
                    ('\\', Some('n')) => text.push('\n'),
                    ('\\', Some(c)) => text.push(*c),
                    (c, _) => {
                        text.push(c);
                        i += 1;
                        continue;
                    }
                }
                i += 2;
            }
            out.push(text);
            i += 1;
        } else {
            i += 1;
        }
    }
    out
}

fn is_statement(text: &str) -> bool {
    let words = ["SELECT ", "INSERT ", "UPDATE ", "DELETE ", "WITH "];
    words.iter().any(|w| text.trim_start().starts_with(w)) && text.split_whitespace().count() > 2
}

/// What is left open in a statement, from one brace to the other.
fn hole(sql: &str) -> Option<(usize, usize)> {
    let from = sql.find('{')?;
    Some((from, from + sql[from..].find('}')? + 1))
}

fn filled(sql: &str, values: &[&str]) -> String {
    let mut out = sql.to_string();
    for value in values {
        if let Some((from, to)) = hole(&out) {
            out.replace_range(from..to, value);
        }
    }
    out
}

/// Every statement in the sources, by file: whole ones with all that they leave open filled in, and the others.
fn statements() -> (Vec<(String, String)>, BTreeMap<String, usize>) {
    let (mut whole, mut made) = (Vec::new(), BTreeMap::new());
    let src = Path::new(env!("CARGO_MANIFEST_DIR")).join("src");
    visit(&src, &src, &mut |file, text| {
        let text = text.split("#[cfg(test)]").next().unwrap();
        for sql in literals(text).into_iter().filter(|text| is_statement(text)) {
            if hole(&sql).is_none() {
                whole.push((file.to_string(), sql));
                continue;
            }
            match LEFT_OPEN.iter().find(|(start, _)| sql.starts_with(start)) {
                Some((_, all)) => {
                    whole.extend(all.iter().map(|values| (file.to_string(), filled(&sql, values))));
                }
                None => *made.entry(file.to_string()).or_default() += 1,
            }
        }
    });
    for sql in [lineage::queries(), places::queries(), suspect::queries(), concessions::queries()].concat() {
        whole.push(("made at run time".into(), sql));
    }
    (whole, made)
}

fn visit(root: &Path, dir: &Path, seen: &mut dyn FnMut(&str, &str)) {
    for entry in fs::read_dir(dir).unwrap().map(Result::unwrap) {
        let path = entry.path();
        if path.is_dir() {
            visit(root, &path, seen);
        } else if path.extension().is_some_and(|e| e == "rs") && !path.ends_with("tests.rs") {
            let name = path.strip_prefix(root).unwrap().display().to_string();
            seen(&name, &fs::read_to_string(&path).unwrap());
        }
    }
}

/// The columns of a kind's table, as the catalogue gives them.
fn columns(kind: &Kind) -> BTreeSet<String> {
    kind.all_fields().flat_map(|f| f.columns()).collect()
}

/// A file with the schema as it is made today, and what its statements touch.
struct Schema {
    db: Connection,
    touched: Arc<Mutex<BTreeSet<(String, String)>>>,
    _folder: tempfile::TempDir,
}

impl Schema {
    fn new() -> Self {
        let folder = tempfile::TempDir::new().unwrap();
        let path = folder.path().join("s.meltkin");
        Store::create(&path).unwrap().close().unwrap();
        let touched: Arc<Mutex<BTreeSet<(String, String)>>> = Arc::default();
        let mut db = Connection::open(&path).unwrap();
        let seen = Arc::clone(&touched);
        let note = move |context: AuthContext<'_>| {
            if let AuthAction::Read { table_name: table, column_name: column }
            | AuthAction::Update { table_name: table, column_name: column } = context.action
            {
                seen.lock().unwrap().insert((table.into(), column.into()));
            }
            Authorization::Allow
        };
        db.authorizer(Some(note)).unwrap();
        Self { db, touched, _folder: folder }
    }

    /// What is wrong with a statement: it is none, or a column is not of the catalogue.
    fn fault(&self, sql: &str) -> Option<String> {
        self.touched.lock().unwrap().clear();
        if let Err(e) = self.db.prepare(sql) {
            return Some(e.to_string());
        }
        let touched = self.touched.lock().unwrap();
        touched.iter().find(|(table, column)| !is_known(table, column)).map(|(t, c)| format!("{t}.{c}"))
    }
}

fn is_known(table: &str, column: &str) -> bool {
    match catalogue::kind(table) {
        // A count touches a table and no column of it.
        Some(kind) => {
            column.is_empty() || BESIDE_THE_FIELDS.contains(&column) || columns(kind).contains(column)
        }
        None => OTHER_TABLES.contains(&table),
    }
}

#[test]
fn every_statement_can_be_prepared_and_names_columns_of_the_catalogue() {
    let schema = Schema::new();
    let (whole, made) = statements();
    assert!(whole.len() > 250, "only {} statements were found", whole.len());
    let bad: Vec<String> = whole
        .iter()
        .filter_map(|(file, sql)| schema.fault(sql).map(|why| format!("{file}: {why}: {sql}")))
        .collect();
    assert!(bad.is_empty(), "{}", bad.join("\n"));
    // A statement whose table is left open is looked at when it comes: is its table the catalogue's?
    let known: BTreeMap<String, usize> =
        MADE_FROM_THE_CATALOGUE.iter().map(|(file, n)| (file.to_string(), *n)).collect();
    assert_eq!(made, known);
}

#[test]
fn each_table_has_the_columns_that_the_catalogue_gives_and_no_other() {
    let schema = Schema::new();
    for kind in catalogue::all() {
        let mut q = schema.db.prepare("SELECT name FROM pragma_table_info(?1)").unwrap();
        let mut there: BTreeSet<String> =
            q.query_map([kind.name], |r| r.get(0)).unwrap().collect::<Result<_, _>>().unwrap();
        for column in BESIDE_THE_FIELDS {
            // Not every kind has keys of its own.
            assert!(there.remove(column) || column == "id", "{}.{column}", kind.name);
        }
        assert_eq!(there, columns(kind), "{}", kind.name);
    }
}

#[test]
fn a_slip_in_a_statement_would_be_seen() {
    let schema = Schema::new();
    assert_eq!(schema.fault("SELECT indicated_c FROM pours WHERE mould = ?1"), None);
    assert!(schema.fault("SELECT indicated FROM pours").is_some(), "no such column");
    assert!(schema.fault("SELECT 1 FROM pour").is_some(), "no such table");
    schema.db.execute_batch("ALTER TABLE pours ADD COLUMN other TEXT").unwrap();
    assert_eq!(schema.fault("SELECT other FROM pours"), Some("pours.other".into()));
    assert_eq!(schema.fault("UPDATE pours SET other = 'x'"), Some("pours.other".into()));
    // What stands in quotes is found in whatever way it is written.
    let source =
        "// \"SELECT 0 FROM x\"\nlet a = '\"'; f(\"SELECT a \\\n   FROM b\"); g(r#\"SELECT \"c\" FROM d\"#)";
    assert_eq!(literals(source), ["SELECT a FROM b", "SELECT \"c\" FROM d"]);
}
