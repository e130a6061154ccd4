//! Work spread over threads, its results in order, so that their number does not show.

use std::sync::atomic::AtomicUsize;
use std::sync::atomic::Ordering;

/// Does `count` pieces of work on so many threads, each thread with scratch of its own, and gives the
/// results in the order of the pieces.
pub(crate) fn parallel_map<S, T: Send>(
    threads: usize,
    count: usize,
    scratch: impl Fn() -> S + Sync,
    work: impl Fn(&mut S, usize) -> T + Sync,
) -> Vec<T> {
    let threads = threads.clamp(1, count.max(1));
    if threads == 1 {
        let mut scratch = scratch();
        return (0..count).map(|i| work(&mut scratch, i)).collect();
    }
    let next = AtomicUsize::new(0);
    let one = || {
        let mut scratch = scratch();
        let mut done = Vec::new();
        loop {
            let i = next.fetch_add(1, Ordering::Relaxed);
            if i >= count {
                return done;
            }
            done.push((i, work(&mut scratch, i)));
        }
    };
    let mut all: Vec<(usize, T)> = std::thread::scope(|scope| {
        let running: Vec<_> = (1..threads).map(|_| scope.spawn(one)).collect();
        let mut all = one();
        for thread in running {
            match thread.join() {
                Ok(done) => all.extend(done),
                Err(panic) => std::panic::resume_unwind(panic),
            }
        }
        all
    });
    all.sort_by_key(|(i, _)| *i);
    all.into_iter().map(|(_, result)| result).collect()
}
