//! Tags: what is refused at every door, what reads as an address stays one, tags of earlier rules stay usable, given ones
//! never meet.

use std::collections::BTreeSet;

use crate::support::Foundry;

/// A tag, and what is said of it: the character and its place.
const REFUSED: &[(&str, &str)] = &[
    ("pours:M-1", "a tag has no : (U+003A, here at place 6)"),
    ("AX-9@A", "a tag has no @ (U+0040, here at place 5)"),
    ("\u{200b}\u{200b}\u{200b}\u{200b}\u{200b}", "nobody sees (here U+200B at place 1)"),
    ("M31-0\u{200d}41", "U+200D at place 6"),
    ("M31\u{ad}-1", "U+00AD at place 4"),
    ("A\u{fe0f}", "U+FE0F at place 2"),
    ("A\u{3164}", "U+3164 at place 2"),
    ("\u{115f}A", "U+115F at place 1"),
    ("\u{2800}", "U+2800 at place 1"),
    ("A\u{e0041}", "U+E0041 at place 2"),
    ("A\u{e000}", "U+E000 at place 2"),
    ("A\u{ffff}", "U+FFFF at place 2"),
    ("\u{301}A", "does not begin with a mark that stands on no letter (here U+0301)"),
    ("\u{20e3}", "here U+20E3"),
    ("A\u{202e}B", "U+202E at place 2"),
    ("A\u{7}", "U+0007 at place 2"),
    ("A\u{a0}B", "no blanks or commas (here U+00A0 at place 2)"),
];

#[test]
fn what_looks_like_something_else_is_refused_at_every_door() {
    let foundry = Foundry::small();
    let head = foundry.json("verify")["head"].clone();
    for (tag, sentence) in REFUSED {
        foundry.run_with(&["log", "core_lots", &format!("core_lot={tag}")]).fails(2, sentence);
        let new = format!("new_tag={tag}");
        foundry
            .run_with(&["log", "retags", "old_tag=M31-001", &new, "changed_at=2031-03-31T00:00:00Z"])
            .fails(2, sentence);
        for (file, text, column) in [
            ("core_lots.csv", format!("core_lot\n{tag}\n"), "core_lot"),
            (
                "retags.csv",
                format!("old_tag,new_tag,changed_at\nM31-001,{tag},2031-03-31T00:00:00Z\n"),
                "new_tag",
            ),
        ] {
            foundry.write_bundle("bad", &[(file, &text)]);
            let answer = foundry.run("import bad --json --as QL-01");
            assert_eq!(answer.code, 2, "{tag:?}: {}", answer.err);
            let fault = &answer.json()["faults"][0];
            assert_eq!(
                (&fault["file"], &fault["line"], &fault["column"]),
                (&file.into(), &2.into(), &column.into())
            );
            assert!(fault["message"].as_str().unwrap().contains(sentence), "{fault}");
            std::fs::remove_dir_all(foundry.path("bad")).unwrap();
        }
    }
    assert_eq!(foundry.json("verify")["head"], head);
}

#[test]
fn parts_of_a_key_are_readable_too() {
    let foundry = Foundry::small();
    foundry
        .run("log analyses analysis=AN-1 subject=IL31-01 purpose=check taken_at=2031-03-30T00:00:00Z")
        .done();
    for (call, sentence) in [
        ("analysis_values|analysis=AN-1|element=O\u{200b}|value=10|unit=ppm", "U+200B, at place 2"),
        ("measurements|inspection=I1|characteristic=\u{3164}|value=1|unit=mm", "U+3164, at place 1"),
        ("zones|part=QB-2207|revision=C|zone=\u{2800}|name=root", "U+2800, at place 1"),
        ("findings|inspection=I1|defect=misrun|zone=A\u{ad}F", "U+00AD, at place 2"),
        ("shell_recipes|recipe=SR-8|revision=A@B|route=shell", "a revision has no @"),
        ("process_limits|record=pours|field=pour_s\u{200b}|warn_min=1", "U+200B, at place 7"),
        ("zones|part=QB-2207|revision=C|zone=AA|name=\u{200b} ", "looks blank"),
    ] {
        let mut words = vec!["log"];
        words.extend(call.split('|'));
        words.extend(["--as", "QL-01"]);
        foundry.run_with(&words).fails(2, sentence);
    }
}

#[test]
fn every_output_shows_what_nobody_sees() {
    let foundry = Foundry::small();
    let note = "note=a\u{200b}b\u{e0041}c\u{2800}d";
    foundry.run_with(&["log", "core_lots", "core_lot=CL-1", note]).done();
    let json = foundry.run("show CL-1 --json").done();
    // U+E0041 as the two halves that JSON has for it.
    assert!(json.out.contains("a\\u200bb\\udb40\\udc41c\\u2800d"), "{}", json.out);
    assert_eq!(json.json()["record"]["note"], "a\u{200b}b\u{e0041}c\u{2800}d");
    let text = foundry.run("show CL-1").done().out;
    assert!(text.contains("a\\u{200b}b\\u{e0041}c\\u{2800}d"), "{text}");
}

/// A store of schema 3 as `released/` keeps it: it has a core lot `CL:9@x`.
#[test]
fn a_tag_of_earlier_rules_stays_usable_is_listed_and_can_be_given_another() {
    let foundry = crate::released::old(3);
    let odd = |f: &Foundry| f.json("verify")["odd_tags"].as_array().unwrap().clone();
    let found = odd(&foundry);
    assert_eq!(found.len(), 1, "{found:?}");
    assert_eq!((&found[0]["kind"], &found[0]["tag"]), (&"core_lots".into(), &"CL:9@x".into()));
    assert!(foundry.run("verify").done().out.contains("core_lots:CL:9@x: a tag has no :"));
    for name in ["CL:9@x", "core_lots:CL:9@x", "cl:9@X"] {
        assert_eq!(foundry.json(&format!("show {name}"))["kind"], "core_lots");
    }
    foundry.run("correct CL:9@x material=silica --reason seen").done();
    foundry.run("log blades blade=B-1 core_lot=CL:9@x").done();
    assert_eq!(foundry.json("show B-1")["record"]["core_lot"], "CL:9@x");
    foundry.run("log retags old_tag=CL:9@x new_tag=CL-9 changed_at=2031-03-31T00:00:00Z").done();
    assert_eq!(foundry.json("show CL-9")["record"]["material"], "silica");
    assert_eq!(odd(&foundry), Vec::<serde_json::Value>::new());
    foundry.run("verify").done();
}

#[test]
fn an_address_is_never_a_tag() {
    let foundry = Foundry::small();
    // What reads as an address or a revision leads there, whatever is asked of it.
    assert_eq!(foundry.json("show pours:M31-001")["kind"], "pours");
    assert_eq!(foundry.json("show SR-7@C")["record"]["revision"], "C");
    assert_eq!(foundry.json("show moulds:M31-001")["kind"], "moulds");
    foundry.run("show pours:M31-009").fails(2, "its address is pours:MOULD");
}

#[test]
fn given_tags_of_two_stores_never_meet() {
    let (one, two) = (Foundry::small(), Foundry::small());
    let mut seen = BTreeSet::new();
    for foundry in [&one, &two] {
        for _ in 0..6 {
            let tag = foundry.json("hold M31-001 --reason x --as QL-01")["tag"].as_str().unwrap().to_string();
            let (head, tail) = tag.split_at(5);
            assert_eq!((head, tail.len()), ("HOLD-", 6), "{tag}");
            assert!(tail.bytes().all(|b| b.is_ascii_uppercase() || b.is_ascii_digit()), "{tag}");
            assert!(seen.insert(tag.clone()), "{tag} was given twice");
            foundry.run(&format!("lift {tag} --reason x --as QL-01")).done();
        }
    }
    // So the holds of one can come into the other.
    one.run("export out").done();
    let holds = std::fs::read_to_string(one.path("out/holds.csv")).unwrap();
    two.write_bundle("in", &[("holds.csv", &holds)]);
    two.run("import in --as QL-01").done();
    assert_eq!(two.json("show holds")["total"], 12);
    // A hold that an import brings without a tag gets one, and a tag of the old form is read as ever.
    two.write_bundle("more", &[("holds.csv", "hold,subject,placed_at,reason\n,M31-001,2031-03-30T00:00:00Z,x\nHOLD-0001,M31-002,2031-03-30T00:00:00Z,x\n")]);
    two.run("import more").done();
    assert_eq!(two.json("show HOLD-0001")["kind"], "holds");
    assert_eq!(two.json("show holds")["total"], 14);
}
