//! The thread that does what screens order.

use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::mpsc;

use records::{Error, Proof, Result, Store, Who};

use crate::ui::form::drafts::Drafts;
use crate::ui::order::{AnyOrder, Failure, Reply, Sort, Undone, Written};
use crate::ui::scan::Habits;

/// An order on its way to the worker.
#[derive(Debug)]
pub struct Errand {
    /// The screen that asked.
    pub to: u64,
    pub job: u64,
    pub order: Box<dyn AnyOrder>,
    /// The PIN that was asked for, where it was refused without one.
    pub proof: Option<Pin>,
    /// Set where the answer is no longer wanted.
    pub stop: Arc<AtomicBool>,
}

/// Asks whether a PIN is the person's; gives what a write is allowed by.
pub type PinCheck = fn(&mut Store, &Who, &str, &str) -> Result<Proof>;

/// A PIN that was typed, and who is asked whether it is right.
#[derive(Clone, Debug)]
pub struct Pin {
    pub who: Who,
    pub typed: String,
    pub check: PinCheck,
}

#[derive(Debug)]
pub enum Outcome {
    Done(Reply),
    Failed(Failure),
    /// It needs the person's PIN, and is not done yet.
    WantsPin(String),
    /// The PIN was right; this is what came of what waited for it.
    Proven(Proof, Box<Outcome>),
    /// The worker came to an end by a fault of the program.
    Died(String),
}

/// What came of an order, on its way back.
#[derive(Debug)]
pub struct Report {
    /// The screen that asked.
    pub to: u64,
    pub job: u64,
    pub outcome: Outcome,
}

/// What orders are done with.
pub struct Worker {
    pub store: Store,
    /// The drafts; none where the folder cannot be written.
    pub drafts: Option<Drafts>,
    /// Journal entries that the write before this order made; they are taken back together.
    pub together: Vec<i64>,
    /// Where it is kept how the scanner at this terminal sends.
    pub habits: Option<PathBuf>,
    stop: Arc<AtomicBool>,
}

impl Worker {
    /// With the drafts beside the store.
    pub fn new(store: Store, path: &Path) -> Self {
        Self { drafts: Drafts::open(path).ok(), ..Self::plain(store) }
    }

    fn plain(store: Store) -> Self {
        Self { store, drafts: None, together: Vec::new(), habits: None, stop: Arc::default() }
    }

    /// Keeps how the scanner sends.
    ///
    /// # Errors
    /// The file cannot be written.
    pub fn keep_habits(&self, habits: &Habits) -> Result<()> {
        let Some(file) = &self.habits else { return Ok(()) };
        let failed = |e: std::io::Error| Error::untrusted(format!("{}: {e}", file.display()));
        if let Some(folder) = file.parent() {
            std::fs::create_dir_all(folder).map_err(failed)?;
        }
        let text = serde_json::to_string(habits).map_err(|e| Error::untrusted(e.to_string()))?;
        std::fs::write(file, text).map_err(failed)
    }

    /// Somebody still wants what is being done.
    pub fn goes_on(&self) -> bool {
        !self.stop.load(Ordering::Relaxed)
    }

    pub fn perform(&mut self, errand: &Errand) -> Outcome {
        self.stop = errand.stop.clone();
        let Some(pin) = &errand.proof else { return self.outcome(errand.order.as_ref()) };
        let person = pin.who.person.clone().unwrap_or_default();
        let proof = match (pin.check)(&mut self.store, &pin.who, &person, &pin.typed) {
            Ok(proof) => proof,
            Err(e) => return Outcome::Failed(e.into()),
        };
        let mut order = errand.order.copy();
        if let Some(who) = order.who_mut() {
            (who.proof, who.asks) = (Some(proof.clone()), false);
        }
        let outcome = match self.outcome(order.as_ref()) {
            Outcome::WantsPin(sentence) => Outcome::Failed(Failure::new(sentence)),
            outcome => outcome,
        };
        Outcome::Proven(proof, Box::new(outcome))
    }

    fn outcome(&mut self, order: &dyn AnyOrder) -> Outcome {
        let done = order.perform(self);
        if let Err(e) = &done {
            if e.wants_pin() && !order.own_pin() {
                return Outcome::WantsPin(e.sentence.clone());
            }
        }
        if order.sort() == Sort::Write {
            // What a refused write, a signature or an answer leaves alone can still be undone, and only that.
            if let Some(written) = done.as_ref().ok().and_then(|reply| reply.get::<Written>()) {
                self.together.clone_from(&written.entries);
            } else if done.as_ref().is_ok_and(|reply| reply.get::<Undone>().is_some()) {
                self.together.clear();
            }
        }
        done.map_or_else(|e| Outcome::Failed(e.into()), Outcome::Done)
    }
}

/// Runs the worker until its orders end. A fault of the program in it is told, not hidden.
pub(crate) fn work(
    path: &Path,
    store: Store,
    habits: Option<PathBuf>,
    errands: &mpsc::Receiver<Errand>,
    tell: &dyn Fn(Report) -> bool,
) {
    serve(Worker { habits, ..Worker::new(store, path) }, errands, tell);
}

/// The same for what takes long, on a connection of its own that is opened with the first order.
pub(crate) fn work_slowly(path: &Path, errands: &mpsc::Receiver<Errand>, tell: &dyn Fn(Report) -> bool) {
    while let Ok(errand) = errands.recv() {
        match Store::open(path) {
            Ok(store) => {
                let mut worker = Worker::plain(store);
                if one(&mut worker, &errand, tell) {
                    serve(worker, errands, tell);
                }
                return;
            }
            Err(error) => {
                let outcome = Outcome::Failed(error.into());
                if !tell(Report { to: errand.to, job: errand.job, outcome }) {
                    return;
                }
            }
        }
    }
}

fn serve(mut worker: Worker, errands: &mpsc::Receiver<Errand>, tell: &dyn Fn(Report) -> bool) {
    while let Ok(errand) = errands.recv() {
        if !one(&mut worker, &errand, tell) {
            return;
        }
    }
}

/// Does one order; false where the work is over.
fn one(worker: &mut Worker, errand: &Errand, tell: &dyn Fn(Report) -> bool) -> bool {
    if errand.stop.load(Ordering::Relaxed) {
        return true;
    }
    let done = std::panic::catch_unwind(std::panic::AssertUnwindSafe(|| worker.perform(errand)));
    let (outcome, over) = match done {
        Ok(outcome) => (outcome, false),
        Err(_) => (Outcome::Died("a fault of the program stopped its work on the store".into()), true),
    };
    tell(Report { to: errand.to, job: errand.job, outcome }) && !over
}
