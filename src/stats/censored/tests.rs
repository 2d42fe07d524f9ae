use super::*;
use approx::assert_relative_eq;
use proptest::prelude::*;

/// survreg's own iteration ends a little before the last digits do.
const REFERENCE: f64 = 1e-8;
/// Two searches in differently rounded numbers.
const REPEATED: f64 = 1e-7;

fn line(xs: &[f64]) -> Vec<Vec<f64>> {
    xs.iter().map(|&x| vec![1.0, x]).collect()
}

#[test]
fn censored_fits_agree_with_the_reference() {
    // Reference: R 4.2.2, survival 3.5.3, survreg(dist = "gaussian"); script beside its output.
    let text = include_str!("../../../tests/reference/censored/survreg.json");
    let reference: serde_json::Value = serde_json::from_str(text).unwrap();
    for case in reference["cases"].as_array().unwrap() {
        let columns: Vec<Vec<f64>> = serde_json::from_value(case["columns"].clone()).unwrap();
        let bound = |key: &str| -> Vec<Option<f64>> { serde_json::from_value(case[key].clone()).unwrap() };
        let responses: Vec<Response> = bound("left")
            .into_iter()
            .zip(bound("right"))
            .map(|pair| match pair {
                (Some(left), Some(_)) => Response::Exact(left),
                (None, Some(right)) => Response::AtMost(right),
                (Some(left), None) => Response::AtLeast(left),
                (None, None) => panic!("a response of which nothing is known"),
            })
            .collect();
        let rows = 0..responses.len();
        let design: Vec<Vec<f64>> = rows.map(|i| columns.iter().map(|column| column[i]).collect()).collect();
        let ours = fit(&design, &responses).unwrap();
        assert!(ours.converged, "{}", case["name"]);
        let theirs: Vec<f64> = serde_json::from_value(case["coefficients"].clone()).unwrap();
        for (a, b) in ours.coefficients.iter().zip(&theirs) {
            assert_relative_eq!(*a, *b, max_relative = REFERENCE);
        }
        let sigma = case["sigma"].as_f64().unwrap();
        assert_relative_eq!(ours.sigma, sigma, max_relative = REFERENCE);
        let height = case["log_likelihood"].as_f64().unwrap();
        assert_relative_eq!(ours.log_likelihood, height, max_relative = REFERENCE);
    }
}

#[test]
fn without_limits_it_is_least_squares() {
    // By hand: y = 1, 2, 2, 3 at x = 0…3: slope 3/5, intercept 11/10, RSS 1/5, n − p = 2.
    let y = [1.0, 2.0, 2.0, 3.0].map(Response::Exact);
    let found = fit(&line(&[0.0, 1.0, 2.0, 3.0]), &y).unwrap();
    assert_relative_eq!(found.coefficients[0], 1.1, max_relative = 1e-13);
    assert_relative_eq!(found.coefficients[1], 0.6, max_relative = 1e-13);
    assert_relative_eq!(found.sigma, 0.1_f64.sqrt(), max_relative = 1e-13);
    // −n/2 (ln 2π + ln(RSS/n) + 1)
    let height = -2.0 * ((2.0 * std::f64::consts::PI * 0.05).ln() + 1.0);
    assert_relative_eq!(found.log_likelihood, height, max_relative = 1e-13);
    assert_eq!((found.iterations, found.exact), (0, 4));
}

#[test]
fn a_limit_far_beyond_the_line_changes_nothing() {
    let xs = [0.7, 0.75, 0.8, 0.85, 0.9, 0.95];
    let mut y = [95.0, 77.0, 66.0, 44.0, 33.0, 12.0].map(Response::Exact).to_vec();
    let before = fit(&line(&xs), &y).unwrap();
    let mut more = xs.to_vec();
    more.push(0.8);
    y.push(Response::AtMost(1000.0));
    let after = fit(&line(&more), &y).unwrap();
    for (a, b) in before.coefficients.iter().zip(&after.coefficients) {
        assert_relative_eq!(a, b, max_relative = REPEATED);
    }
    // Maximum likelihood divides by n, least squares by n − p.
    let shrunk = before.sigma * (4.0_f64 / 6.0).sqrt();
    assert_relative_eq!(after.sigma, shrunk, max_relative = REPEATED);
}

#[test]
fn responses_that_are_all_limits_give_no_fit() {
    let y = [Response::AtMost(0.0); 4];
    let none = fit(&line(&[0.7, 0.8, 0.9, 1.0]), &y).unwrap_err();
    assert_eq!(none, CensoredError::NoExactResponse { at_most: 4, at_least: 0 });
}

#[test]
fn an_exact_line_with_agreeing_limits_has_no_error_to_estimate() {
    let y = [Response::Exact(100.0), Response::Exact(50.0), Response::Exact(0.0), Response::AtMost(0.0)];
    let xs = [0.7, 0.8, 0.9, 1.0];
    assert_eq!(fit(&line(&xs), &y), Err(CensoredError::PerfectFit { exact: 3 }));
    let on_it = [y[0], y[1], y[2], Response::AtLeast(-50.0)];
    assert_eq!(fit(&line(&xs), &on_it), Err(CensoredError::PerfectFit { exact: 3 }));
    // A limit that the line breaks gives the error a size.
    let y = [y[0], y[1], y[2], Response::AtLeast(0.0)];
    assert!(fit(&line(&xs), &y).unwrap().converged);
}

#[test]
fn a_slope_that_only_limits_speak_of_runs_away_unless_they_hold_it() {
    let exact = [Response::Exact(40.0), Response::Exact(44.0)];
    let xs = [0.8, 0.8, 0.9, 1.0];
    let away = [exact[0], exact[1], Response::AtMost(20.0), Response::AtMost(0.0)];
    assert_eq!(fit(&line(&xs), &away), Err(CensoredError::Separated { exact: 2 }));
    let held = [exact[0], exact[1], Response::AtMost(20.0), Response::AtLeast(10.0)];
    assert!(fit(&line(&xs), &held).unwrap().converged);
}

#[test]
fn two_open_directions_are_judged_together() {
    // One exact value of three columns' rank 3 leaves two slopes open.
    let exact = |x: f64, z: f64, y: f64| (vec![1.0, x, z], Response::Exact(y));
    let most = |x: f64, z: f64, y: f64| (vec![1.0, x, z], Response::AtMost(y));
    let least = |x: f64, z: f64, y: f64| (vec![1.0, x, z], Response::AtLeast(y));
    let open = vec![exact(0.0, 0.0, 1.0), exact(0.0, 0.0, 2.0), most(1.0, 0.0, 1.0), least(0.0, 1.0, 1.0)];
    let (design, y): (Vec<_>, Vec<_>) = open.iter().cloned().unzip();
    assert_eq!(fit(&design, &y), Err(CensoredError::Separated { exact: 2 }));
    let mut closed = open;
    closed.extend([least(1.0, 0.0, 0.0), most(0.0, 1.0, 4.0)]);
    let (design, y): (Vec<_>, Vec<_>) = closed.into_iter().unzip();
    assert!(fit(&design, &y).unwrap().converged);
}

#[test]
fn columns_that_repeat_each_other_are_refused() {
    let design: Vec<Vec<f64>> = (0..5).map(|i| vec![1.0, f64::from(i), 2.0 * f64::from(i)]).collect();
    let y: Vec<Response> = (0..5).map(|i| Response::Exact(f64::from(i))).collect();
    assert_eq!(fit(&design, &y), Err(CensoredError::RankDeficient { columns: 3, rank: 2 }));
    let short = fit(&line(&[0.8, 0.9]), &[Response::Exact(1.0), Response::Exact(2.0)]);
    assert_eq!(short, Err(CensoredError::NoDegreesOfFreedom { rows: 2, columns: 2 }));
}

#[test]
fn input_that_does_not_match_is_refused_with_its_place() {
    let y = [Response::Exact(1.0); 3];
    assert!(matches!(fit(&line(&[1.0]), &y), Err(CensoredError::Lengths { .. })));
    let ragged = vec![vec![1.0, 2.0], vec![1.0], vec![1.0, 3.0]];
    assert!(matches!(fit(&ragged, &y), Err(CensoredError::Columns { row: 1, .. })));
    assert!(matches!(fit(&[vec![], vec![], vec![]], &y), Err(CensoredError::Columns { .. })));
    assert!(matches!(fit(&line(&[1.0, f64::NAN, 2.0]), &y), Err(CensoredError::NotFinite { row: 1, .. })));
}

fn responses(n: usize) -> impl Strategy<Value = Vec<(f64, f64, u8)>> {
    prop::collection::vec((0.6..1.05, -20.0..20.0, 0u8..4), n)
}

fn made(rows: &[(f64, f64, u8)]) -> (Vec<f64>, Vec<Response>) {
    let response = |&(x, noise, kind): &(f64, f64, u8)| {
        let y = 300.0 - 310.0 * x + noise;
        match kind {
            0 => Response::AtMost(y + 10.0),
            1 => Response::AtLeast(y - 10.0),
            _ => Response::Exact(y),
        }
    };
    (rows.iter().map(|row| row.0).collect(), rows.iter().map(response).collect())
}

fn mapped(response: Response, to: impl Fn(f64) -> f64) -> Response {
    match response {
        Response::Exact(y) => Response::Exact(to(y)),
        Response::AtMost(y) => Response::AtMost(to(y)),
        Response::AtLeast(y) => Response::AtLeast(to(y)),
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]

    #[test]
    fn units_and_origins_do_not_matter(
        rows in responses(14),
        scale in 1e-3..1e3_f64,
        shift in -500.0..500.0_f64,
        x_scale in 1e-2..1e2_f64,
        x_shift in -10.0..10.0_f64,
    ) {
        let (xs, y) = made(&rows);
        let before = fit(&line(&xs), &y);
        let xs: Vec<f64> = xs.iter().map(|x| x * x_scale + x_shift).collect();
        let y: Vec<Response> = y.iter().map(|&y| mapped(y, |y| y * scale + shift)).collect();
        let after = fit(&line(&xs), &y);
        let (Ok(before), Ok(after)) = (before, after) else { return Ok(()) };
        prop_assert!(before.converged && after.converged);
        let slope = before.coefficients[1] * scale / x_scale;
        let noise = REPEATED * after.sigma;
        prop_assert!((after.coefficients[1] - slope).abs() * x_scale <= 10.0 * noise);
        prop_assert!((after.sigma - before.sigma * scale).abs() <= noise);
        let at = |fit: &CensoredFit, x: f64| fit.coefficients[0] + fit.coefficients[1] * x;
        let there = at(&after, 0.8 * x_scale + x_shift);
        prop_assert!((there - (at(&before, 0.8) * scale + shift)).abs() <= 10.0 * noise);
    }

    #[test]
    fn a_tighter_limit_never_raises_the_fit(rows in responses(12), by in 0.0..15.0) {
        let (xs, y) = made(&rows);
        let ones: Vec<Vec<f64>> = xs.iter().map(|_| vec![1.0]).collect();
        let tighter: Vec<Response> = y
            .iter()
            .map(|&y| match y {
                Response::AtMost(limit) => Response::AtMost(limit - by),
                other => other,
            })
            .collect();
        let (Ok(loose), Ok(tight)) = (fit(&ones, &y), fit(&ones, &tighter)) else { return Ok(()) };
        prop_assert!(tight.log_likelihood <= loose.log_likelihood + REPEATED);
    }

    #[test]
    fn any_bits_at_all_give_a_fit_or_an_error(
        rows in prop::collection::vec((any::<f64>(), any::<f64>(), any::<f64>(), 0u8..3), 0..9)
    ) {
        let design: Vec<Vec<f64>> = rows.iter().map(|row| vec![row.0, row.1]).collect();
        let y: Vec<Response> = rows
            .iter()
            .map(|row| match row.3 {
                0 => Response::Exact(row.2),
                1 => Response::AtMost(row.2),
                _ => Response::AtLeast(row.2),
            })
            .collect();
        let _ = fit(&design, &y);
    }

    #[test]
    fn coarse_grids_full_of_ties_give_a_fit_or_an_error(
        rows in prop::collection::vec((0u8..3, 0u8..3, 0u8..3, 0u8..3), 3..9)
    ) {
        let design: Vec<Vec<f64>> = rows
            .iter()
            .map(|row| vec![1.0, f64::from(row.0), f64::from(row.1)])
            .collect();
        let y: Vec<Response> = rows
            .iter()
            .map(|row| match row.3 {
                0 => Response::AtMost(f64::from(row.2)),
                1 => Response::AtLeast(f64::from(row.2)),
                _ => Response::Exact(f64::from(row.2)),
            })
            .collect();
        if let Ok(found) = fit(&design, &y) {
            prop_assert!(found.converged, "{found:?}");
            prop_assert!(found.coefficients.iter().all(|b| b.is_finite()));
        }
    }
}
