//! Certificates as spreadsheets: two layouts, mixed-up units, a neighbour's file, bad files. The
//! files are made here by the spreadsheet library, not by our own export.

use std::io::Write;

use rust_xlsxwriter::{ExcelDateTime, Format, Workbook};

use crate::support::Foundry;

/// Invented alloy, lots and limits.
fn foundry() -> Foundry {
    let foundry = Foundry::new();
    foundry.write_bundle(
        "bundle",
        &[
            ("alloys.csv", "alloy,revision\nQA-713/3,\n"),
            (
                "alloy_limits.csv",
                "alloy,element,min,max,unit\nQA-713/3,Cr,12,14,wt%\nQA-713/3,Al,5.5,6.5,wt%\nQA-713/3,Mo,3.8,5.2,wt%\nQA-713/3,N,,60,ppm\nQA-713/3,O,,25,ppm\n",
            ),
            (
                "ingot_lots.csv",
                "ingot_lot,alloy,maker_heat,received_at,mass_kg\nIL31-01,QA-713/3,V-100,2031-01-01T00:00:00Z,500\nIL31-02,QA-713/3,V-101,2031-01-01T00:00:00Z,500\nIL31-03,QA-713/3,,2031-01-01T00:00:00Z,500\n",
            ),
        ],
    );
    foundry.run("import bundle").done();
    foundry
        .run("certificate map rows --header 2 --element Element --value Result --unit Unit --heat B1")
        .done();
    foundry.run("certificate map heats --header 1 --heat Heat --unit-is wt%").done();
    foundry
}

const CALL: &str = "--taken-at 2031-01-02";

fn take(foundry: &Foundry, file: &str, subject: &str, mapping: &str, more: &str) -> crate::support::Answer {
    let call = format!("certificate import {file} --subject {subject} --mapping {mapping} {CALL} {more}");
    foundry.run(call.trim())
}

/// A row for each element, heat number in B1, header in row 2.
fn rows(foundry: &Foundry, name: &str, heat: &str, cells: &[(&str, &str, &str)]) {
    let mut book = Workbook::new();
    let sheet = book.add_worksheet().set_name("Chemistry").unwrap();
    sheet.write(0, 0, "Heat no.").unwrap().write(0, 1, heat).unwrap();
    for (c, title) in ["Element", "Result", "Unit"].into_iter().enumerate() {
        sheet.write(1, c as u16, title).unwrap();
    }
    for (r, (element, value, unit)) in (2..).zip(cells) {
        sheet.write(r, 0, *element).unwrap().write(r, 2, *unit).unwrap();
        match value.parse::<f64>() {
            Ok(v) => sheet.write(r, 1, v).unwrap(),
            Err(_) => sheet.write(r, 1, *value).unwrap(),
        };
    }
    book.save(foundry.path(name)).unwrap();
}

const GOOD: &[(&str, &str, &str)] = &[
    ("Cr", "12.5", "%"),
    ("Al", "6.1", "wt.%"),
    ("Mo", "4.2", "wt%"),
    ("N", "34", "ppm"),
    ("O", "<5", "mg/kg"),
    ("Pb", "< 1", "ppm"),
];

#[test]
fn a_row_for_each_element_is_written_with_its_attachment() {
    let foundry = foundry();
    rows(&foundry, "a.xlsx", "V-100", GOOD);
    let checked = take(&foundry, "a.xlsx", "IL31-01", "rows", "--check --json").done().json();
    assert_eq!(checked["records"]["analysis_values"], 6);
    foundry.run("show AN-IL31-01-1").fails(2, "AN-IL31-01-1");
    take(&foundry, "a.xlsx", "il31-01", "rows", "").done();
    let value = |e: &str| foundry.json(&format!("show analysis_values:AN-IL31-01-1/{e}"))["record"].clone();
    assert_eq!((&value("O")["value"], &value("O")["unit"]), (&"<5".into(), &"ppm".into()));
    assert_eq!((&value("Cr")["value"], &value("Cr")["unit"]), (&12.5.into(), &"wt%".into()));
    assert_eq!(value("Pb")["value"], "<1");
    let file = foundry.json("show AN-IL31-01-1-FILE")["record"].clone();
    let bytes = std::fs::read(foundry.path("a.xlsx")).unwrap();
    assert_eq!(file["bytes"], bytes.len());
    assert_eq!(file["sha256"].as_str().map(str::len), Some(64));
    foundry.run("verify").done();
    // The same file once more, and for a neighbour.
    take(&foundry, "a.xlsx", "IL31-01", "rows", "").fails(2, "already attached to this lot");
    let answer = take(&foundry, "a.xlsx", "IL31-02", "rows", "").fails(2, "is of heat V-100, not of V-101");
    assert!(answer.err.contains("that is the heat of IL31-01"), "{}", answer.err);
    assert!(answer.err.contains("the certificate of another"), "{}", answer.err);
}

#[test]
fn a_row_for_each_heat_takes_that_of_the_lot() {
    let foundry = foundry();
    let csv = "Heat;Cr;Al [wt%];N (ppm);Date\nV-099;12.1;6.0;30;2031-01-01\nV-101;13.1;5.9;41;2031-01-01\n";
    std::fs::write(foundry.path("h.csv"), csv).unwrap();
    let taken = take(&foundry, "h.csv", "IL31-02", "heats", "--json").done().json();
    let read: Vec<String> = taken["contents"].as_array().unwrap().iter().map(|c| c.to_string()).collect();
    assert_eq!(
        read,
        [r#"["Cr","13.1","wt%","B3"]"#, r#"["Al","5.9","wt%","C3"]"#, r#"["N","41","ppm","D3"]"#]
    );
    take(&foundry, "h.csv", "IL31-01", "heats", "").fails(2, "the file has no heat V-100");
    take(&foundry, "h.csv", "IL31-03", "heats", "").fails(2, "say which: --heat");
}

#[test]
fn mixed_up_units_are_asked_about_and_never_converted() {
    let foundry = foundry();
    let with = |name: &str, cell: (&'static str, &'static str, &'static str)| {
        let mut cells: Vec<_> = GOOD.iter().copied().filter(|c| c.0 != cell.0).collect();
        cells.push(cell);
        rows(&foundry, name, "V-100", &cells);
        take(&foundry, name, "IL31-01", "rows", "--check")
    };
    // The unit that would fit is named, with the cell.
    for (cell, says) in [
        (("N", "0.0034", "ppm"), "0.0034 wt% would be"),
        (("N", "34", "wt%"), "34 ppm would be"),
        (("Cr", "12.5", "ppm"), "12.5 wt% would be"),
        (("Cr", "125000", "ppm"), "125000 ppm is 12.5 wt%"),
        (("O", "<5", "wt%"), "5 ppm would be"),
    ] {
        let answer = with("m.xlsx", cell).fails(2, says);
        assert!(answer.err.contains("Chemistry!B8"), "{}", answer.err);
    }
    let stated = take(&foundry, "m.xlsx", "IL31-01", "rows", "--check --unit-of O=ppm --json").done().json();
    assert!(stated["contents"].to_string().contains(r#"["O","<5","ppm","B8"]"#), "{stated}");
    // What is odd and true can be recorded with a reason.
    with("c.xlsx", ("Cr", "125000", "ppm")).fails(2, "--reason");
    take(&foundry, "c.xlsx", "IL31-01", "rows", "--reason stated-so").done();
    let value = foundry.json("show analysis_values:AN-IL31-01-1/Cr")["record"]["value"].clone();
    assert_eq!(value, 125_000.0);
}

#[test]
fn limits_missed_by_a_lot_point_to_another_alloy() {
    let foundry = foundry();
    rows(&foundry, "x.xlsx", "V-100", &[("Cr", "19", "wt%"), ("Al", "1.5", "wt%"), ("Mo", "4.2", "wt%")]);
    take(&foundry, "x.xlsx", "IL31-01", "rows", "").fails(2, "Cr, Al lie outside the limits of QA-713/3");
    rows(&foundry, "y.xlsx", "V-100", &[("Cr", "14.1", "wt%"), ("Al", "6", "wt%")]);
    let taken = take(&foundry, "y.xlsx", "IL31-01", "rows", "--json").done().json();
    assert!(taken["remarks"].to_string().contains("Cr 14.1 wt% lies outside the limits"), "{taken}");
}

#[test]
fn odd_cells_are_named_with_sheet_and_cell() {
    let foundry = foundry();
    let mut book = Workbook::new();
    let sheet = book.add_worksheet().set_name("Chemistry").unwrap();
    sheet.write(0, 1, "V-100").unwrap();
    for (c, title) in ["Element", "Result", "Unit"].into_iter().enumerate() {
        sheet.write(1, c as u16, title).unwrap();
    }
    for (r, element) in (2..).zip(["Cr", "Al", "Mo", "N", "Xx"]) {
        sheet.write(r, 0, element).unwrap().write(r, 2, "wt%").unwrap();
    }
    sheet.write_formula(2, 1, "=125000/10000").unwrap();
    let date = ExcelDateTime::from_ymd(2031, 1, 6).unwrap();
    sheet.write_datetime_with_format(3, 1, &date, &Format::new().set_num_format("d.m")).unwrap();
    sheet.write(4, 1, "4,200").unwrap();
    sheet.merge_range(5, 1, 5, 3, "34", &Format::new()).unwrap();
    sheet.write(6, 1, 3.0).unwrap();
    book.add_worksheet().set_name("Secret").unwrap().set_hidden(true);
    book.save(foundry.path("o.xlsx")).unwrap();
    let answer = take(&foundry, "o.xlsx", "IL31-01", "rows", "");
    for says in [
        "Chemistry!B3 = the formula =125000/10000",
        "Chemistry!B4 = the date or time 2031-01-06",
        "Chemistry!B5 = 4,200: may be 4200 or 4.200",
        "Chemistry!B6 = 34: is in the merged cells B6:D6",
        "Chemistry!B7 = 3: Xx is not an element known here",
    ] {
        assert!(answer.err.contains(says), "{says}\n{}", answer.err);
    }
    let answer = answer.fails(2, "Chemistry");
    assert!(answer.out.contains("hidden sheet Secret was not read"), "{}", answer.out);
    take(&foundry, "o.xlsx", "IL31-01", "rows", "--sheet Secret").fails(2, "is hidden");
    take(&foundry, "o.xlsx", "IL31-01", "rows", "--sheet Chemisty").fails(2, "did you mean Chemistry");
    foundry.run("show AN-IL31-01-1").fails(2, "AN-IL31-01-1");
}

#[test]
fn bad_files_get_a_sentence() {
    let foundry = foundry();
    rows(&foundry, "good.xlsx", "V-100", GOOD);
    let whole = std::fs::read(foundry.path("good.xlsx")).unwrap();
    for keep in [4, 100, whole.len() / 2, whole.len() - 30] {
        std::fs::write(foundry.path("cut.xlsx"), &whole[..keep]).unwrap();
        take(&foundry, "cut.xlsx", "IL31-01", "rows", "").fails(2, "damaged or cut-off");
    }
    // A byte changed anywhere: a sentence or the same values, never a panic.
    for at in (0..whole.len()).step_by(whole.len() / 12) {
        let mut changed = whole.clone();
        changed[at] ^= 0x55;
        std::fs::write(foundry.path("bent.xlsx"), changed).unwrap();
        let answer = take(&foundry, "bent.xlsx", "IL31-01", "rows", "--check");
        assert!(matches!(answer.code, 0 | 2), "{at}: {}", answer.err);
    }
    // 64 MB of blanks pack to a few kilobytes.
    let mut zip = zip::ZipWriter::new(std::fs::File::create(foundry.path("bomb.xlsx")).unwrap());
    zip.start_file("xl/worksheets/sheet1.xml", zip::write::SimpleFileOptions::default()).unwrap();
    for _ in 0..64 {
        zip.write_all(&vec![b' '; 1 << 20]).unwrap();
    }
    zip.finish().unwrap();
    take(&foundry, "bomb.xlsx", "IL31-01", "rows", "").fails(2, "more than 32 MB");
    let mut zip = zip::ZipWriter::new(std::fs::File::create(foundry.path("none.xlsx")).unwrap());
    zip.start_file("a.txt", zip::write::SimpleFileOptions::default()).unwrap();
    zip.finish().unwrap();
    take(&foundry, "none.xlsx", "IL31-01", "rows", "").fails(2, "not a readable spreadsheet");
    for (name, bytes, says) in [
        ("a.pdf", b"%PDF-1.7".as_slice(), "is a PDF"),
        ("a.xls", &[0xd0, 0xcf, 0x11, 0xe0, 1], "old or a locked"),
        ("empty.csv", b"", "is empty"),
        ("latin.csv", b"Heat;Cr\n\x81;1\n", "UTF-8"),
        ("zero.csv", b"a\0b", "not text"),
        ("other.csv", b"a,b\n1,2\n", "no such column"),
    ] {
        std::fs::write(foundry.path(name), bytes).unwrap();
        take(&foundry, name, "IL31-01", "rows", "").fails(2, says);
    }
    std::fs::write(foundry.path("long.csv"), "Heat,Cr\n".to_string() + &"V-100,12.5\n".repeat(1_000_000))
        .unwrap();
    take(&foundry, "long.csv", "IL31-01", "heats", "").fails(2, "beyond 10000 rows");
    take(&foundry, "absent.xlsx", "IL31-01", "rows", "").fails(2, "cannot be read");
    take(&foundry, "good.xlsx", "IL31-01", "nobody", "").fails(2, "there is no mapping nobody");
    foundry.run("verify").done();
}
