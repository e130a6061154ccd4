//! The machine: a stack of screens, one closed set of things that can wake it, effects as data.
//!
//! [`App`] is plain state: it has no terminal, no store and no clock of its own, so every test can
//! drive it. `run` in `terminal.rs` feeds it and carries its orders to the worker.

pub(crate) mod global_keys;
pub(crate) mod stack;

use records::catalogue::People;
use std::sync::Arc;
use std::sync::atomic::AtomicBool;

use crate::ui::app::global_keys::GlobalKey;
use crate::ui::effect::Effect;
use crate::ui::form::drafts::{AskDrafts, Draft, KeepDraft};
use crate::ui::help::Help;
use crate::ui::keys::{Press, Shown, plain};
use crate::ui::order::{AnyOrder, Failure, Found, Lead, LookUp, Reply, Said, Sort, Undone, Written};
use crate::ui::prompt::Prompt;
use crate::ui::scan;
use crate::ui::scan::{Input, Scanner};
use crate::ui::screen::{Change, Context, House, Offer, Screen};
use crate::ui::strip::{STRIP, Strip};
use crate::ui::theme::{Role, Theme};
use crate::ui::worker::{Errand, Outcome, Pin, Report};
use records::Stamp;
use records::{Proof, Who};

/// Everything that can wake the machine.
#[derive(Debug)]
pub enum Event {
    Key(Press),
    Paste(String),
    /// The window has another size.
    Resize,
    /// The program was stopped and is called back: the terminal must be taken again.
    Resumed,
    /// The system asks the program to end; the number of the signal.
    Signal(i32),
    Answer(Report),
    /// Time went by.
    Tick,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum End {
    /// The person left.
    Quit,
    Signal(i32),
    /// By a fault of the program.
    Fault,
}

#[derive(Clone, Debug)]
pub struct Saved {
    pub text: String,
    /// When, in milliseconds since the start.
    pub at_ms: u64,
}

/// Milliseconds without a key after which a PIN must be given again.
pub const PIN_MS: u64 = 300_000;

/// Milliseconds within which a key takes the last entry back.
pub const UNDO_MS: u64 = 60_000;

struct Layer {
    id: u64,
    screen: Box<dyn Screen>,
}

/// An order that has not been answered.
struct Waiting {
    job: u64,
    to: u64,
    order: Box<dyn AnyOrder>,
    stop: Arc<AtomicBool>,
    since_ms: u64,
    /// The screen that asked went away with asking: that it failed is no news of the one below.
    left: bool,
}

/// The state of the whole program on a screen.
pub struct App {
    house: &'static House,
    layers: Vec<Layer>,
    next: u64,
    scanner: Scanner,
    waiting: Vec<Waiting>,
    drafts: Vec<Draft>,
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
    unproven: Option<(u64, Box<dyn AnyOrder>)>,
    pub who: Option<String>,
    pub at_ms: u64,
    pub saved: Option<Saved>,
    /// The sentence in the status line.
    pub notice: Option<(Role, String)>,
    /// Codes scanned since the start.
    pub codes: u64,
    /// What stands below the title of every screen.
    pub(crate) strip: Box<dyn Strip>,
    /// When it was asked last, in milliseconds since the start.
    pub(crate) strip_ms: u64,
    /// It is to be asked once more after the answer that is on its way.
    pub(crate) strip_again: bool,
    /// A bell is wanted.
    pub bell: bool,
    /// Set where it is to be rung.
    pub rings: bool,
    /// Something happened since the last frame.
    pub(crate) touched: bool,
    /// The second by the clock and the millisecond since the start of the last frame.
    pub(crate) drawn: (i64, u64),
    /// Set where the program is to end.
    pub end: Option<End>,
    /// Set where the program is to stop until it is called back.
    pub suspend: bool,
    /// Set where the terminal must be taken again.
    pub retake: bool,
}

impl App {
    /// The machine with its first screen, and its first orders.
    pub fn new(
        now: Stamp,
        who: Option<String>,
        theme: Theme,
        demo: bool,
        house: &'static House,
    ) -> (Self, Vec<Errand>) {
        let mut app = Self {
            house,
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
            strip: (house.strip)(),
            strip_ms: 0,
            strip_again: false,
            bell: false,
            rings: false,
            touched: true,
            drawn: (0, 0),
            end: None,
            suspend: false,
            retake: false,
        };
        let mut errands = Vec::new();
        app.lay((house.first)(), &mut errands);
        app.order(app.top(), Box::new(AskDrafts), None, &mut errands);
        app.ask_strip(&mut errands);
        (app, errands)
    }

    /// Takes what woke it; gives orders for the worker.
    pub fn wake(&mut self, at_ms: u64, event: Event) -> Vec<Errand> {
        self.at_ms = at_ms;
        let mut errands = Vec::new();
        self.touched |= !matches!(event, Event::Tick);
        match event {
            Event::Key(press) => {
                if at_ms.saturating_sub(self.key_ms) > PIN_MS {
                    self.proof = None;
                }
                self.key_ms = at_ms;
                for input in self.scanner.press(at_ms, press) {
                    self.input(input, &mut errands);
                }
            }
            Event::Paste(text) => self.paste(&text, &mut errands),
            Event::Resize => {}
            Event::Resumed => self.retake = true,
            Event::Signal(n) => {
                self.leave(&mut errands);
                self.end = Some(End::Signal(n));
            }
            Event::Answer(report) => self.answer(report, &mut errands),
            Event::Tick => {
                for input in self.scanner.tick(at_ms) {
                    self.touched = true;
                    self.input(input, &mut errands);
                }
                self.with(self.top(), &mut errands, |s, now| s.tick(now));
                self.strip_tick(&mut errands);
            }
        }
        errands
    }

    /// When a tick is needed next, in milliseconds since the start.
    pub fn due_ms(&self) -> u64 {
        let calm = self.at_ms + 200;
        self.scanner.due_ms().map_or(calm, |due| due.min(calm))
    }

    fn context(&self, layer: u64) -> Context {
        Context { now: self.now, at_ms: self.at_ms, who: self.who(), layer }
    }

    fn who(&self) -> Who {
        let lasts = self.at_ms.saturating_sub(self.key_ms) <= PIN_MS;
        let proof = self.proof.clone().filter(|_| lasts);
        Who { given: self.given, proof, asks: true, ..Who::new(self.who.clone(), self.now) }
    }

    fn input(&mut self, input: Input, errands: &mut Vec<Errand>) {
        match input {
            Input::Code(code) => self.code(code, errands),
            Input::Press(press) => self.press(press, errands),
        }
    }

    /// A code goes to the worker first: what it is decides where it goes.
    fn code(&mut self, code: String, errands: &mut Vec<Errand>) {
        self.codes += 1;
        self.order(self.top(), Box::new(LookUp(code)), None, errands);
    }

    fn press(&mut self, press: Press, errands: &mut Vec<Errand>) {
        self.notice = None;
        match press {
            Press::Ctrl('c') => return self.global_key(GlobalKey::Quit, errands),
            Press::Ctrl('z') => {
                self.suspend = true;
                return;
            }
            Press::F(1) => return self.global_key(GlobalKey::Help, errands),
            _ => {}
        }
        if let Some(what) = self.global(press).filter(|_| !self.takes_text()) {
            if !self.helps() || matches!(what, GlobalKey::Quit) {
                return self.global_key(what, errands);
            }
        }
        self.with(self.top(), errands, |s, now| s.press(press, now));
    }

    fn takes_text(&self) -> bool {
        self.layers.last().is_some_and(|l| l.screen.takes_text())
    }

    /// Keys are being explained.
    fn helps(&self) -> bool {
        self.layers.last().is_some_and(|l| l.screen.is_help())
    }

    fn global_key(&mut self, what: GlobalKey, errands: &mut Vec<Errand>) {
        match what {
            GlobalKey::Undo => {
                let undo = (self.house.undo)(self.who());
                let sort = undo.as_any().type_id();
                if !self.waiting.iter().any(|w| w.order.as_any().type_id() == sort) {
                    self.order(self.top(), undo, None, errands);
                }
            }
            GlobalKey::Drafts => {
                if let Some(draft) = self.drafts.first().cloned() {
                    self.take_up(&draft, errands);
                }
            }
            GlobalKey::Find => self.lay(Box::new(Prompt::find()), errands),
            GlobalKey::Desk(desk) => {
                let Some(top) = self.layers.last() else { return };
                let screen = match top.screen.offers(desk.name) {
                    Offer::None => return,
                    Offer::Plain => (desk.open)(None),
                    Offer::From(start) => (desk.open)(Some(start)),
                };
                self.lay(screen, errands);
            }
            GlobalKey::Who => self.lay(Box::new(Prompt::who()), errands),
            GlobalKey::Look => self.theme = self.theme.next(),
            GlobalKey::Bell => {
                self.bell = !self.bell;
                let said =
                    if self.bell { "the bell rings a minute before a limit and at it" } else { "no bell" };
                self.notice = Some((Role::Good, said.into()));
            }
            GlobalKey::Help => {
                if self.helps() {
                    return;
                }
                let (title, own) =
                    self.layers.last().map(|l| (l.screen.title(), l.screen.keys())).unwrap_or_default();
                let general = if self.takes_text() { Vec::new() } else { self.global_keys() };
                self.lay(Box::new(Help::new(title, own, general)), errands);
            }
            GlobalKey::Quit => {
                self.leave(errands);
                self.end = Some(End::Quit);
            }
        }
    }

    /// What is half filled in is kept before the program ends.
    fn leave(&mut self, errands: &mut Vec<Errand>) {
        let kept = |l: &Layer| Some((l.id, l.screen.draft(&self.context(l.id))?));
        let drafts: Vec<(u64, Draft)> = self.layers.iter().filter_map(kept).collect();
        for (id, draft) in drafts {
            self.order(id, Box::new(KeepDraft(draft)), None, errands);
        }
    }

    fn paste(&mut self, text: &str, errands: &mut Vec<Errand>) {
        let lines = scan::clean_lines(text);
        if lines.is_empty() {
            return;
        }
        if self.takes_text() {
            self.with(self.top(), errands, |s, now| s.paste(&lines, now));
        } else {
            for line in lines.into_iter().take(500) {
                self.code(line, errands);
            }
        }
    }

    fn answer(&mut self, report: Report, errands: &mut Vec<Errand>) {
        let asked = self.waiting.iter().position(|w| w.job == report.job).map(|i| self.waiting.remove(i));
        let mut outcome = report.outcome;
        if let Outcome::Proven(proof, proven) = outcome {
            self.proof = Some(proof);
            outcome = *proven;
        }
        match (outcome, asked) {
            (Outcome::Died(sentence), _) => {
                self.notice = Some((Role::Bad, sentence));
                self.end = Some(End::Fault);
            }
            // It was stopped, or a newer question overtook it.
            (_, None) => {}
            // The screen that asked hears of it when the PIN was given, or not.
            (Outcome::WantsPin(sentence), Some(asked)) => {
                self.unproven = Some((report.to, asked.order));
                self.notice = Some((Role::Look, sentence));
                self.lay(Box::new(Prompt::pin()), errands);
            }
            (Outcome::Failed(failure), Some(asked)) if asked.left => {
                self.notice = Some((Role::Bad, failure.sentence));
            }
            (Outcome::Failed(failure), Some(_)) => self.failed(report.to, failure, errands),
            (Outcome::Done(reply), Some(_)) => self.heard(report.to, reply, errands),
            (Outcome::Proven(..), Some(_)) => {}
        }
    }

    fn failed(&mut self, to: u64, failure: Failure, errands: &mut Vec<Errand>) {
        if to == STRIP {
            return;
        }
        self.notice = Some((Role::Bad, failure.sentence.clone()));
        self.with(to, errands, |s, now| s.failed(&failure, now));
    }

    fn heard(&mut self, to: u64, mut reply: Reply, errands: &mut Vec<Errand>) {
        if to == STRIP {
            return self.strip_reply(reply, errands);
        }
        if let Some(Found(code, found)) = reply.take() {
            return self.found(to, &code, found, errands);
        }
        if let Some(written) = reply.take::<Written>() {
            if !written.entries.is_empty() {
                self.saved = Some(Saved { text: written.said, at_ms: self.at_ms });
                self.notice = written.notice.map(|text| (Role::Look, text)).or(self.notice.take());
                self.changed(&Change::Written, to, errands);
            }
            return;
        }
        if let Some(undone) = reply.take::<Undone>() {
            self.saved = None;
            let role = if undone.proposed { Role::Look } else { Role::Good };
            self.notice = Some((role, undone.said));
            return self.changed(&Change::Undone(undone.freed), to, errands);
        }
        // It was kept; that is all there is to say.
        if reply.take::<()>().is_some() {
            return;
        }
        if let Some(Said(role, sentence)) = reply.take() {
            self.notice = Some((role, sentence));
            return;
        }
        if let Some(drafts) = reply.take::<Vec<Draft>>() {
            let highest = drafts.iter().map(|d| d.id).max().unwrap_or(0);
            self.next = self.next.max(highest + 1);
            self.drafts = drafts;
            // A program that was stopped comes back to the form that was open.
            if let Some(draft) = self.drafts.last().cloned() {
                self.take_up(&draft, errands);
                self.notice = Some((Role::Look, "draft restored".into()));
            }
            return;
        }
        self.with(to, errands, |s, now| s.reply(reply, now));
    }

    /// What was written concerns every screen that lists it.
    fn changed(&mut self, change: &Change, to: u64, errands: &mut Vec<Errand>) {
        let ids: Vec<u64> = self.layers.iter().map(|l| l.id).collect();
        for id in ids {
            self.with(id, errands, |s, now| s.changed(change, id == to, now));
        }
        self.ask_strip(errands);
    }

    fn found(&mut self, to: u64, code: &str, found: Lead, errands: &mut Vec<Errand>) {
        if let Some((People::NAME, tag)) = &found {
            let asks = self.layers.last().is_some_and(|l| l.screen.wants_person());
            // Somebody else's badge: what waited for a PIN was not theirs.
            if self.unproven.is_some() {
                self.close(self.top(), errands);
                self.prove(None, errands);
            }
            self.set_person(tag.clone());
            if asks {
                self.close(self.top(), errands);
            }
            return;
        }
        let to = if self.layers.iter().any(|l| l.id == to) { to } else { self.top() };
        self.with(to, errands, |s, now| s.code(code, found, now));
    }

    fn set_person(&mut self, person: String) {
        self.notice = Some((Role::Good, format!("{person} works here now")));
        if !self.who.as_deref().is_some_and(|w| w.eq_ignore_ascii_case(&person)) {
            self.proof = None;
        }
        self.who = Some(person);
    }

    fn effects(&mut self, from: u64, effects: Vec<Effect>, errands: &mut Vec<Errand>) {
        for effect in effects {
            match effect {
                Effect::Ask(order) => self.order(from, order, None, errands),
                Effect::Open(screen) => self.lay(screen, errands),
                Effect::Show(tag) => self.lay((self.house.record)(tag), errands),
                Effect::Close => self.close(from, errands),
                Effect::Say(role, text) => self.notice = Some((role, text)),
                Effect::SetPerson(person) => self.set_person(person),
                Effect::Prove(pin) => self.prove(pin, errands),
            }
        }
    }

    /// Goes on with what waited for a PIN; without one it is not done.
    fn prove(&mut self, typed: Option<String>, errands: &mut Vec<Errand>) {
        let Some((to, order)) = self.unproven.take() else { return };
        match typed {
            Some(typed) => {
                let pin = Pin { who: self.who(), typed, check: self.house.check_pin };
                self.order(to, order, Some(pin), errands);
            }
            None => self.failed(to, Failure::new("not done: it needs your PIN"), errands),
        }
    }

    /// Seconds left in which the last entry can be taken back.
    pub fn undo_left_s(&self) -> Option<u64> {
        let age = self.at_ms.saturating_sub(self.saved.as_ref()?.at_ms);
        (age < UNDO_MS).then(|| (UNDO_MS - age).div_ceil(1000))
    }

    /// What is being waited for longer than a moment: a write, and for how many seconds.
    pub fn slow(&self) -> Option<(bool, u64)> {
        let writes = |w: &Waiting| w.order.sort() == Sort::Write;
        let counts = |w: &&Waiting| w.to != STRIP && !matches!(w.order.sort(), Sort::Keep | Sort::Slow);
        let oldest = self.waiting.iter().filter(counts).min_by_key(|w| (!writes(w), w.since_ms))?;
        let ms = self.at_ms.saturating_sub(oldest.since_ms);
        (ms >= 700).then_some((writes(oldest), ms / 1000))
    }

    /// The screen on top, and the one below it where the top one leaves it in sight.
    pub fn in_sight(&self) -> Vec<&dyn Screen> {
        let first = self.layers.iter().rposition(|l| !l.screen.is_dialog()).unwrap_or(0);
        self.layers[first..].iter().map(|l| l.screen.as_ref()).collect()
    }

    /// The keys that the footer shows: those of the top screen, then those that work everywhere.
    pub fn footer(&self) -> Vec<Shown> {
        let Some(top) = self.layers.last() else { return Vec::new() };
        let mut out = top.screen.keys();
        if !self.takes_text() && !self.helps() {
            out.extend(self.global_keys());
        } else if !self.helps() {
            out.push(plain("F1", "help", ""));
        }
        out
    }
}
