//! A line below the title that stands on every screen, from a question that is asked again and again. What it is about the
//! kit does not know.

use ratatui::text::Line;

use crate::ui::app::App;
use crate::ui::order::{AnyOrder, Reply};
use crate::ui::view::View;
use crate::ui::worker::Errand;
use records::Stamp;

pub trait Strip {
    /// The question behind the line.
    fn ask(&self, now: Stamp) -> Box<dyn AnyOrder>;

    /// The answer to it.
    fn reply(&mut self, reply: Reply);

    /// The line, where there is anything to say.
    fn line(&self, view: &View, width: usize) -> Option<Line<'static>>;

    /// Something came to the point where a bell is rung, where one is wanted.
    fn rings(&mut self, now: Stamp) -> bool;
}

/// Whose the answer is: no screen has this number.
pub(crate) const STRIP: u64 = 0;

/// It is asked again after so many milliseconds, whatever happened.
const AGAIN_MS: u64 = 10_000;

impl App {
    /// Asks what the strip stands on. An answer that is on its way may be older than what happened: then it is asked
    /// again after it.
    pub(crate) fn ask_strip(&mut self, errands: &mut Vec<Errand>) {
        if self.waits_for(STRIP) {
            self.strip_again = true;
            return;
        }
        self.strip_ms = self.at_ms;
        self.send(STRIP, self.strip.ask(self.now), None, false, errands);
    }

    pub(crate) fn strip_reply(&mut self, reply: Reply, errands: &mut Vec<Errand>) {
        self.strip.reply(reply);
        if std::mem::take(&mut self.strip_again) {
            self.ask_strip(errands);
        }
    }

    /// Time went by.
    pub(crate) fn strip_tick(&mut self, errands: &mut Vec<Errand>) {
        if self.at_ms.saturating_sub(self.strip_ms) >= AGAIN_MS {
            self.ask_strip(errands);
        }
        self.rings |= self.strip.rings(self.now) && self.bell;
    }

    pub fn strip_line(&self, view: &View, width: usize) -> Option<Line<'static>> {
        self.strip.line(view, width)
    }

    /// There is something new to draw: what happened, or a second that passed.
    pub fn stale(&mut self) -> bool {
        let second = self.now.ms().div_euclid(1000);
        let passed = second != self.drawn.0 || self.at_ms.saturating_sub(self.drawn.1) >= 1000;
        if !passed && !self.touched {
            return false;
        }
        (self.touched, self.drawn) = (false, (second, self.at_ms));
        true
    }
}
