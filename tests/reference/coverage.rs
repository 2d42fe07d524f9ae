//! Whether intervals hold the truth as often as they say, and how often a true response is detected: simulated trials, counted.
//!
//! The whole simulation takes some minutes and writes the tables under `reports/coverage`:
//! `cargo test --release --test reference -- --ignored coverage::full`, one test at a time. The reduced one takes the first trials of some of its scenarios,
//! so it must agree with the committed tables but for chance.

mod power;
mod scenario;
mod table;
mod tally;
mod truth;

use rayon::prelude::*;
use scenario::{Place, SEED, Scenario};
use stook::experiment::{FitOptions, FittedGroup};
use stook::response::{Bootstrap, BootstrapLimits, Curve, Family, Fit, IntervalMethod, Resampling};
use stook::stats::interval::{Interval, Limits};
use tally::{Fitted, Line, Method, Of, Tally};
use truth::{PRICE_RATIO, TrueCurve, Truth};

/// Trials of each scenario in the committed tables.
const TRIALS: u64 = 2_000;
/// Trials of each scenario in the reduced run.
const REDUCED: u64 = 200;
const LEVEL: f64 = 0.95;
/// Permutations of the response test: enough for its α of 0.05 to be kept exactly, few enough for hundreds of thousands of trials.
const PERMUTATIONS: usize = 199;

/// The lines that a scenario has.
fn lines(truth: Truth) -> Vec<Line> {
    use IntervalMethod::{Fieller, Profile, Wald};
    let mut lines = Vec::new();
    let mut add = |fitted: Fitted, of: Of, methods: &[IntervalMethod]| {
        lines.extend(methods.iter().map(|method| Line { fitted, method: Method::Of(*method), of }));
    };
    if truth.has_join() {
        add(Fitted::TruthsFamily, Of::Join, &[Profile, Wald]);
    }
    match truth.family() {
        Some(Family::Quadratic) => add(Fitted::TruthsFamily, Of::Optimum, &[Profile, Wald, Fieller]),
        Some(_) => add(Fitted::TruthsFamily, Of::Optimum, &[Profile, Wald]),
        None => {}
    }
    for fitted in [Fitted::Chosen, Fitted::ChosenDetected] {
        if truth.has_join() {
            add(fitted, Of::Join, &[Profile, Wald]);
        }
        add(fitted, Of::Optimum, &[Profile, Wald, Fieller]);
    }
    for within in FAMILIES_WITHIN {
        lines.push(Line { fitted: Fitted::Chosen, method: Method::Families { within }, of: Of::Optimum });
    }
    lines
}

/// How far above the smallest AICc a family may be to widen the interval of the chosen one.
const FAMILIES_WITHIN: [Option<u32>; 4] = [Some(2), Some(4), Some(7), None];

/// The interval of the optimum that all families within so much of the best span together.
fn of_families(fitted: &stook::experiment::Fitted, within: Option<u32>) -> Option<Interval> {
    let weights = fitted.weights()?;
    let bends = |curve: &&Curve| {
        let straight = matches!(curve.family, Family::Mean | Family::Linear | Family::SquareRoot);
        !straight && !curve.bends_upward()
    };
    let curves: Vec<&Curve> = fitted.fits.iter().filter_map(Fit::curve).filter(bends).collect();
    let above =
        |curve: &Curve| weights.families.iter().find(|one| one.family == curve.family).map(|one| one.above_best);
    let least = curves.iter().filter_map(|curve| above(curve)).reduce(f64::min)?;
    let most = within.map_or(f64::INFINITY, f64::from);
    let close = curves.iter().filter(|curve| above(curve).is_some_and(|above| above - least <= most));
    let intervals: Vec<Interval> = close
        .map(|curve| fitted.observations.optimum(curve, PRICE_RATIO, LEVEL).interval)
        .filter(|interval| interval.limits != Limits::NotComputed)
        .collect();
    let low = intervals.iter().map(|interval| interval.low).reduce(|a, b| a.zip(b).map(|(a, b)| a.min(b)))?;
    let high = intervals.iter().map(|interval| interval.high).reduce(|a, b| a.zip(b).map(|(a, b)| a.max(b)))?;
    Some(Interval::between(None, low, high, LEVEL, "families"))
}

/// A method for one trial: a bootstrap draws from streams of its own in each.
fn for_trial(method: IntervalMethod, trial: u64) -> IntervalMethod {
    match method {
        IntervalMethod::Bootstrap(how) => IntervalMethod::Bootstrap(Bootstrap { seed: trial, ..how }),
        method => method,
    }
}

/// Replicates of a bootstrap here: its 2.5 % limits are the tenth from either end.
const REPLICATES: usize = 399;
/// Trials where the average over families is resampled, each of which takes thousands of fits.
const TRIALS_OF_AVERAGE: u64 = 500;

/// The lines of a truth that resample.
fn resampling_lines(truth: Truth) -> Vec<Line> {
    use BootstrapLimits::{Bca, Percentile};
    let bootstrap = |(resampling, limits)| Bootstrap { resampling, limits, replicates: REPLICATES, seed: 0 };
    let ways = [
        (Resampling::Residuals, Percentile),
        (Resampling::Residuals, Bca),
        (Resampling::Wild, Percentile),
        (Resampling::Blocks, Percentile),
    ];
    let quantities: &[Of] = if truth.has_join() { &[Of::Join, Of::Optimum] } else { &[Of::Optimum] };
    let line = |of: Of| {
        let given = move |method| Line { fitted: Fitted::TruthsFamily, method: Method::Of(method), of };
        let resampled = ways.map(|way| given(IntervalMethod::Bootstrap(bootstrap(way))));
        std::iter::once(given(IntervalMethod::Profile)).chain(resampled)
    };
    quantities.iter().flat_map(|of| line(*of)).collect()
}

/// The interval of the average over families, beside that of the chosen one and that of all which fit nearly as well.
fn lines_of_average() -> Vec<Line> {
    let of_chosen = |method| Line { fitted: Fitted::Chosen, method, of: Of::Optimum };
    let average = Bootstrap { replicates: REPLICATES, ..Bootstrap::new(0) };
    [Method::Of(IntervalMethod::Profile), Method::Families { within: Some(4) }, Method::Average(average)]
        .map(of_chosen)
        .to_vec()
}

/// Adds one simulated trial to the tallies of its scenario's lines.
fn count(scenario: &Scenario, curve: &TrueCurve, trial: u64, lines: &[Line], tallies: &mut [Tally]) {
    let averaged_by = lines.iter().find_map(|line| match line.method {
        Method::Average(how) => Some(IntervalMethod::Bootstrap(Bootstrap { seed: trial, ..how })),
        Method::Of(_) | Method::Families { .. } => None,
    });
    let interval = averaged_by.unwrap_or_default();
    let options = FitOptions { permutations: PERMUTATIONS, interval, ..FitOptions::new(LEVEL, trial) };
    let group = FittedGroup::fit(scenario.trial(curve, trial), &options);
    let fitted = group.outcome.expect("rates in complete blocks");
    let detected = fitted.detected().expect("blocks leave error degrees of freedom");
    for (line, tally) in lines.iter().zip(tallies) {
        let fit = match line.fitted {
            Fitted::TruthsFamily => scenario.truth.family().and_then(|family| fitted.curve(family)),
            Fitted::ChosenDetected if !detected => continue,
            Fitted::Chosen | Fitted::ChosenDetected => fitted.optimum_curve(),
        };
        let interval = match (line.method, line.of) {
            (Method::Families { within }, _) => of_families(&fitted, within),
            (Method::Average(_), _) => fitted.averaged_optimum(PRICE_RATIO).and_then(|average| average.interval),
            (Method::Of(method), Of::Join) => {
                let fit = fit.filter(|fit| fit.family.has_join());
                fit.map(|fit| fitted.observations.join_by(fit, for_trial(method, trial), LEVEL))
            }
            (Method::Of(method), Of::Optimum) => {
                let method = for_trial(method, trial);
                fit.map(|fit| fitted.observations.optimum_by(fit, PRICE_RATIO, method, LEVEL).interval)
            }
        };
        let truth = match line.of {
            Of::Join => curve.join().expect("a truth with a join"),
            Of::Optimum => curve.optimum,
        };
        tally.count(interval.as_ref(), truth, detected);
    }
}

/// Lines of a scenario, counted. The same on any number of threads: counts and medians have no order.
fn run(scenario: &Scenario, lines: Vec<Line>, trials: u64) -> Vec<(Line, Tally)> {
    let curve = scenario.curve();
    let none = || vec![Tally::default(); lines.len()];
    let tallies = (0..trials)
        .into_par_iter()
        .fold(none, |mut tallies, trial| {
            count(scenario, &curve, trial, &lines, &mut tallies);
            tallies
        })
        .reduce(none, |one, two| one.into_iter().zip(two).map(|(one, two)| one.merge(two)).collect());
    lines.into_iter().zip(tallies).collect()
}

/// Four scenarios of four truths: three regular ones, and one that is not.
fn some() -> Vec<Scenario> {
    let wanted = |scenario: &Scenario| {
        let regular = scenario.place == Place::Between && scenario.rates == 6 && scenario.cv_percent == 8.0;
        regular || (scenario.place == Place::NearTop && scenario.rates == 4 && scenario.cv_percent == 12.0)
    };
    let fits = |scenario: &Scenario| match scenario.truth {
        Truth::QuadraticPlateau | Truth::LinearPlateau | Truth::Exponential => scenario.is_regular(),
        Truth::Quadratic => false,
        Truth::Outside => !scenario.is_regular(),
    };
    Scenario::all().into_iter().filter(|scenario| wanted(scenario) && fits(scenario)).collect()
}

/// Coverage that the default interval holds in regular scenarios, given the family.
const HOLDS: [f64; 2] = [0.93, 0.97];
/// Standard deviations by which a share may be off by chance.
const BY_CHANCE: f64 = 3.5;

/// What chance may add to or take from a share of so many trials.
fn chance(share: f64, trials: f64) -> f64 {
    // A share of 0 or 1 has no binomial spread but is known to one trial only.
    BY_CHANCE * (share * (1.0 - share) / trials).sqrt() + 1.0 / trials
}

#[test]
#[ignore = "simulates some hundred trials of some scenarios"]
fn reduced_coverage_is_what_the_committed_table_says() {
    let committed = table::committed();
    let scenarios = some();
    assert_eq!(scenarios.len(), 4);
    for scenario in &scenarios {
        for (line, tally) in run(scenario, lines(scenario.truth), REDUCED) {
            let known = committed.coverage(scenario, line).expect("a row of the committed table");
            let found = tally.coverage();
            let told = format!("{scenario:?} {line:?}: {found} of {} against {known}", tally.trials);
            assert!((found - known).abs() <= chance(known, tally.trials as f64), "{told}");
            let promised = line.fitted == Fitted::TruthsFamily && line.method == Method::Of(IntervalMethod::Profile);
            if promised && scenario.is_regular() {
                let [low, high] = HOLDS.map(|share| chance(share, tally.trials as f64));
                assert!(found >= HOLDS[0] - low && found <= HOLDS[1] + high, "{told}");
            }
        }
    }
}

#[test]
#[ignore = "simulates some hundred trials of some designs"]
fn reduced_power_is_what_the_committed_table_says() {
    for design in power::Design::all().iter().filter(|design| design.rates == 6 && design.cv_percent == 9.0) {
        let known = table::committed_power(design).expect("a row of the committed table");
        let found = power::detected(design, REDUCED, PERMUTATIONS) as f64 / REDUCED as f64;
        assert!((found - known).abs() <= chance(known, REDUCED as f64), "{design:?}: {found} against {known}");
    }
}

#[test]
#[ignore = "some minutes: every scenario, written to reports/coverage"]
fn full_simulation_is_written_to_the_reports() {
    let runs: Vec<(Scenario, Vec<(Line, Tally)>)> = Scenario::all()
        .into_iter()
        .map(|scenario| {
            println!("{scenario:?}");
            (scenario, run(&scenario, lines(scenario.truth), TRIALS))
        })
        .collect();
    table::write_coverage(&runs);
    let designs = power::Design::all();
    let detected: Vec<usize> = designs.iter().map(|design| power::detected(design, TRIALS, PERMUTATIONS)).collect();
    table::write_power(&designs, &detected, TRIALS);
    println!("seed {SEED}, {} scenarios and {} designs of {TRIALS} trials", runs.len(), designs.len());
}

#[test]
#[ignore = "some minutes: resampled intervals in some scenarios, written to reports/coverage"]
fn full_simulation_of_resampling_is_written_to_the_reports() {
    let middling = |scenario: &Scenario| scenario.rates == 6 && scenario.cv_percent == 8.0;
    let scenarios = || Scenario::all().into_iter().filter(middling);
    // An exponential's refit is a search of its own, some fifty times slower.
    let quick = |scenario: &Scenario| !matches!(scenario.truth, Truth::Exponential | Truth::Outside);
    let mut runs = Vec::new();
    for scenario in scenarios().filter(quick) {
        println!("{scenario:?}");
        runs.push((scenario, run(&scenario, resampling_lines(scenario.truth), TRIALS)));
    }
    for scenario in scenarios().filter(|scenario| scenario.place == Place::Between) {
        println!("{scenario:?}");
        runs.push((scenario, run(&scenario, lines_of_average(), TRIALS_OF_AVERAGE)));
    }
    table::write_bootstrap(&runs);
}
