//! Both tails of the gamma and the beta distribution.
//!
//! The smaller tail is a series of positive terms while its shape is moderate, and an integral of the
//! density outwards from the point, relative to the density there, when it is large. The density
//! comes from Loader's expansion (Loader 2000, Fast and accurate computation of binomial
//! probabilities), which keeps its digits at any shape.

use crate::stats::dist::special::binomial_real;
use crate::stats::dist::special::ln_1p_minus;
use crate::stats::dist::special::poisson_real;
use crate::stats::dist::special::tail_integral;

/// Above this shape a series would need too many terms.
const LARGE: f64 = 60.0;

/// (below, above) of a beta distribution with shapes a, b at x, with y = 1 - x given apart.
pub(crate) fn beta_tails(a: f64, b: f64, x: f64, y: f64) -> (f64, f64) {
    if x <= 0.0 {
        return (0.0, 1.0);
    }
    if y <= 0.0 {
        return (1.0, 0.0);
    }
    if x * b <= y * a {
        let below = beta_below(a, b, x, y).clamp(0.0, 1.0);
        (below, 1.0 - below)
    } else {
        let above = beta_below(b, a, y, x).clamp(0.0, 1.0);
        (1.0 - above, above)
    }
}

/// The share below x, x not above the mean.
fn beta_below(a: f64, b: f64, x: f64, y: f64) -> f64 {
    // x^a y^b / B(a, b), which is xy times the density
    let front = binomial_real(a, b, x, y) * (a / (a + b)) * b;
    if front == 0.0 {
        return 0.0;
    }
    if a <= LARGE {
        // I = front/a · Σ (a+b)…(a+b+n-1) / ((a+1)…(a+n)) xⁿ
        let (mut term, mut sum, mut n) = (1.0, 1.0, 0.0);
        while n < 2e6 {
            term *= (a + b + n) / (a + 1.0 + n) * x;
            sum += term;
            n += 1.0;
            if term < 1e-17 * sum {
                break;
            }
        }
        return front / a * sum;
    }
    let slope = ((a - 1.0) * y - (b - 1.0) * x) / x / y;
    let bend = (a - 1.0) / x / x + (b - 1.0).abs() / y / y;
    let first = bend.sqrt().recip().min(slope.abs().recip()).min(y).min(x);
    let fall =
        |s: f64| (a - 1.0) * ln_1p_minus((-s / x).max(-1.0)) + (b - 1.0) * ln_1p_minus(s / y) - slope * s;
    front / x / y * tail_integral(fall, first, x)
}

/// (below, above) of a gamma distribution with shape a and rate 1 at x.
pub(crate) fn gamma_tails(a: f64, x: f64) -> (f64, f64) {
    if x <= 0.0 {
        return (0.0, 1.0);
    }
    if x == f64::INFINITY {
        return (1.0, 0.0);
    }
    // x^a e^-x / Γ(a)
    let front = poisson_real(a, x) * a;
    if a > LARGE {
        return if x <= a {
            let below = gamma_integral(a, x, front, -1.0);
            (below, 1.0 - below)
        } else {
            let above = gamma_integral(a, x, front, 1.0);
            (1.0 - above, above)
        };
    }
    if x < a + 1.0 {
        let (mut term, mut sum, mut n) = (1.0, 1.0, 0.0);
        while n < 1e5 {
            n += 1.0;
            term *= x / (a + n);
            sum += term;
            if term < 1e-17 * sum {
                break;
            }
        }
        let below = (front / a * sum).clamp(0.0, 1.0);
        (below, 1.0 - below)
    } else {
        let above = (front * gamma_fraction(a, x)).clamp(0.0, 1.0);
        (1.0 - above, above)
    }
}

/// Γ(a, x) e^x x^-a, Legendre's continued fraction by Lentz's method, for x ≥ a + 1.
fn gamma_fraction(a: f64, x: f64) -> f64 {
    const TINY: f64 = 1e-300;
    let mut b = x + 1.0 - a;
    let mut c = 1.0 / TINY;
    let mut d = 1.0 / b;
    let mut h = d;
    for i in 1..100_000 {
        let i = f64::from(i);
        let an = -i * (i - a);
        b += 2.0;
        d = an * d + b;
        d = if d.abs() < TINY { TINY } else { d }.recip();
        c = b + an / c;
        c = if c.abs() < TINY { TINY } else { c };
        let step = c * d;
        h *= step;
        if (step - 1.0).abs() < 1e-16 {
            break;
        }
    }
    h
}

/// The tail beyond x on the side of `sign`, by integration, for a large shape.
fn gamma_integral(a: f64, x: f64, front: f64, sign: f64) -> f64 {
    if front == 0.0 {
        return 0.0;
    }
    let slope = (a - 1.0 - x) / x;
    let first = (x / (a - 1.0).sqrt()).min(slope.abs().recip()).min(x);
    let fall = |s: f64| (a - 1.0) * ln_1p_minus((sign * s / x).max(-1.0)) + slope * sign * s;
    let end = if sign < 0.0 { x } else { f64::INFINITY };
    (front / x * tail_integral(fall, first, end)).clamp(0.0, 1.0)
}
