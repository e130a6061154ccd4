//! The real program in a real terminal.
//!
//! Nothing here goes by the time: each key is sent when the screen has shown what the one before it did, and what a person
//! types gets its Enter when the whole of it stands in its field (before, it would be taken for a scanned code). So the
//! stories end alike on an idle machine and on a busy one; what goes by the time between keys is tested where the time is
//! given (`ui/scan.rs`, `tui.rs`).

mod release_desk;
mod trace_desk;

use std::io::{Read, Write};
use std::num::NonZeroU16;
use std::path::Path;
use std::sync::{Arc, Mutex};
use std::time::{Duration, Instant};

use portable_pty::{Child, CommandBuilder, MasterPty, PtySize, native_pty_system};
use tempfile::TempDir;

/// How long something may take to be seen: only a test that fails waits so long, on however busy a machine.
const PATIENCE: Duration = Duration::from_secs(300);

/// The letters and the ground of a field that takes text, in a terminal of 256 colours.
const FIELD: (vt100::Color, vt100::Color) = (vt100::Color::Idx(0), vt100::Color::Idx(7));

/// The key that saves, as a terminal sends it.
pub const F2: &str = "\x1bOQ";

pub struct Terminal {
    child: Box<dyn Child + Send + Sync>,
    master: Box<dyn MasterPty + Send>,
    writer: Box<dyn Write + Send>,
    parser: Arc<Mutex<vt100::Parser>>,
    raw: Arc<Mutex<Vec<u8>>>,
}

fn cells(n: u16) -> NonZeroU16 {
    NonZeroU16::new(n).unwrap()
}

impl Terminal {
    pub fn start(program: &Path, arguments: &[&str], folder: &Path, set: &[(&str, &str)]) -> Self {
        let size = PtySize { rows: 24, cols: 80, pixel_width: 0, pixel_height: 0 };
        let pair = native_pty_system().openpty(size).unwrap();
        let mut command = CommandBuilder::new(program);
        command.args(arguments);
        command.cwd(folder);
        command.env_clear();
        for (name, value) in [("TERM", "xterm-256color"), ("LANG", "C.UTF-8"), ("PATH", "/usr/bin:/bin")] {
            command.env(name, value);
        }
        command.env("HOME", folder);
        for (name, value) in set {
            command.env(name, value);
        }
        let child = pair.slave.spawn_command(command).unwrap();
        drop(pair.slave);
        let parser = Arc::new(Mutex::new(vt100::Parser::new(cells(24), cells(80), 0)));
        let raw = Arc::new(Mutex::new(Vec::new()));
        let mut reader = pair.master.try_clone_reader().unwrap();
        let (p, r) = (parser.clone(), raw.clone());
        std::thread::spawn(move || {
            let mut buffer = [0; 8192];
            while let Ok(n) = reader.read(&mut buffer) {
                if n == 0 {
                    break;
                }
                p.lock().unwrap().process(&buffer[..n]);
                r.lock().unwrap().extend_from_slice(&buffer[..n]);
            }
        });
        let writer = pair.master.take_writer().unwrap();
        Self { child, master: pair.master, writer, parser, raw }
    }

    pub fn screens(store: &Path) -> Self {
        let folder = store.parent().unwrap();
        let arguments = ["--store", store.to_str().unwrap(), "--as", "OP-07"];
        let terminal = Self::start(Path::new(env!("CARGO_BIN_EXE_meltkin")), &arguments, folder, &[]);
        terminal.wait("to be poured");
        terminal
    }

    /// A command on a store, in a terminal.
    pub fn command(store: &Path, words: &[&str]) -> Self {
        let arguments = [&["--store", store.to_str().unwrap()], words].concat();
        Self::start(Path::new(env!("CARGO_BIN_EXE_meltkin")), &arguments, store.parent().unwrap(), &[])
    }

    fn text(&self) -> String {
        self.parser.lock().unwrap().screen().contents()
    }

    #[track_caller]
    pub fn wait(&self, text: &str) {
        self.wait_until(text, |screen| screen.to_lowercase().contains(&text.to_lowercase()));
    }

    #[track_caller]
    pub fn wait_until(&self, what: &str, good: impl Fn(&str) -> bool) {
        let end = Instant::now() + PATIENCE;
        while !good(&self.text()) {
            assert!(Instant::now() < end, "waited for {what:?}; the screen:\n{}", self.text());
            std::thread::park_timeout(Duration::from_millis(5));
        }
    }

    /// A key, and what is seen when it has done its work; what stood there before would tell nothing of it.
    #[track_caller]
    pub fn press(&mut self, key: &str, then: &str) {
        let before = self.text();
        let stood = before.to_lowercase().contains(&then.to_lowercase());
        assert!(!stood, "{then:?} is there before {key:?}; the screen:\n{before}");
        self.send(key);
        self.wait(then);
    }

    pub fn send(&mut self, text: &str) {
        self.writer.write_all(text.as_bytes()).unwrap();
        self.writer.flush().unwrap();
    }

    /// A key that a code a moment ago may keep from acting: it is pressed until its work is seen.
    #[track_caller]
    pub fn pressed_again(&mut self, key: &str, then: &str) {
        let end = Instant::now() + PATIENCE;
        let seen = |t: &Self| t.text().to_lowercase().contains(&then.to_lowercase());
        while !seen(self) {
            assert!(
                Instant::now() < end,
                "pressed {key:?}, waited for {then:?}; the screen:\n{}",
                self.text()
            );
            self.send(key);
            let again = Instant::now() + Duration::from_millis(1200);
            while !seen(self) && Instant::now() < again {
                std::thread::park_timeout(Duration::from_millis(5));
            }
        }
    }

    /// A code as a scanner sends it, until what it leads to is seen. A busy machine may stop the program in the middle of
    /// one, which then is no code any more: it is scanned again, as a person would.
    #[track_caller]
    pub fn scanned(&mut self, code: &str, then: &str) {
        let end = Instant::now() + PATIENCE;
        while !self.text().contains(then) {
            assert!(
                Instant::now() < end,
                "scanned {code}, waited for {then:?}; the screen:\n{}",
                self.text()
            );
            self.send(&format!("{code}\r"));
            let again = Instant::now() + Duration::from_secs(5);
            while !self.text().contains(then) && Instant::now() < again {
                std::thread::park_timeout(Duration::from_millis(5));
            }
        }
    }

    /// All but the line that counts seconds and the keys below it.
    fn page(&self) -> String {
        let text = self.text();
        text.lines().take(21).collect::<Vec<_>>().join("\n")
    }

    /// Down the page, line by line, until a line with these words is in sight.
    #[track_caller]
    pub fn down_to(&mut self, words: &[&str]) {
        while !self.page().lines().any(|l| words.iter().all(|w| l.contains(w))) {
            let before = self.page();
            self.send("\x1b[B");
            self.wait_until(&format!("{words:?} further down"), |_| self.page() != before);
        }
    }

    /// What stands in fields that take text.
    fn in_fields(&self) -> String {
        let parser = self.parser.lock().unwrap();
        let (rows, columns) = parser.screen().size();
        let places = (0..rows.get()).flat_map(|row| (0..columns.get()).map(move |column| (row, column)));
        let cells = places.filter_map(|(row, column)| parser.screen().cell(row, column));
        cells.filter(|c| (c.fgcolor(), c.bgcolor()) == FIELD).map(vt100::Cell::contents).collect()
    }

    /// Text as a person types it, until all of it stands in its field.
    #[track_caller]
    pub fn written(&mut self, text: &str) {
        self.send(text);
        self.wait_until(&format!("{text} in its field"), |_| self.in_fields().trim() == text);
    }

    /// A line as a person types it, and Enter.
    #[track_caller]
    pub fn typed(&mut self, line: &str) {
        self.written(line);
        self.send("\r");
    }

    /// Letters that narrow a list, and Enter where its first line is the one wanted; the list may come later than they.
    #[track_caller]
    pub fn picked(&mut self, letters: &str, first: &str) {
        self.written(letters);
        self.wait(first);
        self.send("\r");
    }

    /// F2 until what it leads to is seen: soon after fast letters it is refused, as a scanner might have sent it.
    #[track_caller]
    pub fn save(&mut self, then: &str) {
        let then = then.to_lowercase();
        self.save_until(|s| s.to_lowercase().contains(&then));
    }

    #[track_caller]
    pub fn save_until(&mut self, good: impl Fn(&str) -> bool) {
        let end = Instant::now() + PATIENCE;
        loop {
            self.send(F2);
            let again = Instant::now() + Duration::from_millis(1100);
            while Instant::now() < again || !self.text().contains("not saved: a code") {
                if good(&self.text()) {
                    return;
                }
                assert!(Instant::now() < end, "it is not saved; the screen:\n{}", self.text());
                std::thread::park_timeout(Duration::from_millis(5));
            }
        }
    }

    fn resize(&self, rows: u16, cols: u16) {
        self.parser.lock().unwrap().screen_mut().set_size(cells(rows), cells(cols));
        self.master.resize(PtySize { rows, cols, pixel_width: 0, pixel_height: 0 }).unwrap();
    }

    /// Waits for the end, and for everything that was written before it.
    #[track_caller]
    pub fn end(&mut self) -> u32 {
        let end = Instant::now() + PATIENCE;
        loop {
            if let Some(status) = self.child.try_wait().unwrap() {
                return status.exit_code();
            }
            assert!(Instant::now() < end, "it does not end; the screen:\n{}", self.text());
            std::thread::park_timeout(Duration::from_millis(5));
        }
    }

    #[track_caller]
    fn given_back(&self) {
        self.wait_until("the ordinary screen", |_| {
            let raw = self.raw.lock().unwrap().clone();
            let has = |code: &[u8]| raw.windows(code.len()).any(|w| w == code);
            has(b"\x1b[?1049l") && has(b"\x1b[?2004l") && has(b"\x1b[?25h")
        });
        let parser = self.parser.lock().unwrap();
        assert!(!parser.screen().alternate_screen());
        assert!(!parser.screen().hide_cursor());
        assert!(!parser.screen().bracketed_paste());
        #[cfg(unix)]
        if let Some(settings) = self.master.get_termios() {
            let settings = format!("{:?}", settings.local_flags);
            assert!(settings.contains("ICANON") && settings.contains("ECHO"), "{settings}");
        }
    }

    /// The program is killed; it says nothing any more.
    #[track_caller]
    pub fn killed(&mut self) {
        self.child.kill().unwrap();
        self.end();
    }

    fn signal(&self, name: &str) {
        let pid = self.child.process_id().unwrap().to_string();
        let done = std::process::Command::new("kill").args([format!("-{name}"), pid]).status().unwrap();
        assert!(done.success());
    }
}

pub fn store() -> (TempDir, std::path::PathBuf) {
    let folder = TempDir::new().unwrap();
    let path = crate::tui::demo_copy(folder.path());
    (folder, path)
}

#[test]
fn two_pours_are_logged_in_twenty_keys_and_the_terminal_is_given_back() {
    let (_folder, path) = store();
    let mut t = Terminal::screens(&path);
    let mut keys = 0;
    for (left, mould, temperature) in [(2, "M31-097", "1480"), (1, "M31-098", "1482")] {
        t.wait_until("the mould and its checks", |s| {
            let first = s.contains(&format!("▸ {mould}")) && s.contains(&format!("To be poured: {left}"));
            first && s.contains("not every check") && s.contains("not poured yet")
        });
        t.press("p", "open the pour form");
        t.press("\r", "heat             ");
        t.wait("PYR-04");
        t.written(temperature);
        t.wait("superheat 1");
        t.save(&format!("saved pours:{mould}"));
        keys += 2 + temperature.len() + 1;
    }
    assert!(keys <= 20, "{keys} keys");
    t.wait("to be poured: 0");
    t.send("q");
    assert_eq!(t.end(), 0);
    t.given_back();
}

/// A busy machine may stop the program in the middle of a code, which then is no code any more: so it is sent again.
#[test]
fn fifty_codes_in_one_write_all_arrive() {
    let burst: String = (1..=50).map(|i| format!("M31-{i:03}\r")).collect();
    let mut counts = Vec::new();
    for _ in 0..20 {
        let (_folder, path) = store();
        let mut t = Terminal::screens(&path);
        t.wait("not every check");
        t.send(&burst);
        // A code that is pasted cannot be torn apart; when it is there, all before it were read.
        t.press("\x1b[200~M31-051\x1b[201~", "M31-051");
        let text = t.text();
        let count = text.split(" scanned").next().and_then(|s| s.split_whitespace().last()).map(String::from);
        counts.push(count.unwrap_or_default());
        if counts.last().is_some_and(|c| c == "51") {
            t.wait("mould M31-051");
            t.send("\x03");
            assert_eq!(t.end(), 0);
            return;
        }
    }
    panic!("never all fifty: {counts:?}");
}

#[test]
fn paste_and_resize() {
    let (_folder, path) = store();
    let mut t = Terminal::screens(&path);
    t.press("/", "which tag?");
    t.send("\x1b[200~M31-\x1b[201~");
    t.wait_until("the first part", |_| t.in_fields().trim() == "M31-");
    t.send("\x1b[200~041\r\x1b[201~");
    t.wait_until("both parts", |_| t.in_fields().trim() == "M31-041");
    t.resize(10, 40);
    t.wait("make it larger");
    t.resize(40, 120);
    t.wait("which tag?");
    t.press("\r", "mould M31-041");
    t.send("\x03");
    assert_eq!(t.end(), 0);
    t.given_back();
}

#[test]
#[cfg(unix)]
fn a_signal_gives_the_terminal_back() {
    for (name, code) in [("TERM", 143), ("HUP", 129)] {
        let (_folder, path) = store();
        let mut t = Terminal::screens(&path);
        t.signal(name);
        assert_eq!(t.end(), code, "{name}");
        t.given_back();
    }
}

#[test]
#[cfg(unix)]
fn stopped_and_called_back() {
    let (_folder, path) = store();
    let mut t = Terminal::screens(&path);
    t.send("\x1a");
    t.wait_until("the ordinary screen", |s| !s.contains("Furnace desk"));
    t.signal("CONT");
    t.wait("furnace desk");
    t.send("q");
    t.wait_until("the end", |s| !s.contains("Furnace desk"));
    assert_eq!(t.end(), 0);
}

#[test]
#[cfg(unix)]
fn a_killed_program_comes_back_to_its_form() {
    let (_folder, path) = store();
    let mut t = Terminal::screens(&path);
    t.press("c", "inspected?");
    t.press("d", "✓ d  dry");
    t.press("i", "✓ i  inspected");
    t.press("\r", "new charge item");
    t.typed("IL31-01");
    let draft = path.with_extension("db.drafts.json");
    t.wait_until("the draft on the disk", |_| {
        std::fs::read_to_string(&draft).is_ok_and(|text| text.contains("IL31-01"))
    });
    t.signal("KILL");
    t.end();
    let folder = path.parent().unwrap();
    let arguments = ["--store", path.to_str().unwrap(), "--as", "OP-07"];
    let mut again = Terminal::start(Path::new(env!("CARGO_BIN_EXE_meltkin")), &arguments, folder, &[]);
    again.wait("a half-filled form is kept");
    again.press("r", "IL31-01");
    again.signal("TERM");
}

#[test]
fn two_stations_on_one_store_and_a_write_that_waits() {
    let (_folder, path) = store();
    let mut first = Terminal::screens(&path);
    let mut second = Terminal::screens(&path);
    second.press("n", "poured now?");
    // A third program is writing.
    #[allow(clippy::disallowed_types, reason = "stands for another program")]
    let other = rusqlite::Connection::open(&path).unwrap();
    other.execute_batch("BEGIN IMMEDIATE").unwrap();
    second.press(F2, "waiting to save");
    other.execute_batch("COMMIT").unwrap();
    second.wait("saved pours:M31-097");
    // The first has not seen it; the store refuses, and says why.
    first.press("n", "poured now?");
    first.press(F2, "already exists");
    for t in [&mut first, &mut second] {
        t.send("q");
        assert_eq!(t.end(), 0);
    }
}

/// Plays the program that fails; does nothing unless it is started for that.
#[test]
fn the_program_that_fails() {
    if std::env::var_os("MELTKIN_TEST_FAILS").is_some() {
        let _taken = meltkin::ui::terminal::Taken::take().unwrap();
        panic!("a fault on purpose");
    }
}

#[test]
fn a_panic_gives_the_terminal_back() {
    let folder = TempDir::new().unwrap();
    let me = std::env::current_exe().unwrap();
    let arguments = ["pty::the_program_that_fails", "--exact", "--nocapture", "--test-threads=1"];
    let mut t = Terminal::start(&me, &arguments, folder.path(), &[("MELTKIN_TEST_FAILS", "1")]);
    assert_eq!(t.end(), 101);
    t.given_back();
    t.wait("a fault on purpose");
}

#[test]
fn without_a_store_it_says_so_in_a_sentence() {
    let folder = TempDir::new().unwrap();
    let place = folder.path().join("none.db");
    let arguments = ["--store", place.to_str().unwrap()];
    let mut t = Terminal::start(Path::new(env!("CARGO_BIN_EXE_meltkin")), &arguments, folder.path(), &[]);
    assert_eq!(t.end(), 3);
    t.wait("there is no store");
}

#[test]
fn the_cause_desk_answers_beside_the_furnace_desk() {
    let (_folder, path) = store();
    let mut t = Terminal::screens(&path);
    t.press("y", "any rejection");
    for (key, word, title, first) in
        [("d", "misrun", "which defect", "▸ misrun"), ("z", "te", "which zone", "▸ TE")]
    {
        t.wait("defect  z zone");
        t.press(key, title);
        t.picked(word, first);
    }
    // Esc would stop a run that still goes on.
    t.wait_until("the answer", |s| {
        s.contains("misrun in zone TE") && s.contains("factors tried") && !s.contains("stops it")
    });
    t.wait("pour.pyrometer_days_since_good_check");
    t.wait("Association, not cause");
    t.press("\x1b", "to be poured");
    t.send("q");
    assert_eq!(t.end(), 0);
    t.given_back();
}
