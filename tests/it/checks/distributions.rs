//! Tails and quantiles, against the reference library's figures.

use knowledge::stats::dist;
use serde_json::Value;

use super::Check;
use super::holds;

pub const RUN: &[Check] = &[("distributions-a", distributions)];

#[test]
fn distributions_hold() {
    super::run(RUN);
}

fn distributions(c: &Value) {
    // in the order of the calls named in the check
    let got = [
        dist::normal_quantile(0.975),
        Some(dist::normal_sf(6.0)),
        dist::t_quantile(0.975, 7.0),
        dist::chi2_quantile(0.95, 9.0),
        dist::chi2_sf(60.0, 9.0),
        dist::f_quantile(0.95, 9.0, 90.0),
        dist::beta_quantile(0.025, 4.0, 17.0),
        dist::binomial_cdf(3, 52, 0.06),
        dist::poisson_cdf(3, 7.2),
        dist::hypergeometric_pmf(0, 100, 10, 20),
    ];
    for (i, v) in got.iter().enumerate() {
        holds(c, &format!("/values/{i}"), v.unwrap());
        // ten digits would pass; these functions claim more
        super::close(c, "to 1e-12", v.unwrap(), c["expected"]["values"][i].as_f64().unwrap(), 1e-12);
    }
}
