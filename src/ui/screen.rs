//! The screens. Each is plain data with a key table; it asks for effects and never does them.

use ratatui::Frame;
use ratatui::layout::Rect;

use crate::jobs::bench::progress::Way;
use crate::jobs::records::drafts::Draft;
use crate::ui::effect::{Effect, Open, Told};
use crate::ui::keys::{Press, Shown};
use crate::ui::theme::Role;
use crate::ui::view::View;
use records::Stamp;
use records::Who;

/// What a screen may know of the moment.
#[derive(Clone, Debug)]
pub struct Situation {
    /// The clock.
    pub now: Stamp,
    /// Milliseconds since the start.
    pub at_ms: u64,
    /// Who works here.
    pub who: Who,
}

/// One screen: state, keys, drawing.
pub trait Screen {
    /// Its name, for the first line.
    fn title(&self) -> String;

    /// Its keys, with whether they work now.
    fn keys(&self) -> Vec<Shown>;

    /// It was laid on top.
    fn begin(&mut self, _now: &Situation) -> Vec<Effect> {
        Vec::new()
    }

    /// The screen above it went away.
    fn back(&mut self, _now: &Situation) -> Vec<Effect> {
        Vec::new()
    }

    /// A person pressed a key.
    fn press(&mut self, press: Press, now: &Situation) -> Vec<Effect>;

    /// A code was scanned; what it leads to, where it is known.
    fn code(&mut self, code: &str, found: Option<(&'static str, String)>, _now: &Situation) -> Vec<Effect> {
        shown_record(code, found)
    }

    /// Lines were pasted; only for screens that take text.
    fn paste(&mut self, _lines: &[String], _now: &Situation) -> Vec<Effect> {
        Vec::new()
    }

    /// The worker answered; `mine` where this screen asked.
    fn told(&mut self, _told: &Told, _mine: bool, _now: &Situation) -> Vec<Effect> {
        Vec::new()
    }

    /// Time went by.
    fn tick(&mut self, _now: &Situation) -> Vec<Effect> {
        Vec::new()
    }

    /// What must be kept if the program ended now.
    fn draft(&self, _now: &Situation) -> Option<Draft> {
        None
    }

    /// Letters go into a field.
    fn takes_text(&self) -> bool {
        false
    }

    /// It leaves the screen below in sight.
    fn is_dialog(&self) -> bool {
        false
    }

    /// It explains keys.
    fn is_help(&self) -> bool {
        false
    }

    /// It shows one record.
    fn is_record(&self) -> bool {
        false
    }

    /// It has its own key for the trace of what is chosen.
    fn traces(&self) -> bool {
        false
    }

    /// What the chart desk starts from here: a question, and a reading to hold it against; none where the
    /// screen has its own key for charts, or is the chart desk.
    fn charts(&self) -> Option<(crate::jobs::causes::ask::Ask, Option<String>)> {
        Some(Default::default())
    }

    /// It waits for a badge.
    fn wants_person(&self) -> bool {
        false
    }

    /// The way of the mould, blade or heat that is looked at; none where it cannot be told.
    fn way(&self) -> Option<&Way> {
        None
    }

    /// Draws it; reads only.
    fn draw(&self, frame: &mut Frame, area: Rect, view: &View);
}

/// The record that a scanned code leads to, or the sentence that it leads nowhere.
#[must_use]
pub fn shown_record(code: &str, found: Option<(&'static str, String)>) -> Vec<Effect> {
    match found {
        Some((_, tag)) => vec![Effect::Open(Open::Record(tag))],
        None => vec![unknown(code)],
    }
}

/// The sentence for a code that leads nowhere.
#[must_use]
pub fn unknown(code: &str) -> Effect {
    Effect::Say(Role::Bad, format!("scanned {code}: no record has that tag; nothing was changed"))
}
