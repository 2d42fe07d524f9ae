//! Which curve? Lack of fit, residuals, factors and treatment means against R's own functions (`which_curve/which_curve.R`).

use crate::data::{Table, beside};
use approx::assert_relative_eq;
use serde_json::Value;
use stook::response::{Curve, Family, NestedTest, Observations, PooledError, factor_test};
use stook::stats::shapiro_wilk::shapiro_wilk;
use stook::stats::spread::brown_forsythe;

/// The same sums in another order.
const CLOSED_FORM: f64 = 1e-9;
/// W loses digits where it is near 1, and R takes its normal quantiles from another approximation.
const W: f64 = 1e-9;
/// p of W: far out, its logarithm is what both are right to.
const P_OF_W: f64 = 1e-6;
/// R finds the join by a search on a flat profile.
const SEARCHED: f64 = 1e-6;
/// The oracle prints all digits, but its plateau families come from a search.
const LACK_OF_FIT: f64 = 1e-7;

fn reference() -> Value {
    let path = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/reference/which_curve/which_curve.json");
    serde_json::from_str(&std::fs::read_to_string(path).unwrap()).unwrap()
}

fn numbers(value: &Value) -> Vec<f64> {
    value.as_array().unwrap().iter().map(|one| one.as_f64().unwrap()).collect()
}

fn number(value: &Value) -> f64 {
    value.as_f64().unwrap()
}

fn fit(observations: &Observations, family: Family) -> Curve {
    observations.fit(family).curve().unwrap_or_else(|| panic!("{family} is not estimable")).clone()
}

#[test]
fn shapiro_wilk_is_that_of_r() {
    for (name, case) in reference()["shapiro"].as_object().unwrap() {
        let found = shapiro_wilk(&numbers(&case["sample"])).unwrap();
        let (w, p) = (number(&case["w"]), number(&case["p"]));
        assert!((found.w - w).abs() <= W, "{name}: W {} here, {w} in R", found.w);
        assert!((found.p - p).abs() <= P_OF_W * p, "{name}: p {} here, {p} in R", found.p);
    }
}

#[test]
fn brown_forsythe_is_the_analysis_of_variance_of_distances_from_medians() {
    for case in reference()["spread"].as_object().unwrap().values() {
        let groups: Vec<usize> = numbers(&case["groups"]).iter().map(|group| *group as usize).collect();
        let found = brown_forsythe(&numbers(&case["values"]), &groups).unwrap();
        assert_relative_eq!(found.f, number(&case["f"]), max_relative = CLOSED_FORM);
        assert_relative_eq!(found.p, number(&case["p"]), max_relative = CLOSED_FORM);
        assert_eq!((found.df as f64, found.error_df as f64), (number(&case["df"]), number(&case["error_df"])));
    }
}

#[test]
fn leverage_and_studentised_residuals_are_those_of_r() {
    for case in reference()["residuals"].as_object().unwrap().values() {
        let table = Table::read(&beside(case["file"].as_str().unwrap()));
        let (rates, yields, blocks) = (table.numbers("rate"), table.numbers("yield"), table.groups("block"));
        let blocked = Observations::new(&rates, &yields, Some(&blocks)).unwrap();
        let plain = Observations::new(&rates, &yields, None).unwrap();
        for (observations, family, key) in [
            (&blocked, Family::Linear, "linear"),
            (&blocked, Family::Quadratic, "quadratic"),
            (&plain, Family::Quadratic, "plain_quadratic"),
        ] {
            let expected = &case[key];
            let found = observations.diagnostics(&fit(observations, family)).unwrap();
            let parts = numbers(&expected["leverage"]).into_iter().zip(numbers(&expected["internal"]));
            let parts = parts.zip(numbers(&expected["external"]));
            for (residual, ((leverage, internal), external)) in found.residuals.iter().zip(parts) {
                assert_relative_eq!(residual.leverage, leverage, max_relative = CLOSED_FORM);
                assert_relative_eq!(residual.studentised.unwrap(), internal, epsilon = CLOSED_FORM);
                assert_relative_eq!(residual.deleted.unwrap(), external, epsilon = CLOSED_FORM);
            }
            assert_eq!(found.residuals.len(), rates.len());
            assert_relative_eq!(found.furthest.unwrap().p, number(&expected["furthest_p"]), max_relative = 1e-7);
            assert_relative_eq!(found.normality.unwrap().w, number(&expected["normality"]["w"]), max_relative = W);
            let spread = found.spread.unwrap();
            assert_relative_eq!(spread.f, number(&expected["spread"]["f"]), max_relative = 1e-7);
            assert_relative_eq!(spread.p, number(&expected["spread"]["p"]), max_relative = 1e-7);
        }
        let curve = fit(&blocked, Family::QuadraticPlateau);
        let expected = &case["quadratic_plateau"];
        if curve.join.is_some_and(|join| (join / number(&expected["join"]) - 1.0).abs() < SEARCHED) {
            let found = blocked.diagnostics(&curve).unwrap();
            for (residual, leverage) in found.residuals.iter().zip(numbers(&expected["leverage"])) {
                assert_relative_eq!(residual.leverage, leverage, max_relative = SEARCHED);
            }
            // A nuisance mean a block, slope and shape.
            let trace: f64 = found.residuals.iter().map(|residual| residual.leverage).sum();
            assert_relative_eq!(trace, blocked.groups() as f64 + 2.0, max_relative = CLOSED_FORM);
        } else {
            assert_ne!(case["file"], "oracle/s1_qp.csv", "its join is well inside the tested rates");
        }
    }
}

#[test]
fn residuals_leave_their_curve_its_sum_of_squares() {
    let table = Table::read(&beside("oracle/s6_unbalanced.csv"));
    let blocks = table.groups("block");
    let observations = Observations::new(&table.numbers("rate"), &table.numbers("yield"), Some(&blocks)).unwrap();
    for family in Family::ALL {
        let curve = fit(&observations, family);
        let found = observations.diagnostics(&curve).unwrap();
        let rss: f64 = found.residuals.iter().map(|residual| residual.residual.powi(2)).sum();
        assert_relative_eq!(rss, curve.rss, max_relative = CLOSED_FORM);
    }
}

#[test]
fn lack_of_fit_is_that_of_the_oracle() {
    let text = std::fs::read_to_string(beside("oracle/B_lack_of_fit.json")).unwrap();
    let oracle: Value = serde_json::from_str(&text).unwrap();
    let mut compared = 0;
    for (name, expected) in oracle.as_object().unwrap() {
        let table = Table::read(&beside(&format!("oracle/{name}.csv")));
        let blocks = table.groups("block");
        let observations = Observations::new(&table.numbers("rate"), &table.numbers("yield"), Some(&blocks)).unwrap();
        let families =
            [(Family::Linear, "linear"), (Family::Quadratic, "quadratic"), (Family::QuadraticPlateau, "qp_increasing")];
        for (family, key) in families {
            let (Some(f), fitted) = (expected[key]["F"].as_f64(), observations.fit(family)) else { continue };
            let Some(curve) = fitted.curve() else { continue };
            let found = observations.lack_of_fit(curve).unwrap();
            assert_relative_eq!(found.f, f, max_relative = LACK_OF_FIT);
            assert_relative_eq!(found.p, number(&expected[key]["p"]), max_relative = LACK_OF_FIT);
            let df = (number(&expected[key]["df"]), number(&expected[key]["df_error"]));
            assert_eq!((found.df as f64, found.error_df as f64), df, "{name} {family}");
            compared += 1;
        }
    }
    assert!(compared >= 18, "{compared}");
}

#[test]
fn a_curve_with_a_parameter_a_treatment_or_without_error_has_no_lack_of_fit() {
    let three = Observations::new(&[0.0, 0.0, 50.0, 50.0, 99.0, 99.0], &[1.0, 2.0, 4.0, 6.0, 5.0, 8.0], None).unwrap();
    assert_eq!(three.lack_of_fit(&fit(&three, Family::Quadratic)), None);
    assert_eq!(three.lack_of_fit(&fit(&three, Family::Linear)).map(|test| test.df), Some(1));
    let single = Observations::new(&[0.0, 50.0, 99.0, 120.0], &[1.0, 4.0, 5.0, 8.0], None).unwrap();
    assert_eq!(single.lack_of_fit(&fit(&single, Family::Linear)), None);
}

/// A made-up randomised complete block trial.
fn made_up() -> (Vec<f64>, Vec<f64>, Vec<usize>) {
    let yields = [
        [38.0, 41.0, 43.0, 39.0],
        [55.0, 57.0, 60.0, 53.0],
        [66.0, 69.0, 70.0, 65.0],
        [73.0, 75.0, 77.0, 71.0],
        [75.0, 78.0, 79.0, 74.0],
        [74.0, 79.0, 78.0, 75.0],
    ];
    let rates = (0..24).map(|plot| 30.0 * (plot / 4) as f64).collect();
    (rates, yields.as_flattened().to_vec(), (0..24).map(|plot| plot % 4).collect())
}

#[test]
fn the_made_up_block_trial_has_its_lack_of_fit() {
    // Computed with NumPy: F 0.139 on 3 and 15 df (quadratic-plateau), 16.12 (linear-plateau), 2.22 (quadratic).
    let (rates, yields, blocks) = made_up();
    let trial = Observations::new(&rates, &yields, Some(&blocks)).unwrap();
    let test = |family| trial.lack_of_fit(&fit(&trial, family)).unwrap();
    for (family, f, half) in
        [(Family::QuadraticPlateau, 0.139, 5e-4), (Family::LinearPlateau, 16.12, 5e-3), (Family::Quadratic, 2.22, 5e-3)]
    {
        let found = test(family);
        assert!((found.f - f).abs() <= half, "{family}: {}", found.f);
        assert_eq!((found.df, found.error_df), (3, 15));
    }
}

#[track_caller]
fn same_test(found: NestedTest, expected: &Value) {
    assert_relative_eq!(found.ss, number(&expected["ss"]), max_relative = CLOSED_FORM);
    assert_relative_eq!(found.f, number(&expected["f"]), max_relative = CLOSED_FORM);
    assert_relative_eq!(found.p, number(&expected["p"]), max_relative = CLOSED_FORM);
    assert_eq!((found.df as f64, found.error_df as f64), (number(&expected["df"]), number(&expected["error_df"])));
}

#[test]
fn varieties_of_oats_answer_to_nitrogen_as_r_says() {
    let table = Table::read(&beside("yates_oats_1935.csv"));
    let all: (Vec<f64>, Vec<f64>) = (table.numbers("nitrogen"), table.numbers("yield"));
    let (blocks, varieties) = (table.groups("block"), table.groups("variety"));
    // The rows that the script leaves out, from zero.
    for (key, left_out) in [("all", vec![]), ("without", vec![2, 16, 39, 40, 65])] {
        let rows: Vec<usize> = (0..72).filter(|row| !left_out.contains(row)).collect();
        let of = |rows: &[usize], nuisance: &dyn Fn(usize) -> usize| {
            let rates: Vec<f64> = rows.iter().map(|row| all.0[*row]).collect();
            let yields: Vec<f64> = rows.iter().map(|row| all.1[*row]).collect();
            let groups: Vec<usize> = rows.iter().map(|row| nuisance(*row)).collect();
            Observations::new(&rates, &yields, Some(&groups)).unwrap()
        };
        let pooled = of(&rows, &|row| varieties[row] * 6 + blocks[row]);
        let level = |variety: usize| {
            let rows: Vec<usize> = rows.iter().copied().filter(|row| varieties[*row] == variety).collect();
            of(&rows, &|row| blocks[row])
        };
        let test = factor_test(&pooled, &[level(0), level(1), level(2)]);
        let expected = &reference()["factors"][key];
        same_test(test.interaction.unwrap(), &expected["interaction"]);
        for (position, key) in ["linear", "quadratic"].into_iter().enumerate() {
            same_test(test.curves[position].test.unwrap(), &expected[key]);
        }
    }
}

#[test]
fn means_with_their_error_are_worth_their_plots() {
    let (rates, yields, blocks) = made_up();
    let plots = Observations::new(&rates, &yields, Some(&blocks)).unwrap();
    let analysis = plots.analysis();
    let error = PooledError { mean_square: analysis.error_ms.unwrap(), df: analysis.error_df };
    let (at, of): (Vec<f64>, Vec<f64>) = plots.treatment_means().iter().map(|mean| (mean.rate, mean.mean)).unzip();
    let means = Observations::of_means(&at, &of, &[4; 6], None, Some(error)).unwrap();
    let same = |a: f64, b: f64| assert_relative_eq!(a, b, max_relative = CLOSED_FORM);
    let same_or_none = |a: Option<f64>, b: Option<f64>| {
        assert_eq!(a.is_some(), b.is_some());
        a.zip(b).into_iter().for_each(|(a, b)| same(a, b));
    };
    assert_eq!(means.n(), 24);
    for family in Family::ALL {
        let (a, b) = (fit(&plots, family), fit(&means, family));
        assert_eq!((a.df, a.reach), (b.df, b.reach));
        same(a.coefficients.intercept, b.coefficients.intercept);
        same_or_none(a.coefficients.slope, b.coefficients.slope);
        same_or_none(a.coefficients.curvature, b.coefficients.curvature);
        same_or_none(a.coefficients.plateau, b.coefficients.plateau);
        same(a.rss, b.rss);
        let fields: [fn(&Curve) -> Option<f64>; 6] =
            [|c| c.sigma, |c| c.r_squared, |c| c.aic, |c| c.aicc, |c| c.bic, |c| c.join];
        for of in fields {
            same_or_none(of(&a), of(&b));
        }
        let (low, high) = (plots.join_interval(&a, 0.95), means.join_interval(&b, 0.95));
        same_or_none(low.low, high.low);
        same_or_none(low.high, high.high);
        for ratio in [0.0, 0.1, 0.3] {
            let (a, b) = (plots.optimum(&a, ratio, 0.95), means.optimum(&b, ratio, 0.95));
            same_or_none(a.rate, b.rate);
            same_or_none(a.interval.low, b.interval.low);
            same_or_none(a.interval.high, b.interval.high);
        }
        for (a, b) in plots.band(&a, &[0.0, 45.0, 150.0], 0.95).iter().zip(means.band(&b, &[0.0, 45.0, 150.0], 0.95)) {
            same_or_none(a.low, b.low);
            same_or_none(a.high, b.high);
        }
        let (a, b) = (plots.lack_of_fit(&a), means.lack_of_fit(&b));
        same_or_none(a.map(|test| test.p), b.map(|test| test.p));
    }
    let tested = means.response_test(999, 1);
    same_or_none(tested.p, analysis.p);
    same_or_none(means.analysis().f, analysis.f);
    for (a, b) in plots.treatment_means().iter().zip(means.treatment_means()) {
        same_or_none(a.standard_error, b.standard_error);
    }
}

#[test]
fn means_without_error_are_a_weighted_regression() {
    let reference = &reference()["means"];
    let data = &reference["data"];
    let replicates: Vec<usize> = numbers(&data["n"]).iter().map(|n| *n as usize).collect();
    let means =
        Observations::of_means(&numbers(&data["rate"]), &numbers(&data["yield"]), &replicates, None, None).unwrap();
    for (family, key) in [(Family::Linear, "linear"), (Family::Quadratic, "quadratic")] {
        let (curve, expected) = (fit(&means, family), &reference[key]);
        let coefficients = numbers(&expected["coefficients"]);
        assert_relative_eq!(curve.coefficients.intercept, coefficients[0], max_relative = CLOSED_FORM);
        assert_relative_eq!(curve.coefficients.slope.unwrap(), coefficients[1], max_relative = CLOSED_FORM);
        assert_relative_eq!(curve.rss, number(&expected["rss"]), max_relative = CLOSED_FORM);
        assert_relative_eq!(curve.aic.unwrap(), number(&expected["aic"]), max_relative = CLOSED_FORM);
        assert_relative_eq!(curve.bic.unwrap(), number(&expected["bic"]), max_relative = CLOSED_FORM);
        assert_eq!(curve.df as f64, number(&expected["df"]));
        let found = means.diagnostics(&curve).unwrap();
        let parts = numbers(&expected["leverage"]).into_iter().zip(numbers(&expected["external"]));
        for (residual, (leverage, external)) in found.residuals.iter().zip(parts) {
            assert_relative_eq!(residual.leverage, leverage, max_relative = CLOSED_FORM);
            assert_relative_eq!(residual.deleted.unwrap(), external, epsilon = CLOSED_FORM);
        }
    }
    // One mean at every rate, and none repeated: nothing to test against.
    let few = Observations::of_means(&[0.0, 40.0, 80.0], &[40.0, 55.0, 60.0], &[4, 4, 4], None, None).unwrap();
    let test = few.response_test(999, 1);
    assert!(test.p.is_none() && test.untested.is_some_and(|reason| reason.contains("error mean square")));
}

#[test]
fn a_compared_factor_of_means_counts_their_error_once() {
    // Oats: varieties' means over six blocks with error b of the split-plot, against the plots themselves.
    let table = Table::read(&beside("yates_oats_1935.csv"));
    let (rates, yields) = (table.numbers("nitrogen"), table.numbers("yield"));
    let (blocks, varieties) = (table.groups("block"), table.groups("variety"));
    let mut levels = Vec::new();
    let (mut at, mut of, mut variety_of) = (Vec::new(), Vec::new(), Vec::new());
    for variety in 0..3 {
        let rows: Vec<usize> = (0..72).filter(|row| varieties[*row] == variety).collect();
        let pick = |from: &[f64]| rows.iter().map(|row| from[*row]).collect::<Vec<f64>>();
        let groups: Vec<usize> = rows.iter().map(|row| blocks[*row]).collect();
        let level = Observations::new(&pick(&rates), &pick(&yields), Some(&groups)).unwrap();
        for mean in level.treatment_means() {
            at.push(mean.rate);
            of.push(mean.mean);
            variety_of.push(variety);
        }
        levels.push(level);
    }
    // Error b, mean square 7968.75/45, from the analysis in R.
    let error = Some(PooledError { mean_square: 7968.75 / 45.0, df: 45 });
    let pooled = Observations::of_means(&at, &of, &[6; 12], Some(&variety_of), error).unwrap();
    let of_level = |variety: usize| {
        let part = variety * 4..variety * 4 + 4;
        Observations::of_means(&at[part.clone()], &of[part], &[6; 4], None, error).unwrap()
    };
    let test = factor_test(&pooled, &[of_level(0), of_level(1), of_level(2)]);
    let expected = &reference()["factors"]["all"];
    same_test(test.interaction.unwrap(), &expected["interaction"]);
    same_test(test.curves[1].test.unwrap(), &expected["quadratic"]);
}
