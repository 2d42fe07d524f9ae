//! Properties of the intervals on trials of any shape: units, what a set must hold, brute force, and the limit without noise.

use crate::properties::{LEVEL, PLATEAUS, Trial, basis, curve, cutoff, holds, joins, trials, undecided, unknown};
use proptest::prelude::*;
use stook::response::{Curve, Family, IntervalMethod, Observations, OptimumStatus, Quantity, Reach, StandardErrors};
use stook::stats::interval::{Interval, Limits};

/// Other units scale every sum; the quadratic-plateau's join sits on a flat profile, and standard errors follow it.
const OTHER_UNITS: f64 = 1e-5;
/// The widths of profile and Wald differ by terms of the order of the noise relative to the response.
const NEARLY_LINEAR: f64 = 2e-3;

/// Rise to a plateau by a join, or for an exponential by 1/k, and the height of the plateau.
fn rise(family: Family, rate: f64, join: f64) -> f64 {
    match family {
        Family::ExponentialRise => -(-rate / join).exp_m1(),
        _ => basis(family, rate, join),
    }
}

fn height(family: Family, join: f64) -> f64 {
    if family == Family::ExponentialRise { 1.0 } else { basis(family, join, join) }
}

/// The residual sum of squares of the best rising curve of a join through a plateau, by a full solve.
///
/// With the plateau fixed at p as the mean over groups, only the slope and the groups' differences are free: p minus the curve's rise
/// below its plateau is what each group's mean must average to.
fn at_plateau(trial: &Trial, family: Family, join: f64, plateau: f64) -> f64 {
    let height = height(family, join);
    let groups = trial.observations().groups();
    // Parameters: each group's plateau but the last, which is what the others leave of the mean, and the slope of (basis − height).
    let indicator = |group: usize| -> Vec<f64> {
        let last = groups - 1;
        trial
            .groups
            .iter()
            .map(|g| {
                if *g == group {
                    1.0
                } else if *g == last {
                    -1.0
                } else {
                    0.0
                }
            })
            .collect()
    };
    let below = trial.column(|rate| rise(family, rate, join) - height);
    let last = groups as f64 * plateau;
    let left: Vec<f64> =
        trial.yields.iter().zip(&trial.groups).map(|(y, g)| if *g == groups - 1 { y - last } else { *y }).collect();
    let mut columns: Vec<Vec<f64>> = (0..groups - 1).map(indicator).collect();
    columns.push(below);
    let solution = stook::stats::least_squares::solve(&columns, &left).unwrap();
    if solution.coefficients.last().copied().flatten().is_some_and(|slope| slope >= 0.0) {
        return solution.rss;
    }
    columns.pop();
    stook::stats::least_squares::solve(&columns, &left).unwrap().rss
}

/// The least of these over the joins: a grid, then a search by thirds around its three best points.
fn best_with_plateau(trial: &Trial, family: Family, plateau: f64) -> f64 {
    let rss = |inverse: f64| at_plateau(trial, family, 1.0 / inverse, plateau);
    let mut grid: Vec<f64> = match family {
        // Rate constants from a step to a line.
        Family::ExponentialRise => {
            (0..=160).map(|step| 1e3 / trial.top() * 10_f64.powf(-f64::from(step) / 20.0)).collect()
        }
        // Joins so far that the curve is a line to nine digits: the higher a plateau, the farther its join.
        _ => {
            let far = (1..=80).map(|step| 100.0 * trial.top() * 10_f64.powf(f64::from(step) / 10.0));
            joins(trial).into_iter().chain(far).map(|join| 1.0 / join).collect()
        }
    };
    grid.sort_by(f64::total_cmp);
    let mut found: Vec<(f64, usize)> = grid.iter().enumerate().map(|(place, inverse)| (rss(*inverse), place)).collect();
    found.sort_by(|a, b| a.0.total_cmp(&b.0));
    let refined = |place: usize| {
        let mut low = if place == 0 { 0.1 * grid[0] } else { grid[place - 1] };
        let mut high = grid[(place + 1).min(grid.len() - 1)];
        for _ in 0..40 {
            let third = (high - low) / 3.0;
            if rss(low + third) < rss(high - third) { high -= third } else { low += third }
        }
        rss(0.5 * (low + high))
    };
    found.iter().take(3).map(|(_, place)| refined(*place)).fold(found[0].0, f64::min)
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 100, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn standard_errors_and_wald_limits_keep_to_the_units(trial in trials(), yield_unit in 0.01..100.0f64, rate_unit in 0.01..100.0f64) {
        let mut other = trial.clone();
        other.yields.iter_mut().for_each(|y| *y *= yield_unit);
        other.rates.iter_mut().for_each(|rate| *rate *= rate_unit);
        let (one, two) = (trial.observations(), other.observations());
        for family in Family::ALL {
            let (Some(a), Some(b)) = (curve(&one, family), curve(&two, family)) else { continue };
            let (x, y) = (one.standard_errors(&a), two.standard_errors(&b));
            let slope_unit = yield_unit / rate_unit;
            let tolerance = OTHER_UNITS * unknown(&trial, &a);
            let same = |x: Option<f64>, y: Option<f64>, scale: f64| match (x, y) {
                (Some(x), Some(y)) => (x - y).abs() <= tolerance * scale,
                (x, y) => x.is_none() && y.is_none(),
            };
            type Of = fn(&StandardErrors) -> Option<f64>;
            let errors: [(Of, f64); 9] = [
                (|errors| errors.intercept, yield_unit),
                (|errors| errors.slope, slope_unit),
                (|errors| errors.curvature, slope_unit / rate_unit),
                (|errors| errors.plateau, yield_unit),
                (|errors| errors.root, yield_unit / rate_unit.sqrt()),
                (|errors| errors.rise, yield_unit),
                (|errors| errors.rate_constant, 1.0 / rate_unit),
                (|errors| errors.join, rate_unit),
                (|errors| errors.aonr, rate_unit),
            ];
            for (of, unit) in errors {
                let (x, y) = (of(&x).map(|error| error * unit), of(&y));
                prop_assert!(same(x, y, y.unwrap_or(0.0)), "{} {:?} {:?}", family, x, y);
            }
            for (quantity, scaled, unit) in [
                (Quantity::Plateau, Quantity::Plateau, yield_unit),
                (Quantity::Optimum { slope_ratio: 0.1 }, Quantity::Optimum { slope_ratio: 0.1 * slope_unit }, rate_unit),
            ] {
                let (x, y) = (one.wald(&a, quantity, LEVEL), two.wald(&b, scaled, LEVEL));
                // A limit near zero is the difference of two numbers, so it is compared on the scale of the width.
                let scale = y.low.zip(y.high).map_or(1.0, |(low, high)| low.abs().max(high.abs()));
                for (x, y) in [(x.low, y.low), (x.high, y.high)] {
                    let x = x.map(|limit| limit * unit);
                    prop_assert!(same(x, y, scale), "{} {:?} {:?} {:?}", family, quantity, x, y);
                }
            }
        }
    }

    #[test]
    fn fiellers_set_holds_its_estimate_and_only_rates_whose_slope_may_be_the_ratio(trial in trials(), ratio in 0.0..0.5f64) {
        let observations = trial.observations();
        let Some(curve) = curve(&observations, Family::Quadratic) else { return Ok(()) };
        let set = observations.fieller(&curve, ratio, LEVEL);
        prop_assert!(holds(&set, set.estimate.unwrap()), "{:?}", set);
        // The slope b + 2cθ fixed at the ratio leaves one factor free: of N² − 2θN, beside ratio·N.
        for step in -40..=80 {
            let theta = trial.top() * f64::from(step) / 20.0;
            let left: Vec<f64> = trial.yields.iter().zip(&trial.rates).map(|(y, rate)| y - ratio * rate).collect();
            let (rss, _) = trial.solve(&[trial.column(|rate| rate * rate - 2.0 * theta * rate)], &left);
            if !undecided(rss, cutoff(&curve)) {
                prop_assert_eq!(holds(&set, theta), rss <= cutoff(&curve), "{} {:?}", theta, set);
            }
        }
    }

    #[test]
    fn fiellers_set_of_the_square_root_holds_the_rates_whose_slope_may_be_the_ratio(trial in trials(), ratio in 0.0..0.5f64) {
        let observations = trial.observations();
        let Some(curve) = curve(&observations, Family::SquareRoot) else { return Ok(()) };
        let set = observations.fieller(&curve, ratio, LEVEL);
        prop_assert!(set.estimate.is_none_or(|estimate| holds(&set, estimate)), "{:?}", set);
        // The slope b/(2√θ) + c fixed at the ratio leaves one factor free: of √N − N/(2√θ), beside ratio·N.
        for step in 1..=80 {
            let theta = trial.top() * f64::from(step) / 20.0;
            let left: Vec<f64> = trial.yields.iter().zip(&trial.rates).map(|(y, rate)| y - ratio * rate).collect();
            let (rss, _) = trial.solve(&[trial.column(|rate| rate.sqrt() - 0.5 * rate / theta.sqrt())], &left);
            if !undecided(rss, cutoff(&curve)) {
                prop_assert_eq!(holds(&set, theta), rss <= cutoff(&curve), "{} {:?}", theta, set);
            }
        }
    }

    #[test]
    fn the_plateau_interval_holds_the_plateaus_under_the_cutoff_and_no_others(trial in trials(), share in 0.0..1.0f64) {
        let observations = trial.observations();
        for family in PLATEAUS.into_iter().chain([Family::ExponentialRise]) {
            let Some(curve) = curve(&observations, family) else { continue };
            let interval = observations.plateau_interval(&curve, LEVEL);
            if interval.limits == Limits::NotComputed {
                continue;
            }
            prop_assert!(curve.plateau().is_none_or(|plateau| holds(&interval, plateau)), "{:?}", interval);
            // At an end exactly the cutoff is left.
            for end in interval.segments.iter().flatten().flatten() {
                let best = best_with_plateau(&trial, family, *end);
                prop_assert!((best / cutoff(&curve) - 1.0).abs() < 1e-3, "{} {} {:?}", family, best / cutoff(&curve), interval);
            }
            let (low, high) = (interval.low.unwrap_or(0.0), interval.high.unwrap_or(120.0));
            let plateau = low - (high - low) + 3.0 * share * (high - low);
            let best = best_with_plateau(&trial, family, plateau);
            // What was searched may be a little too large.
            if best <= cutoff(&curve) * (1.0 - 1e-6) {
                prop_assert!(holds(&interval, plateau), "{} {} {:?}", family, plateau, interval);
            } else if best > cutoff(&curve) * 1.001 {
                prop_assert!(!holds(&interval, plateau), "{} {} {} {:?}", family, plateau, best / cutoff(&curve), interval);
            }
        }
    }

    #[test]
    fn every_wald_interval_that_is_reported_is_symmetric_around_an_estimate_inside_the_tested_rates(trial in trials(), ratio in 0.0..0.5f64) {
        let observations = trial.observations();
        for family in Family::ALL {
            let Some(curve) = curve(&observations, family) else { continue };
            let optimum = observations.optimum_by(&curve, ratio, IntervalMethod::Wald, LEVEL);
            let interval = &optimum.interval;
            prop_assert_eq!(interval.limits == Limits::NotComputed, interval.reason.is_some());
            if let (Some(low), Some(high)) = (interval.low, interval.high) {
                prop_assert_eq!(optimum.status, OptimumStatus::Interior);
                let middle = 0.5 * (low + high);
                prop_assert!((middle - optimum.rate.unwrap()).abs() <= 1e-6 * (high - low).max(middle.abs()), "{} {:?}", family, optimum);
            }
        }
    }
}

/// A trial in four blocks on an exact curve plus `noise` times fixed errors.
fn on_curve(value: impl Fn(f64) -> f64, noise: f64) -> Observations {
    let errors = [0.3, -0.8, 0.5, 1.1, -0.4, -0.9, 0.7, 0.2, -0.6, 0.9, -1.2, 0.4, 0.1, -0.5, 0.8, -0.3];
    let plots = (0..4).flat_map(|block| (0..7).map(move |step| (block, 25.0 * f64::from(step))));
    let (mut rates, mut yields, mut blocks) = (Vec::new(), Vec::new(), Vec::new());
    for (plot, (block, rate)) in plots.enumerate() {
        rates.push(rate);
        yields.push(value(rate) + 2.0 * f64::from(block) + noise * errors[(7 * plot + 3) % 16]);
        blocks.push(usize::try_from(block).unwrap());
    }
    Observations::new(&rates, &yields, Some(&blocks)).unwrap()
}

fn width(interval: &Interval) -> f64 {
    interval.high.unwrap() - interval.low.unwrap()
}

#[test]
fn profile_and_wald_widths_meet_as_noise_vanishes_away_from_kinks() {
    let value = |family: Family| {
        move |rate: f64| match family {
            Family::Quadratic => 40.0 + 0.5 * rate - 0.002 * rate * rate,
            Family::SquareRoot => 40.0 + 6.0 * rate.sqrt() - 0.3 * rate,
            Family::ExponentialRise => 40.0 - 35.0 * (-0.02 * rate).exp_m1(),
            // The join lies between the rates 75 and 100.
            _ => 40.0 + 0.5 * basis(family, rate, 88.0),
        }
    };
    for family in Family::ALL.into_iter().filter(|family| !matches!(family, Family::Mean | Family::Linear)) {
        let ratio_of = |noise: f64| -> Vec<f64> {
            let observations = on_curve(value(family), noise);
            let curve: Curve = observations.fit(family).curve().unwrap().clone();
            let by = |method| {
                let optimum = observations.optimum_by(&curve, 0.1, method, LEVEL).interval;
                let aonr = observations.agronomic_optimum_by(&curve, method, LEVEL);
                let join = observations.join_by(&curve, method, LEVEL);
                let plateau = observations.plateau_by(&curve, method, LEVEL);
                let all = [optimum, aonr, join, plateau];
                all.into_iter().filter(|interval| interval.limits == Limits::Both).collect::<Vec<Interval>>()
            };
            let (profile, wald) = (by(IntervalMethod::Profile), by(IntervalMethod::Wald));
            profile.iter().zip(&wald).map(|(profile, wald)| width(profile) / width(wald)).collect()
        };
        let (loud, quiet) = (ratio_of(1.0), ratio_of(0.001));
        assert_eq!(quiet.len(), if family.has_join() { 4 } else { 2 }, "{family}");
        for (loud, quiet) in loud.iter().zip(&quiet) {
            assert!((quiet - 1.0).abs() < NEARLY_LINEAR, "{family}: {quiet}");
            assert!((quiet - 1.0).abs() <= (loud - 1.0).abs() + NEARLY_LINEAR, "{family}: {quiet} after {loud}");
        }
    }
}

/// A join before the second rate stands for all joins there: of a case whose polish once left that rate by rounding, in one unit only.
#[test]
fn an_early_join_has_the_same_curve_and_standard_errors_in_every_unit() {
    let lowest = 19.702570487237526;
    let rates =
        [0, 0, 59, 106, 129, 0, 106, 129, 129, 0, 59, 59, 106, 106, 129, 0, 59, 129].map(|n| lowest + f64::from(n));
    let yields = [
        65.53997427472802,
        65.3735541012085,
        87.17085171506453,
        87.50463691514322,
        87.32117342687508,
        69.43111808053705,
        89.0070594281942,
        89.02595814457092,
        90.14312170018194,
        70.61843892913316,
        93.94815557602769,
        92.11252160911519,
        93.41218892303608,
        91.96984176891155,
        92.42938637808203,
        73.77544092705864,
        95.36817514038162,
        97.09355992504786,
    ];
    let blocks = [0, 0, 0, 0, 0, 1, 1, 1, 1, 2, 2, 2, 2, 2, 2, 3, 3, 3];
    let fitted = |unit: f64| {
        let [rates, yields] = [rates, yields].map(|values| values.map(|value| value * unit));
        let observations = Observations::new(&rates, &yields, Some(&blocks)).unwrap();
        let curve = curve(&observations, Family::LinearPlateau).unwrap();
        let errors = observations.standard_errors(&curve);
        assert_eq!(curve.reach, Some(Reach::BeforeFirstRate));
        assert_eq!((errors.slope, errors.join), (None, None));
        // The second rate is the last of these joins and a kink.
        let sides = errors.by_side.unwrap();
        let errors = [errors.plateau, sides[0].plateau, sides[1].plateau].map(Option::unwrap);
        (curve.coefficients.slope.unwrap(), curve.coefficients.plateau.unwrap(), errors)
    };
    let (slope, plateau, errors) = fitted(1.0);
    for unit in [0.01, 0.3, 7.0, 1e4] {
        let (other_slope, other_plateau, other_errors) = fitted(unit);
        let expected = [slope, unit * plateau].into_iter().chain(errors.map(|error| unit * error));
        for (expected, found) in expected.zip([other_slope, other_plateau].into_iter().chain(other_errors)) {
            assert!((found / expected - 1.0).abs() < 1e-9, "in {unit}: {expected} {found}");
        }
    }
}
