//! The terminal: taken, given back whatever happens, and the loop between it and the machine.

use std::io::{self, Stdout, Write};
use std::path::PathBuf;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::mpsc;
use std::time::{Duration, Instant};

use crossterm::event::{self, DisableBracketedPaste, EnableBracketedPaste, Event};
use crossterm::terminal::{
    Clear, ClearType, EnterAlternateScreen, LeaveAlternateScreen, disable_raw_mode, enable_raw_mode,
};
use crossterm::{cursor, execute};
use ratatui::Terminal;
use ratatui::backend::CrosstermBackend;

use crate::ui::app::{App, End, Wake};
use crate::ui::effect;
use crate::ui::effect::Order;
use crate::ui::frame;
use crate::ui::keys::Press;
use crate::ui::theme::Theme;
use records::Stamp;
use records::Store;

/// What the screens start with.
pub struct Start {
    /// The store's file.
    pub path: PathBuf,
    /// The store.
    pub store: Store,
    /// Who works here, where it was said.
    pub who: Option<String>,
    /// The clock.
    pub clock: Box<dyn Fn() -> Stamp>,
    /// The clock stands still: it is a demo store's.
    pub demo: bool,
    /// The store's clock is given from outside.
    pub clock_given: bool,
    /// The time is given in place of a running clock; this is what the machine's own says.
    pub given: Option<Stamp>,
}

/// How many columns the terminal has; nothing where there is none.
#[must_use]
pub fn columns() -> Option<u16> {
    crossterm::terminal::size().ok().map(|(columns, _)| columns).filter(|c| *c > 0)
}

/// A terminal in our hands; given back when this goes.
pub struct Taken(Terminal<CrosstermBackend<Stdout>>);

impl Taken {
    /// Takes the terminal, and makes a panic of this thread give it back before it is told.
    ///
    /// # Errors
    /// It is no terminal.
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
///
/// # Errors
/// The terminal cannot be used.
pub fn run(start: Start) -> io::Result<End> {
    let theme = Theme::from_environment(|name| std::env::var(name).ok());
    let (wakes, woken) = mpsc::channel::<Wake>();
    let mut taken = Taken::take()?;
    let clock = start.clock;
    let (mut app, orders) = App::new(clock(), start.who, theme, start.demo);
    (app.clock_given, app.given) = (start.clock_given, start.given);
    // The first frame stands before anything is read.
    taken.draw(&app)?;
    listen_to_keys(wakes.clone());
    listen_to_signals(wakes.clone())?;
    let (to_worker, from_us) = mpsc::channel::<Order>();
    let (path, store) = (start.path, start.store);
    let (slow_path, slow_wakes) = (path.clone(), wakes.clone());
    let worker = std::thread::spawn(move || {
        effect::work(&path, store, &from_us, &|report| wakes.send(Wake::Answer(report)).is_ok());
    });
    let (to_slow, from_us_slow) = mpsc::channel::<Order>();
    std::thread::spawn(move || {
        effect::work_slowly(&slow_path, &from_us_slow, &|report| {
            slow_wakes.send(Wake::Answer(report)).is_ok()
        });
    });
    let send = |order: Order| {
        let lane = if order.ask.is_slow() { &to_slow } else { &to_worker };
        let _ = lane.send(order);
    };
    orders.into_iter().for_each(send);
    let began = Instant::now();
    let ms = || began.elapsed().as_millis() as u64;
    let end = loop {
        let wait = app.due_ms().saturating_sub(ms());
        let mut next = match woken.recv_timeout(Duration::from_millis(wait)) {
            Ok(wake) => Some(wake),
            Err(mpsc::RecvTimeoutError::Timeout) => Some(Wake::Tick),
            Err(mpsc::RecvTimeoutError::Disconnected) => break End::Fault,
        };
        // Everything that waits is taken before the next frame is drawn.
        while let Some(wake) = next {
            app.now = clock();
            app.wake(ms(), wake).into_iter().for_each(send);
            if app.end.is_some() {
                break;
            }
            next = woken.try_recv().ok();
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
        taken.draw(&app)?;
    };
    // What was ordered last (a draft, a write) is finished before the program goes.
    drop(to_worker);
    drop(taken);
    if end != End::Fault {
        let _ = worker.join();
    }
    Ok(end)
}

fn listen_to_keys(wakes: mpsc::Sender<Wake>) {
    std::thread::spawn(move || {
        while let Ok(event) = event::read() {
            let wake = match event {
                Event::Key(key) => match Press::from_event(&key) {
                    Some(press) => Wake::Key(press),
                    None => continue,
                },
                Event::Paste(text) => Wake::Paste(text),
                Event::Resize(..) => Wake::Resize,
                _ => continue,
            };
            if wakes.send(wake).is_err() {
                return;
            }
        }
        // The terminal is gone.
        let _ = wakes.send(Wake::Signal(1));
    });
}

#[cfg(unix)]
fn listen_to_signals(wakes: mpsc::Sender<Wake>) -> io::Result<()> {
    use signal_hook::consts::{SIGCONT, SIGHUP, SIGINT, SIGTERM, SIGTSTP};
    let mut signals = signal_hook::iterator::Signals::new([SIGTERM, SIGHUP, SIGINT, SIGTSTP, SIGCONT])?;
    std::thread::spawn(move || {
        for signal in signals.forever() {
            let wake = match signal {
                SIGTSTP => Wake::Key(Press::Ctrl('z')),
                SIGCONT => Wake::Resumed,
                other => Wake::Signal(other),
            };
            if wakes.send(wake).is_err() {
                return;
            }
        }
    });
    Ok(())
}

#[cfg(not(unix))]
fn listen_to_signals(_wakes: mpsc::Sender<Wake>) -> io::Result<()> {
    Ok(())
}

/// Stops the program until the shell calls it back.
#[cfg(unix)]
fn stop_here() {
    let _ = signal_hook::low_level::emulate_default_handler(signal_hook::consts::SIGTSTP);
}

#[cfg(not(unix))]
fn stop_here() {}
