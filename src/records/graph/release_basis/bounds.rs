//! Which checks of instruments bound the readings behind a lot, and what a check does to a reading.

use std::collections::{BTreeMap, BTreeSet};

use crate::catalogue::{Calibrations, CheckResult};
use crate::{Record, Stamp};

/// A reading: when it was taken.
pub type Reading = i64;

/// A check of an instrument.
#[derive(Clone, Debug, PartialEq)]
pub struct Check {
    /// When, in milliseconds.
    pub at: i64,
    pub failed: bool,
    /// Until when it is good, in milliseconds.
    pub due: Option<i64>,
    /// The journal entry that wrote it last.
    pub entry: i64,
    pub address: String,
    /// Of its canonical text.
    pub digest: i64,
}

impl Check {
    /// Of a record; none for a check that was not done.
    pub fn of(r: &Record, entry: i64, digest: i64) -> Option<Self> {
        let check = r.of::<Calibrations>()?;
        let result = check.get(Calibrations::result).filter(|r| *r != CheckResult::NotDone)?;
        Some(Self {
            at: check.get(Calibrations::checked_at)?.ms(),
            failed: result == CheckResult::Failed,
            due: check.get(Calibrations::due_at).map(Stamp::ms),
            entry,
            address: r.address(),
            digest,
        })
    }
}

/// Readings of the lot by instrument (its tag in lower case), and all done checks of each in time order.
#[derive(Debug, Default)]
pub struct CheckBounds {
    pub readings: BTreeMap<String, BTreeSet<Reading>>,
    pub checks: BTreeMap<String, Vec<Check>>,
}

/// Positions of the checks next to a reading: the last at or before it, the first after it.
fn beside(checks: &[&Check], reading: Reading) -> (Option<usize>, Option<usize>) {
    let after = checks.partition_point(|c| c.at <= reading);
    (after.checked_sub(1), (after < checks.len()).then_some(after))
}

impl CheckBounds {
    /// The checks that bound a reading, of those that `counts` takes.
    pub fn bounding(&self, counts: impl Fn(&Check) -> bool) -> Vec<&Check> {
        let mut out = Vec::new();
        for (instrument, checks) in &self.checks {
            let checks: Vec<&Check> = checks.iter().filter(|c| counts(c)).collect();
            let mut at = BTreeSet::new();
            for &reading in self.readings.get(instrument).into_iter().flatten() {
                let (before, after) = beside(&checks, reading);
                at.extend(before.into_iter().chain(after));
            }
            out.extend(at.into_iter().map(|i| checks[i]));
        }
        out
    }

    /// A check, put among others of its instrument, bounds a reading.
    pub fn bounds(&self, instrument: &str, check: &Check, others: &[Check]) -> bool {
        self.with(instrument, check, others, |me, checks, reading| {
            let (before, after) = beside(checks, reading);
            [before, after].contains(&Some(me))
        })
    }

    /// A check that was added makes a reading suspect or overdue: it failed and stands next to it, or was the last
    /// before it and due too early.
    pub fn spoils(&self, instrument: &str, check: &Check, others: &[Check]) -> bool {
        self.with(instrument, check, others, |me, checks, reading| {
            let (before, after) = beside(checks, reading);
            check.failed && [before, after].contains(&Some(me))
                || before == Some(me) && check.due.is_some_and(|due| due < reading)
        })
    }

    fn with(
        &self,
        instrument: &str,
        check: &Check,
        others: &[Check],
        test: impl Fn(usize, &[&Check], Reading) -> bool,
    ) -> bool {
        let mut checks: Vec<&Check> = others.iter().filter(|c| c.address != check.address).collect();
        let me = checks.partition_point(|c| c.at <= check.at);
        checks.insert(me, check);
        self.readings.get(instrument).into_iter().flatten().any(|&r| test(me, &checks, r))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn check(at: i64, failed: bool, due: Option<i64>, entry: i64) -> Check {
        Check { at, failed, due, entry, address: format!("c{at}"), digest: 0 }
    }

    #[test]
    fn the_last_before_and_the_first_after_bound_a_reading() {
        let checks: Vec<Check> = [1, 3, 5, 7].map(|at| check(at, false, None, 1)).to_vec();
        let mut b = CheckBounds::default();
        b.readings.insert("p".into(), BTreeSet::from([4]));
        b.checks.insert("p".into(), checks.clone());
        let at: Vec<i64> = b.bounding(|_| true).iter().map(|c| c.at).collect();
        assert_eq!(at, [3, 5]);
        // Added later: a good one beside it does nothing, a failed one does, one further off does not.
        let (good, bad, far) = (check(4, false, None, 9), check(5, true, None, 9), check(9, true, None, 9));
        assert!(b.bounds("p", &good, &checks) && !b.spoils("p", &good, &checks));
        assert!(b.spoils("p", &bad, &checks) && !b.spoils("p", &far, &checks));
        // The last before the reading, due before it: overdue.
        let early = check(4, false, Some(3), 9);
        assert!(b.spoils("p", &early, &checks));
    }
}
