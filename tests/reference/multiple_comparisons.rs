//! Comparing means: the studentized range, and many means against one.
//!
//! `data/multiple_comparisons/high_precision.py` makes the constants of this file at 30 digits by another quadrature than ours; the tables
//! beside it are of the oracle's (`06_tukey.py`), of SciPy and of Harter (see SOURCE.md).

use crate::data::{Table, beside};
use approx::assert_relative_eq;
use proptest::prelude::*;
use serde_json::Value;
use stook::stats::distribution::{normal_quantile, t_two_sided};
use stook::stats::dunnett::{dunnett_quantile, dunnett_quantile_upper, dunnett_survival};
use stook::stats::studentized_range::{
    studentized_range_quantile, studentized_range_quantile_upper, studentized_range_survival,
};

/// Double arithmetic, magnified by the exponent of a density far out.
const ROUNDING: f64 = 1e-13;
/// The oracle's own outer integral, at worst on 1 degree of freedom.
const ORACLE: f64 = 2e-10;
/// The library's t on a million degrees of freedom.
const STUDENT: f64 = 1e-9;

fn table(name: &str) -> Table {
    Table::read(&beside("multiple_comparisons").join(name))
}

/// means, df, q, P(Q > q).
const RANGE: &[(usize, f64, f64, f64)] = &[
    (3, f64::INFINITY, 13.0, 1.1526444024218478e-19),
    (100, f64::INFINITY, 12.0, 1.0651529960162111e-13),
    (100, f64::INFINITY, 3.0, 0.9999966401783993),
    (5, f64::INFINITY, 0.5, 0.9966596839434493),
    (7, 18.0, 22.0, 1.3180899260910824e-10),
    (100, 30.0, 3.0, 0.999149015854488),
    (60, 200.0, 9.0, 2.250287638994109e-06),
    (20, 60.0, 15.0, 4.1325336010980947e-13),
    (50, 7.3, 40.0, 1.4229419462072773e-06),
    (10, 1000000.0, 11.0, 3.3140223150054526e-13),
    (100, 1000000.0, 8.0, 7.193806648475066e-05),
    (5, 2.5, 1000.0, 3.847373616279373e-07),
    (3, 0.5, 50.0, 0.1381541598091975),
    (3, 0.5, 1000000.0, 0.0009769868152868242),
    (100, 1.0, 400.0, 0.010003577474765999),
    (100, 0.5, 10.0, 0.544472047336175),
    (20, 1.0, 1.0, 0.9981955034457849),
    (4, 12.6, 0.2, 0.9989349137955763),
];

#[test]
fn the_studentized_range_has_thirteen_digits_wherever_it_lies() {
    for (means, df, q, expected) in RANGE {
        let found = studentized_range_survival(*q, *means, *df).unwrap();
        assert!(
            (found / expected - 1.0).abs() < ROUNDING,
            "{means} means, {df} df, q {q}: {found:e}, not {expected:e}"
        );
        if *expected < 0.9 {
            let back = studentized_range_quantile_upper(*expected, *means, *df).unwrap();
            assert_relative_eq!(back, *q, max_relative = ROUNDING);
        }
    }
}

/// The column `r` beside these is what R 4.2.2 prints. It is wrong in the tails: by 2e-11 and more where the truth is below that.
#[test]
fn the_studentized_range_agrees_with_the_oracle_and_shows_where_r_does_not() {
    let table = table("range_survival.csv");
    let rows = table.numbers("means").into_iter().zip(table.numbers("df")).zip(table.numbers("q"));
    let mut r_at_worst = 0.0_f64;
    for (((means, df), q), (expected, r)) in rows.zip(table.numbers("upper").into_iter().zip(table.text("r"))) {
        let found = studentized_range_survival(q, means as usize, df).unwrap();
        let tolerance = if df == 1.0 { ORACLE } else { ROUNDING };
        assert!(
            (found / expected - 1.0).abs() < tolerance,
            "{means} means, {df} df, q {q}: {found:e}, not {expected:e}"
        );
        if let Ok(r) = r.parse::<f64>()
            && found > 1e-10
        {
            r_at_worst = r_at_worst.max((r / found - 1.0).abs());
        }
    }
    assert!(r_at_worst > 0.1, "R is out by {r_at_worst} at most, so its values would do");
}

/// R's own q.999 of 20 means on 2 degrees of freedom is 66.4, the true one 120.30.
#[test]
fn quantiles_of_the_studentized_range_agree_with_the_oracle() {
    let table = table("range_quantiles.csv");
    let rows =
        table.numbers("means").into_iter().zip(table.numbers("df")).zip(table.numbers("p")).zip(table.numbers("q"));
    for (place, (((means, df), p), q)) in rows.enumerate() {
        let tolerance = if df == 1.0 { ORACLE } else { ROUNDING };
        let survival = studentized_range_survival(q, means as usize, df).unwrap();
        assert_relative_eq!(survival, 1.0 - p, max_relative = 20.0 * tolerance);
        // The search takes ten times as long.
        if place % 10 == 0 {
            let found = studentized_range_quantile(p, means as usize, df).unwrap();
            assert_relative_eq!(found, q, max_relative = tolerance);
        }
    }
}

#[test]
fn every_pair_of_the_block_trials_has_the_p_of_the_oracle() {
    let read = |name: &str| -> Value {
        serde_json::from_str(&std::fs::read_to_string(beside("oracle").join(name)).unwrap()).unwrap()
    };
    let trials = &read("B_rcbd.json")["trials"];
    for (trial, pairs) in read("B_tukey_rcbd_pairs_ref.json").as_object().unwrap() {
        let means = trials[trial]["rates"].as_array().unwrap().len();
        let df = trials[trial]["df_error"].as_f64().unwrap();
        for pair in pairs.as_array().unwrap() {
            let found = studentized_range_survival(pair["q"].as_f64().unwrap(), means, df).unwrap();
            assert_relative_eq!(found, pair["p_ref"].as_f64().unwrap(), max_relative = ROUNDING);
        }
    }
}

#[test]
fn the_studentized_range_is_that_of_scipys_high_precision_reference() {
    let table = table("range_scipy.csv");
    let rows = table.numbers("means").into_iter().zip(table.numbers("df")).zip(table.numbers("q"));
    for (((means, df), q), expected) in rows.zip(table.numbers("p")) {
        let found = 1.0 - studentized_range_survival(q, means as usize, df).unwrap();
        // SciPy gives P(Q ≤ q), whose digits near 0 a survival function does not have.
        assert!((found - expected).abs() < ROUNDING, "{means} means, {df} df, q {q}: {found}, not {expected}");
    }
}

/// Harter's table, made before such integrals were cheap, is up to 1.22 units of its fourth digit off; SciPy's values have six decimals.
#[test]
fn quantiles_of_the_studentized_range_are_those_in_tables() {
    for (name, printed, tolerance) in [
        ("range_harter_1960.csv", "q_table", |q: f64| 1.25 * 10_f64.powf(q.log10().floor() - 3.0)),
        ("range_scipy_quantiles.csv", "q", |_| 0.5001e-6),
    ] as [(&str, &str, fn(f64) -> f64); 2]
    {
        let table = table(name);
        let rows = table.numbers("p").into_iter().zip(table.numbers("df")).zip(table.numbers("k"));
        for (((p, df), means), expected) in rows.zip(table.numbers(printed)) {
            let found = studentized_range_quantile(p, means as usize, df).unwrap();
            assert!((found - expected).abs() <= tolerance(expected), "{p} {df} {means}: {found}, {expected} printed");
        }
    }
}

#[test]
fn published_values_of_the_studentized_range_are_met() {
    // q.05(3, 10), q.05(4, 20) and q.05(5, 20), computed for this project with another program.
    for (means, df, q) in [(3, 10.0, 3.87678), (4, 20.0, 3.95829), (5, 20.0, 4.23186)] {
        assert_relative_eq!(studentized_range_quantile(0.95, means, df).unwrap(), q, epsilon = 5e-6);
    }
}

#[test]
fn of_two_means_the_studentized_range_is_students_t_and_so_is_one_comparison_with_one() {
    for df in [0.5, 1.0, 7.3, 40.0, 1e3, 1e6] {
        for t in [0.1, 2.0, 30.0] {
            let student = t_two_sided(t, df).unwrap();
            let range = studentized_range_survival(t * std::f64::consts::SQRT_2, 2, df).unwrap();
            assert_relative_eq!(range, student, max_relative = STUDENT);
            assert_relative_eq!(dunnett_survival(t, &[0.6], df).unwrap(), range, max_relative = ROUNDING);
        }
    }
    let z = normal_quantile(0.975).unwrap();
    assert_relative_eq!(dunnett_quantile(0.95, &[0.3], f64::INFINITY).unwrap(), z, max_relative = ROUNDING);
}

#[test]
fn infinite_degrees_of_freedom_are_where_many_lead() {
    let known = studentized_range_survival(4.0, 6, f64::INFINITY).unwrap();
    for (df, tolerance) in [(1e12, 1e-10), (1e30, ROUNDING), (f64::MAX, ROUNDING)] {
        let nearly = studentized_range_survival(4.0, 6, df).unwrap();
        assert_relative_eq!(known, nearly, max_relative = tolerance);
    }
}

/// λ where mean 0 has as many plots as the others.
const SQRT_HALF: f64 = std::f64::consts::FRAC_1_SQRT_2;

/// λ of each comparison, df, t, P(max |T| > t).
const MANY_TO_ONE: &[(&[f64], f64, f64, f64)] = &[
    (&[SQRT_HALF; 3], 10.0, 2.5, 0.07653561289117017),
    (&[SQRT_HALF; 3], 10.0, 25.0, 6.649648079933379e-10),
    (&[SQRT_HALF; 6], 18.0, 2.71, 0.06345317827768712),
    (&[SQRT_HALF; 6], 18.0, 12.0, 2.8550184167003504e-09),
    (&[SQRT_HALF; 5], f64::INFINITY, 2.5, 0.05153453093231296),
    (&[SQRT_HALF; 5], f64::INFINITY, 8.0, 6.220924834956816e-15),
    (&[SQRT_HALF; 20], 1.0, 100.0, 0.015346877200373468),
    (&[SQRT_HALF; 12], 1000000.0, 3.0, 0.025515083589094194),
    (&[SQRT_HALF; 2], 40.0, 0.1, 0.9926831151286024),
    (&[0.3, 0.6, 0.9], 7.5, 3.0, 0.04709459789844254),
    (&[0.3, 0.6, 0.9], 7.5, 60.0, 6.811413254484672e-11),
    (&[0.3, 0.6, 0.9], f64::INFINITY, 7.0, 7.678620443519817e-12),
];

#[test]
fn comparisons_with_one_mean_have_thirteen_digits_wherever_they_lie() {
    for (lambdas, df, t, expected) in MANY_TO_ONE {
        let found = dunnett_survival(*t, lambdas, *df).unwrap();
        assert!((found / expected - 1.0).abs() < ROUNDING, "{lambdas:?}, {df} df, t {t}: {found:e}, not {expected:e}");
        if *expected < 0.9 {
            let back = dunnett_quantile_upper(*expected, lambdas, *df).unwrap();
            assert_relative_eq!(back, *t, max_relative = ROUNDING);
        }
    }
}

#[test]
fn comparisons_with_one_mean_round_to_dunnetts_table() {
    // Two-sided, equal replication: d.05 of 2, 3 and 9 comparisons, d.01 of 3 (Dunnett 1964, Biometrics 20:482-491, from memory).
    for (p, comparisons, df, printed) in [
        (0.95, 2, 5.0, 3.03),
        (0.95, 3, 10.0, 2.76),
        (0.95, 5, 20.0, 2.73),
        (0.95, 3, f64::INFINITY, 2.35),
        (0.95, 9, f64::INFINITY, 2.69),
        (0.99, 3, 10.0, 3.74),
    ] {
        let found = dunnett_quantile(p, &vec![SQRT_HALF; comparisons], df).unwrap();
        assert!((found - printed).abs() <= 0.005, "{comparisons} comparisons, {df} df: {found}, {printed} printed");
    }
}

#[test]
fn comparisons_that_share_no_error_multiply_where_it_is_known() {
    let one = dunnett_survival(2.5, &[0.0], f64::INFINITY).unwrap();
    let four = dunnett_survival(2.5, &[0.0; 4], f64::INFINITY).unwrap();
    assert_relative_eq!(four, 1.0 - (1.0 - one).powi(4), max_relative = ROUNDING);
}

#[test]
fn what_is_no_comparison_has_no_probability() {
    let nan = f64::NAN;
    for (q, means, df) in [(nan, 3, 5.0), (1.0, 1, 5.0), (1.0, 0, 5.0), (1.0, 3, 0.0), (1.0, 3, -2.0), (1.0, 3, nan)] {
        assert_eq!(studentized_range_survival(q, means, df), None);
    }
    for p in [0.0, 1.0, -0.5, nan] {
        assert_eq!(studentized_range_quantile(p, 3, 5.0), None);
        assert_eq!(dunnett_quantile(p, &[0.5], 5.0), None);
    }
    for lambdas in [&[][..], &[nan], &[1.0], &[0.5, -1.5]] {
        assert_eq!(dunnett_survival(2.0, lambdas, 5.0), None);
    }
    assert_eq!(dunnett_survival(nan, &[0.5], 5.0), None);
    assert_eq!(dunnett_survival(2.0, &[0.5], 0.0), None);
}

#[test]
fn the_ends_are_certain_and_impossible() {
    for df in [0.5, 12.0, f64::INFINITY] {
        assert_eq!(studentized_range_survival(0.0, 5, df), Some(1.0));
        assert_eq!(studentized_range_survival(f64::INFINITY, 5, df), Some(0.0));
        assert_eq!(dunnett_survival(-1.0, &[0.5; 3], df), Some(1.0));
        assert_eq!(dunnett_survival(f64::INFINITY, &[0.5; 3], df), Some(0.0));
        assert!(studentized_range_survival(1e-300, usize::MAX, df).unwrap() > 1.0 - ROUNDING);
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(24))]

    #[test]
    fn quantile_and_survival_undo_each_other(
        means in 2_usize..100, log_df in -0.7_f64..14.0, log_upper in -28.0_f64..-0.01, lambda in 0.0_f64..0.98,
    ) {
        let (df, upper) = (log_df.exp(), log_upper.exp());
        let q = studentized_range_quantile_upper(upper, means, df).unwrap();
        prop_assert!((studentized_range_survival(q, means, df).unwrap() / upper - 1.0).abs() < ROUNDING);
        let lambdas = vec![lambda; means - 1];
        let t = dunnett_quantile_upper(upper, &lambdas, df).unwrap();
        prop_assert!((dunnett_survival(t, &lambdas, df).unwrap() / upper - 1.0).abs() < ROUNDING);
        // A single comparison exceeds more rarely than the largest, and the largest than all of them one by one.
        let single = t_two_sided(t, df).unwrap();
        // Its logarithms of gamma functions grow with the degrees of freedom, and their rounding with them.
        let student = STUDENT * (df / 1e5).max(1.0);
        prop_assert!(single <= upper * (1.0 + student) && upper <= lambdas.len() as f64 * single * (1.0 + student));
    }
}

#[test]
fn quantiles_on_one_degree_of_freedom_are_cauchys() {
    for upper in [0.2, 1e-6, 1e-15, 1e-100] {
        let cauchy = 1.0 / (0.5 * std::f64::consts::PI * upper).tan();
        let q = studentized_range_quantile_upper(upper, 2, 1.0).unwrap();
        assert_relative_eq!(q, std::f64::consts::SQRT_2 * cauchy, max_relative = ROUNDING);
        assert_relative_eq!(dunnett_quantile_upper(upper, &[0.4], 1.0).unwrap(), cauchy, max_relative = ROUNDING);
    }
}
