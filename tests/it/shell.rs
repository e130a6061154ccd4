//! The command line as a shell and a script meet it: settings, completions, errors as JSON, pipes, manual pages.

use std::io::Read;
use std::process::{Command, Stdio};

use serde_json::Value;

use crate::support::Foundry;

fn demo() -> Foundry {
    let foundry = Foundry::new();
    foundry.run("demo --no-screen").done();
    foundry
}

fn set(foundry: &Foundry, text: &str) {
    let folder = foundry.path("meltkin");
    std::fs::create_dir_all(&folder).unwrap();
    std::fs::write(folder.join("config.toml"), text).unwrap();
}

/// A run without the store in its environment.
fn bare(foundry: &Foundry, words: &str, more: &[(&str, &str)]) -> crate::support::Answer {
    let mut command = foundry.command(&words.split(' ').collect::<Vec<_>>());
    command.env_remove("MELTKIN_STORE").envs(more.iter().copied());
    crate::support::answer(command.output().unwrap())
}

fn bare_words(foundry: &Foundry, words: &[&str]) -> crate::support::Answer {
    crate::support::answer(foundry.command(words).env_remove("MELTKIN_STORE").output().unwrap())
}

fn setting(said: &Value, name: &str) -> (String, String) {
    let all = said["settings"].as_array().unwrap();
    let one = all.iter().find(|s| s["name"] == name).unwrap();
    let text = |key: &str| one[key].as_str().unwrap().to_string();
    (text("value"), text("from"))
}

#[test]
fn each_value_says_where_it_is_from() {
    let foundry = Foundry::small();
    let store = foundry.store().display().to_string();
    let of = |words: &str, more: &[(&str, &str)], name: &str| {
        setting(&bare(&foundry, words, more).done().json(), name)
    };
    assert_eq!(of("config --json", &[], "person"), ("nobody".into(), "built in".into()));
    assert!(of("config --json", &[], "store").0.ends_with("meltkin/meltkin.db"));
    set(&foundry, &format!("person = \"OP-01\"\nstore = \"{store}\"\ntheme = \"booth\"\n"));
    assert_eq!(of("config --json", &[], "person"), ("OP-01".into(), "file".into()));
    assert_eq!(of("config --json", &[], "store"), (store.clone(), "file".into()));
    assert_eq!(of("config --json", &[], "theme"), ("booth".into(), "file".into()));
    let env = [("MELTKIN_AS", "OP-02"), ("MELTKIN_THEME", "light"), ("MELTKIN_STORE", "other.db")];
    assert_eq!(of("config --json", &env, "person"), ("OP-02".into(), "environment".into()));
    assert_eq!(of("config --json", &env, "theme"), ("light".into(), "environment".into()));
    assert_eq!(of("config --json", &env, "store"), ("other.db".into(), "environment".into()));
    assert_eq!(of("config --json --as OP-03", &env, "person"), ("OP-03".into(), "option".into()));
    assert_eq!(of("--store a.db config --json", &env, "store"), ("a.db".into(), "option".into()));
    // An empty variable says nothing.
    assert_eq!(of("config --json", &[("MELTKIN_AS", "")], "person"), ("OP-01".into(), "file".into()));
    // An empty option is a mistake, and no fall back.
    let nobody = bare_words(&foundry, &["log", "core_lots", "core_lot=C-9", "--as", ""]);
    nobody.fails(2, "person");
    assert_eq!(
        of("config --json", &[("MELTKIN_NOW", "2031-05-01T00:00:00+02:00")], "clock").0,
        "2031-05-01T00:00:00+02:00"
    );
    let line = bare(&foundry, "config --json", &[]).json();
    let person = line["settings"].as_array().unwrap().iter().find(|s| s["name"] == "person").unwrap();
    assert_eq!(person["where"], "line 1");
}

#[test]
fn what_is_set_is_what_counts() {
    let foundry = Foundry::small();
    let by = |foundry: &Foundry, tag: &str| -> Value {
        let said = bare(foundry, &format!("show {tag} --history --json"), &[]).done().json();
        said["history"][0]["person"].clone()
    };
    set(
        &foundry,
        &format!("person = \"OP-01\"\nstore = \"{}\"\noffset = \"-03:30\"\n", foundry.store().display()),
    );
    bare(&foundry, "log core_lots core_lot=C-1", &[]).done();
    assert_eq!(by(&foundry, "C-1"), "OP-01");
    bare(&foundry, "log core_lots core_lot=C-2", &[("MELTKIN_AS", "QL-01")]).done();
    assert_eq!(by(&foundry, "C-2"), "QL-01");
    bare(&foundry, "log core_lots core_lot=C-3 --as OP-01", &[("MELTKIN_AS", "QL-01")]).done();
    assert_eq!(by(&foundry, "C-3"), "OP-01");
    // The machine's clock in the place's offset; one that is given keeps its own.
    let running = |words: &str| {
        let mut command = foundry.command(&words.split(' ').collect::<Vec<_>>());
        command.env_remove("MELTKIN_NOW").env("MELTKIN_STORE", foundry.path("fresh.db"));
        crate::support::answer(command.output().unwrap()).done()
    };
    running("new --bare");
    running("log people person=OP-01 role=operator");
    let said = running("log core_lots core_lot=C-4 fired_at=now --json").json();
    assert!(said["recorded_at"].as_str().unwrap().ends_with("-03:30"), "{said}");
    assert!(said["understood"]["fired_at"].as_str().unwrap().ends_with("-03:30"), "{said}");
    let given = bare(&foundry, "log core_lots core_lot=C-5 fired_at=now --json", &[]).done().json();
    assert!(given["recorded_at"].as_str().unwrap().ends_with("+00:00"), "{given}");
}

#[test]
fn a_wrong_line_of_the_settings_is_named_and_nothing_is_done() {
    let foundry = Foundry::small();
    for (text, says) in [
        (
            "person = \"OP-1\"\nstroe = \"/x\"\n",
            "config.toml, line 2: there is no setting stroe; did you mean store ?",
        ),
        ("theme = \"purple\"\n", "line 1: theme: purple is none of dark, light, booth"),
        ("\n\nperson = [1]\n", "line 3: person: a text in quotation marks"),
        ("person = \n", "line 1"),
    ] {
        set(&foundry, text);
        foundry.run("log core_lots core_lot=C-1").fails(2, says);
        foundry.run("config").fails(2, says);
        // What explains the program is there all the same.
        foundry.run("help config").done();
        foundry.run("--version").done();
    }
    std::fs::remove_file(foundry.path("meltkin/config.toml")).unwrap();
    foundry.run("show C-1").fails(2, "C-1");
    std::fs::create_dir(foundry.path("meltkin/config.toml")).unwrap();
    foundry.run("shift").fails(2, "config.toml");
}

#[test]
fn an_error_is_an_object_and_every_object_names_the_version() {
    let foundry = Foundry::small();
    let version = env!("CARGO_PKG_VERSION");
    for (words, code, kind) in [
        ("trace NOPE", 2, "input"),
        ("log pours mould=X", 2, "input"),
        ("trace", 2, "usage"),
        ("trace M31-001 --jsn", 2, "usage"),
        ("calc proportion 5 3", 2, "input"),
        ("calc summary nowhere.csv", 2, "input"),
        ("--store nowhere.db trace M31-001", 3, "store"),
        ("import nowhere", 2, "input"),
    ] {
        let got = foundry.run(&format!("{words} --json"));
        assert_eq!(got.code, code, "{words}: {}{}", got.out, got.err);
        assert_eq!(got.out.lines().count(), 1, "{words}: {}", got.out);
        let said = got.json();
        assert_eq!(
            (said["kind"].as_str(), said["meltkin"].as_str()),
            (Some(kind), Some(version)),
            "{words}: {said}"
        );
        let sentence = said["error"].as_str().unwrap();
        let head: String = sentence.chars().take(20).collect();
        assert!(!sentence.is_empty() && got.err.contains(&head), "{words}: {sentence} / {}", got.err);
        // Without --json standard output stays empty.
        assert_eq!(foundry.run(words).out, "", "{words}");
    }
    let refused = foundry.run("lift HOLD-1 --reason x --json");
    assert!(refused.code != 0 && refused.json()["meltkin"] == version, "{}", refused.out);
    for words in ["verify", "shift", "trace M31-001", "calc proportion 3 50", "config", "new --store b.db"] {
        assert_eq!(foundry.json(words)["meltkin"], version, "{words}");
    }
}

/// Candidates as bash gets them: the line's words, the last one being typed.
fn tab(foundry: &Foundry, words: &[&str]) -> Vec<String> {
    let mut command = foundry.command(&["--"]);
    command
        .args(words)
        .env("MELTKIN_COMPLETE", "bash")
        .env("_CLAP_COMPLETE_INDEX", (words.len() - 1).to_string())
        .env("_CLAP_IFS", "\n");
    let out = command.output().unwrap();
    assert!(out.status.success(), "{words:?}: {}", String::from_utf8_lossy(&out.stderr));
    String::from_utf8(out.stdout).unwrap().lines().map(String::from).collect()
}

#[test]
fn tab_knows_kinds_fields_tags_and_defects_and_changes_nothing() {
    let foundry = Foundry::small();
    let has = |words: &[&str], wanted: &[&str]| {
        let found = tab(&foundry, words);
        for word in wanted {
            assert!(found.iter().any(|f| f == word), "{words:?}: no {word} in {found:?}");
        }
        found
    };
    assert_eq!(has(&["meltkin", "log", "pour"], &["pours", "pour_plans"]).len(), 2);
    has(&["meltkin", "log", "pours", ""], &["mould=", "poured_at="]);
    let left = has(&["meltkin", "log", "pours", "mould=M31-001", ""], &["heat="]);
    assert!(!left.contains(&"mould=".to_string()), "{left:?}");
    // A shell that parts words at `=`, and one that does not.
    has(&["meltkin", "log", "pours", "mould", "=", "m31"], &["M31-001"]);
    has(&["meltkin", "log", "pours", "mould=M31"], &["mould=M31-001"]);
    has(&["meltkin", "log", "inspections", "result="], &["result=accept", "result=reject"]);
    has(&["meltkin", "correct", "M31-001", "pa"], &["part="]);
    foundry.run("field add moulds.tilt_deg --type number").done();
    has(&["meltkin", "log", "moulds", "ti"], &["tilt_deg="]);
    let before = std::fs::read(foundry.store()).unwrap();
    has(&["meltkin", "trace", "H31"], &["H31-001", "H31-002"]);
    has(&["meltkin", "show", "filter"], &["filter_lots"]);
    assert_eq!(tab(&foundry, &["meltkin", "causes", "--defect", "m"]), ["misrun"]);
    assert_eq!(tab(&foundry, &["meltkin", "causes", "--method", "pene"]), ["penetrant"]);
    has(&["meltkin", "help", "lot"], &["lotday", "lot", "lots"]);
    // Without a store, with a damaged one, with an older one: no tags, no noise, no change.
    assert_eq!(std::fs::read(foundry.store()).unwrap(), before);
    std::fs::write(foundry.store(), "no store").unwrap();
    assert!(tab(&foundry, &["meltkin", "causes", "--defect", "m"]).is_empty());
    let old = crate::released::old(5);
    let before = std::fs::read(old.store()).unwrap();
    assert!(tab(&old, &["meltkin", "causes", "--defect", "m"]).is_empty());
    assert!(std::fs::read(old.store()).unwrap() == before, "Tab brought a store up");
}

#[test]
fn bash_itself_finishes_a_line() {
    let foundry = Foundry::small();
    let program = std::path::Path::new(env!("CARGO_BIN_EXE_meltkin")).parent().unwrap();
    let script = "source <(meltkin completions bash)
        COMP_WORDS=(meltkin trace H31-00); COMP_CWORD=2; COMP_TYPE=9
        _clap_complete_meltkin meltkin H31-00 trace
        printf '%s\\n' \"${COMPREPLY[@]}\"";
    let out = Command::new("bash")
        .args(["--norc", "-c", script])
        .env("PATH", format!("{}:{}", program.display(), std::env::var("PATH").unwrap()))
        .env("MELTKIN_STORE", foundry.store())
        .env("HOME", foundry.path(""))
        .env("XDG_CONFIG_HOME", foundry.path(""))
        .output()
        .unwrap();
    let said = String::from_utf8_lossy(&out.stdout);
    assert_eq!(
        said.lines().collect::<Vec<_>>(),
        ["H31-001", "H31-002"],
        "{}",
        String::from_utf8_lossy(&out.stderr)
    );
}

/// Runs a command whose reader takes a few bytes and goes away; the exit code and what was said.
fn cut(foundry: &Foundry, words: &str, bytes: usize) -> (Option<i32>, String) {
    let mut command = foundry.command(&words.split(' ').collect::<Vec<_>>());
    let mut child = command.stdout(Stdio::piped()).stderr(Stdio::piped()).spawn().unwrap();
    let mut output = child.stdout.take().unwrap();
    output.read_exact(&mut vec![0; bytes]).unwrap();
    drop(output);
    let mut said = String::new();
    child.stderr.take().unwrap().read_to_string(&mut said).unwrap();
    (child.wait().unwrap().code(), said)
}

#[test]
fn a_reader_that_goes_away_ends_every_command_quietly() {
    let foundry = demo();
    // More than a pipe holds, so that the reader is gone before the end.
    let fdr = format!("calc fdr {}", vec!["0.123456789012345"; 9_000].join(" "));
    for (words, bytes) in [
        (fdr.as_str(), 10),
        (&format!("{fdr} --json"), 10),
        ("help fields", 1),
        ("help views", 1),
        ("trace L31-01 --json", 1),
        ("contain PYR-02", 1),
        ("contain PYR-02 --json", 1),
    ] {
        let (code, said) = cut(&foundry, words, bytes);
        let short: String = words.chars().take(40).collect();
        assert!(matches!(code, Some(0 | 3)), "{short}: {code:?} {said}");
        assert!(!said.contains("panicked") && !said.contains("pipe"), "{short}: {said}");
    }
    // And as people type it; standard error may be gone as well.
    for line in [
        "--help",
        "-h",
        "help",
        "calc constants 5",
        "calc --help",
        "completions bash",
        "manpage",
        "nonsense",
        "trace NOPE --json",
    ] {
        let program = env!("CARGO_BIN_EXE_meltkin");
        let script = format!(
            "\"{program}\" {line} 2>&1 | true; echo ${{PIPESTATUS[0]}}; \"{program}\" {line} 2>&1 | head -n 1"
        );
        let out = Command::new("bash")
            .args(["--norc", "-c", &script])
            .env("MELTKIN_STORE", foundry.store())
            .env("HOME", foundry.path(""))
            .output()
            .unwrap();
        let said = String::from_utf8_lossy(&out.stdout);
        let code: i32 = said.lines().next().unwrap().parse().unwrap();
        assert!((0..=3).contains(&code), "{line}: {said}");
        assert!(!said.contains("panicked") && out.stderr.is_empty(), "{line}: {said}");
    }
}

#[test]
fn the_short_help_is_shorter_than_the_long_one() {
    let foundry = Foundry::new();
    for command in ["", "trace", "log", "causes", "lot summary", "calc rates", "sheet map"] {
        let help = |flag: &str| {
            let words: Vec<&str> = command.split_whitespace().chain([flag]).collect();
            foundry.run_with(&words).done().out
        };
        let (short, long) = (help("-h"), help("--help"));
        assert!(short.lines().count() < long.lines().count(), "{command}:\n{short}\n---\n{long}");
        assert!(!short.contains("\n  meltkin "), "{command} has its example in the short help");
        assert!(command.is_empty() || long.contains(&format!("\n  meltkin {command}")), "{command}: {long}");
    }
}

#[test]
fn manual_pages_say_how_a_command_ends_and_what_it_minds() {
    let foundry = Foundry::new();
    std::fs::create_dir(foundry.path("man1")).unwrap();
    foundry.run("manpage --into man1").done();
    let page = |name: &str| std::fs::read_to_string(foundry.path("man1").join(format!("{name}.1"))).unwrap();
    for name in ["meltkin", "meltkin-verify", "meltkin-lot-summary", "meltkin-calc-rates", "meltkin-config"] {
        let text = page(name);
        for part in [
            ".SH \"EXIT STATUS\"",
            ".SH \"ENVIRONMENT\"",
            ".SH \"FILES\"",
            "MELTKIN_AS",
            "config.toml",
            "MELTKIN_STORE",
        ] {
            assert!(text.contains(part), "{name}: no {part}");
        }
        assert!(
            text.contains(&format!(".TH {name} 1")),
            "{name}: {}",
            text.lines().take(5).collect::<String>()
        );
    }
    assert!(page("meltkin-verify").contains("not as it was written"));
    assert!(page("meltkin-verify").contains(".SH EXAMPLE\n") && !page("meltkin").contains("EXTRA"));
    assert!(!page("meltkin-trace").contains("the answer is no"));
    // man itself has nothing to complain of, where it is there.
    if let Ok(out) = Command::new("groff")
        .args(["-k", "-man", "-Tutf8", "-ww", "-z"])
        .arg(foundry.path("man1/meltkin-verify.1"))
        .output()
    {
        assert!(out.stderr.is_empty(), "{}", String::from_utf8_lossy(&out.stderr));
    }
}

#[test]
fn the_changes_tell_of_this_version_and_of_todays_store() {
    let page = include_str!("../../src/guide/changes.md");
    let newest = std::fs::read_dir(concat!(env!("CARGO_MANIFEST_DIR"), "/schema"))
        .unwrap()
        .map(|f| f.unwrap().file_name().to_string_lossy()[..4].parse::<u32>().unwrap())
        .max()
        .unwrap();
    let at = |text: &str| page.find(text).unwrap_or_else(|| panic!("the changes do not tell of {text:?}"));
    let version = at(&format!("\n## {}", env!("CARGO_PKG_VERSION")));
    let schema = at(&format!("\n### Store of schema {newest}\n"));
    assert_eq!(page.find("\n## "), Some(version), "the newest version stands first");
    assert_eq!(page.find("\n### "), Some(schema), "the newest store stands first");
}
