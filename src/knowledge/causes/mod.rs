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
pub mod factors;
pub mod history;
pub(crate) mod judge;
pub(crate) mod layout;
pub(crate) mod next;
pub(crate) mod numbers;
pub mod packed;
pub(crate) mod pairs;
pub(crate) mod permutation;
pub(crate) mod pvalue;
pub mod random;
pub(crate) mod rank;
pub mod ranking;
pub mod records;
pub(crate) mod rescan;
pub(crate) mod rows;
pub(crate) mod scan;
pub(crate) mod score;
pub mod sets;
pub(crate) mod smoother;
pub(crate) mod threads;
pub(crate) mod time_models;
#[cfg(test)]
mod vectors;
pub(crate) mod watch;

pub use crate::causes::compare::Arm;
pub use crate::causes::compare::ArmMould;
pub use crate::causes::compare::ArmValues;
pub use crate::causes::compare::Better;
pub use crate::causes::compare::Comparison;
pub use crate::causes::compare::Needed;
pub use crate::causes::compare::compare;
pub use crate::causes::compare::compare_means;
pub use crate::causes::detail::Detail;
pub use crate::causes::detail::LevelRate;
pub use crate::causes::detail::MouldSeen;
pub use crate::causes::detail::detail;
pub use crate::causes::history::History;
pub use crate::causes::judge::DRAWS;
pub use crate::causes::judge::Settings;
pub use crate::causes::judge::score_pass;
pub use crate::causes::next::moulds_per_arm;
pub use crate::causes::packed::Packed;
pub use crate::causes::pvalue::p_value;
pub use crate::causes::rank::rank;
pub use crate::causes::ranking::Cause;
pub use crate::causes::ranking::Ranking;
pub use crate::causes::records::At;
pub use crate::causes::records::Column;
pub use crate::causes::records::MISSING;
pub use crate::causes::records::Records;
pub use crate::causes::records::Values;
pub use crate::causes::sets::Group;
pub use crate::causes::watch::Watch;
