//! Labels that are given to a second record: swaps, half swaps, and labels of another kind.

use crate::support::Foundry;

const AT: &str = "changed_at=2031-03-31T00:00:00Z";

fn retag(f: &Foundry, old: &str, new: &str, at: &str, more: &[&str]) -> crate::support::Answer {
    let (old, new) = (format!("old_tag={old}"), format!("new_tag={new}"));
    f.run_with(&[&["log", "retags", &old, &new, at, "--as", "OP-01"], more].concat())
}

fn import(f: &Foundry, rows: &str) -> String {
    std::fs::write(f.path("retags.csv"), format!("old_tag,new_tag,changed_at,note\n{rows}")).unwrap();
    let answer = f.run("import retags.csv --as QL-01");
    format!("{} {}{}", answer.code, answer.out, answer.err)
}

fn open(f: &Foundry) -> String {
    f.json("shift")["labels"].to_string()
}

#[test]
fn a_label_of_another_kind_is_refused_at_every_door() {
    let f = Foundry::small();
    let heat = f.json("show heats")["records"][0]["tag"].as_str().map_or("H31-001".to_string(), Into::into);
    let why = format!("{heat} is the tag of heat {heat}");
    retag(&f, "M31-001", &heat, AT, &[]).fails(2, &why);
    retag(&f, "M31-001", &heat.to_lowercase(), AT, &["--reason", "torn"])
        .fails(2, &format!("is the tag of heat {heat}"));
    let said = import(&f, &format!("M31-001,{heat},2031-03-31T00:00:00Z,torn\n"));
    assert!(said.starts_with('2') && said.contains(&why), "{said}");
    // The label in force of a heat too.
    retag(&f, &heat, "NEW-H", AT, &[]).done();
    let why = format!("NEW-H is the label of heat {heat}");
    retag(&f, "M31-001", "NEW-H", AT, &["--reason", "torn"]).fails(2, &why);
    let said = import(&f, "M31-001,NEW-H,2031-03-31T00:00:00Z,torn\n");
    assert!(said.starts_with('2') && said.contains(&why), "{said}");
    // And what a correction would make of one.
    retag(&f, "M31-001", "NEW-1", AT, &[]).done();
    f.run(&format!("correct retags:M31-001/2031-03-31T00:00:00+00:00 new_tag={heat} --reason x --as QL-01"))
        .fails(2, "is the tag of heat");
    assert!(f.json("show M31-001")["kind"] == "moulds" && f.json(&format!("show {heat}"))["kind"] == "heats");
    assert_eq!(open(&f), "null");
}

#[test]
fn half_a_swap_asks_for_a_reason_and_stands_open_until_its_other_half_is_there() {
    let f = Foundry::small();
    retag(&f, "M31-001", "M31-002", AT, &[]).fails(2, "M31-002 is the tag of mould M31-002");
    let said = import(&f, "M31-001,M31-002,2031-03-31T00:00:00Z,\n");
    assert!(said.starts_with('2') && said.contains("say why in the note"), "{said}");
    assert_eq!(open(&f), "null");
    retag(&f, "M31-001", "M31-002", AT, &["--reason", "oven"]).done();
    assert!(open(&f).contains("M31-001 has the label M31-002"), "{}", open(&f));
    assert!(f.run("shift").done().out.contains("M31-001 has the label M31-002"));
    // At another time it is not the other half.
    retag(&f, "M31-002", "M31-001", "changed_at=2031-03-31T00:01:00Z", &[])
        .fails(2, "M31-001 is the tag of mould M31-001");
    retag(&f, "M31-002", "M31-001", "changed_at=2031-03-31T01:00:00+01:00", &[]).done();
    assert_eq!(open(&f), "null");
}

#[test]
fn a_swap_in_one_file_or_by_a_file_and_the_store_asks_nothing() {
    let f = Foundry::small();
    let swap = "M31-001,M31-002,2031-03-31T00:00:00Z,\nM31-002,M31-001,2031-03-31T00:00:00Z,\n";
    for _ in 0..2 {
        let said = import(&f, swap);
        assert!(said.starts_with('0'), "{said}");
    }
    assert_eq!(open(&f), "null");
    let f = Foundry::small();
    let said = import(&f, "M31-001,M31-002,2031-03-31T00:00:00Z,seen\n");
    assert!(said.starts_with('0'), "{said}");
    assert!(open(&f).contains("M31-001 has the label M31-002"), "{}", open(&f));
    let said = import(&f, "M31-002,M31-001,2031-03-31T00:00:00Z,\n");
    assert!(said.starts_with('0'), "{said}");
    assert_eq!(open(&f), "null");
}

#[test]
fn two_records_with_one_new_label_are_asked_for_and_stand_open() {
    let f = Foundry::small();
    retag(&f, "M31-001", "NEW-1", AT, &[]).done();
    let later = "changed_at=2031-03-31T00:01:00Z";
    for at in [AT, later] {
        retag(&f, "M31-002", "NEW-1", at, &[]).fails(2, "NEW-1 is the label of mould M31-001");
    }
    let said = import(&f, "M31-002,NEW-1,2031-03-31T00:01:00Z,\n");
    assert!(said.starts_with('2') && said.contains("NEW-1 is the label of mould M31-001"), "{said}");
    retag(&f, "M31-002", "NEW-1", later, &["--reason", "found"]).done();
    assert!(open(&f).contains("label NEW-1"), "{}", open(&f));
    // The first one gets a label of its own again: nothing is open.
    retag(&f, "M31-001", "NEW-2", later, &[]).done();
    assert_eq!(open(&f), "null");
    // Both in one file.
    let f = Foundry::small();
    let both = "M31-001,NEW-1,2031-03-31T00:00:00Z,\nM31-002,NEW-1,2031-03-31T00:00:00Z,\n";
    let said = import(&f, both);
    assert!(said.starts_with('2') && said.contains("NEW-1 is the label of mould"), "{said}");
    // A label that was given up is free.
    retag(&f, "M31-001", "NEW-1", AT, &[]).done();
    retag(&f, "M31-001", "NEW-2", later, &[]).done();
    retag(&f, "M31-002", "NEW-1", "changed_at=2031-03-31T00:02:00Z", &[]).done();
    assert_eq!(open(&f), "null");
}
