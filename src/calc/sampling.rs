//! Acceptance sampling.

use crate::calc::answer::Answer;
use crate::calc::input::count;
use knowledge::sampling::design::Points;
use knowledge::sampling::published::{InspectionLevel, Severity};
use knowledge::sampling::single::SinglePlan;
use knowledge::sampling::switching::{Outcome, Standing};
use knowledge::sampling::{design, published, zero};

/// Commands of acceptance sampling.
#[derive(clap::Subcommand)]
pub enum Sampling {
    /// What a single sampling plan accepts
    #[command(
        after_help = "What does this plan let through?\n\n  meltkin calc sample-plan --n 50 --accept 1 --p 0.02"
    )]
    SamplePlan {
        /// Pieces drawn
        #[arg(long, value_parser = count)]
        n: u64,
        /// Nonconforming pieces with which the lot is still accepted
        #[arg(long, value_parser = count)]
        accept: u64,
        /// Share nonconforming of the process (binomial)
        #[arg(long, conflicts_with = "defectives", allow_negative_numbers = true)]
        p: Option<f64>,
        /// Pieces in the lot
        #[arg(long, value_parser = count)]
        lot: Option<u64>,
        /// Nonconforming pieces in the lot (hypergeometric)
        #[arg(long, value_parser = count, requires = "lot")]
        defectives: Option<u64>,
    },
    /// The smallest single plan that keeps two risks
    #[command(
        after_help = "The smallest plan for both risks.\n\n  meltkin calc sample-design --p1 0.01 --p2 0.08 --alpha 0.05 --beta 0.1"
    )]
    SampleDesign {
        /// Quality to accept, a share
        #[arg(long, allow_negative_numbers = true)]
        p1: f64,
        /// Quality to reject, a share
        #[arg(long, allow_negative_numbers = true)]
        p2: f64,
        /// Risk of rejecting p1
        #[arg(long, allow_negative_numbers = true)]
        alpha: f64,
        /// Risk of accepting p2
        #[arg(long, allow_negative_numbers = true)]
        beta: f64,
    },
    /// The published single plan for a lot: normal, tightened or reduced inspection
    #[command(
        after_help = "The plan that a purchaser's AQL asks for.\n\n  meltkin calc sample-table --lot 256 --level II --aql 1.0"
    )]
    SampleTable {
        /// Pieces in the lot
        #[arg(long, value_parser = count)]
        lot: u64,
        /// Inspection level: I, II, III, S-1, S-2, S-3, S-4
        #[arg(long, default_value = "II", value_parser = InspectionLevel::read)]
        level: InspectionLevel,
        /// Acceptable quality level, in per cent
        #[arg(long, allow_negative_numbers = true)]
        aql: f64,
        /// normal, tightened or reduced
        #[arg(long, default_value = "normal", value_parser = Severity::read)]
        severity: Severity,
    },
    /// Which severity the switching rules lead to, lot after lot
    ///
    /// Of each lot in turn: a, accepted; r, not accepted; b, between the two numbers of a reduced plan; then, where
    /// sampling had ended and goes on, g.
    #[command(
        after_help = "How is the next lot inspected?\n\n  meltkin calc sample-switch a r a r a a a a a"
    )]
    SampleSwitch {
        /// The samples of the lots in order: a, r, b; g where sampling goes on after its end
        #[arg(required = true, value_name = "OUTCOME")]
        outcomes: Vec<char>,
        /// Reduced inspection is agreed: desired, production steady, limit numbers dropped
        #[arg(long)]
        reduced: bool,
    },
    /// The smallest sample that proves a quality with no nonconforming piece in it
    #[command(
        after_help = "None bad in n: how many must be looked at?\n\n  meltkin calc sample-zero --lot 256 --quality 0.02 --confidence 0.95"
    )]
    SampleZero {
        /// Pieces in the lot
        #[arg(long, value_parser = count)]
        lot: u64,
        /// Share nonconforming to rule out
        #[arg(long, allow_negative_numbers = true)]
        quality: f64,
        /// How sure to be
        #[arg(long, allow_negative_numbers = true)]
        confidence: f64,
    },
}

pub fn run(what: &Sampling) -> Result<Answer, String> {
    match *what {
        Sampling::SampleSwitch { ref outcomes, reduced } => switch(outcomes, reduced),
        Sampling::SamplePlan { n, accept, p, lot, defectives } => {
            plan(SinglePlan { n, accept }, p, lot, defectives)
        }
        Sampling::SampleDesign { p1, p2, alpha, beta } => {
            let plan = design::single(Points { good: p1, bad: p2, alpha, beta })?;
            let formula = "smallest n, then smallest c, with Pa(p1) >= 1-alpha and Pa(p2) <= beta, binomial";
            Ok(Answer::new(formula, "Guenther 1969, J. Quality Technology 1:105")
                .put("n", plan.n.into())
                .put("accept", plan.accept.into())
                .figure("producer_risk", plan.rejects(p1)?)
                .figure("consumer_risk", plan.accepts(p2)?))
        }
        Sampling::SampleTable { lot, level, aql, severity } => table(lot, level, aql, severity),
        Sampling::SampleZero { lot, quality, confidence } => {
            let n = zero::sample(lot, quality, confidence)?;
            let defectives = zero::nonconforming(lot, quality);
            let formula = "smallest n with P(none of D in the sample) <= 1-confidence, hypergeometric, D = lot x quality rounded up, at least 1";
            Ok(Answer::new(formula, "textbook method")
                .put("n", n.into())
                .put("defectives", defectives.into()))
        }
    }
}

fn plan(
    plan: SinglePlan,
    p: Option<f64>,
    lot: Option<u64>,
    defectives: Option<u64>,
) -> Result<Answer, String> {
    match (p, lot, defectives) {
        (Some(p), None, _) => {
            let answer = Answer::new("P(X <= c), X binomial (n, p)", "textbook formula");
            Ok(answer.figure("accept_probability", plan.accepts(p)?))
        }
        (Some(p), Some(lot), _) => {
            let formula = "P(X <= c), X binomial (n, p); aoq = p Pa (N-n)/N; ati = n + (1-Pa)(N-n); aoql the largest aoq";
            let (aoql, at) = plan.outgoing_limit(lot)?;
            Ok(Answer::new(formula, "Dodge and Romig 1959")
                .figure("accept_probability", plan.accepts(p)?)
                .figure("aoq", plan.outgoing(lot, p)?)
                .figure("ati", plan.inspected(lot, p)?)
                .figure("aoql", aoql)
                .figure("aoql_at", at))
        }
        (None, Some(lot), Some(defectives)) => {
            let answer = Answer::new("P(X <= c), X hypergeometric (lot, defectives, n)", "textbook formula");
            Ok(answer.figure("accept_probability", plan.accepts_lot(lot, defectives)?))
        }
        _ => Err("give --p (a process), or --lot and --defectives (one lot)".into()),
    }
}

fn table(lot: u64, level: InspectionLevel, aql: f64, severity: Severity) -> Result<Answer, String> {
    let found = published::plan_under(severity, lot, level, aql)?;
    let whole = found.n >= lot;
    let source = match severity {
        Severity::Normal => "MIL-STD-105E 1989, Tables I and II-A; ISO 2859-1",
        Severity::Tightened => "MIL-STD-105E 1989, Tables I and II-B; ISO 2859-1",
        Severity::Reduced => "MIL-STD-105E 1989, Tables I and II-C; ISO 2859-1 has other plans here",
    };
    let answer = Answer::new(
        "code letter of the lot, then the single plan of its severity, along the arrow to the first plan",
        source,
    )
    .put("severity", severity.word().into())
    .put("letter_of_lot", found.letter_of_lot.to_string().into())
    .put("letter", found.letter.to_string().into())
    .put("n", found.n.into())
    .put("accept", found.accept.into())
    .put("reject", found.reject.into())
    .put("inspect_all", whole.into());
    Ok(answer
        .note_where(whole, "the sample is not smaller than the lot: inspect every piece")
        .note_where(
            found.reject > found.accept + 1,
            "between the two numbers the lot is accepted, and the next one is inspected normally",
        )
        .note_where(aql > 10.0, "above 10 the AQL counts nonconformities per hundred, not pieces"))
}

fn switch(outcomes: &[char], reduced: bool) -> Result<Answer, String> {
    let mut series = Standing::default();
    let mut after = Vec::new();
    for outcome in outcomes {
        match outcome {
            'a' => series.next(Outcome::Accepted, reduced),
            'r' => series.next(Outcome::NotAccepted, reduced),
            'b' => series.next(Outcome::Between, reduced),
            'g' => series.resume(),
            other => {
                return Err(format!(
                    "{other:?} is no outcome; there are a (accepted), r (not accepted), b (between), g (goes on)"
                ));
            }
        }
        after.push(if series.ended { "ended" } else { series.severity.word() });
    }
    let answer = Answer::new(
        "normal to tightened: 2 of up to 5 lots in a row not accepted; back: 5 in a row accepted; to reduced, where agreed: 10 in a row accepted; back: one not accepted or between; end: 5 not accepted under tightened",
        "MIL-STD-105E 1989, 4.7; ANSI/ASQ Z1.4-2003, 8.3 to 8.5",
    )
    .put("severity", series.severity.word().into())
    .put("ended", series.ended.into())
    .put("after", after.into());
    Ok(answer.note(series.words()))
}
