//! Suspect and overdue readings (RECORDS, *Suspect readings*): the rules on hand-worked checks, the ways
//! to ask against each other and against the sentence of the contract, written down here once more.
#![allow(clippy::unwrap_used, reason = "a test stops where it cannot go on")]

use chrono::{DateTime, Duration, FixedOffset};
use records::catalogue::CheckResult;
use records::graph::suspect::{Checks, stands_on};
use records::{Stamp, catalogue};

use crate::support::{Foundry, SMALL};

/// A time of 10 March 2031: `9:30`, in UTC, or with the offset that is named.
fn at(text: &str) -> Stamp {
    let (clock, offset) = match text.find(['+', '-']) {
        Some(i) => text.split_at(i),
        None => (text, "+00:00"),
    };
    Stamp::parse(&format!("2031-03-10T{clock:0>5}:00{offset}")).unwrap()
}

/// `9:00 good due 12:00; 10:00 failed; 11:00 not_done`.
fn checks(text: &str) -> Checks {
    let one = |line: &str| {
        let mut words = line.split(' ').filter(|w| !w.is_empty());
        let when = at(words.next().unwrap());
        let outcome = CheckResult::of(words.next().unwrap()).unwrap();
        let due = words.nth(1).map(at);
        (when, outcome, due, 0)
    };
    Checks::new(text.split(';').map(str::trim).filter(|l| !l.is_empty()).map(one))
}

#[test]
fn hand_worked() {
    // Checks; a reading; suspect; overdue since.
    let table: &[(&str, &str, bool, Option<&str>)] = &[
        // No check at all: nothing failed, nothing was due.
        ("", "9:00", false, None),
        ("9:00 not_done", "10:00", false, None),
        // One good check.
        ("9:00 good", "8:00", false, None),
        ("9:00 good", "10:00", false, None),
        // Only failed ones: every reading there ever was.
        ("9:00 failed", "8:00", true, None),
        ("9:00 failed", "9:00", true, None),
        ("9:00 failed", "23:00", true, None),
        ("9:00 failed; 10:00 failed", "9:30", true, None),
        // Between two checks when either failed; not beyond them.
        ("9:00 good; 11:00 failed; 13:00 good; 15:00 good", "8:59", false, None),
        ("9:00 good; 11:00 failed; 13:00 good; 15:00 good", "9:01", true, None),
        ("9:00 good; 11:00 failed; 13:00 good; 15:00 good", "12:59", true, None),
        ("9:00 good; 11:00 failed; 13:00 good; 15:00 good", "13:01", false, None),
        // The first failed, the last failed.
        ("9:00 failed; 11:00 good; 13:00 good", "7:00", true, None),
        ("9:00 failed; 11:00 good; 13:00 good", "12:00", false, None),
        ("9:00 good; 11:00 failed", "23:59", true, None),
        // In any order of records.
        ("13:00 good; 11:00 failed; 9:00 good", "12:00", true, None),
        // Two failures with a good check between: all of it, from 9 to 17.
        ("9:00 good; 11:00 failed; 13:00 good; 15:00 failed; 17:00 good", "13:30", true, None),
        ("9:00 good; 11:00 failed; 13:00 good; 15:00 failed; 17:00 good", "17:30", false, None),
        // A check not done is none: the doubt goes on through it, to both sides.
        ("9:00 good; 10:00 not_done; 11:00 failed; 12:00 not_done; 13:00 good", "9:30", true, None),
        ("9:00 good; 10:00 not_done; 11:00 failed; 12:00 not_done; 13:00 good", "12:30", true, None),
        ("9:00 good; 10:00 not_done; 11:00 good", "10:30", false, None),
        // At the very instant of a check: taken after it.
        ("9:00 good; 11:00 failed; 13:00 good", "9:00", true, None),
        ("9:00 good; 11:00 failed; 13:00 good", "11:00", true, None),
        ("9:00 good; 11:00 failed; 13:00 good", "13:00", false, None),
        // The same instants in other offsets: 10:00+02:00 is 8:00, 6:00-05:00 is 11:00.
        ("9:00 good; 13:00+02:00 failed; 8:00-05:00 good", "10:59+02:00", false, None),
        ("9:00 good; 13:00+02:00 failed; 8:00-05:00 good", "11:00+02:00", true, None),
        ("9:00 good; 13:00+02:00 failed; 8:00-05:00 good", "7:59-05:00", true, None),
        ("9:00 good; 13:00+02:00 failed; 8:00-05:00 good", "15:00+02:00", false, None),
        // By the clock on the wall 10:00+02:00 would come after 9:00; it is 8:00, before the good check.
        ("10:00+02:00 failed; 9:00 good; 12:00 good", "8:30", true, None),
        ("10:00+02:00 failed; 9:00 good; 12:00 good", "9:30", false, None),
        // Two checks of one instant, one of them failed: doubt on both sides, whichever is named first.
        ("8:00 good; 10:00 good; 12:00+02:00 failed; 14:00 good", "9:00", true, None),
        ("8:00 good; 10:00 failed; 12:00+02:00 good; 14:00 good", "9:00", true, None),
        ("8:00 good; 10:00 good; 12:00+02:00 failed; 14:00 good", "11:00", true, None),
        ("8:00 good; 10:00 failed; 12:00+02:00 good; 14:00 good", "11:00", true, None),
        ("8:00 good; 10:00 failed; 12:00+02:00 good; 14:00 good", "15:00", false, None),
        // Overdue is later than the due time, not at it.
        ("9:00 good due 12:00", "11:59", false, None),
        ("9:00 good due 12:00", "12:00", false, None),
        ("9:00 good due 12:00", "12:01", false, Some("12:00")),
        ("9:00 good due 14:00+02:00", "12:01", false, Some("14:00+02:00")),
        // The last check before it says so: a later one sets a new time, one without a time sets none,
        // and one not done sets none either.
        ("9:00 good due 12:00; 13:00 good due 20:00", "12:30", false, Some("12:00")),
        ("9:00 good due 12:00; 13:00 good due 20:00", "13:00", false, None),
        ("9:00 good due 12:00; 13:00 good due 20:00", "19:00", false, None),
        ("9:00 good due 12:00; 13:00 good", "19:00", false, None),
        ("9:00 good due 12:00; 13:00 not_done due 20:00", "19:00", false, Some("12:00")),
        // Before the first check nothing was due; a failed check has its due time as well.
        ("9:00 good due 9:30", "8:00", false, None),
        ("9:00 failed due 12:00", "13:00", true, Some("12:00")),
        // Of two checks of one instant the earlier due time counts.
        ("10:00 good due 20:00; 12:00+02:00 good due 13:00", "14:00", false, Some("13:00")),
    ];
    for (text, reading, suspect, overdue) in table {
        let (checks, reading_at) = (checks(text), at(reading));
        assert_eq!(checks.suspect(reading_at), *suspect, "{reading} with {text}");
        assert_eq!(checks.overdue(reading_at), overdue.map(at), "{reading} with {text}");
        let inside = checks.spans().iter().filter(|s| s.holds(reading_at)).count();
        assert_eq!(inside, usize::from(*suspect), "spans: {reading} with {text}");
    }
}

#[test]
fn the_checks_that_bound_a_reading() {
    let checks = checks("9:00 good; 10:00 not_done; 11:00 failed; 13:00 good");
    let near = |t: &str| (checks.last(at(t)).map(|c| c.at), checks.next(at(t)).map(|c| c.at));
    assert_eq!(near("8:00"), (None, Some(at("9:00"))));
    assert_eq!(near("10:30"), (Some(at("9:00")), Some(at("11:00"))));
    assert_eq!(near("11:00"), (Some(at("11:00")), Some(at("13:00"))));
    assert_eq!(near("20:00"), (Some(at("13:00")), None));
    assert_eq!(checks.last_good(at("12:00")).unwrap().at, at("9:00"));
}

/// Which kinds hold readings, and what these stand on, written down by hand; `true`: the doubt descends.
#[test]
fn what_readings_stand_on() {
    let table: &[(&str, &[(&str, bool)])] = &[
        ("slurry_checks", &[("slurry_batches", true)]),
        ("oven_runs", &[("oven_runs", true)]),
        ("pours", &[("moulds", true), ("heats", false)]),
        ("inspections", &[("blades", true), ("inspections", false)]),
        ("treatments", &[("treatments", true)]),
        ("test_bars", &[("heats", true), ("test_bars", false)]),
        ("analyses", &[("ingot_lots", true), ("revert_lots", true), ("heats", true), ("analyses", false)]),
    ];
    for (kind, on) in table {
        assert_eq!(stands_on(kind), *on, "{kind}");
    }
    let with: Vec<&str> = catalogue::all().filter(|k| k.instrument.is_some()).map(|k| k.name).collect();
    assert_eq!(with.len(), table.len(), "{with:?}");
}

/// The contract's sentence over a list of checks and a reading, as it stands there.
fn by_the_contract(checks: &[(DateTime<FixedOffset>, &str)], reading: DateTime<FixedOffset>) -> bool {
    let mut done: Vec<_> = checks.iter().filter(|c| c.1 != "not_done").collect();
    done.sort_by_key(|c| c.0);
    let failed = |i: usize| done[i].1 == "failed";
    let before = done.iter().rposition(|c| c.0 <= reading);
    let after = done.iter().position(|c| c.0 > reading);
    match (before, after) {
        (Some(b), Some(a)) => failed(b) || failed(a),
        (None, Some(a)) => failed(a),
        (Some(b), None) => failed(b),
        (None, None) => false,
    }
}

/// Four instruments with checks by lot, in all offsets; forty pours between them. The way down from an
/// instrument, the way up from a blade and the record itself say what the contract's sentence says.
#[test]
fn every_way_to_ask_gives_the_same() {
    // A generator with a fixed beginning (Numerical Recipes' linear congruence).
    let mut state = 12_345_u32;
    let mut roll = |n: u32| {
        state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        (state >> 16) % n
    };
    let start = DateTime::parse_from_rfc3339("2031-01-01T00:00:00+00:00").unwrap();
    let offsets = [0, 2 * 3600, -5 * 3600, 5 * 3600 + 1800];
    let mut calibrations = String::from("instrument,checked_at,check,result\n");
    let mut known: Vec<Vec<(DateTime<FixedOffset>, &str)>> = Vec::new();
    for i in 0..4 {
        let mut mine = Vec::new();
        for n in 0..12 {
            let hours = i64::from(n * 24 + roll(20));
            let offset = FixedOffset::east_opt(offsets[roll(4) as usize]).unwrap();
            let when = (start + Duration::hours(hours)).with_timezone(&offset);
            let result = match roll(5) {
                // The last instrument has only failed ones.
                _ if i == 3 => "failed",
                0 => "failed",
                1 => "not_done",
                _ => "good",
            };
            calibrations += &format!("PYR-{i},{},cross_check,{result}\n", when.to_rfc3339());
            mine.push((when, result));
        }
        known.push(mine);
    }
    let (mut moulds, mut blades, mut pours) = (
        String::from("mould,part,running_system,assembled_at\n"),
        String::from("blade,mould,position\n"),
        String::from("mould,heat,poured_at,pyrometer\n"),
    );
    let mut wanted = Vec::new();
    for m in 0..40_usize {
        let instrument = m % 4;
        // Every third reading stands at the very instant of a check.
        let when = if m % 3 == 0 {
            known[instrument][roll(12) as usize].0.with_timezone(&FixedOffset::east_opt(3600).unwrap())
        } else {
            start + Duration::minutes(i64::from(roll(14 * 1440)))
        };
        moulds += &format!("M-{m},QB-2207,RS-1,2030-12-01T00:00:00Z\n");
        blades += &format!("M-{m}-1,M-{m},1\n");
        pours += &format!("M-{m},H31-001,{},PYR-{instrument}\n", when.to_rfc3339());
        wanted.push((m, instrument, by_the_contract(&known[instrument], when)));
    }
    let count = wanted.iter().filter(|w| w.2).count();
    assert!((5..=35).contains(&count), "{count} of 40 are suspect: the dice are no test");

    let f = Foundry::new();
    let mut files: Vec<(&str, &str)> = SMALL
        .iter()
        .filter(|(n, _)| {
            matches!(*n, "alloys.csv" | "parts.csv" | "running_systems.csv" | "ingot_lots.csv" | "heats.csv")
        })
        .copied()
        .collect();
    files.extend([
        ("instruments.csv", "instrument,kind\nPYR-0,p\nPYR-1,p\nPYR-2,p\nPYR-3,p\n"),
        ("calibrations.csv", calibrations.as_str()),
        ("moulds.csv", moulds.as_str()),
        ("blades.csv", blades.as_str()),
        ("pours.csv", pours.as_str()),
    ]);
    f.write_bundle("dice", &files);
    f.run("import dice").done();
    for i in 0..4 {
        let out = f.json(&format!("contain PYR-{i}"));
        let mut got: Vec<&str> =
            out["blades"].as_array().unwrap().iter().map(|b| b["blade"].as_str().unwrap()).collect();
        let mut should: Vec<String> =
            wanted.iter().filter(|w| w.1 == i && w.2).map(|w| format!("M-{}-1", w.0)).collect();
        got.sort_unstable();
        should.sort_unstable();
        assert_eq!(got, should, "contain PYR-{i}");
    }
    for (m, _, suspect) in wanted {
        let trace = f.json(&format!("trace M-{m}-1"));
        let of = |tag: &str| {
            trace["nodes"].as_array().unwrap().iter().find(|n| n["tag"] == tag).unwrap()["suspect"].clone()
        };
        assert_eq!(of(&format!("M-{m}-1")), suspect, "trace of M-{m}-1");
        assert_eq!(of(&format!("M-{m}")), suspect, "trace of M-{m}-1, its mould");
        for record in [format!("M-{m}"), format!("pours:M-{m}")] {
            let said = f.json(&format!("show {record}"))["suspect"].as_array().unwrap().len();
            assert_eq!(said, usize::from(suspect), "show {record}");
        }
    }
}

/// A foundry with a viscosity cup and a film viewer that failed, and records that name them.
fn labelled(check: &str) -> Foundry {
    let f = Foundry::new();
    let mut files: Vec<(&str, String)> = SMALL.iter().map(|(n, t)| (*n, (*t).to_string())).collect();
    for (name, more) in [
        (
            "instruments.csv",
            "VC-01,viscosity cup\nVC-02,viscosity cup\nFV-01,film viewer\nSP-01,spectrometer\n",
        ),
        (
            "calibrations.csv",
            "VC-01,2031-02-01T00:00:00Z,calibration,good\nVC-01,2031-03-01T00:00:00Z,calibration,failed\n\
             VC-02,2031-02-01T00:00:00Z,calibration,good\nFV-01,2031-03-20T00:00:00Z,calibration,failed\n\
             SP-01,2031-03-20T00:00:00Z,calibration,failed\n",
        ),
        ("retags.csv", "VC-01,CUP-7,2031-02-05T00:00:00Z,\n"),
    ] {
        let file = files.iter_mut().find(|(n, _)| *n == name).unwrap();
        if name == "retags.csv" {
            file.1 = "old_tag,new_tag,changed_at,reason\nM31-002-1,B-9,2031-03-10T00:00:00Z,\n".into();
        }
        file.1 += more;
    }
    files.push((
        "slurry_checks.csv",
        format!("slurry_batch,occurred_at,instrument\nPS31-01,2031-02-21T00:00:00Z,{check}\n"),
    ));
    files.push((
        "analyses.csv",
        "analysis,subject,purpose,taken_at,instrument\nAN-1,H31-001,check,2031-03-04T12:00:00Z,SP-01\n"
            .into(),
    ));
    files.push(("analysis_values.csv", "analysis,element,value,unit\nAN-1,O,12,ppm\n".into()));
    files.push((
        "test_bars.csv",
        "test_bar,heat,instrument,recorded_at\nTB-1,H31-001,SP-01,2031-03-05T00:00:00Z\nTB-2,H31-001,SP-01,\n".into(),
    ));
    let text = files.iter_mut().find(|(n, _)| *n == "inspections.csv").unwrap();
    text.1 =
        text.1.replace("inspected_at,result", "inspected_at,instrument,result").replace("Z,", "Z,FV-01,");
    let files: Vec<(&str, &str)> = files.iter().map(|(n, t)| (*n, t.as_str())).collect();
    f.write_bundle("bundle", &files);
    f.run("import bundle").done();
    f
}

/// A text that names an instrument by the label that it got later, in another case, is a reading of it.
#[test]
fn a_later_label_names_the_same_instrument() {
    for (check, blades) in [("VC-01", 4), ("CUP-7", 4), ("cup-7", 4), ("VC-02", 0), ("CUP-8", 0)] {
        let f = labelled(check);
        for tag in ["VC-01", "CUP-7"] {
            let out = f.json(&format!("contain {tag}"));
            assert_eq!(
                out["blades"].as_array().unwrap().len(),
                blades,
                "contain {tag} with a check by {check}"
            );
        }
        let trace = f.json("trace M31-001-2");
        let slurry = trace["nodes"].as_array().unwrap().iter().find(|n| n["tag"] == "PS31-01").unwrap();
        assert_eq!(slurry["suspect"], blades > 0, "{check}");
        for record in ["PS31-01", "slurry_checks:PS31-01/2031-02-21T00:00:00+00:00"] {
            let said = f.json(&format!("show {record}"))["suspect"].as_array().unwrap().len();
            assert_eq!(said, usize::from(blades > 0), "show {record} with {check}");
        }
    }
}

/// `show` says of a reading itself that it is suspect, of whatever kind.
#[test]
fn a_reading_says_itself_that_it_is_suspect() {
    let f = labelled("VC-02");
    for (tag, with) in [("I1", "FV-01"), ("AN-1", "SP-01"), ("TB-1", "SP-01")] {
        let said = f.json(&format!("show {tag}"))["suspect"].clone();
        assert!(said[0].as_str().unwrap().contains(with), "{tag}: {said}");
        assert_eq!(said.as_array().unwrap().len(), 1, "{tag}: {said}");
    }
    // Nobody knows when this bar was tested: it cannot be told, and nothing is said.
    assert_eq!(f.json("show TB-2")["suspect"].as_array().unwrap().len(), 0);
}
