//! Tails and quantiles, against the reference library's figures.

use knowledge::stats::dist;
use knowledge::stats::proportion;
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

#[test]
fn the_scaled_tail_and_the_inflated_interval_hold() {
    // mpmath, 60 digits: erfc(x/sqrt(2))/2 exp(x^2/2)
    for (x, right) in [
        (0.2, 0.4292398082334737),
        (0.6, 0.3283405944606784),
        (1.0, 0.2615782918651234),
        (5.0, 0.07691930497500629),
        (8.0, 0.049122546212424935),
        (100.0, 0.00398902398135681),
    ] {
        let got = dist::normal_scaled_sf(x);
        assert!((got / right - 1.0).abs() < 1e-14, "{x}: {got}");
    }
    assert_eq!((dist::normal_scaled_sf(-1.0), dist::normal_scaled_sf(f64::NAN)), (0.5, 0.5));
    // statsmodels: proportion_confint(81, 263, method="wilson"), for 162 of 526 with a design effect of 2,
    // and proportion_confint(3.5, 20, method="wilson") for 7 of 40
    for (x, n, low, high) in
        [(162, 526, 0.2552885198782742, 0.36620957698280004), (7, 40, 0.06610623089104353, 0.388625121843289)]
    {
        let got = proportion::wilson_inflated(x, n, 2.0, 0.95).unwrap();
        assert!(
            (got.0 / low - 1.0).abs() < 1e-12 && (got.1 / high - 1.0).abs() < 1e-12,
            "{x} of {n}: {got:?}"
        );
    }
}
