//! PINs: given for each act of quality, counted for the store, sealed by the journal, and not walked round.

use std::io::Write;
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

use serde_json::json;

use meltkin::jobs::records::pins;
use meltkin::ui::app::Event;
use records::Who;

use crate::pty::Terminal;
use crate::support::{Answer, Foundry, answer};
use crate::tui::Session;

fn with_lines(f: &Foundry, words: &[&str], lines: &str) -> Answer {
    let mut child =
        f.command(words).stdin(Stdio::piped()).stdout(Stdio::piped()).stderr(Stdio::piped()).spawn().unwrap();
    child.stdin.take().unwrap().write_all(lines.as_bytes()).unwrap();
    answer(child.wait_with_output().unwrap())
}

fn pin(f: &Foundry, words: &str, lines: &str) -> Answer {
    with_lines(f, &words.split(' ').collect::<Vec<_>>(), lines)
}

fn sql(f: &Foundry, text: &str) -> String {
    let out = Command::new("sqlite3").arg(f.store()).arg(text).output().unwrap();
    assert!(out.status.success(), "{text}: {}", String::from_utf8_lossy(&out.stderr));
    String::from_utf8(out.stdout).unwrap()
}

/// The small foundry with a second quality person, and a hold; QL-01 has a PIN.
fn foundry() -> Foundry {
    let f = Foundry::small();
    f.run("log people person=QL-02 role=quality --as QL-01").done();
    pin(&f, "pin set --as QL-01", "tin-roof\n").done();
    f
}

#[test]
fn whoever_has_one_gives_it_for_each_act() {
    let f = foundry();
    f.run("hold H31-001 --reason crack --as OP-01").done();
    std::fs::write(f.path("wrong"), "tin-rood\n").unwrap();
    let entries = || f.json("verify")["entries"].as_i64().unwrap();
    let acts = [
        "lift H31-001 --reason seen",
        "log dispositions blade=M31-002-2 decided_at=2031-03-30T00:00:00Z decision=accept",
        "disposition scrap M31-002-2",
        "log concessions concession=CN-1 type=concession part=QB-2207 limits=words granted_at=2031-03-30T00:00:00Z granted_by=QL-01",
        "log alloys alloy=A-9",
        "correct QB-2207@C approved_by=QL-01 --reason r",
        "log people person=OP-02 role=operator",
    ];
    for act in acts {
        let words = format!("{act} --as QL-01");
        let before = entries();
        let refused = f.run(&format!("{words} --json"));
        assert_eq!(
            (refused.code, refused.json()["needs"].clone()),
            (1, json!(["the person's PIN"])),
            "{act}"
        );
        f.run(&format!("{words} --pin-from wrong")).fails(1, "not that of QL-01");
        assert_eq!(entries(), before + 2, "{act}: two refusals are on record");
        pin(&f, &format!("{words} --pin-from -"), "tin-roof\n").done();
    }
    // What anybody may do asks for none; the old name of the option still works.
    f.run("hold H31-002 --reason look --as QL-01").done();
    f.run("lift H31-002 --reason seen --as QL-01").fails(1, "needs the PIN of QL-01");
    pin(&f, "lift H31-002 --reason seen --as QL-01 --pin-file -", "tin-roof\n").done();
    // Who has none acts by claim; a PIN of nobody is a slip.
    f.run("log alloys alloy=A-10 --as QL-02").done();
    pin(&f, "log alloys alloy=A-11 --as QL-02 --pin-from -", "tin-roof\n").fails(2, "QL-02 has no PIN");
    pin(&f, "log alloys alloy=A-11 --pin-from -", "tin-roof\n").fails(2, "--as PERSON");
}

/// A new quality person by claim gets nowhere: not to quality, not to a PIN, not to the PIN of another.
#[test]
fn a_claim_does_not_walk_round_a_pin() {
    let f = foundry();
    let another = json!(["another quality person's PIN"]);
    let refused = |words: &str| {
        let answer = f.run(&format!("{words} --json"));
        assert_eq!((answer.code, answer.json()["needs"].clone()), (1, another.clone()), "{words}");
    };
    // By the claim of QL-02, who has no PIN.
    refused("log people person=QL-03 role=quality --as QL-02");
    refused("correct OP-01 role=quality --reason r --as QL-02");
    std::fs::write(f.path("people.csv"), "person,role\nQL-04,quality\n").unwrap();
    refused("import people.csv --as QL-02");
    let first = pin(&f, "pin set --as QL-02 --json", "mine-now\n");
    assert_eq!((first.code, first.json()["needs"].clone()), (1, another.clone()));
    // With the PIN of the other one, each on a line: that of --by, then the new one.
    pin(&f, "pin set --as QL-02 --by QL-01 --json", "wrong\nmine-now\n").fails(1, "not that of QL-01");
    pin(&f, "pin set --as QL-02 --by QL-01", "tin-roof\nmine-now\n").done();
    // Nobody takes a PIN or a role away from the other without their own.
    assert_eq!(pin(&f, "pin clear QL-01 --as QL-02", "wrong\n").code, 1);
    assert_eq!(f.run("correct QL-01 role=operator --reason r --as QL-02").code, 1);
    // One's own role is taken away by another one's PIN only.
    let own = pin(&f, "correct QL-01 role=operator --reason r --as QL-01 --pin-from - --json", "tin-roof\n");
    assert_eq!((own.code, own.json()["needs"].clone()), (1, another));
    pin(&f, "correct OP-01 role=quality --reason r --as QL-01 --pin-from -", "tin-roof\n").done();
    // An inspector's first PIN is their own matter; to change it takes the old one.
    pin(&f, "log people person=IN-01 role=inspector --as QL-01 --pin-from -", "tin-roof\n").done();
    pin(&f, "pin set --as IN-01", "films\n").done();
    assert_eq!(pin(&f, "pin set --as IN-01", "other\nnewer\n").code, 1);
    pin(&f, "pin set --as IN-01", "films\nnewer\n").done();
    pin(&f, "pin clear IN-01 --as QL-02", "mine-now\n").done();
    let shift = f.run("shift").done().out;
    for said in
        ["OP-01 became quality", "first PIN of QL-02, who is quality, by QL-01", "PIN of IN-01 taken away"]
    {
        assert!(shift.contains(said), "{said}: {shift}");
    }
    assert!(!shift.contains("PIN of IN-01 changed"), "{shift}");
    assert_eq!(f.json("verify")["ok"], true);
}

/// Once a quality person has a PIN, nobody signs by claim.
#[test]
fn nobody_is_final_by_claim_once_one_has_a_pin() {
    let f = foundry();
    f.run("lot summary L31-01 --final --as QL-02").fails(1, "nobody signs without");
    f.run("lot summary L31-01 --final --as QL-01").fails(1, "PIN");
}

#[test]
fn a_pin_removed_exchanged_or_put_in_is_found() {
    let f = foundry();
    assert_eq!(f.json("verify")["ok"], true);
    let bytes = {
        sql(&f, "PRAGMA wal_checkpoint(TRUNCATE)");
        std::fs::read(f.store()).unwrap()
    };
    let other = "$argon2id$v=19$m=19456,t=2,p=1$c2FsdHNhbHQ$c2FsdHNhbHRzYWx0c2FsdHNhbHRzYWx0c2FsdHNhbHQ";
    for (what, text) in [
        ("missing", "DELETE FROM pins".to_string()),
        ("not the one", format!("UPDATE pins SET hash = '{other}'")),
        ("not the one", "UPDATE pins SET entry = entry - 1".into()),
        (
            "put in",
            format!("INSERT INTO pins SELECT id, '{other}', 0, 1, NULL FROM people WHERE person = 'QL-02'"),
        ),
        ("missing", "UPDATE pins SET person = (SELECT id FROM people WHERE person = 'QL-02')".into()),
    ] {
        for end in ["-wal", "-shm"] {
            let _ = std::fs::remove_file(f.path(&format!("store.db{end}")));
        }
        std::fs::write(f.store(), &bytes).unwrap();
        sql(&f, &text);
        let found = f.run("verify --json");
        assert_eq!(found.code, 1, "{text}");
        let faults = found.json()["faults"].to_string();
        assert!(faults.contains("\"pins\"") && faults.contains(what), "{text}: {faults}");
    }
    // The string itself is neither in the journal nor in a bundle; its digest is in the journal, as sha256sum makes it.
    for end in ["-wal", "-shm"] {
        let _ = std::fs::remove_file(f.path(&format!("store.db{end}")));
    }
    std::fs::write(f.store(), &bytes).unwrap();
    let hash = sql(&f, "SELECT hash FROM pins").trim().to_string();
    let mut sum = Command::new("sha256sum").stdin(Stdio::piped()).stdout(Stdio::piped()).spawn().unwrap();
    sum.stdin.take().unwrap().write_all(hash.as_bytes()).unwrap();
    let sum = String::from_utf8(sum.wait_with_output().unwrap().stdout).unwrap()[..64].to_string();
    let said = sql(&f, "SELECT new FROM journal WHERE action = 'pin' AND tag = 'QL-01'");
    assert!(said.contains(&sum), "{said}");
    f.run("export out").done();
    let dump = sql(&f, "SELECT * FROM journal");
    assert!(!dump.contains("argon2"));
    assert!(f.path("out").join("people.csv").exists());
    for file in std::fs::read_dir(f.path("out")).unwrap().map(Result::unwrap) {
        assert!(!std::fs::read_to_string(file.path()).unwrap().contains("argon2"), "{:?}", file.path());
    }
}

/// Sixty programs beside each other get no more tries in the time than one would: two at once, then after 1, 2, 4 … s.
#[test]
fn many_programs_get_no_more_tries_than_one() {
    let f = foundry();
    std::fs::write(f.path("wrong"), "guess\n").unwrap();
    let began = Instant::now();
    let words: Vec<&str> = "log alloys alloy=A-9 --as QL-01 --pin-from wrong".split(' ').collect();
    let mut all: Vec<_> = (0..60)
        .map(|_| f.command(&words).stdout(Stdio::null()).stderr(Stdio::null()).spawn().unwrap())
        .collect();
    let count = |like: &str| -> usize {
        sql(&f, &format!("SELECT count(*) FROM journal WHERE reason LIKE '{like}'")).trim().parse().unwrap()
    };
    // Who comes when the line is long is told so at once, and is no try.
    while count("too many PINs of QL-01%") < 40 || count("the PIN is not that of%") == 0 {
        assert!(began.elapsed() < Duration::from_secs(300), "{} were sent away", count("too many%"));
        std::thread::sleep(Duration::from_millis(200));
    }
    // At 0, 0, 1, 3, 7, 15, 31, 61 and 91 s after the first.
    let tried = count("the PIN is not that of%");
    let s = began.elapsed().as_secs_f64();
    let most = 2 + [1.0, 3.0, 7.0, 15.0, 31.0, 61.0, 91.0].iter().filter(|at| s >= **at).count();
    assert!((1..=most).contains(&tried), "{tried} tries in {s} s");
    all.iter_mut().for_each(|p| drop(p.kill()));
    all.iter_mut().for_each(|p| drop(p.wait()));
}

/// On the screens: asked when the first act needs it, lasts five minutes without a key, ends when the badge changes.
#[test]
fn on_the_screens_it_lasts_five_minutes_and_ends_with_the_badge() {
    let mut s = Session::demo();
    let who = Who::new(Some("OP-51".into()), s.app.now);
    pins::set(&mut s.desk.store, &who, &pins::Given::default(), "tin-roof").unwrap();
    for tag in ["H31-049", "M31-097", "M31-098", "IL31-01", "IL31-02", "IL31-03"] {
        s.desk.store.hold(&who, tag, "look").unwrap();
    }
    let open = |s: &Session| s.desk.store.open_holds().unwrap().len();
    let first = open(&s);
    let lift = |s: &mut Session, tag: &str| {
        s.keys(&format!("/{tag}<enter>lseen<f2>"));
    };
    s.keys("wOP-51<enter>");
    lift(&mut s, "H31-049");
    s.sees("Your PIN");
    // Typed unseen; a wrong one is refused, and nothing is lifted.
    s.keys("tin-rood");
    s.misses("tin-rood");
    s.keys("<f2>");
    s.sees("not that of OP-51");
    assert_eq!(open(&s), first);
    s.keys("<esc>");
    lift(&mut s, "H31-049");
    s.sees("Your PIN");
    // Leaving it does nothing.
    s.keys("<esc>");
    s.sees("not done: it needs your PIN");
    assert_eq!(open(&s), first);
    s.keys("<esc>");
    lift(&mut s, "H31-049");
    s.keys("tin-roof<f2>");
    assert_eq!(open(&s), first - 1);
    // The next one is not asked for it; each key begins the five minutes anew.
    s.keys("<esc>");
    s.wake(290_000, Event::Tick);
    lift(&mut s, "M31-097");
    s.misses("Your PIN");
    assert_eq!(open(&s), first - 2);
    s.keys("<esc>");
    s.wake(301_000, Event::Tick);
    lift(&mut s, "M31-098");
    s.sees("Your PIN");
    s.keys("tin-roof<f2>");
    assert_eq!(open(&s), first - 3);
    // Another badge, and back.
    s.keys("<esc>wOP-07<enter>wOP-51<enter>");
    lift(&mut s, "IL31-01");
    s.sees("Your PIN");
    // A badge while it is asked for is refused: the PIN is typed unseen until it is given or left.
    s.scan("OP-07");
    s.sees("badge was not taken");
    s.keys("tin-roof");
    s.misses("tin-roof");
    // No code is a PIN.
    s.scan("M31-097");
    s.sees("********");
    s.keys("<esc>").scan("OP-07");
    assert_eq!(open(&s), first - 3);
    assert_eq!(s.app.who.as_deref(), Some("OP-07"));
}

/// The same in a real terminal; the command line asks too.
#[test]
fn it_is_asked_for_in_a_terminal() {
    let (folder, path) = crate::pty::store();
    let run = |words: &str, lines: &str| {
        let words: Vec<&str> = words.split(' ').collect();
        let mut child = crate::support::program(folder.path(), &path, &words)
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .spawn()
            .unwrap();
        child.stdin.take().unwrap().write_all(lines.as_bytes()).unwrap();
        assert!(child.wait_with_output().unwrap().status.success(), "{words:?}");
    };
    run("pin set --as OP-51", "tin-roof\n");
    run("hold H31-049 --reason look --as OP-07", "");
    let mut t = Terminal::screens(&path);
    t.press("w", "Who works here?");
    t.typed("OP-51");
    t.wait_until("the new person", |s| s.contains("OP-51") && !s.contains("Who works here?"));
    t.press("/", "Which tag?");
    t.typed("H31-049");
    t.wait("look");
    t.press("l", "why?");
    t.written("seen");
    t.save("Your PIN");
    t.send("tin-roof");
    t.wait("********");
    t.save("saved HOLD");
    t.press("\x1b", "to be poured");
    t.send("q");
    assert_eq!(t.end(), 0);
    let mut asked = Terminal::command(&path, &["log", "alloys", "alloy=A-9", "--as", "OP-51"]);
    asked.wait("PIN:");
    asked.send("tin-roof\r");
    asked.wait("saved A-9");
    assert_eq!(asked.end(), 0);
}
