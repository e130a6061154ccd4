//! Files that are no store, places where no file may go, answers that cannot be written whole, and things that are no plain
//! files: a sentence and the right exit code, no hang, and not a bit changed that is not ours.

#![allow(clippy::disallowed_types, reason = "the test does to the file what somebody else would")]

use std::ffi::OsStr;
use std::os::unix::ffi::OsStrExt;
use std::os::unix::fs::{MetadataExt, PermissionsExt, symlink};
use std::os::unix::net::UnixListener;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::time::{Duration, Instant, SystemTime};

use rusqlite::Connection;

use crate::support::{Answer, Foundry, SMALL, answer, program};

/// What a folder holds: name, bytes and time of each file.
fn state(folder: &Path) -> Vec<(PathBuf, Vec<u8>, SystemTime)> {
    let mut out = Vec::new();
    for entry in std::fs::read_dir(folder).unwrap().map(Result::unwrap) {
        let meta = entry.metadata().unwrap();
        let bytes = if meta.is_file() { std::fs::read(entry.path()).unwrap() } else { Vec::new() };
        out.push((entry.path(), bytes, meta.modified().unwrap()));
    }
    out.sort();
    out
}

/// Runs the program; one that hangs fails the test, after minutes that no busy machine takes.
#[track_caller]
fn at_last(mut command: Command) -> Answer {
    let mut child = command.stdout(Stdio::piped()).stderr(Stdio::piped()).spawn().unwrap();
    let end = Instant::now() + Duration::from_secs(300);
    while child.try_wait().unwrap().is_none() {
        if Instant::now() > end {
            child.kill().unwrap();
            panic!("it hangs: {command:?}");
        }
        std::thread::sleep(Duration::from_millis(10));
    }
    answer(child.wait_with_output().unwrap())
}

#[track_caller]
fn refused(answer: &Answer, code: i32, sentence: &str) {
    assert_eq!(answer.code, code, "{}{}", answer.out, answer.err);
    assert!(answer.err.contains(sentence), "wanted {sentence:?} in: {}", answer.err);
    assert!(!answer.err.contains("panicked") && !answer.err.contains("os error"), "{}", answer.err);
}

fn pipe(at: &Path) {
    assert!(Command::new("mkfifo").arg(at).status().unwrap().success());
}

fn sqlite_file(at: &Path, sql: &str) {
    let db = Connection::open(at).unwrap();
    db.execute_batch(&format!("CREATE TABLE theirs (x); INSERT INTO theirs VALUES (1); {sql}")).unwrap();
    db.close().unwrap();
}

/// Commands that open a store, and those that make one.
const ALL: &[&str] = &[
    "verify",
    "show M31-001",
    "show M31-001 --json",
    "trace M31-001-1",
    "contain IL31-01",
    "shift",
    "causes --defect inclusion",
    "lot summary L31-01",
    "log core_lots core_lot=C-1",
    "hold IL31-01 --reason x",
    "undo",
    "import ../bundle",
    "import ../bundle --check",
    "import ../bundle/pours.csv",
    "export out",
    "export --xlsx out.xlsx",
    "backup out.db",
    "restore ../copy.db",
    "restore ../copy.db --replace",
    "demo --no-screen",
    "new",
    "new --bare",
];

#[test]
fn a_file_that_is_no_store_is_not_changed_by_a_bit() {
    let foundry = Foundry::small();
    foundry.run("backup copy.db").done();
    let make: [(&str, &dyn Fn(&Path), &str); 7] = [
        ("empty", &|p| std::fs::write(p, "").unwrap(), "is empty, not a meltkin store"),
        ("one byte", &|p| std::fs::write(p, "x").unwrap(), "not a meltkin store"),
        ("text", &|p| std::fs::write(p, "no store ".repeat(90)).unwrap(), "not a meltkin store"),
        (
            "foreign",
            &|p| sqlite_file(p, "PRAGMA application_id = 7; PRAGMA user_version = 3"),
            "another program",
        ),
        ("unmarked", &|p| sqlite_file(p, ""), "not a meltkin store"),
        (
            "foreign with a log",
            &|p| sqlite_file(p, "PRAGMA journal_mode = WAL; PRAGMA user_version = 3"),
            "another program",
        ),
        (
            "newer",
            &|p| sqlite_file(p, "PRAGMA application_id = 1835755886; PRAGMA user_version = 99"),
            "newer meltkin",
        ),
    ];
    for (name, write, sentence) in make {
        let folder = foundry.path(&name.replace(' ', "-"));
        std::fs::create_dir(&folder).unwrap();
        let odd = folder.join("odd.db");
        write(&odd);
        let before = state(&folder);
        for arguments in ALL {
            let arguments: Vec<&str> = arguments.split(' ').collect();
            let got = answer(program(&folder, &odd, &arguments).output().unwrap());
            assert!(got.code == 3, "{name}, {arguments:?}: {} {}{}", got.code, got.out, got.err);
            refused(&got, 3, sentence);
            assert_eq!(state(&folder), before, "{name}, {arguments:?}");
        }
        // Nor is it taken as a copy.
        let before_store = std::fs::read(foundry.store()).unwrap();
        for arguments in [vec!["restore", "odd.db"], vec!["restore", "odd.db", "--replace"]] {
            let got = answer(program(&folder, &foundry.store(), &arguments).output().unwrap());
            refused(&got, 3, sentence);
            assert_eq!(state(&folder), before, "{name}, {arguments:?}");
        }
        assert_eq!(std::fs::read(foundry.store()).unwrap(), before_store, "{name}");
    }
}

#[test]
fn a_store_is_no_folder_pipe_socket_or_device() {
    let foundry = Foundry::small();
    foundry.run("backup copy.db").done();
    let folder = foundry.path("odd");
    std::fs::create_dir_all(folder.join("folder")).unwrap();
    pipe(&folder.join("pipe"));
    let _socket = UnixListener::bind(folder.join("socket")).unwrap();
    symlink("nowhere", folder.join("dangling")).unwrap();
    for (store, sentence) in [
        (folder.join("folder"), "is a folder"),
        (folder.join("pipe"), "is a pipe"),
        (folder.join("socket"), "is a socket"),
        (folder.join("dangling"), "leads to no file"),
        (PathBuf::from("/dev/zero"), "is a device"),
        (PathBuf::from("/dev/null"), "is a device"),
    ] {
        let before = state(&folder);
        for arguments in [
            "verify",
            "show M31-001",
            "import ../bundle",
            "new",
            "demo --no-screen",
            "backup x.db",
            "restore ../copy.db --replace",
        ] {
            let arguments: Vec<&str> = arguments.split(' ').collect();
            refused(&at_last(program(&folder, &store, &arguments)), 3, sentence);
            assert_eq!(state(&folder), before, "{store:?} {arguments:?}");
        }
    }
}

/// Copies a file with the log beside it, as a machine leaves them that lost its power.
fn with_log(from: &Path, to: &Path) {
    for end in ["", "-wal"] {
        let name = |p: &Path| PathBuf::from(format!("{}{end}", p.display()));
        std::fs::copy(name(from), name(to)).unwrap();
    }
}

#[test]
fn marks_that_stand_in_the_log_count() {
    let foundry = Foundry::small();
    let live = foundry.path("live.db");
    let mut db = Connection::open(&live).unwrap();
    db.execute_batch("PRAGMA journal_mode = WAL; PRAGMA wal_autocheckpoint = 0; CREATE TABLE t (x)").unwrap();
    let source = Connection::open(foundry.store()).unwrap();
    rusqlite::backup::Backup::new(&source, &mut db)
        .unwrap()
        .run_to_completion(10_000, Duration::ZERO, None)
        .unwrap();
    let folder = foundry.path("after");
    std::fs::create_dir(&folder).unwrap();
    // The file itself says nothing of meltkin; the log beside it does.
    let store = folder.join("store.db");
    with_log(&live, &store);
    assert_eq!(std::fs::read(&store).unwrap()[68..72], [0; 4]);
    answer(program(&folder, &store, &["verify"]).output().unwrap()).done();
    // A newer program has migrated it, in the log alone: both are left.
    db.execute_batch("PRAGMA wal_checkpoint(TRUNCATE); PRAGMA user_version = 99").unwrap();
    let newer = folder.join("newer.db");
    with_log(&live, &newer);
    let before = state(&folder);
    for arguments in [vec!["verify"], vec!["new"], vec!["import", "../bundle"]] {
        refused(&answer(program(&folder, &newer, &arguments).output().unwrap()), 3, "newer meltkin");
        assert_eq!(state(&folder), before);
    }
    // Of another program, likewise.
    db.execute_batch("PRAGMA user_version = 1; PRAGMA application_id = 7").unwrap();
    let foreign = folder.join("foreign.db");
    with_log(&live, &foreign);
    let before = state(&folder);
    refused(&answer(program(&folder, &foreign, &["verify"]).output().unwrap()), 3, "another program");
    assert_eq!(state(&folder), before);
}

#[test]
fn four_imports_at_once_make_one_store() {
    let foundry = Foundry::new();
    foundry.write_bundle("bundle", SMALL);
    let children: Vec<_> = (0..4)
        .map(|_| {
            let mut one = foundry.command(&["import", "bundle", "--as", "QL-01"]);
            one.stdout(Stdio::piped()).stderr(Stdio::piped()).spawn().unwrap()
        })
        .collect();
    let mut wrote = 0;
    for child in children {
        let got = answer(child.wait_with_output().unwrap()).done();
        wrote += usize::from(!got.out.contains("wrote 0 records"));
        assert!(!got.err.contains("os error"), "{}", got.err);
    }
    assert_eq!(wrote, 1, "one brought the records, the others found them");
    foundry.run("verify").done();
    let mut names: Vec<_> = state(&foundry.path("")).into_iter().map(|(p, ..)| p).collect();
    names.retain(|p| !p.ends_with("bundle"));
    assert_eq!(names, [foundry.store()]);
}

/// Every option and command that writes a file, FILE in its place.
const OUTPUTS: &[&str] = &[
    "causes --defect inclusion --html FILE",
    "lot summary L31-01 --html FILE",
    "lot summary L31-01 --xlsx FILE",
    "label M31-001 --svg FILE",
    "chart --field pours.indicated_c --svg FILE",
    "positions --defect inclusion --svg FILE",
    "zones --defect inclusion --svg FILE",
    "export --xlsx FILE",
    "backup FILE",
];

#[test]
fn a_file_goes_where_nothing_is_and_nowhere_else() {
    let foundry = Foundry::small();
    foundry.run("shift").done();
    symlink("store.db", foundry.path("link")).unwrap();
    std::fs::hard_link(foundry.store(), foundry.path("hard")).unwrap();
    std::fs::write(foundry.path("there"), "mine").unwrap();
    symlink("there", foundry.path("link-there")).unwrap();
    symlink("nowhere", foundry.path("dangling")).unwrap();
    std::fs::create_dir(foundry.path("folder")).unwrap();
    pipe(&foundry.path("pipe"));
    sqlite_file(&foundry.path("theirs.db"), "");
    let places: &[(&str, bool, &str)] = &[
        ("store.db", true, "is the store"),
        ("./folder/../store.db", true, "is the store"),
        ("store.db-wal", true, "belongs to it"),
        ("store.db-shm", true, "belongs to it"),
        ("store.db-journal", true, "belongs to it"),
        ("store.db.drafts.json", true, "belongs to the store"),
        ("store.db.replaced-x", true, "belongs to the store"),
        ("link", true, "is the store"),
        ("hard", true, "is the store"),
        ("theirs.db", true, "database"),
        ("theirs.db-wal", true, "database"),
        ("folder", true, "is a folder"),
        ("pipe", true, "is a pipe"),
        ("/dev/full", true, "is a device"),
        ("missing/x", true, "no folder"),
        ("there/x", true, "is not a folder"),
        ("there", false, "already exists"),
        ("link-there", false, "already exists"),
        ("dangling", false, "already exists"),
    ];
    for command in OUTPUTS {
        let before = state(&foundry.path(""));
        for (place, also_replaced, sentence) in places {
            let line = command.replace("FILE", place);
            let mut ways = vec![line.clone()];
            if *also_replaced {
                ways.push(format!("{line} --replace"));
            }
            for line in ways {
                // A copy may take an earlier copy's place, so it asks for the word first.
                let asks = line.starts_with("backup theirs.db")
                    && !line.contains("wal")
                    && !line.ends_with("--replace");
                let sentence = if asks { "already exists" } else { sentence };
                refused(&at_last(foundry.command(&line.split(' ').collect::<Vec<_>>())), 2, sentence);
                assert_eq!(state(&foundry.path("")), before, "{line}");
            }
        }
    }
}

#[test]
fn a_file_is_whole_has_the_rights_of_the_umask_and_is_replaced_when_told_to() {
    let foundry = Foundry::small();
    foundry.run("shift").done();
    std::fs::set_permissions(foundry.store(), std::fs::Permissions::from_mode(0o640)).unwrap();
    for command in OUTPUTS {
        let copy = command.starts_with("backup");
        let line = command.replace("FILE", "made");
        let code = |got: Answer| {
            assert!(got.code == 0 || line.starts_with("lot") && got.code == 1, "{line}: {}", got.err)
        };
        code(foundry.run(&line));
        let first = std::fs::metadata(foundry.path("made")).unwrap();
        assert_eq!(first.mode() & 0o777, if copy { 0o640 } else { 0o644 }, "{line}");
        refused(&foundry.run(&line), 2, "already exists");
        code(foundry.run(&format!("{line} --replace")));
        assert_ne!(std::fs::metadata(foundry.path("made")).unwrap().ino(), first.ino(), "{line}");
        // A link of that name is replaced, and what it leads to is left.
        std::fs::write(foundry.path("theirs"), "theirs").unwrap();
        std::fs::remove_file(foundry.path("made")).unwrap();
        symlink("theirs", foundry.path("made")).unwrap();
        code(foundry.run(&format!("{line} --replace")));
        assert_eq!(std::fs::read(foundry.path("theirs")).unwrap(), b"theirs", "{line}");
        assert!(!std::fs::symlink_metadata(foundry.path("made")).unwrap().is_symlink(), "{line}");
        std::fs::remove_file(foundry.path("made")).unwrap();
    }
    let left: Vec<_> = state(&foundry.path("")).into_iter().map(|(p, ..)| p).collect();
    assert_eq!(left, [foundry.path("bundle"), foundry.store(), foundry.path("theirs")]);
}

/// The shell's limit on the size of files stands in for a full disk: the signal is ignored, the write fails.
#[test]
fn a_file_that_cannot_be_written_whole_is_not_there() {
    let foundry = Foundry::small();
    foundry.run("shift").done();
    for command in
        OUTPUTS.iter().chain(&["export OUT", "manpage --into pages", "demo --moulds 40 --bundle OUT"])
    {
        std::fs::create_dir_all(foundry.path("pages")).unwrap();
        let line = command.replace("FILE", "made").replace("OUT", "out");
        let mut limited = Command::new("sh");
        limited
            .args([
                "-c",
                &format!("trap '' XFSZ; ulimit -f 0; exec \"$0\" {line}"),
                env!("CARGO_BIN_EXE_meltkin"),
            ])
            .current_dir(foundry.path(""))
            .env("MELTKIN_STORE", foundry.store())
            .env("MELTKIN_NOW", "2031-04-01T00:00:00+00:00");
        let got = answer(limited.output().unwrap());
        assert_eq!(got.code, 3, "{line}: {}{}", got.out, got.err);
        assert!(!foundry.path("made").exists(), "{line}");
        let inside = |f: &str| std::fs::read_dir(foundry.path(f)).map_or(0, Iterator::count);
        assert_eq!((inside("out"), inside("pages")), (0, 0), "{line}");
    }
}

#[test]
fn a_bundle_is_written_into_a_folder_of_its_own() {
    let foundry = Foundry::small();
    std::fs::write(foundry.path("file"), "x").unwrap();
    symlink("nowhere", foundry.path("dangling")).unwrap();
    for command in ["export", "demo --moulds 40 --bundle"] {
        for place in ["file", "dangling", "bundle", "store.db"] {
            refused(&foundry.run(&format!("{command} {place}")), 2, "new or empty folder");
        }
        foundry.run(&format!("{command} made")).done();
        let made = state(&foundry.path("made"));
        assert!(!made.is_empty() && made.iter().all(|(p, ..)| p.extension() == Some(OsStr::new("csv"))));
        std::fs::remove_dir_all(foundry.path("made")).unwrap();
    }
    std::fs::create_dir(foundry.path("pages")).unwrap();
    foundry.run("manpage --into pages").done();
    refused(&foundry.run("manpage --into pages"), 2, "already exists");
    foundry.run("manpage --into pages --replace").done();
    assert!(foundry.path("pages/meltkin-lot-summary.1").exists());
    refused(&foundry.run("manpage --into nowhere"), 2, "no folder");
}

/// What prints, with and without a store.
const PRINTS: &[&str] = &[
    "shift",
    "shift --json",
    "trace M31-001-1",
    "verify --json",
    "lot summary L31-01 --json",
    "lift IL31-01 --reason x --as OP-01 --json",
    "help",
    "--help",
    "help causes",
    "help faults",
    "help heats",
    "log --help",
    "--version",
    "completions bash",
    "manpage",
    "calc proportion 3 40",
    "calc proportion 3 40 --json",
    "",
];

#[test]
fn an_answer_into_a_full_disk_or_to_nobody_is_exit_3_and_no_panic() {
    let foundry = Foundry::small();
    foundry.run("hold IL31-01 --reason x").done();
    foundry.run("shift").done();
    for line in PRINTS {
        let arguments: Vec<&str> = line.split(' ').filter(|a| !a.is_empty()).collect();
        let full = || std::fs::File::options().write(true).open("/dev/full").unwrap();
        let got = answer(foundry.command(&arguments).stdout(full()).output().unwrap());
        assert_eq!(got.code, 3, "{line}: {}", got.err);
        assert!(got.err.contains("could not be written whole"), "{line}: {}", got.err);
        assert!(!got.err.contains("panicked"), "{line}: {}", got.err);
        // Both full: nothing can be said, and nothing falls over.
        let status = foundry.command(&arguments).stdout(full()).stderr(full()).status().unwrap();
        assert_eq!(status.code(), Some(3), "{line}");
        // The reader is gone before the first byte.
        let (reader, writer) = std::io::pipe().unwrap();
        drop(reader);
        let got = answer(foundry.command(&arguments).stdout(writer).output().unwrap());
        assert_eq!(got.code, 3, "{line}: {}", got.err);
        let quiet = got.err.is_empty() || line.starts_with("lift");
        assert!(quiet && !got.err.contains("panicked"), "{line}: {}", got.err);
    }
    // Errors go to standard error; one that is full changes no exit code.
    for (line, code) in
        [("show NONE", 2), ("verify --store none.db", 3), ("import bundle/heat.csv", 2), ("nonsense", 2)]
    {
        let full = std::fs::File::options().write(true).open("/dev/full").unwrap();
        let status = foundry.command(&line.split(' ').collect::<Vec<_>>()).stderr(full).status().unwrap();
        assert_eq!(status.code(), Some(code), "{line}");
    }
    let full = std::fs::File::options().write(true).open("/dev/full").unwrap();
    assert_eq!(
        foundry.command(&["demo", "--no-screen", "--store", "demo.db"]).stderr(full).status().unwrap().code(),
        Some(0)
    );
}

#[test]
fn an_attached_file_is_a_plain_file() {
    let foundry = Foundry::small();
    std::fs::write(foundry.path("film.txt"), "film").unwrap();
    pipe(&foundry.path("pipe"));
    let _socket = UnixListener::bind(foundry.path("socket")).unwrap();
    // printf film | sha256sum
    let sha = "d0607f7ad2628b2af9158dfba06ce87166e66b15bf68f8f358f9aa27ccb7c321";
    let log = |tag: &str, path: &str, bytes: &str| {
        let (tag, path) = (format!("attachment={tag}"), format!("path={path}"));
        let (sha, bytes) = (format!("sha256={sha}"), format!("bytes={bytes}"));
        at_last(foundry.command(&["log", "attachments", &tag, "subject=I1", &path, &sha, &bytes, "--json"]))
    };
    for (path, sentence) in [
        ("pipe", "is a pipe"),
        ("socket", "is a socket"),
        ("bundle", "is a folder"),
        ("/dev/zero", "is a device"),
    ] {
        refused(&log("A-0", path, "4"), 2, sentence);
    }
    assert_eq!(log("A-1", "film.txt", "4").done().json()["guards"], serde_json::json!([]));
    for path in ["../film.txt", "bundle/../../film.txt", "/tmp/film.txt"] {
        let tag = format!("B-{}", path.len());
        let said = log(&tag, path, "4").done().json()["guards"].to_string();
        assert!(said.contains("leads out of the folder"), "{path}: {said}");
    }
    // What was a file when it was recorded, and is none now, blocks the lot with a sentence.
    for (what, sentence) in [
        ("pipe", "is a pipe"),
        ("device", "is a device"),
        ("folder", "is a folder"),
        ("longer", "5 bytes, not 4"),
        ("gone", "is not there"),
    ] {
        let _ = std::fs::remove_file(foundry.path("film.txt"));
        match what {
            "pipe" => pipe(&foundry.path("film.txt")),
            "device" => symlink("/dev/zero", foundry.path("film.txt")).unwrap(),
            "folder" => std::fs::create_dir(foundry.path("film.txt")).unwrap(),
            "longer" => std::fs::write(foundry.path("film.txt"), "films").unwrap(),
            _ => {}
        }
        let got = at_last(foundry.command(&["lot", "summary", "L31-01", "--json"]));
        assert_eq!(got.code, 1, "{what}: {}", got.err);
        assert!(got.out.contains(sentence), "{what}: {}", got.out);
        let _ = std::fs::remove_dir(foundry.path("film.txt"));
    }
}

#[test]
fn what_is_imported_are_plain_files() {
    let foundry = Foundry::small();
    let head = foundry.json("verify")["head"].clone();
    let _sockets: Vec<UnixListener> = ["pipe", "socket", "folder", "device", "dangling"]
        .iter()
        .filter_map(|what| {
            let folder = foundry.path(what);
            std::fs::create_dir(&folder).unwrap();
            std::fs::copy(foundry.path("bundle/heats.csv"), folder.join("heats.csv")).unwrap();
            let at = folder.join("pours.csv");
            match *what {
                "pipe" => pipe(&at),
                "folder" => std::fs::create_dir(&at).unwrap(),
                "device" => symlink("/dev/zero", &at).unwrap(),
                "dangling" => symlink("nowhere", &at).unwrap(),
                _ => return Some(UnixListener::bind(&at).unwrap()),
            }
            None
        })
        .collect();
    for (what, sentence) in [
        ("pipe", "is a pipe"),
        ("socket", "is a socket"),
        ("folder", "is a folder"),
        ("device", "is a device"),
        ("dangling", "pours.csv"),
    ] {
        for arguments in
            [format!("import {what}"), format!("import {what} --check"), format!("import {what}/pours.csv")]
        {
            let got = at_last(foundry.command(&arguments.split(' ').collect::<Vec<_>>()));
            assert_eq!(got.code, 2, "{arguments}: {}{}", got.out, got.err);
            assert!(
                got.err.contains("pours.csv")
                    && ["no such file", "no bundle file", sentence].iter().any(|s| got.err.contains(s)),
                "{arguments}: {}",
                got.err
            );
        }
    }
    for arguments in [
        "import /dev/zero --kind pours",
        "sheet look /dev/zero",
        "sheet look pipe/pours.csv",
        "calc table /dev/zero",
        "calc table bundle",
    ] {
        refused(&at_last(foundry.command(&arguments.split(' ').collect::<Vec<_>>())), 2, "is a ");
    }
    assert_eq!(foundry.json("verify")["head"], head);
}

#[test]
fn paths_that_are_no_text_are_taken_as_they_are() {
    let foundry = Foundry::small();
    let odd = |name: &[u8]| foundry.path("").join(OsStr::from_bytes(name));
    let store = odd(b"st\xffre.db");
    let run = |arguments: &[&OsStr]| {
        let mut command = foundry.command(&[]);
        command.args(arguments).env("MELTKIN_STORE", &store);
        answer(command.output().unwrap())
    };
    let o = OsStr::new;
    let names: Vec<PathBuf> =
        [&b"b\xfend.db"[..], b"p\xffge.html", b"o\xfft", b"s\xffeet.xlsx", b"l\xffbel.svg"]
            .iter()
            .map(|n| odd(n))
            .collect();
    let json = run(&[o("import"), o("bundle"), o("--json")]).done().json();
    assert_eq!(json["faults"], serde_json::json!([]));
    for arguments in [
        vec![o("verify"), o("--json")],
        vec![o("shift"), o("--json")],
        vec![o("backup"), names[0].as_os_str(), o("--json")],
        vec![o("causes"), o("--defect"), o("inclusion"), o("--html"), names[1].as_os_str(), o("--json")],
        vec![o("export"), names[2].as_os_str(), o("--json")],
        vec![o("export"), o("--xlsx"), names[3].as_os_str(), o("--json")],
        vec![o("label"), o("M31-001"), o("--svg"), names[4].as_os_str(), o("--json")],
        vec![o("import"), names[2].as_os_str(), o("--json"), o("--as"), o("QL-01")],
        vec![o("restore"), names[0].as_os_str(), o("--replace"), o("--json")],
        vec![o("show"), o("M31-001"), o("--store"), names[0].as_os_str(), o("--json")],
    ] {
        let got = run(&arguments);
        assert!(got.code == 0, "{arguments:?}: {} {}", got.code, got.err);
        got.json();
    }
    // They are under their own names, and no others.
    assert!(names.iter().all(|n| n.exists()) && store.exists());
    assert!(state(&foundry.path("")).iter().all(|(p, ..)| !p.to_string_lossy().contains("\\x")));
    let made = run(&[o("new"), o("--json"), o("--store"), odd(b"n\xffw.db").as_os_str()]).done();
    assert!(made.json()["store"].as_str().unwrap().ends_with("n\\xffw.db"), "{}", made.out);
    refused(&run(&[o("import"), odd(b"g\xffne").as_os_str()]), 2, "g\\xffne");
    refused(&run(&[o("verify"), o("--store"), odd(b"g\xffne").as_os_str()]), 3, "g\\xffne");
}

#[test]
fn what_somebody_puts_into_the_schema_is_named_and_never_run() {
    let foundry = Foundry::small();
    let whole = std::fs::read(foundry.store()).unwrap();
    for (sql, said) in [
        ("CREATE TRIGGER quiet AFTER INSERT ON holds BEGIN DELETE FROM journal; END", "trigger quiet"),
        ("CREATE VIEW held AS SELECT * FROM holds", "view held"),
        ("CREATE TABLE mine (x)", "table mine"),
        ("CREATE INDEX more ON pours (mould, heat)", "index more"),
        ("DROP INDEX pours_by_heat", "index pours_by_heat is missing"),
        ("ALTER TABLE pours ADD COLUMN mine TEXT", "table pours was altered: column mine was added"),
        (
            "DROP VIEW v_pours; ALTER TABLE pours DROP COLUMN run_out",
            "table pours was altered: column run_out is missing",
        ),
        ("ANALYZE", "sqlite_stat1"),
        (
            "PRAGMA writable_schema = 1; UPDATE sqlite_schema SET sql = replace(sql, 'reason TEXT NOT NULL', 'reason TEXT') \
             WHERE name = 'holds'",
            "table holds was altered: column reason was changed",
        ),
    ] {
        std::fs::write(foundry.store(), &whole).unwrap();
        Connection::open(foundry.store()).unwrap().execute_batch(sql).unwrap();
        let got = foundry.run("verify --json");
        assert_eq!(got.code, 1, "{sql}: {}", got.err);
        assert!(got.json()["faults"].to_string().contains(said), "{sql}: {}", got.out);
    }
    std::fs::write(foundry.store(), &whole).unwrap();
    let db = Connection::open(foundry.store()).unwrap();
    db.execute_batch(
        "CREATE TRIGGER quiet AFTER INSERT ON holds BEGIN UPDATE holds SET lifted_at = placed_at; END;
         CREATE TRIGGER gone AFTER INSERT ON journal BEGIN DELETE FROM journal WHERE seq = new.seq - 1; END",
    )
    .unwrap();
    let count = |sql: &str| db.query_row(sql, [], |r| r.get::<_, i64>(0)).unwrap();
    let before = count("SELECT count(*) FROM journal");
    foundry.run("hold IL31-01 --reason looked").done();
    assert_eq!(count("SELECT count(*) FROM journal"), before + 1);
    assert_eq!(count("SELECT count(*) FROM holds WHERE lifted_at IS NULL"), 1);
    // A view in the place of a table answers nothing.
    db.execute_batch("ALTER TABLE holds RENAME TO hidden; CREATE VIEW holds AS SELECT * FROM hidden WHERE 0")
        .unwrap();
    let got = foundry.run("contain IL31-01 --json");
    assert_eq!(got.code, 3, "{}{}", got.out, got.err);
}
