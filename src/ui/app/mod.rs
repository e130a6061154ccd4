//! The machine: a stack of screens, one closed set of things that can wake it, effects as data.
//!
//! [`App`] is plain state: it has no terminal, no store and no clock of its own, so every test can
//! drive it. `run` in `terminal.rs` feeds it and carries its orders to the worker.

pub(crate) mod global_keys;
pub(crate) mod stack;

use records::catalogue::People;
use records::value::tag::folded;
use std::collections::VecDeque;
use std::sync::Arc;
use std::sync::atomic::AtomicBool;

use crate::ui::app::global_keys::GlobalKey;
use crate::ui::confirm::Question;
use crate::ui::effect::Effect;
use crate::ui::form::drafts::{AskDrafts, Draft, KeepDraft};
use crate::ui::form::drafts_screen::DraftList;
use crate::ui::help::Help;
use crate::ui::keys::{Press, Shown, plain};
use crate::ui::order::{
    AnyOrder, AskVersion, Failure, Found, Lead, LookUp, Reply, Said, Sort, Undone, Version, Written,
};
use crate::ui::prompt::{Greet, Greeting, Prompt};
use crate::ui::scan;
use crate::ui::scan::{Input, QUIET_MS, Scanner, Typed};
use crate::ui::scan_setup::ScanSetup;
use crate::ui::screen::{Change, Context, House, Offer, Screen};
use crate::ui::strip::{STRIP, Strip};
use crate::ui::theme::{Role, Theme};
use crate::ui::worker::{Errand, Outcome, Pin, Report};
use records::Stamp;
use records::value::time_text::TimeZone;
use records::{Proof, Who};

/// Everything that can wake the machine.
#[derive(Debug)]
pub enum Event {
    Key(Press),
    Paste(String),
    /// The window has so many columns and rows now.
    Resize(u16, u16),
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
    /// The form that it was written by: it comes back where the record is taken back.
    form: Option<Draft>,
    /// Who saved it: nobody else takes it back here.
    by: Option<String>,
}

/// Milliseconds without a key after which a PIN must be given again.
pub const PIN_MS: u64 = 300_000;

/// Milliseconds within which a key takes the last entry back.
pub const UNDO_MS: u64 = 60_000;

/// Milliseconds after which it is asked whether another program wrote.
const ELSEWHERE_MS: u64 = 1000;

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
    pub scanner: Scanner,
    /// What was typed and is looked up now, by which order; what comes in meanwhile waits.
    judging: Option<(u64, Typed)>,
    queue: VecDeque<Input>,
    /// What is done now was confirmed, or is a scan inside a run: it may write.
    may_write: bool,
    /// What the store's file said of itself when it was asked last, and when that was.
    version: Option<i64>,
    version_ms: u64,
    waiting: Vec<Waiting>,
    drafts: Vec<Draft>,
    pub theme: Theme,
    /// The clock, set from outside before each wake.
    pub now: Stamp,
    /// How the place keeps its time.
    pub zone: TimeZone,
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
    /// Letters inside a run that were no key there, and when the last of them came: a code that came too slowly.
    untaken: (String, u64),
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
    /// The window's columns and rows, where they are known.
    pub window: Option<(u16, u16)>,
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
            judging: None,
            queue: VecDeque::new(),
            may_write: false,
            version: None,
            version_ms: 0,
            waiting: Vec::new(),
            drafts: Vec::new(),
            theme,
            now,
            zone: TimeZone::default(),
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
            untaken: (String::new(), 0),
            strip: (house.strip)(),
            strip_ms: 0,
            strip_again: false,
            bell: false,
            rings: false,
            touched: true,
            drawn: (0, 0),
            window: None,
            end: None,
            suspend: false,
            retake: false,
        };
        let mut errands = Vec::new();
        app.lay((house.first)(), &mut errands);
        app.order(app.top(), Box::new(AskDrafts), None, &mut errands);
        app.ask_strip(&mut errands);
        if let Some(who) = app.who.clone() {
            app.order(app.top(), Box::new(Greet(who)), None, &mut errands);
        }
        (app, errands)
    }

    /// Takes what woke it; gives orders for the worker.
    pub fn wake(&mut self, at_ms: u64, event: Event) -> Vec<Errand> {
        self.at_ms = at_ms.max(self.at_ms);
        let mut errands = Vec::new();
        self.touched |= !matches!(event, Event::Tick);
        match event {
            Event::Key(press) => {
                if self.heard_raw(at_ms, press, &mut errands) {
                    return errands;
                }
                if at_ms.saturating_sub(self.key_ms) > PIN_MS {
                    self.proof = None;
                }
                self.key_ms = at_ms;
                let typing = self.types();
                let inputs = self.scanner.press(at_ms, press, typing);
                self.take(inputs, &mut errands);
            }
            Event::Paste(text) => self.paste(&text, &mut errands),
            Event::Resize(width, height) => self.window = Some((width, height)),
            Event::Resumed => self.retake = true,
            Event::Signal(n) => {
                self.leave(&mut errands);
                self.end = Some(End::Signal(n));
            }
            Event::Answer(report) => self.answer(report, &mut errands),
            Event::Tick => {
                let typing = self.types();
                let inputs = self.scanner.tick(at_ms, typing);
                self.touched |= !inputs.is_empty();
                self.take(inputs, &mut errands);
                self.with(self.top(), &mut errands, |s, now| s.tick(now));
                if self.at_ms.saturating_sub(self.version_ms) >= ELSEWHERE_MS {
                    self.version_ms = self.at_ms;
                    self.order(self.top(), Box::new(AskVersion), None, &mut errands);
                }
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
        let who = Who::new(self.who.clone(), self.now);
        Who { given: self.given, proof, asks: true, zone: self.zone, ..who }
    }

    /// A screen that is shown what the keyboard sends; true where nothing is pressed by it.
    fn heard_raw(&mut self, at_ms: u64, press: Press, errands: &mut Vec<Errand>) -> bool {
        let top = self.top();
        let heard = self.layers.last_mut().and_then(|l| l.screen.listens(at_ms, press));
        heard.map(|effects| self.effects(top, effects, errands)).is_some()
    }

    /// What came in, in its order; it waits while it is looked up what was typed before it.
    fn take(&mut self, inputs: Vec<Input>, errands: &mut Vec<Errand>) {
        for input in inputs {
            match input {
                // Whoever leaves does not wait for what is looked up.
                Input::Press(Press::Ctrl('c' | 'z')) if self.judging.is_some() => {
                    self.judging = None;
                    self.queue.clear();
                    self.queue.push_back(input);
                }
                input => self.queue.push_back(input),
            }
        }
        while self.judging.is_none() {
            let Some(input) = self.queue.pop_front() else { return };
            // What nobody can see is not done.
            let leaves = matches!(input, Input::Press(Press::Ctrl('c' | 'z')));
            if !leaves && self.is_out_of_sight() {
                self.notice =
                    Some((Role::Look, "what came while the window was too small was not taken".into()));
                continue;
            }
            match input {
                Input::Code(code) => self.code(code, errands),
                Input::Press(press) => self.press(press, errands),
                Input::Begins => {
                    if let Some(top) = self.layers.last_mut() {
                        top.screen.letters_begin();
                    }
                }
                Input::Typed(typed) => {
                    let look_up = Box::new(LookUp(typed.text.clone()));
                    let job = self.send(self.top(), look_up, None, false, errands);
                    self.judging = Some((job, typed));
                }
            }
        }
    }

    /// It is known now whether what was typed is a code: it goes where a code goes, or its end is a key.
    fn judged(&mut self, to: u64, typed: Typed, found: Lead, errands: &mut Vec<Errand>) {
        let of = found.as_ref().map(|(kind, _)| *kind);
        let code = of.is_some() || (typed.fast && typed.end.is_some());
        let layer = self.layers.iter_mut().find(|l| l.id == to);
        let back = code
            && layer.is_some_and(|l| {
                let words = l.screen.takes_words() && !typed.fast && typed.end.is_none();
                !words && l.screen.letters_back(&typed.text, of, typed.fast)
            });
        if back {
            self.codes += 1;
            self.scanner.came(self.at_ms);
            self.found(to, &typed.text, found, errands);
        } else if let Some(end) = typed.end {
            self.press(end, errands);
        }
        self.take(Vec::new(), errands);
    }

    /// A code goes to the worker first: what it is decides where it goes.
    fn code(&mut self, code: String, errands: &mut Vec<Errand>) {
        self.codes += 1;
        self.order(self.top(), Box::new(LookUp(code)), None, errands);
    }

    fn press(&mut self, press: Press, errands: &mut Vec<Errand>) {
        self.notice = None;
        // What confirms a write is F2, under both its names: screens know the one.
        let press = if press == Press::Ctrl('s') { Press::F(2) } else { press };
        if press == Press::F(2) && self.scanner.is_fresh(self.at_ms) {
            let text = "not saved: a code came a moment ago; F2 again saves";
            self.notice = Some((Role::Bad, text.into()));
            return;
        }
        if self.is_untaken(press) {
            return;
        }
        if press.is_capital() && !self.types() {
            self.notice = Some((Role::Look, "keys are small letters; is caps lock on?".into()));
            return;
        }
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
        if let (Press::Char('u'), false, Some(by)) = (press, self.takes_text(), self.saved_by_another()) {
            self.notice = Some((Role::Look, format!("{by} saved it: u takes it back under that badge")));
            return;
        }
        // Inside a run a key says what of the last scan is recorded, or takes it back.
        let runs = self.layers.last().is_some_and(|l| l.screen.records_scans());
        self.may_write = runs || press == Press::F(2);
        self.with(self.top(), errands, |s, now| s.press(press, now));
        self.may_write = false;
    }

    /// Inside a run what is no key is said: it may be a code that came too slowly, and nothing of it is recorded.
    fn is_untaken(&mut self, press: Press) -> bool {
        let keys = match self.layers.last() {
            Some(top) if top.screen.records_scans() && !top.screen.types() => top.screen.keys(),
            _ => return false,
        };
        let acts = |name: &str| keys.iter().any(|k| k.works && k.key == name);
        let digit = matches!(press, Press::Char(c) if c.is_ascii_digit());
        let everywhere = !self.takes_text() && self.global(press).is_some();
        if everywhere || acts(&press.name()) || (digit && acts("1-9")) {
            return false;
        }
        let (before, at_ms) = &mut self.untaken;
        if self.at_ms.saturating_sub(*at_ms) > 3 * QUIET_MS {
            before.clear();
        }
        match press {
            Press::Char(c) => before.push(c),
            Press::Enter | Press::Tab if !before.is_empty() => {}
            _ => return false,
        }
        *at_ms = self.at_ms;
        let text = format!("not taken: {before}: no key here, too slow for a code; scan it again");
        self.notice = Some((Role::Bad, text));
        true
    }

    /// The window is smaller than what would have to be seen in it: as [`crate::ui::frame`] draws it.
    pub(crate) fn is_out_of_sight(&self) -> bool {
        let (width, height) = self.least();
        self.window.is_some_and(|(w, h)| w < width || h < height)
    }

    /// The smallest window that what is in sight can be drawn in.
    pub(crate) fn least(&self) -> (u16, u16) {
        self.in_sight().iter().map(|s| s.least()).fold((0, 0), |a, b| (a.0.max(b.0), a.1.max(b.1)))
    }

    /// Letters are text now, no commands.
    fn types(&self) -> bool {
        self.layers.last().is_some_and(|l| l.screen.types())
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
                let waits = self.waiting.iter().any(|w| w.order.as_any().type_id() == sort);
                if let (Some(saved), false) = (&self.saved, waits) {
                    let body = vec![saved.text.clone(), "It stays readable in the journal.".into()];
                    let ask = vec![Effect::Ask(undo)];
                    self.lay(Box::new(Question::new("Take this back?".into(), body, ask)), errands);
                }
            }
            GlobalKey::Drafts => {
                let mine: Vec<Draft> = self.drafts.iter().filter(|d| self.is_mine(d)).cloned().collect();
                match (mine.as_slice(), self.drafts.len()) {
                    ([one], 1) => self.take_up(&one.clone(), errands),
                    _ => self.lay(Box::new(DraftList::new(self.drafts.clone())), errands),
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
            GlobalKey::Scanner => self.lay(Box::new(ScanSetup::default()), errands),
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
        if lines.is_empty() || self.is_out_of_sight() {
            return;
        }
        if self.types() {
            self.scanner.pasted(self.at_ms);
            self.with(self.top(), errands, |s, now| s.paste(&lines, now));
        } else {
            self.scanner.came(self.at_ms);
            for line in lines.into_iter().take(500) {
                let code = self.scanner.habits.bare(&line);
                self.code(code, errands);
            }
        }
    }

    fn answer(&mut self, report: Report, errands: &mut Vec<Errand>) {
        let asked = self.waiting.iter().position(|w| w.job == report.job).map(|i| self.waiting.remove(i));
        let mut outcome = report.outcome;
        if let Some((_, typed)) = self.judging.take_if(|(job, _)| *job == report.job) {
            let found = match outcome {
                Outcome::Done(mut reply) => reply.take::<Found>().and_then(|f| f.1),
                _ => None,
            };
            return self.judged(report.to, typed, found, errands);
        }
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
            (Outcome::Failed(failure), Some(asked)) => {
                if asked.left {
                    self.notice = Some((Role::Bad, failure.sentence));
                } else {
                    self.failed(report.to, failure, errands);
                }
                // What was refused may rest on what another program wrote.
                if asked.order.sort() == Sort::Write {
                    self.changed(&Change::Elsewhere, 0, errands);
                }
            }
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
                let layer = self.layers.iter().find(|l| l.id == to);
                let form = layer.and_then(|l| l.screen.draft(&self.context(to)));
                let (by, label) = (self.who.clone(), (self.house.label)(&written));
                self.saved = Some(Saved { text: written.said, at_ms: self.at_ms, by, form });
                self.notice = written.notice.map(|text| (Role::Look, text)).or(self.notice.take());
                self.changed(&Change::Written, to, errands);
                // A printer that hangs keeps nobody waiting: what was saved was said before.
                if let Some(label) = label {
                    self.order(to, label, None, errands);
                }
            }
            return;
        }
        if let Some(undone) = reply.take::<Undone>() {
            let form = self.saved.take().and_then(|s| s.form);
            let role = if undone.proposed { Role::Look } else { Role::Good };
            self.notice = Some((role, undone.said));
            // What was typed for it is not lost.
            if let Some(mut form) = form.filter(|f| !undone.proposed && f.address.is_none()) {
                self.next += 1;
                form.id = self.next;
                self.order(to, Box::new(KeepDraft(form.clone())), None, errands);
                self.drafts.push(form);
            }
            return self.changed(&Change::Undone(undone.freed), to, errands);
        }
        if let Some(Greeting(said)) = reply.take() {
            self.notice = said.map(|text| (Role::Bad, text)).or(self.notice.take());
            return;
        }
        if let Some(Version(version)) = reply.take() {
            if self.version.replace(version).is_some_and(|before| before != version) {
                self.changed(&Change::Elsewhere, 0, errands);
            }
            return;
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
            // Nobody types blindly into a form that was open before: one key goes on with it.
            if self.drafts.iter().any(|d| self.is_mine(d)) {
                self.notice = Some((Role::Look, "a half-filled form is kept: r goes on with it".into()));
            } else if !self.drafts.is_empty() {
                self.notice = Some((Role::Look, "half-filled forms are kept here; r lists them".into()));
            }
            return;
        }
        // What a screen asked before it writes was confirmed before.
        self.may_write = true;
        self.with(to, errands, |s, now| s.reply(reply, now));
        self.may_write = false;
    }

    /// A half-filled form is the person's who works here; one that names nobody is anybody's.
    pub(crate) fn is_mine(&self, draft: &Draft) -> bool {
        let who = self.who.as_deref().map(folded);
        draft.owner.as_deref().is_none_or(|owner| Some(folded(owner)) == who)
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
            // Somebody else's badge: what waits for a PIN is not theirs, and the PIN is typed unseen still.
            if self.unproven.is_some() {
                let text =
                    format!("{tag}'s badge was not taken: a PIN is asked; Esc leaves it, then the badge");
                self.notice = Some((Role::Bad, text));
                return;
            }
            self.set_person(tag.clone(), errands);
            if asks {
                self.close(self.top(), errands);
            }
            return;
        }
        let to = if self.layers.iter().any(|l| l.id == to) { to } else { self.top() };
        self.may_write = self.layers.iter().any(|l| l.id == to && l.screen.records_scans());
        self.with(to, errands, |s, now| s.code(code, found, now));
        self.may_write = false;
    }

    fn set_person(&mut self, person: String, errands: &mut Vec<Errand>) {
        let mut said = format!("{person} works here now");
        let kept = |d: &&Draft| d.owner.as_deref().is_some_and(|owner| folded(owner) == folded(&person));
        if self.drafts.iter().any(|d| kept(&d)) {
            said.push_str("; a half-filled form is kept: r goes on with it");
        }
        self.notice = Some((Role::Good, said));
        if !self.who.as_deref().is_some_and(|w| w.eq_ignore_ascii_case(&person)) {
            self.proof = None;
        }
        self.who = Some(person);
        let ids: Vec<u64> = self.layers.iter().map(|l| l.id).collect();
        for id in ids {
            self.with(id, errands, |s, now| s.person_changed(now));
        }
    }

    fn effects(&mut self, from: u64, effects: Vec<Effect>, errands: &mut Vec<Errand>) {
        for effect in effects {
            match effect {
                // No letter, no line end and no scan outside a run writes, whatever a screen asks for.
                Effect::Ask(order) if order.sort() == Sort::Write && !self.may_write => {
                    self.failed(from, Failure::new("nothing was saved: F2 saves"), errands);
                }
                Effect::Ask(mut order) => {
                    // Whoever works here now writes, also where a question was opened before the badge.
                    if let Some(who) = order.who_mut() {
                        *who = self.who();
                    }
                    self.order(from, order, None, errands);
                }
                Effect::Learn(habits) => self.scanner.habits = habits,
                Effect::GoOn(draft) => self.take_up(&draft, errands),
                Effect::Open(screen) => self.lay(screen, errands),
                Effect::Show(tag) => self.lay((self.house.record)(tag), errands),
                Effect::Close => self.close(from, errands),
                Effect::Say(role, text) => self.notice = Some((role, text)),
                Effect::SetPerson(person) => self.set_person(person, errands),
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
        // Where letters go elsewhere, u takes nothing back.
        let mine = self.saved.as_ref().is_some_and(|s| s.by == self.who);
        (age < UNDO_MS && mine && !self.takes_text()).then(|| (UNDO_MS - age).div_ceil(1000))
    }

    /// Whoever saved last at this terminal, where that is within the time to take it back and somebody else works here now.
    fn saved_by_another(&self) -> Option<&str> {
        let saved = self.saved.as_ref().filter(|s| s.by != self.who)?;
        let late = self.at_ms.saturating_sub(saved.at_ms) >= UNDO_MS;
        saved.by.as_deref().filter(|_| !late)
    }

    /// What is being waited for longer than a moment: a write, and for how many seconds.
    pub fn slow(&self) -> Option<(bool, u64)> {
        let writes = |w: &Waiting| w.order.sort() == Sort::Write;
        let counts =
            |w: &&Waiting| w.to != STRIP && !matches!(w.order.sort(), Sort::Keep | Sort::Slow | Sort::Beside);
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
