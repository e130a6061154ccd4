//! The clock: no entry is earlier than the one before, and a clock given from outside is said, or refused.

use serde_json::json;

use crate::support::{Answer, Foundry, answer};

fn at(f: &Foundry, now: Option<&str>, words: &str) -> Answer {
    let words: Vec<&str> = words.split(' ').collect();
    let mut command = f.command(&words);
    match now {
        Some(now) => command.env("MELTKIN_NOW", now),
        None => command.env_remove("MELTKIN_NOW"),
    };
    answer(command.output().unwrap())
}

fn times(f: &Foundry) -> Vec<String> {
    let out = std::process::Command::new("sqlite3")
        .arg(f.store())
        .arg("SELECT at FROM journal ORDER BY seq")
        .output()
        .unwrap();
    String::from_utf8(out.stdout).unwrap().lines().map(String::from).collect()
}

/// A store of a running clock refuses another one; the refusal bears the machine's time.
#[test]
fn a_store_of_a_running_clock_is_not_written_under_another() {
    let f = Foundry::new();
    at(&f, None, "new").done();
    at(&f, None, "log people person=QL-1 role=quality").done();
    at(&f, None, "hold PYR --reason x").fails(2, "there is no");
    for now in ["2001-01-01T00:00:00Z", "2099-01-01T00:00:00Z"] {
        for words in [
            "log heats heat=H-1 alloy=IN-713C furnace=F --as QL-1",
            "undo --as QL-1",
            "correct QL-1 note=x --reason r --as QL-1",
        ] {
            let refused = at(&f, Some(now), &format!("{words} --json"));
            assert_eq!(refused.code, 1, "{words}: {}", refused.err);
            assert!(refused.json()["refused"].as_str().unwrap().contains("MELTKIN_NOW"));
        }
        std::fs::write(f.path("heats.csv"), "heat,alloy,furnace\nH-2,IN-713C,F\n").unwrap();
        assert_eq!(at(&f, Some(now), "import heats.csv --as QL-1").code, 1);
    }
    let times = times(&f);
    assert!(
        times.len() >= 10 && times.iter().all(|t| !t.starts_with("2099") && !t.starts_with("2001")),
        "{times:?}"
    );
    let sorted = {
        let mut t = times.clone();
        t.sort();
        t
    };
    assert_eq!(times, sorted);
    // Reading is no matter.
    at(&f, Some("2001-01-01T00:00:00Z"), "show QL-1").done();
    let verdict = at(&f, None, "verify --json").done().json();
    assert_eq!((&verdict["ok"], &verdict["clock_given"]), (&json!(true), &json!(false)));
    // And it cannot be given one afterwards.
    for words in [
        "log settings setting=clock_given value=yes --as QL-1",
        "log settings setting=clock value=2031-01-01T00:00:00Z --as QL-1",
    ] {
        at(&f, None, words).fails(2, "set when a store is made");
    }
    std::fs::write(f.path("settings.csv"), "setting,value\nclock_given,yes\n").unwrap();
    let faulty = at(&f, None, "import settings.csv --as QL-1 --json");
    assert_eq!(faulty.code, 2);
    assert!(faulty.json()["faults"][0]["message"].as_str().unwrap().contains("set when a store is made"));
}

/// A clock that goes back takes nothing back: the later time counts.
#[test]
fn no_entry_is_earlier_than_the_one_before() {
    let f = Foundry::small();
    let later = "2031-04-03T00:00:00+00:00";
    f.run("hold H31-001 --reason crack --as QL-01").done();
    at(&f, Some(later), "hold H31-002 --reason crack --as OP-01").done();
    // Days later, with the clock of the hold: it is older than a minute.
    f.run("undo --reason mistaken --as QL-01").fails(2, "older than a minute");
    let done = f.json("log heats heat=H31-009 alloy=QA-713/3 furnace=F1");
    assert_eq!(done["recorded_at"], later);
    assert_eq!(f.json("shift")["now"], later);
    let times = times(&f);
    let sorted = {
        let mut t = times.clone();
        t.sort();
        t
    };
    assert_eq!(times, sorted);
    assert_eq!(f.json("verify")["ok"], true);
}

/// The file is checked once a day, and a day is one on the clock: one that went back is another day, though the
/// newest entry is of the day of the last check.
#[test]
fn a_clock_that_went_back_leads_to_a_check() {
    for back in ["2031-03-31T00:00:00+00:00", "2021-01-01T00:00:00+00:00"] {
        let f = Foundry::small();
        f.run("contain IL31-01").done();
        let touch = "UPDATE defect_terms SET name = 'x'";
        let done = std::process::Command::new("sqlite3").arg(f.store()).arg(touch).status().unwrap();
        assert!(done.success());
        f.run("contain IL31-01").done();
        at(&f, Some(back), "contain IL31-01").fails(3, "cannot be trusted");
    }
}

#[test]
fn a_given_clock_is_said() {
    let f = Foundry::small();
    let verdict = f.json("verify");
    assert_eq!((&verdict["ok"], &verdict["clock_given"]), (&json!(true), &json!(true)));
    for words in ["verify", "shift", "lot summary L31-01"] {
        let text = f.run(words).out;
        assert!(text.contains("clock given"), "{words}: {text}");
    }
    f.run("lot summary L31-01 --html lot.html");
    assert!(std::fs::read_to_string(f.path("lot.html")).unwrap().contains("clock given"));
    assert_eq!(f.run("lot summary L31-01 --json").json()["clock_given"], json!(true));
    // It is a record, sealed like any other, and comes with the bundle.
    let mark = std::process::Command::new("sqlite3")
        .arg(f.store())
        .arg("SELECT new FROM journal WHERE kind = 'settings'")
        .output()
        .unwrap();
    assert_eq!(
        String::from_utf8(mark.stdout).unwrap(),
        "settings {\"setting\":\"clock_given\",\"value\":\"yes\"}\n"
    );
    f.run("export out").done();
    let other = Foundry::new();
    std::fs::rename(f.path("out"), other.path("out")).unwrap();
    other.run("import out").done();
    other.run("export again").done();
    let names = |folder: &str| {
        let all = std::fs::read_dir(other.path(folder)).unwrap().map(|f| f.unwrap().file_name());
        all.collect::<std::collections::BTreeSet<_>>()
    };
    assert_eq!(names("out"), names("again"));
    assert!(names("out").len() > 20, "{:?}", names("out"));
    for file in std::fs::read_dir(other.path("out")).unwrap().map(Result::unwrap) {
        let name = file.file_name();
        let again = std::fs::read(other.path("again").join(&name)).unwrap();
        assert!(std::fs::read(file.path()).unwrap() == again, "{name:?}");
    }
    // Nobody takes it back.
    let bare = Foundry::new();
    bare.run("new --bare").done();
    bare.run("undo").fails(2, "no person given");
    bare.run("correct settings:clock_given value=no --reason r").done();
}

/// The demo's clock is a setting like any other: journalled, exported, and taken by a store without records.
#[test]
fn the_demo_brings_its_clock() {
    let f = Foundry::new();
    at(&f, None, "demo --no-screen").done();
    at(&f, None, "export out").done();
    let settings = std::fs::read_to_string(f.path("out/settings.csv")).unwrap();
    assert!(settings.contains("clock,2031-05-26T08:00:00+00:00"), "{settings}");
    let other = Foundry::new();
    std::fs::rename(f.path("out"), other.path("out")).unwrap();
    at(&other, None, "import out").done();
    assert!(times(&other).iter().all(|t| t == "2031-05-26T08:00:00+00:00"), "{:?}", times(&other));
    assert_eq!(at(&other, None, "shift --json").done().json()["now"], "2031-05-26T08:00:00+00:00");
    assert_eq!(at(&other, None, "verify --json").done().json()["clock_given"], json!(true));
    // A touched clock is found.
    std::process::Command::new("sqlite3")
        .arg(other.store())
        .arg("UPDATE settings SET value = '2031-01-01T00:00:00+00:00' WHERE setting = 'clock'")
        .status()
        .unwrap();
    assert_eq!(at(&other, None, "verify").code, 1);
}
