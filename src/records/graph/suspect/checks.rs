//! The rules of suspect and overdue readings, on the checks of one instrument alone.
//!
//! Checks are taken in the order of time, those not done left out. A reading between two of them is
//! suspect when either failed; before the first, when that one failed; after the last, when it failed.
//! In other words: a failed check throws doubt on all from the check before it to the check after it.
//! A reading is overdue when it is later than the `due_at` of the last check before it.
//!
//! Times are compared as instants, in whatever offset they were written. A reading at the very instant
//! of a check counts as taken after it. Nobody can say which of two checks of one instant came first:
//! together they are one check, failed where one of them failed, and due again at the earlier time.

use crate::Stamp;
use crate::catalogue::CheckResult;

/// A check that was done.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Check {
    /// When.
    pub at: Stamp,
    pub failed: bool,
    /// When the next one is due.
    pub due: Option<Stamp>,
    /// The journal entry that wrote it last.
    pub entry: i64,
}

/// A time in which an instrument's readings are suspect, from one check to another.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Span {
    /// Readings at or after this instant; none: from the beginning.
    pub from: Option<Stamp>,
    /// Readings before this instant; none: until now.
    pub until: Option<Stamp>,
}

impl Span {
    /// A reading at this time lies inside.
    pub fn holds(&self, at: Stamp) -> bool {
        self.from.is_none_or(|t| t.ms() <= at.ms()) && self.until.is_none_or(|t| at.ms() < t.ms())
    }
}

/// The spans that failed checks leave, each given with the checks before and after it: joined where they
/// meet, so that no reading lies in two of them. In the order of time.
pub fn joined(failed: impl IntoIterator<Item = Span>) -> Vec<Span> {
    let mut out: Vec<Span> = Vec::new();
    for span in failed {
        let meets = |last: &Span| match (last.until, span.from) {
            (Some(until), Some(from)) => from.ms() <= until.ms(),
            _ => true,
        };
        match out.last_mut() {
            Some(last) if meets(last) => last.until = span.until,
            _ => out.push(span),
        }
    }
    out
}

/// The checks of one instrument that were done, in the order of time.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Checks(Vec<Check>);

impl Checks {
    /// From the records, in any order: when, what came of it, when the next is due, the journal entry.
    pub fn new(records: impl IntoIterator<Item = (Stamp, CheckResult, Option<Stamp>, i64)>) -> Self {
        let mut done: Vec<Check> = records
            .into_iter()
            .filter(|r| r.1 != CheckResult::NotDone)
            .map(|(at, outcome, due, entry)| Check { at, failed: outcome == CheckResult::Failed, due, entry })
            .collect();
        done.sort_by_key(|c| c.at);
        done.dedup_by(|next, kept| {
            let same = next.at.ms() == kept.at.ms();
            if same {
                kept.failed |= next.failed;
                kept.entry = kept.entry.max(next.entry);
                kept.due = [kept.due, next.due].into_iter().flatten().min();
            }
            same
        });
        Self(done)
    }

    /// They, in the order of time.
    pub fn all(&self) -> &[Check] {
        &self.0
    }

    /// The last check up to a time.
    pub fn last(&self, at: Stamp) -> Option<&Check> {
        self.0[..self.done_by(at)].last()
    }

    /// The last good check up to a time.
    pub fn last_good(&self, at: Stamp) -> Option<&Check> {
        self.0[..self.done_by(at)].iter().rev().find(|c| !c.failed)
    }

    /// The first check after a time.
    pub fn next(&self, at: Stamp) -> Option<&Check> {
        self.0.get(self.done_by(at))
    }

    /// How many were done up to a time.
    fn done_by(&self, at: Stamp) -> usize {
        self.0.partition_point(|c| c.at.ms() <= at.ms())
    }

    /// A reading at this time is suspect.
    pub fn suspect(&self, at: Stamp) -> bool {
        [self.last(at), self.next(at)].into_iter().flatten().any(|c| c.failed)
    }

    /// A reading at this time is overdue: since when.
    pub fn overdue(&self, at: Stamp) -> Option<Stamp> {
        self.last(at)?.due.filter(|due| due.ms() < at.ms())
    }

    /// When its readings are suspect.
    pub fn spans(&self) -> Vec<Span> {
        let at = |i: usize| self.0.get(i).map(|c| c.at);
        let failed = (0..self.0.len()).filter(|&i| self.0[i].failed);
        joined(failed.map(|i| Span { from: i.checked_sub(1).and_then(at), until: at(i + 1) }))
    }
}
