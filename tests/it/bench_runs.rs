//! Runs at the bench: said once, then each scan records one line; on the screen and in the store.

use meltkin::jobs::records::ask;
use records::Who;

use crate::tui::Session;

fn log(s: &mut Session, kind: &str, fields: &[&str]) {
    let who = Who::new(Some("OP-51".into()), s.app.now);
    let fields: Vec<String> = fields.iter().map(|f| f.to_string()).collect();
    ask::log(&mut s.desk.store, &who, kind, &fields, None).unwrap();
}

/// The demo with a mould that was poured, and its eight blades that nobody has looked at yet.
pub fn with_blades() -> Session {
    let mut s = not_poured();
    let pour = ["mould=M31-097", "heat=H31-049", "poured_at=2031-05-26T07:40:00+00:00"];
    log(&mut s, "pours", &pour);
    s
}

/// The same before it was poured.
fn not_poured() -> Session {
    let mut s = Session::demo();
    for i in 1..=8 {
        let fields = [format!("blade=M31-097-{i}"), "mould=M31-097".into(), format!("position={i}")];
        log(&mut s, "blades", &fields.each_ref().map(String::as_str));
    }
    s
}

/// An inspection of a tray by penetrant is begun, at the bench.
fn tray(s: &mut Session) {
    s.keys("bi");
    s.sees("What is the same for all");
    s.sees("▸ method");
    s.keys("p<f2>");
    s.sees("Each blade: ACCEPT by penetrant, its next round, OP-07");
}

fn inspections(s: &Session) -> usize {
    s.desk.store.count(records::catalogue::kind("inspections").unwrap()).unwrap() as usize
}

fn entries(s: &Session) -> i64 {
    s.desk.store.head().unwrap().0
}

#[test]
fn a_scan_is_an_accept_and_three_keys_make_it_a_reject() {
    let mut s = with_blades();
    tray(&mut s);
    let before = inspections(&s);
    s.scan("M31-097-1").scan("M31-097-2");
    s.sees("2 accepted, 0 rejected");
    s.sees("▸ ✓ M31-097-2");
    let tag = last_inspection(&s, "M31-097-2");
    for (field, text) in [
        ("result", "accept"),
        ("method", "penetrant"),
        ("round", "1"),
        ("person", "OP-07"),
        // OP-07 read none by penetrant before: nobody else's technique is proposed, and no purpose.
        ("technique", ""),
        ("purpose", ""),
    ] {
        assert_eq!(s.field(&tag, field), text, "{field}");
    }
    // Numbered after the shop's last.
    assert!(tag.starts_with("I31-") && tag.len() == "I31-00001".len(), "{tag}");
    // The most frequent by penetrant in the demo's records is the inclusion; the first zone by its code is the aerofoil.
    s.keys("r");
    s.sees("✗ REJECT M31-097-2: which defect?");
    s.sees("  1  inclusion");
    s.keys("1");
    s.sees("in which zone?");
    s.sees("  1  AF aerofoil");
    s.keys("1");
    s.sees("1 accepted, 1 rejected");
    s.sees("▸ ✗ M31-097-2");
    assert_eq!(s.field(&tag, "result"), "reject");
    let finding = format!("findings:{tag}/inclusion/1");
    assert_eq!(s.field(&finding, "zone"), "AF");
    let history = s.desk.store.history("inspections", &tag).unwrap();
    assert!(history.iter().any(|e| e.reason.as_deref() == Some("read as reject at the bench")));
    assert_eq!(inspections(&s), before + 2);
    // The scan after it is an accept again.
    s.scan("M31-097-3");
    s.sees("2 accepted, 1 rejected");
    s.keys("<esc>");
    s.sees("its form asks for");
}

fn last_inspection(s: &Session, blade: &str) -> String {
    let (key, _) = s.desk.store.key_of::<records::catalogue::Blades>(blade).unwrap();
    let all = s.desk.store.rows_of(records::catalogue::Inspections::blade, key).unwrap();
    all.last().unwrap().address()
}

#[test]
fn what_is_no_blade_or_was_scanned_is_said_and_written_nowhere() {
    let mut s = with_blades();
    tray(&mut s);
    s.scan("M31-097-1");
    let stood = entries(&s);
    s.scan("M31-097-1");
    s.sees("M31-097-1 was scanned twice");
    s.scan("m31-097-1");
    s.sees("was scanned twice");
    s.scan("M31-097");
    s.sees("M31-097 is NOT recorded: it is a mould, and a blade is scanned here");
    s.scan("M31-970-9");
    s.sees("M31-970-9 is NOT recorded: no record has that tag");
    assert_eq!(entries(&s), stood, "nothing was written");
    // Letters that are no key of the run do nothing, digits outside a reject neither.
    s.keys("qwu12nypo<enter>");
    assert_eq!(entries(&s), stood);
    s.sees("1 accepted, 0 rejected");
}

#[test]
fn a_scan_while_something_is_asked_answers_nothing() {
    let mut s = with_blades();
    tray(&mut s);
    s.scan("M31-097-1");
    let stood = entries(&s);
    // Read by penetrant on record, and nothing reworked since: a reason is asked.
    s.scan("M31-070-1");
    s.sees("M31-070-1 has penetrant round 1 on record");
    s.sees("Not recorded yet. Why is it right?");
    s.scan("M31-097-2");
    s.sees("M31-097-2 is NOT recorded: the question about M31-070-1 is open");
    // So soon after a scan no key answers.
    s.keys("<f2>");
    s.sees("Not recorded yet. Why is it right?");
    assert_eq!(entries(&s), stood);
    s.wake(1000, meltkin::ui::app::Event::Tick);
    s.keys("<f2>");
    s.sees("a reason is needed");
    s.keys("a second look<enter>");
    assert_eq!(entries(&s), stood, "a line end is no answer");
    s.keys("<f2>");
    s.sees("2 accepted, 0 rejected");
    let tag = last_inspection(&s, "M31-070-1");
    assert_eq!((s.field(&tag, "round").as_str(), s.field(&tag, "note").as_str()), ("2", "a second look"));
    // Left out, and said.
    s.scan("M31-071-1");
    s.keys("<esc>");
    s.sees("M31-071-1 is NOT recorded");
    // After a scan that was refused, no blade is in hand.
    let stood = entries(&s);
    s.keys("r11");
    s.sees("scan the blade again");
    assert_eq!(entries(&s), stood);
    // While a reject is said, a scan is refused too, and Esc leaves the accept.
    s.scan("M31-070-1");
    s.sees("M31-070-1 was scanned twice");
    s.keys("r1");
    s.scan("M31-097-3");
    s.sees("M31-097-3 is NOT recorded: finish the reject of M31-070-1 first, or Esc");
    // The number that was meant of the other blade is not that of this one.
    s.keys("1");
    s.sees("not taken: finish the reject of M31-070-1 first, or Esc");
    assert_eq!(entries(&s), stood);
    s.keys("<esc>");
    s.sees("M31-070-1 stands as ACCEPT");
    assert_eq!(entries(&s), stood);
}

#[test]
fn one_key_takes_back_what_the_run_wrote_and_nothing_else() {
    let mut s = with_blades();
    tray(&mut s);
    let stood = entries(&s);
    s.keys("<bs>");
    s.sees("this run has written nothing");
    assert_eq!(entries(&s), stood);
    s.scan("M31-097-1").scan("M31-097-2");
    let tag = last_inspection(&s, "M31-097-2");
    s.keys("<bs>");
    s.sees("M31-097-2: taken back");
    s.sees("1 accepted, 0 rejected");
    assert!(s.desk.store.find(&tag).is_err());
    // Scanned again it is no double.
    s.scan("M31-097-2");
    s.sees("2 accepted, 0 rejected");
    // A reject is softened by quality only: it stands, and the screen says so.
    s.keys("r11");
    s.sees("1 accepted, 1 rejected");
    s.keys("<bs>");
    s.sees("M31-097-2 stands as REJECT: it stands until quality decides");
    s.sees("1 accepted, 1 rejected");
    assert_eq!(s.field(&last_inspection(&s, "M31-097-2"), "result"), "reject");
    // Asked for once it is asked for: nothing more is written.
    let (stood, proposed) = (entries(&s), s.desk.store.proposals().unwrap().len());
    s.keys("<bs><bs>");
    s.sees("M31-097-2 stands as REJECT: that is proposed already");
    assert_eq!((entries(&s), s.desk.store.proposals().unwrap().len()), (stood, proposed));
}

#[test]
fn a_study_proposes_nothing_for_a_tray() {
    let mut s = with_blades();
    let read = |tag: &str, blade: &str, rest: [&str; 3]| {
        let at = "inspected_at=2031-05-26T07:50:00+00:00";
        let (tag, blade) = (format!("inspection={tag}"), format!("blade={blade}"));
        let mut fields =
            vec![tag, blade, "round=1".into(), "result=accept".into(), "person=OP-07".into(), at.into()];
        fields.extend(rest.map(String::from));
        fields
    };
    for fields in [
        read("I-P", "M31-097-1", ["method=penetrant", "technique=PT-4", "class=2"]),
        read("I-S", "M31-097-2", ["method=radiograph", "technique=RT-9", "purpose=study"]),
        read("I-O", "M31-097-3", ["method=penetrant", "technique=PT-X", "purpose=overlap"]),
    ] {
        let fields: Vec<&str> = fields.iter().map(String::as_str).collect();
        log(&mut s, "inspections", &fields);
    }
    s.keys("bi<f2>");
    s.sees("Each blade: ACCEPT by penetrant, its next round, OP-07, PT-4");
}

#[test]
fn line_by_line_is_taken_back_each_within_its_minute() {
    let mut s = with_blades();
    tray(&mut s);
    let stood = inspections(&s);
    s.scan("M31-097-1");
    let late = |s: &mut Session, ms: i64| {
        s.app.now = records::Stamp::new(s.app.now.ms() + ms, s.app.now.offset_min());
    };
    late(&mut s, 50_000);
    s.scan("M31-097-2").scan("M31-097-3");
    // Something else that the same person wrote meanwhile is no bar, and stays.
    let who = Who::new(Some("OP-07".into()), s.app.now);
    ask::hold(&mut s.desk.store, &who, "M31-098", "cracked").unwrap();
    s.keys("<bs>");
    s.sees("M31-097-3: taken back");
    s.keys("<bs>");
    s.sees("M31-097-2: taken back");
    s.sees("1 accepted, 0 rejected");
    assert_eq!(inspections(&s), stood + 1);
    // The first is older than a minute now: where it is changed is said, and the run goes on.
    late(&mut s, 20_000);
    let tag = last_inspection(&s, "M31-097-1");
    s.keys("<bs>");
    s.sees("M31-097-1 is not taken back");
    s.sees(&format!("/ {tag}, then"));
    s.sees("Each blade: ACCEPT");
    s.sees("1 accepted, 0 rejected");
    s.scan("M31-097-2");
    s.sees("2 accepted, 0 rejected");
    // What somebody else corrected meanwhile stands so in the list after the next scan.
    let other = Who::new(Some("OP-51".into()), s.app.now);
    let change = vec![("result".to_string(), "reject".to_string())];
    s.desk.store.correct(&other, &tag, &change, "seen again").unwrap();
    s.scan("M31-097-3");
    s.sees("2 accepted, 1 rejected");
}

/// Keys as a hand hits them, with so many milliseconds before each.
fn typed(s: &mut Session, keys: &str, gap: u64) {
    use meltkin::ui::app::Event;
    for c in keys.chars() {
        s.wake(gap, Event::Key(meltkin::ui::keys::Press::Char(c)));
    }
    s.wake(200, Event::Tick);
}

#[test]
fn a_reject_is_taken_at_every_pace_of_a_hand() {
    for gap in [0, 20, 90, 160, 179, 400] {
        let mut s = with_blades();
        tray(&mut s);
        s.scan("M31-097-1");
        s.wake(500, meltkin::ui::app::Event::Tick);
        typed(&mut s, "r12", gap);
        s.sees("0 accepted, 1 rejected");
        assert_eq!(s.field(&last_inspection(&s, "M31-097-1"), "result"), "reject", "{gap} ms");
        // A half of one is gone on with.
        s.scan("M31-097-2");
        s.wake(500, meltkin::ui::app::Event::Tick);
        typed(&mut s, "r1", gap);
        s.sees("in which zone?");
        typed(&mut s, "2", gap);
        s.sees("0 accepted, 2 rejected");
        // What is no key of a reject is a code; case counts.
        let stood = entries(&s);
        typed(&mut s, "R12", 20);
        s.sees("R12 is NOT recorded");
        s.sees("M31-097-2 STILL STANDS AS REJECT");
        // No blade is in hand then.
        typed(&mut s, "r12", gap);
        s.sees("scan the blade again");
        assert_eq!(entries(&s), stood);
    }
}

#[test]
fn a_record_named_like_the_keys_of_a_reject_is_that_record_and_the_accept_is_named() {
    let mut s = with_blades();
    tray(&mut s);
    typed(&mut s, "r12", 20);
    s.sees("the reject r12 is NOT recorded: scan the blade first");
    s.scan("M31-097-1");
    s.misses("NOT recorded");
    // A record of that name is that record.
    let mould = ["part=QB-2207", "running_system=RS-4", "assembled_at=2031-05-20T08:00:00+00:00"];
    log(&mut s, "moulds", &[&["mould=r12"][..], &mould[..]].concat());
    let stood = entries(&s);
    typed(&mut s, "r12", 20);
    s.sees("r12 is NOT recorded: it is a mould");
    s.sees("M31-097-1 STILL STANDS AS ACCEPT");
    assert_eq!(entries(&s), stood);
    s.scan("M31-097-2");
    s.misses("STILL STANDS");
}

#[test]
fn a_question_takes_words_alone_and_can_be_a_reject_instead() {
    let mut s = with_blades();
    tray(&mut s);
    s.scan("M31-070-1");
    s.sees("ACCEPT of M31-070-1?");
    let stood = entries(&s);
    // The keys of a reject are no reason for an accept.
    s.keys("r12<f2>");
    s.sees("the reason is said in words");
    assert_eq!(entries(&s), stood);
    // A code of a slow scanner is taken out of it again, and said.
    s.keys("<bs><bs><bs>");
    s.wake(500, meltkin::ui::app::Event::Tick);
    typed(&mut s, "M31-097-2", 120);
    s.sees("M31-097-2 is NOT recorded: the question about M31-070-1 is open");
    s.keys("<f2>");
    s.sees("a reason is needed");
    assert_eq!(entries(&s), stood);
    // Back from the reject to the question, then the reject.
    s.keys("<f3>");
    s.sees("✗ REJECT M31-070-1: which defect?");
    s.keys("<esc>");
    s.sees("ACCEPT of M31-070-1?");
    s.keys("seen in better light<f3>1");
    s.sees("in which zone?");
    s.sees("  1  AF aerofoil");
    s.keys("1");
    s.sees("0 accepted, 1 rejected");
    let tag = last_inspection(&s, "M31-070-1");
    assert_eq!((s.field(&tag, "result").as_str(), s.field(&tag, "round").as_str()), ("reject", "2"));
    assert_eq!(s.field(&tag, "note"), "seen in better light");
    assert_eq!(s.field(&format!("findings:{tag}/inclusion/1"), "zone"), "AF");
    assert_eq!(entries(&s), stood + 2, "the inspection and its finding");
    // A further finding is of that blade.
    s.keys("r12");
    s.sees("0 accepted, 1 rejected");
    assert_eq!(entries(&s), stood + 3);
}

#[test]
fn a_tray_asks_about_a_blade_of_no_pour_and_marks_who_is_not_qualified() {
    let mut s = not_poured();
    tray(&mut s);
    let stood = entries(&s);
    s.scan("M31-097-1");
    s.sees("M31-097-1: no pour of M31-097 is on record");
    s.sees("ACCEPT of M31-097-1?");
    assert_eq!(entries(&s), stood);
    s.keys("the pour is typed in later<f2>");
    s.sees("1 accepted, 0 rejected");
    // OP-07 is not qualified for it: that stands on the line, in words.
    s.sees("! reader not qualified");
}

#[test]
fn another_part_a_held_blade_and_another_badge_are_said() {
    let mut s = with_blades();
    log(&mut s, "parts", &["part=QB-9", "revision=A", "alloy=QA-713/3", "approved_by=OP-51"]);
    log(
        &mut s,
        "moulds",
        &["mould=M31-200", "part=QB-9", "running_system=RS-4", "assembled_at=2031-05-20T08:00:00+00:00"],
    );
    log(&mut s, "blades", &["blade=M31-200-1", "mould=M31-200", "position=1"]);
    let who = Who::new(Some("OP-51".into()), s.app.now);
    ask::hold(&mut s.desk.store, &who, "M31-097-2", "dropped").unwrap();
    tray(&mut s);
    s.sees("OP-07 has no penetrant qualification on record");
    s.scan("M31-097-1").scan("M31-097-2");
    s.sees("M31-097-2 is held by HOLD-");
    s.sees("ACCEPT of M31-097-2?");
    s.keys("<esc>");
    s.scan("M31-200-1");
    s.sees("M31-200-1 is of part QB-9");
    s.keys("<esc>");
    let stood = entries(&s);
    s.scan("OP-23").scan("M31-097-3");
    s.sees("M31-097-3 is NOT recorded: OP-23 works here now");
    assert_eq!(entries(&s), stood);
    s.keys("<f2>").scan("M31-097-3");
    assert_eq!(s.field(&last_inspection(&s, "M31-097-3"), "person"), "OP-23");
    s.misses("no penetrant qualification");
}

#[test]
fn a_refused_write_leaves_the_run_as_it_was() {
    let mut s = with_blades();
    s.keys("bn7");
    s.sees("Run: shipment");
    s.keys("<f2>");
    s.sees("Each blade: SHIPPED");
    let stood = entries(&s);
    s.scan("M31-097-1");
    s.sees("it is not decided");
    s.keys("<esc>");
    s.sees("M31-097-1 is NOT recorded");
    assert_eq!(entries(&s), stood);
    s.sees("0 blades recorded");
}

#[test]
fn coats_take_two_scans_and_a_key_and_then_a_scan_each() {
    let mut s = not_poured();
    s.keys("bn1");
    s.scan("PS31-05").scan("ST31-01").keys("<f2>");
    s.sees("Each mould: COAT, its next, PS31-05, ST31-01");
    s.scan("M31-097").scan("M31-098");
    s.sees("2 moulds recorded");
    for mould in ["M31-097", "M31-098"] {
        let coat = format!("coats:{mould}/1");
        assert_eq!(
            (s.field(&coat, "slurry_batch").as_str(), s.field(&coat, "stucco_lot").as_str()),
            ("PS31-05", "ST31-01")
        );
        assert_eq!(s.field(&coat, "person"), "OP-07");
    }
    // The next dip of the same mould in the same run is a double scan.
    s.scan("M31-097");
    s.sees("M31-097 was scanned twice: it stands as COAT coat 1");
    assert!(s.desk.store.find("coats:M31-097/2").is_err());
    s.keys("<esc>");
    s.keys("n1<f2>").scan("M31-097");
    assert!(s.desk.store.find("coats:M31-097/2").is_ok());
    // A mould that was poured is no mould to be dipped.
    s.scan("M31-041");
    s.sees("M31-041 was poured already");
}

#[test]
fn a_run_asks_about_a_mould_that_is_not_made_and_about_a_coat_too_many() {
    let mut s = not_poured();
    log(
        &mut s,
        "shell_batches",
        &["shell_batch=SB-X", "recipe=SR-7@B", "started_at=2031-05-24T06:00:00+00:00"],
    );
    let of =
        ["part=QB-2207", "running_system=RS-4", "shell_batch=SB-X", "assembled_at=2031-05-20T08:00:00+00:00"];
    for mould in ["mould=M-X", "mould=M-Y"] {
        log(&mut s, "moulds", &[&[mould][..], &of[..]].concat());
    }
    // Three hours apart, as SR-7@B asks for; the seventh of M-Y an hour before the run.
    for coat in 1..=7 {
        for mould in ["M-X", "M-Y"] {
            let hour = if (mould, coat) == ("M-Y", 7) { 7 } else { coat * 3 - 3 };
            let day = if hour == 7 { 26 } else { 25 };
            let fields = [
                format!("mould={mould}"),
                format!("coat={coat}"),
                "slurry_batch=PS31-05".into(),
                format!("in_at=2031-05-{day}T{hour:02}:00:00+00:00"),
            ];
            log(&mut s, "coats", &fields.each_ref().map(String::as_str));
        }
    }
    log(
        &mut s,
        "oven_runs",
        &["oven_run=OV-F", "purpose=fire", "oven=F1", "started_at=2031-05-26T07:00:00+00:00"],
    );
    s.keys("bn2di<enter>").scan("OV-F").keys("<f2>").scan("M-Y");
    let asked = s.screen(80, 24).split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(asked.contains("coat 7 has dried 1.0 h; SR-7@B asks for 3 h"), "{asked}");
    assert!(asked.contains("not dewaxed: no dewax run before OV-F is on record for it"), "{asked}");
    assert!(s.desk.store.find("oven_loads:OV-F/M-Y").is_err());
    s.keys("dried by fan<f2>");
    let note = s.field("oven_loads:OV-F/M-Y", "note");
    // What was answered before the run says for whom.
    assert!(
        note.contains("dry: yes, inspected: yes (said once for the whole run, before its first scan, OP-07"),
        "{note}"
    );
    assert!(note.ends_with("; dried by fan"), "{note}");
    // It has all its coats: the eighth is one too many, and M-Y is in the oven.
    s.keys("<esc>n1").scan("PS31-05").keys("<f2>").scan("M-X");
    let eighth = "SR-7@B has 7 coats and this is coat 8";
    s.sees(eighth);
    s.keys("<esc>").scan("M-Y");
    s.sees(eighth);
    s.sees("it is in fire run OV-F");
    assert!(s.desk.store.find("coats:M-Y/8").is_err());
}

#[test]
fn loads_marking_and_lots_are_rows_of_the_same_table() {
    let mut s = not_poured();
    let at = "started_at=2031-05-26T07:00:00+00:00";
    log(&mut s, "treatments", &["treatment=TR31-900", "kind=hip", at]);
    log(&mut s, "oven_runs", &["oven_run=OR31-900", "purpose=preheat", "oven=preheat oven P2", at]);
    log(&mut s, "lots", &["lot=L31-90", "part=QB-2207", "opened_at=2031-05-20T08:00:00+00:00"]);
    // The next treatment's number is proposed in its form, and a mould's never: that is on its label.
    s.keys("b7<down><down><enter>");
    s.sees("TR31-901");
    s.sees("the next number");
    s.keys("<esc><esc>");
    // Into the fire: dry and inspected are asked first, and stand in the note.
    s.keys("bn2");
    s.sees("dry? inspected?");
    s.keys("di<enter>").scan("OR31-900").keys("<f2>").scan("M31-097");
    s.sees("no coat of it is on record");
    s.sees("not fired: no fire run before OR31-900");
    s.keys("made elsewhere<f2>");
    assert!(s.field("oven_loads:OR31-900/M31-097", "note").contains("dry: yes, inspected: yes"));
    assert_eq!(s.field("oven_loads:OR31-900/M31-097", "out_at"), "");
    let pour = ["mould=M31-097", "heat=H31-049", "poured_at=2031-05-26T07:40:00+00:00"];
    log(&mut s, "pours", &pour);
    s.keys("<esc>n3");
    s.sees("Each blade: MARKED CONFIRMED now, at the position on record");
    s.scan("M31-097-1");
    s.sees("position 1, confirmed as on record");
    assert_eq!(s.field("M31-097-1", "position_confirmed"), "yes");
    assert!(s.field("M31-097-1", "marked_at").starts_with("2031-05-26T08:00"));
    s.keys("<bs>");
    assert_eq!(s.field("M31-097-1", "marked_at"), "");
    s.keys("<esc>n4").scan("TR31-900").keys("<f2>").scan("M31-097-1");
    assert!(s.desk.store.find("treatment_loads:TR31-900/M31-097-1").is_ok());
    s.keys("<esc>n6").scan("L31-90").keys("<f2>").scan("M31-097-1");
    assert!(s.desk.store.find("lot_blades:L31-90/M31-097-1").is_ok());
    // In another lot already: the store says so.
    s.scan("M31-070-1");
    s.sees("M31-070-1 is NOT recorded");
    s.sees("is in lot L31-03");
}

#[test]
fn a_head_is_looked_up_before_the_run_begins() {
    let mut s = with_blades();
    s.keys("bn4");
    s.keys("TR31-404<f2>");
    s.sees("there is no record TR31-404");
    s.misses("Each blade");
    s.keys("<esc>");
    s.sees("Esc again leaves");
    s.keys("<esc>");
    s.sees("Bench");
}

/// Per cent before parts per million, each by symbol.
const FIGURES: [(&str, &str); 13] = [
    ("Al", "6.7"),
    ("B", "0.01"),
    ("C", "0.12"),
    ("Cr", "12.8"),
    ("Mo", "4.4"),
    ("Nb", "2.1"),
    ("Ti", "0.8"),
    ("Zr", "0.1"),
    ("Bi", "<1"),
    ("N", "28"),
    ("O", "22"),
    ("Pb", "<1"),
    ("S", "<5"),
];

#[test]
fn an_analysis_is_one_table_and_one_write() {
    let mut s = Session::demo();
    s.keys("ba").scan("H31-048");
    s.sees("Elements of QA-713/3");
    s.sees("▸ Al ");
    let before = entries(&s);
    for (i, (element, figure)) in FIGURES.iter().enumerate() {
        s.sees(&format!("▸ {element} "));
        s.keys(figure);
        if i + 1 < FIGURES.len() {
            s.keys("<enter>");
        }
    }
    // 6.7 lies above the 6.5 of the specification; below 1 ppm may be above the 0.5 that Bi is allowed.
    s.sees("✗ OUTSIDE 5.5 to 6.5");
    s.sees("✗ 1 outside the limits");
    s.sees("? not told: at most 0.5");
    assert_eq!(entries(&s), before, "nothing is written before it is saved");
    s.keys("<f2>");
    s.sees("saved AN31-");
    assert_eq!(entries(&s), before + 14, "the analysis and its contents");
    let tag =
        s.desk.store.history("analyses", &newest_analysis(&s)).unwrap().last().unwrap().tag.clone().unwrap();
    assert_eq!((s.field(&tag, "subject").as_str(), s.field(&tag, "purpose").as_str()), ("H31-048", "check"));
    for (element, figure) in FIGURES {
        assert_eq!(s.field(&format!("analysis_values:{tag}/{element}"), "value"), figure, "{element}");
    }
    assert_eq!(s.field(&format!("analysis_values:{tag}/N"), "unit"), "ppm");
    // What lies outside a limit is taken back by quality only.
    s.keys("u<f2>");
    s.sees("cannot be taken back");
    assert!(s.desk.store.find(&tag).is_ok());
}

fn newest_analysis(s: &Session) -> String {
    s.desk.store.newest::<records::catalogue::Analyses>(1).unwrap()[0].address()
}

#[test]
fn an_analysis_half_typed_comes_back_and_a_figure_that_cannot_be_asks() {
    let mut s = Session::demo();
    s.keys("ba").scan("H31-048");
    s.keys("6,1<enter><enter><enter>130<enter>");
    s.keys("<esc>");
    s.sees("r resumes");
    s.keys("r");
    s.sees("Analysis of H31-048");
    s.sees("6.1");
    let before = entries(&s);
    s.keys("<f2>");
    s.sees("Why is it right?");
    s.keys("no<enter>");
    assert_eq!(entries(&s), before);
    s.keys("<esc>");
    s.sees("✗ OUTSIDE 12 to 14");
    while !s.screen(80, 24).contains("▸ Cr ") {
        s.keys("<up>");
    }
    s.keys("<f6>13<f2>");
    s.sees("with 2 contents");
    // All of it is taken back together.
    let tag = newest_analysis(&s);
    assert_eq!(s.field(&format!("analysis_values:{tag}/Cr"), "value"), "13");
    s.keys("u<f2>");
    s.sees("undid");
    assert!(s.desk.store.find(&tag).is_err());
    // A heat scanned into a table that is begun is said, and changes nothing.
    s.keys("a").scan("H31-047").keys("0.1").scan("H31-048");
    s.sees("this table is that of H31-047");
    s.sees("Analysis of H31-047");
}

#[test]
fn the_pyrometer_is_checked_by_two_keys_and_its_figure() {
    let mut s = Session::demo();
    s.keys("i");
    s.sees("Check of PYR-04");
    s.sees("✓ last check 2031-05-");
    let before = entries(&s);
    s.keys("1<f2>");
    s.sees("saved calibrations:PYR-04/2031-05-26T08:00:00");
    assert_eq!(entries(&s), before + 1);
    let check = "calibrations:PYR-04/2031-05-26T08:00:00+00:00";
    for (field, text) in
        [("check", "cross_check"), ("result", "good"), ("person", "OP-07"), ("difference", "1")]
    {
        assert_eq!(s.field(check, field), text, "{field}");
    }
    s.keys("i2<esc>");
    s.sees("Esc again leaves");
    s.keys("<esc>");
    s.sees("Furnace desk");
    assert_eq!(entries(&s), before + 1);
}

#[test]
fn a_round_said_for_the_tray_is_held_against_each_blade() {
    let mut s = with_blades();
    // After a rework the first round stands no more, and the next is the second.
    let rework = ["blade=M31-070-1", "decided_at=2031-05-26T07:30:00+00:00", "decision=rework"];
    log(&mut s, "dispositions", &rework);
    s.keys("bi");
    s.keys("p<down>1<f2>");
    s.sees("Each blade: ACCEPT by penetrant, round 1, OP-07");
    s.scan("M31-097-1");
    s.sees("1 accepted, 0 rejected");
    s.scan("M31-070-1");
    s.sees("has penetrant round 1 on record already; its next round is 2");
    s.keys("<esc><f3>");
    s.sees("What is the same for all");
    s.keys("<down><f6><f2>").scan("M31-070-1");
    s.sees("2 accepted, 0 rejected");
    assert_eq!(s.field(&last_inspection(&s, "M31-070-1"), "round"), "2");
}
