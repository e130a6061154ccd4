//! Times as people write them, through the command line. Expected times are worked out by hand from the clock and the
//! calendar.

use crate::support::{Answer, Foundry, answer};

/// An hour ahead of UTC, in summer two.
const SUMMER_TIME: &str = "CET-1CEST,M3.5.0,M10.5.0/3";

fn at(f: &Foundry, zone: &str, now: &str, words: &[&str]) -> Answer {
    let mut command = f.command(words);
    command.env("TZ", zone).env("MELTKIN_NOW", now);
    answer(command.output().unwrap())
}

/// A mould that is not poured; the clock stands at midnight, 2031-04-01 UTC.
fn foundry() -> Foundry {
    let f = Foundry::small();
    f.run("log moulds mould=M31-003 part=QB-2207 running_system=RS-1 assembled_at=2031-03-30T00:00:00Z")
        .done();
    f
}

#[test]
fn a_time_of_day_is_last_night_s_and_says_so() {
    let f = foundry();
    let logged = f.json("log pours mould=M31-003 heat=H31-001 poured_at=23:50");
    assert_eq!(logged["understood"]["poured_at"], "2031-03-31T23:50:00+00:00");
    assert_eq!(f.json("show pours:M31-003")["record"]["poured_at"], "2031-03-31T23:50:00+00:00");
    let said = f.run("correct pours:M31-003 poured_at=-20min --reason misread").done();
    assert!(said.out.contains("poured_at: -20min read as 2031-03-31 23:40 +00:00"), "{}", said.out);
    let said =
        f.run_with(&["correct", "pours:M31-003", "poured_at=31.3. 22:15", "--reason", "misread"]).done();
    let line = "poured_at: 31.3. 22:15 read as 2031-03-31 22:15 +00:00 (31.3. taken as that of 2031)";
    assert!(said.out.contains(line), "{}", said.out);
    // What is written in full needs no word.
    let logged = f.json("correct pours:M31-003 poured_at=2031-03-31T22:10:00Z --reason misread");
    assert!(logged.get("understood").is_none(), "{logged}");
    assert!(
        !f.run("correct pours:M31-003 poured_at=n/a --reason x")
            .fails(2, "poured_at")
            .err
            .contains("read as")
    );
}

#[test]
fn what_is_to_come_and_what_is_no_time_is_refused() {
    let f = foundry();
    let pour = |time: &str| {
        f.run_with(&[
            "log",
            "pours",
            "mould=M31-003",
            "heat=H31-001",
            &format!("poured_at={time}"),
            "--reason",
            "x",
        ])
    };
    pour("+5").fails(2, "poured_at = 2031-04-01T00:05:00+00:00: is 5 min in the future by the clock");
    pour("31.12.2031 14:00").fails(2, "is 275 days in the future by the clock");
    pour("25:00").fails(2, "poured_at = 25:00: there is no such time of day; a time is written 9:05");
    pour("31.3.").fails(2, "a date without a time of day");
    f.run("show pours:M31-003").fails(2, "");
    // What may lie ahead is the nearest, and so many days from now.
    f.run("log calibrations instrument=PYR-02 checked_at=now check=cross_check result=good due_at=+7d")
        .done();
    let due = f.json("show calibrations:PYR-02/2031-04-01T00:00:00+00:00")["record"]["due_at"].clone();
    assert_eq!(due, "2031-04-08T00:00:00+00:00");
    let plan = f.json("log pour_plans mould=M31-003 planned_on=3.4.");
    assert_eq!(plan["understood"]["planned_on"], "2031-04-03");
}

#[test]
fn the_offset_is_that_of_the_machine_on_that_day() {
    let f = Foundry::new();
    let log = |zone: &str, now: &str, lot: &str, time: &str| {
        let words =
            ["log", "filter_lots", &format!("filter_lot={lot}"), &format!("received_at={time}"), "--json"];
        at(&f, zone, now, &words).done().json()["understood"]["received_at"].clone()
    };
    let winter = "2031-11-26T08:00:00+01:00";
    at(&f, SUMMER_TIME, winter, &["new"]).done();
    assert_eq!(log(SUMMER_TIME, winter, "F1", "2031-07-01 9:05"), "2031-07-01T09:05:00+02:00");
    assert_eq!(log(SUMMER_TIME, winter, "F2", "2031-02-01 9:05"), "2031-02-01T09:05:00+01:00");
    assert_eq!(log(SUMMER_TIME, winter, "F3", "7:05"), "2031-11-26T07:05:00+01:00");
    // The clock that is handed in is not that of this machine: its own offset counts.
    assert_eq!(log("UTC", winter, "F4", "2031-07-01 9:05"), "2031-07-01T09:05:00+01:00");
    // The hour that no clock showed, and the hour that it showed twice.
    let words = ["log", "filter_lots", "filter_lot=F5", "received_at=2031-03-30 2:30"];
    at(&f, SUMMER_TIME, winter, &words).fails(2, "that hour did not exist on 30 March 2031");
    // Not a year earlier either, in which the clocks went forward on the 31st.
    let words = ["log", "filter_lots", "filter_lot=F5", "received_at=30.3. 2:30"];
    at(&f, SUMMER_TIME, winter, &words).fails(2, "that hour did not exist on 30 March 2031");
    let words = ["log", "filter_lots", "filter_lot=F5", "received_at=2:30"];
    let (g, morning) = (Foundry::new(), "2031-03-30T08:00:00+02:00");
    at(&g, SUMMER_TIME, morning, &["new"]).done();
    at(&g, SUMMER_TIME, morning, &words).fails(2, "that hour did not exist on 30 March 2031");
    let words = ["log", "filter_lots", "filter_lot=F6", "received_at=26.10. 2:30"];
    let said = at(&f, SUMMER_TIME, winter, &words).done();
    assert!(said.out.contains("2031-10-26 02:30 +01:00"), "{}", said.out);
    assert!(said.out.contains("the clocks go back then"), "{}", said.out);
}

#[test]
fn bounds_of_a_question_are_read_and_said() {
    let f = foundry();
    let asked = |option: &str, text: &str| {
        f.run_with(&["yield", option, text, "--json"]).done().json()["question"].clone()
    };
    assert_eq!(asked("--since", "4.3.")["since"], "2031-03-04");
    assert_eq!(asked("--until", "5.3. 12:00")["until"], "2031-03-05T12:00:00+00:00");
    assert_eq!(asked("--since", "-30 d")["since"], "2031-03-02");
    assert_eq!(asked("--since", "2031-03-04")["since"], "2031-03-04");
    let said = f.run_with(&["yield", "--since", "5.3. 12:00"]).done();
    assert!(said.err.contains("since: 5.3. 12:00 read as 2031-03-05 12:00 +00:00"), "{}", said.err);
    f.run_with(&["causes", "--defect", "inclusion", "--since", "soon"]).fails(2, "give a date such as");
    f.run_with(&["causes", "--defect", "inclusion", "--since", "5.3. 12:00", "--until", "now"]).done();
}

/// A bundle is a contract: its times are written in full.
#[test]
fn an_import_takes_times_in_full_only() {
    let f = foundry();
    for time in ["9:05", "-10", "now", "2031-03-30 09:05", "31.3. 9:05"] {
        f.write_bundle("b", &[("pours.csv", &format!("mould,heat,poured_at\nM31-003,H31-001,{time}\n"))]);
        f.run("import b").fails(2, "a time is written 2031-03-04T09:05:00+00:00, with its offset");
    }
}
