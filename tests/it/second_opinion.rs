//! The distributions against those of the statrs crate, over the shapes where that crate was measured
//! to be good (chi-square and F tails 1e-12, t quantiles 1e-12; its normal tail has ten digits).

use knowledge::stats::dist;
use statrs::distribution::{ChiSquared, ContinuousCDF, FisherSnedecor, Normal, StudentsT};

fn near(ours: f64, theirs: f64, relative: f64, what: &str) {
    assert!((ours - theirs).abs() <= relative * theirs.abs(), "{what}: {ours}, statrs {theirs}");
}

#[test]
fn statrs_agrees_where_it_is_good() {
    for df in [1.0, 2.0, 5.0, 17.0, 120.0] {
        for x in [0.1, 1.0, 3.84, 20.0, 60.0] {
            let theirs = ChiSquared::new(df).unwrap().sf(x);
            near(dist::chi2_sf(x, df).unwrap(), theirs, 1e-12, &format!("chi2_sf({x}, {df})"));
            let theirs = FisherSnedecor::new(df, 7.0).unwrap().sf(x);
            near(dist::f_sf(x, df, 7.0).unwrap(), theirs, 1e-11, &format!("f_sf({x}, {df}, 7)"));
        }
        for p in [0.6, 0.9, 0.975, 0.999] {
            let theirs = StudentsT::new(0.0, 1.0, df).unwrap().inverse_cdf(p);
            near(dist::t_quantile(p, df).unwrap(), theirs, 1e-11, &format!("t_quantile({p}, {df})"));
        }
    }
    for z in [0.0, 0.5, 1.0, 1.96, 3.0, 5.0] {
        near(dist::normal_sf(z), Normal::standard().sf(z), 1e-9, &format!("normal_sf({z})"));
    }
}
