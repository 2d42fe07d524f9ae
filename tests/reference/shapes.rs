//! Trials of awkward shape: what is said, and what is refused.

use crate::data::{Table, beside};
use approx::assert_relative_eq;
use stook::response::{Curve, DataError, Family, Fit, Observations, OptimumStatus, Reach, TestedBy, choose};
use stook::stats::interval::{Interval, Limits};

const LEVEL: f64 = 0.95;

fn observations(rates: &[f64], yields: &[f64]) -> Observations {
    Observations::new(rates, yields, None).unwrap()
}

fn curve(observations: &Observations, family: Family) -> Curve {
    match observations.fit(family) {
        Fit::Estimated(curve) => curve,
        other => panic!("{other:?}"),
    }
}

fn reason(observations: &Observations, family: Family) -> String {
    match observations.fit(family) {
        Fit::NotEstimable { reason, .. } => reason,
        other => panic!("{other:?}"),
    }
}

fn oracle(name: &str) -> Observations {
    let table = Table::read(&beside(&format!("oracle/{name}.csv")));
    Observations::new(&table.numbers("rate"), &table.numbers("yield"), Some(&table.groups("block"))).unwrap()
}

#[test]
fn two_rates_bear_a_line_but_no_bend() {
    let trial = observations(&[0.0, 0.0, 60.0, 60.0], &[40.0, 42.0, 55.0, 54.0]);
    assert!((curve(&trial, Family::Linear).coefficients.slope.unwrap() - 13.5 / 60.0).abs() < 1e-15);
    for family in [Family::Quadratic, Family::LinearPlateau, Family::QuadraticPlateau] {
        assert_eq!(reason(&trial, family), "2 distinct rates are compared within groups; this family needs 3");
    }
}

#[test]
fn three_rates_without_replicates_are_saturated_and_say_so_by_what_is_missing() {
    let trial = observations(&[0.0, 50.0, 100.0], &[40.0, 60.0, 65.0]);
    for family in [Family::Quadratic, Family::LinearPlateau, Family::QuadraticPlateau] {
        let curve = curve(&trial, family);
        assert_eq!((curve.df, curve.sigma, curve.aicc), (0, None, None));
        let optimum = trial.optimum(&curve, 0.1, LEVEL);
        assert!(optimum.rate.is_some());
        assert_eq!(optimum.interval.limits, Limits::NotComputed);
        assert_eq!(trial.join_interval(&curve, LEVEL).limits, Limits::NotComputed);
        assert!(trial.band(&curve, &[20.0], LEVEL).iter().all(|band| band.low.is_none() && band.high.is_none()));
    }
    assert_eq!(trial.analysis().f, None);
    assert_eq!(trial.response_test(99, 1).p, None);
}

#[test]
fn exact_data_have_no_interval_and_no_criterion() {
    let trial = oracle("h3_qp_4rates_zero_noise");
    let curve = curve(&trial, Family::QuadraticPlateau);
    // Rounding of yields near 50 squared, not the 1e-13 of a difference of sums of squares.
    assert!(curve.rss < 1e-27, "{}", curve.rss);
    assert_eq!((curve.aic, curve.aicc, curve.bic), (None, None, None));
    assert_eq!(trial.optimum(&curve, 0.1, LEVEL).interval.limits, Limits::NotComputed);
}

#[test]
fn equal_yields_show_no_response() {
    let trial = observations(&[0.0, 30.0, 60.0, 90.0, 0.0, 30.0, 60.0, 90.0], &[50.1; 8]);
    for family in Family::ALL.into_iter().filter(|family| *family != Family::Mean) {
        assert_eq!(reason(&trial, family), "the yields do not differ within groups");
    }
    let mean = curve(&trial, Family::Mean);
    assert_eq!((mean.r_squared, mean.coefficients.intercept), (None, 50.1));
    assert_eq!(trial.optimum(&mean, 0.1, LEVEL).status, OptimumStatus::NotShown);
    let test = trial.response_test(99, 1);
    assert_eq!((test.p, test.treatment.f), (None, None));
}

#[test]
fn falling_yields_bear_no_rising_curve() {
    let trial = observations(&[0.0, 30.0, 60.0, 90.0], &[60.0, 55.0, 48.0, 44.0]);
    for family in [Family::LinearPlateau, Family::QuadraticPlateau] {
        assert_eq!(reason(&trial, family), "the best rising curve is the mean: these data show no rise to a plateau");
    }
    let line = curve(&trial, Family::Linear);
    let optimum = trial.optimum(&line, 0.0, LEVEL);
    assert_eq!((optimum.rate, optimum.status), (Some(0.0), OptimumStatus::AtZero));
    assert_eq!((optimum.interval.low, optimum.interval.high), (Some(0.0), Some(0.0)));
}

#[test]
fn a_rise_before_the_second_rate_bounds_the_optimum_however_little_it_is() {
    // 40 without N, 43 at any rate tested: over 50 the rise is 0.06 a unit, less than N costs, but over 20 it would be 0.15.
    let rates = [0.0, 50.0, 100.0, 150.0, 0.0, 50.0, 100.0, 150.0];
    let trial = observations(&rates, &[39.9, 43.1, 43.0, 42.9, 40.1, 42.9, 43.0, 43.1]);
    // Rise 3 at a ratio of 0.1: a linear-plateau pays up to a join of 30; a quadratic-plateau is best at 30 − 0.1·30²/6 = 15.
    for (family, highest) in [(Family::LinearPlateau, 30.0), (Family::QuadraticPlateau, 15.0)] {
        let curve = curve(&trial, family);
        assert_eq!(curve.reach, Some(Reach::BeforeFirstRate));
        let optimum = trial.optimum(&curve, 0.1, LEVEL);
        assert_eq!((optimum.status, optimum.interval.estimate), (OptimumStatus::BeforeFirstRate, None));
        assert_relative_eq!(optimum.rate.unwrap(), highest, max_relative = 1e-9);
        assert_eq!(trial.optimum(&curve, 0.0, LEVEL).rate, Some(50.0));
    }
}

#[test]
fn without_a_rate_of_zero_the_lowest_rate_is_a_bound() {
    let rates = [40.0, 80.0, 120.0, 40.0, 80.0, 120.0];
    let trial = observations(&rates, &[60.0, 55.1, 48.0, 60.4, 54.7, 48.2]);
    for family in [Family::Linear, Family::Quadratic] {
        let optimum = trial.optimum(&curve(&trial, family), 0.1, LEVEL);
        assert_eq!((optimum.rate, optimum.status), (Some(40.0), OptimumStatus::BeforeFirstRate), "{family}");
        let interval = optimum.interval;
        assert_eq!((interval.estimate, interval.low, interval.high), (None, None, Some(40.0)), "{family}");
    }
}

#[test]
fn an_interval_that_is_not_computed_says_why() {
    let bowl = observations(&[0.0, 50.0, 100.0, 0.0, 50.0, 100.0], &[50.0, 40.1, 50.2, 50.1, 40.0, 50.0]);
    let optimum = bowl.optimum(&curve(&bowl, Family::Quadratic), 0.1, LEVEL);
    assert_eq!(optimum.interval.limits, Limits::NotComputed);
    assert!(optimum.interval.reason.unwrap().contains("bends upward"));
}

#[test]
fn a_small_trial_is_tested_over_all_its_arrangements() {
    // Three plots at each of two rates: 20 arrangements, and the observed one is the best of them.
    let trial = observations(&[0.0, 0.0, 0.0, 50.0, 50.0, 50.0], &[40.0, 41.0, 42.0, 43.5, 44.0, 45.0]);
    let test = trial.response_test(1_999, 1);
    assert_eq!((test.p, test.permutations, test.exhaustive), (Some(0.05), 19, true));
    assert_eq!(trial.response_test(1_999, 2).p, Some(0.05));
    // Two blocks of two plots: four arrangements, so only F can decide.
    let pair = Observations::new(&[0.0, 50.0, 0.0, 50.0], &[40.0, 50.0, 41.0, 51.5], Some(&[0, 0, 1, 1])).unwrap();
    let test = pair.response_test(1_999, 1);
    assert_eq!((test.by, test.smallest_p, test.p), (TestedBy::F, Some(0.25), test.treatment.p));
}

#[test]
fn rates_that_blocks_do_not_connect_are_said() {
    let apart = Observations::new(&[0.0, 50.0, 100.0, 150.0], &[40.0, 50.0, 60.0, 61.0], Some(&[0, 0, 1, 1])).unwrap();
    assert!(!apart.rates_connected());
    assert!(oracle("s6_unbalanced").rates_connected());
}

#[test]
fn a_join_beyond_the_top_rate_is_a_bound_not_a_point() {
    let rising = observations(&[0.0, 40.0, 80.0, 120.0, 0.0, 120.0], &[40.0, 49.0, 58.5, 70.0, 41.0, 71.0]);
    for (trial, family) in [(rising, Family::LinearPlateau), (oracle("s4_rising"), Family::QuadraticPlateau)] {
        let curve = curve(&trial, family);
        assert_eq!((curve.reach, curve.join, curve.coefficients.plateau), (Some(Reach::NotReached), None, None));
        let join = trial.join_interval(&curve, LEVEL);
        // A straight line belongs to the first interval; the second trial bends enough to exclude it.
        assert_eq!(join.estimate, None);
        assert!(join.high.is_none_or(|high| high > 10.0 * curve.highest_rate), "{join:?}");
        let optimum = trial.optimum(&curve, 0.0, LEVEL);
        assert_eq!((optimum.rate, optimum.status), (Some(curve.highest_rate), OptimumStatus::AtHighestTestedRate));
        assert_eq!(optimum.interval.high, join.high);
    }
}

#[test]
fn a_plateau_from_the_second_rate_on_is_a_bound_too() {
    let trial = observations(
        &[0.0, 40.0, 80.0, 120.0, 0.0, 40.0, 80.0, 120.0],
        &[40.0, 71.0, 70.0, 70.0, 42.0, 72.0, 72.0, 71.0],
    );
    for family in [Family::LinearPlateau, Family::QuadraticPlateau] {
        let curve = curve(&trial, family);
        assert_eq!((curve.reach, curve.join), (Some(Reach::BeforeFirstRate), None));
        let join = trial.join_interval(&curve, LEVEL);
        assert_eq!((join.low, join.limits), (None, Limits::OpenBelow));
        assert!(join.high.unwrap() >= 40.0);
        let optimum = trial.optimum(&curve, 0.1, LEVEL);
        assert_eq!((optimum.status, optimum.interval.estimate), (OptimumStatus::BeforeFirstRate, None));
        assert!(optimum.rate.unwrap() <= 40.0);
        assert_eq!(optimum.interval.low, None);
    }
}

#[test]
fn without_a_zero_rate_the_optimum_stays_among_the_tested_rates() {
    let trial = observations(
        &[40.0, 80.0, 120.0, 160.0, 40.0, 80.0, 120.0, 160.0],
        &[60.0, 60.5, 60.0, 60.4, 61.0, 60.9, 61.5, 61.2],
    );
    for family in Family::ALL {
        if let Fit::Estimated(curve) = trial.fit(family) {
            let rate = trial.optimum(&curve, 0.5, LEVEL).rate.unwrap();
            assert!((40.0..=160.0).contains(&rate), "{family} {rate}");
        }
    }
}

#[test]
fn unequal_replication_weighs_each_plot_alike() {
    let rates = [0.0, 0.0, 0.0, 50.0, 100.0, 100.0];
    let yields = [40.0, 41.0, 42.0, 55.0, 60.0, 62.0];
    let trial = observations(&rates, &yields);
    let means: Vec<(usize, f64)> = trial.treatment_means().iter().map(|mean| (mean.n, mean.mean)).collect();
    assert_eq!(means, [(3, 41.0), (1, 55.0), (2, 61.0)]);
    let standard_error = trial.treatment_means()[0].standard_error.unwrap();
    // Error: 1 + 0 + 1 within the first rate, 1 + 1 within the last, on 3 degrees of freedom.
    assert!((standard_error - (4.0_f64 / 3.0 / 3.0).sqrt()).abs() < 1e-14);
}

#[test]
fn a_block_that_misses_a_rate_gets_adjusted_means() {
    // R: emmeans(lm(y ~ factor(x) + factor(b)), "x"): with block 2 at 80 missing, its mean is 60 + half the block difference of 4.
    let rates = [0.0, 40.0, 80.0, 0.0, 40.0];
    let yields = [40.0, 50.0, 60.0, 45.0, 53.0];
    let trial = Observations::new(&rates, &yields, Some(&[7, 7, 7, 9, 9])).unwrap();
    let means: Vec<f64> = trial.treatment_means().iter().map(|mean| mean.mean).collect();
    for (ours, expected) in means.iter().zip([42.5, 51.5, 62.0]) {
        assert!((ours - expected).abs() < 1e-12, "{means:?}");
    }
    // One degree of freedom: the two block differences 5 and 3 leave 4 · ½² = 1, so the error mean square is 1.
    let errors: Vec<f64> = trial.treatment_means().iter().map(|mean| mean.standard_error.unwrap().powi(2)).collect();
    for (ours, expected) in errors.iter().zip([0.5, 0.5, 1.25]) {
        assert!((ours - expected).abs() < 1e-12, "{errors:?}");
    }
}

#[test]
fn rates_that_blocks_do_not_connect_have_plain_means_without_error() {
    let rates = [0.0, 0.0, 40.0, 40.0, 80.0, 80.0, 120.0, 120.0];
    let yields = [40.0, 41.0, 50.0, 51.0, 60.0, 61.0, 62.0, 62.5];
    let trial = Observations::new(&rates, &yields, Some(&[0, 0, 0, 0, 1, 1, 1, 1])).unwrap();
    assert!(trial.treatment_means().iter().all(|mean| mean.standard_error.is_none()));
    assert_eq!(trial.treatment_means()[2].mean, 60.5);
    assert_eq!(trial.analysis().treatment_df, 2);
    assert!(matches!(trial.fit(Family::LinearPlateau), Fit::Estimated(_)));
}

#[test]
fn blocks_whose_rates_cannot_tell_slope_from_curvature_bear_no_parabola() {
    // Within each block N² is 60 times N plus a constant, although three contrasts among rates are there.
    let rates = [0.0, 60.0, 10.0, 50.0, 0.0, 60.0, 10.0, 50.0];
    let yields = [40.0, 55.0, 44.0, 52.0, 41.0, 54.0, 44.5, 53.0];
    let trial = Observations::new(&rates, &yields, Some(&[0, 0, 1, 1, 2, 2, 3, 3])).unwrap();
    assert_eq!(reason(&trial, Family::Quadratic), "the rates compared within groups do not tell its terms apart");
}

#[test]
fn a_join_at_a_tested_rate_is_that_rate_to_the_last_digit() {
    let rates = [0.0, 49.0, 98.1, 147.3, 180.7];
    let yields = rates.map(|rate: f64| 40.0 + 0.3 * rate.min(98.1));
    let trial = observations(&rates, &yields);
    assert_eq!(curve(&trial, Family::LinearPlateau).join, Some(98.1));
}

#[test]
fn a_linear_plateau_that_may_not_pay_has_zero_apart_from_its_joins() {
    let trial = observations(
        &[0.0, 30.0, 60.0, 90.0, 0.0, 30.0, 60.0, 90.0],
        &[50.0, 53.0, 56.0, 56.5, 52.0, 54.0, 57.5, 56.0],
    );
    let curve = curve(&trial, Family::LinearPlateau);
    let slope = curve.coefficients.slope.unwrap();
    let optimum = trial.optimum(&curve, 0.99 * slope, LEVEL);
    assert_eq!(optimum.rate, curve.join);
    assert_eq!((optimum.interval.low, optimum.interval.limits), (Some(0.0), Limits::Disjoint));
    assert_eq!(trial.optimum(&curve, 1.01 * slope, LEVEL).status, OptimumStatus::AtZero);
}

#[test]
fn refused_data_say_why() {
    let new =
        |rates: &[f64], yields: &[f64], groups: Option<&[usize]>| Observations::new(rates, yields, groups).unwrap_err();
    assert!(matches!(new(&[0.0], &[1.0, 2.0], None), DataError::LengthsDiffer { .. }));
    assert!(matches!(new(&[0.0, 1.0], &[1.0, 2.0], Some(&[1])), DataError::LengthsDiffer { .. }));
    assert!(matches!(new(&[0.0, f64::NAN], &[1.0, 2.0], None), DataError::NotFinite { index: 1, .. }));
    assert!(matches!(new(&[0.0, 1.0], &[f64::INFINITY, 2.0], None), DataError::NotFinite { index: 0, .. }));
    assert!(matches!(new(&[0.0, 1.0], &[1e200, 2.0], None), DataError::NotFinite { index: 0, .. }));
    assert!(matches!(new(&[0.0, -5.0], &[1.0, 2.0], None), DataError::NegativeRate { index: 1, .. }));
    assert!(matches!(new(&[], &[], None), DataError::TooFewRates { found: 0 }));
    assert!(matches!(new(&[60.0, 60.0], &[1.0, 2.0], None), DataError::TooFewRates { found: 1 }));
    assert!(matches!(new(&[-0.0, 0.0], &[1.0, 2.0], None), DataError::TooFewRates { found: 1 }));
    assert!(matches!(new(&[0.0, 60.0], &[1.0, 2.0], Some(&[0, 1])), DataError::NoContrastWithinGroups));
}

#[test]
fn a_ratio_or_level_that_makes_no_sense_gives_no_number() {
    let trial = oracle("s1_qp");
    let curve = curve(&trial, Family::QuadraticPlateau);
    for ratio in [-0.1, f64::NAN, f64::INFINITY] {
        assert_eq!(trial.optimum(&curve, ratio, LEVEL).status, OptimumStatus::NotEstimable);
    }
    for level in [0.0, 1.0, f64::NAN] {
        assert_eq!(trial.join_interval(&curve, level).limits, Limits::NotComputed);
    }
}

#[test]
fn the_smallest_aicc_chooses_and_bic_stands_in() {
    let fits = |trial: &Observations| Family::ALL.map(|family| trial.fit(family));
    let chosen = choose(&fits(&oracle("s2_lp"))).unwrap();
    assert_eq!((chosen.family, chosen.by), (Family::LinearPlateau, "aicc"));
    // Five plots: four parameters and the variance leave n − k − 1 = 0 for the bent families.
    let small = observations(&[0.0, 30.0, 60.0, 90.0, 120.0], &[40.0, 50.0, 58.0, 59.0, 60.5]);
    assert_eq!(choose(&fits(&small)).unwrap().by, "bic");
    assert_eq!(choose(&[]), None);
}

#[test]
fn the_response_test_finds_a_response_and_none_where_there_is_none() {
    let clear = oracle("s1_qp").response_test(999, 7);
    assert_eq!(clear.p, Some(0.001));
    let flat = oracle("s3_flat").response_test(999, 7);
    assert!(flat.p.unwrap() > 0.05, "{:?}", flat.p);
    assert!(clear.treatment.p.unwrap() < 1e-6);
}

#[test]
fn the_tests_statistic_is_what_the_best_rising_curve_explains() {
    for name in ["s1_qp", "s4_rising", "s6_unbalanced", "h6_twin_minima"] {
        let trial = oracle(name);
        let curve = curve(&trial, Family::QuadraticPlateau);
        let analysis = trial.analysis();
        let explained = analysis.treatment_ss + analysis.error_ss - curve.rss;
        let statistic = trial.response_test(0, 1).statistic;
        assert!((statistic - explained).abs() < 1e-9 * explained, "{name} {statistic} {explained}");
    }
}

#[test]
fn the_response_test_does_not_depend_on_the_number_of_threads() {
    let trial = observations(
        &[0.0, 30.0, 60.0, 90.0, 0.0, 30.0, 60.0, 90.0],
        &[50.0, 51.0, 49.0, 52.0, 49.5, 50.0, 51.5, 50.0],
    );
    let with = |threads: usize| {
        let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build().unwrap();
        pool.install(|| trial.response_test(500, 42))
    };
    assert_eq!(with(1), with(3));
    assert_ne!(with(1).p, trial.response_test(500, 43).p);
}

#[test]
fn under_no_response_the_test_is_uniform() {
    use rand::RngExt;
    use stook::stats::stream::stream;
    let (trials, level) = (400, 0.1);
    let rejected = (0..trials)
        .filter(|index| {
            let mut rng = stream(2024, *index);
            let rates: Vec<f64> = (0..20).map(|plot| 30.0 * f64::from(plot / 4)).collect();
            let groups: Vec<usize> = (0..20).map(|plot| plot % 4).collect();
            let yields: Vec<f64> = groups.iter().map(|g| 50.0 + *g as f64 + rng.random::<f64>()).collect();
            let trial = Observations::new(&rates, &yields, Some(&groups)).unwrap();
            trial.response_test(99, *index).p.unwrap() <= level
        })
        .count();
    // Binomial(400, 0.1): four standard deviations are 24.
    assert!((16..=64).contains(&rejected), "{rejected}");
}

#[test]
fn a_band_of_a_line_is_the_t_interval() {
    // R: predict(lm(c(1, 3, 2, 5, 4) ~ I(0:4)), interval = "confidence") at 0 and 2: 1.4 ± 2.700 and 3 ± 1.559 (t = 3.182446,
    // s² = 1.2, v = 0.6 and 0.2).
    let trial = observations(&[0.0, 1.0, 2.0, 3.0, 4.0], &[1.0, 3.0, 2.0, 5.0, 4.0]);
    let band = trial.band(&curve(&trial, Family::Linear), &[0.0, 2.0], LEVEL);
    let t = 3.182446305283708;
    for (band, value, factor) in [(band[0], 1.4, 0.6_f64), (band[1], 3.0, 0.2)] {
        let half = t * (1.2 * factor).sqrt();
        assert!((band.value - value).abs() < 1e-12);
        assert!(
            (band.low.unwrap() - (value - half)).abs() < 1e-9 && (band.high.unwrap() - (value + half)).abs() < 1e-9
        );
    }
}

/// Every number that a result shows.
fn numbers(curve: &Curve, interval: &Interval) -> Vec<f64> {
    let c = &curve.coefficients;
    let optional =
        [c.slope, c.curvature, c.plateau, curve.sigma, curve.r_squared, curve.aic, curve.aicc, curve.bic, curve.join];
    let ends = interval.segments.as_flattened().iter().chain([&interval.estimate, &interval.low, &interval.high]);
    [c.intercept, curve.rss].into_iter().chain(optional.into_iter().flatten()).chain(ends.copied().flatten()).collect()
}

#[test]
fn no_result_is_ever_nan_or_infinite() {
    use rand::RngExt;
    use stook::stats::stream::stream;
    for index in 0..3000 {
        let mut rng = stream(99, index);
        let n = rng.random_range(2..14);
        let scale = 10_f64.powi(rng.random_range(-8..9));
        let steps = rng.random_range(1..4);
        let rates: Vec<f64> = (0..n).map(|_| scale * f64::from(rng.random_range(0..=steps + 2))).collect();
        let yields: Vec<f64> = (0..n).map(|_| f64::from(rng.random_range(0..=steps)) / scale).collect();
        let groups: Vec<usize> = (0..n).map(|_| rng.random_range(0..3)).collect();
        let Ok(trial) = Observations::new(&rates, &yields, Some(&groups)) else { continue };
        for family in Family::ALL {
            let Fit::Estimated(curve) = trial.fit(family) else { continue };
            for ratio in [0.0, 0.3 / scale / scale, 1.0] {
                let optimum = trial.optimum(&curve, ratio, LEVEL);
                assert!(
                    numbers(&curve, &optimum.interval).iter().all(|x| x.is_finite()),
                    "{index} {curve:?} {optimum:?}"
                );
                assert!(optimum.rate.unwrap().is_finite());
            }
            let join = trial.join_interval(&curve, LEVEL);
            assert!(numbers(&curve, &join).iter().all(|x| x.is_finite()), "{index} {join:?}");
            for band in trial.band(&curve, &rates, LEVEL) {
                let ends = [Some(band.value), band.low, band.high];
                assert!(ends.into_iter().flatten().all(f64::is_finite), "{index} {band:?}");
            }
        }
    }
}

/// How many of 600 made-up trials (5 rates × 4 blocks, normal errors) have an interval that holds the truth.
fn covered(truth: impl Fn(f64) -> f64, holds: impl Fn(&Observations) -> bool) -> usize {
    use rand_distr::{Distribution, StandardNormal};
    use stook::stats::stream::stream;
    let rates: Vec<f64> = (0..20).map(|plot| 40.0 * f64::from(plot / 4)).collect();
    let groups: Vec<usize> = (0..20).map(|plot| plot % 4).collect();
    let covers = |index: &u64| {
        let mut rng = stream(1935, *index);
        let mut error = || -> f64 { StandardNormal.sample(&mut rng) };
        let yields: Vec<f64> = rates.iter().map(|rate| truth(*rate) + 2.5 * error()).collect();
        holds(&Observations::new(&rates, &yields, Some(&groups)).unwrap())
    };
    (0..600).filter(covers).count()
}

fn contains(interval: &Interval, value: f64) -> bool {
    let within =
        |[low, high]: &[Option<f64>; 2]| low.is_none_or(|low| low <= value) && high.is_none_or(|high| value <= high);
    interval.segments.iter().any(within)
}

/// Binomial(600, 0.95) is 570 ± 5.3. The profile is approximate for a join, so some four standard deviations are allowed.
const NOMINAL: std::ops::RangeInclusive<usize> = 550..=590;

#[test]
fn the_joins_interval_covers_about_as_often_as_it_says() {
    let quadratic = |rate: f64| 40.0 + 30.0 * (1.0 - (1.0 - rate.min(105.0) / 105.0).powi(2));
    let linear = |rate: f64| 40.0 + 0.3 * rate.min(95.0);
    let of = |family: Family, join: f64| {
        move |trial: &Observations| match trial.fit(family) {
            Fit::Estimated(curve) => contains(&trial.join_interval(&curve, LEVEL), join),
            Fit::NotEstimable { .. } => false,
        }
    };
    let counts =
        [covered(quadratic, of(Family::QuadraticPlateau, 105.0)), covered(linear, of(Family::LinearPlateau, 95.0))];
    assert!(counts.iter().all(|count| NOMINAL.contains(count)), "{counts:?}");
}

#[test]
fn the_optimums_interval_covers_about_as_often_as_it_says() {
    // Slope 0.1 where 2·30/105·(1 − N/105) = 0.1, and where 0.5 − 0.004·N = 0.1.
    let plateau = |rate: f64| 40.0 + 30.0 * (1.0 - (1.0 - rate.min(105.0) / 105.0).powi(2));
    let parabola = |rate: f64| 40.0 + 0.5 * rate - 0.002 * rate * rate;
    let of = |family: Family, optimum: f64| {
        move |trial: &Observations| match trial.fit(family) {
            Fit::Estimated(curve) => contains(&trial.optimum(&curve, 0.1, LEVEL).interval, optimum),
            Fit::NotEstimable { .. } => false,
        }
    };
    let optimum = 105.0 * (1.0 - 0.1 * 105.0 / 60.0);
    let counts =
        [covered(plateau, of(Family::QuadraticPlateau, optimum)), covered(parabola, of(Family::Quadratic, 100.0))];
    assert!(counts.iter().all(|count| NOMINAL.contains(count)), "{counts:?}");
}
