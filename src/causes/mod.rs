//! Ranked upstream causes of a defect, comparisons, what to pour next. Pure.
mod block;
mod components;
mod draws;
mod effect;
pub mod factors;
pub mod history;
mod layout;
mod numbers;
mod pvalue;
pub mod random;
pub mod records;
mod scan;
mod score;
mod smoother;
mod time_models;
pub use pvalue::p_value;
#[cfg(test)]
mod vectors;
