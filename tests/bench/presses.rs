//! A thousand presses on the screens, each with the answers that it asks for.

use std::path::Path;
use std::time::Instant;

use meltkin::jobs::desks::HOUSE;
use meltkin::ui::app::{App, Event};
use meltkin::ui::frame;
use meltkin::ui::keys::Press;
use meltkin::ui::theme::Depth;
use meltkin::ui::theme::Room;
use meltkin::ui::theme::Theme;
use meltkin::ui::worker::{Errand, Report, Worker};
use ratatui::Terminal;
use ratatui::backend::TestBackend;
use records::Stamp;
use records::Store;

use crate::measure::micros;

struct Run {
    app: App,
    worker: Worker,
    terminal: Terminal<TestBackend>,
    answers: Vec<f64>,
}

impl Run {
    fn new(path: &Path) -> (Self, Vec<Errand>) {
        let theme = Theme { room: Room::Dark, depth: Depth::Full, ascii: false };
        let now = Stamp::parse("2031-05-26T08:00:00+00:00").unwrap();
        let (app, orders) = App::new(now, None, theme, false, &HOUSE);
        let worker = Worker::new(Store::open(path).unwrap(), path);
        let terminal = Terminal::new(TestBackend::new(120, 40)).unwrap();
        (Self { app, worker, terminal, answers: Vec::new() }, orders)
    }

    fn draw(&mut self) {
        let app = &self.app;
        self.terminal.draw(|f| frame::draw(app, f)).unwrap();
    }

    /// Does orders as the worker does; gives the time from each answer to its drawn frame.
    fn work(&mut self, mut orders: Vec<Errand>, ms: u64) -> Vec<f64> {
        let mut frames = Vec::new();
        while !orders.is_empty() {
            let order = orders.remove(0);
            let begun = Instant::now();
            let outcome = self.worker.perform(&order);
            self.answers.push(micros(begun));
            let begun = Instant::now();
            let report = Report { to: order.to, job: order.job, outcome };
            orders.extend(self.app.wake(ms, Event::Answer(report)));
            self.draw();
            frames.push(micros(begun));
        }
        frames
    }
}

/// Until something can be read: opened, asked, answered, drawn.
pub fn first(path: &Path) -> f64 {
    let begun = Instant::now();
    let (mut run, mut orders) = Run::new(path);
    let board = orders.remove(0);
    run.draw();
    let outcome = run.worker.perform(&board);
    run.app.wake(1, Event::Answer(Report { to: board.to, job: board.job, outcome }));
    run.draw();
    micros(begun)
}

/// Times of the frames and of the worker's answers, microseconds.
pub fn presses(path: &Path) -> (Vec<f64>, Vec<f64>) {
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
        for wake in [Event::Key(press), Event::Tick] {
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

/// The chart desk on its pages, the cursor walking.
pub fn charts(path: &Path) -> (Vec<f64>, Vec<f64>) {
    let (mut run, orders) = Run::new(path);
    run.work(orders, 0);
    let mut ms = 0;
    let mut frames = Vec::new();
    for page in ['v', '4', '5', '1'] {
        let walk = [Press::Left, Press::PageUp, Press::Up, Press::Right];
        for press in std::iter::once(Press::Char(page)).chain(walk.into_iter().cycle().take(100)) {
            let mut orders = Vec::new();
            for wake in [Event::Key(press), Event::Tick] {
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
