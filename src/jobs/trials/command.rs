//! Trials: their size, the assignment, how one stands.

use std::process::ExitCode;
use std::time::{SystemTime, UNIX_EPOCH};

use clap::Subcommand;

use crate::cli::context::Global;
use crate::cli::examples::example;
use crate::cli::voice;
use crate::jobs::trials::ask;
use crate::jobs::trials::ask::{Assigned, Planned, TrialShown};
use knowledge::stats::sample_size::Aim;
use records::Result;
use records::value::tag::shown;

/// Commands on trials.
#[derive(Subcommand)]
pub enum Trials {
    /// How many moulds would tell one rate from another
    ///
    /// Blades of one mould are alike, so that moulds count for less than their blades: the design effect.
    #[command(after_help = example(
        "Before a trial: how many moulds would show the difference that is worth having?",
        "trial plan --rate 0.06 --worth-having 0.03 --per-mould 8 --icc 0.05",
    ))]
    Plan {
        /// The rate now, from 0 to 1
        #[arg(long)]
        rate: f64,
        /// The rate that would be worth having
        #[arg(long, value_name = "R2")]
        worth_having: f64,
        /// Blades in a mould
        #[arg(long, value_name = "N")]
        per_mould: f64,
        /// How alike blades of one mould are (intraclass correlation): 0 not at all, 0.05 a little
        #[arg(long, value_name = "RHO")]
        icc: f64,
        /// Chance of seeing the difference if it is there (power)
        #[arg(long, default_value_t = 0.8)]
        power: f64,
        /// Chance of seeing one that is not there (two-sided)
        #[arg(long, default_value_t = 0.05)]
        alpha: f64,
    },
    /// Give moulds their arms at random, balanced within blocks, before they are poured
    ///
    /// A mould is MOULD or MOULD=BLOCK; without a block it stands in that of its pour plan (day and furnace).
    /// The seed is kept in the trial record, so that the draw can be repeated.
    #[command(after_help = example(
        "After the trial is recorded and before assembly: chance decides which mould gets the change.",
        "trial assign T31-09 M31-201=d1 M31-202=d1 M31-203=d2 M31-204=d2 --arms control,filter --as OP-31",
    ))]
    Assign {
        /// The trial
        trial: String,
        /// MOULD[=BLOCK] …
        #[arg(value_name = "MOULD", required = true)]
        moulds: Vec<String>,
        /// The arms, the control one of them; without them those that the trial has
        #[arg(long, value_delimiter = ',')]
        arms: Vec<String>,
        /// Seed; without it that of the trial record, else one from the clock
        #[arg(long, value_name = "N")]
        seed: Option<u64>,
    },
    /// Question, arms, size so far, deviations, result, decision
    #[command(after_help = example(
        "How far it is, and at its planned size what it says.",
        "trial show T31-01",
    ))]
    Show {
        /// The trial
        trial: String,
        /// Show the result before the planned size: the one interim look, which is journalled
        #[arg(long)]
        look: bool,
    },
}

/// Runs a command.
pub fn run(what: &Trials, global: &Global) -> Result<ExitCode> {
    match what {
        Trials::Plan { rate, worth_having, per_mould, icc, power, alpha } => {
            let aim = Aim { rate: *rate, worth_having: *worth_having, alpha: *alpha, power: *power };
            global.say(&ask::plan(aim, *per_mould, *icc)?, Planned::text);
        }
        Trials::Assign { trial, moulds, arms, seed } => {
            let mut store = global.open()?;
            let who = global.who(Some(&store))?;
            let answer = ask::assign(&mut store, &who, trial, arms, moulds, *seed, fresh())?;
            global.say(&answer, Assigned::text);
        }
        Trials::Show { trial, look } => {
            let mut store = global.open()?;
            let who = global.who(Some(&store))?;
            let sentence = if *look { ask::look(&mut store, &who, trial)? } else { None };
            let mut answer = ask::show(&store, trial, *look)?;
            if let Some(sentence) = sentence {
                voice::err(&shown(&sentence));
                answer.cautions.insert(0, sentence);
            }
            global.say(&answer, TrialShown::text);
        }
    }
    Ok(ExitCode::SUCCESS)
}

/// A seed that nobody chose: the clock's fraction of a second.
fn fresh() -> u64 {
    SystemTime::now().duration_since(UNIX_EPOCH).map_or(1, |d| u64::from(d.subsec_nanos()))
}
