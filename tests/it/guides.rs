//! The guide and README, carried out: each command line in a fenced block is run, and must end with
//! the exit code that stands beside it (`# exit 1`; none: 0). On a page all blocks work on one store.
//!
//! - `sh`: a line is run by `sh` with the program in reach. `plain` blocks are not run.
//! - `csv NAME`: the file that the reader is told to write.
//! - `screen`: keys, two or more blanks, and what must stand on the screen then.

use std::path::Path;
use std::process::{Command, Stdio};

use meltkin::show::guide::TOPICS;
use tempfile::TempDir;

use crate::support::Foundry;
use crate::tui::Session;

struct Block<'a> {
    kind: &'a str,
    name: &'a str,
    lines: Vec<&'a str>,
}

fn blocks(markdown: &str) -> Vec<Block<'_>> {
    let mut out = Vec::new();
    let mut lines = markdown.lines();
    while let Some(line) = lines.next() {
        if let Some(info) = line.strip_prefix("```") {
            let (kind, name) = info.trim().split_once(' ').unwrap_or((info.trim(), ""));
            out.push(Block {
                kind,
                name,
                lines: lines.by_ref().take_while(|l| !l.starts_with("```")).collect(),
            });
        }
    }
    out
}

/// What a page is carried out in: a folder with one store.
struct Reader {
    folder: TempDir,
    session: Option<Session>,
}

impl Reader {
    fn sh(&self, line: &str) -> (i32, String) {
        let program = Path::new(env!("CARGO_BIN_EXE_meltkin")).parent().unwrap();
        let path = format!("{}:{}", program.display(), std::env::var("PATH").unwrap_or_default());
        let done = Command::new("sh")
            .args(["-c", line])
            .current_dir(self.folder.path())
            .env("PATH", path)
            .env("MELTKIN_STORE", "store.db")
            .env_remove("MELTKIN_NOW")
            .env("HOME", self.folder.path())
            .env("XDG_DATA_HOME", self.folder.path())
            .env("XDG_CONFIG_HOME", self.folder.path())
            .env_remove("MELTKIN_AS")
            .stdin(Stdio::null())
            .output()
            .unwrap();
        let text = |b: &[u8]| String::from_utf8_lossy(b).into_owned();
        (done.status.code().unwrap_or(-1), text(&done.stdout) + &text(&done.stderr))
    }

    /// What is wrong, if the screen does not answer as the page says.
    fn screen(&mut self, line: &str) -> Option<String> {
        let (keys, sees) = line.trim().split_once("  ").unwrap_or((line.trim(), ""));
        let store = self.folder.path().join("store.db");
        let session = self.session.get_or_insert_with(|| Session::on(&store, None));
        match keys.strip_prefix("scan ") {
            Some(code) => session.scan(code),
            None => session.keys(&keys.replace(' ', "")),
        };
        let screen = session.screen(80, 24);
        (!screen.contains(sees.trim())).then(|| format!("{line:?} does not show:\n{screen}"))
    }
}

/// Carries out a page of the repository; how many lines that was.
#[track_caller]
fn carry_out(file: &str) -> usize {
    let markdown = std::fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join(file)).unwrap();
    let mut reader = Reader { folder: TempDir::new().unwrap(), session: None };
    let mut n = 0;
    let mut wrong = Vec::new();
    for block in blocks(&markdown) {
        match block.kind {
            "sh" => {
                reader.session = None;
                let text = block.lines.join("\n").replace("\\\n", " ");
                for line in text.lines().filter(|l| !l.trim().is_empty() && !l.starts_with('#')) {
                    let code = line.rsplit_once("# exit ").map_or("0", |(_, c)| c);
                    let code: i32 =
                        code.split(|c: char| !c.is_ascii_digit()).next().unwrap().parse().unwrap();
                    let (found, said) = reader.sh(line);
                    if found != code {
                        wrong.push(format!("{line}\nends with {found}, not {code}:\n{said}"));
                    }
                    n += 1;
                }
            }
            "csv" => {
                let text = block.lines.join("\n") + "\n";
                let file = reader.folder.path().join(block.name);
                std::fs::create_dir_all(file.parent().unwrap()).unwrap();
                std::fs::write(file, text).unwrap();
            }
            "screen" => {
                for line in block.lines.iter().filter(|l| !l.trim().is_empty()) {
                    wrong.extend(reader.screen(line));
                    n += 1;
                }
            }
            "plain" => {}
            other => wrong.push(format!("a block of {other:?} is not known here")),
        }
    }
    assert!(wrong.is_empty(), "{file}:\n{}", wrong.join("\n"));
    n
}

#[test]
fn what_the_guide_says_can_be_done() {
    for page in TOPICS.iter().filter(|t| t.name != "commands" && t.name != "fields") {
        let n = carry_out(&format!("src/guide/{}.md", page.name));
        let least = match page.name {
            "morning" | "foundry" | "lotday" | "wrong" => 20,
            "evidence" => 8,
            "views" => 3,
            "shell" => 12,
            _ => 0,
        };
        assert!(n >= least, "{}: only {n} lines are carried out", page.name);
    }
}

#[test]
fn what_readme_says_can_be_done() {
    let n = carry_out("README.md");
    assert!(n >= 8, "only {n} lines are carried out");
}

#[test]
fn help_knows_topics_and_commands_and_offers_near_ones() {
    let foundry = Foundry::new();
    let first = foundry.run("help").done().out;
    for word in ["morning", "lotday", "causes", "What made them bad"] {
        assert!(first.contains(word), "{word} is not in:\n{first}");
    }
    assert_eq!(foundry.run("-h").done().out, first);
    assert!(first.lines().all(|l| l.chars().count() <= 80), "wider than 80:\n{first}");
    for page in TOPICS {
        let out = foundry.run(&format!("help {}", page.name)).done().out;
        let title = page.markdown.lines().next().unwrap().trim_start_matches("# ");
        assert!(out.starts_with(title), "{out}");
        assert!(!out.contains("```") && !out.contains('\u{1b}'), "{out}");
    }
    assert!(foundry.run("help lot summary").done().out.contains("--final"));
    assert!(foundry.run("help calc rates").done().out.contains("meltkin calc rates"));
    foundry.run("help mornin").fails(2, "morning");
    foundry.run("help cuases").fails(2, "causes");
    foundry.run("help lot sumary").fails(2, "summary");
    foundry.run("help xyzzyx").fails(2, "meltkin help");
}

#[test]
fn shells_and_man_know_every_command() {
    let foundry = Foundry::new();
    for shell in ["bash", "zsh", "fish", "elvish", "powershell"] {
        // It asks the program itself: `shell` has what that answers.
        let script = foundry.run(&format!("completions {shell}")).done().out;
        assert!(script.contains("MELTKIN_COMPLETE") && script.contains("meltkin"), "{shell}: {script}");
    }
    let page = foundry.run("manpage").done().out;
    assert!(page.starts_with(".ie") && page.contains("siblings"), "{page}");
    std::fs::create_dir(foundry.path("man1")).unwrap();
    foundry.run("manpage --into man1").done();
    assert!(foundry.path("man1").join("meltkin-lot-summary.1").exists());
    foundry.run("manpage --into nowhere").fails(2, "nowhere");
}

#[test]
fn the_command_reference_is_current() {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("src/guide/commands.md");
    let made = meltkin::cli::command_reference();
    if std::env::var_os("MELTKIN_UPDATE").is_some() {
        std::fs::write(&path, &made).unwrap();
    }
    let there = std::fs::read_to_string(&path).unwrap_or_default();
    assert!(
        there == made,
        "src/guide/commands.md is stale: MELTKIN_UPDATE=1 cargo test the_command_reference"
    );
}

#[test]
fn the_guide_is_read_on_the_screens() {
    let mut s = Session::demo();
    s.keys("?<tab>");
    s.sees("▸ morning");
    s.keys("<down><down><enter>");
    s.sees("Reading the evidence");
    s.keys("<pgdn><pgdn>");
    s.misses("What is counted");
    for width in 1..=30 {
        for height in 1..=14 {
            s.screen(width, height);
        }
    }
    // Never past its end, and one step back at a time.
    s.keys(&"<pgdn>".repeat(60));
    s.keys("<esc>");
    s.sees("▸ evidence");
    for width in 1..=30 {
        s.screen(width, 5);
    }
    s.keys("<esc>");
    s.sees("Help: Furnace desk");
    s.keys("<esc>");
    s.sees("To be poured");
}

#[test]
fn the_example_below_each_command_works_on_the_demo() {
    // Those that need a file, a layout, a trial, a proposal or a PIN of the reader's own.
    let own = [
        "decide",
        "import",
        "sheet take",
        "sheet look",
        "certificate map",
        "certificate import",
        "trial assign",
        "pin set",
        "pin clear",
    ];
    let reader = Reader { folder: TempDir::new().unwrap(), session: None };
    assert_eq!(reader.sh("meltkin demo --no-screen").0, 0);
    for example in meltkin::cli::examples::all() {
        if own.contains(&example.of.as_str()) || example.line.contains(".csv") {
            continue;
        }
        let (code, said) = reader.sh(&format!("meltkin {}", example.line));
        let no = ["ready", "lot summary", "alloy check", "verify"].contains(&example.of.as_str());
        assert!(code == 0 || code == 1 && no, "{}: {code}\n{said}", example.line);
    }
}
