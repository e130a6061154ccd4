//! What is wrong asks at once: at the command line, and in the form before it is saved. A verdict on a rejected blade asks
//! in forms and runs, and is told to a script. What a first load brings is history and is not asked about. The expected sentences follow from the records of each test.

use meltkin::jobs::records::ask;
use records::Who;

use crate::support::Foundry;
use crate::tui::Session;

/// Refused without a reason, and with the sentence; taken with one.
#[track_caller]
fn asks(f: &Foundry, call: &str, sentence: &str) {
    f.run(&format!("{call} --as QL-01")).fails(2, sentence);
    f.run(&format!("{call} --as QL-01 --reason seen")).done();
}

#[track_caller]
fn takes(f: &Foundry, call: &str) {
    f.run(&format!("{call} --as QL-01")).done();
}

/// Taken, and told of.
#[track_caller]
fn tells(f: &Foundry, call: &str, sentence: &str) {
    let told = f.run(&format!("{call} --as QL-01")).done();
    assert!(told.out.contains(sentence), "{}", told.out);
}

#[test]
fn whoever_accepts_a_blade_with_a_reject_is_told_of_it() {
    let f = Foundry::small();
    let decide = |day: u32, rest: &str| {
        format!("log dispositions blade=M31-001-1 decided_at=2031-03-{day}T00:00:00Z decision={rest}")
    };
    let stands = "1 reject stands: I1, penetrant round 1 (inclusion in AF, inclusion in RT)";
    tells(&f, &decide(12, "accept"), stands);
    takes(&f, &decide(13, "accept reason=seen"));
    takes(&f, &decide(14, "scrap"));
    f.run("log dispositions blade=M31-001-2 decided_at=2031-03-14T00:00:00Z decision=accept --as QL-01")
        .done();
    // Before the inspection nobody could know.
    takes(&f, "log dispositions blade=M31-001-1 decided_at=2031-03-09T00:00:00Z decision=accept");
    for name in ["CN-1", "CN-2"] {
        f.run(&format!("log concessions concession={name} type=concession part=QB-2207 limits=x granted_at=2031-03-11T00:00:00Z granted_by=QL-01 --as QL-01")).done();
    }
    f.run("log concession_items concession=CN-2 covers=defect name=inclusion --as QL-01").done();
    tells(&f, &decide(15, "concession concession=CN-1"), stands);
    tells(&f, &decide(16, "concession concession=CN-2"), stands);
    // What was found before the rework does not stand any more.
    takes(&f, &decide(17, "rework"));
    takes(&f, &decide(18, "accept"));
}

#[test]
fn an_accept_that_closes_the_reject_lets_the_blade_go() {
    let f = Foundry::small();
    f.run("log inspections inspection=I9 blade=M31-001-1 method=penetrant round=2 inspected_at=2031-03-12T00:00:00Z result=accept closes=I1 note=reread person=OP-01 --as QL-01 --reason reread").done();
    takes(&f, "log dispositions blade=M31-001-1 decided_at=2031-03-13T00:00:00Z decision=accept");
}

#[test]
fn a_reading_that_accepts_against_a_standing_reject_or_of_scrap_is_asked_about() {
    let f = Foundry::small();
    let read = |tag: &str, rest: &str| {
        format!(
            "log inspections inspection={tag} blade=M31-001-1 round=2 inspected_at=2031-03-10T12:00:00Z {rest}"
        )
    };
    let stands = "1 reject stands: I1, penetrant round 1 (inclusion in AF, inclusion in RT)";
    tells(&f, &read("I20", "method=penetrant result=accept"), stands);
    // Another method saw nothing, another reject agrees, a reading to compare readers is none of the product.
    takes(&f, &read("I21", "method=visual result=accept"));
    takes(&f, &read("I22", "method=penetrant purpose=overlap result=accept"));
    takes(&f, &read("I23", "method=penetrant result=reject"));
    // After a rework it is read anew.
    takes(&f, "log dispositions blade=M31-001-1 decided_at=2031-03-13T00:00:00Z decision=rework");
    let anew = "blade=M31-001-1 round=3 method=penetrant inspected_at=2031-03-14T00:00:00Z result=accept";
    takes(&f, &format!("log inspections inspection=I24 {anew}"));
    // Scrap is not read any more; what was read before it was typed in late.
    let f = Foundry::small();
    takes(
        &f,
        "log dispositions blade=M31-001-2 decided_at=2031-03-20T00:00:00Z decision=scrap reason=cracked",
    );
    let read = |tag: &str, day: u32| {
        format!(
            "log inspections inspection={tag} blade=M31-001-2 method=visual round=5 inspected_at=2031-03-{day}T00:00:00Z result=accept"
        )
    };
    tells(&f, &read("I25", 21), "it was scrapped at 2031-03-20T00:00:00");
    takes(&f, &read("I26", 19));
    // A first load is history.
    let rows = "inspection,blade,method,round,inspected_at,result\nI27,M31-001-2,visual,6,2031-03-22T00:00:00Z,accept\n";
    std::fs::write(f.path("inspections.csv"), rows).unwrap();
    f.run("import inspections.csv").done();
}

/// A mould of a recipe with three coats that dry two hours, and a pot of each sort.
fn shell() -> Foundry {
    let f = Foundry::small();
    for call in [
        "log shell_recipes recipe=SR-9 revision=A route=shell coats=3 min_dry_h=2 approved_at=2030-01-01",
        "log shell_batches shell_batch=SB-9 recipe=SR-9@A started_at=2031-03-20T00:00:00Z",
        "log moulds mould=M31-003 part=QB-2207 running_system=RS-1 shell_batch=SB-9 assembled_at=2031-03-19T00:00:00Z",
        "log slurry_batches slurry_batch=PB-1 use=backup made_at=2031-03-01T00:00:00Z",
        "log slurry_batches slurry_batch=PC-1 use=seal_coat made_at=2031-03-01T00:00:00Z",
    ] {
        takes(&f, call);
    }
    f
}

fn coat(number: u32, pot: &str, time: &str) -> String {
    format!("log coats mould=M31-003 coat={number} slurry_batch={pot} in_at=2031-03-20T{time}:00Z")
}

#[test]
fn a_dip_from_the_wrong_pot_asks() {
    for (pot, sort) in [("PC-1", "seal coat"), ("PB-1", "backup")] {
        let f = shell();
        let says = format!("coat 1 is a face coat, which is dipped in a prime pot; {pot} is a {sort} pot");
        asks(&f, &coat(1, pot, "08:00"), &says);
    }
    let f = shell();
    takes(&f, &coat(1, "PS31-01", "08:00"));
    asks(
        &f,
        &coat(2, "PC-1", "12:00"),
        "PC-1 is a seal coat pot, for the last coat; SR-9@A has 3 and this is coat 2",
    );
    takes(&f, &coat(3, "PC-1", "16:00"));
    // Changing it asks the same way: a correction has its reason.
    f.run("correct coats:M31-003/3 slurry_batch=PB-1 --reason misread --as QL-01").done();
}

#[test]
fn a_dip_onto_a_wet_coat_asks() {
    let f = shell();
    takes(&f, &coat(1, "PS31-01", "08:00"));
    asks(&f, &coat(2, "PB-1", "09:30"), "coat 1 had dried 1.5 h before this dip; SR-9@A asks for 2 h");
    asks(&f, &coat(3, "PB-1", "09:00"), "coat 2 went in at 2031-03-20T09:30:00+00:00, after this one");
    // Two hours are enough; what was taken out early was not dry, however late the next dip.
    let f = shell();
    takes(&f, &(coat(1, "PS31-01", "08:00") + " out_at=2031-03-20T10:00:00Z"));
    takes(&f, &(coat(2, "PB-1", "10:00") + " out_at=2031-03-20T10:30:00Z"));
    asks(&f, &coat(3, "PB-1", "18:00"), "coat 2 had dried 0.5 h before this dip");
}

#[test]
fn a_pour_into_what_was_not_ready_asks() {
    let pour = |time: &str| format!("log pours mould=M31-003 heat=H31-001 poured_at=2031-03-31T{time}:00Z");
    let flask = || {
        let f = shell();
        takes(&f, "log powder_lots powder_lot=PL-1 grade=G received_at=2031-03-01T00:00:00Z");
        let mixed = "mixed_at=2031-03-31T10:00:00Z set_min=60";
        takes(&f, &format!("log investments mould=M31-003 powder_lot=PL-1 {mixed}"));
        f
    };
    asks(&flask(), &pour("09:00"), "its flask was mixed at 2031-03-31T10:00:00+00:00, after this pour");
    asks(&flask(), &pour("10:40"), "its flask was mixed 40 min before; it sets 60 min");
    takes(&flask(), &pour("11:00"));
    let heated = || {
        let f = shell();
        takes(&f, "log oven_runs oven_run=OV-1 purpose=preheat oven=P1 started_at=2031-03-31T05:00:00Z");
        takes(&f, "log oven_loads oven_run=OV-1 mould=M31-003 out_at=2031-03-31T10:00:00Z");
        f
    };
    asks(&heated(), &pour("09:58"), "it came out of OV-1 at 2031-03-31T10:00:00+00:00, after this pour");
    takes(&heated(), &pour("10:01"));
}

/// What an import brings is history: it lists nothing of this.
#[test]
fn a_load_is_not_asked() {
    let f = shell();
    f.write_bundle(
        "b",
        &[
            ("oven_runs.csv", "oven_run,purpose,oven,started_at\nOV-1,preheat,P1,2031-03-31T05:00:00Z\n"),
            ("oven_loads.csv", "oven_run,mould,out_at\nOV-1,M31-003,2031-03-31T10:00:00Z\n"),
            (
                "coats.csv",
                "mould,coat,slurry_batch,in_at\nM31-003,1,PC-1,2031-03-20T08:00:00Z\nM31-003,2,PC-1,2031-03-20T08:30:00Z\n",
            ),
            ("pours.csv", "mould,heat,poured_at\nM31-003,H31-001,2031-03-31T09:00:00Z\n"),
            ("dispositions.csv", "blade,decided_at,decision\nM31-001-1,2031-03-12T00:00:00Z,accept\n"),
        ],
    );
    f.run("import b --as QL-01").done();
}

// In the form.

fn log(s: &mut Session, kind: &str, fields: &str) {
    let who = Who::new(Some("OP-51".into()), s.app.now);
    let fields: Vec<String> = fields.split(' ').map(String::from).collect();
    ask::log(&mut s.desk.store, &who, kind, &fields, None).unwrap();
}

/// The bench's form of a kind.
fn form(s: &mut Session, noun: &str) {
    s.keys("b");
    field(s, noun);
    s.keys("<enter>");
}

fn field(s: &mut Session, label: &str) {
    for _ in 0..60 {
        s.keys("<up>");
    }
    for _ in 0..120 {
        let chosen = |line: &str| format!("{line} ").contains(&format!("▸ {label} "));
        if s.screen(80, 24).lines().any(chosen) {
            return;
        }
        s.keys("<down>");
    }
    panic!("no {label:?} in:\n{}", s.screen(80, 24));
}

fn whole(s: &Session) -> String {
    s.screen(80, 24).split_whitespace().collect::<Vec<_>>().join(" ")
}

/// It is seen before anything is saved; saving asks why; the answer may be any letters, and stands in the note.
#[track_caller]
fn asked_in_the_form(s: &mut Session, sentence: &str, address: &str) {
    assert!(whole(s).contains(sentence), "wanted {sentence:?} in:\n{}", s.screen(80, 24));
    s.keys("<f2>");
    s.sees("Why is it right?");
    assert!(whole(s).contains(sentence), "wanted {sentence:?} in:\n{}", s.screen(80, 24));
    assert!(s.desk.store.find(address).is_err());
    s.keys("nux? quite so<f2>");
    s.sees("saved");
    assert!(s.field(address, "note").contains("nux? quite so"), "{}", s.field(address, "note"));
}

#[test]
fn the_form_shows_a_reject_to_whoever_accepts() {
    let mut s = Session::demo();
    s.app.who = Some("OP-51".into());
    let blade = "M31-096-1";
    log(
        &mut s,
        "inspections",
        &format!(
            "inspection=I-X blade={blade} method=visual round=9 inspected_at=2031-05-25T08:00:00+00:00 result=reject"
        ),
    );
    log(&mut s, "findings", "inspection=I-X defect=misrun zone=TE");
    form(&mut s, "disposition");
    s.scan(blade);
    field(&mut s, "decision");
    s.keys("a");
    let address = format!("dispositions:{blade}/2031-05-26T08:00:00+00:00");
    asked_in_the_form(&mut s, "1 reject stands: I-X, visual round 9 (misrun in TE)", &address);
}

#[test]
fn the_form_of_a_coat_asks_for_pot_and_drying() {
    let mut s = Session::demo();
    log(&mut s, "shell_batches", "shell_batch=SB-X recipe=SR-7@B started_at=2031-05-25T06:00:00+00:00");
    log(
        &mut s,
        "moulds",
        "mould=M-X part=QB-2207 running_system=RS-4 shell_batch=SB-X assembled_at=2031-05-24T08:00:00+00:00",
    );
    log(&mut s, "coats", "mould=M-X coat=1 slurry_batch=PS31-12 in_at=2031-05-26T07:30:00+00:00");
    form(&mut s, "coat");
    s.scan("M-X");
    field(&mut s, "coat");
    s.keys("2");
    s.scan("PC31-03");
    let seal = "PC31-03 is a seal coat pot, for the last coat; SR-7@B has 7 and this is coat 2";
    assert!(whole(&s).contains(seal), "{}", s.screen(80, 24));
    let wet = "coat 1 had dried 0.5 h before this dip; SR-7@B asks for 3 h";
    asked_in_the_form(&mut s, wet, "coats:M-X/2");
}

#[test]
fn the_form_of_a_charge_asks_for_too_much_revert() {
    let mut s = Session::demo();
    // 6 kg of ingot are in H31-049: 9.79 of 15.79 kg are 62 %.
    form(&mut s, "charge item");
    s.keys("di<enter>");
    field(&mut s, "heat");
    s.scan("H31-049");
    field(&mut s, "source");
    s.scan("RV31-05");
    field(&mut s, "mass");
    s.keys("9.79");
    let much = "H31-049 has 62.0 % revert; QA-713/3 allows at most 50 %";
    asked_in_the_form(&mut s, much, "charges:H31-049/RV31-05/1");
}

#[test]
fn the_form_of_a_pour_asks_for_flask_and_oven() {
    let mut s = Session::demo();
    log(&mut s, "powder_lots", "powder_lot=PL-X grade=G received_at=2031-05-01T00:00:00+00:00");
    log(&mut s, "investments", "mould=M31-097 powder_lot=PL-X mixed_at=2031-05-26T07:50:00+00:00 set_min=60");
    s.keys("p<enter>1480");
    let early = "its flask was mixed 10 min before; it sets 60 min";
    asked_in_the_form(&mut s, early, "pours:M31-097");
    log(&mut s, "oven_runs", "oven_run=OV-X purpose=preheat oven=P1 started_at=2031-05-26T05:00:00+00:00");
    log(&mut s, "oven_loads", "oven_run=OV-X mould=M31-098 out_at=2031-05-26T07:58:00+00:00");
    s.keys("p<enter>1480");
    field(&mut s, "poured at");
    s.keys("7:55");
    let still = "it came out of OV-X at 2031-05-26 07:58, after this pour";
    asked_in_the_form(&mut s, still, "pours:M31-098");
}
