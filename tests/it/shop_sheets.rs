//! A shop's own sheets taken over by a mapping. The spreadsheets are made by the spreadsheet library,
//! not by our own export; what must come of a cell is worked out by hand.

use rust_xlsxwriter::{ExcelDateTime, Format, Formula, Workbook};
use serde_json::json;

use crate::support::Foundry;

/// A pour book as somebody keeps it: heat and pour in one row, a title above, German dates.
const BOOK: &str = "Giessbuch 2031;;;;;;\n\
    Form;Schmelze;Datum;Zeit;Temp.;Masse kg;Ofen\n\
    M31-001;H31-101;4.3.2031;9:05;1.450,5;12,5;F1\n\
    M31-002;H31-101;4.3.2031;9:25;1448,5;-;F1\n\
    ;;;;;;\n\
    Summe;;;;;12,5;\n";

const POURS: &str = "sheet map pours pours mould=Form heat=Schmelze poured_at=Datum+Zeit indicated_c=Temp. \
    mass_kg=#F --header 2 --decimal-comma --dates day-first --offset +01:00 --blank - --only heat";

/// Two moulds that nobody has poured yet, one known heat.
fn foundry() -> Foundry {
    let foundry = Foundry::new();
    let of = |name: &str| (*crate::support::SMALL.iter().find(|f| f.0 == name).unwrap()).to_owned();
    let kinds = ["alloys.csv", "parts.csv", "shell_recipes.csv", "running_systems.csv", "shell_batches.csv"];
    let mut files: Vec<(&str, &str)> = kinds.into_iter().map(of).collect();
    files.extend(["filter_lots.csv", "moulds.csv", "ingot_lots.csv"].into_iter().map(of));
    foundry.write_bundle("bundle", &files);
    foundry.run("import bundle").done();
    std::fs::write(foundry.path("book.csv"), BOOK).unwrap();
    foundry
}

#[test]
fn heats_and_pours_come_out_of_one_sheet() {
    let foundry = foundry();
    let heats =
        "sheet map heats heats heat=Schmelze furnace=Ofen --fill alloy=QA-713/3 --header 2 --only heat";
    foundry.run(heats).done();
    foundry.run(POURS).done();
    let done = foundry.json("import book.csv --mapping heats");
    assert_eq!(done["records"], json!({"heats": 1}));
    assert!(done["remarks"].to_string().contains("1 row: say again"), "{done}");
    // 1.450 alone may be a thousand and more, or not: nobody guesses.
    std::fs::write(foundry.path("book.csv"), BOOK.replace("1.450,5", "1.450")).unwrap();
    let faulty = foundry.run("import book.csv --mapping pours --json");
    assert_eq!(faulty.code, 2);
    let fault = &faulty.json()["faults"];
    assert_eq!(fault.as_array().unwrap().len(), 1, "{fault}");
    assert_eq!((&fault[0]["line"], &fault[0]["column"]), (&json!(3), &json!("Temp.")));
    assert_eq!(fault[0]["value"], "1.450");
    assert!(fault[0]["message"].as_str().unwrap().contains("--thousands"), "{fault}");
    std::fs::write(foundry.path("book.csv"), BOOK).unwrap();
    foundry.run("import book.csv --mapping pours --check").done();
    let done = foundry.json("import book.csv --mapping pours");
    assert_eq!(done["records"], json!({"pours": 2}));
    assert!(done["remarks"].to_string().contains("1.450,5 as 1450.5"), "{done}");
    let pour = foundry.json("show pours:M31-001")["record"].clone();
    assert_eq!(pour["poured_at"], "2031-03-04T09:05:00+01:00");
    assert_eq!((&pour["indicated_c"], &pour["mass_kg"]), (&json!(1450.5), &json!(12.5)));
    assert_eq!(foundry.json("show pours:M31-002")["record"]["mass_kg"], json!(null));
    let again = foundry.json("import book.csv --mapping pours");
    assert_eq!((&again["records"], &again["unchanged"]), (&json!({}), &json!(2)));
}

#[test]
fn a_spreadsheet_with_dates_formulas_and_words() {
    let foundry = foundry();
    let mut book = Workbook::new();
    let sheet = book.add_worksheet();
    let day = Format::new().set_num_format("dd.mm.yyyy");
    for (c, title) in ["Box", "Came in", "Got", "Bad", "Maker", "Checked\nby"].into_iter().enumerate() {
        sheet.write(0, c as u16, title).unwrap();
    }
    let date = |d| ExcelDateTime::from_ymd(2031, 1, d).unwrap();
    sheet
        .write(1, 0, "FL-1")
        .unwrap()
        .write_with_format(1, 1, date(15), &day)
        .unwrap()
        .write(1, 2, 24)
        .unwrap();
    sheet.write(2, 0, 77).unwrap().write_with_format(2, 1, date(22), &day).unwrap();
    sheet.write_formula(2, 2, Formula::new("=4*6").set_result("24")).unwrap().write(2, 3, "none").unwrap();
    book.save(foundry.path("boxes.xlsx")).unwrap();
    let look = foundry.run("sheet look boxes.xlsx --kind filter_lots").done();
    for part in ["#B", "Came in", "2031-01-15", "must have filter_lot, received_at", "Checked by"] {
        assert!(look.out.contains(part), "{part}:\n{}", look.out);
    }
    let map = |more: &[&str]| {
        let mut call = vec!["sheet", "map", "boxes", "filter_lots", "filter_lot=Box", "received_at=came IN"];
        call.extend(["received_count=Got", "rejected_count=Bad", "--word", "rejected_count:none=0"]);
        call.extend(["--offset", "+00:00"]);
        call.extend(more);
        foundry.run_with(&call)
    };
    map(&[]).done();
    foundry
        .run("import boxes.xlsx --mapping boxes")
        .fails(2, "line 2, came IN = 2031-01-15: received_at: is a date alone");
    map(&["--hour", "00:00"]).done();
    let done = foundry.json("import boxes.xlsx --mapping boxes");
    assert_eq!(done["records"], json!({"filter_lots": 2}));
    assert!(done["remarks"].to_string().contains("columns not taken: Maker, Checked by"), "{done}");
    assert!(done["remarks"].to_string().contains("1 formula"), "{done}");
    let lot = foundry.json("show 77")["record"].clone();
    assert_eq!((&lot["received_count"], &lot["rejected_count"]), (&json!(24), &json!(0)));
    assert_eq!(lot["received_at"], "2031-01-22T00:00:00+00:00");
    assert_eq!(lot["note"], "time of day of received_at not known");
    // The mapping, printed, makes itself again.
    let printed = foundry.run("sheet map boxes").done().out;
    assert_eq!(
        printed.trim(),
        "meltkin sheet map boxes filter_lots --header 1 --word rejected_count:none=0 --offset +00:00 --hour 00:00 \
         filter_lot=Box received_at='came IN' received_count=Got rejected_count=Bad"
    );
}

#[test]
fn the_note_about_the_hour_answers_no_typing_guard() {
    let foundry = foundry();
    foundry
        .run("sheet map runs pours mould=m heat=h poured_at=d indicated_c=t --offset +00:00 --hour 12:00")
        .done();
    foundry.run("log heats heat=H31-101 alloy=QA-713/3 furnace=F1 --as OP-1").done();
    let sheet = |note: &str| {
        let text = format!(
            "m,h,d,t{}\nM31-001,H31-101,2031-03-04,14500{note}\n",
            if note.is_empty() { "" } else { ",why" }
        );
        std::fs::write(foundry.path("s.csv"), text).unwrap();
    };
    sheet("");
    foundry.run("import s.csv --mapping runs").fails(2, "outside the plausible range");
    sheet(",typed as read");
    let call =
        "sheet map runs pours mould=m heat=h poured_at=d indicated_c=t note=why --offset +00:00 --hour 12:00";
    foundry.run(call).done();
    foundry.run("import s.csv --mapping runs").done();
    let note = foundry.json("show pours:M31-001")["record"]["note"].clone();
    assert_eq!(note, "typed as read; time of day of poured_at not known");
}

#[test]
fn mappings_and_sheets_that_cannot_be_meant() {
    let foundry = foundry();
    for (call, sentence) in [
        ("sheet map a pours mould=Form", "heat, poured_at must be filled"),
        ("sheet map a pours mould=Form mold=X", "no field mold; did you mean mould ?"),
        ("sheet map a pours mould=Form mould=X heat=H poured_at=D", "mould is named twice"),
        ("sheet map a pours mould=F heat=H poured_at=D --offset 1h", "+01:00"),
        (
            "sheet map a pours mould=F heat=H poured_at=D --word seal_state:ok=tight",
            "seal_state has no column",
        ),
        ("sheet map a pours mould=F heat=H poured_at=D --word ok", "FIELD:THEIRS=OURS"),
        ("sheet map a castings x=y", "there is no"),
        ("import book.csv --mapping nobody", "there is no mapping nobody"),
        ("sheet look nowhere.xlsx", "nowhere.xlsx: cannot be read"),
    ] {
        foundry.run(call).fails(2, sentence);
    }
    foundry.run(POURS).done();
    std::fs::write(foundry.path("other.csv"), "x\nForm;Schmelze;Zeit;Temp;Masse\nM31-001;;;;\n").unwrap();
    let other = foundry.run("import other.csv --mapping pours");
    for part in
        ["line 2, Datum+Zeit: the row of titles has no column Datum", "no column Temp.; did you mean Temp ?"]
    {
        assert!(other.err.contains(part), "{part}:\n{}", other.err);
    }
    // Windows-1252 is read; 81 is no letter there.
    std::fs::write(foundry.path("latin.csv"), b"Form;Gr\xf6\x81e\n").unwrap();
    foundry.run("import latin.csv --mapping pours").fails(2, "save it as XLSX, or as CSV in UTF-8");
    let mut book = Workbook::new();
    let sheet = book.add_worksheet();
    for (c, title) in ["Form", "Schmelze", "Datum", "Zeit", "Temp.", "Masse"].into_iter().enumerate() {
        sheet.write(1, c as u16, title).unwrap();
    }
    sheet.merge_range(2, 1, 3, 1, "H31-101", &Format::new()).unwrap();
    sheet.write(2, 0, "M31-001").unwrap().write(3, 0, "M31-002").unwrap();
    book.save(foundry.path("merged.xlsx")).unwrap();
    foundry.run("import merged.xlsx --mapping pours").fails(2, "B3:B4 are merged");
}
