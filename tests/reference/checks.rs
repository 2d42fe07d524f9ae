//! Single values: published, or computed with general-purpose software outside this project.
//!
//! "read" values are as a source prints them, "computed" values were made with NumPy, SciPy or R. Quadratic-plateau fits were
//! computed with mpmath at 40 digits, where the derivative of the profile by the join vanishes, because minimisers stop six digits in.

use crate::data::{Table, beside, shared};
use stook::economics::{Tolerance, forgone_return, near_optimum, net_return};
use stook::response::{Coefficients, Curve, Family, IntervalMethod, Observations, OptimumStatus, Quantity, Reach};
use stook::stats::interval::Limits;

/// A value printed to this many significant digits agrees to half a unit of the last.
fn digits(expected: f64, significant: i32) -> f64 {
    0.5 * 10_f64.powf(expected.abs().log10().floor() + 1.0 - f64::from(significant))
}

#[track_caller]
pub fn agrees(ours: f64, expected: f64, significant: i32) {
    // A hair over half a unit, because an expected value is itself rounded.
    assert!((ours - expected).abs() <= 1.01 * digits(expected, significant), "{ours} here, {expected} expected");
}

fn fit(observations: &Observations, family: Family) -> Curve {
    observations.fit(family).curve().unwrap_or_else(|| panic!("{family} is not estimable")).clone()
}

/// Residual sum of squares of `curve` beyond pure error, as an F against pure error.
fn lack_of_fit(observations: &Observations, curve: &Curve) -> (f64, usize, usize) {
    let analysis = observations.analysis();
    let df = curve.df - analysis.error_df;
    let f = (curve.rss - analysis.error_ss) / df as f64 / analysis.error_ms.unwrap();
    (f, df, analysis.error_df)
}

/// A made-up randomised complete block trial, bu/ac on lb/ac.
fn made_up() -> Observations {
    let yields = [
        [38.0, 41.0, 43.0, 39.0],
        [55.0, 57.0, 60.0, 53.0],
        [66.0, 69.0, 70.0, 65.0],
        [73.0, 75.0, 77.0, 71.0],
        [75.0, 78.0, 79.0, 74.0],
        [74.0, 79.0, 78.0, 75.0],
    ];
    let rates: Vec<f64> = (0..24).map(|plot| 30.0 * (plot / 4) as f64).collect();
    let blocks: Vec<usize> = (0..24).map(|plot| plot % 4 + 1).collect();
    Observations::new(&rates, yields.as_flattened(), Some(&blocks)).unwrap()
}

#[test]
fn the_made_up_block_trial_has_its_analysis_of_variance() {
    let analysis = made_up().analysis();
    agrees(analysis.treatment_ss, 4162.8333, 8);
    agrees(analysis.nuisance_ss, 102.6667, 7);
    agrees(analysis.error_ss, 9.8333, 5);
    assert_eq!((analysis.treatment_df, analysis.nuisance_df, analysis.error_df), (5, 3, 15));
    agrees(analysis.f.unwrap(), 1270.017, 7);
    agrees(analysis.cv_percent.unwrap(), 1.2425, 5);
}

#[test]
fn the_made_up_block_trial_has_its_curves() {
    let observations = made_up();
    let quadratic_plateau = fit(&observations, Family::QuadraticPlateau);
    agrees(quadratic_plateau.coefficients.intercept, 40.3181, 6);
    agrees(quadratic_plateau.coefficients.slope.unwrap(), 0.602659, 6);
    agrees(quadratic_plateau.join.unwrap(), 119.92310915123, 12);
    agrees(quadratic_plateau.coefficients.plateau.unwrap(), 76.454450882662, 12);
    agrees(observations.optimum(&quadratic_plateau, 0.1, 0.95).rate.unwrap(), 100.02409810252, 12);
    let (f, df, error_df) = lack_of_fit(&observations, &quadratic_plateau);
    agrees(f, 0.139, 3);
    assert_eq!((df, error_df), (3, 15));

    let linear_plateau = fit(&observations, Family::LinearPlateau);
    agrees(linear_plateau.coefficients.intercept, 41.0417, 6);
    agrees(linear_plateau.coefficients.slope.unwrap(), 27.25 / 60.0, 12);
    agrees(linear_plateau.join.unwrap(), 76.239, 5);
    agrees(linear_plateau.coefficients.plateau.unwrap(), 75.6667, 6);
    agrees(lack_of_fit(&observations, &linear_plateau).0, 16.12, 4);

    let quadratic = fit(&observations, Family::Quadratic);
    agrees(quadratic.coefficients.intercept, 40.5714, 6);
    agrees(quadratic.coefficients.slope.unwrap(), 0.5789286, 7);
    agrees(quadratic.coefficients.curvature.unwrap(), -0.00228175, 6);
    agrees(observations.optimum(&quadratic, 0.1, 0.95).rate.unwrap(), 104.948, 6);
    agrees(lack_of_fit(&observations, &quadratic).0, 2.22, 3);
}

#[test]
fn a_known_quadratic_plateau_has_its_optimum_and_net_return() {
    // Intercept 40, slope 0.60 a lb, join 120; grain at 6, N at 0.60: worked by hand.
    let curve = exact_curve();
    let (grain, nitrogen) = (6.0, 0.60);
    let ratio = nitrogen / grain;
    for (ratio, expected) in [(ratio, 100.0), (0.05, 110.0), (0.15, 90.0), (0.20, 80.0)] {
        let best = exact_observations().optimum(&curve, ratio, 0.95);
        agrees(best.rate.unwrap(), expected, 9);
        assert_eq!(best.status, OptimumStatus::Interior);
    }
    agrees(curve.value(100.0), 75.0, 12);
    agrees(grain * net_return(&curve, 100.0, ratio), 390.0, 12);
    agrees(grain * (net_return(&curve, 100.0, ratio) - net_return(&curve, 0.0, ratio)), 150.0, 12);
    let forgone = [(60.0, 24.0), (80.0, 6.0), (90.0, 1.5), (110.0, 1.5), (120.0, 6.0), (140.0, 18.0)];
    for (rate, expected) in forgone {
        agrees(grain * forgone_return(&curve, rate, 100.0, ratio), expected, 10);
    }
    let near = near_optimum(&curve, 100.0, ratio, Tolerance::YieldUnits(1.5 / grain), 0.0, 160.0);
    agrees(near.low, 90.0, 8);
    agrees(near.high, 110.0, 8);
}

fn exact_curve() -> Curve {
    let fitted = fit(&exact_observations(), Family::QuadraticPlateau);
    let coefficients =
        Coefficients { slope: Some(0.60), curvature: Some(-0.0025), plateau: Some(76.0), ..Coefficients::level(40.0) };
    Curve { coefficients, ..fitted }
}

/// Plots exactly on the curve.
fn exact_observations() -> Observations {
    let rates: Vec<f64> = (0..9).map(|step| 20.0 * f64::from(step)).collect();
    let value = |rate: &f64| {
        let used = rate.min(120.0);
        40.0 + 0.60 * used - 0.0025 * used * used
    };
    let yields: Vec<f64> = rates.iter().map(value).collect();
    Observations::new(&rates, &yields, None).unwrap()
}

#[test]
fn wheat_in_two_zones_has_fiellers_intervals() {
    // Bachmaier (2009), Statistical Papers 50:649-660: low zone 173–260 kg/ha read, the digits computed; no blocks were recorded.
    let Some(path) = shared("field-trials/bachmaier.nitrogen.csv") else { return };
    let table = Table::read(&path);
    let ratio = 0.005454;
    let zone = |zone: &str| {
        let table = table.only("zone", zone);
        Observations::new(&table.numbers("nitro"), &table.numbers("yield"), None).unwrap()
    };
    let low = zone("low");
    let curve = fit(&low, Family::Quadratic);
    agrees(curve.coefficients.intercept, 3.62226108, 9);
    agrees(curve.coefficients.slope.unwrap(), 0.0380948408, 9);
    agrees(curve.coefficients.curvature.unwrap(), -8.19789712e-5, 9);
    agrees(curve.rss, 24.6113571, 9);
    let optimum = low.optimum(&curve, ratio, 0.95);
    agrees(optimum.rate.unwrap(), 199.08057, 8);
    agrees(optimum.interval.low.unwrap(), 173.0961, 7);
    agrees(optimum.interval.high.unwrap(), 260.0565, 7);
    let fieller = low.optimum_by(&curve, ratio, IntervalMethod::Fieller, 0.95).interval;
    assert_eq!((fieller.limits, fieller.method.as_str()), (Limits::Both, "fieller"));
    // Read: 173–260.
    assert_eq!((fieller.low.unwrap().round(), fieller.high.unwrap().round()), (173.0, 260.0));
    agrees(fieller.low.unwrap(), 173.0961, 7);
    agrees(fieller.high.unwrap(), 260.0565, 7);

    let high = zone("high");
    let curve = fit(&high, Family::Quadratic);
    let fieller = high.fieller(&curve, ratio, 0.95);
    agrees(fieller.low.unwrap(), 203.9692, 7);
    agrees(fieller.high.unwrap(), 328.2895, 7);
    let optimum = high.optimum(&curve, ratio, 0.95);
    agrees(optimum.rate.unwrap(), 239.75903, 8);
    agrees(optimum.interval.low.unwrap(), 203.9692, 7);
    // Past the highest rate, 260.
    agrees(optimum.interval.high.unwrap(), 328.2895, 7);
}

#[test]
fn corn_at_five_sites_has_its_profile_and_delta_intervals() {
    // Hernandez & Mulla (2008), Agron. J. 100:1221-1229: N 0.6615 $/kg, corn 118.1 $/Mg, 90 %, no blocks in their model. S5's optimum
    // and its delta interval are read, the digits, the other sites and the limits with the F cutoff computed.
    let Some(path) = shared("field-trials/hernandez.nitrogen.csv") else { return };
    let table = Table::read(&path);
    let expected = [
        ("S1", 130.1339, [122.966, 139.644], [122.0379, 138.2299]),
        ("S2", 154.3692, [134.311, 201.927], [126.8179, 181.9205]),
        ("S3", 143.1078, [127.916, 172.754], [123.4944, 162.7212]),
        ("S4", 196.9604, [174.696, 242.776], [167.6609, 226.2598]),
        ("S5", 191.7198, [147.109, 401.563], [118.9329, 264.5067]),
    ];
    for (site, rate, [low, high], delta) in expected {
        let plots = table.only("site", site);
        let observations = Observations::new(&plots.numbers("nitro"), &plots.numbers("yield"), None).unwrap();
        let curve = fit(&observations, Family::Quadratic);
        let optimum = observations.optimum(&curve, 0.6615 / 118.1, 0.90);
        // The published optimum may lie past the top rate (S5: 191.72 past 168); `rate` never does.
        let c = &curve.coefficients;
        agrees((0.6615 / 118.1 - c.slope.unwrap()) / (2.0 * c.curvature.unwrap()), rate, 7);
        agrees(optimum.rate.unwrap(), rate.min(curve.highest_rate), 7);
        agrees(optimum.interval.low.unwrap(), low, 6);
        agrees(optimum.interval.high.unwrap(), high, 6);
        let wald = observations.wald(&curve, Quantity::Optimum { slope_ratio: 0.6615 / 118.1 }, 0.90);
        agrees(wald.estimate.unwrap(), rate, 7);
        agrees(wald.low.unwrap(), delta[0], 7);
        agrees(wald.high.unwrap(), delta[1], 7);
        if site == "S5" {
            // Read: 147.96–401.65, by a profile likelihood whose cutoff is neither the F nor the χ² one.
            assert!(
                (optimum.interval.low.unwrap() - 147.96).abs() < 1.0
                    && (optimum.interval.high.unwrap() - 401.65).abs() < 1.0
            );
            // Past the top rate, 168, the optimum is a bound, and no interval is put around a bound.
            let reported = observations.optimum_by(&curve, 0.6615 / 118.1, IntervalMethod::Wald, 0.90);
            assert!(reported.interval.limits == Limits::NotComputed && reported.interval.reason.is_some());
        }
    }
}

#[test]
fn corn_means_of_1962_have_their_quadratic_plateau() {
    // Engelstad & Parks (1971), Agron. J. 63:21-23, Jackson 1962: join 225 and optimum 140 at 0.11/1.15 read, the digits computed.
    let Some(path) = shared("field-trials/engelstad.nitro.csv") else { return };
    let table = Table::read(&path).only("loc", "Jackson").only("year", "1962");
    let observations = Observations::new(&table.numbers("nitro"), &table.numbers("yield"), None).unwrap();
    let curve = fit(&observations, Family::QuadraticPlateau);
    agrees(curve.join.unwrap(), 225.34029095556, 12);
    agrees(curve.coefficients.plateau.unwrap(), 74.742576589097, 12);
    agrees(curve.rss, 8.5304862668412, 12);
    let optimum = observations.optimum(&curve, 0.11 / 1.15, 0.95);
    agrees(optimum.rate.unwrap(), 140.7836290692, 12);
}

#[test]
fn the_manuals_example_has_its_plateau() {
    // A statistics manual's quadratic-plateau chapter: plateau 0.777 read, the digits computed.
    let table = Table::read(&beside("quad_plateau_manual_example.csv"));
    let observations = Observations::new(&table.numbers("x"), &table.numbers("y"), None).unwrap();
    let curve = fit(&observations, Family::QuadraticPlateau);
    agrees(curve.coefficients.intercept, 0.3921152598627, 12);
    agrees(curve.coefficients.slope.unwrap(), 0.060463188200287, 11);
    agrees(curve.coefficients.curvature.unwrap(), -0.0023715404633986, 11);
    agrees(curve.rss, 0.010065990537284, 11);
    agrees(curve.join.unwrap(), 12.747661094856, 11);
    agrees(curve.coefficients.plateau.unwrap(), 0.77749737580858, 11);
    let errors = observations.standard_errors(&curve);
    agrees(errors.intercept.unwrap(), 0.02667416, 7);
    agrees(errors.slope.unwrap(), 0.00842305, 6);
    agrees(errors.curvature.unwrap(), 0.00055132, 5);
    let line = fit(&observations, Family::LinearPlateau);
    agrees(line.coefficients.intercept, 0.41285714, 8);
    agrees(line.coefficients.slope.unwrap(), 0.04380952, 7);
    agrees(line.join.unwrap(), 8.00951087, 9);
    agrees(line.rss, 0.01177798, 7);
}

#[test]
fn the_sugarcane_trial_has_its_analysis_and_joins() {
    // An open sugarcane canopy trial of 2017, cane t/ac; all computed. Its curves are pooled over blocks.
    let Some(path) = shared("field-trials/sugarcane-canopy-2017/sugarcane_sare2017_wide.csv") else { return };
    let table = Table::read(&path);
    let (rates, yields) = (table.numbers("n_lb_ac"), table.numbers("cane_short_ton_ac"));
    let blocked = Observations::new(&rates, &yields, Some(&table.groups("block_inferred"))).unwrap();
    let analysis = blocked.analysis();
    agrees(analysis.nuisance_ss, 215.93498, 8);
    agrees(analysis.treatment_ss, 6196.58538, 9);
    agrees(analysis.error_ss, 266.42914, 8);
    assert_eq!((analysis.nuisance_df, analysis.treatment_df, analysis.error_df), (5, 4, 20));
    agrees(analysis.f.unwrap(), 116.2896, 7);

    let pooled = Observations::new(&rates, &yields, None).unwrap();
    let linear = fit(&pooled, Family::LinearPlateau);
    agrees(linear.join.unwrap(), 95.59683, 7);
    agrees(linear.coefficients.plateau.unwrap(), 66.14417, 7);
    agrees(linear.rss, 542.886528, 9);
    let quadratic = fit(&pooled, Family::QuadraticPlateau);
    agrees(quadratic.coefficients.intercept, 28.933983484297, 12);
    agrees(quadratic.coefficients.slope.unwrap(), 0.49103940233262, 11);
    agrees(quadratic.coefficients.curvature.unwrap(), -0.0015529083144805, 11);
    agrees(quadratic.join.unwrap(), 158.10315321059, 11);
    agrees(quadratic.coefficients.plateau.unwrap(), 67.751422414012, 12);
    agrees(quadratic.rss, 510.55789670172, 12);
    assert_eq!(quadratic.reach, Some(Reach::WithinTestedRates));
}

#[test]
fn yates_oats_have_their_nitrogen_means() {
    // Yates (1935), with variety × block as the nuisance of the pooled trial; sums of squares and means computed with R's aov.
    let table = Table::read(&beside("yates_oats_1935.csv"));
    let (rates, yields) = (table.numbers("nitrogen"), table.numbers("yield"));
    let blocks = table.groups("block");
    let main_plots: Vec<usize> = table.groups("variety").iter().zip(&blocks).map(|(v, b)| 6 * v + b).collect();
    let observations = Observations::new(&rates, &yields, Some(&main_plots)).unwrap();
    let means: Vec<f64> = observations.treatment_means().iter().map(|mean| mean.mean).collect();
    for (ours, expected) in means.iter().zip([79.3889, 98.8889, 114.2222, 123.3889]) {
        agrees(*ours, expected, if expected < 100.0 { 6 } else { 7 });
    }
    let analysis = observations.analysis();
    agrees(analysis.treatment_ss, 20020.5, 6);
    assert_eq!(analysis.treatment_df, 3);
    // Interaction and error b together, because one curve serves all varieties here.
    agrees(analysis.error_ss, 321.75 + 7968.75, 7);
}
