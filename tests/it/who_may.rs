//! Who may write what, by every way in: the list stands here as the contract has it, not as the catalogue does.

use records::catalogue;
use records::catalogue::field::Type;
use records::catalogue::kind::Kind;

use crate::every_kind;
use crate::support::{Answer, Foundry};

/// Kinds that only quality writes, once there is one.
const LISTED: [&str; 16] = [
    "alloys",
    "alloy_limits",
    "parts",
    "zones",
    "inspection_plans",
    "defect_terms",
    "shell_recipes",
    "running_systems",
    "calibrations",
    "people",
    "qualifications",
    "process_limits",
    "organisations",
    "concessions",
    "concession_items",
    "dispositions",
];

/// Kinds that quality and metallurgists write, once there is one of them.
const KNOWLEDGE: [&str; 3] = ["knowledge_sources", "known_causes", "known_cause_reviews"];

/// One record of every kind, and people of two sorts: T-people is quality, OP-1 an operator.
fn foundry() -> Foundry {
    let f = every_kind::imported("noted");
    f.run("log people person=OP-1 role=operator --as T-people").done();
    f
}

fn entries(f: &Foundry) -> i64 {
    f.json("verify")["entries"].as_i64().unwrap()
}

/// Refused: exit 1, the sentence and the roles in JSON, one entry that says so, and nothing else.
#[track_caller]
fn refused(f: &Foundry, words: &[&str]) {
    let before = entries(f);
    let mut all = words.to_vec();
    all.push("--json");
    let answer = f.run_with(&all);
    assert_eq!(answer.code, 1, "{words:?}: {}{}", answer.out, answer.err);
    let json = answer.json();
    assert!(json["refused"].as_str().is_some_and(|s| !s.is_empty()), "{words:?}");
    assert_eq!(json["needs"], serde_json::json!(["quality"]), "{words:?}");
    assert_eq!(entries(f), before + 1, "{words:?}: the refusal is one entry");
    let last = last_entry(f);
    assert_eq!(last.0, "refused", "{words:?}");
}

/// Action, kind and reason of the newest entry.
fn last_entry(f: &Foundry) -> (String, String, String) {
    let out = std::process::Command::new("sqlite3")
        .args(["-separator", "\u{1f}"])
        .arg(f.store())
        .arg("SELECT action, kind, ifnull(reason, '') FROM journal ORDER BY seq DESC LIMIT 1")
        .output()
        .unwrap();
    let text = String::from_utf8(out.stdout).unwrap();
    let parts: Vec<&str> = text.trim_end().split('\u{1f}').collect();
    (parts[0].into(), parts[1].into(), parts[2].into())
}

fn address(f: &Foundry, kind: &str) -> String {
    let address = f.json(&format!("show {kind}"))["records"][0][0].as_str().unwrap().to_string();
    // The list leaves the revision out.
    address.replace(":T-alloys/", ":T-alloys@R1/").replace(":T-parts/", ":T-parts@R1/")
}

/// Another record of a kind: one part of its key is another.
fn another(kind: &Kind) -> Vec<(String, String)> {
    let mut fields = every_kind::record(kind);
    let key = kind.key_fields().filter(|f| !matches!(f.ty, Type::Ref(_) | Type::AnyTag)).last();
    let name = key.map_or("", |f| f.name);
    for (field, value) in &mut fields {
        // Blades were decided on by the first concession: its items stay as they are.
        if (kind.name, field.as_str()) == ("concession_items", "concession") {
            *value = "T-concessions2".into();
        }
        if field != name {
            continue;
        }
        *value = match key.map(|f| f.ty) {
            Some(Type::Count) => "7".into(),
            Some(Type::Time) => "2031-03-06T09:05:00+00:00".into(),
            Some(Type::Date) => "2031-03-02".into(),
            Some(Type::Choice(words)) => words[1].into(),
            _ if (kind.name, name) == ("process_limits", "scope") => "T-instruments".into(),
            _ => format!("{value}2"),
        };
    }
    fields
}

fn log_words(kind: &Kind, fields: &[(String, String)], who: Option<&str>) -> Vec<String> {
    let mut words: Vec<String> = ["log", kind.name].map(String::from).into();
    words.extend(fields.iter().map(|(n, v)| format!("{n}={v}")));
    words.extend(["--reason", "as read"].map(String::from));
    words.extend(who.iter().flat_map(|w| ["--as".to_string(), (*w).to_string()]));
    words
}

fn as_str(words: &[String]) -> Vec<&str> {
    words.iter().map(String::as_str).collect()
}

#[test]
fn the_catalogue_restricts_what_the_contract_lists_and_no_other_kind() {
    let mut approvals = 0;
    for kind in catalogue::all() {
        let whole = records::write::authority::need(kind, None, Some(&records::Record::blank(kind)));
        let anyone = whole == records::write::authority::Need::Anyone;
        let listed = LISTED.contains(&kind.name) || KNOWLEDGE.contains(&kind.name);
        assert_eq!(anyone, !listed, "{}", kind.name);
        for field in kind.fields.iter().filter(|f| f.name.starts_with("approved_")) {
            assert_eq!(field.hand, records::catalogue::field::Hand::Quality, "{}.{}", kind.name, field.name);
            approvals += 1;
        }
    }
    assert!(approvals > 0, "no field is an approval");
}

#[test]
fn every_listed_kind_is_quality_s_by_log_correction_and_import() {
    let f = foundry();
    for name in LISTED {
        let kind = catalogue::kind(name).unwrap();
        let fields = another(kind);
        let address = address(&f, name);
        let before = f.run(&format!("show {name} --json")).done().out;
        let change = |who: &[&str]| {
            let words = [&["correct", &address, "note=another", "--reason", "as read"], who].concat();
            words.iter().map(|w| (*w).to_string()).collect::<Vec<String>>()
        };
        for who in [Some("OP-1"), None] {
            refused(&f, &as_str(&log_words(kind, &fields, who)));
            let who: Vec<&str> = who.iter().flat_map(|w| ["--as", w]).collect();
            refused(&f, &as_str(&change(&who)));
            let names: Vec<&str> = fields.iter().map(|(n, _)| n.as_str()).collect();
            let values: Vec<&str> = fields.iter().map(|(_, v)| v.as_str()).collect();
            std::fs::write(
                f.path(&format!("{name}.csv")),
                format!("{}\n{}\n", names.join(","), values.join(",")),
            )
            .unwrap();
            let file = format!("{name}.csv");
            refused(&f, &[&["import", file.as_str()][..], &who].concat());
        }
        assert_eq!(f.run(&format!("show {name} --json")).done().out, before, "{name}: nothing was written");
        f.run_with(&as_str(&log_words(kind, &fields, Some("T-people")))).done();
        if name != "concession_items" {
            f.run_with(&as_str(&change(&["--as", "T-people"]))).done();
        }
    }
    assert_eq!(f.json("verify")["ok"], true);
}

#[test]
fn what_the_trade_knows_is_written_by_quality_or_a_metallurgist() {
    let f = foundry();
    f.run("log people person=ME-1 role=metallurgist --as T-people").done();
    for name in KNOWLEDGE {
        let kind = catalogue::kind(name).unwrap();
        let mut fields = another(kind);
        // A review is no older than the rows that it covers.
        let reviewed = fields.iter_mut().find(|(name, _)| name == "reviewed_at");
        if let Some((_, at)) = reviewed {
            *at = "2031-04-01T00:00:00+00:00".into();
        }
        for who in [Some("OP-1"), None] {
            let mut words = log_words(kind, &fields, who);
            words.push("--json".into());
            let answer = f.run_with(&as_str(&words));
            assert_eq!(answer.code, 1, "{name}: {}{}", answer.out, answer.err);
            assert_eq!(answer.json()["needs"], serde_json::json!(["quality", "metallurgist"]), "{name}");
            let names: Vec<&str> = fields.iter().map(|(n, _)| n.as_str()).collect();
            let values: Vec<&str> = fields.iter().map(|(_, v)| v.as_str()).collect();
            let text = format!("{}\n{}\n", names.join(","), values.join(","));
            std::fs::write(f.path(&format!("{name}.csv")), text).unwrap();
            let file = format!("{name}.csv");
            let who: Vec<&str> = who.iter().flat_map(|w| ["--as", w]).collect();
            let answer = f.run_with(&[&["import", file.as_str()][..], &who].concat());
            answer.fails(1, "is for quality or a metallurgist");
        }
        f.run_with(&as_str(&log_words(kind, &fields, Some("ME-1")))).done();
        let address = address(&f, name);
        for who in ["ME-1", "T-people"] {
            f.run_with(&["correct", &address, &format!("note={who}"), "--reason", "r", "--as", who]).done();
        }
        f.run_with(&["correct", &address, "note=x", "--reason", "r", "--as", "OP-1"])
            .fails(1, "is for quality or a metallurgist; OP-1 is operator");
    }
    assert_eq!(f.json("verify")["ok"], true);
}

/// A bundle that is stored already carries nothing: it may be read again by anybody.
#[test]
fn the_same_bundle_again_needs_nobody() {
    let f = foundry();
    let again = f.json("import every");
    assert_eq!(again["records"], serde_json::json!({}));
    assert!(again["unchanged"].as_u64().unwrap() >= 50);
}

#[test]
fn fields_that_quality_fills_or_changes() {
    let f = foundry();
    fn operator(words: &str) -> Vec<&str> {
        [words.split(' ').collect::<Vec<_>>(), vec!["--as", "OP-1"]].concat()
    }
    let checked = "instrument=T-instruments checked_at=2031-03-20T08:00:00Z result=good";
    refused(&f, &operator(&format!("log calibrations {checked} check=calibration")));
    f.run_with(&operator(&format!("log calibrations {checked} check=cross_check"))).done();
    refused(
        &f,
        &operator(
            "correct calibrations:T-instruments/2031-03-20T08:00:00+00:00 check=calibration --reason r",
        ),
    );
    refused(&f, &operator("log own_fields record=heats field=x type=number cause=no approved_by=OP-1"));
    f.run_with(&operator("log own_fields record=heats field=x type=number cause=no")).done();
    refused(&f, &operator("correct own_fields:heats/x approved_at=2031-03-01 --reason r"));
    // Anyone opens a lot; what part it is of is not changed by anyone.
    f.run_with(&operator("log lots lot=L-9 part=T-parts opened_at=2031-03-20T08:00:00Z")).done();
    refused(&f, &operator("correct L-9 part=T-parts@R12 --reason r"));
    f.run_with(&operator("correct L-9 purchaser=X --reason r")).done();
    refused(&f, &operator("correct T-analyses set_aside_by=OP-1 set_aside_reason=old --reason r"));
    // The hold of the bundle is lifted; a fresh one is placed by anybody and changed by nobody else.
    let hold = f.json("hold T-heats --reason fenced --as OP-1")["tag"].as_str().unwrap().to_string();
    for change in [
        "subject=T-moulds",
        "placed_at=2030-01-01T00:00:00Z",
        "reason=other",
        "lifted_at=2031-04-01T00:00:00Z",
        "lifted_reason=x",
        "lifted_by=T-people",
    ] {
        refused(&f, &operator(&format!("correct {hold} {change} --reason r")));
    }
    refused(&f, &operator(&format!("lift {hold} --reason r")));
    refused(
        &f,
        &operator(
            "log holds hold=H-7 subject=T-heats placed_at=2031-03-30T00:00:00Z reason=r lifted_at=2031-03-31T00:00:00Z",
        ),
    );
    f.run(&format!("correct {hold} note=seen --reason r --as OP-1")).done();
    // A label that leads to a definition or a person says which one is meant.
    for tag in ["T-alloys", "T-parts", "T-people", "T-shell_recipes", "T-concessions"] {
        refused(
            &f,
            &operator(&format!("log retags old_tag={tag} new_tag=Z-1 changed_at=2031-03-31T00:00:00Z")),
        );
    }
    assert_eq!(f.json("verify")["ok"], true);
}

#[test]
fn the_first_people_are_free_and_the_last_quality_person_stays() {
    let f = Foundry::new();
    f.run("new").done();
    f.run("log people person=OP-1 role=operator").done();
    f.run("log alloys alloy=A-1 --as OP-1").done();
    f.run("log people person=QL-1 role=quality --as OP-1").done();
    f.run("log people person=QL-2 role=quality --as OP-1").fails(1, "is for quality; OP-1 is operator");
    f.run("correct QL-1 role=operator --reason r --as QL-1").fails(1, "the last quality person");
    f.run("log people person=QL-2 role=quality --as QL-1").done();
    f.run("correct QL-1 role=operator --reason r --as QL-2").done();
    f.run("correct QL-2 role=engineer --reason r --as QL-2").fails(1, "the last quality person");
    let people = f.json("shift")["people"].to_string();
    for said in ["QL-1 became quality", "QL-2 became quality", "QL-1 is quality no longer"] {
        assert!(people.contains(said), "{people}");
    }
}

/// Who wrote a bundle in before the store knew anybody may not write it in when it does.
#[test]
fn an_import_needs_quality_once_there_are_people() {
    let f = Foundry::small();
    let write = |name: &str, text: &str| std::fs::write(f.path(name), text).unwrap();
    write("alloy_limits.csv", "alloy,element,max,unit\nQA-713/3,O,99,ppm\n");
    let no = |answer: Answer| answer.fails(1, "importing alloy_limits is for quality");
    no(f.run("import alloy_limits.csv"));
    no(f.run("import alloy_limits.csv --as OP-01"));
    f.run("import alloy_limits.csv --as QL-01").done();
    // A mapping may be learnt by anybody, and replaced by quality: else a temperature lands in another field.
    let map = "sheet map heats heats heat=Charge alloy=Alloy";
    f.run(&format!("{map} furnace=Furnace --as OP-01")).done();
    f.run(&format!("{map} furnace=Remark --as OP-01")).fails(1, "is for quality");
    f.run(&format!("{map} furnace=Furnace --as OP-01")).done();
    f.run(&format!("{map} furnace=Remark --as QL-01")).done();
    f.run("export out").done();
    let settings = std::fs::read_to_string(f.path("out/settings.csv")).unwrap();
    assert!(settings.contains("sheet mapping heats") && settings.contains("Remark"), "{settings}");
    f.run("verify").done();
}

#[test]
fn a_role_that_was_changed_in_the_file_gives_no_right() {
    let f = foundry();
    f.run("hold T-heats --reason look --as OP-1").done();
    for edit in ["role = 'quality' WHERE person = 'OP-1'", "role = 'operator' WHERE role = 'quality'"] {
        let bytes = std::fs::read(f.store()).unwrap();
        let out = std::process::Command::new("sqlite3")
            .arg(f.store())
            .arg(format!("UPDATE people SET {edit}; PRAGMA wal_checkpoint(TRUNCATE)"))
            .output()
            .unwrap();
        assert!(out.status.success());
        f.run("lift T-heats --reason cleared --as OP-1").fails(3, "not as it was written");
        f.run("log zones part=T-parts zone=Z9 name=z --as OP-1").fails(3, "not as it was written");
        std::fs::write(f.store(), bytes).unwrap();
    }
}
