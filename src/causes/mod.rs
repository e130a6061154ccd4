//! Ranked upstream causes of a defect, comparisons, what to pour next. Pure.
mod components;
pub mod factors;
pub mod history;
mod layout;
mod numbers;
pub mod random;
pub mod records;
mod score;
mod smoother;
mod time_models;
#[cfg(test)]
mod vectors;
