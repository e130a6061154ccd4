//! Lot acceptance summaries: on the demo, and on a small invented lot in which one thing at a time is
//! wrong. Expected counts of the demo are those it was invented with.

use std::io::Write as _;
use std::process::Stdio;

use serde_json::Value;

use crate::support::{Answer, Foundry};

/// A lot of two blades in which nothing is wrong.
pub const CLEAN: &[(&str, &str)] = &[
    ("alloys.csv", "alloy,revision,liquidus_c,approved_by,approved_at\nQA-713/3,,1288,QL-01,2030-01-01\n"),
    ("alloy_limits.csv", "alloy,element,min,max,unit\nQA-713/3,O,,25,ppm\n"),
    ("parts.csv", "part,revision,alloy,approved_by,approved_at\nQB-2207,C,QA-713/3,QL-01,2030-01-01\n"),
    ("zones.csv", "part,revision,zone,name\nQB-2207,C,AF,aerofoil\n"),
    (
        "inspection_plans.csv",
        "part,revision,method,required,sampling\nQB-2207,C,penetrant,yes,all\nQB-2207,C,radiograph,yes,all\n",
    ),
    ("defect_terms.csv", "defect,name\ninclusion,inclusion\n"),
    (
        "running_systems.csv",
        "running_system,fill,positions,filter,approved_at\nRS-1,bottom,2,yes,2030-01-01\n",
    ),
    ("ingot_lots.csv", "ingot_lot,alloy,received_at,mass_kg\nIL31-01,QA-713/3,2031-01-01T00:00:00Z,500\n"),
    ("heats.csv", "heat,alloy,furnace,melted_at\nH31-001,QA-713/3,F1,2031-03-04T09:00:00Z\n"),
    ("charges.csv", "heat,source,mass_kg\nH31-001,IL31-01,11\n"),
    (
        "analyses.csv",
        "analysis,subject,purpose,taken_at\nAN-1,IL31-01,maker,2031-01-01T00:00:00Z\nAN-2,H31-001,check,2031-03-04T12:00:00Z\n",
    ),
    ("analysis_values.csv", "analysis,element,value,unit\nAN-1,O,12,ppm\nAN-2,O,14,ppm\n"),
    ("moulds.csv", "mould,part,running_system,assembled_at\nM31-001,QB-2207,RS-1,2031-02-10T00:00:00Z\n"),
    ("instruments.csv", "instrument,kind\nPYR-02,pyrometer\nFV-01,film viewer\n"),
    (
        "calibrations.csv",
        "instrument,checked_at,check,result,due_at\nPYR-02,2031-03-01T00:00:00Z,cross_check,good,2031-04-01T00:00:00Z\nFV-01,2031-03-01T00:00:00Z,calibration,good,2031-09-01T00:00:00Z\n",
    ),
    (
        "pours.csv",
        "mould,heat,poured_at,pyrometer,indicated_c,mass_kg,person\nM31-001,H31-001,2031-03-04T10:00:00Z,PYR-02,1480,5,OP-01\n",
    ),
    ("blades.csv", "blade,mould,position\nM31-001-1,M31-001,1\nM31-001-2,M31-001,2\n"),
    ("people.csv", "person,role\nQL-01,quality\nQL-02,quality\nOP-01,operator\nIN-01,inspector\n"),
    (
        "qualifications.csv",
        "person,method,level,expires_on,eyesight_on\nIN-01,penetrant,2,2033-01-01,2031-01-01\nIN-01,radiograph,2,2033-01-01,2031-01-01\n",
    ),
    (
        "inspections.csv",
        "inspection,blade,method,round,technique,inspected_at,person,instrument,result\n\
         I1,M31-001-1,penetrant,1,PT-1,2031-03-10T00:00:00Z,IN-01,,accept\n\
         I2,M31-001-2,penetrant,1,PT-1,2031-03-10T00:00:00Z,IN-01,,accept\n\
         I3,M31-001-1,radiograph,1,RT-1,2031-03-11T00:00:00Z,IN-01,FV-01,accept\n\
         I4,M31-001-2,radiograph,1,RT-1,2031-03-11T00:00:00Z,IN-01,FV-01,accept\n",
    ),
    (
        "dispositions.csv",
        "blade,decided_at,decision,person\nM31-001-1,2031-03-12T00:00:00Z,accept,QL-01\nM31-001-2,2031-03-12T00:00:00Z,accept,QL-01\n",
    ),
    (
        "lots.csv",
        "lot,part,purchaser,purchase_order,ordered_count,opened_at\nL31-01,QB-2207,<script>alert(1)</script>,a & b,2,2031-02-01T00:00:00Z\n",
    ),
    ("lot_blades.csv", "lot,blade\nL31-01,M31-001-1\nL31-01,M31-001-2\n"),
];

/// The clean lot with one text in one file exchanged, and files added.
pub fn foundry(changes: &[(&str, &str, &str)], added: &[(&str, &str)]) -> Foundry {
    let foundry = Foundry::new();
    let mut files: Vec<(&str, String)> = CLEAN.iter().map(|(n, t)| (*n, (*t).to_string())).collect();
    for (name, from, to) in changes {
        let file = files.iter_mut().find(|(n, _)| n == name).unwrap();
        assert!(file.1.contains(from), "{name} holds no {from}");
        file.1 = file.1.replace(from, to);
    }
    files.extend(added.iter().map(|(n, t)| (*n, (*t).to_string())));
    let files: Vec<(&str, &str)> = files.iter().map(|(n, t)| (*n, t.as_str())).collect();
    foundry.write_bundle("bundle", &files);
    foundry.run("import bundle --as QL-01").done();
    foundry
}

pub fn piped(foundry: &Foundry, arguments: &str, input: &str) -> Answer {
    let mut child = foundry
        .command(&arguments.split(' ').collect::<Vec<_>>())
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    child.stdin.take().unwrap().write_all(input.as_bytes()).unwrap();
    let out = child.wait_with_output().unwrap();
    Answer {
        code: out.status.code().unwrap_or(-1),
        out: String::from_utf8(out.stdout).unwrap(),
        err: String::from_utf8(out.stderr).unwrap(),
    }
}

pub fn reasons(answer: &Value) -> String {
    answer["blocked"].as_array().unwrap().iter().map(|b| format!("{b}\n")).collect()
}

fn add_up(answer: &Value) {
    let c = &answer["counts"];
    let n = |k: &str| c[k].as_u64().unwrap();
    let sum = ["accepted", "concession", "shipped", "returned", "held", "scrapped", "in_process"]
        .iter()
        .map(|k| n(k))
        .sum::<u64>();
    assert_eq!(n("made"), sum, "{c}");
}

#[test]
fn a_clean_lot_is_a_draft_until_it_is_signed_and_void_when_a_record_changes() {
    let f = foundry(&[], &[]);
    let draft = f.json("lot summary L31-01");
    assert_eq!((&draft["state"], reasons(&draft).as_str()), (&"draft".into(), ""));
    add_up(&draft);
    assert_eq!(draft["counts"]["accepted"], 2);
    assert_eq!(draft["journal_head"].as_str().unwrap().len(), 64);
    // Refused: nobody, and an operator. Each is journalled.
    for who in ["", " --as OP-01"] {
        let refused = f.run(&format!("lot summary L31-01 --final --json{who}"));
        assert_eq!(refused.code, 1, "{}", refused.err);
        assert_eq!(refused.json()["needs"][0], "quality");
    }
    let signed = f.json("lot summary L31-01 --final --as QL-01");
    assert_eq!((&signed["state"], &signed["signed"]["proof"]), (&"final".into(), &"name as claimed".into()));
    assert_eq!(f.json("lot summary L31-01")["state"], "final");
    // Not signed twice.
    let again = f.json("lot summary L31-01 --final --as QL-02");
    assert_eq!(again["signatures"].as_array().unwrap().len(), 1);
    let head = signed["signed"]["journal_head"].as_str().unwrap();
    assert_eq!(f.json(&format!("verify --anchor {head}"))["ok"], true);
    // Shipping does not change what was released; a correction does.
    f.run("log shipments blade=M31-001-1 shipped_at=2031-03-20T00:00:00Z").done();
    assert_eq!(f.json("lot summary L31-01")["state"], "final");
    f.run("correct I3 technique=RT-2 --reason misread").done();
    let void = f.run("lot summary L31-01 --json");
    assert_eq!(void.code, 1);
    let void = void.json();
    assert_eq!((&void["state"], &void["signed"]["void"]), (&"void".into(), &true.into()));
    assert!(void["signed"]["changed"].to_string().contains("inspection I3"), "{}", void["signed"]);
    assert!(f.run("lot summary L31-01").out.starts_with("VOID"));
    let journal = std::process::Command::new("sqlite3")
        .arg(f.store())
        .arg("SELECT count(*) FROM journal WHERE action = 'refused'")
        .output()
        .unwrap();
    assert_eq!(String::from_utf8_lossy(&journal.stdout).trim(), "2");
}

#[test]
fn every_reason_blocks_by_itself() {
    let cases: &[(&str, &str, &str, &str)] = &[
        (
            "dispositions.csv",
            "M31-001-2,2031-03-12T00:00:00Z,accept",
            "M31-001-2,2031-03-12T00:00:00Z,rework",
            "in process",
        ),
        (
            "inspections.csv",
            "I4,M31-001-2,radiograph,1,RT-1,2031-03-11T00:00:00Z,IN-01,FV-01,accept\n",
            "",
            "no radiograph inspection",
        ),
        ("inspections.csv", "IN-01,FV-01,accept\nI4", "IN-01,FV-01,reject\nI4", "open finding"),
        (
            "inspections.csv",
            "I4,M31-001-2,radiograph,1,RT-1",
            "I4,M31-001-2,radiograph,1,",
            "names no technique",
        ),
        ("qualifications.csv", "radiograph,2,2033-01-01", "radiograph,2,2031-03-10", "expired on 2031-03-10"),
        (
            "qualifications.csv",
            "radiograph,2,2033-01-01,2031-01-01",
            "radiograph,2,2033-01-01,2030-03-01",
            "eyesight",
        ),
        (
            "calibrations.csv",
            "FV-01,2031-03-01T00:00:00Z,calibration,good,2031-09-01",
            "FV-01,2031-03-01T00:00:00Z,calibration,good,2031-03-05",
            "FV-01 was overdue",
        ),
        (
            "calibrations.csv",
            "PYR-02,2031-03-01T00:00:00Z,cross_check,good,2031-04-01T00:00:00Z",
            "PYR-02,2031-03-01T00:00:00Z,cross_check,good,2031-04-01T00:00:00Z\nPYR-02,2031-03-06T00:00:00Z,cross_check,failed,",
            "PYR-02 is suspect",
        ),
        ("charges.csv", "H31-001,IL31-01,11\n", "", "has no charge"),
        ("charges.csv", "H31-001,IL31-01,11", "H31-001,IL31-01,4", "masses do not agree"),
        ("blades.csv", "M31-001-2,M31-001,2", "M31-001-2,,", "no mould"),
        ("analysis_values.csv", "AN-2,O,14", "AN-2,O,32", "O 32 ppm"),
        ("analyses.csv", "AN-2,H31-001,check", "AN-2,IL31-01,check", "chemistry of H31-001 absent"),
        ("running_systems.csv", "yes,2030-01-01", "yes,", "RS-1 is not approved"),
        ("lot_blades.csv", "L31-01,M31-001-2\n", "", "M31-001-2 of mould M31-001 is in no lot"),
        (
            "inspection_plans.csv",
            "QB-2207,C,penetrant,yes,all\nQB-2207,C,radiograph,yes,all\n",
            "",
            "no inspection plan",
        ),
    ];
    for (file, from, to, sentence) in cases {
        let f = foundry(&[(file, from, to)], &[]);
        let answer = f.run("lot summary L31-01 --json");
        assert_eq!(answer.code, 1, "{sentence}: {}{}", answer.out, answer.err);
        let json = answer.json();
        assert!(reasons(&json).contains(sentence), "wanted {sentence:?} in\n{}", reasons(&json));
        add_up(&json);
        assert_eq!(json["state"], "draft");
        // Nor can it be signed.
        let signed = f.run("lot summary L31-01 --final --as QL-01 --json");
        assert_eq!((signed.code, &signed.json()["state"]), (1, &"draft".into()), "{sentence}");
    }
}

#[test]
fn holds_files_and_changes_after_a_signature_block_and_a_scrapped_blade_does_not() {
    let f = foundry(&[], &[]);
    let hold = f.json("hold H31-001 --reason suspicious --as OP-01");
    let held = f.run("lot summary L31-01 --json").json();
    let hold = hold["tag"].as_str().unwrap();
    assert!(reasons(&held).contains(&format!("{hold} is open")), "{}", reasons(&held));
    assert_eq!(held["counts"]["held"], 2);
    f.run(&format!("lift {hold} --reason cleared --as QL-01")).done();
    std::fs::write(f.path("film.txt"), "film").unwrap();
    // printf film | sha256sum
    let wrong = "0".repeat(64);
    f.run(&format!("log attachments attachment=A-1 subject=I3 path=film.txt sha256={wrong} bytes=4")).done();
    f.run(&format!("log attachments attachment=A-2 subject=I4 path=gone.txt sha256={wrong} bytes=4")).done();
    let files = reasons(&f.run("lot summary L31-01 --json").json());
    assert!(
        files.contains("film.txt of I3 is not the one recorded") && files.contains("gone.txt of I4"),
        "{files}"
    );
    f.run("log signatures subject=I3 role=inspector person=IN-01 signed_at=2031-03-11T01:00:00Z meaning=checked").done();
    f.run("correct I3 technique=RT-2 --reason misread").done();
    let changed = reasons(&f.run("lot summary L31-01 --json").json());
    assert!(changed.contains("after IN-01 had signed it"), "{changed}");

    let f = foundry(
        &[
            ("inspections.csv", "IN-01,FV-01,accept\nI4", "IN-01,FV-01,reject\nI4"),
            (
                "dispositions.csv",
                "M31-001-1,2031-03-12T00:00:00Z,accept",
                "M31-001-1,2031-03-12T00:00:00Z,scrap",
            ),
        ],
        &[],
    );
    let scrapped = f.json("lot summary L31-01");
    assert_eq!((&scrapped["counts"]["scrapped"], &scrapped["counts"]["made"]), (&1.into(), &2.into()));
}

#[test]
fn a_pourer_does_not_sign_and_a_pin_is_asked_for() {
    let f = foundry(&[("pours.csv", "1480,5,OP-01", "1480,5,QL-01")], &[]);
    f.run("lot summary L31-01 --final --as QL-01").fails(1, "poured in this lot (M31-001)");
    assert_eq!(piped(&f, "pin set --as QL-02", "12\n").code, 2);
    assert_eq!(piped(&f, "pin set --as QL-02", "tin-roof\n").code, 0);
    // To change it the old one is needed.
    assert_eq!(piped(&f, "pin set --as QL-02", "wrong\nother-pin\n").code, 1);
    f.run("lot summary L31-01 --final --as QL-02").fails(1, "signs with a PIN");
    let wrong = piped(&f, "lot summary L31-01 --final --as QL-02 --pin-file -", "tin-rood\n");
    wrong.fails(1, "not that of QL-02");
    // The right one is taken after wrong ones: nobody is locked out.
    let signed =
        piped(&f, "lot summary L31-01 --final --as QL-02 --pin-file - --json", "tin-roof\n").done().json();
    assert_eq!((&signed["state"], &signed["signed"]["proof"]), (&"final".into(), &"PIN given".into()));
    // Neither bundles nor the journal hold it, and the file is whole.
    f.run("export out").done();
    assert!(f.path("out").join("people.csv").exists());
    for file in std::fs::read_dir(f.path("out")).unwrap().map(Result::unwrap) {
        assert!(!std::fs::read_to_string(file.path()).unwrap().contains("argon2"), "{:?}", file.path());
    }
    let dump =
        std::process::Command::new("sqlite3").arg(f.store()).arg("SELECT * FROM journal").output().unwrap();
    let dump = String::from_utf8_lossy(&dump.stdout).into_owned();
    assert!(dump.contains("first PIN of QL-02") && !dump.contains("argon2"));
    assert_eq!(f.json("verify")["ok"], true);
    // Another quality person takes a forgotten one away, with their own.
    assert_eq!(piped(&f, "pin set --as QL-01", "own-pin\n").code, 1);
    assert_eq!(piped(&f, "pin set --as QL-01 --by QL-02", "tin-roof\nown-pin\n").code, 0);
    assert_eq!(piped(&f, "pin clear QL-02 --as QL-02", "tin-roof\n").code, 1);
    assert_eq!(piped(&f, "pin clear QL-02 --as QL-01", "own-pin\n").code, 0);
}

#[test]
fn a_typed_in_release_is_not_a_final_summary() {
    let f = foundry(&[], &[]);
    f.run("log signatures subject=L31-01 role=quality person=QL-01 signed_at=2031-03-20T00:00:00Z meaning=released").done();
    let answer = f.json("lot summary L31-01");
    assert_eq!((&answer["state"], &answer["signed"]), (&"draft".into(), &Value::Null));
}

/// In one bundle: the items stand in the journal before the decisions, as the kinds are written in that order.
#[test]
fn a_concession_counts_where_it_is_live_and_an_item_covers() {
    let with = |concession: &str, item: &str| {
        let f = foundry(
            &[
                ("analysis_values.csv", "AN-2,O,14", "AN-2,O,32"),
                (
                    "dispositions.csv",
                    "blade,decided_at,decision,person\nM31-001-1,2031-03-12T00:00:00Z,accept,QL-01\nM31-001-2,2031-03-12T00:00:00Z,accept,QL-01",
                    "blade,decided_at,decision,person,concession\nM31-001-1,2031-03-12T00:00:00Z,concession,QL-01,CN-1\nM31-001-2,2031-03-12T00:00:00Z,concession,QL-01,CN-1",
                ),
            ],
            &[
                (
                    "concessions.csv",
                    &format!(
                        "concession,type,part,limits,quantity,granted_at,granted_by,expires_on\nCN-1,concession,QB-2207,O up to 32 ppm,{concession}\n"
                    ),
                ),
                ("concession_items.csv", &format!("concession,covers,name,at_most,unit\n{item}\n")),
            ],
        );
        f.run("lot summary L31-01 --json")
    };
    let (live, covers) = ("2,2031-03-11T00:00:00Z,QL-01,2031-12-31", "CN-1,element,O,32,ppm");
    let good = with(live, covers);
    assert_eq!((good.code, good.json()["counts"]["concession"].as_u64()), (0, Some(2)), "{}", good.out);
    for (concession, item, sentence) in [
        (live, "CN-1,element,O,30,ppm", "CN-1, item 1: O 32 ppm is above at_most 30 ppm"),
        (live, "CN-1,element,N,40,ppm", "CN-1, no item covers element O"),
        ("1,2031-03-11T00:00:00Z,QL-01,2031-12-31", covers, "is for 1 blade; this one is number 2"),
        ("2,2031-03-11T00:00:00Z,QL-01,2031-03-11", covers, "had expired on 2031-03-11"),
        ("2,2031-03-13T00:00:00Z,QL-01,2031-12-31", covers, "granted after"),
        ("2,2031-03-11T00:00:00Z,,2031-12-31", covers, "is not granted"),
    ] {
        let answer = with(concession, item);
        assert_eq!(answer.code, 1, "{concession} {item}");
        assert!(
            reasons(&answer.json()).contains(sentence),
            "{concession} {item}: {}",
            reasons(&answer.json())
        );
    }
}

#[test]
fn the_page_holds_text_as_text_and_says_draft() {
    let f = foundry(&[], &[]);
    f.run("lot summary L31-01 --html page.html").done();
    let page = std::fs::read_to_string(f.path("page.html")).unwrap();
    assert!(!page.contains("<script"), "a purchaser's name became markup");
    assert!(page.contains("&lt;script&gt;alert(1)&lt;/script&gt;") && page.contains("a &amp; b"));
    assert!(page.contains("DRAFT") && page.contains("size:A4") && page.contains("not valid if altered"));
    assert!(!page.contains("http://") && !page.contains("https://"), "the page fetches something");
    f.run("lot summary L31-01 --final --as QL-01 --html page.html --replace").done();
    let page = std::fs::read_to_string(f.path("page.html")).unwrap();
    assert!(page.contains("FINAL") && !page.contains("DRAFT"));
}

#[test]
fn the_demo_lots() {
    let f = Foundry::new().at(crate::support::DEMO_NOW);
    f.json("demo --no-screen");
    // Invented: 256 blades each; accepted 233 (shipped), 190, 217.
    for (lot, good) in [("L31-01", 233), ("L31-02", 190), ("L31-03", 217)] {
        let answer = f.run(&format!("lot summary {lot} --json")).json();
        add_up(&answer);
        let n = |k: &str| answer["counts"][k].as_u64().unwrap();
        assert_eq!((n("made"), n("accepted") + n("shipped")), (256, good), "{lot}");
    }
    let answer = f.run("lot summary L31-02 --json");
    assert_eq!(answer.code, 1);
    let json = answer.json();
    let oxygen = |json: &Value| -> Vec<String> {
        let all = json["blocked"].as_array().unwrap().iter();
        let of = |b: &&Value| b["station"] == "melt" && b["reason"].as_str().unwrap().contains("O ");
        let heats = all.filter(of).map(|b| b["record"].as_str().unwrap().to_string());
        heats.collect::<std::collections::BTreeSet<_>>().into_iter().collect()
    };
    let eight: Vec<String> = (25..=32).map(|h| format!("H31-{h:03}")).collect();
    assert_eq!(oxygen(&json), eight);
    // A concession, and the blades dispositioned to it by quality.
    let blades: Vec<String> = json["blocked"]
        .as_array()
        .unwrap()
        .iter()
        .filter(|b| b["code"] == "chemistry")
        .map(|b| b["blade"].as_str().unwrap().to_string())
        .collect::<std::collections::BTreeSet<_>>()
        .into_iter()
        .collect();
    let limits = "limits=oxygen up to 32 ppm in L31-02";
    let log = ["log", "concessions", "concession=CN31-02", "type=concession", "part=QB-2207", limits];
    let rest = ["granted_at=2031-05-25T09:00:00Z", "granted_by=OP-51", "expires_on=2031-12-31", "--as"];
    f.run_with(&[&log[..], &rest[..], &["OP-02"]].concat()).fails(1, "for quality");
    f.run_with(&[&log[..], &rest[..], &["OP-51"]].concat()).done();
    f.run("log concession_items concession=CN31-02 covers=element name=O at_most=32 unit=ppm only_for=L31-02 --as OP-51").done();
    let mut csv = String::from("blade,decided_at,decision,person,concession\n");
    for b in &blades {
        csv.push_str(&format!("{b},2031-05-25T10:00:00Z,concession,OP-51,CN31-02\n"));
    }
    std::fs::write(f.path("dispositions.csv"), csv).unwrap();
    f.run("import dispositions.csv --as OP-51").done();
    let json = f.run("lot summary L31-02 --json").json();
    assert!(oxygen(&json).is_empty() && !reasons(&json).contains("IL31-03 outside"), "{}", reasons(&json));
    add_up(&json);
    assert_eq!(json["counts"]["concession"].as_u64().unwrap(), blades.len() as u64);
}

#[test]
fn the_tables_go_into_a_spreadsheet() {
    let f = foundry(&[], &[]);
    f.run("lot summary L31-01 --xlsx lot.xlsx").done();
    let bytes = std::fs::read(f.path("lot.xlsx")).unwrap();
    assert!(bytes.starts_with(b"PK"));
    // Read again by the reader of certificates, which is another crate than the writer.
    let mut book: calamine::Xlsx<_> = calamine::open_workbook(f.path("lot.xlsx")).unwrap();
    use calamine::Reader;
    let names = book.sheet_names();
    assert_eq!(names[..3], ["standing", "blocked", "counts"]);
    let counts = book.worksheet_range("counts").unwrap();
    let made = counts.rows().find(|r| r[0] == "made").unwrap();
    assert_eq!(made[1], 2.0);
}
