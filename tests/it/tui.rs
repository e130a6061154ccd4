//! The screens in process: the real machine, the real worker's work, a real store, a drawn buffer.

mod trace_desk;

use std::path::PathBuf;
use std::sync::OnceLock;

use meltkin::jobs::desks::HOUSE;
use meltkin::jobs::file::demo;
use meltkin::ui::app::{App, End, Event};
use meltkin::ui::frame;
use meltkin::ui::keys::Press;
use meltkin::ui::screen::{Context, Screen};
use meltkin::ui::theme::{Depth, Room, Theme};
use meltkin::ui::view::View;
use meltkin::ui::worker::{Errand, Report, Worker};
use ratatui::Terminal;
use ratatui::backend::TestBackend;
use records::Stamp;
use records::{Store, Who};
use tempfile::TempDir;

const PLAIN: Theme = Theme { room: Room::Dark, depth: Depth::Full, ascii: false };

/// The moment at which screens are drawn alone.
pub fn now() -> Context {
    let now = Stamp::parse(demo::CLOCK).unwrap();
    Context { now, at_ms: 0, who: Who::new(None, now), layer: 1 }
}

/// One screen drawn by itself.
pub fn drawn_alone(screen: &dyn Screen, width: u16, height: u16, theme: Theme) -> String {
    let view = View { theme, now: now().now };
    let mut terminal = Terminal::new(TestBackend::new(width, height)).unwrap();
    terminal
        .draw(|f| {
            screen.draw(f, f.area(), &view);
            theme.finish(f.buffer_mut());
        })
        .unwrap();
    terminal.backend().to_string()
}

/// A demo store with one heat charged and two moulds planned, made once and copied for each test.
pub fn demo_copy(folder: &std::path::Path) -> PathBuf {
    static MADE: OnceLock<(TempDir, PathBuf)> = OnceLock::new();
    let (_, made) = MADE.get_or_init(|| {
        let folder = TempDir::new().unwrap();
        let path = folder.path().join("demo.db");
        let mut store = demo::open(&path, &mut |_, _, _| {}).unwrap();
        let who = records::Who::new(Some("OP-07".into()), Stamp::parse(demo::CLOCK).unwrap());
        let mut log = |kind: &str, fields: &str| {
            let fields: Vec<String> = fields.split(' ').map(String::from).collect();
            meltkin::jobs::records::ask::log(&mut store, &who, kind, &fields, None).unwrap();
        };
        log("heats", "heat=H31-049 alloy=QA-713/3 furnace=VF-1 melted_at=2031-05-26T07:00:00+00:00");
        log("charges", "heat=H31-049 source=IL31-01 mass_kg=6");
        for i in [97, 98] {
            let at = "assembled_at=2031-05-20T08:00:00+00:00";
            log("moulds", &format!("mould=M31-0{i} part=QB-2207 running_system=RS-4 {at}"));
            let order = i - 96;
            let plan = "planned_on=2031-05-26 furnace=VF-1 target_c=1480";
            log("pour_plans", &format!("mould=M31-0{i} pour_order={order} {plan}"));
        }
        store.close().unwrap();
        (folder, path)
    });
    let path = folder.join("demo.db");
    std::fs::copy(made, &path).unwrap();
    path
}

/// The program without terminal and threads.
pub struct Session {
    pub app: App,
    pub desk: Worker,
    ms: u64,
    _folder: Option<TempDir>,
}

impl Session {
    pub fn on(path: &std::path::Path, folder: Option<TempDir>) -> Self {
        Self { _folder: folder, ..Self::of(path, "OP-07") }
    }

    /// Somebody of this name starts the program.
    pub fn of(path: &std::path::Path, who: &str) -> Self {
        let now = Stamp::parse(demo::CLOCK).unwrap();
        let (app, errands) = App::new(now, Some(who.into()), PLAIN, true, &HOUSE);
        let desk = Worker::new(Store::open(path).unwrap(), path);
        let mut session = Self { app, desk, ms: 0, _folder: None };
        session.carry_out(errands);
        session
    }

    pub fn demo() -> Self {
        let folder = TempDir::new().unwrap();
        let path = demo_copy(folder.path());
        Self::on(&path, Some(folder))
    }

    fn carry_out(&mut self, mut errands: Vec<Errand>) {
        while !errands.is_empty() {
            let errand = errands.remove(0);
            let outcome = self.desk.perform(&errand);
            let report = Report { to: errand.to, job: errand.job, outcome };
            errands.extend(self.app.wake(self.ms, Event::Answer(report)));
        }
    }

    pub fn wake(&mut self, after_ms: u64, event: Event) {
        self.ms += after_ms;
        let errands = self.app.wake(self.ms, event);
        self.carry_out(errands);
    }

    /// Keys of a person: letters, and names in angle brackets.
    pub fn keys(&mut self, keys: &str) -> &mut Self {
        let mut rest = keys;
        while let Some(c) = rest.chars().next() {
            let press = match rest.strip_prefix('<').and_then(|r| r.split_once('>')) {
                Some((name, after)) => {
                    rest = after;
                    named(name)
                }
                None => {
                    rest = &rest[c.len_utf8()..];
                    Press::Char(c)
                }
            };
            if matches!(press, Press::F(2)) {
                self.wake(1000, Event::Tick);
            }
            self.wake(200, Event::Key(press));
            self.wake(200, Event::Tick);
        }
        self.wake(200, Event::Tick);
        self
    }

    /// A code as a scanner sends it.
    pub fn scan(&mut self, code: &str) -> &mut Self {
        for c in code.chars() {
            self.wake(2, Event::Key(Press::Char(c)));
        }
        self.wake(2, Event::Key(Press::Enter));
        self.wake(200, Event::Tick);
        self
    }

    pub fn screen(&self, width: u16, height: u16) -> String {
        let mut terminal = Terminal::new(TestBackend::new(width, height)).unwrap();
        terminal.draw(|f| frame::draw(&self.app, f)).unwrap();
        let text = terminal.backend().to_string();
        let lines = text.lines().map(|l| l.trim_matches('"').trim_end().to_string());
        lines.collect::<Vec<_>>().join("\n")
    }

    #[track_caller]
    pub fn sees(&self, text: &str) {
        let screen = self.screen(80, 24);
        assert!(screen.contains(text), "wanted {text:?} in:\n{screen}");
    }

    #[track_caller]
    pub fn misses(&self, text: &str) {
        let screen = self.screen(80, 24);
        assert!(!screen.contains(text), "did not want {text:?} in:\n{screen}");
    }

    pub fn field(&self, address: &str, field: &str) -> String {
        self.desk.store.find(address).unwrap().record.get(field).to_text()
    }
}

fn named(name: &str) -> Press {
    match name {
        "enter" => Press::Enter,
        "esc" => Press::Esc,
        "tab" => Press::Tab,
        "up" => Press::Up,
        "down" => Press::Down,
        "left" => Press::Left,
        "right" => Press::Right,
        "pgdn" => Press::PageDown,
        "home" => Press::Home,
        "end" => Press::End,
        "bs" => Press::Backspace,
        "c-c" => Press::Ctrl('c'),
        f => Press::F(f[1..].parse().unwrap()),
    }
}

#[test]
fn the_furnace_desk_says_what_may_be_poured_and_why_not() {
    let s = Session::demo();
    insta::assert_snapshot!("furnace_80x24", s.screen(80, 24));
    insta::assert_snapshot!("furnace_120x40", s.screen(120, 40));
}

#[test]
fn a_pour_is_logged_in_few_keys_with_its_figures_as_they_are_typed() {
    let mut s = Session::demo();
    // p, yes (not every check is passed), the temperature, save.
    s.keys("p<enter>");
    assert!(s.screen(80, 24).contains("H31-049"));
    s.keys("1480<enter>");
    s.sees("superheat 192 °C above the liquidus 1288 °C");
    insta::assert_snapshot!("pour_form_80x24", s.screen(80, 24));
    insta::assert_snapshot!("pour_form_120x40", s.screen(120, 40));
    s.keys("<f2>");
    s.sees("saved pours:M31-097 at 08:00:00");
    s.sees("u takes it back");
    assert_eq!(s.field("pours:M31-097", "indicated_c"), "1480");
    assert_eq!(s.field("pours:M31-097", "pyrometer"), "PYR-04", "carried from the last pour");
    assert_eq!(s.field("pours:M31-097", "mould_c"), "", "a measurement is never carried");
    assert_eq!(s.field("pours:M31-097", "person"), "OP-07");
    // The next mould of the heat: what they share stands there.
    s.keys("p<enter>1482<f2>");
    s.sees("saved pours:M31-098");
    assert_eq!(s.field("pours:M31-098", "heat"), "H31-049");
    assert_eq!(s.field("pours:M31-098", "pour_order"), "2");
}

#[test]
fn one_key_takes_it_back_within_a_minute() {
    let mut s = Session::demo();
    s.keys("p<enter>1480<f2>u");
    s.sees("Take this back?");
    s.sees("saved pours:M31-097");
    s.keys("<f2>");
    s.sees("undid");
    assert!(s.desk.store.find("pours:M31-097").is_err());
    s.keys("p<enter>1480<f2>");
    s.wake(61_000, Event::Tick);
    s.keys("u");
    s.misses("undid");
    assert!(s.desk.store.find("pours:M31-097").is_ok());
}

#[test]
fn poured_now_takes_two_keys_and_the_details_come_later() {
    let mut s = Session::demo();
    s.keys("n<f2>");
    s.sees("saved pours:M31-097");
    s.sees("! details");
    assert_eq!(s.field("pours:M31-097", "heat"), "H31-049");
    s.keys("<down>d");
    s.sees("Change pours:M31-097");
    s.keys("1481<f2>");
    assert_eq!(s.field("pours:M31-097", "indicated_c"), "1481");
    s.keys("<up><up>o<f2>");
    assert_eq!(s.field("pours:M31-098", "run_out"), "yes");
}

#[test]
fn a_guard_asks_why_and_the_reason_stands_in_the_record() {
    let mut s = Session::demo();
    s.keys("p<enter>148<f2>");
    s.sees("148 °C is outside the plausible range 1350 to 1600 °C");
    s.keys("<f2>");
    s.sees("a reason is needed");
    s.keys("read through smoke<f2>");
    s.sees("saved pours:M31-097");
    assert_eq!(s.field("pours:M31-097", "note"), "read through smoke");
}

#[test]
fn codes_go_where_they_belong_and_press_nothing() {
    let mut s = Session::demo();
    // On the desk: a standing mould is chosen, anything else opens its record.
    s.scan("M31-098");
    s.sees("▸ M31-098");
    s.scan("h31-040");
    s.sees("heat H31-040");
    s.keys("<esc>");
    // A code with a q in it does not quit; one that is unknown changes nothing.
    s.scan("qqq-9");
    assert_eq!(s.app.end, None);
    s.sees("no record has that tag");
    // In a form: to the field that refers to its kind, wherever the cursor stands.
    s.keys("p<enter>");
    s.scan("H31-048").scan("PYR-02");
    s.sees("scanned PYR-02 into pyrometer");
    // On the line to accept a code does not accept.
    s.keys("<down><down><down><down><down><down><down><down><down><down><down><down>");
    s.sees("▸ F2 saves it");
    s.scan("M31-098");
    s.sees("New pour");
    assert!(s.desk.store.find("pours:M31-098").is_err());
    // The last check of PYR-02 failed: that is asked about.
    s.keys("<f2>");
    s.sees("Why is it right?");
    s.keys("the only one there<f2>");
    assert_eq!(s.field("pours:M31-098", "heat"), "H31-048");
    assert_eq!(s.field("pours:M31-098", "pyrometer"), "PYR-02");
}

#[test]
fn fifty_codes_in_one_burst_all_arrive() {
    let mut s = Session::demo();
    for i in 1..=50 {
        for c in format!("M31-{i:03}").chars() {
            s.wake(0, Event::Key(Press::Char(c)));
        }
        s.wake(0, Event::Key(Press::Enter));
    }
    assert_eq!(s.app.codes, 50);
    s.sees("mould M31-050");
    s.sees("50 scanned");
}

#[test]
fn a_badge_says_who_works_here() {
    let mut s = Session::demo();
    s.scan("OP-05");
    s.sees("OP-05 works here now");
    s.keys("w").scan("OP-09");
    s.sees("OP-09");
    s.misses("Who works here?");
    s.keys("p<enter><f2>");
    assert_eq!(s.field("pours:M31-097", "recorded_by"), "OP-09");
}

#[test]
fn charge_and_preheat_ask_dry_and_inspected_first() {
    let mut s = Session::demo();
    s.keys("c");
    s.sees("dry? inspected?");
    s.keys("<enter>");
    s.sees("dry? inspected?");
    s.keys("d<enter>");
    s.sees("dry? inspected?");
    s.keys("i<enter>");
    s.sees("New charge item");
    s.sees("H31-049");
}

#[test]
fn the_charge_shows_share_of_revert_and_blend_while_it_is_typed() {
    let mut s = Session::demo();
    s.keys("cdi<enter>");
    s.sees("H31-049: 1 item, 6.000 kg, revert 0.0 % of at most 50 %");
    s.scan("RV31-01");
    while !s.screen(80, 24).contains("▸ mass") {
        s.keys("<down>");
    }
    // 2 of 8 kg are a quarter; 10 of 16 kg are more than half.
    s.keys("2");
    s.sees("✓ charge H31-049: 2 items, 8.000 kg, revert 25.0 %");
    s.keys("<f6>10");
    s.sees("✗ charge H31-049: 2 items, 16.000 kg, revert 62.5 %");
}

#[test]
fn a_half_filled_form_comes_back() {
    let folder = TempDir::new().unwrap();
    let path = demo_copy(folder.path());
    let mut s = Session::on(&path, None);
    s.keys("p<enter>1479");
    drop(s);
    let mut s = Session::on(&path, None);
    s.sees("a half-filled form is kept: r goes on with it");
    s.keys("r");
    s.sees("1479");
    // Left, it is kept; taken up again and saved, it is gone.
    s.keys("<esc>");
    s.sees("r go on");
    s.keys("r<f2>");
    assert_eq!(s.field("pours:M31-097", "indicated_c"), "1479");
    drop(s);
    let s = Session::on(&path, None);
    s.misses("half-filled");
    assert!(!folder.path().join("demo.db.drafts.json").exists());
}

#[test]
fn a_form_can_be_thrown_away() {
    let mut s = Session::demo();
    s.keys("p<enter>1479<f8>");
    s.sees("1479");
    s.sees("F8 once more");
    s.keys("<f8>");
    s.sees("thrown away");
    s.misses("r go on");
    assert!(s.desk.drafts.as_ref().unwrap().all().is_empty());
}

#[test]
fn the_sentence_of_the_store_comes_to_its_field() {
    let mut s = Session::demo();
    s.keys("p<enter><up><up><up>H99<f2>");
    s.sees("there is no");
    s.sees("▸ heat");
    s.sees("New pour");
}

#[test]
fn the_bench_has_a_form_for_every_kind() {
    let mut s = Session::demo();
    s.keys("b");
    insta::assert_snapshot!("bench_80x24", s.screen(80, 24));
    insta::assert_snapshot!("bench_120x40", s.screen(120, 40));
    let kinds = records::catalogue::all().count();
    for _ in 0..kinds {
        s.keys("<enter>");
        if s.screen(80, 24).contains("inspected?") {
            s.keys("di<enter>");
        }
        s.sees("New ");
        s.sees("save");
        s.keys("<esc><down>");
    }
}

#[test]
fn zones_of_the_blade_are_picked_by_key() {
    let mut s = Session::demo();
    s.keys("b");
    while !s.screen(80, 24).contains("▸ finding") {
        s.keys("<down>");
    }
    s.keys("<enter>").scan("I31-00039");
    s.sees("On zone: its digit");
    while !s.screen(80, 24).contains("▸ zone") {
        s.keys("<down>");
    }
    s.keys("<right>");
    s.sees("[AF]");
    s.sees(">1 AF aerofoil");
    s.keys("<right><left><right><right>");
    s.sees("[LE]");
    s.sees("leading edge");
}

#[test]
fn a_coat_shows_how_long_it_must_dry() {
    let mut s = Session::demo();
    let who = records::Who::new(None, s.app.now);
    let fields = "mould=M31-097 coat=1 slurry_batch=PS31-01 in_at=2031-05-26T06:30:00+00:00";
    let batch = "shell_batch=SB31-90 recipe=SR-7@B started_at=2031-05-25T06:00:00+00:00";
    let split = |t: &str| t.split(' ').map(String::from).collect::<Vec<_>>();
    meltkin::jobs::records::ask::log(&mut s.desk.store, &who, "shell_batches", &split(batch), None).unwrap();
    let change = [("shell_batch".to_string(), "SB31-90".to_string())];
    meltkin::jobs::records::ask::correct(&mut s.desk.store, &who, "M31-097", &change, "it was missing")
        .unwrap();
    meltkin::jobs::records::ask::log(&mut s.desk.store, &who, "coats", &split(fields), None).unwrap();
    s.keys("b");
    while !s.screen(80, 24).contains("▸ coat") {
        s.keys("<down>");
    }
    // Dipped at 6:30, at least 3 h by the recipe, now 8:00.
    s.sees("M31-097 coat 1  ! 1 h 30 min to go");
}

#[test]
fn a_record_shows_its_history() {
    let mut s = Session::demo();
    s.keys("/M31-041<enter>");
    s.sees("mould M31-041");
    insta::assert_snapshot!("record_80x24", s.screen(80, 24));
    // Its history stands below the fields.
    for _ in 0..20 {
        s.keys("<down>");
    }
    s.sees("what was done to it");
    s.sees("import");
    s.keys("<esc>/nothing<enter>");
    s.sees("there is no record");
    s.keys("<esc>?");
    insta::assert_snapshot!("help_80x24", s.screen(80, 24));
    s.keys("<esc>");
    s.sees("Furnace desk");
}

#[test]
fn paste_is_cleaned_and_goes_to_the_field() {
    let mut s = Session::demo();
    s.keys("p<enter>");
    s.wake(10, Event::Paste("\u{1b}[31m1481\r\n1482\r".into()));
    // The escape itself is gone; what is left is no number, and the form says so.
    s.keys("<f2>");
    s.sees("not a number");
    s.keys("<f6>");
    s.wake(10, Event::Paste("1481\r".into()));
    s.keys("<f2>");
    assert_eq!(s.field("pours:M31-097", "indicated_c"), "1481");
}

#[test]
fn every_screen_is_drawn_at_every_size() {
    let steps =
        ["", "p", "<enter>148<f2>", "<esc><esc>b", "<enter>", "<esc><esc>c", "<esc>/", "M31-041<enter>", "?"];
    let mut s = Session::demo();
    for step in steps {
        s.keys(step);
        for width in 1..=30 {
            for height in 1..=14 {
                s.screen(width, height);
            }
        }
        for (width, height) in [(80, 24), (79, 24), (80, 23), (120, 40), (200, 60), (500, 24)] {
            s.screen(width, height);
        }
    }
    assert!(s.screen(79, 24).contains("Make it larger"));
    assert!(s.screen(12, 3).contains("This window"));
}

#[test]
fn no_colour_is_the_only_sign_and_ascii_is_enough() {
    let mut s = Session::demo();
    s.sees("✗ M31-097: not every check is passed");
    s.app.theme = Theme { room: Room::Dark, depth: Depth::None, ascii: true };
    let screen = s.screen(80, 24);
    assert!(screen.is_ascii(), "{screen}");
    assert!(screen.contains("x M31-097: not every check is passed"));
}

#[test]
fn an_empty_store_has_a_desk() {
    let folder = TempDir::new().unwrap();
    let path = folder.path().join("new.db");
    Store::create(&path).unwrap().close().unwrap();
    let mut s = Session::on(&path, None);
    s.sees("To be poured: 0");
    s.sees("no pour is on record");
    s.keys("pnodhu<down><up><pgdn><enter>");
    s.sees("Furnace desk");
    // Who works here is a claim where the store knows nobody.
    s.keys("w").keys("anna<enter>");
    s.sees("anna works here now");
}

#[test]
fn leaving_keeps_what_is_filled_in() {
    let folder = TempDir::new().unwrap();
    let path = demo_copy(folder.path());
    let mut s = Session::on(&path, None);
    s.keys("p<enter>14");
    s.wake(1, Event::Key(Press::Char('7')));
    s.wake(40, Event::Key(Press::Ctrl('c')));
    assert_eq!(s.app.end, Some(End::Quit));
    drop(s);
    Session::on(&path, None).sees("147");
}
