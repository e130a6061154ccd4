//! Damaged and absurd sheets: each gets a sentence with its own row and title, whichever way it is taken, and nothing is
//! written.

use std::io::Write;

use rust_xlsxwriter::{Format, Formula, Workbook};

use crate::support::Foundry;

const HEAD: [&str; 4] = ["Box", "Came in", "Pores", "Remark"];
const COLUMNS: &str = "filter_lot=Box received_at=Came_in ppi=Pores note=Remark --offset +01:00";

/// The words of a call; a blank in a title is written with an underscore.
fn words(call: &str) -> Vec<String> {
    call.split(' ').map(|w| w.replace("=Came_in", "=Came in")).collect()
}

fn run(foundry: &Foundry, call: &str) -> crate::support::Answer {
    let words = words(call);
    foundry.run_with(&words.iter().map(String::as_str).collect::<Vec<_>>())
}

fn head(foundry: &Foundry) -> String {
    foundry.json("verify")["head"].as_str().unwrap().to_string()
}

fn csv(rows: &[&str]) -> Vec<u8> {
    [&[HEAD.join(";").as_str(), "FL-1;2031-01-15 8:00;10;"], rows].concat().join("\r\n").into_bytes()
}

/// A spreadsheet with the titles and one good row, and what else `more` writes.
fn book(more: impl Fn(&mut rust_xlsxwriter::Worksheet)) -> Vec<u8> {
    let mut book = Workbook::new();
    let sheet = book.add_worksheet();
    for (c, title) in HEAD.into_iter().enumerate() {
        sheet.write(0, c as u16, title).unwrap();
    }
    sheet.write(1, 0, "FL-1").unwrap().write(1, 1, "2031-01-15 8:00").unwrap().write(1, 2, 10).unwrap();
    more(sheet);
    book.save_to_buffer().unwrap()
}

fn nothing() -> Vec<u8> {
    let mut book = Workbook::new();
    book.add_worksheet();
    book.save_to_buffer().unwrap()
}

/// A spreadsheet whose table of contents says that a part of it unpacks to two gigabytes.
fn bomb() -> Vec<u8> {
    let mut zip = zip::ZipWriter::new(std::io::Cursor::new(Vec::new()));
    zip.start_file("xl/workbook.xml", zip::write::SimpleFileOptions::default()).unwrap();
    zip.write_all(&[b' '; 4096]).unwrap();
    let mut bytes = zip.finish().unwrap().into_inner();
    // APPNOTE.TXT 4.3.12: in an entry of the contents the size stands 24 bytes behind its signature PK 1 2.
    let at = bytes.windows(4).rposition(|w| w == b"PK\x01\x02").unwrap() + 24;
    bytes[at..at + 4].copy_from_slice(&0x7fff_ffff_u32.to_le_bytes());
    bytes
}

#[test]
fn each_gets_its_sentence_and_nothing_is_written() {
    let foundry = Foundry::new();
    foundry.write_bundle("bundle", &[("alloys.csv", "alloy,revision\nQA-1,\n")]);
    foundry.run("import bundle").done();
    run(&foundry, &format!("sheet map boxes filter_lots {COLUMNS}")).done();
    let before = head(&foundry);
    let whole = book(|_| {});
    let long = "x".repeat(5 << 20);
    // The first of them ends the row above.
    let blank = "\r\n".repeat(1_000_000);
    let sheets: Vec<(&str, Vec<u8>, &str)> = vec![
        ("cut.xlsx", whole[..whole.len() / 2].to_vec(), "is a damaged or cut-off spreadsheet"),
        ("paper.xlsx", b"%PDF-1.7\n1 0 obj\n".to_vec(), "is a PDF; values come from a spreadsheet or a CSV"),
        ("empty.csv", Vec::new(), "is empty"),
        ("nothing.xlsx", nothing(), "is empty: no cell of the sheet holds anything"),
        ("titles.csv", HEAD.join(";").into_bytes(), "titles.csv line 1: no row stands below the titles"),
        (
            "blank.csv",
            [&csv(&[])[..], blank.as_bytes(), b"FL-2;2031-01-15 8:00;10;"].concat(),
            "goes on at A1000002 beyond 200000 rows",
        ),
        (
            "merged.xlsx",
            book(|s| {
                s.merge_range(1, 2, 2, 2, "10", &Format::new()).unwrap();
                s.write(2, 0, "FL-2").unwrap().write(2, 1, "2031-01-15 8:00").unwrap();
            }),
            "merged.xlsx line 2, Pores: the cells C2:C3 are merged",
        ),
        (
            "errors.xlsx",
            book(|s| {
                s.write(2, 0, "FL-2").unwrap().write(2, 1, "2031-01-15 8:00").unwrap();
                s.write_formula(2, 2, Formula::new("=1/0").set_result("#DIV/0!")).unwrap();
            }),
            "errors.xlsx line 3, Pores = the error #DIV/0!: ppi: is the error #DIV/0!",
        ),
        (
            "errors.csv",
            csv(&["FL-2;2031-01-15 8:00;10;#REF!"]),
            "errors.csv line 3, Remark = #REF!: note: is the error",
        ),
        ("long.csv", csv(&[&format!("{long};2031-01-15 8:00;10;")]), "long.csv line 3, Box = xxx"),
        (
            "twice.csv",
            b"Box;Box;Came in;Pores;Remark\r\nFL-1;FL-2;2031-01-15 8:00;10;\r\n".to_vec(),
            "two columns are called Box; say which: #A or #B",
        ),
        (
            "old.csv",
            csv(&["FL-2;15.01.1899 8:00;10;"]),
            "old.csv line 3, Came in = 15.01.1899 8:00: received_at: is before 1900",
        ),
        ("bomb.xlsx", bomb(), "unpacks to more than 256 MB"),
        (
            "binary.csv",
            [b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR".to_vec(), vec![0; 64]].concat(),
            "is neither XLSX nor",
        ),
    ];
    assert!(sheets.len() >= 12);
    for (name, bytes, says) in &sheets {
        std::fs::write(foundry.path(name), bytes).unwrap();
        for call in [
            format!("import {name} --mapping boxes"),
            format!("sheet take {name} --kind filter_lots {COLUMNS}"),
            format!("sheet take {name} --kind filter_lots {COLUMNS} --json"),
        ] {
            let answer = run(&foundry, &call);
            assert_eq!(answer.code, 2, "{name}: {call}: {}{}", answer.out, answer.err);
            let said = format!("{}{}", answer.out, answer.err);
            assert!(
                answer.err.contains(says),
                "{name}: {call}: {}",
                answer.err.chars().take(2000).collect::<String>()
            );
            assert!(answer.err.contains(name) && !said.contains("panicked"), "{name}: {}", answer.err);
            // Nobody reads a cell of five megabytes on a terminal.
            assert!(answer.err.len() < 4000, "{name}: {} letters", answer.err.len());
        }
        assert_eq!(head(&foundry), before, "{name}");
    }
    // By its content, not by its name; blank rows at the end are none.
    std::fs::write(foundry.path("odd.xlsx"), [&csv(&[])[..], blank.as_bytes()].concat()).unwrap();
    run(&foundry, "import odd.xlsx --mapping boxes --check").done();
    std::fs::write(foundry.path("odd.csv"), &whole).unwrap();
    run(&foundry, "import odd.csv --mapping boxes --check").done();
    foundry.run("verify").done();
}
