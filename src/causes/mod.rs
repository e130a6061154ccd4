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

pub mod factors;
pub mod history;
pub mod packed;
pub mod random;
pub mod ranking;
pub mod records;
pub mod sets;

mod components;
mod detail;
mod smoother;
mod time_models;

mod layout;
mod numbers;
mod score;

mod draws;
mod judge;
mod pvalue;
mod scan;
mod threads;

mod aliases;
mod block;
mod compare;
mod effect;
mod next;
mod pairs;
mod permutation;
mod rank;
mod rescan;
mod rows;

#[cfg(test)]
mod vectors;
mod watch;

pub use compare::Arm;
pub use compare::ArmMould;
pub use compare::ArmValues;
pub use compare::Better;
pub use compare::Comparison;
pub use compare::Needed;
pub use compare::compare;
pub use compare::compare_means;
pub use detail::Detail;
pub use detail::LevelRate;
pub use detail::MouldSeen;
pub use detail::detail;
pub use history::History;
pub use judge::DRAWS;
pub use judge::Settings;
pub use judge::score_pass;
pub use next::moulds_per_arm;
pub use packed::Packed;
pub use pvalue::p_value;
pub use rank::rank;
pub use ranking::Cause;
pub use ranking::Ranking;
pub use records::At;
pub use records::Column;
pub use records::MISSING;
pub use records::Records;
pub use records::Values;
pub use sets::Group;
pub use watch::Watch;
