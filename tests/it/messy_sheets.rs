//! Sheets and certificates as shops and makers send them: every line end, other programs' letters, spreadsheets of other
//! makers, damage. What must come of each is worked out by hand.

use rust_xlsxwriter::{ExcelDateTime, Format, Workbook};
use serde_json::json;

use crate::support::{Foundry, SMALL};

const ENDS: [&str; 3] = ["\n", "\r\n", "\r"];

fn foundry() -> Foundry {
    let foundry = Foundry::new();
    let of = |name: &str| (*SMALL.iter().find(|f| f.0 == name).unwrap()).to_owned();
    let kinds = ["alloys.csv", "parts.csv", "shell_recipes.csv", "running_systems.csv", "shell_batches.csv"];
    let mut files: Vec<(&str, &str)> = kinds.into_iter().map(of).collect();
    files.extend(["filter_lots.csv", "moulds.csv", "ingot_lots.csv"].into_iter().map(of));
    foundry.write_bundle("bundle", &files);
    foundry.run("import bundle").done();
    foundry
}

const FILTERS: &str = "sheet map filters filter_lots filter_lot=Box received_at=Came_in ppi=Pores received_count=Pieces \
                       --offset +01:00";

fn learn(foundry: &Foundry, call: &str) {
    let words: Vec<String> = call.split(' ').map(|w| w.replace('_', " ")).collect();
    let plain: Vec<&str> = call.split(' ').collect();
    // A title with a blank in it is written with an underscore here; fields keep theirs.
    let words: Vec<String> = words
        .iter()
        .zip(&plain)
        .map(|(blank, plain)| match plain.split_once('=') {
            Some((field, _)) => format!("{field}={}", blank.split_once('=').unwrap().1),
            None => (*plain).to_string(),
        })
        .collect();
    foundry.run_with(&words.iter().map(String::as_str).collect::<Vec<_>>()).done();
}

#[test]
fn every_row_of_a_sheet_is_taken_whatever_ends_its_lines() {
    for end in ENDS {
        for (mark, blank) in [("", ""), ("\u{feff}", end)] {
            let foundry = foundry();
            learn(&foundry, FILTERS);
            let rows =
                ["Box;Came in;Pores;Pieces", "FL-01;2031-01-15 8:00;10;24", "FL-02;2031-01-16 8:00;10;24"];
            std::fs::write(foundry.path("f.csv"), format!("{mark}{}{end}{blank}{blank}", rows.join(end)))
                .unwrap();
            let done = foundry.json("import f.csv --mapping filters");
            assert_eq!(done["records"], json!({"filter_lots": 2}), "{end:?}");
            assert_eq!(done.get("remarks"), None, "{done}");
            assert_eq!(foundry.json("show FL-01")["record"]["ppi"], 10.0);
            // The row of a fault is that of the sheet, below a cell of two lines and a blank row too.
            let bad = [
                "Box;Came in;Pores;Pieces",
                "\"FL\n-03\";2031-01-15 8:00;10;x",
                "",
                "FL-04;2031-01-15 8:00;ten;2",
            ];
            std::fs::write(foundry.path("f.csv"), bad.map(|r| r.replace('\n', end)).join(end)).unwrap();
            let faulty = foundry.run("import f.csv --mapping filters --json");
            assert_eq!(faulty.code, 2);
            let faults = faulty.json()["faults"].clone();
            let places: Vec<_> =
                faults.as_array().unwrap().iter().map(|f| (f["line"].clone(), f["column"].clone())).collect();
            assert!(places.contains(&(json!(2), json!("Pieces"))), "{faults}");
            assert!(places.contains(&(json!(4), json!("Pores"))), "{faults}");
        }
    }
}

#[test]
fn every_element_of_a_certificate_is_taken_whatever_ends_its_lines() {
    for end in ENDS {
        let foundry = foundry();
        foundry
            .run("certificate map rows --header 3 --element Element --value Result --unit Unit --heat B1")
            .done();
        let rows = ["Heat;V-1", "", "Element;Result;Unit", "Cr;12,5;%", "Mo;4,20;%", "N;14;ppm"];
        std::fs::write(foundry.path("c.csv"), rows.join(end)).unwrap();
        let call = "certificate import c.csv --subject IL31-01 --mapping rows --taken-at 2031-01-02";
        let taken = foundry.json(call);
        let all = json!([["Cr", "12.5", "wt%", "B4"], ["Mo", "4.20", "wt%", "B5"], ["N", "14", "ppm", "B6"]]);
        assert_eq!(taken["contents"], all, "{end:?}");
        assert_eq!(taken["records"]["analysis_values"], 3);
    }
}

#[test]
fn letters_of_other_programs() {
    let text = "Box;Came in;Größe\r\nFL-01;2031-01-15 8:00;10\r\n";
    let western: Vec<u8> = text.chars().map(|c| u8::try_from(u32::from(c)).unwrap()).collect();
    let wide: Vec<u8> = [0xfeff].into_iter().chain(text.encode_utf16()).flat_map(u16::to_le_bytes).collect();
    for (bytes, said) in
        [(western, "Windows-1252"), (wide, "UTF-16"), (text.as_bytes().to_vec(), "wrote 1 record")]
    {
        let foundry = foundry();
        foundry
            .run_with(&[
                "sheet",
                "map",
                "f",
                "filter_lots",
                "filter_lot=Box",
                "received_at=Came in",
                "ppi=Größe",
                "--offset",
                "+00:00",
            ])
            .done();
        std::fs::write(foundry.path("f.csv"), bytes).unwrap();
        let done = foundry.run("import f.csv --mapping f").done();
        assert!(done.out.contains(said), "{said}: {}", done.out);
        assert_eq!(foundry.json("show FL-01")["record"]["ppi"], 10.0);
    }
}

#[test]
fn spreadsheets_of_other_makers() {
    for (file, bytes, hidden) in [
        ("f.xls", include_bytes!("reference/sheets/filters.xls").as_slice(), "of an XLS cannot be told"),
        (
            "f.ods",
            include_bytes!("reference/sheets/filters.ods").as_slice(),
            "hidden rows, read like any other: 3",
        ),
    ] {
        let foundry = foundry();
        std::fs::write(foundry.path(file), bytes).unwrap();
        learn(&foundry, FILTERS);
        let done = foundry.run(&format!("import {file} --mapping filters")).done();
        for part in
            [hidden, "columns not taken: Remark, #G (no title; first lid open)", "(row 4: Total | 48)"]
        {
            let part = part.replace("lid open", "lid was open");
            assert!(done.out.contains(&part), "{part}: {}", done.out);
        }
        let lot = foundry.json("show FL-02")["record"].clone();
        assert_eq!(
            (&lot["received_at"], &lot["ppi"]),
            (&json!("2031-01-22T09:30:00+01:00"), &json!(12.5)),
            "{file}"
        );
        assert_eq!(foundry.json("show FL-01")["record"]["received_count"], 24);
        if file == "f.ods" {
            assert!(done.out.contains("hidden columns, read like any other: D"), "{}", done.out);
        }
        foundry.run(&format!("sheet look {file} --kind filter_lots")).done();
    }
}

#[test]
fn midnight_in_a_column_that_shows_hours_is_a_time() {
    let foundry = foundry();
    learn(&foundry, FILTERS);
    let mut book = Workbook::new();
    let sheet = book.add_worksheet();
    for (c, title) in ["Box", "Came in", "Pores", "Pieces"].into_iter().enumerate() {
        sheet.write(0, c as u16, title).unwrap();
    }
    let midnight = ExcelDateTime::from_ymd(2031, 1, 15).unwrap().and_hms(0, 0, 0).unwrap();
    let hours = [Format::new().set_num_format("dd.mm.yyyy hh:mm"), Format::new().set_num_format_index(22)];
    for (r, format) in (1..).zip(&hours) {
        sheet.write(r, 0, format!("FL-0{r}")).unwrap().write_with_format(r, 1, &midnight, format).unwrap();
    }
    sheet.set_row_hidden(2).unwrap();
    book.save(foundry.path("f.xlsx")).unwrap();
    let done = foundry.run("import f.xlsx --mapping filters").done();
    assert!(done.out.contains("hidden rows, read like any other: 3"), "{}", done.out);
    for lot in ["FL-01", "FL-02"] {
        let lot = foundry.json(&format!("show {lot}"))["record"].clone();
        assert_eq!((&lot["received_at"], &lot["note"]), (&json!("2031-01-15T00:00:00+01:00"), &json!(null)));
    }
    // A day alone is none, whatever letters its format quotes.
    let mut book = Workbook::new();
    let sheet = book.add_worksheet();
    for (c, title) in ["Box", "Came in", "Pores", "Pieces"].into_iter().enumerate() {
        sheet.write(0, c as u16, title).unwrap();
    }
    let day = Format::new().set_num_format("dd.mm.yyyy\"h\"");
    sheet.write(1, 0, "FL-09").unwrap().write_with_format(1, 1, &midnight, &day).unwrap();
    book.save(foundry.path("f.xlsx")).unwrap();
    foundry
        .run("import f.xlsx --mapping filters")
        .fails(2, "line 2, Came in = 2031-01-15: received_at: is a date alone");
}

#[test]
fn a_sheet_as_it_is_comes_in_in_one_go() {
    for end in ENDS {
        let foundry = foundry();
        foundry
            .run_with(&[
                "sheet",
                "map",
                "pours",
                "pours",
                "mould=Form",
                "heat=Schmelze",
                "poured_at=Datum+Zeit",
                "indicated_c=Temp",
                "mass_kg=Masse",
                "--offset",
                "+01:00",
                "--header",
                "2",
            ])
            .done();
        foundry.run("log heats heat=H31-101 alloy=QA-713/3 furnace=F1 --as OP-1").done();
        let rows = [
            "Giessbuch 2031;;;;;",
            "Form;Schmelze;Datum;Zeit;Temp [°C];Masse",
            "m31-001 ;h31-101;15.3.2031;9:05;1450,5;12,5 kg",
            "M31-002;H31-101;47923;0,375;1448.5;n/a",
            ";;;;;",
            "Summe;;;;;12,5",
        ];
        std::fs::write(foundry.path("book.csv"), rows.join(end)).unwrap();
        let done = foundry.run("import book.csv --mapping pours --json").done().json();
        assert_eq!(done["records"], json!({"pours": 2}), "{done}");
        assert_eq!(done["left_out"], json!({"rows": [[1, 1], [6, 6]], "columns": []}));
        let pour = foundry.json("show pours:M31-001")["record"].clone();
        assert_eq!(pour["poured_at"], "2031-03-15T09:05:00+01:00");
        assert_eq!((&pour["indicated_c"], &pour["mass_kg"]), (&json!(1450.5), &json!(12.5)));
        // Day 47923 is 2031-03-16: 31 days from 47892, the 13th of February, counted on a calendar.
        let pour = foundry.json("show pours:M31-002")["record"].clone();
        assert_eq!(
            (&pour["poured_at"], &pour["mass_kg"]),
            (&json!("2031-03-16T09:00:00+01:00"), &json!("n/a"))
        );
    }
}

#[test]
fn analyses_get_their_tags_from_a_pattern() {
    let foundry = foundry();
    foundry
        .run_with(&[
            "sheet",
            "map",
            "an",
            "analyses",
            "subject=Lot",
            "taken_at=When",
            "--fill",
            "purpose=check",
            "--tag",
            "AN-{subject}-{n}",
            "--offset",
            "+00:00",
            "--dates",
            "day-first",
        ])
        .done();
    std::fs::write(
        foundry.path("a.csv"),
        "Lot,When\r\nIL31-01,3.2.2031 8:00\r\nIL31-01,4.2.2031 8:00\r\nIL31-02,4.2.2031 9:00\r\n",
    )
    .unwrap();
    assert_eq!(foundry.json("import a.csv --mapping an")["records"], json!({"analyses": 3}));
    assert_eq!(foundry.json("show AN-IL31-01-2")["record"]["taken_at"], "2031-02-04T08:00:00+00:00");
    // The same sheet gives the same tags.
    assert_eq!(foundry.json("import a.csv --mapping an")["unchanged"], 3);
    let printed = foundry.run("sheet map an").done().out;
    assert!(printed.contains("--tag 'AN-{subject}-{n}'"), "{printed}");
}

#[test]
fn day_or_month_is_asked_once_with_both_readings() {
    let foundry = foundry();
    learn(&foundry, FILTERS);
    let sheet = "Box;Came in;Pores;Pieces\r\nFL-1;3.11.2030 8:00;10;1\r\nFL-2;4.11.2030 8:00;10;1\r\n";
    std::fs::write(foundry.path("f.csv"), sheet).unwrap();
    let asked = foundry.run("import f.csv --mapping filters");
    assert_eq!(asked.err.matches("two ways").count(), 1, "{}", asked.err);
    let asked = asked.fails(2, "line 2, Came in = 3.11.2030 8:00");
    for part in
        ["2030-11-03 or 2030-03-11", "--dates day-first", "1 further cell of this sheet asks the same"]
    {
        assert!(asked.err.contains(part), "{part}: {}", asked.err);
    }
    foundry.run("show FL-1").fails(2, "FL-1");
}

#[test]
fn twelve_sheets_that_cannot_be_taken_get_a_sentence_and_write_nothing() {
    let foundry = foundry();
    learn(&foundry, FILTERS);
    let head = "Box;Came in;Pores;Pieces";
    let good = "FL-1;2031-01-15 8:00;10;1";
    let rows = |more: &[&str]| [&[head, good], more].concat().join("\r\n").into_bytes();
    let cut = include_bytes!("reference/sheets/filters.ods");
    let old = include_bytes!("reference/sheets/filters.xls");
    for (name, bytes, says) in [
        ("open.csv", rows(&["\"FL-2;2031-01-15 8:00;10;1"]), "row 3 has a quotation mark that is still open"),
        ("again.csv", rows(&["fl-1;2031-01-16 8:00;10;1"]), "line 3"),
        (
            "twice.csv",
            b"Box;Box;Came in;Pores;Pieces\r\n1;2;3;4;5\r\n".to_vec(),
            "two columns are called Box; say which: #A or #B",
        ),
        ("untitled.csv", b"1;2;3\r\n4;5;6\r\n".to_vec(), "line 1, Box: the row of titles has no column Box"),
        ("day.csv", rows(&["FL-2;31.2.2031 8:00;10;1"]), "line 3, Came in = 31.2.2031 8:00"),
        (
            "unit.csv",
            rows(&["FL-2;2031-01-15 8:00;10 mm;1"]),
            "line 3, Pores = 10 mm: ppi: has \"mm\" beside the number",
        ),
        ("error.csv", rows(&["FL-2;#VALUE!;10;1"]), "line 3, Came in = #VALUE!"),
        ("minus.csv", rows(&["FL-2;2031-01-15 8:00;10;-4"]), "line 3, Pieces = -4"),
        (
            "tag.csv",
            rows(&["box number two of the second pallet from the left;2031-01-15 8:00;10;1"]),
            "line 3, Box = box number",
        ),
        ("binary.csv", b"Box;Came in\0\x01\x02".to_vec(), "bytes that are not text"),
        ("cut.ods", cut[..cut.len() / 2].to_vec(), "damaged or cut-off spreadsheet"),
        ("cut.xls", old[..old.len() / 2].to_vec(), "cannot be read"),
        ("letters.csv", b"Box;Gr\xc3\xb6\xc3\x9fe\r\nFL\xff-1;1\r\n".to_vec(), "is UTF-8 but for line 2"),
    ] {
        std::fs::write(foundry.path(name), &bytes).unwrap();
        let answer = foundry.run(&format!("import {name} --mapping filters")).fails(2, says);
        assert!(answer.err.contains(name), "{name}: {}", answer.err);
        foundry.run("show FL-1").fails(2, "FL-1");
    }
    foundry.run("verify").done();
}

#[test]
fn a_bomb_of_an_ods_is_refused_before_it_is_laid_out() {
    use std::io::Write;
    let foundry = foundry();
    learn(&foundry, FILTERS);
    let mut zip = zip::ZipWriter::new(std::fs::File::create(foundry.path("b.ods")).unwrap());
    let plain = zip::write::SimpleFileOptions::default();
    zip.start_file("mimetype", plain.compression_method(zip::CompressionMethod::Stored)).unwrap();
    zip.write_all(b"application/vnd.oasis.opendocument.spreadsheet").unwrap();
    zip.start_file("content.xml", plain).unwrap();
    let row = r#"<table:table-row table:number-rows-repeated="1000000"><table:table-cell office:value-type="float" office:value="1" table:number-columns-repeated="900"/></table:table-row>"#;
    let text = format!(
        r#"<office:document-content xmlns:office="o" xmlns:table="t"><office:body><office:spreadsheet><table:table table:name="S">{row}</table:table></office:spreadsheet></office:body></office:document-content>"#
    );
    zip.write_all(text.as_bytes()).unwrap();
    zip.finish().unwrap();
    foundry
        .run("import b.ods --mapping filters")
        .fails(2, "1000000 rows and 900 columns; no sheet of one kind of record is that long");
}

#[test]
fn causes_come_first_and_what_follows_from_them_is_counted() {
    for end in ["\n", "\r\n"] {
        let foundry = Foundry::new();
        let mut files: Vec<(&str, String)> = SMALL
            .iter()
            .map(|(name, text)| (*name, text.replace("\"a\nb\"", "ab").replace('\n', end)))
            .collect();
        for (name, text) in &mut files {
            match *name {
                // One revert lot whose day is none; of three charges that name it two more are good in themselves.
                "revert_lots.csv" => *text = text.replace("2031-03-05T00:00:00Z", "2031-03-35"),
                "charges.csv" => text
                    .push_str(&["H31-001,RV31-01,1", "H31-001,RV31-01,2", "H31-009,IL31-01,2", ""].join(end)),
                _ => {}
            }
        }
        let files: Vec<(&str, &str)> = files.iter().map(|(n, t)| (*n, t.as_str())).collect();
        foundry.write_bundle("bundle", &files);
        let answer = foundry.run("import bundle --json");
        assert_eq!(answer.code, 2);
        let faults = answer.json()["faults"].clone();
        let first = &faults[0];
        assert_eq!(
            (&first["file"], &first["line"], &first["column"]),
            (&json!("revert_lots.csv"), &json!(2), &json!("made_at"))
        );
        // Its source, and three charges: counted in the bundle by hand.
        assert!(first["message"].as_str().unwrap().ends_with("; and 4 rows that name it"), "{faults}");
        // What is wrong by itself is still said.
        assert_eq!(faults.as_array().unwrap().len(), 2, "{faults}");
        assert_eq!((&faults[1]["file"], &faults[1]["value"]), (&json!("charges.csv"), &json!("H31-009")));
    }
}

/// One lot with limits on a sum.
fn alloyed() -> Foundry {
    let foundry = Foundry::new();
    foundry.write_bundle(
        "bundle",
        &[
            ("alloys.csv", "alloy,revision\nQA-713/3,\nQA-9,\n"),
            (
                "alloy_limits.csv",
                "alloy,element,min,max,unit\nQA-713/3,Cr,12,14,wt%\nQA-713/3,Nb+Ta,1.8,2.8,wt%\nQA-713/3,Ni,60,,wt%\nQA-9,Cr,12,14,wt%\n",
            ),
            (
                "ingot_lots.csv",
                "ingot_lot,alloy,maker_heat,received_at,mass_kg\nIL-1,QA-713/3,V-100,2031-01-01T00:00:00Z,500\nIL-2,QA-713/3,V-101,2031-01-01T00:00:00Z,500\nIL-9,QA-9,V-100,2031-01-01T00:00:00Z,500\n",
            ),
        ],
    );
    foundry.run("import bundle").done();
    foundry
}

fn take(foundry: &Foundry, lot: &str, mapping: &str) -> serde_json::Value {
    foundry
        .json(&format!("certificate import c.csv --subject {lot} --mapping {mapping} --taken-at 2031-01-02"))
}

#[test]
fn elements_across_with_limits_units_a_sum_and_two_blocks() {
    for end in ENDS {
        let foundry = alloyed();
        foundry.run("certificate map across --header 2 --heat Heat").done();
        let page = [
            "Certificate 31/7;;;;;",
            "Heat;Cr [%];Nb+Ta [%];Ni [%];C [%];Date",
            "Min;12,0;1,8;;0,08;",
            "Max;14,0;2,8;;0,16;",
            "V-100;12,8;2,1;bal.;0,12;2030-12-24",
            "V-101;13,1;2,2;bal.;<0,10;2030-12-24",
            ";;;;;",
            "Heat;N;O;Pb;;",
            ";ppm;ppm;ppm;;",
            "V-100;14;< 5;n.d.;;",
            "V-101;16;6;<1;;",
            "Signed: somebody;;;;;",
        ];
        std::fs::write(foundry.path("c.csv"), page.join(end)).unwrap();
        let taken = take(&foundry, "IL-1", "across");
        let wanted = json!([
            ["Cr", "12.8", "wt%", "B5"],
            ["Nb+Ta", "2.1", "wt%", "C5"],
            ["C", "0.12", "wt%", "E5"],
            ["N", "14", "ppm", "B10"],
            ["O", "<5", "ppm", "C10"]
        ]);
        assert_eq!(taken["contents"], wanted, "{end:?}");
        let remarks = taken["remarks"].to_string();
        for part in [
            "row 3 (Min) holds limits, not taken",
            "row 4 (Max) holds limits, not taken",
            "Ni is stated as the balance (D5: bal.); no value is taken",
            "columns not taken: Date",
            "no value is stated of Pb (D10: n.d.)",
            "heats not taken: V-101",
            "rows not taken, above the headers: 1",
            "rows not taken, without a value that is asked for: 12",
        ] {
            assert!(remarks.contains(part), "{part}: {remarks}");
        }
        assert!(!remarks.contains("no limit on it"), "{remarks}");
        let checked = foundry.json("alloy check IL-1");
        let sum =
            checked["elements"].as_array().unwrap().iter().find(|e| e["element"] == "Nb+Ta").unwrap().clone();
        assert_eq!((&sum["value"], &sum["ok"]), (&json!(2.1), &json!(true)), "{checked}");
        // An alloy without a limit on the sum: kept, and said.
        std::fs::write(foundry.path("c.csv"), page.join(end).replace("31/7", "31/8")).unwrap();
        let other = take(&foundry, "IL-9", "across");
        assert!(
            other["remarks"].to_string().contains("Nb+Ta is kept as a sum; QA-9 has no limit on it"),
            "{other}"
        );
        assert_eq!(foundry.json("show analysis_values:AN-IL-9-1/Nb+Ta")["record"]["value"], 2.1);
        foundry.run("verify").done();
    }
}

#[test]
fn a_sum_outside_its_limits_is_said() {
    let foundry = alloyed();
    foundry.run("certificate map across --header 1 --heat Heat --unit-is wt%").done();
    std::fs::write(foundry.path("c.csv"), "Heat;Cr;Ta + Nb\r\nV-100;12.8;3.1\r\n").unwrap();
    let taken = take(&foundry, "IL-1", "across");
    assert!(taken["remarks"].to_string().contains("Nb+Ta 3.1 wt% lies outside the limits"), "{taken}");
    let checked = foundry.run("alloy check IL-1 --json");
    assert_eq!(checked.code, 1);
    let checked = checked.json();
    let sum =
        checked["elements"].as_array().unwrap().iter().find(|e| e["element"] == "Nb+Ta").unwrap().clone();
    assert_eq!(sum["ok"], false, "{checked}");
}

#[test]
fn elements_down_with_a_column_for_each_heat() {
    for end in ENDS {
        let foundry = alloyed();
        foundry
            .run("certificate map down --header 2 --element Element --value Result --unit Unit --heat 1")
            .done();
        let page = [
            ";;;;V-100;V-101",
            "Element;Unit;Min;Max;Result;Result 2",
            "Chromium;%;12.0;14.0;12.8;13.1",
            "Nb (+Ta);%;1.8;2.8;2.1;2.2",
            "Ni;%;;;Balance;Balance",
            "Carbon;%;;0.16;0.12;-",
            "N;ppm;;60;14 ppm;16",
            "Total others;%;;0.5;;",
        ];
        std::fs::write(foundry.path("c.csv"), page.join(end)).unwrap();
        let taken = take(&foundry, "IL-2", "down");
        let wanted =
            json!([["Cr", "13.1", "wt%", "F3"], ["Nb+Ta", "2.2", "wt%", "F4"], ["N", "16", "ppm", "F7"]]);
        assert_eq!(taken["contents"], wanted, "{end:?}");
        let remarks = taken["remarks"].to_string();
        for part in [
            "columns not taken: Min, Max",
            "no value is stated of C (F6: -)",
            "Ni is stated as the balance (F5: Balance)",
        ] {
            assert!(remarks.contains(part), "{part}: {remarks}");
        }
    }
}

#[test]
fn several_heats_below_each_other_each_with_its_own_headers() {
    let foundry = alloyed();
    foundry
        .run("certificate map down --header 2 --element Element --value Result --unit-is wt% --heat B1")
        .done();
    let page = "Heat,V-100\r\nElement,Result\r\nCr,12.8\r\n\r\nHeat,V-101\r\nElement,Result\r\nCr,13.1\r\n";
    std::fs::write(foundry.path("c.csv"), page).unwrap();
    assert_eq!(take(&foundry, "IL-2", "down")["contents"], json!([["Cr", "13.1", "wt%", "B7"]]));
}

#[test]
fn what_a_certificate_cannot_mean_is_asked() {
    let foundry = alloyed();
    foundry.run("certificate map across --header 1 --heat Heat --unit-is wt%").done();
    for (cell, says) in [
        ("0.1-0.2", "C2 = 0.1-0.2: is a range or a limit"),
        ("max 0.2", "C2 = max 0.2: is a range or a limit"),
        ("1,250", "C2 = 1,250: may be 1250 or 1.250"),
        ("12.5 kg", "C2 = 12.5 kg: not a number"),
    ] {
        std::fs::write(foundry.path("c.csv"), format!("Heat;Cr;C\r\nV-100;12.8;{cell}\r\n")).unwrap();
        foundry
            .run("certificate import c.csv --subject IL-1 --mapping across --taken-at 2031-01-02")
            .fails(2, says);
    }
    foundry.run("show AN-IL-1-1").fails(2, "AN-IL-1-1");
}
