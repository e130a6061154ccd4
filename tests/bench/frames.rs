//! Time of a frame on a large store: `cargo bench --bench frames`, or `-- MOULDS` for another size.
//!
//! First frame: from opening the store to the drawn board that shows its moulds. Then 1000 presses, each
//! with the answers that it asks for left to the worker, as in the program: the time from the press to
//! the drawn buffer. Goals at 160,000 blades: first frame 50 ms, 99 of 100 frames within 16 ms.
#![allow(
    clippy::print_stdout,
    clippy::unwrap_used,
    clippy::expect_used,
    reason = "a bench prints, and stops where it cannot go on"
)]
#[allow(dead_code, reason = "other benches use the rest")]
mod measure;

use std::path::Path;
use std::path::PathBuf;
use std::sync::atomic::AtomicBool;
use std::time::Instant;

use meltkin::domain::Stamp;
use meltkin::ops;
use meltkin::ops::Plan;
use meltkin::ops::Store;
use meltkin::tui::app::App;
use meltkin::tui::app::Wake;
use meltkin::tui::effect::Desk;
use meltkin::tui::effect::Order;
use meltkin::tui::effect::Report;
use meltkin::tui::frame;
use meltkin::tui::keys::Press;
use meltkin::tui::theme::Depth;
use meltkin::tui::theme::Room;
use meltkin::tui::theme::Theme;
use ratatui::Terminal;
use ratatui::backend::TestBackend;

use measure::line;
use measure::median;
use measure::micros;
use measure::percentile;

fn main() {
    let asked = std::env::args().skip(1).find(|a| !a.starts_with('-'));
    let moulds = asked.and_then(|a| a.parse().ok()).unwrap_or(20_000);
    let home = PathBuf::from(env!("CARGO_TARGET_TMPDIR")).join(format!("frames-{moulds}"));
    let store = home.join("store.db");
    if !store.exists() {
        std::fs::create_dir_all(&home).unwrap();
        let bundle = home.join("bundle");
        ops::demo::make(&bundle, &Plan { moulds, seed: 1 }).unwrap();
        let program = env!("CARGO_BIN_EXE_meltkin");
        let words = ["--store", store.to_str().unwrap(), "import", bundle.to_str().unwrap()];
        let done = std::process::Command::new(program).args(words).output().unwrap();
        assert!(done.status.success(), "{}", String::from_utf8_lossy(&done.stderr));
    }
    println!("{:<44} {:>14} {:>14} {:>8}", format!("{moulds} moulds"), "figure", "goal", "ratio");
    let firsts: Vec<f64> = (0..11).map(|_| first(&store)).collect();
    line("first frame (median of 11)", median(&firsts) / 1e3, 50.0, "ms");
    let (frames, answers) = presses(&store);
    line("frame, median", median(&frames) / 1e3, 16.0, "ms");
    line("frame, 99 of 100", percentile(&frames, 99) / 1e3, 16.0, "ms");
    line("frame, slowest", percentile(&frames, 100) / 1e3, 16.0, "ms");
    line("answer of the worker, median", median(&answers) / 1e3, 0.0, "ms");
    line("answer of the worker, slowest", percentile(&answers, 100) / 1e3, 0.0, "ms");
    let (frames, answers) = charts(&store);
    line("chart desk: frame, 99 of 100", percentile(&frames, 99) / 1e3, 16.0, "ms");
    line("chart desk: a picture, median", median(&answers) / 1e3, 0.0, "ms");
}

struct Run {
    app: App,
    desk: Desk,
    terminal: Terminal<TestBackend>,
    answers: Vec<f64>,
}

impl Run {
    fn new(path: &Path) -> (Self, Vec<Order>) {
        let theme = Theme { room: Room::Dark, depth: Depth::Full, ascii: false };
        let now = Stamp::parse("2031-05-26T08:00:00+00:00").unwrap();
        let (app, orders) = App::new(now, None, theme, false);
        let desk = Desk::new(Store::open(path).unwrap(), path);
        let terminal = Terminal::new(TestBackend::new(120, 40)).unwrap();
        (Self { app, desk, terminal, answers: Vec::new() }, orders)
    }

    fn draw(&mut self) {
        let app = &self.app;
        self.terminal.draw(|f| frame::draw(app, f)).unwrap();
    }

    /// Does orders as the worker does; gives the time from each answer to its drawn frame.
    fn work(&mut self, mut orders: Vec<Order>, ms: u64) -> Vec<f64> {
        let mut frames = Vec::new();
        while !orders.is_empty() {
            let order = orders.remove(0);
            let begun = Instant::now();
            let told = self.desk.perform(&order.ask, &AtomicBool::new(false));
            self.answers.push(micros(begun));
            let begun = Instant::now();
            let report = Report { to: order.to, job: order.job, told };
            orders.extend(self.app.wake(ms, Wake::Answer(report)));
            self.draw();
            frames.push(micros(begun));
        }
        frames
    }
}

/// Until something can be read: opened, asked, answered, drawn.
fn first(path: &Path) -> f64 {
    let begun = Instant::now();
    let (mut run, mut orders) = Run::new(path);
    let board = orders.remove(0);
    run.draw();
    let told = run.desk.perform(&board.ask, &AtomicBool::new(false));
    run.app.wake(1, Wake::Answer(Report { to: board.to, job: board.job, told }));
    run.draw();
    micros(begun)
}

/// The chart desk on its pages, the cursor walking.
fn charts(path: &Path) -> (Vec<f64>, Vec<f64>) {
    let (mut run, orders) = Run::new(path);
    run.work(orders, 0);
    let mut ms = 0;
    let mut frames = Vec::new();
    for page in ['v', '4', '5', '1'] {
        let walk = [Press::Left, Press::PageUp, Press::Up, Press::Right];
        for press in std::iter::once(Press::Char(page)).chain(walk.into_iter().cycle().take(100)) {
            let mut orders = Vec::new();
            for wake in [Wake::Key(press), Wake::Tick] {
                ms += 150;
                let begun = Instant::now();
                orders.extend(run.app.wake(ms, wake));
                run.draw();
                frames.push(micros(begun));
            }
            frames.extend(run.work(orders, ms));
        }
    }
    (frames, run.answers.into_iter().filter(|a| *a > 1000.0).collect())
}

fn presses(path: &Path) -> (Vec<f64>, Vec<f64>) {
    let (mut run, orders) = Run::new(path);
    let mut frames = run.work(orders, 0);
    let walk = [
        Press::Down,
        Press::Down,
        Press::PageDown,
        Press::Up,
        Press::Char('b'),
        Press::Down,
        Press::Right,
        Press::Enter,
        Press::Esc,
        Press::Esc,
    ];
    let mut ms = 0;
    for press in walk.into_iter().cycle().take(1000) {
        ms += 150;
        let mut orders = Vec::new();
        for wake in [Wake::Key(press), Wake::Tick] {
            ms += 60;
            let begun = Instant::now();
            orders.extend(run.app.wake(ms, wake));
            run.draw();
            frames.push(micros(begun));
        }
        frames.extend(run.work(orders, ms));
    }
    (frames, run.answers)
}
