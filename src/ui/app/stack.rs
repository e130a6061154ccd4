//! The stack of screens and the orders on their way: laid on, taken away, asked, no longer wanted.

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};

use crate::jobs::bench::position_map_screen::TreeMap;
use crate::jobs::bench::screen::Bench;
use crate::jobs::causes::answers_screen::Answers;
use crate::jobs::causes::screen::CauseDesk;
use crate::jobs::charts::screen::ChartDesk;
use crate::jobs::furnace::dry_screen::Dry;
use crate::jobs::furnace::incident_screen::Mishap;
use crate::jobs::lots::reasons_screen::Reasons;
use crate::jobs::lots::screen::Release;
use crate::jobs::records::form_screen::Entry;
use crate::jobs::records::screen::RecordView;
use crate::jobs::trace::screen::TraceDesk;
use crate::ui::app::{App, Layer, Waiting};
use crate::ui::confirm::Question;
use crate::ui::effect::{Ask, Open, Order};
use crate::ui::line::Line;
use crate::ui::screen::Screen;
use crate::ui::theme::Role;
use crate::ui::working_layer::Page;

impl App {
    pub(crate) fn open(&mut self, open: Open, orders: &mut Vec<Order>) {
        let screen: Box<dyn Screen> = match open {
            Open::Bench => Box::new(Bench::default()),
            Open::Answers => Box::new(Answers::default()),
            Open::Answer(title, text) => Box::new(Page::new(title, &text)),
            Open::Reasons(lot) => Box::new(Reasons::new(lot)),
            Open::Releases => Box::new(Release::default()),
            Open::Causes(ask) => Box::new(CauseDesk::new(ask)),
            Open::Charts(ask, reading) => Box::new(ChartDesk::new(ask, reading)),
            Open::Record(tag) => {
                // Codes scanned one after the other show one record after the other.
                if self.layers.last().is_some_and(|l| l.screen.is_record()) {
                    let id = self.layers.last().map_or(0, |l| l.id);
                    self.close(id, orders);
                }
                Box::new(RecordView::new(tag))
            }
            Open::Trace(tag) => Box::new(TraceDesk::new(tag)),
            Open::Form(kind, filled) => {
                self.next += 1;
                Box::new(Entry::new(kind, &filled, self.next))
            }
            Open::Change(address) => {
                self.next += 1;
                Box::new(Entry::change(address, self.next))
            }
            Open::Draft(draft) => {
                self.drafts.retain(|d| d.id != draft.id);
                match Entry::from_draft(&draft) {
                    Some(entry) => Box::new(entry),
                    None => return,
                }
            }
            Open::Dry(kind, filled) => Box::new(Dry::new(kind, filled)),
            Open::Question { title, body, yes } => Box::new(Question::new(title, body, yes)),
            Open::Mishap(what, moulds) => Box::new(Mishap::new(what, moulds)),
            Open::Tree(mould) => Box::new(TreeMap::new(mould)),
            Open::Working(all) => Box::new(Page::working(&all)),
            Open::Shift(text) => Box::new(Page::new("For the next shift", &text)),
            Open::Line(purpose) => Box::new(Line::new(purpose)),
        };
        self.lay(screen, orders);
    }

    pub(crate) fn lay(&mut self, mut screen: Box<dyn Screen>, orders: &mut Vec<Order>) {
        self.next += 1;
        let id = self.next;
        let effects = screen.begin(&self.situation());
        self.layers.push(Layer { id, screen });
        self.effects(id, effects, orders);
    }

    /// Takes a screen away. A half-filled form is kept as a draft; answers it waited for are not wanted.
    pub(crate) fn close(&mut self, id: u64, orders: &mut Vec<Order>) {
        let Some(place) = self.layers.iter().position(|l| l.id == id) else { return };
        if self.layers.len() == 1 {
            return;
        }
        let layer = self.layers.remove(place);
        if let Some(draft) = layer.screen.draft(&self.situation()) {
            self.order(id, Ask::Keep(draft.clone()), orders);
            self.drafts.push(draft);
            self.notice = Some((Role::Look, "kept as it is; r goes on with it".into()));
        }
        for w in self.waiting.iter().filter(|w| w.to == id && !w.ask.writes() && !w.ask.keeps()) {
            if !matches!(w.ask, Ask::LookUp(_)) {
                w.stop.store(true, Ordering::Relaxed);
            }
        }
        self.waiting.retain(|w| !w.stop.load(Ordering::Relaxed));
        let situation = self.situation();
        if let Some(top) = self.layers.last_mut() {
            let (id, effects) = (top.id, top.screen.back(&situation));
            self.effects(id, effects, orders);
        }
    }

    pub(crate) fn order(&mut self, to: u64, ask: Ask, orders: &mut Vec<Order>) {
        // A newer question of the same sort makes the older one idle.
        let same = |a: &Ask, b: &Ask| std::mem::discriminant(a) == std::mem::discriminant(b);
        for w in self.waiting.iter().filter(|w| w.to == to && same(&w.ask, &ask)) {
            if !ask.writes() && !ask.keeps() && !matches!(ask, Ask::LookUp(_)) {
                w.stop.store(true, Ordering::Relaxed);
            }
        }
        self.waiting.retain(|w| !w.stop.load(Ordering::Relaxed));
        self.next += 1;
        let stop = Arc::new(AtomicBool::new(false));
        self.waiting.push(Waiting {
            job: self.next,
            to,
            ask: ask.clone(),
            stop: stop.clone(),
            since_ms: self.at_ms,
        });
        orders.push(Order { to, job: self.next, ask, stop });
    }
}
