//! Evidence: yield, capability, agreement.

use std::process::ExitCode;

use clap::{Args, Subcommand};

use crate::cli::context::Global;
use crate::cli::examples::example;
use crate::jobs::yields::agreement::Agreement;
use crate::jobs::yields::ask::BladesAsked;
use crate::jobs::yields::ask::Yield;
use crate::jobs::yields::capability::CapabilityShown;
use crate::jobs::yields::{agreement, ask, capability};
use records::{Result, Store};

/// Commands on evidence.
#[derive(Subcommand)]
pub enum YieldCommand {
    /// First-pass yield by station, rolled and final; cost of scrap
    #[command(after_help = example(
        "Where are blades lost, and what does it cost?",
        "yield --lot L31-02",
    ))]
    Yield {
        /// Which blades
        #[command(flatten)]
        which: BladesArgs,
    },
    /// Does a measured characteristic hold its limits?
    ///
    /// Capability (Cpk) with its interval and the gauge's part. Refused where the values are not stable over time, or too
    /// few are measured: a figure then would say nothing.
    #[command(after_help = example(
        "Will the wall hold its drawing? It refuses where the process is not stable or too little is measured.",
        "capability --characteristic wall",
    ))]
    Capability {
        /// The characteristic, as measurements name it
        #[arg(long)]
        characteristic: String,
        /// Which blades
        #[command(flatten)]
        which: BladesArgs,
    },
    /// Do readers call the same films the same? Gauge studies too
    #[command(after_help = example(
        "Before you trust a rate: would another reader have called the same films the same?",
        "agreement --method radiograph",
    ))]
    Agreement {
        /// Inspection method; without it the one with the most films read again
        #[arg(long)]
        method: Option<String>,
        /// The call is a finding of this defect, not a reject
        #[arg(long)]
        defect: Option<String>,
        /// Only the gauge study of this characteristic
        #[arg(long)]
        characteristic: Option<String>,
    },
}

/// What a question is narrowed to.
#[derive(Args, Clone, Debug)]
pub struct BladesArgs {
    /// Part, TAG or TAG@REV
    #[arg(long)]
    part: Option<String>,
    /// Poured at or after this time or date
    #[arg(long, value_name = "T", allow_hyphen_values = true)]
    since: Option<String>,
    /// Poured before this time, or up to the end of this date
    #[arg(long, value_name = "T", allow_hyphen_values = true)]
    until: Option<String>,
    /// Only blades of this lot
    #[arg(long)]
    lot: Option<String>,
}

impl BladesArgs {
    fn asked(&self, global: &Global, store: &Store) -> Result<BladesAsked> {
        Ok(BladesAsked {
            part: self.part.clone(),
            since: global.bound(store, "since", self.since.as_ref())?,
            until: global.bound(store, "until", self.until.as_ref())?,
            lot: self.lot.clone(),
        })
    }
}

/// Runs a command.
pub fn run(what: &YieldCommand, global: &Global) -> Result<ExitCode> {
    let store = global.open()?;
    match what {
        YieldCommand::Yield { which } => {
            global.say(&ask::yields(&store, &which.asked(global, &store)?)?, Yield::text)
        }
        YieldCommand::Capability { characteristic, which } => {
            let answer = capability::capability(&store, characteristic, &which.asked(global, &store)?)?;
            global.say(&answer, CapabilityShown::text);
        }
        YieldCommand::Agreement { method, defect, characteristic } => {
            let answer = agreement::agreement(
                &store,
                method.as_deref(),
                defect.as_deref(),
                characteristic.as_deref(),
            )?;
            global.say(&answer, Agreement::text);
        }
    }
    Ok(ExitCode::SUCCESS)
}
