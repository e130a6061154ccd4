//! The stack of screens and the orders on their way: laid on, taken away, asked, no longer wanted.

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};

use crate::ui::app::{App, Layer, Waiting};
use crate::ui::effect::Effect;
use crate::ui::form::drafts::{Draft, KeepDraft};
use crate::ui::order::AnyOrder;
use crate::ui::screen::{Context, Screen};
use crate::ui::theme::Role;
use crate::ui::worker::{Errand, Pin};

impl App {
    pub(crate) fn lay(&mut self, mut screen: Box<dyn Screen>, errands: &mut Vec<Errand>) {
        // Codes scanned one after the other show one record after the other.
        let (top, under) = (self.top(), self.layers.last().is_some_and(|l| l.screen.is_record()));
        if under && screen.is_record() {
            self.close(top, errands);
        }
        self.next += 1;
        let id = self.next;
        let effects = screen.begin(&self.context(id));
        self.layers.push(Layer { id, screen });
        self.effects(id, effects, errands);
    }

    /// Goes on with a half-filled form.
    pub(crate) fn take_up(&mut self, draft: &Draft, errands: &mut Vec<Errand>) {
        self.drafts.retain(|d| d.id != draft.id);
        if let Some(screen) = (self.house.draft)(draft) {
            self.lay(screen, errands);
        }
    }

    /// Takes a screen away. A half-filled form is kept as a draft; answers it waited for are not wanted.
    pub(crate) fn close(&mut self, id: u64, errands: &mut Vec<Errand>) {
        let Some(place) = self.layers.iter().position(|l| l.id == id) else { return };
        if self.layers.len() == 1 {
            return;
        }
        let layer = self.layers.remove(place);
        if let Some(draft) = layer.screen.draft(&self.context(id)) {
            self.order(id, Box::new(KeepDraft(draft.clone())), None, errands);
            self.drafts.push(draft);
            self.notice = Some((Role::Look, "draft kept; r resumes".into()));
        }
        self.unwanted(|w| w.to == id);
    }

    /// What is no longer wanted is stopped, where it may be.
    fn unwanted(&mut self, which: impl Fn(&Waiting) -> bool) {
        self.waiting.retain(|w| {
            let stops = w.order.sort().stops() && which(w);
            if stops {
                w.stop.store(true, Ordering::Relaxed);
            }
            !stops
        });
    }

    /// Sends an order on its way. What a screen asks that went away with asking is for the one that it stood on.
    pub(crate) fn order(
        &mut self,
        from: u64,
        order: Box<dyn AnyOrder>,
        proof: Option<Pin>,
        errands: &mut Vec<Errand>,
    ) {
        let left = self.layers.iter().all(|l| l.id != from);
        let to = if left { self.top() } else { from };
        // A newer question of the same sort makes the older one idle.
        let sort = order.as_any().type_id();
        self.unwanted(|w| w.to == to && w.order.as_any().type_id() == sort);
        self.send(to, order, proof, left, errands);
    }

    /// Gives the worker an order whose answer is for this screen; its number.
    pub(crate) fn send(
        &mut self,
        to: u64,
        order: Box<dyn AnyOrder>,
        proof: Option<Pin>,
        left: bool,
        errands: &mut Vec<Errand>,
    ) -> u64 {
        self.next += 1;
        let (job, stop) = (self.next, Arc::new(AtomicBool::new(false)));
        self.waiting.push(Waiting {
            job,
            to,
            order: order.copy(),
            stop: stop.clone(),
            since_ms: self.at_ms,
            left,
        });
        errands.push(Errand { to, job, order, proof, stop });
        job
    }

    /// An answer for this screen is on its way.
    pub(crate) fn waits_for(&self, to: u64) -> bool {
        self.waiting.iter().any(|w| w.to == to)
    }

    /// The number of the screen on top.
    pub(crate) fn top(&self) -> u64 {
        self.layers.last().map_or(0, |l| l.id)
    }

    /// Lets a screen act, and does what it asks for; nothing where it is gone.
    pub(crate) fn with(
        &mut self,
        id: u64,
        errands: &mut Vec<Errand>,
        act: impl FnOnce(&mut dyn Screen, &Context) -> Vec<Effect>,
    ) {
        let context = self.context(id);
        if let Some(layer) = self.layers.iter_mut().find(|l| l.id == id) {
            let effects = act(layer.screen.as_mut(), &context);
            self.effects(id, effects, errands);
        }
    }
}
