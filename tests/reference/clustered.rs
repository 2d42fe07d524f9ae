//! Regression in clusters against brute force: `clustered/clustered.py` integrates by another rule and maximises by another method.

use approx::assert_relative_eq;
use serde_json::Value;
use stook::stats::clustered::{Cluster, Group, Point, fit};
use stook::stats::random_effects::Known;

/// Nelder and Mead end within this of a maximum that is level there.
const SEARCHED: f64 = 1e-4;
/// The likelihood at a maximum is known to the square of that.
const LEVEL: f64 = 1e-8;

fn exact(x: f64, y: f64) -> Point {
    Point { x: vec![1.0, x], known: Known::Exact(y) }
}

fn between(x: f64, low: f64, high: f64) -> Point {
    Point { x: vec![1.0, x], known: Known::Between { low, high } }
}

/// The clusters of the script.
fn clusters() -> Vec<Cluster> {
    let group = |variance: f64, points: Vec<Point>| Group { variance, points };
    let open = f64::INFINITY;
    vec![
        vec![group(40.0, vec![exact(0.7, 92.0), exact(0.8, 61.0), exact(0.95, 20.0)])],
        vec![
            group(90.0, vec![exact(0.72, 70.0)]),
            group(60.0, vec![exact(0.9, 31.0)]),
            group(20.0, vec![exact(0.97, 9.0)]),
        ],
        vec![group(80.0, vec![between(0.68, 120.0, open), between(0.85, 80.0, open)])],
        vec![group(70.0, vec![exact(0.75, 66.0), between(0.96, -open, 0.0), between(0.99, -open, 0.0)])],
        vec![group(50.0, vec![between(0.8, 40.0, 75.0)]), group(30.0, vec![exact(0.88, 44.0), exact(0.93, 25.0)])],
        vec![
            group(25.0, vec![exact(0.74, 85.0), exact(0.83, 70.0)]),
            group(35.0, vec![exact(0.91, 48.0), between(0.98, -open, 12.0)]),
        ],
    ]
}

#[test]
fn the_maximum_is_that_of_brute_force() {
    let expected: Value = serde_json::from_str(include_str!("clustered/clustered.json")).expect("JSON");
    let number = |value: &Value| value.as_f64().expect("a number");
    let maximum = &expected["maximum"];
    let found = fit(&clusters()).expect("a maximum");
    for (found, expected) in found.coefficients.iter().zip(maximum["b"].as_array().expect("two")) {
        assert_relative_eq!(*found, number(expected), max_relative = SEARCHED);
    }
    assert_relative_eq!(found.between, number(&maximum["between"]), max_relative = 10.0 * SEARCHED);
    assert_relative_eq!(found.within, number(&maximum["within"]), max_relative = 10.0 * SEARCHED);
    assert_relative_eq!(found.log_likelihood, number(&maximum["log_likelihood"]), max_relative = LEVEL);
}
