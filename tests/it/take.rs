//! A shop's sheet taken in one way: what is sure is proposed, what is open is named with its option, nothing is written before
//! all of it is settled. What must come of a cell is worked out by hand.

use std::path::Path;

use rust_xlsxwriter::{ExcelDateTime, Format, Workbook};
use serde_json::{Value, json};

use crate::support::{Foundry, SMALL};

/// Two moulds that nobody has poured yet, and their heat.
fn foundry() -> Foundry {
    let foundry = Foundry::new();
    let of = |name: &str| (*SMALL.iter().find(|f| f.0 == name).unwrap()).to_owned();
    let kinds = [
        "alloys.csv",
        "parts.csv",
        "shell_recipes.csv",
        "running_systems.csv",
        "shell_batches.csv",
        "filter_lots.csv",
        "moulds.csv",
        "ingot_lots.csv",
        "blades.csv",
    ];
    let files: Vec<(&str, &str)> = kinds.into_iter().map(of).collect();
    foundry.write_bundle("bundle", &files);
    foundry.run("import bundle").done();
    foundry.run("log heats heat=H31-101 alloy=QA-713/3 furnace=F1 --as OP-1").done();
    foundry
}

/// Everything of the store that a write would change.
fn head(foundry: &Foundry) -> String {
    foundry.json("verify")["head"].as_str().unwrap().to_string()
}

const BOOK: &str = "Giessbuch;;;;;;\r\nForm;Schmelze;Datum;Zeit;Metall;Masse kg;Bemerkung\r\n\
    m31-001 ;H31-101;4.3.31;9:05;1 450,5;12,5 kg;\r\nM31-002;h31-101;5.3.31;9:25;1448;n/a;lief aus\r\n;;;;;;\r\nSumme;;;;;12,5;\r\n";

#[test]
fn what_is_open_is_named_with_its_option_and_nothing_is_written() {
    let foundry = foundry();
    std::fs::write(foundry.path("book.csv"), BOOK).unwrap();
    let before = head(&foundry);
    let answer = foundry.run("sheet take book.csv --kind pours").fails(2, "nothing was written");
    let both = "Datum+Zeit = 4.3.31 9:05 may be read in two ways, 2031-03-04 or 2031-04-03: --dates day-first or --dates month-first";
    assert!(answer.err.contains(both), "{}", answer.err);
    for part in
        ["titles in row 2", "mould = Form", "heat = Schmelze", "poured_at = Datum+Zeit", "mass_kg = Masse kg"]
    {
        assert!(answer.out.contains(part), "{part}: {}", answer.out);
    }
    let answer = foundry
        .run("sheet take book.csv --kind pours --dates day-first")
        .fails(2, "has no offset to UTC: --zone");
    assert!(!answer.err.contains("two ways"), "{}", answer.err);
    // As data.
    let open = foundry.run("sheet take book.csv --kind pours --json");
    assert_eq!(open.code, 2);
    let open = open.json();
    assert_eq!(open["open"].as_array().unwrap().len(), 1, "{open}");
    assert!(open["open"][0]["option"].as_str().unwrap().starts_with("--dates"), "{open}");
    assert_eq!(open["mapping"]["kind"], "pours");
    assert_eq!(head(&foundry), before);
}

#[test]
fn a_sheet_is_taken_its_mapping_is_kept_and_takes_the_next_one() {
    let foundry = foundry();
    std::fs::write(foundry.path("book.csv"), BOOK).unwrap();
    let before = head(&foundry);
    let call = "sheet take book.csv --kind pours indicated_c=Metall --dates day-first --zone Europe/Berlin";
    let tried = foundry.run(&format!("{call} --check")).done();
    for part in [
        "indicated_c=1450.5 mass_kg=12.5",
        "poured_at=2031-03-04T09:05:00+01:00",
        "1 row: left out: a total of what stands above (row 6: Summe | 12,5)",
        "a year of two figures, 00 to 68 taken as 2000 to 2068 (first in row 3: 4.3.31 9:05 as 2031-03-04T09:05:00+01:00)",
        "nothing was written (--check)",
    ] {
        assert!(tried.out.contains(part), "{part}: {}", tried.out);
    }
    assert_eq!(head(&foundry), before);
    foundry.run("sheet map book").fails(2, "there is no mapping book");
    let done = foundry.run(&format!("{call} --json")).done().json();
    assert_eq!((&done["records"], &done["name"]), (&json!({"pours": 2}), &json!("book")));
    assert_eq!(done["left_out"]["rows"], json!([[1, 1], [6, 6]]));
    let pour = foundry.json("show pours:M31-002")["record"].clone();
    assert_eq!(pour["poured_at"], "2031-03-05T09:25:00+01:00");
    assert_eq!((&pour["mass_kg"], &pour["note"]), (&json!("n/a"), &json!("lief aus")));
    // The next such sheet needs the name alone; the same one is no other.
    assert_eq!(foundry.json("import book.csv --mapping book")["unchanged"], 2);
    assert_eq!(foundry.run(&format!("{call} --json")).done().json()["name"], "book");
    let another = foundry.run("sheet take book.csv --kind heats --check");
    assert!(
        another.out.contains("the mapping book (pours) fits it: meltkin import FILE --mapping book"),
        "{}",
        another.out
    );
    let printed = foundry.run("sheet map book").done().out;
    for part in ["--header 2", "--zone Europe/Berlin", "poured_at=Datum+Zeit"] {
        assert!(printed.contains(part), "{part}: {printed}");
    }
}

#[test]
fn what_has_no_tag_gets_one_and_words_are_told() {
    let foundry = foundry();
    std::fs::write(
        foundry.path("visual.csv"),
        "Blade,Method,Date,Result\r\nM31-001-1,visual,2031-03-10 8:00,OK\r\nM31-001-1,visual,2031-03-10 9:00,NOK\r\n",
    )
    .unwrap();
    let open = foundry.run("sheet take visual.csv --offset +00:00").fails(2, "nothing was written");
    for part in [
        "round must be filled, and no column seems to hold it: round=COLUMN, or --fill round=VALUE",
        "--tag 'IN-{blade}-{inspected_at}-{n}'",
        "--word result:OK=accept",
        "--word result:NOK=reject",
    ] {
        assert!(open.err.contains(part), "{part}: {}", open.err);
    }
    let call = [
        "sheet",
        "take",
        "visual.csv",
        "--offset",
        "+00:00",
        "--fill",
        "round=1",
        "--word",
        "result:OK=accept",
        "--word",
        "result:NOK=reject",
        "--tag",
        "IN-{blade}-{inspected_at}-{n}",
    ];
    foundry.run_with(&call).done();
    let second = foundry.json("show IN-M31-001-1-2031-03-10-2")["record"].clone();
    assert_eq!(
        (&second["result"], &second["inspected_at"]),
        (&json!("reject"), &json!("2031-03-10T09:00:00+00:00"))
    );
}

#[test]
fn one_of_several_tables_and_one_of_several_sheets() {
    let foundry = foundry();
    let two = "Filters;;;;Ovens;\r\nFilter lot;Received;Pieces;;Run;At\r\nFL-1;2031-01-15 8:00;4;;O-1;9:00\r\nFL-2;2031-01-16 8:00;5;;;\r\n";
    std::fs::write(foundry.path("two.csv"), two).unwrap();
    foundry
        .run("sheet take two.csv --offset +00:00")
        .fails(2, "several tables, 1: Filters (A2:C4), 2: Ovens (E2:F3): --table NAME or its number");
    let call =
        "sheet take two.csv --offset +00:00 --table filters --kind filter_lots received_count=Pieces --json";
    let done = foundry.run(call).done().json();
    assert_eq!(done["records"], json!({"filter_lots": 2}), "{done}");
    assert_eq!(done["left_out"]["tables"], json!(["Ovens (E2:F3)"]));
    assert_eq!(done["mapping"]["table"], "Filters");
    // As one table the titles of the first are those of both.
    let whole = foundry.run("sheet take two.csv --table all --kind filter_lots --json").json();
    assert_eq!(whole["look"]["columns"].as_array().unwrap().len(), 5, "{whole}");
    foundry.run("sheet take two.csv --table Oven").fails(2, "did you mean Ovens");
    // Another month stands below another heading.
    let other = two.replace("Filters", "May").replace("FL-", "FN-");
    std::fs::write(foundry.path("other.csv"), other).unwrap();
    foundry.run("import other.csv --mapping two").fails(
        2,
        "has no table Filters; there are 1: May (A2:C4), 2: Ovens (E2:F3): --table NAME or its number",
    );
    assert_eq!(
        foundry.json("import other.csv --mapping two --table 1 --check")["records"],
        json!({"filter_lots": 2})
    );
    // The table is found again where it has moved to.
    let moved = format!("Read by hand;;;;;\r\n\r\n{}", two.replace("FL-", "FM-"));
    std::fs::write(foundry.path("moved.csv"), moved).unwrap();
    assert_eq!(foundry.json("import moved.csv --mapping two")["records"], json!({"filter_lots": 2}));
    let mut book = Workbook::new();
    for (name, lot) in [("January", "FL-8"), ("February 31", "FL-9")] {
        let sheet = book.add_worksheet().set_name(name).unwrap();
        for (c, title) in ["Filter lot", "Received", "Pores"].into_iter().enumerate() {
            sheet.write(0, c as u16, title).unwrap();
        }
        let day = ExcelDateTime::from_ymd(2031, 1, 15).unwrap().and_hms(9, 30, 0).unwrap();
        let format = Format::new().set_num_format("dd.mm.yyyy hh:mm");
        sheet
            .write(1, 0, lot)
            .unwrap()
            .write_with_format(1, 1, &day, &format)
            .unwrap()
            .write(1, 2, 10)
            .unwrap();
    }
    book.save(foundry.path("months.xlsx")).unwrap();
    foundry
        .run("sheet take months.xlsx --offset +00:00")
        .fails(2, "several sheets, January, February 31: --sheet January or --sheet 'February 31'");
    let call = ["sheet", "take", "months.xlsx", "--offset", "+00:00", "--sheet", "February 31", "--json"];
    let done = foundry.run_with(&call).done().json();
    assert_eq!(done["records"], json!({"filter_lots": 1}));
    assert!(done["remarks"].to_string().contains("sheet January was not read"), "{done}");
    assert_eq!(foundry.json("show FL-9")["record"]["received_at"], "2031-01-15T09:30:00+00:00");
}

#[test]
fn times_that_do_not_exist_or_come_twice_are_faults() {
    let foundry = foundry();
    // Directive 2000/84/EC: clocks of 2030 changed on the last Sundays, 2030-03-31 and 2030-10-27, at 01:00 UTC.
    let rows = ["FL-1,2030-03-31 02:30,1", "FL-2,2030-10-27 02:30,1", "FL-3,2030-07-01 08:00,1"];
    std::fs::write(foundry.path("f.csv"), format!("Filter lot,Received,ppi\n{}\n", rows.join("\n"))).unwrap();
    let before = head(&foundry);
    let call = "sheet take f.csv --kind filter_lots --zone Europe/Berlin";
    let answer = foundry
        .run(call)
        .fails(2, "f.csv line 2, Received = 2030-03-31 02:30: received_at: never comes on the clock");
    let twice = "line 3, Received = 2030-10-27 02:30: received_at: comes twice on the clock of Europe/Berlin";
    assert!(answer.err.contains(twice), "{}", answer.err);
    assert_eq!(head(&foundry), before);
    foundry.run("sheet take f.csv --kind filter_lots --zone Berlin").fails(2, "did you mean Europe/Berlin");
    foundry
        .run("sheet map x filter_lots filter_lot=a received_at=b --zone Europe/Berln")
        .fails(2, "Europe/Berlin");
}

#[test]
fn an_unsure_column_is_named_and_left_out() {
    let foundry = foundry();
    std::fs::write(foundry.path("f.csv"), "Filter lot,Received,Pieces\nFL-1,2031-01-15T08:00:00Z,24\n")
        .unwrap();
    let done = foundry.run("sheet take f.csv --name filters").done();
    assert!(
        done.out.contains("Pieces is not taken; it may be received_count: received_count=Pieces"),
        "{}",
        done.out
    );
    assert_eq!(foundry.json("show FL-1")["record"]["received_count"], Value::Null);
    for (more, part) in [
        ("mud=Pieces", "has no field mud"),
        ("ppi=Porse", "the row of titles has no column Porse"),
        ("--kind castings", "castings"),
        ("--header 0", "counted from 1"),
    ] {
        foundry.run(&format!("sheet take f.csv {more}")).fails(2, part);
    }
    foundry.run("sheet take nowhere.csv").fails(2, "nowhere.csv: cannot be read");
    // Another mapping of that name is quality's to replace: the file's own gets a number.
    std::fs::write(foundry.path("filters.csv"), "Filter lot,Received,ppi\nFL-2,2031-01-15T08:00:00Z,12\n")
        .unwrap();
    assert_eq!(foundry.json("sheet take filters.csv")["name"], "filters-2");
}

/// Records know no command line: what would help is data there, and an option only where a command speaks.
#[test]
fn no_sentence_of_the_exchange_names_an_option() {
    fn walk(folder: &Path, named: &mut Vec<String>) {
        for entry in std::fs::read_dir(folder).unwrap().map(Result::unwrap) {
            let path = entry.path();
            if path.is_dir() {
                walk(&path, named);
                continue;
            }
            for line in
                std::fs::read_to_string(&path).unwrap().lines().filter(|l| !l.trim_start().starts_with("//"))
            {
                let option =
                    |(i, _): (usize, &str)| line[i + 2..].starts_with(|c: char| c.is_ascii_lowercase());
                if line.match_indices("--").any(option) || line.contains("meltkin sheet") {
                    named.push(format!("{}: {line}", path.display()));
                }
            }
        }
    }
    let mut named = Vec::new();
    walk(&Path::new(env!("CARGO_MANIFEST_DIR")).join("src/records/exchange"), &mut named);
    assert!(named.is_empty(), "{}", named.join("\n"));
}

/// A whole dialogue in a terminal.
#[test]
fn questions_on_a_terminal() {
    let foundry = foundry();
    std::fs::write(foundry.path("book.csv"), BOOK).unwrap();
    let program = Path::new(env!("CARGO_BIN_EXE_meltkin"));
    let store = foundry.store();
    let mut terminal = crate::pty::Terminal::start(
        program,
        &["--store", store.to_str().unwrap(), "sheet", "take", "book.csv"],
        store.parent().unwrap(),
        &[("MELTKIN_NOW", crate::support::NOW)],
    );
    terminal.wait("Which kind of record is a row");
    terminal.press("\r", "Are these the columns?");
    terminal.press("indicated_c=Metall\r", "indicated_c = Metall");
    terminal.press("\r", "day-first or month-first?");
    terminal.press("month-first\r", "Which clock does the shop keep");
    let twice = |text: &'static str| move |screen: &str| screen.matches(text).count() == 2;
    terminal.send("<\r");
    terminal.wait_until("the question once more", twice("day-first or month-first?"));
    terminal.send("\r");
    terminal.wait_until("the next one once more", twice("Which clock does the shop"));
    terminal.press("Europe/Berlin\r", "kept under the name? [book]");
    terminal.press("\r", "Write 2 records of pours? [yes]");
    terminal.press("\r", "wrote 2 records");
    let pour = foundry.json("show pours:M31-001")["record"].clone();
    assert_eq!(
        (&pour["poured_at"], &pour["indicated_c"]),
        (&json!("2031-03-04T09:05:00+01:00"), &json!(1450.5))
    );
}
