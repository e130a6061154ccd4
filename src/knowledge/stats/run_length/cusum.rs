//! The average run length of the CUSUM chart.

use crate::stats::dist::normal_pdf;
use crate::stats::dist::normal_sf;
use crate::stats::quadrature::panels;
use crate::stats::run_length::absorbing::Chain;
use crate::stats::run_length::absorbing::REACH;
use crate::stats::run_length::absorbing::near;
use crate::stats::run_length::bounded;
use crate::stats::run_length::finite_shift;
use crate::stats::run_length::from_zero;

/// A CUSUM scheme, in sigmas.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Scheme {
    /// The reference value: what each point must exceed to count.
    pub k: f64,
    /// The decision limit, above which the sum signals.
    pub h: f64,
    /// What the sums start from, 0 or, for a fast initial response, mostly h/2.
    pub headstart: f64,
    /// Whether falls are watched as well as rises.
    pub two_sided: bool,
}

/// The average run length of a CUSUM for a shift δ of the mean. One side solves L(s) = 1 + L(0) Φ(k-δ-s) +
/// ∫₀ʰ L(t) φ(t+k-δ-s) dt by Gauss-Legendre quadrature with its own state for 0 (Goel and Wu 1971,
/// Technometrics 13:221). Two sides: with U and D the one-sided lengths from 0, u and d from the headstart,
/// (uD + Ud - UD)/(U + D) (Lucas and Crosier 1982, Technometrics 24:199), which without a headstart is
/// 1/(1/U + 1/D). Good to 1e-11.
///
/// # Errors
/// k, h or the headstart below 0; a headstart above h, or, for two sides, above h/2 + k, where the two
/// sums are not independent enough for the formula; a run length above `run_length::LARGEST`; an h so
/// large that the equation is.
///
/// ```
/// use knowledge::stats::run_length::{Scheme, cusum};
/// let scheme = Scheme { k: 0.5, h: 5.0, headstart: 0.0, two_sided: false };
/// assert!((cusum(scheme, 1.0).unwrap() - 10.3759753).abs() < 1e-6);
/// ```
pub fn cusum(scheme: Scheme, shift: f64) -> Result<f64, String> {
    let Scheme { k, h, headstart, two_sided } = scheme;
    from_zero("k", k)?;
    from_zero("h", h)?;
    from_zero("the headstart", headstart)?;
    finite_shift(shift)?;
    if headstart > h {
        return Err(format!(
            "the headstart {headstart:?} is above h = {h:?}, so the chart would begin with a signal"
        ));
    }
    if !two_sided {
        return bounded(one_side(scheme, shift)?.1);
    }
    if headstart > 0.5 * h + k {
        return Err(format!(
            "with two sides a headstart of {headstart:?} is not computed; it belongs up to h/2 + k = {:?}",
            0.5 * h + k
        ));
    }
    let (rise, rise_head) = one_side(scheme, shift)?;
    let (fall, fall_head) = one_side(scheme, -shift)?;
    bounded(both_sides((rise, rise_head), (fall, fall_head)))
}

/// (uD + Ud - UD)/(U + D) of the two sides' lengths from 0 and from the headstart, written about the side that
/// signals sooner: at large shifts D passes U by many orders, and 1 - D/(U + D) would lose every digit.
fn both_sides(one: (f64, f64), two: (f64, f64)) -> f64 {
    let ((soon, soon_head), (late, late_head)) = if one.0 <= two.0 { (one, two) } else { (two, one) };
    // the side that hardly ever signals may be beyond all numbers; the other then decides
    if late.is_infinite() {
        return soon_head;
    }
    let ratio = soon / late;
    (soon_head + soon * (late_head / late - 1.0)) / (1.0 + ratio)
}

/// Run lengths of one side, from 0 and from the headstart; infinite where beyond all numbers.
fn one_side(scheme: Scheme, shift: f64) -> Result<(f64, f64), String> {
    let Scheme { k, h, headstart, .. } = scheme;
    let drift = shift - k;
    let too_large =
        || format!("k {k:?}, h {h:?} and a shift of {shift:?} make an equation too large to solve");
    if h > 1e5 {
        return Err(too_large());
    }
    if h == 0.0 {
        let length = 1.0 / normal_sf(-drift);
        return Ok((length, length));
    }
    let nodes = panels(0.0, h, 4.0);
    // state 0 is the sum at 0
    let centres: Vec<f64> = std::iter::once(drift).chain(nodes.iter().map(|n| n.0 + drift)).collect();
    let mut chain = Chain::normal(&nodes, 1, &centres).ok_or_else(too_large)?;
    for (i, centre) in centres.iter().enumerate() {
        chain.to_first[i] += normal_sf(*centre);
        chain.exits[i] = normal_sf(h - centre);
    }
    let steps = chain.mean_steps();
    let from_head = if headstart == 0.0 { steps[0] } else { started(headstart + drift, h, &nodes, &steps) };
    let known = |v: f64| if v.is_nan() { f64::INFINITY } else { v };
    Ok((known(steps[0]), known(from_head)))
}

/// One more step of the equation, from a sum that is no node.
fn started(centre: f64, h: f64, nodes: &[(f64, f64)], steps: &[f64]) -> f64 {
    let back = normal_sf(centre);
    let (mut time, mut leave) = (1.0 + back * steps[0], back + normal_sf(h - centre));
    for j in near(nodes, centre, REACH) {
        let chance = nodes[j].1 * normal_pdf(nodes[j].0 - centre);
        time += chance * steps[j + 1];
        leave += chance;
    }
    time / leave
}
