//! Roles and first PINs once somebody of quality has a PIN; who typed a record in; where a PIN is read from.

use std::process::Stdio;
use std::time::{Duration, Instant};

use records::catalogue;

use crate::lots::{foundry, piped};
use crate::support::{Answer, Foundry};

/// Three of quality and two operators, one of whom has a PIN, which counts for nothing here.
fn people(with_pins: &[&str]) -> Foundry {
    let f = Foundry::new();
    f.write_bundle(
        "bundle",
        &[("people.csv", "person,role\nQ1,quality\nQ2,quality\nQ3,quality\nO1,operator\nO2,operator\n")],
    );
    f.run("import bundle").done();
    for person in ["Q1", "Q2", "Q3", "O1"] {
        std::fs::write(f.path(&format!("pin-{person}")), format!("pin-of-{person}\n")).unwrap();
    }
    f.run("pin set --as O1 --pin-from pin-O1").done();
    let mut first = None;
    for person in with_pins {
        match first {
            None => f.run(&format!("pin set --as {person} --pin-from pin-{person}")).done(),
            Some(by) => piped(
                &f,
                &format!("pin set --as {person} --by {by}"),
                &format!("pin-of-{by}\npin-of-{person}\n"),
            )
            .done(),
        };
        first = first.or(Some(person));
    }
    f
}

/// Makes the store again what it was.
fn again(f: &Foundry, bytes: &[u8]) {
    for end in ["-wal", "-shm"] {
        let _ = std::fs::remove_file(f.path(&format!("store.db{end}")));
    }
    std::fs::write(f.store(), bytes).unwrap();
}

const DEMOTE: &str = "correct Q1 role=operator --reason r";
const CLEAR: &str = "pin clear Q1";
const CLEAR_OPERATOR: &str = "pin clear O1";
const MAKE: &str = "correct O2 role=quality --reason r";
const FIRST: &str = "pin set --pin-from pin-Q2";

/// Who has a PIN; the act; by whom; whether they give their PIN; done, or refused. By hand, from the rule: once anybody
/// of quality has a PIN, the PIN of one of quality who is not the subject is needed.
const TABLE: &[(&[&str], &str, &str, bool, bool)] = &[
    (&[], DEMOTE, "Q2", false, true),
    (&[], DEMOTE, "Q1", false, true),
    (&[], DEMOTE, "O2", false, false),
    (&[], CLEAR_OPERATOR, "Q2", false, true),
    (&[], CLEAR_OPERATOR, "O2", false, false),
    (&[], CLEAR_OPERATOR, "O1", true, false),
    (&[], MAKE, "Q2", false, true),
    (&[], MAKE, "O2", false, false),
    (&[], FIRST, "Q2", false, true),
    // The subject's own is the only one.
    (&["Q1"], DEMOTE, "Q2", false, false),
    (&["Q1"], DEMOTE, "Q1", true, false),
    (&["Q1"], CLEAR, "Q2", false, false),
    (&["Q1"], CLEAR, "Q1", true, false),
    // The actor's is the only one.
    (&["Q1"], CLEAR_OPERATOR, "Q1", true, true),
    (&["Q1"], MAKE, "Q1", true, true),
    (&["Q1"], MAKE, "Q1", false, false),
    (&["Q2"], DEMOTE, "Q2", true, true),
    (&["Q2"], DEMOTE, "Q2", false, false),
    // A third's is the only one.
    (&["Q2"], DEMOTE, "Q1", false, false),
    (&["Q3"], DEMOTE, "Q2", false, false),
    (&["Q3"], CLEAR_OPERATOR, "Q2", false, false),
    (&["Q3"], MAKE, "Q2", false, false),
    (&["Q3"], FIRST, "Q2", false, false),
    // Two have one.
    (&["Q1", "Q2"], DEMOTE, "Q2", true, true),
    (&["Q1", "Q2"], DEMOTE, "Q1", true, false),
    (&["Q1", "Q2"], DEMOTE, "Q3", false, false),
    (&["Q1", "Q2"], CLEAR, "Q2", true, true),
    (&["Q1", "Q2"], CLEAR, "Q1", true, false),
    (&["Q1", "Q2"], CLEAR, "Q3", false, false),
    (&["Q1", "Q2"], MAKE, "Q2", true, true),
    (&["Q1", "Q2"], MAKE, "Q3", false, false),
    (&["Q1", "Q3"], FIRST, "Q2", false, false),
];

#[test]
fn roles_and_pins_need_another_quality_person_s_pin_once_any_has_one() {
    let mut sets: Vec<&[&str]> = TABLE.iter().map(|row| row.0).collect();
    sets.dedup();
    for set in sets {
        let f = people(set);
        let bytes = std::fs::read(f.store()).unwrap();
        for (_, act, by, gives, done) in TABLE.iter().filter(|row| row.0 == set) {
            again(&f, &bytes);
            let pin = if *gives { format!(" --pin-from pin-{by}") } else { String::new() };
            let answer = f.run(&format!("{act} --as {by}{pin}"));
            let said = format!("PINs of {set:?}: {act} --as {by}{pin}: {}{}", answer.out, answer.err);
            assert_eq!(answer.code, i32::from(!done), "{said}");
            assert_eq!(f.json("verify")["ok"], true, "{said}");
        }
    }
}

#[test]
fn the_other_ways_to_a_role_ask_the_same() {
    // The first PIN of the one who became quality makes it bind for who typed them in, and takes it back.
    let f = people(&[]);
    f.run("log people person=Q9 role=quality --as Q2").done();
    std::fs::write(f.path("pin-Q9"), "pin-of-Q9\n").unwrap();
    f.run("pin set --as Q9 --pin-from pin-Q9").done();
    f.run("undo --as Q2").fails(1, "a quality person other than");
    // A label that was given later is the same person: their own PIN is not another's, and is theirs.
    let f = people(&["Q1"]);
    f.run("log retags old_tag=Q1 new_tag=QX changed_at=2031-03-30T00:00:00Z --as Q1 --pin-from pin-Q1")
        .done();
    f.run("correct QX role=operator --reason r --as QX --pin-from pin-Q1")
        .fails(1, "a quality person other than");
    f.run("pin clear QX --as Q1 --pin-from pin-Q1").fails(1, "a quality person other than");
    f.run("correct O2 role=quality --reason r --as QX --pin-from pin-Q1").done();
    // By an import.
    std::fs::write(f.path("people.csv"), "person,role\nQ8,quality\n").unwrap();
    f.run("import people.csv --as Q2").fails(1, "a quality person other than");
    std::fs::write(f.path("people.csv"), "person,role\nQ1,operator\n").unwrap();
    assert_ne!(f.run("import people.csv --as Q2").code, 0);
    assert_eq!(f.json("show Q1")["record"]["role"], "quality");
}

#[test]
fn who_typed_it_in_and_when_is_filled_and_not_given() {
    let f = foundry(&[], &[]);
    for kind in catalogue::all() {
        f.run(&format!("log {} recorded_by=OP-01 --as QL-01", kind.name)).fails(2, "--as PERSON");
        f.run(&format!("log {} recorded_at=2031-03-01T00:00:00Z --as QL-01", kind.name))
            .fails(2, "taken from the clock");
    }
    f.run("log filter_lots filter_lot=FL-1 received_at=2031-03-30T00:00:00Z ppi=10 --as OP-01").done();
    let logged = f.json("show FL-1")["record"].clone();
    assert_eq!(
        (&logged["recorded_by"], &logged["recorded_at"]),
        (&"OP-01".into(), &crate::support::NOW.into())
    );
    // What comes in an import was typed in elsewhere, or says nothing.
    let text = "filter_lot,received_at,recorded_by,recorded_at\nFL-2,2031-02-20T00:00:00Z,OP-01,2031-03-01T00:00:00+00:00\nFL-3,2031-02-20T00:00:00Z,,\n";
    std::fs::write(f.path("filter_lots.csv"), text).unwrap();
    f.run("import filter_lots.csv --as QL-01").done();
    let came = f.json("show FL-2")["record"].clone();
    assert_eq!(
        (&came["recorded_by"], &came["recorded_at"]),
        (&"OP-01".into(), &"2031-03-01T00:00:00+00:00".into())
    );
    assert_eq!(f.json("show FL-3")["record"]["recorded_by"], serde_json::Value::Null);
}

#[test]
fn whoever_typed_a_pour_in_does_not_sign() {
    let f = foundry(&[("pours.csv", "M31-001,H31-001,2031-03-04T10:00:00Z,PYR-02,1480,5,OP-01\n", "")], &[]);
    let pour = "log pours mould=M31-001 heat=H31-001 poured_at=2031-03-04T10:00:00Z pyrometer=PYR-02 indicated_c=1480 mass_kg=5 person=OP-01";
    f.run(&format!("{pour} recorded_by=OP-01 --reason late --as QL-02")).fails(2, "--as PERSON");
    f.run(&format!("{pour} --reason late --as QL-02")).done();
    f.run("lot summary L31-01 --final --as QL-02").fails(1, "typed one in");
    // Who puts it right afterwards did not pour.
    f.run("correct pours:M31-001 indicated_c=1481 --reason misread --as QL-01").done();
    assert_eq!(f.json("show pours:M31-001")["record"]["recorded_by"], "QL-02");
    assert_eq!(f.json("lot summary L31-01 --final --as QL-01")["state"], "final");
}

/// What was proposed was typed in by whoever proposed it, also when quality accepts it.
#[test]
fn an_accepted_proposal_names_who_typed_it_in() {
    let failed = "FV-01,2031-03-15T00:00:00Z,calibration,failed,2031-09-01T00:00:00Z\n";
    let good = "FV-01,2031-03-01T00:00:00Z,calibration,good,2031-09-01T00:00:00Z\n";
    let f = foundry(&[("calibrations.csv", good, &format!("{good}{failed}"))], &[]);
    let call =
        "log calibrations instrument=FV-01 checked_at=2031-03-12T00:00:00Z check=cross_check result=good";
    let answer = f.run(&format!("{call} --reason late --as OP-01 --json")).done().json();
    assert_eq!(answer["proposal"], true, "{answer}");
    f.run(&format!("decide {} --accept --reason seen --as QL-01", answer["entry"])).done();
    let record = f.json("show calibrations:FV-01/2031-03-12T00:00:00+00:00")["record"].clone();
    assert_eq!(record["recorded_by"], "OP-01", "{record}");
}

/// Gives the answer of a program that must not read on for ever.
fn at_last(mut command: std::process::Command) -> Answer {
    let began = Instant::now();
    let mut child = command.stdout(Stdio::piped()).stderr(Stdio::piped()).spawn().unwrap();
    while child.try_wait().unwrap().is_none() {
        if began.elapsed() > Duration::from_secs(300) {
            child.kill().unwrap();
            child.wait().unwrap();
            panic!("{command:?} does not end");
        }
        std::thread::sleep(Duration::from_millis(20));
    }
    crate::support::answer(child.wait_with_output().unwrap())
}

#[test]
fn a_pin_is_read_from_a_plain_file_or_standard_input_and_no_further() {
    let f = people(&["Q1"]);
    assert!(std::process::Command::new("mkfifo").arg(f.path("pipe")).status().unwrap().success());
    std::fs::create_dir(f.path("folder")).unwrap();
    std::os::unix::fs::symlink("/dev/zero", f.path("link")).unwrap();
    std::fs::write(f.path("long"), "x".repeat(1 << 20)).unwrap();
    let files = [
        ("/dev/zero", "a device"),
        ("link", "a device"),
        ("pipe", "a pipe"),
        ("folder", "a folder"),
        ("long", "more than 4096 bytes"),
        ("-", "more than 4096 bytes"),
        ("none", "No such file"),
    ];
    let acts = ["pin set --as Q1", "pin set --as O2", "pin clear O1 --as Q1", "log alloys alloy=A-9 --as Q1"];
    for (file, why) in files {
        for act in acts {
            let words = format!("{act} --pin-from {file}");
            let mut command = f.command(&words.split(' ').collect::<Vec<_>>());
            command.stdin(std::fs::File::open("/dev/zero").unwrap());
            at_last(command).fails(2, why);
        }
    }
    // Lines end as on other machines too, and what comes after them is not read.
    std::fs::write(f.path("crlf"), format!("pin-of-Q1\r\n{}", "x".repeat(1 << 20))).unwrap();
    f.run("log alloys alloy=A-9 --as Q1 --pin-from crlf").done();
}
