//! The machine: a stack of screens, one closed set of things that can wake it, effects as data.
//!
//! [`App`] is plain state: it has no terminal, no store and no clock of its own, so every test can
//! drive it. `run` in `terminal.rs` feeds it and carries its orders to the worker.

pub(crate) mod global_keys;
pub(crate) mod stack;

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};

use crate::jobs::furnace::screen::Furnace;
use crate::jobs::records::drafts::Draft;
use crate::ui::effect::{Ask, Effect, Open, Order, Report, Told};
use crate::ui::help::Help;
use crate::ui::keys;
use crate::ui::keys::{Press, Shown};
use crate::ui::line::Purpose;
use crate::ui::scan;
use crate::ui::scan::{Input, Scanner};
use crate::ui::screen::{Screen, Situation};
use crate::ui::theme::{Role, Theme};
use records::Stamp;
use records::{Proof, Who};

/// Everything that can wake the machine.
#[derive(Debug)]
pub enum Wake {
    /// A key.
    Key(Press),
    /// A paste.
    Paste(String),
    /// The window has another size.
    Resize,
    /// The program was stopped and is called back: the terminal must be taken again.
    Resumed,
    /// The system asks the program to end; the number of the signal.
    Signal(i32),
    /// The worker answers.
    Answer(Report),
    /// Time went by.
    Tick,
}

/// How the machine ends.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum End {
    /// The person left.
    Quit,
    /// By this signal.
    Signal(i32),
    /// By a fault of the program.
    Fault,
}

/// What was last saved.
#[derive(Clone, Debug)]
pub struct Saved {
    /// The sentence.
    pub text: String,
    /// When, in milliseconds since the start.
    pub at_ms: u64,
}

/// Milliseconds without a key after which a PIN must be given again.
pub const PIN_MS: u64 = 300_000;

/// Milliseconds within which a key takes the last entry back.
pub const UNDO_MS: u64 = 60_000;

use crate::ui::app::global_keys::{Everywhere, KEYS};

struct Layer {
    id: u64,
    screen: Box<dyn Screen>,
}

/// An order that has not been answered.
struct Waiting {
    job: u64,
    to: u64,
    ask: Ask,
    stop: Arc<AtomicBool>,
    since_ms: u64,
}

/// The state of the whole program on a screen.
pub struct App {
    layers: Vec<Layer>,
    next: u64,
    scanner: Scanner,
    waiting: Vec<Waiting>,
    drafts: Vec<Draft>,
    /// The look.
    pub theme: Theme,
    /// The clock, set from outside before each wake.
    pub now: Stamp,
    /// The store's clock stands still, and is shown.
    pub demo: bool,
    /// The store's clock is given from outside, and that is said.
    pub clock_given: bool,
    /// The time was given in place of a running clock; this is what the machine's own says.
    pub given: Option<Stamp>,
    /// The PIN that was given, as long as it lasts.
    proof: Option<Proof>,
    /// When the last key was pressed, in milliseconds since the start.
    key_ms: u64,
    /// What waits for a PIN: the screen that asked, and what.
    unproven: Option<(u64, Ask)>,
    /// Who works here.
    pub who: Option<String>,
    /// Milliseconds since the start.
    pub at_ms: u64,
    /// What was last saved.
    pub saved: Option<Saved>,
    /// The sentence in the status line.
    pub notice: Option<(Role, String)>,
    /// Codes scanned since the start.
    pub codes: u64,
    /// Set where the program is to end.
    pub end: Option<End>,
    /// Set where the program is to stop until it is called back.
    pub suspend: bool,
    /// Set where the terminal must be taken again.
    pub retake: bool,
}

impl App {
    /// The machine with the furnace desk on it, and its first orders.
    #[must_use]
    pub fn new(now: Stamp, who: Option<String>, theme: Theme, demo: bool) -> (Self, Vec<Order>) {
        let mut app = Self {
            layers: Vec::new(),
            next: 1,
            scanner: Scanner::default(),
            waiting: Vec::new(),
            drafts: Vec::new(),
            theme,
            now,
            demo,
            clock_given: false,
            given: None,
            proof: None,
            key_ms: 0,
            unproven: None,
            who,
            at_ms: 0,
            saved: None,
            notice: None,
            codes: 0,
            end: None,
            suspend: false,
            retake: false,
        };
        let mut orders = Vec::new();
        app.lay(Box::new(Furnace::default()), &mut orders);
        let first = app.layers[0].id;
        app.order(first, Ask::Drafts, &mut orders);
        (app, orders)
    }

    /// Takes what woke it; gives orders for the worker.
    pub fn wake(&mut self, at_ms: u64, wake: Wake) -> Vec<Order> {
        self.at_ms = at_ms;
        let mut orders = Vec::new();
        match wake {
            Wake::Key(press) => {
                if at_ms.saturating_sub(self.key_ms) > PIN_MS {
                    self.proof = None;
                }
                self.key_ms = at_ms;
                for input in self.scanner.press(at_ms, press) {
                    self.input(input, &mut orders);
                }
            }
            Wake::Paste(text) => self.paste(&text, &mut orders),
            Wake::Resize => {}
            Wake::Resumed => self.retake = true,
            Wake::Signal(n) => {
                self.leave(&mut orders);
                self.end = Some(End::Signal(n));
            }
            Wake::Answer(report) => self.answer(report, &mut orders),
            Wake::Tick => {
                for input in self.scanner.tick(at_ms) {
                    self.input(input, &mut orders);
                }
                self.with_top(|s, now| s.tick(now), &mut orders);
            }
        }
        orders
    }

    /// When a tick is needed next, in milliseconds since the start.
    #[must_use]
    pub fn due_ms(&self) -> u64 {
        let calm = self.at_ms + 200;
        self.scanner.due_ms().map_or(calm, |due| due.min(calm))
    }

    fn situation(&self) -> Situation {
        Situation { now: self.now, at_ms: self.at_ms, who: self.who() }
    }

    fn who(&self) -> Who {
        let lasts = self.at_ms.saturating_sub(self.key_ms) <= PIN_MS;
        let proof = self.proof.clone().filter(|_| lasts);
        Who { given: self.given, proof, asks: true, ..Who::new(self.who.clone(), self.now) }
    }

    fn input(&mut self, input: Input, orders: &mut Vec<Order>) {
        match input {
            Input::Code(code) => self.code(code, orders),
            Input::Press(press) => self.press(press, orders),
        }
    }

    /// A code goes to the worker first: what it is decides where it goes.
    fn code(&mut self, code: String, orders: &mut Vec<Order>) {
        self.codes += 1;
        let to = self.layers.last().map_or(0, |l| l.id);
        self.order(to, Ask::LookUp(code), orders);
    }

    fn press(&mut self, press: Press, orders: &mut Vec<Order>) {
        self.notice = None;
        match press {
            Press::Ctrl('c') => {
                self.leave(orders);
                self.end = Some(End::Quit);
                return;
            }
            Press::Ctrl('z') => {
                self.suspend = true;
                return;
            }
            Press::F(1) => return self.everywhere(Everywhere::Help, orders),
            _ => {}
        }
        let takes_text = self.layers.last().is_some_and(|l| l.screen.takes_text());
        if !takes_text {
            if let Some(what) = keys::dispatch(KEYS, self, press) {
                let helped = self.layers.last().is_some_and(|l| l.screen.is_help());
                if !helped || matches!(what, Everywhere::Quit) {
                    return self.everywhere(what, orders);
                }
            }
        }
        self.with_top(|s, now| s.press(press, now), orders);
    }

    fn everywhere(&mut self, what: Everywhere, orders: &mut Vec<Order>) {
        match what {
            Everywhere::Undo => {
                let who = self.who();
                let to = self.layers.last().map_or(0, |l| l.id);
                if !self.waiting.iter().any(|w| matches!(w.ask, Ask::Undo(_))) {
                    self.order(to, Ask::Undo(who), orders);
                }
            }
            Everywhere::Drafts => {
                if let Some(draft) = self.drafts.first().cloned() {
                    self.open(Open::Draft(draft), orders);
                }
            }
            Everywhere::Find => self.open(Open::Line(Purpose::Find), orders),
            Everywhere::Trace => self.open(Open::Line(Purpose::Trace), orders),
            Everywhere::Charts => {
                if let Some((ask, reading)) = self.layers.last().and_then(|l| l.screen.charts()) {
                    self.open(Open::Charts(ask, reading), orders);
                }
            }
            Everywhere::Who => self.open(Open::Line(Purpose::Who), orders),
            Everywhere::Look => self.theme = self.theme.next(),
            Everywhere::Help => {
                if self.layers.last().is_some_and(|l| l.screen.is_help()) {
                    return;
                }
                let (title, own) =
                    self.layers.last().map(|l| (l.screen.title(), l.screen.keys())).unwrap_or_default();
                let takes_text = self.layers.last().is_some_and(|l| l.screen.takes_text());
                let general = if takes_text { Vec::new() } else { keys::shown(KEYS, self) };
                self.lay(Box::new(Help::new(title, own, general)), orders);
            }
            Everywhere::Quit => {
                self.leave(orders);
                self.end = Some(End::Quit);
            }
        }
    }

    /// What is half filled in is kept before the program ends.
    fn leave(&mut self, orders: &mut Vec<Order>) {
        for i in 0..self.layers.len() {
            if let Some(draft) = self.layers[i].screen.draft(&self.situation()) {
                let to = self.layers[i].id;
                self.order(to, Ask::Keep(draft), orders);
            }
        }
    }

    fn paste(&mut self, text: &str, orders: &mut Vec<Order>) {
        let lines = scan::clean_lines(text);
        if lines.is_empty() {
            return;
        }
        if self.layers.last().is_some_and(|l| l.screen.takes_text()) {
            self.with_top(|s, now| s.paste(&lines, now), orders);
        } else {
            for line in lines.into_iter().take(500) {
                self.code(line, orders);
            }
        }
    }

    fn answer(&mut self, report: Report, orders: &mut Vec<Order>) {
        let asked = self.waiting.iter().position(|w| w.job == report.job).map(|i| self.waiting.remove(i));
        match (report.told, asked) {
            // The screen that asked hears of it when the PIN was given, or not.
            (Told::WantsPin(sentence), Some(asked)) => {
                self.unproven = Some((report.to, asked.ask));
                self.notice = Some((Role::Look, sentence));
                self.open(Open::Line(Purpose::Prove), orders);
            }
            (Told::Proven(proof, told), asked) => {
                self.proof = Some(proof);
                self.hear(Report { told: *told, ..report }, asked, orders);
            }
            (told, asked) => self.hear(Report { told, ..report }, asked, orders),
        }
    }

    fn hear(&mut self, report: Report, asked: Option<Waiting>, orders: &mut Vec<Order>) {
        // A ranking that was stopped, or that a newer question overtook.
        if asked.is_none() && matches!(report.told, Told::Causes(_) | Told::Drawn(_) | Told::Failed { .. }) {
            return;
        }
        match &report.told {
            Told::Logged(logged) => {
                let name = logged.tag.as_deref().or(logged.address.as_deref()).unwrap_or("");
                let time = logged.recorded_at.get(11..19).unwrap_or("");
                self.saved = Some(Saved { text: format!("saved {name} at {time}"), at_ms: self.at_ms });
                if logged.proposal {
                    let text = format!("proposal {}", logged.entry);
                    self.saved = Some(Saved { text, at_ms: self.at_ms });
                    let frees = logged.frees.join(", and ");
                    let said = format!(
                        "nothing is changed: this {frees}; quality decides proposal {}",
                        logged.entry
                    );
                    self.notice = Some((Role::Look, said));
                }
                if !logged.guards.is_empty() {
                    self.notice = Some((Role::Look, logged.guards.join("; ")));
                }
            }
            Told::Undone(what) => {
                self.saved = None;
                let role = if what.proposed { Role::Look } else { Role::Good };
                self.notice = Some((role, what.said.clone()));
            }
            Told::AnswerKept(answer) => {
                self.notice =
                    Some((Role::Good, format!("kept as answer {answer}; a on the cause desk finds it")));
            }
            Told::Drafts(drafts) => {
                self.drafts.clone_from(drafts);
                let highest = drafts.iter().map(|d| d.id).max().unwrap_or(0);
                self.next = self.next.max(highest + 1);
                // A program that was stopped comes back to the form that was open.
                if let Some(draft) = drafts.last().cloned() {
                    self.open(Open::Draft(draft), orders);
                    self.notice = Some((Role::Look, "a half-filled form came back".into()));
                }
                return;
            }
            Told::Found(code, found) => return self.found(report.to, code, found.clone(), orders),
            Told::Died(sentence) => {
                self.notice = Some((Role::Bad, sentence.clone()));
                self.end = Some(End::Fault);
                return;
            }
            Told::Failed { sentence, .. } => {
                if asked.is_some_and(|w| w.stop.load(Ordering::Relaxed)) {
                    return;
                }
                self.notice = Some((Role::Bad, sentence.clone()));
            }
            _ => {}
        }
        // What was written concerns every screen that lists it.
        let all = matches!(report.told, Told::Logged(_) | Told::Undone(_) | Told::Release(..));
        let situation = self.situation();
        let ids: Vec<u64> = self.layers.iter().map(|l| l.id).collect();
        for id in ids {
            let Some(layer) = self.layers.iter_mut().find(|l| l.id == id) else { continue };
            if all || id == report.to {
                let effects = layer.screen.told(&report.told, id == report.to, &situation);
                self.effects(id, effects, orders);
            }
        }
    }

    fn found(&mut self, to: u64, code: &str, found: Option<(&'static str, String)>, orders: &mut Vec<Order>) {
        if let Some(("people", tag)) = &found {
            let asks = self.layers.last().is_some_and(|l| l.screen.wants_person());
            // Somebody else's badge: what waited for a PIN was not theirs.
            if self.unproven.is_some() {
                self.close(self.layers.last().map_or(0, |l| l.id), orders);
                self.prove(None, orders);
            }
            self.be(tag.clone());
            if asks {
                self.close(self.layers.last().map_or(0, |l| l.id), orders);
            }
            return;
        }
        let situation = self.situation();
        let place =
            self.layers.iter().position(|l| l.id == to).unwrap_or(self.layers.len().saturating_sub(1));
        let Some(layer) = self.layers.get_mut(place) else { return };
        let (id, effects) = (layer.id, layer.screen.code(code, found, &situation));
        self.effects(id, effects, orders);
    }

    fn be(&mut self, person: String) {
        self.notice = Some((Role::Good, format!("{person} works here now")));
        if !self.who.as_deref().is_some_and(|w| w.eq_ignore_ascii_case(&person)) {
            self.proof = None;
        }
        self.who = Some(person);
    }

    fn with_top(
        &mut self,
        act: impl FnOnce(&mut dyn Screen, &Situation) -> Vec<Effect>,
        orders: &mut Vec<Order>,
    ) {
        let situation = self.situation();
        let Some(top) = self.layers.last_mut() else { return };
        let (id, effects) = (top.id, act(top.screen.as_mut(), &situation));
        self.effects(id, effects, orders);
    }

    fn effects(&mut self, from: u64, effects: Vec<Effect>, orders: &mut Vec<Order>) {
        for effect in effects {
            match effect {
                Effect::Ask(ask) => self.order(from, ask, orders),
                Effect::Open(open) => self.open(open, orders),
                Effect::Close => self.close(from, orders),
                Effect::Say(role, text) => self.notice = Some((role, text)),
                Effect::Be(person) => self.be(person),
                Effect::Prove(pin) => self.prove(pin, orders),
            }
        }
    }

    /// Goes on with what waited for a PIN; without one it is not done.
    fn prove(&mut self, pin: Option<String>, orders: &mut Vec<Order>) {
        let Some((to, ask)) = self.unproven.take() else { return };
        if let Some(pin) = pin {
            self.order(to, Ask::Proven(self.who(), pin, Box::new(ask)), orders);
            return;
        }
        let sentence = "not done: it needs your PIN".to_string();
        let told = Told::Failed { sentence, wants_reason: false };
        let asked = Waiting { job: 0, to, ask, stop: Arc::default(), since_ms: self.at_ms };
        self.hear(Report { to, job: 0, told }, Some(asked), orders);
    }

    /// Seconds left in which the last entry can be taken back.
    #[must_use]
    pub fn undo_left_s(&self) -> Option<u64> {
        let age = self.at_ms.saturating_sub(self.saved.as_ref()?.at_ms);
        (age < UNDO_MS).then(|| (UNDO_MS - age).div_ceil(1000))
    }

    /// What is being waited for longer than a moment: a write, and for how many seconds.
    #[must_use]
    pub fn slow(&self) -> Option<(bool, u64)> {
        let writes = self.waiting.iter().filter(|w| !w.ask.keeps() && !w.ask.is_slow());
        let oldest = writes.min_by_key(|w| (!w.ask.writes(), w.since_ms))?;
        let ms = self.at_ms.saturating_sub(oldest.since_ms);
        (ms >= 700).then_some((oldest.ask.writes(), ms / 1000))
    }

    /// Nothing is being waited for.
    #[must_use]
    pub fn is_idle(&self) -> bool {
        self.waiting.is_empty()
    }

    /// A record is being written.
    #[must_use]
    pub fn is_writing(&self) -> bool {
        self.waiting.iter().any(|w| w.ask.writes() || w.ask.keeps())
    }

    /// The screen on top, and the one below it where the top one leaves it in sight.
    #[must_use]
    pub fn in_sight(&self) -> Vec<&dyn Screen> {
        let first = self.layers.iter().rposition(|l| !l.screen.is_dialog()).unwrap_or(0);
        self.layers[first..].iter().map(|l| l.screen.as_ref()).collect()
    }

    /// The keys that the footer shows: those of the top screen, then those that work everywhere.
    #[must_use]
    pub fn footer(&self) -> Vec<Shown> {
        let Some(top) = self.layers.last() else { return Vec::new() };
        let mut out = top.screen.keys();
        if !top.screen.takes_text() && !top.screen.is_help() {
            out.extend(keys::shown(KEYS, self));
        } else if !top.screen.is_help() {
            out.push(Shown { key: "F1".into(), label: "help", help: "", works: true });
        }
        out
    }
}
