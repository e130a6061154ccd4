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

pub(crate) mod continuous;
pub(crate) mod discrete;
pub(crate) mod incomplete;
pub(crate) mod noncentral;
pub(crate) mod normal;
pub(crate) mod quantile;
pub(crate) mod special;

pub use crate::stats::dist::continuous::beta_cdf;
pub use crate::stats::dist::continuous::beta_quantile;
pub use crate::stats::dist::continuous::beta_sf;
pub use crate::stats::dist::continuous::chi2_cdf;
pub use crate::stats::dist::continuous::chi2_quantile;
pub use crate::stats::dist::continuous::chi2_sf;
pub use crate::stats::dist::continuous::f_cdf;
pub use crate::stats::dist::continuous::f_quantile;
pub use crate::stats::dist::continuous::f_sf;
pub use crate::stats::dist::continuous::gamma_cdf;
pub use crate::stats::dist::continuous::gamma_quantile;
pub use crate::stats::dist::continuous::gamma_sf;
pub use crate::stats::dist::continuous::t_cdf;
pub use crate::stats::dist::continuous::t_quantile;
pub use crate::stats::dist::continuous::t_sf;
pub use crate::stats::dist::discrete::binomial_cdf;
pub use crate::stats::dist::discrete::binomial_pmf;
pub use crate::stats::dist::discrete::binomial_sf;
pub use crate::stats::dist::discrete::hypergeometric_cdf;
pub use crate::stats::dist::discrete::hypergeometric_pmf;
pub use crate::stats::dist::discrete::hypergeometric_sf;
pub use crate::stats::dist::discrete::poisson_cdf;
pub use crate::stats::dist::discrete::poisson_pmf;
pub use crate::stats::dist::discrete::poisson_sf;
pub use crate::stats::dist::noncentral::noncentral_t_cdf;
pub use crate::stats::dist::normal::normal_cdf;
pub use crate::stats::dist::normal::normal_ln_sf;
pub use crate::stats::dist::normal::normal_pdf;
pub use crate::stats::dist::normal::normal_quantile;
pub use crate::stats::dist::normal::normal_scaled_sf;
pub use crate::stats::dist::normal::normal_sf;
pub use crate::stats::dist::special::ln_beta;
pub use crate::stats::dist::special::ln_choose;
pub use crate::stats::dist::special::ln_gamma;
