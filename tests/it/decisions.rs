//! Stories from first key to last record, in a real terminal on the demo: a porosity cluster up to a kept answer, a
//! lot that waits for a concession, a trial that cannot tell. And the same operations on the command line.

use std::cell::Cell;

use serde_json::Value;

use crate::pty::{Terminal, store};
use crate::support::{Answer, Foundry, answer};
use crate::tui::Session;

fn demo() -> Foundry {
    let foundry = Foundry::new();
    foundry.json("demo --no-screen");
    foundry
}

/// The demo after its last record, each command a minute after the one before: what is decided now is decided last.
struct After(Foundry, Cell<u32>);

impl After {
    fn run_with(&self, words: &[&str]) -> Answer {
        self.1.set(self.1.get() + 1);
        let now = format!("2031-05-26T09:{:02}:00+00:00", self.1.get());
        answer(self.0.command(words).env("MELTKIN_NOW", now).output().unwrap())
    }

    fn run(&self, words: &str) -> Answer {
        self.run_with(&words.split(' ').collect::<Vec<_>>())
    }

    fn json(&self, words: &str) -> Value {
        self.run(&format!("{words} --json")).done().json()
    }
}

fn chemistry(lot: &Value) -> Vec<String> {
    let all = lot["blocked"].as_array().unwrap().iter();
    all.filter(|b| b["code"] == "chemistry").map(|b| b["reason"].as_str().unwrap().to_string()).collect()
}

const HEATS: &str = "H31-025 H31-026 H31-027 H31-028 H31-029 H31-030 H31-031 H31-032";

#[test]
fn many_blades_go_to_a_concession_at_once() {
    let f = After(demo(), Cell::new(0));
    assert!(!chemistry(&f.run("lot summary L31-02 --json").json()).is_empty());
    let concession = |tag: &str, most: u32| {
        let limits = "limits=oxygen";
        let tag = format!("concession={tag}");
        let words = ["log", "concessions", &tag, "type=concession", "part=QB-2207", limits, "quantity=128"];
        let rest = ["granted_at=2031-05-25T08:00:00+00:00", "granted_by=OP-51", "--as", "OP-51"];
        f.run_with(&words.into_iter().chain(rest).collect::<Vec<_>>()).done();
        f.run(&format!(
            "log concession_items {tag} covers=element name=O at_most={most} unit=ppm --as OP-51"
        ))
        .done();
    };
    concession("CN31-02", 30);
    let all = format!("disposition concession {HEATS} --concession CN31-02 --json --as ");
    // An operator may not; nothing is written, the try is on record.
    let refused = f.run(&format!("{all}OP-04"));
    assert_eq!((refused.code, refused.json()["needs"][0].as_str()), (1, Some("quality")));
    let entries = f.json("verify")["entries"].as_i64().unwrap();
    let done = f.run(&format!("{all}OP-51")).done().json();
    let blades = done["blades"].as_array().unwrap().len();
    // 8 heats of 16 blades; what was scrapped stays scrapped.
    assert_eq!(blades as i64 + done["scrapped"].as_i64().unwrap(), 128);
    // Their metal went on as revert; not one blade of a later heat, or of another lot, was decided on.
    assert!(blades > 64, "{blades} blades");
    let meant: Vec<String> = (49..=64).map(|m| format!("M31-{m:03}-")).collect();
    for blade in done["blades"].as_array().unwrap() {
        assert!(meant.iter().any(|m| blade.as_str().unwrap().starts_with(m)), "{blade}");
    }
    for lot in ["L31-01", "L31-03"] {
        let before = After(demo(), Cell::new(0)).run(&format!("lot summary {lot} --json")).json();
        assert_eq!(f.run(&format!("lot summary {lot} --json")).json()["counts"], before["counts"], "{lot}");
    }
    assert_eq!(f.json("verify")["entries"].as_i64().unwrap(), entries + blades as i64);
    // 30 ppm does not reach as far as 31 and 32.
    let left = chemistry(&f.run("lot summary L31-02 --json").json());
    assert!(!left.is_empty());
    assert!(left.iter().all(|r| r.contains("31 ppm") || r.contains("32 ppm")), "{left:?}");
    assert!(left.iter().all(|r| r.ends_with("ppm is above at_most 30 ppm")), "{left:?}");
    concession("CN31-03", 32);
    f.run(&format!("disposition concession {HEATS} --concession CN31-03 --as OP-51")).done();
    let lot = f.run("lot summary L31-02 --json").json();
    assert!(chemistry(&lot).is_empty(), "{:?}", chemistry(&lot));
    assert_eq!(lot["counts"]["concession"].as_u64().unwrap() as usize, blades);
    // The pyrometer blocks the rest as before.
    assert!(lot["blocked"].as_array().unwrap().iter().any(|b| b["code"] == "suspect"));
    f.run("disposition concession M31-049 --as OP-51").fails(2, "name the concession");
    f.run("disposition accept M31-049 --concession CN31-03 --as OP-51").fails(2, "takes no concession");
    f.run("disposition acept M31-049-1 --as OP-51").fails(2, "accept");
    f.run("disposition accept M31-499 --as OP-51").fails(2, "M31-499");
    // Upstream of a heat nothing is taken: it would reach blades that nobody meant.
    f.run("disposition hold IL31-03 --as OP-51").fails(2, "a decision is on blades");
    // Several are written together or not at all: the second tag is unknown.
    let before = f.json("verify")["entries"].as_i64().unwrap();
    f.run("disposition hold M31-049-1 M31-049-99 --as OP-51").fails(2, "M31-049-99");
    assert_eq!(f.json("verify")["entries"].as_i64().unwrap(), before);
}

#[test]
fn an_answer_is_kept_and_found() {
    let f = demo();
    assert!(f.run("answers").done().out.contains("no answer is kept yet"));
    let words =
        ["causes", "--defect", "misrun", "--zone", "TE", "--keep", "pyrometer first", "--as", "OP-31"];
    let told = f.run_with(&words).done();
    assert!(told.err.starts_with("kept as answer "), "{}", told.err);
    let all = f.json("answers");
    let kept = &all[0];
    assert_eq!((kept["person"].as_str(), kept["note"].as_str()), (Some("OP-31"), Some("pyrometer first")));
    assert_eq!((kept["written_since"].as_i64(), all.as_array().unwrap().len()), (Some(0), 1));
    let page = f.run(&format!("answers {}", kept["answer"])).done().out;
    assert!(page.contains(told.out.trim()), "{page}");
    // It is not an entry that is taken back, it is sealed, and later writes are told.
    f.run("undo --as OP-31").fails(2, "no entry of OP-31");
    assert_eq!(f.json("verify")["ok"], true);
    f.run_with(&["hold", "PYR-02", "--reason", "see the answer", "--as", "OP-31"]).done();
    assert_eq!(f.json("answers")[0]["written_since"], 1);
    f.run("answers 999999").fails(2, "there is no answer 999999");
    f.run_with(&["causes", "--defect", "misrun", "--keep", " "]).fails(2, "with a note");
}

#[test]
fn what_blocks_a_lot_and_the_answers_on_the_screen() {
    let mut s = Session::demo();
    s.app.who = Some("OP-51".into());
    s.keys("l<down>b");
    s.sees("What blocks L31-02");
    s.sees("O 31 ppm");
    insta::assert_snapshot!("reasons_80x24", s.screen(80, 24));
    insta::assert_snapshot!("reasons_120x40", s.screen(120, 40));
    s.keys("dCN99 as analysed<enter>");
    s.sees("concession CN99 for");
    insta::assert_snapshot!("decision_80x24", s.screen(80, 24));
    s.keys("<f2>");
    s.sees("CN99");
    s.keys("<esc>z0.06 0.03 8 0.05<enter>");
    s.sees("moulds an arm");
    s.keys("<esc><esc>ydmicroporosity<enter>nnear the root<f2>a");
    s.sees("near the root");
    insta::assert_snapshot!("answers_80x24", s.screen(80, 24));
    s.keys("<enter>");
    s.sees("Note: near the root");
    for (w, h) in [(1, 1), (20, 5), (200, 60)] {
        s.screen(w, h);
    }
}

/// What takes blades out, or lets them go outside their limits, says why; a tag or a number is no reason.
#[test]
fn nothing_is_decided_without_a_reason() {
    let mut s = Session::demo();
    s.app.who = Some("OP-51".into());
    s.keys("l<down>b");
    let before = s.desk.store.head().unwrap();
    for line in ["scrap", "rework", "repair", "hold", "CN99", "scrap 31", "hold M31-096-2", "concession CN99"]
    {
        s.keys(&format!("d{line}<enter>"));
        s.sees("nothing is decided yet: behind");
        s.misses("Write this decision?");
        s.keys("<f2><esc>");
        s.sees("What blocks L31-02");
    }
    assert_eq!(s.desk.store.head().unwrap(), before);
    s.keys("dscrap oxygen too high<enter>");
    s.sees("reason: oxygen too high");
    s.keys("<esc>daccept<enter>");
    s.sees("accept for 14 blades");
}

/// CN31-01 is for 6 blades (`sample_data/concessions.csv`), and none went to it.
#[test]
fn a_concession_for_six_takes_no_fourteen() {
    let mut s = Session::demo();
    s.app.who = Some("OP-51".into());
    s.keys("l<down>b");
    let before = s.desk.store.head().unwrap();
    s.keys("dCN31-01 marks as seen<enter>");
    s.sees("Write this decision?");
    s.sees("✗ 6 are left of CN31-01, 14 are chosen");
    s.keys("<f2>");
    s.sees("not saved: 6 are left of CN31-01, 14 are chosen");
    s.keys("<enter>");
    assert_eq!(s.desk.store.head().unwrap(), before);
    s.keys("<esc>");
    s.misses("Write this decision?");
}

/// A blade with pores: what shares its heat, the causes, the picture over time, the answer kept with a note.
#[test]
fn a_porosity_cluster_from_first_key_to_a_kept_answer() {
    let (_folder, path) = store();
    let mut t = Terminal::screens(&path);
    t.wait("not every check");
    t.press("k", "Trace which tag?");
    t.typed("M31-075-3");
    t.wait("H31-038");
    t.press("\x1b", "to be poured");
    t.press("y", "any rejection");
    t.press("d", "Which defect?");
    t.picked("microporosity", "▸ microporosity");
    t.wait("microporosity by radiograph");
    // One heat is no proof: nothing is called found.
    t.wait("Nothing found");
    t.press("v", "p chart by heat");
    t.press("\x1b", "Causes");
    t.press("n", "Keep the answer on microporosity");
    t.written("one heat only: confirm by analysis and sections");
    t.save("kept as answer");
    t.press("a", "one heat only");
    t.press("\r", "Note: one heat only");
    for gone in ["Note:", "Answers kept", "Causes"] {
        t.send("\x1b");
        t.wait_until("the screen below", |s| !s.contains(gone));
    }
    t.send("q");
    assert_eq!(t.end(), 0);
}

/// The lot waits for the oxygen limit: the reason, a concession, the decision on its blades; then that reason is gone.
#[test]
fn a_lot_waits_for_its_concession() {
    let (folder, path) = store();
    let mut t = Terminal::screens(&path);
    t.wait("not every check");
    t.press("w", "Who works here?");
    t.typed("OP-51");
    t.wait_until("the new person", |s| s.contains("OP-51") && !s.contains("Who works here?"));
    t.press("l", "L31-02");
    t.press("\x1b[B", "▸ lot   L31-02");
    t.press("b", "O 31 ppm");
    // The concession is recorded by the command line beside it, as from another desk.
    let other = |words: &[&str]| {
        let mut program = crate::support::program(folder.path(), &path, words);
        let done = program.env("MELTKIN_NOW", crate::support::DEMO_NOW).output().unwrap();
        assert!(done.status.success(), "{}", String::from_utf8_lossy(&done.stderr));
    };
    other(&[
        "log",
        "concessions",
        "concession=CN31-02",
        "type=concession",
        "part=QB-2207",
        "limits=oxygen",
        "granted_at=2031-05-20T08:00:00+00:00",
        "granted_by=OP-51",
        "--as",
        "OP-51",
    ]);
    other(&[
        "log",
        "concession_items",
        "concession=CN31-02",
        "covers=element",
        "name=O",
        "at_most=32",
        "unit=ppm",
        "--as",
        "OP-51",
    ]);
    // One decision for each heat; the reason that it answers goes away. The ingot's own reason goes with the last.
    for heat in 25..=32 {
        let reason = format!("H31-0{heat} outside its limits: O");
        t.wait(&reason);
        t.press("d", "Decision on");
        t.typed("CN31-02 oxygen as analysed");
        t.wait("Write this decision?");
        t.save_until(|s| !s.contains("Write this decision?"));
        t.wait_until("the reason is gone", |s| {
            !s.contains("reading everything") && !s.contains(&reason) && !s.contains("Write this")
        });
    }
    t.wait_until("chemistry is gone", |s| s.contains("PYR-02") && !s.contains("O 31 ppm"));
    for gone in ["What blocks", "Lots and trials"] {
        t.send("\x1b");
        t.wait_until("the screen below", |s| !s.contains(gone));
    }
    t.send("q");
    assert_eq!(t.end(), 0);
}

/// The engineer's trial: how it stands is read to its end, and what a larger one would take is asked.
#[test]
fn a_trial_that_cannot_tell_says_so() {
    let (_folder, path) = store();
    let mut t = Terminal::screens(&path);
    t.wait("not every check");
    t.press("l", "T31-01");
    t.down_to(&["▸ trial T31-01"]);
    t.press("\r", "needs about 71 moulds");
    t.wait("hopeless this way");
    for words in ["b less a: +2.1 points", "Cannot tell.", "Decision: cannot tell; B stays"] {
        t.down_to(&[words]);
    }
    t.press("z", "Rate now, rate worth having");
    t.typed("0.125 0.075 8 0.05");
    t.wait("moulds of 8");
    t.send("\x1b");
    t.wait_until("the list", |s| s.contains("L31-03"));
    t.send("\x1b");
    t.wait_until("the furnace desk", |s| s.contains("Poured last"));
    t.send("q");
    assert_eq!(t.end(), 0);
}

/// No screen hides the key that says who works here: whoever signs or keeps an answer must be able to.
#[test]
fn who_works_here_can_be_said_on_every_desk() {
    for way in ["", "b", "l", "l<down>b", "y", "ya", "v", "kM31-041-6<enter>"] {
        let mut s = Session::demo();
        s.keys(way);
        s.keys("w");
        s.sees("Who works here?");
    }
}

#[test]
fn a_rejection_lies_in_no_zone() {
    let f = demo();
    f.run("causes --zone TE").fails(2, "choose the defect too");
    f.run("positions --zone TE").fails(2, "choose the defect too");
}

/// From a scrapped blade's tag to what goes along with its defect, by the keys that stand below.
#[test]
fn from_a_rejected_blade_to_its_causes() {
    let mut s = Session::demo();
    s.keys("/M31-033-7<enter>");
    s.sees("✗ 2031-04-02 14:24 penetrant: reject, inclusion in AF");
    s.sees("decision: scrap");
    s.sees("y causes");
    s.keys("y");
    s.sees("inclusion in zone AF by penetrant");
}
