//! Labels and spreadsheets through the command line. That other people's readers see the same is
//! checked by `tests/reference/compare_labels.py` and `compare_sheets.py`.

use std::path::Path;

use meltkin::jobs::labels::on_save::{carries, on_save};

use crate::pty::{Terminal, store};
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
    let foundry = Foundry::small();
    let store = records::Store::open(&foundry.store()).unwrap();
    let folder = foundry.path("labels");
    std::fs::create_dir(&folder).unwrap();
    let said = on_save(&store, "M31-001", &folder).unwrap();
    assert!(said.contains("M31-001.svg"), "{said}");
    let sheet = std::fs::read_to_string(folder.join("M31-001.svg")).unwrap();
    assert!(sheet.contains("M31-001") && sheet.contains("70mm") && sheet.contains("30mm"), "{sheet}");
    // Saved again, printed again.
    on_save(&store, "M31-001", &folder).unwrap();
    assert_eq!(std::fs::read_dir(&folder).unwrap().count(), 1);
    assert!(on_save(&store, "M31-001", Path::new("/dev/null")).unwrap().contains("/dev/null"));
    let why = |place: &Path| on_save(&store, "M31-001", place).unwrap_err().sentence.to_string();
    assert!(why(&foundry.path("nowhere")).contains("nowhere: "));
    // ENOSPC of the device itself.
    assert!(
        why(Path::new("/dev/full")).contains("/dev/full: No space left"),
        "{}",
        why(Path::new("/dev/full"))
    );
    let file = foundry.path("labels.txt");
    std::fs::write(&file, "mine").unwrap();
    assert!(why(&file).contains("labels.txt is a plain file; labels go to a folder or a printer's device"));
    assert_eq!(std::fs::read_to_string(&file).unwrap(), "mine");
}

#[test]
fn what_carries_a_label_is_in_hand() {
    assert!(carries("moulds") && carries("blades") && !carries("people") && !carries("pours"));
}

/// A pipe that nobody reads is a printer that is off: it is given up, and nothing comes out of it later.
#[test]
fn a_printer_that_hangs_is_given_up() {
    let foundry = Foundry::small();
    let store = records::Store::open(&foundry.store()).unwrap();
    let pipe = foundry.path("printer");
    assert!(std::process::Command::new("mkfifo").arg(&pipe).status().unwrap().success());
    let began = std::time::Instant::now();
    let why = on_save(&store, "M31-001", &pipe).unwrap_err().sentence.to_string();
    assert!(why.contains("printer took it not within 4 s"), "{why}");
    assert!(began.elapsed() < std::time::Duration::from_secs(60), "{:?}", began.elapsed());
    assert_eq!(std::fs::read_to_string(&pipe).unwrap(), "");
}

/// The save is over and keys act while the label hangs; then it is said that it was not printed.
#[test]
fn a_save_does_not_wait_for_its_label() {
    let (folder, path) = store();
    let pipe = folder.path().join("printer");
    assert!(std::process::Command::new("mkfifo").arg(&pipe).status().unwrap().success());
    let arguments = ["--store", path.to_str().unwrap(), "--as", "OP-07"];
    let set = [("MELTKIN_LABELS", pipe.to_str().unwrap())];
    let mut t = Terminal::start(Path::new(env!("CARGO_BIN_EXE_meltkin")), &arguments, folder.path(), &set);
    t.wait("to be poured");
    t.press("b", "▸ pattern run");
    t.press("5", "▸ heat");
    t.press("\r", "New heat");
    t.written("H31-050");
    t.send("\x1b[B");
    t.wait("▸ alloy");
    t.send("QA-713/3");
    t.wait("QA-713/3");
    t.save("saved H31-050");
    // The label hangs, and a key acts.
    t.wait_until("the bench", |s| !s.contains("New heat"));
    t.press("/", "Which tag?");
    t.wait("H31-050 saved; its label was not printed");
    t.send("\x1b");
    t.wait_until("the bench", |s| !s.contains("Which tag?"));
    t.send("\x1b");
    t.wait("to be poured");
    t.send("q");
    assert_eq!(t.end(), 0);
}
