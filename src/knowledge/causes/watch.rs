//! Long work that can be watched and stopped.

use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};

/// How far a ranking or a picture is, and whether it is still wanted; for whoever waits.
#[derive(Debug, Default)]
pub struct Watch {
    stop: AtomicBool,
    done: AtomicUsize,
    wanted: AtomicUsize,
}

impl Watch {
    /// The answer is no longer wanted: the work ends soon, and what it came to is worth nothing.
    pub fn stop(&self) {
        self.stop.store(true, Ordering::Relaxed);
    }

    /// Somebody stopped it.
    #[must_use]
    pub fn is_stopped(&self) -> bool {
        self.stop.load(Ordering::Relaxed)
    }

    /// Pieces of work done, and how many there are as far as is known now.
    #[must_use]
    pub fn progress(&self) -> (usize, usize) {
        (self.done.load(Ordering::Relaxed), self.wanted.load(Ordering::Relaxed))
    }

    /// So many pieces of so many are done.
    pub fn at(&self, done: usize, wanted: usize) {
        self.done.store(done, Ordering::Relaxed);
        self.wanted.store(wanted, Ordering::Relaxed);
    }

    pub(crate) fn more_to_do(&self, pieces: usize) {
        self.wanted.fetch_add(pieces, Ordering::Relaxed);
    }

    pub(crate) fn did_one(&self) {
        self.done.fetch_add(1, Ordering::Relaxed);
    }
}
