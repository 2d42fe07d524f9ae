//! Orthogonal polynomials against R's `contr.poly` and tables in print.

use crate::data::beside;
use approx::assert_relative_eq;
use proptest::prelude::*;
use serde_json::Value;
use stook::stats::orthogonal_polynomials::orthogonal_polynomials;

/// Double arithmetic on numbers of at most 1.
const ROUNDING: f64 = 1e-13;

#[test]
fn contrasts_over_the_rates_of_the_block_trials_are_those_of_r() {
    let file = beside("oracle").join("B_rcbd.json");
    let reference: Value = serde_json::from_str(&std::fs::read_to_string(file).unwrap()).unwrap();
    for case in reference["trials"].as_object().unwrap().values() {
        let rates: Vec<f64> = serde_json::from_value(case["rates"].clone()).unwrap();
        let degrees = case["orthogonal_polynomials"].as_array().unwrap().iter();
        let expected: Vec<Vec<f64>> =
            degrees.map(|degree| serde_json::from_value(degree["coefficients"].clone()).unwrap()).collect();
        let found = orthogonal_polynomials(&rates, &vec![1.0; rates.len()], expected.len()).unwrap();
        assert_eq!(found.len(), expected.len());
        for (found, expected) in found.iter().flatten().zip(expected.iter().flatten()) {
            assert_relative_eq!(found, expected, epsilon = ROUNDING);
        }
    }
}

#[test]
fn equally_spaced_contrasts_are_those_in_print() {
    // The usual table of 5 and 6 levels (Fisher & Yates, Statistical Tables, table XXIII, from memory).
    let printed: [&[[f64; 6]]; 2] = [
        &[
            [-2.0, -1.0, 0.0, 1.0, 2.0, f64::NAN],
            [2.0, -1.0, -2.0, -1.0, 2.0, f64::NAN],
            [-1.0, 2.0, 0.0, -2.0, 1.0, f64::NAN],
            [1.0, -4.0, 6.0, -4.0, 1.0, f64::NAN],
        ],
        &[
            [-5.0, -3.0, -1.0, 1.0, 3.0, 5.0],
            [5.0, -1.0, -4.0, -4.0, -1.0, 5.0],
            [-5.0, 7.0, 4.0, -4.0, -7.0, 5.0],
            [1.0, -3.0, 2.0, 2.0, -3.0, 1.0],
            [-1.0, 5.0, -10.0, 10.0, -5.0, 1.0],
        ],
    ];
    for (levels, table) in [5, 6].into_iter().zip(printed) {
        let rates: Vec<f64> = (0..levels).map(|level| 40.0 * f64::from(level)).collect();
        let found = orthogonal_polynomials(&rates, &vec![1.0; rates.len()], rates.len()).unwrap();
        assert_eq!(found.len(), table.len());
        for (found, row) in found.iter().zip(table) {
            let row: Vec<f64> = row.iter().copied().filter(|value| value.is_finite()).collect();
            let length = row.iter().map(|value| value * value).sum::<f64>().sqrt();
            for (found, value) in found.iter().zip(&row) {
                assert_relative_eq!(*found, value / length, epsilon = ROUNDING);
            }
        }
    }
}

proptest! {
    #[test]
    fn polynomials_are_orthogonal_of_unit_length_and_blind_to_lower_degrees(
        gaps in prop::collection::vec((0.5_f64..90.0, 1.0_f64..12.0), 2..25), start in -100.0_f64..100.0,
    ) {
        let rates: Vec<f64> = gaps.iter().scan(start, |rate, (gap, _)| { *rate += gap; Some(*rate) }).collect();
        let weights: Vec<f64> = gaps.iter().map(|(_, weight)| *weight).collect();
        let found = orthogonal_polynomials(&rates, &weights, rates.len()).unwrap();
        prop_assert_eq!(found.len(), rates.len() - 1);
        let product = |a: &[f64], b: &[f64]| a.iter().zip(b).zip(&weights).map(|((a, b), w)| w * a * b).sum::<f64>();
        let constant = vec![1.0 / weights.iter().sum::<f64>().sqrt(); rates.len()];
        for (degree, p) in found.iter().enumerate() {
            prop_assert!((product(p, p) - 1.0).abs() < ROUNDING);
            prop_assert!(product(p, &constant).abs() < ROUNDING);
            prop_assert!(found[..degree].iter().all(|lower| product(p, lower).abs() < ROUNDING));
        }
        // The first is a straight line, and any quadratic lies in the first two and the constant.
        let line = |rate: f64| (rate - rates[0]) / (rates[1] - rates[0]);
        for (rate, value) in rates.iter().zip(&found[0]) {
            prop_assert!((value - found[0][0] - (found[0][1] - found[0][0]) * line(*rate)).abs() < 1e3 * ROUNDING);
        }
        let middle = rates[rates.len() / 2];
        let quadratic: Vec<f64> = rates.iter().map(|rate| ((rate - middle) / 1e3).powi(2)).collect();
        prop_assert!(found.iter().skip(2).all(|p| product(p, &quadratic).abs() < 1e2 * ROUNDING));
        // The leading coefficient is positive: so is the divided difference of highest order over all values.
        let highest = found.last().unwrap();
        prop_assert!(*highest.last().unwrap() > 0.0);
    }

    #[test]
    fn sums_of_squares_of_all_degrees_add_up_to_that_among_means(
        levels in prop::collection::vec((1.0_f64..60.0, 1.0_f64..9.0, 20.0_f64..90.0), 2..12),
    ) {
        let rates: Vec<f64> = levels.iter().scan(0.0, |rate, (gap, ..)| { *rate += gap; Some(*rate) }).collect();
        let plots: Vec<f64> = levels.iter().map(|(_, plots, _)| plots.round()).collect();
        let means: Vec<f64> = levels.iter().map(|(.., mean)| *mean).collect();
        let total: f64 = plots.iter().sum();
        let grand = plots.iter().zip(&means).map(|(n, mean)| n * mean).sum::<f64>() / total;
        let among: f64 = plots.iter().zip(&means).map(|(n, mean)| n * (mean - grand).powi(2)).sum();
        let contrast = |p: &Vec<f64>| p.iter().zip(&plots).zip(&means).map(|((p, n), mean)| n * p * mean).sum::<f64>();
        let parts: f64 = orthogonal_polynomials(&rates, &plots, 99).unwrap().iter().map(|p| contrast(p).powi(2)).sum();
        prop_assert!((parts - among).abs() <= 1e-9 * (1.0 + among));
    }
}

#[test]
fn stretching_and_moving_the_rates_changes_nothing() {
    let rates = [0.0, 20.0, 60.0, 110.0, 180.0];
    let weights = [4.0, 3.0, 4.0, 4.0, 2.0];
    let moved: Vec<f64> = rates.iter().map(|rate| 1.12085 * rate + 1e4).collect();
    let (here, there) =
        (orthogonal_polynomials(&rates, &weights, 4).unwrap(), orthogonal_polynomials(&moved, &weights, 4).unwrap());
    for (here, there) in here.iter().flatten().zip(there.iter().flatten()) {
        // The moved rates are rounded.
        assert_relative_eq!(*here, *there, epsilon = 1e-10);
    }
}

#[test]
fn rates_that_do_not_ascend_or_weigh_nothing_have_no_polynomials() {
    assert_eq!(orthogonal_polynomials(&[0.0, 30.0, 30.0], &[1.0; 3], 2), None);
    assert_eq!(orthogonal_polynomials(&[30.0, 0.0], &[1.0; 2], 1), None);
    assert_eq!(orthogonal_polynomials(&[0.0, 30.0], &[1.0, 0.0], 1), None);
    assert_eq!(orthogonal_polynomials(&[0.0, 30.0], &[1.0], 1), None);
    assert_eq!(orthogonal_polynomials(&[0.0, f64::NAN], &[1.0; 2], 1), None);
    assert_eq!(orthogonal_polynomials(&[0.0, f64::INFINITY], &[1.0; 2], 1), None);
    assert_eq!(orthogonal_polynomials(&[5.0], &[1.0], 3), Some(Vec::new()));
}
