//! The terminal: taken, given back whatever happens, and the loop between it and the machine.

use std::io::{self, Stdout, Write};
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::mpsc;
use std::thread::JoinHandle;
use std::time::{Duration, Instant};

use crossterm::event::{self, DisableBracketedPaste, EnableBracketedPaste};
use crossterm::terminal::{
    Clear, ClearType, EnterAlternateScreen, LeaveAlternateScreen, disable_raw_mode, enable_raw_mode,
};
use crossterm::{cursor, execute};
use ratatui::Terminal;
use ratatui::backend::CrosstermBackend;

use crate::ui::app::{App, End, Event};
use crate::ui::frame;
use crate::ui::keys::Press;
use crate::ui::order::Sort;
use crate::ui::scan::{Habits, WAIT_MS};
use crate::ui::screen::House;
use crate::ui::theme::Theme;
use crate::ui::worker::{Errand, work, work_slowly};
use records::Stamp;
use records::Store;
use records::value::time_text::TimeZone;

pub struct Start {
    pub path: PathBuf,
    pub store: Store,
    /// Who works here, where it was said.
    pub who: Option<String>,
    pub clock: Box<dyn Fn() -> Stamp>,
    /// How the place keeps its time.
    pub zone: TimeZone,
    /// The clock stands still: it is a demo store's.
    pub demo: bool,
    /// The store's clock is given from outside.
    pub clock_given: bool,
    /// The time is given in place of a running clock; this is what the machine's own says.
    pub given: Option<Stamp>,
    /// Where it is kept how the scanner at this terminal sends.
    pub habits: Option<PathBuf>,
    /// What the environment, or the settings of this place, say under a name.
    pub look: fn(&str) -> Option<String>,
    /// The screens that it is about.
    pub house: &'static House,
}

/// How many columns the terminal has; nothing where there is none.
pub fn columns() -> Option<u16> {
    crossterm::terminal::size().ok().map(|(columns, _)| columns).filter(|c| *c > 0)
}

/// A terminal in our hands; given back when this goes.
pub struct Taken(Terminal<CrosstermBackend<Stdout>>);

impl Taken {
    /// Takes the terminal, and makes a panic of this thread give it back before it is told.
    pub fn take() -> io::Result<Self> {
        let me = std::thread::current().id();
        let before = std::panic::take_hook();
        std::panic::set_hook(Box::new(move |info| {
            // A panic of the worker is told on the screen by the loop, which then ends.
            if std::thread::current().id() == me {
                let _ = give_back();
                before(info);
            }
        }));
        take()?;
        let terminal = Terminal::new(CrosstermBackend::new(io::stdout()));
        if terminal.is_err() {
            let _ = give_back();
        }
        Ok(Self(terminal?))
    }

    /// After the program was stopped: everything is drawn anew. (ratatui's own `clear` asks the
    /// terminal for the cursor's place, which the thread that reads keys would swallow.)
    fn again(&mut self) -> io::Result<()> {
        take()?;
        self.0 = Terminal::new(CrosstermBackend::new(io::stdout()))?;
        Ok(())
    }

    fn draw(&mut self, app: &App) -> io::Result<()> {
        self.0.draw(|f| frame::draw(app, f)).map(|_| ())
    }
}

impl Drop for Taken {
    fn drop(&mut self) {
        let _ = give_back();
    }
}

/// The terminal is ours: given back only once, or the cursor would jump over what was printed since.
static OURS: AtomicBool = AtomicBool::new(false);

fn take() -> io::Result<()> {
    enable_raw_mode()?;
    OURS.store(true, Ordering::SeqCst);
    execute!(io::stdout(), EnterAlternateScreen, Clear(ClearType::All), EnableBracketedPaste, cursor::Hide)
}

fn give_back() -> io::Result<()> {
    if !OURS.swap(false, Ordering::SeqCst) {
        return Ok(());
    }
    let shown = execute!(io::stdout(), DisableBracketedPaste, LeaveAlternateScreen, cursor::Show);
    disable_raw_mode()?;
    shown?;
    io::stdout().flush()
}

/// Runs the screens until the person leaves or the system asks for it.
pub fn run(start: Start) -> io::Result<End> {
    let theme = Theme::from_environment(start.look);
    let began = Instant::now();
    let (events, happened) = mpsc::channel::<(Instant, Event)>();
    let mut taken = Taken::take()?;
    let clock = start.clock;
    let (mut app, errands) = App::new(clock(), start.who, theme, start.demo, start.house);
    (app.clock_given, app.given, app.zone) = (start.clock_given, start.given, start.zone);
    if let Some(habits) = start.habits.as_deref().and_then(known_habits) {
        app.scanner.habits = habits;
    }
    app.bell = (start.look)("MELTKIN_BELL").is_some_and(|v| !v.is_empty() && v != "0");
    app.window = crossterm::terminal::size().ok();
    // The first frame stands before anything is read.
    taken.draw(&app)?;
    listen_to_keys(events.clone());
    listen_to_signals(events.clone())?;
    let (to_worker, from_us) = mpsc::channel::<Errand>();
    let (path, store, habits) = (start.path, start.store, start.habits);
    let (slow_path, slow_events) = (path.clone(), events.clone());
    let (beside_path, beside_events) = (path.clone(), events.clone());
    let worker = std::thread::spawn(move || {
        let tell = |report| events.send((Instant::now(), Event::Answer(report))).is_ok();
        work(&path, store, habits, &from_us, &tell);
    });
    let (to_slow, from_us_slow) = mpsc::channel::<Errand>();
    std::thread::spawn(move || {
        let tell = |report| slow_events.send((Instant::now(), Event::Answer(report))).is_ok();
        work_slowly(&slow_path, &from_us_slow, &tell);
    });
    let mut beside: Vec<JoinHandle<()>> = Vec::new();
    let mut send = |errand: Errand| {
        let lane = match errand.order.sort() {
            Sort::Beside => {
                beside.retain(|thread| !thread.is_finished());
                return beside.push(work_beside(&beside_path, errand, &beside_events));
            }
            Sort::Slow => &to_slow,
            _ => &to_worker,
        };
        let _ = lane.send(errand);
    };
    errands.into_iter().for_each(&mut send);
    let ms = |at: Instant| at.saturating_duration_since(began).as_millis() as u64;
    let end = loop {
        let wait = app.due_ms().saturating_sub(ms(Instant::now()));
        let mut next = match happened.recv_timeout(Duration::from_millis(wait)) {
            Ok(event) => Some(event),
            Err(mpsc::RecvTimeoutError::Timeout) => Some((Instant::now(), Event::Tick)),
            Err(mpsc::RecvTimeoutError::Disconnected) => break End::Fault,
        };
        // Everything that waits is taken before the next frame is drawn.
        while let Some((at, event)) = next {
            app.now = clock();
            app.wake(ms(at), event).into_iter().for_each(&mut send);
            if app.end.is_some() {
                break;
            }
            next = happened.try_recv().ok();
        }
        if let Some(end) = app.end {
            break end;
        }
        if app.suspend {
            app.suspend = false;
            give_back()?;
            stop_here();
            app.retake = true;
        }
        if app.retake {
            app.retake = false;
            taken.again()?;
        }
        if std::mem::take(&mut app.rings) {
            io::stdout().write_all(b"\x07")?;
        }
        if app.stale() {
            taken.draw(&app)?;
        }
    };
    // What was ordered last (a draft, a write, a label, which waits for no printer) is finished before the program goes.
    drop(to_worker);
    drop(taken);
    if end != End::Fault {
        let _ = worker.join();
        beside.into_iter().for_each(|thread| drop(thread.join()));
    }
    Ok(end)
}

/// Does one order in a thread of its own, on a connection of its own.
fn work_beside(path: &Path, errand: Errand, events: &mpsc::Sender<(Instant, Event)>) -> JoinHandle<()> {
    let (path, events) = (path.to_path_buf(), events.clone());
    std::thread::spawn(move || {
        let (one, from_us) = mpsc::channel();
        if one.send(errand).is_ok() {
            drop(one);
            let tell = |report| events.send((Instant::now(), Event::Answer(report))).is_ok();
            work_slowly(&path, &from_us, &tell);
        }
    })
}

/// How the scanner sends, where that was learned.
pub fn known_habits(file: &std::path::Path) -> Option<Habits> {
    use std::io::Read;
    let mut text = String::new();
    records::file::paths::open_plain(file).ok()?.take(10_000).read_to_string(&mut text).ok()?;
    let habits = serde_json::from_str::<Habits>(&text).ok().filter(|h| (30..=400).contains(&h.wait_ms))?;
    // Shorter waits were learned once; letters of a code acted as keys by them.
    Some(Habits { wait_ms: habits.wait_ms.max(WAIT_MS), ..habits })
}

/// Each key with the moment at which it was read: what a busy machine does later changes nothing of it.
fn listen_to_keys(events: mpsc::Sender<(Instant, Event)>) {
    std::thread::spawn(move || {
        while let Ok(event) = event::read() {
            let event = match event {
                event::Event::Key(key) => match Press::from_event(&key) {
                    Some(press) => Event::Key(press),
                    None => continue,
                },
                event::Event::Paste(text) => Event::Paste(text),
                event::Event::Resize(width, height) => Event::Resize(width, height),
                _ => continue,
            };
            if events.send((Instant::now(), event)).is_err() {
                return;
            }
        }
        // The terminal is gone.
        let _ = events.send((Instant::now(), Event::Signal(1)));
    });
}

#[cfg(unix)]
fn listen_to_signals(events: mpsc::Sender<(Instant, Event)>) -> io::Result<()> {
    use signal_hook::consts::{SIGCONT, SIGHUP, SIGINT, SIGTERM, SIGTSTP};
    let mut signals = signal_hook::iterator::Signals::new([SIGTERM, SIGHUP, SIGINT, SIGTSTP, SIGCONT])?;
    std::thread::spawn(move || {
        for signal in signals.forever() {
            let event = match signal {
                SIGTSTP => Event::Key(Press::Ctrl('z')),
                SIGCONT => Event::Resumed,
                other => Event::Signal(other),
            };
            if events.send((Instant::now(), event)).is_err() {
                return;
            }
        }
    });
    Ok(())
}

#[cfg(not(unix))]
fn listen_to_signals(_events: mpsc::Sender<(Instant, Event)>) -> io::Result<()> {
    Ok(())
}

/// Stops the program until the shell calls it back.
#[cfg(unix)]
fn stop_here() {
    let _ = signal_hook::low_level::emulate_default_handler(signal_hook::consts::SIGTSTP);
}

#[cfg(not(unix))]
fn stop_here() {}
