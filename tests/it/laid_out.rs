//! Text that goes into a pipe: at most a hundred columns, or tables with tabs.

use unicode_width::UnicodeWidthStr;

use crate::support::Foundry;

/// Questions whose answers have tables and long sentences.
const ASKED: &[&str] = &[
    "trace M31-041-6",
    "contain PYR-02",
    "siblings M31-041-6 --of H31-021",
    "ready M31-041",
    "alloy check H31-029",
    "causes --defect misrun --zone TE",
    "chart --defect misrun",
    "yield",
    "capability --characteristic chord",
    "agreement",
    "shift",
    "lot summary L31-02",
    "trial show T31-01",
    "show M31-041-6 --history",
    "verify",
];

fn demo() -> Foundry {
    let f = Foundry::new().at(crate::support::DEMO_NOW);
    f.json("demo --no-screen");
    f
}

fn piped(f: &Foundry, question: &str, columns: Option<&str>) -> String {
    let mut command = f.command(&question.split(' ').collect::<Vec<_>>());
    command.env_remove("COLUMNS");
    columns.iter().for_each(|c| {
        command.env("COLUMNS", c);
    });
    String::from_utf8(command.output().unwrap().stdout).unwrap()
}

fn words(text: &str) -> Vec<&str> {
    text.split_whitespace().collect()
}

#[test]
fn piped_text_fits_a_hundred_columns_and_loses_no_word() {
    let f = demo();
    for question in ASKED {
        let (narrow, whole) = (piped(&f, question, None), piped(&f, question, Some("100000")));
        assert!(whole.lines().count() > 2, "{question}: {whole}");
        for line in narrow.lines() {
            // A digest is one word.
            assert!(line.width() <= 100 || words(line).len() == 1, "{question}: {line}");
        }
        assert!(!narrow.contains('\u{1f}') && !whole.contains('\u{1f}'), "{question}");
        let (mut now, mut then) = (words(&narrow), words(&whole));
        now.sort_unstable();
        then.sort_unstable();
        then.dedup();
        assert!(then.iter().all(|w| now.binary_search(w).is_ok()), "{question}:\n{narrow}");
    }
    // As wide as is asked for, unless no one could read it.
    assert!(piped(&f, "shift", Some("60")).lines().all(|l| l.width() <= 60));
    assert_eq!(piped(&f, "shift", Some("5")), piped(&f, "shift", None));
}

#[test]
fn plain_tables_have_tabs_and_as_many_cells_in_every_row() {
    let f = demo();
    for question in ASKED {
        let text = piped(&f, &format!("{question} --plain"), None);
        assert!(!text.contains('\u{1f}'), "{question}");
        let tables: Vec<&str> = text.lines().filter(|l| l.contains('\t')).collect();
        for row in &tables {
            assert!(row.split('\t').all(|c| c == c.trim()), "{question}: {row}");
        }
    }
    // Of 229 lines 212 are blades, their title before them.
    let text = piped(&f, "contain PYR-02 --plain", None);
    let json = f.json("contain PYR-02");
    let blades = json["blades"].as_array().unwrap();
    let rows: Vec<Vec<&str>> = text.lines().map(|l| l.split('\t').collect()).collect();
    for blade in blades {
        let tag = blade["blade"].as_str().unwrap();
        let row = rows.iter().find(|r| r[0] == tag && r.len() > 3).unwrap_or_else(|| panic!("{tag}: {text}"));
        for field in ["mould", "heat", "where"] {
            assert!(row.contains(&blade[field].as_str().unwrap()), "{tag} {field}: {row:?}");
        }
    }
}
