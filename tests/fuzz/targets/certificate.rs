//! A maker's certificate. The first line is the mapping, fields between `;`:
//! by_element;header;sheet;element;value;unit;units_row;unit_is;uncertainty;heat;reason;part
//! `part` is empty where the rest is the file itself; else it names a part of a spreadsheet (s: the
//! sheet, t: the shared texts, b: the book, r: its links) that the rest takes the place of.
#![no_main]
use std::cell::RefCell;
use std::io::{Cursor, Write};

use libfuzzer_sys::fuzz_target;
use meltkin::jobs::chemistry::certificate::{Mapping, Request, import, learn};
use records::Store;
use meltkin_fuzz::{begin, comes_round, finite, foundry, scratch, sound, unchanged, who};

const TYPES: &str = r#"<?xml version="1.0"?><Types xmlns="http://schemas.openxmlformats.org/package/2006/content-types"><Default Extension="rels" ContentType="application/vnd.openxmlformats-package.relationships+xml"/><Default Extension="xml" ContentType="application/xml"/><Override PartName="/xl/workbook.xml" ContentType="application/vnd.openxmlformats-officedocument.spreadsheetml.sheet.main+xml"/></Types>"#;
const ROOT: &str = r#"<?xml version="1.0"?><Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships"><Relationship Id="rId1" Type="http://schemas.openxmlformats.org/officeDocument/2006/relationships/officeDocument" Target="xl/workbook.xml"/></Relationships>"#;
const LINKS: &str = r#"<?xml version="1.0"?><Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships"><Relationship Id="rId1" Type="http://schemas.openxmlformats.org/officeDocument/2006/relationships/worksheet" Target="worksheets/sheet1.xml"/><Relationship Id="rId2" Type="http://schemas.openxmlformats.org/officeDocument/2006/relationships/sharedStrings" Target="sharedStrings.xml"/></Relationships>"#;
const BOOK: &str = r#"<?xml version="1.0"?><workbook xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main" xmlns:r="http://schemas.openxmlformats.org/officeDocument/2006/relationships"><sheets><sheet name="C" sheetId="1" r:id="rId1"/></sheets></workbook>"#;
const TEXTS: &str = r#"<?xml version="1.0"?><sst xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main" count="4" uniqueCount="4"><si><t>Element</t></si><si><t>Result</t></si><si><t>Unit</t></si><si><t>Cr</t></si></sst>"#;
const SHEET: &str = r#"<?xml version="1.0"?><worksheet xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"><sheetData><row r="1"><c r="A1" t="s"><v>0</v></c><c r="B1" t="s"><v>1</v></c><c r="C1" t="s"><v>2</v></c></row><row r="2"><c r="A2" t="s"><v>3</v></c><c r="B2"><v>12.5</v></c><c r="C2" t="inlineStr"><is><t>wt%</t></is></c></row></sheetData></worksheet>"#;

fn book(part: &str, rest: &[u8]) -> Option<Vec<u8>> {
    let pick = |name: &str, usual: &'static str| if part == name { rest } else { usual.as_bytes() };
    let mut zip = zip::ZipWriter::new(Cursor::new(Vec::new()));
    let stored = zip::write::SimpleFileOptions::default().compression_method(zip::CompressionMethod::Stored);
    for (name, bytes) in [
        ("[Content_Types].xml", TYPES.as_bytes()),
        ("_rels/.rels", ROOT.as_bytes()),
        ("xl/workbook.xml", pick("b", BOOK)),
        ("xl/_rels/workbook.xml.rels", pick("r", LINKS)),
        ("xl/sharedStrings.xml", pick("t", TEXTS)),
        ("xl/worksheets/sheet1.xml", pick("s", SHEET)),
    ] {
        zip.start_file(name, stored).ok()?;
        zip.write_all(bytes).ok()?;
    }
    Some(zip.finish().ok()?.into_inner())
}

thread_local!(static BASE: RefCell<Option<(Store, (String, u64))>> = const { RefCell::new(None) });

fuzz_target!(|data: &[u8]| {
    begin();
    let cut = data.iter().position(|b| *b == b'\n').unwrap_or(data.len());
    let line = String::from_utf8_lossy(&data[..cut]).into_owned();
    let rest = data.get(cut + 1..).unwrap_or_default();
    let said: Vec<&str> = line.split(';').collect();
    let word = |i: usize| said.get(i).filter(|s| !s.is_empty()).map(|s| s.to_string());
    let number = |i: usize| said.get(i).and_then(|s| s.parse::<u32>().ok());
    let mapping = Mapping {
        by_element: word(0).is_some(),
        header: number(1).unwrap_or(1),
        sheet: word(2),
        element: word(3),
        value: word(4),
        unit: word(5),
        units_row: number(6),
        unit_is: word(7),
        uncertainty: word(8),
        heat: word(9),
    };
    let bytes = match word(11).as_deref() {
        Some(part @ ("s" | "t" | "b" | "r")) => match book(part, rest) {
            Some(bytes) => bytes,
            None => return,
        },
        _ => rest.to_vec(),
    };
    BASE.with_borrow_mut(|base| {
        let (mut store, before) = base.take().unwrap_or_else(|| {
            let store = foundry();
            let state = sound(&store);
            (store, state)
        });
        if learn(&store, "m", &mapping).is_err() {
            *base = Some((store, before));
            return;
        }
        let file = scratch("certificate").join("a.xlsx");
        std::fs::write(&file, &bytes).expect("a file in memory");
        let request = Request {
            subject: "T-ingot_lots".into(),
            mapping: "m".into(),
            purpose: "maker".into(),
            taken_at: Some("2031-01-02".into()),
            reason: word(10),
            ..Request::default()
        };
        let done = import(&mut store, &who(Some("T-people")), &file, &request);
        match done {
            Ok(taken) if taken.faults.is_empty() => {
                for (_, value, _, _) in &taken.contents {
                    let number = value.strip_prefix('<').unwrap_or(value).parse::<f64>();
                    assert!(number.is_ok_and(f64::is_finite), "{value:?}");
                }
                if !line.contains("NaN") && !line.contains("inf") && !taken.remarks.iter().any(|r| r.contains("inf") || r.contains("NaN")) {
                    finite(&taken.text());
                }
                sound(&store);
                comes_round(&store);
            }
            Ok(taken) => {
                unchanged(&store, &before);
                for fault in &taken.faults {
                    assert!(!fault.text().chars().any(char::is_control), "{:?}", fault.text());
                }
                *base = Some((store, before));
            }
            Err(_) => {
                unchanged(&store, &before);
                *base = Some((store, before));
            }
        }
    });
});
