//! Ranked upstream causes of a defect, comparisons, what to pour next. Pure.
//!
//! Blades of a mould, and moulds of a heat, are bad together, and rates drift; so blades are reduced to
//! moulds in pour order, and their spread over moulds, heats and slow time is estimated before any factor
//! is looked at. A factor's statistic is the mean Bayes factor of its levels, averaged over 21 models of
//! the drift; it is held against draws in which whole heats change places under a fresh drift.
#![allow(
    clippy::needless_range_loop,
    reason = "parallel lists of moulds, heats and models are read by one index, as the formulas are"
)]

pub(crate) mod aliases;
pub(crate) mod block;
pub(crate) mod compare;
pub(crate) mod components;
pub(crate) mod detail;
pub(crate) mod draws;
pub(crate) mod effect;
pub(crate) mod factors;
pub(crate) mod history;
pub(crate) mod judge;
pub(crate) mod layout;
pub(crate) mod next;
pub(crate) mod numbers;
pub(crate) mod packed;
pub(crate) mod pairs;
pub(crate) mod parallel_map;
pub(crate) mod permutation;
pub(crate) mod pvalue;
pub mod random;
pub(crate) mod rank;
pub mod ranking;
pub(crate) mod records;
pub(crate) mod rescan;
pub(crate) mod rows;
pub(crate) mod scan;
pub(crate) mod score;
pub(crate) mod sets;
pub(crate) mod smoother;
pub(crate) mod time_models;
#[cfg(test)]
mod vectors;
pub(crate) mod watch;

// the question: records, settings, and who waits
pub use crate::causes::factors::shortest_between;
pub use crate::causes::history::History;
pub use crate::causes::judge::{Settings, score_pass};
pub use crate::causes::packed::{Codes, Packed};
pub use crate::causes::records::{At, Column, Direction, MISSING, Records, SHARE_THAT_COUNTS, Values};
pub use crate::causes::watch::Watch;

// the answer: the ranking, and what stands behind a row of it
pub use crate::causes::detail::{Detail, LevelRate, MouldSeen, detail};
pub use crate::causes::rank::rank;
pub use crate::causes::ranking::{Cause, Ranking, Verdict};
pub use crate::causes::sets::BladeGroup;

// two arms against each other, and how many moulds that takes
pub use crate::causes::compare::{
    Arm, ArmMould, ArmValues, Better, Comparison, Figures, Needed, compare, compare_means,
};
pub use crate::causes::next::moulds_per_arm;
