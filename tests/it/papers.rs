//! What a customer's paper bears: whose it is, what the order asked for, the shop's words of conformity, who read what
//! and how that person stood, limits beside values, blades as ranges; and the same as a spreadsheet.

use calamine::{Data, Reader, Xlsx, open_workbook};
use datamatrix::DataMatrix;
use serde_json::Value;

use crate::lots::foundry;
use crate::support::Foundry;

const OWN: (&str, &str) = (
    "organisations.csv",
    "organisation,role,name,address,approvals,statement\n\
     ORG-1,own,Castings <b> & sons (invented),1 Foundry Lane; 00000 Nowhere,approval 0001 (invented),\"We certify; that it conforms.\"\n\
     ORG-2,customer,Buyer store (invented),2 Harbour Road,,\n",
);

fn page(f: &Foundry, more: &str) -> String {
    f.run(&format!("lot summary L31-01 --html page.html --replace{more}"));
    std::fs::read_to_string(f.path("page.html")).unwrap()
}

/// What a person reads of a page: its text, blanks made one.
fn read(page: &str) -> String {
    let (mut out, mut inside) = (String::new(), false);
    for c in page.split("</style>").last().unwrap().chars() {
        match c {
            '<' => inside = true,
            '>' => {
                inside = false;
                out.push(' ');
            }
            c if !inside => out.push(c),
            _ => {}
        }
    }
    for (mark, c) in [("&lt;", "<"), ("&gt;", ">"), ("&quot;", "\""), ("&#39;", "'"), ("&amp;", "&")] {
        out = out.replace(mark, c);
    }
    out.split_whitespace().collect::<Vec<_>>().join(" ")
}

#[test]
fn the_letterhead_and_the_order_come_from_the_records() {
    let f = foundry(&[], &[OWN]);
    f.run("correct L31-01 purchaser=org-2 purchase_order=4711 order_line=3 certificate_type=3.1 document=D-77 --reason order --as QL-01").done();
    f.run_with(&["correct", "QB-2207@C", "description=a blade", "--reason", "drawing", "--as", "QL-01"])
        .done();
    let html = page(&f, "");
    let text = read(&html);
    for said in [
        "Castings <b> & sons (invented)",
        "1 Foundry Lane 00000 Nowhere",
        "approval 0001 (invented)",
        "document D-77, not issued",
        "purchaser Buyer store (invented), 2 Harbour Road",
        "order 4711, line 3",
        "QB-2207@C: a blade",
        "certificate type 3.1 (EN 10204), as ordered: results of this delivery",
    ] {
        assert!(text.contains(said), "{said}: {text}");
    }
    assert!(!html.contains("<b>"), "a name became markup");
    // A draft conforms to nothing.
    assert!(!text.contains("We certify"));
    assert_eq!(f.json("lot summary L31-01")["papers"]["statement"], Value::Null);
}

#[test]
fn what_is_not_on_record_is_left_out() {
    let text = read(&page(&foundry(&[], &[]), ""));
    let html = page(&foundry(&[], &[]), " --final --as QL-01");
    assert!(!html.contains("<header") && !html.contains("<img"), "{html}");
    for never in ["EN 10204", "conformity", "line"] {
        assert!(!text.contains(never), "{never}: {text}");
    }
    // A type that the standard does not have is printed as it was written.
    let f = foundry(&[], &[]);
    f.run("correct L31-01 certificate_type=3.1B --reason order --as QL-01").done();
    let text = read(&page(&f, ""));
    assert!(text.contains("certificate type 3.1B opened"), "{text}");
}

#[test]
fn the_words_of_conformity_are_those_that_were_signed() {
    let f = foundry(&[], &[OWN]);
    let text = read(&page(&f, " --final --as QL-01"));
    assert!(text.contains("Statement of conformity We certify; that it conforms."), "{text}");
    assert!(text.contains("document L31-01, issue 1"));
    f.run("correct ORG-1 address=elsewhere --reason moved --as QL-01").done();
    assert!(read(&page(&f, "")).contains("elsewhere approval 0001 (invented) FINAL"));
    assert!(read(&page(&f, "")).contains("We certify; that it conforms."));
    // A letterhead says nothing of the blades: the release stands. Its words are others now, and are not printed.
    f.run("correct ORG-1 statement=Ours --reason wording --as QL-01").done();
    let answer = f.json("lot summary L31-01");
    assert_eq!((&answer["state"], &answer["papers"]["statement"]), (&"final".into(), &Value::Null));
    let text = read(&page(&f, ""));
    assert!(
        text.contains("words of conformity of ORG-1 were changed after the signature")
            && !text.contains("Statement of conformity")
    );
    // A line of the order is behind the lot.
    f.run("correct L31-01 order_line=2 --reason order --as QL-01").done();
    assert_eq!(f.run("lot summary L31-01 --json").json()["state"], "void");
    assert!(!read(&page(&f, "")).contains("Statement of conformity"));
    let text = read(&page(&f, " --final --as QL-01"));
    assert!(text.contains("Statement of conformity Ours") && text.contains("issue 2"), "{text}");
    // The purchaser's own wording goes before the shop's.
    f.run("correct ORG-2 statement=Theirs --reason order --as QL-01").done();
    f.run("correct L31-01 purchaser=ORG-2 --reason order --as QL-01").done();
    let text = read(&page(&f, " --final --as QL-01"));
    assert!(text.contains("Statement of conformity Theirs") && text.contains("issue 3"), "{text}");
}

#[test]
fn of_two_shops_neither_makes_the_paper_and_it_says_so() {
    let f = foundry(&[], &[OWN]);
    f.run("log organisations organisation=ORG-3 role=own name=other --as QL-01").done();
    let html = page(&f, "");
    assert!(!html.contains("<header"));
    assert!(read(&html).contains("ORG-1 and ORG-3 have the role own"));
}

#[test]
fn the_logo_is_the_file_on_record_or_none() {
    let f = foundry(&[], &[OWN]);
    std::fs::write(f.path("logo.svg"), "<svg xmlns='x'><script>1</script></svg>").unwrap();
    let digest = std::process::Command::new("sha256sum").arg(f.path("logo.svg")).output().unwrap();
    let digest = String::from_utf8(digest.stdout).unwrap()[..64].to_string();
    f.run(&format!(
        "log attachments attachment=AT-1 subject=ORG-1 path=logo.svg sha256={digest} bytes=39 title=Logo"
    ))
    .done();
    let html = page(&f, "");
    // base64 -w0 logo.svg
    let picture = "PHN2ZyB4bWxucz0neCc+PHNjcmlwdD4xPC9zY3JpcHQ+PC9zdmc+";
    assert!(html.contains(&format!("<img src=\"data:image/svg+xml;base64,{picture}\"")), "{html}");
    assert!(!html.contains("<script"));
    std::fs::write(f.path("logo.svg"), "<svg xmlns='y'><script>1</script></svg>").unwrap();
    let html = page(&f, "");
    assert!(!html.contains("<img"));
    assert!(read(&html).contains("the logo is left out: logo.svg is not the one recorded"));
}

/// The code on the page is that of the head beside it: read back from the page by the modules that are drawn.
#[test]
fn the_code_on_the_page_is_the_head_of_the_journal() {
    let f = foundry(&[], &[]);
    let html = page(&f, " --final --as QL-01");
    let drawn = html.split("<path d=\"").nth(1).unwrap().split('"').next().unwrap();
    let dark: Vec<(usize, usize)> = drawn
        .split('M')
        .skip(1)
        .map(|m| {
            let (x, y) = m.split('h').next().unwrap().split_once(' ').unwrap();
            (x.parse::<usize>().unwrap() - 2, y.parse::<usize>().unwrap() - 2)
        })
        .collect();
    let side = dark.iter().map(|(x, _)| x + 1).max().unwrap();
    let mut pixels = vec![false; side * side];
    dark.iter().for_each(|(x, y)| pixels[y * side + x] = true);
    let code: String = DataMatrix::decode(&pixels, side).unwrap().into_iter().map(char::from).collect();
    assert_eq!(f.json(&format!("verify --anchor {code}"))["ok"], true);
    assert!(html.contains(&format!("journal head {code}")));
}

#[test]
fn a_reader_is_printed_with_the_qualification_of_that_day() {
    let f = foundry(
        &[
            (
                "qualifications.csv",
                "person,method,level,expires_on,eyesight_on\nIN-01,penetrant,2,2033-01-01,2031-01-01\nIN-01,radiograph,2,2033-01-01,2031-01-01\n",
                "person,method,level,from_on,expires_on,eyesight_on\nIN-01,penetrant,1,2029-01-01,2031-03-10,2031-01-01\nIN-01,penetrant,2,2031-03-11,2033-01-01,2031-01-01\nIN-01,radiograph,2,,2033-01-01,\n",
            ),
            (
                "inspections.csv",
                "I2,M31-001-2,penetrant,1,PT-1,2031-03-10T00:00:00Z,IN-01,,accept",
                "I2,M31-001-2,penetrant,1,PT-1,2031-03-11T00:00:00Z,IN-01,,accept\nI9,M31-001-2,visual,1,VT-1,2031-03-11T00:00:00Z,OP-01,,accept",
            ),
        ],
        &[],
    );
    let text = read(&page(&f, ""));
    for said in [
        "penetrant PT-1 IN-01 1 2031-03-10 2031-03-10 level 1, from 2029-01-01, to 2031-03-10, eyesight 2031-01-01",
        "penetrant PT-1 IN-01 1 2031-03-11 2031-03-11 level 2, from 2031-03-11, to 2033-01-01, eyesight 2031-01-01",
        "radiograph RT-1 IN-01 2 2031-03-11 2031-03-11 level 2, to 2033-01-01",
        "visual VT-1 OP-01 1 2031-03-11 2031-03-11 none asked for",
    ] {
        assert!(text.contains(said), "{said}: {text}");
    }
}

#[test]
fn test_bars_stand_below_their_limits() {
    let bars =
        ("test_bars.csv", "test_bar,heat,uts_mpa,hardness_hrc\nTB-1,H31-001,900,\nTB-2,H31-001,757,36\n");
    let text = read(&page(&foundry(&[], &[bars]), ""));
    assert!(text.contains("No limits for test bars are on record"), "{text}");
    let limits = (
        "process_limits.csv",
        "record,field,scope,stop_min,stop_max,warn_min\ntest_bars,uts_mpa,QA-713/3,758,,800\ntest_bars,hardness_hrc,,30,42,\ntest_bars,uts_mpa,QA-900,999,,\n",
    );
    let other = ("alloys.csv", "QA-713/3,,1288,", "QA-900,,1288,QL-01,2030-01-01\nQA-713/3,,1288,");
    let f = foundry(&[other], &[bars, limits]);
    let text = read(&page(&f, ""));
    let table = text.split("Test bars").nth(1).unwrap();
    assert!(
        table.contains("limits 30–42 limits of QA-713/3 ≥ 758 TB-1 H31-001 900 TB-2 H31-001 757 OUTSIDE 36"),
        "{table}"
    );
    assert!(!text.contains("999"), "a limit of another alloy");
}

/// As in `lots`: heat H31-001 with O 32 ppm of 25 allowed, and a concession up to 32.
#[test]
fn chemistry_outside_its_limits_names_the_item_that_lifts_it() {
    let outside = ("analysis_values.csv", "AN-2,O,14", "AN-2,O,32");
    let f = foundry(&[outside], &[]);
    assert!(read(&page(&f, "")).contains("O ppm ≤ 25 32 OUTSIDE, no concession"));
    let decided = "blade,decided_at,decision,person\nM31-001-1,2031-03-12T00:00:00Z,accept,QL-01\nM31-001-2,2031-03-12T00:00:00Z,accept,QL-01";
    let under = "blade,decided_at,decision,person,concession\nM31-001-1,2031-03-12T00:00:00Z,concession,QL-01,CN-1\nM31-001-2,2031-03-12T00:00:00Z,";
    let granted = (
        "concessions.csv",
        "concession,type,part,limits,granted_at,granted_by\nCN-1,concession,QB-2207,O up to 32 ppm,2031-03-11T00:00:00Z,QL-01\n",
    );
    let item =
        ("concession_items.csv", "concession,item,covers,name,at_most,unit\nCN-1,4,element,O,32,ppm\n");
    for (second, said) in [
        ("concession,QL-01,CN-1", "O ppm ≤ 25 32 OUTSIDE, CN-1 item 4"),
        ("accept,QL-01,", "O ppm ≤ 25 32 OUTSIDE, CN-1 item 4 for 1 of 2 blades"),
    ] {
        let f =
            foundry(&[outside, ("dispositions.csv", decided, &format!("{under}{second}"))], &[granted, item]);
        let text = read(&page(&f, ""));
        assert!(text.contains(said), "{said}: {text}");
    }
}

#[test]
fn blades_stand_as_ranges_and_scrapped_ones_apart() {
    let f = foundry(
        &[(
            "dispositions.csv",
            "M31-001-2,2031-03-12T00:00:00Z,accept",
            "M31-001-2,2031-03-12T00:00:00Z,scrap",
        )],
        &[],
    );
    let text = read(&page(&f, ""));
    assert!(
        text.contains(
            "Blades heat mould blades number where H31-001 M31-001 M31-001-1 1 accepted Scrapped blades"
        ),
        "{text}"
    );
    assert!(text.contains("heat mould blades number where H31-001 M31-001 M31-001-2 1 scrapped"), "{text}");
    let demo = Foundry::new().at(crate::support::DEMO_NOW);
    demo.json("demo --no-screen");
    demo.run("lot summary L31-02 --html page.html");
    let text = read(&std::fs::read_to_string(demo.path("page.html")).unwrap());
    // Of mould M31-051 blade 6 was scrapped: sample_data/dispositions.csv.
    assert!(text.contains("M31-051 M31-051-1 to 5, 7, 8 7 accepted"), "{text}");
}

/// One part of the package that a spreadsheet is.
fn inside(f: &Foundry, file: &str, part: &str) -> String {
    let mut zip = zip::ZipArchive::new(std::fs::File::open(f.path(file)).unwrap()).unwrap();
    std::io::read_to_string(zip.by_name(part).unwrap()).unwrap()
}

#[test]
fn the_spreadsheet_is_set_up_for_the_printer_with_times_as_times() {
    for (paper, number) in [("a4", 9), ("letter", 1)] {
        let f = foundry(&[], &[OWN]);
        f.run(&format!("correct ORG-1 paper={paper} --reason paper --as QL-01")).done();
        let html = page(&f, " --xlsx lot.xlsx");
        assert!(html.contains(if number == 9 { "size:A4" } else { "size:letter" }));
        // Papers by their numbers, ECMA-376 part 1, 18.3.1.63: 1 is Letter, 9 is A4.
        let sheet = inside(&f, "lot.xlsx", "xl/worksheets/sheet2.xml");
        assert!(
            sheet.contains(&format!("paperSize=\"{number}\"")) && sheet.contains("fitToPage=\"1\""),
            "{sheet}"
        );
        assert!(sheet.contains("fitToHeight=\"0\""), "{sheet}");
        assert!(inside(&f, "lot.xlsx", "xl/workbook.xml").contains("_xlnm.Print_Titles"));
        f.run("export --xlsx all.xlsx pours").done();
        assert!(
            inside(&f, "all.xlsx", "xl/worksheets/sheet1.xml").contains(&format!("paperSize=\"{number}\""))
        );
        let mut book: Xlsx<_> = open_workbook(f.path("lot.xlsx")).unwrap();
        let names = book.sheet_names();
        for name in [
            "Checks of the instruments used",
            "Readers and their qualification",
            "Chemistry, check analysis",
            "Serials",
        ] {
            assert!(names.iter().any(|n| n == name), "{name}: {names:?}");
        }
        let checks = book.worksheet_range("Checks of the instruments used").unwrap();
        assert_eq!(checks.get((0, 1)), Some(&Data::String("checked (+00:00)".into())));
        // 2031-03-01 is day 47,908 of the calendar of spreadsheets (`date -d 2031-03-01 +%s` / 86,400 + 25,569).
        let Some(Data::DateTime(at)) = checks.get((1, 1)) else { panic!("{:?}", checks.get((1, 1))) };
        assert_eq!(at.as_f64(), 47_908.0);
        let readers = book.worksheet_range("Readers and their qualification").unwrap();
        assert!(matches!(readers.get((1, 5)), Some(Data::DateTime(_))), "{readers:?}");
    }
}
