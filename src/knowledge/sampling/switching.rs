//! The switching rules between normal, tightened and reduced inspection, and when sampling ends.
//!
//! Source: MIL-STD-105E 4.7 and ANSI/ASQ Z1.4-2003 8.3 to 8.5. Of the conditions of reduced inspection, only the
//! ten accepted lots follow from results: that it is desirable, that production is steady and that the limit
//! numbers (Table VIII, which is not kept here) may be dropped is agreed by people, and comes in as one answer.

use crate::sampling::published::{PublishedPlan, Severity};

/// Lots not accepted, among so many lots in a row, that lead from normal to tightened inspection.
const TIGHTENS: (usize, usize) = (2, 5);
/// Lots accepted in a row that lead back from tightened to normal inspection.
const LOOSENS: usize = 5;
/// Lots accepted in a row under normal inspection that reduced inspection asks for.
const REDUCES: usize = 10;
/// Lots not accepted under tightened inspection with which sampling ends.
const ENDS: usize = 5;

/// What the sample of a lot said, at its first presentation.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Outcome {
    /// Up to the acceptance number.
    Accepted,
    /// Between the two numbers of a reduced plan: accepted, and the next lot is inspected normally.
    Between,
    /// From the rejection number on.
    NotAccepted,
}

impl Outcome {
    /// What so many nonconforming pieces come to.
    #[must_use]
    pub fn of(plan: &PublishedPlan, nonconforming: u64) -> Self {
        match nonconforming {
            d if d <= plan.accept => Self::Accepted,
            d if d >= plan.reject => Self::NotAccepted,
            _ => Self::Between,
        }
    }
}

/// Where a series of lots stands.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Standing {
    /// The severity that the next lot is inspected with.
    pub severity: Severity,
    /// Sampling has ended: every piece is inspected until what was wrong is put right.
    pub ended: bool,
    /// The outcomes since this severity began, the last of all at the end.
    since: Vec<Outcome>,
}

impl Default for Standing {
    fn default() -> Self {
        Self { severity: Severity::Normal, ended: false, since: Vec::new() }
    }
}

impl Standing {
    /// The next lot of the series, inspected with the severity of this moment. `reduced`: reduced inspection is
    /// agreed. After an end nothing counts.
    ///
    /// ```
    /// use knowledge::sampling::published::Severity;
    /// use knowledge::sampling::switching::{Outcome, Standing};
    /// let mut series = Standing::default();
    /// for outcome in [Outcome::NotAccepted, Outcome::Accepted, Outcome::NotAccepted] {
    ///     series.next(outcome, false);
    /// }
    /// assert_eq!(series.severity, Severity::Tightened);
    /// ```
    pub fn next(&mut self, outcome: Outcome, reduced: bool) {
        if self.ended {
            return;
        }
        self.since.push(outcome);
        match self.severity {
            Severity::Normal if self.lately() >= TIGHTENS.0 => self.turn(Severity::Tightened),
            Severity::Normal if reduced && self.run() >= REDUCES => self.turn(Severity::Reduced),
            Severity::Tightened if self.run() >= LOOSENS => self.turn(Severity::Normal),
            Severity::Tightened => self.ended = self.failed(&self.since) >= ENDS,
            Severity::Reduced if outcome != Outcome::Accepted => self.turn(Severity::Normal),
            Severity::Normal | Severity::Reduced => {}
        }
    }

    /// What was wrong was put right: sampling goes on, tightened.
    pub fn resume(&mut self) {
        if self.ended {
            self.ended = false;
            self.turn(Severity::Tightened);
        }
    }

    fn turn(&mut self, severity: Severity) {
        self.severity = severity;
        self.since.clear();
    }

    fn failed(&self, of: &[Outcome]) -> usize {
        of.iter().filter(|o| **o == Outcome::NotAccepted).count()
    }

    /// Lots not accepted among the last that may count together.
    fn lately(&self) -> usize {
        self.failed(&self.since[self.since.len().saturating_sub(TIGHTENS.1)..])
    }

    /// Lots accepted in a row, up to now.
    fn run(&self) -> usize {
        self.since.iter().rev().take_while(|o| **o == Outcome::Accepted).count()
    }

    /// Why it stands so and what would change it, in a sentence.
    #[must_use]
    pub fn words(&self) -> String {
        let (run, failed) = (self.run(), self.failed(&self.since));
        match self.severity {
            _ if self.ended => format!(
                "sampling has ended: {ENDS} lots were not accepted under tightened inspection; every piece is \
                 inspected until what was wrong is put right"
            ),
            Severity::Normal => format!(
                "normal: {} of the last {} not accepted ({} of {} in a row tighten)",
                self.lately(),
                self.since.len().min(TIGHTENS.1),
                TIGHTENS.0,
                TIGHTENS.1
            ),
            Severity::Tightened => format!(
                "tightened: {run} accepted in a row ({LOOSENS} lead back to normal), {failed} not accepted since \
                 ({ENDS} end sampling)"
            ),
            Severity::Reduced => {
                format!("reduced: {run} accepted in a row (one that is not leads back to normal)")
            }
        }
    }
}

/// A lot of the series, as its records tell it.
#[derive(Clone, Debug, Default)]
pub struct SampledLot {
    /// Pieces in the lot.
    pub size: u64,
    /// First presentations in the order of time: when, and whether the piece was nonconforming.
    pub seen: Vec<(i64, bool)>,
    /// Reduced inspection is agreed for it.
    pub reduced: bool,
    /// Behind this lot what was wrong was put right, where sampling had ended.
    pub resumes: bool,
}

/// What the rules come to for a lot of the series.
#[derive(Clone, Debug)]
pub struct Followed {
    /// In force when its first piece was presented; where none was, now.
    pub standing: Standing,
    /// The plan by which it is judged, no larger than the lot; why there is none.
    pub plan: Result<PublishedPlan, String>,
    /// What its sample says; none while it is too small, or sampling had ended.
    pub outcome: Option<Outcome>,
    /// Nonconforming pieces in the sample as far as it goes.
    pub nonconforming: u64,
    /// When that was decided, or its last piece presented.
    at: i64,
}

/// Follows a series of lots, given in the order in which they were opened. The sample of a lot are the first pieces
/// that were presented. A lot is inspected with the severity that is in force when its first piece is presented: by
/// the lots that were decided before. One that was begun before a switch and decided after it counts on neither side.
pub fn follow(
    lots: &[SampledLot],
    plan: impl Fn(Severity, u64) -> Result<PublishedPlan, String>,
) -> Vec<Followed> {
    let begun = |i: usize| (lots[i].seen.first().map_or(i64::MAX, |s| s.0), i);
    let mut order: Vec<usize> = (0..lots.len()).collect();
    order.sort_by_key(|i| begun(*i));
    let mut out: Vec<Option<Followed>> = vec![None; lots.len()];
    for i in order {
        let mut before: Vec<(i64, usize, &Followed)> =
            out.iter().enumerate().filter_map(|(j, f)| f.as_ref().map(|f| (f.at, j, f))).collect();
        before.retain(|(at, j, _)| (*at, *j) < begun(i));
        before.sort_by_key(|(at, j, _)| (*at, *j));
        let mut standing = Standing::default();
        for (_, j, f) in before {
            if let Some(outcome) = f.outcome.filter(|_| f.standing.severity == standing.severity) {
                standing.next(outcome, lots[i].reduced);
            }
            if lots[j].resumes {
                standing.resume();
            }
        }
        out[i] = Some(judged(&lots[i], standing, &plan));
    }
    out.into_iter().flatten().collect()
}

fn judged(
    lot: &SampledLot,
    standing: Standing,
    plan: impl Fn(Severity, u64) -> Result<PublishedPlan, String>,
) -> Followed {
    let plan = plan(standing.severity, lot.size).map(|p| PublishedPlan { n: p.n.min(lot.size), ..p });
    let mut out = Followed {
        standing,
        plan,
        outcome: None,
        nonconforming: 0,
        at: lot.seen.last().map_or(i64::MAX, |s| s.0),
    };
    let Ok(plan) = out.plan.clone() else { return out };
    for (drawn, (at, bad)) in (1..=plan.n).zip(&lot.seen) {
        out.nonconforming += u64::from(*bad);
        // A sample that cannot pass any more is decided before it is whole.
        if out.nonconforming >= plan.reject || drawn == plan.n {
            out.at = *at;
            let decided = Outcome::of(&plan, out.nonconforming);
            out.outcome = Some(decided).filter(|_| !out.standing.ended);
            break;
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::sampling::published::{InspectionLevel, plan_under};

    /// The severity after each letter: `n`, `t`, `r`, `e` for ended.
    fn after(outcomes: &str, reduced: bool) -> String {
        let mut series = Standing::default();
        let letter = |outcome| {
            match outcome {
                'a' => series.next(Outcome::Accepted, reduced),
                'b' => series.next(Outcome::Between, reduced),
                'x' => series.next(Outcome::NotAccepted, reduced),
                _ => series.resume(),
            }
            if series.ended { "e" } else { &series.severity.word()[..1] }
        };
        outcomes.chars().map(letter).collect()
    }

    // Worked out by hand from ANSI/ASQ Z1.4-2003, 8.3.1 to 8.4, as quoted in the module's head.

    #[test]
    fn two_of_five_in_a_row_tighten() {
        assert_eq!(after("xx", false), "nt");
        assert_eq!(after("xaaax", false), "nnnnt");
        // The sixth is too far from the first.
        assert_eq!(after("xaaaax", false), "nnnnnn");
        assert_eq!(after("xaaaaxaaax", false), "nnnnnnnnnt");
    }

    #[test]
    fn five_accepted_in_a_row_lead_back_and_begin_anew() {
        assert_eq!(after("xxaaaaa", false), "ntttttn");
        assert_eq!(after("xxaaaaxaaaaa", false), "nttttttttttn");
        // What was not accepted before the switch does not count behind it.
        assert_eq!(after("xxaaaaaxa", false), "ntttttnnn");
    }

    #[test]
    fn five_not_accepted_under_tightened_end_sampling_until_it_is_resumed() {
        // In all, not in a row.
        assert_eq!(after("xxxaxaxaxax", false), "nttttttttte");
        assert_eq!(after("xxxxxxxaaaaaagaaaaa", false), "nttttteeeeeeetttttn");
        // A return to normal in between begins the count anew.
        assert_eq!(after("xxxxxxaaaaaxx", false), "ntttttttttnnt");
    }

    #[test]
    fn ten_accepted_reduce_where_that_is_agreed() {
        assert_eq!(after("aaaaaaaaaaaa", false), "n".repeat(12));
        assert_eq!(after("aaaaaaaaaaaa", true), "n".repeat(9) + "rrr");
        assert_eq!(after("aaaxaaaaaaaaaa", true), "n".repeat(13) + "r");
        assert_eq!(after("aaaaaaaaaab", true), "n".repeat(9) + "rn");
        assert_eq!(after("aaaaaaaaaax", true), "n".repeat(9) + "rn");
    }

    fn lot(first: i64, results: &str) -> SampledLot {
        let seen = results.chars().zip(first..).map(|(c, at)| (at, c == 'x')).collect();
        SampledLot { size: 40, seen, ..SampledLot::default() }
    }

    fn series(lots: &[SampledLot]) -> Vec<(Severity, u64, Option<Outcome>)> {
        let plan = |severity, size| plan_under(severity, size, InspectionLevel::II, 6.5);
        let told = |f: Followed| (f.standing.severity, f.plan.unwrap().n, f.outcome);
        follow(lots, plan).into_iter().map(told).collect()
    }

    #[test]
    fn a_lot_is_inspected_by_what_was_decided_before_it() {
        use Outcome::{Accepted, NotAccepted};
        use Severity::{Normal, Tightened};
        // A lot of 40 is letter D: 8 pieces; AQL 6.5 accepts with 1 normally. Tightened: arrow down to E, 13 with 1.
        let good = "a".repeat(13);
        let lots = [lot(0, "xx"), lot(100, "axxaaaaa"), lot(200, &good), lot(300, "")];
        let told = series(&lots);
        assert_eq!(told[0], (Normal, 8, Some(NotAccepted)));
        assert_eq!(told[1], (Normal, 8, Some(NotAccepted)));
        assert_eq!(told[2], (Tightened, 13, Some(Accepted)));
        // One that nobody has begun stands where the series stands now.
        assert_eq!(told[3], (Tightened, 13, None));
        // Begun before the second was decided: still normal, whichever was opened first.
        let told = series(&[lot(102, &good), lot(0, "xx"), lot(100, "aaxx"), lot(104, &good)]);
        assert_eq!(told[0].0, Normal);
        assert_eq!(told[3].0, Tightened);
        // Eight good ones decide; what comes behind the sample is no part of it.
        assert_eq!(series(&[lot(0, "aaaaaaaaxx")])[0], (Normal, 8, Some(Accepted)));
        assert_eq!(series(&[lot(0, "aaaaaaa")])[0], (Normal, 8, None));
    }
}
