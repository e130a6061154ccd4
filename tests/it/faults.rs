//! Every kind of fault in a bundle: file, line, column, value, what is wrong, what would be right;
//! and nothing is written.

use crate::support::Foundry;

/// Kind, text of its file, then the fault: line, column, value, part of the sentence.
type Case = (&'static str, &'static str, u64, &'static str, &'static str, &'static str);

#[rustfmt::skip]
const CELLS: &[Case] = &[
    // times and dates
    ("filter_lots", "filter_lot,received_at\nF1,2031-03-30 00:00\n", 2, "received_at", "2031-03-30 00:00", "2031-03-04T09:05:00+00:00"),
    ("filter_lots", "filter_lot,received_at\nF1,2031-02-30T00:00:00Z\n", 2, "received_at", "2031-02-30T00:00:00Z", "no such day"),
    ("filter_lots", "filter_lot,received_at\nF1,2031-03-30T24:00:00Z\n", 2, "received_at", "2031-03-30T24:00:00Z", "no such time of day"),
    ("filter_lots", "filter_lot,received_at\nF1,2031-03-30T00:00:00\n", 2, "received_at", "2031-03-30T00:00:00", "offset is missing"),
    ("filter_lots", "filter_lot,received_at\nF1,2031-03-30\n", 2, "received_at", "2031-03-30", "without a time of day"),
    ("filter_lots", "filter_lot,received_at\nF1,n/a\n", 2, "received_at", "n/a", "a time is written"),
    ("wax_lots", "wax_lot,grade,received_at,expires_on\nW,G,2031-03-30T00:00:00Z,30.03.2031\n", 2, "expires_on", "30.03.2031", "a date is written 2031-03-04"),
    ("wax_lots", "wax_lot,grade,received_at,expires_on\nW,G,2031-03-30T00:00:00Z,2031-03-30T00:00:00Z\n", 2, "expires_on", "2031-03-30T00:00:00Z", "a date is written"),
    ("shell_recipes", "recipe,revision,route,effective_from\nSR-8,A,shell,soon\n", 2, "effective_from", "soon", "or a date"),
    // numbers
    ("filter_lots", "filter_lot,received_at,ppi\nF1,2031-03-30T00:00:00Z,\"1,5\"\n", 2, "ppi", "1,5", "the decimal sign is a point"),
    ("filter_lots", "filter_lot,received_at,ppi\nF1,2031-03-30T00:00:00Z,inf\n", 2, "ppi", "inf", "not a number"),
    ("filter_lots", "filter_lot,received_at,ppi\nF1,2031-03-30T00:00:00Z,NaN\n", 2, "ppi", "NaN", "not a number"),
    ("filter_lots", "filter_lot,received_at,ppi\nF1,2031-03-30T00:00:00Z,1e999\n", 2, "ppi", "1e999", "not a number"),
    ("filter_lots", "filter_lot,received_at,ppi\nF1,2031-03-30T00:00:00Z,<\n", 2, "ppi", "<", "<5 for below detection"),
    ("filter_lots", "filter_lot,received_at,ppi\nF1,2031-03-30T00:00:00Z,>5\n", 2, "ppi", ">5", "not a number"),
    ("filter_lots", "filter_lot,received_at,ppi\nF1,2031-03-30T00:00:00Z,0x14\n", 2, "ppi", "0x14", "not a number"),
    ("filter_lots", "filter_lot,received_at,ppi\nF1,2031-03-30T00:00:00Z,8\n", 2, "ppi", "8", "plausible range 10 to 30; if it is right, say why in the note"),
    ("filter_lots", "filter_lot,received_at,received_count\nF1,2031-03-30T00:00:00Z,1.5\n", 2, "received_count", "1.5", "not a whole number"),
    ("filter_lots", "filter_lot,received_at,received_count\nF1,2031-03-30T00:00:00Z,-1\n", 2, "received_count", "-1", "not a whole number"),
    ("filter_lots", "filter_lot,received_at,received_count\nF1,2031-03-30T00:00:00Z,99999999999999999999\n", 2, "received_count", "99999999999999999999", "not a whole number"),
    ("ingot_lots", "ingot_lot,alloy,received_at,mass_kg,note\nX,QA-713/3,2031-03-30T00:00:00Z,-5,read twice\n", 2, "mass_kg", "-5", "a mass is not negative"),
    // words
    ("people", "person,role\nX,boss\n", 2, "role", "boss", "operator, inspector, metallurgist, engineer, quality"),
    ("people", "person,role\nX,qualty\n", 2, "role", "qualty", "did you mean quality"),
    ("people", "person,role\nX,n/a\n", 2, "role", "n/a", "not one of"),
    ("people", "person,role\nX,\n", 2, "role", "", "must be filled"),
];

#[rustfmt::skip]
const TAGS: &[Case] = &[
    ("filter_lots", "filter_lot,received_at\n,2031-03-30T00:00:00Z\n", 2, "filter_lot", "", "must be filled"),
    ("filter_lots", "filter_lot,received_at\nF 1,2031-03-30T00:00:00Z\n", 2, "filter_lot", "F 1", "no blanks or commas"),
    ("filter_lots", "filter_lot,received_at\n\"F,1\",2031-03-30T00:00:00Z\n", 2, "filter_lot", "F,1", "no blanks or commas"),
    ("filter_lots", "filter_lot,received_at\nF\u{7}1,2031-03-30T00:00:00Z\n", 2, "filter_lot", "F\u{7}1", "U+0007"),
    ("filter_lots", "filter_lot,received_at\nF\u{202e}1,2031-03-30T00:00:00Z\n", 2, "filter_lot", "F\u{202e}1", "U+202E"),
    ("filter_lots", "filter_lot,received_at\nFFFFFFFFFFFFFFFFFFFFFFFFFFFFFFFFFFFFFFFFF,2031-03-30T00:00:00Z\n", 2, "filter_lot", "FFFFFFFFFFFFFFFFFFFFFFFFFFFFFFFFFFFFFFFFF", "at most 40"),
    ("filter_lots", "filter_lot,received_at\nn/a,2031-03-30T00:00:00Z\n", 2, "filter_lot", "n/a", "a tag is something else"),
    ("filter_lots", "filter_lot,received_at\nF1,2031-03-30T00:00:00Z\nf1,2031-03-30T00:00:00Z\n", 3, "filter_lot", "f1", "duplicate"),
    ("filter_lots", "filter_lot,received_at\nm31-001,2031-03-30T00:00:00Z\n", 2, "filter_lot", "m31-001", "taken by mould"),
    // B-9 is the newer tag of a blade
    ("filter_lots", "filter_lot,received_at\nB-9,2031-03-30T00:00:00Z\n", 2, "filter_lot", "B-9", "taken by blade"),
    ("moulds", "mould,part,running_system,assembled_at\nM31-003,QB-2208,RS-1,2031-03-30T00:00:00Z\n", 2, "part", "QB-2208", "did you mean QB-2207"),
    ("blades", "blade,mould\nX,M31-0001\n", 2, "mould", "M31-0001", "did you mean M31-001"),
    ("blades", "blade,mould\nX,H31-001\n", 2, "mould", "H31-001", "is the tag of a heat; a mould belongs here"),
    ("findings", "inspection,defect\nI1,inclusoin\n", 2, "defect", "inclusoin", "did you mean inclusion"),
    ("shell_batches", "shell_batch,recipe,started_at\nS,SR-7@Z,2031-03-30T00:00:00Z\n", 2, "recipe", "SR-7@Z", "there are \"B\", \"C\""),
    ("alloy_limits", "alloy,revision,element,max,unit\nQA-713/3,Z,C,2,wt%\n", 2, "revision", "Z", "no such revision"),
];

#[rustfmt::skip]
const ROWS: &[Case] = &[
    ("filter_lots", "filter_lot,received_at\nF1\n", 2, "", "", "1 cells, the header 2"),
    ("filter_lots", "filter_lot,received_at\nF1,2031-03-30T00:00:00Z,x\n", 2, "", "", "3 cells, the header 2"),
    ("filter_lots", "filter_lot,received_at,note\nF1,2031-03-30T00:00:00Z,x\nF2,2031-03-30T00:00:00Z,\"cut\nF3,2031-03-30T00:00:00Z,\n", 3, "", "", "quotation mark is still open"),
    ("filter_lots", "", 1, "", "", "is empty; the first line names the columns"),
    ("filter_lots", "filter_lot\nF1\n", 1, "received_at", "", "the column is missing"),
    ("filter_lots", "filter_lot,received_at,received_at\nF1,2031-03-30T00:00:00Z,2031-03-30T00:00:00Z\n", 1, "received_at", "", "duplicate"),
    ("filter_lots", "filter_lot,recieved_at\nF1,2031-03-30T00:00:00Z\n", 1, "recieved_at", "", "did you mean received_at"),
    ("filter_lots", "filter_lot;received_at\nF1;2031-03-30T00:00:00Z\n", 1, "", "", "';' between its columns; a comma belongs there"),
    ("coats", "mould,coat,slurry_batch,in_at\nM31-002,2,PS31-01,2031-03-30T00:00:00Z\nm31-002,2,PS31-01,2031-03-30T00:00:00Z\n", 3, "mould", "coats:M31-002/2", "duplicate"),
    ("pours", "mould,heat,poured_at\nM31-001,H31-002,2031-03-04T10:00:00Z\n", 2, "mould", "pours:M31-001", "meltkin correct pours:M31-001"),
    ("lot_blades", "lot,blade\nL31-02,M31-001-1\n", 2, "lot", "L31-02", "did you mean L31-01"),
    ("measurements", "inspection,characteristic,value,unit,lower,upper\nI1,w,1,mm,3,2\n", 2, "lower", "3", "above upper"),
    ("alloy_limits", "alloy,revision,element,min,max,unit\nQA-713/3,,C,2,1,wt%\n", 2, "min", "2", "above max"),
    ("holds", "hold,subject,placed_at,reason\nX,I1,2031-03-30T00:00:00Z,x\n", 2, "subject", "I1", "what can be held: metal"),
    ("holds", "hold,subject,placed_at,reason\nX,M31-00,2031-03-30T00:00:00Z,x\n", 2, "subject", "M31-00", "did you mean"),
    ("charges", "heat,source,mass_kg\nH31-001,RV31-01,1\n", 2, "source", "RV31-01", "H31-001 < RV31-01 < H31-001"),
    ("wax_lots", "wax_lot,grade,received_at,split_from\nW1,G,2031-03-30T00:00:00Z,W2\nW2,G,2031-03-30T00:00:00Z,W1\n", 3, "split_from", "W1", "its own ancestor: W2 < W1 < W2"),
    ("retags", "old_tag,new_tag,changed_at\nM31-009,N1,2031-03-30T00:00:00Z\n", 2, "old_tag", "M31-009", "did you mean"),
    ("retags", "old_tag,new_tag,changed_at\nM31-001,N 1,2031-03-30T00:00:00Z\n", 2, "new_tag", "N 1", "no blanks"),
    ("own_fields", "record,field,type,cause\nmoulds,part,number,no\n", 2, "field", "part", "has a field of that name"),
    ("own_fields", "record,field,type,cause\nmould,tilt,number,no\n", 2, "record", "mould", "did you mean moulds"),
    ("own_fields", "record,field,type,cause\nmoulds,Tilt,number,no\n", 2, "field", "Tilt", "lower case"),
    ("process_limits", "record,field,warn_min\npour,indicated_c,1\n", 2, "record", "pour", "did you mean pours"),
    ("process_limits", "record,field,warn_min\npours,indicated,1\n", 2, "field", "indicated", "pours has no field indicated"),
    ("process_limits", "record,field,scope,warn_min\npours,indicated_c,QB-2208,1\n", 2, "scope", "QB-2208", "did you mean QB-2207"),
];

fn each(cases: &[Case]) {
    let foundry = Foundry::small();
    let head = foundry.json("verify")["head"].clone();
    for (kind, text, line, column, value, part) in cases {
        let file = format!("{kind}.csv");
        foundry.write_bundle("bad", &[(file.as_str(), text)]);
        for arguments in ["import bad --json --as QL-01 --check", "import bad --json --as QL-01"] {
            let answer = foundry.run(arguments);
            assert_eq!(answer.code, 2, "{file}: {text}\n{}", answer.err);
            let json = answer.json();
            let found = json["faults"].as_array().unwrap().iter().any(|f| {
                f["file"] == file.as_str()
                    && f["line"] == *line
                    && f["column"] == *column
                    && f["value"] == *value
                    && f["message"].as_str().unwrap().contains(part)
            });
            assert!(found, "{file}: {text}\nwanted {line} {column} {value} {part:?} in {json:#}");
            assert!(json["records"].as_object().unwrap().is_empty(), "{json}");
            assert!(!answer.err.contains(['\u{7}', '\u{202e}']), "raw control characters: {:?}", answer.err);
        }
        std::fs::remove_dir_all(foundry.path("bad")).unwrap();
    }
    let after = foundry.json("verify");
    assert_eq!(after["head"], head, "nothing was written");
}

#[test]
fn of_cells() {
    each(CELLS);
}

#[test]
fn of_tags_and_references() {
    each(TAGS);
}

#[test]
fn of_rows_and_files() {
    each(ROWS);
}

#[test]
fn of_bytes_that_are_no_text() {
    let foundry = Foundry::small();
    let fails = |bytes: &[u8], sentence: &str| {
        std::fs::create_dir_all(foundry.path("bad")).unwrap();
        std::fs::write(foundry.path("bad/filter_lots.csv"), bytes).unwrap();
        foundry.run("import bad").fails(2, sentence);
    };
    fails(b"filter_lot,received_at,note\nF1,2031-03-30T00:00:00Z,\xff\xfe\n", "line 2, note");
    let wide: Vec<u8> =
        "\u{feff}filter_lot,received_at\n".encode_utf16().flat_map(u16::to_le_bytes).collect();
    fails(&wide, "UTF-16");
    let zeros = [0_u8; 5000];
    fails(&zeros, "filter_lots has no field");
    let cut = b"filter_lot,received_at,note\nF1,2031-03-30T00:00:00Z,\"a \"\"b\"\" c";
    fails(cut, "still open");
    // The same marks, closed: a cell is a cell.
    let mut whole = cut.to_vec();
    whole.extend(b"\"\n");
    std::fs::write(foundry.path("bad/filter_lots.csv"), whole).unwrap();
    foundry.run("import bad").done();
    assert_eq!(foundry.json("show F1")["record"]["note"], "a \"b\" c");
}

#[test]
fn of_paths() {
    let foundry = Foundry::small();
    std::fs::create_dir_all(foundry.path("empty")).unwrap();
    foundry.run("import empty").fails(2, "no bundle file");
    foundry.run("import nowhere").fails(2, "no such file or folder");
    foundry.write_bundle("odd", &[("heat.csv", "heat\n"), ("filter_lots.csv", "filter_lot,received_at\n")]);
    foundry.run("import odd").fails(2, "did you mean heats.csv");
    foundry.run("import odd/heat.csv").fails(2, "--kind");
    foundry.run("import odd/heat.csv --kind heatz").fails(2, "did you mean heats");
    std::fs::create_dir_all(foundry.path("folder.csv")).unwrap();
    std::fs::create_dir_all(foundry.path("nested/heats.csv")).unwrap();
    foundry.run("import nested").fails(2, "heats.csv: is a folder");
    foundry.run("export odd").fails(2, "new or empty folder");
}
