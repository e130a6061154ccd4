//! The average run length of the EWMA chart.

use crate::stats::dist::normal_pdf;
use crate::stats::dist::normal_sf;
use crate::stats::quadrature::panels;
use crate::stats::run_length::absorbing::Chain;
use crate::stats::run_length::absorbing::REACH;
use crate::stats::run_length::absorbing::near;
use crate::stats::run_length::bounded;
use crate::stats::run_length::finite_shift;
use crate::stats::run_length::from_zero;

/// The average run length of a two-sided EWMA chart with steady limits ±L√(λ/(2-λ)), started at the target,
/// for a shift δ of the mean, all in sigmas. Solves L(u) = 1 + ∫ L(z) φ((z-(1-λ)u)/λ - δ)/λ dz by
/// Gauss-Legendre quadrature (Crowder 1987, Technometrics 29:401). Good to 1e-11.
///
/// # Errors
/// λ outside (0, 1], or so small that the equation is too large; a width below 0; a run length above
/// `run_length::LARGEST`.
///
/// ```
/// // Lucas and Saccucci 1990 print 10.5
/// let arl = knowledge::stats::run_length::ewma(0.2, 2.962, 1.0).unwrap();
/// assert!((arl - 10.541665796564219).abs() < 1e-8);
/// ```
pub fn ewma(lambda: f64, width: f64, shift: f64) -> Result<f64, String> {
    if !(lambda > 0.0 && lambda <= 1.0) {
        return Err(format!("lambda is {lambda:?}; it belongs above 0, up to 1 (such as 0.2)"));
    }
    from_zero("the width", width)?;
    finite_shift(shift)?;
    if lambda == 1.0 || width == 0.0 {
        // no memory: every point stands alone, and with no width every point signals
        return crate::stats::run_length::shewhart(width, shift);
    }
    // in units of λσ a step is normal with sigma 1
    let limit = width / (lambda * (2.0 - lambda)).sqrt();
    let keep = 1.0 - lambda;
    let too_large = || {
        format!(
            "lambda {lambda:?} with a width of {width:?} and a shift of {shift:?} makes an equation too large to solve"
        )
    };
    if limit > 1e5 {
        return Err(too_large());
    }
    let nodes = panels(-limit, limit, 4.0);
    let centres: Vec<f64> = nodes.iter().map(|n| keep * n.0 + shift).collect();
    let leaves = |centre: f64| normal_sf(limit - centre) + normal_sf(limit + centre);
    let mut chain = Chain::normal(&nodes, 0, &centres).ok_or_else(too_large)?;
    chain.exits = centres.iter().map(|c| leaves(*c)).collect();
    let steps = chain.mean_steps();
    // the target is no node: one more step of the equation
    let (mut time, mut leave) = (1.0, leaves(shift));
    for j in near(&nodes, shift, REACH) {
        let chance = nodes[j].1 * normal_pdf(nodes[j].0 - shift);
        time += chance * steps[j];
        leave += chance;
    }
    bounded(time / leave)
}
