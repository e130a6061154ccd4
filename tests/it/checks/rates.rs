//! Proportions, rates, tables, strata, trend, agreement, discovery rate, clusters.

use knowledge::stats::clustered;
use knowledge::stats::clustered::Cluster;
use knowledge::stats::contingency;
use knowledge::stats::dist;
use knowledge::stats::fdr;
use knowledge::stats::kappa;
use knowledge::stats::kappa::Weights;
use knowledge::stats::poisson;
use knowledge::stats::proportion;
use knowledge::stats::strata;
use knowledge::stats::trend;
use knowledge::stats::two_proportions;
use serde_json::Value;

use super::Check;
use super::close;
use super::count_rows;
use super::counts;
use super::csv_rows;
use super::holds;
use super::numbers;

pub const RUN: &[Check] = &[
    ("wilson-newcombe-1", wilson),
    ("newcombe-single-0-20", single),
    ("newcombe-single-81-263", single),
    ("clopper-pearson-r", exact),
    ("wilson-r-prop-test", wilson_and_score),
    ("upper-bound-zero-failures", upper_bound),
    ("newcombe-diff-1", difference),
    ("newcombe-diff-edge-a", difference_edges),
    ("two-prop-fagerland", two_samples),
    ("two-prop-z", pooled_z),
    ("fisher-tea", tea),
    ("chisq-party", chi_square),
    ("k-prop-smokers", several_shares),
    ("mh-rabbits", mantel_haenszel),
    ("mh-bd-strat2", mantel_haenszel),
    ("bd-teeth", breslow_day),
    ("trend-smokers", cochran_armitage),
    ("cohen-kappa-3x3", cohen),
    ("cohen-kappa-weighted", cohen_linear),
    ("fleiss-kappa-1971", fleiss),
    ("bh-1995", benjamini_hochberg),
    ("cluster-donner-1993", donner),
    ("cluster-raoscott-weil", rao_scott),
    ("poisson-rate-exact", poisson_interval),
    ("poisson-two-rates-exact", poisson_two),
    ("poisson-gu-2008", poisson_one_sided),
];

#[test]
fn rates_hold() {
    super::run(RUN);
}

fn data(c: &Value, key: &str) -> u64 {
    c["data"][key].as_u64().unwrap_or_else(|| panic!("{}: no {key}", c["id"]))
}

fn pair(c: &Value, keys: [&str; 2], got: (f64, f64)) {
    holds(c, keys[0], got.0);
    holds(c, keys[1], got.1);
}

fn wilson(c: &Value) {
    pair(c, ["/lo", "/hi"], proportion::wilson(data(c, "x"), data(c, "n"), 0.95).unwrap());
}

/// `wilson_cc` is not built: the plain score interval is the one the tool shows.
fn single(c: &Value) {
    let (x, n) = (data(c, "x"), data(c, "n"));
    pair(c, ["/wilson/0", "/wilson/1"], proportion::wilson(x, n, 0.95).unwrap());
    pair(c, ["/clopper_pearson/0", "/clopper_pearson/1"], proportion::clopper_pearson(x, n, 0.95).unwrap());
}

fn exact(c: &Value) {
    let (x, n) = (data(c, "x"), data(c, "n"));
    pair(c, ["/lo", "/hi"], proportion::clopper_pearson(x, n, 0.95).unwrap());
    holds(c, "/p", proportion::exact_test(x, n, 0.75).unwrap());
}

/// The corrected figures are not built; the score statistic is that of the interval's own equation.
fn wilson_and_score(c: &Value) {
    pair(c, ["/wilson/0", "/wilson/1"], proportion::wilson(52, 100, 0.95).unwrap());
    // at the confidence 1 - p of the published score test the interval ends at the value tested
    let conf = 1.0 - c["recomputed"]["p"].as_f64().unwrap();
    let end = proportion::wilson(52, 100, conf).unwrap().0;
    close(c, "score test", end, 0.5, 1e-9);
}

fn upper_bound(c: &Value) {
    for (i, n) in counts(&c["data"]["n"]).into_iter().enumerate() {
        // one-sided 95 % is the upper end of a two-sided 90 %
        holds(c, &format!("/upper/{i}"), proportion::clopper_pearson(0, n, 0.9).unwrap().1);
    }
}

fn difference(c: &Value) {
    let t = two_proportions::compare((56, 70), (48, 80), 0.95).unwrap();
    holds(c, "/diff", t.difference.unwrap());
    pair(c, ["/lo", "/hi"], t.newcombe.unwrap());
}

fn difference_edges(c: &Value) {
    for (i, case) in count_rows(&c["data"]["cases"]).into_iter().enumerate() {
        let t = two_proportions::compare((case[0], case[1]), (case[2], case[3]), 0.95).unwrap();
        pair(c, [&format!("/ci/{i}/0"), &format!("/ci/{i}/1")], t.newcombe.unwrap());
    }
}

/// Newcombe's and Katz's intervals are built; the other four are not.
fn two_samples(c: &Value) {
    let t = two_proportions::compare((7, 34), (1, 34), 0.95).unwrap();
    pair(c, ["/newcombe_diff/0", "/newcombe_diff/1"], t.newcombe.unwrap());
    pair(c, ["/katz_log_ratio/0", "/katz_log_ratio/1"], t.ratio_interval.unwrap());
}

fn pooled_z(c: &Value) {
    let t = two_proportions::compare((32, 38), (39, 44), 0.95).unwrap();
    holds(c, "/z", t.z.unwrap());
    holds(c, "/p_two_sided", t.chi2_p.unwrap());
}

/// The one-sided p is a hypergeometric tail; the conditional odds ratio is not built.
fn tea(c: &Value) {
    holds(c, "/p", dist::hypergeometric_sf(2, 8, 4, 4).unwrap());
}

fn chi_square(c: &Value) {
    let t = contingency::chi_square(&count_rows(&c["data"]["table"])).unwrap();
    holds(c, "/chi2", t.chi2);
    holds(c, "/df", t.df as f64);
    holds(c, "/p", t.p);
}

fn several_shares(c: &Value) {
    let (x, n) = (counts(&c["data"]["x"]), counts(&c["data"]["n"]));
    let table: Vec<Vec<u64>> = x.iter().zip(&n).map(|(&x, &n)| vec![x, n - x]).collect();
    let t = contingency::chi_square(&table).unwrap();
    holds(c, "/chi2", t.chi2);
    holds(c, "/df", t.df as f64);
    holds(c, "/p", t.p);
}

fn tables(c: &Value) -> Vec<[[u64; 2]; 2]> {
    let rows = c["data"]["tables"].as_array().unwrap().iter().map(count_rows);
    rows.map(|t| [[t[0][0], t[0][1]], [t[1][0], t[1][1]]]).collect()
}

fn mantel_haenszel(c: &Value) {
    let s = strata::mantel_haenszel(&tables(c), 0.95).unwrap();
    holds(c, "/or_mh", s.odds_ratio.unwrap());
    pair(c, ["/lo", "/hi"], s.interval.unwrap());
    pair(c, ["/chi2_cc", "/p"], s.cmh_corrected.unwrap());
    if c["expected"].get("breslow_day").is_some() {
        pair(c, ["/breslow_day", "/bd_p"], s.breslow_day.unwrap());
    }
}

fn breslow_day(c: &Value) {
    let s = strata::mantel_haenszel(&tables(c), 0.95).unwrap();
    pair(c, ["/breslow_day", "/p"], s.breslow_day.unwrap());
}

fn cochran_armitage(c: &Value) {
    let (x, n) = (counts(&c["data"]["x"]), counts(&c["data"]["n"]));
    let t = trend::cochran_armitage(&numbers(&c["data"]["scores"]), &x, &n).unwrap().unwrap();
    holds(c, "/chi2", t.chi2);
    holds(c, "/p", t.p);
    let t = trend::cochran_armitage(&[0.0, 0.0, 0.0, 1.0], &x, &n).unwrap().unwrap();
    holds(c, "/chi2_scores_0001", t.chi2);
    holds(c, "/p_scores_0001", t.p);
    assert!(t.z < 0.0, "the last share is the lowest");
}

fn agreement(c: &Value, weights: Weights) {
    let k = kappa::cohen(&count_rows(&c["data"]["table"]), weights).unwrap().unwrap();
    let (error, null) = (k.std_error.unwrap(), k.std_error_null.unwrap());
    let z = dist::normal_quantile(0.975).unwrap();
    holds(c, "/kappa", k.kappa);
    holds(c, "/ase", error);
    holds(c, "/ase0", null);
    holds(c, "/z", k.kappa / null);
    pair(c, ["/lo", "/hi"], (k.kappa - z * error, k.kappa + z * error));
}

fn cohen(c: &Value) {
    agreement(c, Weights::None);
}

fn cohen_linear(c: &Value) {
    agreement(c, Weights::Linear);
}

/// `z` was published to two decimals and is held to its recomputed digits.
fn fleiss(c: &Value) {
    let k = kappa::fleiss(&count_rows(&c["data"]["counts_per_category"])).unwrap().unwrap();
    holds(c, "/kappa", k.kappa);
    for (i, v) in k.categories.iter().enumerate() {
        holds(c, &format!("/category_kappas/{i}"), v.unwrap());
    }
    holds(c, "/z", k.kappa / k.std_error_null.unwrap());
}

/// The other two procedures of the example (Bonferroni, Hochberg) are not built.
fn benjamini_hochberg(c: &Value) {
    let q = fdr::benjamini_hochberg(&numbers(&c["data"]["p"])).unwrap();
    holds(c, "/rejected_bh", q.iter().filter(|q| **q <= 0.05).count() as f64);
    for (i, v) in q.iter().enumerate() {
        close(c, "adjusted", *v, c["recomputed"]["adjusted_bh"][i].as_f64().unwrap(), 1e-12);
    }
}

fn donner(c: &Value) {
    let mut clusters = Vec::new();
    for (group, arm) in ["arm1", "arm2"].iter().enumerate() {
        let (x, n) = (counts(&c["data"][arm]["y"]), counts(&c["data"][arm]["n"]));
        clusters.extend(x.iter().zip(&n).map(|(&x, &n)| Cluster { group, n, x }));
    }
    let r = clustered::compare(&clusters, &["arm1", "arm2"]).unwrap();
    holds(c, "/icc", r.icc.unwrap());
    holds(c, "/C1", r.corrections[0].unwrap());
    holds(c, "/C2", r.corrections[1].unwrap());
    let (chi2, p) = r.donner.unwrap();
    close(c, "adjusted", chi2, c["recomputed"]["chi2_adjusted"].as_f64().unwrap(), 1e-9);
    close(c, "p", p, c["recomputed"]["p"].as_f64().unwrap(), 1e-9);
}

/// The variant with one pooled design effect is not built.
fn rao_scott(c: &Value) {
    let rows = csv_rows(c, &["group", "n", "y"]);
    let clusters: Vec<Cluster> = rows
        .iter()
        .map(|r| Cluster {
            group: usize::from(r[0] != "CTRL"),
            n: r[1].parse().unwrap(),
            x: r[2].parse().unwrap(),
        })
        .collect();
    let r = clustered::compare(&clusters, &["CTRL", "TREAT"]).unwrap();
    for i in 0..2 {
        holds(c, &format!("/proportions/{i}"), r.shares[i].unwrap());
        holds(c, &format!("/deff/{i}"), r.design_effects[i].unwrap());
        holds(c, &format!("/C/{i}"), r.corrections[i].unwrap());
    }
    pair(c, ["/chi2_raoscott", "/p_raoscott"], r.rao_scott.unwrap());
    holds(c, "/icc", r.icc.unwrap());
    pair(c, ["/chi2_donner", "/p_donner"], r.donner.unwrap());
}

fn poisson_interval(c: &Value) {
    let t = c["data"]["exposure"].as_f64().unwrap();
    holds(c, "/rate", 137.0 / t);
    pair(c, ["/lo", "/hi"], poisson::interval(data(c, "count"), t, 0.95).unwrap());
}

fn poisson_two(c: &Value) {
    let two = poisson::compare((11, 800.0), (21, 3011.0), 0.95).unwrap();
    holds(c, "/p", two.p);
    holds(c, "/ratio", two.ratio.unwrap());
    pair(c, ["/lo", "/hi"], (two.interval.0.unwrap(), two.interval.1.unwrap()));
}

/// The exact conditional test alone is built; one-sided it is a binomial tail.
fn poisson_one_sided(c: &Value) {
    let (t1, t2) = (c["data"]["t1"].as_f64().unwrap(), c["data"]["t2"].as_f64().unwrap());
    let share = t1 / (t1 + t2);
    holds(c, "/exact_cond", dist::binomial_sf(59, 90, share).unwrap());
    let mid = dist::binomial_sf(60, 90, share).unwrap() + 0.5 * dist::binomial_pmf(60, 90, share).unwrap();
    holds(c, "/mid_p", mid);
}
