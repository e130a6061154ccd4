//! Statistics: numbers in, numbers out. Imports nothing of ours.
//!
//! A figure that the data do not determine is `None`, and the caller says why; input that cannot be
//! right is an error with a sentence. Nothing here returns NaN.

pub mod anova;
pub mod capability;
pub mod charts;
pub mod clustered;
pub mod compensated;
pub mod contingency;
pub mod design;
pub mod dist;
pub mod fdr;
pub mod fisher;
pub mod gauge;
pub mod kappa;
pub mod linear;
pub mod logistic;
pub mod normality;
pub(crate) mod orthogonal;
pub mod poisson;
pub mod proportion;
pub(crate) mod quadrature;
pub mod ranks;
pub mod run_length;
pub mod sample_size;
pub mod spread;
pub mod strata;
pub mod summary;
pub mod tolerance;
pub mod trend;
pub mod two_proportions;
pub(crate) mod twofold;

/// Keeps a figure only where it is finite.
pub(crate) fn finite(value: f64) -> Option<f64> {
    value.is_finite().then_some(value)
}

/// The confidence as a normal quantile, z of a two-sided interval.
///
/// # Errors
/// The confidence is not between 0 and 1.
pub(crate) fn two_sided_z(conf: f64) -> Result<f64, String> {
    dist::normal_quantile(0.5 + 0.5 * conf)
        .filter(|_| conf > 0.0)
        .ok_or_else(|| format!("the confidence is {conf}; it belongs strictly between 0 and 1, such as 0.95"))
}
