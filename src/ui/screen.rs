//! The screens. Each is plain data with a key table; it asks for effects and never does them.

use std::any::Any;

use ratatui::Frame;
use ratatui::layout::Rect;
use ratatui::text::Line;

use crate::ui::effect::Effect;
use crate::ui::form::drafts::Draft;
use crate::ui::keys::{Press, Shown};
use crate::ui::order::{AnyOrder, Failure, Lead, Reply, Written};
use crate::ui::strip::Strip;
use crate::ui::theme::Role;
use crate::ui::view::View;
use crate::ui::worker::PinCheck;
use records::Stamp;
use records::Who;

/// What a screen may know of the moment.
#[derive(Clone, Debug)]
pub struct Context {
    pub now: Stamp,
    pub at_ms: u64,
    pub who: Who,
    /// A number that no other screen of this program has.
    pub layer: u64,
}

/// Something on record is another than it was.
#[derive(Clone, Debug)]
pub enum Change {
    Written,
    /// Another program wrote, or what was to be written here was refused: what is seen may be old.
    Elsewhere,
    /// Something was taken back; the record that is free again by it, where a screen lists such.
    Undone(Option<String>),
}

/// What a desk that every screen leads to starts from.
pub enum Offer {
    /// It is not opened from here by its key: the screen has a key of its own for it, or is that desk.
    None,
    /// From nothing.
    Plain,
    /// From what that desk knows to read.
    From(Box<dyn Any>),
}

/// One screen: state, keys, drawing.
pub trait Screen {
    /// Its name, for the first line.
    fn title(&self) -> String;

    /// Its keys, with whether they work now.
    fn keys(&self) -> Vec<Shown>;

    /// It was laid on top.
    fn begin(&mut self, _now: &Context) -> Vec<Effect> {
        Vec::new()
    }

    fn press(&mut self, press: Press, now: &Context) -> Vec<Effect>;

    /// A code was scanned; what it leads to, where it is known.
    fn code(&mut self, code: &str, found: Lead, _now: &Context) -> Vec<Effect> {
        shown_record(code, found)
    }

    /// Lines were pasted; only for screens that take text.
    fn paste(&mut self, _lines: &[String], _now: &Context) -> Vec<Effect> {
        Vec::new()
    }

    /// What it asked for is here.
    fn reply(&mut self, _reply: Reply, _now: &Context) -> Vec<Effect> {
        Vec::new()
    }

    /// What it asked for was not done. The status line has said why.
    fn failed(&mut self, _failure: &Failure, _now: &Context) -> Vec<Effect> {
        Vec::new()
    }

    /// Something on record was changed; `mine` where this screen asked for it.
    fn changed(&mut self, _change: &Change, _mine: bool, _now: &Context) -> Vec<Effect> {
        Vec::new()
    }

    /// Time went by.
    fn tick(&mut self, _now: &Context) -> Vec<Effect> {
        Vec::new()
    }

    /// What must be kept if the program ended now.
    fn draft(&self, _now: &Context) -> Option<Draft> {
        None
    }

    /// Letters go into a field.
    fn takes_text(&self) -> bool {
        false
    }

    /// Letters are text now; elsewhere they are commands, also on a screen that keeps the keys of all screens away.
    fn types(&self) -> bool {
        self.takes_text()
    }

    /// Letters are about to go into a field: what stands there is remembered.
    fn letters_begin(&mut self) {}

    /// What was typed since then is a known code: it is taken out of the field again, and [`Screen::code`] follows.
    /// False where it stays. `of`: the kind that it leads to; `fast`: no hand types so.
    fn letters_back(&mut self, _typed: &str, _of: Option<&'static str>, _fast: bool) -> bool {
        false
    }

    /// Words go into the chosen field: what a hand typed stays there, whatever it may lead to.
    fn takes_words(&self) -> bool {
        false
    }

    /// Somebody else works here now.
    fn person_changed(&mut self, _now: &Context) -> Vec<Effect> {
        Vec::new()
    }

    /// Each scan records something: a run that a key opened, which says in large letters what.
    fn records_scans(&self) -> bool {
        false
    }

    /// It is shown what the keyboard sends, as it comes, instead of being pressed.
    fn listens(&mut self, _at_ms: u64, _press: Press) -> Option<Vec<Effect>> {
        None
    }

    /// It leaves the screen below in sight.
    fn is_dialog(&self) -> bool {
        false
    }

    /// It explains keys.
    fn is_help(&self) -> bool {
        false
    }

    /// It shows one record: the next that is opened takes its place.
    fn is_record(&self) -> bool {
        false
    }

    /// What the desk of this name starts from here.
    fn offers(&self, _desk: &str) -> Offer {
        Offer::Plain
    }

    /// It waits for a badge.
    fn wants_person(&self) -> bool {
        false
    }

    /// It is read from across the bay: nothing stands around it but its title and its keys.
    fn is_wall(&self) -> bool {
        false
    }

    /// The smallest window that it can be drawn in.
    fn least(&self) -> (u16, u16) {
        if self.is_dialog() || self.is_wall() { (40, 12) } else { (80, 24) }
    }

    /// A line above the screen about what is looked at.
    fn bar(&self, _view: &View) -> Option<Line<'static>> {
        None
    }

    /// Draws it; reads only.
    fn draw(&self, frame: &mut Frame, area: Rect, view: &View);
}

/// A desk that every screen leads to by a key.
pub struct Desk {
    pub name: &'static str,
    pub on: &'static [Press],
    pub help: &'static str,
    /// With what the screen offers that it is opened from.
    pub open: fn(Option<Box<dyn Any>>) -> Box<dyn Screen>,
}

/// What the kit is handed at the start: the screens and orders that it must know by name.
pub struct House {
    /// The screen that everything begins on.
    pub first: fn() -> Box<dyn Screen>,
    pub desks: &'static [Desk],
    /// The record of a tag.
    pub record: fn(String) -> Box<dyn Screen>,
    /// A half-filled form; none where its kind is not known any more.
    pub draft: fn(&Draft) -> Option<Box<dyn Screen>>,
    /// Takes back what the person wrote last.
    pub undo: fn(Who) -> Box<dyn AnyOrder>,
    /// Prints the label of what was saved; nothing where none is wanted.
    pub label: fn(&Written) -> Option<Box<dyn AnyOrder>>,
    pub check_pin: PinCheck,
    /// The line that stands below every title.
    pub strip: fn() -> Box<dyn Strip>,
}

/// The record that a scanned code leads to, or the sentence that it leads nowhere.
pub fn shown_record(code: &str, found: Lead) -> Vec<Effect> {
    match found {
        Some((_, tag)) => vec![Effect::Show(tag)],
        None => unknown(code),
    }
}

/// The sentence for a code that leads nowhere.
pub fn unknown(code: &str) -> Vec<Effect> {
    vec![Effect::say(Role::Bad, format!("scanned {code}: no record has that tag; nothing was changed"))]
}

/// The sentence for a code that has no place where it was scanned.
pub fn unused(code: &str, why: &str) -> Vec<Effect> {
    vec![Effect::say(Role::Look, format!("scanned {code}: {why}; nothing was changed"))]
}
