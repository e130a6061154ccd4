//! Distributions: densities, both tails and quantiles, in double precision.
//!
//! Everything that needs a distribution takes it from here. The functions are our own and not
//! those of the statistics crate, because the crate's erf has ten digits, its beta distribution
//! loses its way at large shapes, and some of its quantiles do not return.
//!
//! Both tails are computed directly: the smaller one by a sum or an integral of positive terms, the
//! larger one as its complement, so a tail of 1e-200 is as good as one of 0.1. Accuracy against
//! exact values: 2e-13 relative for shapes (or counts) from 0.01 to 1e4, 1e-11 up to 1e8, and about 1e-7 at
//! 1e15, where the argument itself, as a double, no longer says more.
//!
//! Functions with parameters return `None` where a parameter is outside its range (shapes and degrees
//! of freedom lie between 1e-100 and 1e100) or an argument is not a number; nothing here returns NaN, panics, or runs on.

mod continuous;
mod discrete;
mod incomplete;
mod noncentral;
mod normal;
mod quantile;
mod special;

pub use continuous::beta_cdf;
pub use continuous::beta_quantile;
pub use continuous::beta_sf;
pub use continuous::chi2_cdf;
pub use continuous::chi2_quantile;
pub use continuous::chi2_sf;
pub use continuous::f_cdf;
pub use continuous::f_quantile;
pub use continuous::f_sf;
pub use continuous::gamma_cdf;
pub use continuous::gamma_quantile;
pub use continuous::gamma_sf;
pub use continuous::t_cdf;
pub use continuous::t_quantile;
pub use continuous::t_sf;
pub use discrete::binomial_cdf;
pub use discrete::binomial_pmf;
pub use discrete::binomial_sf;
pub use discrete::hypergeometric_cdf;
pub use discrete::hypergeometric_pmf;
pub use discrete::hypergeometric_sf;
pub use discrete::poisson_cdf;
pub use discrete::poisson_pmf;
pub use discrete::poisson_sf;
pub use noncentral::noncentral_t_cdf;
pub use normal::normal_cdf;
pub use normal::normal_ln_sf;
pub use normal::normal_pdf;
pub use normal::normal_quantile;
pub use normal::normal_sf;
pub use special::ln_beta;
pub use special::ln_choose;
pub use special::ln_gamma;
