//! Charts, run lengths, capability and sampling at their edges: an answer or a sentence, never NaN. What is
//! claimed here follows from definitions; published figures are held in `checks`.

use knowledge::sampling::design;
use knowledge::sampling::double;
use knowledge::sampling::published;
use knowledge::sampling::single::SinglePlan;
use knowledge::sampling::zero;
use knowledge::stats::capability;
use knowledge::stats::capability::Process;
use knowledge::stats::capability::Tolerance;
use knowledge::stats::charts::ChartLine;
use knowledge::stats::charts::ControlChart;
use knowledge::stats::charts::attributes;
use knowledge::stats::charts::constants::Constants;
use knowledge::stats::charts::cumulative;
use knowledge::stats::charts::rules;
use knowledge::stats::charts::variables;
use knowledge::stats::run_length;
use knowledge::stats::run_length::Scheme;
use knowledge::stats::sample_size;
use knowledge::stats::sample_size::Aim;
use knowledge::stats::tolerance;
use proptest::prelude::*;

/// Figures that a caller may type: ordinary ones, and all that is not.
fn anything() -> impl Strategy<Value = f64> {
    prop_oneof![
        4 => -5.0..5.0,
        2 => 0.0..1.0,
        1 => any::<f64>(),
        1 => prop::sample::select(vec![0.0, -0.0, 1.0, 1e-300, 1e300, f64::NAN, f64::INFINITY, f64::NEG_INFINITY]),
    ]
}

/// All figures of a chart are numbers, and its limits lie in order.
fn sound(chart: &ControlChart) {
    for i in 0..chart.points.len() {
        let (low, centre, high) = (chart.lower.at(i), chart.centre.at(i), chart.upper.at(i));
        assert!(chart.points[i].is_finite() && low.is_finite() && high.is_finite(), "{chart:?}");
        assert!(low <= centre && centre <= high, "{low} {centre} {high}");
    }
    assert!(chart.beyond().iter().all(|i| (1..=chart.points.len()).contains(i)));
    if let Ok(z) = chart.standardised() {
        assert!(z.iter().all(|z| z.is_finite()));
    }
}

/// A refusal is a sentence.
fn told<T>(got: &Result<T, String>) {
    if let Err(why) = got {
        assert!(why.len() > 15 && !why.contains("  ") && !why.ends_with('.'), "{why:?}");
    }
}

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn charts_of_counts_never_fail(rows in prop::collection::vec((0u64..40, 0u64..60), 0..40), huge in any::<bool>()) {
        let scale = if huge { u64::MAX / 60 } else { 1 };
        let x: Vec<u64> = rows.iter().map(|r| r.0 * scale).collect();
        let n: Vec<u64> = rows.iter().map(|r| r.1 * scale).collect();
        let units: Vec<f64> = n.iter().map(|n| *n as f64).collect();
        for made in [attributes::p(&x, &n), attributes::np(&x, &n), attributes::c(&x), attributes::u(&x, &units)] {
            told(&made);
            if let Ok(chart) = made {
                sound(&chart);
            }
        }
        for made in [attributes::p_prime(&x, &n), attributes::u_prime(&x, &units)] {
            told(&made);
            if let Ok(laney) = made {
                sound(&laney.chart);
                prop_assert!(laney.sigma_z.is_finite() && laney.sigma_z >= 0.0);
            }
        }
    }

    #[test]
    fn charts_of_values_never_fail(
        groups in prop::collection::vec(prop::collection::vec(anything(), 0..6), 0..8),
        parameters in prop::array::uniform5(anything()),
        steady in any::<bool>(),
    ) {
        for made in [variables::xbar_r(&groups), variables::xbar_s(&groups)] {
            told(&made);
            if let Ok(chart) = made {
                sound(&chart.mean);
                sound(&chart.spread);
            }
        }
        let x: Vec<f64> = groups.concat();
        let made = variables::individuals(&x);
        told(&made);
        if let Ok(chart) = made {
            sound(&chart.individual);
            sound(&chart.moving_range);
        }
        let [target, sigma, a, b, _] = parameters;
        let made = cumulative::ewma(&x, target, sigma, a, b, steady);
        told(&made);
        if let Ok(chart) = made {
            sound(&chart);
        }
        let made = cumulative::cusum(&x, target, sigma, a, b);
        told(&made);
        if let Ok(chart) = made {
            prop_assert!(chart.upper_sums.iter().chain(&chart.lower_sums).all(|s| s.is_finite() && *s >= 0.0));
        }
        prop_assert!(rules::signals(&x, &rules::NELSON).iter().all(|s| (1..=x.len()).contains(&s.index)));
    }

    #[test]
    fn figures_of_processes_never_fail(p in prop::array::uniform5(anything()), n in 0u64..400, two_sided in any::<bool>()) {
        let [a, b, c, d, e] = p;
        let scheme = Scheme { k: a, h: b, headstart: c, two_sided };
        for made in [run_length::shewhart(a, b), run_length::ewma(a, b, c), run_length::cusum(scheme, d)] {
            told(&made);
            if let Ok(arl) = made {
                prop_assert!((1.0..=1e15).contains(&arl), "{arl}");
            }
        }
        let limits = Tolerance { lower: Some(c), upper: Some(d).filter(|_| two_sided) };
        let made = capability::capability(Process { mean: a, sd: b, n, df: n.saturating_sub(1) }, limits, e);
        told(&made);
        if let Ok(c) = made {
            prop_assert!(c.cpk_interval.0 <= c.cpk && c.cpk <= c.cpk_interval.1);
        }
        for made in [tolerance::one_sided(n, a, b), tolerance::two_sided(n, a, b)] {
            told(&made);
            prop_assert!(made.is_err() || made.is_ok_and(f64::is_finite));
        }
        let aim = Aim { rate: a, worth_having: b, alpha: c, power: d };
        told(&sample_size::trial(aim, e, 0.1));
        let made = sample_size::power(a, b, c, e);
        told(&made);
        prop_assert!(made.is_err() || made.is_ok_and(|p| (0.0..=1.0).contains(&p)));
    }

    #[test]
    fn sampling_never_fails(p in prop::array::uniform4(anything()), n in 0u64..3000, c in 0u64..50, lot in 0u64..3000) {
        let [a, b, alpha, beta] = p;
        let plan = SinglePlan { n, accept: c };
        for made in [plan.accepts(a), plan.accepts_lot(lot, c), plan.outgoing_limit(lot).map(|l| l.0)] {
            told(&made);
            prop_assert!(made.is_err() || made.is_ok_and(|p| (0.0..=1.0).contains(&p)));
        }
        told(&design::single(design::Points { good: a, bad: b, alpha, beta }));
        told(&zero::sample(lot, a, b));
        let plan = double::DoublePlan { n1: n, accept1: c, reject1: c + 2, n2: lot, accept2: c + 1 };
        let made = plan.at(a);
        told(&made);
        if let Ok(o) = made {
            prop_assert!((0.0..=1.0).contains(&o.accept) && o.average_sample <= (n + lot) as f64);
        }
    }

    /// A design keeps both risks, and one piece fewer does not, with any acceptance number.
    #[test]
    fn designs_are_the_smallest(good in 0.005..0.1f64, factor in 2.0..6.0f64, alpha in 0.01..0.2f64, beta in 0.01..0.2f64) {
        let bad = good * factor;
        let plan = design::single(design::Points { good, bad, alpha, beta }).unwrap();
        prop_assert!(plan.accepts(bad).unwrap() <= beta && plan.rejects(good).unwrap() <= alpha);
        if plan.n > 1 {
            for accept in 0..=plan.accept + 2 {
                let less = SinglePlan { n: plan.n - 1, accept };
                prop_assert!(less.accepts(bad).unwrap() > beta || less.rejects(good).unwrap() > alpha);
            }
        }
    }

    /// Turning the points over turns every signal over.
    #[test]
    fn rules_know_no_up_and_down(z in prop::collection::vec(-4.0..4.0f64, 0..80)) {
        let turned: Vec<f64> = z.iter().map(|z| -z).collect();
        for set in [&rules::NELSON[..], &rules::OF_1956[..]] {
            prop_assert_eq!(rules::signals(&z, set), rules::signals(&turned, set));
        }
    }

    /// What holds for x holds for a + b x, in its unit.
    #[test]
    fn charts_follow_the_unit(x in prop::collection::vec(-3.0..3.0f64, 2..40), a in -50.0..50.0f64, b in 0.1..20.0f64) {
        let moved: Vec<f64> = x.iter().map(|x| a + b * x).collect();
        let (one, two) = (variables::individuals(&x).unwrap(), variables::individuals(&moved).unwrap());
        prop_assert!((two.sigma - b * one.sigma).abs() < 1e-9);
        prop_assert!((two.individual.upper.at(0) - a - b * one.individual.upper.at(0)).abs() < 1e-9);
    }

    /// An EWMA without memory is a Shewhart chart.
    #[test]
    fn an_ewma_of_lambda_1_has_no_memory(width in 0.5..4.0f64, shift in -3.0..3.0f64) {
        let plain = run_length::shewhart(width, shift).unwrap();
        prop_assert_eq!(run_length::ewma(1.0, width, shift).unwrap(), plain);
        let near = run_length::ewma(1.0 - 1e-9, width, shift).unwrap();
        prop_assert!((near / plain - 1.0).abs() < 1e-6, "{near} {plain}");
    }
}

#[test]
fn a_cusum_of_h_0_is_a_shewhart_chart() {
    // it signals where x > k
    let scheme = Scheme { k: 1.0, h: 0.0, headstart: 0.0, two_sided: false };
    let arl = run_length::cusum(scheme, 0.3).unwrap();
    assert!((arl * knowledge::stats::dist::normal_sf(0.7) - 1.0).abs() < 1e-14);
    let near = run_length::cusum(Scheme { h: 1e-9, ..scheme }, 0.3).unwrap();
    assert!((near / arl - 1.0).abs() < 1e-8);
}

#[test]
fn run_lengths_near_the_end_keep_their_digits() {
    // an EWMA with λ near 1 and wide limits, against the chart without memory: 1e15 is there, 2e15 is not
    let width = 7.9;
    let plain = run_length::shewhart(width, 0.0).unwrap();
    assert!(plain > 1e14);
    let near = run_length::ewma(1.0 - 1e-12, width, 0.0).unwrap();
    assert!((near / plain - 1.0).abs() < 1e-9, "{near} {plain}");
    assert!(run_length::shewhart(8.2, 0.0).unwrap_err().contains("beyond what is computed"));
    assert!(run_length::ewma(0.2, 9.0, 0.0).unwrap_err().contains("beyond what is computed"));
    let far = Scheme { k: 0.5, h: 60.0, headstart: 0.0, two_sided: true };
    assert!(run_length::cusum(far, 0.0).unwrap_err().contains("beyond what is computed"));
}

#[test]
fn a_slow_ewma_and_a_wide_cusum_return() {
    assert!(run_length::ewma(1e-4, 2.0, 0.0).is_ok());
    assert!(run_length::ewma(1e-9, 3.0, 0.0).unwrap_err().contains("too large"));
    let wide = Scheme { k: 0.0, h: 1000.0, headstart: 0.0, two_sided: false };
    // the time of a walk with steps of 1 from a mirror at 0 to h is near (h + 2·0.583)²  (Siegmund 1985)
    let arl = run_length::cusum(wide, 0.0).unwrap();
    assert!((arl / (1001.166f64 * 1001.166) - 1.0).abs() < 1e-4, "{arl}");
}

#[test]
fn constants_of_two_and_of_a_thousand_million() {
    // of two values: 2/√π, √(2 - 4/π), √(2/π)
    let two = Constants::of(2).unwrap();
    let pi = std::f64::consts::PI;
    assert!((two.d2 - 2.0 / pi.sqrt()).abs() < 1e-13);
    assert!((two.d3 - (2.0 - 4.0 / pi).sqrt()).abs() < 1e-12);
    assert!((two.c4 - (2.0 / pi).sqrt()).abs() < 1e-15);
    // of three: 3/√π for d2 and √π/2 for c4
    let three = Constants::of(3).unwrap();
    assert!((three.d2 - 3.0 / pi.sqrt()).abs() < 1e-13);
    assert!((three.c4 - pi.sqrt() / 2.0).abs() < 1e-15);
    // mpmath 1.3, 50 digits: c4 = sqrt(2/(n-1))*gamma(n/2)/gamma((n-1)/2), c5 = sqrt(1-c4**2); the way to c5
    // changes above 1,000
    for (n, c4, c5) in [
        (30, 0.991_418_053_292_672_9, 0.130_729_658_476_440_46),
        (1_000, 0.999_749_781_101_513_2, 0.022_369_067_648_796_488),
        (10_000, 0.999_974_997_812_351_6, 0.007_071_332_985_194_351),
        (10_001, 0.999_975_000_312_539, 0.007_070_979_418_546_197),
        (1_000_000_000, 0.999_999_999_75, 0.000_022_360_679_783_383_15),
    ] {
        let k = Constants::of(n).unwrap();
        assert!((k.c4 - c4).abs() < 1e-15 && (k.c5 / c5 - 1.0).abs() < 1e-11, "{n}: {k:?}");
    }
    // mpmath: d2 = quad(lambda x: 1 - ncdf(x)**n - ncdf(-x)**n, range(-10, 11))
    for (n, d2) in [(5, 2.325_928_947_281_039), (100, 5.015_187_272_883_369), (1_000, 6.482_871_538_266_882)]
    {
        assert!((Constants::of(n).unwrap().d2 - d2).abs() < 1e-12, "{n}");
    }
    assert!(Constants::of(1_000_000_000).unwrap().d2 > 12.0);
    assert!(Constants::of(1_000_000_001).is_err());
    assert!(Constants::of(1).is_err());
}

#[test]
fn nothing_varies() {
    let chart = attributes::p(&[0, 0, 0], &[5, 9, 7]).unwrap();
    assert!(chart.beyond().is_empty());
    assert_eq!(chart.standardised().unwrap(), [0.0; 3]);
    let all = attributes::p(&[5, 9], &[5, 9]).unwrap();
    assert_eq!((all.centre, all.upper), (ChartLine::Same(1.0), ChartLine::Each(vec![1.0, 1.0])));
    assert!(attributes::p_prime(&[0, 0], &[5, 9]).unwrap_err().contains("no spread"));
    assert!(attributes::u_prime(&[0, 0], &[5.0, 9.0]).is_err());
    // 0.1 three times has no mean of exactly 0.1, and no signal
    let same = variables::individuals(&[0.1, 0.1, 0.1]).unwrap();
    assert!(same.individual.beyond().is_empty());
    assert_eq!(same.individual.standardised().unwrap(), [0.0; 3]);
    let apart = variables::xbar_s(&[vec![1.0, 1.0], vec![2.0, 2.0]]).unwrap();
    assert_eq!(apart.mean.beyond(), [1, 2]);
    assert!(apart.mean.standardised().unwrap_err().contains("no width"));
}

#[test]
fn rows_at_fault_are_named() {
    assert!(attributes::p(&[1, 1], &[5, 0]).unwrap_err().starts_with("row 2"));
    assert!(attributes::p(&[1, 6], &[5, 5]).unwrap_err().starts_with("row 2"));
    assert!(attributes::u(&[1, 6], &[5.0, -1.0]).unwrap_err().starts_with("row 2"));
    assert!(cumulative::ewma(&[1.0, f64::NAN], 0.0, 1.0, 0.2, 3.0, false).unwrap_err().starts_with("row 2"));
}

#[test]
fn points_on_a_limit_do_not_signal() {
    // 16 ± 12 in whole numbers
    let mut x = vec![16; 20];
    x.extend([28, 4]);
    assert!(attributes::c(&x).unwrap().beyond().is_empty());
    // rounding alone: nine points in a zone's border
    let chart = attributes::c(&[9, 12, 12, 12, 6, 6, 6, 9, 9]).unwrap();
    assert!(rules::signals(&chart.standardised().unwrap(), &rules::NELSON).is_empty());
}

#[test]
fn the_first_points_count_from_a_fresh_start() {
    let named = |z: &[f64]| {
        rules::signals(z, &rules::NELSON).iter().map(|s| (s.index, s.rule.name())).collect::<Vec<_>>()
    };
    assert_eq!(named(&[2.5, 2.5]), [(2, "2_of_3_beyond_2_sigma")]);
    assert_eq!(named(&[2.5, -2.5]), []);
    assert_eq!(named(&[1.5, 1.5, 1.5, 1.5]), [(4, "4_of_5_beyond_1_sigma")]);
    // a level step ends a trend; five steps make one
    assert_eq!(named(&[-1.0, -0.5, 0.0, 0.2, 0.4, 0.6]), [(6, "6_rising_or_falling")]);
    assert_eq!(named(&[-1.0, -0.5, 0.0, 0.0, 0.4, 0.6, 0.8]), []);
    // fourteen points up and down; the fifteenth goes on
    let saw: Vec<f64> = (0..15).map(|i| if i % 2 == 0 { 1.2 } else { 0.4 }).collect();
    assert_eq!(named(&saw)[..2], [(9, "9_on_one_side"), (10, "9_on_one_side")]);
    assert_eq!(
        named(&saw).iter().filter(|s| s.1 == "14_alternating").map(|s| s.0).collect::<Vec<_>>(),
        [14, 15]
    );
}

#[test]
fn groups_of_unequal_size_and_of_one() {
    let groups = [vec![1.0, 2.0], vec![3.0], vec![5.0, 6.0, 9.0]];
    let chart = variables::xbar_r(&groups).unwrap();
    // 26/6 by hand; the wider limits belong to the smaller group
    assert!((chart.mean.centre.at(0) - 26.0 / 6.0).abs() < 1e-14);
    assert!(
        chart.mean.upper.at(1) > chart.mean.upper.at(0) && chart.mean.upper.at(0) > chart.mean.upper.at(2)
    );
    assert_eq!((chart.spread.points[1], chart.spread.upper.at(1)), (0.0, 0.0));
    assert!(variables::xbar_r(&[vec![1.0], vec![2.0]]).unwrap_err().contains("i-mr"));
}

#[test]
fn arrows_that_leave_the_table_turn_round() {
    use published::InspectionLevel;
    // above letter A there is nothing: the first plan below, as the printed long arrow says
    let a = published::plan(5, InspectionLevel::II, 10.0).unwrap();
    assert_eq!((a.letter_of_lot, a.letter, a.n, a.accept, a.reject), ('A', 'C', 5, 1, 2));
    // below letter R there is nothing
    let r = published::plan(600_000, InspectionLevel::III, 0.015).unwrap();
    assert_eq!((r.letter_of_lot, r.letter, r.n, r.accept), ('R', 'P', 800, 0));
    // every cell leads to a plan
    let lots = [2, 9, 16, 26, 51, 91, 151, 281, 501, 1_201, 3_201, 10_001, 35_001, 150_001, 500_001];
    for level in [
        InspectionLevel::S1,
        InspectionLevel::S4,
        InspectionLevel::I,
        InspectionLevel::II,
        InspectionLevel::III,
    ] {
        for lot in lots {
            for aql in published::AQLS {
                let found = published::plan(lot, level, aql).unwrap();
                assert_eq!(found.reject, found.accept + 1);
            }
        }
    }
}

#[test]
fn trials_of_all_against_nothing() {
    let aim = Aim { rate: 1.0, worth_having: 0.0, alpha: 0.05, power: 0.8 };
    // (1.96 √½)² = 1.92 blades, times 1 + 7/2, is 8.64 blades, in two moulds of eight
    let plan = sample_size::trial(aim, 8.0, 0.5).unwrap();
    assert_eq!((plan.blades_per_arm, plan.moulds_per_arm), (9, 2));
    assert!(
        sample_size::independent(Aim { worth_having: 1.0, ..aim }).unwrap_err().contains("no difference")
    );
    let close = Aim { rate: 0.1, worth_having: 0.1 + 1e-12, alpha: 0.05, power: 0.8 };
    assert!(sample_size::trial(close, 8.0, 0.1).is_err());
    // what was planned for has the power asked for
    let aim = Aim { rate: 0.10, worth_having: 0.04, alpha: 0.05, power: 0.8 };
    let n = sample_size::independent(aim).unwrap();
    assert!((sample_size::power(0.10, 0.04, 0.05, n).unwrap() - 0.8).abs() < 1e-12);
}

#[test]
fn run_lengths_hold_against_forty_digits() {
    // mpmath 1.3 at 40 digits: 60 Gauss-Legendre nodes over the same equations, solved by its lu_solve
    for (k, h, right) in [(1.0, 12.0, 128_990_773_618.017_4), (0.25, 8.0, 736.787_746_529_962_3)] {
        let arl = run_length::cusum(Scheme { k, h, headstart: 0.0, two_sided: false }, 0.0).unwrap();
        assert!((arl / right - 1.0).abs() < 1e-12, "{arl} instead of {right}");
    }
    for (lambda, width, shift, right) in [
        (0.3, 7.5, 0.0, 15_691_207_164_354.13),
        (0.5, 7.0, 0.0, 390_697_663_168.966_5),
        (0.1, 3.0, 0.5, 37.413_299_630_545_52),
    ] {
        let arl = run_length::ewma(lambda, width, shift).unwrap();
        assert!((arl / right - 1.0).abs() < 1e-12, "{arl} instead of {right}");
    }
}
