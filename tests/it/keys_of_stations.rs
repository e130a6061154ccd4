//! Keys of each station, counted in a real terminal: what an operator presses and scans beside the figures themselves.

use records::Who;

use crate::pty::{Terminal, store};

/// What is counted.
#[derive(Default, Debug)]
struct Count {
    keys: usize,
    scans: usize,
    figures: usize,
}

/// One station in a terminal of its own; seconds are printed for the table, nothing rests on them.
struct Station {
    name: &'static str,
    terminal: Terminal,
    count: Count,
    began: std::time::Instant,
}

impl Station {
    fn at(name: &'static str, terminal: Terminal) -> Self {
        Self { name, terminal, count: Count::default(), began: std::time::Instant::now() }
    }

    fn key(&mut self, key: &str, then: &str) {
        self.terminal.press(key, then);
        self.count.keys += 1;
    }

    fn scan(&mut self, code: &str, then: &str) {
        self.terminal.scanned(code, then);
        self.count.scans += 1;
    }

    /// F2; so soon after a code it is refused, and pressed again, as a person would.
    fn save(&mut self, then: &str) {
        self.terminal.pressed_again(F2, then);
        self.count.keys += 1;
    }

    fn figure(&mut self, text: &str) {
        self.terminal.written(text);
        self.count.figures += text.len();
    }

    /// Begins to count: what was pressed before is the way there.
    fn begin(&mut self) {
        self.count = Count::default();
        self.began = std::time::Instant::now();
    }

    fn done(mut self) -> Count {
        let Count { keys, scans, figures } = self.count;
        eprintln!(
            "{:<24} {keys:>3} keys {scans:>3} scans {figures:>3} figures {:>6.1} s",
            self.name,
            self.began.elapsed().as_secs_f64()
        );
        self.terminal.send("\x03");
        assert_eq!(self.terminal.end(), 0);
        self.count
    }
}

const F2: &str = "\x1bOQ";

/// A store with blades that nobody has looked at yet, of a mould that was poured or not.
fn with_blades(poured: bool) -> (tempfile::TempDir, std::path::PathBuf) {
    let (folder, path) = store();
    let mut store = records::Store::open(&path).unwrap();
    let now = records::Stamp::parse(meltkin::jobs::file::demo::CLOCK).unwrap();
    let who = Who::new(Some("OP-07".into()), now);
    for i in 1..=8 {
        let fields = [format!("blade=M31-097-{i}"), "mould=M31-097".into(), format!("position={i}")];
        meltkin::jobs::records::ask::log(&mut store, &who, "blades", &fields, None).unwrap();
    }
    if poured {
        let pour = ["mould=M31-097", "heat=H31-049", "poured_at=2031-05-26T07:40:00+00:00"].map(String::from);
        meltkin::jobs::records::ask::log(&mut store, &who, "pours", &pour, None).unwrap();
    }
    store.close().unwrap();
    (folder, path)
}

#[test]
fn a_blade_is_one_scan_and_a_reject_three_keys_more() {
    let (_folder, path) = with_blades(true);
    let mut s = Station::at("blade accepted", Terminal::screens(&path));
    s.key("b", "its form asks for");
    s.key("i", "What is the same for all");
    s.key("p", "UV-01");
    s.save("each blade: ACCEPT by penetrant");
    s.begin();
    s.scan("M31-097-1", "1 accepted, 0 rejected");
    assert_eq!((s.count.keys, s.count.scans), (0, 1), "an accept");
    s.scan("M31-097-2", "2 accepted, 0 rejected");
    s.begin();
    s.key("r", "which defect?");
    s.key("1", "in which zone?");
    s.key("1", "1 accepted, 1 rejected");
    s.name = "blade rejected";
    let count = s.done();
    assert_eq!((count.keys, count.scans), (3, 0), "a reject");
}

#[test]
fn a_tray_that_was_killed_has_lost_nothing() {
    let (_folder, path) = with_blades(true);
    let mut t = Terminal::screens(&path);
    t.press("b", "its form asks for");
    t.press("i", "What is the same for all");
    t.press("p", "UV-01");
    t.pressed_again(F2, "each blade: ACCEPT by penetrant");
    for i in 1..=5 {
        t.scanned(&format!("M31-097-{i}"), &format!("{i} accepted, 0 rejected"));
    }
    t.killed();
    let store = records::Store::open(&path).unwrap();
    for i in 1..=5 {
        let (key, _) = store.key_of::<records::catalogue::Blades>(&format!("M31-097-{i}")).unwrap();
        let all = store.rows_of(records::catalogue::Inspections::blade, key).unwrap();
        assert_eq!(all.len(), 1, "blade {i}");
    }
}

#[test]
fn a_coat_is_two_scans_and_a_key_and_a_scan_for_each_mould() {
    let (_folder, path) = with_blades(false);
    let mut s = Station::at("coat", Terminal::screens(&path));
    s.key("b", "its form asks for");
    s.key("n", "which run?");
    s.key("1", "What is the same for all");
    s.begin();
    s.scan("PS31-05", "scanned PS31-05 into");
    s.scan("ST31-01", "scanned ST31-01 into");
    s.save("each mould: COAT");
    assert_eq!((s.count.keys, s.count.scans), (1, 2), "what is said once");
    s.scan("M31-097", "1 mould recorded");
    s.scan("M31-098", "2 moulds recorded");
    let count = s.done();
    assert_eq!((count.keys, count.scans), (1, 4));
    let store = records::Store::open(&path).unwrap();
    assert!(store.find("coats:M31-097/1").is_ok() && store.find("coats:M31-098/1").is_ok());
}

#[test]
fn an_analysis_of_thirteen_elements_takes_at_most_forty_keys_and_the_figures() {
    let (_folder, path) = store();
    let mut s = Station::at("analysis of 13 elements", Terminal::screens(&path));
    s.key("b", "its form asks for");
    s.key("a", "scan or type the lot or heat");
    s.scan("H31-048", "Elements of QA-713/3");
    // The elements and what the last analysis proposes come apart, before the code or after it.
    s.terminal.wait("▸ Al ");
    let figures = ["6.1", "0.01", "0.12", "12.8", "4.4", "2.1", "0.8", "0.1", "0.2", "28", "22", "<1", "<5"];
    let elements = ["Al", "B", "C", "Cr", "Mo", "Nb", "Ti", "Zr", "Bi", "N", "O", "Pb", "S"];
    for (i, figure) in figures.iter().enumerate() {
        s.figure(figure);
        match elements.get(i + 1) {
            Some(next) => s.key("\x1b[B", &format!("▸ {next} ")),
            None => s.save("saved AN31-"),
        }
    }
    let count = s.done();
    assert!(count.keys + count.scans <= 40, "{count:?}");
}

#[test]
fn the_daily_check_of_the_pyrometer_is_two_keys_and_its_figure() {
    let (_folder, path) = store();
    let mut s = Station::at("daily check", Terminal::screens(&path));
    s.terminal.wait("not every check");
    s.key("i", "last check 2031-05");
    s.figure("1");
    s.save("saved calibrations:PYR-04");
    let count = s.done();
    assert_eq!((count.keys, count.scans, count.figures), (2, 0, 1));
}
