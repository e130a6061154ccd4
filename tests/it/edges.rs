//! Extreme and empty input to the statistics: an answer or a sentence, never NaN, a panic or a hang.

use std::time::Duration;
use std::time::Instant;

use knowledge::stats::anova;
use knowledge::stats::clustered;
use knowledge::stats::clustered::Cluster;
use knowledge::stats::contingency;
use knowledge::stats::design::Design;
use knowledge::stats::dist;
use knowledge::stats::fisher;
use knowledge::stats::gauge;
use knowledge::stats::kappa;
use knowledge::stats::linear;
use knowledge::stats::logistic;
use knowledge::stats::poisson;
use knowledge::stats::proportion;
use knowledge::stats::ranks;
use knowledge::stats::spread;
use knowledge::stats::strata;
use knowledge::stats::summary;
use knowledge::stats::trend;
use knowledge::stats::two_proportions;
use proptest::prelude::*;

/// A sum over counts like these would take days; a busy machine only makes milliseconds seconds.
const AT_MOST: Duration = Duration::from_secs(300);

const LARGEST: u64 = 1_000_000_000_000_000;

/// Counts at every scale, the ends among them.
fn size() -> impl Strategy<Value = u64> {
    prop_oneof![0u64..20, 0u64..10_000, 0u64..LARGEST, Just(0), Just(1), Just(LARGEST)]
}

/// x of n, none and all among them.
fn share() -> impl Strategy<Value = (u64, u64)> {
    (size(), 0.0f64..=1.0, 0u8..4).prop_map(|(n, p, kind)| match kind {
        0 => (0, n),
        1 => (n, n),
        _ => (((n as f64 * p) as u64).min(n), n),
    })
}

/// Numbers that a careless call might pass.
fn any_number() -> impl Strategy<Value = f64> {
    prop_oneof![
        any::<f64>(),
        -50.0f64..50.0,
        0.0f64..1.0,
        Just(0.0),
        Just(1.0),
        Just(f64::NAN),
        Just(f64::INFINITY),
        Just(f64::MIN_POSITIVE),
        Just(1e15),
    ]
}

/// Values of a measurement, constant ones and huge ones among them.
fn values() -> impl Strategy<Value = Vec<f64>> {
    prop_oneof![
        prop::collection::vec(-10.0f64..10.0, 1..12),
        prop::collection::vec(prop_oneof![Just(0.1), Just(0.3)], 1..8),
        prop::collection::vec(prop_oneof![Just(1e300), Just(-1e300), Just(0.0)], 1..4),
        (any_number().prop_filter("finite", |v| v.is_finite()), 1usize..6).prop_map(|(v, n)| vec![v; n]),
    ]
}

fn in_unit(name: &str, got: Option<f64>) {
    if let Some(p) = got {
        assert!((0.0..=1.0).contains(&p), "{name} gives {p}");
    }
}

fn all_finite(name: &str, got: impl IntoIterator<Item = Option<f64>>) {
    for v in got.into_iter().flatten() {
        assert!(v.is_finite(), "{name} gives {v}");
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 400, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn tails_stay_between_0_and_1(x in any_number(), a in any_number(), b in any_number()) {
        in_unit("normal", Some(dist::normal_cdf(x)));
        in_unit("normal", Some(dist::normal_sf(x)));
        prop_assert!(!dist::normal_pdf(x).is_nan() && !dist::normal_ln_sf(x).is_nan());
        prop_assert!(!dist::ln_gamma(x).is_nan() && !dist::ln_beta(x, a).is_nan());
        for tail in [dist::t_sf, dist::chi2_sf, dist::gamma_sf] {
            in_unit("one parameter", tail(x, a));
        }
        for tail in [dist::f_sf, dist::beta_cdf, dist::beta_sf, dist::noncentral_t_cdf] {
            in_unit("two parameters", tail(x, a, b));
        }
    }

    #[test]
    fn quantiles_end_and_are_numbers(p in any_number(), a in any_number(), b in any_number()) {
        let start = Instant::now();
        let got = [
            dist::normal_quantile(p),
            dist::t_quantile(p, a),
            dist::chi2_quantile(p, a),
            dist::gamma_quantile(p, a),
            dist::f_quantile(p, a, b),
            dist::beta_quantile(p, a, b),
        ];
        all_finite("quantile", got);
        prop_assert!(start.elapsed() < AT_MOST, "{p} {a} {b}: {:?}", start.elapsed());
    }

    /// There and back: the tail at a quantile is the probability asked for.
    #[test]
    fn quantiles_return(p in 1e-9f64..1.0, a in 0.3f64..1e6, b in 0.3f64..1e6) {
        let pairs = [
            dist::beta_quantile(p, a, b).zip(dist::beta_quantile(p, a, b).and_then(|x| dist::beta_cdf(x, a, b))),
            dist::gamma_quantile(p, a).zip(dist::gamma_quantile(p, a).and_then(|x| dist::gamma_sf(x, a)).map(|above| 1.0 - above)),
            dist::t_quantile(p, a).zip(dist::t_quantile(p, a).and_then(|x| dist::t_sf(-x, a))),
            dist::f_quantile(p, a, b).zip(dist::f_quantile(p, a, b).and_then(|x| dist::f_sf(x, a, b)).map(|above| 1.0 - above)),
        ];
        for (at, back) in pairs.into_iter().flatten() {
            // near 1 a beta quantile is as coarse as doubles are there
            prop_assert!((back - p).abs() <= 1e-9 * p.max(1e-3), "{p} {a} {b}: {at} gives {back}");
        }
    }

    #[test]
    fn counted_tails_stay_between_0_and_1((k, n) in share(), p in any_number(), (drawn, lot) in share()) {
        for tail in [dist::binomial_pmf, dist::binomial_cdf, dist::binomial_sf] {
            in_unit("binomial", tail(k, n, p));
        }
        for tail in [dist::poisson_pmf, dist::poisson_cdf, dist::poisson_sf] {
            in_unit("poisson", tail(k, p));
        }
        let marked = k.min(lot);
        for tail in [dist::hypergeometric_pmf, dist::hypergeometric_cdf, dist::hypergeometric_sf] {
            in_unit("hypergeometric", tail(k.min(drawn), lot, marked, drawn));
        }
        prop_assert!(!dist::ln_choose(n, k).is_nan());
    }

    #[test]
    fn shares_have_an_answer((x1, n1) in share(), (x2, n2) in share(), p0 in 0.0f64..=1.0) {
        let start = Instant::now();
        for (lo, hi) in [proportion::wilson(x1, n1, 0.95), proportion::clopper_pearson(x1, n1, 0.95)].map(Result::unwrap) {
            prop_assert!(0.0 <= lo && lo <= hi && hi <= 1.0, "{x1} of {n1}: {lo} {hi}");
            if n1 > 0 {
                let p = x1 as f64 / n1 as f64;
                prop_assert!(lo <= p * (1.0 + 1e-12) && p <= hi * (1.0 + 1e-12), "{x1} of {n1}: {lo} {hi}");
            }
        }
        in_unit("exact test", Some(proportion::exact_test(x1, n1, p0).unwrap()));
        let t = two_proportions::compare((x1, n1), (x2, n2), 0.95).unwrap();
        in_unit("fisher", Some(t.fisher_p));
        let pairs = [t.newcombe, t.ratio_interval].into_iter().flatten().flat_map(|i| [Some(i.0), Some(i.1)]);
        all_finite("rates", [t.difference, t.ratio, t.odds_ratio, t.z, t.chi2, t.chi2_p].into_iter().chain(pairs));
        // taken the other way round, everything is mirrored
        let back = two_proportions::compare((x2, n2), (x1, n1), 0.95).unwrap();
        // to a rounding: the two shares are subtracted in the other order
        let sum = t.difference.zip(back.difference).map(|(d, b)| d + b);
        prop_assert!(sum.is_none_or(|s| s.abs() <= 1e-15), "{:?} {:?}", t.difference, back.difference);
        prop_assert!((t.fisher_p - back.fisher_p).abs() <= 1e-6 * t.fisher_p + 1e-300, "{} {}", t.fisher_p, back.fisher_p);
        let two = poisson::compare((x1, 3.0), (x2, 1e-3), 0.95).unwrap();
        in_unit("rates", Some(two.p));
        all_finite("rates", [two.ratio, two.interval.0, two.interval.1]);
        let (lo, hi) = poisson::interval(x1, 2.5, 0.95).unwrap();
        prop_assert!(lo.is_finite() && lo < hi && hi.is_finite());
        prop_assert!(start.elapsed() < AT_MOST, "{:?}", start.elapsed());
    }

    #[test]
    fn tables_have_an_answer(cells in prop::collection::vec(size(), 12)) {
        let cells: Vec<u64> = cells.iter().map(|c| c / 12).collect();
        let rows: Vec<Vec<u64>> = cells.chunks(4).map(<[u64]>::to_vec).collect();
        if let Ok(t) = contingency::chi_square(&rows) {
            prop_assert!(t.chi2.is_finite() && (0.0..=1.0).contains(&t.p));
        }
        let tables: Vec<[[u64; 2]; 2]> = rows.iter().map(|r| [[r[0], r[1]], [r[2], r[3]]]).collect();
        let s = strata::mantel_haenszel(&tables, 0.95).unwrap();
        let pairs = [s.interval, s.cmh, s.cmh_corrected, s.breslow_day].into_iter().flatten();
        all_finite("strata", pairs.flat_map(|p| [Some(p.0), Some(p.1)]).chain([s.odds_ratio]));
        let n: Vec<u64> = rows.iter().map(|r| r[0] + r[1]).collect();
        let x: Vec<u64> = rows.iter().map(|r| r[0]).collect();
        if let Some(t) = trend::cochran_armitage(&[1.0, 1e200, -1e200], &x, &n).unwrap() {
            prop_assert!(t.z.is_finite() && (0.0..=1.0).contains(&t.p));
        }
        let square: Vec<Vec<u64>> = rows.iter().map(|r| r[..3].to_vec()).collect();
        for w in [kappa::Weights::None, kappa::Weights::Linear, kappa::Weights::Quadratic] {
            if let Some(k) = kappa::cohen(&square, w).unwrap() {
                all_finite("kappa", [Some(k.kappa), k.std_error, k.std_error_null]);
            }
        }
        if let Ok(Some(k)) = kappa::fleiss(&rows) {
            all_finite("fleiss", k.categories.iter().copied().chain([Some(k.kappa), k.std_error_null]));
        }
        let clusters: Vec<Cluster> =
            cells.chunks(2).enumerate().map(|(i, c)| Cluster { group: i % 2, n: c[0] + c[1], x: c[0] }).collect();
        if let Ok(r) = clustered::compare(&clusters, &["a", "b"]) {
            let tests = [r.rao_scott, r.donner].into_iter().flatten().flat_map(|t| [Some(t.0), Some(t.1)]);
            all_finite("clustered", tests.chain(r.design_effects).chain(r.corrections).chain([r.icc]));
        }
    }

    #[test]
    fn groups_have_an_answer(groups in prop::collection::vec(values(), 1..5)) {
        let s = summary::summarise(&groups[0]);
        all_finite("summary", [s.mean, s.sd, s.lag1]);
        for a in [anova::one_way(&groups), spread::levene(&groups)].into_iter().flatten() {
            all_finite("anova", [Some(a.ms_between), a.ms_within, a.f, a.p]);
        }
        for t in [ranks::kruskal_wallis(&groups), spread::bartlett(&groups)].into_iter().flatten() {
            all_finite("test", [t.statistic, t.p]);
        }
        if let Ok(c) = anova::components(&groups) {
            all_finite("components", [c.outer, Some(c.residual)]);
        }
        if let Ok(c) = anova::nested(&[groups.clone(), groups.clone()]) {
            all_finite("nested", [c.outer, c.inner, Some(c.residual)]);
        }
        let all: Vec<f64> = groups.concat().into_iter().cycle().take(8).collect();
        let g = gauge::study(&["1", "1", "1", "1", "2", "2", "2", "2"], &["a", "a", "b", "b", "a", "a", "b", "b"], &all);
        if let Ok(g) = g {
            all_finite("gauge", [Some(g.total), Some(g.part), Some(g.repeatability)]);
        }
    }

    #[test]
    fn regressions_have_an_answer_or_a_sentence(
        x in prop::collection::vec(prop_oneof![-3.0f64..3.0, Just(0.0), Just(1e300), Just(1e-300)], 8),
        z in prop::collection::vec(0u8..2, 8),
        (small, large) in (prop::collection::vec(0u64..3, 8), prop::collection::vec(share(), 8)),
    ) {
        let start = Instant::now();
        let codes: Vec<f64> = z.iter().map(|v| f64::from(*v)).collect();
        let design = Design::new(8).constant().column("x", &x).unwrap().column("z", &codes).unwrap();
        if let Ok(fit) = linear::fit(&codes, &design) {
            all_finite("linear", fit.coefficients.iter().map(|v| Some(*v)));
            all_finite("linear", fit.std_errors.into_iter().flatten().map(Some).chain([fit.r2, fit.residual_sd]));
        }
        let twos = vec![2; 8];
        let (hits, sizes): (Vec<u64>, Vec<u64>) = large.into_iter().unzip();
        let clusters = [0, 0, 1, 1, 2, 2, 3, 3];
        for fit in [
            logistic::fit(&small, &twos, &design, None),
            logistic::fit(&hits, &sizes, &design, None),
            logistic::fit(&small, &twos, &design, Some(&clusters)),
        ] {
            match fit {
                Ok(f) => all_finite("logistic", f.coefficients.into_iter().chain(f.std_errors).chain([f.loglik, f.deviance]).map(Some)),
                Err(sentence) => prop_assert!(sentence.len() > 20),
            }
        }
        prop_assert!(start.elapsed() < AT_MOST, "{:?}", start.elapsed());
    }
}

#[test]
fn separation_and_singular_designs_are_told() {
    let ones = vec![1; 6];
    let y = [0, 0, 0, 1, 1, 1];
    let design = |x: &[f64]| Design::new(6).constant().column("x", x).unwrap();
    let apart = logistic::fit(&y, &ones, &design(&[1.0, 2.0, 3.0, 4.0, 5.0, 6.0]), None).unwrap_err();
    assert!(apart.contains("separation"), "{apart}");
    let partly = logistic::fit(&y, &ones, &design(&[1.0, 2.0, 3.0, 3.0, 5.0, 6.0]), None).unwrap_err();
    assert!(partly.contains("separation"), "{partly}");
    let singular = logistic::fit(&y, &ones, &design(&[2.0; 6]), None).unwrap_err();
    assert!(singular.contains("column x is a combination"), "{singular}");
    let same = logistic::fit(&[0; 6], &ones, &design(&[1.0, 2.0, 3.0, 3.0, 5.0, 6.0]), None).unwrap_err();
    assert!(same.contains("all outcomes are the same"), "{same}");
    let few = linear::fit(&[1.0], &Design::new(1).constant().column("x", &[2.0]).unwrap()).unwrap_err();
    assert!(few.contains("1 rows cannot determine 2"), "{few}");
}

/// Closed forms at counts where sums of terms would not return.
#[test]
fn huge_counts_are_quick_and_right() {
    let start = Instant::now();
    // equal shares of equal groups: every table is as likely or less
    assert_eq!(fisher::two_sided([[LARGEST, LARGEST], [LARGEST, LARGEST]]), Ok(1.0));
    // two groups of 2e14 with halves, ten standard deviations apart: normal to 7 digits (the next term of
    // the expansion is of the order of 1/n)
    let n = 200_000_000_000_000u64;
    let apart = 100_000_000u64;
    let p = fisher::two_sided([[n / 2 + apart, n / 2 - apart], [n / 2, n / 2]]).unwrap();
    let z = apart as f64 / (n as f64 / 2.0).sqrt();
    assert!((p / (2.0 * dist::normal_sf(z)) - 1.0).abs() < 1e-5, "{p} at z {z}");
    let (lo, hi) = proportion::clopper_pearson(0, LARGEST, 0.95).unwrap();
    assert!(lo == 0.0 && (hi / (-(0.025f64.ln()) / LARGEST as f64) - 1.0).abs() < 1e-12);
    assert!(start.elapsed() < AT_MOST, "{:?}", start.elapsed());
}
