//! Labels and spreadsheets through the command line. That other people's readers see the same is
//! checked by `tests/reference/compare_labels.py` and `compare_sheets.py`.

use crate::support::Foundry;

#[test]
fn a_label_says_the_kind_in_words_and_the_tag_as_recorded() {
    let foundry = Foundry::small();
    let shown = foundry.run("label m31-001-1 --ascii").done();
    assert!(shown.out.starts_with("blade  M31-001 position 1\n"), "{}", shown.out);
    assert!(shown.out.contains("\nM31-001-1\n") && shown.out.is_ascii());
    let json = foundry.json("label M31-001");
    let rows = json["labels"][0]["code"].as_array().unwrap();
    assert_eq!((json["labels"][0]["noun"].as_str(), rows.len()), (Some("mould"), 12));
    // ISO/IEC 16022: the left column is solid, the top row alternates from dark.
    assert!(rows.iter().all(|r| r.as_str().unwrap().starts_with('1')));
    assert_eq!(rows[0], "101010101010");
}

#[test]
fn a_re_tagged_part_gets_the_tag_it_carries_now() {
    let json = Foundry::small().json("label B-9");
    let label = &json["labels"][0];
    assert_eq!((label["tag"].as_str(), label["asked"].as_str()), (Some("M31-002-1"), Some("B-9")), "{label}");
}

#[test]
fn an_unknown_tag_is_refused_with_near_ones_unless_it_is_printed_ahead() {
    let foundry = Foundry::small();
    foundry.run("label M31-0011").fails(2, "M31-001");
    foundry.run("label M31-0011").fails(2, "--new");
    foundry.run("label coats:M31-001/1").fails(2, "has no tag of its own");
    let json = foundry.json("label M31-777 --new --kind moulds");
    assert_eq!(json["labels"][0]["noun"], "mould");
    foundry.run("label a,b --new").fails(2, "no blanks or commas");
    foundry.run(&format!("label {} --new", "x".repeat(41))).fails(2, "at most 40");
}

#[test]
fn sheets_take_as_many_pages_as_they_need() {
    let foundry = Foundry::small();
    let out = foundry.json("label M31-001-1 M31-001-2 M31-002-2 --svg s.svg --size 60x30 --page 80x80");
    assert_eq!(out["files"], serde_json::json!(["s.svg", "s-2.svg"]));
    let first = std::fs::read_to_string(foundry.path("s.svg")).unwrap();
    assert_eq!(first.matches("<path").count(), 2);
    assert!(first.contains("width=\"80mm\"") && first.contains(">M31-001-1</text>"));
    foundry.run("label M31-001 --svg t.svg --size 300x30").fails(2, "does not fit a page");
    foundry.run("label M31-001 --svg t.svg --size 8x5").done();
    foundry.run("label M31-001 --svg t.svg --size 5x5").fails(2, "scanners need");
    foundry.run("label M31-001 --svg t.svg --size wide").fails(2, "wide is not a size");
}

#[test]
fn a_spreadsheet_is_written_once_and_names_its_kinds() {
    let foundry = Foundry::small();
    let out = foundry.json("export --xlsx all.xlsx heats coats");
    assert_eq!(out["records"], serde_json::json!({"heats": 2, "coats": 3}));
    foundry.run("export --xlsx all.xlsx").fails(2, "already exists");
    foundry.run("export --xlsx b.xlsx heets").fails(2, "heats");
    foundry.run("export --xlsx b.xlsx").done();
    foundry.run("export a b").fails(2, "one folder");
    foundry.run("export bundle2").done();
    // Same records, same clock, same bytes.
    foundry.run("export --xlsx c.xlsx").done();
    assert_eq!(
        std::fs::read(foundry.path("b.xlsx")).unwrap(),
        std::fs::read(foundry.path("c.xlsx")).unwrap()
    );
}

/// A definition stands in the sheet as in the bundle: with its revision, whether anybody typed it or not.
#[test]
fn a_spreadsheet_names_the_revision_of_each_definition() {
    use calamine::Reader;
    let foundry = Foundry::small();
    foundry.run("export --xlsx all.xlsx").done();
    let mut book: calamine::Xlsx<_> = calamine::open_workbook(foundry.path("all.xlsx")).unwrap();
    for (sheet, column, wanted) in [
        ("heats", "alloy", "QA-713/3@"),
        ("parts", "alloy", "QA-713/3@"),
        ("moulds", "part", "QB-2207@C"),
        ("moulds", "running_system", "RS-1@"),
        ("shell_batches", "recipe", "SR-7@B"),
    ] {
        let range = book.worksheet_range(sheet).unwrap();
        let mut rows = range.rows();
        let at = rows.next().unwrap().iter().position(|c| *c == column).unwrap();
        let said: Vec<String> = rows.map(|r| r[at].to_string()).collect();
        assert!(!said.is_empty() && said.iter().all(|v| v == wanted), "{sheet}.{column}: {said:?}");
    }
}

/// The label at the bench: one sheet in a folder, characters to a device; nothing for what is not in hand.
#[test]
fn a_label_is_printed_where_one_is_wanted_on_save() {
    use meltkin::jobs::labels::ask::on_save;
    let foundry = Foundry::small();
    let store = records::Store::open(&foundry.store()).unwrap();
    let folder = foundry.path("labels");
    std::fs::create_dir(&folder).unwrap();
    let said = on_save(&store, "M31-001", &folder).unwrap().unwrap();
    assert!(said.contains("M31-001.svg"), "{said}");
    let sheet = std::fs::read_to_string(folder.join("M31-001.svg")).unwrap();
    assert!(sheet.contains("M31-001") && sheet.contains("70mm") && sheet.contains("30mm"), "{sheet}");
    // Saved again, printed again.
    assert!(on_save(&store, "M31-001", &folder).unwrap().is_some());
    assert_eq!(on_save(&store, "OP-01", &folder).unwrap(), None);
    assert_eq!(std::fs::read_dir(&folder).unwrap().count(), 1);
    assert!(on_save(&store, "M31-001", std::path::Path::new("/dev/null")).unwrap().is_some());
    assert!(on_save(&store, "M31-001", &foundry.path("nowhere")).is_err());
}
