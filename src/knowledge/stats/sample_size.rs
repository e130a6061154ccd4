//! Sizes and power of comparing two shares, blades lying in moulds.

use crate::stats::dist::normal_cdf;
use crate::stats::dist::normal_quantile;

/// What a comparison of two shares must be able to tell, two-sided.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Aim {
    /// The share now.
    pub rate: f64,
    /// The share that would be worth having.
    pub worth_having: f64,
    /// The two-sided significance level, such as 0.05.
    pub alpha: f64,
    /// The chance of seeing the difference if it is there, such as 0.8.
    pub power: f64,
}

/// A trial's size.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct TrialSize {
    /// Blades in each arm if they were independent, not rounded.
    pub independent: f64,
    /// 1 + (m-1)ρ: how much more is needed because blades of a mould are alike.
    pub design_effect: f64,
    /// Blades in each arm, rounded up.
    pub blades_per_arm: u64,
    /// Moulds in each arm, rounded up.
    pub moulds_per_arm: u64,
}

/// Blades in each arm if they were independent, not rounded: (z_{1-α/2} √(2p̄(1-p̄)) + z_{power:?}
/// √(p1(1-p1)+p2(1-p2)))² / (p1-p2)² with p̄ = (p1+p2)/2. Normal approximation without continuity
/// correction; Fleiss, Levin and Paik, Statistical Methods for Rates and Proportions, ch. 4.
///
/// # Errors
/// A share outside 0 to 1, equal shares, alpha or power outside (0, 1), power not above alpha/2.
///
/// ```
/// use knowledge::stats::sample_size::{Aim, independent};
/// let n = independent(Aim { rate: 0.5, worth_having: 0.75, alpha: 0.05, power: 0.9 }).unwrap();
/// assert!((n - 76.70693).abs() < 1e-4);
/// ```
pub fn independent(aim: Aim) -> Result<f64, String> {
    let Aim { rate, worth_having, alpha, power } = aim;
    checked(rate, worth_having, alpha)?;
    if !(power > 0.5 * alpha && power < 1.0) {
        return Err(format!(
            "the power is {power:?}; it belongs between half of alpha ({}) and 1, such as 0.8",
            0.5 * alpha
        ));
    }
    let beyond = || format!("alpha {alpha:?} with power {power:?} is beyond what is computed");
    let z_alpha = -normal_quantile(0.5 * alpha).ok_or_else(beyond)?;
    let z_power = normal_quantile(power).ok_or_else(beyond)?;
    let (null, other) = spreads(rate, worth_having);
    let root = (z_alpha * null + z_power * other).max(0.0) / (rate - worth_having);
    let n = root * root;
    if n.is_finite() {
        Ok(n)
    } else {
        Err("the shares are so close that no number of blades would tell them apart".into())
    }
}

/// The chance of seeing the difference with n independent blades in each arm,
/// Φ((√n |p1-p2| - z_{1-α/2} √(2p̄(1-p̄))) / √(p1(1-p1)+p2(1-p2))); the far tail is left out, as usual.
///
/// # Errors
/// As [`independent`]; n not above 0.
///
/// ```
/// let power = knowledge::stats::sample_size::power(0.5, 0.75, 0.05, 50.0).unwrap();
/// assert!((power - 0.7401659).abs() < 1e-6);
/// ```
pub fn power(rate: f64, worth_having: f64, alpha: f64, n: f64) -> Result<f64, String> {
    checked(rate, worth_having, alpha)?;
    if !(n > 0.0 && n.is_finite()) {
        return Err(format!("n is {n}; a number of blades above 0 belongs there"));
    }
    let z_alpha =
        -normal_quantile(0.5 * alpha).ok_or_else(|| format!("alpha {alpha:?} is beyond what is computed"))?;
    let (null, other) = spreads(rate, worth_having);
    let ahead = n.sqrt() * (rate - worth_having).abs() - z_alpha * null;
    if other == 0.0 {
        // 0 against 1: without spread the outcome is sure
        return Ok(if ahead > 0.0 { 1.0 } else { 0.0 });
    }
    Ok(normal_cdf(ahead / other))
}

/// The size of a trial with `per_mould` blades in a mould and an intracluster correlation ρ: independent
/// blades times 1 + (m-1)ρ, and the moulds that hold them. Source: Donner and Klar 2000, Design and Analysis
/// of Cluster Randomization Trials.
///
/// # Errors
/// As [`independent`]; fewer than one blade in a mould; ρ outside 0 to 1; more than 1e12 blades.
///
/// ```
/// use knowledge::stats::sample_size::{Aim, trial};
/// let plan = trial(Aim { rate: 0.10, worth_having: 0.04, alpha: 0.05, power: 0.8 }, 24.0, 0.03).unwrap();
/// assert_eq!(plan.moulds_per_arm, 20);
/// assert!((plan.design_effect - 1.69).abs() < 1e-12);
/// ```
pub fn trial(aim: Aim, per_mould: f64, icc: f64) -> Result<TrialSize, String> {
    if !(per_mould >= 1.0 && per_mould.is_finite()) {
        return Err(format!("{per_mould:?} blades in a mould; 1 or more belong there"));
    }
    if !(0.0..=1.0).contains(&icc) {
        return Err(format!("the intracluster correlation is {icc:?}; it belongs from 0 to 1, such as 0.03"));
    }
    let independent = independent(aim)?;
    let design_effect = 1.0 + (per_mould - 1.0) * icc;
    let blades = independent * design_effect;
    if blades > 1e12 {
        return Err("more than 1e12 blades would be needed; the difference is too small to look for".into());
    }
    Ok(TrialSize {
        independent,
        design_effect,
        blades_per_arm: (blades.ceil() as u64).max(1),
        moulds_per_arm: ((blades / per_mould).ceil() as u64).max(1),
    })
}

/// Standard deviations of the difference for one blade an arm: if there is none, and as it is.
fn spreads(p1: f64, p2: f64) -> (f64, f64) {
    let middle = 0.5 * (p1 + p2);
    ((2.0 * middle * (1.0 - middle)).sqrt(), (p1 * (1.0 - p1) + p2 * (1.0 - p2)).sqrt())
}

fn checked(p1: f64, p2: f64, alpha: f64) -> Result<(), String> {
    for p in [p1, p2] {
        if !(0.0..=1.0).contains(&p) {
            return Err(format!("a share is {p:?}; it belongs from 0 to 1"));
        }
    }
    if p1 == p2 {
        return Err(format!("both shares are {p1:?}; there is no difference to look for"));
    }
    if !(alpha > 0.0 && alpha < 1.0) {
        return Err(format!("alpha is {alpha:?}; it belongs strictly between 0 and 1, such as 0.05"));
    }
    Ok(())
}
