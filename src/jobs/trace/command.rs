//! Tracing: what went in, what came out, siblings, may it be poured.

use std::process::ExitCode;

use clap::Subcommand;

use crate::cli::context::Global;
use crate::cli::examples::example;
use crate::jobs::chemistry;
use crate::jobs::furnace::readiness;
use crate::jobs::trace::show::{Contain, Siblings, Trace};
use crate::jobs::trace::{ask, siblings};
use records::Result;

/// Commands that trace.
#[derive(Subcommand)]
pub enum Ask {
    /// What went into a blade, mould, heat or lot, through all revert
    #[command(after_help = example(
        "A blade is bad: what was it made of? The share is the part of its heat's metal, through all revert.",
        "trace M31-041-6",
    ))]
    Trace {
        /// A blade, mould, heat, lot …
        tag: String,
    },
    /// Which blades came out of it, and where each of them is
    ///
    /// For metal with the share of each blade's heat, through all revert; for an instrument the blades of its
    /// suspect readings. Ends with totals that add up, and with what is left in stock.
    #[command(after_help = example(
        "A lot of ingot, filter or slurry is bad, or an instrument lied: which blades, and where are they now?",
        "contain FL31-03",
    ))]
    Contain {
        /// A lot, heat, slurry batch, mould, instrument …
        tag: String,
        /// For metal: list only blades with so much of it or more (1 %, 0.01); the rest are counted
        #[arg(long, value_name = "SHARE", value_parser = share)]
        at_least: Option<f64>,
    },
    /// The blades that share a parent with one, and how they compare
    #[command(after_help = example(
        "Is it this slurry batch? The blades that share it, against all others and against those of the same heats.",
        "siblings M31-041-6 --of FL31-02 --defect misrun --zone TE",
    ))]
    Siblings {
        /// The blade
        blade: String,
        /// What they share: a heat, filter lot, slurry batch …
        #[arg(long)]
        of: String,
        /// Defect term
        #[arg(long)]
        defect: Option<String>,
        /// Zone of the finding
        #[arg(long)]
        zone: Option<String>,
        /// Inspection method; without it the one under which the defect is found most
        #[arg(long)]
        method: Option<String>,
    },
    /// Chemistry against the limits of the alloy
    Alloy {
        #[command(subcommand)]
        what: AlloyWhat,
    },
    /// May this mould be poured?
    ///
    /// Every check with its reason: position map, coats, drying, dewax, firing, cracks, oven to pour, filter, lots in
    /// date, holds, instruments, patterns, and of its heat the charge, the alloy and the chemistry. Exit code 1: not yet, or it
    /// cannot be told.
    #[command(after_help = example(
        "Before the pour: coats, drying, firing, cracks, filter, holds, instruments, charge, chemistry. Exit code 1: no.",
        "ready M31-041",
    ))]
    Ready {
        /// The mould
        mould: String,
        /// The heat that it would be poured from (default: the one in the furnace of its plan)
        #[arg(long, value_name = "H")]
        heat: Option<String>,
    },
}

/// Commands on chemistry.
#[derive(Subcommand)]
pub enum AlloyWhat {
    /// An ingot lot, revert lot, heat or analysis against the limits of its alloy
    #[command(after_help = example(
        "Chemistry before the melt or before release. Exit code 1: an element is outside.",
        "alloy check H31-021",
    ))]
    Check {
        /// Tag
        tag: String,
    },
}

/// A share, as a fraction or in percent.
fn share(text: &str) -> std::result::Result<f64, String> {
    let plain = text.trim();
    let (number, of) = match plain.strip_suffix('%') {
        Some(percent) => (percent.trim_end(), 100.0),
        None => (plain, 1.0),
    };
    let share = number.parse::<f64>().ok().map(|x| x / of);
    share
        .filter(|s| (0.0..=1.0).contains(s))
        .ok_or_else(|| "a share is 1 % or 0.01, from 0 to all of it".into())
}

/// Runs a command.
pub fn run(what: &Ask, global: &Global) -> Result<ExitCode> {
    let store = global.open()?;
    match what {
        Ask::Trace { tag } => global.say(&ask::checked_trace(&store, tag)?, Trace::text),
        Ask::Contain { tag, at_least } => {
            let all = ask::contain(&store, tag)?;
            let out = match at_least {
                Some(share) => all.at_least(*share)?,
                None => all,
            };
            global.say(&out, Contain::text);
        }
        Ask::Siblings { blade, of, defect, zone, method } => {
            global.say(
                &siblings::siblings(
                    &store,
                    blade,
                    of,
                    defect.as_deref(),
                    zone.as_deref(),
                    method.as_deref(),
                )?,
                Siblings::text,
            );
        }
        Ask::Alloy { what: AlloyWhat::Check { tag } } => {
            let answer = chemistry::ask::check(&store, tag)?;
            global.say(&answer, chemistry::ask::Checked::text);
            if answer.fails() {
                return Ok(ExitCode::from(1));
            }
        }
        Ask::Ready { mould, heat } => {
            let answer = readiness::ready(&store, mould, heat.as_deref(), global.who(Some(&store))?.now)?;
            global.say(&answer, readiness::Ready::text);
            if answer.ready != Some(true) {
                return Ok(ExitCode::from(1));
            }
        }
    }
    Ok(ExitCode::SUCCESS)
}
