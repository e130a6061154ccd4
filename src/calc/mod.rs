//! `meltkin calc`: thin shells over the functions that the tool itself uses. One file per family;
//! each holds its clap arguments and a `run` that returns an [`Answer`].

pub mod answer;
pub mod causes;
pub mod chart;
pub mod charts;
pub mod groups;
pub mod input;
pub mod melt;
pub mod rates;
pub mod regressions;
pub mod sampling;
pub mod table;

pub use crate::calc::answer::Answer;

use clap::Subcommand;

/// Every `calc` command, by family.
#[derive(Subcommand)]
pub enum Calc {
    /// The melting shop
    #[command(flatten)]
    Melt(melt::MeltShop),
    /// Counts and shares
    #[command(flatten)]
    Rates(rates::Counts),
    /// Measured values
    #[command(flatten)]
    Groups(groups::Groups),
    /// Fitted lines and odds
    #[command(flatten)]
    Regressions(regressions::Regressions),
    /// Processes over time
    #[command(flatten)]
    Charts(charts::Charts),
    /// Acceptance sampling
    #[command(flatten)]
    Sampling(sampling::Sampling),
    /// Ranked causes
    #[command(flatten)]
    Causes(causes::Causes),
}

/// Runs one `calc` command.
///
/// # Errors
/// A sentence that names what is wrong with the input, with row and column where there are any.
pub fn run(what: &Calc) -> Result<Answer, String> {
    match what {
        Calc::Melt(what) => melt::run(what),
        Calc::Rates(what) => rates::run(what),
        Calc::Groups(what) => groups::run(what),
        Calc::Regressions(what) => regressions::run(what),
        Calc::Charts(what) => charts::run(what),
        Calc::Sampling(what) => sampling::run(what),
        Calc::Causes(what) => causes::run(what),
    }
}
